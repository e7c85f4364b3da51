// SPDX-License-Identifier: MIT
/* temper: published sums and single steps; a constant temperature counts as its time; a varying one against its own
 * differential equation, solved another way. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/temper.h"

enum { S = 1000, MIN = 60 * S, HOUR = 60 * MIN, C = 1000 };
static const int64_t t0_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z
static const double kelvin_at_0_c = 273.15;
static const double usual = TEMPER_USUAL_CONSTANT;

static void assert_near(double found, double expected, double tolerance) {
    if (!(fabs(found - expected) <= tolerance))
        fail_msg("%.9g: expected %.9g within %.3g", found, expected, tolerance);
}

/* ---- published values ---- */

/* The table's way: each whole treatment turned into time at the first one's temperature, and those added. */
static double add_by_hand(const double *celsius, const double *hours, size_t count) {
    const int64_t first_mc = llround(celsius[0] * C);
    double sum_h = 0;

    for (size_t i = 0; i < count; i++)
        sum_h += temper_equivalent_h(llround(celsius[i] * C), hours[i], first_mc, usual);
    return temper_parameter(first_mc, sum_h, usual);
}

static void test_published_treatments(void **state) {
    FILE *file = fopen("tests/reference/tempering.csv", "r");
    char line[256];
    int rows = 0;

    (void)state;
    assert_non_null(file);
    while (fgets(line, sizeof line, file) != NULL) {
        double celsius[3], hours[3], parameter;

        if (sscanf(line, "%lf,%lf,%lf,%lf,%lf,%lf,%lf", &celsius[0], &hours[0], &celsius[1], &hours[1], &celsius[2],
                   &hours[2], &parameter) != 7)
            continue;
        rows++;
        assert_near(add_by_hand(celsius, hours, 3), parameter, 3);
    }
    fclose(file);
    assert_int_equal(rows, 2);
}

/* P = 24000 at 1073 K takes 232.91 h: a published worked example for the alloy S-590 with C = 20. */
static void test_published_single_step(void **state) {
    const int64_t at_mc = 1073 * C - 273150;

    (void)state;
    assert_near(temper_time_h(24000, at_mc, usual), 232.91, 0.005);
    assert_near(temper_parameter(at_mc, 232.91, usual), 24000, 0.01); // d P = T / (t ln 10) dt: 0.005 h is 0.01
}

/* Ms 200, at 25 C: about 15 % (metallurgyzone.com); exp(-0.011 * 175) is 0.14588. */
static void test_published_austenite(void **state) {
    (void)state;
    assert_near(temper_retained_austenite(200 * C, 25 * C), 0.1459, 0.00005);
    assert_near(temper_retained_austenite(200 * C, -75 * C), 0.04856, 0.00005); // exp(-0.011 * 275)
    assert_true(temper_retained_austenite(200 * C, 200 * C) == 1);
    assert_true(temper_retained_austenite(200 * C, 400 * C) == 1);
    assert_near(temper_retained_austenite(200 * C, 199 * C), exp(-0.011), 1e-12);
}

static void test_conversions_agree(void **state) {
    (void)state;
    for (int64_t mc = -80 * C; mc <= 700 * C; mc += 37 * C) {
        const double parameter = temper_parameter(mc, 1.5, usual);

        assert_near(temper_time_h(parameter, mc, usual), 1.5, 1e-11);
        assert_near(temper_equivalent_h(mc, 1.5, mc, usual), 1.5, 1e-11);
        assert_near(temper_parameter(200 * C, temper_equivalent_h(mc, 1.5, 200 * C, usual), usual), parameter,
                    1e-8);
    }
    assert_near(temper_parameter(200 * C, 1, 15), (200 + kelvin_at_0_c) * 15, 1e-9);
    assert_near(temper_parameter(200 * C, 10, 15), (200 + kelvin_at_0_c) * 16, 1e-9);
}

/* ---- sums ---- */

static void add_at(struct temper_sum *sum, int64_t t_ms, int64_t value, enum quality quality) {
    const struct reading reading = {.t_ms = t0_ms + t_ms, .value = value, .channel_id = 1, .quality = quality};

    temper_add(sum, &reading);
}

