// SPDX-License-Identifier: MIT
/* The first page: the answer, who and what, and the table of requirements. */
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "certificate_parts.h"
#include "soakledger/ink.h"
#include "soakledger/tell.h"
#include "soakledger/words.h"

enum { MINUTES_LENGTH = 16 }; // of "2026-11-16 08:00:00", up to the minutes

static const float TITLE_SIZE = 18, PANEL_PAD = 16, SIGN_SIZE = 46, ANSWER_SIZE = 27, SENTENCE_SIZE = 10.5F;
static const float SENTENCE_LEADING = 15, PANEL_BAR = 5, PANEL_AFTER = 18, VISIT_SIGN = 8;

static const char *certificate_answer(enum outcome outcome) {
    switch (outcome) {
    case OUTCOME_MET: return "MET";
    case OUTCOME_NOT_MET: return "NOT MET";
    case OUTCOME_NOT_PROVEN: break;
    }
    return "NOT PROVEN";
}

static void certificate_count(const struct assess_batch *assessed, size_t counts[3]) {
    memset(counts, 0, 3 * sizeof *counts);
    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].verdict_count; k++)
            counts[assessed->visits[i].verdicts[k].outcome]++;
    if (assessed->hardness.asked)
        counts[assessed->hardness.outcome]++;
}

/* Why the answer is what it is, in one sentence, and how many of the requirements it concerns. */
static void certificate_explain(const struct certificate *certificate, char *why, char *how_many) {
    const struct assess_batch *assessed = certificate->assessed;
    const enum temperature_unit unit = certificate->config->unit;
    size_t visit = 0, counts[3], total;
    const struct verdict *verdict = assess_deciding(assessed, &visit);
    char sentence[WORDS_SENTENCE_BYTES], name[CERTIFICATE_NAME_BYTES] = "";

    certificate_count(assessed, counts);
    total = counts[OUTCOME_MET] + counts[OUTCOME_NOT_PROVEN] + counts[OUTCOME_NOT_MET];
    snprintf(how_many, CERTIFICATE_LINE_BYTES, "%zu of %zu requirements met, %zu not met, %zu not proven",
             counts[OUTCOME_MET], total, counts[OUTCOME_NOT_MET], counts[OUTCOME_NOT_PROVEN]);
    if (assess_hardness_decides(assessed)) {
        char found[HARDNESS_WORDS_BYTES];

        snprintf(why, CERTIFICATE_LINE_BYTES, "Hardness: %s.",
                 hardness_describe(assessed->plan, &assessed->hardness, found));
        return;
    }
    if (verdict == NULL) {
        snprintf(why, CERTIFICATE_LINE_BYTES, "The plan requires nothing that could be judged.");
        how_many[0] = '\0';
        return;
    }
    words_sentence(verdict, unit, sentence);
    certificate_operation_name(assessed->plan, verdict->operation, name, sizeof name);
    // Both begin in ASCII: a kind of operation, and our own words.
    if (assessed->outcome == OUTCOME_MET)
        sentence[0] = (char)tolower((unsigned char)sentence[0]);
    else
        name[0] = (char)toupper((unsigned char)name[0]);
    if (assessed->outcome == OUTCOME_MET)
        snprintf(why, CERTIFICATE_LINE_BYTES,
                 "Everything the plan requires was met. Closest to its limit was %s: %s", name, sentence);
    else
        snprintf(why, CERTIFICATE_LINE_BYTES, "%s: %s", name, sentence);
}

static void certificate_title(struct certificate *certificate) {
    const struct page_type type = {PAGE_REGULAR, TITLE_SIZE, INK_TEXT}, quiet = {PAGE_REGULAR, 8, INK_QUIET};
    struct sheet *sheet = &certificate->sheet;
    char line[CERTIFICATE_NAME_BYTES];
    const char *address = certificate->config->shop_address;

    sheet->y += TITLE_SIZE - 4;
    page_text(certificate->page, sheet->frame.left, sheet->y, PAGE_LEFT, &type, "Certificate of heat treatment");
    snprintf(line, sizeof line, "No. %lld", (long long)certificate->issue->number);
    page_text(certificate->page, sheet->frame.right, sheet->y, PAGE_RIGHT, &type, line);
    sheet->y += 8;
    if (address[0] != '\0')
        sheet_paragraph(sheet, &quiet, 12, address);
    sheet->y += 10;
}

