// SPDX-License-Identifier: MIT
/* drift: histories made by hand, whose answers are known; made-up ovens that wear (support/wear.h), few of each
 * kind, held against bounds; false alarms of healthy ones. tool_drift.c is the same with many. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/drift.h"
#include "support/wear.h"

enum { RUNS = 40, MOST_RUNS = WEAR_MOST_RUNS };
static const int64_t first_ms = INT64_C(1794812400000), day_ms = 86400000; // 2026-11-16T07:00:00Z
static const double level_c = 1070;

/* ---- histories by hand ---- */

static double noise(uint64_t *seed) {
    double sum = 0;

    for (int i = 0; i < 12; i++) { // twelve uniform numbers have a variance of one
        *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        sum += (double)(*seed >> 11) * 0x1p-53;
    }
    return sum - 6;
}

struct made {
    struct drift_run runs[MOST_RUNS];
    struct drift_history history;
};

/* Healthy runs, one a day, 5 h each, of sensors that lie `noise_c` apart from run to run. */
static struct made *make(size_t sensors, size_t runs, double noise_c, uint64_t seed) {
    static const char *const names[] = {"control", "front", "back", "left"};
    static struct made made;

    made = (struct made){.history = {.sensor_count = sensors, .run_count = runs, .runs = made.runs}};
    for (size_t i = 0; i < sensors; i++)
        made.history.sensors[i] = (struct drift_sensor){names[i], i == 0, 8};
    for (size_t run = 0; run < runs; run++) {
        struct drift_run *facts = &made.runs[run];

        *facts = (struct drift_run){.run_id = (int64_t)run + 1,
                                    .t_ms = first_ms + (int64_t)run * day_ms,
                                    .hours = 5,
                                    .level_c = level_c,
                                    .output = 40 * exp(0.004 * noise(&seed)),
                                    .heat_s = 1200 * exp(0.02 * noise(&seed)),
                                    .heat_output = 100};
        for (size_t i = 0; i < sensors; i++)
            facts->mean_c[i] = level_c - 2.0 * (double)i + noise_c / M_SQRT2 * noise(&seed);
    }
    return &made;
}

static struct drift_report *examine(const struct made *made) {
    struct fault fault;
    struct drift_report *report = drift_examine(&made->history, &fault);

    assert_non_null(report);
    return report;
}

static void near(double found, double expected, double within) {
    if (!(fabs(found - expected) <= within))
        fail_msg("%.9g: expected %.9g within %.3g", found, expected, within);
}

static void contains(const char *text, const char *part) {
    if (strstr(text, part) == NULL)
        fail_msg("'%s' is not in: %s", part, text);
}

static enum drift_cause cause_of(const struct made *made) {
    struct drift_report *report = examine(made);
    const enum drift_cause cause = report->cause;

    drift_free(report);
    return cause;
}

/* Sensor `sensor` drifts by so much a run from `begins` on. The controller follows its own: then all others show
 * it. */
static void let_drift(struct made *made, size_t sensor, size_t begins, double per_run_c) {
    for (size_t run = begins; run < made->history.run_count; run++) {
        const double error_c = per_run_c * (double)(run - begins + 1);

        if (sensor != 0) {
            made->runs[run].mean_c[sensor] += error_c;
            continue;
        }
        for (size_t i = 1; i < made->history.sensor_count; i++)
            made->runs[run].mean_c[i] -= error_c;
        made->runs[run].output *= exp(-2 * error_c / (level_c - 20));
    }
}

static void test_too_few_and_nothing(void **state) {
    struct drift_report *report;
    char words[DRIFT_WORDS_BYTES];

    (void)state;
    for (size_t runs = 0; runs < DRIFT_LEAST_RUNS; runs++)
        assert_int_equal(cause_of(make(3, runs, 1, 1)), DRIFT_TOO_FEW);
    assert_int_equal(cause_of(make(3, DRIFT_LEAST_RUNS, 1, 1)), DRIFT_NOTHING);
    assert_int_equal(cause_of(make(0, 20, 1, 1)), DRIFT_NOTHING);
    report = examine(make(3, RUNS, 1, 1));
    assert_int_equal(report->cause, DRIFT_NOTHING);
    drift_describe_sensor(&make(3, RUNS, 1, 1)->history, report, 1, UNIT_CELSIUS, words);
    contains(words, "front: has kept to the others within ");
    contains(words, " at 1070 °C over 40 runs");
    drift_free(report);
    report = examine(make(3, 3, 1, 1));
    drift_describe_sensor(&make(3, 3, 1, 1)->history, report, 1, UNIT_CELSIUS, words);
    assert_string_equal(words, "front: too few runs yet to say anything (3; at least 5)");
    drift_free(report);
}

