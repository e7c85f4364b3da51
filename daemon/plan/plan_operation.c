// SPDX-License-Identifier: MIT
/* The sections behind [plan], each by itself: which keys it has, and which of their values make sense alone. */
#include <stdio.h>
#include <string.h>

#include "plan_private.h"
#include "soakledger/quantity.h"
#include "soakledger/temper.h"

enum { TEMPERS_MOST = 4 };                      // three are usual for high-speed steel (from memory)
#define RAMP_WINDOW_DEFAULT_MS INT64_C(300000)  // 5 min
#define RAMP_WINDOW_LEAST_MS   INT64_C(10000)   // a shorter one holds too few readings for a slope
#define RAMP_WINDOW_MOST_MS    INT64_C(7200000) // a longer one is longer than the ramp
#define SECONDS_PER_HOUR       INT64_C(3600)
/* Defaults of a quench: common practice, no source; 800 to 500 °C is the usual "t8/5". */
#define FALLS_AT_LEAST_MC_PER_S INT64_C(20000)
#define COOLING_UPPER_MC        INT64_C(800000)
#define COOLING_LOWER_MC        INT64_C(500000)
#define HANDLE_WARM_MC          INT64_C(60000)

/* Hollomon and Jaffe's constant lies near 15 to 20 for steel; far outside it is a typing error. */
static const int64_t hollomon_jaffe_range[] = {5 * QUANTITY_PER_UNIT, 40 * QUANTITY_PER_UNIT};

static int read_heat(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    struct fault *fault = whole->fault;
    int taken = plan_take_limit(section, "ramp_at_most", keyfile_take_rate, &operation->ramp_at_most, fault);

    if (keyfile_require(section, "ramp_at_most", taken, "280 C/h", fault) != 0)
        return -1;
    if (operation->ramp_at_most.value == 0)
        return keyfile_refuse(section, "ramp_at_most", fault, "nothing heats at 0 C/h: expected more than that");
    taken = keyfile_take_span(section, "ramp_between", &operation->ramp_low_mc, &operation->ramp_high_mc, fault);
    if (keyfile_require(section, "ramp_between", taken, "200 C .. 700 C", fault) != 0)
        return -1;
    operation->ramp_window_ms = RAMP_WINDOW_DEFAULT_MS;
    if (keyfile_take_duration(section, "ramp_window", &operation->ramp_window_ms, fault) < 0)
        return -1;
    if (operation->ramp_window_ms < RAMP_WINDOW_LEAST_MS || operation->ramp_window_ms > RAMP_WINDOW_MOST_MS)
        return keyfile_refuse(section, "ramp_window", fault, "out of range: expected 10 s to 2 h");
    return plan_take_limit(section, "load_at_most", keyfile_take_temperature, &operation->load_at_most, fault);
}

static int read_edge(struct keyfile_section *section, const char *key, int64_t *difference_mc,
                     struct fault *fault) {
    const int taken = keyfile_take_difference(section, key, difference_mc, fault);

    if (keyfile_require(section, key, taken, "6 C", fault) != 0)
        return -1;
    if (*difference_mc == 0)
        return keyfile_refuse(section, key, fault, "a band of nothing: expected more than 0 C");
    return 0;
}

static int read_band(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    struct fault *fault = whole->fault;
    const int taken = keyfile_take_temperature(section, "temperature", &operation->temperature_mc, fault);

    if (keyfile_require(section, "temperature", taken, "802 C", fault) != 0)
        return -1;
    return read_edge(section, "below", &operation->below_mc, fault) != 0
               ? -1
               : read_edge(section, "above", &operation->above_mc, fault);
}

static int read_time(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    const int taken = plan_take_some_time(section, "time_at_least", &operation->time_at_least_ms, whole->fault);

    return keyfile_require(section, "time_at_least", taken, "15 min", whole->fault);
}

static int read_hold(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    return read_band(whole, section, operation) != 0 ? -1 : read_time(whole, section, operation);
}

static int read_times(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    if (read_time(whole, section, operation) != 0)
        return -1;
    if (plan_take_limit(section, "time_at_most", keyfile_take_duration, &operation->time_at_most, whole->fault) < 0)
        return -1;
    if (operation->time_at_most.set &&
        operation->time_at_most.value < operation->time_at_least_ms + whole->plan.lag_allowance_ms)
        return keyfile_refuse(section, "time_at_most", whole->fault,
                              whole->plan.lag_allowance_ms > 0
                                  ? "less than time_at_least and lag_allowance together: expected at least that"
                                  : "less than time_at_least: expected at least that");
    return 0;
}

