// SPDX-License-Identifier: MIT
/* caller: by whose account books were written that the owner of the ledger kept for somebody else (desk.h). Names
 * that people give stand where they always stand; the account stands beside them, and is sealed with what it wrote.
 */
#ifndef SOAKLEDGER_CALLER_H
#define SOAKLEDGER_CALLER_H

#include <stdint.h>

#include "soakledger/ledger.h"

enum { CALLER_WORDS_BYTES = 1024 };

/* From here on every transaction in which something is written has a row that says for whom: the account's number
 * and name, and the words of its command. Both are copied. EX_OSERR. */
int caller_introduce(struct ledger *ledger, uint32_t user, const char *account, const char *words,
                     struct fault *fault);

#endif
