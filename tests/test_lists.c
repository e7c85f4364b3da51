// SPDX-License-Identifier: MIT
/* Lists as screens, CSV and JSON, read back by programs that know nothing of ours. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/table.h"
#include "soakledger/words.h"
#include "support/ledger_fixture.h"
#include "support/paper.h"

#define S   INT64_C(1000)
#define MIN (60 * S)
#define H   (60 * MIN)

enum { COLUMNS = 80 };

static const char SHOP[] = "name = Toolroom\nutc_offset = +01:00\n";

static const struct fixture_run HARDENED = {.oven = 0,
                                            .begun_ms = FIXTURE_START_MS + H,
                                            .start_mc = 700000,
                                            .top_mc = 808000,
                                            .end_mc = 700000,
                                            .rise_mc_per_h = 420000,
                                            .fall_mc_per_h = 900000,
                                            .level_ms = 25 * MIN};

static const char *program(void) {
    static char path[256];
    const char *build = getenv("SOAKLEDGER_BUILD");

    snprintf(path, sizeof path, "%s/soakledger", build != NULL ? build : "build/gcc");
    return path;
}

static char *run(const struct ledger_fixture *fixture, int expected, const char *words) {
    int status;
    char *said = paper_run(&status, "%s -c %s %s 2>&1", program(), fixture->config_path, words);

    if (status != expected)
        fprintf(stderr, "%s: status %d\n%s", words, status, said);
    assert_int_equal(status, expected);
    return said;
}

/* Two batches, one of them with texts that mean harm; a run that is the first one's, which meets its plan. */
static int begin(void **state) {
    struct ledger_fixture *fixture = calloc(1, sizeof *fixture);
    char words[1024];
    int64_t run_id;

    fixture_make(fixture, SHOP, false);
    run_id = fixture_record(fixture, &HARDENED);
    fixture_write_plan(fixture, FIXTURE_PLAN_HARDEN);
    snprintf(words, sizeof words,
             "batch open --plan %s --oven hardening --charge '6 \"fine\" irons, 50 mm' --customer '=1+1'"
             " --note \"$(printf 'a\\033[2J\\r\\nb')\"",
             fixture->plan_path);
    free(run(fixture, 0, words));
    snprintf(words, sizeof words, "claim %lld 1", (long long)run_id);
    free(run(fixture, 0, words));
    snprintf(words, sizeof words, "batch open --plan %s --oven hardening --charge '3 chisels' --customer 'Hall 2'",
             fixture->plan_path);
    free(run(fixture, 0, words));
    *state = fixture;
    return 0;
}

static int end(void **state) {
    fixture_remove(*state);
    free(*state);
    return 0;
}

/* What Python makes of the list that `words` print. */
static void expect_python(const struct ledger_fixture *fixture, const char *words, const char *kind,
                          const char *schema, const char *expression, const char *expected) {
    int status;
    char *said = paper_run(
        &status, "%s -c %s %s >%s/list && /usr/bin/python3 tests/support/list_check.py %s %s/list %s \"%s\" 2>&1",
        program(), fixture->config_path, words, fixture->folder, kind, fixture->folder, schema, expression);

    if (status != 0)
        fprintf(stderr, "%s\n", said);
    assert_int_equal(status, 0);
    assert_string_equal(said, expected);
    free(said);
}

static void batches_as_csv(void **state) {
    const struct ledger_fixture *fixture = *state;
    char *bytes;
    size_t lines;
    int status;

    expect_python(fixture, "batch list --csv", "csv", "",
                  "[dict(zip(rows[0], r))[k] for r in rows[1:] for k in ('batch', 'charge', 'customer', 'outcome', "
                  "'runs', 'note')]",
                  "['1', '6 \"fine\" irons, 50 mm', \"'=1+1\", 'met', '1', 'a [2J  b', '2', '3 chisels', 'Hall 2', "
                  "'not proven', '', '']\n");
    bytes = run(fixture, 0, "batch list --csv");
    lines = paper_count(bytes, "\n");
    assert_int_equal(lines, 3);
    assert_int_equal(paper_count(bytes, "\r\n"), lines); // RFC 4180
    assert_null(strchr(bytes, '\033'));
    free(bytes);
    bytes = paper_run(&status,
                      "%s -c %s batch list --csv >%s/list && sqlite3 :memory: '.import --csv %s/list b' "
                      "'SELECT batch, charge FROM b WHERE opened LIKE \"____-__-__T%%Z\"'",
                      program(), fixture->config_path, fixture->folder, fixture->folder);
    assert_int_equal(status, 0);
    assert_string_equal(bytes, "1|6 \"fine\" irons, 50 mm\n2|3 chisels\n");
    free(bytes);
}

