// SPDX-License-Identifier: MIT
#include "plan_private.h"

int plan_suppose(struct plan *plan, size_t visit, const struct plan_supposition *supposition, struct fault *fault) {
    struct whole *whole = (struct whole *)plan; // a plan's address is its whole's
    struct plan_operation *soak = &whole->operations[plan_visit_soak(plan, visit) - plan->operations];
    const bool at_edge = soak->overshoot_at_most.set && soak->overshoot_at_most.value == soak->above_mc;

    if (supposition->below_mc.set && supposition->below_mc.value <= 0)
        return fault_set(fault, EX_DATAERR, "the band has nothing below the temperature: expected more than 0 C");
    if (supposition->above_mc.set && supposition->above_mc.value <= 0)
        return fault_set(fault, EX_DATAERR, "the band has nothing above the temperature: expected more than 0 C");
    if (supposition->time_at_least_ms.set && supposition->time_at_least_ms.value <= 0)
        return fault_set(fault, EX_DATAERR, "the time is nothing: expected more than 0 s");
    if (supposition->temperature_mc.set)
        soak->temperature_mc = supposition->temperature_mc.value;
    if (supposition->below_mc.set)
        soak->below_mc = supposition->below_mc.value;
    if (supposition->above_mc.set)
        soak->above_mc = supposition->above_mc.value;
    if (at_edge)
        soak->overshoot_at_most.value = soak->above_mc;
    if (supposition->time_at_least_ms.set)
        soak->time_at_least_ms = supposition->time_at_least_ms.value;
    return 0;
}
