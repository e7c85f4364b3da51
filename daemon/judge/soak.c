// SPDX-License-Identifier: MIT
/* The charge against B: merges the tracks of all load channels up to the frontier and keeps the proven and the
 * possible stretch, the overshoot and the spread. */
#include <stdlib.h>

#include "judge_private.h"

int soak_open(struct judge *judge, size_t operation_index, int64_t longest_gap_ms) {
    struct soak *soak = &judge->soak;
    int64_t shortest_ms = INT64_MAX, longest_ms = 0;

    soak->operation = &judge->plan->operations[operation_index];
    soak->index = operation_index;
    soak->edge_mc = soak->operation->temperature_mc - soak->operation->below_mc;
    soak->required_ms = soak->operation->time_at_least_ms + judge->plan->lag_allowance_ms;
    soak->settled_ms = soak->required_ms / 2 < JUDGE_SETTLED_MS ? soak->required_ms / 2 : JUDGE_SETTLED_MS;
    soak->standing = STANDING_OUT;
    for (size_t i = 0; i < judge->load_count; i++) {
        const int64_t interval_ms = judge->loads[i].channel.interval_ms;

        if (interval_ms < shortest_ms)
            shortest_ms = interval_ms;
        if (interval_ms >= longest_ms) { // the last of equals: the others were read just before it
            longest_ms = interval_ms;
            soak->pace = i;
        }
    }
    soak->samples_most = judge->load_count == 0 ? 1 : (size_t)(longest_gap_ms / shortest_ms) + JUDGE_LEAST_READINGS;
    soak->samples = calloc(soak->samples_most, sizeof *soak->samples);
    return soak->samples == NULL ? -1 : 0;
}

void soak_free(struct soak *soak) {
    free(soak->samples);
}

static int64_t stretch_ms(const struct stretch *stretch) {
    return stretch->ended_ms - stretch->begun_ms;
}

/* The stretch that is on may be the longest already. */
static const struct stretch *longest_stretch(const struct soak *soak) {
    return soak->now.on && stretch_ms(&soak->now) > stretch_ms(&soak->longest) ? &soak->now : &soak->longest;
}

static void begin_stretch(struct soak *soak, int64_t t_ms) {
    soak->now = (struct stretch){.on = true, .begun_ms = t_ms, .ended_ms = t_ms};
    soak->facts.stretch_count++;
    if (soak->facts.first_begun_ms == 0)
        soak->facts.first_begun_ms = t_ms;
}

/* A charge that crosses B slowly goes in and out with the noise of its sensor. A stretch makes a finding once it
 * has lasted, and is dated to where it began; what is measured does not wait. */
static void announce_stretch(struct judge *judge) {
    struct soak *soak = &judge->soak;

    soak->announced = true;
    if (!soak->begun)
        judge_make_finding(judge, FINDING_SOAK_BEGUN, soak->now.begun_ms, soak->index, 0, soak->edge_mc, 0);
    else if (soak->broken)
        judge_make_finding(judge, FINDING_SOAK_RESUMED, soak->now.begun_ms, soak->index, 0, soak->lowest_mc,
                           soak->edge_mc);
    soak->facts.breaks += soak->broken;
    soak->begun = true;
    soak->broken = false;
}

static void end_stretch(struct soak *soak, int64_t t_ms, int64_t channel_id) {
    soak->now.on = false;
    soak->now.ended_ms = t_ms;
    soak->now.ended_by = channel_id;
    soak->facts.total_in_ms += stretch_ms(&soak->now);
    soak->facts.last_ended_ms = t_ms;
    if (stretch_ms(&soak->now) > stretch_ms(&soak->longest))
        soak->longest = soak->now;
}

static void break_soak(struct judge *judge, int64_t t_ms, int64_t channel_id) {
    struct soak *soak = &judge->soak;

    soak->announced = false;
    soak->broken = true;
    soak->lowest_mc = soak->edge_mc;
    for (size_t i = 0; i < judge->load_count; i++) {
        if (judge->loads[i].had_good && judge->loads[i].good_mc < soak->lowest_mc)
            soak->lowest_mc = judge->loads[i].good_mc;
    }
    judge_make_finding(judge, FINDING_SOAK_BROKEN, t_ms, soak->index, channel_id, stretch_ms(&soak->now),
                       soak->required_ms);
}

/* The charge is in while every channel is; it is out as soon as one is; else nobody knows. */
static enum standing merge_standings(const struct judge *judge) {
    enum standing merged = STANDING_IN;

    for (size_t i = 0; i < judge->load_count; i++) {
        if (judge->loads[i].merged < merged)
            merged = judge->loads[i].merged;
    }
    return merged;
}

