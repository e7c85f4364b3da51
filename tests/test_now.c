// SPDX-License-Identifier: MIT
/* `soakledger now`, printed and on a terminal of its own. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <pty.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#include "soakledger/glance.h"
#include "soakledger/words.h"
#include "support/ledger_fixture.h"
#include "support/paper.h"

#define S   INT64_C(1000)
#define MIN (60 * S)
#define H   (60 * MIN)

enum { COLUMNS = 80, ROWS = 24, OUTPUT_BYTES = 1 << 18, CONTROL = 0, FRONT = 3, BACK = 4, TEMPERING = 5 };

static const char SHOP[] = "name = Toolroom\nutc_offset = +01:00\n";
static const int64_t BEGUN_MS = FIXTURE_START_MS + H;

static int begin(void **state) {
    struct ledger_fixture *fixture = calloc(1, sizeof *fixture);

    fixture_make(fixture, SHOP, true); // its clock is gone: now is the ledger's last moment
    *state = fixture;
    return 0;
}

static int end(void **state) {
    fixture_remove(*state);
    free(*state);
    return 0;
}

static void add(struct ledger_fixture *fixture, size_t channel, int64_t t_ms, int64_t value, enum quality quality) {
    const struct reading reading = {t_ms, value, fixture->channel_ids[channel], quality};
    struct fault fault;

    assert_int_equal(ledger_add_reading(fixture->ledger, &reading, &fault), 0);
}

/* A run that is on for 40 minutes: up to 808 °C in 30. Its soak began 5 min ago, which the daemon has said. */
static void be_on(struct ledger_fixture *fixture, int64_t back_missing_ms) {
    const int64_t soaked_ms = BEGUN_MS + 35 * MIN;
    const struct finding finding = {.t_ms = soaked_ms, .kind = FINDING_SOAK_BEGUN, .operation = 0, .value = 800000};
    struct fault fault;
    int64_t run_id, batch_id, judgement_id;

    assert_int_equal(ledger_begin(fixture->ledger, &fault), 0);
    run_id = ledger_open_run(fixture->ledger, fixture->oven_ids[0], BEGUN_MS, &fault);
    batch_id = fixture_open_batch(fixture, 0, FIXTURE_PLAN_HARDEN, "", "");
    for (int64_t at_ms = 0; at_ms <= 40 * MIN; at_ms += S) {
        const int64_t value = at_ms < 30 * MIN ? 20000 + 788000 * at_ms / (30 * MIN) : 808000;

        add(fixture, CONTROL, BEGUN_MS + at_ms, value, QUALITY_GOOD);
        add(fixture, FRONT, BEGUN_MS + at_ms, value, QUALITY_GOOD);
        if (at_ms <= 40 * MIN - back_missing_ms)
            add(fixture, BACK, BEGUN_MS + at_ms, value, QUALITY_GOOD);
    }
    add(fixture, 1, BEGUN_MS + 40 * MIN, 808000, QUALITY_GOOD);
    add(fixture, 2, BEGUN_MS + 40 * MIN, 30000, QUALITY_GOOD);
    add(fixture, TEMPERING, BEGUN_MS + 40 * MIN, 0, QUALITY_OPEN_SENSOR);
    assert_int_equal(ledger_claim_run(fixture->ledger, run_id, batch_id, 0, BEGUN_MS, "daemon", &fault), 0);
    judgement_id = ledger_open_judgement(fixture->ledger, run_id, batch_id, 0, BEGUN_MS, &fault);
    assert_int_equal(ledger_add_finding(fixture->ledger, judgement_id, &finding, &fault), 0);
    assert_int_equal(ledger_commit(fixture->ledger, &fault), 0);
}

static const char *program(void) {
    static char path[256];
    const char *build = getenv("SOAKLEDGER_BUILD");

    snprintf(path, sizeof path, "%s/soakledger", build != NULL ? build : "build/gcc");
    return path;
}

static char *print(const struct ledger_fixture *fixture, const char *environment) {
    int status;
    char *said = paper_run(&status, "%s %s -c %s now", environment, program(), fixture->config_path);

    assert_int_equal(status, 0);
    return said;
}

static void check_has(const char *said, const char *part) {
    if (strstr(said, part) == NULL) {
        fprintf(stderr, "%s\n", said);
        fail_msg("'%s' is not in it", part);
    }
}

static void check_columns(const char *text, size_t columns) {
    char *copy = strdup(text), *from = copy;

    for (char *line = strsep(&from, "\n"); line != NULL; line = strsep(&from, "\n")) {
        if (words_columns(line) > columns)
            fail_msg("wider than %zu: %s", columns, line);
    }
    free(copy);
}

