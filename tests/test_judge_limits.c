// SPDX-License-Identifier: MIT
/* judge: overshoot, spread and ramp, whose answers are known in closed form. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/judge_scene.h"

/* ---- overshoot, spread, ramp ---- */

static void an_overshoot_is_the_peak_over_the_soak_temperature(void **state) {
    struct scene scene;
    const int64_t middle_ms = 10 * MIN;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    for (int64_t t = 0; t < 30 * MIN; t += S) // a tent: 790 C up to 821.4 C and down again
        feed(&scene, t, 2, t == 0 ? 700000 : 821400 - llabs(t - middle_ms) * 31400 / (int64_t)middle_ms);
    scene_end(&scene, 30 * MIN);
    expect(&scene, REQUIREMENT_OVERSHOOT, OUTCOME_NOT_MET, REASON_NONE);
    assert_int_equal(verdict_of(&scene, REQUIREMENT_OVERSHOOT)->found, 16400);
    assert_int_equal(verdict_of(&scene, REQUIREMENT_OVERSHOOT)->margin, -6400);
    assert_int_equal(verdict_of(&scene, REQUIREMENT_OVERSHOOT)->t_ms, t0_ms + middle_ms);
    assert_int_equal(count_findings(&scene, FINDING_OVERSHOOT), 1);
    assert_int_equal(finding_of(&scene, FINDING_OVERSHOOT_PEAK, 0)->value, 821400);
    judge_free(scene.judge);
}

static void heat_before_the_band_or_exactly_at_the_limit_is_no_overshoot(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    for (int64_t t = 0; t < 30 * MIN; t += S)
        feed(&scene, t, 2, t < MIN ? 700000 : t == 5 * MIN ? 815000 : 805000);
    scene_end(&scene, 30 * MIN);
    expect(&scene, REQUIREMENT_OVERSHOOT, OUTCOME_MET, REASON_NONE);
    assert_int_equal(verdict_of(&scene, REQUIREMENT_OVERSHOOT)->margin, 0);
    judge_free(scene.judge);
}

static void spread_is_taken_at_the_slower_channels_pace(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 2);
    scene.channels[2].interval_ms = 10 * S;
    scene_open(&scene);
    for (int64_t t = 0; t < 30 * MIN; t += S) {
        /* A second's jump to 812 C of the fast channel falls between two readings of the slow one. */
        feed(&scene, t, 2, t < MIN ? 700000 : t == 600 * S + 5 * S ? 812000 : 806000);
        if (t % (10 * S) == 0)
            feed(&scene, t, 3, t < MIN ? 700000 : 801500);
    }
    scene_end(&scene, 30 * MIN);
    expect(&scene, REQUIREMENT_SPREAD, OUTCOME_MET, REASON_NONE);
    assert_int_equal(verdict_of(&scene, REQUIREMENT_SPREAD)->found, 4500);
    judge_free(scene.judge);
}

static void one_sensor_has_no_spread(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene.operations[1].spread_at_most = (struct plan_limit){true, 6000};
    scene_open(&scene);
    scene_end(&scene, feed_trapezoid(&scene, 805000, 25 * MIN, 0, 0, QUALITY_GOOD));
    expect(&scene, REQUIREMENT_SPREAD, OUTCOME_NOT_PROVEN, REASON_ONE_SENSOR);
    judge_free(scene.judge);
}

static void a_straight_rise_has_its_own_slope(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    scene_end(&scene, feed_trapezoid(&scene, 805000, 25 * MIN, 0, 0, QUALITY_GOOD));
    expect(&scene, REQUIREMENT_RAMP, OUTCOME_MET, REASON_NONE);
    near_ms(verdict_of(&scene, REQUIREMENT_RAMP)->found, up_mc_per_h, 30); // whole mC: 138.9 mC a second
    judge_free(scene.judge);
}

/* NIST/SEMATECH StRD "Norris" has certified slope 1.00211681802045; that data is not in order of time, so its
 * slope is checked where lines are fitted to unordered data. Here the points are ours: y = 3t + noise of zero
 * covariance with t, whose least-squares slope is exactly 3. */
static void noise_that_leans_no_way_does_not_tilt_the_slope(void **state) {
    static const int64_t noise[] = {400, -900, 500, 0, 500, -900, 400}; // symmetric and of zero sum
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene.channels[1].interval_ms = MIN;
    scene.operations[0].ramp_window_ms = 6 * MIN;
    scene_open(&scene);
    feed(&scene, 0, 2, 100000);
    for (int64_t i = 0; i < 7; i++)
        feed(&scene, (i + 1) * MIN, 2, 300000 + 3000 * i + noise[i]);
    scene_end(&scene, 8 * MIN);
    assert_int_equal(verdict_of(&scene, REQUIREMENT_RAMP)->found, 3000 * 60);
    judge_free(scene.judge);
}

