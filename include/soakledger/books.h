// SPDX-License-Identifier: MIT
/* books: what a person adds to a batch afterwards: what is done with it, what its hardness is, and what an earlier
 * entry should have said.
 *
 * Everything is append-only. An entry stays as it was made; an amendment beside it says what it should read, or
 * that it is withdrawn, by whom, when and why, and sheets print both. Entries of one kind are numbered within their
 * batch from 1 in the order in which they were made; amendments name them by that number. Verdicts are no entries:
 * nobody amends them.
 *
 * Functions return 0 or the new entry's number, or -1 / NULL with a fault as in ledger.h; EX_DATAERR also for an
 * entry that is not there, or that is withdrawn already. Strings in records are owned by the record; strings given
 * are copied. Times are ledger timeline ms.
 */
#ifndef SOAKLEDGER_BOOKS_H
#define SOAKLEDGER_BOOKS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/ledger.h"

/* Stored by number: never renumber. */
enum books_decision { BOOKS_ACCEPT = 1, BOOKS_REWORK = 2, BOOKS_SCRAP = 3, BOOKS_HOLD = 4 };
enum { BOOKS_DECISION_COUNT = 5 };

/* What can be amended. Stored by number: never renumber. */
enum books_entry {
    BOOKS_CHARGE = 1,
    BOOKS_CUSTOMER = 2,
    BOOKS_ORDER = 3,
    BOOKS_OPERATOR = 4,
    BOOKS_NOTE = 5,
    BOOKS_ATTESTATION = 6,
    BOOKS_DISPOSITION = 7,
    BOOKS_HARDNESS = 8,
};
enum { BOOKS_ENTRY_COUNT = 9 };

/* What a person decides about the batch. It changes no verdict. */
struct books_disposition {
    enum books_decision decision;
    int64_t said_ms;
    char *said_by, *reason; // neither is empty
    bool withdrawn;         // by a later amendment
};

struct books_hardness {
    char *scale;         // "HRC"
    int64_t value;       // thousandths of the scale, as entered
    int64_t uncertainty; // the same unit, expanded, k = 2; 0: not stated
    char *piece;         // which piece; "" if not said
    char *position;      // where on it; "" if not said
    char *instrument;    // "" if not said
    char *measured_by;   // not empty
    int64_t measured_ms, said_ms;
    bool amended, withdrawn;
    int64_t counts; // the value that counts: as entered, or as last amended
};

struct books_amendment {
    enum books_entry entry;
    size_t number;  // of the entry within its batch, from 1; 0 for a field of the batch itself
    bool withdraws; // the entry does not count any more
    bool has_value; // of a hardness reading: what it should be, on its own scale
    int64_t value;
    char *words;   // what it should read; "" if withdrawn
    char *reason;  // not empty
    char *said_by; // not empty
    int64_t said_ms;
};

/* All of a batch, each list in the order in which it was made, amendments already applied to `withdrawn`, `amended`
 * and `counts`. */
struct books {
    struct books_disposition *dispositions;
    size_t disposition_count;
    struct books_hardness *hardness;
    size_t hardness_count;
    struct books_amendment *amendments;
    size_t amendment_count;
};

int64_t books_add_disposition(struct ledger *ledger, int64_t batch_id, const struct books_disposition *disposition,
                              struct fault *fault);
int64_t books_add_hardness(struct ledger *ledger, int64_t batch_id, const struct books_hardness *hardness,
                           struct fault *fault);
int64_t books_add_amendment(struct ledger *ledger, int64_t batch_id, const struct books_amendment *amendment,
                            struct fault *fault);

struct books *books_read(struct ledger *ledger, int64_t batch_id, struct fault *fault);
/* Applies the amendments to `withdrawn`, `amended` and `counts`: for entries that are not read from a ledger. */
void books_apply(struct books *books);
void books_free(struct books *books); // NULL is allowed

/* The disposition that holds: the latest that is not withdrawn; NULL if there is none. */
const struct books_disposition *books_find_disposition(const struct books *books);
/* Is that entry withdrawn? */
bool books_is_withdrawn(const struct books *books, enum books_entry entry, size_t number);
/* The latest amendment of an entry, or NULL. */
const struct books_amendment *books_find_amendment(const struct books *books, enum books_entry entry,
                                                   size_t number);

const char *books_decision_name(enum books_decision decision); // "accept as is"
const char *books_entry_name(enum books_entry entry);          // "charge", "hardness reading"

#endif
