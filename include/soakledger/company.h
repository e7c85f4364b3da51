// SPDX-License-Identifier: MIT
/* company: batches that go through the ovens together, and batches that were split off from others.
 *
 * Batches that keep company form a group. A run that is claimed for one of them is claimed for every other of them
 * that waits for a run of that oven. A group is named by one of its batches; who joins a member joins the group.
 * Functions fail as those of ledger.h.
 */
#ifndef SOAKLEDGER_COMPANY_H
#define SOAKLEDGER_COMPANY_H

#include "soakledger/ledger.h"

struct company {
    int64_t batch_id;
    int64_t with_batch_id;
    bool together;  // in the ovens, from now on
    bool split_off; // its charge was a part of the other's until `t_ms`
    int64_t t_ms;
};

/* Append-only; the latest of a batch holds. */
int company_add(struct ledger *ledger, const struct company *company, const char *by, struct fault *fault);
/* What holds for a batch: 1; 0 if it came by itself. */
int company_read(struct ledger *ledger, int64_t batch_id, struct company *company, struct fault *fault);
/* From which batch it was split off, and when: 1; 0 if it was not. `together` says nothing. */
int company_read_origin(struct ledger *ledger, int64_t batch_id, struct company *company, struct fault *fault);
/* The other batches of its group that are open, in order. Caller frees; NULL only on a fault. */
int64_t *company_list(struct ledger *ledger, int64_t batch_id, size_t *count, struct fault *fault);

#endif
