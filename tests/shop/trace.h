// SPDX-License-Identifier: MIT
/* trace: a scenario's curves as CSV, without any terminal or clock. */
#ifndef SHOP_TRACE_H
#define SHOP_TRACE_H

#include <stdio.h>

#include "scene.h"

/* Writes one row each `step_ms` from the scenario's start to `until_ms`: time, control, each load of the oven,
 * setpoint, output in per cent; °C as the instruments show them, an open sensor as an empty field. */
int trace_write(const struct scene *scene, const char *oven, int64_t step_ms, int64_t until_ms, FILE *out,
                struct fault *fault);

#endif
