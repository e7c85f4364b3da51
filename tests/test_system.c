// SPDX-License-Identifier: MIT
/* The whole way: the virtual shop's oven, a pseudo-terminal, the daemon, the ledger, the command, the PDF. */
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
#include "soakledger/clock.h"
#include "soakledger/ledger.h"
#include "support/stage.h"

enum { MS_PER_S = 1000, MS_PER_MIN = 60000 };

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

static void open_batch(struct stage *stage) {
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --operator 'day shift'");
}

/* The batch as a sheet would see it: replayed from the stored readings. */
static struct assess_batch *assess(struct stage *stage, int64_t batch_id) {
    struct fault fault = {0};
    struct ledger *ledger = ledger_open(stage->ledger, LEDGER_READ, &fault);
    struct assess_batch *assessed = ledger != NULL ? assess_batch(ledger, batch_id, NULL, &fault) : NULL;

    ledger_close(ledger);
    if (assessed == NULL)
        fail_msg("batch %lld cannot be assessed: %s", (long long)batch_id, fault.text);
    return assessed;
}

static const struct verdict *verdict_of(const struct assess_batch *assessed, enum requirement requirement) {
    for (size_t i = 0; i < assessed->visits[0].verdict_count; i++) {
        if (assessed->visits[0].verdicts[i].requirement == requirement)
            return &assessed->visits[0].verdicts[i];
    }
    fail_msg("no verdict on requirement %d", requirement);
    return NULL;
}

static void expect_agreement(const struct assess_batch *assessed) {
    assert_int_equal(assessed->visits[0].run_count, 1);
    assert_int_equal(assessed->visits[0].runs[0].agreement, ASSESS_AGREES);
}

static void contains(const char *text, const char *part) {
    if (strstr(text, part) == NULL)
        fail_msg("'%s' is not in:\n%s", part, text);
}

static void says(struct stage *stage, const char *command, const char *all) {
    assert_string_equal(stage_tell(stage, command), all);
}

/* ---- the good morning ---- */

static void an_unattended_run_becomes_a_certificate(void **state) {
    struct stage *stage = *state;
    struct assess_batch *assessed;
    const char *text;

    stage_start_daemon(stage);
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    text = stage_read_journal(stage);
    contains(text, "the required soak of 20 min is complete");
    contains(text, "batch 1: met");
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);

    assessed = assess(stage, 1);
    expect_agreement(assessed);
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    /* From about 07:40 until the charge is taken out at 08:05:05. */
    assert_in_range(verdict_of(assessed, REQUIREMENT_SOAK_LEAST)->found, 24 * MS_PER_MIN, 26 * MS_PER_MIN);
    /* The oven was lit at 07:15 after 15 minutes at rest. */
    assert_in_range(assessed->visits[0].runs[0].run.begun_ms, INT64_C(1794812400000) + 5 * MS_PER_MIN,
                    INT64_C(1794812400000) + 16 * MS_PER_MIN);
    assess_free(assessed);

    stage_tell(stage,
               "$S certificate 1 -o $D/c.pdf && qpdf --check $D/c.pdf && pdftotext -layout $D/c.pdf $D/c.txt");
    text = stage_tell(stage, "cat $D/c.txt");
    contains(text, "MET");
    contains(text, "12 plane irons");
    contains(text, "day shift");
    contains(text, "soak time");
    contains(text, "at least");
    contains(text, "SIMULATED CLOCK");
    contains(text, "K-7");
    contains(text, "page 1 of");
    contains(stage_tell(stage, "$S batch show 1"), "met");
}

static void the_minutes_before_a_run_are_there_at_full_rate(void **state) {
    struct stage *stage = *state;

    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T07:30:00Z");
    stage_end_daemon(stage, SIGTERM);
    /* Ten minutes of lead at one a second, before the run's own beginning; before those one a minute. */
    contains(
        stage_tell(stage,
                   "sqlite3 $D/shop.ledger \"select count(*) >= 540 from reading r, run where r.channel_id = 1 "
                   "and r.t_ms < begun_ms and r.t_ms >= begun_ms - 600000\""),
        "1");
    contains(stage_tell(stage,
                        "sqlite3 $D/shop.ledger \"select max(n) = 1 from (select count(*) n from reading r, run "
                        "where r.channel_id = 1 and r.t_ms < begun_ms - 660000 group by r.t_ms / 60000)\""),
             "1");
}

