// SPDX-License-Identifier: MIT
/* [plan]: what holds for the whole of it. */
#include <stdlib.h>
#include <string.h>

#include "plan_private.h"

enum {
    HARDNESS_READINGS_USUAL = 3, // common practice, no source
    HARDNESS_READINGS_MOST = 99, // more is a typing error
};

static const char channels_word[] = "channels:";

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
        if (plan->load_count == PLAN_LOADS_MOST)
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

static int read_hardness(struct whole *whole, struct keyfile_section *section) {
    struct plan_hardness *hardness = &whole->plan.hardness;
    int readings;

    hardness->scale = "";
    if (plan_take_hardness(section, "hardness", hardness, whole->scale, whole->fault) < 0)
        return -1;
    readings = keyfile_take_integer(section, "hardness_readings", 1, HARDNESS_READINGS_MOST, &hardness->readings,
                                    whole->fault);
    if (readings > 0 && hardness->scale[0] == '\0')
        return keyfile_refuse(section, "hardness_readings", whole->fault,
                              "only with hardness: expected no such line");
    if (readings == 0 && hardness->scale[0] != '\0')
        hardness->readings = HARDNESS_READINGS_USUAL;
    return readings < 0 ? -1 : 0;
}

int plan_read_head(struct whole *whole) {
    static const char *const decisions[] = {"simple", "guarded", NULL}; // as enum plan_decision
    struct plan *plan = &whole->plan;
    struct keyfile_section *section;
    const char *value;
    int decision = PLAN_DECISION_SIMPLE;

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
    if (keyfile_take_word(section, "decision", decisions, &decision, whole->fault) < 0)
        return -1;
    plan->decision = (enum plan_decision)decision;
    if (plan_take_limit(section, "martensite_start", keyfile_take_temperature, &plan->martensite_start,
                        whole->fault) < 0)
        return -1;
    return read_hardness(whole, section) != 0 ? -1 : read_load(whole, section);
}
