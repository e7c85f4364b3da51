// SPDX-License-Identifier: MIT
/* How the ledger defends itself against mistakes at the sqlite3 shell, against the wrong program writing, and
 * against files that are not its own. Damage and the power going off: test_ledger_harm.c. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <fcntl.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "support/bench_ledger.h"

static const int64_t t0 = BENCH_STARTED_MS;

static const struct verdict verdict = {.requirement = REQUIREMENT_SPREAD, .required = 8000};
static const struct finding finding = {.t_ms = BENCH_STARTED_MS, .kind = FINDING_SOAK_BEGUN};
static const struct event event = {.t_ms = BENCH_STARTED_MS, .kind = EVENT_STARTED};

static void test_triggers_refuse_change(void **state) {
    struct bench *const bench = *state;
    static const struct {
        const char *sql, *words;
    } refusals[] = {
        {"UPDATE reading SET value = 1 WHERE quality = 0", "a reading is never changed"},
        {"DELETE FROM reading", "a reading is never deleted"},
        {"UPDATE event SET amount = 1", "an event is never changed"},
        {"DELETE FROM event", "an event is never deleted"},
        {"INSERT OR REPLACE INTO event VALUES (1, 1, 1, 1, '')", "an event is never replaced"},
        {"UPDATE finding SET value = 1", "a finding is never changed"},
        {"DELETE FROM finding", "a finding is never deleted"},
        {"INSERT OR REPLACE INTO finding VALUES (2, 2, 1, 1, 1, NULL, 1, 1)", "a finding is never replaced"},
        {"UPDATE verdict SET outcome = 0", "a verdict is never changed"},
        {"DELETE FROM verdict", "a verdict is never deleted"},
        {"INSERT OR REPLACE INTO verdict VALUES (1, 0, 0, 1, 0, 0, 1, 1, 1, 1, 1, NULL, 0)", "it takes no more"},
        {"INSERT INTO finding VALUES (9, 1, 1, 1, 1, NULL, 1, 1)", "it takes no more"},
        {"UPDATE claim SET batch_id = 2", "a claim is never changed"},
        {"DELETE FROM claim", "a claim is never deleted"},
        {"INSERT OR REPLACE INTO claim VALUES (1, 1, 2, 0, 1, 'x')", "a claim is never replaced"},
        {"INSERT INTO claim VALUES (9, 1, 1, 0, 1, 'x')", "the batch is closed"},
        {"UPDATE certificate SET issued_ms = 1", "a certificate is never changed"},
        {"DELETE FROM certificate", "a certificate is never deleted"},
        {"INSERT OR REPLACE INTO certificate SELECT certificate_id, 2, 1, 1, sha256 FROM certificate",
         "a certificate is never replaced"},
        {"INSERT INTO certificate SELECT 7, 1, 2, 1, sha256 FROM certificate", "certificates are numbered"},
        {"UPDATE document SET body = ''", "a document is never changed"},
        {"DELETE FROM document", "a document is never deleted"},
        {"INSERT OR REPLACE INTO document SELECT sha256, '' FROM document", "a document is never replaced"},
        {"UPDATE fitting SET sensor_type = 'N'", "a fitting is never changed"},
        {"DELETE FROM fitting", "a fitting is never deleted"},
        {"UPDATE session SET simulated = 0", "a session is never changed"},
        {"DELETE FROM session", "a session is never deleted"},
        {"UPDATE session_fitting SET fitting_id = 2", "a session is never changed"},
        {"DELETE FROM session_fitting", "a session is never deleted"},
        {"UPDATE oven SET name = 'x'", "an oven is never changed"},
        {"DELETE FROM oven", "an oven is never deleted"},
        {"INSERT OR REPLACE INTO oven VALUES (9, 'temper oven')", "there is an oven of that name"},
        {"UPDATE channel SET name = 'x'", "a channel is never changed"},
        {"DELETE FROM channel", "a channel is never deleted"},
        {"INSERT OR REPLACE INTO channel VALUES (9, 1, 'charge')", "has a channel of that name"},
        {"UPDATE run SET ended_ms = NULL, end_reason = 0 WHERE run_id = 1", "a run is never changed"},
        {"UPDATE run SET begun_ms = begun_ms - 1 WHERE run_id = 2", "a run is never changed"},
        {"UPDATE run SET begun_ms = 1, ended_ms = begun_ms, end_reason = 1 WHERE run_id = 2", "a run is never"},
        {"DELETE FROM run", "a run is never deleted"},
        {"INSERT OR REPLACE INTO run VALUES (1, 2, 1, NULL, 0)", "a run is never replaced"},
        {"INSERT OR REPLACE INTO run VALUES (9, 1, 1, NULL, 0)", "this oven has a run on already"},
        {"UPDATE batch SET note = 'x' WHERE batch_id = 2", "a batch is never changed"},
        {"UPDATE batch SET note = 'x', closed_ms = opened_ms WHERE batch_id = 2", "a batch is never changed"},
        {"UPDATE batch SET closed_ms = NULL WHERE batch_id = 1", "a batch is never changed"},
        {"DELETE FROM batch", "a batch is never deleted"},
        {"INSERT INTO batch SELECT 4, opened_ms, NULL, oven_id, '', '', '', '', '', '', plan_sha256 FROM batch "
         "LIMIT 1",
         "batches are numbered from 1 without gaps"},
        {"UPDATE judgement SET complete = 0 WHERE judgement_id = 1", "a judgement is never changed"},
        {"UPDATE judgement SET visit = 1", "a judgement is never changed"},
        {"DELETE FROM judgement", "a judgement is never deleted"},
        {"INSERT OR REPLACE INTO judgement VALUES (1, 1, 1, 0, 1, 0)", "a judgement is never replaced"},
        {"INSERT INTO reading VALUES (1, 5, NULL, 0)", "CHECK constraint failed"},
        {"INSERT INTO reading VALUES (1, 5, 1, 3)", "CHECK constraint failed"},
        {"INSERT INTO reading VALUES (1, 5, 1.5, 0)", "cannot store REAL value in INTEGER column"},
        {"INSERT INTO run VALUES (9, 2, 1, NULL, 1)", "CHECK constraint failed"},
    };
    char words[BENCH_WORDS_BYTES];

    bench_fill(bench);
    for (size_t i = 0; i < sizeof refusals / sizeof refusals[0]; i++) {
        const int code = bench_run_sql(bench->path, refusals[i].sql, words);

        if ((code & 0xFF) != SQLITE_CONSTRAINT || strstr(words, refusals[i].words) == NULL) {
            fail_msg("%s: %d, '%s': expected '%s'", refusals[i].sql, code, words, refusals[i].words);
        }
    }
}

static void test_replacing_a_reading_does_nothing(void **state) {
    struct bench *const bench = *state;
    char words[BENCH_WORDS_BYTES];

    bench_fill(bench);
    bench_run_sql(bench->path, "INSERT OR REPLACE INTO reading SELECT channel_id, t_ms, 1, 0 FROM reading", words);
    assert_int_equal(bench_count(bench->path, "SELECT sum(value) FROM reading"), 805300);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM reading WHERE quality = 4"), 1);
}

static void test_triggers_allow_what_should_be(void **state) {
    struct bench *const bench = *state;
    char words[BENCH_WORDS_BYTES];

    bench_fill(bench);
    assert_int_equal(bench_run_sql(bench->path,
                                   "UPDATE run SET ended_ms = begun_ms + 5, end_reason = 2 WHERE run_id = 2;"
                                   "UPDATE batch SET closed_ms = opened_ms WHERE batch_id = 2;"
                                   "INSERT INTO judgement VALUES (3, 1, 1, 0, 1, 0);"
                                   "UPDATE judgement SET complete = 1 WHERE judgement_id = 2;",
                                   words),
                     SQLITE_OK);
}

/* Everything that only the daemon may do. */
static void check_refuses_recording(struct bench *bench, struct ledger *ledger, const char *words) {
    struct fault *const fault = &bench->fault;
    const struct reading reading = {.t_ms = t0 + 50, .value = 1, .channel_id = bench->channels[0]};
    const struct ledger_session session = {.started_ms = t0};
    struct bench_config config;

    bench_fill_config(&config);
    bench_assert_fault(bench, ledger_add_reading(ledger, &reading, fault), EX_NOPERM, words);
    bench_assert_fault(bench, ledger_add_event(ledger, &event, fault), EX_NOPERM, words);
    bench_assert_fault(bench, ledger_open_run(ledger, bench->ovens[1], t0, fault), EX_NOPERM, words);
    bench_assert_fault(bench, ledger_end_run(ledger, 2, t0 + 99, RUN_END_COLD, fault), EX_NOPERM, words);
    bench_assert_fault(bench, ledger_open_judgement(ledger, 1, 1, 0, t0, fault), EX_NOPERM, words);
    bench_assert_fault(bench, ledger_add_finding(ledger, 1, &finding, fault), EX_NOPERM, words);
    bench_assert_fault(bench, ledger_add_verdicts(ledger, 1, &verdict, 1, fault), EX_NOPERM, words);
    bench_assert_fault(bench,
                       ledger_add_session(ledger, &session, &config.config, bench->ovens, bench->channels, fault),
                       EX_NOPERM, words);
}

