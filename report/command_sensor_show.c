// SPDX-License-Identifier: MIT
/* sensor show: all that is known of one sensor. */
#include <stdlib.h>
#include <string.h>

#include "command_sensor.h"
#include "soakledger/corrections.h"
#include "soakledger/words.h"

enum { FACTS = 2 };
static const size_t FACT_WIDTHS[FACTS] = {19, 59};

static void command_show_fact(const struct command *command, const char *what, const char *text) {
    if (text[0] != '\0')
        command_print_row(command->out, FACT_WIDTHS, (const char *const[FACTS]){what, text}, FACTS);
}

static void command_show_limits(const struct command *command, const struct config_sensor *about) {
    char text[COMMAND_TEXT_BYTES] = "", one[QUANTITY_TEXT_BYTES];
    size_t used = 0;

    if (about->temperature_at_most_mc != 0)
        used += (size_t)snprintf(
            text, sizeof text, "at most %s",
            quantity_format_temperature(about->temperature_at_most_mc, command->config->unit, 0, one));
    if (about->hours_at_most_ms != 0)
        used += (size_t)snprintf(text + used, sizeof text - used, "%sat most %lld h in heat", used > 0 ? ", " : "",
                                 (long long)(about->hours_at_most_ms / COMMAND_SENSOR_MS_PER_H));
    if (about->check_every_ms != 0)
        snprintf(text + used, sizeof text - used, "%schecked every %s", used > 0 ? ", " : "",
                 quantity_format_duration(about->check_every_ms, one));
    command_show_fact(command, "limits", text);
}

/* The hours at and above each hundred degrees, hottest first. */
static void command_show_use(const struct command *command, const struct sensor_use *use) {
    char text[COMMAND_TEXT_BYTES], peak[QUANTITY_TEXT_BYTES], when[COMMAND_TEXT_BYTES], level[QUANTITY_TEXT_BYTES];

    snprintf(text, sizeof text, "%lld run%s, %lld cycle%s, %.2f h in heat", (long long)use->run_count,
             use->run_count == 1 ? "" : "s", (long long)use->cycles, use->cycles == 1 ? "" : "s",
             (double)use->above_ms[0] / COMMAND_SENSOR_MS_PER_H);
    command_show_fact(command, "use", text);
    if (use->any) {
        snprintf(text, sizeof text, "%s on %s",
                 quantity_format_temperature(use->peak_mc, command->config->unit, 1, peak),
                 command_time(command, use->peak_t_ms, when));
        command_show_fact(command, "peak", text);
    }
    if (use->unknown_ms > 0) {
        snprintf(text, sizeof text, "%.2f h without a good reading, counted nowhere",
                 (double)use->unknown_ms / COMMAND_SENSOR_MS_PER_H);
        command_show_fact(command, "unknown", text);
    }
    for (int i = SENSORS_LEVELS - 1; i >= 0; i--) {
        if (use->above_ms[i] == 0)
            continue;
        snprintf(text, sizeof text, "%.2f h at or above %s", (double)use->above_ms[i] / COMMAND_SENSOR_MS_PER_H,
                 quantity_format_temperature((int64_t)(i + 1) * SENSORS_LEVEL_MC, command->config->unit, 0, level));
        command_show_fact(command, "", "");
        command_print_row(command->out, FACT_WIDTHS, (const char *const[FACTS]){"", text}, FACTS);
    }
}

static int command_show_events(struct command *command, const struct sensor_record *record, struct fault *fault) {
    static const char *const words[SENSOR_EVENT_KIND_COUNT] = {
        [SENSOR_FITTED] = "fitted to",   [SENSOR_MOVED] = "moved to",  [SENSOR_REMOVED] = "removed from",
        [SENSOR_CHECKED] = "checked in", [SENSOR_RETIRED] = "retired",
    };
    size_t count;
    struct sensor_event *events = sensors_list_events(command->ledger, record->sensor_id, &count, fault);

    for (size_t i = 0; events != NULL && i < count; i++) {
        char when[COMMAND_TEXT_BYTES], place[COMMAND_TEXT_BYTES], by[COMMAND_TEXT_BYTES];
        char said[COMMAND_TEXT_BYTES], stated[QUANTITY_TEXT_BYTES], line[5 * COMMAND_TEXT_BYTES];
        const bool by_person = strcmp(events[i].said_by, "daemon") != 0;

        snprintf(line, sizeof line, "%s%s%s%s%s%s%s%s%s", words[events[i].kind],
                 events[i].place[0] != '\0' ? " " : "", command_clean(events[i].place, place),
                 events[i].stated_ms != 0 ? ", since " : "",
                 command_sensor_date(command, events[i].stated_ms, stated), by_person ? ", by the word of " : "",
                 by_person ? command_clean(events[i].said_by, by) : "", events[i].words[0] != '\0' ? ": " : "",
                 command_clean(events[i].words, said));
        command_show_fact(command, quantity_format_time(events[i].t_ms, command->config->utc_offset_min, when),
                          line);
    }
    sensors_free_events(events, count);
    return events == NULL ? -1 : 0;
}

