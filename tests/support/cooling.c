// SPDX-License-Identifier: MIT
#include "cooling.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdlib.h>

static double newton_start_c(void) {
    return 850 - newton_begins_s;
}

double newton_at(double s) {
    if (s <= newton_begins_s)
        return s < 0 ? 850 : 850 - s;
    return bath_c + (newton_start_c() - bath_c) * exp(-(s - newton_begins_s) / newton_tau_s);
}

double newton_rate(double s) {
    if (s < newton_begins_s)
        return s < 0 ? 0 : 1;
    return (newton_at(s) - bath_c) / newton_tau_s;
}

double newton_time(double c) {
    return newton_begins_s + newton_tau_s * log((newton_start_c() - bath_c) / (c - bath_c));
}

const struct cooling newton = {newton_at};

double boiling_at(double s) {
    return 850 - blanket * s - bell * width_s * (tanh((s - peak_s) / width_s) + tanh(peak_s / width_s));
}

static double boiling_rate(double s) {
    const double c = cosh((s - peak_s) / width_s);

    return blanket + bell / (c * c);
}

static double stages_at(double s) {
    const double joined_c = boiling_at(convection_s) - oil_c;

    if (s < 0)
        return 850;
    return s < convection_s ? boiling_at(s)
                            : oil_c + joined_c * exp(-(s - convection_s) * boiling_rate(convection_s) / joined_c);
}

double stages_rate(double s) {
    if (s < 0)
        return 0;
    return s < convection_s
               ? boiling_rate(s)
               : boiling_rate(convection_s) * (stages_at(s) - oil_c) / (stages_at(convection_s) - oil_c);
}

double stages_bend(double s) {
    const double joined_c = boiling_at(convection_s) - oil_c, rate = stages_rate(s);

    if (s >= convection_s)
        return rate * boiling_rate(convection_s) / joined_c;
    return fabs(2 * (rate - blanket) / width_s * tanh((s - peak_s) / width_s));
}

const struct cooling stages = {stages_at};

double cooling_time(const struct cooling *cooling, double c) {
    double early = 0, late = 1000;

    for (int i = 0; i < 100; i++) {
        const double middle = (early + late) / 2;

        if (cooling->at(middle) > c)
            early = middle;
        else
            late = middle;
    }
    return early;
}

void cooling_feed(struct quench *quench, int64_t t_ms, int64_t value, enum quality quality) {
    const struct reading reading = {.t_ms = t_ms, .value = value, .channel_id = 1, .quality = quality};

    quench_feed(quench, &reading);
}

int64_t cooling_sample(struct feeding *feeding, int64_t t_ms) {
    const double noise = feeding->noise_c * (2.0 * rand_r(&feeding->seed) / RAND_MAX - 1);
    const double mc = (feeding->cooling->at((double)t_ms / S) + noise) * C;
    const double step = feeding->resolution_mc == 0 ? 1 : (double)feeding->resolution_mc;

    return llround(mc / step) * (int64_t)step;
}

struct quench_curve cooling_run(struct feeding feeding, const struct quench_limits *limits) {
    struct quench *quench = quench_open(limits, t0_ms, feeding.interval_ms);
    struct quench_curve found;

    assert_non_null(quench);
    for (int64_t t = feeding.from_ms + feeding.phase_ms; t <= feeding.until_ms; t += feeding.interval_ms) {
        const bool broken =
            feeding.broken_till_ms != 0 && t >= feeding.broken_from_ms && t <= feeding.broken_till_ms;

        cooling_feed(quench, t0_ms + t, broken ? 0 : cooling_sample(&feeding, t),
                     broken ? QUALITY_OPEN_SENSOR : QUALITY_GOOD);
    }
    quench_read(quench, &found);
    quench_free(quench);
    return found;
}

double cooling_seconds(const struct quench_time *time) {
    assert_true(time->known);
    return (double)time->ms / S;
}

unsigned cooling_unknown(const struct quench_curve *found) {
    unsigned unknown = 0;

    unknown |= found->transfer.known ? 0 : LOSES_TRANSFER;
    unknown |= found->cooling.known ? 0 : LOSES_COOLING;
    unknown |= found->fastest.known ? 0 : LOSES_FASTEST;
    unknown |= found->rate_at_300_known ? 0 : LOSES_RATE;
    unknown |= found->marks[0].known ? 0 : LOSES_600;
    unknown |= found->marks[1].known ? 0 : LOSES_400;
    unknown |= found->marks[2].known ? 0 : LOSES_200;
    unknown |= found->handle_warm.known ? 0 : LOSES_WARM;
    return unknown;
}
