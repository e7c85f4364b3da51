// SPDX-License-Identifier: MIT
// Measures real time: runs alone.
/* Alerts: what is told, how often, and what a real command gets to see. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "soakledger/alert.h"

#define NOW     INT64_C(1794812400000) // 2026-11-16T07:00:00Z
#define MINUTE  INT64_C(60000)
#define SECOND  INT64_C(1000)
#define QUARTER (15 * MINUTE)

enum { PATH_BYTES = 256, TEXT_BYTES = 65536, TRIES = 500, TRY_EVERY_US = 10000 };

struct bench {
    char folder[PATH_BYTES], script[PATH_BYTES + 16], log[PATH_BYTES + 16];
    struct alert_desk *desk;
    int64_t longest_us; // of any alert_tend
    char text[TEXT_BYTES];
};

/* Writes one line per call: each argument in <>. What else it does depends on its first, fixed argument. */
static const char script[] =
    "mode=$1; shift\n"
    "cd \"${0%/*}\"\n"
    "case $mode in\n"
    "look)\n"
    "    tr '\\0' '\\n' </proc/$$/environ >environment\n"
    "    for at in /proc/$$/fd/*; do echo \"${at##*/} $(readlink $at)\"; done | grep -v \" $0\\$\" >descriptors\n"
    "    echo $$ $(cut -d' ' -f5 /proc/$$/stat) >group;;\n"
    "hang) sleep 600 & echo $$ $! >processes; wait;;\n"
    "leave) sleep 600 & echo $$ $! >processes;;\n"
    "fail) exit 3;;\n"
    "esac\n"
    "line=; for word; do line=\"$line<$word>\"; done; printf '%s\\n' \"$line\" >>log\n";

static int set_up(void **state) {
    struct bench *bench = calloc(1, sizeof *bench);
    FILE *file;

    strcpy(bench->folder, "/tmp/alert-test-XXXXXX");
    assert_non_null(mkdtemp(bench->folder));
    snprintf(bench->script, sizeof bench->script, "%s/script", bench->folder);
    snprintf(bench->log, sizeof bench->log, "%s/log", bench->folder);
    file = fopen(bench->script, "w");
    fputs(script, file);
    fclose(file);
    *state = bench;
    return 0;
}

static int tear_down(void **state) {
    struct bench *bench = *state;
    char line[PATH_BYTES + 16];

    alert_close(bench->desk);
    snprintf(line, sizeof line, "rm -r '%s'", bench->folder);
    assert_int_equal(system(line), 0);
    free(bench);
    return 0;
}

static void open_desk(struct bench *bench, const char *mode, int64_t time_limit_ms) {
    const char *const command[] = {"/bin/sh", bench->script, mode, NULL};
    struct fault fault;

    bench->desk = alert_open(mode == NULL ? NULL : command, QUARTER, time_limit_ms, &fault);
    assert_non_null(bench->desk);
}

static int64_t now_us(void) {
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000000 + now.tv_nsec / 1000;
}

static void tend(struct bench *bench, int64_t t_ms) {
    const int64_t before_us = now_us();
    int64_t took_us;

    alert_tend(bench->desk, t_ms);
    took_us = now_us() - before_us;
    if (took_us > bench->longest_us)
        bench->longest_us = took_us;
}

static const char *read_file(struct bench *bench, const char *name) {
    char path[2 * PATH_BYTES];
    FILE *file;
    size_t length = 0;

    snprintf(path, sizeof path, "%s/%s", bench->folder, name);
    file = fopen(path, "r");
    if (file != NULL) {
        length = fread(bench->text, 1, sizeof bench->text - 1, file);
        fclose(file);
    }
    bench->text[length] = '\0';
    return bench->text;
}

static size_t count_lines(const char *text) {
    size_t count = 0;

    for (; *text != '\0'; text++)
        count += *text == '\n';
    return count;
}

