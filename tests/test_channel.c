// SPDX-License-Identifier: MIT
/* From registers to a reading: two's complement, IEEE 754 binary32, scales, sentinels and ranges. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <float.h>
#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "soakledger/channel.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static const struct channel_fitting plain = {.function = 4, .low = INT64_MIN, .high = INT64_MAX};

static struct reading decode(const struct channel_fitting *fitting, uint16_t first, uint16_t second) {
    /* As long as the encoding says and no longer, so that a sanitizer sees a read beyond it. */
    const uint16_t pair[2] = {first, second}, single[1] = {first};
    struct reading reading = {.t_ms = 77, .channel_id = 5, .value = -1, .quality = QUALITY_STALE};

    channel_decode(fitting, channel_count_registers(fitting->encoding) == 2 ? pair : single, &reading);
    assert_int_equal(reading.t_ms, 77);
    assert_int_equal(reading.channel_id, 5);
    return reading;
}

static void expect_good(const struct channel_fitting *fitting, uint16_t first, uint16_t second, int64_t value) {
    const struct reading reading = decode(fitting, first, second);

    assert_int_equal(reading.quality, QUALITY_GOOD);
    assert_int_equal(reading.value, value);
}

static void expect_bad(const struct channel_fitting *fitting, uint16_t first, uint16_t second,
                       enum quality quality) {
    const struct reading reading = decode(fitting, first, second);

    assert_int_equal(reading.quality, quality);
    assert_int_equal(reading.value, 0);
}

static void one_register(void **state) {
    struct channel_fitting fitting = plain;

    (void)state;
    fitting.encoding = ENCODING_INT16;
    assert_int_equal(channel_count_registers(ENCODING_INT16), 1);
    expect_good(&fitting, 0, 0, 0);
    expect_good(&fitting, 0x7FFF, 0, 32767000);
    expect_good(&fitting, 0x8000, 0, -32768000);
    expect_good(&fitting, 0xFFFF, 0, -1000);
    fitting.encoding = ENCODING_UINT16;
    assert_int_equal(channel_count_registers(ENCODING_UINT16), 1);
    expect_good(&fitting, 0x8000, 0, 32768000);
    expect_good(&fitting, 0xFFFF, 0, 65535000);
    /* MODBUS application protocol V1.1b3, 6.3: the register 02 2B holds 555 */
    expect_good(&fitting, 0x022B, 0, 555000);
}

static void two_registers_in_both_orders(void **state) {
    struct channel_fitting fitting = plain;

    (void)state;
    fitting.encoding = ENCODING_INT32;
    assert_int_equal(channel_count_registers(ENCODING_INT32), 2);
    expect_good(&fitting, 0x0001, 0x0002, INT64_C(65538000));
    expect_good(&fitting, 0xFFFF, 0xFFFE, -2000);
    expect_good(&fitting, 0x8000, 0x0000, INT64_C(-2147483648000));
    fitting.word_order = WORD_LOW_FIRST;
    expect_good(&fitting, 0x0001, 0x0002, INT64_C(131073000));
    expect_good(&fitting, 0xFFFE, 0xFFFF, -2000);
    fitting.encoding = ENCODING_UINT32;
    assert_int_equal(channel_count_registers(ENCODING_UINT32), 2);
    expect_good(&fitting, 0x0000, 0x8000, INT64_C(2147483648000));
    fitting.word_order = WORD_HIGH_FIRST;
    expect_good(&fitting, 0xFFFF, 0xFFFF, INT64_C(4294967295000));
}

/* Patterns worked out by hand from the definition of binary32 in IEEE 754: sign, exponent with bias 127, fraction.
 */
