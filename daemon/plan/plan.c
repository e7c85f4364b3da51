// SPDX-License-Identifier: MIT
/* Reads a plan: first every section by itself, then what the operations demand of each other. The operations
 * are the sections behind [plan], so that the operation with index i is the section with index i + 1. */
#include "soakledger/plan.h"

#include <stdlib.h>
#include <string.h>

#include "soakledger/channel.h"
#include "soakledger/keyfile.h"
#include "soakledger/quantity.h"

enum {
    OPERATIONS_MOST = 64,
    HEATS_MOST = 16, // in one visit; with the requirements of a soak they stay below JUDGE_MOST_VERDICTS
    LOADS_MOST = 16, // as many as an oven may have
};
#define RAMP_WINDOW_DEFAULT_MS INT64_C(300000)  // 5 min
#define RAMP_WINDOW_LEAST_MS   INT64_C(10000)   // a shorter one holds too few readings for a slope
#define RAMP_WINDOW_MOST_MS    INT64_C(7200000) // a longer one is longer than the ramp

static const char channels_word[] = "channels:";

struct whole {
    struct plan plan; // first: a plan's address is its whole's
    struct keyfile *file;
    struct plan_operation *operations;
    char *load_text; // what load_names point into
    const char *load_names[LOADS_MOST];
    struct fault *fault; // while reading
};

const char *plan_kind_name(enum operation_kind kind) {
    switch (kind) {
    case OPERATION_HEAT: return "heat";
    case OPERATION_SOAK: return "soak";
    case OPERATION_TEMPER: return "temper";
    case OPERATION_HOLD: return "hold";
    case OPERATION_QUENCH: return "quench";
    case OPERATION_COLD: return "cold";
    }
    return "unknown";
}

static bool is_soak(const struct plan_operation *operation) {
    return operation->kind != OPERATION_HEAT;
}

static int take_limit(struct keyfile_section *section, const char *key,
                      int (*take)(struct keyfile_section *, const char *, int64_t *, struct fault *),
                      struct plan_limit *limit, struct fault *fault) {
    const int taken = take(section, key, &limit->value, fault);

    limit->set = taken > 0;
    return taken;
}

static int take_name(struct whole *whole, struct keyfile_section *section, const char *key, const char **name) {
    const char *value = keyfile_take(section, key, NULL);

    *name = value != NULL ? value : "";
    if (strlen(*name) < CHANNEL_NAME_BYTES)
        return 0;
    return keyfile_refuse(section, key, whole->fault, "name too long: expected at most 63 bytes");
}

/* Cuts the names of "channels: front, back" apart. */
static int read_load_names(struct whole *whole, struct keyfile_section *section, const char *list) {
    struct plan *plan = &whole->plan;
    char *rest = whole->load_text = strdup(list);

    if (rest == NULL)
        return fault_set(whole->fault, EX_OSERR, "out of memory");
    while (rest != NULL) {
        char *name = strsep(&rest, ",");
        size_t length;

        name += strspn(name, " \t");
        for (length = strlen(name); length > 0 && strchr(" \t", name[length - 1]) != NULL;)
            length--;
        name[length] = '\0';
        if (length == 0)
            return keyfile_refuse(
                section, "load", whole->fault,
                "a name is missing: expected names with commas between, such as channels: front, back");
        if (length >= CHANNEL_NAME_BYTES)
            return keyfile_refuse(section, "load", whole->fault, "name too long: expected at most 63 bytes");
        if (plan->load_count == LOADS_MOST)
            return keyfile_refuse(section, "load", whole->fault, "too many names: expected at most 16 channels");
        for (size_t i = 0; i < plan->load_count; i++)
            if (strcmp(whole->load_names[i], name) == 0)
                return keyfile_refuse(section, "load", whole->fault,
                                      "'%s' is named twice: expected each channel once", name);
        whole->load_names[plan->load_count++] = name;
    }
    plan->load_names = whole->load_names;
    return 0;
}

