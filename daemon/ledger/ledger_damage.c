// SPDX-License-Identifier: MIT
/* A recorder must not write into a damaged file: what can still be read from it may be all there is of a run. It
 * must not stand still either: the oven goes on. So the file and its log get another name, untouched, and a new
 * ledger is begun in their place.
 *
 * The other name is made first (a second link, durable), and only then is the first one taken away: whatever moment
 * the power fails at, the file is whole under one of them. No byte is read for that, which a failing disk might
 * refuse; only a file system without links is copied on. */
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "ledger_private.h"

enum {
    COPY_BYTES = 1 << 16,
    COPY_FILE_MODE = 0640,
    NAMES_MOST = 1000,      // set aside within one second
    NAME_SPARE_BYTES = 48,  // of a path, for what is appended to it
    APPLICATION_ID_AT = 68, // SQLite's file format: a big-endian number
};

/* A file up to this is looked through as a whole in about a second; of a larger one all tables but the readings.
 * Our own choice: a daemon should not need minutes to start. */
static const int64_t whole_check_bytes = INT64_C(256) << 20;
/* The same of a command, which is used all day: some 20 ms. */
static const int64_t whole_check_bytes_of_command = INT64_C(4) << 20;

static int quick_check(struct ledger *ledger, const char *table, struct fault *fault) {
    char sql[96];
    sqlite3_stmt *statement = NULL;
    const char *words;
    int result = 0;

    sqlite3_snprintf(sizeof sql, sql, table != NULL ? "PRAGMA quick_check(%Q)" : "PRAGMA quick_check(1)", table);
    if (sqlite3_prepare_v2(ledger->db, sql, -1, &statement, NULL) != SQLITE_OK ||
        sqlite3_step(statement) != SQLITE_ROW) {
        result = ledger_fail(ledger, "look through the ledger", fault);
    } else {
        words = (const char *)sqlite3_column_text(statement, 0);
        if (words == NULL || strcmp(words, "ok") != 0) {
            const char *const last = words != NULL ? strrchr(words, '\n') : NULL; // a heading may stand in front

            result = fault_set(fault, EX_DATAERR, "%s: %.120s", ledger->path,
                               last != NULL    ? last + 1
                               : words != NULL ? words
                                               : "unreadable");
            ledger->damaged = true;
        }
    }
    sqlite3_finalize(statement);
    return result;
}

int ledger_check_sound(struct ledger *ledger, struct fault *fault) {
    static const char *const small[] = {"document", "session",   "oven",        "channel",     "fitting",
                                        "event",    "run",       "batch",       "claim",       "judgement",
                                        "finding",  "verdict",   "attestation", "certificate", "disposition",
                                        "hardness", "amendment", "seal",        "seal_part"};
    struct stat status;

    if (stat(ledger->path, &status) == 0 &&
        status.st_size <= (ledger->mode == LEDGER_RECORD ? whole_check_bytes : whole_check_bytes_of_command)) {
        return quick_check(ledger, NULL, fault);
    }
    for (size_t i = 0; i < sizeof small / sizeof small[0]; i++) {
        if (quick_check(ledger, small[i], fault) != 0) {
            return -1;
        }
    }
    return 0;
}

/* ---- another name ---- */

static int copy_bytes(int from, int to) {
    unsigned char *const bytes = malloc(COPY_BYTES);
    ssize_t got = -1;

    while (bytes != NULL && (got = read(from, bytes, COPY_BYTES)) > 0) {
        if (write(to, bytes, (size_t)got) != got) {
            got = -1;
            break;
        }
    }
    free(bytes);
    return got == 0 && fsync(to) == 0 ? 0 : -1;
}

/* The copy appears whole under its name or not at all. */
static int copy_file(const char *path, const char *name) {
    char temporary[PATH_MAX];
    const int from = open(path, O_RDONLY | O_CLOEXEC);
    int to = -1, result = -1;

    if (from >= 0 && snprintf(temporary, sizeof temporary, "%.*s.XXXXXX", PATH_MAX - 8, path) > 0) {
        to = mkstemp(temporary);
    }
    if (to >= 0 && fchmod(to, COPY_FILE_MODE) == 0) {
        result = copy_bytes(from, to);
    }
    if (to >= 0) {
        close(to);
        if (result == 0) {
            result = rename(temporary, name);
        }
        if (result != 0) {
            unlink(temporary);
        }
    }
    if (from >= 0) {
        close(from);
    }
    return result;
}

/* Gives the file a second name. One that has it already, from a time that was cut short, is done. */
static int name_again(const char *path, const char *name) {
    struct stat one, other;

    if (link(path, name) == 0) {
        return 0;
    }
    if (errno == EEXIST) {
        if (stat(path, &one) == 0 && stat(name, &other) == 0 && one.st_dev == other.st_dev &&
            one.st_ino == other.st_ino) {
            return 0;
        }
        errno = EEXIST;
        return -1;
    }
    return errno == EPERM || errno == EOPNOTSUPP || errno == ENOSYS ? copy_file(path, name) : -1;
}

