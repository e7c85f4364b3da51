// SPDX-License-Identifier: MIT
/* Tables, triggers and views as this program makes them, held against those of the file; and the tables of words,
 * which say what every stored number means. Whoever changes rows by hand has to take triggers out first, and may
 * not put them back. */
#include <stdio.h>
#include <string.h>

#include "seal_private.h"

enum { PRIMARY_CODE = 0xff }; // of an extended one: https://www.sqlite.org/rescode.html

struct comparing {
    struct ledger *ledger;
    sqlite3 *model;
    seal_sink *sink;
    void *context;
    int64_t *flaws;
    struct fault *fault;
};

static void tell(struct comparing *comparing, const char *type, const char *name, const char *what) {
    char words[256];

    snprintf(words, sizeof words, "%s %.80s %s", type, name, what);
    (*comparing->flaws)++;
    comparing->sink(comparing->context, words);
}

/* Is there that row in the other database: the same statement, with its columns as parameters? SQLITE_ROW,
 * SQLITE_DONE if not, or what went wrong. */
static int has_row(sqlite3 *other, const char *sql, sqlite3_stmt *row) {
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(other, sql, -1, &statement, NULL);

    for (int i = 0; code == SQLITE_OK && i < sqlite3_column_count(row); i++) {
        code = sqlite3_bind_value(statement, i + 1, sqlite3_column_value(row, i));
    }
    if (code == SQLITE_OK) {
        code = sqlite3_step(statement);
    }
    sqlite3_finalize(statement);
    return code;
}

/* What could not be read is no flaw. */
static int refuse(struct comparing *comparing, int code) {
    if ((code & PRIMARY_CODE) == SQLITE_NOMEM) {
        return fault_set(comparing->fault, EX_OSERR, "%s: out of memory", comparing->ledger->path);
    }
    return ledger_fail(comparing->ledger, "compare its tables", comparing->fault);
}

/* Everything that stands in `from` has to stand in `to` as well; what does not is told as `what`. */
static int compare_objects(struct comparing *comparing, sqlite3 *from, sqlite3 *to, const char *what) {
    static const char all[] =
        "SELECT type, name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%' ORDER BY name";
    static const char one[] = "SELECT 1 FROM sqlite_schema WHERE type = ?1 AND name = ?2 AND sql IS ?3";
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(from, all, -1, &statement, NULL);

    while (code == SQLITE_OK && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        code = has_row(to, one, statement);
        if (code == SQLITE_DONE) {
            tell(comparing, (const char *)sqlite3_column_text(statement, 0),
                 (const char *)sqlite3_column_text(statement, 1), what);
        }
        code = code == SQLITE_ROW || code == SQLITE_DONE ? SQLITE_OK : code;
    }
    sqlite3_finalize(statement);
    return code == SQLITE_DONE ? 0 : refuse(comparing, code);
}

/* One table of words: the whole of it as one text, NULL where it has no rows or is not there. SQLite's code. */
static int read_words(sqlite3 *db, const char *table, char **words) {
    sqlite3_str *const text = sqlite3_str_new(db);
    char *const sql = sqlite3_mprintf("SELECT * FROM \"%w\" ORDER BY 1", table);
    sqlite3_stmt *statement = NULL;
    int code = sql == NULL ? SQLITE_NOMEM : sqlite3_prepare_v2(db, sql, -1, &statement, NULL);

    while (code == SQLITE_OK && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        code = SQLITE_OK;
        for (int i = 0; i < sqlite3_column_count(statement); i++) {
            sqlite3_str_appendf(text, "%Q,", sqlite3_column_text(statement, i));
        }
    }
    code = sqlite3_str_errcode(text) != SQLITE_OK ? sqlite3_str_errcode(text) : code;
    sqlite3_finalize(statement);
    sqlite3_free(sql);
    *words = sqlite3_str_finish(text);
    return code == SQLITE_DONE || code == SQLITE_ERROR ? SQLITE_OK : code; // an error of the text: no such table
}

static int compare_table(struct comparing *comparing, const char *table) {
    char *expected = NULL, *found = NULL;
    int code = read_words(comparing->model, table, &expected);

    if (code == SQLITE_OK && expected != NULL) {
        code = read_words(comparing->ledger->db, table, &found);
        if (code == SQLITE_OK && (found == NULL || strcmp(found, expected) != 0)) {
            tell(comparing, "table", table, "does not say what its words should");
        }
    }
    sqlite3_free(found);
    sqlite3_free(expected);
    return code == SQLITE_OK ? 0 : refuse(comparing, code);
}

/* A table that the model has rows in is a table of words. */
static int compare_words(struct comparing *comparing) {
    static const char tables[] =
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name";
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(comparing->model, tables, -1, &statement, NULL);
    int result = 0;

    while (result == 0 && code == SQLITE_OK && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        code = SQLITE_OK;
        result = compare_table(comparing, (const char *)sqlite3_column_text(statement, 0));
    }
    sqlite3_finalize(statement);
    return result != 0 || code == SQLITE_DONE ? result : refuse(comparing, code);
}

int seal_check_schema(struct ledger *ledger, seal_sink *sink, void *context, int64_t *flaws, struct fault *fault) {
    struct comparing comparing = {
        ledger, ledger_make_model(ledger, LEDGER_SCHEMA_VERSION, fault), sink, context, flaws, fault};
    int result = -1;

    if (comparing.model == NULL) {
        return -1;
    }
    if (compare_objects(&comparing, comparing.model, ledger->db, "is not there as soakledger made it") == 0 &&
        compare_objects(&comparing, ledger->db, comparing.model, "was not made by soakledger") == 0) {
        result = compare_words(&comparing);
    }
    sqlite3_close(comparing.model);
    return result;
}
