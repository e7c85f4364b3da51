// SPDX-License-Identifier: MIT
/* Earlier runs of the same oven that met what was asked of them: what is usual, and the last of the same plan. */
#include <stdlib.h>
#include <string.h>

#include "review_parts.h"
#include "soakledger/replay.h"

static const double C_PER_MC = 0.001;

struct cause_task review_task(const struct plan *plan, size_t visit) {
    const struct plan_operation *soak = plan_visit_soak(plan, visit);

    return (struct cause_task){(double)soak->temperature_mc * C_PER_MC, (double)soak->below_mc * C_PER_MC,
                               (double)soak->above_mc * C_PER_MC, soak->time_at_least_ms + plan->lag_allowance_ms};
}

int review_feed(struct ledger *ledger, const struct ledger_channel *channels, size_t count, int64_t from_ms,
                int64_t to_ms, review_taker *taker, void *context, struct fault *fault) {
    int64_t *ids = calloc(count + 1, sizeof *ids);
    struct ledger_cursor *cursor;
    struct reading reading;
    int more;

    if (ids == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu channels", count);
    for (size_t i = 0; i < count; i++)
        ids[i] = channels[i].channel_id;
    cursor = ledger_open_cursor(ledger, ids, count, from_ms, to_ms, fault);
    free(ids);
    if (cursor == NULL)
        return -1;
    while ((more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        replay_correct(channels, count, &reading);
        if (taker(context, &reading, fault) != 0) {
            more = -1;
            break;
        }
    }
    ledger_close_cursor(cursor);
    return more;
}

struct cause_watch *review_open_watch(const struct cause_task *task, const struct ledger_channel *channels,
                                      size_t count, struct fault *fault) {
    struct judge_channel *watched = calloc(count + 1, sizeof *watched);
    struct cause_watch *watch;

    if (watched == NULL) {
        fault_set(fault, EX_OSERR, "not enough memory for %zu channels", count);
        return NULL;
    }
    for (size_t i = 0; i < count; i++)
        watched[i] = (struct judge_channel){.channel_id = channels[i].channel_id,
                                            .name = channels[i].name,
                                            .role = channels[i].role,
                                            .interval_ms = channels[i].interval_ms};
    watch = cause_open(task, watched, count, fault);
    free(watched);
    return watch;
}

static int take_sign(void *context, const struct reading *reading, struct fault *fault) {
    (void)fault;
    cause_feed(context, reading);
    return 0;
}

/* ---- which runs ---- */

/* Was it judged, and met? 1, 0, -1. */
static int was_good(struct ledger *ledger, const struct ledger_run *run, struct fault *fault) {
    bool complete = false;
    const int64_t judgement =
        ledger_find_judgement(ledger, run->run_id, run->batch_id, run->visit, &complete, fault);
    struct verdict *verdicts;
    size_t count = 0;
    int good;

    if (judgement <= 0 || !complete)
        return judgement < 0 ? -1 : 0;
    verdicts = ledger_list_verdicts(ledger, judgement, &count, fault);
    if (verdicts == NULL)
        return -1;
    good = count > 0 && judge_worst(verdicts, count) == OUTCOME_MET;
    free(verdicts);
    return good;
}

/* Of the good runs in that oven before this one the latest, newest first. Returns how many, or -1. */
static int list_good(struct review *review, const struct ledger_run *than, struct ledger_run *good,
                     struct fault *fault) {
    size_t count = 0;
    struct ledger_run *runs = ledger_list_runs(review->ledger, INT64_MIN, than->begun_ms, &count, fault);
    int found = 0;

    if (runs == NULL)
        return -1;
    for (size_t i = count; i > 0 && found >= 0 && found < REVIEW_MOST_USUAL; i--) {
        const struct ledger_run *run = &runs[i - 1];
        int met;

        if (run->oven_id != than->oven_id || run->batch_id == 0 || run->ended_ms == 0 ||
            run->run_id == than->run_id)
            continue;
        met = was_good(review->ledger, run, fault);
        if (met < 0)
            found = -1;
        else if (met == 1)
            good[found++] = *run;
    }
    free(runs);
    return found;
}

/* ---- what they say ---- */

static bool is_same_plan(const struct assess_batch *assessed, const struct ledger_batch *batch) {
    return strcmp(assessed->batch->plan_sha256, batch->plan_sha256) == 0 ||
           (batch->plan_name[0] != '\0' && strcmp(assessed->batch->plan_name, batch->plan_name) == 0);
}

/* When a run's charge came into the band, as the daemon found it; 0 if it says nothing of it, -1. */
static int64_t find_in(struct ledger *ledger, const struct ledger_run *run, struct fault *fault) {
    bool complete = false;
    const int64_t judgement =
        ledger_find_judgement(ledger, run->run_id, run->batch_id, run->visit, &complete, fault);
    struct finding *findings;
    size_t count = 0;
    int64_t in_ms = 0;

    if (judgement <= 0)
        return judgement;
    findings = ledger_list_findings(ledger, judgement, &count, fault);
    if (findings == NULL)
        return -1;
    for (size_t i = 0; i < count && in_ms == 0; i++)
        if (findings[i].kind == FINDING_SOAK_BEGUN)
            in_ms = findings[i].t_ms;
    free(findings);
    return in_ms;
}

static int learn_run(struct review *review, const struct ledger_run *run, const struct plan *plan,
                     struct cause_usual *usual, struct fault *fault) {
    const struct cause_task task = review_task(plan, run->visit);
    size_t count = 0;
    struct ledger_channel *channels =
        ledger_list_channels(review->ledger, run->oven_id, run->begun_ms, &count, fault);
    struct cause_watch *watch = channels != NULL ? review_open_watch(&task, channels, count, fault) : NULL;
    int result = -1;

    if (watch != NULL &&
        review_feed(review->ledger, channels, count, run->begun_ms, run->ended_ms, take_sign, watch, fault) == 0) {
        cause_end(watch, run->ended_ms);
        cause_learn(usual, cause_read(watch));
        result = 0;
    }
    cause_free(watch);
    ledger_free_channels(channels, count);
    return result;
}

static int take_earlier(struct review *review, struct review_visit *visit, const struct ledger_run *run,
                        struct cause_usual *usual, struct fault *fault) {
    struct ledger_batch *batch = ledger_read_batch(review->ledger, run->batch_id, fault);
    struct plan *plan =
        batch != NULL ? plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault) : NULL;
    int result = plan != NULL ? 0 : -1;

    if (result == 0 && run->visit < plan->visit_count &&
        plan_visit_soak(plan, run->visit)->kind != OPERATION_COLD) {
        result = learn_run(review, run, plan, usual, fault);
        if (result == 0 && run->visit == visit->visit &&
            is_same_plan(review->assessed, batch)) // the latest is last
            visit->earlier = (struct review_earlier){
                run->run_id, run->batch_id, run->begun_ms, run->ended_ms, find_in(review->ledger, run, fault), 0};
    }
    plan_free(plan);
    ledger_free_batch(batch);
    return result == 0 && visit->earlier.in_ms < 0 ? -1 : result;
}

struct cause_usual *review_find_usual(struct review *review, struct review_visit *visit, struct fault *fault) {
    struct ledger_run good[REVIEW_MOST_USUAL];
    const int count = list_good(review, &visit->run->run, good, fault);
    struct cause_usual *usual = count < 0 ? NULL : cause_usual_open(fault);
    int result = usual != NULL ? 0 : -1;

    for (int i = count - 1; i >= 0 && result == 0; i--)
        result = take_earlier(review, visit, &good[i], usual, fault);
    if (result == 0)
        return usual;
    cause_usual_free(usual);
    return NULL;
}
