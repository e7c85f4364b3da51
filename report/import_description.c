// SPDX-License-Identifier: MIT
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "import_parts.h"

enum { ZONE_MOST_MIN = 14 * 60, MINUTES_PER_HOUR = 60, INTERVAL_MOST_MS = 3600000 };

/* "+01:00", "-03:30", "UTC". */
static int import_take_zone(struct keyfile_section *section, int *offset_min, struct fault *fault) {
    const char *text = keyfile_take(section, "time_zone", NULL);
    int hours, minutes, used = 0;
    char sign[2];

    if (text == NULL || strcmp(text, "UTC") == 0)
        return 0;
    // NOLINTNEXTLINE(cert-err34-c): two digits each, and the range is checked
    if (sscanf(text, "%1[+-]%2d:%2d%n", sign, &hours, &minutes, &used) != 3 || text[used] != '\0' || used != 6 ||
        minutes >= MINUTES_PER_HOUR || hours * MINUTES_PER_HOUR + minutes > ZONE_MOST_MIN)
        return keyfile_refuse(section, "time_zone", fault, "'%s': expected UTC or an offset such as +01:00", text);
    *offset_min = (hours * MINUTES_PER_HOUR + minutes) * (sign[0] == '-' ? -1 : 1);
    return 0;
}

static int import_take_time(struct import_description *d, struct keyfile_section *section, struct fault *fault) {
    static const char *const kinds[] = {"stamp", "seconds", NULL};
    int kind = IMPORT_TIME_STAMP, line = 0;
    const char *begins = keyfile_take(section, "begins", &line);

    if (keyfile_take_word(section, "time_is", kinds, &kind, fault) < 0 ||
        import_take_zone(section, &d->offset_min, fault) != 0)
        return -1;
    d->time = (enum import_time)kind;
    if (d->time == IMPORT_TIME_STAMP)
        return begins == NULL ? 0 : keyfile_refuse(section, "begins", fault, "stands with time_is = seconds only");
    if (keyfile_require(section, "begins", begins != NULL, "2026-11-16T07:30:00Z", fault) != 0)
        return -1;
    if (quantity_parse_time(begins, &d->begins_ms, fault) != 0)
        return keyfile_refuse(section, "begins", fault,
                              "'%s': expected a moment in UTC such as 2026-11-16T07:30:00Z", begins);
    return 0;
}

static int import_take_signs(struct import_description *d, struct keyfile_section *section, struct fault *fault) {
    static const char *const separators[] = {"comma", "semicolon", "tab", NULL};
    static const char *const points[] = {"point", "comma", NULL};
    int separator = 0, point = 0;

    if (keyfile_take_word(section, "separator", separators, &separator, fault) < 0 ||
        keyfile_take_word(section, "decimals", points, &point, fault) < 0)
        return -1;
    d->separator = ",;\t"[separator];
    d->point = ".,"[point];
    if (d->separator == ',' && d->point == ',')
        return keyfile_refuse(section, "decimals", fault,
                              "fields and decimals cannot both be parted by commas: expected another separator");
    return 0;
}

