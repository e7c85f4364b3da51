// SPDX-License-Identifier: MIT
/* The curves: of every visit the whole run, its soak enlarged, and the attempts that do not count. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "certificate_parts.h"
#include "soakledger/replay.h"
#include "soakledger/words.h"

enum { MS_PER_MIN = 60000, AROUND_SOAK = 8, CLOSE_UP = 6 };
/* A cold hold has no lower edge: so much below the upper one is shown in any case. */
enum { COLD_BAND_MC = 10000 };

static const float CHART_HEIGHT = 232, CLOSE_UP_HEIGHT = 205, ATTEMPT_HEIGHT = 165, CHART_AFTER = 4;

static bool certificate_is_load(const struct assess_run *run, int64_t channel_id) {
    for (size_t i = 0; i < run->load_count; i++)
        if (run->loads[i] == channel_id)
            return true;
    return false;
}

static bool certificate_stands_for_charge(const struct assess_run *run, const struct ledger_channel *channel) {
    return certificate_is_load(run, channel->channel_id) || channel->role == ROLE_LOAD;
}

/* The channels worth drawing: what stands for the charge first, then control or a cold place's air, then setpoint.
 */
static size_t certificate_pick_curves(const struct assess_run *run, struct chart_curve *curves, size_t *charge) {
    enum { PASSES = 3 };
    size_t count = 0;

    *charge = 0;

    for (int pass = 0; pass < PASSES; pass++)
        for (size_t i = 0; i < run->channel_count && count < CERTIFICATE_MOST_CURVES; i++) {
            const struct ledger_channel *channel = &run->channels[i];
            const bool load = certificate_stands_for_charge(run, channel);
            const bool place = channel->role == ROLE_CONTROL || channel->role == ROLE_COLD;
            const bool wanted = pass == 0   ? load
                                : pass == 1 ? !load && place
                                            : !load && channel->role == ROLE_SETPOINT;

            if (wanted && certificate_stands_for_charge(run, channel))
                ++*charge;
            if (wanted)
                curves[count++] =
                    (struct chart_curve){channel->channel_id, channel->name, channel->role, channel->interval_ms};
        }
    return count;
}

static int certificate_begin_curve(void *context, size_t visit, const struct assess_run *run, struct fault *fault) {
    struct certificate *certificate = context;
    struct chart_curve picked[CERTIFICATE_MOST_CURVES];
    size_t charge = 0;
    const size_t count = certificate_pick_curves(run, picked, &charge);
    struct certificate_curve *curves =
        realloc(certificate->curves, (certificate->curve_count + 1) * sizeof *certificate->curves);

    (void)visit;
    if (curves == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for the curve of run %lld",
                         (long long)run->run.run_id);
    certificate->curves = curves;
    curves[certificate->curve_count] =
        (struct certificate_curve){.run_id = run->run.run_id,
                                   .charge_count = charge,
                                   .fine = chart_open_fine(run->run.begun_ms, run->until_ms, picked, count, fault)};
    if (curves[certificate->curve_count].fine == NULL)
        return -1;
    certificate->curve_count++;
    return 0;
}

static int certificate_feed_curve(void *context, const struct reading *reading, struct fault *fault) {
    struct certificate *certificate = context;

    if (!chart_feed(certificate->curves[certificate->curve_count - 1].fine, reading))
        return fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
    return 0;
}

/* The soak and some time around it, within the run. */
static void certificate_close_up_span(const struct assess_run *run, int64_t *from_ms, int64_t *to_ms) {
    const int64_t begun = run->soak.first_begun_ms, ended = run->soak.last_ended_ms;
    const int64_t least = (int64_t)CLOSE_UP * MS_PER_MIN / AROUND_SOAK;
    const int64_t around = (ended - begun) / AROUND_SOAK > least ? (ended - begun) / AROUND_SOAK : least;

    *from_ms = begun - around > run->run.begun_ms ? begun - around : run->run.begun_ms;
    *to_ms = ended + around < run->until_ms ? ended + around : run->until_ms;
}

