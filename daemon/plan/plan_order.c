// SPDX-License-Identifier: MIT
/* What the operations of a plan demand of each other. */
#include <string.h>

#include "plan_private.h"
#include "soakledger/quantity.h"

enum {
    /* In one visit. A heat has one verdict, the first two; a hold two at most; a soak and its quench four each:
     * that stays below JUDGE_MOST_VERDICTS. */
    HEATS_MOST = 16,
    HOLDS_MOST = 3,
};

static int64_t lower_edge_mc(const struct plan_operation *operation) {
    return operation->temperature_mc - operation->below_mc;
}

static const char *celsius(int64_t mc, char *out) {
    return quantity_format_temperature(mc, UNIT_CELSIUS, 1, out);
}

/* One visit, one oven: that of the soak, temper or cold that closes it. */
static int check_oven(struct whole *whole, size_t index, const struct plan_operation *soak) {
    struct plan_operation *operation = &whole->operations[index];

    if (operation->oven[0] == '\0')
        operation->oven = soak->oven;
    if (strcmp(operation->oven, soak->oven) == 0)
        return 0;
    return keyfile_refuse(
        whole->sections[index], "oven", whole->fault,
        "'%s', but the %s on line %d that it %s is in %s%s%s: expected the same", operation->oven,
        plan_kind_name(soak->kind), soak->line, operation->kind == OPERATION_QUENCH ? "follows" : "leads to",
        soak->oven[0] != '\0' ? "'" : "the batch's own", soak->oven, soak->oven[0] != '\0' ? "'" : "");
}

/* `hold` is the one before the heat in its visit, or NULL; `target` the hold, soak or temper it leads to. */
static int check_heat(struct whole *whole, size_t index, const struct plan_operation *hold,
                      const struct plan_operation *target) {
    struct keyfile_section *section = whole->sections[index];
    const struct plan_operation *heat = &whole->operations[index];
    char is[QUANTITY_TEXT_BYTES], limit[QUANTITY_TEXT_BYTES];

    if (heat->ramp_high_mc > lower_edge_mc(target))
        return keyfile_refuse(section, "ramp_between", whole->fault,
                              "up to %s, which is inside the band of the %s on line %d: expected at most %s",
                              celsius(heat->ramp_high_mc, is), plan_kind_name(target->kind), target->line,
                              celsius(lower_edge_mc(target), limit));
    if (hold != NULL && heat->ramp_low_mc < lower_edge_mc(hold))
        return keyfile_refuse(section, "ramp_between", whole->fault,
                              "from %s, which is below the hold on line %d that it begins at: expected at least %s",
                              celsius(heat->ramp_low_mc, is), hold->line, celsius(lower_edge_mc(hold), limit));
    if (!heat->load_at_most.set)
        return 0;
    if (index > 0 && heat[-1].visit == heat->visit)
        return keyfile_refuse(section, "load_at_most", whole->fault,
                              "only at the beginning of a visit: expected it in the first heat, or nowhere");
    if (heat->load_at_most.value >= lower_edge_mc(target))
        return keyfile_refuse(section, "load_at_most", whole->fault,
                              "not below the %s on line %d that the heat leads to: expected less than %s",
                              plan_kind_name(target->kind), target->line, celsius(lower_edge_mc(target), limit));
    return 0;
}

/* A hold lies wholly below what comes next, so that the time of one never counts for the other. */
static int check_hold(struct whole *whole, size_t index, const struct plan_operation *target) {
    const struct plan_operation *hold = &whole->operations[index];
    const int64_t upper_edge_mc = hold->temperature_mc + hold->above_mc;
    char is[QUANTITY_TEXT_BYTES], limit[QUANTITY_TEXT_BYTES];

    if (target->kind == OPERATION_TEMPER)
        return keyfile_fault(whole->file, hold->line, whole->fault,
                             "a hold before the temper on line %d: expected holds only before a soak",
                             target->line);
    if (hold->temperature_mc >= target->temperature_mc)
        return keyfile_refuse(whole->sections[index], "temperature", whole->fault,
                              "not below the %s on line %d behind it: expected holds to rise to the soak",
                              plan_kind_name(target->kind), target->line);
    if (upper_edge_mc >= lower_edge_mc(target))
        return keyfile_refuse(whole->sections[index], "above", whole->fault,
                              "the band reaches up to %s, into that of the %s on line %d: expected less than %s",
                              celsius(upper_edge_mc, is), plan_kind_name(target->kind), target->line,
                              celsius(lower_edge_mc(target), limit));
    return 0;
}

