// SPDX-License-Identifier: MIT
/* What was required, what was found: one line a requirement, and the whole cycle's curve above them. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "certificate_parts.h"
#include "soakledger/ink.h"
#include "soakledger/tell.h"
#include "soakledger/words.h"

static const float OVERVIEW_LEAST = 100, OVERVIEW_MOST = 250, OVERVIEW_BEFORE = 10, LABELS_HEIGHT = 45;
static const float NAME_SIZE = 7, NAME_LEADING = 8.5F, QUIET_SIZE = 6.5F, SIGN_SIZE = 7, WIDE_ENOUGH = 54;
static const float ROW_HEIGHT = 12.75F, NOTE_HEIGHT = 9, HEAD_HEIGHT = 22, REMARK_HEIGHT = 10.5F, TABLE_BEFORE = 10;
enum { NAME_LINES = 2 };

/* ---- the overview ---- */

/* How high the table below and its remarks will be: whatever they leave of the page is the curve's. */
static float certificate_table_height(const struct certificate *certificate) {
    const struct assess_batch *assessed = certificate->assessed;
    float height =
        TABLE_BEFORE + HEAD_HEIGHT + 3 * REMARK_HEIGHT + (assessed->hardness.asked ? ROW_HEIGHT + NOTE_HEIGHT : 0);
    char note[WORDS_SENTENCE_BYTES];

    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].verdict_count; k++) {
            height += ROW_HEIGHT;
            if (words_found_note(&assessed->visits[i].verdicts[k], certificate->config->unit, note)[0] != '\0')
                height += NOTE_HEIGHT;
        }
    return height;
}

float certificate_requirements_height(const struct certificate *certificate) {
    return OVERVIEW_BEFORE + OVERVIEW_LEAST + certificate_table_height(certificate);
}

static void certificate_label_panel(struct certificate *certificate, size_t visit, struct page_frame area) {
    const struct page_type strong = {PAGE_BOLD, NAME_SIZE, INK_TEXT}, quiet = {PAGE_REGULAR, QUIET_SIZE, INK_QUIET};
    const struct assess_visit *of = &certificate->assessed->visits[visit];
    const struct assess_run *run = assess_deciding_run(of);
    const struct page_type outcome = {PAGE_BOLD, NAME_SIZE, sheet_outcome_colour(of->outcome)};
    const float width = area.right - area.left;
    const bool wide = width >= WIDE_ENOUGH;
    char name[CERTIFICATE_NAME_BYTES], line[CERTIFICATE_LINE_BYTES], begun[QUANTITY_TEXT_BYTES];
    float y = area.bottom + 2 * NAME_LEADING - 3;

    snprintf(line, sizeof line, wide ? "%zu %s" : "%zu", visit + 1,
             certificate_visit_name(certificate->assessed->plan, visit, name, sizeof name));
    if (wide)
        y = sheet_text_block(&certificate->sheet, &strong, area.left, y, width, NAME_LEADING, NAME_LINES, line);
    else
        sheet_line(&certificate->sheet, &strong, area.left, y, PAGE_LEFT, width, line);
    y += wide ? 0.5F : NAME_LEADING;
    sheet_draw_sign(certificate->page, of->outcome, area.left + SIGN_SIZE / 2, y - SIGN_SIZE * 0.37F, SIGN_SIZE);
    if (!wide)
        return;
    page_text(certificate->page, area.left + SIGN_SIZE + 3, y, PAGE_LEFT, &outcome,
              judge_outcome_name(of->outcome));
    snprintf(line, sizeof line, "no run");
    if (run != NULL)
        snprintf(line, sizeof line, "%s, %s",
                 words_clock(run->run.begun_ms, certificate->config->utc_offset_min, 0, begun),
                 quantity_format_duration(run->until_ms - run->run.begun_ms, name));
    sheet_line(&certificate->sheet, &quiet, area.left, y + NAME_LEADING, PAGE_LEFT, width, line);
}

