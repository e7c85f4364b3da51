// SPDX-License-Identifier: MIT
/* What the files of the ledger share: the open file, its statements, and how a row is put in and taken out. */
#ifndef SOAKLEDGER_LEDGER_PRIVATE_H
#define SOAKLEDGER_LEDGER_PRIVATE_H

#include <sqlite3.h>

#include "soakledger/ledger.h"

/* "SoLg": what file(1) and we tell a ledger by (bytes 68..71 of the file, see SQLite's file format). */
enum { LEDGER_APPLICATION_ID = 0x536F4C67, LEDGER_BUSY_MS = 5000 };

enum statement {
    STATEMENT_BEGIN,
    STATEMENT_COMMIT,
    STATEMENT_ROLL_BACK,
    STATEMENT_DATA_VERSION,
    STATEMENT_LAST_SESSION,
    STATEMENT_LAST_TIME,
    STATEMENT_WAS_SIMULATED,
    STATEMENT_ADD_SESSION,
    STATEMENT_ADD_DOCUMENT,
    STATEMENT_HAS_DOCUMENT,
    STATEMENT_FIND_OVEN,
    STATEMENT_ADD_OVEN,
    STATEMENT_OVEN_NAME,
    STATEMENT_FIND_CHANNEL,
    STATEMENT_ADD_CHANNEL,
    STATEMENT_SAME_FITTING,
    STATEMENT_ADD_FITTING,
    STATEMENT_USE_FITTING,
    STATEMENT_LIST_CHANNELS,
    STATEMENT_ADD_READING,
    STATEMENT_IMPORT_READING,
    STATEMENT_THIN_READING,
    STATEMENT_ADD_VOLTAGE,
    STATEMENT_ADD_EVENT,
    STATEMENT_LIST_EVENTS,
    STATEMENT_OPEN_RUN,
    STATEMENT_END_RUN,
    STATEMENT_READ_RUN,
    STATEMENT_FIND_OPEN_RUN,
    STATEMENT_LIST_RUNS,
    STATEMENT_OPEN_BATCH,
    STATEMENT_CLOSE_BATCH,
    STATEMENT_READ_BATCH,
    STATEMENT_LIST_BATCHES,
    STATEMENT_HAS_BATCH,
    STATEMENT_CLAIM_RUN,
    STATEMENT_LIST_CLAIMED,
    STATEMENT_LIST_CLAIMS,
    STATEMENT_HAD_RUN,
    STATEMENT_WITHDRAW,
    STATEMENT_OPEN_JUDGEMENT,
    STATEMENT_FIND_JUDGEMENT,
    STATEMENT_COMPLETE_JUDGEMENT,
    STATEMENT_HAS_JUDGEMENT,
    STATEMENT_ADD_FINDING,
    STATEMENT_ADD_VERDICT,
    STATEMENT_LIST_FINDINGS,
    STATEMENT_LIST_VERDICTS,
    STATEMENT_ADD_ATTESTATION,
    STATEMENT_LIST_ATTESTATIONS,
    STATEMENT_ADD_CERTIFICATE,
    STATEMENT_COUNT_CERTIFICATES,
    STATEMENT_NEXT_CERTIFICATE,
    STATEMENT_COUNT
};

struct caller;

struct ledger {
    sqlite3 *db;
    char *path;
    int lock_fd; // held while recording, else -1
    enum ledger_mode mode;
    bool damaged;                  // found so at any time since it was opened
    bool had_lock;                 // a recorder was at this file before
    char *kept;                    // where the damaged file is that was here before; NULL: there was none
    char damage[FAULT_TEXT_BYTES]; // what was found in it
    int64_t steps, copied;         // by the statement that was begun last
    int64_t now_ms;                // what seals on the books say they were made at; 0: not known
    struct caller *caller;         // NULL: whoever has it open keeps books by himself
    sqlite3_stmt *statements[STATEMENT_COUNT]; // prepared at first use
};

/* ---- who called: caller.h ---- */

void ledger_forget_caller(struct ledger *ledger);
/* As a transaction begins, and as it is about to be committed. */
void ledger_listen_to_caller(struct ledger *ledger);
int ledger_write_caller(struct ledger *ledger, struct fault *fault);

/* ---- schema ---- */

/* That the file is empty, or a ledger that this program can bring up to date, and of its form. Changes nothing. */
int ledger_check_climbable(struct ledger *ledger, struct fault *fault);
/* Brings such a file up to LEDGER_SCHEMA_VERSION, in one transaction. */
int ledger_migrate(struct ledger *ledger, struct fault *fault);
/* Runs the rungs from version `from` up to `to`. 0, or -1: the database says why. */
int ledger_climb(sqlite3 *db, int64_t from, int64_t to);
/* An empty ledger of that version in memory, which the caller closes. NULL with a fault. */
sqlite3 *ledger_make_model(const struct ledger *ledger, int64_t version, struct fault *fault);
/* A digest of all tables, indexes and triggers. 0, or -1: the database says why. */
int ledger_digest_form(sqlite3 *db, char sha256[LEDGER_SHA256_TEXT_BYTES]);
/* Is that the digest of a ledger of that version as this program makes it? */
bool ledger_is_usual_form(int64_t version, const char *sha256);
/* That the file's tables are this program's of that version, letter by letter; where it is written to, also that
 * nothing else runs as it is. */
