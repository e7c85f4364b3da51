// SPDX-License-Identifier: MIT
#include "soakledger/hardness.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

enum {
    HARDNESS_PLACES = 3,
    HARDNESS_MOST = 3000 * 1000,   // as in a plan: harder than steel can be
    HARDNESS_MOST_HRC = 70 * 1000, // the C scale's end in ISO 6508-1, from memory
    HARDNESS_UNIT = 1000,
    NUMBER_BYTES = 24,
    WHY_BYTES = 48,
};

static void count_reading(const struct plan *plan, const struct hardness_reading *reading,
                          struct hardness_verdict *verdict, bool *uncertain) {
    const struct plan_hardness *const asked = &plan->hardness;
    const int64_t guard = plan->decision == PLAN_DECISION_GUARDED ? reading->uncertainty : 0;

    if (strcmp(reading->scale, asked->scale) != 0) {
        verdict->other_scale++;
        return;
    }
    if (verdict->counted == 0 || reading->value < verdict->lowest)
        verdict->lowest = reading->value;
    if (verdict->counted == 0 || reading->value > verdict->highest)
        verdict->highest = reading->value;
    verdict->counted++;
    if (reading->value < asked->low || reading->value > asked->high)
        verdict->outside++;
    else if (reading->value - guard < asked->low || reading->value + guard > asked->high)
        *uncertain = true;
}

struct hardness_verdict hardness_judge(const struct plan *plan, const struct hardness_reading *readings,
                                       size_t count) {
    struct hardness_verdict verdict = {.asked = plan->hardness.scale != NULL && plan->hardness.scale[0] != '\0'};
    bool uncertain = false;

    if (!verdict.asked)
        return verdict;
    for (size_t i = 0; i < count; i++)
        count_reading(plan, &readings[i], &verdict, &uncertain);
    verdict.outcome = OUTCOME_NOT_PROVEN;
    if (verdict.outside > 0) {
        verdict.outcome = OUTCOME_NOT_MET;
        verdict.why = HARDNESS_OUTSIDE;
    } else if ((int64_t)verdict.counted < plan->hardness.readings) {
        verdict.why = HARDNESS_TOO_FEW;
    } else if (uncertain) {
        verdict.why = HARDNESS_UNCERTAIN;
    } else {
        verdict.outcome = OUTCOME_MET;
        verdict.why = HARDNESS_INSIDE;
    }
    return verdict;
}

/* Thousandths without the zeros at the end. */
static char *put_number(int64_t value, char *out, size_t size) {
    int length =
        snprintf(out, size, "%lld.%03lld", (long long)(value / HARDNESS_UNIT), (long long)(value % HARDNESS_UNIT));

    while (length > 0 && out[length - 1] == '0')
        out[--length] = '\0';
    if (length > 0 && out[length - 1] == '.')
        out[length - 1] = '\0';
    return out;
}

char *hardness_format(int64_t value, const char *scale, char *out) {
    char number[NUMBER_BYTES];

    snprintf(out, HARDNESS_WORDS_BYTES, "%s %s", put_number(value, number, sizeof number), scale);
    return out;
}

static void put_found(const struct plan *plan, const struct hardness_verdict *verdict, char *out, size_t size) {
    char low[NUMBER_BYTES], high[NUMBER_BYTES];
    const char *const plural = verdict->counted == 1 ? "" : "s";

    put_number(verdict->lowest, low, sizeof low);
    put_number(verdict->highest, high, sizeof high);
    if (verdict->counted == 0)
        snprintf(out, size, "no reading");
    else if (verdict->lowest == verdict->highest)
        snprintf(out, size, "%zu reading%s, %s %s", verdict->counted, plural, low, plan->hardness.scale);
    else
        snprintf(out, size, "%zu reading%s, %s to %s %s", verdict->counted, plural, low, high,
                 plan->hardness.scale);
}

char *hardness_describe(const struct plan *plan, const struct hardness_verdict *verdict, char *out) {
    char found[HARDNESS_WORDS_BYTES / 2], low[NUMBER_BYTES], high[NUMBER_BYTES], why[WHY_BYTES] = "";

    out[0] = '\0';
    if (!verdict->asked)
        return out;
    put_found(plan, verdict, found, sizeof found);
    if (verdict->why == HARDNESS_OUTSIDE)
        snprintf(why, sizeof why, ", %zu outside", verdict->outside);
    if (verdict->why == HARDNESS_UNCERTAIN)
        snprintf(why, sizeof why, ", inside by less than the uncertainty");
    snprintf(out, HARDNESS_WORDS_BYTES, "%s%s; asked for: %lld of %s to %s %s", found, why,
             (long long)plan->hardness.readings, put_number(plan->hardness.low, low, sizeof low),
             put_number(plan->hardness.high, high, sizeof high), plan->hardness.scale);
    if (verdict->other_scale > 0)
        snprintf(out + strlen(out), HARDNESS_WORDS_BYTES - strlen(out), "; %zu on another scale do%s not count",
                 verdict->other_scale, verdict->other_scale == 1 ? "es" : "");
    return out;
}

/* Digits, at most three places, into thousandths. NULL if it is no such number. */
static const char *read_number(const char *at, int64_t *value) {
    enum { MOST_DIGITS = 4, TEN = 10 };
    int digits = 0, places = 0;

    *value = 0;
    for (; isdigit((unsigned char)*at) && digits <= MOST_DIGITS; at++, digits++)
        *value = *value * TEN + (*at - '0');
    if (digits == 0 || digits > MOST_DIGITS)
        return NULL;
    if (*at == '.') {
        for (at++; isdigit((unsigned char)*at) && places < HARDNESS_PLACES; at++, places++)
            *value = *value * TEN + (*at - '0');
        if (places == 0 || isdigit((unsigned char)*at))
            return NULL;
    }
    for (; places < HARDNESS_PLACES; places++)
        *value *= TEN;
    return at;
}

int hardness_parse(const char *text, int64_t *value, char *scale, struct fault *fault) {
    const char *at = read_number(text + strspn(text, " \t"), value);

    if (at != NULL)
        at += strspn(at, " \t");
    if (at == NULL || strlen(at) >= HARDNESS_SCALE_BYTES || !plan_is_scale(at))
        return fault_set(fault, EX_USAGE, "'%s': expected a number and a scale, such as '59.5 HRC'", text);
    if (*value == 0 || *value > HARDNESS_MOST)
        return fault_set(fault, EX_USAGE, "'%s' is no hardness of steel: expected more than 0, at most %d", text,
                         HARDNESS_MOST / HARDNESS_UNIT);
    if (strcmp(at, "HRC") == 0 && *value > HARDNESS_MOST_HRC)
        return fault_set(fault, EX_USAGE, "'%s' leaves the scale: expected HRC up to %d", text,
                         HARDNESS_MOST_HRC / HARDNESS_UNIT);
    snprintf(scale, HARDNESS_SCALE_BYTES, "%s", at);
    return 0;
}
