// SPDX-License-Identifier: MIT
/* Runs, batches, claims, judgements and certificates in the ledger. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdlib.h>

#include "soakledger/company.h"
#include "support/bench_ledger.h"

static const int64_t t0 = BENCH_STARTED_MS;

static int64_t add_run(struct bench *bench, size_t oven, int64_t begun_ms, int64_t ended_ms) {
    const int64_t run_id = ledger_open_run(bench->ledger, bench->ovens[oven], begun_ms, &bench->fault);

    if (run_id < 1 ||
        (ended_ms != 0 && ledger_end_run(bench->ledger, run_id, ended_ms, RUN_END_COOLING, &bench->fault) != 0)) {
        fail_msg("%s", bench->fault.text);
    }
    return run_id;
}

static void test_run_from_begin_to_end(void **state) {
    struct bench *const bench = *state;
    struct ledger *const ledger = bench->ledger;
    struct fault *const fault = &bench->fault;
    struct ledger_run run;
    int64_t run_id;

    assert_int_equal(ledger_find_open_run(ledger, bench->ovens[0], &run, fault), 0);
    run_id = add_run(bench, 0, t0, 0);
    assert_int_equal(ledger_find_open_run(ledger, bench->ovens[1], &run, fault), 0);
    assert_int_equal(ledger_find_open_run(ledger, bench->ovens[0], &run, fault), 1);
    assert_int_equal(run.run_id, run_id);
    assert_int_equal(run.oven_id, bench->ovens[0]);
    assert_int_equal(run.begun_ms, t0);
    assert_int_equal(run.ended_ms, 0);
    assert_int_equal(run.end, RUN_END_OPEN);
    assert_int_equal(run.batch_id, 0);
    bench_assert_fault(bench, ledger_open_run(ledger, bench->ovens[0], t0 + 1, fault), EX_DATAERR,
                       "has a run on already");
    bench_assert_fault(bench, ledger_end_run(ledger, run_id, t0 - 1, RUN_END_COLD, fault), EX_DATAERR, "CHECK");
    bench_assert_fault(bench, ledger_end_run(ledger, run_id, t0 + 9, RUN_END_OPEN, fault), EX_DATAERR, "CHECK");
    assert_int_equal(ledger_end_run(ledger, run_id, t0 + 9, RUN_END_COLD, fault), 0);
    bench_assert_fault(bench, ledger_end_run(ledger, run_id, t0 + 10, RUN_END_COLD, fault), EX_DATAERR,
                       "only ends, once");
    assert_int_equal(ledger_read_run(ledger, run_id, &run, fault), 1);
    assert_int_equal(run.ended_ms, t0 + 9);
    assert_int_equal(run.end, RUN_END_COLD);
    assert_int_equal(ledger_find_open_run(ledger, bench->ovens[0], &run, fault), 0);
    assert_int_equal(add_run(bench, 0, t0 + 20, 0), run_id + 1);
}

static void test_run_that_is_not_there(void **state) {
    struct bench *const bench = *state;
    struct ledger_run run;

    assert_int_equal(ledger_read_run(bench->ledger, 1, &run, &bench->fault), 0);
    bench_assert_fault(bench, ledger_end_run(bench->ledger, 1, t0, RUN_END_COLD, &bench->fault), EX_NOINPUT,
                       "there is no run 1");
    bench_assert_fault(bench, ledger_open_run(bench->ledger, 99, t0, &bench->fault), EX_NOINPUT,
                       "there is no oven 99");
}

static void test_runs_in_order_of_time(void **state) {
    struct bench *const bench = *state;
    struct ledger_run *runs;
    size_t count;

    add_run(bench, 0, t0 + 300, t0 + 400);
    add_run(bench, 0, t0 + 100, t0 + 200);
    add_run(bench, 1, t0 + 300, 0);
    runs = ledger_list_runs(bench->ledger, t0, t0 + 300, &count, &bench->fault);
    assert_non_null(runs);
    assert_int_equal(count, 3);
    assert_int_equal(runs[0].run_id, 2);
    assert_int_equal(runs[1].run_id, 1);
    assert_int_equal(runs[2].run_id, 3);
    free(runs);
    runs = ledger_list_runs(bench->ledger, t0 + 101, t0 + 299, &count, &bench->fault);
    assert_non_null(runs);
    assert_int_equal(count, 0);
    free(runs);
}

static void assert_claimed(struct bench *bench, int64_t run_id, int64_t batch_id, size_t visit) {
    struct ledger_run run;

    assert_int_equal(ledger_read_run(bench->ledger, run_id, &run, &bench->fault), 1);
    assert_int_equal(run.batch_id, batch_id);
    assert_int_equal(run.visit, visit);
}

/* Two charges that were in the oven at once: either batch has the run, and either can give it back alone. */
static void test_run_serves_several_batches(void **state) {
    struct bench *const bench = *state;
    struct ledger *const ledger = bench->ledger;
    const int64_t run_id = add_run(bench, 0, t0, t0 + 100);
    const int64_t first = bench_open_batch(bench, t0);
    const int64_t second = bench_open_batch(bench, t0);
    struct ledger_claim *claims;
    struct ledger_run *runs;
    size_t count;

    assert_int_equal(ledger_claim_run(ledger, run_id, first, 0, t0 + 1, "daemon", &bench->fault), 0);
    assert_int_equal(ledger_claim_run(ledger, run_id, second, 1, t0 + 2, "R. Bench", &bench->fault), 0);
    assert_claimed(bench, run_id, first, 0);
    runs = ledger_list_claimed(ledger, second, &count, &bench->fault);
    assert_int_equal(count, 1);
    assert_int_equal(runs[0].batch_id, second);
    assert_int_equal(runs[0].visit, 1);
    free(runs);
    assert_int_equal(ledger_claim_run(ledger, run_id, second, 0, t0 + 3, "R. Bench", &bench->fault), 0);
    claims = ledger_list_claims(ledger, run_id, &count, &bench->fault);
    assert_int_equal(count, 2); // of one batch the latest claim holds
    assert_int_equal(claims[1].batch_id, second);
    assert_int_equal(claims[1].visit, 0);
    free(claims);
    assert_int_equal(ledger_withdraw_claim(ledger, run_id, first, t0 + 4, "R. Bench", &bench->fault), 0);
    assert_claimed(bench, run_id, second, 0);
    bench_assert_fault(bench, ledger_withdraw_claim(ledger, run_id, first, t0 + 5, "R. Bench", &bench->fault),
                       EX_NOINPUT, "does not belong to batch 1");
    assert_int_equal(ledger_had_run(ledger, run_id, first, &bench->fault), 1);
    assert_int_equal(ledger_had_run(ledger, run_id + 1, first, &bench->fault), 0);
    assert_int_equal(ledger_claim_run(ledger, run_id, 0, 5, t0 + 6, "R. Bench", &bench->fault), 0);
    assert_claimed(bench, run_id, 0, 0);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM claim"), 4);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM claim_in_force"), 0);
}

