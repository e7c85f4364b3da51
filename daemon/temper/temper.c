// SPDX-License-Identifier: MIT
/* Tempering by Hollomon and Jaffe, retained austenite by Koistinen and Marburger. */
#include "soakledger/temper.h"

#include <math.h>

enum { MC_PER_KELVIN = 1000, ZERO_CELSIUS_MC = 273150 }; // 0 degrees Celsius in milli-kelvin, by definition
#define MS_PER_HOUR 3600000.0

/* Per degree Celsius below Ms; source: metallurgyzone.com, after Koistinen and Marburger. */
#define MARBURGER_PER_C 0.011

static double kelvin(double temperature_mc) {
    return (temperature_mc + ZERO_CELSIUS_MC) / MC_PER_KELVIN;
}

double temper_parameter(int64_t temperature_mc, double time_h, double constant) {
    return kelvin((double)temperature_mc) * (constant + log10(time_h));
}

double temper_time_h(double parameter, int64_t temperature_mc, double constant) {
    return pow(10, parameter / kelvin((double)temperature_mc) - constant);
}

/* Equal P: T (C + log t) at one temperature is T' (C + log t') at the other. */
static double hours_at(double to_k, double from_k, double time_h, double constant) {
    return pow(10, from_k / to_k * (constant + log10(time_h)) - constant);
}

double temper_equivalent_h(int64_t temperature_mc, double time_h, int64_t reference_mc, double constant) {
    return hours_at(kelvin((double)reference_mc), kelvin((double)temperature_mc), time_h, constant);
}

void temper_begin(struct temper_sum *sum, int64_t reference_mc, double constant, int64_t longest_step_ms) {
    *sum =
        (struct temper_sum){.reference_mc = reference_mc, .constant = constant, .longest_step_ms = longest_step_ms};
}

/* From equal P follows t' = constant * t^(T/T'): a step that lengthens t by a factor lengthens t' by its power. So
 * the sum only grows, and no error of a conversion there and back adds up over a million steps. */
static void add_step(struct temper_sum *sum, double temperature_mc, double step_h) {
    const double step_k = kelvin(temperature_mc), reference_k = kelvin((double)sum->reference_mc);
    double before_h;

    if (step_k <= 0)
        return;
    if (sum->equivalent_h <= 0) { // too little to be told from nothing counts as nothing
        sum->equivalent_h = hours_at(reference_k, step_k, step_h, sum->constant);
        return;
    }
    before_h =
        hours_at(step_k, reference_k, sum->equivalent_h, sum->constant); // infinite in the cold: adds nothing
    sum->equivalent_h *= exp(step_k / reference_k * log1p(step_h / before_h));
}

void temper_add(struct temper_sum *sum, const struct reading *reading) {
    int64_t step_ms;

    if (reading->quality != QUALITY_GOOD || (sum->started && reading->t_ms <= sum->last_ms))
        return;
    step_ms = sum->started ? reading->t_ms - sum->last_ms : 0;
    if (step_ms > sum->longest_step_ms)
        sum->missing_ms += step_ms;
    else if (step_ms > 0)
        add_step(sum, ((double)sum->last_mc + (double)reading->value) / 2, (double)step_ms / MS_PER_HOUR);
    sum->last_ms = reading->t_ms;
    sum->last_mc = reading->value;
    sum->started = 1;
}

double temper_retained_austenite(int64_t ms_mc, int64_t temperature_mc) {
    if (temperature_mc >= ms_mc)
        return 1;
    return exp(-MARBURGER_PER_C * (double)(ms_mc - temperature_mc) / MC_PER_KELVIN);
}
