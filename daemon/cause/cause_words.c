// SPDX-License-Identifier: MIT
/* Causes and signs in plain words, for terminal and paper alike. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/cause.h"
#include "soakledger/quantity.h"

static const double MC_PER_C = 1000, PER_CENT = 100;

const char *cause_name(enum cause cause) {
    switch (cause) {
    case CAUSE_SENSOR: return "a thermocouple that reads wrong or lost contact";
    case CAUSE_ELEMENT: return "heating elements or their supply";
    case CAUSE_DOOR: return "a door that stood open or ajar";
    case CAUSE_OVERLOAD: return "a charge too heavy or too densely packed";
    case CAUSE_SETPOINT: return "setpoint or time in the controller other than planned";
    case CAUSE_TUNING: return "the controller's tuning";
    case CAUSE_LINE: return "replies lost on the serial line";
    case CAUSE_RECORDER: return "the recorder did not run";
    }
    return "unknown cause";
}

const char *cause_grade(double score) {
    return score >= CAUSE_LIKELY ? "likely" : score >= CAUSE_POSSIBLE ? "possible" : "unlikely";
}

const char *cause_settle(enum cause cause) {
    switch (cause) {
    case CAUSE_SENSOR:
        return "Put a reference thermocouple beside the suspect one and compare them at temperature; look at its "
               "junction, its place and its connections with the oven cold.";
    case CAUSE_ELEMENT:
        return "With the oven isolated and cold, have each element's resistance and the supply under load measured "
               "by "
               "someone qualified; an empty oven's heat-up at full output, held against an earlier one, shows it "
               "too.";
    case CAUSE_DOOR:
        return "Ask who opened the door and when; look at seal, latch and hinge; an empty run with the door shut "
               "should hold with the usual output.";
    case CAUSE_OVERLOAD:
        return "Weigh the charge and compare with earlier ones; run the same plan with half of it, spaced apart.";
    case CAUSE_SETPOINT: return "Read the programme in the controller, segment by segment, beside the plan.";
    case CAUSE_TUNING:
        return "Compare the controller's tuning with what was noted when it ran well; watch an empty run at the "
               "same setpoint.";
    case CAUSE_LINE:
        return "Watch the line with the oven cold: look at cable, shield, termination, adapter and what else is "
               "switched "
               "nearby. The controller itself may have done its work: its own record, if it keeps one, can tell.";
    case CAUSE_RECORDER:
        return "Read the system's journal for that time: a power cut, a restart or an update. The controller "
               "itself may "
               "have done its work.";
    }
    return "";
}

struct words {
    const struct cause_evidence *evidence;
    const char *who;
    enum temperature_unit unit;
    char value[QUANTITY_TEXT_BYTES], usual[QUANTITY_TEXT_BYTES], at[QUANTITY_TEXT_BYTES];
    char *out;
};

static void temperatures(struct words *words) {
    quantity_format_temperature(llround(words->evidence->value * MC_PER_C), words->unit, 1, words->value);
    quantity_format_temperature(llround(words->evidence->usual * MC_PER_C), words->unit, 1, words->usual);
}

static void differences(struct words *words, int sign) {
    quantity_format_difference(llround(words->evidence->value * MC_PER_C), words->unit, 1, sign, words->value);
    if (!isnan(words->evidence->usual))
        quantity_format_difference(llround(words->evidence->usual * MC_PER_C), words->unit, 1, sign, words->usual);
}

/* A person thinks of a fall in degrees a minute. */
static void per_minute(double c_per_s, enum temperature_unit unit, char *out) {
    static const double s_per_min = 60;
    char size[QUANTITY_TEXT_BYTES];

    quantity_format_difference(llround(c_per_s * s_per_min * MC_PER_C), unit, 0, 0, size);
    snprintf(out, QUANTITY_TEXT_BYTES, "%.30s/min", size);
}

static void rates(struct words *words) {
    per_minute(words->evidence->value, words->unit, words->value);
    if (!isnan(words->evidence->usual))
        per_minute(words->evidence->usual, words->unit, words->usual);
}

static void durations(struct words *words) {
    quantity_format_duration(llround(words->evidence->value), words->value);
    if (!isnan(words->evidence->usual))
        quantity_format_duration(llround(words->evidence->usual), words->usual);
}

static void shares(struct words *words) {
    snprintf(words->value, sizeof words->value, "%.0f %%", words->evidence->value * PER_CENT);
    snprintf(words->usual, sizeof words->usual, "%.0f %%", words->evidence->usual * PER_CENT);
}

#define SAY(...) snprintf(words->out, CAUSE_TEXT_BYTES, __VA_ARGS__)

static void say_heat(struct words *words) {
    const struct cause_evidence *evidence = words->evidence;

    switch (evidence->sign) {
    case SIGN_STRENGTH:
        shares(words);
        SAY("on the way up the oven rose by %s of its usual for the same output", words->value);
        return;
    case SIGN_STRENGTH_FALLS:
        shares(words);
        SAY("the hotter it was, the weaker it heated: %s of the usual at the hot end, %s at the cold end",
            words->value, words->usual);
        return;
    case SIGN_HOLDING:
        shares(words);
        SAY("it took %s output to hold the temperature; earlier good runs say %s", words->value, words->usual);
        return;
    case SIGN_HOLDING_FALLS:
        snprintf(words->value, sizeof words->value, "%.0f %%", -evidence->value * PER_CENT);
        SAY("at temperature the output kept falling, by %s more than usual, as when the charge still takes up heat",
            words->value);
        return;
    case SIGN_PINNED:
        durations(words);
        SAY("for %s the output was full and the oven still did not rise to its setpoint", words->value);
        return;
    case SIGN_TRAIL:

        SAY("the charge was %.0f s behind the oven on the way up; earlier good runs say %.0f s", evidence->value,
            evidence->usual);
        return;
    default:
        durations(words);
        SAY("the charge came into the band %s after the oven; earlier good runs say %s", words->value,
            words->usual);
        return;
    }
}

