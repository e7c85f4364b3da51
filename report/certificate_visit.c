// SPDX-License-Identifier: MIT
/* All about one visit: its runs, curves and quench, where and when each requirement was decided, findings in order
 * of time, how complete the readings are. */
#include <stdio.h>
#include <string.h>

#include "certificate_parts.h"
#include "soakledger/tell.h"
#include "soakledger/words.h"

enum { PER_CENT = 100, TENTHS_OF_PER_CENT = 1000 };
static const float BEFORE_TABLE = 2, MOST = 0.6F;

static struct sheet_cell plain(const char *text) {
    return (struct sheet_cell){text, SHEET_NO_MARK, false};
}

static struct sheet_cell strong(const char *text) {
    return (struct sheet_cell){text, SHEET_NO_MARK, true};
}

static void certificate_begin_table(struct certificate *certificate, struct sheet_table *table, const char *title,
                                    const struct sheet_column *columns, size_t count) {
    sheet_subheading(&certificate->sheet, title, CERTIFICATE_LIST_FOLLOWS);
    sheet_skip(&certificate->sheet, BEFORE_TABLE);
    sheet_table_begin(table, &certificate->sheet, columns, count);
    table->dense = true;
}

/* ---- runs ---- */

static const char *certificate_agreement(enum assess_agreement agreement) {
    switch (agreement) {
    case ASSESS_AGREES: return "judged live, the same";
    case ASSESS_DIFFERS: return "JUDGED LIVE, DIFFERENTLY";
    case ASSESS_NOT_STORED: break;
    }
    return "judged afterwards only";
}

static char *certificate_extreme(const struct certificate *certificate, size_t visit, const struct assess_run *run,
                                 char *out) {
    const bool cold = plan_visit_soak(certificate->assessed->plan, visit)->kind == OPERATION_COLD;

    snprintf(out, QUANTITY_TEXT_BYTES, "not reached");
    if (cold && run->soak.lowest_known)
        quantity_format_temperature(run->soak.lowest_mc, certificate->config->unit, 1, out);
    else if (!cold && run->soak.peak_t_ms != 0)
        quantity_format_temperature(run->soak.peak_mc, certificate->config->unit, 1, out);
    return out;
}

static void certificate_list_run(struct certificate *certificate, struct sheet_table *table, size_t visit,
                                 const struct assess_run *run) {
    const struct assess_run *deciding = assess_deciding_run(&certificate->assessed->visits[visit]);
    char number[QUANTITY_TEXT_BYTES], begun[QUANTITY_TEXT_BYTES], length[QUANTITY_TEXT_BYTES];
    char peak[QUANTITY_TEXT_BYTES], part[CERTIFICATE_NAME_BYTES];

    snprintf(number, sizeof number, "%lld", (long long)run->run.run_id);
    snprintf(part, sizeof part, "%s; %s",
             run == deciding ? "decides"
             : !run->reached ? "broken off before the band was reached"
                             : "an earlier attempt",
             certificate_agreement(run->agreement));
    const struct sheet_cell cells[] = {
        strong(number),
        plain(run->oven),
        plain(certificate_time(certificate, run->run.begun_ms, begun)),
        plain(quantity_format_duration(run->until_ms - run->run.begun_ms, length)),
        plain(run_end_name(run->run.end)),
        plain(certificate_extreme(certificate, visit, run, peak)),
        plain(part),
    };
    sheet_table_row(table, cells);
}

static void certificate_runs(struct certificate *certificate, size_t visit) {
    const bool cold = plan_visit_soak(certificate->assessed->plan, visit)->kind == OPERATION_COLD;
    char when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {"run", 0.05F, PAGE_LEFT},
        {"oven", 0.15F, PAGE_LEFT},
        {certificate_time_title(certificate, "begun", when, sizeof when), 0.22F, PAGE_LEFT},
        {"length", 0.11F, PAGE_RIGHT},
        {"ended by", 0.10F, PAGE_LEFT},
        {cold ? "coldest" : "peak", 0.09F, PAGE_RIGHT},
        {"part in the answer", 0.28F, PAGE_LEFT},
    };
    struct sheet_table table;

    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    table.dense = true;
    for (size_t i = 0; i < certificate->assessed->visits[visit].run_count; i++)
        certificate_list_run(certificate, &table, visit, &certificate->assessed->visits[visit].runs[i]);
    sheet_table_end(&table);
}

