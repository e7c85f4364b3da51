// SPDX-License-Identifier: MIT
/* The ledger is damaged in the middle of a soak, at rest and while it is recorded into: the file is kept, a new one
 * is begun, and no verdict is better than what is left of the evidence. SOAKLEDGER_FAULT_ROUNDS pages are damaged
 * in the last test. tests/fault/README says which test proves what of which fault. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <sysexits.h>
#include <unistd.h>

#include "soakledger/assess.h"
#include "soakledger/ledger.h"
#include "support/stage.h"

enum { ROUNDS = 3, MS_PER_MIN = 60000, COMMAND_BYTES = 512, SETTLE_US = 700000 };

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

static void says(struct stage *stage, const char *command, const char *all) {
    assert_string_equal(stage_tell(stage, command), all);
}

static int64_t ask(struct stage *stage, const char *query) {
    char command[COMMAND_BYTES];

    snprintf(command, sizeof command, "sqlite3 -readonly $D/shop.ledger \"%s\"", query);
    return strtoll(stage_tell(stage, command), NULL, 10);
}

static void open_batch(struct stage *stage) {
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --operator 'day shift'");
}

/* 4096 bytes from /dev/urandom over one page, counted from 1, of the file as it would be folded together. */
static void damage_page(struct stage *stage, int64_t page) {
    char command[COMMAND_BYTES];

    snprintf(command, sizeof command,
             "sqlite3 $D/shop.ledger 'pragma wal_checkpoint(truncate)' >/dev/null; "
             "dd if=/dev/urandom of=$D/shop.ledger bs=4096 count=1 seek=%lld conv=notrunc status=none",
             (long long)page - 1);
    stage_tell(stage, command);
}

static const struct verdict *verdict_of(const struct assess_batch *assessed, enum requirement requirement) {
    for (size_t i = 0; i < assessed->visits[0].verdict_count; i++) {
        if (assessed->visits[0].verdicts[i].requirement == requirement)
            return &assessed->visits[0].verdicts[i];
    }
    fail_msg("no verdict on requirement %d", requirement);
    return NULL;
}

/* Of a run whose first minutes are in the damaged file only what happened since is proven. */
static void expect_torn(struct stage *stage) {
    struct fault fault = {0};
    struct ledger *ledger = ledger_open(stage->ledger, LEDGER_READ, &fault);
    struct assess_batch *assessed = ledger != NULL ? assess_batch(ledger, 1, NULL, &fault) : NULL;
    const struct verdict *soak;

    ledger_close(ledger);
    if (assessed == NULL) {
        fail_msg("cannot be assessed: %s", fault.text);
        return; // for the analyser: fail_msg does not come back
    }
    assert_int_equal(assessed->visits[0].run_count, 1);
    assert_int_equal(assessed->visits[0].runs[0].agreement, ASSESS_AGREES);
    assert_int_equal(assessed->outcome, OUTCOME_NOT_PROVEN);
    soak = verdict_of(assessed, REQUIREMENT_SOAK_LEAST);
    assert_int_equal(soak->outcome, OUTCOME_NOT_PROVEN);
    assert_in_range(soak->found, 14 * MS_PER_MIN, 16 * MS_PER_MIN); // from 07:50 to 08:05 alone
    assert_true(soak->possible > 20 * MS_PER_MIN);
    assert_int_not_equal(verdict_of(assessed, REQUIREMENT_OVERSHOOT)->outcome, OUTCOME_MET);
    assert_int_not_equal(verdict_of(assessed, REQUIREMENT_SPREAD)->outcome, OUTCOME_MET);
    assert_int_not_equal(verdict_of(assessed, REQUIREMENT_RAMP)->outcome, OUTCOME_MET);
    assess_free(assessed);
}

static void expect_new_ledger(struct stage *stage) {
    says(stage, "sqlite3 -readonly $D/shop.ledger 'select kind from event order by event_id limit 2'", "9\n10\n");
    says(stage,
         "sqlite3 -readonly $D/shop.ledger \"select detail = replace('$(ls $D/*.damaged-????????T??????Z)', '$D/', "
         "'') "
         "from event where kind = 9\"",
         "1\n");
    says(stage, "sqlite3 -readonly $D/shop.ledger 'select count(*) from batch'", "0\n");
}

