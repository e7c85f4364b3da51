// SPDX-License-Identifier: MIT
/* From what was found to met, not met and not proven. */
#include <math.h>

#include "judge_private.h"

static int64_t largest_uncertainty_mc(const struct judge *judge) {
    int64_t largest_mc = 0;

    for (size_t i = 0; i < judge->load_count; i++) {
        if (judge->loads[i].channel.uncertainty_mc > largest_mc)
            largest_mc = judge->loads[i].channel.uncertainty_mc;
    }
    return largest_mc;
}

static int64_t uncertainty_of(const struct judge *judge, int64_t channel_id) {
    for (size_t i = 0; i < judge->load_count; i++) {
        if (judge->loads[i].channel.channel_id == channel_id)
            return judge->loads[i].channel.uncertainty_mc;
    }
    return 0;
}

/* Of a difference of two channels: the two largest, independent of each other (JCGM 100, 5.1.2). */
static int64_t uncertainty_of_spread(const struct judge *judge) {
    double first = 0, second = 0;

    for (size_t i = 0; i < judge->load_count; i++) {
        const double next = (double)judge->loads[i].channel.uncertainty_mc;

        if (next > first) {
            second = first;
            first = next;
        } else if (next > second) {
            second = next;
        }
    }
    return (int64_t)lround(hypot(first, second));
}

void verdict_guard(const struct judge *judge, struct verdict *verdict) {
    if (judge->plan->decision != PLAN_DECISION_GUARDED || verdict->outcome != OUTCOME_MET ||
        verdict->margin >= verdict->uncertainty)
        return;
    verdict->outcome = OUTCOME_NOT_PROVEN;
    verdict->reason = REASON_UNCERTAIN;
}

static void find_stretch(const struct soak *soak, struct verdict *verdict) {
    const struct stretch *longest = soak_longest(soak);

    verdict->found_known = true;
    verdict->found = stretch_ms(longest);
    verdict->possible = soak->possible_longest_ms > verdict->found ? soak->possible_longest_ms : verdict->found;
    verdict->t_ms = longest->begun_ms;
}

static void judge_least(const struct judge *judge, const struct soak *soak, struct verdict *verdict) {
    find_stretch(soak, verdict);
    verdict->uncertainty = largest_uncertainty_mc(judge);
    verdict->margin = verdict->found - verdict->required;
    verdict->channel_id = soak_longest(soak)->ended_by;
    if (verdict->found >= verdict->required) {
        const bool surely = soak->strict == JUDGE_NO_SOAK ||
                            stretch_ms(soak_longest(&judge->soaks[soak->strict])) >= verdict->required;

        verdict->outcome = surely ? OUTCOME_MET : OUTCOME_NOT_PROVEN;
        verdict->reason = surely ? REASON_NONE : judge->ended ? REASON_UNCERTAIN : REASON_RUN_OPEN;
    } else if (!judge->ended) {
        verdict->reason = REASON_RUN_OPEN;
    } else if (verdict->possible >= verdict->required) {
        verdict->reason = REASON_GAP;
    } else {
        verdict->outcome = OUTCOME_NOT_MET;
        verdict->reason = soak->facts.first_begun_ms == 0 ? REASON_NOT_REACHED : REASON_NONE;
    }
}

static void judge_most(const struct judge *judge, const struct soak *soak, struct verdict *verdict) {
    find_stretch(soak, verdict);
    verdict->uncertainty = largest_uncertainty_mc(judge);
    verdict->margin = verdict->required - verdict->found;
    if (verdict->found > verdict->required)
        verdict->outcome = OUTCOME_NOT_MET;
    else if (!judge->ended)
        verdict->reason = REASON_RUN_OPEN;
    else if (verdict->possible > verdict->required)
        verdict->reason = REASON_GAP;
    else if (soak->facts.first_begun_ms == 0)
        verdict->reason = REASON_NOT_REACHED;
    else if (soak->lenient != JUDGE_NO_SOAK && judge->soaks[soak->lenient].possible_longest_ms > verdict->required)
        verdict->reason = REASON_UNCERTAIN;
    else
        verdict->outcome = OUTCOME_MET;
}

static void judge_overshoot(const struct judge *judge, const struct soak *soak, struct verdict *verdict) {
    bool doubtful = false, all_crossed = true;

    for (size_t i = 0; i < judge->load_count; i++) {
        const struct track *track = &soak->tracks[i];
        const int64_t over_mc = track->peak_mc - soak->operation->temperature_mc;

        doubtful |= track->overshoot_unproven;
        if (!track->has_crossed)
            all_crossed = false;
        else if (!verdict->found_known || over_mc > verdict->found) {
            verdict->found_known = true;
            verdict->found = verdict->possible = over_mc;
            verdict->t_ms = track->peak_ms;
            verdict->channel_id = track->channel.channel_id;
        }
    }
    verdict->uncertainty = uncertainty_of(judge, verdict->channel_id);
    verdict->margin = verdict->required - verdict->found;
    if (verdict->found_known && verdict->margin < 0)
        verdict->outcome = OUTCOME_NOT_MET;
    else if (!judge->ended)
        verdict->reason = REASON_RUN_OPEN;
    else if (doubtful)
        verdict->reason = REASON_GAP;
    else if (!all_crossed)
        verdict->reason = REASON_NOT_REACHED;
    else
        verdict->outcome = OUTCOME_MET;
    verdict_guard(judge, verdict);
}

