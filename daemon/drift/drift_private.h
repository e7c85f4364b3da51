// SPDX-License-Identifier: MIT
/* What the files of drift share. */
#ifndef SOAKLEDGER_DRIFT_PRIVATE_H
#define SOAKLEDGER_DRIFT_PRIVATE_H

#include "soakledger/drift.h"

/* How a change goes with the runs: 0 before it begins; then the run's number counted from there, or 1. */
double drift_course(enum drift_shape shape, size_t begins_run, size_t run);

/* A series regressed on a course. */
struct drift_fit {
    bool found;     // there were values before and after
    double rest;    // residual sum of squares
    double freedom; // its degrees of freedom
    size_t count;
    double per_course, error; // coefficient and its standard error
};
void drift_fit_course(const double *values, size_t first_run, size_t run_count, enum drift_shape shape,
                      size_t begins_run, struct drift_fit *fit);

/* ---- series ---- */

/* What agreement of a series is too good to be believed; for the scores and for standard errors. */
enum drift_quantity { DRIFT_OF_PAIR, DRIFT_OF_OUTPUT, DRIFT_OF_WORK };
double drift_floor(enum drift_quantity quantity);

bool drift_make_series(struct drift_series *series, size_t run_count); // values are NAN
void drift_free_series(struct drift_series *series);
/* Scores and charts; where a change is established first. `watched`: how many series share the alarms. */
void drift_chart_series(struct drift_series *series, size_t run_count, enum drift_quantity quantity,
                        size_t watched);
/* The trend of the values since first_run, in the order of runs and of hours (cumulative). */
bool drift_trend_series(struct drift_series *series, const struct drift_history *history, const double *hours);

/* ---- cause ---- */

/* Weighs the causes; fills in cause, sensor, other, sure, shape, weights, and shape, begin and change of each
 * series.
 */
void drift_weigh(const struct drift_history *history, struct drift_report *report);

/* ---- outlook ---- */

bool drift_look_out(const struct drift_history *history, const double *hours, struct drift_report *report);

#endif
