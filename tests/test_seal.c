// SPDX-License-Identifier: MIT
/* Seals from the inside: what they cover, what texts they are made of, when they are made, and that no small change
 * goes unnoticed. tests/test_system_seal.c looks at them from the outside. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "../daemon/ledger/schema.h"
#include "../daemon/ledger/seal_private.h"
#include "support/bench_ledger.h"
#include "support/tamper.h"

enum { SQL_BYTES = 512, LEAD_MS = 60000 };
#ifdef __SANITIZE_ADDRESS__
enum { TRIES = 100 };
#else
enum { TRIES = 400 }; // tests/tool_tamper.c makes 10,000
#endif
static const int64_t t0 = BENCH_STARTED_MS;

static void swallow(void *context, const char *words) {
    snprintf(context, BENCH_WORDS_BYTES, "%s", words);
}

/* Verifies everything; `words` gets the last flaw. */
static struct seal_tally verify(struct ledger *ledger, char words[BENCH_WORDS_BYTES]) {
    const struct seal_scope everything = {0};
    struct seal_tally tally;
    struct fault fault;

    words[0] = '\0';
    if (seal_verify(ledger, &everything, swallow, words, &tally, &fault) != 0)
        fail_msg("%s", fault.text);
    return tally;
}

static void is_sound(struct ledger *ledger) {
    char words[BENCH_WORDS_BYTES];

    if (verify(ledger, words).flaws != 0)
        fail_msg("%s", words);
}

static void run_sql(struct bench *bench, const char *sql) {
    char words[BENCH_WORDS_BYTES];

    if (bench_run_sql(bench->path, sql, words) != SQLITE_OK)
        fail_msg("%s: %s", sql, words);
}

/* What is in the ledger of bench_fill is sealed, run 1 as it closes. */
static void seal_all(struct bench *bench) {
    bench_fill(bench);
    assert_int_equal(seal_run(bench->ledger, 1, SEAL_RUN, LEAD_MS, t0 + 20, NULL, &bench->fault), 0);
}

/* ---- what is covered ---- */

/* Tables that hold words, seals, texts that are covered where they are used, and nothing else. */
static bool is_exempt(const char *table) {
    static const char *const exempt[] = {"seal", "seal_part", "document"};

    for (size_t i = 0; i < sizeof exempt / sizeof exempt[0]; i++)
        if (strcmp(table, exempt[i]) == 0)
            return true;
    return false;
}

/* Is the column in one of the forms of its table? */
static bool is_covered(const char *table, const char *column) {
    char wanted[SQL_BYTES], columns[SQL_BYTES];

    snprintf(wanted, sizeof wanted, " %s,", column);
    for (size_t i = 0; i < seal_form_count; i++) {
        if (strcmp(seal_forms[i].from, table) != 0)
            continue;
        snprintf(columns, sizeof columns, " %s,", seal_forms[i].columns);
        if (strcmp(seal_forms[i].columns, "*") == 0 || strstr(columns, wanted) != NULL)
            return true;
    }
    return false;
}

static void every_column_of_every_table_is_in_a_form(void **state) {
    static const char sql[] =
        "SELECT t.name, c.name FROM sqlite_schema t JOIN pragma_table_info(t.name) c WHERE t.type = 'table'"
        " AND t.name NOT LIKE 'sqlite_%' ORDER BY 1, c.cid";
    struct bench *bench = *state;
    sqlite3_stmt *statement = NULL;
    size_t looked_at = 0;
    char count_sql[SQL_BYTES];

    assert_int_equal(sqlite3_prepare_v2(bench->ledger->db, sql, -1, &statement, NULL), SQLITE_OK);
    while (sqlite3_step(statement) == SQLITE_ROW) {
        const char *const table = (const char *)sqlite3_column_text(statement, 0);
        const char *const column = (const char *)sqlite3_column_text(statement, 1);

        /* A new ledger has rows in its tables of words alone, and of its one session. */
        snprintf(count_sql, sizeof count_sql, "SELECT count(*) FROM \"%s\"", table);
        if (is_exempt(table) || (bench_count(bench->path, count_sql) > 0 && !is_covered(table, column) &&
                                 strstr(table, "session") == NULL &&
                                 sqlite3_table_column_metadata(bench->ledger->db, NULL, table, "words", NULL, NULL,
                                                               NULL, NULL, NULL) == SQLITE_OK))
            continue;
        if (!is_covered(table, column))
            fail_msg("no seal covers column %s of table %s: daemon/ledger/seal_form.c says what is covered", column,
                     table);
        looked_at++;
    }
    sqlite3_finalize(statement);
    assert_true(looked_at > 200);
}

