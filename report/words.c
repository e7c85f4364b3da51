// SPDX-License-Identifier: MIT
#include "soakledger/words.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum {
    MS_PER_S = 1000,
    S_PER_MIN = 60,
    MIN_PER_H = 60,
    MS_PER_MIN = MS_PER_S * S_PER_MIN,
    ASCII_END = 0x80,
    MOST_UTF8_BYTES = 4,
    LAST_ADDRESSABLE = 0xFFFF,
    REPLACEMENT_CODE = 0xFFFD,
};
#define REPLACEMENT "\xEF\xBF\xBD" // U+FFFD in UTF-8

/* ---- UTF-8 (RFC 3629) ---- */

/* Decodes one character of at most `most` bytes; returns its length, or 0 if it is no UTF-8. */
static size_t words_decode(const char *text, size_t most, unsigned long *code) {
    static const unsigned long least[] = {0, 0, 0x80, 0x800, 0x10000};
    const unsigned char *bytes = (const unsigned char *)text;
    size_t length;

    if (bytes[0] < ASCII_END) {
        *code = bytes[0];
        return 1;
    }
    length = bytes[0] >= 0xF0 ? 4 : bytes[0] >= 0xE0 ? 3 : 2;
    if (bytes[0] < 0xC2 || bytes[0] > 0xF4 || length > most)
        return 0;
    *code = bytes[0] & (0xFFU >> (length + 1));
    for (size_t i = 1; i < length; i++) {
        if ((bytes[i] & 0xC0) != 0x80)
            return 0;
        *code = *code << 6 | (bytes[i] & 0x3F);
    }
    if (*code < least[length] || *code > 0x10FFFF || (*code >= 0xD800 && *code <= 0xDFFF))
        return 0;
    return length;
}

size_t words_code(const char *text, size_t most, uint32_t *code) {
    unsigned long decoded;
    const size_t length = words_decode(text, most, &decoded);

    *code = length != 0 ? (uint32_t)decoded : REPLACEMENT_CODE;
    return length != 0 ? length : 1;
}

static size_t words_length_within(const char *text) {
    return strnlen(text, MOST_UTF8_BYTES);
}

size_t words_character(const char *text) {
    unsigned long code;
    size_t length;

    if (text[0] == '\0')
        return 0;
    length = words_decode(text, words_length_within(text), &code);
    return length != 0 ? length : 1;
}

size_t words_columns(const char *text) {
    size_t columns = 0;

    for (size_t step = words_character(text); step != 0; step = words_character(text)) {
        text += step;
        columns++;
    }
    return columns;
}

/* Control characters, and marks that turn the direction of writing: both can make a line say something else. */
static bool words_is_control(unsigned long code) {
    return code < ' ' || (code >= 0x7F && code < 0xA0) || code == 0x061C || (code >= 0x200B && code <= 0x200F) ||
           (code >= 0x2028 && code <= 0x202E) || (code >= 0x2060 && code <= 0x206F) || code == 0xFEFF;
}

char *words_clean(const char *text, size_t length, int keep_lines, char *out, size_t size) {
    size_t used = 0;

    length = strnlen(text, length);
    for (size_t at = 0; at < length;) {
        unsigned long code = 0;
        const size_t step = words_decode(text + at, length - at, &code);
        const char *from = text + at;
        size_t bytes = step;

        if (step == 0 || code > LAST_ADDRESSABLE) {
            from = REPLACEMENT;
            bytes = sizeof REPLACEMENT - 1;
        } else if (words_is_control(code) && !(keep_lines && code == '\n')) {
            from = " ";
            bytes = 1;
        }
        if (used + bytes + 1 > size)
            break;
        memcpy(out + used, from, bytes);
        used += bytes;
        at += step != 0 ? step : 1;
    }
    out[used] = '\0';
    return out;
}

/* ---- verdicts ---- */

/* In which of the units of requirements a value is, and to which side its limit is. A short time is of a quench: it
 * lies between readings, and a tenth of a second matters. */
