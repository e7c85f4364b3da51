// SPDX-License-Identifier: MIT
/* health: facts in and out of a real ledger, histories made of them, and telling once. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/health.h"
#include "soakledger/sensors.h"
#include "support/ledger_fixture.h"

enum { C = 1000, MIN = 60000, CONTROL = 0, SETPOINT, OUTPUT, FRONT, BACK };
static const int64_t day_ms = 86400000;

static int set_up(void **state) {
    struct ledger_fixture *fixture = calloc(1, sizeof *fixture);

    fixture_make(fixture, "name = Toolroom", false);
    *state = fixture;
    return 0;
}

static int tear_down(void **state) {
    fixture_remove(*state);
    free(*state);
    return 0;
}

static void good(int result, const struct fault *fault) {
    if (result < 0)
        fail_msg("%s", fault->text);
}

static void near(double found, double expected, double within) {
    if (!(fabs(found - expected) <= within))
        fail_msg("%.9g: expected %.9g within %.3g", found, expected, within);
}

static void contains(const char *text, const char *part) {
    if (strstr(text, part) == NULL)
        fail_msg("'%s' is not in: %s", part, text);
}

/* ---- facts of a recorded run ---- */

static int64_t record(struct ledger_fixture *fixture, int64_t begun_ms) {
    const struct fixture_run shape = {.oven = 0,
                                      .begun_ms = begun_ms,
                                      .start_mc = 22 * C,
                                      .top_mc = 810 * C,
                                      .end_mc = 60 * C,
                                      .rise_mc_per_h = 900 * C,
                                      .fall_mc_per_h = 900 * C,
                                      .level_ms = 40 * MIN};

    return fixture_record(fixture, &shape);
}

static void test_facts_are_kept_once_and_found_again(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t run_id = record(fixture, FIXTURE_START_MS + day_ms);
    struct health_facts found, kept;
    struct fault fault;

    good(health_find_facts(fixture->ledger, run_id, &found, &fault), &fault);
    assert_int_equal(found.stretch_count, 1);
    assert_int_equal(found.stretches[0].sensor_count, 3);
    near((double)found.stretches[0].means[0].mean_mc, 810 * C, 300);
    assert_int_equal(health_read_facts(fixture->ledger, run_id, &kept, &fault), 0);
    good(health_keep_facts(fixture->ledger, &found, &fault), &fault);
    assert_int_equal(health_read_facts(fixture->ledger, run_id, &kept, &fault), 1);
    assert_int_equal(kept.stretch_count, 1);
    assert_memory_equal(kept.stretches, found.stretches, sizeof *kept.stretches);
    health_free_facts(&kept);
    found.stretches[0].means[0].mean_mc = 0; // kept is kept
    good(health_keep_facts(fixture->ledger, &found, &fault), &fault);
    assert_int_equal(health_read_facts(fixture->ledger, run_id, &kept, &fault), 1);
    assert_true(kept.stretches[0].means[0].mean_mc > 809 * C);
    health_free_facts(&kept);
    health_free_facts(&found);
}

static void test_a_run_without_a_stretch_has_facts_too(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t run_id =
        ledger_open_run(fixture->ledger, fixture->oven_ids[0], FIXTURE_START_MS, &(struct fault){0});
    struct health_facts facts;
    struct fault fault;

    assert_int_equal(health_find_facts(fixture->ledger, run_id, &facts, &fault), -1);
    assert_int_equal(fault.status, EX_TEMPFAIL);
    good(ledger_end_run(fixture->ledger, run_id, FIXTURE_START_MS + MIN, RUN_END_COOLING, &fault), &fault);
    good(health_find_facts(fixture->ledger, run_id, &facts, &fault), &fault);
    assert_int_equal(facts.stretch_count, 0);
    good(health_keep_facts(fixture->ledger, &facts, &fault), &fault);
    health_free_facts(&facts);
    assert_int_equal(health_read_facts(fixture->ledger, run_id, &facts, &fault), 1);
    assert_int_equal(facts.stretch_count, 0);
    health_free_facts(&facts);
    assert_int_equal(health_find_facts(fixture->ledger, 77, &facts, &fault), -1);
    assert_int_equal(fault.status, EX_NOINPUT);
}

