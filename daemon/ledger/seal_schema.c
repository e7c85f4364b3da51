// SPDX-License-Identifier: MIT
/* Tables, triggers and views as this program makes them, held against those of the file; and the tables of words,
 * which say what every stored number means. Whoever changes rows by hand has to take triggers out first, and may
 * not put them back. */
#include <stdio.h>
#include <string.h>

#include "seal_private.h"

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

/* Is there that row in the other database: the same statement, with its columns as parameters? 1, 0, -1. */
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
    return code == SQLITE_ROW ? 1 : code == SQLITE_DONE ? 0 : -1;
}

/* Everything that stands in `from` has to stand in `to` as well; what does not is told as `what`. */
static int compare_objects(struct comparing *comparing, sqlite3 *from, sqlite3 *to, const char *what) {
    static const char all[] =
        "SELECT type, name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%' ORDER BY name";
    static const char one[] = "SELECT 1 FROM sqlite_schema WHERE type = ?1 AND name = ?2 AND sql IS ?3";
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(from, all, -1, &statement, NULL);
    int same = 1;

    while (code == SQLITE_OK && same >= 0 && sqlite3_step(statement) == SQLITE_ROW) {
        same = has_row(to, one, statement);
        if (same == 0) {
            tell(comparing, (const char *)sqlite3_column_text(statement, 0),
                 (const char *)sqlite3_column_text(statement, 1), what);
        }
    }
    sqlite3_finalize(statement);
    return code == SQLITE_OK && same >= 0 ? 0
                                          : ledger_fail(comparing->ledger, "compare its tables", comparing->fault);
}

/* One table of words: the whole of it as one text. */
static char *read_words(sqlite3 *db, const char *table) {
    sqlite3_str *const text = sqlite3_str_new(db);
    char *const sql = sqlite3_mprintf("SELECT * FROM \"%w\" ORDER BY 1", table);
    sqlite3_stmt *statement = NULL;

    if (sql != NULL && sqlite3_prepare_v2(db, sql, -1, &statement, NULL) == SQLITE_OK) {
        while (sqlite3_step(statement) == SQLITE_ROW) {
            for (int i = 0; i < sqlite3_column_count(statement); i++) {
                sqlite3_str_appendf(text, "%Q,", sqlite3_column_text(statement, i));
            }
        }
    }
    sqlite3_finalize(statement);
    sqlite3_free(sql);
    return sqlite3_str_finish(text);
}

/* A table that the model has rows in is a table of words. */
static int compare_words(struct comparing *comparing) {
    static const char tables[] =
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name";
    sqlite3_stmt *statement = NULL;
    int result = 0;

    if (sqlite3_prepare_v2(comparing->model, tables, -1, &statement, NULL) != SQLITE_OK) {
        return fault_set(comparing->fault, EX_OSERR, "%s: cannot compare its tables", comparing->ledger->path);
    }
    while (result == 0 && sqlite3_step(statement) == SQLITE_ROW) {
        const char *const table = (const char *)sqlite3_column_text(statement, 0);
        char *const expected = read_words(comparing->model, table);

        if (expected != NULL) {
            char *const found = read_words(comparing->ledger->db, table);

            if (found == NULL || strcmp(found, expected) != 0) {
                tell(comparing, "table", table, "does not say what its words should");
            }
            sqlite3_free(found);
        }
        sqlite3_free(expected);
    }
    sqlite3_finalize(statement);
    return result;
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
