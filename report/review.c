// SPDX-License-Identifier: MIT
/* Everything that a review says, collected before anything is drawn. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "review_parts.h"
#include "soakledger/health.h"
#include "soakledger/replay.h"

static const double C_PER_MC = 0.001;
enum { EARLIER_CURVES = 2 };

/* ---- curves ---- */

struct drawing {
    struct review_visit *visit;
    struct cause_watch *watch;
    struct review_strip *strip;
    const int64_t *loads; // that the strip shows
    size_t load_count;
    int64_t shift_ms, id_shift; // of an earlier run
};

static bool is_among(const int64_t *ids, size_t count, int64_t id) {
    for (size_t i = 0; i < count; i++)
        if (ids[i] == id)
            return true;
    return false;
}

static void take_strip(const struct review_visit *visit, struct review_strip *strip,
                       const struct reading *reading) {
    const int64_t span_ms = visit->to_ms - visit->from_ms;
    const int64_t column = (reading->t_ms - visit->from_ms) * REVIEW_COLUMNS / (span_ms > 0 ? span_ms : 1);

    if (reading->quality != QUALITY_GOOD || reading->t_ms < visit->from_ms || column >= REVIEW_COLUMNS)
        return;
    strip->sum_c[column] += (double)reading->value * C_PER_MC;
    strip->count[column]++;
}

static int take_reading(void *context, const struct reading *reading, struct fault *fault) {
    struct drawing *drawing = context;
    struct reading moved = *reading;

    if (drawing->watch != NULL)
        cause_feed(drawing->watch, reading);
    moved.t_ms += drawing->shift_ms;
    if (is_among(drawing->loads, drawing->load_count, reading->channel_id))
        take_strip(drawing->visit, drawing->strip, &moved);
    moved.channel_id += drawing->id_shift;
    if (!chart_feed(drawing->visit->chart, &moved))
        return fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
    return 0;
}

/* An earlier run's channels are the same ones: on the chart they get numbers of their own. */
#define EARLIER_IDS (INT64_C(1) << 40)

static void add_curve(struct review_visit *visit, struct chart_curve *curves, size_t *count,
                      const struct ledger_channel *channel, int64_t batch_id) {
    char *name;

    if (*count == REVIEW_MOST_CURVES)
        return;
    name = visit->names[*count];
    if (batch_id != 0)
        snprintf(name, REVIEW_NAME_BYTES, "batch %lld: %.60s", (long long)batch_id, channel->name);
    else
        snprintf(name, REVIEW_NAME_BYTES, "%.80s", channel->name);
    curves[(*count)++] = (struct chart_curve){channel->channel_id + (batch_id != 0 ? EARLIER_IDS : 0), name,
                                              channel->role, channel->interval_ms};
}

static size_t pick_curves(struct review_visit *visit, struct chart_curve *curves) {
    const struct assess_run *run = visit->run;
    size_t count = 0, earlier = 0;

    for (size_t i = 0; i < run->channel_count; i++)
        if (is_among(run->loads, run->load_count, run->channels[i].channel_id))
            add_curve(visit, curves, &count, &run->channels[i], 0);
    for (size_t i = 0; i < run->channel_count; i++)
        if (!is_among(run->loads, run->load_count, run->channels[i].channel_id) &&
            (run->channels[i].role == ROLE_CONTROL || run->channels[i].role == ROLE_SETPOINT ||
             run->channels[i].role == ROLE_COLD))
            add_curve(visit, curves, &count, &run->channels[i], 0);
    for (size_t i = 0; i < run->channel_count && visit->earlier.batch_id != 0; i++)
        if (is_among(run->loads, run->load_count, run->channels[i].channel_id) && earlier++ < EARLIER_CURVES)
            add_curve(visit, curves, &count, &run->channels[i], visit->earlier.batch_id);
    return count;
}

/* Both come into the band at once; where this charge never did, both runs begin at once. */
static void align(struct review_visit *visit) {
    struct review_earlier *earlier = &visit->earlier;
    const int64_t in_ms = visit->run->soak.first_begun_ms;

    visit->from_ms = visit->run->run.begun_ms;
    visit->to_ms = visit->run->until_ms > visit->from_ms ? visit->run->until_ms : visit->from_ms + 1;
    earlier->shift_ms =
        in_ms != 0 && earlier->in_ms != 0 ? in_ms - earlier->in_ms : visit->from_ms - earlier->begun_ms;
}

