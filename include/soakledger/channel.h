// SPDX-License-Identifier: MIT
/* channel: what a value on a controller means, and how registers become a reading.
 *
 * A channel is a place where something is measured or said (an oven's control thermocouple, its setpoint,
 * its heating output). It outlives the sensor fitted to it. Its fitting says where the value is found
 * (instrument, function and register, or query and place in a text), how it is written there, and what is plugged
 * in.
 */
#ifndef SOAKLEDGER_CHANNEL_H
#define SOAKLEDGER_CHANNEL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/quantity.h"
#include "soakledger/reading.h"

enum channel_role {
    ROLE_CONTROL,  // the thermocouple the controller regulates by
    ROLE_LOAD,     // in or on the charge
    ROLE_SETPOINT, // what the controller is asked to hold
    ROLE_OUTPUT,   // heating output, per cent
    ROLE_AMBIENT,
    ROLE_QUENCH,     // in or on the part, or in the medium, where it is quenched
    ROLE_COLD,       // the air of a cold place
    ROLE_HIGH_LIMIT, // the thermocouple that switches the oven off when it gets too hot
    ROLE_REFERENCE,  // a sensor that the others are held against
};
enum { ROLE_COUNT = 9 };

/* What the instrument counts in. */
enum channel_unit {
    CHANNEL_CELSIUS,
    CHANNEL_FAHRENHEIT,
    CHANNEL_MILLIVOLT, // of a thermocouple whose cold junction is not compensated; see junction.h
};
enum { CHANNEL_UNIT_COUNT = 3 };

enum encoding { ENCODING_INT16, ENCODING_UINT16, ENCODING_INT32, ENCODING_UINT32, ENCODING_FLOAT32 };
enum word_order { WORD_HIGH_FIRST, WORD_LOW_FIRST }; // which register of a 32-bit value holds the high half

/* How the channel's instrument speaks; see wire.h. */
enum wire_kind { WIRE_MODBUS_RTU, WIRE_MODBUS_ASCII, WIRE_POLLED_TEXT, WIRE_FREE_TEXT };
enum { WIRE_KIND_COUNT = 4 };
enum { CHANNEL_OPEN_VALUES = 4, CHANNEL_NAME_BYTES = 64, CHANNEL_TEXT_BYTES = 64, CHANNEL_FIELDS_MOST = 64 };

struct channel_fitting {
    enum wire_kind wire;
    uint8_t function;        // 3 (holding registers) or 4 (input registers)
    uint16_t first_register; // as sent on the wire, counted from 0
    enum encoding encoding;
    enum word_order word_order;
    int decimals;           // -3..6: value = raw / 10^decimals. For float32 too
    enum channel_unit unit; // ignored for ROLE_OUTPUT
    int64_t low, high;      // outside this the reading is under or over range; thousandths (°C for temperatures)
    size_t open_count;      // raw integers (before decimals) by which the controller says "open sensor"
    int64_t open_raw[CHANNEL_OPEN_VALUES];
    size_t over_count, under_count; // likewise "over range" and "under range"
    int64_t over_raw[CHANNEL_OPEN_VALUES], under_raw[CHANNEL_OPEN_VALUES];

    // Of text, where function, register, encoding and order say nothing. Unused bytes are zero.
    char query[CHANNEL_TEXT_BYTES];   // as configured; "" where nothing is asked
    char pattern[CHANNEL_TEXT_BYTES]; // as configured; "" if the value is found by its field
    unsigned field;                   // counted from 1; 0 with a pattern
    char separator;                   // of fields; a space stands for any run of blanks

    int64_t frozen_after_ms;        // 0: a value may stay the same for ever; see quality.h
    int64_t moves_at_most_mc_per_h; // 0: it may move as fast as it likes
};

/* A number as text gives it: mantissa * 10^exponent. |mantissa| < 10^18, exponent not below -30, and the number
 * itself below 10^15. */
struct channel_decimal {
    int64_t mantissa;
    int exponent;
};
enum { CHANNEL_DIGITS_MOST = 18, CHANNEL_EXPONENT_LEAST = -30, CHANNEL_MAGNITUDE_MOST = 15 };

/* How many 16-bit registers an encoding takes: 1 or 2. */
size_t channel_count_registers(enum encoding encoding);

/* Turns registers into a reading's value and quality. `registers` holds channel_count_registers() words in
 * wire order. Never fails: a NaN or an infinity is an open sensor, a value outside [low, high] is under or
 * over range. °F is converted here and nowhere else. Of a channel of millivolts the value is in nanovolts: a good
 * reading still needs junction_compensate. `t_ms` and `channel_id` of `reading` are left alone. */
void channel_decode(const struct channel_fitting *fitting, const uint16_t *registers, struct reading *reading);

/* The same for a number that was read as text. */
void channel_decode_decimal(const struct channel_fitting *fitting, const struct channel_decimal *decimal,
                            struct reading *reading);

/* No thermocouple gives more, in either direction (type E at 1000 °C: 76.4 mV): beyond it is over or under range.
 */
enum { CHANNEL_EMF_MOST_NV = 100000000 };

/* "control", "load", "setpoint", "output", "ambient", "quench", "cold", "high-limit", "reference": the words of
 * configuration, ledger and sheets. */
const char *channel_role_name(enum channel_role role);
const char *channel_unit_name(enum channel_unit unit);     // "C", "F", "mV"
bool channel_is_measured(enum channel_role role);          // neither setpoint nor output
const char *channel_encoding_name(enum encoding encoding); // "int16", "uint16", "int32", "uint32", "float32"
/* "modbus-rtu", "modbus-ascii", "polled-text", "free-text" */
const char *channel_wire_name(enum wire_kind wire);

#endif
