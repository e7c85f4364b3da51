// SPDX-License-Identifier: MIT
/* judge_scene: one run to be judged against one soak, for the tests of the judge. Include after cmocka.h. */
#ifndef SOAKLEDGER_TESTS_JUDGE_SCENE_H
#define SOAKLEDGER_TESTS_JUDGE_SCENE_H

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

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
static inline void scene_init(struct scene *scene, size_t loads) {
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

static inline void keep_finding(void *context, const struct finding *finding) {
    struct scene *scene = context;

    assert_true(scene->finding_count < MOST_FINDINGS);
    scene->findings[scene->finding_count++] = *finding;
}

static inline void scene_open(struct scene *scene) {
    struct fault fault = {0};

    scene->finding_count = 0;
    scene->judge = judge_open(&scene->plan, 0, scene->channels, scene->channel_count, keep_finding, scene, &fault);
    assert_non_null(scene->judge);
}

static inline void feed(struct scene *scene, int64_t t_ms, int64_t channel_id, int64_t value_mc) {
    const struct reading reading = {t0_ms + t_ms, value_mc, channel_id, QUALITY_GOOD};

    judge_feed(scene->judge, &reading);
}

static inline void feed_bad(struct scene *scene, int64_t t_ms, int64_t channel_id, enum quality quality) {
    const struct reading reading = {t0_ms + t_ms, 0, channel_id, quality};

    judge_feed(scene->judge, &reading);
}

static inline void scene_end(struct scene *scene, int64_t t_ms) {
    judge_end(scene->judge, t0_ms + t_ms);
    scene->verdict_count = judge_verdicts(scene->judge, scene->verdicts);
}

static inline const struct verdict *verdict_of(const struct scene *scene, enum requirement requirement) {
    for (size_t i = 0; i < scene->verdict_count; i++) {
        if (scene->verdicts[i].requirement == requirement)
            return &scene->verdicts[i];
    }
    fail_msg("no verdict on %s", judge_requirement_name(requirement));
    return NULL;
}

static inline const struct finding *finding_of(const struct scene *scene, enum finding_kind kind, size_t nth) {
    for (size_t i = 0; i < scene->finding_count; i++) {
        if (scene->findings[i].kind == kind && nth-- == 0)
            return &scene->findings[i];
    }
    return NULL;
}

static inline size_t count_findings(const struct scene *scene, enum finding_kind kind) {
    size_t count = 0;

    while (finding_of(scene, kind, count) != NULL)
        count++;
    return count;
}

static inline void expect(const struct scene *scene, enum requirement requirement, enum outcome outcome,
                          enum reason reason) {
    const struct verdict *verdict = verdict_of(scene, requirement);

    if (verdict->outcome != outcome || verdict->reason != reason)
        fail_msg("%s: %s (%s), expected %s (%s)", judge_requirement_name(requirement),
                 judge_outcome_name(verdict->outcome), judge_reason_text(verdict->reason),
                 judge_outcome_name(outcome), judge_reason_text(reason));
}

static inline void near_ms(int64_t found_ms, int64_t expected_ms, int64_t within_ms) {
    if (llabs(found_ms - expected_ms) > within_ms)
        fail_msg("%lld ms, expected %lld within %lld", (long long)found_ms, (long long)expected_ms,
                 (long long)within_ms);
}

/* Up from 20 C at 500 C/h to `top`, `hold_ms` there from reaching it, down at 3600 C/h. Straight lines, so that
 * every crossing is known exactly whatever the sampling. */
static const int64_t up_mc_per_h = 500000, down_mc_per_h = 3600000, cold_mc = 20000;

static inline int64_t up_to(int64_t value_mc) {
    return (value_mc - cold_mc) * HOUR / up_mc_per_h;
}

static inline int64_t trapezoid(int64_t t_ms, int64_t top_mc, int64_t hold_ms) {
    const int64_t reach_ms = up_to(top_mc);

    if (t_ms < reach_ms)
        return cold_mc + t_ms * up_mc_per_h / HOUR;
    if (t_ms < reach_ms + hold_ms)
        return top_mc;
    return top_mc - (t_ms - reach_ms - hold_ms) * down_mc_per_h / HOUR;
}

/* Feeds one load sampled every interval until it is down at 400 C, leaving out [skip_from, skip_to) as `instead`.
 */
static inline int64_t feed_trapezoid(struct scene *scene, int64_t top_mc, int64_t hold_ms, int64_t skip_from_ms,
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

#endif
