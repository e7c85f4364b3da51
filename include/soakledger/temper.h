// SPDX-License-Identifier: MIT
/* temper: what time at temperature does to martensite, and how much austenite is left. Pure.
 *
 * Hollomon-Jaffe: P = T (C + log10 t), T in kelvin (°C + 273.15), t in hours. P is a single number for how far the
 * steel has been tempered, so a temperature that varies is summed by what was reached so far: the time that would
 * have given it at the step's temperature, plus the step, gives what is reached after it. At a constant temperature
 * the sum is the time, however often it is read, and a varying one goes to a limit as steps become short; what the
 * sum reached does not depend on the reference temperature, which only says at which temperature its hours are
 * counted. Turning each step on its own into time at a reference and adding those times, as is done by hand for a
 * few whole treatments, does neither: 2 h at 190 °C are 0.74 h at 200 °C in one step and 0.90 h in steps of a
 * second. For whole treatments temper_equivalent_h still does that, and there the answer depends on the reference.
 *
 * Koistinen-Marburger: retained austenite = exp(-0.011 (Ms - T)), °C, for T below Ms. An estimate, never judged.
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
    int64_t longest_step_ms; // > 0; a longer step between two good readings adds nothing and is counted as missing
    double equivalent_h;     // hours at `reference_mc`
    int64_t missing_ms;
    int64_t last_ms, last_mc;
    int started;
};
void temper_begin(struct temper_sum *sum, int64_t reference_mc, double constant, int64_t longest_step_ms);
/* Readings in order of time; each step from one good reading to the next counts at the mean of its two ends. A
 * reading that is not good, or not later than the last good one, is ignored. */
void temper_add(struct temper_sum *sum, const struct reading *reading);

/* Fraction 0..1 of austenite left at `temperature_mc` for a martensite start of `ms_mc`; 1 at or above Ms. */
double temper_retained_austenite(int64_t ms_mc, int64_t temperature_mc);

#endif
