// SPDX-License-Identifier: MIT
/* plan: what a charge should go through, as an ordered list of operations.
 *
 * A plan is a keyfile (see soakledger-plan(5)): one [plan] section, then operations in the order in which they
 * happen: [heat NAME], [soak NAME], [temper NAME]. Everything is strict: an unknown key, a missing unit, an
 * impossible order is an error with file and line.
 *
 * A visit is one stay in one oven: the heats that come before a soak or temper, and that soak or temper. One
 * oven run fulfils one visit. Visits are numbered from 0 in plan order.
 *
 * Temperatures and differences in milli-degrees Celsius, durations in ms, rates in milli-degrees Celsius per hour.
 */
#ifndef SOAKLEDGER_PLAN_H
#define SOAKLEDGER_PLAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"

enum operation_kind { OPERATION_HEAT, OPERATION_SOAK, OPERATION_TEMPER };

struct plan_limit {
    bool set;
    int64_t value;
};

struct plan_operation {
    enum operation_kind kind;
    const char *name; // "" if not given
    int line;
    size_t visit;
    const char *oven; // the oven it must happen in; "" for the batch's own

    /* heat */
    struct plan_limit ramp_at_most;    // steepest rise allowed ...
    int64_t ramp_low_mc, ramp_high_mc; // ... while the load is between these
    int64_t ramp_window_ms;            // over which the slope is taken; 5 min unless the plan says

    /* soak and temper */
    int64_t temperature_mc;
    int64_t below_mc, above_mc;          // the band: temperature - below .. temperature + above; both > 0
    int64_t time_at_least_ms;            // longest unbroken time at or above the band's lower edge
    struct plan_limit time_at_most;      // ms, on the longest unbroken time that may have passed
    struct plan_limit overshoot_at_most; // always set for soak and temper: `above_mc` unless the plan says
    struct plan_limit spread_at_most;
};

/* Which channels stand for the charge. */
enum plan_load {
    PLAN_LOAD_SENSORS, // every channel of role load in the oven
    PLAN_LOAD_CONTROL, // the control channel: the charge's own temperature is not measured
    PLAN_LOAD_NAMED,   // the channels named
};

struct plan {
    const char *title;
    const char *steel;  // designation in words, "" if not given
    const char *source; // where the figures come from, "" if not given
    enum plan_load load;
    size_t load_count; // names, for PLAN_LOAD_NAMED
    const char *const *load_names;
    /* With PLAN_LOAD_CONTROL: how long the charge may lag behind the control sensor. It is added to every
     * time_at_least when the time is judged, since the charge is at temperature for that much less. */
    int64_t lag_allowance_ms;
    size_t operation_count;
    const struct plan_operation *operations;
    size_t visit_count;
    const char *text; // as read, to be frozen by value
    size_t text_length;
};

struct plan *plan_read(const char *path, struct fault *fault);
/* `name` stands for the file in messages. */
struct plan *plan_parse(const char *text, size_t length, const char *name, struct fault *fault);
void plan_free(struct plan *plan);

/* The soak or temper that closes a visit. `visit` < visit_count. */
const struct plan_operation *plan_visit_soak(const struct plan *plan, size_t visit);

const char *plan_kind_name(enum operation_kind kind); // "heat", "soak", "temper"

#endif
