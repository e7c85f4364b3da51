// SPDX-License-Identifier: MIT
/* How evenly channels are read, with the disk standing still for two seconds twice: once because somebody else holds
 * the ledger's write lock, once because every write and every sync waits. And what that costs: idle, and at a size
 * that no toolroom has.
 *
 * The period error is the time between two requests of one instrument, less its interval. It is taken where the
 * requests arrive, in microseconds, and again from the times stored with the readings. */
#include <fcntl.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "figure.h"
#include "plant.h"

enum {
    MOST_ADDRESSES = 64,
    US_PER_MS = 1000,
    BUSY_MS = 5000,
    ROUNDS_WITH_STALL = 2,
};
static const double P99 = 0.99, WANTED_ERROR_MS = 5, SETTLE_S = 8, STALL_S = 2, BETWEEN_S = 3;
static const double IDLE_S = 30, SCALE_S = 20, WANTED_IDLE_PERCENT = 1, WANTED_RESIDENT_MIB = 16;

struct errors {
    int64_t *values; // without sign
    size_t count;
    size_t missed; // periods in which an instrument was not asked
};

static void add_error(struct errors *errors, int64_t apart, int64_t interval) {
    errors->values[errors->count++] = llabs(apart - interval);
    if (apart > interval)
        errors->missed += (size_t)((apart + interval / 2) / interval - 1);
}

/* Of the arrivals from the `first` on. */
static struct errors collect_arrivals(const struct plant *plant, size_t first) {
    static const int64_t never = 0;
    const size_t count = far_count(plant->far);
    const struct far_arrival *arrivals = far_arrivals(plant->far);
    const int64_t interval_us = (int64_t)plant->shape.interval_ms * US_PER_MS;
    int64_t last_us[FAR_MOST_LINES][MOST_ADDRESSES] = {0};
    struct errors errors = {.values = calloc(count + 1, sizeof(int64_t))};

    if (errors.values == NULL)
        figure_give_up("no memory for %zu times", count);
    for (size_t i = first; i < count; i++) {
        int64_t *last = &last_us[arrivals[i].line][arrivals[i].address % MOST_ADDRESSES];

        if (*last != never)
            add_error(&errors, arrivals[i].t_us - *last, interval_us);
        *last = arrivals[i].t_us;
    }
    return errors;
}

/* Of the readings stored, all channels. */
static struct errors collect_stored(const struct plant *plant, int64_t from_ms) {
    static const char sql[] = "SELECT channel_id, t_ms FROM reading WHERE t_ms >= ? ORDER BY channel_id, t_ms";
    const size_t most = (size_t)plant_ask(plant->ledger, "SELECT count(*) FROM reading");
    struct errors errors = {.values = calloc(most + 1, sizeof(int64_t))};
    sqlite3 *db = NULL;
    sqlite3_stmt *statement = NULL;
    int64_t channel = 0, last_ms = 0;

    if (errors.values == NULL || sqlite3_open_v2(plant->ledger, &db, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK ||
        sqlite3_prepare_v2(db, sql, -1, &statement, NULL) != SQLITE_OK)
        figure_give_up("cannot read %s", plant->ledger);
    sqlite3_bind_int64(statement, 1, from_ms);
    while (sqlite3_step(statement) == SQLITE_ROW) {
        const int64_t t_ms = sqlite3_column_int64(statement, 1);

        if (sqlite3_column_int64(statement, 0) == channel)
            add_error(&errors, t_ms - last_ms, plant->shape.interval_ms);
        channel = sqlite3_column_int64(statement, 0);
        last_ms = t_ms;
    }
    sqlite3_finalize(statement);
    sqlite3_close(db);
    return errors;
}

/* ---- stalls ---- */

static void hold_ledger(const struct plant *plant) {
    sqlite3 *db = NULL;

    if (sqlite3_open_v2(plant->ledger, &db, SQLITE_OPEN_READWRITE, NULL) != SQLITE_OK ||
        sqlite3_busy_timeout(db, BUSY_MS) != SQLITE_OK ||
        sqlite3_exec(db, "BEGIN IMMEDIATE", NULL, NULL, NULL) != SQLITE_OK)
        figure_give_up("cannot lock %s", plant->ledger);
    plant_sleep_s(STALL_S);
    sqlite3_exec(db, "ROLLBACK", NULL, NULL, NULL);
    sqlite3_close(db);
}

static void stall_disk(const struct plant *plant) {
    const int file = open(plant->stall, O_WRONLY | O_CREAT, S_IRUSR | S_IWUSR);

    if (file < 0)
        figure_give_up("cannot make %s", plant->stall);
    close(file);
    plant_sleep_s(STALL_S);
    unlink(plant->stall);
}

/* A stall that was none proves nothing: the longest wait between two commits shows in the log's growth, so the ledger
 * is asked before and within the stall. */
static void stall_and_check(const struct plant *plant) {
    const double before = plant_ask(plant->ledger, "SELECT count(*) FROM reading");
    int file = open(plant->stall, O_WRONLY | O_CREAT, S_IRUSR | S_IWUSR);
    double early, late;

    (void)before;
    close(file);
    plant_sleep_s(STALL_S / 2);
    early = plant_ask(plant->ledger, "SELECT count(*) FROM reading");
    plant_sleep_s(STALL_S / 2);
    late = plant_ask(plant->ledger, "SELECT count(*) FROM reading");
    unlink(plant->stall);
    if (early != late)
        figure_give_up("the disk did not stand still");
}
