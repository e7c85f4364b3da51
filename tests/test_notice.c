// SPDX-License-Identifier: MIT
/* What a person is told of a run, and when the next operation is due. The alert desk has no command here: what it
 * writes into the journal is what is told. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "../daemon/due.h"
#include "../daemon/notice.h"

#define START   INT64_C(1794812400000)
#define MINUTE  INT64_C(60000)
#define QUARTER (15 * MINUTE)

static const char plan_text[] =
    "[plan]\ntitle = t\nload = sensors\n[soak harden]\ntemperature = 805 C\nbelow = 8 C\n"
    "above = 10 C\ntime_at_least = 20 min\n";

struct bench {
    struct plan *plan;
    struct judge *judge;
    struct notice *notice;
    struct alert_desk *desk;
    struct ledger_channel channel;
    int64_t t_ms;
    int was;
    FILE *journal;
    char text[16384];
};

static void take_finding(void *context, const struct finding *finding) {
    struct bench *bench = context;

    notice_take_finding(bench->notice, finding);
}

static void open_notice(struct bench *bench) {
    const struct judge_channel channel = {
        .channel_id = 7, .name = "front", .role = ROLE_LOAD, .interval_ms = 10000};
    struct fault fault;
    struct notice_subject subject;

    bench->judge = judge_open(bench->plan, 0, &channel, 1, take_finding, bench, &fault);
    assert_non_null(bench->judge);
    subject = (struct notice_subject){.desk = bench->desk,
                                      .oven_name = "small",
                                      .run_id = 1,
                                      .batch_id = 1,
                                      .plan = bench->plan,
                                      .judge = bench->judge,
                                      .channels = &bench->channel,
                                      .channel_count = 1};
    bench->notice = notice_open(&subject, &fault);
    assert_non_null(bench->notice);
    bench->t_ms = START;
}

static void close_notice(struct bench *bench) {
    notice_free(bench->notice);
    judge_free(bench->judge);
}

static int set_up(void **state) {
    struct bench *bench = calloc(1, sizeof *bench);
    struct fault fault;

    bench->plan = plan_parse(plan_text, strlen(plan_text), "plan", &fault);
    assert_non_null(bench->plan);
    bench->desk = alert_open(NULL, QUARTER, 1000, &fault);
    bench->channel = (struct ledger_channel){
        .channel_id = 7, .name = (char *)(uintptr_t) "front", .role = ROLE_LOAD, .interval_ms = 10000};
    open_notice(bench);
    bench->journal = tmpfile();
    bench->was = dup(STDERR_FILENO);
    dup2(fileno(bench->journal), STDERR_FILENO);
    *state = bench;
    return 0;
}

static int tear_down(void **state) {
    struct bench *bench = *state;

    dup2(bench->was, STDERR_FILENO);
    close(bench->was);
    fclose(bench->journal);
    close_notice(bench);
    alert_close(bench->desk);
    plan_free(bench->plan);
    free(bench);
    return 0;
}

/* A reading every ten seconds at `from` degrees at first and at `to` at the end of `minutes`. */
static void play(struct bench *bench, double from_c, double to_c, int64_t minutes) {
    const int64_t end_ms = bench->t_ms + minutes * MINUTE;

    for (const int64_t begin_ms = bench->t_ms; bench->t_ms < end_ms; bench->t_ms += 10000) {
        const double part = (double)(bench->t_ms - begin_ms) / (double)(end_ms - begin_ms);
        const struct reading reading = {
            .t_ms = bench->t_ms, .channel_id = 7, .value = (int64_t)(1000 * (from_c + part * (to_c - from_c)))};

        judge_feed(bench->judge, &reading);
        notice_take_reading(bench->notice, &reading);
    }
}

/* The alerts told since the last time, a line each; other lines of the journal are passed over. */
static const char *told(struct bench *bench) {
    char line[1024];

    bench->text[0] = '\0';
    lseek(fileno(bench->journal), 0, SEEK_SET);
    rewind(bench->journal);
    while (fgets(line, sizeof line, bench->journal) != NULL) {
        if (strncmp(line, "alert ", 6) == 0)
            strcat(bench->text, line);
    }
    assert_int_equal(ftruncate(fileno(bench->journal), 0), 0);
    lseek(fileno(bench->journal), 0, SEEK_SET);
    return bench->text;
}

static void is_told(struct bench *bench, const char *expected) {
    if (strcmp(told(bench), expected) == 0)
        return;
    dup2(bench->was, STDERR_FILENO);
    fail_msg("told:\n%sexpected:\n%s", bench->text, expected);
}

