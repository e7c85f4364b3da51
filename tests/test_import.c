// SPDX-License-Identifier: MIT
/* Readings that somebody else took: strictly read, kept apart, judged like any other, and said to be imported. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/assess.h"
#include "soakledger/csv.h"
#include "soakledger/seal.h"
#include "support/bench_ledger.h"
#include "support/ledger_fixture.h"
#include "support/paper.h"

static const char SHOP[] = "name = Toolroom\nutc_offset = +01:00\n";

static const char DESCRIPTION[] =
    "[import]\noven = hardening\nsource = logger of the heat treater, Hall 2\n"
    "time = Date/Time\ntime_zone = +01:00\ninterval = 10 s\nseparator = semicolon\n"
    "decimals = comma\nopen = ----\n"
    "[column front of rack]\nheader = T1 (degC)\nrole = load\nunit = C\nsensor = N-12\n"
    "[column chamber]\nheader = T2 (degF)\nrole = control\nunit = F\n";

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

static char *run(const struct ledger_fixture *fixture, int expected, const char *words) {
    char *path = realpath(program(), NULL);
    int status;
    char *said =
        paper_run(&status, "cd %s && %s -c %s %s 2>&1", fixture->folder, path, fixture->config_path, words);

    free(path);
    if (status != expected)
        fprintf(stderr, "%s: status %d\n%s", words, status, said);
    assert_int_equal(status, expected);
    return said;
}

static void expect(const struct ledger_fixture *fixture, int expected, const char *words, const char *part) {
    char *said = run(fixture, expected, words);

    if (!paper_has(said, part)) {
        fprintf(stderr, "said: %s\n", said);
        fail_msg("expected: %s", part);
    }
    free(said);
}

static void spill(const struct ledger_fixture *fixture, const char *name, const char *text) {
    char path[2 * FIXTURE_PATH_BYTES];

    snprintf(path, sizeof path, "%s/%s", fixture->folder, name);
    paper_write(path, text, strlen(text));
}

/* From 09:00 local: up to 808 °C in 20 min, 25 min there, and down. One field is open, one is empty. */
static void spill_run(const struct ledger_fixture *fixture) {
    char path[2 * FIXTURE_PATH_BYTES];
    FILE *out;

    snprintf(path, sizeof path, "%s/run.csv", fixture->folder);
    out = fopen(path, "w");
    assert_non_null(out);
    fputs("Date/Time;T1 (degC);T2 (degF);remark\r\n", out);
    for (int s = 0; s <= 3600; s += 10) {
        const double c = s < 1200 ? 700 + 108.0 * s / 1200 : s < 2700 ? 808 : 808 - 108.0 * (s - 2700) / 900;
        char value[32];

        snprintf(value, sizeof value, "%.1f", c);
        *strchr(value, '.') = ',';
        fprintf(out, "2026-11-16 09:%02d:%02d;%s;%.0f,0;\"a; \"\"b\"\"\"\r\n", s / 60 % 60, s % 60,
                s == 30   ? "----"
                : s == 40 ? ""
                          : value,
                c * 9 / 5 + 32);
        if (s == 3590)
            break; // the hour is full
    }
    fclose(out);
}

/* It is not signed, so the status is EX_DATAERR; everything else holds, and the facts keep to their schema. */
static void expect_verified(const struct ledger_fixture *fixture, const char *name, const char *part) {
    int status;
    char words[64], *said;

    snprintf(words, sizeof words, "verify %s", name);
    said = run(fixture, EX_DATAERR, words);
    if (!paper_has(said, part) || !paper_has(said, "follow from them") || paper_has(said, "differs"))
        fail_msg("%s", said);
    free(said);
    said = paper_run(&status,
                     "pdfdetach -savefile certificate.json -o %s/c.json %s/%s && /usr/bin/python3 -c 'import json, "
                     "jsonschema; f = json.load(open(\"%s/c.json\")); s = "
                     "json.load(open(\"report/certificate.schema.json\")); jsonschema.validate(f, s); "
                     "print(f[\"runs\"][0][\"imported\"][\"recorded_by\"])'",
                     fixture->folder, fixture->folder, name, fixture->folder);
    if (status != 0)
        fprintf(stderr, "%s\n", said);
    assert_int_equal(status, 0);
    assert_string_equal(said, "logger of the heat treater, Hall 2\n");
    free(said);
}

