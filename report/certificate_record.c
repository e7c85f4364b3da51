// SPDX-License-Identifier: MIT
/* How the answer is known: findings, runs, interruptions, instruments, completeness. */
#include <stdio.h>
#include <string.h>

#include "certificate_parts.h"
#include "soakledger/words.h"

enum { PER_CENT = 100, TENTHS_OF_PER_CENT = 1000, DATE_LENGTH = 10 };

static const float ROWS_THAT_FOLLOW = 76, REMARK_AFTER = 6;

typedef void certificate_visitor(struct certificate *certificate, struct sheet_table *table, size_t visit,
                                 const struct assess_run *run);

static void certificate_each_run(struct certificate *certificate, struct sheet_table *table,
                                 certificate_visitor *visitor) {
    for (size_t i = 0; i < certificate->assessed->visit_count; i++)
        for (size_t k = 0; k < certificate->assessed->visits[i].run_count; k++)
            visitor(certificate, table, i, &certificate->assessed->visits[i].runs[k]);
}

static bool certificate_has_runs(const struct certificate *certificate) {
    for (size_t i = 0; i < certificate->assessed->visit_count; i++)
        if (certificate->assessed->visits[i].run_count > 0)
            return true;
    return false;
}

static struct sheet_cell plain(const char *text) {
    return (struct sheet_cell){text, SHEET_NO_MARK, false};
}

static struct sheet_cell strong(const char *text) {
    return (struct sheet_cell){text, SHEET_NO_MARK, true};
}

/* ---- findings ---- */

static void certificate_list_findings(struct certificate *certificate, struct sheet_table *table, size_t visit,
                                      const struct assess_run *run) {
    const size_t first = certificate_first_number(certificate, run);

    (void)visit;
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

void certificate_findings(struct certificate *certificate) {
    char when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {"no.", 0.05F, PAGE_LEFT},
        {certificate_time_title(certificate, "date and time", when, sizeof when), 0.20F, PAGE_LEFT},
        {"h:min:s from begin", 0.11F, PAGE_LEFT},
        {"run", 0.05F, PAGE_LEFT},
        {"operation", 0.15F, PAGE_LEFT},
        {"finding", 0.44F, PAGE_LEFT},
    };
    struct sheet_table table;

    sheet_heading(&certificate->sheet, "Findings, in order of time", ROWS_THAT_FOLLOW);
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    certificate_each_run(certificate, &table, certificate_list_findings);
    sheet_table_end(&table);
    if (table.rows == 0)
        sheet_plain(&certificate->sheet, "There are none.");
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

static void certificate_list_run(struct certificate *certificate, struct sheet_table *table, size_t visit,
                                 const struct assess_run *run) {
    const struct assess_run *deciding = assess_deciding_run(&certificate->assessed->visits[visit]);
    char number[QUANTITY_TEXT_BYTES], name[CERTIFICATE_NAME_BYTES], begun[QUANTITY_TEXT_BYTES];
    char length[QUANTITY_TEXT_BYTES], peak[QUANTITY_TEXT_BYTES] = "not reached", part[CERTIFICATE_NAME_BYTES];

    snprintf(number, sizeof number, "%lld", (long long)run->run.run_id);
    if (plan_visit_soak(certificate->assessed->plan, visit)->kind == OPERATION_COLD) {
        if (run->soak.lowest_known)
            quantity_format_temperature(run->soak.lowest_mc, certificate->config->unit, 1, peak);
    } else if (run->soak.peak_t_ms != 0) {
        quantity_format_temperature(run->soak.peak_mc, certificate->config->unit, 1, peak);
    }
    snprintf(part, sizeof part, "%s; %s",
             run == deciding ? "decides"
             : !run->reached ? "broken off before the band was reached"
                             : "an earlier attempt",
             certificate_agreement(run->agreement));
    const struct sheet_cell cells[] = {
        strong(number),
        plain(certificate_visit_name(certificate->assessed->plan, visit, name, sizeof name)),
        plain(run->oven),
        plain(certificate_time(certificate, run->run.begun_ms, begun)),
        plain(quantity_format_duration(run->until_ms - run->run.begun_ms, length)),
        plain(run_end_name(run->run.end)),
        plain(peak),
        plain(part),
    };
    sheet_table_row(table, cells);
}

void certificate_runs(struct certificate *certificate) {
    char when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {"run", 0.05F, PAGE_LEFT},
        {"for", 0.15F, PAGE_LEFT},
        {"oven", 0.12F, PAGE_LEFT},
        {certificate_time_title(certificate, "begun", when, sizeof when), 0.16F, PAGE_LEFT},
        {"length", 0.12F, PAGE_LEFT},
        {"ended by", 0.09F, PAGE_LEFT},
        {"peak, or coldest", 0.11F, PAGE_LEFT},
        {"part in the answer", 0.20F, PAGE_LEFT},
    };
    struct sheet_table table;

    sheet_heading(&certificate->sheet, "Oven runs", ROWS_THAT_FOLLOW);
    if (!certificate_has_runs(certificate)) {
        sheet_plain(&certificate->sheet, "No oven run was recorded for this batch.");
        return;
    }
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    certificate_each_run(certificate, &table, certificate_list_run);
    sheet_table_end(&table);
}