static int draw_earlier(struct review *review, struct review_visit *visit, struct fault *fault) {
    const struct assess_run *run = visit->run;
    const struct review_earlier *earlier = &visit->earlier;
    struct drawing drawing = {.visit = visit,
                              .strip = &visit->before,
                              .loads = run->loads,
                              .load_count = run->load_count,
                              .shift_ms = earlier->shift_ms,
                              .id_shift = EARLIER_IDS};

    return review_feed(review->ledger, run->channels, run->channel_count, earlier->begun_ms, earlier->ended_ms,
                       take_reading, &drawing, fault);
}

static int draw_run(struct review *review, struct review_visit *visit, struct cause_watch *watch,
                    struct fault *fault) {
    const struct assess_run *run = visit->run;
    struct chart_curve curves[REVIEW_MOST_CURVES];
    struct drawing drawing = {
        .visit = visit, .watch = watch, .strip = &visit->now, .loads = run->loads, .load_count = run->load_count};
    size_t count;

    align(visit);
    count = pick_curves(visit, curves);
    visit->chart = chart_open(visit->from_ms, visit->to_ms, curves, count, fault);
    if (visit->chart == NULL || review_feed(review->ledger, run->channels, run->channel_count, run->run.begun_ms,
                                            run->until_ms, take_reading, &drawing, fault) != 0)
        return -1;
    if (visit->earlier.batch_id != 0 && draw_earlier(review, visit, fault) != 0)
        return -1;
    return chart_close(visit->chart) ? 0 : fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
}

/* ---- causes ---- */

/* What many runs say of the oven's sensors, where one is named. */
static int find_history(struct review *review, const struct assess_run *run, struct cause_history *history,
                        struct fault *fault) {
    struct health_oven *oven = health_examine(review->ledger, run->run.oven_id, run->until_ms, false, fault);
    const struct drift_report *report;

    if (oven == NULL)
        return -1;
    report = oven->worst < oven->level_count ? oven->levels[oven->worst].report : NULL;
    if (report != NULL && report->cause == DRIFT_SENSOR && report->sensor < oven->sensor_count)
        *history = (struct cause_history){oven->sensors[report->sensor].channel_id,
                                          report->outlooks[report->sensor].error_c, report->sure};
    health_free(oven);
    return 0;
}

static int weigh(struct review *review, struct review_visit *visit, struct cause_watch *watch,
                 const struct cause_usual *usual, struct fault *fault) {
    const struct assess_visit *assessed = &review->assessed->visits[visit->visit];
    struct cause_history history = {0};

    if (find_history(review, visit->run, &history, fault) != 0)
        return -1;
    for (size_t i = 0; i < visit->run->event_count; i++)
        cause_hear(watch, &visit->run->events[i]);
    cause_end(watch, visit->run->until_ms);
    visit->signs = *cause_read(watch);
    visit->usual_runs = cause_usual_runs(usual);
    visit->told = cause_weigh(&visit->task, &visit->signs, usual, &history, assessed->verdicts,
                              assessed->verdict_count, visit->opinions);
    visit->weighed = true;
    return 0;
}

static int read_visit(struct review *review, size_t number, struct fault *fault) {
    const struct assess_visit *assessed = &review->assessed->visits[number];
    struct review_visit *visit = &review->visits[number];
    const bool cold = plan_visit_soak(review->assessed->plan, number)->kind == OPERATION_COLD;
    struct cause_usual *usual;
    struct cause_watch *watch = NULL;
    int result = -1;

    visit->visit = number;
    visit->run = assess_deciding_run(assessed);
    if (visit->run == NULL)
        return 0;
    visit->failed = assessed->outcome != OUTCOME_MET;
    visit->task = review_task(review->assessed->plan, number);
    usual = review_find_usual(review, visit, fault);
    if (usual != NULL)
        watch = review_open_watch(&visit->task, visit->run->channels, visit->run->channel_count, fault);
    if (watch != NULL)
        result = draw_run(review, visit, watch, fault);
    if (result == 0 && visit->failed && !cold && review->instead == NULL)
        result = weigh(review, visit, watch, usual, fault);
    cause_free(watch);
    cause_usual_free(usual);
    return result;
}

