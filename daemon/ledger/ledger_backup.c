// SPDX-License-Identifier: MIT
#include "soakledger/backup.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "ledger_private.h"

enum { LOCK_MODE = 0640 };

static int refuse(sqlite3 *db, const char *path, const char *doing, struct fault *fault) {
    const int code = db != NULL ? sqlite3_errcode(db) & 0xFF : SQLITE_NOMEM; // the primary result code

    return fault_set(fault,
                     code == SQLITE_CORRUPT || code == SQLITE_NOTADB ? EX_DATAERR
                     : code == SQLITE_CANTOPEN                       ? EX_NOINPUT
                     : code == SQLITE_NOMEM                          ? EX_OSERR
                                                                     : EX_IOERR,
                     "%s: cannot %s: %s", path, doing, db != NULL ? sqlite3_errmsg(db) : "out of memory");
}

/* Read-only. A copy on a medium that cannot be written has no log and no index of one: it is read as it lies. */
static sqlite3 *open_file(const char *path, struct fault *fault) {
    char uri[PATH_MAX + sizeof "file:?immutable=1"];
    struct stat status;
    sqlite3 *db = NULL;

    if (stat(path, &status) != 0) {
        fault_set_errno(fault, EX_NOINPUT, "%s: cannot open it", path);
        return NULL;
    }
    if (!S_ISREG(status.st_mode)) {
        fault_set(fault, EX_DATAERR, "%s: not a ledger: expected a file", path);
        return NULL;
    }
    if (sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX, NULL) == SQLITE_OK &&
        sqlite3_exec(db, "SELECT 1 FROM sqlite_schema", NULL, NULL, NULL) == SQLITE_OK) {
        sqlite3_busy_timeout(db, LEDGER_BUSY_MS);
        return db;
    }
    if ((sqlite3_errcode(db) & 0xFF) == SQLITE_CANTOPEN && strpbrk(path, "?#%") == NULL &&
        snprintf(uri, sizeof uri, "file:%s?immutable=1", path) < (int)sizeof uri) {
        sqlite3_close(db);
        db = NULL;
        if (sqlite3_open_v2(uri, &db, SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_URI, NULL) ==
                SQLITE_OK &&
            sqlite3_exec(db, "SELECT 1 FROM sqlite_schema", NULL, NULL, NULL) == SQLITE_OK) {
            return db;
        }
    }
    refuse(db, path, "open it", fault);
    sqlite3_close(db);
    return NULL;
}

static int read_number(sqlite3 *db, const char *path, const char *sql, int64_t *number, struct fault *fault) {
    sqlite3_stmt *statement = NULL;
    int result = 0;

    if (sqlite3_prepare_v2(db, sql, -1, &statement, NULL) != SQLITE_OK || sqlite3_step(statement) != SQLITE_ROW) {
        result = refuse(db, path, "read it", fault);
    } else {
        *number = sqlite3_column_int64(statement, 0);
    }
    sqlite3_finalize(statement);
    return result;
}

/* The first line of what a check says; "ok" and nothing at all are well. */
static int run_check(sqlite3 *db, const char *path, const char *sql, struct fault *fault) {
    sqlite3_stmt *statement = NULL;
    int result = 0, code;

    if (sqlite3_prepare_v2(db, sql, -1, &statement, NULL) != SQLITE_OK) {
        return refuse(db, path, "check it", fault);
    }
    code = sqlite3_step(statement);
    if (code == SQLITE_ROW) {
        const char *const words = (const char *)sqlite3_column_text(statement, 0);

        if (words == NULL || strcmp(words, "ok") != 0) {
            result = fault_set(fault, EX_DATAERR, "%s: damaged: %.200s", path, words != NULL ? words : "");
        }
    } else if (code != SQLITE_DONE) {
        result = refuse(db, path, "check it", fault);
    }
    sqlite3_finalize(statement);
    return result;
}

static int check_identity(sqlite3 *db, const char *path, struct backup_tally *tally, struct fault *fault) {
    int64_t application_id = 0;

    if (read_number(db, path, "PRAGMA application_id", &application_id, fault) != 0 ||
        read_number(db, path, "PRAGMA user_version", &tally->version, fault) != 0) {
        return -1;
    }
    if (application_id != LEDGER_APPLICATION_ID || tally->version < 1) {
        return fault_set(fault, EX_DATAERR, "%s: not a ledger: expected a file made by soakledgerd", path);
    }
    if (tally->version > LEDGER_SCHEMA_VERSION) {
        return fault_set(fault, EX_DATAERR, "%s: a ledger of version %lld: this program knows versions up to %d",
                         path, (long long)tally->version, LEDGER_SCHEMA_VERSION);
    }
    tally->is_current = tally->version == LEDGER_SCHEMA_VERSION;
    return 0;
}

