// SPDX-License-Identifier: MIT
/* virtual_cycle: what virtual_run leaves out, with faults of every kind: a soak and the quench behind it read ten
 * times a second, a cold hold, a temper that has to come to a time at temperature, and the run of the visit before.
 * Made from a seed, the same on every machine. Runs are written and released as those of virtual_run. */
#ifndef SOAKLEDGER_VIRTUAL_CYCLE_H
#define SOAKLEDGER_VIRTUAL_CYCLE_H

#include "virtual_run.h"

enum cycle_kind { CYCLE_QUENCH, CYCLE_COLD, CYCLE_TEMPER, CYCLE_KINDS }; // of the run that is judged

struct virtual_cycle {
    enum cycle_kind kind;
    struct virtual_run run;
    bool has_before;
    struct virtual_run before; // of the same plan, the visit before
};

/* Fails the running test if memory is short. */
void virtual_cycle_make(struct virtual_cycle *cycle, uint64_t seed);
void virtual_cycle_release(struct virtual_cycle *cycle);

#endif