/* One line: what else was in the oven. */
static void certificate_say_others(struct certificate *certificate, const struct assess_visit *of) {
    char others[CERTIFICATE_LINE_BYTES], line[2 * CERTIFICATE_LINE_BYTES];

    for (size_t i = 0; i < of->run_count; i++) {
        if (of->runs[i].other_count == 0)
            continue;
        assess_describe_others(&of->runs[i], others, sizeof others);
        snprintf(line, sizeof line, "Run %lld was not this batch's alone. In the oven with it: %s.",
                 (long long)of->runs[i].run.run_id, others);
        sheet_small(&certificate->sheet, line);
    }
}

/* ---- where and when ---- */

static void certificate_list_evidence(struct certificate *certificate, struct sheet_table *table,
                                      const struct assess_run *run, const struct verdict *verdict, bool same) {
    const struct plan_operation *operation = &certificate->assessed->plan->operations[verdict->operation];
    const enum temperature_unit unit = certificate->config->unit;
    char name[CERTIFICATE_NAME_BYTES], what[WORDS_LIMIT_BYTES], found[WORDS_LIMIT_BYTES], time[QUANTITY_TEXT_BYTES];
    char elapsed[QUANTITY_TEXT_BYTES] = "";

    certificate_operation_name(certificate->assessed->plan, verdict->operation, name, sizeof name);
    if (verdict->t_ms != 0)
        words_elapsed(verdict->t_ms - run->run.begun_ms, elapsed);
    const struct sheet_cell cells[] = {
        strong(same ? "" : name),
        plain(words_what(operation, verdict->requirement, unit, what)),
        strong(words_found_value(verdict, unit, found)),
        plain(verdict->t_ms != 0 ? certificate_time(certificate, verdict->t_ms, time) : ""),
        plain(elapsed),
        plain(certificate_channel_name(run, verdict->channel_id)),
    };
    table->begins = !same;
    table->carried = same ? name : NULL;
    sheet_table_row(table, cells);
    table->carried = NULL;
}

static void certificate_evidence(struct certificate *certificate, size_t visit) {
    const struct assess_visit *of = &certificate->assessed->visits[visit];
    char when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {"operation", 0.19F, PAGE_LEFT},
        {"requirement", 0.19F, PAGE_LEFT},
        {"found", 0.12F, PAGE_RIGHT},
        {certificate_time_title(certificate, "when", when, sizeof when), 0.20F, PAGE_LEFT},
        {"from begin", 0.115F, PAGE_RIGHT},
        {"decided by channel", 0.185F, PAGE_LEFT},
    };
    struct sheet_table table;

    if (of->verdict_count == 0 || assess_deciding_run(of) == NULL)
        return;
    certificate_begin_table(certificate, &table, "Where and when it was found", columns,
                            sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < of->verdict_count; i++)
        certificate_list_evidence(certificate, &table, assess_deciding_run(of), &of->verdicts[i],
                                  i > 0 && of->verdicts[i - 1].operation == of->verdicts[i].operation);
    sheet_table_end(&table);
}

/* ---- findings ---- */

