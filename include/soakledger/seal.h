// SPDX-License-Identifier: MIT
/* seal: what makes a later change of the ledger show.
 *
 * A seal is a SHA-256 over a short text that names the seal before it and, part by part, the digests of stored
 * rows. Both texts are laid down in soakledger-seal(5), so that anybody can work them out again with sqlite3 and a
 * SHA-256 alone; that page is the contract of this module, and `SEAL_FORM` its number: seals keep the number of the
 * form they were made in, and a form in use is never changed.
 *
 * A run is sealed in the transaction in which it closes. Every other row is covered by the next seal on the books:
 * what the command writes by one made in the same transaction (ledger.h, BOOKKEEP), what the daemon writes within
 * about a minute. So a seal never covers what is not stored, and whatever no seal covers yet can be named.
 *
 * What seals cannot show by themselves: that the newest of them were taken away together with all they cover, that
 * the whole file was replaced by an older copy of it, or that somebody who can write the file made every seal anew.
 * Each of these shows against a seal that is kept elsewhere: on a certificate, in the journal.
 *
 * Functions return 0, or -1 with a fault as in ledger.h, unless said otherwise.
 */
#ifndef SOAKLEDGER_SEAL_H
#define SOAKLEDGER_SEAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/ledger.h"

enum { SEAL_FORM = 1, SEAL_ANCHOR_LEAST = 12 }; // digits of a seal that tell it from others

/* Stored by number: never renumber. */
enum seal_kind {
    SEAL_RUN = 1,       // as the run closed
    SEAL_RUN_LATER = 2, // a run that had closed before this program sealed runs
    SEAL_BOOKS = 3,     // no run
    SEAL_IMPORT = 4,    // a run that was read in from elsewhere: sealed as what came in, not as our own reading
};

/* A seal, as it is printed. */
struct seal_head {
    int64_t seal_id; // counted from 1 without gaps; 0: there is none
    enum seal_kind kind;
    int64_t sealed_ms;                     // 0: not known
    char sha256[LEDGER_SHA256_TEXT_BYTES]; // hex, lower case; "" if there is none
};

/* The last seal of the chain: what to print, and to keep elsewhere. 1; 0 if there is none yet; -1. */
int seal_read_last(struct ledger *ledger, struct seal_head *head, struct fault *fault);
/* The seal of a run. 1; 0 if it has none; -1. */
int seal_read_run(struct ledger *ledger, int64_t run_id, struct seal_head *head, struct fault *fault);
/* "seal 17, 1f0c 2a...": all 64 digits in groups of eight. SEAL_WORDS_BYTES. */
enum { SEAL_WORDS_BYTES = 128 };
char *seal_describe(const struct seal_head *head, char *out);

/* ---- sealing: within the caller's transaction ---- */

/* Seals a run that is over, with its readings from `lead_ms` before it began, and everything that no seal covers
 * yet. `head` may be NULL. */
int seal_run(struct ledger *ledger, int64_t run_id, enum seal_kind kind, int64_t lead_ms, int64_t now_ms,
             struct seal_head *head, struct fault *fault);
/* Seals what no seal covers yet, if there is anything but our own runs; runs of complete imports get seals of their
 * own. 1 if a seal was made, 0, -1. */
int seal_books(struct ledger *ledger, int64_t now_ms, struct fault *fault);
/* The oldest run of our own that is over and has no seal, and its oven; 0 if there is none. -1. */
int64_t seal_find_unsealed(struct ledger *ledger, int64_t *oven_id, struct fault *fault);
/* The time that goes into seals which a BOOKKEEP ledger makes as it commits. */
void seal_set_time(struct ledger *ledger, int64_t now_ms);

/* ---- verifying ---- */

struct seal_scope {
    int64_t run_id;   // only the readings of this run; 0: of every run
    int64_t batch_id; // only the readings of the runs claimed for this batch; 0: of every batch
    const char
        *anchor; // the first SEAL_ANCHOR_LEAST digits or more of a seal kept elsewhere, lower case; NULL: none
};

struct seal_tally {
    int64_t seals, runs, later_runs, imported_runs; // looked at; runs: those whose readings were
    int64_t readings, entries;                      // rows whose digests were worked out: readings, all others
    int64_t flaws;                                  // each was told
    int64_t unsealed;  // rows that no seal covers yet, and that the daemon has not had the time to seal
    int64_t open_runs; // runs that are on
    int64_t anchor_id; // the seal that the anchor names
    struct seal_head last;
};

/* Told of everything that is not as it was sealed, one sentence each. */
typedef void seal_sink(void *context, const char *words);

/* Works out every digest again, one consistent state of the ledger throughout. 0 also where there are flaws.
 * EX_NOINPUT if there is no such run or batch, EX_USAGE for an anchor that is none. */
int seal_verify(struct ledger *ledger, const struct seal_scope *scope, seal_sink *sink, void *context,
                struct seal_tally *tally, struct fault *fault);

#endif
