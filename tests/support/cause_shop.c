// SPDX-License-Identifier: MIT
#include "cause_shop.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../shop/play.h"
#include "soakledger/plan.h"
#include "virtual_run.h"

enum { MS_PER_S = 1000, S_PER_MIN = 60, TRIES = 120, MOST_GOOD = 5, AFTER_S = 600, PLAN_BYTES = 1024 };
enum { ID_CONTROL = 1, ID_SETPOINT, ID_OUTPUT, ID_FRONT, ID_BACK, IDS };
static const int64_t start_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z
static const double S_PER_H = 3600;
enum { LOAD_IN_S = 600, HEAT_S = 900, OUT_AFTER_S = 5, OFF_AFTER_S = 60, SOAK_S = 1200 };

/* What stays the same from run to run. */
struct oven {
    uint64_t state; // of the random numbers
    enum cause_shop_kit kit;
    double power_w, capacity_kj, loss, radiation_cm2, door, element_lag_s, sensor_lag_s, band_c, reset_s,
        derivative_s, noise_c, load_j[2], lag_s[2], exposure[2];
    double temperature_c, ramp_c_per_h; // 0: told at once
    double in_s;                        // when the charge is in the band in a good run
    double end_s;                       // when the programme ends
    char plan[PLAN_BYTES];
};

/* One run: the programme with what is injected, by time. */
struct line {
    double at_s;
    char words[120];
};
enum { MOST_LINES = 24 };
struct script {
    struct line lines[MOST_LINES];
    size_t count;
    double target_c, end_s, end_off_s; // out of the oven; heating off
    double stop_s[2], stop_for_s[2];   // the recorder
    size_t stops;
    char *story;
};

static double between(struct oven *oven, double least, double most) {
    enum { FINE = 1000000 };

    return least + (most - least) * (double)virtual_between(&oven->state, 0, FINE) / FINE;
}

static bool chance(struct oven *oven, double share) {
    return between(oven, 0, 1) < share;
}

static void say(struct script *script, double at_s, const char *format, ...) {
    struct line *line = &script->lines[script->count++];
    va_list arguments;

    line->at_s = at_s;
    va_start(arguments, format);
    vsnprintf(line->words, sizeof line->words, format, arguments);
    va_end(arguments);
}

/* Says it and tells it. */
static void inject(struct script *script, double at_s, const char *format, ...) {
    const size_t used = strlen(script->story);
    struct line *line = &script->lines[script->count++];
    va_list arguments;

    line->at_s = at_s;
    va_start(arguments, format);
    vsnprintf(line->words, sizeof line->words, format, arguments);
    va_end(arguments);
    snprintf(script->story + used, CAUSE_SHOP_STORY_BYTES - used, "%s%s at %.0f min", used > 0 ? "; " : "",
             line->words, at_s / S_PER_MIN);
}

/* ---- the oven ---- */

static void make_oven(struct oven *oven, uint64_t seed, enum cause_shop_kit kit) {
    const double tempering_share = 0.25, third = 1.0 / 3;

    *oven = (struct oven){.state = seed * 2 + 1, .kit = kit};
    oven->power_w = between(oven, 4500, 7500);
    oven->capacity_kj = between(oven, 3.5, 7);
    oven->loss = between(oven, 0.8, 1.6);
    oven->radiation_cm2 = between(oven, 20, 50);
    oven->door = between(oven, 8, 20);
    oven->element_lag_s = between(oven, 4, 30);
    oven->sensor_lag_s = between(oven, 3, 15);
    oven->band_c = between(oven, 12, 25);
    oven->reset_s = between(oven, 200, 420);
    oven->derivative_s = between(oven, 3, 12);
    oven->noise_c = between(oven, 0.1, 0.3);
    for (int i = 0; i < 2; i++) {
        oven->load_j[i] = between(oven, 80, 300);
        oven->lag_s[i] = between(oven, 40, 150);
        oven->exposure[i] = between(oven, 0.996, 1);
    }
    oven->temperature_c = round(between(oven, 760, 980));
    if (chance(oven, tempering_share)) {
        oven->temperature_c = round(between(oven, 400, 600));
        oven->power_w *= third;
    }
    oven->ramp_c_per_h = chance(oven, 0.5) ? 0 : round(between(oven, 500, 1500));
}

