// SPDX-License-Identifier: MIT
/* judge: holds one oven run against one visit of a plan. Pure and streaming: readings in, findings and
 * verdicts out; no I/O, no clock, memory that does not grow with the run. The daemon uses it live and every
 * sheet uses it again on the stored readings; the same readings in the same order give the same answer.
 *
 * Load channels are those the plan names. B is soak temperature - lower band.
 *
 * A run begins with the first reading of any channel.
 *
 * Soak. A channel is in when its value is at or above B; it crosses B on the straight line between the two
 * readings around it, a rise rounded up to the ms and a fall down. The charge is in while every load channel is in:
 * the soak begins when the last one rises through B and is broken when the first one falls. The requirement is on
 * the longest unbroken stretch. In for a single moment is no stretch. Where there is no proven stretch, a time at
 * most that is kept is not proven for that reason (NOT_REACHED).
 *
 * Gap. No good reading of a channel for more than three of its intervals, from the run's begin or its last good
 * reading on, to its next one or the run's end. What the channel did meanwhile is unknown, except that it cannot
 * have warmed faster than the oven can. Two stretches are kept: the proven one, which a gap ends, and the possible
 * one, in which every unknown moment counts as in. A limit that is kept by the one and broken by the other is not
 * proven. A reading that is out ends both, even between two gaps. Less than a gap before a channel's first reading
 * is as unknown if that is in, and out if that is out; less than a gap after its last one is unknown, and
 * so is a channel without any good one.
 *
 * Overshoot. Highest value of a load channel from its first reading at or above B to the run's end, less the soak
 * temperature. A gap of a load channel at any time of the run in which it could have passed the limit, warming as
 * fast as the oven can from its last good reading (without any bound, if none is known or there was no reading),
 * makes a kept limit not proven; so does a load channel that never was at or above B (NOT_REACHED).
 *
 * Spread. Within the longest unbroken proven stretch, its ends included: hottest less coldest load channel, taken
 * at each good reading of the load channel with the longest interval (the last of several) from the latest good
 * reading that every other one had been fed by then, if none of these is older than that interval. With one load
 * channel there is no spread to judge: not proven. Fewer than five such moments: a kept limit is not proven.
 *
 * Ramp. Least-squares slope over a sliding window of good readings of a load channel up to its first one at or
 * above B; the steepest rise of all channels counts. A window is the fewest readings in a row, all within the
 * stated temperatures and no gap between them, that span 5 min or what the plan says. A rise that comes out above
 * the stated temperatures before there was any window of that channel is taken as a whole. A kept limit is not
 * proven after a gap unless both its ends are below or both above the stated temperatures (a gap with one end has
 * that one; at the run's begin it must be below), if a channel never came above them (NOT_REACHED), or if any
 * window, or all that was to be taken of a channel, had fewer than five readings.
 *
 * Hold. As a soak, but only until the charge is first in the band of the visit's own soak, and a channel is in only
 * while it is also not above the band's upper edge; passing the whole band between two readings is not being in.
 * Under the guarded rule both edges are moved inwards.
 *
 * Load at the start of a heat: the first good reading of each load channel in the run.
 *
 * Cold hold. As a soak turned over: a channel is in when it is at or below the temperature; no overshoot, no
 * spread, no lag allowance, and how fast a channel could have cooled in a gap is not bounded. Load channels are
 * those of role load, or of role cold where there is none, whatever the plan says.
 *
 * Quench. Judged on the channels of role quench of that oven, or on the load channels of role load where there is
 * none (no channel at all: NO_SENSOR), from the moment the charge left the soak: the soak's last end, if the run
 * did not end in it. Of the readings before that moment those of the minute before count, and no fewer than 16.
 * See quench.h; a channel that is silent at the run's end is in a gap. The longest time of all channels is the
 * one found. Over the limit it is not met; within it every channel must know its own, else it is not proven: GAP
 * if a channel had one before it was handle-warm, TOO_FEW for a cooling time of a part that came to handle-warm,
 * else NOT_REACHED. A part that was read without a gap beyond the time it had to become handle-warm in, and was
 * not, has broken that limit (NOT_REACHED). Where a gap ended the soak, the charge left at its last proven moment
 * or later: a time from leaving that is over its limit is then not proven (GAP). DONE is met if any channel knows
 * its transfer.
 *
 * Temper equivalence: Hollomon-Jaffe, see temper.h, of the load channel with the least; every good reading of the
 * run. A step longer than a gap adds nothing. Too little is not met if a channel that has too little had no gap;
 * else it is not proven.
 *
 * Uncertainty. Each channel has an expanded uncertainty (k = 2). Decision rule `simple` judges the value found.
 * `guarded` (JCGM 106, guarded acceptance with w = U) calls a requirement met only if it still is with the value
 * moved by U to the bad side, else not proven: a soak time is then also taken with B raised by the largest U of the
 * load channels (a time at most: with B lowered). A spread's U is the two largest in quadrature. What is broken is
 * not met under either rule. For a temper's equivalence every reading is lowered by its channel's U. Ramps and
 * quench times rest on differences over seconds or minutes of one sensor, in which its error cancels: no
 * uncertainty is stated for them.
 */
