// SPDX-License-Identifier: MIT
/* quantity: numbers with units, from text and to text.
 *
 * Integers only: temperatures in milli-degrees Celsius (_mc), durations in milliseconds (_ms), rates in
 * milli-degrees Celsius per hour (_mc_per_h), other quantities in thousandths of their unit. A difference
 * of temperatures has no zero point: 18 F is 10 C as a difference, -7.778 C as a temperature.
 *
 * Parsers take exactly one decimal number (optional sign, digits, optional '.' and digits; no exponent, no
 * NaN, no infinity), white space (optional) and one unit, and nothing else; they round half away from zero
 * to the last thousandth. They return 0, or -1 with EX_DATAERR and one line that quotes the text and says
 * what was expected ("'954' has no unit: expected a temperature such as 954 C or 1750 F").
 * Ranges: temperatures -273.15 C to 3000 C, durations 0 to 1000 d.
 */
#ifndef SOAKLEDGER_QUANTITY_H
#define SOAKLEDGER_QUANTITY_H

#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"

enum { QUANTITY_PER_UNIT = 1000, QUANTITY_TEXT_BYTES = 48 };
enum temperature_unit { UNIT_CELSIUS, UNIT_FAHRENHEIT };

/* "954 C", "1750 F", "954 °C", "1227.15 K". */
int quantity_parse_temperature(const char *text, int64_t *temperature_mc, struct fault *fault);
/* "8 C", "15 F", "8 K": a difference, zero or more. */
int quantity_parse_difference(const char *text, int64_t *difference_mc, struct fault *fault);
/* "1 s", "300 ms", "30 min", "2 h", "3 d"; also sums in falling order: "2 h 30 min". */
int quantity_parse_duration(const char *text, int64_t *duration_ms, struct fault *fault);
/* "280 C/h", "500 F/h", "10 C/min", "2 C/s". Zero or more. */
int quantity_parse_rate(const char *text, int64_t *rate_mc_per_h, struct fault *fault);
/* "200 C .. 700 C": two temperatures, the first lower. */
int quantity_parse_span(const char *text, int64_t *low_mc, int64_t *high_mc, struct fault *fault);
/* A whole number within [least, most], nothing after it. */
int quantity_parse_integer(const char *text, int64_t least, int64_t most, int64_t *value, struct fault *fault);
/* "2026-11-16T07:30:00Z" or "2026-11-16" (midnight UTC), or either with a space for the T and no seconds:
 * milliseconds since 1970. Proleptic Gregorian, no leap seconds. */
int quantity_parse_time(const char *text, int64_t *t_ms, struct fault *fault);

/* °F given in thousandths as °C in thousandths, exact to half a thousandth. */
int64_t quantity_celsius_from_fahrenheit(int64_t thousandths_f);
int64_t quantity_fahrenheit_from_celsius(int64_t temperature_mc);

/* Formatters write at most QUANTITY_TEXT_BYTES with terminator into `out` and return it. UTF-8.
 * A temperature: "805.3 °C"; a difference: "+3.2 °C" (sign always when `signed_always`); `decimals` 0..3,
 * rounding half away from zero. A duration: "15 min 20 s", "2 h 05 min", "850 ms": the two largest units
 * that matter, never rounding up into a unit that was not reached. A rate: "412 °C/h".
 * A time: "2026-11-16 07:30:00" UTC plus `offset_min` minutes east. */
char *quantity_format_temperature(int64_t temperature_mc, enum temperature_unit unit, int decimals, char *out);
char *quantity_format_difference(int64_t difference_mc, enum temperature_unit unit, int decimals, int signed_always,
                                 char *out);
char *quantity_format_duration(int64_t duration_ms, char *out);
char *quantity_format_rate(int64_t rate_mc_per_h, enum temperature_unit unit, char *out);
char *quantity_format_time(int64_t t_ms, int offset_min, char *out);

#endif