static void test_agreement_to_the_last_digit_is_no_alarm(void **state) {
    struct made *made = make(3, RUNS, 0, 1);

    (void)state;
    for (size_t run = 0; run < RUNS; run++) { // a controller's last digit flips, and once it stays
        made->runs[run].mean_c[1] += run % 3 == 0 ? 0.1 : 0;
        made->runs[run].output = 40;
        made->runs[run].heat_s = 1200;
    }
    assert_int_equal(cause_of(made), DRIFT_NOTHING);
}

static void test_one_wild_run_is_no_alarm(void **state) {
    (void)state;
    for (size_t at = 2; at < RUNS; at++) {
        struct made *made = make(3, RUNS, 0.5, 11);

        made->runs[at].mean_c[2] += 30; // its thermocouple hung in the draught
        made->history.run_count = at + 1;
        assert_int_equal(cause_of(made), at + 1 < DRIFT_LEAST_RUNS ? DRIFT_TOO_FEW : DRIFT_NOTHING);
        made->history.run_count = RUNS;
        assert_int_equal(cause_of(made), DRIFT_NOTHING);
    }
}

static void test_the_odd_one_of_three_is_named(void **state) {
    (void)state;
    for (size_t sensor = 0; sensor < 3; sensor++) {
        for (int sign = -1; sign <= 1; sign += 2) {
            struct made *made = make(3, RUNS, 1, 2);
            struct drift_report *report;

            let_drift(made, sensor, 20, sign * 0.5);
            report = examine(made);
            assert_int_equal(report->cause, DRIFT_SENSOR);
            assert_int_equal(report->sensor, sensor);
            assert_int_equal(report->shape, DRIFT_SHAPE_SLOW);
            assert_true(report->sure > 0.95);
            assert_in_range(report->established_run, 22, 29);
            near(report->outlooks[sensor].error_c, sign * 10, 1.5);
            near(report->outlooks[sensor].per_10_runs_c, sign * 5, 1.2);
            near(report->outlooks[sensor].per_100_h_c, sign * 10, 2.4); // 5 h a run
            assert_true(report->outlooks[sensor].named && report->outlooks[sensor].beyond);
            for (size_t other = 0; other < 3; other++) {
                if (other != sensor)
                    assert_false(report->outlooks[other].established);
            }
            drift_free(report);
        }
    }
}

static void test_a_step_is_told_from_a_drift(void **state) {
    struct made *made = make(3, RUNS, 1, 3);
    struct drift_report *report;
    char words[DRIFT_WORDS_BYTES];

    (void)state;
    for (size_t run = 22; run < RUNS; run++)
        made->runs[run].mean_c[2] -= 5;
    report = examine(made);
    assert_int_equal(report->cause, DRIFT_SENSOR);
    assert_int_equal(report->sensor, 2);
    assert_int_equal(report->shape, DRIFT_SHAPE_STEP);
    near((double)report->pairs[1].begins_run, 22, 1);
    assert_false(report->outlooks[2].reaches || report->outlooks[2].beyond);
    drift_describe_cause(&made->history, report, UNIT_CELSIUS, words);
    contains(words, "thermocouple back has changed at once (");
    drift_describe_sensor(&made->history, report, 2, UNIT_CELSIUS, words);
    contains(words, "back: reads low by ");
    contains(words, ", not known to grow");
    drift_free(report);
}

