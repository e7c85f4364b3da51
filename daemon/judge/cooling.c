// SPDX-License-Identifier: MIT
/* The quench: the channels that see it, from the moment the charge left the soak. That moment is only known a
 * reading or two later, so the last readings are kept and given to the curve when it begins. */
#include <stdlib.h>

#include "judge_private.h"

/* Of what came before, see judge.h. Spare: readings do not come to the millisecond. */
enum { KEPT_BEFORE_MS = 60000, KEPT_LEAST = 16, KEPT_SPARE = 8 };

static bool plan_watches(const struct judge *judge, const struct judge_channel *channel, bool has_quench_channel) {
    if (has_quench_channel)
        return channel->role == ROLE_QUENCH;
    for (size_t i = 0; i < judge->load_count; i++) {
        if (judge->loads[i].channel.channel_id == channel->channel_id && channel->role == ROLE_LOAD)
            return true;
    }
    return false;
}

static size_t count_kept(int64_t interval_ms, int64_t longest_gap_ms) {
    const int64_t before = KEPT_BEFORE_MS / interval_ms > KEPT_LEAST ? KEPT_BEFORE_MS / interval_ms : KEPT_LEAST;

    return (size_t)(before + (longest_gap_ms + interval_ms) / interval_ms) + KEPT_SPARE;
}

int cooling_open(struct judge *judge, const struct judge_channel *channels, size_t count, int64_t longest_gap_ms,
                 struct fault *fault) {
    bool has_quench_channel = false;

    if (judge->quench_operation == NULL)
        return 0;
    for (size_t i = 0; i < count; i++)
        has_quench_channel |= channels[i].role == ROLE_QUENCH;
    for (size_t i = 0; i < count; i++) {
        struct cooling *cooling;

        if (!plan_watches(judge, &channels[i], has_quench_channel))
            continue;
        if (judge->cooling_count == JUDGE_MOST_QUENCHES)
            return fault_set(fault, EX_CONFIG, "more than %d quench channels in one oven", JUDGE_MOST_QUENCHES);
        cooling = &judge->coolings[judge->cooling_count++];
        cooling->channel = channels[i];
        cooling->kept_most = count_kept(channels[i].interval_ms, longest_gap_ms);
        cooling->kept = calloc(cooling->kept_most, sizeof *cooling->kept);
        if (cooling->kept == NULL)
            return fault_set(fault, EX_OSERR, "no memory to judge the quench");
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
        if (reading->quality == QUALITY_GOOD) {
            cooling->had_good = true;
            cooling->good_ms = reading->t_ms;
        }
        if (cooling->quench != NULL)
            quench_feed(cooling->quench, reading);
        if (cooling->kept_count == cooling->kept_most) {
            cooling->kept_first = (cooling->kept_first + 1) % cooling->kept_most;
            cooling->kept_count--;
        }
        cooling->kept[(cooling->kept_first + cooling->kept_count++) % cooling->kept_most] = *reading;
    }
}

static const struct reading *kept_at(const struct cooling *cooling, size_t index) {
    return &cooling->kept[(cooling->kept_first + index) % cooling->kept_most];
}

/* The kept readings from the first that counts on. */
static void feed_kept(struct cooling *cooling, int64_t left_ms) {
    size_t before = 0, first = 0;

    while (before < cooling->kept_count && kept_at(cooling, before)->t_ms <= left_ms)
        before++;
    while (first + KEPT_LEAST < before && kept_at(cooling, first)->t_ms < left_ms - KEPT_BEFORE_MS)
        first++;
    for (size_t i = first; i < cooling->kept_count; i++)
        quench_feed(cooling->quench, kept_at(cooling, i));
}

