// SPDX-License-Identifier: MIT
/* sensors and corrections in the ledger: events follow from configurations, use is counted from readings worked out
 * by hand, tables hold for runs that begin after them, and a ledger of the first version gets all that. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "../daemon/ledger/schema.h"
#include "soakledger/corrections.h"
#include "soakledger/replay.h"
#include "soakledger/sensors.h"
#include "support/ledger_fixture.h"

#define S   INT64_C(1000)
#define MIN (60 * S)
#define H   (60 * MIN)

enum { C = 1000, HARDENING = 0, CONTROL = 0, FRONT = 3 };

static int begin(void **state) {
    struct ledger_fixture *fixture = calloc(1, sizeof *fixture);

    fixture_make(fixture, "", false);
    *state = fixture;
    return 0;
}

static int end(void **state) {
    fixture_remove(*state);
    free(*state);
    return 0;
}

static void good(int result, const struct fault *fault) {
    if (result < 0)
        fail_msg("%s", fault->text);
}

/* ---- counting, by hand ---- */

static struct sensor_use count(const int64_t (*points)[2], size_t number, int64_t interval_ms) {
    struct sensors_count counted;

    sensors_begin_count(&counted, interval_ms);
    for (size_t i = 0; i < number; i++) {
        const struct reading reading = {.t_ms = points[i][0],
                                        .value = points[i][1],
                                        .quality = points[i][1] < 0 ? QUALITY_NO_REPLY : QUALITY_GOOD};

        sensors_take_reading(&counted, &reading);
    }
    sensors_end_count(&counted);
    return counted.use;
}

static void time_above_a_level_is_on_the_straight_line(void **state) {
    /* 0 to 800 °C in 8 min, 10 min there, 800 to 0 in 4 min. */
    static const int64_t points[][2] = {{0, 0}, {8 * MIN, 800 * C}, {18 * MIN, 800 * C}, {22 * MIN, 0}};
    const struct sensor_use use = count(points, 4, 5 * MIN);

    (void)state;
    assert_int_equal(use.above_ms[0], 7 * MIN + 10 * MIN + 3 * MIN + 30 * S); // 100 °C
    assert_int_equal(use.above_ms[4], 3 * MIN + 10 * MIN + MIN + 30 * S);     // 500 °C
    assert_int_equal(use.above_ms[7], 10 * MIN);                              // at or above 800 °C
    assert_int_equal(use.above_ms[8], 0);
    assert_int_equal(use.peak_mc, 800 * C);
    assert_int_equal(use.peak_t_ms, 8 * MIN);
    assert_int_equal(use.cycles, 1);
    assert_int_equal(use.unknown_ms, 0);
}

static void time_without_readings_is_unknown(void **state) {
    static const int64_t points[][2] = {{0, 500 * C},       {MIN, 500 * C},         {2 * MIN, -1},
                                        {4 * MIN, 500 * C}, {7 * MIN + 1, 500 * C}, {8 * MIN, 500 * C}};
    const struct sensor_use use = count(points, 6, MIN);

    (void)state;
    assert_int_equal(use.unknown_ms, 3 * MIN + 1); // more than three intervals; the three minutes before are not
    assert_int_equal(use.above_ms[0], MIN + 3 * MIN + MIN - 1);
    assert_int_equal(use.cycles, 0); // it was hot when the run began
}

static void a_cycle_needs_a_rest_between(void **state) {
    static const int64_t points[][2] = {{0, 20 * C},     {1, 150 * C}, {2, 70 * C}, {3, 150 * C},
                                        {4, 60 * C - 1}, {5, 100 * C}, {6, 20 * C}, {7, 99 * C}};

    (void)state;
    assert_int_equal(count(points, 8, MIN).cycles, 2);
    assert_false(count(points, 0, MIN).any);
}

/* ---- events ---- */