static void certificate_list_findings(struct certificate *certificate, struct sheet_table *table,
                                      const struct assess_run *run) {
    const size_t first = certificate_first_number(certificate, run);

    for (size_t i = 0; i < run->finding_count; i++) {
        const struct finding *finding = &run->findings[i];
        const char *channel = certificate_channel_name(run, finding->channel_id);
        char number[QUANTITY_TEXT_BYTES], time[QUANTITY_TEXT_BYTES], elapsed[QUANTITY_TEXT_BYTES];
        char operation[CERTIFICATE_NAME_BYTES], sentence[CERTIFICATE_LINE_BYTES], run_number[QUANTITY_TEXT_BYTES];

        snprintf(number, sizeof number, "%zu", first + i);
        snprintf(run_number, sizeof run_number, "%lld", (long long)run->run.run_id);
        judge_describe_finding(finding, certificate->assessed->plan->operations[finding->operation].kind,
                               channel[0] != '\0' ? channel : NULL, certificate->config->unit, sentence,
                               sizeof sentence);
        const struct sheet_cell cells[] = {
            strong(number),
            plain(certificate_time(certificate, finding->t_ms, time)),
            plain(words_elapsed(finding->t_ms - run->run.begun_ms, elapsed)),
            plain(run_number),
            plain(certificate_operation_name(certificate->assessed->plan, finding->operation, operation,
                                             sizeof operation)),
            plain(sentence),
        };
        sheet_table_row(table, cells);
    }
}

static void certificate_findings(struct certificate *certificate, size_t visit) {
    const struct assess_visit *of = &certificate->assessed->visits[visit];
    char when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {"no.", 0.05F, PAGE_RIGHT},
        {certificate_time_title(certificate, "when", when, sizeof when), 0.20F, PAGE_LEFT},
        {"from begin", 0.115F, PAGE_RIGHT},
        {"run", 0.05F, PAGE_RIGHT},
        {"operation", 0.155F, PAGE_LEFT},
        {"finding", 0.43F, PAGE_LEFT},
    };
    struct sheet_table table;
    size_t count = 0;

    for (size_t i = 0; i < of->run_count; i++)
        count += of->runs[i].finding_count;
    if (count == 0) {
        sheet_subheading(&certificate->sheet, "Findings, in order of time", CERTIFICATE_LIST_FOLLOWS);
        sheet_plain(&certificate->sheet, "There are none.");
        return;
    }
    certificate_begin_table(certificate, &table, "Findings, in order of time", columns,
                            sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < of->run_count; i++)
        certificate_list_findings(certificate, &table, &of->runs[i]);
    sheet_table_end(&table);
}

/* ---- completeness ---- */

/* "12 no reply, 3 bad frame" */
static void certificate_describe_missing(const struct assess_tally *tally, char *out, size_t size) {
    size_t used = 0;

    snprintf(out, size, "none");
    for (int quality = QUALITY_GOOD + 1; quality < QUALITY_COUNT && used + 1 < size; quality++) {
        if (tally->by_quality[quality] == 0)
            continue;
        used += (size_t)snprintf(out + used, size - used, "%s%lld %s", used > 0 ? ", " : "",
                                 (long long)tally->by_quality[quality], quality_name((enum quality)quality));
    }
}

static void certificate_describe_gaps(const struct assess_tally *tally, char *out, size_t size) {
    char total[QUANTITY_TEXT_BYTES], longest[QUANTITY_TEXT_BYTES];

    if (tally->gap_count == 0)
        snprintf(out, size, "none");
    else
        snprintf(out, size, "%lld, together %s, longest %s", (long long)tally->gap_count,
                 quantity_format_duration(tally->gap_total_ms, total),
                 quantity_format_duration(tally->gap_longest_ms, longest));
}