static float certificate_text_height(struct certificate *certificate, const struct page_type *type, float width,
                                     float leading, const char *text) {
    float height = 0;
    size_t next = 0;

    for (; *text != '\0'; text += next) {
        page_fit(certificate->page, type, text, width, &next);
        height += leading;
    }
    return height;
}

static float certificate_draw_text(struct certificate *certificate, const struct page_type *type, float x, float y,
                                   float width, float leading, const char *text) {
    size_t next = 0;

    for (; *text != '\0'; text += next) {
        const size_t fits = page_fit(certificate->page, type, text, width, &next);

        page_text_part(certificate->page, x, y, PAGE_LEFT, type, text, fits);
        y += leading;
    }
    return y;
}

/* One line per visit, each with its sign. */
static void certificate_draw_visits(struct certificate *certificate, float x, float y) {
    const struct page_type type = {PAGE_BOLD, 8, INK_TEXT};
    const struct assess_batch *assessed = certificate->assessed;

    for (size_t i = 0; i < assessed->visit_count; i++) {
        char name[TELL_BYTES], line[CERTIFICATE_LINE_BYTES];

        sheet_draw_sign(certificate->page, assessed->visits[i].outcome, x + VISIT_SIGN / 2, y - 3, VISIT_SIGN);
        snprintf(line, sizeof line, "%s: %s", tell_visit(assessed->plan, i, name),
                 judge_outcome_name(assessed->visits[i].outcome));
        page_text(certificate->page, x + VISIT_SIGN * 2, y, PAGE_LEFT, &type, line);
        y += SENTENCE_LEADING;
    }
}

static void certificate_panel(struct certificate *certificate) {
    const enum outcome outcome = certificate->assessed->outcome;
    const struct page_colour colour = sheet_outcome_colour(outcome), tint = {0.965F, 0.965F, 0.955F};
    const struct page_type answer = {PAGE_BOLD, ANSWER_SIZE, colour},
                           type = {PAGE_REGULAR, SENTENCE_SIZE, INK_TEXT};
    const struct page_type quiet = {PAGE_REGULAR, 8, INK_QUIET};
    const size_t visits = certificate->assessed->visit_count;
    char why[CERTIFICATE_LINE_BYTES], how_many[CERTIFICATE_LINE_BYTES];
    struct page_frame panel, bar;
    float x, y, width, height;

    certificate_explain(certificate, why, how_many);
    width = certificate->sheet.frame.right - certificate->sheet.frame.left - SIGN_SIZE - 4 * PANEL_PAD;
    height = 2 * PANEL_PAD + ANSWER_SIZE +
             certificate_text_height(certificate, &type, width, SENTENCE_LEADING, why) + SENTENCE_LEADING +
             (visits > 1 ? (float)visits * SENTENCE_LEADING + 4 : 0);
    panel = sheet_take(&certificate->sheet, height);
    bar = panel;
    bar.right = bar.left + PANEL_BAR;
    page_fill_frame(certificate->page, tint, panel);
    page_fill_frame(certificate->page, colour, bar);
    sheet_draw_sign(certificate->page, outcome, panel.left + PANEL_BAR + PANEL_PAD + SIGN_SIZE / 2,
                    panel.top + PANEL_PAD + SIGN_SIZE / 2, SIGN_SIZE);
    x = panel.left + PANEL_BAR + SIGN_SIZE + 2.2F * PANEL_PAD;
    y = panel.top + PANEL_PAD + ANSWER_SIZE * 0.78F; // capitals are about three quarters of the size high
    page_text(certificate->page, x, y, PAGE_LEFT, &answer, certificate_answer(outcome));
    y = certificate_draw_text(certificate, &type, x, y + SENTENCE_LEADING + 6, width, SENTENCE_LEADING, why);
    page_text(certificate->page, x, y, PAGE_LEFT, &quiet, how_many);
    if (visits > 1)
        certificate_draw_visits(certificate, x, y + SENTENCE_LEADING + 4);
    sheet_skip(&certificate->sheet, PANEL_AFTER);
}

