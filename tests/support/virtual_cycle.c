// SPDX-License-Identifier: MIT
#include "virtual_cycle.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define START_MS INT64_C(1794812400000) // 2026-11-16T07:00:00Z
#define FOREVER  1e9                    // s

enum {
    S = 1000,
    MIN = 60 * S,
    HOUR = 60 * MIN,
    K = 1000,
    FIRST_ID = 21,
    MOST_LEGS = 12,
    MOST_HOLES = 5,
    MOST_LOADS = 2,
    MOST_QUENCHES = 2,
};

static int64_t pick(struct virtual_run *run, int64_t least, int64_t most) {
    return virtual_between(&run->state, least, most);
}

static bool chance(struct virtual_run *run, int percent) {
    return pick(run, 1, 100) <= percent;
}

#define PICK(run, ...)                                                                                             \
    ((const int64_t[]){                                                                                            \
        __VA_ARGS__}[pick(run, 0, (int64_t)(sizeof((const int64_t[]){__VA_ARGS__}) / sizeof(int64_t)) - 1)])

/* What is asked for, before it is written as a plan. */
struct draft {
    int64_t soak_c, below_c, soak_s;
    bool has_quench;
    int64_t falls_c_per_s, upper_c, lower_c, warm_c;
    bool has_cold;
    int64_t cold_c, cold_s;
    int64_t temper_c, temper_below_c, temper_s;
};

/* ---- temperatures ---- */

/* A line of so many degrees a second, or on towards a temperature with a time constant. */
struct leg {
    double lasts_s;
    double towards, tau_s; // tau_s 0: a line
    double per_s;
};

struct course {
    double start;
    size_t count;
    struct leg legs[MOST_LEGS];
};

struct follower {
    const struct course *course;
    size_t leg;
    double left_s, value, at_s;
};

static void add_line(struct course *course, double per_s, double lasts_s) {
    course->legs[course->count++] = (struct leg){.lasts_s = lasts_s, .per_s = per_s};
}

static void add_approach(struct course *course, double towards, double tau_s, double lasts_s) {
    course->legs[course->count++] = (struct leg){.lasts_s = lasts_s, .towards = towards, .tau_s = tau_s};
}

static double course_length(const struct course *course) {
    double length = 0;

    for (size_t i = 0; i < course->count; i++)
        length += course->legs[i].lasts_s;
    return length;
}

static double follow(struct follower *follower, double t_s) {
    while (follower->at_s < t_s && follower->leg < follower->course->count) {
        const struct leg *leg = &follower->course->legs[follower->leg];
        const double step_s = fmin(t_s - follower->at_s, follower->left_s);

        if (leg->tau_s > 0)
            follower->value += (leg->towards - follower->value) * -expm1(-step_s / leg->tau_s);
        else
            follower->value += leg->per_s * step_s;
        follower->at_s += step_s;
        follower->left_s -= step_s;
        if (follower->left_s <= 0) {
            follower->leg++;
            follower->left_s =
                follower->leg < follower->course->count ? follower->course->legs[follower->leg].lasts_s : FOREVER;
        }
    }
    return follower->value;
}

/* ---- what a channel reads ---- */

struct hole {
    int64_t from_ms, to_ms;
    enum quality quality; // QUALITY_GOOD: nothing comes at all
};

struct sense {
    double offset, noise;
    int64_t step_mc, phase_ms, jitter_ms;
    int repeats_percent;
    size_t hole_count;
    struct hole holes[MOST_HOLES];
};

/* Around the moments that matter, of lengths around the gap limit. */
static void hole_make(struct virtual_run *run, struct hole *hole, int64_t interval_ms, const int64_t *moments,
                      size_t moment_count, int64_t end_ms) {
    const int64_t length_ms = chance(run, 75)
                                  ? interval_ms * PICK(run, 1, 2, 2, 3, 3, 4, 5, 10, 30) + PICK(run, -1, 0, 0, 1)
                                  : pick(run, 0, end_ms / 3);

    if (chance(run, 70))
        hole->from_ms = moments[pick(run, 0, (int64_t)moment_count - 1)] + pick(run, -length_ms - 4 * S, 4 * S);
    else
        hole->from_ms = pick(run, 0, end_ms);
    hole->to_ms = hole->from_ms + length_ms;
    hole->quality =
        chance(run, 40) ? QUALITY_GOOD : (enum quality)pick(run, QUALITY_OPEN_SENSOR, QUALITY_COUNT - 1);
}