/* Tends at `t_ms` until the command was called `calls` times, and a while longer: it must not be called again. */
static const char *expect_calls(struct bench *bench, size_t calls, int64_t t_ms) {
    const int longer = 20;

    for (int i = 0; i < TRIES && count_lines(read_file(bench, "log")) < calls; i++) {
        tend(bench, t_ms);
        usleep(TRY_EVERY_US);
    }
    for (int i = 0; i < longer; i++) {
        tend(bench, t_ms);
        usleep(TRY_EVERY_US / 2);
    }
    read_file(bench, "log");
    if (count_lines(bench->text) != calls)
        fail_msg("%zu calls, expected %zu:\n%s", count_lines(bench->text), calls, bench->text);
    return bench->text;
}

/* ---- what is told ---- */

static void what_stands_is_told_once_and_so_is_its_end(void **state) {
    struct bench *bench = *state;

    open_desk(bench, "log", 5 * SECOND);
    for (int i = 0; i < 5; i++)
        alert_raise(bench->desk, ALERT_LINE, "line bench", NOW + i * SECOND, "lost");
    expect_calls(bench, 1, NOW + 5 * SECOND);
    for (int i = 0; i < 5; i++)
        alert_clear(bench->desk, ALERT_LINE, "line bench", NOW + 9 * SECOND, "is back");
    assert_string_equal(expect_calls(bench, 2, NOW + 10 * SECOND),
                        "<line><line bench><raised><2026-11-16T07:00:00Z><lost>\n"
                        "<line><line bench><clear><2026-11-16T07:00:09Z><is back>\n");
    assert_int_equal(alert_count_told(bench->desk), 2);
    alert_clear(bench->desk, ALERT_LEDGER, "ledger", NOW, "never stood");
    alert_raise(bench->desk, ALERT_LINE, "line bench", NOW + MINUTE, "lost"); // anew
    alert_raise(bench->desk, ALERT_LINE, "line other", NOW + MINUTE, "lost"); // another subject
    alert_raise(bench->desk, ALERT_SENSOR, "line bench", NOW + MINUTE, "no"); // another kind
    expect_calls(bench, 5, NOW + MINUTE);
    assert_int_equal(alert_count_told(bench->desk), 5);
    assert_int_equal(alert_count_dropped(bench->desk), 0);
}

static void what_nobody_clears_is_told_again_three_times_at_most(void **state) {
    struct bench *bench = *state;

    open_desk(bench, "log", 5 * SECOND);
    alert_raise(bench->desk, ALERT_OVERSHOOT, "oven small", NOW, "is coming");
    alert_tend(bench->desk, NOW + QUARTER - 1);
    assert_int_equal(alert_count_told(bench->desk), 1);
    alert_raise(bench->desk, ALERT_OVERSHOOT, "oven small", NOW + MINUTE, "has come");
    for (int i = 1; i < 8; i++)
        for (int k = 0; k < 3; k++)
            alert_tend(bench->desk, NOW + i * QUARTER + k * SECOND);
    assert_int_equal(alert_count_told(bench->desk), 4);
    alert_clear(bench->desk, ALERT_OVERSHOOT, "oven small", NOW + 8 * QUARTER, "over");
    assert_string_equal(expect_calls(bench, 5, NOW + 20 * QUARTER),
                        "<overshoot><oven small><raised><2026-11-16T07:00:00Z><is coming>\n"
                        "<overshoot><oven small><again 1><2026-11-16T07:15:00Z><has come>\n"
                        "<overshoot><oven small><again 2><2026-11-16T07:30:00Z><has come>\n"
                        "<overshoot><oven small><again 3><2026-11-16T07:45:00Z><has come>\n"
                        "<overshoot><oven small><clear><2026-11-16T09:00:00Z><over>\n");
}

