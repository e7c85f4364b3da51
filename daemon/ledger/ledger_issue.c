// SPDX-License-Identifier: MIT
/* What is kept of issued certificates. */
#include "soakledger/issue.h"

#include <stdlib.h>
#include <string.h>

#include "ledger_private.h"

static void put_blob(struct query *query, const unsigned char *bytes, size_t length) {
    if (!query->failed &&
        sqlite3_bind_blob64(query->statement, query->next++, bytes, length, SQLITE_STATIC) != SQLITE_OK) {
        ledger_fail(query->ledger, query->doing, query->fault);
        query->failed = true;
    }
}

int issue_keep(struct ledger *ledger, const struct issue *issue, struct fault *fault) {
    static const char sql[] = "INSERT INTO certificate_kept (certificate_id, facts_sha256, why, said_by, program,"
                              " first_object, head, tail, signature) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)";
    char facts_sha256[LEDGER_SHA256_TEXT_BYTES];
    struct query query;

    if (ledger_keep_document(ledger, issue->facts, issue->facts_length, facts_sha256, fault) != 0) {
        return -1;
    }
    query_open_sql(&query, ledger, sql, "keep a certificate", fault);
    query_put_int(&query, issue->number);
    query_put_text(&query, facts_sha256);
    query_put_text(&query, issue->why);
    query_put_text(&query, issue->said_by);
    query_put_text(&query, issue->program);
    query_put_int(&query, issue->first_object);
    put_blob(&query, issue->head, issue->head_length);
    put_blob(&query, issue->tail, issue->tail_length);
    if (issue->is_signed) {
        put_blob(&query, issue->signature, sizeof issue->signature);
    } else {
        query_put_null(&query);
    }
    return query_run(&query);
}

static unsigned char *get_blob(struct query *query, int column, size_t *length) {
    const unsigned char *bytes;
    unsigned char *copy;

    *length = 0;
    if (query->failed) {
        return NULL;
    }
    if (sqlite3_column_type(query->statement, column) != SQLITE_BLOB) {
        ledger_fail_damaged(query->ledger, query->doing, sqlite3_column_name(query->statement, column),
                            query->fault);
        query->failed = true;
        return NULL;
    }
    bytes = sqlite3_column_blob(query->statement, column);
    *length = (size_t)sqlite3_column_bytes(query->statement, column);
    copy = malloc(*length + 1);
    if (copy == NULL) {
        fault_set(query->fault, EX_OSERR, "not enough memory for a certificate of %zu bytes", *length);
        query->failed = true;
        return NULL;
    }
    memcpy(copy, bytes, *length);
    return copy;
}

static void get_signature(struct query *query, int column, struct issue *issue) {
    size_t length = 0;
    unsigned char *bytes;

    if (query_is_null(query, column)) {
        return;
    }
    bytes = get_blob(query, column, &length);
    if (bytes != NULL && length == sizeof issue->signature) {
        memcpy(issue->signature, bytes, length);
        issue->is_signed = true;
    }
    free(bytes);
}

static void get_issue(struct query *query, struct issue *issue) {
    enum { NUMBER, REVISION, ISSUED, SHA256, FACTS, WHY, SAID_BY, PROGRAM, FIRST_OBJECT, HEAD, TAIL, SIGNATURE };

    issue->number = query_get_int(query, NUMBER, 1, INT64_MAX);
    issue->revision = query_get_int(query, REVISION, 1, INT64_MAX);
    issue->issued_ms = query_get_int(query, ISSUED, INT64_MIN, INT64_MAX);
    query_get_text_into(query, SHA256, issue->sha256, sizeof issue->sha256);
    issue->facts = query_get_bytes(query, FACTS, &issue->facts_length);
    issue->why = query_get_text(query, WHY);
    issue->said_by = query_get_text(query, SAID_BY);
    issue->program = query_get_text(query, PROGRAM);
    issue->first_object = query_get_int(query, FIRST_OBJECT, 1, INT32_MAX);
    issue->head = get_blob(query, HEAD, &issue->head_length);
    issue->tail = get_blob(query, TAIL, &issue->tail_length);
    if (!query->failed) {
        get_signature(query, SIGNATURE, issue);
    }
}

static int count_revisions(struct ledger *ledger, int64_t batch_id, int64_t *count, struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_COUNT_CERTIFICATES, "count certificates", fault);
    query_put_int(&query, batch_id);
    if (query_step(&query) == 1) {
        *count = query_get_int(&query, 0, 0, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : 0;
}

static int refuse_missing(struct ledger *ledger, int64_t batch_id, int64_t revision, struct fault *fault) {
    int64_t count = 0;

    if (ledger_require(ledger, STATEMENT_HAS_BATCH, batch_id, "batch", fault) != 0 ||
        count_revisions(ledger, batch_id, &count, fault) != 0) {
        return -1;
    }
    if (revision <= count) {
        return fault_set(
            fault, EX_NOINPUT,
            "revision %lld of batch %lld was issued by a program that kept nothing of it: only its paper"
            " is left",
            (long long)revision, (long long)batch_id);
    }
    return fault_set(fault, EX_NOINPUT, "there is no revision %lld: batch %lld has %lld", (long long)revision,
                     (long long)batch_id, (long long)count);
}

struct issue *issue_read(struct ledger *ledger, int64_t batch_id, int64_t revision, struct fault *fault) {
    static const char sql[] =
        "SELECT c.certificate_id, c.revision, c.issued_ms, c.sha256, d.body, k.why, k.said_by, k.program,"
        " k.first_object, k.head, k.tail, k.signature FROM certificate c JOIN certificate_kept k"
        " USING (certificate_id) JOIN document d ON d.sha256 = k.facts_sha256 WHERE c.batch_id = ? AND c.revision "
        "= ?";
    struct issue *issue = calloc(1, sizeof *issue);
    struct query query;
    int got;

    if (issue == NULL) {
        fault_set(fault, EX_OSERR, "not enough memory for a certificate");
        return NULL;
    }
    query_open_sql(&query, ledger, sql, "read a certificate", fault);
    query_put_int(&query, batch_id);
    query_put_int(&query, revision);
    got = query_step(&query);
    if (got == 1) {
        get_issue(&query, issue);
        query_close(&query);
        got = query.failed ? -1 : 1;
    } else if (got == 0) {
        refuse_missing(ledger, batch_id, revision, fault);
    }
    if (got != 1) {
        issue_free(issue);
        return NULL;
    }
    return issue;
}

void issue_free(struct issue *issue) {
    if (issue == NULL) {
        return;
    }
    free(issue->facts);
    free(issue->why);
    free(issue->said_by);
    free(issue->program);
    free(issue->head);
    free(issue->tail);
    free(issue);
}
