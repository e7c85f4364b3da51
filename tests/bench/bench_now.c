// SPDX-License-Identifier: MIT
/* How soon `soakledger now` answers on a large ledger: bench_now [MILLIONS of readings]. Four ovens with a run of
 * three days on in each, and years of readings before them. */
#include <fcntl.h>
#include <limits.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "figure.h"
#include "plant.h"
#include "soakledger/config.h"
#include "soakledger/ledger.h"

enum {
    OVENS = 4,
    CHANNELS_EACH = 3,
    CHANNELS = OVENS * CHANNELS_EACH,
    INTERVAL_MS = 1000,
    DEFAULT_MILLIONS = 20, // under a minute; 100 take about five times as long
    MOST_MILLIONS = 2000,
    MILLION = 1000000,
    RUN_MS = 72 * 3600000,
    SOAK_MC = 580000,
    SAW_MC = 1500,
    MS_PER_S = 1000,
    ROUNDS = 20, // an answer is so short that any other program is felt: the best counts
};
static const double WANTED_MS = 50;

struct bench_now {
    char folder[PLANT_PATH_BYTES / 2], config_path[PLANT_PATH_BYTES], path[PLANT_PATH_BYTES];
    int64_t oven_ids[OVENS], channel_ids[CHANNELS];
    int64_t now_ms;
};

static void check(bool done, const struct fault *fault) {
    if (!done)
        figure_give_up("%s", fault->text);
}

static void open_folder(struct bench_now *bench) {
    const char *build = getenv("SOAKLEDGER_BUILD");
    char folder[PATH_MAX];

    snprintf(bench->folder, sizeof bench->folder, "%s/now-XXXXXX", build != NULL ? build : "build/gcc");
    if (mkdtemp(bench->folder) == NULL || realpath(bench->folder, folder) == NULL ||
        strlen(folder) >= sizeof bench->folder)
        figure_give_up("cannot make the folder %s", bench->folder);
    strcpy(bench->folder, folder);
    snprintf(bench->config_path, sizeof bench->config_path, "%s/plant.conf", bench->folder);
    snprintf(bench->path, sizeof bench->path, "%s/plant.ledger", bench->folder);
}

/* Everything but the readings, as a daemon writes it. */
static void make_ledger(struct bench_now *bench) {
    static const struct plant_shape shape = {OVENS, 1, CHANNELS_EACH, INTERVAL_MS, 19200, false};
    struct ledger_session session = {.boot_id = "bench"};
    struct config *config;
    struct ledger *ledger;
    struct fault fault;
    FILE *file = fopen(bench->config_path, "w");

    if (file == NULL)
        figure_give_up("cannot write %s", bench->config_path);
    plant_write_config(file, &shape, NULL, bench->path);
    fclose(file);
    bench->now_ms = plant_wall_ms();
    session.started_ms = session.wall_ms = bench->now_ms - RUN_MS;
    config = config_read(bench->config_path, &fault);
    check(config != NULL, &fault);
    ledger = ledger_open(bench->path, LEDGER_RECORD, &fault);
    check(ledger != NULL && ledger_begin(ledger, &fault) == 0, &fault);
    check(ledger_add_session(ledger, &session, config, bench->oven_ids, bench->channel_ids, &fault) > 0, &fault);
    for (size_t i = 0; i < OVENS; i++)
        check(ledger_open_run(ledger, bench->oven_ids[i], bench->now_ms - RUN_MS, &fault) > 0, &fault);
    check(ledger_commit(ledger, &fault) == 0, &fault);
    ledger_close(ledger);
    config_free(config);
}

static void do_sql(sqlite3 *db, const char *sql) {
    if (sqlite3_exec(db, sql, NULL, NULL, NULL) != SQLITE_OK)
        figure_give_up("%s: %s", sql, sqlite3_errmsg(db));
}

