// SPDX-License-Identifier: MIT
/* What the files of the sensor command share. */
#ifndef COMMAND_SENSOR_H
#define COMMAND_SENSOR_H

#include "command.h"
#include "soakledger/sensors.h"

enum { COMMAND_SENSOR_MS_PER_H = 3600000, COMMAND_SENSOR_DATE_LENGTH = 10 }; // of "2026-11-16 07:30:00"

/* The section of the configuration, or one without limits for a sensor that is not in it any more. */
const struct config_sensor *command_sensor_section(const struct command *command, const char *identity);
/* The record of that identity among `records`; NULL with a fault that lists what there is. */
const struct sensor_record *command_sensor_find(const struct sensor_record *records, size_t count,
                                                const char *identity, struct fault *fault);
/* "2026-09-01", "" for 0. QUANTITY_TEXT_BYTES. */
char *command_sensor_date(const struct command *command, int64_t t_ms, char *out);

command_function command_sensor_show, command_sensor_retire, command_sensor_correct;

#endif
