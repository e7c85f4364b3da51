// SPDX-License-Identifier: MIT
/* Readings into steps: means of each channel, noise, jumps, gaps and what the records say. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cause_private.h"

static const double C_PER_MC = 0.001, SHARE_PER_OUTPUT = 0.00001; // of thousandths of a per cent
/* A jump is one step that neither its neighbours nor physics explain. Our own choice. */
static const double JUMP_LEAST_C = 1.5, JUMP_BY = 4;
/* The second difference of white noise of deviation s has a mean size of s * sqrt(6) * sqrt(2 / pi). */
static const double NOISE_PER_SECOND_DIFFERENCE = 1 / (2.449489743 * 0.797884561);

static void clear_signs(struct cause_signs *signs) {
    signs->noise_c = signs->setpoint_c = signs->overshoot_c = signs->load_peak_c = signs->difference_drift_c = NAN;
    signs->output_drift = signs->cools_c_per_s = NAN;
    signs->swing_c = signs->records.fell_in_gap_c = NAN;
}

static void add_track(struct cause_watch *watch, const struct judge_channel *channel) {
    struct cause_track *track = &watch->tracks[watch->count++];

    *track = (struct cause_track){.id = channel->channel_id,
                                  .interval_ms = channel->interval_ms,
                                  .role = channel->role,
                                  .last_c = NAN,
                                  .before = {NAN, NAN}};
    for (size_t i = 0; i < CAUSE_RING; i++)
        track->ring[i] = NAN;
}

static size_t add_first(struct cause_watch *watch, const struct judge_channel *channels, size_t count,
                        enum channel_role role) {
    for (size_t i = 0; i < count; i++)
        if (channels[i].role == role) {
            add_track(watch, &channels[i]);
            return watch->count - 1;
        }
    return SIZE_MAX;
}

/* Where no sensor is the controller's, the first one of the charge stands for it. */
static void add_tracks(struct cause_watch *watch, const struct judge_channel *channels, size_t count) {
    size_t skip = 0;

    watch->control = add_first(watch, channels, count, ROLE_CONTROL);
    if (watch->control == SIZE_MAX) {
        watch->control = add_first(watch, channels, count, ROLE_LOAD);
        skip = 1;
    }
    watch->setpoint = add_first(watch, channels, count, ROLE_SETPOINT);
    watch->output = add_first(watch, channels, count, ROLE_OUTPUT);
    watch->first_load = watch->count;
    for (size_t i = 0; i < count && watch->count - watch->first_load < JUDGE_MOST_LOADS; i++) {
        if (channels[i].role != ROLE_LOAD)
            continue;
        if (skip > 0)
            skip--;
        else
            add_track(watch, &channels[i]);
    }
}

struct cause_watch *cause_open(const struct cause_task *task, const struct judge_channel *channels, size_t count,
                               struct fault *fault) {
    struct cause_watch *watch = calloc(1, sizeof *watch);

    if (watch == NULL) {
        fault_set(fault, EX_OSERR, "no memory to look for causes");
        return NULL;
    }
    watch->task = *task;
    clear_signs(&watch->signs);
    add_tracks(watch, channels, count);
    watch->step_ms = CAUSE_STEP_MS;
    if (watch->control != SIZE_MAX && watch->tracks[watch->control].interval_ms > watch->step_ms)
        watch->step_ms = watch->tracks[watch->control].interval_ms;
    for (size_t i = 0; i < watch->count; i++)
        if (watch->tracks[i].interval_ms > watch->longest_ms)
            watch->longest_ms = watch->tracks[i].interval_ms;
    watch->signs.has_setpoint = watch->setpoint != SIZE_MAX;
    watch->signs.has_output = watch->output != SIZE_MAX;
    watch->signs.load_count = watch->count - watch->first_load;
    for (size_t i = watch->first_load; i < watch->count; i++)
        watch->signs.load_ids[i - watch->first_load] = watch->tracks[i].id;
    watch->plateau_c = watch->reference_c = watch->usual_output = watch->usual_load_c = watch->usual_setpoint_c =
        NAN;
    watch->extreme_c = watch->last_turn_c = NAN;
    return watch;
}

void cause_free(struct cause_watch *watch) {
    free(watch);
}

