// SPDX-License-Identifier: MIT
/* Charts, and the scores that feed them. */
#include "soakledger/trend.h"

#include <math.h>

enum trend_signal trend_cusum_add(struct trend_cusum *cusum, double x) {
    cusum->high = fmax(0, cusum->high + x - cusum->target - cusum->allowance);
    cusum->low = fmax(0, cusum->low + cusum->target - cusum->allowance - x);
    if (cusum->high > cusum->limit)
        return TREND_HIGH;
    return cusum->low > cusum->limit ? TREND_LOW : TREND_QUIET;
}

enum trend_signal trend_ewma_add(struct trend_ewma *ewma, double x) {
    const double before = ewma->count == 0 ? ewma->target : ewma->value;
    double half = ewma->width * ewma->sigma * sqrt(ewma->weight / (2 - ewma->weight));

    ewma->count++;
    ewma->value = ewma->weight * x + (1 - ewma->weight) * before;
    if (ewma->settling)
        half *= sqrt(1 - pow(1 - ewma->weight, 2 * (double)ewma->count));
    ewma->low = ewma->target - half;
    ewma->high = ewma->target + half;
    if (ewma->value > ewma->high)
        return TREND_HIGH;
    return ewma->value < ewma->low ? TREND_LOW : TREND_QUIET;
}

static void starter_take(struct trend_starter *starter, double x) {
    const double away = x - starter->mean;

    starter->count++;
    starter->mean += away / (double)starter->count;
    starter->squares += away * (x - starter->mean);
}

/* The tail is turned into the normal's, so that a score far out keeps its digits. A single wild value counts as one
 * at the cap: it may not raise an alarm alone, nor widen what later values are held against. */
double trend_starter_add(struct trend_starter *starter, double x, double spread_floor) {
    const double before = (double)starter->count;
    double spread, t, score, most;

    if (starter->count < 2) {
        starter_take(starter, x);
        return NAN;
    }
    spread = fmax(sqrt(starter->squares / (before - 1)), spread_floor) * sqrt((before + 1) / before);
    if (!(spread > 0)) { // all equal so far: no spread to hold it against
        const double away = x - starter->mean;

        starter_take(starter, x);
        return away == 0 ? 0 : copysign(TREND_SCORE_CAP, away);
    }
    t = (x - starter->mean) / spread;
    score = copysign(trend_normal_quantile(trend_student_below(-fabs(t), before - 1)), t);
    if (fabs(score) <= TREND_SCORE_CAP) {
        starter_take(starter, x);
        return score;
    }
    most = -trend_student_quantile(trend_normal_below(-TREND_SCORE_CAP), before - 1) * spread;
    starter_take(starter, starter->mean + copysign(fmin(most, fabs(x - starter->mean)), t));
    return copysign(TREND_SCORE_CAP, t);
}
