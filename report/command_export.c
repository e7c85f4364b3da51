// SPDX-License-Identifier: MIT
/* export: the curves of a run or a batch as a file for other programs. */
#include <string.h>

#include "command.h"
#include "export_parts.h"
#include "soakledger/keep.h"

static const char USAGE[] = "export run N | batch N [--csv | --json | --svg] [--from TIME] [--to TIME] "
                            "[--channel NAME] [-o FILE]";

struct export_form {
    const char *option, *ending;
    export_writer *writer;
};

static const struct export_form FORMS[] = {
    {"--csv", "csv", export_csv}, {"--json", "json", export_json}, {"--svg", "svg", export_svg}};

static const struct export_form *command_take_form(int *argc, char **argv, struct fault *fault) {
    const struct export_form *form = NULL;

    for (size_t i = 0; i < sizeof FORMS / sizeof FORMS[0]; i++) {
        if (!command_take_out(argc, argv, FORMS[i].option))
            continue;
        if (form != NULL) {
            fault_set(fault, EX_USAGE, "%s and %s at once: expected one of them", form->option, FORMS[i].option);
            return NULL;
        }
        form = &FORMS[i];
    }
    return form != NULL ? form : &FORMS[0];
}

static int command_take_moment(const char *text, int64_t *t_ms, struct fault *fault) {
    return text == NULL ? 0
           : quantity_parse_time(text, t_ms, fault) == 0
               ? 0
               : fault_set(fault, EX_USAGE, "'%s' is no moment: expected UTC, such as 2026-11-16T09:53:40Z", text);
}

static int command_write_export(struct command *command, const struct export *export,
                                const struct export_form *form, const char *path, struct fault *fault) {
    FILE *out;
    struct keep *keep = keep_begin(NULL, path, &out, fault);

    if (keep == NULL)
        return -1;
    if (form->writer(export, out, fault) != 0 || keep_finish(keep, fault) != 0) {
        keep_drop(keep);
        return -1;
    }
    if (keep_rename(keep, fault) != 0)
        return -1;
    command_say_path(command, path, "");
    return 0;
}

int command_export(struct command *command, int argc, char **argv, struct fault *fault) {
    enum { WHAT, NUMBER, WORDS };
    const char *words[WORDS] = {NULL}, *from = NULL, *to = NULL, *channel = NULL, *path = NULL;
    const struct command_option options[] = {
        {"--from", &from}, {"--to", &to}, {"--channel", &channel}, {"-o", &path}};
    const struct export_form *form = command_take_form(&argc, argv, fault);
    struct export export = {.from_ms = INT64_MIN, .to_ms = INT64_MAX};
    char name[COMMAND_TEXT_BYTES];
    int64_t number;
    int result;

    if (form == NULL ||
        command_take(argc, argv, options, sizeof options / sizeof options[0], words, WORDS, WORDS, USAGE, fault) <
            0 ||
        command_take_moment(from, &export.from_ms, fault) != 0 ||
        command_take_moment(to, &export.to_ms, fault) != 0)
        return -1;
    if (strcmp(words[WHAT], "run") != 0 && strcmp(words[WHAT], "batch") != 0)
        return fault_set(fault, EX_USAGE, "'%s': expected '%s'", words[WHAT], USAGE);
    if (command_take_number(words[NUMBER], words[WHAT], &number, fault) != 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    export.ledger = command->ledger;
    export.config = command->config;
    export.channel = channel;
    snprintf(name, sizeof name, "soakledger-%s-%lld.%s", words[WHAT], (long long)number, form->ending);
    result = strcmp(words[WHAT], "run") == 0 ? export_open_run(&export, number, fault)
                                             : export_open_batch(&export, number, fault);
    if (result == 0)
        result = command_write_export(command, &export, form, path != NULL ? path : name, fault);
    export_close(&export);
    return result;
}
