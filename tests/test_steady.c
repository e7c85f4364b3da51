// SPDX-License-Identifier: MIT
/* steady: stretches and heat-ups of runs drawn by hand, whose answers are known in advance. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/steady.h"

enum { S = 1000, MIN = 60 * S, C = 1000, MOST_STRETCHES = 16, MOST_CHANNELS = 20 };
enum { CONTROL = 1, FRONT, BACK, SETPOINT, OUTPUT };
static const int64_t t0_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z

struct found {
    size_t count;
    struct steady_stretch stretches[MOST_STRETCHES];
};

static void keep(void *context, const struct steady_stretch *stretch) {
    struct found *found = context;

    assert_true(found->count < MOST_STRETCHES);
    found->stretches[found->count++] = *stretch;
}

static const struct steady_channel usual[] = {{CONTROL, ROLE_CONTROL, S},
                                              {FRONT, ROLE_LOAD, S},
                                              {BACK, ROLE_LOAD, S},
                                              {SETPOINT, ROLE_SETPOINT, S},
                                              {OUTPUT, ROLE_OUTPUT, S}};
enum { USUAL = sizeof usual / sizeof *usual };

static struct steady *open_with(const struct steady_channel *channels, size_t count, struct found *found) {
    struct fault fault;
    struct steady *steady = steady_open(channels, count, keep, found, &fault);

    assert_non_null(steady);
    memset(found, 0, sizeof *found);
    return steady;
}

static void feed(struct steady *steady, int64_t channel_id, int64_t t_ms, double value) {
    const struct reading reading = {.t_ms = t0_ms + t_ms,
                                    .channel_id = channel_id,
                                    .quality = isnan(value) ? QUALITY_NO_REPLY : QUALITY_GOOD,
                                    .value = isnan(value) ? 0 : llround(value * C)};

    steady_feed(steady, &reading);
}

/* What a channel shows at a time, ms; NAN: no reading. */
typedef double shape(int64_t channel_id, int64_t t_ms);

static void play(struct steady *steady, shape *shown, int64_t from_ms, int64_t to_ms, int64_t step_ms) {
    for (int64_t t_ms = from_ms; t_ms < to_ms; t_ms += step_ms) {
        for (int64_t id = CONTROL; id <= OUTPUT; id++)
            feed(steady, id, t_ms, shown(id, t_ms));
    }
}

static void play_whole(struct found *found, shape *shown, int64_t length_ms) {
    struct steady *steady = open_with(usual, USUAL, found);

    play(steady, shown, 0, length_ms, S);
    steady_end(steady);
    steady_free(steady);
}

static void near(double found, double expected, double within) {
    if (!(fabs(found - expected) <= within))
        fail_msg("%.9g: expected %.9g within %.3g", found, expected, within);
}

/* ---- one run: 20 C, up by 10 C/min to 800 C in 78 min, an hour there, down ---- */

enum { UP_MIN = 78, LEVEL_MIN = 60 };

static double plain_control(int64_t t_ms) {
    const double minutes = (double)t_ms / MIN;

    if (minutes < UP_MIN)
        return 20 + 10 * minutes;
    return minutes < UP_MIN + LEVEL_MIN ? 800 : 800 - 8 * (minutes - UP_MIN - LEVEL_MIN);
}

static double plain(int64_t channel_id, int64_t t_ms) {
    switch (channel_id) {
    case FRONT: return plain_control(t_ms) - 3.5;
    case BACK: return plain_control(t_ms) + 2.25;
    case SETPOINT: return fmin(801, 20 + 10 * (double)t_ms / MIN);
    case OUTPUT: return t_ms < UP_MIN * MIN ? 60 : 25;
    default: return plain_control(t_ms);
    }
}

