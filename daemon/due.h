// SPDX-License-Identifier: MIT
/* due: looks at the open batches and tells when the next operation of one must begin within the hour. */
#ifndef DUE_H
#define DUE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/alert.h"
#include "soakledger/ledger.h"
#include "soakledger/plan.h"

/* The batches of which it was told. */
struct due {
    size_t count;
    int64_t batches[ALERT_MOST_STANDING];
};

/* Until when the visit must begin if the one before it ended then; false if the plan does not say. */
bool due_find_deadline(const struct plan *plan, size_t visit, int64_t ended_ms, int64_t *deadline_ms);
/* From an hour before the deadline until a day after it: later nobody can mend it. */
bool due_is_near(int64_t deadline_ms, int64_t now_ms);

/* Call about once a minute. Reads the ledger only. */
int due_look(struct due *due, struct ledger *ledger, struct alert_desk *desk, int64_t now_ms, struct fault *fault);

#endif
