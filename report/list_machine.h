// SPDX-License-Identifier: MIT
/* list_machine: lists whose screens are the commands' own, as CSV and JSON. `form` is never TABLE_SCREEN. Each has
 * its schema, report/soakledger-NAME.schema.json. */
#ifndef SOAKLEDGER_LIST_MACHINE_H
#define SOAKLEDGER_LIST_MACHINE_H

#include "drift_parts.h"
#include "list_parts.h"
#include "soakledger/sensors.h"

int list_sensors(struct command *command, enum table_form form, const struct sensor_record *records, size_t count,
                 int64_t now_ms, struct fault *fault);
/* What is due, of the fitted sensors and of the instruments. */
int list_due(struct command *command, enum table_form form, const struct sensor_record *records, size_t count,
             int64_t now_ms, struct fault *fault);
int list_drift(struct command *command, enum table_form form, const struct drift_case *cases, size_t count,
               struct fault *fault);
int list_surveys(struct command *command, enum table_form form, struct fault *fault);
int list_checks(struct command *command, enum table_form form, struct fault *fault);

#endif
