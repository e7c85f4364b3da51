// SPDX-License-Identifier: MIT
/* quench: what is known and what is not, at the edges of each definition and about gaps. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "soakledger/quench.h"
#include "support/cooling.h"

/* ---- by hand: pairs of milliseconds since the charge left and degrees ---- */

enum { OPEN = -9999, END = 999999999 }; // an open sensor; the end of the list

static struct quench_curve follow(const struct quench_limits *limits, int64_t interval_ms, const int32_t *pairs) {
    struct quench *quench = quench_open(limits, t0_ms, interval_ms);
    struct quench_curve found;

    assert_non_null(quench);
    for (; pairs[0] != END; pairs += 2)
        cooling_feed(quench, t0_ms + pairs[0], (int64_t)pairs[1] * C,
                     pairs[1] == OPEN ? QUALITY_OPEN_SENSOR : QUALITY_GOOD);
    quench_read(quench, &found);
    quench_free(quench);
    return found;
}

static void five_readings_at_least(void **state) {
    static const int32_t four[] = {0,   850,  1000, 810,  2000, 770,  3000, 700, 4000,
                                   600, 5000, 510,  6000, 490,  7000, 480,  END};
    static const int32_t five[] = {0,   850,  1000, 810,  2000, 770,  3000, 700, 4000,
                                   600, 5000, 520,  6000, 510,  7000, 490,  END};
    static const int32_t four_in_all[] = {0, 850, 1000, 700, 2000, 500, 3000, 300, END};
    static const int32_t five_in_all[] = {0, 850, 1000, 700, 2000, 500, 3000, 350, 4000, 250, END};
    struct quench_curve found = follow(&usual_limits, S, four);

    (void)state;
    assert_false(found.cooling.known);
    assert_int_equal(found.cooling_readings, 4);
    found = follow(&usual_limits, S, five);
    assert_int_equal(found.cooling_readings, 5);
    assert_true(found.cooling.known);
    assert_int_equal(found.cooling.t_ms, t0_ms + 1250);
    assert_int_equal(found.cooling.ms, 6500 - 1250);
    assert_false(follow(&usual_limits, S, four_in_all).fastest.known);
    found = follow(&usual_limits, S, five_in_all);
    assert_true(found.fastest.known);
    assert_int_equal(found.fastest_mc_per_s, 155 * C); // (2 * 850 + 700 - 350 - 2 * 250) / 10
    assert_int_equal(found.fastest.ms, 2000);
    assert_int_equal(found.fastest_at_mc, 500 * C);
    assert_false(found.rate_at_300_known); // there is a window on one side only
}

/* A soak at 805 C ends at 797 C by its band: 800 C was passed a moment before. Noise about it: the last fall. */
static void upper_may_lie_before_the_end_of_the_soak(void **state) {
    static const int32_t pairs[] = {-4000, 805, -3000, 798, -2000, 802, -1000, 798, 0,    797, 1000, 700,
                                    2000,  650, 3000,  600, 4000,  550, 5000,  450, 6000, 440, END};
    const struct quench_curve found = follow(&usual_limits, S, pairs);

    (void)state;
    assert_true(found.cooling.known);
    assert_int_equal(found.cooling.t_ms, t0_ms - 1500);
    assert_int_equal(found.cooling.ms, 4500 + 1500);
    assert_int_equal(found.cooling_readings, 6); // 798, 797, 700, 650, 600, 550
    assert_int_equal(found.transfer.ms, 0);
}

