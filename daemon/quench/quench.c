// SPDX-License-Identifier: MIT
/* Follows one cooling curve, reading by reading. Differences of times and values are whole numbers and every
 * quotient is rounded once, so that the same readings shifted in time give the same answer to the last digit. */
#include "soakledger/quench.h"

#include <assert.h>
#include <stddef.h>
#include <stdlib.h>

enum { MS_PER_S = 1000 };

__extension__ typedef __int128 quench_wide;

struct point {
    int64_t t_ms, value_mc;
};

/* From one good reading to the next. */
struct step {
    bool has_from; // false: `to` is the first good reading of all
    bool gap;      // too long for a straight line
    struct point from, to;
};

enum fate { FATE_OPEN, FATE_KNOWN, FATE_LOST };

/* When the curve is first at or below a temperature. */
struct arrival {
    int64_t at_mc;
    enum fate fate;
    int64_t t_ms; // lost: when that was seen
};

struct window {
    bool valid;
    struct point middle;
    int64_t mc_per_s, span_ms;
};

struct quench {
    struct quench_limits limits;
    int64_t left_ms, interval_ms, gap_limit_ms;
    bool has_good;
    struct point good;

    enum fate transfer;
    int64_t transfer_ms;
    bool has_weighed; // falls that begin at or before `weighed_ms` have been decided on
    int64_t weighed_ms;

    struct arrival marks[QUENCH_MARKS], lower, warm, slow; // slow: where the rate at 300 °C is taken
    bool has_upper;                                        // a fall through the upper temperature was seen
    int64_t upper_ms, inside;                              // good readings since then, above the lower

    bool rate_awaited, rate_known;
    int64_t rate_mc_per_s;
    struct window last, fastest;

    bool gap, silent;         // before handle-warm
    bool before_unseen;       // no reading at all when the charge left
    bool gap_open;            // since the gap no window has been full
    int64_t gap_from_mc;      // the value a window before the gap
    int64_t gap_most_fall_mc; // over a gap and a window either side

    size_t most, first, count; // the ring: one window
    struct point points[];
};

/* The least odd number of readings that is enough and spans enough. */
static size_t window_readings(int64_t interval_ms) {
    const int64_t steps = (QUENCH_SPAN_MS + interval_ms - 1) / interval_ms;
    const int64_t readings = steps + 1 > QUENCH_LEAST_READINGS ? steps + 1 : QUENCH_LEAST_READINGS;

    return (size_t)(readings | 1);
}

struct quench *quench_open(const struct quench_limits *limits, int64_t left_ms, int64_t interval_ms) {
    const size_t most = window_readings(interval_ms);
    struct quench *quench = calloc(1, sizeof *quench + most * sizeof quench->points[0]);

    if (quench == NULL)
        return NULL;
    quench->limits = *limits;
    quench->left_ms = left_ms;
    quench->interval_ms = interval_ms;
    quench->gap_limit_ms = QUENCH_GAP_INTERVALS * interval_ms;
    quench->most = most;
    quench->lower.at_mc = limits->lower_mc;
    quench->warm.at_mc = limits->handle_warm_mc;
    quench->slow.at_mc = QUENCH_RATE_AT_MC;
    for (size_t i = 0; i < QUENCH_MARKS; i++)
        quench->marks[i].at_mc = quench_marks_mc[i];
    return quench;
}

void quench_free(struct quench *quench) {
    free(quench);
}

/* numerator / denominator, half away from zero; denominator > 0. */
static int64_t divide(quench_wide numerator, quench_wide denominator) {
    const quench_wide half = denominator / 2;

    assert(denominator > 0);
    return (int64_t)(numerator < 0 ? -((half - numerator) / denominator) : (numerator + half) / denominator);
}

/* Where the falling line from one reading to the next is at a temperature between them. */
static int64_t crossing_ms(const struct step *step, int64_t at_mc) {
    const quench_wide fallen_mc = step->from.value_mc - at_mc;

    return step->from.t_ms + divide(fallen_mc * (step->to.t_ms - step->from.t_ms),
                                    (quench_wide)step->from.value_mc - step->to.value_mc);
}

