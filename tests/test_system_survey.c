// SPDX-License-Identifier: MIT
/* A uniformity survey through the real programs: an oven in which every place gets a known part of the chamber's
 * rise. One play, surveyed several ways. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/trials.h"
#include "support/paper.h"
#include "support/stage.h"

enum { PLACES = 5 };

/* tests/system/survey.shop: the exposure of each place, and so its deviation: 805 - 21 = 784 °C times what is
 * missing.
 */
static const double exposure[PLACES] = {0.995, 1.0, 0.998, 0.989, 0.999};
static const double rise_c = 805 - 21;

static int play(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);

    if (stage == NULL)
        return -1;
    stage_open_scene(stage, "survey");
    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T09:40:00Z");
    stage_end_daemon(stage, SIGTERM);
    *state = stage;
    return 0;
}

static int end(void **state) {
    stage_close(*state);
    free(*state);
    return 0;
}

static struct trials_survey *stored(struct stage *stage, int64_t survey_id) {
    struct fault fault = {0};
    struct ledger *ledger = ledger_open(stage->ledger, LEDGER_READ, &fault);
    struct trials_survey *survey = ledger != NULL ? trials_read_survey(ledger, survey_id, &fault) : NULL;

    ledger_close(ledger);
    if (survey == NULL)
        fail_msg("%s", fault.text);
    return survey;
}

/* What a command printed, its lines joined. */
static const char *tell_flat(struct stage *stage, const char *command) {
    char line[1024];

    snprintf(line, sizeof line, "{ %s; } | tr '\\n' ' ' | tr -s ' '", command);
    return stage_tell(stage, line);
}

static void expect_readable(struct stage *stage, const char *name, double width, double height) {
    char path[2 * STAGE_PATH_BYTES];
    struct paper_word *words;
    size_t count = 0;
    char *overlap;

    snprintf(path, sizeof path, "%s/%s", stage->folder, name);
    assert_true(paper_is_sound(path));
    words = paper_words(path, &count);
    assert_true(count > 100);
    overlap = paper_find_overlap(words, count);
    assert_null(overlap);
    assert_null(paper_find_outside(words, count, 40, 10, width - 40, height - 10));
    free(words);
}

static void test_known_field(void **state) {
    struct stage *stage = *state;
    const char *said =
        stage_tell(stage, "$S survey small --setpoint '805 C' --run 1 -o $D/survey.pdf --by 'Jo Hübner' "
                          "--note 'empty' 'north=rear, left' 'south=door' east west middle");
    struct trials_survey *survey;
    char path[2 * STAGE_PATH_BYTES], figure[32], *text;

    // 1.1 % of 784 °C is 8.6 °C: beyond class 3 (8 °C), within class 4 (10 °C).
    assert_true(paper_has(said, "Survey 1: Meets the uniformity limits of class 4: within ±10 °C of 805.0 °C."));
    survey = stored(stage, 1);
    assert_int_equal(survey->tightest, 4);
    assert_int_equal(survey->ended_ms - survey->settled_ms, SURVEY_LEAST_MS);
    assert_in_range(survey->worst_mc, 8624 - 100, 8624 + 100);
    // Spread: the best place less the worst.
    assert_in_range(survey->spread_mc, 8624 - 100, 8624 + 100);
    assert_int_equal(survey->classes[2].outcome, OUTCOME_NOT_MET);
    assert_string_equal(survey->places[0].place, "rear, left");
    trials_free_survey(survey);
    snprintf(path, sizeof path, "%s/survey.pdf", stage->folder);
    text = paper_flat(path);
    for (int i = 0; i < PLACES; i++) { // a register counts tenths of a degree: the mean is within one
        bool found = false;

        for (int tenth = -1; tenth <= 1; tenth++) {
            snprintf(figure, sizeof figure, "mean %+.1f °C", -rise_c * (1 - exposure[i]) + tenth / 10.0);
            found = found || strstr(text, figure) != NULL;
        }
        if (!found)
            fail_msg("no mean near %s in:\n%s", figure, text);
    }
    assert_true(paper_has(text, "Temperature uniformity survey 1"));
    assert_true(paper_has(text, "S-1, type N, class 1"));
    assert_true(paper_has(text, "rear, left"));
    assert_true(paper_has(text, "Jo Hübner"));
    assert_true(paper_has(text, "805.0 °C throughout"));
    assert_true(paper_has(text, "thermocouple inside an electric oven"));
    assert_true(paper_has(text, "no protection against over-temperature"));
    assert_true(paper_has(text, "SIMULATED CLOCK"));
    free(text);
    expect_readable(stage, "survey.pdf", 595, 842);
}

static void test_printed_again_is_the_same(void **state) {
    struct stage *stage = *state;

    stage_tell(stage, "$S survey print 1 -o $D/again.pdf && cmp $D/survey.pdf $D/again.pdf");
    assert_true(paper_has(stage_tell(stage, "$S survey list"), "class 4, ±10 °C"));
    assert_int_equal(stage_run(stage, "$S survey print 99 -o $D/x.pdf"), EX_NOINPUT);
    // Whoever changes what was stored is found out by the readings. Triggers have to be dropped for that.
    stage_tell(stage,
               "cp $D/shop.ledger $D/true.ledger; sqlite3 $D/shop.ledger 'DROP TRIGGER survey_class_unchanged; "
               "UPDATE survey_class SET outcome = 0 WHERE class = 3'");
    assert_int_equal(stage_run(stage, "$S survey print 1 -o $D/x.pdf"), EX_DATAERR);
    assert_true(paper_has(stage->output, "do not say any more what was stored"));
    stage_tell(stage, "mv $D/true.ledger $D/shop.ledger; test ! -e $D/x.pdf");
}

