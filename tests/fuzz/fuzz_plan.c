// SPDX-License-Identifier: MIT
/* Any bytes as a plan: a refusal is one line that names the file; a plan taken keeps what plan.h promises. */
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/plan.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds) {
    if (!holds)
        abort();
}

static void check_band(const struct plan *plan, const struct plan_operation *operation) {
    demand(operation->below_mc > 0 && operation->above_mc > 0 && operation->time_at_least_ms > 0);
    if (operation->kind == OPERATION_HOLD)
        return;
    demand(operation->overshoot_at_most.set);
    demand(!operation->time_at_most.set ||
           operation->time_at_most.value >= operation->time_at_least_ms + plan->lag_allowance_ms);
    demand(!operation->spread_at_most.set || plan->load != PLAN_LOAD_CONTROL);
    demand(operation->kind != OPERATION_TEMPER || operation->hollomon_jaffe_constant > 0);
}

static void check_heat(const struct plan_operation *operation, const struct plan_operation *soak) {
    demand(operation->ramp_at_most.set && operation->ramp_at_most.value > 0);
    demand(operation->ramp_low_mc < operation->ramp_high_mc);
    demand(operation->ramp_high_mc <= soak->temperature_mc - soak->below_mc);
    demand(operation->ramp_window_ms > 0);
}

static void check_quench(const struct plan *plan, const struct plan_operation *operation) {
    demand(plan_visit_quench(plan, operation->visit) == operation && operation->medium != NULL);
    demand(operation->transfer_at_most.set || operation->cooling_at_most.set || operation->handle_warm_within.set);
    demand(operation->falls_at_least_mc_per_s > 0 && operation->cooling_upper_mc > operation->cooling_lower_mc);
    demand(operation->handle_warm_mc <= operation->cooling_lower_mc);
}

static void check_operation(const struct plan *plan, const struct plan_operation *operation) {
    const struct plan_operation *soak = plan_visit_soak(plan, operation->visit);

    demand(operation->visit < plan->visit_count && operation->name != NULL);
    demand(strcmp(operation->oven, soak->oven) == 0);
    switch (operation->kind) {
    case OPERATION_HEAT:
        demand(operation < soak);
        check_heat(operation, soak);
        break;
    case OPERATION_HOLD:
        demand(operation < soak);
        demand(operation->temperature_mc + operation->above_mc < soak->temperature_mc - soak->below_mc);
        check_band(plan, operation);
        break;
    case OPERATION_QUENCH:
        demand(operation == soak + 1);
        check_quench(plan, operation);
        break;
    case OPERATION_COLD:
        demand(operation == soak && operation->temperature_mc < 0 && operation->time_at_least_ms > 0);
        demand(operation->oven[0] != '\0' && operation->visit > 0);
        break;
    case OPERATION_SOAK:
    case OPERATION_TEMPER:
        demand(operation == soak);
        check_band(plan, operation);
        break;
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    struct fault fault = {0, ""};
    struct plan *plan = plan_parse((const char *)data, size, "fuzz.plan", &fault);

    if (plan == NULL) {
        demand(fault.status == EX_CONFIG);
        demand(strncmp(fault.text, "fuzz.plan:", strlen("fuzz.plan:")) == 0 && strchr(fault.text, '\n') == NULL);
        return 0;
    }
    demand(plan->title[0] != '\0' && plan->operation_count > 0 && plan->visit_count > 0);
    demand(plan->text_length == size && memcmp(plan->text, data, size) == 0);
    demand((plan->load == PLAN_LOAD_NAMED) == (plan->load_count > 0));
    demand((plan->hardness.scale[0] != '\0') == (plan->hardness.readings > 0));
    for (size_t i = 0; i < plan->operation_count; i++)
        check_operation(plan, &plan->operations[i]);
    plan_free(plan);
    return 0;
}
