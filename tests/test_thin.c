// SPDX-License-Identifier: MIT
/* What may go of old readings, and what may not. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/alert.h"
#include "soakledger/recorder.h"
#include "soakledger/seal.h"
#include "soakledger/thin.h"
#include "support/bench_ledger.h"

#define MIN INT64_C(60000)
#define H   (60 * MIN)
#define DAY (24 * H)
#define T0  (BENCH_STARTED_MS / (10 * MIN) * (10 * MIN)) // a whole bucket

enum { DAYS = 4, PER_DAY = 1440 };
static const int64_t RUN_BEGUN_MS = T0 + 2 * DAY, RUN_ENDED_MS = T0 + 2 * DAY + 3 * H;

/* A reading a minute: 20 °C and a bit of noise, one peak, one minute without a reply. A run on the third day,
 * sealed with its lead. */
static void fill(struct bench *bench, int64_t channel_id) {
    int64_t run_id;

    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    for (int64_t i = 0; i < (int64_t)DAYS * PER_DAY; i++)
        bench_add_reading(bench, channel_id, T0 + i * MIN,
                          i == 1003   ? 90000
                          : i == 1006 ? -5000
                                      : 20000 + i % 7 * 100,
                          i == 505 ? QUALITY_NO_REPLY : QUALITY_GOOD);
    run_id = ledger_open_run(bench->ledger, bench->ovens[0], RUN_BEGUN_MS, &bench->fault);
    assert_int_equal(ledger_end_run(bench->ledger, run_id, RUN_ENDED_MS, RUN_END_COOLING, &bench->fault), 0);
    assert_int_equal(seal_run(bench->ledger, run_id, SEAL_RUN, THIN_MARGIN_MS, RUN_ENDED_MS, NULL, &bench->fault),
                     0);
    assert_int_equal(ledger_commit(bench->ledger, &bench->fault), 0);
}

static int step(struct bench *bench, int64_t before_ms, struct thin_tally *tally) {
    int done;

    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    done = thin_step(bench->ledger, bench->ovens[0], bench->channels[0], before_ms, 10 * MIN, T0 + 400 * DAY, tally,
                     &bench->fault);
    if (done < 0)
        fail_msg("%s", bench->fault.text);
    assert_int_equal(ledger_commit(bench->ledger, &bench->fault), 0);
    return done;
}

static int64_t count(const struct bench *bench, const char *where) {
    char sql[512];

    snprintf(sql, sizeof sql, "SELECT count(*) FROM reading WHERE channel_id = %lld AND %s",
             (long long)bench->channels[0], where);
    return bench_count(bench->path, sql);
}

static void ignore_flaw(void *context, const char *words) {
    fprintf(stderr, "%s\n", words);
    *(bool *)context = true;
}

static void test_only_idle_readings_go(void **state) {
    struct bench *const bench = *state;
    const struct seal_scope all = {0};
    struct seal_tally sealed;
    struct thin_tally tally;
    bool flawed = false;
    char where[256];

    fill(bench, bench->channels[0]);
    assert_int_equal(step(bench, T0 + DAYS * DAY, &tally), 1);
    assert_int_equal(tally.kept + tally.removed, DAYS * PER_DAY);
    assert_int_equal(count(bench, "1"), tally.kept);
    assert_in_range(tally.kept, 1500, 2600);
    // The run and two hours on either side are all there: 7 h of one a minute, both ends included.
    snprintf(where, sizeof where, "t_ms BETWEEN %lld AND %lld", (long long)(RUN_BEGUN_MS - 2 * H),
             (long long)(RUN_ENDED_MS + 2 * H));
    assert_int_equal(count(bench, where), 7 * 60 + 1);
    // So are the extremes, the trouble and the reading after it.
    assert_int_equal(count(bench, "value = 90000"), 1);
    assert_int_equal(count(bench, "value = -5000"), 1);
    snprintf(where, sizeof where, "quality <> 0 OR t_ms = %lld", (long long)(T0 + 506 * MIN));
    assert_int_equal(count(bench, where), 2);
    // Ten minutes at rest: the first, the lowest and the highest.
    snprintf(where, sizeof where, "t_ms >= %lld AND t_ms < %lld", (long long)T0, (long long)(T0 + 10 * MIN));
    assert_in_range(count(bench, where), 1, 3);
    assert_int_equal(seal_verify(bench->ledger, &all, ignore_flaw, &flawed, &sealed, &bench->fault), 0);
    assert_false(flawed);
    assert_int_equal(sealed.flaws, 0);
    assert_int_equal(step(bench, T0 + DAYS * DAY, &tally), 0); // done once, and once only
}

static void test_steps_are_bounded_and_go_on(void **state) {
    struct bench *const bench = *state;
    struct thin_tally first, second;

    assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
    for (int64_t i = 0; i < THIN_MOST_READINGS + 5000; i++)
        bench_add_reading(bench, bench->channels[0], T0 + i * MIN, 20000, QUALITY_GOOD);
    assert_int_equal(ledger_commit(bench->ledger, &bench->fault), 0);
    assert_int_equal(step(bench, T0 + 100 * DAY, &first), 1);
    assert_in_range(first.kept + first.removed, THIN_MOST_READINGS - 10, THIN_MOST_READINGS);
    assert_int_equal(step(bench, T0 + 100 * DAY, &second), 1);
    assert_true(second.from_ms >= first.until_ms);
    assert_int_equal(first.kept + first.removed + second.kept + second.removed, THIN_MOST_READINGS + 5000);
    assert_int_equal(step(bench, T0 + 100 * DAY, &second), 0);
    // Of readings that are all alike one in ten minutes is left.
    assert_int_equal(count(bench, "1"), (THIN_MOST_READINGS + 5000) / 10);
}

