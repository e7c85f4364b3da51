// SPDX-License-Identifier: MIT
/* One series over the runs: scores, charts, trend, and its fit to a course.
 *
 * The limits are set by simulation (tests/tool_drift.c) so that all series of an oven together stay well below one
 * false alarm in 1,000 runs. Far out the rate of a CUSUM's false alarms falls as exp(-2 allowance limit) and that
 * of an EWMA as exp(-width^2 / 2): that is how the limits grow with the number of series that share the alarms. */
#include <math.h>
#include <stdlib.h>

#include "drift_private.h"
#include "soakledger/trend.h"

static const double CUSUM_ALLOWANCE = 0.7; // for a change that grows by half a standard deviation a run
static const double CUSUM_LIMIT_ALONE = 5.6;
static const double EWMA_WEIGHT = 0.25;
static const double EWMA_HALF_SQUARE_ALONE = 6.4; // width^2 / 2 of one series
static const double KENDALL_ESTABLISHES =
    1e-4; // for what has drifted from the first run on, where no chart has a base
static const double PER_RUNS = 10, PER_HOURS = 100, CONFIDENCE = 0.95;

double drift_floor(enum drift_quantity quantity) {
    switch (quantity) {
    case DRIFT_OF_PAIR: return 0.1;     // C: the last digit that a controller shows
    case DRIFT_OF_OUTPUT: return 0.002; // of the output: the same, of 50.0 %
    default: return 0.005;              // of the heat-up's work
    }
}

bool drift_make_series(struct drift_series *series, size_t run_count) {
    double **const arrays[] = {&series->values, &series->scores, &series->high, &series->low, &series->ewma};

    for (size_t i = 0; i < sizeof arrays / sizeof *arrays; i++) {
        *arrays[i] = malloc((run_count + 1) * sizeof **arrays[i]);
        if (*arrays[i] == NULL)
            return false;
        for (size_t run = 0; run < run_count; run++)
            (*arrays[i])[run] = NAN;
    }
    return true;
}

void drift_free_series(struct drift_series *series) {
    free(series->values);
    free(series->scores);
    free(series->high);
    free(series->low);
    free(series->ewma);
}

/* ---- charts ---- */

void drift_chart_series(struct drift_series *series, size_t run_count, enum drift_quantity quantity,
                        size_t watched) {
    const double shared = log(fmax(1, (double)watched));
    struct trend_cusum cusum = {.allowance = CUSUM_ALLOWANCE,
                                .limit = CUSUM_LIMIT_ALONE + shared / (2 * CUSUM_ALLOWANCE)};
    struct trend_ewma ewma = {
        .sigma = 1, .weight = EWMA_WEIGHT, .width = sqrt(2 * (EWMA_HALF_SQUARE_ALONE + shared)), .settling = true};
    struct trend_starter starter = {0};

    series->chart_limit = cusum.limit;
    series->ewma_limit = ewma.width * sqrt(EWMA_WEIGHT / (2 - EWMA_WEIGHT));
    for (size_t run = series->first_run; run < run_count; run++) {
        int signal = 0;

        if (isnan(series->values[run]))
            continue;
        series->scores[run] = trend_starter_add(&starter, series->values[run], drift_floor(quantity));
        if (isnan(series->scores[run]))
            continue;
        signal = trend_cusum_add(&cusum, series->scores[run]);
        if (signal == 0)
            signal = trend_ewma_add(&ewma, series->scores[run]);
        else
            trend_ewma_add(&ewma, series->scores[run]);
        series->high[run] = cusum.high;
        series->low[run] = cusum.low;
        series->ewma[run] = ewma.value;
        if (signal != 0 && series->signal == 0 && starter.count >= DRIFT_LEAST_RUNS) {
            series->signal = signal;
            series->signal_run = run;
        }
    }
}

/* ---- trend ---- */

struct points {
    size_t count;
    double *runs, *hours, *values;
};

static bool take_points(const struct drift_series *series, const double *hours, size_t run_count,
                        struct points *points) {
    double *room = malloc((3 * run_count + 1) * sizeof *room);

    if (room == NULL)
        return false;
    *points = (struct points){0, room, room + run_count, room + 2 * run_count};
    for (size_t run = series->first_run; run < run_count; run++) {
        if (isnan(series->values[run]))
            continue;
        points->runs[points->count] = (double)run;
        points->hours[points->count] = hours[run];
        points->values[points->count++] = series->values[run];
    }
    return true;
}

