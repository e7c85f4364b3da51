// SPDX-License-Identifier: MIT
/* What measured, and what happened to the recorder meanwhile; by which seals the ledger can be held to it. */
#include <stdio.h>
#include <string.h>

#include "certificate_parts.h"
#include "soakledger/corrections.h"
#include "soakledger/tell.h"
#include "soakledger/words.h"

enum { DATE_LENGTH = 10 };

static const float REMARK_AFTER = 4;

static struct sheet_cell plain(const char *text) {
    return (struct sheet_cell){text, SHEET_NO_MARK, false};
}

static struct sheet_cell strong(const char *text) {
    return (struct sheet_cell){text, SHEET_NO_MARK, true};
}

/* ---- sensors and instruments ---- */

static int64_t certificate_table_id(const struct calibration *calibration) {
    return calibration != NULL ? calibration->calibration_id : 0;
}

/* Was this very fitting listed for an earlier visit? */
static bool certificate_listed_before(const struct certificate *certificate, size_t visit,
                                      const struct ledger_channel *channel) {
    for (size_t i = 0; i < visit; i++) {
        const struct assess_run *run = assess_deciding_run(&certificate->assessed->visits[i]);
        const struct ledger_channel *same = run != NULL ? assess_find_channel(run, channel->channel_id) : NULL;

        if (same != NULL && same->since_ms == channel->since_ms &&
            certificate_table_id(same->sensor_calibration) == certificate_table_id(channel->sensor_calibration) &&
            certificate_table_id(same->instrument_calibration) ==
                certificate_table_id(channel->instrument_calibration))
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

static bool certificate_measures(const struct ledger_channel *channel) {
    return channel->role != ROLE_OUTPUT && channel->role != ROLE_SETPOINT;
}

static char *certificate_date(const struct certificate *certificate, int64_t t_ms, char *out) {
    certificate_time(certificate, t_ms, out);
    out[DATE_LENGTH] = '\0';
    return out;
}

static void certificate_say_sensor(const struct certificate *certificate, const struct ledger_channel *channel,
                                   char *out, size_t size) {
    char date[QUANTITY_TEXT_BYTES];

    snprintf(out, size, "none");
    if (!certificate_measures(channel))
        return;
    snprintf(out, size, "not stated");
    if (channel->sensor_identity[0] == '\0')
        return;
    snprintf(out, size, "%s%s%s%s%s%s%s", channel->sensor_identity,
             channel->sensor_type[0] != '\0' ? ", type " : "", channel->sensor_type,
             channel->sensor_tolerance[0] != '\0' ? ", " : "", channel->sensor_tolerance,
             channel->sensor_fitted_ms != 0 ? "\nfitted " : "",
             channel->sensor_fitted_ms != 0 ? certificate_date(certificate, channel->sensor_fitted_ms, date) : "");
}

/* "26-0417 of 2026-09-01, due 2027-09-01" */
static size_t certificate_say_calibration(const struct certificate *certificate,
                                          const struct calibration *calibration, int64_t t_ms, size_t used,
                                          char *out, size_t size) {
    char done[QUANTITY_TEXT_BYTES], due[QUANTITY_TEXT_BYTES];

    if (calibration == NULL || calibration->point_count == 0 || used >= size)
        return used;
    return used +
           (size_t)snprintf(out + used, size - used, "%s%s: %s%s%s of %s%s%s%s", used > 0 ? "\n" : "",
                            calibration_subject_name(calibration->subject), calibration->certificate,
                            calibration->laboratory[0] != '\0' ? ", " : "", calibration->laboratory,
                            certificate_date(certificate, calibration->done_ms, done),
                            calibration->due_ms != 0 ? ", due " : "",
                            calibration->due_ms != 0 ? certificate_date(certificate, calibration->due_ms, due) : "",
                            calibration_is_overdue(calibration, t_ms) ? ", OVERDUE" : "");
}

static void certificate_list_instrument(struct certificate *certificate, struct sheet_table *table, size_t visit,
                                        const struct assess_run *run, const struct ledger_channel *channel) {
    const int64_t at_mc = plan_visit_soak(certificate->assessed->plan, visit)->temperature_mc;
    char name[CERTIFICATE_LINE_BYTES], where[CERTIFICATE_LINE_BYTES], sensor[CERTIFICATE_LINE_BYTES];
    char calibrations[CERTIFICATE_LINE_BYTES] = "", uncertain[CERTIFICATE_NAME_BYTES] = "";
    char difference[QUANTITY_TEXT_BYTES], junction[TELL_BYTES];
    struct uncertainty uncertainty;
    size_t used;

    snprintf(name, sizeof name, "%s.%s", run->oven, channel->name);
    if (certificate_measures(channel)) {
        corrections_find_uncertainty(channel, at_mc, &uncertainty);
        snprintf(uncertain, sizeof uncertain, "not stated");
        if (uncertainty.expanded_mc != 0)
            snprintf(
                uncertain, sizeof uncertain, "± %s",
                quantity_format_difference(uncertainty.expanded_mc, certificate->config->unit, 1, 0, difference));
        used = certificate_say_calibration(certificate, channel->sensor_calibration, run->run.begun_ms, 0,
                                           calibrations, sizeof calibrations);
        used = certificate_say_calibration(certificate, channel->instrument_calibration, run->run.begun_ms, used,
                                           calibrations, sizeof calibrations);
        if (used == 0)
            snprintf(calibrations, sizeof calibrations, "none entered");
        else if (channel->outside_count > 0 && used < sizeof calibrations)
            snprintf(calibrations + used, sizeof calibrations - used,
                     "\n%lld of %lld good readings outside its table: not corrected",
                     (long long)channel->outside_count,
                     (long long)channel->outside_count + (long long)channel->corrected_count);
    }
    if (run->import != NULL) // no register of ours
        snprintf(where, sizeof where, "%s", channel->instrument);
    else
        certificate_say_where(channel, where, sizeof where);
    if (tell_cold_junction(channel, certificate->config->unit, junction))
        snprintf(where + strlen(where), sizeof where - strlen(where), "\n%.200s", junction);
    certificate_say_sensor(certificate, channel, sensor, sizeof sensor);
    const struct sheet_cell cells[] = {strong(name),        plain(channel_role_name(channel->role)),
                                       plain(where),        plain(sensor),
                                       plain(calibrations), plain(uncertain)};
    table->begins = true;
    sheet_table_row(table, cells);
}

void certificate_instruments(struct certificate *certificate) {
    static const struct sheet_column columns[] = {
        {"channel", 0.20F, PAGE_LEFT}, {"role", 0.085F, PAGE_LEFT},        {"read from", 0.235F, PAGE_LEFT},
        {"sensor", 0.195F, PAGE_LEFT}, {"calibration", 0.165F, PAGE_LEFT}, {"uncertainty", 0.12F, PAGE_RIGHT},
    };
    const struct assess_batch *assessed = certificate->assessed;
    struct sheet_table table = {0};

    for (size_t i = 0; i < assessed->visit_count; i++) {
        const struct assess_run *run = assess_deciding_run(&assessed->visits[i]);

        for (size_t k = 0; run != NULL && k < run->channel_count; k++) {
            if (certificate_listed_before(certificate, i, &run->channels[k]))
                continue;
            if (table.sheet == NULL) {
                certificate_section(certificate, "sensors", "Sensors and instruments",
                                    2 * CERTIFICATE_LIST_FOLLOWS);
                sheet_small(
                    &certificate->sheet,
                    "As they were when each run began. Registers are counted from 0. Uncertainty: expanded, "
                    "k = 2, at the temperature planned for the visit in which the channel is first listed.");
                sheet_skip(&certificate->sheet, REMARK_AFTER);
                sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
                table.dense = true;
            }
            certificate_list_instrument(certificate, &table, i, run, &run->channels[k]);
        }
    }
    if (table.sheet != NULL)
        sheet_table_end(&table);
}

/* ---- the recorder ---- */

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
    case EVENT_THINNED:
        snprintf(out, size, "%lld old readings of %s were thinned; they belong to no run", (long long)event->amount,
                 event->detail);
        return;
    case EVENT_OVERFLOW:
        snprintf(out, size, "%lld readings were lost: the ledger was not written fast enough",
                 (long long)event->amount);
        return;
    case EVENT_ANEW:
        snprintf(out, size, "a new ledger was begun in place of a damaged one, %s", event->detail);
        return;
    case EVENT_TORN:
        if (event->amount > 0)
            snprintf(out, size,
                     "the run in oven %s goes on; its first %s are in the damaged ledger and not on this sheet",
                     event->detail, length);
        else
            snprintf(out, size, "a run in oven %s may have been on before, unrecorded in this ledger",
                     event->detail);
        return;
    }
    snprintf(out, size, "event of kind %d", (int)event->kind);
}

