// SPDX-License-Identifier: MIT
/* soakledger: batches, and what is proven about them. See soakledger(1). */
#include <stdio.h>
#include <string.h>

#include "command.h"
#include "soakledger/version.h"
#include "soakledger/words.h"

static const char DEFAULT_CONFIG[] = "/etc/soakledger/soakledger.conf";

static const char HELP[] = "soakledger [-c CONFIG] COMMAND: batches, and what the ledger proves about them\n"
                           "\n"
                           "  batch open --plan FILE --charge TEXT   say what goes into the oven next\n"
                           "             [--oven NAME] [--customer TEXT] [--order TEXT] [--operator TEXT]\n"
                           "             [--note TEXT]\n"
                           "  batch close N                          no more runs belong to it\n"
                           "  batch list                             all batches\n"
                           "  batch show N                           required, found and outcome\n"
                           "  runs [--all]                           oven runs and whose they are\n"
                           "  claim RUN BATCH [VISIT] | RUN none     say whose a run is\n"
                           "  attest BATCH [VISIT] --at TIME         a person's word for an unseen quench\n"
                           "             [--by NAME] [--words TEXT]\n"
                           "  certificate BATCH [-o FILE]            write the PDF and record its issue\n"
                           "  key make|public|certificate [-o FILE]  what signs certificates\n"
                           "  plan check|show FILE [-o FILE]         say or draw what a plan asks for\n"
                           "  ports [--json]; probe PORT [OPTION ..] serial adapters, and what is behind\n"
                           "\n"
                           "  -c, --config CONFIG   instead of /etc/soakledger/soakledger.conf\n"
                           "  -h, --help            this text\n"
                           "  -V, --version\n"
                           "\n"
                           "A VISIT is one stay in an oven: the name of its soak or temper, or its number.\n"
                           "More in soakledger(1).\n";

struct command_entry {
    const char *name;
    command_function *function;
};

static const struct command_entry COMMANDS[] = {
    {"batch", command_batch},   {"runs", command_runs},   {"claim", command_claim},
    {"attest", command_attest}, {"plan", command_plan},   {"certificate", command_certificate},
    {"key", command_key},       {"ports", command_ports}, {"probe", command_probe},
    {"survey", command_survey},
};

static int main_dispatch(struct command *command, int argc, char **argv, struct fault *fault) {
    for (size_t i = 0; i < sizeof COMMANDS / sizeof COMMANDS[0]; i++)
        if (strcmp(argv[0], COMMANDS[i].name) == 0)
            return COMMANDS[i].function(command, argc - 1, argv + 1, fault);
    return fault_set(fault, EX_USAGE,
                     "unknown command '%s': expected batch, runs, claim, attest, certificate, key, plan, ports, "
                     "probe or survey; "
                     "see soakledger --help",
                     argv[0]);
}

/* Options before the command. Returns the index of the command's name, 0 if all is done, -1 with a fault. */
static int main_take_options(struct command *command, int argc, char **argv, struct fault *fault) {
    int i = 1;

    for (; i < argc && argv[i][0] == '-'; i++) {
        if (strcmp(argv[i], "-h") == 0 || strcmp(argv[i], "--help") == 0) {
            fputs(HELP, command->out);
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
