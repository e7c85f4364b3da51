// SPDX-License-Identifier: MIT
/* A calibration certificate's table as a keyfile. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/calibration.h"
#include "soakledger/keyfile.h"
#include "soakledger/quantity.h"

struct table_file {
    struct keyfile *file;
    struct keyfile_section *head, *points;
    struct calibration *calibration;
    struct fault *fault;
};

static int find_sections(struct table_file *table) {
    for (size_t i = 0; i < keyfile_count_sections(table->file); i++) {
        struct keyfile_section *section = keyfile_section(table->file, i);
        const bool is_head = strcmp(keyfile_section_kind(section), "calibration") == 0;

        if ((!is_head && strcmp(keyfile_section_kind(section), "points") != 0) ||
            keyfile_section_name(section)[0] != '\0')
            return keyfile_fault(table->file, keyfile_section_line(section), table->fault,
                                 "unknown section [%s]: expected [calibration] and [points]",
                                 keyfile_section_kind(section));
        *(is_head ? &table->head : &table->points) = section;
    }
    if (table->head == NULL || table->points == NULL)
        return keyfile_fault(table->file, 1, table->fault, "no section [%s] in the whole file: expected one",
                             table->head == NULL ? "calibration" : "points");
    return 0;
}

static int take_text(const struct table_file *table, const char *key, bool needed, const char *example, char *out,
                     size_t size) {
    const char *text = keyfile_take(table->head, key, NULL);

    if (text == NULL)
        return needed ? keyfile_require(table->head, key, 0, example, table->fault) : 0;
    if (strlen(text) >= size)
        return keyfile_refuse(table->head, key, table->fault, "%zu bytes: expected at most %zu", strlen(text),
                              size - 1);
    memcpy(out, text, strlen(text) + 1);
    return 0;
}

static int take_subject(const struct table_file *table) {
    struct calibration *calibration = table->calibration;
    const bool of_sensor = keyfile_take(table->head, "sensor", NULL) != NULL;
    const bool of_instrument = keyfile_take(table->head, "instrument", NULL) != NULL;

    if (of_sensor == of_instrument)
        return keyfile_fault(table->file, keyfile_section_line(table->head), table->fault,
                             "[calibration] is of %s: expected one line, sensor = NUMBER or instrument = NAME",
                             of_sensor ? "a sensor and an instrument" : "nothing");
    calibration->subject = of_sensor ? CALIBRATION_OF_SENSOR : CALIBRATION_OF_INSTRUMENT;
    return take_text(table, calibration_subject_name(calibration->subject), true, "", calibration->name,
                     sizeof calibration->name);
}

static int take_head(const struct table_file *table) {
    struct calibration *calibration = table->calibration;
    struct keyfile_section *head = table->head;
    struct fault *fault = table->fault;

    if (take_subject(table) != 0 ||
        take_text(table, "certificate", true, "26-0417", calibration->certificate,
                  sizeof calibration->certificate) != 0 ||
        take_text(table, "laboratory", false, "", calibration->laboratory, sizeof calibration->laboratory) != 0 ||
        keyfile_require(head, "date", keyfile_take_date(head, "date", &calibration->done_ms, fault), "2026-09-01",
                        fault) != 0 ||
        keyfile_take_date(head, "due", &calibration->due_ms, fault) < 0 ||
        keyfile_require(head, "uncertainty",
                        keyfile_take_difference(head, "uncertainty", &calibration->uncertainty_mc, fault), "1.1 C",
                        fault) != 0)
        return -1;
    if (calibration->uncertainty_mc == 0)
        return keyfile_refuse(head, "uncertainty", fault, "none at all: expected more than 0 C");
    if (calibration->due_ms != 0 && calibration->due_ms <= calibration->done_ms)
        return keyfile_refuse(head, "due", fault, "not after the date of the calibration: expected a later one");
    return 0;
}

static int refuse_point(const struct table_file *table, const char *key) {
    return keyfile_refuse(table->points, key, table->fault,
                          "'%s': expected what was indicated and what to add, such as 400 C, -0.6 C",
                          keyfile_take(table->points, key, NULL));
}

/* "400 C, -0.6 C" */
static int take_point(const struct table_file *table, const char *key, const char *text,
                      struct calibration_point *point) {
    char at[QUANTITY_TEXT_BYTES];
    const char *comma = strchr(text, ','), *added;
    bool negative;
    struct fault cause;

    if (comma == NULL || (size_t)(comma - text) >= sizeof at)
        return refuse_point(table, key);
    snprintf(at, sizeof at, "%.*s", (int)(comma - text), text);
    added = comma + 1 + strspn(comma + 1, " \t");
    negative = added[0] == '-';
    added += negative || added[0] == '+' ? 1 : 0;
    if (strchr("+-", added[0]) != NULL || quantity_parse_temperature(at, &point->at_mc, &cause) != 0 ||
        quantity_parse_difference(added, &point->correction_mc, &cause) != 0)
        return refuse_point(table, key);
    if (point->correction_mc > CALIBRATION_MOST_MC)
        return keyfile_refuse(table->points, key, table->fault, "a correction of '%s': expected at most %d C",
                              added, CALIBRATION_MOST_MC / QUANTITY_PER_UNIT);
    if (negative)
        point->correction_mc = -point->correction_mc;
    return 0;
}

static int take_points(const struct table_file *table) {
    struct calibration *calibration = table->calibration;
    char key[QUANTITY_TEXT_BYTES];

    for (;; calibration->point_count++) {
        struct calibration_point *point = &calibration->points[calibration->point_count];
        const char *text;

        snprintf(key, sizeof key, "%zu", calibration->point_count + 1);
        text = keyfile_take(table->points, key, NULL);
        if (text == NULL)
            break;
        if (calibration->point_count == CALIBRATION_MOST_POINTS)
            return keyfile_refuse(table->points, key, table->fault, "too many points: expected at most %d",
                                  CALIBRATION_MOST_POINTS);
        if (take_point(table, key, text, point) != 0)
            return -1;
        if (calibration->point_count > 0 &&
            (point->at_mc <= point[-1].at_mc ||
             point->at_mc + point->correction_mc <= point[-1].at_mc + point[-1].correction_mc))
            return keyfile_refuse(table->points, key, table->fault,
                                  "not above the point before, as indicated and as corrected: expected ascending "
                                  "points");
    }
    if (calibration->point_count < CALIBRATION_LEAST_POINTS)
        return keyfile_fault(table->file, keyfile_section_line(table->points), table->fault,
                             "[points] has no line %zu: expected at least %d points, numbered from 1",
                             calibration->point_count + 1, CALIBRATION_LEAST_POINTS);
    return keyfile_refuse_unknown(table->file, table->fault);
}

/* Takes the file over. */
static int read_table(struct keyfile *file, struct calibration *calibration, struct fault *fault) {
    struct table_file table = {.file = file, .calibration = calibration, .fault = fault};
    int result;

    if (file == NULL)
        return -1;
    *calibration = (struct calibration){.calibration_id = 0};
    result = find_sections(&table);
    if (result == 0)
        result = take_head(&table);
    if (result == 0)
        result = take_points(&table);
    keyfile_free(file);
    return result;
}

int calibration_read(const char *path, struct calibration *calibration, struct fault *fault) {
    return read_table(keyfile_read(path, fault), calibration, fault);
}

int calibration_parse(const char *text, size_t length, const char *name, struct calibration *calibration,
                      struct fault *fault) {
    return read_table(keyfile_parse(text, length, name, fault), calibration, fault);
}