static double sum_constant(int64_t at_mc, int64_t length_ms, int64_t step_ms) {
    struct temper_sum sum;

    temper_begin(&sum, 200 * C, usual, 10 * MIN);
    for (int64_t t = 0; t <= length_ms; t += step_ms)
        add_at(&sum, t, at_mc, QUALITY_GOOD);
    assert_int_equal(sum.missing_ms, 0);
    return sum.equivalent_h;
}

/* However often it is read, and at whatever temperature. A factor's rounding, 1e-16, over 72000 steps: 1e-11. */
static void test_constant_temperature_is_its_time(void **state) {
    static const int64_t steps_ms[] = {100, S, 10 * S, 7 * MIN + 30 * S};
    static const int64_t at_mc[] = {150 * C, 190 * C, 200 * C, 240 * C, 540 * C};

    (void)state;
    for (size_t i = 0; i < sizeof steps_ms / sizeof steps_ms[0]; i++)
        for (size_t k = 0; k < sizeof at_mc / sizeof at_mc[0]; k++) {
            const double expected = temper_equivalent_h(at_mc[k], 2, 200 * C, usual);

            assert_near(sum_constant(at_mc[k], 2 * HOUR, steps_ms[i]) / expected, 1, 1e-10);
        }
    assert_near(sum_constant(200 * C, 2 * HOUR, S), 2, 1e-10);
}

/* Half an hour at 180 C, then 40 K/h up to 200 C, then half an hour there and down to 190 C at 40 K/h. */
static double profile_c(double h) {
    if (h <= 0.5)
        return 180;
    if (h <= 1)
        return 180 + 40 * (h - 0.5);
    return h <= 1.5 ? 200 : 200 - 40 * (h - 1.5);
}
enum { PROFILE_MS = 105 * MIN };

static double sum_profile(int64_t step_ms, int64_t reference_mc) {
    struct temper_sum sum;

    temper_begin(&sum, reference_mc, usual, 10 * MIN);
    for (int64_t t = 0; t <= PROFILE_MS; t += step_ms)
        add_at(&sum, t, llround(profile_c((double)t / HOUR) * C), QUALITY_GOOD);
    return temper_parameter(reference_mc, sum.equivalent_h, usual);
}

/* dP/dt = T / (t ln 10) at constant T, and t = 10^(P/T - C). */
static double slope_of_p(double p, double h) {
    const double k = profile_c(h) + kelvin_at_0_c;

    return k / (log(10) * pow(10, p / k - usual));
}

/* Runge-Kutta of fourth order from the end of the first hold, where P is known in closed form. */
static double solve_profile(void) {
    const int steps = 125000;
    const double from_h = 0.5, until_h = (double)PROFILE_MS / HOUR, step = (until_h - from_h) / steps;
    double p = (180 + kelvin_at_0_c) * (usual + log10(from_h));

    for (int i = 0; i < steps; i++) {
        const double h = from_h + i * step;
        const double a = slope_of_p(p, h), b = slope_of_p(p + a * step / 2, h + step / 2);
        const double c = slope_of_p(p + b * step / 2, h + step / 2), d = slope_of_p(p + c * step, h + step);

        p += step / 6 * (a + 2 * b + 2 * c + d);
    }
    return p;
}

/* A step at its mean temperature errs by the square of its length: five times shorter, 25 times less. */
static void test_varying_temperature_has_a_limit(void **state) {
    const double limit = solve_profile();
    const double coarse = fabs(sum_profile(5 * MIN, 200 * C) - limit);
    const double fine = fabs(sum_profile(MIN, 200 * C) - limit);

    (void)state;
    assert_true(coarse > 1e-4); // else there would be nothing to converge
    assert_true(fine < coarse / 20);
    assert_near(sum_profile(10 * S, 200 * C), limit, coarse / 500);
    assert_near(sum_profile(S, 200 * C), limit, 2e-5); // a value is read to 0.001 C: 0.0005 * P / T is 0.01 at most
}

