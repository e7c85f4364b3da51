// SPDX-License-Identifier: MIT
#include <stdlib.h>
#include <string.h>

#include "ledger_private.h"
#include "soakledger/trials.h"

static const char storing[] = "store a survey", reading[] = "read a survey";

int64_t trials_count_surveys(struct ledger *ledger, struct fault *fault) {
    struct query query;
    int64_t count = -1;

    query_open_sql(&query, ledger, "SELECT coalesce(max(survey_id), 0) FROM survey", "count surveys", fault);
    if (query_step(&query) == 1) {
        count = query_get_int(&query, 0, 0, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : count;
}

/* ---- in ---- */

static int64_t add_row(struct ledger *ledger, const struct trials_survey *survey, struct fault *fault) {
    static const char sql[] =
        "INSERT INTO survey (done_ms, done_by, note, oven_id, run_id, from_ms, to_ms, setpoint_mc, least_ms, "
        "most_ms,"
        " limits_in, guarded, settled_ms, ended_ms, spread_mc, worst_mc, tightest_class, survey_id)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?,"
        " (SELECT coalesce(max(survey_id), 0) + 1 FROM survey))";
    const struct survey_setting *setting = &survey->setting;
    struct query query;

    query_open_sql(&query, ledger, sql, storing, fault);
    query_put_int(&query, survey->done_ms);
    query_put_text(&query, survey->done_by);
    query_put_text(&query, survey->note);
    query_put_int(&query, survey->oven_id);
    query_put_int_or_null(&query, survey->run_id);
    query_put_int(&query, setting->from_ms);
    query_put_int(&query, setting->to_ms);
    query_put_int(&query, setting->setpoint_mc);
    query_put_int(&query, setting->least_ms);
    query_put_int(&query, setting->most_ms);
    query_put_text(&query, setting->unit == UNIT_FAHRENHEIT ? "F" : "C");
    query_put_int(&query, setting->guarded ? 1 : 0);
    query_put_int_or_null(&query, survey->settled_ms);
    query_put_int_or_null(&query, survey->ended_ms);
    query_put_int(&query, survey->spread_mc);
    query_put_int(&query, survey->worst_mc);
    query_put_int_or_null(&query, survey->tightest);
    return query_add(&query);
}

static int add_place(struct ledger *ledger, int64_t survey_id, size_t number, const struct trials_place *place,
                     struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger, "INSERT INTO survey_place VALUES (?, ?, ?, ?, ?)", storing, fault);
    query_put_int(&query, survey_id);
    query_put_int(&query, (int64_t)number);
    query_put_int(&query, place->channel.channel_id);
    query_put_text(&query, place->place);
    query_put_int_or_null(&query, place->channel.uncertainty_mc);
    return query_run(&query);
}

static int add_class(struct ledger *ledger, int64_t survey_id, int number, const struct survey_class *class,
                     struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger, "INSERT INTO survey_class VALUES (?, ?, ?, ?, ?)", storing, fault);
    query_put_int(&query, survey_id);
    query_put_int(&query, number);
    query_put_int(&query, (int64_t) class->outcome);
    query_put_int(&query, (int64_t) class->reason);
    query_put_int_or_null(&query, class->channel_id);
    return query_run(&query);
}

static int add_parts(struct ledger *ledger, int64_t survey_id, const struct trials_survey *survey,
                     struct fault *fault) {
    for (size_t i = 0; i < survey->place_count; i++) {
        if (add_place(ledger, survey_id, i, &survey->places[i], fault) != 0) {
            return -1;
        }
    }
    for (int i = 1; i <= SURVEY_CLASSES; i++) {
        if (add_class(ledger, survey_id, i, &survey->classes[i - 1], fault) != 0) {
            return -1;
        }
    }
    return 0;
}

int64_t trials_add_survey(struct ledger *ledger, const struct trials_survey *survey, struct fault *fault) {
    int64_t survey_id = -1;
    bool own = false;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    survey_id = add_row(ledger, survey, fault);
    if (ledger_leave(ledger, own, survey_id < 0 || add_parts(ledger, survey_id, survey, fault) != 0 ? -1 : 0,
                     fault) != 0) {
        return -1;
    }
    return survey_id;
}

/* ---- out ---- */

