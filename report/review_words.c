// SPDX-License-Identifier: MIT
/* What a review says, in words that screen and sheet share. It never promises more than the readings do. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "review_parts.h"
#include "soakledger/words.h"

enum { MS_PER_MIN = 60000 };

const char review_method[] =
    "Weighed from the readings, the daemon's own records and earlier good runs of the same oven; nobody looked at "
    "the "
    "oven. Each sign counts for or against a cause, and the sum ranks them: likely, possible, unlikely. The "
    "weights were "
    "set on simulated ovens; they are no probabilities, and a cause that is not in the list cannot come out.";
const char review_hardness[] =
    "What decides is the hardness as measured: every oven run met its requirements, and the readings "
    "cannot say why the steel came out otherwise.";
const char review_hypothetical[] = "Hypothetical: the same readings judged against something else than the batch's "
                                   "plan. Nothing of this is stored, and "
                                   "no verdict changes by it.";

const char *review_outcome(const struct review *review, enum outcome outcome) {
    if (review->instead == NULL)
        return judge_outcome_name(outcome);
    switch (outcome) {
    case OUTCOME_MET: return "would be met";
    case OUTCOME_NOT_MET: return "would not be met";
    case OUTCOME_NOT_PROVEN: break;
    }
    return "would not be proven";
}

char *review_visit_name(const struct review *review, size_t visit, char *out) {
    const struct plan_operation *soak = plan_visit_soak(review->assessed->plan, visit);
    char name[REVIEW_NAME_BYTES];

    snprintf(out, REVIEW_TEXT_BYTES, "%s%s%s", plan_kind_name(soak->kind), soak->name[0] != '\0' ? " " : "",
             words_clean(soak->name, strlen(soak->name), 0, name, sizeof name));
    return out;
}

char *review_headline(const struct review *review, char *out) {
    const long long batch = (long long)review->assessed->batch->batch_id;

    if (review->instead != NULL)
        snprintf(out, REVIEW_TEXT_BYTES, "Batch %lld judged against %.400s", batch, review->instead);
    else if (review->assessed->outcome == OUTCOME_MET)
        snprintf(out, REVIEW_TEXT_BYTES, "Batch %lld was met: there is no failure to explain", batch);
    else
        snprintf(out, REVIEW_TEXT_BYTES, "Why batch %lld is %s", batch,
                 judge_outcome_name(review->assessed->outcome));
    return out;
}

/* ---- findings ---- */

/* "6 s": readings tell no more, and a person needs no more. */
static char *length_of(int64_t ms, char *out) {
    enum { MS_PER_S = 1000 };

    return quantity_format_duration(ms < MS_PER_S ? ms : (ms + MS_PER_S / 2) / MS_PER_S * MS_PER_S, out);
}

static bool is_gap(const struct finding *finding) {
    return finding->kind == FINDING_GAP_BEGUN || finding->kind == FINDING_GAP_ENDED;
}

size_t review_span(const struct review_visit *visit, size_t finding) {
    enum { MANY = 6 };
    size_t count = 0;

    while (finding + count < visit->run->finding_count && is_gap(&visit->run->findings[finding + count]))
        count++;
    return count > MANY ? count : 1;
}

static void say_gaps(const struct review *review, const struct review_visit *visit, size_t finding, size_t count,
                     char *out) {
    char until[QUANTITY_TEXT_BYTES], longest[QUANTITY_TEXT_BYTES];
    size_t gaps = 0;
    int64_t most_ms = 0;

    for (size_t i = finding; i < finding + count; i++) {
        const struct finding *of = &visit->run->findings[i];

        gaps += of->kind == FINDING_GAP_BEGUN;
        if (of->kind == FINDING_GAP_ENDED && of->value > most_ms)
            most_ms = of->value;
    }
    words_clock(visit->run->findings[finding + count - 1].t_ms, review->config->utc_offset_min, 1, until);
    snprintf(out, REVIEW_TEXT_BYTES,
             "%zu gaps in the good readings of all channels together until %s, the longest %s", gaps, until,
             length_of(most_ms, longest));
}