static void test_reference_only_counts(void **state) {
    (void)state;
    assert_near(sum_profile(10 * S, 200 * C), sum_profile(10 * S, 180 * C), 1e-6);
    assert_near(sum_profile(10 * S, 200 * C), sum_profile(10 * S, 650 * C), 1e-6);
}

/* Holds one after another in closed form: what was reached, as time at the next temperature, plus the next. */
static void test_holds_one_after_another(void **state) {
    static const int64_t at_mc[] = {190 * C, 175 * C, 205 * C};
    double reached = 0;
    struct temper_sum sum;
    int64_t t = 0;

    (void)state;
    temper_begin(&sum, 200 * C, usual, 2 * HOUR);
    for (size_t i = 0; i < 3; i++) {
        const double before_h = i == 0 ? 0 : temper_time_h(reached, at_mc[i], usual);

        reached = temper_parameter(at_mc[i], before_h + 1.25, usual);
        add_at(&sum, t, at_mc[i], QUALITY_GOOD);
        add_at(&sum, t + HOUR, at_mc[i], QUALITY_GOOD);
        add_at(&sum, t + 75 * MIN, at_mc[i], QUALITY_GOOD);
        t += 75 * MIN + 1; // the millisecond between two holds is worth 1e-7 of them
    }
    assert_near(temper_parameter(200 * C, sum.equivalent_h, usual), reached, 1e-3);
}

static void test_long_steps_are_missing(void **state) {
    struct temper_sum sum;

    (void)state;
    temper_begin(&sum, 200 * C, usual, 10 * S);
    add_at(&sum, 0, 200 * C, QUALITY_GOOD);
    assert_true(sum.equivalent_h == 0 && sum.missing_ms == 0);
    add_at(&sum, 10 * S, 200 * C, QUALITY_GOOD);
    assert_near(sum.equivalent_h * HOUR, 10 * S, 1e-6);
    add_at(&sum, 15 * S, 900 * C, QUALITY_OPEN_SENSOR);
    add_at(&sum, 20 * S + 1, 200 * C, QUALITY_GOOD); // 10.001 s since the last good one
    assert_int_equal(sum.missing_ms, 10 * S + 1);
    assert_near(sum.equivalent_h * HOUR, 10 * S, 1e-6);
    add_at(&sum, 30 * S + 1, 200 * C, QUALITY_GOOD);
    assert_near(sum.equivalent_h * HOUR, 20 * S, 1e-6);
    add_at(&sum, 50 * S + 1, 200 * C, QUALITY_GOOD);
    assert_int_equal(sum.missing_ms, 30 * S + 1);
    assert_near(sum.equivalent_h * HOUR, 20 * S, 1e-6);
}

/* In liquid nitrogen, at absolute zero and below what any sensor may say, nothing is tempered, added or broken. */
static void test_cold_adds_nothing(void **state) {
    static const int64_t cold_mc[] = {20 * C, -80 * C, -196 * C, -273 * C, -273150, -300 * C};
    struct temper_sum sum;
    int64_t t = HOUR;

    (void)state;
    temper_begin(&sum, 200 * C, usual, 2 * HOUR);
    add_at(&sum, 0, 200 * C, QUALITY_GOOD);
    add_at(&sum, t, 200 * C, QUALITY_GOOD);
    for (size_t i = 0; i < sizeof cold_mc / sizeof cold_mc[0]; i++) {
        const double before_h = sum.equivalent_h;

        add_at(&sum, t + 1, cold_mc[i], QUALITY_GOOD);
        add_at(&sum, t += HOUR, cold_mc[i], QUALITY_GOOD);
        assert_true(isfinite(sum.equivalent_h) && sum.equivalent_h >= before_h);
    }
    assert_near(sum.equivalent_h, 1, 1e-6);
    temper_begin(&sum, 200 * C, usual, 2 * HOUR);
    add_at(&sum, 0, -273 * C, QUALITY_GOOD);
    for (t = S; t < HOUR; t += S)
        add_at(&sum, t, t < MIN ? -273 * C : 200 * C, QUALITY_GOOD);
    assert_near(sum.equivalent_h, 3540.0 / 3600, 1e-3);
}

