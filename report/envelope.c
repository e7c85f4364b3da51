// SPDX-License-Identifier: MIT
#include "soakledger/envelope.h"

#include <stdlib.h>
#include <string.h>

#include "soakledger/judge.h"

enum { FIRST_GAPS = 16 };

void envelope_begin(struct envelope *envelope, int64_t from_ms, int64_t to_ms, int64_t interval_ms) {
    memset(envelope, 0, sizeof *envelope);
    envelope->from_ms = from_ms;
    envelope->to_ms = to_ms;
    envelope->interval_ms = interval_ms;
    envelope->good_ms = from_ms;
}

void envelope_release(struct envelope *envelope) {
    free(envelope->gaps);
    envelope->gaps = NULL;
    envelope->gap_count = 0;
}

static bool envelope_add_gap(struct envelope *envelope, int64_t from_ms, int64_t to_ms) {
    if (envelope->gap_count == envelope->gap_capacity) {
        const size_t capacity = envelope->gap_capacity == 0 ? FIRST_GAPS : envelope->gap_capacity * 2;
        struct envelope_gap *gaps = realloc(envelope->gaps, capacity * sizeof *gaps);

        if (gaps == NULL)
            return false;
        envelope->gaps = gaps;
        envelope->gap_capacity = capacity;
    }
    envelope->gaps[envelope->gap_count++] = (struct envelope_gap){from_ms, to_ms};
    return true;
}

static bool envelope_is_gap(const struct envelope *envelope, int64_t until_ms) {
    return until_ms - envelope->good_ms > JUDGE_GAP_INTERVALS * envelope->interval_ms;
}

static size_t envelope_column_of(const struct envelope *envelope, int64_t t_ms) {
    const double share = (double)(t_ms - envelope->from_ms) / (double)(envelope->to_ms - envelope->from_ms);
    const size_t column = (size_t)(share * CHART_COLUMNS);

    return column < CHART_COLUMNS ? column : CHART_COLUMNS - 1;
}

bool envelope_feed(struct envelope *envelope, const struct reading *reading) {
    const struct envelope_point point = {reading->t_ms, reading->value};
    struct envelope_column *column;
    bool kept = true, broken = false;

    if (reading->quality != QUALITY_GOOD || point.t_ms < envelope->from_ms || point.t_ms > envelope->to_ms)
        return true;
    if (envelope_is_gap(envelope, point.t_ms)) {
        kept = envelope_add_gap(envelope, envelope->good_ms, point.t_ms);
        broken = true;
    }
    envelope->good_ms = point.t_ms;
    column = &envelope->columns[envelope_column_of(envelope, point.t_ms)];
    if (!column->used) {
        *column = (struct envelope_column){true, broken, point, point, point, point};
        return kept;
    }
    if (point.value_mc < column->low.value_mc)
        column->low = point;
    if (point.value_mc > column->high.value_mc)
        column->high = point;
    column->last = point;
    return kept;
}

bool envelope_end(struct envelope *envelope) {
    if (envelope_is_gap(envelope, envelope->to_ms)) {
        const int64_t from_ms = envelope->good_ms;

        envelope->good_ms = envelope->to_ms;
        return envelope_add_gap(envelope, from_ms, envelope->to_ms);
    }
    return true;
}

size_t envelope_points(const struct envelope_column *column, struct envelope_point *points) {
    const bool low_first = column->low.t_ms < column->high.t_ms;
    const struct envelope_point ordered[ENVELOPE_COLUMN_POINTS] = {
        column->first, low_first ? column->low : column->high, low_first ? column->high : column->low,
        column->last};
    size_t count = 0;

    for (size_t i = 0; i < ENVELOPE_COLUMN_POINTS; i++)
        if (count == 0 || ordered[i].t_ms > points[count - 1].t_ms)
            points[count++] = ordered[i];
    return count;
}

bool envelope_extremes(const struct envelope *envelope, int64_t from_ms, int64_t to_ms, int64_t *low_mc,
                       int64_t *high_mc) {
    bool any = false;

    for (size_t i = 0; i < CHART_COLUMNS; i++) {
        const struct envelope_column *column = &envelope->columns[i];

        if (!column->used || column->last.t_ms < from_ms || column->first.t_ms > to_ms)
            continue;
        if (!any || column->low.value_mc < *low_mc)
            *low_mc = column->low.value_mc;
        if (!any || column->high.value_mc > *high_mc)
            *high_mc = column->high.value_mc;
        any = true;
    }
    return any;
}
