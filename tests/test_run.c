// SPDX-License-Identifier: MIT
/* run: made-up ovens on which the beginning and the end are known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdlib.h>

#include "soakledger/run.h"

enum { S = 1000, MIN = 60 * S, HOUR = 60 * MIN, PER_CENT = 1000 };
static const int64_t t0_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z

static const struct config_oven oven = {.name = "hardening",
                                        .begins_on_rise_mc = 15000,
                                        .rise_within_ms = 10 * MIN,
                                        .ends_after_ms = 20 * MIN,
                                        .ends_below_mc = 60000,
                                        .silent_after_ms = HOUR};

struct watch {
    struct run_detector *detector;
    int begun, ended;
    int64_t begun_ms, ended_ms;
    enum run_end end;
};

static void watch_open(struct watch *watch) {
    struct fault fault;

    *watch = (struct watch){.detector = run_open(&oven, &fault)};
    assert_non_null(watch->detector);
}

static void tell(struct watch *watch, enum channel_role role, int64_t t_ms, int64_t value, enum quality quality) {
    const struct reading reading = {t0_ms + t_ms, value, 1 + (int64_t)role, quality};

    switch (run_feed(watch->detector, role, &reading)) {
    case RUN_BEGUN:
        watch->begun++;
        watch->begun_ms = run_begun_ms(watch->detector) - t0_ms;
        break;
    case RUN_ENDED:
        watch->ended++;
        watch->ended_ms = t_ms;
        watch->end = run_end_reason(watch->detector);
        break;
    case RUN_SAME: break;
    }
}

/* Cold for 30 min, up to 805 C at 8 C/min, held for 40 min, then cooling by Newton's law with tau = 2 h. */
static const int64_t lit_ms = 30 * MIN, top_ms = 30 * MIN + 98 * MIN, off_ms = 30 * MIN + 98 * MIN + 40 * MIN;

static int64_t oven_mc(int64_t t_ms) {
    if (t_ms < lit_ms)
        return 21000;
    if (t_ms < top_ms)
        return 21000 + (t_ms - lit_ms) * 8 / 60;
    if (t_ms < off_ms)
        return 805000;
    return 21000 + llround(784000 * exp(-(double)(t_ms - off_ms) / (2.0 * HOUR)));
}

static int64_t noise(unsigned *seed) {
    return rand_r(seed) % 601 - 300; // +-0.3 C
}

enum { WITH_SETPOINT = 1, WITH_OUTPUT = 2 };

static void play(struct watch *watch, int with, int64_t until_ms) {
    unsigned seed = 4711;

    for (int64_t t = 0; t < until_ms; t += S) {
        const bool lit = t >= lit_ms && t < off_ms;

        tell(watch, ROLE_CONTROL, t, oven_mc(t) + noise(&seed), QUALITY_GOOD);
        if (with & WITH_SETPOINT)
            tell(watch, ROLE_SETPOINT, t, lit ? 805000 : 0, QUALITY_GOOD);
        if (with & WITH_OUTPUT)
            tell(watch, ROLE_OUTPUT, t, lit ? 30 * PER_CENT : 0, QUALITY_GOOD);
    }
}

static void a_run_is_seen_whatever_the_controller_tells(void **state) {
    (void)state;
    for (int with = 0; with < 4; with++) {
        struct watch watch;

        watch_open(&watch);
        play(&watch, with, 12 * HOUR);
        assert_int_equal(watch.begun, 1);
        assert_int_equal(watch.ended, 1);
        assert_in_range(watch.begun_ms, lit_ms - 10 * MIN, lit_ms + MIN);
        assert_int_equal(watch.end, RUN_END_COOLING);
        assert_in_range(watch.ended_ms, off_ms + 15 * MIN, off_ms + 23 * MIN);
        run_free(watch.detector);
    }
}

static void a_cold_oven_is_no_run(void **state) {
    struct watch watch;
    unsigned seed = 1;

    (void)state;
    watch_open(&watch);
    for (int64_t t = 0; t < 24 * HOUR; t += S) // the workshop warms by 12 C through the day
        tell(&watch, ROLE_CONTROL, t, 12000 + t * 12 / (24 * 3600) + noise(&seed), QUALITY_GOOD);
    assert_int_equal(watch.begun, 0);
    run_free(watch.detector);
}

