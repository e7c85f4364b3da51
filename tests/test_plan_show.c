// SPDX-License-Identifier: MIT
/* A plan in words, on a terminal and on paper: read back as a person would see it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "soakledger/fault.h"
#include "soakledger/words.h"
#include "support/paper.h"

enum { COLUMNS = 80, SCREEN_LINES = 24, PATH_BYTES = 256 };

#define O1     "daemon/plan/examples/plane-irons-o1.plan"
#define A2     "daemon/plan/examples/paring-chisels-a2.plan"
#define D2     "daemon/plan/examples/mortise-chisels-d2.plan"
#define STEEL  "daemon/plan/examples/marking-knives-440c.plan"
#define WHOLE  "tests/fuzz/corpus/fuzz_plan/whole-cycle.plan"
#define UTF8   "LC_ALL=C.UTF-8"
#define PLAIN  "LC_ALL=C"
#define ESCAPE "\033["

static char folder[] = "/tmp/soakledger-plan-XXXXXX";

static int begin(void **state) {
    (void)state;
    return mkdtemp(folder) != NULL ? 0 : -1;
}

static int end(void **state) {
    (void)state;
    free(paper_run(NULL, "rm -r %s", folder));
    return 0;
}

static const char *program(void) {
    static char path[PATH_BYTES];
    const char *build = getenv("SOAKLEDGER_BUILD");

    snprintf(path, sizeof path, "%s/soakledger", build != NULL ? build : "build/gcc");
    return path;
}

/* The caller frees. */
static char *run(const char *environment, const char *words, int expected) {
    int status;
    char *said = paper_run(&status, "env %s %s %s 2>&1", environment, program(), words);

    if (status != expected)
        fail_msg("%s: status %d: %s", words, status, said);
    return said;
}

static void expect(const char *said, const char *part) {
    if (strstr(said, part) == NULL)
        fail_msg("no '%s' in:\n%s", part, said);
}

static void check_columns(const char *text, bool plain) {
    char *copy = strdup(text), *from = copy;

    for (char *line = strsep(&from, "\n"); line != NULL; line = strsep(&from, "\n")) {
        if (words_columns(line) >= COLUMNS || (line[0] != '\0' && line[strlen(line) - 1] == ' '))
            fail_msg("too wide, or with a blank at its end: '%s'", line);
        for (const char *c = line; *c != '\0'; c++)
            if (*c < ' ' && (plain || (*c & 0x80) == 0))
                fail_msg("not plain: '%s'", line);
    }
    free(copy);
}

/* ---- in words ---- */

static void check_says_every_requirement(void **state) {
    char *said = run(UTF8, "plan check " WHOLE, 0);

    (void)state;
    check_columns(said, false);
    expect(said, "Knives: 10 operations, 4 visits to an oven\n");
    expect(said, "1. heat up (visit 1, oven big)\n"
                 "   rise: at most 300 °C/h between 100 °C and 640 °C (slope over 5 min)\n"
                 "   charge: at or below 60 °C when the heat begins\n");
    expect(said, "2. hold preheat (visit 1, oven big)\n   band: 640 °C to 670 °C, about 650 °C\n"
                 "   time: at least 10 min, without a break\n");
    expect(said, "   transfer: at most 20 s from leaving the soak to the first fall of 15\n     °C/s\n"
                 "   cooling: from 850 °C to 400 °C in at most 1 min 30 s\n"
                 "   handle-warm: at or below 50 °C within 10 min of leaving the soak\n"
                 "   where no sensor saw it, a person may attest it\n");
    expect(said, "5. quench plates in aluminium plates (visit 1, oven big)\n");
    expect(said, "6. cold deep (visit 2, oven freezer)\n   begins: within 1 h of the end of the visit before\n"
                 "   parts: at or below 30 °C before it begins\n   temperature: at or below -75 °C\n"
                 "   time: at least 2 h, without a break\n7. heat low 1");
    expect(said, "10. temper t 2 (visit 4)\n");
    expect(said, "   equivalent time: at least 1 h 30 min at 180 °C (Hollomon-Jaffe, C =\n     19.5)\n");
    expect(said, "(guarded)");
    expect(said, "Martensite begins to form at -20.5 °C");
    expect(said, "Hardness to be measured afterwards: 58 to 60.5 HRC, 3 readings.\n");
    free(said);
    said = run(UTF8, "plan check " A2, 0);
    expect(said, "   time: at least 45 min and for the lag of the charge 10 min, at most 1 h\n     15 min, "
                 "without a break\n");
    expect(said, "equivalent time at 205 °C: reported only (Hollomon-Jaffe, C = 20)");
    expect(said, "The control sensor stands for the charge");
    expect(said, "(simple)");
    free(said);
    said = run(UTF8, "plan check " D2, 0);
    expect(said, "spread between the load sensors: at most 8 °C");
    expect(said, "overshoot: at most 9 °C above the temperature");
    expect(said, "Every load sensor in the oven stands for the charge.");
    free(said);
    said = run(UTF8, "plan check daemon/plan/examples/scraper-blades-1095.plan", 0);
    expect(said, "2 channels named in the plan stand for the charge.");
    free(said);
}