static void close_possible(struct soak *soak, int64_t t_ms) {
    if (soak->possible_on && t_ms - soak->possible_since_ms > soak->possible_longest_ms)
        soak->possible_longest_ms = t_ms - soak->possible_since_ms;
}

static void stand(struct judge *judge, enum standing to, int64_t t_ms, int64_t channel_id) {
    struct soak *soak = &judge->soak;
    const enum standing from = soak->standing;

    if (from == to)
        return;
    if (from == STANDING_IN)
        end_stretch(soak, t_ms, to == STANDING_OUT ? channel_id : 0);
    if (to == STANDING_IN)
        begin_stretch(soak, t_ms);
    else if (to == STANDING_OUT && soak->announced)
        break_soak(judge, t_ms, channel_id);
    if (from == STANDING_OUT) {
        soak->possible_on = true;
        soak->possible_since_ms = t_ms;
    } else if (to == STANDING_OUT) {
        close_possible(soak, t_ms);
        soak->possible_on = false;
    }
    soak->standing = to;
    soak->standing_since_ms = t_ms;
}

/* The stretch has lasted until `t_ms` at least. */
static void lengthen(struct judge *judge, int64_t t_ms) {
    struct soak *soak = &judge->soak;
    const struct plan_limit *most = &soak->operation->time_at_most;

    if (!soak->now.on)
        return;
    if (t_ms > soak->now.ended_ms)
        soak->now.ended_ms = t_ms;
    if (!soak->announced && stretch_ms(&soak->now) >= soak->settled_ms)
        announce_stretch(judge);
    if (!soak->fulfilled && stretch_ms(&soak->now) >= soak->required_ms) {
        soak->fulfilled = true;
        judge_make_finding(judge, FINDING_SOAK_FULFILLED, soak->now.begun_ms + soak->required_ms, soak->index, 0,
                           soak->required_ms, soak->required_ms);
    }
    if (most->set && !soak->exceeded && stretch_ms(&soak->now) > most->value) {
        soak->exceeded = true;
        judge_make_finding(judge, FINDING_SOAK_EXCEEDED, soak->now.begun_ms + most->value, soak->index, 0,
                           most->value, most->value);
    }
}

static void count_sample(struct judge *judge, const struct sample *sample) {
    struct soak *soak = &judge->soak;
    const struct plan_limit *limit = &soak->operation->spread_at_most;

    if (!soak->now.on || sample->t_ms < soak->now.begun_ms)
        return;
    if (soak->now.samples++ == 0 || sample->spread_mc > soak->now.spread_mc) {
        soak->now.spread_mc = sample->spread_mc;
        soak->now.spread_ms = sample->t_ms;
    }
    if (limit->set && sample->spread_mc > limit->value && !soak->now.spread_over) {
        soak->now.spread_over = true;
        judge_make_finding(judge, FINDING_SPREAD, sample->t_ms, soak->index, 0, sample->spread_mc, limit->value);
    }
}

/* The track whose next change is the earliest, not after `until_ms`; NULL if there is none. */
static struct track *earliest_change(struct judge *judge, int64_t until_ms) {
    struct track *earliest = NULL;

    for (size_t i = 0; i < judge->load_count; i++) {
        struct track *track = &judge->loads[i];

        if (track->changes_count > 0 && track->changes[track->changes_first].t_ms <= until_ms) {
            until_ms = track->changes[track->changes_first].t_ms - 1;
            earliest = track;
        }
    }
    return earliest;
}

/* Takes all that changes at the moment of the earliest change. A single reading below B between two gaps is out for
 * no time at all, and still says that the charge was out: `was_out` keeps it. */
static void take_changes(struct judge *judge, struct track *track, bool *was_out) {
    const int64_t t_ms = track->changes[track->changes_first].t_ms;

    *was_out = false;
    do {
        track->merged = track->changes[track->changes_first].to;
        track->changes_first = (track->changes_first + 1) % track->changes_most;
        track->changes_count--;
        *was_out |= track->merged == STANDING_OUT;
        track = earliest_change(judge, t_ms);
    } while (track != NULL);
}

static void take_samples(struct judge *judge, int64_t before_ms) {
    struct soak *soak = &judge->soak;

    while (soak->samples_count > 0 && soak->samples[soak->samples_first].t_ms < before_ms) {
        count_sample(judge, &soak->samples[soak->samples_first]);
        soak->samples_first = (soak->samples_first + 1) % soak->samples_most;
        soak->samples_count--;
    }
}

