// SPDX-License-Identifier: MIT
/* What the files of the judge room share. See judge.h for the meanings.
 *
 * Readings come in order of time, but a crossing of B is only known at the channel's next reading, and channels
 * take turns. So each channel's track is a list of changes (in, out, unknown) that are known for certain, and
 * the soak is worked out only up to the frontier: the moment until which every track is known. What lies
 * ahead of the frontier waits in rings whose length follows from the intervals, not from the run.
 *
 * A visit is watched by several soaks at once, all of the same kind of machine with other edges: one for each hold,
 * the main one, and under the guarded rule a strict one (edges moved inwards by the uncertainty) for each of these
 * and a lenient one (outwards) for a longest time. A cold hold is a soak with every temperature turned over.
 */
#ifndef SOAKLEDGER_JUDGE_PRIVATE_H
#define SOAKLEDGER_JUDGE_PRIVATE_H

#include "soakledger/judge.h"
#include "soakledger/temper.h"

/* Exact sums of squares of milliseconds over days do not fit 64 bits. */
__extension__ typedef __int128 judge_wide;

enum { JUDGE_MS_PER_HOUR = 3600000, JUDGE_MOST_QUENCHES = JUDGE_MOST_LOADS, JUDGE_NO_SOAK = -1 };

enum standing { STANDING_OUT, STANDING_UNKNOWN, STANDING_IN };

struct change {
    int64_t t_ms;
    enum standing to;
};

/* One load channel against the edges of one soak. Temperatures are turned over in a cold hold. */
struct track {
    struct judge_channel channel;
    int64_t gap_limit_ms;
    bool had_good;
    int64_t good_ms, good_mc; // last good reading
    bool in_gap;
    enum quality instead;   // first quality that came since the last good reading; good if nothing came
    enum standing newest;   // standing at the end of `changes`
    enum standing merged;   // standing at the frontier
    struct change *changes; // ring
    size_t changes_most, changes_first, changes_count;

    bool has_crossed;                   // has been in
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
    bool on, counted;
    int64_t begun_ms, ended_ms;
    int64_t ended_by; // channel; 0 if a gap or the run's end did
    int64_t samples, spread_mc, spread_ms;
    bool spread_over;
};

