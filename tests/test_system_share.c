// SPDX-License-Identifier: MIT
/* Two charges in one oven: opened together, and split off one another. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <sysexits.h>

#include "soakledger/assess.h"
#include "support/stage.h"

static int set_up(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);

    *state = stage;
    stage_open(stage);
    return 0;
}

static int tear_down(void **state) {
    stage_close(*state);
    free(*state);
    return 0;
}

static void contains(const char *text, const char *part) {
    if (strstr(text, part) == NULL)
        fail_msg("'%s' is not in:\n%s", part, text);
}

/* That the batch's one visit has one run, judged live as it is judged now, and met. */
static void expect_met(struct stage *stage, int64_t batch_id) {
    struct fault fault = {0};
    struct ledger *ledger = ledger_open(stage->ledger, LEDGER_READ, &fault);
    struct assess_batch *assessed = ledger != NULL ? assess_batch(ledger, batch_id, NULL, &fault) : NULL;

    ledger_close(ledger);
    if (assessed == NULL) {
        fail_msg("batch %lld cannot be assessed: %s", (long long)batch_id, fault.text);
        return; // for the analyser: fail_msg does not come back
    }
    assert_int_equal(assessed->visits[0].run_count, 1);
    assert_int_equal(assessed->visits[0].runs[0].agreement, ASSESS_AGREES);
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assess_free(assessed);
}

static void two_charges_in_one_oven_are_both_judged_live(void **state) {
    struct stage *stage = *state;

    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T07:05:00Z"); // no run is on yet
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --customer 'Hall 1'");
    assert_int_equal(stage_run(stage, "$S batch open --plan $D/irons.plan --charge '3 chisels'"), EX_UNAVAILABLE);
    contains(stage->output, "--with 1");
    assert_int_equal(stage_run(stage, "$S batch open --plan $D/irons.plan --charge '3 chisels' --with 7"),
                     EX_NOINPUT);
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '3 chisels' --with 1");
    stage_play_until(stage, "2026-11-16T11:30:00Z");
    assert_true(WIFEXITED(stage_end_daemon(stage, SIGTERM)));
    contains(stage_tell(stage, "$S runs"), "batch 2,");
    expect_met(stage, 1);
    expect_met(stage, 2);
    contains(stage_read_journal(stage), "run 1, batch 2: met");
}

static void a_part_split_off_during_the_run_has_all_of_it(void **state) {
    struct stage *stage = *state;

    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T07:30:00Z");
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --customer 'Hall 1'");
    stage_play_until(stage, "2026-11-16T07:50:00Z");
    contains(stage_tell(stage, "$S batch split 1 --charge '4 of the 12' --customer 'Hall 2'"),
             "The run so far belongs to both.");
    stage_play_until(stage, "2026-11-16T11:30:00Z");
    assert_true(WIFEXITED(stage_end_daemon(stage, SIGTERM)));
    expect_met(stage, 1);
    expect_met(stage, 2);
    contains(stage_tell(stage, "$S batch show 2"), "Hall 2");
    stage_tell(stage, "$S certificate 2 -o $D/part.pdf");
    stage_tell(stage, "pdftotext -layout $D/part.pdf - | tr -s ' \n' ' '");
    contains(stage->output, "Run 1 was not this batch's alone. In the oven with it: batch 1 (12 plane irons).");
    contains(stage->output, "Batch 2 was split from batch 1 on 2026-11-16");
    assert_null(strstr(stage->output, "Hall 1")); // another customer's name is nobody's business
    stage_tell(stage,
               "pdfdetach -savefile certificate.json -o $D/part.json $D/part.pdf && tr -d ' \n' <$D/part.json");
    contains(stage->output, "\"split_off\":{\"batch\":1,");
    contains(stage->output, "\"other_batches\":[{\"batch\":1,\"charge\":\"12planeirons\"}]");
    assert_null(strstr(stage->output, "Hall1"));
    contains(stage_tell(stage, "$S review 1"), "In the oven with it: batch 2 (4 of the 12).");
    stage_tell(stage, "$S batch split 2 --charge '1 of the 4'"); // together, of a batch that goes with batch 1
    contains(stage_tell(stage, "$S batch show 3"), "split off batch 2");
    stage_tell(stage, "$S batch close 3");
    stage_tell(stage, "$S claim 1 none 2");
    contains(stage_tell(stage, "$S batch show 2"), "no run yet");
    expect_met(stage, 1);
    assert_int_equal(stage_run(stage, "$S claim 1 2"), EX_DATAERR);
    contains(stage->output, "--also");
    stage_tell(stage, "$S claim 1 2 --also");
    stage_tell(stage, "$S batch close 1");
    assert_int_equal(stage_run(stage, "$S batch split 1 --charge x"), EX_DATAERR);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(two_charges_in_one_oven_are_both_judged_live, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_part_split_off_during_the_run_has_all_of_it, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
