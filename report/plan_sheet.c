// SPDX-License-Identifier: MIT
/* The planned cycle on paper: the course of the temperature, and beneath it what each operation requires. The
 * numbers under the drawing are those of the table. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plan_parts.h"
#include "soakledger/channel.h"
#include "soakledger/ink.h"
#include "soakledger/ledger.h"
#include "soakledger/page.h"
#include "soakledger/quantity.h"
#include "soakledger/sheet.h"
#include "soakledger/words.h"

enum { LINE_BYTES = 1024, CELL_BYTES = PLAN_WORDS_MOST * PLAN_WORDS_BYTES, CURVE_POINTS = 24, CELSIUS_MC = 1000 };
enum { AIR_SHARE = 16 }; // under a level below the room, as a part of the axis

static const float TITLE_SIZE = 18, SUBTITLE_SIZE = 11, LEADING = 12.5F, DRAWING_HEIGHT = 218, PANEL_HEIGHT = 140;
static const float GUTTER_LEFT = 26, LANE = 15, HEADROOM = 22, BELOW = 48, LABEL_SIZE = 6.5F, LABEL_LEADING = 8.5F;
static const float LABEL_APART = 7, CHANGE_WIDTH = 18, CHANGE_NARROW = 12, WAIT_WIDTH = 12, LEVEL_LEAST = 34,
                   TICK = 3, DISC = 5;
static const float TICKS_APART = 15, BAND_LEAST = 3.5F; // a band of a few degrees is drawn at least so high
static const float NAME_MOST = 70, AFTER = 6, STRETCH_MOST = 2.5F;

struct paper {
    const struct plan *plan;
    enum temperature_unit unit;
    struct page_document *page;
    struct sheet sheet;
    struct plan_leg legs[PLAN_LEGS_MOST];
    struct plan_labels labels[PLAN_LEGS_MOST];
    float widths[PLAN_LEGS_MOST];
    size_t count;
    struct page_frame area; // of the panel's plot
    int64_t low_mc, high_mc;
};

static struct page_type label_type(enum page_face face, struct page_colour colour) {
    return (struct page_type){face, LABEL_SIZE, colour};
}

/* A temper that is repeated is drawn each time, and described once. */
static bool is_repetition(const struct plan *plan, size_t operation) {
    for (size_t i = 0; i < operation; i++)
        if (plan->operations[i].line == plan->operations[operation].line)
            return true;
    return false;
}

/* ---- widths ---- */

static float measure(struct paper *paper, enum page_face face, const char *text) {
    const struct page_type type = label_type(face, INK_TEXT);

    return page_measure(paper->page, &type, text);
}

/* `narrow`: names do not count, and are cut where they are too long. */
static float leg_width(struct paper *paper, size_t i, bool narrow) {
    const struct plan_leg *leg = &paper->legs[i];
    const struct plan_labels *labels = &paper->labels[i];
    float width = fmaxf(measure(paper, PAGE_BOLD, labels->kind), measure(paper, PAGE_REGULAR, labels->time));

    if (leg->kind == PLAN_LEG_CHANGE)
        return narrow ? CHANGE_NARROW : CHANGE_WIDTH;
    if (leg->kind == PLAN_LEG_WAIT)
        return fmaxf(width + LABEL_APART, WAIT_WIDTH);
    if (!narrow)
        width = fmaxf(width, fminf(measure(paper, PAGE_REGULAR, labels->name), NAME_MOST));
    if (leg->kind == PLAN_LEG_LEVEL)
        width = fmaxf(fmaxf(width, measure(paper, PAGE_REGULAR, labels->band)), LEVEL_LEAST);
    return width + LABEL_APART;
}

static float measure_legs(struct paper *paper, bool narrow) {
    float total = 0;

    for (size_t i = 0; i < paper->count; i++)
        total += paper->widths[i] = leg_width(paper, i, narrow);
    return total;
}

/* Makes the legs of a panel as wide as the plot: levels take what is left, up to a measure; all give what is too
 * much. Returns how wide they are then. */
static float fit(struct paper *paper, size_t begin, size_t end, float width) {
    float total = 0, levels = 0, fitted = 0;

    for (size_t i = begin; i < end; i++) {
        total += paper->widths[i];
        levels += paper->legs[i].kind == PLAN_LEG_LEVEL ? paper->widths[i] : 0;
    }
    for (size_t i = begin; i < end; i++) {
        if (total > width)
            paper->widths[i] *= width / total;
        else if (levels > 0 && paper->legs[i].kind == PLAN_LEG_LEVEL)
            paper->widths[i] *= fminf(1 + (width - total) / levels, STRETCH_MOST);
        fitted += paper->widths[i];
    }
    return fitted;
}

