// SPDX-License-Identifier: MIT
#include "soakledger/accuracy.h"

#include <math.h>
#include <stdlib.h>

enum { GAP_INTERVALS = 3, COVERAGE = 2 };
static const double MS_PER_H = 3600e3;

/* Sums for a straight line, centred as they come (Welford's way), time in hours from from_ms. */
struct line {
    double n, mean_x, mean_y, xx, xy;
};

struct channel {
    int64_t channel_id; // 0: none
    int64_t interval_ms;
    bool read;
    int64_t good_ms, last_mc; // of the last good reading; valid if `read`
    int64_t silence_ms;
    struct line line;
};

struct accuracy {
    struct accuracy_setting setting;
    struct accuracy_result result;
    struct channel sensor, reference;
    bool by_reference; // its readings come slower: each of them makes a pair
    size_t next_typed;
    double n, mean, squares;           // of the pairs' differences
    int64_t sensor_sum, reference_sum; // of the pairs
    bool over;
};

const char *accuracy_reason_text(enum accuracy_reason reason) {
    static const char *const texts[ACCURACY_REASON_COUNT] = {
        [ACCURACY_SOUND] = "",
        [ACCURACY_UNREAD] = "the sensor gave no good reading",
        [ACCURACY_NO_REFERENCE] = "the reference gave no good reading",
        [ACCURACY_TOO_SHORT] = "the temperature was watched for less than 5 min",
        [ACCURACY_GAP] = "readings are missing",
        [ACCURACY_UNSTABLE] = "the temperature was not stable",
        [ACCURACY_TOO_FEW] = "fewer than 3 readings could be compared",
        [ACCURACY_DUE_UNSTATED] = "it is not stated how long the reference's calibration is valid",
        [ACCURACY_OVERDUE] = "the reference's calibration was overdue",
        [ACCURACY_UNSTATED] = "the reference's uncertainty is not stated",
        [ACCURACY_INSIDE_BY_LESS] = "inside the limit by less than the uncertainty",
    };

    return (unsigned)reason < ACCURACY_REASON_COUNT ? texts[reason] : "unknown reason";
}

struct accuracy *accuracy_open(const struct accuracy_setting *setting) {
    struct accuracy *const accuracy = calloc(1, sizeof *accuracy);

    if (accuracy == NULL)
        return NULL;
    accuracy->setting = *setting;
    accuracy->sensor =
        (struct channel){.channel_id = setting->sensor_id, .interval_ms = setting->sensor_interval_ms};
    accuracy->reference =
        (struct channel){.channel_id = setting->reference_id, .interval_ms = setting->reference_interval_ms};
    accuracy->by_reference = setting->reference_interval_ms > setting->sensor_interval_ms;
    return accuracy;
}

void accuracy_free(struct accuracy *accuracy) {
    free(accuracy);
}

/* ---- lines ---- */

static void add_to_line(struct line *line, double x, double y) {
    const double dx = x - line->mean_x, dy = y - line->mean_y;

    line->n++;
    line->mean_x += dx / line->n;
    line->mean_y += dy / line->n;
    line->xx += dx * (x - line->mean_x);
    line->xy += dx * (y - line->mean_y);
}

static double slope_of(const struct channel *channel) {
    return channel->line.xx > 0 ? channel->line.xy / channel->line.xx : 0;
}

/* ---- pairs ---- */

static bool is_fresh(const struct channel *channel, int64_t t_ms) {
    return channel->read && t_ms - channel->good_ms <= GAP_INTERVALS * channel->interval_ms;
}

static void add_pair(struct accuracy *accuracy, int64_t sensor_mc, int64_t reference_mc) {
    const double difference = (double)(sensor_mc - reference_mc);
    const double off = difference - accuracy->mean;

    accuracy->n++;
    accuracy->mean += off / accuracy->n;
    accuracy->squares += off * (difference - accuracy->mean);
    accuracy->sensor_sum += sensor_mc;
    accuracy->reference_sum += reference_mc;
    accuracy->result.pair_count++;
}

/* Typed readings up to `t_ms`, exclusive, meet what the sensor said last. */
static void pair_typed(struct accuracy *accuracy, int64_t t_ms) {
    const struct accuracy_setting *setting = &accuracy->setting;

    for (; accuracy->next_typed < setting->typed_count && setting->typed[accuracy->next_typed].t_ms < t_ms;
         accuracy->next_typed++) {
        struct accuracy_typed *typed = &accuracy->setting.typed[accuracy->next_typed];

        typed->paired = typed->t_ms >= setting->from_ms && typed->t_ms <= setting->to_ms &&
                        is_fresh(&accuracy->sensor, typed->t_ms);
        typed->sensor_mc = accuracy->sensor.last_mc;
        if (typed->paired)
            add_pair(accuracy, typed->sensor_mc, typed->said_mc + setting->correction_mc);
    }
}

static void note_silence(struct channel *channel, int64_t from_ms, int64_t until_ms) {
    const int64_t silence_ms = until_ms - (channel->read ? channel->good_ms : from_ms);

    channel->silence_ms = silence_ms > channel->silence_ms ? silence_ms : channel->silence_ms;
}