static void test_of_two_it_cannot_be_told_which(void **state) {
    struct made *made = make(2, RUNS, 1, 4);
    struct drift_report *report;
    char words[DRIFT_WORDS_BYTES];

    (void)state;
    let_drift(made, 1, 20, 0.5);
    for (size_t run = 0; run < RUNS; run++)
        made->runs[run].output = NAN; // nothing else to go by
    report = examine(made);
    assert_int_equal(report->cause, DRIFT_PAIR);
    assert_int_equal(report->sensor + report->other, 1);
    assert_true(report->outlooks[0].established && !report->outlooks[0].named);
    near(report->outlooks[0].error_c, -report->outlooks[1].error_c, 1e-9);
    drift_describe_cause(&made->history, report, UNIT_CELSIUS, words);
    contains(words, " have come to disagree by ");
    contains(words, "cannot be told from here");
    drift_describe_advice(&made->history, report, UNIT_CELSIUS, words);
    contains(words, "reference thermocouple");
    contains(words, "system accuracy test");
    drift_free(report);
}

static void test_one_alone_has_nothing_to_be_held_against(void **state) {
    struct made *made = make(1, RUNS, 1, 5);
    struct drift_report *report = examine(made);
    char words[DRIFT_WORDS_BYTES];

    (void)state;
    assert_int_equal(report->cause, DRIFT_NOTHING);
    drift_describe_sensor(&made->history, report, 0, UNIT_CELSIUS, words);
    assert_string_equal(words, "control: the only thermocouple here: nothing to hold it against");
    drift_free(report);
}

static void test_a_renewed_sensor_begins_anew(void **state) {
    struct made *made = make(3, RUNS, 1, 6);
    struct drift_report *report;

    (void)state;
    for (size_t run = 20; run < RUNS; run++)
        made->runs[run].mean_c[1] -= 6; // another thermocouple, another error
    assert_int_equal(cause_of(made), DRIFT_SENSOR);
    made->runs[20].renewed[1] = true;
    report = examine(made);
    assert_int_equal(report->cause, DRIFT_NOTHING);
    assert_int_equal(report->pairs[drift_count_pair(3, 0, 1)].first_run, 20);
    assert_int_equal(report->pairs[drift_count_pair(3, 0, 2)].first_run, 0);
    assert_true(isnan(report->pairs[drift_count_pair(3, 0, 1)].values[19]));
    drift_free(report);
}

static void test_missing_values_are_passed_over(void **state) {
    struct made *made = make(4, RUNS, 1, 7);
    struct drift_report *report;

    (void)state;
    let_drift(made, 3, 18, -0.8);
    for (size_t run = 0; run < RUNS; run += 4) {
        made->runs[run].mean_c[1] = NAN;
        made->runs[run].output = NAN;
        made->runs[run].heat_s = NAN;
    }
    report = examine(made);
    assert_int_equal(report->cause, DRIFT_SENSOR);
    assert_int_equal(report->sensor, 3);
    drift_free(report);
}

/* ---- forecast ---- */

static void test_the_limit_is_reached_when_it_is_reached(void **state) {
    struct made *made = make(3, 30, 0.05, 8);
    const struct drift_outlook *outlook;
    struct drift_report *report;
    char words[DRIFT_WORDS_BYTES];

    (void)state;
    let_drift(made, 2, 10, 0.25); // 5 C in run 30; 8 C twelve runs later, a run a day
    report = examine(made);
    outlook = &report->outlooks[2];
    assert_true(outlook->reaches && !outlook->beyond);
    near(outlook->error_c, 5, 0.15);
    near(outlook->runs_left, 12, 0.8);
    assert_true(outlook->runs_left_low <= 12.2 && outlook->runs_left_high >= 11.8 &&
                outlook->runs_left_high - outlook->runs_left_low < 4);
    near((double)(outlook->date_ms - made->runs[29].t_ms) / (double)day_ms, 12, 0.8);
    drift_describe_sensor(&made->history, report, 2, UNIT_CELSIUS, words);
    contains(words,
             "back: reads high by 5.0 ± 0.1 °C at 1070 °C, growing 2.5 °C per 10 runs, reaches your limit of "
             "8.0 °C in about 12 runs (11 to 13), 2026-12-27 at this pace");
    drift_describe_sensor(&made->history, report, 2, UNIT_FAHRENHEIT, words);
    contains(words,
             "back: reads high by 9.0 ± 0.2 °F at 1958 °F, growing 4.5 °F per 10 runs, reaches your limit of "
             "14.4 °F in about 12 runs");
    drift_free(report);
}

