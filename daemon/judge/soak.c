// SPDX-License-Identifier: MIT
/* The charge against B: merges the tracks of all load channels up to the frontier and keeps the proven and the
 * possible stretch, the overshoot and the spread. */
#include <stdlib.h>

#include "judge_private.h"

int soak_open(struct judge *judge, struct soak *soak, int64_t longest_gap_ms) {
    int64_t shortest_ms = INT64_MAX, longest_ms = 0;

    soak->standing = STANDING_OUT;
    soak->settled_ms = soak->required_ms / 2 < JUDGE_SETTLED_MS ? soak->required_ms / 2 : JUDGE_SETTLED_MS;
    soak->tracks = calloc(judge->load_count + 1, sizeof *soak->tracks);
    if (soak->tracks == NULL)
        return -1;
    for (size_t i = 0; i < judge->load_count; i++) {
        const int64_t interval_ms = judge->loads[i].channel.interval_ms;

        if (track_open(&soak->tracks[i], &judge->loads[i].channel, longest_gap_ms) != 0)
            return -1;
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

void soak_free(struct judge *judge, struct soak *soak) {
    for (size_t i = 0; soak->tracks != NULL && i < judge->load_count; i++)
        track_free(&soak->tracks[i]);
    free(soak->tracks);
    free(soak->samples);
}

void soak_begin(struct soak *soak, int64_t t_ms) {
    soak->next_gap_ms = t_ms;
    soak->standing = STANDING_UNKNOWN;
    soak->possible_on = true;
    soak->possible_since_ms = t_ms;
}

/* A hold comes before the soak: what cools through its band later is not held there. */
bool soak_is_past(const struct judge *judge, const struct soak *soak) {
    return judge->soak_reached && soak->operation->kind == OPERATION_HOLD;
}

int64_t stretch_ms(const struct stretch *stretch) {
    return stretch->ended_ms - stretch->begun_ms;
}

/* The stretch that is on may be the longest already. */
const struct stretch *soak_longest(const struct soak *soak) {
    return soak->now.on && stretch_ms(&soak->now) > stretch_ms(&soak->longest) ? &soak->now : &soak->longest;
}

static void make_finding(struct judge *judge, const struct soak *soak, enum finding_kind kind, int64_t t_ms,
                         int64_t channel_id, int64_t value, int64_t limit) {
    if (soak->speaks)
        judge_make_finding(judge, kind, t_ms, soak->index, channel_id, value, limit);
}

static void begin_stretch(struct soak *soak, int64_t t_ms) {
    soak->now = (struct stretch){.on = true, .begun_ms = t_ms, .ended_ms = t_ms};
}

/* In for a single moment is in for no time: that is no stretch, whichever channel was read first. */
static void count_stretch(struct judge *judge, struct soak *soak) {
    if (soak->is_main && soak->speaks)
        cooling_forget(judge);
    soak->now.counted = true;
    soak->facts.stretch_count++;
    if (soak->facts.first_begun_ms == 0)
        soak->facts.first_begun_ms = soak->now.begun_ms;
}

/* A charge that crosses B slowly goes in and out with the noise of its sensor. A stretch makes a finding once it
 * has lasted, and is dated to where it began; what is measured does not wait. */
static void announce_stretch(struct judge *judge, struct soak *soak) {
    soak->announced = true;
    if (!soak->begun)
        make_finding(judge, soak, FINDING_SOAK_BEGUN, soak->now.begun_ms, 0, soak->sign * soak->edge_mc, 0);
    else if (soak->broken)
        make_finding(judge, soak, FINDING_SOAK_RESUMED, soak->now.begun_ms, 0, soak->sign * soak->lowest_mc,
                     soak->sign * soak->edge_mc);
    soak->facts.breaks += soak->broken;
    soak->begun = true;
    soak->broken = false;
}

static void end_stretch(struct soak *soak, int64_t t_ms, int64_t channel_id) {
    soak->now.on = false;
    if (!soak->now.counted)
        return;
    soak->now.ended_ms = t_ms;
    soak->now.ended_by = channel_id;
    soak->facts.total_in_ms += stretch_ms(&soak->now);
    soak->facts.last_ended_ms = t_ms;
    if (stretch_ms(&soak->now) > stretch_ms(&soak->longest))
        soak->longest = soak->now;
}

static void break_soak(struct judge *judge, struct soak *soak, int64_t t_ms, int64_t channel_id) {
    soak->announced = false;
    soak->broken = true;
    soak->lowest_mc = soak->edge_mc;
    for (size_t i = 0; i < judge->load_count; i++) {
        if (soak->tracks[i].had_good && soak->tracks[i].good_mc < soak->lowest_mc)
            soak->lowest_mc = soak->tracks[i].good_mc;
    }
    make_finding(judge, soak, FINDING_SOAK_BROKEN, t_ms, channel_id, stretch_ms(&soak->now), soak->required_ms);
}

/* The charge is in while every channel is; it is out as soon as one is; else nobody knows. */
static enum standing merge_standings(const struct judge *judge, const struct soak *soak) {
    enum standing merged = STANDING_IN;

    for (size_t i = 0; i < judge->load_count; i++) {
        if (soak->tracks[i].merged < merged)
            merged = soak->tracks[i].merged;
    }
    return merged;
}

static void close_possible(struct soak *soak, int64_t t_ms) {
    if (soak->possible_on && t_ms - soak->possible_since_ms > soak->possible_longest_ms)
        soak->possible_longest_ms = t_ms - soak->possible_since_ms;
}

/* `channel_id` is 0 where a gap ended it: then the charge may have left later. */
static void leave_stretch(struct judge *judge, struct soak *soak, int64_t t_ms, int64_t channel_id) {
    end_stretch(soak, t_ms, channel_id);
    if (soak->now.counted && soak->is_main && soak->speaks)
        cooling_begin(judge, t_ms, channel_id == 0);
}

static void stand(struct judge *judge, struct soak *soak, enum standing to, int64_t t_ms, int64_t channel_id) {
    const enum standing from = soak->standing;

    if (from == to)
        return;
    if (from == STANDING_IN)
        leave_stretch(judge, soak, t_ms, to == STANDING_OUT ? channel_id : 0);
    if (to == STANDING_IN)
        begin_stretch(soak, t_ms);
    else if (to == STANDING_OUT && soak->announced)
        break_soak(judge, soak, t_ms, channel_id);
    if (from == STANDING_OUT) {
        soak->possible_on = true;
        soak->possible_since_ms = t_ms;
    } else if (to == STANDING_OUT) {
        close_possible(soak, t_ms);
        soak->possible_on = false;
    }
    soak->standing = to;
}

/* The stretch has lasted until `t_ms` at least. */
static void lengthen(struct judge *judge, struct soak *soak, int64_t t_ms) {
    const struct plan_limit *most = &soak->operation->time_at_most;

    if (!soak->now.on)
        return;
    if (t_ms > soak->now.ended_ms)
        soak->now.ended_ms = t_ms;
    if (!soak->now.counted && stretch_ms(&soak->now) > 0)
        count_stretch(judge, soak);
    if (!soak->announced && stretch_ms(&soak->now) >= soak->settled_ms)
        announce_stretch(judge, soak);
    if (!soak->fulfilled && stretch_ms(&soak->now) >= soak->required_ms) {
        soak->fulfilled = true;
        make_finding(judge, soak, FINDING_SOAK_FULFILLED, soak->now.begun_ms + soak->required_ms, 0,
                     soak->required_ms, soak->required_ms);
    }
    if (most->set && !soak->exceeded && stretch_ms(&soak->now) > most->value) {
        soak->exceeded = true;
        make_finding(judge, soak, FINDING_SOAK_EXCEEDED, soak->now.begun_ms + most->value, 0, most->value,
                     most->value);
    }
}

static void count_sample(struct judge *judge, struct soak *soak, const struct sample *sample) {
    const struct plan_limit *limit = &soak->operation->spread_at_most;

    if (!soak->now.on || sample->t_ms < soak->now.begun_ms)
        return;
    if (soak->now.samples++ == 0 || sample->spread_mc > soak->now.spread_mc) {
        soak->now.spread_mc = sample->spread_mc;
        soak->now.spread_ms = sample->t_ms;
    }
    if (limit->set && sample->spread_mc > limit->value && !soak->now.spread_over) {
        soak->now.spread_over = true;
        make_finding(judge, soak, FINDING_SPREAD, sample->t_ms, 0, sample->spread_mc, limit->value);
    }
}

/* The track whose next change is the earliest, not after `until_ms`; NULL if there is none. */
static struct track *earliest_change(const struct judge *judge, struct soak *soak, int64_t until_ms) {
    struct track *earliest = NULL;

    for (size_t i = 0; i < judge->load_count; i++) {
        struct track *track = &soak->tracks[i];

        if (track->changes_count > 0 && track->changes[track->changes_first].t_ms <= until_ms) {
            until_ms = track->changes[track->changes_first].t_ms - 1;
            earliest = track;
        }
    }
    return earliest;
}

/* Takes all that changes at the moment of the earliest change. A single reading below B between two gaps is out for
 * no time at all, and still says that the charge was out: `was_out` keeps it. */
static void take_changes(const struct judge *judge, struct soak *soak, struct track *track, bool *was_out) {
    const int64_t t_ms = track->changes[track->changes_first].t_ms;

    *was_out = false;
    do {
        track->merged = track->changes[track->changes_first].to;
        track->changes_first = (track->changes_first + 1) % track->changes_most;
        track->changes_count--;
        *was_out |= track->merged == STANDING_OUT;
        track = earliest_change(judge, soak, t_ms);
    } while (track != NULL);
}

static void take_samples(struct judge *judge, struct soak *soak, int64_t before_ms) {
    while (soak->samples_count > 0 && soak->samples[soak->samples_first].t_ms < before_ms) {
        count_sample(judge, soak, &soak->samples[soak->samples_first]);
        soak->samples_first = (soak->samples_first + 1) % soak->samples_most;
        soak->samples_count--;
    }
}

void soak_advance(struct judge *judge, struct soak *soak, int64_t frontier_ms) {
    struct track *track;

    while ((track = earliest_change(judge, soak, frontier_ms)) != NULL) {
        const int64_t t_ms = track->changes[track->changes_first].t_ms;
        const int64_t channel_id = track->channel.channel_id;
        bool was_out;

        take_samples(judge, soak, soak->now.on ? t_ms + 1 : t_ms); // both ends belong to the stretch
        lengthen(judge, soak, t_ms);
        take_changes(judge, soak, track, &was_out);
        if (was_out)
            stand(judge, soak, STANDING_OUT, t_ms, channel_id);
        stand(judge, soak, merge_standings(judge, soak), t_ms, channel_id);
    }
    take_samples(judge, soak, frontier_ms);
    lengthen(judge, soak, frontier_ms);
    if (soak->possible_on)
        close_possible(soak, frontier_ms); // how long it may have been so far
}

/* ---- overshoot ---- */

static void end_excursion(struct judge *judge, const struct soak *soak, struct track *track) {
    const struct plan_operation *operation = soak->operation;

    if (!track->is_over)
        return;
    track->is_over = false;
    make_finding(judge, soak, FINDING_OVERSHOOT_PEAK, track->excursion_ms, track->channel.channel_id,
                 track->excursion_mc, operation->temperature_mc + operation->overshoot_at_most.value);
}

static void watch_overshoot(struct judge *judge, const struct soak *soak, struct track *track,
                            const struct reading *reading) {
    const struct plan_operation *operation = soak->operation;
    const int64_t limit_mc = operation->temperature_mc + operation->overshoot_at_most.value;

    if (reading->value >= soak->edge_mc)
        track->has_crossed = true;
    if (!track->has_crossed)
        return;
    if (track->peak_ms == 0 || reading->value > track->peak_mc) {
        track->peak_mc = reading->value;
        track->peak_ms = reading->t_ms;
    }
    if (reading->value <= limit_mc) {
        if (reading->t_ms - track->over_ms >= JUDGE_SETTLED_MS) // else it may be noise about the limit
            end_excursion(judge, soak, track);
        return;
    }
    track->over_ms = reading->t_ms;
    if (!track->is_over) {
        track->is_over = true;
        track->excursion_mc = INT64_MIN;
        make_finding(judge, soak, FINDING_OVERSHOOT, reading->t_ms, track->channel.channel_id, reading->value,
                     limit_mc);
    }
    if (reading->value > track->excursion_mc) {
        track->excursion_mc = reading->value;
        track->excursion_ms = reading->t_ms;
    }
}

/* ---- spread ---- */

static void take_spread(struct judge *judge, struct soak *soak, int64_t t_ms) {
    const int64_t oldest_ms = t_ms - judge->loads[soak->pace].channel.interval_ms;
    int64_t hottest_mc = INT64_MIN, coldest_mc = INT64_MAX;

    for (size_t i = 0; i < judge->load_count; i++) {
        const struct track *track = &soak->tracks[i];

        if (!track->had_good || track->good_ms < oldest_ms)
            return;
        hottest_mc = track->good_mc > hottest_mc ? track->good_mc : hottest_mc;
        coldest_mc = track->good_mc < coldest_mc ? track->good_mc : coldest_mc;
    }
    if (soak->samples_count == soak->samples_most)
        take_samples(judge, soak, soak->samples[soak->samples_first].t_ms + 1);
    soak->samples[(soak->samples_first + soak->samples_count) % soak->samples_most] =
        (struct sample){.t_ms = t_ms, .spread_mc = hottest_mc - coldest_mc};
    soak->samples_count++;
}

/* ---- feeding ---- */

void soak_tick(struct judge *judge, struct soak *soak, int64_t now_ms) {
    if (now_ms <= soak->next_gap_ms)
        return;
    soak->next_gap_ms = INT64_MAX;
    for (size_t i = 0; i < judge->load_count; i++) {
        const int64_t next_ms = track_check_gap(judge, soak, &soak->tracks[i], now_ms);

        if (next_ms < soak->next_gap_ms)
            soak->next_gap_ms = next_ms;
    }
}

void soak_feed(struct judge *judge, struct soak *soak, size_t load, const struct reading *reading) {
    struct track *track = &soak->tracks[load];
    struct reading turned = *reading;

    turned.value *= soak->sign;
    track_feed(judge, soak, track, &turned);
    if (!track->in_gap && track->good_ms + track->gap_limit_ms < soak->next_gap_ms)
        soak->next_gap_ms = track->good_ms + track->gap_limit_ms;
    if (turned.quality != QUALITY_GOOD)
        return;
    if (soak->broken && turned.value < soak->lowest_mc)
        soak->lowest_mc = turned.value;
    if (!soak->is_main || soak->sign < 0) {
        track->has_crossed |= turned.value >= soak->edge_mc;
        return;
    }
    watch_overshoot(judge, soak, track, &turned);
    if (load == soak->pace && judge->load_count > 1)
        take_spread(judge, soak, turned.t_ms);
}

void soak_settle(struct judge *judge, struct soak *soak) {
    int64_t known_ms = judge->now_ms;

    for (size_t i = 0; i < judge->load_count; i++) {
        const int64_t until_ms = track_known_until(judge, &soak->tracks[i]);

        if (until_ms < known_ms)
            known_ms = until_ms;
    }
    soak_advance(judge, soak, known_ms);
}

void soak_end(struct judge *judge, struct soak *soak, int64_t end_ms) {
    if (!soak_is_past(judge, soak)) {
        soak_advance(judge, soak, end_ms);
        take_samples(judge, soak, INT64_MAX);
    }
    if (soak->now.on)
        end_stretch(soak, end_ms, 0);
    if (!soak->begun && soak->facts.first_begun_ms != 0) { // it was in, if only for moments
        make_finding(judge, soak, FINDING_SOAK_BEGUN, soak->facts.first_begun_ms, 0, soak->sign * soak->edge_mc, 0);
        make_finding(judge, soak, FINDING_SOAK_BROKEN, soak->facts.last_ended_ms, soak->longest.ended_by,
                     stretch_ms(&soak->longest), soak->required_ms);
    }
    for (size_t i = 0; i < judge->load_count; i++)
        end_excursion(judge, soak, &soak->tracks[i]);
}