static int check_quench(struct whole *whole, size_t index) {
    const struct plan_operation *quench = &whole->operations[index], *soak = quench - 1;
    struct keyfile_section *section = whole->sections[index];
    const bool span_is_given = keyfile_take(section, "cooling", NULL) != NULL;
    char is[QUANTITY_TEXT_BYTES], limit[QUANTITY_TEXT_BYTES];

    if ((span_is_given || quench->cooling_at_most.set) && quench->cooling_upper_mc > lower_edge_mc(soak))
        return keyfile_refuse(
            section, span_is_given ? "cooling" : "cooling_at_most", whole->fault,
            "from %s, but the soak on line %d may begin to cool at %s: expected cooling from less",
            celsius(quench->cooling_upper_mc, is), soak->line, celsius(lower_edge_mc(soak), limit));
    if (quench->handle_warm_mc >= lower_edge_mc(soak))
        return keyfile_refuse(section, "handle_warm", whole->fault,
                              "not below the soak on line %d: expected less than %s", soak->line,
                              celsius(lower_edge_mc(soak), limit));
    return 0;
}

static int check_counts(struct whole *whole, size_t first, size_t closing) {
    int heats = 0, holds = 0;

    for (size_t i = first; i < closing; i++) {
        const struct plan_operation *operation = &whole->operations[i];

        if (operation->kind == OPERATION_HEAT && heats++ == HEATS_MOST)
            return keyfile_fault(whole->file, operation->line, whole->fault,
                                 "too many heats before one soak: expected at most %d", HEATS_MOST);
        if (operation->kind == OPERATION_HOLD && holds++ == HOLDS_MOST)
            return keyfile_fault(whole->file, operation->line, whole->fault,
                                 "too many holds before one soak: expected at most %d", HOLDS_MOST);
    }
    return 0;
}

/* The heats and holds in [first, closing) of the visit that the soak, temper or cold at `closing` closes. */
static int check_way_up(struct whole *whole, size_t first, size_t closing) {
    const struct plan_operation *soak = &whole->operations[closing], *target = soak;

    for (size_t i = closing; i-- > first;) {
        const struct plan_operation *operation = &whole->operations[i], *hold = NULL;

        if (soak->kind == OPERATION_COLD)
            return keyfile_fault(whole->file, operation->line, whole->fault,
                                 "a %s before the cold on line %d: expected it before a soak%s",
                                 plan_kind_name(operation->kind), soak->line,
                                 operation->kind == OPERATION_HEAT ? " or temper" : "");
        if (check_oven(whole, i, soak) != 0)
            return -1;
        if (operation->kind == OPERATION_HOLD) {
            if (check_hold(whole, i, target) != 0)
                return -1;
            target = operation;
            continue;
        }
        for (size_t k = i; k-- > first && hold == NULL;)
            hold = whole->operations[k].kind == OPERATION_HOLD ? &whole->operations[k] : NULL;
        if (check_heat(whole, i, hold, target) != 0)
            return -1;
    }
    return check_counts(whole, first, closing);
}

/* A soak right behind a soak would be the same stay in the oven to anybody who reads the plan. */
static int check_single_soak(struct whole *whole, size_t index) {
    const struct plan_operation *operation = &whole->operations[index];

    if (index == 0 || operation->kind != OPERATION_SOAK || operation[-1].kind != OPERATION_SOAK)
        return 0;
    return keyfile_fault(
        whole->file, operation->line, whole->fault,
        "a second soak in one visit, behind that on line %d: expected a quench, or a heat from cold, "
        "between the two",
        operation[-1].line);
}

static int check_visits(struct whole *whole) {
    size_t first = 0; // of the visit

    for (size_t i = 0; i < whole->plan.operation_count; i++) {
        const struct plan_operation *operation = &whole->operations[i];

        if (operation->kind == OPERATION_QUENCH) {
            if (check_oven(whole, i, operation - 1) != 0 || check_quench(whole, i) != 0)
                return -1;
            first = i + 1;
        } else if (plan_closes_visit(operation)) {
            if (check_single_soak(whole, i) != 0 || check_way_up(whole, first, i) != 0)
                return -1;
            first = i + 1;
        }
    }
    if (first < whole->plan.operation_count)
        return keyfile_fault(whole->file, whole->operations[first].line, whole->fault,
                             "a %s that leads to nothing: expected a soak%s behind it",
                             plan_kind_name(whole->operations[first].kind),
                             whole->operations[first].kind == OPERATION_HEAT ? " or temper" : "");
    return 0;
}

/* A temper comes after a soak, below its temperature. A plan without any soak is for steel hardened before. */
static int check_temper(struct whole *whole, size_t index, const struct plan_operation *soak) {
    if (soak == NULL)
        return keyfile_fault(whole->file, whole->operations[index].line, whole->fault,
                             "a temper before the first soak: expected it behind one");
    if (whole->operations[index].temperature_mc >= soak->temperature_mc)
        return keyfile_refuse(whole->sections[index], "temperature", whole->fault,
                              "not below the soak before it: expected a temper to be cooler");
    return 0;
}

