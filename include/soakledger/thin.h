// SPDX-License-Identifier: MIT
/* thin: lets readings of an idle oven go once they are old, on record. The recorder's alone, and only where the
 * configuration asks for it.
 *
 * Of each stretch of `interval_ms` a channel keeps its first reading, its lowest and highest good one, and every
 * reading whose quality is another than that of the one before: no extreme and no trouble is lost. Untouched stay
 * all readings within two hours of any run of that oven, those that an accuracy test or a survey stands on, and
 * those that were made of a voltage. A trigger holds the first two. What was done stands in table thinning:
 * channel, span, interval, how many were kept and removed.
 */
#ifndef SOAKLEDGER_THIN_H
#define SOAKLEDGER_THIN_H

#include "soakledger/ledger.h"

enum { THIN_MARGIN_MS = 7200000, THIN_MOST_READINGS = 20000 };

struct thin_tally {
    int64_t from_ms, until_ms, kept, removed;
};

/* One step of at most THIN_MOST_READINGS, within the caller's transaction: goes on where the last one of the
 * channel ended, no further than `before_ms`, and no more often than a day's readings are worth. 1 if something was
 * looked at, 0 if there is nothing to do, -1. */
int thin_step(struct ledger *ledger, int64_t oven_id, int64_t channel_id, int64_t before_ms, int64_t interval_ms,
              int64_t now_ms, struct thin_tally *tally, struct fault *fault);

#endif