/* Never seen unless ledger or program are broken: then nobody may miss it. */
static void certificate_warn_of_difference(struct certificate *certificate) {
    const struct page_type type = {PAGE_BOLD, 10, INK_NOT_MET};
    char line[CERTIFICATE_LINE_BYTES];

    for (size_t i = 0; i < certificate->assessed->visit_count; i++)
        for (size_t k = 0; k < certificate->assessed->visits[i].run_count; k++) {
            const struct assess_run *run = &certificate->assessed->visits[i].runs[k];

            if (run->agreement != ASSESS_DIFFERS)
                continue;
            snprintf(
                line, sizeof line,
                "DO NOT USE THIS CERTIFICATE. What was judged while run %lld was on differs from what its stored "
                "readings give now. The ledger was changed, or one of the programs is at fault.",
                (long long)run->run.run_id);
            sheet_paragraph(&certificate->sheet, &type, 14, line);
            sheet_skip(&certificate->sheet, 8);
        }
}

static void certificate_name_loads(const struct assess_batch *assessed, char *out, size_t size) {
    size_t used = 0;

    out[0] = '\0';
    if (assessed->plan->load == PLAN_LOAD_CONTROL) {
        snprintf(out, size, "the control sensor; none in the charge");
        return;
    }
    for (size_t i = 0; i < assessed->visit_count; i++) {
        const struct assess_run *run = assess_deciding_run(&assessed->visits[i]);

        if (run == NULL)
            continue;
        for (size_t k = 0; k < run->load_count; k++) {
            const char *name = certificate_channel_name(run, run->loads[k]);
            const int wrote = snprintf(out + used, size - used, "%s%s", used > 0 ? ", " : "", name);

            if (wrote < 0 || (size_t)wrote >= size - used)
                return;
            used += (size_t)wrote;
        }
        return; // the first run's sensors stand for all: each is listed under its instruments
    }
}

static const char *certificate_visit_oven(const struct assess_batch *assessed, size_t visit) {
    const char *oven = plan_visit_soak(assessed->plan, visit)->oven;

    return oven[0] != '\0' ? oven : assessed->oven;
}

/* The ovens of all visits, each once. */
static void certificate_name_ovens(const struct assess_batch *assessed, char *out, size_t size) {
    size_t used = 0;

    out[0] = '\0';
    for (size_t i = 0; i < assessed->visit_count && used < size; i++) {
        const char *name = certificate_visit_oven(assessed, i);
        bool before = false;

        for (size_t k = 0; k < i; k++)
            before = before || strcmp(name, certificate_visit_oven(assessed, k)) == 0;
        if (!before)
            used += (size_t)snprintf(out + used, size - used, "%s%s", used > 0 ? ", " : "", name);
    }
}

static void certificate_facts(struct certificate *certificate) {
    const struct assess_batch *assessed = certificate->assessed;
    const struct ledger_batch *batch = assessed->batch;
    char opened[CERTIFICATE_NAME_BYTES], issued[CERTIFICATE_NAME_BYTES], time[QUANTITY_TEXT_BYTES];
    char zone[QUANTITY_TEXT_BYTES], plan[CERTIFICATE_LINE_BYTES], hash[CERTIFICATE_NAME_BYTES];
    char loads[CERTIFICATE_LINE_BYTES], ovens[CERTIFICATE_LINE_BYTES];

    words_offset(certificate->config->utc_offset_min, zone);
    snprintf(opened, sizeof opened, "%lld, opened %.*s", (long long)batch->batch_id, MINUTES_LENGTH,
             certificate_time(certificate, batch->opened_ms, time));
    snprintf(issued, sizeof issued, "%s %s", certificate_time(certificate, certificate->issue->issued_ms, time),
             zone);
    snprintf(plan, sizeof plan, "%s", assessed->plan->title);
    snprintf(hash, sizeof hash, "%.12s…", batch->plan_sha256);
    certificate_name_loads(assessed, loads, sizeof loads);
    certificate_name_ovens(assessed, ovens, sizeof ovens);
    const struct sheet_fact facts[] = {
        {"Customer", batch->customer},
        {"Charge", batch->charge},
        {"Order", batch->order_reference},
        {"Steel", assessed->plan->steel},
        {"Operator", batch->operator_name},
        {"Oven", ovens},
        {"Batch", opened},
        {"Plan", plan},
        {"Issued", issued},
        {"Plan SHA-256", hash},
        {"Measured by", loads},
        {"Note", batch->note},
    };
    sheet_facts(&certificate->sheet, facts, sizeof facts / sizeof facts[0]);
}

