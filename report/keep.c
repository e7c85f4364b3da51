// SPDX-License-Identifier: MIT
#include "soakledger/keep.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

enum { FILE_MODE = 0644, COPY_BYTES = 65536 };
static const char SUFFIX[] = ".XXXXXX"; // mkstemp(3)

struct keep {
    char *path;
    char *written; // the temporary name
    char *folder;
    FILE *file; // while it is being written
    const struct keep_far *far;
    int far_fd; // -1 unless `far` has made it and it is not finished yet
};

static void keep_free(struct keep *keep) {
    if (keep == NULL)
        return;
    if (keep->file != NULL)
        fclose(keep->file);
    if (keep->far_fd >= 0)
        close(keep->far_fd);
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
    keep->far_fd = -1;
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

/* Written in memory: what is signed or digested must not be another's to change meanwhile. */
static int keep_begin_far(struct keep *keep, const struct keep_far *far, struct fault *fault) {
    int memory;

    keep->far_fd = far->make(far->context, keep->path, fault);
    if (keep->far_fd < 0)
        return -1;
    keep->far = far;
    memory = memfd_create("sheet", MFD_CLOEXEC);
    keep->file = memory >= 0 ? fdopen(memory, "w+b") : NULL;
    if (keep->file != NULL)
        return 0;
    if (memory >= 0)
        close(memory);
    return fault_set_errno(fault, EX_OSERR, "%s: no memory to write it in", keep->path);
}

struct keep *keep_begin(const struct keep_far *far, const char *path, FILE **file, struct fault *fault) {
    struct keep *keep = keep_name(path);
    struct stat target;
    mode_t mask;
    int fd;

    if (keep == NULL) {
        fault_set(fault, EX_OSERR, "%s: not enough memory", path);
        return NULL;
    }
    if (far != NULL) {
        if (keep_begin_far(keep, far, fault) == 0) {
            *file = keep->file;
            return keep;
        }
        keep_drop(keep);
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

int keep_descriptor(const struct keep *keep) {
    return fileno(keep->file);
}

/* 0, or -1 with errno. */
static int keep_copy(FILE *from, int to) {
    char bytes[COPY_BYTES];

    rewind(from);
    for (size_t got; (got = fread(bytes, 1, sizeof bytes, from)) > 0;)
        for (size_t put = 0; put < got;) {
            const ssize_t done = write(to, bytes + put, got - put);

            if (done < 0 && errno != EINTR)
                return -1;
            put += done > 0 ? (size_t)done : 0;
        }
    return ferror(from) != 0 ? -1 : fsync(to);
}

static int keep_sync(struct keep *keep, FILE *file) {
    int result = ferror(file) || fflush(file) != 0 ? -1 : 0;

    if (result != 0 || keep->far_fd < 0)
        return result != 0 ? -1 : fsync(fileno(file));
    result = keep_copy(file, keep->far_fd);
    if (close(keep->far_fd) != 0)
        result = -1;
    keep->far_fd = -1;
    return result;
}

int keep_finish(struct keep *keep, struct fault *fault) {
    FILE *file = keep->file;
    const int failed = keep_sync(keep, file);

    keep->file = NULL;
    if (failed)
        fault_set_errno(fault, EX_IOERR, "%s: cannot write", keep->written);
    if (fclose(file) != 0 && !failed)
        return fault_set_errno(fault, EX_IOERR, "%s: cannot write", keep->written);
    return failed ? -1 : 0;
}

struct keep *keep_write(const struct keep_far *far, const char *path, const void *bytes, size_t length,
                        struct fault *fault) {
    FILE *file = NULL;
    struct keep *keep = keep_begin(far, path, &file, fault);

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

    if (keep->far != NULL) {
        result = keep->far->name(keep->far->context, keep->path, fault);
    } else if (rename(keep->written, keep->path) != 0) {
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
    if (keep != NULL && keep->far != NULL)
        keep->far->drop(keep->far->context, keep->path);
    else if (keep != NULL)
        unlink(keep->written);
    keep_free(keep);
}