/* ---- the drawing ---- */

static float y_of(const struct paper *paper, int64_t mc) {
    const float share = (float)(mc - paper->low_mc) / (float)(paper->high_mc - paper->low_mc);

    return paper->area.bottom - share * (paper->area.bottom - paper->area.top - HEADROOM);
}

static void draw_axes(struct paper *paper) {
    static const int64_t steps[] = {10, 20, 50, 100, 200, 250, 500, 1000};
    const struct page_pen grid = {INK_GRID, 0.5F, {0}}, axis = {INK_TEXT, 0.7F, {0}};
    const struct page_type type = label_type(PAGE_REGULAR, INK_TEXT), strong = label_type(PAGE_BOLD, INK_TEXT);
    const struct page_frame *area = &paper->area;
    const int64_t low = plan_shown(paper->low_mc, paper->unit), high = plan_shown(paper->high_mc, paper->unit);
    const float per_degree =
        (y_of(paper, plan_mc_of_shown(0, paper->unit)) - y_of(paper, plan_mc_of_shown(1, paper->unit)));
    size_t i = 0;

    while (i + 1 < sizeof steps / sizeof steps[0] && (float)steps[i] * per_degree < TICKS_APART)
        i++;
    for (int64_t degrees = low / steps[i] * steps[i]; degrees <= high; degrees += steps[i]) {
        const float y = y_of(paper, plan_mc_of_shown(degrees, paper->unit));
        char text[QUANTITY_TEXT_BYTES];

        if (degrees < low)
            continue;
        snprintf(text, sizeof text, "%lld", (long long)degrees);
        page_line(paper->page, &grid, area->left, y, area->right, y);
        page_text(paper->page, area->left - TICK - 1, y + LABEL_SIZE / 3, PAGE_RIGHT, &type, text);
    }
    page_text(paper->page, area->left - TICK - 1, area->top + LABEL_SIZE, PAGE_RIGHT, &strong,
              paper->unit == UNIT_CELSIUS ? "°C" : "°F");
    page_line(paper->page, &axis, area->left, area->top, area->left, area->bottom);
    page_line(paper->page, &axis, area->left, area->bottom, area->right, area->bottom);
}

static void draw_level(struct paper *paper, const struct plan_leg *leg, const struct plan_labels *labels,
                       float left, float right) {
    const struct plan_operation *operation = leg->operation;
    const struct page_pen curve = {{0.00F, 0.24F, 0.47F}, 1.4F, {0}}, edge = {INK_BAND_EDGE, 0.5F, {2, 1}};
    const struct page_type strong = label_type(PAGE_BOLD, INK_TEXT), band = label_type(PAGE_REGULAR, INK_BAND_EDGE);
    const bool cold = operation->kind == OPERATION_COLD;
    const float y = y_of(paper, leg->to_mc), middle = (left + right) / 2;
    const float up = fmaxf(y - y_of(paper, leg->to_mc + operation->above_mc), BAND_LEAST);
    const float down = fmaxf(y_of(paper, leg->to_mc - operation->below_mc) - y, BAND_LEAST);
    const struct page_frame frame = {left, cold ? y : y - up, right, y + down};

    page_fill_frame(paper->page, INK_BAND, frame);
    page_line(paper->page, &edge, left, frame.top, right, frame.top);
    page_line(paper->page, &edge, left, frame.bottom, right, frame.bottom);
    page_line(paper->page, &curve, left, y, right, y);
    page_text(paper->page, middle, frame.top - 2.5F - (cold ? 0 : LABEL_LEADING), PAGE_CENTRE, &strong,
              labels->level);
    if (!cold)
        page_text(paper->page, middle, frame.top - 2.5F, PAGE_CENTRE, &band, labels->band);
}

/* Dashed: the plan does not say how long it takes. Falls run out as heat leaves. */
static void draw_change(struct paper *paper, const struct plan_leg *leg, float left, float right) {
    const struct page_pen pen = {{0.00F, 0.24F, 0.47F}, 0.9F, {3, 2}};
    const float steep = leg->kind == PLAN_LEG_QUENCH ? 7 : 3.5F; // time constants that the leg is long
    const float from = y_of(paper, leg->from_mc), to = y_of(paper, leg->to_mc);
    struct page_point points[CURVE_POINTS];

    for (int i = 0; i < CURVE_POINTS; i++) {
        const float at = (float)i / (CURVE_POINTS - 1);
        const float share = to > from ? (1 - expf(-steep * at)) / (1 - expf(-steep)) : at;

        points[i] = (struct page_point){left + at * (right - left), from + share * (to - from)};
    }
    page_polyline(paper->page, &pen, points, CURVE_POINTS);
}