static void a_rise_too_quick_for_a_window_is_still_caught(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    for (int64_t t = 0; t < 4 * MIN; t += S) // 200 to 700 C in 100 s
        feed(&scene, t, 2, 100000 + 5 * t > 805000 ? 805000 : 100000 + 5 * t);
    scene_end(&scene, 4 * MIN);
    expect(&scene, REQUIREMENT_RAMP, OUTCOME_NOT_MET, REASON_NONE);
    near_ms(verdict_of(&scene, REQUIREMENT_RAMP)->found, 18000000, 10);
    assert_int_equal(count_findings(&scene, FINDING_RAMP), 1);
    judge_free(scene.judge);
}

static void a_gap_in_the_rise_is_not_proven(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    scene_end(&scene,
              feed_trapezoid(&scene, 805000, 25 * MIN, up_to(400000), up_to(400000) + 20 * S, QUALITY_NO_REPLY));
    expect(&scene, REQUIREMENT_RAMP, OUTCOME_NOT_PROVEN, REASON_GAP);
    judge_free(scene.judge);
}

static void a_gap_below_the_band_can_hide_an_overshoot(void **state) {
    (void)state;
    for (int bounded = 0; bounded < 2; bounded++) {
        struct scene scene;

        scene_init(&scene, 1);
        scene.channels[1].heats_at_most_mc_per_h = bounded ? 600000 : 0; // 10 C in the minute that is lost
        scene_open(&scene);
        /* In for 25 min and then out, at 790 C; what the last minute brought, nobody knows. */
        for (int64_t t = 0; t < 30 * MIN; t += S)
            feed(&scene, t, 2, t < 4 * MIN ? 700000 : t < 29 * MIN ? 805000 : 790000);
        scene_end(&scene, 31 * MIN);
        expect(&scene, REQUIREMENT_OVERSHOOT, bounded ? OUTCOME_MET : OUTCOME_NOT_PROVEN,
               bounded ? REASON_NONE : REASON_GAP);
        judge_free(scene.judge);
    }
}

static void a_channel_read_after_another_has_no_gap_for_that(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene.operations[0].ramp_low_mc = cold_mc;
    scene_open(&scene);
    feed(&scene, -3 * S, 1, cold_mc); // three of its intervals before the first of the charge
    scene_end(&scene, feed_trapezoid(&scene, 805000, 25 * MIN, 0, 0, QUALITY_GOOD));
    expect(&scene, REQUIREMENT_RAMP, OUTCOME_MET, REASON_NONE);
    judge_free(scene.judge);

    scene_open(&scene);
    feed(&scene, -4 * S, 1, cold_mc);
    scene_end(&scene, feed_trapezoid(&scene, 805000, 25 * MIN, 0, 0, QUALITY_GOOD));
    expect(&scene, REQUIREMENT_RAMP, OUTCOME_NOT_PROVEN, REASON_GAP);
    judge_free(scene.judge);
}

static void a_rise_that_ends_in_a_gap_is_not_proven(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    /* Through the temperatures at 2 C/min, out above them, back to 600 C, and then nothing more. */
    for (int64_t t = 0; t <= 260 * MIN; t += S)
        feed(&scene, t, 2, t < 258 * MIN ? 190000 + t / 30 : 600000);
    scene_end(&scene, 270 * MIN);
    expect(&scene, REQUIREMENT_RAMP, OUTCOME_NOT_PROVEN, REASON_GAP);
    judge_free(scene.judge);
}

static void one_window_with_too_few_readings_is_enough_to_prove_nothing(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene.channels[1].interval_ms = MIN;
    scene_open(&scene);
    /* 6 C a minute: six readings a window. Two lost ones in a row are no gap, but leave four. */
    for (int64_t i = 0; i < 130; i++) {
        if (i != 50 && i != 51)
            feed(&scene, i * MIN, 2, 100000 + 6000 * i);
    }
    scene_end(&scene, 130 * MIN);
    assert_int_equal(count_findings(&scene, FINDING_GAP_BEGUN), 0);
    expect(&scene, REQUIREMENT_RAMP, OUTCOME_NOT_PROVEN, REASON_TOO_FEW);
    judge_free(scene.judge);
}

static void the_last_reading_before_a_gap_counts_for_the_spread(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 2);
    scene_open(&scene);
    for (int64_t t = 0; t <= 25 * MIN; t += S) {
        feed(&scene, t, 2, t < MIN ? 700000 : t == 25 * MIN ? 809000 : 803000);
        feed(&scene, t, 3, t < MIN ? 700000 : 801500);
    }
    scene_end(&scene, 26 * MIN);
    assert_int_equal(verdict_of(&scene, REQUIREMENT_SPREAD)->found, 7500);
    assert_int_equal(verdict_of(&scene, REQUIREMENT_SPREAD)->t_ms, t0_ms + 25 * MIN);
    judge_free(scene.judge);
}

