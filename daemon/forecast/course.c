// SPDX-License-Identifier: MIT
/* The slopes over three neighbouring windows of equal width say how a rise goes: steady or slowing, and whether the
 * slowing itself grows (a peak) or fades (an approach). The narrowest windows are taken whose slowing stands out of
 * the noise: quick ovens need narrow ones, slow ovens allow wide ones. */
#include "course.h"

#include <math.h>

static const size_t widths[] = {4, 8, 16, 24}; // of a window, in bins
enum { WIDTHS = sizeof widths / sizeof *widths };

/* Found with tool_forecast on made-up runs: fewer standard deviations give more false alarms, more of them less
 * time. */
static const double slows_by_deviations = 10, rises_by_deviations = 3;
static const double noise_keeps = 0.97;        // per bin: noise is known from the last three minutes or so
static const double third_difference_var = 20; // 1 + 9 + 9 + 1 times the noise's own
static const double grows_at_most = 1.5;       // how fast the slowing may grow from window to window
enum { STEPS_MOST = 400 };

static const struct course_bin *bin_back(const struct course_past *past, size_t back) {
    return &past->bins[(past->newest + COURSE_BINS - back) % COURSE_BINS];
}

void course_add(struct course_past *past, double t_s, double value_c) {
    enum { NEEDED = 4 };
    double difference;

    past->newest = (past->newest + 1) % COURSE_BINS;
    past->bins[past->newest] = (struct course_bin){t_s, value_c};
    past->count += past->count < COURSE_BINS;
    if (past->count < NEEDED)
        return;
    difference = bin_back(past, 0)->value_c - bin_back(past, 3)->value_c -
                 3 * (bin_back(past, 1)->value_c - bin_back(past, 2)->value_c);
    past->noise2 = noise_keeps * past->noise2 + difference * difference / third_difference_var;
    past->noise_weight = noise_keeps * past->noise_weight + 1;
}

/* A window's least-squares line. */
struct window {
    double t_s, value_c, slope_c_s; // at its middle
};

static void fit_window(const struct course_past *past, size_t back, size_t width, struct window *window) {
    double tt = 0, tc = 0;

    *window = (struct window){0, 0, 0};
    for (size_t i = 0; i < width; i++) {
        window->t_s += bin_back(past, back + i)->t_s / (double)width;
        window->value_c += bin_back(past, back + i)->value_c / (double)width;
    }
    for (size_t i = 0; i < width; i++) {
        const double t_s = bin_back(past, back + i)->t_s - window->t_s;

        tt += t_s * t_s;
        tc += t_s * (bin_back(past, back + i)->value_c - window->value_c);
    }
    window->slope_c_s = tc / tt;
}

/* Standard deviation of a window's slope: of a least-squares slope over equally spaced points. */
static double slope_deviation(const struct course_past *past, size_t width, double span_s) {
    const double n = (double)width, bin_s = span_s / n;

    if (!(past->noise_weight > 0))
        return INFINITY;
    return sqrt(past->noise2 / past->noise_weight * 12 / (n * (n * n - 1))) / bin_s;
}

/* How much further it rises from the middle of the newest window, if the slope's falls from window to window go on
 * growing or fading as the last two did: `slope` now, `fall` the last one, `growth` their ratio. */
static double rise_left(double slope, double fall, double growth, double span_s) {
    double rise_c = 0;

    for (int i = 0; i < STEPS_MOST; i++) {
        const double before = slope;

        fall *= growth;
        slope -= fall;
        if (slope <= 0)
            return rise_c + span_s * before * before / (before - slope) / 2;
        rise_c += span_s * (before + slope) / 2;
    }
    return rise_c;
}

/* An exponential approach ends where its slope's decay leads. A peak comes before that: the slowing grows. */
static double find_peak(const struct window windows[COURSE_WINDOWS], double span_s, const struct course *course) {
    const double fall = windows[1].slope_c_s - windows[0].slope_c_s;
    const double fall_before = windows[2].slope_c_s - windows[1].slope_c_s;
    const double approach_c = course->value_c + course->slope_c_s * course->decay_s;
    const double ago_s = course->t_s - windows[0].t_s;
    double growth = fall_before > 0 ? fall / fall_before : grows_at_most, rise_c;

    if (growth > grows_at_most)
        growth = grows_at_most;
    if (growth < 1 && windows[0].slope_c_s - fall * growth / (1 - growth) > 0)
        return approach_c;
    rise_c = rise_left(windows[0].slope_c_s, fall, growth, span_s) -
             ago_s * (windows[0].slope_c_s - fall * growth * ago_s / span_s / 2);
    return fmin(approach_c, course->value_c + fmax(rise_c, 0));
}

static bool find_slowing(const struct course_past *past, size_t width, struct course *course) {
    struct window windows[COURSE_WINDOWS]; // the newest first
    double span_s, deviation, fall, ago_s;

    for (size_t i = 0; i < COURSE_WINDOWS; i++)
        fit_window(past, i * width, width, &windows[i]);
    span_s = (windows[0].t_s - windows[COURSE_WINDOWS - 1].t_s) / (COURSE_WINDOWS - 1);
    deviation = slope_deviation(past, width, span_s);
    fall = windows[1].slope_c_s - windows[0].slope_c_s;
    if (windows[0].slope_c_s > rises_by_deviations * deviation) {
        course->rises = true;
        course->slope_c_s = windows[0].slope_c_s;
    }
    if (!course->rises || !(fall > slows_by_deviations * deviation * M_SQRT2))
        return false;
    ago_s = course->t_s - windows[0].t_s;
    course->slows = true;
    course->decay_s = span_s / log(windows[1].slope_c_s / windows[0].slope_c_s);
    course->slope_c_s = windows[0].slope_c_s * exp(-ago_s / course->decay_s);
    /* The end of a parabola whose mean and middle slope these are. */
    course->value_c = windows[0].value_c + windows[0].slope_c_s * ago_s - fall / span_s * ago_s * ago_s / 3;
    course->peak_c = find_peak(windows, span_s, course);
    return true;
}

void course_find(const struct course_past *past, struct course *course) {
    *course = (struct course){.rises = false};
    if (past->count == 0)
        return;
    course->t_s = bin_back(past, 0)->t_s;
    course->value_c = bin_back(past, 0)->value_c;
    for (size_t i = 0; i < WIDTHS && past->count >= widths[i] * COURSE_WINDOWS; i++) {
        if (find_slowing(past, widths[i], course))
            return;
    }
}