enum measure {
    MEASURE_RATE,
    MEASURE_TIME,
    MEASURE_SHORT,
    MEASURE_DIFFERENCE,
    MEASURE_TEMPERATURE,
    MEASURE_NOTHING
};
static const struct {
    enum measure measure;
    bool least;
    const char *what;
    const char *subject;
} words_requirements[REQUIREMENT_COUNT] = {
    [REQUIREMENT_RAMP] = {MEASURE_RATE, false, "heating rate", "The steepest rise was"},
    [REQUIREMENT_SOAK_LEAST] = {MEASURE_TIME, true, "soak time", "The soak lasted"},
    [REQUIREMENT_SOAK_MOST] = {MEASURE_TIME, false, "soak time", "The soak lasted"},
    [REQUIREMENT_OVERSHOOT] = {MEASURE_DIFFERENCE, false, "overshoot", "The overshoot was"},
    [REQUIREMENT_SPREAD] = {MEASURE_DIFFERENCE, false, "spread", "The spread between the load sensors was"},
    [REQUIREMENT_LOAD_START] = {MEASURE_TEMPERATURE, false, "load at start", "When heating began the load was at"},
    [REQUIREMENT_HOLD_LEAST] = {MEASURE_TIME, true, "hold time", "The hold lasted"},
    [REQUIREMENT_TRANSFER] = {MEASURE_SHORT, false, "transfer", "The transfer from the soak to the quench took"},
    [REQUIREMENT_COOLING] = {MEASURE_SHORT, false, "cooling time",
                             "Cooling between the plan's two temperatures took"},
    [REQUIREMENT_HANDLE_WARM] = {MEASURE_SHORT, false, "handle-warm", "The part was handle-warm after"},
    [REQUIREMENT_EQUIVALENT] = {MEASURE_TIME, true, "temper equivalent", "The temper was worth"},
    [REQUIREMENT_BEGIN_WITHIN] = {MEASURE_TIME, false, "wait before it", "The wait after the step before was"},
    [REQUIREMENT_PARTS_BELOW] = {MEASURE_TEMPERATURE, false, "parts cooled to",
                                 "Before it began the parts had cooled to"},
    [REQUIREMENT_DONE] = {MEASURE_NOTHING, false, "quench done", "The quench"},
};

static bool words_is_time(enum requirement requirement) {
    const enum measure measure = words_requirements[requirement].measure;

    return measure == MEASURE_TIME || measure == MEASURE_SHORT;
}

char *words_short_time(int64_t duration_ms, char *out) {
    const int64_t size = duration_ms < 0 ? -duration_ms : duration_ms;

    if (size >= MS_PER_MIN || size % MS_PER_S == 0)
        return quantity_format_duration(duration_ms, out);
    snprintf(out, QUANTITY_TEXT_BYTES, "%.1f s", (double)duration_ms / MS_PER_S);
    return out;
}

char *words_value(enum requirement requirement, int64_t value, enum temperature_unit unit, char *out) {
    enum { ONE_DECIMAL = 1 };

    switch (words_requirements[requirement].measure) {
    case MEASURE_RATE: return quantity_format_rate(value, unit, out);
    case MEASURE_TIME: return quantity_format_duration(value, out);
    case MEASURE_SHORT: return words_short_time(value, out);
    case MEASURE_DIFFERENCE: return quantity_format_difference(value, unit, ONE_DECIMAL, 0, out);
    case MEASURE_TEMPERATURE: return quantity_format_temperature(value, unit, ONE_DECIMAL, out);
    case MEASURE_NOTHING: break;
    }
    out[0] = '\0';
    return out;
}

char *words_limit(enum requirement requirement, int64_t value, enum temperature_unit unit, char *out) {
    char text[QUANTITY_TEXT_BYTES];

    if (words_requirements[requirement].measure == MEASURE_NOTHING)
        snprintf(out, WORDS_LIMIT_BYTES, "seen or attested");
    else
        snprintf(out, WORDS_LIMIT_BYTES, "%s %s", words_requirements[requirement].least ? "at least" : "at most",
                 words_value(requirement, value, unit, text));
    return out;
}

