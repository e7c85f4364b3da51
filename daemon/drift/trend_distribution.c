// SPDX-License-Identifier: MIT
/* The normal and Student's distribution: functions from the C library where it has them, the incomplete beta
 * function by its continued fraction (Abramowitz and Stegun 26.5.8), quantiles by Newton's rule with Halley's
 * correction. */
#include <math.h>

#include "soakledger/trend.h"

enum { MOST_TERMS = 500, MOST_STEPS = 200 };
static const double SMALLEST = 1e-300, EXACT = 1e-15;

double trend_normal_below(double z) {
    return erfc(-z / M_SQRT2) / 2;
}

/* Beginning within 5e-4 of the answer: Abramowitz and Stegun 26.2.23 (coefficients from memory; the steps that
 * follow do not rest on them). */
static double normal_guess(double tail) {
    const double t = sqrt(-2 * log(tail));

    return -(t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308))));
}

double trend_normal_quantile(double p) {
    const double tail = fmax(fmin(p, 1 - p), SMALLEST);
    double z = normal_guess(tail);
    enum { STEPS = 3 }; // each triples the digits

    for (int i = 0; i < STEPS; i++) {
        const double density = exp(-z * z / 2) / sqrt(2 * M_PI);
        const double step = (trend_normal_below(z) - tail) / density;

        z -= step / (1 + z * step / 2);
    }
    return p < 0.5 ? z : -z;
}

/* Away from zero, so that it can be divided by. */
static double nonzero(double x) {
    return fabs(x) < SMALLEST ? SMALLEST : x;
}

/* The continued fraction of I_x(a, b), evaluated from the front (Lentz). Converges fast for x < (a + 1) / (a + b +
 * 2).
 */
static double beta_fraction(double x, double a, double b) {
    double c = 1, d = 1 / nonzero(1 - (a + b) * x / (a + 1)), fraction = d;

    for (int m = 1; m < MOST_TERMS; m++) {
        const double even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
        const double odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));

        d = 1 / nonzero(1 + even * d);
        c = nonzero(1 + even / c);
        fraction *= c * d;
        d = 1 / nonzero(1 + odd * d);
        c = nonzero(1 + odd / c);
        fraction *= c * d;
        if (fabs(c * d - 1) < EXACT)
            break;
    }
    return fraction;
}

static double incomplete_beta(double x, double a, double b) {
    double front;

    if (x <= 0 || x >= 1)
        return x <= 0 ? 0 : 1;
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x));
    if (x < (a + 1) / (a + b + 2))
        return front * beta_fraction(x, a, b) / a;
    return 1 - front * beta_fraction(1 - x, b, a) / b;
}

double trend_student_below(double t, double degrees) {
    const double tail = incomplete_beta(degrees / (degrees + t * t), degrees / 2, 0.5) / 2;

    return t < 0 ? tail : 1 - tail;
}

/* By halving an interval that is doubled until it holds the answer: slow, sure, and seldom asked for. */
double trend_student_quantile(double p, double degrees) {
    const double tail = fmax(fmin(p, 1 - p), SMALLEST);
    double far = -1, near = 0;

    while (trend_student_below(far, degrees) > tail) {
        near = far;
        far *= 2;
    }
    for (int i = 0; i < MOST_STEPS && near - far > EXACT * fabs(far); i++) {
        const double middle = (far + near) / 2;

        if (trend_student_below(middle, degrees) > tail)
            near = middle;
        else
            far = middle;
    }
    return p < 0.5 ? (far + near) / 2 : -(far + near) / 2;
}
