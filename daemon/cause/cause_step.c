// SPDX-License-Identifier: MIT
/* One step after another: on the way up, at the setpoint, in a dip, swinging. */
#include <math.h>

#include "cause_private.h"

static const double MS_PER_S = 1000;
/* All our own choices, against noise of a few tenths and ovens that heat by some 0.02 to 2 C/s. */
static const double RISES_C_PER_S = 0.008;     // on the way up
static const double LEVEL_C_PER_S = 0.02;      // the control sensor is level ...
static const double EQUALISED_C_PER_S = 0.004; // ... and the charge has caught up
static const double STANDS_C_PER_S = 0.003;    // does not rise although at full output
static const double SAME_C = 0.25;             // of a setpoint that did not change
static const double NEAR_C = 3, LEVEL_WITHIN_C = 6, FAR_C = 150, LEAVES_C = 20, GONE_C = 100, SWING_MOST_C = 30,
                    UNTOLD_DIP_C = 12, ROOM_C = 20, COOLED_C = 200;
static const double LOSS_EXPONENT = 1.4; // see cause_usual.c
static const double DIP_C = 2.5, UNDER_SETPOINT_C = 2, SWING_C = 1;
static const double FULL = 0.97, OFF = 0.005, HEAT_OFF = 0.3;
static const double FOLLOWS_MS = 180000; // time constant of what is usual before a dip
enum {
    PLATEAU_MS = 180000,
    STEADY_MS = 60000,
    CALM_MS = 300000,
    DIP_MOST_MS = 1800000,
    LEAVING_MS = 600000,
    FALL_MS = 120000,
    UPSET_MS = 900000,
    LAST_MS = 150000,
    UNTOLD_LAST_MS = 1500000,
    SETTLED_MS = 120000,
    COOLING_MS = 900000
};

static double newest(const struct cause_watch *watch, size_t track) {
    return track == SIZE_MAX ? NAN : watch->tracks[track].ring[CAUSE_RING - 1];
}

static double slope_over(const struct cause_watch *watch, size_t track, size_t steps) {
    const double *ring = watch->tracks[track].ring;

    return (ring[CAUSE_RING - 1] - ring[CAUSE_RING - 1 - steps]) /
           ((double)steps * (double)watch->step_ms / MS_PER_S);
}

static double load_mean(const struct cause_watch *watch) {
    double sum = 0;

    for (size_t i = watch->first_load; i < watch->count; i++)
        sum += newest(watch, i);
    return watch->count > watch->first_load ? sum / (double)(watch->count - watch->first_load) : NAN;
}

static double fall_behind(double value, double towards, double step_ms) {
    if (isnan(value) || isnan(towards))
        return isnan(value) ? towards : value;
    return value + (towards - value) * (1 - exp(-step_ms / FOLLOWS_MS));
}

/* ---- the setpoint ---- */

static void see_setpoint(struct cause_watch *watch, int64_t t_ms, double setpoint_c) {
    struct cause_signs *signs = &watch->signs;

    if (isnan(setpoint_c))
        return;
    if (!(fabs(setpoint_c - watch->plateau_c) <= SAME_C)) {
        watch->plateau_c = setpoint_c;
        watch->plateau_since_ms = t_ms;
    }
    if (t_ms - watch->plateau_since_ms < PLATEAU_MS)
        return;
    if (!(setpoint_c <= signs->setpoint_c + SAME_C)) {
        signs->setpoint_c = setpoint_c;
        signs->setpoint_ms = watch->plateau_since_ms;
        signs->setpoint_held_ms = t_ms - watch->plateau_since_ms;
    } else if (fabs(setpoint_c - signs->setpoint_c) <= SAME_C) {
        signs->setpoint_held_ms += watch->step_ms;
    }
}

static bool is_on_plateau(const struct cause_watch *watch, int64_t t_ms, int64_t for_ms) {
    return !isnan(watch->plateau_c) && t_ms - watch->plateau_since_ms >= for_ms;
}

/* ---- where the run stands ---- */