static struct sensor_record *find(struct ledger_fixture *fixture, struct sensor_record **all, size_t *number,
                                  const char *identity) {
    struct fault fault;

    *all = sensors_list(fixture->ledger, number, &fault);
    assert_non_null(*all);
    for (size_t i = 0; i < *number; i++)
        if (strcmp((*all)[i].identity, identity) == 0)
            return &(*all)[i];
    fail_msg("no sensor %s", identity);
    return NULL;
}

/* "FITTED hardening.control ..." of one sensor, by number. */
static void expect_events(struct ledger_fixture *fixture, const char *identity, const char *expected) {
    struct fault fault;
    size_t number;
    const int64_t sensor_id = sensors_find(fixture->ledger, identity, &fault);
    struct sensor_event *events = sensors_list_events(fixture->ledger, sensor_id, &number, &fault);
    char text[512] = "";

    assert_non_null(events);
    for (size_t i = 0; i < number; i++) {
        const size_t used = strlen(text);

        snprintf(text + used, sizeof text - used, "%s%d %s", i > 0 ? ", " : "", (int)events[i].kind,
                 events[i].place);
    }
    sensors_free_events(events, number);
    assert_string_equal(text, expected);
}

static void start_again(struct ledger_fixture *fixture, int64_t t_ms) {
    const struct ledger_session session = {.started_ms = t_ms, .wall_ms = t_ms, .boottime_ms = t_ms};
    struct fault fault;

    good((int)ledger_add_session(fixture->ledger, &session, fixture->config, fixture->oven_ids,
                                 fixture->channel_ids, &fault),
         &fault);
}

static void another_identity_is_a_fitting_event(void **state) {
    struct ledger_fixture *fixture = *state;
    struct sensor_record *all, *record;
    size_t number;

    expect_events(fixture, "K-114", "1 hardening.control");
    expect_events(fixture, "N-201", "1 hardening.front of rack");
    start_again(fixture, FIXTURE_START_MS + H);
    expect_events(fixture, "K-114", "1 hardening.control"); // nothing changed
    fixture->config->sensors[0].identity = "K-115";         // a new one in the old one's place
    start_again(fixture, FIXTURE_START_MS + 2 * H);
    expect_events(fixture, "K-114", "1 hardening.control, 3 hardening.control");
    expect_events(fixture, "K-115", "1 hardening.control");
    fixture->config->channels[FRONT].sensor = CONFIG_NO_SENSOR;
    fixture->config->channels[CONTROL].sensor = 1; // N-201 moves there
    start_again(fixture, FIXTURE_START_MS + 3 * H);
    expect_events(fixture, "N-201", "1 hardening.front of rack, 2 hardening.control");
    expect_events(fixture, "K-115", "1 hardening.control, 3 hardening.control");
    record = find(fixture, &all, &number, "N-201");
    assert_string_equal(record->place, "hardening.control");
    assert_int_equal(record->fitted_ms, fixture->config->sensors[1].fitted_ms);
    sensors_free(all, number);
    record = find(fixture, &all, &number, "K-115");
    assert_int_equal(record->channel_id, 0);
    assert_string_equal(record->place, "");
    sensors_free(all, number);
    fixture->config->channels[CONTROL].sensor = 0; // and back again
    fixture->config->channels[FRONT].sensor = 1;
    start_again(fixture, FIXTURE_START_MS + 4 * H);
    expect_events(fixture, "K-115", "1 hardening.control, 3 hardening.control, 1 hardening.control");
}