/* ---- events ---- */

static void certificate_describe_event(const struct event *event, char *out, size_t size) {
    char length[QUANTITY_TEXT_BYTES];

    quantity_format_duration(event->amount < 0 ? -event->amount : event->amount, length);
    switch (event->kind) {
    case EVENT_STARTED: snprintf(out, size, "the recorder began"); return;
    case EVENT_STOPPED: snprintf(out, size, "the recorder was stopped in order"); return;
    case EVENT_RESUMED:
        snprintf(out, size, "the recorder went on after %s without recording%s%s", length,
                 event->detail[0] != '\0' ? ": " : "", event->detail);
        return;
    case EVENT_CLOCK_STEP:
        snprintf(out, size, "the computer's clock was put %s by %s; the durations on this sheet are not affected",
                 event->amount < 0 ? "back" : "forward", length);
        return;
    case EVENT_LINE_LOST: snprintf(out, size, "the line %s was lost", event->detail); return;
    case EVENT_LINE_BACK: snprintf(out, size, "the line %s is back after %s", event->detail, length); return;
    case EVENT_OVERFLOW:
        snprintf(out, size, "%lld readings were lost: the ledger was not written fast enough",
                 (long long)event->amount);
        return;
    }
    snprintf(out, size, "event of kind %d", (int)event->kind);
}

static void certificate_list_events(struct certificate *certificate, struct sheet_table *table, size_t visit,
                                    const struct assess_run *run) {
    (void)visit;
    for (size_t i = 0; i < run->event_count; i++) {
        char time[QUANTITY_TEXT_BYTES], number[QUANTITY_TEXT_BYTES], text[CERTIFICATE_LINE_BYTES];

        snprintf(number, sizeof number, "%lld", (long long)run->run.run_id);
        certificate_describe_event(&run->events[i], text, sizeof text);
        const struct sheet_cell cells[] = {plain(certificate_time(certificate, run->events[i].t_ms, time)),
                                           plain(number), plain(text)};
        sheet_table_row(table, cells);
    }
}

void certificate_events(struct certificate *certificate) {
    char when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {certificate_time_title(certificate, "date and time", when, sizeof when), 0.24F, PAGE_LEFT},
        {"run", 0.06F, PAGE_LEFT},
        {"what happened", 0.70F, PAGE_LEFT},
    };
    struct sheet_table table;
    size_t count = 0;

    for (size_t i = 0; i < certificate->assessed->visit_count; i++)
        for (size_t k = 0; k < certificate->assessed->visits[i].run_count; k++)
            count += certificate->assessed->visits[i].runs[k].event_count;
    sheet_heading(&certificate->sheet, "Recorder, lines and clock during the runs", ROWS_THAT_FOLLOW);
    if (count == 0) {
        sheet_plain(&certificate->sheet,
                    "Nothing to report: the recorder was not stopped, no line was lost, and the "
                    "computer's clock was not put forward or back.");
        return;
    }
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    certificate_each_run(certificate, &table, certificate_list_events);
    sheet_table_end(&table);
}

/* ---- instruments and completeness ---- */

/* Was this very fitting listed for an earlier visit? */
static bool certificate_listed_before(const struct certificate *certificate, size_t visit,
                                      const struct ledger_channel *channel) {
    for (size_t i = 0; i < visit; i++) {
        const struct assess_run *run = assess_deciding_run(&certificate->assessed->visits[i]);
        const struct ledger_channel *same = run != NULL ? assess_find_channel(run, channel->channel_id) : NULL;

        if (same != NULL && same->since_ms == channel->since_ms)
            return true;
    }
    return false;
}