/* A drift from the first run on, which the charts learn as the way things are: Mann-Kendall after each run. Ties
 * are not counted, which can only make it later. */
static void look_for_order(struct drift_series *series, const struct points *points) {
    const double certain = -trend_normal_quantile(KENDALL_ESTABLISHES / 2);
    double s = 0;

    for (size_t last = 1; last < points->count; last++) {
        const size_t run = (size_t)points->runs[last];
        const double n = (double)last + 1;

        if (series->signal != 0 && run >= series->signal_run)
            return;
        for (size_t i = 0; i < last; i++)
            s += (points->values[last] > points->values[i]) - (points->values[last] < points->values[i]);
        if (fabs(s) - 1 < certain * sqrt(n * (n - 1) * (2 * n + 5) / 18)) // trend.h
            continue;
        series->signal = s > 0 ? 1 : -1;
        series->signal_run = run;
        return;
    }
}

static double successive_noise(const struct points *points) {
    const double mean_range_to_sd = 2 / sqrt(M_PI); // E|a - b| of two normal values is 2 / sqrt(pi) sigma
    double sum = 0;

    if (points->count < 2)
        return NAN;
    for (size_t i = 1; i < points->count; i++)
        sum += fabs(points->values[i] - points->values[i - 1]);
    return sum / (double)(points->count - 1) / mean_range_to_sd;
}

bool drift_trend_series(struct drift_series *series, const struct drift_history *history, const double *hours) {
    struct trend_slope slope;
    struct trend_kendall kendall;
    struct points points;

    series->p = 1;
    series->per_10_runs = series->per_10_low = series->per_10_high = NAN;
    series->per_100_h = series->per_100_low = series->per_100_high = NAN;
    if (!take_points(series, hours, history->run_count, &points))
        return false;
    look_for_order(series, &points);
    series->noise = successive_noise(&points);
    trend_find_kendall(points.values, points.count, &kendall);
    series->p = kendall.p;
    if (points.count >= DRIFT_LEAST_RUNS &&
        trend_find_slope(points.runs, points.values, points.count, CONFIDENCE, &slope)) {
        series->per_10_runs = slope.slope * PER_RUNS;
        series->per_10_low = slope.low * PER_RUNS;
        series->per_10_high = slope.high * PER_RUNS;
    }
    if (points.count >= DRIFT_LEAST_RUNS &&
        trend_find_slope(points.hours, points.values, points.count, CONFIDENCE, &slope)) {
        series->per_100_h = slope.slope * PER_HOURS;
        series->per_100_low = slope.low * PER_HOURS;
        series->per_100_high = slope.high * PER_HOURS;
    }
    free(points.runs);
    return true;
}

/* ---- courses ---- */

double drift_course(enum drift_shape shape, size_t begins_run, size_t run) {
    if (run < begins_run)
        return 0;
    return shape == DRIFT_SHAPE_STEP ? 1 : (double)(run - begins_run) + 1;
}

void drift_fit_course(const double *values, size_t first_run, size_t run_count, enum drift_shape shape,
                      size_t begins_run, struct drift_fit *fit) {
    double n = 0, mean_g = 0, mean_y = 0, sgg = 0, sgy = 0, syy = 0;

    *fit = (struct drift_fit){0};
    for (size_t run = first_run; run < run_count; run++) {
        if (isnan(values[run]))
            continue;
        n++;
        mean_g += drift_course(shape, begins_run, run);
        mean_y += values[run];
    }
    mean_g /= fmax(1, n);
    mean_y /= fmax(1, n);
    for (size_t run = first_run; run < run_count; run++) {
        const double g = drift_course(shape, begins_run, run) - mean_g;

        if (isnan(values[run]))
            continue;
        sgg += g * g;
        sgy += g * (values[run] - mean_y);
        syy += (values[run] - mean_y) * (values[run] - mean_y);
    }
    fit->count = (size_t)n;
    fit->freedom = n - 3; // mean, size and beginning
    fit->found = sgg > 0 && fit->freedom >= 1;
    if (!fit->found)
        return;
    fit->per_course = sgy / sgg;
    fit->rest = fmax(0, syy - sgy * sgy / sgg);
    fit->error = sqrt(fit->rest / fit->freedom / sgg);
}