static void test_a_plain_run(void **state) {
    struct found found;
    const struct steady_stretch *stretch = &found.stretches[0];

    (void)state;
    play_whole(&found, plain, 180 * MIN);
    assert_int_equal(found.count, 1);
    near((double)(stretch->from_ms - t0_ms) / MIN, UP_MIN + 0.5, 0.5); // a window may hold some of the ramp's end
    near((double)(stretch->to_ms - t0_ms) / MIN, UP_MIN + LEVEL_MIN, 1);
    assert_true(stretch->to_ms - t0_ms <= (UP_MIN + LEVEL_MIN) * MIN);
    assert_int_equal(stretch->reference_id, CONTROL);
    assert_true(stretch->has_setpoint && stretch->has_output);
    near((double)stretch->setpoint_mc, 801 * C, 1);
    assert_int_equal(stretch->level_mc, stretch->setpoint_mc);
    near((double)stretch->output, 25 * C, 1);
    assert_int_equal(stretch->sensor_count, 3);
    near((double)stretch->means[0].mean_mc, 800 * C, 1);
    assert_int_equal(stretch->pair_count, 3);
    assert_int_equal(stretch->pairs[0].difference_mc, 3500); // control - front
    assert_int_equal(stretch->pairs[1].difference_mc, -2250);
    assert_int_equal(stretch->pairs[2].difference_mc, -5750); // front - back
    assert_int_equal(stretch->pairs[2].one_id, FRONT);
    assert_int_equal(stretch->pairs[2].error_mc, 0);
}

static void test_the_heat_up_between_two_temperatures(void **state) {
    struct found found;

    (void)state;
    play_whole(&found, plain, 180 * MIN);
    assert_int_equal(found.stretches[0].heat_from_mc, 650 * C);
    assert_int_equal(found.stretches[0].heat_to_mc, 780 * C);
    /* A bin's mean of readings at whole seconds is half a second behind its middle, at both ends. */
    near((double)found.stretches[0].heat_ms, 13 * MIN, 1);
    assert_true(found.stretches[0].heat_has_output);
    near((double)found.stretches[0].heat_output, 60 * C, 1);
}

/* ---- how steep is stable ---- */

static double creep_c_per_min;
static double creeping(int64_t channel_id, int64_t t_ms) {
    const double minutes = (double)t_ms / MIN;

    return channel_id <= BACK ? 500 + creep_c_per_min * minutes : NAN;
}

static void test_half_a_degree_a_minute(void **state) {
    struct found found;

    (void)state;
    for (int sign = -1; sign <= 1; sign += 2) {
        creep_c_per_min = sign * 0.49;
        play_whole(&found, creeping, 30 * MIN);
        assert_int_equal(found.count, 1);
        assert_false(found.stretches[0].has_setpoint || found.stretches[0].has_output);
        assert_int_equal(found.stretches[0].heat_ms, 0);
        near((double)found.stretches[0].level_mc, (500 + creep_c_per_min * 15) * C, 0.2 * C);
        creep_c_per_min = sign * 0.51;
        play_whole(&found, creeping, 30 * MIN);
        assert_int_equal(found.count, 0);
    }
}

static int64_t level_ms;
static double level_for_a_while(int64_t channel_id, int64_t t_ms) {
    (void)channel_id;
    return 500 + 20.0 * (double)(t_ms < level_ms ? 0 : t_ms - level_ms) / MIN;
}

static void test_five_minutes_at_least(void **state) {
    struct found found;

    (void)state;
    level_ms = 4 * MIN;
    play_whole(&found, level_for_a_while, 20 * MIN);
    assert_int_equal(found.count, 0);
    level_ms = 7 * MIN;
    play_whole(&found, level_for_a_while, 20 * MIN);
    assert_int_equal(found.count, 1);
    assert_true(found.stretches[0].to_ms - found.stretches[0].from_ms >= 5 * MIN - 10 * S);
    near((double)found.stretches[0].level_mc, 500 * C, 20);
}

/* ---- who takes part ---- */

static double front_outside(int64_t channel_id, int64_t t_ms) {
    return channel_id == FRONT ? 21 : plain(channel_id, t_ms);
}

static void test_a_sensor_outside_takes_no_part(void **state) {
    struct found found;

    (void)state;
    play_whole(&found, front_outside, 180 * MIN);
    assert_int_equal(found.count, 1);
    assert_int_equal(found.stretches[0].sensor_count, 2);
    assert_int_equal(found.stretches[0].pair_count, 1);
    assert_int_equal(found.stretches[0].pairs[0].other_id, BACK);
}