static int read_soak(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    struct plan_limit *overshoot = &operation->overshoot_at_most, *spread = &operation->spread_at_most;
    const struct plan *plan = &whole->plan;

    if (read_band(whole, section, operation) != 0 || read_times(whole, section, operation) != 0)
        return -1;
    if (plan_take_limit(section, "overshoot_at_most", keyfile_take_difference, overshoot, whole->fault) < 0)
        return -1;
    if (!overshoot->set)
        *overshoot = (struct plan_limit){true, operation->above_mc};
    if (plan_take_limit(section, "spread_at_most", keyfile_take_difference, spread, whole->fault) < 0)
        return -1;
    if (!spread->set)
        return 0;
    if (spread->value == 0)
        return keyfile_refuse(section, "spread_at_most", whole->fault,
                              "no two sensors agree to 0 C: expected more than that");
    if (plan->load == PLAN_LOAD_CONTROL || (plan->load == PLAN_LOAD_NAMED && plan->load_count == 1))
        return keyfile_refuse(section, "spread_at_most", whole->fault,
                              "a spread needs two sensors in the charge: expected load = sensors or two channels");
    return 0;
}

static int read_may_attest(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    static const char *const words[] = {"no", "yes", NULL};
    int word = 0;

    if (keyfile_take_word(section, "may_attest", words, &word, whole->fault) < 0)
        return -1;
    operation->may_attest = word != 0;
    return 0;
}

static int read_falls(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    int64_t rate = 0;
    const int taken = keyfile_take_rate(section, "falls_at_least", &rate, whole->fault);

    operation->falls_at_least_mc_per_s = FALLS_AT_LEAST_MC_PER_S;
    if (taken <= 0)
        return taken;
    operation->falls_at_least_mc_per_s = (rate + SECONDS_PER_HOUR / 2) / SECONDS_PER_HOUR;
    if (operation->falls_at_least_mc_per_s == 0)
        return keyfile_refuse(section, "falls_at_least", whole->fault,
                              "that is no fall: expected a rate such as 20 C/s");
    return 0;
}

static int read_quench(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    struct fault *fault = whole->fault;

    operation->cooling_upper_mc = COOLING_UPPER_MC;
    operation->cooling_lower_mc = COOLING_LOWER_MC;
    operation->handle_warm_mc = HANDLE_WARM_MC;
    if (plan_take_name(section, "medium", &operation->medium, fault) < 0 ||
        plan_take_limit(section, "transfer_at_most", plan_take_some_time, &operation->transfer_at_most, fault) <
            0 ||
        read_falls(whole, section, operation) < 0 ||
        plan_take_limit(section, "cooling_at_most", plan_take_some_time, &operation->cooling_at_most, fault) < 0 ||
        plan_take_fall(section, "cooling", &operation->cooling_upper_mc, &operation->cooling_lower_mc, fault) < 0 ||
        plan_take_limit(section, "handle_warm_within", plan_take_some_time, &operation->handle_warm_within, fault) <
            0 ||
        keyfile_take_temperature(section, "handle_warm", &operation->handle_warm_mc, fault) < 0 ||
        read_may_attest(whole, section, operation) != 0)
        return -1;
    if (operation->handle_warm_mc > operation->cooling_lower_mc)
        return keyfile_refuse(section, "handle_warm", fault,
                              "above the lower end of cooling: expected it to be cooler than that");
    if (!operation->transfer_at_most.set && !operation->cooling_at_most.set && !operation->handle_warm_within.set &&
        !operation->may_attest)
        return keyfile_fault(whole->file, operation->line, fault,
                             "a quench that asks for nothing: expected transfer_at_most, cooling_at_most, "
                             "handle_warm_within or may_attest = yes");
    return 0;
}

/* Against the visit before. */
static int read_before(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    if (plan_take_limit(section, "begins_within", plan_take_some_time, &operation->begins_within, whole->fault) < 0)
        return -1;
    return plan_take_limit(section, "parts_below_first", keyfile_take_temperature, &operation->parts_below_first,
                           whole->fault);
}

static int read_cold(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    struct fault *fault = whole->fault;
    const int taken = keyfile_take_temperature(section, "temperature_at_most", &operation->temperature_mc, fault);

    if (keyfile_require(section, "oven", operation->oven[0] != '\0', "freezer (the configured name of the place)",
                        fault) != 0 ||
        keyfile_require(section, "temperature_at_most", taken, "-75 C", fault) != 0)
        return -1;
    if (operation->temperature_mc >= 0)
        return keyfile_refuse(section, "temperature_at_most", fault, "not sub-zero: expected less than 0 C");
    if (read_time(whole, section, operation) != 0)
        return -1;
    return read_before(whole, section, operation);
}

static int read_temper(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    int64_t constant = (int64_t)(TEMPER_USUAL_CONSTANT * QUANTITY_PER_UNIT);

    if (read_soak(whole, section, operation) != 0 || read_before(whole, section, operation) < 0 ||
        plan_take_number(section, "hollomon_jaffe_constant", hollomon_jaffe_range, &constant, whole->fault) < 0 ||
        plan_take_limit(section, "equivalent_at_least", plan_take_some_time, &operation->equivalent_at_least,
                        whole->fault) < 0)
        return -1;
    operation->hollomon_jaffe_constant = (double)constant / QUANTITY_PER_UNIT;
    return 0;
}

