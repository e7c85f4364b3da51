// SPDX-License-Identifier: MIT
/* trend: the statistics by which a change over many runs is told from noise. Pure; nothing here knows of ovens.
 *
 * Control charts as in the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 (tabular CUSUM) and 6.3.2.4
 * (EWMA). Mann-Kendall with the correction for ties and for continuity as in EPA QA/G-9S. Theil-Sen after Sen
 * (1968), its interval from the variance of Kendall's S with ties. Straight line by least squares, centred, so that
 * well-conditioned sums give nearly all digits of a double.
 */
#ifndef SOAKLEDGER_TREND_H
#define SOAKLEDGER_TREND_H

#include <stdbool.h>
#include <stddef.h>

enum trend_signal { TREND_LOW = -1, TREND_QUIET = 0, TREND_HIGH = 1 };

/* S_hi(i) = max(0, S_hi(i-1) + x_i - target - allowance), S_lo(i) = max(0, S_lo(i-1) + target - allowance - x_i).
 * Zeroed by the caller but for the first three. */
struct trend_cusum {
    double target, allowance; // in the unit of x
    double limit;             // what a sum has to pass
    double high, low;         // the two sums, never negative
};
/* TREND_HIGH or TREND_LOW while a sum is above the limit. */
enum trend_signal trend_cusum_add(struct trend_cusum *cusum, double x);

/* EWMA_i = weight x_i + (1 - weight) EWMA_(i-1), beginning at the target. Limits target +- `width` s
 * sqrt(weight / (2 - weight)); with `settling` times sqrt(1 - (1 - weight)^(2 i)), exact for the first values. */
struct trend_ewma {
    double target, sigma; // of x
    double weight;        // 0..1
    double width;         // in standard deviations of the EWMA
    bool settling;
    size_t count;     // 0 at first
    double value;     // valid after the first value
    double low, high; // the limits, likewise
};
enum trend_signal trend_ewma_add(struct trend_ewma *ewma, double x);

/* Scores by which a chart needs no known mean or spread (Hawkins 1987, "self-starting"): each value is held against
 * the mean and the spread of those before it, and what comes out is standard normal and independent as long as
 * nothing changes. The first two values have no score. */
struct trend_starter {
    size_t count;
    double mean, squares; // sum of squared deviations
};
/* A score counts as no more than this, and its value as no further out: one wild run may not raise an alarm alone.
 */
#define TREND_SCORE_CAP 3.5
/* The score of x, which then counts itself; NAN for the first two. `spread_floor`: the spread is taken as no less
 * (0: none), for values that agree better than can be believed. */
double trend_starter_add(struct trend_starter *starter, double x, double spread_floor);

struct trend_kendall {
    double s;        // pairs that rise less pairs that fall
    double variance; // of S without a trend, ties of x counted
    double z;        // with the correction for continuity; 0 if the variance is
    double p;        // two-sided, normal approximation: for fewer than about ten values only a guide
};
/* In the order given. No memory needed; O(n^2). */
void trend_find_kendall(const double *x, size_t count, struct trend_kendall *kendall);

struct trend_slope {
    double slope;     // median of the slopes of all pairs with different x
    double low, high; // its interval
    double intercept; // median(y) - slope median(x)
};
/* `confidence` e.g. 0.95. false if memory is short or no two x differ; nothing is filled in then. */
bool trend_find_slope(const double *x, const double *y, size_t count, double confidence, struct trend_slope *slope);

struct trend_line {
    double intercept, slope, sd_intercept, sd_slope;
    double residual_sd; // of n - 2 degrees of freedom
    double r_squared;
};
/* Least squares. false with fewer than three points or no two different x. */
bool trend_fit_line(const double *x, const double *y, size_t count, struct trend_line *line);

/* The standard normal's and Student's distribution. The quantile of p in (0, 1). */
double trend_normal_below(double z);
double trend_normal_quantile(double p);
double trend_student_below(double t, double degrees);
double trend_student_quantile(double p, double degrees);

#endif
