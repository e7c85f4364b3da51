// SPDX-License-Identifier: MIT
/* What people add to a batch: kept as it was entered, amended beside it, and never a word about verdicts. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/books.h"
#include "support/bench_ledger.h"

static const int64_t t0 = BENCH_STARTED_MS;
static char by[] = "bench", why[] = "because", scale[] = "HRC", other_scale[] = "HV10",
            words[] = "what it should say";
static char none[] = "", piece[] = "iron 3", position[] = "behind the edge", instrument[] = "tester 2";

static int64_t add_hardness(struct bench *bench, int64_t value, char *on) {
    const struct books_hardness hardness = {.scale = on,
                                            .value = value,
                                            .uncertainty = 500,
                                            .piece = piece,
                                            .position = position,
                                            .instrument = instrument,
                                            .measured_by = by,
                                            .measured_ms = t0 - 5,
                                            .said_ms = t0};

    return books_add_hardness(bench->ledger, 1, &hardness, &bench->fault);
}

static int64_t add_disposition(struct bench *bench, enum books_decision decision) {
    const struct books_disposition disposition = {
        .decision = decision, .said_ms = t0, .said_by = by, .reason = why};

    return books_add_disposition(bench->ledger, 1, &disposition, &bench->fault);
}

static int64_t amend(struct bench *bench, enum books_entry entry, size_t number, bool withdraws, int64_t value) {
    const struct books_amendment amendment = {.entry = entry,
                                              .number = number,
                                              .withdraws = withdraws,
                                              .has_value = value != 0,
                                              .value = value,
                                              .words = withdraws || value != 0 ? none : words,
                                              .reason = why,
                                              .said_by = by,
                                              .said_ms = t0 + 9};

    return books_add_amendment(bench->ledger, 1, &amendment, &bench->fault);
}

static struct books *read_books(struct bench *bench, int64_t batch_id) {
    struct books *books = books_read(bench->ledger, batch_id, &bench->fault);

    if (books == NULL)
        fail_msg("%s", bench->fault.text);
    return books;
}

static void entries_come_back_as_they_were_made(void **state) {
    struct bench *bench = *state;
    struct books *books;

    bench_fill(bench);
    assert_int_equal(add_hardness(bench, 60500, scale), 1);
    assert_int_equal(add_hardness(bench, 710000, other_scale), 2);
    assert_int_equal(add_disposition(bench, BOOKS_REWORK), 1);
    assert_int_equal(amend(bench, BOOKS_CHARGE, 0, false, 0), 0);
    books = read_books(bench, 1);
    assert_int_equal(books->hardness_count, 2);
    assert_string_equal(books->hardness[0].scale, "HRC");
    assert_int_equal(books->hardness[0].value, 60500);
    assert_int_equal(books->hardness[0].counts, 60500);
    assert_int_equal(books->hardness[0].uncertainty, 500);
    assert_string_equal(books->hardness[0].piece, piece);
    assert_string_equal(books->hardness[0].position, position);
    assert_string_equal(books->hardness[0].instrument, instrument);
    assert_string_equal(books->hardness[0].measured_by, by);
    assert_int_equal(books->hardness[0].measured_ms, t0 - 5);
    assert_string_equal(books->hardness[1].scale, "HV10");
    assert_int_equal(books->disposition_count, 1);
    assert_int_equal(books->dispositions[0].decision, BOOKS_REWORK);
    assert_string_equal(books->dispositions[0].reason, why);
    assert_int_equal(books->amendment_count, 1);
    assert_string_equal(books->amendments[0].words, words);
    assert_int_equal(books->amendments[0].said_ms, t0 + 9);
    books_free(books);
    books = read_books(bench, 2); // another batch has none of it
    assert_int_equal(books->hardness_count + books->disposition_count + books->amendment_count, 0);
    books_free(books);
}

static void an_amended_reading_counts_as_amended_and_keeps_its_entry(void **state) {
    struct bench *bench = *state;
    struct books *books;

    bench_fill(bench);
    add_hardness(bench, 60500, scale);
    add_hardness(bench, 61000, scale);
    assert_int_equal(amend(bench, BOOKS_HARDNESS, 2, false, 59000), 0);
    assert_int_equal(amend(bench, BOOKS_HARDNESS, 2, false, 59500), 0);
    assert_int_equal(amend(bench, BOOKS_HARDNESS, 1, true, 0), 0);
    books = read_books(bench, 1);
    assert_true(books->hardness[0].withdrawn);
    assert_false(books->hardness[1].withdrawn);
    assert_true(books->hardness[1].amended);
    assert_int_equal(books->hardness[1].value, 61000);
    assert_int_equal(books->hardness[1].counts, 59500); // the latest
    assert_true(books_is_withdrawn(books, BOOKS_HARDNESS, 1));
    assert_false(books_is_withdrawn(books, BOOKS_HARDNESS, 2));
    assert_int_equal(books_find_amendment(books, BOOKS_HARDNESS, 2)->value, 59500);
    assert_null(books_find_amendment(books, BOOKS_CHARGE, 0));
    books_free(books);
    bench_assert_fault(bench, amend(bench, BOOKS_HARDNESS, 1, false, 60000), EX_DATAERR, "withdrawn already");
    bench_assert_fault(bench, amend(bench, BOOKS_HARDNESS, 3, true, 0), EX_DATAERR,
                       "there is no hardness reading 3");
    bench_assert_fault(bench, amend(bench, BOOKS_ATTESTATION, 1, true, 0), EX_DATAERR, "there is no attestation 1");
}

static void the_latest_disposition_that_is_not_withdrawn_holds(void **state) {
    struct bench *bench = *state;
    struct books *books;

    bench_fill(bench);
    books = read_books(bench, 1);
    assert_null(books_find_disposition(books));
    books_free(books);
    assert_int_equal(add_disposition(bench, BOOKS_HOLD), 1);
    assert_int_equal(add_disposition(bench, BOOKS_ACCEPT), 2);
    books = read_books(bench, 1);
    assert_int_equal(books_find_disposition(books)->decision, BOOKS_ACCEPT);
    books_free(books);
    assert_int_equal(amend(bench, BOOKS_DISPOSITION, 2, true, 0), 0);
    books = read_books(bench, 1);
    assert_int_equal(books_find_disposition(books)->decision, BOOKS_HOLD);
    assert_string_equal(books_decision_name(BOOKS_HOLD), "hold");
    books_free(books);
}

static void what_has_no_batch_no_name_or_no_reason_is_refused(void **state) {
    const struct books_disposition nameless = {.decision = BOOKS_SCRAP, .said_by = none, .reason = why};
    const struct books_disposition groundless = {.decision = BOOKS_SCRAP, .said_by = by, .reason = none};
    const struct books_hardness hardness = {.scale = scale, .value = 1, .measured_by = none};
    const struct books_amendment amendment = {.entry = BOOKS_CHARGE, .words = words, .reason = none, .said_by = by};
    struct bench *bench = *state;
    struct books *books;

    bench_fill(bench);
    bench_assert_fault(bench, books_add_disposition(bench->ledger, 9, &groundless, &bench->fault), EX_NOINPUT,
                       "there is no batch 9");
    assert_int_equal(books_add_disposition(bench->ledger, 1, &nameless, &bench->fault), -1);
    assert_int_equal(books_add_disposition(bench->ledger, 1, &groundless, &bench->fault), -1);
    assert_int_equal(books_add_hardness(bench->ledger, 1, &hardness, &bench->fault), -1);
    assert_int_equal(books_add_amendment(bench->ledger, 1, &amendment, &bench->fault), -1);
    books = read_books(bench, 1);
    assert_int_equal(books->hardness_count + books->disposition_count + books->amendment_count, 0);
    books_free(books);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(entries_come_back_as_they_were_made, bench_set_up, bench_tear_down),
        cmocka_unit_test_setup_teardown(an_amended_reading_counts_as_amended_and_keeps_its_entry, bench_set_up,
                                        bench_tear_down),
        cmocka_unit_test_setup_teardown(the_latest_disposition_that_is_not_withdrawn_holds, bench_set_up,
                                        bench_tear_down),
        cmocka_unit_test_setup_teardown(what_has_no_batch_no_name_or_no_reason_is_refused, bench_set_up,
                                        bench_tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
