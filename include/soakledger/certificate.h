// SPDX-License-Identifier: MIT
/* certificate: a batch on paper. The first page answers whether the plan was met; the others say how that is known.
 */
#ifndef SOAKLEDGER_CERTIFICATE_H
#define SOAKLEDGER_CERTIFICATE_H

#include <stddef.h>
#include <stdint.h>

#include "soakledger/assess.h"
#include "soakledger/config.h"
#include "soakledger/fault.h"
#include "soakledger/judge.h"
#include "soakledger/ledger.h"
#include "soakledger/proof.h"

enum { CERTIFICATE_MOST_CHANGES = 24, CERTIFICATE_CHANGE_BYTES = 240 };

/* What is said of the certificate itself, known before the pages are drawn. */
struct certificate_about {
    size_t proof_count; // how to check it
    struct proof_line proof[PROOF_MOST_LINES];
    int64_t replaces; // number of the certificate before; 0 for a batch's first
    const char *why;  // a person's words
    size_t change_count;
    char changes[CERTIFICATE_MOST_CHANGES][CERTIFICATE_CHANGE_BYTES]; // one sentence each
};

/* Whoever wants to see what the certificate rests on: its readings as they pass, then the assessed batch before the
 * pages are drawn, whose `about` it fills in. */
struct certificate_witness {
    struct assess_watch watch; // all of it, or nothing
    void *context;
    int (*assessed)(void *context, const struct assess_batch *assessed, struct certificate_about *about,
                    struct fault *fault);
};

struct certificate_issue {
    int64_t batch_id;
    int64_t number;    // of the certificate, printed
    int64_t revision;  // how many were issued for the batch, this one included
    int64_t issued_ms; // printed, and the file's creation date
};

/* Draws the certificate: the same ledger, issue and config give the same bytes. The caller frees `bytes`. `outcome`
 * gets the batch's. `witness` may be NULL. */
int certificate_make(struct ledger *ledger, const struct config *config, const struct certificate_issue *issue,
                     const struct certificate_witness *witness, unsigned char **bytes, size_t *length,
                     enum outcome *outcome, struct fault *fault);

#endif
