// SPDX-License-Identifier: MIT
#include "soakledger/thermocouple.h"

#include <math.h>
#include <string.h>

#include "thermocouple_table.h"

static const double MC_PER_C = 1000, NV_PER_MV = 1e6;
static const double HALF_A_MICROVOLT_MV = 0.0005;
enum { PPM = 1000000, PER_MILLE = 1000, WHOLE_MC = 1000 };

static const char letters[THERMOCOUPLE_TYPE_COUNT][2] = {
    [THERMOCOUPLE_B] = "B", [THERMOCOUPLE_E] = "E", [THERMOCOUPLE_J] = "J", [THERMOCOUPLE_K] = "K",
    [THERMOCOUPLE_N] = "N", [THERMOCOUPLE_R] = "R", [THERMOCOUPLE_S] = "S", [THERMOCOUPLE_T] = "T",
};

bool thermocouple_find_type(const char *letter, enum thermocouple_type *type) {
    for (int i = 0; i < THERMOCOUPLE_TYPE_COUNT; i++) {
        if (strcmp(letters[i], letter) != 0)
            continue;
        *type = (enum thermocouple_type)i;
        return true;
    }
    return false;
}

const char *thermocouple_letter(enum thermocouple_type type) {
    return letters[type];
}

/* ---- the functions ---- */

static double evaluate(const struct thermocouple_span *span, double x) {
    double sum = 0;

    for (int i = span->count - 1; i >= 0; i--)
        sum = sum * x + span->c[i];
    return sum;
}

static double differentiate(const struct thermocouple_span *span, double x) {
    double sum = 0;

    for (int i = span->count - 1; i > 0; i--)
        sum = sum * x + i * span->c[i];
    return sum;
}

/* The last span that begins at or below x; where two overlap that is the closer one. */
static const struct thermocouple_span *choose(const struct thermocouple_spans *spans, double x) {
    size_t i = spans->count - 1;

    while (i > 0 && x < spans->spans[i].from)
        i--;
    return &spans->spans[i];
}

/* mV and mV/K at a temperature in °C, also a little outside the range. */
static double forward(enum thermocouple_type type, double t_c, double *slope) {
    const struct thermocouple_span *span = choose(&thermocouple_forward[type], t_c);
    double emf_mv = evaluate(span, t_c);

    *slope = differentiate(span, t_c);
    if (type == THERMOCOUPLE_K && t_c >= 0) {
        const double *a = thermocouple_k_exponential, from = t_c - a[2];
        const double bell = a[0] * exp(a[1] * from * from);

        emf_mv += bell;
        *slope += bell * a[1] * 2 * from;
    }
    return emf_mv;
}

static double lowest_c(const struct thermocouple_spans *spans) {
    return spans->spans[0].from;
}

static double highest_c(const struct thermocouple_spans *spans) {
    return spans->spans[spans->count - 1].to;
}

void thermocouple_range(enum thermocouple_type type, int64_t *low_mc, int64_t *high_mc) {
    *low_mc = (int64_t)llround(lowest_c(&thermocouple_forward[type]) * MC_PER_C);
    *high_mc = (int64_t)llround(highest_c(&thermocouple_forward[type]) * MC_PER_C);
}

void thermocouple_inverse_range(enum thermocouple_type type, int64_t *low_mc, int64_t *high_mc) {
    static const int lows_c[THERMOCOUPLE_TYPE_COUNT] = {
        // from the heads of NIST's tables of inverse coefficients
        [THERMOCOUPLE_B] = 250,  [THERMOCOUPLE_E] = -200, [THERMOCOUPLE_J] = -210, [THERMOCOUPLE_K] = -200,
        [THERMOCOUPLE_N] = -200, [THERMOCOUPLE_R] = -50,  [THERMOCOUPLE_S] = -50,  [THERMOCOUPLE_T] = -200,
    };

    thermocouple_range(type, low_mc, high_mc);
    *low_mc = (int64_t)lows_c[type] * WHOLE_MC;
}

bool thermocouple_emf(enum thermocouple_type type, int64_t temperature_mc, int64_t *emf_nv) {
    int64_t low_mc, high_mc;
    double slope;

    thermocouple_range(type, &low_mc, &high_mc);
    if (temperature_mc < low_mc || temperature_mc > high_mc)
        return false;
    *emf_nv = llround(forward(type, (double)temperature_mc / MC_PER_C, &slope) * NV_PER_MV);
    return true;
}