static void certificate_list_events(struct certificate *certificate, struct sheet_table *table,
                                    const struct assess_run *run) {
    for (size_t i = 0; i < run->event_count; i++) {
        char time[QUANTITY_TEXT_BYTES], number[QUANTITY_TEXT_BYTES], text[CERTIFICATE_LINE_BYTES];

        snprintf(number, sizeof number, "%lld", (long long)run->run.run_id);
        certificate_describe_event(&run->events[i], text, sizeof text);
        const struct sheet_cell cells[] = {plain(certificate_time(certificate, run->events[i].t_ms, time)),
                                           plain(number), plain(text)};
        sheet_table_row(table, cells);
    }
}

static size_t certificate_count_events(const struct assess_batch *assessed) {
    size_t count = 0;

    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++)
            count += assessed->visits[i].runs[k].event_count;
    return count;
}

/* Runs that this recorder recorded. */
static size_t certificate_recorded(const struct assess_batch *assessed) {
    size_t count = 0;

    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++)
            count += assessed->visits[i].runs[k].import == NULL;
    return count;
}

static void certificate_say_other_recorder(struct certificate *certificate) {
    const struct assess_batch *assessed = certificate->assessed;
    char line[CERTIFICATE_NAME_BYTES];

    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++) {
            if (assessed->visits[i].runs[k].import == NULL)
                continue;
            snprintf(
                line, sizeof line,
                "Run %lld was imported: how the recorder that took it was kept, and what its clock did, is not "
                "known here.",
                (long long)assessed->visits[i].runs[k].run.run_id);
            sheet_plain(&certificate->sheet, line);
        }
}