static void another_recorders_file_is_judged_and_says_so(void **state) {
    struct ledger_fixture *fixture = *state;
    struct assess_batch *assessed;
    struct seal_head seal;
    struct fault fault;
    char *said;

    spill(fixture, "run.import", DESCRIPTION);
    spill_run(fixture);
    fixture_open_batch(fixture, 0, FIXTURE_PLAN_HARDEN, "Hall 1", "");
    expect(fixture, 0, "import run.csv --as run.import --by somebody",
           "Run 1 was imported: 719 readings from 2026-11-16 09:00:00 UTC+01:00 on");
    expect(fixture, EX_DATAERR, "import run.csv --as run.import", "run.csv: was imported already: it is run 1");
    free(run(fixture, 0, "claim 1 1"));
    expect(fixture, 0, "runs", "IMPORTED");
    said = run(fixture, 0, "batch show 1");
    assert_true(paper_has(said, "IMPORTED READINGS - not taken by this recorder"));
    assert_true(paper_has(said, "IMPORTED from run.csv: logger of the heat treater, Hall 2"));
    // 25 min level; B is reached 8 K of 324 K/h before it, and left 8 K of 432 K/h after it.
    assert_true(paper_has(said, "27 min 35 s"));
    free(said);
    said = run(fixture, 0, "certificate 1 -o c.pdf >/dev/null && pdftotext -layout c.pdf - | tr -s ' \\n' ' '");
    assert_true(paper_has(said, "IMPORTED READINGS - not taken by this recorder"));
    assert_true(paper_has(said, "This recorder took none of them."));
    assert_true(paper_has(said, "logger of the heat treater, Hall 2"));
    assert_true(paper_has(said, "Run 1 was imported: how the recorder"));
    assert_false(paper_has(said, "the recorder was not stopped"));
    assert_false(paper_has(said, "as the controllers gave them"));
    free(said);
    expect_verified(fixture, "c.pdf", "1 of these runs was IMPORTED");
    said = run(fixture, 0, "review 1");
    assert_true(paper_has(said, "IMPORTED from run.csv: logger of the heat treater, Hall 2"));
    free(said);
    assessed = assess_batch(fixture->ledger, 1, NULL, &fault);
    assert_non_null(assessed);
    assert_int_equal(assessed->outcome, OUTCOME_MET);
    assert_int_equal(assessed->visits[0].runs[0].channel_count, 2);
    assert_int_equal(assessed->visits[0].runs[0].tallies[0].by_quality[QUALITY_OPEN_SENSOR] +
                         assessed->visits[0].runs[0].tallies[1].by_quality[QUALITY_OPEN_SENSOR],
                     1);
    assess_free(assessed);
    assert_int_equal(seal_read_run(fixture->ledger, 1, &seal, &fault), 1);
    assert_int_equal(seal.kind, SEAL_IMPORT);
    assert_int_equal(bench_count(fixture->ledger_path, "SELECT count(*) FROM reading"), 0);
    assert_int_equal(bench_count(fixture->ledger_path, "SELECT count(*) FROM imported_reading"), 719);
}

