// SPDX-License-Identifier: MIT
/* survey: how even the temperature of a work zone is at one setpoint. Pure and streaming: readings in, one result
 * out; no I/O, no clock, memory that does not grow with the time surveyed.
 *
 * Sensors are thermocouples at known places in the work zone. Readings come in the order of reading_is_before;
 * those of other channels, and those outside [from, to], are passed over.
 *
 * Start. The record begins when the first sensor rises above the start level, SURVEY_START_BELOW_MC under the
 * setpoint. A sensor whose first good reading is above that level already was not seen from the start.
 * Source of the level: AMS 2750F, uniformity surveys are recorded from no less than 100 °F / 55 °C below the
 * survey temperature (extract at sae.freestandardsdocuments.com).
 *
 * Record. Every sensor gives a good reading at least every SURVEY_RECORD_MS, from the start to the end of the
 * stretch judged. A longer silence is a gap: what that sensor did meanwhile is unknown. Source: the same
 * extract, all sensors at least every two minutes. Shorter ones are reported.
 *
 * Settled. Time since `from_ms` is cut into slots of SURVEY_SLOT_MS. The zone is settled at the end of the first
 * slot at which every sensor, over the last SURVEY_SETTLE_SLOTS slots, was read in at least half of them, stayed in
 * each slot's mean within SURVEY_START_BELOW_MC of the setpoint, and moved by less than SURVEY_SLOPE_MC_PER_H: the
 * least-squares slope of its slots' means. A regular cycling about a level counts as settled: its extremes are
 * judged. Length and slope are common practice, no source.
 *
 * Stretch judged. From settled, for `most_ms`, or to the end of the time if that is 0; no less than `least_ms`.
 * 30 minutes is what users of AMS 2750 take (from memory).
 *
 * Deviation: a reading less the setpoint. Spread: at each reading of the stretch, the hottest less the coldest of
 * the sensors' latest readings, all of them younger than SURVEY_RECORD_MS. Overshoot: the highest reading of a
 * sensor from its start to the end of the stretch, less the setpoint; negative if it never got there.
 *
 * Recovery: from the moment the last sensor rose above the start level until settled.
 *
 * Class. Met: every deviation of the stretch is within plus or minus the class's limit, no overshoot is beyond its
 * upper limit at any time of the record (from memory), and nothing is missing. Not met: any reading of the stretch
 * beyond the limit, or an overshoot above it. Otherwise not proven, for the first reason that applies, in the order
 * of enum survey_reason. With `guarded`, what is inside by less than that sensor's uncertainty is not proven
 * either. Limits: AMS 2750F Table 11 (secondary page, hujibjl.com). °C and °F limits are set values, not
 * conversions of each other: which apply is for the caller to say.
 *
 * Not judged here: how many sensors a work zone of its size needs and where, and the other duties of that
 * standard.
 */
#ifndef SOAKLEDGER_SURVEY_H
#define SOAKLEDGER_SURVEY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/judge.h"
#include "soakledger/quantity.h"
#include "soakledger/reading.h"

enum { SURVEY_CLASSES = 6, SURVEY_SENSORS_LEAST = 2, SURVEY_SENSORS_MOST = 40, SURVEY_SETTLE_SLOTS = 20 };
#define SURVEY_SLOT_MS        INT64_C(30000)
#define SURVEY_SLOPE_MC_PER_H INT64_C(6000)  // 0.1 °C/min
#define SURVEY_START_BELOW_MC INT64_C(55000) // 55 °C
#define SURVEY_RECORD_MS      INT64_C(120000)
#define SURVEY_LEAST_MS       INT64_C(1800000)
#define SURVEY_SETTLE_MS      (SURVEY_SLOT_MS * SURVEY_SETTLE_SLOTS)

/* Stored in the ledger by number: never renumber. */
enum survey_reason {
    SURVEY_SOUND = 0,
    SURVEY_TOO_FEW_SENSORS = 1, // fewer than SURVEY_SENSORS_LEAST
    SURVEY_UNREAD = 2,          // a sensor has no good reading at all
    SURVEY_UNSETTLED = 3,
    SURVEY_TOO_SHORT = 4,
    SURVEY_START_UNSEEN = 5,
    SURVEY_SILENT = 6,
    SURVEY_UNSTATED = 7, // guarded, and a sensor's uncertainty is not known
    SURVEY_INSIDE_BY_LESS = 8,
};
enum { SURVEY_REASON_COUNT = 9 };

struct survey_channel {
    int64_t channel_id;
    int64_t uncertainty_mc; // expanded, k = 2; 0: not stated
};

struct survey_setting {
    int64_t from_ms, to_ms;
    int64_t setpoint_mc;
    int64_t least_ms, most_ms;
    enum temperature_unit unit; // whose class limits apply
    bool guarded;
};

struct survey_sensor {
    int64_t channel_id;
    uint64_t count;                 // good readings in the stretch
    int64_t coldest_mc, hottest_mc; // deviations in the stretch; valid if count > 0
    int64_t coldest_ms, hottest_ms;
    int64_t mean_mc; // mean deviation
    bool was_read;   // at all
    bool started_below;
    int64_t first_mc, first_ms;          // its first good reading
    int64_t risen_ms;                    // above the start level; 0: never
    int64_t overshoot_mc, overshoot_ms;  // valid if risen_ms
    int64_t silence_ms, silence_from_ms; // the longest from the start to the end of the stretch
};

struct survey_class {
    enum outcome outcome;
    enum survey_reason reason;
    int64_t channel_id; // which sensor decided; 0 if none
};

struct survey_result {
    size_t sensor_count;
    const struct survey_sensor *sensors; // in the order given
    int64_t begun_ms;                    // the first rise above the start level; 0: none
    int64_t risen_ms;                    // the last sensor's; 0: not all did
    int64_t settled_ms, ended_ms;        // the stretch judged; 0: never settled
    int64_t spread_mc, spread_ms;        // the greatest; valid if spread_ms
    size_t coldest, hottest;             // sensors with the extreme deviations; valid if settled and all were read
    struct survey_class classes[SURVEY_CLASSES]; // class 1 first, the tightest
    int tightest;                                // 1..6: the tightest class met; 0: none
    enum survey_reason reason;                   // what is missing for a proof, for whatever class
};

struct survey;

/* NULL if memory is short. At most SURVEY_SENSORS_MOST channels, each once. */
struct survey *survey_open(const struct survey_setting *setting, const struct survey_channel *channels,
                           size_t count);
void survey_free(struct survey *survey); // NULL is allowed
void survey_feed(struct survey *survey, const struct reading *reading);
/* No more readings will come. The result belongs to the survey. */
const struct survey_result *survey_finish(struct survey *survey);

/* Class 1..6: its limit, rounded down to milli-degrees; and as the standard prints it, in thousandths of the unit.
 */
int64_t survey_limit_mc(int class_number, enum temperature_unit unit);
int64_t survey_limit_printed(int class_number, enum temperature_unit unit);
/* The extreme of all deviations and overshoots, by size: what a class's limit has to hold. 0 if nothing is known.
 */
int64_t survey_worst_mc(const struct survey_result *result);

/* "a sensor was silent for more than 2 min", "" for none. */
const char *survey_reason_text(enum survey_reason reason);

#endif
