// SPDX-License-Identifier: MIT
/* judge: soaks, overshoots, spreads, ramps and gaps whose answers are known in closed form, and a slow, independent
 * count of the same by the millisecond over random runs with faults. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "support/judge_scene.h"

/* ---- soak ---- */

static void a_soak_is_timed_on_the_line_between_readings(void **state) {
    static const int64_t intervals_ms[] = {100, S, 7 * S, 31 * S};

    (void)state;
    for (size_t i = 0; i < sizeof intervals_ms / sizeof *intervals_ms; i++) {
        struct scene scene;
        /* In from B = 797 C up to 805, 25 min there, and down to 797 again. */
        const int64_t rise_ms = 8000 * (int64_t)HOUR / up_mc_per_h, fall_ms = 8000 * (int64_t)HOUR / down_mc_per_h;
        struct judge_soak soak;

        scene_init(&scene, 1);
        scene.channels[1].interval_ms = intervals_ms[i];
        scene_open(&scene);
        scene_end(&scene, feed_trapezoid(&scene, 805000, 25 * MIN, 0, 0, QUALITY_GOOD));
        judge_read_soak(scene.judge, &soak);
        /* The corner at 805 C lies between two readings: the line cuts it by less than an interval's rise. */
        near_ms(soak.first_begun_ms - t0_ms, up_to(797000), 8); // one mC is 7.2 ms of this rise
        near_ms(verdict_of(&scene, REQUIREMENT_SOAK_LEAST)->found, rise_ms + 25 * MIN + fall_ms,
                intervals_ms[i] < 8 * S ? intervals_ms[i] / 2 + 2 : intervals_ms[i]);
        expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_MET, REASON_NONE);
        expect(&scene, REQUIREMENT_SOAK_MOST, OUTCOME_MET, REASON_NONE);
        assert_int_equal(count_findings(&scene, FINDING_SOAK_BEGUN), 1);
        assert_int_equal(count_findings(&scene, FINDING_SOAK_FULFILLED), 1);
        near_ms(finding_of(&scene, FINDING_SOAK_FULFILLED, 0)->t_ms, soak.first_begun_ms + 20 * MIN, 0);
        assert_int_equal(count_findings(&scene, FINDING_SOAK_BROKEN), 1);
        judge_free(scene.judge);
    }
}

static void a_warming_charge_crosses_the_band_when_newton_says(void **state) {
    /* T = Ts - (Ts - T0) exp(-t / tau) reaches B at tau ln((Ts - T0) / (Ts - B)): Newton's law of cooling. */
    const double tau_s = 600, start = 20, end = 806, edge = 797;
    const double expected_s = tau_s * log((end - start) / (end - edge));
    struct scene scene;
    struct judge_soak soak;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    for (int64_t t = 0; t < 3 * HOUR; t += S)
        feed(&scene, t, 2, (int64_t)llround(1000 * (end - (end - start) * exp(-(double)t / S / tau_s))));
    scene_end(&scene, 3 * HOUR);
    judge_read_soak(scene.judge, &soak);
    near_ms(soak.first_begun_ms - t0_ms, (int64_t)llround(expected_s * S), 40); // 0.5 mC of rounding at 15 mC/s
    judge_free(scene.judge);
}