/* The triggers ask of every reading whether it is there already: what is made here is new. */
static void put_readings(const struct bench_now *bench, int64_t count) {
    sqlite3_stmt *insert = NULL;
    sqlite3 *db = NULL;
    const int64_t each = count / CHANNELS;

    if (sqlite3_open_v2(bench->path, &db, SQLITE_OPEN_READWRITE, NULL) != SQLITE_OK)
        figure_give_up("%s: %s", bench->path, sqlite3_errmsg(db));
    do_sql(db, "PRAGMA journal_mode = DELETE");
    do_sql(db, "PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF");
    do_sql(db, "DROP TRIGGER reading_unreplaced; BEGIN"); // for good: nobody records into it
    if (sqlite3_prepare_v2(db, "INSERT INTO reading VALUES (?, ?, ?, 0)", -1, &insert, NULL) != SQLITE_OK)
        figure_give_up("%s", sqlite3_errmsg(db));
    for (size_t channel = 0; channel < CHANNELS; channel++) {
        for (int64_t i = each; i-- > 0;) {
            sqlite3_bind_int64(insert, 1, bench->channel_ids[channel]);
            sqlite3_bind_int64(insert, 2, bench->now_ms - i * INTERVAL_MS);
            sqlite3_bind_int64(insert, 3, SOAK_MC + i % SAW_MC);
            if (sqlite3_step(insert) != SQLITE_DONE)
                figure_give_up("%s", sqlite3_errmsg(db));
            sqlite3_reset(insert);
        }
    }
    sqlite3_finalize(insert);
    do_sql(db, "COMMIT");
    do_sql(db, "PRAGMA journal_mode = WAL");
    sqlite3_close(db);
}

/* By the wall; `cpu_ms` gets what the processor spent on it. */
static double answer_ms(const struct bench_now *bench, double *cpu_ms) {
    char program[PLANT_PATH_BYTES];
    const char *build = getenv("SOAKLEDGER_BUILD");
    const double began_s = figure_wall_s();
    struct rusage usage;
    pid_t child;
    int status;

    snprintf(program, sizeof program, "%s/soakledger", build != NULL ? build : "build/gcc");
    child = fork();
    if (child == 0) {
        const int nowhere = open("/dev/null", O_WRONLY);

        dup2(nowhere, STDOUT_FILENO);
        execl(program, program, "-c", bench->config_path, "now", (char *)NULL);
        _exit(EXIT_FAILURE);
    }
    if (child < 0 || wait4(child, &status, 0, &usage) != child || !WIFEXITED(status) || WEXITSTATUS(status) != 0)
        figure_give_up("there was no answer");
    *cpu_ms = (double)(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) * MS_PER_S +
              (double)(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec) / MS_PER_S;
    return (figure_wall_s() - began_s) * MS_PER_S;
}

int main(int argc, char **argv) {
    struct bench_now bench = {0};
    char command[PLANT_PATH_BYTES], what[PLANT_PATH_BYTES];
    int64_t millions = DEFAULT_MILLIONS;
    double made_s, best_ms = 0, first_ms, cpu_ms;
    struct fault fault;
    bool ok;

    if (argc > 2 || (argc == 2 && quantity_parse_integer(argv[1], 1, MOST_MILLIONS, &millions, &fault) != 0))
        figure_give_up("expected 'bench_now [MILLIONS]'");
    open_folder(&bench);
    made_s = figure_wall_s();
    make_ledger(&bench);
    put_readings(&bench, millions * MILLION);
    made_s = figure_wall_s() - made_s;
    first_ms = answer_ms(&bench, &cpu_ms);
    for (int round = 0; round < ROUNDS; round++) {
        const double ms = answer_ms(&bench, &cpu_ms);

        best_ms = best_ms == 0 || ms < best_ms ? ms : best_ms;
    }
    figure_note(
        "a ledger of %lld million readings, made in %.0f s; the first answer took %.1f ms, the last %.1f ms of CPU",
        (long long)millions, made_s, first_ms, cpu_ms);
    snprintf(what, sizeof what, "now, of %d ovens on %lld M readings", OVENS, (long long)millions);
    ok = figure_put(what, "ms", best_ms, FIGURE_AT_MOST, WANTED_MS);
    snprintf(command, sizeof command, "rm -r '%s'", bench.folder);
    if (system(command) != 0)
        figure_give_up("cannot remove %s", bench.folder);
    return ok ? EXIT_SUCCESS : EXIT_FAILURE;
}
