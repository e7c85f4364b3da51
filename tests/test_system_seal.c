// SPDX-License-Identifier: MIT
/* Seals made by the real daemon and the real command, looked at by the command, by a script that was written from
 * soakledger-seal(5) alone, and after a person with sqlite3 has been at the file. */
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

#include "soakledger/ledger.h"
#include "support/stage.h"

enum { LINE_BYTES = 1024, DIGITS_BYTES = 80 };

static void contains(const char *text, const char *part) {
    if (strstr(text, part) == NULL)
        fail_msg("'%s' is not in:\n%s", part, text);
}

/* One run, judged for a batch, with everything that people can add to it; and a certificate. */
static int play(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);

    *state = stage;
    stage_open(stage);
    stage_start_daemon(stage);
    stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons'");
    /* Killed in the middle of the run: what is there afterwards has to be whole. */
    stage_play_until(stage, "2026-11-16T07:40:00Z");
    stage_end_daemon(stage, SIGKILL);
    contains(stage_tell(stage, "$S verify"), "1 run, which is still on");
    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T08:40:00Z");
    stage_tell(stage, "$S hardness 1 60 61.5 HRC --piece 'iron 3' --position 'behind the edge' --instrument tester"
                      " --uncertainty 1 --by toolroom");
    stage_tell(stage, "$S disposition 1 hold --reason 'waits for the third reading' --by toolroom");
    stage_tell(stage, "$S amend 1 hardness 2 --to 61 --reason 'read the wrong line' --by toolroom");
    stage_tell(stage, "$S certificate 1 -o $D/c.pdf");
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
    stage_tell(stage, "cp $D/shop.ledger $D/kept && cp $D/shop.ledger-wal $D/kept-wal");
    return 0;
}

static int tear_down(void **state) {
    stage_close(*state);
    free(*state);
    return 0;
}

/* The ledger as it was played. */
static void put_back(struct stage *stage) {
    stage_tell(stage, "rm -f $D/shop.ledger* && cp $D/kept $D/shop.ledger && cp $D/kept-wal $D/shop.ledger-wal");
}

static void digits_of_last_seal(struct stage *stage, char *out) {
    const char *text =
        stage_tell(stage, "sqlite3 $D/shop.ledger 'select sha256 from seal order by seal_id desc limit 1'");

    snprintf(out, DIGITS_BYTES, "%.64s", text);
}

static void what_was_played_is_as_it_was_sealed(void **state) {
    struct stage *stage = *state;
    const char *text;

    put_back(stage);
    text = stage_tell(stage, "$S verify");
    contains(text, "1 run with ");
    contains(text, "Everything is as it was sealed.");
    contains(text, "give its digits with --seal");
    contains(stage_tell(stage, "$S verify run 1"), "1 run with ");
    contains(stage_tell(stage, "$S verify batch 1"), "1 run with ");
    assert_int_equal(stage_run(stage, "$S verify run 9"), EX_NOINPUT);
    assert_int_equal(stage_run(stage, "$S verify batch 9"), EX_NOINPUT);
    assert_int_equal(stage_run(stage, "$S verify oven 1"), EX_USAGE);
    assert_int_equal(stage_run(stage, "$S verify --seal 123"), EX_USAGE);
    assert_int_equal(stage_run(stage, "$S verify | grep -E '.{81}'"), 1);
}

static void a_script_that_does_not_know_us_finds_the_same_seal(void **state) {
    struct stage *stage = *state;

    put_back(stage);
    stage_tell(stage, "python3 tests/second/seal.py $D/shop.ledger 1 > $D/second && sqlite3 $D/shop.ledger"
                      " 'select sha256 from seal where run_id = 1' | diff - $D/second");
    stage_tell(stage,
               "sqlite3 $D/shop.ledger 'drop trigger reading_unchanged; update reading set value = value + 1"
               " where (channel_id, t_ms) in (select channel_id, t_ms from reading, run where t_ms > begun_ms"
               " and value is not null limit 1)'");
    assert_int_equal(stage_run(stage, "python3 tests/second/seal.py $D/shop.ledger 1 | diff -q - $D/second"), 1);
}

