// SPDX-License-Identifier: MIT
/* envelope: a curve thinned to what paper can show, while it streams by.
 *
 * Time is cut into columns of one width. Each keeps its first, lowest, highest and last good reading. Gaps are
 * kept apart, exactly: where no good reading came for more than three intervals.
 */
#ifndef SOAKLEDGER_ENVELOPE_H
#define SOAKLEDGER_ENVELOPE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/chart.h"
#include "soakledger/reading.h"

enum { ENVELOPE_COLUMN_POINTS = 4 };

struct envelope_point {
    int64_t t_ms;
    int64_t value_mc;
};

struct envelope_column {
    bool used;
    bool broken; // a gap lies between the columns before and this one
    struct envelope_point first, low, high, last;
};

struct envelope_gap {
    int64_t from_ms, to_ms;
};

struct envelope {
    int64_t from_ms, to_ms, interval_ms;
    int64_t good_ms; // the last good reading; from_ms before the first
    struct envelope_gap *gaps;
    size_t gap_count, gap_capacity;
    struct envelope_column *columns;
    size_t column_count;
};

/* False: memory ran short. Release it in either case. */
bool envelope_begin(struct envelope *envelope, int64_t from_ms, int64_t to_ms, int64_t interval_ms, size_t columns);
void envelope_release(struct envelope *envelope);
bool envelope_feed(struct envelope *envelope, const struct reading *reading); // false: memory ran short
bool envelope_end(struct envelope *envelope);
/* Fills an envelope that has begun from a `finer` one that has ended: whole columns, and the gaps as they were
 * found. False: memory ran short. No reading may follow. */
bool envelope_take(struct envelope *envelope, const struct envelope *finer);
/* Moves the times outwards, to where columns begin and end. */
void envelope_widen(const struct envelope *envelope, int64_t *from_ms, int64_t *to_ms);

/* The distinct points of a column in order of time, at most ENVELOPE_COLUMN_POINTS; returns how many. */
size_t envelope_points(const struct envelope_column *column, struct envelope_point *points);
/* Lowest and highest value within [from, to]; false if there is none. */
bool envelope_extremes(const struct envelope *envelope, int64_t from_ms, int64_t to_ms, int64_t *low_mc,
                       int64_t *high_mc);

#endif
