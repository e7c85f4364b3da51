// SPDX-License-Identifier: MIT
/* A review on paper: what failed, the curve over the plan and over the last good batch, what happened when and what
 * it cost, the causes with what speaks for and against, what would settle them, and what can still be done. */
#include <stdlib.h>
#include <string.h>

#include "review_parts.h"
#include "soakledger/ink.h"
#include "soakledger/words.h"
#include "trial.h"

static const float TITLE_SIZE = 18, SUBTITLE_SIZE = 10.5F, SUBTITLE_LEADING = 15, AFTER = 8, CHART_HEIGHT = 215,
                   FOLLOWS = 60, EVIDENCE_FOLLOWS = 40;
enum { COLD_BAND_MC = 10000, LINE_BYTES = 2048, CELL_BYTES = 2048, EVIDENCE_MOST = 5, MARKS_MOST = 64 };
static const char NOTICE[] = "HYPOTHETICAL - not the batch's plan, no verdict";
static const char NOTICE_SIMULATED[] = "HYPOTHETICAL - not the batch's plan, no verdict - SIMULATED CLOCK";
static const char SIMULATED[] = "SIMULATED CLOCK - not a record of real time";

struct review_sheet {
    struct trial trial;
    struct review *review;
};

/* ---- head ---- */

static const char *notice(const struct review *review) {
    if (review->instead != NULL)
        return review->assessed->simulated ? NOTICE_SIMULATED : NOTICE;
    return review->assessed->simulated ? SIMULATED : "";
}

static int open_page(struct review_sheet *sheet, struct fault *fault) {
    const struct page_type title = {PAGE_REGULAR, TITLE_SIZE, INK_TEXT},
                           strong = {PAGE_BOLD, SUBTITLE_SIZE, INK_TEXT};
    const struct review *review = sheet->review;
    struct trial *trial = &sheet->trial;
    char time[QUANTITY_TEXT_BYTES], zone[QUANTITY_TEXT_BYTES], charge[TRIAL_SHORT_BYTES], line[LINE_BYTES];

    trial->config = review->config;
    snprintf(trial->title, sizeof trial->title, "%s batch %lld", review->instead != NULL ? "What if:" : "Review of",
             (long long)review->assessed->batch->batch_id);
    snprintf(trial->header, sizeof trial->header, "%s · batch %lld", review->instead != NULL ? "what if" : "review",
             (long long)review->assessed->batch->batch_id);
    snprintf(trial->footer, sizeof trial->footer, "made %.40s · all times in %s · no certificate",
             quantity_format_time(review->made_ms, review->config->utc_offset_min, time),
             words_offset(review->config->utc_offset_min, zone));
    trial->about = (struct page_about){
        .title = trial->title,
        .author = review->config->shop_name,
        .header_left = review->config->shop_name[0] != '\0' ? review->config->shop_name : "Heat treatment",
        .header_right = trial->header,
        .notice = notice(review),
        .footer = trial->footer,
        .made_ms = review->made_ms};
    trial->page = page_open(review->config->paper, &trial->about, fault);
    if (trial->page == NULL)
        return -1;
    sheet_begin(&trial->sheet, trial->page);
    trial->sheet.y += TITLE_SIZE - 4;
    page_text(trial->page, trial->sheet.frame.left, trial->sheet.y, PAGE_LEFT, &title, trial->title);
    trial->sheet.y += SUBTITLE_LEADING / 2;
    snprintf(line, sizeof line, "%s. Plan: %.300s", trial_clip(review->assessed->batch->charge, charge),
             review->assessed->plan->title);
    sheet_paragraph(&trial->sheet, &strong, SUBTITLE_LEADING, line);
    sheet_skip(&trial->sheet, AFTER);
    return 0;
}

/* A question what if gets no sign of an outcome: nobody is to take it for a verdict. */
static void write_supposed(struct review_sheet *sheet) {
    const struct page_type strong = {PAGE_BOLD, SUBTITLE_SIZE, INK_TEXT};
    const struct review *review = sheet->review;
    char line[LINE_BYTES], headline[REVIEW_TEXT_BYTES];

    snprintf(line, sizeof line, "%s: then it %s. As recorded it is %s.", review_headline(review, headline),
             review_outcome(review, review->assessed->outcome), judge_outcome_name(review->recorded->outcome));
    sheet_paragraph(&sheet->trial.sheet, &strong, SUBTITLE_LEADING, line);
    sheet_skip(&sheet->trial.sheet, AFTER);
    sheet_plain(&sheet->trial.sheet, review_hypothetical);
}

