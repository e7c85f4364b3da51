// SPDX-License-Identifier: MIT
#include <string.h>

#include "command.h"
#include "soakledger/words.h"

static void command_print_heat(FILE *out, const struct plan_operation *operation) {
    char rate[QUANTITY_TEXT_BYTES], low[QUANTITY_TEXT_BYTES], high[QUANTITY_TEXT_BYTES];

    fprintf(out, "  rise: at most %s between %s and %s\n",
            quantity_format_rate(operation->ramp_at_most.value, UNIT_CELSIUS, rate),
            quantity_format_temperature(operation->ramp_low_mc, UNIT_CELSIUS, 0, low),
            quantity_format_temperature(operation->ramp_high_mc, UNIT_CELSIUS, 0, high));
}

static void command_print_soak(FILE *out, const struct plan *plan, const struct plan_operation *operation) {
    char low[QUANTITY_TEXT_BYTES], high[QUANTITY_TEXT_BYTES], text[QUANTITY_TEXT_BYTES], lag[QUANTITY_TEXT_BYTES];

    fprintf(out, "  band: %s to %s\n",
            quantity_format_temperature(operation->temperature_mc - operation->below_mc, UNIT_CELSIUS, 1, low),
            quantity_format_temperature(operation->temperature_mc + operation->above_mc, UNIT_CELSIUS, 1, high));
    fprintf(out, "  soak: at least %s", quantity_format_duration(operation->time_at_least_ms, text));
    if (plan->lag_allowance_ms > 0)
        fprintf(out, " and %s for the lag of the charge", quantity_format_duration(plan->lag_allowance_ms, lag));
    if (operation->time_at_most.set)
        fprintf(out, ", at most %s", quantity_format_duration(operation->time_at_most.value, text));
    fprintf(out, "\n  overshoot: at most %s\n",
            quantity_format_difference(operation->overshoot_at_most.value, UNIT_CELSIUS, 1, 0, text));
    if (operation->spread_at_most.set)
        fprintf(out, "  spread between the load sensors: at most %s\n",
                quantity_format_difference(operation->spread_at_most.value, UNIT_CELSIUS, 1, 0, text));
}

static void command_print_plan(FILE *out, const struct plan *plan) {
    char line[2 * COMMAND_TEXT_BYTES], title[COMMAND_TEXT_BYTES], sha256[LEDGER_SHA256_TEXT_BYTES];
    char name[COMMAND_TEXT_BYTES], oven[COMMAND_TEXT_BYTES];

    snprintf(line, sizeof line, "%s: %zu operations, %zu visits to an oven", command_clean(plan->title, title),
             plan->operation_count, plan->visit_count);
    command_print(out, 2, line);
    ledger_sha256(plan->text, plan->text_length, sha256);
    fprintf(out, "SHA-256 %s\n", sha256);
    for (size_t i = 0; i < plan->operation_count; i++) {
        const struct plan_operation *operation = &plan->operations[i];

        snprintf(line, sizeof line, "%s%s%s (visit %zu%s%s)", plan_kind_name(operation->kind),
                 operation->name[0] != '\0' ? " " : "", command_clean(operation->name, name), operation->visit + 1,
                 operation->oven[0] != '\0' ? ", oven " : "", command_clean(operation->oven, oven));
        command_print(out, 2, line);
        if (operation->kind == OPERATION_HEAT)
            command_print_heat(out, operation);
        else
            command_print_soak(out, plan, operation);
    }
    if (plan->load == PLAN_LOAD_CONTROL)
        command_print(out, 2,
                      "The control sensor stands for the charge: the charge's own temperature is not measured.");
}

int command_plan(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *words[2] = {NULL, NULL};
    struct plan *plan;

    if (command_take(argc, argv, NULL, 0, words, 2, 2, "plan check FILE", fault) < 0)
        return -1;
    if (strcmp(words[0], "check") != 0)
        return fault_set(fault, EX_USAGE, "'plan %s': expected 'plan check FILE'", words[0]);
    plan = plan_read(words[1], fault);
    if (plan == NULL)
        return -1;
    command_print_plan(command->out, plan);
    plan_free(plan);
    return 0;
}
