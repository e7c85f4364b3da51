// SPDX-License-Identifier: MIT
#include "soakledger/replay.h"

#include <stdlib.h>

#include "soakledger/corrections.h"

struct judge *replay_open_judge(const struct plan *plan, size_t visit, const struct ledger_channel *channels,
                                size_t count, judge_sink *sink, void *context, struct fault *fault) {
    struct judge_channel *judged = calloc(count + 1, sizeof *judged);
    struct judge *judge;

    if (judged == NULL) {
        fault_set(fault, EX_OSERR, "no memory for %zu channels", count);
        return NULL;
    }
    for (size_t i = 0; i < count; i++) {
        struct uncertainty uncertainty;

        corrections_find_uncertainty(&channels[i], plan_visit_soak(plan, visit)->temperature_mc, &uncertainty);
        judged[i] = (struct judge_channel){channels[i].channel_id,
                                           channels[i].name,
                                           channels[i].role,
                                           channels[i].interval_ms,
                                           channels[i].heats_at_most_mc_per_h,
                                           uncertainty.expanded_mc};
    }
    judge = judge_open(plan, visit, judged, count, sink, context, fault);
    free(judged);
    return judge;
}

void replay_correct(const struct ledger_channel *channels, size_t count, struct reading *reading) {
    for (size_t i = 0; i < count; i++) {
        if (channels[i].channel_id != reading->channel_id)
            continue;
        corrections_apply(&channels[i], reading);
        return;
    }
}

struct ledger_cursor *replay_open_cursor(struct ledger *ledger, const struct ledger_channel *channels, size_t count,
                                         int64_t from_ms, int64_t to_ms, struct fault *fault) {
    int64_t *ids = calloc(count + 1, sizeof *ids);
    struct ledger_cursor *cursor;

    if (ids == NULL) {
        fault_set(fault, EX_OSERR, "no memory for %zu channels", count);
        return NULL;
    }
    for (size_t i = 0; i < count; i++)
        ids[i] = channels[i].channel_id;
    cursor =
        ledger_open_import_cursor(ledger, count > 0 ? channels[0].import_id : 0, ids, count, from_ms, to_ms, fault);
    free(ids);
    return cursor;
}

int replay_feed(struct ledger *ledger, struct judge *judge, const struct ledger_channel *channels, size_t count,
                int64_t from_ms, int64_t to_ms, replay_watch *watch, void *context, struct fault *fault) {
    struct ledger_cursor *cursor = replay_open_cursor(ledger, channels, count, from_ms, to_ms, fault);
    struct reading reading;
    int more;

    if (cursor == NULL)
        return -1;
    while ((more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        replay_correct(channels, count, &reading);
        judge_feed(judge, &reading);
        if (watch != NULL && watch(context, &reading, fault) != 0) {
            more = -1;
            break;
        }
    }
    ledger_close_cursor(cursor);
    return more;
}

/* Did the charge ever come into the band in this run? 1, 0, -1. A run without a finished judgement holds its place.
 */
static int has_reached(struct ledger *ledger, const struct ledger_run *run, struct fault *fault) {
    bool complete = false;
    const int64_t judgement_id =
        ledger_find_judgement(ledger, run->run_id, run->batch_id, run->visit, &complete, fault);
    struct finding *findings;
    size_t count;
    int reached = 0;

    if (judgement_id < 0)
        return -1;
    if (judgement_id == 0 || !complete)
        return 1;
    findings = ledger_list_findings(ledger, judgement_id, &count, fault);
    if (findings == NULL)
        return -1;
    for (size_t i = 0; i < count; i++)
        reached |= findings[i].kind == FINDING_SOAK_BEGUN;
    free(findings);
    return reached;
}

int replay_next_visit(struct ledger *ledger, int64_t batch_id, const struct plan *plan, size_t *visit,
                      struct fault *fault) {
    size_t count, next;
    struct ledger_run *runs = ledger_list_claimed(ledger, batch_id, &count, fault);
    bool *fulfilled = calloc(plan->visit_count + 1, sizeof *fulfilled);
    int result = -1;

    if (runs == NULL)
        goto done;
    if (fulfilled == NULL) {
        fault_set(fault, EX_OSERR, "no memory for %zu visits", plan->visit_count);
        goto done;
    }
    for (size_t i = 0; i < count; i++) {
        const int reached = has_reached(ledger, &runs[i], fault);

        if (reached < 0)
            goto done;
        if (runs[i].visit < plan->visit_count)
            fulfilled[runs[i].visit] |= reached == 1;
    }
    for (next = 0; next < plan->visit_count && fulfilled[next];)
        next++;
    *visit = next;
    result = next < plan->visit_count;
done:
    free(runs);
    free(fulfilled);
    return result;
}
