// SPDX-License-Identifier: MIT
/* What the scripts that make tables have in common, and the rungs they make up. A script is what one rung adds
 * for one room's purpose; a rung that a ledger in use has climbed is never edited. */
#ifndef SOAKLEDGER_SCHEMA_H
#define SOAKLEDGER_SCHEMA_H

// clang-format off
#define REFUSE(name, when, text) \
    "CREATE TRIGGER " name " " when " BEGIN SELECT RAISE(ABORT, '" text "'); END;\n"
#define NEVER_CHANGED(table, what) \
    REFUSE(table "_unchanged", "BEFORE UPDATE ON " table, what " is never changed")
#define NEVER_DELETED(table, what) \
    REFUSE(table "_undeleted", "BEFORE DELETE ON " table, what " is never deleted")
#define NEVER_REPLACED(table, key, what) \
    REFUSE(table "_unreplaced", "BEFORE INSERT ON " table " WHEN EXISTS" \
           " (SELECT 1 FROM " table " WHERE " key " = NEW." key ")", what " is never replaced")
#define KEPT(table, key, what) \
    NEVER_CHANGED(table, what) NEVER_DELETED(table, what) NEVER_REPLACED(table, key, what)
#define WITHOUT_GAPS(table, key, what) \
    REFUSE(table "_counted", "AFTER INSERT ON " table " WHEN NEW." key " < 1 OR (NEW." key " > 1 AND NOT EXISTS" \
           " (SELECT 1 FROM " table " WHERE " key " = NEW." key " - 1))", what " are numbered from 1 without gaps")
#define WHILE_INCOMPLETE(table) \
    REFUSE(table "_in_time", "BEFORE INSERT ON " table " WHEN EXISTS (SELECT 1 FROM judgement" \
           " WHERE judgement_id = NEW.judgement_id AND complete = 1)", "the judgement is complete: it takes no more")
#define SHA256_CHECK(column) "CHECK (length(" column ") = 64 AND " column " NOT GLOB '*[^0-9a-f]*')"
#define UTC(column) "strftime('%Y-%m-%d %H:%M:%f', " column " / 1000.0, 'unixepoch')"
// clang-format on

/* The second rung's scripts. */
extern const char schema_certificate[];
extern const char schema_accuracy[], schema_survey[], schema_check_views[], schema_steady[], schema_drift[];

/* Scripts of the rung, in order, ending with NULL. */
extern const char *const schema_first[];
extern const char *const schema_second[];
extern const char schema_claim[], schema_import[], schema_import_channel[], schema_retention[];
extern const char schema_books[], schema_books_words[], schema_caller[], schema_seal[], schema_damage[];

/* Of schema_sensor.c. The first two build fitting anew: nothing may refer to that table before it. */
extern const char schema_sensor_fitting[], schema_sensor_refit[], schema_sensor_emf[], schema_sensor_life[],
    schema_sensor_use[], schema_sensor_calibration[];

#endif
