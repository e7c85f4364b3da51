// SPDX-License-Identifier: MIT
/* accuracy: differences and their uncertainty worked out by hand, and everything that makes a test no proof. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/accuracy.h"

enum { S = 1000, MIN = 60 * S, HOUR = 60 * MIN, C = 1000, SENSOR = 7, REFERENCE = 9 };
static const int64_t t0_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z

/* Both channels on straight lines; the sensor's readings alternate about its own by `flutter_mc`. */
struct bench {
    int64_t level_mc, offset_mc, slope_mc_per_h, flutter_mc;
    int64_t sensor_every_ms, reference_every_ms; // 0: no reading at all
    int64_t silent_from_ms, silent_ms;           // of the sensor
    int64_t reference_silent_ms;                 // of the reference, from the same moment
};

static struct bench usual_bench(void) {
    return (struct bench){.level_mc = 1070 * C, .offset_mc = -3100, .sensor_every_ms = S, .reference_every_ms = S};
}

static struct accuracy_setting usual_setting(void) {
    return (struct accuracy_setting){.from_ms = t0_ms,
                                     .to_ms = t0_ms + 5 * MIN,
                                     .sensor_id = SENSOR,
                                     .sensor_interval_ms = S,
                                     .reference_id = REFERENCE,
                                     .reference_interval_ms = S,
                                     .reference_uncertainty_mc = 1100,
                                     .due_ms = t0_ms + 24 * (int64_t)HOUR,
                                     .allowed_mc = 4000};
}

static bool is_silent(const struct bench *bench, int64_t at_ms, int64_t length_ms) {
    return at_ms > bench->silent_from_ms && at_ms < bench->silent_from_ms + length_ms;
}

static struct accuracy_result run(const struct bench *bench, const struct accuracy_setting *setting) {
    struct accuracy *accuracy = accuracy_open(setting);
    struct accuracy_result result;

    assert_non_null(accuracy);
    for (int64_t at_ms = -MIN; at_ms <= 7 * MIN; at_ms += S) {
        const int64_t level_mc = bench->level_mc + bench->slope_mc_per_h * at_ms / HOUR;
        const int64_t flutter_mc = at_ms / S % 2 == 0 ? bench->flutter_mc : -bench->flutter_mc;
        struct reading sensor = {t0_ms + at_ms, level_mc + bench->offset_mc + flutter_mc, SENSOR, QUALITY_GOOD};
        const struct reading reference = {t0_ms + at_ms, level_mc, REFERENCE, QUALITY_GOOD};
        const struct reading other = {t0_ms + at_ms, 0, 8, QUALITY_GOOD};

        if (is_silent(bench, at_ms, bench->silent_ms))
            sensor.quality = QUALITY_OPEN_SENSOR;
        if (bench->sensor_every_ms != 0 && at_ms % bench->sensor_every_ms == 0)
            accuracy_feed(accuracy, &sensor);
        accuracy_feed(accuracy, &other);
        if (bench->reference_every_ms != 0 && at_ms % bench->reference_every_ms == 0 &&
            !is_silent(bench, at_ms, bench->reference_silent_ms))
            accuracy_feed(accuracy, &reference);
    }
    result = *accuracy_finish(accuracy);
    accuracy_free(accuracy);
    return result;
}

static void expect(const struct accuracy_result *result, enum outcome outcome, enum accuracy_reason reason) {
    assert_int_equal(result->reason, reason);
    assert_int_equal(result->outcome, outcome);
}

/* The sensor's reading of a second comes before the reference's: it meets the one of the second before, and 301
 * seconds give 300 pairs. Nothing moves and nothing flutters: the uncertainty is the reference's. */
static void test_a_known_offset(void **state) {
    const struct bench bench = usual_bench();
    struct accuracy_setting setting = usual_setting();
    struct accuracy_result result = run(&bench, &setting);

    (void)state;
    expect(&result, OUTCOME_MET, ACCURACY_SOUND);
    assert_int_equal(result.difference_mc, -3100);
    assert_int_equal(result.sensor_mc, 1070 * C - 3100);
    assert_int_equal(result.reference_mc, 1070 * C);
    assert_int_equal(result.uncertainty_mc, 1100);
    assert_int_equal(result.pair_count, 300);
    setting.correction_mc = 1200; // the reference itself reads 1.2 low
    result = run(&bench, &setting);
    expect(&result, OUTCOME_NOT_MET, ACCURACY_SOUND);
    assert_int_equal(result.difference_mc, -4300);
    assert_int_equal(result.reference_mc, 1071 * C + 200);
}

