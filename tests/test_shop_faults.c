// SPDX-License-Identifier: MIT
/* shop: what can be wrong with an oven, its charge, its sensors and its line, against closed forms. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "shop/example.h"
#include "shop/heat.h"
#include "shop/play.h"

static const int64_t MS_PER_MIN = 60000, MIN_PER_H = 60;

struct bench {
    struct scene *scene;
    struct play *play;
};

/* `text` has the programme's lines, with times on 2026-11-16. */
static struct bench begin(const char *text) {
    struct fault fault = {0};
    struct bench bench = {.scene = example_read_scene(text, &fault)};

    if (bench.scene == NULL)
        fail_msg("%s", fault.text);
    bench.play = play_open(bench.scene, &fault);
    assert_non_null(bench.play);
    return bench;
}

static void play_on(const struct bench *bench, int64_t minutes) {
    play_advance(bench->play, bench->scene->start_ms + minutes * MS_PER_MIN);
}

static void end(struct bench *bench) {
    play_close(bench->play);
    scene_free(bench->scene);
}

static void elements_and_supply_give_what_is_left_of_them(void **state) {
    struct bench bench = begin("1 = 2026-11-16T07:00:00Z elements of kiln at 50 %\n"
                               "2 = 2026-11-16T07:10:00Z supply of kiln at 90 %\n"
                               "3 = 2026-11-16T07:20:00Z elements of kiln at 100 %\n"
                               "4 = 2026-11-16T07:20:00Z supply of kiln at 0 %\n");
    const struct heat_oven *oven = play_oven(bench.play, 0);
    const double whole_w = oven->build.power_w;

    (void)state;
    play_on(&bench, 1);
    assert_true(fabs(heat_full_power(oven) - 0.5 * whole_w) < 1e-9 * whole_w);
    play_on(&bench, 11);
    assert_true(fabs(heat_full_power(oven) - 0.5 * 0.81 * whole_w) < 1e-9 * whole_w);
    play_on(&bench, 21);
    assert_true(heat_full_power(oven) == 0);
    end(&bench);
}

/* At rest the elements give the losses: with less power the output is higher by as much. */
static void a_weak_element_holds_with_more_output(void **state) {
    struct bench bench = begin("1 = 2026-11-16T07:00:00Z oven kiln holds 400 C\n"
                               "2 = 2026-11-16T12:00:00Z elements of kiln at 80 %\n");
    const struct heat_oven *oven = play_oven(bench.play, 0);
    double before;

    (void)state;
    play_on(&bench, 5 * MIN_PER_H);
    before = oven->output;
    assert_in_range((int)(before * 1000), 20, 790);
    play_on(&bench, 10 * MIN_PER_H);
    assert_true(fabs(oven->output * 0.8 / before - 1) < 0.01);
    end(&bench);
}

static void a_door_ajar_loses_its_share(void **state) {
    struct bench bench = begin("1 = 2026-11-16T07:10:00Z door of kiln open by 25 % for 10 min\n"
                               "2 = 2026-11-16T07:30:00Z door of kiln open for 10 min\n");
    struct heat_oven oven = *play_oven(bench.play, 0);
    static const double rise_c = 100, door_w = 300;
    double shut_w, at_c;

    (void)state;
    oven.build.door_w_per_k = door_w / rise_c;
    at_c = oven.build.ambient_c + rise_c;
    shut_w = heat_loss(&oven, at_c);
    for (int64_t minutes = 5; minutes <= 35; minutes += 10) {
        static const double open[] = {0, 0.25, 0, 1};

        play_on(&bench, minutes);
        oven.door_open = play_oven(bench.play, 0)->door_open;
        oven.door_share = play_oven(bench.play, 0)->door_share;
        assert_true(fabs(heat_loss(&oven, at_c) - shut_w - open[minutes / 10] * door_w) < 1e-6);
    }
    end(&bench);
}

