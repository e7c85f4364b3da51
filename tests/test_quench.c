// SPDX-License-Identifier: MIT
/* quench: cooling curves whose answers are known in closed form, sampled slowly and fast, and noisy; and what may
 * not change an answer. Tolerances are derived where they are used, from the sampling interval and the rounding of
 * a reading to 0.001 C and of a moment to 1 ms. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/quench.h"
#include "support/cooling.h"

enum { TEXT_BYTES = 512 };
static const double half_mc = 0.0005, half_ms = 0.0005; // in C and s
#define ASSERT_BETWEEN(found, least, most) assert_between(found, least, most, __LINE__)

static void assert_between(double found, double least, double most, int line) {
    if (!(found >= least && found <= most))
        fail_msg("line %d: %.6f: expected %.6f to %.6f", line, found, least, most);
}

/* ---- what a window of least squares does ---- */

static int half_window(int64_t interval_ms) {
    return interval_ms >= 100 ? 2 : (int)((400 + 2 * interval_ms - 1) / (2 * interval_ms));
}

static double power_sum(int half, int power) {
    double sum = 0;

    for (int i = 1; i <= half; i++)
        sum += pow(i, power);
    return 2 * sum;
}

/* By how much an error of at most `error` in every value changes a slope at most. */
static double slope_error(int64_t interval_ms, double error) {
    const int half = half_window(interval_ms);

    return error * power_sum(half, 1) / (power_sum(half, 2) * (double)interval_ms / S);
}

/* By how much a slope may miss the rate whose second derivative is nowhere more than `second`: Taylor's remainder.
 */
static double slope_bias(int64_t interval_ms, double second) {
    const int half = half_window(interval_ms);
    const double h = (double)interval_ms / S;

    return second * h * h * power_sum(half, 4) / (6 * power_sum(half, 2));
}

/* The slope of an exponential, by its rate at the middle: sum of i sinh(i x) by x times the sum of i^2, x = h /
 * tau. */
static double slope_of_exponential(int64_t interval_ms, double tau_s) {
    const double x = (double)interval_ms / S / tau_s;
    double sum = 0;

    for (int i = 1; i <= half_window(interval_ms); i++)
        sum += 2 * i * sinh(i * x);
    return sum / (x * power_sum(half_window(interval_ms), 2));
}

/* ---- Newton ---- */

/* The chord of a convex curve lies above it, by at most h^2 T'' / 8, so that a moment found is late by at most that
 * over the slope: h^2 / 8 tau; and the slope within a step varies by exp(h / tau). */
static double chord_late_s(double h, double tau_s) {
    return h * h / (8 * tau_s) * exp(h / tau_s);
}

static double rounding_s(double rate, double h, double tau_s) {
    return half_ms + half_mc / rate * exp(h / tau_s);
}

static void check_newton_moment(const struct quench_time *found, double c, double h) {
    const double expected = newton_time(c), rounding = rounding_s((c - bath_c) / newton_tau_s, h, newton_tau_s);

    ASSERT_BETWEEN(cooling_seconds(found), expected - rounding,
                   expected + rounding + chord_late_s(h, newton_tau_s));
    assert_int_equal(found->t_ms, t0_ms + found->ms);
}

static void check_newton_cooling(const struct quench_curve *found, double h) {
    const double expected = newton_tau_s * log((800 - bath_c) / (500 - bath_c));
    const double error =
        chord_late_s(h, newton_tau_s) + 2 * rounding_s((500 - bath_c) / newton_tau_s, h, newton_tau_s);

    ASSERT_BETWEEN(cooling_seconds(&found->cooling), expected - error, expected + error);
    ASSERT_BETWEEN((double)(found->cooling.t_ms - t0_ms) / S, newton_time(800) - 2 * half_ms,
                   newton_time(800) + 2 * half_ms + chord_late_s(h, newton_tau_s));
    ASSERT_BETWEEN((double)found->cooling_readings, floor(expected / h), ceil(expected / h));
}

/* At the start: the first window that lies in the bath as a whole, or one that began less than a reading earlier.
 */