static void certificate_verdict_row(struct certificate *certificate, struct sheet_table *table,
                                    const struct assess_run *run, const struct verdict *verdict, bool same) {
    const enum temperature_unit unit = certificate->config->unit;
    const char *channel = certificate_channel_name(run, verdict->channel_id);
    char operation[CERTIFICATE_NAME_BYTES], limit[WORDS_LIMIT_BYTES], found[WORDS_SENTENCE_BYTES];
    char what[WORDS_LIMIT_BYTES];
    char margin[WORDS_LIMIT_BYTES], where[CERTIFICATE_LINE_BYTES], time[QUANTITY_TEXT_BYTES] = "";

    certificate_operation_name(certificate->assessed->plan, verdict->operation, operation, sizeof operation);
    words_found(verdict, unit, found);
    if (verdict->t_ms != 0)
        words_clock(verdict->t_ms, certificate->config->utc_offset_min, 1, time);
    snprintf(where, sizeof where, "%s%s%s", channel, channel[0] != '\0' && time[0] != '\0' ? "\n" : "", time);
    const struct sheet_cell cells[] = {
        {same ? "" : operation, SHEET_NO_MARK, true},
        {words_what(&certificate->assessed->plan->operations[verdict->operation], verdict->requirement, unit, what),
         SHEET_NO_MARK, false},
        {words_limit(verdict->requirement, verdict->required, unit, limit), SHEET_NO_MARK, false},
        {found, SHEET_NO_MARK, verdict->reason == REASON_NONE},
        {words_margin(verdict, unit, margin), SHEET_NO_MARK, false},
        {where, SHEET_NO_MARK, false},
        {judge_outcome_name(verdict->outcome), (int)verdict->outcome, true},
    };
    table->carried = operation;
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

static void certificate_requirement_notes(struct certificate *certificate) {
    const struct plan *plan = certificate->assessed->plan;
    char note[CERTIFICATE_LINE_BYTES], lag[QUANTITY_TEXT_BYTES], rule[TELL_BYTES];

    sheet_small(&certificate->sheet, tell_decision(plan, rule));
    if (certificate_has_uncertainty(certificate->assessed))
        sheet_small(&certificate->sheet,
                    "± is the expanded uncertainty (k = 2) that the configuration states; of a time "
                    "it is that of the sensors by which it was taken.");
    if (plan->lag_allowance_ms > 0) {
        snprintf(
            note, sizeof note,
            "Required soak and hold times are the plan's plus %s, by which the charge may lag behind the sensor.",
            quantity_format_duration(plan->lag_allowance_ms, lag));
        sheet_small(&certificate->sheet, note);
    }
}

static void certificate_requirements(struct certificate *certificate) {
    char when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {"operation", 0.12F, PAGE_LEFT},
        {"what", 0.135F, PAGE_LEFT},
        {"required", 0.14F, PAGE_LEFT},
        {"found", 0.145F, PAGE_LEFT},
        {"margin", 0.205F, PAGE_LEFT},
        {certificate_time_title(certificate, "channel, time", when, sizeof when), 0.13F, PAGE_LEFT},
        {"outcome", 0.125F, PAGE_LEFT},
    };
    const struct assess_batch *assessed = certificate->assessed;
    struct sheet_table table;

    sheet_heading(&certificate->sheet, "Required and found", 60);
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].verdict_count; k++) {
            const struct verdict *verdict = &assessed->visits[i].verdicts[k];
            const bool same = k > 0 && verdict[-1].operation == verdict->operation;

            certificate_verdict_row(certificate, &table, assess_deciding_run(&assessed->visits[i]), verdict, same);
        }
    sheet_table_end(&table);
    certificate_requirement_notes(certificate);
}

void certificate_front(struct certificate *certificate) {
    certificate_title(certificate);
    certificate_panel(certificate);
    certificate_warn_of_difference(certificate);
    certificate_facts(certificate);
    certificate_requirements(certificate);
}
