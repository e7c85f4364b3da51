// SPDX-License-Identifier: MIT
#include <stdlib.h>
#include <string.h>

#include "judge_private.h"

void judge_make_finding(struct judge *judge, enum finding_kind kind, int64_t t_ms, size_t operation,
                        int64_t channel_id, int64_t value, int64_t limit) {
    const struct finding finding = {t_ms, kind, operation, channel_id, value, limit};

    if (judge->made[kind]++ < JUDGE_MOST_FINDINGS_OF_A_KIND && judge->sink != NULL)
        judge->sink(judge->context, &finding);
}

bool judge_findings_equal(const struct finding *a, const struct finding *b) {
    return a->t_ms == b->t_ms && a->kind == b->kind && a->operation == b->operation &&
           a->channel_id == b->channel_id && a->value == b->value && a->limit == b->limit;
}

static bool plan_names(const struct plan *plan, const char *name) {
    for (size_t i = 0; i < plan->load_count; i++) {
        if (strcmp(plan->load_names[i], name) == 0)
            return true;
    }
    return false;
}

static bool stands_for_charge(const struct plan *plan, const struct judge_channel *channel) {
    switch (plan->load) {
    case PLAN_LOAD_SENSORS: return channel->role == ROLE_LOAD;
    case PLAN_LOAD_CONTROL: return channel->role == ROLE_CONTROL;
    case PLAN_LOAD_NAMED: return plan_names(plan, channel->name);
    }
    return false;
}

static int open_tracks(struct judge *judge, const struct judge_channel *channels, size_t count,
                       struct fault *fault) {
    int64_t longest_gap_ms = 0;

    for (size_t i = 0; i < count; i++) {
        const int64_t gap_ms = JUDGE_GAP_INTERVALS * channels[i].interval_ms;

        if (stands_for_charge(judge->plan, &channels[i]) && gap_ms > longest_gap_ms)
            longest_gap_ms = gap_ms;
    }
    for (size_t i = 0; i < count; i++) {
        if (!stands_for_charge(judge->plan, &channels[i]))
            continue;
        if (judge->load_count == JUDGE_MOST_LOADS)
            return fault_set(fault, EX_CONFIG, "more than %d load channels in one oven", JUDGE_MOST_LOADS);
        if (track_open(&judge->loads[judge->load_count++], &channels[i], longest_gap_ms) != 0)
            return fault_set(fault, EX_OSERR, "no memory to judge the run");
    }
    judge->loads_missing = judge->load_count == 0 ||
                           (judge->plan->load == PLAN_LOAD_NAMED && judge->load_count < judge->plan->load_count);
    for (size_t i = 0; i < judge->plan->operation_count; i++) {
        if (&judge->plan->operations[i] == judge->soak.operation && soak_open(judge, i, longest_gap_ms) != 0)
            return fault_set(fault, EX_OSERR, "no memory to judge the run");
    }
    return 0;
}

static int open_heats(struct judge *judge, size_t visit, struct fault *fault) {
    const struct plan *plan = judge->plan;

    judge->heats = calloc(plan->operation_count, sizeof *judge->heats);
    if (judge->heats == NULL)
        return fault_set(fault, EX_OSERR, "no memory to judge the run");
    for (size_t i = 0; i < plan->operation_count; i++) {
        if (plan->operations[i].visit != visit || plan->operations[i].kind != OPERATION_HEAT)
            continue;
        if (heat_open(judge, &judge->heats[judge->heat_count++], i) != 0)
            return fault_set(fault, EX_OSERR, "no memory to judge the run");
    }
    return 0;
}

struct judge *judge_open(const struct plan *plan, size_t visit, const struct judge_channel *channels, size_t count,
                         judge_sink *sink, void *context, struct fault *fault) {
    struct judge *judge = calloc(1, sizeof *judge);

    if (judge == NULL) {
        fault_set(fault, EX_OSERR, "no memory to judge the run");
        return NULL;
    }
    judge->plan = plan;
    judge->sink = sink;
    judge->context = context;
    judge->soak.operation = plan_visit_soak(plan, visit);
    if (open_tracks(judge, channels, count, fault) != 0 || open_heats(judge, visit, fault) != 0) {
        judge_free(judge);
        return NULL;
    }
    return judge;
}

