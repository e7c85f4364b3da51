// SPDX-License-Identifier: MIT
/* The forecast against curves whose end is known in closed form, and against the virtual shop's ovens. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdlib.h>

#include "soakledger/forecast.h"
#include "support/heats.h"

#define START INT64_C(1794812400000)

static const struct forecast_limits limits = {.temperature_mc = 805000,
                                              .edge_mc = 797000,
                                              .overshoot_limit_mc = 815000,
                                              .required_ms = 20 * 60000,
                                              .interval_ms = 1000};

typedef double shape(double t_s);

/* 790 °C at 600 s, 10 °C a minute. */
static double line(double t_s) {
    return 790 + (t_s - 600) / 6;
}

/* Towards 805 °C with a time constant of 240 s, from 700 °C. */
static double approach(double t_s) {
    return 805 - 105 * exp(-t_s / 240);
}

/* Towards 820 °C, as if somebody had set the oven too high. */
static double approach_too_high(double t_s) {
    return 820 - 120 * exp(-t_s / 300);
}

/* Towards 790 °C: the edge is never reached. */
static double approach_too_low(double t_s) {
    return 790 - 90 * exp(-t_s / 200);
}

/* A second-order step response, natural frequency 0.003/s, damping 0.3, from 745 °C towards 805 °C. */
static const double omega = 0.003, damping = 0.3;

static double second_order(double t_s) {
    const double damped = omega * sqrt(1 - damping * damping);

    return 805 - 60 * exp(-damping * omega * t_s) *
                     (cos(damped * t_s) + damping / sqrt(1 - damping * damping) * sin(damped * t_s));
}

/* The textbook's peak: step times (1 + exp(-pi zeta / sqrt(1 - zeta^2))). */
static double second_order_peak(void) {
    return 745 + 60 * (1 + exp(-M_PI * damping / sqrt(1 - damping * damping)));
}

/* Noise of known size, evenly spread, the same each time. */
static double noise_c(uint32_t *state, double size_c) {
    *state = *state * UINT32_C(1664525) + UINT32_C(1013904223); // Numerical Recipes, from memory
    return size_c * ((double)(*state >> 8) / (double)(1 << 23) - 1);
}

static struct forecast *open_forecast(void) {
    struct fault fault;
    struct forecast *forecast = forecast_open(&limits, &fault);

    assert_non_null(forecast);
    return forecast;
}

/* Feeds [from, to) in seconds to one channel and reads the outlook. */
static struct forecast_outlook play(struct forecast *forecast, int64_t channel_id, shape *curve, int from_s,
                                    int to_s, double size_c) {
    struct forecast_outlook outlook;
    uint32_t state = 7;

    for (int t_s = from_s; t_s < to_s; t_s++) {
        const struct reading reading = {
            .t_ms = START + t_s * INT64_C(1000),
            .channel_id = channel_id,
            .value = llround(1000 * (curve(t_s) + noise_c(&state, size_c))),
        };

        forecast_feed(forecast, &reading);
    }
    forecast_read(forecast, START + (to_s - 1) * INT64_C(1000), &outlook);
    return outlook;
}

static void expect_begin(const struct forecast_outlook *outlook, double begin_s, double within_s) {
    const double found_s = (double)(outlook->complete_ms - limits.required_ms - START) / 1000;

    assert_true(outlook->complete_known);
    if (fabs(found_s - begin_s) > within_s)
        fail_msg("the soak is to begin at %.1f s, expected %.1f", found_s, begin_s);
}

static void a_straight_line_reaches_the_edge_when_it_does(void **state) {
    struct forecast *forecast = open_forecast();
    struct forecast_outlook outlook = play(forecast, 1, line, 0, 300, 0);

    (void)state;
    expect_begin(&outlook, 642, 0.1);
    assert_false(outlook.in_band);
    assert_false(outlook.peak_known); // a straight line ends nowhere
    outlook = play(forecast, 1, line, 300, 640, 0.2);
    expect_begin(&outlook, 642, 2);
    outlook = play(forecast, 1, line, 640, 660, 0);
    expect_begin(&outlook, 642, 0.001); // on the straight line between two readings
    assert_true(outlook.in_band);
    forecast_free(forecast);
}

