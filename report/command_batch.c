// SPDX-License-Identifier: MIT
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "soakledger/replay.h"
#include "soakledger/words.h"

static int command_batch_close(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *word = NULL;
    struct ledger_batch *batch;
    int64_t number, now_ms;
    int result = -1;

    if (command_take(argc, argv, NULL, 0, &word, 1, 1, "batch close N", fault) < 0 ||
        command_take_number(word, "batch", &number, fault) != 0 ||
        command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    now_ms = command_now_ms(command, fault);
    batch = now_ms < 0 ? NULL : ledger_read_batch(command->ledger, number, fault);
    if (batch == NULL)
        return -1;
    if (batch->closed_ms != 0)
        fault_set(fault, EX_DATAERR, "batch %lld is closed already", (long long)number);
    else
        result = ledger_close_batch(command->ledger, number, now_ms, fault);
    ledger_free_batch(batch);
    if (result == 0)
        fprintf(command->out, "Batch %lld is closed.\n", (long long)number);
    return result;
}

/* "open, waits for soak hardening", "open, all visits done", "closed" */
static int command_describe_state(struct command *command, const struct ledger_batch *batch, char *out,
                                  struct fault *fault) {
    struct plan *plan = plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault);
    char name[COMMAND_TEXT_BYTES];
    size_t visit = 0;
    int waits;

    if (plan == NULL)
        return -1;
    waits = replay_next_visit(command->ledger, batch->batch_id, plan, &visit, fault);
    if (batch->closed_ms != 0)
        snprintf(out, COMMAND_TEXT_BYTES, "closed");
    else if (waits == 1)
        snprintf(out, COMMAND_TEXT_BYTES, "open, waits for %.200s", command_visit_name(plan, visit, name));
    else
        snprintf(out, COMMAND_TEXT_BYTES, "open, every visit has its run");
    plan_free(plan);
    return waits < 0 ? -1 : 0;
}

static int command_list_one(struct command *command, const size_t *widths, int64_t batch_id, struct fault *fault) {
    struct ledger_batch *batch = ledger_read_batch(command->ledger, batch_id, fault);
    char number[QUANTITY_TEXT_BYTES], opened[COMMAND_TEXT_BYTES], oven_text[COMMAND_TEXT_BYTES];
    char charge[COMMAND_TEXT_BYTES], state[COMMAND_TEXT_BYTES];
    char *oven;
    int result = -1;

    if (batch == NULL)
        return -1;
    oven = ledger_oven_name(command->ledger, batch->oven_id, fault);
    if (oven != NULL && command_describe_state(command, batch, state, fault) == 0) {
        snprintf(number, sizeof number, "%lld", (long long)batch_id);
        quantity_format_time(batch->opened_ms, command->config->utc_offset_min, opened);
        const char *const cells[] = {number, opened, command_clean(oven, oven_text), state,
                                     command_clean(batch->charge, charge)};
        command_print_row(command->out, widths, cells, sizeof cells / sizeof cells[0]);
        result = 0;
    }
    free(oven);
    ledger_free_batch(batch);
    return result;
}

static int command_batch_list(struct command *command, int argc, char **argv, struct fault *fault) {
    static const size_t widths[] = {5, 19, 11, 18, 22};
    static const char *const head[] = {"batch", NULL, "oven", "state", "charge"};
    const char *none = NULL, *titles[sizeof head / sizeof head[0]];
    char title[COMMAND_TEXT_BYTES], zone[QUANTITY_TEXT_BYTES];
    size_t count = 0;
    int64_t *ids;
    int result = 0;

    if (command_take(argc, argv, NULL, 0, &none, 0, 0, "batch list", fault) < 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    ids = ledger_list_batches(command->ledger, false, &count, fault);
    if (ids == NULL)
        return -1;
    memcpy(titles, head, sizeof head);
    snprintf(title, sizeof title, "opened (%s)", words_offset(command->config->utc_offset_min, zone));
    titles[1] = title;
    if (count == 0)
        fputs("There is no batch yet: 'batch open' makes one.\n", command->out);
    else
        command_print_row(command->out, widths, titles, sizeof head / sizeof head[0]);
    for (size_t i = 0; result == 0 && i < count; i++)
        result = command_list_one(command, widths, ids[i], fault);
    free(ids);
    return result;
}

int command_batch(struct command *command, int argc, char **argv, struct fault *fault) {
    static const struct {
        const char *name;
        command_function *function;
    } parts[] = {{"open", command_batch_open},
                 {"close", command_batch_close},
                 {"list", command_batch_list},
                 {"split", command_batch_split},
                 {"show", command_batch_show}};

    for (size_t i = 0; argc > 0 && i < sizeof parts / sizeof parts[0]; i++)
        if (strcmp(argv[0], parts[i].name) == 0)
            return parts[i].function(command, argc - 1, argv + 1, fault);
    return fault_set(fault, EX_USAGE,
                     "'batch %s': expected batch open, batch close, batch split, batch list or batch show",
                     argc > 0 ? argv[0] : "");
}
