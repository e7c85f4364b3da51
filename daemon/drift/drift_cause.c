// SPDX-License-Identifier: MIT
/* Which cause explains best what has changed.
 *
 * For each shape that the change can have (slow, step) the run is found where it begins best, over all series that
 * are established; then every series, established or not, says by how much it has changed with that course, and how
 * well that is known. Each cause predicts these changes up to its size, which is fitted, and is weighed by
 * Student's density of what is left over, since noise is known from few runs only. A cause with more to fit pays
 * for it.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "drift_private.h"

static const double AMBIENT_C = 20;
/* The chamber's loss goes with the first power of its rise above ambient (conduction) to about the third
 * (radiation, at hardening temperatures): 4 T^3 (T - Ta) / (T^4 - Ta^4) at 800 C is 2.9. */
static const double LOSS_POWER = 2, LOSS_POWER_SD = 0.6;
/* Mean loss between 150 C and 20 C under the level, as a part of that at the level: between conduction's 0.9 and
 * radiation's 0.75 at hardening temperatures. */
static const double LOSS_ON_THE_WAY = 0.8;
static const double WORK_SD = 0.2; // of predicted ratios
static const double SPREAD_C_PER_LEAK =
    20;                               // a tenth more loss may spread places by 2 C; common practice, no source
static const double SIGNIFICANT = 3;  // a change that was established and is not 3 standard errors now is gone
static const double PENALTY = 2.5;    // of a size that is fitted, in natural logarithms
static const double PENALTY_FREE = 4; // of one that no cause ties to another
/* Where a change begins was chosen to fit, so that the fit of a shape says less than it seems to. */
static const double SHAPE_TRUST = 0.5;
static const double REST_FLOOR_PART = 0.25;

/* What every series says, given a course. */
struct changes {
    size_t sensor_count;
    bool known[DRIFT_MOST_PAIRS];
    double by[DRIFT_MOST_PAIRS], error[DRIFT_MOST_PAIRS];
    bool output_known, work_known;
    double output, output_error, work, work_error;
    double freedom;     // of the noise
    double pair_weight; // so that dependent pairs count as one difference less than there are sensors
    double level_c, loss_part, fullness;
    bool slow;
};

struct candidate {
    enum drift_cause cause;
    enum drift_shape shape;
    size_t sensor;
    double log_weight;
};
enum { MOST_CANDIDATES = 2 * DRIFT_MOST_WEIGHTS };

/* ---- the course ---- */

typedef void visit_series(void *context, struct drift_series *series, enum drift_quantity quantity);

static void visit_all(struct drift_report *report, visit_series *visit, void *context) {
    for (size_t i = 0; i < report->pair_count; i++)
        visit(context, &report->pairs[i], DRIFT_OF_PAIR);
    visit(context, &report->output, DRIFT_OF_OUTPUT);
    visit(context, &report->work, DRIFT_OF_WORK);
}

struct course {
    size_t run_count;
    enum drift_shape shape;
    size_t begins_run;
    double log_fit; // of all series that are established
    size_t fits;
};

static void add_log_fit(void *context, struct drift_series *series, enum drift_quantity quantity) {
    struct course *course = context;
    struct drift_fit fit;
    double floor_rest;

    if (series->signal == 0)
        return;
    drift_fit_course(series->values, series->first_run, course->run_count, course->shape, course->begins_run, &fit);
    if (!fit.found) {
        course->log_fit = -INFINITY;
        return;
    }
    floor_rest = (double)fit.count * drift_floor(quantity) * drift_floor(quantity) * REST_FLOOR_PART;
    course->log_fit -= (double)fit.count / 2 * log(fmax(fit.rest, floor_rest));
    course->fits++;
}

/* Where a change of that shape begins best. A step needs two runs after it: one may be an accident. */
static struct course find_course(struct drift_report *report, enum drift_shape shape) {
    struct course best = {.log_fit = -INFINITY};
    const size_t after = shape == DRIFT_SHAPE_STEP ? 2 : 1;

    for (size_t run = 1; run + after <= report->run_count; run++) {
        struct course course = {.run_count = report->run_count, .shape = shape, .begins_run = run};

        visit_all(report, add_log_fit, &course);
        if (course.fits > 0 && course.log_fit > best.log_fit)
            best = course;
    }
    return best;
}

/* ---- what has changed with it ---- */

static bool read_change(const struct drift_series *series, const struct course *course,
                        enum drift_quantity quantity, double *by, double *error, double *freedom) {
    struct drift_fit fit;
    double last, floor_error;

    drift_fit_course(series->values, series->first_run, course->run_count, course->shape, course->begins_run, &fit);
    if (!fit.found)
        return false;
    last = drift_course(course->shape, course->begins_run, course->run_count - 1);
    floor_error = drift_floor(quantity) / 2;
    *by = fit.per_course * last;
    *error = hypot(fit.error * last, floor_error);
    *freedom = fmin(*freedom, fit.freedom);
    return true;
}

