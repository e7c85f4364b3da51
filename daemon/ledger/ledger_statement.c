// SPDX-License-Identifier: MIT
/* Every statement the ledger uses, and one use of it: parameters in, rows out, one clear line when it fails.
 *
 * What comes out of the file is checked, not believed: a file may be damaged, or made by somebody who means
 * harm. The programs then say what is wrong with it and where, and go no further.
 */
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "ledger_private.h"

#define RUN_COLUMNS "r.run_id, r.oven_id, r.begun_ms, r.ended_ms, r.end_reason, k.batch_id, k.visit"
/* Until its run is given back, or claimed for the same batch again, or it is withdrawn: see schema_claim.c. */
#define CLAIM_HOLDS                                                                                                \
    "k.batch_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM claim n WHERE n.run_id = k.run_id AND n.claim_id >"      \
    " k.claim_id AND (n.batch_id IS NULL OR n.batch_id = k.batch_id)) AND NOT EXISTS (SELECT 1 FROM withdrawal w"  \
    " WHERE w.claim_id = k.claim_id)"
#define RUN_AND_CLAIM                                                                                              \
    "FROM run r LEFT JOIN claim k ON k.claim_id = (SELECT min(k.claim_id) FROM claim k WHERE k.run_id = r.run_id"  \
    " AND " CLAIM_HOLDS ") "
#define FITTING_VALUES                                                                                             \
    "role, interval_ms, heats_at_most_mc_per_h, uncertainty_mc, instrument, wire, read_function, first_register, " \
    "encoding,"                                                                                                    \
    " word_order, query, field, separator, pattern, decimals, unit, low, high, open_1, open_2, open_3, open_4,"    \
    " over_1, over_2, over_3, over_4, under_1, under_2, under_3, under_4, frozen_after_ms,"                        \
    " moves_at_most_mc_per_h, sensor_identity, sensor_type, sensor_tolerance, sensor_fitted_ms,"                   \
    " cold_channel, cold_fixed_mc, instrument_name, instrument_accuracy_mc"
#define FITTING_PARAMETERS                                                                                         \
    "?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23, ?24,"   \
    " ?25, ?26, ?27, ?28, ?29, ?30, ?31, ?32, ?33, ?34, ?35, ?36, ?37, ?38, ?39, ?40, ?41"

