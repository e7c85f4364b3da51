// SPDX-License-Identifier: MIT
/* libserialport finds and sets up a real port, and is then left alone: its reading counts a read of nothing as
 * progress and would spin on an unplugged adapter. All reading and writing is done here, on the descriptor.
 *
 * A terminal that hangs up shows it in several ways: a read of nothing though the descriptor is ready, EIO,
 * ENXIO or POLLHUP. But where the terminal's settings say VMIN 0, as libserialport's do, a read of nothing is also
 * what an idle line gives. Only asking poll() tells the two apart.
 */
#include "soakledger/line.h"

#include <errno.h>
#include <fcntl.h>
#include <libserialport.h>
#include <limits.h>
#include <poll.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

enum { FEW_DATA_BITS = 7, DATA_BITS = 8 }; // ASCII and RTU characters (Serial Line guide, section 2.5)

struct line {
    int descriptor;
    bool claimed;
    struct sp_port *port; // NULL for a pseudo-terminal
};

static int explain(const struct config_line *config, int error, struct fault *fault, const char *attempt) {
    int status = EX_IOERR;

    if (error == ENOENT || error == ENXIO || error == ENODEV)
        status = EX_NOINPUT;
    else if (error == EBUSY || error == EWOULDBLOCK)
        status = EX_UNAVAILABLE;
    if (status == EX_UNAVAILABLE)
        return fault_set(fault, status, "line %s: %s is used by another program", config->name, config->device);
    errno = error;
    return fault_set_errno(fault, status, "line %s: cannot %s %s", config->name, attempt, config->device);
}

/* TIOCEXCL keeps out whoever comes later and is not root, flock everybody who asks for it. */
static int claim(const struct config_line *config, struct line *line, struct fault *fault) {
    if (flock(line->descriptor, LOCK_EX | LOCK_NB) != 0 || ioctl(line->descriptor, TIOCEXCL) != 0)
        return explain(config, errno, fault, "lock");
    line->claimed = true;
    return 0;
}

static enum sp_parity translate_parity(enum parity parity) {
    switch (parity) {
    case PARITY_EVEN: return SP_PARITY_EVEN;
    case PARITY_ODD: return SP_PARITY_ODD;
    case PARITY_NONE: break;
    }
    return SP_PARITY_NONE;
}

static int set_up_port(const struct config_line *config, struct sp_port *port, struct fault *fault) {
    struct sp_port_config *settings;
    int error = 0;

    if (sp_new_config(&settings) != SP_OK)
        return fault_set(fault, EX_OSERR, "line %s: no memory for its settings", config->name);
    sp_set_config_baudrate(settings, config->speed_baud);
    sp_set_config_bits(settings, config->data_bits == FEW_DATA_BITS ? FEW_DATA_BITS : DATA_BITS);
    sp_set_config_parity(settings, translate_parity(config->parity));
    sp_set_config_stopbits(settings, config->stop_bits);
    sp_set_config_flowcontrol(settings, SP_FLOWCONTROL_NONE);
    errno = 0;
    if (sp_set_config(port, settings) != SP_OK)
        error = sp_last_error_code() != 0 ? sp_last_error_code() : EINVAL;
    sp_free_config(settings);
    return error == 0 ? 0 : explain(config, error, fault, "set speed and parity of");
}

/* Which of libserialport's versions close the descriptor when they fail to open differs: whatever is left is
 * closed here. */
static void abandon_port(struct sp_port *port) {
    int descriptor = -1;

    if (sp_get_port_handle(port, &descriptor) == SP_OK && descriptor >= 0)
        close(descriptor);
    sp_free_port(port);
}

/* sp_open changes a port's settings before it can be locked. Another program's port is recognised before that,
 * by a descriptor of our own; it stays open across sp_open so that the control lines do not drop in between.
 * It must not keep the lock: a libserialport that locks would find the port taken. */
static int try_port(const struct config_line *config, const char *path, struct fault *fault) {
    const int descriptor = open(path, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);

    if (descriptor < 0)
        return explain(config, errno, fault, "open");
    if (flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
        explain(config, errno, fault, "lock");
        close(descriptor);
        return -1;
    }
    flock(descriptor, LOCK_UN);
    return descriptor;
}

