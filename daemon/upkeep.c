// SPDX-License-Identifier: MIT
#include "upkeep.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/corrections.h"
#include "soakledger/quantity.h"
#include "soakledger/sensors.h"

static const int64_t look_every_ms = 3600000;
enum { DATE_LENGTH = 10 }; // of "2026-11-16 07:30:00"
enum { TROUBLES_OF_USE = SENSOR_TOO_HOT | SENSOR_WORN | SENSOR_RETIRED_USED };
enum { TROUBLES_OF_TIME = SENSOR_CHECK_DUE | SENSOR_OVERDUE };

/* Of one sensor of the configuration. */
struct kept {
    bool above, stays_above; // the last reading was above its limit, and the one before too
};

struct upkeep {
    const struct config *config;
    struct alert_desk *desk;
    struct kept *sensors;
    int64_t looked_ms;
};

struct upkeep *upkeep_open(const struct config *config, struct alert_desk *desk) {
    struct upkeep *upkeep = calloc(1, sizeof *upkeep);

    if (upkeep == NULL)
        return NULL;
    upkeep->config = config;
    upkeep->desk = desk;
    upkeep->looked_ms = INT64_MIN / 2;
    upkeep->sensors = calloc(config->sensor_count + 1, sizeof *upkeep->sensors);
    if (upkeep->sensors == NULL) {
        upkeep_free(upkeep);
        return NULL;
    }
    return upkeep;
}

void upkeep_free(struct upkeep *upkeep) {
    if (upkeep == NULL)
        return;
    free(upkeep->sensors);
    free(upkeep);
}

static void name_subject(const char *what, const char *name, char subject[ALERT_SUBJECT_BYTES]) {
    snprintf(subject, ALERT_SUBJECT_BYTES, "%s %.60s", what, name);
}

void upkeep_see(struct upkeep *upkeep, size_t channel, const struct reading *reading) {
    const size_t index = upkeep->config->channels[channel].sensor;
    const struct config_sensor *about = index == CONFIG_NO_SENSOR ? NULL : &upkeep->config->sensors[index];
    char subject[ALERT_SUBJECT_BYTES], words[ALERT_WORDS_BYTES];
    char value[QUANTITY_TEXT_BYTES], limit[QUANTITY_TEXT_BYTES];
    struct kept *kept = &upkeep->sensors[index];
    bool above;

    if (about == NULL || about->temperature_at_most_mc == 0 || reading->quality != QUALITY_GOOD)
        return;
    above = reading->value > about->temperature_at_most_mc;
    if (above && kept->above && !kept->stays_above) {
        name_subject("sensor", about->identity, subject);
        snprintf(words, sizeof words, "is at %s, limit %s",
                 quantity_format_temperature(reading->value, upkeep->config->unit, 0, value),
                 quantity_format_temperature(about->temperature_at_most_mc, upkeep->config->unit, 0, limit));
        alert_raise(upkeep->desk, ALERT_SENSOR_WORN, subject, reading->t_ms, words);
    }
    kept->stays_above = above && kept->above;
    kept->above = above;
}

/* A run that is on is not in the ledger's sums: while a sensor is above its limit nothing is cleared. What does not
 * stand at the desk is cleared for nobody. */
static void tell(struct upkeep *upkeep, size_t index, enum alert_kind kind, unsigned troubles,
                 const struct sensor_record *record, struct sensor_state state, int64_t now_ms) {
    const struct config_sensor *about = &upkeep->config->sensors[index];
    char subject[ALERT_SUBJECT_BYTES], words[ALERT_WORDS_BYTES];

    name_subject("sensor", about->identity, subject);
    state.troubles &= troubles;
    if (state.troubles != 0) {
        sensors_describe(about, record, &state, upkeep->config->unit, words, sizeof words);
        alert_raise(upkeep->desk, kind, subject, now_ms, words);
    } else if (kind != ALERT_SENSOR_WORN || !upkeep->sensors[index].above) {
        alert_clear(upkeep->desk, kind, subject, now_ms, "all is well with it again");
    }
}

static int look_at_sensor(struct upkeep *upkeep, struct ledger *ledger, size_t index,
                          const struct sensor_record *record, int64_t now_ms, struct fault *fault) {
    struct sensor_state state;

    if (sensors_look(ledger, &upkeep->config->sensors[index], record, now_ms, &state, fault) != 0)
        return -1;
    tell(upkeep, index, ALERT_SENSOR_WORN, TROUBLES_OF_USE, record, state, now_ms);
    tell(upkeep, index, ALERT_CHECK_DUE, TROUBLES_OF_TIME, record, state, now_ms);
    sensors_release_state(&state);
    return 0;
}

static int look_at_sensors(struct upkeep *upkeep, struct ledger *ledger, int64_t now_ms, struct fault *fault) {
    const struct config *config = upkeep->config;
    size_t count;
    struct sensor_record *records = sensors_list(ledger, &count, fault);
    int result = records == NULL ? -1 : 0;

    for (size_t i = 0; result == 0 && i < config->sensor_count; i++) {
        size_t k = 0;

        while (k < count && strcmp(records[k].identity, config->sensors[i].identity) != 0)
            k++;
        if (k < count && records[k].channel_id != 0)
            result = look_at_sensor(upkeep, ledger, i, &records[k], now_ms, fault);
    }
    sensors_free(records, count);
    return result;
}

static int look_at_instruments(struct upkeep *upkeep, struct ledger *ledger, int64_t now_ms, struct fault *fault) {
    const struct config *config = upkeep->config;
    char subject[ALERT_SUBJECT_BYTES], words[ALERT_WORDS_BYTES], time[QUANTITY_TEXT_BYTES];

    for (size_t i = 0; i < config->instrument_count; i++) {
        struct calibration *calibration;

        if (corrections_find(ledger, CALIBRATION_OF_INSTRUMENT, config->instruments[i].name, now_ms, &calibration,
                             fault) != 0)
            return -1;
        name_subject("instrument", config->instruments[i].name, subject);
        if (calibration_is_overdue(calibration, now_ms)) {
            snprintf(words, sizeof words, "calibration %s was due on %.*s", calibration->certificate, DATE_LENGTH,
                     quantity_format_time(calibration->due_ms, 0, time));
            alert_raise(upkeep->desk, ALERT_CHECK_DUE, subject, now_ms, words);
        } else {
            alert_clear(upkeep->desk, ALERT_CHECK_DUE, subject, now_ms, "it is calibrated again");
        }
        free(calibration);
    }
    return 0;
}

int upkeep_look(struct upkeep *upkeep, struct ledger *ledger, bool changed, int64_t now_ms, struct fault *fault) {
    int64_t uncounted;

    if (!changed && now_ms - upkeep->looked_ms < look_every_ms)
        return 0;
    uncounted = sensors_find_uncounted(ledger, fault);
    if (uncounted < 0 || (uncounted > 0 && sensors_count_run(ledger, uncounted, fault) < 0))
        return -1;
    upkeep->looked_ms = uncounted > 0 ? INT64_MIN / 2 : now_ms; // there may be more: look again soon
    if (look_at_sensors(upkeep, ledger, now_ms, fault) != 0)
        return -1;
    return look_at_instruments(upkeep, ledger, now_ms, fault);
}
