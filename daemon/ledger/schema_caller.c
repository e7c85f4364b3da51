// SPDX-License-Identifier: MIT
/* The second rung's part in who called: the account by which a transaction was written that the ledger's owner
 * wrote for another user. The seal that covers it covers what that transaction wrote. */
#include <stddef.h>

#include "schema.h"

// clang-format off

const char schema_caller[] =
    "CREATE TABLE caller ("
    " caller_id INTEGER PRIMARY KEY,"
    " t_ms INTEGER NOT NULL,"
    " user INTEGER NOT NULL CHECK (user BETWEEN 0 AND 4294967295),"
    " account TEXT NOT NULL CHECK (account <> ''),"
    " words TEXT NOT NULL) STRICT;\n"
    KEPT("caller", "caller_id", "a caller")

    "CREATE VIEW caller_in_words AS SELECT caller_id, " UTC("t_ms") " AS t_utc, account, user, words"
    " FROM caller ORDER BY caller_id;\n";
