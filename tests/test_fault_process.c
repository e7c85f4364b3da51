// SPDX-License-Identifier: MIT
/* The daemon itself is hit: killed at any moment, out of memory, out of descriptors; and the wall clock is stepped
 * under it by an hour and by a day, either way. SOAKLEDGER_FAULT_ROUNDS is how often it is killed. */
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
#include <sys/resource.h>
#include <sys/wait.h>
#include <sysexits.h>
#include <unistd.h>

#include "soakledger/assess.h"
#include "soakledger/clock.h"
#include "soakledger/ledger.h"
#include "support/stage.h"

enum { KILLS = 15, MANY = 100, MS_PER_MIN = 60000, MS_PER_H = 3600000, SETTLE_US = 700000 };
enum {
    PATH_BYTES = 512,
    COMMAND_BYTES = 1024,
    LIMIT_BYTES = 64,
    LOOKS = 600,
    LOOK_US = 20000,
    KILL_WITHIN_US = 40000,
    COMMITS_WITHIN_US = 400000
};
enum { KB_FIRST = 4000, KB_STEP = 3000, KB_LAST = 200000, DESCRIPTORS_FIRST = 3, DESCRIPTORS_LAST = 40 };

static int set_up(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);

    *state = stage;
    stage_open(stage);
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

static void open_batch(struct stage *stage) {
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --operator 'day shift'");
}

static int64_t ask(struct stage *stage, const char *query) {
    char command[COMMAND_BYTES];

    snprintf(command, sizeof command, "sqlite3 -readonly $D/shop.ledger \"%s\"", query);
    return strtoll(stage_tell(stage, command), NULL, 10);
}

static struct assess_batch *assess(struct stage *stage) {
    struct fault fault = {0};
    struct ledger *ledger = ledger_open(stage->ledger, LEDGER_READ, &fault);
    struct assess_batch *assessed = ledger != NULL ? assess_batch(ledger, 1, NULL, &fault) : NULL;

    ledger_close(ledger);
    if (assessed == NULL)
        fail_msg("%s", fault.text);
    return assessed;
}

/* ---- killed ---- */

/* A child that reads what is stored, as any reader may, and kills the daemon the moment after. */
static int start_killer(const struct stage *stage, useconds_t after_us, pid_t *child) {
    int told[2];

    assert_int_equal(pipe(told), 0);
    *child = fork();
    assert_true(*child >= 0);
    if (*child == 0) {
        sqlite3 *db = NULL;
        sqlite3_stmt *count = NULL;
        int64_t seen = -1;

        usleep(after_us);
        if (sqlite3_open_v2(stage->ledger, &db, SQLITE_OPEN_READONLY, NULL) == SQLITE_OK &&
            sqlite3_prepare_v2(db, "SELECT count(*) FROM reading", -1, &count, NULL) == SQLITE_OK &&
            sqlite3_step(count) == SQLITE_ROW)
            seen = sqlite3_column_int64(count, 0);
        kill(stage->daemon, SIGKILL);
        _exit(write(told[1], &seen, sizeof seen) == sizeof seen ? 0 : 1);
    }
    close(told[1]);
    return told[0];
}

/* Time runs on beside it: a killed program holds the time until its parent knows of its end. */
static pid_t start_playing(struct stage *stage, const char *span) {
    const pid_t child = fork();

    assert_true(child >= 0);
    if (child == 0) {
        char command[COMMAND_BYTES];

        snprintf(command, sizeof command, "timeout 60 $B/until $D/clock.page person '%s'", span);
        _exit(stage_run(stage, command));
    }
    return child;
}

