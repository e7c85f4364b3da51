// SPDX-License-Identifier: MIT
/* The first page: did it pass, what was required, what was found. */
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "certificate_parts.h"
#include "soakledger/ink.h"
#include "soakledger/tell.h"
#include "soakledger/words.h"

enum { MINUTES_LENGTH = 16 }; // of "2026-11-16 08:00:00", up to the minutes
enum { SHOP_LINES = 2, ADDRESS_LINES = 2, FACT_LINES = 3 };

static const float TITLE_SIZE = 19, TITLE_DROP = 16, TITLE_AFTER = 9, SHOP_SIZE = 9.5F, SHOP_LEADING = 12;
static const float ADDRESS_SIZE = 7.5F, ADDRESS_LEADING = 10, ISSUED_SIZE = 7.5F, SHOP_SHARE = 0.56F;
static const float HEAVY = 1.6F, SIGN_SIZE = 30, SIGN_GAP = 11, ANSWER_SIZE = 20, ANSWER_WIDTH = 212,
                   ANSWER_PAD = 9;
static const float SENTENCE_SIZE = 9.5F, SENTENCE_LEADING = 12.5F, COUNT_SIZE = 7.5F, COUNT_LEADING = 11;
static const float SIGN_HALF = 0.56F; // the widest sign reaches a little beyond its size
static const float CAPITALS = 0.73F;  // how high capitals are, of the size

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

/* A line across the sheet, heavy where one part of the first page ends. */
static void certificate_rule(struct certificate *certificate, float width) {
    const struct page_pen rule = {INK_TEXT, width, {0}};
    const struct sheet *sheet = &certificate->sheet;

    page_line(certificate->page, &rule, sheet->frame.left, sheet->y, sheet->frame.right, sheet->y);
}

/* At most `most` lines at the left; what is longer the certificate has to say in full elsewhere. */
static void certificate_short_text(struct certificate *certificate, const char *name, const struct page_type *type,
                                   float leading, size_t most, const char *text) {
    struct sheet *sheet = &certificate->sheet;
    const float width = (sheet->frame.right - sheet->frame.left) * SHOP_SHARE;

    if (text[0] == '\0')
        return;
    if (sheet_text_height(sheet, type, width, leading, text) > leading * (float)most + 1)
        certificate_owe(certificate, name, text);
    sheet->y = sheet_text_block(sheet, type, sheet->frame.left, sheet->y, width, leading, most, text);
}

/* What this is and its number; who made it out, and when. */
static void certificate_title(struct certificate *certificate) {
    const struct page_type title = {PAGE_REGULAR, TITLE_SIZE, INK_TEXT},
                           issued = {PAGE_REGULAR, ISSUED_SIZE, INK_QUIET};
    const struct page_type shop = {PAGE_BOLD, SHOP_SIZE, INK_TEXT},
                           address = {PAGE_REGULAR, ADDRESS_SIZE, INK_QUIET};
    struct sheet *sheet = &certificate->sheet;
    char line[CERTIFICATE_NAME_BYTES], time[QUANTITY_TEXT_BYTES], zone[QUANTITY_TEXT_BYTES];
    float least;

    sheet->y += TITLE_SIZE * CAPITALS;
    page_text(certificate->page, sheet->frame.left, sheet->y, PAGE_LEFT, &title, "Certificate of heat treatment");
    snprintf(line, sizeof line, "No. %lld", (long long)certificate->issue->number);
    page_text(certificate->page, sheet->frame.right, sheet->y, PAGE_RIGHT, &title, line);
    sheet->y += TITLE_DROP;
    least = sheet->y + SHOP_LEADING;
    snprintf(line, sizeof line, "revision %lld · issued %s %s", (long long)certificate->issue->revision,
             certificate_time(certificate, certificate->issue->issued_ms, time),
             words_offset(certificate->config->utc_offset_min, zone));
    page_text(certificate->page, sheet->frame.right, sheet->y, PAGE_RIGHT, &issued, line);
    certificate_short_text(certificate, "Shop", &shop, SHOP_LEADING, SHOP_LINES, certificate->config->shop_name);
    certificate_short_text(certificate, "Address", &address, ADDRESS_LEADING, ADDRESS_LINES,
                           certificate->config->shop_address);
    sheet->y = (sheet->y > least ? sheet->y : least) - SHOP_LEADING + TITLE_AFTER;
    certificate_rule(certificate, HEAVY);
}