#ifndef SOAKLEDGER_JUDGE_H
#define SOAKLEDGER_JUDGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/channel.h"
#include "soakledger/fault.h"
#include "soakledger/plan.h"
#include "soakledger/quench.h"
#include "soakledger/reading.h"

enum { JUDGE_GAP_INTERVALS = 3, JUDGE_LEAST_READINGS = 5, JUDGE_MOST_LOADS = 16 };

/* Noise at an edge makes no findings: a stretch is announced once it has lasted this long (or half the required
 * time, if that is less), and an overshoot or a steep ramp is over once it has been over for this long. Verdicts
 * rest on every reading all the same. Our own choice: a minute is short against any soak and long against a
 * thermocouple's noise. */
enum { JUDGE_SETTLED_MS = 60000 };

/* Stored in the ledger by number: never renumber. */
enum finding_kind {
    FINDING_SOAK_BEGUN = 1,     // value: B
    FINDING_SOAK_BROKEN = 2,    // a load channel fell through B; value: ms of the stretch that it ended
    FINDING_SOAK_RESUMED = 3,   // all in again, to stay; value: lowest temperature meanwhile
    FINDING_SOAK_FULFILLED = 4, // the proven stretch has reached the required time; value: that time, ms
    FINDING_SOAK_EXCEEDED = 5,  // the stretch has passed the longest time allowed; value: that time, ms
    FINDING_OVERSHOOT = 6,      // a load channel first passed the limit; value: the temperature read
    FINDING_OVERSHOOT_PEAK = 7, // once back under the limit, or at the end: value: the peak
    FINDING_SPREAD = 8,         // value: the spread that first passed the limit in this stretch
    FINDING_RAMP = 9,           // value: the slope that first passed the limit, mc per hour
    FINDING_GAP_BEGUN = 10,     // t: last good reading; value: the quality that came instead (enum quality)
    FINDING_GAP_ENDED = 11,     // value: length of the gap, ms
    FINDING_MORE = 12,          // too many of a kind to list; value: how many were left out; at the end
};
enum { FINDING_KIND_COUNT = 13, JUDGE_MOST_FINDINGS_OF_A_KIND = 32 };

struct finding {
    int64_t t_ms;
    enum finding_kind kind;
    size_t operation;   // index into the plan's operations
    int64_t channel_id; // 0 if no single channel
    int64_t value;      // see finding_kind; mc for temperatures
    int64_t limit;      // what it was held against, same unit; 0 if nothing
};

enum requirement {
    REQUIREMENT_RAMP = 1,          // mc per hour
    REQUIREMENT_SOAK_LEAST = 2,    // ms
    REQUIREMENT_SOAK_MOST = 3,     // ms
    REQUIREMENT_OVERSHOOT = 4,     // mc
    REQUIREMENT_SPREAD = 5,        // mc
    REQUIREMENT_LOAD_START = 6,    // mc: load no hotter than this when the heat began
    REQUIREMENT_HOLD_LEAST = 7,    // ms, of a hold or a cold hold
    REQUIREMENT_TRANSFER = 8,      // ms
    REQUIREMENT_COOLING = 9,       // ms between the plan's two temperatures
    REQUIREMENT_HANDLE_WARM = 10,  // ms
    REQUIREMENT_EQUIVALENT = 11,   // ms at the plan's temperature, at least
    REQUIREMENT_BEGIN_WITHIN = 12, // ms since the visit before; see judge_between
    REQUIREMENT_PARTS_BELOW = 13,  // mc; see judge_between
    REQUIREMENT_DONE = 14,         // a quench that no sensor saw and a person may attest; see judge_attest
};
enum { REQUIREMENT_COUNT = 15, JUDGE_MOST_VERDICTS = 32 };