static void test_company_is_one_group(void **state) {
    struct bench *const bench = *state;
    const int64_t first = bench_open_batch(bench, t0), second = bench_open_batch(bench, t0);
    const int64_t third = bench_open_batch(bench, t0), fourth = bench_open_batch(bench, t0);
    const struct company rows[] = {
        {second, first, true, false, t0}, {third, second, true, true, t0}, {fourth, third, false, true, t0}};
    struct company company;
    int64_t *others;
    size_t count;

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        assert_int_equal(company_add(bench->ledger, &rows[i], "R. Bench", &bench->fault), 0);
    others = company_list(bench->ledger, third, &count, &bench->fault);
    assert_int_equal(count, 2);
    assert_int_equal(others[0], first);
    assert_int_equal(others[1], second);
    free(others);
    assert_int_equal(company_read(bench->ledger, third, &company, &bench->fault), 1);
    assert_int_equal(company.with_batch_id, first); // who joins a member joins the group
    assert_int_equal(company_read(bench->ledger, first, &company, &bench->fault), 0);
    assert_int_equal(company_read(bench->ledger, fourth, &company, &bench->fault), 1);
    assert_int_equal(company.with_batch_id, third);
    assert_false(company.together);
    assert_int_equal(ledger_close_batch(bench->ledger, second, t0 + 1, &bench->fault), 0);
    others = company_list(bench->ledger, third, &count, &bench->fault);
    assert_int_equal(count, 1); // who is closed goes nowhere
    free(others);
    others = company_list(bench->ledger, fourth, &count, &bench->fault);
    assert_int_equal(count, 0);
    free(others);
    bench_assert_fault(
        bench, company_add(bench->ledger, &(struct company){.batch_id = 9, .with_batch_id = 1}, "x", &bench->fault),
        EX_NOINPUT, "there is no batch 9");
}

