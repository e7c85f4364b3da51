// SPDX-License-Identifier: MIT
/* recheck: a certificate's file against itself. Whether its signature holds, and whether what it says follows from
 * the readings, the plan and the words that are attached to it. No ledger and no configuration: a customer has
 * neither.
 *
 * Pure functions over bytes that anybody may have made: bad bytes are a fault of one line (EX_DATAERR), memory is
 * bounded whatever they say, and nothing is written anywhere.
 */
#ifndef SOAKLEDGER_RECHECK_H
#define SOAKLEDGER_RECHECK_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"
#include "soakledger/judge.h"
#include "soakledger/key.h"

enum { RECHECK_TEXT_BYTES = 256, RECHECK_MOST_DIFFERENCES = 20, RECHECK_MOST_FILE_BYTES = 268435456 };

enum recheck_signature { RECHECK_NOT_SIGNED, RECHECK_HOLDS, RECHECK_BROKEN };

struct recheck {
    enum recheck_signature signature;
    struct key_signer signer;        // valid if it holds
    struct fault broken;             // why, if it is broken
    int64_t number, revision, batch; // as the file says
    int64_t issued_ms;
    char shop[RECHECK_TEXT_BYTES], program[RECHECK_TEXT_BYTES];
    size_t runs, imported_runs;
    int64_t readings;
    size_t verdicts;      // that were judged anew
    json_t *differences;  // sentences: what does not follow from what is attached; empty if all does
    enum outcome outcome; // as judged anew
};

/* -1 with a fault if it is no file of ours, or its attachments make no sense; `check` says how far it came and is
 * to be released in any case. */
int recheck_certificate(const unsigned char *bytes, size_t length, struct recheck *check, struct fault *fault);
void recheck_release(struct recheck *check);

#endif
