// SPDX-License-Identifier: MIT
/* What the files of steady share: bins of time, the heat-up, the stretch that is on. */
#ifndef SOAKLEDGER_STEADY_PRIVATE_H
#define SOAKLEDGER_STEADY_PRIVATE_H

#include "soakledger/steady.h"

enum { WINDOW_MS = 300000, BIN_MS = 10000, MINUTE_MS = 60000, WINDOW_BINS_MOST = WINDOW_MS / BIN_MS };
enum { LINE_STEP_MC = 10000, LINE_COUNT = 200 }; // the heat-up is timed at whole tens of degrees, 0 C and up

struct steady_bin {
    int64_t number;                         // of the bin: its time divided by its length
    double sensors_mc[STEADY_MOST_SENSORS]; // means; NAN where nothing good came
    double setpoint_mc, output;             // likewise
};

/* ---- heat-up ---- */

enum rise_state { RISE_NOT_YET, RISE_ONCE, RISE_SPOILED };

struct rise {
    enum rise_state state;
    double at_ms;
    size_t missing;        // bins without the reference until then
    size_t output_missing; // likewise without an output
    double output_ms;      // integral of the output until then
};

struct steady_heat {
    struct rise lines[LINE_COUNT];
    bool has_last;
    double last_mc, last_ms; // middle of the bin
    size_t since_last;       // bins without the reference
    size_t missing, output_missing;
    double output_ms;
};

void steady_heat_take(struct steady_heat *heat, const struct steady_bin *bin, size_t reference, int64_t bin_ms);
/* Fills in the heat-up members, from level_mc. */
void steady_heat_read(const struct steady_heat *heat, struct steady_stretch *stretch);

/* ---- the stretch that is on ---- */

struct steady_spread { // of a pair's means over a minute
    size_t count;
    double mean, squares;
};

struct steady_sums {
    bool takes_part[STEADY_MOST_SENSORS];
    size_t count; // bins
    int64_t first_number, last_number;
    double sensors_mc[STEADY_MOST_SENSORS];
    size_t setpoint_count, output_count;
    double setpoint_mc, output;
    size_t minute_count; // bins in the minute that is being filled
    double minute_mc[STEADY_MOST_SENSORS];
    struct steady_spread pairs[STEADY_MOST_PAIRS]; // (0,1), (0,2) ... (1,2) ...
};

void steady_sums_add(struct steady_sums *sums, const struct steady_bin *bin, size_t sensor_count,
                     size_t minute_bins);

#endif