static void certificate_list_sampling(struct sheet_table *table, const struct assess_run *run, size_t channel) {
    const struct assess_tally *tally = &run->tallies[channel];
    char name[CERTIFICATE_LINE_BYTES], number[QUANTITY_TEXT_BYTES], good[CERTIFICATE_NAME_BYTES];
    char share[QUANTITY_TEXT_BYTES], missing[CERTIFICATE_LINE_BYTES], gaps[CERTIFICATE_LINE_BYTES];
    char interval[QUANTITY_TEXT_BYTES];
    // Rounded down, so that 100.0 % means every single one.
    const int64_t exact =
        tally->expected > 0 ? tally->good * TENTHS_OF_PER_CENT / tally->expected : TENTHS_OF_PER_CENT;
    const long long tenths = exact < TENTHS_OF_PER_CENT ? exact : TENTHS_OF_PER_CENT;

    snprintf(number, sizeof number, "%lld", (long long)run->run.run_id);
    snprintf(name, sizeof name, "%s.%s", run->oven, run->channels[channel].name);
    snprintf(good, sizeof good, "%lld of %lld", (long long)tally->good, (long long)tally->expected);
    snprintf(share, sizeof share, "%lld.%lld %%", tenths / (TENTHS_OF_PER_CENT / PER_CENT),
             tenths % (TENTHS_OF_PER_CENT / PER_CENT));
    certificate_describe_missing(tally, missing, sizeof missing);
    certificate_describe_gaps(tally, gaps, sizeof gaps);
    const struct sheet_cell cells[] = {
        plain(number), strong(name), plain(quantity_format_duration(run->channels[channel].interval_ms, interval)),
        plain(good),   plain(share), plain(missing),
        plain(gaps)};
    sheet_table_row(table, cells);
}

static void certificate_sampling(struct certificate *certificate, size_t visit) {
    static const struct sheet_column columns[] = {
        {"run", 0.045F, PAGE_LEFT},   {"channel", 0.20F, PAGE_LEFT},
        {"every", 0.08F, PAGE_RIGHT}, {"good readings of those due", 0.155F, PAGE_RIGHT},
        {"share", 0.10F, PAGE_RIGHT}, {"not good, and why", 0.21F, PAGE_LEFT},
        {"gaps", 0.21F, PAGE_LEFT},
    };
    const struct assess_visit *of = &certificate->assessed->visits[visit];
    struct sheet_table table;

    certificate_begin_table(certificate, &table, "How complete the readings are", columns,
                            sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < of->run_count; i++)
        for (size_t k = 0; k < of->runs[i].channel_count; k++)
            certificate_list_sampling(&table, &of->runs[i], k);
    sheet_table_end(&table);
}

/* ---- the visit ---- */

/* A visit begins a page, unless most of one is left. */
static void certificate_turn_over(struct certificate *certificate) {
    const struct sheet *sheet = &certificate->sheet;

    if (sheet->y > sheet->frame.top &&
        sheet->frame.bottom - sheet->y < MOST * (sheet->frame.bottom - sheet->frame.top))
        sheet_new_page(&certificate->sheet);
}

static int certificate_visit(struct certificate *certificate, size_t visit, struct fault *fault) {
    const struct assess_visit *of = &certificate->assessed->visits[visit];
    const struct assess_run *run = assess_deciding_run(of);
    char name[TELL_BYTES], heading[CERTIFICATE_LINE_BYTES];

    snprintf(heading, sizeof heading, "Visit %zu of %zu: %s – %s", visit + 1, certificate->assessed->visit_count,
             tell_visit(certificate->assessed->plan, visit, name), judge_outcome_name(of->outcome));
    if (run == NULL) {
        certificate_section(certificate, "visits", heading, CERTIFICATE_LIST_FOLLOWS);
        sheet_plain(&certificate->sheet, "No oven run was recorded for this operation: there is nothing to draw.");
        return 0;
    }
    certificate_turn_over(certificate);
    certificate_section(certificate, "visits", heading, CERTIFICATE_LIST_FOLLOWS);
    certificate_runs(certificate, visit);
    certificate_say_others(certificate, of);
    if (certificate_draw_run(certificate, visit, run, fault) != 0)
        return -1;
    certificate_evidence(certificate, visit);
    if (certificate_draw_quench(certificate, visit, run, fault) != 0)
        return -1;
    certificate_findings(certificate, visit);
    certificate_sampling(certificate, visit);
    for (size_t i = 0; i < of->run_count; i++)
        if (&of->runs[i] != run && certificate_draw_run(certificate, visit, &of->runs[i], fault) != 0)
            return -1;
    return 0;
}

int certificate_visits(struct certificate *certificate, struct fault *fault) {
    for (size_t i = 0; i < certificate->assessed->visit_count; i++)
        if (certificate_visit(certificate, i, fault) != 0)
            return -1;
    return 0;
}
