// SPDX-License-Identifier: MIT
/* backup: a ledger copied as it was at one moment, while it may be written, and looked through.
 *
 * Files are opened here by themselves, read-only, so that a backup of an older version can be checked and put back.
 * Functions return 0, or -1 with a fault that begins with the file's name: EX_NOINPUT if it cannot be opened,
 * EX_DATAERR if it is no ledger, of a newer version or damaged, EX_IOERR, EX_OSERR.
 */
#ifndef SOAKLEDGER_BACKUP_H
#define SOAKLEDGER_BACKUP_H

#include <stdbool.h>
#include <stdint.h>

#include "soakledger/fault.h"

struct backup_tally {
    int64_t version;                          // of its tables
    bool is_current;                          // this program's
    int64_t runs, batches, readings, last_ms; // of the latest reading; 0 if there is none
};

/* Reads every page and every row: nothing is missing, doubled or out of order, every reference leads somewhere. */
int backup_check(const char *path, struct backup_tally *tally, struct fault *fault);
/* Copies the ledger `from` into `to`, an empty file: one moment's state, in one file without a log. Writers go on
 * meanwhile. */
int backup_copy(const char *from, const char *to, struct fault *fault);
/* Keeps everybody from making or recording into the ledger `path` until the descriptor is closed. EX_UNAVAILABLE if
 * somebody is; EX_CANTCREAT if there is such a file, or a log of one. */
int backup_take_place(const char *path, struct fault *fault);

#endif
