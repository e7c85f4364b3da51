// SPDX-License-Identifier: MIT
/* writer: the ledger thread. Takes what the acquisition thread has queued and commits it at least four times a
 * second, so that a reading is durable within a second of its arrival. While the ledger cannot be written (disk
 * full, gone read-only) it keeps what it has taken, tries again every second, and raises an alert. A ledger that
 * turns out to be damaged is set aside, and what was taken goes into a new one (at most once a minute). Without
 * memory five times in a row it gives up, for the daemon to end and be started again. */
#ifndef SOAKLEDGER_WRITER_H
#define SOAKLEDGER_WRITER_H

#include <stdbool.h>
#include <stdint.h>

#include "soakledger/alert.h"
#include "soakledger/clock.h"
#include "soakledger/config.h"
#include "soakledger/fault.h"
#include "soakledger/ledger.h"
#include "soakledger/queue.h"

struct writer;

/* Starts the thread, which owns `ledger` from then on until writer_finish. All else must outlive it. */
struct writer *writer_start(struct ledger *ledger, const struct config *config, const int64_t *oven_ids,
                            const int64_t *channel_ids, struct queue *queue, struct alert_desk *desk,
                            const struct clock *clock, struct fault *fault);

/* How often the thread has committed all that it had taken, found nothing to commit, or tried in vain and told so:
 * unchanged for a second and more means stuck. Any thread. */
uint64_t writer_read_rounds(const struct writer *writer);

/* Whether the thread has given up, and why: nothing is stored any more. Any thread. */
bool writer_has_failed(const struct writer *writer, struct fault *fault);

/* After queue_shut: waits until everything is committed and frees the writer. -1 if something could not be
 * written within ten seconds. The ledger is the caller's again. */
int writer_finish(struct writer *writer, struct fault *fault);

#endif
