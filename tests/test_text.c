// SPDX-License-Identifier: MIT
/* Text in instruments' answers: numbers to the last digit, patterns, fields, checks and queries. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <string.h>

#include "soakledger/text.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static struct text_piece piece_of(const char *text) {
    return (struct text_piece){text, strlen(text)};
}

static const struct number {
    const char *text;
    enum text_number is;
    int64_t thousandths; // as a channel without decimals has it
} numbers[] = {
    {"802.5", TEXT_NUMBER, 802500},
    {"+802.5", TEXT_NUMBER, 802500},
    {"-0.5", TEXT_NUMBER, -500},
    {"0", TEXT_NUMBER, 0},
    {"-0.000", TEXT_NUMBER, 0},
    {"000000000000000000000000802.500000000000000000000000", TEXT_NONE, 0}, // more digits than anybody measures
    {"0000000000000000000000000000802.5", TEXT_NUMBER, 802500},
    {"802.", TEXT_NUMBER, 802000},
    {".5", TEXT_NUMBER, 500},
    {"+8.025E+02", TEXT_NUMBER, 802500},
    {"8.025e2", TEXT_NUMBER, 802500},
    {"8025E-1", TEXT_NUMBER, 802500},
    {"80250000E-0005", TEXT_NUMBER, 802500},
    {"0.0008025E6", TEXT_NUMBER, 802500},
    {"1E-99", TEXT_NUMBER, 0},
    {"0E99", TEXT_NUMBER, 0},
    {"0.0005", TEXT_NUMBER, 1},   // half away from zero
    {"-0.0005", TEXT_NUMBER, -1}, //
    {"0.000499999999999", TEXT_NUMBER, 0},
    {"123456789012.345678", TEXT_NUMBER, 123456789012346},
    {"999999999999999", TEXT_NUMBER, 999999999999999000},
    {"1000000000000000", TEXT_OVER, 0},
    {"-1E15", TEXT_UNDER, 0},
    {"+9.9E37", TEXT_OVER, 0}, // SCPI's infinity, its negative, and its "not a number"
    {"+9.90000000E+37", TEXT_OVER, 0},
    {"-9.9E37", TEXT_UNDER, 0},
    {"9.91E37", TEXT_NAN, 0},
    {"+9.910000E+037", TEXT_NAN, 0},
    {"1E9999", TEXT_OVER, 0},
    {"1E10000", TEXT_NONE, 0},
    {"1E99999999999999999999", TEXT_NONE, 0},
    {"", TEXT_NONE, 0},
    {"-", TEXT_NONE, 0},
    {".", TEXT_NONE, 0},
    {"E5", TEXT_NONE, 0},
    {"1E", TEXT_NONE, 0},
    {"1E+", TEXT_NONE, 0},
    {"--1", TEXT_NONE, 0},
    {"+-1", TEXT_NONE, 0},
    {"1.2.3", TEXT_NONE, 0},
    {"1,5", TEXT_NONE, 0},
    {"802.5C", TEXT_NONE, 0},
    {"8 02", TEXT_NONE, 0},
    {"0x10", TEXT_NONE, 0},
    {"nan", TEXT_NONE, 0},
    {"inf", TEXT_NONE, 0},
    {"OPEN", TEXT_NONE, 0},
};

static void numbers_are_exact(void **state) {
    const struct channel_fitting fitting = {.low = INT64_MIN, .high = INT64_MAX};

    (void)state;
    for (size_t i = 0; i < COUNT(numbers); i++) {
        struct channel_decimal decimal = {0};
        struct reading reading = {0};
        const enum text_number is = text_read_number(piece_of(numbers[i].text), &decimal);

        if (is != numbers[i].is)
            fail_msg("'%s' is %d, expected %d", numbers[i].text, (int)is, (int)numbers[i].is);
        if (is != TEXT_NUMBER)
            continue;
        channel_decode_decimal(&fitting, &decimal, &reading);
        assert_int_equal(reading.quality, QUALITY_GOOD);
        if (reading.value != numbers[i].thousandths)
            fail_msg("'%s' gave %lld", numbers[i].text, (long long)reading.value);
    }
}

/* Scale, unit and sentinels are those of registers. */
static void numbers_go_through_the_channel(void **state) {
    struct channel_fitting fitting = {.low = -50000,
                                      .high = 1400000,
                                      .unit = CHANNEL_FAHRENHEIT,
                                      .open_count = 1,
                                      .open_raw = {-99},
                                      .over_count = 1,
                                      .over_raw = {9999},
                                      .under_count = 1,
                                      .under_raw = {-9999}};
    static const struct {
        const char *text;
        enum quality quality;
        int64_t value;
    } expected[] = {
        {"212", QUALITY_GOOD, 100000},        {"212.0", QUALITY_GOOD, 100000},
        {"-99", QUALITY_OPEN_SENSOR, 0},      {"-99.00", QUALITY_OPEN_SENSOR, 0},
        {"9999", QUALITY_OVER_RANGE, 0},      {"-9999", QUALITY_UNDER_RANGE, 0},
        {"2552", QUALITY_GOOD, 1400000},      {"2552.1", QUALITY_OVER_RANGE, 0},
        {"-100", QUALITY_UNDER_RANGE, 0},     {"32.0000000000009", QUALITY_GOOD, 0},
        {"9998.9999", QUALITY_OVER_RANGE, 0}, {"3.2E1", QUALITY_GOOD, 0},
    };
    struct channel_decimal decimal;
    struct reading reading = {0};

    (void)state;
    for (size_t i = 0; i < COUNT(expected); i++) {
        assert_int_equal(text_read_number(piece_of(expected[i].text), &decimal), TEXT_NUMBER);
        channel_decode_decimal(&fitting, &decimal, &reading);
        assert_int_equal(reading.quality, expected[i].quality);
        assert_int_equal(reading.value, expected[i].value);
    }
    fitting.unit = CHANNEL_CELSIUS;
    fitting.decimals = 1;
    assert_int_equal(text_read_number(piece_of("8025"), &decimal), TEXT_NUMBER);
    channel_decode_decimal(&fitting, &decimal, &reading);
    assert_int_equal(reading.value, 802500);
}