static void say_dip(struct words *words) {
    const struct cause_evidence *evidence = words->evidence;

    if (evidence->sign == SIGN_NO_DIP) {
        SAY("the oven did not dip");
    } else if (evidence->sign == SIGN_DIP_ALONE) {
        differences(words, 0);
        SAY("at %s the control sensor fell by %s while the charge grew warmer", words->at, words->value);
    } else {
        rates(words);
        if (isnan(evidence->usual))
            SAY("at %s the oven fell at %s; how fast it falls without any heating is not known", words->at,
                words->value);
        else
            SAY("at %s the oven fell at %s; without any heating it falls at about %s%s", words->at, words->value,
                words->usual, evidence->sign == SIGN_DIP_SLOW ? ", and full output changed nothing" : "");
    }
}

static void say_control(struct words *words) {
    const struct cause_evidence *evidence = words->evidence;

    switch (evidence->sign) {
    case SIGN_SETPOINT:
        temperatures(words);
        SAY("the controller was told %s; the plan says %s", words->value, words->usual);
        return;
    case SIGN_SETPOINT_TIME:
        durations(words);
        SAY("the programme held the oven in the band for %s; the plan needs %s with the usual delay of the charge",
            words->value, words->usual);
        return;
    case SIGN_LEVEL:
        temperatures(words);
        SAY("the oven was held steadily at %s; the plan says %s", words->value, words->usual);
        return;
    case SIGN_SWINGS: SAY("the oven did not swing about its setpoint more than usual"); return;
    case SIGN_SWING_SIZE:
        differences(words, 0);
        SAY("the oven kept swinging about its setpoint, by %s from turn to turn", words->value);
        return;
    default:
        differences(words, 1);
        if (isnan(evidence->usual))
            SAY("the control sensor's peak was %s from its setpoint", words->value);
        else
            SAY("the control sensor's peak was %s from its setpoint; earlier good runs say %s", words->value,
                words->usual);
        return;
    }
}

static void say_sensor(struct words *words) {
    const struct cause_evidence *evidence = words->evidence;

    switch (evidence->sign) {
    case SIGN_DIFFERENCE:
        differences(words, 1);
        if (evidence->channel_id == 0)
            SAY("at rest every sensor in the charge read up to %s against the control sensor, and earlier good "
                "runs say %s: the control sensor is the odd one",
                words->value, words->usual);
        else
            SAY("at rest %s read %s against the control sensor; earlier good runs say %s", words->who, words->value,
                words->usual);
        return;
    case SIGN_DRIFT:
        differences(words, 1);
        SAY("while the oven was level, charge and control sensors moved apart by %s", words->value);
        return;
    case SIGN_JUMP:
        differences(words, 1);
        SAY("at %s %s jumped by %s from one reading to the next", words->at, words->who, words->value);
        return;
    case SIGN_OPEN_SENSOR: SAY("%.0f readings said that a thermocouple was open", evidence->value); return;
    case SIGN_UNBELIEVABLE:
        SAY("%.0f readings were frozen, out of range or faster than physics allows", evidence->value);
        return;
    default:
        differences(words, 1);
        SAY("over its last runs %s has come to be off by %s", words->who, words->value);
        return;
    }
}

static void say_record(struct words *words) {
    const struct cause_evidence *evidence = words->evidence;

    switch (evidence->sign) {
    case SIGN_LOST_REPLIES:
        SAY("%.2f %% of the readings were lost or garbled on the line; earlier good runs say %.2f %%",
            evidence->value * PER_CENT, isnan(evidence->usual) ? 0 : evidence->usual * PER_CENT);
        return;
    case SIGN_LINE_LOST:
        durations(words);
        SAY("the line was gone for %s", words->value);
        return;
    case SIGN_RECORDER:
        durations(words);
        if (evidence->value > 0)
            SAY("nothing was recorded for %s", words->value);
        else
            SAY("the recorder ran all the time");
        return;
    case SIGN_GAP_COLD:
        differences(words, 0);
        SAY("the oven was %s colder when it answered again: it was not heated meanwhile", words->value);
        return;
    case SIGN_NOT_EXPLAINED: SAY("it would not explain what failed"); return;
    default: SAY("no channel shows it, so that little can be said"); return;
    }
}

char *cause_describe(const struct cause_evidence *evidence, const char *channel, enum temperature_unit unit,
                     int utc_offset_min, char out[CAUSE_TEXT_BYTES]) {
    struct words words = {
        .evidence = evidence, .who = channel != NULL ? channel : "a sensor", .unit = unit, .out = out};
    char time[QUANTITY_TEXT_BYTES];
    const char *clock;

    quantity_format_time(evidence->t_ms, utc_offset_min, time);
    clock = strchr(time, ' ');
    snprintf(words.at, sizeof words.at, "%s", clock != NULL ? clock + 1 : time);
    out[0] = '\0';
    if (evidence->sign <= SIGN_EQUALISING)
        say_heat(&words);
    else if (evidence->sign >= SIGN_DIP_FAST && evidence->sign <= SIGN_NO_DIP)
        say_dip(&words);
    else if (evidence->sign >= SIGN_SETPOINT && evidence->sign <= SIGN_OVERSHOOT)
        say_control(&words);
    else if (evidence->sign <= SIGN_HISTORY)
        say_sensor(&words);
    else
        say_record(&words);
    return out;
}
