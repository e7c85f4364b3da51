// SPDX-License-Identifier: MIT
/* Drift, a row a sensor, for other programs. */
#include <math.h>

#include "list_machine.h"

static const struct table_column COLUMNS[] = {
    {"oven", NULL, 0},           {"channel", NULL, 0},       {"sensor", NULL, 0},        {"role", NULL, 0},
    {"counted_since", NULL, 0},  {"since_what", NULL, 0},    {"level_c", NULL, 0},       {"runs", NULL, 0},
    {"finding", NULL, 0},        {"sure", NULL, 0},          {"established", NULL, 0},   {"named", NULL, 0},
    {"error_c", NULL, 0},        {"uncertainty_c", NULL, 0}, {"per_10_runs_c", NULL, 0}, {"allowed_c", NULL, 0},
    {"beyond_allowed", NULL, 0}, {"runs_left", NULL, 0},     {"reached_on", NULL, 0},    {"words", NULL, 0},
    {"simulated", NULL, 0},
};
enum { COLUMN_COUNT = sizeof COLUMNS / sizeof COLUMNS[0], LIST_VERSION = 1 };

/* Infinite or unknown: nothing. */
static struct table_cell list_figure(bool known, double value) {
    const bool is = known && isfinite(value);

    return list_thousandths(is, is ? llround(value * QUANTITY_PER_UNIT) : 0);
}

static int list_add_drift(struct table *table, const struct drift_case *of, size_t sensor, struct fault *fault) {
    static const char *const since[] = {
        [HEALTH_SINCE_SEEN] = "first seen", [HEALTH_SINCE_FITTED] = "fitted", [HEALTH_SINCE_CHECKED] = "checked"};
    static const struct drift_outlook nothing = {.runs_left = INFINITY};
    const struct health_sensor *about = &of->oven->sensors[sensor];
    const struct health_level *level = health_find_level(of->oven, sensor);
    const struct drift_report *report = level != NULL ? level->report : NULL;
    const struct drift_outlook *outlook = report != NULL ? &report->outlooks[sensor] : &nothing;
    char words[TRIAL_TEXT_BYTES];

    const struct table_cell cells[COLUMN_COUNT] = {
        list_text(of->oven->name),
        list_text(about->name),
        list_text(about->identity),
        list_text(channel_role_name(about->role)),
        list_time(about->since_ms > 0 ? about->since_ms : 0),
        list_text(since[about->since_what]),
        list_figure(level != NULL, level != NULL ? level->level_c : 0),
        list_integer(true, report != NULL ? (int64_t)report->run_count : 0),
        list_text(drift_cause_name(report != NULL ? report->cause : DRIFT_TOO_FEW)),
        list_figure(report != NULL && report->cause != DRIFT_TOO_FEW && report->cause != DRIFT_NOTHING,
                    report != NULL ? report->sure : 0),
        list_truth(outlook->established),
        list_truth(outlook->established && outlook->named),
        list_figure(outlook->known, outlook->error_c),
        list_figure(outlook->known, outlook->uncertainty_c),
        list_figure(outlook->known, outlook->per_10_runs_c),
        list_figure(outlook->known, outlook->allowed_c),
        list_truth(outlook->known && outlook->beyond),
        list_figure(outlook->known && outlook->reaches, outlook->runs_left),
        list_time(outlook->known && outlook->reaches ? outlook->date_ms : 0),
        list_text(drift_line(of, sensor, words)),
        list_truth(of->simulated),
    };
    return table_add(table, cells, fault);
}

int list_drift(struct command *command, enum table_form form, const struct drift_case *cases, size_t count,
               struct fault *fault) {
    struct table *table =
        table_open(command->out, form, "soakledger-drift", LIST_VERSION, COLUMNS, COLUMN_COUNT, fault);
    int result = table != NULL ? 0 : -1;

    for (size_t i = 0; result == 0 && i < count; i++)
        for (size_t k = 0; result == 0 && k < cases[i].oven->sensor_count; k++)
            if (cases[i].sensor == DRIFT_ALL_SENSORS || cases[i].sensor == k)
                result = list_add_drift(table, &cases[i], k, fault);
    return list_finish(table, result, fault);
}