static void whatever_is_not_as_described_is_refused(void **state) {
    struct ledger_fixture *fixture = *state;
    static const char HEAD[] = "Date/Time;T1 (degC);T2 (degF)\n";
    static const struct {
        const char *rows, *said;
    } files[] = {
        {"2026-11-16 09:00:00;700,0;1292,0;1\n", "bad.csv:2: 4 fields: expected 3"},
        {"2026-11-16 09:00:00;700.0;1292,0\n", "bad.csv:2: T1 (degC): '700.0': expected a number such as 806,4"},
        {"2026-11-16 09:00;700,0;hot\n", "bad.csv:2: T2 (degF): 'hot': expected a number"},
        {"16.11.2026 09:00;700,0;1\n", "bad.csv:2: Date/Time: '16.11.2026 09:00': expected a time"},
        {"2026-11-16;700,0;1\n", "bad.csv:2: Date/Time: '2026-11-16': expected a time"},
        {"2026-11-16 09:00:00;700,0;1\n2026-11-16 09:00:00;700,0;1\n",
         "bad.csv:3: Date/Time: '2026-11-16 09:00:00': expected a time after that of the line before"},
        {"2026-11-16 09:00:00;7000,0;1\n", "expected a temperature from -273.15 C to 3000 C"},
        {"2026-11-16 09:00:00;\"700,0;1\n", "a quoted field that never ends"},
        {"2026-11-16 09:00:00;\"700,0\"x;1\n", "bad.csv:2: text after the quote"},
        {"2026-11-16 09:00:00;7\"00,0;1\n", "bad.csv:2: a quote in the middle of a field"},
        {"2099-11-16 09:00:00;700,0;1\n", "its last reading lies in the future"},
        {"", "bad.csv: no readings in it"},
    };

    spill(fixture, "run.import", DESCRIPTION);
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        char text[512];

        snprintf(text, sizeof text, "%s%s", HEAD, files[i].rows);
        spill(fixture, "bad.csv", text);
        expect(fixture, EX_DATAERR, "import bad.csv --as run.import", files[i].said);
    }
    spill(fixture, "bad.csv", "Date/Time;T1;T2 (degF)\n");
    expect(fixture, EX_DATAERR, "import bad.csv --as run.import",
           "bad.csv:1: no column is headed 'T1 (degC)', as the description says");
    expect(fixture, EX_NOINPUT, "import none.csv --as run.import", "none.csv: cannot read it");
    expect(fixture, EX_USAGE, "import bad.csv", "--as is missing");
    assert_int_equal(bench_count(fixture->ledger_path, "SELECT count(*) FROM import"), 0);
    assert_int_equal(bench_count(fixture->ledger_path, "SELECT count(*) FROM run"), 0);
}

static void a_description_is_strict(void **state) {
    struct ledger_fixture *fixture = *state;
    static const struct {
        const char *text, *said;
    } files[] = {
        {"[import]\noven = hardening\n", "source"},
        {"[import]\noven = a\nsource = b\ntime = t\ninterval = 10\n", "run.import:5: interval"},
        {"[import]\noven = a\nsource = b\ntime = t\ninterval = 10 s\n", "run.import:1: no columns"},
        {"[import]\noven = a\nsource = b\ntime = t\ninterval = 1 s\ntime_zone = 1\n[column x]\nheader = h\n",
         "run.import:6: time_zone: '1': expected UTC or an offset"},
        {"[import]\noven = a\nsource = b\ntime = t\ninterval = 1 s\n[column x]\nheader = h\nrole = output\nunit = "
         "C\n",
         "run.import:9: unit: expected %"},
        {"[import]\noven = a\nsource = b\ntime = t\ninterval = 1 s\ncolour = red\n[column x]\nheader = h\nrole = "
         "load\n"
         "unit = C\n",
         "run.import:6: unknown key 'colour'"},
        {"[import]\noven = a\nsource = b\ntime = t\ninterval = 1 s\ndecimals = comma\n",
         "expected another separator"},
        {"[import]\noven = a\nsource = b\ntime = t\ninterval = 1 s\ntime_is = seconds\n", "begins"},
    };

    spill(fixture, "bad.csv", "t,h\n1,2\n");
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
        spill(fixture, "run.import", files[i].text);
        expect(fixture, EX_CONFIG, "import bad.csv --as run.import", files[i].said);
    }
    spill(fixture, "run.import",
          "[import]\noven = cellar\nsource = b\ntime = t\ninterval = 1 s\ntime_is = seconds\n"
          "begins = 2026-11-16T07:00:00Z\n[column x]\nheader = h\nrole = load\nunit = C\n");
    expect(fixture, EX_NOINPUT, "import bad.csv --as run.import", "the ledger knows no oven 'cellar'");
}