/* ---- on a terminal ---- */

static void a_cycle_fits_on_one_screen(void **state) {
    char *said = run(UTF8, "plan show " O1, 0);

    (void)state;
    check_columns(said, false);
    assert_true(paper_count(said, "\n") < SCREEN_LINES); // and the prompt
    expect(said, "Plane irons and chisels, hardened and tempered: AISI O1 (UNS T31501)\n");
    expect(said, "802–816 °C");
    expect(said, "635–665 °C");
    expect(said, "175–188 °C");
    expect(said, "≤400°/h    ≥10 min   ≤400°/h  15–40 min   ≤5 s  ≤2 h         ≥2 h\n");
    expect(said, " 800 ┤");
    expect(said, "visit 2");
    expect(said, "Time is not to scale");
    expect(said, "steel maker's data sheet");
    assert_null(strstr(said, ESCAPE)); // no terminal
    free(said);
}

/* The row of a text, and the column of its first character. */
static size_t find_row(const char *said, const char *part, size_t *column) {
    const char *at = strstr(said, part), *line = at;
    size_t row = 0;

    if (at == NULL)
        fail_msg("no '%s' in:\n%s", part, said);
    while (line > said && line[-1] != '\n')
        line--;
    for (const char *c = said; c < line; c++)
        row += *c == '\n';
    *column = (size_t)(at - line);
    return row;
}

static void the_curve_goes_where_the_plan_says(void **state) {
    char *said = run(PLAIN, "plan show " O1, 0);
    size_t soak, hold, temper, room, level, column;

    (void)state;
    soak = find_row(said, "802-816 C", &column);
    hold = find_row(said, "635-665 C", &column);
    temper = find_row(said, "175-188 C", &column);
    assert_true(soak < hold && hold < temper);
    level = find_row(said, "==|\n", &column); // the soak's level, and the quench that begins at its end
    assert_int_equal(level, soak + 1);
    room = find_row(said, "......", &column); // waiting for the temper
    assert_true(room > temper);
    assert_int_equal(find_row(said, " 800 +", &column), level);
    free(said);
    said = run(PLAIN, "plan show " STEEL, 0);
    assert_true(find_row(said, "<=-70 C", &column) >= find_row(said, "   0 +", &column));
    free(said);
}

static void a_plain_terminal_gets_plain_signs(void **state) {
    static const char odd[] =
        "[plan]\ntitle = Stähle für 20 °C – groß\n[soak ä]\ntemperature = 800 C\nbelow = 1 C\n"
        "above = 1 C\ntime_at_least = 1 h\noven = größer\n";
    char words[2 * PATH_BYTES], path[PATH_BYTES], *said;

    (void)state;
    snprintf(path, sizeof path, "%s/odd.plan", folder);
    paper_write(path, odd, strlen(odd));
    snprintf(words, sizeof words, "plan show %s", path);
    said = run(PLAIN, words, 0);
    check_columns(said, true);
    expect(said, "St?hle f?r 20 C - gro?\n");
    expect(said, ">=1 h");
    expect(said, "799-801 C");
    expect(said, "gr??er");
    free(said);
    said = run(UTF8, words, 0);
    expect(said, "Stähle für 20 °C – groß\n");
    expect(said, "größer");
    free(said);
}