static void floats_follow_ieee_754(void **state) {
    struct channel_fitting fitting = plain;

    (void)state;
    fitting.encoding = ENCODING_FLOAT32;
    assert_int_equal(channel_count_registers(ENCODING_FLOAT32), 2);
    expect_good(&fitting, 0x4148, 0x0000, 12500);              // 1.1001b * 2^3 = 12.5
    expect_good(&fitting, 0xC148, 0x0000, -12500);             //
    expect_good(&fitting, 0x3F80, 0x0000, 1000);               // 1
    expect_good(&fitting, 0x4448, 0xA000, 802500);             // 1.10010001010b * 2^9 = 802.5
    expect_good(&fitting, 0x0000, 0x0000, 0);                  //
    expect_good(&fitting, 0x8000, 0x0000, 0);                  // -0
    expect_good(&fitting, 0x0000, 0x0001, 0);                  // the smallest above 0, 2^-149
    expect_good(&fitting, 0x3A00, 0x0000, 0);                  // 2^-11 = 0.488 thousandths
    expect_good(&fitting, 0x3A03, 0x126F, 1);                  // just above 0.5 thousandths
    expect_good(&fitting, 0x3A03, 0x126E, 0);                  // just below
    expect_bad(&fitting, 0x7F80, 0x0000, QUALITY_OPEN_SENSOR); // infinity
    expect_bad(&fitting, 0xFF80, 0x0000, QUALITY_OPEN_SENSOR); // -infinity
    expect_bad(&fitting, 0x7FC0, 0x0000, QUALITY_OPEN_SENSOR); // a quiet NaN
    expect_bad(&fitting, 0x7F80, 0x0001, QUALITY_OPEN_SENSOR); // a signalling NaN
    expect_bad(&fitting, 0xFFFF, 0xFFFF, QUALITY_OPEN_SENSOR); // another NaN
    expect_bad(&fitting, 0x7F7F, 0xFFFF, QUALITY_OVER_RANGE);  // the largest number
    expect_bad(&fitting, 0xFF7F, 0xFFFF, QUALITY_UNDER_RANGE); // and its opposite
    fitting.word_order = WORD_LOW_FIRST;
    expect_good(&fitting, 0x0000, 0x4148, 12500);
    expect_bad(&fitting, 0x0000, 0x7FC0, QUALITY_OPEN_SENSOR);
}

static void decimals_scale_once(void **state) {
    static const int64_t values[] = {
        // of the raw value 12345, for -3 .. 6 decimals, in thousandths
        INT64_C(12345000000), 1234500000, 123450000, 12345000, 1234500, 123450, 12345, 1235, 123, 12};
    struct channel_fitting fitting = plain;

    (void)state;
    for (int decimals = -3; decimals <= 6; decimals++) {
        fitting.decimals = decimals;
        expect_good(&fitting, 12345, 0, values[decimals + 3]);
    }
    fitting.decimals = 4; // 12345 and 12355 ten-thousandths: halves go away from zero
    expect_good(&fitting, 12355, 0, 1236);
    expect_good(&fitting, (uint16_t)-12345, 0, -1235);
    fitting.encoding = ENCODING_FLOAT32;
    fitting.decimals = 1;
    expect_good(&fitting, 0x45FA, 0xC800, 802500); // 8025
    fitting.decimals = -3;
    expect_bad(&fitting, 0x7F7F, 0xFFFF, QUALITY_OVER_RANGE);
}

/* The fixed points of the scales, by definition. */
static void fahrenheit_is_converted_exactly_once(void **state) {
    struct channel_fitting fitting = plain;

    (void)state;
    fitting.unit = CHANNEL_FAHRENHEIT;
    expect_good(&fitting, 32, 0, 0);
    expect_good(&fitting, 212, 0, 100000);
    expect_good(&fitting, (uint16_t)-40, 0, -40000);
    expect_good(&fitting, 1750, 0, 954444); // 1718 * 5 / 9 = 954.444...
    fitting.decimals = 1;
    expect_good(&fitting, 2120, 0, 100000);
    expect_good(&fitting, 321, 0, 56); // 0.1 * 5 / 9 = 0.0555...
    /* 32.0009 °F is half a thousandth of °C; rounding to thousandths of °F first would lose nothing here, but
     * 32.00085 °F, 0.472 thousandths, would become 32.001 °F and then 1. */
    fitting.encoding = ENCODING_INT32;
    fitting.decimals = 5;
    expect_good(&fitting, (uint16_t)(3200085 >> 16), (uint16_t)(3200085 & 0xFFFF), 0);
    expect_good(&fitting, (uint16_t)(3200090 >> 16), (uint16_t)(3200090 & 0xFFFF), 1);
    fitting.decimals = 0;
    fitting.encoding = ENCODING_FLOAT32;
    expect_good(&fitting, 0x4354, 0x0000, 100000); // 212
}