static void what_is_due_follows_from_limits_and_time(void **state) {
    struct ledger_fixture *fixture = *state;
    struct config_sensor *about = &fixture->config->sensors[0];
    struct sensor_record *all, *record = find(fixture, &all, &(size_t){0}, "K-114");
    struct sensor_state look;
    struct fault fault;
    char words[512];

    about->hours_at_most_ms = 10 * H;
    about->check_every_ms = 24 * H;
    about->temperature_at_most_mc = 1000 * C;
    good(sensors_look(fixture->ledger, about, record, record->fitted_ms + 24 * H, &look, &fault), &fault);
    assert_int_equal(look.troubles, 0);
    good(sensors_look(fixture->ledger, about, record, record->fitted_ms + 24 * H + 1, &look, &fault), &fault);
    assert_int_equal(look.troubles, SENSOR_CHECK_DUE);
    record->checked_ms = record->fitted_ms + H;
    record->use.above_ms[0] = 10 * H + 1;
    record->retired_ms = 1;
    good(sensors_look(fixture->ledger, about, record, record->fitted_ms + 24 * H + 1, &look, &fault), &fault);
    assert_int_equal(look.troubles, SENSOR_WORN | SENSOR_RETIRED_USED);
    sensors_describe(about, record, &look, UNIT_CELSIUS, words, sizeof words);
    assert_string_equal(words, "in heat for 10.0 h, limit 10.0 h; retired on 1970-01-01 and fitted all the same");
    sensors_free(all, 2);
}

/* ---- use of a run ---- */

static int64_t record_run(struct ledger_fixture *fixture, int64_t begun_ms) {
    const struct fixture_run shape = {.oven = HARDENING,
                                      .begun_ms = begun_ms,
                                      .start_mc = 20 * C,
                                      .top_mc = 820 * C,
                                      .end_mc = 20 * C,
                                      .rise_mc_per_h = 800 * C,
                                      .fall_mc_per_h = 1600 * C,
                                      .level_ms = 30 * MIN};

    return fixture_record(fixture, &shape);
}

static void a_run_is_counted_once_and_comes_out_the_same_again(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t run_id = record_run(fixture, FIXTURE_START_MS + H);
    struct sensor_use use, again;
    struct fault fault;
    const int64_t sensor_id = sensors_find(fixture->ledger, "K-114", &fault);

    assert_int_equal(sensors_find_uncounted(fixture->ledger, &fault), run_id);
    assert_int_equal(sensors_count_run(fixture->ledger, run_id, &fault), 1);
    assert_int_equal(sensors_count_run(fixture->ledger, run_id, &fault), 0);
    assert_int_equal(sensors_find_uncounted(fixture->ledger, &fault), 0);
    good(sensors_read_use(fixture->ledger, sensor_id, INT64_MIN, INT64_MAX, &use, &fault), &fault);
    assert_int_equal(use.run_count, 1);
    assert_int_equal(use.cycles, 1);
    // 720 of 800 °C in an hour, half an hour there, 720 in half an hour.
    assert_in_range(use.above_ms[0], 54 * MIN + 30 * MIN + 27 * MIN - 20 * S,
                    54 * MIN + 30 * MIN + 27 * MIN + 20 * S);
    assert_in_range(use.above_ms[7], 90 * S + 30 * MIN + 45 * S - 20 * S, 90 * S + 30 * MIN + 45 * S + 20 * S);
    assert_in_range(use.peak_mc, 820 * C - 100, 820 * C + 100);
    good(sensors_recount(fixture->ledger, sensor_id, &again, &fault), &fault);
    assert_memory_equal(&use, &again, sizeof use);
    // Only runs within the time asked for.
    good(sensors_read_use(fixture->ledger, sensor_id, FIXTURE_START_MS + 2 * H, INT64_MAX, &use, &fault), &fault);
    assert_int_equal(use.run_count, 0);
    assert_int_equal(use.above_ms[0], 0);
}

/* ---- corrections ---- */

static struct calibration table(const char *name, int64_t correction_mc) {
    struct calibration calibration = {.subject = CALIBRATION_OF_SENSOR,
                                      .certificate = "26-0417",
                                      .done_ms = 1,
                                      .uncertainty_mc = 500,
                                      .point_count = 2,
                                      .points = {{100 * C, correction_mc}, {900 * C, correction_mc}}};

    snprintf(calibration.name, sizeof calibration.name, "%s", name);
    return calibration;
}

