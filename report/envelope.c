// SPDX-License-Identifier: MIT
#include "soakledger/envelope.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/judge.h"

enum { FIRST_GAPS = 16 };

bool envelope_begin(struct envelope *envelope, int64_t from_ms, int64_t to_ms, int64_t interval_ms,
                    size_t columns) {
    memset(envelope, 0, sizeof *envelope);
    envelope->from_ms = from_ms;
    envelope->to_ms = to_ms;
    envelope->interval_ms = interval_ms;
    envelope->good_ms = from_ms;
    envelope->columns = calloc(columns, sizeof *envelope->columns);
    if (envelope->columns == NULL)
        return false;
    envelope->column_count = columns;
    return true;
}

void envelope_release(struct envelope *envelope) {
    free(envelope->gaps);
    free(envelope->columns);
    envelope->gaps = NULL;
    envelope->columns = NULL;
    envelope->column_count = 0;
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
    const size_t column = (size_t)(share * (double)envelope->column_count);

    return column < envelope->column_count ? column : envelope->column_count - 1;
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

static void envelope_merge(struct envelope_column *column, const struct envelope_column *later) {
    if (!column->used) {
        *column = *later;
        return;
    }
    if (later->low.value_mc < column->low.value_mc)
        column->low = later->low;
    if (later->high.value_mc > column->high.value_mc)
        column->high = later->high;
    column->last = later->last;
}

bool envelope_take(struct envelope *envelope, const struct envelope *finer) {
    for (size_t i = 0; i < finer->column_count; i++) {
        const struct envelope_column *column = &finer->columns[i];

        if (column->used && column->first.t_ms >= envelope->from_ms && column->last.t_ms <= envelope->to_ms)
            envelope_merge(&envelope->columns[envelope_column_of(envelope, column->first.t_ms)], column);
    }
    for (size_t i = 0; i < finer->gap_count; i++) {
        const struct envelope_gap *gap = &finer->gaps[i];
        const int64_t from_ms = gap->from_ms > envelope->from_ms ? gap->from_ms : envelope->from_ms;
        const int64_t to_ms = gap->to_ms < envelope->to_ms ? gap->to_ms : envelope->to_ms;

        if (from_ms < to_ms && !envelope_add_gap(envelope, from_ms, to_ms))
            return false;
    }
    envelope->good_ms = envelope->to_ms; // whatever gap reaches the end has been taken
    return true;
}

void envelope_widen(const struct envelope *envelope, int64_t *from_ms, int64_t *to_ms) {
    const double width_ms = (double)(envelope->to_ms - envelope->from_ms) / (double)envelope->column_count;
    const double first = floor((double)(*from_ms - envelope->from_ms) / width_ms);
    const double end = ceil((double)(*to_ms - envelope->from_ms) / width_ms);
    const int64_t begins_ms = envelope->from_ms + (int64_t)floor(first * width_ms);
    const int64_t ends_ms = envelope->from_ms + (int64_t)ceil(end * width_ms);

    *from_ms = begins_ms > envelope->from_ms ? begins_ms : envelope->from_ms;
    *to_ms = ends_ms < envelope->to_ms ? ends_ms : envelope->to_ms;
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

    for (size_t i = 0; i < envelope->column_count; i++) {
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
