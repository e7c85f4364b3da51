// SPDX-License-Identifier: MIT
/* What a file may ask of the program that reads it. A ledger may be sent by anybody, and its pages may say
 * anything: a tree whose branches lead back to its trunk has no last row. So SQLite is held to what this program's
 * own tables and statements need, and a statement to as many steps, rows and bytes as a file of that size can call
 * for. */
#include <limits.h>
#include <stdio.h>
#include <sys/stat.h>

#include "ledger_private.h"

/* Several times what the largest of our own needs (tests hold that everything works within them), and far below
 * SQLite's defaults. */
enum {
    MOST_TEXT_BYTES = 64 << 20, // a kept certificate or plan
    MOST_SQL_BYTES = 128 << 10,
    MOST_COLUMNS = 128,
    MOST_EXPRESSION_DEPTH = 200,
    MOST_OPERATIONS = 100000, // of a prepared statement
    MOST_ARGUMENTS = 32,
    MOST_PATTERN_BYTES = 1024,
    MOST_PARAMETERS = 128,
    MOST_TRIGGER_DEPTH = 16,
};

enum { STEPS_BETWEEN_LOOKS = 1 << 16, BYTES_OF_A_ROW = 4 }; // a row has a pointer, a length, a key and a header
/* A statement of ours takes some 20 steps a row, 30 where it looks something up for each, and a row has more than 4
 * bytes: each byte may cost 16 times as much as that before a file is called damaged. Beside that, a small file may
 * cost what is not noticed. */
static const int64_t steps_of_a_byte = 128, steps_of_any_file = 1 << 25, bytes_of_any_file = INT64_C(64) << 20,
                     copies_of_a_byte = 16, rows_of_any_file = 1 << 16;

static void set_limits(sqlite3 *db) {
    static const struct {
        int what, most;
    } limits[] = {
        {SQLITE_LIMIT_LENGTH, MOST_TEXT_BYTES},
        {SQLITE_LIMIT_SQL_LENGTH, MOST_SQL_BYTES},
        {SQLITE_LIMIT_COLUMN, MOST_COLUMNS},
        {SQLITE_LIMIT_EXPR_DEPTH, MOST_EXPRESSION_DEPTH},
        {SQLITE_LIMIT_VDBE_OP, MOST_OPERATIONS},
        {SQLITE_LIMIT_FUNCTION_ARG, MOST_ARGUMENTS},
        {SQLITE_LIMIT_LIKE_PATTERN_LENGTH, MOST_PATTERN_BYTES},
        {SQLITE_LIMIT_VARIABLE_NUMBER, MOST_PARAMETERS},
        {SQLITE_LIMIT_TRIGGER_DEPTH, MOST_TRIGGER_DEPTH},
        {SQLITE_LIMIT_ATTACHED, 0},
        {SQLITE_LIMIT_WORKER_THREADS, 0},
    };

    for (size_t i = 0; i < sizeof limits / sizeof limits[0]; i++) {
        sqlite3_limit(db, limits[i].what, limits[i].most);
    }
}

static int64_t size_of(const char *path, const char *suffix) {
    char name[PATH_MAX];
    struct stat status;

    if (snprintf(name, sizeof name, "%s%s", path, suffix) >= (int)sizeof name || stat(name, &status) != 0) {
        return 0;
    }
    return status.st_size;
}

/* The file and its log: looked up only where much was asked for, since a ledger grows while it is read. */
static int64_t measure_bytes(const struct ledger *ledger) {
    return size_of(ledger->path, "") + size_of(ledger->path, "-wal");
}

static int count_steps(void *context) {
    struct ledger *const ledger = context;

    ledger->steps += STEPS_BETWEEN_LOOKS;
    return ledger->steps > steps_of_any_file &&
           (ledger->steps - steps_of_any_file) / steps_of_a_byte > measure_bytes(ledger);
}

void ledger_set_bounds(struct ledger *ledger) {
    sqlite3_db_config(ledger->db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    sqlite3_db_config(ledger->db, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
    sqlite3_db_config(ledger->db, SQLITE_DBCONFIG_ENABLE_LOAD_EXTENSION, 0, NULL);
    set_limits(ledger->db);
    if (ledger->mode != LEDGER_RECORD) { // a recorder looks through its file before it uses it
        sqlite3_progress_handler(ledger->db, STEPS_BETWEEN_LOOKS, count_steps, ledger);
    }
}

bool ledger_may_hold_rows(const struct ledger *ledger, size_t count) {
    return (int64_t)count <= rows_of_any_file || (int64_t)count <= measure_bytes(ledger) / BYTES_OF_A_ROW;
}

bool ledger_may_copy(struct ledger *ledger, size_t length) {
    ledger->copied += (int64_t)length;
    return ledger->copied <= bytes_of_any_file ||
           (ledger->copied - bytes_of_any_file) / copies_of_a_byte <= measure_bytes(ledger);
}