static void test_claimed_runs_by_visit_then_time(void **state) {
    struct bench *const bench = *state;
    const int64_t batch_id = bench_open_batch(bench, t0);
    static const struct {
        int64_t after_ms;
        size_t visit;
    } claims[] = {{300, 1}, {100, 1}, {200, 0}}; // runs 1, 2, 3
    static const int64_t expected[] = {3, 2, 1};
    struct ledger_run *runs;
    size_t count;

    for (size_t i = 0; i < 3; i++) {
        const int64_t run_id = add_run(bench, 0, t0 + claims[i].after_ms, t0 + claims[i].after_ms + 50);

        assert_int_equal(
            ledger_claim_run(bench->ledger, run_id, batch_id, claims[i].visit, t0, "daemon", &bench->fault), 0);
    }
    runs = ledger_list_claimed(bench->ledger, batch_id, &count, &bench->fault);
    assert_non_null(runs);
    assert_int_equal(count, 3);
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(runs[i].run_id, expected[i]);
        assert_int_equal(runs[i].batch_id, batch_id);
    }
    assert_int_equal(runs[0].visit, 0);
    assert_int_equal(runs[2].visit, 1);
    free(runs);
}

static void test_claim_is_refused(void **state) {
    struct bench *const bench = *state;
    struct ledger *const ledger = bench->ledger;
    const int64_t run_id = add_run(bench, 0, t0, 0);
    const int64_t batch_id = bench_open_batch(bench, t0);

    bench_assert_fault(bench, ledger_claim_run(ledger, 77, batch_id, 0, t0, "daemon", &bench->fault), EX_NOINPUT,
                       "there is no run 77");
    bench_assert_fault(bench, ledger_claim_run(ledger, run_id, 77, 0, t0, "daemon", &bench->fault), EX_NOINPUT,
                       "there is no batch 77");
    assert_int_equal(ledger_close_batch(ledger, batch_id, t0 + 1, &bench->fault), 0);
    bench_assert_fault(bench, ledger_claim_run(ledger, run_id, batch_id, 0, t0, "daemon", &bench->fault),
                       EX_DATAERR, "the batch is closed");
}

static void test_batch_is_read_back(void **state) {
    struct bench *const bench = *state;
    static char charge[] = "8 chisels, 25 mm", customer[] = "Bench room 2", order[] = "2026-114", by[] = "R. Bench",
                note[] = "second try; \xc3\xa4\xc3\xb6", plan[] = "[plan]\n# \xc2\xb0\n", name[] = "chisels.plan";
    const struct ledger_batch given = {
        .opened_ms = t0 + 5,
        .oven_id = bench->ovens[1],
        .charge = charge,
        .customer = customer,
        .order_reference = order,
        .operator_name = by,
        .note = note,
        .plan_text = plan,
        .plan_length = sizeof plan - 1,
        .plan_name = name,
    };
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    struct ledger_batch *batch;

    assert_int_equal(ledger_open_batch(bench->ledger, &given, &bench->fault), 1);
    batch = ledger_read_batch(bench->ledger, 1, &bench->fault);
    assert_non_null(batch);
    assert_int_equal(batch->batch_id, 1);
    assert_int_equal(batch->opened_ms, t0 + 5);
    assert_int_equal(batch->closed_ms, 0);
    assert_int_equal(batch->oven_id, bench->ovens[1]);
    assert_string_equal(batch->charge, charge);
    assert_string_equal(batch->customer, customer);
    assert_string_equal(batch->order_reference, order);
    assert_string_equal(batch->operator_name, by);
    assert_string_equal(batch->note, note);
    assert_string_equal(batch->plan_text, plan);
    assert_int_equal(batch->plan_length, sizeof plan - 1);
    assert_string_equal(batch->plan_name, name);
    ledger_sha256(plan, sizeof plan - 1, sha256);
    assert_string_equal(batch->plan_sha256, sha256);
    ledger_free_batch(batch);
    ledger_free_batch(NULL);
    assert_null(ledger_read_batch(bench->ledger, 2, &bench->fault));
    bench_assert_fault(bench, -1, EX_NOINPUT, "there is no batch 2");
}

