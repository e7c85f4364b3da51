// SPDX-License-Identifier: MIT
// Measures real time: runs alone.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "soakledger/line.h"
#include "support/fake_uart.h"
#include "support/pty_pair.h"

enum { WAIT_MS = 2000, BAUD = 19200, MOST_DESCRIPTORS = 64 };

static struct config_line configure(const char *device, enum line_kind kind) {
    return (struct config_line){
        .name = "bench", .device = device, .kind = kind, .speed_baud = BAUD, .parity = PARITY_EVEN, .stop_bits = 1};
}

static struct line *open_line(const struct pty_pair *pair, enum line_kind kind) {
    const struct config_line config = configure(pair->far, kind);
    struct fault fault = {0};
    struct line *line = line_open(&config, &fault);

    if (line == NULL)
        fail_msg("%s", fault.text);
    return line;
}

static void expect_fault(const char *device, enum line_kind kind, int status, const char *part) {
    const struct config_line config = configure(device, kind);
    struct fault fault = {0};

    assert_null(line_open(&config, &fault));
    assert_int_equal(fault.status, status);
    assert_non_null(strstr(fault.text, "bench"));
    assert_non_null(strstr(fault.text, device));
    assert_non_null(strstr(fault.text, part));
}

static int count_descriptors(void) {
    int count = 0;

    for (int descriptor = 0; descriptor < MOST_DESCRIPTORS; descriptor++)
        count += fcntl(descriptor, F_GETFD) >= 0;
    return count;
}

static void wait_readable(int descriptor) {
    struct pollfd look = {.fd = descriptor, .events = POLLIN};

    assert_int_equal(poll(&look, 1, WAIT_MS), 1);
}

/* As a shell or a log-in program would leave it. */
static void cook(int descriptor) {
    struct termios settings;

    assert_int_equal(tcgetattr(descriptor, &settings), 0);
    settings.c_iflag |= ICRNL | IXON;
    settings.c_oflag |= OPOST | ONLCR;
    settings.c_lflag |= ICANON | ECHO | ISIG;
    assert_int_equal(tcsetattr(descriptor, TCSANOW, &settings), 0);
}

/* Every byte value both ways: nothing is translated, echoed, or taken for a control character. */
static void carries_every_byte(enum line_kind kind) {
    struct pty_pair pair;
    struct line *line;
    uint8_t all[UINT8_MAX + 1], got[sizeof all];
    size_t length = 0;

    pty_pair_open(&pair);
    cook(pair.near);
    line = open_line(&pair, kind);
    for (size_t i = 0; i < sizeof all; i++)
        all[i] = (uint8_t)i;
    assert_int_equal(line_read(line, got, sizeof got), 0);
    assert_int_equal(write(pair.near, all, sizeof all), sizeof all);
    while (length < sizeof all) {
        ssize_t count;

        wait_readable(line_descriptor(line));
        count = line_read(line, got + length, sizeof got - length);
        assert_true(count > 0);
        length += (size_t)count;
    }
    assert_memory_equal(got, all, sizeof all);
    assert_int_equal(line_read(line, got, sizeof got), 0);

    assert_int_equal(line_write(line, all, sizeof all), sizeof all);
    wait_readable(pair.near);
    assert_int_equal(read(pair.near, got, sizeof got), sizeof got);
    assert_memory_equal(got, all, sizeof all);
    line_close(line);
    pty_pair_close(&pair);
}

static void is_gone_when_hung_up(enum line_kind kind) {
    struct pty_pair pair;
    struct line *line;
    uint8_t byte = 7;

    pty_pair_open(&pair);
    line = open_line(&pair, kind);
    assert_int_equal(line_read(line, &byte, 1), 0);
    pty_pair_close(&pair);
    assert_int_equal(line_read(line, &byte, 1), -1);
    assert_int_equal(line_read(line, &byte, 1), -1);
    assert_int_equal(line_write(line, &byte, 1), -1);
    line_close(line);
}

static void is_nobody_elses(enum line_kind kind) {
    const int before = count_descriptors();
    struct pty_pair pair;
    struct line *line;
    int other;

    pty_pair_open(&pair);
    line = open_line(&pair, kind);
    assert_true(fcntl(line_descriptor(line), F_GETFD) & FD_CLOEXEC);
    assert_true(fcntl(line_descriptor(line), F_GETFL) & O_NONBLOCK);
    // Root gets past TIOCEXCL and meets the lock; anybody else is kept out by either.
    expect_fault(pair.far, kind, EX_UNAVAILABLE, "another program");
    expect_fault(pair.far, kind, EX_UNAVAILABLE, "another program");
    line_close(line);

    other = open(pair.far, O_RDWR | O_NOCTTY | O_CLOEXEC);
    assert_true(other >= 0);
    assert_int_equal(flock(other, LOCK_EX | LOCK_NB), 0);
    expect_fault(pair.far, kind, EX_UNAVAILABLE, "another program");
    assert_int_equal(flock(other, LOCK_UN), 0);
    line_close(open_line(&pair, kind));
    close(other);
    pty_pair_close(&pair);
    assert_int_equal(count_descriptors(), before);
}

