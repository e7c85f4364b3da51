// SPDX-License-Identifier: MIT
/* sensor: what hangs at the end of the wires, how long it has been in the heat, and what is due. */
#include "command_sensor.h"

#include <stdlib.h>
#include <string.h>

#include "list_machine.h"
#include "soakledger/corrections.h"
#include "soakledger/words.h"

const struct config_sensor *command_sensor_section(const struct command *command, const char *identity) {
    static const struct config_sensor none = {.identity = "", .type = "", .tolerance = ""};

    for (size_t i = 0; i < command->config->sensor_count; i++)
        if (strcmp(command->config->sensors[i].identity, identity) == 0)
            return &command->config->sensors[i];
    return &none;
}

const struct sensor_record *command_sensor_find(const struct sensor_record *records, size_t count,
                                                const char *identity, struct fault *fault) {
    char names[FAULT_TEXT_BYTES / 2] = "none yet";
    size_t used = 0;

    for (size_t i = 0; i < count; i++)
        if (strcmp(records[i].identity, identity) == 0)
            return &records[i];
    for (size_t i = 0; i < count && used < sizeof names; i++)
        used += (size_t)snprintf(names + used, sizeof names - used, "%s%s", i > 0 ? ", " : "", records[i].identity);
    fault_set(fault, EX_NOINPUT, "the ledger knows no sensor '%s': expected one of %s", identity, names);
    return NULL;
}

char *command_sensor_date(const struct command *command, int64_t t_ms, char *out) {
    out[0] = '\0';
    if (t_ms != 0) {
        quantity_format_time(t_ms, command->config->utc_offset_min, out);
        out[COMMAND_SENSOR_DATE_LENGTH] = '\0';
    }
    return out;
}

/* ---- the list ---- */

enum { LIST_INDENT = 13 }; // below the second column, and the mark

static void command_sensor_row(const struct command *command, const struct sensor_record *record) {
    enum { COLUMNS = 7 };
    static const size_t widths[COLUMNS] = {10, 12, 17, 10, 7, 9, 6};
    char identity[COMMAND_TEXT_BYTES], place[COMMAND_TEXT_BYTES], type[COMMAND_TEXT_BYTES] = "";
    char fitted[QUANTITY_TEXT_BYTES], hours[QUANTITY_TEXT_BYTES], peak[QUANTITY_TEXT_BYTES] = "";
    char cycles[QUANTITY_TEXT_BYTES];
    const struct config_sensor *about;

    if (record == NULL) {
        command_print_row(
            command->out, widths,
            (const char *const[COLUMNS]){"sensor", "type", "fitted to", "since", "in heat", "peak", "cycles"},
            COLUMNS);
        return;
    }
    about = command_sensor_section(command, record->identity);
    snprintf(type, sizeof type, "%s%s%.100s", about->type, about->tolerance[0] != '\0' ? " " : "",
             about->tolerance);
    snprintf(hours, sizeof hours, "%.1f h", (double)record->use.above_ms[0] / COMMAND_SENSOR_MS_PER_H);
    snprintf(cycles, sizeof cycles, "%lld", (long long)record->use.cycles);
    if (record->use.any)
        quantity_format_temperature(record->use.peak_mc, command->config->unit, 0, peak);
    command_print_row(command->out, widths,
                      (const char *const[COLUMNS]){command_clean(record->identity, identity), type,
                                                   record->channel_id != 0   ? command_clean(record->place, place)
                                                   : record->retired_ms != 0 ? "retired"
                                                                             : "nowhere",
                                                   command_sensor_date(command, record->fitted_ms, fitted), hours,
                                                   peak, cycles},
                      COLUMNS);
}

/* One line below: what is due or was too much. 1 if there was anything, -1. */
static int command_sensor_troubles(struct command *command, const struct sensor_record *record, int64_t now_ms,
                                   const char *before, size_t indent, struct fault *fault) {
    const struct config_sensor *about = command_sensor_section(command, record->identity);
    char words[COMMAND_TEXT_BYTES], clean[COMMAND_TEXT_BYTES], line[3 * COMMAND_TEXT_BYTES];
    struct sensor_state state;
    int result = 0;

    if (sensors_look(command->ledger, about, record, now_ms, &state, fault) != 0)
        return -1;
    if (state.troubles != 0) {
        sensors_describe(about, record, &state, command->config->unit, words, sizeof words);
        snprintf(line, sizeof line, "%s%s", before, command_clean(words, clean));
        command_print(command->out, indent, line);
        result = 1;
    }
    sensors_release_state(&state);
    return result;
}