static void see_arrival(struct cause_watch *watch, int64_t t_ms, double control_c, double setpoint_c) {
    struct cause_signs *signs = &watch->signs;
    const double edge_c = watch->task.temperature_c - watch->task.below_c;
    bool loads_in = true;

    if (signs->control_in_ms == 0 && control_c >= edge_c)
        signs->control_in_ms = t_ms;
    for (size_t i = watch->first_load; i < watch->count; i++)
        loads_in = loads_in && newest(watch, i) >= edge_c;
    if (signs->loads_in_ms == 0 && loads_in && signs->control_in_ms != 0)
        signs->loads_in_ms = t_ms;
    if (signs->arrived_ms != 0 || isnan(control_c))
        return;
    if (!isnan(setpoint_c)) {
        if (control_c >= setpoint_c - NEAR_C && is_on_plateau(watch, t_ms, STEADY_MS) &&
            setpoint_c >= watch->task.temperature_c - FAR_C)
            signs->arrived_ms = t_ms;
    } else if (control_c >= edge_c ||
               (control_c >= watch->task.temperature_c - FAR_C &&
                fabs(slope_over(watch, watch->control, CAUSE_SLOPE_STEPS)) < STANDS_C_PER_S)) {
        signs->arrived_ms = t_ms;
    }
}

/* Told to leave: the setpoint fell, the output went off; else it stays far under the band. */
static void see_leaving(struct cause_watch *watch, int64_t t_ms, double control_c, double setpoint_c,
                        double output) {
    struct cause_signs *signs = &watch->signs;
    const double low_c = watch->task.temperature_c - watch->task.below_c - LEAVES_C;

    if (signs->arrived_ms == 0 || signs->told_ms != 0)
        return;
    if (!isnan(setpoint_c)) {
        if (setpoint_c < signs->setpoint_c - LEAVES_C)
            signs->told_ms = t_ms;
        return;
    }
    if (!(output <= OFF))
        watch->off_since_ms = t_ms;
    if (!(control_c < low_c))
        watch->low_since_ms = t_ms;
    if (control_c < low_c &&
        (signs->has_output ? t_ms - watch->off_since_ms >= PLATEAU_MS : t_ms - watch->low_since_ms >= LEAVING_MS))
        signs->told_ms = signs->has_output ? watch->off_since_ms : watch->low_since_ms;
}

/* The charge is gone when all of it is far colder than the oven. */
static bool charge_is_gone(const struct cause_watch *watch, double control_c) {
    for (size_t i = watch->first_load; i < watch->count; i++)
        if (!(newest(watch, i) < control_c - GONE_C))
            return false;
    return watch->count > watch->first_load;
}

void cause_forget_dips(struct cause_watch *watch, int64_t t_ms) {
    struct cause_signs *signs = &watch->signs;
    const bool told = signs->has_setpoint || signs->has_output || signs->charge_left;
    const int64_t from_ms = t_ms - (told ? LAST_MS : UNTOLD_LAST_MS);

    if (watch->dipping)
        cause_end_dip(watch, t_ms, newest(watch, watch->control));
    while (signs->dip_count > 0 && signs->dips[signs->dip_count - 1].begun_ms > from_ms)
        signs->dip_count--;
}

static void see_end(struct cause_watch *watch, int64_t t_ms, double control_c) {
    struct cause_signs *signs = &watch->signs;

    if (signs->left_ms != 0 || signs->arrived_ms == 0)
        return;
    signs->charge_left = signs->loads_in_ms != 0 && charge_is_gone(watch, control_c);
    if (!signs->charge_left && signs->told_ms == 0)
        return;
    signs->left_ms = t_ms;
    cause_forget_dips(watch, t_ms);
}

/* ---- on the way up ---- */

static void see_rise(struct cause_watch *watch, double control_c, double output) {
    const double slope = slope_over(watch, watch->control, CAUSE_SLOPE_STEPS);
    const double trail = control_c - load_mean(watch);
    const double place = control_c / CAUSE_BIN_C;
    struct cause_bin *bin;

    if (!(slope >= RISES_C_PER_S) || !(place >= 0) || place >= CAUSE_BINS || watch->dipping)
        return;
    bin = &watch->signs.bins[(size_t)place];
    bin->steps++;
    bin->slope_c_per_s += slope;
    if (output > OFF) {
        bin->output += output;
        bin->output_steps++;
    }
    if (!isnan(trail)) {
        bin->trail_c += trail;
        bin->trail_steps++;
    }
}