static int open_named_port(const struct config_line *config, const char *path, struct line *line,
                           struct fault *fault) {
    const int first = try_port(config, path, fault);
    int error = EINVAL;
    enum sp_return result;

    if (first < 0)
        return -1;
    errno = 0;
    result = sp_open(line->port, SP_MODE_READ_WRITE);
    if (result == SP_ERR_FAIL)
        error = sp_last_error_code();
    close(first);
    if (result != SP_OK || sp_get_port_handle(line->port, &line->descriptor) != SP_OK) {
        abandon_port(line->port);
        line->port = NULL;
        line->descriptor = -1;
        return explain(config, error, fault, "open");
    }
    fcntl(line->descriptor, F_SETFD, FD_CLOEXEC);
    return 0;
}

static int open_port(const struct config_line *config, struct line *line, struct fault *fault) {
    char path[PATH_MAX]; // libserialport takes no links, such as udev makes

    if (realpath(config->device, path) == NULL)
        return explain(config, errno, fault, "open");
    if (sp_get_port_by_name(path, &line->port) != SP_OK) {
        line->port = NULL;
        return fault_set(fault, EX_IOERR,
                         "line %s: %s is no serial port that the system knows (a pseudo-terminal must be "
                         "configured as one)",
                         config->name, config->device);
    }
    if (open_named_port(config, path, line, fault) != 0 || claim(config, line, fault) != 0)
        return -1;
    return set_up_port(config, line->port, fault);
}

static int open_pseudo_terminal(const struct config_line *config, struct line *line, struct fault *fault) {
    struct termios settings;

    line->descriptor = open(config->device, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (line->descriptor < 0)
        return explain(config, errno, fault, "open");
    if (tcgetattr(line->descriptor, &settings) != 0)
        return explain(config, errno, fault, "use as a terminal");
    if (claim(config, line, fault) != 0)
        return -1;
    cfmakeraw(&settings);
    settings.c_cflag |= CLOCAL | CREAD;
    if (tcsetattr(line->descriptor, TCSANOW, &settings) != 0)
        return explain(config, errno, fault, "set up");
    return 0;
}

struct line *line_open(const struct config_line *config, struct fault *fault) {
    struct line *line = calloc(1, sizeof *line);
    int result;

    if (line == NULL) {
        fault_set(fault, EX_OSERR, "line %s: no memory", config->name);
        return NULL;
    }
    line->descriptor = -1;
    if (config->kind == LINE_SERIAL)
        result = open_port(config, line, fault);
    else
        result = open_pseudo_terminal(config, line, fault);
    if (result != 0) {
        line_close(line);
        return NULL;
    }
    tcflush(line->descriptor, TCIOFLUSH);
    return line;
}

void line_close(struct line *line) {
    if (line == NULL)
        return;
    if (line->claimed) {
        // What could not be sent must not hold up the closing of a dead line.
        tcflush(line->descriptor, TCIOFLUSH);
        ioctl(line->descriptor, TIOCNXCL);
    }
    if (line->port != NULL) {
        sp_close(line->port);
        sp_free_port(line->port);
    } else if (line->descriptor >= 0) {
        close(line->descriptor);
    }
    free(line);
}

int line_descriptor(const struct line *line) {
    return line->descriptor;
}

static int look_at(int descriptor) {
    struct pollfd look = {.fd = descriptor, .events = POLLIN};

    return poll(&look, 1, 0) < 0 ? 0 : look.revents;
}

ssize_t line_read(struct line *line, uint8_t *bytes, size_t most) {
    // A read of nothing is tried once more: bytes may have come between it and the look.
    for (int tries = 0; tries < 2;) {
        const ssize_t count = read(line->descriptor, bytes, most);
        int state;

        if (count > 0)
            return count;
        if (count < 0 && errno == EAGAIN)
            return 0;
        if (count < 0 && errno != EINTR)
            return -1;
        if (count < 0)
            continue;
        state = look_at(line->descriptor);
        if (!(state & POLLIN))
            return state & (POLLHUP | POLLERR | POLLNVAL) ? -1 : 0;
        tries++;
    }
    return -1;
}

ssize_t line_write(struct line *line, const uint8_t *bytes, size_t length) {
    for (;;) {
        const ssize_t count = write(line->descriptor, bytes, length);

        if (count >= 0)
            return count;
        if (errno == EAGAIN)
            return 0;
        if (errno != EINTR)
            return -1;
    }
}

void line_discard(struct line *line) {
    tcflush(line->descriptor, TCIFLUSH);
}
