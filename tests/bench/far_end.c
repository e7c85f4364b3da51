// SPDX-License-Identifier: MIT
#include "far_end.h"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "figure.h"
#include "soakledger/modbus.h"

enum {
    MOST_ARRIVALS = 1 << 20,
    SPIN_US = 150, // about what a timer is late on a busy machine
    TIMER_SLACK_NS = 1,
    IDLE_US = 100000,
    GONE_US = 1000, // between looks at a line that nobody has opened
    US_PER_S = 1000000,
    NS_PER_US = 1000,
    REPLY_EXTRA_BYTES = 5, // address, function, byte count, two of CRC
    FIRST_VALUE = 200,
    RISE_PER_S = 50, // tenths of a degree
};

struct shared {
    _Atomic size_t count;
    struct far_arrival arrivals[MOST_ARRIVALS];
    int64_t late_us[MOST_ARRIVALS];
};

struct far_line {
    int near;
    int64_t look_us; // not to be looked at before
    size_t have;
    uint8_t request[MODBUS_REQUEST_BYTES];
    bool replying;
    size_t arrival; // index of what is being replied to
    int64_t reply_us;
    size_t reply_length;
    uint8_t reply[MODBUS_FRAME_BYTES];
    char path[FAR_PATH_BYTES];
};

struct far_end {
    size_t line_count;
    int speed_baud;
    bool rising;
    int64_t begun_us;
    pid_t child;
    struct shared *shared;
    struct far_line lines[FAR_MOST_LINES];
};

int64_t far_now_us(void) {
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * US_PER_S + now.tv_nsec / NS_PER_US;
}

static int64_t reply_after_us(int speed_baud, size_t reply_length) {
    if (speed_baud == 0)
        return 0;
    return (MODBUS_REQUEST_BYTES + (int64_t)reply_length) * modbus_character_us(speed_baud) +
           modbus_t35_us(speed_baud);
}

int64_t far_cycle_us(int speed_baud, unsigned registers) {
    return reply_after_us(speed_baud, REPLY_EXTRA_BYTES + 2 * registers) + modbus_t35_us(speed_baud);
}

/* ---- the process at the far end ---- */

static void build_reply(const struct far_end *far, struct far_line *line, int64_t now_us) {
    const unsigned count = (unsigned)line->request[4] << 8 | line->request[5];
    const unsigned value =
        FIRST_VALUE + (far->rising ? (unsigned)((now_us - far->begun_us) * RISE_PER_S / US_PER_S) : 0);
    size_t length = 0;
    uint16_t crc;

    line->reply[length++] = line->request[0];
    line->reply[length++] = line->request[1];
    line->reply[length++] = (uint8_t)(2 * count);
    for (unsigned i = 0; i < count; i++) {
        line->reply[length++] = (uint8_t)(value >> 8);
        line->reply[length++] = (uint8_t)value;
    }
    crc = modbus_crc(line->reply, length);
    line->reply[length++] = (uint8_t)crc;
    line->reply[length++] = (uint8_t)(crc >> 8);
    line->reply_length = length;
    line->reply_us = now_us + reply_after_us(far->speed_baud, length);
    line->replying = true;
}

static void take_request(struct far_end *far, size_t index, int64_t now_us) {
    struct far_line *line = &far->lines[index];
    const size_t place = atomic_load(&far->shared->count);

    line->have = 0;
    if (place == MOST_ARRIVALS || line->request[5] > MODBUS_MOST_REGISTERS || line->request[4] > 0)
        return;
    line->arrival = place;
    far->shared->arrivals[place] = (struct far_arrival){now_us, (uint16_t)index, line->request[0]};
    far->shared->late_us[place] = 0;
    atomic_store(&far->shared->count, place + 1);
    build_reply(far, line, now_us);
}

static void read_line(struct far_end *far, size_t index, short events) {
    struct far_line *line = &far->lines[index];
    ssize_t count = 0;

    if (events & POLLIN)
        count = read(line->near, line->request + line->have, sizeof line->request - line->have);
    else if (events & POLLHUP)
        line->look_us = far_now_us() + GONE_US;
    if (count > 0)
        line->have += (size_t)count;
    if (line->have == sizeof line->request)
        take_request(far, index, far_now_us());
}