static void a_part_is_the_text_that_the_manual_lays_down(void **state) {
    static const char readings[] = "reading\tchannel_id\tt_ms\tvalue\tquality\n"
                                   "1\t1794814200000\t805300\t0\n"
                                   "1\t1794814200001\t-\t4\n"
                                   "1\t1794814200002\t-9223372036854775807\t0\n"
                                   "1\t1794814200003\t0\t0\n"
                                   "1\t1794814200004\t-7\t0\n";
    static const char attestations[] =
        "attestation\tattestation_id\tbatch_id\tvisit\tt_ms\tsaid_ms\tsaid_by\twords\n"
        "1\t1\t0\t5\t6\t\"B \\\"Bench\\\"\"\t\"a\\tb\\\\c\\nd\xc3\xa4\"\n";
    static char by[] = "B \"Bench\"", said[] = "a\tb\\c\nd\xc3\xa4";
    const struct ledger_attestation attestation = {0, 5, 6, by, said};
    struct seal_part part = {.name = "reading", .channel_id = 1, .low = t0, .high = t0 + 4};
    struct seal_part other = {.name = "attestation", .low = 1, .high = 1};
    struct bench *bench = *state;
    char sha256[LEDGER_SHA256_TEXT_BYTES];

    bench_fill(bench);
    bench_add_reading(bench, bench->channels[0], t0 + 2, -INT64_MAX, QUALITY_GOOD);
    bench_add_reading(bench, bench->channels[0], t0 + 3, 0, QUALITY_GOOD);
    bench_add_reading(bench, bench->channels[0], t0 + 4, -7, QUALITY_GOOD);
    bench_add_reading(bench, bench->channels[0], t0 + 5, 1, QUALITY_GOOD);
    assert_int_equal(seal_digest_part(bench->ledger, &part, &bench->fault), 0);
    ledger_sha256(readings, sizeof readings - 1, sha256);
    assert_string_equal(part.sha256, sha256);
    assert_int_equal(part.rows, 5);
    assert_int_equal(ledger_add_attestation(bench->ledger, 1, &attestation, &bench->fault), 0);
    assert_int_equal(seal_digest_part(bench->ledger, &other, &bench->fault), 0);
    ledger_sha256(attestations, sizeof attestations - 1, sha256);
    assert_string_equal(other.sha256, sha256);
}

/* ---- when seals are made ---- */

static void what_is_open_is_named_and_nothing_is_wrong_with_it(void **state) {
    struct bench *bench = *state;
    char words[BENCH_WORDS_BYTES];
    struct seal_tally tally;

    bench_fill(bench);
    tally = verify(bench->ledger, words);
    assert_int_equal(tally.seals, 0);
    assert_int_equal(tally.flaws, 0);
    assert_true(tally.unsealed > 0);
    seal_books(bench->ledger, t0, &bench->fault);
    verify(bench->ledger, words);
    assert_string_equal(words, "runs: 1 is over and has no seal");
    assert_int_equal(seal_run(bench->ledger, 1, SEAL_RUN_LATER, LEAD_MS, t0 + 20, NULL, &bench->fault), 0);
    tally = verify(bench->ledger, words);
    assert_int_equal(tally.flaws, 0);
    assert_int_equal(tally.unsealed, 0);
    assert_int_equal(tally.open_runs, 1);
    assert_int_equal(tally.later_runs, 1);
    assert_int_equal(tally.readings, 2);
    bench_assert_fault(bench, seal_run(bench->ledger, 2, SEAL_RUN, 0, t0, NULL, &bench->fault), EX_DATAERR,
                       "run 2 is on");
    assert_int_equal(seal_run(bench->ledger, 9, SEAL_RUN, 0, t0, NULL, &bench->fault), -1);
    bench_assert_fault(bench, seal_run(bench->ledger, 1, SEAL_RUN, 0, t0, NULL, &bench->fault), EX_DATAERR,
                       "a run is sealed once");
}

