// SPDX-License-Identifier: MIT
/* From a history to a report: the series are made, charted, weighed against each other, and looked ahead from. */
#include "soakledger/drift.h"

#include <math.h>
#include <stdlib.h>

#include "drift_private.h"

const char *drift_cause_name(enum drift_cause cause) {
    static const char *const names[DRIFT_CAUSE_COUNT] = {
        "too few runs",    "nothing found", "a sensor drifts", "two sensors disagree",
        "heating element", "heating power", "heat loss",       "cause unknown"};

    return names[cause];
}

const char *drift_shape_name(enum drift_shape shape) {
    static const char *const names[] = {"", "slow", "step"};

    return names[shape];
}

size_t drift_count_pair(size_t sensor_count, size_t one, size_t other) {
    return one * (2 * sensor_count - one - 1) / 2 + other - one - 1;
}

/* ---- values ---- */

/* A sensor that was renewed makes its pairs begin anew. */
static size_t find_first_run(const struct drift_history *history, size_t one, size_t other) {
    size_t first = 0;

    for (size_t run = 0; run < history->run_count; run++) {
        if (history->runs[run].renewed[one] || history->runs[run].renewed[other])
            first = run;
    }
    return first;
}

static void fill_pairs(const struct drift_history *history, struct drift_report *report) {
    for (size_t one = 0; one < report->sensor_count; one++) {
        for (size_t other = one + 1; other < report->sensor_count; other++) {
            struct drift_series *pair = &report->pairs[drift_count_pair(report->sensor_count, one, other)];

            pair->one = one;
            pair->other = other;
            pair->first_run = find_first_run(history, one, other);
            for (size_t run = pair->first_run; run < history->run_count; run++)
                pair->values[run] = history->runs[run].mean_c[one] - history->runs[run].mean_c[other];
        }
    }
}

/* Where the heating itself is measured by the sensor that the controller goes by, a renewed one begins it anew. */
static size_t find_oven_first_run(const struct drift_history *history) {
    size_t first = 0;

    for (size_t i = 0; i < history->sensor_count; i++) {
        if (history->sensors[i].controls)
            first = find_first_run(history, i, i);
    }
    return first;
}

static void fill_oven(const struct drift_history *history, struct drift_report *report) {
    const double full = 100; // per cent
    const size_t first = find_oven_first_run(history);

    report->output.first_run = report->work.first_run = first;
    for (size_t run = first; run < history->run_count; run++) {
        const struct drift_run *facts = &history->runs[run];
        const double heat_output = isnan(facts->heat_output) ? full : facts->heat_output;

        if (facts->output > 0)
            report->output.values[run] = log(facts->output);
        if (facts->heat_s > 0 && heat_output > 0)
            report->work.values[run] = log(facts->heat_s * heat_output / full);
    }
}

static size_t count_values(const struct drift_series *series, size_t run_count) {
    size_t count = 0;

    for (size_t run = series->first_run; run < run_count; run++)
        count += isnan(series->values[run]) ? 0 : 1;
    return count;
}

/* ---- the whole ---- */

static bool make_all_series(struct drift_report *report) {
    report->pairs = calloc(report->pair_count + 1, sizeof *report->pairs);
    if (report->pairs == NULL)
        return false;
    for (size_t i = 0; i < report->pair_count; i++) {
        if (!drift_make_series(&report->pairs[i], report->run_count))
            return false;
    }
    return drift_make_series(&report->output, report->run_count) &&
           drift_make_series(&report->work, report->run_count);
}

static bool examine_all_series(const struct drift_history *history, const double *hours,
                               struct drift_report *report) {
    const size_t runs = report->run_count;
    size_t watched = report->pair_count;

    for (size_t i = 0; i < report->pair_count; i++)
        report->pairs[i].count = count_values(&report->pairs[i], runs);
    report->output.count = count_values(&report->output, runs);
    report->work.count = count_values(&report->work, runs);
    watched += (report->output.count > 0 ? 1U : 0U) + (report->work.count > 0 ? 1U : 0U);
    for (size_t i = 0; i < report->pair_count; i++) {
        drift_chart_series(&report->pairs[i], runs, DRIFT_OF_PAIR, watched);
        if (!drift_trend_series(&report->pairs[i], history, hours))
            return false;
    }
    drift_chart_series(&report->output, runs, DRIFT_OF_OUTPUT, watched);
    drift_chart_series(&report->work, runs, DRIFT_OF_WORK, watched);
    return drift_trend_series(&report->output, history, hours) && drift_trend_series(&report->work, history, hours);
}

static double *add_up_hours(const struct drift_history *history) {
    double *hours = calloc(history->run_count + 1, sizeof *hours);
    double sum = 0;

    for (size_t run = 0; hours != NULL && run < history->run_count; run++) {
        sum += history->runs[run].hours > 0 ? history->runs[run].hours : 0;
        hours[run] = sum;
    }
    return hours;
}

struct drift_report *drift_examine(const struct drift_history *history, struct fault *fault) {
    struct drift_report *report = calloc(1, sizeof *report);
    double *hours = add_up_hours(history);
    bool done = false;

    if (report == NULL || hours == NULL)
        goto failed;
    report->sensor_count = history->sensor_count;
    report->run_count = history->run_count;
    report->pair_count = history->sensor_count * (history->sensor_count - (history->sensor_count > 0)) / 2;
    if (!make_all_series(report))
        goto failed;
    fill_pairs(history, report);
    fill_oven(history, report);
    if (!examine_all_series(history, hours, report))
        goto failed;
    drift_weigh(history, report);
    done = drift_look_out(history, hours, report);
failed:
    free(hours);
    if (done)
        return report;
    fault_set(fault, EX_OSERR, "no memory to examine %zu runs for drift", history->run_count);
    drift_free(report);
    return NULL;
}

void drift_free(struct drift_report *report) {
    if (report == NULL)
        return;
    for (size_t i = 0; report->pairs != NULL && i < report->pair_count; i++)
        drift_free_series(&report->pairs[i]);
    free(report->pairs);
    drift_free_series(&report->output);
    drift_free_series(&report->work);
    free(report);
}
