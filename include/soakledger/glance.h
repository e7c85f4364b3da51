// SPDX-License-Identifier: MIT
/* glance: what a ledger says of this moment, found by its keys alone, so that it takes no longer in a large file.
 *
 * Functions fail as those of ledger.h.
 */
#ifndef SOAKLEDGER_GLANCE_H
#define SOAKLEDGER_GLANCE_H

#include "soakledger/ledger.h"

struct glance_oven {
    int64_t oven_id;
    char name[CHANNEL_NAME_BYTES];
};

/* Everything looked up between the two is of one moment; and the file is locked once, not for each look. */
int glance_begin(struct ledger *ledger, struct fault *fault);
void glance_end(struct ledger *ledger);

/* The ovens that the last session recorded, by number. Caller frees the one block. */
struct glance_oven *glance_list_ovens(struct ledger *ledger, size_t *count, struct fault *fault);
/* The latest reading of a channel: 1; 0 if there is none. */
int glance_read_latest(struct ledger *ledger, int64_t channel_id, struct reading *reading, struct fault *fault);
/* The last run of an oven that is over and was recorded here: 1; 0 if there is none. */
int glance_read_last_run(struct ledger *ledger, int64_t oven_id, struct ledger_run *run, struct fault *fault);
/* The latest event: 1; 0 if there is none. */
int glance_read_last_event(struct ledger *ledger, struct event *event, struct fault *fault);

/* Is a daemon recording into it? Known from the kernel's list of locks, without touching the lock. */
enum glance_daemon { GLANCE_UNKNOWN, GLANCE_RECORDING, GLANCE_NOT_RECORDING };
enum glance_daemon glance_find_daemon(const struct ledger *ledger);

/* One column of a small drawing: the lowest and highest good value in its stretch of time. */
struct glance_column {
    bool known; // there was a good reading
    bool any;   // there was a reading
    int64_t low, high;
};

/* Widens `columns`, `count` equal stretches of [from, to], by a channel's readings. At most about `most` rows are
 * looked at: where there are more than that, samples are taken that are spread evenly, and a column may stay
 * without any. */
int glance_draw(struct ledger *ledger, int64_t channel_id, int64_t interval_ms, int64_t from_ms, int64_t to_ms,
                struct glance_column *columns, size_t count, size_t most, struct fault *fault);

#endif