static void leaves_anothers_settings_alone(enum line_kind kind) {
    struct pty_pair pair;
    struct termios before, after;
    int other;

    pty_pair_open(&pair);
    other = open(pair.far, O_RDWR | O_NOCTTY | O_CLOEXEC);
    assert_true(other >= 0);
    assert_int_equal(flock(other, LOCK_EX), 0);
    assert_int_equal(tcgetattr(other, &before), 0);
    before.c_lflag |= ICANON;
    assert_int_equal(tcsetattr(other, TCSANOW, &before), 0);
    assert_int_equal(tcgetattr(other, &before), 0);
    assert_int_equal(write(pair.near, "wait\n", 5), 5);
    wait_readable(other);
    expect_fault(pair.far, kind, EX_UNAVAILABLE, "another program");
    assert_int_equal(tcgetattr(other, &after), 0);
    assert_int_equal(after.c_lflag, before.c_lflag);
    wait_readable(other); // nor was anything thrown away that it has yet to read
    close(other);
    pty_pair_close(&pair);
}

static void forgets_what_it_is_told_to(enum line_kind kind) {
    struct pty_pair pair;
    struct line *line;
    uint8_t got[4];

    pty_pair_open(&pair);
    line = open_line(&pair, kind);
    assert_int_equal(write(pair.near, "late", 4), 4);
    wait_readable(line_descriptor(line));
    line_discard(line);
    assert_int_equal(line_read(line, got, sizeof got), 0);
    assert_int_equal(write(pair.near, "now", 3), 3);
    wait_readable(line_descriptor(line));
    assert_int_equal(line_read(line, got, sizeof got), 3);
    assert_memory_equal(got, "now", 3);
    line_close(line);
    pty_pair_close(&pair);
}

static void follows_links(enum line_kind kind) {
    char folder[] = "/tmp/soakledger-line-XXXXXX", path[sizeof folder + sizeof "/oven"];
    struct pty_pair pair;
    struct config_line config;
    struct fault fault = {0};
    struct line *line;

    pty_pair_open(&pair);
    assert_non_null(mkdtemp(folder));
    stpcpy(stpcpy(path, folder), "/oven");
    assert_int_equal(symlink(pair.far, path), 0);
    config = configure(path, kind);
    line = line_open(&config, &fault);
    assert_non_null(line);
    line_close(line);
    unlink(path);
    expect_fault(path, kind, EX_NOINPUT, "No such file");
    rmdir(folder);
    pty_pair_close(&pair);
}

static void pseudo_terminal(void **state) {
    (void)state;
    fake_uart_plug(false);
    carries_every_byte(LINE_PSEUDO_TERMINAL);
    is_gone_when_hung_up(LINE_PSEUDO_TERMINAL);
    is_nobody_elses(LINE_PSEUDO_TERMINAL);
    leaves_anothers_settings_alone(LINE_PSEUDO_TERMINAL);
    forgets_what_it_is_told_to(LINE_PSEUDO_TERMINAL);
    follows_links(LINE_PSEUDO_TERMINAL);
}

static void serial_port(void **state) {
    (void)state;
    fake_uart_plug(true);
    carries_every_byte(LINE_SERIAL);
    is_gone_when_hung_up(LINE_SERIAL);
    is_nobody_elses(LINE_SERIAL);
    leaves_anothers_settings_alone(LINE_SERIAL);
    forgets_what_it_is_told_to(LINE_SERIAL);
    follows_links(LINE_SERIAL);
    fake_uart_plug(false);
}

static void expect_settings(enum parity parity, int stop_bits, int baud, tcflag_t expected, speed_t speed) {
    struct pty_pair pair;
    struct config_line config;
    struct fault fault = {0};
    struct termios settings;
    struct line *line;

    fake_uart_plug(true);
    pty_pair_open(&pair);
    config = configure(pair.far, LINE_SERIAL);
    config.parity = parity;
    config.stop_bits = stop_bits;
    config.speed_baud = baud;
    line = line_open(&config, &fault);
    assert_non_null(line);
    assert_int_equal(fake_uart_control_flags() & (CSIZE | PARENB | PARODD | CSTOPB | CRTSCTS), expected);
    assert_int_equal(tcgetattr(line_descriptor(line), &settings), 0);
    assert_int_equal(cfgetospeed(&settings), speed);
    line_close(line);
    pty_pair_close(&pair);
    fake_uart_plug(false);
}

static void sets_up_the_port(void **state) {
    (void)state;
    expect_settings(PARITY_NONE, 2, 9600, CS8 | CSTOPB, B9600);
    expect_settings(PARITY_NONE, 1, 19200, CS8, B19200);
    expect_settings(PARITY_EVEN, 1, 38400, CS8 | PARENB, B38400);
    expect_settings(PARITY_ODD, 1, 115200, CS8 | PARENB | PARODD, B115200);
}

static void says_what_is_wrong(void **state) {
    const int before = count_descriptors();
    struct pty_pair pair;

    (void)state;
    fake_uart_plug(false);
    expect_fault("/dev/no-such-line", LINE_SERIAL, EX_NOINPUT, "No such file");
    expect_fault("/dev/no-such-line", LINE_PSEUDO_TERMINAL, EX_NOINPUT, "No such file");
    expect_fault("/dev/null", LINE_SERIAL, EX_IOERR, "no serial port");
    expect_fault("/dev/null", LINE_PSEUDO_TERMINAL, EX_IOERR, "terminal");
    pty_pair_open(&pair);
    expect_fault(pair.far, LINE_SERIAL, EX_IOERR, "no serial port");
    pty_pair_close(&pair);
    line_close(NULL);
    assert_int_equal(count_descriptors(), before);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pseudo_terminal),
        cmocka_unit_test(serial_port),
        cmocka_unit_test(sets_up_the_port),
        cmocka_unit_test(says_what_is_wrong),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
