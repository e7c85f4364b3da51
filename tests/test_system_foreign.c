// SPDX-License-Identifier: MIT
/* The whole way from a controller that others wrote: libmodbus's server says temperatures from a table that is
 * worked out by hand, and the certificate must say what follows from the table.
 *
 * All lines are straight; seconds since 07:00:00. B = 800 C - 5 C = 795 C.
 *
 *   front rises by 0.5 C/s from 20 C at 600, to its peak of 806 C at 600 + 786 / 0.5 = 2172: through B at 2150.
 *         It falls through B at 0.25 C/s: 3600 + (801 - 795) / 0.25 = 3624.
 *   back  rises by 0.4 C/s from 20 C at 600: through B at 600 + 775 / 0.4 = 2537.5, to 798 C at 600 + 778 / 0.4 =
 * 2545. It falls through B at 0.2 C/s: 3540 + (798 - 795) / 0.2 = 3555.
 *
 *   soak       from the later rise, 2537.5, to the earlier fall, 3555: 1017.5 s = 16 min 57.5 s
 *   overshoot  806 C - 800 C = 6 C, held for 8 s
 *   spread     805.2 C - 798 C = 7.2 C, held from 2860 to 2900; at the soak's two ends it is 801 C - 795 C = 6 C
 *
 * Crossings lie on straight lines and both peaks are held, so that the reading every second loses nothing. What is
 * left: times are kept in ms, `back` is said in thousandths of a degree, which is 2.5 ms of its rise.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include "soakledger/assess.h"
#include "soakledger/clock.h"
#include "soakledger/ledger.h"
#include "soakledger/modbus.h"
#include "support/libmodbus_controller.h"
#include "support/relay.h"
#include "support/stage.h"

#define BEGIN_MS   INT64_C(1794812400000) // 2026-11-16T07:00:00Z
#define PLAY_UNTIL "2026-11-16T08:20:00Z"

enum {
    ADDRESS = 23,
    CONTROL_AT = 0,
    FRONT_AT = 2, // low word first
    BACK_AT = 4,  // high word first
    REGISTERS = 8,
    TENTHS = 10,
    THOUSANDTHS = 1000,
    WORD_BITS = 16,
    MS_PER_S = 1000,
    TIME_WITHIN_MS = 10, // of the worked times
    MC_WITHIN = 1,       // of the worked temperatures
};

struct point {
    double t_s, value;
};

static const struct point front[] = {
    {0, 20},       {600, 20},     {2172, 806}, {2180, 806}, {2480, 801}, {2800, 801},
    {2860, 805.2}, {2900, 805.2}, {2960, 801}, {3600, 801}, {6000, 201},
};
static const struct point back[] = {{0, 20}, {600, 20}, {2545, 798}, {3540, 798}, {6000, 306}};
static const struct point control[] = {{0, 20}, {600, 20}, {2160, 800}, {3540, 800}, {6000, 185}};
#define COUNT(array) (sizeof(array) / sizeof *(array))

static const int64_t SOAK_BEGUN_MS = BEGIN_MS + 2537500, SOAK_ENDED_MS = BEGIN_MS + 3555000, SOAK_MS = 1017500;
static const int64_t OVERSHOOT_MC = 6000, SPREAD_MC = 7200;

static double value_at(const struct point *points, size_t count, double t_s) {
    size_t i = 1;

    while (i + 1 < count && t_s > points[i].t_s)
        i++;
    return points[i - 1].value + (points[i].value - points[i - 1].value) * (t_s - points[i - 1].t_s) /
                                     (points[i].t_s - points[i - 1].t_s);
}

/* ---- the controller ---- */

struct furnace {
    const char *page;
    struct clock *clock; // which it only reads
};

static void show(void *context, uint16_t *holding, uint16_t *input) {
    struct furnace *furnace = context;
    struct fault fault;
    uint32_t pattern;
    float shown;
    double t_s;

    if (furnace->clock == NULL)
        furnace->clock = clock_open_simulated(furnace->page, NULL, &fault);
    if (furnace->clock == NULL)
        _exit(EXIT_FAILURE);
    t_s = (double)(clock_read_ms(furnace->clock) - BEGIN_MS) / MS_PER_S;
    holding[CONTROL_AT] = (uint16_t)lround(value_at(control, COUNT(control), t_s) * TENTHS);
    shown = (float)value_at(front, COUNT(front), t_s);
    memcpy(&pattern, &shown, sizeof pattern); // binary32 of IEEE 754
    input[FRONT_AT] = (uint16_t)pattern;
    input[FRONT_AT + 1] = (uint16_t)(pattern >> WORD_BITS);
    pattern = (uint32_t)lround(value_at(back, COUNT(back), t_s) * THOUSANDTHS);
    holding[BACK_AT] = (uint16_t)(pattern >> WORD_BITS);
    holding[BACK_AT + 1] = (uint16_t)pattern;
}

struct scene {
    struct stage stage;
    struct relay relay;
    struct capture sent;
    pid_t controller;
    char page[STAGE_PATH_BYTES + 16];
};

static pid_t start_controller(struct scene *scene) {
    const pid_t child = fork();

    assert_true(child >= 0);
    if (child == 0) {
        struct furnace furnace = {.page = scene->page};

        prctl(PR_SET_PDEATHSIG, SIGKILL);
        libmodbus_serve_fresh(scene->relay.controller.far, ADDRESS, REGISTERS, show, &furnace);
    }
    return child;
}

