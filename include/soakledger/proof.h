// SPDX-License-Identifier: MIT
/* proof: what a certificate says of how a stranger checks it, with programs that are not ours. */
#ifndef SOAKLEDGER_PROOF_H
#define SOAKLEDGER_PROOF_H

#include <stdbool.h>
#include <stddef.h>

#include "soakledger/key.h"

enum { PROOF_MOST_LINES = 12, PROOF_LINE_BYTES = 192 };

struct proof_line {
    bool is_typed; // a command or a fingerprint, to be typed or compared letter by letter: of one width
    char text[PROOF_LINE_BYTES];
};

/* The lines in order; returns how many. `key` is NULL for a certificate that is not signed, which is said.
 * `has_readings`: they are attached. */
size_t proof_write(const struct key *key, bool has_readings, struct proof_line lines[PROOF_MOST_LINES]);

#endif