static void a_charge_that_falls_out_too_early_is_told_until_it_is_back(void **state) {
    struct bench *bench = *state;

    notice_go_live(bench->notice);
    play(bench, 800, 800, 12);
    is_told(bench, "");
    play(bench, 800, 780, 2);
    is_told(bench, "alert soak-short, oven small, raised: front left the band; proven soak until then: 12 min "
                   "17 s (required: 20 min)\n");
    play(bench, 799, 799, 3);
    is_told(bench, "alert soak-short, oven small, clear: the charge is back; its time counts anew\n");
    play(bench, 799, 799, 20);
    play(bench, 799, 600, 5); // complete: now it may
    is_told(bench, "");
    notice_end(bench->notice, bench->t_ms, "the run is over");
    is_told(bench, "");
}

static void what_stands_at_the_end_of_a_run_is_cleared(void **state) {
    struct bench *bench = *state;

    notice_go_live(bench->notice);
    play(bench, 800, 800, 12);
    play(bench, 700, 500, 5);
    told(bench);
    notice_end(bench->notice, bench->t_ms, "the run is over");
    judge_end(bench->judge, bench->t_ms);
    is_told(bench, "alert soak-short, oven small, clear: the run is over\n");
}

static void a_replay_tells_only_what_still_stands_and_tells_it_once(void **state) {
    struct bench *bench = *state;

    for (int i = 0; i < 2; i++) { // and so does a second one after a failed transaction
        play(bench, 800, 800, 5);
        play(bench, 790, 790, 2); // short
        play(bench, 800, 800, 5); // and over
        play(bench, 780, 700, 2); // short again
        is_told(bench, "");
        notice_go_live(bench->notice);
        if (i == 0)
            is_told(bench, "alert soak-short, oven small, raised: front left the band; proven soak until then: "
                           "4 min 54 s (required: 20 min)\n");
        close_notice(bench);
        open_notice(bench);
    }
    is_told(bench, "");
    play(bench, 800, 800, 5); // this time the ledger says that it never fell
    notice_go_live(bench->notice);
    assert_int_equal(alert_count_told(bench->desk), 1);
}

static void an_oven_that_stays_hot_is_told_of_after_twice_the_time(void **state) {
    struct bench *bench = *state;

    notice_go_live(bench->notice);
    play(bench, 800, 800, 40);
    is_told(bench, "");
    play(bench, 800, 800, 2);
    is_told(bench,
            "alert not-cooling, oven small, raised: the soak is long complete and the charge is still in the "
            "band after 40 min\n");
    play(bench, 790, 700, 2);
    is_told(bench, "alert not-cooling, oven small, clear: the charge has left the band\n");
}

static void an_overshoot_is_over_when_the_charge_is_back(void **state) {
    struct bench *bench = *state;

    notice_go_live(bench->notice);
    play(bench, 800, 800, 5);
    play(bench, 818, 818, 3);
    is_told(bench, "alert overshoot, oven small, raised: front passed the overshoot limit of 815.0 \xc2\xb0"
                   "C: 818.0 \xc2\xb0"
                   "C\n");
    play(bench, 805, 805, 3);
    is_told(bench, "alert overshoot, oven small, clear: front peaked at 818.0 \xc2\xb0"
                   "C, limit 815.0 \xc2\xb0"
                   "C\n");
}

/* ---- the next operation ---- */

static void the_next_operation_is_due_an_hour_before_its_deadline(void **state) {
    const struct plan_operation operations[] = {
        {.kind = OPERATION_SOAK, .visit = 0},
        {.kind = OPERATION_HEAT, .visit = 1},
        {.kind = OPERATION_TEMPER, .visit = 1, .begins_within = {true, 2 * 60 * MINUTE}},
        {.kind = OPERATION_TEMPER, .visit = 2},
    };
    const struct plan plan = {.operations = operations, .operation_count = 4, .visit_count = 3};
    int64_t deadline_ms = 0;

    (void)state;
    assert_false(due_find_deadline(&plan, 0, START, &deadline_ms));
    assert_false(due_find_deadline(&plan, 2, START, &deadline_ms));
    assert_true(due_find_deadline(&plan, 1, START, &deadline_ms));
    assert_int_equal(deadline_ms, START + 120 * MINUTE);
    assert_false(due_is_near(deadline_ms, START + 60 * MINUTE - 1));
    assert_true(due_is_near(deadline_ms, START + 60 * MINUTE));
    assert_true(due_is_near(deadline_ms, deadline_ms + 24 * 60 * MINUTE));
    assert_false(due_is_near(deadline_ms, deadline_ms + 24 * 60 * MINUTE + 1));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_charge_that_falls_out_too_early_is_told_until_it_is_back, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(what_stands_at_the_end_of_a_run_is_cleared, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_replay_tells_only_what_still_stands_and_tells_it_once, set_up, tear_down),
        cmocka_unit_test_setup_teardown(an_oven_that_stays_hot_is_told_of_after_twice_the_time, set_up, tear_down),
        cmocka_unit_test_setup_teardown(an_overshoot_is_over_when_the_charge_is_back, set_up, tear_down),
        cmocka_unit_test(the_next_operation_is_due_an_hour_before_its_deadline),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
