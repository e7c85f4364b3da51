// SPDX-License-Identifier: MIT
/* Curves as CSV and as JSON, reading by reading: however long a run is, nothing is held. */
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "export_parts.h"
#include "soakledger/replay.h"
#include "soakledger/table.h"

/* Called for each reading in order of time, as it is stored and as it is with the corrections in force. */
typedef void export_row(FILE *out, const struct export_run *run, size_t channel, const struct reading *raw,
                        const struct reading *corrected, bool first);

static const char *export_unit(const struct ledger_channel *channel) {
    return channel->role == ROLE_OUTPUT ? "%" : "°C";
}

static int export_each(const struct export *export, const struct export_run *run, FILE *out, export_row *row,
                       struct fault *fault) {
    struct ledger_cursor *cursor =
        replay_open_cursor(export->ledger, run->channels, run->channel_count, run->from_ms, run->to_ms, fault);
    struct reading raw;
    bool first = true;
    int more = cursor == NULL ? -1 : 1;

    while (more == 1 && (more = ledger_next_reading(cursor, &raw, fault)) == 1) {
        struct reading corrected = raw;
        size_t channel = 0;

        while (channel < run->channel_count && run->channels[channel].channel_id != raw.channel_id)
            channel++;
        if (channel == run->channel_count)
            continue;
        replay_correct(run->channels, run->channel_count, &corrected);
        row(out, run, channel, &raw, &corrected, first);
        first = false;
    }
    ledger_close_cursor(cursor);
    return more;
}

/* ---- CSV ---- */

static void export_csv_row(FILE *out, const struct export_run *run, size_t channel, const struct reading *raw,
                           const struct reading *corrected, bool first) {
    const struct ledger_channel *read = &run->channels[channel];
    char time[TABLE_TIME_BYTES], value[TABLE_TIME_BYTES] = "", stored[TABLE_TIME_BYTES] = "";

    (void)first;
    if (corrected->quality == QUALITY_GOOD)
        table_format_thousandths(corrected->value, value);
    if (raw->quality == QUALITY_GOOD)
        table_format_thousandths(raw->value, stored);
    fprintf(out, "%lld,%s,", (long long)run->run.run_id, table_format_time(raw->t_ms, time));
    table_write_csv_text(out, run->oven);
    fputc(',', out);
    table_write_csv_text(out, read->name);
    fprintf(out, ",%s,%s,%s,%s,%s,%s\r\n", channel_role_name(read->role), value, export_unit(read),
            quality_name(corrected->quality), stored, run->import != NULL ? "imported" : "recorded");
}

int export_csv(const struct export *export, FILE *out, struct fault *fault) {
    fputs("run,time,oven,channel,role,value,unit,quality,uncorrected,origin\r\n", out);
    for (size_t i = 0; i < export->run_count; i++)
        if (export_each(export, &export->runs[i], out, export_csv_row, fault) != 0)
            return -1;
    return 0;
}

/* ---- JSON ---- */

static json_t *export_channels(const struct export_run *run) {
    json_t *channels = json_array();

    for (size_t i = 0; channels != NULL && i < run->channel_count; i++) {
        const struct ledger_channel *channel = &run->channels[i];

        json_array_append_new(channels,
                              json_pack("{s:s, s:s, s:s, s:I, s:s, s:s}", "channel", channel->name, "role",
                                        channel_role_name(channel->role), "unit", export_unit(channel),
                                        "interval_ms", (json_int_t)channel->interval_ms, "sensor",
                                        channel->sensor_identity, "instrument", channel->instrument));
    }
    return channels;
}

/* Everything of a run but its readings. NULL if memory is short, or a text is no UTF-8. */
static json_t *export_head(const struct export_run *run) {
    char begun[TABLE_TIME_BYTES], ended[TABLE_TIME_BYTES], from[TABLE_TIME_BYTES], to[TABLE_TIME_BYTES];

    return json_pack("{s:I, s:s, s:s, s:o, s:s, s:s, s:s, s:o, s:b, s:o}", "run", (json_int_t)run->run.run_id,
                     "oven", run->oven, "begun", table_format_time(run->run.begun_ms, begun), "ended",
                     run->run.ended_ms != 0 ? json_string(table_format_time(run->run.ended_ms, ended))
                                            : json_null(),
                     "ended_by", run_end_name(run->run.end), "from", table_format_time(run->from_ms, from), "to",
                     table_format_time(run->to_ms, to), "imported_from",
                     run->import != NULL ? json_string(run->import->source) : json_null(), "simulated",
                     run->simulated ? 1 : 0, "channels", export_channels(run));
}

static void export_number(FILE *out, const struct reading *reading) {
    char text[TABLE_TIME_BYTES];

    fprintf(out, ",%s", reading->quality == QUALITY_GOOD ? table_format_thousandths(reading->value, text) : "null");
}

/* [index into channels, ms since 1970 UTC, value, uncorrected, quality] */
static void export_json_row(FILE *out, const struct export_run *run, size_t channel, const struct reading *raw,
                            const struct reading *corrected, bool first) {
    (void)run;
    fprintf(out, "%s[%zu,%lld", first ? "\n" : ",\n", channel, (long long)raw->t_ms);
    export_number(out, corrected);
    export_number(out, raw);
    fprintf(out, ",\"%s\"]", quality_name(corrected->quality));
}

static int export_json_run(const struct export *export, const struct export_run *run, FILE *out,
                           struct fault *fault) {
    json_t *head = export_head(run);
    char *text = head != NULL ? json_dumps(head, JSON_COMPACT) : NULL;
    int result;

    json_decref(head);
    if (text == NULL)
        return fault_set(fault, EX_DATAERR, "run %lld cannot be written as JSON: a name in it is no UTF-8",
                         (long long)run->run.run_id);
    fprintf(out, "%.*s,\"readings\":[", (int)strlen(text) - 1, text); // its last brace comes after the readings
    free(text);
    result = export_each(export, run, out, export_json_row, fault);
    fputs("]}", out);
    return result;
}

int export_json(const struct export *export, FILE *out, struct fault *fault) {
    fputs("{\"format\":\"soakledger-curves\",\"version\":1,\"batch\":", out);
    if (export->batch_id != 0)
        fprintf(out, "%lld", (long long)export->batch_id);
    else
        fputs("null", out);
    fputs(",\"runs\":[", out);
    for (size_t i = 0; i < export->run_count; i++) {
        if (i > 0)
            fputc(',', out);
        if (export_json_run(export, &export->runs[i], out, fault) != 0)
            return -1;
    }
    fputs("]}\n", out);
    return 0;
}