enum outcome { OUTCOME_MET = 0, OUTCOME_NOT_PROVEN = 1, OUTCOME_NOT_MET = 2 }; // ordered from best to worst

enum reason { // why a verdict is what it is, beyond the numbers
    REASON_NONE = 0,
    REASON_NO_RUN = 1,      // no oven run fulfils the operation
    REASON_NO_LOAD = 2,     // the plan's load channels do not exist on that oven
    REASON_NOT_REACHED = 3, // the charge never was in the band
    REASON_GAP = 4,         // a gap could change the outcome
    REASON_TOO_FEW = 5,     // too few readings
    REASON_ONE_SENSOR = 6,  // a spread needs two load channels
    REASON_RUN_OPEN = 7,    // the run is still on
    REASON_NO_SENSOR = 8,   // no channel saw it
    REASON_UNCERTAIN = 9,   // inside the limit by less than the uncertainty
    REASON_NO_BEFORE = 10,  // nothing is known of the visit before
    REASON_ATTESTED = 11,   // a person said so; nothing measured it
};
enum { REASON_COUNT = 12 };

struct verdict {
    size_t operation;
    enum requirement requirement;
    enum outcome outcome;
    enum reason reason;
    int64_t required;
    bool found_known;
    int64_t found;       // proven value; valid if found_known
    int64_t possible;    // for soak times: the longest stretch if every gap counts as in; else equal to found
    int64_t margin;      // how far inside the limit, negative outside; valid if found_known
    int64_t t_ms;        // when: the stretch's begin, the peak, the steepest moment; 0 if none
    int64_t channel_id;  // which channel decided; 0 if none
    int64_t uncertainty; // expanded (k = 2), unit of `found`; for soak times mc, the largest of the load channels;
                         // for an equivalence mc, of the channel with the least; 0: none stated
};

struct judge_channel {
    int64_t channel_id;
    const char *name;
    enum channel_role role;
    int64_t interval_ms;
    int64_t heats_at_most_mc_per_h; // 0: no bound known
    int64_t uncertainty_mc;         // expanded, k = 2; 0: not stated
};

/* What a sheet draws and says about the soak of a visit beside the verdicts. Times 0 where there is none. */
struct judge_soak {
    int64_t first_begun_ms;                     // first time the charge was in
    int64_t longest_begun_ms, longest_ended_ms; // longest unbroken proven stretch
    int64_t last_ended_ms;                      // end of the last proven stretch
    int64_t total_in_ms;                        // all proven time in
    int64_t possible_longest_ms;
    int64_t stretch_count;                       // unbroken proven stretches, the briefest included
    int64_t breaks;                              // how often it fell and came back for long enough to be a finding
    int64_t peak_mc, peak_t_ms, peak_channel_id; // highest load value from first crossing on; peak_t 0 if none
                                                 // and in a cold hold
    int64_t gap_count, gap_total_ms;             // over the load channels, whole run
    int64_t begun_ms;                            // first reading of the run
    bool first_known;
    int64_t first_mc;             // hottest first good reading of the load channels; known if all have one
    int64_t first_uncertainty_mc; // of that channel
    bool lowest_known; // every load channel has such a reading, and (not cold) there was a proven stretch
    int64_t lowest_mc; // of the load channels' lowest readings, each since its last one at or above B (cold: of the
                       // whole run), the highest
    int64_t lowest_uncertainty_mc; // of that channel
    int64_t equivalent_ms;         // temper: at the plan's temperature, of the load channel with the least
    int64_t equivalent_missing_ms; // the most of any load channel's gaps, from the run's begin to its end
};

