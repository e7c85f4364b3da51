// SPDX-License-Identifier: MIT
/* What can be said of each sensor, against the others that were there as long as it was, and where it leads. */
#include <math.h>
#include <stdlib.h>

#include "drift_private.h"
#include "soakledger/trend.h"

static const double PER_RUNS = 10, PER_HOURS = 100, CONFIDENCE = 0.95, COVERAGE = 2;
enum { LEAST_AFTER = 4 }; // runs since a drift began, for a slope of their own

/* The run from which a sensor was not renewed any more. */
static size_t since_run(const struct drift_history *history, size_t sensor) {
    size_t since = 0;

    for (size_t run = 0; run < history->run_count; run++) {
        if (history->runs[run].renewed[sensor])
            since = run;
    }
    return since;
}

struct company { // whom a sensor is held against, and since when
    bool with[DRIFT_MOST_SENSORS];
    size_t first_run, count;
};

/* Those that were there as long as it was; if there are none, those that were renewed first. The one that is known
 * to drift is not asked, unless there is no other. */
static void choose_company(const struct drift_history *history, const struct drift_report *report, size_t sensor,
                           struct company *company) {
    const size_t own = since_run(history, sensor);
    size_t earliest = SIZE_MAX;

    *company = (struct company){0};
    for (size_t i = 0; i < history->sensor_count; i++) {
        const bool drifts = report->cause == DRIFT_SENSOR && report->sensor == i && history->sensor_count > 2;
        const size_t since = since_run(history, i);

        if (i != sensor && !drifts && since < earliest)
            earliest = since;
    }
    company->first_run = earliest > own ? earliest : own;
    for (size_t i = 0; i < history->sensor_count; i++) {
        const bool drifts = report->cause == DRIFT_SENSOR && report->sensor == i && history->sensor_count > 2;

        company->with[i] = i != sensor && !drifts && since_run(history, i) <= company->first_run;
        company->count += company->with[i];
    }
}

/* The sensor less the mean of its company, run by run. A run in which one of them is missing says nothing: another
 * mean would look like a change. */
static void fill_deviation(const struct drift_history *history, const struct company *company, size_t sensor,
                           double *deviation) {
    for (size_t run = 0; run < history->run_count; run++) {
        double sum = 0;

        for (size_t i = 0; i < history->sensor_count; i++)
            sum += company->with[i] ? history->runs[run].mean_c[i] : 0;
        deviation[run] =
            run < company->first_run ? NAN : history->runs[run].mean_c[sensor] - sum / (double)company->count;
    }
}

static bool is_about(const struct drift_report *report, size_t sensor) {
    if (report->cause == DRIFT_SENSOR)
        return report->sensor == sensor;
    return report->cause == DRIFT_PAIR && (report->sensor == sensor || report->other == sensor);
}

static size_t find_begin(const struct drift_report *report) {
    for (size_t i = 0; i < report->pair_count; i++) {
        if (report->pairs[i].signal != 0)
            return report->pairs[i].begins_run;
    }
    return 1;
}

/* ---- growth ---- */

/* Slope of the deviation over `x`, from `from` on. */
static bool find_growth(const double *deviation, const double *x, size_t from, size_t run_count, double per,
                        double *slope, double *low, double *high) {
    double *room = malloc((2 * run_count + 1) * sizeof *room);
    struct trend_slope found;
    size_t count = 0;
    bool is_found;

    if (room == NULL)
        return false;
    for (size_t run = from; run < run_count; run++) {
        if (isnan(deviation[run]))
            continue;
        room[count] = x == NULL ? (double)run : x[run];
        room[run_count + count++] = deviation[run];
    }
    is_found = count >= LEAST_AFTER && trend_find_slope(room, room + run_count, count, CONFIDENCE, &found);
    free(room);
    *slope = *low = *high = NAN;
    if (is_found) {
        *slope = found.slope * per;
        *low = found.low * per;
        *high = found.high * per;
    }
    return true;
}

/* With few runs since it began the fitted course itself, and Student's interval. */
static void use_course(const struct drift_fit *fit, struct drift_outlook *outlook) {
    const double half = trend_student_quantile((1 + CONFIDENCE) / 2, fmax(1, fit->freedom)) * fit->error;

    outlook->per_10_runs_c = fit->per_course * PER_RUNS;
    outlook->per_10_low_c = (fit->per_course - half) * PER_RUNS;
    outlook->per_10_high_c = (fit->per_course + half) * PER_RUNS;
}

/* ---- where it leads ---- */

