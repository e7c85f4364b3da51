// SPDX-License-Identifier: MIT
/* The second rung, put together from one script a purpose. */
#include <stddef.h>

#include "schema.h"

/* One a line: lines are added here from many sides. */
// clang-format off
const char *const schema_second[] = {
    // First, since it builds a table anew that others may refer to:
    schema_sensor_fitting,
    schema_sensor_refit,
    schema_sensor_emf,
    schema_sensor_life,
    schema_sensor_use,
    schema_sensor_calibration,
    schema_claim,
    schema_import,
    schema_import_channel,
    schema_retention,
    schema_accuracy,
    schema_survey,
    schema_check_views,
    schema_certificate,
    schema_steady,
    schema_drift,
    schema_books,
    schema_books_words,
    schema_caller,
    schema_seal,
    schema_damage,
    NULL,
};
// clang-format on
