// SPDX-License-Identifier: MIT
/* export_parts: the curves of a run or a batch, on their way into a file of somebody else's program. */
#ifndef SOAKLEDGER_EXPORT_PARTS_H
#define SOAKLEDGER_EXPORT_PARTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "soakledger/config.h"
#include "soakledger/import.h"
#include "soakledger/ledger.h"
#include "soakledger/plan.h"

/* One run, and what of it is wanted. */
struct export_run {
    struct ledger_run run;
    char *oven;
    struct import *import;           // NULL for our own readings
    struct ledger_channel *channels; // that are wanted
    size_t channel_count;
    int64_t from_ms, to_ms;
    bool simulated;
};

struct export {
    struct ledger *ledger;
    const struct config *config;
    int64_t batch_id;  // 0: a run alone
    struct plan *plan; // of the batch, else NULL
    char charge[256];  // of the batch, clean
    struct export_run *runs;
    size_t run_count;
    int64_t from_ms, to_ms; // as asked for
    const char *channel;    // NULL: all
};

/* Fills in `runs`: one, or those of a batch, as far as they lie in the time asked for. EX_NOINPUT if there is
 * nothing.
 */
int export_open_run(struct export *export, int64_t run_id, struct fault *fault);
int export_open_batch(struct export *export, int64_t batch_id, struct fault *fault);
void export_close(struct export *export);

typedef int export_writer(const struct export *export, FILE *out, struct fault *fault);
export_writer export_csv, export_json, export_svg;

#endif