static void write_answer(struct review_sheet *sheet) {
    const struct review *review = sheet->review;
    char line[LINE_BYTES], headline[REVIEW_TEXT_BYTES], sentence[WORDS_SENTENCE_BYTES] = "";
    char answer[REVIEW_TEXT_BYTES] = "";
    size_t visit = 0;
    const struct verdict *deciding = assess_deciding(review->assessed, &visit);

    if (deciding != NULL)
        words_sentence(deciding, review->config->unit, sentence);
    if (deciding != NULL && review->visits[visit].weighed)
        review_answer(&review->visits[visit], answer);
    snprintf(line, sizeof line, "%s.\n%s\n%s", review_headline(review, headline), sentence, answer);
    trial_answer(&sheet->trial, review->assessed->outcome, line);
}

/* ---- what failed ---- */

static void write_verdicts(struct review_sheet *sheet, const struct assess_visit *visit) {
    static const struct sheet_column columns[] = {{"requirement", 0.24F, PAGE_LEFT},
                                                  {"required", 0.20F, PAGE_LEFT},
                                                  {"found", 0.36F, PAGE_LEFT},
                                                  {"outcome", 0.20F, PAGE_LEFT}};
    const struct review *review = sheet->review;
    const enum temperature_unit unit = review->config->unit;
    struct sheet_table table;

    sheet_table_begin(&table, &sheet->trial.sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < visit->verdict_count; i++) {
        const struct verdict *verdict = &visit->verdicts[i];
        char what[WORDS_LIMIT_BYTES], limit[WORDS_LIMIT_BYTES], found[WORDS_SENTENCE_BYTES];

        sheet_table_row(
            &table, (const struct sheet_cell[]){
                        {words_what(&review->assessed->plan->operations[verdict->operation], verdict->requirement,
                                    unit, what),
                         SHEET_NO_MARK, false},
                        {words_limit(verdict->requirement, verdict->required, unit, limit), SHEET_NO_MARK, false},
                        {words_found(verdict, unit, found), SHEET_NO_MARK, false},
                        {review_outcome(review, verdict->outcome),
                         review->instead != NULL ? SHEET_NO_MARK : (int)verdict->outcome, true}});
    }
    sheet_table_end(&table);
}

/* ---- the curve ---- */

/* Findings are numbered as the list below the curve has them. */
static size_t make_marks(const struct review_visit *visit, struct chart_mark *marks) {
    size_t count = 0;

    for (size_t i = 0; i < visit->run->finding_count && count < MARKS_MOST; i += review_span(visit, i), count++)
        marks[count] = (struct chart_mark){visit->run->findings[i].t_ms, count + 1};
    return count;
}

static void write_curve(struct review_sheet *sheet, const struct review_visit *visit) {
    const struct review *review = sheet->review;
    const struct plan_operation *soak = plan_visit_soak(review->assessed->plan, visit->visit);
    const bool cold = soak->kind == OPERATION_COLD;
    char band[TRIAL_NAME_BYTES], low[QUANTITY_TEXT_BYTES], high[QUANTITY_TEXT_BYTES], length[QUANTITY_TEXT_BYTES];
    char remark[LINE_BYTES];
    struct chart_mark marks[MARKS_MOST];
    struct chart_dressing dressing = {.unit = review->config->unit,
                                      .utc_offset_min = review->config->utc_offset_min,
                                      .origin_ms = visit->from_ms,
                                      .band_low_mc = soak->temperature_mc - (cold ? COLD_BAND_MC : soak->below_mc),
                                      .band_high_mc = soak->temperature_mc + (cold ? 0 : soak->above_mc),
                                      .band_open_below = cold,
                                      .band_text = band,
                                      .soak_begun_ms = visit->run->soak.longest_begun_ms,
                                      .soak_ended_ms = visit->run->soak.longest_ended_ms,
                                      .soak_text = length,
                                      .marks = marks,
                                      .mark_count = review->instead != NULL ? 0 : make_marks(visit, marks)};

    quantity_format_temperature(dressing.band_low_mc, review->config->unit, 0, low);
    quantity_format_temperature(dressing.band_high_mc, review->config->unit, 0, high);
    if (cold)
        snprintf(band, sizeof band, "planned: at or below %s", high);
    else
        snprintf(band, sizeof band, "%s band %s to %s", review->instead != NULL ? "supposed" : "planned", low,
                 high);
    quantity_format_duration(visit->run->soak.longest_ended_ms - visit->run->soak.longest_begun_ms, length);
    if (visit->earlier.batch_id != 0)
        snprintf(remark, sizeof remark, "Laid over: batch %lld (run %lld), the last good one of this plan, %s.",
                 (long long)visit->earlier.batch_id, (long long)visit->earlier.run_id,
                 visit->earlier.in_ms != 0 && visit->run->soak.first_begun_ms != 0
                     ? "moved so that both come into the band at once"
                     : "moved so that both runs begin at once");
    else
        snprintf(remark, sizeof remark, "There is no earlier good batch of this plan to lay over it.");
    trial_caption(&sheet->trial,
                  review->instead != NULL ? "The curve over what is supposed" : "The curve over the plan", remark,
                  CHART_HEIGHT);
    chart_draw(visit->chart, sheet->trial.page, sheet_take(&sheet->trial.sheet, CHART_HEIGHT), &dressing);
    sheet_skip(&sheet->trial.sheet, AFTER);
}