/* Both drawings are cut at once, so that what is kept finer is kept of one run at a time. */
static int certificate_end_curve(void *context, const struct assess_run *run, struct fault *fault) {
    struct certificate *certificate = context;
    struct certificate_curve *curve = &certificate->curves[certificate->curve_count - 1];
    int64_t from_ms, to_ms;

    if (!chart_close(curve->fine))
        return fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
    certificate_close_up_span(run, &from_ms, &to_ms);
    curve->whole = chart_cut(curve->fine, run->run.begun_ms, run->until_ms, fault);
    if (curve->whole == NULL)
        return -1;
    if (run->soak.longest_begun_ms != 0 && chart_is_fine_enough(curve->fine, from_ms, to_ms)) {
        curve->close_up = chart_cut(curve->fine, from_ms, to_ms, fault);
        if (curve->close_up == NULL)
            return -1;
    }
    chart_free(curve->fine);
    curve->fine = NULL;
    return 0;
}

struct assess_watch certificate_watch(struct certificate *certificate) {
    return (struct assess_watch){certificate, certificate_begin_curve, certificate_feed_curve,
                                 certificate_end_curve};
}

void certificate_free_curves(struct certificate *certificate) {
    for (size_t i = 0; i < certificate->curve_count; i++) {
        chart_free(certificate->curves[i].fine);
        chart_free(certificate->curves[i].whole);
        chart_free(certificate->curves[i].close_up);
    }
    free(certificate->curves);
}

static struct certificate_curve *certificate_find_curve(const struct certificate *certificate, int64_t run_id) {
    for (size_t i = 0; i < certificate->curve_count; i++)
        if (certificate->curves[i].run_id == run_id)
            return &certificate->curves[i];
    return NULL;
}

struct chart *certificate_read_chart(struct certificate *certificate, const struct assess_run *run,
                                     const struct chart_curve *curves, size_t count, int64_t from_ms, int64_t to_ms,
                                     struct fault *fault) {
    int64_t ids[CERTIFICATE_MOST_CURVES];
    struct chart *chart = chart_open(from_ms, to_ms, curves, count, fault);
    struct ledger_cursor *cursor = NULL;
    struct reading reading;
    int more = 1;

    for (size_t i = 0; i < count; i++)
        ids[i] = curves[i].channel_id;
    if (chart != NULL)
        cursor = ledger_open_import_cursor(certificate->ledger,
                                           run->run.end == RUN_END_IMPORTED ? run->channels[0].import_id : 0, ids,
                                           count, from_ms, to_ms, fault);
    if (cursor == NULL) {
        chart_free(chart);
        return NULL;
    }
    while (more == 1) {
        more = ledger_next_reading(cursor, &reading, fault);
        if (more == 1)
            replay_correct(run->channels, run->channel_count, &reading); // as the judge saw it
        if (more == 1 && !chart_feed(chart, &reading))
            more = fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
    }
    ledger_close_cursor(cursor);
    if (more == 0 && chart_close(chart))
        return chart;
    if (more == 0)
        fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
    chart_free(chart);
    return NULL;
}

/* ---- drawing ---- */

void certificate_draw_chart(struct certificate *certificate, const char *caption, struct chart *chart, float height,
                            const struct chart_dressing *dressing) {
    const struct page_frame *frame = &certificate->sheet.frame;
    const float whole = height + chart_extra_height(chart, certificate->page, frame->right - frame->left, height);

    sheet_subheading(&certificate->sheet, caption, whole);
    chart_draw(chart, certificate->page, sheet_take(&certificate->sheet, whole), dressing);
    sheet_skip(&certificate->sheet, CHART_AFTER);
}

/* "planned band 956 °C to 980 °C"; of a hold with its name, of a cold hold its one edge. */
static void certificate_band_text(const struct certificate *certificate, const struct plan_operation *operation,
                                  char *out) {
    const enum temperature_unit unit = certificate->config->unit;
    char low[QUANTITY_TEXT_BYTES], high[QUANTITY_TEXT_BYTES];

    quantity_format_temperature(operation->temperature_mc - operation->below_mc, unit, 0, low);
    quantity_format_temperature(operation->temperature_mc + operation->above_mc, unit, 0, high);
    if (operation->kind == OPERATION_COLD)
        snprintf(out, CERTIFICATE_NAME_BYTES, "planned: at or below %s",
                 quantity_format_temperature(operation->temperature_mc, unit, 0, high));
    else if (operation->kind == OPERATION_HOLD)
        snprintf(out, CERTIFICATE_NAME_BYTES, "hold%s%.40s, %s to %s", operation->name[0] != '\0' ? " " : "",
                 operation->name, low, high);
    else
        snprintf(out, CERTIFICATE_NAME_BYTES, "planned band %s to %s", low, high);
}

