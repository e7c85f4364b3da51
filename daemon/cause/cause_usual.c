// SPDX-License-Identifier: MIT
/* What is usual in an oven, and how far a run is from it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cause_private.h"

enum { LEAST_STEPS = 2, LEAST_BINS = 2, LEAST_LEVEL_STEPS = 12, THIRD = 3, SKIPPED_BINS = 2 };
/* Good runs of one oven differ; a few of them show less than there is. Shares of 1 unless the name says. */
static const double STRENGTH_FLOOR = 0.04, HOLDING_FLOOR = 0.05, TRAIL_FLOOR = 0.1, DIFFERENCE_FLOOR_C = 0.7;
static const double EQUALISING_FLOOR = 0.25, FEW_RUNS = 3, FEW_RUNS_FACTOR = 1.5, AT_FULL = 0.99;
static const double BELOW_LEVEL_C = 15, NEAR_LEVEL_C = 150, FURTHEST_LEVEL_C = 120, ROOM_C = 20;
/* Losses grow faster than the rise above the room, since part of them is radiation. */
static const double LOSS_EXPONENT = 1.4, LEVEL_DOUBT_PER_C = 0.002;

struct cause_usual *cause_usual_open(struct fault *fault) {
    struct cause_usual *usual = calloc(1, sizeof *usual);

    if (usual == NULL)
        fault_set(fault, EX_OSERR, "no memory for what is usual in an oven");
    return usual;
}

void cause_usual_free(struct cause_usual *usual) {
    free(usual);
}

void cause_learn(struct cause_usual *usual, const struct cause_signs *run) {
    if (usual->count == CAUSE_MOST_RUNS) {
        memmove(usual->runs, usual->runs + 1, (CAUSE_MOST_RUNS - 1) * sizeof usual->runs[0]);
        usual->count--;
    }
    usual->runs[usual->count++] = *run;
}

size_t cause_usual_runs(const struct cause_usual *usual) {
    return usual != NULL ? usual->count : 0;
}

/* ---- one number of several runs ---- */

struct gathering {
    struct cause_mean mean;
    double least, most;
};

static void gather(struct gathering *gathering, double value) {
    if (isnan(value))
        return;
    gathering->least = gathering->mean.count == 0 ? value : fmin(gathering->least, value);
    gathering->most = gathering->mean.count == 0 ? value : fmax(gathering->most, value);
    cause_mean_add(&gathering->mean, value);
}

/* `floor` in the unit of the value. */
static struct cause_against hold_against(double now, const struct gathering *gathering, double floor) {
    struct cause_against against = {now, NAN, NAN, NAN};

    if (gathering->mean.count == 0)
        return against;
    against.usual = gathering->mean.mean;
    against.ratio = now / against.usual;
    against.tolerance = fmax(floor * (gathering->mean.count < FEW_RUNS ? FEW_RUNS_FACTOR : 1),
                             fmax(gathering->most - against.usual, against.usual - gathering->least));
    return against;
}

/* The same where ratios are compared. */
static struct cause_against hold_ratio_against(double now, const struct gathering *gathering, double floor) {
    struct cause_against against = hold_against(now, gathering, 0);

    if (!isnan(against.usual))
        against.tolerance = fmax(floor * (gathering->mean.count < FEW_RUNS ? FEW_RUNS_FACTOR : 1),
                                 against.tolerance / fabs(against.usual));
    return against;
}

/* ---- on the way up ---- */

/* Rise per output where both runs have one, or rise alone where either has none. */
static double bin_strength(const struct cause_bin *bin, bool with_output) {
    const double slope = bin->slope_c_per_s / bin->steps;

    if (bin->steps < LEAST_STEPS)
        return NAN;
    return with_output ? slope * bin->output_steps / bin->output : slope;
}

enum part { PART_ALL, PART_COLD, PART_HOT };

/* Which bins both have, below the lower of their levels. */
static bool bin_shared(const struct cause_signs *a, const struct cause_signs *b, size_t bin, bool with_output) {
    const double top_c = (double)(bin + 1) * CAUSE_BIN_C + BELOW_LEVEL_C;

    return !isnan(bin_strength(&a->bins[bin], with_output)) && !isnan(bin_strength(&b->bins[bin], with_output)) &&
           !(top_c > a->level.mean && a->level.count > 0) && !(top_c > b->level.mean && b->level.count > 0);
}

