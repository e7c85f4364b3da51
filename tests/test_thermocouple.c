// SPDX-License-Identifier: MIT
/* thermocouple: every printed value of NIST's tables, forward and back; tolerance classes by their published rows.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/thermocouple.h"

enum { ROW_BYTES = 256, CELLS_MOST = 10, C = 1000, NV_PER_MV = 1000000 };

/* The printed tables are rounded to 1 µV: half a unit of their last place is 0.5 µV, and the nanovolt that a
 * voltage is rounded to here adds half of one. */
static const int64_t half_a_microvolt_nv = 500;

struct row {
    char text[ROW_BYTES];
    char *cells[CELLS_MOST];
};

/* Calls `check` with the cells of each row behind the head; returns how many. */
static size_t visit_rows(const char *path, void (*check)(char *const *cells)) {
    FILE *file = fopen(path, "r");
    struct row row;
    size_t rows = 0;
    bool head = true;

    assert_non_null(file);
    while (fgets(row.text, sizeof row.text, file) != NULL) {
        char *rest = row.text;
        size_t count = 0;

        row.text[strcspn(row.text, "\n")] = '\0';
        if (row.text[0] == '#' || head) {
            head = head && row.text[0] == '#';
            continue;
        }
        while (rest != NULL && count < CELLS_MOST)
            row.cells[count++] = strsep(&rest, ",");
        check(row.cells);
        rows++;
    }
    fclose(file);
    return rows;
}

static enum thermocouple_type type_of(const char *letter) {
    enum thermocouple_type type = THERMOCOUPLE_B;

    if (!thermocouple_find_type(letter, &type))
        fail_msg("no type %s", letter);
    assert_string_equal(thermocouple_letter(type), letter);
    return type;
}

static int64_t milli(const char *text) {
    return llround(strtod(text, NULL) * C);
}

static int64_t nanovolts(const char *mv) {
    return llround(strtod(mv, NULL) * NV_PER_MV);
}

static int64_t emf_of(enum thermocouple_type type, int64_t t_mc) {
    int64_t emf_nv;

    if (!thermocouple_emf(type, t_mc, &emf_nv))
        fail_msg("no voltage of type %s at %lld m°C", thermocouple_letter(type), (long long)t_mc);
    return emf_nv;
}

/* ---- forward ---- */

static void check_printed(char *const *cells) {
    const enum thermocouple_type type = type_of(cells[0]);
    const int64_t found_nv = emf_of(type, milli(cells[1])), printed_nv = nanovolts(cells[2]);

    if (llabs(found_nv - printed_nv) > half_a_microvolt_nv)
        fail_msg("%s at %s °C: %lld nV: printed %lld", cells[0], cells[1], (long long)found_nv,
                 (long long)printed_nv);
}

static void every_printed_value_is_given_forward(void **state) {
    (void)state;
    assert_int_equal(visit_rows("tests/reference/its90_full_tables.csv", check_printed), 12026);
}

static void check_point(char *const *cells) {
    const enum thermocouple_type type = type_of(cells[0]);
    const int64_t found_nv = emf_of(type, milli(cells[1]));

    if (llabs(found_nv - nanovolts(cells[2])) > 1) // computed to a nanovolt, rounded there and here
        fail_msg("%s at %s °C: %lld nV: computed elsewhere %s mV", cells[0], cells[1], (long long)found_nv,
                 cells[2]);
    assert_true(llabs(found_nv - nanovolts(cells[3])) <= half_a_microvolt_nv);
}

static void points_agree_with_another_program_to_the_nanovolt(void **state) {
    (void)state;
    assert_int_equal(visit_rows("tests/reference/its90_points.csv", check_point), 187);
}

/* ---- inverse ---- */

/* The inverse of a printed value is as far from the printed temperature as half a microvolt makes, and no further.
 */
static void check_inverse(char *const *cells) {
    const enum thermocouple_type type = type_of(cells[0]);
    const int64_t t_mc = milli(cells[1]);
    int64_t low_mc, high_mc, found_mc, back_nv;

    thermocouple_inverse_range(type, &low_mc, &high_mc);
    if (t_mc < low_mc || t_mc > high_mc)
        return;
    if (!thermocouple_temperature(type, nanovolts(cells[2]), &found_mc))
        fail_msg("%s: no temperature at %s mV, printed for %s °C", cells[0], cells[2], cells[1]);
    if (!thermocouple_emf(type, found_mc, &back_nv))
        return; // a table's last value, rounded up, is just outside the range
    // A milli-degree is up to 0.08 µV, of type E.
    if (llabs(back_nv - nanovolts(cells[2])) > 81 || llabs(found_mc - t_mc) > 500)
        fail_msg("%s at %s mV: %lld m°C, which gives %lld nV: printed %s °C", cells[0], cells[2],
                 (long long)found_mc, (long long)back_nv, cells[1]);
}

