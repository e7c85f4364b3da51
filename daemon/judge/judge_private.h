// SPDX-License-Identifier: MIT
/* What the files of the judge room share. See judge.h for the meanings.
 *
 * Readings come in order of time, but a crossing of B is only known at the channel's next reading, and channels
 * take turns. So each channel's track is a list of changes (in, out, unknown) that are known for certain, and
 * the soak is worked out only up to the frontier: the moment until which every track is known. What lies
 * ahead of the frontier waits in rings whose length follows from the intervals, not from the run.
 */
#ifndef SOAKLEDGER_JUDGE_PRIVATE_H
#define SOAKLEDGER_JUDGE_PRIVATE_H

#include "soakledger/judge.h"

/* Exact sums of squares of milliseconds over days do not fit 64 bits. */
__extension__ typedef __int128 judge_wide;

enum standing { STANDING_OUT, STANDING_UNKNOWN, STANDING_IN };

struct change {
    int64_t t_ms;
    enum standing to;
};

/* One load channel against B. */
struct track {
    struct judge_channel channel;
    int64_t gap_limit_ms;
    bool fed;        // has had any reading
    int64_t seen_ms; // last reading, good or not
    bool had_good;
    int64_t good_ms, good_mc; // last good reading
    bool in_gap;
    enum quality instead;   // first quality that came since the last good reading; good if nothing came
    enum standing newest;   // standing at the end of `changes`
    enum standing merged;   // standing at the frontier
    struct change *changes; // ring
    size_t changes_most, changes_first, changes_count;

    bool has_crossed;                   // has been at or above B
    bool is_over;                       // above the overshoot limit, or not for long enough under it again
    int64_t over_ms;                    // last reading above it
    int64_t excursion_mc, excursion_ms; // peak of the excursion that is on
    int64_t peak_mc, peak_ms;           // highest since the first crossing
    bool overshoot_unproven;            // a gap could hide an overshoot
};

struct sample {
    int64_t t_ms, spread_mc;
};

struct stretch {
    bool on;
    int64_t begun_ms, ended_ms;
    int64_t ended_by; // channel; 0 if a gap or the run's end did
    int64_t samples, spread_mc, spread_ms;
    bool spread_over;
};

/* The soak or temper of the visit. */
struct soak {
    const struct plan_operation *operation;
    size_t index;    // of the operation in the plan
    int64_t edge_mc; // B
    int64_t required_ms;
    enum standing standing;
    int64_t standing_since_ms;
    struct stretch now, longest; // proven
    int64_t possible_since_ms, possible_longest_ms;
    bool possible_on;
    int64_t settled_ms; // how long a stretch must last to make a finding
    bool begun;         // there was a finding that the soak began
    bool announced;     // the stretch that is on, or the gap after it, belongs to one that made a finding
    bool fulfilled, exceeded, broken;
    int64_t lowest_mc; // since it was broken
    struct judge_soak facts;
    struct sample *samples; // ring, ahead of the frontier
    size_t samples_most, samples_first, samples_count;
    size_t pace; // the load whose readings pace the spread
};

struct ramp_point {
    int64_t t_ms, value_mc;
};

/* One heat operation for one load channel. Sums are exact, of times since `origin_ms`. */
struct ramp {
    struct ramp_point *points; // ring
    size_t most, first, count;
    int64_t origin_ms;
    int64_t sum_t, sum_v;
    judge_wide sum_tt, sum_tv;
    bool full_seen;  // a whole window has lain within the stated temperatures
    bool judged;     // a slope was taken
    bool passed;     // has been above the stated temperatures
    bool over;       // a finding was made and the slope has not been under the limit for long enough since
    int64_t over_ms; // when it last was over
};

struct heat {
    const struct plan_operation *operation;
    size_t index;
    struct ramp *ramps; // one a load
    bool judged;
    int64_t steepest_mc_per_h, steepest_ms, steepest_channel;
    bool unproven;
    bool too_few; // there was a window that had not enough readings
};

struct judge {
    const struct plan *plan;
    judge_sink *sink;
    void *context;
    int64_t made[FINDING_KIND_COUNT];
    size_t load_count;
    struct track loads[JUDGE_MOST_LOADS];
    bool loads_missing;
    struct soak soak;
    size_t heat_count;
    struct heat *heats;
    bool begun, ended;
    int64_t first_ms, now_ms;
    int64_t next_gap_ms; // no track can be in a new gap before
};

void judge_make_finding(struct judge *judge, enum finding_kind kind, int64_t t_ms, size_t operation,
                        int64_t channel_id, int64_t value, int64_t limit);

/* track.c */
int track_open(struct track *track, const struct judge_channel *channel, int64_t longest_gap_ms);
void track_free(struct track *track);
/* Takes a reading of this channel; new changes are appended. */
void track_feed(struct judge *judge, struct track *track, const struct reading *reading);
/* Declares a gap if the last good reading is too long ago at `now_ms`. Returns when it next could be. */
int64_t track_check_gap(struct judge *judge, struct track *track, int64_t now_ms);
void track_end(struct judge *judge, struct track *track, int64_t end_ms);
int64_t track_known_until(const struct judge *judge, const struct track *track);

/* soak.c */
int soak_open(struct judge *judge, size_t operation_index, int64_t longest_gap_ms);
void soak_free(struct soak *soak);
void soak_feed(struct judge *judge, struct track *track, const struct reading *reading);
void soak_advance(struct judge *judge, int64_t frontier_ms);
void soak_end(struct judge *judge, int64_t end_ms);
size_t soak_verdicts(const struct judge *judge, struct verdict *verdicts);

/* ramp.c */
int heat_open(struct judge *judge, struct heat *heat, size_t operation_index);
void heat_free(struct judge *judge, struct heat *heat);
void heat_feed(struct judge *judge, struct heat *heat, size_t load, const struct reading *reading);
void heat_verdict(const struct judge *judge, const struct heat *heat, struct verdict *verdict);

#endif
