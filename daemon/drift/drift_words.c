// SPDX-License-Identifier: MIT
/* The report in words that a person at the oven can act on. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "drift_private.h"

static const double FAHRENHEIT_PER_CELSIUS = 1.8, FAHRENHEIT_AT_0_C = 32, PER_CENT = 100;
enum { NUMBER_BYTES = 64, FORECAST_BYTES = 256 };

static const char *unit_name(enum temperature_unit unit) {
    return unit == UNIT_FAHRENHEIT ? "°F" : "°C";
}
static double difference_in(double difference_c, enum temperature_unit unit) {
    return unit == UNIT_FAHRENHEIT ? difference_c * FAHRENHEIT_PER_CELSIUS : difference_c;
}
static double temperature_in(double temperature_c, enum temperature_unit unit) {
    return unit == UNIT_FAHRENHEIT ? temperature_c * FAHRENHEIT_PER_CELSIUS + FAHRENHEIT_AT_0_C : temperature_c;
}

static void append(char *out, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void append(char *out, const char *format, ...) {
    const size_t length = strlen(out);
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(out + length, DRIFT_WORDS_BYTES - length, format, arguments);
    va_end(arguments);
}

/* Cut in the middle of a character (UTF-8): the piece is left off. */
static void trim(char *out) {
    size_t length = strlen(out);

    if (length + 1 < DRIFT_WORDS_BYTES)
        return;
    while (length > 0 && ((unsigned char)out[length - 1] & 0xC0) == 0x80)
        length--;
    if (length > 0 && (unsigned char)out[length - 1] >= 0xC0)
        length--;
    if (length > 0)
        out[length] = '\0';
}

/* "about 9 runs (6 to 14)", "about 9 runs (6 or more)", "about 1 run". */
static void append_runs(char *out, const struct drift_outlook *outlook) {
    const double runs = ceil(outlook->runs_left);

    append(out, "about %.0f run%s", runs, runs == 1 ? "" : "s");
    if (isinf(outlook->runs_left_high))
        append(out, " (%.0f or more)", floor(outlook->runs_left_low));
    else
        append(out, " (%.0f to %.0f)", floor(outlook->runs_left_low), ceil(outlook->runs_left_high));
}

static void append_date(char *out, const struct drift_outlook *outlook) {
    char time[QUANTITY_TEXT_BYTES];
    enum { DATE_BYTES = 10 };

    if (outlook->date_ms != 0)
        append(out, ", %.*s at this pace", DATE_BYTES, quantity_format_time(outlook->date_ms, 0, time));
}

static void append_growth(char *out, const struct drift_outlook *outlook, enum temperature_unit unit) {
    const double sign = outlook->error_c < 0 ? -1 : 1;
    const double growth = sign * difference_in(outlook->per_10_runs_c, unit);

    if (isnan(growth))
        return;
    if (outlook->reaches || (outlook->beyond && growth > 0))
        append(out, ", growing %.1f %s per 10 runs", growth, unit_name(unit));
    else
        append(out, ", not known to grow");
}

static void append_limit(char *out, const struct drift_outlook *outlook, enum temperature_unit unit) {
    const double allowed = difference_in(outlook->allowed_c, unit);

    if (outlook->beyond) {
        append(out, ", BEYOND your limit of %.1f %s", allowed, unit_name(unit));
    } else if (outlook->reaches) {
        append(out, ", reaches your limit of %.1f %s in ", allowed, unit_name(unit));
        append_runs(out, outlook);
        append_date(out, outlook);
    }
}

/* Beyond doubt, though it is not this sensor that is wrong. */
static bool has_moved(const struct drift_report *report, size_t sensor) {
    const double significant = 1.5; // of an expanded uncertainty: three standard errors

    for (size_t i = 0; report->cause != DRIFT_SENSOR && i < report->pair_count; i++) {
        if (report->pairs[i].signal != 0 && (report->pairs[i].one == sensor || report->pairs[i].other == sensor))
            return fabs(report->outlooks[sensor].error_c) > significant * report->outlooks[sensor].uncertainty_c;
    }
    return false;
}

void drift_describe_sensor(const struct drift_history *history, const struct drift_report *report, size_t sensor,
                           enum temperature_unit unit, char *out) {
    const struct drift_outlook *outlook = &report->outlooks[sensor];
    const double uncertainty = difference_in(outlook->uncertainty_c, unit);
    const double error = difference_in(fabs(outlook->error_c), unit);
    const double level = temperature_in(outlook->level_c, unit);

    snprintf(out, DRIFT_WORDS_BYTES, "%s: ", history->sensors[sensor].name);
    if (history->sensor_count < 2) {
        append(out, "the only thermocouple here: nothing to hold it against");
    } else if (!outlook->known) {
        append(out, "too few runs yet to say anything (%zu; at least %d)", report->run_count, DRIFT_LEAST_RUNS);
    } else if (!outlook->established && has_moved(report, sensor)) {
        append(out, "stands %.1f ± %.1f %s %s against the others than at first, which may be the oven's doing",
               error, uncertainty, unit_name(unit), outlook->error_c < 0 ? "lower" : "higher");
    } else if (!outlook->established) {
        append(out, "has kept to the others within %.1f %s at %.0f %s over %zu runs", error + uncertainty,
               unit_name(unit), level, unit_name(unit), report->run_count);
    } else {
        append(out, "%s %s by %.1f ± %.1f %s at %.0f %s",
               outlook->named ? "reads" : "reads, or its partner is wrong,", outlook->error_c < 0 ? "low" : "high",
               error, uncertainty, unit_name(unit), level, unit_name(unit));
        append_growth(out, outlook, unit);
        append_limit(out, outlook, unit);
    }
    trim(out);
}

/* ---- the cause ---- */

