// SPDX-License-Identifier: MIT
/* watch: one oven under observation: its runs, which batch they serve, and the live judging of them.
 *
 * Everything the watch knows can be rebuilt from the ledger: a watch that is opened on a ledger with a run on goes
 * on with that run, replays what is stored of it, and finds again what was found, without storing it twice.
 * All calls belong in a transaction of the ledger.
 */
#ifndef SOAKLEDGER_WATCH_H
#define SOAKLEDGER_WATCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/alert.h"
#include "soakledger/channel.h"
#include "soakledger/config.h"
#include "soakledger/fault.h"
#include "soakledger/ledger.h"

struct watch;

/* What a reading is to the oven. */
enum watch_change {
    WATCH_IDLE,  // no run is on: the reading is for the ring
    WATCH_RUN,   // a run is on: store it, then call watch_judge
    WATCH_BEGUN, // a run has begun with it: store the ring from watch_begun_ms on, then call watch_begin
};

/* `config`, `ledger` and `desk` must outlive the watch. `oven` is an index into the config; the ids are the
 * ledger's. */
struct watch *watch_open(struct ledger *ledger, const struct config *config, size_t oven, int64_t oven_id,
                         const int64_t *channel_ids, struct alert_desk *desk, struct fault *fault);
void watch_free(struct watch *watch); // NULL is allowed

/* Looks at a reading before it is stored; ends the run first if the reading shows that it is over. -1 on a fault.
 */
int watch_see(struct watch *watch, enum channel_role role, const struct reading *reading, enum watch_change *change,
              struct fault *fault);
int64_t watch_begun_ms(const struct watch *watch);
/* Opens the run that began, up to and with the reading at `now_ms`, and judges what is stored of it. */
int watch_begin(struct watch *watch, int64_t now_ms, struct fault *fault);
/* Judges a reading of the run, after it was stored. */
int watch_judge(struct watch *watch, const struct reading *reading, struct fault *fault);
/* Every reading up to `t_ms` has been seen: a run that ended before is closed now. */
int watch_settle(struct watch *watch, int64_t t_ms, struct fault *fault);

/* Is a run on? */
bool watch_is_on(const struct watch *watch);
/* Whether a run has ended since this was last asked. */
bool watch_take_ended(struct watch *watch);

/* Someone wrote into the books: a batch was opened, a run claimed. */
int watch_read_books(struct watch *watch, int64_t now_ms, struct fault *fault);
/* Judges every claimed run that is over and was not judged for that batch yet. */
int watch_judge_claimed(struct ledger *ledger, int64_t now_ms, struct fault *fault);

#endif
