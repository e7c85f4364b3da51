// SPDX-License-Identifier: MIT
/* How steeply the charge warmed: least-squares slopes over a sliding window, one heat operation at a time.
 *
 * The slope of v over t is (n*Stv - St*Sv) / (n*Stt - St*St), the textbook normal equations of a straight line.
 * Times count from the first point since the window was last empty, and all sums are whole numbers, so that the
 * same readings shifted in time give the same slope to the last bit. */
#include <stdlib.h>

#include "judge_private.h"

enum { POINTS_SPARE = 8 };

int heat_open(struct judge *judge, struct heat *heat, size_t operation_index) {
    heat->operation = &judge->plan->operations[operation_index];
    heat->index = operation_index;
    heat->ramps = calloc(judge->load_count + 1, sizeof *heat->ramps);
    if (heat->ramps == NULL)
        return -1;
    for (size_t i = 0; i < judge->load_count; i++) {
        struct ramp *ramp = &heat->ramps[i];

        ramp->most = (size_t)(heat->operation->ramp_window_ms / judge->loads[i].channel.interval_ms) + POINTS_SPARE;
        ramp->points = calloc(ramp->most, sizeof *ramp->points);
        if (ramp->points == NULL)
            return -1;
    }
    return 0;
}

void heat_free(struct judge *judge, struct heat *heat) {
    if (heat->ramps == NULL)
        return;
    for (size_t i = 0; i < judge->load_count; i++)
        free(heat->ramps[i].points);
    free(heat->ramps);
}

static void clear_window(struct ramp *ramp) {
    ramp->first = ramp->count = 0;
    ramp->sum_t = ramp->sum_v = 0;
    ramp->sum_tt = ramp->sum_tv = 0;
}

static void add_sums(struct ramp *ramp, const struct ramp_point *point, int sign) {
    const int64_t t = point->t_ms - ramp->origin_ms;

    ramp->sum_t += sign * t;
    ramp->sum_v += sign * point->value_mc;
    ramp->sum_tt += (judge_wide)sign * t * t;
    ramp->sum_tv += (judge_wide)sign * t * point->value_mc;
}

static void drop_oldest(struct ramp *ramp) {
    add_sums(ramp, &ramp->points[ramp->first], -1);
    ramp->first = (ramp->first + 1) % ramp->most;
    ramp->count--;
}

static const struct ramp_point *point_at(const struct ramp *ramp, size_t index) {
    return &ramp->points[(ramp->first + index) % ramp->most];
}

static void add_point(struct ramp *ramp, const struct reading *reading, int64_t window_ms) {
    if (ramp->count == ramp->most)
        drop_oldest(ramp);
    if (ramp->count == 0) {
        clear_window(ramp);
        ramp->origin_ms = reading->t_ms;
    }
    ramp->points[(ramp->first + ramp->count) % ramp->most] =
        (struct ramp_point){.t_ms = reading->t_ms, .value_mc = reading->value};
    add_sums(ramp, point_at(ramp, ramp->count++), 1);
    while (ramp->count > 1 && point_at(ramp, 1)->t_ms <= reading->t_ms - window_ms)
        drop_oldest(ramp);
}

/* The slope over the window, if it can be taken. */
static bool take_slope(const struct ramp *ramp, int64_t *slope_mc_per_h) {
    const judge_wide n = (judge_wide)ramp->count;
    const judge_wide below = n * ramp->sum_tt - (judge_wide)ramp->sum_t * ramp->sum_t;

    if (ramp->count < JUDGE_LEAST_READINGS || below <= 0)
        return false;
    *slope_mc_per_h = (int64_t)((double)(n * ramp->sum_tv - (judge_wide)ramp->sum_t * ramp->sum_v) / (double)below *
                                JUDGE_MS_PER_HOUR);
    return true;
}

