// SPDX-License-Identifier: MIT
/* Is the oven in use? Nobody presses a button, so the temperature has to tell. */
#include <stdlib.h>

#include "soakledger/run.h"

/* A setpoint further under the oven than this does not ask for heat: the oven is left to cool, or switched off. */
static const int64_t asks_within_mc = 30000;
/* A controller's output of less than this is off; thousandths of a per cent. */
static const int64_t output_off = 500;

struct low {
    int64_t t_ms, value_mc;
};

/* The lowest readings of the last `rise_within`, as a falling staircase: each entry is later and higher than the
 * one before it, so the first is always the lowest. */
enum { LOWS_MOST = 4096 };

/* The temperature through the last `ends_after`, one value each twentieth of it. */
enum { PAST_STEPS = 20 };

struct run_detector {
    struct config_oven oven;
    bool on;
    int64_t begun_ms;
    enum run_end end;
    size_t lows_first, lows_count;
    int64_t good_ms, good_mc; // last good temperature
    bool was_warm;            // has been well above ends_below in this run
    bool has_setpoint, has_output;
    bool unseen;       // it was hot when it was seen for the first time, or again; nobody knows how it got there
    int64_t sight_ms;  // ... and when that was
    bool asks;         // the setpoint asks for heat now
    int64_t asked_ms;  // last moment at which it did
    int64_t driven_ms; // last moment at which the output was on
    size_t past_count; // of `past`, a ring; the newest is at (past_count - 1) % (PAST_STEPS + 1)
    int64_t past_ms;   // when the newest was taken
    int64_t past_mc[PAST_STEPS + 1];
    struct low lows[LOWS_MOST];
};

struct run_detector *run_open(const struct config_oven *oven, struct fault *fault) {
    struct run_detector *detector = calloc(1, sizeof *detector);

    if (detector == NULL)
        fault_set(fault, EX_OSERR, "no memory to watch oven %s", oven->name);
    else
        detector->oven = *oven;
    return detector;
}

void run_free(struct run_detector *detector) {
    free(detector);
}

static struct low *low_at(struct run_detector *detector, size_t index) {
    return &detector->lows[(detector->lows_first + index) % LOWS_MOST];
}

/* Keeps the staircase; returns the lowest reading of the window, this one included. */
static const struct low *take_low(struct run_detector *detector, const struct reading *reading) {
    while (detector->lows_count > 0 && low_at(detector, detector->lows_count - 1)->value_mc >= reading->value)
        detector->lows_count--;
    if (detector->lows_count == LOWS_MOST) // thin out: the middle steps matter least
        detector->lows_count--;
    *low_at(detector, detector->lows_count++) = (struct low){reading->t_ms, reading->value};
    while (low_at(detector, 0)->t_ms < reading->t_ms - detector->oven.rise_within_ms) {
        detector->lows_first = (detector->lows_first + 1) % LOWS_MOST;
        detector->lows_count--;
    }
    return low_at(detector, 0);
}

static void begin(struct run_detector *detector, int64_t begun_ms, int64_t now_ms) {
    detector->on = true;
    detector->begun_ms = begun_ms;
    detector->end = RUN_END_OPEN;
    detector->was_warm = false;
    detector->asked_ms = detector->driven_ms = now_ms;
    detector->past_count = 0;
}

static enum run_change end(struct run_detector *detector, enum run_end reason) {
    detector->on = false;
    detector->end = reason;
    detector->lows_count = 0;
    return RUN_ENDED;
}

static void keep_past(struct run_detector *detector, const struct reading *reading) {
    if (detector->past_count > 0 && reading->t_ms - detector->past_ms < detector->oven.ends_after_ms / PAST_STEPS)
        return;
    detector->past_ms = reading->t_ms;
    detector->past_mc[detector->past_count++ % (PAST_STEPS + 1)] = reading->value;
}

static int64_t past_at(const struct run_detector *detector, size_t step) {
    return detector->past_mc[(detector->past_count + step) % (PAST_STEPS + 1)];
}

/* Through all of `ends_after` it fell: by enough to tell from noise, in every quarter of that time, and never rose.
 */
static bool has_cooled(const struct run_detector *detector) {
    enum { QUARTERS = 4, QUARTER_STEPS = PAST_STEPS / QUARTERS };
    const int64_t enough_mc = detector->oven.begins_on_rise_mc;
    int64_t lowest_mc = INT64_MAX / 2;

    if (detector->past_count <= PAST_STEPS || past_at(detector, 0) - past_at(detector, PAST_STEPS) < enough_mc)
        return false;
    for (size_t step = 0; step <= PAST_STEPS; step++) {
        const int64_t value_mc = past_at(detector, step);

        if (value_mc > lowest_mc + enough_mc / 2)
            return false;
        if (step >= QUARTER_STEPS &&
            past_at(detector, step - QUARTER_STEPS) - value_mc < enough_mc / (2 * QUARTERS))
            return false;
        lowest_mc = value_mc < lowest_mc ? value_mc : lowest_mc;
    }
    return true;
}