static void test_words_of_figures(void **state) {
    const struct drift_outlook low = {.sensor = 0,
                                      .known = true,
                                      .established = true,
                                      .named = true,
                                      .level_c = 1070,
                                      .error_c = -3.1,
                                      .uncertainty_c = 0.6,
                                      .per_10_runs_c = -1.4,
                                      .allowed_c = 5,
                                      .reaches = true,
                                      .runs_left = 13.2,
                                      .runs_left_low = 6.5,
                                      .runs_left_high = INFINITY};
    struct drift_report report = {.sensor_count = 3, .run_count = 20, .cause = DRIFT_SENSOR, .sure = 1};
    struct drift_history history = make(3, 20, 1, 1)->history;
    char words[DRIFT_WORDS_BYTES], name[2 * DRIFT_WORDS_BYTES];

    (void)state;
    report.outlooks[0] = low;
    drift_describe_sensor(&history, &report, 0, UNIT_CELSIUS, words);
    assert_string_equal(words, "control: reads low by 3.1 ± 0.6 °C at 1070 °C, growing 1.4 °C per 10 runs, reaches "
                               "your limit of 5.0 °C in about 14 runs (6 or more)");
    report.outlooks[0].reaches = false;
    report.outlooks[0].beyond = true;
    report.outlooks[0].error_c = -5.2;
    drift_describe_sensor(&history, &report, 0, UNIT_CELSIUS, words);
    assert_string_equal(words, "control: reads low by 5.2 ± 0.6 °C at 1070 °C, growing 1.4 °C per 10 runs, BEYOND "
                               "your limit of 5.0 °C");
    drift_describe_cause(&history, &report, UNIT_CELSIUS, words);
    assert_string_equal(words, "thermocouple control is drifting (99 % sure)");
    drift_describe_advice(&history, &report, UNIT_CELSIUS, words);
    contains(words, "The controller goes by it: the charge is hotter than shown. Check it");
    contains(words, "before the next charge");
    for (size_t i = 0; i + 3 < sizeof name; i += 3) // cut within a character nowhere
        memcpy(name + i, "\xe2\x82\xac", 4);
    history.sensors[0].name = name;
    for (int shift = 0; shift < 3; shift++) {
        drift_describe_sensor(&history, &report, 0, UNIT_CELSIUS, words);
        assert_true(strlen(words) < DRIFT_WORDS_BYTES);
        assert_memory_equal(words + strlen(words) - 3, "\xe2\x82\xac", 3);
        memmove(name + 1, name, sizeof name - 2);
        name[0] = 'a';
    }
}

/* ---- the oven itself ---- */

static void change_oven(struct made *made, size_t begins, double output, double work, bool slow) {
    for (size_t run = begins; run < made->history.run_count; run++) {
        const double far = slow ? (double)(run - begins + 1) : 1;

        made->runs[run].output *= exp(output * far);
        made->runs[run].heat_s *= exp(work * far);
    }
}

static void expect_oven(double output, double work, bool slow, enum drift_cause cause, const char *part) {
    struct made *made = make(3, RUNS, 1, 9);
    struct drift_report *report;
    char words[DRIFT_WORDS_BYTES];

    change_oven(made, 20, output, work, slow);
    report = examine(made);
    if (report->cause != cause)
        fail_msg("%s: expected %s", drift_cause_name(report->cause), drift_cause_name(cause));
    assert_true(report->sure >= DRIFT_SURE_LEAST);
    drift_describe_cause(&made->history, report, UNIT_CELSIUS, words);
    contains(words, part);
    drift_describe_advice(&made->history, report, UNIT_CELSIUS, words);
    assert_true(strlen(words) > 20);
    for (size_t i = 0; i < 3; i++)
        assert_false(report->outlooks[i].established);
    drift_free(report);
}

static void test_the_oven_is_told_from_its_sensors(void **state) {
    (void)state;
    /* At 40 % output a third is lost on the way up: power that falls by p makes the heat-up 1.5 p longer. */
    expect_oven(0.01, 0.015, true, DRIFT_ELEMENT, "the heating element is losing power: it takes 2");
    expect_oven(0.08, 0.12, false, DRIFT_SUPPLY, "heating power has changed at once");
    expect_oven(-0.08, -0.12, false, DRIFT_SUPPLY, "less output to hold the temperature");
    expect_oven(0.15, 0.07, false, DRIFT_LEAK, "the oven loses more heat");
    expect_oven(0.01, 0.005, true, DRIFT_LEAK, "the oven loses more heat");
}