static void certificate_draw_panels(struct certificate *certificate, struct chart_panel *panels, float height) {
    const size_t count = certificate->assessed->visit_count;
    struct page_frame areas[CHART_MOST_PANELS] = {0};
    struct page_frame frame;

    sheet_skip(&certificate->sheet, OVERVIEW_BEFORE);
    frame = sheet_take(&certificate->sheet, height);
    frame.bottom -= LABELS_HEIGHT;
    chart_draw_overview(certificate->page, frame, certificate->config->unit, panels, count, areas);
    for (size_t i = 0; i < count; i++)
        certificate_label_panel(certificate, i, areas[i]);
}

void certificate_overview(struct certificate *certificate) {
    const struct assess_batch *assessed = certificate->assessed;
    const size_t count = assessed->visit_count;
    const float room = certificate->sheet.frame.bottom - certificate->sheet.y - OVERVIEW_BEFORE -
                       certificate_table_height(certificate);
    const float height = room < OVERVIEW_LEAST ? OVERVIEW_LEAST : room > OVERVIEW_MOST ? OVERVIEW_MOST : room;
    struct chart_panel panels[CHART_MOST_PANELS] = {0};
    struct chart_band bands[CHART_MOST_PANELS][CERTIFICATE_MOST_HOLDS + 1];

    if (count > CHART_MOST_PANELS)
        return;
    for (size_t i = 0; i < count; i++)
        certificate_fill_panel(certificate, i, &panels[i], bands[i]);
    certificate_draw_panels(certificate, panels, height);
}

/* ---- the table ---- */

static enum outcome certificate_operation_outcome(const struct assess_visit *visit, size_t operation) {
    enum outcome worst = OUTCOME_MET;

    for (size_t i = 0; i < visit->verdict_count; i++)
        if (visit->verdicts[i].operation == operation && visit->verdicts[i].outcome > worst)
            worst = visit->verdicts[i].outcome;
    return worst;
}

/* Of an operation the first row says the name, the second its outcome in a word; of a single one its own row does.
 */
static struct sheet_cell certificate_operation_cell(const struct assess_visit *visit, size_t index,
                                                    const char *name) {
    const size_t operation = visit->verdicts[index].operation;
    size_t place = 0;
    enum outcome outcome;

    while (place < index && visit->verdicts[index - place - 1].operation == operation)
        place++;
    if (place == 0)
        return (struct sheet_cell){name, SHEET_NO_MARK, true};
    if (place > 1)
        return (struct sheet_cell){"", SHEET_NO_MARK, false};
    outcome = certificate_operation_outcome(visit, operation);
    return (struct sheet_cell){judge_outcome_name(outcome), (int)outcome, true};
}

static void certificate_verdict_row(struct certificate *certificate, struct sheet_table *table,
                                    const struct assess_visit *visit, size_t index) {
    const struct verdict *verdict = &visit->verdicts[index];
    const struct plan_operation *operation = &certificate->assessed->plan->operations[verdict->operation];
    const enum temperature_unit unit = certificate->config->unit;
    char name[CERTIFICATE_NAME_BYTES], what[WORDS_LIMIT_BYTES], required[WORDS_LIMIT_BYTES],
        found[WORDS_LIMIT_BYTES];
    char margin[WORDS_LIMIT_BYTES], uncertainty[WORDS_LIMIT_BYTES], note[WORDS_SENTENCE_BYTES];

    certificate_operation_name(certificate->assessed->plan, verdict->operation, name, sizeof name);
    words_found_note(verdict, unit, note);
    const struct sheet_cell cells[] = {
        certificate_operation_cell(visit, index, name),
        {words_what(operation, verdict->requirement, unit, what), SHEET_NO_MARK, false},
        {words_bound(verdict->requirement), SHEET_NO_MARK, false},
        {words_required(verdict, unit, required), SHEET_NO_MARK, false},
        {words_found_value(verdict, unit, found), SHEET_NO_MARK, true},
        {words_margin_value(verdict, unit, margin), SHEET_NO_MARK, false},
        {words_uncertainty(verdict, unit, uncertainty), SHEET_NO_MARK, false},
        {judge_outcome_name(verdict->outcome), (int)verdict->outcome, true},
    };
    table->begins = index == 0 || verdict[-1].operation != verdict->operation;
    table->carried = table->begins ? NULL : name;
    table->note = note;
    sheet_table_row(table, cells);
    table->carried = NULL; // its text ends here
}

