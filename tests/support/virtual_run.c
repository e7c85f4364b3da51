// SPDX-License-Identifier: MIT
#include "virtual_run.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define START_MS INT64_C(1794812400000) // 2026-11-16T07:00:00Z

enum {
    S = 1000,
    MIN = 60 * S,
    HOUR = 60 * MIN,
    K = 1000,
    MOST_HOLES = 6,
    MOST_DOORS = 3,
    FIRST_ID = 11,
    MOST_LOADS = 4,
    MOST_READINGS = 4000, // of one channel
};

uint64_t virtual_random(uint64_t *state) {
    uint64_t z = *state += UINT64_C(0x9e3779b97f4a7c15);

    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

int64_t virtual_between(uint64_t *state, int64_t least, int64_t most) {
    return least + (int64_t)(virtual_random(state) % (uint64_t)(most - least + 1));
}

static bool chance(struct virtual_run *run, int percent) {
    return virtual_between(&run->state, 1, 100) <= percent;
}

#define PICK(run, ...)                                                                                             \
    ((const int64_t[]){__VA_ARGS__}[virtual_between(                                                               \
        &(run)->state, 0, (int64_t)(sizeof((const int64_t[]){__VA_ARGS__}) / sizeof(int64_t)) - 1)])

struct draft {
    int64_t target_mc, below_mc, least_ms;
    int64_t preheat_mc, preheat_below_mc, preheat_ms; // 0: none
};

/* ---- what the oven does ---- */

struct oven {
    double start, target; // degrees C
    double rise_per_s, fall_per_s;
    double bump, bump_tau_s; // how far it runs over when it gets there, and how fast that goes
    double ripple, ripple_s;
    double rest, rest_from_s, rest_s; // a preheat: where, from when, how long
    double reached_s, hold_s, end_s;
    size_t door_count;
    double door_at_s[MOST_DOORS], door_drop[MOST_DOORS], door_tau_s[MOST_DOORS];
};

static double oven_at(const struct oven *oven, double t_s) {
    double value;

    if (t_s < oven->reached_s) {
        const double rested_s = fmin(fmax(t_s - oven->rest_from_s, 0), oven->rest_s);

        value = oven->start + oven->rise_per_s * (t_s - rested_s);
    } else if (t_s < oven->reached_s + oven->hold_s) {
        const double held_s = t_s - oven->reached_s;

        value = oven->target + oven->bump * (held_s / oven->bump_tau_s) * exp(1 - held_s / oven->bump_tau_s) +
                oven->ripple * sin(held_s / oven->ripple_s);
    } else {
        value = oven->target - oven->fall_per_s * (t_s - oven->reached_s - oven->hold_s);
    }
    for (size_t i = 0; i < oven->door_count; i++) {
        if (t_s >= oven->door_at_s[i])
            value -= oven->door_drop[i] * exp(-(t_s - oven->door_at_s[i]) / oven->door_tau_s[i]);
    }
    return value < 20 ? 20 : value;
}

static void oven_make(struct virtual_run *run, struct oven *oven, int64_t target_mc, const struct draft *draft) {
    uint64_t *state = &run->state;

    *oven = (struct oven){.start = (double)virtual_between(state, 20, 140), .target = (double)target_mc / K};
    if (chance(run, 5)) // the record begins with the oven hot
        oven->start = oven->target - (double)virtual_between(state, 1, 300) / 10;
    oven->rise_per_s = (double)virtual_between(state, 300, 3000) / 3600;
    oven->fall_per_s = (double)virtual_between(state, 200, 8000) / 3600;
    oven->bump = chance(run, 50) ? (double)virtual_between(state, 0, 200) / 10 : 0;
    oven->bump_tau_s = (double)virtual_between(state, 30, 400);
    oven->ripple = chance(run, 50) ? (double)virtual_between(state, 0, 60) / 10 : 0;
    oven->ripple_s = (double)virtual_between(state, 10, 200);
    oven->reached_s = (oven->target - oven->start) / oven->rise_per_s;
    oven->rest = (double)draft->preheat_mc / K;
    if (oven->rest > oven->start && oven->rest < oven->target) {
        oven->rest_from_s = (oven->rest - oven->start) / oven->rise_per_s;
        oven->rest_s = (double)draft->preheat_ms / S * (double)virtual_between(state, 70, 200) / 100;
        oven->reached_s += oven->rest_s;
    }
    oven->hold_s = (double)draft->least_ms / S * (double)virtual_between(state, 60, 250) / 100;
    oven->end_s = oven->reached_s + oven->hold_s + (double)virtual_between(state, 0, 1200);
    oven->door_count = (size_t)virtual_between(state, 0, chance(run, 50) ? 0 : MOST_DOORS);
    for (size_t i = 0; i < oven->door_count; i++) {
        oven->door_at_s[i] = (double)virtual_between(state, 0, (int64_t)oven->end_s);
        oven->door_drop[i] = (double)virtual_between(state, 2, 80);
        oven->door_tau_s[i] = (double)virtual_between(state, 5, 300);
    }
}

/* ---- what a channel reads ---- */

struct sense {
    double lag_s, offset, noise;
    int64_t step_mc; // the controller's resolution
    int64_t phase_ms, jitter_ms;
    size_t hole_count;
    struct hole {
        int64_t from_ms, to_ms;
        enum quality quality; // QUALITY_GOOD: nothing comes at all
    } holes[MOST_HOLES];
    int repeats_percent; // readings that come twice, the second time with another value
};

/* Holes of every length around the gap limit, at the edges of the run and of the soak. */
static void hole_make(struct virtual_run *run, struct hole *hole, const struct oven *oven, int64_t interval_ms) {
    const int64_t end_ms = (int64_t)(oven->end_s * S);
    const int64_t soak_ms = (int64_t)(oven->reached_s * S),
                  out_ms = (int64_t)((oven->reached_s + oven->hold_s) * S);
    const int64_t length_ms = chance(run, 60)
                                  ? interval_ms * PICK(run, 1, 2, 2, 3, 3, 4, 5, 10, 40) + PICK(run, -1, 0, 0, 1)
                                  : virtual_between(&run->state, 0, 20 * MIN);
    const int64_t around_ms = virtual_between(&run->state, -length_ms - 2 * MIN, 2 * MIN);

    switch (virtual_between(&run->state, 0, 4)) {
    case 0: hole->from_ms = 0; break;
    case 1: hole->from_ms = end_ms - length_ms; break;
    case 2: hole->from_ms = soak_ms + around_ms; break;
    case 3: hole->from_ms = out_ms + around_ms; break;
    default: hole->from_ms = virtual_between(&run->state, 0, end_ms);
    }
    hole->to_ms = hole->from_ms + length_ms;
    hole->quality = chance(run, 40)
                        ? QUALITY_GOOD
                        : (enum quality)virtual_between(&run->state, QUALITY_OPEN_SENSOR, QUALITY_COUNT - 1);
}

static void sense_make(struct virtual_run *run, struct sense *sense, const struct oven *oven, int64_t interval_ms,
                       bool load) {
    uint64_t *state = &run->state;

    *sense = (struct sense){.lag_s = load ? (double)virtual_between(state, 1, 500) : 1,
                            .offset = load ? (double)virtual_between(state, -60, 60) / 10 : 0,
                            .noise = chance(run, 60) ? (double)virtual_between(state, 0, 20) / 10 : 0,
                            .step_mc = PICK(run, 1, 1, 10, 100, 1000),
                            .phase_ms = chance(run, 30) ? 0 : virtual_between(state, 0, interval_ms - 1),
                            .jitter_ms = chance(run, 50) ? 0 : virtual_between(state, 0, interval_ms / 10),
                            .repeats_percent = chance(run, 10) ? 5 : 0};
    sense->hole_count = (size_t)virtual_between(state, 0, chance(run, 40) ? 0 : MOST_HOLES);
    for (size_t i = 0; i < sense->hole_count; i++)
        hole_make(run, &sense->holes[i], oven, interval_ms);
}

void virtual_run_add(struct virtual_run *run, const struct reading *reading) {
    if (run->reading_count == run->reading_room) {
        run->reading_room = run->reading_room == 0 ? 1024 : 2 * run->reading_room;
        run->readings = realloc(run->readings, run->reading_room * sizeof *run->readings);
        assert_non_null(run->readings);
    }
    run->readings[run->reading_count++] = *reading;
}

static void read_once(struct virtual_run *run, const struct sense *sense, int64_t id, int64_t t_ms, double value) {
    struct reading reading = {.t_ms = run->begin_ms + t_ms, .channel_id = id, .quality = QUALITY_GOOD};
    const double noise =
        sense->noise *
        ((double)virtual_between(&run->state, -1000, 1000) + (double)virtual_between(&run->state, -1000, 1000)) /
        2000;

    for (size_t i = 0; i < sense->hole_count; i++) {
        if (t_ms < sense->holes[i].from_ms || t_ms >= sense->holes[i].to_ms)
            continue;
        if (sense->holes[i].quality == QUALITY_GOOD)
            return;
        reading.quality = sense->holes[i].quality;
    }
    if (reading.quality == QUALITY_GOOD)
        reading.value = llround((value + sense->offset + noise) * K / (double)sense->step_mc) * sense->step_mc;
    virtual_run_add(run, &reading);
    if (chance(run, sense->repeats_percent)) {
        reading.value = reading.quality == QUALITY_GOOD ? reading.value + 50 * K : 0;
        virtual_run_add(run, &reading);
    }
}

/* The sensor follows the oven as T' = (oven - T) / lag, in steps of a second. */
static void channel_record(struct virtual_run *run, const struct oven *oven, const struct judge_channel *channel,
                           bool load) {
    struct sense sense;
    double value = oven->start;
    int64_t stepped_ms = 0, last_ms = -1;

    sense_make(run, &sense, oven, channel->interval_ms, load);
    for (int64_t at_ms = sense.phase_ms; at_ms < (int64_t)(oven->end_s * S); at_ms += channel->interval_ms) {
        const int64_t t_ms = at_ms + virtual_between(&run->state, 0, sense.jitter_ms);

        for (; stepped_ms < t_ms; stepped_ms += S)
            value += (oven_at(oven, (double)stepped_ms / S) - value) * -expm1(-1 / sense.lag_s);
        if (t_ms > last_ms)
            read_once(run, &sense, channel->channel_id, t_ms, value);
        last_ms = t_ms;
    }
}

/* Stable: of a reading that comes twice the first stays first. */
static void sort_readings(struct reading *readings, size_t count, struct reading *spare) {
    const size_t half = count / 2;
    size_t left = 0, right = half;

    if (count < 2)
        return;
    sort_readings(readings, half, spare);
    sort_readings(readings + half, count - half, spare);
    for (size_t i = 0; i < count; i++) {
        const bool from_right =
            left == half || (right < count && reading_is_before(&readings[right], &readings[left]));

        spare[i] = readings[from_right ? right++ : left++];
    }
    memcpy(readings, spare, count * sizeof *readings);
}

void virtual_run_sort(struct virtual_run *run) {
    struct reading *spare = calloc(run->reading_count + 1, sizeof *spare);

    assert_non_null(spare);
    sort_readings(run->readings, run->reading_count, spare);
    free(spare);
}

static void add_channel(struct virtual_run *run, const char *name, enum channel_role role,
                        const struct oven *oven) {
    const size_t at = run->channel_count++;
    const int64_t least_ms = (int64_t)(oven->end_s * S) / MOST_READINGS;
    int64_t interval_ms = PICK(run, 500, S, 2 * S, 5 * S, 7300, 10 * S, 30 * S, MIN);

    while (interval_ms < least_ms)
        interval_ms *= 2;
    snprintf(run->names[at], sizeof run->names[at], "%s", name);
    run->channels[at] = (struct judge_channel){
        .channel_id = FIRST_ID + (int64_t)at,
        .role = role,
        .interval_ms = interval_ms,
        .heats_at_most_mc_per_h =
            chance(run, 40) ? 0 : llround(oven->rise_per_s * 3600 * K) * virtual_between(&run->state, 11, 60) / 10,
        .uncertainty_mc = chance(run, 30) ? 0 : virtual_between(&run->state, 0, 4000),
    };
}

/* ---- the plan ---- */

__attribute__((format(printf, 2, 3))) static void write_plan(struct virtual_run *run, const char *format, ...) {
    const size_t used = strlen(run->plan);
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(run->plan + used, sizeof run->plan - used, format, arguments);
    va_end(arguments);
}

/* A heat from `least` degrees C at least to `most` at most. */
static void write_heat(struct virtual_run *run, const char *name, int64_t least, int64_t most, bool first) {
    uint64_t *state = &run->state;
    const int64_t low = virtual_between(state, least, most - 20), high = virtual_between(state, low + 1, most);

    write_plan(run, "[heat %s]\nramp_between = %lld C .. %lld C\n", name, (long long)low, (long long)high);
    if (chance(run, 80))
        write_plan(run, "ramp_at_most = %lld C/h\n", (long long)virtual_between(state, 200, 3500));
    else
        write_plan(run, "ramp_at_most = %lld F/min\n", (long long)virtual_between(state, 5, 100));
    if (chance(run, 60))
        write_plan(run, "ramp_window = %lld s\n", (long long)PICK(run, 10, 30, 60, 61, 120, 300, 600));
    if (first && chance(run, 30))
        write_plan(run, "load_at_most = %lld C\n", (long long)virtual_between(state, 20, 120));
}

static void write_hold(struct virtual_run *run, const struct draft *draft) {
    write_plan(run, "[hold]\ntemperature = %.3f C\nbelow = %.3f C\nabove = %lld C\ntime_at_least = %lld s\n",
               (double)draft->preheat_mc / K, (double)draft->preheat_below_mc / K,
               (long long)virtual_between(&run->state, 5, 40), (long long)(draft->preheat_ms / S));
}

/* What comes before the soak. */
static void write_way_up(struct virtual_run *run, const struct draft *draft) {
    const int64_t coolest = 30, edge = (draft->target_mc - draft->below_mc) / K;
    const int64_t preheat = (draft->preheat_mc - draft->preheat_below_mc) / K;

    if (draft->preheat_mc != 0) {
        write_heat(run, "first", coolest, preheat, true);
        write_hold(run, draft);
        write_heat(run, "second", preheat + 1, edge, false);
        return;
    }
    for (int64_t i = 0, count = virtual_between(&run->state, 0, 2); i < count; i++)
        write_heat(run, i == 0 ? "first" : "second", coolest, edge, i == 0);
}

static void write_soak(struct virtual_run *run, const char *kind, const struct draft *draft, size_t loads) {
    uint64_t *state = &run->state;
    const int64_t lag_ms = 5 * MIN; // the most that write_head allows

    write_plan(run, "[%s]\ntemperature = %.3f C\nbelow = %.3f C\nabove = %lld C\ntime_at_least = %lld s\n", kind,
               (double)draft->target_mc / K, (double)draft->below_mc / K, (long long)virtual_between(state, 3, 12),
               (long long)(draft->least_ms / S));
    if (chance(run, 60))
        write_plan(run, "time_at_most = %lld s\n",
                   (long long)((lag_ms + draft->least_ms * virtual_between(state, 100, 200) / 100) / S));
    if (chance(run, 50))
        write_plan(run, "overshoot_at_most = %lld F\n", (long long)virtual_between(state, 2, 30));
    if (loads > 1 && chance(run, 80))
        write_plan(run, "spread_at_most = %lld C\n", (long long)virtual_between(state, 2, 20));
}

static size_t write_head(struct virtual_run *run, size_t loads) {
    write_plan(run, "[plan]\ntitle = seed %llu\n", (unsigned long long)run->seed);
    if (chance(run, 30))
        write_plan(run, "decision = guarded\n");
    if (chance(run, 20)) {
        write_plan(run, "load = control\nlag_allowance = %lld s\n",
                   (long long)virtual_between(&run->state, 0, 300));
        return 1;
    }
    if (chance(run, 20)) {
        write_plan(run, "load = channels: load %zu%s\n", loads,
                   chance(run, 10)   ? ", elsewhere"
                   : chance(run, 20) ? ", control"
                                     : "");
        return 1;
    }
    return loads;
}

void virtual_run_make(struct virtual_run *run, uint64_t seed) {
    static const char *const names[MOST_LOADS] = {"load 1", "load 2", "load 3", "load 4"};
    const int64_t hot_mc = 760 * K, warm_mc = 150 * K;
    struct draft draft;
    struct oven oven;
    size_t loads, judged;

    *run = (struct virtual_run){.seed = seed, .state = seed, .begin_ms = START_MS};
    run->begin_ms += virtual_between(&run->state, 0, HOUR);
    loads = (size_t)virtual_between(&run->state, 1, MOST_LOADS);
    run->visit = chance(run, 20) ? 1 : 0;
    draft = (struct draft){
        .target_mc = run->visit == 0 ? hot_mc + 100 * virtual_between(&run->state, 0, 2500)
                                     : warm_mc + 100 * virtual_between(&run->state, 0, 3500),
        .below_mc = 100 * virtual_between(&run->state, 20, 120),
        .least_ms = S * virtual_between(&run->state, 60, 2400),
    };
    if (run->visit == 0 && chance(run, 30)) {
        draft.preheat_mc = 100 * virtual_between(&run->state, 4500, 6500);
        draft.preheat_below_mc = 100 * virtual_between(&run->state, 50, 200);
        draft.preheat_ms = S * virtual_between(&run->state, 60, 1200);
    }
    judged = write_head(run, loads);
    if (run->visit == 1)
        write_soak(run, "soak", &(struct draft){.target_mc = 900 * K, .below_mc = 5 * K, .least_ms = 10 * MIN},
                   judged);
    write_way_up(run, &draft);
    write_soak(run, run->visit == 0 ? "soak" : "temper", &draft, judged);

    oven_make(run, &oven, draft.target_mc + 100 * virtual_between(&run->state, -60, 60), &draft);
    run->end_ms = run->begin_ms + (int64_t)(oven.end_s * S) +
                  (chance(run, 50) ? 0 : virtual_between(&run->state, 0, 5 * MIN));
    if (chance(run, 50))
        add_channel(run, "control", ROLE_CONTROL, &oven);
    for (size_t i = 0; i < loads; i++)
        add_channel(run, names[i], ROLE_LOAD, &oven);
    if (run->channels[0].role != ROLE_CONTROL)
        add_channel(run, "control", ROLE_CONTROL, &oven);
    add_channel(run, "setpoint", ROLE_SETPOINT, &oven);
    for (size_t i = 0; i < run->channel_count; i++) {
        run->channels[i].name = run->names[i];
        channel_record(run, &oven, &run->channels[i], run->channels[i].role == ROLE_LOAD);
    }
    virtual_run_sort(run);
    if (run->reading_count > 0 && run->end_ms < run->readings[run->reading_count - 1].t_ms)
        run->end_ms = run->readings[run->reading_count - 1].t_ms;
}

void virtual_run_release(struct virtual_run *run) {
    free(run->readings);
    run->readings = NULL;
}

void virtual_run_write(const struct virtual_run *run, const char *plan_path, const char *csv_path) {
    FILE *file = fopen(plan_path, "w");

    assert_non_null(file);
    fputs(run->plan, file);
    assert_int_equal(fclose(file), 0);
    file = fopen(csv_path, "w");
    assert_non_null(file);
    for (size_t i = 0; i < run->channel_count; i++)
        fprintf(file, "channel,%lld,%s,%d,%lld,%lld,%lld\n", (long long)run->channels[i].channel_id,
                run->channels[i].name, (int)run->channels[i].role, (long long)run->channels[i].interval_ms,
                (long long)run->channels[i].heats_at_most_mc_per_h, (long long)run->channels[i].uncertainty_mc);
    fprintf(file, "end,%lld\nreadings\n", (long long)run->end_ms);
    for (size_t i = 0; i < run->reading_count; i++)
        fprintf(file, "%lld,%lld,%lld,%d\n", (long long)run->readings[i].t_ms,
                (long long)run->readings[i].channel_id, (long long)run->readings[i].value,
                (int)run->readings[i].quality);
    assert_int_equal(fclose(file), 0);
}