/* The bands of a visit's holds. */
static size_t certificate_hold_bands(const struct certificate *certificate, size_t visit, struct chart_band *bands,
                                     char texts[][CERTIFICATE_NAME_BYTES]) {
    const struct plan *plan = certificate->assessed->plan;
    size_t count = 0;

    for (size_t i = 0; i < plan->operation_count && count < CERTIFICATE_MOST_HOLDS; i++) {
        const struct plan_operation *hold = &plan->operations[i];

        if (hold->visit != visit || hold->kind != OPERATION_HOLD)
            continue;
        certificate_band_text(certificate, hold, texts[count]);
        bands[count] = (struct chart_band){hold->temperature_mc - hold->below_mc,
                                           hold->temperature_mc + hold->above_mc, texts[count]};
        count++;
    }
    return count;
}

static void certificate_marks(const struct certificate *certificate, const struct assess_run *run,
                              struct chart_mark *marks) {
    const size_t first = certificate_first_number(certificate, run);

    for (size_t i = 0; i < run->finding_count; i++)
        marks[i] = (struct chart_mark){run->findings[i].t_ms, first + i};
}

/* A soak that is short within its run: what was kept of it is too coarse, and reading it again takes little. */
static struct chart *certificate_read_close_up(struct certificate *certificate, const struct assess_run *run,
                                               struct fault *fault) {
    struct chart_curve picked[CERTIFICATE_MOST_CURVES];
    size_t charge = 0;
    const size_t count = certificate_pick_curves(run, picked, &charge);
    int64_t from_ms, to_ms;

    certificate_close_up_span(run, &from_ms, &to_ms);
    return certificate_read_chart(certificate, run, picked, count, from_ms, to_ms, fault);
}

static int certificate_draw_close_up(struct certificate *certificate, const struct assess_run *run,
                                     const struct chart_dressing *dressing, const char *what, struct fault *fault) {
    struct certificate_curve *curve = certificate_find_curve(certificate, run->run.run_id);
    struct chart_dressing close = *dressing;
    char caption[CERTIFICATE_NAME_BYTES];

    if (curve->close_up == NULL)
        curve->close_up = certificate_read_close_up(certificate, run, fault);
    if (curve->close_up == NULL)
        return -1;
    close.zoom = true;
    snprintf(caption, sizeof caption, "The %s, enlarged", what);
    certificate_draw_chart(certificate, caption, curve->close_up, CLOSE_UP_HEIGHT, &close);
    return 0;
}

/* What lasts at temperature in a visit, for captions and dimension lines. */
struct certificate_wording {
    const char *what, *begun, *ended;
};
static struct certificate_wording certificate_word_soak(enum operation_kind kind) {
    switch (kind) {
    case OPERATION_COLD: return (struct certificate_wording){"cold hold", "cold from", "to"};
    case OPERATION_TEMPER: return (struct certificate_wording){"temper", "temper begins", "temper ends"};
    default: return (struct certificate_wording){"soak", "soak begins", "soak ends"};
    }
}

static struct chart_band certificate_soak_band(const struct plan_operation *soak) {
    const bool cold = soak->kind == OPERATION_COLD;

    return (struct chart_band){soak->temperature_mc - (cold ? COLD_BAND_MC : soak->below_mc),
                               soak->temperature_mc + (cold ? 0 : soak->above_mc), ""};
}