void accuracy_feed(struct accuracy *accuracy, const struct reading *reading) {
    const struct accuracy_setting *setting = &accuracy->setting;
    struct channel *const sensor = &accuracy->sensor, *const reference = &accuracy->reference;
    const bool of_reference = setting->reference_id != 0 && reading->channel_id == reference->channel_id;
    struct channel *const channel = of_reference ? reference : sensor;

    if (reading->channel_id != channel->channel_id || reading->quality != QUALITY_GOOD ||
        reading->t_ms < setting->from_ms || reading->t_ms > setting->to_ms)
        return;
    if (!of_reference)
        pair_typed(accuracy, reading->t_ms);
    note_silence(channel, setting->from_ms, reading->t_ms);
    channel->read = true;
    channel->good_ms = reading->t_ms;
    channel->last_mc = reading->value + (of_reference ? setting->correction_mc : 0);
    add_to_line(&channel->line, (double)(reading->t_ms - setting->from_ms) / MS_PER_H, (double)channel->last_mc);
    if (setting->reference_id != 0 && of_reference == accuracy->by_reference &&
        is_fresh(of_reference ? sensor : reference, reading->t_ms))
        add_pair(accuracy, sensor->last_mc, reference->last_mc);
}

/* ---- the result ---- */

static double steepest(const struct accuracy *accuracy) {
    return fmax(fabs(slope_of(&accuracy->sensor)), fabs(slope_of(&accuracy->reference)));
}

static int64_t uncertainty_of(const struct accuracy *accuracy) {
    const struct accuracy_setting *setting = &accuracy->setting;
    const int64_t faster_ms = accuracy->by_reference ? setting->sensor_interval_ms : setting->reference_interval_ms;
    const int64_t apart_ms = setting->reference_id != 0 ? faster_ms : ACCURACY_TYPING_MS;
    const double moved = steepest(accuracy) * (double)apart_ms / MS_PER_H;
    const double repeated = COVERAGE * (double)accuracy->result.deviation_mc;
    const double reference = (double)setting->reference_uncertainty_mc;

    return llround(sqrt(reference * reference + repeated * repeated + moved * moved));
}

static bool has_gap(const struct channel *channel) {
    return channel->silence_ms > GAP_INTERVALS * channel->interval_ms;
}

static bool is_stable(const struct accuracy *accuracy) {
    const bool by_channel = accuracy->setting.reference_id != 0;

    return accuracy->sensor.read && !has_gap(&accuracy->sensor) &&
           (!by_channel || (accuracy->reference.read && !has_gap(&accuracy->reference))) &&
           steepest(accuracy) < (double)ACCURACY_SLOPE_MC_PER_H;
}

static enum accuracy_reason find_reason(const struct accuracy *accuracy) {
    const struct accuracy_setting *setting = &accuracy->setting;
    const bool by_channel = setting->reference_id != 0;

    if (!accuracy->sensor.read)
        return ACCURACY_UNREAD;
    if (by_channel ? !accuracy->reference.read : setting->typed_count == 0)
        return ACCURACY_NO_REFERENCE;
    if (setting->to_ms - setting->from_ms < ACCURACY_WINDOW_MS)
        return ACCURACY_TOO_SHORT;
    if (has_gap(&accuracy->sensor) || (by_channel && has_gap(&accuracy->reference)))
        return ACCURACY_GAP;
    if (steepest(accuracy) >= (double)ACCURACY_SLOPE_MC_PER_H)
        return ACCURACY_UNSTABLE;
    if (accuracy->result.pair_count < ACCURACY_READINGS_LEAST)
        return ACCURACY_TOO_FEW;
    if (setting->due_ms == 0)
        return ACCURACY_DUE_UNSTATED;
    if (setting->due_ms < setting->to_ms)
        return ACCURACY_OVERDUE;
    return setting->reference_uncertainty_mc == 0 ? ACCURACY_UNSTATED : ACCURACY_SOUND;
}

static void judge(struct accuracy *accuracy) {
    const struct accuracy_setting *setting = &accuracy->setting;
    struct accuracy_result *const result = &accuracy->result;
    const int64_t beyond = llabs(result->difference_mc) - setting->allowed_mc;

    result->reason = find_reason(accuracy);
    if (result->reason == ACCURACY_SOUND && setting->guarded && beyond <= 0 && beyond + result->uncertainty_mc > 0)
        result->reason = ACCURACY_INSIDE_BY_LESS;
    result->outcome = result->reason != ACCURACY_SOUND ? OUTCOME_NOT_PROVEN
                      : beyond > 0                     ? OUTCOME_NOT_MET
                                                       : OUTCOME_MET;
}

const struct accuracy_result *accuracy_finish(struct accuracy *accuracy) {
    const struct accuracy_setting *setting = &accuracy->setting;
    struct accuracy_result *const result = &accuracy->result;

    if (accuracy->over)
        return result;
    accuracy->over = true;
    pair_typed(accuracy, INT64_MAX);
    note_silence(&accuracy->sensor, setting->from_ms, setting->to_ms);
    note_silence(&accuracy->reference, setting->from_ms, setting->to_ms);
    if (result->pair_count > 0) {
        result->sensor_mc = llround((double)accuracy->sensor_sum / accuracy->n);
        result->reference_mc = llround((double)accuracy->reference_sum / accuracy->n);
        result->difference_mc = llround(accuracy->mean);
    }
    if (result->pair_count > 1)
        result->deviation_mc = llround(sqrt(accuracy->squares / (accuracy->n - 1)));
    result->sensor_slope_mc_per_h = llround(slope_of(&accuracy->sensor));
    result->reference_slope_mc_per_h = llround(slope_of(&accuracy->reference));
    result->silence_ms = accuracy->sensor.silence_ms;
    if (setting->reference_id != 0 && accuracy->reference.silence_ms > result->silence_ms)
        result->silence_ms = accuracy->reference.silence_ms;
    result->uncertainty_mc = uncertainty_of(accuracy);
    result->stable = is_stable(accuracy);
    result->typed_count = setting->typed_count;
    for (size_t i = 0; i < setting->typed_count; i++)
        result->typed[i] = setting->typed[i];
    judge(accuracy);
    return result;
}
