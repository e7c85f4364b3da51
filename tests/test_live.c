// SPDX-License-Identifier: MIT
/* Live and replayed judgement are the same, over random runs with faults: each goes through the daemon's own
 * recorder into a ledger, as its poller would send it, every third with the daemon killed in the middle; then the
 * batch is assessed from what is stored, and what the daemon had found has to be exactly what is found again.
 *
 * SOAKLEDGER_RUNS says how many runs, SOAKLEDGER_SEED where they begin. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "soakledger/alert.h"
#include "soakledger/assess.h"
#include "soakledger/recorder.h"
#include "support/virtual_run.h"

enum {
    OUTCOMES = OUTCOME_NOT_MET + 1,
    RUNS = 200,
    RUNS_SANITIZED = 60,
    PATH_BYTES = 128,
    KILLED_EVERY = 3,
    RUNS_A_LEDGER = 8,
    COMMIT_MESSAGES = 4000,
    DECIMAL = 10,
    MINUTE_MS = 60000,
    HOUR_MS = 60 * MINUTE_MS,
    IDLE_BEFORE_MS = HOUR_MS,
    COOL_MS = 3 * HOUR_MS,
};
#define FIRST_SEED UINT64_C(88000000)
#define APART_MS   (INT64_C(4) * 24 * HOUR_MS) // between two runs of one ledger

struct shop {
    char folder[PATH_BYTES], config_path[PATH_BYTES], ledger_path[PATH_BYTES];
    struct ledger *ledger;
    struct alert_desk *desk;
    struct config *config;
    int64_t oven_ids[1], channel_ids[VIRTUAL_MOST_CHANNELS];
    struct recorder *recorder;
    struct fault fault;
    size_t outcomes[OUTCOMES];
    size_t recognised, findings;
    int standard_error;
};

/* A thousand bad days fill a journal that nobody reads. */
static void keep_quiet(struct shop *shop) {
    fflush(stderr);
    shop->standard_error = dup(STDERR_FILENO);
    assert_true(shop->standard_error >= 0);
    assert_non_null(freopen("/dev/null", "w", stderr));
}

static void speak_up(const struct shop *shop) {
    fflush(stderr);
    dup2(shop->standard_error, STDERR_FILENO);
}

