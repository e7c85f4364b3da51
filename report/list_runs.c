// SPDX-License-Identifier: MIT
/* runs: what the ovens did, and whose it was. */
#include <stdlib.h>
#include <string.h>

#include "list_parts.h"
#include "soakledger/import.h"
#include "soakledger/replay.h"
#include "soakledger/words.h"

static const char USAGE[] =
    "runs [--all] [--oven NAME] [--sensor IDENTITY] [--from DATE] [--to DATE] [--csv | --json]";

static const struct table_column COLUMNS[] = {
    {"run", "run", 4},      {"begun", NULL, 16},          {"ended", NULL, 0},
    {"oven", "oven", 11},   {"length_min", "length", 12}, {"peak_c", "peak", 10},
    {"ended_by", NULL, 0},  {"imported_from", NULL, 0},   {"batches", "belongs to", 21},
    {"simulated", NULL, 0},
};
enum { COLUMN_COUNT = sizeof COLUMNS / sizeof COLUMNS[0], LIST_VERSION = 1, MS_PER_MIN = 60000 };

struct list_run {
    const struct ledger_run *run;
    int64_t until_ms, peak_mc;
    bool has_peak, simulated;
    struct ledger_channel *channels;
    size_t channel_count;
    char *oven, *source;
    int64_t *batches;
    size_t batch_count;
    char claim[COMMAND_TEXT_BYTES], begun[QUANTITY_TEXT_BYTES], length[COMMAND_TEXT_BYTES];
    char peak[QUANTITY_TEXT_BYTES];
};

static void list_free_run(struct list_run *row) {
    ledger_free_channels(row->channels, row->channel_count);
    free(row->oven);
    free(row->source);
    free(row->batches);
}

