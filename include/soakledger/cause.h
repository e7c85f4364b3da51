// SPDX-License-Identifier: MIT
/* cause: why a run may have failed, from its readings alone. Pure and streaming: readings and events in, a fixed
 * set of signs out; then those signs against what is usual in that oven, cause by cause, with what speaks for and
 * against. It never says more than the readings do: a cause is likely, possible or unlikely, and where none stands
 * out, it cannot tell.
 *
 * Signs. Readings are averaged over steps of 10 s (or the control channel's interval, if longer); a slope is taken
 * over six steps.
 * - Strength: how fast the control sensor rises per unit of output, in bins of 50 °C (without an output channel:
 * how fast it rises). Against the same bins of earlier good runs: 1 as ever, less with weak elements, a heavy
 * charge, an open door.
 * - Holding output: mean output while the control sensor is level at the setpoint. At rest the elements give what
 * the oven loses: the same temperature needs the same output, unless the elements are weak (more), the oven loses
 * more (more), or the sensor reads wrong.
 * - Trail: by how many seconds of its rise the control sensor is ahead of the charge on the way up; and the time
 * from the control sensor's coming into the band to the last load sensor's.
 * - Difference: each load sensor less the control sensor, while both are level.
 * - Dips: falls of the control sensor under its level or under its setpoint, with the fastest fall, what the output
 * and the charge did meanwhile, and the time back to half the depth.
 * - Setpoint: the highest level it held, and for how long.
 * - Swings: reversals of the control sensor once it has arrived, their size and period; its overshoot.
 * - Records: readings by quality, gaps of one channel and of all at once, how far the oven fell in a gap, what the
 *   daemon says of itself and its lines.
 * "Usual" is the mean of these over earlier runs that met their requirements, with the largest deviation among
 * them.
 *
 * Weighing. Each sign gives each cause that it bears on a weight, for (above 0) or against (below), limited so that
 * no sign decides alone; the score of a cause is their sum. A cause that would not explain any requirement that
 * failed loses CAUSE_UNEXPLAINED. The weights are our own, set on one set of simulated runs and measured on
 * another; they are no probabilities.
 *
 * A cause is likely from CAUSE_LIKELY on, possible from CAUSE_POSSIBLE. Abstention: if none is likely, the cause
 * cannot be told.
 *
 * Temperatures here are °C as double, outputs shares of 1 (NAN: not known); times are ledger ms.
 */
#ifndef SOAKLEDGER_CAUSE_H
#define SOAKLEDGER_CAUSE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"
#include "soakledger/judge.h"
#include "soakledger/queue.h"
#include "soakledger/reading.h"

enum cause {
    CAUSE_SENSOR,   // a thermocouple reads wrong, or is broken
    CAUSE_ELEMENT,  // elements or supply give less than they did
    CAUSE_DOOR,     // the door stood open or ajar
    CAUSE_OVERLOAD, // the charge is heavier or packed closer than the oven's usual ones
    CAUSE_SETPOINT, // the controller was told something else than the plan
    CAUSE_TUNING,   // the controller's own regulation
    CAUSE_LINE,     // replies were lost or garbled
    CAUSE_RECORDER, // the recorder did not run
};
enum { CAUSE_COUNT = 8 };

enum { CAUSE_STEP_MS = 10000, CAUSE_BIN_C = 50, CAUSE_BINS = 28, CAUSE_MOST_DIPS = 6 };

#define CAUSE_LIKELY      2.0
#define CAUSE_POSSIBLE    0.75
#define CAUSE_UNEXPLAINED 3.0

/* What the run was to be. */
struct cause_task {
    double temperature_c, below_c, above_c;
    int64_t required_ms;
};

struct cause_bin {
    double steps, slope_c_per_s, output, trail_c; // sums; output and trail of the steps that have them
    double output_steps, trail_steps;
};

/* Count, mean and sum of squared deviations. */
struct cause_mean {
    double count, mean, square;
};

