// SPDX-License-Identifier: MIT
#include "soakledger/assess.h"

#include <stdlib.h>
#include <string.h>

#include "soakledger/import.h"
#include "soakledger/replay.h"

enum { FIRST_FINDINGS = 32 };

/* ---- one run ---- */

struct replay {
    struct assess_run *run;
    const struct assess_watch *watch; // may be NULL
    bool short_of_memory;
};

static void assess_keep_finding(void *context, const struct finding *finding) {
    struct replay *replay = context;
    struct assess_run *run = replay->run;

    if (run->finding_count == run->finding_capacity) {
        const size_t capacity = run->finding_capacity == 0 ? FIRST_FINDINGS : run->finding_capacity * 2;
        struct finding *findings = realloc(run->findings, capacity * sizeof *findings);

        if (findings == NULL) {
            replay->short_of_memory = true;
            return;
        }
        run->findings = findings;
        run->finding_capacity = capacity;
    }
    run->findings[run->finding_count++] = *finding;
}

static void assess_count_gap(const struct ledger_channel *channel, struct assess_tally *tally, int64_t until_ms) {
    const int64_t length = until_ms - tally->last_good_ms;

    if (length <= JUDGE_GAP_INTERVALS * channel->interval_ms)
        return;
    tally->gap_count++;
    tally->gap_total_ms += length;
    if (length > tally->gap_longest_ms)
        tally->gap_longest_ms = length;
}

static void assess_count(struct assess_run *run, const struct reading *reading) {
    for (size_t i = 0; i < run->channel_count; i++) {
        struct assess_tally *tally = &run->tallies[i];

        if (run->channels[i].channel_id != reading->channel_id)
            continue;
        tally->total++;
        if ((unsigned)reading->quality < QUALITY_COUNT)
            tally->by_quality[reading->quality]++;
        if (reading->quality == QUALITY_GOOD) {
            assess_count_gap(&run->channels[i], tally, reading->t_ms);
            tally->good++;
            tally->last_good_ms = reading->t_ms;
        }
        return;
    }
}

static void assess_begin_tallies(struct assess_run *run) {
    const int64_t length_ms = run->until_ms - run->run.begun_ms;

    for (size_t i = 0; i < run->channel_count; i++) {
        run->tallies[i].last_good_ms = run->run.begun_ms;
        if (run->channels[i].interval_ms > 0)
            run->tallies[i].expected = length_ms / run->channels[i].interval_ms + 1;
    }
}

static int assess_take_reading(void *context, const struct reading *reading, struct fault *fault) {
    const struct replay *replay = context;
    const struct assess_watch *watch = replay->watch;

    assess_count(replay->run, reading);
    return watch != NULL && watch->reading != NULL ? watch->reading(watch->context, reading, fault) : 0;
}

int assess_judge_run(const struct plan *plan, size_t visit, struct assess_run *run, assess_feed *feed, void *source,
                     const struct assess_watch *watch, struct fault *fault) {
    struct replay replay = {.run = run, .watch = watch};
    struct judge *judge =
        replay_open_judge(plan, visit, run->channels, run->channel_count, assess_keep_finding, &replay, fault);
    int result;

    if (judge == NULL)
        return -1;
    run->tallies = calloc(run->channel_count + 1, sizeof *run->tallies);
    if (run->tallies == NULL) {
        judge_free(judge);
        return fault_set(fault, EX_OSERR, "not enough memory for %zu channels", run->channel_count);
    }
    assess_begin_tallies(run);
    run->load_count = judge_count_loads(judge);
    for (size_t i = 0; i < run->load_count && i < JUDGE_MOST_LOADS; i++)
        run->loads[i] = judge_load_id(judge, i);
    result = watch != NULL && watch->begin != NULL ? watch->begin(watch->context, visit, run, fault) : 0;
    if (result == 0)
        result = feed(source, run, judge, assess_take_reading, &replay, fault);
    if (result == 0) {
        if (run->run.ended_ms != 0) // a run that is still on could change yet: the judge says so itself
            judge_end(judge, run->run.ended_ms);
        for (size_t i = 0; i < run->channel_count; i++)
            assess_count_gap(&run->channels[i], &run->tallies[i], run->until_ms);
        run->verdict_count = judge_verdicts(judge, run->verdicts);
        judge_read_soak(judge, &run->soak);
        run->quench_count = judge_count_quenches(judge);
        for (size_t i = 0; i < run->quench_count; i++)
            run->quench_ids[i] = judge_read_quench(judge, i, &run->quenches[i]);
        run->reached = run->soak.first_begun_ms != 0;
        if (watch != NULL && watch->end != NULL)
            result = watch->end(watch->context, run, fault);
    }
    judge_free(judge);
    if (replay.short_of_memory)
        return fault_set(fault, EX_OSERR, "not enough memory for the findings of run %lld",
                         (long long)run->run.run_id);
    return result;
}