static double front_breaks(int64_t channel_id, int64_t t_ms) {
    return channel_id == FRONT && t_ms > (UP_MIN + 30) * MIN ? NAN : plain(channel_id, t_ms);
}

static void test_a_sensor_that_breaks_ends_the_stretch(void **state) {
    struct found found;

    (void)state;
    play_whole(&found, front_breaks, 180 * MIN);
    assert_int_equal(found.count, 2);
    assert_int_equal(found.stretches[0].sensor_count, 3);
    assert_true(found.stretches[0].to_ms <= t0_ms + (UP_MIN + 30) * MIN + 10 * S);
    assert_int_equal(found.stretches[0].pairs[0].difference_mc, 3500);
    assert_int_equal(found.stretches[1].sensor_count, 2);
    assert_true(found.stretches[1].from_ms >= found.stretches[0].to_ms);
}

static double back_lags(int64_t channel_id, int64_t t_ms) {
    const double minutes = (double)t_ms / MIN - UP_MIN;

    if (channel_id == BACK && minutes > 0 && minutes < LEVEL_MIN)
        return 800 - 40 * exp(-minutes / 10);
    return plain(channel_id, t_ms);
}

static void test_all_who_take_part_must_be_stable(void **state) {
    struct found found;

    (void)state;
    play_whole(&found, back_lags, 180 * MIN);
    assert_int_equal(found.count, 1);
    /* 4 C/min exp(-t / 10 min) falls below 0.5 after 20.8 min, in the middle of a window. */
    near((double)(found.stretches[0].from_ms - t0_ms) / MIN, UP_MIN + 20.8 - 1.5, 0.5);
}

/* ---- a door ---- */

static double door_opens(int64_t channel_id, int64_t t_ms) {
    const double minutes = (double)t_ms / MIN - UP_MIN - 20;

    if (channel_id <= BACK && minutes > 0 && minutes < 15)
        return plain(channel_id, t_ms) - 60 * exp(-minutes / 2) * (1 - exp(-minutes / 0.2));
    return plain(channel_id, t_ms);
}

static void test_a_door_is_left_out(void **state) {
    struct found found;

    (void)state;
    play_whole(&found, door_opens, 180 * MIN);
    assert_int_equal(found.count, 2);
    assert_true(found.stretches[0].to_ms <= t0_ms + (UP_MIN + 20) * MIN);
    near((double)found.stretches[0].means[0].mean_mc, 800 * C, 100);
    near((double)found.stretches[1].means[0].mean_mc, 800 * C, 500);
    assert_true(found.stretches[0].heat_ms > 0);     // the run's own heat-up, before the door
    assert_int_equal(found.stretches[1].heat_ms, 0); // 780 C was passed twice: not to be believed any more
}

/* ---- standard error ---- */

static double noise(uint64_t *seed) {
    double sum = 0;

    for (int i = 0; i < 12; i++) {
        *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        sum += (double)(*seed >> 11) * 0x1p-53;
    }
    return sum - 6;
}

static uint64_t noise_seed;
static double noisy(int64_t channel_id, int64_t t_ms) {
    (void)t_ms;
    return channel_id <= BACK ? 700 + 0.6 * noise(&noise_seed) : NAN;
}

static void test_the_standard_error_of_a_difference(void **state) {
    struct found found;

    (void)state;
    noise_seed = 5;
    play_whole(&found, noisy, 200 * MIN);
    assert_int_equal(found.count, 1);
    for (int i = 0; i < 3; i++) {
        /* 12,000 readings of two sensors: 0.6 sqrt(2 / 12000) = 7.7 mC */
        near((double)found.stretches[0].pairs[i].error_mc, 7.7, 1.6);
        near((double)found.stretches[0].pairs[i].difference_mc, 0, 31);
    }
}

/* ---- slow, odd and hostile ---- */

