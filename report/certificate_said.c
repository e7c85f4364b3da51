// SPDX-License-Identifier: MIT
/* What was said and not measured, what is still to be measured, and what is known beside the requirements. */
#include <stdio.h>

#include "certificate_parts.h"
#include "soakledger/ink.h"
#include "soakledger/tell.h"
#include "soakledger/words.h"

static const float ROWS_THAT_FOLLOW = 50, BOX_WIDTH = 58, BOX_HEIGHT = 20, BOX_GAP = 8, BOX_TEXT = 9, BOX_SMALL = 7;
enum { MOST_BOXES = 7 };

static void certificate_list_attestation(struct certificate *certificate, struct sheet_table *table,
                                         const struct ledger_attestation *said) {
    char what[TELL_BYTES], name[CERTIFICATE_NAME_BYTES], when[QUANTITY_TEXT_BYTES], at[QUANTITY_TEXT_BYTES];

    snprintf(what, sizeof what, "quench after %s",
             certificate_visit_name(certificate->assessed->plan, said->visit, name, sizeof name));
    const struct sheet_cell cells[] = {
        {what, SHEET_NO_MARK, true},
        {certificate_time(certificate, said->t_ms, when), SHEET_NO_MARK, false},
        {said->said_by, SHEET_NO_MARK, true},
        {certificate_time(certificate, said->said_ms, at), SHEET_NO_MARK, false},
        {said->words, SHEET_NO_MARK, false},
    };
    sheet_table_row(table, cells);
}

static void certificate_attestations(struct certificate *certificate) {
    char when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {"what", 0.20F, PAGE_LEFT},
        {certificate_time_title(certificate, "happened", when, sizeof when), 0.19F, PAGE_LEFT},
        {"by the word of", 0.17F, PAGE_LEFT},
        {"said", 0.19F, PAGE_LEFT},
        {"in these words", 0.25F, PAGE_LEFT},
    };
    const struct assess_batch *assessed = certificate->assessed;
    struct sheet_table table;

    if (assessed->attestation_count == 0)
        return;
    sheet_heading(&certificate->sheet, "Attested, not measured", ROWS_THAT_FOLLOW);
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < assessed->attestation_count; i++)
        certificate_list_attestation(certificate, &table, &assessed->attestations[i]);
    sheet_table_end(&table);
}

/* Boxes for a pen, one a reading. */
static void certificate_hardness(struct certificate *certificate) {
    const struct page_pen pen = {INK_QUIET, 0.6F, {0}};
    const struct page_type type = {PAGE_BOLD, BOX_TEXT, INK_TEXT}, quiet = {PAGE_REGULAR, BOX_SMALL, INK_QUIET};
    const struct plan_hardness *hardness = &certificate->assessed->plan->hardness;
    const int64_t boxes = hardness->readings < MOST_BOXES ? hardness->readings : MOST_BOXES;
    char asked[TELL_BYTES], line[CERTIFICATE_LINE_BYTES];
    struct page_frame frame;

    if (!tell_hardness(certificate->assessed->plan, asked) || certificate->assessed->books->hardness_count > 0)
        return;
    sheet_heading(&certificate->sheet, "Hardness, to be filled in by hand", ROWS_THAT_FOLLOW);
    snprintf(line, sizeof line, "Asked for: %s, %lld readings. Not measured by the recorder.", asked,
             (long long)hardness->readings);
    sheet_plain(&certificate->sheet, line);
    frame = sheet_take(&certificate->sheet, BOX_HEIGHT + BOX_GAP);
    for (int64_t i = 0; i < boxes; i++) {
        const float left = frame.left + (float)i * (BOX_WIDTH + BOX_GAP);

        page_stroke_frame(certificate->page, &pen,
                          (struct page_frame){left, frame.top, left + BOX_WIDTH, frame.top + BOX_HEIGHT});
        snprintf(line, sizeof line, "%lld", (long long)i + 1);
        page_text(certificate->page, left + 3, frame.top + BOX_SMALL + 1, PAGE_LEFT, &quiet, line);
    }
    page_text(certificate->page, frame.left + (float)boxes * (BOX_WIDTH + BOX_GAP), frame.top + BOX_HEIGHT * 0.65F,
              PAGE_LEFT, &type, hardness->scale);
}

