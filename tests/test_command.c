// SPDX-License-Identifier: MIT
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../report/command.h"
#include "soakledger/words.h"
#include "support/ledger_fixture.h"
#include "support/paper.h"

#define S   INT64_C(1000)
#define MIN (60 * S)
#define H   (60 * MIN)

enum { COLUMNS = 80, SCREEN_LINES = 24 };

static const char SHOP[] = "name = Toolroom\nutc_offset = +01:00\n";

static const struct fixture_run HARDENED = {.oven = 0,
                                            .begun_ms = FIXTURE_START_MS + H,
                                            .start_mc = 700000,
                                            .top_mc = 808000,
                                            .end_mc = 700000,
                                            .rise_mc_per_h = 420000,
                                            .fall_mc_per_h = 900000,
                                            .level_ms = 20 * MIN};

static int begin(void **state) {
    struct ledger_fixture *fixture = calloc(1, sizeof *fixture);

    fixture_make(fixture, SHOP, false);
    *state = fixture;
    return 0;
}

static int end(void **state) {
    fixture_remove(*state);
    free(*state);
    return 0;
}

static const char *program(void) {
    static char path[256];
    const char *build = getenv("SOAKLEDGER_BUILD");

    snprintf(path, sizeof path, "%s/soakledger", build != NULL ? build : "build/gcc");
    return path;
}

/* Runs the command as given and checks its exit status; what it printed is freed by the caller. */
static char *run(const struct ledger_fixture *fixture, int expected, const char *words) {
    int status;
    char *said = paper_run(&status, "%s -c %s %s 2>&1", program(), fixture->config_path, words);

    if (status != expected)
        fprintf(stderr, "%s: status %d\n%s", words, status, said);
    assert_int_equal(status, expected);
    return said;
}

static void expect(const struct ledger_fixture *fixture, int expected, const char *words, const char *part) {
    char *said = run(fixture, expected, words);

    if (strstr(said, part) == NULL)
        fprintf(stderr, "said: %s", said);
    assert_true(paper_has(said, part));
    if (expected != 0) {
        assert_int_equal(paper_count(said, "\n"), 1); // one line
        assert_int_equal(strncmp(said, "soakledger: ", 12), 0);
    }
    free(said);
}

static void check_columns(const char *text) {
    char *copy = strdup(text), *from = copy;

    for (char *line = strsep(&from, "\n"); line != NULL; line = strsep(&from, "\n")) {
        if (words_columns(line) > COLUMNS)
            fprintf(stderr, "too wide: %s\n", line);
        assert_true(words_columns(line) <= COLUMNS);
        assert_true(line[0] == '\0' || line[strlen(line) - 1] != ' ');
    }
    free(copy);
}

static char *open_words(const struct ledger_fixture *fixture, const char *more) {
    static char words[1024];

    snprintf(words, sizeof words, "batch open --plan %s --charge '6 plane irons' %s", fixture->plan_path, more);
    return words;
}

static void helps_on_one_screen(void **state) {
    int status;
    char *said = paper_run(&status, "%s --help", program());

    (void)state;
    assert_int_equal(status, 0);
    assert_true(paper_count(said, "\n") <= SCREEN_LINES);
    check_columns(said);
    assert_true(paper_has(said, "  batch "));
    free(said);
    for (size_t i = 0; i < command_entry_count; i++) {
        const struct command_entry *entry = &command_entries[i];
        char usage[COMMAND_TEXT_BYTES];

        assert_true(i == 0 || strcmp(command_entries[i - 1].name, entry->name) < 0);
        assert_true(strlen(entry->summary) <= 25);
        said = paper_run(&status, "%s %s --help", program(), entry->name);
        assert_int_equal(status, 0);
        assert_string_equal(said, entry->help);
        assert_true(paper_count(said, "\n") <= SCREEN_LINES);
        check_columns(said);
        snprintf(usage, sizeof usage, "soakledger %s", entry->name);
        assert_int_equal(strncmp(said, usage, strlen(usage)), 0);
        free(said);
    }
    said = paper_run(&status, "%s help claim", program());
    assert_int_equal(status, 0);
    assert_true(paper_has(said, "soakledger claim RUN none"));
    free(said);
    said = paper_run(&status, "%s --version", program());
    assert_int_equal(status, 0);
    assert_int_equal(strncmp(said, "soakledger ", 11), 0);
    free(said);
}