static void an_approach_reaches_the_edge_when_it_does_and_ends_where_it_ends(void **state) {
    const double crosses_s = 240 * log(105.0 / 8);
    const double sizes_c[] = {0, 0.2};

    (void)state;
    for (size_t i = 0; i < sizeof sizes_c / sizeof *sizes_c; i++) {
        struct forecast *forecast = open_forecast();
        struct forecast_outlook outlook = play(forecast, 1, approach, 0, 400, sizes_c[i]);

        expect_begin(&outlook, crosses_s, sizes_c[i] > 0 ? 20 : 3);
        assert_true(outlook.peak_known);
        assert_in_range(outlook.peak_mc, sizes_c[i] > 0 ? 801000 : 804000, sizes_c[i] > 0 ? 809000 : 806000);
        assert_false(outlook.overshoot_coming);
        for (int t_s = 400; t_s < 3000; t_s += 10) {
            outlook = play(forecast, 1, approach, t_s, t_s + 10, sizes_c[i]);
            assert_false(outlook.overshoot_coming);
        }
        expect_begin(&outlook, crosses_s,
                     sizes_c[i] > 0 ? 20 : 0.1); // noise takes it through the edge more than once
        forecast_free(forecast);
    }
}

static void an_approach_that_ends_too_high_is_told_in_time(void **state) {
    struct forecast *forecast = open_forecast();
    const double passes_s = 300 * log(120.0 / 5);
    struct forecast_outlook outlook = {.in_band = false};
    int t_s = 0;

    (void)state;
    for (; !outlook.overshoot_coming && t_s < passes_s; t_s += 10)
        outlook = play(forecast, 1, approach_too_high, t_s, t_s + 10, 0.1);
    assert_true(passes_s - t_s > 180);
    assert_in_range(outlook.peak_mc, 818000, 822000);
    outlook = play(forecast, 1, approach_too_high, t_s, 1200, 0.1);
    assert_false(outlook.overshoot_coming); // it is there
    forecast_free(forecast);
}

static void nothing_is_said_of_an_edge_that_is_never_reached(void **state) {
    struct forecast *forecast = open_forecast();
    struct forecast_outlook outlook;

    (void)state;
    for (int t_s = 0; t_s < 1200; t_s += 10) {
        outlook = play(forecast, 1, approach_too_low, t_s, t_s + 10, 0.1);
        if (t_s > 200) // until then it may still be a straight line
            assert_false(outlook.complete_known);
    }
    forecast_free(forecast);
}

static void a_peak_is_seen_before_it_comes(void **state) {
    struct forecast *forecast = open_forecast();
    struct forecast_outlook outlook = {.in_band = false};
    double passes_s = 0, peak_c = second_order_peak();
    int t_s = 0;

    (void)state;
    while (second_order(passes_s) < 815)
        passes_s += 1;
    for (; !outlook.overshoot_coming && t_s < passes_s; t_s += 10)
        outlook = play(forecast, 1, second_order, t_s, t_s + 10, 0.1);
    assert_true(outlook.overshoot_coming);
    assert_true(passes_s - t_s >= 60);
    assert_true(fabs((double)outlook.peak_mc / 1000 - peak_c) < 0.5 * (peak_c - 805));
    forecast_free(forecast);
}

