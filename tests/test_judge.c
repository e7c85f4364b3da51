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

#include "soakledger/judge.h"

enum { MOST_FINDINGS = 512, S = 1000, MIN = 60 * S, HOUR = 60 * MIN };
static const int64_t t0_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z

/* ---- a run to be judged ---- */

struct scene {
    struct plan_operation operations[2];
    struct plan plan;
    struct judge_channel channels[3];
    size_t channel_count;
    struct judge *judge;
    struct finding findings[MOST_FINDINGS];
    size_t finding_count;
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    size_t verdict_count;
};

/* 805 C, band -8 +8, 20 min at least, 40 at most, overshoot 10 C, spread 6 C; 600 C/h between 200 and 700 C. Values
 * of an oil-hardening tool steel, AISI O1: austenitizing 802-816 C from a steel supplier's data sheet (excerpt). */
static void scene_init(struct scene *scene, size_t loads) {
    memset(scene, 0, sizeof *scene);
    scene->operations[0] = (struct plan_operation){.kind = OPERATION_HEAT,
                                                   .name = "warm up",
                                                   .ramp_at_most = {true, 600000},
                                                   .ramp_low_mc = 200000,
                                                   .ramp_high_mc = 700000,
                                                   .ramp_window_ms = 5 * MIN};
    scene->operations[1] = (struct plan_operation){.kind = OPERATION_SOAK,
                                                   .name = "austenitize",
                                                   .temperature_mc = 805000,
                                                   .below_mc = 8000,
                                                   .above_mc = 8000,
                                                   .time_at_least_ms = 20 * MIN,
                                                   .time_at_most = {true, 40 * MIN},
                                                   .overshoot_at_most = {true, 10000},
                                                   .spread_at_most = {loads > 1, 6000}};
    scene->plan = (struct plan){.title = "test",
                                .load = PLAN_LOAD_SENSORS,
                                .operation_count = 2,
                                .operations = scene->operations,
                                .visit_count = 1};
    scene->channels[scene->channel_count++] =
        (struct judge_channel){.channel_id = 1, .name = "control", .role = ROLE_CONTROL, .interval_ms = S};
    for (size_t i = 0; i < loads; i++)
        scene->channels[scene->channel_count++] = (struct judge_channel){
            .channel_id = (int64_t)i + 2, .name = i == 0 ? "front" : "back", .role = ROLE_LOAD, .interval_ms = S};
}

static void keep_finding(void *context, const struct finding *finding) {
    struct scene *scene = context;

    assert_true(scene->finding_count < MOST_FINDINGS);
    scene->findings[scene->finding_count++] = *finding;
}

static void scene_open(struct scene *scene) {
    struct fault fault = {0};

    scene->finding_count = 0;
    scene->judge = judge_open(&scene->plan, 0, scene->channels, scene->channel_count, keep_finding, scene, &fault);
    assert_non_null(scene->judge);
}

static void feed(struct scene *scene, int64_t t_ms, int64_t channel_id, int64_t value_mc) {
    const struct reading reading = {t0_ms + t_ms, value_mc, channel_id, QUALITY_GOOD};

    judge_feed(scene->judge, &reading);
}

static void feed_bad(struct scene *scene, int64_t t_ms, int64_t channel_id, enum quality quality) {
    const struct reading reading = {t0_ms + t_ms, 0, channel_id, quality};

    judge_feed(scene->judge, &reading);
}

static void scene_end(struct scene *scene, int64_t t_ms) {
    judge_end(scene->judge, t0_ms + t_ms);
    scene->verdict_count = judge_verdicts(scene->judge, scene->verdicts);
}

static const struct verdict *verdict_of(const struct scene *scene, enum requirement requirement) {
    for (size_t i = 0; i < scene->verdict_count; i++) {
        if (scene->verdicts[i].requirement == requirement)
            return &scene->verdicts[i];
    }
    fail_msg("no verdict on %s", judge_requirement_name(requirement));
    return NULL;
}