/* A controller in standby may go on showing its setpoint: then only cooling tells. */
static bool is_left_to_cool(const struct run_detector *detector, int64_t t_ms) {
    const int64_t since_ms = t_ms - detector->oven.ends_after_ms;

    if (detector->has_output)
        return detector->driven_ms <= since_ms &&
               ((detector->has_setpoint && !detector->asks) || has_cooled(detector));
    if (detector->has_setpoint)
        return detector->asked_ms <= since_ms;
    return has_cooled(detector);
}

/* An oven that nobody heats can still show a rise: the door is shut again and the walls give back their heat. */
static bool could_be_heated(const struct run_detector *detector, int64_t t_ms) {
    if (detector->has_output)
        return detector->driven_ms >= t_ms - detector->oven.rise_within_ms;
    return !detector->has_setpoint || detector->asks;
}

/* Recording began, or went on after a long silence, with the oven hot and its heating on: the run is one that
 * nobody saw begin. An output tells; a setpoint alone may be what a controller shows in standby. A cold place is
 * always cold. */
static bool is_under_way(struct run_detector *detector, const struct reading *reading) {
    const int64_t hot_mc = detector->oven.ends_below_mc + detector->oven.begins_on_rise_mc;
    const bool first = detector->good_ms == 0 || reading->t_ms - detector->good_ms > detector->oven.rise_within_ms;

    if (first) {
        detector->unseen = !detector->oven.is_cold && reading->value >= hot_mc;
        detector->sight_ms = reading->t_ms;
    }
    detector->unseen = detector->unseen && reading->value >= hot_mc &&
                       reading->t_ms - detector->sight_ms <= detector->oven.rise_within_ms;
    return detector->unseen && detector->has_output && detector->driven_ms >= detector->sight_ms;
}

static enum run_change take_temperature(struct run_detector *detector, const struct reading *reading) {
    const struct low *lowest = take_low(detector, reading);
    const bool under_way = !detector->on && is_under_way(detector, reading);

    if (detector->on && reading->t_ms - detector->good_ms >= detector->oven.silent_after_ms)
        return end(detector, RUN_END_SILENT); // too long unseen to call it the same run
    detector->good_ms = reading->t_ms;
    detector->good_mc = reading->value;
    if (under_way) {
        begin(detector, detector->sight_ms, reading->t_ms);
        return RUN_BEGUN;
    }
    if (!detector->on) {
        if (reading->value - lowest->value_mc < detector->oven.begins_on_rise_mc ||
            !could_be_heated(detector, reading->t_ms))
            return RUN_SAME;
        begin(detector, lowest->t_ms, reading->t_ms);
        return RUN_BEGUN;
    }
    keep_past(detector, reading);
    detector->was_warm |= reading->value >= detector->oven.ends_below_mc + detector->oven.begins_on_rise_mc;
    if (detector->was_warm && reading->value < detector->oven.ends_below_mc)
        return end(detector, RUN_END_COLD);
    return is_left_to_cool(detector, reading->t_ms) ? end(detector, RUN_END_COOLING) : RUN_SAME;
}

enum run_change run_feed(struct run_detector *detector, enum channel_role role, const struct reading *reading) {
    const bool good = reading->quality == QUALITY_GOOD;

    if (role == ROLE_SETPOINT && good) {
        detector->has_setpoint = true;
        detector->asks = reading->value > detector->good_mc - asks_within_mc;
        if (detector->asks)
            detector->asked_ms = reading->t_ms;
    } else if (role == ROLE_OUTPUT && good) {
        detector->has_output = true;
        if (reading->value >= output_off)
            detector->driven_ms = reading->t_ms;
    } else if (role == ROLE_CONTROL || role == ROLE_LOAD) {
        if (good)
            return take_temperature(detector, reading);
        if (detector->on && reading->t_ms - detector->good_ms >= detector->oven.silent_after_ms)
            return end(detector, RUN_END_SILENT);
    }
    return RUN_SAME;
}

int64_t run_begun_ms(const struct run_detector *detector) {
    return detector->begun_ms;
}

enum run_end run_end_reason(const struct run_detector *detector) {
    return detector->end;
}

void run_resume(struct run_detector *detector, int64_t begun_ms, int64_t last_ms) {
    begin(detector, begun_ms, last_ms);
    detector->good_ms = last_ms;
    detector->was_warm = true;
}

bool run_is_on(const struct run_detector *detector) {
    return detector->on;
}

const char *run_end_name(enum run_end reason) {
    switch (reason) {
    case RUN_END_OPEN: return "still on";
    case RUN_END_COOLING: return "cooling";
    case RUN_END_COLD: return "cold";
    case RUN_END_SILENT: return "silent";
    case RUN_END_WARMING: return "warming";
    case RUN_END_WARM: return "warm";
    case RUN_END_IMPORTED: return "imported";
    }
    return "unknown";
}
