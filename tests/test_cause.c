// SPDX-License-Identifier: MIT
/* cause: injected causes come first, healthy ovens have none, what is not measured is not guessed, and the words
 * are plain. The whole study is tool_cause; here are a few of its runs, with other seeds. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/cause_shop.h"

enum { SEEDS_FROM = 900000, RUNS = 2 };

static struct cause_shop *play(uint64_t seed, enum cause_shop_kit kit, const enum cause *causes, size_t count) {
    struct cause_shop *shop = malloc(sizeof *shop);

    assert_non_null(shop);
    cause_shop_play(seed, kit, causes, count, shop);
    return shop;
}

/* Of 2 runs of each of 8 causes at most one may be missed. */
static void what_was_injected_comes_first(void **state) {
    int missed = 0;

    (void)state;
    for (int i = 0; i < CAUSE_COUNT * RUNS; i++) {
        const enum cause cause = (enum cause)(i / RUNS);
        struct cause_shop *shop = play(SEEDS_FROM + (uint64_t)i, KIT_FULL, &cause, 1);

        if (shop->failed && shop->opinions[0].cause != cause) {
            print_message("%s: %s comes first\n", shop->story, cause_name(shop->opinions[0].cause));
            missed++;
        }
        free(shop);
    }
    assert_in_range(missed, 0, 1);
}

static void where_nothing_is_wrong_nothing_is_told(void **state) {
    (void)state;
    for (uint64_t i = 0; i < 4; i++) {
        struct cause_shop *shop = play(SEEDS_FROM + 100 + i, (enum cause_shop_kit)i, NULL, 0);

        assert_true(shop->failed);
        if (shop->told)
            fail_msg("%s: told %s", shop->story, cause_name(shop->opinions[0].cause));
        free(shop);
    }
}

static const struct cause_opinion *find(const struct cause_shop *shop, enum cause cause) {
    for (int i = 0; i < CAUSE_COUNT; i++)
        if (shop->opinions[i].cause == cause)
            return &shop->opinions[i];
    return NULL;
}

static bool has_sign(const struct cause_opinion *opinion, enum cause_sign sign) {
    for (size_t i = 0; i < opinion->evidence_count; i++)
        if (opinion->evidence[i].sign == sign)
            return true;
    return false;
}

/* The control sensor alone: a slow oven may have weak elements or a heavy charge, and nobody can tell. */
static void what_cannot_be_seen_is_said(void **state) {
    static const enum cause overload = CAUSE_OVERLOAD;
    struct cause_shop *shop = play(SEEDS_FROM + 200, KIT_ALONE, &overload, 1);

    (void)state;
    assert_true(shop->failed);
    assert_false(shop->told);
    assert_true(has_sign(find(shop, CAUSE_OVERLOAD), SIGN_NOT_MEASURED));
    assert_true(has_sign(find(shop, CAUSE_ELEMENT), SIGN_NOT_MEASURED));
    assert_true(has_sign(find(shop, CAUSE_SETPOINT), SIGN_NOT_MEASURED));
    free(shop);
}

/* Without earlier runs there is nothing to compare with: no evidence may rest on it. */
static void without_earlier_runs_nothing_is_compared(void **state) {
    static const enum cause element = CAUSE_ELEMENT;
    static const enum cause_sign COMPARED[] = {SIGN_STRENGTH, SIGN_STRENGTH_FALLS, SIGN_HOLDING,
                                               SIGN_TRAIL,    SIGN_EQUALISING,     SIGN_DIFFERENCE};
    struct cause_shop *shop = play(SEEDS_FROM + 300, KIT_FULL, &element, 1);

    (void)state;
    cause_weigh(&shop->task, &shop->signs, NULL, NULL, shop->verdicts, shop->verdict_count, shop->opinions);
    for (int i = 0; i < CAUSE_COUNT; i++)
        for (size_t k = 0; k < sizeof COMPARED / sizeof COMPARED[0]; k++)
            assert_false(has_sign(&shop->opinions[i], COMPARED[k]));
    free(shop);
}

/* What many runs say of a sensor speaks for it, and for nothing else. */
static void a_history_speaks_for_its_sensor(void **state) {
    struct cause_shop *shop = play(SEEDS_FROM + 400, KIT_FULL, NULL, 0);
    const struct cause_history history = {.channel_id = 4, .error_c = 6, .sure = 0.9};
    struct cause_opinion without[CAUSE_COUNT];

    (void)state;
    cause_weigh(&shop->task, &shop->signs, NULL, NULL, shop->verdicts, shop->verdict_count, without);
    cause_weigh(&shop->task, &shop->signs, NULL, &history, shop->verdicts, shop->verdict_count, shop->opinions);
    assert_true(has_sign(find(shop, CAUSE_SENSOR), SIGN_HISTORY));
    assert_false(has_sign(find(shop, CAUSE_DOOR), SIGN_HISTORY));
    for (int i = 0; i < CAUSE_COUNT; i++)
        if (without[i].cause == CAUSE_SENSOR)
            assert_true(find(shop, CAUSE_SENSOR)->score > without[i].score + 1);
    free(shop);
}

/* ---- signs of a run that is worked out by hand ---- */

enum { CONTROL = 1, SETPOINT, OUTPUT, LOAD };
static const struct judge_channel CHANNELS[] = {
    {.channel_id = CONTROL, .name = "control", .role = ROLE_CONTROL, .interval_ms = 1000},
    {.channel_id = SETPOINT, .name = "setpoint", .role = ROLE_SETPOINT, .interval_ms = 1000},
    {.channel_id = OUTPUT, .name = "output", .role = ROLE_OUTPUT, .interval_ms = 1000},
    {.channel_id = LOAD, .name = "load", .role = ROLE_LOAD, .interval_ms = 1000},
};