static void test_bookkeeper_may_keep_books_only(void **state) {
    struct bench *const bench = *state;
    struct ledger *ledger;
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    int64_t revision;
    struct ledger *recorder;

    bench_fill(bench);
    ledger = bench_open(bench, LEDGER_BOOKKEEP);
    check_refuses_recording(bench, ledger, "not authorized");
    recorder = bench->ledger;
    bench->ledger = ledger;
    assert_int_equal(bench_open_batch(bench, t0), 3);
    bench->ledger = recorder;
    ledger_sha256("x", 1, sha256);
    assert_int_equal(ledger_begin(ledger, &bench->fault), 0);
    assert_int_equal(ledger_claim_run(ledger, 2, 3, 0, t0, "R. Bench", &bench->fault), 0);
    assert_int_equal(ledger_add_certificate(ledger, 3, t0, sha256, &revision, &bench->fault), 2);
    assert_int_equal(ledger_close_batch(ledger, 3, t0, &bench->fault), 0);
    assert_int_equal(ledger_commit(ledger, &bench->fault), 0);
    assert_true(ledger_data_version(ledger) > 0);
    ledger_close(ledger);
}

static void test_reader_may_write_nothing(void **state) {
    struct bench *const bench = *state;
    static char name[] = "x";
    struct ledger_batch batch = {.opened_ms = t0, .plan_name = name};
    struct ledger *ledger;
    int64_t revision;

    bench_fill(bench);
    batch.oven_id = bench->ovens[0];
    ledger = bench_open(bench, LEDGER_READ);
    check_refuses_recording(bench, ledger, "readonly database");
    bench_assert_fault(bench, ledger_open_batch(ledger, &batch, &bench->fault), EX_NOPERM, "readonly database");
    bench_assert_fault(bench, ledger_close_batch(ledger, 2, t0, &bench->fault), EX_NOPERM, "readonly database");
    bench_assert_fault(bench, ledger_claim_run(ledger, 2, 2, 0, t0, "x", &bench->fault), EX_NOPERM,
                       "readonly database");
    bench_assert_fault(bench, ledger_add_certificate(ledger, 1, t0, "", &revision, &bench->fault), EX_NOPERM,
                       "readonly database");
    ledger_close(ledger);
}

