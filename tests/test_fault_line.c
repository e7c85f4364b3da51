// SPDX-License-Identifier: MIT
/* What is on the line fails in the middle of a soak: the controller starts anew, and the adapter is pulled out. It
 * comes back by itself, and what nobody read is a gap. (A frame that breaks off in the middle: test_wire.c; a real
 * adapter that is pulled out of a real kernel: tests/machine.) */
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

enum { MS_PER_MIN = 60000 };

static int set_up(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);

    *state = stage;
    stage_open_scene(stage, "reboot");
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

static void a_controller_that_starts_anew_and_an_adapter_pulled_out_are_gaps(void **state) {
    struct stage *stage = *state;
    struct fault fault = {0};
    struct ledger *ledger;
    struct assess_batch *assessed;
    const struct verdict *soak = NULL;

    stage_start_daemon(stage);
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --operator 'day shift'");
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: not proven");
    assert_string_equal(stage_tell(stage, "sqlite3 $D/shop.ledger 'select kind, detail from event where kind in "
                                          "(5, 6) order by event_id'"),
                        "5|bench\n6|bench\n");
    /* 15 s without power at 07:50 and 15 s without an adapter at 07:55, and no more than a moment to find that out.
     */
    assert_string_equal(stage_tell(stage,
                                   "sqlite3 $D/shop.ledger \"with good as (select t_ms, t_ms - lag(t_ms) over "
                                   "(order by t_ms) as since from reading, run where channel_id = 4 and quality "
                                   "= 0 and t_ms between begun_ms and ended_ms) select count(*), "
                                   "max(since) <= 40000 from good where since >= 14000\""),
                        "2|1\n");
    ledger = ledger_open(stage->ledger, LEDGER_READ, &fault);
    assessed = ledger != NULL ? assess_batch(ledger, 1, NULL, &fault) : NULL;
    ledger_close(ledger);
    if (assessed == NULL) {
        fail_msg("%s", fault.text);
        return; // for the analyser: fail_msg does not come back
    }
    assert_int_equal(assessed->visits[0].run_count, 1);
    assert_int_equal(assessed->visits[0].runs[0].agreement, ASSESS_AGREES);
    assert_int_equal(assessed->outcome, OUTCOME_NOT_PROVEN);
    for (size_t i = 0; i < assessed->visits[0].verdict_count; i++) {
        if (assessed->visits[0].verdicts[i].requirement == REQUIREMENT_SOAK_LEAST)
            soak = &assessed->visits[0].verdicts[i];
    }
    assert_non_null(soak);
    if (soak == NULL)
        return; // for the analyser
    assert_int_equal(soak->reason, REASON_GAP);
    assert_in_range(soak->found, 9 * MS_PER_MIN, 11 * MS_PER_MIN); // 07:39 to 07:50
    assert_true(soak->possible >= 20 * MS_PER_MIN);
    assess_free(assessed);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_controller_that_starts_anew_and_an_adapter_pulled_out_are_gaps, set_up,
                                        tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
