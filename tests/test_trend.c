// SPDX-License-Identifier: MIT
/* trend: the handbooks' worked examples to their printed digits, certified values, and scipy on random data. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "soakledger/trend.h"

enum { MOST_ROWS = 64, MOST_COLUMNS = 10, LINE_BYTES = 512 };

static void near(double found, double expected, double tolerance) {
    if (!(fabs(found - expected) <= tolerance))
        fail_msg("%.12g: expected %.12g within %.3g", found, expected, tolerance);
}

struct table {
    size_t count;
    double rows[MOST_ROWS][MOST_COLUMNS]; // 0 where there is no number
    char lines[MOST_ROWS][LINE_BYTES];
};

static void read_table(const char *path, struct table *table) {
    FILE *file = fopen(path, "r");
    char line[LINE_BYTES];
    bool header = true;

    assert_non_null(file);
    table->count = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        const char *at = line;

        if (*line == '#' || header) {
            header = header && *line == '#';
            continue;
        }
        assert_true(table->count < MOST_ROWS);
        memcpy(table->lines[table->count], line, sizeof line);
        for (size_t i = 0; i < MOST_COLUMNS; i++) {
            table->rows[table->count][i] = at == NULL ? 0 : strtod(at, NULL);
            at = at == NULL ? NULL : strchr(at, ',');
            at = at == NULL ? NULL : at + 1;
        }
        table->count++;
    }
    fclose(file);
}

/* ---- NIST/SEMATECH e-Handbook ---- */

static void test_the_handbooks_cusum(void **state) {
    struct trend_cusum cusum = {.target = 325, .allowance = 0.3175, .limit = 4.1959};
    const double printed = 0.005 + 1e-9;
    struct table table;

    (void)state;
    read_table("tests/reference/stat_cusum_nist.csv", &table);
    assert_int_equal(table.count, 20);
    for (size_t i = 0; i < table.count; i++) {
        const enum trend_signal signal = trend_cusum_add(&cusum, table.rows[i][1]);

        near(cusum.high, table.rows[i][3], printed);
        near(cusum.low, table.rows[i][4], printed);
        near(cusum.high, table.rows[i][6], 1e-9);
        near(cusum.low, table.rows[i][7], 1e-9);
        assert_int_equal(signal, strstr(table.lines[i], "high") != NULL ? TREND_HIGH : TREND_QUIET);
        assert_int_equal(signal == TREND_HIGH, i + 1 >= 14);
    }
}

static void test_a_cusum_turned_over(void **state) {
    struct trend_cusum up = {.target = 0, .allowance = 0.5, .limit = 2}, down = up;

    (void)state;
    for (int i = 0; i < 6; i++) {
        const int high = trend_cusum_add(&up, i), low = trend_cusum_add(&down, -i);

        assert_int_equal(high, -low);
        near(up.high, down.low, 0);
        near(up.low, down.high, 0);
    }
    assert_true(up.high > up.limit);
}

static void test_the_handbooks_ewma(void **state) {
    struct trend_ewma ewma = {.target = 50, .sigma = 2.0539, .weight = 0.3, .width = 3};
    struct table table;

    (void)state;
    read_table("tests/reference/stat_ewma_nist.csv", &table);
    assert_int_equal(table.count, 20);
    for (size_t i = 0; i < table.count; i++) {
        assert_int_equal(trend_ewma_add(&ewma, table.rows[i][1]), TREND_QUIET);
        near(ewma.value, table.rows[i][2], 0.005 + 1e-9);
        near(ewma.value, table.rows[i][3], 1e-6);
        near(ewma.high, 52.5884, 1e-4);
        near(ewma.low, 47.4115, 1e-4);
    }
}

static void test_an_ewma_settles(void **state) {
    struct trend_ewma ewma = {.target = 0, .sigma = 2, .weight = 0.25, .width = 3, .settling = true};

    (void)state;
    assert_int_equal(trend_ewma_add(&ewma, 5.9), TREND_QUIET); // one value's own limit: 3 sigma
    near(ewma.high, 3 * 2 * 0.25, 1e-12);
    ewma.count = 0;
    assert_int_equal(trend_ewma_add(&ewma, -6.1), TREND_LOW);
    for (int i = 0; i < 100; i++)
        trend_ewma_add(&ewma, 0);
    near(ewma.high, 3 * 2 * sqrt(0.25 / 1.75), 1e-9);
}

/* ---- EPA QA/G-9S, NIST StRD ---- */

static void test_a_published_trend_with_ties(void **state) {
    double x[MOST_ROWS], y[MOST_ROWS];
    struct trend_kendall kendall;
    struct trend_slope slope;
    struct table table;

    (void)state;
    read_table("tests/reference/stat_trend.csv", &table);
    assert_int_equal(table.count, 11);
    for (size_t i = 0; i < table.count; i++) {
        x[i] = (double)i;
        y[i] = table.rows[i][1];
    }
    trend_find_kendall(y, table.count, &kendall);
    near(kendall.s, 22, 0);
    near(kendall.variance, 155.33, 0.005);
    near(kendall.z, 1.685, 0.0005);
    near(kendall.p, 2 * (1 - trend_normal_below(1.685)), 1e-4);
    assert_true(trend_find_slope(x, y, table.count, 0.95, &slope));
    near(slope.slope, 1, 0);
    near(slope.low, 0, 0);
    near(slope.high, 2, 0);
    near(slope.intercept, 10, 0);
}