/* ---- level ---- */

/* A charge that catches up rises, and is not above the control sensor. Sensors without a value say nothing. */
static bool is_equalised(const struct cause_watch *watch, double control_c) {
    for (size_t i = watch->first_load; i < watch->count; i++)
        if (slope_over(watch, i, CAUSE_SLOPE_STEPS) >= EQUALISED_C_PER_S && newest(watch, i) <= control_c + SWING_C)
            return false;
    return true;
}

static void see_difference(struct cause_watch *watch, int64_t t_ms, double control_c) {
    const double mean = load_mean(watch) - control_c;

    for (size_t i = watch->first_load; i < watch->count; i++)
        if (!isnan(newest(watch, i)))
            cause_mean_add(&watch->signs.differences[i - watch->first_load], newest(watch, i) - control_c);
    if (!isnan(mean))
        cause_trend_add(&watch->difference, t_ms, mean);
}

/* At full output, under the setpoint, and not rising. */
static void see_pinned(struct cause_watch *watch, int64_t t_ms, double control_c, double setpoint_c,
                       double output) {
    if (output >= FULL && slope_over(watch, watch->control, CAUSE_SLOPE_STEPS) < STANDS_C_PER_S &&
        !watch->dipping &&
        (isnan(setpoint_c) ? control_c < watch->task.temperature_c - watch->task.below_c
                           : is_on_plateau(watch, t_ms, STEADY_MS) && control_c < setpoint_c - SWING_C))
        watch->signs.pinned_ms += watch->step_ms;
}

static void see_level(struct cause_watch *watch, int64_t t_ms, double control_c, double setpoint_c, double output) {
    struct cause_signs *signs = &watch->signs;
    const double slope = slope_over(watch, watch->control, CAUSE_SLOPE_STEPS);

    if (watch->dipping || t_ms < watch->calm_from_ms || !(fabs(slope) < LEVEL_C_PER_S) ||
        fabs(control_c - setpoint_c) > LEVEL_WITHIN_C || !is_equalised(watch, control_c))
        return;
    cause_mean_add(&signs->level, control_c);
    if (!isnan(setpoint_c))
        cause_mean_add(&signs->held_setpoint, setpoint_c);
    if (!isnan(output)) {
        cause_mean_add(&signs->output, output);
        cause_trend_add(&watch->output_trend, t_ms, output);
    }
    see_difference(watch, t_ms, control_c);
}

static void see_peak(struct cause_watch *watch, int64_t t_ms, double control_c, double setpoint_c) {
    struct cause_signs *signs = &watch->signs;
    const double goal_c = isnan(setpoint_c) ? watch->task.temperature_c : setpoint_c;

    for (size_t i = watch->first_load; i < watch->count; i++)
        if (!isnan(newest(watch, i)))
            signs->load_peak_c = fmax(signs->load_peak_c, newest(watch, i));
    if (isnan(setpoint_c) || is_on_plateau(watch, t_ms, STEADY_MS))
        signs->overshoot_c = fmax(signs->overshoot_c, control_c - goal_c);
}

/* ---- swings: turning points further apart than SWING_C ---- */

static void see_swing(struct cause_watch *watch, int64_t t_ms, double control_c) {
    struct cause_signs *signs = &watch->signs;

    if (isnan(watch->extreme_c)) {
        watch->extreme_c = control_c;
        watch->extreme_ms = t_ms;
        watch->direction = 1;
    }
    if (watch->direction * (control_c - watch->extreme_c) >= 0) {
        watch->extreme_c = control_c;
        watch->extreme_ms = t_ms;
        return;
    }
    if (fabs(control_c - watch->extreme_c) < SWING_C)
        return;
    if (signs->swings++ > 0) {
        watch->swing_sum_c += fabs(watch->extreme_c - watch->last_turn_c);
        watch->swing_sum_ms += watch->extreme_ms - watch->last_turn_ms;
    }
    watch->last_turn_c = watch->extreme_c;
    watch->last_turn_ms = watch->extreme_ms;
    watch->direction = -watch->direction;
    watch->extreme_c = control_c;
    watch->extreme_ms = t_ms;
}

/* ---- dips ---- */

