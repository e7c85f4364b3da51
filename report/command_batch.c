// SPDX-License-Identifier: MIT
#include <string.h>

#include "command.h"

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
