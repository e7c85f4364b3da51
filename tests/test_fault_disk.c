// SPDX-License-Identifier: MIT
/* The disk fails in the middle of a soak: full, read-only, standing still, or without power. tests/fault/disk.c is
 * preloaded for it, under the real daemon, and under a recorder of its own that says what is committed.
 * SOAKLEDGER_FAULT_ROUNDS is how often the power fails. */
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

#include "soakledger/assess.h"
#include "soakledger/ledger.h"
#include "support/bench_ledger.h"
#include "support/stage.h"

enum { CUTS = 25, LAST_CUT = 400, PATH_BYTES = 512, COMMAND_BYTES = 1024, SETTLE_US = 700000, STALL_US = 10000000 };
enum { LOOKS = 500, LOOK_US = 20000, BATCH_MOST = 30, KEPT_BYTES = 64 };

static const char *build_folder(void) {
    const char *folder = getenv("SOAKLEDGER_BUILD");

    return folder != NULL ? folder : "build/gcc";
}

/* For what is started from here on, or no more. */
static void preload(bool on, const char *control) {
    char library[PATH_BYTES], *whole;

    unsetenv("LD_PRELOAD");
    if (!on)
        return;
    snprintf(library, sizeof library, "%s/disk.so", build_folder());
    whole = realpath(library, NULL);
    assert_non_null(whole);
    setenv("LD_PRELOAD", whole, 1);
    free(whole);
    setenv("FAULT_FILE", "/shop", 1);
    setenv("FAULT_CONTROL", control, 1);
}

static int set_up(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);
    char control[PATH_BYTES];

    *state = stage;
    stage_open(stage);
    snprintf(control, sizeof control, "%s/disk", stage->folder);
    preload(true, control);
    stage_start_daemon(stage);
    preload(false, NULL);
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --operator 'day shift'");
    stage_play_until(stage, "2026-11-16T07:45:00Z");
    return 0;
}

static int tear_down(void **state) {
    stage_close(*state);
    free(*state);
    return 0;
}

static void contains(const char *text, const char *part) {
    if (strstr(text, part) == NULL)
        fail_msg("'%s' is not in:\n%s", part, text);
}

static void await_in_journal(struct stage *stage, const char *words) {
    char command[COMMAND_BYTES];

    snprintf(command, sizeof command, "grep -q '%s' $D/journal.txt", words);
    for (int i = 0; i < LOOKS; i++) {
        if (stage_run(stage, command) == 0)
            return;
        usleep(LOOK_US);
    }
    fail_msg("'%s' did not come:\n%s", words, stage_read_journal(stage));
}

/* Every second of the run is there, and the verdict is that of an undisturbed morning. */
static void expect_nothing_lost(struct stage *stage) {
    struct fault fault = {0};
    struct ledger *ledger;
    struct assess_batch *assessed;

    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: met");
    ledger = ledger_open(stage->ledger, LEDGER_READ, &fault);
    assessed = ledger != NULL ? assess_batch(ledger, 1, NULL, &fault) : NULL;
    ledger_close(ledger);
    if (assessed == NULL) {
        fail_msg("%s", fault.text);
        return; // for the analyser: fail_msg does not come back
    }
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assert_int_equal(assessed->visits[0].runs[0].agreement, ASSESS_AGREES);
    assert_int_equal(assessed->visits[0].runs[0].soak.gap_count, 0);
    assess_free(assessed);
    assert_string_equal(stage_tell(stage,
                                   "sqlite3 $D/shop.ledger \"select count(*) = 1 + (max(t_ms) - min(t_ms)) / "
                                   "1000 from reading, run where channel_id = 4 and t_ms between begun_ms and "
                                   "ended_ms; select count(*) from event where kind = 7; pragma "
                                   "integrity_check\""),
                        "1\n0\nok\n");
}

/* ---- full, read-only, standing still ---- */

static void fail_for_two_minutes(struct stage *stage, char how, const char *words) {
    char command[COMMAND_BYTES];

    snprintf(command, sizeof command, "echo %c >$D/disk", how);
    usleep(SETTLE_US);
    stage_tell(stage, command);
    stage_play_until(stage, "+2 min");
    await_in_journal(stage, "alert ledger, ledger, raised: the ledger cannot be written: ");
    contains(stage_read_journal(stage), words);
    assert_int_equal(kill(stage->daemon, 0), 0);
    stage_tell(stage, "rm $D/disk");
    await_in_journal(stage, "alert ledger, ledger, clear: the ledger can be written again; nothing was lost");
}

static void a_full_disk_loses_nothing_once_it_is_freed(void **state) {
    fail_for_two_minutes(*state, 'f', "database or disk is full");
    expect_nothing_lost(*state);
}