/* A loose plug: out for half a minute, back for one. */
static void what_comes_and_goes_is_told_thrice_and_then_when_it_rests(void **state) {
    struct bench *bench = *state;
    int64_t t_ms = NOW;

    open_desk(bench, "log", 5 * SECOND);
    for (int i = 0; i < 8; i++) {
        alert_raise(bench->desk, ALERT_LINE, "line bench", t_ms, "lost");
        alert_tend(bench->desk, t_ms);
        alert_clear(bench->desk, ALERT_LINE, "line bench", t_ms + MINUTE / 2, "is back");
        expect_calls(bench, i < 2 ? 2U * (size_t)i + 2 : 5, t_ms + MINUTE / 2);
        t_ms += MINUTE + MINUTE / 2;
    }
    alert_raise(bench->desk, ALERT_LINE, "line other", t_ms, "lost"); // is told at once all the same
    alert_clear(bench->desk, ALERT_LINE, "line other", t_ms, "is back");
    expect_calls(bench, 7, t_ms);
    t_ms -= MINUTE; // when it was well for the last time
    expect_calls(bench, 7, t_ms + ALERT_CALM_MS - 1);
    expect_calls(bench, 8, t_ms + ALERT_CALM_MS);
    assert_non_null(strstr(bench->text,
                           "<line><line bench><raised><2026-11-16T07:03:00Z>"
                           "<lost; it comes and goes, and is told again only after ten minutes' rest>"));
    assert_non_null(strstr(bench->text, "<line><line bench><clear><2026-11-16T07:11:00Z><is back>\n"));
    alert_raise(bench->desk, ALERT_LINE, "line bench", t_ms + 3 * ALERT_CALM_MS, "lost"); // long after: as if new
    alert_clear(bench->desk, ALERT_LINE, "line bench", t_ms + 3 * ALERT_CALM_MS, "is back");
    expect_calls(bench, 10, t_ms + 3 * ALERT_CALM_MS);
}

static void without_a_command_the_journal_is_told(void **state) {
    struct bench *bench = *state;
    int was, journal;

    open_desk(bench, NULL, SECOND);
    journal = open(bench->log, O_CREAT | O_RDWR, 0600);
    was = dup(STDERR_FILENO);
    dup2(journal, STDERR_FILENO);
    alert_raise(bench->desk, ALERT_SENSOR, "oven small, front", NOW, "no good reading: open sensor");
    for (int i = 0; i < 3; i++)
        alert_tend(bench->desk, NOW + QUARTER);
    alert_clear(bench->desk, ALERT_SENSOR, "oven small, front", NOW, "reads again");
    dup2(was, STDERR_FILENO);
    close(was);
    close(journal);
    assert_string_equal(read_file(bench, "log"),
                        "alert sensor, oven small, front, raised: no good reading: open sensor\n"
                        "alert sensor, oven small, front, again 1: no good reading: open sensor\n"
                        "alert sensor, oven small, front, clear: reads again\n");
}

/* ---- what the command sees ---- */

static void the_command_gets_nothing_but_its_arguments(void **state) {
    struct bench *bench = *state;
    int leaked = open("/dev/zero", O_RDONLY), leader, group; // without close-on-exec on purpose

    setenv("SECRET", "of the daemon", 1);
    open_desk(bench, "look", 5 * SECOND);
    alert_raise(bench->desk, ALERT_LEDGER, "ledger", NOW, "disk full");
    expect_calls(bench, 1, NOW);
    close(leaked);
    assert_string_equal(read_file(bench, "environment"),
                        "PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin\nLANG=C.UTF-8\n");
    /* The loop's own output goes through a pipe that the shell has put aside meanwhile. */
    assert_int_equal(strncmp(read_file(bench, "descriptors"), "0 /dev/null\n1 ", 14), 0);
    assert_non_null(strstr(bench->text, "\n2 /dev/null\n"));
    assert_null(strstr(bench->text, "zero"));
    assert_int_equal(sscanf(read_file(bench, "group"), "%d %d", &leader, &group), 2);
    assert_int_equal(leader, group);
    assert_int_not_equal(group, getpgrp());
}

/* A shell puts its own signals in order, so this program is the command. Signals 32 and 33 are the C library's own:
 * it lets no program touch them, so they are as they were handed down. */
static int note_signals(const char *path) {
    const unsigned long long library = 3ULL << (32 - 1);
    FILE *status = fopen("/proc/self/status", "r"), *file = fopen(path, "w");
    char line[PATH_BYTES];

    while (status != NULL && file != NULL && fgets(line, sizeof line, status) != NULL) {
        if (strncmp(line, "SigBlk", 6) == 0 || strncmp(line, "SigIgn", 6) == 0)
            fprintf(file, "%.8s%016llx\n", line, strtoull(line + 8, NULL, 16) & ~library);
    }
    return file != NULL && fclose(file) == 0 ? 0 : 1;
}

