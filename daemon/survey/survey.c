// SPDX-License-Identifier: MIT
#include "soakledger/survey.h"

#include <math.h>
#include <stdlib.h>

enum { SLOTS_NEEDED = SURVEY_SETTLE_SLOTS / 2, FAHRENHEIT_NUMERATOR = 5, FAHRENHEIT_DENOMINATOR = 9 };
static const double MS_PER_H = 3600e3;

struct slot {
    int64_t sum_mc; // of deviations: below 10^6 each, so that 10^12 readings fit
    int64_t count;
};

struct sensor {
    struct survey_sensor found;
    int64_t uncertainty_mc;
    int64_t sum_mc;  // in the stretch
    int64_t good_ms; // the last good reading; valid if found.was_read
    int64_t last_mc;
    struct slot slots[SURVEY_SETTLE_SLOTS]; // slot number n at n % SURVEY_SETTLE_SLOTS
};

struct survey {
    struct survey_setting setting;
    struct survey_result result;
    struct survey_sensor found[SURVEY_SENSORS_MOST];
    size_t count;
    int64_t slot; // number of the one being filled, from from_ms on
    bool over;    // the stretch has ended
    struct sensor sensors[SURVEY_SENSORS_MOST];
};

/* AMS 2750F Table 11; tests/reference/heat_classes_ams2750f.csv. Thousandths of the unit. */
static const int64_t limits[SURVEY_CLASSES][2] = {
    [0] = {[UNIT_CELSIUS] = 3000, [UNIT_FAHRENHEIT] = 5000},
    [1] = {[UNIT_CELSIUS] = 6000, [UNIT_FAHRENHEIT] = 10000},
    [2] = {[UNIT_CELSIUS] = 8000, [UNIT_FAHRENHEIT] = 15000},
    [3] = {[UNIT_CELSIUS] = 10000, [UNIT_FAHRENHEIT] = 20000},
    [4] = {[UNIT_CELSIUS] = 14000, [UNIT_FAHRENHEIT] = 25000},
    [5] = {[UNIT_CELSIUS] = 28000, [UNIT_FAHRENHEIT] = 50000},
};

int64_t survey_limit_printed(int class_number, enum temperature_unit unit) {
    return limits[class_number - 1][unit];
}

/* Deviations are whole milli-degrees: one is within the limit exactly if it is within the limit rounded down. */
int64_t survey_limit_mc(int class_number, enum temperature_unit unit) {
    const int64_t printed = survey_limit_printed(class_number, unit);

    return unit == UNIT_FAHRENHEIT ? printed * FAHRENHEIT_NUMERATOR / FAHRENHEIT_DENOMINATOR : printed;
}

const char *survey_reason_text(enum survey_reason reason) {
    static const char *const texts[SURVEY_REASON_COUNT] = {
        [SURVEY_SOUND] = "",
        [SURVEY_TOO_FEW_SENSORS] = "one sensor alone says nothing of evenness",
        [SURVEY_UNREAD] = "a sensor has no good reading",
        [SURVEY_UNSETTLED] = "the work zone did not settle at the setpoint",
        [SURVEY_TOO_SHORT] = "the settled stretch was too short",
        [SURVEY_START_UNSEEN] = "a sensor was not recorded from the start level on",
        [SURVEY_SILENT] = "a sensor gave no good reading for more than 2 min",
        [SURVEY_UNSTATED] = "a sensor's uncertainty is not stated",
        [SURVEY_INSIDE_BY_LESS] = "inside the limit by less than the uncertainty",
    };

    return (unsigned)reason < SURVEY_REASON_COUNT ? texts[reason] : "unknown reason";
}

struct survey *survey_open(const struct survey_setting *setting, const struct survey_channel *channels,
                           size_t count) {
    struct survey *const survey = count <= SURVEY_SENSORS_MOST ? calloc(1, sizeof *survey) : NULL;

    if (survey == NULL)
        return NULL;
    survey->setting = *setting;
    survey->count = count;
    for (size_t i = 0; i < count; i++) {
        survey->sensors[i].found.channel_id = channels[i].channel_id;
        survey->sensors[i].uncertainty_mc = channels[i].uncertainty_mc;
    }
    return survey;
}

