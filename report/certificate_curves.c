// SPDX-License-Identifier: MIT
/* The curves: of every visit the whole run, its soak enlarged, and the attempts that do not count. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "certificate_parts.h"
#include "soakledger/ink.h"
#include "soakledger/replay.h"
#include "soakledger/tell.h"
#include "soakledger/words.h"

enum { MS_PER_MIN = 60000, AROUND_SOAK = 8, CLOSE_UP = 6 };
/* A cold hold has no lower edge: so much below the upper one is shown in any case. */
enum { COLD_BAND_MC = 10000 };

static const float CHART_HEIGHT = 262, CHART_LEAST_HEIGHT = 205, HEADING_HEIGHT = 43, CAPTIONS_HEIGHT = 34,
                   CAPTION_SIZE = 8.5F, CAPTION_LEADING = 15, CHART_AFTER = 10, ATTEMPT_HEIGHT = 150;

struct certificate_look {
    const char *caption;
    const struct chart_mark *marks;
    size_t mark_count;
    float height;
    bool close_up;
};

static bool certificate_is_load(const struct assess_run *run, int64_t channel_id) {
    for (size_t i = 0; i < run->load_count; i++)
        if (run->loads[i] == channel_id)
            return true;
    return false;
}

/* The channels worth drawing: what stands for the charge first, then control or a cold place's air, then setpoint.
 */
static size_t certificate_pick_curves(const struct assess_run *run, struct chart_curve *curves) {
    enum { PASSES = 3 };
    size_t count = 0;

    for (int pass = 0; pass < PASSES; pass++)
        for (size_t i = 0; i < run->channel_count && count < CERTIFICATE_MOST_CURVES; i++) {
            const struct ledger_channel *channel = &run->channels[i];
            const bool load = certificate_is_load(run, channel->channel_id) || channel->role == ROLE_LOAD;
            const bool place = channel->role == ROLE_CONTROL || channel->role == ROLE_COLD;
            const bool wanted = pass == 0   ? load
                                : pass == 1 ? !load && place
                                            : !load && channel->role == ROLE_SETPOINT;

            if (wanted)
                curves[count++] =
                    (struct chart_curve){channel->channel_id, channel->name, channel->role, channel->interval_ms};
        }
    return count;
}