static void the_command_gets_its_signals(void **state) {
    struct bench *bench = *state;
    char self[PATH_BYTES] = "";
    const char *const command[] = {self, "--note-signals", bench->log, NULL};
    struct fault fault;
    sigset_t blocked, before;

    assert_true(readlink("/proc/self/exe", self, sizeof self - 1) > 0);
    sigemptyset(&blocked);
    sigaddset(&blocked, SIGTERM);
    sigaddset(&blocked, SIGHUP);
    pthread_sigmask(SIG_BLOCK, &blocked, &before);
    signal(SIGPIPE, SIG_IGN);
    bench->desk = alert_open(command, QUARTER, 5 * SECOND, &fault);
    alert_raise(bench->desk, ALERT_LEDGER, "ledger", NOW, "disk full");
    expect_calls(bench, 2, NOW); // two lines
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    signal(SIGPIPE, SIG_DFL);
    assert_string_equal(read_file(bench, "log"), "SigBlk:\t0000000000000000\nSigIgn:\t0000000000000000\n");
}

static void nothing_in_a_name_is_ever_run_or_steers_a_terminal(void **state) {
    struct bench *bench = *state;
    char expected[2048], long_words[2 * ALERT_WORDS_BYTES];

    open_desk(bench, "log", 5 * SECOND);
    alert_raise(bench->desk, ALERT_SENSOR, "$(touch pwned); `touch pwned`", NOW,
                "a\nb\r\t\x1b[31mred\x7f\x9b"
                "2J");
    alert_raise(bench->desk, ALERT_SENSOR, "' \" \\ * ~ && | > pwned", NOW, "--help");
    alert_raise(bench->desk, ALERT_SENSOR, "", NOW,
                "805 \xc2\xb0\x43 \xc2\x9bJ \xe2\x82 \xed\xa0\x80 \xf0\x9f\x94\xa5 \xc0\xaf");
    memset(long_words, 'x', sizeof long_words);
    memcpy(long_words + ALERT_WORDS_BYTES - 2, "\xc2\xb0", 3); // would be cut in its middle
    alert_raise(bench->desk, ALERT_SENSOR, long_words, NOW, long_words);
    snprintf(expected, sizeof expected,
             "<sensor><$(touch pwned); `touch pwned`><raised><2026-11-16T07:00:00Z><a?b?\?\?[31mred?\?2J>\n"
             "<sensor><' \" \\ * ~ && | > pwned><raised><2026-11-16T07:00:00Z><--help>\n"
             "<sensor><><raised><2026-11-16T07:00:00Z><805 \xc2\xb0\x43 ?\?J ?\? ?\?? \xf0\x9f\x94\xa5 ?\?>\n"
             "<sensor><%.*s><raised><2026-11-16T07:00:00Z><%.*s>\n",
             ALERT_SUBJECT_BYTES - 1, long_words, ALERT_WORDS_BYTES - 2, long_words);
    assert_string_equal(expect_calls(bench, 4, NOW), expected);
    assert_string_equal(read_file(bench, "pwned"), "");
}

/* ---- a command that misbehaves ---- */

/* Gone, or dead and not yet fetched by whoever has inherited it. */
static bool is_dead(int process) {
    char path[PATH_BYTES], state = 'Z';
    FILE *file;

    snprintf(path, sizeof path, "/proc/%d/stat", process);
    file = fopen(path, "r");
    if (file == NULL)
        return true;
    if (fscanf(file, "%*d (%*[^)]) %c", &state) != 1)
        state = 'Z';
    fclose(file);
    return state == 'Z';
}

static bool is_gone(struct bench *bench) {
    int leader = 0, left = 0;

    return sscanf(read_file(bench, "processes"), "%d %d", &leader, &left) == 2 && is_dead(leader) && is_dead(left);
}

static void is_killed_in_time(struct bench *bench) {
    const int64_t limit_ms = 300, slack_ms = 2000;
    int64_t began_us = now_us();

    bench->longest_us = 0;
    open_desk(bench, "hang", limit_ms);
    alert_raise(bench->desk, ALERT_LINE, "line bench", NOW, "lost");
    while (!is_gone(bench) && now_us() - began_us < (limit_ms + slack_ms) * 1000) {
        tend(bench, NOW);
        usleep(TRY_EVERY_US);
    }
    assert_true(is_gone(bench)); // and what it started
    assert_true(now_us() - began_us >= limit_ms * 1000);
    assert_string_equal(read_file(bench, "log"), "");
    alert_clear(bench->desk, ALERT_LINE, "line bench", NOW, "is back"); // the next one is given all the same
    tend(bench, NOW);
    alert_close(bench->desk);
    bench->desk = NULL;
}

