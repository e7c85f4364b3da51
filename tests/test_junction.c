// SPDX-License-Identifier: MIT
/* junction: a voltage and its terminals make a temperature, or nothing at all. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/channel.h"
#include "soakledger/junction.h"

enum { C = 1000, S = 1000, MV = 1000000 };
enum { COUPLE, TERMINALS, STATED, PLAIN, CHANNELS };

static struct config_sensor sensors[] = {{.identity = "K-1", .type = "K"}, {.identity = "S-1", .type = "S"}};
static struct config_channel channels[CHANNELS] = {
    [COUPLE] = {.sensor = 0,
                .interval_ms = S,
                .cold_junction = TERMINALS,
                .fitting = {.unit = CHANNEL_MILLIVOLT, .low = -50 * C, .high = 1200 * C}},
    [TERMINALS] = {.sensor = CONFIG_NO_SENSOR, .interval_ms = 2 * S, .cold_junction = CONFIG_NO_CHANNEL},
    [STATED] = {.sensor = 1,
                .interval_ms = S,
                .cold_junction = CONFIG_NO_CHANNEL,
                .cold_fixed_mc = 25 * C,
                .fitting = {.unit = CHANNEL_MILLIVOLT, .low = 0, .high = 1700 * C}},
    [PLAIN] = {.sensor = CONFIG_NO_SENSOR, .interval_ms = S, .cold_junction = CONFIG_NO_CHANNEL},
};
static const struct config config = {
    .sensor_count = 2, .sensors = sensors, .channel_count = CHANNELS, .channels = channels};

static int set_up(void **state) {
    *state = junction_open(&config);
    return *state == NULL;
}

static int tear_down(void **state) {
    junction_free(*state);
    return 0;
}

static void note(struct junction *junction, int64_t t_ms, enum quality quality, int64_t value_mc) {
    const struct reading reading = {.t_ms = t_ms, .quality = quality, .value = value_mc};

    junction_note(junction, TERMINALS, &reading);
}

static struct reading compensate(struct junction *junction, size_t channel, int64_t t_ms, int64_t emf_nv,
                                 struct voltage *voltage) {
    struct reading reading = {.t_ms = t_ms, .quality = QUALITY_GOOD, .value = emf_nv};

    junction_compensate(junction, channel, &reading, voltage);
    return reading;
}

/* NIST's table: K at 800 °C 33.275 mV, at 30 °C 1.203 mV. */
static void the_voltages_are_added(void **state) {
    struct junction *junction = *state;
    struct voltage voltage;
    struct reading reading;

    note(junction, 0, QUALITY_GOOD, 30 * C);
    reading = compensate(junction, COUPLE, S, 33275000 - 1203000, &voltage);
    assert_int_equal(reading.quality, QUALITY_GOOD);
    assert_in_range(reading.value, 800 * C - 25, 800 * C + 25);
    assert_int_equal(voltage.state, VOLTAGE_AND_COLD);
    assert_int_equal(voltage.emf_nv, 33275000 - 1203000);
    assert_int_equal(voltage.cold_mc, 30 * C);
    // S at 25 °C 0.143 mV, at 1000 °C 9.587 mV.
    reading = compensate(junction, STATED, S, 9587000 - 143000, &voltage);
    assert_in_range(reading.value, 1000 * C - 100, 1000 * C + 100);
    assert_int_equal(voltage.cold_mc, 25 * C);
}

static void expect_unknown(struct junction *junction, int64_t t_ms) {
    struct voltage voltage;
    const struct reading reading = compensate(junction, COUPLE, t_ms, 30 * MV, &voltage);

    assert_int_equal(reading.quality, QUALITY_NO_JUNCTION);
    assert_int_equal(reading.value, 0);
    assert_int_equal(voltage.state, VOLTAGE_ALONE);
    assert_int_equal(voltage.emf_nv, 30 * MV);
}

