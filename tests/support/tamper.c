// SPDX-License-Identifier: MIT
#include "tamper.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../../daemon/ledger/seal_private.h"
#include "bench_ledger.h"

enum { SQL_BYTES = 512, BITS = 8, BITS_OF_ALL = 64, MOST_COLUMNS = 10 };

/* What is changed, and which of its rows are sealed. The key makes one row of one value. */
struct target {
    const char *table, *key, *columns[MOST_COLUMNS];
    const char *sealed;
};

static const struct target targets[] = {
    {"reading",
     "channel_id || ' ' || t_ms",
     {"value", "quality", "t_ms"},
     "value IS NOT NULL AND EXISTS (SELECT 1 FROM"
     " seal_part p WHERE p.name = 'reading' AND p.channel_id = reading.channel_id AND t_ms BETWEEN low AND high)"},
    {"reading",
     "channel_id || ' ' || t_ms",
     {"value"},
     "value IS NOT NULL AND EXISTS (SELECT 1 FROM"
     " seal_part p WHERE p.name = 'reading' AND p.channel_id = reading.channel_id AND t_ms BETWEEN low AND high)"},
    {"verdict",
     "judgement_id || ' ' || place",
     {"operation", "requirement", "outcome", "reason", "required", "possible", "uncertainty"},
     "1"},
    {"finding", "finding_id", {"t_ms", "kind", "operation", "value", "held_against"}, "1"},
    {"document",
     "sha256",
     {"body", "sha256"},
     "sha256 IN (SELECT plan_sha256 FROM batch UNION SELECT configuration_sha256"
     " FROM session)"},
    {"batch", "batch_id", {"charge", "plan_name", "plan_sha256", "opened_ms", "oven_id"}, "1"},
    {"run", "run_id", {"begun_ms", "ended_ms", "end_reason", "oven_id"}, "ended_ms IS NOT NULL"},
    {"fitting", "fitting_id", {"since_ms", "uncertainty_mc", "decimals", "role", "sensor_identity", "low"}, "1"},
    {"claim", "claim_id", {"run_id", "claimed_by", "t_ms"}, "1"},
    {"event", "event_id", {"t_ms", "kind", "amount"}, "1"},
    {"certificate", "certificate_id", {"sha256", "issued_ms", "revision"}, "1"},
    {"hardness", "hardness_id", {"value", "scale", "measured_by"}, "1"},
    {"disposition", "disposition_id", {"decision", "reason"}, "1"},
    {"seal", "seal_id", {"sha256", "before", "sealed_ms", "kind"}, "1"},
    {"seal_part", "seal_id || ' ' || place", {"sha256", "name", "low", "rows"}, "1"},
};
enum { TARGETS = sizeof targets / sizeof targets[0] };

static sqlite3_stmt *prepare(sqlite3 *db, const char *sql) {
    sqlite3_stmt *statement = NULL;

    if (sqlite3_prepare_v2(db, sql, -1, &statement, NULL) != SQLITE_OK)
        fail_msg("%s: %s", sql, sqlite3_errmsg(db));
    return statement;
}

static void run(sqlite3 *db, const char *sql) {
    if (sqlite3_exec(db, sql, NULL, NULL, NULL) != SQLITE_OK)
        fail_msg("%s: %s", sql, sqlite3_errmsg(db));
}

/* Takes the triggers out; what puts them back, which the caller frees. */
static char *take_triggers(sqlite3 *db) {
    sqlite3_stmt *statement = prepare(db, "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'");
    sqlite3_str *back = sqlite3_str_new(db), *out = sqlite3_str_new(db);
    char *drop;

    while (sqlite3_step(statement) == SQLITE_ROW) {
        sqlite3_str_appendf(out, "DROP TRIGGER %s;\n", sqlite3_column_text(statement, 0));
        sqlite3_str_appendf(back, "%s;\n", sqlite3_column_text(statement, 1));
    }
    sqlite3_finalize(statement);
    drop = sqlite3_str_finish(out);
    run(db, drop);
    sqlite3_free(drop);
    return sqlite3_str_finish(back);
}

static void note(void *context, const char *words) {
    (void)words;
    ++*(size_t *)context;
}

/* Also what cannot be read any more is noticed. */
static bool is_noticed(struct ledger *ledger) {
    const struct seal_scope everything = {0};
    struct seal_tally tally;
    struct fault fault;
    size_t flaws = 0;

    return seal_verify_rows(ledger, &everything, note, &flaws, &tally, &fault) != 0 || flaws > 0;
}

