// SPDX-License-Identifier: MIT
/* The curves: of every visit the whole run, and its soak enlarged. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "certificate_parts.h"
#include "soakledger/ink.h"
#include "soakledger/words.h"

enum { MS_PER_MIN = 60000, AROUND_SOAK = 8, CLOSE_UP = 6 };

static const float CHART_HEIGHT = 262, CHART_LEAST_HEIGHT = 205, HEADING_HEIGHT = 43, CAPTIONS_HEIGHT = 34,
                   CAPTION_SIZE = 8.5F, CAPTION_LEADING = 15, CHART_AFTER = 10;

static bool certificate_is_load(const struct assess_run *run, int64_t channel_id) {
    for (size_t i = 0; i < run->load_count; i++)
        if (run->loads[i] == channel_id)
            return true;
    return false;
}

/* The channels worth drawing: what stands for the charge first, then control, then setpoint. */
static size_t certificate_pick_curves(const struct assess_run *run, struct chart_curve *curves) {
    enum { PASSES = 3 };
    size_t count = 0;

    for (int pass = 0; pass < PASSES; pass++)
        for (size_t i = 0; i < run->channel_count && count < CERTIFICATE_MOST_CURVES; i++) {
            const struct ledger_channel *channel = &run->channels[i];
            const bool load = certificate_is_load(run, channel->channel_id) || channel->role == ROLE_LOAD;
            const bool wanted = pass == 0   ? load
                                : pass == 1 ? !load && channel->role == ROLE_CONTROL
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

    if (curves == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for the curve of run %lld",
                         (long long)run->run.run_id);
    certificate->curves = curves;
    curves[certificate->curve_count] = (struct certificate_curve){
        visit, run->run.run_id, chart_open(run->run.begun_ms, run->until_ms, picked, count, fault)};
    if (curves[certificate->curve_count].chart == NULL)
        return -1;
    certificate->curve_count++;
    return 0;
}

static int certificate_feed_curve(void *context, const struct reading *reading, struct fault *fault) {
    struct certificate *certificate = context;

    if (!chart_feed(certificate->curves[certificate->curve_count - 1].chart, reading))
        return fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
    return 0;
}

struct assess_watch certificate_watch(struct certificate *certificate) {
    return (struct assess_watch){certificate, certificate_begin_curve, certificate_feed_curve};
}

static struct chart *certificate_find_chart(const struct certificate *certificate, int64_t run_id) {
    for (size_t i = 0; i < certificate->curve_count; i++)
        if (certificate->curves[i].run_id == run_id)
            return certificate->curves[i].chart;
    return NULL;
}

/* Reads once more, only what lies around the soak. */
static struct chart *certificate_enlarge(struct certificate *certificate, const struct assess_run *run,
                                         int64_t from_ms, int64_t to_ms, struct fault *fault) {
    struct chart_curve picked[CERTIFICATE_MOST_CURVES];
    int64_t ids[CERTIFICATE_MOST_CURVES];
    const size_t count = certificate_pick_curves(run, picked);
    struct chart *chart = chart_open(from_ms, to_ms, picked, count, fault);
    struct ledger_cursor *cursor = NULL;
    struct reading reading;
    int more = 1;

    for (size_t i = 0; i < count; i++)
        ids[i] = picked[i].channel_id;
    if (chart != NULL)
        cursor = ledger_open_cursor(certificate->ledger, ids, count, from_ms, to_ms, fault);
    if (cursor == NULL) {
        chart_free(chart);
        return NULL;
    }
    while (more == 1) {
        more = ledger_next_reading(cursor, &reading, fault);
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

static void certificate_caption(struct certificate *certificate, const char *text, float height) {
    const struct page_type type = {PAGE_BOLD, CAPTION_SIZE, INK_TEXT};

    sheet_need(&certificate->sheet, CAPTION_LEADING + 2 + height);
    sheet_paragraph(&certificate->sheet, &type, CAPTION_LEADING, text);
    certificate->sheet.y += 2;
}

static void certificate_band_text(const struct certificate *certificate, const struct plan_operation *soak,
                                  char *out) {
    const enum temperature_unit unit = certificate->config->unit;
    char low[QUANTITY_TEXT_BYTES], high[QUANTITY_TEXT_BYTES];

    snprintf(out, CERTIFICATE_NAME_BYTES, "planned band %s to %s",
             quantity_format_temperature(soak->temperature_mc - soak->below_mc, unit, 0, low),
             quantity_format_temperature(soak->temperature_mc + soak->above_mc, unit, 0, high));
}

static size_t certificate_marks(const struct certificate *certificate, const struct assess_run *run,
                                struct chart_mark *marks) {
    const size_t first = certificate_first_number(certificate, run);

    for (size_t i = 0; i < run->finding_count; i++)
        marks[i] = (struct chart_mark){run->findings[i].t_ms, first + i};
    return run->finding_count;
}

static int certificate_draw_close_up(struct certificate *certificate, const struct assess_run *run,
                                     const struct chart_dressing *dressing, struct fault *fault) {
    const int64_t begun = run->soak.first_begun_ms, ended = run->soak.last_ended_ms;
    const int64_t least = (int64_t)CLOSE_UP * MS_PER_MIN / AROUND_SOAK;
    const int64_t around = (ended - begun) / AROUND_SOAK > least ? (ended - begun) / AROUND_SOAK : least;
    const int64_t from = begun - around > run->run.begun_ms ? begun - around : run->run.begun_ms;
    const int64_t to = ended + around < run->until_ms ? ended + around : run->until_ms;
    struct chart_dressing close = *dressing;
    struct chart *chart = certificate_enlarge(certificate, run, from, to, fault);

    if (chart == NULL)
        return -1;
    close.zoom = true;
    certificate_caption(certificate, "The soak, enlarged", CHART_HEIGHT);
    chart_draw(chart, certificate->page, sheet_take(&certificate->sheet, CHART_HEIGHT), &close);
    sheet_skip(&certificate->sheet, CHART_AFTER);
    chart_free(chart);
    return 0;
}

static int certificate_draw_run(struct certificate *certificate, size_t visit, const struct assess_run *run,
                                const struct chart_mark *marks, size_t mark_count, float height,
                                struct fault *fault) {
    const struct plan_operation *soak = plan_visit_soak(certificate->assessed->plan, visit);
    char band[CERTIFICATE_NAME_BYTES], text[CERTIFICATE_NAME_BYTES], length[QUANTITY_TEXT_BYTES];
    struct chart *chart = certificate_find_chart(certificate, run->run.run_id);
    struct chart_dressing dressing = {.unit = certificate->config->unit,
                                      .utc_offset_min = certificate->config->utc_offset_min,
                                      .origin_ms = run->run.begun_ms,
                                      .band_low_mc = soak->temperature_mc - soak->below_mc,
                                      .band_high_mc = soak->temperature_mc + soak->above_mc,
                                      .band_text = band,
                                      .soak_begun_ms = run->soak.longest_begun_ms,
                                      .soak_ended_ms = run->soak.longest_ended_ms,
                                      .soak_text = text,
                                      .marks = marks,
                                      .mark_count = mark_count};

    if (!chart_close(chart))
        return fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
    certificate_band_text(certificate, soak, band);
    snprintf(text, sizeof text, "%s",
             quantity_format_duration(run->soak.longest_ended_ms - run->soak.longest_begun_ms, length));
    certificate_caption(certificate, "The whole run", height);
    chart_draw(chart, certificate->page, sheet_take(&certificate->sheet, height), &dressing);
    sheet_skip(&certificate->sheet, CHART_AFTER);
    return run->soak.longest_begun_ms != 0 ? certificate_draw_close_up(certificate, run, &dressing, fault) : 0;
}

/* A curve may be a little lower if that lets it stay on the page that is begun. */
static float certificate_chart_height(const struct certificate *certificate) {
    const float room = certificate->sheet.frame.bottom - certificate->sheet.y - HEADING_HEIGHT - CAPTIONS_HEIGHT;

    return room >= CHART_LEAST_HEIGHT && room < CHART_HEIGHT ? room : CHART_HEIGHT;
}

static int certificate_draw_visit(struct certificate *certificate, size_t visit, struct fault *fault) {
    const struct assess_run *run = assess_deciding_run(&certificate->assessed->visits[visit]);
    char name[CERTIFICATE_NAME_BYTES], heading[CERTIFICATE_LINE_BYTES], time[QUANTITY_TEXT_BYTES];
    char zone[QUANTITY_TEXT_BYTES];
    struct chart_mark *marks;
    size_t count;
    float height;
    int result;

    certificate_visit_name(certificate->assessed->plan, visit, name, sizeof name);
    if (run == NULL) {
        snprintf(heading, sizeof heading, "Curve: %s", name);
        sheet_heading(&certificate->sheet, heading, CAPTION_LEADING);
        sheet_plain(&certificate->sheet, "No oven run was recorded for this operation: there is nothing to draw.");
        return 0;
    }
    marks = calloc(run->finding_count + 1, sizeof *marks);
    if (marks == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu findings", run->finding_count);
    count = certificate_marks(certificate, run, marks);
    height = certificate_chart_height(certificate);
    snprintf(heading, sizeof heading, "Curve: %s", name);
    sheet_heading(&certificate->sheet, heading, CAPTIONS_HEIGHT + height);
    snprintf(heading, sizeof heading, "Run %lld in oven %s, begun %s %s. Numbers refer to the list of findings.",
             (long long)run->run.run_id, run->oven, certificate_time(certificate, run->run.begun_ms, time),
             words_offset(certificate->config->utc_offset_min, zone));
    sheet_small(&certificate->sheet, heading);
    sheet_skip(&certificate->sheet, 4);
    result = certificate_draw_run(certificate, visit, run, marks, count, height, fault);
    free(marks);
    return result;
}

int certificate_draw_curves(struct certificate *certificate, struct fault *fault) {
    for (size_t i = 0; i < certificate->assessed->visit_count; i++)
        if (certificate_draw_visit(certificate, i, fault) != 0)
            return -1;
    return 0;
}
