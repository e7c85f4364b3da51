// SPDX-License-Identifier: MIT
/* survey: fields whose evenness is known in closed form, what makes a survey no proof, and the published limits. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/survey.h"

enum { S = 1000, MIN = 60 * S, C = 1000, MOST = 5 };
static const int64_t t0_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z
static const double full_turn = 6.283185307179586;

/* A field made of straight lines: every sensor rises at one rate, gets to its own level at the same moment, and
 * stays there. T = setpoint + offset - rate * (what is left of the rise) + cycling about the level. */
struct field {
    size_t count;
    int64_t offsets_mc[MOST];
    int64_t uncertainty_mc[MOST];
    int64_t start_below_mc; // under the level, at the beginning
    int64_t length_ms;
    int64_t cycle_mc, cycle_ms;
    int64_t creep_mc_per_h;            // of all, from the top on
    int64_t peak_at_ms, peak_mc;       // one reading of sensor 1 in place of its own
    int64_t silent_from_ms, silent_ms; // of sensor 2
    enum quality silence;              // QUALITY_GOOD: no reading at all
};

enum { SETPOINT_MC = 805 * C, TOP_MS = 20 * MIN }; // 200 °C in 20 min: 10 °C/min

static struct field even_field(void) {
    return (struct field){.count = 4,
                          .offsets_mc = {-1700, 400, 2900, -300},
                          .uncertainty_mc = {900, 900, 900, 900},
                          .start_below_mc = 200 * C,
                          .length_ms = 70 * MIN};
}

static int64_t field_value(const struct field *field, size_t sensor, int64_t at_ms) {
    const int64_t left_ms = at_ms < TOP_MS ? TOP_MS - at_ms : 0;
    double value = (double)(SETPOINT_MC + field->offsets_mc[sensor]);

    if (sensor == 1 && field->peak_mc != 0 && at_ms == field->peak_at_ms)
        return SETPOINT_MC + field->peak_mc;
    value -= (double)field->start_below_mc * (double)left_ms / (double)TOP_MS;
    if (at_ms > TOP_MS)
        value += (double)field->creep_mc_per_h * (double)(at_ms - TOP_MS) / (60 * MIN);
    if (field->cycle_ms != 0)
        value += (double)field->cycle_mc * sin(full_turn * (double)at_ms / (double)field->cycle_ms);
    return llround(value);
}

static struct survey_setting usual_setting(const struct field *field) {
    return (struct survey_setting){.from_ms = t0_ms,
                                   .to_ms = t0_ms + field->length_ms,
                                   .setpoint_mc = SETPOINT_MC,
                                   .least_ms = SURVEY_LEAST_MS,
                                   .most_ms = 0,
                                   .unit = UNIT_CELSIUS};
}

static struct survey *survey_field(const struct field *field, const struct survey_setting *setting) {
    struct survey_channel channels[MOST];
    struct survey *survey;

    for (size_t i = 0; i < field->count; i++)
        channels[i] = (struct survey_channel){(int64_t)i + 1, field->uncertainty_mc[i]};
    survey = survey_open(setting, channels, field->count);
    assert_non_null(survey);
    for (int64_t at_ms = 0; at_ms <= field->length_ms; at_ms += S)
        for (size_t i = 0; i < field->count; i++) {
            struct reading reading = {t0_ms + at_ms, field_value(field, i, at_ms), (int64_t)i + 1, QUALITY_GOOD};

            if (i == 2 && at_ms > field->silent_from_ms && at_ms < field->silent_from_ms + field->silent_ms) {
                if (field->silence == QUALITY_GOOD)
                    continue;
                reading.quality = field->silence;
            }
            survey_feed(survey, &reading);
        }
    return survey;
}

static void expect_classes(const struct survey_result *result, const char *signs) { // "+", "-", "?"
    char found[SURVEY_CLASSES + 1] = "";

    for (int i = 0; i < SURVEY_CLASSES; i++)
        found[i] = "+?-"[result->classes[i].outcome];
    assert_string_equal(found, signs);
}

/* ---- published limits ---- */

static void test_published_limits(void **state) {
    FILE *file = fopen("tests/reference/heat_classes_ams2750f.csv", "r");
    char line[256];
    int rows = 0, number;
    double fahrenheit, celsius;

    (void)state;
    assert_non_null(file);
    while (fgets(line, sizeof line, file) != NULL) {
        if (sscanf(line, "%d,%lf,%lf", &number, &fahrenheit, &celsius) != 3)
            continue;
        rows++;
        assert_int_equal(number, rows);
        assert_int_equal(survey_limit_mc(number, UNIT_CELSIUS), llround(celsius * C));
        assert_int_equal(survey_limit_printed(number, UNIT_FAHRENHEIT), llround(fahrenheit * C));
        assert_int_equal(survey_limit_mc(number, UNIT_FAHRENHEIT), (int64_t)floor(fahrenheit * C * 5 / 9));
    }
    fclose(file);
    assert_int_equal(rows, SURVEY_CLASSES);
}

