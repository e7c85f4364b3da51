// SPDX-License-Identifier: MIT
/* Plans by themselves, without a shop: what one asks for, in words and drawn. */
#include <langinfo.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "command.h"
#include "plan_parts.h"
#include "soakledger/clock.h"
#include "soakledger/keep.h"
#include "soakledger/words.h"

static const char usage_check[] = "plan check FILE [--unit C|F]";
static const char usage_show[] = "plan show FILE [-o FILE.pdf] [--paper A4|Letter] [--unit C|F]";

/* The unit asked for; else the shop's, where there is a configuration; else °C. */
static int command_plan_unit(const struct command *command, const char *asked, enum temperature_unit *unit,
                             struct fault *fault) {
    struct fault ignored;
    struct config *config;

    *unit = UNIT_CELSIUS;
    if (asked != NULL) {
        if (strcmp(asked, "C") != 0 && strcmp(asked, "F") != 0)
            return fault_set(fault, EX_USAGE, "--unit '%s': expected C or F", asked);
        *unit = asked[0] == 'F' ? UNIT_FAHRENHEIT : UNIT_CELSIUS;
        return 0;
    }
    config = config_read(command->config_path, &ignored);
    if (config != NULL)
        *unit = config->unit;
    config_free(config);
    return 0;
}

static void command_print_operation(FILE *out, const struct plan *plan, size_t index, enum temperature_unit unit) {
    const struct plan_operation *operation = &plan->operations[index];
    char words[PLAN_WORDS_MOST][PLAN_WORDS_BYTES], name[PLAN_NAME_BYTES], oven[COMMAND_TEXT_BYTES];
    char line[2 * COMMAND_TEXT_BYTES];
    const size_t count = plan_words(plan, operation, unit, words);

    snprintf(line, sizeof line, "%zu. %s (visit %zu%s%s)", index + 1, plan_words_name(operation, name),
             operation->visit + 1, operation->oven[0] != '\0' ? ", oven " : "",
             command_clean(operation->oven, oven));
    command_print(out, 3, line);
    for (size_t i = 0; i < count; i++) {
        snprintf(line, sizeof line, "   %.*s", PLAN_WORDS_BYTES, words[i]);
        command_print(out, 5, line);
    }
}

static void command_print_plan(FILE *out, const struct plan *plan, enum temperature_unit unit) {
    char line[2 * COMMAND_TEXT_BYTES], title[COMMAND_TEXT_BYTES], sha256[LEDGER_SHA256_TEXT_BYTES];
    char words[PLAN_WORDS_MOST][PLAN_WORDS_BYTES];
    size_t count;

    snprintf(line, sizeof line, "%s: %zu operation%s, %zu visit%s to an oven", command_clean(plan->title, title),
             plan->operation_count, plan->operation_count == 1 ? "" : "s", plan->visit_count,
             plan->visit_count == 1 ? "" : "s");
    command_print(out, 2, line);
    ledger_sha256(plan->text, plan->text_length, sha256);
    fprintf(out, "SHA-256 %s\n", sha256);
    for (size_t i = 0; i < plan->operation_count; i++)
        command_print_operation(out, plan, i, unit);
    count = plan_words_whole(plan, unit, words);
    for (size_t i = 0; i < count; i++)
        command_print(out, 2, words[i]);
}

static int command_plan_check(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *path = NULL, *asked = NULL;
    const struct command_option options[] = {{"--unit", &asked}};
    enum temperature_unit unit;
    struct plan *plan;

    if (command_take(argc, argv, options, 1, &path, 1, 1, usage_check, fault) < 0 ||
        command_plan_unit(command, asked, &unit, fault) != 0 || (plan = plan_read(path, fault)) == NULL)
        return -1;
    command_print_plan(command->out, plan, unit);
    plan_free(plan);
    return 0;
}

/* ---- drawn ---- */

/* What the terminal can show, as the environment says it; the program itself stays in the C locale. */
static bool command_is_utf8(void) {
    locale_t locale = newlocale(LC_CTYPE_MASK, "", (locale_t)0);
    const bool utf8 = locale != (locale_t)0 && strcmp(nl_langinfo_l(CODESET, locale), "UTF-8") == 0;

    if (locale != (locale_t)0)
        freelocale(locale);
    return utf8;
}

