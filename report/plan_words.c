// SPDX-License-Identifier: MIT
/* What a plan requires, in words: one sentence for everything that will be judged, or is said beside it. */
#include <stdarg.h>
#include <string.h>

#include "plan_parts.h"
#include "soakledger/channel.h"
#include "soakledger/quantity.h"
#include "soakledger/words.h"

enum { MC_PER_C = 1000 };
/* A difference of 5 °C is one of 9 °F: by definition. */
enum { FAHRENHEIT_NINTHS = 9, CELSIUS_NINTHS = 5 };

const char plan_words_caution[] = "A plan is a starting point, not a recipe: the steel maker's data sheet for the "
                                  "bar in hand, the oven's manual and "
                                  "licensed practice go before every figure in it.";
const char plan_words_scale[] = "Time is not to scale: warming, cooling and waiting are drawn schematically, as "
                                "the plan does not fix how long they "
                                "take.";

struct list {
    char (*words)[PLAN_WORDS_BYTES];
    size_t count;
    enum temperature_unit unit;
};

static void say(struct list *list, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void say(struct list *list, const char *format, ...) {
    va_list args;

    if (list->count == PLAN_WORDS_MOST)
        return;
    va_start(args, format);
    vsnprintf(list->words[list->count++], PLAN_WORDS_BYTES, format, args);
    va_end(args);
}

/* One decimal only where there is something behind the point. */
static char *level(const struct list *list, int64_t mc, char *out) {
    const int64_t shown = list->unit == UNIT_CELSIUS ? mc : quantity_fahrenheit_from_celsius(mc);

    return quantity_format_temperature(mc, list->unit, shown % MC_PER_C != 0, out);
}

static char *difference(const struct list *list, int64_t mc, char *out) {
    const int64_t shown = list->unit == UNIT_CELSIUS ? mc : mc * FAHRENHEIT_NINTHS / CELSIUS_NINTHS;

    return quantity_format_difference(mc, list->unit, shown % MC_PER_C != 0, 0, out);
}

static void say_heat(struct list *list, const struct plan_operation *heat) {
    char rate[QUANTITY_TEXT_BYTES], low[QUANTITY_TEXT_BYTES], high[QUANTITY_TEXT_BYTES];
    char window[QUANTITY_TEXT_BYTES];

    say(list, "rise: at most %s between %s and %s (slope over %s)",
        quantity_format_rate(heat->ramp_at_most.value, list->unit, rate), level(list, heat->ramp_low_mc, low),
        level(list, heat->ramp_high_mc, high), quantity_format_duration(heat->ramp_window_ms, window));
    if (heat->load_at_most.set)
        say(list, "charge: at or below %s when the heat begins", level(list, heat->load_at_most.value, low));
}

static void say_band(struct list *list, const struct plan_operation *operation) {
    char set[QUANTITY_TEXT_BYTES], low[QUANTITY_TEXT_BYTES], high[QUANTITY_TEXT_BYTES];

    say(list, "band: %s to %s, about %s", level(list, operation->temperature_mc - operation->below_mc, low),
        level(list, operation->temperature_mc + operation->above_mc, high),
        level(list, operation->temperature_mc, set));
}

static void say_time(struct list *list, const struct plan *plan, const struct plan_operation *operation) {
    char least[QUANTITY_TEXT_BYTES], most[QUANTITY_TEXT_BYTES], lag[QUANTITY_TEXT_BYTES];
    const bool lags = plan->lag_allowance_ms > 0, limited = operation->time_at_most.set;

    say(list, "time: at least %s%s%s%s%s, without a break",
        quantity_format_duration(operation->time_at_least_ms, least), lags ? " and for the lag of the charge " : "",
        lags ? quantity_format_duration(plan->lag_allowance_ms, lag) : "", limited ? ", at most " : "",
        limited ? quantity_format_duration(operation->time_at_most.value, most) : "");
}

static void say_soak(struct list *list, const struct plan *plan, const struct plan_operation *soak) {
    char text[QUANTITY_TEXT_BYTES];

    say_band(list, soak);
    say_time(list, plan, soak);
    say(list, "overshoot: at most %s above the temperature", difference(list, soak->overshoot_at_most.value, text));
    if (soak->spread_at_most.set)
        say(list, "spread between the load sensors: at most %s",
            difference(list, soak->spread_at_most.value, text));
}

static void say_attest(struct list *list, const struct plan_operation *operation) {
    if (operation->may_attest)
        say(list, "where no sensor saw it, a person may attest it");
}

static char *fall(const struct list *list, int64_t mc_per_s, char *out) {
    const bool celsius = list->unit == UNIT_CELSIUS;
    const double per_s = (double)mc_per_s / MC_PER_C;

    snprintf(out, QUANTITY_TEXT_BYTES, "%g %s/s", celsius ? per_s : per_s * FAHRENHEIT_NINTHS / CELSIUS_NINTHS,
             celsius ? "°C" : "°F");
    return out;
}

static void say_quench(struct list *list, const struct plan_operation *quench) {
    char text[QUANTITY_TEXT_BYTES], upper[QUANTITY_TEXT_BYTES], lower[QUANTITY_TEXT_BYTES];

    if (quench->transfer_at_most.set)
        say(list, "transfer: at most %s from leaving the soak to the first fall of %s",
            quantity_format_duration(quench->transfer_at_most.value, text),
            fall(list, quench->falls_at_least_mc_per_s, upper));
    if (quench->cooling_at_most.set)
        say(list, "cooling: from %s to %s in at most %s", level(list, quench->cooling_upper_mc, upper),
            level(list, quench->cooling_lower_mc, lower),
            quantity_format_duration(quench->cooling_at_most.value, text));
    if (quench->handle_warm_within.set)
        say(list, "handle-warm: at or below %s within %s of leaving the soak",
            level(list, quench->handle_warm_mc, lower),
            quantity_format_duration(quench->handle_warm_within.value, text));
    say_attest(list, quench);
}

static void say_before(struct list *list, const struct plan_operation *operation) {
    char text[QUANTITY_TEXT_BYTES];

    if (operation->begins_within.set)
        say(list, "begins: within %s of the end of the visit before",
            quantity_format_duration(operation->begins_within.value, text));
    if (operation->parts_below_first.set)
        say(list, "parts: at or below %s before it begins", level(list, operation->parts_below_first.value, text));
}

static void say_temper(struct list *list, const struct plan *plan, const struct plan_operation *temper) {
    char time[QUANTITY_TEXT_BYTES], set[QUANTITY_TEXT_BYTES];

    say_before(list, temper);
    say_soak(list, plan, temper);
    level(list, temper->temperature_mc, set);
    if (temper->equivalent_at_least.set)
        say(list, "equivalent time: at least %s at %s (Hollomon-Jaffe, C = %g)",
            quantity_format_duration(temper->equivalent_at_least.value, time), set,
            temper->hollomon_jaffe_constant);
    else
        say(list, "equivalent time at %s: reported only (Hollomon-Jaffe, C = %g)", set,
            temper->hollomon_jaffe_constant);
}

static void say_cold(struct list *list, const struct plan *plan, const struct plan_operation *cold) {
    char text[QUANTITY_TEXT_BYTES];

    say_before(list, cold);
    say(list, "temperature: at or below %s", level(list, cold->temperature_mc, text));
    say_time(list, plan, cold);
}

size_t plan_words(const struct plan *plan, const struct plan_operation *operation, enum temperature_unit unit,
                  char words[PLAN_WORDS_MOST][PLAN_WORDS_BYTES]) {
    struct list list = {words, 0, unit};

    switch (operation->kind) {
    case OPERATION_HEAT: say_heat(&list, operation); break;
    case OPERATION_SOAK: say_soak(&list, plan, operation); break;
    case OPERATION_TEMPER: say_temper(&list, plan, operation); break;
    case OPERATION_QUENCH: say_quench(&list, operation); break;
    case OPERATION_COLD: say_cold(&list, plan, operation); break;
    case OPERATION_HOLD:
        say_band(&list, operation);
        say_time(&list, plan, operation);
        break;
    }
    return list.count;
}

char *plan_words_name(const struct plan_operation *operation, char *out) {
    char name[CHANNEL_NAME_BYTES], medium[CHANNEL_NAME_BYTES] = ""; // plans have no longer ones

    words_clean(operation->name, strlen(operation->name), 0, name, sizeof name);
    if (operation->kind == OPERATION_QUENCH)
        words_clean(operation->medium, strlen(operation->medium), 0, medium, sizeof medium);
    if (strcmp(medium, name) == 0)
        medium[0] = '\0';
    snprintf(out, PLAN_NAME_BYTES, "%s%s%s%s%s", plan_kind_name(operation->kind), name[0] != '\0' ? " " : "", name,
             medium[0] != '\0' ? " in " : "", medium);
    return out;
}

static void say_hardness(struct list *list, const struct plan_hardness *hardness) {
    if (hardness->scale[0] != '\0')
        say(list, "Hardness to be measured afterwards: %g to %g %s, %lld reading%s.",
            (double)hardness->low / MC_PER_C, (double)hardness->high / MC_PER_C, hardness->scale,
            (long long)hardness->readings, hardness->readings == 1 ? "" : "s");
}

size_t plan_words_whole(const struct plan *plan, enum temperature_unit unit,
                        char words[PLAN_WORDS_MOST][PLAN_WORDS_BYTES]) {
    struct list list = {words, 0, unit};
    char text[QUANTITY_TEXT_BYTES];

    if (plan->load == PLAN_LOAD_CONTROL)
        say(&list, "The control sensor stands for the charge: the charge's own temperature is not measured.");
    else if (plan->load == PLAN_LOAD_SENSORS)
        say(&list, "Every load sensor in the oven stands for the charge.");
    else
        say(&list, "%zu channel%s named in the plan stand%s for the charge.", plan->load_count,
            plan->load_count == 1 ? "" : "s", plan->load_count == 1 ? "s" : "");
    if (plan->decision == PLAN_DECISION_GUARDED)
        say(&list,
            "Decision: a value must be inside its limit by its uncertainty (guarded); else it is not proven.");
    else
        say(&list, "Decision: the measured value itself is held against its limit (simple).");
    if (plan->martensite_start.set)
        say(&list,
            "Martensite begins to form at %s: the sheets estimate the austenite left; nothing is judged by it.",
            level(&list, plan->martensite_start.value, text));
    say_hardness(&list, &plan->hardness);
    return list.count;
}
