// SPDX-License-Identifier: MIT
/* drift: what many runs say of an oven's sensors: a line each on the terminal, and a sheet with the charts. */
#include <stdlib.h>
#include <string.h>

#include "list_machine.h"

static const char usage[] = "drift [OVEN | OVEN.CHANNEL | SENSOR] [--until TIME] [--csv | --json] [-o FILE]";

struct drift_cases {
    struct drift_case *items;
    size_t count;
};

static void free_cases(struct drift_cases *cases) {
    for (size_t i = 0; i < cases->count; i++)
        health_free(cases->items[i].oven);
    free(cases->items);
}

/* ---- which oven, which sensor ---- */

/* Whether the word means this oven, and which sensor of it: its name, OVEN.CHANNEL, or the number on a tag. */
static bool is_meant(const struct health_oven *oven, const char *word, size_t *sensor) {
    const size_t length = strlen(oven->name);

    *sensor = DRIFT_ALL_SENSORS;
    if (word == NULL || strcmp(word, oven->name) == 0)
        return true;
    for (size_t i = 0; i < oven->sensor_count; i++)
        if ((strncmp(word, oven->name, length) == 0 && word[length] == '.' &&
             strcmp(word + length + 1, oven->sensors[i].name) == 0) ||
            strcmp(word, oven->sensors[i].identity) == 0) {
            *sensor = i;
            return true;
        }
    return false;
}

/* Is it worth the work to look at that oven? "OVEN" and "OVEN.CHANNEL" name one. */
static bool may_be_meant(const struct config *config, const char *oven, const char *word) {
    for (size_t i = 0; word != NULL && i < config->oven_count; i++) {
        const char *name = config->ovens[i].name;
        const size_t length = strlen(name);

        if (strncmp(word, name, length) == 0 && (word[length] == '\0' || word[length] == '.'))
            return strcmp(name, oven) == 0;
    }
    return true;
}

static int add_case(struct command *command, struct drift_cases *cases, int64_t oven_id, const char *word,
                    int64_t until_ms, struct fault *fault) {
    struct drift_case *of = &cases->items[cases->count];
    const struct health_level *level;
    int simulated = 0;

    *of = (struct drift_case){.config = command->config,
                              .oven = health_examine(command->ledger, oven_id, until_ms, true, fault)};
    if (of->oven == NULL)
        return -1;
    if (!is_meant(of->oven, word, &of->sensor)) {
        health_free(of->oven);
        return 0;
    }
    cases->count++;
    level = drift_level(of);
    if (level != NULL && level->history.run_count > 0)
        simulated = ledger_was_simulated(command->ledger, level->history.runs[0].t_ms,
                                         level->history.runs[level->history.run_count - 1].t_ms, fault);
    of->simulated = simulated == 1;
    return simulated < 0 ? -1 : 0;
}

static int add_cases(struct command *command, struct drift_cases *cases, const char *word, int64_t until_ms,
                     struct fault *fault) {
    const struct config *config = command->config;

    cases->items = calloc(config->oven_count + 1, sizeof *cases->items);
    if (cases->items == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    for (size_t i = 0; i < config->oven_count; i++) {
        int64_t oven_id;

        if (!may_be_meant(config, config->ovens[i].name, word))
            continue;
        oven_id = ledger_find_oven(command->ledger, config->ovens[i].name, fault);
        if (oven_id < 0 || (oven_id > 0 && add_case(command, cases, oven_id, word, until_ms, fault) != 0))
            return -1;
    }
    if (cases->count > 0)
        return 0;
    if (word != NULL)
        return fault_set(
            fault, EX_NOINPUT,
            "'%s' is neither an oven, nor a channel with a sensor, nor a sensor that is fitted: expected '%s'",
            word, usage);
    return fault_set(fault, EX_NOINPUT, "the ledger knows none of the configuration's ovens yet");
}

/* ---- to the terminal ---- */

static void print_case(struct command *command, const struct drift_case *of) {
    char words[2 * TRIAL_TEXT_BYTES], line[3 * TRIAL_TEXT_BYTES], name[COMMAND_TEXT_BYTES];

    snprintf(line, sizeof line, "%s: %s.", command_clean(of->oven->name, name), drift_answer(of, words));
    command_print(command->out, 2, line);
    for (size_t i = 0; i < of->oven->sensor_count; i++) {
        if (of->sensor != DRIFT_ALL_SENSORS && of->sensor != i)
            continue;
        snprintf(line, sizeof line, "  %s", drift_line(of, i, words));
        command_print(command->out, 4, line);
    }
    drift_advice(of, words);
    if (words[0] != '\0')
        command_print(command->out, 2, words);
}

static int print_sheet(struct command *command, const struct drift_cases *cases, const char *path, int64_t made_ms,
                       struct fault *fault) {
    unsigned char *bytes = NULL;
    size_t length = 0;
    int result;

    if (drift_sheet_make(cases->items, cases->count, made_ms, &bytes, &length, fault) != 0)
        return -1;
    result = trial_keep(command, path, bytes, length, fault);
    free(bytes);
    return result;
}

int command_drift(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *word = NULL, *until = NULL, *path = NULL, *long_path = NULL;
    const struct command_option options[] = {{"--until", &until}, {"-o", &path}, {"--output", &long_path}};
    struct drift_cases cases = {0};
    enum table_form form;
    int64_t now_ms, until_ms;
    int result;

    if (list_take_form(&argc, argv, &form, fault) != 0 ||
        command_take(argc, argv, options, sizeof options / sizeof options[0], &word, 0, 1, usage, fault) < 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    now_ms = until_ms = command_now_ms(command, fault);
    if (now_ms < 0 || (until != NULL && quantity_parse_time(until, &until_ms, fault) != 0))
        return -1;
    path = path != NULL ? path : long_path;
    result = add_cases(command, &cases, word, until_ms, fault);
    if (result == 0 && form != TABLE_SCREEN)
        result = list_drift(command, form, cases.items, cases.count, fault);
    for (size_t i = 0; form == TABLE_SCREEN && result == 0 && i < cases.count; i++)
        print_case(command, &cases.items[i]);
    if (result == 0 && path != NULL)
        result = print_sheet(command, &cases, path, now_ms, fault);
    free_cases(&cases);
    return result;
}