#define WORKS(shop, call)                                                                                          \
    do {                                                                                                           \
        if (!(call)) {                                                                                             \
            speak_up(shop);                                                                                        \
            fail_msg("%s: %s", #call, (shop)->fault.text);                                                         \
        }                                                                                                          \
    } while (0)

/* ---- the daemon, but for its lines ---- */

static void write_config(const struct shop *shop, const struct virtual_run *run) {
    FILE *file = fopen(shop->config_path, "w");

    assert_non_null(file);
    fprintf(file,
            "[ledger]\npath = %s\n[line bench]\ndevice = /dev/serial/by-id/invented\n"
            "[instrument box]\nline = bench\naddress = 1\n[oven kiln]\n",
            shop->ledger_path);
    if (run->channels[0].heats_at_most_mc_per_h > 0)
        fprintf(file, "heats_at_most = %" PRId64 ".%03" PRId64 " C/h\n",
                run->channels[0].heats_at_most_mc_per_h / 1000, run->channels[0].heats_at_most_mc_per_h % 1000);
    for (size_t i = 0; i < run->channel_count; i++) {
        const struct judge_channel *channel = &run->channels[i];

        fprintf(
            file,
            "[channel kiln.%s]\nrole = %s\ninstrument = box\nfunction = 4\nregister = %zu\nunit = C\ndecimals = 1\n"
            "interval = %" PRId64 " ms\n",
            channel->name, channel_role_name(channel->role), i, channel->interval_ms);
        if (channel->uncertainty_mc > 0)
            fprintf(file, "uncertainty = %.3f C\n", (double)channel->uncertainty_mc / 1000);
    }
    assert_int_equal(fclose(file), 0);
}

static void start_daemon(struct shop *shop, int64_t t_ms) {
    struct ledger_session session = {.started_ms = t_ms, .wall_ms = t_ms, .boottime_ms = t_ms % APART_MS};

    snprintf(session.boot_id, sizeof session.boot_id, "00000000-0000-0000-0000-000000000001");
    WORKS(shop, (shop->config = config_read(shop->config_path, &shop->fault)) != NULL);
    WORKS(shop, (shop->ledger = ledger_open(shop->ledger_path, LEDGER_RECORD, &shop->fault)) != NULL);
    WORKS(shop, ledger_begin(shop->ledger, &shop->fault) == 0);
    WORKS(shop, ledger_add_session(shop->ledger, &session, shop->config, shop->oven_ids, shop->channel_ids,
                                   &shop->fault) > 0);
    shop->recorder =
        recorder_open(shop->ledger, shop->config, shop->oven_ids, shop->channel_ids, shop->desk, &shop->fault);
    WORKS(shop, shop->recorder != NULL);
    WORKS(shop, ledger_commit(shop->ledger, &shop->fault) == 0);
}

static void kill_daemon(struct shop *shop) {
    recorder_free(shop->recorder);
    ledger_close(shop->ledger);
    config_free(shop->config);
    shop->recorder = NULL;
    shop->ledger = NULL;
    shop->config = NULL;
}

static void take(struct shop *shop, const struct message *messages, size_t count) {
    WORKS(shop, ledger_begin(shop->ledger, &shop->fault) == 0);
    WORKS(shop, recorder_take(shop->recorder, messages, count, &shop->fault) == 0);
    WORKS(shop, ledger_commit(shop->ledger, &shop->fault) == 0);
}

static size_t find_channel(const struct virtual_run *run, int64_t id) {
    for (size_t i = 0; i < run->channel_count; i++)
        if (run->channels[i].channel_id == id)
            return i;
    fail_msg("no channel %lld", (long long)id);
    return 0;
}

/* Readings from..to of the run, `later_ms` later than made, and the word that there are no others. */
static void send(struct shop *shop, const struct virtual_run *run, size_t from, size_t to, int64_t later_ms) {
    static struct message messages[COMMIT_MESSAGES + 1];
    size_t count = 0;

    for (size_t i = from; i < to; i++) {
        struct message *message = &messages[count++];

        *message = (struct message){.kind = MESSAGE_READING, .reading = run->readings[i]};
        message->reading.t_ms += later_ms;
        message->reading.channel_id = shop->channel_ids[find_channel(run, run->readings[i].channel_id)];
        if (count < COMMIT_MESSAGES && i + 1 < to)
            continue;
        messages[count++] =
            (struct message){.kind = MESSAGE_WATERMARK, .watermark_ms = run->readings[i].t_ms + later_ms};
        take(shop, messages, count);
        count = 0;
    }
}

/* An oven that is left to itself, looked at once a minute. */
static void send_rest(struct shop *shop, const struct virtual_run *run, int64_t from_ms, int64_t to_ms) {
    enum { COLD_MC = 20000, ASKS_NOTHING_MC = -40000 }; // a setpoint well under the oven
    static struct message messages[COMMIT_MESSAGES];
    size_t count = 0;

    for (int64_t t_ms = from_ms; t_ms <= to_ms; t_ms += MINUTE_MS) {
        for (size_t i = 0; i < run->channel_count; i++)
            messages[count++] = (struct message){
                .kind = MESSAGE_READING,
                .reading = {.t_ms = t_ms,
                            .channel_id = shop->channel_ids[i],
                            .value = run->channels[i].role == ROLE_SETPOINT ? ASKS_NOTHING_MC : COLD_MC,
                            .quality = QUALITY_GOOD}};
        messages[count++] = (struct message){.kind = MESSAGE_WATERMARK, .watermark_ms = t_ms};
        assert_true(count + VIRTUAL_MOST_CHANNELS < COMMIT_MESSAGES);
    }
    take(shop, messages, count);
}

/* ---- one run ---- */

static int64_t open_batch(struct shop *shop, const struct virtual_run *run, int64_t t_ms) {
    static char charge[] = "12 plane irons", nothing[] = "", plan_name[] = "random.plan";
    struct ledger_batch batch = {.opened_ms = t_ms,
                                 .oven_id = shop->oven_ids[0],
                                 .charge = charge,
                                 .customer = nothing,
                                 .order_reference = nothing,
                                 .operator_name = nothing,
                                 .note = nothing,
                                 .plan_name = plan_name,
                                 .plan_text = (char *)run->plan,
                                 .plan_length = strlen(run->plan)};
    int64_t batch_id;

    ledger_sha256(batch.plan_text, batch.plan_length, batch.plan_sha256);
    WORKS(shop, (batch_id = ledger_open_batch(shop->ledger, &batch, &shop->fault)) > 0);
    return batch_id;
}

static void compare(struct shop *shop, int64_t batch_id, uint64_t seed) {
    struct assess_batch *assessed = assess_batch(shop->ledger, batch_id, NULL, &shop->fault);

    WORKS(shop, assessed != NULL);
    for (size_t i = 0; i < assessed->visit_count; i++) {
        for (size_t j = 0; j < assessed->visits[i].run_count; j++) {
            const struct assess_run *run = &assessed->visits[i].runs[j];

            if (run->agreement != ASSESS_AGREES) {
                speak_up(shop);
                fail_msg("seed %" PRIu64 ", run %lld: %s", seed, (long long)run->run.run_id,
                         run->agreement == ASSESS_DIFFERS ? "replayed it is another" : "was not judged");
            }
            shop->recognised++;
            shop->findings += run->finding_count;
            for (size_t k = 0; k < run->verdict_count; k++)
                shop->outcomes[run->verdicts[k].outcome]++;
        }
    }
    assess_free(assessed);
}

static void play(struct shop *shop, uint64_t seed, size_t number) {
    struct virtual_run run;
    int64_t batch_id, later_ms, end_ms;
    size_t half;

    virtual_run_make(&run, seed);
    later_ms = (int64_t)number * APART_MS;
    end_ms = run.end_ms + later_ms;
    write_config(shop, &run);
    start_daemon(shop, run.begin_ms + later_ms - IDLE_BEFORE_MS);
    batch_id = open_batch(shop, &run, run.begin_ms + later_ms - IDLE_BEFORE_MS);
    send_rest(shop, &run, run.begin_ms + later_ms - IDLE_BEFORE_MS / 2, run.begin_ms + later_ms - MINUTE_MS);
    half = number % KILLED_EVERY == 0 ? (size_t)(seed % (run.reading_count + 1)) : 0;
    if (half > 0) {
        send(shop, &run, 0, half, later_ms);
        kill_daemon(shop);
        start_daemon(shop, run.readings[half - 1].t_ms + later_ms + 1);
    }
    send(shop, &run, half, run.reading_count, later_ms);
    send_rest(shop, &run, end_ms + MINUTE_MS, end_ms + COOL_MS);
    WORKS(shop, ledger_close_batch(shop->ledger, batch_id, end_ms + COOL_MS, &shop->fault) == 0);
    compare(shop, batch_id, seed);
    kill_daemon(shop);
    virtual_run_release(&run);
}

/* ---- all of them ---- */

static uint64_t read_number(const char *name, uint64_t otherwise) {
    const char *const text = getenv(name);

    return text == NULL ? otherwise : strtoull(text, NULL, DECIMAL);
}

static void what_was_found_live_is_found_again(void **state) {
    const char *const build = getenv("SOAKLEDGER_BUILD");
    const bool sanitized = build != NULL && strstr(build, "asan") != NULL;
    const uint64_t first = read_number("SOAKLEDGER_SEED", FIRST_SEED);
    const size_t runs = (size_t)read_number("SOAKLEDGER_RUNS", sanitized ? RUNS_SANITIZED : RUNS);
    struct shop shop = {.folder = "/tmp/soakledger-live-XXXXXX"};
    char command[2 * PATH_BYTES];

    (void)state;
    assert_non_null(mkdtemp(shop.folder));
    snprintf(shop.config_path, sizeof shop.config_path, "%.100s/shop.conf", shop.folder);
    WORKS(&shop, (shop.desk = alert_open(NULL, HOUR_MS, HOUR_MS, &shop.fault)) != NULL);
    keep_quiet(&shop);
    for (size_t i = 0; i < runs; i++) {
        // A daemon that starts looks through all of its ledger: many small ones are quicker than a large one.
        snprintf(shop.ledger_path, sizeof shop.ledger_path, "%.100s/%zu.ledger", shop.folder, i / RUNS_A_LEDGER);
        play(&shop, first + i, i);
    }
    speak_up(&shop);
    print_message("%zu runs from seed %" PRIu64 ": %zu judged live, %zu findings; met %zu, not proven %zu, not met "
                  "%zu; all the same when replayed\n",
                  runs, first, shop.recognised, shop.findings, shop.outcomes[OUTCOME_MET],
                  shop.outcomes[OUTCOME_NOT_PROVEN], shop.outcomes[OUTCOME_NOT_MET]);
    assert_true(shop.recognised >= runs * 9 / 10);
    for (size_t i = 0; i < OUTCOMES; i++)
        assert_true(shop.outcomes[i] >= runs / 10);
    alert_close(shop.desk);
    snprintf(command, sizeof command, "rm -r %s", shop.folder);
    assert_int_equal(system(command), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(what_was_found_live_is_found_again)};

    return cmocka_run_group_tests(tests, NULL, NULL);
}