static void the_last_to_come_in_begins_the_soak_and_the_first_to_leave_ends_it(void **state) {
    struct scene scene;
    struct judge_soak soak;

    (void)state;
    scene_init(&scene, 2);
    scene_open(&scene);
    for (int64_t t = 0; t <= 3000 * S; t += S) {
        /* front: in from 500 s to 2500.5 s; back: from 620.5 s to 2300 s; both on straight lines of 2 C/s */
        const int64_t front = 797000 + (t < 1500 * S ? t - 500 * S : 2500500 - t) * 2;
        const int64_t back = 797000 + (t < 1500 * S ? t - 620500 : 2300 * S - t) * 2;

        feed(&scene, t, 2, front > 806000 ? 806000 : front);
        feed(&scene, t, 3, back > 804000 ? 804000 : back);
    }
    scene_end(&scene, 3000 * S);
    judge_read_soak(scene.judge, &soak);
    near_ms(soak.longest_begun_ms - t0_ms, 620500, 1);
    near_ms(soak.longest_ended_ms - t0_ms, 2300 * S, 1);
    assert_int_equal(finding_of(&scene, FINDING_SOAK_BROKEN, 0)->channel_id, 3);
    /* The last reading of the stretch is of its last moment: front 806 C, back 797 C and so still in. */
    assert_int_equal(verdict_of(&scene, REQUIREMENT_SPREAD)->found, 9000);
    assert_int_equal(verdict_of(&scene, REQUIREMENT_SPREAD)->t_ms, t0_ms + 2300 * S);
    expect(&scene, REQUIREMENT_SPREAD, OUTCOME_NOT_MET, REASON_NONE);
    judge_free(scene.judge);
}

static void a_dip_breaks_the_soak_and_both_times_are_kept(void **state) {
    struct scene scene;
    struct judge_soak soak;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    for (int64_t t = 0; t <= 40 * MIN; t += S) {
        const bool dip = t >= 15 * MIN && t < 16 * MIN;

        feed(&scene, t, 2, t < 2 * MIN ? 700000 : dip ? 790000 : t < 33 * MIN ? 805000 : 600000);
    }
    scene_end(&scene, 40 * MIN);
    judge_read_soak(scene.judge, &soak);
    assert_int_equal(soak.breaks, 1);
    near_ms(verdict_of(&scene, REQUIREMENT_SOAK_LEAST)->found, 17 * MIN, S);
    near_ms(soak.total_in_ms, 30 * MIN, 3 * S);
    expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_MET, REASON_NONE);
    assert_int_equal(finding_of(&scene, FINDING_SOAK_RESUMED, 0)->value, 790000);
    judge_free(scene.judge);
}

static void a_charge_that_never_gets_there_is_not_met(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    scene_end(&scene, feed_trapezoid(&scene, 796000, 30 * MIN, 0, 0, QUALITY_GOOD));
    expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_MET, REASON_NOT_REACHED);
    expect(&scene, REQUIREMENT_OVERSHOOT, OUTCOME_NOT_PROVEN, REASON_NOT_REACHED);
    assert_int_equal(verdict_of(&scene, REQUIREMENT_SOAK_LEAST)->found, 0);
    judge_free(scene.judge);
}

static void a_soak_that_outlasts_its_limit_is_not_met(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    scene_end(&scene, feed_trapezoid(&scene, 805000, 41 * MIN, 0, 0, QUALITY_GOOD));
    expect(&scene, REQUIREMENT_SOAK_MOST, OUTCOME_NOT_MET, REASON_NONE);
    assert_int_equal(count_findings(&scene, FINDING_SOAK_EXCEEDED), 1);
    judge_free(scene.judge);
}

/* ---- gaps ---- */

static void a_missed_reading_or_three_are_no_gap(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    /* Two readings lost: three intervals from good to good, not more. */
    scene_end(&scene, feed_trapezoid(&scene, 805000, 25 * MIN, 6000 * S, 6002 * S, QUALITY_NO_REPLY));
    assert_int_equal(count_findings(&scene, FINDING_GAP_BEGUN), 0);
    expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_MET, REASON_NONE);
    expect(&scene, REQUIREMENT_OVERSHOOT, OUTCOME_MET, REASON_NONE);
    judge_free(scene.judge);
}

static void a_gap_in_the_soak_is_not_proven_and_not_failed(void **state) {
    struct scene scene;
    const int64_t hole_ms = up_to(805000) + 8 * MIN;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    scene_end(&scene, feed_trapezoid(&scene, 805000, 25 * MIN, hole_ms, hole_ms + MIN, QUALITY_NO_REPLY));
    expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_PROVEN, REASON_GAP);
    expect(&scene, REQUIREMENT_OVERSHOOT, OUTCOME_NOT_PROVEN, REASON_GAP);
    assert_int_equal(count_findings(&scene, FINDING_GAP_BEGUN), 1);
    assert_int_equal(finding_of(&scene, FINDING_GAP_BEGUN, 0)->value, QUALITY_NO_REPLY);
    near_ms(finding_of(&scene, FINDING_GAP_ENDED, 0)->value, MIN, 2 * S);
    assert_int_equal(count_findings(&scene, FINDING_SOAK_BROKEN), 1); // only the end
    judge_free(scene.judge);
}

