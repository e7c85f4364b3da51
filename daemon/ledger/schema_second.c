// SPDX-License-Identifier: MIT
/* The second rung, put together from one script a purpose. */
#include <stddef.h>

#include "schema.h"

const char *const schema_second[] = {
    schema_claim,
    schema_import,
    schema_import_channel,
    schema_retention,
    schema_accuracy,
    schema_survey,
    schema_check_views,
    schema_certificate,
    NULL,
};
