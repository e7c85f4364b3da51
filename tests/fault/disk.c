// SPDX-License-Identifier: MIT
/* Preloaded under a program: a disk that fails. It concerns only files with FAULT_FILE in their names.
 *
 * FAULT_CONTROL names a file whose first letter says what happens to writes and syncs while it exists: f, the disk
 * is full (ENOSPC; syncs work); r, it is read-only (EROFS); s, it stands still until the file is gone.
 *
 * FAULT_CUT is a number: at that write or sync the power fails. Of what was written since a file's last sync, any
 * part may have reached the disk, in sectors of 512 bytes: each is kept or taken back by the toss of a coin whose
 * seed is the same number. Then the program is killed. New names in a folder are taken to be durable. */
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

enum { LOOK_US = 1000, SECTOR_BYTES = 512, NAME_BYTES = 4096 };

/* What one sector held before it was written, and how long the file was. */
struct before {
    struct before *earlier;
    dev_t device;
    ino_t inode;
    int descriptor; // of `files`
    off_t at, file_bytes;
    size_t length;
    bool grew; // the file, by this
    char bytes[SECTOR_BYTES];
};

/* One duplicate for each file, never closed: closing any descriptor of a file would drop its locks. */
static struct {
    dev_t device;
    ino_t inode;
    int descriptor;
} files[16];
static size_t file_count;
static struct before *unsynced; // the latest first
static long operations;
static pthread_mutex_t mutex = PTHREAD_MUTEX_INITIALIZER;

ssize_t pwrite(int fd, const void *bytes, size_t length, off_t offset);
ssize_t pwrite64(int fd, const void *bytes, size_t length, off64_t offset);
int ftruncate(int fd, off_t length);
int ftruncate64(int fd, off64_t length);
int fsync(int fd);
int fdatasync(int fd);

/* POSIX lets dlsym's answer be a function; C does not let it be cast to one. */
#define FIND_NEXT(pointer, name)                                                                                   \
    do {                                                                                                           \
        void *found = dlsym(RTLD_NEXT, name);                                                                      \
        memcpy(&(pointer), &found, sizeof(pointer));                                                               \
    } while (0)

static ssize_t really_write(int fd, const void *bytes, size_t length, off_t offset) {
    ssize_t (*next)(int, const void *, size_t, off_t);

    FIND_NEXT(next, "pwrite");
    return next(fd, bytes, length, offset);
}

static int really_truncate(int fd, off_t length) {
    int (*next)(int, off_t);

    FIND_NEXT(next, "ftruncate");
    return next(fd, length);
}

static bool concerns(int fd) {
    const char *part = getenv("FAULT_FILE");
    char link[64], name[NAME_BYTES];
    ssize_t length;

    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    length = readlink(link, name, sizeof name - 1);
    if (part == NULL || length < 0)
        return false;
    name[length] = '\0';
    return strstr(name, part) != NULL;
}

static bool still_is(char letter, const char *control) {
    const int file = control != NULL ? open(control, O_RDONLY | O_CLOEXEC) : -1;
    char first = '\0';

    if (file < 0)
        return false;
    if (read(file, &first, 1) != 1)
        first = '\0';
    close(file);
    return first == letter;
}

/* 0, or what a write gives now; a sync of a full disk is none. */
static int trouble(bool is_write) {
    const char *control = getenv("FAULT_CONTROL");

    while (still_is('s', control))
        usleep(LOOK_US);
    if (is_write && still_is('f', control))
        return ENOSPC;
    return still_is('r', control) ? EROFS : 0;
}

/* ---- the cut ---- */

static void take_back(const struct before *before) {
    struct stat status;

    if (before->length > 0)
        really_write(before->descriptor, before->bytes, before->length, before->at);
    if (before->grew && fstat(before->descriptor, &status) == 0 && status.st_size > before->file_bytes)
        really_truncate(before->descriptor, before->file_bytes);
}

/* Latest first, so that the earliest word on a sector stands in the end. */
static void cut(unsigned seed) {
    for (const struct before *before = unsynced; before != NULL; before = before->earlier) {
        if (rand_r(&seed) % 2 == 0)
            take_back(before);
    }
    kill(getpid(), SIGKILL);
}