static void no_plan_makes_a_line_too_long(void **state) {
    static const char *const patterns[] = {"daemon/plan/examples/*.plan", "tests/fuzz/corpus/fuzz_plan/*.plan"};
    size_t shown = 0;

    (void)state;
    for (size_t i = 0; i < sizeof patterns / sizeof patterns[0]; i++) {
        glob_t found;

        assert_int_equal(glob(patterns[i], 0, NULL, &found), 0);
        for (size_t k = 0; k < found.gl_pathc; k++, shown++) {
            char words[4 * PATH_BYTES], *said;

            snprintf(words, sizeof words, "plan show %s", found.gl_pathv[k]);
            said = run(UTF8, words, 0);
            check_columns(said, false);
            free(said);
            said = run(PLAIN, words, 0);
            check_columns(said, true);
            free(said);
        }
        globfree(&found);
    }
    assert_true(shown >= 11);
}

/* As crowded as a plan can be: one visit that is too wide for a line even with every label given up that can be,
 * and tempers for several panels. */
static void write_crowded(const char *path) {
    char text[8192];
    size_t used =
        (size_t)snprintf(text, sizeof text, "[plan]\ntitle = Crowded\nload = control\nlag_allowance = 7 s\n");

    for (int i = 0; i < 3; i++)
        used += (size_t)snprintf(
            text + used, sizeof text - used,
            "[heat h%d]\nramp_at_most = 1 C/h\nramp_between = %d C .. %d C\n"
            "[hold number %d has quite a long name]\ntemperature = %d C\nbelow = 1 C\nabove = 1 C\n"
            "time_at_least = 1 h 15 min 20 s\n",
            i, 105 + 200 * i, 110 + 200 * i, i, 200 + 200 * i);
    used += (size_t)snprintf(text + used, sizeof text - used,
                             "[heat a]\nramp_at_most = 1 C/h\nramp_between = 650 C .. 660 C\n"
                             "[heat b]\nramp_at_most = 1 C/h\nramp_between = 660 C .. 670 C\n"
                             "[soak s]\ntemperature = 1000 C\nbelow = 1 C\nabove = 1 C\n"
                             "time_at_least = 1 h 15 min 20 s\ntime_at_most = 2 h 45 min 10 s\n"
                             "[quench q]\ntransfer_at_most = 1 h 10 min\n");
    for (int i = 0; i < 8; i++)
        used += (size_t)snprintf(text + used, sizeof text - used,
                                 "[temper %d]\ntemperature = 200 C\nbelow = 1 C\nabove = 1 C\n"
                                 "time_at_least = 1 h 15 min\nbegins_within = 1 h 10 min\ntimes = 4\n",
                                 i);
    paper_write(path, text, used);
}

static void a_crowded_plan_is_shared_out_to_panels(void **state) {
    char words[2 * PATH_BYTES], path[PATH_BYTES], *said;

    (void)state;
    snprintf(path, sizeof path, "%s/crowded.plan", folder);
    write_crowded(path);
    snprintf(words, sizeof words, "plan show %s", path);
    said = run(UTF8, words, 0);
    check_columns(said, false);
    assert_true(paper_count(said, "°C │") >= 4);    // panels
    expect(said, "soak     quench     wait\n");     // the first ends within its line
    assert_int_equal(paper_count(said, "soak"), 2); // drawn once, and the program's name
    for (int visit = 1; visit <= 33; visit++) {
        char text[32];

        snprintf(text, sizeof text, " visit %d ", visit);
        expect(said, text);
    }
    free(said);
    said = run(PLAIN, words, 0);
    check_columns(said, true);
    free(said);
}

/* In panels there is room for what one line would have to give up. */
static void panels_keep_their_labels(void **state) {
    char *said = run(UTF8, "plan show " A2, 0);

    (void)state;
    assert_int_equal(paper_count(said, "°C │"), 2);
    expect(said, "660–690 °C");
    expect(said, "956–980 °C");
    expect(said, "≤300°/h");
    expect(said, "≥20 min"); // 10 min, and 10 min for the lag
    expect(said, "Times at temperature include 10 min for the lag of the charge.\n");
    free(said);
}