struct soak {
    const struct plan_operation *operation;
    size_t index;            // of the operation in the plan
    bool is_main, speaks;    // the visit's own; makes findings
    int strict, lenient;     // the soaks with moved edges, or JUDGE_NO_SOAK
    int64_t sign;            // 1, or -1 in a cold hold
    int64_t edge_mc, top_mc; // in while edge <= value <= top
    int64_t required_ms;
    struct track *tracks; // one a load channel
    int64_t next_gap_ms;  // no track can come into doubt before
    enum standing standing;
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

/* What is remembered of a load channel beside its tracks. */
struct load {
    struct judge_channel channel;
    bool fed;        // has had any reading
    int64_t seen_ms; // last reading, good or not
    bool had_first, had_lowest;
    int64_t first_mc, first_ms;
    int64_t lowest_mc;              // since it last was at or above the main soak's edge (cold: ever)
    struct temper_sum sum, lowered; // as read; by its uncertainty less
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
    bool over;       // a finding was made ...
    int64_t over_ms; // ... and this is when the slope was last over the limit
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

/* One channel that may see the quench. Its last readings are kept until it is known when the charge left. */
struct cooling {
    struct judge_channel channel;
    struct quench *quench; // NULL until the charge has left
    bool fed, had_good;
    int64_t seen_ms, good_ms; // last reading, last good one
    struct reading *kept;     // ring
    size_t kept_most, kept_first, kept_count;
};

struct judge {
    const struct plan *plan;
    size_t visit;
    judge_sink *sink;
    void *context;
    int64_t made[FINDING_KIND_COUNT];
    size_t load_count;
    struct load loads[JUDGE_MOST_LOADS];
    bool loads_missing;
    size_t soak_count;
    struct soak *soaks;
    struct soak *main; // one of them
    bool soak_reached; // the charge has been in the band of the visit's own soak: holds are past
    size_t heat_count;
    struct heat *heats;
    const struct plan_operation *quench_operation; // or NULL
    size_t quench_index;
    size_t cooling_count;
    struct cooling coolings[JUDGE_MOST_QUENCHES];
    int64_t left_ms;  // when the charge left the soak; 0 while it has not
    bool left_unsure; // or later: a gap ended the soak
    bool begun, ended;
    bool unseen; // it was on before its first reading
    int64_t first_ms, now_ms;
};

void judge_make_finding(struct judge *judge, enum finding_kind kind, int64_t t_ms, size_t operation,
                        int64_t channel_id, int64_t value, int64_t limit);

/* track.c */
int track_open(struct track *track, const struct judge_channel *channel, int64_t longest_gap_ms);
void track_free(struct track *track);
/* Takes a reading of this channel; new changes are appended. */
void track_feed(struct judge *judge, struct soak *soak, struct track *track, const struct reading *reading);
/* Declares a gap if the last good reading is too long ago at `now_ms`. Returns when it next could be. */
int64_t track_check_gap(struct judge *judge, struct soak *soak, struct track *track, int64_t now_ms);
void track_end(struct judge *judge, struct soak *soak, struct track *track, int64_t end_ms);
int64_t track_known_until(const struct judge *judge, const struct track *track);

/* soak.c */
int soak_open(struct judge *judge, struct soak *soak, int64_t longest_gap_ms);
void soak_free(struct judge *judge, struct soak *soak);
void soak_begin(struct soak *soak, int64_t t_ms);
bool soak_is_past(const struct judge *judge, const struct soak *soak);
/* Time has come to `now_ms`: has any channel been silent for too long? */
void soak_tick(struct judge *judge, struct soak *soak, int64_t now_ms);
void soak_feed(struct judge *judge, struct soak *soak, size_t load, const struct reading *reading);
/* Works out everything up to the frontier. */
void soak_advance(struct judge *judge, struct soak *soak, int64_t frontier_ms);
void soak_settle(struct judge *judge, struct soak *soak);
void soak_end(struct judge *judge, struct soak *soak, int64_t end_ms);
/* The longest proven stretch, one that is still on included. */
const struct stretch *soak_longest(const struct soak *soak);
int64_t stretch_ms(const struct stretch *stretch);

/* verdict.c */
void soak_verdict(const struct judge *judge, const struct soak *soak, struct verdict *verdict);
void load_start_verdict(const struct judge *judge, const struct plan_operation *operation, struct verdict *verdict);
void equivalent_verdict(const struct judge *judge, struct verdict *verdict);
/* The guarded rule for a value with an uncertainty: met becomes not proven within it. */
void verdict_guard(const struct judge *judge, struct verdict *verdict);
int64_t judge_equivalent_ms(const struct judge *judge, int64_t *missing_ms);

/* ramp.c */
int heat_open(struct judge *judge, struct heat *heat, size_t operation_index);
void heat_free(struct judge *judge, struct heat *heat);
void heat_feed(struct judge *judge, struct heat *heat, size_t load, const struct reading *reading);
void heat_verdict(const struct judge *judge, const struct heat *heat, struct verdict *verdict);

/* cooling.c */
int cooling_open(struct judge *judge, const struct judge_channel *channels, size_t count, int64_t longest_gap_ms,
                 struct fault *fault);
void cooling_free(struct judge *judge);
void cooling_feed(struct judge *judge, const struct reading *reading);
/* The charge has left the soak; it has come back. */
void cooling_begin(struct judge *judge, int64_t left_ms, bool unsure);
void cooling_forget(struct judge *judge);
void cooling_verdict(const struct judge *judge, struct verdict *verdict);

#endif
