// SPDX-License-Identifier: MIT
/* A ledger that is damaged or made to harm gives a fault and nothing worse, and what was said to be committed is
 * there after a kill. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <signal.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "support/bench_ledger.h"

static const int64_t t0 = BENCH_STARTED_MS;

static void test_rows_that_cannot_be_are_refused(void **state) {
    struct bench *const bench = *state;
    static const struct {
        const char *sql, *words;
    } rows[] = {
        {"INSERT INTO reading VALUES (1, 5, NULL, 0)", "a row of table reading"},
        {"INSERT INTO reading VALUES (1, 5, 5, 1)", "a row of table reading"},
        {"INSERT INTO reading VALUES (1, 5, NULL, 99)", "a row of table reading"},
        {"INSERT INTO reading VALUES (1, 5, NULL, -1)", "a row of table reading"},
        {"INSERT INTO event VALUES (9, 5, 99, 0, '')", "kind"},
        {"INSERT INTO event VALUES (9, 5, 1, 0, printf('%0200d', 1))", "detail"},
        {"INSERT INTO event VALUES (9, 5, 1, 0, 'a' || char(0) || 'b')", "detail"},
        {"INSERT INTO run VALUES (9, 2, 100, 50, 1)", "ended_ms"},
        {"INSERT INTO run VALUES (9, 2, 100, 150, 99)", "end_reason"},
        {"INSERT INTO claim VALUES (9, 2, 2, -1, 0, '')", "visit"},
        {"INSERT INTO claim VALUES (9, 2, -2, 1, 0, '')", "batch_id"},
        {"INSERT INTO session VALUES (9, 1, 1, 1, printf('%0200d', 1), 0, '')", "boot_id"},
        {"INSERT INTO session VALUES (9, 1, 1, 1, '', 7, '')", "simulated"},
        {"INSERT INTO finding VALUES (9, 0, 0, 99, 0, NULL, 0, 0)", "kind"},
        {"INSERT INTO batch VALUES (3, 1, NULL, 1, '', '', '', '', '', '', printf('%064d', 1))", "plan"},
    };

    bench_fill(bench);
    bench_close(bench);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        int64_t readings;
        char sql[BENCH_WORDS_BYTES];
        char words[BENCH_WORDS_BYTES];
        size_t length;
        char *const whole = bench_slurp(bench->path, &length);
        int result;

        snprintf(sql, sizeof sql, "PRAGMA ignore_check_constraints = ON; %s", rows[i].sql);
        assert_int_equal(bench_run_sql(bench->path, sql, words), SQLITE_OK);
        result = bench_read_everything(bench->path, &readings, &bench->fault);
        bench_assert_fault(bench, result, EX_DATAERR, rows[i].words);
        bench_spill(bench->path, whole, length);
        free(whole);
    }
}

static void test_changed_plan_is_noticed(void **state) {
    struct bench *const bench = *state;
    char words[BENCH_WORDS_BYTES];

    bench_fill(bench);
    assert_int_equal(bench_run_sql(bench->path,
                                   "DROP TRIGGER document_unchanged;"
                                   "UPDATE document SET body = body || ' ' WHERE body LIKE '[plan]%'",
                                   words),
                     SQLITE_OK);
    assert_null(ledger_read_batch(bench->ledger, 1, &bench->fault));
    bench_assert_fault(bench, -1, EX_DATAERR, "");
}

enum { DAMAGED_FILES = 400, MANY_READINGS = 3000, BLOCK_BYTES = 4096 };

/* A ledger with some thousand readings, closed; its bytes, which the caller frees. */
static char *make_whole(struct bench *bench, size_t *length) {
    bench_fill(bench);
    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    for (int i = 0; i < MANY_READINGS; i++) {
        bench_add_reading(bench, bench->channels[i % BENCH_CHANNELS], t0 + 100 + i, i, QUALITY_GOOD);
    }
    assert_int_equal(ledger_commit(bench->ledger, &bench->fault), 0);
    bench_close(bench);
    return bench_slurp(bench->path, length);
}