/* script(1) gives the program a terminal of its own. */
static void weight_only_on_a_terminal_that_wants_it(void **state) {
    int status;
    char *said =
        paper_run(&status, "env -u NO_COLOR TERM=xterm script -qec '%s plan show " O1 "' /dev/null", program());

    (void)state;
    assert_int_equal(status, 0);
    expect(said, ESCAPE "1m");
    expect(said, ESCAPE "2m");
    assert_int_equal(paper_count(said, ESCAPE "3"), 0); // no colour
    free(said);
    said = paper_run(&status, "NO_COLOR=1 TERM=xterm script -qec '%s plan show " O1 "' /dev/null", program());
    assert_null(strstr(said, ESCAPE));
    expect(said, "hardening");
    free(said);
    said = paper_run(&status, "env -u NO_COLOR TERM=dumb script -qec '%s plan show " O1 "' /dev/null", program());
    assert_null(strstr(said, ESCAPE));
    free(said);
}

/* ---- on paper ---- */

static void make_paper(const char *plan, const char *more, char *path) {
    char words[4 * PATH_BYTES], *said;

    snprintf(path, PATH_BYTES, "%s/plan.pdf", folder);
    snprintf(words, sizeof words, "plan show %s -o %s %s", plan, path, more);
    said = run(PLAIN, words, 0);
    assert_int_equal(strncmp(said, path, strlen(path)), 0);
    free(said);
    assert_true(paper_is_sound(path));
}

static void check_layout(const char *path) {
    size_t count;
    struct paper_word *words = paper_words(path, &count);
    char *overlap = paper_find_overlap(words, count);

    if (overlap != NULL)
        fail_msg("%s: words cover each other: %s", path, overlap);
    assert_null(paper_find_outside(words, count, 30, 20, 595 - 30, 842 - 20)); // points of A4
    free(words);
}

/* 650 C is 1202 F; a ramp of 300 C/h one of 540 F/h; 9 K over is 16.2 F; 15 C/s are 27 F/s. */
static void it_speaks_fahrenheit_where_asked(void **state) {
    char path[PATH_BYTES], *said = run(UTF8, "plan check --unit F " WHOLE, 0);

    (void)state;
    check_columns(said, false);
    expect(said, "   rise: at most 540 °F/h between 212 °F and 1184 °F (slope over 5 min)\n");
    expect(said, "band: 1184 °F to 1238 °F, about 1202 °F\n");
    expect(said, "to the first fall of 27\n     °F/s\n");
    expect(said, "temperature: at or below -103 °F\n");
    expect(said, "Martensite begins to form at -4.9 °F");
    free(said);
    said = run(UTF8, "plan check " D2 " --unit=F", 0);
    expect(said, "spread between the load sensors: at most 14.4 °F");
    expect(said, "overshoot: at most 16.2 °F above the temperature");
    free(said);
    said = run(UTF8, "plan show --unit F " STEEL, 0);
    expect(said, "  °F │");
    expect(said, " 1886 °F");
    free(said);
    said = run(PLAIN, "plan show --unit F " STEEL, 0);
    expect(said, " 1886 F");
    free(said);
    make_paper(STEEL, "--unit F", path);
    check_layout(path);
    said = paper_flat(path);
    expect(said, "1868–1900 °F");
    expect(said, "rise: at most 720 °F/h between 392 °F and 1346 °F (slope over 5 min)");
    assert_null(strstr(said, "°C"));
    free(said);
}

static void the_paper_says_all_of_it(void **state) {
    char path[PATH_BYTES], *text;

    (void)state;
    make_paper(STEEL, "", path);
    text = paper_flat(path);
    expect(text, "Planned cycle");
    expect(text, "Marking knives, hardened, deep cooled, tempered");
    expect(text, "AISI 440C (UNS S44004)");
    expect(text, "excerpt of a steel supplier's data sheet; confirm with the maker's");
    expect(text, "1020–1038 °C");
    expect(text, "visit 2: freezer");
    expect(text, "rise: at most 400 °C/h between 200 °C and 730 °C (slope over 5 min)");
    expect(text, "time: at least 30 min, at most 45 min, without a break");
    expect(text, "transfer: at most 10 s from leaving the soak to the first fall of 20 °C/s");
    expect(text, "temperature: at or below -70 °C");
    expect(text, "begins: within 2 h of the end of the visit before");
    expect(text, "Hardness to be measured afterwards: 58 to 60 HRC, 3 readings.");
    expect(text, "Time is not to scale");
    expect(text, "narrow bands are drawn higher than they are");
    expect(text, "A plan is a starting point, not a recipe");
    expect(text, "page 1 of 1");
    free(text);
}