static void test_gathered_live_is_found_later(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t run_id = record(fixture, FIXTURE_START_MS + day_ms),
                  half_ms = FIXTURE_START_MS + day_ms + 70 * MIN;
    int64_t ids[] = {fixture->channel_ids[CONTROL], fixture->channel_ids[SETPOINT], fixture->channel_ids[OUTPUT],
                     fixture->channel_ids[FRONT], fixture->channel_ids[BACK]};
    struct health_gatherer *gatherer;
    struct health_facts live, found;
    struct ledger_cursor *cursor;
    struct reading reading;
    struct ledger_run run;
    struct fault fault;

    good(ledger_read_run(fixture->ledger, run_id, &run, &fault), &fault);
    gatherer = health_open_gatherer(fixture->ledger, run_id, half_ms, &fault); // a restart in the soak
    assert_non_null(gatherer);
    cursor = ledger_open_cursor(fixture->ledger, ids, 5, half_ms + 1, run.ended_ms, &fault);
    assert_non_null(cursor);
    while (ledger_next_reading(cursor, &reading, &fault) == 1)
        good(health_gather(gatherer, &reading, &fault), &fault);
    ledger_close_cursor(cursor);
    good(health_end_gathering(gatherer, &live, &fault), &fault);
    health_free_gatherer(gatherer);
    good(health_find_facts(fixture->ledger, run_id, &found, &fault), &fault);
    assert_int_equal(live.stretch_count, found.stretch_count);
    assert_memory_equal(live.stretches, found.stretches, found.stretch_count * sizeof *found.stretches);
    health_free_facts(&live);
    health_free_facts(&found);
    health_free_gatherer(NULL);
}

static void refuses(struct ledger_fixture *fixture, const char *sql) {
    sqlite3 *db;

    assert_int_equal(sqlite3_open(fixture->ledger_path, &db), SQLITE_OK);
    if (sqlite3_exec(db, sql, NULL, NULL, NULL) != SQLITE_CONSTRAINT)
        fail_msg("not refused: %s", sql);
    sqlite3_close(db);
}

static void test_nothing_of_it_changes(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t run_id = record(fixture, FIXTURE_START_MS + day_ms);
    struct health_told told = {
        .oven_id = 1, .run_id = run_id, .cause = DRIFT_SENSOR, .channel_id = 1, .words = "it drifts"};
    struct health_facts facts;
    struct fault fault;

    good(health_find_facts(fixture->ledger, run_id, &facts, &fault), &fault);
    good(health_keep_facts(fixture->ledger, &facts, &fault), &fault);
    health_free_facts(&facts);
    good(health_keep_told(fixture->ledger, &told, &fault), &fault);
    fixture->config->sensors[0].allowed_error_mc = 5 * C;
    good(health_keep_allowed(fixture->ledger, fixture->config, fixture->channel_ids, 5, &fault), &fault);
    refuses(fixture, "UPDATE steady_mean SET mean_mc = 0");
    refuses(fixture, "UPDATE steady_pair SET difference_mc = 0");
    refuses(fixture, "UPDATE steady_stretch SET level_mc = 0");
    refuses(fixture, "UPDATE steady_run SET stretches = 2");
    refuses(fixture, "DELETE FROM steady_run");
    refuses(fixture, "DELETE FROM steady_mean");
    refuses(fixture, "DELETE FROM steady_pair");
    refuses(fixture, "DELETE FROM steady_stretch");
    refuses(fixture, "INSERT OR REPLACE INTO steady_mean SELECT run_id, place, channel_id, 0 FROM steady_mean");
    refuses(fixture, "INSERT OR REPLACE INTO steady_run SELECT run_id, 9 FROM steady_run");
    refuses(fixture,
            "INSERT OR REPLACE INTO steady_stretch SELECT run_id, place, 0, 1, reference_channel_id, 0, NULL, NULL,"
            " NULL, NULL, NULL, NULL FROM steady_stretch");
    refuses(fixture,
            "INSERT INTO steady_stretch SELECT run_id, 1, 0, 1, reference_channel_id, 0, NULL, NULL, NULL, NULL,"
            " NULL, NULL FROM steady_stretch");
    refuses(fixture, "UPDATE drift_told SET words = ''");
    refuses(fixture, "DELETE FROM drift_told");
    refuses(fixture, "UPDATE sensor_allowed SET allowed_mc = 9");
    refuses(fixture, "DELETE FROM sensor_allowed");
}

/* ---- histories ---- */

static double noise(uint64_t *seed) {
    double sum = 0;

    for (int i = 0; i < 12; i++) {
        *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        sum += (double)(*seed >> 11) * 0x1p-53;
    }
    return sum - 6;
}

