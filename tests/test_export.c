// SPDX-License-Identifier: MIT
/* Curves in files, read back by programs that know nothing of ours. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "support/bench_ledger.h"
#include "support/ledger_fixture.h"
#include "support/paper.h"

#define S   INT64_C(1000)
#define MIN (60 * S)
#define H   (60 * MIN)

static const char SHOP[] = "name = Toolroom & <Sons>\nutc_offset = +01:00\n";

/* One reading of the first load channel is a peak; the same channel is silent for five minutes. */
static const struct fixture_run HARDENED = {.oven = 0,
                                            .begun_ms = FIXTURE_START_MS + H,
                                            .start_mc = 700000,
                                            .top_mc = 808000,
                                            .end_mc = 700000,
                                            .rise_mc_per_h = 420000,
                                            .fall_mc_per_h = 900000,
                                            .level_ms = 25 * MIN,
                                            .gap_from_ms = 5 * MIN,
                                            .gap_ms = 5 * MIN,
                                            .spike_at_ms = 20 * MIN,
                                            .spike_mc = 950000};

static int begin(void **state) {
    struct ledger_fixture *fixture = calloc(1, sizeof *fixture);
    struct fault fault;
    int64_t run_id, batch_id;

    fixture_make(fixture, SHOP, false);
    run_id = fixture_record(fixture, &HARDENED);
    batch_id = fixture_open_batch(fixture, 0, FIXTURE_PLAN_HARDEN, "", "");
    assert_int_equal(ledger_claim_run(fixture->ledger, run_id, batch_id, 0, FIXTURE_START_MS, "daemon", &fault), 0);
    *state = fixture;
    return 0;
}

static int end(void **state) {
    fixture_remove(*state);
    free(*state);
    return 0;
}

/* A shell line; $S is the command with its configuration, in the fixture's folder. */
static char *run(const struct ledger_fixture *fixture, int expected, const char *line) {
    const char *build = getenv("SOAKLEDGER_BUILD");
    int status;
    char *said = paper_run(&status,
                           "T=$PWD; B=$(realpath %s); cd %s; S=\"$B/soakledger -c %s\"; "
                           "C=\"/usr/bin/python3 $T/tests/support/list_check.py\"; (%s) 2>&1",
                           build != NULL ? build : "build/gcc", fixture->folder, fixture->config_path, line);

    if (status != expected)
        fprintf(stderr, "%s: status %d\n%s", line, status, said);
    assert_int_equal(status, expected);
    return said;
}

static void expect(const struct ledger_fixture *fixture, int status, const char *line, const char *part) {
    char *said = run(fixture, status, line);

    if (!paper_has(said, part))
        fail_msg("%s: said: %s", line, said);
    free(said);
}

static void csv_holds_every_reading(void **state) {
    const struct ledger_fixture *fixture = *state;
    const int64_t readings = bench_count(fixture->ledger_path, "SELECT count(*) FROM reading r JOIN run ON r.t_ms"
                                                               " BETWEEN begun_ms AND ended_ms JOIN channel c ON"
                                                               " c.channel_id = r.channel_id AND c.oven_id = 1");
    char expected[256];

    expect(fixture, 0, "$S export run 1", "soakledger-run-1.csv");
    snprintf(expected, sizeof expected, "%lld\n", (long long)readings);
    expect(fixture, 0, "$C csv soakledger-run-1.csv 'len(rows) - 1'", expected);
    expect(fixture, 0, "$C csv soakledger-run-1.csv '[r[4:10] for r in rows if r[5] == \"950.0\"]'",
           "[['load', '950.0', '°C', 'good', '950.0', 'recorded']]\n");
    expect(fixture, 0,
           "$C csv soakledger-run-1.csv 'sorted(set(tuple(r[5:9]) for r in rows[1:] if r[7] != \"good\"))'",
           "[('', '°C', 'no reply', '')]\n");
    // sqlite3's own reader, and the table from which it came
    snprintf(expected, sizeof expected, "%lld|950.0\n", (long long)readings);
    expect(fixture, 0,
           "sqlite3 :memory: '.import --csv soakledger-run-1.csv c' 'SELECT count(*), max(cast(value AS REAL)) "
           "FROM c'",
           expected);
    expect(
        fixture, 0,
        "$S export batch 1 --channel 'back of rack' --from 2026-11-16T08:20:00Z --to 2026-11-16T08:20:09Z -o b.csv"
        " && $C csv b.csv '[(r[1], r[3]) for r in rows[1:]][::9]'",
        "[('2026-11-16T08:20:00.000Z', 'back of rack'), ('2026-11-16T08:20:09.000Z', 'back of rack')]\n");
}

