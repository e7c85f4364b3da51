// SPDX-License-Identifier: MIT
/* A survey replayed from the stored readings: the same code and the same readings, whenever it is printed. */
#include <stdlib.h>
#include <string.h>

#include "soakledger/words.h"
#include "trial.h"

/* ---- reading ---- */

static bool is_surveyed(const struct trials_survey *kept, int64_t channel_id) {
    for (size_t i = 0; i < kept->place_count; i++)
        if (kept->places[i].channel.channel_id == channel_id)
            return true;
    return false;
}

/* The surveyed sensors in the order of their places, then what the controller goes by and is asked for. */
static size_t pick_curves(const struct survey_case *of, struct chart_curve *curves) {
    const enum channel_role beside[] = {ROLE_CONTROL, ROLE_SETPOINT};
    size_t count = 0;

    for (size_t i = 0; i < of->kept->place_count; i++) {
        const struct ledger_channel *channel =
            trial_find_channel(of->channels, of->channel_count, of->kept->places[i].channel.channel_id);

        if (channel != NULL) // drawn as loads: each has a pen of its own
            curves[count++] =
                (struct chart_curve){channel->channel_id, channel->name, ROLE_LOAD, channel->interval_ms};
    }
    for (size_t pass = 0; pass < sizeof beside / sizeof beside[0]; pass++)
        for (size_t i = 0; i < of->channel_count; i++) {
            const struct ledger_channel *channel = &of->channels[i];

            if (channel->role == beside[pass] && !is_surveyed(of->kept, channel->channel_id) &&
                count < TRIAL_MOST_CURVES)
                curves[count++] =
                    (struct chart_curve){channel->channel_id, channel->name, channel->role, channel->interval_ms};
        }
    return count;
}