static size_t slot(const struct quench *quench, size_t index) {
    return quench->first + index < quench->most ? quench->first + index : quench->first + index - quench->most;
}

static const struct point *point_at(const struct quench *quench, size_t index) {
    return &quench->points[slot(quench, index)];
}

/* The curve is over once the charge is handle-warm: whatever cools later is something else. */
static bool is_over(const struct quench *quench, int64_t t_ms) {
    return quench->warm.fate != FATE_OPEN && t_ms > quench->warm.t_ms;
}

/* ---- moments on the line ---- */

/* The first good reading at or below the temperature decides: if the way there was not seen, it is lost. */
static void follow_arrival(const struct quench *quench, struct arrival *arrival, const struct step *step) {
    if (arrival->fate != FATE_OPEN || step->to.t_ms < quench->left_ms || step->to.value_mc > arrival->at_mc)
        return;
    arrival->fate = FATE_LOST;
    arrival->t_ms = step->to.t_ms;
    if (step->gap || !step->has_from || step->from.value_mc <= arrival->at_mc)
        return;
    arrival->t_ms = crossing_ms(step, arrival->at_mc);
    if (arrival->t_ms >= quench->left_ms)
        arrival->fate = FATE_KNOWN;
}

/* Unlike a mark, handle-warm need not have been fallen through: a charge that is warm is warm. */
static void follow_warm(struct quench *quench, const struct step *step) {
    struct arrival *warm = &quench->warm;

    if (warm->fate != FATE_OPEN)
        return;
    follow_arrival(quench, warm, step);
    if (warm->fate != FATE_LOST || step->gap)
        return;
    warm->fate = FATE_KNOWN;
    if (step->has_from) // then it was warm when the charge left
        warm->t_ms = quench->left_ms;
}

static void follow_cooling(struct quench *quench, const struct step *step) {
    const int64_t upper_mc = quench->limits.upper_mc, value_mc = step->to.value_mc;

    if (quench->lower.fate != FATE_OPEN)
        return;
    if (value_mc >= upper_mc) {
        quench->has_upper = false;
        quench->inside = 0;
    } else if (step->has_from && step->from.value_mc >= upper_mc) {
        quench->has_upper = !step->gap;
        quench->upper_ms = crossing_ms(step, upper_mc);
    }
    if (quench->has_upper && value_mc > quench->limits.lower_mc && value_mc < upper_mc)
        quench->inside++;
    follow_arrival(quench, &quench->lower, step);
}

/* ---- transfer ---- */

static bool falls_fast(const struct quench *quench, const struct point *from, const struct point *to) {
    return ((quench_wide)from->value_mc - to->value_mc) * MS_PER_S >=
           (quench_wide)quench->limits.falls_at_least_mc_per_s * (to->t_ms - from->t_ms);
}

/* A fall from `begin` to `next` that `proof`, the first reading late enough, bears out or not. */
static void weigh_fall(struct quench *quench, const struct point *begin, const struct point *next,
                       const struct point *proof) {
    if (next->t_ms <= quench->left_ms || is_over(quench, begin->t_ms))
        return;
    if (!falls_fast(quench, begin, next) || !falls_fast(quench, begin, proof))
        return;
    quench->transfer = FATE_KNOWN;
    quench->transfer_ms = begin->t_ms > quench->left_ms ? begin->t_ms : quench->left_ms;
}

/* Could a fall that counts lie within the gap? */
static bool hides_fall(const struct quench *quench, const struct step *step) {
    const int64_t least_ms = quench->interval_ms > QUENCH_SPAN_MS ? quench->interval_ms : QUENCH_SPAN_MS;

    if (!step->has_from)
        return true;
    return ((quench_wide)step->from.value_mc - step->to.value_mc) * MS_PER_S >=
           (quench_wide)quench->limits.falls_at_least_mc_per_s * least_ms;
}