static void every_example_has_one_page_without_a_clash(void **state) {
    glob_t found;

    (void)state;
    assert_int_equal(glob("daemon/plan/examples/*.plan", 0, NULL, &found), 0);
    for (size_t i = 0; i < found.gl_pathc; i++) {
        char path[PATH_BYTES], *text;

        make_paper(found.gl_pathv[i], "", path);
        check_layout(path);
        text = paper_flat(path);
        expect(text, "page 1 of 1");
        free(text);
    }
    globfree(&found);
}

/* D2 with two holds and two tempers: names give way before the drawing is cut in two. */
static void a_long_cycle_stays_on_one_line(void **state) {
    char path[PATH_BYTES];
    size_t count, found = 0;
    struct paper_word *words;
    double top = 0;

    (void)state;
    make_paper(D2, "", path);
    words = paper_words(path, &count);
    for (size_t i = 0; i + 1 < count; i++) {
        if (strcmp(words[i].text, "visit") != 0 || strchr(words[i + 1].text, ':') == NULL)
            continue;
        assert_true(found == 0 || words[i].top == top);
        top = words[i].top;
        found++;
    }
    free(words);
    assert_int_equal(found, 3);
}

static void repeated_tempers_are_drawn_twice_and_described_once(void **state) {
    char path[PATH_BYTES], *text;

    (void)state;
    make_paper(D2, "", path);
    text = paper_flat(path);
    assert_int_equal(paper_count(text, "199–212 °C"), 2);
    assert_int_equal(paper_count(text, "band: 199 °C to 212 °C"), 1);
    expect(text, "6, 7 temper, 2 times");
    free(text);
    make_paper(WHOLE, "", path);
    check_layout(path);
    text = paper_flat(path);
    expect(text, "7, 9 heat low, 2 times 3–4");
    expect(text, "8, 10 temper t, 2 times 3–4");
    free(text);
}

/* The level of the soak is dark blue, and to scale between the temperatures at the axis. */
static void the_level_is_drawn_where_the_axis_says(void **state) {
    enum { DPI = 144, POINTS = 72 };
    char path[PATH_BYTES];
    size_t count, width, height, best = 0;
    struct paper_word *words;
    unsigned char *grey;
    double zero = 0, thousand = 0, left = 0, right = 0, expected;

    (void)state;
    make_paper(STEEL, "", path);
    words = paper_words(path, &count);
    for (size_t i = 0; i < count; i++) {
        const double middle = (words[i].top + words[i].bottom) / 2;

        if (strcmp(words[i].text, "0") == 0 && zero == 0)
            zero = middle;
        if (strcmp(words[i].text, "1000") == 0 && thousand == 0)
            thousand = middle;
        if (strncmp(words[i].text, "1020–1038", strlen("1020–1038")) == 0 && left == 0) {
            left = words[i].left;
            right = words[i].right;
        }
    }
    free(words);
    assert_true(zero > thousand && thousand > 0 && right > left);
    expected = zero - (zero - thousand) * 1030 / 1000;
    grey = paper_picture(path, 1, DPI, &width, &height);
    for (size_t y = (size_t)((expected - 8) * DPI / POINTS); y < (size_t)((expected + 8) * DPI / POINTS); y++) {
        size_t dark = 0;

        for (size_t x = (size_t)(left * DPI / POINTS); x < (size_t)(right * DPI / POINTS); x++)
            dark += grey[y * width + x] < 0x60;
        if (dark + 2 >= (size_t)((right - left) * DPI / POINTS) && best == 0)
            best = y;
    }
    free(grey);
    assert_true(best != 0);
    assert_true((double)best * POINTS / DPI > expected - 1.5 && (double)best * POINTS / DPI < expected + 1.5);
}

