// SPDX-License-Identifier: MIT
/* session: what a ledger is told when recording into it begins: who records, what the configuration says, and, of a
 * ledger that was begun in place of a damaged one, what goes on from that one. */
#ifndef SOAKLEDGER_DAEMON_SESSION_H
#define SOAKLEDGER_DAEMON_SESSION_H

#include <stdint.h>

#include "soakledger/alert.h"
#include "soakledger/clock.h"
#include "soakledger/config.h"
#include "soakledger/fault.h"
#include "soakledger/ledger.h"

/* Adds a session that begins at `from_ms`, now or shortly before, in a transaction of its own. Fills in the ids.
 *
 * If the ledger was begun in place of a damaged one, that is its first event, and a run that was on in the damaged
 * one goes on here as a run of which the earlier part is not known (EVENT_TORN). Where the damaged file does not
 * even say whether one was on, every oven gets such a run: one that is not on ends by itself, and one that is is
 * not missed. */
int session_add(struct ledger *ledger, const struct config *config, const struct clock *clock, int64_t from_ms,
                int64_t *oven_ids, int64_t *channel_ids, struct fault *fault);

/* Says in the journal and by an alert where the damaged file is, and which batches are in it. After session_add. */
void session_tell_anew(struct ledger *ledger, struct alert_desk *desk, int64_t now_ms);

#endif