/* Before `to` is in the ring: decides on the falls that begin at readings for which it is the proof. */
static void follow_transfer(struct quench *quench, const struct step *step) {
    for (size_t i = 0; i < quench->count && quench->transfer == FATE_OPEN; i++) {
        const struct point *begin = point_at(quench, i);
        const bool is_newest = i + 1 == quench->count, is_leaving = i == 0 && quench->count == quench->most;

        if (quench->has_weighed && begin->t_ms <= quench->weighed_ms)
            continue;
        if (step->to.t_ms - begin->t_ms < QUENCH_SPAN_MS && !step->gap && !is_leaving)
            break;
        quench->has_weighed = true;
        quench->weighed_ms = begin->t_ms;
        if (!(is_newest && step->gap))
            weigh_fall(quench, begin, is_newest ? &step->to : point_at(quench, i + 1), &step->to);
    }
    if (quench->transfer == FATE_OPEN && step->gap && step->to.t_ms > quench->left_ms && hides_fall(quench, step))
        quench->transfer = FATE_LOST;
}

/* ---- rates ---- */

/* The textbook normal equations of a straight line, times and values counted from the first point. */
static int64_t take_rate(const struct quench *quench) {
    const struct point *origin = point_at(quench, 0);
    const quench_wide n = (quench_wide)quench->count;
    quench_wide sum_t = 0, sum_v = 0, sum_tt = 0, sum_tv = 0;

    for (size_t i = 0; i < quench->count; i++) {
        const quench_wide t = point_at(quench, i)->t_ms - origin->t_ms;
        const quench_wide v = origin->value_mc - point_at(quench, i)->value_mc;

        sum_t += t;
        sum_v += v;
        sum_tt += t * t;
        sum_tv += t * v;
    }
    return divide((n * sum_tv - sum_t * sum_v) * MS_PER_S, n * sum_tt - sum_t * sum_t);
}

/* Two windows whose middles are the readings around the moment: the rate on the line between them. */
static void take_rate_at(struct quench *quench, const struct window *window) {
    const struct window *last = &quench->last;

    if (!quench->rate_awaited || window->middle.value_mc > quench->slow.at_mc)
        return;
    quench->rate_awaited = false;
    if (!last->valid || last->middle.value_mc <= quench->slow.at_mc)
        return;
    quench->rate_known = true;
    quench->rate_mc_per_s = last->mc_per_s + divide((quench_wide)(window->mc_per_s - last->mc_per_s) *
                                                        (last->middle.value_mc - quench->slow.at_mc),
                                                    (quench_wide)last->middle.value_mc - window->middle.value_mc);
}

static int64_t larger(int64_t a, int64_t b) {
    return a > b ? a : b;
}

static void weigh_window(struct quench *quench) {
    const struct point *newest = point_at(quench, quench->count - 1);
    const struct window window = {.valid = true,
                                  .middle = *point_at(quench, quench->count / 2),
                                  .mc_per_s = take_rate(quench),
                                  .span_ms = newest->t_ms - point_at(quench, 0)->t_ms};

    take_rate_at(quench, &window);
    quench->last = window;
    if (window.middle.t_ms >= quench->left_ms && !is_over(quench, window.middle.t_ms) &&
        window.mc_per_s > quench->fastest.mc_per_s)
        quench->fastest = window;
    if (quench->gap_open)
        quench->gap_most_fall_mc = larger(quench->gap_most_fall_mc, quench->gap_from_mc - newest->value_mc);
    quench->gap_open = false;
}

static void add_point(struct quench *quench, const struct point *point) {
    if (quench->count == quench->most) {
        quench->first = slot(quench, 1);
        quench->count--;
    }
    quench->points[slot(quench, quench->count++)] = *point;
    if (quench->count == quench->most)
        weigh_window(quench);
}

/* ---- gaps ---- */

/* Has the channel been silent for too long at `t_ms`? */
static bool is_gap(const struct quench *quench, int64_t t_ms) {
    const int64_t since_ms = quench->has_good ? quench->good.t_ms : quench->left_ms;

    return t_ms - since_ms > quench->gap_limit_ms;
}