static void sense_make(struct virtual_run *run, struct sense *sense, int64_t interval_ms, const int64_t *moments,
                       size_t moment_count, int64_t end_ms) {
    *sense = (struct sense){.offset = (double)pick(run, -30, 30) / 10,
                            .noise = chance(run, 60) ? (double)pick(run, 0, 20) / 10 : 0,
                            .step_mc = PICK(run, 1, 1, 10, 100, 1000),
                            .phase_ms = chance(run, 30) ? 0 : pick(run, 0, interval_ms - 1),
                            .jitter_ms = chance(run, 50) ? 0 : pick(run, 0, interval_ms / 10),
                            .repeats_percent = chance(run, 10) ? 5 : 0};
    sense->hole_count = (size_t)pick(run, 0, chance(run, 40) ? 0 : MOST_HOLES);
    for (size_t i = 0; i < sense->hole_count; i++)
        hole_make(run, &sense->holes[i], interval_ms, moments, moment_count, end_ms);
}

static void read_once(struct virtual_run *run, const struct sense *sense, int64_t id, int64_t t_ms, double value) {
    struct reading reading = {.t_ms = run->begin_ms + t_ms, .channel_id = id, .quality = QUALITY_GOOD};
    const double noise = sense->noise * (double)(pick(run, -1000, 1000) + pick(run, -1000, 1000)) / 2000;

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

/* `moments`: since the run's begin, where holes gather. */
static void add_channel(struct virtual_run *run, const char *name, enum channel_role role, int64_t interval_ms,
                        const struct course *course, const int64_t *moments, size_t moment_count) {
    const size_t at = run->channel_count++;
    const int64_t end_ms = (int64_t)(course_length(course) * S);
    struct follower follower = {.course = course, .left_s = course->legs[0].lasts_s, .value = course->start};
    struct sense sense;
    int64_t last_ms = -1;

    snprintf(run->names[at], sizeof run->names[at], "%s", name);
    run->channels[at] = (struct judge_channel){
        .channel_id = FIRST_ID + (int64_t)at,
        .role = role,
        .name = run->names[at],
        .interval_ms = interval_ms,
        .heats_at_most_mc_per_h = run->channels[0].heats_at_most_mc_per_h,
        .uncertainty_mc = chance(run, 30) ? 0 : pick(run, 0, 3000),
    };
    sense_make(run, &sense, interval_ms, moments, moment_count, end_ms);
    for (int64_t at_ms = sense.phase_ms; at_ms < end_ms; at_ms += interval_ms) {
        const int64_t t_ms = at_ms + pick(run, 0, sense.jitter_ms);

        if (t_ms > last_ms)
            read_once(run, &sense, run->channels[at].channel_id, t_ms, follow(&follower, (double)t_ms / S));
        last_ms = t_ms;
    }
    if (run->end_ms < run->begin_ms + end_ms)
        run->end_ms = run->begin_ms + end_ms;
}

/* ---- the plan ---- */

__attribute__((format(printf, 2, 3))) static void write_plan(struct virtual_run *run, const char *format, ...) {
    const size_t used = strlen(run->plan);
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(run->plan + used, sizeof run->plan - used, format, arguments);
    va_end(arguments);
}

static void draft_make(struct virtual_run *run, struct draft *draft) {
    *draft = (struct draft){
        .soak_c = pick(run, 760, 1050),
        .below_c = pick(run, 3, 15),
        .soak_s = pick(run, 20, 120),
        .has_quench = chance(run, 90),
        .falls_c_per_s = chance(run, 40) ? 20 : pick(run, 2, 80),
        .upper_c = 800,
        .lower_c = 500,
        .warm_c = chance(run, 40) ? 60 : pick(run, 30, 150),
        .has_cold = chance(run, 50),
        .cold_c = pick(run, -100, -40),
        .cold_s = pick(run, 300, 3000),
        .temper_c = pick(run, 150, 400),
        .temper_below_c = pick(run, 3, 12),
        .temper_s = pick(run, 600, 5400),
    };
    if (draft->soak_c - draft->below_c < draft->upper_c || chance(run, 50)) {
        draft->upper_c = pick(run, 500, draft->soak_c - draft->below_c);
        draft->lower_c = pick(run, 160, draft->upper_c - 50);
    }
}

static void write_head(struct virtual_run *run, size_t loads) {
    write_plan(run, "[plan]\ntitle = seed %llu\n", (unsigned long long)run->seed);
    if (chance(run, 30))
        write_plan(run, "decision = guarded\n");
    if (chance(run, 15))
        write_plan(run, "load = control\nlag_allowance = %lld s\n", (long long)pick(run, 0, 300));
    else if (chance(run, 10))
        write_plan(run, "load = channels: load %zu%s\n", loads, chance(run, 20) ? ", elsewhere" : "");
}

static void write_quench(struct virtual_run *run, const struct draft *draft) {
    write_plan(run, "[quench]\nfalls_at_least = %lld C/s\ncooling = %lld C .. %lld C\nhandle_warm = %lld C\n",
               (long long)draft->falls_c_per_s, (long long)draft->upper_c, (long long)draft->lower_c,
               (long long)draft->warm_c);
    write_plan(run, "transfer_at_most = %lld ms\n", (long long)(chance(run, 30) ? 100 : S) * pick(run, 1, 25));
    if (chance(run, 80))
        write_plan(run, "cooling_at_most = %lld ms\n", (long long)(chance(run, 50) ? 100 : S) * pick(run, 5, 60));
    if (chance(run, 80))
        write_plan(run, "handle_warm_within = %lld s\n", (long long)pick(run, 5, chance(run, 50) ? 40 : 200));
    if (chance(run, 20))
        write_plan(run, "may_attest = yes\n");
}

static void write_before(struct virtual_run *run) {
    if (chance(run, 70))
        write_plan(run, "begins_within = %lld min\n", (long long)pick(run, 5, 200));
    if (chance(run, 70))
        write_plan(run, "parts_below_first = %lld C\n", (long long)pick(run, 20, 100));
}

static void write_all(struct virtual_run *run, const struct draft *draft, size_t loads) {
    write_head(run, loads);
    write_plan(run, "[soak]\ntemperature = %lld C\nbelow = %lld C\nabove = %lld C\ntime_at_least = %lld s\n",
               (long long)draft->soak_c, (long long)draft->below_c, (long long)pick(run, 3, 12),
               (long long)draft->soak_s);
    if (draft->has_quench)
        write_quench(run, draft);
    if (draft->has_cold) {
        write_plan(run, "[cold]\noven = freezer\ntemperature_at_most = %lld C\ntime_at_least = %lld s\n",
                   (long long)draft->cold_c, (long long)draft->cold_s);
        write_before(run);
    }
    write_plan(run, "[temper]\ntemperature = %lld C\nbelow = %lld C\nabove = %lld C\ntime_at_least = %lld s\n",
               (long long)draft->temper_c, (long long)draft->temper_below_c, (long long)pick(run, 3, 12),
               (long long)draft->temper_s);
    write_plan(run, "times = 2\n");
    write_before(run);
    if (chance(run, 80))
        write_plan(run, "equivalent_at_least = %lld s\n", (long long)(draft->temper_s * pick(run, 50, 150) / 100));
    if (chance(run, 50))
        write_plan(run, "hollomon_jaffe_constant = %lld.%lld\n", (long long)pick(run, 10, 25),
                   (long long)pick(run, 0, 9));
}

/* ---- runs ---- */

static int64_t share(int64_t whole, int64_t percent) {
    return whole * percent / 100;
}

/* Up to the soak, in it for about as long as asked, carried, quenched, and left. */
static void course_quench(struct virtual_run *run, const struct draft *draft, struct course *course) {
    const double soak = (double)(draft->soak_c + pick(run, -draft->below_c, 6));
    const double begins = chance(run, 50) ? 60 : 5;

    *course = (struct course){.start = soak - begins};
    add_line(course, (double)pick(run, 5, 40) / 10, 0); // its length is what it takes
    course->legs[0].lasts_s = begins / course->legs[0].per_s;
    add_line(course, 0, (double)share(draft->soak_s, pick(run, 80, 180)));
}

static void course_cool(struct virtual_run *run, struct course *course, bool quick) {
    const double bath = (double)pick(run, 15, 110);

    add_line(course, -(double)pick(run, 5, 150) / 10, (double)pick(run, 0, 25)); // through the air
    if (quick && chance(run, 40))
        add_line(course, -(double)pick(run, 3, 15), (double)pick(run, 1, 5)); // a blanket of vapour
    if (quick && chance(run, 20))
        add_line(course, (double)pick(run, 1, 3), (double)pick(run, 1, 4)); // its own heat comes out
    add_approach(course, bath, (double)(quick ? pick(run, 10, 400) : pick(run, 500, 4000)) / 10,
                 (double)pick(run, 10, 300));
}

static const struct course *or_other(struct virtual_run *run, int percent, const struct course *one,
                                     const struct course *other) {
    return chance(run, percent) ? one : other;
}

static void make_quench(struct virtual_run *run, const struct draft *draft, size_t loads) {
    static const char *const names[] = {"load 1", "load 2"}, *const quenches[] = {"part 1", "part 2"};
    const size_t quench_count = chance(run, 70) ? (size_t)pick(run, 1, MOST_QUENCHES) : 0;
    struct course part, slow, bath;
    int64_t moments[3];

    course_quench(run, draft, &part);
    moments[0] = moments[1] = moments[2] = (int64_t)(course_length(&part) * S); // it leaves
    slow = part;
    course_cool(run, &part, true);
    moments[1] = (int64_t)((course_length(&part) - part.legs[part.count - 1].lasts_s) * S); // and is quenched
    course_cool(run, &slow, false);
    bath = (struct course){.start = (double)pick(run, 15, 60)};
    add_line(&bath, (double)pick(run, 0, 5) / 100, course_length(&part));
    run->channels[0].heats_at_most_mc_per_h = chance(run, 50) ? 0 : pick(run, 100, 20000) * K;
    for (size_t i = 0; i < loads && i < sizeof names / sizeof names[0]; i++)
        add_channel(run, names[i], ROLE_LOAD, PICK(run, 100, 100, 200, S, 2 * S),
                    or_other(run, quench_count > 0 ? 40 : 95, &part, &slow), moments, 3);
    add_channel(run, "control", ROLE_CONTROL, PICK(run, S, 5 * S), &slow, moments, 3);
    for (size_t i = 0; i < quench_count; i++)
        add_channel(run, quenches[i], ROLE_QUENCH, PICK(run, 30, 50, 100, 100, 100, 100, 110, 500, 3 * S),
                    or_other(run, 95, &part, &bath), moments, 3);
}

static void make_cold(struct virtual_run *run, const struct draft *draft, size_t loads, double start) {
    static const char *const names[] = {"load 1", "load 2"};
    const bool air = chance(run, 40);
    const double depth = (double)(draft->cold_c - pick(run, -3, 25));
    struct course course = {.start = start};
    int64_t moments[2];

    add_approach(&course, depth, (double)pick(run, 60, 600), (double)pick(run, 600, 2400));
    moments[0] = (int64_t)(course_length(&course) * S) / 2;
    add_approach(&course, depth - 5, 60, (double)share(draft->cold_s, pick(run, 20, 120)));
    if (chance(run, 50)) {
        add_line(&course, (double)pick(run, 1, 30) / 100, (double)pick(run, 60, 400)); // a lid is lifted
        add_approach(&course, depth, 90, (double)share(draft->cold_s, pick(run, 20, 120)));
    }
    moments[1] = (int64_t)(course_length(&course) * S);
    add_approach(&course, (double)pick(run, 10, 25), (double)pick(run, 100, 1500), (double)pick(run, 60, 3000));
    run->channels[0].heats_at_most_mc_per_h = chance(run, 50) ? 0 : pick(run, 10, 2000) * K;
    for (size_t i = 0; i < loads && i < sizeof names / sizeof names[0]; i++)
        add_channel(run, names[i], air ? ROLE_COLD : ROLE_LOAD, PICK(run, 2 * S, 10 * S, MIN), &course, moments, 2);
    if (!air && chance(run, 50))
        add_channel(run, "air", ROLE_COLD, 10 * S, &course, moments, 2);
    add_channel(run, "control", ROLE_CONTROL, 10 * S, &course, moments, 2);
}

static void make_temper(struct virtual_run *run, const struct draft *draft, size_t loads, double start) {
    static const char *const names[] = {"load 1", "load 2"};
    const double hold = (double)(draft->temper_c + pick(run, -draft->temper_below_c, 5));
    struct course course = {.start = start};
    int64_t moments[2];

    add_line(&course, (double)pick(run, 5, 80) / 100, 0);
    course.legs[0].lasts_s = (hold - start) / course.legs[0].per_s;
    moments[0] = (int64_t)(course_length(&course) * S);
    add_line(&course, 0, (double)share(draft->temper_s, pick(run, 50, 130)));
    if (chance(run, 50)) {
        add_line(&course, -(double)pick(run, 1, 20) / 100, 60);
        add_approach(&course, hold + 1, 100, (double)share(draft->temper_s, pick(run, 10, 60)));
    }
    moments[1] = (int64_t)(course_length(&course) * S);
    add_approach(&course, (double)pick(run, 15, 35), (double)pick(run, 300, 2500), (double)pick(run, 60, 6000));
    run->channels[0].heats_at_most_mc_per_h = chance(run, 50) ? 0 : pick(run, 100, 3000) * K;
    for (size_t i = 0; i < loads && i < sizeof names / sizeof names[0]; i++)
        add_channel(run, names[i], ROLE_LOAD, PICK(run, 2 * S, 5 * S, 7300, 10 * S, MIN), &course, moments, 2);
    add_channel(run, "control", ROLE_CONTROL, PICK(run, 5 * S, MIN), &course, moments, 2);
}

/* One run of a visit, begun at `begin_ms` with parts of `start` degrees C. */
static void make_run(struct virtual_run *run, const struct draft *draft, size_t loads, double start) {
    run->end_ms = run->begin_ms;
    if (run->visit == 0)
        make_quench(run, draft, loads);
    else if (draft->has_cold && run->visit == 1)
        make_cold(run, draft, loads, start);
    else
        make_temper(run, draft, loads, start);
    virtual_run_sort(run);
    if (run->reading_count > 0 && run->end_ms < run->readings[run->reading_count - 1].t_ms)
        run->end_ms = run->readings[run->reading_count - 1].t_ms;
}

void virtual_cycle_make(struct virtual_cycle *cycle, uint64_t seed) {
    struct virtual_run *run = &cycle->run, *before = &cycle->before;
    struct draft draft;
    size_t loads;

    *cycle = (struct virtual_cycle){.run = {.seed = seed, .state = seed, .begin_ms = START_MS}};
    run->begin_ms += pick(run, 0, HOUR);
    loads = (size_t)pick(run, 1, MOST_LOADS);
    draft_make(run, &draft);
    cycle->kind = (enum cycle_kind)pick(run, 0, CYCLE_KINDS - 1);
    if (cycle->kind == CYCLE_COLD)
        draft.has_cold = draft.has_quench = true; // nothing is made cold that was not hardened
    write_all(run, &draft, loads);
    run->visit = cycle->kind == CYCLE_TEMPER ? (size_t)pick(run, 1, 2) + draft.has_cold : cycle->kind;
    cycle->has_before = run->visit > 0 && chance(run, 80);
    if (cycle->has_before) {
        *before = *run;
        before->visit = run->visit - 1;
        make_run(before, &draft, loads, (double)pick(run, 15, 60));
        run->begin_ms = before->end_ms + pick(run, 0, chance(run, 50) ? 20 * MIN : 3 * HOUR);
        run->state = before->state;
    }
    make_run(run, &draft, loads, (double)pick(run, -20, 110));
}

void virtual_cycle_release(struct virtual_cycle *cycle) {
    virtual_run_release(&cycle->run);
    virtual_run_release(&cycle->before);
}