static void prints_once_where_there_is_no_terminal(void **state) {
    struct ledger_fixture *fixture = *state;
    char *said;

    be_on(fixture, 0);
    said = print(fixture, "LC_ALL=C.UTF-8");
    check_columns(said, COLUMNS);
    assert_null(strchr(said, '\033'));
    check_has(said, "2026-11-16 09:40:00 UTC+01:00   Toolroom\n");
    check_has(said, "SIMULATED CLOCK");
    check_has(said, "hardening: ON, run 1, for 40 min");
    check_has(said, "batch 1: ");
    // 20 min are required; the soak began 5 min before the last reading of the load channels.
    check_has(said, "in band 5 min of 20 min; 15 min LEFT, until 09:55:00");
    check_has(said, "front of rack 808.0 °C");
    check_has(said, "tempering: off");
    check_has(said, "OPEN SENSOR");
    check_has(said, "⠉"); // the level part of the curve
    assert_null(strstr(said, "NOT RECORDING"));
    free(said);
    fixture_keep_books(fixture);
    said = print(fixture, "LC_ALL=C.UTF-8");
    check_has(said, "NOT RECORDING: soakledgerd is not running, and was not stopped in order.");
    free(said);
}

/* The time goes on, but nothing proves it. */
static void counts_no_time_that_is_not_proven(void **state) {
    struct ledger_fixture *fixture = *state;
    char *said;

    be_on(fixture, 2 * MIN);
    said = print(fixture, "LC_ALL=C.UTF-8");
    check_has(said, "! back of rack NO READING for 2 min (last: 808.0 °C)");
    check_has(said, "! soak hardening: in band 3 min of 20 min as far as is known: a load channel is");
    assert_null(strstr(said, "LEFT"));
    free(said);
}

static void is_plain_where_the_locale_is(void **state) {
    struct ledger_fixture *fixture = *state;
    char *said;

    be_on(fixture, 2 * MIN);
    said = print(fixture, "LC_ALL=C COLUMNS=100");
    for (const char *c = said; *c != '\0'; c++)
        assert_true((unsigned char)*c < 0x80);
    check_has(said, "front of rack 808.0 C");
    check_columns(said, 100);
    free(said);
}

static void says_what_stands_in_the_way(void **state) {
    struct ledger_fixture *fixture = *state;
    struct fault fault;
    const struct event stopped = {.t_ms = BEGUN_MS, .kind = EVENT_STOPPED};
    char *said = print(fixture, "LC_ALL=C.UTF-8");

    check_has(said, "NO READING EVER");
    free(said);
    assert_int_equal(ledger_add_event(fixture->ledger, &stopped, &fault), 0);
    fixture_keep_books(fixture);
    said = print(fixture, "LC_ALL=C.UTF-8");
    check_has(said, "NOT RECORDING: soakledgerd was stopped in order at 2026-11-16 09:00:00.");
    free(said);
}

/* ---- on a terminal ---- */

struct terminal {
    pid_t program;
    int fd;
    char output[OUTPUT_BYTES];
    size_t used;
};

static void open_terminal(struct terminal *terminal, const struct ledger_fixture *fixture, unsigned short rows,
                          const char *setting, const char *value) {
    const struct winsize size = {.ws_row = rows, .ws_col = COLUMNS};

    *terminal = (struct terminal){0};
    terminal->program = forkpty(&terminal->fd, NULL, NULL, &size);
    assert_true(terminal->program >= 0);
    if (terminal->program == 0) {
        setenv("TERM", "xterm-256color", 1);
        setenv("LC_ALL", "C.UTF-8", 1);
        unsetenv("NO_COLOR");
        if (setting != NULL)
            setenv(setting, value, 1);
        execl(program(), program(), "-c", fixture->config_path, "now", (char *)NULL);
        _exit(127);
    }
}

/* Reads until `part` has come, or the other end is closed. */
static void read_until(struct terminal *terminal, const char *part) {
    while (part == NULL || strstr(terminal->output, part) == NULL) {
        const ssize_t got =
            read(terminal->fd, terminal->output + terminal->used, OUTPUT_BYTES - 1 - terminal->used);

        if (got <= 0) {
            assert_null(part);
            return;
        }
        terminal->used += (size_t)got;
        terminal->output[terminal->used] = '\0';
    }
}

/* Without taking its status away. */
static bool has_ended(const struct terminal *terminal) {
    siginfo_t info = {0};

    return waitid(P_PID, (id_t)terminal->program, &info, WEXITED | WNOHANG | WNOWAIT) != 0 || info.si_pid != 0;
}

static int end_terminal(struct terminal *terminal) {
    int status;

    read_until(terminal, NULL);
    assert_int_equal(waitpid(terminal->program, &status, 0), terminal->program);
    close(terminal->fd);
    assert_true(WIFEXITED(status));
    return WEXITSTATUS(status);
}

/* What is between control sequences, a line each. No line may be wider than the terminal, no page longer. */
static void check_page(const struct terminal *terminal, size_t rows) {
    char plain[OUTPUT_BYTES];
    size_t used = 0, lines = 0;

    for (const char *c = terminal->output; *c != '\0'; c++) {
        if (*c == '\033' && c[1] == '[') {
            for (c += 2; *c != '\0' && (*c < 0x40 || *c > 0x7E);) // ECMA-48: the final byte
                c++;
            lines = *c == 'H' ? 0 : lines;
            continue;
        }
        if (*c == '\r')
            continue;
        if (*c == '\n')
            assert_true(++lines < rows);
        plain[used++] = *c;
    }
    plain[used] = '\0';
    check_columns(plain, COLUMNS);
}