/* ---- what may not matter ---- */

static int between(unsigned *seed, int least, int most) {
    return least + rand_r(seed) % (most - least + 1);
}

/* The same temper four ways: as it is; three days later; with duplicates and bad readings in between. */
static bool is_indifferent(unsigned seed) {
    struct temper_sum plain, shifted, stuffed;
    int64_t t = 0, value = between(&seed, 20 * C, 300 * C);

    temper_begin(&plain, 200 * C, usual, 5 * S);
    shifted = stuffed = plain;
    for (int i = 0; i < 400; i++) {
        add_at(&plain, t, value, QUALITY_GOOD);
        add_at(&shifted, t + 72 * HOUR, value, QUALITY_GOOD);
        add_at(&stuffed, t, value, QUALITY_GOOD);
        if (between(&seed, 0, 2) == 0)
            add_at(&stuffed, t, value + between(&seed, 0, 1) * C, QUALITY_GOOD);
        if (between(&seed, 0, 2) == 0)
            add_at(&stuffed, t - between(&seed, 1, 9 * S), 600 * C, QUALITY_GOOD);
        if (between(&seed, 0, 2) == 0)
            add_at(&stuffed, t + 1, 600 * C, QUALITY_OPEN_SENSOR);
        t += between(&seed, 0, 30) == 0 ? between(&seed, 4 * S, 9 * S) : between(&seed, 100, 2 * S);
        value += between(&seed, -300, 300);
    }
    return plain.equivalent_h > 0 && plain.missing_ms > 0 && plain.equivalent_h == shifted.equivalent_h &&
           plain.missing_ms == shifted.missing_ms && plain.equivalent_h == stuffed.equivalent_h &&
           plain.missing_ms == stuffed.missing_ms;
}

/* Readings added on the line between two change only how the mean is taken, which the limit above bounds; on a
 * level line they change nothing but the last digits. */
static bool bears_splitting(unsigned seed) {
    const int64_t at_mc = between(&seed, 100 * C, 600 * C);
    struct temper_sum whole, split;

    temper_begin(&whole, 200 * C, usual, 10 * S);
    split = whole;
    for (int64_t t = 0; t < 20 * MIN; t += 10 * S) {
        add_at(&whole, t, at_mc, QUALITY_GOOD);
        add_at(&split, t, at_mc, QUALITY_GOOD);
        for (int64_t part = between(&seed, 1, 5 * S); part < 10 * S; part += between(&seed, 1, 5 * S))
            add_at(&split, t + part, at_mc, QUALITY_GOOD);
    }
    add_at(&whole, 20 * MIN, at_mc, QUALITY_GOOD);
    add_at(&split, 20 * MIN, at_mc, QUALITY_GOOD);
    return split.missing_ms == 0 && fabs(split.equivalent_h / whole.equivalent_h - 1) <= 1e-11;
}

static void test_shift_duplicates_and_splitting(void **state) {
    (void)state;
    for (unsigned seed = 1; seed <= 200; seed++) {
        if (!is_indifferent(seed))
            fail_msg("seed %u: a shift, a duplicate or a bad reading changed the sum", seed);
        if (!bears_splitting(seed))
            fail_msg("seed %u: splitting a level line changed the sum", seed);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published_treatments),
        cmocka_unit_test(test_published_single_step),
        cmocka_unit_test(test_published_austenite),
        cmocka_unit_test(test_conversions_agree),
        cmocka_unit_test(test_constant_temperature_is_its_time),
        cmocka_unit_test(test_varying_temperature_has_a_limit),
        cmocka_unit_test(test_reference_only_counts),
        cmocka_unit_test(test_holds_one_after_another),
        cmocka_unit_test(test_long_steps_are_missing),
        cmocka_unit_test(test_cold_adds_nothing),
        cmocka_unit_test(test_shift_duplicates_and_splitting),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
