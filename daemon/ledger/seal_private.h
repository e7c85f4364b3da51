// SPDX-License-Identifier: MIT
/* What making and verifying seals share: the forms in which rows are digested. */
#ifndef SOAKLEDGER_SEAL_PRIVATE_H
#define SOAKLEDGER_SEAL_PRIVATE_H

#include <openssl/evp.h>

#include "ledger_private.h"
#include "soakledger/seal.h"

enum { SEAL_NAME_BYTES = 32 };

enum seal_cover {
    SEAL_GROWING, // rows are only added: every row is covered once its number is reached
    SEAL_ONCE,    // a column that is written once later, or rows that are added all at once: a part for each number
    SEAL_AGAIN,   // rows that are covered elsewhere, gathered for one run
};

/* One kind of part: which rows, which columns, in which order. */
struct seal_form {
    const char *name;
    const char *columns; // "*" or with ", " between; their names stand in the text's first line, too
    const char *from;    // tables
    const char *of;      // the table whose rows `low` and `high` number
    const char *key;     // the column that they are about
    const char *order;
    enum seal_cover cover;
    const char *pending;    // of SEAL_ONCE: numbers that want a part; NULL for those made by other means
    bool by_command;        // written by the command alone, which seals at once
    const char *one, *many; // in words, for sentences: "attestation", "attestations"
};

struct seal_part {
    char name[SEAL_NAME_BYTES];
    int64_t channel_id; // 0: none
    int64_t low, high;
    int64_t rows;
    char sha256[LEDGER_SHA256_TEXT_BYTES];
};

extern const struct seal_form seal_forms[];
extern const size_t seal_form_count;

const struct seal_form *seal_find_form(const char *name); // NULL if there is none

/* Digests rows into `rows` and `sha256` of the part; its other members say which. */
int seal_digest_part(struct ledger *ledger, struct seal_part *part, struct fault *fault);

/* A text that grows into a digest. The first thing that fails is remembered. */
struct seal_text;
struct seal_text *seal_text_open(struct fault *fault);
void seal_text_add(struct seal_text *text, const char *bytes, size_t length);
void seal_text_add_int(struct seal_text *text, int64_t value, char end);
int seal_text_close(struct seal_text *text, char sha256[LEDGER_SHA256_TEXT_BYTES], struct fault *fault);

/* The text of a seal: its head, then its parts in order. */
void seal_text_head(struct seal_text *text, int64_t form, int64_t seal_id, const char *before, int64_t kind,
                    int64_t run_id, int64_t sealed_ms);
void seal_text_part(struct seal_text *text, size_t place, const struct seal_part *part);

/* seal_verify without seal_check_schema. */
int seal_verify_rows(struct ledger *ledger, const struct seal_scope *scope, seal_sink *sink, void *context,
                     struct seal_tally *tally, struct fault *fault);
/* Tells of tables, triggers and views that are not as this program makes them, and counts them into `flaws`. */
int seal_check_schema(struct ledger *ledger, seal_sink *sink, void *context, int64_t *flaws, struct fault *fault);

#endif
