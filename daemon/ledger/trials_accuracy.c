// SPDX-License-Identifier: MIT
#include <stdlib.h>
#include <string.h>

#include "ledger_private.h"
#include "soakledger/trials.h"

int64_t trials_count_accuracies(struct ledger *ledger, struct fault *fault) {
    struct query query;
    int64_t count = -1;

    query_open_sql(&query, ledger, "SELECT coalesce(max(accuracy_id), 0) FROM accuracy", "count accuracy tests",
                   fault);
    if (query_step(&query) == 1) {
        count = query_get_int(&query, 0, 0, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : count;
}

/* ---- in ---- */

static int add_typed(struct ledger *ledger, int64_t accuracy_id, const struct accuracy_result *result,
                     struct fault *fault) {
    for (size_t i = 0; i < result->typed_count; i++) {
        const struct accuracy_typed *typed = &result->typed[i];
        struct query query;

        query_open_sql(&query, ledger, "INSERT INTO accuracy_typed VALUES (?, ?, ?, ?, ?)",
                       "store an accuracy test", fault);
        query_put_int(&query, accuracy_id);
        query_put_int(&query, (int64_t)i);
        query_put_int(&query, typed->t_ms);
        query_put_int(&query, typed->said_mc);
        if (typed->paired) {
            query_put_int(&query, typed->sensor_mc);
        } else {
            query_put_null(&query);
        }
        if (query_run(&query) != 0) {
            return -1;
        }
    }
    return 0;
}

static int64_t add_row(struct ledger *ledger, const struct trials_accuracy *accuracy, struct fault *fault) {
    static const char sql[] =
        "INSERT INTO accuracy (done_ms, done_by, note, oven_id, channel_id, interval_ms, reference_channel_id,"
        " reference_interval_ms, reference, correction_mc, reference_uncertainty_mc, due_ms, from_ms, to_ms,"
        " allowed_mc, guarded, pairs, sensor_mc, reference_mc, difference_mc, deviation_mc, uncertainty_mc,"
        " slope_mc_per_h, reference_slope_mc_per_h, silence_ms, outcome, reason, accuracy_id)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?,"
        " (SELECT coalesce(max(accuracy_id), 0) + 1 FROM accuracy))";
    const struct accuracy_setting *setting = &accuracy->setting;
    const struct accuracy_result *result = &accuracy->result;
    struct query query;

    query_open_sql(&query, ledger, sql, "store an accuracy test", fault);
    query_put_int(&query, accuracy->done_ms);
    query_put_text(&query, accuracy->done_by);
    query_put_text(&query, accuracy->note);
    query_put_int(&query, accuracy->oven_id);
    query_put_int(&query, setting->sensor_id);
    query_put_int(&query, setting->sensor_interval_ms);
    query_put_int_or_null(&query, setting->reference_id);
    query_put_int(&query, setting->reference_interval_ms);
    query_put_text(&query, accuracy->reference);
    query_put_int(&query, setting->correction_mc);
    query_put_int_or_null(&query, setting->reference_uncertainty_mc);
    query_put_int_or_null(&query, setting->due_ms);
    query_put_int(&query, setting->from_ms);
    query_put_int(&query, setting->to_ms);
    query_put_int(&query, setting->allowed_mc);
    query_put_int(&query, setting->guarded ? 1 : 0);
    query_put_int(&query, (int64_t)result->pair_count);
    query_put_int(&query, result->sensor_mc);
    query_put_int(&query, result->reference_mc);
    query_put_int(&query, result->difference_mc);
    query_put_int(&query, result->deviation_mc);
    query_put_int(&query, result->uncertainty_mc);
    query_put_int(&query, result->sensor_slope_mc_per_h);
    query_put_int(&query, result->reference_slope_mc_per_h);
    query_put_int(&query, result->silence_ms);
    query_put_int(&query, (int64_t)result->outcome);
    query_put_int(&query, (int64_t)result->reason);
    return query_add(&query);
}

int64_t trials_add_accuracy(struct ledger *ledger, const struct trials_accuracy *accuracy, struct fault *fault) {
    int64_t accuracy_id = -1;
    bool own = false;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    accuracy_id = add_row(ledger, accuracy, fault);
    if (ledger_leave(ledger, own,
                     accuracy_id < 0 || add_typed(ledger, accuracy_id, &accuracy->result, fault) != 0 ? -1 : 0,
                     fault) != 0) {
        return -1;
    }
    return accuracy_id;
}

/* ---- out ---- */

static void get_row(struct query *query, struct trials_accuracy *accuracy) {
    struct accuracy_setting *const setting = &accuracy->setting;
    struct accuracy_result *const result = &accuracy->result;
    int column = 0;

    accuracy->done_ms = query_get_int(query, column++, INT64_MIN, INT64_MAX);
    accuracy->done_by = query_get_text(query, column++);
    accuracy->note = query_get_text(query, column++);
    accuracy->oven_id = query_get_int(query, column++, 1, INT64_MAX);
    setting->sensor_id = query_get_int(query, column++, 1, INT64_MAX);
    setting->sensor_interval_ms = query_get_int(query, column++, 1, INT64_MAX);
    setting->reference_id = query_get_int_or_null(query, column++, 1, INT64_MAX);
    setting->reference_interval_ms = query_get_int(query, column++, 0, INT64_MAX);
    accuracy->reference = query_get_text(query, column++);
    setting->correction_mc = query_get_int(query, column++, INT64_MIN, INT64_MAX);
    setting->reference_uncertainty_mc = query_get_int_or_null(query, column++, 1, INT64_MAX);
    setting->due_ms = query_get_int_or_null(query, column++, INT64_MIN, INT64_MAX);
    setting->from_ms = query_get_int(query, column++, INT64_MIN, INT64_MAX);
    setting->to_ms = query_get_int(query, column++, setting->from_ms, INT64_MAX);
    setting->allowed_mc = query_get_int(query, column++, 0, INT64_MAX);
    setting->guarded = query_get_int(query, column++, 0, 1) == 1;
    result->pair_count = (size_t)query_get_int(query, column++, 0, INT64_MAX);
    result->sensor_mc = query_get_int(query, column++, INT64_MIN, INT64_MAX);
    result->reference_mc = query_get_int(query, column++, INT64_MIN, INT64_MAX);
    result->difference_mc = query_get_int(query, column++, INT64_MIN, INT64_MAX);
    result->deviation_mc = query_get_int(query, column++, 0, INT64_MAX);
    result->uncertainty_mc = query_get_int(query, column++, 0, INT64_MAX);
    result->sensor_slope_mc_per_h = query_get_int(query, column++, INT64_MIN, INT64_MAX);
    result->reference_slope_mc_per_h = query_get_int(query, column++, INT64_MIN, INT64_MAX);
    result->silence_ms = query_get_int(query, column++, 0, INT64_MAX);
    result->outcome = (enum outcome)query_get_int(query, column++, OUTCOME_MET, OUTCOME_NOT_MET);
    result->reason = (enum accuracy_reason)query_get_int(query, column, 0, ACCURACY_REASON_COUNT - 1);
}

static int get_typed(struct ledger *ledger, struct trials_accuracy *accuracy, struct fault *fault) {
    struct accuracy_result *const result = &accuracy->result;
    struct query query;
    int got;

    query_open_sql(&query, ledger,
                   "SELECT t_ms, said_mc, sensor_mc FROM accuracy_typed WHERE accuracy_id = ? ORDER BY place",
                   "read an accuracy test", fault);
    query_put_int(&query, accuracy->accuracy_id);
    while ((got = query_step(&query)) == 1) {
        struct accuracy_typed *typed = &result->typed[result->typed_count];

        if (result->typed_count == ACCURACY_TYPED_MOST) {
            query_close(&query);
            return ledger_fail_damaged(ledger, "read an accuracy test", "table accuracy_typed", fault);
        }
        typed->t_ms = query_get_int(&query, 0, INT64_MIN, INT64_MAX);
        typed->said_mc = query_get_int(&query, 1, INT64_MIN, INT64_MAX);
        typed->paired = !query_is_null(&query, 2);
        typed->sensor_mc = query_get_int_or_null(&query, 2, INT64_MIN, INT64_MAX);
        accuracy->setting.typed[result->typed_count++] = *typed;
    }
    accuracy->setting.typed_count = result->typed_count;
    return query.failed || got < 0 ? -1 : 0;
}

static int read_row(struct ledger *ledger, struct trials_accuracy *accuracy, struct fault *fault) {
    static const char sql[] =
        "SELECT done_ms, done_by, note, oven_id, channel_id, interval_ms, reference_channel_id,"
        " reference_interval_ms, reference, correction_mc, reference_uncertainty_mc, due_ms, from_ms, to_ms,"
        " allowed_mc, guarded, pairs, sensor_mc, reference_mc, difference_mc, deviation_mc, uncertainty_mc,"
        " slope_mc_per_h, reference_slope_mc_per_h, silence_ms, outcome, reason FROM accuracy WHERE accuracy_id = "
        "?";
    struct query query;
    int got;

    query_open_sql(&query, ledger, sql, "read an accuracy test", fault);
    query_put_int(&query, accuracy->accuracy_id);
    got = query_step(&query);
    if (got == 0) {
        return fault_set(fault, EX_NOINPUT, "%s: there is no accuracy test %lld", ledger->path,
                         (long long)accuracy->accuracy_id);
    }
    if (got == 1) {
        get_row(&query, accuracy);
        query_close(&query);
    }
    return got == 1 && !query.failed ? get_typed(ledger, accuracy, fault) : -1;
}

struct trials_accuracy *trials_read_accuracy(struct ledger *ledger, int64_t accuracy_id, struct fault *fault) {
    struct trials_accuracy *const accuracy = calloc(1, sizeof *accuracy);

    if (accuracy == NULL) {
        fault_set(fault, EX_OSERR, "out of memory");
        return NULL;
    }
    accuracy->accuracy_id = accuracy_id;
    if (read_row(ledger, accuracy, fault) != 0) {
        trials_free_accuracy(accuracy);
        return NULL;
    }
    return accuracy;
}

void trials_free_accuracy(struct trials_accuracy *accuracy) {
    if (accuracy == NULL) {
        return;
    }
    free(accuracy->done_by);
    free(accuracy->note);
    free(accuracy->reference);
    free(accuracy);
}
