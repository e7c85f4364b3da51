// SPDX-License-Identifier: MIT
/* What was said and not measured, what is still to be measured, and what is known beside the requirements. */
#include <stdio.h>

#include "certificate_parts.h"
#include "soakledger/ink.h"
#include "soakledger/tell.h"
#include "soakledger/words.h"

static const float BOX_WIDTH = 58, BOX_HEIGHT = 20, BOX_GAP = 8, BOX_TEXT = 9, BOX_SMALL = 7;
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
    certificate_section(certificate, "words of people", "Attested, not measured", CERTIFICATE_LIST_FOLLOWS);
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
    certificate_section(certificate, "hardness", "Hardness, to be filled in by hand", CERTIFICATE_LIST_FOLLOWS);
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

/* One reading: the number that counts, where and by what it was taken; one that was amended says what it was. */
static void certificate_list_reading(struct certificate *certificate, struct sheet_table *table, size_t index) {
    const struct books_hardness *reading = &certificate->assessed->books->hardness[index];
    char number[QUANTITY_TEXT_BYTES], value[HARDNESS_WORDS_BYTES], uncertainty[HARDNESS_WORDS_BYTES] = "not stated";
    char place[CERTIFICATE_LINE_BYTES], when[QUANTITY_TEXT_BYTES], spread[HARDNESS_WORDS_BYTES];
    char was[HARDNESS_WORDS_BYTES], note[CERTIFICATE_NAME_BYTES + HARDNESS_WORDS_BYTES] = "";

    snprintf(number, sizeof number, "%zu", index + 1);
    hardness_format(reading->withdrawn ? reading->value : reading->counts, reading->scale, value);
    if (reading->uncertainty != 0)
        snprintf(uncertainty, sizeof uncertainty, "± %s",
                 hardness_format(reading->uncertainty, reading->scale, spread));
    snprintf(place, sizeof place, "%s%s%s", reading->piece,
             reading->piece[0] != '\0' && reading->position[0] != '\0' ? ", " : "", reading->position);
    if (reading->withdrawn)
        snprintf(note, sizeof note, "withdrawn: does not count");
    else if (reading->amended)
        snprintf(note, sizeof note, "amended; entered as %s", hardness_format(reading->value, reading->scale, was));
    const struct sheet_cell cells[] = {
        {number, SHEET_NO_MARK, true},
        {value, SHEET_NO_MARK, true},
        {uncertainty, SHEET_NO_MARK, false},
        {place, SHEET_NO_MARK, false},
        {reading->instrument, SHEET_NO_MARK, false},
        {reading->measured_by, SHEET_NO_MARK, false},
        {certificate_time(certificate, reading->measured_ms, when), SHEET_NO_MARK, false},
    };
    table->note = note;
    sheet_table_row(table, cells);
}

static void certificate_list_hardness(struct certificate *certificate) {
    const struct assess_batch *assessed = certificate->assessed;
    char text[TELL_LINE_BYTES], line[TELL_LINE_BYTES + CERTIFICATE_NAME_BYTES], when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {"no.", 0.05F, PAGE_LEFT},
        {"reading", 0.12F, PAGE_RIGHT},
        {"uncertainty", 0.12F, PAGE_RIGHT},
        {"piece, position", 0.20F, PAGE_LEFT},
        {"instrument", 0.16F, PAGE_LEFT},
        {"by", 0.15F, PAGE_LEFT},
        {certificate_time_title(certificate, "measured", when, sizeof when), 0.20F, PAGE_LEFT},
    };
    struct sheet_table table;

    if (assessed->books->hardness_count == 0)
        return;
    certificate_section(certificate, "hardness", "Hardness, as measured and entered by people",
                        CERTIFICATE_LIST_FOLLOWS);
    if (assessed->hardness.asked) {
        snprintf(line, sizeof line, "Hardness: %s; %s.", judge_outcome_name(assessed->hardness.outcome),
                 hardness_describe(assessed->plan, &assessed->hardness, text));
        sheet_plain(&certificate->sheet, line);
    }
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < assessed->books->hardness_count; i++)
        certificate_list_reading(certificate, &table, i);
    sheet_table_end(&table);
}