/* Cold turns austenite into fresh martensite: it follows hardening, and nothing may end with it once the steel has
 * been tempered. A temper between the two, against cracks, is allowed if another comes after. */
static int check_cold(struct whole *whole, size_t index, const struct plan_operation *soak) {
    const struct plan_operation *cold = &whole->operations[index];
    bool tempered = false, tempered_after = false;

    if (soak == NULL)
        return keyfile_fault(whole->file, cold->line, whole->fault,
                             "a cold before any soak: expected it behind a soak and its quench");
    for (const struct plan_operation *at = soak; at < cold; at++)
        tempered |= at->kind == OPERATION_TEMPER;
    for (size_t i = index; i < whole->plan.operation_count && whole->operations[i].kind != OPERATION_SOAK; i++)
        tempered_after |= whole->operations[i].kind == OPERATION_TEMPER;
    if (tempered && !tempered_after)
        return keyfile_fault(whole->file, cold->line, whole->fault,
                             "a cold behind the last temper: expected another temper behind the cold");
    return 0;
}

static bool is_repeated_after(const struct whole *whole, size_t index) {
    for (size_t i = index + 1; i < whole->plan.operation_count; i++)
        if (whole->sections[i] == whole->sections[index])
            return true;
    return false;
}

/* begins_within and parts_below_first need something before them; `hot` is the soak or temper before, or NULL.
 * The first of repeated tempers may be without: they then hold for the others. */
static int check_before(struct whole *whole, size_t index, const struct plan_operation *hot) {
    struct plan_operation *operation = &whole->operations[index];
    struct keyfile_section *section = whole->sections[index];
    static const char *const keys[] = {"begins_within", "parts_below_first"};
    char limit[QUANTITY_TEXT_BYTES];

    if (operation->visit == 0) {
        if (!is_repeated_after(whole, index))
            for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
                if (keyfile_take(section, keys[i], NULL) != NULL)
                    return keyfile_refuse(section, keys[i], whole->fault,
                                          "nothing comes before this %s: expected no such line",
                                          plan_kind_name(operation->kind));
        operation->begins_within.set = operation->parts_below_first.set = false;
    }
    if (operation->parts_below_first.set && hot != NULL && operation->parts_below_first.value >= lower_edge_mc(hot))
        return keyfile_refuse(section, "parts_below_first", whole->fault,
                              "not below the %s on line %d before it: expected less than %s",
                              plan_kind_name(hot->kind), hot->line, celsius(lower_edge_mc(hot), limit));
    return 0;
}

static int check_sequence(struct whole *whole) {
    const struct plan_operation *soak = NULL, *hot = NULL;
    bool soak_is_planned = false;

    for (size_t i = 0; i < whole->plan.operation_count; i++)
        soak_is_planned |= whole->operations[i].kind == OPERATION_SOAK;
    for (size_t i = 0; i < whole->plan.operation_count; i++) {
        const struct plan_operation *operation = &whole->operations[i];

        if (operation->kind == OPERATION_COLD && check_cold(whole, i, soak) != 0)
            return -1;
        if (operation->kind == OPERATION_TEMPER && soak_is_planned && check_temper(whole, i, soak) != 0)
            return -1;
        if (check_before(whole, i, hot) != 0)
            return -1;
        if (operation->kind == OPERATION_SOAK)
            soak = operation;
        if (operation->kind == OPERATION_SOAK || operation->kind == OPERATION_TEMPER)
            hot = operation;
    }
    return 0;
}

/* Repeated tempers get names of their own, which must not be somebody else's. */
static int check_names(struct whole *whole) {
    for (size_t i = 0; i < whole->plan.operation_count; i++)
        for (size_t k = 0; k < i; k++)
            if (whole->operations[i].kind == whole->operations[k].kind &&
                strcmp(whole->operations[i].name, whole->operations[k].name) == 0)
                return keyfile_fault(whole->file, whole->operations[i].line, whole->fault,
                                     "[%s %s] is also on line %d, by itself or as one of several times: expected "
                                     "another name",
                                     plan_kind_name(whole->operations[i].kind), whole->operations[i].name,
                                     whole->operations[k].line);
    return 0;
}

static int check_martensite(struct whole *whole) {
    const struct plan *plan = &whole->plan;

    for (size_t i = 0; plan->martensite_start.set && i < plan->operation_count; i++)
        if (plan->operations[i].kind == OPERATION_SOAK &&
            plan->martensite_start.value >= lower_edge_mc(&plan->operations[i]))
            return keyfile_refuse(keyfile_section(whole->file, 0), "martensite_start", whole->fault,
                                  "not below the soak on line %d: expected martensite to begin in the quench",
                                  plan->operations[i].line);
    return 0;
}

int plan_check_order(struct whole *whole) {
    if (check_names(whole) != 0 || check_visits(whole) != 0)
        return -1;
    return check_sequence(whole) != 0 ? -1 : check_martensite(whole);
}
