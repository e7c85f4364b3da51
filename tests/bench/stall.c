// SPDX-License-Identifier: MIT
/* Preloaded under the daemon: while the file named by BENCH_STALL_FILE exists, whoever writes to the disk or waits
 * for it, stands still. Serial lines and pipes are not written with these calls. */
#include <dlfcn.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

enum { LOOK_US = 1000 };

ssize_t pwrite(int fd, const void *bytes, size_t length, off_t offset);
ssize_t pwrite64(int fd, const void *bytes, size_t length, off64_t offset);
int fsync(int fd);
int fdatasync(int fd);

static void stall(void) {
    const char *name = getenv("BENCH_STALL_FILE");

    while (name != NULL && access(name, F_OK) == 0)
        usleep(LOOK_US);
}

/* POSIX lets dlsym's answer be a function; C does not let it be cast to one. */
#define FIND_NEXT(pointer, name)                                                                                   \
    do {                                                                                                           \
        void *found = dlsym(RTLD_NEXT, name);                                                                      \
        memcpy(&(pointer), &found, sizeof(pointer));                                                               \
    } while (0)

ssize_t pwrite(int fd, const void *bytes, size_t length, off_t offset) {
    ssize_t (*next)(int, const void *, size_t, off_t);

    FIND_NEXT(next, "pwrite");
    stall();
    return next(fd, bytes, length, offset);
}

ssize_t pwrite64(int fd, const void *bytes, size_t length, off64_t offset) {
    ssize_t (*next)(int, const void *, size_t, off64_t);

    FIND_NEXT(next, "pwrite64");
    stall();
    return next(fd, bytes, length, offset);
}

int fsync(int fd) {
    int (*next)(int);

    FIND_NEXT(next, "fsync");
    stall();
    return next(fd);
}

int fdatasync(int fd) {
    int (*next)(int);

    FIND_NEXT(next, "fdatasync");
    stall();
    return next(fd);
}