static void a_gap_that_changes_nothing_spoils_nothing(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene.channels[1].heats_at_most_mc_per_h = 600000; // so slow an oven cannot pass the limit in half a minute
    scene_open(&scene);
    scene_end(&scene, feed_trapezoid(&scene, 805000, 35 * MIN, up_to(805000) + 30 * MIN,
                                     up_to(805000) + 30 * MIN + 30 * S, QUALITY_BAD_FRAME));
    expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_MET, REASON_NONE); // 20 min were proven before
    expect(&scene, REQUIREMENT_OVERSHOOT, OUTCOME_MET, REASON_NONE);
    expect(&scene, REQUIREMENT_SOAK_MOST, OUTCOME_MET, REASON_NONE);
    judge_free(scene.judge);
}

static void a_cold_gap_cannot_hide_a_soak_that_the_oven_could_not_reach(void **state) {
    for (int bounded = 0; bounded < 2; bounded++) {
        struct scene scene;

        scene_init(&scene, 1);
        scene.channels[1].heats_at_most_mc_per_h = bounded ? 600000 : 0;
        scene_open(&scene);
        /* Half an hour is lost at 300 C: at 600 C/h it could have been 600 C at most. Then a soak too short. */
        scene_end(&scene, feed_trapezoid(&scene, 805000, 10 * MIN, up_to(300000), up_to(300000) + 30 * MIN,
                                         QUALITY_NO_REPLY));
        if (bounded)
            expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_MET, REASON_NONE);
        else
            expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_PROVEN, REASON_GAP);
        judge_free(scene.judge);
    }
    (void)state;
}

static void a_sensor_that_opens_for_good_is_not_proven(void **state) {
    struct scene scene;
    const int64_t open_ms = up_to(805000) + 6 * MIN;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    scene_end(&scene, feed_trapezoid(&scene, 805000, 25 * MIN, open_ms, INT64_MAX, QUALITY_OPEN_SENSOR));
    expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_PROVEN, REASON_GAP);
    expect(&scene, REQUIREMENT_OVERSHOOT, OUTCOME_NOT_PROVEN, REASON_GAP);
    assert_int_equal(finding_of(&scene, FINDING_GAP_BEGUN, 0)->value, QUALITY_OPEN_SENSOR);
    judge_free(scene.judge);
}

static void a_sensor_never_read_proves_nothing(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    for (int64_t t = 0; t < HOUR; t += S) {
        feed(&scene, t, 1, 805000);
        feed_bad(&scene, t, 2, QUALITY_OPEN_SENSOR);
    }
    scene_end(&scene, HOUR);
    for (size_t i = 0; i < scene.verdict_count; i++)
        assert_int_equal(scene.verdicts[i].outcome, OUTCOME_NOT_PROVEN);
    expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_PROVEN, REASON_GAP);
    judge_free(scene.judge);
}

/* ---- which channels ---- */

static void control_stands_for_the_charge_only_where_the_plan_says_so(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 0); // no load sensor in this oven
    scene_open(&scene);
    for (int64_t t = 0; t < 30 * MIN; t += S)
        feed(&scene, t, 1, t < MIN ? 700000 : t < 25 * MIN ? 805000 : 600000);
    scene_end(&scene, 30 * MIN);
    expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_PROVEN, REASON_NO_LOAD);
    judge_free(scene.judge);

    scene.plan.load = PLAN_LOAD_CONTROL;
    for (int allowed = 0; allowed < 2; allowed++) { // 24 min at temperature are 14 for the charge if it lags by 10
        scene.plan.lag_allowance_ms = allowed ? 0 : 10 * MIN;
        scene_open(&scene);
        for (int64_t t = 0; t < 30 * MIN; t += S)
            feed(&scene, t, 1, t < MIN ? 700000 : t < 25 * MIN ? 805000 : 600000);
        scene_end(&scene, 30 * MIN);
        expect(&scene, REQUIREMENT_SOAK_LEAST, allowed ? OUTCOME_MET : OUTCOME_NOT_MET, REASON_NONE);
        judge_free(scene.judge);
    }
}

