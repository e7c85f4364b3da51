// SPDX-License-Identifier: MIT
/* Batches, and the certificates issued for them. Both are numbered from 1 without gaps: their rows are never
 * deleted, so the next number is one more than the last, and a transaction taken back takes its number back. */
#include <stdlib.h>
#include <string.h>

#include "ledger_private.h"

static int64_t add_batch(struct ledger *ledger, const struct ledger_batch *batch, struct fault *fault) {
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    struct query query;

    if (ledger_require(ledger, STATEMENT_OVEN_NAME, batch->oven_id, "oven", fault) != 0 ||
        ledger_keep_document(ledger, batch->plan_text, batch->plan_length, sha256, fault) != 0) {
        return -1;
    }
    query_open(&query, ledger, STATEMENT_OPEN_BATCH, "open a batch", fault);
    query_put_int(&query, batch->opened_ms);
    query_put_int(&query, batch->oven_id);
    query_put_text(&query, batch->charge);
    query_put_text(&query, batch->customer);
    query_put_text(&query, batch->order_reference);
    query_put_text(&query, batch->operator_name);
    query_put_text(&query, batch->note);
    query_put_text(&query, batch->plan_name);
    query_put_text(&query, sha256);
    return query_add(&query);
}

/* The plan's digest is worked out here: `plan_sha256` of what is given is not looked at. */
int64_t ledger_open_batch(struct ledger *ledger, const struct ledger_batch *batch, struct fault *fault) {
    int64_t batch_id;
    bool own;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    batch_id = add_batch(ledger, batch, fault);
    return ledger_leave(ledger, own, batch_id > 0 ? 0 : -1, fault) == 0 ? batch_id : -1;
}

int ledger_close_batch(struct ledger *ledger, int64_t batch_id, int64_t closed_ms, struct fault *fault) {
    struct query query;

    if (ledger_require(ledger, STATEMENT_HAS_BATCH, batch_id, "batch", fault) != 0) {
        return -1;
    }
    query_open(&query, ledger, STATEMENT_CLOSE_BATCH, "close a batch", fault);
    query_put_int(&query, batch_id);
    query_put_int(&query, closed_ms);
    return query_run(&query);
}

static void get_batch(struct query *query, struct ledger_batch *batch) {
    char sha256[LEDGER_SHA256_TEXT_BYTES];

    batch->batch_id = query_get_int(query, 0, 1, INT64_MAX);
    batch->opened_ms = query_get_int(query, 1, INT64_MIN, INT64_MAX);
    batch->closed_ms = query_get_int_or_null(query, 2, batch->opened_ms, INT64_MAX);
    batch->oven_id = query_get_int(query, 3, 1, INT64_MAX);
    batch->charge = query_get_text(query, 4);
    batch->customer = query_get_text(query, 5);
    batch->order_reference = query_get_text(query, 6);
    batch->operator_name = query_get_text(query, 7);
    batch->note = query_get_text(query, 8);
    batch->plan_name = query_get_text(query, 9);
    query_get_text_into(query, 10, batch->plan_sha256, sizeof batch->plan_sha256);
    batch->plan_text = query_get_bytes(query, 11, &batch->plan_length);
    if (query->failed) {
        return;
    }
    ledger_sha256(batch->plan_text, batch->plan_length, sha256);
    if (strcmp(sha256, batch->plan_sha256) != 0) {
        fault_set(query->fault, EX_DATAERR, "%s: the plan of batch %lld is not the one it was opened with",
                  query->ledger->path, (long long)batch->batch_id);
        query->failed = true;
    }
}

struct ledger_batch *ledger_read_batch(struct ledger *ledger, int64_t batch_id, struct fault *fault) {
    struct ledger_batch *const batch = calloc(1, sizeof *batch);
    struct query query;
    int got;

    if (batch == NULL) {
        fault_set(fault, EX_OSERR, "out of memory");
        return NULL;
    }
    query_open(&query, ledger, STATEMENT_READ_BATCH, "read a batch", fault);
    query_put_int(&query, batch_id);
    got = query_step(&query);
    if (got == 1) {
        get_batch(&query, batch);
        query_close(&query);
    } else if (got == 0) {
        fault_set(fault, EX_NOINPUT, "%s: there is no batch %lld", ledger->path, (long long)batch_id);
    }
    if (got != 1 || query.failed) {
        ledger_free_batch(batch);
        return NULL;
    }
    return batch;
}

void ledger_free_batch(struct ledger_batch *batch) {
    if (batch == NULL) {
        return;
    }
    free(batch->charge);
    free(batch->customer);
    free(batch->order_reference);
    free(batch->operator_name);
    free(batch->note);
    free(batch->plan_text);
    free(batch->plan_name);
    free(batch);
}

int64_t *ledger_list_batches(struct ledger *ledger, bool open_only, size_t *count, struct fault *fault) {
    struct list list;
    struct query query;

    list_query(&list, &query, sizeof(int64_t), ledger, STATEMENT_LIST_BATCHES, "list batches", fault);
    query_put_int(&query, open_only ? 1 : 0);
    for (int64_t *batch_id; (batch_id = list_step(&list, &query)) != NULL;) {
        *batch_id = query_get_int(&query, 0, 1, INT64_MAX);
    }
    return list_close(&list, &query, count);
}

static int64_t count_certificates(struct ledger *ledger, int64_t batch_id, struct fault *fault) {
    struct query query;
    int64_t count = 0;

    query_open(&query, ledger, STATEMENT_COUNT_CERTIFICATES, "count certificates", fault);
    query_put_int(&query, batch_id);
    if (query_step(&query) == 1) {
        count = query_get_int(&query, 0, 0, INT64_MAX - 1);
        query_close(&query);
    }
    return query.failed ? -1 : count;
}

int64_t ledger_next_certificate(struct ledger *ledger, int64_t batch_id, int64_t *revision, struct fault *fault) {
    const int64_t issued = count_certificates(ledger, batch_id, fault);
    struct query query;
    int64_t number = -1;

    if (issued < 0) {
        return -1;
    }
    *revision = issued + 1;
    query_open(&query, ledger, STATEMENT_NEXT_CERTIFICATE, "number a certificate", fault);
    if (query_step(&query) == 1) {
        number = query_get_int(&query, 0, 1, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : number;
}

static int64_t add_certificate(struct ledger *ledger, int64_t batch_id, int64_t issued_ms, const char *sha256,
                               int64_t *revision, struct fault *fault) {
    struct query query;
    int64_t issued;

    if (ledger_require(ledger, STATEMENT_HAS_BATCH, batch_id, "batch", fault) != 0) {
        return -1;
    }
    issued = count_certificates(ledger, batch_id, fault);
    if (issued < 0) {
        return -1;
    }
    *revision = issued + 1;
    query_open(&query, ledger, STATEMENT_ADD_CERTIFICATE, "record a certificate", fault);
    query_put_int(&query, batch_id);
    query_put_int(&query, *revision);
    query_put_int(&query, issued_ms);
    query_put_text(&query, sha256);
    return query_add(&query);
}

int64_t ledger_add_certificate(struct ledger *ledger, int64_t batch_id, int64_t issued_ms, const char *sha256,
                               int64_t *revision, struct fault *fault) {
    int64_t number;
    bool own;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    number = add_certificate(ledger, batch_id, issued_ms, sha256, revision, fault);
    return ledger_leave(ledger, own, number > 0 ? 0 : -1, fault) == 0 ? number : -1;
}