void survey_free(struct survey *survey) {
    free(survey);
}

/* ---- settling ---- */

/* Least squares over the means of the slots before `slot`, per hour. False if too few were read, or one was too far
 * from the setpoint. */
static bool measure_slope(const struct sensor *sensor, int64_t slot, double *slope_mc_per_h) {
    double n = 0, sum_x = 0, sum_y = 0, sum_xx = 0, sum_xy = 0;

    for (int64_t k = slot - SURVEY_SETTLE_SLOTS; k < slot; k++) {
        const struct slot *of = &sensor->slots[k % SURVEY_SETTLE_SLOTS];
        const double x = (double)(k - slot), y = of->count > 0 ? (double)of->sum_mc / (double)of->count : 0;

        if (of->count == 0)
            continue;
        if (fabs(y) > (double)SURVEY_START_BELOW_MC)
            return false;
        n++;
        sum_x += x;
        sum_y += y;
        sum_xx += x * x;
        sum_xy += x * y;
    }
    if (n < SLOTS_NEEDED)
        return false;
    *slope_mc_per_h =
        (n * sum_xy - sum_x * sum_y) / (n * sum_xx - sum_x * sum_x) * MS_PER_H / (double)SURVEY_SLOT_MS;
    return true;
}

static bool is_settled(const struct survey *survey, int64_t slot) {
    double slope = 0;

    if (slot < SURVEY_SETTLE_SLOTS || survey->count == 0)
        return false;
    for (size_t i = 0; i < survey->count; i++)
        if (!measure_slope(&survey->sensors[i], slot, &slope) || fabs(slope) >= (double)SURVEY_SLOPE_MC_PER_H)
            return false;
    return true;
}

/* Time has come to `t_ms`: closes the slots that ended until then. */
static void advance(struct survey *survey, int64_t t_ms) {
    struct survey_result *const result = &survey->result;
    const int64_t slot = (t_ms - survey->setting.from_ms) / SURVEY_SLOT_MS;

    while (survey->slot < slot && result->settled_ms == 0) {
        survey->slot++;
        if (is_settled(survey, survey->slot)) {
            result->settled_ms = survey->setting.from_ms + survey->slot * SURVEY_SLOT_MS;
            return;
        }
        for (size_t i = 0; i < survey->count; i++)
            survey->sensors[i].slots[survey->slot % SURVEY_SETTLE_SLOTS] = (struct slot){0, 0};
    }
}

/* ---- readings ---- */

static void note_silence(const struct survey *survey, struct sensor *sensor, int64_t until_ms) {
    const int64_t begun_ms = survey->result.begun_ms;
    int64_t from_ms = sensor->found.was_read ? sensor->good_ms : begun_ms;

    if (begun_ms == 0)
        return;
    if (from_ms < begun_ms)
        from_ms = begun_ms;
    if (until_ms - from_ms > sensor->found.silence_ms) {
        sensor->found.silence_ms = until_ms - from_ms;
        sensor->found.silence_from_ms = from_ms;
    }
}

/* From the start to the end of the stretch. */
static void note_record(struct survey *survey, struct sensor *sensor, int64_t t_ms, int64_t deviation_mc) {
    struct survey_sensor *const found = &sensor->found;

    if (!found->was_read) {
        found->first_mc = deviation_mc + survey->setting.setpoint_mc;
        found->first_ms = t_ms;
        found->started_below = deviation_mc <= -SURVEY_START_BELOW_MC;
    }
    if (deviation_mc > -SURVEY_START_BELOW_MC) {
        if (survey->result.begun_ms == 0)
            survey->result.begun_ms = t_ms;
        if (found->risen_ms == 0) {
            found->risen_ms = t_ms;
            found->overshoot_mc = deviation_mc;
            found->overshoot_ms = t_ms;
        }
    }
    if (found->risen_ms != 0 && deviation_mc > found->overshoot_mc) {
        found->overshoot_mc = deviation_mc;
        found->overshoot_ms = t_ms;
    }
}