static const char *load_word(const struct oven *oven) {
    return oven->kit == KIT_CONTROL || oven->kit == KIT_ALONE ? "control" : "sensors";
}

static void write_plan(struct oven *oven, double overshoot_c, double spread_c) {
    char spread[64] = "";

    if (oven->kit == KIT_FULL || oven->kit == KIT_BARE)
        snprintf(spread, sizeof spread, "spread_at_most = %g C\n", spread_c);
    snprintf(oven->plan, sizeof oven->plan,
             "[plan]\ntitle = Cause\nload = %s\n%s[soak harden]\ntemperature = %.0f C\nbelow = 8 C\nabove = 10 C\n"
             "time_at_least = 20 min\novershoot_at_most = %g C\n%s",
             load_word(oven), strcmp(load_word(oven), "control") == 0 ? "lag_allowance = 0 min\n" : "",
             oven->temperature_c, overshoot_c, spread);
}

/* ---- one run ---- */

static void write_scene(struct oven *oven, const struct script *script, double mass, char *text) {
    static const char *const NAMES[] = {"front", "back"};
    size_t used = (size_t)snprintf(
        text, CAUSE_SHOP_TEXT_BYTES,
        "[clock]\nstart = 2026-11-16T07:00:00Z\nstep = 1 s\nseed = %lld\n[line bench]\nlink = bench\n"
        "[oven small]\nambient = %.0f C\npower = %.0f W\nheat_capacity = %.3f kJ/K\nloss = %.3f W/K\n"
        "radiation = %.2f cm2\ndoor_loss = %.2f W/K\nelement_lag = %.0f s\nsensor_lag = %.0f s\nband = %.2f C\n"
        "reset = %.0f s\nderivative = %.0f s\nnoise = %.2f C\n",
        (long long)virtual_between(&oven->state, 1, INT32_MAX), between(oven, 14, 28), oven->power_w,
        oven->capacity_kj, oven->loss, oven->radiation_cm2, oven->door, oven->element_lag_s, oven->sensor_lag_s,
        oven->band_c, oven->reset_s, oven->derivative_s, oven->noise_c);

    for (int i = 0; i < 2; i++)
        used += (size_t)snprintf(
            text + used, CAUSE_SHOP_TEXT_BYTES - used,
            "[load %s]\noven = small\nheat_capacity = %.1f J/K\nlag = %.0f s\nsensor_lag = 5 s\n"
            "exposure = %.2f %%\nnoise = %.2f C\n",
            NAMES[i], oven->load_j[i] * mass, oven->lag_s[i], oven->exposure[i] * 100, oven->noise_c);
    used += (size_t)snprintf(text + used, CAUSE_SHOP_TEXT_BYTES - used,
                             "[controller small]\nline = bench\naddress = 1\noven = small\n[programme day]\n");
    for (size_t i = 0; i < script->count; i++) {
        const int at_s = (int)script->lines[i].at_s;

        used += (size_t)snprintf(text + used, CAUSE_SHOP_TEXT_BYTES - used, "%zu = 2026-11-16T%02d:%02d:%02dZ %s\n",
                                 i + 1, 7 + at_s / 3600, at_s / S_PER_MIN % 60, at_s % 60, script->lines[i].words);
    }
}

static int compare_lines(const void *a, const void *b) {
    const struct line *one = a, *other = b;

    return (one->at_s > other->at_s) - (one->at_s < other->at_s);
}

/* The good day: in, up, held, out. `target_c` and the times may have been changed. */
static void finish_script(const struct oven *oven, struct script *script) {
    say(script, LOAD_IN_S, "load front in");
    say(script, LOAD_IN_S, "load back in");
    if (oven->ramp_c_per_h > 0)
        say(script, HEAT_S, "oven small ramps to %.1f C at %.0f C/h", script->target_c, oven->ramp_c_per_h);
    else
        say(script, HEAT_S, "oven small holds %.1f C", script->target_c);
    say(script, script->end_s, "door of small open for 20 s");
    say(script, script->end_s + OUT_AFTER_S, "load front out to 55 C with lag 12 s");
    say(script, script->end_s + OUT_AFTER_S, "load back out to 55 C with lag 12 s");
    say(script, script->end_off_s, "oven small off");
    qsort(script->lines, script->count, sizeof script->lines[0], compare_lines);
}