static const struct finding *finding_of(const struct scene *scene, enum finding_kind kind, size_t nth) {
    for (size_t i = 0; i < scene->finding_count; i++) {
        if (scene->findings[i].kind == kind && nth-- == 0)
            return &scene->findings[i];
    }
    return NULL;
}

static size_t count_findings(const struct scene *scene, enum finding_kind kind) {
    size_t count = 0;

    while (finding_of(scene, kind, count) != NULL)
        count++;
    return count;
}

static void expect(const struct scene *scene, enum requirement requirement, enum outcome outcome,
                   enum reason reason) {
    const struct verdict *verdict = verdict_of(scene, requirement);

    if (verdict->outcome != outcome || verdict->reason != reason)
        fail_msg("%s: %s (%s), expected %s (%s)", judge_requirement_name(requirement),
                 judge_outcome_name(verdict->outcome), judge_reason_text(verdict->reason),
                 judge_outcome_name(outcome), judge_reason_text(reason));
}

/* Up from 20 C at 500 C/h to `top`, `hold_ms` there from reaching it, down at 3600 C/h. Straight lines, so that
 * every crossing is known exactly whatever the sampling. */
static const int64_t up_mc_per_h = 500000, down_mc_per_h = 3600000, cold_mc = 20000;

static int64_t up_to(int64_t value_mc) {
    return (value_mc - cold_mc) * HOUR / up_mc_per_h;
}

static int64_t trapezoid(int64_t t_ms, int64_t top_mc, int64_t hold_ms) {
    const int64_t reach_ms = up_to(top_mc);

    if (t_ms < reach_ms)
        return cold_mc + t_ms * up_mc_per_h / HOUR;
    if (t_ms < reach_ms + hold_ms)
        return top_mc;
    return top_mc - (t_ms - reach_ms - hold_ms) * down_mc_per_h / HOUR;
}

/* Feeds one load sampled every interval until it is down at 400 C, leaving out [skip_from, skip_to) as `instead`.
 */
static int64_t feed_trapezoid(struct scene *scene, int64_t top_mc, int64_t hold_ms, int64_t skip_from_ms,
                              int64_t skip_to_ms, enum quality instead) {
    const int64_t interval_ms = scene->channels[1].interval_ms;
    int64_t t_ms = 0;

    for (; t_ms < up_to(top_mc) || trapezoid(t_ms, top_mc, hold_ms) > 400000; t_ms += interval_ms) {
        feed(scene, t_ms, 1, trapezoid(t_ms, top_mc, hold_ms));
        if (t_ms >= skip_from_ms && t_ms < skip_to_ms)
            feed_bad(scene, t_ms, 2, instead);
        else
            feed(scene, t_ms, 2, trapezoid(t_ms, top_mc, hold_ms));
    }
    return t_ms;
}

static void near_ms(int64_t found_ms, int64_t expected_ms, int64_t within_ms) {
    if (llabs(found_ms - expected_ms) > within_ms)
        fail_msg("%lld ms, expected %lld within %lld", (long long)found_ms, (long long)expected_ms,
                 (long long)within_ms);
}

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

/* ---- random runs ---- */

enum { RANDOM_RUNS = 300, RANDOM_END_MS = 30000, RANDOM_MOST = RANDOM_END_MS / 10 + 1 };

struct random_channel {
    int64_t interval_ms, t_ms[RANDOM_MOST], value_mc[RANDOM_MOST];
    bool good[RANDOM_MOST];
    size_t count;
};

/* A wandering value around B with faults: single losses, and longer ones. */
static void make_channel(struct random_channel *channel, unsigned *seed) {
    int64_t value = 780000 + rand_r(seed) % 30000, t = rand_r(seed) % 10;
    int lost = 0;

    channel->interval_ms = 10 * (1 + rand_r(seed) % 20);
    channel->count = 0;
    for (; t < RANDOM_END_MS; t += channel->interval_ms) {
        value += rand_r(seed) % 4001 - 2000 + (797000 - value) / 50;
        if (lost == 0 && rand_r(seed) % 60 == 0)
            lost = 1 + rand_r(seed) % 8;
        channel->t_ms[channel->count] = t;
        channel->value_mc[channel->count] = value;
        channel->good[channel->count++] = lost == 0;
        lost -= lost > 0;
    }
}

