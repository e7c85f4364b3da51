// SPDX-License-Identifier: MIT
/* The drift's command and sheet through the real program, on ledgers of many runs whose facts are known: which
 * sensor moves, by how much a run, from which run on. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/health.h"
#include "soakledger/sensors.h"
#include "support/ledger_fixture.h"
#include "support/paper.h"

enum { CONTROL, SETPOINT, OUTPUT, FRONT, BACK, MS_PER_H = 3600000, MC = 1000 };
#define DAY_MS (INT64_C(24) * MS_PER_H)

/* So many runs, one a day at 1070 °C; from a run on, one sensor moves by so much each. */
struct history {
    size_t runs, sensors; // 2: control and front
    size_t sensor;        // CONTROL, FRONT, BACK
    size_t begins;
    double per_run_c;
    double output_per_run; // of the output, beside
};

/* The same noise everywhere: hundredths of a degree that repeat after seven runs, and do not look like a trend. */
static double noise_c(size_t run, size_t sensor) {
    static const double values[] = {0.03, -0.08, 0.11, -0.05, 0.02, -0.10, 0.07};
    const size_t count = sizeof values / sizeof values[0];

    return values[(run * 3 + sensor * 2) % count] + values[(run + sensor) % count] / 3;
}

static void keep_run(struct ledger_fixture *fixture, const struct history *history, size_t run) {
    const size_t channels[] = {CONTROL, FRONT, BACK};
    const int64_t begun_ms = FIXTURE_START_MS + (int64_t)run * DAY_MS;
    struct steady_stretch stretch = {.from_ms = begun_ms + MS_PER_H,
                                     .to_ms = begun_ms + 2 * MS_PER_H,
                                     .has_setpoint = true,
                                     .setpoint_mc = 1070 * MC,
                                     .level_mc = 1070 * MC,
                                     .has_output = true,
                                     .sensor_count = history->sensors,
                                     .heat_from_mc = 920 * MC,
                                     .heat_to_mc = 1050 * MC,
                                     .heat_ms = 1200 * MC + llround(MC * 10 * noise_c(run, 3)),
                                     .heat_has_output = true,
                                     .heat_output = 90 * MC};
    struct health_facts facts = {.stretch_count = 1, .stretches = &stretch};
    struct fault fault;

    stretch.output = llround((30 + noise_c(run, 4) + history->output_per_run * (double)run) * MC);
    stretch.reference_id = fixture->channel_ids[CONTROL];
    for (size_t i = 0; i < history->sensors; i++) {
        const double moved = channels[i] == history->sensor && run >= history->begins
                                 ? history->per_run_c * (double)(run - history->begins + 1)
                                 : 0;

        stretch.means[i].channel_id = fixture->channel_ids[channels[i]];
        stretch.means[i].mean_mc = llround((1070 + 0.4 * (double)i + moved + noise_c(run, i)) * MC);
    }
    for (size_t i = 0; i < history->sensors; i++)
        for (size_t k = i + 1; k < history->sensors; k++)
            stretch.pairs[stretch.pair_count++] =
                (struct steady_pair){stretch.means[i].channel_id, stretch.means[k].channel_id,
                                     stretch.means[i].mean_mc - stretch.means[k].mean_mc, 10};
    facts.run_id = ledger_open_run(fixture->ledger, fixture->oven_ids[0], begun_ms, &fault);
    if (facts.run_id < 0 ||
        ledger_end_run(fixture->ledger, facts.run_id, begun_ms + 3 * MS_PER_H, RUN_END_COOLING, &fault) != 0 ||
        health_keep_facts(fixture->ledger, &facts, &fault) != 0)
        fail_msg("%s", fault.text);
}

/* From the second session on the oven has two sensors only, in the configuration too. */
static void take_out_back(struct ledger_fixture *fixture) {
    const struct ledger_session session = {.started_ms = FIXTURE_START_MS + 1,
                                           .wall_ms = FIXTURE_START_MS + 1,
                                           .boottime_ms = 1001,
                                           .boot_id = "00000000-0000-0000-0000-000000000001"};
    int64_t ovens[FIXTURE_MOST_OVENS], channels[FIXTURE_MOST_CHANNELS];
    struct fault fault;
    struct config *config;

    free(paper_run(NULL, "sed -i '/hardening.back of rack/,/unit/d' %s", fixture->config_path));
    config = config_read(fixture->config_path, &fault);
    if (config == NULL || ledger_begin(fixture->ledger, &fault) != 0 ||
        ledger_add_session(fixture->ledger, &session, config, ovens, channels, &fault) < 0 ||
        ledger_commit(fixture->ledger, &fault) != 0)
        fail_msg("%s", fault.text);
    config_free(config);
}

