// SPDX-License-Identifier: MIT
/* A person is told: the virtual shop's oven, the daemon, and the user's own command. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>

#include "support/stage.h"

static void begin(struct stage *stage, const char *scene) {
    stage_open_scene(stage, scene);
    stage_tell(stage, "echo 'line=; for word; do line=\"$line<$word>\"; done; printf \"%s\\n\" \"$line\" "
                      ">>\"${0%/*}/alerts\"' >$D/tell");
    stage_start_daemon(stage);
}

static void open_batch(struct stage *stage) {
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons' --operator 'day shift'");
}

static int set_up(void **state) {
    *state = calloc(1, sizeof(struct stage));
    return 0;
}

static int tear_down(void **state) {
    stage_close(*state);
    free(*state);
    return 0;
}

/* What the command was told, without the moments' seconds: a line is tried once a second. */
static const char *alerts(struct stage *stage) {
    return stage_tell(stage, "sed 's/:[0-9][0-9]Z>/>/' $D/alerts");
}

static void contains(const char *text, const char *part) {
    if (strstr(text, part) == NULL)
        fail_msg("'%s' is not in:\n%s", part, text);
}

static void a_lost_line_and_an_open_sensor_are_told_once_and_so_is_their_end(void **state) {
    struct stage *stage = *state;
    const char *text;

    begin(stage, "alert");
    stage_tell(stage,
               "printf '[temper draw]\\ntemperature = 190 C\\nbelow = 8 C\\nabove = 8 C\\ntime_at_least = 1 h\\n"
               "begins_within = 90 min\\n' >>$D/irons.plan");
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T08:50:00Z");
    // The command runs in real time, which five minutes of these may not have left it.
    for (int more = 0; more < 16 && strstr(alerts(stage), "<next-due>") == NULL; more++)
        stage_play_until(stage, "+30 s");
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
    text = alerts(stage);
    if (strstr(text, "<line><line bench><raised><2026-11-16T07:12><") != text)
        fail_msg("the first is not the line's:\n%s", text);
    contains(text, "\n<line><line bench><clear><2026-11-16T07:13><the line is back>\n"
                   "<sensor><oven small, back><raised><2026-11-16T07:47><no good reading since then: open sensor>\n"
                   "<sensor><oven small, back><clear><2026-11-16T07:50><back is read again after 2 min");
    contains(text, "\n<next-due><batch 1><raised><2026-11-16T08:45><temper draw must begin by 2026-11-16 09:45:");
    stage_tell(stage, "test $(wc -l <$D/alerts) -eq 5");
    text = stage_read_journal(stage);
    contains(text, "oven small, run 1, batch 1: the soak will be complete at about 07:59 UTC");
    contains(text, "the soak will be complete at about 08:10 UTC"); // anew after the gap
    contains(text, "alert sensor, oven small, back, raised: ");
    contains(text, "the required soak of 20 min is complete");
}

static void an_overshoot_is_told_before_it_comes_and_a_forgotten_charge_later(void **state) {
    struct stage *stage = *state;
    const char *text;

    begin(stage, "alert-hot");
    open_batch(stage);
    stage_play_until(stage, "2026-11-16T09:40:00Z");
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
    text = alerts(stage);
    if (strstr(text, "<overshoot><oven small><raised><2026-11-16T07:") != text)
        fail_msg("the first is no overshoot:\n%s", text);
    contains(text, "><an overshoot is coming: about ");
    contains(text, "limit 815.0");
    contains(text, "\n<overshoot><oven small><clear><2026-11-16T07:");
    contains(text, "peaked at ");
    contains(text, "\n<not-cooling><oven small><raised><2026-11-16T08:19");
    /* The command takes its real time while simulated time runs on: how late it is told again depends on the
     * machine. */
    contains(text, "\n<not-cooling><oven small><again 1><2026-11-16T08:");
    contains(text, "\n<not-cooling><oven small><clear><2026-11-16T08:46");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_lost_line_and_an_open_sensor_are_told_once_and_so_is_their_end, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(an_overshoot_is_told_before_it_comes_and_a_forgotten_charge_later, set_up,
                                        tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