static const char *const statement_sql[STATEMENT_COUNT] = {
    [STATEMENT_BEGIN] = "BEGIN IMMEDIATE",
    [STATEMENT_COMMIT] = "COMMIT",
    [STATEMENT_ROLL_BACK] = "ROLLBACK",
    [STATEMENT_DATA_VERSION] = "PRAGMA data_version",
    [STATEMENT_LAST_SESSION] = "SELECT session_id, started_ms, wall_ms, boottime_ms, boot_id, simulated"
                               " FROM session ORDER BY session_id DESC LIMIT 1",
    [STATEMENT_LAST_TIME] =
        "SELECT max(coalesce((SELECT max(t_ms) FROM event), 0), coalesce((SELECT max((SELECT max(t_ms)"
        " FROM reading r WHERE r.channel_id = c.channel_id)) FROM channel c), 0))",
    /* A session lasts until the next one begins. */
    [STATEMENT_WAS_SIMULATED] =
        "SELECT EXISTS (SELECT 1 FROM session s WHERE simulated = 1 AND started_ms <= ?2 AND coalesce((SELECT"
        " n.started_ms FROM session n WHERE n.session_id > s.session_id ORDER BY n.session_id LIMIT 1) > ?1, 1))",
    [STATEMENT_ADD_SESSION] = "INSERT INTO session (started_ms, wall_ms, boottime_ms, boot_id, simulated,"
                              " configuration_sha256) VALUES (?, ?, ?, ?, ?, ?)",
    [STATEMENT_ADD_DOCUMENT] = "INSERT INTO document (sha256, body) VALUES (?, ?)",
    [STATEMENT_HAS_DOCUMENT] = "SELECT 1 FROM document WHERE sha256 = ?",
    [STATEMENT_FIND_OVEN] = "SELECT oven_id FROM oven WHERE name = ?",
    [STATEMENT_ADD_OVEN] = "INSERT INTO oven (name) VALUES (?)",
    [STATEMENT_OVEN_NAME] = "SELECT name FROM oven WHERE oven_id = ?",
    [STATEMENT_FIND_CHANNEL] = "SELECT channel_id FROM channel WHERE oven_id = ? AND name = ?",
    [STATEMENT_ADD_CHANNEL] = "INSERT INTO channel (oven_id, name) VALUES (?, ?)",
    [STATEMENT_SAME_FITTING] =
        "SELECT fitting_id FROM fitting WHERE fitting_id = (SELECT max(fitting_id) FROM fitting WHERE channel_id ="
        " ?1) AND (" FITTING_VALUES ") IS (" FITTING_PARAMETERS ")",
    [STATEMENT_ADD_FITTING] = "INSERT INTO fitting (channel_id, " FITTING_VALUES ", since_ms) VALUES"
                              " (?1, " FITTING_PARAMETERS ", ?42)",
    [STATEMENT_USE_FITTING] = "INSERT INTO session_fitting (session_id, fitting_id) VALUES (?, ?)",
    [STATEMENT_LIST_CHANNELS] =
        "SELECT c.channel_id, c.oven_id, c.name, f.since_ms, " FITTING_VALUES
        " FROM session_fitting u JOIN fitting f"
        " USING (fitting_id) JOIN channel c USING (channel_id) WHERE c.oven_id = ?1 AND u.session_id = (SELECT"
        " session_id FROM session WHERE started_ms <= ?2 ORDER BY started_ms DESC, session_id DESC LIMIT 1)"
        " ORDER BY c.channel_id",
    [STATEMENT_ADD_READING] = "INSERT INTO reading (channel_id, t_ms, value, quality) VALUES (?, ?, ?, ?)"
                              " ON CONFLICT (channel_id, t_ms) DO NOTHING",
    [STATEMENT_ADD_VOLTAGE] = "INSERT INTO reading_emf (channel_id, t_ms, emf_nv, cold_mc) VALUES (?, ?, ?, ?)"
                              " ON CONFLICT (channel_id, t_ms) DO NOTHING",
    [STATEMENT_IMPORT_READING] = "INSERT INTO imported_reading (import_id, channel_id, t_ms, value, quality)"
                                 " VALUES (?, ?, ?, ?, ?)",
    [STATEMENT_THIN_READING] = "DELETE FROM reading WHERE channel_id = ?1 AND t_ms = ?2 AND NOT EXISTS (SELECT 1"
                               " FROM reading_emf WHERE channel_id = ?1 AND t_ms = ?2)",
    [STATEMENT_ADD_EVENT] = "INSERT INTO event (t_ms, kind, amount, detail) VALUES (?, ?, ?, ?)",
    [STATEMENT_LIST_EVENTS] = "SELECT t_ms, kind, amount, detail FROM event WHERE t_ms BETWEEN ? AND ?"
                              " ORDER BY t_ms, event_id",
    [STATEMENT_OPEN_RUN] = "INSERT INTO run (oven_id, begun_ms, end_reason) VALUES (?, ?, 0)",
    [STATEMENT_END_RUN] = "UPDATE run SET ended_ms = ?2, end_reason = ?3 WHERE run_id = ?1",
    [STATEMENT_READ_RUN] = "SELECT " RUN_COLUMNS " " RUN_AND_CLAIM "WHERE r.run_id = ?",
    [STATEMENT_FIND_OPEN_RUN] =
        "SELECT " RUN_COLUMNS " " RUN_AND_CLAIM "WHERE r.oven_id = ? AND r.ended_ms IS NULL",
    [STATEMENT_LIST_RUNS] = "SELECT " RUN_COLUMNS " " RUN_AND_CLAIM "WHERE r.begun_ms BETWEEN ? AND ?"
                            " ORDER BY r.begun_ms, r.run_id",
    [STATEMENT_OPEN_BATCH] = "INSERT INTO batch (opened_ms, oven_id, charge, customer, order_reference,"
                             " operator_name, note, plan_name, plan_sha256) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
    [STATEMENT_CLOSE_BATCH] = "UPDATE batch SET closed_ms = ?2 WHERE batch_id = ?1",
    [STATEMENT_READ_BATCH] =
        "SELECT b.batch_id, b.opened_ms, b.closed_ms, b.oven_id, b.charge, b.customer, b.order_reference,"
        " b.operator_name, b.note, b.plan_name, b.plan_sha256, d.body AS plan FROM batch b LEFT JOIN document d"
        " ON d.sha256 = b.plan_sha256 WHERE b.batch_id = ?",
    [STATEMENT_LIST_BATCHES] = "SELECT batch_id FROM batch WHERE ?1 = 0 OR closed_ms IS NULL ORDER BY batch_id",
    [STATEMENT_HAS_BATCH] = "SELECT 1 FROM batch WHERE batch_id = ?",
    [STATEMENT_CLAIM_RUN] = "INSERT INTO claim (run_id, batch_id, visit, t_ms, claimed_by) VALUES (?, ?, ?, ?, ?)",
    [STATEMENT_LIST_CLAIMED] =
        "SELECT " RUN_COLUMNS " FROM claim k JOIN run r USING (run_id) WHERE k.batch_id = ? AND " CLAIM_HOLDS
        " ORDER BY k.visit, r.begun_ms, r.run_id",
    [STATEMENT_LIST_CLAIMS] =
        "SELECT k.claim_id, k.batch_id, k.visit FROM claim k WHERE k.run_id = ? AND " CLAIM_HOLDS
        " ORDER BY k.claim_id",
    [STATEMENT_HAD_RUN] = "SELECT EXISTS (SELECT 1 FROM claim WHERE run_id = ? AND batch_id = ?)",
    [STATEMENT_WITHDRAW] = "INSERT INTO withdrawal (claim_id, t_ms, withdrawn_by) VALUES (?, ?, ?)",
    [STATEMENT_OPEN_JUDGEMENT] = "INSERT INTO judgement (run_id, batch_id, visit, t_ms) VALUES (?, ?, ?, ?)",
    [STATEMENT_FIND_JUDGEMENT] = "SELECT judgement_id, complete FROM judgement WHERE run_id = ? AND batch_id = ?"
                                 " AND visit = ? ORDER BY judgement_id DESC LIMIT 1",
    [STATEMENT_COMPLETE_JUDGEMENT] = "UPDATE judgement SET complete = 1 WHERE judgement_id = ?",
    [STATEMENT_HAS_JUDGEMENT] = "SELECT 1 FROM judgement WHERE judgement_id = ?",
    [STATEMENT_ADD_FINDING] = "INSERT INTO finding (judgement_id, t_ms, kind, operation, channel_id, value,"
                              " held_against) VALUES (?, ?, ?, ?, ?, ?, ?)",
    [STATEMENT_ADD_VERDICT] =
        "INSERT INTO verdict (judgement_id, place, operation, requirement, outcome, reason, required, found,"
        " possible, margin, t_ms, channel_id, uncertainty) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    [STATEMENT_LIST_FINDINGS] = "SELECT t_ms, kind, operation, channel_id, value, held_against FROM finding"
                                " WHERE judgement_id = ? ORDER BY finding_id",
    [STATEMENT_LIST_VERDICTS] = "SELECT operation, requirement, outcome, reason, required, found, possible, margin,"
                                " t_ms, channel_id, uncertainty FROM verdict WHERE judgement_id = ? ORDER BY place",
    [STATEMENT_ADD_ATTESTATION] =
        "INSERT INTO attestation (batch_id, visit, t_ms, said_ms, said_by, words) VALUES (?, ?, ?, ?, ?, ?)",
    [STATEMENT_LIST_ATTESTATIONS] =
        "SELECT visit, t_ms, said_ms, said_by, words FROM attestation WHERE batch_id = ?"
        " ORDER BY attestation_id",
    [STATEMENT_ADD_CERTIFICATE] =
        "INSERT INTO certificate (batch_id, revision, issued_ms, sha256) VALUES (?, ?, ?, ?)",
    [STATEMENT_COUNT_CERTIFICATES] = "SELECT count(*) FROM certificate WHERE batch_id = ?",
    [STATEMENT_NEXT_CERTIFICATE] = "SELECT coalesce(max(certificate_id), 0) + 1 FROM certificate",
};