static void check_newton_fastest(const struct quench_curve *found, int64_t interval_ms, bool on_grid) {
    const double h = (double)interval_ms / S, half = half_window(interval_ms);
    const double ratio = slope_of_exponential(interval_ms, newton_tau_s), at = cooling_seconds(&found->fastest);
    const double rounding = slope_error(interval_ms, half_mc) + half_mc;
    const double rate = (double)found->fastest_mc_per_s / C;

    ASSERT_BETWEEN(at, newton_begins_s + (half - 1) * h, newton_begins_s + (half + 1) * h);
    ASSERT_BETWEEN(rate, ratio * newton_rate(newton_begins_s + (half + 1) * h) - rounding,
                   newton_rate(newton_begins_s) * ratio + rounding);
    ASSERT_BETWEEN((double)found->fastest_at_mc / C, newton_at(at) - half_mc - 1e-9,
                   newton_at(at) + half_mc + 1e-9);
    assert_int_equal(found->fastest_span_ms, 2 * half_window(interval_ms) * interval_ms);
    if (on_grid) {
        ASSERT_BETWEEN(at, newton_begins_s + half * h, newton_begins_s + half * h);
        ASSERT_BETWEEN(rate, ratio * newton_rate(at) - rounding, ratio * newton_rate(at) + rounding);
    }
}

static void check_newton(int64_t interval_ms, int64_t phase_ms) {
    const struct feeding feeding = {&newton, interval_ms, phase_ms, -20 * S, 200 * S, 0, 0, 0, 1, 0};
    const struct quench_curve found = cooling_run(feeding, &usual_limits);
    const bool on_grid = (llround(newton_begins_s * S) - feeding.from_ms - phase_ms) % interval_ms == 0;
    const double h = (double)interval_ms / S, ratio = slope_of_exponential(interval_ms, newton_tau_s);
    const double rate_300 = (300 - bath_c) / newton_tau_s,
                 rounding = slope_error(interval_ms, half_mc) + 2 * half_mc;

    ASSERT_BETWEEN(cooling_seconds(&found.transfer), newton_begins_s - h, newton_begins_s + h);
    if (on_grid)
        assert_int_equal(found.transfer.ms, llround(newton_begins_s * S));
    check_newton_cooling(&found, h);
    check_newton_fastest(&found, interval_ms, on_grid);
    assert_true(found.rate_at_300_known); // the rate is a straight line over temperature, and so is the slope
    ASSERT_BETWEEN((double)found.rate_at_300_mc_per_s / C, ratio * rate_300 - rounding,
                   ratio * rate_300 + rounding);
    check_newton_moment(&found.marks[0], 600, h);
    check_newton_moment(&found.marks[1], 400, h);
    check_newton_moment(&found.marks[2], 200, h);
    check_newton_moment(&found.handle_warm, 60, h);
    assert_false(found.gap);
}

static void newton_in_closed_form(void **state) {
    static const int64_t intervals_ms[] = {20, 50, 90, 100, 250, 1000};

    (void)state;
    for (size_t i = 0; i < sizeof intervals_ms / sizeof intervals_ms[0]; i++)
        for (int64_t tenth = 0; tenth < 10; tenth += 3)
            check_newton(intervals_ms[i], intervals_ms[i] * tenth / 10);
}

/* ---- three stages ---- */

/* The second derivative of the bell is nowhere more than at its peak: 2 bell / width^2. */
static double bell_second(void) {
    return 2 * bell / (width_s * width_s);
}

/* A chord misses its curve by at most h^2 / 8 times the strongest bend within the step, and a moment is wrong by
 * that over the slowest rate; the bend is looked for at 41 points a step either side, and may be a tenth more
 * between. */
static void check_stage_marks(const struct quench_curve *found, double h) {
    static const double marks_c[QUENCH_MARKS] = {600, 400, 200};

    for (size_t i = 0; i < QUENCH_MARKS; i++) {
        const double expected = cooling_time(&stages, marks_c[i]);
        double bend = 0, rate = INFINITY, error;

        for (int k = -20; k <= 20; k++) {
            bend = fmax(bend, 1.1 * stages_bend(expected + k * h / 20));
            rate = fmin(rate, stages_rate(expected + k * h / 20));
        }
        error = (h * h / 8 * bend + half_mc) / rate + half_ms;
        ASSERT_BETWEEN(cooling_seconds(&found->marks[i]), expected - error, expected + error);
    }
}