static const struct matching {
    const char *pattern, *line;
    const char *value; // NULL: no match
} matchings[] = {
    {"{value}", "802.5", "802.5"},
    {"{value}", "  802.5 ", "802.5"},
    {"T1={value} C", "T1=802.5 C", "802.5"},
    {"T1={value} C", "T1=  802.5C", "802.5"},
    {"T1={value} C", "T1=802.5", NULL},
    {"T1={value} C", "T2=802.5 C", NULL},
    {"T1={value} C", "T1=802.5 C T1=803.1 C", "802.5 C T1=803.1"}, // the whole line; no number, that is
    {"{any}T1={value} C{any}", "T0=1 C T1=802.5 C T2=3 C", "802.5"},
    {"{any}T2={value}", "T1=802.5 T2=803.1", "803.1"},
    {"{any}, {any}, {value}", "a,b,  -7", "-7"},
    {"#{address:2} {value}", "#07 802.5", "802.5"},
    {"#{address:2} {value}", "#17 802.5", NULL},
    {"#{address} {value}", "#7 802.5", "802.5"},
    {"#{address:3}{value}", "#007802.5", "802.5"},
    {"\\x7b{value}\\x7D", "{OPEN}", "OPEN"},
    {"a\\t{value}\\\\", "a\t5\\", "5"},
    {"x{value}", "x", ""},
    {"x {value}", "x     5", "5"},
    {"x y{value}", "xy5", "5"},
    {"{value} C", "5\xb0 C", "5\xb0"},
    {"{value}", "", ""},
};

static void patterns_match_whole_lines(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(matchings); i++) {
        const struct matching *at = &matchings[i];
        struct text_piece value = {"", 0};
        const bool matches = text_match(at->pattern, 7, piece_of(at->line), &value);

        assert_null(text_refuse_pattern(at->pattern));
        if (matches != (at->value != NULL))
            fail_msg("'%s' and '%s'", at->pattern, at->line);
        if (at->value != NULL &&
            (value.length != strlen(at->value) || memcmp(value.text, at->value, value.length) != 0))
            fail_msg("'%s' and '%s': '%.*s'", at->pattern, at->line, (int)value.length, value.text);
    }
}

static void malformed_patterns_and_queries_are_refused(void **state) {
    static const char *const patterns[] = {
        "",  "T1=",        "{value}{any}", "{any} {any}x{value}", "{value} {value}", "{values}",
        "{", "\\q{value}", "\\x7{value}",  "{value}\\",           "{any}",           "{value}x{value}"};
    static const char *const queries[] = {"", "T{value}?", "{any}?", "\\y", "{address:4}?", "a\\x1"};
    char long_one[CHANNEL_TEXT_BYTES + 1];

    (void)state;
    for (size_t i = 0; i < COUNT(patterns); i++)
        if (text_refuse_pattern(patterns[i]) == NULL)
            fail_msg("'%s' was taken", patterns[i]);
    for (size_t i = 0; i < COUNT(queries); i++)
        if (text_refuse_query(queries[i]) == NULL)
            fail_msg("'%s' was taken", queries[i]);
    memset(long_one, '?', sizeof long_one);
    long_one[CHANNEL_TEXT_BYTES] = '\0';
    assert_non_null(text_refuse_query(long_one));
    long_one[CHANNEL_TEXT_BYTES - 1] = '\0';
    assert_null(text_refuse_query(long_one));
}

