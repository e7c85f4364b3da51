// SPDX-License-Identifier: MIT
/* review and what-if through the real programs: two good runs, then runs in which one thing each goes wrong in the
 * shop; the command has to find it, on the screen and on paper, and to leave the ledger as it was. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/cause.h"
#include "support/paper.h"
#include "support/stage.h"

enum {
    BATCHES = 7,
    FIRST_MIN = 430,
    EVERY_MIN = 180,
    OVER_MIN = 100,
    MIN_PER_H = 60,
    MIN_PER_DAY = 1440,
    COLUMNS = 79
};

/* In the order of review.shop; the first two are good. */
static const enum cause INJECTED[BATCHES] = {
    [2] = CAUSE_DOOR, CAUSE_ELEMENT, CAUSE_SETPOINT, CAUSE_LINE, CAUSE_SENSOR};

static int play_all(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);
    char line[STAGE_PATH_BYTES];

    *state = stage;
    stage_open_scene(stage, "review");
    stage_start_daemon(stage);
    for (int i = 0; i < BATCHES; i++) {
        const int over = FIRST_MIN + i * EVERY_MIN + OVER_MIN;

        stage_tell(stage, "$S batch open --plan $D/irons.plan --charge '12 plane irons'");
        snprintf(line, sizeof line, "2026-11-%02dT%02d:%02d:00Z", 16 + over / MIN_PER_DAY,
                 over % MIN_PER_DAY / MIN_PER_H, over % MIN_PER_H);
        stage_play_until(stage, line);
        snprintf(line, sizeof line, "$S batch close %d", i + 1);
        stage_tell(stage, line);
    }
    assert_int_equal(stage_end_daemon(stage, SIGTERM), 0);
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

static const char *tell(struct stage *stage, const char *format, int number) {
    char command[STAGE_PATH_BYTES];

    snprintf(command, sizeof command, format, number);
    return stage_tell(stage, command);
}

/* All white space as single blanks, so that wrapping does not matter. */
static char *flatten(const char *text) {
    char *flat = malloc(strlen(text) + 1), *end = flat;

    assert_non_null(flat);
    for (const char *at = text; *at != '\0'; at++) {
        const bool blank = *at == ' ' || *at == '\n';

        if (!blank || (end > flat && end[-1] != ' '))
            *end++ = blank ? ' ' : *at;
    }
    *end = '\0';
    return flat;
}

static void every_line_fits(const char *text) {
    size_t columns = 0;

    for (; *text != '\0'; text++) {
        columns =
            *text == '\n' ? 0 : columns + ((*text & 0xC0) != 0x80); // bytes that continue a character take none
        assert_in_range(columns, 0, COLUMNS);
    }
}

/* ---- why ---- */

static void each_cause_is_found_on_screen_and_paper(void **state) {
    struct stage *stage = *state;

    for (int i = 2; i < BATCHES; i++) {
        char answer[STAGE_PATH_BYTES], path[STAGE_PATH_BYTES + 16];
        char *flat;

        snprintf(answer, sizeof answer, "Most likely: %s", cause_name(INJECTED[i]));
        every_line_fits(tell(stage, "LC_ALL=C.UTF-8 $S review %d", i + 1));
        flat = flatten(stage->output);
        contains(flat, answer);
        contains(flat, "Compared with 2 earlier good runs of this oven");
        contains(flat, "batch 2, the last good one of this plan");
        contains(flat, "steel maker's data sheet decides");
        free(flat);
        tell(stage, "$S review %d -o $D/r.pdf && qpdf --check $D/r.pdf", i + 1);
        snprintf(path, sizeof path, "%s/r.pdf", stage->folder);
        flat = paper_flat(path);
        contains(flat, answer);
        contains(flat, "batch 2: front");
        contains(flat, "What would settle it");
        contains(flat, "SIMULATED CLOCK");
        free(flat);
    }
}

static void a_dip_says_what_it_cost(void **state) {
    char *flat = flatten(tell(*state, "$S review %d", 3));

    contains(flat, "-> cost: 5 min 3");
    contains(flat, "the soak cut in two: without it 28 min");
    contains(flat, "for at 13:52:");
    free(flat);
}

static void where_the_charge_came_late_it_says_by_how_much(void **state) {
    char *flat = flatten(tell(*state, "$S review %d", 4));

    contains(flat, "later after the run's beginning than in batch 2");
    free(flat);
}

static void many_gaps_are_told_as_one(void **state) {
    char *flat = flatten(tell(*state, "$S review %d", 6));

    contains(flat, "gaps in the good readings of all channels together until");
    contains(flat, "What is missing is proof");
    free(flat);
}

static void a_met_batch_has_no_failure(void **state) {
    const char *text = tell(*state, "$S review %d", 2);

    contains(text, "Batch 2 was met: there is no failure to explain");
    lacks(text, "Most likely");
}

