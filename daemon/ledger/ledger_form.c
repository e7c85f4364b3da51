// SPDX-License-Identifier: MIT
/* Whether a file's tables are this program's, letter by letter, and whether anything would run as they are written
 * to that is not.
 *
 * A column of a table can be worked out by an expression, a trigger can do anything to the other tables, and an
 * index on an expression is worked out with every row. What only stands there runs nothing: a view of the user's,
 * or, where nothing is written, a trigger. A trigger or an index that is missing is told by seal_verify, which has
 * to be able to open such a file. */
#include <stdio.h>
#include <string.h>

#include "ledger_private.h"
#include "schema.h"

/* ladder[n] brings version n to version n + 1. */
static const char *const *const ladder[LEDGER_SCHEMA_VERSION] = {schema_first, schema_second};

int ledger_climb(sqlite3 *db, int64_t from, int64_t to) {
    for (int64_t version = from; version < to && version < LEDGER_SCHEMA_VERSION; version++) {
        for (const char *const *script = ladder[version]; *script != NULL; script++) {
            if (sqlite3_exec(db, *script, NULL, NULL, NULL) != SQLITE_OK) {
                return -1;
            }
        }
    }
    return 0;
}

sqlite3 *ledger_make_model(const struct ledger *ledger, int64_t version, struct fault *fault) {
    sqlite3 *model = NULL;

    if (sqlite3_open_v2(":memory:", &model, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX,
                        NULL) != SQLITE_OK ||
        ledger_climb(model, 0, version) != 0) {
        fault_set(fault, EX_OSERR, "%s: cannot make a ledger to compare it with", ledger->path);
        sqlite3_close(model);
        return NULL;
    }
    return model;
}

/* One thing of a schema. Texts last until the next step. */
struct thing {
    sqlite3_stmt *statement;
    const char *type, *name, *sql; // NULL where there is none; type is NULL at the end
};

static const char *text_of(sqlite3_stmt *statement, int column) {
    return (const char *)sqlite3_column_text(statement, column);
}

/* SQLite's code. */
static int next_thing(struct thing *thing) {
    const int code = sqlite3_step(thing->statement);

    thing->type = thing->name = thing->sql = NULL;
    if (code != SQLITE_ROW) {
        return code;
    }
    thing->type = text_of(thing->statement, 0);
    thing->name = text_of(thing->statement, 1);
    thing->sql = text_of(thing->statement, 2);
    return thing->type != NULL && thing->name != NULL ? SQLITE_ROW : SQLITE_CORRUPT;
}

static int first_thing(sqlite3 *db, struct thing *thing) {
    static const char sql[] = "SELECT type, name, sql FROM sqlite_schema ORDER BY type, name";
    const int code = sqlite3_prepare_v2(db, sql, -1, &thing->statement, NULL);

    return code == SQLITE_OK ? next_thing(thing) : code;
}

/* Below, at or above 0 as `ours` stands before, at or after `theirs`; the end stands after everything. */
static int order(const struct thing *ours, const struct thing *theirs) {
    int by_type;

    if (ours->type == NULL || theirs->type == NULL) {
        return (ours->type == NULL) - (theirs->type == NULL);
    }
    by_type = strcmp(ours->type, theirs->type);
    return by_type != 0 ? by_type : strcmp(ours->name, theirs->name);
}

/* What SQLite makes by itself, and what it keeps where a user ran ANALYZE. */
static bool is_of_sqlite(const struct thing *thing) {
    static const char *const kept[] = {"CREATE TABLE sqlite_stat1(tbl,idx,stat)",
                                       "CREATE TABLE sqlite_stat4(tbl,idx,neq,nlt,ndlt,sample)",
                                       "CREATE TABLE sqlite_sequence(name,seq)"};

    if (thing->sql == NULL) {
        return strcmp(thing->type, "index") == 0;
    }
    for (size_t i = 0; i < sizeof kept / sizeof kept[0]; i++) {
        if (strcmp(thing->sql, kept[i]) == 0) {
            return true;
        }
    }
    return false;
}

/* SQLite goes by the text, whatever the row says that it is. */
static bool is_view(const struct thing *thing) {
    static const char begins[] = "CREATE VIEW ";

    return thing->sql != NULL && strncmp(thing->sql, begins, sizeof begins - 1) == 0;
}

/* ---- the short way: one digest of all that runs ---- */

/* What ledger_digest_form gives for each version, first to last. Making a model takes longer than most commands; a
 * digest that is not up to date costs that time and changes nothing else. test_hostile.c says what it should be. */
static const char *const digests[LEDGER_SCHEMA_VERSION] = {
    "3fe9cec04204839ef49972531c49c9f196132c2d2af9428f7cd64b655cb01a5d",
    "4c8fda89e419ba65c762f39b763e094afe9ae032aa7bfcb224b8f978013faae4",
};

bool ledger_is_usual_form(int64_t version, const char *sha256) {
    return strcmp(sha256, digests[version - 1]) == 0;
}

