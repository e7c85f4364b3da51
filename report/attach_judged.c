// SPDX-License-Identifier: MIT
/* What was judged, as JSON. Made from the ledger when a certificate is issued, and from its attachments when it is
 * checked: both must come out the same. */
#include <string.h>

#include "attach_json.h"
#include "soakledger/words.h"

enum { NAME_BYTES = 160 };

/* The unit of a requirement's numbers (judge.h). */
static const char *attach_unit(enum requirement requirement) {
    switch (requirement) {
    case REQUIREMENT_RAMP: return "mc_per_h";
    case REQUIREMENT_OVERSHOOT:
    case REQUIREMENT_SPREAD:
    case REQUIREMENT_LOAD_START:
    case REQUIREMENT_PARTS_BELOW: return "mc";
    case REQUIREMENT_SOAK_LEAST:
    case REQUIREMENT_SOAK_MOST:
    case REQUIREMENT_HOLD_LEAST:
    case REQUIREMENT_TRANSFER:
    case REQUIREMENT_COOLING:
    case REQUIREMENT_HANDLE_WARM:
    case REQUIREMENT_EQUIVALENT:
    case REQUIREMENT_BEGIN_WITHIN: return "ms";
    case REQUIREMENT_DONE: return "none";
    }
    return "none";
}

static json_t *attach_number_if(bool known, int64_t number) {
    return known ? json_integer(number) : json_null();
}

static json_t *attach_channel_name(const struct assess_visit *visit, int64_t channel_id) {
    const struct assess_run *run = assess_deciding_run(visit);
    const struct ledger_channel *channel = run != NULL ? assess_find_channel(run, channel_id) : NULL;

    return channel != NULL ? attach_text(channel->name) : json_null();
}

static json_t *attach_verdict(const struct plan *plan, const struct assess_visit *visit,
                              const struct verdict *verdict) {
    const struct plan_operation *operation = &plan->operations[verdict->operation];
    char of[NAME_BYTES];

    snprintf(of, sizeof of, "%s%s%s", plan_kind_name(operation->kind), operation->name[0] != '\0' ? " " : "",
             operation->name);
    return json_pack(
        "{s:i, s:o, s:i, s:s, s:s, s:i, s:s, s:s, s:I, s:o, s:I, s:o, s:o, s:o, s:I}", "operation",
        (int)verdict->operation + 1, "of", attach_text(of), "requirement", (int)verdict->requirement, "words",
        judge_requirement_name(verdict->requirement), "outcome", judge_outcome_name(verdict->outcome), "reason",
        (int)verdict->reason, "because", judge_reason_text(verdict->reason), "unit",
        attach_unit(verdict->requirement), "required", (json_int_t)verdict->required, "found",
        attach_number_if(verdict->found_known, verdict->found), "possible", (json_int_t)verdict->possible, "margin",
        attach_number_if(verdict->found_known, verdict->margin), "at_ms", attach_moment(verdict->t_ms), "channel",
        attach_channel_name(visit, verdict->channel_id), "uncertainty", (json_int_t)verdict->uncertainty);
}

static json_t *attach_verdicts(const struct plan *plan, const struct assess_visit *visit) {
    json_t *verdicts = json_array();

    for (size_t i = 0; i < visit->verdict_count; i++)
        if (json_array_append_new(verdicts, attach_verdict(plan, visit, &visit->verdicts[i])) != 0) {
            json_decref(verdicts);
            return NULL;
        }
    return verdicts;
}

static json_t *attach_visit(const struct plan *plan, size_t number, const struct assess_visit *visit) {
    const struct plan_operation *soak = plan_visit_soak(plan, number);
    const struct assess_run *run = assess_deciding_run(visit);
    char name[NAME_BYTES];

    snprintf(name, sizeof name, "%s%s%s", plan_kind_name(soak->kind), soak->name[0] != '\0' ? " " : "", soak->name);
    return json_pack("{s:i, s:o, s:s, s:o, s:o, s:o}", "visit", (int)number + 1, "name", attach_text(name),
                     "outcome", judge_outcome_name(visit->outcome), "decided_by_run",
                     run != NULL ? json_integer(run->run.run_id) : json_null(), "attested_ms",
                     attach_number_if(visit->attested, visit->attested_ms), "verdicts",
                     attach_verdicts(plan, visit));
}