/* A file as the first version of the program made it, with two runs that are over. */
static void make_old_ledger(const char *path) {
    sqlite3 *db = NULL;
    bool made = sqlite3_open(path, &db) == SQLITE_OK;

    for (const char *const *script = schema_first; *script != NULL && made; script++)
        made = sqlite3_exec(db, *script, NULL, NULL, NULL) == SQLITE_OK;
    made = made && sqlite3_exec(db,
                                "INSERT INTO oven VALUES (1, 'kiln'); INSERT INTO channel VALUES (1, 1, 'control');"
                                " INSERT INTO run VALUES (1, 1, 1000, 2000, 2), (2, 1, 5000, 6000, 2);"
                                " INSERT INTO reading VALUES (1, 1500, 20000, 0), (1, 5500, 30000, 0);"
                                " PRAGMA user_version = 1",
                                NULL, NULL, NULL) == SQLITE_OK;
    if (made) {
        char identity[SQL_BYTES];

        snprintf(identity, sizeof identity, "PRAGMA application_id = %d", LEDGER_APPLICATION_ID);
        made = sqlite3_exec(db, identity, NULL, NULL, NULL) == SQLITE_OK;
    }
    if (!made)
        fail_msg("%s", sqlite3_errmsg(db));
    sqlite3_close(db);
}

static void runs_from_before_there_were_seals_are_sealed_later(void **state) {
    struct bench *bench = *state;
    char words[BENCH_WORDS_BYTES], path[BENCH_PATH_BYTES + 8];
    struct seal_tally tally;
    struct ledger *ledger;
    int64_t oven_id = 0;

    snprintf(path, sizeof path, "%s/old", bench->folder);
    make_old_ledger(path);
    ledger = ledger_open(path, LEDGER_RECORD, &bench->fault);
    if (ledger == NULL)
        fail_msg("%s", bench->fault.text);
    assert_int_equal(verify(ledger, words).seals, 0);
    for (int64_t run_id = 1; run_id <= 2; run_id++) {
        assert_int_equal(seal_find_unsealed(ledger, &oven_id, &bench->fault), run_id);
        assert_int_equal(oven_id, 1);
        assert_int_equal(seal_run(ledger, run_id, SEAL_RUN_LATER, 0, t0, NULL, &bench->fault), 0);
    }
    assert_int_equal(seal_find_unsealed(ledger, &oven_id, &bench->fault), 0);
    tally = verify(ledger, words); // its tables are like those of a new one, too
    assert_string_equal(words, "");
    assert_int_equal(tally.later_runs, 2);
    assert_int_equal(tally.readings, 2);
    assert_int_equal(tally.unsealed, 0);
    ledger_close(ledger);
}

static void nothing_new_makes_no_seal_and_nothing_taken_back_leaves_one(void **state) {
    struct bench *bench = *state;
    struct seal_head before, after;

    seal_all(bench);
    assert_int_equal(seal_books(bench->ledger, t0 + 30, &bench->fault), 0);
    assert_int_equal(seal_read_last(bench->ledger, &before, &bench->fault), 1);
    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    assert_int_equal(ledger_end_run(bench->ledger, 2, t0 + 40, RUN_END_COLD, &bench->fault), 0);
    assert_int_equal(seal_run(bench->ledger, 2, SEAL_RUN, 0, t0 + 40, NULL, &bench->fault), 0);
    ledger_roll_back(bench->ledger);
    assert_int_equal(seal_read_last(bench->ledger, &after, &bench->fault), 1);
    assert_int_equal(after.seal_id, before.seal_id);
    assert_string_equal(after.sha256, before.sha256);
    is_sound(bench->ledger);
}