static void refuses_what_it_does_not_understand(void **state) {
    const struct ledger_fixture *fixture = *state;
    int status;
    char *said;

    expect(fixture, EX_USAGE, "", "no command");
    expect(fixture, EX_USAGE, "melt", "unknown command 'melt'");
    expect(fixture, EX_USAGE, "batch", "expected batch open");
    expect(fixture, EX_USAGE, "batch show", "batch show N");
    expect(fixture, EX_USAGE, "batch show seven", "'seven'");
    expect(fixture, EX_USAGE, "batch show 1 2", "'2' is one word too many");
    expect(fixture, EX_USAGE, "batch open --colour red", "unknown option '--colour'");
    expect(fixture, EX_USAGE, "batch open --plan", "--plan has no value");
    expect(fixture, EX_USAGE, "batch open --plan a --plan b --charge c", "--plan is given twice");
    expect(fixture, EX_USAGE, "batch open --plan a", "--charge");
    expect(fixture, EX_USAGE, "runs --some", "'--some'");
    expect(fixture, EX_NOINPUT, "batch show 7", "7");
    expect(fixture, EX_NOINPUT, "claim 9 1", "there is no run 9");
    said = paper_run(&status, "%s -c /nonexistent.conf runs 2>&1", program());
    assert_int_equal(status, EX_NOINPUT);
    assert_true(paper_has(said, "/nonexistent.conf"));
    free(said);
}

static void opens_shows_and_closes_a_batch(void **state) {
    struct ledger_fixture *fixture = *state;
    char *said;

    fixture_write_plan(fixture, FIXTURE_PLAN);
    expect(fixture, EX_USAGE, open_words(fixture, ""), "expected one of hardening, tempering");
    expect(fixture, EX_USAGE, open_words(fixture, "--oven cellar"), "no oven 'cellar'");
    expect(fixture, 0,
           open_words(fixture, "--oven=hardening --customer 'Old mill' --order 17 --operator me --note n"),
           "Batch 1 is open. It waits for a run in oven hardening: soak hardening.");
    said = run(fixture, 0, "batch list");
    assert_true(paper_has(said, "open, waits for"));
    assert_true(paper_has(said, "6 plane irons"));
    check_columns(said);
    free(said);
    said = run(fixture, 0, "batch show 1");
    assert_true(paper_has(said, "Batch 1: NOT PROVEN"));
    assert_true(paper_has(said, "for Old mill"));
    assert_true(paper_has(said, "Visit 2, temper first: not proven; no run yet"));
    check_columns(said);
    free(said);
    expect(fixture, 0, "batch close 1", "Batch 1 is closed.");
    expect(fixture, EX_DATAERR, "batch close 1", "closed already");
    expect(fixture, 0, "batch list", "closed");
}

static void refuses_a_second_batch_for_the_same_oven(void **state) {
    struct ledger_fixture *fixture = *state;

    fixture_write_plan(fixture, FIXTURE_PLAN_HARDEN);
    free(run(fixture, 0, open_words(fixture, "--oven hardening")));
    expect(fixture, EX_UNAVAILABLE, open_words(fixture, "--oven hardening"),
           "batch 1 (6 plane irons) still waits for a run in this oven, soak hardening: let it run, claim a run "
           "for it "
           "with 'claim RUN 1', close it with 'batch close 1', or say '--with 1' if both go in together");
    free(run(fixture, 0, "batch close 1"));
    expect(fixture, 0, open_words(fixture, "--oven hardening"), "Batch 2 is open.");
    fixture_write_plan(fixture, FIXTURE_PLAN_CONTROL); // another oven
    expect(fixture, 0, open_words(fixture, "--oven tempering"), "Batch 3 is open.");
}

