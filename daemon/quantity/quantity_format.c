// SPDX-License-Identifier: MIT
/* Writing numbers with units. A conversion to °F is rounded once, to the decimals asked for. */
#include <stdbool.h>
#include <stdio.h>

#include "soakledger/quantity.h"
#include "wide.h"

enum { MOST_DECIMALS = 3 };

/* By definition: t/°F = 9/5 t/°C + 32. */
enum { FAHRENHEIT_NUMERATOR = 9, FAHRENHEIT_DENOMINATOR = 5, FAHRENHEIT_ZERO = 32 * QUANTITY_PER_UNIT };

int64_t quantity_celsius_from_fahrenheit(int64_t thousandths_f) {
    return wide_saturate(
        wide_divide(((wide)thousandths_f - FAHRENHEIT_ZERO) * FAHRENHEIT_DENOMINATOR, FAHRENHEIT_NUMERATOR));
}

int64_t quantity_fahrenheit_from_celsius(int64_t temperature_mc) {
    return wide_saturate(wide_divide((wide)temperature_mc * FAHRENHEIT_NUMERATOR, FAHRENHEIT_DENOMINATOR) +
                         FAHRENHEIT_ZERO);
}

/* Writes numerator / denominator thousandths with `decimals` and what follows the number. */
static char *write_decimal(wide numerator, wide denominator, int decimals, bool signed_always, const char *unit,
                           char *out) {
    const int kept = decimals < 0 ? 0 : decimals > MOST_DECIMALS ? MOST_DECIMALS : decimals;
    const wide power = wide_power_of_ten(kept);
    const wide rounded = wide_divide(numerator, denominator * wide_power_of_ten(MOST_DECIMALS - kept));
    const wide magnitude = rounded < 0 ? -rounded : rounded;
    const char *sign = rounded < 0 ? "-" : signed_always ? "+" : "";
    const unsigned long long whole = (unsigned long long)(magnitude / power);
    const unsigned long long part = (unsigned long long)(magnitude % power);

    if (kept == 0)
        snprintf(out, QUANTITY_TEXT_BYTES, "%s%llu %s", sign, whole, unit);
    else
        snprintf(out, QUANTITY_TEXT_BYTES, "%s%llu.%0*llu %s", sign, whole, kept, part, unit);
    return out;
}

char *quantity_format_temperature(int64_t temperature_mc, enum temperature_unit unit, int decimals, char *out) {
    if (unit == UNIT_CELSIUS)
        return write_decimal(temperature_mc, 1, decimals, false, "°C", out);
    return write_decimal((wide)temperature_mc * FAHRENHEIT_NUMERATOR +
                             (wide)FAHRENHEIT_ZERO * FAHRENHEIT_DENOMINATOR,
                         FAHRENHEIT_DENOMINATOR, decimals, false, "°F", out);
}

char *quantity_format_difference(int64_t difference_mc, enum temperature_unit unit, int decimals, int signed_always,
                                 char *out) {
    if (unit == UNIT_CELSIUS)
        return write_decimal(difference_mc, 1, decimals, signed_always != 0, "°C", out);
    return write_decimal((wide)difference_mc * FAHRENHEIT_NUMERATOR, FAHRENHEIT_DENOMINATOR, decimals,
                         signed_always != 0, "°F", out);
}

char *quantity_format_rate(int64_t rate_mc_per_h, enum temperature_unit unit, char *out) {
    if (unit == UNIT_CELSIUS)
        return write_decimal(rate_mc_per_h, 1, 0, false, "°C/h", out);
    return write_decimal((wide)rate_mc_per_h * FAHRENHEIT_NUMERATOR, FAHRENHEIT_DENOMINATOR, 0, false, "°F/h", out);
}

/* The largest unit that is reached and the one below it. A part that is cut off is not rounded up: "15 min" must
 * not be printed for a soak that lasted less. */
char *quantity_format_duration(int64_t duration_ms, char *out) {
    static const struct {
        const char *name;
        uint64_t ms;
        int digits; // of a full one, less one, when it stands second
    } units[] = {{"d", 86400000, 2}, {"h", 3600000, 2}, {"min", 60000, 2}, {"s", 1000, 2}, {"ms", 1, 3}};
    const size_t last = sizeof units / sizeof *units - 1;
    const uint64_t magnitude = duration_ms < 0 ? 0 - (uint64_t)duration_ms : (uint64_t)duration_ms;
    const char *sign = duration_ms < 0 ? "-" : "";
    size_t first = 0;
    uint64_t whole, rest;

    if (magnitude == 0) {
        snprintf(out, QUANTITY_TEXT_BYTES, "0 s");
        return out;
    }
    while (first < last && magnitude < units[first].ms)
        first++;
    whole = magnitude / units[first].ms;
    rest = first < last ? magnitude % units[first].ms / units[first + 1].ms : 0;
    if (rest == 0)
        snprintf(out, QUANTITY_TEXT_BYTES, "%s%llu %s", sign, (unsigned long long)whole, units[first].name);
    else
        snprintf(out, QUANTITY_TEXT_BYTES, "%s%llu %s %0*llu %s", sign, (unsigned long long)whole,
                 units[first].name, units[first + 1].digits, (unsigned long long)rest, units[first + 1].name);
    return out;
}