static void add(struct ledger_fixture *fixture, struct calibration *calibration, int64_t now_ms) {
    struct fault fault;

    good(corrections_add(fixture->ledger, calibration, now_ms, "day shift", "text", strlen("text"), &fault),
         &fault);
}

static int64_t in_force(struct ledger_fixture *fixture, int64_t t_ms) {
    struct calibration *calibration;
    struct fault fault;
    int64_t correction_mc = 0;

    good(corrections_find(fixture->ledger, CALIBRATION_OF_SENSOR, "K-114", t_ms, &calibration, &fault), &fault);
    if (calibration != NULL)
        assert_true(calibration_find(calibration, 500 * C, &correction_mc));
    free(calibration);
    return correction_mc;
}

static void a_table_holds_for_runs_that_begin_after_it(void **state) {
    struct ledger_fixture *fixture = *state;
    struct calibration first = table("K-114", 3000), second = table("K-114", -1000),
                       withdrawal = {.point_count = 0};
    struct calibration *all;
    struct fault fault;
    size_t number;

    record_run(fixture, FIXTURE_START_MS + H);
    add(fixture, &first, FIXTURE_START_MS); // entered by a clock that is behind the run
    assert_int_equal(first.in_force_ms, FIXTURE_START_MS + H + 1);
    assert_int_equal(in_force(fixture, FIXTURE_START_MS + H), 0);
    assert_int_equal(in_force(fixture, FIXTURE_START_MS + H + 1), 3000);
    add(fixture, &second, FIXTURE_START_MS + 5 * H);
    assert_int_equal(in_force(fixture, FIXTURE_START_MS + 5 * H - 1), 3000);
    assert_int_equal(in_force(fixture, FIXTURE_START_MS + 5 * H), -1000);
    snprintf(withdrawal.name, sizeof withdrawal.name, "K-114");
    add(fixture, &withdrawal, FIXTURE_START_MS + 6 * H);
    assert_int_equal(in_force(fixture, FIXTURE_START_MS + 6 * H), 0);
    assert_int_equal(in_force(fixture, FIXTURE_START_MS + 5 * H), -1000); // what was, was
    all = corrections_list(fixture->ledger, CALIBRATION_OF_SENSOR, "K-114", &number, &fault);
    assert_int_equal(number, 3);
    assert_string_equal(all[0].certificate, "26-0417");
    assert_int_equal(all[1].points[1].correction_mc, -1000);
    free(all);
}

static void nothing_is_put_into_force_behind_the_ledgers_back(void **state) {
    struct ledger_fixture *fixture = *state;
    sqlite3 *db;
    char *error = NULL;

    record_run(fixture, FIXTURE_START_MS + H);
    assert_int_equal(sqlite3_open(fixture->ledger_path, &db), SQLITE_OK);
    assert_int_not_equal(
        sqlite3_exec(db,
                     "INSERT INTO calibration (subject, name, certificate, laboratory, uncertainty_mc, in_force_ms,"
                     " entered_by, point_count, file_sha256) VALUES ('sensor', 'K-114', '', '', 1, 5, 'x', 0, '')",
                     NULL, NULL, &error),
        SQLITE_OK);
    assert_string_equal(error, "a calibration holds for runs that begin after it");
    sqlite3_free(error);
    sqlite3_close(db);
}

/* What a judge is given of a run, by the tables of its beginning. */
static int64_t hottest(struct ledger_fixture *fixture, int64_t begun_ms, int64_t *outside) {
    struct fault fault;
    size_t number;
    struct ledger_channel *channels =
        ledger_list_channels(fixture->ledger, fixture->oven_ids[HARDENING], begun_ms, &number, &fault);
    struct plan *plan = plan_parse(FIXTURE_PLAN_HARDEN, strlen(FIXTURE_PLAN_HARDEN), "plan", &fault);
    struct judge *judge = replay_open_judge(plan, 0, channels, number, NULL, NULL, &fault);
    struct judge_soak soak;

    assert_non_null(judge);
    good(replay_feed(fixture->ledger, judge, channels, number, begun_ms, begun_ms + 3 * H, NULL, NULL, &fault),
         &fault);
    judge_end(judge, begun_ms + 3 * H);
    judge_read_soak(judge, &soak);
    *outside = 0;
    for (size_t i = 0; i < number; i++)
        *outside += channels[i].outside_count;
    judge_free(judge);
    plan_free(plan);
    ledger_free_channels(channels, number);
    return soak.peak_mc;
}

