// SPDX-License-Identifier: MIT
/* talker: an instrument that speaks in lines, served by a thread: it answers each line that comes, or prints one by
 * itself every so often. What it says is up to the test. */
#ifndef SOAKLEDGER_TESTS_TALKER_H
#define SOAKLEDGER_TESTS_TALKER_H

#include <pthread.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>

#include "capture.h"

enum { TALKER_LINE_BYTES = 600 };

struct talker {
    int descriptor;      // of whoever opened it
    char ends_with;      // the last byte of what it is asked
    atomic_int every_ms; // not 0: it prints by itself
    atomic_int delay_ms; // before an answer
    atomic_int every;    // the delay is for each so-manieth answer; 0: for all
    atomic_int manner;   // for `speak` to look at
    atomic_int spoken;   // times that it was asked, or printed
    struct capture *capture;
    /* Writes what it says to `asked` ("" if it prints) into `out`; returns the length, 0 to keep silent. */
    size_t (*speak)(struct talker *talker, const char *asked, char out[TALKER_LINE_BYTES]);
    atomic_bool stop;
    pthread_t thread;
};

/* Everything but the thread is set; capture may be NULL. */
void talker_start(struct talker *talker);
void talker_stop(struct talker *talker);

/* A Modbus ASCII controller that holds what a bus's controllers hold, at any address: one for `speak`. */
size_t talker_speak_ascii(struct talker *talker, const char *asked, char out[TALKER_LINE_BYTES]);

#endif
