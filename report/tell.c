// SPDX-License-Identifier: MIT
#include "soakledger/tell.h"

#include <stdio.h>
#include <string.h>

#include "soakledger/temper.h"
#include "soakledger/words.h"

static const double PER_CENT = 100, THOUSANDTHS = 1000;

char *tell_decision(const struct plan *plan, char *out) {
    if (plan->decision == PLAN_DECISION_GUARDED)
        snprintf(
            out, TELL_BYTES,
            "Decision rule: guarded (JCGM 106). A requirement is met only if the value found would still be inside "
            "the limit with its whole uncertainty to the bad side; inside by less is not proven.");
    else
        snprintf(
            out, TELL_BYTES,
            "Decision rule: simple. The value found is held against the limit as it is; an uncertainty that is "
            "stated is printed beside the margin and changes no outcome.");
    return out;
}

char *tell_visit(const struct plan *plan, size_t visit, char *out) {
    size_t used = 0;

    out[0] = '\0';
    for (size_t i = 0; i < plan->operation_count && used < TELL_BYTES; i++) {
        const struct plan_operation *operation = &plan->operations[i];

        if (operation->visit != visit || operation->kind == OPERATION_HEAT)
            continue;
        used += (size_t)snprintf(out + used, TELL_BYTES - used, "%s%s%s%s", used > 0 ? ", " : "",
                                 plan_kind_name(operation->kind), operation->name[0] != '\0' ? " " : "",
                                 operation->name);
    }
    return out;
}

bool tell_equivalent(const struct assess_batch *assessed, size_t visit, enum temperature_unit unit, char *out) {
    const struct plan_operation *temper = plan_visit_soak(assessed->plan, visit);
    const struct assess_run *run = assess_deciding_run(&assessed->visits[visit]);
    char time[QUANTITY_TEXT_BYTES], reference[QUANTITY_TEXT_BYTES], missing[QUANTITY_TEXT_BYTES];
    size_t used;

    if (temper->kind != OPERATION_TEMPER || run == NULL || run->load_count == 0)
        return false;
    used = (size_t)snprintf(out, TELL_BYTES, "%s at %s (Hollomon-Jaffe, C = %g)",
                            quantity_format_duration(run->soak.equivalent_ms, time),
                            quantity_format_temperature(temper->temperature_mc, unit, 0, reference),
                            temper->hollomon_jaffe_constant);
    if (run->soak.equivalent_missing_ms > 0 && used < TELL_BYTES)
        snprintf(out + used, TELL_BYTES - used, ", without %s in which readings are missing",
                 quantity_format_duration(run->soak.equivalent_missing_ms, missing));
    return true;
}

/* The lowest that the charge is known to have reached after its soak, up to and with this visit. */
static bool tell_lowest(const struct assess_batch *assessed, size_t visit, int64_t *lowest_mc) {
    bool known = false;

    for (size_t i = visit + 1; i-- > 0;) {
        const enum operation_kind kind = plan_visit_soak(assessed->plan, i)->kind;
        const struct assess_run *run = assess_deciding_run(&assessed->visits[i]);

        // A controller's own sensor stays in the oven.
        if (run != NULL && run->soak.lowest_known &&
            (kind == OPERATION_COLD || assessed->plan->load != PLAN_LOAD_CONTROL) &&
            (!known || run->soak.lowest_mc < *lowest_mc)) {
            *lowest_mc = run->soak.lowest_mc;
            known = true;
        }
        if (kind == OPERATION_SOAK)
            break;
    }
    return known;
}

bool tell_austenite(const struct assess_batch *assessed, size_t visit, enum temperature_unit unit, char *out) {
    const struct plan *plan = assessed->plan;
    const enum operation_kind kind = plan_visit_soak(plan, visit)->kind;
    char lowest[QUANTITY_TEXT_BYTES];
    int64_t lowest_mc = 0;

    if (!plan->martensite_start.set || kind == OPERATION_TEMPER)
        return false;
    if (!tell_lowest(assessed, visit, &lowest_mc)) {
        snprintf(out, TELL_BYTES, "not known: how cold the charge became was not measured");
        return true;
    }
    snprintf(out, TELL_BYTES, "about %.0f %%: the charge had been down to %s",
             PER_CENT * temper_retained_austenite(plan->martensite_start.value, lowest_mc),
             quantity_format_temperature(lowest_mc, unit, 1, lowest));
    return true;
}

char *tell_austenite_source(const struct plan *plan, enum temperature_unit unit, char *out) {
    char start[QUANTITY_TEXT_BYTES];

    snprintf(
        out, TELL_BYTES,
        "Retained austenite is an estimate and not judged: after Koistinen and Marburger (1959), "
        "exp(-0.011 (Ms - T)) with Ms = %s from the plan and T, in °C, the lowest temperature of the charge. It "
        "knows nothing of carbides, of waiting before the cold hold, or of tempering.",
        quantity_format_temperature(plan->martensite_start.value, unit, 0, start));
    return out;
}