static void queries_are_built_byte_by_byte(void **state) {
    static const struct {
        const char *query, *bytes;
    } expected[] = {
        {"MEAS:TEMP?", "MEAS:TEMP?"},
        {"#{address:2}R?", "#05R?"},
        {"\\x02{address}\\e\\r\\n\\t\\\\", "\x02"
                                           "5\x1b\r\n\t\\"},
        {"{address:3}", "005"},
    };
    uint8_t bytes[CHANNEL_TEXT_BYTES];

    (void)state;
    for (size_t i = 0; i < COUNT(expected); i++) {
        const size_t length = text_build_query(expected[i].query, 5, bytes, sizeof bytes);

        assert_int_equal(length, strlen(expected[i].bytes));
        assert_memory_equal(bytes, expected[i].bytes, length);
    }
    assert_int_equal(text_build_query("12345", 5, bytes, 4), 0);
    assert_true(text_names_address("A{address:2}?"));
    assert_false(text_names_address("ADDRESS?"));
}

static const struct field {
    const char *line;
    char separator;
    unsigned number;
    const char *value; // NULL: none
    unsigned count;
} fields[] = {
    {"1,2,3", ',', 1, "1", 3},
    {"1,2,3", ',', 3, "3", 3},
    {"1,2,3", ',', 4, NULL, 3},
    {"1,,3", ',', 2, "", 3},
    {"1,2,", ',', 3, "", 3},
    {" 1 ; 2 ", ';', 2, "2", 2},
    {"  1   2\t3  ", ' ', 2, "2", 3},
    {"  1   2  ", ' ', 3, NULL, 2},
    {"5", ',', 1, "5", 1},
    {"", ',', 1, "", 1},
    {"1\t2", '\t', 2, "2", 2},
};

static void fields_are_counted(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(fields); i++) {
        const struct field *at = &fields[i];
        struct text_piece value = {"", 0};
        const bool found = text_find_field(piece_of(at->line), at->separator, at->number, &value);

        assert_int_equal(found, at->value != NULL);
        if (at->value != NULL &&
            (value.length != strlen(at->value) || memcmp(value.text, at->value, value.length) != 0))
            fail_msg("'%s', %u: '%.*s'", at->line, at->number, (int)value.length, value.text);
        assert_int_equal(text_count_fields(piece_of(at->line), at->separator), at->count);
    }
}

/* The check values of "123456789": CRC-16 4B37 is the published one (as in modbus_frames.csv), the others are sums
 * that can be done by hand: 31h + ... + 39h = 1DDh. */
static void checks_hold_or_not(void **state) {
    static const struct {
        const char *line;
        enum text_check check;
        bool holds;
    } expected[] = {
        {"123456789", TEXT_CHECK_NONE, true},      {"123456789DD", TEXT_CHECK_SUM, true},
        {"123456789DC", TEXT_CHECK_SUM, false},    {"12345678931", TEXT_CHECK_XOR, true},
        {"12345678913", TEXT_CHECK_XOR, false},    {"12345678923", TEXT_CHECK_LRC, true},
        {"12345678923 ", TEXT_CHECK_LRC, false},   {"1234567894B37", TEXT_CHECK_CRC16, true},
        {"1234567894b37", TEXT_CHECK_CRC16, true}, {"123456789374B", TEXT_CHECK_CRC16, false},
        {"B37", TEXT_CHECK_CRC16, false},          {"", TEXT_CHECK_SUM, false},
        {"123456789DG", TEXT_CHECK_SUM, false},
    };

    (void)state;
    for (size_t i = 0; i < COUNT(expected); i++) {
        struct text_piece line = piece_of(expected[i].line);

        if (text_take_check(expected[i].check, &line) != expected[i].holds)
            fail_msg("'%s'", expected[i].line);
        if (expected[i].holds)
            assert_int_equal(line.length, 9);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_are_exact),
        cmocka_unit_test(numbers_go_through_the_channel),
        cmocka_unit_test(patterns_match_whole_lines),
        cmocka_unit_test(malformed_patterns_and_queries_are_refused),
        cmocka_unit_test(queries_are_built_byte_by_byte),
        cmocka_unit_test(fields_are_counted),
        cmocka_unit_test(checks_hold_or_not),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
