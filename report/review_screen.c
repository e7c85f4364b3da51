// SPDX-License-Identifier: MIT
/* A review on a terminal of 80 columns. Colour carries nothing that a word or a sign does not. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "plan_parts.h"
#include "review_parts.h"
#include "soakledger/words.h"

enum { ROWS = 13, AXIS = 7, LINE_COLUMNS = 79, LINE_BYTES = 2048, SHOWN_CAUSES = 3, MC_PER_C = 1000, TICK_C = 100 };
enum { FOR_INDENT = 13, FOR_MOST = 5 };
static const char MARK[] = "what if | "; // before every line of a what-if

struct page {
    const struct review *review;
    const struct review_screen *screen;
    int columns; // what a line has room for
};

/* ---- lines ---- */

static const char *sign_of(const struct page *page) {
    return page->review->instead != NULL ? MARK : "";
}

/* Bytes of `text` that fit into `columns`, broken at a blank; `next` gets where the rest begins. */
static size_t fit(const char *text, int columns, size_t *next) {
    size_t at = 0, broken = 0;

    for (int column = 0; text[at] != '\0' && text[at] != '\n' && column < columns; column++) {
        at += words_character(text + at);
        if (text[at] == ' ' || text[at] == '\0' || text[at] == '\n')
            broken = at;
    }
    if (broken == 0)
        broken = at;
    *next = broken + strspn(text + broken, " \n");
    return broken;
}

/* `head` stands before the first line and blanks of its width before the others. */
static void say(const struct page *page, const char *head, bool strong, const char *text) {
    const int indent = (int)words_columns(head);
    char clean[LINE_BYTES];
    const char *rest = words_clean(text, strlen(text), 0, clean, sizeof clean);
    bool first = true;

    if (!page->screen->utf8)
        plan_make_plain(clean);
    while (first || *rest != '\0') {
        size_t next = 0;
        const size_t length = fit(rest, page->columns - indent, &next);

        fprintf(page->screen->out, "%s%s%*s%s%.*s%s\n", sign_of(page), first ? head : "", first ? 0 : indent, "",
                strong && page->screen->colour ? "\033[1m" : "", (int)length, rest,
                strong && page->screen->colour ? "\033[0m" : "");
        rest += next;
        first = false;
    }
}

static void heading(const struct page *page, const char *text) {
    fprintf(page->screen->out, "%s\n", page->review->instead != NULL ? "what if |" : "");
    say(page, "", true, text);
}

/* ---- the curve ---- */

struct range {
    double low_c, high_c;
};

static struct range find_range(const struct page *page, const struct review_visit *visit) {
    const struct plan_operation *soak = plan_visit_soak(page->review->assessed->plan, visit->visit);
    const double band_c = (double)(soak->temperature_mc + soak->above_mc) / MC_PER_C;
    struct range range = {(double)soak->temperature_mc / MC_PER_C, band_c};

    for (int i = 0; i < REVIEW_COLUMNS; i++) {
        const struct review_strip *strips[] = {&visit->now, &visit->before};

        for (int k = 0; k < 2; k++) {
            const double mean = strips[k]->sum_c[i] / (double)strips[k]->count[i];

            if (strips[k]->count[i] > 0) {
                range.low_c = fmin(range.low_c, mean);
                range.high_c = fmax(range.high_c, mean);
            }
        }
    }
    range.low_c = floor(range.low_c / TICK_C) * TICK_C;
    return range;
}

/* Where a column of the strip stands; a what-if has less room. */
static int column_of(const struct page *page, int strip_column) {
    const int room = page->columns - AXIS < REVIEW_COLUMNS ? page->columns - AXIS : REVIEW_COLUMNS;

    return AXIS + strip_column * room / REVIEW_COLUMNS;
}

static int row_of(const struct range *range, double c) {
    return (int)lround((range->high_c - c) / fmax(range->high_c - range->low_c, 1) * (ROWS - 1));
}