static int read_load(struct whole *whole, struct keyfile_section *section) {
    struct plan *plan = &whole->plan;
    const char *load = keyfile_take(section, "load", NULL);
    int lag;

    if (load == NULL || strcmp(load, "sensors") == 0) {
        plan->load = PLAN_LOAD_SENSORS;
    } else if (strcmp(load, "control") == 0) {
        plan->load = PLAN_LOAD_CONTROL;
    } else if (strncmp(load, channels_word, strlen(channels_word)) == 0) {
        plan->load = PLAN_LOAD_NAMED;
        if (read_load_names(whole, section, load + strlen(channels_word)) != 0)
            return -1;
    } else {
        return keyfile_refuse(section, "load", whole->fault,
                              "'%s': expected sensors, control, or channels: and their names", load);
    }
    lag = keyfile_take_duration(section, "lag_allowance", &plan->lag_allowance_ms, whole->fault);
    if (plan->load == PLAN_LOAD_CONTROL)
        return keyfile_require(section, "lag_allowance", lag,
                               "10 min (or 0 min), since with load = control nothing measures the charge",
                               whole->fault);
    if (lag > 0)
        return keyfile_refuse(section, "lag_allowance", whole->fault,
                              "only with load = control: expected no such line");
    return lag;
}

static int read_head(struct whole *whole) {
    struct plan *plan = &whole->plan;
    struct keyfile_section *section;
    const char *value;

    if (keyfile_count_sections(whole->file) == 0)
        return keyfile_fault(whole->file, 1, whole->fault, "nothing in the plan: expected [plan] and operations");
    section = keyfile_section(whole->file, 0);
    if (strcmp(keyfile_section_kind(section), "plan") != 0 || keyfile_section_name(section)[0] != '\0')
        return keyfile_fault(whole->file, keyfile_section_line(section), whole->fault,
                             "[%s%s%s] stands first: expected [plan]", keyfile_section_kind(section),
                             keyfile_section_name(section)[0] != '\0' ? " " : "", keyfile_section_name(section));
    plan->title = keyfile_take(section, "title", NULL);
    if (keyfile_require(section, "title", plan->title != NULL, "Plane irons, hardened and tempered",
                        whole->fault) != 0)
        return -1;
    plan->steel = (value = keyfile_take(section, "steel", NULL)) != NULL ? value : "";
    plan->source = (value = keyfile_take(section, "source", NULL)) != NULL ? value : "";
    return read_load(whole, section);
}

static int read_heat(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    struct fault *fault = whole->fault;
    int taken = take_limit(section, "ramp_at_most", keyfile_take_rate, &operation->ramp_at_most, fault);

    if (keyfile_require(section, "ramp_at_most", taken, "280 C/h", whole->fault) != 0)
        return -1;
    if (operation->ramp_at_most.value == 0)
        return keyfile_refuse(section, "ramp_at_most", whole->fault,
                              "nothing heats at 0 C/h: expected more than that");
    taken = keyfile_take_span(section, "ramp_between", &operation->ramp_low_mc, &operation->ramp_high_mc, fault);
    if (keyfile_require(section, "ramp_between", taken, "200 C .. 700 C", whole->fault) != 0)
        return -1;
    operation->ramp_window_ms = RAMP_WINDOW_DEFAULT_MS;
    if (keyfile_take_duration(section, "ramp_window", &operation->ramp_window_ms, fault) < 0)
        return -1;
    if (operation->ramp_window_ms < RAMP_WINDOW_LEAST_MS || operation->ramp_window_ms > RAMP_WINDOW_MOST_MS)
        return keyfile_refuse(section, "ramp_window", whole->fault, "out of range: expected 10 s to 2 h");
    return 0;
}

static int read_band(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    struct fault *fault = whole->fault;
    int taken = keyfile_take_temperature(section, "temperature", &operation->temperature_mc, fault);

    if (keyfile_require(section, "temperature", taken, "802 C", whole->fault) != 0)
        return -1;
    taken = keyfile_take_difference(section, "below", &operation->below_mc, fault);
    if (keyfile_require(section, "below", taken, "6 C", whole->fault) != 0)
        return -1;
    if (operation->below_mc == 0)
        return keyfile_refuse(section, "below", whole->fault, "a band of nothing: expected more than 0 C");
    taken = keyfile_take_difference(section, "above", &operation->above_mc, fault);
    if (keyfile_require(section, "above", taken, "6 C", whole->fault) != 0)
        return -1;
    if (operation->above_mc == 0)
        return keyfile_refuse(section, "above", whole->fault, "a band of nothing: expected more than 0 C");
    return 0;
}

