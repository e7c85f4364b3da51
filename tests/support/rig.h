// SPDX-License-Identifier: MIT
/* rig: a poller with everything that it needs, set up piece by piece and run for a while.
 *
 * Whatever is run on it, it checks what always holds: times strictly increase within a channel, the watermark never
 * goes back, no reading comes with a time that the watermark had passed, and no good value differs from what the
 * channel's registers hold.
 */
#ifndef SOAKLEDGER_TESTS_RIG_H
#define SOAKLEDGER_TESTS_RIG_H

#include <stdbool.h>

#include "soakledger/poller.h"

enum {
    RIG_LINES = 16,
    RIG_INSTRUMENTS = 32,
    RIG_CHANNELS = 192,
    RIG_EVENTS = 32,
    RIG_PATH_BYTES = 64,
    RIG_BAUD = 115200,
    RIG_FIRST_ID = 1000,
};

struct rig {
    struct config config;
    struct config_line lines[RIG_LINES];
    struct config_instrument instruments[RIG_INSTRUMENTS];
    struct config_channel channels[RIG_CHANNELS];
    int64_t ids[RIG_CHANNELS];
    int64_t expected[RIG_CHANNELS]; // the value that good readings must have
    char page[RIG_PATH_BYTES];      // of a simulated clock
    struct clock *clock;
    struct queue *queue;
    struct poller *poller;
    int64_t start_ms;

    size_t reading_count, reading_room;
    struct reading *readings;
    size_t event_count;
    struct event events[RIG_EVENTS];
    int64_t watermark_ms, most_lag_ms; // how far the watermark ever was behind the clock
    int64_t last_t_ms[RIG_CHANNELS];
};

void rig_begin(struct rig *rig, bool simulated);
/* Each returns the new one's index. Devices are kept by reference. */
size_t rig_add_line(struct rig *rig, const char *device);
size_t rig_add_instrument(struct rig *rig, size_t line, int address, int64_t reply_within_ms, int retries);
size_t rig_add_channel(struct rig *rig, size_t instrument, uint8_t function, unsigned first_register,
                       enum encoding encoding, int64_t interval_ms, int64_t expected);
/* An int16 of a bus's controller. */
size_t rig_add_bus_channel(struct rig *rig, size_t instrument, uint8_t function, unsigned index,
                           int64_t interval_ms);
void rig_open(struct rig *rig);
void rig_run(struct rig *rig, int64_t for_ms);
void rig_end(struct rig *rig);

/* Readings of a channel since `from_ms` after the beginning, of one quality. */
size_t rig_count(const struct rig *rig, size_t channel, enum quality quality, int64_t from_ms);
/* Readings of any quality; forgets all of them. */
size_t rig_count_all(const struct rig *rig, size_t channel);
void rig_forget(struct rig *rig);
/* The channel's n-th reading. */
const struct reading *rig_find(const struct rig *rig, size_t channel, size_t n);

#endif
