// SPDX-License-Identifier: MIT
/* tamper: changes one byte of a stored value at a time, as somebody with SQLite's shell could, and looks whether
 * verifying the seals notices. Every change is taken back. */
#ifndef SOAKLEDGER_TESTS_TAMPER_H
#define SOAKLEDGER_TESTS_TAMPER_H

#include <stddef.h>
#include <stdint.h>

#include "soakledger/ledger.h"

enum { TAMPER_EXAMPLE_BYTES = 256 };

struct tamper_tally {
    size_t tried, missed;
    char example[TAMPER_EXAMPLE_BYTES]; // the last one missed
};

/* `count` changes, at random by `seed`, of sealed readings, findings, verdicts, plans, configurations, fittings,
 * runs, books and seals. Triggers are taken out first and put back last. Fails the test where that cannot be done.
 */
void tamper_try(struct ledger *ledger, uint64_t seed, size_t count, struct tamper_tally *tally);

#endif