/* ---- known fields ---- */

/* By hand. The rise ends at 20 min, a slot's end. With one slot of the rise left in the window, that slot's mean is
 * 2.58 °C low (10 °C/min, 30 readings): the slope is 9.5 * 2583 / 665 * 120 = 4429 mC/h, less than 6000; with two
 * it is (9.5 * 7583 + 8.5 * 2583) / 665 * 120 = 16961. (665 is the sum of squares of -9.5 .. 9.5.) So the zone is
 * settled when the window begins 30 s before 20 min: at 29.5 min. */
static void test_known_field(void **state) {
    const struct field field = even_field();
    const struct survey_setting setting = usual_setting(&field);
    struct survey *survey = survey_field(&field, &setting);
    const struct survey_result *result = survey_finish(survey);

    (void)state;
    assert_int_equal(result->settled_ms, t0_ms + 29 * MIN + 30 * S);
    assert_int_equal(result->ended_ms, t0_ms + 70 * MIN);
    for (size_t i = 0; i < field.count; i++) {
        assert_int_equal(result->sensors[i].coldest_mc, field.offsets_mc[i]);
        assert_int_equal(result->sensors[i].hottest_mc, field.offsets_mc[i]);
        assert_int_equal(result->sensors[i].mean_mc, field.offsets_mc[i]);
        assert_int_equal(result->sensors[i].overshoot_mc, field.offsets_mc[i]);
        assert_int_equal(result->sensors[i].count, (70 * MIN - 29 * MIN - 30 * S) / S + 1);
        assert_int_equal(result->sensors[i].silence_ms, S);
    }
    assert_int_equal(result->spread_mc, 2900 + 1700);
    assert_int_equal(result->coldest, 0);
    assert_int_equal(result->hottest, 2);
    // Sensor 3 is 55 °C under the setpoint when 57.9 °C of its rise are left: 5.79 min before the top, at the next
    // second.
    assert_int_equal(result->begun_ms, t0_ms + 20 * MIN - 347 * S);
    // Sensor 1, the coldest, with 53.3 °C left: 5.33 min before; 319.8 s.
    assert_int_equal(result->risen_ms, t0_ms + 20 * MIN - 319 * S);
    assert_int_equal(result->tightest, 1);
    assert_int_equal(survey_worst_mc(result), 2900);
    expect_classes(result, "++++++");
    survey_free(survey);
}

/* 2.9 °C is within ±3 °C, and beyond ±5 °F: 2.78 °C. */
static void test_limits_are_no_conversions(void **state) {
    const struct field field = even_field();
    struct survey_setting setting = usual_setting(&field);
    struct survey *survey;

    (void)state;
    setting.unit = UNIT_FAHRENHEIT;
    survey = survey_field(&field, &setting);
    expect_classes(survey_finish(survey), "-+++++");
    assert_int_equal(survey_finish(survey)->tightest, 2);
    assert_int_equal(survey_finish(survey)->classes[0].channel_id, 3);
    survey_free(survey);
}

/* A regular cycling of ±1.5 °C in two minutes about the levels: extremes are the level's plus and minus 1.5. */
static void test_cycling_field(void **state) {
    struct field field = even_field();
    struct survey_setting setting = usual_setting(&field);
    struct survey *survey;
    const struct survey_result *result;

    (void)state;
    field.cycle_mc = 1500;
    field.cycle_ms = 2 * MIN;
    survey = survey_field(&field, &setting);
    result = survey_finish(survey);
    assert_true(result->settled_ms != 0 && result->settled_ms <= t0_ms + 30 * MIN + 30 * S);
    for (size_t i = 0; i < field.count; i++) {
        assert_int_equal(result->sensors[i].coldest_mc, field.offsets_mc[i] - 1500);
        assert_int_equal(result->sensors[i].hottest_mc, field.offsets_mc[i] + 1500);
        assert_in_range(result->sensors[i].mean_mc + 2000, field.offsets_mc[i] + 1985, field.offsets_mc[i] + 2015);
    }
    // The stretch may end within a cycle: up to half of one, 955 mC on average for 60 of 2430 s, in the mean.
    // Sensors are read one after another, and the steepest second of the cycling is 1500 * 2 pi / 120 = 79 mC.
    assert_in_range(result->spread_mc, 4600, 4600 + 79);
    expect_classes(result, "-+++++"); // 2.9 + 1.5 is beyond 3
    survey_free(survey);
}