/* ---- against what the daemon found ---- */

static bool assess_same_verdict(const struct verdict *a, const struct verdict *b) {
    if (a->operation != b->operation || a->requirement != b->requirement || a->outcome != b->outcome ||
        a->reason != b->reason || a->required != b->required || a->found_known != b->found_known)
        return false;
    if (a->found_known && (a->found != b->found || a->margin != b->margin))
        return false;
    return a->possible == b->possible && a->t_ms == b->t_ms && a->channel_id == b->channel_id &&
           a->uncertainty == b->uncertainty;
}

static int assess_compare(struct ledger *ledger, int64_t judgement_id, struct assess_run *run,
                          struct fault *fault) {
    size_t finding_count = 0, verdict_count = 0;
    struct finding *findings = ledger_list_findings(ledger, judgement_id, &finding_count, fault);
    struct verdict *verdicts =
        findings != NULL ? ledger_list_verdicts(ledger, judgement_id, &verdict_count, fault) : NULL;
    bool same = finding_count == run->finding_count && verdict_count == run->verdict_count;
    const int result = findings != NULL && verdicts != NULL ? 0 : -1;

    if (result == 0) {
        for (size_t i = 0; same && i < finding_count; i++)
            same = judge_findings_equal(&findings[i], &run->findings[i]);
        for (size_t i = 0; same && i < verdict_count; i++)
            same = assess_same_verdict(&verdicts[i], &run->verdicts[i]);
        run->agreement = same ? ASSESS_AGREES : ASSESS_DIFFERS;
    }
    free(findings);
    free(verdicts);
    return result;
}

static int assess_compare_stored(struct ledger *ledger, struct assess_run *run, struct fault *fault) {
    bool complete = false;
    const int64_t id =
        ledger_find_judgement(ledger, run->run.run_id, run->run.batch_id, run->run.visit, &complete, fault);

    run->agreement = ASSESS_NOT_STORED;
    if (id < 0)
        return -1;
    return id > 0 && complete ? assess_compare(ledger, id, run, fault) : 0;
}

/* ---- visits and batch ---- */

/* A finding is made when it is certain, which may be later than the moment it is about. Sheets list them by that
 * moment; those of one moment stay as they were made. */
void assess_sort_findings(struct assess_run *run) {
    for (size_t i = 1; i < run->finding_count; i++) {
        const struct finding moved = run->findings[i];
        size_t at = i;

        for (; at > 0 && run->findings[at - 1].t_ms > moved.t_ms; at--)
            run->findings[at] = run->findings[at - 1];
        run->findings[at] = moved;
    }
}

static int assess_feed_stored(void *source, const struct assess_run *run, struct judge *judge, replay_watch *watch,
                              void *context, struct fault *fault) {
    return replay_feed(source, judge, run->channels, run->channel_count, run->run.begun_ms, run->until_ms, watch,
                       context, fault);
}

static int assess_run(struct ledger *ledger, const struct plan *plan, struct assess_run *run,
                      const struct assess_watch *watch, struct fault *fault) {
    int simulated;

    run->until_ms = run->run.ended_ms != 0 ? run->run.ended_ms : ledger_last_time(ledger, fault);
    if (run->until_ms < 0)
        return -1;
    if (run->until_ms < run->run.begun_ms) // it has only just begun
        run->until_ms = run->run.begun_ms;
    run->oven = ledger_oven_name(ledger, run->run.oven_id, fault);
    run->channels = import_list_run_channels(ledger, &run->run, &run->channel_count, fault);
    if (run->oven == NULL || run->channels == NULL)
        return -1;
    if (assess_judge_run(plan, run->run.visit, run, assess_feed_stored, ledger, watch, fault) != 0)
        return -1;
    if (import_find(ledger, run->run.run_id, &run->import, fault) < 0)
        return -1;
    // What happened to this recorder meanwhile says nothing of readings that another one took.
    run->events = run->import != NULL
                      ? calloc(1, sizeof *run->events)
                      : ledger_list_events(ledger, run->run.begun_ms, run->until_ms, &run->event_count, fault);
    simulated = ledger_was_simulated(ledger, run->run.begun_ms, run->until_ms, fault);
    if (run->events == NULL || simulated < 0)
        return -1;
    run->simulated = simulated == 1 && run->import == NULL;
    if (assess_compare_stored(ledger, run, fault) != 0 ||
        seal_read_run(ledger, run->run.run_id, &run->seal, fault) < 0)
        return -1;
    assess_sort_findings(run);
    return 0;
}

static const struct judge_soak *assess_soak(const struct assess_visit *visit) {
    const struct assess_run *run = assess_deciding_run(visit);

    return run != NULL ? &run->soak : NULL;
}

