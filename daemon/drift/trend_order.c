// SPDX-License-Identifier: MIT
/* What rests on the order of values alone: Mann-Kendall and Theil-Sen. A wild value cannot move them far. */
#include <math.h>
#include <stdlib.h>

#include "soakledger/trend.h"

static int compare(const void *a, const void *b) {
    const double one = *(const double *)a, other = *(const double *)b;

    return (one > other) - (one < other);
}

static double sign(double x) {
    return (x > 0) - (x < 0);
}

/* k (k - 1) (2 k + 5): n of them in all, and t in each group of ties, make 18 times the variance of S. */
static double variance_term(double k) {
    return k * (k - 1) * (2 * k + 5);
}
static const double VARIANCE_PARTS = 18;

/* The variance terms of all groups of equal values; each group is counted where its first member stands. */
static double count_ties(const double *x, size_t count) {
    double sum = 0;

    for (size_t i = 0; i < count; i++) {
        size_t same = 0, first = 0;

        while (x[first] != x[i])
            first++;
        if (first < i)
            continue;
        for (size_t k = i; k < count; k++)
            same += x[k] == x[i];
        sum += variance_term((double)same);
    }
    return sum;
}

void trend_find_kendall(const double *x, size_t count, struct trend_kendall *kendall) {
    kendall->s = 0;
    for (size_t i = 0; i < count; i++) {
        for (size_t k = i + 1; k < count; k++)
            kendall->s += sign(x[k] - x[i]);
    }
    kendall->variance = (variance_term((double)count) - count_ties(x, count)) / VARIANCE_PARTS;
    kendall->z = kendall->variance > 0 ? (kendall->s - sign(kendall->s)) / sqrt(kendall->variance) : 0;
    kendall->p = 2 * trend_normal_below(-fabs(kendall->z));
}

static double median(const double *sorted, size_t count) {
    return count % 2 == 1 ? sorted[count / 2] : (sorted[count / 2 - 1] + sorted[count / 2]) / 2;
}

static bool find_median(const double *values, size_t count, double *middle) {
    double *sorted = malloc(count * sizeof *sorted);

    if (sorted == NULL)
        return false;
    for (size_t i = 0; i < count; i++)
        sorted[i] = values[i];
    qsort(sorted, count, sizeof *sorted, compare);
    *middle = median(sorted, count);
    free(sorted);
    return true;
}

/* The slopes that stand so many places from the middle that S would have to be off by the quantile. */
static void find_interval(const double *slopes, size_t slope_count, const double *x, const double *y, size_t count,
                          double confidence, struct trend_slope *slope) {
    const double sd =
        sqrt((variance_term((double)count) - count_ties(x, count) - count_ties(y, count)) / VARIANCE_PARTS);
    const double away = trend_normal_quantile((1 + confidence) / 2) * sd;
    const double last = (double)slope_count - 1;
    const double high = fmin(rint(((double)slope_count + away) / 2), last);
    const double low = fmax(rint(((double)slope_count - away) / 2) - 1, 0);

    slope->low = slopes[(size_t)low];
    slope->high = slopes[(size_t)high];
}

bool trend_find_slope(const double *x, const double *y, size_t count, double confidence,
                      struct trend_slope *slope) {
    double *slopes = malloc((count * (count - (count > 0)) / 2 + 1) * sizeof *slopes);
    size_t slope_count = 0;
    double middle_x, middle_y;
    bool found = false;

    if (slopes == NULL)
        return false;
    for (size_t i = 0; i < count; i++) {
        for (size_t k = i + 1; k < count; k++) {
            if (x[k] != x[i])
                slopes[slope_count++] = (y[k] - y[i]) / (x[k] - x[i]);
        }
    }
    if (slope_count > 0 && find_median(x, count, &middle_x) && find_median(y, count, &middle_y)) {
        qsort(slopes, slope_count, sizeof *slopes, compare);
        slope->slope = median(slopes, slope_count);
        slope->intercept = middle_y - slope->slope * middle_x;
        find_interval(slopes, slope_count, x, y, count, confidence, slope);
        found = true;
    }
    free(slopes);
    return found;
}

bool trend_fit_line(const double *x, const double *y, size_t count, struct trend_line *line) {
    const double n = (double)count;
    double mean_x = 0, mean_y = 0, sxx = 0, sxy = 0, syy = 0, rest = 0;

    if (count < 3)
        return false;
    for (size_t i = 0; i < count; i++) {
        mean_x += x[i] / n;
        mean_y += y[i] / n;
    }
    for (size_t i = 0; i < count; i++) {
        sxx += (x[i] - mean_x) * (x[i] - mean_x);
        sxy += (x[i] - mean_x) * (y[i] - mean_y);
        syy += (y[i] - mean_y) * (y[i] - mean_y);
    }
    if (!(sxx > 0))
        return false;
    line->slope = sxy / sxx;
    line->intercept = mean_y - line->slope * mean_x;
    for (size_t i = 0; i < count; i++) {
        const double left = y[i] - mean_y - line->slope * (x[i] - mean_x);

        rest += left * left;
    }
    line->residual_sd = sqrt(rest / (n - 2));
    line->sd_slope = line->residual_sd / sqrt(sxx);
    line->sd_intercept = line->residual_sd * sqrt(1 / n + mean_x * mean_x / sxx);
    line->r_squared = syy > 0 ? 1 - rest / syy : 1;
    return true;
}
