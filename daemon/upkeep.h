// SPDX-License-Identifier: MIT
/* upkeep: tells when a sensor was used beyond its limits, and when a check or a calibration is due; and counts runs
 * that ended before anybody counted. */
#ifndef UPKEEP_H
#define UPKEEP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/alert.h"
#include "soakledger/config.h"
#include "soakledger/fault.h"
#include "soakledger/ledger.h"
#include "soakledger/reading.h"

struct upkeep;

/* All that is given must outlive it. `desk` as in alert.h. NULL if there is no memory. */
struct upkeep *upkeep_open(const struct config *config, struct alert_desk *desk);
void upkeep_free(struct upkeep *upkeep); // NULL is allowed

/* A reading of the config's channel, as it was read: above its sensor's limit twice in a row it is told at once. */
void upkeep_see(struct upkeep *upkeep, size_t channel, const struct reading *reading);

/* Looks at all sensors and instruments once an hour, and when `changed`: a run has ended or somebody wrote. At most
 * one run is counted each time. */
int upkeep_look(struct upkeep *upkeep, struct ledger *ledger, bool changed, int64_t now_ms, struct fault *fault);

#endif
