// SPDX-License-Identifier: MIT
/* What the ledger keeps, and that it gives back exactly that. How it defends itself: test_ledger_guard.c. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/bench_ledger.h"

enum { SECOND_MS = 1000, HOUR_MS = 3600000 };

static const int64_t t0 = BENCH_STARTED_MS;

static void test_sha256(void **state) {
    char hex[LEDGER_SHA256_TEXT_BYTES];

    (void)state;
    /* The one-block and the two-block message of FIPS 180-2, appendix B.1 and B.2; the texts are from memory, the
     * digests are also what coreutils' sha256sum prints for them. */
    ledger_sha256("abc", 3, hex);
    assert_string_equal(hex, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    ledger_sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 56, hex);
    assert_string_equal(hex, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    ledger_sha256(NULL, 0, hex);
    assert_string_equal(hex, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

static void test_session_is_read_back(void **state) {
    struct bench *const bench = *state;
    struct ledger_session session;

    assert_int_equal(ledger_last_session(bench->ledger, &session, &bench->fault), 1);
    assert_int_equal(session.session_id, 1);
    assert_int_equal(session.started_ms, t0);
    assert_int_equal(session.wall_ms, t0 + 7);
    assert_int_equal(session.boottime_ms, 5000);
    assert_string_equal(session.boot_id, "0c0ffee0-0000-4000-8000-000000000001");
    assert_false(session.simulated);
}

static void test_new_ledger_has_no_session(void **state) {
    struct bench *const bench = *state;
    struct ledger_session session;

    bench_close(bench);
    assert_int_equal(remove(bench->path), 0);
    bench->ledger = bench_open(bench, LEDGER_RECORD);
    assert_int_equal(ledger_last_session(bench->ledger, &session, &bench->fault), 0);
    assert_int_equal(ledger_last_time(bench->ledger, &bench->fault), 0);
    assert_int_equal(ledger_was_simulated(bench->ledger, 0, INT64_MAX, &bench->fault), 0);
}

static void test_last_time_is_of_reading_or_event(void **state) {
    struct bench *const bench = *state;
    const struct event event = {.t_ms = t0 + 900, .kind = EVENT_STOPPED};

    assert_int_equal(ledger_last_time(bench->ledger, &bench->fault), 0);
    bench_add_reading(bench, bench->channels[1], t0 + 500, 20000, QUALITY_GOOD);
    bench_add_reading(bench, bench->channels[3], t0 + 400, 20000, QUALITY_GOOD);
    assert_int_equal(ledger_last_time(bench->ledger, &bench->fault), t0 + 500);
    assert_int_equal(ledger_add_event(bench->ledger, &event, &bench->fault), 0);
    assert_int_equal(ledger_last_time(bench->ledger, &bench->fault), t0 + 900);
}

static void test_simulated_spans(void **state) {
    struct bench *const bench = *state;
    struct bench_config config;
    /* real from t0, simulated from 1 h, real again from 2 h */
    static const struct {
        int64_t from_h, to_h;
        int simulated;
    } spans[] = {{0, 0, 0}, {0, 1, 1}, {1, 1, 1}, {0, 5, 1}, {1, 2, 1}, {2, 3, 0}, {3, 9, 0}};

    bench_fill_config(&config);
    bench_add_session(bench, &config.config, t0 + HOUR_MS, true);
    bench_add_session(bench, &config.config, t0 + (int64_t)2 * HOUR_MS, false);
    for (size_t i = 0; i < sizeof spans / sizeof spans[0]; i++) {
        assert_int_equal(ledger_was_simulated(bench->ledger, t0 + spans[i].from_h * HOUR_MS,
                                              t0 + spans[i].to_h * HOUR_MS, &bench->fault),
                         spans[i].simulated);
    }
    bench_add_session(bench, &config.config, t0 + (int64_t)10 * HOUR_MS, true); // the last one has no end
    assert_int_equal(ledger_was_simulated(bench->ledger, t0 + (int64_t)99 * HOUR_MS, INT64_MAX, &bench->fault), 1);
}

static void test_ovens_have_names(void **state) {
    struct bench *const bench = *state;
    char *name;

    assert_int_equal(ledger_find_oven(bench->ledger, "temper oven", &bench->fault), bench->ovens[1]);
    assert_int_equal(ledger_find_oven(bench->ledger, "Temper oven", &bench->fault), 0);
    name = ledger_oven_name(bench->ledger, bench->ovens[0], &bench->fault);
    assert_string_equal(name, "hardening kiln");
    free(name);
    assert_null(ledger_oven_name(bench->ledger, 99, &bench->fault));
    assert_int_equal(bench->fault.status, EX_NOINPUT);
    assert_non_null(strstr(bench->fault.text, "there is no oven 99"));
}

static void test_channels_are_read_back(void **state) {
    struct bench *const bench = *state;
    struct bench_config config;
    size_t count;
    struct ledger_channel *const channels =
        ledger_list_channels(bench->ledger, bench->ovens[0], t0, &count, &bench->fault);

    bench_fill_config(&config);
    assert_non_null(channels);
    assert_int_equal(count, 3);
    for (size_t i = 0; i < count; i++) {
        assert_int_equal(channels[i].channel_id, bench->channels[i]);
        assert_int_equal(channels[i].oven_id, bench->ovens[0]);
        assert_string_equal(channels[i].name, config.channels[i].name);
        assert_int_equal(channels[i].role, config.channels[i].role);
        assert_int_equal(channels[i].interval_ms, config.channels[i].interval_ms);
        assert_int_equal(channels[i].heats_at_most_mc_per_h, 1200000);
        assert_string_equal(channels[i].instrument, "kiln controller, line bench, address 1");
        assert_memory_equal(&channels[i].fitting, &config.channels[i].fitting, sizeof channels[i].fitting);
        assert_int_equal(channels[i].since_ms, t0);
    }
    assert_string_equal(channels[0].sensor_identity, "K-07");
    assert_string_equal(channels[0].sensor_type, "K");
    assert_string_equal(channels[0].sensor_tolerance, "class 1");
    assert_int_equal(channels[0].sensor_fitted_ms, t0 - 86400000);
    assert_int_equal(channels[1].sensor_fitted_ms, 0);
    assert_string_equal(channels[2].sensor_identity, "");
    ledger_free_channels(channels, count);
}

static size_t count_channels(struct bench *bench, int64_t t_ms) {
    size_t count;
    struct ledger_channel *const channels =
        ledger_list_channels(bench->ledger, bench->ovens[0], t_ms, &count, &bench->fault);

    assert_non_null(channels);
    ledger_free_channels(channels, count);
    return count;
}

static void test_same_configuration_is_kept_once(void **state) {
    struct bench *const bench = *state;
    struct bench_config config;
    int64_t channels[BENCH_CHANNELS];

    memcpy(channels, bench->channels, sizeof channels);
    bench_fill_config(&config);
    bench_add_session(bench, &config.config, t0 + HOUR_MS, false);
    assert_memory_equal(channels, bench->channels, sizeof channels);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM session"), 2);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM fitting"), BENCH_CHANNELS);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM document"), 1);
    config.config.text = "[line bench]\n\n";
    bench_add_session(bench, &config.config, t0 + (int64_t)2 * HOUR_MS, false);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM document"), 2);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM fitting"), BENCH_CHANNELS);
}