static void a_disk_that_went_read_only_loses_nothing_once_it_is_back(void **state) {
    fail_for_two_minutes(*state, 'r', "trying again every second");
    expect_nothing_lost(*state);
}

static void a_disk_that_stands_still_for_ten_seconds_loses_nothing(void **state) {
    struct stage *stage = *state;

    stage_tell(stage, "echo s >$D/disk");
    stage_play_until(stage, "+2 min"); // the oven does not wait for the disk
    usleep(STALL_US);
    stage_tell(stage, "rm $D/disk");
    expect_nothing_lost(stage);
}

/* ---- no power ---- */

/* This program again, preloaded: stores readings 1, 2, 3 ... and says which are committed. Its log is folded in
 * often, so that the power fails in that, too. */
static int record_until_cut(const char *path) {
    struct fault fault = {0};
    struct ledger *ledger = ledger_open(path, LEDGER_RECORD, &fault);
    int64_t last = ledger != NULL ? ledger_last_time(ledger, &fault) : -1;
    uint64_t seed = (uint64_t)last + 1;

    while (last >= 0 && ledger_begin(ledger, &fault) == 0) {
        const int64_t until = last + 1 + (int64_t)(bench_random(&seed) % BATCH_MOST);

        for (; last < until; last++) {
            const struct reading reading = {.t_ms = last + 1, .value = (last + 1) * 3, .channel_id = 1};

            if (ledger_add_reading(ledger, &reading, &fault) != 0)
                return EXIT_FAILURE;
        }
        if (ledger_commit(ledger, &fault) != 0 || write(STDOUT_FILENO, &last, sizeof last) != sizeof last)
            break;
        if (last % 7 == 0) { // closing folds the log in
            ledger_close(ledger);
            ledger = ledger_open(path, LEDGER_RECORD, &fault);
        }
        if (ledger == NULL)
            break;
    }
    fprintf(stderr, "%s\n", fault.text);
    return EXIT_FAILURE;
}

static int64_t cut_a_recorder(const char *path, int64_t last, long cut) {
    int told[2], status;
    pid_t child;

    assert_int_equal(pipe(told), 0);
    child = fork();
    if (child == 0) {
        char number[KEPT_BYTES];

        preload(true, "/nonexistent");
        snprintf(number, sizeof number, "%ld", cut);
        setenv("FAULT_CUT", number, 1);
        dup2(told[1], STDOUT_FILENO);
        close(told[0]);
        close(told[1]);
        execl("/proc/self/exe", "record", path, (char *)NULL);
        _exit(127);
    }
    close(told[1]);
    while (read(told[0], &last, sizeof last) == sizeof last) {
        // the last number counts
    }
    close(told[0]);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status));
    assert_int_equal(WTERMSIG(status), SIGKILL);
    return last;
}

static void what_was_committed_survives_a_power_cut(void **state) {
    struct bench *const bench = *state;
    const char *const rounds = getenv("SOAKLEDGER_FAULT_ROUNDS");
    const int cuts = rounds != NULL ? atoi(rounds) : CUTS;
    uint64_t seed = 23;
    int64_t reported = 0;
    char words[BENCH_WORDS_BYTES];

    bench_close(bench);
    for (int i = 0; i < cuts; i++) {
        int64_t stored;

        reported = cut_a_recorder(bench->path, reported, 1 + (long)(bench_random(&seed) % LAST_CUT));
        bench->ledger = bench_open(bench, LEDGER_RECORD);
        assert_null(ledger_kept_file(bench->ledger)); // a cut is no damage
        bench_close(bench);
        stored = bench_count(bench->path, "SELECT coalesce(max(t_ms), 0) FROM reading");
        assert_true(stored >= reported);
        assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM reading WHERE value = 3 * t_ms"), stored);
        bench_run_sql(bench->path, "PRAGMA integrity_check", words);
        assert_string_equal(words, "ok");
        reported = stored;
    }
    assert_true(reported > cuts);
    print_message("%d cuts, %lld readings\n", cuts, (long long)reported);
}

int main(int argc, char **argv) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_full_disk_loses_nothing_once_it_is_freed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_disk_that_went_read_only_loses_nothing_once_it_is_back, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(a_disk_that_stands_still_for_ten_seconds_loses_nothing, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_was_committed_survives_a_power_cut, bench_set_up, bench_tear_down),
    };

    if (argc == 2 && strcmp(argv[0], "record") == 0)
        return record_until_cut(argv[1]);
    /* The sanitizers' runtime wants to be first of all libraries, and cannot be. */
    if (getenv("ASAN_OPTIONS") != NULL)
        setenv("ASAN_OPTIONS", "detect_leaks=1:abort_on_error=0:verify_asan_link_order=0", 1);
    else
        setenv("ASAN_OPTIONS", "verify_asan_link_order=0", 1);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