/* ---- nobody pressed start ---- */

static void a_batch_opened_in_the_middle_of_its_run_gets_all_of_it(void **state) {
    struct stage *stage = *state;
    struct assess_batch *assessed;

    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T07:50:00Z");
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: met");
    assessed = assess(stage, 1);
    expect_agreement(assessed);
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assess_free(assessed);
}

static void an_unclaimed_run_is_kept_and_claimed_later(void **state) {
    struct stage *stage = *state;
    struct assess_batch *assessed;

    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    usleep(700000);
    contains(stage_tell(stage, "$S runs"), "unclaimed");
    open_batch(stage);
    contains(stage_tell(stage, "$S batch show 1"), "not proven"); // no run yet
    stage_tell(stage, "$S claim 1 1");
    stage_play_until(stage, "+10 s");
    contains(stage_read_journal(stage), "batch 1: met");
    assessed = assess(stage, 1);
    expect_agreement(assessed);
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assess_free(assessed);
}

/* ---- things go wrong ---- */

static void a_killed_daemon_goes_on_where_it_was(void **state) {
    struct stage *stage = *state;
    struct assess_batch *assessed;

    stage_start_daemon(stage);
    open_batch(stage);
    for (int i = 0; i < 4; i++) { // in the heat, twice in the soak, and while cooling
        static const char *const times[] = {"2026-11-16T07:30:00Z", "2026-11-16T07:45:00Z", "2026-11-16T07:58:20Z",
                                            "2026-11-16T08:12:00Z"};

        stage_play_until(stage, times[i]);
        assert_int_equal(WTERMSIG(stage_end_daemon(stage, SIGKILL)), SIGKILL);
        stage_start_daemon(stage); // time stood still: nothing was missed
    }
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: met");
    assessed = assess(stage, 1);
    expect_agreement(assessed);
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assert_int_equal(assessed->visits[0].runs[0].soak.gap_count, 0);
    assess_free(assessed);
    says(stage, "sqlite3 $D/shop.ledger 'select count(*) from event where kind = 3'", "4\n");
}

static void minutes_that_nobody_recorded_are_not_proven(void **state) {
    struct stage *stage = *state;
    struct assess_batch *assessed;

    stage_start_daemon(stage);
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T07:50:00Z");
    stage_end_daemon(stage, SIGKILL);
    stage_play_until(stage, "+90 s");
    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: not proven");
    assessed = assess(stage, 1);
    expect_agreement(assessed);
    assert_int_equal(assessed->outcome, OUTCOME_NOT_PROVEN);
    assert_int_equal(verdict_of(assessed, REQUIREMENT_SOAK_LEAST)->reason, REASON_GAP);
    assert_true(verdict_of(assessed, REQUIREMENT_SOAK_LEAST)->possible > 20 * MS_PER_MIN);
    assess_free(assessed);
    stage_tell(stage, "$S certificate 1 -o $D/c.pdf && pdftotext -layout $D/c.pdf $D/c.txt");
    contains(stage_tell(stage, "cat $D/c.txt"), "NOT PROVEN");
}

