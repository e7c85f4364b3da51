// SPDX-License-Identifier: MIT
/* Entries are never changed: what an amendment does to them is worked out whenever the books are read. */
#include "soakledger/books.h"

#include <stdlib.h>

#include "ledger_private.h"

static const char *const decision_names[BOOKS_DECISION_COUNT] = {
    [BOOKS_ACCEPT] = "accept as is",
    [BOOKS_REWORK] = "rework",
    [BOOKS_SCRAP] = "scrap",
    [BOOKS_HOLD] = "hold",
};
static const char *const entry_names[BOOKS_ENTRY_COUNT] = {
    [BOOKS_CHARGE] = "charge",
    [BOOKS_CUSTOMER] = "customer",
    [BOOKS_ORDER] = "order",
    [BOOKS_OPERATOR] = "operator",
    [BOOKS_NOTE] = "note",
    [BOOKS_ATTESTATION] = "attestation",
    [BOOKS_DISPOSITION] = "disposition",
    [BOOKS_HARDNESS] = "hardness reading",
};
static const char *const count_sql[BOOKS_ENTRY_COUNT] = {
    [BOOKS_ATTESTATION] = "SELECT count(*) FROM attestation WHERE batch_id = ?",
    [BOOKS_DISPOSITION] = "SELECT count(*) FROM disposition WHERE batch_id = ?",
    [BOOKS_HARDNESS] = "SELECT count(*) FROM hardness WHERE batch_id = ?",
};

const char *books_decision_name(enum books_decision decision) {
    return decision_names[decision];
}

const char *books_entry_name(enum books_entry entry) {
    return entry_names[entry];
}

/* ---- adding ---- */