/* A ledger of that history. The command's clock is the real one, which may be earlier than these runs: --until. */
static void make(struct ledger_fixture *fixture, const struct history *history, const char *shop) {
    fixture_make(fixture, shop, false);
    if (history->sensors == 2)
        take_out_back(fixture);
    for (size_t i = 0; i < history->runs; i++)
        keep_run(fixture, history, i);
}

static char *tell(struct ledger_fixture *fixture, int expected, const char *words) {
    const char *build = getenv("SOAKLEDGER_BUILD");
    int status;
    char *said = paper_run(&status, "%s/soakledger -c %s drift --until 2028-01-01 %s 2>&1",
                           build != NULL ? build : "build/gcc", fixture->config_path, words);

    if (status != expected)
        fail_msg("'drift %s' ended with %d: %s", words, status, said);
    for (const char *line = said; *line != '\0'; line = strchr(line, '\n') + 1) {
        size_t columns = 0;

        for (const char *at = line; *at != '\n'; at++)
            columns += ((unsigned char)*at & 0xC0) != 0x80;
        assert_true(status != 0 || columns < 80);
    }
    return said;
}

static char *flat(char *text) {
    for (char *at = text; *at != '\0'; at++)
        *at = *at == '\n' ? ' ' : *at;
    for (char *at; (at = strstr(text, "  ")) != NULL;)
        memmove(at, at + 1, strlen(at));
    return text;
}

/* The sheet of that oven, checked for what no sheet may have; its text. */
static char *sheet(struct ledger_fixture *fixture, const char *name, double width, double height) {
    char words[FIXTURE_PATH_BYTES + 128], path[FIXTURE_PATH_BYTES + 64];
    struct paper_word *boxes;
    size_t count = 0;
    char *overlap;

    snprintf(path, sizeof path, "%s/%s", fixture->folder, name);
    snprintf(words, sizeof words, "hardening -o %s", path);
    free(tell(fixture, 0, words));
    assert_true(paper_is_sound(path));
    boxes = paper_words(path, &count);
    overlap = paper_find_overlap(boxes, count);
    if (overlap != NULL)
        fail_msg("%s", overlap);
    assert_null(paper_find_outside(boxes, count, 40, 10, width - 40, height - 10));
    free(boxes);
    return paper_flat(path);
}

/* Is anything on the sheet written or filled in that colour of ink.h? */
static bool has_ink(const struct ledger_fixture *fixture, const char *name, const char *ink) {
    char *lines = paper_run(NULL, "qpdf --qdf --stream-data=uncompress %s/%s - | grep -ac '^%s rg'",
                            fixture->folder, name, ink);
    const bool has = atoi(lines) > 0;

    free(lines);
    return has;
}

static const char green[] = "0.03 0.33 0.31", red[] = "0.55 0.07 0.16", brown[] = "0.45 0.3 0.02";

/* 0.5 °C a run from run 17 of 24 on: 4.0 °C after the last. Three sensors: the odd one is named. */
static void test_names_the_odd_one(void **state) {
    const struct history history = {.runs = 24, .sensors = 3, .sensor = FRONT, .begins = 16, .per_run_c = -0.5};
    struct ledger_fixture fixture;
    char *said, *text;
    double found = 0;

    (void)state;
    make(&fixture, &history, "name = Toolroom");
    said = flat(tell(&fixture, 0, "hardening"));
    assert_true(paper_has(said, "thermocouple front of rack is drifting"));
    assert_true(paper_has(said, "soakledger check hardening.front of rack"));
    assert_non_null(strstr(said, "front of rack: reads low by "));
    found = strtod(strstr(said, "reads low by ") + strlen("reads low by "), NULL);
    assert_true(found > 3.4 && found < 4.6);
    assert_true(paper_has(said, "back of rack: has kept to the others"));
    assert_true(paper_has(said, "at 1070 °C"));
    free(said);
    text = sheet(&fixture, "drift.pdf", 595, 842);
    assert_true(paper_has(text, "Thermocouple front of rack is drifting"));
    assert_true(has_ink(&fixture, "drift.pdf", red) && !has_ink(&fixture, "drift.pdf", green));
    assert_true(paper_has(text, "N-201, type N"));
    assert_true(paper_has(text, "control less front of rack, °C"));
    assert_true(paper_has(text, "front of rack less back of rack, °C"));
    assert_true(paper_has(text, "CUSUM (solid) and EWMA (dashed)"));
    assert_true(paper_has(text, "Theil-Sen slope"));
    // What moves by half a degree a run from run 17 on moves by five in ten.
    assert_true(strstr(text, "slope since run 17: +4.9") != NULL || paper_has(text, "slope since run 17: +5.0"));
    assert_true(paper_has(text, "A slow change, beginning with run 17"));
    assert_true(paper_has(text, "output that holds the level, %"));
    assert_true(paper_has(text, "time to heat up, min"));
    assert_true(paper_has(text, "no protection against over-temperature"));
    free(text);
    said = flat(tell(&fixture, 0, "N-201")); // by its tag: no other sensor's line
    assert_true(paper_has(said, "front of rack: reads low by"));
    assert_null(strstr(said, "back of rack: "));
    free(said);
    free(tell(&fixture, 0, "'hardening.back of rack'"));
    free(tell(&fixture, EX_NOINPUT, "N-999"));
    free(tell(&fixture, EX_USAGE, "a b"));
    fixture_remove(&fixture);
}

