// SPDX-License-Identifier: MIT
/* batch list: every batch that fits what is asked for, each judged anew from its readings. */
#include <stdlib.h>
#include <string.h>

#include "list_parts.h"
#include "soakledger/company.h"
#include "soakledger/replay.h"
#include "soakledger/words.h"

static const char USAGE[] =
    "batch list [--all] [--open] [--customer TEXT] [--steel TEXT] [--charge TEXT] [--order TEXT] "
    "[--oven NAME] [--sensor IDENTITY] [--verdict met|not-proven|not-met] [--from DATE] "
    "[--to DATE] [--csv | --json]";

static const struct table_column COLUMNS[] = {
    {"batch", "batch", 5},    {"opened", NULL, 16},   {"closed", NULL, 0},        {"oven", "oven", 10},
    {"state", "state", 15},   {"waits_for", NULL, 0}, {"outcome", "outcome", 10}, {"charge", "charge", 18},
    {"customer", NULL, 0},    {"order", NULL, 0},     {"operator", NULL, 0},      {"note", NULL, 0},
    {"plan", NULL, 0},        {"steel", NULL, 0},     {"runs", NULL, 0},          {"together_with", NULL, 0},
    {"disposition", NULL, 0}, {"simulated", NULL, 0},
};
enum { COLUMN_COUNT = sizeof COLUMNS / sizeof COLUMNS[0], LIST_VERSION = 1 };

/* What an amendment made of it counts, in lists as on sheets. */
static const char *list_amended(const struct assess_batch *assessed, enum books_entry entry, const char *opened) {
    const struct books_amendment *amendment = books_find_amendment(assessed->books, entry, 0);

    return amendment == NULL ? opened : amendment->withdraws ? "" : amendment->words;
}

static bool list_is_in_time(const struct list_filter *filter, const struct assess_batch *assessed) {
    const int64_t opened_ms = assessed->batch->opened_ms;
    bool in = opened_ms >= filter->from_ms && opened_ms <= filter->to_ms;

    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++) {
            const struct assess_run *run = &assessed->visits[i].runs[k];

            in |= run->run.begun_ms <= filter->to_ms && run->until_ms >= filter->from_ms;
        }
    return in;
}

static bool list_used_sensor(const struct assess_batch *assessed, const char *sensor) {
    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++)
            if (list_has_sensor(assessed->visits[i].runs[k].channels, assessed->visits[i].runs[k].channel_count,
                                sensor))
                return true;
    return false;
}

static bool list_was_in_oven(const struct assess_batch *assessed, const char *oven) {
    if (strcmp(assessed->oven, oven) == 0)
        return true;
    for (size_t i = 0; i < assessed->visit_count; i++)
        if (strcmp(plan_visit_soak(assessed->plan, i)->oven, oven) == 0)
            return true;
    return false;
}

static bool list_wants(const struct list_filter *filter, const struct assess_batch *assessed) {
    const struct ledger_batch *batch = assessed->batch;

    return list_has(list_amended(assessed, BOOKS_CUSTOMER, batch->customer), filter->customer) &&
           list_has(list_amended(assessed, BOOKS_CHARGE, batch->charge), filter->charge) &&
           list_has(list_amended(assessed, BOOKS_ORDER, batch->order_reference), filter->order) &&
           list_has(assessed->plan->steel, filter->steel) &&
           (filter->oven == NULL || list_was_in_oven(assessed, filter->oven)) &&
           (filter->sensor == NULL || list_used_sensor(assessed, filter->sensor)) &&
           (filter->verdict == NULL || assessed->outcome == filter->outcome) && list_is_in_time(filter, assessed);
}

/* ---- one row ---- */

struct list_batch {
    const struct assess_batch *assessed;
    char state[COMMAND_TEXT_BYTES], waits_for[COMMAND_TEXT_BYTES], shown_opened[QUANTITY_TEXT_BYTES];
    bool waits;
    int64_t *runs, *company;
    size_t run_count, company_count;
};

static int list_describe_state(struct command *command, struct list_batch *row, struct fault *fault) {
    const struct ledger_batch *batch = row->assessed->batch;
    char name[COMMAND_TEXT_BYTES];
    size_t visit = 0;
    const int waits = replay_next_visit(command->ledger, batch->batch_id, row->assessed->plan, &visit, fault);

    row->waits = waits == 1 && batch->closed_ms == 0;
    if (row->waits)
        command_visit_name(row->assessed->plan, visit, row->waits_for);
    if (batch->closed_ms != 0)
        snprintf(row->state, sizeof row->state, "closed");
    else if (row->waits)
        snprintf(row->state, sizeof row->state, "open, waits for %.200s",
                 command_visit_name(row->assessed->plan, visit, name));
    else
        snprintf(row->state, sizeof row->state, "open, every visit has its run");
    return waits < 0 ? -1 : 0;
}

