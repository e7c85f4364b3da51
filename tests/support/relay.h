// SPDX-License-Identifier: MIT
/* relay: two pseudo-terminals joined by a thread: what a line sends goes to a controller of someone else's making,
 * and back, through as much noise as a test wants. */
#ifndef SOAKLEDGER_TESTS_RELAY_H
#define SOAKLEDGER_TESTS_RELAY_H

#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>

#include "capture.h"
#include "pty_pair.h"

struct relay {
    struct pty_pair line, controller; // whose far ends are opened by path
    atomic_uint one_in; // of so many bytes, one is flipped, dropped, doubled or joined by another; 0: none
    uint32_t seed;
    atomic_uint spoilt;
    struct capture *capture; // what the line sent, before any noise
    atomic_bool stop;
    pthread_t thread;
};

/* Opens the pseudo-terminals; the thread starts with relay_start, so that a test may fork in between. */
void relay_open(struct relay *relay, uint32_t seed, struct capture *capture);
void relay_start(struct relay *relay);
void relay_close(struct relay *relay);

#endif