char *words_what(const struct plan_operation *operation, enum requirement requirement, enum temperature_unit unit,
                 char *out) {
    char upper[QUANTITY_TEXT_BYTES], lower[QUANTITY_TEXT_BYTES];

    if (requirement == REQUIREMENT_COOLING) {
        quantity_format_temperature(operation->cooling_upper_mc, unit, 0, upper);
        snprintf(out, WORDS_LIMIT_BYTES, "cooling %.*s to %s", (int)strcspn(upper, " "), upper,
                 quantity_format_temperature(operation->cooling_lower_mc, unit, 0, lower));
    } else if (requirement == REQUIREMENT_HANDLE_WARM) {
        snprintf(out, WORDS_LIMIT_BYTES, "cooled to %s",
                 quantity_format_temperature(operation->handle_warm_mc, unit, 0, lower));
    } else {
        snprintf(out, WORDS_LIMIT_BYTES, "%s", words_requirements[requirement].what);
    }
    return out;
}

/* The judge's reasons are worded for a soak; of a quench and of what lies between visits some mean something else.
 */
static const char *words_reason(const struct verdict *verdict) {
    const enum requirement requirement = verdict->requirement;
    const bool quench = requirement == REQUIREMENT_TRANSFER || requirement == REQUIREMENT_COOLING ||
                        requirement == REQUIREMENT_HANDLE_WARM || requirement == REQUIREMENT_DONE;

    if (quench && verdict->reason == REASON_NOT_REACHED)
        return "it was not seen to happen";
    if (quench && verdict->reason == REASON_TOO_FEW)
        return "too few readings while it cooled";
    return judge_reason_text(verdict->reason);
}

/* What stands in a table behind a found value: the margin beside it says the rest. */
static const char *words_short_reason(const struct verdict *verdict) {
    switch (verdict->reason) {
    case REASON_UNCERTAIN: return "not inside the limit by its uncertainty";
    case REASON_GAP: return "readings are missing";
    case REASON_ATTESTED: return "attested, not measured";
    default: return words_reason(verdict);
    }
}

char *words_found(const struct verdict *verdict, enum temperature_unit unit, char *out) {
    const bool nothing = words_requirements[verdict->requirement].measure == MEASURE_NOTHING;
    char found[QUANTITY_TEXT_BYTES] = "no value", possible[QUANTITY_TEXT_BYTES];

    if (verdict->found_known && !nothing)
        words_value(verdict->requirement, verdict->found, unit, found);
    if (nothing)
        snprintf(out, WORDS_SENTENCE_BYTES, "%s",
                 verdict->reason != REASON_NONE ? words_short_reason(verdict) : "seen by a sensor");
    else if (verdict->found_known && verdict->possible != verdict->found)
        snprintf(out, WORDS_SENTENCE_BYTES, "%s proven, %s possible", found,
                 words_value(verdict->requirement, verdict->possible, unit, possible));
    else if (verdict->reason != REASON_NONE)
        snprintf(out, WORDS_SENTENCE_BYTES, "%s: %s", found, words_short_reason(verdict));
    else
        snprintf(out, WORDS_SENTENCE_BYTES, "%s", found);
    return out;
}

/* Durations are shown in whole seconds, rounded down, and short ones in tenths; the margin is what these shown
 * values leave, so that the sheet's own sums are right. */
static int64_t words_shown_margin(const struct verdict *verdict) {
    enum { TENTH_MS = MS_PER_S / 10 };
    const enum measure measure = words_requirements[verdict->requirement].measure;
    const bool least = words_requirements[verdict->requirement].least;
    int64_t shown = verdict->found;

    if (!words_is_time(verdict->requirement))
        return verdict->margin;
    if (llabs(verdict->found) >= MS_PER_MIN)
        shown = verdict->found / MS_PER_S * MS_PER_S;
    else if (measure == MEASURE_SHORT)
        shown = (verdict->found + TENTH_MS / 2) / TENTH_MS * TENTH_MS;
    shown = least ? shown - verdict->required : verdict->required - shown;
    return (shown < 0) == (verdict->margin < 0) ? shown : verdict->margin;
}

/* "+2.1" of "2.1 °C", with the unit left to the uncertainty behind it. */
static void words_join_uncertainty(const struct verdict *verdict, const char *sign, const char *margin,
                                   enum temperature_unit unit, char *out) {
    char uncertainty[QUANTITY_TEXT_BYTES];

    quantity_format_difference(verdict->uncertainty, unit, 1, 0, uncertainty);
    if (verdict->uncertainty == 0)
        snprintf(out, WORDS_LIMIT_BYTES, "%s%s", sign, margin);
    else if (words_is_time(verdict->requirement))
        snprintf(out, WORDS_LIMIT_BYTES, "%s%s\n± %s of the sensors", sign, margin, uncertainty);
    else
        snprintf(out, WORDS_LIMIT_BYTES, "%s%.*s ± %s", sign, (int)strcspn(margin, " "), margin, uncertainty);
}