/* What the command's connection can do, tried by hand. */
static void the_command_cannot_touch_our_own_readings(void **state) {
    struct ledger_fixture *fixture = *state;
    const struct reading reading = {FIXTURE_START_MS, 1, fixture->channel_ids[0], QUALITY_GOOD};
    char source[] = "s", name[] = "n", by[] = "b", words[BENCH_WORDS_BYTES];
    struct import import = {.oven_id = fixture->oven_ids[0],
                            .begun_ms = FIXTURE_START_MS,
                            .ended_ms = FIXTURE_START_MS + 10,
                            .source = source,
                            .file_name = name,
                            .imported_by = by};
    const struct import_channel channel = {"x", "h", ROLE_LOAD, 10, 0, UNIT_CELSIUS, ""};
    struct fault fault;
    int64_t id;

    memset(import.file_sha256, '0', sizeof import.file_sha256 - 1);
    fixture_keep_books(fixture);
    assert_int_equal(ledger_begin(fixture->ledger, &fault), 0);
    assert_int_equal(ledger_add_reading(fixture->ledger, &reading, &fault), -1);
    assert_int_equal(fault.status, EX_NOPERM);
    assert_int_equal(ledger_open_run(fixture->ledger, fixture->oven_ids[0], FIXTURE_START_MS, &fault), -1);
    assert_int_equal(fault.status, EX_NOPERM);
    assert_int_equal(import_open(fixture->ledger, &import, "d", 1, &fault), 0);
    id = import_add_channel(fixture->ledger, &import, &channel, &fault);
    assert_true(id > 0);
    assert_int_equal(import_add_reading(fixture->ledger, &import,
                                        &(struct reading){FIXTURE_START_MS, 5, id, QUALITY_GOOD}, &fault),
                     0);
    assert_int_equal(import_add_reading(fixture->ledger, &import,
                                        &(struct reading){FIXTURE_START_MS + 11, 5, id, QUALITY_GOOD}, &fault),
                     -1); // outside its run
    assert_int_equal(import_complete(fixture->ledger, &import, &fault), 0);
    assert_int_equal(import_add_reading(fixture->ledger, &import,
                                        &(struct reading){FIXTURE_START_MS + 1, 5, id, QUALITY_GOOD}, &fault),
                     -1); // complete
    assert_int_equal(ledger_commit(fixture->ledger, &fault), 0);
    // Whoever opens the file with sqlite3 meets the triggers.
    assert_int_not_equal(bench_run_sql(fixture->ledger_path, "DELETE FROM imported_reading", words), 0);
    assert_int_not_equal(bench_run_sql(fixture->ledger_path, "UPDATE imported_reading SET value = 6", words), 0);
    assert_int_not_equal(bench_run_sql(fixture->ledger_path, "DELETE FROM import", words), 0);
    assert_int_not_equal(bench_run_sql(fixture->ledger_path, "UPDATE import SET source = 'x'", words), 0);
    assert_int_not_equal(bench_run_sql(fixture->ledger_path, "UPDATE import_channel SET role = 'cold'", words), 0);
    assert_int_not_equal(bench_run_sql(fixture->ledger_path, "INSERT INTO run VALUES (9, 1, 5, 6, 6)", words), 0);
    assert_non_null(strstr(words, "only an import makes an imported run"));
}

#define WITH_SHOP(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        WITH_SHOP(another_recorders_file_is_judged_and_says_so),
        WITH_SHOP(whatever_is_not_as_described_is_refused),
        WITH_SHOP(a_description_is_strict),
        WITH_SHOP(the_command_cannot_touch_our_own_readings),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
