// SPDX-License-Identifier: MIT
/* virtual_run: one oven run with everything that goes wrong on a bad day, and a plan to hold it against, both made
 * from a seed: the same seed gives the same run on every machine. */
#ifndef SOAKLEDGER_VIRTUAL_RUN_H
#define SOAKLEDGER_VIRTUAL_RUN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/judge.h"

enum { VIRTUAL_MOST_CHANNELS = 8, VIRTUAL_PLAN_BYTES = 4096, VIRTUAL_NAME_BYTES = 16 };

struct virtual_run {
    uint64_t seed, state;
    char plan[VIRTUAL_PLAN_BYTES]; // as a plan file
    size_t visit;
    size_t channel_count;
    struct judge_channel channels[VIRTUAL_MOST_CHANNELS];
    char names[VIRTUAL_MOST_CHANNELS][VIRTUAL_NAME_BYTES];
    size_t reading_count, reading_room;
    struct reading *readings; // in the judge's order, repeats included
    int64_t begin_ms, end_ms;
};

/* Fails the running test if memory is short. */
void virtual_run_make(struct virtual_run *run, uint64_t seed);
void virtual_run_release(struct virtual_run *run);
/* As tool_judge reads them. */
void virtual_run_write(const struct virtual_run *run, const char *plan_path, const char *csv_path);

/* For other makers of runs. Sorting leaves a reading that comes twice where it was. */
void virtual_run_add(struct virtual_run *run, const struct reading *reading);
void virtual_run_sort(struct virtual_run *run);

/* SplitMix64 (Steele, Lea and Flood 2014, from memory), for whatever else a test wants at random. */
uint64_t virtual_random(uint64_t *state);
/* Within [least, most], both included. */
int64_t virtual_between(uint64_t *state, int64_t least, int64_t most);

#endif