/* By hand: readings 3 either side of the line deviate by 3 (times the root of n / (n - 1), here n = 300: 3005 mC);
 * twice that, with 1.1, is 6.110. */
static void test_uncertainty_of_fluttering_readings(void **state) {
    struct bench bench = usual_bench();
    const struct accuracy_setting setting = usual_setting();
    struct accuracy_result result;

    (void)state;
    bench.flutter_mc = 3000;
    result = run(&bench, &setting);
    assert_int_equal(result.difference_mc, -3100);
    assert_int_equal(result.deviation_mc, 3005);
    assert_int_equal(result.uncertainty_mc, 6110);
}

/* 24 °C/h is 0.4 °C a minute: stable, and in a second nothing; a typed reading may be 30 s late: 0.2 °C. */
static void test_uncertainty_of_a_slope(void **state) {
    struct bench bench = usual_bench();
    struct accuracy_setting setting = usual_setting();
    struct accuracy_result result;

    (void)state;
    bench.slope_mc_per_h = 24 * C;
    result = run(&bench, &setting);
    expect(&result, OUTCOME_MET, ACCURACY_SOUND);
    assert_int_equal(result.sensor_slope_mc_per_h, 24 * C);
    assert_int_equal(result.reference_slope_mc_per_h, 24 * C);
    assert_int_equal(result.uncertainty_mc, 1100);      // 0.007 °C does not show beside 1.1
    assert_in_range(-result.difference_mc, 3093, 3094); // one second apart
    setting.reference_id = 0;
    setting.typed_count = ACCURACY_READINGS_LEAST;
    for (size_t i = 0; i < setting.typed_count; i++)
        setting.typed[i] = (struct accuracy_typed){.t_ms = t0_ms + ((int64_t)i + 2) * MIN,
                                                   .said_mc = 1070 * C + ((int64_t)i + 2) * 400};
    result = run(&bench, &setting);
    expect(&result, OUTCOME_MET, ACCURACY_SOUND);
    assert_in_range(-result.difference_mc, 3100, 3107);
    assert_int_equal(result.uncertainty_mc, llround(sqrt(1100.0 * 1100 + 200.0 * 200)));
}

static void test_typed_readings(void **state) {
    const struct bench bench = usual_bench();
    struct accuracy_setting setting = usual_setting();
    struct accuracy_result result;

    (void)state;
    setting.reference_id = 0;
    setting.correction_mc = 500;
    setting.typed_count = 4;
    setting.typed[0] = (struct accuracy_typed){.t_ms = t0_ms - 1, .said_mc = 0}; // before the time that counts
    setting.typed[1] = (struct accuracy_typed){.t_ms = t0_ms + MIN, .said_mc = 1069 * C};
    setting.typed[2] = (struct accuracy_typed){.t_ms = t0_ms + 2 * MIN, .said_mc = 1070 * C};
    setting.typed[3] = (struct accuracy_typed){.t_ms = t0_ms + 5 * MIN, .said_mc = 1071 * C};
    result = run(&bench, &setting);
    expect(&result, OUTCOME_MET, ACCURACY_SOUND);
    assert_int_equal(result.pair_count, 3);
    assert_false(result.typed[0].paired);
    assert_true(result.typed[3].paired);
    assert_int_equal(result.typed[3].sensor_mc, 1070 * C - 3100);
    assert_int_equal(result.difference_mc, -3600); // 1066.9 less 1070.5
    assert_int_equal(result.deviation_mc, 1000);   // of 1069, 1070, 1071
    assert_int_equal(result.uncertainty_mc, 2283); // root of 1.1^2 + 2^2
    setting.guarded = true;                        // 3.6 and 2.28 is more than 4
    result = run(&bench, &setting);
    expect(&result, OUTCOME_NOT_PROVEN, ACCURACY_INSIDE_BY_LESS);
    setting.allowed_mc = 3600 + 2283;
    result = run(&bench, &setting);
    expect(&result, OUTCOME_MET, ACCURACY_SOUND);
    setting.allowed_mc = 3599;
    result = run(&bench, &setting);
    expect(&result, OUTCOME_NOT_MET, ACCURACY_SOUND);
    setting.typed_count = 3;
    result = run(&bench, &setting);
    expect(&result, OUTCOME_NOT_PROVEN, ACCURACY_TOO_FEW);
    setting.typed_count = 0;
    result = run(&bench, &setting);
    expect(&result, OUTCOME_NOT_PROVEN, ACCURACY_NO_REFERENCE);
}

