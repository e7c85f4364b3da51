// SPDX-License-Identifier: MIT
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <dirent.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "bench_ledger.h"

static const struct channel_fitting thermocouple = {
    .function = 3,
    .first_register = 1,
    .decimals = 1,
    .low = 0,
    .high = 1300000,
    .open_count = 2,
    .open_raw = {32767, -32768},
};

void bench_fill_config(struct bench_config *config) {
    *config = (struct bench_config){
        .line =
            {.name = "bench", .device = "/dev/ttyUSB0", .speed_baud = 19200, .parity = PARITY_EVEN, .stop_bits = 1},
        .instruments = {{.name = "kiln controller", .address = 1}, {.name = "temper controller", .address = 2}},
        .sensors =
            {{.identity = "K-07", .type = "K", .tolerance = "class 1", .fitted_ms = BENCH_STARTED_MS - 86400000},
             {.identity = "N-02", .type = "N", .tolerance = ""}},
        .ovens = {{.name = "hardening kiln", .heats_at_most_mc_per_h = 1200000},
                  {.name = "temper oven", .heats_at_most_mc_per_h = 600000}},
        .channels = {{.name = "control",
                      .oven = 0,
                      .instrument = 0,
                      .sensor = 0,
                      .role = ROLE_CONTROL,
                      .interval_ms = 1000,
                      .fitting = thermocouple},
                     {.name = "charge",
                      .oven = 0,
                      .instrument = 0,
                      .sensor = 1,
                      .role = ROLE_LOAD,
                      .interval_ms = 2000,
                      .fitting = thermocouple},
                     {.name = "output",
                      .oven = 0,
                      .instrument = 0,
                      .sensor = CONFIG_NO_SENSOR,
                      .role = ROLE_OUTPUT,
                      .interval_ms = 1000,
                      .fitting = thermocouple},
                     {.name = "control",
                      .oven = 1,
                      .instrument = 1,
                      .sensor = CONFIG_NO_SENSOR,
                      .role = ROLE_CONTROL,
                      .interval_ms = 1000,
                      .fitting = thermocouple}},
    };
    config->channels[2].fitting = (struct channel_fitting){
        .function = 4,
        .first_register = 65535,
        .encoding = ENCODING_FLOAT32,
        .word_order = WORD_LOW_FIRST,
        .decimals = -1,
        .unit = CHANNEL_FAHRENHEIT,
        .low = -5000,
        .high = 100000,
    };
    config->channels[1].fitting = (struct channel_fitting){
        .wire = WIRE_POLLED_TEXT,
        .query = "#{address:2}T?",
        .pattern = "{any}T2={value}",
        .field = 2,
        .separator = ' ',
        .low = 0,
        .high = 1300000,
        .over_count = 1,
        .over_raw = {9999},
        .under_count = 2,
        .under_raw = {-9999, -99},
        .frozen_after_ms = 300000,
        .moves_at_most_mc_per_h = 216000000,
    };
    config->config = (struct config){
        .text = "[line bench]\n",
        .line_count = 1,
        .instrument_count = 2,
        .sensor_count = 2,
        .oven_count = BENCH_OVENS,
        .channel_count = BENCH_CHANNELS,
        .lines = &config->line,
        .instruments = config->instruments,
        .sensors = config->sensors,
        .ovens = config->ovens,
        .channels = config->channels,
    };
}

struct ledger *bench_open(struct bench *bench, enum ledger_mode mode) {
    struct ledger *const ledger = ledger_open(bench->path, mode, &bench->fault);

    if (ledger == NULL) {
        fail_msg("%s", bench->fault.text);
    }
    return ledger;
}

void bench_close(struct bench *bench) {
    ledger_close(bench->ledger);
    bench->ledger = NULL;
}

void bench_add_session(struct bench *bench, const struct config *config, int64_t started_ms, bool simulated) {
    const struct ledger_session session = {
        .started_ms = started_ms,
        .wall_ms = started_ms + 7,
        .boottime_ms = 5000,
        .boot_id = "0c0ffee0-0000-4000-8000-000000000001",
        .simulated = simulated,
    };

    if (ledger_begin(bench->ledger, &bench->fault) != 0 ||
        ledger_add_session(bench->ledger, &session, config, bench->ovens, bench->channels, &bench->fault) < 1 ||
        ledger_commit(bench->ledger, &bench->fault) != 0) {
        fail_msg("%s", bench->fault.text);
    }
}