/* What a recorder makes of the file: kept under another name, byte for byte, and an empty one in its place. */
static void check_set_aside(struct bench *bench) {
    size_t before_length, kept_length;
    char *const before = bench_slurp(bench->path, &before_length);
    char *kept, name[BENCH_PATH_BYTES + FAULT_TEXT_BYTES];
    struct ledger_session session;

    bench->ledger = bench_open(bench, LEDGER_RECORD);
    assert_non_null(ledger_kept_file(bench->ledger));
    snprintf(name, sizeof name, "%s", ledger_kept_file(bench->ledger));
    assert_int_equal(strncmp(name, bench->path, strlen(bench->path)), 0);
    assert_int_equal(ledger_last_session(bench->ledger, &session, &bench->fault), 0);
    bench_close(bench);
    kept = bench_slurp(name, &kept_length);
    assert_int_equal(kept_length, before_length);
    assert_memory_equal(kept, before, before_length);
    free(kept);
    free(before);
    bench->ledger = bench_open(bench, LEDGER_RECORD); // sound now
    assert_null(ledger_kept_file(bench->ledger));
    bench_close(bench);
    assert_int_equal(access(name, F_OK), 0);
    assert_int_equal(unlink(name), 0);
}

static void test_damaged_ledger_is_set_aside(void **state) {
    struct bench *const bench = *state;
    char words[BENCH_WORDS_BYTES];
    size_t length;
    char *whole;

    for (int64_t t = 0; t < 2000; t++)
        bench_add_reading(bench, bench->channels[0], BENCH_STARTED_MS + t, t, QUALITY_GOOD);
    bench_close(bench);
    bench_run_sql(bench->path, "PRAGMA wal_checkpoint(TRUNCATE)", words);
    whole = bench_slurp(bench->path, &length);
    memset(whole + length - BLOCK_BYTES / 2, 0x5A, 512); // in the middle of the last page, which holds readings
    bench_spill(bench->path, whole, length);
    check_set_aside(bench);
    memset(whole, 0, 16); // no longer a database at all
    bench_spill(bench->path, whole, length);
    check_set_aside(bench);
    free(whole);
}

/* Writes the damaged bytes and reads them: 1 if that was a fault, which must be one clear line. */
static int is_fault(struct bench *bench, const char *bytes, size_t length, int64_t *readings) {
    bench_spill(bench->path, bytes, length);
    bench->fault = (struct fault){0};
    if (bench_read_everything(bench->path, readings, &bench->fault) == 0) {
        return 0;
    }
    bench_assert_fault(bench, -1, bench->fault.status, "");
    assert_true(bench->fault.status == EX_DATAERR || bench->fault.status == EX_IOERR);
    return 1;
}

static void test_damaged_file_is_a_fault(void **state) {
    struct bench *const bench = *state;
    uint64_t seed = 42;
    size_t length;
    char *const whole = make_whole(bench, &length);
    char *const damaged = malloc(length);
    int64_t readings;
    int faults = 0;

    assert_non_null(damaged);
    for (int i = 0; i < DAMAGED_FILES; i++) {
        const bool cut_off = i % 4 == 0;

        memcpy(damaged, whole, length);
        for (int change = 1 + (int)(bench_random(&seed) % 40); change > 0 && !cut_off; change--) {
            damaged[bench_random(&seed) % length] = (char)bench_random(&seed);
        }
        faults += is_fault(bench, damaged, cut_off ? bench_random(&seed) % length : length, &readings);
    }
    assert_true(faults > DAMAGED_FILES / 2);
    assert_int_equal(is_fault(bench, whole, length, &readings), 0);
    assert_int_equal(readings, MANY_READINGS + 2);
    free(whole);
    free(damaged);
}

