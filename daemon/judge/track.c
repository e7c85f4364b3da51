// SPDX-License-Identifier: MIT
/* One load channel against the edges of a soak: when it was in, when it was out, and when nobody knows. */
#include <stdlib.h>

#include "judge_private.h"

/* Between the frontier and now a channel can have at most two changes a reading. */
enum { CHANGES_A_READING = 2, CHANGES_SPARE = 16 };

int track_open(struct track *track, const struct judge_channel *channel, int64_t longest_gap_ms) {
    track->channel = *channel;
    track->gap_limit_ms = JUDGE_GAP_INTERVALS * channel->interval_ms;
    track->newest = track->merged = STANDING_UNKNOWN;
    track->changes_most = (size_t)(longest_gap_ms / channel->interval_ms + 1) * CHANGES_A_READING + CHANGES_SPARE;
    track->changes = calloc(track->changes_most, sizeof *track->changes);
    return track->changes == NULL ? -1 : 0;
}

void track_free(struct track *track) {
    free(track->changes);
}

static bool is_in(const struct soak *soak, int64_t value_mc) {
    return value_mc >= soak->edge_mc && value_mc <= soak->top_mc;
}

/* A channel read more often than its interval says could fill the ring: then the frontier is pushed first, so that
 * memory stays bounded; what is lost is the exactness of the merge, never a change. */
static void append_change(struct judge *judge, struct soak *soak, struct track *track, int64_t t_ms,
                          enum standing to) {
    if (track->newest == to)
        return;
    if (track->changes_count == track->changes_most)
        soak_advance(judge, soak, track->changes[track->changes_first].t_ms);
    track->changes[(track->changes_first + track->changes_count) % track->changes_most] =
        (struct change){.t_ms = t_ms, .to = to};
    track->changes_count++;
    track->newest = to;
}

/* When the straight line from the last good reading to this one passes the edge between in and out. Coming in is
 * rounded up and leaving down, so that rounding never lengthens a soak and never hides a reading that was out. */
static int64_t crossing_ms(const struct soak *soak, const struct track *track, const struct reading *reading) {
    const bool comes_in = is_in(soak, reading->value);
    const int64_t outside_mc = comes_in ? track->good_mc : reading->value;
    const int64_t edge_mc = outside_mc < soak->edge_mc ? soak->edge_mc : soak->top_mc;
    const int64_t apart_ms = reading->t_ms - track->good_ms;
    const int64_t whole_mc = llabs(reading->value - track->good_mc), part_mc = llabs(edge_mc - track->good_mc);

    if (whole_mc == 0) // it did not move, so it did not cross
        return reading->t_ms;
    return track->good_ms + (part_mc * apart_ms + (comes_in ? whole_mc - 1 : 0)) / whole_mc;
}

/* From when on nobody knows whether the channel is in: at once if it was in or above; if it was below, not before
 * the oven could have warmed it up to the edge. */
static int64_t doubt_ms(const struct soak *soak, const struct track *track) {
    const int64_t rate_mc_per_h = track->channel.heats_at_most_mc_per_h;

    if (track->good_mc >= soak->edge_mc || rate_mc_per_h <= 0 || soak->sign < 0)
        return track->good_ms;
    return track->good_ms +
           (int64_t)((double)(soak->edge_mc - track->good_mc) / (double)rate_mc_per_h * JUDGE_MS_PER_HOUR);
}

/* Says so as soon as the doubt has begun by `now_ms`. */
static void append_doubt(struct judge *judge, struct soak *soak, struct track *track, int64_t now_ms) {
    const int64_t since_ms = doubt_ms(soak, track);

    if (since_ms < now_ms)
        append_change(judge, soak, track, since_ms, STANDING_UNKNOWN);
}

