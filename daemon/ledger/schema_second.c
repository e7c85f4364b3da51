// SPDX-License-Identifier: MIT
/* The second rung, put together from one script a purpose. */
#include <stddef.h>

#include "schema.h"

const char *const schema_second[] = {
    schema_sensor_fitting,
    schema_sensor_refit,
    schema_sensor_emf,
    schema_sensor_life,
    schema_sensor_use,
    schema_sensor_calibration,
    NULL,
};