void soak_advance(struct judge *judge, int64_t frontier_ms) {
    struct soak *soak = &judge->soak;
    struct track *track;

    while ((track = earliest_change(judge, frontier_ms)) != NULL) {
        const int64_t t_ms = track->changes[track->changes_first].t_ms;
        const int64_t channel_id = track->channel.channel_id;
        bool was_out;

        take_samples(judge, soak->now.on ? t_ms + 1 : t_ms); // both ends belong to the stretch
        lengthen(judge, t_ms);
        take_changes(judge, track, &was_out);
        if (was_out)
            stand(judge, STANDING_OUT, t_ms, channel_id);
        stand(judge, merge_standings(judge), t_ms, channel_id);
    }
    take_samples(judge, frontier_ms);
    lengthen(judge, frontier_ms);
    if (soak->possible_on)
        close_possible(soak, frontier_ms); // how long it may have been so far
}

/* ---- overshoot ---- */

static void end_excursion(struct judge *judge, struct track *track) {
    const struct plan_operation *operation = judge->soak.operation;

    if (!track->is_over)
        return;
    track->is_over = false;
    judge_make_finding(judge, FINDING_OVERSHOOT_PEAK, track->excursion_ms, judge->soak.index,
                       track->channel.channel_id, track->excursion_mc,
                       operation->temperature_mc + operation->overshoot_at_most.value);
}

static void watch_overshoot(struct judge *judge, struct track *track, const struct reading *reading) {
    const struct plan_operation *operation = judge->soak.operation;
    const int64_t limit_mc = operation->temperature_mc + operation->overshoot_at_most.value;

    if (reading->value >= judge->soak.edge_mc)
        track->has_crossed = true;
    if (!track->has_crossed)
        return;
    if (track->peak_ms == 0 || reading->value > track->peak_mc) {
        track->peak_mc = reading->value;
        track->peak_ms = reading->t_ms;
    }
    if (reading->value <= limit_mc) {
        if (reading->t_ms - track->over_ms >= JUDGE_SETTLED_MS) // else it may be noise about the limit
            end_excursion(judge, track);
        return;
    }
    track->over_ms = reading->t_ms;
    if (!track->is_over) {
        track->is_over = true;
        track->excursion_mc = INT64_MIN;
        judge_make_finding(judge, FINDING_OVERSHOOT, reading->t_ms, judge->soak.index, track->channel.channel_id,
                           reading->value, limit_mc);
    }
    if (reading->value > track->excursion_mc) {
        track->excursion_mc = reading->value;
        track->excursion_ms = reading->t_ms;
    }
}

/* ---- spread ---- */

static void take_spread(struct judge *judge, int64_t t_ms) {
    struct soak *soak = &judge->soak;
    const int64_t oldest_ms = t_ms - judge->loads[soak->pace].channel.interval_ms;
    int64_t hottest_mc = INT64_MIN, coldest_mc = INT64_MAX;

    for (size_t i = 0; i < judge->load_count; i++) {
        const struct track *track = &judge->loads[i];

        if (!track->had_good || track->good_ms < oldest_ms)
            return;
        hottest_mc = track->good_mc > hottest_mc ? track->good_mc : hottest_mc;
        coldest_mc = track->good_mc < coldest_mc ? track->good_mc : coldest_mc;
    }
    if (soak->samples_count == soak->samples_most)
        take_samples(judge, soak->samples[soak->samples_first].t_ms + 1);
    soak->samples[(soak->samples_first + soak->samples_count) % soak->samples_most] =
        (struct sample){.t_ms = t_ms, .spread_mc = hottest_mc - coldest_mc};
    soak->samples_count++;
}

void soak_feed(struct judge *judge, struct track *track, const struct reading *reading) {
    struct soak *soak = &judge->soak;

    if (reading->quality != QUALITY_GOOD)
        return;
    if (soak->broken && reading->value < soak->lowest_mc)
        soak->lowest_mc = reading->value;
    watch_overshoot(judge, track, reading);
    if (track == &judge->loads[soak->pace] && judge->load_count > 1)
        take_spread(judge, reading->t_ms);
}

void soak_end(struct judge *judge, int64_t end_ms) {
    struct soak *soak = &judge->soak;

    soak_advance(judge, end_ms);
    take_samples(judge, INT64_MAX);
    if (soak->now.on)
        end_stretch(soak, end_ms, 0);
    if (!soak->begun && soak->facts.first_begun_ms != 0) { // it was in, if only for moments
        judge_make_finding(judge, FINDING_SOAK_BEGUN, soak->facts.first_begun_ms, soak->index, 0, soak->edge_mc, 0);
        judge_make_finding(judge, FINDING_SOAK_BROKEN, soak->facts.last_ended_ms, soak->index,
                           soak->longest.ended_by, stretch_ms(&soak->longest), soak->required_ms);
    }
    for (size_t i = 0; i < judge->load_count; i++)
        end_excursion(judge, &judge->loads[i]);
}

