// SPDX-License-Identifier: MIT
/* run: recognises that an oven run begins and ends, with nobody present. Pure and streaming.
 *
 * A run begins when the oven has warmed by `begins_on_rise` above its lowest reading of the last `rise_within`,
 * and it could have been heated (output channel, if there is one, on within that time; else setpoint channel, if
 * there is one, asking for heat). It is dated back to that lowest reading.
 * A run that nobody saw begin, because recording did, or went on after a silence of more than `rise_within`, begins
 * with the first reading then, if the oven is hot (`begins_on_rise` over `ends_below`, no cold place) and an output
 * channel shows it heated within `rise_within`.
 *
 * It ends when it is left to cool for `ends_after`. With an output channel: the output was off, and the setpoint,
 * if there is one, does not ask for heat or the oven cooled. With a setpoint alone: it asked for no heat. With
 * neither: the oven cooled. Cooled means: by `begins_on_rise` at least, and never warmer than half of that over an
 * earlier reading. A setpoint asks for heat unless it is more than 30 K under the oven. A run also ends at once
 * when the oven falls below `ends_below`, having been above, and when no good reading came for `silent_after`.
 */
#ifndef SOAKLEDGER_RUN_H
#define SOAKLEDGER_RUN_H

#include <stdbool.h>
#include <stdint.h>

#include "soakledger/channel.h"
#include "soakledger/config.h"
#include "soakledger/fault.h"

enum run_change { RUN_SAME, RUN_BEGUN, RUN_ENDED };
enum run_end {
    RUN_END_OPEN = 0,
    RUN_END_COOLING = 1,
    RUN_END_COLD = 2,
    RUN_END_SILENT = 3,
    RUN_END_WARMING = 4, // of a cold place: left to warm
    RUN_END_WARM = 5,
    RUN_END_IMPORTED = 6 // no run of ours: see import.h
};                       // stored: never renumber

struct run_detector;

/* `oven` is copied. */
struct run_detector *run_open(const struct config_oven *oven, struct fault *fault);
void run_free(struct run_detector *detector);

/* One reading of a channel of role control (or of the one load channel that stands in for it), setpoint or
 * output, in order of time. Readings of other roles are passed over. */
enum run_change run_feed(struct run_detector *detector, enum channel_role role, const struct reading *reading);

/* After RUN_BEGUN: when the run began. After RUN_ENDED: why. */
int64_t run_begun_ms(const struct run_detector *detector);
enum run_end run_end_reason(const struct run_detector *detector);

/* A restarted daemon found a run open: go on as if it had been recognised here. */
void run_resume(struct run_detector *detector, int64_t begun_ms, int64_t last_ms);
bool run_is_on(const struct run_detector *detector);

const char *run_end_name(enum run_end reason); // "still on", "cooling", "cold", "silent"

#endif
