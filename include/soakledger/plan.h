// SPDX-License-Identifier: MIT
/* plan: what a charge should go through, as an ordered list of operations.
 *
 * A plan is a keyfile (see soakledger-plan(5)): one [plan] section, then operations in the order in which they
 * happen: [heat NAME], [hold NAME], [soak NAME], [quench NAME], [cold NAME], [temper NAME]. Everything is strict:
 * an unknown key, a missing unit, an impossible order is an error with file and line.
 *
 * A visit is one stay in one place: the heats and holds that come before a soak, that soak, and the quench after it
 * (the charge leaves the oven, but the oven's run goes on while it cools); or one cold hold; or one temper with the
 * heats before it. One run fulfils one visit. Visits are numbered from 0 in plan order. A temper with `times = 2`
 * is two visits, whose operations are named "NAME 1" and "NAME 2".
 *
 * Temperatures and differences in milli-degrees Celsius, durations in ms, rates in milli-degrees Celsius per hour
 * (of a quench: per second).
 */
#ifndef SOAKLEDGER_PLAN_H
#define SOAKLEDGER_PLAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"

enum operation_kind {
    OPERATION_HEAT,
    OPERATION_SOAK,
    OPERATION_TEMPER,
    OPERATION_HOLD, // a preheat hold on the way up
    OPERATION_QUENCH,
    OPERATION_COLD, // sub-zero
};

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

    struct plan_limit load_at_most; // the load must be no hotter than this when the heat begins, mc

    /* soak, temper and hold; of a hold only temperature, band, time_at_least */
    int64_t temperature_mc;     // of a cold hold: at most
    int64_t below_mc, above_mc; // the band: temperature - below .. temperature + above; both > 0
    int64_t
        time_at_least_ms; // longest unbroken time at or above the band's lower edge (cold: at or below temperature)
    struct plan_limit time_at_most;      // ms, on the longest unbroken time that may have passed
    struct plan_limit overshoot_at_most; // always set for soak and temper: `above_mc` unless the plan says
    struct plan_limit spread_at_most;

    /* quench: every limit optional, one at least */
    const char *medium;                         // "aluminium plates", "oil"; "" if not given
    struct plan_limit transfer_at_most;         // ms from leaving the soak to the first fall faster than ...
    int64_t falls_at_least_mc_per_s;            // ... this; 20 C/s unless the plan says
    struct plan_limit cooling_at_most;          // ms between ...
    int64_t cooling_upper_mc, cooling_lower_mc; // ... these; 800 C and 500 C unless the plan says
    struct plan_limit handle_warm_within;       // ms from leaving the soak until the part is at or below ...
    int64_t handle_warm_mc;                     // ... this; 60 C unless the plan says
    bool may_attest;                            // a person may say that it happened, where no sensor saw it

    /* cold and temper: against what came before */
    struct plan_limit begins_within;     // ms from the end of the visit before to this one's first heat or cold
    struct plan_limit parts_below_first; // mc: the parts must have been at or below this before it began

    /* temper */
    double hollomon_jaffe_constant;        // 20 unless the plan says
    struct plan_limit equivalent_at_least; // ms at `temperature_mc`; information only where not set
};

/* Which channels stand for the charge. */
enum plan_load {
    PLAN_LOAD_SENSORS, // every channel of role load in the oven
    PLAN_LOAD_CONTROL, // the control channel: the charge's own temperature is not measured
    PLAN_LOAD_NAMED,   // the channels named
};

/* How a measured value is held against a limit (JCGM 106). */
enum plan_decision {
    PLAN_DECISION_SIMPLE,  // the value itself
    PLAN_DECISION_GUARDED, // the value must be inside the limit by its expanded uncertainty; else not proven
};

struct plan_hardness {
    const char *scale; // "HRC"; "" if the plan asks for none
    int64_t low, high; // thousandths of the scale
    int64_t readings;  // how many
};

struct plan {
    const char *title;
    const char *steel;  // designation in words, "" if not given
    const char *source; // where the figures come from, "" if not given
    enum plan_load load;
    size_t load_count; // names, for PLAN_LOAD_NAMED
    const char *const *load_names;
    /* With PLAN_LOAD_CONTROL: how long the charge may lag behind the control sensor. It is added to every
     * time_at_least of a hold, soak or temper when the time is judged, since the charge is at temperature for that
     * much less. */
    int64_t lag_allowance_ms;
    enum plan_decision decision;
    struct plan_limit martensite_start; // Ms in mc: gives the sheet an estimate of retained austenite
    struct plan_hardness hardness;      // what is to be measured afterwards
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

/* For the question what if: what the soak, temper or cold hold of a visit asks for is replaced where it is set. An
 * overshoot that was allowed up to the band's upper edge moves with it. The text and its SHA-256 stay those of the
 * file. EX_DATAERR for what no plan could ask: a band without width, no time. */
struct plan_supposition {
    struct plan_limit temperature_mc, below_mc, above_mc, time_at_least_ms;
};
int plan_suppose(struct plan *plan, size_t visit, const struct plan_supposition *supposition, struct fault *fault);

/* The soak, temper or cold hold of a visit. `visit` < visit_count. */
const struct plan_operation *plan_visit_soak(const struct plan *plan, size_t visit);
/* The quench of a visit, or NULL. */
const struct plan_operation *plan_visit_quench(const struct plan *plan, size_t visit);

/* Is it the name of a hardness scale: Rockwell, Vickers or Brinell, such as HRC, HV10 or HBW? */
bool plan_is_scale(const char *text);

const char *plan_kind_name(enum operation_kind kind); // "heat", "soak", "temper", "hold", "quench", "cold"

#endif