static void a_damaged_ledger_at_start_is_kept_and_recording_goes_on(void **state) {
    struct stage *stage = *state;

    stage_start_daemon(stage);
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T07:50:00Z");
    assert_int_equal(WTERMSIG(stage_end_daemon(stage, SIGKILL)), SIGKILL);
    damage_page(stage, ask(stage, "select rootpage from sqlite_schema where name = 'reading'"));
    stage_tell(stage, "cp $D/shop.ledger $D/before");
    stage_start_daemon(stage);
    stage_tell(stage, "cmp $D/before $D/shop.ledger.damaged-????????T??????Z");
    contains(stage_read_journal(stage),
             "alert ledger, damaged ledger, raised: the ledger was damaged; it is kept as ");
    contains(stage_read_journal(stage), "1 (batches) were open in it and have to be opened again");
    contains(stage_read_journal(stage), "oven small, run 1: goes on from the damaged ledger");
    expect_new_ledger(stage);
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: not proven");
    expect_torn(stage);
    stage_tell(stage,
               "$S certificate 1 -o $D/c.pdf && pdftotext -layout $D/c.pdf $D/c.txt && tr -s ' \\n' ' ' <$D/c.txt "
               ">$D/c.line");
    contains(stage_tell(stage, "cat $D/c.line"), "NOT PROVEN");
    contains(stage_tell(stage, "cat $D/c.line"), "a new ledger was begun in place of a damaged one");
}

static void a_ledger_damaged_while_recording_is_replaced_without_a_gap(void **state) {
    struct stage *stage = *state;
    int64_t last_ms;

    stage_start_daemon(stage);
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T07:50:00Z");
    usleep(SETTLE_US);
    last_ms = ask(stage, "select max(t_ms) from reading where channel_id = 1");
    damage_page(stage, ask(stage, "select rootpage from sqlite_schema where name = 'reading'"));
    stage_run(stage, "$S batch open --plan $D/irons.plan --charge 'more irons'"); // drops what the daemon remembers
    stage_play_until(stage, "+2 min");
    contains(stage_read_journal(stage),
             "alert ledger, damaged ledger, raised: the ledger was damaged; it is kept as ");
    expect_new_ledger(stage);
    assert_int_equal(ask(stage, "select min(t_ms) from reading where channel_id = 1"), last_ms + 1000);
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: not proven");
    expect_torn(stage);
    assert_int_equal(ask(stage, "select count(*) = 1 + (max(t_ms) - min(t_ms)) / 1000 from reading, run where "
                                "channel_id = 1 and t_ms <= ended_ms"),
                     1);
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
}

static int count_rounds(void) {
    const char *const rounds = getenv("SOAKLEDGER_FAULT_ROUNDS");

    return rounds != NULL ? atoi(rounds) : ROUNDS;
}

/* Whichever page it is: noticed at the latest as the daemon starts the next time, or there is nothing to notice. */
static void any_page_that_is_damaged_is_noticed_or_harms_nothing(void **state) {
    struct stage *stage = *state;
    const int rounds = count_rounds();
    unsigned seed = 11;

    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T07:40:00Z");
    for (int i = 0; i < rounds; i++) {
        int64_t readings;

        usleep(SETTLE_US);
        readings = ask(stage, "select count(*) from reading where quality = 0");
        damage_page(stage, 1 + rand_r(&seed) % ask(stage, "select page_count from pragma_page_count"));
        stage_play_until(stage, "+40 s");
        assert_int_equal(kill(stage->daemon, 0), 0);
        assert_int_equal(WTERMSIG(stage_end_daemon(stage, SIGKILL)), SIGKILL);
        stage_start_daemon(stage);
        says(stage, "sqlite3 $D/shop.ledger 'pragma integrity_check'", "ok\n");
        if (stage_run(stage, "ls $D/shop.ledger.damaged-????????T??????Z") != 0)
            assert_true(ask(stage, "select count(*) from reading where quality = 0") >= readings + 190);
        else
            contains(stage_read_journal(stage), "alert ledger, damaged ledger, raised");
        stage_tell(stage, "rm -rf $D/old && mkdir $D/old && mv $D/*.damaged-* $D/old/ 2>/dev/null; true");
    }
    contains(stage_read_journal(stage), "alert ledger, damaged ledger, raised");
}

static void what_is_no_ledger_is_left_alone(void **state) {
    struct stage *stage = *state;

    stage_tell(stage, "echo 'a list of irons' >$D/shop.ledger; cp $D/shop.ledger $D/before");
    for (int again = 0; again < 2; again++) {
        assert_int_equal(stage_run(stage, "$B/soakledgerd -c $D/shop.conf"), EX_DATAERR);
        contains(stage->output, "not a ledger, and left as it is");
        stage_tell(stage, "cmp $D/before $D/shop.ledger && test ! -e $D/shop.ledger.damaged-*");
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_damaged_ledger_at_start_is_kept_and_recording_goes_on, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_ledger_damaged_while_recording_is_replaced_without_a_gap, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(any_page_that_is_damaged_is_noticed_or_harms_nothing, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_is_no_ledger_is_left_alone, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