/* The operation's number in a disc, its kind, its name and its time, under the axis. */
static void draw_labels(struct paper *paper, const struct plan_leg *leg, const struct plan_labels *labels,
                        float left, float right) {
    const struct page_type strong = label_type(PAGE_BOLD, INK_TEXT), plain = label_type(PAGE_REGULAR, INK_TEXT);
    const struct page_type number = {PAGE_BOLD, 6, INK_PAPER}, quiet = label_type(PAGE_REGULAR, INK_QUIET);
    const float middle = (left + right) / 2;
    const float y = paper->area.bottom + DISC * 2 + LABEL_LEADING;
    size_t next = 0;

    page_text(paper->page, middle, y + 2 * LABEL_LEADING, PAGE_CENTRE, &plain, labels->time);
    if (leg->kind == PLAN_LEG_WAIT)
        page_text(paper->page, middle, y + LABEL_LEADING, PAGE_CENTRE, &quiet, labels->kind);
    if (leg->kind == PLAN_LEG_WAIT || leg->operation == NULL)
        return;
    for (size_t i = 0; i < (leg->heats > 1 ? leg->heats : 1); i++) {
        const float x = middle + ((float)i - (float)(leg->heats > 1 ? leg->heats - 1 : 0) / 2) * DISC * 2;
        char text[QUANTITY_TEXT_BYTES];

        snprintf(text, sizeof text, "%zu", (size_t)(leg->operation - paper->plan->operations) + i + 1);
        page_fill_circle(paper->page, INK_TEXT, x, paper->area.bottom + DISC + 2, DISC);
        page_text(paper->page, x, paper->area.bottom + DISC + 2 + 2.2F, PAGE_CENTRE, &number, text);
    }
    page_text(paper->page, middle, y, PAGE_CENTRE, &strong, labels->kind);
    page_text_part(paper->page, middle, y + LABEL_LEADING, PAGE_CENTRE, &quiet, labels->name,
                   page_fit(paper->page, &quiet, labels->name, right - left, &next));
}

/* A line across the legs of a visit, with its number and place. */
static void draw_visit(struct paper *paper, size_t visit, float left, float right) {
    const struct page_pen line = {INK_QUIET, 0.5F, {0}}, edge = {INK_RULE, 0.5F, {1, 2}};
    const struct page_type type = label_type(PAGE_REGULAR, INK_QUIET);
    const char *oven = plan_visit_soak(paper->plan, visit)->oven;
    const float y = paper->area.top - LANE + LABEL_SIZE;
    char place[PLAN_LABEL_BYTES], text[2 * PLAN_LABEL_BYTES];

    words_clean(oven, strlen(oven), 0, place, sizeof place);
    snprintf(text, sizeof text, "visit %zu: %s", visit + 1, place[0] != '\0' ? place : "the batch's oven");
    if (measure(paper, PAGE_REGULAR, text) > right - left)
        snprintf(text, sizeof text, "visit %zu", visit + 1);
    page_text(paper->page, (left + right) / 2, y, PAGE_CENTRE, &type, text);
    page_line(paper->page, &line, left, y + 3, right, y + 3);
    page_line(paper->page, &edge, left, y + 3, left, paper->area.bottom);
    page_line(paper->page, &edge, right, y + 3, right, paper->area.bottom);
}

static void draw_leg(struct paper *paper, size_t i, float left) {
    const struct page_pen room = {INK_QUIET, 0.7F, {1, 2}};
    const struct plan_leg *leg = &paper->legs[i];
    const float right = left + paper->widths[i];

    if (leg->kind == PLAN_LEG_LEVEL)
        draw_level(paper, leg, &paper->labels[i], left, right);
    else if (leg->kind == PLAN_LEG_WAIT)
        page_line(paper->page, &room, left, y_of(paper, PLAN_ROOM_MC), right, y_of(paper, PLAN_ROOM_MC));
    else
        draw_change(paper, leg, left, right);
    draw_labels(paper, leg, &paper->labels[i], left, right);
}