static int status_of(int code) {
    switch (code & 0xFF) { // the low byte is the primary result code (sqlite.org/rescode.html)
    case SQLITE_IOERR:
    case SQLITE_FULL:
    case SQLITE_CANTOPEN: return EX_IOERR;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
    case SQLITE_CONSTRAINT:
    case SQLITE_MISMATCH:
    case SQLITE_TOOBIG:
    case SQLITE_ERROR: return EX_DATAERR; // a statement of ours that does not fit the file's tables
    case SQLITE_BUSY:
    case SQLITE_LOCKED: return EX_TEMPFAIL;
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH: return EX_NOPERM;
    case SQLITE_NOMEM: return EX_OSERR;
    default: return EX_SOFTWARE;
    }
}

int ledger_fail(struct ledger *ledger, const char *doing, struct fault *fault) {
    const int code = sqlite3_extended_errcode(ledger->db);

    ledger->damaged |= (code & 0xFF) == SQLITE_CORRUPT || (code & 0xFF) == SQLITE_NOTADB;
    if ((code & 0xFF) == SQLITE_BUSY) {
        fault_set(fault, EX_TEMPFAIL, "%s: cannot %s: another program kept it locked for %d s", ledger->path, doing,
                  LEDGER_BUSY_MS / 1000);
    } else if ((code & 0xFF) == SQLITE_INTERRUPT) { // by ledger_bounds.c: nothing else interrupts
        ledger->damaged = true;
        fault_set(fault, EX_DATAERR, "%s: cannot %s: a damaged ledger: no file of its size takes so many steps",
                  ledger->path, doing);
    } else {
        fault_set(fault, status_of(code), "%s: cannot %s: %s", ledger->path, doing, sqlite3_errmsg(ledger->db));
    }
    for (char *c = fault->text; *c != '\0'; c++) { // names in a foreign file can hold anything
        *c = iscntrl((unsigned char)*c) ? ' ' : *c;
    }
    return -1;
}

