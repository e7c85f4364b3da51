// SPDX-License-Identifier: MIT
/* The whole way with sensors that have a life: corrections that live and replay agree on, use that is counted as
 * runs end, alerts, and what the command says of it. */
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

#include "soakledger/assess.h"
#include "support/stage.h"

static int set_up(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);

    *state = stage;
    stage_open_scene(stage, "sensors");
    stage_tell(stage, "cp tests/system/front.table $D/");
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

static void lacks(const char *text, const char *part) {
    if (strstr(text, part) != NULL)
        fail_msg("'%s' is in:\n%s", part, text);
}

static void says(struct stage *stage, const char *command, const char *all) {
    assert_string_equal(stage_tell(stage, command), all);
}

static struct assess_batch *assess(struct stage *stage) {
    struct fault fault = {0};
    struct ledger *ledger = ledger_open(stage->ledger, LEDGER_READ, &fault);
    struct assess_batch *assessed = ledger != NULL ? assess_batch(ledger, 1, NULL, &fault) : NULL;

    ledger_close(ledger);
    if (assessed == NULL)
        fail_msg("the batch cannot be assessed: %s", fault.text);
    return assessed;
}

static int64_t overshoot(const struct assess_batch *assessed) {
    for (size_t i = 0; i < assessed->visits[0].verdict_count; i++)
        if (assessed->visits[0].verdicts[i].requirement == REQUIREMENT_OVERSHOOT)
            return assessed->visits[0].verdicts[i].found;
    fail();
    return 0;
}

static void live_and_replay_correct_alike(void **state) {
    struct stage *stage = *state;
    struct assess_batch *assessed;
    int64_t corrected, stored_peak_mc;
    const char *text;

    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T07:05:00Z");
    text = stage_tell(stage, "$S sensor correct K-8 $D/front.table --by 'day shift'");
    contains(text, "hold for every run that begins after 2026-11-16");
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --operator 'day shift'");
    stage_play_until(stage, "2026-11-16T07:55:00Z"); // in the soak
    assert_int_equal(WTERMSIG(stage_end_daemon(stage, SIGKILL)), SIGKILL);
    stage_start_daemon(stage);
    // Entered in the middle of the run, and much larger: it waits for the next one.
    stage_tell(stage,
               "sed 's/+3.5 C/+40 C/' $D/front.table > $D/later.table; $S sensor correct K-8 $D/later.table");
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: met");
    stage_end_daemon(stage, SIGTERM);

    assessed = assess(stage);
    assert_int_equal(assessed->visits[0].runs[0].agreement, ASSESS_AGREES);
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    corrected = overshoot(assessed);
    assess_free(assessed);
    stored_peak_mc =
        strtoll(stage_tell(stage, "sqlite3 $D/shop.ledger \"select max(value) from reading join channel"
                                  " using (channel_id) where name = 'front'\""),
                NULL, 10);
    /* 2.0 °C at 600 and 3.5 at 900 °C are 3.025 at 805; what is stored is as it was read. */
    assert_in_range(corrected, stored_peak_mc - 805000 + 3000, stored_peak_mc - 805000 + 3100);

    text = stage_tell(stage, "$S batch show 1");
    contains(text, "front: corrected by the calibration of sensor 26-0417 (OVERDUE: it was due on");
    contains(text, "good readings are");
    stage_tell(stage, "$S certificate 1 -o $D/c.pdf && qpdf --check $D/c.pdf");
    text = stage_tell(stage, "pdftotext -raw $D/c.pdf - | tr -s ' \\n' ' '"); // words in the order they are drawn
    contains(text, "26-0417");
    contains(text, "OVERDUE");
    contains(text, "outside its table: not corrected");
    contains(stage_tell(stage, "$S sensor due"), "calibration 26-0417 was due on 2026-11-01");
    text = stage_tell(stage, "$S sensor correct K-8 none");
    contains(text, "withdrawn");
    lacks(stage_tell(stage, "$S sensor due"), "26-0417");
    assessed = assess(stage); // whatever was entered since
    assert_int_equal(assessed->visits[0].runs[0].agreement, ASSESS_AGREES);
    assert_int_equal(overshoot(assessed), corrected);
    assess_free(assessed);
}

