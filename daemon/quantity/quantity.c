// SPDX-License-Identifier: MIT
/* Reading numbers with units. A decimal is kept as its digits and how many of them stand behind the point, so
 * that the only rounding is the last one; strtod is not used because it takes more than this grammar, depends
 * on the locale and rounds to binary. */
#include "soakledger/quantity.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "wide.h"

enum {
    QUOTED_BYTES = 80, // of a refused text; the rest of a longer one says nothing more
    DIGITS_MOST = WIDE_MOST_POWER,
    HUNDREDTHS = 100,
    BASE = 10,
};

#define SECONDS_PER_HOUR INT64_C(3600)
#define MINUTE_MS        INT64_C(60000)
#define HOUR_MS          (60 * MINUTE_MS)
#define DAY_MS           (24 * HOUR_MS)

/* Absolute zero; and beyond any furnace, day's work or thermocouple, where a value is a typing error. */
#define TEMPERATURE_LEAST_MC INT64_C(-273150)
#define TEMPERATURE_MOST_MC  INT64_C(3000000)
#define DURATION_MOST_MS     INT64_C(86400000000) // 1000 d
#define RATE_MOST_MC_PER_H   (TEMPERATURE_MOST_MC * SECONDS_PER_HOUR)

#define EXPECTED_TEMPERATURE "a temperature such as 954 C or 1750 F"
#define EXPECTED_DIFFERENCE  "a difference of temperatures, zero or more, such as 8 C or 15 F"
#define EXPECTED_DURATION    "a duration such as 300 ms, 30 min or 2 h 30 min"
#define EXPECTED_RATE        "a rate, zero or more, such as 280 C/h, 500 F/h or 10 C/min"
#define EXPECTED_SPAN        "two temperatures, the lower one first, such as 200 C .. 700 C"

/* What is being read, for messages. */
struct task {
    const char *text;
    const char *expected;
    struct fault *fault;
};

struct slice {
    const char *at, *end;
};

struct decimal {
    int64_t digits; // signed, without the point
    int places;     // digits behind the point
};

struct unit {
    const char *name;
    int64_t numerator, denominator; // to the quantity's own unit
    int64_t zero_hundredths;        // where 0 of the quantity's own unit lies, in hundredths of this unit
};

/* 0 °C is 32 °F and 273.15 K; a degree Fahrenheit is 5/9 of a degree Celsius: by definition. */
static const struct unit temperature_units[] = {
    {"C", 1, 1, 0}, {"°C", 1, 1, 0}, {"F", 5, 9, 3200}, {"°F", 5, 9, 3200}, {"K", 1, 1, 27315},
};
static const struct unit duration_units[] = {
    // falling: the order of a sum
    {"d", DAY_MS, 1, 0}, {"h", HOUR_MS, 1, 0}, {"min", MINUTE_MS, 1, 0}, {"s", 1000, 1, 0}, {"ms", 1, 1, 0},
};
static const struct unit per_units[] = {
    {"h", 1, 1, 0},
    {"min", 60, 1, 0},
    {"s", SECONDS_PER_HOUR, 1, 0},
};
#define COUNT(array) (sizeof(array) / sizeof *(array))

static int refuse(const struct task *task, const char *why) {
    const char *text = task->text;
    char quoted[QUOTED_BYTES];
    size_t length = strnlen(text, sizeof quoted);
    const char *cut = "";

    if (length == sizeof quoted) {
        cut = "...";
        do // never through the middle of a UTF-8 character
            length--;
        while (length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80);
    }
    for (size_t i = 0; i < length; i++) {
        const unsigned char byte = (unsigned char)text[i];

        quoted[i] = text[i];
        if (byte < ' ' || byte == 0x7F)
            quoted[i] = '?';
    }
    quoted[length] = '\0';
    return fault_set(task->fault, EX_DATAERR, "'%s%s' %s: expected %s", quoted, cut, why, task->expected);
}

static struct slice slice_of(const char *text) {
    return (struct slice){text, text + strlen(text)};
}

static bool is_digit(struct slice in) {
    return in.at < in.end && *in.at >= '0' && *in.at <= '9';
}

static void skip_blanks(struct slice *in) {
    while (in->at < in->end && (*in->at == ' ' || *in->at == '\t'))
        in->at++;
}