int ledger_digest_form(sqlite3 *db, char sha256[LEDGER_SHA256_TEXT_BYTES]) {
    sqlite3_str *const text = sqlite3_str_new(db);
    struct thing thing = {0};
    int code = first_thing(db, &thing);
    char *all;

    for (; code == SQLITE_ROW; code = next_thing(&thing)) {
        if (!is_view(&thing) && !is_of_sqlite(&thing)) {
            const char *const sql = thing.sql != NULL ? thing.sql : "";

            sqlite3_str_appendf(text, "%d %s %d %s %d %s;\n", (int)strlen(thing.type), thing.type,
                                (int)strlen(thing.name), thing.name, (int)strlen(sql), sql);
        }
    }
    sqlite3_finalize(thing.statement);
    all = sqlite3_str_finish(text);
    ledger_sha256(all != NULL ? all : "", all != NULL ? strlen(all) : 0, sha256);
    sqlite3_free(all);
    return code == SQLITE_DONE ? 0 : -1;
}

/* ---- the long way: which thing it is ---- */

struct comparing {
    struct ledger *ledger;
    int64_t version;
    int64_t expected, found; // tables
    bool altered;            // one of them is not as it should be: the fault says which
    bool foreign;            // something runs that is not ours: likewise
    struct fault fault;
};

static void note_altered(struct comparing *comparing, const struct thing *thing) {
    if (!comparing->altered) {
        comparing->altered = true;
        fault_set(&comparing->fault, EX_DATAERR,
                  "%s: a damaged ledger: its table %.60s is not as version %lld has it", comparing->ledger->path,
                  thing->name, (long long)comparing->version);
    }
}

static void note_foreign(struct comparing *comparing, const struct thing *thing) {
    if (!comparing->altered && !comparing->foreign && comparing->ledger->mode != LEDGER_READ) {
        comparing->foreign = true;
        fault_set(&comparing->fault, EX_DATAERR,
                  "%s: its %.20s %.60s was not made by this program: nothing is written into a ledger that holds "
                  "more than its own tables, indexes and triggers, and views",
                  comparing->ledger->path, thing->type, thing->name);
    }
}

static bool is_same(const struct thing *ours, const struct thing *theirs) {
    return ours->sql == NULL || theirs->sql == NULL ? ours->sql == theirs->sql
                                                    : strcmp(ours->sql, theirs->sql) == 0;
}

static void note_pair(struct comparing *comparing, const struct thing *ours, const struct thing *theirs,
                      int which) {
    if (which <= 0 && strcmp(ours->type, "table") == 0) {
        comparing->expected++;
        comparing->found += which == 0;
    }
    if (which < 0 || (which == 0 && is_same(ours, theirs))) {
        return;
    }
    if (which == 0 && strcmp(ours->type, "table") == 0) {
        note_altered(comparing, theirs);
    } else if (!is_view(theirs) && !is_of_sqlite(theirs)) {
        note_foreign(comparing, theirs);
    }
}

/* Both schemas in one order, side by side. */
static int compare(struct comparing *comparing, sqlite3 *model, struct fault *fault) {
    struct thing ours = {0}, theirs = {0};
    int code = first_thing(model, &ours), code_of_theirs = first_thing(comparing->ledger->db, &theirs);

    while ((code == SQLITE_ROW || code == SQLITE_DONE) && code_of_theirs != SQLITE_CORRUPT &&
           (code == SQLITE_ROW || code_of_theirs == SQLITE_ROW)) {
        const int which = order(&ours, &theirs);

        note_pair(comparing, &ours, &theirs, which);
        if (which <= 0) {
            code = next_thing(&ours);
        }
        if (which >= 0 && code_of_theirs == SQLITE_ROW) {
            code_of_theirs = next_thing(&theirs);
        }
        if (code_of_theirs != SQLITE_ROW && code_of_theirs != SQLITE_DONE) {
            break;
        }
    }
    sqlite3_finalize(ours.statement);
    if (code_of_theirs != SQLITE_DONE) {
        ledger_fail(comparing->ledger, "read it as a ledger", fault);
    }
    sqlite3_finalize(theirs.statement);
    return code == SQLITE_DONE && code_of_theirs == SQLITE_DONE ? 0 : -1;
}

int ledger_check_form(struct ledger *ledger, int64_t version, struct fault *fault) {
    struct comparing comparing = {.ledger = ledger, .version = version};
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    sqlite3 *model;
    int result;

    if (ledger_digest_form(ledger->db, sha256) == 0 && ledger_is_usual_form(version, sha256)) {
        return 0;
    }
    model = ledger_make_model(ledger, version, fault);
    if (model == NULL) {
        return -1;
    }
    result = compare(&comparing, model, fault);
    sqlite3_close(model);
    if (result != 0) {
        return -1;
    }
    if (comparing.found != comparing.expected) {
        ledger->damaged = true;
        return fault_set(fault, EX_DATAERR, "%s: a damaged ledger: %lld of its %lld tables are there", ledger->path,
                         (long long)comparing.found, (long long)comparing.expected);
    }
    if (comparing.altered || comparing.foreign) {
        ledger->damaged |= comparing.altered;
        *fault = comparing.fault;
        return -1;
    }
    return 0;
}
