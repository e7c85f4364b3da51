// SPDX-License-Identifier: MIT
/* Opening the ledger in one of its three ways, and transactions.
 *
 * The write-ahead log and its index are left in place when the file is closed: a reader without the right to
 * write in the folder can then read at any time, whether the daemon runs or not. */
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "ledger_private.h"
#include "soakledger/seal.h"

enum { LEDGER_FILE_MODE = 0640 };

/* The lock lies beside the ledger: SQLite drops its own locks when any descriptor of the file is closed. */
static int take_lock(struct ledger *ledger, struct fault *fault) {
    char path[PATH_MAX];

    if (snprintf(path, sizeof path, "%s.lock", ledger->path) >= (int)sizeof path) {
        return fault_set(fault, EX_CANTCREAT, "%s: the path is too long", ledger->path);
    }
    ledger->had_lock = access(path, F_OK) == 0;
    ledger->lock_fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, LEDGER_FILE_MODE);
    if (ledger->lock_fd < 0) {
        return fault_set_errno(fault, EX_CANTCREAT, "%s: cannot make the lock file", path);
    }
    if (flock(ledger->lock_fd, LOCK_EX | LOCK_NB) == 0) {
        return 0;
    }
    if (errno == EWOULDBLOCK) {
        return fault_set(fault, EX_UNAVAILABLE, "%s: another program is recording into it (%s is locked)",
                         ledger->path, path);
    }
    return fault_set_errno(fault, EX_IOERR, "%s: cannot lock", path);
}

/* SQLite would make the file readable by everybody. */
static int make_file(const struct ledger *ledger, struct fault *fault) {
    const int fd = open(ledger->path, O_RDWR | O_CREAT | O_CLOEXEC, LEDGER_FILE_MODE);

    if (fd < 0) {
        return fault_set_errno(fault, EX_CANTCREAT, "%s: cannot make or open the ledger", ledger->path);
    }
    close(fd);
    return 0;
}

static int check_file(const struct ledger *ledger, struct fault *fault) {
    struct stat status;

    if (stat(ledger->path, &status) != 0) {
        return fault_set_errno(fault, errno == EACCES ? EX_NOPERM : EX_NOINPUT, "%s: cannot open the ledger",
                               ledger->path);
    }
    if (!S_ISREG(status.st_mode)) {
        return fault_set(fault, EX_DATAERR, "%s: not a ledger: expected a file", ledger->path);
    }
    if (access(ledger->path, R_OK) != 0) {
        return fault_set_errno(fault, EX_NOPERM, "%s: cannot read the ledger", ledger->path);
    }
    return 0;
}

static int run_sql(struct ledger *ledger, const char *sql, const char *doing, struct fault *fault) {
    return sqlite3_exec(ledger->db, sql, NULL, NULL, NULL) == SQLITE_OK ? 0 : ledger_fail(ledger, doing, fault);
}

/* SQLite's own handler soon looks only every 100 ms, and misses the moments in which a recorder with fast channels
 * lets go. This one looks often for as long. */
static int wait_for_lock(void *unused, int tries) {
    enum { LOOK_EVERY_MS = 2, US_PER_MS = 1000 };

    (void)unused;
    if (tries >= LEDGER_BUSY_MS / LOOK_EVERY_MS) {
        return 0;
    }
    usleep(LOOK_EVERY_MS * US_PER_MS);
    return 1;
}

/* SQLite gives names such as ":memory:" a meaning of their own; with a folder in front they are files. */
static int make_name(const struct ledger *ledger, char name[PATH_MAX], struct fault *fault) {
    if (snprintf(name, PATH_MAX, "%s%s", ledger->path[0] == '/' ? "" : "./", ledger->path) >= PATH_MAX) {
        return fault_set(fault, EX_NOINPUT, "%s: the path is too long", ledger->path);
    }
    return 0;
}

/* `name` is a path, or a URI with SQLITE_OPEN_URI among the flags. */
static int open_database(struct ledger *ledger, const char *name, int flags, struct fault *fault) {
    if (sqlite3_open_v2(name, &ledger->db, flags | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE, NULL) !=
        SQLITE_OK) {
        if (ledger->db == NULL) {
            return fault_set(fault, EX_OSERR, "%s: out of memory", ledger->path);
        }
        return ledger_fail(ledger, "open the ledger", fault);
    }
    sqlite3_busy_handler(ledger->db, wait_for_lock, NULL);
    ledger_set_bounds(ledger);
    sqlite3_db_config(ledger->db, SQLITE_DBCONFIG_ENABLE_FKEY, 1, NULL);
    return run_sql(ledger, "PRAGMA synchronous = FULL; PRAGMA cell_size_check = ON; PRAGMA mmap_size = 0",
                   "open the ledger", fault);
}