static int64_t date_in(const struct drift_history *history, double runs) {
    const struct drift_run *first = &history->runs[0], *last = &history->runs[history->run_count - 1];
    const double most = 10 * 365.25 * 86400e3; // ten years: nobody plans further

    if (history->run_count < 2 || isinf(runs))
        return 0;
    runs *= (double)(last->t_ms - first->t_ms) / (double)(history->run_count - 1);
    return runs > most ? 0 : last->t_ms + llround(runs);
}

static double runs_until(double left_c, double growth_c) {
    if (!(growth_c > 0))
        return INFINITY;
    return fmax(0, left_c) / growth_c;
}

static void look_ahead(const struct drift_history *history, struct drift_outlook *outlook) {
    const double sign = outlook->error_c < 0 ? -1 : 1;
    const double growth = sign * outlook->per_10_runs_c / PER_RUNS;
    const double slow = fmin(sign * outlook->per_10_low_c, sign * outlook->per_10_high_c) / PER_RUNS;
    const double fast = fmax(sign * outlook->per_10_low_c, sign * outlook->per_10_high_c) / PER_RUNS;
    const double left_c = outlook->allowed_c - fabs(outlook->error_c);

    outlook->beyond = left_c <= 0;
    outlook->reaches = !outlook->beyond && slow > 0;
    if (!outlook->reaches)
        return;
    outlook->runs_left = runs_until(left_c, growth);
    outlook->runs_left_low = runs_until(left_c - outlook->uncertainty_c, fast);
    outlook->runs_left_high = runs_until(left_c + outlook->uncertainty_c, slow);
    outlook->date_ms = date_in(history, outlook->runs_left);
    outlook->date_low_ms = date_in(history, outlook->runs_left_low);
    outlook->date_high_ms = date_in(history, outlook->runs_left_high);
}

/* ---- one sensor ---- */

static bool read_deviation(const struct drift_history *history, const double *hours,
                           const struct drift_report *report, const double *deviation, size_t first_run,
                           struct drift_outlook *outlook) {
    const enum drift_shape shape = outlook->established ? report->shape : DRIFT_SHAPE_SLOW;
    const size_t begins = outlook->established ? find_begin(report) : first_run + 1;
    const size_t from = !outlook->established ? first_run : begins > first_run ? begins - 1 : begins;
    struct drift_fit fit;
    double last;

    drift_fit_course(deviation, first_run, report->run_count, shape, begins, &fit);
    outlook->known = fit.found && fit.count >= DRIFT_LEAST_RUNS;
    if (!outlook->known)
        return true;
    last = drift_course(shape, begins, report->run_count - 1);
    outlook->error_c = fit.per_course * last;
    outlook->uncertainty_c = COVERAGE * hypot(fit.error * last, drift_floor(DRIFT_OF_PAIR) / 2);
    if (!find_growth(deviation, NULL, from, report->run_count, PER_RUNS, &outlook->per_10_runs_c,
                     &outlook->per_10_low_c, &outlook->per_10_high_c) ||
        !find_growth(deviation, hours, from, report->run_count, PER_HOURS, &outlook->per_100_h_c,
                     &outlook->per_100_low_c, &outlook->per_100_high_c))
        return false;
    if (isnan(outlook->per_10_runs_c) && shape == DRIFT_SHAPE_SLOW)
        use_course(&fit, outlook);
    if (outlook->established)
        look_ahead(history, outlook);
    return true;
}

static double last_level(const struct drift_history *history) {
    return history->run_count > 0 ? history->runs[history->run_count - 1].level_c : NAN;
}

bool drift_look_out(const struct drift_history *history, const double *hours, struct drift_report *report) {
    double *deviation = calloc(history->run_count + 1, sizeof *deviation);
    bool done = deviation != NULL;

    for (size_t i = 0; done && i < history->sensor_count; i++) {
        struct drift_outlook *outlook = &report->outlooks[i];
        struct company company;

        *outlook = (struct drift_outlook){.sensor = i,
                                          .level_c = last_level(history),
                                          .allowed_c = history->sensors[i].allowed_c,
                                          .per_10_runs_c = NAN,
                                          .per_10_low_c = NAN,
                                          .per_10_high_c = NAN,
                                          .per_100_h_c = NAN,
                                          .per_100_low_c = NAN,
                                          .per_100_high_c = NAN,
                                          .runs_left = INFINITY,
                                          .runs_left_low = INFINITY,
                                          .runs_left_high = INFINITY};
        outlook->established = is_about(report, i);
        outlook->named = outlook->established && report->cause == DRIFT_SENSOR;
        choose_company(history, report, i, &company);
        if (company.count == 0)
            continue;
        fill_deviation(history, &company, i, deviation);
        done = read_deviation(history, hours, report, deviation, company.first_run, outlook);
    }
    free(deviation);
    return done;
}