static void stages_have_their_maximum(void **state) {
    static const int64_t intervals_ms[] = {50, 100};
    const double most = blanket + bell;

    (void)state;
    for (size_t i = 0; i < 2; i++) { // the peak is on both grids
        const int64_t interval_ms = intervals_ms[i];
        const struct quench_curve found =
            cooling_run((struct feeding){&stages, interval_ms, 0, -10 * S, 120 * S, 0, 0, 0, 1, 0}, &usual_limits);
        const double rounding = slope_error(interval_ms, half_mc) + half_mc,
                     rate = (double)found.fastest_mc_per_s / C;

        ASSERT_BETWEEN(rate, most - slope_bias(interval_ms, bell_second()) - rounding, most + rounding);
        ASSERT_BETWEEN(cooling_seconds(&found.fastest), peak_s, peak_s);
        ASSERT_BETWEEN((double)found.fastest_at_mc / C, boiling_at(peak_s) - half_mc, boiling_at(peak_s) + half_mc);
        check_stage_marks(&found, (double)interval_ms / S);
    }
}

/* A reading a second is too slow for a peak two seconds wide: the maximum comes out low, by what the contract says.
 */
static void slow_sampling_rounds_the_peak_off(void **state) {
    const struct quench_curve found =
        cooling_run((struct feeding){&stages, S, 0, -10 * S, 120 * S, 0, 0, 0, 1, 0}, &usual_limits);
    const double off_grid = bell_second() * 0.5 * 0.5 / 2; // the nearest reading is at most half a second away
    const double rate = (double)found.fastest_mc_per_s / C;

    (void)state;
    ASSERT_BETWEEN(rate, blanket + bell - slope_bias(S, bell_second()) - off_grid, blanket + bell - 10);
    assert_int_equal(found.fastest_span_ms, 4 * S);
}

/* The published ranges only say that units and order of magnitude are right: the curve was drawn to be like an oil.
 */
static void stages_are_like_published_oil(void **state) {
    const struct quench_curve found =
        cooling_run((struct feeding){&stages, 100, 0, -10 * S, 120 * S, 0, 0, 0, 1, 0}, &usual_limits);
    const double values[] = {(double)found.fastest_mc_per_s / C,     (double)found.fastest_at_mc / C,
                             (double)found.rate_at_300_mc_per_s / C, cooling_seconds(&found.marks[0]),
                             cooling_seconds(&found.marks[1]),       cooling_seconds(&found.marks[2])};
    FILE *file = fopen("tests/reference/d6200_precision.csv", "r");
    char row[TEXT_BYTES];
    size_t rows = 0;

    (void)state;
    assert_non_null(file);
    while (fgets(row, sizeof row, file) != NULL) {
        double least, most;

        if (sscanf(row, "%*[^,],%*[^,],%*[^,],%*f,%*f,%*[^,],%lf,%lf", &least, &most) != 2)
            continue;
        assert_true(rows < sizeof values / sizeof values[0]);
        ASSERT_BETWEEN(values[rows++], least, most);
    }
    fclose(file);
    assert_int_equal(rows, 6);
}

/* ---- noise ---- */

/* The steepest fall between two successive readings, by which noise would be taken for a quench. */
static double steepest_pair(struct feeding feeding) {
    int64_t before = cooling_sample(&feeding, feeding.from_ms);
    double steepest = 0;

    for (int64_t t = feeding.from_ms + feeding.interval_ms; t <= feeding.until_ms; t += feeding.interval_ms) {
        const int64_t now = cooling_sample(&feeding, t);

        steepest = fmax(steepest, (double)(before - now) / (double)feeding.interval_ms);
        before = now;
    }
    return steepest;
}

/* Every reading wrong by up to 0.3 C: the maximum is wrong by what five readings wrong in the worst way can do, at
 * the most; and it is found where the true rate is not lower than that either way. */
static void noise_does_not_make_the_maximum(void **state) {
    static const int64_t intervals_ms[] = {20, 50, 100};
    const double most = blanket + bell;

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        const double error = slope_error(intervals_ms[i], 0.3 + half_mc) + half_mc;
        const double bias = slope_bias(intervals_ms[i], bell_second());
        bool pairs_fooled = false;

        for (unsigned seed = 1; seed <= 20; seed++) {
            const struct feeding feeding = {&stages, intervals_ms[i], 0, -10 * S, 120 * S, 0, 0, 0.3, seed, 0};
            const struct quench_curve found = cooling_run(feeding, &usual_limits);

            ASSERT_BETWEEN((double)found.fastest_mc_per_s / C, most - error - bias, most + error);
            ASSERT_BETWEEN(stages_rate(cooling_seconds(&found.fastest)), most - 2 * error - bias, most);
            pairs_fooled |= steepest_pair(feeding) > most + error;
        }
        assert_true(pairs_fooled); // or the noise would have been harmless
    }
}