void judge_free(struct judge *judge) {
    if (judge == NULL)
        return;
    for (size_t i = 0; i < judge->heat_count; i++)
        heat_free(judge, &judge->heats[i]);
    free(judge->heats);
    soak_free(&judge->soak);
    for (size_t i = 0; i < judge->load_count; i++)
        track_free(&judge->loads[i]);
    free(judge);
}

static void begin_judging(struct judge *judge, int64_t t_ms) {
    judge->begun = true;
    judge->first_ms = judge->next_gap_ms = t_ms;
    judge->soak.standing = STANDING_UNKNOWN;
    judge->soak.possible_on = true;
    judge->soak.possible_since_ms = t_ms;
}

/* Time has passed: has any channel been silent for too long? */
static void check_gaps(struct judge *judge, int64_t now_ms) {
    judge->now_ms = now_ms;
    if (now_ms <= judge->next_gap_ms)
        return;
    judge->next_gap_ms = INT64_MAX;
    for (size_t i = 0; i < judge->load_count; i++) {
        const int64_t next_ms = track_check_gap(judge, &judge->loads[i], now_ms);

        if (next_ms < judge->next_gap_ms)
            judge->next_gap_ms = next_ms;
    }
}

static int64_t frontier_ms(const struct judge *judge) {
    int64_t known_ms = judge->now_ms;

    for (size_t i = 0; i < judge->load_count; i++) {
        const int64_t until_ms = track_known_until(judge, &judge->loads[i]);

        if (until_ms < known_ms)
            known_ms = until_ms;
    }
    return known_ms;
}

void judge_feed(struct judge *judge, const struct reading *reading) {
    size_t load = 0;

    if (!judge->begun)
        begin_judging(judge, reading->t_ms);
    check_gaps(judge, reading->t_ms);
    while (load < judge->load_count && judge->loads[load].channel.channel_id != reading->channel_id)
        load++;
    if (load < judge->load_count) {
        struct track *track = &judge->loads[load];

        if (track->fed && reading->t_ms <= track->seen_ms)
            return;
        for (size_t i = 0; i < judge->heat_count; i++)
            heat_feed(judge, &judge->heats[i], load, reading);
        track_feed(judge, track, reading);
        soak_feed(judge, track, reading);
        if (!track->in_gap && track->good_ms + track->gap_limit_ms < judge->next_gap_ms)
            judge->next_gap_ms = track->good_ms + track->gap_limit_ms;
    }
    if (judge->load_count > 0)
        soak_advance(judge, frontier_ms(judge));
}

static void make_leftovers(struct judge *judge) {
    for (int kind = 0; kind < FINDING_MORE; kind++) {
        if (judge->made[kind] > JUDGE_MOST_FINDINGS_OF_A_KIND)
            judge_make_finding(judge, FINDING_MORE, judge->now_ms, judge->soak.index, 0,
                               judge->made[kind] - JUDGE_MOST_FINDINGS_OF_A_KIND, kind);
    }
}

void judge_end(struct judge *judge, int64_t t_ms) {
    if (!judge->begun)
        begin_judging(judge, t_ms);
    if (t_ms < judge->now_ms) // never end before what was already judged
        t_ms = judge->now_ms;
    check_gaps(judge, t_ms);
    for (size_t i = 0; i < judge->load_count; i++)
        track_end(judge, &judge->loads[i], t_ms);
    judge->ended = true;
    if (judge->load_count > 0)
        soak_end(judge, t_ms);
    make_leftovers(judge);
}