/* The latest word for a visit's quench counts, unless it was taken back. */
static void assess_attest(struct assess_batch *assessed, size_t number) {
    struct assess_visit *visit = &assessed->visits[number];

    for (size_t i = 0; i < assessed->attestation_count; i++) {
        if (assessed->attestations[i].visit == number &&
            !books_is_withdrawn(assessed->books, BOOKS_ATTESTATION, i + 1)) {
            visit->attested = true;
            visit->attested_ms = assessed->attestations[i].t_ms;
        }
    }
    if (visit->attested && assess_soak(visit) != NULL)
        judge_attest(assessed->plan, number, assess_soak(visit), visit->attested_ms, visit->verdicts,
                     visit->verdict_count);
}

static void assess_between(struct assess_batch *assessed, size_t number) {
    struct assess_visit *visit = &assessed->visits[number];
    const struct judge_soak *before = number > 0 ? assess_soak(&assessed->visits[number - 1]) : NULL;
    struct verdict between[JUDGE_MOST_VERDICTS];
    const size_t count = judge_between(assessed->plan, number, before, assess_soak(visit), between);

    for (size_t i = 0; i < count && visit->verdict_count < JUDGE_MOST_VERDICTS; i++)
        visit->verdicts[visit->verdict_count++] = between[i];
}

/* Visits in order: each is also held against the one before. */
static void assess_decide(struct assess_batch *assessed, size_t number) {
    struct assess_visit *visit = &assessed->visits[number];

    visit->deciding = ASSESS_NO_RUN;
    for (size_t i = 0; i < visit->run_count; i++)
        if (visit->runs[i].reached || visit->deciding == ASSESS_NO_RUN || !visit->runs[visit->deciding].reached)
            visit->deciding = (int)i;
    if (visit->deciding == ASSESS_NO_RUN) {
        visit->verdict_count = judge_absent(assessed->plan, number, visit->verdicts);
    } else {
        const struct assess_run *run = &visit->runs[visit->deciding];

        memcpy(visit->verdicts, run->verdicts, sizeof visit->verdicts);
        visit->verdict_count = run->verdict_count;
    }
    assess_attest(assessed, number);
    assess_between(assessed, number);
    visit->outcome = judge_worst(visit->verdicts, visit->verdict_count);
}