/* ---- runs ---- */

static json_t *attach_finding(const struct plan *plan, const struct assess_run *run,
                              const struct finding *finding) {
    const struct ledger_channel *channel = assess_find_channel(run, finding->channel_id);
    char words[WORDS_SENTENCE_BYTES];

    judge_describe_finding(finding, plan->operations[finding->operation].kind,
                           channel != NULL ? channel->name : NULL, UNIT_CELSIUS, words, sizeof words);
    return json_pack("{s:I, s:i, s:o, s:i, s:I, s:I, s:o}", "at_ms", (json_int_t)finding->t_ms, "kind",
                     (int)finding->kind, "words", attach_text(words), "operation", (int)finding->operation + 1,
                     "value", (json_int_t)finding->value, "limit", (json_int_t)finding->limit, "channel",
                     channel != NULL ? attach_text(channel->name) : json_null());
}

static json_t *attach_findings(const struct plan *plan, const struct assess_run *run) {
    json_t *findings = json_array();

    for (size_t i = 0; i < run->finding_count; i++)
        if (json_array_append_new(findings, attach_finding(plan, run, &run->findings[i])) != 0) {
            json_decref(findings);
            return NULL;
        }
    return findings;
}

static json_t *attach_tallies(const struct assess_run *run) {
    json_t *tallies = json_array();

    for (size_t i = 0; i < run->channel_count; i++) {
        const struct assess_tally *tally = &run->tallies[i];

        if (json_array_append_new(
                tallies, json_pack("{s:o, s:I, s:I, s:I, s:I, s:I, s:I}", "channel",
                                   attach_text(run->channels[i].name), "readings", (json_int_t)tally->total, "good",
                                   (json_int_t)tally->good, "expected", (json_int_t)tally->expected, "gaps",
                                   (json_int_t)tally->gap_count, "gaps_ms", (json_int_t)tally->gap_total_ms,
                                   "longest_gap_ms", (json_int_t)tally->gap_longest_ms)) != 0) {
            json_decref(tallies);
            return NULL;
        }
    }
    return tallies;
}

static json_t *attach_runs_judged(const struct assess_batch *assessed) {
    json_t *runs = json_array();

    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++) {
            const struct assess_run *run = &assessed->visits[i].runs[k];

            if (json_array_append_new(runs, json_pack("{s:I, s:b, s:o, s:o}", "run", (json_int_t)run->run.run_id,
                                                      "reached", (int)run->reached, "sampling", attach_tallies(run),
                                                      "findings", attach_findings(assessed->plan, run))) != 0) {
                json_decref(runs);
                return NULL;
            }
        }
    return runs;
}

/* null where the plan asks for none. */
static json_t *attach_hardness(const struct hardness_verdict *hardness) {
    if (!hardness->asked)
        return json_null();
    return json_pack("{s:s, s:i, s:i, s:i, s:o, s:o}", "outcome", judge_outcome_name(hardness->outcome), "counted",
                     (int)hardness->counted, "on_other_scales", (int)hardness->other_scale, "outside",
                     (int)hardness->outside, "lowest", attach_number_if(hardness->counted > 0, hardness->lowest),
                     "highest", attach_number_if(hardness->counted > 0, hardness->highest));
}

json_t *attach_judged(const struct assess_batch *assessed, struct fault *fault) {
    json_t *visits = json_array(), *judged = NULL;

    for (size_t i = 0; visits != NULL && i < assessed->visit_count; i++)
        if (json_array_append_new(visits, attach_visit(assessed->plan, i, &assessed->visits[i])) != 0) {
            json_decref(visits);
            visits = NULL;
        }
    if (visits != NULL)
        judged =
            json_pack("{s:s, s:o, s:o, s:o}", "outcome", judge_outcome_name(assessed->outcome), "hardness",
                      attach_hardness(&assessed->hardness), "visits", visits, "runs", attach_runs_judged(assessed));
    if (judged == NULL)
        fault_set(fault, EX_OSERR, "not enough memory for what was judged");
    return judged;
}