/* No window reaches over a gap, and a rate that was awaited will not come. */
static void cross_gap(struct quench *quench, const struct step *step) {
    if (step->to.t_ms > quench->left_ms && quench->warm.fate == FATE_OPEN) {
        quench->gap = true;
        quench->before_unseen |= !step->has_from;
        if (!quench->gap_open && quench->count > 0)
            quench->gap_from_mc = point_at(quench, 0)->value_mc;
        quench->gap_open = step->has_from;
    }
    quench->first = quench->count = 0;
    quench->last.valid = false;
    quench->rate_awaited = false;
}

/* A monotonous fall D within a window of N readings an interval h apart has a least-squares slope of at most
 * 3 D / (2 N h): when all of it lies in one step next to the middle. Where even that is below the maximum found,
 * the gaps cannot hold a faster one. */
static bool is_fastest_sure(const struct quench *quench) {
    int64_t fall_mc = quench->gap_most_fall_mc;

    if (quench->silent || quench->before_unseen)
        return false;
    if (quench->gap_open)
        fall_mc = larger(fall_mc, quench->gap_from_mc - quench->good.value_mc);
    return (quench_wide)3 * fall_mc * MS_PER_S <=
           (quench_wide)2 * (int64_t)quench->most * quench->interval_ms * quench->fastest.mc_per_s;
}

/* ---- in and out ---- */

static void take_silence(struct quench *quench, int64_t t_ms) {
    if (t_ms > quench->left_ms && quench->warm.fate == FATE_OPEN && is_gap(quench, t_ms))
        quench->gap = quench->silent = true;
}

void quench_feed(struct quench *quench, const struct reading *reading) {
    struct step step = {.has_from = quench->has_good, .from = quench->good};

    if (reading->quality != QUALITY_GOOD) {
        take_silence(quench, reading->t_ms);
        return;
    }
    if (quench->has_good && reading->t_ms <= quench->good.t_ms)
        return;
    step.to = (struct point){.t_ms = reading->t_ms, .value_mc = reading->value};
    step.gap = is_gap(quench, reading->t_ms);
    quench->silent = false;

    follow_transfer(quench, &step);
    if (step.gap)
        cross_gap(quench, &step);
    follow_warm(quench, &step);
    follow_cooling(quench, &step);
    for (size_t i = 0; i < QUENCH_MARKS; i++)
        follow_arrival(quench, &quench->marks[i], &step);
    if (quench->slow.fate == FATE_OPEN) {
        follow_arrival(quench, &quench->slow, &step);
        quench->rate_awaited = quench->slow.fate == FATE_KNOWN;
    }
    add_point(quench, &step.to);
    quench->good = step.to;
    quench->has_good = true;
}

static struct quench_time since_left(const struct quench *quench, bool known, int64_t t_ms) {
    if (!known)
        return (struct quench_time){false, 0, 0};
    return (struct quench_time){true, t_ms - quench->left_ms, t_ms};
}

void quench_read(const struct quench *quench, struct quench_curve *curve) {
    *curve =
        (struct quench_curve){.transfer = since_left(quench, quench->transfer == FATE_KNOWN, quench->transfer_ms),
                              .handle_warm = since_left(quench, quench->warm.fate == FATE_KNOWN, quench->warm.t_ms),
                              .cooling_readings = quench->inside,
                              .rate_at_300_known = quench->rate_known,
                              .rate_at_300_mc_per_s = quench->rate_mc_per_s,
                              .gap = quench->gap};
    if (quench->lower.fate == FATE_KNOWN && quench->inside >= QUENCH_LEAST_READINGS)
        curve->cooling = (struct quench_time){true, quench->lower.t_ms - quench->upper_ms, quench->upper_ms};
    if (quench->fastest.valid && is_fastest_sure(quench)) {
        curve->fastest = since_left(quench, true, quench->fastest.middle.t_ms);
        curve->fastest_mc_per_s = quench->fastest.mc_per_s;
        curve->fastest_at_mc = quench->fastest.middle.value_mc;
        curve->fastest_span_ms = quench->fastest.span_ms;
    }
    for (size_t i = 0; i < QUENCH_MARKS; i++)
        curve->marks[i] = since_left(quench, quench->marks[i].fate == FATE_KNOWN, quench->marks[i].t_ms);
}
