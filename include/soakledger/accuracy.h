// SPDX-License-Identifier: MIT
/* accuracy: a system accuracy test: what a sensor says, through its own instrument, beside what a reference sensor
 * says at the same place and time. Pure and streaming: readings in, one result out; no I/O, no clock, constant
 * memory.
 *
 * The reference is another channel, whose readings come in the same order, or a hand-held instrument, whose
 * readings were typed in with their times. Its correction is added to what it says. Readings come in the order of
 * reading_is_before; what is of other channels, or outside [from, to], is passed over.
 *
 * Pairs. With a reference channel: each good reading of the slower of the two channels (of the sensor's, if they
 * are equal) with the latest good one of the other, no older than three of that one's intervals. With typed
 * readings: each with the sensor's latest good reading before it, no older than three intervals.
 *
 * Difference: the mean over the pairs of sensor less reference, corrected: positive where the sensor reads high.
 * Uncertainty (k = 2) of the difference: the root of the sum of the squares of the reference's expanded
 * uncertainty; of twice the standard deviation of the pairs' differences, not divided by the root of their number,
 * since readings seconds apart are not independent; and of what the temperature moved between the two readings of a
 * pair: the steepest slope times the faster channel's interval, or times ACCURACY_TYPING_MS for a typed reading.
 * The sensor's own uncertainty is no part of it: that is what is tested.
 *
 * Stable: the least-squares slope over [from, to] of either channel is below ACCURACY_SLOPE_MC_PER_H, over no less
 * than ACCURACY_WINDOW_MS. Gap: no good reading for more than three of a channel's intervals, the ends of [from,
 * to] included.
 *
 * Verdict. Anything missing makes it not proven, whatever the difference: an unstable difference says nothing
 * either way. Else met if the difference is no more than what is allowed, either way, and not met if it is; with
 * `guarded` it has to be inside by its uncertainty, else it is not proven.
 *
 * What a class of furnace is allowed is for the user to say: it comes from his own procedure or standard.
 */
#ifndef SOAKLEDGER_ACCURACY_H
#define SOAKLEDGER_ACCURACY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/judge.h"
#include "soakledger/reading.h"

enum { ACCURACY_READINGS_LEAST = 3, ACCURACY_TYPED_MOST = 32 };
#define ACCURACY_WINDOW_MS      INT64_C(300000)
#define ACCURACY_SLOPE_MC_PER_H INT64_C(30000) // 0.5 °C/min
#define ACCURACY_TYPING_MS      INT64_C(30000) // from looking at an instrument to pressing Enter

/* Stored in the ledger by number: never renumber. The first that applies, in this order. */
enum accuracy_reason {
    ACCURACY_SOUND = 0,
    ACCURACY_UNREAD = 1,       // no good reading of the sensor
    ACCURACY_NO_REFERENCE = 2, // none of the reference
    ACCURACY_TOO_SHORT = 3,
    ACCURACY_GAP = 4,
    ACCURACY_UNSTABLE = 5,
    ACCURACY_TOO_FEW = 6, // fewer than ACCURACY_READINGS_LEAST pairs
    ACCURACY_DUE_UNSTATED = 7,
    ACCURACY_OVERDUE = 8,  // the reference's calibration
    ACCURACY_UNSTATED = 9, // the reference's uncertainty
    ACCURACY_INSIDE_BY_LESS = 10,
};
enum { ACCURACY_REASON_COUNT = 11 };

struct accuracy_typed {
    int64_t t_ms;
    int64_t said_mc;   // by the instrument, not corrected
    int64_t sensor_mc; // found: its partner; valid if `paired`
    bool paired;
};

struct accuracy_setting {
    int64_t from_ms, to_ms;
    int64_t sensor_id, sensor_interval_ms;
    int64_t reference_id; // 0: typed
    int64_t reference_interval_ms;
    size_t typed_count; // in order of time
    struct accuracy_typed typed[ACCURACY_TYPED_MOST];
    int64_t correction_mc;            // added to what the reference says
    int64_t reference_uncertainty_mc; // expanded, k = 2; 0: not stated
    int64_t due_ms;                   // until when its calibration is valid; 0: not stated
    int64_t allowed_mc;
    bool guarded;
};

struct accuracy_result {
    enum outcome outcome;
    enum accuracy_reason reason;
    size_t pair_count;
    int64_t sensor_mc, reference_mc; // means over the pairs, corrected; valid if pair_count > 0
    int64_t difference_mc;           // likewise
    int64_t deviation_mc;            // standard deviation of the differences
    int64_t uncertainty_mc;          // of the difference, without the reference's own if that is not stated
    int64_t sensor_slope_mc_per_h, reference_slope_mc_per_h; // 0 where there is none
    int64_t silence_ms;                                      // the longest of either channel
    bool stable; // both channels were read without a gap, and neither moved too fast
    size_t typed_count;
    struct accuracy_typed typed[ACCURACY_TYPED_MOST];
};

struct accuracy;

struct accuracy *accuracy_open(const struct accuracy_setting *setting); // NULL if memory is short
void accuracy_free(struct accuracy *accuracy);                          // NULL is allowed
void accuracy_feed(struct accuracy *accuracy, const struct reading *reading);
/* No more readings will come. The result belongs to `accuracy`. */
const struct accuracy_result *accuracy_finish(struct accuracy *accuracy);

/* "the temperature was not stable", "" for none. */
const char *accuracy_reason_text(enum accuracy_reason reason);

#endif
