// SPDX-License-Identifier: MIT
/* attach_parts: what writing and reading of attached readings share. */
#ifndef SOAKLEDGER_ATTACH_PARTS_H
#define SOAKLEDGER_ATTACH_PARTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/ledger.h"

enum {
    ATTACH_DECIMALS = 3,
    ATTACH_TIME_BYTES = 24,                            // "2026-11-16T07:00:00.000Z"
    ATTACH_VALUE_BYTES = 24,                           // any 64-bit number with a sign and a point
    ATTACH_CHANNEL_BYTES = 2 * CHANNEL_NAME_BYTES + 8, // every letter doubled, two quotes, two commas
    ATTACH_ROW_BYTES = 512,                            // more than any row
};

/* A channel as it stands in a row, with the commas around it. */
struct attach_channel {
    char *text;
    size_t length;
};

/* In the order of `channels`; NULL if memory is short. */
struct attach_channel *attach_name_channels(const struct ledger_channel *channels, size_t count);
void attach_free_channels(struct attach_channel *named, size_t count);
const struct attach_channel *attach_find_channel(const struct ledger_channel *channels,
                                                 const struct attach_channel *named, size_t count,
                                                 int64_t channel_id);

/* Readings follow each other closely: the last second's text is kept. */
struct attach_clock {
    int64_t second;
    bool known;
    char text[ATTACH_TIME_BYTES + 1];
};
/* Writes ATTACH_TIME_BYTES, and returns that. Years 0 to 9999. */
size_t attach_put_time(struct attach_clock *clock, int64_t t_ms, char *out);
/* Reads back what attach_put_time writes and nothing else. */
bool attach_take_time(struct attach_clock *clock, const char *text, int64_t *t_ms);

#endif
