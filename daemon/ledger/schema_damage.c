// SPDX-License-Identifier: MIT
/* The second rung's part in damage: words for a ledger that was begun in place of another. */
#include <stddef.h>

#include "schema.h"

// clang-format off

const char schema_damage[] =
    "INSERT INTO event_kind VALUES (9, 'begun in place of a damaged ledger', ''),"
    " (10, 'the run goes on from a damaged ledger', 'ms in that one, 0 if not known');\n";