static void test_norris(void **state) {
    double x[MOST_ROWS], y[MOST_ROWS];
    struct trend_line line;
    struct table table;
    const double digits = 1e-10; // relative

    (void)state;
    read_table("tests/reference/stat_norris.csv", &table);
    assert_int_equal(table.count, 36);
    for (size_t i = 0; i < table.count; i++) {
        y[i] = table.rows[i][0];
        x[i] = table.rows[i][1];
    }
    assert_true(trend_fit_line(x, y, table.count, &line));
    near(line.intercept, -0.262323073774029, 0.262323073774029 * digits);
    near(line.sd_intercept, 0.232818234301152, digits);
    near(line.slope, 1.00211681802045, digits);
    near(line.sd_slope, 0.429796848199937E-03, 4e-4 * digits);
    near(line.r_squared, 0.999993745883712, digits);
    near(line.residual_sd, sqrt(26.6173985294224 / 34), digits);
}

static void test_what_has_no_answer(void **state) {
    const double x[] = {1, 1, 1, 1}, y[] = {1, 2, 3, 4};
    struct trend_kendall kendall;
    struct trend_slope slope;
    struct trend_line line;

    (void)state;
    assert_false(trend_find_slope(x, y, 4, 0.95, &slope));
    assert_false(trend_find_slope(y, x, 0, 0.95, &slope));
    assert_false(trend_fit_line(x, y, 4, &line));
    assert_false(trend_fit_line(y, x, 2, &line));
    trend_find_kendall(x, 4, &kendall);
    near(kendall.z, 0, 0);
    near(kendall.p, 1, 1e-12);
    trend_find_kendall(x, 0, &kendall);
    near(kendall.p, 1, 1e-12);
}

/* ---- random numbers of a seed ---- */

static double draw_normal(uint64_t *seed) {
    double sum = 0;

    for (int i = 0; i < 12; i++) { // twelve uniform numbers have a variance of one
        *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        sum += (double)(*seed >> 11) * 0x1p-53;
    }
    return sum - 6;
}

/* ---- scores ---- */

static void test_scores_are_standard_normal(void **state) {
    enum { SERIES = 2000, VALUES = 30 };
    uint64_t seed = 7;
    double sum = 0, squares = 0, next = 0;
    size_t count = 0;

    (void)state;
    for (int i = 0; i < SERIES; i++) {
        struct trend_starter starter = {0};
        double before = NAN;

        for (int k = 0; k < VALUES; k++) {
            const double score = trend_starter_add(&starter, 700 + 3 * draw_normal(&seed), 0);

            assert_int_equal(isnan(score), k < 2);
            if (k < 2)
                continue;
            assert_true(fabs(score) <= TREND_SCORE_CAP);
            sum += score;
            squares += score * score;
            next += isnan(before) ? 0 : before * score;
            before = score;
            count++;
        }
    }
    near(sum / (double)count, 0, 0.02); // 56,000 scores: 0.004 is one standard error
    near(squares / (double)count, 1, 0.03);
    near(next / (double)count, 0, 0.02);
}

static void test_scores_of_few_values_by_hand(void **state) {
    struct trend_starter starter = {0};

    (void)state;
    trend_starter_add(&starter, 1, 0);
    trend_starter_add(&starter, 3, 0);
    /* Mean 2, s = sqrt(2), t = 2 / (sqrt(2) sqrt(3/2)) = 1.1547 with one degree of freedom: tail 1/2 - atan(t) /
     * pi. */
    near(trend_starter_add(&starter, 4, 0), -trend_normal_quantile(0.5 - atan(2 / sqrt(3)) / M_PI), 1e-12);
    near(starter.mean, 8.0 / 3, 1e-12);
    starter = (struct trend_starter){0};
    trend_starter_add(&starter, 5, 0);
    trend_starter_add(&starter, 5, 0);
    near(trend_starter_add(&starter, 5, 0), 0, 0);
    near(trend_starter_add(&starter, 6, 0), TREND_SCORE_CAP, 0);
    starter = (struct trend_starter){0};
    trend_starter_add(&starter, 5, 1);
    trend_starter_add(&starter, 5, 1);
    near(trend_starter_add(&starter, 6, 1), -trend_normal_quantile(0.5 - atan(1 / sqrt(1.5)) / M_PI), 1e-12);
}

static void test_one_wild_value_counts_as_a_bounded_one(void **state) {
    struct trend_starter wild = {0}, calm = {0};
    uint64_t seed = 3;

    (void)state;
    for (int i = 0; i < 20; i++) {
        const double x = draw_normal(&seed);

        trend_starter_add(&wild, x, 0);
        trend_starter_add(&calm, x, 0);
    }
    near(trend_starter_add(&wild, 1e6, 0), TREND_SCORE_CAP, 0);
    trend_starter_add(&calm, 6, 0);
    assert_true(wild.mean < 1 && wild.squares < 2 * calm.squares);
    near(trend_starter_add(&wild, -1e6, 0), -TREND_SCORE_CAP, 0);
}