static void assert_not_opened(struct bench *bench, enum ledger_mode mode, int status, const char *words) {
    struct ledger *const ledger = ledger_open(bench->path, mode, &bench->fault);

    assert_null(ledger);
    bench_assert_fault(bench, -1, status, words);
}

static void test_second_recorder_is_refused(void **state) {
    struct bench *const bench = *state;

    assert_not_opened(bench, LEDGER_RECORD, EX_UNAVAILABLE, "another program is recording");
    bench_add_reading(bench, bench->channels[0], t0, 1, QUALITY_GOOD); // the first one is not disturbed
    bench_close(bench);
    bench->ledger = bench_open(bench, LEDGER_RECORD);
}

static int64_t now_ms(void) {
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static void test_writers_wait_for_each_other(void **state) {
    struct bench *const bench = *state;
    const int64_t began_ms = now_ms();
    const pid_t other = bench_start_other(bench, LEDGER_BOOKKEEP, 150);
    int status;

    bench->ledger = bench_open(bench, LEDGER_RECORD);
    bench_add_reading(bench, bench->channels[0], t0, 1, QUALITY_GOOD);
    assert_true(now_ms() - began_ms >= 150);
    assert_int_equal(waitpid(other, &status, 0), other);
    assert_int_equal(status, 0);
}

static void test_file_is_not_for_everybody(void **state) {
    struct bench *const bench = *state;
    struct stat status;

    assert_int_equal(stat(bench->path, &status), 0);
    assert_int_equal(status.st_mode & 0137, 0);
    assert_int_equal(bench_count(bench->path, "PRAGMA application_id"), 0x536F4C67);
    assert_int_equal(bench_count(bench->path, "PRAGMA user_version"), LEDGER_SCHEMA_VERSION);
}

/* Refused in all three ways, and left as it was, byte for byte. */
static void check_left_alone(struct bench *bench, const char *words) {
    size_t before_length;
    size_t after_length;
    char *const before = bench_slurp(bench->path, &before_length);
    char *after;

    assert_not_opened(bench, LEDGER_RECORD, EX_DATAERR, words);
    assert_not_opened(bench, LEDGER_BOOKKEEP, EX_DATAERR, words);
    assert_not_opened(bench, LEDGER_READ, EX_DATAERR, words);
    after = bench_slurp(bench->path, &after_length);
    assert_int_equal(after_length, before_length);
    assert_memory_equal(after, before, before_length);
    free(before);
    free(after);
}

static void test_newer_ledger_is_refused(void **state) {
    struct bench *const bench = *state;
    char words[BENCH_WORDS_BYTES], newer[BENCH_WORDS_BYTES];

    bench_close(bench);
    snprintf(newer, sizeof newer, "PRAGMA user_version = %d", LEDGER_SCHEMA_VERSION + 1);
    bench_run_sql(bench->path, newer, words);
    snprintf(newer, sizeof newer, "a ledger of version %d: this program knows versions up to %d",
             LEDGER_SCHEMA_VERSION + 1, LEDGER_SCHEMA_VERSION);
    check_left_alone(bench, newer);
}

static void test_foreign_file_is_refused(void **state) {
    struct bench *const bench = *state;
    static const char text[] =
        "time;temperature\n07:30;805.3\nnot a database, though long enough for a header, one\n"
        "hundred bytes of it and some more\n";
    char words[BENCH_WORDS_BYTES], lock[BENCH_PATH_BYTES + 8];

    bench_close(bench);
    snprintf(lock, sizeof lock, "%s.lock", bench->path);
    assert_int_equal(remove(lock), 0); // with it, a recorder was here before, and the file a damaged ledger
    bench_spill(bench->path, text, sizeof text - 1);
    check_left_alone(bench, "not a "); // database, ledger
    remove(bench->path);
    bench_run_sql(bench->path, "CREATE TABLE address (name TEXT)", words);
    check_left_alone(bench, "not a ledger");
    remove(bench->path);
    bench_run_sql(bench->path, "PRAGMA application_id = 252006674", words);
    check_left_alone(bench, "not a ledger");
}

static void test_missing_file_is_made_by_the_recorder_only(void **state) {
    struct bench *const bench = *state;

    bench_close(bench);
    assert_int_equal(remove(bench->path), 0);
    assert_not_opened(bench, LEDGER_READ, EX_NOINPUT, "No such file");
    assert_not_opened(bench, LEDGER_BOOKKEEP, EX_NOINPUT, "No such file");
    assert_int_equal(access(bench->path, F_OK), -1);
    bench_spill(bench->path, "", 0);
    assert_not_opened(bench, LEDGER_READ, EX_DATAERR, "not a ledger");
    assert_not_opened(bench, LEDGER_BOOKKEEP, EX_DATAERR, "not a ledger");
    ledger_close(bench_open(bench, LEDGER_RECORD)); // an empty file is nobody's
    ledger_close(bench_open(bench, LEDGER_READ));
    snprintf(bench->path, sizeof bench->path, "%s", bench->folder);
    assert_not_opened(bench, LEDGER_READ, EX_DATAERR, "expected a file");
    snprintf(bench->path, sizeof bench->path, "%.99s/no/where.db", bench->folder);
    assert_not_opened(bench, LEDGER_RECORD, EX_CANTCREAT, "lock file");
}

static void test_view_in_a_tables_place_is_refused(void **state) {
    struct bench *const bench = *state;
    char words[BENCH_WORDS_BYTES];

    bench_close(bench);
    assert_int_equal(
        bench_run_sql(bench->path,
                      "ALTER TABLE certificate RENAME TO other; CREATE VIEW certificate AS WITH RECURSIVE"
                      " c(n) AS (SELECT 1 UNION ALL SELECT n FROM c) SELECT n AS batch_id FROM c",
                      words),
        SQLITE_OK);
    assert_not_opened(bench, LEDGER_BOOKKEEP, EX_DATAERR, "tables are there");
    assert_not_opened(bench, LEDGER_READ, EX_DATAERR, "tables are there");
    ledger_close(bench_open(bench, LEDGER_RECORD)); // sets it aside and begins anew
    ledger_close(bench_open(bench, LEDGER_READ));
}

/* Runs read_everything as a user who owns nothing here; the status of its fault, 0 if there was none. */
static int read_as_nobody(struct bench *bench) {
    enum { NOBODY = 65534 };
    const pid_t child = fork();
    int64_t readings;
    int status;

    if (child == 0) {
        if (geteuid() == 0 && (setgid(NOBODY) != 0 || setuid(NOBODY) != 0)) {
            _exit(EX_OSERR);
        }
        _exit(bench_read_everything(bench->path, &readings, &bench->fault) == 0 ? 0 : bench->fault.status);
    }
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status));
    return WEXITSTATUS(status);
}

