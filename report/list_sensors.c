// SPDX-License-Identifier: MIT
/* Sensors, and what is due, for other programs. */
#include <stdlib.h>
#include <string.h>

#include "command_sensor.h"
#include "list_machine.h"
#include "soakledger/corrections.h"

static const struct table_column COLUMNS[] = {
    {"sensor", NULL, 0},    {"type", NULL, 0},
    {"tolerance", NULL, 0}, {"fitted_to", NULL, 0},
    {"since", NULL, 0},     {"checked", NULL, 0},
    {"retired", NULL, 0},   {"runs", NULL, 0},
    {"heat_h", NULL, 0},    {"unknown_h", NULL, 0},
    {"peak_c", NULL, 0},    {"peak_at", NULL, 0},
    {"cycles", NULL, 0},    {"calibration_due", NULL, 0},
    {"check_due", NULL, 0}, {"troubles", NULL, 0},
};
enum { COLUMN_COUNT = sizeof COLUMNS / sizeof COLUMNS[0], LIST_VERSION = 1 };
enum { MS_PER_THOUSANDTH_H = COMMAND_SENSOR_MS_PER_H / QUANTITY_PER_UNIT };

static const struct table_column DUE_COLUMNS[] = {
    {"kind", NULL, 0}, {"name", NULL, 0}, {"fitted_to", NULL, 0}, {"due", NULL, 0}, {"troubles", NULL, 0},
};
enum { DUE_COLUMN_COUNT = sizeof DUE_COLUMNS / sizeof DUE_COLUMNS[0] };

static int list_add_sensor(struct command *command, struct table *table, const struct sensor_record *record,
                           int64_t now_ms, struct fault *fault) {
    const struct config_sensor *about = command_sensor_section(command, record->identity);
    const struct sensor_use *use = &record->use;
    char troubles[COMMAND_TEXT_BYTES] = "";
    struct sensor_state state;
    int result;

    if (sensors_look(command->ledger, about, record, now_ms, &state, fault) != 0)
        return -1;
    if (state.troubles != 0)
        sensors_describe(about, record, &state, command->config->unit, troubles, sizeof troubles);
    const struct table_cell cells[COLUMN_COUNT] = {
        list_text(record->identity),
        list_text(about->type),
        list_text(about->tolerance),
        list_text_if(record->place),
        list_time(record->fitted_ms),
        list_time(record->checked_ms),
        list_time(record->retired_ms),
        list_integer(true, use->run_count),
        list_thousandths(true, use->above_ms[0] / MS_PER_THOUSANDTH_H),
        list_thousandths(true, use->unknown_ms / MS_PER_THOUSANDTH_H),
        list_thousandths(use->any, use->peak_mc),
        list_time(use->any ? use->peak_t_ms : 0),
        list_integer(true, use->cycles),
        list_time(state.calibration != NULL ? state.calibration->due_ms : 0),
        list_time(state.check_due_ms),
        list_text_if(troubles),
    };
    result = table_add(table, cells, fault);
    sensors_release_state(&state);
    return result;
}

int list_sensors(struct command *command, enum table_form form, const struct sensor_record *records, size_t count,
                 int64_t now_ms, struct fault *fault) {
    struct table *table =
        table_open(command->out, form, "soakledger-sensors", LIST_VERSION, COLUMNS, COLUMN_COUNT, fault);
    int result = table != NULL ? 0 : -1;

    for (size_t i = 0; result == 0 && i < count; i++)
        result = list_add_sensor(command, table, &records[i], now_ms, fault);
    return list_finish(table, result, fault);
}

/* ---- what is due ---- */

/* Of several dates that have passed the earlier one. */
static int64_t list_due_since(const struct sensor_state *state) {
    const int64_t check_ms = (state->troubles & SENSOR_CHECK_DUE) != 0 ? state->check_due_ms : 0;
    const int64_t table_ms =
        (state->troubles & SENSOR_OVERDUE) != 0 && state->calibration != NULL ? state->calibration->due_ms : 0;

    if (check_ms == 0 || table_ms == 0)
        return check_ms + table_ms;
    return check_ms < table_ms ? check_ms : table_ms;
}

static int list_add_due(struct command *command, struct table *table, const struct sensor_record *record,
                        int64_t now_ms, struct fault *fault) {
    const struct config_sensor *about = command_sensor_section(command, record->identity);
    char troubles[COMMAND_TEXT_BYTES];
    struct sensor_state state;
    int result = 0;

    if (sensors_look(command->ledger, about, record, now_ms, &state, fault) != 0)
        return -1;
    if (state.troubles != 0) {
        sensors_describe(about, record, &state, command->config->unit, troubles, sizeof troubles);
        const struct table_cell cells[DUE_COLUMN_COUNT] = {list_text("sensor"), list_text(record->identity),
                                                           list_text(record->place),
                                                           list_time(list_due_since(&state)), list_text(troubles)};
        result = table_add(table, cells, fault);
    }
    sensors_release_state(&state);
    return result;
}

static int list_add_instrument(struct command *command, struct table *table, const char *name, int64_t now_ms,
                               struct fault *fault) {
    struct calibration *calibration;
    char troubles[COMMAND_TEXT_BYTES];
    int result = 0;

    if (corrections_find(command->ledger, CALIBRATION_OF_INSTRUMENT, name, now_ms, &calibration, fault) != 0)
        return -1;
    if (calibration_is_overdue(calibration, now_ms)) {
        snprintf(troubles, sizeof troubles, "calibration %.400s is overdue", calibration->certificate);
        const struct table_cell cells[DUE_COLUMN_COUNT] = {list_text("instrument"),
                                                           list_text(name),
                                                           {.kind = TABLE_NONE},
                                                           list_time(calibration->due_ms),
                                                           list_text(troubles)};
        result = table_add(table, cells, fault);
    }
    free(calibration);
    return result;
}

int list_due(struct command *command, enum table_form form, const struct sensor_record *records, size_t count,
             int64_t now_ms, struct fault *fault) {
    struct table *table =
        table_open(command->out, form, "soakledger-due", LIST_VERSION, DUE_COLUMNS, DUE_COLUMN_COUNT, fault);
    int result = table != NULL ? 0 : -1;

    for (size_t i = 0; result == 0 && i < count; i++)
        if (records[i].channel_id != 0) // in a drawer it wears out nothing
            result = list_add_due(command, table, &records[i], now_ms, fault);
    for (size_t i = 0; result == 0 && i < command->config->instrument_count; i++)
        result = list_add_instrument(command, table, command->config->instruments[i].name, now_ms, fault);
    return list_finish(table, result, fault);
}