int backup_check(const char *path, struct backup_tally *tally, struct fault *fault) {
    sqlite3 *const db = open_file(path, fault);
    int result = -1;

    *tally = (struct backup_tally){0};
    if (db == NULL) {
        return -1;
    }
    if (check_identity(db, path, tally, fault) == 0 &&
        run_check(db, path, "PRAGMA integrity_check(1)", fault) == 0 &&
        run_check(db, path,
                  "SELECT 'a row of ' || \"table\" || ' refers to ' || \"parent\" || ' where there is none'"
                  " FROM pragma_foreign_key_check",
                  fault) == 0 &&
        read_number(db, path, "SELECT count(*) FROM run", &tally->runs, fault) == 0 &&
        read_number(db, path, "SELECT count(*) FROM batch", &tally->batches, fault) == 0 &&
        read_number(db, path, "SELECT count(*) FROM reading", &tally->readings, fault) == 0 &&
        read_number(db, path,
                    "SELECT coalesce(max((SELECT max(t_ms) FROM reading r WHERE r.channel_id = c.channel_id)), 0)"
                    " FROM channel c",
                    &tally->last_ms, fault) == 0) {
        result = 0;
    }
    sqlite3_close(db);
    return result;
}

/* The read transaction that is held makes all steps see one state: a writer's commits do not start it anew. */
static int copy_pages(sqlite3 *from, sqlite3 *to, const char *path, struct fault *fault) {
    sqlite3_backup *backup;
    int code;

    if (sqlite3_exec(from, "BEGIN; SELECT 1 FROM sqlite_schema", NULL, NULL, NULL) != SQLITE_OK) {
        return refuse(from, path, "read it", fault);
    }
    backup = sqlite3_backup_init(to, "main", from, "main");
    if (backup == NULL) {
        return refuse(to, path, "copy it", fault);
    }
    do {
        enum { PAGES_AT_ONCE = 4096 };

        code = sqlite3_backup_step(backup, PAGES_AT_ONCE);
    } while (code == SQLITE_OK || code == SQLITE_BUSY || code == SQLITE_LOCKED);
    sqlite3_backup_finish(backup);
    if (code != SQLITE_DONE) {
        return refuse(to, path, "copy it", fault);
    }
    /* The copy's header says that it has a log beside it, which it has not. */
    if (sqlite3_exec(to, "PRAGMA journal_mode = DELETE", NULL, NULL, NULL) != SQLITE_OK) {
        return refuse(to, path, "finish the copy", fault);
    }
    return 0;
}

int backup_copy(const char *from, const char *to, struct fault *fault) {
    sqlite3 *const source = open_file(from, fault);
    sqlite3 *target = NULL;
    int result;

    if (source == NULL) {
        return -1;
    }
    if (sqlite3_open_v2(to, &target, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX, NULL) != SQLITE_OK) {
        result = refuse(target, to, "write it", fault);
    } else {
        result = copy_pages(source, target, to, fault);
    }
    if (sqlite3_close(target) != SQLITE_OK && result == 0) {
        result = fault_set(fault, EX_IOERR, "%s: cannot finish the copy", to);
    }
    sqlite3_close(source);
    return result;
}

int backup_take_place(const char *path, struct fault *fault) {
    static const char *const endings[] = {"", "-wal", "-shm", "-journal"};
    char name[PATH_MAX];
    struct stat status;
    int fd;

    if (snprintf(name, sizeof name, "%s.lock", path) >= (int)sizeof name) {
        return fault_set(fault, EX_CANTCREAT, "%s: the path is too long", path);
    }
    fd = open(name, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, LOCK_MODE);
    if (fd < 0) {
        return fault_set_errno(fault, EX_CANTCREAT, "%s: cannot make the lock file", name);
    }
    if (flock(fd, LOCK_EX | LOCK_NB) != 0) {
        close(fd);
        return fault_set(fault, EX_UNAVAILABLE, "%s: another program is recording into it: stop soakledgerd first",
                         path);
    }
    for (size_t i = 0; i < sizeof endings / sizeof endings[0]; i++) {
        snprintf(name, sizeof name, "%s%s", path, endings[i]);
        if (lstat(name, &status) == 0 || errno != ENOENT) {
            close(fd);
            return fault_set(fault, EX_CANTCREAT,
                             "%.400s: is there already and is not overwritten: move it away first", name);
        }
    }
    return fd;
}