/* What is known of a drift begins anew with the first run after a check. */
static void test_a_check_renews(void **state) {
    const struct history history = {.runs = 24, .sensors = 3, .sensor = FRONT, .begins = 16, .per_run_c = -0.5};
    const struct sensor_event event = {.t_ms = FIXTURE_START_MS + 24 * DAY_MS - MS_PER_H,
                                       .kind = SENSOR_CHECKED,
                                       .said_by = "somebody",
                                       .words = "accuracy test 1"};
    struct ledger_fixture fixture;
    struct fault fault;
    char *said, *text;

    (void)state;
    make(&fixture, &history, "name = Toolroom");
    assert_int_equal(
        sensors_add_event(fixture.ledger, sensors_find(fixture.ledger, "N-201", &fault), &event, &fault), 0);
    keep_run(&fixture, &history, 24);
    said = flat(tell(&fixture, 0, "hardening"));
    assert_null(strstr(said, "is drifting"));
    assert_true(paper_has(said, "front of rack: too few runs"));
    free(said);
    text = sheet(&fixture, "renewed.pdf", 595, 842);
    assert_true(paper_has(text, "checked 2026-12-10"));
    free(text);
    fixture_remove(&fixture);
}

static void test_two_cannot_tell(void **state) {
    const struct history history = {.runs = 24, .sensors = 2, .sensor = FRONT, .begins = 16, .per_run_c = -0.5};
    struct ledger_fixture fixture;
    char *said, *text;

    (void)state;
    make(&fixture, &history, "name = Toolroom");
    said = flat(tell(&fixture, 0, ""));
    assert_true(paper_has(said, "have come to disagree"));
    assert_true(paper_has(said, "nothing in their readings tells which"));
    assert_true(paper_has(said, "soakledger check hardening.control"));
    assert_true(paper_has(said, "soakledger check hardening.front of rack"));
    // The other oven has one sensor, and no run.
    assert_true(paper_has(said, "tempering: "));
    free(said);
    text = sheet(&fixture, "drift.pdf", 595, 842);
    assert_true(paper_has(text, "have come to disagree"));
    assert_true(paper_has(text, "soakledger check hardening.control"));
    free(text);
    fixture_remove(&fixture);
}

static void test_nothing_beyond_noise(void **state) {
    const struct history history = {.runs = 24, .sensors = 3, .begins = 99};
    struct ledger_fixture fixture;
    char *said, *text;

    (void)state;
    make(&fixture, &history, "name = Łódź Ångström \xF0\x9F\x94\xA5\nunits = F\npaper = Letter");
    said = flat(tell(&fixture, 0, "hardening"));
    assert_true(paper_has(said, "no change beyond noise in 24 runs"));
    assert_true(paper_has(said, "1958 °F"));
    assert_null(strstr(said, "°C"));
    free(said);
    text = sheet(&fixture, "drift.pdf", 612, 792);
    assert_true(paper_has(text, "control less front of rack, °F"));
    assert_true(has_ink(&fixture, "drift.pdf", green) && !has_ink(&fixture, "drift.pdf", red));
    free(text);
    fixture_remove(&fixture);
}

static void test_says_what_is_missing(void **state) {
    const struct history none = {.runs = 0, .sensors = 3}, few = {.runs = 3, .sensors = 3, .begins = 99};
    struct ledger_fixture fixture;
    char *said, *text;

    (void)state;
    make(&fixture, &none, "name = Toolroom");
    said = flat(tell(&fixture, 0, ""));
    assert_true(paper_has(said, "hardening: Nothing to go by yet"));
    free(said);
    text = sheet(&fixture, "none.pdf", 595, 842);
    assert_true(has_ink(&fixture, "none.pdf", brown) && !has_ink(&fixture, "none.pdf", green));
    assert_true(paper_has(text, "no run had five stable minutes"));
    free(text);
    fixture_remove(&fixture);
    make(&fixture, &few, "name = Toolroom");
    said = flat(tell(&fixture, 0, "hardening"));
    assert_true(paper_has(said, "Too few runs to say anything: 3 of 5"));
    free(said);
    text = sheet(&fixture, "few.pdf", 595, 842);
    assert_true(paper_has(text, "3 of 5"));
    free(text);
    fixture_remove(&fixture);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_names_the_odd_one),    cmocka_unit_test(test_a_check_renews),
        cmocka_unit_test(test_two_cannot_tell),      cmocka_unit_test(test_nothing_beyond_noise),
        cmocka_unit_test(test_says_what_is_missing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