static double mean_over(const struct drift_history *history, size_t before,
                        double (*get)(const struct drift_run *)) {
    double sum = 0, count = 0;

    for (size_t run = 0; run < before; run++) {
        if (isnan(get(&history->runs[run])))
            continue;
        sum += get(&history->runs[run]);
        count++;
    }
    return count > 0 ? sum / count : NAN;
}
static double get_output(const struct drift_run *run) {
    return run->output;
}
static double get_heat_output(const struct drift_run *run) {
    return run->heat_output;
}
static double get_level(const struct drift_run *run) {
    return run->level_c;
}

/* How much of the heating power the oven loses on its way up, and whether it went at full power: both decide what a
 * heat-up says about the element. */
static void read_oven(const struct drift_history *history, const struct course *course, struct changes *changes) {
    const double output = mean_over(history, course->begins_run, get_output) / 100;
    double heat_output = mean_over(history, course->begins_run, get_heat_output) / 100;
    const double full_from = 0.8, most_loss = 0.7;

    if (isnan(heat_output))
        heat_output = 1;
    changes->level_c = mean_over(history, history->run_count, get_level);
    changes->fullness = fmin(1, fmax(0, (heat_output - full_from) / (1 - full_from)));
    changes->loss_part =
        isnan(output) ? most_loss / 2 : fmin(most_loss, LOSS_ON_THE_WAY * output / fmax(heat_output, 0.01));
}

static void read_changes(const struct drift_history *history, const struct drift_report *report,
                         const struct course *course, struct changes *changes) {
    *changes = (struct changes){.sensor_count = report->sensor_count,
                                .freedom = (double)report->run_count,
                                .pair_weight = report->sensor_count > 0 ? 2 / (double)report->sensor_count : 0,
                                .slow = course->shape == DRIFT_SHAPE_SLOW};
    for (size_t i = 0; i < report->pair_count; i++)
        changes->known[i] = read_change(&report->pairs[i], course, DRIFT_OF_PAIR, &changes->by[i],
                                        &changes->error[i], &changes->freedom);
    changes->output_known = read_change(&report->output, course, DRIFT_OF_OUTPUT, &changes->output,
                                        &changes->output_error, &changes->freedom);
    changes->work_known =
        read_change(&report->work, course, DRIFT_OF_WORK, &changes->work, &changes->work_error, &changes->freedom);
    read_oven(history, course, changes);
}

/* ---- how well a cause explains it ---- */

struct misfit {
    double chi_squared, log_spread, dimensions;
};

static void add_misfit(struct misfit *misfit, double left, double error, double extra, double weight) {
    const double variance = error * error + extra * extra;

    misfit->chi_squared += weight * left * left / variance;
    misfit->log_spread += weight / 2 * log(variance / (error * error));
    misfit->dimensions += weight;
}

static double weigh_misfit(const struct changes *changes, const struct misfit *misfit, double sizes) {
    const double freedom = fmax(2, changes->freedom);

    return -misfit->log_spread - sizes * PENALTY -
           (freedom + misfit->dimensions) / 2 * log1p(misfit->chi_squared / freedom);
}

/* All pairs against what a change of `size` of one sensor makes of them (DRIFT_MOST_SENSORS: of none). */
static void add_pairs(const struct changes *changes, size_t sensor, double size, double extra,
                      struct misfit *misfit) {
    for (size_t one = 0; one < changes->sensor_count; one++) {
        for (size_t other = one + 1; other < changes->sensor_count; other++) {
            const size_t pair = drift_count_pair(changes->sensor_count, one, other);
            const double expected = one == sensor ? size : other == sensor ? -size : 0;

            if (changes->known[pair])
                add_misfit(misfit, changes->by[pair] - expected, changes->error[pair], extra, changes->pair_weight);
        }
    }
}

static void add_oven(const struct changes *changes, double output, double output_sd, double work, double work_sd,
                     struct misfit *misfit) {
    if (changes->output_known)
        add_misfit(misfit, changes->output - output, changes->output_error, output_sd, 1);
    if (changes->work_known)
        add_misfit(misfit, changes->work - work, changes->work_error, work_sd, 1);
}

/* The size of a sensor's change that its pairs say, least squares. */
static double size_of_sensor(const struct changes *changes, size_t sensor) {
    double sum = 0, weights = 0;

    for (size_t other = 0; other < changes->sensor_count; other++) {
        size_t pair;

        if (other == sensor)
            continue;
        pair = sensor < other ? drift_count_pair(changes->sensor_count, sensor, other)
                              : drift_count_pair(changes->sensor_count, other, sensor);
        if (!changes->known[pair])
            continue;
        sum += (sensor < other ? 1 : -1) * changes->by[pair] / (changes->error[pair] * changes->error[pair]);
        weights += 1 / (changes->error[pair] * changes->error[pair]);
    }
    return weights > 0 ? sum / weights : 0;
}