/* Makes change number `which` to what is said of the kiln's first channel; false when there are no more. */
static bool change_fitting(struct bench_config *config, int which) {
    struct config_channel *const channel = &config->channels[0];

    switch (which) {
    case 0: channel->role = ROLE_AMBIENT; return true;
    case 1: channel->interval_ms = 500; return true;
    case 2: config->channels[0].instrument = 1; return true;
    case 3: channel->fitting.function = 4; return true;
    case 4: channel->fitting.first_register = 2; return true;
    case 5: channel->fitting.encoding = ENCODING_INT32; return true;
    case 6: channel->fitting.word_order = WORD_LOW_FIRST; return true;
    case 7: channel->fitting.decimals = 0; return true;
    case 8: channel->fitting.unit = CHANNEL_FAHRENHEIT; return true;
    case 9: channel->fitting.low = 1; return true;
    case 10: channel->fitting.high = 1300001; return true;
    case 11: channel->fitting.open_count = 1; return true;
    case 12: channel->fitting.open_raw[1] = 0; return true;
    case 13: config->sensors[0].identity = "K-08"; return true;
    case 14: config->sensors[0].type = "N"; return true;
    case 15: config->sensors[0].tolerance = ""; return true;
    case 16: config->sensors[0].fitted_ms++; return true;
    case 17: channel->sensor = CONFIG_NO_SENSOR; return true;
    case 18: channel->fitting.wire = WIRE_FREE_TEXT; return true;
    case 19: strcpy(channel->fitting.query, "T?"); return true;
    case 20: strcpy(channel->fitting.pattern, "{value}"); return true;
    case 21: channel->fitting.field = 2; return true;
    case 22: channel->fitting.separator = ';'; return true;
    case 23: channel->fitting.over_raw[channel->fitting.over_count++] = 9999; return true;
    case 24: channel->fitting.under_raw[channel->fitting.under_count++] = 9999; return true;
    case 25: channel->fitting.frozen_after_ms = 1000; return true;
    case 26: channel->fitting.moves_at_most_mc_per_h = 1; return true;
    default: return false;
    }
}

