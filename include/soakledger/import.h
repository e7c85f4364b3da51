// SPDX-License-Identifier: MIT
/* import: readings that somebody else took, kept apart from our own for good, as a run that says so.
 *
 * An import has a run of its own, which ended before it began here, channels, and readings in a table of their own.
 * A column that is named as a channel of the oven stands for that place; other names become places. It is written
 * in one transaction by the command, completed, and takes nothing afterwards. An imported run is claimed and judged
 * like any other; sensors' use is not counted from it, and its seal says that it was read in.
 *
 * Functions fail as those of ledger.h. Strings given are copied.
 */
#ifndef SOAKLEDGER_IMPORT_H
#define SOAKLEDGER_IMPORT_H

#include "soakledger/ledger.h"

struct import {
    int64_t import_id, run_id; // given by import_open
    int64_t oven_id, begun_ms, ended_ms;
    char *source;    // whose readings they are, in words
    char *file_name; // without its folder
    char file_sha256[LEDGER_SHA256_TEXT_BYTES];
    int64_t imported_ms;
    char *imported_by;
};

struct import_channel {
    const char *name, *header; // header: the column's name in the file
    enum channel_role role;
    int64_t interval_ms;
    int64_t uncertainty_mc; // 0: not stated
    enum temperature_unit unit;
    const char *sensor_identity; // "" if not given
};

/* Within the caller's transaction. `description` says how the file was read, and is kept by value. Fills in the
 * import's ids. */
int import_open(struct ledger *ledger, struct import *import, const char *description, size_t length,
                struct fault *fault);
/* The channel's id. */
int64_t import_add_channel(struct ledger *ledger, const struct import *import, const struct import_channel *channel,
                           struct fault *fault);
int import_add_reading(struct ledger *ledger, const struct import *import, const struct reading *reading,
                       struct fault *fault);
int import_complete(struct ledger *ledger, const struct import *import, struct fault *fault);

/* The import that a run was made of: 1; 0 if the run is our own. */
int import_find(struct ledger *ledger, int64_t run_id, struct import **import, struct fault *fault);
void import_free(struct import *import); // NULL is allowed

/* The channels of a run, whoever recorded it: what ledger_list_channels gives at its begin, or the import's. */
struct ledger_channel *import_list_run_channels(struct ledger *ledger, const struct ledger_run *run, size_t *count,
                                                struct fault *fault);

#endif