/* A soak that stands exactly at a temperature falls through it when it leaves it. */
static void equal_is_above_the_upper_and_at_the_mark(void **state) {
    static const int32_t pairs[] = {0,   800,  1000, 800,  2000, 750,  3000, 700,   4000, 650,   5000, 600, 6000,
                                    600, 7000, 550,  8000, 500,  9000, 400,  10000, 200,  11000, 60,   END};
    const struct quench_curve found = follow(&usual_limits, S, pairs);

    (void)state;
    assert_int_equal(found.cooling.t_ms, t0_ms + 1000);
    assert_int_equal(found.cooling.ms, 7000);
    assert_int_equal(found.cooling_readings, 6); // neither 800 nor 500
    assert_int_equal(found.marks[0].ms, 5000);
    assert_int_equal(found.marks[1].ms, 9000);
    assert_int_equal(found.marks[2].ms, 10000);
    assert_int_equal(found.handle_warm.ms, 11000);
    assert_int_equal(found.transfer.ms, 1000);
}

/* 580 C when it left: the time to 600 C means nothing; and a second heat does not give one. */
static void a_mark_above_the_charge_is_not_known(void **state) {
    static const int32_t pairs[] = {-1000, 581, 0,    580, 1000, 500, 2000, 390, 3000,  250, 4000,  150, 5000, 100,
                                    6000,  59,  7000, 900, 8000, 700, 9000, 590, 10000, 300, 11000, 50,  END};
    const struct quench_curve found = follow(&usual_limits, S, pairs);

    (void)state;
    assert_false(found.marks[0].known);
    assert_int_equal(found.marks[0].ms, 0);
    assert_false(found.cooling.known);
    assert_int_equal(found.marks[1].ms, 1909);     // 1000 + 1000 * 100 / 110
    assert_int_equal(found.handle_warm.ms, 5976);  // 5000 + 1000 * 40 / 41
    assert_true(found.fastest_mc_per_s < 150 * C); // not the 200 C/s after the second heat
    assert_true(found.fastest.ms <= 5976);
}

static void warm_already(void **state) {
    static const int32_t cold_before[] = {-1000, 40, 1000, 40, 2000, 39, END};
    static const int32_t cold_first[] = {2000, 40, 3000, 39, END};
    static const int32_t never_seen[] = {3001, 40, 4000, 39, END};
    struct quench_curve found = follow(&usual_limits, S, cold_before);

    (void)state;
    assert_true(found.handle_warm.known && found.handle_warm.ms == 0 && !found.gap);
    assert_false(found.fastest.known);
    found = follow(&usual_limits, S, cold_first);
    assert_true(found.handle_warm.known && found.handle_warm.ms == 2000 && !found.gap);
    found = follow(&usual_limits, S, never_seen);
    assert_false(found.handle_warm.known);
    assert_true(found.gap);
}

static void a_charge_that_warms_does_not_cool(void **state) {
    static const int32_t pairs[] = {0, 700, 1000, 710, 2000, 720, 3000, 730, 4000, 740, 5000, 750, END};
    const struct quench_curve found = follow(&usual_limits, S, pairs);

    (void)state;
    assert_false(found.fastest.known || found.transfer.known || found.handle_warm.known || found.cooling.known);
}

/* Falls fast for one reading, and not on: at a reading a second the fall counts, at ten it is not borne out. */
static void a_fall_must_last(void **state) {
    static const int32_t slow[] = {0, 850, 1000, 830, 2000, 830, 3000, 830, END}; // 20 C/s, no more
    static const int32_t fast[] = {0,   850, 100, 847, 200, 847, 300, 847,  400, 847,  500, 835, 600,
                                   830, 700, 820, 800, 810, 900, 800, 1000, 790, 1100, 780, END};
    const struct quench_curve found = follow(&usual_limits, 100, fast);

    (void)state;
    assert_int_equal(follow(&usual_limits, S, slow).transfer.ms, 0);
    assert_true(follow(&usual_limits, S, slow).transfer.known);
    assert_true(found.transfer.known);
    assert_int_equal(found.transfer.ms, 400); // 3 C at first, and still 3 C by 0.4 s; here 12 C, and 37 C by 0.8 s
}