static void test_plan_is_kept_once(void **state) {
    struct bench *const bench = *state;

    bench_open_batch(bench, t0);
    bench_open_batch(bench, t0);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM document WHERE body LIKE '[plan]%'"), 1);
}

static void test_batches_are_numbered_without_gaps(void **state) {
    struct bench *const bench = *state;
    static char name[] = "x";
    const struct ledger_batch nowhere = {.opened_ms = t0, .oven_id = 99, .plan_name = name};
    int64_t *ids;
    size_t count;

    assert_int_equal(bench_open_batch(bench, t0), 1);
    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    assert_int_equal(bench_open_batch(bench, t0), 2);
    ledger_roll_back(bench->ledger);
    bench_assert_fault(bench, ledger_open_batch(bench->ledger, &nowhere, &bench->fault), EX_NOINPUT, "no oven 99");
    for (int64_t number = 2; number <= 40; number++) {
        assert_int_equal(bench_open_batch(bench, t0), number);
    }
    assert_int_equal(ledger_close_batch(bench->ledger, 3, t0, &bench->fault), 0);
    ids = ledger_list_batches(bench->ledger, false, &count, &bench->fault);
    assert_int_equal(count, 40);
    for (size_t i = 0; i < count; i++) {
        assert_int_equal(ids[i], i + 1);
    }
    free(ids);
    ids = ledger_list_batches(bench->ledger, true, &count, &bench->fault);
    assert_int_equal(count, 39);
    assert_int_equal(ids[2], 4);
    free(ids);
}

static void test_batch_closes_once(void **state) {
    struct bench *const bench = *state;
    const int64_t batch_id = bench_open_batch(bench, t0);
    struct ledger_batch *batch;

    bench_assert_fault(bench, ledger_close_batch(bench->ledger, 9, t0, &bench->fault), EX_NOINPUT, "no batch 9");
    bench_assert_fault(bench, ledger_close_batch(bench->ledger, batch_id, t0 - 1, &bench->fault), EX_DATAERR,
                       "CHECK");
    assert_int_equal(ledger_close_batch(bench->ledger, batch_id, t0 + 60, &bench->fault), 0);
    bench_assert_fault(bench, ledger_close_batch(bench->ledger, batch_id, t0 + 61, &bench->fault), EX_DATAERR,
                       "only closes, once");
    batch = ledger_read_batch(bench->ledger, batch_id, &bench->fault);
    assert_non_null(batch);
    assert_int_equal(batch->closed_ms, t0 + 60);
    ledger_free_batch(batch);
}