void cause_mean_add(struct cause_mean *mean, double value) {
    const double away = value - mean->mean;

    mean->count++;
    mean->mean += away / mean->count;
    mean->square += away * (value - mean->mean);
}

double cause_mean_deviation(const struct cause_mean *mean) {
    return mean->count > 1 ? sqrt(mean->square / (mean->count - 1)) : NAN;
}

void cause_trend_add(struct cause_trend *trend, int64_t t_ms, double value) {
    static const double ms_per_min = 60000;
    double minutes;

    if (trend->n == 0)
        trend->from_ms = t_ms;
    trend->to_ms = t_ms;
    minutes = (double)(t_ms - trend->from_ms) / ms_per_min;
    trend->n++;
    trend->t += minutes;
    trend->tt += minutes * minutes;
    trend->d += value;
    trend->td += minutes * value;
}

double cause_trend_move(const struct cause_trend *trend) {
    static const double ms_per_min = 60000, least = 12;
    const double spread = trend->n * trend->tt - trend->t * trend->t;

    return trend->n >= least && spread > 0 ? (trend->n * trend->td - trend->t * trend->d) / spread *
                                                 (double)(trend->to_ms - trend->from_ms) / ms_per_min
                                           : NAN;
}

/* ---- steps ---- */

/* A channel slower than the steps keeps its value for as long as it is no gap. */
static double step_mean(const struct cause_track *track, int64_t t_ms) {
    if (track->count > 0)
        return track->sum / (double)track->count;
    return track->good_ms != 0 && t_ms - track->good_ms <= JUDGE_GAP_INTERVALS * track->interval_ms ? track->last_c
                                                                                                    : NAN;
}

static void close_steps(struct cause_watch *watch, int64_t t_ms) {
    while (t_ms - watch->step_begun_ms >= watch->step_ms) {
        watch->step_begun_ms += watch->step_ms;
        for (size_t i = 0; i < watch->count; i++) {
            struct cause_track *track = &watch->tracks[i];

            memmove(track->ring, track->ring + 1, (CAUSE_RING - 1) * sizeof track->ring[0]);
            track->ring[CAUSE_RING - 1] = step_mean(track, watch->step_begun_ms);
            track->sum = 0;
            track->count = 0;
        }
        cause_take_step(watch, watch->step_begun_ms);
    }
}

/* ---- readings ---- */

static bool is_sensor(const struct cause_watch *watch, const struct cause_track *track) {
    const size_t index = (size_t)(track - watch->tracks);

    return index == watch->control || index >= watch->first_load;
}

static void count_quality(struct cause_records *records, enum quality quality) {
    records->readings++;
    switch (quality) {
    case QUALITY_GOOD: records->good++; break;
    case QUALITY_OPEN_SENSOR: records->open++; break;
    case QUALITY_NO_REPLY: records->silent++; break;
    case QUALITY_BAD_FRAME:
    case QUALITY_EXCEPTION: records->garbled++; break;
    default: records->unbelievable++; break;
    }
}

static void see_gap(struct cause_watch *watch, struct cause_track *track, int64_t t_ms, double value_c) {
    struct cause_records *records = &watch->signs.records;
    const bool control = (size_t)(track - watch->tracks) == watch->control;

    if (track->good_ms != 0 && t_ms - track->good_ms > JUDGE_GAP_INTERVALS * track->interval_ms) {
        records->gaps++;
        records->gap_ms += t_ms - track->good_ms;
        if (control && !isnan(value_c) && !(track->last_c - value_c <= records->fell_in_gap_c))
            records->fell_in_gap_c = track->last_c - value_c;
    }
    if (watch->any_good_ms != 0 && t_ms - watch->any_good_ms > JUDGE_GAP_INTERVALS * watch->longest_ms) {
        records->common_gaps++;
        records->common_gap_ms += t_ms - watch->any_good_ms;
    }
}