static void test_any_difference_is_a_new_fitting(void **state) {
    struct bench *const bench = *state;
    struct bench_config config;
    int64_t fittings = BENCH_CHANNELS;
    int which = 0;

    bench_fill_config(&config);
    for (; change_fitting(&config, which); which++) {
        bench_add_session(bench, &config.config, t0 + (int64_t)(2 * which + 1) * HOUR_MS, false);
        bench_fill_config(&config);
        bench_add_session(bench, &config.config, t0 + (int64_t)(2 * which + 2) * HOUR_MS, false);
        fittings += 2; // there and back again
        assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM fitting"), fittings);
    }
    assert_int_equal(which, 27);
    config.ovens[0].heats_at_most_mc_per_h--; // this one concerns all three of the kiln's
    bench_add_session(bench, &config.config, t0 + (int64_t)100 * HOUR_MS, false);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM fitting"), fittings + 3);
}

static void test_fitting_in_force_at_a_time(void **state) {
    struct bench *const bench = *state;
    struct bench_config config;
    static const struct {
        int64_t after_ms;
        const char *identity;
        int64_t since_ms;
    } expected[] = {
        {0, "K-07", 0}, {HOUR_MS - 1, "K-07", 0}, {HOUR_MS, "K-08", HOUR_MS}, {INT32_MAX, "K-08", HOUR_MS}};

    bench_fill_config(&config);
    config.sensors[0].identity = "K-08";
    bench_add_session(bench, &config.config, t0 + HOUR_MS, false);
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++) {
        size_t count;
        struct ledger_channel *const channels =
            ledger_list_channels(bench->ledger, bench->ovens[0], t0 + expected[i].after_ms, &count, &bench->fault);

        assert_int_equal(count, 3);
        assert_string_equal(channels[0].sensor_identity, expected[i].identity);
        assert_int_equal(channels[0].since_ms, t0 + expected[i].since_ms);
        ledger_free_channels(channels, count);
    }
    assert_int_equal(count_channels(bench, t0 - 1), 0);
}

static void test_channel_taken_out_is_not_in_force(void **state) {
    struct bench *const bench = *state;
    struct bench_config config;

    bench_fill_config(&config);
    config.channels[1] = config.channels[3]; // no charge thermocouple any more
    config.config.channel_count = 3;
    bench_add_session(bench, &config.config, t0 + HOUR_MS, false);
    assert_int_equal(count_channels(bench, t0 + HOUR_MS - 1), 3);
    assert_int_equal(count_channels(bench, t0 + HOUR_MS), 2);
    bench_fill_config(&config);
    bench_add_session(bench, &config.config, t0 + (int64_t)2 * HOUR_MS, false);
    assert_int_equal(count_channels(bench, t0 + (int64_t)2 * HOUR_MS), 3);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM fitting"), BENCH_CHANNELS);
}

static void test_reading_stored_first_stays(void **state) {
    struct bench *const bench = *state;
    const int64_t channel_id = bench->channels[0];
    struct ledger_cursor *cursor;
    struct reading reading;

    bench_add_reading(bench, channel_id, t0, 805300, QUALITY_GOOD);
    bench_add_reading(bench, channel_id, t0, 1, QUALITY_GOOD);
    bench_add_reading(bench, channel_id, t0 + 1, 99, QUALITY_OPEN_SENSOR);
    bench_add_reading(bench, channel_id, t0 + 1, 99, QUALITY_GOOD);
    cursor = ledger_open_cursor(bench->ledger, &channel_id, 1, t0, t0 + 1, &bench->fault);
    assert_non_null(cursor);
    assert_int_equal(ledger_next_reading(cursor, &reading, &bench->fault), 1);
    assert_int_equal(reading.t_ms, t0);
    assert_int_equal(reading.value, 805300);
    assert_int_equal(reading.channel_id, channel_id);
    assert_int_equal(reading.quality, QUALITY_GOOD);
    assert_int_equal(ledger_next_reading(cursor, &reading, &bench->fault), 1);
    assert_int_equal(reading.quality, QUALITY_OPEN_SENSOR);
    assert_int_equal(ledger_next_reading(cursor, &reading, &bench->fault), 0);
    assert_int_equal(ledger_next_reading(cursor, &reading, &bench->fault), 0);
    ledger_close_cursor(cursor);
}

