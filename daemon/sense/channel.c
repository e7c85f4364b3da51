// SPDX-License-Identifier: MIT
/* From registers to a reading. The raw value is kept as an exact fraction until it is rounded once, to
 * thousandths of °C or of the channel's unit; no floating point takes part. */
#include "soakledger/channel.h"

#include <stdbool.h>

#include "../quantity/wide.h"

enum { REGISTER_BITS = 16, DECIMAL_BASE = 10, NV_PER_MV = 1000000 };

/* IEEE 754 binary32: 1 bit sign, 8 bits exponent with this bias, 23 bits of fraction. */
enum {
    FLOAT_FRACTION_BITS = 23,
    FLOAT_EXPONENT_BITS = 8,
    FLOAT_BIAS = 127,
    FLOAT_EXPONENT_SPECIAL = (1 << FLOAT_EXPONENT_BITS) - 1, // infinities and NaNs
};

/* Powers of two beyond which a float is either out of every range or nothing, whatever its decimals are: 2^60 /
 * 10^6 is 10^12 degrees, 2^24 * 2^-60 * 10^3 is less than a thousandth of a thousandth. */
enum { SHIFT_MOST = 60 };

/* 0 °C is 32 °F, and a degree Fahrenheit is 5/9 of a degree Celsius: by definition. */
enum { FAHRENHEIT_ZERO = 32, FAHRENHEIT_NUMERATOR = 5, FAHRENHEIT_DENOMINATOR = 9 };

struct fraction {
    wide numerator;
    wide denominator; // > 0
};

size_t channel_count_registers(enum encoding encoding) {
    return encoding == ENCODING_INT16 || encoding == ENCODING_UINT16 ? 1 : 2;
}

static uint32_t join_registers(const struct channel_fitting *fitting, const uint16_t *registers) {
    const bool high_first = fitting->word_order == WORD_HIGH_FIRST;
    const uint32_t high = registers[high_first ? 0 : 1], low = registers[high_first ? 1 : 0];

    return high << REGISTER_BITS | low;
}

/* Two's complement of `bits` bits. */
static int64_t sign_extend(uint32_t pattern, int bits) {
    const int64_t modulus = INT64_C(1) << bits;

    return pattern >= modulus / 2 ? (int64_t)pattern - modulus : (int64_t)pattern;
}

/* False for an infinity or a NaN. */
static bool split_float(uint32_t pattern, struct fraction *raw) {
    const bool negative = pattern >> (FLOAT_EXPONENT_BITS + FLOAT_FRACTION_BITS) != 0;
    const int exponent = (int)(pattern >> FLOAT_FRACTION_BITS & FLOAT_EXPONENT_SPECIAL);
    const uint32_t fraction = pattern & ((UINT32_C(1) << FLOAT_FRACTION_BITS) - 1);
    const wide one = 1;
    wide magnitude = fraction;
    int shift = -FLOAT_BIAS - FLOAT_FRACTION_BITS + 1; // of a number without the implied leading bit

    if (exponent == FLOAT_EXPONENT_SPECIAL)
        return false;
    if (exponent > 0) {
        magnitude += one << FLOAT_FRACTION_BITS;
        shift += exponent - 1;
    }
    if (shift < -SHIFT_MOST)
        magnitude = shift = 0;
    if (shift > SHIFT_MOST)
        shift = SHIFT_MOST;
    raw->numerator = (negative ? -magnitude : magnitude) * (shift > 0 ? one << shift : one);
    raw->denominator = shift < 0 ? one << -shift : one;
    return true;
}

static bool read_raw(const struct channel_fitting *fitting, const uint16_t *registers, struct fraction *raw) {
    raw->denominator = 1;
    switch (fitting->encoding) {
    case ENCODING_INT16: raw->numerator = sign_extend(registers[0], REGISTER_BITS); return true;
    case ENCODING_UINT16: raw->numerator = registers[0]; return true;
    case ENCODING_INT32:
        raw->numerator = sign_extend(join_registers(fitting, registers), 2 * REGISTER_BITS);
        return true;
    case ENCODING_UINT32: raw->numerator = join_registers(fitting, registers); return true;
    case ENCODING_FLOAT32: return split_float(join_registers(fitting, registers), raw);
    }
    return false;
}

static bool is_among(const int64_t *values, size_t count, const struct fraction *raw) {
    for (size_t i = 0; i < count; i++)
        if (raw->numerator == (wide)values[i] * raw->denominator)
            return true;
    return false;
}

