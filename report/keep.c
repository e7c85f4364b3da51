// SPDX-License-Identifier: MIT
#include "soakledger/keep.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { FILE_MODE = 0644 };
static const char SUFFIX[] = ".XXXXXX"; // mkstemp(3)

struct keep {
    char *path;
    char *written; // the temporary name
    char *folder;
};

static void keep_free(struct keep *keep) {
    if (keep == NULL)
        return;
    free(keep->path);
    free(keep->written);
    free(keep->folder);
    free(keep);
}

static struct keep *keep_name(const char *path) {
    struct keep *keep = calloc(1, sizeof *keep);
    const char *slash = strrchr(path, '/');

    if (keep == NULL)
        return NULL;
    keep->path = strdup(path);
    keep->folder = slash == NULL ? strdup(".") : strndup(path, slash == path ? 1 : (size_t)(slash - path));
    keep->written = malloc(strlen(path) + sizeof SUFFIX);
    if (keep->path == NULL || keep->folder == NULL || keep->written == NULL) {
        keep_free(keep);
        return NULL;
    }
    snprintf(keep->written, strlen(path) + sizeof SUFFIX, "%s%s", path, SUFFIX);
    return keep;
}

static int keep_write_all(int fd, const char *bytes, size_t length) {
    while (length > 0) {
        const ssize_t wrote = write(fd, bytes, length);

        if (wrote < 0 && errno == EINTR)
            continue;
        if (wrote <= 0)
            return -1;
        bytes += wrote;
        length -= (size_t)wrote;
    }
    return 0;
}

struct keep *keep_write(const char *path, const void *bytes, size_t length, struct fault *fault) {
    struct keep *keep = keep_name(path);
    struct stat target;
    mode_t mask;
    int fd, failed;

    if (keep == NULL) {
        fault_set(fault, EX_OSERR, "%s: not enough memory", path);
        return NULL;
    }
    if (stat(path, &target) == 0 && !S_ISREG(target.st_mode)) {
        fault_set(fault, EX_CANTCREAT, "%s: is there already and no plain file: expected the name of a file", path);
        keep_free(keep);
        return NULL;
    }
    fd = mkostemp(keep->written, O_CLOEXEC);
    if (fd < 0) {
        fault_set_errno(fault, EX_CANTCREAT, "%s: cannot make a file in this folder", path);
        keep_free(keep);
        return NULL;
    }
    mask = umask(0); // only to read it
    umask(mask);
    failed = fchmod(fd, FILE_MODE & ~mask) != 0 || keep_write_all(fd, bytes, length) != 0 || fsync(fd) != 0;
    if (failed)
        fault_set_errno(fault, EX_IOERR, "%s: cannot write", keep->written);
    if (close(fd) != 0 && !failed) {
        fault_set_errno(fault, EX_IOERR, "%s: cannot write", keep->written);
        failed = 1;
    }
    if (failed) {
        keep_drop(keep);
        return NULL;
    }
    return keep;
}

int keep_rename(struct keep *keep, struct fault *fault) {
    int result = 0, folder;

    if (rename(keep->written, keep->path) != 0) {
        result = fault_set_errno(fault, EX_CANTCREAT, "%s: cannot be given this name and stays as %s", keep->path,
                                 keep->written);
    } else {
        folder = open(keep->folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
        if (folder < 0 || fsync(folder) != 0)
            result = fault_set_errno(fault, EX_IOERR, "%s: cannot sync the folder", keep->folder);
        if (folder >= 0)
            close(folder);
    }
    keep_free(keep);
    return result;
}

void keep_drop(struct keep *keep) {
    if (keep != NULL)
        unlink(keep->written);
    keep_free(keep);
}