static int read_times(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    struct fault *fault = whole->fault;
    int taken = keyfile_take_duration(section, "time_at_least", &operation->time_at_least_ms, fault);

    if (keyfile_require(section, "time_at_least", taken, "15 min", whole->fault) != 0)
        return -1;
    if (operation->time_at_least_ms == 0)
        return keyfile_refuse(section, "time_at_least", whole->fault, "no time at all: expected more than 0 min");
    if (take_limit(section, "time_at_most", keyfile_take_duration, &operation->time_at_most, fault) < 0)
        return -1;
    if (operation->time_at_most.set &&
        operation->time_at_most.value < operation->time_at_least_ms + whole->plan.lag_allowance_ms)
        return keyfile_refuse(section, "time_at_most", whole->fault,
                              whole->plan.lag_allowance_ms > 0
                                  ? "less than time_at_least and lag_allowance together: expected at least that"
                                  : "less than time_at_least: expected at least that");
    return 0;
}

static int read_soak(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    struct plan_limit *overshoot = &operation->overshoot_at_most, *spread = &operation->spread_at_most;
    const struct plan *plan = &whole->plan;

    if (read_band(whole, section, operation) != 0 || read_times(whole, section, operation) != 0)
        return -1;
    if (take_limit(section, "overshoot_at_most", keyfile_take_difference, overshoot, whole->fault) < 0)
        return -1;
    if (!overshoot->set)
        *overshoot = (struct plan_limit){true, operation->above_mc};
    if (take_limit(section, "spread_at_most", keyfile_take_difference, spread, whole->fault) < 0)
        return -1;
    if (!spread->set)
        return 0;
    if (spread->value == 0)
        return keyfile_refuse(section, "spread_at_most", whole->fault,
                              "no two sensors agree to 0 C: expected more than that");
    if (plan->load == PLAN_LOAD_CONTROL || (plan->load == PLAN_LOAD_NAMED && plan->load_count == 1))
        return keyfile_refuse(section, "spread_at_most", whole->fault,
                              "a spread needs two sensors in the charge: expected load = sensors or two channels");
    return 0;
}

static int read_operation(struct whole *whole, size_t index) {
    struct keyfile_section *section = keyfile_section(whole->file, index + 1);
    struct plan_operation *operation = &whole->operations[index];
    const char *kind = keyfile_section_kind(section);

    operation->kind = OPERATION_HEAT;
    while (operation->kind <= OPERATION_TEMPER && strcmp(kind, plan_kind_name(operation->kind)) != 0)
        operation->kind++;
    operation->line = keyfile_section_line(section);
    operation->name = keyfile_section_name(section);
    operation->visit = whole->plan.visit_count;
    if (operation->kind > OPERATION_TEMPER)
        return keyfile_fault(whole->file, operation->line, whole->fault,
                             "unknown section [%s]: expected heat, soak or temper", kind);
    if (strlen(operation->name) >= CHANNEL_NAME_BYTES)
        return keyfile_fault(whole->file, operation->line, whole->fault,
                             "name of a section too long: expected at most 63 bytes");
    if (take_name(whole, section, "oven", &operation->oven) != 0)
        return -1;
    if (operation->kind == OPERATION_HEAT)
        return read_heat(whole, section, operation);
    whole->plan.visit_count++;
    return read_soak(whole, section, operation);
}

/* A heat belongs to the soak or temper that closes its visit. */
static int check_heat(struct whole *whole, size_t index, const struct plan_operation *soak) {
    struct keyfile_section *section = keyfile_section(whole->file, index + 1);
    struct plan_operation *heat = &whole->operations[index];
    const int64_t lower_edge_mc = soak->temperature_mc - soak->below_mc;

    if (heat->oven[0] == '\0')
        heat->oven = soak->oven; // one visit, one oven
    if (strcmp(heat->oven, soak->oven) != 0)
        return keyfile_refuse(section, "oven", whole->fault,
                              "'%s', but the %s on line %d that it leads to is in %s%s%s: expected the same",
                              heat->oven, plan_kind_name(soak->kind), soak->line,
                              soak->oven[0] != '\0' ? "'" : "the batch's own", soak->oven,
                              soak->oven[0] != '\0' ? "'" : "");
    if (heat->ramp_high_mc > lower_edge_mc) {
        char high[QUANTITY_TEXT_BYTES], edge[QUANTITY_TEXT_BYTES];

        return keyfile_refuse(section, "ramp_between", whole->fault,
                              "up to %s, which is inside the band of the %s on line %d: expected at "
                              "most %s",
                              quantity_format_temperature(heat->ramp_high_mc, UNIT_CELSIUS, 1, high),
                              plan_kind_name(soak->kind), soak->line,
                              quantity_format_temperature(lower_edge_mc, UNIT_CELSIUS, 1, edge));
    }
    return 0;
}