static int use_write_ahead_log(struct ledger *ledger, struct fault *fault) {
    sqlite3_stmt *statement = NULL;
    const char *mode;
    int result = 0;

    if (sqlite3_prepare_v2(ledger->db, "PRAGMA journal_mode = WAL", -1, &statement, NULL) != SQLITE_OK ||
        sqlite3_step(statement) != SQLITE_ROW) {
        result = ledger_fail(ledger, "turn on its write-ahead log", fault);
    } else {
        mode = (const char *)sqlite3_column_text(statement, 0);
        if (mode == NULL || strcmp(mode, "wal") != 0) {
            result = fault_set(fault, EX_IOERR, "%s: this file system cannot hold a write-ahead log", ledger->path);
        }
    }
    sqlite3_finalize(statement);
    return result;
}

static void keep_write_ahead_log(struct ledger *ledger) {
    int keep = 1;

    sqlite3_file_control(ledger->db, "main", SQLITE_FCNTL_PERSIST_WAL, &keep);
}

/* Until the file is known to be sound, nothing of its log may be folded into it. */
static void fold_in_on_close(struct ledger *ledger, int fold_in) {
    sqlite3_db_config(ledger->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, !fold_in, NULL);
}

static int prepare_to_record(struct ledger *ledger, const char *name, struct fault *fault) {
    /* The log shrinks back to this after a long reader kept it from being folded in. */
    static const char limit_log[] = "PRAGMA journal_size_limit = 8388608";

    if (open_database(ledger, name, SQLITE_OPEN_READWRITE, fault) != 0) {
        return -1;
    }
    fold_in_on_close(ledger, 0);
    if (sqlite3_db_readonly(ledger->db, "main") == 1) {
        return fault_set(fault, EX_NOPERM, "%s: may not be written by this user", ledger->path);
    }
    /* Checked before the journal is turned over: somebody else's file is left exactly as it is. */
    if (ledger_check_climbable(ledger, fault) != 0 || use_write_ahead_log(ledger, fault) != 0 ||
        run_sql(ledger, limit_log, "open the ledger", fault) != 0) {
        return -1;
    }
    keep_write_ahead_log(ledger);
    if (ledger_migrate(ledger, fault) != 0 || ledger_check_sound(ledger, fault) != 0) {
        return -1;
    }
    fold_in_on_close(ledger, 1);
    return 0;
}

int ledger_reopen(struct ledger *ledger, struct fault *fault) {
    char name[PATH_MAX];

    if (make_name(ledger, name, fault) != 0 || make_file(ledger, fault) != 0 || check_file(ledger, fault) != 0) {
        return -1;
    }
    if (prepare_to_record(ledger, name, fault) == 0) {
        return 0;
    }
    sqlite3_close_v2(ledger->db); // nothing of its log is folded in: it is not known to be sound
    ledger->db = NULL;
    return -1;
}

/* The lock of a file that is no ledger would say, the next time, that it was one. */
static void take_lock_back(const struct ledger *ledger) {
    char path[PATH_MAX];

    if (!ledger->had_lock && snprintf(path, sizeof path, "%s.lock", ledger->path) < (int)sizeof path) {
        unlink(path);
    }
}

static int open_to_record(struct ledger *ledger, struct fault *fault) {
    if (take_lock(ledger, fault) != 0) {
        return -1;
    }
    if (ledger_reopen(ledger, fault) == 0 || (ledger->damaged && ledger_begin_anew(ledger, fault) == 1)) {
        return 0;
    }
    if (fault->status == EX_DATAERR) {
        take_lock_back(ledger);
    }
    return -1;
}

/* The run and the places of an import are made by its triggers, and by nothing else that the command does. */
static bool is_of_import(int action, const char *a, const char *b, const char *trigger) {
    if (trigger != NULL && strcmp(trigger, "import_makes_run") == 0) {
        return action == SQLITE_INSERT ? strcmp(a, "run") == 0
                                       : strcmp(a, "import") == 0 && strcmp(b, "run_id") == 0;
    }
    if (trigger != NULL && strcmp(trigger, "import_makes_channel") == 0) {
        return action == SQLITE_INSERT ? strcmp(a, "channel") == 0
                                       : strcmp(a, "import_channel") == 0 && strcmp(b, "channel_id") == 0;
    }
    return action == SQLITE_UPDATE && trigger == NULL && strcmp(a, "import") == 0 && strcmp(b, "complete") == 0;
}