static int64_t play_and_kill(struct stage *stage, const char *span, useconds_t after_us) {
    const pid_t player = start_playing(stage, span);
    pid_t killer;
    const int told = start_killer(stage, after_us, &killer);
    int64_t seen = -1;
    int status;

    assert_int_equal(waitpid(stage->daemon, &status, 0), stage->daemon);
    assert_true(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
    stage->daemon = 0;
    assert_int_equal(read(told, &seen, sizeof seen), sizeof seen);
    close(told);
    assert_int_equal(waitpid(killer, &status, 0), killer);
    assert_int_equal(status, 0);
    assert_int_equal(waitpid(player, &status, 0), player);
    assert_int_equal(status, 0);
    return seen;
}

static void killed_at_any_moment_nothing_that_was_read_back_is_lost(void **state) {
    struct stage *stage = *state;
    const char *const rounds = getenv("SOAKLEDGER_FAULT_ROUNDS");
    const int kills = rounds != NULL ? atoi(rounds) : KILLS;
    struct assess_batch *assessed;
    unsigned seed = 5;
    int64_t read_back = 0;

    stage_start_daemon(stage);
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T07:20:00Z");
    for (int i = 0; i < kills; i++) {
        const int64_t seen = play_and_kill(stage, "+4 s", (useconds_t)(rand_r(&seed) % KILL_WITHIN_US));

        assert_true(seen >= read_back);
        stage_start_daemon(stage);
        read_back = ask(stage, "select count(*) from reading");
        assert_true(read_back >= seen);
        if (kills < MANY)
            stage_play_until(stage, "+2 min");
        usleep((useconds_t)rand_r(&seed) % COMMITS_WITHIN_US); // so that a commit may be under way, or over
    }
    stage_play_until(stage, kills < MANY ? "2026-11-16T08:40:00Z" : "+30 min");
    usleep(SETTLE_US);
    stage_tell(stage, "grep -q 'batch 1: ' $D/journal.txt"); // too long to be read as a whole
    assert_string_equal(stage_tell(stage, "sqlite3 $D/shop.ledger 'pragma integrity_check'"), "ok\n");
    assert_int_equal(stage_run(stage, "ls $D/*.damaged-*"), 2);
    assert_true(ask(stage, "select count(*) from event where kind = 3") > 0);
    assessed = assess(stage);
    for (size_t i = 0; i < assessed->visits[0].run_count; i++)
        assert_int_equal(assessed->visits[0].runs[i].agreement, ASSESS_AGREES);
    /* The oven's own soak is from 07:39:24 to 08:05:05. */
    assert_true(assessed->visits[0].runs[0].soak.longest_ended_ms -
                    assessed->visits[0].runs[0].soak.longest_begun_ms <=
                26 * MS_PER_MIN);
    print_message("%d kills, %lld readings\n", kills, (long long)read_back);
    assess_free(assessed);
}

/* ---- out of memory ---- */

/* One clear line and a status of sysexits.h, or it records; `limits` is a shell's. */
static bool records_within(struct stage *stage, const char *limits) {
    char command[COMMAND_BYTES];
    int status;

    snprintf(
        command, sizeof command,
        "rm -f $D/small.ledger*; sed 's|shop.ledger|small.ledger|; s|^page.*|page = '$D'/small.page|' $D/shop.conf "
        ">$D/small.conf; cp $D/clock.page $D/small.page; (%s; exec timeout -s TERM 2 $B/soakledgerd -c "
        "$D/small.conf) >$D/small.txt 2>&1; echo $? >$D/small.status; true",
        limits);
    stage_tell(stage, command);
    status = atoi(stage_tell(stage, "cat $D/small.status"));
    if (stage_run(stage, "grep -q ^recording $D/small.txt") == 0)
        return true;
    if (status == 127 || status == 126 || status == 125 || status == 1)
        return false; // not even the loader, or timeout, had what it needs
    if (status != EX_OSERR && status != EX_IOERR && status != EX_CANTCREAT && status != EX_NOINPUT)
        fail_msg("%s: status %d:\n%s", limits, status, stage_tell(stage, "cat $D/small.txt"));
    assert_int_equal(stage_run(stage, "test $(grep -c . $D/small.txt) -eq 1"), 0);
    contains(stage_tell(stage, "cat $D/small.txt"), "soakledgerd: ");
    return false;
}

static void without_memory_it_says_so_and_goes_on_when_started_again(void **state) {
    struct stage *stage = *state;
    char library[PATH_BYTES];
    const char *const build = getenv("SOAKLEDGER_BUILD");
    int64_t readings;
    pid_t player;
    int status;

#ifdef __SANITIZE_ADDRESS__
    (void)library, (void)build, (void)readings, (void)player, (void)status;
    stage_start_daemon(stage);
    skip(); // the sanitizers have a memory of their own
#endif
    snprintf(library, sizeof library, "%s/memory.so", build != NULL ? build : "build/gcc");
    setenv("LD_PRELOAD", library, 1);
    stage_start_daemon(stage);
    unsetenv("LD_PRELOAD");
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T07:45:00Z");
    usleep(SETTLE_US);
    readings = ask(stage, "select count(*) from reading");
    kill(stage->daemon, SIGUSR1);
    player = start_playing(stage, "+20 min"); // time waits for the disk once the queue is half full
    assert_int_equal(waitpid(stage->daemon, &status, 0), stage->daemon);
    stage->daemon = 0;
    waitpid(player, NULL, 0);
    assert_true(WIFEXITED(status));
    assert_int_equal(WEXITSTATUS(status), EX_OSERR);
    contains(stage_tell(stage, "grep -c ^soakledgerd: $D/journal.txt"), "1\n");
    contains(stage_tell(stage, "grep ^soakledgerd: $D/journal.txt"), "memory");
    stage_start_daemon(stage);
    assert_true(ask(stage, "select count(*) from reading") >= readings);
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: not proven"); // minutes are missing
}

static void too_little_memory_at_the_start_is_one_clear_line(void **state) {
    struct stage *stage = *state;
    char limits[LIMIT_BYTES];
    long kb = KB_FIRST;

#ifdef __SANITIZE_ADDRESS__
    skip(); // the sanitizers need terabytes of addresses
#endif
    do {
        snprintf(limits, sizeof limits, "ulimit -v %ld", kb);
        kb += KB_STEP;
    } while (!records_within(stage, limits) && kb < KB_LAST);
    assert_in_range(kb, KB_FIRST + 2 * KB_STEP, KB_LAST - 1);
    print_message("records within %ld kB of addresses\n", kb - KB_STEP);
}

/* ---- out of descriptors ---- */

static void too_few_descriptors_are_one_clear_line_and_nothing_lost_later(void **state) {
    struct stage *stage = *state;
    struct rlimit before, few;
    char limits[LIMIT_BYTES];
    struct assess_batch *assessed;
    int most = DESCRIPTORS_FIRST;

    do {
        snprintf(limits, sizeof limits, "ulimit -n %d", most);
    } while (!records_within(stage, limits) && ++most < DESCRIPTORS_LAST);
    assert_in_range(most, DESCRIPTORS_FIRST + 2, DESCRIPTORS_LAST - 1);
    stage_start_daemon(stage);
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T07:50:00Z");
    assert_int_equal(prlimit(stage->daemon, RLIMIT_NOFILE, NULL, &before), 0);
    snprintf(limits, sizeof limits, "ls /proc/%d/fd | wc -l", (int)stage->daemon);
    few = (struct rlimit){(rlim_t)atoi(stage_tell(stage, limits)), before.rlim_max};
    assert_int_equal(prlimit(stage->daemon, RLIMIT_NOFILE, &few, NULL), 0);
    stage_play_until(stage, "+5 min"); // not one more can be opened, and none is needed
    assert_int_equal(prlimit(stage->daemon, RLIMIT_NOFILE, &before, NULL), 0);
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: met");
    assessed = assess(stage);
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assert_int_equal(assessed->visits[0].runs[0].soak.gap_count, 0);
    assess_free(assessed);
    print_message("records with %d descriptors\n", most);
}

/* ---- the wall clock ---- */

static void step_clock(struct stage *stage, int64_t step_ms) {
    char path[PATH_BYTES];
    struct fault fault = {0};
    struct clock *page;

    snprintf(path, sizeof path, "%s/clock.page", stage->folder);
    page = clock_open_simulated(path, NULL, &fault);
    assert_non_null(page);
    assert_int_equal(clock_step_page(page, step_ms, &fault), 0);
    clock_close(page);
}

static void steps_of_an_hour_and_a_day_change_nothing_but_events(void **state) {
    static const int64_t steps_ms[] = {MS_PER_H, -MS_PER_H, 24 * (int64_t)MS_PER_H, -24 * (int64_t)MS_PER_H};
    struct stage *stage = *state;
    struct assess_batch *assessed;

    stage_start_daemon(stage);
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T07:50:00Z");
    for (size_t i = 0; i < sizeof steps_ms / sizeof steps_ms[0]; i++) {
        step_clock(stage, steps_ms[i]);
        stage_play_until(stage, "+1 min");
    }
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    assert_string_equal(
        stage_tell(stage, "sqlite3 $D/shop.ledger 'select amount from event where kind = 4 order by t_ms'"),
        "3600000\n-3600000\n86400000\n-86400000\n");
    contains(stage_read_journal(stage), "batch 1: met");
    assessed = assess(stage);
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assert_int_equal(assessed->visits[0].runs[0].soak.gap_count, 0);
    assert_int_equal(assessed->visits[0].runs[0].agreement, ASSESS_AGREES);
    assert_in_range(assessed->visits[0].verdicts[1].found, 24 * MS_PER_MIN, 26 * MS_PER_MIN);
    assess_free(assessed);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(killed_at_any_moment_nothing_that_was_read_back_is_lost, set_up, tear_down),
        cmocka_unit_test_setup_teardown(without_memory_it_says_so_and_goes_on_when_started_again, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(too_little_memory_at_the_start_is_one_clear_line, set_up, tear_down),
        cmocka_unit_test_setup_teardown(too_few_descriptors_are_one_clear_line_and_nothing_lost_later, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(steps_of_an_hour_and_a_day_change_nothing_but_events, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