struct watching {
    struct judge *judge;
    struct cause_watch *watch;
    double in_s; // when both loads are in the band, 0: never
};

static void no_finding(void *context, const struct finding *finding) {
    (void)context, (void)finding;
}

static int64_t to_tenths(double value) {
    enum { MC_PER_TENTH = 100, TENTHS = 10 };

    return (int64_t)lround(value * TENTHS) * MC_PER_TENTH;
}

static void feed(struct watching *watching, int64_t id, int64_t t_ms, double value, enum quality quality) {
    struct reading reading = {.t_ms = t_ms, .channel_id = id, .quality = quality};

    if (quality == QUALITY_GOOD && isnan(value))
        reading.quality = QUALITY_OPEN_SENSOR;
    if (reading.quality == QUALITY_GOOD)
        reading.value = to_tenths(value);
    judge_feed(watching->judge, &reading);
    cause_feed(watching->watch, &reading);
}

static size_t make_channels(enum cause_shop_kit kit, struct judge_channel *channels) {
    static const enum channel_role ROLES[IDS] = {[ID_CONTROL] = ROLE_CONTROL,
                                                 [ID_SETPOINT] = ROLE_SETPOINT,
                                                 [ID_OUTPUT] = ROLE_OUTPUT,
                                                 [ID_FRONT] = ROLE_LOAD,
                                                 [ID_BACK] = ROLE_LOAD};
    size_t count = 0;

    for (int64_t id = ID_CONTROL; id < IDS; id++) {
        const bool told = kit == KIT_FULL || kit == KIT_CONTROL, loads = kit == KIT_FULL || kit == KIT_BARE;

        if (((ROLES[id] == ROLE_SETPOINT || ROLES[id] == ROLE_OUTPUT) && !told) ||
            (ROLES[id] == ROLE_LOAD && !loads))
            continue;
        channels[count++] = (struct judge_channel){.channel_id = id,
                                                   .name = "",
                                                   .role = ROLES[id],
                                                   .interval_ms = MS_PER_S,
                                                   .heats_at_most_mc_per_h = INT64_C(7200000)};
    }
    return count;
}

static void feed_second(struct watching *watching, struct play *play, const struct judge_channel *channels,
                        size_t count, int64_t t_ms) {
    enum quality quality = QUALITY_GOOD;

    if (!play_line_is_there(play, 0))
        quality = QUALITY_NO_REPLY;
    else if (play_is_garbled(play, 0, (uint64_t)t_ms))
        quality = QUALITY_BAD_FRAME;
    for (size_t i = 0; i < count; i++) {
        const struct heat_oven *oven = play_oven(play, 0);
        double value = NAN;

        switch (channels[i].channel_id) {
        case ID_CONTROL: value = play_show_control(play, 0); break;
        case ID_SETPOINT: value = oven->setpoint_c; break;
        case ID_OUTPUT: value = oven->output * 100; break;
        default: value = play_show_load(play, (size_t)(channels[i].channel_id - ID_FRONT)); break;
        }
        feed(watching, channels[i].channel_id, t_ms, value, quality);
    }
}

static bool recorder_stands(const struct script *script, double at_s) {
    for (size_t i = 0; i < script->stops; i++)
        if (at_s >= script->stop_s[i] && at_s < script->stop_s[i] + script->stop_for_s[i])
            return true;
    return false;
}