/* 0.1 °C a minute is the most that counts as settled: a field that creeps a little slower is, one a little faster
 * is not, however near it stays. */
static void test_creeping_field(void **state) {
    struct field field = even_field();
    struct survey_setting setting = usual_setting(&field);
    struct survey *survey;

    (void)state;
    field.creep_mc_per_h = 5900;
    survey = survey_field(&field, &setting);
    assert_true(survey_finish(survey)->settled_ms != 0);
    survey_free(survey);
    field.creep_mc_per_h = 6100;
    survey = survey_field(&field, &setting);
    assert_int_equal(survey_finish(survey)->settled_ms, 0);
    survey_free(survey);
}

/* A sensor that is read in fewer than ten of the twenty slots says nothing about settling. */
static void test_seldom_read_is_not_settled(void **state) {
    struct field field = even_field();
    struct survey_setting setting = usual_setting(&field);
    struct survey *survey;

    (void)state;
    field.silent_from_ms = 20 * MIN;
    field.silent_ms = 20 * MIN; // until 40 min: the window has ten slots read at 45 min
    survey = survey_field(&field, &setting);
    assert_int_equal(survey_finish(survey)->settled_ms, t0_ms + 45 * MIN);
    survey_free(survey);
}

static void test_stretch_of_stated_length(void **state) {
    struct field field = even_field();
    struct survey_setting setting = usual_setting(&field);
    struct survey *survey;

    (void)state;
    setting.most_ms = SURVEY_LEAST_MS;
    field.peak_at_ms = 59 * MIN + 30 * S; // the last moment of it
    field.peak_mc = 5500;
    survey = survey_field(&field, &setting);
    assert_int_equal(survey_finish(survey)->ended_ms, t0_ms + 59 * MIN + 30 * S);
    assert_int_equal(survey_finish(survey)->sensors[1].hottest_mc, 5500);
    assert_int_equal(survey_finish(survey)->sensors[1].hottest_ms, t0_ms + field.peak_at_ms);
    expect_classes(survey_finish(survey), "-+++++");
    survey_free(survey);
    field.peak_at_ms += S;
    survey = survey_field(&field, &setting);
    assert_int_equal(survey_finish(survey)->sensors[1].hottest_mc, 400);
    expect_classes(survey_finish(survey), "++++++");
    survey_free(survey);
}

/* Above the upper limit before it settled: no class that narrow, though the stretch itself is even. */
static void test_overshoot_counts_before_settling(void **state) {
    struct field field = even_field();
    const struct survey_setting setting = usual_setting(&field);
    struct survey *survey;

    (void)state;
    field.peak_at_ms = 20 * MIN + 10 * S;
    field.peak_mc = 9000;
    survey = survey_field(&field, &setting);
    assert_int_equal(survey_finish(survey)->sensors[1].overshoot_mc, 9000);
    assert_int_equal(survey_finish(survey)->sensors[1].overshoot_ms, t0_ms + field.peak_at_ms);
    assert_int_equal(survey_finish(survey)->sensors[1].hottest_mc, 400);
    expect_classes(survey_finish(survey), "---+++");
    survey_free(survey);
}

/* ---- no proof ---- */

static void expect_reason(const struct field *field, const struct survey_setting *setting,
                          enum survey_reason reason, const char *signs) {
    struct survey *survey = survey_field(field, setting);
    const struct survey_result *result = survey_finish(survey);

    assert_int_equal(result->reason, reason);
    expect_classes(result, signs);
    assert_int_equal(result->tightest, strchr(signs, '+') != NULL ? strchr(signs, '+') - signs + 1 : 0);
    assert_true(survey_reason_text(reason)[0] != '\0' || reason == SURVEY_SOUND);
    survey_free(survey);
}

