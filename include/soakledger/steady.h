// SPDX-License-Identifier: MIT
/* steady: finds the stable stretches of a run and yields what a sensor's and an oven's health is read from. Pure
 * and streaming, in constant memory; the same readings give the same facts, live and from the ledger.
 *
 * Time is cut into bins of 10 s, or one and a half times the slowest temperature channel's interval if that is
 * longer. A stretch is stable while the least-squares slope of every temperature channel that takes part, over the
 * window of the last 5 min, is below 0.5 C/min. Its facts leave out a minute at either end, the first of the first
 * such window and the last of the last: what led there and away (a ramp, a door, a new setpoint) is in those.
 *
 * Who takes part: the reference (the first control channel; without one the first load, without that the first cold
 * one), and each other control, load or cold channel that is within 50 K of the reference when the stretch begins:
 * one that hangs outside says nothing about the oven. A channel with an interval over 60 s takes no part (a window
 * would hold too few of its readings). All means are over the same bins, those in which every participant had a
 * good reading; a stretch ends when one of them was missing in more than a fifth of the window, and the next goes
 * on without it.
 *
 * The standard error of a mean difference comes from the spread of its means over a minute (batch means), because
 * readings seconds apart are not independent.
 *
 * Heat-up: the time that the reference took, for the first time in the run, between two whole tens of degrees: the
 * next at or below level - 147.5 C and level - 17.5 C (so that 805 C gives 650 C to 780 C, and a level that wavers
 * by two degrees around a multiple of five gives the same two). Known only if it began below and never fell back by
 * 5 C between the two, and no two bins in a row were missing there.
 */
#ifndef SOAKLEDGER_STEADY_H
#define SOAKLEDGER_STEADY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/channel.h"
#include "soakledger/fault.h"
#include "soakledger/reading.h"

enum { STEADY_MOST_SENSORS = 17 }; // control and 16 loads
enum { STEADY_MOST_PAIRS = STEADY_MOST_SENSORS * (STEADY_MOST_SENSORS - 1) / 2 };

struct steady_channel {
    int64_t channel_id;
    enum channel_role role;
    int64_t interval_ms;
};

struct steady_mean {
    int64_t channel_id;
    int64_t mean_mc;
};

struct steady_pair {
    int64_t one_id, other_id; // in the order of the channels given
    int64_t difference_mc;    // one - other
    int64_t error_mc;         // standard error of that mean; -1: fewer than three whole minutes
};

struct steady_stretch {
    int64_t from_ms, to_ms; // of what its means are made of, at least 3 min
    bool has_setpoint;
    int64_t setpoint_mc;  // its mean; valid if has_setpoint
    int64_t reference_id; // whose slope opened it
    int64_t level_mc; // the setpoint, where there is one within 50 K of the reference; else the reference's mean
    bool has_output;
    int64_t output; // mean controller output, thousandths of a per cent
    size_t sensor_count;
    struct steady_mean means[STEADY_MOST_SENSORS];
    size_t pair_count;
    struct steady_pair pairs[STEADY_MOST_PAIRS];
    /* The run's heat-up to this level; heat_ms is 0 if it is not known. */
    int64_t heat_from_mc, heat_to_mc, heat_ms;
    bool heat_has_output;
    int64_t heat_output; // mean controller output in that time
};

struct steady;

/* Called with each stretch when it has ended; it lives as long as the call. */
typedef void steady_sink(void *context, const struct steady_stretch *stretch);

/* A finder for one run of an oven with these channels (others than control, load, cold, setpoint and output are
 * passed over, as are temperature channels beyond STEADY_MOST_SENSORS). NULL if memory is short. */
struct steady *steady_open(const struct steady_channel *channels, size_t count, steady_sink *sink, void *context,
                           struct fault *fault);
void steady_free(struct steady *steady); // NULL is allowed

/* Readings in the order of reading_is_before. */
void steady_feed(struct steady *steady, const struct reading *reading);
/* The run is over: a stretch that still goes on ends with the last whole bin. */
void steady_end(struct steady *steady);

#endif
