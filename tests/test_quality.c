// SPDX-License-Identifier: MIT
/* What of a good value can be believed: frozen ones, steps beyond physics, and what is neither. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <string.h>

#include "soakledger/quality.h"

enum { CHANNELS = 4, CONTROL = 0, LOAD = 1, SETPOINT = 2, ELSEWHERE = 3, SECOND_MS = 1000 };

struct bench {
    struct config config;
    struct config_channel channels[CHANNELS];
    struct quality_watch *watch;
};

static void open_bench(struct bench *bench, int64_t frozen_after_ms, int64_t moves_at_most_mc_per_s) {
    memset(bench, 0, sizeof *bench);
    bench->config.channel_count = CHANNELS;
    bench->config.channels = bench->channels;
    bench->channels[LOAD].role = ROLE_LOAD;
    bench->channels[SETPOINT].role = ROLE_SETPOINT;
    bench->channels[ELSEWHERE].oven = 1;
    bench->channels[CONTROL].fitting.frozen_after_ms = frozen_after_ms;
    bench->channels[CONTROL].fitting.moves_at_most_mc_per_h = moves_at_most_mc_per_s * 3600;
    bench->watch = quality_open(&bench->config);
    assert_non_null(bench->watch);
}

static enum quality see(struct bench *bench, size_t channel, int64_t t_ms, int64_t value) {
    struct reading reading = {.t_ms = t_ms, .value = value};

    quality_judge(bench->watch, channel, &reading);
    assert_int_equal(reading.value, reading.quality == QUALITY_GOOD ? value : 0);
    return reading.quality;
}

static void a_cold_oven_is_not_frozen(void **state) {
    struct bench bench;

    (void)state;
    open_bench(&bench, 60 * SECOND_MS, 0);
    for (int64_t s = 0; s < 3600; s++) {
        assert_int_equal(see(&bench, CONTROL, s * SECOND_MS, 21000), QUALITY_GOOD);
        assert_int_equal(see(&bench, LOAD, s * SECOND_MS, 21000 + s % 10 * 1000), QUALITY_GOOD); // less than ten
        assert_int_equal(see(&bench, SETPOINT, s * SECOND_MS, s * 1000), QUALITY_GOOD);          // not measured
        assert_int_equal(see(&bench, ELSEWHERE, s * SECOND_MS, s * 1000), QUALITY_GOOD);         // another oven
    }
    quality_free(bench.watch);
}

static void what_stands_while_its_oven_moves_is_frozen(void **state) {
    struct bench bench;
    int64_t frozen_s = 0;

    (void)state;
    open_bench(&bench, 60 * SECOND_MS, 0);
    for (int64_t s = 0; s < 200; s++) {
        const enum quality quality = see(&bench, CONTROL, s * SECOND_MS, 500000);

        assert_int_equal(see(&bench, LOAD, s * SECOND_MS, 400000 + s * 500), QUALITY_GOOD);
        assert_true(quality == QUALITY_GOOD || quality == QUALITY_STALE);
        if (quality == QUALITY_STALE && frozen_s == 0)
            frozen_s = s;
        assert_int_equal(quality == QUALITY_STALE, s > 60); // the load had moved by ten degrees after 20 s
    }
    assert_int_equal(frozen_s, 61);
    // It stays so when the oven comes to rest, and until its value changes.
    assert_int_equal(see(&bench, LOAD, 300 * SECOND_MS, 499500), QUALITY_GOOD);
    assert_int_equal(see(&bench, CONTROL, 3000 * SECOND_MS, 500000), QUALITY_STALE);
    assert_int_equal(see(&bench, CONTROL, 3001 * SECOND_MS, 500100), QUALITY_GOOD);
    assert_int_equal(see(&bench, CONTROL, 3002 * SECOND_MS, 500100), QUALITY_GOOD);
    // What moved before it last changed is no reason.
    assert_int_equal(see(&bench, CONTROL, 3100 * SECOND_MS, 500100), QUALITY_GOOD);
    quality_free(bench.watch);
}

static void frozen_is_off_unless_asked_for(void **state) {
    struct bench bench;

    (void)state;
    open_bench(&bench, 0, 0);
    for (int64_t s = 0; s < 200; s++) {
        assert_int_equal(see(&bench, CONTROL, s * SECOND_MS, 500000), QUALITY_GOOD);
        assert_int_equal(see(&bench, LOAD, s * SECOND_MS, 400000 + s * 90000), QUALITY_GOOD);
    }
    quality_free(bench.watch);
}

static void a_step_is_doubted_until_two_agree(void **state) {
    static const struct {
        int64_t t_ms, value;
        enum quality quality;
    } readings[] = {
        {0, 800000, QUALITY_GOOD},
        {1000, 860000, QUALITY_GOOD},        // 60 C in a second is allowed ...
        {2000, 920001, QUALITY_IMPLAUSIBLE}, // ... and not a thousandth more
        {3000, 860000, QUALITY_IMPLAUSIBLE}, // back, and further from the one before than allowed
        {4000, 860500, QUALITY_GOOD},
        {5000, 20000, QUALITY_IMPLAUSIBLE},
        {6000, 20100, QUALITY_GOOD}, // two that agree are believed, wherever they are
        {7000, 900000, QUALITY_IMPLAUSIBLE},
        {8000, 100000, QUALITY_IMPLAUSIBLE},
        {9000, 700000, QUALITY_IMPLAUSIBLE}, // never two that agree
        {19000, 110000, QUALITY_GOOD},       // 590 C in ten seconds
        {19001, 50000, QUALITY_GOOD},        // less than a second counts as one
        {19002, 120000, QUALITY_IMPLAUSIBLE},
    };
    struct bench bench;

    (void)state;
    open_bench(&bench, 0, 60000);
    for (size_t i = 0; i < sizeof readings / sizeof readings[0]; i++)
        if (see(&bench, CONTROL, readings[i].t_ms, readings[i].value) != readings[i].quality)
            fail_msg("at %lld ms", (long long)readings[i].t_ms);
    quality_free(bench.watch);
}

/* A reading without a value is none to hold the next against, and keeps its own reason. */
static void what_has_no_value_changes_nothing(void **state) {
    struct bench bench;
    struct reading none = {.t_ms = 1000, .quality = QUALITY_OPEN_SENSOR};

    (void)state;
    open_bench(&bench, 2 * SECOND_MS, 60000);
    assert_int_equal(see(&bench, CONTROL, 0, 800000), QUALITY_GOOD);
    quality_judge(bench.watch, CONTROL, &none);
    assert_int_equal(none.quality, QUALITY_OPEN_SENSOR);
    assert_int_equal(see(&bench, CONTROL, 2000, 920000), QUALITY_GOOD); // 120 C in two seconds
    quality_free(bench.watch);
    quality_free(NULL);
}

/* A spike that nobody believes has not moved its oven. */
static void a_doubted_value_moves_nothing(void **state) {
    struct bench bench;

    (void)state;
    open_bench(&bench, 2 * SECOND_MS, 0);
    bench.channels[LOAD].fitting.moves_at_most_mc_per_h = INT64_C(1000) * 3600;
    for (int64_t s = 0; s < 100; s++) {
        assert_int_equal(see(&bench, CONTROL, s * SECOND_MS, 500000), QUALITY_GOOD);
        see(&bench, LOAD, s * SECOND_MS, s % 20 == 10 ? 900000 : 500000);
    }
    quality_free(bench.watch);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_cold_oven_is_not_frozen),
        cmocka_unit_test(what_stands_while_its_oven_moves_is_frozen),
        cmocka_unit_test(frozen_is_off_unless_asked_for),
        cmocka_unit_test(a_step_is_doubted_until_two_agree),
        cmocka_unit_test(what_has_no_value_changes_nothing),
        cmocka_unit_test(a_doubted_value_moves_nothing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