/* How many entries of a kind a batch has: the number of the latest. */
static int64_t count_entries(struct ledger *ledger, int64_t batch_id, enum books_entry entry, struct fault *fault) {
    struct query query;
    int64_t count = 0;

    query_open_sql(&query, ledger, count_sql[entry], "count the entries of a batch", fault);
    query_put_int(&query, batch_id);
    if (query_step(&query) == 1) {
        count = query_get_int(&query, 0, 0, INT32_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : count;
}

static int64_t put_disposition(struct ledger *ledger, int64_t batch_id, const struct books_disposition *disposition,
                               struct fault *fault) {
    static const char sql[] = "INSERT INTO disposition (batch_id, decision, said_ms, said_by, reason)"
                              " VALUES (?, ?, ?, ?, ?)";
    struct query query;

    if (ledger_require(ledger, STATEMENT_HAS_BATCH, batch_id, "batch", fault) != 0) {
        return -1;
    }
    query_open_sql(&query, ledger, sql, "store a disposition", fault);
    query_put_int(&query, batch_id);
    query_put_int(&query, disposition->decision);
    query_put_int(&query, disposition->said_ms);
    query_put_text(&query, disposition->said_by);
    query_put_text(&query, disposition->reason);
    return query_run(&query) == 0 ? count_entries(ledger, batch_id, BOOKS_DISPOSITION, fault) : -1;
}

int64_t books_add_disposition(struct ledger *ledger, int64_t batch_id, const struct books_disposition *disposition,
                              struct fault *fault) {
    int64_t number;
    bool own;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    number = put_disposition(ledger, batch_id, disposition, fault);
    return ledger_leave(ledger, own, number > 0 ? 0 : -1, fault) == 0 ? number : -1;
}

static int64_t put_hardness(struct ledger *ledger, int64_t batch_id, const struct books_hardness *hardness,
                            struct fault *fault) {
    static const char sql[] =
        "INSERT INTO hardness (batch_id, scale, value, uncertainty, piece, position, instrument,"
        " measured_by, measured_ms, said_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)";
    struct query query;

    if (ledger_require(ledger, STATEMENT_HAS_BATCH, batch_id, "batch", fault) != 0) {
        return -1;
    }
    query_open_sql(&query, ledger, sql, "store a hardness reading", fault);
    query_put_int(&query, batch_id);
    query_put_text(&query, hardness->scale);
    query_put_int(&query, hardness->value);
    query_put_int(&query, hardness->uncertainty);
    query_put_text(&query, hardness->piece);
    query_put_text(&query, hardness->position);
    query_put_text(&query, hardness->instrument);
    query_put_text(&query, hardness->measured_by);
    query_put_int(&query, hardness->measured_ms);
    query_put_int(&query, hardness->said_ms);
    return query_run(&query) == 0 ? count_entries(ledger, batch_id, BOOKS_HARDNESS, fault) : -1;
}

int64_t books_add_hardness(struct ledger *ledger, int64_t batch_id, const struct books_hardness *hardness,
                           struct fault *fault) {
    int64_t number;
    bool own;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    number = put_hardness(ledger, batch_id, hardness, fault);
    return ledger_leave(ledger, own, number > 0 ? 0 : -1, fault) == 0 ? number : -1;
}

/* That the entry is there, and still counts. */
static int check_entry(struct ledger *ledger, int64_t batch_id, const struct books_amendment *amendment,
                       struct fault *fault) {
    struct books *books;
    int64_t count;
    bool withdrawn;

    if (count_sql[amendment->entry] == NULL) {
        return 0; // a field of the batch, which is there
    }
    count = count_entries(ledger, batch_id, amendment->entry, fault);
    if (count < 0) {
        return -1;
    }
    if (amendment->number < 1 || (int64_t)amendment->number > count) {
        return fault_set(fault, EX_DATAERR, "%s: batch %lld has %lld entries of that kind: there is no %s %zu",
                         ledger->path, (long long)batch_id, (long long)count, entry_names[amendment->entry],
                         amendment->number);
    }
    books = books_read(ledger, batch_id, fault);
    if (books == NULL) {
        return -1;
    }
    withdrawn = books_is_withdrawn(books, amendment->entry, amendment->number);
    books_free(books);
    if (withdrawn) {
        return fault_set(fault, EX_DATAERR, "%s: %s %zu of batch %lld is withdrawn already: enter it anew",
                         ledger->path, entry_names[amendment->entry], amendment->number, (long long)batch_id);
    }
    return 0;
}

static int put_amendment(struct ledger *ledger, int64_t batch_id, const struct books_amendment *amendment,
                         struct fault *fault) {
    static const char sql[] = "INSERT INTO amendment (batch_id, entry, number, withdraws, value, words, reason,"
                              " said_by, said_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)";
    struct query query;

    if (ledger_require(ledger, STATEMENT_HAS_BATCH, batch_id, "batch", fault) != 0 ||
        check_entry(ledger, batch_id, amendment, fault) != 0) {
        return -1;
    }
    query_open_sql(&query, ledger, sql, "store an amendment", fault);
    query_put_int(&query, batch_id);
    query_put_int(&query, amendment->entry);
    query_put_int(&query, (int64_t)amendment->number);
    query_put_int(&query, amendment->withdraws ? 1 : 0);
    if (amendment->has_value) {
        query_put_int(&query, amendment->value);
    } else {
        query_put_null(&query);
    }
    query_put_text(&query, amendment->words);
    query_put_text(&query, amendment->reason);
    query_put_text(&query, amendment->said_by);
    query_put_int(&query, amendment->said_ms);
    return query_run(&query);
}

int64_t books_add_amendment(struct ledger *ledger, int64_t batch_id, const struct books_amendment *amendment,
                            struct fault *fault) {
    bool own;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    return ledger_leave(ledger, own, put_amendment(ledger, batch_id, amendment, fault), fault);
}

/* ---- reading ---- */

static int read_dispositions(struct ledger *ledger, int64_t batch_id, struct books *books, struct fault *fault) {
    static const char sql[] = "SELECT decision, said_ms, said_by, reason FROM disposition WHERE batch_id = ?"
                              " ORDER BY disposition_id";
    struct list list;
    struct query query;

    list_query_sql(&list, &query, sizeof(struct books_disposition), ledger, sql, "list dispositions", fault);
    query_put_int(&query, batch_id);
    for (struct books_disposition *item; (item = list_step(&list, &query)) != NULL;) {
        item->decision = (enum books_decision)query_get_int(&query, 0, BOOKS_ACCEPT, BOOKS_DECISION_COUNT - 1);
        item->said_ms = query_get_int(&query, 1, INT64_MIN, INT64_MAX);
        item->said_by = query_get_text(&query, 2);
        item->reason = query_get_text(&query, 3);
    }
    books->dispositions = list.items;
    books->disposition_count = list.items == NULL ? 0 : list.count;
    return query.failed ? -1 : 0;
}

static int read_hardness(struct ledger *ledger, int64_t batch_id, struct books *books, struct fault *fault) {
    static const char sql[] =
        "SELECT scale, value, uncertainty, piece, position, instrument, measured_by, measured_ms,"
        " said_ms FROM hardness WHERE batch_id = ? ORDER BY hardness_id";
    struct list list;
    struct query query;

    list_query_sql(&list, &query, sizeof(struct books_hardness), ledger, sql, "list hardness readings", fault);
    query_put_int(&query, batch_id);
    for (struct books_hardness *item; (item = list_step(&list, &query)) != NULL;) {
        item->scale = query_get_text(&query, 0);
        item->value = item->counts = query_get_int(&query, 1, 1, INT32_MAX);
        item->uncertainty = query_get_int(&query, 2, 0, INT32_MAX);
        item->piece = query_get_text(&query, 3);
        item->position = query_get_text(&query, 4);
        item->instrument = query_get_text(&query, 5);
        item->measured_by = query_get_text(&query, 6);
        item->measured_ms = query_get_int(&query, 7, INT64_MIN, INT64_MAX);
        item->said_ms = query_get_int(&query, 8, INT64_MIN, INT64_MAX);
    }
    books->hardness = list.items;
    books->hardness_count = list.items == NULL ? 0 : list.count;
    return query.failed ? -1 : 0;
}

static int read_amendments(struct ledger *ledger, int64_t batch_id, struct books *books, struct fault *fault) {
    static const char sql[] =
        "SELECT entry, number, withdraws, value, words, reason, said_by, said_ms FROM amendment"
        " WHERE batch_id = ? ORDER BY amendment_id";
    struct list list;
    struct query query;

    list_query_sql(&list, &query, sizeof(struct books_amendment), ledger, sql, "list amendments", fault);
    query_put_int(&query, batch_id);
    for (struct books_amendment *item; (item = list_step(&list, &query)) != NULL;) {
        item->entry = (enum books_entry)query_get_int(&query, 0, BOOKS_CHARGE, BOOKS_ENTRY_COUNT - 1);
        item->number = (size_t)query_get_int(&query, 1, 0, INT32_MAX);
        item->withdraws = query_get_int(&query, 2, 0, 1) == 1;
        item->has_value = !query_is_null(&query, 3);
        item->value = query_get_int_or_null(&query, 3, 1, INT32_MAX);
        item->words = query_get_text(&query, 4);
        item->reason = query_get_text(&query, 5);
        item->said_by = query_get_text(&query, 6);
        item->said_ms = query_get_int(&query, 7, INT64_MIN, INT64_MAX);
    }
    books->amendments = list.items;
    books->amendment_count = list.items == NULL ? 0 : list.count;
    return query.failed ? -1 : 0;
}

static void apply(struct books *books, const struct books_amendment *amendment) {
    const size_t at = amendment->number - 1; // of no field of the batch

    if (amendment->entry == BOOKS_DISPOSITION && at < books->disposition_count) {
        books->dispositions[at].withdrawn = books->dispositions[at].withdrawn || amendment->withdraws;
    }
    if (amendment->entry == BOOKS_HARDNESS && at < books->hardness_count) {
        struct books_hardness *const hardness = &books->hardness[at];

        hardness->withdrawn = hardness->withdrawn || amendment->withdraws;
        hardness->amended = hardness->amended || amendment->has_value;
        hardness->counts = amendment->has_value ? amendment->value : hardness->counts;
    }
}

void books_apply(struct books *books) {
    for (size_t i = 0; i < books->amendment_count; i++) {
        apply(books, &books->amendments[i]);
    }
}

struct books *books_read(struct ledger *ledger, int64_t batch_id, struct fault *fault) {
    struct books *const books = calloc(1, sizeof *books);

    if (books == NULL) {
        fault_set(fault, EX_OSERR, "out of memory");
        return NULL;
    }
    if (read_dispositions(ledger, batch_id, books, fault) != 0 ||
        read_hardness(ledger, batch_id, books, fault) != 0 ||
        read_amendments(ledger, batch_id, books, fault) != 0) {
        books_free(books);
        return NULL;
    }
    books_apply(books);
    return books;
}

void books_free(struct books *books) {
    if (books == NULL) {
        return;
    }
    for (size_t i = 0; i < books->disposition_count; i++) {
        free(books->dispositions[i].said_by);
        free(books->dispositions[i].reason);
    }
    for (size_t i = 0; i < books->hardness_count; i++) {
        free(books->hardness[i].scale);
        free(books->hardness[i].piece);
        free(books->hardness[i].position);
        free(books->hardness[i].instrument);
        free(books->hardness[i].measured_by);
    }
    for (size_t i = 0; i < books->amendment_count; i++) {
        free(books->amendments[i].words);
        free(books->amendments[i].reason);
        free(books->amendments[i].said_by);
    }
    free(books->dispositions);
    free(books->hardness);
    free(books->amendments);
    free(books);
}

const struct books_disposition *books_find_disposition(const struct books *books) {
    for (size_t i = books->disposition_count; i-- > 0;) {
        if (!books->dispositions[i].withdrawn) {
            return &books->dispositions[i];
        }
    }
    return NULL;
}

bool books_is_withdrawn(const struct books *books, enum books_entry entry, size_t number) {
    const struct books_amendment *const amendment = books_find_amendment(books, entry, number);

    return amendment != NULL && amendment->withdraws; // nothing follows a withdrawal
}

const struct books_amendment *books_find_amendment(const struct books *books, enum books_entry entry,
                                                   size_t number) {
    for (size_t i = books->amendment_count; i-- > 0;) {
        if (books->amendments[i].entry == entry && books->amendments[i].number == number) {
            return &books->amendments[i];
        }
    }
    return NULL;
}
