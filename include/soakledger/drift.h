// SPDX-License-Identifier: MIT
/* drift: what many runs say together about an oven's thermocouples and about the oven itself. Pure.
 *
 * A thermocouple drifts by degrees over tens of runs, and a controller follows its own: the display stays perfect.
 * What gives it away is that sensors that agreed do not agree any more. A history is one oven at one level
 * (setpoints within 20 C of each other), one entry a run, beginning when a sensor was fitted or last checked:
 * changes are counted from there.
 *
 * Watched: the difference of every pair of sensors; the output that holds the level (its logarithm); and the work
 * of the heat-up, which is its time multiplied with the mean output in it (its logarithm), so that an oven on a
 * ramp and one at full power are measured alike. For each: self-starting scores, tabular CUSUM and EWMA on them
 * (trend.h), Theil-Sen slope per 10 runs and per 100 h of running, Mann-Kendall. A change is established by a
 * chart, whose limits are set so that all series of an oven together raise less than one false alarm in 1,000 runs
 * (tests/tool_drift.c measures it); then a step (its run) is told from a slow drift (where it began) by which fits
 * better.
 *
 * The cause is weighed by what physics says each would do:
 *   a sensor         all its pairs move, by the same amount, and no others. If the controller goes by it the
 * chamber moves instead: output follows by 1 to 3 times error / (level - ambient) (conduction to radiation) heating
 * element  (slow) or supply voltage or a broken element circuit (step): no pair moves; the output that holds and
 * the work of the heat-up change by the same ratio or the latter by somewhat more leaking door     more output to
 * hold, the heat-up hardly needs more; pairs may spread How sure is the posterior of equal priors; below
 * DRIFT_SURE_LEAST it is "cannot tell". With two sensors nothing tells for certain which of them it is.
 */
#ifndef SOAKLEDGER_DRIFT_H
#define SOAKLEDGER_DRIFT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"
#include "soakledger/quantity.h"
#include "soakledger/steady.h"

enum { DRIFT_MOST_SENSORS = STEADY_MOST_SENSORS, DRIFT_MOST_PAIRS = STEADY_MOST_PAIRS };
enum { DRIFT_LEAST_RUNS = 5 }; // with fewer nothing is said
enum { DRIFT_WORDS_BYTES = 512 };
#define DRIFT_SURE_LEAST 0.8

/* ---- what goes in ---- */

struct drift_sensor {
    const char *name; // of the channel, for the words
    bool controls;    // the controller goes by it
    double allowed_c; // the error that is allowed, > 0
};

/* One run at this level; NAN where a value is not known. */
struct drift_run {
    int64_t run_id;
    int64_t t_ms;                      // when its last stretch at this level ended
    double hours;                      // how long the run lasted
    double level_c;                    // setpoint
    double mean_c[DRIFT_MOST_SENSORS]; // of each sensor, over the stretches at this level
    double output;                     // mean controller output there, per cent
    double heat_s, heat_output;        // heat-up: time, and mean output in it (per cent; NAN: taken as full)
    bool renewed[DRIFT_MOST_SENSORS];  // the sensor was fitted or checked between the run before and this one
};

struct drift_history {
    size_t sensor_count;
    struct drift_sensor sensors[DRIFT_MOST_SENSORS];
    size_t run_count;
    const struct drift_run *runs; // in order of time
};

/* ---- what comes out ---- */

enum drift_shape { DRIFT_SHAPE_NONE = 0, DRIFT_SHAPE_SLOW = 1, DRIFT_SHAPE_STEP = 2 }; // stored: never renumber

/* Stored by number: never renumber. */
enum drift_cause {
    DRIFT_TOO_FEW = 0, // runs, to say anything
    DRIFT_NOTHING = 1, // no change that could be told from noise
    DRIFT_SENSOR = 2,  // one sensor has changed: see `sensor`
    DRIFT_PAIR = 3,    // two sensors have come to disagree, and it cannot be told which has changed
    DRIFT_ELEMENT = 4, // the heating element gives less power, more so with each run
    DRIFT_SUPPLY = 5,  // heating power has changed at once: supply voltage, or part of the element is out
    DRIFT_LEAK = 6,    // the oven loses more heat: door, seal, lining
    DRIFT_UNKNOWN = 7, // something has changed; what, cannot be told
};
enum { DRIFT_CAUSE_COUNT = 8 };

