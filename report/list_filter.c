// SPDX-License-Identifier: MIT
#include <string.h>

#include "list_parts.h"
#include "soakledger/sensors.h"

static int list_take_day(struct command *command, const char *text, bool end, int64_t *t_ms, struct fault *fault) {
    enum { DATE_BYTES = 10, MS_PER_MIN = 60000, MS_PER_DAY = 86400000 };

    if (text == NULL)
        return 0;
    if (quantity_parse_time(text, t_ms, fault) != 0)
        return fault_set(fault, EX_USAGE,
                         "'%s' is no date: expected one such as 2026-11-16, or a moment in UTC such "
                         "as 2026-11-16T09:53:40Z",
                         text);
    if (strlen(text) > DATE_BYTES)
        return 0;
    *t_ms -= (int64_t)command->config->utc_offset_min * MS_PER_MIN; // a day is the shop's own
    *t_ms += end ? MS_PER_DAY - 1 : 0;
    return 0;
}

static int list_take_verdict(struct list_filter *filter, struct fault *fault) {
    static const char *const words[] = {
        [OUTCOME_MET] = "met", [OUTCOME_NOT_PROVEN] = "not-proven", [OUTCOME_NOT_MET] = "not-met"};

    if (filter->verdict == NULL)
        return 0;
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcmp(words[i], filter->verdict) == 0) {
            filter->outcome = (enum outcome)i;
            return 0;
        }
    return fault_set(fault, EX_USAGE, "'%s' is no verdict: expected met, not-proven or not-met", filter->verdict);
}

int list_take_form(int *argc, char **argv, enum table_form *form, struct fault *fault) {
    const bool csv = command_take_out(argc, argv, "--csv"), json = command_take_out(argc, argv, "--json");

    *form = csv ? TABLE_CSV : json ? TABLE_JSON : TABLE_SCREEN;
    return csv && json ? fault_set(fault, EX_USAGE, "--csv and --json at once: expected one of them") : 0;
}

int list_take(struct command *command, int argc, char **argv, const char *usage, struct list_filter *filter,
              struct fault *fault) {
    const struct command_option known[] = {
        {"--customer", &filter->customer}, {"--steel", &filter->steel}, {"--charge", &filter->charge},
        {"--order", &filter->order},       {"--oven", &filter->oven},   {"--sensor", &filter->sensor},
        {"--verdict", &filter->verdict},   {"--from", &filter->from},   {"--to", &filter->to},
    };
    struct command_option options[sizeof known / sizeof known[0]];
    const char *none = NULL;
    size_t count = 0;

    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        if (strstr(usage, known[i].name) != NULL)
            options[count++] = known[i];
    filter->all = command_take_out(&argc, argv, "--all");
    filter->open_only = strstr(usage, "--open") != NULL && command_take_out(&argc, argv, "--open");
    filter->from_ms = INT64_MIN;
    filter->to_ms = INT64_MAX;
    if (list_take_form(&argc, argv, &filter->form, fault) != 0 ||
        command_take(argc, argv, options, count, &none, 0, 0, usage, fault) < 0 ||
        list_take_verdict(filter, fault) != 0 || command_configure(command, fault) != 0 ||
        list_take_day(command, filter->from, false, &filter->from_ms, fault) != 0)
        return -1;
    if (list_take_day(command, filter->to, true, &filter->to_ms, fault) != 0)
        return -1;
    return filter->from_ms > filter->to_ms
               ? fault_set(fault, EX_USAGE, "--from %s is after --to %s", filter->from, filter->to)
               : 0;
}

/* "K-114, K-115" */
static size_t list_name(char *out, size_t size, size_t used, const char *name) {
    return used >= size ? used
                        : used + (size_t)snprintf(out + used, size - used, "%s%s", used > 0 ? ", " : "", name);
}