/* Where the channel stands at `t`, found anew from all its readings: -1 out, 0 unknown, 1 in. */
static int stands(const struct random_channel *channel, int64_t start_ms, int64_t t, size_t *hint) {
    const int64_t limit_ms = JUDGE_GAP_INTERVALS * channel->interval_ms;
    size_t before = SIZE_MAX, after = SIZE_MAX;

    while (*hint < channel->count && channel->t_ms[*hint] <= t)
        (*hint)++;
    for (size_t i = *hint; i-- > 0 && before == SIZE_MAX;)
        before = channel->good[i] ? i : SIZE_MAX;
    for (size_t i = *hint; i < channel->count && after == SIZE_MAX; i++)
        after = channel->good[i] ? i : SIZE_MAX;
    if (before != SIZE_MAX && channel->t_ms[before] == t)
        return channel->value_mc[before] >= 797000 ? 1 : -1;
    if (after == SIZE_MAX)
        return 0;
    if (before == SIZE_MAX)
        return channel->t_ms[after] - start_ms > limit_ms || channel->value_mc[after] >= 797000 ? 0 : -1;
    if (channel->t_ms[after] - channel->t_ms[before] > limit_ms)
        return 0;
    {
        const double share =
            (double)(t - channel->t_ms[before]) / (double)(channel->t_ms[after] - channel->t_ms[before]);
        const double value = (double)channel->value_mc[before] +
                             share * (double)(channel->value_mc[after] - channel->value_mc[before]);

        return value >= 797000 ? 1 : -1;
    }
}

struct counted {
    int64_t longest_ms, possible_ms, total_ms;
};

static struct counted count_by_the_millisecond(const struct random_channel *channels, size_t count,
                                               int64_t start_ms) {
    struct counted counted = {0};
    int64_t proven = 0, possible = 0;
    size_t hints[3] = {0};

    for (int64_t t = start_ms; t < RANDOM_END_MS; t++) {
        int worst = 1;

        for (size_t i = 0; i < count; i++) {
            const int standing = stands(&channels[i], start_ms, t, &hints[i]);

            worst = standing < worst ? standing : worst;
        }
        proven = worst == 1 ? proven + 1 : 0;
        possible = worst >= 0 ? possible + 1 : 0;
        counted.total_ms += worst == 1;
        counted.longest_ms = proven > counted.longest_ms ? proven : counted.longest_ms;
        counted.possible_ms = possible > counted.possible_ms ? possible : counted.possible_ms;
    }
    return counted;
}

/* Feeds all channels in the judge's order. `shift_ms` moves the whole run; each reading is given `times` times. */
static int64_t feed_random(struct scene *scene, const struct random_channel *channels, size_t count,
                           int64_t shift_ms, int times) {
    size_t next[3] = {0};
    int64_t start_ms = -1;

    for (;;) {
        size_t first = SIZE_MAX;

        for (size_t i = 0; i < count; i++) {
            if (next[i] < channels[i].count &&
                (first == SIZE_MAX || channels[i].t_ms[next[i]] < channels[first].t_ms[next[first]]))
                first = i;
        }
        if (first == SIZE_MAX)
            return start_ms;
        if (start_ms < 0)
            start_ms = channels[first].t_ms[next[first]];
        for (int n = 0; n < times; n++) {
            const int64_t t = channels[first].t_ms[next[first]] + shift_ms;

            if (channels[first].good[next[first]])
                feed(scene, t, (int64_t)first + 2, channels[first].value_mc[next[first]]);
            else
                feed_bad(scene, t, (int64_t)first + 2, QUALITY_NO_REPLY);
        }
        next[first]++;
    }
}

/* The same runs every time, so that a check means the same twice; SOAKLEDGER_SEED gives others. */
static unsigned first_seed(void) {
    const char *given = getenv("SOAKLEDGER_SEED");

    return given != NULL ? (unsigned)strtoul(given, NULL, 10) : 20261116;
}