static void paper_comes_in_two_sizes(void **state) {
    char path[PATH_BYTES], *said;

    (void)state;
    make_paper(O1, "--paper Letter", path);
    said = paper_run(NULL, "pdfinfo %s 2>&1", path);
    expect(said, "612 x 792 pts (letter)");
    free(said);
    make_paper(O1, "--paper=A4", path);
    said = paper_run(NULL, "pdfinfo %s 2>&1", path);
    expect(said, "(A4)");
    free(said);
}

static void a_crowded_plan_goes_on_on_the_next_page(void **state) {
    char plan[PATH_BYTES], path[PATH_BYTES], *text;

    (void)state;
    snprintf(plan, sizeof plan, "%s/crowded.plan", folder);
    write_crowded(plan);
    make_paper(plan, "", path);
    text = paper_flat(path);
    expect(text, "visit 33");
    expect(text, "temper 7, 4 times 30–33");
    free(text);
}

static void what_it_does_not_understand_is_one_line(void **state) {
    static const struct {
        const char *words;
        int status;
        const char *part;
    } cases[] = {
        {"plan", EX_USAGE,
         "expected 'plan check FILE [--unit C|F]' or 'plan show FILE "
         "[-o FILE.pdf] [--paper A4|Letter] [--unit C|F]'"},
        {"plan draw x", EX_USAGE, "'plan draw': expected 'plan check FILE [--unit C|F]' or"},
        {"plan check", EX_USAGE, "expected 'plan check FILE [--unit C|F]'"},
        {"plan check --unit K " O1, EX_USAGE, "--unit 'K': expected C or F"},
        {"plan check -o x " O1, EX_USAGE, "unknown option '-o'"},
        {"plan show", EX_USAGE, "something is missing"},
        {"plan show " O1 " " O1, EX_USAGE, "one word too many"},
        {"plan show " O1 " -o", EX_USAGE, "-o has no value"},
        {"plan show " O1 " -o /dev/null/x --paper A5", EX_USAGE, "--paper 'A5': expected A4 or Letter"},
        {"plan show " O1 " --paper A4", EX_USAGE, "--paper is for a PDF"},
        {"plan show " O1 " -o x.pdf --output y.pdf", EX_USAGE, "given twice"},
        {"plan show no/such.plan", EX_NOINPUT, "no/such.plan: cannot be opened"},
        {"plan show Makefile", EX_CONFIG, "Makefile:"},
        {"plan show " O1 " -o no/such/folder/x.pdf", EX_CANTCREAT, "no/such/folder"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char *said = run(PLAIN, cases[i].words, cases[i].status);

        expect(said, cases[i].part);
        assert_int_equal(paper_count(said, "\n"), 1);
        assert_int_equal(strncmp(said, "soakledger: ", strlen("soakledger: ")), 0);
        free(said);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(check_says_every_requirement),
        cmocka_unit_test(a_cycle_fits_on_one_screen),
        cmocka_unit_test(the_curve_goes_where_the_plan_says),
        cmocka_unit_test(a_plain_terminal_gets_plain_signs),
        cmocka_unit_test(no_plan_makes_a_line_too_long),
        cmocka_unit_test(a_crowded_plan_is_shared_out_to_panels),
        cmocka_unit_test(panels_keep_their_labels),
        cmocka_unit_test(it_speaks_fahrenheit_where_asked),
        cmocka_unit_test(weight_only_on_a_terminal_that_wants_it),
        cmocka_unit_test(the_paper_says_all_of_it),
        cmocka_unit_test(every_example_has_one_page_without_a_clash),
        cmocka_unit_test(a_long_cycle_stays_on_one_line),
        cmocka_unit_test(repeated_tempers_are_drawn_twice_and_described_once),
        cmocka_unit_test(the_level_is_drawn_where_the_axis_says),
        cmocka_unit_test(paper_comes_in_two_sizes),
        cmocka_unit_test(a_crowded_plan_goes_on_on_the_next_page),
        cmocka_unit_test(what_it_does_not_understand_is_one_line),
    };

    return cmocka_run_group_tests(tests, begin, end);
}
