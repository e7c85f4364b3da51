// SPDX-License-Identifier: MIT
/* The second rung's part in who was in the oven: a run may serve several batches, and batches may go together.
 *
 * A claim holds until its run is given back as a whole (a later claim of that run for no batch), the same run is
 * claimed for the same batch again, or the claim is withdrawn by itself. */
#include <stddef.h>

#include "schema.h"

// clang-format off

const char schema_claim[] =
    "CREATE TABLE withdrawal ("
    " withdrawal_id INTEGER PRIMARY KEY,"
    " claim_id INTEGER NOT NULL REFERENCES claim,"
    " t_ms INTEGER NOT NULL,"
    " withdrawn_by TEXT NOT NULL) STRICT;\n"
    "CREATE INDEX withdrawal_claim ON withdrawal (claim_id);\n"
    KEPT("withdrawal", "withdrawal_id", "a withdrawal")

    /* The latest row of a batch holds: whose company it keeps in the oven. That it was split off, and from which, is
     * in its first. */
    "CREATE TABLE company ("
    " company_id INTEGER PRIMARY KEY,"
    " batch_id INTEGER NOT NULL REFERENCES batch,"
    " with_batch_id INTEGER NOT NULL REFERENCES batch CHECK (with_batch_id <> batch_id),"
    " together INTEGER NOT NULL CHECK (together IN (0, 1)),"
    " split_off INTEGER NOT NULL CHECK (split_off IN (0, 1)),"
    " t_ms INTEGER NOT NULL,"
    " said_by TEXT NOT NULL) STRICT;\n"
    "CREATE INDEX company_batch ON company (batch_id);\n"
    "CREATE INDEX company_with ON company (with_batch_id);\n"
    KEPT("company", "company_id", "who goes with whom")

    "CREATE VIEW claim_in_force AS SELECT k.* FROM claim k WHERE k.batch_id IS NOT NULL AND NOT EXISTS"
    " (SELECT 1 FROM claim n WHERE n.run_id = k.run_id AND n.claim_id > k.claim_id AND"
    " (n.batch_id IS NULL OR n.batch_id = k.batch_id)) AND NOT EXISTS"
    " (SELECT 1 FROM withdrawal w WHERE w.claim_id = k.claim_id);\n"

    "DROP VIEW run_in_words;\n"
    "CREATE VIEW run_in_words AS SELECT"
    " r.run_id, o.name AS oven, " UTC("r.begun_ms") " AS begun_utc, " UTC("r.ended_ms") " AS ended_utc,"
    " e.words AS ended_by, round((r.ended_ms - r.begun_ms) / 6e4, 1) AS minutes, k.batch_id, k.visit, k.claimed_by"
    " FROM run r JOIN oven o USING (oven_id) JOIN run_end e USING (end_reason)"
    " LEFT JOIN claim_in_force k ON k.run_id = r.run_id"
    " ORDER BY r.begun_ms, r.run_id, k.claim_id;\n";