static int list_gather(struct command *command, struct list_batch *row, struct fault *fault) {
    size_t count = 0;
    struct ledger_run *runs = ledger_list_claimed(command->ledger, row->assessed->batch->batch_id, &count, fault);

    if (runs == NULL)
        return -1;
    row->runs = calloc(count + 1, sizeof *row->runs);
    for (size_t i = 0; row->runs != NULL && i < count; i++)
        row->runs[row->run_count++] = runs[i].run_id;
    free(runs);
    if (row->runs == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu runs", count);
    row->company = company_list(command->ledger, row->assessed->batch->batch_id, &row->company_count, fault);
    if (row->company == NULL)
        return -1;
    list_show_time(command, row->assessed->batch->opened_ms, row->shown_opened);
    return list_describe_state(command, row, fault);
}

static int list_add_batch(struct table *table, const struct list_batch *row, bool machine, struct fault *fault) {
    const struct assess_batch *assessed = row->assessed;
    const struct ledger_batch *batch = assessed->batch;
    const struct books_disposition *disposition = books_find_disposition(assessed->books);
    const struct table_cell cells[COLUMN_COUNT] = {
        {.kind = TABLE_INTEGER, .value = batch->batch_id},
        {.kind = TABLE_TIME, .value = batch->opened_ms, .shown = row->shown_opened},
        list_time(batch->closed_ms),
        list_text(assessed->oven),
        list_text(machine ? (batch->closed_ms != 0 ? "closed" : "open") : row->state),
        row->waits ? list_text(row->waits_for) : (struct table_cell){.kind = TABLE_NONE},
        list_text(judge_outcome_name(assessed->outcome)),
        list_text(list_amended(assessed, BOOKS_CHARGE, batch->charge)),
        list_text(list_amended(assessed, BOOKS_CUSTOMER, batch->customer)),
        list_text(list_amended(assessed, BOOKS_ORDER, batch->order_reference)),
        list_text(list_amended(assessed, BOOKS_OPERATOR, batch->operator_name)),
        list_text(list_amended(assessed, BOOKS_NOTE, batch->note)),
        list_text(assessed->plan->title),
        list_text(assessed->plan->steel),
        {.kind = TABLE_NUMBERS, .numbers = row->runs, .number_count = row->run_count},
        {.kind = TABLE_NUMBERS, .numbers = row->company, .number_count = row->company_count},
        disposition != NULL ? list_text(books_decision_name(disposition->decision))
                            : (struct table_cell){.kind = TABLE_NONE},
        {.kind = TABLE_TRUTH, .value = assessed->simulated},
    };

    return table_add(table, cells, fault);
}

/* 1 if the batch was listed, 0 if it is not wanted, -1. */
static int list_one(struct command *command, const struct list_filter *filter, struct table *table,
                    int64_t batch_id, struct fault *fault) {
    struct list_batch row = {0};
    struct assess_batch *assessed = assess_batch(command->ledger, batch_id, NULL, fault);
    int result = assessed == NULL ? -1 : list_wants(filter, assessed);

    row.assessed = assessed;
    if (result == 1 && (list_gather(command, &row, fault) != 0 ||
                        list_add_batch(table, &row, filter->form != TABLE_SCREEN, fault) != 0))
        result = -1;
    free(row.runs);
    free(row.company);
    assess_free(assessed);
    return result;
}

static int list_batches(struct command *command, const struct list_filter *filter, struct table *table,
                        const int64_t *ids, size_t count, struct fault *fault) {
    const bool newest = filter->form == TABLE_SCREEN && !filter->all && !list_is_narrowed(filter);
    const size_t first = newest && count > LIST_SHOWN ? count - LIST_SHOWN : 0;
    size_t listed = 0;

    for (size_t i = first; i < count; i++) {
        const int result = list_one(command, filter, table, ids[i], fault);

        if (result < 0)
            return -1;
        listed += (size_t)result;
    }
    if (listed == 0 &&
        list_say_none(command, filter, "No batch fits: 'batch list --all' lists every one.", fault) != 0)
        return -1;
    if (first > 0)
        fprintf(command->out, "%zu earlier batches: batch list --all\n", first);
    return 0;
}

int command_batch_list(struct command *command, int argc, char **argv, struct fault *fault) {
    struct table_column columns[COLUMN_COUNT];
    char title[COMMAND_TEXT_BYTES], zone[QUANTITY_TEXT_BYTES];
    struct list_filter filter = {0};
    struct table *table;
    size_t count = 0;
    int64_t *ids;
    int result;

    if (list_take(command, argc, argv, USAGE, &filter, fault) != 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    ids = ledger_list_batches(command->ledger, filter.open_only, &count, fault);
    if (ids == NULL)
        return -1;
    if (count == 0 && filter.form == TABLE_SCREEN) {
        fputs("There is no batch yet: 'batch open' makes one.\n", command->out);
        free(ids);
        return 0;
    }
    memcpy(columns, COLUMNS, sizeof columns);
    snprintf(title, sizeof title, "opened (%s)", words_offset(command->config->utc_offset_min, zone));
    columns[1].title = title;
    table = table_open(command->out, filter.form, "soakledger-batches", LIST_VERSION, columns, COLUMN_COUNT, fault);
    result = table != NULL ? list_batches(command, &filter, table, ids, count, fault) : -1;
    free(ids);
    return list_finish(table, result, fault);
}