/* A machine that is busy with something else may stop this program anywhere; a tend that waits for the command
 * takes its 300 ms every time. */
static void a_command_that_hangs_is_killed_and_holds_nobody_up(void **state) {
    struct bench *bench = *state;
    const int64_t longest_allowed_us = 5000;
    int64_t least_us = INT64_MAX;

    for (int i = 0; i < 5 && least_us >= longest_allowed_us; i++) {
        unlink(bench->log);
        is_killed_in_time(bench);
        least_us = bench->longest_us < least_us ? bench->longest_us : least_us;
    }
    print_message("longest alert_tend: %lld us\n", (long long)least_us);
    assert_true(least_us < longest_allowed_us);
}

static void what_a_command_leaves_behind_ends_with_it(void **state) {
    struct bench *bench = *state;

    open_desk(bench, "leave", 60 * SECOND);
    alert_raise(bench->desk, ALERT_LINE, "line bench", NOW, "lost");
    expect_calls(bench, 1, NOW);
    for (int i = 0; i < TRIES && !is_gone(bench); i++)
        usleep(TRY_EVERY_US);
    assert_true(is_gone(bench));
}

static void closing_kills_what_runs(void **state) {
    struct bench *bench = *state;

    open_desk(bench, "hang", 60 * SECOND);
    alert_raise(bench->desk, ALERT_LINE, "line bench", NOW, "lost");
    for (int i = 0; i < TRIES && read_file(bench, "processes")[0] == '\0'; i++) {
        tend(bench, NOW);
        usleep(TRY_EVERY_US);
    }
    alert_close(bench->desk);
    bench->desk = NULL;
    for (int i = 0; i < TRIES && !is_gone(bench); i++) // a grandchild is reaped by init
        usleep(TRY_EVERY_US);
    assert_true(is_gone(bench));
}

static void a_command_that_cannot_run_or_fails_is_named_in_the_journal(void **state) {
    struct bench *bench = *state;
    const char *const missing[] = {"/no/such/command", NULL};
    struct fault fault;
    int was, journal = open(bench->log, O_CREAT | O_RDWR | O_APPEND, 0600);

    was = dup(STDERR_FILENO);
    dup2(journal, STDERR_FILENO);
    bench->desk = alert_open(missing, QUARTER, SECOND, &fault);
    alert_raise(bench->desk, ALERT_LINE, "line bench", NOW, "lost");
    for (int i = 0; i < TRIES && strstr(read_file(bench, "log"), "could not") == NULL; i++) {
        alert_tend(bench->desk, NOW);
        usleep(TRY_EVERY_US);
    }
    alert_close(bench->desk);
    open_desk(bench, "fail", SECOND);
    alert_raise(bench->desk, ALERT_LINE, "line bench", NOW, "lost");
    for (int i = 0; i < TRIES && strstr(read_file(bench, "log"), "status") == NULL; i++) {
        alert_tend(bench->desk, NOW);
        usleep(TRY_EVERY_US);
    }
    dup2(was, STDERR_FILENO);
    close(was);
    close(journal);
    assert_string_equal(read_file(bench, "log"),
                        "alert line, line bench, raised: lost\n"
                        "alert command /no/such/command could not be started: No such file or directory\n"
                        "alert line, line bench, raised: lost\n"
                        "alert command /bin/sh ended with status 3\n");
}

/* ---- too much ---- */

static void *flood(void *context) {
    struct bench *bench = context;
    char subject[32];

    for (int i = 0; i < 10000; i++) {
        snprintf(subject, sizeof subject, "channel %d", i);
        alert_raise(bench->desk, ALERT_SENSOR, subject, NOW + i, "no good reading");
    }
    return NULL;
}