static void sentinels_are_checked_before_the_scale(void **state) {
    struct channel_fitting fitting = plain;

    (void)state;
    fitting.decimals = 1;
    fitting.open_count = 3;
    fitting.open_raw[0] = 32767;
    fitting.open_raw[1] = -1;
    fitting.open_raw[2] = 9999;
    fitting.open_raw[3] = 5; // not counted
    expect_bad(&fitting, 0x7FFF, 0, QUALITY_OPEN_SENSOR);
    expect_bad(&fitting, 0xFFFF, 0, QUALITY_OPEN_SENSOR);
    expect_bad(&fitting, 9999, 0, QUALITY_OPEN_SENSOR);
    expect_good(&fitting, 5, 0, 500);
    expect_good(&fitting, 0x7FFE, 0, 3276600);
    expect_good(&fitting, (uint16_t)-10, 0, -1000); // -1.0 after the scale is not the raw -1
    fitting.encoding = ENCODING_UINT16;
    expect_good(&fitting, 0xFFFF, 0, 6553500); // 65535 is not -1
    fitting.encoding = ENCODING_FLOAT32;
    expect_bad(&fitting, 0x461C, 0x3C00, QUALITY_OPEN_SENSOR); // 9999
    expect_good(&fitting, 0x461C, 0x3C01, 999900);             // the next float
    /* an open sensor is said to be one even where its value would be out of range */
    fitting.high = 0;
    expect_bad(&fitting, 0x461C, 0x3C00, QUALITY_OPEN_SENSOR);
}

static void values_beyond_the_range_are_not_good(void **state) {
    struct channel_fitting fitting = plain;

    (void)state;
    fitting.low = -50000;
    fitting.high = 1400000;
    expect_good(&fitting, 1400, 0, 1400000);
    expect_bad(&fitting, 1401, 0, QUALITY_OVER_RANGE);
    expect_good(&fitting, (uint16_t)-50, 0, -50000);
    expect_bad(&fitting, (uint16_t)-51, 0, QUALITY_UNDER_RANGE);
    fitting.unit = CHANNEL_FAHRENHEIT; // the range is in °C all the same
    expect_good(&fitting, 2552, 0, 1400000);
    expect_bad(&fitting, 2553, 0, QUALITY_OVER_RANGE);
}

/* Random patterns against the compiler's own float and double arithmetic, which is exact enough to tell which
 * thousandth is nearest unless the value lies within its own error of a half. */
static void random_floats_agree_with_the_machine(void **state) {
    uint64_t random = UINT64_C(20261116);
    int good = 0;

    (void)state;
    assert_int_equal(FLT_MANT_DIG, 24); // the machine's float is binary32
    print_message("seed %llu\n", (unsigned long long)random);
    for (int i = 0; i < 200000; i++) {
        struct channel_fitting fitting = plain;
        struct reading reading;
        uint32_t pattern;
        float number;
        double thousandths;
        bool fahrenheit;

        random ^= random << 13, random ^= random >> 7, random ^= random << 17;
        pattern = (uint32_t)(random >> 16);
        if (i % 2 == 0) // half of them of a size that temperatures have
            pattern = (pattern & 0x807FFFFF) | (uint32_t)(120 + pattern % 20) << 23;
        fahrenheit = (random >> 50 & 1) != 0;
        fitting.encoding = ENCODING_FLOAT32;
        fitting.unit = fahrenheit ? CHANNEL_FAHRENHEIT : CHANNEL_CELSIUS;
        fitting.decimals = (int)(random >> 52) % 10 - 3;
        fitting.low = INT64_C(-1000000000000);
        fitting.high = INT64_C(1000000000000);
        memcpy(&number, &pattern, sizeof number);
        reading = decode(&fitting, (uint16_t)(pattern >> 16), (uint16_t)(pattern & 0xFFFF));
        if (!isfinite(number)) {
            assert_int_equal(reading.quality, QUALITY_OPEN_SENSOR);
            continue;
        }
        thousandths = (double)number * pow(10, 3 - fitting.decimals);
        if (fahrenheit)
            thousandths = (thousandths - 32000) / 1.8;
        if (reading.quality == QUALITY_OVER_RANGE)
            assert_true(thousandths > 0.999999e12);
        else if (reading.quality == QUALITY_UNDER_RANGE)
            assert_true(thousandths < -0.999999e12);
        else
            assert_true(fabs(thousandths - (double)reading.value) <= 0.5 + fabs(thousandths) * 1e-14);
        good += reading.quality == QUALITY_GOOD;
    }
    assert_true(good > 100000);
}