static bool is_invertible(enum thermocouple_type type, double emf_mv) {
    int64_t low_mc, high_mc;
    double slope;

    thermocouple_inverse_range(type, &low_mc, &high_mc);
    return emf_mv >= forward(type, (double)low_mc / MC_PER_C, &slope) - HALF_A_MICROVOLT_MV &&
           emf_mv <= forward(type, (double)high_mc / MC_PER_C, &slope) + HALF_A_MICROVOLT_MV;
}

bool thermocouple_approximate(enum thermocouple_type type, int64_t emf_nv, double *temperature_c,
                              double *error_low_c, double *error_high_c) {
    const double emf_mv = (double)emf_nv / NV_PER_MV;
    const struct thermocouple_span *span = choose(&thermocouple_inverse[type], emf_mv);

    if (!is_invertible(type, emf_mv))
        return false;
    *temperature_c = evaluate(span, emf_mv);
    *error_low_c = span->error_low;
    *error_high_c = span->error_high;
    return true;
}

bool thermocouple_temperature(enum thermocouple_type type, int64_t emf_nv, int64_t *temperature_mc) {
    enum { STEPS = 3 }; // from 0.06 °C away a first one leaves less than 0.001
    const double emf_mv = (double)emf_nv / NV_PER_MV;
    double t_c, low, high, slope;

    if (!thermocouple_approximate(type, emf_nv, &t_c, &low, &high))
        return false;
    for (int i = 0; i < STEPS; i++) {
        const double found_mv = forward(type, t_c, &slope);

        t_c += (emf_mv - found_mv) / slope;
    }
    *temperature_mc = llround(t_c * MC_PER_C);
    return true;
}

bool thermocouple_compensate(enum thermocouple_type type, int64_t emf_nv, int64_t cold_mc,
                             int64_t *temperature_mc) {
    int64_t cold_nv;

    return thermocouple_emf(type, cold_mc, &cold_nv) &&
           thermocouple_temperature(type, emf_nv + cold_nv, temperature_mc);
}

/* ---- tolerance classes ---- */

static const char *const class_names[THERMOCOUPLE_CLASS_COUNT] = {
    [THERMOCOUPLE_CLASS_NONE] = "",     [THERMOCOUPLE_CLASS_1] = "class 1",   [THERMOCOUPLE_CLASS_2] = "class 2",
    [THERMOCOUPLE_CLASS_3] = "class 3", [THERMOCOUPLE_STANDARD] = "standard", [THERMOCOUPLE_SPECIAL] = "special",
};

const char *thermocouple_class_name(enum thermocouple_class class) {
    return class_names[class];
}

enum thermocouple_class thermocouple_find_class(const char *name) {
    for (int i = 0; i < THERMOCOUPLE_CLASS_COUNT; i++)
        if (strcmp(class_names[i], name) == 0)
            return (enum thermocouple_class)i;
    return THERMOCOUPLE_CLASS_NONE;
}

static int64_t tolerance_of(const struct thermocouple_tolerance_row *row, int64_t t_mc) {
    const int64_t size_mc = t_mc < 0 ? -t_mc : t_mc, share_mc = (size_mc * row->share_ppm + PPM / 2) / PPM;
    int64_t tolerance_mc = share_mc > row->least_mc ? share_mc : row->least_mc;

    if (row->slope_per_mille > 0)
        tolerance_mc += (t_mc - (int64_t)row->slope_from_c * WHOLE_MC) * row->slope_per_mille / PER_MILLE;
    return tolerance_mc;
}

/* At a temperature where one row ends and another begins, the wider one holds. */
bool thermocouple_tolerance(enum thermocouple_type type, enum thermocouple_class class, int64_t temperature_mc,
                            int64_t *tolerance_mc) {
    bool found = false;

    for (size_t i = 0; i < thermocouple_tolerance_count; i++) {
        const struct thermocouple_tolerance_row *row = &thermocouple_tolerances[i];
        int64_t wide_mc;

        if (row->type != type || row->class != class || temperature_mc < (int64_t)row->from_c * WHOLE_MC ||
            temperature_mc > (int64_t)row->to_c * WHOLE_MC)
            continue;
        wide_mc = tolerance_of(row, temperature_mc);
        if (!found || wide_mc > *tolerance_mc)
            *tolerance_mc = wide_mc;
        found = true;
    }
    return found;
}

bool thermocouple_has_class(enum thermocouple_type type, enum thermocouple_class class) {
    for (size_t i = 0; i < thermocouple_tolerance_count; i++)
        if (thermocouple_tolerances[i].type == type && thermocouple_tolerances[i].class == class)
            return true;
    return false;
}
