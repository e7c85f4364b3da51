// SPDX-License-Identifier: MIT
/* How many readings a second come into the ledger by the daemon's own way (queue, ledger thread, order, run
 * detection, statement) while runs are on, against bare inserts of the same readings into the same tables. */
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "figure.h"
#include "plant.h"
#include "soakledger/config.h"
#include "soakledger/ledger.h"
#include "soakledger/queue.h"
#include "soakledger/writer.h"

enum {
    LINES = 8,
    INSTRUMENTS = 2,
    REGISTERS = 4,
    CHANNELS = LINES * INSTRUMENTS * REGISTERS,
    INTERVAL_MS = 1000,
    WARM_PERIODS = 60, // until a run is on in every oven
    PERIODS = 15000,
    QUEUE_MESSAGES = 8192,
    FULL_US = 100,
    WARM_MC = 200000,
    RISE_MC = 2000, // a period, at first
    NOISE_MC = 500,
};
static const double COMMIT_EVERY_S = 0.25, WANTED_PERCENT = 60; // the ledger thread commits that often
#define BEGIN_MS INT64_C(1794814200000)                         // 2026-11-16T07:30:00Z

struct books {
    char folder[PLANT_PATH_BYTES / 2], config_path[PLANT_PATH_BYTES], path[PLANT_PATH_BYTES];
    struct config *config;
    struct ledger *ledger;
    int64_t oven_ids[LINES], channel_ids[CHANNELS];
};

static const struct plant_shape shape = {LINES, INSTRUMENTS, REGISTERS, INTERVAL_MS, 19200, true};

static void open_books(struct books *books) {
    const struct ledger_session session = {.started_ms = BEGIN_MS, .wall_ms = BEGIN_MS, .boot_id = "bench"};
    const char *build = getenv("SOAKLEDGER_BUILD");
    struct fault fault;
    FILE *file;

    snprintf(books->folder, sizeof books->folder, "%s/ingest-XXXXXX", build != NULL ? build : "build/gcc");
    if (mkdtemp(books->folder) == NULL)
        figure_give_up("cannot make the folder %s", books->folder);
    snprintf(books->config_path, sizeof books->config_path, "%s/plant.conf", books->folder);
    snprintf(books->path, sizeof books->path, "%s/plant.ledger", books->folder);
    file = fopen(books->config_path, "w");
    if (file == NULL)
        figure_give_up("cannot write %s", books->config_path);
    plant_write_config(file, &shape, NULL, "/var/lib/soakledger/plant.ledger"); // not the one that is used
    fclose(file);
    books->config = config_read(books->config_path, &fault);
    books->ledger = books->config != NULL ? ledger_open(books->path, LEDGER_RECORD, &fault) : NULL;
    if (books->ledger == NULL || ledger_begin(books->ledger, &fault) != 0 ||
        ledger_add_session(books->ledger, &session, books->config, books->oven_ids, books->channel_ids, &fault) <
            0 ||
        ledger_commit(books->ledger, &fault) != 0)
        figure_give_up("%s", fault.text);
}

static void close_books(struct books *books) {
    char command[PLANT_PATH_BYTES];

    ledger_close(books->ledger);
    config_free(books->config);
    snprintf(command, sizeof command, "rm -r '%s'", books->folder);
    if (system(command) != 0)
        figure_give_up("cannot remove %s", books->folder);
}

/* The channels of a period are read one after the other, a millisecond apart. */
static struct reading make_reading(const struct books *books, int64_t period, int channel) {
    const int64_t rise = period < WARM_PERIODS ? period : WARM_PERIODS;

    return (struct reading){.t_ms = BEGIN_MS + period * INTERVAL_MS + channel,
                            .value =
                                WARM_MC + rise * RISE_MC + (period * 7919 + channel * 104729) % NOISE_MC, // primes
                            .channel_id = books->channel_ids[channel]};
}

static void push(struct queue *queue, const struct message *message) {
    while (queue_depth(queue) == QUEUE_MESSAGES)
        usleep(FULL_US);
    queue_push(queue, message);
}

/* As the acquisition thread does: the readings of a reply, then how far all is known. */
static void push_periods(const struct books *books, struct queue *queue, int64_t from, int64_t to) {
    for (int64_t period = from; period < to; period++) {
        for (int channel = 0; channel < CHANNELS; channel++) {
            const struct message reading = {.kind = MESSAGE_READING,
                                            .reading = make_reading(books, period, channel)};
            const struct message mark = {.kind = MESSAGE_WATERMARK, .watermark_ms = reading.reading.t_ms};

            push(queue, &reading);
            if (channel % REGISTERS == REGISTERS - 1)
                push(queue, &mark);
        }
    }
}