static void refuses_a_plan_the_shop_cannot_follow(void **state) {
    struct ledger_fixture *fixture = *state;

    fixture_write_plan(fixture,
                       "[plan]\ntitle = x\nload = sensors\n\n[temper]\noven = cellar\ntemperature = 200 C\n"
                       "below = 6 C\nabove = 6 C\ntime_at_least = 1 h\n");
    expect(fixture, EX_CONFIG, open_words(fixture, "--oven hardening"),
           "shop.plan:5: there is no oven 'cellar': expected one of hardening, tempering");
    fixture_write_plan(fixture,
                       "[plan]\ntitle = x\nload = sensors\n\n[temper]\noven = tempering\ntemperature = 200 C\n"
                       "below = 6 C\nabove = 6 C\ntime_at_least = 1 h\n");
    expect(fixture, EX_CONFIG, open_words(fixture, "--oven hardening"),
           "shop.plan:5: the plan wants load sensors, but oven 'tempering' has no channel of role load: expected "
           "one, or "
           "a plan with load = control and lag_allowance");
    fixture_write_plan(fixture, "[plan]\ntitle = x\nload = channels: lid\n\n[soak]\ntemperature = 200 C\n"
                                "below = 6 C\nabove = 6 C\ntime_at_least = 1 h\n");
    expect(fixture, EX_CONFIG, open_words(fixture, "--oven hardening"), "wants channel 'lid'");
    expect(fixture, 0, "batch list", "There is no batch yet");
}

static void claims_a_run_and_gives_it_back(void **state) {
    struct ledger_fixture *fixture = *state;
    char *said;

    fixture_record(fixture, &HARDENED);
    fixture_write_plan(fixture, FIXTURE_PLAN);
    said = run(fixture, 0, "runs");
    assert_true(paper_has(said, "unclaimed"));
    assert_true(paper_has(said, "808 °C"));
    assert_true(paper_has(said, "2026-11-16 09:00"));
    check_columns(said);
    free(said);
    free(run(fixture, 0, open_words(fixture, "--oven hardening")));
    expect(fixture, EX_USAGE, "claim 1 1 3",
           "'3' is no visit of this plan: expected one of 1 (soak hardening), 2 (temper first)");
    expect(fixture, 0, "claim 1 1", "Run 1 belongs to batch 1 now: soak hardening.");
    expect(fixture, 0, "runs", "batch 1, soak");
    expect(fixture, EX_DATAERR, "claim 1 1", "belongs to batch 1 already");
    expect(fixture, 0, "claim 1 none", "Run 1 belongs to no batch now.");
    expect(fixture, EX_DATAERR, "claim 1 none", "belongs to no batch");
    expect(fixture, 0, "claim 1 1 first --by somebody", "temper first");
    free(run(fixture, 0, "claim 1 none"));
    fixture_write_plan(fixture, FIXTURE_PLAN_CONTROL);
    free(run(fixture, 0, open_words(fixture, "--oven tempering")));
    expect(fixture, EX_DATAERR, "claim 1 2", "was in another oven");
    free(run(fixture, 0, "batch close 2"));
    expect(fixture, EX_DATAERR, "claim 1 2 1", "batch 2 is closed");
}

static void shows_a_verdict_in_eighty_columns(void **state) {
    struct ledger_fixture *fixture = *state;
    char *said;

    fixture_record(fixture, &HARDENED);
    fixture_write_plan(fixture, FIXTURE_PLAN);
    free(run(fixture, 0, open_words(fixture, "--oven hardening")));
    free(run(fixture, 0, "claim 1 1"));
    said = run(fixture, 0, "batch show 1");
    // Level 20 min + 8 K / 420 K/h (68.6 s) + 8 K / 900 K/h (32 s)
    assert_true(paper_has(said, "soak time    at least 15 min     21 min 40 s          +6 min 40 s    met"));
    assert_true(paper_has(said, "run 1, oven hardening, begun 2026-11-16 09:00:00 UTC+01:00"));
    check_columns(said);
    free(said);
}

