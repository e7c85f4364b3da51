// SPDX-License-Identifier: MIT
/* junction: millivolts of a thermocouple and the temperature of the terminals make a temperature. Pure.
 *
 * E(t) = E + E(terminals), with the reference functions of thermocouple.h. The terminals' temperature is that of
 * another channel of the same oven or instrument, or stated once and for all in the configuration. It is computed
 * before a reading is queued, so that ledger, judge and alerts see the same temperature; the voltage and the
 * terminals' temperature that went into it travel with the reading and are stored beside it (table reading_emf), so
 * that the temperature can be computed again. A table of its own, because a column would cost every reading of
 * every other channel a byte and the scans of a whole run with it.
 *
 * A terminal's reading that is not good, has not come yet, or is older than JUNCTION_LATE_INTERVALS of its
 * channel's intervals makes the thermocouple's reading not good (QUALITY_NO_JUNCTION); its voltage is stored all
 * the same. Nothing is guessed or carried on. Outside the reference functions or the channel's range it is under or
 * over range.
 */
#ifndef SOAKLEDGER_JUNCTION_H
#define SOAKLEDGER_JUNCTION_H

#include <stdbool.h>
#include <stddef.h>

#include "soakledger/config.h"
#include "soakledger/reading.h"

enum { JUNCTION_LATE_INTERVALS = 3 };

struct junction;

/* For all of the config's channels, which must outlive it. NULL if there is no memory. */
struct junction *junction_open(const struct config *config);
void junction_free(struct junction *junction); // NULL is allowed

/* Whether other channels need this one: of what is read at once, such channels go first. */
bool junction_is_cold(const struct junction *junction, size_t channel);

/* A reading as channel_decode left it gets its temperature, or the reason why there is none, and `voltage` what
 * that was made of. Those of channels that read no millivolts are left alone. Its t_ms is set. */
void junction_compensate(const struct junction *junction, size_t channel, struct reading *reading,
                         struct voltage *voltage);

/* A reading as it is going to be queued: remembered if it is of a terminal. */
void junction_note(struct junction *junction, size_t channel, const struct reading *reading);

#endif
