// SPDX-License-Identifier: MIT
/* Judgements: findings as they are made, and verdicts at the end, which complete the judgement. */
#include "ledger_private.h"

int64_t ledger_open_judgement(struct ledger *ledger, int64_t run_id, int64_t batch_id, size_t visit, int64_t t_ms,
                              struct fault *fault) {
    struct query query;

    if (ledger_require(ledger, STATEMENT_READ_RUN, run_id, "run", fault) != 0 ||
        ledger_require(ledger, STATEMENT_HAS_BATCH, batch_id, "batch", fault) != 0) {
        return -1;
    }
    query_open(&query, ledger, STATEMENT_OPEN_JUDGEMENT, "begin a judgement", fault);
    query_put_int(&query, run_id);
    query_put_int(&query, batch_id);
    query_put_int(&query, (int64_t)visit);
    query_put_int(&query, t_ms);
    return query_add(&query);
}

int64_t ledger_find_judgement(struct ledger *ledger, int64_t run_id, int64_t batch_id, size_t visit, bool *complete,
                              struct fault *fault) {
    struct query query;
    int64_t judgement_id = 0;

    *complete = false;
    query_open(&query, ledger, STATEMENT_FIND_JUDGEMENT, "look for a judgement", fault);
    query_put_int(&query, run_id);
    query_put_int(&query, batch_id);
    query_put_int(&query, (int64_t)visit);
    if (query_step(&query) == 1) {
        judgement_id = query_get_int(&query, 0, 1, INT64_MAX);
        *complete = query_get_int(&query, 1, 0, 1) == 1;
        query_close(&query);
    }
    return query.failed ? -1 : judgement_id;
}

int ledger_add_finding(struct ledger *ledger, int64_t judgement_id, const struct finding *finding,
                       struct fault *fault) {
    struct query query;

    if (ledger_require(ledger, STATEMENT_HAS_JUDGEMENT, judgement_id, "judgement", fault) != 0) {
        return -1;
    }
    query_open(&query, ledger, STATEMENT_ADD_FINDING, "store a finding", fault);
    query_put_int(&query, judgement_id);
    query_put_int(&query, finding->t_ms);
    query_put_int(&query, finding->kind);
    query_put_int(&query, (int64_t)finding->operation);
    query_put_int_or_null(&query, finding->channel_id);
    query_put_int(&query, finding->value);
    query_put_int(&query, finding->limit);
    return query_run(&query);
}

static int add_verdict(struct ledger *ledger, int64_t judgement_id, size_t place, const struct verdict *verdict,
                       struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_ADD_VERDICT, "store a verdict", fault);
    query_put_int(&query, judgement_id);
    query_put_int(&query, (int64_t)place);
    query_put_int(&query, (int64_t)verdict->operation);
    query_put_int(&query, verdict->requirement);
    query_put_int(&query, verdict->outcome);
    query_put_int(&query, verdict->reason);
    query_put_int(&query, verdict->required);
    if (verdict->found_known) {
        query_put_int(&query, verdict->found);
    } else {
        query_put_null(&query);
    }
    query_put_int(&query, verdict->possible);
    if (verdict->found_known) {
        query_put_int(&query, verdict->margin);
    } else {
        query_put_null(&query);
    }
    query_put_int_or_null(&query, verdict->t_ms);
    query_put_int_or_null(&query, verdict->channel_id);
    query_put_int(&query, verdict->uncertainty);
    return query_run(&query);
}

static int complete(struct ledger *ledger, int64_t judgement_id, struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_COMPLETE_JUDGEMENT, "complete a judgement", fault);
    query_put_int(&query, judgement_id);
    return query_run(&query);
}

int ledger_add_verdicts(struct ledger *ledger, int64_t judgement_id, const struct verdict *verdicts, size_t count,
                        struct fault *fault) {
    bool own;
    int result;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    result = ledger_require(ledger, STATEMENT_HAS_JUDGEMENT, judgement_id, "judgement", fault);
    for (size_t i = 0; i < count && result == 0; i++) {
        result = add_verdict(ledger, judgement_id, i, &verdicts[i], fault);
    }
    if (result == 0) {
        result = complete(ledger, judgement_id, fault);
    }
    return ledger_leave(ledger, own, result, fault);
}

struct finding *ledger_list_findings(struct ledger *ledger, int64_t judgement_id, size_t *count,
                                     struct fault *fault) {
    struct list list;
    struct query query;

    list_query(&list, &query, sizeof(struct finding), ledger, STATEMENT_LIST_FINDINGS, "list findings", fault);
    query_put_int(&query, judgement_id);
    for (struct finding *finding; (finding = list_step(&list, &query)) != NULL;) {
        finding->t_ms = query_get_int(&query, 0, INT64_MIN, INT64_MAX);
        finding->kind = (enum finding_kind)query_get_int(&query, 1, FINDING_SOAK_BEGUN, FINDING_KIND_COUNT - 1);
        finding->operation = (size_t)query_get_int(&query, 2, 0, INT32_MAX);
        finding->channel_id = query_get_int_or_null(&query, 3, 1, INT64_MAX);
        finding->value = query_get_int(&query, 4, INT64_MIN, INT64_MAX);
        finding->limit = query_get_int(&query, 5, INT64_MIN, INT64_MAX);
    }
    return list_close(&list, &query, count);
}

static void get_verdict(struct query *query, struct verdict *verdict) {
    *verdict = (struct verdict){
        .operation = (size_t)query_get_int(query, 0, 0, INT32_MAX),
        .requirement = (enum requirement)query_get_int(query, 1, REQUIREMENT_RAMP, REQUIREMENT_COUNT - 1),
        .outcome = (enum outcome)query_get_int(query, 2, OUTCOME_MET, OUTCOME_NOT_MET),
        .reason = (enum reason)query_get_int(query, 3, REASON_NONE, REASON_COUNT - 1),
        .required = query_get_int(query, 4, INT64_MIN, INT64_MAX),
        .found_known = !query_is_null(query, 5),
        .found = query_get_int_or_null(query, 5, INT64_MIN, INT64_MAX),
        .possible = query_get_int(query, 6, INT64_MIN, INT64_MAX),
        .margin = query_get_int_or_null(query, 7, INT64_MIN, INT64_MAX),
        .t_ms = query_get_int_or_null(query, 8, INT64_MIN, INT64_MAX),
        .channel_id = query_get_int_or_null(query, 9, 1, INT64_MAX),
        .uncertainty = query_get_int(query, 10, 0, INT64_MAX),
    };
}

struct verdict *ledger_list_verdicts(struct ledger *ledger, int64_t judgement_id, size_t *count,
                                     struct fault *fault) {
    struct list list;
    struct query query;

    list_query(&list, &query, sizeof(struct verdict), ledger, STATEMENT_LIST_VERDICTS, "list verdicts", fault);
    query_put_int(&query, judgement_id);
    for (struct verdict *verdict; (verdict = list_step(&list, &query)) != NULL;) {
        get_verdict(&query, verdict);
    }
    return list_close(&list, &query, count);
}