static void write_reply(struct far_end *far, struct far_line *line) {
    int64_t now_us = far_now_us();

    if (!line->replying || line->reply_us - now_us > SPIN_US)
        return;
    while (now_us < line->reply_us)
        now_us = far_now_us();
    line->replying = false;
    far->shared->late_us[line->arrival] = now_us - line->reply_us;
    if (write(line->near, line->reply, line->reply_length) < 0)
        return; // nobody there: as on a real wire
}

_Noreturn static void serve(struct far_end *far) {
    struct pollfd look[FAR_MOST_LINES];

    prctl(PR_SET_PDEATHSIG, SIGKILL);
    prctl(PR_SET_TIMERSLACK, TIMER_SLACK_NS);
    while (true) {
        const int64_t now_us = far_now_us();
        int64_t until_us = now_us + IDLE_US;
        struct timespec wait;

        for (size_t i = 0; i < far->line_count; i++) {
            const struct far_line *line = &far->lines[i];
            const bool hidden = line->look_us > now_us;

            look[i] = (struct pollfd){.fd = hidden ? -1 : line->near, .events = POLLIN};
            if (hidden && line->look_us < until_us)
                until_us = line->look_us;
            if (line->replying && line->reply_us - SPIN_US < until_us)
                until_us = line->reply_us - SPIN_US;
        }
        until_us = until_us > now_us ? until_us - now_us : 0;
        wait = (struct timespec){until_us / US_PER_S, until_us % US_PER_S * NS_PER_US};
        ppoll(look, far->line_count, &wait, NULL);
        for (size_t i = 0; i < far->line_count; i++) {
            if (look[i].fd >= 0 && look[i].revents != 0)
                read_line(far, i, look[i].revents);
            write_reply(far, &far->lines[i]);
        }
    }
}

/* ---- this end ---- */

static void open_line(struct far_line *line) {
    struct termios settings;

    line->near = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (line->near < 0 || grantpt(line->near) != 0 || unlockpt(line->near) != 0 ||
        ptsname_r(line->near, line->path, sizeof line->path) != 0 || tcgetattr(line->near, &settings) != 0)
        figure_give_up("there is no pseudo-terminal to be had");
    cfmakeraw(&settings);
    tcsetattr(line->near, TCSANOW, &settings);
}

struct far_end *far_open(size_t line_count, int speed_baud, bool rising) {
    struct far_end *far = calloc(1, sizeof *far);

    if (far == NULL || line_count > FAR_MOST_LINES)
        figure_give_up("cannot serve %zu lines", line_count);
    far->line_count = line_count;
    far->speed_baud = speed_baud;
    far->rising = rising;
    far->begun_us = far_now_us();
    far->shared = mmap(NULL, sizeof *far->shared, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (far->shared == MAP_FAILED)
        figure_give_up("no memory for the requests' times");
    for (size_t i = 0; i < line_count; i++)
        open_line(&far->lines[i]);
    far->child = fork();
    if (far->child < 0)
        figure_give_up("cannot start the far end");
    if (far->child == 0)
        serve(far);
    return far;
}

void far_close(struct far_end *far) {
    kill(far->child, SIGKILL);
    waitpid(far->child, NULL, 0);
    for (size_t i = 0; i < far->line_count; i++)
        close(far->lines[i].near);
    munmap(far->shared, sizeof *far->shared);
    free(far);
}

const char *far_path(const struct far_end *far, size_t line) {
    return far->lines[line].path;
}

size_t far_count(const struct far_end *far) {
    return atomic_load(&far->shared->count);
}

const struct far_arrival *far_arrivals(const struct far_end *far) {
    return far->shared->arrivals;
}

int64_t far_late_us(const struct far_end *far) {
    static const double share = 0.99;
    const size_t count = far_count(far);
    int64_t *late_us = calloc(count + 1, sizeof *late_us), result;

    if (late_us == NULL)
        figure_give_up("no memory for %zu times", count);
    memcpy(late_us, far->shared->late_us, count * sizeof *late_us);
    result = figure_percentile(late_us, count, share);
    free(late_us);
    return result;
}
