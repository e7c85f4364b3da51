// SPDX-License-Identifier: MIT
/* capture: everything that was ever sent to controllers, from any thread. */
#ifndef SOAKLEDGER_TESTS_CAPTURE_H
#define SOAKLEDGER_TESTS_CAPTURE_H

#include <pthread.h>
#include <stddef.h>
#include <stdint.h>

struct capture {
    pthread_mutex_t mutex;
    size_t length, room;
    uint8_t *bytes;
};

#define CAPTURE_EMPTY                                                                                              \
    { .mutex = PTHREAD_MUTEX_INITIALIZER }

void capture_add(struct capture *capture, const uint8_t *bytes, size_t length);
void capture_clear(struct capture *capture);

#endif
