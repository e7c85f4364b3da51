// SPDX-License-Identifier: MIT
/* What a certificate of a long run takes, against a bare scan of the same rows: 72 hours of 12 channels, once a
 * second. And how fast the ledger hands out readings in one order, against bare statements, one a channel. */
#include <fcntl.h>
#include <limits.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "figure.h"
#include "plant.h"
#include "soakledger/config.h"
#include "soakledger/ledger.h"

enum {
    CHANNELS = 12,
    HOURS = 72,
    HOUR_MS = 3600000,
    INTERVAL_MS = 1000,
    WARM_MS = 3 * HOUR_MS,
    FALL_MS = 66 * HOUR_MS,
    RUN_MS = HOURS * HOUR_MS,
    READINGS = CHANNELS * (RUN_MS / INTERVAL_MS),
    COLD_MC = 20000,
    SOAK_MC = 580000,
    COMMIT_READINGS = 200000,
    RANDOM_BITS = 33,
    NOISE_MC = 800,
    TENTH_MC = 100,
    KIB_PER_MIB = 1024,
    BYTES_PER_KB = 1000,
    US_PER_S = 1000000,
    BITS_PER_BYTE = 8,
};
/* Our own choices: the finished file is mapped to be signed, as Ed25519 asks; formatting and packing 130 MB takes
 * its time. */
static const double WANTED_WHOLE_MIB = 48, WANTED_WHOLE_SCANS = 10;
static const double WANTED_SCANS = 2, WANTED_MIB = 32, WANTED_KB = 400;
static const double WANTED_SCAN_PERCENT = 60; // our own choice, as for ingest
#define BEGIN_MS INT64_C(1794814200000)       // 2026-11-16T07:30:00Z

static char plan_text[] = "[plan]\n"
                          "title = Plane irons and chisels, stress relieved\n"
                          "steel = AISI O1 (UNS T31501)\n"
                          "load = sensors\n"
                          "[heat to relieve]\n"
                          "ramp_at_most = 400 C/h\n"
                          "ramp_between = 100 C .. 500 C\n"
                          "[soak relieve]\n"
                          "temperature = 580 C\n"
                          "below = 8 C\n"
                          "above = 8 C\n"
                          "time_at_least = 60 h\n"
                          "spread_at_most = 8 C\n";

struct books {
    char folder[PLANT_PATH_BYTES / 2], config_path[PLANT_PATH_BYTES], path[PLANT_PATH_BYTES], pdf[PLANT_PATH_BYTES];
    struct config *config;
    struct ledger *ledger;
    int64_t oven_id, batch_id, channel_ids[CHANNELS];
};

static void check(bool done, const struct fault *fault) {
    if (!done)
        figure_give_up("%s", fault->text);
}

/* ---- the ledger ---- */

static void open_books(struct books *books) {
    static const struct plant_shape shape = {1, 1, CHANNELS, INTERVAL_MS, 19200, false};
    const struct ledger_session session = {.started_ms = BEGIN_MS, .wall_ms = BEGIN_MS, .boot_id = "bench"};
    char folder[PATH_MAX];
    const char *build = getenv("SOAKLEDGER_BUILD");
    struct fault fault;
    FILE *file;

    snprintf(books->folder, sizeof books->folder, "%s/books-XXXXXX", build != NULL ? build : "build/gcc");
    if (mkdtemp(books->folder) == NULL || realpath(books->folder, folder) == NULL ||
        strlen(folder) >= sizeof books->folder)
        figure_give_up("cannot make the folder %s", books->folder);
    strcpy(books->folder, folder);
    snprintf(books->config_path, sizeof books->config_path, "%s/plant.conf", books->folder);
    snprintf(books->path, sizeof books->path, "%s/plant.ledger", books->folder);
    snprintf(books->pdf, sizeof books->pdf, "%s/sheet.pdf", books->folder);
    file = fopen(books->config_path, "w");
    if (file == NULL)
        figure_give_up("cannot write %s", books->config_path);
    plant_write_config(file, &shape, NULL, books->path);
    fclose(file);
    books->config = config_read(books->config_path, &fault);
    check(books->config != NULL, &fault);
    books->ledger = ledger_open(books->path, LEDGER_RECORD, &fault);
    check(books->ledger != NULL && ledger_begin(books->ledger, &fault) == 0, &fault);
    check(ledger_add_session(books->ledger, &session, books->config, &books->oven_id, books->channel_ids, &fault) >
              0,
          &fault);
}