static void takes_the_terminal_and_gives_it_back(void **state) {
    static struct terminal terminal;
    struct ledger_fixture *fixture = *state;
    struct termios before, during, after;

    be_on(fixture, 2 * MIN);
    open_terminal(&terminal, fixture, ROWS, NULL, NULL);
    assert_int_equal(tcgetattr(terminal.fd, &before), 0);
    read_until(&terminal, "q: leave");
    assert_int_equal(tcgetattr(terminal.fd, &during), 0);
    assert_true((before.c_lflag & ECHO) != 0 && (during.c_lflag & (ECHO | ICANON)) == 0);
    check_has(terminal.output, "\033[?1049h");
    check_has(terminal.output, "\033[1;31m! back of rack NO READING");
    assert_int_equal(write(terminal.fd, "q", 1), 1);
    read_until(&terminal, "\033[?1049l");
    while (!has_ended(&terminal)) // it is set once what was written is out
        usleep(1000);
    assert_int_equal(tcgetattr(terminal.fd, &after), 0);
    assert_int_equal(after.c_lflag, before.c_lflag);
    assert_int_equal(end_terminal(&terminal), 0);
    check_page(&terminal, ROWS);
}

static void gives_it_back_when_it_is_told_to_end(void **state) {
    static struct terminal terminal;
    static const int signals[] = {SIGTERM, SIGHUP, SIGINT};
    struct ledger_fixture *fixture = *state;

    be_on(fixture, 2 * MIN);
    for (size_t i = 0; i < sizeof signals / sizeof signals[0]; i++) {
        open_terminal(&terminal, fixture, ROWS, "NO_COLOR", "1");
        read_until(&terminal, "q: leave");
        if (signals[i] == SIGINT)
            assert_int_equal(write(terminal.fd, "\003", 1), 1); // as the key does it
        else
            kill(terminal.program, signals[i]);
        assert_int_equal(end_terminal(&terminal), 0);
        check_has(terminal.output, "\033[?25h\033[?1049l");
        assert_null(strstr(terminal.output, "\033[1;31m"));
        check_has(terminal.output, "\033[1m! back of rack NO READING"); // bold is no colour
    }
}

static void fits_a_low_window(void **state) {
    static struct terminal terminal;
    struct ledger_fixture *fixture = *state;

    be_on(fixture, 2 * MIN);
    open_terminal(&terminal, fixture, 6, NULL, NULL);
    read_until(&terminal, "q: leave");
    assert_int_equal(write(terminal.fd, "q", 1), 1);
    assert_int_equal(end_terminal(&terminal), 0);
    check_page(&terminal, 6);
    check_has(terminal.output, "more below: a taller window shows it");
}

/* ---- the drawing ---- */

static void draws_every_peak_or_samples(void **state) {
    enum { DRAWN = 40 };
    struct ledger_fixture *fixture = *state;
    struct glance_column columns[DRAWN];
    const int64_t id = fixture->channel_ids[CONTROL];
    struct fault fault;

    assert_int_equal(ledger_begin(fixture->ledger, &fault), 0);
    for (int64_t at_ms = 0; at_ms < 2 * H; at_ms += S) // an hour of nothing but bad readings in the middle
        add(fixture, CONTROL, BEGUN_MS + at_ms, at_ms == 17 * MIN + 3 * S ? 900000 : 500000,
            at_ms > 30 * MIN && at_ms < 90 * MIN ? QUALITY_NO_REPLY : QUALITY_GOOD);
    assert_int_equal(ledger_commit(fixture->ledger, &fault), 0);
    memset(columns, 0, sizeof columns);
    assert_int_equal(glance_draw(fixture->ledger, id, S, BEGUN_MS, BEGUN_MS + 2 * H, columns, DRAWN, 10000, &fault),
                     0);
    assert_int_equal(columns[5].high, 900000); // 17 min of 120 in 40 columns
    assert_int_equal(columns[5].low, 500000);
    assert_true(columns[20].any && !columns[20].known);
    assert_true(columns[39].known);
    memset(columns, 0, sizeof columns);
    assert_int_equal(glance_draw(fixture->ledger, id, S, BEGUN_MS, BEGUN_MS + 2 * H, columns, DRAWN, 400, &fault),
                     0);
    assert_true(columns[0].known && columns[39].known);
    assert_int_equal(columns[5].high, 500000); // by samples: a single reading may be passed over
    assert_true(columns[20].any && !columns[20].known);
}

#define WITH_SHOP(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        WITH_SHOP(prints_once_where_there_is_no_terminal),
        WITH_SHOP(counts_no_time_that_is_not_proven),
        WITH_SHOP(is_plain_where_the_locale_is),
        WITH_SHOP(says_what_stands_in_the_way),
        WITH_SHOP(takes_the_terminal_and_gives_it_back),
        WITH_SHOP(gives_it_back_when_it_is_told_to_end),
        WITH_SHOP(fits_a_low_window),
        WITH_SHOP(draws_every_peak_or_samples),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