/* Where the value comes from, as the configuration has it. */
static void certificate_say_where(const struct ledger_channel *channel, char *where, size_t size) {
    const struct channel_fitting *fitting = &channel->fitting;
    const bool asked = fitting->query[0] != '\0';
    char place[CHANNEL_TEXT_BYTES + sizeof "pattern \"\""];

    if (fitting->wire == WIRE_MODBUS_RTU || fitting->wire == WIRE_MODBUS_ASCII) {
        snprintf(where, size, "%s, %sfunction %u, register %u, %s", channel->instrument,
                 fitting->wire == WIRE_MODBUS_ASCII ? "ASCII, " : "", (unsigned)fitting->function,
                 (unsigned)fitting->first_register, channel_encoding_name(fitting->encoding));
        return;
    }
    if (fitting->field > 0)
        snprintf(place, sizeof place, "field %u", fitting->field);
    else
        snprintf(place, sizeof place, "pattern \"%s\"", fitting->pattern);
    snprintf(where, size, "%s, %s%s%s, %s", channel->instrument, asked ? "query \"" : "printed lines",
             fitting->query, asked ? "\"" : "", place);
}

static void certificate_list_instrument(struct certificate *certificate, struct sheet_table *table,
                                        const struct assess_run *run, const struct ledger_channel *channel) {
    char name[CERTIFICATE_LINE_BYTES], where[CERTIFICATE_LINE_BYTES], sensor[CERTIFICATE_LINE_BYTES];
    char uncertainty[CERTIFICATE_NAME_BYTES] = "", difference[QUANTITY_TEXT_BYTES];
    char fitted[QUANTITY_TEXT_BYTES] = "", interval[QUANTITY_TEXT_BYTES], time[QUANTITY_TEXT_BYTES];

    snprintf(name, sizeof name, "%s.%s", run->oven, channel->name);
    if (channel->uncertainty_mc != 0)
        snprintf(uncertainty, sizeof uncertainty, "± %s",
                 quantity_format_difference(channel->uncertainty_mc, certificate->config->unit, 1, 0, difference));
    else if (channel->role != ROLE_OUTPUT && channel->role != ROLE_SETPOINT)
        snprintf(uncertainty, sizeof uncertainty, "not stated");
    certificate_say_where(channel, where, sizeof where);
    snprintf(sensor, sizeof sensor, "%s%s%s%s%s", channel->sensor_identity,
             channel->sensor_type[0] != '\0' ? ", type " : "", channel->sensor_type,
             channel->sensor_tolerance[0] != '\0' ? ", " : "", channel->sensor_tolerance);
    if (channel->sensor_fitted_ms != 0)
        snprintf(fitted, sizeof fitted, "%.*s", DATE_LENGTH,
                 certificate_time(certificate, channel->sensor_fitted_ms, time));
    const struct sheet_cell cells[] = {
        strong(name),
        plain(channel_role_name(channel->role)),
        plain(where),
        plain(channel->role == ROLE_OUTPUT || channel->role == ROLE_SETPOINT ? "none"
              : sensor[0] != '\0'                                            ? sensor
                                                                             : "not stated"),
        plain(fitted),
        plain(uncertainty),
        plain(quantity_format_duration(channel->interval_ms, interval)),
    };
    sheet_table_row(table, cells);
}

static void certificate_list_instruments(struct certificate *certificate, struct sheet_table *table, size_t visit,
                                         const struct assess_run *run) {
    if (run != assess_deciding_run(&certificate->assessed->visits[visit]))
        return;
    for (size_t i = 0; i < run->channel_count; i++)
        if (!certificate_listed_before(certificate, visit, &run->channels[i]))
            certificate_list_instrument(certificate, table, run, &run->channels[i]);
}

void certificate_instruments(struct certificate *certificate) {
    const struct sheet_column columns[] = {
        {"channel", 0.20F, PAGE_LEFT}, {"role", 0.09F, PAGE_LEFT},   {"read from", 0.25F, PAGE_LEFT},
        {"sensor", 0.16F, PAGE_LEFT},  {"fitted", 0.11F, PAGE_LEFT}, {"uncertainty (k = 2)", 0.11F, PAGE_LEFT},
        {"every", 0.08F, PAGE_LEFT},
    };
    struct sheet_table table;

    if (!certificate_has_runs(certificate))
        return;
    sheet_heading(&certificate->sheet, "Instruments and sensors", ROWS_THAT_FOLLOW);
    sheet_small(&certificate->sheet, "As they were when each run began. Registers are counted from 0.");
    sheet_skip(&certificate->sheet, REMARK_AFTER);
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    certificate_each_run(certificate, &table, certificate_list_instruments);
    sheet_table_end(&table);
}

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