static void terminals_that_are_missing_late_or_bad_are_not_guessed(void **state) {
    struct junction *junction = *state;
    struct voltage voltage;

    expect_unknown(junction, 0);
    note(junction, S, QUALITY_GOOD, 30 * C);
    assert_int_equal(compensate(junction, COUPLE, S + 6 * S, 30 * MV, &voltage).quality, QUALITY_GOOD);
    expect_unknown(junction, S + 6 * S + 1); // three intervals of two seconds
    note(junction, 8 * S, QUALITY_GOOD, 30 * C);
    assert_int_equal(compensate(junction, COUPLE, 9 * S, 30 * MV, &voltage).quality, QUALITY_GOOD);
    note(junction, 10 * S, QUALITY_BAD_FRAME, 0);
    expect_unknown(junction, 10 * S);
    note(junction, 12 * S, QUALITY_GOOD, 1500 * C); // beyond type K
    expect_unknown(junction, 12 * S);
}

static void what_is_beyond_the_type_or_the_range_says_so(void **state) {
    struct junction *junction = *state;
    struct voltage voltage;

    note(junction, 0, QUALITY_GOOD, 30 * C);
    assert_int_equal(compensate(junction, COUPLE, 0, 54 * MV, &voltage).quality, QUALITY_OVER_RANGE); // beyond K
    assert_int_equal(compensate(junction, COUPLE, 0, 50 * MV, &voltage).quality, QUALITY_OVER_RANGE); // 1232 °C
    assert_int_equal(compensate(junction, COUPLE, 0, -9 * MV, &voltage).quality, QUALITY_UNDER_RANGE);
    assert_int_equal(compensate(junction, COUPLE, 0, -4 * MV, &voltage).quality, QUALITY_UNDER_RANGE); // -75 °C
    assert_int_equal(voltage.state, VOLTAGE_AND_COLD);
}

static void other_channels_and_bad_readings_are_left_alone(void **state) {
    struct junction *junction = *state;
    struct reading reading = {.quality = QUALITY_OPEN_SENSOR};
    struct voltage voltage = {.state = VOLTAGE_ALONE};

    junction_compensate(junction, COUPLE, &reading, &voltage);
    assert_int_equal(reading.quality, QUALITY_OPEN_SENSOR);
    assert_int_equal(voltage.state, VOLTAGE_NONE);
    reading = compensate(junction, PLAIN, 0, 805 * C, &voltage);
    assert_int_equal(reading.value, 805 * C);
    assert_int_equal(voltage.state, VOLTAGE_NONE);
    assert_true(junction_is_cold(junction, TERMINALS));
    assert_false(junction_is_cold(junction, COUPLE) || junction_is_cold(junction, PLAIN));
}

/* Registers and text give nanovolts. */
static void a_voltage_is_decoded_to_the_nanovolt(void **state) {
    const struct channel_fitting fitting = {.encoding = ENCODING_INT16,
                                            .decimals = 3,
                                            .unit = CHANNEL_MILLIVOLT,
                                            .low = 0,
                                            .high = 1,
                                            .open_count = 1,
                                            .open_raw = {32767}};
    const uint16_t registers[] = {31072, (uint16_t)-1203, 32767};
    struct reading reading;

    (void)state;
    channel_decode(&fitting, &registers[0], &reading);
    assert_int_equal(reading.quality, QUALITY_GOOD);
    assert_int_equal(reading.value, 31072000);
    channel_decode(&fitting, &registers[1], &reading);
    assert_int_equal(reading.value, -1203000);
    channel_decode(&fitting, &registers[2], &reading);
    assert_int_equal(reading.quality, QUALITY_OPEN_SENSOR);
    channel_decode_decimal(&(struct channel_fitting){.unit = CHANNEL_MILLIVOLT},
                           &(struct channel_decimal){.mantissa = 12345678, .exponent = -6}, &reading);
    assert_int_equal(reading.value, 12345678);
    channel_decode_decimal(&(struct channel_fitting){.unit = CHANNEL_MILLIVOLT},
                           &(struct channel_decimal){.mantissa = 101, .exponent = 0}, &reading);
    assert_int_equal(reading.quality, QUALITY_OVER_RANGE);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(the_voltages_are_added, set_up, tear_down),
        cmocka_unit_test_setup_teardown(terminals_that_are_missing_late_or_bad_are_not_guessed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_is_beyond_the_type_or_the_range_says_so, set_up, tear_down),
        cmocka_unit_test_setup_teardown(other_channels_and_bad_readings_are_left_alone, set_up, tear_down),
        cmocka_unit_test(a_voltage_is_decoded_to_the_nanovolt),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
