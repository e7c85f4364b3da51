// SPDX-License-Identifier: MIT
/* What the files of this room share: the watch's own state. */
#ifndef SOAKLEDGER_CAUSE_PRIVATE_H
#define SOAKLEDGER_CAUSE_PRIVATE_H

#include "soakledger/cause.h"

enum { CAUSE_SLOPE_STEPS = 6, CAUSE_RING = CAUSE_SLOPE_STEPS + 1, CAUSE_MOST_RUNS = 8 };

/* One channel between two steps. */
struct cause_track {
    int64_t id, interval_ms;
    enum channel_role role;
    double sum; // of the step
    int64_t count;
    int64_t good_ms;  // last good reading
    double last_c;    // its value
    double before[2]; // the differences between the last readings: the last one first
    int64_t before_ms;
    double ring[CAUSE_RING]; // of step means, the newest last; NAN where there was nothing
};

/* Sums of least squares, time in minutes since the first. */
struct cause_trend {
    double n, t, tt, d, td;
    int64_t from_ms, to_ms;
};

struct cause_watch {
    struct cause_task task;
    struct cause_signs signs;
    struct cause_track tracks[JUDGE_MOST_LOADS + 3];
    size_t count, first_load;         // tracks; index of the first load sensor beside the control sensor
    size_t control, setpoint, output; // indices; SIZE_MAX for none
    int64_t step_ms, step_begun_ms, any_good_ms, longest_ms;
    double noise_sum;
    int64_t noise_count;
    /* the setpoint */
    double plateau_c;
    int64_t plateau_since_ms;
    /* dips */
    double reference_c, usual_output, usual_load_c, usual_setpoint_c;
    bool dipping, loads_level; // when the dip began
    double load_began_c;
    int64_t full_since_ms;
    size_t swings_before; // the dip
    double swing_sum_before_c;
    int64_t swing_sum_before_ms;
    struct cause_dip dip;
    int64_t upset_until_ms;
    int64_t calm_from_ms; // nothing is level before
    /* swings */
    int direction;
    double extreme_c, last_turn_c, swing_sum_c;
    int64_t last_turn_ms, swing_sum_ms, extreme_ms;
    struct cause_trend difference, output_trend;
    struct cause_mean cooling;
    int64_t off_since_ms, low_since_ms;
    bool ended;
};

/* A step is complete: looks at the rings. */
void cause_take_step(struct cause_watch *watch, int64_t t_ms);
/* Those of the last minutes before `t_ms`: the charge was taken out, which is no dip. */
void cause_forget_dips(struct cause_watch *watch, int64_t t_ms);
void cause_end_dip(struct cause_watch *watch, int64_t t_ms, double control_c);
void cause_trend_add(struct cause_trend *trend, int64_t t_ms, double value);
/* By how much the line through them moves from the first to the last; NAN for too few. */
double cause_trend_move(const struct cause_trend *trend);
void cause_mean_add(struct cause_mean *mean, double value);
double cause_mean_deviation(const struct cause_mean *mean);

struct cause_usual {
    size_t count; // runs kept, the latest
    struct cause_signs runs[CAUSE_MOST_RUNS];
};

/* A comparison with earlier runs; NAN where it cannot be made. */
struct cause_against {
    double now, usual; // in the sign's unit
    double ratio;      // now / usual
    double tolerance;  // by how much good runs differ among themselves, in the unit of ratio or of now
};
struct cause_comparison {
    size_t runs;
    struct cause_against strength, strength_hot, strength_cold, holding, trail, equalising, overshoot, swing;
    struct cause_against difference; // the load sensor that is furthest from its usual; now and usual in °C
    int64_t difference_channel_id;
    size_t differing; // load sensors beyond their tolerance, all to the same side
    double abrupt;    // part of the loss of strength that came from one bin to the next, 0 .. 1
    double setpoint_usual_c, held_usual_ms, in_band_usual_ms, level_usual_c, garbled_usual, swings_usual,
        output_drift_usual, cools_usual;
};
void cause_compare(const struct cause_signs *signs, const struct cause_usual *usual,
                   struct cause_comparison *comparison);
/* Mean rise in C/s at full output in the bins near `level_c`; NAN if not known. */
double cause_full_rise(const struct cause_signs *signs, double level_c);

#endif