static void note_spread(struct survey *survey, int64_t t_ms) {
    int64_t low = INT64_MAX, high = INT64_MIN;

    for (size_t i = 0; i < survey->count; i++) {
        const struct sensor *sensor = &survey->sensors[i];

        if (!sensor->found.was_read || t_ms - sensor->good_ms > SURVEY_RECORD_MS)
            return;
        low = sensor->last_mc < low ? sensor->last_mc : low;
        high = sensor->last_mc > high ? sensor->last_mc : high;
    }
    if (survey->result.spread_ms == 0 || high - low > survey->result.spread_mc) {
        survey->result.spread_mc = high - low;
        survey->result.spread_ms = t_ms;
    }
}

static void note_stretch(struct sensor *sensor, int64_t t_ms, int64_t deviation_mc) {
    struct survey_sensor *const found = &sensor->found;

    if (found->count == 0 || deviation_mc < found->coldest_mc) {
        found->coldest_mc = deviation_mc;
        found->coldest_ms = t_ms;
    }
    if (found->count == 0 || deviation_mc > found->hottest_mc) {
        found->hottest_mc = deviation_mc;
        found->hottest_ms = t_ms;
    }
    found->count++;
    sensor->sum_mc += deviation_mc;
}

static int64_t stretch_end(const struct survey *survey) {
    const struct survey_setting *setting = &survey->setting;
    const int64_t settled_ms = survey->result.settled_ms;

    return settled_ms != 0 && setting->most_ms != 0 && setting->most_ms < setting->to_ms - settled_ms
               ? settled_ms + setting->most_ms
               : setting->to_ms;
}

static struct sensor *find_sensor(struct survey *survey, int64_t channel_id) {
    for (size_t i = 0; i < survey->count; i++)
        if (survey->sensors[i].found.channel_id == channel_id)
            return &survey->sensors[i];
    return NULL;
}

void survey_feed(struct survey *survey, const struct reading *reading) {
    struct sensor *const sensor = find_sensor(survey, reading->channel_id);
    int64_t deviation_mc;

    if (sensor == NULL || reading->t_ms < survey->setting.from_ms || reading->t_ms > survey->setting.to_ms)
        return;
    advance(survey, reading->t_ms);
    if (reading->t_ms > stretch_end(survey) || reading->quality != QUALITY_GOOD)
        return;
    deviation_mc = reading->value - survey->setting.setpoint_mc;
    note_record(survey, sensor, reading->t_ms, deviation_mc);
    note_silence(survey, sensor, reading->t_ms);
    sensor->found.was_read = true;
    sensor->good_ms = reading->t_ms;
    sensor->last_mc = deviation_mc;
    if (survey->result.settled_ms == 0) {
        sensor->slots[survey->slot % SURVEY_SETTLE_SLOTS].sum_mc += deviation_mc;
        sensor->slots[survey->slot % SURVEY_SETTLE_SLOTS].count++;
    } else {
        note_stretch(sensor, reading->t_ms, deviation_mc);
        note_spread(survey, reading->t_ms);
    }
}

/* ---- the result ---- */

static enum survey_reason find_reason(const struct survey *survey) {
    const struct survey_result *result = &survey->result;
    enum survey_reason reason = SURVEY_SOUND;

    if (survey->count < SURVEY_SENSORS_LEAST)
        return SURVEY_TOO_FEW_SENSORS;
    for (size_t i = 0; i < survey->count; i++)
        if (!survey->sensors[i].found.was_read)
            return SURVEY_UNREAD;
    if (result->settled_ms == 0)
        return SURVEY_UNSETTLED;
    if (result->ended_ms - result->settled_ms < survey->setting.least_ms)
        return SURVEY_TOO_SHORT;
    for (size_t i = 0; i < survey->count; i++)
        if (!survey->sensors[i].found.started_below)
            return SURVEY_START_UNSEEN;
    for (size_t i = 0; i < survey->count; i++)
        if (survey->sensors[i].found.silence_ms > SURVEY_RECORD_MS)
            return SURVEY_SILENT;
    for (size_t i = 0; i < survey->count; i++)
        if (survey->setting.guarded && survey->sensors[i].uncertainty_mc == 0)
            reason = SURVEY_UNSTATED;
    return reason;
}