/* By what `run` is stronger than `other`; NAN if they share too few bins. */
static double compare_strength(const struct cause_signs *run, const struct cause_signs *other, enum part part) {
    const bool with_output = run->has_output && other->has_output;
    size_t first = CAUSE_BINS, last = 0, shared = 0;
    double sum = 0, weight = 0;

    for (size_t i = 0; i < CAUSE_BINS; i++)
        if (bin_shared(run, other, i, with_output)) {
            first = i < first ? i : first;
            last = i;
            shared++;
        }
    if (shared < LEAST_BINS)
        return NAN;
    for (size_t i = first; i <= last; i++) {
        const size_t third = (last - first) / THIRD;
        const double steps = fmin(run->bins[i].steps, other->bins[i].steps);

        if (!bin_shared(run, other, i, with_output) || (part == PART_COLD && i > first + third) ||
            (part == PART_HOT && i < last - third))
            continue;
        sum += steps * bin_strength(&run->bins[i], with_output) / bin_strength(&other->bins[i], with_output);
        weight += steps;
    }
    return weight > 0 ? sum / weight : NAN;
}

/* Load less control at rest: what the sensors themselves are apart. Where a run never came to rest, the other's. */
static double level_offset(const struct cause_signs *run, const struct cause_signs *other) {
    struct cause_mean mean = {0};

    for (int pass = 0; pass < 2 && mean.count == 0; pass++, run = other)
        for (size_t i = 0; i < run->load_count; i++)
            if (run->differences[i].count >= LEAST_LEVEL_STEPS)
                cause_mean_add(&mean, run->differences[i].mean);
    return mean.mean;
}

/* Seconds of rise by which the charge is behind, over the bins that both have. */
static double compare_trail(const struct cause_signs *run, const struct cause_signs *other, double *trail_s) {
    const double offsets[2] = {level_offset(run, other), level_offset(other, run)};
    double trail_c[2] = {0}, slope[2] = {0}, steps[2] = {0};
    const struct cause_signs *both[2] = {run, other};

    for (size_t i = 0; i < CAUSE_BINS; i++) {
        if (run->bins[i].trail_steps < LEAST_STEPS || other->bins[i].trail_steps < LEAST_STEPS)
            continue;
        for (int k = 0; k < 2; k++) {
            trail_c[k] += both[k]->bins[i].trail_c / both[k]->bins[i].trail_steps + offsets[k];
            slope[k] += both[k]->bins[i].slope_c_per_s / both[k]->bins[i].steps;
            steps[k]++;
        }
    }
    if (steps[0] < LEAST_BINS)
        return NAN;
    *trail_s = trail_c[0] / slope[0];
    return *trail_s / (trail_c[1] / slope[1]);
}

static struct cause_against compare_rises(const struct cause_signs *signs, const struct cause_usual *usual,
                                          enum part part) {
    struct cause_against against = {NAN, 1, NAN, NAN};
    struct gathering now = {0}, spread = {0};

    for (size_t i = 0; i < usual->count; i++) {
        gather(&now, compare_strength(signs, &usual->runs[i], part));
        for (size_t k = 0; k < i; k++)
            gather(&spread, fabs(log(compare_strength(&usual->runs[i], &usual->runs[k], part))));
    }
    if (now.mean.count == 0)
        return against;
    against.now = against.ratio = now.mean.mean;
    against.tolerance = fmax(STRENGTH_FLOOR * ((double)usual->count < FEW_RUNS ? FEW_RUNS_FACTOR : 1),
                             spread.mean.count > 0 ? spread.most : 0);
    return against;
}

/* Part of the loss from the strongest bin to the weakest after it that came from one bin to the next. */
static double compare_abruptness(const struct cause_signs *run, const struct cause_signs *other) {
    const bool with_output = run->has_output && other->has_output;
    double best = 0, last = NAN, step = 0, loss = 0;
    size_t hottest = SKIPPED_BINS;

    for (size_t i = SKIPPED_BINS; i < CAUSE_BINS; i++)
        hottest = bin_shared(run, other, i, with_output) ? i : hottest;

    for (size_t i = 0; i < CAUSE_BINS; i++) {
        double ratio;

        if (!bin_shared(run, other, i, with_output))
            continue;
        ratio = bin_strength(&run->bins[i], with_output) / bin_strength(&other->bins[i], with_output);
        best = fmax(best, ratio);
        loss = fmax(loss, best - ratio);
        step = i <= hottest - SKIPPED_BINS ? fmax(step, last - ratio) : step; // an ajar door makes the end steep
        last = ratio;
    }
    return loss > 0 ? step / loss : NAN;
}