/* The difference before this one, between its neighbours. */
static void see_jump(struct cause_watch *watch, struct cause_track *track, const struct reading *reading,
                     double value_c) {
    struct cause_signs *signs = &watch->signs;
    const double now = value_c - track->last_c, jump = track->before[0];
    const double beside = fmax(fabs(now), fabs(track->before[1]));

    if (track->good_ms == 0 || reading->t_ms - track->good_ms > 2 * track->interval_ms) {
        track->before[0] = track->before[1] = NAN;
        return;
    }
    if ((size_t)(track - watch->tracks) == watch->control && !isnan(jump)) {
        watch->noise_sum += fabs(now - jump);
        watch->noise_count++;
    }
    if (fabs(jump) >= JUMP_LEAST_C && fabs(jump) >= JUMP_BY * beside && signs->left_ms == 0 &&
        !(fabs(jump) <= fabs(signs->jump_c))) {
        signs->jump_c = jump;
        signs->jump_ms = track->before_ms;
        signs->jump_channel_id = track->id;
    }
    track->before[1] = jump;
    track->before[0] = now;
    track->before_ms = reading->t_ms;
}

static void take_good(struct cause_watch *watch, struct cause_track *track, const struct reading *reading) {
    const double value = (double)reading->value * (track->role == ROLE_OUTPUT ? SHARE_PER_OUTPUT : C_PER_MC);

    if (is_sensor(watch, track)) {
        see_gap(watch, track, reading->t_ms, value);
        see_jump(watch, track, reading, value);
        watch->any_good_ms = reading->t_ms;
    }
    track->sum += value;
    track->count++;
    track->last_c = value;
    track->good_ms = reading->t_ms;
}

void cause_feed(struct cause_watch *watch, const struct reading *reading) {
    struct cause_track *track = NULL;

    for (size_t i = 0; i < watch->count && track == NULL; i++)
        if (watch->tracks[i].id == reading->channel_id)
            track = &watch->tracks[i];
    if (watch->signs.begun_ms == 0)
        watch->signs.begun_ms = watch->step_begun_ms = reading->t_ms;
    if (track == NULL)
        return;
    close_steps(watch, reading->t_ms);
    if (is_sensor(watch, track))
        count_quality(&watch->signs.records, reading->quality);
    if (reading->quality == QUALITY_GOOD && reading->t_ms > track->good_ms)
        take_good(watch, track, reading);
}

void cause_hear(struct cause_watch *watch, const struct event *event) {
    struct cause_records *records = &watch->signs.records;

    switch (event->kind) {
    case EVENT_RESUMED:
        records->recorder_stops++;
        records->recorder_ms += event->amount;
        break;
    case EVENT_LINE_LOST: records->line_losses++; break;
    case EVENT_LINE_BACK: records->line_ms += event->amount; break;
    case EVENT_OVERFLOW: records->overflows += event->amount; break;
    default: break;
    }
}

void cause_end(struct cause_watch *watch, int64_t t_ms) {
    struct cause_signs *signs = &watch->signs;

    if (signs->begun_ms == 0)
        signs->begun_ms = watch->step_begun_ms = t_ms;
    close_steps(watch, t_ms);
    signs->ended_ms = t_ms;
    if (signs->told_ms != 0 && signs->control_in_ms != 0)
        signs->held_in_band_ms =
            (signs->charge_left && signs->left_ms < signs->told_ms ? signs->left_ms : signs->told_ms) -
            signs->control_in_ms;
    if (signs->left_ms == 0)
        cause_forget_dips(watch, t_ms);
    if (watch->dipping)
        cause_end_dip(watch, t_ms, NAN);
    for (size_t i = 0; i < watch->count; i++)
        if (is_sensor(watch, &watch->tracks[i]))
            see_gap(watch, &watch->tracks[i], t_ms, NAN);
    if (watch->noise_count > 0)
        signs->noise_c = watch->noise_sum / (double)watch->noise_count * NOISE_PER_SECOND_DIFFERENCE;
    if (signs->swings > 1) {
        signs->swing_c = watch->swing_sum_c / (double)(signs->swings - 1);
        signs->swing_ms = watch->swing_sum_ms / (int64_t)(signs->swings - 1);
    }
    signs->difference_drift_c = cause_trend_move(&watch->difference);
    signs->output_drift = cause_trend_move(&watch->output_trend) / signs->output.mean;
    if (watch->cooling.count > 0)
        signs->cools_c_per_s = watch->cooling.mean;
    watch->ended = true;
}

const struct cause_signs *cause_read(const struct cause_watch *watch) {
    return &watch->signs;
}