static void a_later_table_changes_nothing_that_was_judged(void **state) {
    struct ledger_fixture *fixture = *state;
    const int64_t one_ms = FIXTURE_START_MS + H, other_ms = FIXTURE_START_MS + 6 * H;
    struct calibration calibration = table("N-201", 5000);
    int64_t outside;

    record_run(fixture, one_ms);
    assert_in_range(hottest(fixture, one_ms, &outside), 819 * C, 821 * C);
    add(fixture, &calibration, FIXTURE_START_MS + 5 * H);
    record_run(fixture, other_ms);
    assert_in_range(hottest(fixture, one_ms, &outside), 819 * C, 821 * C);
    assert_int_equal(outside, 0);
    assert_in_range(hottest(fixture, other_ms, &outside), 824 * C, 826 * C);
    assert_true(outside > 0); // below 100 °C the table says nothing
}

static void an_instruments_table_is_for_all_that_it_measures(void **state) {
    struct ledger_fixture *fixture = *state;
    struct calibration calibration = table("hardening controller", 1000);
    struct ledger_channel *channels;
    struct fault fault;
    size_t number;

    calibration.subject = CALIBRATION_OF_INSTRUMENT;
    add(fixture, &calibration, FIXTURE_START_MS + H);
    channels =
        ledger_list_channels(fixture->ledger, fixture->oven_ids[HARDENING], FIXTURE_START_MS + H, &number, &fault);
    assert_non_null(channels);
    for (size_t i = 0; i < number; i++) {
        struct reading reading = {.value = 500 * C, .quality = QUALITY_GOOD};
        const bool measured = channel_is_measured(channels[i].role);

        assert_int_equal(corrections_apply(&channels[i], &reading),
                         measured ? CALIBRATION_APPLIED : CALIBRATION_NONE);
        assert_int_equal(reading.value, measured ? 501 * C : 500 * C);
    }
    ledger_free_channels(channels, number);
}

/* ---- a ledger of the first version ---- */

static void run_sql(sqlite3 *db, const char *sql) {
    char *error = NULL;

    if (sqlite3_exec(db, sql, NULL, NULL, &error) != SQLITE_OK)
        fail_msg("%s: %s", error, sql);
}

static void make_first_version(const char *path) {
    sqlite3 *db;

    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    for (const char *const *script = schema_first; *script != NULL; script++)
        run_sql(db, *script);
    run_sql(db, "INSERT INTO document VALUES ('"
                "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
                "', ''); INSERT INTO session VALUES (1, 1000, 1000, 1, 'b', 0, '"
                "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef');"
                "INSERT INTO oven VALUES (1, 'small'); INSERT INTO channel VALUES (1, 1, 'control');");
    for (int i = 0; i < 3; i++) {
        char sql[1024];

        snprintf(
            sql, sizeof sql,
            "INSERT INTO fitting (fitting_id, channel_id, since_ms, role, interval_ms, heats_at_most_mc_per_h,"
            " uncertainty_mc, instrument, wire, read_function, first_register, encoding, word_order, query, field,"
            " separator, pattern, decimals, unit, low, high, frozen_after_ms, moves_at_most_mc_per_h,"
            " sensor_identity, sensor_type, sensor_tolerance) VALUES (%d, 1, %d, 'control', 1000, 0, 0,"
            " 'controller one, line bench, address 1', 'modbus-rtu', 3, %d, 'int16', 'high first', '', 0, '', '', "
            "1,"
            " 'C', 0, 1000000, 0, 0, '%s', 'K', 'class 1'); INSERT INTO session_fitting VALUES (1, %d)",
            i + 1, 1000 * (i + 1), i, i == 0 ? "K-1" : "K-2", i + 1);
        run_sql(db, sql);
    }
    run_sql(db, "PRAGMA application_id = 1399802983; PRAGMA user_version = 1"); // 0x536F4C67
    sqlite3_close(db);
}

