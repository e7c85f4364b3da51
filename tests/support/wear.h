// SPDX-License-Identifier: MIT
/* wear: an oven that is run again and again while something in it goes wrong. The physics and the controller are
 * the virtual shop's (tests/shop/heat.h), the facts are found by steady.h in noisy readings, as the daemon would.
 */
#ifndef SOAKLEDGER_TESTS_WEAR_H
#define SOAKLEDGER_TESTS_WEAR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/drift.h"

enum { WEAR_MOST_RUNS = 120 };

enum wear_kind {
    WEAR_NONE,
    WEAR_SLOW,    // a thermocouple drifts, by the same more with each run
    WEAR_STEP,    // a thermocouple has moved at once
    WEAR_ELEMENT, // resistance grows with each run, so that power falls
    WEAR_SUPPLY,  // voltage has changed at once: power goes with its square
    WEAR_LEAK,    // the door lets heat out
};
enum { WEAR_KIND_COUNT = 6 };

struct wear_shop {
    uint64_t seed;
    enum wear_kind kind;
    size_t sensor_count; // the control thermocouple first, then loads
    size_t run_count;
    size_t begins_run; // the first run that is not as before
    size_t sensor;     // which goes wrong
    double size;       // C a run, C, part of the power a run, part of the voltage, part of the loss
    bool slow_leak;    // by that part each run instead of at once
    double noise_c;    // of a difference between two thermocouples, from run to run
    bool full_power;   // heats up without a ramp
    double level_c;
};

/* A shop as the studies use it: everything that is not given follows from the seed. */
void wear_make(struct wear_shop *shop, uint64_t seed, enum wear_kind kind);
/* Plays all runs. `runs` has room for run_count. Fails the running test if a run leaves no facts. */
void wear_play(const struct wear_shop *shop, struct drift_run *runs);
/* What to call its sensors, with the allowed error `allowed_c`; `runs` is kept by reference. */
void wear_history(const struct wear_shop *shop, const struct drift_run *runs, double allowed_c,
                  struct drift_history *history);

const char *wear_kind_name(enum wear_kind kind);
/* Is that what it has? */
bool wear_is_right(const struct wear_shop *shop, const struct drift_report *report);

#endif
