// SPDX-License-Identifier: MIT
/* Values that only plans have: limits, plain numbers, hardness, a span that falls. */
#include <ctype.h>
#include <stdio.h>
#include <string.h>

#include "plan_private.h"
#include "soakledger/quantity.h"

enum {
    THOUSANDTHS_DIGITS = 3,
    WHOLE_DIGITS_MOST = 6, // of a hardness or a constant, before the point
    BASE = 10,
    TEMPERATURE_BYTES = 64, // a longer text is no temperature
};
#define HARDNESS_MOST INT64_C(3000000) // 3000 HV is harder than any steel; more is a typing error
/* The range of the C scale in ISO 6508-1, 20 HRC to 70 HRC, is from memory. */
#define HRC_LEAST INT64_C(20000)
#define HRC_MOST  INT64_C(70000)

static const char expected_hardness[] = "expected two numbers and a scale, such as 58 .. 62 HRC";
static const char expected_fall[] = "expected two temperatures, the hotter one first, such as 800 C .. 500 C";

int plan_take_limit(struct keyfile_section *section, const char *key, plan_take *take, struct plan_limit *limit,
                    struct fault *fault) {
    const int taken = take(section, key, &limit->value, fault);

    limit->set = taken > 0;
    return taken;
}

int plan_take_some_time(struct keyfile_section *section, const char *key, int64_t *ms, struct fault *fault) {
    const int taken = keyfile_take_duration(section, key, ms, fault);

    if (taken > 0 && *ms == 0)
        return keyfile_refuse(section, key, fault, "no time at all: expected more than 0 min");
    return taken;
}

int plan_take_name(struct keyfile_section *section, const char *key, const char **name, struct fault *fault) {
    const char *value = keyfile_take(section, key, NULL);

    *name = value != NULL ? value : "";
    if (strlen(*name) < CHANNEL_NAME_BYTES)
        return value != NULL;
    return keyfile_refuse(section, key, fault, "name too long: expected at most 63 bytes");
}

/* Digits, optional point and up to three digits; `text` moves behind them. False if it is anything else. */
static bool read_thousandths(const char **text, int64_t *thousandths) {
    const char *at = *text;
    int digits = 0, places = 0;

    *thousandths = 0;
    for (; isdigit((unsigned char)*at); at++, digits++) {
        if (digits == WHOLE_DIGITS_MOST)
            return false;
        *thousandths = *thousandths * BASE + (*at - '0');
    }
    if (digits == 0)
        return false;
    if (*at == '.' && isdigit((unsigned char)at[1]))
        for (at++; isdigit((unsigned char)*at); at++, places++) {
            if (places == THOUSANDTHS_DIGITS)
                return false;
            *thousandths = *thousandths * BASE + (*at - '0');
        }
    for (; places < THOUSANDTHS_DIGITS; places++)
        *thousandths *= BASE;
    *text = at;
    return true;
}

int plan_take_number(struct keyfile_section *section, const char *key, const int64_t range[2], int64_t *number,
                     struct fault *fault) {
    const char *value = keyfile_take(section, key, NULL), *at = value;
    int64_t read;

    if (value == NULL)
        return 0;
    if (!read_thousandths(&at, &read) || *at != '\0' || read < range[0] || read > range[1])
        return keyfile_refuse(section, key, fault,
                              "'%s': expected a number from %lld to %lld, with up to three decimals", value,
                              (long long)(range[0] / QUANTITY_PER_UNIT), (long long)(range[1] / QUANTITY_PER_UNIT));
    *number = read;
    return 1;
}

static const char *skip_blanks(const char *at) {
    return at + strspn(at, " \t");
}

/* Rockwell, Vickers or Brinell, such as HRC, HV10 or HBW. */
bool plan_is_scale(const char *text) {
    if (strlen(text) >= PLAN_SCALE_BYTES || text[0] != 'H' || text[1] == '\0' || strchr("RVB", text[1]) == NULL ||
        (text[1] == 'R' && text[2] == '\0'))
        return false;
    for (const char *at = text; *at != '\0'; at++)
        if (!isdigit((unsigned char)*at) && (*at < 'A' || *at > 'Z'))
            return false;
    return true;
}

int plan_take_hardness(struct keyfile_section *section, const char *key, struct plan_hardness *hardness,
                       char *scale, struct fault *fault) {
    const char *value = keyfile_take(section, key, NULL), *at = value;

    if (value == NULL)
        return 0;
    if (!read_thousandths(&at, &hardness->low) || strncmp(at = skip_blanks(at), "..", 2) != 0)
        return keyfile_refuse(section, key, fault, "'%s': %s", value, expected_hardness);
    at = skip_blanks(at + 2);
    if (!read_thousandths(&at, &hardness->high) || !plan_is_scale(at = skip_blanks(at)))
        return keyfile_refuse(section, key, fault, "'%s': %s", value, expected_hardness);
    if (hardness->low >= hardness->high)
        return keyfile_refuse(section, key, fault, "'%s' does not rise: expected the softer number first", value);
    if (hardness->high > HARDNESS_MOST)
        return keyfile_refuse(section, key, fault, "'%s' is harder than steel can be: expected at most %d", value,
                              (int)(HARDNESS_MOST / QUANTITY_PER_UNIT));
    if (strcmp(at, "HRC") == 0 && (hardness->low < HRC_LEAST || hardness->high > HRC_MOST))
        return keyfile_refuse(section, key, fault, "'%s' leaves the scale: expected HRC within 20 to 70", value);
    snprintf(scale, PLAN_SCALE_BYTES, "%s", at);
    hardness->scale = scale;
    return 1;
}

/* A temperature of a span, which stands in [at, end). */
static int read_end(struct keyfile_section *section, const char *key, const char *at, size_t length, int64_t *mc,
                    struct fault *fault) {
    char text[TEMPERATURE_BYTES], why[FAULT_TEXT_BYTES];

    while (length > 0 && strchr(" \t", at[length - 1]) != NULL)
        length--;
    snprintf(text, sizeof text, "%.*s", (int)(length < sizeof text ? length : sizeof text - 1), at);
    if (length < sizeof text && quantity_parse_temperature(text, mc, fault) == 0)
        return 0;
    if (length >= sizeof text)
        return keyfile_refuse(section, key, fault, "too long: %s", expected_fall);
    snprintf(why, sizeof why, "%s", fault->text);
    return keyfile_refuse(section, key, fault, "%s", why);
}

int plan_take_fall(struct keyfile_section *section, const char *key, int64_t *upper_mc, int64_t *lower_mc,
                   struct fault *fault) {
    const char *value = keyfile_take(section, key, NULL);
    const char *dots = value != NULL ? strstr(value, "..") : NULL, *right;

    if (value == NULL)
        return 0;
    if (dots == NULL)
        return keyfile_refuse(section, key, fault, "'%s' has no '..': %s", value, expected_fall);
    right = skip_blanks(dots + 2);
    if (read_end(section, key, value, (size_t)(dots - value), upper_mc, fault) != 0 ||
        read_end(section, key, right, strlen(right), lower_mc, fault) != 0)
        return -1;
    if (*upper_mc <= *lower_mc)
        return keyfile_refuse(section, key, fault, "'%s' is upside down: %s", value, expected_fall);
    return 1;
}