bool tell_hardness(const struct plan *plan, char *out) {
    if (plan->hardness.scale == NULL || plan->hardness.scale[0] == '\0')
        return false;
    snprintf(out, TELL_BYTES, "%g to %g %s", (double)plan->hardness.low / THOUSANDTHS,
             (double)plan->hardness.high / THOUSANDTHS, plan->hardness.scale);
    return true;
}

/* ---- a quench ---- */

static void tell_time(const struct quench_time *time, char *value) {
    char text[QUANTITY_TEXT_BYTES];

    if (time->known)
        snprintf(value, TELL_CELL_BYTES, "%s", words_short_time(time->ms, text));
}

static void tell_rate(bool known, int64_t mc_per_s, enum temperature_unit unit, char *value) {
    char difference[QUANTITY_TEXT_BYTES];

    if (known)
        snprintf(value, TELL_CELL_BYTES, "%s/s", quantity_format_difference(mc_per_s, unit, 1, 0, difference));
}

static void tell_mark(const struct quench_curve *curve, size_t mark, enum temperature_unit unit, char *name,
                      char *value) {
    char text[QUANTITY_TEXT_BYTES];

    snprintf(name, TELL_CELL_BYTES, "from the soak to %s",
             quantity_format_temperature(quench_marks_mc[mark], unit, 0, text));
    tell_time(&curve->marks[mark], value);
}

static void tell_cooling(const struct plan_operation *quench, const struct quench_curve *curve, bool readings,
                         enum temperature_unit unit, char *name, char *value) {
    char upper[QUANTITY_TEXT_BYTES], lower[QUANTITY_TEXT_BYTES];

    quantity_format_temperature(quench->cooling_upper_mc, unit, 0, upper);
    quantity_format_temperature(quench->cooling_lower_mc, unit, 0, lower);
    if (readings) {
        snprintf(name, TELL_CELL_BYTES, "readings between the two");
        snprintf(value, TELL_CELL_BYTES, "%lld", (long long)curve->cooling_readings);
    } else {
        snprintf(name, TELL_CELL_BYTES, "cooling time, %.*s to %s", (int)strcspn(upper, " "), upper, lower);
        tell_time(&curve->cooling, value);
    }
}

static void tell_transfer(const struct plan_operation *quench, const struct quench_curve *curve,
                          enum temperature_unit unit, char *name, char *value) {
    char rate[QUANTITY_TEXT_BYTES];

    snprintf(name, TELL_CELL_BYTES, "transfer, to a fall of %s/s",
             quantity_format_difference(quench->falls_at_least_mc_per_s, unit, 0, 0, rate));
    tell_time(&curve->transfer, value);
}

static void tell_fastest_at(const struct quench_curve *curve, enum temperature_unit unit, char *value) {
    char at[QUANTITY_TEXT_BYTES], after[QUANTITY_TEXT_BYTES];

    if (curve->fastest.known)
        snprintf(value, TELL_CELL_BYTES, "%s, after %s",
                 quantity_format_temperature(curve->fastest_at_mc, unit, 0, at),
                 words_short_time(curve->fastest.ms, after));
}

void tell_quench(const struct plan_operation *quench, const struct quench_curve *curve, size_t row,
                 enum temperature_unit unit, char *name, char *value) {
    enum {
        TRANSFER,
        COOLING,
        READINGS,
        FASTEST,
        FASTEST_AT,
        RATE_AT_300,
        FIRST_MARK,
        WARM = FIRST_MARK + QUENCH_MARKS
    };
    char text[QUANTITY_TEXT_BYTES];

    snprintf(value, TELL_CELL_BYTES, "not known");
    switch (row) {
    case TRANSFER: tell_transfer(quench, curve, unit, name, value); break;
    case COOLING:
    case READINGS: tell_cooling(quench, curve, row == READINGS, unit, name, value); break;
    case FASTEST:
        snprintf(name, TELL_CELL_BYTES, "fastest cooling");
        tell_rate(curve->fastest.known, curve->fastest_mc_per_s, unit, value);
        break;
    case FASTEST_AT:
        snprintf(name, TELL_CELL_BYTES, "the fastest was at");
        tell_fastest_at(curve, unit, value);
        break;
    case RATE_AT_300:
        snprintf(name, TELL_CELL_BYTES, "cooling at %s",
                 quantity_format_temperature(QUENCH_RATE_AT_MC, unit, 0, text));
        tell_rate(curve->rate_at_300_known, curve->rate_at_300_mc_per_s, unit, value);
        break;
    case WARM:
        snprintf(name, TELL_CELL_BYTES, "handle-warm, %s",
                 quantity_format_temperature(quench->handle_warm_mc, unit, 0, text));
        tell_time(&curve->handle_warm, value);
        break;
    default: tell_mark(curve, row - FIRST_MARK, unit, name, value); break;
    }
}
