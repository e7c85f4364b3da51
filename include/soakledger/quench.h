// SPDX-License-Identifier: MIT
/* quench: what a cooling curve says, as ISO 9950 and ASTM D6200 report it. Pure and streaming, in constant memory.
 *
 * Quantities, all of one channel in or on the cooling part:
 * - transfer: from the moment the charge left the soak to the first fall faster than a threshold. The fall is the
 *   slope between two successive good readings; its moment is the earlier of them.
 * - cooling time between two temperatures (800 to 500 °C is "t8/5"): from the last fall through the upper one to
 * the first fall through the lower one after it, on the straight line between readings.
 * - cooling rate: least-squares slope over five successive readings, given at the middle one; the maximum, and the
 *   temperature and moment at which it is reached; the rate where the curve passes 300 °C.
 * - times to 600, 400 and 200 °C, from the moment the charge left the soak.
 * - handle-warm: when it first is at or below a temperature, from the moment the charge left the soak.
 * Fewer than five good readings between the two temperatures of a cooling time (or around a rate): not known. A gap
 * (no good reading for more than three intervals) that contains a moment makes that moment not known.
 */
#ifndef SOAKLEDGER_QUENCH_H
#define SOAKLEDGER_QUENCH_H

#include <stdbool.h>
#include <stdint.h>

#include "soakledger/reading.h"

enum { QUENCH_LEAST_READINGS = 5, QUENCH_GAP_INTERVALS = 3, QUENCH_MARKS = 3 };

/* The marks of both standards. ASTM D6200 and ISO 9950: rate at 300 °C, times to 600, 400 and 200 °C. */
#define QUENCH_RATE_AT_MC 300000
static const int64_t quench_marks_mc[QUENCH_MARKS] = {600000, 400000, 200000};

struct quench_limits {
    int64_t falls_at_least_mc_per_s; // threshold of the transfer's end; positive
    int64_t upper_mc, lower_mc;      // of the cooling time
    int64_t handle_warm_mc;
};

struct quench_time {
    bool known;
    int64_t ms;   // since the charge left the soak, or a length
    int64_t t_ms; // when
};

struct quench_curve {
    struct quench_time transfer;
    struct quench_time cooling; // length between upper and lower; t_ms: when upper was passed
    int64_t cooling_readings;   // good readings strictly between the two
    struct quench_time fastest; // since the charge left
    int64_t fastest_mc_per_s, fastest_at_mc;
    bool rate_at_300_known;
    int64_t rate_at_300_mc_per_s;
    struct quench_time marks[QUENCH_MARKS];
    struct quench_time handle_warm;
    bool gap; // there was one before handle-warm was reached
};

struct quench;

/* `left_ms`: the moment the charge left the soak (soak end, or the door event); readings before it only serve as
 * the earlier end of a line. NULL if memory is short. */
struct quench *quench_open(const struct quench_limits *limits, int64_t left_ms, int64_t interval_ms);
void quench_free(struct quench *quench); // NULL is allowed

/* Readings of the one channel, in order of time. */
void quench_feed(struct quench *quench, const struct reading *reading);
/* What is known so far. Rates are positive for cooling. */
void quench_read(const struct quench *quench, struct quench_curve *curve);

#endif