static void a_long_soak_with_the_output_at_rest_now_and_then_is_one_run(void **state) {
    struct watch watch;

    (void)state;
    watch_open(&watch);
    play(&watch, WITH_SETPOINT | WITH_OUTPUT, off_ms - 1);
    for (int64_t t = off_ms; t < off_ms + 10 * HOUR; t += S) { // the output pulses for a minute in fifteen
        tell(&watch, ROLE_CONTROL, t, 805000, QUALITY_GOOD);
        tell(&watch, ROLE_SETPOINT, t, 805000, QUALITY_GOOD);
        tell(&watch, ROLE_OUTPUT, t, t / MIN % 15 == 0 ? 20 * PER_CENT : 0, QUALITY_GOOD);
    }
    assert_int_equal(watch.begun, 1);
    assert_int_equal(watch.ended, 0);
    run_free(watch.detector);
}

static void a_controlled_cooling_is_part_of_the_run(void **state) {
    struct watch watch;

    (void)state;
    watch_open(&watch);
    play(&watch, WITH_OUTPUT, off_ms - 1);
    for (int64_t t = off_ms; t < off_ms + 10 * HOUR; t += S) { // 15 C/h under power
        tell(&watch, ROLE_CONTROL, t, 805000 - (t - off_ms) * 15 / 3600, QUALITY_GOOD);
        tell(&watch, ROLE_OUTPUT, t, 12 * PER_CENT, QUALITY_GOOD);
    }
    assert_int_equal(watch.ended, 0);
    run_free(watch.detector);
}

static void a_standby_setpoint_does_not_keep_a_dead_oven_alive(void **state) {
    struct watch watch;

    (void)state;
    watch_open(&watch);
    play(&watch, WITH_SETPOINT | WITH_OUTPUT, off_ms - 1);
    for (int64_t t = off_ms; t < off_ms + 2 * HOUR; t += S) {
        tell(&watch, ROLE_CONTROL, t, oven_mc(t), QUALITY_GOOD);
        tell(&watch, ROLE_SETPOINT, t, 805000, QUALITY_GOOD);
        tell(&watch, ROLE_OUTPUT, t, 0, QUALITY_GOOD);
    }
    assert_int_equal(watch.ended, 1);
    assert_int_equal(watch.end, RUN_END_COOLING);
    run_free(watch.detector);
}

static void a_door_shut_again_on_a_dead_oven_begins_nothing(void **state) {
    struct watch watch;

    (void)state;
    watch_open(&watch);
    play(&watch, WITH_OUTPUT, off_ms + HOUR);
    assert_int_equal(watch.ended, 1);
    for (int64_t t = off_ms + HOUR; t < off_ms + 2 * HOUR; t += S) { // 60 C down while open, and back
        const int64_t open_ms = t - off_ms - HOUR;

        tell(&watch, ROLE_CONTROL, t, oven_mc(t) - (open_ms < 5 * MIN ? 60000 : 0), QUALITY_GOOD);
        tell(&watch, ROLE_OUTPUT, t, 0, QUALITY_GOOD);
    }
    assert_int_equal(watch.begun, 1);
    run_free(watch.detector);
}

static void a_controller_switched_off_ends_the_run_after_the_time_set(void **state) {
    struct watch watch;

    (void)state;
    watch_open(&watch);
    play(&watch, WITH_SETPOINT, off_ms - 1);
    for (int64_t t = off_ms; t < off_ms + 2 * HOUR; t += S)
        tell(&watch, ROLE_CONTROL, t, 0, QUALITY_NO_REPLY);
    assert_int_equal(watch.ended, 1);
    assert_int_equal(watch.end, RUN_END_SILENT);
    assert_in_range(watch.ended_ms, off_ms + HOUR - 2 * S, off_ms + HOUR + S);
    run_free(watch.detector);
}

static void a_cold_oven_ends_its_run_at_once(void **state) {
    struct watch watch;

    (void)state;
    watch_open(&watch);
    play(&watch, 0, off_ms);
    tell(&watch, ROLE_CONTROL, off_ms, 59000, QUALITY_GOOD);
    assert_int_equal(watch.end, RUN_END_COLD);
    run_free(watch.detector);
}

