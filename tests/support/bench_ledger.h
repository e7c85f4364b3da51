// SPDX-License-Identifier: MIT
/* bench_ledger: a ledger in a folder of its own, with a small invented toolroom in it, for tests. */
#ifndef SOAKLEDGER_BENCH_LEDGER_H
#define SOAKLEDGER_BENCH_LEDGER_H

#include <sys/types.h>

#include "soakledger/ledger.h"

enum { BENCH_OVENS = 2, BENCH_CHANNELS = 4, BENCH_PATH_BYTES = 128, BENCH_WORDS_BYTES = 512 };
#define BENCH_STARTED_MS INT64_C(1794814200000) // 2026-11-16T07:30:00Z

/* The toolroom's configuration, to be changed at will: a hardening kiln with control and charge thermocouple
 * and an output, and a temper oven with one thermocouple. */
struct bench_config {
    struct config config;
    struct config_line line;
    struct config_instrument instruments[2];
    struct config_sensor sensors[2];
    struct config_oven ovens[BENCH_OVENS];
    struct config_channel channels[BENCH_CHANNELS];
};

struct bench {
    char folder[BENCH_PATH_BYTES];
    char path[BENCH_PATH_BYTES];
    struct ledger *ledger; // recording; NULL while closed
    int64_t ovens[BENCH_OVENS];
    int64_t channels[BENCH_CHANNELS];
    struct fault fault;
};

/* Not to be copied: its parts point at each other. */
void bench_fill_config(struct bench_config *config);

/* cmocka's fixtures: *state is a struct bench with a recording ledger that holds one session. */
int bench_set_up(void **state);
int bench_tear_down(void **state);

/* Opens the bench's ledger again; fails the test if that is refused. */
struct ledger *bench_open(struct bench *bench, enum ledger_mode mode);
void bench_close(struct bench *bench);

/* One more session with that configuration, at `started_ms`. */
void bench_add_session(struct bench *bench, const struct config *config, int64_t started_ms, bool simulated);
void bench_add_reading(struct bench *bench, int64_t channel_id, int64_t t_ms, int64_t value, enum quality quality);
/* A batch in the first oven under a short plan; its id. */
int64_t bench_open_batch(struct bench *bench, int64_t opened_ms);

/* One of everything: two readings, an event, run 1 ended and claimed for the closed batch 1, run 2 on, batch 2
 * open, judgement 1 complete, judgement 2 not, a certificate. */
void bench_fill(struct bench *bench);

/* That a call gave -1 and a fault of that status: one line that begins with the ledger's path and has `words` in
 * it. */
void bench_assert_fault(const struct bench *bench, int64_t result, int status, const char *words);

/* A file's bytes, which the caller frees; and a file of those bytes. */
char *bench_slurp(const char *path, size_t *length);
void bench_spill(const char *path, const char *bytes, size_t length);

/* Looks at everything there is in the ledger. 0, or -1 with the fault of the first thing that could not be read.
 * `readings` gets how many were. */
int bench_read_everything(const char *path, int64_t *readings, struct fault *fault);

/* Another program that opens the ledger, and begins to write if it is to bookkeep. It tells when it is there, and
 * ends `for_ms` later. The bench's own ledger is closed first: SQLite does not stand being forked. */
pid_t bench_start_other(struct bench *bench, enum ledger_mode mode, int for_ms);

/* Runs SQL through a connection of sqlite3's own, as a person with its shell would. The first column of the
 * first row, or what SQLite said, as words. Returns SQLite's code. */
int bench_run_sql(const char *path, const char *sql, char words[BENCH_WORDS_BYTES]);
/* The same, where the answer is a number and nothing may go wrong. */
int64_t bench_count(const char *path, const char *sql);

/* Pseudo-random numbers that are the same everywhere: xorshift64* (Vigna 2016, from memory). */
uint64_t bench_random(uint64_t *state);

#endif