static void it_is_useful_without_colour_and_without_utf8(void **state) {
    struct stage *stage = *state;
    const char *text = stage_tell(stage, "LC_ALL=C NO_COLOR=1 $S review 3");

    lacks(text, "\033");
    for (const char *at = text; *at != '\0'; at++)
        assert_true((unsigned char)*at < 0x80);
    contains(text, "o this run");
    contains(text, "not met");
}

/* ---- what if ---- */

static void nothing_is_stored(void **state) {
    struct stage *stage = *state;
    char *before = strdup(stage_tell(stage, "sqlite3 $D/shop.ledger .dump | sha256sum"));

    assert_non_null(before);
    stage_tell(stage, "$S what-if 3 --time '10 min'");
    stage_tell(stage, "$S what-if 3 --time '10 min' -o $D/w.pdf");
    stage_tell(stage, "$S what-if 3 --plan $D/irons.plan");
    stage_tell(stage, "$S review 3 && $S review 3 -o $D/r.pdf");
    assert_string_equal(stage_tell(stage, "sqlite3 $D/shop.ledger .dump | sha256sum"), before);
    free(before);
    stage_tell(stage, "$S batch show 3");
    contains(stage->output, "NOT MET");
}

static void every_line_and_page_says_that_it_is_hypothetical(void **state) {
    struct stage *stage = *state;
    char path[STAGE_PATH_BYTES + 16];
    char *text, *flat;

    every_line_fits(stage_tell(stage, "LC_ALL=C.UTF-8 $S what-if 3 --time '10 min'"));
    for (const char *line = stage->output; *line != '\0'; line = strchr(line, '\n') + 1)
        assert_memory_equal(line, "what if |", 9);
    flat = flatten(stage->output);
    contains(flat, "would be met soak time: 15 min");
    contains(flat, "soak time: 15 min 49 s; required: at least 10");
    contains(flat, "against its own plan, the batch is: not met");
    free(flat);
    stage_tell(stage, "$S what-if 3 --time '10 min' -o $D/w.pdf && qpdf --check $D/w.pdf");
    snprintf(path, sizeof path, "%s/w.pdf", stage->folder);
    text = paper_text(path);
    assert_int_equal(paper_count(text, "HYPOTHETICAL"), 2 * paper_count(text, "page "));
    contains(text, "would be met");
    free(text);
}

static void another_plan_is_judged_as_it_stands(void **state) {
    struct stage *stage = *state;

    stage_tell(stage, "sed 's/^above = 10 C/above = 20 C/; s/^overshoot_at_most = 10 C/overshoot_at_most = 20 C/' "
                      "$D/irons.plan > $D/wide.plan && $S what-if 7 --plan $D/wide.plan");
    contains(stage->output, "soak harden: would be met");
    stage_tell(stage, "$S what-if 7 --plan $D/irons.plan");
    contains(stage->output, "soak harden: would not be met");
    stage_tell(stage, "$S what-if 5 --temperature '781 C'");
    contains(stage->output, "soak harden: would be met");
}

static void fails(struct stage *stage, const char *command, int status, const char *says) {
    assert_int_equal(stage_run(stage, command), status);
    contains(stage->output, says);
}

static void what_makes_no_sense_is_refused(void **state) {
    struct stage *stage = *state;

    fails(stage, "$S review 99", EX_NOINPUT, "no batch 99");
    fails(stage, "$S what-if 99 --time '10 min'", EX_NOINPUT, "no batch 99");
    fails(stage, "$S review", EX_USAGE, "review BATCH");
    fails(stage, "$S what-if 3", EX_USAGE, "nothing is supposed");
    fails(stage, "$S what-if 3 --plan $D/irons.plan --time '10 min'", EX_USAGE, "exclude each other");
    fails(stage, "$S what-if 3 --time '0 s'", EX_DATAERR, "expected more than 0 s");
    fails(stage, "$S what-if 3 --below '0 C'", EX_DATAERR, "expected more than 0 C");
    fails(stage, "$S what-if 3 --time soon", EX_DATAERR, "soon");
    fails(stage, "$S what-if 3 --time '10 min' --visit 2", EX_USAGE, "no visit");
    fails(stage, "$S what-if 3 --plan $D/none.plan", EX_NOINPUT, "none.plan");
    fails(stage, "$S review 3 -o /nowhere/r.pdf", EX_CANTCREAT, "/nowhere");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_cause_is_found_on_screen_and_paper),
        cmocka_unit_test(a_dip_says_what_it_cost),
        cmocka_unit_test(where_the_charge_came_late_it_says_by_how_much),
        cmocka_unit_test(many_gaps_are_told_as_one),
        cmocka_unit_test(a_met_batch_has_no_failure),
        cmocka_unit_test(it_is_useful_without_colour_and_without_utf8),
        cmocka_unit_test(nothing_is_stored),
        cmocka_unit_test(every_line_and_page_says_that_it_is_hypothetical),
        cmocka_unit_test(another_plan_is_judged_as_it_stands),
        cmocka_unit_test(what_makes_no_sense_is_refused),
    };

    return cmocka_run_group_tests(tests, play_all, tear_down);
}