struct judge;

bool judge_findings_equal(const struct finding *a, const struct finding *b);

/* Called for each finding as it is made, in order. */
typedef void judge_sink(void *context, const struct finding *finding);

/* `plan` must outlive the judge; `channels` is copied (all channels of the run's oven; the judge picks the load
 * channels). Always succeeds unless memory is short or there are more than JUDGE_MOST_LOADS load channels or
 * as many quench channels. */
struct judge *judge_open(const struct plan *plan, size_t visit, const struct judge_channel *channels, size_t count,
                         judge_sink *sink, void *context, struct fault *fault);
void judge_free(struct judge *judge);

/* Before the first reading: the run has been on since `since_ms`, and nothing is known of it until that reading: a
 * gap. What depends on how it began, or on which of its stretches was
 * the longest (load at the start, spread), is not proven then. */
void judge_begin_unseen(struct judge *judge, int64_t since_ms);

/* Readings in the order of reading_is_before; of any channel (others than load channels are passed over). A
 * reading that repeats its channel's last time is ignored. */
void judge_feed(struct judge *judge, const struct reading *reading);

/* Ends the run at `t_ms`: open stretches and gaps are closed, last findings made. Feed nothing afterwards. */
void judge_end(struct judge *judge, int64_t t_ms);

/* Writes the verdicts of the visit in plan order, at most JUDGE_MOST_VERDICTS, and returns how many. Before
 * judge_end they say how things stand, with REASON_RUN_OPEN where an outcome still could change. */
size_t judge_verdicts(const struct judge *judge, struct verdict *verdicts);
void judge_read_soak(const struct judge *judge, struct judge_soak *soak);
size_t judge_count_loads(const struct judge *judge);
int64_t judge_load_id(const struct judge *judge, size_t index);
/* The channels on which a quench is judged, and what their curves say. */
size_t judge_count_quenches(const struct judge *judge);
int64_t judge_read_quench(const struct judge *judge, size_t index, struct quench_curve *curve);

/* The verdicts on what lies between two visits, from what the judge of each run knows: begun soon enough, parts
 * cold enough first. `before` is NULL where there is no judged run of the visit before. Soon enough: from the last
 * end of the soak, temper or cold hold before to this run's begin; without one it is not proven (NO_BEFORE). Cold
 * enough: the lowest that the load reached after the soak before, or its first reading in this run, whichever is
 * lower; the guarded rule holds. Where only one of the two is known it may be met by that one, but is not proven if
 * that one is too hot: NO_BEFORE without the first of them, GAP without the other. At most 2; returns how many. */
size_t judge_between(const struct plan *plan, size_t visit, const struct judge_soak *before,
                     const struct judge_soak *now, struct verdict *verdicts);

/* Puts a person's word for a quench into the visit's verdicts, where the plan allows it: REQUIREMENT_DONE and,
 * taken from the attested moment, REQUIREMENT_TRANSFER, if no sensor judged them. They are met or not met with
 * REASON_ATTESTED. */
void judge_attest(const struct plan *plan, size_t visit, const struct judge_soak *soak, int64_t attested_ms,
                  struct verdict *verdicts, size_t count);

/* The verdicts of a visit for which there is no run: all not proven. */
size_t judge_absent(const struct plan *plan, size_t visit, struct verdict *verdicts);

/* The worst outcome; OUTCOME_NOT_PROVEN for none at all. */
enum outcome judge_worst(const struct verdict *verdicts, size_t count);

/* Plain words: "met", "not met", "not proven"; "soak time, at least"; "the charge never reached the band". */
const char *judge_outcome_name(enum outcome outcome);
const char *judge_requirement_name(enum requirement requirement);
const char *judge_reason_text(enum reason reason);
/* One finding as one plain sentence without time, e.g. "charge 1 passed the overshoot limit: 819.4 °C, limit 815.0
 * °C". `kind` is that of its operation; `channel` is the channel's name or NULL. At most `size` bytes with
 * terminator. */
void judge_describe_finding(const struct finding *finding, enum operation_kind kind, const char *channel,
                            enum temperature_unit unit, char *out, size_t size);

#endif