/* Noise that no drawing can flatten, in tenths of a degree as controllers give them. */
static int64_t temperature_mc(int64_t since_ms, uint64_t *random) {
    // Knuth's linear congruential generator of MMIX, from memory.
    int64_t value_mc;

    *random = *random * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    value_mc = (int64_t)(*random >> RANDOM_BITS) % NOISE_MC;
    if (since_ms < WARM_MS)
        value_mc += COLD_MC + (SOAK_MC - COLD_MC) * since_ms / WARM_MS;
    else if (since_ms < FALL_MS)
        value_mc += SOAK_MC;
    else
        value_mc += SOAK_MC - (SOAK_MC - COLD_MC) * (since_ms - FALL_MS) / (RUN_MS - FALL_MS);
    return value_mc / TENTH_MC * TENTH_MC;
}

static void fill_books(struct books *books) {
    uint64_t random = 1;
    struct fault fault;
    size_t added = 0;

    for (int64_t since_ms = 0; since_ms < RUN_MS; since_ms += INTERVAL_MS) {
        for (size_t i = 0; i < CHANNELS; i++) {
            const struct reading reading = {.t_ms = BEGIN_MS + since_ms + (int64_t)i,
                                            .value = temperature_mc(since_ms, &random),
                                            .channel_id = books->channel_ids[i]};

            check(ledger_add_reading(books->ledger, &reading, &fault) == 0, &fault);
            if (++added % COMMIT_READINGS == 0)
                check(ledger_commit(books->ledger, &fault) == 0 && ledger_begin(books->ledger, &fault) == 0,
                      &fault);
        }
    }
}

static void claim_run(struct books *books) {
    static char charge[] = "24 plane irons", none[] = "", name[] = "irons.plan";
    const struct ledger_batch batch = {.opened_ms = BEGIN_MS,
                                       .oven_id = books->oven_id,
                                       .charge = charge,
                                       .customer = none,
                                       .order_reference = none,
                                       .operator_name = none,
                                       .note = none,
                                       .plan_text = plan_text,
                                       .plan_length = sizeof plan_text - 1,
                                       .plan_name = name};
    struct fault fault;
    const int64_t run_id = ledger_open_run(books->ledger, books->oven_id, BEGIN_MS, &fault);

    check(run_id > 0, &fault);
    fill_books(books);
    check(ledger_end_run(books->ledger, run_id, BEGIN_MS + RUN_MS, RUN_END_COOLING, &fault) == 0, &fault);
    books->batch_id = ledger_open_batch(books->ledger, &batch, &fault);
    check(books->batch_id > 0, &fault);
    check(ledger_claim_run(books->ledger, run_id, books->batch_id, 0, BEGIN_MS + RUN_MS, "daemon", &fault) == 0,
          &fault);
    check(ledger_commit(books->ledger, &fault) == 0, &fault);
    ledger_close(books->ledger);
    books->ledger = NULL;
}

static void close_books(struct books *books) {
    char command[PLANT_PATH_BYTES];

    ledger_close(books->ledger);
    config_free(books->config);
    snprintf(command, sizeof command, "rm -r '%s'", books->folder);
    if (system(command) != 0)
        figure_give_up("cannot remove %s", books->folder);
}

/* ---- scans ---- */