static void set_mode(const struct bench *bench, const char *suffix, mode_t mode) {
    char path[BENCH_PATH_BYTES + 8];

    snprintf(path, sizeof path, "%s%s", bench->path, suffix);
    assert_int_equal(chmod(path, mode), 0);
}

static void test_reader_without_rights_in_the_folder(void **state) {
    struct bench *const bench = *state;
    char path[BENCH_PATH_BYTES + 8];
    pid_t recorder;

    if (geteuid() != 0) {
        skip(); // only root can make files that another user reads but does not own
    }
    bench_fill(bench);
    recorder = bench_start_other(bench, LEDGER_RECORD, 60000);
    assert_int_equal(chmod(bench->folder, 0755), 0);
    assert_int_equal(read_as_nobody(bench), EX_NOPERM); // it is for the owner and the group
    set_mode(bench, "", 0644);
    assert_int_equal(read_as_nobody(bench), EX_NOPERM); // the log is not readable yet
    set_mode(bench, "-wal", 0644);
    set_mode(bench, "-shm", 0644);
    assert_int_equal(read_as_nobody(bench), 0); // beside a recorder
    kill(recorder, SIGKILL);
    assert_int_equal(waitpid(recorder, NULL, 0), recorder);
    assert_int_equal(read_as_nobody(bench), 0); // after it
    bench->ledger = bench_open(bench, LEDGER_RECORD);
    bench_close(bench);
    assert_int_equal(read_as_nobody(bench), 0);
    for (int i = 0; i < 2; i++) { // a copy, alone in a folder that nobody may write
        snprintf(path, sizeof path, "%s%s", bench->path, i == 0 ? "-wal" : "-shm");
        assert_int_equal(remove(path), 0);
    }
    assert_int_equal(read_as_nobody(bench), 0);
    assert_int_equal(access(path, F_OK), -1);
}