char *review_finding(const struct review *review, const struct review_visit *visit, size_t finding, char *out) {
    const struct finding *of = &visit->run->findings[finding];
    const struct ledger_channel *channel = assess_find_channel(visit->run, of->channel_id);
    const size_t span = review_span(visit, finding);

    if (span > 1) {
        say_gaps(review, visit, finding, span, out);
        return out;
    }
    judge_describe_finding(of, review->assessed->plan->operations[of->operation].kind,
                           channel != NULL ? channel->name : NULL, review->config->unit, out, REVIEW_TEXT_BYTES);
    return out;
}

/* The finding of that kind that follows; NULL if there is none. */
static const struct finding *next_of(const struct review_visit *visit, size_t from, enum finding_kind kind) {
    const struct finding *of = &visit->run->findings[from];

    for (size_t i = from + 1; i < visit->run->finding_count; i++) {
        const struct finding *next = &visit->run->findings[i];

        if (next->kind == kind && next->operation == of->operation &&
            (kind != FINDING_GAP_ENDED || next->channel_id == of->channel_id))
            return next;
    }
    return NULL;
}

/* Only the longest unbroken stretch counts: what it would have been without this dip. */
static void cost_of_break(const struct review_visit *visit, size_t finding, char *out) {
    const struct finding *of = &visit->run->findings[finding];
    const struct finding *back = next_of(visit, finding, FINDING_SOAK_RESUMED);
    const struct finding *again;
    char length[QUANTITY_TEXT_BYTES], whole[QUANTITY_TEXT_BYTES];
    int64_t until_ms;

    if (back == NULL)
        return;
    again = next_of(visit, (size_t)(back - visit->run->findings), FINDING_SOAK_BROKEN);
    until_ms = again != NULL ? again->t_ms : visit->run->soak.last_ended_ms;
    length_of(back->t_ms - of->t_ms, length);
    length_of(of->value + (until_ms - of->t_ms), whole);
    snprintf(out, REVIEW_TEXT_BYTES, "%s out of the band, and the soak cut in two: without it %s unbroken", length,
             whole);
}

static void cost_of_excess(const struct review *review, const struct finding *of, char *out) {
    char over[QUANTITY_TEXT_BYTES];

    if (of->limit != 0)
        snprintf(out, REVIEW_TEXT_BYTES, "%s over the limit",
                 quantity_format_difference(of->value - of->limit, review->config->unit, 1, 0, over));
}

/* How long the charge took, against the last good batch. */
static void cost_of_delay(const struct review_visit *visit, const struct finding *of, char *out) {
    const struct review_earlier *earlier = &visit->earlier;
    const int64_t later_ms = (of->t_ms - visit->run->run.begun_ms) - (earlier->in_ms - earlier->begun_ms);
    char length[QUANTITY_TEXT_BYTES];

    if (earlier->in_ms == 0 || of->t_ms != visit->run->soak.first_begun_ms || later_ms < 2 * MS_PER_MIN)
        return;
    snprintf(out, REVIEW_TEXT_BYTES, "%s later after the run's beginning than in batch %lld",
             length_of(later_ms, length), (long long)earlier->batch_id);
}

char *review_cost(const struct review *review, const struct review_visit *visit, size_t finding, char *out) {
    const struct finding *of = &visit->run->findings[finding];
    char length[QUANTITY_TEXT_BYTES];
    const struct finding *end;

    out[0] = '\0';
    if (review_span(visit, finding) > 1) {
        snprintf(out, REVIEW_TEXT_BYTES, "each ends the proven soak: it begins again after it");
        return out;
    }
    switch (of->kind) {
    case FINDING_SOAK_BEGUN: cost_of_delay(visit, of, out); break;
    case FINDING_SOAK_BROKEN: cost_of_break(visit, finding, out); break;
    case FINDING_OVERSHOOT_PEAK:
    case FINDING_SPREAD: cost_of_excess(review, of, out); break;
    case FINDING_GAP_BEGUN:
        end = next_of(visit, finding, FINDING_GAP_ENDED);
        if (end != NULL)
            snprintf(out, REVIEW_TEXT_BYTES, "%s that nobody can prove", length_of(end->value, length));
        break;
    default: break;
    }
    return out;
}

