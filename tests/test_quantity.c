// SPDX-License-Identifier: MIT
/* Numbers with units. The fixed points are definitions; the calendar is held against the C library's and against
 * figures of GNU date; the grammar is held against regular expressions on random text. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <regex.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "soakledger/quantity.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))
#define SEED         UINT64_C(20261116)

/* xorshift64 (Marsaglia 2003, from memory): enough to scatter test inputs, the same on every machine. */
static uint64_t random_next(uint64_t *state) {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

static int64_t random_within(uint64_t *state, int64_t least, int64_t most) {
    return least + (int64_t)(random_next(state) % (uint64_t)(most - least + 1));
}

typedef int parser(const char *text, int64_t *value, struct fault *fault);

struct example {
    parser *parse;
    const char *text;
    int64_t value;
};

static int parse_span_low(const char *text, int64_t *value, struct fault *fault) {
    int64_t high;

    return quantity_parse_span(text, value, &high, fault);
}

static int parse_span_high(const char *text, int64_t *value, struct fault *fault) {
    int64_t low;

    return quantity_parse_span(text, &low, value, fault);
}

static int parse_small_integer(const char *text, int64_t *value, struct fault *fault) {
    return quantity_parse_integer(text, -3, 247, value, fault);
}

static int parse_any_integer(const char *text, int64_t *value, struct fault *fault) {
    return quantity_parse_integer(text, INT64_MIN, INT64_MAX, value, fault);
}

static void check_examples(const struct example *examples, size_t count) {
    for (size_t i = 0; i < count; i++) {
        struct fault fault = {0, "(untouched)"};
        int64_t value = 123456789;

        if (examples[i].parse(examples[i].text, &value, &fault) != 0)
            fail_msg("'%s' was refused: %s", examples[i].text, fault.text);
        if (value != examples[i].value)
            fail_msg("'%s' gave %lld, expected %lld", examples[i].text, (long long)value,
                     (long long)examples[i].value);
        assert_string_equal(fault.text, "(untouched)");
    }
}

/* Water freezes at 32 °F and boils at 212 °F, the scales meet at -40, absolute zero is 0 K = -273.15 °C = -459.67
 * °F: all by definition of the scales. */
static void temperatures_meet_the_fixed_points(void **state) {
    static const struct example examples[] = {
        {quantity_parse_temperature, "32 F", 0},
        {quantity_parse_temperature, "212 F", 100000},
        {quantity_parse_temperature, "-40 F", -40000},
        {quantity_parse_temperature, "-40 C", -40000},
        {quantity_parse_temperature, "0 K", -273150},
        {quantity_parse_temperature, "-459.67 F", -273150},
        {quantity_parse_temperature, "273.15 K", 0},
        {quantity_parse_temperature, "1227.15 K", 954000},
        {quantity_parse_temperature, "1750 F", 954444}, // 1718 * 5 / 9 = 954.444...
        {quantity_parse_temperature, "954 C", 954000},
        {quantity_parse_temperature, "954 °C", 954000},
        {quantity_parse_temperature, "954°C", 954000},
        {quantity_parse_temperature, "+954.125C", 954125},
        {quantity_parse_temperature, "1750\t°F", 954444},
        {quantity_parse_temperature, "3000 C", 3000000},
        {quantity_parse_temperature, "000000000000000954 C", 954000},
    };

    (void)state;
    check_examples(examples, COUNT(examples));
}

static void halves_round_away_from_zero(void **state) {
    static const struct example examples[] = {
        {quantity_parse_temperature, "0.0005 C", 1},
        {quantity_parse_temperature, "-0.0005 C", -1},
        {quantity_parse_temperature, "0.00049999999999999 F", -17778},
        {quantity_parse_temperature, "0.00049999999999999 C", 0},
        {quantity_parse_temperature, "32.0009 F", 1},     // 0.0005 °C exactly
        {quantity_parse_temperature, "31.9991 F", -1},    //
        {quantity_parse_temperature, "32.00089999 F", 0}, // just less
        {quantity_parse_difference, "0.0009 F", 1},
        {quantity_parse_duration, "0.0005 s", 1},
        {quantity_parse_duration, "0.00049 s", 0},
        {quantity_parse_rate, "0.0005 C/h", 1},
    };

    (void)state;
    check_examples(examples, COUNT(examples));
}

static void differences_have_no_zero_point(void **state) {
    static const struct example examples[] = {
        {quantity_parse_difference, "18 F", 10000}, {quantity_parse_difference, "8 C", 8000},
        {quantity_parse_difference, "8 K", 8000},   {quantity_parse_difference, "0 F", 0},
        {quantity_parse_difference, "15 °F", 8333}, {quantity_parse_difference, "3000 C", 3000000},
    };

    (void)state;
    check_examples(examples, COUNT(examples));
}

static void durations_and_rates(void **state) {
    static const struct example examples[] = {
        {quantity_parse_duration, "300 ms", 300},
        {quantity_parse_duration, "1 s", 1000},
        {quantity_parse_duration, "30 min", 1800000},
        {quantity_parse_duration, "2 h", 7200000},
        {quantity_parse_duration, "3 d", 259200000},
        {quantity_parse_duration, "2 h 30 min", 9000000},
        {quantity_parse_duration, "2h30min", 9000000},
        {quantity_parse_duration, "1 d 2 h 3 min 4 s 5 ms", 93784005},
        {quantity_parse_duration, "1.5 h", 5400000},
        {quantity_parse_duration, "1 min 0.5 s", 60500},
        {quantity_parse_duration, "1000 d", INT64_C(86400000000)},
        {quantity_parse_duration, "0 min", 0},
        {quantity_parse_rate, "280 C/h", 280000},
        {quantity_parse_rate, "500 F/h", 277778}, // 500 * 5 / 9 = 277.7777...
        {quantity_parse_rate, "10 C/min", 600000},
        {quantity_parse_rate, "2 C/s", 7200000},
        {quantity_parse_rate, "9 °F/min", 300000},
        {quantity_parse_rate, "1 K/h", 1000},
    };

    (void)state;
    check_examples(examples, COUNT(examples));
}

static void spans_and_integers(void **state) {
    static const struct example examples[] = {
        {parse_span_low, "200 C .. 700 C", 200000},
        {parse_span_high, "200 C .. 700 C", 700000},
        {parse_span_low, "-50.5 C..1400 C", -50500},
        {parse_span_high, "0 C .. 212 F", 100000},
        {parse_small_integer, "247", 247},
        {parse_small_integer, "-3", -3},
        {parse_small_integer, "+7", 7},
        {parse_small_integer, "007", 7},
        {parse_any_integer, "9223372036854775807", INT64_MAX},
        {parse_any_integer, "-9223372036854775808", INT64_MIN},
    };

    (void)state;
    check_examples(examples, COUNT(examples));
}

/* Seconds as printed by GNU date 9.1: date -u -d '...' +%s. */
static void moments_agree_with_date(void **state) {
    static const struct example examples[] = {
        {quantity_parse_time, "2026-11-16T07:30:00Z", INT64_C(1794814200000)},
        {quantity_parse_time, "2026-11-16 07:30", INT64_C(1794814200000)},
        {quantity_parse_time, "2026-11-16 07:30:00", INT64_C(1794814200000)},
        {quantity_parse_time, "2026-11-16 07:30Z", INT64_C(1794814200000)},
        {quantity_parse_time, "2026-11-16T07:30Z", INT64_C(1794814200000)},
        {quantity_parse_time, "2000-02-29", INT64_C(951782400000)},
        {quantity_parse_time, "1900-03-01", INT64_C(-2203891200000)},
        {quantity_parse_time, "0001-01-01", INT64_C(-62135596800000)},
        {quantity_parse_time, "9999-12-31T23:59:59Z", INT64_C(253402300799000)},
        {quantity_parse_time, "1969-12-31T23:59:59Z", -1000},
        {quantity_parse_time, "2100-03-01", INT64_C(4107542400000)},
        {quantity_parse_time, "1600-02-29T12:34:56Z", INT64_C(-11670953104000)},
    };

    (void)state;
    check_examples(examples, COUNT(examples));
}

static void moments_agree_with_the_c_library(void **state) {
    uint64_t seed = SEED;

    (void)state;
    print_message("seed %llu\n", (unsigned long long)SEED);
    for (int i = 0; i < 20000; i++) {
        time_t t = (time_t)random_within(&seed, INT64_C(-62135596800), INT64_C(253402300799));
        char text[QUANTITY_TEXT_BYTES], expected[QUANTITY_TEXT_BYTES];
        struct fault fault;
        struct tm tm;
        int64_t t_ms;

        assert_non_null(gmtime_r(&t, &tm));
        snprintf(expected, sizeof expected, "%04d-%02d-%02d %02d:%02d:%02d", tm.tm_year + 1900, tm.tm_mon + 1,
                 tm.tm_mday, tm.tm_hour, tm.tm_min, tm.tm_sec);
        assert_string_equal(quantity_format_time(t * 1000 + random_within(&seed, 0, 999), 0, text), expected);
        assert_int_equal(quantity_parse_time(expected, &t_ms, &fault), 0);
        assert_int_equal(t_ms, (int64_t)timegm(&tm) * 1000);
    }
}

static void times_are_shown_with_their_offset(void **state) {
    char out[QUANTITY_TEXT_BYTES];

    (void)state;
    assert_string_equal(quantity_format_time(0, 0, out), "1970-01-01 00:00:00");
    assert_string_equal(quantity_format_time(0, 60, out), "1970-01-01 01:00:00");
    assert_string_equal(quantity_format_time(0, -30, out), "1969-12-31 23:30:00");
    assert_string_equal(quantity_format_time(-1, 0, out), "1969-12-31 23:59:59");
    assert_string_equal(quantity_format_time(INT64_C(951782399999), 1, out), "2000-02-29 00:00:59");
    /* The ends of 64 bits of ms: GNU date -u -d @9223372036854775 and @-9223372036854776. */
    assert_string_equal(quantity_format_time(INT64_MAX, 0, out), "292278994-08-17 07:12:55");
    assert_string_equal(quantity_format_time(INT64_MIN, 0, out), "-292275055-05-16 16:47:04");
}

struct refusal {
    parser *parse;
    const char *text;
    const char *message; // whole, or its beginning
};

static void refusals_quote_and_say_what_was_expected(void **state) {
    static const struct refusal refusals[] = {
        {quantity_parse_temperature, "954", "'954' has no unit: expected a temperature such as 954 C or 1750 F"},
        {quantity_parse_temperature, "", "'' has no number: expected a temperature"},
        {quantity_parse_temperature, "C", "'C' has something other than a number in front: expected"},
        {quantity_parse_temperature, " 954 C", "' 954 C' has something other"},
        {quantity_parse_temperature, "954 C ", "'954 C ' does not end in a known unit"},
        {quantity_parse_temperature, "954 c", "'954 c' does not end in a known unit"},
        {quantity_parse_temperature, "954 C 3", "'954 C 3' does not end in a known unit"},
        {quantity_parse_temperature, "954 X", "'954 X' does not end in a known unit"},
        {quantity_parse_temperature, "9.5e2 C", "'9.5e2 C' does not end in a known unit"},
        {quantity_parse_temperature, "0x10 C", "'0x10 C' does not end in a known unit"},
        {quantity_parse_temperature, "9,5 C", "'9,5 C' does not end in a known unit"},
        {quantity_parse_temperature, "nan C", "'nan C' has something other"},
        {quantity_parse_temperature, "inf C", "'inf C' has something other"},
        {quantity_parse_temperature, ".5 C", "'.5 C' has something other"},
        {quantity_parse_temperature, "5. C", "'5. C' has no digit behind the point"},
        {quantity_parse_temperature, "5.5.5 C", "'5.5.5 C' does not end in a known unit"},
        {quantity_parse_temperature, "--5 C", "'--5 C' has something other"},
        {quantity_parse_temperature, "- 5 C", "'- 5 C' has something other"},
        {quantity_parse_temperature, "-273.151 C", "'-273.151 C' is not within -273.15 C to 3000 C"},
        {quantity_parse_temperature, "3000.001 C", "'3000.001 C' is not within"},
        {quantity_parse_temperature, "-0.001 K", "'-0.001 K' is not within"},
        {quantity_parse_temperature, "999999999999999999 C", "'999999999999999999 C' is not within"},
        {quantity_parse_temperature, "1000000000000000000 C", "'1000000000000000000 C' has more than 18 digits"},
        {quantity_parse_temperature, "954\nC", "'954?C' does not end"},
        {quantity_parse_difference, "-1 C",
         "'-1 C' is negative: expected a difference of temperatures, zero or more"},
        {quantity_parse_difference, "8", "'8' has no unit: expected a difference"},
        {quantity_parse_difference, "8 %", "'8 %' does not end"},
        {quantity_parse_difference, "3000.001 C", "'3000.001 C' is more than 3000 C"},
        {quantity_parse_duration, "30", "'30' has no unit: expected a duration such as"},
        {quantity_parse_duration, "-1 s", "'-1 s' is negative"},
        {quantity_parse_duration, "30 m", "'30 m' does not end"},
        {quantity_parse_duration, "30 min 2 h", "'30 min 2 h' is not a sum in falling order"},
        {quantity_parse_duration, "1 h 1 h", "'1 h 1 h' is not a sum in falling order"},
        {quantity_parse_duration, "1.5 h 20 min", "'1.5 h 20 min' has a fraction before its last part"},
        {quantity_parse_duration, "1 h and", "'1 h and' has something other"},
        {quantity_parse_duration, "1 h ", "'1 h ' ends in white space"},
        {quantity_parse_duration, "1000 d 1 ms", "'1000 d 1 ms' is more than 1000 d"},
        {quantity_parse_duration, "1 h -5 min", "'1 h -5 min' has something other"},
        {quantity_parse_rate, "280 C", "'280 C' does not end in a known unit: expected a rate"},
        {quantity_parse_rate, "280", "'280' has no unit"},
        {quantity_parse_rate, "-1 C/h", "'-1 C/h' is negative"},
        {quantity_parse_rate, "280 C/d", "'280 C/d' does not end"},
        {quantity_parse_rate, "280 C/", "'280 C/' does not end"},
        {quantity_parse_rate, "280 C / h", "'280 C / h' does not end"},
        {quantity_parse_rate, "3001 C/s", "'3001 C/s' is more than 3000 C/s"},
        {parse_span_low, "200 C", "'200 C' has no '..': expected two temperatures, the lower one first"},
        {parse_span_low, "200 .. 700 C", "'200 .. 700 C' has no unit"},
        {parse_span_low, "700 C .. 200 C", "'700 C .. 200 C' does not rise"},
        {parse_span_low, "200 C .. 200 C", "'200 C .. 200 C' does not rise"},
        {parse_span_low, "200 C ... 700 C", "'200 C ... 700 C' has something other"},
        {parse_span_low, ".. 700 C", "'.. 700 C' has no number"},
        {parse_small_integer, "248", "'248' is out of range: expected a whole number from -3 to 247"},
        {parse_small_integer, "-4", "'-4' is out of range"},
        {parse_small_integer, "1.0", "'1.0' is not a whole number"},
        {parse_small_integer, "", "'' is not a whole number"},
        {parse_small_integer, "0x1", "'0x1' is not a whole number"},
        {parse_small_integer, "1 ", "'1 ' is not a whole number"},
        {parse_any_integer, "9223372036854775808", "'9223372036854775808' is out of range"},
        {parse_any_integer, "-9223372036854775809", "'-9223372036854775809' is out of range"},
        {parse_any_integer, "99999999999999999999999999999999999999999999", "'9999999999999999999999999"},
        {quantity_parse_time, "2026-02-29", "'2026-02-29' is not a moment: expected a moment in UTC such as"},
        {quantity_parse_time, "1900-02-29", "'1900-02-29' is not"},
        {quantity_parse_time, "2026-13-01", "'2026-13-01' is not"},
        {quantity_parse_time, "2026-00-01", "'2026-00-01' is not"},
        {quantity_parse_time, "2026-04-31", "'2026-04-31' is not"},
        {quantity_parse_time, "2026-4-3", "'2026-4-3' is not"},
        {quantity_parse_time, "26-04-03", "'26-04-03' is not"},
        {quantity_parse_time, "2026-11-16T07:30:00", "'2026-11-16T07:30:00' is not"}, // local time
        {quantity_parse_time, "2026-11-16T24:00:00Z", "'2026-11-16T24:00:00Z' is not"},
        {quantity_parse_time, "2026-11-16T07:60:00Z", "'2026-11-16T07:60:00Z' is not"},
        {quantity_parse_time, "2026-11-16T07:30:60Z", "'2026-11-16T07:30:60Z' is not"},
        {quantity_parse_time, "2026-11-16T07:30:00Zx", "'2026-11-16T07:30:00Zx' is not"},
        {quantity_parse_time, "2026-11-16 ", "'2026-11-16 ' is not"},
        {quantity_parse_time, "2026-11-16\n", "'2026-11-16?' is not"},
        {quantity_parse_time, "", "'' is not"},
    };

    (void)state;
    for (size_t i = 0; i < COUNT(refusals); i++) {
        const struct refusal *refusal = &refusals[i];
        struct fault fault = {0, ""};
        int64_t value = 123456789;

        if (refusal->parse(refusal->text, &value, &fault) != -1)
            fail_msg("'%s' was taken as %lld", refusal->text, (long long)value);
        if (strncmp(fault.text, refusal->message, strlen(refusal->message)) != 0)
            fail_msg("'%s' was refused with \"%s\", expected \"%s\"", refusal->text, fault.text, refusal->message);
        assert_int_equal(fault.status, EX_DATAERR);
        assert_non_null(strstr(fault.text, ": expected "));
        assert_int_equal(value, 123456789);
    }
}

static void a_long_text_is_quoted_in_part_between_characters(void **state) {
    char text[400] = "";
    struct fault fault;
    int64_t value;
    const char *cut;

    (void)state;
    for (size_t shift = 0; shift < 2; shift++) {
        memset(text, 'x', shift);
        for (size_t i = shift; i + 3 < sizeof text; i += 2)
            memcpy(text + i, "°", sizeof "°");
        assert_int_equal(quantity_parse_temperature(text, &value, &fault), -1);
        cut = strstr(fault.text, "...'");
        assert_non_null(cut);
        assert_memory_equal(cut - 2, "°", 2);
    }
}

static void conversions_both_ways(void **state) {
    uint64_t seed = SEED;

    (void)state;
    assert_int_equal(quantity_celsius_from_fahrenheit(32000), 0);
    assert_int_equal(quantity_celsius_from_fahrenheit(212000), 100000);
    assert_int_equal(quantity_celsius_from_fahrenheit(-40000), -40000);
    assert_int_equal(quantity_fahrenheit_from_celsius(0), 32000);
    assert_int_equal(quantity_fahrenheit_from_celsius(100000), 212000);
    assert_int_equal(quantity_fahrenheit_from_celsius(-40000), -40000);
    assert_int_equal(quantity_fahrenheit_from_celsius(INT64_MAX), INT64_MAX);
    assert_int_equal(quantity_fahrenheit_from_celsius(INT64_MIN), INT64_MIN);
    assert_true(quantity_celsius_from_fahrenheit(INT64_MIN) < 0);
    for (int i = 0; i < 100000; i++) {
        const int64_t t = random_within(&seed, -273150, 3000000);
        const int64_t there = quantity_fahrenheit_from_celsius(t);

        /* 5 * (f - 32) = 9 * c to half a thousandth of °F, which is 5/2 and 9/2 on this scale */
        assert_in_range((uint64_t)llabs(5 * (there - 32000) - 9 * t), 0, 2);
        assert_int_equal(quantity_celsius_from_fahrenheit(there), t);
        assert_in_range((uint64_t)llabs(9 * quantity_celsius_from_fahrenheit(t) - 5 * (t - 32000)), 0, 4);
    }
}

static void formats(void **state) {
    char out[QUANTITY_TEXT_BYTES];

    (void)state;
    assert_string_equal(quantity_format_temperature(805300, UNIT_CELSIUS, 1, out), "805.3 °C");
    assert_string_equal(quantity_format_temperature(805350, UNIT_CELSIUS, 1, out), "805.4 °C");
    assert_string_equal(quantity_format_temperature(-805350, UNIT_CELSIUS, 1, out), "-805.4 °C");
    assert_string_equal(quantity_format_temperature(805349, UNIT_CELSIUS, 1, out), "805.3 °C");
    assert_string_equal(quantity_format_temperature(-49, UNIT_CELSIUS, 1, out), "0.0 °C");
    assert_string_equal(quantity_format_temperature(805007, UNIT_CELSIUS, 3, out), "805.007 °C");
    assert_string_equal(quantity_format_temperature(805500, UNIT_CELSIUS, 0, out), "806 °C");
    assert_string_equal(quantity_format_temperature(100000, UNIT_FAHRENHEIT, 0, out), "212 °F");
    assert_string_equal(quantity_format_temperature(-40000, UNIT_FAHRENHEIT, 2, out), "-40.00 °F");
    /* 1472.6498 °F: rounding to thousandths first would give 1472.650, then 1472.7 */
    assert_string_equal(quantity_format_temperature(800361, UNIT_FAHRENHEIT, 1, out), "1472.6 °F");
    assert_string_equal(quantity_format_difference(3200, UNIT_CELSIUS, 1, 1, out), "+3.2 °C");
    assert_string_equal(quantity_format_difference(3200, UNIT_CELSIUS, 1, 0, out), "3.2 °C");
    assert_string_equal(quantity_format_difference(-3200, UNIT_CELSIUS, 1, 0, out), "-3.2 °C");
    assert_string_equal(quantity_format_difference(0, UNIT_CELSIUS, 1, 1, out), "+0.0 °C");
    assert_string_equal(quantity_format_difference(10000, UNIT_FAHRENHEIT, 0, 1, out), "+18 °F");
    assert_string_equal(quantity_format_rate(412000, UNIT_CELSIUS, out), "412 °C/h");
    assert_string_equal(quantity_format_rate(-412500, UNIT_CELSIUS, out), "-413 °C/h");
    assert_string_equal(quantity_format_rate(100000, UNIT_FAHRENHEIT, out), "180 °F/h");
    assert_string_equal(quantity_format_temperature(INT64_MAX, UNIT_CELSIUS, 3, out), "9223372036854775.807 °C");
    assert_string_equal(quantity_format_temperature(INT64_MIN, UNIT_CELSIUS, 3, out), "-9223372036854775.808 °C");
    assert_string_equal(quantity_format_temperature(INT64_MAX, UNIT_FAHRENHEIT, 3, out),
                        "16602069666338628.453 °F");
}

static void durations_never_round_up(void **state) {
    char out[QUANTITY_TEXT_BYTES];

    (void)state;
    assert_string_equal(quantity_format_duration(920000, out), "15 min 20 s");
    assert_string_equal(quantity_format_duration(7500000, out), "2 h 05 min");
    assert_string_equal(quantity_format_duration(905000, out), "15 min 05 s");
    assert_string_equal(quantity_format_duration(850, out), "850 ms");
    assert_string_equal(quantity_format_duration(0, out), "0 s");
    assert_string_equal(quantity_format_duration(899999, out), "14 min 59 s");
    assert_string_equal(quantity_format_duration(900000, out), "15 min");
    assert_string_equal(quantity_format_duration(900999, out), "15 min");
    assert_string_equal(quantity_format_duration(3599999, out), "59 min 59 s");
    assert_string_equal(quantity_format_duration(7259999, out), "2 h");
    assert_string_equal(quantity_format_duration(86399999, out), "23 h 59 min");
    assert_string_equal(quantity_format_duration(100800000, out), "1 d 04 h");
    assert_string_equal(quantity_format_duration(1005, out), "1 s 005 ms");
    assert_string_equal(quantity_format_duration(-920000, out), "-15 min 20 s");
    assert_string_equal(quantity_format_duration(INT64_MIN, out), "-106751991167 d 07 h");
}

static void what_is_written_can_be_read(void **state) {
    uint64_t seed = SEED;

    (void)state;
    print_message("seed %llu\n", (unsigned long long)SEED);
    for (int i = 0; i < 50000; i++) {
        const int64_t t = random_within(&seed, -273150, 3000000);
        const int64_t d = random_within(&seed, 0, INT64_C(1) << random_within(&seed, 1, 36));
        char out[QUANTITY_TEXT_BYTES];
        struct fault fault;
        int64_t back;

        assert_int_equal(
            quantity_parse_temperature(quantity_format_temperature(t, UNIT_CELSIUS, 3, out), &back, &fault), 0);
        assert_int_equal(back, t);
        assert_int_equal(
            quantity_parse_temperature(quantity_format_temperature(t, UNIT_FAHRENHEIT, 3, out), &back, &fault), 0);
        assert_int_equal(back, t);
        assert_int_equal(quantity_parse_duration(quantity_format_duration(d, out), &back, &fault), 0);
        /* never longer than it was; what is lost is less than one of the second unit: 1/24 of a day, 1/60 ... */
        assert_true(back <= d && (d - back) * 24 <= d);
    }
}

/* Random text from the letters of the grammar, taken exactly when a regular expression for the grammar matches and
 * the value is within range, which strtod decides here. */
struct grammar {
    parser *parse;
    const char *expression;
    const char *range_words[3]; // what a refusal says that the expression does not cover
};

static void random_text_is_taken_exactly_by_the_grammar(void **state) {
    static const char *const letters[] = {"0", "1", "9", "25", ".", "-", "+", " ",  "C",   "F",  "K", "°C",
                                          "h", "/", "s", "m",  "d", "e", "x", "ms", "min", "\t", ":", ".."};
    static const struct grammar grammars[] = {
        {quantity_parse_temperature, "^[-+]?[0-9]+([.][0-9]+)?[ \t]*((°)?[CF]|K)$", {"is not within", "18 digits"}},
        {quantity_parse_difference, "^[+]?[0-9]+([.][0-9]+)?[ \t]*((°)?[CF]|K)$", {"is more than", "18 digits"}},
        {quantity_parse_rate,
         "^[+]?[0-9]+([.][0-9]+)?[ \t]*((°)?[CF]|K)/(h|min|s)$",
         {"is more than", "18 digits"}},
        {quantity_parse_duration,
         "^[+]?([0-9]+[ \t]*d[ \t]*)?([0-9]+[ \t]*h[ \t]*)?([0-9]+[ \t]*min[ \t]*)?([0-9]+[ \t]*s[ \t]*)?"
         "[0-9]+([.][0-9]+)?[ \t]*(d|h|min|ms|s)$",
         {"is more than", "18 digits", "falling order"}},
        {parse_any_integer, "^[-+]?[0-9]+$", {"out of range"}},
    };
    uint64_t seed = SEED;
    int taken = 0;

    (void)state;
    print_message("seed %llu\n", (unsigned long long)SEED);
    for (size_t g = 0; g < COUNT(grammars); g++) {
        regex_t expression;

        assert_int_equal(regcomp(&expression, grammars[g].expression, REG_EXTENDED | REG_NOSUB), 0);
        for (int i = 0; i < 40000; i++) {
            const int length = (int)random_within(&seed, 1, 9);
            char text[64] = "";
            size_t used = 0;
            struct fault fault = {0, ""};
            int64_t value = 0;
            bool matches, accepted, out_of_range = false;

            for (int k = 0; k < length; k++)
                used += (size_t)snprintf(text + used, sizeof text - used, "%s",
                                         letters[random_next(&seed) % COUNT(letters)]);
            matches = regexec(&expression, text, 0, NULL, 0) == 0;
            accepted = grammars[g].parse(text, &value, &fault) == 0;
            for (size_t k = 0; k < COUNT(grammars[g].range_words) && grammars[g].range_words[k] != NULL; k++)
                out_of_range |= !accepted && strstr(fault.text, grammars[g].range_words[k]) != NULL;
            if (accepted ? !matches : matches && !out_of_range)
                fail_msg("'%s' was %s: %s", text, accepted ? "taken" : "refused", fault.text);
            if (accepted && grammars[g].parse == quantity_parse_temperature) {
                const double number = strtod(text, NULL);
                const double celsius = strchr(text, 'F') != NULL   ? (number - 32) / 1.8
                                       : strchr(text, 'K') != NULL ? number - 273.15
                                                                   : number;

                assert_true(fabs(celsius * 1000 - (double)value) <= 0.5001);
            }
            taken += accepted;
        }
        regfree(&expression);
    }
    assert_true(taken > 1000); // else the letters were badly chosen
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(temperatures_meet_the_fixed_points),
        cmocka_unit_test(halves_round_away_from_zero),
        cmocka_unit_test(differences_have_no_zero_point),
        cmocka_unit_test(durations_and_rates),
        cmocka_unit_test(spans_and_integers),
        cmocka_unit_test(moments_agree_with_date),
        cmocka_unit_test(moments_agree_with_the_c_library),
        cmocka_unit_test(times_are_shown_with_their_offset),
        cmocka_unit_test(refusals_quote_and_say_what_was_expected),
        cmocka_unit_test(a_long_text_is_quoted_in_part_between_characters),
        cmocka_unit_test(conversions_both_ways),
        cmocka_unit_test(formats),
        cmocka_unit_test(durations_never_round_up),
        cmocka_unit_test(what_is_written_can_be_read),
        cmocka_unit_test(random_text_is_taken_exactly_by_the_grammar),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