static void random_integers_agree_with_long_arithmetic(void **state) {
    uint64_t random = UINT64_C(20261117);

    (void)state;
    print_message("seed %llu\n", (unsigned long long)random);
    for (int i = 0; i < 200000; i++) {
        struct channel_fitting fitting = plain;
        long double expected;
        uint32_t pattern;
        struct reading reading;

        random ^= random << 13, random ^= random >> 7, random ^= random << 17;
        pattern = (uint32_t)(random >> 16);
        fitting.encoding = (enum encoding)(random % 4);
        fitting.decimals = (int)(random >> 52) % 10 - 3;
        switch (fitting.encoding) { // the compiler's own two's complement
        case ENCODING_INT16: expected = (int16_t)(pattern >> 16); break;
        case ENCODING_UINT16: expected = (uint16_t)(pattern >> 16); break;
        case ENCODING_INT32: expected = (int32_t)pattern; break;
        default: expected = pattern; break;
        }
        reading = decode(&fitting, (uint16_t)(pattern >> 16), (uint16_t)(pattern & 0xFFFF));
        expected = fitting.decimals > 3 ? expected / powl(10, fitting.decimals - 3)
                                        : expected * powl(10, 3 - fitting.decimals);
        assert_int_equal(reading.quality, QUALITY_GOOD);
        assert_int_equal(reading.value, (int64_t)roundl(expected));
    }
}

static void roles_and_encodings_have_names(void **state) {
    static const char *const roles[ROLE_COUNT] = {"control", "load", "setpoint",   "output",   "ambient",
                                                  "quench",  "cold", "high-limit", "reference"};
    static const char *const encodings[] = {"int16", "uint16", "int32", "uint32", "float32"};

    (void)state;
    for (int i = 0; i < ROLE_COUNT; i++)
        assert_string_equal(channel_role_name((enum channel_role)i), roles[i]);
    for (size_t i = 0; i < COUNT(encodings); i++)
        assert_string_equal(channel_encoding_name((enum encoding)i), encodings[i]);
}

/* Digits without end, and all the places that a unit and decimals can add: found by fuzzing. */
static void numbers_of_many_places_are_small_not_wrong(void **state) {
    static const struct {
        struct channel_decimal decimal;
        int decimals;
        int64_t celsius, fahrenheit; // °F: (x - 32) * 5 / 9, in thousandths
    } cases[] = {
        {{999999999999999999, CHANNEL_EXPONENT_LEAST}, 6, 0, -17778},
        {{-999999999999999999, CHANNEL_EXPONENT_LEAST}, -3, 0, -17778},
        {{212000000000000000, -15}, 0, 212000, 100000},
        {{500000000000000000, -19}, 2, 1, -17778}, // half a thousandth goes away from zero, on both scales
        {{499999999999999999, -19}, 2, 0, -17778},
        {{212000000000000000, -21}, -3, 212, -17660}, // 0.000212 thousands
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct channel_fitting fitting = {.decimals = cases[i].decimals, .low = -1000000, .high = 1000000};
        struct reading reading = {0};

        channel_decode_decimal(&fitting, &cases[i].decimal, &reading);
        assert_int_equal(reading.quality, QUALITY_GOOD);
        assert_int_equal(reading.value, cases[i].celsius);
        fitting.unit = CHANNEL_FAHRENHEIT;
        channel_decode_decimal(&fitting, &cases[i].decimal, &reading);
        assert_int_equal(reading.value, cases[i].fahrenheit);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_register),
        cmocka_unit_test(two_registers_in_both_orders),
        cmocka_unit_test(floats_follow_ieee_754),
        cmocka_unit_test(decimals_scale_once),
        cmocka_unit_test(numbers_of_many_places_are_small_not_wrong),
        cmocka_unit_test(fahrenheit_is_converted_exactly_once),
        cmocka_unit_test(sentinels_are_checked_before_the_scale),
        cmocka_unit_test(values_beyond_the_range_are_not_good),
        cmocka_unit_test(random_floats_agree_with_the_machine),
        cmocka_unit_test(random_integers_agree_with_long_arithmetic),
        cmocka_unit_test(roles_and_encodings_have_names),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