static void weigh_slope(struct judge *judge, struct heat *heat, size_t load, int64_t t_ms) {
    struct ramp *ramp = &heat->ramps[load];
    const int64_t limit = heat->operation->ramp_at_most.value, channel_id = judge->loads[load].channel.channel_id;
    int64_t slope;

    if (!take_slope(ramp, &slope)) {
        heat->too_few = true;
        return;
    }
    ramp->judged = true;
    if (!heat->judged || slope > heat->steepest_mc_per_h) {
        heat->judged = true;
        heat->steepest_mc_per_h = slope;
        heat->steepest_ms = t_ms;
        heat->steepest_channel = channel_id;
    }
    if (slope > limit) {
        if (!ramp->over || t_ms - ramp->over_ms > JUDGE_SETTLED_MS)
            judge_make_finding(judge, FINDING_RAMP, t_ms, heat->index, channel_id, slope, limit);
        ramp->over = true;
        ramp->over_ms = t_ms;
    }
}

/* A gap whose ends are both on the same side of the stated temperatures says nothing about the rise between. */
static bool gap_matters(const struct heat *heat, int64_t before_mc, int64_t after_mc) {
    return !(before_mc < heat->operation->ramp_low_mc && after_mc < heat->operation->ramp_low_mc) &&
           !(before_mc > heat->operation->ramp_high_mc && after_mc > heat->operation->ramp_high_mc);
}

void heat_feed(struct judge *judge, struct heat *heat, size_t load, const struct reading *reading) {
    struct ramp *ramp = &heat->ramps[load];
    const struct track *track = &judge->main->tracks[load];
    const struct plan_operation *operation = heat->operation;

    if (reading->quality != QUALITY_GOOD || track->has_crossed) // the soak has begun for this channel
        return;
    if (track->had_good && reading->t_ms - track->good_ms > track->gap_limit_ms) {
        heat->unproven |= gap_matters(heat, track->good_mc, reading->value);
        clear_window(ramp);
    } else if (!track->had_good && reading->value >= operation->ramp_low_mc &&
               reading->t_ms - judge->first_ms > track->gap_limit_ms) {
        heat->unproven = true;
    }
    if (reading->value < operation->ramp_low_mc) {
        clear_window(ramp);
    } else if (reading->value > operation->ramp_high_mc) {
        if (ramp->count > 0 && !ramp->full_seen) // passed through in less than a window: all of it is the window
            weigh_slope(judge, heat, load, reading->t_ms);
        ramp->passed = true;
        clear_window(ramp);
    } else {
        add_point(ramp, reading, operation->ramp_window_ms);
        if (point_at(ramp, 0)->t_ms <= reading->t_ms - operation->ramp_window_ms) {
            ramp->full_seen = true;
            weigh_slope(judge, heat, load, reading->t_ms);
        }
    }
}

/* Did the run end with a gap within the stated temperatures? */
static bool ended_in_gap(const struct judge *judge, const struct heat *heat, const struct track *track) {
    if (!judge->ended || track->has_crossed)
        return false;
    return !track->had_good || (judge->now_ms - track->good_ms > track->gap_limit_ms &&
                                gap_matters(heat, track->good_mc, track->good_mc));
}

void heat_verdict(const struct judge *judge, const struct heat *heat, struct verdict *verdict) {
    bool all_crossed = true, all_passed = true, all_judged = true, unproven = heat->unproven;

    for (size_t i = 0; i < judge->load_count; i++) {
        all_crossed &= judge->main->tracks[i].has_crossed;
        all_passed &= heat->ramps[i].passed || judge->main->tracks[i].has_crossed;
        all_judged &= heat->ramps[i].judged;
        unproven |= ended_in_gap(judge, heat, &judge->main->tracks[i]);
    }
    verdict->reason = REASON_NONE;
    verdict->found_known = heat->judged;
    verdict->found = verdict->possible = heat->steepest_mc_per_h;
    verdict->margin = verdict->required - verdict->found;
    verdict->t_ms = heat->steepest_ms;
    verdict->channel_id = heat->steepest_channel;
    if (heat->judged && verdict->margin < 0)
        verdict->outcome = OUTCOME_NOT_MET;
    else if (!judge->ended && !all_crossed) // it may cool and rise again
        verdict->reason = REASON_RUN_OPEN;
    else if (unproven)
        verdict->reason = REASON_GAP;
    else if (!all_passed)
        verdict->reason = REASON_NOT_REACHED;
    else if (!all_judged || heat->too_few)
        verdict->reason = REASON_TOO_FEW;
    else
        verdict->outcome = OUTCOME_MET;
}
