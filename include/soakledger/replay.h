// SPDX-License-Identifier: MIT
/* replay: stored readings through the judge again. The daemon does it when it was restarted or a batch was opened
 * late; every sheet does it. One way, so that both get the same findings. */
#ifndef SOAKLEDGER_REPLAY_H
#define SOAKLEDGER_REPLAY_H

#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"
#include "soakledger/judge.h"
#include "soakledger/ledger.h"
#include "soakledger/plan.h"

/* How long a run may have been on before, where nothing is known of it: a month, our own choice, longer than any
 * plan's longest soak is likely to be. */
#define REPLAY_UNSEEN_MS (INT64_C(30) * 24 * 3600 * 1000)

/* A judge for a run whose oven had these channels, listed at the run's begin. As judge_open. A channel whose
 * uncertainty the configuration does not state has that of uncertainty.h at the temperature of the visit's soak. */
struct judge *replay_open_judge(const struct plan *plan, size_t visit, const struct ledger_channel *channels,
                                size_t count, judge_sink *sink, void *context, struct fault *fault);

/* Corrects a reading, live or stored, by the tables that came with the channels; see corrections.h. */
enum calibration_result replay_correct(const struct ledger_channel *channels, size_t count,
                                       struct reading *reading);

/* The readings of channels that were listed for a run, whether it was recorded here or imported, as they are
 * stored. */
struct ledger_cursor *replay_open_cursor(struct ledger *ledger, const struct ledger_channel *channels, size_t count,
                                         int64_t from_ms, int64_t to_ms, struct fault *fault);

/* Called for each reading, corrected, after the judge has seen it; anything but 0 ends the replay with -1 and its
 * fault. */
typedef int replay_watch(void *context, const struct reading *reading, struct fault *fault);

/* Feeds the channels' readings within [from, to], corrected, to `judge`, in the judge's order. `watch` may be NULL.
 * Of a run that goes on from a damaged ledger (EVENT_TORN at `from_ms`) the judge is told that it was on before. */
int replay_feed(struct ledger *ledger, struct judge *judge, struct ledger_channel *channels, size_t count,
                int64_t from_ms, int64_t to_ms, replay_watch *watch, void *context, struct fault *fault);

/* Which visit of a batch the next run would fulfil: the first for which no claimed run has reached the band. A run
 * that is on, or not judged yet, holds its visit. 1 with the visit, 0 if all are fulfilled, -1. */
int replay_next_visit(struct ledger *ledger, int64_t batch_id, const struct plan *plan, size_t *visit,
                      struct fault *fault);

#endif