/* Each of them on its own, without a transaction of the caller's. */
static void what_the_command_writes_is_sealed_as_it_is_written(void **state) {
    static char by[] = "bench", said[] = "";
    const struct ledger_attestation attestation = {0, t0, t0, by, said};
    struct bench *bench = *state;
    struct ledger *command, *recorder = bench->ledger;
    char words[BENCH_WORDS_BYTES];
    struct seal_head head;

    seal_all(bench);
    command = bench_open(bench, LEDGER_BOOKKEEP);
    seal_set_time(command, t0 + 77);
    bench->ledger = command;
    assert_int_equal(bench_open_batch(bench, t0), 3); // its number, not that of a seal
    bench->ledger = recorder;
    assert_int_equal(seal_read_last(recorder, &head, &bench->fault), 1);
    assert_int_equal(head.seal_id, 2);
    assert_int_equal(head.kind, SEAL_BOOKS);
    assert_int_equal(head.sealed_ms, t0 + 77);
    assert_int_equal(ledger_add_attestation(command, 3, &attestation, &bench->fault), 0);
    assert_int_equal(ledger_claim_run(command, 2, 3, 0, t0, "bench", &bench->fault), 0);
    assert_int_equal(ledger_close_batch(command, 3, t0 + 1, &bench->fault), 0);
    assert_int_equal(seal_read_last(recorder, &head, &bench->fault), 1);
    assert_int_equal(head.seal_id, 5);
    assert_int_equal(verify(recorder, words).unsealed, 0);
    is_sound(recorder);
    ledger_close(command);
}

static void an_import_is_sealed_as_an_import_when_it_is_complete(void **state) {
    struct bench *bench = *state;
    char words[BENCH_WORDS_BYTES];
    struct seal_tally tally;

    seal_all(bench);
    run_sql(bench,
            "INSERT INTO import (oven_id, begun_ms, ended_ms, source, file_name, file_sha256,"
            " description_sha256, imported_ms, imported_by) SELECT 1, 1000, 2000, 'x', 'y', sha256, sha256, 5, 'z'"
            " FROM document LIMIT 1");
    assert_int_equal(seal_books(bench->ledger, t0 + 30, &bench->fault), 0);
    assert_int_equal(verify(bench->ledger, words).flaws, 0);
    run_sql(bench, "INSERT INTO imported_reading VALUES (1, 1, 1500, 20000, 0)");
    run_sql(bench, "UPDATE import SET complete = 1");
    assert_int_equal(seal_books(bench->ledger, t0 + 31, &bench->fault), 1);
    tally = verify(bench->ledger, words);
    assert_string_equal(words, "");
    assert_int_equal(tally.imported_runs, 1);
    run_sql(bench, "DROP TRIGGER imported_reading_unchanged; UPDATE imported_reading SET value = 20001");
    assert_int_equal(verify(bench->ledger, words).flaws, 2); // that, and the trigger
}

/* ---- append-only ---- */