/* ---- distributions ---- */

static void test_known_quantiles(void **state) {
    (void)state;
    /* Degrees 1 and 2 in closed form. */
    for (int i = 0; i <= 216; i++) { // -40 to 40
        const double t = -40 + 0.37 * i;

        near(trend_student_below(t, 1), 0.5 + atan(t) / M_PI, 1e-12);
        near(trend_student_below(t, 2), 0.5 + t / (2 * sqrt(2 + t * t)), 1e-12);
        near(trend_student_quantile(trend_student_below(t, 2), 2), t, 1e-8 * (1 + fabs(t) * fabs(t)));
    }
    for (int i = 0; i <= 204; i++) { // -30 to 5
        const double z = -30 + 0.171 * i;

        near(trend_normal_quantile(trend_normal_below(z)), z, 1e-9 * (1 + exp(fmin(z, 4) * 4)));
    }
    near(trend_normal_quantile(0.975), 1.959963984540054, 1e-12);
}

/* ---- scipy ---- */

enum { SETS = 300, LEAST = 4, SPREAD = 40, ANSWERS = 12 };

static size_t make_set(uint64_t *seed, int number, double *x, double *y) {
    const size_t count = LEAST + (size_t)(number * 7 % SPREAD);
    const double slope = number % 3 - 1;

    for (size_t i = 0; i < count; i++) {
        x[i] = (double)i + (number % 2 == 0 ? 0 : 0.3 * draw_normal(seed));
        y[i] = slope * 0.1 * (double)i + draw_normal(seed);
        if (number % 4 == 0)
            y[i] = rint(y[i]); // ties
        if (number % 8 == 6)
            x[i] = floor(x[i] / 2); // ties of x
    }
    return count;
}

static void expect_answers(const double *x, const double *y, size_t count, const double *answers) {
    struct trend_kendall kendall;
    struct trend_slope slope;
    struct trend_line line;

    trend_find_kendall(y, count, &kendall);
    near(kendall.s, answers[0], 0);
    if (kendall.variance > 0)
        near(2 * trend_normal_below(-fabs(kendall.s) / sqrt(kendall.variance)), answers[1], 1e-10);
    assert_true(trend_find_slope(x, y, count, 0.95, &slope));
    near(slope.slope, answers[2], 1e-10);
    near(slope.low, answers[3], 1e-10);
    near(slope.high, answers[4], 1e-10);
    near(slope.intercept, answers[5], 1e-10);
    assert_true(trend_fit_line(x, y, count, &line));
    near(line.slope, answers[6], 1e-10);
    near(line.intercept, answers[7], 1e-10);
    near(line.sd_slope, answers[8], 1e-10);
    near(line.sd_intercept, answers[9], 1e-10);
    near(trend_student_quantile(trend_normal_below(y[0] / 4), (double)count - 1), answers[10],
         1e-7); // scipy stops early
    near(trend_student_below(-fabs(y[0]), (double)count - 1), answers[11], 1e-11);
}

static void test_scipy_agrees(void **state) {
    double x[LEAST + SPREAD], y[LEAST + SPREAD], answers[ANSWERS];
    char folder[] = "/tmp/soakledger-trend.XXXXXX", path[64], command[256];
    uint64_t seed = 20261116;
    FILE *file;

    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/sets", folder);
    file = fopen(path, "w");
    assert_non_null(file);
    for (int number = 0; number < SETS; number++) {
        const size_t count = make_set(&seed, number, x, y);

        for (size_t i = 0; i < count; i++)
            fprintf(file, "%.17g %.17g ", x[i], y[i]);
        fputc('\n', file);
    }
    assert_int_equal(fclose(file), 0);
    snprintf(command, sizeof command, "/usr/bin/python3 tests/second/second_trend.py < %s", path);
    file = popen(command, "r");
    assert_non_null(file);
    seed = 20261116;
    for (int number = 0; number < SETS; number++) {
        const size_t count = make_set(&seed, number, x, y);

        for (size_t i = 0; i < ANSWERS; i++)
            assert_int_equal(fscanf(file, "%lf", &answers[i]), 1);
        expect_answers(x, y, count, answers);
    }
    assert_int_equal(pclose(file), 0);
    unlink(path);
    rmdir(folder);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_handbooks_cusum),
        cmocka_unit_test(test_a_cusum_turned_over),
        cmocka_unit_test(test_the_handbooks_ewma),
        cmocka_unit_test(test_an_ewma_settles),
        cmocka_unit_test(test_a_published_trend_with_ties),
        cmocka_unit_test(test_norris),
        cmocka_unit_test(test_what_has_no_answer),
        cmocka_unit_test(test_scores_are_standard_normal),
        cmocka_unit_test(test_scores_of_few_values_by_hand),
        cmocka_unit_test(test_one_wild_value_counts_as_a_bounded_one),
        cmocka_unit_test(test_known_quantiles),
        cmocka_unit_test(test_scipy_agrees),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
