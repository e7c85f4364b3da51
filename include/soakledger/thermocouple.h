// SPDX-License-Identifier: MIT
/* thermocouple: what a thermocouple of a letter says at a temperature, and by how much it may be wrong. Pure.
 *
 * Reference functions: ITS-90, NIST Monograph 175 / Standard Reference Database 60, which ASTM E230 and IEC 60584-1
 * have adopted: a polynomial of the temperature, for K above 0 °C with an exponential beside it. Reference junction
 * at 0 °C. tests/reference/ holds NIST's coefficients and its printed tables with where they were read.
 *
 * Ranges of the forward functions: B 0 .. 1820 °C, E -270 .. 1000, J -210 .. 1200, K -270 .. 1372, N -270 .. 1300,
 * R and S -50 .. 1768.1, T -270 .. 400. IEC 60584-1:2013 ends type K at 1300 °C; NIST's 1372 is used, and
 * an own limit belongs into the sensor's temperature_at_most. Ranges of the inverse are those of NIST's inverse
 * polynomials: as above, but K, N, E and T from -200 °C and B from 250 °C (its voltage has a minimum at 21 °C,
 * where there is no inverse at all).
 *
 * Voltages are integers in nanovolts, temperatures in milli-degrees Celsius: types S, R and B give about 1 µV in a
 * tenth of a degree, so that whole microvolts would be too coarse.
 */
#ifndef SOAKLEDGER_THERMOCOUPLE_H
#define SOAKLEDGER_THERMOCOUPLE_H

#include <stdbool.h>
#include <stdint.h>

enum thermocouple_type {
    THERMOCOUPLE_B,
    THERMOCOUPLE_E,
    THERMOCOUPLE_J,
    THERMOCOUPLE_K,
    THERMOCOUPLE_N,
    THERMOCOUPLE_R,
    THERMOCOUPLE_S,
    THERMOCOUPLE_T,
};
enum { THERMOCOUPLE_TYPE_COUNT = 8, THERMOCOUPLE_NV_PER_UV = 1000 };

/* The type of a letter, "K"; false if there are no reference functions for it here. */
bool thermocouple_find_type(const char *letter, enum thermocouple_type *type);
const char *thermocouple_letter(enum thermocouple_type type);

/* Forward: the voltage at a temperature, to the nearest nanovolt. False outside the type's range. */
bool thermocouple_emf(enum thermocouple_type type, int64_t temperature_mc, int64_t *emf_nv);
void thermocouple_range(enum thermocouple_type type, int64_t *low_mc, int64_t *high_mc);

/* Inverse: the temperature at which thermocouple_emf gives that voltage, within 1 milli-degree: NIST's inverse
 * polynomial is only the first guess, the reference function itself is then solved. False outside its range, which
 * ends half a microvolt (half of the last place of NIST's tables) outside the voltages at its ends. */
bool thermocouple_temperature(enum thermocouple_type type, int64_t emf_nv, int64_t *temperature_mc);
void thermocouple_inverse_range(enum thermocouple_type type, int64_t *low_mc, int64_t *high_mc);

/* NIST's inverse polynomial as published, with the least and greatest error that it states, in milli-degrees. R and
 * S have two for 1064 to 1200 °C: the closer one is taken. */
bool thermocouple_approximate(enum thermocouple_type type, int64_t emf_nv, double *temperature_c,
                              double *error_low_c, double *error_high_c);

/* A cold junction at `cold_mc` and `emf_nv` at the terminals: E(t) = emf + E(cold), solved for t. False if the cold
 * junction or the sum is outside the functions' ranges. */
bool thermocouple_compensate(enum thermocouple_type type, int64_t emf_nv, int64_t cold_mc, int64_t *temperature_mc);

/* ---- tolerance classes ----
 *
 * How far a new wire may be from the reference function, junction at 0 °C: limits, not uncertainties. ASTM E230:
 * standard and special limits, the greater of a difference and a share of the temperature in °C. IEC 60584-1: class
 * 1, 2 and 3. The standards themselves were not read: see tests/reference/tolerance_classes.csv for where each row
 * was, and for the two conflicts. Taken: 2 % for K below 0 °C (one source says 1 %; the other and memory 2 %), and
 * 1480 °C as the end of R and S (two of three sources).
 */
enum thermocouple_class {
    THERMOCOUPLE_CLASS_NONE,
    THERMOCOUPLE_CLASS_1,
    THERMOCOUPLE_CLASS_2,
    THERMOCOUPLE_CLASS_3,
    THERMOCOUPLE_STANDARD,
    THERMOCOUPLE_SPECIAL,
};
enum { THERMOCOUPLE_CLASS_COUNT = 6 };

/* "class 1", "class 2", "class 3", "standard", "special"; "" for none. */
const char *thermocouple_class_name(enum thermocouple_class class);
/* Of those words; NONE for any others. */
enum thermocouple_class thermocouple_find_class(const char *name);
/* The tolerance of the class at a temperature, as plus or minus so much; false where the class says nothing. */
bool thermocouple_tolerance(enum thermocouple_type type, enum thermocouple_class class, int64_t temperature_mc,
                            int64_t *tolerance_mc);
/* Whether the type has such a class at any temperature. */
bool thermocouple_has_class(enum thermocouple_type type, enum thermocouple_class class);

#endif