/* A block of the disk that comes back empty: all readings are there, or it is a fault. */
static void test_no_reading_is_missing_in_silence(void **state) {
    struct bench *const bench = *state;
    size_t length;
    char *const whole = make_whole(bench, &length);
    char *const damaged = malloc(length);
    int64_t readings;
    int faults = 0;

    assert_non_null(damaged);
    for (size_t at = 0; at < length; at += BLOCK_BYTES) {
        memcpy(damaged, whole, length);
        memset(damaged + at, 0, BLOCK_BYTES);
        if (is_fault(bench, damaged, length, &readings) == 0) {
            assert_int_equal(readings, MANY_READINGS + 2);
        } else {
            faults++;
        }
    }
    assert_true(faults > MANY_READINGS * 10 / BLOCK_BYTES); // every leaf with readings in it, 10 bytes each or more
    free(whole);
    free(damaged);
}

/* A child that stores readings of channel 1 at t = 1, 2, 3 ... after `last`, and says so once they are committed.
 */
static void record_until_killed(struct bench *bench, int64_t last, int tell) {
    struct ledger *const ledger = ledger_open(bench->path, LEDGER_RECORD, &bench->fault);
    uint64_t seed = (uint64_t)last + 1;

    while (ledger != NULL) {
        const int64_t until = last + 1 + (int64_t)(bench_random(&seed) % 30);

        if (ledger_begin(ledger, &bench->fault) != 0) {
            break;
        }
        while (last < until) {
            const struct reading reading = {.t_ms = last + 1, .value = (last + 1) * 3, .channel_id = 1};

            last++;
            if (ledger_add_reading(ledger, &reading, &bench->fault) != 0) {
                _exit(2);
            }
        }
        if (ledger_commit(ledger, &bench->fault) != 0 || write(tell, &last, sizeof last) != sizeof last) {
            break;
        }
    }
    _exit(2);
}

static int64_t kill_a_recorder(struct bench *bench, int64_t last, useconds_t after_us) {
    int told[2];
    int status;
    pid_t child;

    assert_int_equal(pipe(told), 0);
    child = fork();
    if (child == 0) {
        close(told[0]);
        record_until_killed(bench, last, told[1]);
    }
    close(told[1]);
    usleep(after_us);
    kill(child, SIGKILL);
    while (read(told[0], &last, sizeof last) == sizeof last) {
        // the last number counts
    }
    close(told[0]);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status));
    return last;
}

static void test_what_was_committed_survives_a_kill(void **state) {
    struct bench *const bench = *state;
    enum { KILLS = 20 };
    uint64_t seed = 7;
    int64_t reported = 0;
    char words[BENCH_WORDS_BYTES];

    bench_close(bench);
    for (int i = 0; i < KILLS; i++) {
        int64_t stored;

        reported = kill_a_recorder(bench, reported, (useconds_t)(2000 + bench_random(&seed) % 60000));
        bench->ledger = bench_open(bench, LEDGER_RECORD);
        bench_close(bench);
        stored = bench_count(bench->path, "SELECT coalesce(max(t_ms), 0) FROM reading");
        assert_true(stored >= reported); // a commit may have succeeded that could not be told any more
        assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM reading WHERE value = 3 * t_ms"), stored);
        bench_run_sql(bench->path, "PRAGMA integrity_check", words);
        assert_string_equal(words, "ok");
        reported = stored;
    }
    assert_true(reported > KILLS);
}

#define WITH_BENCH(test) cmocka_unit_test_setup_teardown(test, bench_set_up, bench_tear_down)

int main(void) {
    const struct CMUnitTest tests[] = {
        WITH_BENCH(test_rows_that_cannot_be_are_refused),  WITH_BENCH(test_changed_plan_is_noticed),
        WITH_BENCH(test_damaged_file_is_a_fault),          WITH_BENCH(test_damaged_ledger_is_set_aside),
        WITH_BENCH(test_no_reading_is_missing_in_silence), WITH_BENCH(test_what_was_committed_survives_a_kill),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