/* A control sensor that comes to read high lets the chamber sink by as much. Its heat-up goes between the same
 * shown temperatures: what that does to the work is of the same order, and is not known better. */
static double weigh_sensor(const struct changes *changes, const struct drift_sensor *about, size_t sensor) {
    const double size_c = size_of_sensor(changes, sensor);
    const double rise = about->controls ? -size_c / fmax(100, changes->level_c - AMBIENT_C) : 0;
    struct misfit misfit = {0};

    if (changes->sensor_count < 2)
        return -INFINITY;
    add_pairs(changes, sensor, size_c, 0, &misfit);
    add_oven(changes, LOSS_POWER * rise, LOSS_POWER_SD * rise, rise, LOSS_POWER * rise, &misfit);
    return weigh_misfit(changes, &misfit, 1);
}

/* Two numbers for the same size: output = size, work = ratio * size. */
static double size_of_oven(const struct changes *changes, double ratio) {
    double sum = 0, weights = 0;

    if (changes->output_known) {
        sum += changes->output / (changes->output_error * changes->output_error);
        weights += 1 / (changes->output_error * changes->output_error);
    }
    if (changes->work_known) {
        const double sd = hypot(changes->work_error, WORK_SD * changes->work);

        sum += ratio * changes->work / (sd * sd);
        weights += ratio * ratio / (sd * sd);
    }
    return weights > 0 ? sum / weights : 0;
}

/* How much more the heat-up's work changes than the output does, when it is power that changes: at full power the
 * time goes with what power is left over the loss. */
static double work_per_power(const struct changes *changes) {
    return 1 / (1 - changes->fullness * changes->loss_part);
}

static double weigh_power(const struct changes *changes) {
    const double ratio = work_per_power(changes);
    const double size = size_of_oven(changes, ratio);
    struct misfit misfit = {0};

    if (changes->slow && size <= 0)
        return -INFINITY; // no element grows younger
    add_pairs(changes, DRIFT_MOST_SENSORS, 0, 0, &misfit);
    add_oven(changes, size, 0, ratio * size, WORK_SD * size, &misfit);
    return weigh_misfit(changes, &misfit, 1);
}

static double weigh_leak(const struct changes *changes) {
    const double ratio = changes->loss_part * work_per_power(changes);
    const double size = size_of_oven(changes, ratio);
    struct misfit misfit = {0};

    if (size <= 0)
        return -INFINITY;
    add_pairs(changes, DRIFT_MOST_SENSORS, 0, SPREAD_C_PER_LEAK * size, &misfit);
    add_oven(changes, size, 0, ratio * size, WORK_SD * size, &misfit);
    return weigh_misfit(changes, &misfit, 1);
}

/* Everything is as it is, for no reason that is known. */
static double weigh_unknown(const struct changes *changes) {
    const struct misfit none = {0};
    const double sizes = (changes->sensor_count > 0 ? (double)changes->sensor_count - 1 : 0) +
                         changes->output_known + changes->work_known;

    return weigh_misfit(changes, &none, fmax(2, sizes) * PENALTY_FREE / PENALTY);
}

/* ---- all causes together ---- */

static void add_candidate(struct candidate *candidates, size_t *count, const struct course *course,
                          enum drift_cause cause, size_t sensor, double log_weight) {
    if (isinf(log_weight))
        return;
    candidates[(*count)++] =
        (struct candidate){cause, course->shape, sensor, SHAPE_TRUST * course->log_fit + log_weight};
}

static void weigh_course(const struct drift_history *history, const struct drift_report *report,
                         const struct course *course, struct candidate *candidates, size_t *count) {
    struct changes changes;

    if (course->fits == 0)
        return;
    read_changes(history, report, course, &changes);
    for (size_t i = 0; i < report->sensor_count; i++)
        add_candidate(candidates, count, course, DRIFT_SENSOR, i, weigh_sensor(&changes, &history->sensors[i], i));
    add_candidate(candidates, count, course, changes.slow ? DRIFT_ELEMENT : DRIFT_SUPPLY, 0, weigh_power(&changes));
    add_candidate(candidates, count, course, DRIFT_LEAK, 0, weigh_leak(&changes));
    add_candidate(candidates, count, course, DRIFT_UNKNOWN, 0, weigh_unknown(&changes));
}

