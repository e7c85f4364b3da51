// SPDX-License-Identifier: MIT
/* poller: asks every instrument for its channels, each at its own interval, and puts the answers into the queue.
 *
 * One poller serves all lines from one thread and never sleeps: its loop waits on poller_fill_descriptors until
 * poller_next_deadline_us and then calls poller_handle. No line waits for another.
 *
 * How an instrument speaks is its wire's business (wire.h); here are turns, times and tries.
 *
 * - Channels of one instrument, function and interval whose registers touch are read in one request, and those of a
 *   text instrument that one query asks for.
 * - A request for several registers that the controller refuses twice in a row (exceptions 02 and 03), or leaves
 *   unanswered three times in a row while it answers shorter ones, is halved, down to single channels. That is kept
 *   until the daemon starts again: trying the long one once an hour would cost readings once an hour. A channel
 * that is refused alone has QUALITY_EXCEPTION and is asked for on.
 * - A dead instrument that is asked by long requests only is tried with their first channel every other time.
 * - Requests are due at multiples of their interval after the poller was opened, so they do not drift. A period
 *   that could not be served in time is skipped and counted, not caught up.
 * - Each period of a channel ends in one reading: a value with the time its reply's first byte arrived, or the
 *   reason why there is none with the time that was known.
 * - An instrument that has left three requests in a row unanswered is dead. It is tried once in its interval, where
 *   no other request becomes due meanwhile; where there is no such gap, dead ones get a tenth of the line's time.
 * - A reply that comes too late cannot be told from one to a later request of the same shape. So an instrument that
 *   left a try unanswered is asked for nothing else until twice its reply_within_ms has passed for each such try.
 *   Where replies do not even tell whose they are (text), nobody else on that line is asked meanwhile.
 *   Values are right as long as no controller takes longer than that.
 * - A free-running instrument is only listened to. A line that holds a channel's value is its reading; those that
 *   come faster than three quarters of the channel's interval are passed over. Without one for missing_after
 *   intervals there is no reply, or a bad frame if broken lines came meanwhile, once in each further interval.
 * - A line that is gone is opened again every second; meanwhile its channels have no reply.
 *
 * Times of readings strictly increase within a channel.
 */
#ifndef SOAKLEDGER_POLLER_H
#define SOAKLEDGER_POLLER_H

#include <poll.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/clock.h"
#include "soakledger/config.h"
#include "soakledger/fault.h"
#include "soakledger/queue.h"

struct poller;

/* Of one instrument, since the poller was opened. */
struct poller_counts {
    uint64_t requests;   // sent, tries included
    uint64_t replies;    // good ones
    uint64_t timeouts;   // tries that nothing came back from in time
    uint64_t bad_frames; // tries that something else came back from
    uint64_t exceptions;
    uint64_t skipped; // periods of a request that passed without a try, because the line was busy
    uint64_t by_status[WIRE_STATUS_COUNT]; // bad frames told apart
    uint64_t echoes;                       // own requests that came back before the reply
    uint64_t lates;                        // replies after their time
    uint64_t splits;                       // requests that were halved
};

/* `channel_ids` holds the ledger's number of each of the config's channels. Config, numbers, clock and queue must
 * outlive the poller. No line is opened yet: the first poller_handle does that, and a line that is absent is not
 * an error. */
struct poller *poller_open(const struct config *config, const int64_t *channel_ids, struct clock *clock,
                           struct queue *queue, struct fault *fault);
void poller_free(struct poller *poller); // NULL is allowed

/* Fills in what to wait on, at most one per line of the config; returns how many. Call before each wait. */
size_t poller_fill_descriptors(const struct poller *poller, struct pollfd *descriptors, size_t most);
int64_t poller_next_deadline_us(const struct poller *poller);
/* Whether a request is out: `answer_due` of clock_wait. */
bool poller_expects_answer(const struct poller *poller);
/* Does all that is due now, given the descriptors as the wait left them. */
void poller_handle(struct poller *poller, const struct pollfd *descriptors, size_t count);

/* Every reading with a time up to this has been pushed. Advances with the clock, also while a reply is slow. */
int64_t poller_watermark_ms(const struct poller *poller);

struct poller_counts poller_read_counts(const struct poller *poller, size_t instrument);
/* Of a line: the sum of its instruments', and what came when nobody owed a reply. */
struct poller_counts poller_read_line_counts(const struct poller *poller, size_t line, uint64_t *unasked);

/* Writes into the journal, for each line on which anything was wrong since the last call, what it was and with
 * which instrument. */
void poller_write_summary(struct poller *poller);

/* How many different requests serve the config's channels. */
size_t poller_count_requests(const struct poller *poller);
/* Why the line could not be opened when last tried; NULL if it is open. */
const char *poller_line_trouble(const struct poller *poller, size_t line);

#endif