static int read_keys(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    switch (operation->kind) {
    case OPERATION_HEAT: return read_heat(whole, section, operation);
    case OPERATION_SOAK: return read_soak(whole, section, operation);
    case OPERATION_TEMPER: return read_temper(whole, section, operation);
    case OPERATION_HOLD: return read_hold(whole, section, operation);
    case OPERATION_QUENCH: return read_quench(whole, section, operation);
    case OPERATION_COLD: return read_cold(whole, section, operation);
    }
    return 0;
}

static int refuse_one_more(struct whole *whole, struct keyfile_section *section) {
    return keyfile_fault(whole->file, keyfile_section_line(section), whole->fault,
                         "too many operations: expected at most %d", PLAN_OPERATIONS_MOST);
}

/* "first" where the plan gives no name: a bare number would read as that of a visit. */
static int name_repeated(struct whole *whole, size_t index, const char *name, int64_t time) {
    static const char *const ordinals[TEMPERS_MOST] = {"first", "second", "third", "fourth"};
    char *out = whole->names[index];
    const int length = name[0] != '\0' ? snprintf(out, CHANNEL_NAME_BYTES, "%s %lld", name, (long long)time + 1)
                                       : snprintf(out, CHANNEL_NAME_BYTES, "%s", ordinals[time]);

    if (length >= CHANNEL_NAME_BYTES)
        return keyfile_fault(whole->file, whole->operations[index].line, whole->fault,
                             "name of a section too long: expected at most 61 bytes where it is repeated");
    whole->operations[index].name = out;
    return 0;
}

/* The temper that was read last, and the heats before it, once for each time. */
static int repeat(struct whole *whole, struct keyfile_section *section, int64_t times) {
    struct plan *plan = &whole->plan;
    const size_t end = plan->operation_count;
    size_t begin = end - 1;

    if (times == 1)
        return 0;
    while (begin > 0 && whole->operations[begin - 1].visit == whole->operations[end - 1].visit)
        begin--;
    for (int64_t time = times - 1; time >= 0; time--) // the first keeps its place, and its name until it was copied
        for (size_t i = begin; i < end; i++) {
            const size_t at = i + (size_t)time * (end - begin);

            if (at >= PLAN_OPERATIONS_MOST)
                return refuse_one_more(whole, section);
            whole->operations[at] = whole->operations[i];
            whole->operations[at].visit += (size_t)time;
            whole->sections[at] = whole->sections[i];
            if (name_repeated(whole, at, whole->operations[i].name, time) != 0)
                return -1;
        }
    plan->operation_count += (size_t)(times - 1) * (end - begin);
    plan->visit_count += (size_t)(times - 1);
    return 0;
}

static int read_kind(struct whole *whole, struct keyfile_section *section, struct plan_operation *operation) {
    const char *kind = keyfile_section_kind(section);

    operation->kind = OPERATION_HEAT;
    while (operation->kind <= OPERATION_COLD && strcmp(kind, plan_kind_name(operation->kind)) != 0)
        operation->kind++;
    if (operation->kind > OPERATION_COLD)
        return keyfile_fault(whole->file, operation->line, whole->fault,
                             "unknown section [%s]: expected heat, hold, soak, quench, cold or temper", kind);
    if (operation->kind != OPERATION_QUENCH)
        return 0;
    if (whole->plan.operation_count == 0 || operation[-1].kind != OPERATION_SOAK)
        return keyfile_fault(whole->file, operation->line, whole->fault,
                             "a quench that is not right behind a soak: expected it there");
    operation->visit = operation[-1].visit;
    return 0;
}

int plan_read_operation(struct whole *whole, struct keyfile_section *section) {
    struct plan *plan = &whole->plan;
    struct plan_operation *operation = &whole->operations[plan->operation_count];
    int64_t times = 1;

    if (plan->operation_count == PLAN_OPERATIONS_MOST)
        return refuse_one_more(whole, section);
    operation->line = keyfile_section_line(section);
    operation->name = keyfile_section_name(section);
    operation->medium = "";
    operation->visit = plan->visit_count;
    if (read_kind(whole, section, operation) != 0)
        return -1;
    if (strlen(operation->name) >= CHANNEL_NAME_BYTES)
        return keyfile_fault(whole->file, operation->line, whole->fault,
                             "name of a section too long: expected at most 63 bytes");
    if (plan_take_name(section, "oven", &operation->oven, whole->fault) < 0 ||
        read_keys(whole, section, operation) < 0)
        return -1;
    whole->sections[plan->operation_count++] = section;
    plan->visit_count += plan_closes_visit(operation);
    if (operation->kind == OPERATION_TEMPER &&
        keyfile_take_integer(section, "times", 1, TEMPERS_MOST, &times, whole->fault) < 0)
        return -1;
    return repeat(whole, section, times);
}
