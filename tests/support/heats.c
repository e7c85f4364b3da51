// SPDX-License-Identifier: MIT
#include "heats.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "../shop/play.h"

enum { MS_PER_S = 1000, MS_PER_MIN = 60000, TEXT_BYTES = 4096, HOUR_MS = 3600000, TENTH_MC = 100 };
enum { LOADS_MOST = 2 };
enum { LIT_AFTER_MS = 10 * MS_PER_MIN, WATCHED_MS = 75 * MS_PER_MIN };
static const int64_t START_MS = INT64_C(1794812400000); // 2026-11-16T07:00:00Z

const int64_t heats_looks_ms[HEATS_LOOKS] = {30 * MS_PER_MIN, 10 * MS_PER_MIN, 5 * MS_PER_MIN};

/* splitmix64, Steele, Lea and Flood 2014 (constants from memory): any fixed mixing would do. */
static uint64_t mix(uint64_t *state) {
    uint64_t z = (*state += UINT64_C(0x9e3779b97f4a7c15));

    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static long draw(uint64_t *state, long least, long most) {
    return least + (long)(mix(state) % (uint64_t)(most - least + 1));
}

struct recipe {
    uint64_t number;
    long temperature_c, set_c, overshoot_c, rate_c_h, loads;
    bool jumps, hunts;
};

/* Two of three runs are meant to go wrong: its controller hunts, or somebody has set it too high. Not all do. */
static void draw_recipe(uint64_t *state, struct recipe *recipe) {
    const bool wrong = recipe->number % 3 != 0, set_wrong = wrong && draw(state, 0, 2) == 0;
    long too_high_c;

    recipe->loads = draw(state, 1, LOADS_MOST);
    recipe->temperature_c = draw(state, 18, 95) * 10;
    recipe->overshoot_c = draw(state, 6, 15);
    too_high_c = set_wrong ? recipe->overshoot_c + draw(state, 2, 12) : draw(state, -2, 2);
    recipe->set_c = recipe->temperature_c + too_high_c;
    recipe->hunts = wrong && !set_wrong;
    recipe->jumps = draw(state, 0, 3) == 0;
    recipe->rate_c_h = draw(state, 3, 15) * 100;
}

struct page {
    char text[TEXT_BYTES];
    size_t used;
};

__attribute__((format(printf, 2, 3))) static void print(struct page *page, const char *format, ...) {
    va_list args;

    va_start(args, format);
    page->used += (size_t)vsnprintf(page->text + page->used, sizeof page->text - page->used, format, args);
    va_end(args);
    assert_true(page->used < sizeof page->text);
}

static void print_tuning(uint64_t *state, const struct recipe *recipe, struct page *page) {
    if (recipe->hunts) {
        print(page, "band = %ld C\n", draw(state, 60, 160));
        print(page, "reset = %ld s\n", draw(state, 60, 200));
    } else {
        print(page, "band = %ld C\n", draw(state, 6, 14));
        print(page, "reset = %ld s\n", draw(state, 180, 360));
        print(page, "derivative = %ld s\n", draw(state, 4, 9));
    }
}

static void print_scene(uint64_t *state, const struct recipe *recipe, struct page *page) {
    print(page, "[clock]\nstart = 2026-11-16T07:00:00Z\nseed = %lu\n", (unsigned long)recipe->number + 1);
    print(page, "[line bench]\nlink = bench\n[oven small]\nloss = 1.0 W/K\nnoise = 0.15 C\n");
    print(page, "power = %ld W\n", draw(state, 30, 60) * 100);
    print(page, "heat_capacity = %ld.5 kJ/K\n", draw(state, 4, 9));
    print(page, "radiation = %ld cm2\n", draw(state, 20, 50));
    print(page, "element_lag = %ld s\n", draw(state, 4, 15));
    print(page, "sensor_lag = %ld s\n", draw(state, 3, 10));
    print_tuning(state, recipe, page);
    for (long i = 0; i < recipe->loads; i++) {
        print(page, "[load l%ld]\noven = small\n", i);
        print(page, "heat_capacity = %ld J/K\n", draw(state, 10, 50) * 10);
        print(page, "lag = %ld s\n", draw(state, 40, 330));
        print(page, "sensor_lag = %ld s\n", draw(state, 5, 15));
        print(page, "exposure = 99.%ld %%\n", draw(state, 6, 9));
        print(page, "noise = 0.%02ld C\n", draw(state, 5, 25));
    }
    print(page, "[programme day]\n");
    for (long i = 0; i < recipe->loads; i++)
        print(page, "%ld = 2026-11-16T07:01:00Z load l%ld in\n", i + 1, i);
    print(page, "%ld = 2026-11-16T07:10:00Z oven small ", recipe->loads + 1);
    if (recipe->jumps)
        print(page, "holds %ld C\n", recipe->set_c);
    else
        print(page, "ramps to %ld C at %ld C/h\n", recipe->set_c, recipe->rate_c_h);
}

/* `channel` < LOADS_MOST. */
static void take_reading(struct heats_run *run, int64_t t_ms, size_t channel, double shown_c, int64_t *rose_ms) {
    const int64_t value = llround(shown_c * 10) * TENTH_MC; // one decimal, as on the wire

    run->readings[run->count++] =
        (struct reading){.t_ms = t_ms, .value = value, .channel_id = (int64_t)channel + 1};
    if (value < run->limits.edge_mc)
        rose_ms[channel] = 0;
    else if (rose_ms[channel] == 0)
        rose_ms[channel] = t_ms;
    if (value > run->limits.overshoot_limit_mc && !run->passes) {
        run->passes = true;
        run->passes_ms = t_ms;
    }
}

/* In until the last has been for the required time. */
static void see_complete(struct heats_run *run, const int64_t *rose_ms, int64_t t_ms) {
    int64_t begun_ms = 0;

    for (size_t i = 0; i < run->channel_count && i < LOADS_MOST; i++) {
        if (rose_ms[i] == 0)
            return;
        begun_ms = rose_ms[i] > begun_ms ? rose_ms[i] : begun_ms;
    }
    if (run->complete_ms == 0 && t_ms - begun_ms >= run->limits.required_ms)
        run->complete_ms = begun_ms + run->limits.required_ms;
}

void heats_make(uint64_t number, struct heats_run *run) {
    uint64_t state = number;
    struct recipe recipe = {.number = number};
    struct page page = {.used = 0};
    struct fault fault;
    struct scene *scene;
    struct play *play;
    int64_t rose_ms[LOADS_MOST] = {0, 0}, until_ms;

    draw_recipe(&state, &recipe);
    print_scene(&state, &recipe, &page);
    scene = scene_parse(page.text, page.used, "scene", &fault);
    if (scene == NULL) {
        fail_msg("%s\n%s", fault.text, page.text);
        return;
    }
    play = play_open(scene, &fault);
    assert_non_null(play);
    *run =
        (struct heats_run){.channel_count = scene->load_count,
                           .limits = {.temperature_mc = recipe.temperature_c * MS_PER_S,
                                      .edge_mc = (recipe.temperature_c - 8) * MS_PER_S,
                                      .overshoot_limit_mc = (recipe.temperature_c + recipe.overshoot_c) * MS_PER_S,
                                      .required_ms = (10 + (int64_t)(number * 7 % 26)) * MS_PER_MIN,
                                      .interval_ms = MS_PER_S}};
    until_ms = START_MS + LIT_AFTER_MS + WATCHED_MS + recipe.temperature_c * HOUR_MS / recipe.rate_c_h;
    run->readings = calloc((size_t)((until_ms - START_MS) / MS_PER_S + 1) * LOADS_MOST, sizeof *run->readings);
    assert_non_null(run->readings);
    for (int64_t t_ms = START_MS; t_ms < until_ms; t_ms += MS_PER_S) {
        play_advance(play, t_ms);
        for (size_t i = 0; i < run->channel_count && i < LOADS_MOST; i++)
            take_reading(run, t_ms, i, play_show_load(play, i), rose_ms);
        see_complete(run, rose_ms, t_ms);
    }
    play_close(play);
    scene_free(scene);
}

void heats_free(struct heats_run *run) {
    free(run->readings);
}

void heats_score(const struct heats_run *run, struct heats_score *score) {
    struct fault fault;
    struct forecast *forecast = forecast_open(&run->limits, &fault);
    struct forecast_outlook outlook;

    assert_non_null(forecast);
    *score = (struct heats_score){.warned = false};
    for (size_t i = 0; i < run->count; i++) {
        const int64_t t_ms = run->readings[i].t_ms;

        forecast_feed(forecast, &run->readings[i]);
        if (i + 1 < run->count && run->readings[i + 1].t_ms == t_ms)
            continue;
        forecast_read(forecast, t_ms, &outlook);
        if (outlook.overshoot_coming && !score->warned) {
            score->warned = true;
            score->warning_ms = run->passes_ms - t_ms;
        }
        for (size_t k = 0; run->complete_ms != 0 && k < HEATS_LOOKS; k++) {
            const int64_t look_ms = run->complete_ms - heats_looks_ms[k];

            if (t_ms < look_ms || t_ms >= look_ms + MS_PER_S)
                continue;
            score->known[k] = outlook.complete_known;
            score->error_ms[k] = outlook.complete_ms - run->complete_ms;
        }
    }
    forecast_free(forecast);
}
