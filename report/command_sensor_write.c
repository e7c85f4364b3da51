// SPDX-License-Identifier: MIT
/* sensor retire, sensor correct: what a person says of a sensor, and what a certificate says of it. */
#include <stdlib.h>
#include <string.h>

#include "command_sensor.h"
#include "soakledger/corrections.h"
#include "soakledger/keyfile.h"

int command_sensor_retire(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *identity = NULL, *by = NULL, *said = NULL;
    const struct command_option options[] = {{"--by", &by}, {"--words", &said}};
    struct sensor_event event = {.kind = SENSOR_RETIRED};
    int64_t sensor_id;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &identity, 1, 1,
                     "sensor retire SENSOR [--words TEXT] [--by NAME]", fault) < 0 ||
        command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    event.t_ms = command_now_ms(command, fault);
    sensor_id = event.t_ms < 0 ? -1 : sensors_find(command->ledger, identity, fault);
    if (sensor_id < 0)
        return -1;
    if (sensor_id == 0)
        return fault_set(fault, EX_NOINPUT,
                         "the ledger knows no sensor '%s': 'soakledger sensor list' has them all", identity);
    event.said_by = (char *)command_person(command, by);
    event.words = (char *)(said != NULL ? said : "");
    if (sensors_add_event(command->ledger, sensor_id, &event, fault) != 0)
        return -1;
    command_print(command->out, 2,
                  "It is retired. Take it out of the configuration too: while a channel names it, it counts as "
                  "fitted, and that is told.");
    return 0;
}

/* ---- corrections ---- */

struct correct {
    enum calibration_subject subject;
    const char *name, *file, *by;
};

/* A table of what nobody knows would never be applied, and nobody would notice. */
static int command_check_known(struct command *command, const struct correct *correct, struct fault *fault) {
    const struct config *config = command->config;
    int64_t sensor_id;

    if (correct->subject == CALIBRATION_OF_INSTRUMENT) {
        for (size_t i = 0; i < config->instrument_count; i++)
            if (strcmp(config->instruments[i].name, correct->name) == 0)
                return 0;
        return fault_set(fault, EX_NOINPUT, "'%s' is no instrument: expected one of the configuration",
                         correct->name);
    }
    for (size_t i = 0; i < config->sensor_count; i++)
        if (strcmp(config->sensors[i].identity, correct->name) == 0)
            return 0;
    sensor_id = sensors_find(command->ledger, correct->name, fault);
    if (sensor_id == 0)
        return fault_set(fault, EX_NOINPUT, "'%s' is no sensor: expected one of the configuration or the ledger",
                         correct->name);
    return sensor_id < 0 ? -1 : 0;
}

/* The text as it was read is kept beside the table that was made of it. */
static int command_read_table(const struct command *command, const struct correct *correct,
                              struct calibration *calibration, struct keyfile **file, struct fault *fault) {
    size_t length;
    const char *text;

    *file = command_read_keyfile(command, correct->file, fault);
    if (*file == NULL)
        return -1;
    text = keyfile_text(*file, &length);
    if (calibration_parse(text, length, correct->file, calibration, fault) != 0)
        return -1;
    if (calibration->subject != correct->subject || strcmp(calibration->name, correct->name) != 0)
        return fault_set(fault, EX_DATAERR, "%s is of %s '%s': expected the table of %s '%s'", correct->file,
                         calibration_subject_name(calibration->subject), calibration->name,
                         calibration_subject_name(correct->subject), correct->name);
    return 0;
}

static void command_say_corrected(const struct command *command, const struct calibration *calibration) {
    char line[3 * COMMAND_TEXT_BYTES], when[COMMAND_TEXT_BYTES], name[COMMAND_TEXT_BYTES];
    char low[QUANTITY_TEXT_BYTES], high[QUANTITY_TEXT_BYTES];

    if (calibration->point_count == 0)
        snprintf(line, sizeof line,
                 "The corrections of %s %.200s are withdrawn for every run that begins after %s.",
                 calibration_subject_name(calibration->subject), command_clean(calibration->name, name),
                 command_time(command, calibration->in_force_ms, when));
    else
        snprintf(line, sizeof line,
                 "The corrections of %s %.200s hold for every run that begins after %s, from %s to %s; outside, "
                 "nothing is corrected. What was judged stays as it is.",
                 calibration_subject_name(calibration->subject), command_clean(calibration->name, name),
                 command_time(command, calibration->in_force_ms, when),
                 quantity_format_temperature(calibration->points[0].at_mc, command->config->unit, 0, low),
                 quantity_format_temperature(calibration->points[calibration->point_count - 1].at_mc,
                                             command->config->unit, 0, high));
    command_print(command->out, 2, line);
}

static int command_correct(struct command *command, const struct correct *correct, struct fault *fault) {
    struct calibration calibration = {.subject = correct->subject};
    struct keyfile *file = NULL;
    const bool withdraws = strcmp(correct->file, "none") == 0;
    const int64_t now_ms = command_now_ms(command, fault);
    size_t length = 0;
    int result = now_ms < 0 ? -1 : command_check_known(command, correct, fault);

    if (result == 0 && !withdraws)
        result = command_read_table(command, correct, &calibration, &file, fault);
    if (result == 0 && withdraws)
        snprintf(calibration.name, sizeof calibration.name, "%s", correct->name);
    if (result == 0) {
        const char *text = withdraws ? "" : keyfile_text(file, &length);

        result = corrections_add(command->ledger, &calibration, now_ms, correct->by, text, length, fault);
    }
    if (result == 0)
        command_say_corrected(command, &calibration);
    keyfile_free(file);
    return result;
}

int command_sensor_correct(struct command *command, int argc, char **argv, struct fault *fault) {
    enum { NAME, FILE_NAME, WORDS };
    const char *words[WORDS] = {NULL}, *by = NULL;
    const struct command_option options[] = {{"--by", &by}};
    const bool of_instrument = command_take_out(&argc, argv, "--instrument");
    struct correct correct = {.subject = of_instrument ? CALIBRATION_OF_INSTRUMENT : CALIBRATION_OF_SENSOR};

    if (command_take(argc, argv, options, 1, words, WORDS, WORDS,
                     "sensor correct SENSOR FILE|none, or sensor correct --instrument NAME FILE|none", fault) < 0 ||
        command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    correct.name = words[NAME];
    correct.file = words[FILE_NAME];
    correct.by = command_person(command, by);
    return command_correct(command, &correct, fault);
}