/* What the command may do: look at everything, add to its own tables, close a batch, complete an import. */
static int authorize(void *context, int action, const char *a, const char *b, const char *schema,
                     const char *trigger) {
    // clang-format off
    static const char *const tables[] = { // one a line, in order
        "accuracy",
        "accuracy_typed",
        "amendment",
        "attestation",
        "batch",
        "calibration",
        "calibration_point",
        "caller",
        "certificate",
        "certificate_kept",
        "claim",
        "company",
        "disposition",
        "document",
        "hardness",
        "import",
        "import_channel",
        "imported_reading",
        "seal",
        "seal_part",
        "sensor_event",
        "survey",
        "survey_class",
        "survey_place",
        "withdrawal",
    };
    // clang-format on

    (void)context, (void)schema;
    if ((action == SQLITE_INSERT || action == SQLITE_UPDATE) && is_of_import(action, a, b, trigger)) {
        return SQLITE_OK;
    }
    switch (action) {
    case SQLITE_SELECT:
    case SQLITE_READ:
    case SQLITE_FUNCTION:
    case SQLITE_TRANSACTION: return SQLITE_OK;
    case SQLITE_PRAGMA: return b == NULL && strcmp(a, "data_version") == 0 ? SQLITE_OK : SQLITE_DENY;
    case SQLITE_UPDATE: return strcmp(a, "batch") == 0 && strcmp(b, "closed_ms") == 0 ? SQLITE_OK : SQLITE_DENY;
    case SQLITE_INSERT:
        for (size_t i = 0; i < sizeof tables / sizeof tables[0]; i++) {
            if (strcmp(a, tables[i]) == 0) {
                return SQLITE_OK;
            }
        }
        return SQLITE_DENY;
    default: return SQLITE_DENY;
    }
}

static int open_to_bookkeep(struct ledger *ledger, const char *name, struct fault *fault) {
    if (check_file(ledger, fault) != 0 || open_database(ledger, name, SQLITE_OPEN_READWRITE, fault) != 0) {
        return -1;
    }
    if (sqlite3_db_readonly(ledger->db, "main") == 1) {
        return fault_set(fault, EX_NOPERM,
                         "%s: may not be written by this user, which batches and certificates need", ledger->path);
    }
    if (ledger_check_schema(ledger, fault) != 0 || ledger_check_sound(ledger, fault) != 0) {
        return -1;
    }
    keep_write_ahead_log(ledger);
    sqlite3_set_authorizer(ledger->db, authorize, NULL);
    return 0;
}

/* A log with something in it, or the log's index, which whoever has the ledger open keeps beside it. */
static bool has_log(const struct ledger *ledger) {
    char path[PATH_MAX];
    struct stat status;

    snprintf(path, sizeof path, "%s-wal", ledger->path);
    if (stat(path, &status) == 0 && status.st_size > 0) {
        return true;
    }
    snprintf(path, sizeof path, "%s-shm", ledger->path);
    return stat(path, &status) == 0;
}

