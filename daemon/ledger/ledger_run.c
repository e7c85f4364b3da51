// SPDX-License-Identifier: MIT
/* Runs, and which batches each of them is claimed for. */
#include <stdlib.h>

#include "ledger_private.h"

int64_t ledger_open_run(struct ledger *ledger, int64_t oven_id, int64_t begun_ms, struct fault *fault) {
    struct query query;

    if (ledger_require(ledger, STATEMENT_OVEN_NAME, oven_id, "oven", fault) != 0) {
        return -1;
    }
    query_open(&query, ledger, STATEMENT_OPEN_RUN, "begin a run", fault);
    query_put_int(&query, oven_id);
    query_put_int(&query, begun_ms);
    return query_add(&query);
}

int ledger_end_run(struct ledger *ledger, int64_t run_id, int64_t ended_ms, enum run_end end, struct fault *fault) {
    struct query query;

    if (ledger_require(ledger, STATEMENT_READ_RUN, run_id, "run", fault) != 0) {
        return -1;
    }
    query_open(&query, ledger, STATEMENT_END_RUN, "end a run", fault);
    query_put_int(&query, run_id);
    query_put_int(&query, ended_ms);
    query_put_int(&query, end);
    return query_run(&query);
}

static void get_run(struct query *query, struct ledger_run *run) {
    *run = (struct ledger_run){
        .run_id = query_get_int(query, 0, 1, INT64_MAX),
        .oven_id = query_get_int(query, 1, 1, INT64_MAX),
        .begun_ms = query_get_int(query, 2, INT64_MIN, INT64_MAX),
        .end = (enum run_end)query_get_int(query, 4, RUN_END_OPEN, RUN_END_IMPORTED),
        .batch_id = query_get_int_or_null(query, 5, 1, INT64_MAX),
        .visit = (size_t)query_get_int_or_null(query, 6, 0, INT32_MAX),
    };
    run->ended_ms = query_get_int_or_null(query, 3, run->begun_ms, INT64_MAX);
}

static int read_one(struct query *query, int64_t id, struct ledger_run *run) {
    int got;

    query_put_int(query, id);
    got = query_step(query);
    if (got == 1) {
        get_run(query, run);
        query_close(query);
    }
    return query->failed ? -1 : got;
}

int ledger_read_run(struct ledger *ledger, int64_t run_id, struct ledger_run *run, struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_READ_RUN, "read a run", fault);
    return read_one(&query, run_id, run);
}

int ledger_find_open_run(struct ledger *ledger, int64_t oven_id, struct ledger_run *run, struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_FIND_OPEN_RUN, "look for a run", fault);
    return read_one(&query, oven_id, run);
}

struct ledger_run *ledger_list_runs(struct ledger *ledger, int64_t from_ms, int64_t to_ms, size_t *count,
                                    struct fault *fault) {
    struct list list;
    struct query query;

    list_query(&list, &query, sizeof(struct ledger_run), ledger, STATEMENT_LIST_RUNS, "list runs", fault);
    query_put_int(&query, from_ms);
    query_put_int(&query, to_ms);
    for (struct ledger_run *run; (run = list_step(&list, &query)) != NULL;) {
        get_run(&query, run);
    }
    return list_close(&list, &query, count);
}

int ledger_claim_run(struct ledger *ledger, int64_t run_id, int64_t batch_id, size_t visit, int64_t t_ms,
                     const char *by, struct fault *fault) {
    struct query query;

    if (ledger_require(ledger, STATEMENT_READ_RUN, run_id, "run", fault) != 0 ||
        (batch_id != 0 && ledger_require(ledger, STATEMENT_HAS_BATCH, batch_id, "batch", fault) != 0)) {
        return -1;
    }
    query_open(&query, ledger, STATEMENT_CLAIM_RUN, "claim a run", fault);
    query_put_int(&query, run_id);
    query_put_int_or_null(&query, batch_id);
    if (batch_id == 0) {
        query_put_null(&query); // given back: there is no visit either
    } else {
        query_put_int(&query, (int64_t)visit);
    }
    query_put_int(&query, t_ms);
    query_put_text(&query, by);
    return query_run(&query);
}

struct ledger_run *ledger_list_claimed(struct ledger *ledger, int64_t batch_id, size_t *count,
                                       struct fault *fault) {
    struct list list;
    struct query query;

    list_query(&list, &query, sizeof(struct ledger_run), ledger, STATEMENT_LIST_CLAIMED, "list a batch's runs",
               fault);
    query_put_int(&query, batch_id);
    for (struct ledger_run *run; (run = list_step(&list, &query)) != NULL;) {
        get_run(&query, run);
    }
    return list_close(&list, &query, count);
}

struct ledger_claim *ledger_list_claims(struct ledger *ledger, int64_t run_id, size_t *count, struct fault *fault) {
    struct list list;
    struct query query;

    list_query(&list, &query, sizeof(struct ledger_claim), ledger, STATEMENT_LIST_CLAIMS, "list a run's batches",
               fault);
    query_put_int(&query, run_id);
    for (struct ledger_claim *claim; (claim = list_step(&list, &query)) != NULL;) {
        claim->claim_id = query_get_int(&query, 0, 1, INT64_MAX);
        claim->batch_id = query_get_int(&query, 1, 1, INT64_MAX);
        claim->visit = (size_t)query_get_int(&query, 2, 0, INT32_MAX);
    }
    return list_close(&list, &query, count);
}

int ledger_had_run(struct ledger *ledger, int64_t run_id, int64_t batch_id, struct fault *fault) {
    struct query query;
    int had = 0;

    query_open(&query, ledger, STATEMENT_HAD_RUN, "look for a claim", fault);
    query_put_int(&query, run_id);
    query_put_int(&query, batch_id);
    if (query_step(&query) == 1) {
        had = (int)query_get_int(&query, 0, 0, 1);
        query_close(&query);
    }
    return query.failed ? -1 : had;
}

int ledger_withdraw_claim(struct ledger *ledger, int64_t run_id, int64_t batch_id, int64_t t_ms, const char *by,
                          struct fault *fault) {
    size_t count = 0;
    struct ledger_claim *const claims = ledger_list_claims(ledger, run_id, &count, fault);
    struct query query;
    int64_t claim_id = 0;

    if (claims == NULL) {
        return -1;
    }
    for (size_t i = 0; i < count; i++) {
        claim_id = claims[i].batch_id == batch_id ? claims[i].claim_id : claim_id;
    }
    free(claims);
    if (claim_id == 0) {
        return fault_set(fault, EX_NOINPUT, "%s: run %lld does not belong to batch %lld", ledger->path,
                         (long long)run_id, (long long)batch_id);
    }
    query_open(&query, ledger, STATEMENT_WITHDRAW, "withdraw a claim", fault);
    query_put_int(&query, claim_id);
    query_put_int(&query, t_ms);
    query_put_text(&query, by);
    return query_run(&query);
}