static void a_flood_is_bounded_and_counted(void **state) {
    struct bench *bench = *state;
    pthread_t thread;
    int was = dup(STDERR_FILENO), journal = open(bench->log, O_CREAT | O_WRONLY | O_APPEND, 0600);
    const char *text;

    dup2(journal, STDERR_FILENO);
    open_desk(bench, "hang", 60 * SECOND); // nothing moves on
    assert_int_equal(pthread_create(&thread, NULL, flood, bench), 0);
    for (int i = 0; i < 200; i++)
        alert_tend(bench->desk, NOW);
    pthread_join(thread, NULL);
    alert_tend(bench->desk, NOW);
    dup2(was, STDERR_FILENO);
    close(was);
    close(journal);
    /* 64 stand, of which one is being given and 32 wait; 31 if it was only given when all had come. */
    assert_int_equal(alert_count_told(bench->desk), ALERT_MOST_STANDING);
    assert_in_range(alert_count_dropped(bench->desk), 10000 - ALERT_MOST_WAITING - 1, 10000 - ALERT_MOST_WAITING);
    text = read_file(bench, "log");
    assert_in_range(count_lines(text), ALERT_MOST_STANDING + 1, ALERT_MOST_STANDING + 202);
    assert_non_null(strstr(text, "alerts were dropped: too many at once"));
}

/* All-clears go first, then what was raised, then what was told again; of equals the oldest. */
static void the_least_urgent_is_dropped_first(void **state) {
    struct bench *bench = *state;
    char subject[32];
    const char *text;

    open_desk(bench, "log", 5 * SECOND);
    alert_raise(bench->desk, ALERT_LINE, "urgent", NOW - 2 * QUARTER, "old");
    alert_raise(bench->desk, ALERT_LINE, "short", NOW, "lost");
    alert_clear(bench->desk, ALERT_LINE, "short", NOW, "is back");
    for (int i = 0; i < ALERT_MOST_WAITING - 3; i++) {
        snprintf(subject, sizeof subject, "line %d", i);
        alert_raise(bench->desk, ALERT_LINE, subject, NOW, "lost");
    }
    alert_raise(bench->desk, ALERT_SENSOR, "one", NOW, "");   // drops the all-clear
    alert_raise(bench->desk, ALERT_SENSOR, "two", NOW, "");   // drops the oldest raised
    alert_raise(bench->desk, ALERT_SENSOR, "three", NOW, ""); // and the next
    assert_int_equal(alert_count_dropped(bench->desk), 3);
    alert_clear(bench->desk, ALERT_LINE, "urgent", NOW, "never given, so its end is not either");
    alert_clear(bench->desk, ALERT_SENSOR, "one", NOW, "drops itself: nothing is less urgent");
    assert_int_equal(alert_count_dropped(bench->desk), 4);
    text = expect_calls(bench, ALERT_MOST_WAITING, NOW);
    assert_null(strstr(text, "urgent"));
    assert_null(strstr(text, "short"));
    assert_null(strstr(text, "clear"));
    assert_non_null(strstr(text, "<sensor><three><raised>"));
}

int main(int argc, char **argv) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_stands_is_told_once_and_so_is_its_end, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_nobody_clears_is_told_again_three_times_at_most, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_comes_and_goes_is_told_thrice_and_then_when_it_rests, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(without_a_command_the_journal_is_told, set_up, tear_down),
        cmocka_unit_test_setup_teardown(the_command_gets_nothing_but_its_arguments, set_up, tear_down),
        cmocka_unit_test_setup_teardown(the_command_gets_its_signals, set_up, tear_down),
        cmocka_unit_test_setup_teardown(nothing_in_a_name_is_ever_run_or_steers_a_terminal, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_command_that_hangs_is_killed_and_holds_nobody_up, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_a_command_leaves_behind_ends_with_it, set_up, tear_down),
        cmocka_unit_test_setup_teardown(closing_kills_what_runs, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_command_that_cannot_run_or_fails_is_named_in_the_journal, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(a_flood_is_bounded_and_counted, set_up, tear_down),
        cmocka_unit_test_setup_teardown(the_least_urgent_is_dropped_first, set_up, tear_down),
    };

    if (argc > 2 && strcmp(argv[1], "--note-signals") == 0)
        return note_signals(argv[2]);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
