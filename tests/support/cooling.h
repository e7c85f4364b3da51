// SPDX-License-Identifier: MIT
/* cooling: curves whose answers are known in closed form, sampled as a channel would be and fed to quench. `s` are
 * seconds since the charge left the soak; temperatures in C, rates of cooling in C/s. */
#ifndef SOAKLEDGER_TESTS_COOLING_H
#define SOAKLEDGER_TESTS_COOLING_H

#include <stdint.h>

#include "soakledger/quench.h"

enum { S = 1000, C = 1000 };                         // ms in a second, mc in a degree
static const int64_t t0_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z: the charge leaves the soak
static const struct quench_limits usual_limits = {
    .falls_at_least_mc_per_s = 20 * C, .upper_mc = 800 * C, .lower_mc = 500 * C, .handle_warm_mc = 60 * C};

struct cooling {
    double (*at)(double s);
};

/* Newton: 850 C, from `newton_begins_s` on towards 50 C; before, carried through air that takes 1 C/s. */
static const double newton_begins_s = 3, newton_tau_s = 20, bath_c = 50;
double newton_at(double s);
double newton_rate(double s);
double newton_time(double c); // when it is at a temperature
extern const struct cooling newton;

/* Three stages: a vapour blanket at a steady rate, boiling as a bell of sech^2 about its peak, and from
 * `convection_s` on Newton's law towards the bath, joined in value and slope. The integral of sech^2 is tanh, so
 * that the maximum rate is blanket + bell, at the peak, at
 * 850 - blanket * peak - bell * width * tanh(peak / width). */
static const double blanket = 6, bell = 92, peak_s = 6.4, width_s = 2.083, convection_s = 12, oil_c = 30;
double boiling_at(double s);
double stages_rate(double s);
double stages_bend(double s); // how fast the rate itself changes, without its sign
extern const struct cooling stages;

/* When a falling curve is at a temperature, by halving. */
double cooling_time(const struct cooling *cooling, double c);

struct feeding {
    const struct cooling *cooling;
    int64_t interval_ms, phase_ms;
    int64_t from_ms, until_ms;              // since the charge left
    int64_t broken_from_ms, broken_till_ms; // an open sensor at these moments and between; both 0: never
    double noise_c;                         // even, plus or minus
    unsigned seed;
    int64_t resolution_mc; // 0: as fine as a reading is
};

int64_t cooling_sample(struct feeding *feeding, int64_t t_ms);
struct quench_curve cooling_run(struct feeding feeding, const struct quench_limits *limits);
void cooling_feed(struct quench *quench, int64_t t_ms, int64_t value, enum quality quality);
/* What is not known. */
enum { LOSES_TRANSFER = 1, LOSES_COOLING = 2, LOSES_FASTEST = 4, LOSES_RATE = 8, LOSES_600 = 16, LOSES_WARM = 128 };
enum { LOSES_400 = 32, LOSES_200 = 64 };
unsigned cooling_unknown(const struct quench_curve *found);
/* Fails the test if it is not known. */
double cooling_seconds(const struct quench_time *time);

#endif