static struct cause_against compare_trails(const struct cause_signs *signs, const struct cause_usual *usual) {
    struct cause_against against = {NAN, NAN, NAN, NAN};
    struct gathering now = {0}, spread = {0};
    double trail_s = NAN, ignored;

    for (size_t i = 0; i < usual->count; i++) {
        gather(&now, compare_trail(signs, &usual->runs[i], &trail_s));
        for (size_t k = 0; k < i; k++)
            gather(&spread, fabs(log(compare_trail(&usual->runs[i], &usual->runs[k], &ignored))));
    }
    if (now.mean.count == 0 || !(now.mean.mean > 0))
        return against;
    against.now = trail_s;
    against.ratio = now.mean.mean;
    against.usual = trail_s / against.ratio;
    against.tolerance = fmax(TRAIL_FLOOR * ((double)usual->count < FEW_RUNS ? FEW_RUNS_FACTOR : 1),
                             spread.mean.count > 0 ? spread.most : 0);
    return against;
}

/* ---- level ---- */

static bool has_level(const struct cause_signs *signs) {
    return signs->output.count >= LEAST_LEVEL_STEPS && signs->output.mean > 0 && signs->level.mean > ROOM_C;
}

/* What the other run would have needed at this run's level. */
static double usual_output(const struct cause_signs *signs, const struct cause_signs *other) {
    if (!has_level(other) || fabs(other->level.mean - signs->level.mean) > FURTHEST_LEVEL_C)
        return NAN;
    return other->output.mean * pow((signs->level.mean - ROOM_C) / (other->level.mean - ROOM_C), LOSS_EXPONENT);
}

static struct cause_against compare_holding(const struct cause_signs *signs, const struct cause_usual *usual) {
    struct gathering gathering = {0};
    struct cause_against against;
    double away_c = 0;

    for (size_t i = 0; has_level(signs) && i < usual->count; i++) {
        gather(&gathering, usual_output(signs, &usual->runs[i]));
        away_c = fmax(away_c, fabs(usual->runs[i].level.mean - signs->level.mean));
    }
    against = hold_ratio_against(has_level(signs) ? signs->output.mean : NAN, &gathering, HOLDING_FLOOR);
    against.tolerance += LEVEL_DOUBT_PER_C * away_c;
    return against;
}

static double usual_difference(const struct cause_signs *other, int64_t channel_id) {
    for (size_t i = 0; i < other->load_count; i++)
        if (other->load_ids[i] == channel_id && other->differences[i].count >= LEAST_LEVEL_STEPS)
            return other->differences[i].mean;
    return NAN;
}

static void compare_differences(const struct cause_signs *signs, const struct cause_usual *usual,
                                struct cause_comparison *comparison) {
    size_t high = 0, low = 0;

    for (size_t i = 0; i < signs->load_count; i++) {
        struct gathering gathering = {0};
        struct cause_against against;
        double away;

        if (signs->differences[i].count < LEAST_LEVEL_STEPS)
            continue;
        for (size_t k = 0; k < usual->count; k++)
            gather(&gathering, usual_difference(&usual->runs[k], signs->load_ids[i]));
        against = hold_against(signs->differences[i].mean, &gathering, DIFFERENCE_FLOOR_C);
        away = (against.now - against.usual) / against.tolerance;
        high += away > 1;
        low += away < -1;
        if (isnan(comparison->difference.now) ||
            fabs(away) > fabs((comparison->difference.now - comparison->difference.usual) /
                              comparison->difference.tolerance)) {
            comparison->difference = against;
            comparison->difference_channel_id = signs->load_ids[i];
        }
    }
    comparison->differing = high > low ? high : low;
}

/* ---- all of it ---- */

static double equalising_ms(const struct cause_signs *signs) {
    if (signs->loads_in_ms != 0)
        return (double)(signs->loads_in_ms - signs->control_in_ms);
    if (signs->control_in_ms != 0 && signs->left_ms != 0 && signs->load_count > 0)
        return (double)(signs->left_ms - signs->control_in_ms); // at least
    return NAN;
}

