// SPDX-License-Identifier: MIT
/* tool_tamper [CHANGES [SEED]]: 10,000 changes of one bit each, at random places of a sealed ledger: readings,
 * findings, verdicts, plans, books, the seals themselves. Says how many of them verifying did not notice; ends with
 * 1 if any. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>

#include "soakledger/books.h"
#include "soakledger/key.h"
#include "soakledger/recheck.h"
#include "soakledger/seal.h"
#include "support/bench_ledger.h"
#include "support/tamper.h"

enum { CHANGES = 10000, READINGS = 600, LEAD_MS = 60000, VALUE_MC = 780000, NOISE_MC = 900 };
#define FIRST_SEED UINT64_C(20261116)

struct wish {
    size_t changes;
    uint64_t seed;
    const char *pdf, *key; // NULL: the ledger alone
};

static void fill(struct bench *bench) {
    static char by[] = "bench", why[] = "too soft by half a point", scale[] = "HRC";
    const struct books_disposition disposition = {.decision = BOOKS_REWORK, .said_by = by, .reason = why};
    const struct books_hardness hardness = {.scale = scale, .value = 57500, .measured_by = by};
    uint64_t random = 1;

    bench_fill(bench);
    for (int64_t i = 2; i < READINGS; i++)
        for (size_t k = 0; k < 2; k++)
            bench_add_reading(bench, bench->channels[k], BENCH_STARTED_MS - LEAD_MS + i * 100,
                              VALUE_MC + (int64_t)(bench_random(&random) % NOISE_MC), QUALITY_GOOD);
    if (books_add_disposition(bench->ledger, 1, &disposition, &bench->fault) != 1 ||
        books_add_hardness(bench->ledger, 1, &hardness, &bench->fault) != 1 ||
        seal_run(bench->ledger, 1, SEAL_RUN, LEAD_MS, BENCH_STARTED_MS + 20, NULL, &bench->fault) != 0)
        fail_msg("%s", bench->fault.text);
}

static void every_change_is_noticed(void **state) {
    const struct wish *wish = *state;
    struct tamper_tally tally = {0};
    void *made = NULL;
    struct bench *bench;

    bench_set_up(&made);
    bench = made;
    fill(bench);
    tamper_try(bench->ledger, wish->seed, wish->changes, &tally);
    printf("%zu changes, %zu not noticed%s%s\n", tally.tried, tally.missed, tally.missed > 0 ? ", such as " : "",
           tally.example);
    bench_tear_down(&made);
    assert_int_equal(tally.missed, 0);
}

/* ---- a certificate ---- */

static bool holds_inside(const unsigned char *bytes, size_t length) {
    struct recheck check = {0};
    struct fault fault;
    const bool holds = recheck_certificate(bytes, length, &check, &fault) == 0 &&
                       check.signature == RECHECK_HOLDS && json_array_size(check.differences) == 0;

    recheck_release(&check);
    return holds;
}

static void every_change_of_a_certificate_is_noticed(void **state) {
    const struct wish *wish = *state;
    char path[BENCH_PATH_BYTES * 2];
    size_t length, signature_length, missed = 0, missed_inside = 0;
    uint64_t random = wish->seed;
    struct key_public key;
    struct fault fault;
    char *bytes, *signature;

    if (wish->pdf == NULL)
        skip();
    snprintf(path, sizeof path, "%s.sig", wish->pdf);
    bytes = bench_slurp(wish->pdf, &length);
    signature = bench_slurp(path, &signature_length);
    assert_int_equal(key_read_public(wish->key, &key, &fault), 0);
    assert_true(holds_inside((const unsigned char *)bytes, length));
    assert_int_equal(key_check(&key, bytes, length, signature, signature_length, &fault), 0);
    for (size_t i = 0; i < wish->changes; i++) {
        const size_t at = bench_random(&random) % length;
        const char was = bytes[at];

        bytes[at] = (char)(was ^ (1 << bench_random(&random) % 8));
        if (key_check(&key, bytes, length, signature, signature_length, &fault) == 0)
            missed++;
        if (holds_inside((const unsigned char *)bytes, length))
            missed_inside++;
        bytes[at] = was;
    }
    printf("%zu changes of a certificate of %zu bytes, %zu not noticed by the signature beside it, %zu by the one "
           "inside\n",
           wish->changes, length, missed, missed_inside);
    key_free_public(&key);
    free(bytes);
    free(signature);
    assert_int_equal(missed, 0);
}

int main(int argc, char **argv) {
    struct wish wish = {CHANGES, FIRST_SEED, NULL, NULL};

    if (argc > 1)
        wish.changes = strtoul(argv[1], NULL, 10);
    if (argc > 2)
        wish.seed = strtoull(argv[2], NULL, 10);
    if (argc > 4) {
        wish.pdf = argv[3];
        wish.key = argv[4];
    }
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_prestate(every_change_is_noticed, &wish),
        cmocka_unit_test_prestate(every_change_of_a_certificate_is_noticed, &wish),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
