// SPDX-License-Identifier: MIT
/* quality: whether a good value can be believed beside those before it and beside the oven's others. Pure.
 *
 * - Frozen: the same value for longer than the channel's frozen_after_ms, while another channel of role control,
 *   load, cold or high-limit in the same oven moved by QUALITY_MOVED_MC or more from where it stood at some moment
 * since then. A cold oven is constant everywhere and is not frozen. Once frozen, a channel is so until its value
 * changes.
 * - Step: further from the reading before than moves_at_most_mc_per_h allows for the time between them (at least
 * one second is allowed for). From then on every reading is implausible until one agrees with the one before it,
 * which was implausible itself: two in a row that agree are believed, wherever they are.
 *
 * Readings without a value leave everything as it was.
 */
#ifndef SOAKLEDGER_QUALITY_H
#define SOAKLEDGER_QUALITY_H

#include <stddef.h>

#include "soakledger/config.h"
#include "soakledger/reading.h"

enum { QUALITY_MOVED_MC = 10000, QUALITY_SHORTEST_MS = 1000 };

struct quality_watch;

/* For all of the config's channels, which must outlive it. NULL if there is no memory. */
struct quality_watch *quality_open(const struct config *config);
void quality_free(struct quality_watch *watch); // NULL is allowed

/* A reading of the config's channel `channel`, in order of time: where its value cannot be believed, it loses it
 * and gets QUALITY_STALE or QUALITY_IMPLAUSIBLE instead. */
void quality_judge(struct quality_watch *watch, size_t channel, struct reading *reading);

#endif