static void judge_spread(const struct judge *judge, const struct soak *soak, struct verdict *verdict) {
    const struct stretch *longest = soak_longest(soak);

    verdict->found_known = longest->samples > 0;
    verdict->found = verdict->possible = longest->spread_mc;
    verdict->margin = verdict->required - verdict->found;
    verdict->t_ms = longest->spread_ms;
    verdict->uncertainty = uncertainty_of_spread(judge);
    if (judge->load_count < 2)
        verdict->reason = REASON_ONE_SENSOR;
    else if (!judge->ended) // a longer stretch may come, and it is the one that counts
        verdict->reason = REASON_RUN_OPEN;
    else if (verdict->found_known && verdict->margin < 0)
        verdict->outcome = OUTCOME_NOT_MET;
    else if (soak->facts.first_begun_ms == 0)
        verdict->reason = REASON_NOT_REACHED;
    else if (longest->samples < JUDGE_LEAST_READINGS)
        verdict->reason = REASON_TOO_FEW;
    else if (judge->unseen) // the longest stretch may have been before
        verdict->reason = REASON_GAP;
    else
        verdict->outcome = OUTCOME_MET;
    verdict_guard(judge, verdict);
}

void soak_verdict(const struct judge *judge, const struct soak *soak, struct verdict *verdict) {
    verdict->reason = REASON_NONE;
    switch (verdict->requirement) {
    case REQUIREMENT_SOAK_LEAST:
    case REQUIREMENT_HOLD_LEAST: judge_least(judge, soak, verdict); break;
    case REQUIREMENT_SOAK_MOST: judge_most(judge, soak, verdict); break;
    case REQUIREMENT_OVERSHOOT: judge_overshoot(judge, soak, verdict); break;
    case REQUIREMENT_SPREAD: judge_spread(judge, soak, verdict); break;
    default: break;
    }
}

void load_start_verdict(const struct judge *judge, const struct plan_operation *operation,
                        struct verdict *verdict) {
    bool all = true;

    verdict->reason = REASON_NONE;
    verdict->required = operation->load_at_most.value;
    for (size_t i = 0; i < judge->load_count; i++) {
        const struct load *load = &judge->loads[i];

        all &= load->had_first;
        if (load->had_first && (!verdict->found_known || load->first_mc > verdict->found)) {
            verdict->found_known = true;
            verdict->found = verdict->possible = load->first_mc;
            verdict->t_ms = load->first_ms;
            verdict->channel_id = load->channel.channel_id;
        }
    }
    verdict->uncertainty = uncertainty_of(judge, verdict->channel_id);
    verdict->margin = verdict->required - verdict->found;
    if (judge->unseen) // its first reading is not the start
        verdict->reason = REASON_GAP;
    else if (verdict->found_known && verdict->margin < 0)
        verdict->outcome = OUTCOME_NOT_MET;
    else if (!all)
        verdict->reason = judge->ended ? REASON_GAP : REASON_RUN_OPEN;
    else
        verdict->outcome = OUTCOME_MET;
    verdict_guard(judge, verdict);
}

/* Time of the run in which a load channel gave no good reading for longer than a gap. */
static int64_t unread_ms(const struct judge *judge, const struct load *load) {
    const int64_t limit_ms = JUDGE_GAP_INTERVALS * load->channel.interval_ms;
    const int64_t first_ms = load->had_first ? load->first_ms - judge->first_ms : judge->now_ms - judge->first_ms;
    const int64_t last_ms = load->had_first ? judge->now_ms - load->sum.last_ms : 0;

    return load->sum.missing_ms + (first_ms > limit_ms ? first_ms : 0) + (last_ms > limit_ms ? last_ms : 0);
}

static int64_t sum_ms(const struct temper_sum *sum) {
    return (int64_t)llround(sum->equivalent_h * JUDGE_MS_PER_HOUR);
}

static const struct load *least_tempered(const struct judge *judge) {
    const struct load *least = &judge->loads[0];

    for (size_t i = 1; i < judge->load_count; i++) {
        if (judge->loads[i].sum.equivalent_h < least->sum.equivalent_h)
            least = &judge->loads[i];
    }
    return least;
}

int64_t judge_equivalent_ms(const struct judge *judge, int64_t *missing_ms) {
    *missing_ms = 0;
    if (judge->load_count == 0 || judge->main->operation->kind != OPERATION_TEMPER)
        return 0;
    for (size_t i = 0; i < judge->load_count; i++) {
        const int64_t unread = unread_ms(judge, &judge->loads[i]);

        if (unread > *missing_ms)
            *missing_ms = unread;
    }
    return sum_ms(&least_tempered(judge)->sum);
}

/* What is missing could only have added: enough without it is enough, and what is too little with nothing missing
 * stays too little. */
void equivalent_verdict(const struct judge *judge, struct verdict *verdict) {
    const bool guarded = judge->plan->decision == PLAN_DECISION_GUARDED;
    bool enough = true, surely = true, broken = false;
    const struct load *least = least_tempered(judge);

    for (size_t i = 0; i < judge->load_count; i++) {
        const struct load *load = &judge->loads[i];
        const bool has_it = sum_ms(&load->sum) >= verdict->required;

        enough &= has_it;
        surely &= !guarded || sum_ms(&load->lowered) >= verdict->required;
        broken |= !has_it && unread_ms(judge, load) == 0;
    }
    verdict->found_known = true;
    verdict->found = verdict->possible = sum_ms(&least->sum);
    verdict->margin = verdict->found - verdict->required;
    verdict->channel_id = least->channel.channel_id;
    verdict->uncertainty = least->channel.uncertainty_mc;
    verdict->reason = REASON_NONE;
    if (enough && surely)
        verdict->outcome = OUTCOME_MET;
    else if (!judge->ended)
        verdict->reason = REASON_RUN_OPEN;
    else if (enough)
        verdict->reason = REASON_UNCERTAIN;
    else if (broken)
        verdict->outcome = OUTCOME_NOT_MET;
    else
        verdict->reason = REASON_GAP;
}