int ledger_check_form(struct ledger *ledger, int64_t version, struct fault *fault);
/* That the file is a ledger of this version, and that its tables are this program's. */
int ledger_check_schema(struct ledger *ledger, struct fault *fault);
/* Looks for damage, within about a second: the whole of a small file, all but the readings of a large one. */
int ledger_check_sound(struct ledger *ledger, struct fault *fault);

/* Opens the file, or makes one, for a recorder that holds the lock and has no file open. */
int ledger_reopen(struct ledger *ledger, struct fault *fault);

/* ---- bounds: what a file may ask for, see ledger_bounds.c ---- */

/* Before anything is read from it. */
void ledger_set_bounds(struct ledger *ledger);
/* Can that many rows be in a file of its size? */
bool ledger_may_hold_rows(const struct ledger *ledger, size_t count);
/* Can a statement need that many more bytes from a file of its size? */
bool ledger_may_copy(struct ledger *ledger, size_t length);

/* ---- one use of a statement ----
 *
 * Give parameters in order with query_put_*, then query_run, or query_step until it returns 0. The first thing that
 * fails fills in the fault, and everything after it does nothing, so that only the end needs a check. `doing`
 * completes the sentence "cannot ...". */
struct query {
    struct ledger *ledger;
    sqlite3_stmt *statement;
    const char *doing;
    struct fault *fault;
    int next; // parameter
    bool failed;
    bool own_statement; // finalized when the query is closed
    int64_t added;      // id of the row that query_run added
};

void query_open(struct query *query, struct ledger *ledger, enum statement which, const char *doing,
                struct fault *fault);
/* The same with a statement of the module's own, prepared for this one use: for what is not done many times. */
void query_open_sql(struct query *query, struct ledger *ledger, const char *sql, const char *doing,
                    struct fault *fault);
void query_put_int(struct query *query, int64_t value);
void query_put_int_or_null(struct query *query, int64_t value); // 0 is stored as NULL
void query_put_null(struct query *query);
void query_put_text(struct query *query, const char *text); // not copied; NULL counts as ""
void query_put_bytes(struct query *query, const char *text, size_t length);

int query_run(struct query *query);     // 0, or -1; for statements that give no row
int64_t query_add(struct query *query); // the same for an INSERT: the new row's id, or -1
int query_step(struct query *query);    // 1 with a row; 0 or -1 and the query is closed
void query_close(struct query *query);

/* A column of the row. What is not as this program writes it is a fault (EX_DATAERR): a file may be damaged, or
 * made by someone else. */
int64_t query_get_int(struct query *query, int column, int64_t least, int64_t most);
int64_t query_get_int_or_null(struct query *query, int column, int64_t least, int64_t most); // NULL gives 0
bool query_is_null(const struct query *query, int column);
char *query_get_text(struct query *query, int column); // caller frees; NULL on a fault
char *query_get_bytes(struct query *query, int column, size_t *length);
void query_get_text_into(struct query *query, int column, char *out, size_t size);

/* What SQLite says, as one line; returns -1. */
int ledger_fail(struct ledger *ledger, const char *doing, struct fault *fault);
int ledger_fail_damaged(struct ledger *ledger, const char *doing, const char *column, struct fault *fault);

/* 0 if a row with that id exists, else -1: "there is no batch 7" (EX_NOINPUT). */
int ledger_require(struct ledger *ledger, enum statement which, int64_t id, const char *what, struct fault *fault);

/* A transaction of the function's own, unless the caller has one open already. */
int ledger_enter(struct ledger *ledger, bool *own, struct fault *fault);
/* Ends it: commits if `result` is 0, else rolls back. Returns the result. */
int ledger_leave(struct ledger *ledger, bool own, int result, struct fault *fault);

/* Keeps a text by value, once; `sha256` gets its name. */
int ledger_keep_document(struct ledger *ledger, const char *text, size_t length,
                         char sha256[LEDGER_SHA256_TEXT_BYTES], struct fault *fault);

/* ---- a list of rows in one growing block ----
 *
 * list_query, parameters, then list_step until it returns NULL, then list_close. */
struct list {
    void *items;
    size_t count, capacity, item_size;
};

void list_query(struct list *list, struct query *query, size_t item_size, struct ledger *ledger,
                enum statement which, const char *doing, struct fault *fault);
void list_query_sql(struct list *list, struct query *query, size_t item_size, struct ledger *ledger,
                    const char *sql, const char *doing, struct fault *fault);
/* Steps the query: room for the row, zeroed and counted; NULL at the end or after a fault. */
void *list_step(struct list *list, struct query *query);
/* The block, never NULL unless there was a fault. */
void *list_close(struct list *list, const struct query *query, size_t *count);

#endif
