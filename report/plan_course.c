// SPDX-License-Identifier: MIT
/* A plan as a row of legs, their labels, and how they share out the room there is. */
#include <string.h>

#include "plan_parts.h"
#include "soakledger/quantity.h"
#include "soakledger/words.h"

enum { MIN_MS = 60000, H_MS = 60 * MIN_MS, RANGE_IN_MINUTES_MS = 2 * H_MS, DEGREE = 1000 };

const struct plan_glyphs plan_glyphs_full = {"≤", "≥", "°", "°C", "°F", "–", "…"};
const struct plan_glyphs plan_glyphs_plain = {"<=", ">=", "", "C", "F", "-", "~"};

struct course {
    struct plan_leg *legs;
    size_t count;
    int64_t at_mc;
};

static struct plan_leg *course_add(struct course *course, enum plan_leg_kind kind, size_t visit, int64_t to_mc) {
    struct plan_leg *leg = &course->legs[course->count];

    if (course->count == PLAN_LEGS_MOST)
        return leg - 1;
    *leg = (struct plan_leg){.kind = kind, .visit = visit, .from_mc = course->at_mc, .to_mc = to_mc};
    course->at_mc = to_mc;
    course->count++;
    return leg;
}

/* From where the course is to what an operation holds; `heats` of the plan's heats lead there. */
static void course_go(struct course *course, const struct plan_operation *operation, size_t heats) {
    struct plan_leg *leg = course_add(course, heats > 0 ? PLAN_LEG_RISE : PLAN_LEG_CHANGE, operation->visit,
                                      operation->temperature_mc);

    leg->operation = heats > 0 ? operation - heats : NULL;
    leg->heats = heats;
    leg = course_add(course, PLAN_LEG_LEVEL, operation->visit, operation->temperature_mc);
    leg->operation = operation;
}

size_t plan_course(const struct plan *plan, struct plan_leg legs[PLAN_LEGS_MOST]) {
    struct course course = {.legs = legs, .at_mc = PLAN_ROOM_MC};
    size_t heats = 0;

    for (size_t i = 0; i < plan->operation_count; i++) {
        const struct plan_operation *operation = &plan->operations[i];
        const bool last = i + 1 == plan->operation_count;

        if (operation->kind == OPERATION_HEAT) {
            heats++;
            continue;
        }
        if (operation->kind == OPERATION_QUENCH)
            course_add(&course, PLAN_LEG_QUENCH, operation->visit, PLAN_ROOM_MC)->operation = operation;
        else
            course_go(&course, operation, heats);
        heats = 0;
        if (!last && operation[1].visit == operation->visit)
            continue;
        if (course.at_mc != PLAN_ROOM_MC)
            course_add(&course, PLAN_LEG_CHANGE, operation->visit, PLAN_ROOM_MC);
        if (!last)
            course_add(&course, PLAN_LEG_WAIT, operation->visit, PLAN_ROOM_MC)->operation =
                plan_visit_soak(plan, operation->visit + 1);
    }
    return course.count;
}

void plan_course_range(const struct plan_leg *legs, size_t count, int64_t *low_mc, int64_t *high_mc) {
    *low_mc = *high_mc = PLAN_ROOM_MC;
    for (size_t i = 0; i < count; i++) {
        *low_mc = legs[i].to_mc < *low_mc ? legs[i].to_mc : *low_mc;
        *high_mc = legs[i].to_mc > *high_mc ? legs[i].to_mc : *high_mc;
    }
}

/* ---- labels ---- */

char *plan_make_plain(char *text) {
    char *to = text;

    for (const char *at = text; *at != '\0';) {
        const size_t length = words_character(at);

        if (length == 1)
            *to++ = *at;
        else if (strncmp(at, "°", length) != 0)
            *to++ = strncmp(at, "–", length) == 0 ? '-' : '?';
        at += length;
    }
    *to = '\0';
    return text;
}

int64_t plan_shown(int64_t mc, enum temperature_unit unit) {
    const int64_t shown = unit == UNIT_CELSIUS ? mc : quantity_fahrenheit_from_celsius(mc);

    return (shown + (shown < 0 ? -DEGREE / 2 : DEGREE / 2)) / DEGREE;
}

int64_t plan_mc_of_shown(int64_t degrees, enum temperature_unit unit) {
    return unit == UNIT_CELSIUS ? degrees * DEGREE : quantity_celsius_from_fahrenheit(degrees * DEGREE);
}

static const char *sign_of(const struct plan_glyphs *glyphs, enum temperature_unit unit) {
    return unit == UNIT_CELSIUS ? glyphs->celsius : glyphs->fahrenheit;
}