/* The hottest good reading of the oven's own thermocouples during the run. */
static int list_find_peak(struct command *command, struct list_run *row, struct fault *fault) {
    struct ledger_channel *picked = calloc(row->channel_count + 1, sizeof *picked);
    struct ledger_cursor *cursor = NULL;
    struct reading reading;
    size_t count = 0;
    int more = -1;

    if (picked == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu channels", row->channel_count);
    for (size_t i = 0; i < row->channel_count; i++)
        if (row->channels[i].role == ROLE_CONTROL || row->channels[i].role == ROLE_LOAD)
            picked[count++] = row->channels[i];
    cursor = replay_open_cursor(command->ledger, picked, count, row->run->begun_ms, row->until_ms, fault);
    while (cursor != NULL && (more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        replay_correct(picked, count, &reading);
        if (reading.quality == QUALITY_GOOD && (!row->has_peak || reading.value > row->peak_mc)) {
            row->peak_mc = reading.value;
            row->has_peak = true;
        }
    }
    ledger_close_cursor(cursor);
    free(picked); // what is in them belongs to the row
    return more;
}

/* "batch 2, soak hardening" */
static int list_describe_claim(struct command *command, const struct ledger_claim *claim, char *out,
                               struct fault *fault) {
    struct ledger_batch *batch = ledger_read_batch(command->ledger, claim->batch_id, fault);
    char name[COMMAND_TEXT_BYTES];
    struct plan *plan;

    if (batch == NULL)
        return -1;
    plan = plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault);
    if (plan != NULL && claim->visit < plan->visit_count)
        snprintf(out, COMMAND_TEXT_BYTES, "batch %lld, %.200s", (long long)claim->batch_id,
                 command_visit_name(plan, claim->visit, name));
    else
        snprintf(out, COMMAND_TEXT_BYTES, "batch %lld, visit %zu", (long long)claim->batch_id, claim->visit + 1);
    ledger_free_batch(batch);
    plan_free(plan);
    return plan != NULL ? 0 : -1;
}

static int list_describe_claims(struct command *command, struct list_run *row, struct fault *fault) {
    size_t count = 0, used = 0;
    struct ledger_claim *claims = ledger_list_claims(command->ledger, row->run->run_id, &count, fault);
    int result = claims == NULL ? -1 : 0;
    char one[COMMAND_TEXT_BYTES];

    snprintf(row->claim, sizeof row->claim, "unclaimed");
    row->batches = calloc(count + 1, sizeof *row->batches);
    if (result == 0 && row->batches == NULL)
        result = fault_set(fault, EX_OSERR, "not enough memory for %zu batches", count);
    for (size_t i = 0; result == 0 && row->batches != NULL && i < count; i++) {
        row->batches[row->batch_count++] = claims[i].batch_id;
        result = list_describe_claim(command, &claims[i], one, fault);
        if (result == 0 && used < sizeof row->claim)
            used += (size_t)snprintf(row->claim + used, sizeof row->claim - used, "%s%s", i > 0 ? "; " : "", one);
    }
    free(claims);
    return result;
}

static int list_read_source(struct command *command, struct list_run *row, struct fault *fault) {
    struct import *import = NULL;
    const int found = import_find(command->ledger, row->run->run_id, &import, fault);
    const size_t used = strlen(row->claim);

    if (found == 1) {
        row->source = strdup(import->source);
        snprintf(row->claim + used, sizeof row->claim - used, "; IMPORTED");
    }
    import_free(import);
    return found < 0 ? -1 : 0;
}

static int list_read_run(struct command *command, struct list_run *row, int64_t last_ms, struct fault *fault) {
    const struct ledger_run *run = row->run;
    char length[QUANTITY_TEXT_BYTES];
    int simulated;

    row->until_ms = run->ended_ms != 0 ? run->ended_ms : last_ms > run->begun_ms ? last_ms : run->begun_ms;
    row->oven = ledger_oven_name(command->ledger, run->oven_id, fault);
    row->channels = import_list_run_channels(command->ledger, run, &row->channel_count, fault);
    simulated = ledger_was_simulated(command->ledger, run->begun_ms, row->until_ms, fault);
    if (row->oven == NULL || row->channels == NULL || simulated < 0 || list_find_peak(command, row, fault) != 0 ||
        list_describe_claims(command, row, fault) != 0 || list_read_source(command, row, fault) != 0)
        return -1;
    row->simulated = simulated == 1 && row->source == NULL;
    list_show_time(command, run->begun_ms, row->begun);
    snprintf(row->length, sizeof row->length, "%s%s",
             quantity_format_duration(row->until_ms - run->begun_ms, length),
             run->ended_ms == 0 ? ", still on" : "");
    snprintf(row->peak, sizeof row->peak, "no reading");
    if (row->has_peak)
        quantity_format_temperature(row->peak_mc, command->config->unit, 0, row->peak);
    return 0;
}

static int list_add_run(struct table *table, const struct list_run *row, struct fault *fault) {
    const struct ledger_run *run = row->run;
    const struct table_cell cells[COLUMN_COUNT] = {
        {.kind = TABLE_INTEGER, .value = run->run_id},
        {.kind = TABLE_TIME, .value = run->begun_ms, .shown = row->begun},
        {.kind = run->ended_ms != 0 ? TABLE_TIME : TABLE_NONE, .value = run->ended_ms},
        {.kind = TABLE_TEXT, .text = row->oven},
        {.kind = TABLE_THOUSANDTHS,
         .value = (row->until_ms - run->begun_ms) * QUANTITY_PER_UNIT / MS_PER_MIN,
         .shown = row->length},
        {.kind = row->has_peak ? TABLE_THOUSANDTHS : TABLE_NONE, .value = row->peak_mc, .shown = row->peak},
        {.kind = TABLE_TEXT, .text = run_end_name(run->end)},
        {.kind = row->source != NULL ? TABLE_TEXT : TABLE_NONE, .text = row->source},
        {.kind = TABLE_NUMBERS, .numbers = row->batches, .number_count = row->batch_count, .shown = row->claim},
        {.kind = TABLE_TRUTH, .value = row->simulated},
    };

    return table_add(table, cells, fault);
}

/* 1 if the run was listed, 0 if it is not wanted, -1. */
static int list_one(struct command *command, const struct list_filter *filter, struct table *table,
                    const struct ledger_run *run, int64_t last_ms, struct fault *fault) {
    struct list_run row = {.run = run};
    int result;

    if (run->begun_ms > filter->to_ms || (run->ended_ms != 0 && run->ended_ms < filter->from_ms))
        return 0;
    result = list_read_run(command, &row, last_ms, fault) != 0 ? -1 : 1;
    if (result == 1 &&
        ((filter->oven != NULL && strcmp(row.oven, filter->oven) != 0) ||
         (filter->sensor != NULL && !list_has_sensor(row.channels, row.channel_count, filter->sensor))))
        result = 0;
    if (result == 1 && list_add_run(table, &row, fault) != 0)
        result = -1;
    list_free_run(&row);
    return result;
}

static int list_runs(struct command *command, const struct list_filter *filter, struct table *table,
                     const struct ledger_run *runs, size_t count, struct fault *fault) {
    const bool newest = filter->form == TABLE_SCREEN && !filter->all && !list_is_narrowed(filter);
    const size_t first = newest && count > LIST_SHOWN ? count - LIST_SHOWN : 0;
    const int64_t last_ms = ledger_last_time(command->ledger, fault);
    size_t listed = 0;

    if (last_ms < 0)
        return -1;
    for (size_t i = first; i < count; i++) {
        const int result = list_one(command, filter, table, &runs[i], last_ms, fault);

        if (result < 0)
            return -1;
        listed += (size_t)result;
    }
    if (listed == 0 && list_say_none(command, filter, "No run fits: 'runs --all' lists every one.", fault) != 0)
        return -1;
    if (first > 0)
        fprintf(command->out, "%zu earlier runs: runs --all\n", first);
    return 0;
}

int command_runs(struct command *command, int argc, char **argv, struct fault *fault) {
    struct table_column columns[COLUMN_COUNT];
    char title[COMMAND_TEXT_BYTES], zone[QUANTITY_TEXT_BYTES];
    struct list_filter filter = {0};
    struct ledger_run *runs;
    struct table *table;
    size_t count = 0;
    int result;

    if (list_take(command, argc, argv, USAGE, &filter, fault) != 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    runs = ledger_list_runs(command->ledger, INT64_MIN, INT64_MAX, &count, fault);
    if (runs == NULL)
        return -1;
    if (count == 0 && filter.form == TABLE_SCREEN) {
        fputs("There is no run yet.\n", command->out);
        free(runs);
        return 0;
    }
    memcpy(columns, COLUMNS, sizeof columns);
    snprintf(title, sizeof title, "begun (%s)", words_offset(command->config->utc_offset_min, zone));
    columns[1].title = title;
    table = table_open(command->out, filter.form, "soakledger-runs", LIST_VERSION, columns, COLUMN_COUNT, fault);
    result = table != NULL ? list_runs(command, &filter, table, runs, count, fault) : -1;
    free(runs);
    return list_finish(table, result, fault);
}
