// SPDX-License-Identifier: MIT
/* calibration and uncertainty: tables interpolate and never reach further; files are read strictly; parts add up.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/calibration.h"
#include "soakledger/uncertainty.h"

enum { C = 1000 };

static const char GOOD[] = "[calibration]\n"
                           "sensor = K-7\n"
                           "certificate = 26-0417\n"
                           "laboratory = Own furnace, against S-1\n"
                           "date = 2026-09-01\n"
                           "due = 2027-09-01\n"
                           "uncertainty = 1.1 C\n"
                           "[points]\n"
                           "1 = 400 C, +0.4 C\n"
                           "2 = 800 C, -1.2 C\n"
                           "3 = 1000 C, 2 C\n";

static struct calibration parsed(const char *text) {
    struct calibration calibration;
    struct fault fault;

    if (calibration_parse(text, strlen(text), "T", &calibration, &fault) != 0)
        fail_msg("%s", fault.text);
    return calibration;
}

static void a_file_says_all(void **state) {
    const struct calibration calibration = parsed(GOOD);

    (void)state;
    assert_int_equal(calibration.subject, CALIBRATION_OF_SENSOR);
    assert_string_equal(calibration.name, "K-7");
    assert_string_equal(calibration.certificate, "26-0417");
    assert_string_equal(calibration.laboratory, "Own furnace, against S-1");
    assert_int_equal(calibration.done_ms, INT64_C(1788220800000)); // date -u -d 2026-09-01 +%s
    assert_int_equal(calibration.due_ms, INT64_C(1819756800000));
    assert_int_equal(calibration.uncertainty_mc, 1100);
    assert_int_equal(calibration.point_count, 3);
    assert_int_equal(calibration.points[1].at_mc, 800 * C);
    assert_int_equal(calibration.points[1].correction_mc, -1200);
    assert_int_equal(calibration.points[2].correction_mc, 2000);
}

static int64_t found(const struct calibration *calibration, int64_t at_mc) {
    int64_t correction_mc;

    assert_true(calibration_find(calibration, at_mc, &correction_mc));
    return correction_mc;
}

static void between_points_it_is_a_straight_line(void **state) {
    const struct calibration calibration = parsed(GOOD);

    (void)state;
    assert_int_equal(found(&calibration, 400 * C), 400);
    assert_int_equal(found(&calibration, 800 * C), -1200);
    assert_int_equal(found(&calibration, 1000 * C), 2000);
    assert_int_equal(found(&calibration, 600 * C), -400); // half-way from 0.4 to -1.2
    assert_int_equal(found(&calibration, 900 * C), 400);
    assert_int_equal(found(&calibration, 400 * C + 125), 400 - 1); // 0.5 of a milli-degree, away from zero
}

static void outside_there_is_nothing(void **state) {
    const struct calibration calibration = parsed(GOOD);
    struct reading reading = {.quality = QUALITY_GOOD, .value = 400 * C - 1};
    int64_t correction_mc;

    (void)state;
    assert_false(calibration_find(&calibration, 400 * C - 1, &correction_mc));
    assert_false(calibration_find(&calibration, 1000 * C + 1, &correction_mc));
    assert_false(calibration_find(NULL, 500 * C, &correction_mc));
    assert_int_equal(calibration_correct(NULL, &calibration, &reading), CALIBRATION_OUTSIDE);
    assert_int_equal(reading.value, 400 * C - 1);
    assert_int_equal(calibration_correct(NULL, NULL, &reading), CALIBRATION_NONE);
    reading = (struct reading){.quality = QUALITY_OPEN_SENSOR};
    assert_int_equal(calibration_correct(NULL, &calibration, &reading), CALIBRATION_NONE);
    assert_int_equal(reading.value, 0);
}

/* The instrument showed 600 °C and was given 610; there the sensor is 5 °C low. */
static void the_instrument_comes_before_the_sensor(void **state) {
    const struct calibration instrument = {.point_count = 2, .points = {{500 * C, 10 * C}, {700 * C, 10 * C}}};
    const struct calibration sensor = {.point_count = 2, .points = {{605 * C, 5 * C}, {900 * C, 5 * C}}};
    struct reading reading = {.quality = QUALITY_GOOD, .value = 600 * C};

    (void)state;
    assert_int_equal(calibration_correct(&instrument, &sensor, &reading), CALIBRATION_APPLIED);
    assert_int_equal(reading.value, 615 * C);
    reading.value = 550 * C; // the sensor's table does not reach 560
    assert_int_equal(calibration_correct(&instrument, &sensor, &reading), CALIBRATION_OUTSIDE);
    assert_int_equal(reading.value, 560 * C);
    reading.value = 800 * C; // nor the instrument's 800
    assert_int_equal(calibration_correct(&instrument, &sensor, &reading), CALIBRATION_OUTSIDE);
    assert_int_equal(reading.value, 805 * C);
}