/* Of which batch the charge was a part. */
void certificate_origin(struct certificate *certificate) {
    const struct assess_batch *assessed = certificate->assessed;
    char line[CERTIFICATE_NAME_BYTES], time[QUANTITY_TEXT_BYTES];

    if (assessed->split_from == 0)
        return;
    certificate_section(certificate, "record", "Where the charge comes from", CERTIFICATE_LIST_FOLLOWS);
    snprintf(line, sizeof line,
             "Batch %lld was split from batch %lld on %s: until then its charge was a part of that one's.",
             (long long)assessed->batch->batch_id, (long long)assessed->split_from,
             certificate_time(certificate, assessed->split_ms, time));
    sheet_plain(&certificate->sheet, line);
}

void certificate_events(struct certificate *certificate) {
    const struct assess_batch *assessed = certificate->assessed;
    char when[CERTIFICATE_NAME_BYTES];
    const struct sheet_column columns[] = {
        {certificate_time_title(certificate, "date and time", when, sizeof when), 0.24F, PAGE_LEFT},
        {"run", 0.06F, PAGE_LEFT},
        {"what happened", 0.70F, PAGE_LEFT},
    };
    struct sheet_table table;

    certificate_section(certificate, "recording", "Recorder, lines and clock during the runs",
                        CERTIFICATE_LIST_FOLLOWS);
    certificate_say_other_recorder(certificate);
    if (certificate_count_events(assessed) == 0 && certificate_recorded(assessed) == 0)
        return;
    if (certificate_count_events(assessed) == 0) {
        sheet_plain(&certificate->sheet,
                    "Nothing to report: the recorder was not stopped, no line was lost, and the "
                    "computer's clock was not put forward or back.");
        return;
    }
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    table.dense = true;
    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++)
            certificate_list_events(certificate, &table, &assessed->visits[i].runs[k]);
    sheet_table_end(&table);
}

/* ---- seals ---- */

/* All 64 digits, in groups of eight: to be compared by eye. */
static void certificate_group_digits(const char *digits, char out[SEAL_WORDS_BYTES]) {
    enum { GROUP = 8 };
    size_t used = 0;

    for (size_t i = 0; digits[i] != '\0' && used + 2 < SEAL_WORDS_BYTES; i++) {
        if (i > 0 && i % GROUP == 0)
            out[used++] = ' ';
        out[used++] = digits[i];
    }
    out[used] = '\0';
}

static void certificate_list_seal(struct sheet_table *table, const char *of, const struct seal_head *seal,
                                  const char *note) {
    char number[QUANTITY_TEXT_BYTES] = "none", digits[SEAL_WORDS_BYTES];

    if (seal->seal_id != 0)
        snprintf(number, sizeof number, "%lld", (long long)seal->seal_id);
    certificate_group_digits(seal->sha256, digits);
    table->note = note;
    sheet_table_row(table, (const struct sheet_cell[]){strong(of), plain(number), plain(digits)});
}

static void certificate_list_run_seal(struct sheet_table *table, const struct assess_run *run) {
    char of[QUANTITY_TEXT_BYTES];

    snprintf(of, sizeof of, "run %lld", (long long)run->run.run_id);
    certificate_list_seal(table, of, &run->seal,
                          run->seal.kind == SEAL_RUN_LATER ? "sealed later, not as it closed"
                          : run->seal.kind == SEAL_IMPORT  ? "read in from elsewhere, not recorded here"
                                                           : NULL);
}

/* The digits by which the ledger can be held to what it says today. */
void certificate_seals(struct certificate *certificate) {
    static const struct sheet_column columns[] = {
        {"of", 0.13F, PAGE_LEFT}, {"seal", 0.06F, PAGE_RIGHT}, {"SHA-256", 0.81F, PAGE_LEFT}};
    const struct assess_batch *assessed = certificate->assessed;
    struct sheet_table table;

    certificate_section(certificate, "verification", "Seals of the ledger", CERTIFICATE_LIST_FOLLOWS);
    sheet_table_begin(&table, &certificate->sheet, columns, sizeof columns / sizeof columns[0]);
    table.dense = true;
    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++)
            certificate_list_run_seal(&table, &assessed->visits[i].runs[k]);
    table.begins = true;
    certificate_list_seal(&table, "the ledger", &assessed->last_seal, "the last of the chain when this was drawn");
    sheet_table_end(&table);
    sheet_small(&certificate->sheet,
                "'soakledger verify --seal' with the first digits of the last seal, or the few lines of "
                "soakledger-seal(5) without that program, show whether the ledger still holds what it held then.");
}