static void test_what_fits_nothing_is_unknown(void **state) {
    struct made *made = make(3, RUNS, 1, 10);
    struct drift_report *report;
    char words[DRIFT_WORDS_BYTES];

    (void)state;
    change_oven(made, 20, -0.01, 0.02, true); // less to hold and more to heat up
    report = examine(made);
    assert_int_equal(report->cause, DRIFT_UNKNOWN);
    drift_describe_cause(&made->history, report, UNIT_CELSIUS, words);
    contains(words, "something has changed, but what cannot be told");
    drift_free(report);
}

/* ---- rates ---- */

enum { HEALTHY = 40, DRIFTING = 30, BEGINS = 15 };

static void test_healthy_runs_and_a_drift_of_half_a_degree(void **state) {
    size_t alarms = 0, delays[RUNS] = {0}, found = 0, median = 0;

    (void)state;
    for (uint64_t seed = 0; seed < HEALTHY; seed++) {
        struct made *made = make(3, RUNS, 1, 1000 + seed);

        for (size_t runs = DRIFT_LEAST_RUNS; runs <= RUNS; runs += 3) {
            made->history.run_count = runs;
            if (cause_of(made) > DRIFT_NOTHING) {
                alarms++;
                break;
            }
        }
    }
    assert_true(alarms <= 4); // 1,600 runs at one in 1,000: five or more by chance once in 40
    for (uint64_t seed = 0; seed < DRIFTING; seed++) {
        struct made *made = make(3, RUNS, 1, 2000 + seed);
        size_t run = BEGINS;

        let_drift(made, seed % 3, BEGINS, seed % 2 == 0 ? 0.5 : -0.5);
        do
            made->history.run_count = ++run;
        while (run < RUNS && cause_of(made) <= DRIFT_NOTHING);
        delays[run - BEGINS]++;
    }
    while (found * 2 < DRIFTING)
        found += delays[median++];
    assert_in_range(median - 1, 3, 8);
}

static void test_ovens_that_wear(void **state) {
    enum { EACH = 2, WEAR_RUNS = 30 };
    struct drift_run runs[WEAR_MOST_RUNS];
    struct drift_history history;
    struct fault fault;
    size_t right = 0, played = 0;

    (void)state;
    for (enum wear_kind kind = WEAR_NONE; kind <= WEAR_LEAK; kind++) {
        for (uint64_t seed = 500; seed < 500 + EACH; seed++, played++) {
            struct wear_shop shop;
            struct drift_report *report;

            wear_make(&shop, seed, kind);
            shop.run_count = WEAR_RUNS;
            shop.begins_run = 14;
            wear_play(&shop, runs);
            wear_history(&shop, runs, 5, &history);
            report = drift_examine(&history, &fault);
            assert_non_null(report);
            right += wear_is_right(&shop, report) ? 1 : 0;
            if (!wear_is_right(&shop, report) && report->cause != DRIFT_UNKNOWN && report->cause != DRIFT_PAIR)
                fail_msg("seed %d: %s where %s is wrong", (int)seed, drift_cause_name(report->cause),
                         wear_kind_name(kind));
            drift_free(report);
        }
    }
    assert_true(right + 2 >= played);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_too_few_and_nothing),
        cmocka_unit_test(test_agreement_to_the_last_digit_is_no_alarm),
        cmocka_unit_test(test_one_wild_run_is_no_alarm),
        cmocka_unit_test(test_the_odd_one_of_three_is_named),
        cmocka_unit_test(test_a_step_is_told_from_a_drift),
        cmocka_unit_test(test_of_two_it_cannot_be_told_which),
        cmocka_unit_test(test_one_alone_has_nothing_to_be_held_against),
        cmocka_unit_test(test_a_renewed_sensor_begins_anew),
        cmocka_unit_test(test_missing_values_are_passed_over),
        cmocka_unit_test(test_the_limit_is_reached_when_it_is_reached),
        cmocka_unit_test(test_words_of_figures),
        cmocka_unit_test(test_the_oven_is_told_from_its_sensors),
        cmocka_unit_test(test_what_fits_nothing_is_unknown),
        cmocka_unit_test(test_healthy_runs_and_a_drift_of_half_a_degree),
        cmocka_unit_test(test_ovens_that_wear),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