static void a_wall_clock_step_in_the_soak_changes_no_duration(void **state) {
    struct stage *stage = *state;
    struct assess_batch *assessed;
    struct fault fault;
    struct clock *page;
    char path[STAGE_PATH_BYTES + 16];
    const char *text;

    snprintf(path, sizeof path, "%s/clock.page", stage->folder);
    stage_start_daemon(stage);
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T07:50:00Z");
    page = clock_open_simulated(path, NULL, &fault);
    assert_non_null(page);
    assert_int_equal(clock_step_page(page, -3600 * MS_PER_S, &fault), 0);
    clock_close(page);
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "the wall clock was put back by 3600.000 s");
    assessed = assess(stage, 1);
    expect_agreement(assessed);
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assert_in_range(verdict_of(assessed, REQUIREMENT_SOAK_LEAST)->found, 24 * MS_PER_MIN, 26 * MS_PER_MIN);
    assess_free(assessed);
    stage_tell(stage, "$S certificate 1 -o $D/c.pdf && pdftotext -layout $D/c.pdf $D/c.txt");
    text = stage_tell(stage, "grep -i 'clock' $D/c.txt");
    contains(text, "1 h"); // the step is on the sheet
}

static void a_second_daemon_is_turned_away(void **state) {
    struct stage *stage = *state;

    stage_start_daemon(stage);
    assert_int_equal(stage_run(stage, "$B/soakledgerd -c $D/shop.conf"), EX_UNAVAILABLE);
    assert_int_equal(
        stage_run(stage, "sed 's/^path.*/&2/' $D/shop.conf > $D/other.conf; $B/soakledgerd -c $D/other.conf"),
        EX_UNAVAILABLE); // another ledger, but the same place on the clock page
}

static void bad_input_is_one_clear_line(void **state) {
    struct stage *stage = *state;

    assert_int_equal(stage_run(stage, "$B/soakledgerd -c $D/none.conf"), EX_NOINPUT);
    contains(stage->output, "none.conf");
    assert_int_equal(stage_run(stage, "sed 's/^role = load/role = charge/' $D/shop.conf > $D/bad.conf; "
                                      "$B/soakledgerd --check -c $D/bad.conf"),
                     EX_CONFIG);
    contains(stage->output, "bad.conf:");
    assert_int_equal(stage_run(stage, "$S batch open --plan $D/irons.plan --charge irons"), EX_NOINPUT);
    stage_start_daemon(stage);
    assert_int_equal(stage_run(stage, "sed 's/ C$//' $D/irons.plan > $D/bad.plan; "
                                      "$S batch open --plan $D/bad.plan --charge irons"),
                     EX_CONFIG);
    contains(stage->output, "bad.plan:");
    assert_int_equal(stage_run(stage, "$S certificate 7"), EX_NOINPUT);
    assert_int_equal(stage_run(stage, "$S frobnicate"), EX_USAGE);
    says(stage, "sqlite3 $D/shop.ledger 'select count(*) from batch'", "0\n"); // nothing half written
}

/* ---- read-only ---- */

static void nothing_is_ever_written_to_a_controller(void **state) {
    struct stage *stage = *state;
    const char *log;

    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    stage_end_daemon(stage, SIGTERM);
    kill(stage->shop, SIGTERM);
    waitpid(stage->shop, NULL, 0);
    stage->shop = 0;
    log = stage_tell(stage, "cat $D/wire.log");
    contains(log, "count line=bench address=1 function=03 frames=");
    /* Whatever is no valid read request is logged byte by byte under another word: there must be no other line. */
    assert_int_equal(stage_run(stage, "grep -v -e '^count line=bench address=1 function=03 frames=[0-9]*$' "
                                      "-e '^end of counts$' $D/wire.log"),
                     1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(an_unattended_run_becomes_a_certificate, set_up, tear_down),
        cmocka_unit_test_setup_teardown(the_minutes_before_a_run_are_there_at_full_rate, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_batch_opened_in_the_middle_of_its_run_gets_all_of_it, set_up, tear_down),
        cmocka_unit_test_setup_teardown(an_unclaimed_run_is_kept_and_claimed_later, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_killed_daemon_goes_on_where_it_was, set_up, tear_down),
        cmocka_unit_test_setup_teardown(minutes_that_nobody_recorded_are_not_proven, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_wall_clock_step_in_the_soak_changes_no_duration, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_second_daemon_is_turned_away, set_up, tear_down),
        cmocka_unit_test_setup_teardown(bad_input_is_one_clear_line, set_up, tear_down),
        cmocka_unit_test_setup_teardown(nothing_is_ever_written_to_a_controller, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