static int read_all(struct survey_case *of, const struct chart_curve *curves, size_t count, struct fault *fault) {
    const struct survey_setting *setting = &of->kept->setting;
    int64_t ids[TRIAL_MOST_CURVES];
    struct ledger_cursor *cursor;
    struct reading reading;
    int more;

    for (size_t i = 0; i < count; i++)
        ids[i] = curves[i].channel_id;
    cursor = ledger_open_cursor(of->ledger, ids, count, setting->from_ms, setting->to_ms, fault);
    if (cursor == NULL)
        return -1;
    while ((more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        trial_correct(of->channels, of->channel_count, &reading);
        survey_feed(of->survey, &reading);
        if (!chart_feed(of->fine, &reading)) {
            more = fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
            break;
        }
    }
    ledger_close_cursor(cursor);
    if (more == 0 && !chart_close(of->fine))
        return fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
    return more;
}

/* What the controller was asked for while the stretch lasted. */
static int read_setpoint(struct survey_case *of, struct fault *fault) {
    struct ledger_cursor *cursor;
    struct reading reading;
    int64_t id = 0;
    int more;

    for (size_t i = 0; i < of->channel_count; i++)
        if (of->channels[i].role == ROLE_SETPOINT)
            id = of->channels[i].channel_id;
    if (id == 0 || of->result->settled_ms == 0)
        return 0;
    cursor = ledger_open_cursor(of->ledger, &id, 1, of->result->settled_ms, of->result->ended_ms, fault);
    if (cursor == NULL)
        return -1;
    while ((more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        if (reading.quality != QUALITY_GOOD)
            continue;
        if (!of->setpoint_known || reading.value < of->setpoint_low_mc)
            of->setpoint_low_mc = reading.value;
        if (!of->setpoint_known || reading.value > of->setpoint_high_mc)
            of->setpoint_high_mc = reading.value;
        of->setpoint_known = true;
    }
    ledger_close_cursor(cursor);
    return more;
}

static int cut_charts(struct survey_case *of, struct fault *fault) {
    const struct survey_result *result = of->result;
    const struct survey_setting *setting = &of->kept->setting;
    const int64_t from_ms = result->settled_ms - SURVEY_SETTLE_MS;

    of->whole = chart_cut(of->fine, setting->from_ms, setting->to_ms, fault);
    if (of->whole == NULL)
        return -1;
    if (result->settled_ms == 0 || !chart_is_fine_enough(of->fine, from_ms, result->ended_ms))
        return 0;
    of->close_up = chart_cut(of->fine, from_ms, result->ended_ms, fault);
    return of->close_up != NULL ? 0 : -1;
}

static int open_survey(struct survey_case *of, struct fault *fault) {
    struct survey_channel channels[SURVEY_SENSORS_MOST];

    for (size_t i = 0; i < of->kept->place_count; i++)
        channels[i] = of->kept->places[i].channel;
    of->survey = survey_open(&of->kept->setting, channels, of->kept->place_count);
    return of->survey != NULL ? 0 : fault_set(fault, EX_OSERR, "out of memory");
}

int survey_case_open(struct survey_case *of, struct ledger *ledger, const struct config *config,
                     const struct trials_survey *kept, struct fault *fault) {
    const struct survey_setting *setting = &kept->setting;
    struct chart_curve curves[TRIAL_MOST_CURVES];
    size_t count;
    int simulated;

    *of = (struct survey_case){.ledger = ledger, .config = config, .kept = kept};
    of->oven = ledger_oven_name(ledger, kept->oven_id, fault);
    of->channels = ledger_list_channels(ledger, kept->oven_id, setting->from_ms, &of->channel_count, fault);
    simulated = ledger_was_simulated(ledger, setting->from_ms, setting->to_ms, fault);
    if (of->oven == NULL || of->channels == NULL || simulated < 0 || open_survey(of, fault) != 0)
        return -1;
    of->simulated = simulated == 1;
    count = pick_curves(of, curves);
    of->fine = chart_open_fine(setting->from_ms, setting->to_ms, curves, count, fault);
    if (of->fine == NULL || read_all(of, curves, count, fault) != 0)
        return -1;
    of->result = survey_finish(of->survey);
    return read_setpoint(of, fault) != 0 ? -1 : cut_charts(of, fault);
}

void survey_case_close(struct survey_case *of) {
    chart_free(of->fine);
    chart_free(of->whole);
    chart_free(of->close_up);
    survey_free(of->survey);
    ledger_free_channels(of->channels, of->channel_count);
    free(of->oven);
}

/* ---- what is kept ---- */

void survey_case_take(const struct survey_case *of, struct trials_survey *kept) {
    const struct survey_result *result = of->result;

    kept->settled_ms = result->settled_ms;
    kept->ended_ms = result->ended_ms;
    kept->spread_mc = result->spread_mc;
    kept->worst_mc = survey_worst_mc(result);
    kept->tightest = result->tightest;
    memcpy(kept->classes, result->classes, sizeof kept->classes);
}

bool survey_case_agrees(const struct survey_case *of, const struct trials_survey *kept) {
    struct trials_survey again = *kept;

    survey_case_take(of, &again);
    for (int i = 0; i < SURVEY_CLASSES; i++)
        if (again.classes[i].outcome != kept->classes[i].outcome ||
            again.classes[i].reason != kept->classes[i].reason ||
            again.classes[i].channel_id != kept->classes[i].channel_id)
            return false;
    return again.settled_ms == kept->settled_ms && again.ended_ms == kept->ended_ms &&
           again.spread_mc == kept->spread_mc && again.worst_mc == kept->worst_mc &&
           again.tightest == kept->tightest;
}

/* ---- in words ---- */

const char *survey_case_name(const struct survey_case *of, int64_t channel_id) {
    const struct ledger_channel *channel = trial_find_channel(of->channels, of->channel_count, channel_id);

    return channel != NULL ? channel->name : "";
}

char *survey_case_limit(int class_number, enum temperature_unit unit, char *out) {
    snprintf(out, QUANTITY_TEXT_BYTES, "±%lld %s",
             (long long)(survey_limit_printed(class_number, unit) / QUANTITY_PER_UNIT),
             unit == UNIT_FAHRENHEIT ? "°F" : "°C");
    return out;
}

/* The furthest that a sensor went: a deviation of the stretch, or its overshoot. */
static int64_t furthest_of(const struct survey_sensor *sensor, bool *before) {
    int64_t furthest = 0;

    *before = false;
    if (sensor->count > 0)
        furthest = llabs(sensor->coldest_mc) > llabs(sensor->hottest_mc) ? sensor->coldest_mc : sensor->hottest_mc;
    if (sensor->risen_ms != 0 && sensor->overshoot_mc > llabs(furthest)) {
        *before = true;
        return sensor->overshoot_mc;
    }
    return furthest;
}

char *survey_case_why(const struct survey_case *of, int class_number, char *out) {
    const struct survey_class *class = &of->result->classes[class_number - 1];
    const enum temperature_unit unit = of->kept->setting.unit;
    char name[TRIAL_SHORT_BYTES], furthest[QUANTITY_TEXT_BYTES];
    const char *reason = survey_reason_text(class->reason);
    bool before = false;

    snprintf(out, TRIAL_TEXT_BYTES, "%s", reason);
    for (size_t i = 0; i < of->result->sensor_count; i++) {
        const struct survey_sensor *sensor = &of->result->sensors[i];

        if (sensor->channel_id != class->channel_id || !sensor->was_read || class->channel_id == 0)
            continue;
        trial_difference(furthest_of(sensor, &before), unit, furthest);
        snprintf(out, TRIAL_TEXT_BYTES, "%s%sfurthest out: %s at %s%s", reason, reason[0] != '\0' ? "; " : "",
                 trial_clip(survey_case_name(of, sensor->channel_id), name), furthest,
                 before ? ", before the zone had settled" : "");
    }
    return out;
}

enum outcome survey_case_answer(const struct survey_case *of, char *out) {
    const struct survey_result *result = of->result;
    const struct survey_setting *setting = &of->kept->setting;
    char limit[QUANTITY_TEXT_BYTES], setpoint[QUANTITY_TEXT_BYTES], why[TRIAL_TEXT_BYTES];

    trial_level(setting->setpoint_mc, setting->unit, setpoint);
    if (result->tightest > 0) {
        snprintf(out, TRIAL_TEXT_BYTES, "Meets the uniformity limits of class %d: within %s of %s",
                 result->tightest, survey_case_limit(result->tightest, setting->unit, limit), setpoint);
        return OUTCOME_MET;
    }
    survey_case_why(of, SURVEY_CLASSES, why);
    if (result->classes[SURVEY_CLASSES - 1].outcome == OUTCOME_NOT_MET) {
        snprintf(out, TRIAL_TEXT_BYTES, "Meets no class at %s: %.600s", setpoint, why);
        return OUTCOME_NOT_MET;
    }
    snprintf(out, TRIAL_TEXT_BYTES, "No class is proven at %s: %.600s", setpoint,
             survey_reason_text(result->classes[SURVEY_CLASSES - 1].reason));
    return OUTCOME_NOT_PROVEN;
}