static void json_keeps_to_its_schema(void **state) {
    const struct ledger_fixture *fixture = *state;

    expect(fixture, 0,
           "$S export batch 1 --json && $C json soakledger-batch-1.json $T/report/soakledger-curves.schema.json "
           "'[(whole[\"batch\"], r[\"run\"], len(r[\"channels\"]), r[\"channels\"][p[0]][\"channel\"], p[1:]) "
           "for r in whole[\"runs\"] for p in [q for q in r[\"readings\"] if q[2] is not None and q[2] > 900]]'",
           "[(1, 1, 5, 'front of rack', [1794817200000, 950.0, 950.0, 'good'])]\n");
}

/* The picture, not the text: what a browser would show. */
static void svg_is_drawn_by_another_program(void **state) {
    const struct ledger_fixture *fixture = *state;
    char *said;

    expect(fixture, 0, "$S export batch 1 --svg", "soakledger-batch-1.svg\n");
    said = run(fixture, 0, "cat soakledger-batch-1.svg");
    assert_true(paper_has(said, "front of rack"));
    assert_true(paper_has(said, "url(#gap)"));
    assert_true(paper_has(said, "planned band, from 800 °C"));
    free(said);
    said = run(
        fixture, 0,
        "$S export run 1 --svg && cat soakledger-run-1.svg && /usr/bin/python3 -c 'import xml.dom.minidom as m; "
        "m.parse(\"soakledger-run-1.svg\"); print(\"sound\")'");
    assert_true(paper_has(said, "Toolroom &amp; &lt;Sons&gt;"));
    assert_true(paper_has(said, "sound\n"));
    free(said);
    // A band of the curves' own blue across the picture: an empty drawing has none.
    said = run(fixture, 0,
               "rsvg-convert soakledger-batch-1.svg -o a.png && /usr/bin/python3 -c 'import struct, zlib\n"
               "data = open(\"a.png\", \"rb\").read()\n"
               "width, height = struct.unpack(\">II\", data[16:24])\n"
               "at, packed = 8, b\"\"\n"
               "while at < len(data):\n"
               "    size, kind = struct.unpack(\">I4s\", data[at:at + 8])\n"
               "    packed += data[at + 8:at + 8 + size] if kind == b\"IDAT\" else b\"\"\n"
               "    at += 12 + size\n"
               "print(width, height, len(set(zlib.decompress(packed))) > 40)'");
    assert_string_equal(said, "1000 426 True\n");
    free(said);
}

static void what_was_there_stays_until_the_new_file_is_whole(void **state) {
    const struct ledger_fixture *fixture = *state;

    expect(fixture, EX_NOINPUT, "echo old >a.csv; $S export run 9 -o a.csv", "there is no run 9");
    expect(fixture, 0, "cat a.csv; ls | grep -c 'a.csv'", "old\n1\n");
    expect(fixture, EX_CANTCREAT, "$S export run 1 -o /nonexistent/a.csv", "/nonexistent/a.csv");
    expect(fixture, EX_NOINPUT, "$S export run 1 --to 2020-01-01T00:00:00Z", "no run lies in that time");
    expect(fixture, EX_NOINPUT, "$S export run 1 --channel lid -o a.csv", "run 1 has no channel 'lid'");
    expect(fixture, EX_USAGE, "$S export run 1 --csv --svg", "--csv and --svg at once");
    expect(fixture, EX_USAGE, "$S export oven 1", "'oven': expected");
    expect(fixture, EX_USAGE, "$S export run 1 --from noon", "'noon' is no moment");
}

#define WITH_SHOP(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        WITH_SHOP(csv_holds_every_reading),
        WITH_SHOP(json_keeps_to_its_schema),
        WITH_SHOP(svg_is_drawn_by_another_program),
        WITH_SHOP(what_was_there_stays_until_the_new_file_is_whole),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