/* Keeps the deepest, in order of time. */
static void keep_dip(struct cause_signs *signs, const struct cause_dip *dip) {
    size_t shallowest = 0;

    if (signs->dip_count == CAUSE_MOST_DIPS) {
        for (size_t i = 1; i < CAUSE_MOST_DIPS; i++)
            if (signs->dips[i].depth_c < signs->dips[shallowest].depth_c)
                shallowest = i;
        if (signs->dips[shallowest].depth_c >= dip->depth_c)
            return;
        for (size_t i = shallowest; i + 1 < CAUSE_MOST_DIPS; i++)
            signs->dips[i] = signs->dips[i + 1];
        signs->dip_count--;
    }
    signs->dips[signs->dip_count++] = *dip;
}

/* The heat was off when it began: the controller's own doing. Without an output channel nobody can say. */
static bool was_commanded(const struct cause_watch *watch) {
    return watch->dip.output_least < HEAT_OFF * watch->dip.output_before && watch->dip.depth_c < SWING_MOST_C;
}

void cause_end_dip(struct cause_watch *watch, int64_t t_ms, double control_c) {
    if (watch->dip.back_ms != 0 || t_ms - watch->dip.begun_ms >= LAST_MS)
        keep_dip(&watch->signs, &watch->dip);
    watch->dipping = false;
    watch->calm_from_ms = t_ms + CALM_MS;
    watch->reference_c = control_c;
    watch->usual_load_c = load_mean(watch);
    if (watch->signs.has_output && !was_commanded(watch)) { // what swung meanwhile was not the controller
        watch->signs.swings = watch->swings_before;
        watch->swing_sum_c = watch->swing_sum_before_c;
        watch->swing_sum_ms = watch->swing_sum_before_ms;
        watch->upset_until_ms = t_ms + UPSET_MS;
    }
}

static void see_fall(struct cause_watch *watch, struct cause_dip *dip, double setpoint_c) {
    dip->fall_c_per_s = fmax(dip->fall_c_per_s, -slope_over(watch, watch->control, 2));
    dip->setpoint_fell_c = fmax(dip->setpoint_fell_c, watch->usual_setpoint_c - setpoint_c);
}

static void follow_dip(struct cause_watch *watch, int64_t t_ms, double control_c, double setpoint_c,
                       double output) {
    struct cause_dip *dip = &watch->dip;
    const double load_c = load_mean(watch), depth_c = watch->reference_c - control_c;

    if (t_ms - dip->begun_ms <= FALL_MS)
        see_fall(watch, dip, setpoint_c);
    if (depth_c > dip->depth_c) {
        dip->depth_c = depth_c;
        dip->bottom_ms = t_ms;
        dip->back_ms = 0;
    }
    dip->output_most = fmax(dip->output_most, output);
    if (!(output >= FULL))
        watch->full_since_ms = t_ms;
    if (t_ms - watch->full_since_ms >= STEADY_MS)
        dip->full_fall_c_per_s =
            fmax(dip->full_fall_c_per_s, -slope_over(watch, watch->control, CAUSE_SLOPE_STEPS / 2));
    if (dip->arrived && watch->loads_level && !isnan(load_c) &&
        !(fabs(watch->load_began_c - load_c) <= fabs(dip->load_fell_c)))
        dip->load_fell_c = watch->load_began_c - load_c;
    if (dip->back_ms == 0 && depth_c < dip->depth_c / 2)
        dip->back_ms = t_ms;
    if (depth_c < DIP_C / 2 || (t_ms - dip->begun_ms > DIP_MOST_MS &&
                                slope_over(watch, watch->control, CAUSE_SLOPE_STEPS) > -STANDS_C_PER_S))
        cause_end_dip(watch, t_ms, control_c);
}

static double least_output(const struct cause_watch *watch) {
    double least = NAN;

    for (size_t i = 0; watch->output != SIZE_MAX && i < CAUSE_RING; i++)
        least = fmin(least, watch->tracks[watch->output].ring[i]);
    return least;
}

