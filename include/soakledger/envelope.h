// SPDX-License-Identifier: MIT
/* envelope: a curve thinned to what paper can show, while it streams by.
 *
 * Time is cut into CHART_COLUMNS columns. Each keeps its first, lowest, highest and last good reading. Gaps are
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
    struct envelope_column columns[CHART_COLUMNS];
};

void envelope_begin(struct envelope *envelope, int64_t from_ms, int64_t to_ms, int64_t interval_ms);
void envelope_release(struct envelope *envelope);
bool envelope_feed(struct envelope *envelope, const struct reading *reading); // false: memory ran short
bool envelope_end(struct envelope *envelope);

/* The distinct points of a column in order of time, at most ENVELOPE_COLUMN_POINTS; returns how many. */
size_t envelope_points(const struct envelope_column *column, struct envelope_point *points);
/* Lowest and highest value within [from, to]; false if there is none. */
bool envelope_extremes(const struct envelope *envelope, int64_t from_ms, int64_t to_ms, int64_t *low_mc,
                       int64_t *high_mc);

#endif
