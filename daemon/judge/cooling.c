// SPDX-License-Identifier: MIT
/* The quench: the channels that see it, from the moment the charge left the soak. That moment is only known a
 * reading or two later, so the last readings are kept and given to the curve when it begins. */
#include <stdlib.h>

#include "judge_private.h"

enum { KEPT_SPARE = 16 };

static bool plan_watches(const struct judge *judge, const struct judge_channel *channel, bool has_quench_channel) {
    if (has_quench_channel)
        return channel->role == ROLE_QUENCH;
    for (size_t i = 0; i < judge->load_count; i++) {
        if (judge->loads[i].channel.channel_id == channel->channel_id && channel->role == ROLE_LOAD)
            return true;
    }
    return false;
}

int cooling_open(struct judge *judge, const struct judge_channel *channels, size_t count, int64_t longest_gap_ms) {
    bool has_quench_channel = false;

    if (judge->quench_operation == NULL)
        return 0;
    for (size_t i = 0; i < count; i++)
        has_quench_channel |= channels[i].role == ROLE_QUENCH;
    for (size_t i = 0; i < count && judge->cooling_count < JUDGE_MOST_QUENCHES; i++) {
        struct cooling *cooling = &judge->coolings[judge->cooling_count];

        if (!plan_watches(judge, &channels[i], has_quench_channel))
            continue;
        judge->cooling_count++;
        cooling->channel = channels[i];
        cooling->kept_most =
            (size_t)((longest_gap_ms + channels[i].interval_ms) / channels[i].interval_ms) + KEPT_SPARE;
        cooling->kept = calloc(cooling->kept_most, sizeof *cooling->kept);
        if (cooling->kept == NULL)
            return -1;
    }
    return 0;
}

void cooling_free(struct judge *judge) {
    for (size_t i = 0; i < judge->cooling_count; i++) {
        quench_free(judge->coolings[i].quench);
        free(judge->coolings[i].kept);
    }
}

void cooling_feed(struct judge *judge, const struct reading *reading) {
    for (size_t i = 0; i < judge->cooling_count; i++) {
        struct cooling *cooling = &judge->coolings[i];

        if (cooling->channel.channel_id != reading->channel_id ||
            (cooling->fed && reading->t_ms <= cooling->seen_ms))
            continue;
        cooling->fed = true;
        cooling->seen_ms = reading->t_ms;
        if (cooling->quench != NULL)
            quench_feed(cooling->quench, reading);
        if (cooling->kept_count == cooling->kept_most) {
            cooling->kept_first = (cooling->kept_first + 1) % cooling->kept_most;
            cooling->kept_count--;
        }
        cooling->kept[(cooling->kept_first + cooling->kept_count++) % cooling->kept_most] = *reading;
    }
}

void cooling_begin(struct judge *judge, int64_t left_ms) {
    struct quench_limits limits;

    judge->left_ms = left_ms;
    if (judge->quench_operation == NULL)
        return;
    limits = (struct quench_limits){.falls_at_least_mc_per_s = judge->quench_operation->falls_at_least_mc_per_s,
                                    .upper_mc = judge->quench_operation->cooling_upper_mc,
                                    .lower_mc = judge->quench_operation->cooling_lower_mc,
                                    .handle_warm_mc = judge->quench_operation->handle_warm_mc};
    for (size_t i = 0; i < judge->cooling_count; i++) {
        struct cooling *cooling = &judge->coolings[i];

        quench_free(cooling->quench);
        cooling->quench = quench_open(&limits, left_ms, cooling->channel.interval_ms);
        for (size_t k = 0; cooling->quench != NULL && k < cooling->kept_count; k++)
            quench_feed(cooling->quench, &cooling->kept[(cooling->kept_first + k) % cooling->kept_most]);
    }
}

void cooling_forget(struct judge *judge) {
    judge->left_ms = 0;
    for (size_t i = 0; i < judge->cooling_count; i++) {
        quench_free(judge->coolings[i].quench);
        judge->coolings[i].quench = NULL;
    }
}

size_t judge_count_quenches(const struct judge *judge) {
    return judge->cooling_count;
}

int64_t judge_read_quench(const struct judge *judge, size_t index, struct quench_curve *curve) {
    const struct cooling *cooling = &judge->coolings[index];

    *curve = (struct quench_curve){0};
    if (cooling->quench != NULL)
        quench_read(cooling->quench, curve);
    return cooling->channel.channel_id;
}

static const struct quench_time *time_of(enum requirement requirement, const struct quench_curve *curve) {
    switch (requirement) {
    case REQUIREMENT_COOLING: return &curve->cooling;
    case REQUIREMENT_HANDLE_WARM: return &curve->handle_warm;
    default: return &curve->transfer;
    }
}

/* Why a moment of this channel is not known. A part that was watched beyond its deadline without a gap and still is
 * warm has broken it. */
static bool missed_deadline(const struct judge *judge, const struct verdict *verdict, const struct cooling *cooling,
                            const struct quench_curve *curve) {
    return verdict->requirement == REQUIREMENT_HANDLE_WARM && judge->left_ms != 0 && !curve->gap &&
           cooling->seen_ms - judge->left_ms > verdict->required;
}

static enum reason why_unknown(const struct judge *judge, const struct verdict *verdict,
                               const struct quench_curve *curve) {
    if (judge->left_ms == 0)
        return judge->ended ? REASON_NOT_REACHED : REASON_RUN_OPEN;
    if (curve->gap)
        return REASON_GAP;
    if (verdict->requirement == REQUIREMENT_COOLING && curve->cooling_readings < QUENCH_LEAST_READINGS &&
        curve->handle_warm.known)
        return REASON_TOO_FEW;
    return judge->ended ? REASON_NOT_REACHED : REASON_RUN_OPEN;
}

static void weigh_channel(const struct judge *judge, size_t index, struct verdict *verdict, bool *all_known) {
    struct quench_curve curve;
    const int64_t channel_id = judge_read_quench(judge, index, &curve);
    const struct quench_time *time = time_of(verdict->requirement, &curve);

    if (!time->known) {
        *all_known = false;
        verdict->reason = why_unknown(judge, verdict, &curve);
        if (missed_deadline(judge, verdict, &judge->coolings[index], &curve)) {
            verdict->outcome = OUTCOME_NOT_MET;
            verdict->reason = REASON_NOT_REACHED;
            verdict->channel_id = channel_id;
        }
    } else if (!verdict->found_known || time->ms > verdict->found) {
        verdict->found_known = true;
        verdict->found = verdict->possible = time->ms;
        verdict->t_ms = time->t_ms;
        verdict->channel_id = channel_id;
    }
}

void cooling_verdict(const struct judge *judge, struct verdict *verdict) {
    bool all_known = judge->cooling_count > 0;

    verdict->reason = all_known ? REASON_NONE : REASON_NO_SENSOR;
    for (size_t i = 0; i < judge->cooling_count; i++)
        weigh_channel(judge, i, verdict, &all_known);
    verdict->margin = verdict->required - verdict->found;
    if (verdict->outcome == OUTCOME_NOT_MET) {
        verdict->found_known = false;
    } else if (verdict->requirement == REQUIREMENT_DONE) {
        if (verdict->found_known)
            verdict->outcome = OUTCOME_MET;
        else if (verdict->reason == REASON_NOT_REACHED)
            verdict->reason = REASON_NO_SENSOR;
    } else if (verdict->found_known && verdict->margin < 0) {
        verdict->outcome = OUTCOME_NOT_MET;
        verdict->reason = REASON_NONE;
    } else if (all_known) {
        verdict->outcome = OUTCOME_MET;
    }
}
