// SPDX-License-Identifier: MIT
/* loop: the acquisition thread. Waits on all lines, timers and signals at once; never touches the disk. */
#ifndef SOAKLEDGER_LOOP_H
#define SOAKLEDGER_LOOP_H

#include "soakledger/alert.h"
#include "soakledger/clock.h"
#include "soakledger/config.h"
#include "soakledger/fault.h"
#include "soakledger/queue.h"
#include "soakledger/writer.h"

struct loop;

/* Blocks SIGTERM, SIGINT and SIGHUP for the whole process: call before any thread is started. */
struct loop *loop_open(const struct config *config, const int64_t *channel_ids, struct clock *clock,
                       struct queue *queue, struct alert_desk *desk, struct fault *fault);
void loop_free(struct loop *loop); // NULL is allowed

/* Runs until SIGTERM or SIGINT. Feeds systemd's watchdog, if there is one, while lines are polled and `writer`
 * comes round. The last messages are an EVENT_STOPPED and a watermark. */
int loop_run(struct loop *loop, const struct writer *writer, struct fault *fault);

#endif