static void every_printed_value_is_found_back(void **state) {
    (void)state;
    visit_rows("tests/reference/its90_full_tables.csv", check_inverse);
}

/* Every tenth of a degree within the printed span: NIST's polynomial is within its stated error (which is rounded:
 * half of the last printed place more), and the solved inverse within a milli-degree. */
static void check_range(char *const *cells) {
    const enum thermocouple_type type = type_of(cells[0]);
    const int64_t step_mc = 100, low_nv = nanovolts(cells[1]), high_nv = nanovolts(cells[2]);
    const char *point = strchr(cells[6], '.');
    const double half_place = 0.5 * pow(10, -(double)strlen(point + 1));

    for (int64_t t_mc = milli(cells[3]); t_mc <= milli(cells[4]); t_mc += step_mc) {
        const int64_t emf_nv = emf_of(type, t_mc);
        double approximate_c, low_c, high_c, error_c;
        int64_t found_mc;

        if (emf_nv < low_nv || emf_nv > high_nv)
            continue;
        assert_true(thermocouple_approximate(type, emf_nv, &approximate_c, &low_c, &high_c));
        error_c = approximate_c - (double)t_mc / C;
        if (error_c < low_c - half_place || error_c > high_c + half_place)
            fail_msg("%s at %lld m°C: the polynomial is off by %.5f °C", cells[0], (long long)t_mc, error_c);
        if (error_c < strtod(cells[5], NULL) - half_place || error_c > strtod(cells[6], NULL) + half_place)
            fail_msg("%s at %lld m°C: off by %.5f °C, stated for this span %s to %s", cells[0], (long long)t_mc,
                     error_c, cells[5], cells[6]);
        assert_true(thermocouple_temperature(type, emf_nv, &found_mc));
        assert_in_range(found_mc - t_mc + 1, 0, 2);
    }
}

static void the_inverse_is_within_its_stated_error(void **state) {
    (void)state;
    assert_int_equal(visit_rows("tests/reference/its90_inverse_ranges.csv", check_range), 23);
}

static void outside_its_range_there_is_no_value(void **state) {
    static const enum thermocouple_type all[] = {THERMOCOUPLE_B, THERMOCOUPLE_E, THERMOCOUPLE_J, THERMOCOUPLE_K,
                                                 THERMOCOUPLE_N, THERMOCOUPLE_R, THERMOCOUPLE_S, THERMOCOUPLE_T};
    enum { BEYOND_NV = 1000 };
    enum thermocouple_type type;

    (void)state;
    for (size_t i = 0; i < THERMOCOUPLE_TYPE_COUNT; i++) {
        int64_t low_mc, high_mc, emf_nv, t_mc;

        thermocouple_range(all[i], &low_mc, &high_mc);
        assert_true(thermocouple_emf(all[i], low_mc, &emf_nv) && thermocouple_emf(all[i], high_mc, &emf_nv));
        assert_false(thermocouple_emf(all[i], low_mc - 1, &emf_nv));
        assert_false(thermocouple_emf(all[i], high_mc + 1, &emf_nv));
        thermocouple_inverse_range(all[i], &low_mc, &high_mc);
        assert_true(thermocouple_temperature(all[i], emf_of(all[i], high_mc), &t_mc));
        assert_false(thermocouple_temperature(all[i], emf_of(all[i], high_mc) + BEYOND_NV, &t_mc));
        assert_true(thermocouple_temperature(all[i], emf_of(all[i], low_mc), &t_mc));
        assert_false(thermocouple_temperature(all[i], emf_of(all[i], low_mc) - BEYOND_NV, &t_mc));
    }
    assert_false(thermocouple_find_type("A", &type));
    assert_false(thermocouple_find_type("C", &type));
    assert_false(thermocouple_find_type("", &type));
    assert_false(thermocouple_find_type("KK", &type));
    assert_false(thermocouple_temperature(THERMOCOUPLE_B, -2585, &(int64_t){0})); // its minimum, at 21 °C
}

/* K at 42 °C gives 1.694 mV (README of thermocouples_reference, and NIST's table): with terminals at 42 °C and
 * nothing between them the couple is at 42 °C; and 33.275 mV (printed for 800 °C) less 1.694 is 800 °C again. */