/* A proof covers 0.4 s, so the beginning is found within that; the noise alone falls faster than the threshold. */
static void noise_is_not_a_quench(void **state) {
    const struct feeding noisy = {&newton, 20, 0, -20 * S, 2 * S, 0, 0, 0.3, 0, 0};
    const double span = (double)QUENCH_SPAN_MS / S;

    (void)state;
    for (unsigned seed = 1; seed <= 50; seed++) {
        struct feeding feeding = noisy;
        struct quench_curve found;

        feeding.seed = seed;
        assert_true(steepest_pair(feeding) > 20);
        found = cooling_run(feeding, &usual_limits);
        assert_false(found.transfer.known);
        feeding.until_ms = 20 * S;
        found = cooling_run(feeding, &usual_limits);
        ASSERT_BETWEEN(cooling_seconds(&found.transfer), newton_begins_s - span, newton_begins_s + span);
    }
}

/* A controller that says whole degrees falls by 1 C in 0.05 s, 20 C/s, whenever it falls. */
static void coarse_steps_are_not_a_quench(void **state) {
    struct feeding feeding = {&newton, 50, 0, -20 * S, 2 * S, 0, 0, 0, 1, C};
    struct quench_curve found;

    (void)state;
    assert_true(steepest_pair(feeding) >= 20);
    found = cooling_run(feeding, &usual_limits);
    assert_false(found.transfer.known);
    feeding.until_ms = 20 * S;
    found = cooling_run(feeding, &usual_limits);
    ASSERT_BETWEEN(cooling_seconds(&found.transfer), newton_begins_s - 0.4, newton_begins_s + 0.4);
}

/* ---- what may not matter ---- */

static int between(unsigned *seed, int least, int most) {
    return least + rand_r(seed) % (most - least + 1);
}

/* All of an answer, moments counted from `left_ms`. */
static void print_curve(const struct quench_curve *curve, int64_t left_ms, char *text) {
    const struct quench_time *times[] = {&curve->transfer, &curve->cooling,  &curve->fastest,    &curve->marks[0],
                                         &curve->marks[1], &curve->marks[2], &curve->handle_warm};
    int length = snprintf(text, TEXT_BYTES, "%lld readings, %lld at %lld over %lld, %d %lld, %d;",
                          (long long)curve->cooling_readings, (long long)curve->fastest_mc_per_s,
                          (long long)curve->fastest_at_mc, (long long)curve->fastest_span_ms,
                          curve->rate_at_300_known, (long long)curve->rate_at_300_mc_per_s, curve->gap);

    for (size_t i = 0; i < sizeof times / sizeof times[0]; i++)
        length += snprintf(text + length, TEXT_BYTES - (size_t)length, " %lld/%lld", (long long)times[i]->ms,
                           times[i]->known ? (long long)(times[i]->t_ms - left_ms) : -1LL);
}

enum { PLAIN, SHIFTED, DUPLICATED, INTERRUPTED, WAYS };

static void feed_one_way(struct quench *quench, int way, int64_t t_ms, int64_t value, unsigned *seed) {
    const int64_t shift_ms = way == SHIFTED ? INT64_C(86400000) * 365 + 7 : 0;
    struct quench_curve unused;

    cooling_feed(quench, t_ms + shift_ms, value, QUALITY_GOOD);
    if (way == DUPLICATED && between(seed, 0, 2) == 0)
        cooling_feed(quench, t_ms, value, QUALITY_GOOD);
    if (way == DUPLICATED && between(seed, 0, 4) == 0)
        cooling_feed(quench, t_ms - between(seed, 0, 3000), between(seed, 20, 900) * C, QUALITY_GOOD);
    if (way == INTERRUPTED && between(seed, 0, 2) == 0)
        cooling_feed(quench, t_ms + 1, 0, QUALITY_NO_REPLY);
    if (way == INTERRUPTED && between(seed, 0, 2) == 0)
        quench_read(quench, &unused);
}

static void check_plain(const struct quench_curve *curve, unsigned seed) {
    const bool in_order =
        !(curve->marks[0].known && curve->marks[1].known && curve->marks[0].ms > curve->marks[1].ms) &&
        !(curve->marks[1].known && curve->marks[2].known && curve->marks[1].ms > curve->marks[2].ms);

    if (!in_order || curve->transfer.ms < 0 || curve->fastest_mc_per_s < 0 || curve->cooling.ms < 0 ||
        curve->handle_warm.ms < 0 || curve->fastest.ms < 0 || curve->marks[0].ms < 0)
        fail_msg("seed %u: impossible", seed);
}

