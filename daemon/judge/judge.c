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

static bool stands_for_charge(const struct judge *judge, const struct judge_channel *channel, bool has_load) {
    if (judge->main->sign < 0) // a cold place is what it is, whatever stands for the charge in the oven
        return channel->role == (has_load ? ROLE_LOAD : ROLE_COLD);
    switch (judge->plan->load) {
    case PLAN_LOAD_SENSORS: return channel->role == ROLE_LOAD;
    case PLAN_LOAD_CONTROL: return channel->role == ROLE_CONTROL;
    case PLAN_LOAD_NAMED: return plan_names(judge->plan, channel->name);
    }
    return false;
}

static int find_loads(struct judge *judge, const struct judge_channel *channels, size_t count,
                      int64_t *longest_gap_ms, struct fault *fault) {
    bool has_load = false;

    for (size_t i = 0; i < count; i++)
        has_load |= channels[i].role == ROLE_LOAD;
    for (size_t i = 0; i < count; i++) {
        if (!stands_for_charge(judge, &channels[i], has_load))
            continue;
        if (judge->load_count == JUDGE_MOST_LOADS)
            return fault_set(fault, EX_CONFIG, "more than %d load channels in one oven", JUDGE_MOST_LOADS);
        judge->loads[judge->load_count++].channel = channels[i];
        if (JUDGE_GAP_INTERVALS * channels[i].interval_ms > *longest_gap_ms)
            *longest_gap_ms = JUDGE_GAP_INTERVALS * channels[i].interval_ms;
    }
    judge->loads_missing =
        judge->load_count == 0 || (judge->main->sign > 0 && judge->plan->load == PLAN_LOAD_NAMED &&
                                   judge->load_count < judge->plan->load_count);
    return 0;
}

/* A soak of this operation with its edges moved inwards by `inwards_mc`. Not opened yet. */
static int add_soak(struct judge *judge, size_t index, int64_t inwards_mc, bool speaks) {
    const struct plan_operation *operation = &judge->plan->operations[index];
    struct soak *soak = &judge->soaks[judge->soak_count];

    soak->operation = operation;
    soak->index = index;
    soak->speaks = speaks;
    soak->is_main = operation->kind != OPERATION_HOLD;
    soak->sign = operation->kind == OPERATION_COLD ? -1 : 1;
    soak->strict = soak->lenient = JUDGE_NO_SOAK;
    soak->edge_mc =
        (soak->sign < 0 ? -operation->temperature_mc : operation->temperature_mc - operation->below_mc) +
        inwards_mc;
    soak->top_mc = operation->kind == OPERATION_HOLD ? operation->temperature_mc + operation->above_mc - inwards_mc
                                                     : INT64_MAX;
    soak->required_ms = operation->time_at_least_ms;
    if (operation->kind != OPERATION_COLD) // the control sensor leads while the charge warms
        soak->required_ms += judge->plan->lag_allowance_ms;
    return (int)judge->soak_count++;
}

/* Each hold and the visit's own soak; under the guarded rule also those with moved edges, once it is known by how
 * much. The main soak is found first: it says which channels stand for the charge. */
static void find_soaks(struct judge *judge) {
    const struct plan *plan = judge->plan;

    for (size_t i = 0; i < plan->operation_count; i++) {
        const struct plan_operation *operation = &plan->operations[i];

        if (operation->visit != judge->visit)
            continue;
        if (operation->kind == OPERATION_QUENCH) {
            judge->quench_operation = operation;
            judge->quench_index = i;
        } else if (operation->kind != OPERATION_HEAT) {
            const int index = add_soak(judge, i, 0, true);

            if (operation->kind != OPERATION_HOLD)
                judge->main = &judge->soaks[index];
        }
    }
}

static void guard_soaks(struct judge *judge) {
    const size_t count = judge->soak_count;
    int64_t most_mc = 0;

    for (size_t i = 0; i < judge->load_count; i++) {
        if (judge->loads[i].channel.uncertainty_mc > most_mc)
            most_mc = judge->loads[i].channel.uncertainty_mc;
    }
    if (judge->plan->decision != PLAN_DECISION_GUARDED || most_mc == 0)
        return;
    for (size_t i = 0; i < count; i++) {
        judge->soaks[i].strict = add_soak(judge, judge->soaks[i].index, most_mc, false);
        if (judge->soaks[i].operation->time_at_most.set)
            judge->soaks[i].lenient = add_soak(judge, judge->soaks[i].index, -most_mc, false);
    }
}

static void begin_sums(const struct plan_operation *temper, struct load *load) {
    const int64_t longest_ms = JUDGE_GAP_INTERVALS * load->channel.interval_ms;

    temper_begin(&load->sum, temper->temperature_mc, temper->hollomon_jaffe_constant, longest_ms);
    temper_begin(&load->lowered, temper->temperature_mc, temper->hollomon_jaffe_constant, longest_ms);
}