static struct drift_weight *find_weight(struct drift_report *report, const struct candidate *candidate) {
    for (size_t i = 0; i < report->weight_count; i++) {
        if (report->weights[i].cause == candidate->cause && report->weights[i].sensor == candidate->sensor)
            return &report->weights[i];
    }
    report->weights[report->weight_count] = (struct drift_weight){candidate->cause, candidate->sensor, 0};
    return &report->weights[report->weight_count++];
}

static int compare_weights(const void *a, const void *b) {
    const double one = ((const struct drift_weight *)a)->probability;
    const double other = ((const struct drift_weight *)b)->probability;

    return (one < other) - (one > other);
}

/* Posterior probabilities of causes, shapes taken together; returns the more likely shape. */
static enum drift_shape sum_up(struct drift_report *report, const struct candidate *candidates, size_t count) {
    double most = -INFINITY, all = 0, slow = 0;

    for (size_t i = 0; i < count; i++)
        most = fmax(most, candidates[i].log_weight);
    for (size_t i = 0; i < count; i++) {
        const double weight = exp(candidates[i].log_weight - most);

        find_weight(report, &candidates[i])->probability += weight;
        all += weight;
        slow += candidates[i].shape == DRIFT_SHAPE_SLOW ? weight : 0;
    }
    for (size_t i = 0; i < report->weight_count; i++)
        report->weights[i].probability /= all;
    qsort(report->weights, report->weight_count, sizeof *report->weights, compare_weights);
    return slow >= all / 2 ? DRIFT_SHAPE_SLOW : DRIFT_SHAPE_STEP;
}

/* One cause that is sure enough; else two sensors that are together; else none. */
static void choose_cause(struct drift_report *report) {
    const struct drift_weight *first = &report->weights[0], *second = &report->weights[1];

    report->cause = DRIFT_UNKNOWN;
    report->sure = first->probability;
    if (report->weight_count == 0)
        return;
    if (first->cause == DRIFT_SENSOR && report->sensor_count > 2 && first->probability >= DRIFT_SURE_LEAST) {
        report->cause = DRIFT_SENSOR;
        report->sensor = first->sensor;
        return;
    }
    if (first->cause != DRIFT_SENSOR) {
        if (first->probability >= DRIFT_SURE_LEAST)
            report->cause = first->cause;
        return;
    }
    if (report->weight_count < 2 || second->cause != DRIFT_SENSOR) {
        for (size_t i = 1; i < report->weight_count && second->cause != DRIFT_SENSOR; i++)
            second = &report->weights[i];
    }
    if (second->cause == DRIFT_SENSOR && first->probability + second->probability >= DRIFT_SURE_LEAST) {
        report->cause = DRIFT_PAIR;
        report->sure = first->probability + second->probability;
        report->sensor = first->sensor;
        report->other = second->sensor;
    }
}

struct told {
    struct drift_report *report;
    const struct course *course;
    size_t still;
};

/* An alarm whose change is not to be seen any more is not held up. */
static void read_series(void *context, struct drift_series *series, enum drift_quantity quantity) {
    struct told *told = context;
    double freedom = INFINITY;

    if (series->signal == 0)
        return;
    series->shape = told->course->shape;
    series->begins_run = told->course->begins_run;
    if (!read_change(series, told->course, quantity, &series->change, &series->change_error, &freedom) ||
        fabs(series->change) < SIGNIFICANT * series->change_error) {
        series->signal = 0;
        series->shape = DRIFT_SHAPE_NONE;
        return;
    }
    if (told->still++ == 0 || series->signal_run < told->report->established_run)
        told->report->established_run = series->signal_run;
}

static size_t count_known(const struct drift_report *report) {
    size_t most = report->output.count > report->work.count ? report->output.count : report->work.count;

    for (size_t i = 0; i < report->pair_count; i++)
        most = report->pairs[i].count > most ? report->pairs[i].count : most;
    return most;
}

void drift_weigh(const struct drift_history *history, struct drift_report *report) {
    struct candidate candidates[MOST_CANDIDATES];
    struct course slow, step;
    size_t count = 0;
    struct told told = {.report = report};

    report->cause = count_known(report) < DRIFT_LEAST_RUNS ? DRIFT_TOO_FEW : DRIFT_NOTHING;
    if (report->cause == DRIFT_TOO_FEW)
        return;
    slow = find_course(report, DRIFT_SHAPE_SLOW);
    step = find_course(report, DRIFT_SHAPE_STEP);
    if (slow.fits + step.fits == 0)
        return;
    weigh_course(history, report, &slow, candidates, &count);
    weigh_course(history, report, &step, candidates, &count);
    report->shape = sum_up(report, candidates, count);
    told.course = report->shape == DRIFT_SHAPE_SLOW ? &slow : &step;
    visit_all(report, read_series, &told);
    if (told.still == 0) {
        report->shape = DRIFT_SHAPE_NONE;
        report->weight_count = 0;
        return;
    }
    choose_cause(report);
}
