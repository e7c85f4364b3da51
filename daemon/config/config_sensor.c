// SPDX-License-Identifier: MIT
/* Reads [sensor IDENTITY]: what hangs at the end of a wire, and how long it may. */
#include <string.h>

#include "parts.h"
#include "soakledger/thermocouple.h"

#define CHECK_EVERY_MOST_MS (1000 * CONFIG_DAY_MS) // the longest duration there is

static const char *text_or_empty(struct keyfile_section *section, const char *key) {
    const char *value = keyfile_take(section, key, NULL);

    return value != NULL ? value : "";
}

/* A class that is not understood would be an uncertainty that is not counted. Where the type has no classes here
 * any words will do. */
static int read_tolerance(struct config_whole *whole, struct keyfile_section *section,
                          struct config_sensor *sensor) {
    enum thermocouple_type type;

    sensor->tolerance = text_or_empty(section, "tolerance");
    if (sensor->tolerance[0] == '\0' || !thermocouple_find_type(sensor->type, &type))
        return 0;
    if (!thermocouple_has_class(type, thermocouple_find_class(sensor->tolerance)))
        return keyfile_refuse(section, "tolerance", whole->fault,
                              "'%s' is no class of type %s: expected class 1, class 2 or class 3 (IEC 60584-1), "
                              "standard or special (ASTM E230), as far as the type has it",
                              sensor->tolerance, sensor->type);
    return 0;
}

static int read_limits(struct config_whole *whole, struct keyfile_section *section, struct config_sensor *sensor) {
    static const char *const keys[] = {"hours_at_most", "check_every"};
    int64_t *const times[] = {&sensor->hours_at_most_ms, &sensor->check_every_ms};
    const int taken =
        keyfile_take_temperature(section, "temperature_at_most", &sensor->temperature_at_most_mc, whole->fault);
    int allowed;

    if (taken < 0)
        return -1;
    if (taken > 0 && sensor->temperature_at_most_mc <= 0)
        return keyfile_refuse(section, "temperature_at_most", whole->fault, "expected more than 0 C");
    allowed = keyfile_take_difference(section, "allowed_error", &sensor->allowed_error_mc, whole->fault);
    if (allowed < 0)
        return -1;
    if (allowed > 0 && sensor->allowed_error_mc <= 0)
        return keyfile_refuse(section, "allowed_error", whole->fault, "expected more than 0 C");
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
        if (config_take_duration(whole, section, keys[i], CONFIG_HOUR_MS, CHECK_EVERY_MOST_MS, times[i]) < 0)
            return -1;
    return 0;
}

/* The letters are those of IEC 60584-1 (from memory). */
int config_read_sensor(struct config_whole *whole, struct keyfile_section *section) {
    static const char *const types[] = {"A", "B", "C", "E", "J", "K", "N", "R", "S", "T", NULL};
    struct config_sensor *sensor = &whole->config.sensors[whole->config.sensor_count];
    int type = -1;

    sensor->identity = keyfile_section_name(section);
    if (keyfile_take_word(section, "type", types, &type, whole->fault) < 0)
        return -1;
    sensor->type = type >= 0 ? types[type] : "";
    if (read_tolerance(whole, section, sensor) != 0 ||
        keyfile_take_date(section, "fitted", &sensor->fitted_ms, whole->fault) < 0 ||
        read_limits(whole, section, sensor) != 0)
        return -1;
    whole->config.sensor_count++;
    return 0;
}