static void test_latest_judgement_is_found(void **state) {
    struct bench *const bench = *state;
    struct ledger *const ledger = bench->ledger;
    const int64_t run_id = add_run(bench, 0, t0, 0);
    const int64_t batch_id = bench_open_batch(bench, t0);
    bool complete = true;

    assert_int_equal(ledger_find_judgement(ledger, run_id, batch_id, 0, &complete, &bench->fault), 0);
    assert_false(complete);
    assert_int_equal(ledger_open_judgement(ledger, run_id, batch_id, 0, t0, &bench->fault), 1);
    assert_int_equal(ledger_open_judgement(ledger, run_id, batch_id, 1, t0, &bench->fault), 2);
    assert_int_equal(ledger_find_judgement(ledger, run_id, batch_id, 0, &complete, &bench->fault), 1);
    assert_false(complete);
    assert_int_equal(ledger_add_verdicts(ledger, 1, NULL, 0, &bench->fault), 0);
    assert_int_equal(ledger_find_judgement(ledger, run_id, batch_id, 0, &complete, &bench->fault), 1);
    assert_true(complete);
    assert_int_equal(ledger_open_judgement(ledger, run_id, batch_id, 0, t0 + 9, &bench->fault), 3);
    assert_int_equal(ledger_find_judgement(ledger, run_id, batch_id, 0, &complete, &bench->fault), 3);
    assert_false(complete);
    bench_assert_fault(bench, ledger_open_judgement(ledger, 7, batch_id, 0, t0, &bench->fault), EX_NOINPUT,
                       "no run 7");
    bench_assert_fault(bench, ledger_open_judgement(ledger, run_id, 7, 0, t0, &bench->fault), EX_NOINPUT,
                       "no batch 7");
}

static int64_t open_judgement(struct bench *bench) {
    const int64_t run_id = add_run(bench, 0, t0, 0);
    const int64_t batch_id = bench_open_batch(bench, t0);

    return ledger_open_judgement(bench->ledger, run_id, batch_id, 0, t0, &bench->fault);
}

static void test_findings_in_the_order_they_were_made(void **state) {
    struct bench *const bench = *state;
    const int64_t judgement_id = open_judgement(bench);
    const struct finding findings[] = {
        {t0 + 9, FINDING_GAP_ENDED, 2, bench->channels[1], 5000, 3000},
        {t0 + 8, FINDING_SOAK_BEGUN, 1, 0, 792000, 0},
        {t0 + 8, FINDING_SOAK_BEGUN, 1, 0, -792000, -1},
    };
    const struct finding unknown = {.kind = (enum finding_kind)FINDING_KIND_COUNT};
    struct finding *listed;
    size_t count;

    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(ledger_add_finding(bench->ledger, judgement_id, &findings[i], &bench->fault), 0);
    }
    listed = ledger_list_findings(bench->ledger, judgement_id, &count, &bench->fault);
    assert_non_null(listed);
    assert_int_equal(count, 3);
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(listed[i].t_ms, findings[i].t_ms);
        assert_int_equal(listed[i].kind, findings[i].kind);
        assert_int_equal(listed[i].operation, findings[i].operation);
        assert_int_equal(listed[i].channel_id, findings[i].channel_id);
        assert_int_equal(listed[i].value, findings[i].value);
        assert_int_equal(listed[i].limit, findings[i].limit);
    }
    free(listed);
    bench_assert_fault(bench, ledger_add_finding(bench->ledger, judgement_id, &unknown, &bench->fault), EX_DATAERR,
                       "FOREIGN KEY");
    bench_assert_fault(bench, ledger_add_finding(bench->ledger, 55, &findings[0], &bench->fault), EX_NOINPUT,
                       "no judgement 55");
    listed = ledger_list_findings(bench->ledger, 55, &count, &bench->fault);
    assert_non_null(listed);
    assert_int_equal(count, 0);
    free(listed);
}

static void assert_same_verdict(const struct verdict *a, const struct verdict *b) {
    assert_int_equal(a->operation, b->operation);
    assert_int_equal(a->requirement, b->requirement);
    assert_int_equal(a->outcome, b->outcome);
    assert_int_equal(a->reason, b->reason);
    assert_int_equal(a->required, b->required);
    assert_int_equal(a->found_known, b->found_known);
    assert_int_equal(a->possible, b->possible);
    assert_int_equal(a->t_ms, b->t_ms);
    assert_int_equal(a->channel_id, b->channel_id);
    if (a->found_known) {
        assert_int_equal(a->found, b->found);
        assert_int_equal(a->margin, b->margin);
    }
}

