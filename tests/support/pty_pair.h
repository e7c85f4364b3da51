// SPDX-License-Identifier: MIT
/* pty_pair: a pseudo-terminal whose near end a test holds. Its far end is opened by path, as a line is. */
#ifndef SOAKLEDGER_TESTS_PTY_PAIR_H
#define SOAKLEDGER_TESTS_PTY_PAIR_H

enum { PTY_PATH_BYTES = 64 };

struct pty_pair {
    int near; // non-blocking
    char far[PTY_PATH_BYTES];
};

/* Fails the running test if there is none to be had. The near end is raw; nothing keeps the far end open. */
void pty_pair_open(struct pty_pair *pair);
/* Hangs up. */
void pty_pair_close(struct pty_pair *pair);

#endif