static void drop_blanks_at_end(struct slice *in) {
    while (in->end > in->at && (in->end[-1] == ' ' || in->end[-1] == '\t'))
        in->end--;
}

static bool slice_is(struct slice in, const char *word) {
    const size_t length = strlen(word);

    return (size_t)(in.end - in.at) == length && memcmp(in.at, word, length) == 0;
}

static int read_sign(struct slice *in) {
    if (in->at < in->end && (*in->at == '-' || *in->at == '+'))
        return *in->at++ == '-' ? -1 : 1;
    return 1;
}

/* Digits, optional point and digits. */
static int read_decimal(const struct task *task, struct slice *in, struct decimal *decimal) {
    int count = 0;

    *decimal = (struct decimal){0, 0};
    if (!is_digit(*in))
        return refuse(task, in->at == in->end ? "has no number" : "has something other than a number in front");
    for (bool behind_point = false;;) {
        for (; is_digit(*in); in->at++, count++) {
            if (count == DIGITS_MOST)
                return refuse(task, "has more than 18 digits");
            decimal->digits = decimal->digits * BASE + (*in->at - '0');
            decimal->places += behind_point;
        }
        if (behind_point || in->at == in->end || *in->at != '.')
            return 0;
        behind_point = true;
        in->at++;
        if (!is_digit(*in))
            return refuse(task, "has no digit behind the point");
    }
}

/* All of `in` must be the name of a unit. */
static const struct unit *find_unit(const struct unit *units, size_t count, struct slice in) {
    for (size_t i = 0; i < count; i++)
        if (slice_is(in, units[i].name))
            return &units[i];
    return NULL;
}

static int refuse_unit(const struct task *task, struct slice unit) {
    return refuse(task, unit.at == unit.end ? "has no unit" : "does not end in a known unit");
}

/* Thousandths: (decimal - zero) * numerator / denominator. */
static wide scale(struct decimal decimal, const struct unit *unit, int64_t zero_hundredths) {
    const wide power = wide_power_of_ten(decimal.places);
    const wide hundredths = (wide)decimal.digits * HUNDREDTHS - zero_hundredths * power;

    return wide_divide(hundredths * unit->numerator * (QUANTITY_PER_UNIT / HUNDREDTHS), power * unit->denominator);
}

static int read_temperature(const struct task *task, struct slice in, int64_t *temperature_mc) {
    const struct unit *unit;
    struct decimal decimal;
    const int sign = read_sign(&in);
    wide value;

    if (read_decimal(task, &in, &decimal) != 0)
        return -1;
    skip_blanks(&in);
    if ((unit = find_unit(temperature_units, COUNT(temperature_units), in)) == NULL)
        return refuse_unit(task, in);
    decimal.digits *= sign;
    value = scale(decimal, unit, unit->zero_hundredths);
    if (value < TEMPERATURE_LEAST_MC || value > TEMPERATURE_MOST_MC)
        return refuse(task, "is not within -273.15 C to 3000 C");
    *temperature_mc = (int64_t)value;
    return 0;
}

int quantity_parse_temperature(const char *text, int64_t *temperature_mc, struct fault *fault) {
    return read_temperature(&(struct task){text, EXPECTED_TEMPERATURE, fault}, slice_of(text), temperature_mc);
}

int quantity_parse_difference(const char *text, int64_t *difference_mc, struct fault *fault) {
    const struct task task = {text, EXPECTED_DIFFERENCE, fault};
    struct slice in = slice_of(text);
    const struct unit *unit;
    struct decimal decimal;
    wide value;

    if (read_sign(&in) < 0)
        return refuse(&task, "is negative");
    if (read_decimal(&task, &in, &decimal) != 0)
        return -1;
    skip_blanks(&in);
    if ((unit = find_unit(temperature_units, COUNT(temperature_units), in)) == NULL)
        return refuse_unit(&task, in);
    value = scale(decimal, unit, 0);
    if (value > TEMPERATURE_MOST_MC)
        return refuse(&task, "is more than 3000 C");
    *difference_mc = (int64_t)value;
    return 0;
}

/* Splits off the letters of a unit, so that a sum can go on behind them. */
static struct slice read_word(struct slice *in) {
    struct slice word = *in;

    while (in->at < in->end && *in->at >= 'a' && *in->at <= 'z')
        in->at++;
    word.end = in->at;
    return word;
}

