// SPDX-License-Identifier: MIT
/* What the poller's own files share: blocks (requests and the channels that they serve), instruments, lines. */
#ifndef SOAKLEDGER_POLLER_STATE_H
#define SOAKLEDGER_POLLER_STATE_H

#include "soakledger/line.h"
#include "soakledger/modbus.h"
#include "soakledger/poller.h"

enum {
    POLLER_US_PER_MS = 1000,
    POLLER_DEAD_AFTER = 3, // requests without an answer, one after the other
};

/* One request that is sent again every interval. */
struct poller_block {
    size_t instrument;
    uint8_t function;
    uint16_t first, count; // registers
    size_t begin, end;     // the channels that it serves, in the poller's order
    int64_t interval_us;
    int64_t due_us;
};

struct poller_instrument {
    const struct config_instrument *config;
    int64_t shortest_interval_us; // of its blocks
    int unanswered;               // requests in a row, each with all its tries
    int64_t probe_us;             // when dead: not to be tried before
    size_t block_count;
    int64_t owed_until_us; // until then replies to tries given up may still come
    struct poller_counts counts;
};

struct poller_line {
    const struct config_line *config;
    size_t begin, end; // its blocks
    struct line *line; // NULL while it is gone
    bool told_lost;
    int64_t lost_us;
    int64_t reopen_us;
    struct fault trouble; // valid while it is gone

    int64_t character_us, turnaround_us, silence_us;
    int64_t ready_us;  // no request before
    int64_t forced_us; // no dead instrument before, unless in a gap

    // The exchange that is on.
    struct poller_block *current; // NULL: none
    bool sent;                    // or else waits to be sent (again)
    bool echoed;
    int tries;
    int unanswered_tries; // whose replies may still come
    int64_t answer_by_us;
    struct modbus_reply reply;

    int64_t wake_us;
};

struct poller {
    const struct config *config;
    const int64_t *channel_ids;
    struct clock *clock;
    struct queue *queue;
    int64_t start_us;
    size_t *order;      // channels, sorted so that those of a block lie together
    int64_t *last_t_ms; // of each channel's last reading
    size_t block_count;
    struct poller_block *blocks;
    struct poller_instrument *instruments;
    struct poller_line *lines;
};

/* Fills in order, blocks, and each line's share of them. Arrays are allocated as long as there are channels. */
void poller_group_channels(struct poller *poller);

/* Brings one line up to `now_us`: reads if `readable`, ends what has ended, sends what is due, and says in
 * wake_us when to come again. */
void poller_advance_line(struct poller *poller, struct poller_line *line, bool readable, int64_t now_us);

/* Whose turn it is on an idle line, or NULL; `later_us` is lowered to the time when that may change. */
struct poller_block *poller_choose_block(struct poller *poller, struct poller_line *line, int64_t now_us,
                                         int64_t *later_us);
bool poller_is_dead(const struct poller_instrument *instrument);
/* Puts the block's next due time after `now_us`. */
void poller_schedule_next(struct poller *poller, struct poller_block *block, int64_t now_us);

/* One reading for each channel of the block. */
void poller_push_values(struct poller *poller, const struct poller_block *block, const struct modbus_reply *reply);
void poller_push_failure(struct poller *poller, const struct poller_block *block, enum quality quality,
                         int64_t now_us);
void poller_push_event(struct poller *poller, const struct poller_line *line, enum event_kind kind, int64_t amount,
                       int64_t now_us);

#endif
