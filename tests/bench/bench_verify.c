// SPDX-License-Identifier: MIT
/* How fast seals are worked out again: readings a second, and against a bare scan of the same rows. */
#include <limits.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "figure.h"
#include "plant.h"
#include "soakledger/config.h"
#include "soakledger/ledger.h"
#include "soakledger/seal.h"

enum {
    CHANNELS = 12,
    SECONDS = 72 * 3600,
    INTERVAL_MS = 1000,
    COMMIT_ROWS = 200000,
    VALUES = 1000,
    VALUE_MC = 780000
};
static const double WANTED_READINGS_PER_S = 5e6;
static const double WANTED_SCANS = 3;   // our own choice: each row is also written out as text and digested
#define BEGIN_MS INT64_C(1794814200000) // 2026-11-16T07:30:00Z

struct shelf {
    char folder[PLANT_PATH_BYTES / 2], path[PLANT_PATH_BYTES], config_path[PLANT_PATH_BYTES];
    struct config *config;
    struct ledger *ledger;
    int64_t oven_id, channel_ids[CHANNELS];
};

static void check(bool done, const struct fault *fault) {
    if (!done)
        figure_give_up("%s", fault->text);
}

static void open_shelf(struct shelf *shelf) {
    static const struct plant_shape shape = {1, 1, CHANNELS, INTERVAL_MS, 19200, false};
    const struct ledger_session session = {.started_ms = BEGIN_MS, .wall_ms = BEGIN_MS, .boot_id = "bench"};
    const char *build = getenv("SOAKLEDGER_BUILD");
    char folder[PATH_MAX];
    struct fault fault;
    FILE *file;

    snprintf(shelf->folder, sizeof shelf->folder, "%s/verify-XXXXXX", build != NULL ? build : "build/gcc");
    if (mkdtemp(shelf->folder) == NULL || realpath(shelf->folder, folder) == NULL ||
        strlen(folder) >= sizeof shelf->folder)
        figure_give_up("cannot make the folder %s", shelf->folder);
    strcpy(shelf->folder, folder);
    snprintf(shelf->path, sizeof shelf->path, "%s/plant.ledger", shelf->folder);
    snprintf(shelf->config_path, sizeof shelf->config_path, "%s/plant.conf", shelf->folder);
    file = fopen(shelf->config_path, "w");
    if (file == NULL)
        figure_give_up("cannot write %s", shelf->config_path);
    plant_write_config(file, &shape, NULL, shelf->path);
    fclose(file);
    shelf->config = config_read(shelf->config_path, &fault);
    check(shelf->config != NULL, &fault);
    shelf->ledger = ledger_open(shelf->path, LEDGER_RECORD, &fault);
    check(shelf->ledger != NULL && ledger_begin(shelf->ledger, &fault) == 0, &fault);
    check(ledger_add_session(shelf->ledger, &session, shelf->config, &shelf->oven_id, shelf->channel_ids, &fault) >
              0,
          &fault);
}

/* A run of 72 hours and 12 channels, sealed as it closes. Returns how long sealing took. */
static double fill_shelf(struct shelf *shelf) {
    const int64_t end_ms = BEGIN_MS + (int64_t)SECONDS * INTERVAL_MS;
    struct fault fault;
    double began_s;
    int64_t run_id;

    for (int64_t i = 0; i < (int64_t)SECONDS * CHANNELS; i++) {
        const struct reading reading = {.t_ms = BEGIN_MS + i / CHANNELS * INTERVAL_MS + i % CHANNELS,
                                        .value = VALUE_MC + i * i % VALUES,
                                        .channel_id = shelf->channel_ids[i % CHANNELS]};

        check(ledger_add_reading(shelf->ledger, &reading, &fault) == 0, &fault);
        if (i % COMMIT_ROWS == COMMIT_ROWS - 1)
            check(ledger_commit(shelf->ledger, &fault) == 0 && ledger_begin(shelf->ledger, &fault) == 0, &fault);
    }
    run_id = ledger_open_run(shelf->ledger, shelf->oven_id, BEGIN_MS, &fault);
    check(run_id > 0 && ledger_end_run(shelf->ledger, run_id, end_ms, RUN_END_COLD, &fault) == 0, &fault);
    check(ledger_commit(shelf->ledger, &fault) == 0 && ledger_begin(shelf->ledger, &fault) == 0, &fault);
    began_s = figure_wall_s();
    check(seal_run(shelf->ledger, run_id, SEAL_RUN, 0, end_ms, NULL, &fault) == 0, &fault);
    check(ledger_commit(shelf->ledger, &fault) == 0, &fault);
    return figure_wall_s() - began_s;
}