static void command_show_table(const struct command *command, const struct calibration *calibration,
                               int64_t now_ms) {
    const enum temperature_unit unit = command->config->unit;
    char text[COMMAND_TEXT_BYTES], one[QUANTITY_TEXT_BYTES], other[QUANTITY_TEXT_BYTES], clean[COMMAND_TEXT_BYTES];

    snprintf(text, sizeof text, "%.200s of %s, ± %s (k = 2)", command_clean(calibration->certificate, clean),
             command_sensor_date(command, calibration->done_ms, one),
             quantity_format_difference(calibration->uncertainty_mc, unit, 2, 0, other));
    command_show_fact(command, "calibration", text);
    if (calibration->due_ms != 0) {
        snprintf(text, sizeof text, "%s%s", command_sensor_date(command, calibration->due_ms, one),
                 calibration_is_overdue(calibration, now_ms) ? ": OVERDUE" : "");
        command_show_fact(command, "due", text);
    }
    command_time(command, calibration->in_force_ms, text);
    command_show_fact(command, "in force since", text);
    for (size_t i = 0; i < calibration->point_count; i++) {
        snprintf(text, sizeof text, "%s: %s",
                 quantity_format_temperature(calibration->points[i].at_mc, unit, 0, one),
                 quantity_format_difference(calibration->points[i].correction_mc, unit, 2, 1, other));
        command_print_row(command->out, FACT_WIDTHS, (const char *const[FACTS]){i == 0 ? "corrections" : "", text},
                          FACTS);
    }
}

static int command_show_recount(struct command *command, const struct sensor_record *record, struct fault *fault) {
    struct sensor_use again;
    bool same;

    if (sensors_recount(command->ledger, record->sensor_id, &again, fault) != 0)
        return -1;
    same = again.run_count == record->use.run_count && again.cycles == record->use.cycles &&
           again.unknown_ms == record->use.unknown_ms && again.any == record->use.any &&
           again.peak_mc == record->use.peak_mc && again.peak_t_ms == record->use.peak_t_ms &&
           memcmp(again.above_ms, record->use.above_ms, sizeof again.above_ms) == 0;
    command_show_fact(command, "counted again",
                      same ? "from every stored reading: the same" : "from every stored reading: NOT THE SAME");
    return 0;
}

static int command_show_one(struct command *command, const struct sensor_record *record, bool recount,
                            struct fault *fault) {
    const struct config_sensor *about = command_sensor_section(command, record->identity);
    const int64_t now_ms = command_now_ms(command, fault);
    char text[COMMAND_TEXT_BYTES], clean[COMMAND_TEXT_BYTES];
    struct sensor_state state;

    if (now_ms < 0 || sensors_look(command->ledger, about, record, now_ms, &state, fault) != 0)
        return -1;
    command_show_fact(command, "sensor", command_clean(record->identity, clean));
    snprintf(text, sizeof text, "%s%s%.200s", about->type, about->tolerance[0] != '\0' ? ", " : "",
             about->tolerance);
    command_show_fact(command, "type", text);
    command_show_fact(command, "fitted to",
                      record->channel_id != 0 ? command_clean(record->place, clean) : "nowhere");
    command_show_limits(command, about);
    sensors_describe(about, record, &state, command->config->unit, text, sizeof text);
    command_show_fact(command, "due", command_clean(text, clean));
    command_show_use(command, &record->use);
    if (state.calibration != NULL)
        command_show_table(command, state.calibration, now_ms);
    sensors_release_state(&state);
    if (recount && command_show_recount(command, record, fault) != 0)
        return -1;
    fputc('\n', command->out);
    return command_show_events(command, record, fault);
}

int command_sensor_show(struct command *command, int argc, char **argv, struct fault *fault) {
    const bool recount = command_take_out(&argc, argv, "--recount");
    const struct sensor_record *record;
    struct sensor_record *records;
    const char *identity = NULL;
    size_t count;
    int result = -1;

    if (command_take(argc, argv, NULL, 0, &identity, 1, 1, "sensor show SENSOR [--recount]", fault) < 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    records = sensors_list(command->ledger, &count, fault);
    if (records == NULL)
        return -1;
    record = command_sensor_find(records, count, identity, fault);
    if (record != NULL)
        result = command_show_one(command, record, recount, fault);
    sensors_free(records, count);
    return result;
}