static void nothing_is_proven_before_the_first_reading(void **state) {
    struct scene scene;
    struct judge_soak soak;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    feed(&scene, -2 * S, 1, 805000);
    for (int64_t t = 0; t <= 25 * MIN; t += S)
        feed(&scene, t, 2, 805000);
    scene_end(&scene, 25 * MIN);
    judge_read_soak(scene.judge, &soak);
    assert_int_equal(soak.first_begun_ms, t0_ms);
    assert_int_equal(verdict_of(&scene, REQUIREMENT_SOAK_LEAST)->found, 25 * MIN);
    assert_int_equal(soak.possible_longest_ms, 25 * MIN + 2 * S);
    judge_free(scene.judge);
}

static void in_for_a_single_moment_is_no_stretch(void **state) {
    for (size_t late = 0; late < 2; late++) { // whichever channel is read first
        struct scene scene;
        struct judge_soak soak;

        scene_init(&scene, 2);
        scene_open(&scene);
        for (int64_t t = 0; t <= 10 * MIN; t += S) {
            feed(&scene, t, late ? 3 : 2, t == 5 * MIN ? 797000 : 790000);
            feed(&scene, t, late ? 2 : 3, 800000);
        }
        scene_end(&scene, 10 * MIN);
        judge_read_soak(scene.judge, &soak);
        assert_int_equal(soak.stretch_count, 0);
        assert_int_equal(soak.first_begun_ms, 0);
        assert_int_equal(soak.last_ended_ms, 0);
        judge_free(scene.judge);
    }
    (void)state;
}

static void a_spread_is_not_called_failed_before_the_longest_stretch_is_known(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 2);
    scene_open(&scene);
    for (int64_t t = 0; t <= 30 * MIN; t += S) { // 5 min with 9 C of spread, then 24 with 2
        feed(&scene, t, 2, t == 5 * MIN ? 790000 : t < 5 * MIN ? 810000 : 803000);
        feed(&scene, t, 3, 801000);
        if (t == 4 * MIN) {
            scene.verdict_count = judge_verdicts(scene.judge, scene.verdicts);
            expect(&scene, REQUIREMENT_SPREAD, OUTCOME_NOT_PROVEN, REASON_RUN_OPEN);
            assert_int_equal(verdict_of(&scene, REQUIREMENT_SPREAD)->found, 9000);
            assert_int_equal(count_findings(&scene, FINDING_SPREAD), 1);
        }
    }
    scene_end(&scene, 30 * MIN);
    expect(&scene, REQUIREMENT_SPREAD, OUTCOME_MET, REASON_NONE);
    judge_free(scene.judge);
}

static void a_rise_is_not_called_kept_before_the_charge_is_in_the_band(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    for (int64_t t = 0; t <= 90 * MIN; t += S) // through the temperatures at 500 C/h
        feed(&scene, t, 2, trapezoid(t, 805000, HOUR));
    scene.verdict_count = judge_verdicts(scene.judge, scene.verdicts);
    expect(&scene, REQUIREMENT_RAMP, OUTCOME_NOT_PROVEN, REASON_RUN_OPEN); // at 770 C
    for (int64_t t = 0; t < 10 * MIN; t += S) // a door is opened, and 1200 C/h after it
        feed(&scene, 91 * MIN + t, 2, 500000 + t / 3);
    scene_end(&scene, 101 * MIN);
    expect(&scene, REQUIREMENT_RAMP, OUTCOME_NOT_MET, REASON_NONE);
    judge_free(scene.judge);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_overshoot_is_the_peak_over_the_soak_temperature),
        cmocka_unit_test(heat_before_the_band_or_exactly_at_the_limit_is_no_overshoot),
        cmocka_unit_test(spread_is_taken_at_the_slower_channels_pace),
        cmocka_unit_test(one_sensor_has_no_spread),
        cmocka_unit_test(a_straight_rise_has_its_own_slope),
        cmocka_unit_test(noise_that_leans_no_way_does_not_tilt_the_slope),
        cmocka_unit_test(a_rise_too_quick_for_a_window_is_still_caught),
        cmocka_unit_test(a_gap_in_the_rise_is_not_proven),
        cmocka_unit_test(a_gap_below_the_band_can_hide_an_overshoot),
        cmocka_unit_test(a_channel_read_after_another_has_no_gap_for_that),
        cmocka_unit_test(a_rise_that_ends_in_a_gap_is_not_proven),
        cmocka_unit_test(one_window_with_too_few_readings_is_enough_to_prove_nothing),
        cmocka_unit_test(the_last_reading_before_a_gap_counts_for_the_spread),
        cmocka_unit_test(nothing_is_proven_before_the_first_reading),
        cmocka_unit_test(in_for_a_single_moment_is_no_stretch),
        cmocka_unit_test(a_spread_is_not_called_failed_before_the_longest_stretch_is_known),
        cmocka_unit_test(a_rise_is_not_called_kept_before_the_charge_is_in_the_band),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