static void feed(struct cause_watch *watch, int64_t id, int64_t t_ms, double value) {
    const struct reading reading = {.t_ms = t_ms, .channel_id = id, .value = llround(value * 1000)};

    cause_feed(watch, &reading);
}

/* From 20 C at 0.5 C/s and full output to 800 C, the load 30 C behind; an hour there with 40 % output, the load 2 C
 * under it; in the middle of the hour a dip of 20 C at 0.2 C/s that comes back as fast; then off. */
static void signs_are_those_of_the_run(void **state) {
    static const struct cause_task task = {800, 8, 10, 1200000};
    enum { RISE_S = 1560, HOUR_S = 3600, DIP_S = 1800, FALL_S = 100 };
    struct fault fault;
    struct cause_watch *watch = cause_open(&task, CHANNELS, 4, &fault);
    const struct cause_signs *signs;
    const int64_t start_ms = 1000000;

    (void)state;
    assert_non_null(watch);
    for (int s = 0; s < RISE_S + HOUR_S + 600; s++) {
        const int level_s = s - RISE_S, dip_s = level_s - DIP_S, off_s = level_s - HOUR_S;
        const int64_t t_ms = start_ms + (int64_t)s * 1000;
        double control = level_s < 0 ? 20 + 0.5 * s : 800, output = level_s < 0 ? 100 : 40;

        if (dip_s >= 0 && dip_s < 2 * FALL_S) {
            control -= 0.2 * (dip_s < FALL_S ? dip_s : 2 * FALL_S - dip_s);
            output = 90;
        }
        if (off_s >= 0) {
            control -= 0.1 * off_s;
            output = 0;
        }
        feed(watch, CONTROL, t_ms, control);
        feed(watch, SETPOINT, t_ms, off_s >= 0 ? 0 : 800);
        feed(watch, OUTPUT, t_ms, output);
        feed(watch, LOAD, t_ms, level_s < 0 ? control - 30 : level_s < 280 ? 770 + 0.1 * level_s : control - 2);
    }
    cause_end(watch, start_ms + INT64_C(1000) * (RISE_S + HOUR_S + 600));
    signs = cause_read(watch);
    assert_int_equal(signs->dip_count, 1);
    assert_true(fabs(signs->dips[0].depth_c - 20) < 2);
    assert_true(fabs(signs->dips[0].fall_c_per_s - 0.2) < 0.01);
    assert_in_range(signs->dips[0].begun_ms, start_ms + 1000 * (RISE_S + DIP_S),
                    start_ms + 1000 * (RISE_S + DIP_S + 30));
    assert_true(fabs(signs->dips[0].output_before - 0.4) < 0.08);
    assert_true(fabs(signs->level.mean - 800) < 1);
    assert_true(fabs(signs->output.mean - 0.4) < 0.05);
    assert_true(fabs(signs->differences[0].mean + 2) < 0.3);
    assert_true(fabs(signs->setpoint_c - 800) < 0.01);
    assert_in_range(signs->told_ms, start_ms + 1000 * (RISE_S + HOUR_S), start_ms + 1000 * (RISE_S + HOUR_S + 20));
    assert_true(fabs(signs->bins[8].slope_c_per_s / signs->bins[8].steps - 0.5) < 0.01);
    assert_true(fabs(signs->bins[8].trail_c / signs->bins[8].trail_steps - 30) < 0.1);
    assert_true(fabs(signs->cools_c_per_s - 0.1) < 0.03);
    assert_int_equal(signs->swings, 0);
    cause_free(watch);
}

static void every_sign_and_cause_has_words(void **state) {
    char text[CAUSE_TEXT_BYTES];

    (void)state;
    for (int i = 0; i < CAUSE_COUNT; i++) {
        assert_true(strlen(cause_name((enum cause)i)) > 5);
        assert_true(strlen(cause_settle((enum cause)i)) > 20);
    }
    for (int i = 0; i <= SIGN_NOT_MEASURED; i++) {
        const struct cause_evidence evidence = {
            .sign = (enum cause_sign)i, .weight = 1, .value = 0.5, .usual = 0.25, .t_ms = INT64_C(1794812400000)};

        cause_describe(&evidence, "front", UNIT_CELSIUS, 60, text);
        assert_true(strlen(text) > 10 && strlen(text) < CAUSE_TEXT_BYTES - 1);
        assert_null(strstr(text, "nan"));
    }
    cause_describe(&(struct cause_evidence){.sign = SIGN_SETPOINT, .value = 780, .usual = 805}, NULL, UNIT_CELSIUS,
                   0, text);
    assert_string_equal(text, "the controller was told 780.0 °C; the plan says 805.0 °C");
    assert_string_equal(cause_grade(CAUSE_LIKELY), "likely");
    assert_string_equal(cause_grade(CAUSE_LIKELY - 0.01), "possible");
    assert_string_equal(cause_grade(CAUSE_POSSIBLE - 0.01), "unlikely");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_injected_comes_first),
        cmocka_unit_test(where_nothing_is_wrong_nothing_is_told),
        cmocka_unit_test(what_cannot_be_seen_is_said),
        cmocka_unit_test(without_earlier_runs_nothing_is_compared),
        cmocka_unit_test(a_history_speaks_for_its_sensor),
        cmocka_unit_test(signs_are_those_of_the_run),
        cmocka_unit_test(every_sign_and_cause_has_words),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