static void test_a_slow_channel(void **state) {
    const struct steady_channel channels[] = {
        {CONTROL, ROLE_CONTROL, S}, {FRONT, ROLE_LOAD, MIN}, {BACK, ROLE_LOAD, 2 * MIN}};
    struct found found;
    struct steady *steady = open_with(channels, 3, &found);

    (void)state;
    for (int64_t t_ms = 0; t_ms < 40 * MIN; t_ms += S) {
        feed(steady, CONTROL, t_ms, 600);
        if (t_ms % MIN == 0)
            feed(steady, FRONT, t_ms, 598);
    }
    steady_end(steady);
    steady_free(steady);
    assert_int_equal(found.count, 1);
    assert_int_equal(found.stretches[0].sensor_count, 2); // one every two minutes says too little
    assert_int_equal(found.stretches[0].pairs[0].difference_mc, 2 * C);
}

static void test_a_gap_longer_than_a_window(void **state) {
    struct found found;
    struct steady *steady = open_with(usual, USUAL, &found);

    (void)state;
    play(steady, plain, 0, (UP_MIN + 20) * MIN, S);
    play(steady, plain, (UP_MIN + 30) * MIN, 180 * MIN, S);
    steady_end(steady);
    steady_free(steady);
    assert_int_equal(found.count, 2);
    assert_true(found.stretches[0].to_ms <= t0_ms + (UP_MIN + 20) * MIN);
    assert_true(found.stretches[1].from_ms >= t0_ms + (UP_MIN + 30) * MIN);
}

static double missing_on_the_way(int64_t channel_id, int64_t t_ms) {
    return channel_id == CONTROL && t_ms >= 70 * MIN && t_ms < 71 * MIN ? NAN : plain(channel_id, t_ms);
}

static double outside_the_window(int64_t channel_id, int64_t t_ms) {
    return t_ms < 70 * MIN ? NAN : plain(channel_id, t_ms); // the run was seen from 720 C on only
}

static void test_a_heat_up_that_was_not_seen_whole(void **state) {
    struct found found;

    (void)state;
    play_whole(&found, missing_on_the_way, 180 * MIN);
    assert_int_equal(found.count, 1);
    assert_int_equal(found.stretches[0].heat_ms, 0);
    play_whole(&found, outside_the_window, 180 * MIN);
    assert_int_equal(found.count, 1);
    assert_int_equal(found.stretches[0].heat_ms, 0);
}

static void test_nothing_to_go_by(void **state) {
    const struct steady_channel channels[] = {{SETPOINT, ROLE_SETPOINT, S}, {OUTPUT, ROLE_OUTPUT, S}};
    struct steady_channel many[MOST_CHANNELS];
    struct found found;
    struct steady *steady = open_with(channels, 2, &found);

    (void)state;
    play(steady, plain, 0, 100 * MIN, S);
    steady_end(steady);
    steady_free(steady);
    assert_int_equal(found.count, 0);
    for (int64_t i = 0; i < MOST_CHANNELS; i++)
        many[i] = (struct steady_channel){i + 1, ROLE_LOAD, S};
    steady = open_with(many, MOST_CHANNELS, &found);
    for (int64_t t_ms = 0; t_ms < 20 * MIN; t_ms += S) {
        for (int64_t i = 0; i < MOST_CHANNELS; i++)
            feed(steady, i + 1, t_ms, 500);
    }
    steady_end(steady);
    steady_free(steady);
    assert_int_equal(found.count, 1);
    assert_int_equal(found.stretches[0].sensor_count, STEADY_MOST_SENSORS);
    assert_int_equal(found.stretches[0].pair_count, STEADY_MOST_PAIRS);
    steady_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_plain_run),
        cmocka_unit_test(test_the_heat_up_between_two_temperatures),
        cmocka_unit_test(test_half_a_degree_a_minute),
        cmocka_unit_test(test_five_minutes_at_least),
        cmocka_unit_test(test_a_sensor_outside_takes_no_part),
        cmocka_unit_test(test_a_sensor_that_breaks_ends_the_stretch),
        cmocka_unit_test(test_all_who_take_part_must_be_stable),
        cmocka_unit_test(test_a_door_is_left_out),
        cmocka_unit_test(test_the_standard_error_of_a_difference),
        cmocka_unit_test(test_a_slow_channel),
        cmocka_unit_test(test_a_gap_longer_than_a_window),
        cmocka_unit_test(test_a_heat_up_that_was_not_seen_whole),
        cmocka_unit_test(test_nothing_to_go_by),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