static void random_scene(struct scene *scene, struct random_channel *channels, size_t *count, unsigned *seed) {
    *count = 1 + (size_t)(rand_r(seed) % 2);
    scene_init(scene, *count);
    scene->operations[1].time_at_least_ms = 100 + rand_r(seed) % 2000;
    scene->operations[1].time_at_most.value = scene->operations[1].time_at_least_ms + rand_r(seed) % 2000;
    for (size_t i = 0; i < *count; i++) {
        make_channel(&channels[i], seed);
        scene->channels[i + 1].interval_ms = channels[i].interval_ms;
    }
    scene_open(scene);
}

static void random_runs_agree_with_a_count_by_the_millisecond(void **state) {
    static struct random_channel channels[3];
    unsigned seed = first_seed();
    int64_t stretches = 0;

    (void)state;
    print_message("seed %u\n", seed);
    for (int run = 0; run < RANDOM_RUNS; run++) {
        struct scene scene;
        struct judge_soak soak;
        struct counted counted;
        size_t count;
        int64_t start_ms;

        random_scene(&scene, channels, &count, &seed);
        start_ms = feed_random(&scene, channels, count, 0, 1);
        scene_end(&scene, RANDOM_END_MS);
        judge_read_soak(scene.judge, &soak);
        counted = count_by_the_millisecond(channels, count, start_ms);
        /* Each end of a stretch is rounded to the millisecond, and neighbours may touch there. */
        near_ms(verdict_of(&scene, REQUIREMENT_SOAK_LEAST)->found, counted.longest_ms, 2);
        near_ms(soak.possible_longest_ms, counted.possible_ms, 3);
        /* A single moment in, between two gaps, is a millisecond to the count and no time at all to the judge. */
        near_ms(soak.total_in_ms, counted.total_ms, 2 * (soak.stretch_count + soak.gap_count + 1));
        stretches += soak.stretch_count;
        judge_free(scene.judge);
    }
    assert_true(stretches > 2 * RANDOM_RUNS); // the runs were not dull
}

static void shifting_and_repeating_change_nothing(void **state) {
    static struct random_channel channels[3];
    static struct scene one, other;
    unsigned seed = first_seed();

    (void)state;
    print_message("seed %u\n", seed);
    for (int run = 0; run < RANDOM_RUNS; run++) {
        const int64_t shift_ms = rand_r(&seed) * INT64_C(1000);
        size_t count;

        random_scene(&one, channels, &count, &seed);
        other = one;
        scene_open(&other);
        feed_random(&one, channels, count, 0, 1);
        scene_end(&one, RANDOM_END_MS);
        feed_random(&other, channels, count, shift_ms, 2);
        scene_end(&other, RANDOM_END_MS + shift_ms);
        assert_int_equal(one.finding_count, other.finding_count);
        for (size_t i = 0; i < one.finding_count; i++) {
            other.findings[i].t_ms -= shift_ms;
            assert_true(judge_findings_equal(&one.findings[i], &other.findings[i]));
        }
        for (size_t i = 0; i < one.verdict_count; i++) {
            assert_int_equal(one.verdicts[i].outcome, other.verdicts[i].outcome);
            assert_int_equal(one.verdicts[i].found, other.verdicts[i].found);
        }
        judge_free(one.judge);
        judge_free(other.judge);
    }
}

/* The same finding of another kind of operation is another sentence: a hold is no soak, and cold is turned over. */
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
        cmocka_unit_test(control_stands_for_the_charge_only_where_the_plan_says_so),
        cmocka_unit_test(a_named_channel_that_is_not_there_proves_nothing),
        cmocka_unit_test(findings_of_a_kind_are_bounded_and_the_rest_is_counted),
        cmocka_unit_test(noise_at_the_edges_makes_no_findings),
        cmocka_unit_test(a_moment_in_the_band_is_still_told),
        cmocka_unit_test(before_the_end_nothing_is_called_failed_that_could_still_be_met),
        cmocka_unit_test(random_runs_agree_with_a_count_by_the_millisecond),
        cmocka_unit_test(shifting_and_repeating_change_nothing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
