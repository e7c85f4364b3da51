// SPDX-License-Identifier: MIT
#include "command.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "certificate_parts.h"
#include "soakledger/clock.h"
#include "soakledger/seal.h"
#include "soakledger/words.h"

int command_configure(struct command *command, struct fault *fault) {
    if (command->config == NULL)
        command->config = config_read(command->config_path, fault);
    return command->config != NULL ? 0 : -1;
}

int command_open_ledger(struct command *command, enum ledger_mode mode, struct fault *fault) {
    if (command_configure(command, fault) != 0)
        return -1;
    if (command->ledger == NULL) {
        command->ledger = ledger_open(command->config->ledger_path, mode, fault);
        if (command->ledger != NULL && command->seat != NULL && command_introduce(command, fault) != 0)
            return -1;
    }
    return command->ledger != NULL ? 0 : -1;
}

/* Where nobody plays on a simulated clock any more, it stands at what was recorded last. */
static int64_t command_simulated_ms(struct command *command, const char *page, struct fault *fault) {
    struct fault gone;
    struct clock *clock = clock_open_simulated(page, NULL, &gone);
    int64_t now_ms;

    if (clock == NULL && access(page, F_OK) == 0) {
        *fault = gone;
        return -1;
    }
    if (clock == NULL)
        return command_open_ledger(command, LEDGER_READ, fault) == 0 ? ledger_last_time(command->ledger, fault)
                                                                     : -1;
    now_ms = clock_read_ms(clock);
    clock_close(clock);
    return now_ms;
}

static int64_t command_real_ms(struct fault *fault) {
    struct clock *clock = clock_open_real(fault);
    int64_t now_ms;

    if (clock == NULL)
        return -1;
    now_ms = clock_read_ms(clock);
    clock_close(clock);
    return now_ms;
}

int64_t command_now_ms(struct command *command, struct fault *fault) {
    const char *page = command->config->clock_page;
    const int64_t now_ms = page != NULL ? command_simulated_ms(command, page, fault) : command_real_ms(fault);

    if (now_ms < 0)
        return -1;
    if (command->ledger != NULL)
        seal_set_time(command->ledger, now_ms);
    return now_ms;
}

void command_release(struct command *command) {
    ledger_close(command->ledger);
    config_free(command->config);
    command->ledger = NULL;
    command->config = NULL;
}

/* ---- words after the command ---- */

static const struct command_option *command_find_option(const struct command_option *options, size_t count,
                                                        const char *word, size_t length) {
    for (size_t i = 0; i < count; i++)
        if (strlen(options[i].name) == length && strncmp(options[i].name, word, length) == 0)
            return &options[i];
    return NULL;
}

int command_take(int argc, char **argv, const struct command_option *options, size_t count, const char **words,
                 int least, int most, const char *usage, struct fault *fault) {
    bool options_end = false;
    int taken = 0;

    for (int i = 0; i < argc; i++) {
        const size_t length = strcspn(argv[i], "=");
        const struct command_option *option;

        if (options_end || argv[i][0] != '-' || argv[i][1] == '\0') {
            if (taken == most)
                return fault_set(fault, EX_USAGE, "'%s' is one word too many: expected '%s'", argv[i], usage);
            words[taken++] = argv[i];
            continue;
        }
        if (strcmp(argv[i], "--") == 0) {
            options_end = true;
            continue;
        }
        option = command_find_option(options, count, argv[i], length);
        if (option == NULL)
            return fault_set(fault, EX_USAGE, "unknown option '%.*s': expected '%s'", (int)length, argv[i], usage);
        if (*option->value != NULL)
            return fault_set(fault, EX_USAGE, "%s is given twice: expected '%s'", option->name, usage);
        *option->value = argv[i][length] == '=' ? argv[i] + length + 1 : i + 1 < argc ? argv[++i] : NULL;
        if (*option->value == NULL)
            return fault_set(fault, EX_USAGE, "%s has no value: expected '%s'", option->name, usage);
    }
    if (taken < least)
        return fault_set(fault, EX_USAGE, "something is missing: expected '%s'", usage);
    return taken;
}

bool command_take_out(int *argc, char **argv, const char *name) {
    for (int i = 0; i < *argc && strcmp(argv[i], "--") != 0; i++) {
        if (strcmp(argv[i], name) != 0)
            continue;
        for (int k = i + 1; k < *argc; k++)
            argv[k - 1] = argv[k];
        (*argc)--;
        return true;
    }
    return false;
}