static int check_heats(struct whole *whole) {
    size_t first = 0; // of the visit

    for (size_t i = 0; i < whole->plan.operation_count; i++) {
        const struct plan_operation *operation = &whole->operations[i];

        if (is_soak(operation)) {
            for (size_t k = first; k < i; k++)
                if (check_heat(whole, k, operation) != 0)
                    return -1;
            first = i + 1;
        } else if (i - first == HEATS_MOST) {
            return keyfile_fault(whole->file, operation->line, whole->fault,
                                 "too many heats before one soak: expected at most %d", HEATS_MOST);
        }
    }
    if (first < whole->plan.operation_count)
        return keyfile_fault(whole->file, whole->operations[first].line, whole->fault,
                             "a heat that leads to nothing: expected a soak or temper behind it");
    return 0;
}

/* A temper comes after a soak, below its temperature. A plan without any soak is for steel hardened before. */
static int check_tempers(struct whole *whole) {
    const struct plan_operation *soak = NULL;
    bool soak_is_planned = false;

    for (size_t i = 0; i < whole->plan.operation_count; i++)
        soak_is_planned |= whole->operations[i].kind == OPERATION_SOAK;
    for (size_t i = 0; soak_is_planned && i < whole->plan.operation_count; i++) {
        const struct plan_operation *operation = &whole->operations[i];

        if (operation->kind == OPERATION_SOAK)
            soak = operation;
        if (operation->kind != OPERATION_TEMPER)
            continue;
        if (soak == NULL)
            return keyfile_fault(whole->file, operation->line, whole->fault,
                                 "a temper before the first soak: expected it behind one");
        if (operation->temperature_mc >= soak->temperature_mc)
            return keyfile_refuse(keyfile_section(whole->file, i + 1), "temperature", whole->fault,
                                  "not below the soak before it: expected a temper to be cooler");
    }
    return 0;
}

static int read_whole(struct whole *whole) {
    struct plan *plan = &whole->plan;

    plan->text = keyfile_text(whole->file, &plan->text_length);
    if (read_head(whole) != 0)
        return -1;
    plan->operation_count = keyfile_count_sections(whole->file) - 1;
    if (plan->operation_count == 0)
        return keyfile_fault(whole->file, keyfile_section_line(keyfile_section(whole->file, 0)), whole->fault,
                             "no operation in the plan: expected at least one [soak] or [temper]");
    if (plan->operation_count > OPERATIONS_MOST)
        return keyfile_fault(whole->file, keyfile_section_line(keyfile_section(whole->file, OPERATIONS_MOST + 1)),
                             whole->fault, "too many operations: expected at most %d", OPERATIONS_MOST);
    if ((whole->operations = calloc(plan->operation_count, sizeof *whole->operations)) == NULL)
        return fault_set(whole->fault, EX_OSERR, "out of memory");
    plan->operations = whole->operations;
    for (size_t i = 0; i < plan->operation_count; i++)
        if (read_operation(whole, i) != 0)
            return -1;
    if (keyfile_refuse_unknown(whole->file, whole->fault) != 0)
        return -1;
    return check_heats(whole) != 0 ? -1 : check_tempers(whole);
}

/* Takes `file` over, which may be NULL with the fault already filled in. */
static struct plan *plan_from(struct keyfile *file, struct fault *fault) {
    struct whole *whole;

    if (file == NULL)
        return NULL;
    if ((whole = calloc(1, sizeof *whole)) == NULL) {
        keyfile_free(file);
        fault_set(fault, EX_OSERR, "out of memory");
        return NULL;
    }
    whole->file = file;
    whole->fault = fault;
    if (read_whole(whole) != 0) {
        plan_free(&whole->plan);
        return NULL;
    }
    whole->fault = NULL;
    return &whole->plan;
}

struct plan *plan_read(const char *path, struct fault *fault) {
    return plan_from(keyfile_read(path, fault), fault);
}

struct plan *plan_parse(const char *text, size_t length, const char *name, struct fault *fault) {
    return plan_from(keyfile_parse(text, length, name, fault), fault);
}

void plan_free(struct plan *plan) {
    struct whole *whole = (struct whole *)plan;

    if (whole == NULL)
        return;
    keyfile_free(whole->file);
    free(whole->operations);
    free(whole->load_text);
    free(whole);
}

const struct plan_operation *plan_visit_soak(const struct plan *plan, size_t visit) {
    size_t i = 0;

    while (!is_soak(&plan->operations[i]) || plan->operations[i].visit != visit)
        i++;
    return &plan->operations[i];
}
