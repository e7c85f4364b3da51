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
    FILE *file; // while it is being written
};

static void keep_free(struct keep *keep) {
    if (keep == NULL)
        return;
    if (keep->file != NULL)
        fclose(keep->file);
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

struct keep *keep_begin(const char *path, FILE **file, struct fault *fault) {
    struct keep *keep = keep_name(path);
    struct stat target;
    mode_t mask;
    int fd;

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
    keep->file = fchmod(fd, FILE_MODE & ~mask) == 0 ? fdopen(fd, "w+b") : NULL;
    if (keep->file == NULL) {
        fault_set_errno(fault, EX_IOERR, "%s: cannot write", keep->written);
        close(fd);
        keep_drop(keep);
        return NULL;
    }
    *file = keep->file;
    return keep;
}

const char *keep_written(const struct keep *keep) {
    return keep->written;
}

int keep_finish(struct keep *keep, struct fault *fault) {
    FILE *file = keep->file;
    const int failed = ferror(file) || fflush(file) != 0 || fsync(fileno(file)) != 0;

    keep->file = NULL;
    if (failed)
        fault_set_errno(fault, EX_IOERR, "%s: cannot write", keep->written);
    if (fclose(file) != 0 && !failed)
        return fault_set_errno(fault, EX_IOERR, "%s: cannot write", keep->written);
    return failed ? -1 : 0;
}

struct keep *keep_write(const char *path, const void *bytes, size_t length, struct fault *fault) {
    FILE *file = NULL;
    struct keep *keep = keep_begin(path, &file, fault);

    if (keep == NULL)
        return NULL;
    fwrite(bytes, 1, length, file);
    if (keep_finish(keep, fault) != 0) {
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