struct cause_dip {
    int64_t begun_ms, bottom_ms;
    int64_t back_ms; // back to half the depth; 0: not before the run was over
    double from_c, depth_c;
    double fall_c_per_s;               // the fastest
    double full_fall_c_per_s;          // the fastest at full output; NAN if it never was
    double output_before, output_most; // NAN without an output channel
    double output_least;               // in the minute in which it began
    double load_fell_c;     // the load sensors' mean; below 0: it rose. NAN if they were not level before
    double setpoint_fell_c; // NAN without a setpoint channel
    bool arrived;           // the oven had been at its setpoint before
};

struct cause_records {
    int64_t readings, good, open, silent, garbled, unbelievable; // of control, load and cold channels
    int64_t gaps, gap_ms;                                        // of any one of them: more than three intervals
    int64_t common_gaps, common_gap_ms;                          // of all at once
    double fell_in_gap_c;                                        // the control sensor, at most
    int64_t recorder_stops, recorder_ms, line_losses, line_ms, overflows;
};

/* All that is kept of a run. Times are 0, values NAN where there was nothing. */
struct cause_signs {
    bool has_setpoint, has_output;
    size_t load_count; // sensors beside the control sensor
    double noise_c;    // of the control sensor, one standard deviation
    int64_t begun_ms, ended_ms;
    int64_t control_in_ms, loads_in_ms; // first at or above the band's lower edge
    int64_t arrived_ms;                 // of the control sensor at its setpoint
    int64_t left_ms;  // when it was told to leave it, or the charge was gone, whichever came first
    int64_t told_ms;  // when it was told to
    bool charge_left; // the load sensors fell far under the control sensor together
    struct cause_bin bins[CAUSE_BINS];
    struct cause_mean level, held_setpoint, output;  // while level
    struct cause_mean differences[JUDGE_MOST_LOADS]; // load less control, while level and equalised
    int64_t load_ids[JUDGE_MOST_LOADS];
    double output_drift;                   // how far the output moved while level, as a share of its mean
    double cools_c_per_s;                  // once told to leave, at the level it had: what the oven loses by itself
    double difference_drift_c;             // how far their mean moved over that time
    double setpoint_c;                     // the highest level it held
    int64_t setpoint_ms, setpoint_held_ms; // since when, and for how long
    int64_t held_in_band_ms;               // from the control sensor's coming into the band to told_ms or left_ms
    int64_t pinned_ms;                     // at full output and not rising, under the setpoint
    double overshoot_c; // of the control sensor over that setpoint (without one: over the plan's)
    double load_peak_c;
    size_t swings;    // reversals
    double swing_c;   // mean size from turn to turn
    int64_t swing_ms; // mean time from turn to turn
    double jump_c;    // largest step between two readings of a sensor that another did not share, and ...
    int64_t jump_ms, jump_channel_id;
    struct cause_dip dips[CAUSE_MOST_DIPS]; // the deepest, in order of time
    size_t dip_count;
    struct cause_records records;
};

struct cause_watch;

/* `channels` of the run's oven, which are copied: the control channel (where there is none, the first load channel
 * stands for it), setpoint, output, and the load channels. Others are passed over. */
struct cause_watch *cause_open(const struct cause_task *task, const struct judge_channel *channels, size_t count,
                               struct fault *fault);
void cause_free(struct cause_watch *watch); // NULL is allowed
/* In the judge's order. */
void cause_feed(struct cause_watch *watch, const struct reading *reading);
/* What the daemon recorded of itself within the run. */
void cause_hear(struct cause_watch *watch, const struct event *event);
void cause_end(struct cause_watch *watch, int64_t t_ms);
/* After cause_end. */
const struct cause_signs *cause_read(const struct cause_watch *watch);

/* ---- what is usual ---- */

struct cause_usual; // of one oven, from earlier runs that met their requirements
struct cause_usual *cause_usual_open(struct fault *fault);
void cause_usual_free(struct cause_usual *usual); // NULL is allowed
void cause_learn(struct cause_usual *usual, const struct cause_signs *run);
size_t cause_usual_runs(const struct cause_usual *usual);

/* ---- what speaks for and against ---- */

