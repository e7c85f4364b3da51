// SPDX-License-Identifier: MIT
/* What lies between two visits, and what a person says of a quench. */
#include "judge_private.h"

static void judge_begin_within(const struct judge_soak *before, const struct judge_soak *now,
                               struct verdict *verdict) {
    verdict->reason = REASON_NO_BEFORE;
    if (before == NULL || before->last_ended_ms == 0 || now->begun_ms == 0)
        return;
    verdict->reason = REASON_NONE;
    verdict->found_known = true;
    verdict->found = verdict->possible = now->begun_ms - before->last_ended_ms;
    verdict->margin = verdict->required - verdict->found;
    verdict->t_ms = now->begun_ms;
    verdict->outcome = verdict->margin >= 0 ? OUTCOME_MET : OUTCOME_NOT_MET;
}

/* The lower of two values, where both are known. One alone that is low enough is enough; one that is not says
 * little, since the other may have been. */
static void judge_parts_below(const struct plan *plan, const struct judge_soak *before,
                              const struct judge_soak *now, struct verdict *verdict) {
    const bool cooled = before != NULL && before->lowest_known;
    const bool by_first = now->first_known && (!cooled || now->first_mc <= before->lowest_mc);

    verdict->reason = REASON_NO_BEFORE;
    if (!cooled && !now->first_known)
        return;
    verdict->found_known = true;
    verdict->found = verdict->possible = by_first ? now->first_mc : before->lowest_mc;
    verdict->uncertainty = by_first ? now->first_uncertainty_mc : before->lowest_uncertainty_mc;
    verdict->margin = verdict->required - verdict->found;
    verdict->t_ms = now->begun_ms;
    if (verdict->margin < 0 && !cooled)
        return;
    verdict->reason = REASON_NONE;
    if (verdict->margin < 0 && !now->first_known)
        verdict->reason = REASON_GAP;
    else if (verdict->margin < 0)
        verdict->outcome = OUTCOME_NOT_MET;
    else if (plan->decision == PLAN_DECISION_GUARDED && verdict->margin < verdict->uncertainty)
        verdict->reason = REASON_UNCERTAIN;
    else
        verdict->outcome = OUTCOME_MET;
}

size_t judge_between(const struct plan *plan, size_t visit, const struct judge_soak *before,
                     const struct judge_soak *now, struct verdict *verdicts) {
    const struct plan_operation *operation = plan_visit_soak(plan, visit);
    const size_t index = (size_t)(operation - plan->operations);
    size_t count = 0;

    if (operation->begins_within.set) {
        verdicts[count] = (struct verdict){.operation = index,
                                           .requirement = REQUIREMENT_BEGIN_WITHIN,
                                           .outcome = OUTCOME_NOT_PROVEN,
                                           .reason = REASON_NO_RUN,
                                           .required = operation->begins_within.value};
        if (now != NULL)
            judge_begin_within(before, now, &verdicts[count]);
        count++;
    }
    if (operation->parts_below_first.set) {
        verdicts[count] = (struct verdict){.operation = index,
                                           .requirement = REQUIREMENT_PARTS_BELOW,
                                           .outcome = OUTCOME_NOT_PROVEN,
                                           .reason = REASON_NO_RUN,
                                           .required = operation->parts_below_first.value};
        if (now != NULL)
            judge_parts_below(plan, before, now, &verdicts[count]);
        count++;
    }
    return count;
}

void judge_attest(const struct plan *plan, size_t visit, const struct judge_soak *soak, int64_t attested_ms,
                  struct verdict *verdicts, size_t count) {
    const struct plan_operation *quench = plan_visit_quench(plan, visit);

    if (quench == NULL || !quench->may_attest)
        return;
    for (size_t i = 0; i < count; i++) {
        struct verdict *verdict = &verdicts[i];

        if (verdict->reason != REASON_NO_SENSOR)
            continue;
        if (verdict->requirement == REQUIREMENT_DONE) {
            verdict->outcome = OUTCOME_MET;
            verdict->reason = REASON_ATTESTED;
            verdict->t_ms = attested_ms;
        } else if (verdict->requirement == REQUIREMENT_TRANSFER && soak->last_ended_ms != 0 &&
                   attested_ms >= soak->last_ended_ms) {
            verdict->found_known = true;
            verdict->found = verdict->possible = attested_ms - soak->last_ended_ms;
            verdict->margin = verdict->required - verdict->found;
            verdict->t_ms = attested_ms;
            verdict->outcome = verdict->margin >= 0 ? OUTCOME_MET : OUTCOME_NOT_MET;
            verdict->reason = REASON_ATTESTED;
        }
    }
}