static void watch_run(const struct oven *oven, const struct script *script, struct play *play,
                      struct watching *watching) {
    const int begin_s = HEAT_S - S_PER_MIN, end_s = (int)script->end_off_s + AFTER_S;
    struct judge_channel channels[IDS];
    const size_t count = make_channels(oven->kit, channels);
    const double edge_c = oven->temperature_c - 8;
    bool stood = false, gone = false;
    int64_t gone_ms = 0;

    for (int at_s = begin_s; at_s < end_s; at_s++) {
        const int64_t t_ms = start_ms + (int64_t)at_s * MS_PER_S;
        const bool stands = recorder_stands(script, at_s);

        play_advance(play, t_ms);
        if (watching->in_s == 0 && play_show_load(play, 0) >= edge_c && play_show_load(play, 1) >= edge_c &&
            play_show_control(play, 0) >= edge_c)
            watching->in_s = at_s;
        if (!stands)
            feed_second(watching, play, channels, count, t_ms);
        if (stood && !stands)
            for (size_t i = 0; i < script->stops; i++)
                if (at_s >= script->stop_s[i] + script->stop_for_s[i] &&
                    at_s - 1 < script->stop_s[i] + script->stop_for_s[i])
                    cause_hear(watching->watch,
                               &(struct event){.t_ms = t_ms,
                                               .kind = EVENT_RESUMED,
                                               .amount = (int64_t)script->stop_for_s[i] * MS_PER_S});
        stood = stands;
        if (gone != !play_line_is_there(play, 0) && !stands) {
            gone = !gone;
            cause_hear(watching->watch, &(struct event){.t_ms = t_ms,
                                                        .kind = gone ? EVENT_LINE_LOST : EVENT_LINE_BACK,
                                                        .amount = gone ? 0 : t_ms - gone_ms});
            gone_ms = t_ms;
        }
    }
    judge_end(watching->judge, start_ms + (int64_t)end_s * MS_PER_S);
    cause_end(watching->watch, start_ms + (int64_t)end_s * MS_PER_S);
}

/* Plays a run, judges it and takes its signs; returns whether it was met. */
static bool run_once(struct oven *oven, struct script *script, double mass, struct cause_shop *shop, double *in_s) {
    struct judge_channel channels[IDS];
    const size_t count = make_channels(oven->kit, channels);
    struct fault fault = {0};
    struct plan *plan = plan_parse(oven->plan, strlen(oven->plan), "plan", &fault);
    struct scene *scene;
    struct play *play;
    struct watching watching = {0};

    finish_script(oven, script);
    write_scene(oven, script, mass, shop->scene);
    scene = scene_parse(shop->scene, strlen(shop->scene), "scene", &fault);
    play = scene != NULL ? play_open(scene, &fault) : NULL;
    if (plan != NULL && play != NULL) {
        watching.judge = judge_open(plan, 0, channels, count, no_finding, NULL, &fault);
        watching.watch = cause_open(&shop->task, channels, count, &fault);
    }
    if (watching.judge == NULL || watching.watch == NULL) {
        fprintf(stderr, "%s\n%s\n%s\n", fault.text, oven->plan, shop->scene);
        exit(1);
    }
    watch_run(oven, script, play, &watching);
    shop->signs = *cause_read(watching.watch);
    shop->verdict_count = judge_verdicts(watching.judge, shop->verdicts);
    *in_s = watching.in_s;
    cause_free(watching.watch);
    judge_free(watching.judge);
    play_close(play);
    scene_free(scene);
    plan_free(plan);
    return judge_worst(shop->verdicts, shop->verdict_count) == OUTCOME_MET;
}

static void begin_script(const struct oven *oven, struct script *script, char *story) {
    *script = (struct script){.target_c = oven->temperature_c,
                              .end_s = oven->end_s,
                              .end_off_s = oven->end_s + OFF_AFTER_S,
                              .story = story};
}

/* ---- what goes wrong ---- */

/* A moment from late in the heating up to shortly before the end. */
static double moment(struct oven *oven) {
    return round(between(oven, oven->in_s - 300, oven->in_s + SOAK_S));
}

static void spoil_sensor(struct oven *oven, struct script *script) {
    static const char *const SENSORS[] = {"small", "front", "back"};
    const bool loads = oven->kit == KIT_FULL || oven->kit == KIT_BARE;
    const char *sensor = SENSORS[loads ? virtual_between(&oven->state, 0, 2) : 0];
    const char *way = chance(oven, 0.5) ? "high" : "low";
    double at_s;

    switch (virtual_between(&oven->state, 0, 3)) {
    case 0: inject(script, 0, "sensor %s reads %s by %.1f C", sensor, way, between(oven, 9, 30)); break;
    case 1:
        at_s = round(between(oven, HEAT_S, oven->in_s));
        inject(script, at_s, "sensor %s drifts %s by %.0f C/h", sensor, way, between(oven, 15, 60));
        break;
    case 2: inject(script, 0, "sensor %s gets %.1f %% of the rise", sensor, between(oven, 95.5, 98.5)); break;
    default:
        at_s = moment(oven);
        inject(script, at_s, "sensor %s opens", sensor);
        inject(script, round(at_s + between(oven, 240, 1800)), "sensor %s closes", sensor);
        break;
    }
}

