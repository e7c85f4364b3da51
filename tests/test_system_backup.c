// SPDX-License-Identifier: MIT
/* A backup taken while the daemon records, damaged, refused, put back, and recorded into again. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

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

static void expect(struct stage *stage, int status, const char *command, const char *part) {
    assert_int_equal(stage_run(stage, command), status);
    if (strstr(stage->output, part) == NULL)
        fail_msg("'%s' is not in:\n%s", part, stage->output);
}

static void a_running_ledger_is_copied_and_put_back(void **state) {
    struct stage *stage = *state;

    stage_start_daemon(stage);
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons'");
    stage_play_until(stage, "2026-11-16T07:50:00Z");
    stage_tell(stage, "for i in $(seq 100); do $S runs | grep -q '^1 ' && break || sleep 0.1; done"); // committed
    expect(stage, 0, "$S backup make $D/kept.ledger", "kept.ledger: whole: 1 runs, 1 batches, ");
    // One file, without a log, and nothing temporary left.
    expect(stage, 0, "ls $D | grep -c kept", "1\n");
    expect(stage, 0, "sqlite3 $D/kept.ledger 'PRAGMA journal_mode; PRAGMA integrity_check'", "delete\nok\n");
    expect(stage, 0, "stat -c %a $D/kept.ledger", "640\n");
    expect(stage, EX_CANTCREAT, "$S backup make $D/kept.ledger", "is there already: say --replace");
    expect(stage, EX_USAGE, "$S backup make $D/shop.ledger --replace", "is the ledger itself");
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    expect(stage, EX_UNAVAILABLE, "$S backup restore $D/kept.ledger", "stop soakledgerd first");
    expect(stage, 0, "$S backup check", "seals holds");
    expect(stage, 0, "$S backup make $D/kept.ledger --replace", "whole: 1 runs");
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
    expect(stage, EX_CANTCREAT, "$S backup restore $D/kept.ledger", "shop.ledger: is there already");
    expect(stage, 0, "mkdir $D/away && mv $D/shop.ledger $D/shop.ledger-* $D/away", "");
    expect(stage, 0, "$S backup restore $D/kept.ledger", "What was recorded after the backup is not in it.");
    expect(stage, 0, "$S batch show 1", "Batch 1: MET");
    expect(stage, 0, "$S verify", "");
    // Every row that was there is there again.
    expect(stage, 0,
           "for t in reading run claim finding verdict batch; do for l in $D/shop.ledger $D/kept.ledger; do "
           "sqlite3 $l "
           "\"SELECT count(*) FROM $t\"; done | uniq | wc -l; done | sort -u",
           "1\n");
    stage_start_daemon(stage); // it is a ledger like any other
    expect(stage, 0, "$S now", "small: off");
}

static void what_is_not_whole_is_refused(void **state) {
    struct stage *stage = *state;

    stage_start_daemon(stage);
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons'");
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
    stage_tell(stage, "$S backup make $D/kept.ledger");
    // A page in the middle.
    stage_tell(stage,
               "cp $D/kept.ledger $D/torn.ledger && dd if=/dev/urandom of=$D/torn.ledger bs=4096 seek=40 count=3 "
               "conv=notrunc status=none");
    assert_int_equal(stage_run(stage, "$S backup check $D/torn.ledger"), EX_DATAERR);
    expect(stage, EX_DATAERR,
           "mv $D/shop.ledger $D/first.ledger; rm -f $D/shop.ledger-*; $S backup restore "
           "$D/torn.ledger",
           "torn.ledger");
    expect(stage, 0, "ls $D | grep -c '^shop.ledger\\.[^l]\\|^shop.ledger$' || true", "0\n");
    // Sound for SQLite, and yet not what was sealed.
    stage_tell(stage,
               "cp $D/kept.ledger $D/false.ledger && sqlite3 $D/false.ledger 'DROP TRIGGER reading_unchanged; "
               "UPDATE reading SET value = value + 1000 WHERE channel_id = 1 AND value > 700000'");
    expect(stage, EX_DATAERR, "$S backup check $D/false.ledger", "is not as it was sealed");
    expect(stage, EX_DATAERR, "$S backup restore $D/false.ledger", "is not as it was sealed");
    expect(stage, EX_DATAERR, "head -c 5000 $D/kept.ledger >$D/short.ledger; $S backup check $D/short.ledger",
           "short.ledger");
    expect(stage, EX_DATAERR, "echo words >$D/words.txt; $S backup check $D/words.txt", "words.txt");
    expect(stage, EX_NOINPUT, "$S backup check $D/none", "none: cannot open it");
    expect(stage, EX_USAGE, "$S backup burn x", "'backup burn' is not understood");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_running_ledger_is_copied_and_put_back, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_is_not_whole_is_refused, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