/* ---- findings ---- */

static void write_findings(struct review_sheet *sheet, const struct review_visit *visit) {
    static const struct sheet_column columns[] = {{"no.", 0.05F, PAGE_RIGHT},
                                                  {"time", 0.11F, PAGE_LEFT},
                                                  {"what", 0.44F, PAGE_LEFT},
                                                  {"what it cost", 0.40F, PAGE_LEFT}};
    struct sheet_table table;
    size_t number = 0;

    trial_caption(&sheet->trial, "In order of time", "", FOLLOWS);
    if (visit->run->finding_count == 0) {
        sheet_plain(&sheet->trial.sheet, "Nothing was found: the charge never came into the band.");
        return;
    }
    sheet_table_begin(&table, &sheet->trial.sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < visit->run->finding_count; i += review_span(visit, i)) {
        char text[REVIEW_TEXT_BYTES], cost[REVIEW_TEXT_BYTES], time[QUANTITY_TEXT_BYTES];
        char count[QUANTITY_TEXT_BYTES];

        snprintf(count, sizeof count, "%zu", ++number);
        sheet_table_row(&table, (const struct sheet_cell[]){
                                    {count, SHEET_NO_MARK, false},
                                    {trial_moment(sheet->review->config, visit->run->findings[i].t_ms, time),
                                     SHEET_NO_MARK, false},
                                    {review_finding(sheet->review, visit, i, text), SHEET_NO_MARK, false},
                                    {review_cost(sheet->review, visit, i, cost), SHEET_NO_MARK, true}});
    }
    sheet_table_end(&table);
}

/* ---- causes ---- */

/* Everything on one side, one sentence a line. */
static void gather(const struct review_sheet *sheet, const struct review_visit *visit,
                   const struct cause_opinion *opinion, int side, char *out) {
    size_t used = 0, said = 0;

    out[0] = '\0';
    for (size_t i = 0; i < opinion->evidence_count && said < EVIDENCE_MOST; i++) {
        const struct cause_evidence *evidence = &opinion->evidence[i];
        char text[REVIEW_TEXT_BYTES];

        if ((evidence->weight > 0) - (evidence->weight < 0) != side)
            continue;
        used += (size_t)snprintf(out + used, CELL_BYTES - used, "%s%s", said > 0 ? ";\n" : "",
                                 review_evidence(sheet->review, visit, evidence, text));
        said++;
    }
    if (said == 0)
        snprintf(out, CELL_BYTES, "nothing");
}

static void write_cause(struct review_sheet *sheet, struct sheet_table *table, const struct review_visit *visit,
                        size_t rank) {
    const struct cause_opinion *opinion = &visit->opinions[rank];
    char name[REVIEW_TEXT_BYTES], speaks[CELL_BYTES], against[2 * CELL_BYTES], unseen[CELL_BYTES];

    snprintf(name, sizeof name, "%zu. %s\n%s", rank + 1, cause_name(opinion->cause), cause_grade(opinion->score));
    gather(sheet, visit, opinion, 1, speaks);
    gather(sheet, visit, opinion, -1, against);
    gather(sheet, visit, opinion, 0, unseen);
    if (strcmp(unseen, "nothing") != 0)
        snprintf(against + strlen(against), CELL_BYTES, "\nnot seen: %.*s", CELL_BYTES - 32, unseen);
    sheet_table_row(table, (const struct sheet_cell[]){{name, SHEET_NO_MARK, opinion->score >= CAUSE_POSSIBLE},
                                                       {speaks, SHEET_NO_MARK, false},
                                                       {against, SHEET_NO_MARK, false}});
}

