// SPDX-License-Identifier: MIT
#include "due.h"

#include <stdio.h>
#include <stdlib.h>

#include "soakledger/quantity.h"
#include "soakledger/replay.h"

static const int64_t told_before_ms = 3600000, told_after_ms = 86400000;

bool due_find_deadline(const struct plan *plan, size_t visit, int64_t ended_ms, int64_t *deadline_ms) {
    for (size_t i = 0; i < plan->operation_count; i++) {
        const struct plan_operation *operation = &plan->operations[i];

        if (operation->visit != visit || !operation->begins_within.set)
            continue;
        *deadline_ms = ended_ms + operation->begins_within.value;
        return true;
    }
    return false;
}

bool due_is_near(int64_t deadline_ms, int64_t now_ms) {
    return now_ms >= deadline_ms - told_before_ms && now_ms <= deadline_ms + told_after_ms;
}

/* When the charge last left the band in that run; when the run ended, if it never was in. 0 while it is on. */
static int64_t find_end(struct ledger *ledger, const struct ledger_run *run, size_t operation,
                        struct fault *fault) {
    bool complete = false;
    const int64_t judgement_id =
        ledger_find_judgement(ledger, run->run_id, run->batch_id, run->visit, &complete, fault);
    struct finding *findings;
    int64_t ended_ms = run->ended_ms;
    size_t count;

    if (judgement_id <= 0 || run->ended_ms == 0)
        return judgement_id < 0 ? -1 : run->ended_ms;
    findings = ledger_list_findings(ledger, judgement_id, &count, fault);
    if (findings == NULL)
        return -1;
    for (size_t i = 0; i < count; i++) {
        if (findings[i].kind == FINDING_SOAK_BROKEN && findings[i].operation == operation)
            ended_ms = findings[i].t_ms;
    }
    free(findings);
    return ended_ms;
}

/* The end of a visit: of the last run that was claimed for it. 0 if there is none that is over. */
static int64_t find_visit_end(struct ledger *ledger, int64_t batch_id, const struct plan *plan, size_t visit,
                              struct fault *fault) {
    const size_t operation = (size_t)(plan_visit_soak(plan, visit) - plan->operations);
    size_t count;
    struct ledger_run *runs = ledger_list_claimed(ledger, batch_id, &count, fault);
    int64_t ended_ms = runs == NULL ? -1 : 0;

    for (size_t i = 0; ended_ms >= 0 && i < count; i++) {
        if (runs[i].visit == visit)
            ended_ms = find_end(ledger, &runs[i], operation, fault);
    }
    free(runs);
    return ended_ms;
}

/* 1 with the deadline and the operation's kind and name in `what` if the batch's next visit is near, 0, -1. */
static int is_due(struct ledger *ledger, int64_t batch_id, int64_t now_ms, char *words, size_t size,
                  struct fault *fault) {
    struct ledger_batch *batch = ledger_read_batch(ledger, batch_id, fault);
    struct plan *plan =
        batch == NULL ? NULL : plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault);
    int64_t ended_ms = 0, deadline_ms = 0;
    char time[QUANTITY_TEXT_BYTES];
    size_t visit = 0;
    int due = plan == NULL ? -1 : replay_next_visit(ledger, batch_id, plan, &visit, fault);

    if (due == 1 && visit > 0)
        ended_ms = find_visit_end(ledger, batch_id, plan, visit - 1, fault);
    if (ended_ms < 0)
        due = -1;
    if (due == 1) {
        due = ended_ms > 0 && due_find_deadline(plan, visit, ended_ms, &deadline_ms) &&
              due_is_near(deadline_ms, now_ms);
        snprintf(words, size, "%s %.100s must begin by %s UTC and nothing is heated yet",
                 plan_kind_name(plan_visit_soak(plan, visit)->kind), plan_visit_soak(plan, visit)->name,
                 quantity_format_time(deadline_ms, 0, time));
    }
    plan_free(plan);
    ledger_free_batch(batch);
    return due;
}

static bool was_told(const struct due *due, int64_t batch_id) {
    for (size_t i = 0; i < due->count; i++) {
        if (due->batches[i] == batch_id)
            return true;
    }
    return false;
}

static void name_batch(int64_t batch_id, char subject[ALERT_SUBJECT_BYTES]) {
    snprintf(subject, ALERT_SUBJECT_BYTES, "batch %lld", (long long)batch_id);
}

int due_look(struct due *due, struct ledger *ledger, struct alert_desk *desk, int64_t now_ms, struct fault *fault) {
    struct due now = {.count = 0};
    char words[ALERT_WORDS_BYTES], subject[ALERT_SUBJECT_BYTES];
    size_t count;
    int64_t *batches = ledger_list_batches(ledger, true, &count, fault);

    if (batches == NULL)
        return -1;
    for (size_t i = 0; i < count && now.count < ALERT_MOST_STANDING; i++) {
        const int near = is_due(ledger, batches[i], now_ms, words, sizeof words, fault);

        if (near < 0) {
            free(batches);
            return -1;
        }
        if (near == 0)
            continue;
        name_batch(batches[i], subject);
        alert_raise(desk, ALERT_NEXT_DUE, subject, now_ms, words);
        now.batches[now.count++] = batches[i];
    }
    free(batches);
    for (size_t i = 0; i < due->count; i++) {
        name_batch(due->batches[i], subject);
        if (!was_told(&now, due->batches[i]))
            alert_clear(desk, ALERT_NEXT_DUE, subject, now_ms, "nothing is due any more");
    }
    *due = now;
    return 0;
}
