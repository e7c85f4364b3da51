// SPDX-License-Identifier: MIT
/* What people attest: kept beside what was measured, never among it. */
#include <stdlib.h>

#include "ledger_private.h"

int ledger_add_attestation(struct ledger *ledger, int64_t batch_id, const struct ledger_attestation *attestation,
                           struct fault *fault) {
    struct query query;

    if (ledger_require(ledger, STATEMENT_HAS_BATCH, batch_id, "batch", fault) != 0) {
        return -1;
    }
    query_open(&query, ledger, STATEMENT_ADD_ATTESTATION, "store an attestation", fault);
    query_put_int(&query, batch_id);
    query_put_int(&query, (int64_t)attestation->visit);
    query_put_int(&query, attestation->t_ms);
    query_put_int(&query, attestation->said_ms);
    query_put_text(&query, attestation->said_by);
    query_put_text(&query, attestation->words);
    return query_run(&query);
}

struct ledger_attestation *ledger_list_attestations(struct ledger *ledger, int64_t batch_id, size_t *count,
                                                    struct fault *fault) {
    struct list list;
    struct query query;

    list_query(&list, &query, sizeof(struct ledger_attestation), ledger, STATEMENT_LIST_ATTESTATIONS,
               "list attestations", fault);
    query_put_int(&query, batch_id);
    for (struct ledger_attestation *attestation; (attestation = list_step(&list, &query)) != NULL;) {
        attestation->visit = (size_t)query_get_int(&query, 0, 0, INT32_MAX);
        attestation->t_ms = query_get_int(&query, 1, INT64_MIN, INT64_MAX);
        attestation->said_ms = query_get_int(&query, 2, INT64_MIN, INT64_MAX);
        attestation->said_by = query_get_text(&query, 3);
        attestation->words = query_get_text(&query, 4);
    }
    if (query.failed) { // list_close frees the block, but not what the records own
        ledger_free_attestations(list.items, list.count);
        list.items = NULL;
    }
    return list_close(&list, &query, count);
}

void ledger_free_attestations(struct ledger_attestation *attestations, size_t count) {
    for (size_t i = 0; attestations != NULL && i < count; i++) {
        free(attestations[i].said_by);
        free(attestations[i].words);
    }
    free(attestations);
}
