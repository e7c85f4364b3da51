// SPDX-License-Identifier: MIT
/* The whole way with a mixed shop: a controller that speaks Modbus RTU, a reader that prints lines, a monitor that
 * is asked in text and an indicator that speaks Modbus ASCII, side by side into one ledger and onto one
 * certificate. */
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

#include "support/stage.h"

static int set_up(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);

    *state = stage;
    stage_open_scene(stage, "mixed");
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

static void stop_shop(struct stage *stage) {
    kill(stage->shop, SIGTERM);
    waitpid(stage->shop, NULL, 0);
    stage->shop = 0;
}

/* Each channel is read at its own pace, and what two instruments say of one oven agrees. */
static void check_readings(struct stage *stage) {
    says(stage, "sqlite3 $D/shop.ledger \"select count(*) from reading where quality <> 0\"", "0\n");
    says(
        stage,
        "sqlite3 $D/shop.ledger \"select name, min(n) from (select c.name, count(*) n from reading r join channel c"
        " using (channel_id), run where r.t_ms >= run.begun_ms and r.t_ms < run.begun_ms + 1800000 group by c.name,"
        " (r.t_ms - run.begun_ms) / 60000) group by name\"",
        "back|60\ncontrol|60\nfront|30\noutput|60\nroom|12\nsetpoint|60\n");
    // The two loads are the same in the same heat; the indicator shows what the controller does.
    says(
        stage,
        "sqlite3 $D/shop.ledger \"select count(*) > 100, max(abs(f.value - b.value)) < 40000 from reading f, "
        "reading b,"
        " channel cf, channel cb, run where cf.name = 'front' and cb.name = 'back' and f.channel_id = cf.channel_id"
        " and b.channel_id = cb.channel_id and f.t_ms / 1000 = b.t_ms / 1000 and f.t_ms > run.begun_ms + 1800000 "
        "and"
        " f.t_ms < run.begun_ms + 2400000\"",
        "1|1\n");
    says(stage,
         "sqlite3 $D/shop.ledger \"select count(*) > 100, max(abs(f.value - b.value)) < 10000 from reading f, "
         "reading b,"
         " channel cf, channel cb, run where cf.name = 'room' and cb.name = 'control' and f.channel_id = "
         "cf.channel_id"
         " and b.channel_id = cb.channel_id and f.t_ms / 1000 = b.t_ms / 1000 and f.t_ms > run.begun_ms + 1800000 "
         "and"
         " f.t_ms < run.begun_ms + 2400000\"",
         "1|1\n");
}

static void a_mixed_shop_gets_one_certificate(void **state) {
    struct stage *stage = *state;
    const char *text;

    stage_start_daemon(stage);
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --operator 'day shift'");
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: met");
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
    check_readings(stage);
    stage_tell(stage,
               "$S certificate 1 -o $D/c.pdf && qpdf --check $D/c.pdf && pdftotext -layout $D/c.pdf $D/c.txt");
    text = stage_tell(stage, "tr -s ' \\n' ' ' < $D/c.txt");
    contains(text, "MET");
    says(stage,
         "sqlite3 $D/shop.ledger \"select wire, query, field, separator, pattern from fitting where query <> '' "
         "or field > 0\"",
         "free-text||1|,|\npolled-text|MEAS:TEMP?|2|,|\n");
    // A narrow column wraps: words are looked for in the order in which they are drawn, whatever the line.
    text = stage_tell(stage, "pdftotext -raw $D/c.pdf - | tr -s ' \\n' ' '");
    contains(text, "MEAS:TEMP?");
    contains(text, "printed lines");
    // Nothing was ever sent but requests to read and the one query; nothing at all to the reader.
    stop_shop(stage);
    text = stage_tell(stage, "cat $D/wire.log");
    contains(text, "count line=bench address=1 function=03 frames=");
    contains(text, "count line=old address=9 function=04 frames=");
    contains(text, "count line=monitor query=MEAS:TEMP? times=");
    assert_int_equal(stage_run(stage, "grep -v -e '^count line=bench address=1 function=03 frames=[0-9]*$' "
                                      "-e '^count line=old address=9 function=04 frames=[0-9]*$' "
                                      "-e '^count line=monitor query=MEAS:TEMP? times=[0-9]*$' "
                                      "-e '^end of counts$' $D/wire.log"),
                     1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_mixed_shop_gets_one_certificate, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