static void certificate_list_hardness(struct certificate *certificate) {
    const struct assess_batch *assessed = certificate->assessed;
    char text[TELL_LINE_BYTES], line[TELL_LINE_BYTES + CERTIFICATE_NAME_BYTES];

    if (assessed->books->hardness_count == 0)
        return;
    sheet_heading(&certificate->sheet, "Hardness, as measured and entered by people", ROWS_THAT_FOLLOW);
    if (assessed->hardness.asked) {
        snprintf(line, sizeof line, "Hardness: %s; %s.", judge_outcome_name(assessed->hardness.outcome),
                 hardness_describe(assessed->plan, &assessed->hardness, text));
        sheet_plain(&certificate->sheet, line);
    }
    for (size_t i = 0; i < assessed->books->hardness_count; i++) {
        snprintf(line, sizeof line, "Reading %zu: %s", i + 1,
                 tell_hardness_reading(assessed->books, i, certificate->config->utc_offset_min, text));
        sheet_plain(&certificate->sheet, line);
    }
}

/* What was decided and amended afterwards. No verdict is changed by it. */
static void certificate_list_decisions(struct certificate *certificate) {
    const struct books *books = certificate->assessed->books;
    const int zone = certificate->config->utc_offset_min;
    char text[TELL_LINE_BYTES], line[TELL_LINE_BYTES + CERTIFICATE_NAME_BYTES];

    if (books->disposition_count + books->amendment_count == 0)
        return;
    sheet_heading(&certificate->sheet, "Decided and amended afterwards", ROWS_THAT_FOLLOW);
    for (size_t i = 0; i < books->disposition_count; i++) {
        snprintf(line, sizeof line, "Disposition %zu: %s", i + 1,
                 tell_disposition(&books->dispositions[i], zone, text));
        sheet_plain(&certificate->sheet, line);
    }
    for (size_t i = 0; i < books->amendment_count; i++) {
        snprintf(line, sizeof line, "Amended: %s", tell_amendment(&books->amendments[i], books, zone, text));
        sheet_plain(&certificate->sheet, line);
    }
}

void certificate_said(struct certificate *certificate) {
    certificate_attestations(certificate);
    certificate_hardness(certificate);
    certificate_list_hardness(certificate);
    certificate_list_decisions(certificate);
}

/* ---- beside the requirements ---- */

static void certificate_inform_row(struct sheet_table *table, const char *visit, const char *what,
                                   const char *value) {
    const struct sheet_cell cells[] = {
        {visit, SHEET_NO_MARK, true}, {what, SHEET_NO_MARK, false}, {value, SHEET_NO_MARK, false}};

    sheet_table_row(table, cells);
}

void certificate_informed(struct certificate *certificate) {
    static const struct sheet_column columns[] = {
        {"visit", 0.22F, PAGE_LEFT}, {"what", 0.26F, PAGE_LEFT}, {"found", 0.52F, PAGE_LEFT}};
    const struct assess_batch *assessed = certificate->assessed;
    const enum temperature_unit unit = certificate->config->unit;
    char name[CERTIFICATE_NAME_BYTES], text[TELL_BYTES];
    struct sheet_table table = {0};

    for (size_t i = 0; i < assessed->visit_count; i++) {
        const bool austenite = tell_austenite(assessed, i, unit, text);

        if (!austenite && !tell_equivalent(assessed, i, unit, text))
            continue;
        if (table.sheet == NULL) {
            sheet_heading(&certificate->sheet, "For information, not judged", ROWS_THAT_FOLLOW);
            sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
        }
        certificate_inform_row(&table, certificate_visit_name(assessed->plan, i, name, sizeof name),
                               austenite ? "retained austenite, estimate" : "equivalent time", text);
    }
    if (table.sheet == NULL)
        return;
    sheet_table_end(&table);
    if (assessed->plan->martensite_start.set)
        sheet_small(&certificate->sheet, tell_austenite_source(assessed->plan, unit, text));
}