/* ±15 °F is 8.33 °C: less than 8.6; ±20 °F is 11.1. On Letter, with names that nobody foresaw. */
static void test_fahrenheit_on_letter(void **state) {
    struct stage *stage = *state;
    struct trials_survey *survey;

    stage_tell(stage, "sed 's|^name = .*|name = Werkzeugbau Müller-Łukasiewicz \xF0\x9F\x94\xA5 und Söhne|; "
                      "/^utc_offset/a units = F\\npaper = Letter' $D/shop.conf > $D/f.conf");
    stage_tell(stage,
               "$B/soakledger -c $D/f.conf survey small --setpoint '1481 F' --run 1 -o $D/f.pdf --by "
               "'Дмитрий Ångström-Öztürk-with-a-very-long-double-barrelled-name-that-does-not-end-soon, QA' "
               "'north=a place described at such length that it has to be wrapped over many lines of its cell' "
               "south east west middle control");
    assert_true(paper_has(stage->output, "class 4: within ±20 °F of 1481.0 °F"));
    survey = stored(stage, 2);
    assert_int_equal(survey->setting.unit, UNIT_FAHRENHEIT);
    assert_int_equal(survey->place_count, PLACES + 1);
    trials_free_survey(survey);
    expect_readable(stage, "f.pdf", 612, 792);
}

/* One place is open for three minutes in the hour after: a gap of more than two minutes. */
static void test_silence_is_no_proof(void **state) {
    struct stage *stage = *state;

    tell_flat(stage, "$S survey small --setpoint '805 C' --from 2026-11-16T07:10:00Z --to 2026-11-16T08:55:00Z -o "
                     "$D/gap.pdf");
    assert_true(
        paper_has(stage->output, "No class is proven at 805.0 °C: a sensor gave no good reading for more than"));
    expect_readable(stage, "gap.pdf", 595, 842);
    // The same time without that sensor.
    tell_flat(stage, "$S survey small --setpoint '805 C' --from 2026-11-16T07:10:00Z --to 2026-11-16T08:55:00Z -o "
                     "$D/gap.pdf north south east middle");
    assert_true(paper_has(stage->output, "class 2: within ±6 °C"));
    // Not seen from 55 °C below.
    tell_flat(stage, "$S survey small --setpoint '805 C' --from 2026-11-16T07:45:00Z --to 2026-11-16T08:39:00Z -o "
                     "$D/gap.pdf");
    assert_true(paper_has(stage->output, "not recorded from the start level on"));
    // Uncertainty of 1.1 °C beside 8.6 °C: 9.7 is still within 10; of 1.5, it is not.
    tell_flat(stage, "$S survey small --setpoint '805 C' --run 1 --decision guarded -o $D/gap.pdf");
    assert_true(paper_has(stage->output, "class 4"));
}

static void expect_refused(struct stage *stage, int status, const char *words, const char *said) {
    char command[1024];

    snprintf(command, sizeof command, "$S survey %s", words);
    if (stage_run(stage, command) != status || strstr(stage->output, said) == NULL)
        fail_msg("'%s' said: %s", words, stage->output);
    assert_int_equal(paper_count(stage->output, "\n"), 1);
}

static void test_refusals(void **state) {
    struct stage *stage = *state;
    const char *const count = "sqlite3 $D/shop.ledger 'SELECT count(*) FROM survey'";
    const int before = atoi(stage_tell(stage, count));

    expect_refused(stage, EX_USAGE, "small --run 1", "--setpoint is missing");
    expect_refused(stage, EX_USAGE, "small --setpoint '805 C'", "no time is given");
    expect_refused(stage, EX_USAGE, "small --setpoint '805 C' --run 1 --to 2026-11-16", "exclude each other");
    expect_refused(stage, EX_NOINPUT, "large --setpoint '805 C' --run 1", "no oven 'large'");
    expect_refused(stage, EX_NOINPUT, "small --setpoint '805 C' --run 9", "no run 9");
    expect_refused(stage, EX_NOINPUT, "small --setpoint '805 C' --run 1 top", "'top'");
    expect_refused(stage, EX_DATAERR, "small --setpoint '805' --run 1", "has no unit");
    expect_refused(stage, EX_DATAERR, "small --setpoint '805 C' --run 1 setpoint", "is the setpoint");
    expect_refused(stage, EX_USAGE, "small --setpoint '805 C' --run 1 west west=left", "given twice");
    expect_refused(stage, EX_DATAERR, "small --setpoint '805 C' --from 2026-11-16T08:00:00Z --to 2027-01-01",
                   "still to come");
    expect_refused(stage, EX_DATAERR, "small --setpoint '805 C' --run 1 --hold '5 min'", "10 min to 7 d");
    assert_int_equal(atoi(stage_tell(stage, count)), before);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_known_field),
        cmocka_unit_test(test_printed_again_is_the_same),
        cmocka_unit_test(test_fahrenheit_on_letter),
        cmocka_unit_test(test_silence_is_no_proof),
        cmocka_unit_test(test_refusals),
    };

    return cmocka_run_group_tests(tests, play, end);
}
