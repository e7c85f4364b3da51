// SPDX-License-Identifier: MIT
#include "soakledger/replay.h"

#include <stdlib.h>
#include <string.h>

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

enum calibration_result replay_correct(const struct ledger_channel *channels, size_t count,
                                       struct reading *reading) {
    for (size_t i = 0; i < count; i++)
        if (channels[i].channel_id == reading->channel_id)
            return corrections_apply(&channels[i], reading);
    return CALIBRATION_NONE;
}

static void correct_and_count(struct ledger_channel *channels, size_t count, struct reading *reading) {
    for (size_t i = 0; i < count; i++) {
        enum calibration_result result;

        if (channels[i].channel_id != reading->channel_id)
            continue;
        result = corrections_apply(&channels[i], reading);
        channels[i].corrected_count += result == CALIBRATION_APPLIED;
        channels[i].outside_count += result == CALIBRATION_OUTSIDE;
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

static int feed_all(struct ledger_cursor *cursor, struct judge *judge, struct ledger_channel *channels,
                    size_t count, replay_watch *watch, void *context, struct fault *fault) {
    struct reading reading;
    bool corrects = false;
    int more;

    for (size_t i = 0; i < count; i++)
        corrects |= channels[i].sensor_calibration != NULL || channels[i].instrument_calibration != NULL;
    while ((more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        if (corrects)
            correct_and_count(channels, count, &reading);
        judge_feed(judge, &reading);
        if (watch != NULL && watch(context, &reading, fault) != 0)
            return -1;
    }
    return more;
}

/* A run that goes on from a damaged ledger has an event at its begin. */
static int begin_torn(struct ledger *ledger, struct judge *judge, const struct ledger_channel *channels,
                      size_t count, int64_t from_ms, struct fault *fault) {
    size_t event_count = 0;
    struct event *events;
    char *oven;

    if (count == 0 || channels[0].import_id != 0)
        return 0;
    events = ledger_list_events(ledger, from_ms, from_ms, &event_count, fault);
    oven = events != NULL ? ledger_oven_name(ledger, channels[0].oven_id, fault) : NULL;
    for (size_t i = 0; oven != NULL && i < event_count; i++) {
        const int64_t unseen_ms = events[i].amount > 0 ? events[i].amount : REPLAY_UNSEEN_MS;

        if (events[i].kind == EVENT_TORN && strcmp(events[i].detail, oven) == 0)
            judge_begin_unseen(judge, from_ms - unseen_ms);
    }
    free(events);
    free(oven);
    return oven == NULL ? -1 : 0;
}

int replay_feed(struct ledger *ledger, struct judge *judge, struct ledger_channel *channels, size_t count,
                int64_t from_ms, int64_t to_ms, replay_watch *watch, void *context, struct fault *fault) {
    struct ledger_cursor *cursor;
    int result;

    if (begin_torn(ledger, judge, channels, count, from_ms, fault) != 0)
        return -1;
    cursor = replay_open_cursor(ledger, channels, count, from_ms, to_ms, fault);
    if (cursor == NULL)
        return -1;
    result = feed_all(cursor, judge, channels, count, watch, context, fault);
    ledger_close_cursor(cursor);
    return result;
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