/* "file:" and the name with all but plain characters as %XX, and ?immutable=1 (sqlite.org/uri.html). */
static char *make_uri(const char *name) {
    static const char plain[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789/._-";
    char *uri = NULL;
    size_t length;
    FILE *const out = open_memstream(&uri, &length);

    if (out == NULL) {
        return NULL;
    }
    fputs("file:", out);
    for (const char *c = name; *c != '\0'; c++) {
        fprintf(out, strchr(plain, *c) != NULL ? "%c" : "%%%02X", (unsigned char)*c);
    }
    fputs("?immutable=1", out);
    if (fclose(out) != 0) {
        free(uri);
        return NULL;
    }
    return uri;
}

static int try_to_read(struct ledger *ledger, const char *name, int flags, struct fault *fault) {
    if (open_database(ledger, name, SQLITE_OPEN_READONLY | flags, fault) != 0) {
        return -1;
    }
    return ledger_check_schema(ledger, fault);
}

/* A copy on a medium that cannot be written has no log beside it, and SQLite refuses to open it: nobody
 * else can be writing there, so it may be read as it lies. */
static int read_as_it_lies(struct ledger *ledger, const char *name, struct fault *fault) {
    char *const uri = make_uri(name);
    int result;

    if (uri == NULL) {
        return fault_set(fault, EX_OSERR, "%s: out of memory", ledger->path);
    }
    sqlite3_close(ledger->db);
    ledger->db = NULL;
    result = try_to_read(ledger, uri, SQLITE_OPEN_URI, fault);
    free(uri);
    return result;
}

static int open_to_read(struct ledger *ledger, const char *name, struct fault *fault) {
    struct fault first;
    int code;

    if (check_file(ledger, fault) != 0) {
        return -1;
    }
    if (try_to_read(ledger, name, 0, &first) == 0) {
        return 0;
    }
    code = sqlite3_errcode(ledger->db) & 0xFF; // the low byte is the primary result code
    if (code != SQLITE_CANTOPEN && code != SQLITE_READONLY) {
        *fault = first;
        return -1;
    }
    if (has_log(ledger)) {
        return fault_set(fault, EX_NOPERM,
                         "%s: cannot read the ledger: this user must also be able to read its log,"
                         " the files beside it that end in -wal and -shm",
                         ledger->path);
    }
    return read_as_it_lies(ledger, name, fault);
}

static int open_as(struct ledger *ledger, struct fault *fault) {
    char name[PATH_MAX];

    if (make_name(ledger, name, fault) != 0) {
        return -1;
    }
    switch (ledger->mode) {
    case LEDGER_RECORD: return open_to_record(ledger, fault);
    case LEDGER_BOOKKEEP: return open_to_bookkeep(ledger, name, fault);
    default: return open_to_read(ledger, name, fault);
    }
}

struct ledger *ledger_open(const char *path, enum ledger_mode mode, struct fault *fault) {
    struct ledger *const ledger = calloc(1, sizeof *ledger);

    if (ledger != NULL) {
        ledger->path = strdup(path);
        ledger->lock_fd = -1;
        ledger->mode = mode;
    }
    if (ledger == NULL || ledger->path == NULL) {
        free(ledger);
        fault_set(fault, EX_OSERR, "%s: out of memory", path);
        return NULL;
    }
    if (open_as(ledger, fault) != 0) {
        ledger_close(ledger);
        return NULL;
    }
    return ledger;
}

void ledger_close(struct ledger *ledger) {
    if (ledger == NULL) {
        return;
    }
    for (size_t i = 0; i < STATEMENT_COUNT; i++) {
        sqlite3_finalize(ledger->statements[i]);
    }
    sqlite3_close_v2(ledger->db); // rolls back what is open; NULL is allowed
    if (ledger->lock_fd >= 0) {
        close(ledger->lock_fd);
    }
    free(ledger->kept);
    ledger_forget_caller(ledger);
    free(ledger->path);
    free(ledger);
}

int ledger_begin(struct ledger *ledger, struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_BEGIN, "begin to write", fault);
    if (query_run(&query) != 0) {
        return -1;
    }
    ledger_listen_to_caller(ledger);
    return 0;
}

int ledger_commit(struct ledger *ledger, struct fault *fault) {
    struct query query;

    /* What the command writes into the books is sealed as it is written. */
    if (ledger->mode == LEDGER_BOOKKEEP &&
        (ledger_write_caller(ledger, fault) != 0 || seal_books(ledger, ledger->now_ms, fault) < 0)) {
        return -1;
    }
    query_open(&query, ledger, STATEMENT_COMMIT, "make what was written durable", fault);
    return query_run(&query);
}

void ledger_roll_back(struct ledger *ledger) {
    struct fault unused;
    struct query query;

    if (ledger->db == NULL || sqlite3_get_autocommit(ledger->db)) {
        return; // nothing is open, or SQLite rolled back on its own
    }
    query_open(&query, ledger, STATEMENT_ROLL_BACK, "take back what was written", &unused);
    query_run(&query);
}

int ledger_enter(struct ledger *ledger, bool *own, struct fault *fault) {
    *own = sqlite3_get_autocommit(ledger->db) != 0;
    return *own ? ledger_begin(ledger, fault) : 0;
}

int ledger_leave(struct ledger *ledger, bool own, int result, struct fault *fault) {
    if (!own) {
        return result;
    }
    if (result == 0) {
        result = ledger_commit(ledger, fault);
    }
    if (result != 0) {
        ledger_roll_back(ledger);
    }
    return result;
}

int64_t ledger_data_version(struct ledger *ledger) {
    struct fault unused;
    struct query query;
    int64_t version = -1;

    query_open(&query, ledger, STATEMENT_DATA_VERSION, "look for changes", &unused);
    if (query_step(&query) == 1) {
        version = query_get_int(&query, 0, INT64_MIN, INT64_MAX);
        query_close(&query);
    }
    return version;
}
