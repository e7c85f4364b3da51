// SPDX-License-Identifier: MIT
/* recorder: the ledger thread's work. Takes messages, puts readings in order, stores them (all of them during a
 * run, one a minute otherwise), keeps a ring of the last minutes, and lets each oven's watch see them.
 *
 * All of its state can be rebuilt from the ledger but the ring and what waits to be put in order. After a failed
 * transaction: free it, open it again, and give it the same messages again.
 */
#ifndef SOAKLEDGER_RECORDER_H
#define SOAKLEDGER_RECORDER_H

#include <stddef.h>
#include <stdint.h>

#include "soakledger/alert.h"
#include "soakledger/config.h"
#include "soakledger/fault.h"
#include "soakledger/ledger.h"
#include "soakledger/queue.h"

struct recorder;

/* The ids are those that ledger_add_session gave. Everything given must outlive the recorder. */
struct recorder *recorder_open(struct ledger *ledger, const struct config *config, const int64_t *oven_ids,
                               const int64_t *channel_ids, struct alert_desk *desk, struct fault *fault);
void recorder_free(struct recorder *recorder); // NULL is allowed

/* Within a transaction of the ledger. */
int recorder_take(struct recorder *recorder, const struct message *messages, size_t count, struct fault *fault);

#endif