/* A run that is over, with one stretch at a level. The sensors stand so far from the level, in C. */
static int64_t add_run(struct ledger_fixture *fixture, int number, int64_t level_mc, const double *away_c) {
    static const int channels[] = {CONTROL, FRONT, BACK};
    const int64_t begun_ms = FIXTURE_START_MS + (number + 1) * day_ms;
    struct steady_stretch stretch = {.from_ms = begun_ms + 60 * MIN,
                                     .to_ms = begun_ms + 90 * MIN,
                                     .has_setpoint = true,
                                     .setpoint_mc = level_mc,
                                     .level_mc = level_mc,
                                     .has_output = true,
                                     .output = 40 * C,
                                     .reference_id = fixture->channel_ids[CONTROL],
                                     .sensor_count = 3};
    struct health_facts facts = {.stretch_count = 1, .stretches = &stretch};
    struct fault fault;

    facts.run_id = ledger_open_run(fixture->ledger, fixture->oven_ids[0], begun_ms, &fault);
    good((int)facts.run_id, &fault);
    good(ledger_end_run(fixture->ledger, facts.run_id, begun_ms + 180 * MIN, RUN_END_COOLING, &fault), &fault);
    for (size_t i = 0; i < 3; i++)
        stretch.means[i] =
            (struct steady_mean){fixture->channel_ids[channels[i]], level_mc + llround(away_c[i] * C)};
    good(health_keep_facts(fixture->ledger, &facts, &fault), &fault);
    return facts.run_id;
}

/* Runs numbered from `first`, sensor `sensor` (0..2) drifting low by half a degree a run from `begins` on. */
static int64_t add_runs(struct ledger_fixture *fixture, int first, int count, size_t sensor, int begins) {
    int64_t run_id = 0;
    uint64_t seed = 40 + (uint64_t)first;

    for (int i = first; i < first + count; i++) {
        double away_c[3];

        for (size_t k = 0; k < 3; k++)
            away_c[k] = 0.3 * noise(&seed) - (k == sensor && i >= begins ? 0.5 * (i - begins + 1) : 0);
        run_id = add_run(fixture, i, 805 * C, away_c);
    }
    return run_id;
}

static void test_levels_and_what_is_allowed(void **state) {
    struct ledger_fixture *fixture = *state;
    const double agree_c[] = {0, 1, 2};
    struct health_oven *oven;
    struct fault fault;

    for (int i = 0; i < 8; i++)
        add_run(fixture, i, i % 4 == 3 ? 180 * C : (800 + 3 * i) * C, agree_c);
    fixture->config->sensors[1].allowed_error_mc = 5 * C;
    good(health_keep_allowed(fixture->ledger, fixture->config, fixture->channel_ids, FIXTURE_START_MS, &fault),
         &fault);
    oven = health_examine(fixture->ledger, fixture->oven_ids[0], INT64_MAX, false, &fault);
    assert_non_null(oven);
    assert_string_equal(oven->name, "hardening");
    assert_int_equal(oven->sensor_count, 3);
    assert_string_equal(oven->sensors[0].identity, "K-114");
    assert_int_equal(oven->sensors[0].since_what, HEALTH_SINCE_FITTED);
    assert_int_equal(oven->level_count, 2);
    assert_int_equal(oven->levels[0].history.run_count, 6);
    near(oven->levels[0].level_c, 812, 0.01);
    near(oven->levels[1].level_c, 180, 0.01);
    near(oven->levels[0].history.sensors[0].allowed_c, 0.004 * 812, 0.001); // K, class 1
    near(oven->levels[1].history.sensors[0].allowed_c, 1.5, 0.001);
    near(oven->levels[0].history.sensors[1].allowed_c, 5, 0);
    near(oven->levels[0].history.sensors[2].allowed_c, 0.0075 * 812, 0.001); // nothing known of it
    assert_true(oven->levels[0].history.sensors[0].controls && !oven->levels[0].history.sensors[1].controls);
    near(oven->levels[0].runs[0].hours, 3, 1e-9);
    near(oven->levels[0].runs[5].mean_c[2] - oven->levels[0].runs[5].mean_c[0], 2, 1e-9);
    assert_true(isnan(oven->levels[0].runs[0].heat_s));
    health_free(oven);
    oven = health_examine(fixture->ledger, fixture->oven_ids[1], INT64_MAX, false, &fault);
    assert_non_null(oven);
    assert_int_equal(oven->level_count, 0);
    health_free(oven);
    assert_null(health_examine(fixture->ledger, 99, INT64_MAX, false, &fault));
    health_free(NULL);
}

static void test_what_is_allowed_changes_with_the_configuration(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t channel_id = fixture->channel_ids[CONTROL];
    struct fault fault;

    for (int64_t t_ms = 100; t_ms <= 300; t_ms += 100) {
        fixture->config->sensors[0].allowed_error_mc = t_ms == 300 ? 0 : t_ms;
        good(health_keep_allowed(fixture->ledger, fixture->config, fixture->channel_ids, t_ms, &fault), &fault);
        good(health_keep_allowed(fixture->ledger, fixture->config, fixture->channel_ids, t_ms + 50, &fault),
             &fault);
    }
    assert_int_equal(health_read_allowed(fixture->ledger, channel_id, 99, &fault), 0);
    assert_int_equal(health_read_allowed(fixture->ledger, channel_id, 100, &fault), 100);
    assert_int_equal(health_read_allowed(fixture->ledger, channel_id, 299, &fault), 200);
    assert_int_equal(health_read_allowed(fixture->ledger, channel_id, 300, &fault), 0);
}