static void list_say_no_oven(struct command *command, const char *oven) {
    char names[COMMAND_TEXT_BYTES / 2] = "", line[COMMAND_TEXT_BYTES], clean[COMMAND_TEXT_BYTES];
    size_t used = 0;

    for (size_t i = 0; i < command->config->oven_count; i++) {
        if (strcmp(command->config->ovens[i].name, oven) == 0)
            return;
        used = list_name(names, sizeof names, used, command->config->ovens[i].name);
    }
    snprintf(line, sizeof line, "There is no oven '%.200s' now: expected one of %s.", oven, names);
    command_print(command->out, 0, command_clean(line, clean));
}

static int list_say_no_sensor(struct command *command, const char *sensor, struct fault *fault) {
    char names[COMMAND_TEXT_BYTES / 2] = "", line[COMMAND_TEXT_BYTES], clean[COMMAND_TEXT_BYTES];
    size_t count = 0, used = 0;
    struct sensor_record *records = sensors_list(command->ledger, &count, fault);
    bool known = records == NULL;

    for (size_t i = 0; records != NULL && i < count; i++) {
        known = known || strcasecmp(records[i].identity, sensor) == 0;
        used = list_name(names, sizeof names, used, records[i].identity);
    }
    if (!known) {
        snprintf(line, sizeof line, "No sensor '%.200s' is known: expected one of %s.", sensor,
                 count > 0 ? names : "none yet");
        command_print(command->out, 0, command_clean(line, clean));
    }
    if (records != NULL)
        sensors_free(records, count);
    return records != NULL ? 0 : -1;
}

int list_say_none(struct command *command, const struct list_filter *filter, const char *words,
                  struct fault *fault) {
    if (filter->form != TABLE_SCREEN)
        return 0;
    fprintf(command->out, "%s\n", words);
    if (filter->oven != NULL)
        list_say_no_oven(command, filter->oven);
    return filter->sensor != NULL ? list_say_no_sensor(command, filter->sensor, fault) : 0;
}

bool list_is_narrowed(const struct list_filter *filter) {
    return filter->customer != NULL || filter->steel != NULL || filter->charge != NULL || filter->order != NULL ||
           filter->oven != NULL || filter->sensor != NULL || filter->verdict != NULL || filter->from != NULL ||
           filter->to != NULL || filter->open_only;
}

bool list_has(const char *text, const char *part) {
    return part == NULL || strcasestr(text, part) != NULL;
}

bool list_has_sensor(const struct ledger_channel *channels, size_t count, const char *sensor) {
    for (size_t i = 0; i < count; i++)
        if (strcasecmp(channels[i].sensor_identity, sensor) == 0)
            return true;
    return sensor == NULL;
}

struct table_cell list_text(const char *text) {
    return (struct table_cell){.kind = TABLE_TEXT, .text = text};
}

struct table_cell list_text_if(const char *text) {
    return (struct table_cell){.kind = text[0] != '\0' ? TABLE_TEXT : TABLE_NONE, .text = text};
}

struct table_cell list_time(int64_t t_ms) {
    return (struct table_cell){.kind = t_ms != 0 ? TABLE_TIME : TABLE_NONE, .value = t_ms};
}

struct table_cell list_thousandths(bool known, int64_t value) {
    return (struct table_cell){.kind = known ? TABLE_THOUSANDTHS : TABLE_NONE, .value = value};
}

struct table_cell list_integer(bool known, int64_t value) {
    return (struct table_cell){.kind = known ? TABLE_INTEGER : TABLE_NONE, .value = value};
}

struct table_cell list_truth(bool is) {
    return (struct table_cell){.kind = TABLE_TRUTH, .value = is};
}

int list_finish(struct table *table, int result, struct fault *fault) {
    if (result == 0)
        return table_close(table, fault);
    table_drop(table);
    return -1;
}

char *list_show_time(const struct command *command, int64_t t_ms, char *out) {
    enum { TO_MINUTES_BYTES = 16 };

    quantity_format_time(t_ms, command->config->utc_offset_min, out);
    out[TO_MINUTES_BYTES] = '\0';
    return out;
}