static void test_reading_of_no_channel_is_refused(void **state) {
    struct bench *const bench = *state;
    const struct reading stray = {.t_ms = t0, .value = 1, .channel_id = 99};
    const struct reading unknown = {
        .t_ms = t0, .channel_id = bench->channels[0], .quality = (enum quality)QUALITY_COUNT};

    assert_int_equal(ledger_add_reading(bench->ledger, &stray, &bench->fault), -1);
    assert_int_equal(bench->fault.status, EX_DATAERR);
    assert_int_equal(ledger_add_reading(bench->ledger, &unknown, &bench->fault), -1);
    assert_int_equal(bench->fault.status, EX_DATAERR);
    assert_int_equal(bench_count(bench->path, "SELECT count(*) FROM reading"), 0);
}

/* The order is the judge's own: reading_is_before. */
static int compare_readings(const void *a, const void *b) {
    return reading_is_before(a, b) ? -1 : reading_is_before(b, a);
}

enum { MANY_READINGS = 4000 };

/* Readings at random times of random channels, times often shared; distinct by (channel, time). */
static size_t make_readings(struct bench *bench, struct reading *readings, uint64_t *seed) {
    size_t kept = 0;

    for (size_t i = 0; i < MANY_READINGS; i++) {
        const uint64_t dice = bench_random(seed);

        readings[i] = (struct reading){
            .t_ms = t0 + (int64_t)(dice % 3000) * 100,
            .channel_id = bench->channels[(dice >> 32) % BENCH_CHANNELS],
            .quality = (dice >> 40) % 16 == 0 ? (enum quality)((dice >> 48) % QUALITY_COUNT) : QUALITY_GOOD,
        };
        readings[i].value = readings[i].quality == QUALITY_GOOD ? readings[i].channel_id * 7 - readings[i].t_ms : 0;
    }
    qsort(readings, MANY_READINGS, sizeof *readings, compare_readings);
    for (size_t i = 0; i < MANY_READINGS; i++) {
        if (kept == 0 || compare_readings(&readings[kept - 1], &readings[i]) != 0) {
            readings[kept++] = readings[i];
        }
    }
    return kept;
}

static bool is_among(int64_t channel_id, const int64_t *channels, size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (channels[i] == channel_id) {
            return true;
        }
    }
    return false;
}

static void check_merge(struct bench *bench, const struct reading *sorted, size_t sorted_count,
                        size_t channel_count, int64_t from_ms, int64_t to_ms) {
    struct ledger_cursor *const cursor =
        ledger_open_cursor(bench->ledger, bench->channels, channel_count, from_ms, to_ms, &bench->fault);
    struct reading reading;

    assert_non_null(cursor);
    for (size_t i = 0; i < sorted_count; i++) {
        if (sorted[i].t_ms < from_ms || sorted[i].t_ms > to_ms ||
            !is_among(sorted[i].channel_id, bench->channels, channel_count)) {
            continue;
        }
        assert_int_equal(ledger_next_reading(cursor, &reading, &bench->fault), 1);
        assert_int_equal(reading.t_ms, sorted[i].t_ms);
        assert_int_equal(reading.channel_id, sorted[i].channel_id);
        assert_int_equal(reading.quality, sorted[i].quality);
        assert_int_equal(reading.value, sorted[i].value);
    }
    assert_int_equal(ledger_next_reading(cursor, &reading, &bench->fault), 0);
    ledger_close_cursor(cursor);
}

