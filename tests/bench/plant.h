// SPDX-License-Identifier: MIT
/* plant: the real daemon on a real clock, recording a far end of many controllers into a ledger of its own. */
#ifndef SOAKLEDGER_BENCH_PLANT_H
#define SOAKLEDGER_BENCH_PLANT_H

#include <stdbool.h>
#include <stdio.h>
#include <sys/types.h>

#include "far_end.h"

enum { PLANT_PATH_BYTES = 256 };

struct plant_shape {
    size_t lines;       // an oven each
    size_t instruments; // a line
    size_t registers;   // an instrument, side by side: one request
    int interval_ms;
    int speed_baud;
    bool rising; // an oven run begins in every oven at once, and every reading is stored
};

struct plant {
    struct plant_shape shape;
    char folder[PLANT_PATH_BYTES / 2];
    char config[PLANT_PATH_BYTES], ledger[PLANT_PATH_BYTES];
    char stall[PLANT_PATH_BYTES]; // while a file of this name exists, the disk stands still (see stall.c)
    struct far_end *far;
    pid_t daemon;
};

/* Writes a configuration of that shape whose ledger is at `ledger`; `far` may be NULL: then nothing is connected.
 */
void plant_write_config(FILE *file, const struct plant_shape *shape, const struct far_end *far, const char *ledger);

/* Everything is running on return, and every controller has been asked at least once. */
void plant_open(struct plant *plant, const struct plant_shape *shape);
/* Ends the daemon in order; the ledger stays until plant_close. */
void plant_stop(struct plant *plant);
void plant_close(struct plant *plant);

double plant_cpu_s(const struct plant *plant);        // of the daemon, since its start
double plant_resident_mib(const struct plant *plant); // at most, since its start
/* What one SQL statement says, as a number, by a connection of its own. */
double plant_ask(const char *ledger, const char *sql);

void plant_sleep_s(double seconds);
/* Now, as the ledger's timeline has it as long as nobody puts the wall clock. */
int64_t plant_wall_ms(void);

#endif
