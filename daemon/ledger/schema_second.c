// SPDX-License-Identifier: MIT
/* The second rung, put together from one script a purpose. */
#include <stddef.h>

#include "schema.h"

const char *const schema_second[] = {
    schema_books,
    schema_books_words,
    schema_seal,
    NULL,
};
