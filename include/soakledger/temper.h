// SPDX-License-Identifier: MIT
/* temper: what time at temperature does to martensite, and how much austenite is left. Pure.
 *
 * Hollomon-Jaffe: P = T (C + log10 t), T in kelvin (°C + 273.15), t in hours. A temperature that varies is summed
 * by turning each step into the time at the reference temperature that gives the same P, and adding those times.
 * The sum depends on the reference, so that is always the plan's and is printed with it. Koistinen-Marburger:
 * retained austenite = exp(-0.011 (Ms - T)), °C, for T below Ms. An estimate, never judged.
 */
#ifndef SOAKLEDGER_TEMPER_H
#define SOAKLEDGER_TEMPER_H

#include <stdint.h>

#include "soakledger/reading.h"

#define TEMPER_USUAL_CONSTANT 20.0

/* P of one step; time_h > 0. */
double temper_parameter(int64_t temperature_mc, double time_h, double constant);
/* The hours at `reference_mc` that give the same P as `time_h` at `temperature_mc`. */
double temper_equivalent_h(int64_t temperature_mc, double time_h, int64_t reference_mc, double constant);
/* The hours at a temperature that give P. */
double temper_time_h(double parameter, int64_t temperature_mc, double constant);

/* Sums a varying temperature. */
struct temper_sum {
    int64_t reference_mc;
    double constant;
    int64_t longest_step_ms; // a longer step between two good readings adds nothing and is counted as missing
    double equivalent_h;
    int64_t missing_ms;
    int64_t last_ms, last_mc;
    int started;
};
void temper_begin(struct temper_sum *sum, int64_t reference_mc, double constant, int64_t longest_step_ms);
/* Good readings in order of time; each step counts at the mean of its two ends. */
void temper_add(struct temper_sum *sum, const struct reading *reading);

/* Fraction 0..1 of austenite left at `temperature_mc` for a martensite start of `ms_mc`; 1 at or above Ms. */
double temper_retained_austenite(int64_t ms_mc, int64_t temperature_mc);

#endif