static void test_merge_is_a_sort(void **state) {
    struct bench *const bench = *state;
    struct reading *const readings = calloc(MANY_READINGS, sizeof *readings);
    uint64_t seed = 20261116;
    size_t count;

    assert_non_null(readings);
    count = make_readings(bench, readings, &seed);
    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    for (size_t i = 0; i < count; i++) { // stored from last to first: the order of storing must not matter
        assert_int_equal(ledger_add_reading(bench->ledger, &readings[count - 1 - i], &bench->fault), 0);
    }
    assert_int_equal(ledger_commit(bench->ledger, &bench->fault), 0);
    for (size_t channels = 0; channels <= BENCH_CHANNELS; channels++) {
        check_merge(bench, readings, count, channels, INT64_MIN, INT64_MAX);
        for (int i = 0; i < 8; i++) {
            const int64_t from_ms = t0 + (int64_t)(bench_random(&seed) % 300000);

            check_merge(bench, readings, count, channels, from_ms,
                        from_ms + (int64_t)(bench_random(&seed) % 100000) - 1000);
        }
        check_merge(bench, readings, count, channels, readings[0].t_ms, readings[count - 1].t_ms);
        check_merge(bench, readings, count, channels, readings[0].t_ms + 1, readings[count - 1].t_ms - 1);
    }
    free(readings);
}

static void test_cursor_sees_one_moment(void **state) {
    struct bench *const bench = *state;
    struct ledger *const reader = bench_open(bench, LEDGER_READ);
    struct ledger_cursor *cursor;
    struct reading reading;
    int count = 0;

    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    for (int i = 0; i < 1000; i++) {
        bench_add_reading(bench, bench->channels[1], t0 + i, i, QUALITY_GOOD);
    }
    assert_int_equal(ledger_commit(bench->ledger, &bench->fault), 0);
    cursor = ledger_open_cursor(reader, bench->channels, BENCH_CHANNELS, t0, INT64_MAX, &bench->fault);
    assert_non_null(cursor);
    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    for (int i = 0; i < 1000; i++) {
        bench_add_reading(bench, bench->channels[1], t0 + 1000 + i, i, QUALITY_GOOD);
        bench_add_reading(bench, bench->channels[0], t0 + 1000 + i, i, QUALITY_GOOD);
    }
    assert_int_equal(ledger_commit(bench->ledger, &bench->fault), 0);
    while (ledger_next_reading(cursor, &reading, &bench->fault) == 1) {
        count++;
    }
    assert_int_equal(count, 1000);
    ledger_close_cursor(cursor);
    ledger_close(reader);
}

static void test_events_in_order_of_time(void **state) {
    struct bench *const bench = *state;
    static const struct event events[] = {
        {BENCH_STARTED_MS + 3, EVENT_CLOCK_STEP, -3600000, ""},
        {BENCH_STARTED_MS + 1, EVENT_LINE_LOST, 0, "bench"},
        {BENCH_STARTED_MS + 2, EVENT_LINE_BACK, 1, "bench"},
        {BENCH_STARTED_MS + 2, EVENT_OVERFLOW, 12, ""},
    };
    static const size_t order[] = {1, 2, 3, 0};
    const struct event unknown = {.t_ms = t0, .kind = (enum event_kind)EVENT_KIND_COUNT};
    struct event *listed;
    size_t count;

    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(ledger_add_event(bench->ledger, &events[i], &bench->fault), 0);
    }
    listed = ledger_list_events(bench->ledger, t0, t0 + 3, &count, &bench->fault);
    assert_non_null(listed);
    assert_int_equal(count, 4);
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(listed[i].t_ms, events[order[i]].t_ms);
        assert_int_equal(listed[i].kind, events[order[i]].kind);
        assert_int_equal(listed[i].amount, events[order[i]].amount);
        assert_string_equal(listed[i].detail, events[order[i]].detail);
    }
    free(listed);
    listed = ledger_list_events(bench->ledger, t0 + 2, t0 + 2, &count, &bench->fault);
    assert_int_equal(count, 2);
    free(listed);
    listed = ledger_list_events(bench->ledger, t0 + 4, INT64_MAX, &count, &bench->fault);
    assert_non_null(listed);
    assert_int_equal(count, 0);
    free(listed);
    assert_int_equal(ledger_add_event(bench->ledger, &unknown, &bench->fault), -1);
}

static void test_transaction_taken_back(void **state) {
    struct bench *const bench = *state;

    ledger_roll_back(bench->ledger); // nothing is open: does nothing
    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    bench_add_reading(bench, bench->channels[0], t0, 1, QUALITY_GOOD);
    ledger_roll_back(bench->ledger);
    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    bench_add_reading(bench, bench->channels[0], t0 + 1, 1, QUALITY_GOOD);
    assert_int_equal(ledger_commit(bench->ledger, &bench->fault), 0);
    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    bench_add_reading(bench, bench->channels[0], t0 + 2, 1, QUALITY_GOOD);
    bench_close(bench); // as does closing
    assert_int_equal(bench_count(bench->path, "SELECT sum(t_ms) FROM reading"), t0 + 1);
}