/* Only falls between leaving the soak and handle-warm are the quench's. */
static void a_fall_at_another_time_is_not_the_transfer(void **state) {
    static const int32_t before[] = {-4000, 850, -3000, 810, -2000, 850, -1000, 850,
                                     0,     850, 1000,  849, 2000,  800, END};
    static const int32_t after[] = {0, 80, 1000, 70, 2000, 59, 3000, 500, 4000, 400, 5000, 300, END};

    (void)state;
    assert_int_equal(follow(&usual_limits, S, before).transfer.ms, 1000);
    assert_false(follow(&usual_limits, S, after).transfer.known);
}

/* Denser than the channel's interval says: five readings are all there is to prove a fall. */
static void dense_readings_prove_a_fall(void **state) {
    static const int32_t dense[] = {0, 850, 20, 850, 40, 849, 60, 848, 80, 847, 100, 846, 120, 845, 140, 844, END};

    (void)state;
    assert_true(follow(&usual_limits, 100, dense).transfer.known);
    assert_int_equal(follow(&usual_limits, 100, dense).transfer.ms, 20);
}

/* A second heat and a second cooling are another curve. */
static void the_first_cooling_counts(void **state) {
    static const int32_t pairs[] = {0,     850, 1000,  790, 2000,  740, 3000,  690, 4000,  640, 5000,  590,
                                    6000,  540, 7000,  490, 8000,  820, 9000,  780, 10000, 760, 11000, 740,
                                    12000, 720, 13000, 700, 14000, 680, 15000, 640, 16000, 490, END};
    const struct quench_curve found = follow(&usual_limits, S, pairs);

    (void)state;
    assert_int_equal(found.cooling.t_ms, t0_ms + 833); // 1000 * 50 / 60
    assert_int_equal(found.cooling.ms, 6800 - 833);
    assert_int_equal(found.cooling_readings, 6);
}

static void the_first_of_equal_maxima(void **state) {
    static const int32_t pairs[] = {0, 850, 1000, 800, 2000, 750, 3000, 700, 4000, 650, 5000, 600, 6000, 550, END};
    const struct quench_curve found = follow(&usual_limits, S, pairs);

    (void)state;
    assert_int_equal(found.fastest_mc_per_s, 50 * C);
    assert_int_equal(found.fastest.ms, 2000);
}

/* ---- gaps ---- */

/* At a reading a second a fall that counts takes a second: 10 C in a gap are none, 20 C may be. */
static void a_gap_may_hide_the_first_fall(void **state) {
    static const int32_t small[] = {0, 850, 1000, 850, 6000, 840, 7000, 800, END};
    static const int32_t large[] = {0, 850, 1000, 850, 6000, 830, 7000, 800, END};
    static const int32_t before[] = {-9000, 850, -2000, 800, -1000, 800, 0, 800, 1000, 700, END};
    static const int32_t at_once[] = {0, 850, 50, 840, 355, 700, END}; // the gap bears out the fall before it

    (void)state;
    assert_int_equal(follow(&usual_limits, S, small).transfer.ms, 6000);
    assert_false(follow(&usual_limits, S, large).transfer.known);
    assert_true(follow(&usual_limits, S, before).transfer.known);
    assert_int_equal(follow(&usual_limits, S, before).transfer.ms, 0);
    assert_true(follow(&usual_limits, 100, at_once).transfer.known);
    assert_int_equal(follow(&usual_limits, 100, at_once).transfer.ms, 0);
}

/* A window may begin before a gap and end in it, or reach from one gap into the next. At a reading a second the
 * bound is 0.3 of the fall. */