static void test_missing_facts_are_found_if_asked_for(void **state) {
    struct ledger_fixture *fixture = *state;
    struct health_oven *oven;
    struct fault fault;

    record(fixture, FIXTURE_START_MS + day_ms);
    oven = health_examine(fixture->ledger, fixture->oven_ids[0], INT64_MAX, false, &fault);
    assert_non_null(oven);
    assert_int_equal(oven->level_count, 0);
    health_free(oven);
    oven = health_examine(fixture->ledger, fixture->oven_ids[0], INT64_MAX, true, &fault);
    assert_non_null(oven);
    assert_int_equal(oven->level_count, 1);
    assert_int_equal(oven->levels[0].history.run_count, 1);
    health_free(oven);
}

static void check_sensor(struct ledger_fixture *fixture, const char *identity, int64_t t_ms) {
    struct fault fault;
    const int64_t sensor_id = sensors_find(fixture->ledger, identity, &fault);
    const struct sensor_event event = {
        .t_ms = t_ms, .kind = SENSOR_CHECKED, .said_by = (char[]){"day shift"}, .words = (char[]){"ice point"}};

    assert_true(sensor_id > 0);
    good(sensors_add_event(fixture->ledger, sensor_id, &event, &fault), &fault);
}

static void test_a_check_begins_a_history_anew(void **state) {
    struct ledger_fixture *fixture = *state;
    struct health_oven *oven;
    struct fault fault;

    add_runs(fixture, 0, 30, 1, 12);
    oven = health_examine(fixture->ledger, fixture->oven_ids[0], INT64_MAX, false, &fault);
    assert_non_null(oven);
    assert_int_equal(oven->levels[0].report->cause, DRIFT_SENSOR);
    assert_int_equal(oven->levels[0].report->sensor, 1);
    health_free(oven);
    check_sensor(fixture, "N-201", FIXTURE_START_MS + 30 * day_ms - day_ms / 2); // before the last two runs
    oven = health_examine(fixture->ledger, fixture->oven_ids[0], INT64_MAX, false, &fault);
    assert_non_null(oven);
    assert_int_equal(oven->levels[0].report->cause, DRIFT_NOTHING);
    assert_int_equal(oven->sensors[1].since_what, HEALTH_SINCE_CHECKED);
    assert_true(oven->levels[0].runs[29].renewed[1] && !oven->levels[0].runs[28].renewed[1] &&
                !oven->levels[0].runs[29].renewed[0]);
    health_free(oven);
}

/* ---- telling ---- */

static int tell(struct ledger_fixture *fixture, int64_t run_id, struct health_news *news) {
    struct fault fault;
    const int told = health_tell(fixture->ledger, run_id, UNIT_CELSIUS, news, &fault);

    good(told, &fault);
    return told;
}

static void test_a_drift_is_told_once_and_again_of_the_next(void **state) {
    struct ledger_fixture *fixture = *state;
    struct health_news news;
    int told = 0;

    for (int i = 0; i < 20; i++) {
        const int64_t run_id = add_runs(fixture, i, 1, 1, 12);

        if (tell(fixture, run_id, &news) == 0)
            continue;
        told++;
        assert_in_range(i, 12, 18);
        assert_true(news.about_sensor);
        assert_string_equal(news.channel, "front of rack");
        contains(news.words, "front of rack: reads low by ");
        contains(news.words, ". Check it against a reference thermocouple");
    }
    assert_int_equal(told, 1);
    check_sensor(fixture, "N-201", FIXTURE_START_MS + 20 * day_ms + day_ms / 2);
    for (int i = 20; i < 44; i++) // sound for twelve runs, then it drifts anew
        told += tell(fixture, add_runs(fixture, i, 1, 1, 32), &news);
    assert_int_equal(told, 2);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_facts_are_kept_once_and_found_again, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_a_run_without_a_stretch_has_facts_too, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_gathered_live_is_found_later, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_nothing_of_it_changes, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_levels_and_what_is_allowed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_what_is_allowed_changes_with_the_configuration, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_missing_facts_are_found_if_asked_for, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_a_check_begins_a_history_anew, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_a_drift_is_told_once_and_again_of_the_next, set_up, tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