static void seals_and_books_refuse_change(void **state) {
    static const char *const refused[] = {
        "UPDATE seal SET sealed_ms = 1",
        "DELETE FROM seal",
        "INSERT OR REPLACE INTO seal SELECT seal_id, form, kind, run_id, 1, before, sha256 FROM seal",
        "UPDATE seal_part SET rows = 1",
        "DELETE FROM seal_part",
        "INSERT OR REPLACE INTO seal_part SELECT seal_id, place, name, channel_id, low, high, 9, sha256 FROM "
        "seal_part",
        "INSERT INTO seal_part SELECT seal_id, place + 1000, name, channel_id, low, high, 9, sha256 FROM seal_part",
        "UPDATE disposition SET decision = 1",
        "DELETE FROM disposition",
        "INSERT OR REPLACE INTO disposition SELECT disposition_id, batch_id, 1, said_ms, said_by, reason FROM "
        "disposition",
        "UPDATE hardness SET value = 1",
        "DELETE FROM hardness",
        "INSERT OR REPLACE INTO hardness SELECT hardness_id, batch_id, scale, 1, uncertainty, piece, position, "
        "instrument,"
        " measured_by, measured_ms, said_ms FROM hardness",
        "UPDATE amendment SET words = ''",
        "DELETE FROM amendment",
        "INSERT OR REPLACE INTO amendment SELECT amendment_id, batch_id, entry, number, withdraws, value, 'x', "
        "reason,"
        " said_by, said_ms FROM amendment",
    };
    struct bench *bench = *state;
    char words[BENCH_WORDS_BYTES];

    seal_all(bench);
    run_sql(bench, "INSERT INTO disposition VALUES (1, 1, 4, 5, 'bench', 'why')");
    run_sql(bench, "INSERT INTO hardness VALUES (1, 1, 'HRC', 60000, 0, '', '', '', 'bench', 5, 5)");
    run_sql(bench, "INSERT INTO amendment VALUES (1, 1, 1, 0, 0, NULL, 'x', 'why', 'bench', 5)");
    for (size_t i = 0; i < sizeof refused / sizeof refused[0]; i++) {
        if (bench_run_sql(bench->path, refused[i], words) == SQLITE_OK)
            fail_msg("not refused: %s", refused[i]);
        if (strstr(words, "never") == NULL && strstr(words, "sealed once") == NULL &&
            strstr(words, "takes no more") == NULL)
            fail_msg("%s: refused by '%s'", refused[i], words);
    }
}

/* ---- small changes ---- */

static void no_small_change_goes_unnoticed(void **state) {
    struct bench *bench = *state;
    struct tamper_tally tally = {0};

    seal_all(bench);
    run_sql(bench, "INSERT INTO disposition VALUES (1, 1, 4, 5, 'bench', 'why')");
    run_sql(bench, "INSERT INTO hardness VALUES (1, 1, 'HRC', 60000, 0, '', '', '', 'bench', 5, 5)");
    assert_int_equal(seal_books(bench->ledger, t0 + 50, &bench->fault), 1);
    is_sound(bench->ledger);
    tamper_try(bench->ledger, UINT64_C(20261116), TRIES, &tally);
    assert_int_equal(tally.tried, TRIES);
    if (tally.missed > 0)
        fail_msg("%zu of %zu changes were not noticed, such as %s", tally.missed, tally.tried, tally.example);
    is_sound(bench->ledger); // every change was taken back
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(every_column_of_every_table_is_in_a_form, bench_set_up, bench_tear_down),
        cmocka_unit_test_setup_teardown(a_part_is_the_text_that_the_manual_lays_down, bench_set_up,
                                        bench_tear_down),
        cmocka_unit_test_setup_teardown(what_is_open_is_named_and_nothing_is_wrong_with_it, bench_set_up,
                                        bench_tear_down),
        cmocka_unit_test_setup_teardown(runs_from_before_there_were_seals_are_sealed_later, bench_set_up,
                                        bench_tear_down),
        cmocka_unit_test_setup_teardown(nothing_new_makes_no_seal_and_nothing_taken_back_leaves_one, bench_set_up,
                                        bench_tear_down),
        cmocka_unit_test_setup_teardown(what_the_command_writes_is_sealed_as_it_is_written, bench_set_up,
                                        bench_tear_down),
        cmocka_unit_test_setup_teardown(an_import_is_sealed_as_an_import_when_it_is_complete, bench_set_up,
                                        bench_tear_down),
        cmocka_unit_test_setup_teardown(seals_and_books_refuse_change, bench_set_up, bench_tear_down),
        cmocka_unit_test_setup_teardown(no_small_change_goes_unnoticed, bench_set_up, bench_tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