static double ingest_per_s(void) {
    struct books books;
    struct fault fault;
    struct queue *queue = queue_open(QUEUE_MESSAGES, &fault);
    struct alert_desk *desk = alert_open(NULL, INT64_MAX, INT64_MAX, &fault);
    struct clock *clock = clock_open_real(&fault);
    struct writer *writer = NULL;
    double began_s, per_s;

    open_books(&books);
    if (queue != NULL && desk != NULL && clock != NULL)
        writer =
            writer_start(books.ledger, books.config, books.oven_ids, books.channel_ids, queue, desk, clock, &fault);
    if (writer == NULL)
        figure_give_up("%s", fault.text);
    push_periods(&books, queue, 0, WARM_PERIODS);
    while (queue_depth(queue) > 0)
        usleep(FULL_US);
    began_s = figure_wall_s();
    push_periods(&books, queue, WARM_PERIODS, WARM_PERIODS + PERIODS);
    queue_shut(queue);
    if (writer_finish(writer, &fault) != 0)
        figure_give_up("%s", fault.text);
    per_s = (double)PERIODS * CHANNELS / (figure_wall_s() - began_s);
    if (plant_ask(books.path, "SELECT count(*) FROM run WHERE ended_ms IS NULL") != LINES ||
        plant_ask(books.path, "SELECT count(*) FROM reading") < (double)PERIODS * CHANNELS)
        figure_give_up("%s does not hold what was given", books.path);
    queue_free(queue);
    alert_close(desk);
    clock_close(clock);
    close_books(&books);
    return per_s;
}

static void insert(sqlite3 *db, sqlite3_stmt *statement, const struct reading *reading) {
    sqlite3_bind_int64(statement, 1, reading->channel_id);
    sqlite3_bind_int64(statement, 2, reading->t_ms);
    sqlite3_bind_int64(statement, 3, reading->value);
    sqlite3_bind_int64(statement, 4, reading->quality);
    if (sqlite3_step(statement) != SQLITE_DONE || sqlite3_reset(statement) != SQLITE_OK)
        figure_give_up("cannot insert: %s", sqlite3_errmsg(db));
}

/* `prepare`: what else is done to the tables. The settings are the ledger's own. */
static double bare_per_s(const char *prepare) {
    static const char settings[] = "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON";
    struct books books;
    sqlite3 *db = NULL;
    sqlite3_stmt *statement = NULL;
    double began_s, committed_s, per_s;

    open_books(&books);
    if (sqlite3_open(books.path, &db) != SQLITE_OK || sqlite3_exec(db, settings, NULL, NULL, NULL) != SQLITE_OK ||
        sqlite3_exec(db, prepare, NULL, NULL, NULL) != SQLITE_OK ||
        sqlite3_prepare_v2(db, "INSERT INTO reading VALUES (?, ?, ?, ?)", -1, &statement, NULL) != SQLITE_OK)
        figure_give_up("%s: %s", books.path, sqlite3_errmsg(db));
    began_s = committed_s = figure_wall_s();
    sqlite3_exec(db, "BEGIN IMMEDIATE", NULL, NULL, NULL);
    for (int64_t period = 0; period < PERIODS; period++) {
        for (int channel = 0; channel < CHANNELS; channel++) {
            const struct reading reading = make_reading(&books, period, channel);

            insert(db, statement, &reading);
        }
        if (figure_wall_s() - committed_s >= COMMIT_EVERY_S) {
            sqlite3_exec(db, "COMMIT; BEGIN IMMEDIATE", NULL, NULL, NULL);
            committed_s = figure_wall_s();
        }
    }
    if (sqlite3_exec(db, "COMMIT", NULL, NULL, NULL) != SQLITE_OK)
        figure_give_up("%s: %s", books.path, sqlite3_errmsg(db));
    per_s = (double)PERIODS * CHANNELS / (figure_wall_s() - began_s);
    sqlite3_finalize(statement);
    sqlite3_close(db);
    close_books(&books);
    return per_s;
}

int main(void) {
    static const char plain[] = "PRAGMA foreign_keys = OFF; DROP TRIGGER reading_unreplaced";
    double ingest = 0, bare = 0, plainest = 0;

    for (int round = 0; round < FIGURE_ROUNDS; round++) {
        const double by_daemon = ingest_per_s(), by_hand = bare_per_s(""), unguarded = bare_per_s(plain);

        figure_note("round %d: %.0f k/s, bare %.0f k/s, bare without triggers and foreign keys %.0f k/s", round + 1,
                    by_daemon / 1e3, by_hand / 1e3, unguarded / 1e3);
        ingest = by_daemon > ingest ? by_daemon : ingest;
        bare = by_hand > bare ? by_hand : bare;
        plainest = unguarded > plainest ? unguarded : plainest;
    }
    figure_note("against bare inserts without triggers and foreign keys: %.0f %%", 100 * ingest / plainest);
    return figure_put("ingest, of bare inserts into the same tables", "%", 100 * ingest / bare, FIGURE_AT_LEAST,
                      WANTED_PERCENT)
               ? EXIT_SUCCESS
               : EXIT_FAILURE;
}