static void give_up_on_flaw(void *context, const char *words) {
    (void)context;
    figure_give_up("%s", words);
}

static double verify_s(struct shelf *shelf) {
    const struct seal_scope everything = {0};
    struct seal_tally tally = {0};
    struct fault fault = {0};
    const double began_s = figure_cpu_s();

    check(seal_verify(shelf->ledger, &everything, give_up_on_flaw, NULL, &tally, &fault) == 0, &fault);
    if (tally.readings != (int64_t)SECONDS * CHANNELS)
        figure_give_up("%lld readings were verified", (long long)tally.readings);
    return figure_cpu_s() - began_s;
}

/* The peer: all rows in the same order, every column fetched, and nothing done with them. */
static double scan_s(const struct shelf *shelf) {
    static const char sql[] = "SELECT channel_id, t_ms, value, quality FROM reading ORDER BY channel_id, t_ms";
    const double began_s = figure_cpu_s();
    sqlite3_stmt *statement = NULL;
    sqlite3 *db = NULL;
    int64_t sum = 0;

    if (sqlite3_open_v2(shelf->path, &db, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK ||
        sqlite3_prepare_v2(db, sql, -1, &statement, NULL) != SQLITE_OK)
        figure_give_up("cannot scan %s", shelf->path);
    while (sqlite3_step(statement) == SQLITE_ROW)
        sum += sqlite3_column_int64(statement, 0) + sqlite3_column_int64(statement, 1) +
               sqlite3_column_int64(statement, 2) + sqlite3_column_int64(statement, 3);
    sqlite3_finalize(statement);
    sqlite3_close(db);
    if (sum == 0)
        figure_give_up("the scan found nothing");
    return figure_cpu_s() - began_s;
}

int main(void) {
    struct shelf shelf = {0};
    double sealed_s, verified_s = 0, scanned_s = 0;
    bool reached;

    open_shelf(&shelf);
    sealed_s = fill_shelf(&shelf);
    for (int i = 0; i < FIGURE_ROUNDS; i++) {
        const double one = verify_s(&shelf), other = scan_s(&shelf);

        verified_s = i == 0 || one < verified_s ? one : verified_s;
        scanned_s = i == 0 || other < scanned_s ? other : scanned_s;
    }
    figure_note("a run of %d readings was sealed in %.2f s", SECONDS * CHANNELS, sealed_s);
    reached =
        figure_put("verify", "readings/s", SECONDS * CHANNELS / verified_s, FIGURE_AT_LEAST, WANTED_READINGS_PER_S);
    reached =
        figure_put("verify against a bare scan", "scans", verified_s / scanned_s, FIGURE_AT_MOST, WANTED_SCANS) &&
        reached;
    ledger_close(shelf.ledger);
    config_free(shelf.config);
    for (size_t i = 0; i < 4; i++) {
        static const char *const ends[] = {"", "-wal", "-shm", ".lock"};
        char path[PLANT_PATH_BYTES + 8];

        snprintf(path, sizeof path, "%s%s", shelf.path, ends[i]);
        unlink(path);
    }
    unlink(shelf.config_path);
    rmdir(shelf.folder);
    return reached ? 0 : 1;
}
