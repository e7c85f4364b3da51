// SPDX-License-Identifier: MIT
/* The published numbers that thermocouple.c works with. */
#ifndef SENSE_THERMOCOUPLE_TABLE_H
#define SENSE_THERMOCOUPLE_TABLE_H

#include <stddef.h>

#include "soakledger/thermocouple.h"

enum { THERMOCOUPLE_COEFFICIENTS = 15 };

/* One polynomial and where it holds: °C forward, mV inverse. */
struct thermocouple_span {
    double from, to;
    int count;
    double error_low, error_high; // of an inverse, °C
    double c[THERMOCOUPLE_COEFFICIENTS];
};

struct thermocouple_spans {
    const struct thermocouple_span *spans; // in ascending order
    size_t count;
};

extern const struct thermocouple_spans thermocouple_forward[THERMOCOUPLE_TYPE_COUNT];
extern const struct thermocouple_spans thermocouple_inverse[THERMOCOUPLE_TYPE_COUNT];
extern const double thermocouple_k_exponential[3];

struct thermocouple_tolerance_row {
    enum thermocouple_type type;
    enum thermocouple_class class;
    int from_c, to_c;
    int least_mc, share_ppm;           // the greater of the two ...
    int slope_per_mille, slope_from_c; // ... and so much more for each degree above that temperature
};
extern const struct thermocouple_tolerance_row thermocouple_tolerances[];
extern const size_t thermocouple_tolerance_count;

#endif