static void lists_as_json_keep_to_their_schemas(void **state) {
    const struct ledger_fixture *fixture = *state;

    expect_python(fixture, "batch list --json", "json", "report/soakledger-batches.schema.json",
                  "[(r['batch'], r['customer'], r['runs'], r['outcome'], r['waits_for']) for r in rows]",
                  "[(1, '=1+1', [1], 'met', None), (2, 'Hall 2', [], 'not proven', 'soak hardening')]\n");
    expect_python(fixture, "runs --json", "json", "report/soakledger-runs.schema.json",
                  "[(r['run'], r['begun'], r['peak_c'], r['batches'], r['imported_from']) for r in rows]",
                  "[(1, '2026-11-16T08:00:00.000Z', 808.0, [1], None)]\n");
    expect_python(fixture, "batch list --json --customer nobody", "json", "report/soakledger-batches.schema.json",
                  "rows", "[]\n");
}

/* Lists whose screens are the commands' own: with texts that mean harm, a test and a survey. */
static const struct {
    const char *words, *name, *expression, *found, *columns;
} MACHINE[] = {
    {"sensor list", "sensors",
     "[(r['sensor'], r['fitted_to'], r['type'], r['runs'], r['retired'] is None) for r in rows]",
     "[('K-114', 'hardening.control', 'K', 0, True), ('N-201', 'hardening.front of rack', 'N', 0, False)]", "16"},
    {"sensor due", "due", "[(r['kind'], r['name'], r['due'], r['troubles'][:7]) for r in rows]",
     "[('sensor', 'N-201', None, 'retired')]", "5"},
    {"check list", "checks",
     "[(r['test'], r['channel'], r['sensor'], r['outcome'], r['by'], r['note']) for r in rows]",
     "[(1, 'front of rack', 'N-201', 'not proven', '@me', 'a [2J  b')]", "19"},
    {"survey list", "surveys",
     "[(r['survey'], r['oven'], r['run'], r['setpoint_c'], r['class'], r['outcome'], r['note']) for r in rows]",
     "[(1, 'hardening', 1, 805.0, None, 'not met', '+1')]", "16"},
    {"drift", "drift",
     "[(r['oven'], r['channel'], r['sensor'], r['runs'], r['finding'], r['error_c']) for r in rows][1::2]",
     "[('hardening', 'front of rack', 'N-201', 1, 'too few runs', None), ('tempering', 'control', '', 0, 'too few "
     "runs', None)]",
     "21"},
};

static int begin_machine(void **state) {
    struct ledger_fixture *fixture;
    char words[1024];

    begin(state);
    fixture = *state;
    snprintf(
        words, sizeof words,
        "check 'hardening.front of rack' --yes --instrument '=pen' --allowed '3 C' --by @me --readings '805.2 C, "
        "805.0 C at 2026-11-16T08:20:00Z' --at 2026-11-16T08:20:00Z --note \"$(printf 'a\\033[2J\\r\\nb')\" -o "
        "%s/check.pdf",
        fixture->folder);
    free(run(fixture, 0, words));
    free(run(fixture, 0, "sensor retire N-201 --words '=away' --by me"));
    snprintf(words, sizeof words,
             "survey hardening --setpoint '805 C' --run 1 --note +1 -o %s/survey.pdf 'front of rack=+left'",
             fixture->folder);
    free(run(fixture, 0, words));
    *state = fixture;
    return 0;
}

static void every_list_is_read_by_programs(void **state) {
    const struct ledger_fixture *fixture = *state;

    for (size_t i = 0; i < sizeof MACHINE / sizeof MACHINE[0]; i++) {
        char words[64], schema[64], found[256];
        char *bytes;
        int status;

        snprintf(words, sizeof words, "%s --json", MACHINE[i].words);
        snprintf(schema, sizeof schema, "report/soakledger-%s.schema.json", MACHINE[i].name);
        snprintf(found, sizeof found, "%s\n", MACHINE[i].found);
        expect_python(fixture, words, "json", schema, MACHINE[i].expression, found);
        snprintf(words, sizeof words, "%s --csv", MACHINE[i].words);
        snprintf(found, sizeof found, "[%s]\n", MACHINE[i].columns);
        expect_python(fixture, words, "csv", "", "sorted({len(r) for r in rows})", found);
        bytes = run(fixture, 0, words);
        assert_int_equal(paper_count(bytes, "\n"), paper_count(bytes, "\r\n"));
        assert_null(strchr(bytes, '\033'));
        assert_null(strstr(bytes, ",=")); // no cell that a spreadsheet calculates
        assert_null(strstr(bytes, "\"="));
        assert_null(strstr(bytes, ",@"));
        free(bytes);
        bytes = paper_run(
            &status,
            "%s -c %s %s >%s/list && sqlite3 :memory: '.import --csv %s/list b' 'SELECT count(*) > 0 FROM b'",
            program(), fixture->config_path, words, fixture->folder, fixture->folder);
        assert_int_equal(status, 0);
        assert_string_equal(bytes, "1\n");
        free(bytes);
        snprintf(words, sizeof words, "%s --csv --json", MACHINE[i].words);
        free(run(fixture, EX_USAGE, words));
    }
}

