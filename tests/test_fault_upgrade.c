// SPDX-License-Identifier: MIT
/* A ledger of each past version, recorded by the programs of its day (tests/fault/version-N.ledger), under today's:
 * every run is read, the verdicts are the same, what has no seal is sealed as such, and the certificate is printed.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "soakledger/assess.h"
#include "soakledger/ledger.h"
#include "support/stage.h"

enum { COMMAND_BYTES = 512, VERDICTS = 5 };

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

/* All there was of each table before, told in one line each: rows that came since are later. */
static const char *const kept[] = {
    "select count(*), sum(t_ms), sum(value), sum(quality) from reading where t_ms < 1794818400000", // 08:40
    "select run_id, oven_id, begun_ms, ended_ms, end_reason from run",
    "select batch_id, opened_ms, closed_ms, oven_id, charge, operator_name, plan_sha256 from batch",
    "select run_id, batch_id, visit, t_ms, claimed_by from claim",
    "select judgement_id, run_id, batch_id, visit, t_ms from judgement",
    "select judgement_id, kind, t_ms, value from finding",
    "select judgement_id, requirement, required, found, margin, outcome, reason from verdict",
    "select certificate_id, batch_id, issued_ms, sha256 from certificate",
    "select t_ms, kind, amount, detail from event where t_ms < 1794818400000",
};
enum { KEPT = sizeof kept / sizeof kept[0] };

static void write_down(struct stage *stage, const char *name) {
    char command[COMMAND_BYTES];

    for (size_t i = 0; i < KEPT; i++) {
        snprintf(command, sizeof command, "sqlite3 $D/shop.ledger \"%s\" >>$D/%s", kept[i], name);
        stage_tell(stage, command);
    }
}

static void expect_same_verdicts(struct stage *stage) {
    struct fault fault = {0};
    struct ledger *ledger = ledger_open(stage->ledger, LEDGER_READ, &fault);
    struct assess_batch *assessed = ledger != NULL ? assess_batch(ledger, 1, NULL, &fault) : NULL;

    ledger_close(ledger);
    if (assessed == NULL) {
        fail_msg("%s", fault.text);
        return; // for the analyser: fail_msg does not come back
    }
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assert_int_equal(assessed->visits[0].run_count, 1);
    assert_int_equal(assessed->visits[0].runs[0].agreement, ASSESS_AGREES); // judged again, from the readings
    assert_int_equal(assessed->visits[0].verdict_count, VERDICTS);
    for (size_t i = 0; i < VERDICTS; i++)
        assert_int_equal(assessed->visits[0].verdicts[i].outcome, OUTCOME_MET);
    assess_free(assessed);
}

static void version_1_goes_on_as_it_was(void **state) {
    struct stage *stage = *state;

    stage_tell(stage, "cp tests/fault/version-1.ledger $D/shop.ledger && chmod 640 $D/shop.ledger");
    write_down(stage, "before");
    assert_string_equal(stage_tell(stage, "sqlite3 $D/shop.ledger 'pragma user_version'"), "1\n");
    stage_play_until(stage, "2026-11-16T08:45:00Z"); // later than what it holds
    stage_start_daemon(stage);
    stage_play_until(stage, "+3 min");
    contains(stage_read_journal(stage), "run 1: sealed later, not as it closed: ");
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
    assert_string_equal(stage_tell(stage, "sqlite3 $D/shop.ledger 'pragma user_version; pragma integrity_check'"),
                        "2\nok\n");
    assert_int_equal(stage_run(stage, "ls $D/*.damaged-*"), 2);
    write_down(stage, "after");
    stage_tell(stage, "test -s $D/before && diff $D/before $D/after");
    expect_same_verdicts(stage);
    contains(stage_tell(stage, "$S runs"), "batch 1, soak");
    contains(stage_tell(stage, "$S batch show 1"), "Batch 1: MET");
    stage_tell(stage, "$S certificate 1 --why 'a copy for the archive' -o $D/c.pdf && qpdf --check $D/c.pdf "
                      ">/dev/null && pdftotext -layout $D/c.pdf "
                      "$D/c.txt");
    contains(stage_tell(stage, "cat $D/c.txt"), "12 plane irons");
    contains(stage_tell(stage, "cat $D/c.txt"), "sealed later");
    stage_tell(stage, "$S verify");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(version_1_goes_on_as_it_was, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
