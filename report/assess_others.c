// SPDX-License-Identifier: MIT
/* Whose charges were in the oven with a batch's. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/assess.h"
#include "soakledger/company.h"
#include "soakledger/words.h"

enum { CHARGE_BYTES = 120 };

/* What an amendment made of the charge counts, as everywhere. */
static char *assess_read_charge(struct ledger *ledger, int64_t batch_id, struct fault *fault) {
    struct ledger_batch *batch = ledger_read_batch(ledger, batch_id, fault);
    struct books *books = batch != NULL ? books_read(ledger, batch_id, fault) : NULL;
    const struct books_amendment *amendment = books != NULL ? books_find_amendment(books, BOOKS_CHARGE, 0) : NULL;
    char *charge = NULL;

    if (books != NULL) {
        charge = strdup(amendment == NULL ? batch->charge : amendment->withdraws ? "" : amendment->words);
        if (charge == NULL)
            fault_set(fault, EX_OSERR, "not enough memory for the charge of batch %lld", (long long)batch_id);
    }
    books_free(books);
    ledger_free_batch(batch);
    return charge;
}

static int assess_find_run_others(struct ledger *ledger, int64_t batch_id, struct assess_run *run,
                                  struct fault *fault) {
    size_t count = 0;
    struct ledger_claim *claims = ledger_list_claims(ledger, run->run.run_id, &count, fault);
    int result = claims == NULL ? -1 : 0;

    run->others = calloc(count + 1, sizeof *run->others);
    if (result == 0 && run->others == NULL)
        result = fault_set(fault, EX_OSERR, "not enough memory for %zu batches", count);
    for (size_t i = 0; result == 0 && run->others != NULL && i < count; i++) {
        struct assess_other *other = &run->others[run->other_count];

        if (claims[i].batch_id == batch_id)
            continue;
        other->batch_id = claims[i].batch_id;
        other->charge = assess_read_charge(ledger, other->batch_id, fault);
        result = other->charge != NULL ? 0 : -1;
        run->other_count++;
    }
    free(claims);
    return result;
}

int assess_find_others(struct ledger *ledger, struct assess_batch *assessed, struct fault *fault) {
    const int64_t batch_id = assessed->batch->batch_id;
    struct company origin;
    const int split = company_read_origin(ledger, batch_id, &origin, fault);

    if (split == 1) {
        assessed->split_from = origin.with_batch_id;
        assessed->split_ms = origin.t_ms;
    }
    for (size_t i = 0; split >= 0 && i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++)
            if (assess_find_run_others(ledger, batch_id, &assessed->visits[i].runs[k], fault) != 0)
                return -1;
    return split < 0 ? -1 : 0;
}

void assess_free_others(struct assess_run *run) {
    for (size_t i = 0; i < run->other_count; i++)
        free(run->others[i].charge);
    free(run->others);
}

void assess_describe_others(const struct assess_run *run, char *out, size_t size) {
    char charge[CHARGE_BYTES], one[CHARGE_BYTES + sizeof ", batch 9223372036854775807 ()"];
    size_t used = 0;

    out[0] = '\0';
    for (size_t i = 0; i < run->other_count; i++) {
        const char *text = run->others[i].charge;
        const int length =
            snprintf(one, sizeof one, "%sbatch %lld (%s)", i > 0 ? ", " : "", (long long)run->others[i].batch_id,
                     text[0] != '\0' ? words_clean(text, strlen(text), 0, charge, sizeof charge) : "not named");

        if (used + (size_t)length + sizeof " ..." > size) {
            snprintf(out + used, size - used, " ...");
            return;
        }
        memcpy(out + used, one, (size_t)length + 1);
        used += (size_t)length;
    }
}