static void spoil_element(struct oven *oven, struct script *script) {
    double at_s;

    switch (virtual_between(&oven->state, 0, 3)) {
    case 0: inject(script, 0, "elements of small at %.0f %%", between(oven, 30, 75)); break;
    case 1:
        at_s = round(between(oven, HEAT_S, oven->in_s + SOAK_S / 2.0));
        inject(script, at_s, "elements of small at %.0f %%", between(oven, 20, 60));
        break;
    case 2: inject(script, 0, "supply of small at %.0f %%", between(oven, 70, 88)); break;
    default:
        at_s = moment(oven);
        inject(script, at_s, "supply of small at 0 %%");
        inject(script, round(at_s + between(oven, 240, 1800)), "supply of small at 100 %%");
        break;
    }
}

static void spoil_door(struct oven *oven, struct script *script) {
    const int64_t times = virtual_between(&oven->state, 1, 2);

    if (chance(oven, 0.2)) {
        inject(script, HEAT_S, "door of small open by %.0f %% for 6 h", between(oven, 6, 20));
        return;
    }
    for (int64_t i = 0; i < times; i++) {
        if (chance(oven, 0.5))
            inject(script, moment(oven), "door of small open for %.0f s", between(oven, 40, 480));
        else
            inject(script, moment(oven), "door of small open by %.0f %% for %.0f s", between(oven, 15, 60),
                   between(oven, 240, 1800));
    }
}

static void spoil_load(struct oven *oven, struct script *script) {
    const double mass = between(oven, 250, 800), surface = between(oven, 100, 200);

    inject(script, 0, "load front weighs %.0f %% with surface %.0f %%", mass, surface);
    inject(script, 0, "load back weighs %.0f %% with surface %.0f %%", mass, surface);
}

static void spoil_setpoint(struct oven *oven, struct script *script) {
    const size_t used = strlen(script->story);

    if (chance(oven, 0.65)) {
        script->target_c += between(oven, 9, 60) * (chance(oven, 0.5) ? 1 : -1);
        snprintf(script->story + used, CAUSE_SHOP_STORY_BYTES - used, "%stold %.1f C instead of %.0f C",
                 used > 0 ? "; " : "", script->target_c, oven->temperature_c);
    } else {
        const double early_s = (script->end_s - oven->in_s) * between(oven, 0.3, 0.8);

        script->end_s -= round(early_s);
        script->end_off_s -= round(early_s);
        snprintf(script->story + used, CAUSE_SHOP_STORY_BYTES - used, "%sprogramme shorter by %.0f min",
                 used > 0 ? "; " : "", early_s / S_PER_MIN);
    }
}

static void spoil_tuning(struct oven *oven, struct script *script) {
    inject(script, 0, "oven small tuned to band %.2f C reset %.0f s derivative 0 s",
           oven->band_c * between(oven, 0.03, 0.25), fmax(5, oven->reset_s * between(oven, 0.03, 0.25)));
}

static void spoil_line(struct oven *oven, struct script *script) {
    const int64_t times = virtual_between(&oven->state, 1, 2);
    double at_s = moment(oven);

    if (chance(oven, 0.5)) {
        inject(script, chance(oven, 0.5) ? 0 : at_s, "line bench garbles %.0f %%", between(oven, 25, 80));
        return;
    }
    for (int64_t i = 0; i < times; i++) {
        inject(script, at_s, "line bench vanishes");
        at_s = round(at_s + between(oven, 20, 900));
        inject(script, at_s, "line bench returns");
        at_s = round(at_s + between(oven, 60, 600));
    }
}

static void spoil_recorder(struct oven *oven, struct script *script) {
    const size_t used = strlen(script->story);

    script->stop_s[script->stops] = moment(oven);
    script->stop_for_s[script->stops] = round(between(oven, 20, 1200));
    snprintf(script->story + used, CAUSE_SHOP_STORY_BYTES - used, "%srecorder stops for %.0f s at %.0f min",
             used > 0 ? "; " : "", script->stop_for_s[script->stops], script->stop_s[script->stops] / S_PER_MIN);
    script->stops++;
}