static void certificate_list_sampling(struct certificate *certificate, struct sheet_table *table, size_t visit,
                                      const struct assess_run *run) {
    (void)certificate;
    (void)visit;
    for (size_t i = 0; i < run->channel_count; i++) {
        const struct assess_tally *tally = &run->tallies[i];
        char name[CERTIFICATE_LINE_BYTES], number[QUANTITY_TEXT_BYTES], good[CERTIFICATE_NAME_BYTES];
        char share[QUANTITY_TEXT_BYTES], missing[CERTIFICATE_LINE_BYTES], gaps[CERTIFICATE_LINE_BYTES];
        // Rounded down, so that 100.0 % means every single one.
        const int64_t tenths =
            tally->expected > 0 ? tally->good * TENTHS_OF_PER_CENT / tally->expected : TENTHS_OF_PER_CENT;

        snprintf(number, sizeof number, "%lld", (long long)run->run.run_id);
        snprintf(name, sizeof name, "%s.%s", run->oven, run->channels[i].name);
        snprintf(good, sizeof good, "%lld of %lld", (long long)tally->good, (long long)tally->expected);
        snprintf(share, sizeof share, "%lld.%lld %%",
                 (long long)(tenths < TENTHS_OF_PER_CENT ? tenths : TENTHS_OF_PER_CENT) /
                     (TENTHS_OF_PER_CENT / PER_CENT),
                 (long long)(tenths < TENTHS_OF_PER_CENT ? tenths : TENTHS_OF_PER_CENT) %
                     (TENTHS_OF_PER_CENT / PER_CENT));
        certificate_describe_missing(tally, missing, sizeof missing);
        certificate_describe_gaps(tally, gaps, sizeof gaps);
        const struct sheet_cell cells[] = {plain(number), strong(name),   plain(good),
                                           plain(share),  plain(missing), plain(gaps)};
        sheet_table_row(table, cells);
    }
}

void certificate_sampling(struct certificate *certificate) {
    const struct sheet_column columns[] = {
        {"run", 0.05F, PAGE_LEFT},
        {"channel", 0.20F, PAGE_LEFT},
        {"good readings of those due", 0.17F, PAGE_LEFT},
        {"share", 0.10F, PAGE_LEFT},
        {"not good, and why", 0.24F, PAGE_LEFT},
        {"gaps", 0.24F, PAGE_LEFT},
    };
    struct sheet_table table;

    if (!certificate_has_runs(certificate))
        return;
    sheet_heading(&certificate->sheet, "Sampling and completeness", ROWS_THAT_FOLLOW);
    sheet_small(&certificate->sheet,
                "A gap is more than three intervals without a good reading. Readings due: one per "
                "interval from the run's beginning to its end.");
    sheet_skip(&certificate->sheet, REMARK_AFTER);
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    certificate_each_run(certificate, &table, certificate_list_sampling);
    sheet_table_end(&table);
}

/* ---- seals ---- */

/* The digits by which the ledger can be held to what it says today. */
void certificate_seals(struct certificate *certificate) {
    const struct assess_batch *assessed = certificate->assessed;
    char seal[SEAL_WORDS_BYTES], line[CERTIFICATE_LINE_BYTES];

    sheet_heading(&certificate->sheet, "Seals of the ledger", ROWS_THAT_FOLLOW);
    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++) {
            const struct assess_run *run = &assessed->visits[i].runs[k];

            snprintf(line, sizeof line, "Run %lld: %s%s", (long long)run->run.run_id,
                     seal_describe(&run->seal, seal),
                     run->seal.kind == SEAL_RUN_LATER ? " (sealed later, not as it closed)"
                     : run->seal.kind == SEAL_IMPORT  ? " (read in from elsewhere, not recorded here)"
                                                      : "");
            sheet_small(&certificate->sheet, line);
        }
    snprintf(line, sizeof line, "The last when this was drawn: %s.", seal_describe(&assessed->last_seal, seal));
    sheet_small(&certificate->sheet, line);
    sheet_small(&certificate->sheet,
                "'soakledger verify --seal' with the first digits of the last seal, or the few lines of "
                "soakledger-seal(5) without that program, show whether the ledger still holds what it held then.");
}
