// SPDX-License-Identifier: MIT
#include "wear.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

#include "../shop/heat.h"

enum { CONTROL = 1, SETPOINT = 100, OUTPUT = 101, INTERVAL_MS = 10000, MS_PER_S = 1000, PER_UNIT = 1000 };
static const int64_t first_ms = INT64_C(1794812400000), day_ms = 86400000;

/* ---- chance ---- */

static uint64_t draw(uint64_t *seed) { // splitmix64
    uint64_t x = *seed += UINT64_C(0x9E3779B97F4A7C15);

    x = (x ^ (x >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    x = (x ^ (x >> 27)) * UINT64_C(0x94D049BB133111EB);
    return x ^ (x >> 31);
}

static double draw_part(uint64_t *seed) {
    return (double)(draw(seed) >> 11) * 0x1p-53;
}

static double draw_between(uint64_t *seed, double low, double high) {
    return low + (high - low) * draw_part(seed);
}

static double draw_normal(uint64_t *seed) {
    const double one = 1 - draw_part(seed), other = draw_part(seed);

    return sqrt(-2 * log(one)) * cos(2 * M_PI * other);
}

/* ---- the shop ---- */

const char *wear_kind_name(enum wear_kind kind) {
    static const char *const names[WEAR_KIND_COUNT] = {"none", "slow", "step", "element", "supply", "leak"};

    return names[kind];
}

void wear_make(struct wear_shop *shop, uint64_t seed, enum wear_kind kind) {
    uint64_t chance = seed * WEAR_KIND_COUNT + (uint64_t)kind;
    const double sign = draw_part(&chance) < 0.5 ? -1 : 1;

    *shop =
        (struct wear_shop){.seed = draw(&chance), .kind = kind, .sensor_count = 3, .run_count = 50, .noise_c = 1};
    shop->begins_run = 12 + (size_t)(draw(&chance) % 9);
    shop->sensor = (size_t)(draw(&chance) % shop->sensor_count);
    shop->full_power = draw_part(&chance) < 0.5;
    shop->level_c = draw_between(&chance, 780, 1060);
    shop->slow_leak = draw_part(&chance) < 0.5;
    switch (kind) {
    case WEAR_SLOW: shop->size = sign * 0.5; break;
    case WEAR_STEP: shop->size = sign * draw_between(&chance, 3, 8); break;
    case WEAR_ELEMENT: shop->size = draw_between(&chance, 0.003, 0.01); break;
    case WEAR_SUPPLY: shop->size = sign * draw_between(&chance, 0.03, 0.08); break;
    case WEAR_LEAK:
        shop->size = shop->slow_leak ? draw_between(&chance, 0.005, 0.015) : draw_between(&chance, 0.08, 0.2);
        break;
    default: break;
    }
}

/* How far it has gone in that run: 0 before it begins, then 1 or the runs since. */
static double progress(const struct wear_shop *shop, size_t run) {
    const bool slow =
        shop->kind == WEAR_SLOW || shop->kind == WEAR_ELEMENT || (shop->kind == WEAR_LEAK && shop->slow_leak);

    if (run < shop->begins_run)
        return 0;
    return slow ? (double)(run - shop->begins_run) + 1 : 1;
}

/* ---- one run ---- */

struct play {
    const struct wear_shop *shop;
    struct heat_oven oven;
    uint64_t chance;
    double errors_c[DRIFT_MOST_SENSORS]; // of each thermocouple, where it is now, at the level
    struct steady *steady;
    struct drift_run *facts;
    size_t stretches;
};

/* As drift.h wants them: the last stretch at the level. */
static void take_stretch(void *context, const struct steady_stretch *stretch) {
    struct play *play = context;
    struct drift_run *facts = play->facts;

    play->stretches++;
    facts->t_ms = stretch->to_ms;
    facts->level_c = (double)stretch->level_mc / PER_UNIT;
    for (size_t i = 0; i < stretch->sensor_count; i++)
        facts->mean_c[stretch->means[i].channel_id - CONTROL] = (double)stretch->means[i].mean_mc / PER_UNIT;
    facts->output = stretch->has_output ? (double)stretch->output / PER_UNIT : NAN;
    facts->heat_s = stretch->heat_ms > 0 ? (double)stretch->heat_ms / MS_PER_S : NAN;
    facts->heat_output = stretch->heat_has_output ? (double)stretch->heat_output / PER_UNIT : NAN;
}

static void build_oven(struct play *play, size_t run) {
    const struct wear_shop *shop = play->shop;
    const double far = progress(shop, run) * shop->size, room_c = 21 + 3 * draw_normal(&play->chance);
    const double voltage = (1 + 0.005 * draw_normal(&play->chance)) * (shop->kind == WEAR_SUPPLY ? 1 + far : 1);
    const double resistance = shop->kind == WEAR_ELEMENT ? 1 + far : 1;
    const double loss = shop->kind == WEAR_LEAK ? 1 + far : 1;
    const double charge = 1 + 0.15 * draw_normal(&play->chance);
    const struct heat_build build = {.ambient_c = room_c,
                                     .power_w = 3600 * voltage * voltage / resistance,
                                     .capacity_j_per_k = 9000,
                                     .loss_w_per_k = 1.1 * loss,
                                     .radiating_m2 = 0.0035 * loss,
                                     .element_lag_s = 40,
                                     .sensor_lag_s = 15,
                                     .tuning = {40, 400, 20}};

    heat_start(&play->oven, &build);
    for (size_t i = 1; i < shop->sensor_count; i++) {
        /* A leak chills the place that is next to the door. */
        const double chilled = shop->kind == WEAR_LEAK && i == 1 ? 0.02 * far : 0;
        const struct heat_load_build load = {.capacity_j_per_k = 350 * fmax(0.3, charge),
                                             .lag_s = 240,
                                             .probe_lag_s = 15,
                                             .exposure = 0.996 - 0.002 * (double)i - chilled};

        heat_put_in(&play->oven, heat_add_load(&play->oven, &load));
    }
}

/* Each thermocouple lies a little differently in each run; wear adds its part, which grows with temperature. */
static void choose_errors(struct play *play, size_t run) {
    const struct wear_shop *shop = play->shop;

    for (size_t i = 0; i < shop->sensor_count; i++)
        play->errors_c[i] = shop->noise_c / M_SQRT2 * draw_normal(&play->chance);
    if (shop->kind == WEAR_SLOW || shop->kind == WEAR_STEP)
        play->errors_c[shop->sensor] += progress(shop, run) * shop->size;
}

static double shown_c(const struct play *play, size_t sensor) {
    const double true_c = sensor == 0 ? play->oven.state.sensor_c : play->oven.state.probe_c[sensor - 1];

    return true_c + play->errors_c[sensor] * true_c / play->shop->level_c;
}

static void feed(struct play *play, int64_t channel_id, int64_t t_ms, double value) {
    const struct reading reading = {t_ms, llround(value * PER_UNIT), channel_id, QUALITY_GOOD};

    steady_feed(play->steady, &reading);
}

static void feed_all(struct play *play, int64_t t_ms) {
    for (size_t i = 0; i < play->shop->sensor_count; i++)
        feed(play, CONTROL + (int64_t)i, t_ms, shown_c(play, i) + 0.3 * draw_normal(&play->chance));
    feed(play, SETPOINT, t_ms, play->oven.target_c);
    feed(play, OUTPUT, t_ms, 100 * play->oven.output);
}

static void open_steady(struct play *play) {
    struct steady_channel channels[DRIFT_MOST_SENSORS + 2];
    struct fault fault;
    size_t count = 0;

    for (; count < play->shop->sensor_count; count++)
        channels[count] =
            (struct steady_channel){CONTROL + (int64_t)count, count == 0 ? ROLE_CONTROL : ROLE_LOAD, INTERVAL_MS};
    channels[count++] = (struct steady_channel){SETPOINT, ROLE_SETPOINT, INTERVAL_MS};
    channels[count++] = (struct steady_channel){OUTPUT, ROLE_OUTPUT, INTERVAL_MS};
    play->steady = steady_open(channels, count, take_stretch, play, &fault);
    assert_non_null(play->steady);
}

static void play_run(struct play *play, size_t run) {
    const int64_t begun_ms = first_ms + (int64_t)run * day_ms / 2;
    const double step_s = (double)INTERVAL_MS / MS_PER_S;
    const double rate = play->shop->full_power ? INFINITY : 900.0 / 3600;
    const int64_t rise_ms = (int64_t)(play->shop->level_c * (play->shop->full_power ? 5000 : 5600));
    const int64_t soak_ms = 50 * 60 * MS_PER_S;

    build_oven(play, run);
    choose_errors(play, run);
    open_steady(play);
    heat_ramp(&play->oven, play->shop->level_c, rate, shown_c(play, 0));
    for (int64_t t_ms = 0; t_ms < rise_ms + soak_ms; t_ms += INTERVAL_MS) {
        heat_step(&play->oven, step_s, shown_c(play, 0));
        feed_all(play, begun_ms + t_ms);
    }
    steady_end(play->steady);
    steady_free(play->steady);
    play->facts->run_id = (int64_t)run + 1;
    play->facts->hours = (double)(rise_ms + soak_ms) / 3600e3;
}

void wear_play(const struct wear_shop *shop, struct drift_run *runs) {
    for (size_t run = 0; run < shop->run_count; run++) {
        struct play play = {.shop = shop, .chance = shop->seed + run, .facts = &runs[run]};

        runs[run] = (struct drift_run){.output = NAN, .heat_s = NAN, .heat_output = NAN};
        for (size_t i = 0; i < DRIFT_MOST_SENSORS; i++)
            runs[run].mean_c[i] = NAN;
        draw(&play.chance);
        play.chance ^= (uint64_t)run << 32;
        play_run(&play, run);
        if (play.stretches == 0)
            fail_msg("run %zu of shop %llu leaves no facts", run, (unsigned long long)shop->seed);
    }
}

void wear_history(const struct wear_shop *shop, const struct drift_run *runs, double allowed_c,
                  struct drift_history *history) {
    static const char *const names[] = {"control", "front", "back", "left", "right"};

    *history =
        (struct drift_history){.sensor_count = shop->sensor_count, .run_count = shop->run_count, .runs = runs};
    for (size_t i = 0; i < shop->sensor_count; i++)
        history->sensors[i] = (struct drift_sensor){names[i], i == 0, allowed_c};
}

bool wear_is_right(const struct wear_shop *shop, const struct drift_report *report) {
    switch (shop->kind) {
    case WEAR_SLOW:
    case WEAR_STEP:
        if (report->cause == DRIFT_PAIR)
            return shop->sensor_count == 2;
        return report->cause == DRIFT_SENSOR && report->sensor == shop->sensor;
    case WEAR_ELEMENT: return report->cause == DRIFT_ELEMENT;
    case WEAR_SUPPLY: return report->cause == DRIFT_SUPPLY;
    case WEAR_LEAK: return report->cause == DRIFT_LEAK;
    default: return report->cause == DRIFT_NOTHING;
    }
}
