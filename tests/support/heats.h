// SPDX-License-Identifier: MIT
/* heats: runs of the virtual shop's ovens, made up from a seed: how strong the oven, how heavy the charge, how hot,
 * how well the controller is tuned, and whether somebody has set it too high. */
#ifndef SOAKLEDGER_TESTS_HEATS_H
#define SOAKLEDGER_TESTS_HEATS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/forecast.h"

struct heats_run {
    struct forecast_limits limits;
    size_t channel_count; // ids 1, 2
    size_t count;         // readings, in the judge's order
    struct reading *readings;
    bool passes;         // the overshoot limit
    int64_t passes_ms;   // when it first does
    int64_t complete_ms; // when the required soak is complete; 0 if it never is
};

/* The run with that number; always the same. Fails the running test if there is no memory. */
void heats_make(uint64_t number, struct heats_run *run);
void heats_free(struct heats_run *run);

/* How the forecast does on a run. Times in ms; 0 where there is none. */
struct heats_score {
    bool warned;        // of an overshoot, before it came if it came
    int64_t warning_ms; // how long before; valid if it came and was warned of
    bool known[3];      // the outlook of completion at 30, 10 and 5 minutes before
    int64_t error_ms[3];
};
enum { HEATS_LOOKS = 3 };
extern const int64_t heats_looks_ms[HEATS_LOOKS];

void heats_score(const struct heats_run *run, struct heats_score *score);

#endif