static void a_named_channel_that_is_not_there_proves_nothing(void **state) {
    static const char *const names[] = {"front", "middle"};
    struct scene scene;

    (void)state;
    scene_init(&scene, 2);
    scene.plan.load = PLAN_LOAD_NAMED;
    scene.plan.load_names = names;
    scene.plan.load_count = 2;
    scene_open(&scene);
    scene_end(&scene, feed_trapezoid(&scene, 805000, 25 * MIN, 0, 0, QUALITY_GOOD));
    expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_PROVEN, REASON_NO_LOAD);
    judge_free(scene.judge);
}

/* ---- bounds and standing ---- */

static void findings_of_a_kind_are_bounded_and_the_rest_is_counted(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    for (int64_t t = 0; t < 5 * HOUR; t += S)
        feed(&scene, t, 2, t % (2 * MIN) < 20 * S ? 790000 : 798000); // in for 100 s, out for 20
    scene_end(&scene, 5 * HOUR);
    assert_int_equal(count_findings(&scene, FINDING_SOAK_BROKEN), JUDGE_MOST_FINDINGS_OF_A_KIND);
    assert_int_equal(finding_of(&scene, FINDING_MORE, 0)->limit, FINDING_SOAK_BROKEN);
    assert_int_equal(finding_of(&scene, FINDING_MORE, 0)->value, 5 * 30 - 1 - JUDGE_MOST_FINDINGS_OF_A_KIND);
    judge_free(scene.judge);
}

static void noise_at_the_edges_makes_no_findings(void **state) {
    struct scene scene;
    unsigned seed = 7;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    /* 0.6 C a minute through B and through the overshoot limit, with +-0.5 C of noise: dozens of crossings. */
    for (int64_t t = 0; t < 90 * MIN; t += S) {
        const int64_t slow = t < 40 * MIN ? 792000 + t / 100 : 816000 - (t - 40 * MIN) / 100;

        feed(&scene, t, 2, slow + rand_r(&seed) % 1001 - 500);
    }
    scene_end(&scene, 90 * MIN);
    assert_int_equal(count_findings(&scene, FINDING_SOAK_BEGUN), 1);
    assert_int_equal(count_findings(&scene, FINDING_SOAK_BROKEN), 1);
    assert_int_equal(count_findings(&scene, FINDING_SOAK_RESUMED), 0);
    assert_int_equal(count_findings(&scene, FINDING_OVERSHOOT), 1);
    assert_int_equal(count_findings(&scene, FINDING_OVERSHOOT_PEAK), 1);
    judge_free(scene.judge);
}

static void a_moment_in_the_band_is_still_told(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    for (int64_t t = 0; t < 10 * MIN; t += S)
        feed(&scene, t, 2, t == 5 * MIN ? 797500 : 790000);
    scene_end(&scene, 10 * MIN);
    assert_int_equal(count_findings(&scene, FINDING_SOAK_BEGUN), 1);
    assert_int_equal(count_findings(&scene, FINDING_SOAK_BROKEN), 1);
    expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_MET, REASON_NONE);
    judge_free(scene.judge);
}