static void draw_panel(struct paper *paper, size_t begin, size_t end, float height) {
    const struct page_frame frame = sheet_take(&paper->sheet, height);
    float x, from;

    paper->area =
        (struct page_frame){frame.left + GUTTER_LEFT, frame.top + LANE, frame.right, frame.bottom - BELOW};
    paper->area.right = paper->area.left + fit(paper, begin, end, paper->area.right - paper->area.left);
    plan_course_range(paper->legs + begin, end - begin, &paper->low_mc, &paper->high_mc);
    if (paper->high_mc - paper->low_mc < CELSIUS_MC)
        paper->high_mc = paper->low_mc + CELSIUS_MC;
    if (paper->low_mc < PLAN_ROOM_MC)
        paper->low_mc -= (paper->high_mc - paper->low_mc) / AIR_SHARE;
    else
        paper->low_mc = 0;
    draw_axes(paper);
    x = from = paper->area.left;
    for (size_t i = begin; i < end; i++) {
        const bool last = i + 1 == end || paper->legs[i + 1].kind == PLAN_LEG_WAIT;

        draw_leg(paper, i, x);
        x += paper->widths[i];
        if (paper->legs[i].kind == PLAN_LEG_WAIT)
            from = x;
        else if (last)
            draw_visit(paper, paper->legs[i].visit, from, x);
    }
}

static void draw_course(struct paper *paper) {
    const float width = paper->sheet.frame.right - paper->sheet.frame.left - GUTTER_LEFT;
    size_t ends[PLAN_LEGS_MOST], begin = 0, panels;

    paper->count = plan_course(paper->plan, paper->legs);
    for (size_t i = 0; i < paper->count; i++)
        plan_labels(paper->plan, &paper->legs[i], paper->unit, &plan_glyphs_full, &paper->labels[i]);
    if (measure_legs(paper, false) > width)
        measure_legs(paper, true);
    panels = plan_panels(paper->legs, paper->widths, paper->count, width, ends);
    for (size_t i = 0; i < panels; i++) {
        draw_panel(paper, begin, ends[i], panels == 1 ? DRAWING_HEIGHT : PANEL_HEIGHT);
        begin = ends[i];
    }
    sheet_small(&paper->sheet, plan_words_scale);
    sheet_small(&paper->sheet, "Temperature is to scale, but narrow bands are drawn higher than they are.");
    sheet_skip(&paper->sheet, AFTER);
}

/* ---- words ---- */

static void write_head(struct paper *paper) {
    const struct page_type title = {PAGE_REGULAR, TITLE_SIZE, INK_TEXT},
                           strong = {PAGE_BOLD, SUBTITLE_SIZE, INK_TEXT};
    const struct plan *plan = paper->plan;
    const struct sheet_fact facts[] = {{"Steel", plan->steel}, {"Source", plan->source}};
    struct sheet *sheet = &paper->sheet;

    sheet->y += TITLE_SIZE - 4;
    page_text(paper->page, sheet->frame.left, sheet->y, PAGE_LEFT, &title, "Planned cycle");
    sheet->y += LEADING / 2;
    sheet_paragraph(sheet, &strong, SUBTITLE_SIZE + 5, plan->title);
    sheet_skip(sheet, AFTER);
    sheet_facts(sheet, facts, sizeof facts / sizeof facts[0]);
    sheet_skip(sheet, AFTER);
}

/* "6" or "6, 7": the operations that a row is about. */
static void row_numbers(const struct plan *plan, size_t operation, char *out, size_t size) {
    size_t used = (size_t)snprintf(out, size, "%zu", operation + 1);

    for (size_t i = operation + 1; i < plan->operation_count; i++)
        if (plan->operations[i].line == plan->operations[operation].line && used < size)
            used += (size_t)snprintf(out + used, size - used, ", %zu", i + 1);
}

static void row_visits(const struct plan *plan, size_t operation, char *out, size_t size) {
    const struct plan_operation *of = &plan->operations[operation];
    size_t last = operation;

    for (size_t i = operation; i < plan->operation_count; i++)
        if (plan->operations[i].line == of->line)
            last = i;
    if (last == operation)
        snprintf(out, size, "%zu", of->visit + 1);
    else
        snprintf(out, size, "%zu–%zu", of->visit + 1, plan->operations[last].visit + 1);
}

/* The last of repeated operations speaks for all: the first may lack what only holds after another. */
static const struct plan_operation *row_operation(const struct plan *plan, size_t operation, size_t *times) {
    const struct plan_operation *last = &plan->operations[operation];

    *times = 0;
    for (size_t i = operation; i < plan->operation_count; i++)
        if (plan->operations[i].line == plan->operations[operation].line) {
            last = &plan->operations[i];
            ++*times;
        }
    return last;
}