static void test_data_version(void **state) {
    struct bench *const bench = *state;
    struct ledger *const reader = bench_open(bench, LEDGER_READ);
    const int64_t before = ledger_data_version(reader);

    assert_int_equal(ledger_data_version(reader), before);
    bench_add_reading(bench, bench->channels[0], t0, 1, QUALITY_GOOD);
    assert_int_not_equal(ledger_data_version(reader), before);
    ledger_close(reader);
}

static void test_words_match_numbers(void **state) {
    struct bench *const bench = *state;
    static const struct {
        const char *sql;
        int64_t count;
    } tables[] = {
        {"SELECT count(*) FROM quality WHERE quality >= 0", QUALITY_COUNT},
        {"SELECT count(*) FROM event_kind WHERE kind > 0", EVENT_KIND_COUNT - 1},
        {"SELECT count(*) FROM run_end WHERE end_reason >= 0", RUN_END_IMPORTED + 1},
        {"SELECT count(*) FROM finding_kind WHERE kind > 0", FINDING_KIND_COUNT - 1},
        {"SELECT count(*) FROM requirement WHERE requirement > 0", REQUIREMENT_COUNT - 1},
        {"SELECT count(*) FROM outcome WHERE outcome >= 0", OUTCOME_NOT_MET + 1},
        {"SELECT count(*) FROM reason WHERE reason >= 0", REASON_COUNT},
    };

    for (size_t i = 0; i < sizeof tables / sizeof tables[0]; i++) {
        assert_int_equal(bench_count(bench->path, tables[i].sql), tables[i].count);
    }
    for (int quality = 0; quality < QUALITY_COUNT; quality++) {
        char sql[96];
        char words[BENCH_WORDS_BYTES];

        snprintf(sql, sizeof sql, "SELECT words FROM quality WHERE quality = %d", quality);
        assert_int_equal(bench_run_sql(bench->path, sql, words), 0);
        assert_string_equal(words, quality_name((enum quality)quality));
    }
}

static void test_reading_in_words(void **state) {
    struct bench *const bench = *state;
    char words[BENCH_WORDS_BYTES];

    bench_add_reading(bench, bench->channels[1], t0 + 250, 805300, QUALITY_GOOD);
    bench_add_reading(bench, bench->channels[2], t0 + 250, 43500, QUALITY_GOOD);
    bench_add_reading(bench, bench->channels[1], t0 + 2250, 0, QUALITY_NO_REPLY);
    bench_run_sql(
        bench->path,
        "SELECT group_concat(concat, ' / ') FROM (SELECT oven || ', ' || channel || ', ' || utc || ', ' ||"
        " ifnull(value || ' ' || unit, quality) AS concat FROM reading_in_words ORDER BY channel_id, t_ms)",
        words);
    assert_string_equal(words, "hardening kiln, charge, 2026-11-16 07:30:00.250, 805.3 °C / "
                               "hardening kiln, charge, 2026-11-16 07:30:02.250, no reply / "
                               "hardening kiln, output, 2026-11-16 07:30:00.250, 43.5 %");
}

#define WITH_BENCH(test) cmocka_unit_test_setup_teardown(test, bench_set_up, bench_tear_down)

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sha256),
        WITH_BENCH(test_session_is_read_back),
        WITH_BENCH(test_new_ledger_has_no_session),
        WITH_BENCH(test_last_time_is_of_reading_or_event),
        WITH_BENCH(test_simulated_spans),
        WITH_BENCH(test_ovens_have_names),
        WITH_BENCH(test_channels_are_read_back),
        WITH_BENCH(test_same_configuration_is_kept_once),
        WITH_BENCH(test_any_difference_is_a_new_fitting),
        WITH_BENCH(test_fitting_in_force_at_a_time),
        WITH_BENCH(test_channel_taken_out_is_not_in_force),
        WITH_BENCH(test_reading_stored_first_stays),
        WITH_BENCH(test_reading_of_no_channel_is_refused),
        WITH_BENCH(test_merge_is_a_sort),
        WITH_BENCH(test_cursor_sees_one_moment),
        WITH_BENCH(test_events_in_order_of_time),
        WITH_BENCH(test_transaction_taken_back),
        WITH_BENCH(test_data_version),
        WITH_BENCH(test_words_match_numbers),
        WITH_BENCH(test_reading_in_words),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