/* Time of this process alone: a scan of what is in the page cache waits for nothing. */
static double scan_s(const struct books *books, const char *sql, bool each_channel) {
    const double began_s = figure_cpu_s();
    const size_t times = each_channel ? CHANNELS : 1;
    sqlite3 *db = NULL;
    sqlite3_stmt *statement = NULL;
    volatile int64_t kept;
    int64_t sum = 0, rows = 0;

    if (sqlite3_open_v2(books->path, &db, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK ||
        sqlite3_prepare_v2(db, sql, -1, &statement, NULL) != SQLITE_OK)
        figure_give_up("%s: %s", books->path, sqlite3_errmsg(db));
    for (size_t i = 0; i < times; i++) {
        if (each_channel)
            sqlite3_bind_int64(statement, 1, books->channel_ids[i]);
        for (; sqlite3_step(statement) == SQLITE_ROW; rows++) {
            for (int column = 0; column < sqlite3_column_count(statement); column++)
                sum += sqlite3_column_int64(statement, column);
        }
        sqlite3_reset(statement);
    }
    kept = sum;
    (void)kept;
    sqlite3_finalize(statement);
    sqlite3_close(db);
    if (rows != READINGS)
        figure_give_up("%s holds %lld readings", books->path, (long long)rows);
    return figure_cpu_s() - began_s;
}

static double merged_s(const struct books *books) {
    const double began_s = figure_cpu_s();
    struct fault fault;
    struct ledger *ledger = ledger_open(books->path, LEDGER_READ, &fault);
    struct ledger_cursor *cursor;
    struct reading reading;
    int64_t rows = 0;
    int more;

    check(ledger != NULL, &fault);
    cursor = ledger_open_cursor(ledger, books->channel_ids, CHANNELS, BEGIN_MS, BEGIN_MS + RUN_MS, &fault);
    check(cursor != NULL, &fault);
    while ((more = ledger_next_reading(cursor, &reading, &fault)) == 1)
        rows++;
    check(more == 0, &fault);
    ledger_close_cursor(cursor);
    ledger_close(ledger);
    if (rows != READINGS)
        figure_give_up("the cursor gave %lld readings", (long long)rows);
    return figure_cpu_s() - began_s;
}

/* ---- the certificate ---- */

struct issued {
    double cpu_s, wall_s, resident_mib, kb;
};

/* The pages alone, which have to be fast and small, or with every reading attached for a stranger to judge anew. */
static struct issued issue(const struct books *books, int64_t revision, bool with_readings) {
    const char *words[] = {"certificate", NULL, "-o", books->pdf, NULL, NULL, NULL, NULL};
    size_t count = 4;
    char program[PLANT_PATH_BYTES], batch[PLANT_PATH_BYTES];
    const char *build = getenv("SOAKLEDGER_BUILD");
    const double began_s = figure_wall_s();
    struct rusage usage;
    struct stat pdf;
    int status;
    pid_t child;

    snprintf(program, sizeof program, "%s/soakledger", build != NULL ? build : "build/gcc");
    snprintf(batch, sizeof batch, "%lld", (long long)books->batch_id);
    child = fork();
    if (child == 0) {
        const int nowhere = open("/dev/null", O_WRONLY);

        dup2(nowhere, STDOUT_FILENO);
        dup2(nowhere, STDERR_FILENO);
        words[1] = batch;
        if (revision > 1) {
            words[count++] = "--why";
            words[count++] = "once more";
        }
        words[count] = with_readings ? NULL : "--without-readings";
        execl(program, program, "-c", books->config_path, words[0], words[1], words[2], words[3], words[4],
              words[5], words[6], (char *)NULL);
        _exit(EXIT_FAILURE);
    }
    if (child < 0 || wait4(child, &status, 0, &usage) != child || !WIFEXITED(status) || WEXITSTATUS(status) != 0 ||
        stat(books->pdf, &pdf) != 0)
        figure_give_up("no certificate was made");
    return (struct issued){
        .cpu_s = (double)(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
                 (double)(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec) / US_PER_S,
        .wall_s = figure_wall_s() - began_s,
        .resident_mib = (double)usage.ru_maxrss / KIB_PER_MIB,
        .kb = (double)pdf.st_size / BYTES_PER_KB,
    };
}

static double least(double a, double b) {
    return a == 0 || b < a ? b : a;
}

int main(void) {
    static const char all[] = "SELECT channel_id, t_ms, value, quality FROM reading";
    static const char one[] = "SELECT t_ms, value, quality FROM reading WHERE channel_id = ? ORDER BY t_ms";
    double scan = 0, channels = 0, merged = 0, cpu = 0;
    struct issued issued = {0}, whole = {0};
    int64_t revision = 0;
    struct books books = {0};
    bool ok;

    open_books(&books);
    claim_run(&books);
    for (int round = 0; round < FIGURE_ROUNDS; round++) {
        scan = least(scan, scan_s(&books, all, false));
        channels = least(channels, scan_s(&books, one, true));
        merged = least(merged, merged_s(&books));
        issued = issue(&books, ++revision, false);
        cpu = least(cpu, issued.cpu_s);
    }
    whole = issue(&books, ++revision, true);
    close_books(&books);
    figure_note(
        "%d readings: scanned in %.2f s, by channel %.2f s, merged in %.2f s, certificate in %.2f s (%.2f s by"
        " the wall)",
        READINGS, scan, channels, merged, cpu, issued.wall_s);
    figure_note("with every reading attached: %.2f s, %.0f kB, %.1f bits a reading", whole.cpu_s, whole.kb,
                (whole.kb - issued.kb) * BYTES_PER_KB * BITS_PER_BYTE / READINGS);
    ok = figure_put("certificate of 72 h x 12 channels, of a bare scan", "x", cpu / scan, FIGURE_AT_MOST,
                    WANTED_SCANS);
    ok &= figure_put("certificate: resident at most", "MiB", issued.resident_mib, FIGURE_AT_MOST, WANTED_MIB);
    ok &= figure_put("certificate: the file", "kB", issued.kb, FIGURE_AT_MOST, WANTED_KB);
    ok &= figure_put("certificate with readings: resident at most", "MiB", whole.resident_mib, FIGURE_AT_MOST,
                     WANTED_WHOLE_MIB);
    ok &= figure_put("certificate with readings: of a bare scan", "x", whole.cpu_s / scan, FIGURE_AT_MOST,
                     WANTED_WHOLE_SCANS);
    ok &= figure_put("merged scan, of bare scans channel by channel", "%", 100 * channels / merged, FIGURE_AT_LEAST,
                     WANTED_SCAN_PERCENT);
    return ok ? EXIT_SUCCESS : EXIT_FAILURE;
}