/* "temper low, 2 times": what the section is called, without the "1" or "first" that repetition gave it. */
static void row_name(const struct plan *plan, size_t operation, size_t times, char *out, size_t size) {
    const struct plan_operation *of = &plan->operations[operation];
    const size_t length = strlen(of->name), suffix = strlen(" 1");
    const bool named = length > suffix && strcmp(of->name + length - suffix, " 1") == 0;
    char name[CHANNEL_NAME_BYTES];

    if (times == 1) {
        plan_words_name(of, out);
        return;
    }
    words_clean(of->name, named ? length - suffix : 0, 0, name, sizeof name);
    snprintf(out, size, "%s%s%s, %zu times", plan_kind_name(of->kind), named ? " " : "", name, times);
}

static void write_row(struct paper *paper, struct sheet_table *table, size_t index) {
    char words[PLAN_WORDS_MOST][PLAN_WORDS_BYTES], all[CELL_BYTES] = "", name[PLAN_NAME_BYTES];
    char numbers[QUANTITY_TEXT_BYTES], visits[QUANTITY_TEXT_BYTES], oven[PLAN_NAME_BYTES];
    size_t times, used = 0;
    const struct plan_operation *operation = row_operation(paper->plan, index, &times);
    const size_t count = plan_words(paper->plan, operation, paper->unit, words);

    for (size_t i = 0; i < count && used < sizeof all; i++)
        used += (size_t)snprintf(all + used, sizeof all - used, "%s%s", i > 0 ? "\n" : "", words[i]);
    row_numbers(paper->plan, index, numbers, sizeof numbers);
    row_visits(paper->plan, index, visits, sizeof visits);
    row_name(paper->plan, index, times, name, sizeof name);
    words_clean(operation->oven, strlen(operation->oven), 0, oven, sizeof oven);
    sheet_table_row(table,
                    (const struct sheet_cell[]){{numbers, SHEET_NO_MARK, true},
                                                {name, SHEET_NO_MARK, true},
                                                {visits, SHEET_NO_MARK, false},
                                                {oven[0] != '\0' ? oven : "the batch's", SHEET_NO_MARK, false},
                                                {all, SHEET_NO_MARK, false}});
}

static void write_table(struct paper *paper) {
    static const struct sheet_column columns[] = {{"No.", 0.06F, PAGE_LEFT},
                                                  {"operation", 0.17F, PAGE_LEFT},
                                                  {"visit", 0.07F, PAGE_LEFT},
                                                  {"place", 0.11F, PAGE_LEFT},
                                                  {"what is required", 0.59F, PAGE_LEFT}};
    struct sheet_table table;

    sheet_table_begin(&table, &paper->sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < paper->plan->operation_count; i++)
        if (!is_repetition(paper->plan, i))
            write_row(paper, &table, i);
    sheet_table_end(&table);
}

static void write_rest(struct paper *paper) {
    const struct page_type strong = {PAGE_BOLD, 8.5F, INK_TEXT};
    char words[PLAN_WORDS_MOST][PLAN_WORDS_BYTES], all[CELL_BYTES] = "";
    const size_t count = plan_words_whole(paper->plan, paper->unit, words);
    size_t used = 0;

    for (size_t i = 0; i < count && used < sizeof all; i++)
        used += (size_t)snprintf(all + used, sizeof all - used, "%s%s", i > 0 ? " " : "", words[i]);
    sheet_plain(&paper->sheet, all);
    sheet_paragraph(&paper->sheet, &strong, LEADING, plan_words_caution);
}

int plan_sheet_make(const struct plan *plan, const char *paper_size, enum temperature_unit unit, int64_t made_ms,
                    unsigned char **bytes, size_t *length, struct fault *fault) {
    char sha256[LEDGER_SHA256_TEXT_BYTES], footer[LINE_BYTES];
    struct page_about about = {.title = plan->title,
                               .author = "",
                               .header_left = "Planned cycle",
                               .header_right = "a plan, not a record",
                               .notice = "",
                               .footer = footer,
                               .made_ms = made_ms};
    struct paper *paper = calloc(1, sizeof *paper);
    int result;

    if (paper == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    ledger_sha256(plan->text, plan->text_length, sha256);
    snprintf(footer, sizeof footer, "plan SHA-256 %s", sha256);
    paper->plan = plan;
    paper->unit = unit;
    paper->page = page_open(paper_size, &about, fault);
    if (paper->page == NULL) {
        free(paper);
        return -1;
    }
    sheet_begin(&paper->sheet, paper->page);
    write_head(paper);
    draw_course(paper);
    write_table(paper);
    write_rest(paper);
    result = page_finish_file(paper->page, bytes, length, fault);
    page_free(paper->page);
    free(paper);
    return result;
}