int ledger_fail_damaged(struct ledger *ledger, const char *doing, const char *column, struct fault *fault) {
    ledger->damaged = true;
    return fault_set(fault, EX_DATAERR, "%s: cannot %s: %s does not hold what belongs there: the file is damaged",
                     ledger->path, doing, column);
}

static void out_of_memory(struct query *query) {
    fault_set(query->fault, EX_OSERR, "%s: cannot %s: out of memory", query->ledger->path, query->doing);
    query->failed = true;
}

void query_open(struct query *query, struct ledger *ledger, enum statement which, const char *doing,
                struct fault *fault) {
    sqlite3_stmt **const statement = &ledger->statements[which];

    ledger->steps = ledger->copied = 0;
    *query = (struct query){.ledger = ledger, .doing = doing, .fault = fault, .next = 1};
    if (*statement == NULL && sqlite3_prepare_v3(ledger->db, statement_sql[which], -1, SQLITE_PREPARE_PERSISTENT,
                                                 statement, NULL) != SQLITE_OK) {
        ledger_fail(ledger, doing, fault);
        query->failed = true;
        return;
    }
    query->statement = *statement;
    sqlite3_reset(query->statement); // a list given up half-way by a fault may have left it standing
}

void query_open_sql(struct query *query, struct ledger *ledger, const char *sql, const char *doing,
                    struct fault *fault) {
    ledger->steps = ledger->copied = 0;
    *query = (struct query){.ledger = ledger, .doing = doing, .fault = fault, .next = 1, .own_statement = true};
    if (sqlite3_prepare_v2(ledger->db, sql, -1, &query->statement, NULL) != SQLITE_OK) {
        ledger_fail(ledger, doing, fault);
        query->failed = true;
    }
}