static int certificate_begin_curve(void *context, size_t visit, const struct assess_run *run, struct fault *fault) {
    struct certificate *certificate = context;
    struct chart_curve picked[CERTIFICATE_MOST_CURVES];
    const size_t count = certificate_pick_curves(run, picked);
    struct certificate_curve *curves =
        realloc(certificate->curves, (certificate->curve_count + 1) * sizeof *certificate->curves);

    (void)visit;
    if (curves == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for the curve of run %lld",
                         (long long)run->run.run_id);
    certificate->curves = curves;
    curves[certificate->curve_count] = (struct certificate_curve){
        .run_id = run->run.run_id, .fine = chart_open_fine(run->run.begun_ms, run->until_ms, picked, count, fault)};
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
        replay_correct(run->channels, run->channel_count, &reading);
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

void certificate_caption(struct certificate *certificate, const char *text, float height) {
    const struct page_type type = {PAGE_BOLD, CAPTION_SIZE, INK_TEXT};

    sheet_need(&certificate->sheet, CAPTION_LEADING + 2 + height);
    sheet_paragraph(&certificate->sheet, &type, CAPTION_LEADING, text);
    certificate->sheet.y += 2;
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

static size_t certificate_marks(const struct certificate *certificate, const struct assess_run *run,
                                struct chart_mark *marks) {
    const size_t first = certificate_first_number(certificate, run);

    for (size_t i = 0; i < run->finding_count; i++)
        marks[i] = (struct chart_mark){run->findings[i].t_ms, first + i};
    return run->finding_count;
}

/* A soak that is short within its run: what was kept of it is too coarse, and reading it again takes little. */
static struct chart *certificate_read_close_up(struct certificate *certificate, const struct assess_run *run,
                                               struct fault *fault) {
    struct chart_curve picked[CERTIFICATE_MOST_CURVES];
    const size_t count = certificate_pick_curves(run, picked);
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
    certificate_caption(certificate, caption, CHART_HEIGHT);
    chart_draw(curve->close_up, certificate->page, sheet_take(&certificate->sheet, CHART_HEIGHT), &close);
    sheet_skip(&certificate->sheet, CHART_AFTER);
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

static int certificate_draw_run(struct certificate *certificate, size_t visit, const struct assess_run *run,
                                const struct certificate_look *look, struct fault *fault) {
    const struct plan_operation *soak = plan_visit_soak(certificate->assessed->plan, visit);
    const struct certificate_wording wording = certificate_word_soak(soak->kind);
    const bool cold = soak->kind == OPERATION_COLD, soaked = run->soak.longest_begun_ms != 0;
    char band[CERTIFICATE_NAME_BYTES], text[QUANTITY_TEXT_BYTES];
    char hold_texts[CERTIFICATE_MOST_HOLDS][CERTIFICATE_NAME_BYTES];
    struct chart_band holds[CERTIFICATE_MOST_HOLDS];
    struct chart *chart = certificate_find_curve(certificate, run->run.run_id)->whole;
    struct chart_dressing dressing = {.unit = certificate->config->unit,
                                      .utc_offset_min = certificate->config->utc_offset_min,
                                      .origin_ms = run->run.begun_ms,
                                      .band_low_mc = soak->temperature_mc - (cold ? COLD_BAND_MC : soak->below_mc),
                                      .band_high_mc = soak->temperature_mc + (cold ? 0 : soak->above_mc),
                                      .band_open_below = cold,
                                      .band_text = band,
                                      .bands = holds,
                                      .soak_begun_ms = run->soak.longest_begun_ms,
                                      .soak_ended_ms = run->soak.longest_ended_ms,
                                      .soak_text = text,
                                      .begun_word = wording.begun,
                                      .ended_word = wording.ended,
                                      .marks = look->marks,
                                      .mark_count = look->mark_count};

    dressing.band_count = certificate_hold_bands(certificate, visit, holds, hold_texts);
    certificate_band_text(certificate, soak, band);
    quantity_format_duration(run->soak.longest_ended_ms - run->soak.longest_begun_ms, text);
    certificate_caption(certificate, look->caption, look->height);
    chart_draw(chart, certificate->page, sheet_take(&certificate->sheet, look->height), &dressing);
    sheet_skip(&certificate->sheet, CHART_AFTER);
    return soaked && look->close_up ? certificate_draw_close_up(certificate, run, &dressing, wording.what, fault)
                                    : 0;
}

/* An earlier attempt at the same visit, smaller: what was tried, and why it does not count. */
static int certificate_draw_attempt(struct certificate *certificate, size_t visit, size_t attempt,
                                    struct fault *fault) {
    const struct assess_visit *of = &certificate->assessed->visits[visit];
    const struct assess_run *run = &of->runs[attempt];
    struct chart_mark *marks = calloc(run->finding_count + 1, sizeof *marks);
    char caption[CERTIFICATE_LINE_BYTES], time[QUANTITY_TEXT_BYTES];
    struct certificate_look look = {.caption = caption, .marks = marks, .height = ATTEMPT_HEIGHT};
    int result;

    if (marks == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu findings", run->finding_count);
    look.mark_count = certificate_marks(certificate, run, marks);
    snprintf(caption, sizeof caption, "Attempt %zu of %zu, does not count: run %lld, begun %s, %s", attempt + 1,
             of->run_count, (long long)run->run.run_id, certificate_time(certificate, run->run.begun_ms, time),
             run->reached ? judge_outcome_name(judge_worst(run->verdicts, run->verdict_count))
                          : "never in the band");
    result = certificate_draw_run(certificate, visit, run, &look, fault);
    free(marks);
    return result;
}

/* A curve may be a little lower if that lets it stay on the page that is begun. */
static float certificate_chart_height(const struct certificate *certificate) {
    const float room = certificate->sheet.frame.bottom - certificate->sheet.y - HEADING_HEIGHT - CAPTIONS_HEIGHT;

    return room >= CHART_LEAST_HEIGHT && room < CHART_HEIGHT ? room : CHART_HEIGHT;
}

static int certificate_draw_visit(struct certificate *certificate, size_t visit, struct fault *fault) {
    const struct assess_run *run = assess_deciding_run(&certificate->assessed->visits[visit]);
    char name[TELL_BYTES], heading[CERTIFICATE_LINE_BYTES], time[QUANTITY_TEXT_BYTES];
    char zone[QUANTITY_TEXT_BYTES];
    struct certificate_look look = {.caption = "The whole run", .close_up = true};
    struct chart_mark *marks;
    int result;

    tell_visit(certificate->assessed->plan, visit, name);
    if (run == NULL) {
        snprintf(heading, sizeof heading, "Curve: %s", name);
        sheet_heading(&certificate->sheet, heading, CAPTION_LEADING);
        sheet_plain(&certificate->sheet, "No oven run was recorded for this operation: there is nothing to draw.");
        return 0;
    }
    marks = calloc(run->finding_count + 1, sizeof *marks);
    if (marks == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu findings", run->finding_count);
    look.marks = marks;
    look.mark_count = certificate_marks(certificate, run, marks);
    look.height = certificate_chart_height(certificate);
    snprintf(heading, sizeof heading, "Curve: %s", name);
    sheet_heading(&certificate->sheet, heading, CAPTIONS_HEIGHT + look.height);
    snprintf(heading, sizeof heading, "Run %lld in oven %s, begun %s %s. Numbers refer to the list of findings.",
             (long long)run->run.run_id, run->oven, certificate_time(certificate, run->run.begun_ms, time),
             words_offset(certificate->config->utc_offset_min, zone));
    sheet_small(&certificate->sheet, heading);
    sheet_skip(&certificate->sheet, 4);
    result = certificate_draw_run(certificate, visit, run, &look, fault);
    free(marks);
    if (result == 0)
        result = certificate_draw_quench(certificate, visit, run, fault);
    for (size_t i = 0; result == 0 && i < certificate->assessed->visits[visit].run_count; i++)
        if (&certificate->assessed->visits[visit].runs[i] != run)
            result = certificate_draw_attempt(certificate, visit, i, fault);
    return result;
}

int certificate_draw_curves(struct certificate *certificate, struct fault *fault) {
    for (size_t i = 0; i < certificate->assessed->visit_count; i++)
        if (certificate_draw_visit(certificate, i, fault) != 0)
            return -1;
    return 0;
}