void certificate_fill_panel(const struct certificate *certificate, size_t visit, struct chart_panel *panel,
                            struct chart_band *bands) {
    const struct plan_operation *soak = plan_visit_soak(certificate->assessed->plan, visit);
    const struct assess_run *run = assess_deciding_run(&certificate->assessed->visits[visit]);
    const struct certificate_curve *curve =
        run != NULL ? certificate_find_curve(certificate, run->run.run_id) : NULL;
    char texts[CERTIFICATE_MOST_HOLDS][CERTIFICATE_NAME_BYTES];

    bands[0] = certificate_soak_band(soak);
    if (soak->kind == OPERATION_COLD)
        bands[0].low_mc = INT64_MIN;
    *panel = (struct chart_panel){.bands = bands,
                                  .band_count = 1 + certificate_hold_bands(certificate, visit, bands + 1, texts)};
    if (curve == NULL)
        return;
    panel->chart = curve->whole;
    panel->charge_count = curve->charge_count;
    panel->soak_begun_ms = run->soak.longest_begun_ms;
    panel->soak_ended_ms = run->soak.longest_ended_ms;
}

/* An earlier attempt is drawn smaller, under a caption that says why it does not count. */
static void certificate_caption_run(struct certificate *certificate, size_t visit, const struct assess_run *run,
                                    char *caption) {
    const struct assess_visit *of = &certificate->assessed->visits[visit];
    char time[QUANTITY_TEXT_BYTES];

    if (run == assess_deciding_run(of))
        snprintf(caption, CERTIFICATE_LINE_BYTES, "The whole run. Numbers refer to the findings below.");
    else
        snprintf(caption, CERTIFICATE_LINE_BYTES, "Attempt %zu of %zu, does not count: run %lld, begun %s, %s",
                 (size_t)(run - of->runs) + 1, of->run_count, (long long)run->run.run_id,
                 certificate_time(certificate, run->run.begun_ms, time),
                 run->reached ? judge_outcome_name(judge_worst(run->verdicts, run->verdict_count))
                              : "never in the band");
}

static int certificate_draw_dressed(struct certificate *certificate, size_t visit, const struct assess_run *run,
                                    const struct chart_mark *marks, struct fault *fault) {
    const struct plan_operation *soak = plan_visit_soak(certificate->assessed->plan, visit);
    const struct certificate_wording wording = certificate_word_soak(soak->kind);
    const struct chart_band soak_band = certificate_soak_band(soak);
    const bool decides = run == assess_deciding_run(&certificate->assessed->visits[visit]);
    char band[CERTIFICATE_NAME_BYTES], text[QUANTITY_TEXT_BYTES], caption[CERTIFICATE_LINE_BYTES];
    char hold_texts[CERTIFICATE_MOST_HOLDS][CERTIFICATE_NAME_BYTES];
    struct chart_band holds[CERTIFICATE_MOST_HOLDS];
    struct chart *chart = certificate_find_curve(certificate, run->run.run_id)->whole;
    struct chart_dressing dressing = {.unit = certificate->config->unit,
                                      .utc_offset_min = certificate->config->utc_offset_min,
                                      .origin_ms = run->run.begun_ms,
                                      .band_low_mc = soak_band.low_mc,
                                      .band_high_mc = soak_band.high_mc,
                                      .band_open_below = soak->kind == OPERATION_COLD,
                                      .band_text = band,
                                      .bands = holds,
                                      .soak_begun_ms = run->soak.longest_begun_ms,
                                      .soak_ended_ms = run->soak.longest_ended_ms,
                                      .soak_text = text,
                                      .begun_word = wording.begun,
                                      .ended_word = wording.ended,
                                      .marks = marks,
                                      .mark_count = run->finding_count};

    dressing.band_count = certificate_hold_bands(certificate, visit, holds, hold_texts);
    certificate_band_text(certificate, soak, band);
    quantity_format_duration(run->soak.longest_ended_ms - run->soak.longest_begun_ms, text);
    certificate_caption_run(certificate, visit, run, caption);
    certificate_draw_chart(certificate, caption, chart, decides ? CHART_HEIGHT : ATTEMPT_HEIGHT, &dressing);
    return decides && run->soak.longest_begun_ms != 0
               ? certificate_draw_close_up(certificate, run, &dressing, wording.what, fault)
               : 0;
}

int certificate_draw_run(struct certificate *certificate, size_t visit, const struct assess_run *run,
                         struct fault *fault) {
    struct chart_mark *marks = calloc(run->finding_count + 1, sizeof *marks);
    int result;

    if (marks == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu findings", run->finding_count);
    certificate_marks(certificate, run, marks);
    result = certificate_draw_dressed(certificate, visit, run, marks, fault);
    free(marks);
    return result;
}