static void begin_dip(struct cause_watch *watch, int64_t t_ms, double control_c) {
    watch->dipping = true;
    watch->dip = (struct cause_dip){.begun_ms = t_ms,
                                    .bottom_ms = t_ms,
                                    .from_c = watch->reference_c,
                                    .depth_c = watch->reference_c - control_c,
                                    .output_before = watch->usual_output,
                                    .full_fall_c_per_s = NAN,
                                    .output_most = NAN,
                                    .output_least = least_output(watch),
                                    .load_fell_c = NAN,
                                    .setpoint_fell_c = NAN,
                                    .arrived = watch->signs.arrived_ms != 0};
    watch->dip.fall_c_per_s = fmax(0, -slope_over(watch, watch->control, 2));
    watch->load_began_c = load_mean(watch);
    watch->full_since_ms = t_ms;
    watch->swings_before = watch->signs.swings;
    watch->swing_sum_before_c = watch->swing_sum_c;
    watch->swing_sum_before_ms = watch->swing_sum_ms;
    watch->loads_level = true;
    for (size_t i = watch->first_load; i < watch->count; i++)
        watch->loads_level = watch->loads_level && fabs(slope_over(watch, i, CAUSE_SLOPE_STEPS)) < LEVEL_C_PER_S;
}

static void see_dip(struct cause_watch *watch, int64_t t_ms, double control_c, double setpoint_c, double output) {
    const double step_ms = (double)watch->step_ms;

    const bool untold = !watch->signs.has_setpoint && watch->signs.arrived_ms == 0; // it may only have overshot

    if (watch->dipping) {
        follow_dip(watch, t_ms, control_c, setpoint_c, output);
        return;
    }
    if (watch->reference_c - control_c >= (untold ? UNTOLD_DIP_C : DIP_C) &&
        !(control_c >= setpoint_c - UNDER_SETPOINT_C)) {
        begin_dip(watch, t_ms, control_c);
        follow_dip(watch, t_ms, control_c, setpoint_c, output);
        return;
    }
    watch->reference_c = watch->signs.arrived_ms == 0 ? fmax(watch->reference_c, control_c)
                                                      : fall_behind(watch->reference_c, control_c, step_ms);
    watch->usual_output = fall_behind(watch->usual_output, output, step_ms);
    watch->usual_load_c = fall_behind(watch->usual_load_c, load_mean(watch), step_ms);
    watch->usual_setpoint_c = fall_behind(watch->usual_setpoint_c, setpoint_c, step_ms);
}

/* Heating is off, the door is shut again. */
static void see_cooling(struct cause_watch *watch, int64_t t_ms, double control_c) {
    const struct cause_signs *signs = &watch->signs;
    const double rate = -slope_over(watch, watch->control, CAUSE_SLOPE_STEPS), level_c = signs->level.mean;

    if (signs->told_ms == 0 || t_ms - signs->told_ms < SETTLED_MS || t_ms - signs->told_ms > COOLING_MS ||
        signs->level.count == 0 || !(control_c > level_c - COOLED_C) || !(control_c < level_c) || !(rate > 0))
        return;
    cause_mean_add(&watch->cooling, rate * pow((level_c - ROOM_C) / (control_c - ROOM_C), LOSS_EXPONENT));
}

void cause_take_step(struct cause_watch *watch, int64_t t_ms) {
    struct cause_signs *signs = &watch->signs;
    const double control_c = newest(watch, watch->control), setpoint_c = newest(watch, watch->setpoint);
    const double output = newest(watch, watch->output);

    see_setpoint(watch, t_ms, setpoint_c);
    if (isnan(control_c))
        return;
    see_arrival(watch, t_ms, control_c, setpoint_c);
    see_leaving(watch, t_ms, control_c, setpoint_c, output);
    see_end(watch, t_ms, control_c);
    if (signs->left_ms != 0) {
        see_cooling(watch, t_ms, control_c);
        return;
    }
    see_dip(watch, t_ms, control_c, setpoint_c, output);
    see_rise(watch, control_c, output);
    see_pinned(watch, t_ms, control_c, setpoint_c, output);
    if (signs->arrived_ms == 0)
        return;
    see_level(watch, t_ms, control_c, setpoint_c, output);
    if (t_ms < watch->upset_until_ms) { // still coming back from a dip
        watch->extreme_c = NAN;
        return;
    }
    see_peak(watch, t_ms, control_c, setpoint_c);
    see_swing(watch, t_ms, control_c);
}