static void test_verdicts_complete_a_judgement(void **state) {
    struct bench *const bench = *state;
    const int64_t judgement_id = open_judgement(bench);
    const struct verdict verdicts[] = {
        {3, REQUIREMENT_SPREAD, OUTCOME_NOT_PROVEN, REASON_ONE_SENSOR, 8000, false, 0, 0, 0, 0, 0, 0},
        {3, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_MET, REASON_NONE, 900000, true, 880000, 890000, -20000, t0 + 1, 2,
         2500},
        {1, REQUIREMENT_OVERSHOOT, OUTCOME_MET, REASON_NONE, 5000, true, 0, 0, 5000, t0 + 2, 1, 0},
    };
    const struct finding late = {.t_ms = t0, .kind = FINDING_OVERSHOOT};
    struct verdict *listed;
    size_t count;

    assert_int_equal(ledger_add_verdicts(bench->ledger, judgement_id, verdicts, 3, &bench->fault), 0);
    listed = ledger_list_verdicts(bench->ledger, judgement_id, &count, &bench->fault);
    assert_non_null(listed);
    assert_int_equal(count, 3);
    for (size_t i = 0; i < 3; i++) {
        assert_same_verdict(&listed[i], &verdicts[i]);
    }
    free(listed);
    bench_assert_fault(bench, ledger_add_verdicts(bench->ledger, judgement_id, verdicts, 3, &bench->fault),
                       EX_DATAERR, "complete: it takes no more");
    bench_assert_fault(bench, ledger_add_verdicts(bench->ledger, judgement_id, NULL, 0, &bench->fault), EX_DATAERR,
                       "only completed, once");
    bench_assert_fault(bench, ledger_add_finding(bench->ledger, judgement_id, &late, &bench->fault), EX_DATAERR,
                       "complete: it takes no more");
    bench_assert_fault(bench, ledger_add_verdicts(bench->ledger, 55, verdicts, 3, &bench->fault), EX_NOINPUT,
                       "no judgement 55");
}

static void test_all_verdicts_or_none(void **state) {
    struct bench *const bench = *state;
    const int64_t judgement_id = open_judgement(bench);
    struct verdict verdicts[] = {
        {0, REQUIREMENT_RAMP, OUTCOME_MET, REASON_NONE, 1, true, 1, 1, 0, 0, 0, 0},
        {0, (enum requirement)REQUIREMENT_COUNT, OUTCOME_MET, REASON_NONE, 1, true, 1, 1, 0, 0, 0, 0},
    };

    bench_assert_fault(bench, ledger_add_verdicts(bench->ledger, judgement_id, verdicts, 2, &bench->fault),
                       EX_DATAERR, "FOREIGN KEY");
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM verdict"), 0);
    verdicts[1].requirement = REQUIREMENT_SPREAD;
    assert_int_equal(ledger_add_verdicts(bench->ledger, judgement_id, verdicts, 2, &bench->fault), 0);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM verdict"), 2);
}

static void test_certificates_are_numbered_without_gaps(void **state) {
    struct bench *const bench = *state;
    struct ledger *const ledger = bench->ledger;
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    int64_t revision = 0;

    ledger_sha256("%PDF", 4, sha256);
    bench_open_batch(bench, t0);
    bench_open_batch(bench, t0);
    assert_int_equal(ledger_add_certificate(ledger, 1, t0, sha256, &revision, &bench->fault), 1);
    assert_int_equal(revision, 1);
    assert_int_equal(ledger_begin(ledger, &bench->fault), 0);
    assert_int_equal(ledger_add_certificate(ledger, 1, t0, sha256, &revision, &bench->fault), 2);
    assert_int_equal(revision, 2);
    ledger_roll_back(ledger);
    assert_int_equal(ledger_add_certificate(ledger, 2, t0, sha256, &revision, &bench->fault), 2);
    assert_int_equal(revision, 1);
    assert_int_equal(ledger_add_certificate(ledger, 1, t0, sha256, &revision, &bench->fault), 3);
    assert_int_equal(revision, 2);
    bench_assert_fault(bench, ledger_add_certificate(ledger, 9, t0, sha256, &revision, &bench->fault), EX_NOINPUT,
                       "no batch 9");
    sha256[5] = 'X';
    bench_assert_fault(bench, ledger_add_certificate(ledger, 1, t0, sha256, &revision, &bench->fault), EX_DATAERR,
                       "CHECK");
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM certificate"), 3);
}

