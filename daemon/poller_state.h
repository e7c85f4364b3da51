// SPDX-License-Identifier: MIT
/* What the poller's own files share: blocks (requests and the channels that they serve), instruments, lines. */
#ifndef SOAKLEDGER_POLLER_STATE_H
#define SOAKLEDGER_POLLER_STATE_H

#include "soakledger/junction.h"
#include "soakledger/line.h"
#include "soakledger/poller.h"
#include "soakledger/quality.h"
#include "soakledger/wire.h"

enum {
    POLLER_US_PER_MS = 1000,
    POLLER_DEAD_AFTER = 3, // requests without an answer, one after the other
    POLLER_LATENESS = 2,   // how many times reply_within a reply may come after a try was given up
};

/* One request that is sent again every interval. It lies in the array at the place of its first channel, so that it
 * can be halved where it is. */
struct poller_block {
    size_t instrument;
    struct wire_request request;
    size_t begin, end; // the channels that it serves, in the poller's order
    int64_t interval_us;
    int64_t due_us;
    int refused, unanswered; // in a row
    bool shorter_answered;   // since the first of the unanswered
};

struct poller_instrument {
    const struct config_instrument *config;
    const struct wire *wire;
    int64_t shortest_interval_us; // of its blocks
    int unanswered;               // requests in a row, each with all its tries
    int64_t probe_us;             // when dead: not to be tried before
    bool probe_short;             // when dead: the next try is for a first channel only
    size_t block_count;
    int64_t owed_until_us; // until then replies to tries given up may still come
    int64_t gap_us, pause_us;
    struct poller_counts counts, told; // the latter as they were in the last summary
};

struct poller_line {
    const struct config_line *config;
    size_t begin, end; // its channels, in the poller's order, and so its blocks
    bool listens;      // to a free-running instrument
    struct line *line; // NULL while it is gone
    bool told_lost;
    int64_t lost_us;
    int64_t reopen_us;
    struct fault trouble; // valid while it is gone

    int64_t character_us;
    int64_t quiet_us;  // silence after which no rest of a broken frame is to be expected
    int64_t ready_us;  // no request before
    int64_t forced_us; // no dead instrument before, unless in a gap

    // The exchange that is on.
    struct poller_block *current; // NULL: none
    bool sent;                    // or else waits to be sent (again)
    bool probes_short;            // for the block's first channel only
    int tries;
    int unanswered_tries; // whose replies may still come
    int64_t answer_by_us;
    struct wire_exchange exchange;
    int64_t nameless_until_us;      // until then a reply that does not tell whose it is may still come
    int64_t stray_us;               // when bytes last came unasked
    uint64_t unasked, told_unasked; // times that they did
    int64_t broken_us;              // when a free-running instrument's line last was broken

    int64_t wake_us;
};

struct poller {
    const struct config *config;
    const int64_t *channel_ids;
    struct clock *clock;
    struct queue *queue;
    int64_t start_us;
    size_t *order;                           // channels, sorted so that those of a block lie together
    const struct channel_fitting **fittings; // in that order
    int64_t *last_t_ms;                      // of each channel's last reading
    int64_t *heard_us, *missing_us;          // of each channel that is listened to: last line, next lack of one
    size_t block_count;
    struct poller_block *blocks; // by their first channel's place in the order
    struct quality_watch *quality;
    struct junction *junction;
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

/* Divides the block into two, each due now; false if that cannot be. */
bool poller_halve_block(struct poller *poller, struct poller_block *block, int64_t now_us);
/* Notes what became of a request for all of the block's channels; true if it was halved. */
bool poller_note_refusal(struct poller *poller, struct poller_block *block, uint8_t code, int64_t now_us);
bool poller_note_silence(struct poller *poller, struct poller_block *block, int64_t now_us);
/* The instrument answered a request for `channels` channels of the block. */
void poller_note_answer(struct poller *poller, const struct poller_line *line, struct poller_block *block,
                        size_t channels);

/* A line that only listens: what came in, and what did not. */
void poller_begin_listening(struct poller *poller, struct poller_line *line, int64_t now_us);
void poller_hear(struct poller *poller, struct poller_line *line, const uint8_t *bytes, size_t length,
                 int64_t now_us);
void poller_miss(struct poller *poller, struct poller_line *line, int64_t now_us);

/* Bytes came that nobody waited for. */
void poller_count_stray(struct poller *poller, struct poller_line *line, int64_t now_us);

void poller_push_reading(struct poller *poller, size_t channel, struct reading *reading, int64_t t_ms);
/* One reading for each channel of the block, of which the exchange's request may have served the first ones only.
 */
void poller_push_values(struct poller *poller, const struct poller_block *block,
                        const struct wire_exchange *exchange);
void poller_push_failure(struct poller *poller, const struct poller_block *block, enum quality quality,
                         int64_t now_us);
void poller_push_event(struct poller *poller, const struct poller_line *line, enum event_kind kind, int64_t amount,
                       int64_t now_us);

#endif