static void it_is_overdue_after_its_day(void **state) {
    const struct calibration calibration = {.due_ms = 1000}, never = {.due_ms = 0};

    (void)state;
    assert_false(calibration_is_overdue(&calibration, 1000));
    assert_true(calibration_is_overdue(&calibration, 1001));
    assert_false(calibration_is_overdue(&never, INT64_MAX));
    assert_false(calibration_is_overdue(NULL, INT64_MAX));
}

#define HEAD   "[calibration]\nsensor = K-7\ncertificate = 1\ndate = 2026-09-01\nuncertainty = 1 C\n"
#define POINTS "[points]\n1 = 400 C, 1 C\n2 = 500 C, 1 C\n"

static void what_is_unclear_is_refused_with_its_line(void **state) {
    static const struct {
        const char *text, *says;
    } cases[] = {
        {POINTS, "T:1: no section [calibration]"},
        {HEAD, "T:1: no section [points]"},
        {HEAD POINTS "[more]\na = b\n", "T:9: unknown section [more]"},
        {HEAD "instrument = small\n" POINTS, "T:1: [calibration] is of a sensor and an instrument"},
        {"[calibration]\ncertificate = 1\n" POINTS, "T:1: [calibration] is of nothing"},
        {"[calibration]\nsensor = K-7\ndate = 2026-09-01\nuncertainty = 1 C\n" POINTS, "certificate"},
        {"[calibration]\nsensor = K-7\ncertificate = 1\nuncertainty = 1 C\n" POINTS, "date"},
        {"[calibration]\nsensor = K-7\ncertificate = 1\ndate = 2026-09-01\n" POINTS, "uncertainty"},
        {"[calibration]\nsensor = K-7\ncertificate = 1\ndate = 2026-09-01\nuncertainty = 0 C\n" POINTS,
         "T:5: uncertainty: none at all"},
        {HEAD "due = 2026-09-01\n" POINTS, "T:6: due: not after"},
        {HEAD "colour = red\n" POINTS, "T:6: unknown key 'colour'"},
        {HEAD "[points]\n1 = 400 C, 1 C\n", "T:6: [points] has no line 2"},
        {HEAD "[points]\n1 = 400 C, 1 C\n3 = 500 C, 1 C\n", "T:6: [points] has no line 2"},
        {HEAD "[points]\n1 = 400 C\n2 = 500 C, 1 C\n", "T:7: 1: '400 C': expected what was indicated"},
        {HEAD "[points]\n1 = 400 C, --1 C\n2 = 500 C, 1 C\n", "T:7: 1: "},
        {HEAD "[points]\n1 = 400, 1 C\n2 = 500 C, 1 C\n", "T:7: 1: "},
        {HEAD "[points]\n1 = 400 C, 1\n2 = 500 C, 1 C\n", "T:7: 1: "},
        {HEAD "[points]\n1 = 400 C, 51 C\n2 = 500 C, 1 C\n", "T:7: 1: a correction of"},
        {HEAD "[points]\n1 = 400 C, 1 C\n2 = 400 C, 2 C\n", "T:8: 2: not above the point before"},
        {HEAD "[points]\n1 = 400 C, 5 C\n2 = 401 C, 3 C\n", "T:8: 2: not above the point before"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct calibration calibration;
        struct fault fault = {0};

        if (calibration_parse(cases[i].text, strlen(cases[i].text), "T", &calibration, &fault) == 0)
            fail_msg("taken:\n%s", cases[i].text);
        assert_int_equal(fault.status, EX_CONFIG);
        if (strstr(fault.text, cases[i].says) == NULL)
            fail_msg("'%s' does not say '%s'", fault.text, cases[i].says);
    }
}

/* ---- uncertainty ---- */

static struct uncertainty uncertain(struct uncertainty_source source, int64_t at_mc) {
    struct uncertainty uncertainty;

    uncertainty_find(&source, at_mc, &uncertainty);
    return uncertainty;
}

/* By hand: class 1 of K at 800 °C is 3.2 °C, so 2 x 3.2 / sqrt(3) = 3.695; an accuracy of 1 °C is 1.155; together
 * sqrt(3.695^2 + 1.155^2) = 3.871. */
static void parts_add_up_in_quadrature(void **state) {
    const struct calibration sensor = parsed(GOOD);
    struct uncertainty_source source = {.type = "K", .tolerance = "class 1", .accuracy_mc = C};
    struct uncertainty it = uncertain(source, 800 * C);

    (void)state;
    assert_int_equal(it.sensor_from, UNCERTAINTY_LIMIT);
    assert_in_range(it.sensor_mc, 3695, 3696);
    assert_in_range(it.instrument_mc, 1154, 1155);
    assert_in_range(it.expanded_mc, 3871, 3873);
    source.sensor = &sensor; // 1.1 °C in place of the class, where the table reaches
    it = uncertain(source, 800 * C);
    assert_int_equal(it.sensor_from, UNCERTAINTY_CALIBRATION);
    assert_in_range(it.expanded_mc, 1595, 1597); // sqrt(1.1^2 + 1.155^2) = 1.595
    it = uncertain(source, 300 * C);
    assert_int_equal(it.sensor_from, UNCERTAINTY_LIMIT);
    assert_in_range(it.sensor_mc, 1732, 1733); // 1.5 °C below 375 °C
}

static void a_part_that_is_not_known_makes_the_whole_unknown(void **state) {
    const struct calibration instrument = {
        .uncertainty_mc = 500, .point_count = 2, .points = {{0, 0}, {1200 * C, 0}}};

    (void)state;
    assert_int_equal(
        uncertain((struct uncertainty_source){.type = "K", .tolerance = "class 1"}, 800 * C).expanded_mc, 0);
    assert_int_equal(
        uncertain((struct uncertainty_source){.type = "", .tolerance = "", .accuracy_mc = C}, 0).expanded_mc, 0);
    assert_int_equal(uncertain((struct uncertainty_source){.accuracy_mc = C}, 0).expanded_mc, 0);
    // Class 1 of K ends at 1000 °C.
    assert_int_equal(
        uncertain((struct uncertainty_source){.type = "K", .tolerance = "class 1", .accuracy_mc = C}, 1100 * C)
            .expanded_mc,
        0);
    assert_in_range(
        uncertain((struct uncertainty_source){.type = "K", .tolerance = "class 1", .instrument = &instrument},
                  800 * C)
            .expanded_mc,
        3728, 3731); // sqrt(3.695^2 + 0.5^2) = 3.729
}

static void what_is_stated_is_taken_as_it_is(void **state) {
    const struct uncertainty it = uncertain(
        (struct uncertainty_source){.stated_mc = 2500, .type = "K", .tolerance = "class 2", .accuracy_mc = C},
        800 * C);

    (void)state;
    assert_int_equal(it.expanded_mc, 2500);
    assert_int_equal(it.sensor_from, UNCERTAINTY_STATED);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_file_says_all),
        cmocka_unit_test(between_points_it_is_a_straight_line),
        cmocka_unit_test(outside_there_is_nothing),
        cmocka_unit_test(the_instrument_comes_before_the_sensor),
        cmocka_unit_test(it_is_overdue_after_its_day),
        cmocka_unit_test(what_is_unclear_is_refused_with_its_line),
        cmocka_unit_test(parts_add_up_in_quadrature),
        cmocka_unit_test(a_part_that_is_not_known_makes_the_whole_unknown),
        cmocka_unit_test(what_is_stated_is_taken_as_it_is),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