static void test_silence_is_no_proof(void **state) {
    struct field field = even_field();
    const struct survey_setting setting = usual_setting(&field);

    (void)state;
    field.silent_from_ms = 50 * MIN;
    field.silent_ms = 2 * MIN;
    expect_reason(&field, &setting, SURVEY_SOUND, "++++++");
    field.silent_ms += S;
    expect_reason(&field, &setting, SURVEY_SILENT, "??????");
    field.silence = QUALITY_OPEN_SENSOR;
    expect_reason(&field, &setting, SURVEY_SILENT, "??????");
    field.offsets_mc[2] = 7000; // what is beyond a limit is beyond it, silence or not
    expect_reason(&field, &setting, SURVEY_SILENT, "--????");
    field.silent_from_ms = 69 * MIN; // short before the end, and it ends there
    field.silent_ms = 10 * MIN;
    expect_reason(&field, &setting, SURVEY_SOUND, "--++++");
    field.silent_from_ms = 15 * MIN; // after the start, before settling
    field.silent_ms = 3 * MIN;
    expect_reason(&field, &setting, SURVEY_SILENT, "--????");
    field.silent_from_ms = 5 * MIN; // before the start
    expect_reason(&field, &setting, SURVEY_SOUND, "--++++");
    field.silent_from_ms = -S; // never
    field.silent_ms = 71 * MIN;
    expect_reason(&field, &setting, SURVEY_UNREAD, "??????");
}

static void test_what_else_is_no_proof(void **state) {
    struct field field = even_field();
    struct survey_setting setting = usual_setting(&field);

    (void)state;
    field.length_ms = 59 * MIN + 30 * S; // exactly thirty minutes settled
    setting = usual_setting(&field);
    expect_reason(&field, &setting, SURVEY_SOUND, "++++++");
    setting.to_ms -= S;
    expect_reason(&field, &setting, SURVEY_TOO_SHORT, "??????");
    setting.to_ms = t0_ms + 29 * MIN;
    expect_reason(&field, &setting, SURVEY_UNSETTLED, "??????");
    setting = usual_setting(&field);
    field.start_below_mc = 58 * C; // sensor 3 begins at 55.1 °C below, sensor 2 at 57.6
    expect_reason(&field, &setting, SURVEY_SOUND, "++++++");
    field.start_below_mc = 57 * C;
    expect_reason(&field, &setting, SURVEY_START_UNSEEN, "??????");
    field = even_field();
    setting = usual_setting(&field);
    field.count = 1;
    expect_reason(&field, &setting, SURVEY_TOO_FEW_SENSORS, "??????");
    field.count = 0;
    expect_reason(&field, &setting, SURVEY_TOO_FEW_SENSORS, "??????");
    field = even_field();
    field.offsets_mc[0] = -56 * C; // settled nowhere near the setpoint
    expect_reason(&field, &setting, SURVEY_UNSETTLED, "??????");
}

static void test_guarded(void **state) {
    struct field field = even_field();
    struct survey_setting setting = usual_setting(&field);

    (void)state;
    setting.guarded = true;
    expect_reason(&field, &setting, SURVEY_SOUND, "?+++++"); // 2.9 + 0.9 is beyond 3
    field.uncertainty_mc[2] = 100;
    expect_reason(&field, &setting, SURVEY_SOUND, "++++++"); // 2.9 + 0.1 is just inside
    field.uncertainty_mc[2] = 101;
    expect_reason(&field, &setting, SURVEY_SOUND, "?+++++");
    field.uncertainty_mc[3] = 0;
    expect_reason(&field, &setting, SURVEY_UNSTATED, "??????");
}

static void test_passes_over_what_is_not_its_own(void **state) {
    const struct field field = even_field();
    const struct survey_setting setting = usual_setting(&field);
    struct survey *survey = survey_field(&field, &setting);
    const struct reading strange[] = {
        {t0_ms - 1, 2000 * C, 1, QUALITY_GOOD},
        {setting.to_ms + 1, 2000 * C, 1, QUALITY_GOOD},
        {setting.to_ms, 2000 * C, 99, QUALITY_GOOD},
        {setting.to_ms, 2000 * C, 1, QUALITY_OVER_RANGE},
    };

    (void)state;
    for (size_t i = 0; i < sizeof strange / sizeof strange[0]; i++)
        survey_feed(survey, &strange[i]);
    expect_classes(survey_finish(survey), "++++++");
    survey_free(survey);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published_limits),
        cmocka_unit_test(test_known_field),
        cmocka_unit_test(test_limits_are_no_conversions),
        cmocka_unit_test(test_cycling_field),
        cmocka_unit_test(test_creeping_field),
        cmocka_unit_test(test_seldom_read_is_not_settled),
        cmocka_unit_test(test_stretch_of_stated_length),
        cmocka_unit_test(test_overshoot_counts_before_settling),
        cmocka_unit_test(test_silence_is_no_proof),
        cmocka_unit_test(test_what_else_is_no_proof),
        cmocka_unit_test(test_guarded),
        cmocka_unit_test(test_passes_over_what_is_not_its_own),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