static double garbled_share(const struct cause_signs *signs) {
    return signs->records.readings > 0
               ? (double)(signs->records.garbled + signs->records.silent) / (double)signs->records.readings
               : NAN;
}

static void compare_scalars(const struct cause_signs *signs, const struct cause_usual *usual,
                            struct cause_comparison *comparison) {
    struct gathering equalising = {0}, overshoot = {0}, swing = {0}, setpoint = {0}, held = {0}, level = {0},
                     lost = {0};
    struct gathering in_band = {0}, turns = {0}, drift = {0}, cools = {0};
    static const double second_ms = 1000, degree_c = 1;

    for (size_t i = 0; i < usual->count; i++) {
        const struct cause_signs *run = &usual->runs[i];

        gather(&equalising, equalising_ms(run));
        gather(&overshoot, run->overshoot_c);
        gather(&swing, run->swings > 1 ? run->swing_c : 0);
        gather(&turns, (double)run->swings);
        gather(&drift, run->output_drift);
        gather(&cools, run->cools_c_per_s);
        gather(&setpoint, run->setpoint_c);
        gather(&held, run->setpoint_held_ms > 0 ? (double)run->setpoint_held_ms : NAN);
        gather(&in_band, run->held_in_band_ms > 0 ? (double)run->held_in_band_ms : NAN);
        gather(&level, run->level.count > 0 ? run->level.mean : NAN);
        gather(&lost, garbled_share(run));
    }
    comparison->equalising =
        hold_against(equalising_ms(signs), &equalising, EQUALISING_FLOOR * fmax(second_ms, equalising.mean.mean));
    comparison->overshoot = hold_against(signs->overshoot_c, &overshoot, degree_c);
    comparison->swing = hold_against(signs->swings > 1 ? signs->swing_c : 0, &swing, degree_c);
    comparison->setpoint_usual_c = setpoint.mean.count > 0 ? setpoint.mean.mean : NAN;
    comparison->held_usual_ms = held.mean.count > 0 ? held.mean.mean : NAN;
    comparison->in_band_usual_ms = in_band.mean.count > 0 ? in_band.mean.mean : NAN;
    comparison->level_usual_c = level.mean.count > 0 ? level.mean.mean : NAN;
    comparison->output_drift_usual = drift.mean.count > 0 ? drift.mean.mean : 0;
    comparison->cools_usual = cools.mean.count > 0 ? cools.mean.mean : NAN;
    comparison->swings_usual = turns.mean.count > 0 ? turns.most : 0;
    comparison->garbled_usual = lost.mean.count > 0 ? lost.mean.mean : NAN;
}

void cause_compare(const struct cause_signs *signs, const struct cause_usual *usual,
                   struct cause_comparison *comparison) {
    static const struct cause_usual none;

    if (usual == NULL)
        usual = &none;
    *comparison = (struct cause_comparison){.runs = usual->count};
    comparison->difference = (struct cause_against){NAN, NAN, NAN, NAN};
    comparison->strength = compare_rises(signs, usual, PART_ALL);
    comparison->strength_cold = compare_rises(signs, usual, PART_COLD);
    comparison->strength_hot = compare_rises(signs, usual, PART_HOT);
    comparison->trail = compare_trails(signs, usual);
    comparison->abrupt = usual->count > 0 ? compare_abruptness(signs, &usual->runs[usual->count - 1]) : NAN;
    comparison->holding = compare_holding(signs, usual);
    compare_differences(signs, usual, comparison);
    compare_scalars(signs, usual, comparison);
}

/* With rise a*u - l at output u, and l = a*h at holding output h: a = rise / (u - h). */
double cause_full_rise(const struct cause_signs *signs, double level_c) {
    struct cause_mean mean = {0};

    if (!has_level(signs))
        return NAN;
    for (size_t i = 0; i < CAUSE_BINS; i++) {
        const struct cause_bin *bin = &signs->bins[i];
        const double top_c = (double)(i + 1) * CAUSE_BIN_C;
        const double output = bin->output_steps > 0 ? bin->output / bin->output_steps : NAN;

        if (bin->steps >= LEAST_STEPS && top_c <= level_c && top_c > level_c - NEAR_LEVEL_C &&
            output > signs->output.mean + (1 - AT_FULL))
            cause_mean_add(&mean, bin->slope_c_per_s / bin->steps / (output - signs->output.mean));
    }
    return mean.count > 0 ? mean.mean : NAN;
}