static void before_the_end_nothing_is_called_failed_that_could_still_be_met(void **state) {
    struct scene scene;

    (void)state;
    scene_init(&scene, 1);
    scene_open(&scene);
    for (int64_t t = 0; t < 10 * MIN; t += S)
        feed(&scene, t, 2, t < MIN ? 700000 : 805000);
    scene.verdict_count = judge_verdicts(scene.judge, scene.verdicts);
    expect(&scene, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_PROVEN, REASON_RUN_OPEN);
    expect(&scene, REQUIREMENT_OVERSHOOT, OUTCOME_NOT_PROVEN, REASON_RUN_OPEN);
    near_ms(verdict_of(&scene, REQUIREMENT_SOAK_LEAST)->found, 9 * MIN, S);
    feed(&scene, 10 * MIN, 2, 816000);
    scene.verdict_count = judge_verdicts(scene.judge, scene.verdicts);
    expect(&scene, REQUIREMENT_OVERSHOOT, OUTCOME_NOT_MET, REASON_NONE); // nothing can mend that
    judge_free(scene.judge);
}

static void findings_name_what_they_are_about(void **state) {
    static const struct {
        enum operation_kind kind;
        enum finding_kind finding;
        int64_t value, limit;
        const char *says;
    } CASES[] = {
        {OPERATION_SOAK, FINDING_SOAK_BEGUN, 956000, 0, "the soak began: all load channels at or above 956.0 °C"},
        {OPERATION_COLD, FINDING_SOAK_BEGUN, -70000, 0,
         "the cold hold began: all load channels at or below -70.0 °C"},
        {OPERATION_HOLD, FINDING_SOAK_FULFILLED, 10 * MIN, 10 * MIN, "the required hold of 10 min is complete"},
        {OPERATION_TEMPER, FINDING_SOAK_BROKEN, 130 * MIN, 120 * MIN,
         "the temper ended: part left the band after 2 h 10 min (required: 2 h)"},
        {OPERATION_SOAK, FINDING_SOAK_BROKEN, 5 * MIN, 10 * MIN,
         "part left the band; proven soak until then: 5 min (required: 10 min)"},
        {OPERATION_COLD, FINDING_SOAK_BROKEN, 5 * MIN, 10 * MIN,
         "part was no longer cold enough; proven cold hold until then: 5 min (required: 10 min)"},
        {OPERATION_COLD, FINDING_SOAK_RESUMED, -60000, -70000,
         "all load channels are cold enough again; the highest reading meanwhile was -60.0 °C"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0]; i++) {
        const struct finding finding = {.kind = CASES[i].finding, .value = CASES[i].value, .limit = CASES[i].limit};
        char words[160];

        judge_describe_finding(&finding, CASES[i].kind, "part", UNIT_CELSIUS, words, sizeof words);
        assert_string_equal(words, CASES[i].says);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_soak_is_timed_on_the_line_between_readings),
        cmocka_unit_test(a_warming_charge_crosses_the_band_when_newton_says),
        cmocka_unit_test(the_last_to_come_in_begins_the_soak_and_the_first_to_leave_ends_it),
        cmocka_unit_test(a_dip_breaks_the_soak_and_both_times_are_kept),
        cmocka_unit_test(a_charge_that_never_gets_there_is_not_met),
        cmocka_unit_test(a_soak_that_outlasts_its_limit_is_not_met),
        cmocka_unit_test(a_missed_reading_or_three_are_no_gap),
        cmocka_unit_test(a_gap_in_the_soak_is_not_proven_and_not_failed),
        cmocka_unit_test(a_gap_that_changes_nothing_spoils_nothing),
        cmocka_unit_test(a_cold_gap_cannot_hide_a_soak_that_the_oven_could_not_reach),
        cmocka_unit_test(a_sensor_that_opens_for_good_is_not_proven),
        cmocka_unit_test(a_sensor_never_read_proves_nothing),
        cmocka_unit_test(findings_name_what_they_are_about),
        cmocka_unit_test(control_stands_for_the_charge_only_where_the_plan_says_so),
        cmocka_unit_test(a_named_channel_that_is_not_there_proves_nothing),
        cmocka_unit_test(findings_of_a_kind_are_bounded_and_the_rest_is_counted),
        cmocka_unit_test(noise_at_the_edges_makes_no_findings),
        cmocka_unit_test(a_moment_in_the_band_is_still_told),
        cmocka_unit_test(before_the_end_nothing_is_called_failed_that_could_still_be_met),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