static void get_row(struct query *query, struct trials_survey *survey) {
    struct survey_setting *const setting = &survey->setting;
    char unit[2] = "";
    int column = 0;

    survey->done_ms = query_get_int(query, column++, INT64_MIN, INT64_MAX);
    survey->done_by = query_get_text(query, column++);
    survey->note = query_get_text(query, column++);
    survey->oven_id = query_get_int(query, column++, 1, INT64_MAX);
    survey->run_id = query_get_int_or_null(query, column++, 1, INT64_MAX);
    setting->from_ms = query_get_int(query, column++, INT64_MIN, INT64_MAX);
    setting->to_ms = query_get_int(query, column++, setting->from_ms, INT64_MAX);
    setting->setpoint_mc = query_get_int(query, column++, INT64_MIN, INT64_MAX);
    setting->least_ms = query_get_int(query, column++, 1, INT64_MAX);
    setting->most_ms = query_get_int(query, column++, 0, INT64_MAX);
    query_get_text_into(query, column++, unit, sizeof unit);
    setting->unit = strcmp(unit, "F") == 0 ? UNIT_FAHRENHEIT : UNIT_CELSIUS;
    setting->guarded = query_get_int(query, column++, 0, 1) == 1;
    survey->settled_ms = query_get_int_or_null(query, column++, INT64_MIN, INT64_MAX);
    survey->ended_ms = query_get_int_or_null(query, column++, INT64_MIN, INT64_MAX);
    survey->spread_mc = query_get_int(query, column++, 0, INT64_MAX);
    survey->worst_mc = query_get_int(query, column++, 0, INT64_MAX);
    survey->tightest = (int)query_get_int_or_null(query, column, 1, SURVEY_CLASSES);
}

static int read_row(struct ledger *ledger, struct trials_survey *survey, struct fault *fault) {
    static const char sql[] =
        "SELECT done_ms, done_by, note, oven_id, run_id, from_ms, to_ms, setpoint_mc, least_ms, most_ms, limits_in,"
        " guarded, settled_ms, ended_ms, spread_mc, worst_mc, tightest_class FROM survey WHERE survey_id = ?";
    struct query query;
    int got;

    query_open_sql(&query, ledger, sql, reading, fault);
    query_put_int(&query, survey->survey_id);
    got = query_step(&query);
    if (got == 0) {
        return fault_set(fault, EX_NOINPUT, "%s: there is no survey %lld", ledger->path,
                         (long long)survey->survey_id);
    }
    if (got == 1) {
        get_row(&query, survey);
        query_close(&query);
    }
    return got == 1 && !query.failed ? 0 : -1;
}

static int read_places(struct ledger *ledger, struct trials_survey *survey, struct fault *fault) {
    struct query query;
    int got;

    query_open_sql(&query, ledger,
                   "SELECT channel_id, place, uncertainty_mc FROM survey_place WHERE survey_id = ? ORDER BY number",
                   reading, fault);
    query_put_int(&query, survey->survey_id);
    while ((got = query_step(&query)) == 1) {
        struct trials_place *place = &survey->places[survey->place_count];

        if (survey->place_count == SURVEY_SENSORS_MOST) {
            query_close(&query);
            return ledger_fail_damaged(ledger, reading, "table survey_place", fault);
        }
        survey->place_count++;
        place->channel.channel_id = query_get_int(&query, 0, 1, INT64_MAX);
        place->place = query_get_text(&query, 1);
        place->channel.uncertainty_mc = query_get_int_or_null(&query, 2, 1, INT64_MAX);
    }
    return query.failed || got < 0 ? -1 : 0;
}

static int read_classes(struct ledger *ledger, struct trials_survey *survey, struct fault *fault) {
    struct query query;
    int got, count = 0;

    query_open_sql(&query, ledger,
                   "SELECT class, outcome, reason, channel_id FROM survey_class WHERE survey_id = ? ORDER BY class",
                   reading, fault);
    query_put_int(&query, survey->survey_id);
    while ((got = query_step(&query)) == 1) {
        const size_t number = (size_t)query_get_int(&query, 0, 1, SURVEY_CLASSES);
        struct survey_class *class = &survey->classes[query.failed ? 0 : number - 1];

        class->outcome = (enum outcome)query_get_int(&query, 1, OUTCOME_MET, OUTCOME_NOT_MET);
        class->reason = (enum survey_reason)query_get_int(&query, 2, 0, SURVEY_REASON_COUNT - 1);
        class->channel_id = query_get_int_or_null(&query, 3, 1, INT64_MAX);
        count++;
    }
    if (query.failed || got < 0) {
        return -1;
    }
    return count == SURVEY_CLASSES ? 0 : ledger_fail_damaged(ledger, reading, "table survey_class", fault);
}

struct trials_survey *trials_read_survey(struct ledger *ledger, int64_t survey_id, struct fault *fault) {
    struct trials_survey *const survey = calloc(1, sizeof *survey);

    if (survey == NULL) {
        fault_set(fault, EX_OSERR, "out of memory");
        return NULL;
    }
    survey->survey_id = survey_id;
    if (read_row(ledger, survey, fault) != 0 || read_places(ledger, survey, fault) != 0 ||
        read_classes(ledger, survey, fault) != 0) {
        trials_free_survey(survey);
        return NULL;
    }
    return survey;
}

void trials_free_survey(struct trials_survey *survey) {
    if (survey == NULL) {
        return;
    }
    for (size_t i = 0; i < survey->place_count; i++) {
        free(survey->places[i].place);
    }
    free(survey->done_by);
    free(survey->note);
    free(survey);
}