static bool command_is_colourful(FILE *out) {
    const char *no_colour = getenv("NO_COLOR"), *terminal = getenv("TERM");

    return isatty(fileno(out)) != 0 && (no_colour == NULL || no_colour[0] == '\0') && terminal != NULL &&
           strcmp(terminal, "dumb") != 0;
}

/* Wrapped text. */
static void command_say(FILE *out, bool utf8, const char *text) {
    char clean[COMMAND_TEXT_BYTES];

    command_clean(text, clean);
    command_print(out, 2, utf8 ? clean : plan_make_plain(clean));
}

static int command_show_screen(FILE *out, const struct plan *plan, enum temperature_unit unit,
                               struct fault *fault) {
    const struct plan_screen screen = {command_is_utf8(), command_is_colourful(out), unit};
    char line[2 * COMMAND_TEXT_BYTES + 2], lag[QUANTITY_TEXT_BYTES];

    snprintf(line, sizeof line, "%.*s%s%.*s", COMMAND_TEXT_BYTES - 1, plan->title,
             plan->steel[0] != '\0' ? ": " : "", COMMAND_TEXT_BYTES - 1, plan->steel);
    command_say(out, screen.utf8, line);
    if (plan_screen_draw(out, plan, &screen, fault) != 0)
        return -1;
    command_say(out, screen.utf8, plan_words_scale);
    if (plan->lag_allowance_ms > 0) {
        snprintf(line, sizeof line, "Times at temperature include %s for the lag of the charge.",
                 quantity_format_duration(plan->lag_allowance_ms, lag));
        command_say(out, screen.utf8, line);
    }
    command_say(out, screen.utf8, "All that it requires, in words: soakledger plan check");
    command_say(out, screen.utf8, "It is a starting point: the steel maker's data sheet goes before it.");
    return 0;
}

static int command_show_paper(const struct plan *plan, const char *path, const char *paper,
                              enum temperature_unit unit, struct fault *fault) {
    struct clock *clock = clock_open_real(fault);
    unsigned char *bytes = NULL;
    struct keep *keep;
    size_t length = 0;
    int64_t now_ms;

    if (clock == NULL)
        return -1;
    now_ms = clock_read_ms(clock);
    clock_close(clock);
    if (plan_sheet_make(plan, paper, unit, now_ms, &bytes, &length, fault) != 0)
        return -1;
    keep = keep_write(NULL, path, bytes, length, fault);
    free(bytes);
    return keep == NULL ? -1 : keep_rename(keep, fault);
}

static int command_plan_show(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *path = NULL, *output = NULL, *long_output = NULL, *paper = NULL, *asked = NULL;
    const struct command_option options[] = {
        {"-o", &output}, {"--output", &long_output}, {"--paper", &paper}, {"--unit", &asked}};
    enum temperature_unit unit;
    struct plan *plan;
    int result;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &path, 1, 1, usage_show, fault) < 0)
        return -1;
    if (output != NULL && long_output != NULL)
        return fault_set(fault, EX_USAGE, "-o is given twice, once as --output: expected '%s'", usage_show);
    output = output != NULL ? output : long_output;
    if (paper != NULL && strcmp(paper, "A4") != 0 && strcmp(paper, "Letter") != 0)
        return fault_set(fault, EX_USAGE, "--paper '%s': expected A4 or Letter", paper);
    if (paper != NULL && output == NULL)
        return fault_set(fault, EX_USAGE, "--paper is for a PDF: expected -o FILE.pdf with it");
    if (command_plan_unit(command, asked, &unit, fault) != 0 || (plan = plan_read(path, fault)) == NULL)
        return -1;
    result = output == NULL ? command_show_screen(command->out, plan, unit, fault)
                            : command_show_paper(plan, output, paper != NULL ? paper : "A4", unit, fault);
    if (result == 0 && output != NULL)
        command_say_path(command, output, "");
    plan_free(plan);
    return result;
}

int command_plan(struct command *command, int argc, char **argv, struct fault *fault) {
    if (argc > 0 && strcmp(argv[0], "check") == 0)
        return command_plan_check(command, argc - 1, argv + 1, fault);
    if (argc > 0 && strcmp(argv[0], "show") == 0)
        return command_plan_show(command, argc - 1, argv + 1, fault);
    return fault_set(fault, EX_USAGE, "'plan %s': expected '%s' or '%s'", argc > 0 ? argv[0] : "", usage_check,
                     usage_show);
}
