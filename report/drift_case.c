// SPDX-License-Identifier: MIT
/* What is said of an oven's sensors and of the oven, on the terminal and on paper. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "drift_parts.h"

const struct health_level *drift_level(const struct drift_case *of) {
    return of->oven->level_count > 0 ? &of->oven->levels[of->oven->worst] : NULL;
}

enum outcome drift_outcome(const struct drift_case *of) {
    const struct health_level *level = drift_level(of);

    if (level == NULL || of->oven->sensor_count < 2)
        return OUTCOME_NOT_PROVEN;
    switch (level->report->cause) {
    case DRIFT_NOTHING: return OUTCOME_MET;
    case DRIFT_TOO_FEW:
    case DRIFT_UNKNOWN: return OUTCOME_NOT_PROVEN;
    case DRIFT_SENSOR:
    case DRIFT_PAIR:
    case DRIFT_ELEMENT:
    case DRIFT_SUPPLY:
    case DRIFT_LEAK: break;
    }
    return OUTCOME_NOT_MET;
}

char *drift_answer(const struct drift_case *of, char *out) {
    const struct health_level *level = drift_level(of);
    char words[DRIFT_WORDS_BYTES];

    if (of->oven->sensor_count == 0)
        snprintf(out, TRIAL_TEXT_BYTES, "No sensor of this oven was ever recorded");
    else if (level == NULL)
        snprintf(out, TRIAL_TEXT_BYTES,
                 "Nothing to go by yet: no run had five stable minutes. Drift needs %d runs at one setpoint, each "
                 "with a "
                 "stable stretch, and two sensors or more",
                 DRIFT_LEAST_RUNS);
    else if (level->report->cause == DRIFT_TOO_FEW)
        snprintf(out, TRIAL_TEXT_BYTES,
                 "Too few runs to say anything: %zu of %d at one setpoint, each with a stable "
                 "stretch",
                 level->report->run_count, DRIFT_LEAST_RUNS);
    else {
        drift_describe_cause(&level->history, level->report, of->config->unit, words);
        snprintf(out, TRIAL_TEXT_BYTES, "%s", words);
    }
    return out;
}

/* "hardening.front" of a sensor, where there is room for it. */
static void name_channel(const struct drift_case *of, size_t sensor, char *out, size_t size) {
    char oven[TRIAL_SHORT_BYTES], name[TRIAL_SHORT_BYTES];

    snprintf(out, size, "%s.%s", trial_clip(of->oven->name, oven),
             trial_clip(of->oven->sensors[sensor].name, name));
}

char *drift_advice(const struct drift_case *of, char *out) {
    const struct health_level *level = drift_level(of);
    char words[DRIFT_WORDS_BYTES] = "", one[TRIAL_NAME_BYTES], other[TRIAL_NAME_BYTES];

    out[0] = '\0';
    if (of->oven->sensor_count == 1) {
        name_channel(of, 0, one, sizeof one);
        snprintf(out, 2 * TRIAL_TEXT_BYTES,
                 "One sensor has nothing beside it: a controller follows its own sensor, and the display stays "
                 "perfect. Put "
                 "a second one beside it, or hold it against a reference: soakledger check %s",
                 one);
        return out;
    }
    if (level == NULL || level->report->cause == DRIFT_TOO_FEW)
        return out;
    drift_describe_advice(&level->history, level->report, of->config->unit, words);
    if (words[0] >= 'a' && words[0] <= 'z')
        words[0] = (char)(words[0] - 'a' + 'A');
    snprintf(out, 2 * TRIAL_TEXT_BYTES, "%s%s", words, words[0] != '\0' ? "." : "");
    if (level->report->cause != DRIFT_PAIR && level->report->cause != DRIFT_SENSOR)
        return out;
    name_channel(of, level->report->sensor, one, sizeof one);
    snprintf(out, 2 * TRIAL_TEXT_BYTES, "%s. The test is a command: soakledger check %s", words, one);
    if (level->report->cause == DRIFT_SENSOR)
        return out;
    name_channel(of, level->report->other, other, sizeof other);
    snprintf(
        out, 2 * TRIAL_TEXT_BYTES,
        "Two sensors disagree, and nothing in their readings tells which has changed. %s. The test is a command: "
        "soakledger check %s, then soakledger check %s",
        words, one, other);
    return out;
}

char *drift_line(const struct drift_case *of, size_t sensor, char *out) {
    char words[DRIFT_WORDS_BYTES];

    health_describe_sensor(of->oven, sensor, of->config->unit, words);
    snprintf(out, TRIAL_TEXT_BYTES, "%s", words);
    return out;
}

char *drift_since(const struct drift_case *of, size_t sensor, char *out) {
    static const char *const words[] = {
        [HEALTH_SINCE_SEEN] = "first seen", [HEALTH_SINCE_FITTED] = "fitted", [HEALTH_SINCE_CHECKED] = "checked"};
    enum { DATE_LENGTH = sizeof "YYYY-MM-DD" - 1 };
    const struct health_sensor *about = &of->oven->sensors[sensor];
    char time[QUANTITY_TEXT_BYTES];

    if (about->since_ms <= 0) {
        snprintf(out, TRIAL_NAME_BYTES, "not known");
        return out;
    }
    quantity_format_time(about->since_ms, of->config->utc_offset_min, time);
    snprintf(out, TRIAL_NAME_BYTES, "%s %.*s", words[about->since_what], DATE_LENGTH, time);
    return out;
}
