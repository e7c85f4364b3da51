// SPDX-License-Identifier: MIT
#include "fake_uart.h"

#include <dlfcn.h>
#include <stdarg.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

static const char class_folder[] = "/sys/class/tty/pts/";
// Not "virtual", which means "no port". A link's target has no terminator.
static const char class_target[] = "../../devices/platform/uart/tty/0";
enum { TARGET_BYTES = sizeof class_target - 1 };

static struct {
    bool plugged;
    tcflag_t control_flags;
} fake;

/* What the C library's headers declare with attributes of their own. */
int lstat(const char *path, struct stat *status);
int ioctl(int descriptor, unsigned long request, ...);
// libserialport was built against an older C library, which names lstat so.
int __lxstat(int version, const char *path, struct stat *status); // NOLINT(bugprone-reserved-identifier)

void fake_uart_plug(bool plugged) {
    fake.plugged = plugged;
    fake.control_flags = 0;
}

tcflag_t fake_uart_control_flags(void) {
    return fake.control_flags;
}

static bool is_ours(const char *path) {
    return fake.plugged && strncmp(path, class_folder, sizeof class_folder - 1) == 0;
}

static int answer_link(struct stat *status) {
    memset(status, 0, sizeof *status);
    status->st_mode = S_IFLNK | S_IRWXU;
    return 0;
}

/* ISO C has no conversion from an object pointer to a function pointer; POSIX has, through memory. */
static void find_next(const char *name, void *function) {
    void *symbol = dlsym(RTLD_NEXT, name);

    memcpy(function, &symbol, sizeof symbol);
}

int lstat(const char *path, struct stat *status) {
    int (*next)(const char *, struct stat *);

    if (is_ours(path))
        return answer_link(status);
    find_next("lstat", &next);
    return next(path, status);
}

int __lxstat(int version, const char *path, struct stat *status) { // NOLINT(bugprone-reserved-identifier)
    int (*next)(int, const char *, struct stat *);

    if (is_ours(path))
        return answer_link(status);
    find_next("__lxstat", &next);
    return next(version, path, status);
}

ssize_t readlink(const char *path, char *target, size_t most) {
    ssize_t (*next)(const char *, char *, size_t);

    if (is_ours(path)) {
        const size_t length = TARGET_BYTES < most ? TARGET_BYTES : most;

        memcpy(target, class_target, length);
        return (ssize_t)length;
    }
    find_next("readlink", &next);
    return next(path, target, most);
}

int ioctl(int descriptor, unsigned long request, ...) {
    int (*next)(int, unsigned long, ...);
    va_list arguments;
    void *argument;

    va_start(arguments, request);
    argument = va_arg(arguments, void *);
    va_end(arguments);
    if (fake.plugged && request == TIOCMGET) {
        *(int *)argument = 0;
        return 0;
    }
    if (fake.plugged && (request == TIOCMSET || request == TIOCMBIS || request == TIOCMBIC))
        return 0;
    find_next("ioctl", &next);
    return next(descriptor, request, argument);
}

int tcsetattr(int descriptor, int when, const struct termios *settings) {
    int (*next)(int, int, const struct termios *);

    struct termios without_parity = *settings;

    find_next("tcsetattr", &next);
    if (!fake.plugged)
        return next(descriptor, when, settings);
    // A pseudo-terminal has no parity, and the C library calls that a failure.
    fake.control_flags = settings->c_cflag;
    without_parity.c_cflag &= ~(tcflag_t)(PARENB | PARODD);
    return next(descriptor, when, &without_parity);
}

int tcgetattr(int descriptor, struct termios *settings) {
    int (*next)(int, struct termios *);
    int result;

    find_next("tcgetattr", &next);
    result = next(descriptor, settings);
    if (result == 0 && fake.plugged)
        settings->c_cflag |= fake.control_flags & (PARENB | PARODD);
    return result;
}