static void a_gap_counts_with_what_is_beside_it(void **state) {
    /* 14 C/s found; 60 C from a window before the gap on: 18 C/s; 40 C in the gap alone would be 12 C/s. */
    static const int32_t beside[] = {0,     920,  1000,  906,  2000,  892,  3000,  878,  4000, 864,   5000,
                                     850,   6000, 850,   7000, 850,   8000, 850,   9000, 830,  14000, 790,
                                     15000, 790,  16000, 790,  17000, 790,  18000, 790,  END};
    /* 5 C/s found; 125 C in the first gap; two readings; the second gap. */
    static const int32_t twice[] = {0,     850,  1000,  845,   2000,  840,   3000,  835,   4000,
                                    830,   5000, 825,   10000, 700,   11000, 699,   16000, 698,
                                    17000, 697,  18000, 696,   19000, 695,   20000, 694,   END};
    static const int32_t just_over[] = {0,   850,  1000, 845,   2000, 840,   3000, 835, 4000,
                                        830, 5000, 825,  10000, 700,  11000, 699,  END};

    (void)state;
    assert_false(follow(&usual_limits, S, beside).fastest.known);
    assert_false(follow(&usual_limits, S, twice).fastest.known);
    assert_false(follow(&usual_limits, S, just_over).fastest.known);
}

/* It passed 300 C just before a gap, and again after it was warmed: the first fall counts, and it has no rate. */
static void a_rate_does_not_wait_across_a_gap(void **state) {
    static const int32_t pairs[] = {0,     420,   1000,  400,   2000,  370,   3000,  340,   4000,  310,   5000,
                                    290,   10000, 350,   11000, 345,   12000, 340,   13000, 330,   14000, 320,
                                    15000, 310,   16000, 290,   17000, 280,   18000, 270,   19000, 260,   END};

    (void)state;
    assert_false(follow(&usual_limits, S, pairs).rate_at_300_known);
}

/* Newton at 0.1 s, 850 C/40 C/s at 3.0 s, 800 C at 4.2 s, 500 C at 14.4 s, ... : an open sensor for 0.4 s about
 * moments. */
static void a_gap_loses_the_moment_it_contains(void **state) {
    const struct {
        double about_s;
        unsigned loses;
        bool gap;
    } cases[] = {{-5, 0, false},
                 {1.5, 0, true},
                 {newton_begins_s + 0.2, LOSES_TRANSFER | LOSES_FASTEST, true},
                 {newton_time(800), LOSES_COOLING, true},
                 {newton_time(700), 0, true},
                 {newton_time(600), LOSES_600, true},
                 {newton_time(500), LOSES_COOLING, true},
                 {newton_time(400), LOSES_400, true},
                 {newton_time(300), LOSES_RATE, true},
                 {newton_time(300) - 0.5, LOSES_RATE, true}, // the window's two readings before
                 {newton_time(200), LOSES_200, true},
                 {newton_time(60), LOSES_WARM, true},
                 {newton_time(60) + 2, 0, false}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const int64_t middle_ms = llround(cases[i].about_s * 10) * 100;
        const struct quench_curve found = cooling_run(
            (struct feeding){&newton, 100, 0, -20 * S, 200 * S, middle_ms - 200, middle_ms + 200, 0, 1, 0},
            &usual_limits);
        const unsigned unknown = cooling_unknown(&found);

        /* Newton's maximum is at the start and the rate falls slowly: whether a gap soon after may hold a faster
         * one depends on the bound, which is tried below. */
        if ((unknown & ~(unsigned)LOSES_FASTEST) != (cases[i].loses & ~(unsigned)LOSES_FASTEST))
            fail_msg("gap about %.1f s: %#x unknown, expected %#x", cases[i].about_s, unknown, cases[i].loses);
        assert_int_equal(found.gap, cases[i].gap);
    }
}

/* Two readings lost leave three intervals: not a gap, and nothing is lost. Three leave four. */
static void three_intervals_are_no_gap(void **state) {
    const int64_t at_ms = llround(newton_time(600) * 10) * 100;
    struct feeding feeding = {&newton, 100, 0, -20 * S, 200 * S, at_ms, at_ms + 100, 0, 1, 0};
    struct quench_curve found = cooling_run(feeding, &usual_limits);

    (void)state;
    assert_int_equal(cooling_unknown(&found), 0);
    assert_false(found.gap);
    feeding.broken_till_ms += 100;
    found = cooling_run(feeding, &usual_limits);
    assert_true(cooling_unknown(&found) & LOSES_600);
    assert_true(found.gap);
}