/* ---- verdicts ---- */

static void judge_least(const struct judge *judge, struct verdict *verdict) {
    const struct soak *soak = &judge->soak;
    const struct stretch *longest = longest_stretch(soak);

    verdict->required = soak->required_ms;
    verdict->found_known = true;
    verdict->found = stretch_ms(longest);
    verdict->possible = soak->possible_longest_ms > verdict->found ? soak->possible_longest_ms : verdict->found;
    verdict->margin = verdict->found - verdict->required;
    verdict->t_ms = longest->begun_ms;
    verdict->channel_id = longest->ended_by;
    if (verdict->found >= verdict->required) {
        verdict->outcome = OUTCOME_MET;
    } else if (!judge->ended) {
        verdict->reason = REASON_RUN_OPEN;
    } else if (verdict->possible >= verdict->required) {
        verdict->reason = REASON_GAP;
    } else {
        verdict->outcome = OUTCOME_NOT_MET;
        verdict->reason = soak->facts.first_begun_ms == 0 ? REASON_NOT_REACHED : REASON_NONE;
    }
}

static void judge_most(const struct judge *judge, struct verdict *verdict) {
    const struct soak *soak = &judge->soak;
    const struct stretch *longest = longest_stretch(soak);

    verdict->required = soak->operation->time_at_most.value;
    verdict->found_known = true;
    verdict->found = stretch_ms(longest);
    verdict->possible = soak->possible_longest_ms > verdict->found ? soak->possible_longest_ms : verdict->found;
    verdict->margin = verdict->required - verdict->found;
    verdict->t_ms = longest->begun_ms;
    if (verdict->found > verdict->required)
        verdict->outcome = OUTCOME_NOT_MET;
    else if (!judge->ended)
        verdict->reason = REASON_RUN_OPEN;
    else if (verdict->possible > verdict->required)
        verdict->reason = REASON_GAP;
    else if (soak->facts.first_begun_ms == 0)
        verdict->reason = REASON_NOT_REACHED;
    else
        verdict->outcome = OUTCOME_MET;
}

static void judge_overshoot(const struct judge *judge, struct verdict *verdict) {
    const struct soak *soak = &judge->soak;
    bool doubtful = false, all_crossed = true;

    verdict->required = soak->operation->overshoot_at_most.value;
    for (size_t i = 0; i < judge->load_count; i++) {
        const struct track *track = &judge->loads[i];
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
}

static void judge_spread(const struct judge *judge, struct verdict *verdict) {
    const struct soak *soak = &judge->soak;
    const struct stretch *longest = longest_stretch(soak);

    verdict->required = soak->operation->spread_at_most.value;
    verdict->found_known = longest->samples > 0;
    verdict->found = verdict->possible = longest->spread_mc;
    verdict->margin = verdict->required - verdict->found;
    verdict->t_ms = longest->spread_ms;
    if (verdict->found_known && verdict->margin < 0)
        verdict->outcome = OUTCOME_NOT_MET;
    else if (judge->load_count < 2)
        verdict->reason = REASON_ONE_SENSOR;
    else if (!judge->ended)
        verdict->reason = REASON_RUN_OPEN;
    else if (soak->facts.first_begun_ms == 0)
        verdict->reason = REASON_NOT_REACHED;
    else if (longest->samples < JUDGE_LEAST_READINGS)
        verdict->reason = REASON_TOO_FEW;
    else
        verdict->outcome = OUTCOME_MET;
}

size_t soak_verdicts(const struct judge *judge, struct verdict *verdicts) {
    static void (*const judges[REQUIREMENT_COUNT])(const struct judge *, struct verdict *) = {
        [REQUIREMENT_SOAK_LEAST] = judge_least,
        [REQUIREMENT_SOAK_MOST] = judge_most,
        [REQUIREMENT_OVERSHOOT] = judge_overshoot,
        [REQUIREMENT_SPREAD] = judge_spread,
    };
    const size_t count = judge_absent(judge->plan, judge->soak.operation->visit, verdicts);

    for (size_t i = 0; i < count; i++) {
        if (judges[verdicts[i].requirement] == NULL)
            continue;
        verdicts[i].reason = REASON_NONE;
        judges[verdicts[i].requirement](judge, &verdicts[i]);
    }
    return count;
}