/* Nothing is wrong with oven, controller or record. */
static void spoil_nothing(struct oven *oven, struct script *script) {
    const bool loads = oven->kit == KIT_FULL || oven->kit == KIT_BARE;
    const int64_t kind = virtual_between(&oven->state, 0, 2);

    if (kind == 0 && loads) {
        write_plan(oven, 10, 0.3);
        snprintf(script->story, CAUSE_SHOP_STORY_BYTES, "nothing; the plan allows a spread of 0.3 C");
    } else if (kind == 1 || !loads) {
        write_plan(oven, 0.3, 10);
        snprintf(script->story, CAUSE_SHOP_STORY_BYTES, "nothing; the plan allows an overshoot of 0.3 C");
    } else {
        script->end_s = round(oven->in_s + between(oven, 120, 900));
        snprintf(script->story, CAUSE_SHOP_STORY_BYTES, "nothing; the charge is taken out early");
    }
}

static void spoil(struct oven *oven, enum cause cause, struct script *script) {
    switch (cause) {
    case CAUSE_SENSOR: spoil_sensor(oven, script); break;
    case CAUSE_ELEMENT: spoil_element(oven, script); break;
    case CAUSE_DOOR: spoil_door(oven, script); break;
    case CAUSE_OVERLOAD: spoil_load(oven, script); break;
    case CAUSE_SETPOINT: spoil_setpoint(oven, script); break;
    case CAUSE_TUNING: spoil_tuning(oven, script); break;
    case CAUSE_LINE: spoil_line(oven, script); break;
    case CAUSE_RECORDER: spoil_recorder(oven, script); break;
    }
}

/* ---- earlier runs ---- */

/* A first run finds out how long the programme has to be. False: this oven cannot do it. */
static bool play_good(struct oven *oven, struct cause_shop *shop, struct cause_usual *usual) {
    const int64_t runs = virtual_between(&oven->state, 1, MOST_GOOD);
    const double longest_s = 5 * S_PER_H, mass_differs = 0.12;
    struct script script;
    double in_s;

    shop->task = (struct cause_task){oven->temperature_c, 8, 10, (int64_t)SOAK_S * MS_PER_S};
    write_plan(oven, 10, 10);
    oven->end_s = longest_s;
    begin_script(oven, &script, shop->story);
    run_once(oven, &script, 1, shop, &oven->in_s);
    if (oven->in_s == 0 || oven->in_s + SOAK_S > longest_s)
        return false;
    oven->end_s = round(oven->in_s + SOAK_S + between(oven, 240, 600));
    for (int64_t i = 0; i < runs; i++) {
        begin_script(oven, &script, shop->story);
        if (!run_once(oven, &script, between(oven, 1 - mass_differs, 1 + mass_differs), shop, &in_s))
            return false;
        if (shop->signs.overshoot_c > 8.5) // a healthy run is not to fail by chance
            return false;
        cause_learn(usual, &shop->signs);
    }
    return true;
}

void cause_shop_play(uint64_t seed, enum cause_shop_kit kit, const enum cause *causes, size_t count,
                     struct cause_shop *shop) {
    struct fault fault;
    struct cause_usual *usual = NULL;
    struct script script;
    struct oven oven;
    double in_s;

    memset(shop, 0, sizeof *shop);
    for (uint64_t i = 0; i < TRIES && !shop->failed; i++) {
        if (i % 6 == 0) { // another oven, if this one does not fail
            cause_usual_free(usual);
            usual = cause_usual_open(&fault);
            make_oven(&oven, seed * TRIES + i, kit);
            if (!play_good(&oven, shop, usual)) {
                i += 5;
                continue;
            }
        }
        shop->story[0] = '\0';
        begin_script(&oven, &script, shop->story);
        write_plan(&oven, 10, 10);
        if (count == 0)
            spoil_nothing(&oven, &script);
        for (size_t k = 0; k < count; k++)
            spoil(&oven, causes[k], &script);
        shop->failed = !run_once(&oven, &script, between(&oven, 0.9, 1.1), shop, &in_s);
    }
    shop->usual_runs = cause_usual_runs(usual);
    shop->told =
        cause_weigh(&shop->task, &shop->signs, usual, NULL, shop->verdicts, shop->verdict_count, shop->opinions);
    cause_usual_free(usual);
}