/* ---- causes ---- */

static void say_moved(const struct review_visit *visit, const struct cause_opinion *first, char *out) {
    char name[REVIEW_NAME_BYTES];

    snprintf(name, sizeof name, "%s", cause_name(first->cause));
    snprintf(out, REVIEW_TEXT_BYTES, "Most likely: %s%s.", name,
             visit->opinions[1].score >= CAUSE_LIKELY ? "; another cause is likely too" : "");
}

char *review_answer(const struct review_visit *visit, char *out) {
    const struct cause_opinion *first = &visit->opinions[0];

    if (!visit->weighed)
        snprintf(out, REVIEW_TEXT_BYTES, "No causes were weighed.");
    else if (visit->told)
        say_moved(visit, first, out);
    else if (first->score >= CAUSE_POSSIBLE)
        snprintf(out, REVIEW_TEXT_BYTES,
                 "Can't tell. The readings name no likely cause; the nearest is %s, and too little speaks for it.",
                 cause_name(first->cause));
    else
        snprintf(out, REVIEW_TEXT_BYTES,
                 "Can't tell. Nothing about the oven, its controller or the record was unlike %s: look at the "
                 "charge, at "
                 "what was done to it, and whether the plan fits this oven.",
                 visit->usual_runs > 0 ? "its good runs" : "a sound run");
    return out;
}

char *review_basis(const struct review_visit *visit, char *out) {
    const struct cause_signs *signs = &visit->signs;
    size_t used;

    if (visit->usual_runs > 0)
        used = (size_t)snprintf(out, REVIEW_TEXT_BYTES, "Compared with %zu earlier good run%s of this oven.",
                                visit->usual_runs, visit->usual_runs > 1 ? "s" : "");
    else
        used = (size_t)snprintf(out, REVIEW_TEXT_BYTES,
                                "This oven has no earlier good run to compare with: weak elements, "
                                "a heavy charge and a wrong sensor can hardly be seen without.");
    if (!signs->has_output)
        used += (size_t)snprintf(out + used, REVIEW_TEXT_BYTES - used,
                                 " No output channel: elements, door and charge are hard to tell apart.");
    if (!signs->has_setpoint)
        used += (size_t)snprintf(out + used, REVIEW_TEXT_BYTES - used,
                                 " No setpoint channel: what the controller was told is not known.");
    if (signs->load_count == 0)
        snprintf(out + used, REVIEW_TEXT_BYTES - used,
                 " No sensor in the charge: its lag, and a wrong control sensor, are seen only by what follows.");
    return out;
}

char *review_evidence(const struct review *review, const struct review_visit *visit,
                      const struct cause_evidence *evidence, char *out) {
    const struct ledger_channel *channel = assess_find_channel(visit->run, evidence->channel_id);

    return cause_describe(evidence, channel != NULL ? channel->name : NULL, review->config->unit,
                          review->config->utc_offset_min, out);
}

/* ---- the rest of the cycle ---- */

struct failures {
    bool too_short, too_hot, uneven, unproven, other;
};

static struct failures find_failures(const struct assess_visit *visit) {
    struct failures failures = {0};

    for (size_t i = 0; i < visit->verdict_count; i++) {
        const struct verdict *verdict = &visit->verdicts[i];

        if (verdict->outcome == OUTCOME_NOT_PROVEN) {
            failures.unproven |= verdict->reason != REASON_NOT_REACHED; // what was never reached only was too cool
            continue;
        }
        if (verdict->outcome == OUTCOME_MET)
            continue;
        switch (verdict->requirement) {
        case REQUIREMENT_SOAK_LEAST:
        case REQUIREMENT_HOLD_LEAST:
        case REQUIREMENT_EQUIVALENT: failures.too_short = true; break;
        case REQUIREMENT_OVERSHOOT:
        case REQUIREMENT_SOAK_MOST: failures.too_hot = true; break;
        case REQUIREMENT_SPREAD: failures.uneven = true; break;
        default: failures.other = true; break;
        }
    }
    return failures;
}