static double sure_per_cent(double probability) {
    const double most = 99; // nobody is surer than that

    return fmin(most, floor(probability * PER_CENT));
}

static double ratio_per_cent(const struct drift_series *series) {
    return series->signal == 0 ? NAN : (exp(series->change) - 1) * PER_CENT;
}

static void append_oven(char *out, const struct drift_report *report) {
    const double output = ratio_per_cent(&report->output), work = ratio_per_cent(&report->work);

    if (!isnan(output))
        append(out, ": it takes %.0f %% %s output to hold the temperature", fabs(output),
               output < 0 ? "less" : "more");
    if (!isnan(work))
        append(out, "%s %.0f %% %s to heat up", isnan(output) ? ": it takes" : ", and", fabs(work),
               work < 0 ? "less" : "more");
}

static const char *weight_name(const struct drift_history *history, const struct drift_weight *weight,
                               char name[NUMBER_BYTES]) {
    if (weight->cause == DRIFT_SENSOR)
        snprintf(name, NUMBER_BYTES, "thermocouple %.40s", history->sensors[weight->sensor].name);
    else
        snprintf(name, NUMBER_BYTES, "%s", drift_cause_name(weight->cause));
    return name;
}

static void append_unknown(char *out, const struct drift_history *history, const struct drift_report *report) {
    char name[NUMBER_BYTES];
    enum { MOST = 3 };
    const double worth_saying = 0.1;

    append(out, "something has changed, but what cannot be told");
    for (size_t i = 0; i < report->weight_count && i < MOST && report->weights[i].probability > worth_saying; i++) {
        if (report->weights[i].cause != DRIFT_UNKNOWN)
            append(out, "%s%s %.0f %%", i == 0 ? ": " : ", ", weight_name(history, &report->weights[i], name),
                   sure_per_cent(report->weights[i].probability));
    }
}

static void append_pair(char *out, const struct drift_history *history, const struct drift_report *report,
                        enum temperature_unit unit) {
    const struct drift_outlook *outlook = &report->outlooks[report->sensor];

    append(out, "thermocouples %s and %s have come to disagree%s", history->sensors[report->sensor].name,
           history->sensors[report->other].name, report->shape == DRIFT_SHAPE_STEP ? " at once" : "");
    if (outlook->known)
        append(out, " by %.1f %s", fabs(difference_in(outlook->error_c, unit)), unit_name(unit));
    append(out, "; which of them is wrong cannot be told from here");
}

void drift_describe_cause(const struct drift_history *history, const struct drift_report *report,
                          enum temperature_unit unit, char *out) {
    const bool step = report->shape == DRIFT_SHAPE_STEP;

    *out = '\0';
    switch (report->cause) {
    case DRIFT_TOO_FEW:
        append(out, "too few runs to say anything (%zu; at least %d)", report->run_count, DRIFT_LEAST_RUNS);
        return;
    case DRIFT_NOTHING: append(out, "no change beyond noise in %zu runs", report->run_count); return;
    case DRIFT_SENSOR:
        append(out, "thermocouple %s %s", history->sensors[report->sensor].name,
               step ? "has changed at once" : "is drifting");
        break;
    case DRIFT_PAIR: append_pair(out, history, report, unit); break;
    case DRIFT_ELEMENT:
        append(out, "the heating element is losing power");
        append_oven(out, report);
        break;
    case DRIFT_SUPPLY:
        append(out, "heating power has changed at once (supply voltage, or part of the element)");
        append_oven(out, report);
        break;
    case DRIFT_LEAK:
        append(out, "the oven loses more heat (door, seal or lining)");
        append_oven(out, report);
        break;
    default: append_unknown(out, history, report); break;
    }
    if (report->cause != DRIFT_UNKNOWN)
        append(out, " (%.0f %% sure)", sure_per_cent(report->sure));
    trim(out);
}

/* ---- what to do ---- */

static void advise_sensor(const struct drift_history *history, const struct drift_report *report,
                          enum temperature_unit unit, char *out) {
    const struct drift_sensor *sensor = &history->sensors[report->sensor];
    const struct drift_outlook *outlook = &report->outlooks[report->sensor];

    if (sensor->controls)
        append(out, "The controller goes by it: the charge is %s than shown. ",
               outlook->error_c < 0 ? "hotter" : "colder");
    append(out, "Check it against a reference thermocouple beside it at %.0f %s (system accuracy test)%s",
           temperature_in(outlook->level_c, unit), unit_name(unit),
           outlook->beyond ? " before the next charge, or replace it" : " or replace it");
}

void drift_describe_advice(const struct drift_history *history, const struct drift_report *report,
                           enum temperature_unit unit, char *out) {
    *out = '\0';
    switch (report->cause) {
    case DRIFT_SENSOR: advise_sensor(history, report, unit, out); break;
    case DRIFT_PAIR:
        append(
            out,
            "Put a reference thermocouple beside each, one after the other, hold %.0f %s (system accuracy test): "
            "the one that differs has drifted. Until then trust neither",
            temperature_in(report->outlooks[report->sensor].level_c, unit), unit_name(unit));
        break;
    case DRIFT_ELEMENT:
        append(out, "With the supply off and locked, measure the element's resistance and look at its connections; "
                    "a new element is due before the output reaches 100 %%");
        break;
    case DRIFT_SUPPLY:
        append(out,
               "Have the supply voltage under load, the contactor and each element circuit measured by somebody "
               "who may");
        break;
    case DRIFT_LEAK:
        append(out, "Look at the door, its seal and hinges, and the lining, when the oven is cold");
        break;
    case DRIFT_UNKNOWN:
        append(out,
               "Hold the thermocouples against a reference first (system accuracy test), then look at door and "
               "element");
        break;
    default: break;
    }
    trim(out);
}