static void count_operation(void) {
    const char *at = getenv("FAULT_CUT");

    operations++;
    if (at != NULL && operations == atol(at))
        cut((unsigned)operations);
}

static int find_descriptor(int fd, const struct stat *status) {
    for (size_t i = 0; i < file_count; i++) {
        if (files[i].device == status->st_dev && files[i].inode == status->st_ino)
            return files[i].descriptor;
    }
    if (file_count == sizeof files / sizeof files[0])
        abort();
    files[file_count].device = status->st_dev;
    files[file_count].inode = status->st_ino;
    files[file_count].descriptor = fcntl(fd, F_DUPFD_CLOEXEC, 100);
    return files[file_count++].descriptor;
}

static void remember_sector(int fd, const struct stat *status, off_t at, size_t most) {
    struct before *before = calloc(1, sizeof *before);
    ssize_t got;

    if (before == NULL)
        abort();
    *before = (struct before){.earlier = unsynced,
                              .device = status->st_dev,
                              .inode = status->st_ino,
                              .descriptor = find_descriptor(fd, status),
                              .at = at,
                              .file_bytes = status->st_size};
    got = pread(fd, before->bytes, most, at);
    before->length = got > 0 ? (size_t)got : 0;
    before->grew = before->length < most;
    unsynced = before;
}

static void remember(int fd, off_t at, size_t length) {
    const off_t end = at + (off_t)length;
    struct stat status;

    if (getenv("FAULT_CUT") == NULL || fstat(fd, &status) != 0)
        return;
    while (at < end) {
        const off_t next = (at / SECTOR_BYTES + 1) * SECTOR_BYTES;
        const off_t until = next < end ? next : end;

        remember_sector(fd, &status, at, (size_t)(until - at));
        at = until;
    }
}

static void forget(int fd) {
    struct before **at = &unsynced;
    struct stat status;

    if (fstat(fd, &status) != 0)
        return;
    while (*at != NULL) {
        struct before *const before = *at;

        if (before->device != status.st_dev || before->inode != status.st_ino) {
            at = &before->earlier;
            continue;
        }
        *at = before->earlier;
        free(before);
    }
}

/* ---- what is called ---- */

static ssize_t write_faultily(int fd, const void *bytes, size_t length, off_t offset) {
    ssize_t result;
    int error;

    if (!concerns(fd))
        return really_write(fd, bytes, length, offset);
    error = trouble(true);
    if (error != 0) {
        errno = error;
        return -1;
    }
    pthread_mutex_lock(&mutex);
    count_operation();
    remember(fd, offset, length);
    result = really_write(fd, bytes, length, offset);
    pthread_mutex_unlock(&mutex);
    return result;
}

static int truncate_faultily(int fd, off_t length) {
    struct stat status;
    int result;

    if (concerns(fd)) {
        pthread_mutex_lock(&mutex);
        count_operation();
        if (fstat(fd, &status) == 0 && status.st_size > length)
            remember(fd, length, (size_t)(status.st_size - length));
        result = really_truncate(fd, length);
        pthread_mutex_unlock(&mutex);
        return result;
    }
    return really_truncate(fd, length);
}

static int sync_faultily(int fd, const char *name) {
    int (*next)(int);
    int result, error;

    FIND_NEXT(next, name);
    if (!concerns(fd))
        return next(fd);
    error = trouble(false);
    if (error != 0) {
        errno = error;
        return -1;
    }
    pthread_mutex_lock(&mutex);
    count_operation();
    result = next(fd);
    if (result == 0)
        forget(fd);
    pthread_mutex_unlock(&mutex);
    return result;
}

ssize_t pwrite(int fd, const void *bytes, size_t length, off_t offset) {
    return write_faultily(fd, bytes, length, offset);
}

ssize_t pwrite64(int fd, const void *bytes, size_t length, off64_t offset) {
    return write_faultily(fd, bytes, length, offset);
}

int ftruncate(int fd, off_t length) {
    return truncate_faultily(fd, length);
}

int ftruncate64(int fd, off64_t length) {
    return truncate_faultily(fd, length);
}

int fsync(int fd) {
    return sync_faultily(fd, "fsync");
}

int fdatasync(int fd) {
    return sync_faultily(fd, "fdatasync");
}