/* "open = ----": a word that stands for an open sensor; several are parted by blanks. */
static int import_take_open(struct import_description *d, struct keyfile_section *section, struct fault *fault) {
    const char *text = keyfile_take(section, "open", NULL);
    char *rest;

    if (text == NULL)
        return 0;
    d->open_text = strdup(text);
    if (d->open_text == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory");
    for (char *word = strtok_r(d->open_text, " ", &rest); word != NULL; word = strtok_r(NULL, " ", &rest)) {
        if (d->open_count == IMPORT_WORDS_MOST)
            return keyfile_refuse(section, "open", fault, "too many words: expected at most %d", IMPORT_WORDS_MOST);
        d->open_words[d->open_count++] = word;
    }
    return 0;
}

static int import_take_head(struct import_description *d, struct keyfile_section *section, struct fault *fault) {
    int taken;

    if (strcmp(keyfile_section_kind(section), "import") != 0 || keyfile_section_name(section)[0] != '\0')
        return keyfile_fault(d->file, keyfile_section_line(section), fault, "expected [import] first");
    d->oven = keyfile_take(section, "oven", NULL);
    d->source = keyfile_take(section, "source", NULL);
    d->time_header = keyfile_take(section, "time", NULL);
    if (keyfile_require(section, "oven", d->oven != NULL, "hardening", fault) != 0 ||
        keyfile_require(section, "source", d->source != NULL, "data logger of the heat treater, Hall 2", fault) !=
            0 ||
        keyfile_require(section, "time", d->time_header != NULL, "Date/Time", fault) != 0)
        return -1;
    taken = keyfile_take_duration(section, "interval", &d->interval_ms, fault);
    if (keyfile_require(section, "interval", taken, "1 s", fault) != 0)
        return -1;
    if (d->interval_ms < 1 || d->interval_ms > INTERVAL_MOST_MS)
        return keyfile_refuse(section, "interval", fault, "expected between 1 ms and 1 h");
    if (import_take_time(d, section, fault) != 0 || import_take_signs(d, section, fault) != 0)
        return -1;
    return import_take_open(d, section, fault);
}

static int import_take_column(struct import_description *d, struct keyfile_section *section, struct fault *fault) {
    static const char *const units[] = {"C", "F", "%", NULL};
    static const char *const roles[] = {"control", "load", "setpoint", "output", "ambient", "quench", "cold", NULL};
    struct import_column *column = &d->columns[d->column_count];
    const char *identity = keyfile_take(section, "sensor", NULL);
    int unit = 0, role = 0;

    if (strcmp(keyfile_section_kind(section), "column") != 0 || keyfile_section_name(section)[0] == '\0')
        return keyfile_fault(d->file, keyfile_section_line(section), fault,
                             "expected [column NAME], with the name of a channel");
    if (strlen(keyfile_section_name(section)) >= CHANNEL_NAME_BYTES)
        return keyfile_fault(d->file, keyfile_section_line(section), fault,
                             "name too long: expected at most 63 bytes");
    if (d->column_count == IMPORT_COLUMNS_MOST)
        return keyfile_fault(d->file, keyfile_section_line(section), fault,
                             "too many columns: expected at most 64");
    column->channel.name = keyfile_section_name(section);
    column->channel.header = keyfile_take(section, "header", NULL);
    column->channel.sensor_identity = identity != NULL ? identity : "";
    column->channel.interval_ms = d->interval_ms;
    if (keyfile_require(section, "header", column->channel.header != NULL, "T1 (degC)", fault) != 0 ||
        keyfile_require(section, "role", keyfile_take_word(section, "role", roles, &role, fault), "load", fault) !=
            0 ||
        keyfile_require(section, "unit", keyfile_take_word(section, "unit", units, &unit, fault), "C", fault) !=
            0 ||
        keyfile_take_difference(section, "uncertainty", &column->channel.uncertainty_mc, fault) < 0)
        return -1;
    column->channel.role = (enum channel_role)role; // in the order of the enum
    column->is_per_cent = unit == 2;
    column->channel.unit = unit == 1 ? UNIT_FAHRENHEIT : UNIT_CELSIUS;
    if (column->is_per_cent != (column->channel.role == ROLE_OUTPUT))
        return keyfile_refuse(section, "unit", fault, "expected %% for role output, and C or F for every other");
    d->column_count++;
    return 0;
}

static int import_take_all(struct import_description *d, struct fault *fault) {
    const size_t count = keyfile_count_sections(d->file);

    if (count == 0)
        return keyfile_fault(d->file, 1, fault, "nothing in it: expected [import] and a [column NAME] or more");
    if (import_take_head(d, keyfile_section(d->file, 0), fault) != 0)
        return -1;
    for (size_t i = 1; i < count; i++)
        if (import_take_column(d, keyfile_section(d->file, i), fault) != 0)
            return -1;
    if (d->column_count == 0)
        return keyfile_fault(d->file, keyfile_section_line(keyfile_section(d->file, 0)), fault,
                             "no columns: expected a [column NAME] or more");
    return keyfile_refuse_unknown(d->file, fault);
}

struct import_description *import_read_description(struct keyfile *file, struct fault *fault) {
    struct import_description *d = file != NULL ? calloc(1, sizeof *d) : NULL;

    if (d == NULL) {
        if (file != NULL)
            fault_set(fault, EX_OSERR, "not enough memory to read %s", keyfile_name(file));
        keyfile_free(file);
        return NULL;
    }
    d->file = file;
    if (import_take_all(d, fault) != 0) {
        import_free_description(d);
        return NULL;
    }
    return d;
}

void import_free_description(struct import_description *d) {
    if (d == NULL)
        return;
    free(d->open_text);
    keyfile_free(d->file);
    free(d);
}