static int read_visits(struct review *review, struct fault *fault) {
    review->visits = calloc(review->assessed->visit_count + 1, sizeof *review->visits);
    if (review->visits == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu visits", review->assessed->visit_count);
    for (size_t i = 0; i < review->assessed->visit_count; i++)
        if (read_visit(review, i, fault) != 0)
            return -1;
    return 0;
}

int review_read(struct review *review, int64_t batch_id, struct fault *fault) {
    review->assessed = assess_batch(review->ledger, batch_id, NULL, fault);
    return review->assessed != NULL ? read_visits(review, fault) : -1;
}

/* ---- what if ---- */

static int feed_stored(void *source, const struct assess_run *run, struct judge *judge, replay_watch *watch,
                       void *context, struct fault *fault) {
    return replay_feed(source, judge, run->channels, run->channel_count, run->run.begun_ms, run->until_ms, watch,
                       context, fault);
}

static int suppose_run(struct review *review, size_t visit, const struct assess_run *recorded,
                       struct assess_run *run, struct fault *fault) {
    *run =
        (struct assess_run){.run = recorded->run, .until_ms = recorded->until_ms, .simulated = recorded->simulated};
    run->oven = ledger_oven_name(review->ledger, run->run.oven_id, fault);
    run->channels = import_list_run_channels(review->ledger, &run->run, &run->channel_count, fault);
    if (run->oven == NULL || run->channels == NULL ||
        assess_judge_run(review->assessed->plan, visit, run, feed_stored, review->ledger, NULL, fault) != 0)
        return -1;
    assess_sort_findings(run);
    return 0;
}

static int suppose_visit(struct review *review, size_t number, struct fault *fault) {
    struct assess_visit *visit = &review->assessed->visits[number];
    const struct assess_visit *recorded =
        number < review->recorded->visit_count ? &review->recorded->visits[number] : NULL;

    visit->runs = calloc((recorded != NULL ? recorded->run_count : 0) + 1, sizeof *visit->runs);
    if (visit->runs == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for runs");
    for (size_t i = 0; recorded != NULL && i < recorded->run_count; i++) {
        visit->run_count++;
        if (suppose_run(review, number, &recorded->runs[i], &visit->runs[i], fault) != 0)
            return -1;
    }
    return 0;
}

/* People's words about the batch stay what they are. */
static int suppose_batch(struct review *review, int64_t batch_id, struct fault *fault) {
    struct assess_batch *assessed = review->assessed;

    assessed->batch = ledger_read_batch(review->ledger, batch_id, fault);
    if (assessed->batch == NULL)
        return -1;
    assessed->oven = ledger_oven_name(review->ledger, assessed->batch->oven_id, fault);
    assessed->attestations =
        ledger_list_attestations(review->ledger, batch_id, &assessed->attestation_count, fault);
    assessed->books = books_read(review->ledger, batch_id, fault);
    assessed->visit_count = assessed->plan->visit_count;
    assessed->visits = calloc(assessed->visit_count + 1, sizeof *assessed->visits);
    assessed->simulated = review->recorded->simulated;
    if (assessed->visits == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu visits", assessed->visit_count);
    return assessed->oven != NULL && assessed->attestations != NULL && assessed->books != NULL ? 0 : -1;
}

int review_suppose(struct review *review, int64_t batch_id, struct plan *plan, struct fault *fault) {
    review->assessed = calloc(1, sizeof *review->assessed);
    if (review->assessed == NULL) {
        plan_free(plan);
        return fault_set(fault, EX_OSERR, "not enough memory to assess a batch");
    }
    review->assessed->plan = plan;
    review->recorded = assess_batch(review->ledger, batch_id, NULL, fault);
    if (review->recorded == NULL || suppose_batch(review, batch_id, fault) != 0)
        return -1;
    for (size_t i = 0; i < plan->visit_count; i++)
        if (suppose_visit(review, i, fault) != 0)
            return -1;
    return assess_settle(review->assessed, fault) == 0 ? read_visits(review, fault) : -1;
}

void review_release(struct review *review) {
    for (size_t i = 0; review->visits != NULL && i < review->assessed->visit_count; i++)
        chart_free(review->visits[i].chart);
    free(review->visits);
    assess_free(review->assessed);
    assess_free(review->recorded);
}