/* What a piece of evidence is about; `value`, `usual` in the unit said. */
/* The room's own order: heat, dips, control, sensors, records. Not stored. */
enum cause_sign {
    SIGN_STRENGTH,       // rise per output, as a share of the usual
    SIGN_STRENGTH_FALLS, // the same at the hot end; usual: at the cold end
    SIGN_HOLDING,        // holding output, share of 1
    SIGN_HOLDING_FALLS,  // by what share the output moved while level, beyond the usual
    SIGN_PINNED,         // ms at full output under the setpoint
    SIGN_TRAIL,          // seconds of rise that the charge trails by
    SIGN_EQUALISING,     // ms from control in the band to charge in the band
    SIGN_DIP_FAST,       // C/s of a dip that is no lack of power; usual: the fall without power
    SIGN_DIP_SLOW,       // of one that looks like it
    SIGN_DIP_ALONE,      // a dip that the charge did not follow, C; usual: by what the charge fell
    SIGN_NO_DIP,
    SIGN_SETPOINT,      // C held; usual: the plan's
    SIGN_SETPOINT_TIME, // ms in the band; usual: what the plan needs of it
    SIGN_LEVEL,         // C at which the control sensor was level; usual: the plan's
    SIGN_SWINGS,        // reversals, no more than usual
    SIGN_SWING_SIZE,    // C
    SIGN_OVERSHOOT,     // C over the setpoint
    SIGN_DIFFERENCE,    // C load less control
    SIGN_DRIFT,         // C that the difference moved while level
    SIGN_JUMP,          // C at once
    SIGN_OPEN_SENSOR,   // readings
    SIGN_UNBELIEVABLE,  // readings frozen, out of range or faster than physics
    SIGN_HISTORY,       // C that a sensor is off by, as many runs together say
    SIGN_LOST_REPLIES,  // share of readings garbled or without a reply
    SIGN_LINE_LOST,     // ms
    SIGN_RECORDER,      // ms; 0: it ran
    SIGN_GAP_COLD,      // C that the oven fell while nothing answered
    SIGN_NOT_EXPLAINED, // the cause would not explain what failed
    SIGN_NOT_MEASURED,  // no channel for it; weight 0
};

struct cause_evidence {
    enum cause_sign sign;
    double weight;       // above 0: for; below: against; 0: could not be seen
    double value, usual; // NAN: not known
    int64_t t_ms;        // when, 0 if at no moment
    int64_t channel_id;  // 0: none
};

enum { CAUSE_MOST_EVIDENCE = 12 };
struct cause_opinion {
    enum cause cause;
    double score;
    struct cause_evidence evidence[CAUSE_MOST_EVIDENCE]; // the weightiest first
    size_t evidence_count;
};

/* What many runs together say of a sensor of this oven (drift.h), where it is established. */
struct cause_history {
    int64_t channel_id; // 0: nothing
    double error_c;
    double sure; // 0 .. 1
};

/* Ranks all causes, the most likely first, for a run of which `verdicts` were not met or not proven. `usual` may be
 * NULL or empty: then what needs a comparison is left out. `history` may be NULL. Returns whether a cause can be
 * told: the first is likely. */
bool cause_weigh(const struct cause_task *task, const struct cause_signs *signs, const struct cause_usual *usual,
                 const struct cause_history *history, const struct verdict *verdicts, size_t verdict_count,
                 struct cause_opinion opinions[CAUSE_COUNT]);

/* ---- in words ---- */

enum { CAUSE_TEXT_BYTES = 320 };
const char *cause_name(enum cause cause); // "thermocouple", "elements or supply" ...
const char *cause_grade(double score);    // "likely", "possible", "unlikely"
/* One plain sentence, without "for" or "against". `channel` is the name of its channel, or NULL. */
char *cause_describe(const struct cause_evidence *evidence, const char *channel, enum temperature_unit unit,
                     int utc_offset_min, char out[CAUSE_TEXT_BYTES]);
/* What would settle it. */
const char *cause_settle(enum cause cause);

#endif