/* How far a sensor went from the setpoint either way, as far as a class is concerned. 0 if nothing is known. */
static int64_t worst_of(const struct survey_sensor *found) {
    int64_t worst = found->risen_ms != 0 && found->overshoot_mc > 0 ? found->overshoot_mc : 0;

    if (found->count > 0) {
        worst = llabs(found->coldest_mc) > worst ? llabs(found->coldest_mc) : worst;
        worst = llabs(found->hottest_mc) > worst ? llabs(found->hottest_mc) : worst;
    }
    return worst;
}

/* The sensor that is furthest out, its guard band added; how far beyond the limit that is. */
static int64_t find_furthest(const struct survey *survey, int64_t limit_mc, bool guarded, int64_t *channel_id) {
    int64_t furthest = INT64_MIN;

    for (size_t i = 0; i < survey->count; i++) {
        const struct sensor *sensor = &survey->sensors[i];
        const int64_t beyond = worst_of(&sensor->found) - limit_mc + (guarded ? sensor->uncertainty_mc : 0);

        if (beyond <= furthest)
            continue;
        furthest = beyond;
        *channel_id = sensor->found.channel_id;
    }
    return furthest;
}

static void judge_class(const struct survey *survey, int number, struct survey_class *class) {
    const int64_t limit_mc = survey_limit_mc(number, survey->setting.unit);

    *class = (struct survey_class){.outcome = OUTCOME_MET};
    if (find_furthest(survey, limit_mc, false, &class->channel_id) > 0) {
        class->outcome = OUTCOME_NOT_MET;
        return;
    }
    class->reason = survey->result.reason;
    if (survey->setting.guarded && find_furthest(survey, limit_mc, true, &class->channel_id) > 0 &&
        class->reason == SURVEY_SOUND)
        class->reason = SURVEY_INSIDE_BY_LESS;
    if (class->reason != SURVEY_SOUND)
        class->outcome = OUTCOME_NOT_PROVEN;
}

static void finish_sensors(struct survey *survey) {
    struct survey_result *const result = &survey->result;

    for (size_t i = 0; i < survey->count; i++) {
        struct sensor *sensor = &survey->sensors[i];
        const struct survey_sensor *found = &sensor->found;

        note_silence(survey, sensor, stretch_end(survey));
        if (found->count > 0)
            sensor->found.mean_mc = llround((double)sensor->sum_mc / (double)found->count);
        if (found->risen_ms > result->risen_ms)
            result->risen_ms = found->risen_ms;
        survey->found[i] = *found;
    }
    for (size_t i = 0; i < survey->count; i++) {
        if (survey->found[i].risen_ms == 0)
            result->risen_ms = 0;
        if (survey->found[i].coldest_mc < survey->found[result->coldest].coldest_mc)
            result->coldest = i;
        if (survey->found[i].hottest_mc > survey->found[result->hottest].hottest_mc)
            result->hottest = i;
    }
    result->sensors = survey->found;
    result->sensor_count = survey->count;
}

const struct survey_result *survey_finish(struct survey *survey) {
    struct survey_result *const result = &survey->result;

    if (survey->over)
        return result;
    survey->over = true;
    advance(survey, survey->setting.to_ms);
    result->ended_ms = result->settled_ms != 0 ? stretch_end(survey) : 0;
    finish_sensors(survey);
    result->reason = find_reason(survey);
    for (int i = SURVEY_CLASSES; i >= 1; i--) {
        judge_class(survey, i, &result->classes[i - 1]);
        if (result->classes[i - 1].outcome == OUTCOME_MET)
            result->tightest = i;
    }
    return result;
}

int64_t survey_worst_mc(const struct survey_result *result) {
    int64_t worst = 0;

    for (size_t i = 0; i < result->sensor_count; i++)
        if (worst_of(&result->sensors[i]) > worst)
            worst = worst_of(&result->sensors[i]);
    return worst;
}