/* Behind a chamber whose temperature rises steadily a body trails by slope times lag. */
static void a_heavy_charge_trails_by_mass_over_surface(void **state) {
    static const double slope = 0.02; // C/s
    struct bench bench = begin("1 = 2026-11-16T07:00:00Z load part weighs 300 % with surface 150 %\n"
                               "2 = 2026-11-16T07:00:00Z load part in\n"
                               "3 = 2026-11-16T07:00:00Z oven kiln ramps to 500 C at 72 C/h\n");
    const struct heat_oven *oven = play_oven(bench.play, 0);
    double trail_c;

    (void)state;
    play_on(&bench, 3 * MIN_PER_H);
    trail_c = oven->build.ambient_c +
              oven->loads[0].build.exposure * (oven->state.chamber_c - oven->build.ambient_c) -
              oven->state.body_c[0];
    assert_true(fabs(trail_c / (slope * oven->loads[0].build.exposure * 2 * oven->loads[0].build.lag_s) - 1) <
                0.02);
    end(&bench);
}

static void a_sensor_out_of_its_place_gets_less_of_the_rise(void **state) {
    struct bench bench = begin("1 = 2026-11-16T07:00:00Z oven kiln ramps to 400 C at 400 C/h\n"
                               "2 = 2026-11-16T08:30:00Z sensor part gets 90 % of the rise\n"
                               "3 = 2026-11-16T08:30:00Z load part in\n"
                               "4 = 2026-11-16T11:00:00Z sensor part reads true\n");
    const struct heat_oven *oven = play_oven(bench.play, 0);
    double true_c;

    (void)state;
    play_on(&bench, 3 * MIN_PER_H + 59);
    true_c = oven->state.probe_c[0];
    assert_true(
        fabs(play_show_load(bench.play, 0) - oven->build.ambient_c - 0.9 * (true_c - oven->build.ambient_c)) < 2);
    play_on(&bench, 4 * MIN_PER_H + 1);
    assert_true(fabs(play_show_load(bench.play, 0) - oven->state.probe_c[0]) < 2);
    end(&bench);
}

static void a_line_garbles_its_share(void **state) {
    enum { REPLIES = 20000 };
    struct bench bench = begin("1 = 2026-11-16T07:10:00Z line bench garbles 12.5 %\n"
                               "2 = 2026-11-16T07:20:00Z line bench garbles 0 %\n");
    int garbled = 0;

    (void)state;
    for (uint64_t i = 0; i < REPLIES; i++)
        assert_false(play_is_garbled(bench.play, 0, i));
    play_on(&bench, 11);
    for (uint64_t i = 0; i < REPLIES; i++) {
        garbled += play_is_garbled(bench.play, 0, i);
        assert_int_equal(play_is_garbled(bench.play, 0, i), play_is_garbled(bench.play, 0, i));
    }
    assert_in_range(garbled, 2300, 2700); // 4 standard deviations of 47 around 2500
    play_on(&bench, 21);
    for (uint64_t i = 0; i < REPLIES; i++)
        assert_false(play_is_garbled(bench.play, 0, i));
    end(&bench);
}

static void what_is_no_share_is_refused(void **state) {
    static const char *const WRONG[] = {
        "1 = 2026-11-16T07:00:00Z elements of kiln at 50\n",
        "1 = 2026-11-16T07:00:00Z elements of kiln at -5 %\n",
        "1 = 2026-11-16T07:00:00Z elements of kiln at nan %\n",
        "1 = 2026-11-16T07:00:00Z elements of kiln at 5 % %\n",
        "1 = 2026-11-16T07:00:00Z load part weighs 0 % with surface 100 %\n",
        "1 = 2026-11-16T07:00:00Z load part weighs 100 % with surface 0 %\n",
        "1 = 2026-11-16T07:00:00Z line bench garbles much\n",
    };

    (void)state;
    for (size_t i = 0; i < sizeof WRONG / sizeof WRONG[0]; i++) {
        struct fault fault = {0};

        if (example_read_scene(WRONG[i], &fault) != NULL)
            fail_msg("taken: %s", WRONG[i]);
        assert_non_null(strstr(fault.text, "expected"));
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(elements_and_supply_give_what_is_left_of_them),
        cmocka_unit_test(a_weak_element_holds_with_more_output),
        cmocka_unit_test(a_door_ajar_loses_its_share),
        cmocka_unit_test(a_heavy_charge_trails_by_mass_over_surface),
        cmocka_unit_test(a_sensor_out_of_its_place_gets_less_of_the_rise),
        cmocka_unit_test(a_line_garbles_its_share),
        cmocka_unit_test(what_is_no_share_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