/* What was decided afterwards. No verdict is changed by it. */
static void certificate_dispositions(struct certificate *certificate) {
    char when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {"no.", 0.05F, PAGE_LEFT},
        {"decision", 0.19F, PAGE_LEFT},
        {certificate_time_title(certificate, "said", when, sizeof when), 0.20F, PAGE_LEFT},
        {"by", 0.18F, PAGE_LEFT},
        {"because", 0.38F, PAGE_LEFT},
    };
    const struct books *books = certificate->assessed->books;
    struct sheet_table table;

    if (books->disposition_count == 0)
        return;
    certificate_section(certificate, "dispositions", "Decided afterwards; it changes no outcome above",
                        CERTIFICATE_LIST_FOLLOWS);
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < books->disposition_count; i++) {
        const struct books_disposition *said = &books->dispositions[i];
        char number[QUANTITY_TEXT_BYTES], time[QUANTITY_TEXT_BYTES];

        snprintf(number, sizeof number, "%zu", i + 1);
        const struct sheet_cell cells[] = {
            {number, SHEET_NO_MARK, true},
            {books_decision_name(said->decision), SHEET_NO_MARK, true},
            {certificate_time(certificate, said->said_ms, time), SHEET_NO_MARK, false},
            {said->said_by, SHEET_NO_MARK, false},
            {said->reason, SHEET_NO_MARK, false},
        };
        table.note = said->withdrawn ? "withdrawn: does not hold" : NULL;
        sheet_table_row(&table, cells);
    }
    sheet_table_end(&table);
}

/* What an entry should have said. The entry stays. */
static void certificate_amendments(struct certificate *certificate) {
    char when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {"entry", 0.17F, PAGE_LEFT},
        {"should read", 0.25F, PAGE_LEFT},
        {certificate_time_title(certificate, "said", when, sizeof when), 0.20F, PAGE_LEFT},
        {"by", 0.14F, PAGE_LEFT},
        {"because", 0.24F, PAGE_LEFT},
    };
    const struct books *books = certificate->assessed->books;
    struct sheet_table table;

    if (books->amendment_count == 0)
        return;
    certificate_section(certificate, "amendments", "Amended afterwards", CERTIFICATE_LIST_FOLLOWS);
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < books->amendment_count; i++) {
        const struct books_amendment *amendment = &books->amendments[i];
        char entry[CERTIFICATE_NAME_BYTES], time[QUANTITY_TEXT_BYTES], value[HARDNESS_WORDS_BYTES];
        const bool numbered = amendment->number > 0;

        snprintf(entry, sizeof entry, numbered ? "%s %zu" : "%s", books_entry_name(amendment->entry),
                 amendment->number);
        if (amendment->has_value && amendment->number <= books->hardness_count && numbered)
            hardness_format(amendment->value, books->hardness[amendment->number - 1].scale, value);
        const struct sheet_cell cells[] = {
            {entry, SHEET_NO_MARK, true},
            {amendment->withdraws   ? "withdrawn"
             : amendment->has_value ? value
                                    : amendment->words,
             SHEET_NO_MARK, true},
            {certificate_time(certificate, amendment->said_ms, time), SHEET_NO_MARK, false},
            {amendment->said_by, SHEET_NO_MARK, false},
            {amendment->reason, SHEET_NO_MARK, false},
        };
        sheet_table_row(&table, cells);
    }
    sheet_table_end(&table);
}

void certificate_said(struct certificate *certificate) {
    certificate_attestations(certificate);
    certificate_hardness(certificate);
    certificate_list_hardness(certificate);
    certificate_dispositions(certificate);
    certificate_amendments(certificate);
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
            certificate_section(certificate, "information", "For information, not judged",
                                CERTIFICATE_LIST_FOLLOWS);
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