static void a_restarted_daemon_goes_on_with_the_run(void **state) {
    struct watch watch;

    (void)state;
    watch_open(&watch);
    run_resume(watch.detector, t0_ms + lit_ms, t0_ms + top_ms);
    for (int64_t t = top_ms + 2 * MIN; t < off_ms + HOUR; t += S)
        tell(&watch, ROLE_CONTROL, t, oven_mc(t), QUALITY_GOOD);
    assert_int_equal(watch.begun, 0);
    assert_int_equal(watch.ended, 1);
    assert_int_equal(watch.end, RUN_END_COOLING);
    assert_in_range(watch.ended_ms, off_ms + 15 * MIN, off_ms + 23 * MIN);
    run_free(watch.detector);
}

static void a_run_not_seen_for_too_long_is_over(void **state) {
    struct watch watch;

    (void)state;
    watch_open(&watch);
    run_resume(watch.detector, t0_ms + lit_ms, t0_ms + top_ms);
    tell(&watch, ROLE_CONTROL, top_ms + 5 * HOUR, 400000, QUALITY_GOOD);
    assert_int_equal(watch.ended, 1);
    assert_int_equal(watch.end, RUN_END_SILENT);
    run_free(watch.detector);
}

/* The recorder is started, or comes back, when the oven is hot already. */
static void a_run_that_nobody_saw_begin_is_seen_all_the_same(void **state) {
    enum { HOT_MC = 805000, COLD_MC = 21000, HALF_HOUR = 30 * MIN };
    struct watch watch;

    (void)state;
    watch_open(&watch);
    for (int64_t t = 0; t <= MIN; t += 10L * S) {
        tell(&watch, ROLE_CONTROL, t, HOT_MC, QUALITY_GOOD);
        assert_int_equal(watch.begun, t > 0 ? 1 : 0); // once the output is known to be on
        tell(&watch, ROLE_OUTPUT, t, 20L * PER_CENT, QUALITY_GOOD);
    }
    assert_int_equal(watch.begun_ms, 0);
    run_free(watch.detector);

    watch_open(&watch); // left to itself
    for (int64_t t = 0; t <= HOUR; t += 10L * S) {
        tell(&watch, ROLE_CONTROL, t, HOT_MC - t / 10, QUALITY_GOOD);
        tell(&watch, ROLE_OUTPUT, t, 0, QUALITY_GOOD);
    }
    tell(&watch, ROLE_OUTPUT, HOUR + S, 20L * PER_CENT, QUALITY_GOOD); // long after: a rise will tell
    tell(&watch, ROLE_CONTROL, HOUR + S, HOT_MC - HOUR / 10, QUALITY_GOOD);
    assert_int_equal(watch.begun, 0);
    run_free(watch.detector);

    watch_open(&watch); // cold, unseen for half an hour, hot
    tell(&watch, ROLE_CONTROL, 0, COLD_MC, QUALITY_GOOD);
    tell(&watch, ROLE_OUTPUT, HALF_HOUR, 90L * PER_CENT, QUALITY_GOOD);
    tell(&watch, ROLE_CONTROL, HALF_HOUR, HOT_MC, QUALITY_GOOD);
    assert_int_equal(watch.begun, 1);
    assert_int_equal(watch.begun_ms, HALF_HOUR);
    run_free(watch.detector);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_run_is_seen_whatever_the_controller_tells),
        cmocka_unit_test(a_cold_oven_is_no_run),
        cmocka_unit_test(a_long_soak_with_the_output_at_rest_now_and_then_is_one_run),
        cmocka_unit_test(a_controlled_cooling_is_part_of_the_run),
        cmocka_unit_test(a_standby_setpoint_does_not_keep_a_dead_oven_alive),
        cmocka_unit_test(a_door_shut_again_on_a_dead_oven_begins_nothing),
        cmocka_unit_test(a_controller_switched_off_ends_the_run_after_the_time_set),
        cmocka_unit_test(a_cold_oven_ends_its_run_at_once),
        cmocka_unit_test(a_restarted_daemon_goes_on_with_the_run),
        cmocka_unit_test(a_run_that_nobody_saw_begin_is_seen_all_the_same),
        cmocka_unit_test(a_run_not_seen_for_too_long_is_over),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
