// SPDX-License-Identifier: MIT
/* Any bytes as what is attached to a certificate: facts, a zero byte, readings. What is taken is judged. */
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/attach.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

struct readings {
    const uint8_t *bytes;
    size_t length;
    struct judge *judge;
    replay_watch *watch;
    void *context;
};

static void demand(int holds) {
    if (!holds)
        abort();
}

static int take(void *context, const struct reading *reading, struct fault *fault) {
    const struct readings *readings = context;

    judge_feed(readings->judge, reading);
    return readings->watch(readings->context, reading, fault);
}

/* In two pieces, since lines may be cut anywhere. */
static int feed(void *source, const struct assess_run *run, struct judge *judge, replay_watch *watch, void *context,
                struct fault *fault) {
    struct readings *readings = source;
    struct attach_source *rows;
    char sha256[KEY_FINGERPRINT_BYTES];
    const size_t first = readings->length / 3;
    int64_t count;
    int result;

    readings->judge = judge;
    readings->watch = watch;
    readings->context = context;
    rows = attach_open_source(run, take, readings, fault);
    demand(rows != NULL);
    result = attach_take(rows, readings->bytes, first, fault) == 0 &&
                     attach_take(rows, readings->bytes + first, readings->length - first, fault) == 0
                 ? attach_end_source(rows, &count, sha256, fault)
                 : -1;
    attach_free_source(rows);
    return result;
}

static int judge_all(struct assess_batch *assessed, struct readings *readings, struct fault *fault) {
    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++) {
            if (assess_judge_run(assessed->plan, i, &assessed->visits[i].runs[k], feed, readings, NULL, fault) != 0)
                return -1;
            assess_sort_findings(&assessed->visits[i].runs[k]);
        }
    return assess_settle(assessed, fault);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    const uint8_t *end = size > 0 ? memchr(data, 0, size) : NULL;
    const size_t length = end != NULL ? (size_t)(end - data) : size;
    struct readings readings = {.bytes = end != NULL ? end + 1 : data + size,
                                .length = end != NULL ? size - length - 1 : 0};
    struct fault fault = {0, ""};
    json_t *facts = attach_parse((const char *)data, length, &fault), *judged = NULL, *differences;
    struct assess_batch *assessed = facts != NULL ? attach_read_facts(facts, &fault) : NULL;
    int result = assessed != NULL ? judge_all(assessed, &readings, &fault) : -1;

    if (result == 0) {
        judged = attach_judged(assessed, &fault);
        demand(judged != NULL);
        differences = attach_compare(json_object_get(facts, "judged"), judged, "was", "is", NULL, 8);
        demand(differences != NULL && json_array_size(differences) <= 9);
        json_decref(differences);
    } else {
        demand(fault.status == EX_DATAERR && fault.text[0] != '\0' && strchr(fault.text, '\n') == NULL);
    }
    json_decref(judged);
    assess_free(assessed);
    json_decref(facts);
    return 0;
}