static int set_up(void **state) {
    struct scene *scene = calloc(1, sizeof *scene);
    struct clock *person;
    struct fault fault;
    char link[STAGE_PATH_BYTES + 16];

    assert_non_null(scene);
    *state = scene;
    stage_open_bare(&scene->stage, "foreign");
    snprintf(scene->page, sizeof scene->page, "%s/clock.page", scene->stage.folder);
    assert_int_equal(clock_create_page(scene->page, BEGIN_MS, &fault), 0);
    person = clock_open_simulated(scene->page, "person", &fault); // who lets time run in stage_play_until
    assert_non_null(person);
    clock_leave_held(person);
    relay_open(&scene->relay, 1, &scene->sent);
    snprintf(link, sizeof link, "%s/bench", scene->stage.folder);
    assert_int_equal(symlink(scene->relay.line.far, link), 0);
    scene->controller = start_controller(scene);
    relay_start(&scene->relay);
    return 0;
}

static int tear_down(void **state) {
    struct scene *scene = *state;

    stage_close(&scene->stage);
    kill(scene->controller, SIGKILL);
    waitpid(scene->controller, NULL, 0);
    relay_close(&scene->relay);
    capture_clear(&scene->sent);
    free(scene);
    return 0;
}

/* ---- what must come out ---- */

static void contains(const char *text, const char *part) {
    if (strstr(text, part) == NULL)
        fail_msg("'%s' is not in:\n%s", part, text);
}

static void expect_near(const char *what, int64_t found, int64_t worked, int64_t within) {
    print_message("%s: worked %lld, found %lld\n", what, (long long)worked, (long long)found);
    if (llabs(found - worked) > within)
        fail_msg("%s: expected %lld within %lld", what, (long long)worked, (long long)within);
}

static int64_t found_of(const struct assess_batch *assessed, enum requirement requirement) {
    for (size_t i = 0; i < assessed->visits[0].verdict_count; i++)
        if (assessed->visits[0].verdicts[i].requirement == requirement)
            return assessed->visits[0].verdicts[i].found;
    fail_msg("no verdict on requirement %d", requirement);
    return 0;
}

static void check_judgement(const struct scene *scene) {
    struct fault fault = {0};
    struct ledger *ledger = ledger_open(scene->stage.ledger, LEDGER_READ, &fault);
    struct assess_batch *assessed = ledger != NULL ? assess_batch(ledger, 1, NULL, &fault) : NULL;
    const struct judge_soak *soak;

    ledger_close(ledger);
    if (assessed == NULL) {
        fail_msg("%s", fault.text);
        return;
    }
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assert_int_equal(assessed->visits[0].run_count, 1);
    assert_int_equal(assessed->visits[0].runs[0].agreement, ASSESS_AGREES);
    soak = &assessed->visits[0].runs[0].soak;
    assert_int_equal(soak->gap_count, 0);
    expect_near("soak begun, ms", soak->longest_begun_ms, SOAK_BEGUN_MS, TIME_WITHIN_MS);
    expect_near("soak ended, ms", soak->longest_ended_ms, SOAK_ENDED_MS, TIME_WITHIN_MS);
    expect_near("soak, ms", found_of(assessed, REQUIREMENT_SOAK_LEAST), SOAK_MS, TIME_WITHIN_MS);
    expect_near("overshoot, mc", found_of(assessed, REQUIREMENT_OVERSHOOT), OVERSHOOT_MC, MC_WITHIN);
    expect_near("spread, mc", found_of(assessed, REQUIREMENT_SPREAD), SPREAD_MC, MC_WITHIN);
    assess_free(assessed);
}

/* Times are printed in whole seconds, rounded down, temperatures to a tenth. */
static void check_sheet(const char *text) {
    contains(text, " MET ");
    contains(text, "4 of 4 requirements met, 0 not met, 0 not proven");
    contains(text, "soak time at least 15 min 16 min 57 s +1 min 57 s");
    contains(text, "soak time at most 40 min 16 min 57 s +23 min 03 s");
    contains(text, "overshoot at most 10.0 °C 6.0 °C +4.0 °C");
    contains(text, "spread at most 8.0 °C 7.2 °C +0.8 °C");
    contains(text, "soak begins 07:42:17");
    contains(text, "soak ends 07:59:15");
    contains(text, "806.0 °C decides");
}

/* The other side was asked to read and nothing else. */
static void check_sent(const struct capture *sent) {
    assert_true(sent->length > 0);
    assert_int_equal(sent->length % MODBUS_REQUEST_BYTES, 0);
    for (size_t at = 0; at < sent->length; at += MODBUS_REQUEST_BYTES)
        assert_true(sent->bytes[at + 1] == MODBUS_READ_HOLDING || sent->bytes[at + 1] == MODBUS_READ_INPUT);
}

static void the_certificate_says_what_was_worked_out_by_hand(void **state) {
    struct scene *scene = *state;
    struct stage *stage = &scene->stage;
    stage_start_daemon(stage);
    stage_tell(stage, "$S batch open --plan $D/foreign.plan --charge '12 plane irons' --operator 'day shift'");
    stage_play_until(stage, PLAY_UNTIL);
    contains(stage_read_journal(stage), "batch 1: met");
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
    check_judgement(scene);
    stage_tell(stage,
               "$S certificate 1 -o $D/c.pdf && qpdf --check $D/c.pdf && pdftotext -layout $D/c.pdf $D/c.txt");
    check_sheet(stage_tell(stage, "tr -s ' \\n' ' ' < $D/c.txt"));
    check_sent(&scene->sent);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(the_certificate_says_what_was_worked_out_by_hand, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
