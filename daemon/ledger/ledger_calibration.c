// SPDX-License-Identifier: MIT
/* Calibrations in the ledger, each version by value. */
#include <stdlib.h>
#include <string.h>

#include "ledger_private.h"
#include "soakledger/corrections.h"

#define CALIBRATION_COLUMNS                                                                                        \
    "calibration_id, subject, name, certificate, laboratory, done_ms, due_ms, uncertainty_mc, in_force_ms,"        \
    " point_count"

static int64_t find_moment(struct ledger *ledger, int64_t now_ms, struct fault *fault) {
    struct query query;
    int64_t moment_ms = -1;

    query_open_sql(&query, ledger, "SELECT max(?, coalesce((SELECT max(begun_ms) + 1 FROM run), 0))",
                   "find out from when a calibration holds", fault);
    query_put_int(&query, now_ms);
    if (query_step(&query) == 1) {
        moment_ms = query_get_int(&query, 0, 0, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : moment_ms;
}

static int64_t add_row(struct ledger *ledger, const struct calibration *calibration, const char *by,
                       const char *sha256, struct fault *fault) {
    struct query query;

    query_open_sql(
        &query, ledger,
        "INSERT INTO calibration (subject, name, certificate, laboratory, done_ms, due_ms, uncertainty_mc,"
        " in_force_ms, point_count, entered_by, file_sha256) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        "store a calibration", fault);
    query_put_text(&query, calibration_subject_name(calibration->subject));
    query_put_text(&query, calibration->name);
    query_put_text(&query, calibration->certificate);
    query_put_text(&query, calibration->laboratory);
    query_put_int_or_null(&query, calibration->done_ms);
    query_put_int_or_null(&query, calibration->due_ms);
    query_put_int(&query, calibration->uncertainty_mc);
    query_put_int(&query, calibration->in_force_ms);
    query_put_int(&query, (int64_t)calibration->point_count);
    query_put_text(&query, by);
    query_put_text(&query, sha256);
    return query_add(&query);
}

static int add_points(struct ledger *ledger, const struct calibration *calibration, struct fault *fault) {
    for (size_t i = 0; i < calibration->point_count; i++) {
        struct query query;

        query_open_sql(
            &query, ledger,
            "INSERT INTO calibration_point (calibration_id, place, at_mc, correction_mc) VALUES (?, ?, ?, ?)",
            "store a calibration", fault);
        query_put_int(&query, calibration->calibration_id);
        query_put_int(&query, (int64_t)i);
        query_put_int(&query, calibration->points[i].at_mc);
        query_put_int(&query, calibration->points[i].correction_mc);
        if (query_run(&query) != 0) {
            return -1;
        }
    }
    return 0;
}

int corrections_add(struct ledger *ledger, struct calibration *calibration, int64_t now_ms, const char *by,
                    const char *text, size_t length, struct fault *fault) {
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    int result = -1;
    bool own;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    calibration->in_force_ms = find_moment(ledger, now_ms, fault);
    if (calibration->in_force_ms >= 0 && ledger_keep_document(ledger, text, length, sha256, fault) == 0) {
        calibration->calibration_id = add_row(ledger, calibration, by, sha256, fault);
        if (calibration->calibration_id > 0) {
            result = add_points(ledger, calibration, fault);
        }
    }
    return ledger_leave(ledger, own, result, fault);
}

static void get_calibration(struct query *query, struct calibration *calibration) {
    char subject[CALIBRATION_TEXT_BYTES];

    calibration->calibration_id = query_get_int(query, 0, 1, INT64_MAX);
    query_get_text_into(query, 1, subject, sizeof subject);
    calibration->subject = strcmp(subject, calibration_subject_name(CALIBRATION_OF_SENSOR)) == 0
                               ? CALIBRATION_OF_SENSOR
                               : CALIBRATION_OF_INSTRUMENT;
    query_get_text_into(query, 2, calibration->name, sizeof calibration->name);
    query_get_text_into(query, 3, calibration->certificate, sizeof calibration->certificate);
    query_get_text_into(query, 4, calibration->laboratory, sizeof calibration->laboratory);
    calibration->done_ms = query_get_int_or_null(query, 5, INT64_MIN, INT64_MAX);
    calibration->due_ms = query_get_int_or_null(query, 6, INT64_MIN, INT64_MAX);
    calibration->uncertainty_mc = query_get_int(query, 7, 0, INT64_MAX);
    calibration->in_force_ms = query_get_int(query, 8, 0, INT64_MAX);
    calibration->point_count = (size_t)query_get_int(query, 9, 0, CALIBRATION_MOST_POINTS);
}

/* As many as the calibration says, ascending: a file may be damaged, and a judgement rests on them. */
static int read_points(struct ledger *ledger, struct calibration *calibration, struct fault *fault) {
    static const char doing[] = "read a calibration";
    enum { MOST_MC = 4000000 }; // beyond every temperature there is
    struct query query;
    size_t count = 0;
    bool sound = true;

    query_open_sql(&query, ledger,
                   "SELECT at_mc, correction_mc FROM calibration_point WHERE calibration_id = ? ORDER BY place",
                   doing, fault);
    query_put_int(&query, calibration->calibration_id);
    while (query_step(&query) == 1) {
        struct calibration_point *const point = &calibration->points[count];

        if (count == calibration->point_count) {
            sound = false;
            break;
        }
        point->at_mc = query_get_int(&query, 0, -MOST_MC, MOST_MC);
        point->correction_mc = query_get_int(&query, 1, -CALIBRATION_MOST_MC, CALIBRATION_MOST_MC);
        sound = sound && (count == 0 || point->at_mc > point[-1].at_mc);
        count++;
    }
    query_close(&query);
    if (query.failed) {
        return -1;
    }
    if (!sound || count != calibration->point_count) {
        return ledger_fail_damaged(ledger, doing, "table calibration_point", fault);
    }
    return 0;
}

int corrections_find(struct ledger *ledger, enum calibration_subject subject, const char *name, int64_t t_ms,
                     struct calibration **calibration, struct fault *fault) {
    struct calibration found = {.calibration_id = 0};
    struct query query;

    *calibration = NULL;
    query_open_sql(&query, ledger,
                   "SELECT " CALIBRATION_COLUMNS
                   " FROM calibration WHERE subject = ? AND name = ? AND in_force_ms <= ?"
                   " ORDER BY calibration_id DESC LIMIT 1",
                   "find a calibration", fault);
    query_put_text(&query, calibration_subject_name(subject));
    query_put_text(&query, name);
    query_put_int(&query, t_ms);
    if (query_step(&query) == 1) {
        get_calibration(&query, &found);
        query_close(&query);
    }
    if (query.failed) {
        return -1;
    }
    if (found.point_count == 0) {
        return 0;
    }
    if (read_points(ledger, &found, fault) != 0) {
        return -1;
    }
    *calibration = malloc(sizeof **calibration);
    if (*calibration == NULL) {
        return fault_set(fault, EX_OSERR, "out of memory");
    }
    **calibration = found;
    return 0;
}

struct calibration *corrections_list(struct ledger *ledger, enum calibration_subject subject, const char *name,
                                     size_t *count, struct fault *fault) {
    struct list list;
    struct query query;
    struct calibration *calibrations;

    list_query_sql(&list, &query, sizeof(struct calibration), ledger,
                   "SELECT " CALIBRATION_COLUMNS " FROM calibration WHERE ?1 = '' OR (subject = ?2 AND name = ?1)"
                   " ORDER BY calibration_id",
                   "list calibrations", fault);
    query_put_text(&query, name);
    query_put_text(&query, calibration_subject_name(subject));
    for (struct calibration *calibration; (calibration = list_step(&list, &query)) != NULL;) {
        get_calibration(&query, calibration);
    }
    calibrations = list_close(&list, &query, count);
    for (size_t i = 0; calibrations != NULL && i < *count; i++) {
        if (read_points(ledger, &calibrations[i], fault) != 0) {
            free(calibrations);
            return NULL;
        }
    }
    return calibrations;
}

enum calibration_result corrections_apply(const struct ledger_channel *channel, struct reading *reading) {
    if (channel->instrument_calibration == NULL && channel->sensor_calibration == NULL) {
        return CALIBRATION_NONE;
    }
    return calibration_correct(channel->instrument_calibration, channel->sensor_calibration, reading);
}

void corrections_find_uncertainty(const struct ledger_channel *channel, int64_t at_mc,
                                  struct uncertainty *uncertainty) {
    const struct uncertainty_source source = {
        .stated_mc = channel->uncertainty_mc,
        .type = channel->sensor_type,
        .tolerance = channel->sensor_tolerance,
        .accuracy_mc = channel->instrument_accuracy_mc,
        .sensor = channel->sensor_calibration,
        .instrument = channel->instrument_calibration,
    };

    uncertainty_find(&source, at_mc, uncertainty);
}