/* A name that nothing has yet, by the wall clock: what a person looks for is when it was. */
static int choose_name(const struct ledger *ledger, char name[PATH_MAX]) {
    const time_t now = time(NULL);
    struct tm utc;
    char when[sizeof "20261116T074500Z"];

    if (gmtime_r(&now, &utc) == NULL || strftime(when, sizeof when, "%Y%m%dT%H%M%SZ", &utc) == 0 ||
        strlen(ledger->path) > PATH_MAX - NAME_SPARE_BYTES) {
        errno = ENAMETOOLONG;
        return -1;
    }
    for (int i = 1; i < NAMES_MOST; i++) {
        const char *const more = i == 1 ? "" : "-";

        snprintf(name, PATH_MAX, i == 1 ? "%s.damaged-%s%s" : "%s.damaged-%s%s%d", ledger->path, when, more, i);
        if (name_again(ledger->path, name) == 0) {
            return 0;
        }
        if (errno != EEXIST) {
            return -1;
        }
    }
    return -1;
}

static int sync_folder(const char *path) {
    char folder[PATH_MAX];
    char *slash;
    int descriptor, result;

    snprintf(folder, sizeof folder, "%.*s", PATH_MAX - 1, path);
    slash = strrchr(folder, '/');
    if (slash != NULL) {
        slash[1] = '\0';
    }
    descriptor = open(slash != NULL ? folder : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor < 0) {
        return -1;
    }
    result = fsync(descriptor);
    close(descriptor);
    return result;
}

/* What was committed but not yet folded into the file is in its log, which goes with it. The log's index says
 * nothing that the log does not. */
static int give_another_name(const struct ledger *ledger, char name[PATH_MAX]) {
    char log[PATH_MAX], log_name[PATH_MAX], index[PATH_MAX];
    struct stat status;

    if (choose_name(ledger, name) != 0) {
        return -1;
    }
    snprintf(log, sizeof log, "%.*s-wal", PATH_MAX - NAME_SPARE_BYTES, ledger->path);
    snprintf(log_name, sizeof log_name, "%.*s-wal", PATH_MAX - 8, name);
    snprintf(index, sizeof index, "%.*s-shm", PATH_MAX - NAME_SPARE_BYTES, ledger->path);
    if (stat(log, &status) == 0 && status.st_size > 0 && name_again(log, log_name) != 0) {
        return -1;
    }
    if (sync_folder(ledger->path) != 0 || unlink(ledger->path) != 0) {
        return -1;
    }
    unlink(log); // a new ledger would not take it for its own: SQLite drops the log of an empty file
    unlink(index);
    return sync_folder(ledger->path);
}

/* ---- in its place ---- */

/* A file that somebody pointed us at by mistake is nobody's damaged ledger: either it says that it is a ledger, or
 * a recorder was at it before. */
static bool is_ours(const struct ledger *ledger) {
    unsigned char bytes[4] = {0};
    const int descriptor = open(ledger->path, O_RDONLY | O_CLOEXEC);
    bool says_so = false;

    if (descriptor >= 0) {
        says_so = pread(descriptor, bytes, sizeof bytes, APPLICATION_ID_AT) == (ssize_t)sizeof bytes &&
                  ((unsigned)bytes[0] << 24 | (unsigned)bytes[1] << 16 | (unsigned)bytes[2] << 8 | bytes[3]) ==
                      (unsigned)LEDGER_APPLICATION_ID;
        close(descriptor);
    }
    return says_so || ledger->had_lock;
}

static void let_go(struct ledger *ledger) {
    for (size_t i = 0; i < STATEMENT_COUNT; i++) {
        sqlite3_finalize(ledger->statements[i]);
        ledger->statements[i] = NULL;
    }
    if (ledger->db != NULL) { // nothing of the log is folded into it any more
        sqlite3_db_config(ledger->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
        sqlite3_close_v2(ledger->db);
    }
    ledger->db = NULL;
}

int ledger_begin_anew(struct ledger *ledger, struct fault *fault) {
    char name[PATH_MAX];

    if (!ledger->damaged && ledger->db != NULL) {
        return 0;
    }
    if (ledger->damaged && !is_ours(ledger)) {
        return fault_set(fault, EX_DATAERR, "%s: not a ledger, and left as it is: expected one, or no file at all",
                         ledger->path);
    }
    let_go(ledger);
    if (ledger->damaged) {
        char *kept;

        snprintf(ledger->damage, sizeof ledger->damage, "%s", fault->text);
        if (give_another_name(ledger, name) != 0) {
            return fault_set_errno(fault, EX_IOERR, "%s: damaged, and cannot be set aside", ledger->path);
        }
        kept = strdup(name);
        if (kept == NULL) {
            return fault_set(fault, EX_OSERR, "%s: out of memory", ledger->path);
        }
        free(ledger->kept);
        ledger->kept = kept;
        ledger->damaged = false;
    }
    return ledger_reopen(ledger, fault) == 0 ? 1 : -1;
}

bool ledger_is_damaged(const struct ledger *ledger) {
    return ledger->damaged;
}

const char *ledger_kept_file(const struct ledger *ledger) {
    return ledger->kept;
}

const char *ledger_damage(const struct ledger *ledger) {
    return ledger->damage;
}