int command_take_number(const char *text, const char *what, int64_t *number, struct fault *fault) {
    if (quantity_parse_integer(text, 1, INT64_MAX, number, fault) != 0)
        return fault_set(fault, EX_USAGE, "'%s' is no number of a %s: expected a whole number from 1 on", text,
                         what);
    return 0;
}

/* ---- to the terminal ---- */

char *command_clean(const char *text, char *out) {
    return words_clean(text, strlen(text), 0, out, COMMAND_TEXT_BYTES);
}

void command_say_path(const struct command *command, const char *path, const char *ending) {
    char clean[PATH_MAX];

    fprintf(command->out, "%s%s\n", words_clean(path, strlen(path), 0, clean, sizeof clean), ending);
}

/* Bytes of `text` that make one line of `width` columns; `next` gets where the next line begins. */
static size_t command_fit(const char *text, size_t width, size_t *next) {
    size_t at = 0, columns = 0, fitted = 0;

    while (text[at] != '\0' && text[at] != '\n' && columns < width) {
        at += words_character(text + at);
        columns++;
        if (text[at] == ' ' || text[at] == '\0' || text[at] == '\n')
            fitted = at;
    }
    if (fitted == 0) // one word too long for a line
        fitted = at;
    *next = fitted + strspn(text + fitted, " ");
    if (text[*next] == '\n')
        (*next)++;
    return fitted;
}

void command_print(FILE *out, size_t indent, const char *text) {
    for (bool first = true; *text != '\0'; first = false) {
        size_t next = 0;
        const size_t length = command_fit(text, COMMAND_LINE_COLUMNS - 1 - indent, &next);
        char line[COMMAND_TEXT_BYTES]; // names from a ledger may hold anything: column for column, cleaned

        fprintf(out, "%*s%s\n", first ? 0 : (int)indent, "", words_clean(text, length, 0, line, sizeof line));
        text += next;
    }
}

void command_print_row(FILE *out, const size_t *widths, const char *const *cells, size_t count) {
    const char *rest[COMMAND_MOST_CELLS];
    bool more = true;

    for (size_t i = 0; i < count; i++)
        rest[i] = cells[i];
    while (more) {
        size_t pending = 0; // blanks are printed only before something: no line ends in one

        more = false;
        for (size_t i = 0; i < count; i++) {
            char cell[COMMAND_TEXT_BYTES];
            size_t next = 0;
            const size_t length = command_fit(rest[i], widths[i], &next);

            words_clean(rest[i], length, 0, cell, sizeof cell);
            rest[i] += next;
            if (cell[0] != '\0') {
                fprintf(out, "%*s%s", (int)pending, "", cell);
                pending = 0;
            }
            pending += widths[i] - words_columns(cell) + 1;
            more = more || *rest[i] != '\0';
        }
        fputc('\n', out);
    }
}

char *command_time(const struct command *command, int64_t t_ms, char *out) {
    char time[QUANTITY_TEXT_BYTES], zone[QUANTITY_TEXT_BYTES];

    snprintf(out, COMMAND_TEXT_BYTES, "%s %s", quantity_format_time(t_ms, command->config->utc_offset_min, time),
             words_offset(command->config->utc_offset_min, zone));
    return out;
}

/* ---- plans and visits ---- */

char *command_visit_name(const struct plan *plan, size_t visit, char *out) {
    char name[COMMAND_TEXT_BYTES];

    return command_clean(certificate_visit_name(plan, visit, name, sizeof name), out);
}

int command_find_visit(const struct plan *plan, const char *text, size_t *visit, struct fault *fault) {
    char names[FAULT_TEXT_BYTES / 2] = "", name[COMMAND_TEXT_BYTES];
    struct fault ignored;
    int64_t number;

    for (size_t i = 0; i < plan->visit_count; i++) {
        const size_t used = strlen(names);

        if (strcmp(plan_visit_soak(plan, i)->name, text) == 0) {
            *visit = i;
            return 0;
        }
        snprintf(names + used, sizeof names - used, "%s%zu (%s)", i > 0 ? ", " : "", i + 1,
                 command_visit_name(plan, i, name));
    }
    if (quantity_parse_integer(text, 1, (int64_t)plan->visit_count, &number, &ignored) == 0) {
        *visit = (size_t)number - 1;
        return 0;
    }
    return fault_set(fault, EX_USAGE, "'%s' is no visit of this plan: expected one of %s", text, names);
}

int64_t command_visit_oven(struct command *command, const struct ledger_batch *batch, const struct plan *plan,
                           size_t visit, struct fault *fault) {
    const char *oven = plan_visit_soak(plan, visit)->oven;

    return oven[0] == '\0' ? batch->oven_id : ledger_find_oven(command->ledger, oven, fault);
}