static int assess_visit(struct ledger *ledger, struct assess_batch *assessed, size_t number,
                        const struct ledger_run *claimed, size_t claimed_count, const struct assess_watch *watch,
                        struct fault *fault) {
    struct assess_visit *visit = &assessed->visits[number];

    visit->runs = calloc(claimed_count + 1, sizeof *visit->runs);
    if (visit->runs == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu runs", claimed_count);
    for (size_t i = 0; i < claimed_count; i++) {
        struct assess_run *run = &visit->runs[visit->run_count];

        if (claimed[i].visit != number)
            continue;
        run->run = claimed[i];
        visit->run_count++;
        if (assess_run(ledger, assessed->plan, run, watch, fault) != 0)
            return -1;
        assessed->simulated = assessed->simulated || run->simulated;
        assessed->imported = assessed->imported || run->import != NULL;
        assessed->differs = assessed->differs || run->agreement == ASSESS_DIFFERS;
    }
    return 0;
}

static int assess_visits(struct ledger *ledger, struct assess_batch *assessed, const struct assess_watch *watch,
                         struct fault *fault) {
    size_t count = 0;
    struct ledger_run *claimed = ledger_list_claimed(ledger, assessed->batch->batch_id, &count, fault);
    int result = claimed != NULL ? 0 : -1;

    for (size_t i = 0; result == 0 && i < assessed->visit_count; i++)
        result = assess_visit(ledger, assessed, i, claimed, count, watch, fault);
    free(claimed);
    return result;
}

static int assess_hardness(struct assess_batch *assessed, struct fault *fault) {
    const struct books *books = assessed->books;
    struct hardness_reading *readings = calloc(books->hardness_count + 1, sizeof *readings);
    size_t count = 0;

    if (readings == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu hardness readings", books->hardness_count);
    for (size_t i = 0; i < books->hardness_count; i++) {
        const struct books_hardness *reading = &books->hardness[i];

        if (!reading->withdrawn)
            readings[count++] = (struct hardness_reading){reading->scale, reading->counts, reading->uncertainty};
    }
    assessed->hardness = hardness_judge(assessed->plan, readings, count);
    free(readings);
    if (assessed->hardness.asked && assessed->hardness.outcome > assessed->outcome)
        assessed->outcome = assessed->hardness.outcome;
    return 0;
}

int assess_settle(struct assess_batch *assessed, struct fault *fault) {
    assessed->outcome = OUTCOME_MET;
    for (size_t i = 0; i < assessed->visit_count; i++) {
        assess_decide(assessed, i);
        if (assessed->visits[i].outcome > assessed->outcome)
            assessed->outcome = assessed->visits[i].outcome;
    }
    return assess_hardness(assessed, fault);
}

/* What people said, and by what seal the ledger can be known again. */
static int assess_books(struct ledger *ledger, struct assess_batch *assessed, struct fault *fault) {
    const int64_t batch_id = assessed->batch->batch_id;

    assessed->attestations = ledger_list_attestations(ledger, batch_id, &assessed->attestation_count, fault);
    if (assessed->attestations == NULL)
        return -1;
    assessed->books = books_read(ledger, batch_id, fault);
    if (assessed->books == NULL)
        return -1;
    return seal_read_last(ledger, &assessed->last_seal, fault) < 0 ? -1 : 0;
}

struct assess_batch *assess_batch(struct ledger *ledger, int64_t batch_id, const struct assess_watch *watch,
                                  struct fault *fault) {
    struct assess_batch *assessed = calloc(1, sizeof *assessed);

    if (assessed == NULL) {
        fault_set(fault, EX_OSERR, "not enough memory to assess a batch");
        return NULL;
    }
    assessed->batch = ledger_read_batch(ledger, batch_id, fault);
    if (assessed->batch == NULL)
        goto fail;
    assessed->oven = ledger_oven_name(ledger, assessed->batch->oven_id, fault);
    assessed->plan =
        plan_parse(assessed->batch->plan_text, assessed->batch->plan_length, assessed->batch->plan_name, fault);
    if (assessed->oven == NULL || assessed->plan == NULL)
        goto fail;
    if (assess_books(ledger, assessed, fault) != 0)
        goto fail;
    assessed->visit_count = assessed->plan->visit_count;
    assessed->visits = calloc(assessed->visit_count + 1, sizeof *assessed->visits);
    if (assessed->visits == NULL) {
        fault_set(fault, EX_OSERR, "not enough memory for %zu visits", assessed->visit_count);
        goto fail;
    }
    if (assess_visits(ledger, assessed, watch, fault) != 0 || assess_find_others(ledger, assessed, fault) != 0 ||
        assess_settle(assessed, fault) != 0)
        goto fail;
    return assessed;
fail:
    assess_free(assessed);
    return NULL;
}

static void assess_release_run(struct assess_run *run) {
    free(run->oven);
    import_free(run->import);
    assess_free_others(run);
    ledger_free_channels(run->channels, run->channel_count);
    free(run->tallies);
    free(run->findings);
    free(run->events);
}

void assess_free(struct assess_batch *assessed) {
    if (assessed == NULL)
        return;
    for (size_t i = 0; assessed->visits != NULL && i < assessed->visit_count; i++) {
        for (size_t k = 0; k < assessed->visits[i].run_count; k++)
            assess_release_run(&assessed->visits[i].runs[k]);
        free(assessed->visits[i].runs);
    }
    free(assessed->visits);
    ledger_free_attestations(assessed->attestations, assessed->attestation_count);
    books_free(assessed->books);
    free(assessed->oven);
    plan_free(assessed->plan);
    ledger_free_batch(assessed->batch);
    free(assessed);
}

/* ---- questions ---- */

/* How much is left of a limit, as a share of it: what makes unlike limits comparable. */
static double assess_share(const struct verdict *verdict) {
    return verdict->required != 0 ? (double)verdict->margin / (double)verdict->required : (double)verdict->margin;
}

const struct verdict *assess_deciding(const struct assess_batch *assessed, size_t *visit) {
    const struct verdict *best = NULL;

    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].verdict_count; k++) {
            const struct verdict *verdict = &assessed->visits[i].verdicts[k];
            const bool closer = best != NULL && best->outcome == OUTCOME_MET && verdict->outcome == OUTCOME_MET &&
                                assess_share(verdict) < assess_share(best);

            if (best == NULL || verdict->outcome > best->outcome || closer) {
                best = verdict;
                *visit = i;
            }
        }
    return best;
}

bool assess_hardness_decides(const struct assess_batch *assessed) {
    size_t visit;
    const struct verdict *worst = assess_deciding(assessed, &visit);

    return assessed->hardness.asked && (worst == NULL || assessed->hardness.outcome > worst->outcome);
}

const struct assess_run *assess_deciding_run(const struct assess_visit *visit) {
    return visit->deciding == ASSESS_NO_RUN ? NULL : &visit->runs[visit->deciding];
}

const struct ledger_channel *assess_find_channel(const struct assess_run *run, int64_t channel_id) {
    for (size_t i = 0; i < run->channel_count; i++)
        if (run->channels[i].channel_id == channel_id)
            return &run->channels[i];
    return NULL;
}