/* One point of a series, for charts. Arrays follow the runs of the history; NAN where the run gave no value. */
struct drift_series {
    size_t one, other;      // sensors of a pair; not valid for output and work
    size_t first_run;       // of the history: where the series begins anew (fitted or checked)
    size_t count;           // values there are, from first_run on
    double *values;         // run_count: C for a pair, natural logarithm for output and work
    double *scores;         // standard normal while nothing changes
    double *high, *low;     // the two sums of the CUSUM, and as in drift.h's limits: chart_limit
    double *ewma;           // of the scores
    double chart_limit;     // of the sums
    double ewma_limit;      // +-, settled
    double noise;           // standard deviation from run to run, trend taken out
    int signal;             // -1, 0, 1: the way in which it is established
    size_t signal_run;      // valid if signal: the run at whose end it was first established
    enum drift_shape shape; // valid if signal
    size_t begins_run;      // valid if signal: the first changed run, as it fits best
    double change;          // valid if signal: until the last run, by the better fit
    double change_error;    // its standard error
    double per_10_runs, per_10_low, per_10_high; // Theil-Sen since begins_run or first_run, 95 %
    double per_100_h, per_100_low, per_100_high;
    double p; // Mann-Kendall, two-sided, since first_run
};

struct drift_weight {
    enum drift_cause cause;
    size_t sensor;      // valid for DRIFT_SENSOR
    double probability; // among all that was weighed
};
enum { DRIFT_MOST_WEIGHTS = DRIFT_MOST_SENSORS + 5 };

/* What can be said of one sensor. Against the other sensors, so it is a change since it was fitted or last checked:
 * an error that it had then stays unseen. */
struct drift_outlook {
    size_t sensor;
    bool known;                                        // there are enough runs
    bool established;                                  // it, or a pair that it is in, has changed beyond doubt
    bool named;                                        // and it is this sensor; else it may as well be the other
    double level_c;                                    // where it was measured
    double error_c;                                    // reads high: positive; of the pair if not named
    double uncertainty_c;                              // expanded, k = 2
    double per_10_runs_c, per_10_low_c, per_10_high_c; // growth and its 95 % interval, signed as the error
    double per_100_h_c, per_100_low_c, per_100_high_c;
    double allowed_c;
    bool beyond;  // the allowed error is passed already
    bool reaches; // growth is known to lead there: the interval of the slope excludes zero
    double runs_left, runs_left_low, runs_left_high; // INFINITY: no end seen. 95 %
    int64_t date_ms, date_low_ms, date_high_ms;      // at the pace of the runs so far; 0: no end seen
};

struct drift_report {
    size_t sensor_count, run_count, pair_count;
    enum drift_cause cause;
    size_t sensor; // valid for DRIFT_SENSOR; for DRIFT_PAIR the one that is more likely
    size_t other;  // valid for DRIFT_PAIR
    double sure;   // 0..1, of the cause
    enum drift_shape shape;
    size_t established_run; // index of the run at whose end it was first established; valid if it was
    size_t weight_count;
    struct drift_weight weights[DRIFT_MOST_WEIGHTS]; // most likely first
    struct drift_series *pairs;                      // (0,1), (0,2) ... (1,2) ...
    struct drift_series output, work;
    struct drift_outlook outlooks[DRIFT_MOST_SENSORS];
};

/* NULL if memory is short. The history may have no runs. Owned by the caller, independent of the history but for
 * the sensors' names. */
struct drift_report *drift_examine(const struct drift_history *history, struct fault *fault);
void drift_free(struct drift_report *report); // NULL is allowed
/* Where in `pairs` the pair of two sensors is; one < other. */
size_t drift_count_pair(size_t sensor_count, size_t one, size_t other);

const char *drift_cause_name(enum drift_cause cause); // "too few runs", "nothing found", "sensor" ...
const char *drift_shape_name(enum drift_shape shape); // "", "slow", "step"

/* ---- in plain words; UTF-8, one line, cut to DRIFT_WORDS_BYTES with its terminator ---- */

/* One sensor: "front: reads low by 3.1 +- 0.6 C at 1070 C, growing 1.4 C per 10 runs, reaches your limit of 8 C in
 * about 9 runs (6 to 14)". */
void drift_describe_sensor(const struct drift_history *history, const struct drift_report *report, size_t sensor,
                           enum temperature_unit unit, char *out);
/* The finding: what has changed, how sure that is: "the thermocouple of front is drifting (97 % sure)". */
void drift_describe_cause(const struct drift_history *history, const struct drift_report *report,
                          enum temperature_unit unit, char *out);
/* What to do about it. "" if there is nothing to do. */
void drift_describe_advice(const struct drift_history *history, const struct drift_report *report,
                           enum temperature_unit unit, char *out);

#endif