void bench_add_reading(struct bench *bench, int64_t channel_id, int64_t t_ms, int64_t value, enum quality quality) {
    const struct reading reading = {.t_ms = t_ms, .value = value, .channel_id = channel_id, .quality = quality};

    if (ledger_add_reading(bench->ledger, &reading, &bench->fault) != 0) {
        fail_msg("%s", bench->fault.text);
    }
}

int64_t bench_open_batch(struct bench *bench, int64_t opened_ms) {
    static char charge[] = "12 plane irons", plan[] = "[plan]\ntitle = irons\n", name[] = "irons.plan", none[] = "";
    const struct ledger_batch batch = {
        .opened_ms = opened_ms,
        .oven_id = bench->ovens[0],
        .charge = charge,
        .customer = none,
        .order_reference = none,
        .operator_name = none,
        .note = none,
        .plan_text = plan,
        .plan_length = sizeof plan - 1,
        .plan_name = name,
    };
    const int64_t batch_id = ledger_open_batch(bench->ledger, &batch, &bench->fault);

    if (batch_id < 1) {
        fail_msg("%s", bench->fault.text);
    }
    return batch_id;
}

int bench_set_up(void **state) {
    struct bench *const bench = calloc(1, sizeof *bench);
    const char *const temporary = getenv("TMPDIR");
    struct bench_config config;

    snprintf(bench->folder, sizeof bench->folder, "%s/ledger-XXXXXX", temporary == NULL ? "/tmp" : temporary);
    if (mkdtemp(bench->folder) == NULL ||
        snprintf(bench->path, sizeof bench->path, "%s/shop ?#%%.db", bench->folder) >= (int)sizeof bench->path) {
        free(bench);
        return -1;
    }
    *state = bench;
    bench->ledger = bench_open(bench, LEDGER_RECORD);
    bench_fill_config(&config);
    bench_add_session(bench, &config.config, BENCH_STARTED_MS, false);
    return 0;
}

int bench_tear_down(void **state) {
    struct bench *const bench = *state;
    DIR *const folder = opendir(bench->folder);

    bench_close(bench);
    for (struct dirent *entry; folder != NULL && (entry = readdir(folder)) != NULL;) {
        unlinkat(dirfd(folder), entry->d_name, 0);
    }
    if (folder != NULL) {
        closedir(folder);
    }
    rmdir(bench->folder);
    free(bench);
    return 0;
}

int bench_run_sql(const char *path, const char *sql, char words[BENCH_WORDS_BYTES]) {
    sqlite3 *db = NULL;
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL);

    words[0] = '\0';
    for (const char *rest = sql; code == SQLITE_OK && *rest != '\0';) {
        code = sqlite3_prepare_v2(db, rest, -1, &statement, &rest);
        while (code == SQLITE_OK && sqlite3_step(statement) == SQLITE_ROW) {
            const unsigned char *const text = sqlite3_column_text(statement, 0);

            if (words[0] == '\0') {
                snprintf(words, BENCH_WORDS_BYTES, "%s", text == NULL ? "NULL" : (const char *)text);
            }
        }
        code = code == SQLITE_OK ? sqlite3_finalize(statement) : code;
    }
    if (code != SQLITE_OK) {
        snprintf(words, BENCH_WORDS_BYTES, "%s", sqlite3_errmsg(db));
    }
    sqlite3_close(db);
    return code;
}

int64_t bench_count(const char *path, const char *sql) {
    char words[BENCH_WORDS_BYTES];

    if (bench_run_sql(path, sql, words) != SQLITE_OK) {
        fail_msg("%s: %s", sql, words);
    }
    return strtoll(words, NULL, 10);
}

uint64_t bench_random(uint64_t *state) {
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return *state * UINT64_C(2685821657736338717);
}
