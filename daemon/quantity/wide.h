// SPDX-License-Identifier: MIT
/* wide: 128-bit integers for the moment between two 64-bit ones, so that a conversion rounds once and never
 * overflows. For quantity and channel; not part of the library's contracts. */
#ifndef QUANTITY_WIDE_H
#define QUANTITY_WIDE_H

#include <stdint.h>

__extension__ typedef __int128 wide;

enum { WIDE_MOST_POWER = 18 };

/* numerator / denominator, half away from zero. `denominator` > 0. */
static inline wide wide_divide(wide numerator, wide denominator) {
    const wide half = denominator / 2;

    return numerator < 0 ? -((half - numerator) / denominator) : (numerator + half) / denominator;
}

/* 10^power, for a power of 0 to WIDE_MOST_POWER. */
static inline wide wide_power_of_ten(int power) {
    const int base = 10;
    wide result = 1;

    for (int i = 0; i < power; i++)
        result *= base;
    return result;
}

static inline int64_t wide_saturate(wide value) {
    if (value > INT64_MAX)
        return INT64_MAX;
    return value < INT64_MIN ? INT64_MIN : (int64_t)value;
}

#endif
