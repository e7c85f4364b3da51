// SPDX-License-Identifier: MIT
/* soakledger: batches, and what is proven about them. See soakledger(1). */
#include <stdio.h>
#include <string.h>

#include "command.h"
#include "soakledger/version.h"
#include "soakledger/words.h"

static const char DEFAULT_CONFIG[] = "/etc/soakledger/soakledger.conf";

static const char HELP_HEAD[] =
    "soakledger [-c CONFIG] COMMAND: batches, and what the ledger proves about them\n\n";
static const char HELP_TAIL[] = "\n"
                                "  -c, --config CONFIG   instead of /etc/soakledger/soakledger.conf\n"
                                "  -h, --help            this text, or with a command: its own\n"
                                "  -V, --version\n"
                                "\n"
                                "'soakledger help COMMAND' says more, and soakledger(1) everything.\n";

/* Two commands a line, read downwards. */
static void main_overview(FILE *out) {
    const size_t lines = (command_entry_count + 1) / 2;

    fputs(HELP_HEAD, out);
    for (size_t i = 0; i < lines; i++) {
        const struct command_entry *left = &command_entries[i];
        const struct command_entry *right = i + lines < command_entry_count ? &command_entries[i + lines] : NULL;

        if (right == NULL)
            fprintf(out, "  %-11s %s\n", left->name, left->summary);
        else
            fprintf(out, "  %-11s %-25s  %-11s %s\n", left->name, left->summary, right->name, right->summary);
    }
    fputs(HELP_TAIL, out);
}

static int main_refuse(const char *name, struct fault *fault) {
    char names[3 * FAULT_TEXT_BYTES / 4] = "";
    size_t used = 0;

    for (size_t i = 0; i < command_entry_count && used < sizeof names; i++)
        used +=
            (size_t)snprintf(names + used, sizeof names - used, "%s%s", i > 0 ? ", " : "", command_entries[i].name);
    return fault_set(fault, EX_USAGE, "unknown command '%s': expected one of %s", name, names);
}

static int main_help(FILE *out, const char *name, struct fault *fault) {
    const struct command_entry *entry = name != NULL ? command_find(name) : NULL;

    if (name != NULL && entry == NULL)
        return main_refuse(name, fault);
    if (entry == NULL)
        main_overview(out);
    else
        fputs(entry->help, out);
    return 0;
}

static bool main_asks_for_help(int argc, char **argv) {
    for (int i = 0; i < argc && strcmp(argv[i], "--") != 0; i++)
        if (strcmp(argv[i], "--help") == 0 || strcmp(argv[i], "-h") == 0)
            return true;
    return false;
}

static int main_dispatch(struct command *command, int argc, char **argv, struct fault *fault) {
    const struct command_entry *entry = command_find(argv[0]);
    int handed_over;

    if (strcmp(argv[0], "help") == 0 && argc <= 2)
        return main_help(command->out, argv[1], fault); // argv ends with NULL
    if (entry == NULL)
        return main_refuse(argv[0], fault);
    if (main_asks_for_help(argc - 1, argv + 1))
        return main_help(command->out, argv[0], fault);
    handed_over = command_hand_over(command, argc, argv, fault);
    if (handed_over != 0)
        return handed_over < 0 ? -1 : 0;
    return entry->function(command, argc - 1, argv + 1, fault);
}

/* Options before the command. Returns the index of the command's name, 0 if all is done, -1 with a fault. */
static int main_take_options(struct command *command, int argc, char **argv, struct fault *fault) {
    int i = 1;

    for (; i < argc && argv[i][0] == '-'; i++) {
        if (strcmp(argv[i], "-h") == 0 || strcmp(argv[i], "--help") == 0) {
            main_overview(command->out);
            return 0;
        }
        if (strcmp(argv[i], "-V") == 0 || strcmp(argv[i], "--version") == 0) {
            fputs("soakledger " SOAKLEDGER_VERSION "\n", command->out);
            return 0;
        }
        if (strncmp(argv[i], "--config=", strlen("--config=")) == 0) {
            command->config_path = argv[i] + strlen("--config=");
            continue;
        }
        if (strcmp(argv[i], "-c") != 0 && strcmp(argv[i], "--config") != 0)
            return fault_set(fault, EX_USAGE, "unknown option '%s' before the command; see soakledger --help",
                             argv[i]);
        if (++i == argc)
            return fault_set(fault, EX_USAGE, "%s has no value: expected the configuration's file name",
                             argv[i - 1]);
        command->config_path = argv[i];
    }
    if (i == argc)
        return fault_set(fault, EX_USAGE, "no command: expected one such as 'batch list'; see soakledger --help");
    return i;
}

int main(int argc, char **argv) {
    struct command command = {.config_path = DEFAULT_CONFIG, .out = stdout};
    struct fault fault = {EX_SOFTWARE, ""};
    int result, first;

    first = main_take_options(&command, argc, argv, &fault);
    result = first > 0 ? main_dispatch(&command, argc - first, argv + first, &fault) : first;
    command_release(&command);
    if (result == 0 && fflush(stdout) != 0)
        result = fault_set_errno(&fault, EX_IOERR, "cannot write to standard output");
    if (result != 0) {
        char line[FAULT_TEXT_BYTES];

        fprintf(stderr, "soakledger: %s\n", words_clean(fault.text, sizeof fault.text, 0, line, sizeof line));
        return fault.status;
    }
    return 0;
}
