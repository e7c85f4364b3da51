// SPDX-License-Identifier: MIT
/* A thermocouple that loses a degree an hour, found through the real programs: the recorder keeps what each of ten
 * runs leaves, and the command says which sensor it is, by how much, and since when. */
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

#include "support/paper.h"
#include "support/stage.h"

/* tests/system/odd.shop: it begins at 10:04, and the last stable stretch ends at 14:14 with a middle some five
 * minutes before: 4.1 hours. Runs are 45 minutes apart: 7.5 °C in ten. */
static const double lost_c = 4.1, per_10_runs_c = 7.5;

static double number_after(const char *text, const char *words) {
    const char *at = strstr(text, words);

    if (at == NULL)
        fail_msg("'%s' is missing in:\n%s", words, text);
    return at != NULL ? strtod(at + strlen(words), NULL) : NAN;
}

static void test_the_odd_one_is_found(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);
    char path[2 * STAGE_PATH_BYTES], *text, *overlap;
    struct paper_word *words;
    size_t count = 0;

    (void)state;
    assert_non_null(stage);
    stage_open_scene(stage, "odd");
    stage_start_daemon(stage);
    stage_play_until(stage, "2026-11-16T09:50:00Z");
    stage_read_journal(stage);
    assert_true(paper_has(stage_tell(stage, "$S drift"), "Too few runs to say anything: 4 of 5"));
    stage_play_until(stage, "2026-11-16T14:45:00Z");
    stage_end_daemon(stage, SIGTERM);
    stage_tell(stage, "$S drift small -o $D/drift.pdf");
    assert_true(paper_has(stage->output, "small: thermocouple front is drifting"));
    assert_true(paper_has(stage->output, "back: has kept to the others"));
    assert_true(fabs(number_after(stage->output, "front: reads low by ") - lost_c) < 0.3);
    assert_true(fabs(number_after(stage->output, "growing ") - per_10_runs_c) < 0.3);
    assert_true(paper_has(stage->output, "BEYOND your limit"));
    snprintf(path, sizeof path, "%s/drift.pdf", stage->folder);
    text = paper_flat(path);
    assert_true(paper_has(text, "Thermocouple front is drifting"));
    assert_true(paper_has(text, "beginning with run 5"));
    assert_true(paper_has(text, "SIMULATED CLOCK"));
    free(text);
    assert_true(paper_is_sound(path));
    words = paper_words(path, &count);
    overlap = paper_find_overlap(words, count);
    if (overlap != NULL)
        fail_msg("%s", overlap);
    free(words);
    // As it looked after four runs.
    assert_true(paper_has(stage_tell(stage, "$S drift --until 2026-11-16T09:50:00Z"), "4 of 5"));
    stage_close(stage);
    free(stage);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_the_odd_one_is_found)};

    return cmocka_run_group_tests(tests, NULL, NULL);
}