static void the_certificate_and_the_journal_keep_the_seal(void **state) {
    struct stage *stage = *state;
    char digits[DIGITS_BYTES], command[LINE_BYTES];

    put_back(stage);
    snprintf(digits, sizeof digits, "%.64s",
             stage_tell(stage, "pdftotext $D/c.pdf - 2> /dev/null | tr -d ' \\n' |"
                               " grep -oE '[0-9a-f]{64}thelastofthechain'"));
    snprintf(command, sizeof command, "$S verify --seal %.64s", digits);
    contains(stage_tell(stage, command), "The seal given is seal ");
    snprintf(digits, sizeof digits, "%.64s",
             stage_tell(stage, "sqlite3 $D/shop.ledger 'select sha256 from seal where run_id = 1'"));
    contains(stage_tell(stage, "pdftotext -layout $D/c.pdf - | tr -d ' \\n'"), digits);
    snprintf(command, sizeof command, "$S verify --seal '%.8s %.8s'", digits, digits + 8);
    contains(stage_tell(stage, command), "The seal given is seal ");
    stage_read_journal(stage);
    assert_non_null(strstr(stage->output, "run 1: sealed: seal "));
}

/* ---- somebody with sqlite3 ---- */

/* What a trial does, and what verify has to say of it. */
struct trial {
    const char *sql, *words;
};

static const struct trial trials[] = {
    {"drop trigger reading_unchanged; update reading set value = value + 100 where (channel_id, t_ms) in (select"
     " channel_id, t_ms from reading, run where t_ms between begun_ms and ended_ms and value is not null limit 1)",
     "run 1, readings of channel control of oven small: changed since it was sealed"},
    {"drop trigger reading_undeleted; delete from reading where (channel_id, t_ms) in (select channel_id, t_ms from"
     " reading, run where t_ms between begun_ms and ended_ms limit 1)",
     "run 1, readings of channel control of oven small: "},
    {"insert into reading select channel_id, t_ms + 1, value, quality from reading, run where t_ms > begun_ms "
     "limit 1",
     "run 1, readings of channel control of oven small: "},
    {"drop trigger verdict_unchanged; update verdict set outcome = 0, found = found + 1 where place = 0",
     "verdicts of judgement 1 (run 1, batch 1): changed since it was sealed"},
    {"drop trigger verdict_undeleted; delete from verdict where place = 1",
     "verdicts of judgement 1 (run 1, batch 1): "},
    {"drop trigger finding_undeleted; delete from finding where finding_id = 1", "finding"},
    {"drop trigger document_unchanged; update document set body = replace(body, '20 min', '15 min')",
     "plan of batch 1: changed since it was sealed"},
    {"drop trigger run_ends_once; update run set ended_ms = ended_ms - 1",
     "oven, begin and end of run 1: changed since it was sealed"},
    {"drop trigger fitting_unchanged; update fitting set uncertainty_mc = uncertainty_mc + 1", "fitting 1"},
    {"drop trigger event_unchanged; update event set detail = detail || ' '", "event"},
    {"drop trigger claim_unchanged; update claim set claimed_by = 'nobody'", "claim 1: changed"},
    {"drop trigger hardness_unchanged; update hardness set value = value + 500 where hardness_id = 1",
     "hardness readings 1 to 2: changed"},
    {"drop trigger disposition_undeleted; delete from disposition", "disposition 1: 1 row was sealed, 0 are there"},
    {"drop trigger amendment_unchanged; update amendment set value = 62000", "amendment 1: changed"},
    {"drop trigger batch_closes_once; update batch set charge = '13 plane irons'", "batch 1: changed"},
    {"drop trigger certificate_unchanged; update certificate set issued_ms = issued_ms + 1",
     "certificate 1: changed"},
    {"insert into disposition (batch_id, decision, said_ms, said_by, reason) values (1, 1, 1, 'x', 'y')",
     "dispositions: 1 that no seal covers: soakledger did not write it"},
    {"insert into run (oven_id, begun_ms, ended_ms, end_reason) values (1, 1, 2, 1)",
     "runs: 1 is over and has no seal"},
    {"drop trigger seal_unchanged; update seal set sealed_ms = sealed_ms + 1 where seal_id = 2",
     "seal 2 was changed"},
    {"drop trigger seal_part_unchanged; update seal_part set rows = rows + 1 where seal_id = 2 and place = 1",
     "seal 2"},
    {"pragma foreign_keys = off; drop trigger seal_undeleted; drop trigger seal_part_undeleted; delete from seal "
     "where"
     " seal_id = 2; delete from seal_part where seal_id = 2",
     "seals 2 to 2 are missing"},
    {"update outcome set words = 'met' where outcome = 2", "table outcome does not say what its words should"},
    {"drop trigger reading_unchanged", "trigger reading_unchanged is not there as soakledger made it"},
    {"create trigger helper after insert on reading begin select 1; end",
     "trigger helper was not made by soakledger"},
    {"alter table verdict rename column found to f; alter table verdict rename column required to found; alter "
     "table"
     " verdict rename column f to required",
     "its table verdict is not as version 2 has it"},
};

