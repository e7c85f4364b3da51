// SPDX-License-Identifier: MIT
/* certificate: a batch on paper. The first page answers whether the plan was met; the others say how that is known.
 */
#ifndef SOAKLEDGER_CERTIFICATE_H
#define SOAKLEDGER_CERTIFICATE_H

#include <stddef.h>
#include <stdint.h>

#include "soakledger/config.h"
#include "soakledger/fault.h"
#include "soakledger/judge.h"
#include "soakledger/ledger.h"

struct certificate_issue {
    int64_t batch_id;
    int64_t number;    // of the certificate, printed
    int64_t revision;  // how many were issued for the batch, this one included
    int64_t issued_ms; // printed, and the file's creation date
};

/* Draws the certificate: the same ledger, issue and config give the same bytes. The caller frees `bytes`. `outcome`
 * gets the batch's. */
int certificate_make(struct ledger *ledger, const struct config *config, const struct certificate_issue *issue,
                     unsigned char **bytes, size_t *length, enum outcome *outcome, struct fault *fault);

#endif