int quantity_parse_duration(const char *text, int64_t *duration_ms, struct fault *fault) {
    const struct task task = {text, EXPECTED_DURATION, fault};
    const struct unit *unit = NULL;
    struct decimal decimal;
    struct slice in = slice_of(text);
    wide sum = 0;

    if (read_sign(&in) < 0)
        return refuse(&task, "is negative");
    do {
        const struct unit *before = unit;
        struct slice word;

        if (unit != NULL && decimal.places > 0)
            return refuse(&task, "has a fraction before its last part");
        if (read_decimal(&task, &in, &decimal) != 0)
            return -1;
        skip_blanks(&in);
        word = read_word(&in);
        if ((unit = find_unit(duration_units, COUNT(duration_units), word)) == NULL)
            return refuse_unit(&task, (struct slice){word.at, in.end});
        if (before != NULL && unit <= before)
            return refuse(&task, "is not a sum in falling order");
        sum += wide_divide((wide)decimal.digits * unit->numerator, wide_power_of_ten(decimal.places));
        word.at = in.at;
        skip_blanks(&in);
        if (in.at == in.end && word.at != in.end)
            return refuse(&task, "ends in white space");
    } while (in.at < in.end);
    if (sum > DURATION_MOST_MS)
        return refuse(&task, "is more than 1000 d");
    *duration_ms = (int64_t)sum;
    return 0;
}

int quantity_parse_rate(const char *text, int64_t *rate_mc_per_h, struct fault *fault) {
    const struct task task = {text, EXPECTED_RATE, fault};
    const struct unit *unit, *per;
    struct slice in = slice_of(text), left;
    struct decimal decimal;
    struct unit both;
    wide value;

    if (read_sign(&in) < 0)
        return refuse(&task, "is negative");
    if (read_decimal(&task, &in, &decimal) != 0)
        return -1;
    skip_blanks(&in);
    left = in;
    while (in.at < in.end && *in.at != '/')
        in.at++;
    left.end = in.at;
    in.at += in.at < in.end;
    unit = find_unit(temperature_units, COUNT(temperature_units), left);
    per = find_unit(per_units, COUNT(per_units), in);
    if (unit == NULL || per == NULL)
        return refuse_unit(&task, (struct slice){left.at, in.end});
    both = (struct unit){"", unit->numerator * per->numerator, unit->denominator, 0};
    value = scale(decimal, &both, 0);
    if (value > RATE_MOST_MC_PER_H)
        return refuse(&task, "is more than 3000 C/s");
    *rate_mc_per_h = (int64_t)value;
    return 0;
}

int quantity_parse_span(const char *text, int64_t *low_mc, int64_t *high_mc, struct fault *fault) {
    const struct task task = {text, EXPECTED_SPAN, fault};
    struct slice left = slice_of(text), right = left;
    const char *dots = strstr(text, "..");
    int64_t low = 0, high = 0;

    if (dots == NULL)
        return refuse(&task, "has no '..'");
    left.end = dots;
    right.at = dots + strlen("..");
    drop_blanks_at_end(&left);
    skip_blanks(&right);
    if (read_temperature(&task, left, &low) != 0 || read_temperature(&task, right, &high) != 0)
        return -1;
    if (low >= high)
        return refuse(&task, "does not rise");
    *low_mc = low;
    *high_mc = high;
    return 0;
}

int quantity_parse_integer(const char *text, int64_t least, int64_t most, int64_t *value, struct fault *fault) {
    char expected[QUANTITY_TEXT_BYTES * 2];
    const struct task task = {text, expected, fault};
    struct slice in = slice_of(text);
    const int sign = read_sign(&in);
    wide number = 0;

    snprintf(expected, sizeof expected, "a whole number from %lld to %lld", (long long)least, (long long)most);
    if (!is_digit(in))
        return refuse(&task, "is not a whole number");
    for (; is_digit(in); in.at++)
        if (number <= INT64_MAX) // a larger one is out of range already
            number = number * BASE + (*in.at - '0');
    if (in.at != in.end)
        return refuse(&task, "is not a whole number");
    number *= sign;
    if (number < least || number > most)
        return refuse(&task, "is out of range");
    *value = (int64_t)number;
    return 0;
}