/* Could the channel have passed the overshoot limit while it was not read? */
static void doubt_overshoot(const struct soak *soak, struct track *track, int64_t until_ms) {
    const int64_t limit_mc = soak->operation->temperature_mc + soak->operation->overshoot_at_most.value;
    const double hours = (double)(until_ms - track->good_ms) / JUDGE_MS_PER_HOUR;
    const double most_mc = (double)track->good_mc + hours * (double)track->channel.heats_at_most_mc_per_h;

    if (track->channel.heats_at_most_mc_per_h > 0 && most_mc <= (double)limit_mc)
        return;
    track->overshoot_unproven = true;
}

static void close_gap(struct judge *judge, struct soak *soak, struct track *track, int64_t t_ms) {
    const int64_t since_ms = track->had_good ? track->good_ms : judge->first_ms;

    soak->facts.gap_count++;
    soak->facts.gap_total_ms += t_ms - since_ms;
    if (soak->is_main && soak->speaks)
        judge_make_finding(judge, FINDING_GAP_ENDED, t_ms, soak->index, track->channel.channel_id, t_ms - since_ms,
                           0);
    if (track->had_good) {
        append_doubt(judge, soak, track, t_ms);
        doubt_overshoot(soak, track, t_ms);
    } else {
        track->overshoot_unproven = true; // nothing is known of what came before the first reading
    }
    track->in_gap = false;
}

/* Within a gap: when the doubt has yet to begin. */
static int64_t check_doubt(struct judge *judge, struct soak *soak, struct track *track, int64_t now_ms) {
    if (!track->had_good || track->newest == STANDING_UNKNOWN)
        return INT64_MAX;
    append_doubt(judge, soak, track, now_ms);
    return track->newest == STANDING_UNKNOWN ? INT64_MAX : doubt_ms(soak, track);
}

int64_t track_check_gap(struct judge *judge, struct soak *soak, struct track *track, int64_t now_ms) {
    const int64_t since_ms = track->had_good ? track->good_ms : judge->first_ms;

    if (track->in_gap)
        return check_doubt(judge, soak, track, now_ms);
    if (now_ms - since_ms <= track->gap_limit_ms)
        return since_ms + track->gap_limit_ms;
    track->in_gap = true;
    if (soak->is_main && soak->speaks)
        judge_make_finding(judge, FINDING_GAP_BEGUN, since_ms, soak->index, track->channel.channel_id,
                           (int64_t)track->instead, 0);
    return check_doubt(judge, soak, track, now_ms);
}

int64_t track_known_until(const struct judge *judge, const struct track *track) {
    if (track->in_gap || judge->ended)
        return judge->now_ms;
    return track->had_good ? track->good_ms : judge->first_ms;
}

static void take_good(struct judge *judge, struct soak *soak, struct track *track, const struct reading *reading) {
    const enum standing standing = is_in(soak, reading->value) ? STANDING_IN : STANDING_OUT;

    if (track->in_gap) {
        close_gap(judge, soak, track, reading->t_ms);
        append_change(judge, soak, track, reading->t_ms, standing);
    } else if (!track->had_good) { // what came before is not known, even where it is too short to be a gap
        append_change(judge, soak, track, standing == STANDING_IN ? reading->t_ms : judge->first_ms, standing);
    } else if (track->newest != standing) {
        append_change(judge, soak, track, crossing_ms(soak, track, reading), standing);
    }
    track->had_good = true;
    track->good_ms = reading->t_ms;
    track->good_mc = reading->value;
    track->instead = QUALITY_GOOD;
}

void track_feed(struct judge *judge, struct soak *soak, struct track *track, const struct reading *reading) {
    if (reading->quality == QUALITY_GOOD)
        take_good(judge, soak, track, reading);
    else if (track->instead == QUALITY_GOOD)
        track->instead = reading->quality;
}

/* What comes after the last good reading is not known, even where it is too short to be called a gap. */
void track_end(struct judge *judge, struct soak *soak, struct track *track, int64_t end_ms) {
    track_check_gap(judge, soak, track, end_ms);
    if (track->in_gap)
        close_gap(judge, soak, track, end_ms);
    else if (track->had_good)
        append_doubt(judge, soak, track, end_ms);
}