/* Common practice, no source, and said as such: the steel maker's data sheet goes before it. */
static const char *advise(const struct plan_operation *soak, const struct failures *failures, bool on) {
    const bool temper = soak->kind == OPERATION_TEMPER;

    if (failures->too_hot)
        return temper ? "A temper that was too hot or too long cannot be taken back: hardness that is lost comes "
                        "back only by "
                        "hardening anew. Measure the hardness before anything else is done."
                      : "What was too hot or too long at heat cannot be taken back by the steps that follow: grain "
                        "may have "
                        "grown. Measure the hardness, and have the structure looked at if the piece matters.";
    if (failures->too_short && on)
        return "The run is still on: as long as the charge is in the oven, more time at temperature can still be "
               "given if the "
               "data sheet allows it. Stopping now does not make it whole.";
    if (failures->too_short)
        return temper ? "A temper that was too short or too cool can often be given again at the planned "
                        "temperature, soon. "
                        "What counts is the hardness afterwards."
                      : "Tempering does not make up for a hardening that was too short or too cool: the piece may "
                        "be soft or "
                        "uneven. Measure the hardness as quenched before going on. Hardening again may need "
                        "annealing first.";
    if (failures->uneven)
        return "Pieces from the coldest and the hottest place may differ: measure the hardness of one of each "
               "before going on.";
    if (failures->unproven)
        return "What is missing is proof; the treatment itself may have been right. The hardness, and a record "
               "that the "
               "controller keeps by itself, can support a decision, but they do not turn into proof of the time at "
               "temperature.";
    return "The requirement that failed says nothing of how the rest of the cycle would mend it.";
}

char *review_rescue(const struct review *review, const struct review_visit *visit, char *out) {
    const struct failures failures = find_failures(&review->assessed->visits[visit->visit]);
    const struct plan_operation *soak = plan_visit_soak(review->assessed->plan, visit->visit);

    if (soak->kind == OPERATION_COLD)
        snprintf(out, REVIEW_TEXT_BYTES,
                 "Whether a cold hold may be repeated, and how soon, is in the steel maker's data "
                 "sheet. The readings cannot say it.");
    else
        snprintf(out, REVIEW_TEXT_BYTES,
                 "%s (Common practice, no source.) The steel maker's data sheet decides; the readings "
                 "cannot.",
                 advise(soak, &failures, visit->run != NULL && visit->run->run.ended_ms == 0));
    return out;
}

char *review_provenance(const struct review *review, const struct assess_run *run, char *out) {
    char file[REVIEW_NAME_BYTES / 2], source[REVIEW_NAME_BYTES / 2], others[REVIEW_TEXT_BYTES / 2] = "";
    const struct assess_batch *recorded = review->recorded != NULL ? review->recorded : review->assessed;
    const struct assess_run *same = NULL;

    out[0] = '\0';
    for (size_t i = 0; i < recorded->visit_count; i++)
        for (size_t k = 0; k < recorded->visits[i].run_count; k++)
            if (recorded->visits[i].runs[k].run.run_id == run->run.run_id)
                same = &recorded->visits[i].runs[k];
    if (same == NULL)
        return out;
    assess_describe_others(same, others, sizeof others);
    if (same->import != NULL)
        snprintf(out, REVIEW_TEXT_BYTES, "IMPORTED from %s: %s. This recorder took none of its readings.%s",
                 words_clean(same->import->file_name, strlen(same->import->file_name), 0, file, sizeof file),
                 words_clean(same->import->source, strlen(same->import->source), 0, source, sizeof source),
                 others[0] != '\0' ? " " : "");
    if (others[0] != '\0')
        snprintf(out + strlen(out), REVIEW_TEXT_BYTES - strlen(out), "In the oven with it: %s.", others);
    return out;
}