/* A random curve, noisy, with gaps, cooled now fast and now slowly, four ways: all answers alike. */
static unsigned check_indifference(unsigned seed) {
    const int64_t interval_ms = between(&seed, 10, 1200);
    const unsigned first_seed = seed;
    struct quench *quench[WAYS];
    struct quench_curve found;
    char texts[WAYS][TEXT_BYTES];
    int64_t t = t0_ms - 5 * interval_ms - between(&seed, 0, 500), value = between(&seed, 700, 950) * C;

    for (int way = 0; way < WAYS; way++)
        quench[way] =
            quench_open(&usual_limits, t0_ms + (way == SHIFTED ? INT64_C(86400000) * 365 + 7 : 0), interval_ms);
    for (int i = 0; i < 250; i++) {
        for (int way = 0; way < WAYS; way++)
            feed_one_way(quench[way], way, t, value, &seed);
        t += between(&seed, 0, 60) == 0 ? interval_ms * between(&seed, 3, 6) : interval_ms - between(&seed, 0, 2);
        value += between(&seed, -300, 300) - (value - 20 * C) * between(&seed, 0, 40) / 1000;
    }
    for (int way = 0; way < WAYS; way++) {
        quench_read(quench[way], &found);
        print_curve(&found, t0_ms + (way == SHIFTED ? INT64_C(86400000) * 365 + 7 : 0), texts[way]);
        if (strcmp(texts[way], texts[PLAIN]) != 0)
            fail_msg("seed %u, way %d: %s, plain %s", first_seed, way, texts[way], texts[PLAIN]);
        check_plain(&found, first_seed);
        quench_free(quench[way]);
    }
    return cooling_unknown(&found);
}

static void shift_duplicates_and_interruptions(void **state) {
    unsigned ever_unknown = 0, ever_known = 0;

    (void)state;
    for (unsigned seed = 1; seed <= 2000; seed++) {
        const unsigned unknown = check_indifference(seed);

        ever_unknown |= unknown;
        ever_known |= ~unknown;
    }
    assert_int_equal(ever_unknown, 0xff); // every quantity was both, or nothing was tried
    assert_int_equal(ever_known & 0xff, 0xff);
}

/* A reading added on the line between two: no moment on a line moves by as much as a millisecond. */
static void check_splitting(unsigned seed) {
    const unsigned first_seed = seed;
    const int64_t step_ms = 2 * between(&seed, 250, 500);
    struct quench *whole = quench_open(&usual_limits, t0_ms, step_ms),
                  *split = quench_open(&usual_limits, t0_ms, step_ms);
    struct quench_curve a, b;
    int64_t value = 2 * C * between(&seed, 410, 450), before = value;

    for (int64_t t = t0_ms - 3 * step_ms; t < t0_ms + 200 * step_ms; t += step_ms) {
        cooling_feed(whole, t, value, QUALITY_GOOD);
        cooling_feed(split, t - step_ms / 2, (before + value) / 2, QUALITY_GOOD);
        cooling_feed(split, t, value, QUALITY_GOOD);
        before = value;
        value += 2 * (int64_t)between(&seed, -200, 200) - 2 * ((value - 20 * C) * between(&seed, 0, 40) / 2000);
    }
    quench_read(whole, &a);
    quench_read(split, &b);
    quench_free(whole);
    quench_free(split);
    if (a.cooling.ms != b.cooling.ms || a.cooling.t_ms != b.cooling.t_ms || a.handle_warm.ms != b.handle_warm.ms ||
        a.marks[0].ms != b.marks[0].ms || a.marks[1].ms != b.marks[1].ms || a.marks[2].ms != b.marks[2].ms)
        fail_msg("seed %u: splitting moved a moment", first_seed);
    assert_true(a.marks[0].known && a.marks[1].known && a.marks[2].known && a.cooling.known && a.handle_warm.known);
}

static void splitting_moves_no_moment(void **state) {
    (void)state;
    for (unsigned seed = 1; seed <= 500; seed++)
        check_splitting(seed);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(newton_in_closed_form),
        cmocka_unit_test(stages_have_their_maximum),
        cmocka_unit_test(slow_sampling_rounds_the_peak_off),
        cmocka_unit_test(stages_are_like_published_oil),
        cmocka_unit_test(noise_does_not_make_the_maximum),
        cmocka_unit_test(noise_is_not_a_quench),
        cmocka_unit_test(coarse_steps_are_not_a_quench),
        cmocka_unit_test(shift_duplicates_and_interruptions),
        cmocka_unit_test(splitting_moves_no_moment),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
