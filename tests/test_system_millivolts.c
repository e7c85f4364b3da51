// SPDX-License-Identifier: MIT
/* The whole way with thermocouples that are read in millivolts, from registers and from lines of text: the daemon
 * adds the cold junction, and what it stores is what another instrument shows in degrees. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "support/stage.h"

static int set_up(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);

    *state = stage;
    stage_open_scene(stage, "millivolts");
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

static void millivolts_become_the_temperature_that_is_there(void **state) {
    struct stage *stage = *state;

    stage_start_daemon(stage);
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --operator 'day shift'");
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: met");
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
    // The other instrument shows tenths; a microvolt is a thirtieth of a degree; a second of a quick heat-up is 1
    // K.
    says(stage,
         "sqlite3 $D/shop.ledger \"select count(*) > 1100, max(abs(m.value - o.value)) < 300 from reading m,"
         " reading o, channel cm, channel co, run where cm.name = 'front' and co.name = 'shown' and"
         " m.channel_id = cm.channel_id and o.channel_id = co.channel_id and m.t_ms / 1000 = o.t_ms / 1000 and"
         " m.t_ms > run.begun_ms + 1800000 and m.t_ms < run.begun_ms + 3000000\"",
         "1|1\n");
    // Without compensation it would be this far off: the terminals were warm, and not the same.
    says(stage,
         "sqlite3 $D/shop.ledger \"select max(e.cold_mc) > 45000, min(e.cold_mc) between 20000 and 25000 from"
         " reading_emf e join channel c using (channel_id) where c.name = 'front'\"",
         "1|1\n");
    says(stage,
         "sqlite3 $D/shop.ledger \"select max(e.cold_mc) > 60000 from reading_emf e join channel c using"
         " (channel_id) where c.name = 'back'\"",
         "1\n");
    // Every reading has the voltage that it was made of; the first may be older than its terminals' first.
    says(
        stage,
        "sqlite3 $D/shop.ledger \"select name, count(*) > 3000, sum(r.quality <> 0) < 3, sum(e.emf_nv is null),"
        " sum((e.cold_mc is null) <> (r.quality = 9)) from reading r join channel c using (channel_id) left join"
        " reading_emf e on e.channel_id = r.channel_id and e.t_ms = r.t_ms where name in ('front', 'back') group by"
        " name\"",
        "back|1|1|0|0\nfront|1|1|0|0\n");
    says(stage,
         "sqlite3 $D/shop.ledger \"select c.name, unit, cold_channel from fitting join channel c using (channel_id)"
         " where unit = 'mV' order by 1\"",
         "back|mV|small.back-terminals\nfront|mV|small.terminals\n");
    says(stage, "sqlite3 $D/shop.ledger 'select count(*) from (pragma_foreign_key_check)'", "0\n");
    contains(stage_tell(stage, "$S batch show 1 | tr -s ' \\n' ' '"),
             "front: read in millivolts, type N, cold junction measured by small.terminals");
    contains(stage_tell(stage, "$S certificate 1 -o $D/c.pdf && pdftotext -raw $D/c.pdf - | tr -s ' \\n' ' '"),
             "cold junction measured by small.terminals");
}

/* The terminals are believed up to 40 °C and are warmer in the soak: the voltage is stored, no temperature is made
 * up, and the soak is not proven. */
static void without_its_cold_junction_nothing_is_proven(void **state) {
    struct stage *stage = *state;

    stage_tell(stage, "sed -i '/^.channel small.terminals/,/^unit/s/^unit = C/unit = C\\nrange = 0 C .. 40 C/' "
                      "$D/shop.conf");
    stage_start_daemon(stage);
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --operator 'day shift'");
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    contains(stage_read_journal(stage), "batch 1: not proven");
    stage_end_daemon(stage, SIGTERM);
    says(stage,
         "sqlite3 $D/shop.ledger \"select count(*) > 1200, count(r.value), min(r.quality) = 9, sum(e.emf_nv is "
         "null),"
         " count(e.cold_mc) from reading r join channel c using (channel_id), run left join reading_emf e on"
         " e.channel_id = r.channel_id and e.t_ms = r.t_ms where name = 'front' and"
         " r.t_ms between run.begun_ms + 1500000 and run.begun_ms + 2880000\"",
         "1|0|1|0|0\n");
    contains(stage_tell(stage,
                        "sqlite3 $D/shop.ledger \"select distinct quality from reading_in_words where channel ="
                        " 'front'\""),
             "cold junction not known");
    // The other's terminals are there: it is unharmed.
    says(stage,
         "sqlite3 $D/shop.ledger \"select sum(r.quality <> 0) < 3, count(*) > 3000 from reading r join channel c "
         "using"
         " (channel_id) where name = 'back'\"",
         "1|1\n");
}

static void terminals_at_a_stated_temperature(void **state) {
    struct stage *stage = *state;

    stage_tell(stage, "sed -i 's/^cold_junction = terminals/cold_junction = 21 C/' $D/shop.conf");
    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T07:08:00Z"); // the oven is cold: it is 21 C there
    stage_end_daemon(stage, SIGTERM);
    says(stage,
         "sqlite3 $D/shop.ledger \"select min(value) > 20700, max(value) < 21300, sum(quality <> 0) from reading r "
         "join"
         " channel c using (channel_id) where name = 'front'\"",
         "1|1|0\n");
    says(stage,
         "sqlite3 $D/shop.ledger \"select distinct cold_mc from reading_emf join channel using (channel_id)"
         " where name = 'front'\"",
         "21000\n");
}

static void what_is_missing_is_named_with_its_line(void **state) {
    static const struct {
        const char *change, *says;
    } cases[] = {
        {"/^sensor = N-1/d", "unit: millivolts of an unknown sensor"},
        {"s/^type = N/type = C/", "sensor 'N-1' has type 'C': expected B, E, J, K, N, R, S or T"},
        {"/^cold_junction = terminals/d", "cold_junction"},
        {"s/^cold_junction = terminals/cold_junction = nowhere/", "'nowhere' is no channel"},
        {"s/^cold_junction = terminals/cold_junction = setpoint/",
         "'setpoint' is setpoint: expected a channel that"},
        {"s/^cold_junction = terminals/cold_junction = front/", "'front' is in mV itself"},
        {"s/^cold_junction = terminals/cold_junction = 4000 C/", "cold_junction"},
        {"s/^cold_junction = terminals/cold_junction = -300 C/", "cold_junction"},
    };
    struct stage *stage = *state;

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char command[512];

        snprintf(command, sizeof command,
                 "sed '%s' $D/shop.conf > $D/bad.conf; $B/soakledgerd --check -c $D/bad.conf", cases[i].change);
        assert_int_equal(stage_run(stage, command), EX_CONFIG);
        contains(stage->output, "bad.conf:");
        contains(stage->output, cases[i].says);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(millivolts_become_the_temperature_that_is_there, set_up, tear_down),
        cmocka_unit_test_setup_teardown(without_its_cold_junction_nothing_is_proven, set_up, tear_down),
        cmocka_unit_test_setup_teardown(terminals_at_a_stated_temperature, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_is_missing_is_named_with_its_line, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
