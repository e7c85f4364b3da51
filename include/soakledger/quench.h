// SPDX-License-Identifier: MIT
/* quench: what a cooling curve says, as ISO 9950 and ASTM D6200 report it. Pure and streaming, in constant memory.
 *
 * Quantities, all of one channel in or on the cooling part. Moments lie on the straight line between two successive
 * good readings, and are rounded to the nearest millisecond:
 * - transfer: from the moment the charge left the soak to the first fall faster than a threshold: two
 *   successive good readings that fall at least that fast, and from the earlier of them the first reading 0.4 s
 *   later or more (or the first one behind a gap, or, of a channel read more densely than its interval says, the
 * one that comes a window of readings later) must have fallen as fast too: a step of a coarse or noisy value at
 * fast sampling is not a quench. The later of the two lies after the charge left, and the earlier one not after it
 * was handle-warm. Its moment is the earlier one; zero if that lies before the charge left.
 * - cooling time between two temperatures (800 to 500 °C is "t8/5"): the first passage that ends after the
 *   charge left: from the last fall through the upper one (which may lie before that moment: a soak a little
 *   above the upper one ends by its own definition when the charge has fallen out of its band) to the first
 *   fall through the lower one after it. It begins at the last moment at or above the upper one and ends at the
 * first at or below the lower one.
 * - cooling rate: least-squares slope over five successive good readings, or where the channel is read more
 *   often than every 0.1 s, over the least odd number that spans 0.4 s: five readings in 0.05 s would measure
 *   the noise. Given at the middle one. The maximum from the moment the charge left until it is handle-warm,
 *   and the value read and the moment at which it is reached (the first of equals); and the rate at the first
 *   fall through 300 °C, on the straight line between the rates of the two readings around it. A window rounds
 *   off a peak that is not much longer than itself: of a peak of curvature r'' it takes 17/30 r'' h^2 at an
 *   interval h (five readings), hence `fastest_span_ms`.
 * - times to 600, 400 and 200 °C: the first fall through each, from the moment the charge left the soak.
 * - handle-warm: when it first is at or below a temperature, from the moment the charge left the soak; zero if
 *   it was so already; the first reading of all, if that is so and comes less than a gap after the charge left.
 * Not known: a cooling time with fewer than five good readings between its two temperatures; a rate whose
 * window is not full; a moment inside a gap (no good reading for more than three intervals) or before the first
 * reading; a mark, or a cooling time's lower end, that the charge was at or below when it left; the transfer, if a
 * gap before it holds a fall that may have been the first, which is one as deep as the threshold makes it in 0.4 s
 * or in an interval, whichever is longer, or the channel's first reading comes more than a gap after the charge
 * left; the maximum rate, if in the gaps the curve fell so far that the maximum may be there, which is (with D from
 * the first reading of the last window before a gap to the last one of the first full window behind it, N readings
 * a window, an interval of h) if 3 D / (2 N h) is more than the maximum, or if there was no reading when the charge
 * left. The maximum is one so far, until the charge is handle-warm; it is not known while the channel is silent
 * before that (a reading that is not good shows it).
 *
 * A reading not later than the last good one is ignored: duplicates change nothing.
 */
#ifndef SOAKLEDGER_QUENCH_H
#define SOAKLEDGER_QUENCH_H

#include <stdbool.h>
#include <stdint.h>

#include "soakledger/reading.h"

enum { QUENCH_LEAST_READINGS = 5, QUENCH_GAP_INTERVALS = 3, QUENCH_MARKS = 3 };
/* No rate is taken, and no fall believed, over less. Chosen so that readings wrong by 0.3 C either way change a
 * rate by 2.2 C/s at most at any sampling of 20 ms or slower, about the published repeatability of its maximum. */
enum { QUENCH_SPAN_MS = 400 };

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
    int64_t fastest_span_ms; // from the first to the last reading of its window
    bool rate_at_300_known;
    int64_t rate_at_300_mc_per_s;
    struct quench_time marks[QUENCH_MARKS];
    struct quench_time handle_warm;
    bool gap; // there was one before handle-warm was reached
};

struct quench;

/* `left_ms`: the moment the charge left the soak (soak end, or the door event). Of the readings before it only
 * those count that a later moment's line or window needs: feed some. `interval_ms` > 0. NULL if memory is short. */
struct quench *quench_open(const struct quench_limits *limits, int64_t left_ms, int64_t interval_ms);
void quench_free(struct quench *quench); // NULL is allowed

/* Readings of the one channel, in order of time. */
void quench_feed(struct quench *quench, const struct reading *reading);
/* What is known so far; what is not known is zero. Rates are positive for cooling. May be called at any time, and
 * changes nothing. */
void quench_read(const struct quench *quench, struct quench_curve *curve);

#endif