/* Sign and word at the left, the sentence beside them. */
static void certificate_verdict(struct certificate *certificate) {
    const enum outcome outcome = certificate->assessed->outcome;
    const struct page_type answer = {PAGE_BOLD, ANSWER_SIZE, sheet_outcome_colour(outcome)};
    const struct page_type type = {PAGE_REGULAR, SENTENCE_SIZE, INK_TEXT},
                           count = {PAGE_REGULAR, COUNT_SIZE, INK_QUIET};
    struct sheet *sheet = &certificate->sheet;
    char why[CERTIFICATE_LINE_BYTES], how_many[CERTIFICATE_LINE_BYTES];
    const float left = sheet->frame.left + ANSWER_WIDTH, width = sheet->frame.right - left;
    float height, text, y;

    certificate_explain(certificate, why, how_many);
    // The sentence begins on the word's own line: so it is read after it, by eyes and by programs.
    text = ANSWER_SIZE * CAPITALS + sheet_text_height(sheet, &type, width, SENTENCE_LEADING, why) -
           SENTENCE_LEADING + COUNT_LEADING;
    height = text > SIGN_SIZE ? text : SIGN_SIZE;
    y = sheet->y + ANSWER_PAD + (SIGN_SIZE + ANSWER_SIZE * CAPITALS) / 2;
    sheet_draw_sign(certificate->page, outcome, sheet->frame.left + SIGN_SIZE * SIGN_HALF,
                    sheet->y + ANSWER_PAD + SIGN_SIZE / 2, SIGN_SIZE);
    page_text(certificate->page, sheet->frame.left + SIGN_SIZE + SIGN_GAP, y, PAGE_LEFT, &answer,
              certificate_answer(outcome));
    y = sheet_text_block(sheet, &type, left, y, width, SENTENCE_LEADING, 0, why);
    page_text(certificate->page, left, y - 1, PAGE_LEFT, &count, how_many);
    height = y - sheet->y - ANSWER_PAD > height ? y - sheet->y - ANSWER_PAD : height;
    sheet->y += height + 2 * ANSWER_PAD;
    certificate_rule(certificate, HEAVY);
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
            sheet_skip(&certificate->sheet, 8);
            sheet_paragraph(&certificate->sheet, &type, 14, line);
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

/* An entry, and beside it what it was amended to. The caller frees. */
static char *certificate_amended(const struct certificate *certificate, enum books_entry entry, const char *value) {
    const struct books_amendment *amendment = books_find_amendment(certificate->assessed->books, entry, 0);
    char *text = NULL;

    if (amendment == NULL)
        return strdup(value);
    if (asprintf(&text, "%s\namended to: %s", value, amendment->withdraws ? "(withdrawn)" : amendment->words) < 0)
        return NULL;
    return text;
}

/* Whatever is too long for the first page stands in full on a later one. */
static void certificate_draw_facts(struct certificate *certificate, const struct sheet_fact *facts, size_t count) {
    const float room = certificate->sheet.frame.bottom - certificate->sheet.y - ANSWER_PAD -
                       certificate_requirements_height(certificate);
    bool cut[CERTIFICATE_MOST_OWED];
    size_t most = FACT_LINES;

    while (most > 1 && sheet_form_height(&certificate->sheet, facts, count, most) > room)
        most--; // what was required and found comes first
    sheet_skip(&certificate->sheet, ANSWER_PAD);
    sheet_form(&certificate->sheet, facts, count, most, cut);
    for (size_t i = 0; i < count; i++)
        if (cut[i])
            certificate_owe(certificate, facts[i].name, facts[i].value);
}

/* Who and what. */
static void certificate_facts(struct certificate *certificate) {
    const struct assess_batch *assessed = certificate->assessed;
    const struct ledger_batch *batch = assessed->batch;
    char opened[CERTIFICATE_NAME_BYTES], time[QUANTITY_TEXT_BYTES];
    char loads[CERTIFICATE_LINE_BYTES], ovens[CERTIFICATE_LINE_BYTES];

    snprintf(opened, sizeof opened, "%lld, opened %.*s", (long long)batch->batch_id, MINUTES_LENGTH,
             certificate_time(certificate, batch->opened_ms, time));
    certificate_name_loads(assessed, loads, sizeof loads);
    certificate_name_ovens(assessed, ovens, sizeof ovens);
    const struct books_disposition *disposition = books_find_disposition(assessed->books);
    char *const amended[] = {certificate_amended(certificate, BOOKS_CHARGE, batch->charge),
                             certificate_amended(certificate, BOOKS_CUSTOMER, batch->customer),
                             certificate_amended(certificate, BOOKS_ORDER, batch->order_reference),
                             certificate_amended(certificate, BOOKS_OPERATOR, batch->operator_name),
                             certificate_amended(certificate, BOOKS_NOTE, batch->note)};
    enum { CHARGE, CUSTOMER, ORDER, OPERATOR, NOTE, AMENDED };

    for (size_t i = 0; i < AMENDED; i++)
        certificate->failed = certificate->failed || amended[i] == NULL;
    if (!certificate->failed) {
        const struct sheet_fact facts[] = {
            {"Batch", opened},
            {"Charge", amended[CHARGE]},
            {"Customer", amended[CUSTOMER]},
            {"Order", amended[ORDER]},
            {"Steel", assessed->plan->steel},
            {"Plan", assessed->plan->title},
            {"Operator", amended[OPERATOR]},
            {"Oven", ovens},
            {"Temperature of the charge by", loads},
            {"Disposition", disposition != NULL ? books_decision_name(disposition->decision) : ""},
            {"Note", amended[NOTE]},
        };

        certificate_draw_facts(certificate, facts, sizeof facts / sizeof facts[0]);
    }
    for (size_t i = 0; i < AMENDED; i++)
        free(amended[i]);
}

void certificate_front(struct certificate *certificate) {
    certificate->sheet.frame.bottom -= CERTIFICATE_CONTENTS_HEIGHT; // of this page only
    certificate_title(certificate);
    certificate_verdict(certificate);
    certificate_warn_of_difference(certificate);
    certificate_facts(certificate);
    certificate_overview(certificate);
    certificate_requirements(certificate);
    certificate_sign_front(certificate);
}