static bool certificate_has_uncertainty(const struct assess_batch *assessed) {
    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].verdict_count; k++)
            if (assessed->visits[i].verdicts[k].uncertainty != 0)
                return true;
    return false;
}

/* Two lines at most: the rule in full stands with the definitions. */
static void certificate_requirement_notes(struct certificate *certificate) {
    const struct plan *plan = certificate->assessed->plan;
    char note[CERTIFICATE_LINE_BYTES], lag[QUANTITY_TEXT_BYTES];

    snprintf(note, sizeof note, "%s%s",
             plan->decision == PLAN_DECISION_GUARDED
                 ? "Guarded decision (JCGM 106): met only if still inside the limit by the whole uncertainty."
                 : "Simple decision (JCGM 106): the value found is held against the limit as it is.",
             certificate_has_uncertainty(certificate->assessed)
                 ? " ±: expanded uncertainty (k = 2); of a time, that of the sensors it was taken by."
                 : "");
    sheet_small(&certificate->sheet, note);
    if (plan->lag_allowance_ms > 0) {
        snprintf(
            note, sizeof note,
            "Required soak and hold times are the plan's plus %s, by which the charge may lag behind the sensor.",
            quantity_format_duration(plan->lag_allowance_ms, lag));
        sheet_small(&certificate->sheet, note);
    }
}

/* "58 to 62 HRC" */
static void certificate_hardness_row(struct certificate *certificate, struct sheet_table *table) {
    const struct assess_batch *assessed = certificate->assessed;
    const struct hardness_verdict *verdict = &assessed->hardness;
    const char *scale = assessed->plan->hardness.scale, *upper;
    static const char to[] = "to ";
    char asked[TELL_BYTES], low[HARDNESS_WORDS_BYTES], high[HARDNESS_WORDS_BYTES], note[HARDNESS_WORDS_BYTES];
    char found[2 * HARDNESS_WORDS_BYTES] = "no value", bound[TELL_BYTES];

    if (!verdict->asked || !tell_hardness(assessed->plan, asked) || (upper = strstr(asked, to)) == NULL)
        return;
    snprintf(bound, sizeof bound, "%.*sto", (int)(upper - asked), asked); // where other rows say "at most"
    hardness_format(verdict->lowest, "", low);
    if (verdict->counted > 0 && verdict->lowest != verdict->highest)
        snprintf(found, sizeof found, "%sto %s", low, hardness_format(verdict->highest, scale, high));
    else if (verdict->counted > 0)
        hardness_format(verdict->lowest, scale, found);
    table->begins = true;
    table->note = hardness_describe(assessed->plan, verdict, note);
    const struct sheet_cell cells[] = {
        {"after", SHEET_NO_MARK, true}, {"hardness", SHEET_NO_MARK, false},
        {bound, SHEET_NO_MARK, false},  {upper + strlen(to), SHEET_NO_MARK, false},
        {found, SHEET_NO_MARK, true},   {"", SHEET_NO_MARK, false},
        {"", SHEET_NO_MARK, false},     {judge_outcome_name(verdict->outcome), (int)verdict->outcome, true}};
    sheet_table_row(table, cells);
}

void certificate_requirements(struct certificate *certificate) {
    static const struct sheet_column columns[] = {
        {"operation", 0.16F, PAGE_LEFT}, {"requirement", 0.192F, PAGE_LEFT}, {"", 0.078F, PAGE_LEFT},
        {"required", 0.10F, PAGE_RIGHT}, {"found", 0.123F, PAGE_RIGHT},      {"margin", 0.13F, PAGE_RIGHT},
        {"±", 0.092F, PAGE_RIGHT},       {"outcome", 0.125F, PAGE_LEFT},
    };
    const struct assess_batch *assessed = certificate->assessed;
    struct sheet_table table;

    sheet_skip(&certificate->sheet, TABLE_BEFORE);
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    table.dense = true;
    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].verdict_count; k++)
            certificate_verdict_row(certificate, &table, &assessed->visits[i], k);
    certificate_hardness_row(certificate, &table);
    sheet_table_end(&table);
    certificate_requirement_notes(certificate);
}