static void test_views_say_it_in_words(void **state) {
    struct bench *const bench = *state;
    const int64_t judgement_id = open_judgement(bench);
    const struct finding finding = {t0 + 1500, FINDING_OVERSHOOT, 1, bench->channels[1], 819400, 815000};
    const struct verdict verdict = {
        0, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_MET, REASON_NONE, 900000, true, 880200, 880200, -19800, t0 + 1, 0,
        0};
    const struct event event = {t0, EVENT_CLOCK_STEP, 3600000, ""};
    char words[BENCH_WORDS_BYTES];

    assert_int_equal(ledger_add_finding(bench->ledger, judgement_id, &finding, &bench->fault), 0);
    assert_int_equal(ledger_add_verdicts(bench->ledger, judgement_id, &verdict, 1, &bench->fault), 0);
    assert_int_equal(ledger_add_event(bench->ledger, &event, &bench->fault), 0);
    assert_int_equal(ledger_end_run(bench->ledger, 1, t0 + 90000, RUN_END_COOLING, &bench->fault), 0);
    bench_run_sql(
        bench->path,
        "SELECT utc || ' ' || channel || ' ' || finding || ' ' || value || ' ' || held_against || ' ' || unit"
        " FROM finding_in_words",
        words);
    assert_string_equal(words, "2026-11-16 07:30:01.500 charge overshoot limit passed 819.4 815.0 °C");
    bench_run_sql(bench->path,
                  "SELECT requirement || ' ' || required || ' ' || found || ' ' || margin || ' ' || unit || ' ' ||"
                  " outcome FROM verdict_in_words",
                  words);
    assert_string_equal(words, "soak time, at least 15.0 14.67 -0.33 min not met");
    bench_run_sql(bench->path,
                  "SELECT utc || ' ' || event || ' ' || amount || ' ' || amount_is FROM event_in_words", words);
    assert_string_equal(words, "2026-11-16 07:30:00.000 wall clock stepped 3600000 ms forward");
    bench_run_sql(bench->path,
                  "SELECT oven || ' ' || begun_utc || ' ' || ended_by || ' ' || minutes FROM run_in_words", words);
    assert_string_equal(words, "hardening kiln 2026-11-16 07:30:00.000 cooling 1.5");
    bench_run_sql(bench->path, "SELECT oven || ' ' || charge || ' ' || certificates FROM batch_in_words", words);
    assert_string_equal(words, "hardening kiln 12 plane irons 0");
}

#define WITH_BENCH(test) cmocka_unit_test_setup_teardown(test, bench_set_up, bench_tear_down)

int main(void) {
    const struct CMUnitTest tests[] = {
        WITH_BENCH(test_run_from_begin_to_end),
        WITH_BENCH(test_run_that_is_not_there),
        WITH_BENCH(test_runs_in_order_of_time),
        WITH_BENCH(test_run_serves_several_batches),
        WITH_BENCH(test_company_is_one_group),
        WITH_BENCH(test_claimed_runs_by_visit_then_time),
        WITH_BENCH(test_claim_is_refused),
        WITH_BENCH(test_batch_is_read_back),
        WITH_BENCH(test_plan_is_kept_once),
        WITH_BENCH(test_batches_are_numbered_without_gaps),
        WITH_BENCH(test_batch_closes_once),
        WITH_BENCH(test_latest_judgement_is_found),
        WITH_BENCH(test_findings_in_the_order_they_were_made),
        WITH_BENCH(test_verdicts_complete_a_judgement),
        WITH_BENCH(test_all_verdicts_or_none),
        WITH_BENCH(test_certificates_are_numbered_without_gaps),
        WITH_BENCH(test_views_say_it_in_words),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