static int open_soaks(struct judge *judge, int64_t longest_gap_ms, struct fault *fault) {
    guard_soaks(judge);
    for (size_t i = 0; i < judge->soak_count; i++) {
        if (soak_open(judge, &judge->soaks[i], longest_gap_ms) != 0)
            return fault_set(fault, EX_OSERR, "no memory to judge the run");
    }
    for (size_t i = 0; i < judge->load_count; i++)
        begin_sums(judge->main->operation, &judge->loads[i]);
    return 0;
}

static int open_heats(struct judge *judge, struct fault *fault) {
    const struct plan *plan = judge->plan;

    judge->heats = calloc(plan->operation_count, sizeof *judge->heats);
    if (judge->heats == NULL)
        return fault_set(fault, EX_OSERR, "no memory to judge the run");
    for (size_t i = 0; i < plan->operation_count; i++) {
        if (plan->operations[i].visit != judge->visit || plan->operations[i].kind != OPERATION_HEAT ||
            !plan->operations[i].ramp_at_most.set)
            continue;
        if (heat_open(judge, &judge->heats[judge->heat_count++], i) != 0)
            return fault_set(fault, EX_OSERR, "no memory to judge the run");
    }
    return 0;
}

struct judge *judge_open(const struct plan *plan, size_t visit, const struct judge_channel *channels, size_t count,
                         judge_sink *sink, void *context, struct fault *fault) {
    enum { SOAKS_AN_OPERATION = 3 };
    struct judge *judge = calloc(1, sizeof *judge);
    int64_t longest_gap_ms = 0;

    if (judge == NULL ||
        (judge->soaks = calloc(SOAKS_AN_OPERATION * plan->operation_count, sizeof *judge->soaks)) == NULL) {
        fault_set(fault, EX_OSERR, "no memory to judge the run");
        free(judge);
        return NULL;
    }
    judge->plan = plan;
    judge->visit = visit;
    judge->sink = sink;
    judge->context = context;
    find_soaks(judge);
    if (judge->main == NULL) { // a plan's visit always has one
        fault_set(fault, EX_SOFTWARE, "visit %zu of the plan has nothing to be held at", visit + 1);
        judge_free(judge);
        return NULL;
    }
    if (find_loads(judge, channels, count, &longest_gap_ms, fault) != 0 ||
        open_soaks(judge, longest_gap_ms, fault) != 0 || open_heats(judge, fault) != 0) {
        judge_free(judge);
        return NULL;
    }
    if (cooling_open(judge, channels, count, longest_gap_ms, fault) != 0) {
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
    for (size_t i = 0; i < judge->soak_count; i++)
        soak_free(judge, &judge->soaks[i]);
    free(judge->soaks);
    cooling_free(judge);
    free(judge);
}

static void begin_judging(struct judge *judge, int64_t t_ms) {
    judge->begun = true;
    judge->first_ms = t_ms;
    for (size_t i = 0; i < judge->soak_count; i++)
        soak_begin(&judge->soaks[i], t_ms);
}

void judge_begin_unseen(struct judge *judge, int64_t since_ms) {
    judge->unseen = true;
    begin_judging(judge, since_ms);
}

static void add_to_sums(struct judge *judge, struct load *load, const struct reading *reading) {
    struct reading lowered = *reading;

    temper_add(&load->sum, reading);
    lowered.value -= load->channel.uncertainty_mc;
    if (judge->plan->decision == PLAN_DECISION_GUARDED)
        temper_add(&load->lowered, &lowered);
}

/* First reading, lowest reading and temper sum: what is kept of a channel whatever its edges. */
static void note_load(struct judge *judge, struct load *load, const struct reading *reading) {
    const bool cold = judge->main->sign < 0;

    if (reading->quality != QUALITY_GOOD)
        return;
    if (!load->had_first) {
        load->had_first = true;
        load->first_mc = reading->value;
        load->first_ms = reading->t_ms;
    }
    if (!cold && reading->value >= judge->main->edge_mc) {
        load->had_lowest = false;
    } else if (!load->had_lowest || reading->value < load->lowest_mc) {
        load->had_lowest = true;
        load->lowest_mc = reading->value;
    }
    if (judge->main->operation->kind == OPERATION_TEMPER)
        add_to_sums(judge, load, reading);
}

static void feed_load(struct judge *judge, size_t index, const struct reading *reading) {
    struct load *load = &judge->loads[index];

    if (load->fed && reading->t_ms <= load->seen_ms)
        return;
    load->fed = true;
    load->seen_ms = reading->t_ms;
    for (size_t i = 0; i < judge->heat_count; i++)
        heat_feed(judge, &judge->heats[i], index, reading);
    note_load(judge, load, reading);
    for (size_t i = 0; i < judge->soak_count; i++) {
        if (!soak_is_past(judge, &judge->soaks[i]))
            soak_feed(judge, &judge->soaks[i], index, reading);
    }
}

void judge_feed(struct judge *judge, const struct reading *reading) {
    size_t load = 0;

    if (!judge->begun)
        begin_judging(judge, reading->t_ms);
    judge->now_ms = reading->t_ms;
    if (judge->cooling_count > 0)
        cooling_feed(judge, reading);
    if (judge->load_count == 0)
        return;
    for (size_t i = 0; i < judge->soak_count; i++) {
        if (!soak_is_past(judge, &judge->soaks[i]))
            soak_tick(judge, &judge->soaks[i], reading->t_ms);
    }
    while (load < judge->load_count && judge->loads[load].channel.channel_id != reading->channel_id)
        load++;
    if (load < judge->load_count)
        feed_load(judge, load, reading);
    for (size_t i = 0; i < judge->soak_count; i++) {
        if (!soak_is_past(judge, &judge->soaks[i]))
            soak_settle(judge, &judge->soaks[i]);
    }
    judge->soak_reached = judge->main->facts.first_begun_ms != 0; // not sooner: all have come as far as it by now
}

static void make_leftovers(struct judge *judge) {
    for (int kind = 0; kind < FINDING_MORE; kind++) {
        if (judge->made[kind] > JUDGE_MOST_FINDINGS_OF_A_KIND)
            judge_make_finding(judge, FINDING_MORE, judge->now_ms, judge->main->index, 0,
                               judge->made[kind] - JUDGE_MOST_FINDINGS_OF_A_KIND, kind);
    }
}

void judge_end(struct judge *judge, int64_t t_ms) {
    if (!judge->begun)
        begin_judging(judge, t_ms);
    if (t_ms < judge->now_ms) // never end before what was already judged
        t_ms = judge->now_ms;
    judge->now_ms = t_ms;
    for (size_t i = 0; judge->load_count > 0 && i < judge->soak_count; i++) {
        struct soak *soak = &judge->soaks[i];

        if (soak_is_past(judge, soak))
            continue;
        soak_tick(judge, soak, t_ms);
        for (size_t k = 0; k < judge->load_count; k++)
            track_end(judge, soak, &soak->tracks[k], t_ms);
    }
    judge->ended = true;
    for (size_t i = 0; judge->load_count > 0 && i < judge->soak_count; i++)
        soak_end(judge, &judge->soaks[i], t_ms);
    make_leftovers(judge);
}

/* ---- what came out ---- */

static const struct soak *soak_of(const struct judge *judge, size_t operation) {
    for (size_t i = 0; i < judge->soak_count; i++) {
        if (judge->soaks[i].index == operation && judge->soaks[i].speaks)
            return &judge->soaks[i];
    }
    return judge->main;
}

static void find_verdict(const struct judge *judge, struct verdict *verdict) {
    switch (verdict->requirement) {
    case REQUIREMENT_RAMP:
        for (size_t h = 0; h < judge->heat_count; h++) {
            if (verdict->operation == judge->heats[h].index)
                heat_verdict(judge, &judge->heats[h], verdict);
        }
        break;
    case REQUIREMENT_LOAD_START:
        load_start_verdict(judge, &judge->plan->operations[verdict->operation], verdict);
        break;
    case REQUIREMENT_EQUIVALENT: equivalent_verdict(judge, verdict); break;
    case REQUIREMENT_TRANSFER:
    case REQUIREMENT_COOLING:
    case REQUIREMENT_HANDLE_WARM:
    case REQUIREMENT_DONE: cooling_verdict(judge, verdict); break;
    default: soak_verdict(judge, soak_of(judge, verdict->operation), verdict); break;
    }
}

size_t judge_verdicts(const struct judge *judge, struct verdict *verdicts) {
    const size_t count = judge_absent(judge->plan, judge->visit, verdicts);

    for (size_t i = 0; i < count; i++) {
        if (judge->loads_missing)
            verdicts[i].reason = REASON_NO_LOAD;
        else
            find_verdict(judge, &verdicts[i]);
    }
    return count;
}

static void read_stretches(const struct soak *soak, struct judge_soak *facts) {
    const struct stretch *longest = soak_longest(soak);

    facts->longest_begun_ms = longest->begun_ms;
    facts->longest_ended_ms = longest->ended_ms;
    if (soak->now.on) {
        facts->total_in_ms += stretch_ms(&soak->now);
        facts->last_ended_ms = soak->now.ended_ms;
    }
    facts->possible_longest_ms = soak->possible_longest_ms;
}

void judge_read_soak(const struct judge *judge, struct judge_soak *facts) {
    const struct soak *soak = judge->main;

    *facts = soak->facts;
    facts->begun_ms = judge->first_ms;
    read_stretches(soak, facts);
    facts->first_known = judge->load_count > 0 && !judge->unseen;
    // What the charge was before its soak says nothing about how cold it was after it.
    facts->lowest_known = judge->load_count > 0 && (soak->sign < 0 || facts->last_ended_ms != 0);
    for (size_t i = 0; i < judge->load_count; i++) {
        const struct load *load = &judge->loads[i];
        const struct track *track = &soak->tracks[i];

        facts->first_known &= load->had_first;
        if (i == 0 || load->first_mc > facts->first_mc) {
            facts->first_mc = load->first_mc;
            facts->first_uncertainty_mc = load->channel.uncertainty_mc;
        }
        facts->lowest_known &= load->had_lowest;
        if (i == 0 || load->lowest_mc > facts->lowest_mc) {
            facts->lowest_mc = load->lowest_mc;
            facts->lowest_uncertainty_mc = load->channel.uncertainty_mc;
        }
        if (track->peak_ms != 0 && (facts->peak_t_ms == 0 || track->peak_mc > facts->peak_mc)) {
            facts->peak_mc = track->peak_mc;
            facts->peak_t_ms = track->peak_ms;
            facts->peak_channel_id = track->channel.channel_id;
        }
    }
    facts->equivalent_ms = judge_equivalent_ms(judge, &facts->equivalent_missing_ms);
}

size_t judge_count_loads(const struct judge *judge) {
    return judge->load_count;
}

int64_t judge_load_id(const struct judge *judge, size_t index) {
    return judge->loads[index].channel.channel_id;
}

/* ---- what a plan asks for ---- */

struct absent {
    struct verdict *verdicts;
    size_t count, operation;
};

static void add_absent(struct absent *absent, enum requirement requirement, int64_t required) {
    if (absent->count < JUDGE_MOST_VERDICTS)
        absent->verdicts[absent->count++] = (struct verdict){.operation = absent->operation,
                                                             .requirement = requirement,
                                                             .outcome = OUTCOME_NOT_PROVEN,
                                                             .reason = REASON_NO_RUN,
                                                             .required = required};
}

static void add_if_set(struct absent *absent, enum requirement requirement, const struct plan_limit *limit) {
    if (limit->set)
        add_absent(absent, requirement, limit->value);
}

static void ask(const struct plan *plan, const struct plan_operation *operation, struct absent *absent) {
    switch (operation->kind) {
    case OPERATION_HEAT:
        add_if_set(absent, REQUIREMENT_LOAD_START, &operation->load_at_most);
        add_if_set(absent, REQUIREMENT_RAMP, &operation->ramp_at_most);
        break;
    case OPERATION_HOLD:
        add_absent(absent, REQUIREMENT_HOLD_LEAST, operation->time_at_least_ms + plan->lag_allowance_ms);
        break;
    case OPERATION_COLD: add_absent(absent, REQUIREMENT_HOLD_LEAST, operation->time_at_least_ms); break;
    case OPERATION_SOAK:
    case OPERATION_TEMPER:
        add_absent(absent, REQUIREMENT_SOAK_LEAST, operation->time_at_least_ms + plan->lag_allowance_ms);
        add_if_set(absent, REQUIREMENT_SOAK_MOST, &operation->time_at_most);
        add_absent(absent, REQUIREMENT_OVERSHOOT, operation->overshoot_at_most.value);
        add_if_set(absent, REQUIREMENT_SPREAD, &operation->spread_at_most);
        add_if_set(absent, REQUIREMENT_EQUIVALENT, &operation->equivalent_at_least);
        break;
    case OPERATION_QUENCH:
        add_if_set(absent, REQUIREMENT_TRANSFER, &operation->transfer_at_most);
        add_if_set(absent, REQUIREMENT_COOLING, &operation->cooling_at_most);
        add_if_set(absent, REQUIREMENT_HANDLE_WARM, &operation->handle_warm_within);
        if (operation->may_attest)
            add_absent(absent, REQUIREMENT_DONE, 0);
        break;
    }
}

size_t judge_absent(const struct plan *plan, size_t visit, struct verdict *verdicts) {
    struct absent absent = {.verdicts = verdicts};

    for (size_t i = 0; i < plan->operation_count; i++) {
        absent.operation = i;
        if (plan->operations[i].visit == visit)
            ask(plan, &plan->operations[i], &absent);
    }
    return absent.count;
}

enum outcome judge_worst(const struct verdict *verdicts, size_t count) {
    enum outcome worst = count == 0 ? OUTCOME_NOT_PROVEN : OUTCOME_MET;

    for (size_t i = 0; i < count; i++) {
        if (verdicts[i].outcome > worst)
            worst = verdicts[i].outcome;
    }
    return worst;
}