static void a_cold_junction_is_added_as_voltage(void **state) {
    int64_t t_mc;

    (void)state;
    assert_true(thermocouple_compensate(THERMOCOUPLE_K, 0, 42 * C, &t_mc));
    assert_in_range(t_mc, 42 * C - 1, 42 * C + 1);
    assert_true(thermocouple_compensate(THERMOCOUPLE_K, 33275000 - 1694000, 42 * C, &t_mc));
    assert_in_range(t_mc, 800 * C - 25, 800 * C + 25); // 41 µV a degree, two roundings of half a microvolt
    // Not what adding the temperatures would give.
    assert_true(thermocouple_compensate(THERMOCOUPLE_S, emf_of(THERMOCOUPLE_S, 1000 * C), 40 * C, &t_mc));
    assert_in_range(t_mc, 1015 * C, 1025 * C);
    assert_false(thermocouple_compensate(THERMOCOUPLE_B, 5000000, -1, &t_mc)); // B begins at 0 °C
    assert_false(thermocouple_compensate(THERMOCOUPLE_K, 54800000, 60 * C, &t_mc));
}

/* ---- classes ---- */

static enum thermocouple_class class_of(const char *word) {
    char name[ROW_BYTES];

    snprintf(name, sizeof name, "%s%s", strlen(word) == 1 ? "class " : "", word);
    return thermocouple_find_class(name);
}

static int64_t expected_tolerance(char *const *cells, int64_t t_mc) {
    const double share = strtod(cells[6], NULL) / 100 * fabs((double)t_mc);
    const double slope = strcmp(cells[5], "1+0.003*(t-1100)") == 0 ? 0.003 * ((double)t_mc - 1100 * C) : 0;

    return llround(fmax(strtod(cells[5], NULL) * C, share) + slope);
}

static void check_class(char *const *cells) {
    const enum thermocouple_type type = type_of(cells[1]);
    const enum thermocouple_class class = class_of(cells[2]);
    const int64_t from_mc = milli(cells[3]), to_mc = milli(cells[4]), step_mc = (to_mc - from_mc) / 7;

    assert_true(class != THERMOCOUPLE_CLASS_NONE && thermocouple_has_class(type, class));
    for (int64_t t_mc = from_mc + step_mc; t_mc < to_mc; t_mc += step_mc) { // at an end two rows may meet
        int64_t tolerance_mc = 0;

        if (!thermocouple_tolerance(type, class, t_mc, &tolerance_mc) ||
            llabs(tolerance_mc - expected_tolerance(cells, t_mc)) > 1)
            fail_msg("%s %s at %lld m°C: %lld m°C, expected %lld", cells[1], cells[2], (long long)t_mc,
                     (long long)tolerance_mc, (long long)expected_tolerance(cells, t_mc));
    }
}

static void tolerances_are_those_of_the_published_rows(void **state) {
    int64_t tolerance_mc;

    (void)state;
    assert_int_equal(visit_rows("tests/reference/tolerance_classes.csv", check_class), 58);
    assert_true(thermocouple_tolerance(THERMOCOUPLE_K, THERMOCOUPLE_CLASS_1, 800 * C, &tolerance_mc));
    assert_int_equal(tolerance_mc, 3200);
    assert_true(thermocouple_tolerance(THERMOCOUPLE_K, THERMOCOUPLE_STANDARD, -100 * C, &tolerance_mc));
    assert_int_equal(tolerance_mc, 2200); // the difference is greater than 2 %
    assert_false(thermocouple_tolerance(THERMOCOUPLE_K, THERMOCOUPLE_CLASS_1, 1001 * C, &tolerance_mc));
    assert_false(thermocouple_tolerance(THERMOCOUPLE_K, THERMOCOUPLE_CLASS_NONE, 500 * C, &tolerance_mc));
    assert_false(thermocouple_has_class(THERMOCOUPLE_B, THERMOCOUPLE_CLASS_1));
    assert_int_equal(thermocouple_find_class("class 4"), THERMOCOUPLE_CLASS_NONE);
    for (int class = 0; class < THERMOCOUPLE_CLASS_COUNT; class ++)
        assert_int_equal(thermocouple_find_class(thermocouple_class_name((enum thermocouple_class) class)), class);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_printed_value_is_given_forward),
        cmocka_unit_test(points_agree_with_another_program_to_the_nanovolt),
        cmocka_unit_test(every_printed_value_is_found_back),
        cmocka_unit_test(the_inverse_is_within_its_stated_error),
        cmocka_unit_test(outside_its_range_there_is_no_value),
        cmocka_unit_test(a_cold_junction_is_added_as_voltage),
        cmocka_unit_test(tolerances_are_those_of_the_published_rows),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