static int command_sensor_list(struct command *command, int argc, char **argv, struct fault *fault) {
    struct sensor_record *records;
    enum table_form form;
    size_t count;
    int64_t now_ms;
    int result = 0;

    if (list_take_form(&argc, argv, &form, fault) != 0 ||
        command_take(argc, argv, NULL, 0, NULL, 0, 0, "sensor list [--csv | --json]", fault) < 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    now_ms = command_now_ms(command, fault);
    records = now_ms < 0 ? NULL : sensors_list(command->ledger, &count, fault);
    if (records == NULL)
        return -1;
    if (form != TABLE_SCREEN) {
        result = list_sensors(command, form, records, count, now_ms, fault);
        sensors_free(records, count);
        return result;
    }
    if (count == 0)
        command_print(
            command->out, 0,
            "No sensor is known: give each a section [sensor NUMBER] in the configuration, name it in its "
            "channel, and start soakledgerd.");
    else
        command_sensor_row(command, NULL);
    for (size_t i = 0; i < count && result >= 0; i++) {
        command_sensor_row(command, &records[i]);
        result = command_sensor_troubles(command, &records[i], now_ms, "           ! ", LIST_INDENT, fault);
    }
    sensors_free(records, count);
    return result < 0 ? -1 : 0;
}

/* ---- what is due ---- */

static int command_sensor_due_instruments(struct command *command, int64_t now_ms, size_t *found,
                                          struct fault *fault) {
    for (size_t i = 0; i < command->config->instrument_count; i++) {
        const char *name = command->config->instruments[i].name;
        struct calibration *calibration;
        char clean[COMMAND_TEXT_BYTES], date[QUANTITY_TEXT_BYTES], line[2 * COMMAND_TEXT_BYTES];
        char number[COMMAND_TEXT_BYTES];

        if (corrections_find(command->ledger, CALIBRATION_OF_INSTRUMENT, name, now_ms, &calibration, fault) != 0)
            return -1;
        if (calibration_is_overdue(calibration, now_ms)) {
            snprintf(line, sizeof line, "instrument %.400s: calibration %.400s was due on %s",
                     command_clean(name, clean), command_clean(calibration->certificate, number),
                     command_sensor_date(command, calibration->due_ms, date));
            command_print(command->out, 2, line);
            (*found)++;
        }
        free(calibration);
    }
    return 0;
}

static int command_sensor_due(struct command *command, int argc, char **argv, struct fault *fault) {
    struct sensor_record *records;
    size_t count, found = 0;
    enum table_form form;
    int64_t now_ms;
    int result = 0;

    if (list_take_form(&argc, argv, &form, fault) != 0 ||
        command_take(argc, argv, NULL, 0, NULL, 0, 0, "sensor due [--csv | --json]", fault) < 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    now_ms = command_now_ms(command, fault);
    records = now_ms < 0 ? NULL : sensors_list(command->ledger, &count, fault);
    if (records == NULL)
        return -1;
    if (form != TABLE_SCREEN) {
        result = list_due(command, form, records, count, now_ms, fault);
        sensors_free(records, count);
        return result;
    }
    for (size_t i = 0; i < count && result >= 0; i++) {
        char before[COMMAND_TEXT_BYTES], clean[COMMAND_TEXT_BYTES];

        if (records[i].channel_id == 0)
            continue; // in a drawer it wears out nothing
        snprintf(before, sizeof before, "sensor %.400s, %.400s: ", records[i].identity,
                 command_clean(records[i].place, clean));
        result = command_sensor_troubles(command, &records[i], now_ms, command_clean(before, clean), 2, fault);
        found += result == 1;
    }
    sensors_free(records, count);
    if (result >= 0)
        result = command_sensor_due_instruments(command, now_ms, &found, fault);
    if (result >= 0 && found == 0)
        fputs("Nothing is due, and nothing was used beyond its limits.\n", command->out);
    return result < 0 ? -1 : 0;
}

int command_sensor(struct command *command, int argc, char **argv, struct fault *fault) {
    static const struct {
        const char *word;
        command_function *function;
    } parts[] = {
        {"list", command_sensor_list},       {"show", command_sensor_show},     {"due", command_sensor_due},
        {"correct", command_sensor_correct}, {"retire", command_sensor_retire},
    };

    for (size_t i = 0; argc > 0 && i < sizeof parts / sizeof parts[0]; i++)
        if (strcmp(argv[0], parts[i].word) == 0)
            return parts[i].function(command, argc - 1, argv + 1, fault);
    return fault_set(fault, EX_USAGE, "'sensor %s': expected sensor list, show, due, correct or retire",
                     argc > 0 ? argv[0] : "");
}