char *words_margin(const struct verdict *verdict, enum temperature_unit unit, char *out) {
    const int64_t margin = words_shown_margin(verdict);
    const int64_t size = margin < 0 ? -margin : margin;
    char text[QUANTITY_TEXT_BYTES];

    out[0] = '\0';
    if (!verdict->found_known || words_requirements[verdict->requirement].measure == MEASURE_NOTHING)
        return out;
    if (words_requirements[verdict->requirement].measure == MEASURE_TEMPERATURE) // a margin is a difference
        quantity_format_difference(size, unit, 1, 0, text);
    else
        words_value(verdict->requirement, size, unit, text);
    words_join_uncertainty(verdict, margin < 0 ? "−" : "+", text, unit, out);
    return out;
}

/* ---- the same in parts ---- */

const char *words_bound(enum requirement requirement) {
    if (words_requirements[requirement].measure == MEASURE_NOTHING)
        return "seen or";
    return words_requirements[requirement].least ? "at least" : "at most";
}

char *words_required(const struct verdict *verdict, enum temperature_unit unit, char *out) {
    if (words_requirements[verdict->requirement].measure == MEASURE_NOTHING)
        snprintf(out, WORDS_LIMIT_BYTES, "attested");
    else
        words_value(verdict->requirement, verdict->required, unit, out);
    return out;
}

char *words_found_value(const struct verdict *verdict, enum temperature_unit unit, char *out) {
    if (words_requirements[verdict->requirement].measure == MEASURE_NOTHING)
        snprintf(out, WORDS_LIMIT_BYTES, "%s",
                 verdict->reason == REASON_NONE       ? "seen by a sensor"
                 : verdict->reason == REASON_ATTESTED ? "attested"
                                                      : "not known");
    else if (verdict->found_known)
        words_value(verdict->requirement, verdict->found, unit, out);
    else
        snprintf(out, WORDS_LIMIT_BYTES, "no value");
    return out;
}

char *words_found_note(const struct verdict *verdict, enum temperature_unit unit, char *out) {
    char possible[QUANTITY_TEXT_BYTES];

    out[0] = '\0';
    if (verdict->found_known && verdict->possible != verdict->found)
        snprintf(out, WORDS_SENTENCE_BYTES, "proven; %s possible%s%s",
                 words_value(verdict->requirement, verdict->possible, unit, possible),
                 verdict->reason != REASON_NONE ? ": " : "",
                 verdict->reason != REASON_NONE ? words_short_reason(verdict) : "");
    else if (verdict->reason != REASON_NONE)
        snprintf(out, WORDS_SENTENCE_BYTES, "%s", words_short_reason(verdict));
    return out;
}

char *words_margin_value(const struct verdict *verdict, enum temperature_unit unit, char *out) {
    struct verdict plain = *verdict;

    plain.uncertainty = 0;
    return words_margin(&plain, unit, out);
}

char *words_uncertainty(const struct verdict *verdict, enum temperature_unit unit, char *out) {
    char text[QUANTITY_TEXT_BYTES];

    out[0] = '\0';
    if (verdict->uncertainty != 0 && verdict->found_known)
        snprintf(out, WORDS_LIMIT_BYTES, "± %s",
                 quantity_format_difference(verdict->uncertainty, unit, 1, 0, text));
    return out;
}