static void note_put(struct query *query, int code) {
    if (code != SQLITE_OK) {
        ledger_fail(query->ledger, query->doing, query->fault);
        query->failed = true;
    }
}

void query_put_int(struct query *query, int64_t value) {
    if (!query->failed) {
        note_put(query, sqlite3_bind_int64(query->statement, query->next++, value));
    }
}

void query_put_null(struct query *query) {
    if (!query->failed) {
        note_put(query, sqlite3_bind_null(query->statement, query->next++));
    }
}

void query_put_int_or_null(struct query *query, int64_t value) {
    if (value == 0) {
        query_put_null(query);
    } else {
        query_put_int(query, value);
    }
}

void query_put_text(struct query *query, const char *text) {
    query_put_bytes(query, text, text == NULL ? 0 : strlen(text));
}

void query_put_bytes(struct query *query, const char *text, size_t length) {
    if (!query->failed) {
        note_put(query, sqlite3_bind_text64(query->statement, query->next++, text == NULL ? "" : text, length,
                                            SQLITE_STATIC, SQLITE_UTF8));
    }
}

int query_step(struct query *query) {
    int code;

    if (query->failed) {
        query_close(query);
        return -1;
    }
    code = sqlite3_step(query->statement);
    if (code == SQLITE_ROW) {
        return 1;
    }
    if (code != SQLITE_DONE) {
        ledger_fail(query->ledger, query->doing, query->fault);
        query->failed = true;
    }
    query_close(query);
    return query->failed ? -1 : 0;
}

static int run_once(struct query *query) {
    const int got = query_step(query);

    query->added = sqlite3_last_insert_rowid(query->ledger->db);
    query_close(query);
    return got < 0 ? -1 : 0;
}

/* A row that is written on its own, outside of any transaction: the command's have to be sealed with it. */
static bool wants_transaction(const struct query *query) {
    const struct ledger *const ledger = query->ledger;

    return ledger->mode == LEDGER_BOOKKEEP && !query->failed && sqlite3_get_autocommit(ledger->db) != 0 &&
           query->statement != ledger->statements[STATEMENT_BEGIN] && !sqlite3_stmt_readonly(query->statement);
}

int query_run(struct query *query) {
    bool own;
    int result;

    if (!wants_transaction(query)) {
        return run_once(query);
    }
    if (ledger_enter(query->ledger, &own, query->fault) != 0) {
        query->failed = true;
        query_close(query);
        return -1;
    }
    result = ledger_leave(query->ledger, own, run_once(query), query->fault);
    query->failed = result != 0;
    return result;
}

int64_t query_add(struct query *query) {
    return query_run(query) == 0 ? query->added : -1;
}

void query_close(struct query *query) {
    if (query->own_statement) {
        sqlite3_finalize(query->statement);
        query->statement = NULL;
    } else if (query->statement != NULL) {
        sqlite3_reset(query->statement);
    }
}

static void damaged(struct query *query, int column) {
    ledger_fail_damaged(query->ledger, query->doing, sqlite3_column_name(query->statement, column), query->fault);
    query->failed = true;
}

int64_t query_get_int(struct query *query, int column, int64_t least, int64_t most) {
    int64_t value = 0;

    if (query->failed) {
        return least;
    }
    value = sqlite3_column_int64(query->statement, column);
    if (sqlite3_column_type(query->statement, column) != SQLITE_INTEGER || value < least || value > most) {
        damaged(query, column);
        return least;
    }
    return value;
}