/* The reference is read every 10 s: so many pairs, whichever is slower. */
static void test_pairs_follow_the_slower(void **state) {
    struct bench bench = usual_bench();
    struct accuracy_setting setting = usual_setting();
    struct accuracy_result result;

    (void)state;
    bench.reference_every_ms = setting.reference_interval_ms = 10 * S;
    result = run(&bench, &setting);
    expect(&result, OUTCOME_MET, ACCURACY_SOUND);
    assert_int_equal(result.pair_count, 31);
    bench = usual_bench();
    setting = usual_setting();
    bench.sensor_every_ms = setting.sensor_interval_ms = 20 * S;
    result = run(&bench, &setting);
    expect(&result, OUTCOME_MET, ACCURACY_SOUND);
    assert_int_equal(result.pair_count, 15); // the first comes before any of the reference
}

static void test_no_proof(void **state) {
    struct bench bench = usual_bench();
    struct accuracy_setting setting = usual_setting();
    struct accuracy_result result;
#define EXPECT_REASON(change, reason)                                                                              \
    bench = usual_bench();                                                                                         \
    setting = usual_setting();                                                                                     \
    change;                                                                                                        \
    result = run(&bench, &setting);                                                                                \
    expect(&result, (reason) == ACCURACY_SOUND ? OUTCOME_MET : OUTCOME_NOT_PROVEN, reason);                        \
    assert_true((accuracy_reason_text(reason)[0] == '\0') == ((reason) == ACCURACY_SOUND))

    (void)state;
    EXPECT_REASON(bench.sensor_every_ms = 0, ACCURACY_UNREAD);
    EXPECT_REASON(bench.reference_every_ms = 0, ACCURACY_NO_REFERENCE);
    EXPECT_REASON(setting.to_ms -= 1, ACCURACY_TOO_SHORT);
    EXPECT_REASON((bench.silent_from_ms = 2 * MIN, bench.silent_ms = 3 * S), ACCURACY_SOUND);
    EXPECT_REASON((bench.silent_from_ms = 2 * MIN, bench.silent_ms = 4 * S), ACCURACY_GAP);
    EXPECT_REASON((bench.silent_from_ms = 2 * MIN, bench.reference_silent_ms = 4 * S), ACCURACY_GAP);
    EXPECT_REASON((bench.silent_from_ms = 5 * MIN - 4 * S, bench.silent_ms = MIN), ACCURACY_GAP); // to the end
    EXPECT_REASON((bench.silent_from_ms = -MIN, bench.silent_ms = MIN + 4 * S), ACCURACY_GAP); // from the beginning
    EXPECT_REASON(bench.slope_mc_per_h = 29 * C, ACCURACY_SOUND);
    EXPECT_REASON(bench.slope_mc_per_h = 31 * C, ACCURACY_UNSTABLE);
    EXPECT_REASON(bench.slope_mc_per_h = -31 * C, ACCURACY_UNSTABLE);
    EXPECT_REASON(setting.due_ms = 0, ACCURACY_DUE_UNSTATED);
    EXPECT_REASON(setting.due_ms = setting.to_ms - 1, ACCURACY_OVERDUE);
    EXPECT_REASON(setting.reference_uncertainty_mc = 0, ACCURACY_UNSTATED);
#undef EXPECT_REASON
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_known_offset),          cmocka_unit_test(test_uncertainty_of_fluttering_readings),
        cmocka_unit_test(test_uncertainty_of_a_slope),  cmocka_unit_test(test_typed_readings),
        cmocka_unit_test(test_pairs_follow_the_slower), cmocka_unit_test(test_no_proof),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