/* A value that was found and proves nothing yet. */
static void words_say_doubt(const struct verdict *verdict, enum temperature_unit unit, const char *found,
                            const char *required, char *out) {
    const char *subject = words_requirements[verdict->requirement].subject;
    const bool least = words_requirements[verdict->requirement].least;
    char possible[QUANTITY_TEXT_BYTES], uncertainty[QUANTITY_TEXT_BYTES];

    words_value(verdict->requirement, verdict->possible, unit, possible);
    quantity_format_difference(verdict->uncertainty, unit, 1, 0, uncertainty);
    if (verdict->reason == REASON_UNCERTAIN && words_is_time(verdict->requirement))
        snprintf(out, WORDS_SENTENCE_BYTES,
                 "%s %s, with %s %s; if the sensors were wrong by their uncertainty of %s it could have been %s.",
                 subject, found, required, least ? "required" : "allowed", uncertainty, least ? "less" : "more");
    else if (verdict->reason == REASON_UNCERTAIN)
        snprintf(out, WORDS_SENTENCE_BYTES,
                 "%s %s, with %s allowed; that is inside the limit, but not by the uncertainty of %s.", subject,
                 found, required, uncertainty);
    else if (verdict->requirement == REQUIREMENT_SOAK_LEAST)
        snprintf(out, WORDS_SENTENCE_BYTES,
                 "%s of soak are proven, %s required; readings are missing that could have proven up to %s.", found,
                 required, possible);
    else
        snprintf(out, WORDS_SENTENCE_BYTES,
                 "%s %s by the readings there are, with %s %s; readings are missing that could change it.", subject,
                 found, required, least ? "required" : "allowed");
}

char *words_sentence(const struct verdict *verdict, enum temperature_unit unit, char *out) {
    char found[QUANTITY_TEXT_BYTES], required[QUANTITY_TEXT_BYTES];
    const bool least = words_requirements[verdict->requirement].least;
    const char *subject = words_requirements[verdict->requirement].subject;
    const char *bound = least ? "required" : "allowed";

    words_value(verdict->requirement, verdict->required, unit, required);
    words_value(verdict->requirement, verdict->found, unit, found);
    if (words_requirements[verdict->requirement].measure == MEASURE_NOTHING)
        snprintf(out, WORDS_SENTENCE_BYTES, "%s: %s.", subject,
                 verdict->reason == REASON_NONE ? "seen by a sensor" : words_reason(verdict));
    else if (verdict->found_known && verdict->outcome == OUTCOME_NOT_PROVEN &&
             (verdict->reason == REASON_GAP || verdict->reason == REASON_UNCERTAIN))
        words_say_doubt(verdict, unit, found, required, out);
    else if (verdict->found_known && verdict->reason == REASON_ATTESTED)
        snprintf(out, WORDS_SENTENCE_BYTES, "%s %s by a person's word; %s were %s.", subject, found, required,
                 bound);
    else if (verdict->reason != REASON_NONE && (verdict->reason != REASON_GAP || !verdict->found_known))
        snprintf(out, WORDS_SENTENCE_BYTES, "%s %s %s: %s.", required, least ? "or more" : "at most", bound,
                 words_reason(verdict));
    else
        snprintf(out, WORDS_SENTENCE_BYTES, "%s %s; %s %s.", subject, found, required,
                 least ? "were required" : "were allowed");
    return out;
}

/* ---- times ---- */

char *words_offset(int offset_min, char *out) {
    const int size = abs(offset_min);

    if (offset_min == 0)
        snprintf(out, QUANTITY_TEXT_BYTES, "UTC");
    else
        snprintf(out, QUANTITY_TEXT_BYTES, "UTC%c%02d:%02d", offset_min < 0 ? '-' : '+', size / MIN_PER_H,
                 size % MIN_PER_H);
    return out;
}

char *words_elapsed(int64_t duration_ms, char *out) {
    const int64_t size = (duration_ms < 0 ? -duration_ms : duration_ms) / MS_PER_S;
    const long long hours = size / S_PER_MIN / MIN_PER_H, minutes = size / S_PER_MIN % MIN_PER_H;

    snprintf(out, QUANTITY_TEXT_BYTES, "%s%lld:%02lld", duration_ms < 0 ? "-" : "", hours, minutes);
    if (size % S_PER_MIN != 0)
        snprintf(out, QUANTITY_TEXT_BYTES, "%s%lld:%02lld:%02lld", duration_ms < 0 ? "-" : "", hours, minutes,
                 (long long)(size % S_PER_MIN));
    return out;
}

char *words_clock(int64_t t_ms, int offset_min, int seconds, char *out) {
    const time_t t = (time_t)((t_ms + (int64_t)offset_min * MS_PER_MIN) / MS_PER_S);
    struct tm parts = {0};

    gmtime_r(&t, &parts);
    strftime(out, QUANTITY_TEXT_BYTES, seconds ? "%H:%M:%S" : "%H:%M", &parts);
    return out;
}