static void draw_axis(const struct page *page, const struct range *range, struct canvas *canvas) {
    const bool utf8 = page->screen->utf8;
    int last = -2;

    for (int row = 0; row < ROWS; row++)
        canvas_text(canvas, AXIS - 1, row, CANVAS_FAINT, utf8 ? "│" : "|");
    for (int64_t c = (int64_t)range->low_c; c <= (int64_t)range->high_c; c += TICK_C) {
        const int row = row_of(range, (double)c);
        char text[QUANTITY_TEXT_BYTES];

        if (abs(row - last) < 2)
            continue;
        last = row;
        quantity_format_temperature(c * MC_PER_C, page->review->config->unit, 0, text);
        *strchr(text, ' ') = '\0';
        canvas_text(canvas, AXIS - 2 - (int)strlen(text), row, CANVAS_PLAIN, text);
        canvas_text(canvas, AXIS - 1, row, CANVAS_FAINT, utf8 ? "┤" : "+");
    }
}

/* The plan's band, where there is nothing else. */
static void draw_band(const struct page *page, const struct review_visit *visit, const struct range *range,
                      struct canvas *canvas) {
    const struct plan_operation *soak = plan_visit_soak(page->review->assessed->plan, visit->visit);
    const int row = row_of(range, (double)soak->temperature_mc / MC_PER_C);

    for (int i = 0; i < REVIEW_COLUMNS; i++)
        canvas_text(canvas, column_of(page, i), row, CANVAS_FAINT, page->screen->utf8 ? "╌" : "-");
}

static void draw_strip(const struct page *page, const struct review_strip *strip, const struct range *range,
                       struct canvas *canvas, const char *sign, enum canvas_weight weight) {
    for (int i = 0; i < REVIEW_COLUMNS; i++)
        if (strip->count[i] > 0)
            canvas_text(canvas, column_of(page, i), row_of(range, strip->sum_c[i] / (double)strip->count[i]),
                        weight, sign);
}

static void draw_times(const struct page *page, const struct review_visit *visit, struct canvas *canvas) {
    enum { TIMES = 4 };

    for (int i = 0; i <= TIMES; i++) {
        const int column = column_of(page, i * (REVIEW_COLUMNS - 1) / TIMES);
        const int64_t t_ms = visit->from_ms + (visit->to_ms - visit->from_ms) * i / TIMES;
        char text[QUANTITY_TEXT_BYTES];

        words_clock(t_ms, page->review->config->utc_offset_min, 0, text);
        canvas_text(canvas, i == TIMES ? column - (int)strlen(text) + 1 : column, ROWS, CANVAS_PLAIN, text);
    }
}