static void finds_by_what_is_known(void **state) {
    const struct ledger_fixture *fixture = *state;
    static const struct {
        const char *words, *found;
    } asked[] = {
        {"--customer 'hall 2'", "[2]"},
        {"--verdict met", "[1]"},
        {"--verdict not-proven", "[2]"},
        {"--steel 1095", "[1, 2]"},
        {"--steel D2", "[]"},
        {"--sensor n-201 --verdict met --steel 1095 --customer =1 --from 2026-11-16", "[1]"},
        {"--sensor N-201 --verdict met --customer 'Hall 2'", "[]"},
        {"--charge CHISELS", "[2]"},
        {"--from 2026-11-16 --to 2026-11-16", "[1]"},
        {"--to 2026-11-15", "[]"},
        {"--open", "[1, 2]"},
        {"--oven hardening", "[1, 2]"},
        {"--oven tempering", "[]"},
        {"--sensor nothing", "[]"},
    };

    for (size_t i = 0; i < sizeof asked / sizeof asked[0]; i++) {
        char words[256], found[64];

        snprintf(words, sizeof words, "batch list --json %s", asked[i].words);
        snprintf(found, sizeof found, "%s\n", asked[i].found);
        expect_python(fixture, words, "json", "report/soakledger-batches.schema.json", "[r['batch'] for r in rows]",
                      found);
    }
    expect_python(fixture, "runs --json --from 2026-11-17", "json", "report/soakledger-runs.schema.json", "rows",
                  "[]\n");
}

static void refuses_what_it_does_not_understand(void **state) {
    const struct ledger_fixture *fixture = *state;
    static const struct {
        const char *words, *said;
    } asked[] = {
        {"batch list --csv --json", "--csv and --json at once"},
        {"batch list --verdict good", "'good' is no verdict: expected met, not-proven or not-met"},
        {"batch list --from yesterday", "'yesterday' is no date"},
        {"batch list --from 2026-11-18 --to 2026-11-16", "--from 2026-11-18 is after --to 2026-11-16"},
        {"runs --customer x", "unknown option '--customer'"},
    };

    for (size_t i = 0; i < sizeof asked / sizeof asked[0]; i++) {
        char *said = run(fixture, EX_USAGE, asked[i].words);

        if (!paper_has(said, asked[i].said))
            fail_msg("%s", said);
        free(said);
    }
}

static void fits_a_screen(void **state) {
    const struct ledger_fixture *fixture = *state;
    char *said = run(fixture, 0, "batch list"), *from = said;

    assert_true(paper_has(said, "met"));
    for (char *line = strsep(&from, "\n"); line != NULL; line = strsep(&from, "\n"))
        assert_true(words_columns(line) <= COLUMNS);
    free(said);
    said = run(fixture, 0, "batch list --customer nobody");
    assert_string_equal(said, "No batch fits: 'batch list --all' lists every one.\n");
    free(said);
    said = run(fixture, 0, "batch list --oven attic --sensor n-201");
    assert_true(paper_has(said, "There is no oven 'attic' now: expected one of hardening, tempering."));
    assert_false(paper_has(said, "No sensor"));
    free(said);
    said = run(fixture, 0, "runs --sensor N-999");
    assert_true(paper_has(said, "No sensor 'N-999' is known: expected one of K-114, N-201."));
    free(said);
}

/* Every text that a spreadsheet would calculate. */
static void defuses_formulas(void **state) {
    static const struct {
        const char *text, *written;
    } cells[] = {
        {"plain", "plain"},
        {"=1+1", "\"'=1+1\""},
        {"+1", "\"'+1\""},
        {"-1", "\"'-1\""},
        {"@SUM(A1)", "\"'@SUM(A1)\""},
        {"a,b", "\"a,b\""},
        {"a\"b", "\"a\"\"b\""},
        {"a\nb", "a b"},
        {"\033[31mred", " [31mred"},
        {"", ""},
        {"\t=1", "\"' =1\""},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
        char text[64] = "";
        FILE *out = fmemopen(text, sizeof text, "w");

        table_write_csv_text(out, cells[i].text);
        fclose(out);
        assert_string_equal(text, cells[i].written);
    }
}

static void numbers_are_exact(void **state) {
    static const struct {
        int64_t value;
        const char *text;
    } numbers[] = {{0, "0.0"},        {5, "0.005"},         {-50, "-0.05"},
                   {806400, "806.4"}, {-273150, "-273.15"}, {INT64_MIN, "-9223372036854775.808"}};
    char text[TABLE_TIME_BYTES];

    (void)state;
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++)
        assert_string_equal(table_format_thousandths(numbers[i].value, text), numbers[i].text);
    assert_string_equal(table_format_time(FIXTURE_START_MS + 5, text), "2026-11-16T07:00:00.005Z");
}

#define WITH_SHOP(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        WITH_SHOP(batches_as_csv),
        WITH_SHOP(lists_as_json_keep_to_their_schemas),
        cmocka_unit_test_setup_teardown(every_list_is_read_by_programs, begin_machine, end),
        WITH_SHOP(finds_by_what_is_known),
        WITH_SHOP(refuses_what_it_does_not_understand),
        WITH_SHOP(fits_a_screen),
        cmocka_unit_test(defuses_formulas),
        cmocka_unit_test(numbers_are_exact),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
