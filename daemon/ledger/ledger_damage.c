// SPDX-License-Identifier: MIT
/* A recorder must not write into a damaged file: what can still be read from it may be all there is of a run. It is
 * refused, left as it is, and copied once, so that whoever tries to mend it has the original to go back to. */
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "ledger_private.h"

enum {
    COPY_BYTES = 1 << 16,
    COPY_NAME_DIGITS = 12, // of the file's SHA-256: the same damage is copied once, another gets a name of its own
    COPY_FILE_MODE = 0640,
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

/* Copies everything from `from` to `to`; with `digest` also into it. */
static int copy_bytes(int from, int to, EVP_MD_CTX *digest) {
    unsigned char *const bytes = malloc(COPY_BYTES);
    ssize_t got = -1;

    while (bytes != NULL && (got = read(from, bytes, COPY_BYTES)) > 0) {
        if (write(to, bytes, (size_t)got) != got ||
            (digest != NULL && EVP_DigestUpdate(digest, bytes, (size_t)got) != 1)) {
            got = -1;
            break;
        }
    }
    free(bytes);
    return got == 0 && fsync(to) == 0 ? 0 : -1;
}

/* Copies `path` to a temporary file beside it, whose name goes to `temporary`. */
static int copy_beside(const char *path, char temporary[PATH_MAX], EVP_MD_CTX *digest) {
    const int from = open(path, O_RDONLY | O_CLOEXEC);
    int to = -1, result = -1;

    if (from >= 0 && snprintf(temporary, PATH_MAX, "%.*s.XXXXXX", PATH_MAX - 8, path) > 0) {
        to = mkstemp(temporary);
    }
    if (to >= 0 && fchmod(to, COPY_FILE_MODE) == 0) {
        result = copy_bytes(from, to, digest);
    }
    if (to >= 0) {
        close(to);
        if (result != 0) {
            unlink(temporary);
        }
    }
    if (from >= 0) {
        close(from);
    }
    return result;
}

/* The copy appears whole under its name or not at all; one that is there already is the same, and stays. */
static int keep_copy(const char *temporary, const char *name) {
    const int result = access(name, F_OK) == 0 ? 0 : rename(temporary, name);

    unlink(temporary); // gone already where it was renamed
    return result;
}

static int copy_file(const struct ledger *ledger, char copy[PATH_MAX]) {
    char temporary[PATH_MAX], digits[2 * EVP_MAX_MD_SIZE + 1];
    unsigned char sum[EVP_MAX_MD_SIZE];
    unsigned length = 0;
    EVP_MD_CTX *const digest = EVP_MD_CTX_new();
    int result = -1;

    if (digest != NULL && EVP_DigestInit_ex(digest, EVP_sha256(), NULL) == 1) {
        result = copy_beside(ledger->path, temporary, digest);
    }
    if (result == 0 && EVP_DigestFinal_ex(digest, sum, &length) == 1) {
        for (unsigned i = 0; i < length; i++) {
            snprintf(digits + (size_t)2 * i, 3, "%02x", sum[i]);
        }
        snprintf(copy, PATH_MAX, "%.*s.damaged-%.*s", PATH_MAX - 32, ledger->path, COPY_NAME_DIGITS, digits);
        result = keep_copy(temporary, copy);
    }
    EVP_MD_CTX_free(digest);
    return result;
}

/* What was committed but not yet folded into the file is in its log. */
static int copy_log(const struct ledger *ledger, const char *copy) {
    char path[PATH_MAX], name[PATH_MAX], temporary[PATH_MAX];
    struct stat status;

    snprintf(path, sizeof path, "%.*s-wal", PATH_MAX - 8, ledger->path);
    snprintf(name, sizeof name, "%.*s-wal", PATH_MAX - 8, copy);
    if (stat(path, &status) != 0 || status.st_size == 0) {
        return 0;
    }
    return copy_beside(path, temporary, NULL) == 0 ? keep_copy(temporary, name) : -1;
}

int ledger_refuse_damaged(struct ledger *ledger, struct fault *fault) {
    char copy[PATH_MAX], why[FAULT_TEXT_BYTES];

    if (!ledger->damaged) {
        return -1;
    }
    snprintf(why, sizeof why, "%s", fault->text);
    for (size_t i = 0; i < STATEMENT_COUNT; i++) {
        sqlite3_finalize(ledger->statements[i]);
        ledger->statements[i] = NULL;
    }
    sqlite3_close(ledger->db); // closing a descriptor of the file would drop SQLite's locks, were it still open
    ledger->db = NULL;
    if (copy_file(ledger, copy) != 0 || copy_log(ledger, copy) != 0) {
        return fault_set_errno(fault, EX_DATAERR,
                               "%.300s: the ledger is damaged and was left as it is; it could not be copied", why);
    }
    return fault_set(
        fault, EX_DATAERR,
        "%.200s: the ledger is damaged. It was left as it is, and %.160s is a copy of it: mend it from a "
        "backup, or move it away to begin a new one",
        why, copy);
}