static void test_log_stays_beside_the_ledger(void **state) {
    struct bench *const bench = *state;
    char path[BENCH_PATH_BYTES + 8];

    snprintf(path, sizeof path, "%s-wal", bench->path);
    bench_close(bench);
    assert_int_equal(access(path, F_OK), 0);
    ledger_close(bench_open(bench, LEDGER_BOOKKEEP));
    ledger_close(bench_open(bench, LEDGER_READ));
    assert_int_equal(access(path, F_OK), 0);
}

#define WITH_BENCH(test) cmocka_unit_test_setup_teardown(test, bench_set_up, bench_tear_down)

int main(void) {
    const struct CMUnitTest tests[] = {
        WITH_BENCH(test_triggers_refuse_change),
        WITH_BENCH(test_replacing_a_reading_does_nothing),
        WITH_BENCH(test_triggers_allow_what_should_be),
        WITH_BENCH(test_bookkeeper_may_keep_books_only),
        WITH_BENCH(test_reader_may_write_nothing),
        WITH_BENCH(test_second_recorder_is_refused),
        WITH_BENCH(test_writers_wait_for_each_other),
        WITH_BENCH(test_file_is_not_for_everybody),
        WITH_BENCH(test_newer_ledger_is_refused),
        WITH_BENCH(test_foreign_file_is_refused),
        WITH_BENCH(test_missing_file_is_made_by_the_recorder_only),
        WITH_BENCH(test_view_in_a_tables_place_is_refused),
        WITH_BENCH(test_reader_without_rights_in_the_folder),
        WITH_BENCH(test_log_stays_beside_the_ledger),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