/* The canvas goes through memory, so that each of its lines can be marked. */
static int print_canvas(const struct page *page, struct canvas *canvas, struct fault *fault) {
    char *text = NULL, *line, *rest;
    size_t size = 0;
    FILE *memory = open_memstream(&text, &size);

    if (memory == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    canvas_print(canvas, memory, page->screen->colour);
    fclose(memory);
    for (rest = text; (line = strsep(&rest, "\n")) != NULL && rest != NULL;)
        fprintf(page->screen->out, "%s%s\n", sign_of(page), line);
    free(text);
    return 0;
}

static int show_curve(const struct page *page, const struct review_visit *visit, struct fault *fault) {
    const struct range range = find_range(page, visit);
    const bool utf8 = page->screen->utf8;
    struct canvas *canvas = canvas_open(page->columns, ROWS + 1, utf8);
    char line[REVIEW_TEXT_BYTES], temperature[QUANTITY_TEXT_BYTES];
    int result;

    if (canvas == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    draw_axis(page, &range, canvas);
    draw_band(page, visit, &range, canvas);
    draw_strip(page, &visit->before, &range, canvas, utf8 ? "·" : ".", CANVAS_PLAIN);
    draw_strip(page, &visit->now, &range, canvas, utf8 ? "●" : "o", CANVAS_STRONG);
    draw_times(page, visit, canvas);
    result = print_canvas(page, canvas, fault);
    canvas_free(canvas);
    quantity_format_temperature(plan_visit_soak(page->review->assessed->plan, visit->visit)->temperature_mc,
                                page->review->config->unit, 0, temperature);
    if (visit->earlier.batch_id != 0)
        snprintf(line, sizeof line,
                 "%s this run   %s batch %lld, the last good one of this plan, %s   %s planned %s",
                 utf8 ? "●" : "o", utf8 ? "·" : ".", (long long)visit->earlier.batch_id,
                 visit->earlier.in_ms != 0 && visit->run->soak.first_begun_ms != 0
                     ? "laid over where both came into the band"
                     : "laid over from the beginning",
                 utf8 ? "╌" : "-", temperature);
    else
        snprintf(line, sizeof line, "%s this run   %s planned %s   There is no earlier good batch of this plan.",
                 utf8 ? "●" : "o", utf8 ? "╌" : "-", temperature);
    say(page, "       ", false, line);
    return result;
}

/* ---- what failed, when ---- */

static void show_verdicts(const struct page *page, const struct assess_visit *visit) {
    const enum temperature_unit unit = page->review->config->unit;

    for (size_t i = 0; i < visit->verdict_count; i++) {
        const struct verdict *verdict = &visit->verdicts[i];
        char line[LINE_BYTES], limit[WORDS_LIMIT_BYTES], found[WORDS_SENTENCE_BYTES], what[WORDS_LIMIT_BYTES];
        char head[REVIEW_NAME_BYTES];

        if (verdict->outcome == OUTCOME_MET && page->review->instead == NULL)
            continue;
        snprintf(head, sizeof head, "  %-*s ", page->review->instead != NULL ? 19 : 10,
                 review_outcome(page->review, verdict->outcome));
        snprintf(line, sizeof line, "%s: %s; required: %s",
                 words_what(&page->review->assessed->plan->operations[verdict->operation], verdict->requirement,
                            unit, what),
                 words_found(verdict, unit, found),
                 words_limit(verdict->requirement, verdict->required, unit, limit));
        say(page, head, verdict->outcome != OUTCOME_MET, line);
    }
}

static void show_findings(const struct page *page, const struct review_visit *visit) {
    heading(page, "In order of time, and what it cost");
    if (visit->run->finding_count == 0)
        say(page, "  ", false, "Nothing was found: the charge never came into the band.");
    for (size_t i = 0; i < visit->run->finding_count; i += review_span(visit, i)) {
        char head[REVIEW_NAME_BYTES], line[2 * REVIEW_TEXT_BYTES], text[REVIEW_TEXT_BYTES], cost[REVIEW_TEXT_BYTES];
        char time[QUANTITY_TEXT_BYTES];

        words_clock(visit->run->findings[i].t_ms, page->review->config->utc_offset_min, 1, time);
        review_cost(page->review, visit, i, cost);
        snprintf(head, sizeof head, "  %s  ", time);
        snprintf(line, sizeof line, "%s%s%s", review_finding(page->review, visit, i, text),
                 cost[0] != '\0' ? " -> cost: " : "", cost);
        say(page, head, cost[0] != '\0', line);
    }
}

/* ---- causes ---- */

static void show_evidence(const struct page *page, const struct review_visit *visit,
                          const struct cause_opinion *opinion) {
    static const char *const HEADS[] = {"     for     ", "     against ", "     unseen  "};

    for (int side = 0; side < 3; side++) {
        size_t said = 0;

        for (size_t i = 0; i < opinion->evidence_count && said < FOR_MOST; i++) {
            const struct cause_evidence *evidence = &opinion->evidence[i];
            const int of = evidence->weight > 0 ? 0 : evidence->weight < 0 ? 1 : 2;
            char text[REVIEW_TEXT_BYTES];

            if (of == side) {
                say(page, HEADS[side], false, review_evidence(page->review, visit, evidence, text));
                said++;
            }
        }
    }
}

static void show_unlikely(const struct page *page, const struct review_visit *visit, size_t from) {
    char line[LINE_BYTES] = "";
    size_t used = 0;

    for (size_t i = from; i < CAUSE_COUNT && used < sizeof line; i++)
        used += (size_t)snprintf(line + used, sizeof line - used, "%s%s", i > from ? "; " : "",
                                 cause_name(visit->opinions[i].cause));
    if (from < CAUSE_COUNT)
        say(page, "  unlikely: ", false, line);
}

static void show_causes(const struct page *page, const struct review_visit *visit) {
    char line[LINE_BYTES];
    size_t shown = 0;

    heading(page, "Causes, the likeliest first");
    say(page, "  ", true, review_answer(visit, line));
    while (shown < SHOWN_CAUSES && visit->opinions[shown].score >= CAUSE_POSSIBLE) {
        const struct cause_opinion *opinion = &visit->opinions[shown++];
        char head[REVIEW_NAME_BYTES];

        snprintf(head, sizeof head, "  %zu. ", shown);
        snprintf(line, sizeof line, "%s: %s", cause_name(opinion->cause), cause_grade(opinion->score));
        say(page, head, true, line);
        show_evidence(page, visit, opinion);
        say(page, "     settle  ", false, cause_settle(opinion->cause));
    }
    show_unlikely(page, visit, shown);
    say(page, "  ", false, review_basis(visit, line));
}

/* ---- all of it ---- */

static int show_visit(const struct page *page, const struct review_visit *visit, struct fault *fault) {
    const struct assess_visit *assessed = &page->review->assessed->visits[visit->visit];
    char line[LINE_BYTES], name[REVIEW_TEXT_BYTES], text[REVIEW_TEXT_BYTES];

    snprintf(line, sizeof line, "Visit %zu, %s: %s", visit->visit + 1,
             review_visit_name(page->review, visit->visit, name), review_outcome(page->review, assessed->outcome));
    heading(page, line);
    if (visit->run == NULL) {
        say(page, "  ", false, "No oven run belongs to it: there is nothing to look at.");
        return 0;
    }
    snprintf(line, sizeof line, "Run %lld in oven %s, begun %s, %s long%s.", (long long)visit->run->run.run_id,
             visit->run->oven,
             quantity_format_time(visit->run->run.begun_ms, page->review->config->utc_offset_min, text),
             quantity_format_duration(visit->run->until_ms - visit->run->run.begun_ms, name),
             visit->run->run.ended_ms == 0 ? ", still on" : "");
    say(page, "  ", false, line);
    if (review_provenance(page->review, visit->run, text)[0] != '\0')
        say(page, "  ", false, text);
    show_verdicts(page, assessed);
    if (!visit->failed && page->review->instead == NULL)
        return 0;
    if (show_curve(page, visit, fault) != 0)
        return -1;
    if (page->review->instead != NULL)
        return 0;
    show_findings(page, visit);
    if (visit->weighed)
        show_causes(page, visit);
    heading(page, "Can the rest of the cycle rescue the charge?");
    say(page, "  ", false, review_rescue(page->review, visit, text));
    return 0;
}

static void show_recorded(const struct page *page) {
    char line[LINE_BYTES];

    say(page, "", false, review_hypothetical);
    snprintf(line, sizeof line, "As recorded, against its own plan, the batch is: %s.",
             judge_outcome_name(page->review->recorded->outcome));
    say(page, "", true, line);
}

int review_show(const struct review *review, const struct review_screen *screen, struct fault *fault) {
    const struct page page = {review, screen, LINE_COLUMNS - (review->instead != NULL ? (int)strlen(MARK) : 0)};
    char line[LINE_BYTES], headline[REVIEW_TEXT_BYTES], charge[REVIEW_NAME_BYTES];
    const struct ledger_batch *batch = review->assessed->batch;

    say(&page, "", true, review_headline(review, headline));
    snprintf(line, sizeof line, "%s. Plan: %.200s",
             words_clean(batch->charge, strlen(batch->charge), 0, charge, sizeof charge),
             review->assessed->plan->title);
    say(&page, "", false, line);
    if (review->assessed->simulated)
        say(&page, "", true, "SIMULATED CLOCK: not a record of real time.");
    if (review->instead != NULL)
        show_recorded(&page);
    if (assess_hardness_decides(review->assessed))
        say(&page, "", true, review_hardness);
    for (size_t i = 0; i < review->assessed->visit_count; i++)
        if (show_visit(&page, &review->visits[i], fault) != 0)
            return -1;
    heading(&page, "How far this goes");
    say(&page, "  ", false, review->instead != NULL ? review_hypothetical : review_method);
    return 0;
}