/* Whoever opens the file with sqlite3. */
static void test_triggers_hold(void **state) {
    struct bench *const bench = *state;
    char words[BENCH_WORDS_BYTES], sql[512];
    const long long id = (long long)bench->channels[0];

    fill(bench, bench->channels[0]);
    assert_int_not_equal(bench_run_sql(bench->path, "DELETE FROM reading", words), 0);
    assert_non_null(strstr(words, "a reading is never deleted"));
    // A thinning is open, but the run lies in its span.
    snprintf(
        sql, sizeof sql,
        "INSERT INTO thinning (channel_id, from_ms, until_ms, interval_ms, t_ms) VALUES (%lld, %lld, %lld, 1, 1);"
        " DELETE FROM reading WHERE channel_id = %lld AND t_ms = %lld",
        id, (long long)T0, (long long)(T0 + DAYS * DAY), id, (long long)(RUN_BEGUN_MS - H));
    assert_int_not_equal(bench_run_sql(bench->path, sql, words), 0);
    assert_non_null(strstr(words, "a reading is never deleted"));
    snprintf(sql, sizeof sql, "DELETE FROM reading WHERE channel_id = %lld AND t_ms = %lld", id, (long long)T0);
    assert_int_equal(bench_run_sql(bench->path, sql, words), 0);
    assert_int_equal(bench_run_sql(bench->path, "UPDATE thinning SET kept = 1, removed = 1", words), 0);
    assert_int_not_equal(bench_run_sql(bench->path, "UPDATE thinning SET kept = 2, removed = 2", words), 0);
    assert_int_not_equal(bench_run_sql(bench->path, "DELETE FROM thinning", words), 0);
    snprintf(sql, sizeof sql, "DELETE FROM reading WHERE channel_id = %lld AND t_ms = %lld", id,
             (long long)(T0 + MIN));
    assert_int_not_equal(bench_run_sql(bench->path, sql, words), 0); // it is closed again
}

static void test_command_may_not_thin(void **state) {
    struct bench *const bench = *state;
    struct thin_tally tally;
    struct ledger *books;

    fill(bench, bench->channels[0]);
    bench_close(bench);
    books = bench_open(bench, LEDGER_BOOKKEEP);
    bench_assert_fault(
        bench,
        thin_step(books, bench->ovens[0], bench->channels[0], T0 + DAYS * DAY, 10 * MIN, T0, &tally, &bench->fault),
        EX_NOPERM, "cannot begin to thin");
    ledger_close(books);
}

/* As configured: the recorder thins by itself while nothing is on, and says so. */
static void test_recorder_thins_as_configured(void **state) {
    struct bench *const bench = *state;
    static struct bench_config config;
    struct message message = {.kind = MESSAGE_WATERMARK};
    struct alert_desk *desk = alert_open(NULL, MIN, MIN, &bench->fault);
    struct recorder *recorder;

    bench_fill_config(&config);
    config.config.thin_after_ms = 30 * DAY;
    config.config.thin_to_ms = 10 * MIN;
    fill(bench, bench->channels[0]);
    recorder = recorder_open(bench->ledger, &config.config, bench->ovens, bench->channels, desk, &bench->fault);
    assert_non_null(recorder);
    for (int64_t i = 0; i < 3 * BENCH_CHANNELS; i++) {
        message.watermark_ms = T0 + 32 * DAY + i * MIN;
        assert_int_equal(ledger_begin(bench->ledger, &bench->fault), 0);
        if (recorder_take(recorder, &message, 1, &bench->fault) != 0)
            fail_msg("%s", bench->fault.text);
        assert_int_equal(ledger_commit(bench->ledger, &bench->fault), 0);
    }
    recorder_free(recorder);
    alert_close(desk);
    // What is younger than 30 days stays: two of the four days.
    assert_int_equal(count(bench, "1"), bench_count(bench->path, "SELECT sum(kept) FROM thinning") + 2 * PER_DAY);
    assert_true(bench_count(bench->path, "SELECT sum(removed) FROM thinning") > PER_DAY);
    assert_int_equal(bench_count(bench->path, "SELECT sum(amount) FROM event WHERE kind = 8"),
                     bench_count(bench->path, "SELECT sum(removed) FROM thinning"));
}

#define WITH_BENCH(test) cmocka_unit_test_setup_teardown(test, bench_set_up, bench_tear_down)

int main(void) {
    const struct CMUnitTest tests[] = {
        WITH_BENCH(test_only_idle_readings_go),
        WITH_BENCH(test_steps_are_bounded_and_go_on),
        WITH_BENCH(test_triggers_hold),
        WITH_BENCH(test_command_may_not_thin),
        WITH_BENCH(test_recorder_thins_as_configured),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
