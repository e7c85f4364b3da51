// SPDX-License-Identifier: MIT
/* bus: controllers on a pseudo-terminal, served by a thread, that answer well or in a manner that a test chooses.
 */
#ifndef SOAKLEDGER_TESTS_BUS_H
#define SOAKLEDGER_TESTS_BUS_H

#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "capture.h"
#include "pty_pair.h"

enum bus_manner {
    BUS_WELL,
    BUS_SILENT,
    BUS_REFUSING,       // exception 02
    BUS_GARBAGE_BEFORE, // and then the reply
    BUS_GARBAGE_AFTER,  // the reply and then more
    BUS_FLIPPED,        // one bit of the reply
    BUS_DROPPED,        // one byte of the reply is missing
    BUS_DOUBLED,        // one byte of the reply comes twice
    BUS_CUT,            // half of the reply
    BUS_OTHER_ADDRESS,  // a good frame of another instrument
    BUS_OTHER_FUNCTION, // a good frame of another function
    BUS_OTHER_COUNT,    // a good frame with a register less, or one more
    BUS_ECHOING,        // the request and then the reply
    BUS_ECHO_ONLY,
    BUS_CHUNKED, // the reply in pieces, as an adapter hands it over
    BUS_MANNERS,
};

struct bus_instrument {
    uint8_t address;
    atomic_int manner;   // enum bus_manner
    atomic_int every;    // on each so-manieth request; 1: always
    atomic_int delay_ms; // before the reply, likewise
    atomic_int asked;    // requests so far
    atomic_int longest;  // not 0: longer requests are refused ...
    atomic_bool mute;    // ... or not answered
    atomic_int hole;     // not 0: a register that is not there
};

enum { BUS_MOST_INSTRUMENTS = 8 };

struct bus {
    struct pty_pair pair;
    size_t count;
    struct bus_instrument instruments[BUS_MOST_INSTRUMENTS];
    struct capture *capture;
    atomic_long least_gap_us;  // from a reply to the next request; of a bus that answers at once
    int64_t wire_character_us; // not 0: requests and replies take the time that a wire would need
    atomic_bool stop;
    pthread_t thread;
};

/* Addresses 1 to `count`, all well. */
void bus_open(struct bus *bus, size_t count, int64_t wire_character_us, struct capture *capture);
/* The far end sees it hang up. */
void bus_close(struct bus *bus);

/* What each register holds, so that a value from anywhere else is recognised. */
uint16_t bus_register(uint8_t address, uint8_t function, unsigned index);

#endif