static void cleans_what_people_typed(void **state) {
    struct ledger_fixture *fixture = *state;
    char *said;

    fixture_write_plan(fixture, FIXTURE_PLAN_HARDEN);
    free(run(fixture, 0, open_words(fixture, "--oven hardening --customer \"$(printf 'a\\033[2Jb')\"")));
    said = run(fixture, 0, "batch show 1");
    assert_null(strchr(said, '\x1b'));
    assert_true(paper_has(said, "a [2Jb"));
    free(said);
}

static void numbers_certificates_without_gaps(void **state) {
    struct ledger_fixture *fixture = *state;
    char words[512], *said;
    int status;

    fixture_record(fixture, &HARDENED);
    fixture_write_plan(fixture, FIXTURE_PLAN_HARDEN);
    free(run(fixture, 0, open_words(fixture, "--oven hardening")));
    free(run(fixture, 0, "claim 1 1"));
    expect(fixture, EX_CANTCREAT, "certificate 1 -o /nonexistent/c.pdf", "/nonexistent/c.pdf");
    expect(fixture, EX_NOINPUT, "certificate 9", "9");
    snprintf(words, sizeof words, "certificate 1 -o %s/c.pdf", fixture->folder);
    said = run(fixture, 0, words);
    assert_true(paper_has(said, "c.pdf\n"));
    assert_true(paper_has(said, "certificate 1, revision 1: batch 1 met"));
    free(said);
    expect(fixture, EX_USAGE, words, "expected --why TEXT");
    snprintf(words, sizeof words, "certificate 1 --why 'the paper got wet' -o %s/c.pdf", fixture->folder);
    expect(fixture, 0, words, "certificate 2, revision 2: batch 1 met");
    // What the ledger keeps is the SHA-256 of the file as it is.
    said = paper_run(&status,
                     "cd %s && test \"$(sqlite3 shop.ledger 'select sha256 from certificate where "
                     "certificate_id = 2')\" = \"$(sha256sum c.pdf | cut -d' ' -f1)\" && ls | grep -c pdf",
                     fixture->folder);
    assert_int_equal(status, 0);
    assert_string_equal(said, "1\n"); // nothing temporary is left
    free(said);
    said = paper_run(&status, "cd %s && %s/%s -c shop.conf certificate 1 --why lost && ls soakledger-batch-1.pdf",
                     fixture->folder, program()[0] == '/' ? "" : "$OLDPWD", program());
    assert_int_equal(status, 0);
    assert_int_equal(paper_count(said, "soakledger-batch-1.pdf"), 2);
    free(said);
}

static void checks_a_plan_without_a_shop(void **state) {
    struct ledger_fixture *fixture = *state;
    char words[512];

    fixture_write_plan(fixture, FIXTURE_PLAN);
    snprintf(words, sizeof words, "plan check %s", fixture->plan_path);
    expect(fixture, 0, words, "3 operations, 2 visits");
    fixture_write_plan(fixture, "[plan]\ntitle = x\nload = sensors\n\n[soak]\ntemperature = 200\n");
    expect(fixture, EX_CONFIG, words, "shop.plan:6");
    expect(fixture, EX_USAGE, "plan burn x", "expected 'plan check FILE");
}

#define WITH_SHOP(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(helps_on_one_screen),
        WITH_SHOP(refuses_what_it_does_not_understand),
        WITH_SHOP(opens_shows_and_closes_a_batch),
        WITH_SHOP(refuses_a_second_batch_for_the_same_oven),
        WITH_SHOP(refuses_a_plan_the_shop_cannot_follow),
        WITH_SHOP(claims_a_run_and_gives_it_back),
        WITH_SHOP(shows_a_verdict_in_eighty_columns),
        WITH_SHOP(cleans_what_people_typed),
        WITH_SHOP(numbers_certificates_without_gaps),
        WITH_SHOP(checks_a_plan_without_a_shop),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