/* A wrapped text in one line. */
static void unwrap(char *text) {
    char *to = text;

    for (const char *from = text; *from != '\0'; from++) {
        const char c = *from == '\n' ? ' ' : *from;

        if (c != ' ' || to == text || to[-1] != ' ')
            *to++ = c;
    }
    *to = '\0';
}

static void every_change_by_hand_is_named(void **state) {
    struct stage *stage = *state;
    char command[LINE_BYTES];

    for (size_t i = 0; i < sizeof trials / sizeof trials[0]; i++) {
        put_back(stage);
        snprintf(command, sizeof command, "sqlite3 -bail $D/shop.ledger \"%s\"", trials[i].sql);
        stage_tell(stage, command);
        if (stage_run(stage, "$S verify") != EX_DATAERR)
            fail_msg("not noticed: %s\n%s", trials[i].sql, stage->output);
        unwrap(stage->output);
        contains(stage->output, trials[i].words);
    }
}

static void a_cut_tail_and_an_old_copy_show_against_a_kept_seal(void **state) {
    struct stage *stage = *state;
    char digits[DIGITS_BYTES], command[LINE_BYTES];

    put_back(stage);
    digits_of_last_seal(stage, digits);
    /* The last seal and what it covers: the certificate, and the end of the recording. */
    stage_tell(
        stage,
        "sqlite3 -bail $D/shop.ledger \"create table keep as select * from sqlite_schema where type = 'trigger';"
        " pragma foreign_keys = off; drop trigger seal_undeleted; drop trigger seal_part_undeleted;"
        " drop trigger certificate_undeleted; drop trigger certificate_kept_undeleted; delete from "
        "certificate_kept; drop trigger event_undeleted;"
        " delete from certificate; delete from event where event_id > (select max(high) from seal_part where"
        " name = 'event' and seal_id < (select seal_id from seal_part where name = 'certificate'));"
        " delete from seal where seal_id >= (select seal_id from seal_part where name = 'certificate');"
        " delete from seal_part where seal_id >= (select seal_id from seal_part where name = 'certificate')\"");
    stage_tell(stage, "sqlite3 $D/shop.ledger \"select sql || ';' from keep where name in ('seal_undeleted',"
                      " 'seal_part_undeleted', 'certificate_undeleted', 'certificate_kept_undeleted', "
                      "'event_undeleted')\" > $D/back.sql");
    stage_tell(stage,
               "sqlite3 -bail $D/shop.ledger \"drop table keep\" && sqlite3 -bail $D/shop.ledger < $D/back.sql");
    contains(stage_tell(stage, "$S verify"), "Everything is as it was sealed.");
    snprintf(command, sizeof command, "$S verify --seal %.24s", digits);
    assert_int_equal(stage_run(stage, command), EX_DATAERR);
    contains(stage->output, "no seal of this ledger begins with");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_played_is_as_it_was_sealed),
        cmocka_unit_test(a_script_that_does_not_know_us_finds_the_same_seal),
        cmocka_unit_test(the_certificate_and_the_journal_keep_the_seal),
        cmocka_unit_test(every_change_by_hand_is_named),
        cmocka_unit_test(a_cut_tail_and_an_old_copy_show_against_a_kept_seal),
    };

    return cmocka_run_group_tests(tests, play, tear_down);
}