/* "15–40 min", "≥10 min"; the time the sensors must show, with the charge's lag in it. */
static void label_time(const struct plan *plan, const struct plan_operation *operation,
                       const struct plan_glyphs *glyphs, char *out) {
    const int64_t least = operation->time_at_least_ms + plan->lag_allowance_ms,
                  most = operation->time_at_most.value;
    char least_text[QUANTITY_TEXT_BYTES], most_text[QUANTITY_TEXT_BYTES];

    quantity_format_duration(least, least_text);
    quantity_format_duration(most, most_text);
    if (!operation->time_at_most.set)
        snprintf(out, PLAN_LABEL_BYTES, "%s%s", glyphs->least, least_text);
    else if (least % MIN_MS == 0 && most % MIN_MS == 0 && most < RANGE_IN_MINUTES_MS)
        snprintf(out, PLAN_LABEL_BYTES, "%lld%s%lld min", (long long)(least / MIN_MS), glyphs->dash,
                 (long long)(most / MIN_MS));
    else if (least % H_MS == 0 && most % H_MS == 0)
        snprintf(out, PLAN_LABEL_BYTES, "%lld%s%lld h", (long long)(least / H_MS), glyphs->dash,
                 (long long)(most / H_MS));
    else
        snprintf(out, PLAN_LABEL_BYTES, "%s%s%s", least_text, glyphs->dash, most_text);
}

static void label_level(const struct plan *plan, const struct plan_operation *operation, enum temperature_unit unit,
                        const struct plan_glyphs *glyphs, struct plan_labels *labels) {
    const char *sign = sign_of(glyphs, unit);

    label_time(plan, operation, glyphs, labels->time);
    if (operation->kind == OPERATION_COLD) {
        snprintf(labels->level, PLAN_LABEL_BYTES, "%s%lld %s", glyphs->most,
                 (long long)plan_shown(operation->temperature_mc, unit), sign);
        snprintf(labels->band, PLAN_LABEL_BYTES, "%s", labels->level);
        return;
    }
    snprintf(labels->level, PLAN_LABEL_BYTES, "%lld %s", (long long)plan_shown(operation->temperature_mc, unit),
             sign);
    snprintf(labels->band, PLAN_LABEL_BYTES, "%lld%s%lld %s",
             (long long)plan_shown(operation->temperature_mc - operation->below_mc, unit), glyphs->dash,
             (long long)plan_shown(operation->temperature_mc + operation->above_mc, unit), sign);
}

static void label_rise(const struct plan_leg *leg, enum temperature_unit unit, const struct plan_glyphs *glyphs,
                       struct plan_labels *labels) {
    char rate[QUANTITY_TEXT_BYTES];

    if (leg->heats > 1) {
        snprintf(labels->kind, PLAN_LABEL_BYTES, "%zu heats", leg->heats);
        labels->name[0] = '\0';
        return;
    }
    quantity_format_rate(leg->operation->ramp_at_most.value, unit, rate);
    snprintf(labels->time, PLAN_LABEL_BYTES, "%s%.*s%s/h", glyphs->most, (int)strcspn(rate, " "), rate,
             glyphs->degree[0] != '\0' ? glyphs->degree : sign_of(glyphs, unit));
}

static void label_quench(const struct plan_leg *leg, const struct plan_glyphs *glyphs, struct plan_labels *labels) {
    const struct plan_operation *quench = leg->operation;
    const struct plan_limit *limit = quench->transfer_at_most.set  ? &quench->transfer_at_most
                                     : quench->cooling_at_most.set ? &quench->cooling_at_most
                                                                   : &quench->handle_warm_within;
    char time[QUANTITY_TEXT_BYTES];

    if (labels->name[0] == '\0')
        snprintf(labels->name, PLAN_LABEL_BYTES, "%.*s", PLAN_LABEL_BYTES - 1, quench->medium);
    snprintf(labels->time, PLAN_LABEL_BYTES, "%s%s", glyphs->most, quantity_format_duration(limit->value, time));
}

void plan_labels(const struct plan *plan, const struct plan_leg *leg, enum temperature_unit unit,
                 const struct plan_glyphs *glyphs, struct plan_labels *labels) {
    char time[QUANTITY_TEXT_BYTES];

    memset(labels, 0, sizeof *labels);
    if (leg->kind == PLAN_LEG_WAIT && leg->operation->begins_within.set) {
        snprintf(labels->kind, PLAN_LABEL_BYTES, "wait");
        snprintf(labels->time, PLAN_LABEL_BYTES, "%s%s", glyphs->most,
                 quantity_format_duration(leg->operation->begins_within.value, time));
    }
    if (leg->kind == PLAN_LEG_WAIT || leg->operation == NULL)
        return;
    snprintf(labels->kind, PLAN_LABEL_BYTES, "%s", plan_kind_name(leg->operation->kind));
    words_clean(leg->operation->name, strlen(leg->operation->name), 0, labels->name, PLAN_LABEL_BYTES);
    if (leg->kind == PLAN_LEG_RISE)
        label_rise(leg, unit, glyphs, labels);
    else if (leg->kind == PLAN_LEG_QUENCH)
        label_quench(leg, glyphs, labels);
    else
        label_level(plan, leg->operation, unit, glyphs, labels);
}

/* ---- panels ---- */

size_t plan_panels(const struct plan_leg *legs, const float *widths, size_t count, float width,
                   size_t ends[PLAN_LEGS_MOST]) {
    size_t panels = 0, begin = 0; // of the panel
    float used = 0;

    for (size_t i = 0; i < count;) {
        size_t end = i;
        float visit = 0;

        while (end < count && legs[end].visit == legs[i].visit)
            visit += widths[end++];
        if (used + visit > width && i > begin) {
            ends[panels++] = i;
            begin = i;
            used = 0;
        }
        used += visit;
        i = end;
    }
    if (count > begin)
        ends[panels++] = count;
    return panels;
}
