// SPDX-License-Identifier: MIT
/* What the judge found, in plain words: for the journal, the terminal and the sheets alike. */
#include <stdio.h>

#include "soakledger/judge.h"
#include "soakledger/quantity.h"

const char *judge_outcome_name(enum outcome outcome) {
    switch (outcome) {
    case OUTCOME_MET: return "met";
    case OUTCOME_NOT_PROVEN: return "not proven";
    case OUTCOME_NOT_MET: return "not met";
    }
    return "unknown outcome";
}

const char *judge_requirement_name(enum requirement requirement) {
    switch (requirement) {
    case REQUIREMENT_RAMP: return "heating rate, at most";
    case REQUIREMENT_SOAK_LEAST: return "soak time, at least";
    case REQUIREMENT_SOAK_MOST: return "soak time, at most";
    case REQUIREMENT_OVERSHOOT: return "overshoot, at most";
    case REQUIREMENT_SPREAD: return "spread, at most";
    case REQUIREMENT_LOAD_START: return "load when heating begins, at most";
    case REQUIREMENT_HOLD_LEAST: return "hold time, at least";
    case REQUIREMENT_TRANSFER: return "transfer to the quench, at most";
    case REQUIREMENT_COOLING: return "cooling time, at most";
    case REQUIREMENT_HANDLE_WARM: return "handle-warm, within";
    case REQUIREMENT_EQUIVALENT: return "temper equivalent, at least";
    case REQUIREMENT_BEGIN_WITHIN: return "begun after the step before, within";
    case REQUIREMENT_PARTS_BELOW: return "parts cooled first, to at most";
    case REQUIREMENT_DONE: return "quench done";
    }
    return "unknown requirement";
}

const char *judge_reason_text(enum reason reason) {
    switch (reason) {
    case REASON_NONE: return "";
    case REASON_NO_RUN: return "no oven run was recorded for this operation";
    case REASON_NO_LOAD: return "the oven has no channel that the plan takes for the charge";
    case REASON_NOT_REACHED: return "the charge never reached the band";
    case REASON_GAP: return "readings are missing where they could change the outcome";
    case REASON_TOO_FEW: return "too few readings";
    case REASON_ONE_SENSOR: return "a spread needs two load sensors";
    case REASON_RUN_OPEN: return "the run is still on";
    case REASON_NO_SENSOR: return "no sensor saw it";
    case REASON_UNCERTAIN: return "inside the limit, but by less than the uncertainty of the measurement";
    case REASON_NO_BEFORE: return "nothing is known of the step before";
    case REASON_ATTESTED: return "attested by a person, not measured";
    }
    return "unknown reason";
}

static void describe_gap(const struct finding *finding, const char *who, char *out, size_t size) {
    char time[QUANTITY_TEXT_BYTES];

    if (finding->kind == FINDING_GAP_ENDED)
        snprintf(out, size, "%s is read again after %s without a good reading", who,
                 quantity_format_duration(finding->value, time));
    else if (finding->value == QUALITY_GOOD)
        snprintf(out, size, "last reading of %s before a gap", who);
    else
        snprintf(out, size, "last good reading of %s: %s since", who, quality_name((enum quality)finding->value));
}

/* What it is that begins, breaks and is fulfilled. */
static const char *what_lasts(enum operation_kind kind) {
    switch (kind) {
    case OPERATION_HOLD: return "hold";
    case OPERATION_COLD: return "cold hold";
    case OPERATION_TEMPER: return "temper";
    default: return "soak";
    }
}

static void describe_time(const struct finding *finding, enum operation_kind kind, const char *who, char *out,
                          size_t size) {
    const char *what = what_lasts(kind),
               *left = kind == OPERATION_COLD ? "was no longer cold enough" : "left the band";
    char time[QUANTITY_TEXT_BYTES], limit[QUANTITY_TEXT_BYTES];

    quantity_format_duration(finding->value, time);
    quantity_format_duration(finding->limit, limit);
    if (finding->kind == FINDING_SOAK_BROKEN && finding->value >= finding->limit)
        snprintf(out, size, "the %s ended: %s %s after %s (required: %s)", what, who, left, time, limit);
    else if (finding->kind == FINDING_SOAK_BROKEN)
        snprintf(out, size, "%s %s; proven %s until then: %s (required: %s)", who, left, what, time, limit);
    else if (finding->kind == FINDING_SOAK_FULFILLED)
        snprintf(out, size, "the required %s of %s is complete", what, time);
    else
        snprintf(out, size, "the %s has lasted longer than the %s allowed", what, limit);
}

static void describe_begin(const struct finding *finding, enum operation_kind kind, const char *value, char *out,
                           size_t size) {
    const bool cold = kind == OPERATION_COLD;

    if (finding->kind == FINDING_SOAK_BEGUN)
        snprintf(out, size, "the %s began: all load channels at or %s %s", what_lasts(kind),
                 cold ? "below" : "above", value);
    else
        snprintf(out, size, "all load channels are %s again; the %s reading meanwhile was %s",
                 cold ? "cold enough" : "in the band", cold ? "highest" : "lowest", value);
}

static void describe_temperature(const struct finding *finding, enum operation_kind kind, const char *who,
                                 enum temperature_unit unit, char *out, size_t size) {
    char value[QUANTITY_TEXT_BYTES], limit[QUANTITY_TEXT_BYTES];

    quantity_format_temperature(finding->value, unit, 1, value);
    quantity_format_temperature(finding->limit, unit, 1, limit);
    switch (finding->kind) {
    case FINDING_SOAK_BEGUN:
    case FINDING_SOAK_RESUMED: describe_begin(finding, kind, value, out, size); break;
    case FINDING_OVERSHOOT:
        snprintf(out, size, "%s passed the overshoot limit of %s: %s", who, limit, value);
        break;
    default: snprintf(out, size, "%s peaked at %s, limit %s", who, value, limit); break;
    }
}

void judge_describe_finding(const struct finding *finding, enum operation_kind kind, const char *channel,
                            enum temperature_unit unit, char *out, size_t size) {
    const char *who = channel != NULL ? channel : "the charge";
    char value[QUANTITY_TEXT_BYTES], limit[QUANTITY_TEXT_BYTES];

    switch (finding->kind) {
    case FINDING_SOAK_BEGUN:
    case FINDING_SOAK_RESUMED:
    case FINDING_OVERSHOOT:
    case FINDING_OVERSHOOT_PEAK: describe_temperature(finding, kind, who, unit, out, size); break;
    case FINDING_SOAK_BROKEN:
    case FINDING_SOAK_FULFILLED:
    case FINDING_SOAK_EXCEEDED: describe_time(finding, kind, who, out, size); break;
    case FINDING_GAP_BEGUN:
    case FINDING_GAP_ENDED: describe_gap(finding, who, out, size); break;
    case FINDING_SPREAD:
        snprintf(out, size, "the load channels are %s apart, limit %s",
                 quantity_format_difference(finding->value, unit, 1, 0, value),
                 quantity_format_difference(finding->limit, unit, 1, 0, limit));
        break;
    case FINDING_RAMP:
        snprintf(out, size, "%s warms by %s, limit %s", who, quantity_format_rate(finding->value, unit, value),
                 quantity_format_rate(finding->limit, unit, limit));
        break;
    case FINDING_MORE:
        snprintf(out, size, "%lld more findings like these are not listed", (long long)finding->value);
        break;
    }
}