/* Thousandths of °C, or of whatever the channel's unit is; nanovolts of millivolts. */
static wide scale(const struct channel_fitting *fitting, struct fraction raw) {
    if (fitting->decimals < 0)
        raw.numerator *= wide_power_of_ten(-fitting->decimals);
    else
        raw.denominator *= wide_power_of_ten(fitting->decimals);
    if (fitting->unit == CHANNEL_FAHRENHEIT) {
        raw.numerator = (raw.numerator - FAHRENHEIT_ZERO * raw.denominator) * FAHRENHEIT_NUMERATOR;
        raw.denominator *= FAHRENHEIT_DENOMINATOR;
    }
    return wide_divide(raw.numerator * (fitting->unit == CHANNEL_MILLIVOLT ? NV_PER_MV : QUANTITY_PER_UNIT),
                       raw.denominator);
}

/* What the controller says in place of a value goes before what the value would be. */
static void decode(const struct channel_fitting *fitting, const struct fraction *raw, struct reading *reading) {
    const wide value = scale(fitting, *raw);
    const bool over = is_among(fitting->over_raw, fitting->over_count, raw);
    const bool under = is_among(fitting->under_raw, fitting->under_count, raw);
    const bool is_emf = fitting->unit == CHANNEL_MILLIVOLT;
    const int64_t low = is_emf ? -CHANNEL_EMF_MOST_NV : fitting->low;
    const int64_t high = is_emf ? CHANNEL_EMF_MOST_NV : fitting->high;

    if (is_among(fitting->open_raw, fitting->open_count, raw))
        reading->quality = QUALITY_OPEN_SENSOR;
    else if (under || (!over && value < low))
        reading->quality = QUALITY_UNDER_RANGE;
    else if (over || value > high)
        reading->quality = QUALITY_OVER_RANGE;
    else {
        reading->quality = QUALITY_GOOD;
        reading->value = (int64_t)value;
    }
}

void channel_decode(const struct channel_fitting *fitting, const uint16_t *registers, struct reading *reading) {
    struct fraction raw;

    reading->value = 0;
    reading->quality = QUALITY_OPEN_SENSOR;
    if (read_raw(fitting, registers, &raw))
        decode(fitting, &raw, reading);
}

void channel_decode_decimal(const struct channel_fitting *fitting, const struct channel_decimal *decimal,
                            struct reading *reading) {
    struct fraction raw = {.numerator = decimal->mantissa, .denominator = 1};
    int places = -decimal->exponent;

    // What lies beyond cannot move a thousandth, and would leave no room for the arithmetic.
    for (; places > WIDE_MOST_POWER; places--)
        raw.numerator /= DECIMAL_BASE;
    if (places < 0)
        raw.numerator *= wide_power_of_ten(-places);
    else
        raw.denominator = wide_power_of_ten(places);
    reading->value = 0;
    decode(fitting, &raw, reading);
}

const char *channel_role_name(enum channel_role role) {
    static const char *const names[ROLE_COUNT] = {
        [ROLE_CONTROL] = "control",     [ROLE_LOAD] = "load",
        [ROLE_SETPOINT] = "setpoint",   [ROLE_OUTPUT] = "output",
        [ROLE_AMBIENT] = "ambient",     [ROLE_QUENCH] = "quench",
        [ROLE_COLD] = "cold",           [ROLE_HIGH_LIMIT] = "high-limit",
        [ROLE_REFERENCE] = "reference",
    };

    return (unsigned)role < ROLE_COUNT ? names[role] : "unknown role";
}

const char *channel_unit_name(enum channel_unit unit) {
    static const char *const names[CHANNEL_UNIT_COUNT] = {
        [CHANNEL_CELSIUS] = "C",
        [CHANNEL_FAHRENHEIT] = "F",
        [CHANNEL_MILLIVOLT] = "mV",
    };

    return (unsigned)unit < CHANNEL_UNIT_COUNT ? names[unit] : "unknown unit";
}

bool channel_is_measured(enum channel_role role) {
    return role != ROLE_SETPOINT && role != ROLE_OUTPUT;
}

const char *channel_encoding_name(enum encoding encoding) {
    static const char *const names[] = {
        [ENCODING_INT16] = "int16",   [ENCODING_UINT16] = "uint16",   [ENCODING_INT32] = "int32",
        [ENCODING_UINT32] = "uint32", [ENCODING_FLOAT32] = "float32",
    };

    return (unsigned)encoding < sizeof names / sizeof *names ? names[encoding] : "unknown encoding";
}

const char *channel_wire_name(enum wire_kind wire) {
    static const char *const names[WIRE_KIND_COUNT] = {
        [WIRE_MODBUS_RTU] = "modbus-rtu",
        [WIRE_MODBUS_ASCII] = "modbus-ascii",
        [WIRE_POLLED_TEXT] = "polled-text",
        [WIRE_FREE_TEXT] = "free-text",
    };

    return (unsigned)wire < WIRE_KIND_COUNT ? names[wire] : "unknown wire";
}