static int64_t ask(const char *path, const char *sql) {
    sqlite3 *db;
    sqlite3_stmt *statement;
    int64_t answer;

    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &statement, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    answer = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    sqlite3_close(db);
    return answer;
}

static void a_ledger_of_the_first_version_climbs(void **state) {
    char folder[] = "/tmp/soakledger-sensors-XXXXXX", path[64];
    struct fault fault;
    struct ledger *ledger;
    struct ledger_channel *channels;
    size_t number;

    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/old.ledger", folder);
    make_first_version(path);
    ledger = ledger_open(path, LEDGER_RECORD, &fault);
    if (ledger == NULL)
        fail_msg("%s", fault.text);
    channels = ledger_list_channels(ledger, 1, 5000, &number, &fault);
    assert_int_equal(number, 3);
    assert_string_equal(channels[0].instrument_name, "controller one");
    assert_string_equal(channels[0].instrument, "controller one, line bench, address 1");
    assert_string_equal(channels[0].cold_channel, "");
    assert_int_equal(channels[0].instrument_accuracy_mc, 0);
    ledger_free_channels(channels, number);
    ledger_close(ledger);
    assert_int_equal(ask(path, "SELECT count(*) FROM session_fitting JOIN fitting USING (fitting_id)"), 3);
    assert_int_equal(ask(path, "SELECT count(*) FROM pragma_foreign_key_check"), 0);
    assert_int_equal(ask(path, "SELECT count(*) FROM pragma_foreign_key_list('session_fitting') WHERE \"table\" ="
                               " 'fitting'"),
                     1);
    assert_int_equal(ask(path,
                         "SELECT count(*) FROM sqlite_schema WHERE type = 'trigger' AND tbl_name IN ('fitting',"
                         " 'session_fitting')"),
                     5);
    assert_int_equal(ask(path,
                         "SELECT count(*) FROM sensor_event e JOIN sensor s USING (sensor_id) WHERE kind = 1 AND"
                         " ((identity = 'K-1' AND t_ms = 1000) OR (identity = 'K-2' AND t_ms = 2000))"),
                     2);
    assert_int_equal(ask(path, "SELECT count(*) FROM reading_in_words"), 0);
    snprintf(path, sizeof path, "rm -r %.40s", folder);
    assert_int_equal(system(path), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(time_above_a_level_is_on_the_straight_line),
        cmocka_unit_test(time_without_readings_is_unknown),
        cmocka_unit_test(a_cycle_needs_a_rest_between),
        cmocka_unit_test_setup_teardown(another_identity_is_a_fitting_event, begin, end),
        cmocka_unit_test_setup_teardown(what_is_due_follows_from_limits_and_time, begin, end),
        cmocka_unit_test_setup_teardown(a_run_is_counted_once_and_comes_out_the_same_again, begin, end),
        cmocka_unit_test_setup_teardown(a_table_holds_for_runs_that_begin_after_it, begin, end),
        cmocka_unit_test_setup_teardown(nothing_is_put_into_force_behind_the_ledgers_back, begin, end),
        cmocka_unit_test_setup_teardown(a_later_table_changes_nothing_that_was_judged, begin, end),
        cmocka_unit_test_setup_teardown(an_instruments_table_is_for_all_that_it_measures, begin, end),
        cmocka_unit_test(a_ledger_of_the_first_version_climbs),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
