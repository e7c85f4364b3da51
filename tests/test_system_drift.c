// SPDX-License-Identifier: MIT
/* A control thermocouple drifts over many runs and the controller follows it: the whole way from the virtual shop's
 * physics to the words that a person gets. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>

#include "soakledger/health.h"
#include "support/stage.h"

enum { RUNS = 14 };

static int set_up(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);

    *state = stage;
    stage_open_scene(stage, "drift");
    stage_tell(stage, "echo 'line=; for word; do line=\"$line<$word>\"; done; printf \"%s\\n\" \"$line\" "
                      ">>\"${0%/*}/alerts\"' >$D/tell; touch $D/alerts");
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

static struct ledger *open_ledger(const struct stage *stage, enum ledger_mode mode) {
    struct fault fault;
    struct ledger *ledger = ledger_open(stage->ledger, mode, &fault);

    if (ledger == NULL)
        fail_msg("%s", fault.text);
    return ledger;
}

/* What was kept as the runs ended, live and across a kill, is what their readings say. */
static void expect_facts(struct ledger *ledger) {
    int heat_ups = 0;

    for (int64_t run_id = 1; run_id <= RUNS; run_id++) {
        struct health_facts kept, found;
        struct fault fault;

        assert_int_equal(health_read_facts(ledger, run_id, &kept, &fault), 1);
        assert_int_equal(health_find_facts(ledger, run_id, &found, &fault), 0);
        assert_true(kept.stretch_count >= 1);
        assert_int_equal(kept.stretch_count, found.stretch_count);
        assert_memory_equal(kept.stretches, found.stretches, kept.stretch_count * sizeof *kept.stretches);
        heat_ups += kept.stretches[0].heat_ms > 0;
        assert_int_equal(kept.stretches[0].sensor_count, 3);
        health_free_facts(&kept);
        health_free_facts(&found);
    }
    assert_true(heat_ups >= RUNS - 2); // a loaded machine may miss a reply
}

static void expect_health(struct ledger *ledger) {
    char words[DRIFT_WORDS_BYTES];
    struct fault fault;
    struct health_oven *oven = health_examine(ledger, 1, INT64_MAX, false, &fault);
    const struct drift_report *report;

    assert_non_null(oven);
    assert_int_equal(oven->level_count, 1);
    assert_int_equal(oven->levels[0].history.run_count, RUNS);
    report = oven->levels[0].report;
    assert_int_equal(report->cause, DRIFT_SENSOR);
    assert_int_equal(report->shape, DRIFT_SHAPE_SLOW);
    assert_true(report->sure > 0.95);
    assert_true(report->outlooks[0].error_c > -7.2 && report->outlooks[0].error_c < -4.5); // it is 6 C by then
    assert_true(report->outlooks[0].per_10_runs_c > -12 && report->outlooks[0].per_10_runs_c < -8);
    assert_true(report->outlooks[0].allowed_c == 6);
    health_describe_sensor(oven, 0, UNIT_CELSIUS, words);
    contains(words, "control: reads low by ");
    health_describe_sensor(oven, 1, UNIT_CELSIUS, words);
    contains(words, "front: has kept to the others within ");
    health_free(oven);
}

static void a_drift_that_the_display_hides_is_told_once(void **state) {
    struct stage *stage = *state;
    struct ledger *ledger;
    const char *text;

    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-17T07:05:00Z"); // eight good runs
    contains(stage_tell(stage, "wc -l <$D/alerts"), "0\n");
    stage_play_until(stage, "2026-11-17T07:50:00Z"); // in the soak of the ninth
    assert_int_equal(WTERMSIG(stage_end_daemon(stage, SIGKILL)), SIGKILL);
    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-18T00:05:00Z");
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
    text = stage_tell(stage, "cat $D/alerts");
    contains(text, "<drift><oven small, control><raised><2026-11-17T");
    contains(text, "<control: reads low by ");
    contains(text, ". The controller goes by it: the charge is hotter than shown. Check it");
    contains(stage_tell(stage, "grep -c '<drift>' $D/alerts"), "1\n");
    contains(
        stage_tell(stage, "sqlite3 $D/shop.ledger 'select cause, channel, run_id <= 13 from drift_told_in_words'"),
        "a sensor drifts|control|1\n");
    /* The display stayed perfect. */
    contains(stage_tell(stage, "sqlite3 $D/shop.ledger \"select max(abs(mean - 805)) < 1 from steady_in_words where"
                               " channel = 'control'\""),
             "1\n");
    ledger = open_ledger(stage, LEDGER_READ);
    expect_facts(ledger);
    expect_health(ledger);
    ledger_close(ledger);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_drift_that_the_display_hides_is_told_once, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
