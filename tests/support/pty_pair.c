// SPDX-License-Identifier: MIT
#include "pty_pair.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <fcntl.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

void pty_pair_open(struct pty_pair *pair) {
    struct termios settings;

    pair->near = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    assert_true(pair->near >= 0);
    assert_int_equal(grantpt(pair->near), 0);
    assert_int_equal(unlockpt(pair->near), 0);
    assert_int_equal(ptsname_r(pair->near, pair->far, sizeof pair->far), 0);
    // Raw from the start: what is sent before the far end is opened must not be echoed or translated.
    assert_int_equal(tcgetattr(pair->near, &settings), 0);
    cfmakeraw(&settings);
    assert_int_equal(tcsetattr(pair->near, TCSANOW, &settings), 0);
}

void pty_pair_close(struct pty_pair *pair) {
    close(pair->near);
    pair->near = -1;
}