void cooling_begin(struct judge *judge, int64_t left_ms, bool unsure) {
    struct quench_limits limits;

    judge->left_ms = left_ms;
    judge->left_unsure = unsure;
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
        if (cooling->quench != NULL)
            feed_kept(cooling, left_ms);
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

/* A channel of which nothing comes any more: nobody tells its curve. */
static bool is_silent(const struct judge *judge, const struct cooling *cooling) {
    const int64_t since_ms = cooling->had_good ? cooling->good_ms : judge->left_ms;

    return judge->now_ms - since_ms > JUDGE_GAP_INTERVALS * cooling->channel.interval_ms;
}

int64_t judge_read_quench(const struct judge *judge, size_t index, struct quench_curve *curve) {
    const struct cooling *cooling = &judge->coolings[index];

    *curve = (struct quench_curve){0};
    if (cooling->quench == NULL)
        return cooling->channel.channel_id;
    quench_read(cooling->quench, curve);
    if (!curve->handle_warm.known && is_silent(judge, cooling)) {
        curve->gap = true;
        curve->fastest = (struct quench_time){0};
        curve->fastest_mc_per_s = curve->fastest_at_mc = curve->fastest_span_ms = 0;
    }
    return cooling->channel.channel_id;
}

static const struct quench_time *time_of(enum requirement requirement, const struct quench_curve *curve) {
    switch (requirement) {
    case REQUIREMENT_COOLING: return &curve->cooling;
    case REQUIREMENT_HANDLE_WARM: return &curve->handle_warm;
    default: return &curve->transfer;
    }
}

/* A part that was watched beyond its deadline without a gap and still is warm has broken it. */
static bool missed_deadline(const struct judge *judge, const struct verdict *verdict, const struct cooling *cooling,
                            const struct quench_curve *curve) {
    return verdict->requirement == REQUIREMENT_HANDLE_WARM && judge->left_ms != 0 && !curve->gap &&
           !judge->left_unsure && cooling->had_good && cooling->good_ms - judge->left_ms > verdict->required;
}

/* Why a moment of this channel is not known. */
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

/* What the channels say together: the longest time that is known, whether all are, and why not. */
struct weighed {
    bool all_known, missed;
    enum reason reason; // of the first that is not known; a gap before anything else
};

static void weigh_channel(const struct judge *judge, size_t index, struct verdict *verdict,
                          struct weighed *weighed) {
    struct quench_curve curve;
    const int64_t channel_id = judge_read_quench(judge, index, &curve);
    const struct quench_time *time = time_of(verdict->requirement, &curve);

    if (!time->known) {
        const enum reason reason = why_unknown(judge, verdict, &curve);

        if (weighed->all_known || reason == REASON_GAP)
            weighed->reason = reason;
        weighed->all_known = false;
        weighed->missed |= missed_deadline(judge, verdict, &judge->coolings[index], &curve);
    } else if (!verdict->found_known || time->ms > verdict->found) {
        verdict->found_known = true;
        verdict->found = verdict->possible = time->ms;
        verdict->t_ms = time->t_ms;
        verdict->channel_id = channel_id;
    }
}

/* Any channel will do: the part was quenched. */
static void judge_done(struct verdict *verdict) {
    verdict->margin = 0;
    if (verdict->found_known) {
        verdict->outcome = OUTCOME_MET;
        verdict->reason = REASON_NONE;
    } else if (verdict->reason == REASON_NOT_REACHED) {
        verdict->reason = REASON_NO_SENSOR;
    }
}

void cooling_verdict(const struct judge *judge, struct verdict *verdict) {
    const bool is_length = verdict->requirement == REQUIREMENT_COOLING; // whenever the charge left
    struct weighed weighed = {.all_known = true};

    for (size_t i = 0; i < judge->cooling_count; i++)
        weigh_channel(judge, i, verdict, &weighed);
    verdict->reason = judge->cooling_count == 0 ? REASON_NO_SENSOR : weighed.reason;
    verdict->margin = verdict->required - verdict->found;
    if (verdict->requirement == REQUIREMENT_DONE) {
        judge_done(verdict);
    } else if (verdict->found_known && verdict->margin < 0) {
        verdict->outcome = judge->left_unsure && !is_length ? OUTCOME_NOT_PROVEN : OUTCOME_NOT_MET;
        verdict->reason = verdict->outcome == OUTCOME_NOT_MET ? REASON_NONE : REASON_GAP;
    } else if (weighed.missed) {
        verdict->outcome = OUTCOME_NOT_MET;
        verdict->reason = REASON_NOT_REACHED;
        verdict->found_known = false;
    } else if (weighed.all_known && judge->cooling_count > 0) {
        verdict->outcome = OUTCOME_MET;
    }
}