static void a_life_is_counted_and_told(void **state) {
    struct stage *stage = *state;
    const char *text;

    stage_tell(stage,
               "sed -i 's/^hours_at_most = 1 h/hours_at_most = 1 h\\ncheck_every = 75 d/; /^check_every = 90 d/d' "
               "$D/shop.conf");
    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T07:50:00Z");
    contains(stage_read_journal(stage), "sensor K-7, raised: is at 80"); // its limit is 800 °C: at once
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    text = stage_read_journal(stage);
    contains(text, "sensor K-7, raised: check was due on 2026-11-15");
    lacks(text, "sensor K-7, again"); // it can wait: nobody is woken twice // 75 days from the first of September
    stage_end_daemon(stage, SIGTERM);
    says(
        stage,
        "sqlite3 $D/shop.ledger \"select sensor, runs, cycles, hours_in_heat > 0.7, hours_in_heat < 1.5, peak > 800"
        " from sensor_use_in_words\"",
        "K-7|1|1|1|1|1\nK-8|1|1|1|1|1\nN-9|1|1|1|1|1\n");
    text = stage_tell(stage, "$S sensor list");
    contains(text, "small.front");
    contains(text, "! was at 8");
    contains(text, "check was due on 2026-11-15");
    contains(stage_tell(stage, "$S sensor show K-7 --recount"), "from every stored reading: the same");
    stage_tell(stage, "for c in list due 'show K-7'; do test $($S sensor $c | LC_ALL=C.UTF-8 wc -L) -le 80; done");
    stage_tell(stage, "$S sensor retire N-9 --words 'kinked' --by 'day shift'");
    contains(stage_tell(stage, "$S sensor due"),
             "sensor N-9, small.back: retired on 2026-11-16 and fitted all the same");
    contains(stage_tell(stage, "$S sensor show N-9"), "retired, by the word of day shift: kinked");

    stage_tell(stage, "sed -i 's/N-9/N-10/' $D/shop.conf");
    stage_play_until(stage, "+10 s");
    stage_start_daemon(stage);
    stage_end_daemon(stage, SIGTERM);
    says(stage,
         "sqlite3 $D/shop.ledger \"select sensor, event, channel from sensor_event_in_words where sensor like "
         "'N-%'\"",
         "N-9|fitted|back\nN-9|retired|\nN-9|removed|back\nN-10|fitted|back\n");
    contains(stage_tell(stage, "$S sensor list"), "retired");
}

static void bad_input_is_one_clear_line(void **state) {
    struct stage *stage = *state;

    stage_start_daemon(stage);
    assert_int_equal(stage_run(stage, "$S sensor show K-99"), EX_NOINPUT);
    contains(stage->output, "the ledger knows no sensor 'K-99': expected one of K-7, K-8, N-9");
    assert_int_equal(stage_run(stage, "$S sensor correct K-99 $D/front.table"), EX_NOINPUT);
    assert_int_equal(stage_run(stage, "$S sensor correct K-7 $D/front.table"), EX_DATAERR);
    contains(stage->output, "is of sensor 'K-8': expected the table of sensor 'K-7'");
    assert_int_equal(stage_run(stage, "$S sensor correct K-8 $D/none.table"), EX_NOINPUT);
    assert_int_equal(stage_run(stage, "sed 's/^2 = 600 C/2 = 100 C/' $D/front.table > $D/bad.table;"
                                      " $S sensor correct K-8 $D/bad.table"),
                     EX_CONFIG);
    contains(stage->output, "bad.table:13: 2: ");
    assert_int_equal(stage_run(stage, "$S sensor correct --instrument large none"), EX_NOINPUT);
    assert_int_equal(stage_run(stage, "$S sensor frob"), EX_USAGE);
    assert_int_equal(stage_run(stage, "$S sensor retire K-99"), EX_NOINPUT);
    says(stage, "sqlite3 $D/shop.ledger 'select count(*) from calibration'", "0\n"); // nothing half written
    assert_int_equal(stage_run(stage,
                               "sed 's/^tolerance = class 2/tolerance = class 9/' $D/shop.conf > $D/bad.conf; "
                               "$B/soakledgerd --check -c $D/bad.conf"),
                     EX_CONFIG);
    contains(stage->output, "'class 9' is no class of type N");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(live_and_replay_correct_alike, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_life_is_counted_and_told, set_up, tear_down),
        cmocka_unit_test_setup_teardown(bad_input_is_one_clear_line, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
