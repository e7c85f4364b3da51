// SPDX-License-Identifier: MIT
/* keep: a file that a person keeps. It appears whole under its name or not at all: written beside it under another
 * name, synced, renamed, and the folder synced. An interrupted write leaves what was there before. */
#ifndef SOAKLEDGER_KEEP_H
#define SOAKLEDGER_KEEP_H

#include <stddef.h>
#include <stdio.h>

#include "soakledger/fault.h"

struct keep;

/* A file that somebody else makes and names, who need not be trusted: it is written elsewhere first, where nobody
 * can change it, and copied there when it is finished. The functions are as theirs below; `make` returns a
 * descriptor to write to, or -1, and it becomes the caller's. */
struct keep_far {
    void *context;
    int (*make)(void *context, const char *path, struct fault *fault);
    int (*name)(void *context, const char *path, struct fault *fault);
    void (*drop)(void *context, const char *path);
};

/* Writes and syncs the bytes under a temporary name in the folder of `path`; with `far`, which may be NULL and must
 * outlive it, by way of that. EX_CANTCREAT or EX_IOERR. */
struct keep *keep_write(const struct keep_far *far, const char *path, const void *bytes, size_t length,
                        struct fault *fault);
/* The same for what is written bit by bit: `file` is empty, open for writing and reading, and belongs to `keep`.
 * Follow with keep_finish and keep_rename, or with keep_drop. */
struct keep *keep_begin(const struct keep_far *far, const char *path, FILE **file, struct fault *fault);
/* Its temporary name, for whoever cannot write through `file`. Lasts as long as `keep`. */
const char *keep_written(const struct keep *keep);
/* Its descriptor, until keep_finish. */
int keep_descriptor(const struct keep *keep);
/* Syncs and closes the file. */
int keep_finish(struct keep *keep, struct fault *fault);
/* Gives the file its name, and frees `keep` either way. On failure the written file stays, and the fault names it.
 */
int keep_rename(struct keep *keep, struct fault *fault);
/* Removes what was written; NULL is allowed. */
void keep_drop(struct keep *keep);

#endif