size_t judge_verdicts(const struct judge *judge, struct verdict *verdicts) {
    const size_t count = soak_verdicts(judge, verdicts);

    for (size_t i = 0; i < count; i++) {
        for (size_t h = 0; h < judge->heat_count; h++) {
            if (verdicts[i].requirement == REQUIREMENT_RAMP && verdicts[i].operation == judge->heats[h].index)
                heat_verdict(judge, &judge->heats[h], &verdicts[i]);
        }
    }
    if (judge->loads_missing) {
        judge_absent(judge->plan, judge->soak.operation->visit, verdicts);
        for (size_t i = 0; i < count; i++)
            verdicts[i].reason = REASON_NO_LOAD;
    }
    return count;
}

void judge_read_soak(const struct judge *judge, struct judge_soak *facts) {
    const struct soak *soak = &judge->soak;

    *facts = soak->facts;
    facts->longest_begun_ms = soak->longest.begun_ms;
    facts->longest_ended_ms = soak->longest.ended_ms;
    if (soak->now.on) {
        facts->total_in_ms += soak->now.ended_ms - soak->now.begun_ms;
        facts->last_ended_ms = soak->now.ended_ms;
        if (soak->now.ended_ms - soak->now.begun_ms > soak->longest.ended_ms - soak->longest.begun_ms) {
            facts->longest_begun_ms = soak->now.begun_ms;
            facts->longest_ended_ms = soak->now.ended_ms;
        }
    }
    facts->possible_longest_ms = soak->possible_longest_ms;
    for (size_t i = 0; i < judge->load_count; i++) {
        const struct track *track = &judge->loads[i];

        if (track->peak_ms != 0 && (facts->peak_t_ms == 0 || track->peak_mc > facts->peak_mc)) {
            facts->peak_mc = track->peak_mc;
            facts->peak_t_ms = track->peak_ms;
            facts->peak_channel_id = track->channel.channel_id;
        }
    }
}

size_t judge_count_loads(const struct judge *judge) {
    return judge->load_count;
}

int64_t judge_load_id(const struct judge *judge, size_t index) {
    return judge->loads[index].channel.channel_id;
}

static size_t add_absent(struct verdict *verdicts, size_t count, size_t operation, enum requirement requirement,
                         int64_t required) {
    if (count < JUDGE_MOST_VERDICTS)
        verdicts[count++] = (struct verdict){.operation = operation,
                                             .requirement = requirement,
                                             .outcome = OUTCOME_NOT_PROVEN,
                                             .reason = REASON_NO_RUN,
                                             .required = required};
    return count;
}

size_t judge_absent(const struct plan *plan, size_t visit, struct verdict *verdicts) {
    size_t count = 0;

    for (size_t i = 0; i < plan->operation_count; i++) {
        const struct plan_operation *operation = &plan->operations[i];

        if (operation->visit != visit)
            continue;
        if (operation->kind == OPERATION_HEAT) {
            count = add_absent(verdicts, count, i, REQUIREMENT_RAMP, operation->ramp_at_most.value);
            continue;
        }
        count = add_absent(verdicts, count, i, REQUIREMENT_SOAK_LEAST,
                           operation->time_at_least_ms + plan->lag_allowance_ms);
        if (operation->time_at_most.set)
            count = add_absent(verdicts, count, i, REQUIREMENT_SOAK_MOST, operation->time_at_most.value);
        count = add_absent(verdicts, count, i, REQUIREMENT_OVERSHOOT, operation->overshoot_at_most.value);
        if (operation->spread_at_most.set)
            count = add_absent(verdicts, count, i, REQUIREMENT_SPREAD, operation->spread_at_most.value);
    }
    return count;
}

enum outcome judge_worst(const struct verdict *verdicts, size_t count) {
    enum outcome worst = count == 0 ? OUTCOME_NOT_PROVEN : OUTCOME_MET;

    for (size_t i = 0; i < count; i++) {
        if (verdicts[i].outcome > worst)
            worst = verdicts[i].outcome;
    }
    return worst;
}