/* A gap that may hold the maximum: about the peak, or from the soak to below it. One in the slow convection may
 * not. */
static void a_gap_may_hold_the_maximum(void **state) {
    const struct {
        int64_t from_ms, till_ms;
        bool known;
    } cases[] = {{6200, 6600, false},  {6000, 6900, false},  {1000, 9000, false},
                 {-500, 7000, false},  {14000, 14400, true}, {20000, 22000, true},
                 {60000, 70000, true}, {-3000, -500, true},  {30000, 120000, false}};

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct quench_curve found = cooling_run(
            (struct feeding){&stages, 100, 0, -10 * S, 150 * S, cases[i].from_ms, cases[i].till_ms, 0, 1, 0},
            &usual_limits);

        if (found.fastest.known != cases[i].known)
            fail_msg("gap from %.1f s: maximum %s known", (double)cases[i].from_ms / S,
                     found.fastest.known ? "is" : "is not");
        if (found.fastest.known)
            assert_int_equal(found.fastest.ms, llround(peak_s * S));
        else
            assert_true(found.fastest_mc_per_s == 0 && found.fastest_at_mc == 0);
    }
}

/* Opens in the quench and never comes back: what was seen is known, the rest is not. */
static void an_open_sensor_ends_the_curve(void **state) {
    const struct quench_curve found =
        cooling_run((struct feeding){&newton, 100, 0, -20 * S, 200 * S, 18 * S, 300 * S, 0, 1, 0}, &usual_limits);

    (void)state;
    assert_int_equal(cooling_unknown(&found), LOSES_FASTEST | LOSES_RATE | LOSES_400 | LOSES_200 | LOSES_WARM);
    assert_true(found.gap);
}

static void no_reading_when_it_left(void **state) {
    const struct quench_curve late =
        cooling_run((struct feeding){&newton, 100, 0, 350 + 50, 200 * S, 0, 0, 0, 1, 0}, &usual_limits);
    const struct quench_curve soon =
        cooling_run((struct feeding){&newton, 100, 0, 300, 200 * S, 0, 0, 0, 1, 0}, &usual_limits);

    (void)state;
    assert_int_equal(cooling_unknown(&late), LOSES_TRANSFER | LOSES_FASTEST);
    assert_true(late.gap);
    assert_int_equal(cooling_unknown(&soon), 0);
    assert_false(soon.gap);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(five_readings_at_least),
        cmocka_unit_test(upper_may_lie_before_the_end_of_the_soak),
        cmocka_unit_test(equal_is_above_the_upper_and_at_the_mark),
        cmocka_unit_test(a_mark_above_the_charge_is_not_known),
        cmocka_unit_test(warm_already),
        cmocka_unit_test(a_charge_that_warms_does_not_cool),
        cmocka_unit_test(a_fall_must_last),
        cmocka_unit_test(a_fall_at_another_time_is_not_the_transfer),
        cmocka_unit_test(dense_readings_prove_a_fall),
        cmocka_unit_test(the_first_cooling_counts),
        cmocka_unit_test(the_first_of_equal_maxima),
        cmocka_unit_test(a_gap_may_hide_the_first_fall),
        cmocka_unit_test(a_gap_counts_with_what_is_beside_it),
        cmocka_unit_test(a_rate_does_not_wait_across_a_gap),
        cmocka_unit_test(a_gap_loses_the_moment_it_contains),
        cmocka_unit_test(three_intervals_are_no_gap),
        cmocka_unit_test(a_gap_may_hold_the_maximum),
        cmocka_unit_test(an_open_sensor_ends_the_curve),
        cmocka_unit_test(no_reading_when_it_left),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