static void the_last_channel_decides_and_silence_says_nothing(void **state) {
    struct forecast *forecast = open_forecast();
    struct forecast_outlook outlook;

    (void)state;
    forecast_read(forecast, START, &outlook);
    assert_false(outlook.complete_known);
    assert_false(outlook.in_band);
    play(forecast, 1, approach, 0, 400, 0);
    outlook = play(forecast, 2, line, 0, 400, 0);
    expect_begin(&outlook, 642, 3);
    outlook = play(forecast, 2, line, 400, 410, 0); // the first is silent for more than three seconds
    assert_false(outlook.complete_known);
    for (int t_s = 410; t_s < 900; t_s++) {
        play(forecast, 1, approach, t_s, t_s + 1, 0);
        outlook = play(forecast, 2, line, t_s, t_s + 1, 0);
    }
    assert_true(outlook.in_band);
    expect_begin(&outlook, 642, 0.001);
    play(forecast, 2, line, 900, 950, 0);
    play(forecast, 1, approach, 930, 950, 0); // after a gap its time counts anew
    forecast_read(forecast, START + 949000, &outlook);
    expect_begin(&outlook, 930, 0.001);
    forecast_free(forecast);
    forecast_free(NULL);
}

static void what_is_not_good_is_passed_over(void **state) {
    struct forecast *forecast = open_forecast();
    struct forecast_outlook with = play(forecast, 1, line, 0, 300, 0), again;
    struct reading open = {.t_ms = START + 299500, .channel_id = 1, .quality = QUALITY_OPEN_SENSOR, .value = 0};

    (void)state;
    forecast_feed(forecast, &open);
    open.quality = QUALITY_GOOD;
    open.t_ms = START + 299000; // known already
    forecast_feed(forecast, &open);
    forecast_read(forecast, START + 299000, &again);
    assert_int_equal(with.complete_ms, again.complete_ms);
    forecast_free(forecast);
}

/* A short form of tool_forecast. The bounds are a little wider than what was found. */
static void the_virtual_shop_is_foretold_about_as_well_as_it_was(void **state) {
    enum { RUNS = 120, FIRST = 2000 }; // not among those that the forecast was tuned on
    size_t passing = 0, warned = 0, in_time = 0, false_alarms = 0, near = 0, known = 0;

    (void)state;
    for (uint64_t number = FIRST; number < FIRST + RUNS; number++) {
        struct heats_run run;
        struct heats_score score;

        heats_make(number, &run);
        heats_score(&run, &score);
        passing += run.passes;
        warned += run.passes && score.warned;
        in_time += run.passes && score.warned && score.warning_ms >= 60000;
        false_alarms += !run.passes && score.warned;
        known += score.known[0];
        near += score.known[0] && llabs(score.error_ms[0]) <= 7 * 60000;
        for (size_t look = 1; look < HEATS_LOOKS; look++) // in the band by then: nothing left to guess
            assert_true(score.known[look] && llabs(score.error_ms[look]) <= 2000);
        heats_free(&run);
    }
    print_message("%zu of %d pass the limit: %zu warned of; %zu false alarms; 30 min before %zu known, %zu near\n",
                  passing, RUNS, warned, false_alarms, known, near);
    assert_in_range(passing, RUNS / 3, RUNS * 2 / 3);
    assert_true(warned * 100 >= passing * 85);
    assert_true(in_time * 2 >= warned);
    assert_true(false_alarms * 100 <= (RUNS - passing) * 7);
    assert_true(near * 10 >= known * 9);
    assert_true(known * 10 >= RUNS * 8);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_straight_line_reaches_the_edge_when_it_does),
        cmocka_unit_test(an_approach_reaches_the_edge_when_it_does_and_ends_where_it_ends),
        cmocka_unit_test(an_approach_that_ends_too_high_is_told_in_time),
        cmocka_unit_test(nothing_is_said_of_an_edge_that_is_never_reached),
        cmocka_unit_test(a_peak_is_seen_before_it_comes),
        cmocka_unit_test(the_last_channel_decides_and_silence_says_nothing),
        cmocka_unit_test(what_is_not_good_is_passed_over),
        cmocka_unit_test(the_virtual_shop_is_foretold_about_as_well_as_it_was),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
