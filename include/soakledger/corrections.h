// SPDX-License-Identifier: MIT
/* corrections: calibrations in the ledger, and what they mean for the readings of a run. calibration.h says when a
 * table is in force and why. Tables calibration and calibration_point are append-only.
 *
 * ledger_list_channels gives each channel with the tables that were in force at its t_ms, so that whoever replays a
 * run lists its channels at the run's begin and puts every reading through corrections_apply. replay_feed does so.
 */
#ifndef SOAKLEDGER_CORRECTIONS_H
#define SOAKLEDGER_CORRECTIONS_H

#include <stddef.h>
#include <stdint.h>

#include "soakledger/calibration.h"
#include "soakledger/ledger.h"
#include "soakledger/uncertainty.h"

/* Stores a table, in force from `now_ms` or from just after the begin of the latest run, whichever is later;
 * calibration_id and in_force_ms are filled in. `by` is the person; `text` the file as read, kept by value. */
int corrections_add(struct ledger *ledger, struct calibration *calibration, int64_t now_ms, const char *by,
                    const char *text, size_t length, struct fault *fault);

/* The table of a subject in force at `t_ms` in `*calibration` (caller frees), or NULL where there is none or it was
 * withdrawn. 0, -1. */
int corrections_find(struct ledger *ledger, enum calibration_subject subject, const char *name, int64_t t_ms,
                     struct calibration **calibration, struct fault *fault);

/* All versions of a subject in the order they were entered; of all subjects if `name` is NULL. Caller frees. */
struct calibration *corrections_list(struct ledger *ledger, enum calibration_subject subject, const char *name,
                                     size_t *count, struct fault *fault);

/* Corrects a reading of the channel in place. */
enum calibration_result corrections_apply(const struct ledger_channel *channel, struct reading *reading);

/* The channel's uncertainty at a temperature, from the same fitting and tables. */
void corrections_find_uncertainty(const struct ledger_channel *channel, int64_t at_mc,
                                  struct uncertainty *uncertainty);

#endif