bool query_is_null(const struct query *query, int column) {
    return query->failed || sqlite3_column_type(query->statement, column) == SQLITE_NULL;
}

int64_t query_get_int_or_null(struct query *query, int column, int64_t least, int64_t most) {
    return query_is_null(query, column) ? 0 : query_get_int(query, column, least, most);
}

char *query_get_bytes(struct query *query, int column, size_t *length) {
    const unsigned char *text;
    char *copy;

    *length = 0;
    if (query->failed) {
        return NULL;
    }
    if (sqlite3_column_type(query->statement, column) != SQLITE_TEXT) {
        damaged(query, column);
        return NULL;
    }
    text = sqlite3_column_text(query->statement, column);
    *length = (size_t)sqlite3_column_bytes(query->statement, column);
    if (!ledger_may_copy(query->ledger, *length)) {
        damaged(query, column);
        return NULL;
    }
    copy = text == NULL ? NULL : malloc(*length + 1);
    if (copy == NULL) {
        out_of_memory(query);
        return NULL;
    }
    memcpy(copy, text, *length);
    copy[*length] = '\0';
    return copy;
}

char *query_get_text(struct query *query, int column) {
    size_t length;
    char *const text = query_get_bytes(query, column, &length);

    if (text != NULL && strlen(text) != length) { // a name cannot hold a NUL
        damaged(query, column);
        free(text);
        return NULL;
    }
    return text;
}

void query_get_text_into(struct query *query, int column, char *out, size_t size) {
    char *const text = query_get_text(query, column);

    out[0] = '\0';
    if (text == NULL) {
        return;
    }
    if (strlen(text) < size) {
        memcpy(out, text, strlen(text) + 1);
    } else {
        damaged(query, column);
    }
    free(text);
}

int ledger_require(struct ledger *ledger, enum statement which, int64_t id, const char *what, struct fault *fault) {
    struct query query;
    int got;

    query_open(&query, ledger, which, "look something up", fault);
    query_put_int(&query, id);
    got = query_step(&query);
    query_close(&query);
    if (got == 0) {
        return fault_set(fault, EX_NOINPUT, "%s: there is no %s %lld", ledger->path, what, (long long)id);
    }
    return got < 0 ? -1 : 0;
}

static void list_begin(struct list *list, struct query *query, size_t item_size) {
    enum { FIRST_CAPACITY = 16 };

    *list = (struct list){.capacity = FIRST_CAPACITY, .item_size = item_size};
    list->items = calloc(FIRST_CAPACITY, item_size);
    if (list->items == NULL && !query->failed) {
        out_of_memory(query);
    }
}

void list_query(struct list *list, struct query *query, size_t item_size, struct ledger *ledger,
                enum statement which, const char *doing, struct fault *fault) {
    query_open(query, ledger, which, doing, fault);
    list_begin(list, query, item_size);
}

void list_query_sql(struct list *list, struct query *query, size_t item_size, struct ledger *ledger,
                    const char *sql, const char *doing, struct fault *fault) {
    query_open_sql(query, ledger, sql, doing, fault);
    list_begin(list, query, item_size);
}

void *list_step(struct list *list, struct query *query) {
    char *item;

    if (query_step(query) != 1) {
        return NULL;
    }
    if (list->count == list->capacity) {
        void *items;

        if (!ledger_may_hold_rows(query->ledger, list->count)) {
            damaged(query, 0);
            query_close(query);
            return NULL;
        }
        items = reallocarray(list->items, list->capacity, 2 * list->item_size);

        if (items == NULL) {
            out_of_memory(query);
            query_close(query);
            return NULL;
        }
        list->items = items;
        list->capacity *= 2;
    }
    item = (char *)list->items + list->count * list->item_size;
    memset(item, 0, list->item_size);
    list->count++;
    return item;
}

void *list_close(struct list *list, const struct query *query, size_t *count) {
    *count = 0;
    if (query->failed) {
        free(list->items);
        return NULL;
    }
    *count = list->count;
    return list->items;
}