static void write_settling(struct review_sheet *sheet, const struct review_visit *visit) {
    bool any = false;

    sheet_heading(&sheet->trial.sheet, "What would settle it", EVIDENCE_FOLLOWS);
    for (size_t i = 0; i < CAUSE_COUNT && visit->opinions[i].score >= CAUSE_POSSIBLE; i++) {
        char line[LINE_BYTES];

        snprintf(line, sizeof line, "%zu. %s", i + 1, cause_settle(visit->opinions[i].cause));
        sheet_plain(&sheet->trial.sheet, line);
        any = true;
    }
    if (!any)
        sheet_plain(&sheet->trial.sheet,
                    "Run the same plan once more with a reference thermocouple in the charge, and change "
                    "one thing at a time.");
}

static void write_causes(struct review_sheet *sheet, const struct review_visit *visit) {
    static const struct sheet_column columns[] = {
        {"cause", 0.24F, PAGE_LEFT}, {"for", 0.40F, PAGE_LEFT}, {"against", 0.36F, PAGE_LEFT}};
    const struct page_type strong = {PAGE_BOLD, SUBTITLE_SIZE, INK_TEXT};
    char line[REVIEW_TEXT_BYTES];
    struct sheet_table table;

    sheet_heading(&sheet->trial.sheet, "Causes, the likeliest first", FOLLOWS);
    sheet_paragraph(&sheet->trial.sheet, &strong, SUBTITLE_LEADING, review_answer(visit, line));
    sheet_skip(&sheet->trial.sheet, AFTER / 2);
    sheet_plain(&sheet->trial.sheet, review_basis(visit, line));
    sheet_table_begin(&table, &sheet->trial.sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < CAUSE_COUNT; i++)
        write_cause(sheet, &table, visit, i);
    sheet_table_end(&table);
    write_settling(sheet, visit);
}

/* ---- all of it ---- */

static void write_visit(struct review_sheet *sheet, const struct review_visit *visit) {
    const struct review *review = sheet->review;
    const struct assess_visit *assessed = &review->assessed->visits[visit->visit];
    char line[LINE_BYTES], name[REVIEW_TEXT_BYTES], text[REVIEW_TEXT_BYTES], time[QUANTITY_TEXT_BYTES],
        length[QUANTITY_TEXT_BYTES];

    snprintf(line, sizeof line, "Visit %zu, %s: %s", visit->visit + 1,
             review_visit_name(review, visit->visit, name), review_outcome(review, assessed->outcome));
    sheet_heading(&sheet->trial.sheet, line, FOLLOWS);
    if (visit->run == NULL) {
        sheet_plain(&sheet->trial.sheet, "No oven run belongs to it: there is nothing to look at.");
        return;
    }
    snprintf(line, sizeof line, "Run %lld in oven %s, begun %s, %s long%s.", (long long)visit->run->run.run_id,
             visit->run->oven, quantity_format_time(visit->run->run.begun_ms, review->config->utc_offset_min, time),
             quantity_format_duration(visit->run->until_ms - visit->run->run.begun_ms, length),
             visit->run->run.ended_ms == 0 ? ", still on" : "");
    sheet_plain(&sheet->trial.sheet, line);
    if (review_provenance(review, visit->run, text)[0] != '\0')
        sheet_plain(&sheet->trial.sheet, text);
    write_verdicts(sheet, assessed);
    if (!visit->failed && review->instead == NULL)
        return;
    write_curve(sheet, visit);
    if (review->instead != NULL)
        return;
    write_findings(sheet, visit);
    if (visit->weighed)
        write_causes(sheet, visit);
    sheet_heading(&sheet->trial.sheet, "Can the rest of the cycle rescue the charge?", EVIDENCE_FOLLOWS);
    sheet_plain(&sheet->trial.sheet, review_rescue(review, visit, name));
}

int review_sheet_make(struct review *review, unsigned char **bytes, size_t *length, struct fault *fault) {
    struct review_sheet *sheet = calloc(1, sizeof *sheet);
    int result;

    if (sheet == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    sheet->review = review;
    result = open_page(sheet, fault);
    if (result == 0) {
        (review->instead != NULL ? write_supposed : write_answer)(sheet);
        if (assess_hardness_decides(review->assessed))
            sheet_plain(&sheet->trial.sheet, review_hardness);
        for (size_t i = 0; i < review->assessed->visit_count; i++)
            write_visit(sheet, &review->visits[i]);
        sheet_heading(&sheet->trial.sheet, "How far this goes", EVIDENCE_FOLLOWS);
        sheet_plain(&sheet->trial.sheet, review->instead != NULL ? review_hypothetical : review_method);
        trial_cautions(&sheet->trial);
        result = trial_finish(&sheet->trial, 0, bytes, length, fault);
    }
    free(sheet);
    return result;
}
