// SPDX-License-Identifier: MIT
/* issue: what the ledger keeps of a certificate that was issued, so that any revision can be printed again byte for
 * byte, by any later program and without the key that signed it.
 *
 * Kept are the facts (as a document, by value), the reason, the program, and the file itself but for the readings,
 * which the ledger has anyway: what stands before the first attached file of readings, and what stands after the
 * last. The SHA-256 of the whole (ledger_add_certificate) shows whether a reprint is the same.
 *
 * Conventions of ledger.h.
 */
#ifndef SOAKLEDGER_ISSUE_H
#define SOAKLEDGER_ISSUE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"
#include "soakledger/ledger.h"

enum { ISSUE_SIGNATURE_BYTES = 64 };

struct issue {
    int64_t number; // of the certificate
    int64_t revision;
    int64_t issued_ms;
    char sha256[LEDGER_SHA256_TEXT_BYTES]; // of the whole file
    char *facts;                           // JSON
    size_t facts_length;
    char *why, *said_by;  // "" for a first one
    char *program;        // that made it, with its version
    int64_t first_object; // number of the first object between head and tail
    unsigned char *head, *tail;
    size_t head_length, tail_length;
    bool is_signed;
    unsigned char signature[ISSUE_SIGNATURE_BYTES]; // of the whole file, valid if it is signed
};

/* Within the caller's transaction, after ledger_add_certificate; `revision`, `issued_ms` and `sha256` are in its
 * row.
 */
int issue_keep(struct ledger *ledger, const struct issue *issue, struct fault *fault);
/* A revision of a batch's certificate, counted from 1. NULL with EX_NOINPUT if there is none, or if a program that
 * kept nothing issued it. */
struct issue *issue_read(struct ledger *ledger, int64_t batch_id, int64_t revision, struct fault *fault);
void issue_free(struct issue *issue); // NULL is allowed

#endif