/* One bit of one byte: of a whole number in any of its eight, of a text in any of its own. */
static void bind_changed(sqlite3_stmt *update, sqlite3_stmt *row, uint64_t *random) {
    if (sqlite3_column_type(row, 1) == SQLITE_INTEGER) {
        const uint64_t value = (uint64_t)sqlite3_column_int64(row, 1);

        sqlite3_bind_int64(update, 1, (sqlite3_int64)(value ^ UINT64_C(1) << bench_random(random) % BITS_OF_ALL));
    } else {
        const int length = sqlite3_column_bytes(row, 1);
        char *text = malloc((size_t)length + 1);

        assert_non_null(text);
        memcpy(text, sqlite3_column_text(row, 1), (size_t)length + 1);
        if (length > 0)
            text[bench_random(random) % (size_t)length] ^= (char)(1 << bench_random(random) % (BITS - 1));
        else
            text[0] = 'x';
        sqlite3_bind_text(update, 1, text, length > 0 ? length : 1, free);
    }
}

/* One sealed row of the target, at random: its key and the column. NULL if it has none. */
static sqlite3_stmt *pick_row(sqlite3 *db, const struct target *target, const char *column, uint64_t *random) {
    char sql[SQL_BYTES];
    sqlite3_stmt *row;
    uint64_t rows, place;

    snprintf(sql, sizeof sql, "SELECT count(*) FROM %s WHERE %s", target->table, target->sealed);
    row = prepare(db, sql);
    rows = sqlite3_step(row) == SQLITE_ROW ? (uint64_t)sqlite3_column_int64(row, 0) : 0;
    sqlite3_finalize(row);
    if (rows == 0)
        return NULL;
    place = bench_random(random) % rows;
    snprintf(sql, sizeof sql, "SELECT %s, %s FROM %s WHERE %s LIMIT 1 OFFSET %llu", target->key, column,
             target->table, target->sealed, (unsigned long long)place);
    row = prepare(db, sql);
    if (sqlite3_step(row) == SQLITE_ROW)
        return row;
    sqlite3_finalize(row);
    return NULL;
}

/* Whether a change was made: there may be no such row, or its new key may be taken. */
static bool change_one(struct ledger *ledger, const struct target *target, const char *column, uint64_t *random,
                       struct tamper_tally *tally) {
    sqlite3 *const db = ledger->db;
    sqlite3_stmt *const row = pick_row(db, target, column, random);
    char sql[SQL_BYTES];
    sqlite3_stmt *update;
    bool changed;

    if (row == NULL)
        return false;
    snprintf(sql, sizeof sql, "UPDATE %s SET %s = ?1 WHERE %s = ?2", target->table, column, target->key);
    update = prepare(db, sql);
    bind_changed(update, row, random);
    sqlite3_bind_value(update, 2, sqlite3_column_value(row, 0));
    run(db, "SAVEPOINT before");
    changed = sqlite3_step(update) == SQLITE_DONE && sqlite3_changes(db) == 1;
    sqlite3_finalize(update);
    if (changed && !is_noticed(ledger)) {
        tally->missed++;
        snprintf(tally->example, sizeof tally->example, "%s.%s of %.100s", target->table, column,
                 (const char *)sqlite3_column_text(row, 0));
    }
    sqlite3_finalize(row);
    run(db, "ROLLBACK TO before");
    run(db, "RELEASE before");
    return changed;
}

void tamper_try(struct ledger *ledger, uint64_t seed, size_t count, struct tamper_tally *tally) {
    uint64_t random = seed;
    char *back;

    run(ledger->db, "PRAGMA foreign_keys = OFF");
    run(ledger->db, "PRAGMA ignore_check_constraints = ON");
    back = take_triggers(ledger->db);
    while (tally->tried < count) {
        const struct target *target = &targets[bench_random(&random) % TARGETS];
        size_t columns = 1;

        while (columns < MOST_COLUMNS && target->columns[columns] != NULL)
            columns++;
        if (change_one(ledger, target, target->columns[bench_random(&random) % columns], &random, tally))
            tally->tried++;
    }
    run(ledger->db, back);
    sqlite3_free(back);
    run(ledger->db, "PRAGMA ignore_check_constraints = OFF");
    run(ledger->db, "PRAGMA foreign_keys = ON");
}
