// SPDX-License-Identifier: MIT
/* forecast: during a run, when the soak will be complete and whether an overshoot is coming. Pure and streaming, in
 * constant memory. A forecast is never a verdict: it says what will happen if things go on as they do.
 *
 * Charge below the band: its approach is taken as exponential towards where its slope tends (two slopes a window
 * apart give the time constant); a straight line while the slope is steady. Charge in the band: begin + required.
 * Overshoot: the peak that the present slope and its decay lead to. Silent while it cannot tell.
 */
#ifndef SOAKLEDGER_FORECAST_H
#define SOAKLEDGER_FORECAST_H

#include <stdbool.h>
#include <stdint.h>

#include "soakledger/fault.h"
#include "soakledger/reading.h"

struct forecast;

struct forecast_limits {
    int64_t edge_mc; // B
    int64_t temperature_mc;
    int64_t overshoot_limit_mc; // absolute
    int64_t required_ms;
    int64_t interval_ms; // of the load channels, the longest
};

struct forecast_outlook {
    bool in_band;
    bool complete_known;
    int64_t complete_ms; // when the required soak will be complete
    bool peak_known;
    int64_t peak_mc;       // highest value that is coming
    bool overshoot_coming; // the peak will pass the limit, and it has not yet
};

struct forecast *forecast_open(const struct forecast_limits *limits, struct fault *fault);
void forecast_free(struct forecast *forecast); // NULL is allowed

/* Good readings of load channels, in the judge's order: up to 16 channels, known by their ids. */
void forecast_feed(struct forecast *forecast, const struct reading *reading);
void forecast_read(const struct forecast *forecast, int64_t now_ms, struct forecast_outlook *outlook);

#endif
