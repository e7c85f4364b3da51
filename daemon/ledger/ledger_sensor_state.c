// SPDX-License-Identifier: MIT
/* What is due of a sensor, and what it was used beyond. */
#include <stdio.h>
#include <stdlib.h>

#include "soakledger/corrections.h"
#include "soakledger/quantity.h"
#include "soakledger/sensors.h"

enum { DATE_LENGTH = 10, MS_PER_H = 3600000 }; // of "2026-11-16 07:30:00"

static int see_use(struct ledger *ledger, const struct config_sensor *about, const struct sensor_record *record,
                   struct sensor_state *state, struct fault *fault) {
    struct sensor_use since;

    if (about->hours_at_most_ms > 0 && record->use.above_ms[0] > about->hours_at_most_ms) {
        state->troubles |= SENSOR_WORN;
    }
    if (about->temperature_at_most_mc == 0) {
        return 0;
    }
    if (sensors_read_use(ledger, record->sensor_id, record->checked_ms, INT64_MAX, &since, fault) != 0) {
        return -1;
    }
    if (since.any && since.peak_mc > about->temperature_at_most_mc) {
        state->troubles |= SENSOR_TOO_HOT;
        state->peak_mc = since.peak_mc;
    }
    return 0;
}

static void see_check(const struct config_sensor *about, const struct sensor_record *record, int64_t now_ms,
                      struct sensor_state *state) {
    const int64_t last_ms = record->checked_ms > record->fitted_ms ? record->checked_ms : record->fitted_ms;

    if (about->check_every_ms == 0 || record->channel_id == 0) {
        return;
    }
    state->check_due_ms = last_ms + about->check_every_ms;
    if (now_ms > state->check_due_ms) {
        state->troubles |= SENSOR_CHECK_DUE;
    }
}

int sensors_look(struct ledger *ledger, const struct config_sensor *about, const struct sensor_record *record,
                 int64_t now_ms, struct sensor_state *state, struct fault *fault) {
    *state = (struct sensor_state){.troubles = 0};
    if (corrections_find(ledger, CALIBRATION_OF_SENSOR, record->identity, now_ms, &state->calibration, fault) !=
            0 ||
        see_use(ledger, about, record, state, fault) != 0) {
        sensors_release_state(state);
        return -1;
    }
    see_check(about, record, now_ms, state);
    if (calibration_is_overdue(state->calibration, now_ms)) {
        state->troubles |= SENSOR_OVERDUE;
    }
    if (record->retired_ms != 0 && record->channel_id != 0) {
        state->troubles |= SENSOR_RETIRED_USED;
    }
    return 0;
}

void sensors_release_state(struct sensor_state *state) {
    free(state->calibration);
    state->calibration = NULL;
}

static size_t add(char *out, size_t size, size_t used, const char *words) {
    if (used >= size) {
        return used;
    }
    return used + (size_t)snprintf(out + used, size - used, "%s%s", used > 0 ? "; " : "", words);
}

void sensors_describe(const struct config_sensor *about, const struct sensor_record *record,
                      const struct sensor_state *state, enum temperature_unit unit, char *out, size_t size) {
    char words[2 * CALIBRATION_TEXT_BYTES], one[QUANTITY_TEXT_BYTES], other[QUANTITY_TEXT_BYTES];
    size_t used = 0;

    out[0] = '\0';
    if (state->troubles & SENSOR_TOO_HOT) {
        snprintf(words, sizeof words, "was at %s, limit %s",
                 quantity_format_temperature(state->peak_mc, unit, 0, one),
                 quantity_format_temperature(about->temperature_at_most_mc, unit, 0, other));
        used = add(out, size, used, words);
    }
    if (state->troubles & SENSOR_WORN) {
        snprintf(words, sizeof words, "in heat for %.1f h, limit %.1f h",
                 (double)record->use.above_ms[0] / MS_PER_H, (double)about->hours_at_most_ms / MS_PER_H);
        used = add(out, size, used, words);
    }
    if (state->troubles & SENSOR_CHECK_DUE) {
        snprintf(words, sizeof words, "check was due on %.*s", DATE_LENGTH,
                 quantity_format_time(state->check_due_ms, 0, one));
        used = add(out, size, used, words);
    }
    if (state->troubles & SENSOR_OVERDUE) {
        snprintf(words, sizeof words, "calibration %s was due on %.*s", state->calibration->certificate,
                 DATE_LENGTH, quantity_format_time(state->calibration->due_ms, 0, one));
        used = add(out, size, used, words);
    }
    if (state->troubles & SENSOR_RETIRED_USED) {
        snprintf(words, sizeof words, "retired on %.*s and fitted all the same", DATE_LENGTH,
                 quantity_format_time(record->retired_ms, 0, one));
        add(out, size, used, words);
    }
}
