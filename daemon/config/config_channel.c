// SPDX-License-Identifier: MIT
/* Reads [channel OVEN.NAME] and checks the channels of an oven against each other. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "parts.h"
#include "soakledger/judge.h"
#include "soakledger/quantity.h"

enum { FUNCTION_LEAST = 3, FUNCTION_MOST = 4, DECIMALS_LEAST = -3, DECIMALS_MOST = 6 };

#define INTERVAL_DEFAULT_MS INT64_C(1000)
#define INTERVAL_LEAST_MS   INT64_C(20)
#define INTERVAL_MOST_MS    INT64_C(3600000)
#define LOW_DEFAULT_MC      INT64_C(-50000)  // colder than any workshop, warmer than an unheated one ...
#define LOW_COLD_DEFAULT_MC INT64_C(-200000) // liquid nitrogen boils at -196 C
#define HIGH_DEFAULT_MC     INT64_C(1400000) // ... and beyond type K and N: common practice, no source
#define OUTPUT_MOST         INT64_C(100000)  // per cent, in thousandths; less than zero is cooling

static bool is_temperature(enum channel_role role) {
    return role != ROLE_OUTPUT;
}

static bool is_text(const struct channel_fitting *fitting) {
    return fitting->wire == WIRE_POLLED_TEXT || fitting->wire == WIRE_FREE_TEXT;
}

/* The raw integers an encoding can hold. A float is held against whole numbers up to 32 bits. */
static void read_raw_range(enum encoding encoding, int64_t *least, int64_t *most) {
    switch (encoding) {
    case ENCODING_INT16:
        *least = INT16_MIN;
        *most = INT16_MAX;
        return;
    case ENCODING_UINT16:
        *least = 0;
        *most = UINT16_MAX;
        return;
    case ENCODING_UINT32:
        *least = 0;
        *most = UINT32_MAX;
        return;
    case ENCODING_INT32:
    case ENCODING_FLOAT32: break;
    }
    *least = INT32_MIN;
    *most = INT32_MAX;
}

/* "OVEN.NAME" */
static int read_name(struct config_whole *whole, struct keyfile_section *section, struct config_channel *channel) {
    const struct config *config = &whole->config;
    const char *name = keyfile_section_name(section), *dot = strchr(name, '.');
    const int line = keyfile_section_line(section);
    size_t length;

    if (dot == NULL || dot == name || dot[1] == '\0')
        return keyfile_fault(whole->file, line, whole->fault,
                             "[channel %s]: expected the oven's name, a dot and the channel's, such as "
                             "[channel big.control]",
                             name);
    length = (size_t)(dot - name);
    channel->name = dot + 1;
    if (strlen(channel->name) >= CHANNEL_NAME_BYTES)
        return keyfile_fault(whole->file, line, whole->fault, "name of %zu bytes: expected at most %d",
                             strlen(channel->name), CHANNEL_NAME_BYTES - 1);
    if (strchr(channel->name, ',') != NULL || strchr(" \t", channel->name[0]) != NULL)
        return keyfile_fault(
            whole->file, line, whole->fault,
            "channel '%s': expected a name without ',' and without white space in front, since plans "
            "list such names with commas between",
            channel->name);
    for (size_t i = 0; i < config->oven_count; i++) {
        if (strlen(config->ovens[i].name) != length || memcmp(config->ovens[i].name, name, length) != 0)
            continue;
        channel->oven = i;
        return 0;
    }
    return keyfile_fault(whole->file, line, whole->fault,
                         "[channel %s]: no such oven: expected a section [oven %.*s]", name, (int)length, name);
}

static int read_register(struct config_whole *whole, struct keyfile_section *section,
                         struct channel_fitting *fitting) {
    struct fault *fault = whole->fault;
    int64_t function = 0, first = 0;
    int taken = keyfile_take_integer(section, "function", FUNCTION_LEAST, FUNCTION_MOST, &function, fault);
    if (keyfile_require(section, "function", taken, "4 (input registers) or 3 (holding registers)", fault) != 0)
        return -1;
    taken = keyfile_take_integer(section, "register", 0, UINT16_MAX, &first, fault);
    if (keyfile_require(section, "register", taken, "0, counted from 0", fault) != 0)
        return -1;
    fitting->function = (uint8_t)function;
    fitting->first_register = (uint16_t)first;
    return 0;
}

static int read_encoding(struct config_whole *whole, struct keyfile_section *section,
                         struct channel_fitting *fitting) {
    static const char *const orders[] = {"high first", "low first", NULL}; // as enum word_order
    const char *encodings[ENCODING_FLOAT32 + 2] = {NULL};
    int encoding = ENCODING_INT16, order = WORD_HIGH_FIRST, taken;

    for (int i = ENCODING_INT16; i <= ENCODING_FLOAT32; i++)
        encodings[i] = channel_encoding_name((enum encoding)i);
    if (keyfile_take_word(section, "encoding", encodings, &encoding, whole->fault) < 0)
        return -1;
    fitting->encoding = (enum encoding)encoding;
    taken = keyfile_take_word(section, "word_order", orders, &order, whole->fault);
    fitting->word_order = (enum word_order)order;
    if (channel_count_registers(fitting->encoding) == 1)
        return taken > 0 ? keyfile_refuse(section, "word_order", whole->fault,
                                          "one register has no order: expected it with two only")
                         : taken;
    if (keyfile_require(section, "word_order", taken, "high first, since the value takes two registers",
                        whole->fault) != 0)
        return -1;
    if (fitting->first_register == UINT16_MAX)
        return keyfile_refuse(section, "register", whole->fault,
                              "a value of two registers begins in the last one: expected at most %d",
                              UINT16_MAX - 1);
    return 0;
}

/* In registers, or in a text. */
static int read_place(struct config_whole *whole, struct keyfile_section *section, struct config_channel *channel) {
    static const struct config_key keys[] = {
        {"function", CONFIG_OF_MODBUS},   {"register", CONFIG_OF_MODBUS}, {"encoding", CONFIG_OF_MODBUS},
        {"word_order", CONFIG_OF_MODBUS}, {"query", CONFIG_OF_POLLED},    {"field", CONFIG_OF_TEXT},
        {"pattern", CONFIG_OF_TEXT},
    };
    const struct config *config = &whole->config;
    struct channel_fitting *fitting = &channel->fitting;
    const int taken =
        config_take_reference(whole, section, "instrument", config->instruments, config->instrument_count,
                              sizeof *config->instruments, &channel->instrument);

    if (keyfile_require(section, "instrument", taken, "controller", whole->fault) != 0)
        return -1;
    fitting->wire = config->instruments[channel->instrument].setting.kind;
    if (config_refuse_others(whole, section, fitting->wire, keys, sizeof keys / sizeof keys[0]) != 0)
        return -1;
    if (CONFIG_OF_MODBUS & 1 << fitting->wire)
        return read_register(whole, section, fitting) != 0 ? -1 : read_encoding(whole, section, fitting);
    fitting->encoding = ENCODING_INT32; // so that the numbers that stand for no value have a range
    return config_read_text_place(whole, section, channel);
}

static int read_scale(struct config_whole *whole, struct keyfile_section *section, enum channel_role role,
                      bool is_cold, struct channel_fitting *fitting) {
    static const char *const units[] = {"C", "F", "mV", NULL}; // as enum channel_unit
    int64_t decimals = 0;
    int unit = CHANNEL_CELSIUS;
    int taken = keyfile_take_integer(section, "decimals", DECIMALS_LEAST, DECIMALS_MOST, &decimals, whole->fault);

    // Text has its point where it belongs.
    if (taken < 0 || (!is_text(fitting) &&
                      keyfile_require(section, "decimals", taken, "1, if 8025 means 802.5", whole->fault) != 0))
        return -1;
    fitting->decimals = (int)decimals;
    if (!is_temperature(role)) {
        fitting->low = -OUTPUT_MOST;
        fitting->high = OUTPUT_MOST;
        if (keyfile_take(section, "unit", NULL) != NULL)
            return keyfile_refuse(section, "unit", whole->fault, "an output is in per cent: expected no such line");
        if (keyfile_take(section, "range", NULL) != NULL)
            return keyfile_refuse(section, "range", whole->fault,
                                  "an output is from -100 to 100 per cent: expected no such line");
        return 0;
    }
    taken = keyfile_take_word(section, "unit", units, &unit, whole->fault);
    if (keyfile_require(section, "unit", taken, "C", whole->fault) != 0)
        return -1;
    fitting->unit = (enum channel_unit)unit;
    if (fitting->unit == CHANNEL_MILLIVOLT && !channel_is_measured(role))
        return keyfile_refuse(section, "unit", whole->fault, "the %s is not measured: expected C or F",
                              channel_role_name(role));
    fitting->low = is_cold ? LOW_COLD_DEFAULT_MC : LOW_DEFAULT_MC;
    fitting->high = HIGH_DEFAULT_MC;
    return keyfile_take_span(section, "range", &fitting->low, &fitting->high, whole->fault) < 0 ? -1 : 0;
}

/* A list of raw numbers by which the controller says that there is no value. */
struct raw_list {
    const struct channel_fitting *fitting;
    size_t *count;
    int64_t *values;
};

static bool is_listed(int64_t value, const int64_t *values, size_t count) {
    for (size_t i = 0; i < count; i++)
        if (values[i] == value)
            return true;
    return false;
}

static int add_raw(struct config_whole *whole, struct keyfile_section *section, const char *key,
                   const char *element, void *context) {
    const struct raw_list *list = context;
    const struct channel_fitting *fitting = list->fitting;
    char why[FAULT_TEXT_BYTES];
    int64_t least, most, value;

    if (*list->count == CHANNEL_OPEN_VALUES)
        return keyfile_refuse(section, key, whole->fault, "too many: expected up to %d whole numbers",
                              CHANNEL_OPEN_VALUES);
    read_raw_range(fitting->encoding, &least, &most);
    if (quantity_parse_integer(element, least, most, &value, whole->fault) != 0) {
        snprintf(why, sizeof why, "%s", whole->fault->text);
        return keyfile_refuse(section, key, whole->fault, "%s", why);
    }
    if (is_listed(value, fitting->open_raw, fitting->open_count) ||
        is_listed(value, fitting->over_raw, fitting->over_count) ||
        is_listed(value, fitting->under_raw, fitting->under_count))
        return keyfile_refuse(section, key, whole->fault, "%lld is given already: expected each number once",
                              (long long)value);
    list->values[(*list->count)++] = value;
    return 0;
}

static int read_raw_values(struct config_whole *whole, struct keyfile_section *section,
                           struct channel_fitting *fitting) {
    struct raw_list open = {fitting, &fitting->open_count, fitting->open_raw};
    struct raw_list over = {fitting, &fitting->over_count, fitting->over_raw};
    struct raw_list under = {fitting, &fitting->under_count, fitting->under_raw};

    if (config_take_list(whole, section, "open_value", add_raw, &open) != 0 ||
        config_take_list(whole, section, "over_value", add_raw, &over) != 0 ||
        config_take_list(whole, section, "under_value", add_raw, &under) != 0)
        return -1;
    return 0;
}

/* What bounds a value beside those before it. */
static int read_belief(struct config_whole *whole, struct keyfile_section *section,
                       struct config_channel *channel) {
    static const char *const keys[] = {"frozen_after", "moves_at_most"};
    struct channel_fitting *fitting = &channel->fitting;
    const int taken = keyfile_take_rate(section, keys[1], &fitting->moves_at_most_mc_per_h, whole->fault);

    if (taken < 0 || config_take_duration(whole, section, keys[0], CONFIG_SECOND_MS, CONFIG_DAY_MS,
                                          &fitting->frozen_after_ms) < 0)
        return -1;
    if (taken > 0 && fitting->moves_at_most_mc_per_h == 0)
        return keyfile_refuse(section, keys[1], whole->fault, "cannot move at all: expected more than 0 C/s");
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
        if (keyfile_take(section, keys[i], NULL) != NULL &&
            (channel->role == ROLE_SETPOINT || channel->role == ROLE_OUTPUT))
            return keyfile_refuse(section, keys[i], whole->fault, "the %s is not measured: expected no such line",
                                  channel_role_name(channel->role));
    if (fitting->frozen_after_ms > 0 &&
        (channel->role == ROLE_AMBIENT || channel->role == ROLE_QUENCH || channel->role == ROLE_REFERENCE))
        return keyfile_refuse(
            section, keys[0], whole->fault,
            "nothing else tells that %s should move: expected it with control, load, cold or high-limit only",
            channel_role_name(channel->role));
    return 0;
}

static int read_sensor_reference(struct config_whole *whole, struct keyfile_section *section,
                                 struct config_channel *channel) {
    const struct config *config = &whole->config;
    const int taken = config_take_reference(whole, section, "sensor", config->sensors, config->sensor_count,
                                            sizeof *config->sensors, &channel->sensor);

    if (taken <= 0)
        return taken;
    if (channel->role == ROLE_SETPOINT || channel->role == ROLE_OUTPUT)
        return keyfile_refuse(section, "sensor", whole->fault, "no sensor measures the %s: expected no such line",
                              channel_role_name(channel->role));
    for (size_t i = 0; i < config->channel_count; i++)
        if (config->channels[i].sensor == channel->sensor)
            return keyfile_refuse(section, "sensor", whole->fault,
                                  "'%s' is fitted to channel '%s.%s' already: expected each sensor in one place",
                                  config->sensors[channel->sensor].identity,
                                  config->ovens[config->channels[i].oven].name, config->channels[i].name);
    return 0;
}

static const char *place_key(const struct channel_fitting *fitting) {
    if (!is_text(fitting))
        return "register";
    return fitting->field > 0 ? "field" : "pattern";
}

static bool share_place(const struct channel_fitting *a, const struct channel_fitting *b) {
    const size_t first_a = a->first_register, end_a = first_a + channel_count_registers(a->encoding);
    const size_t first_b = b->first_register, end_b = first_b + channel_count_registers(b->encoding);

    if (is_text(a))
        return a->field == b->field && strcmp(a->pattern, b->pattern) == 0 && strcmp(a->query, b->query) == 0;
    return a->function == b->function && first_a < end_b && first_b < end_a;
}

/* Two channels with a register in common would be one measurement that looks like two. */
static int check_place(struct config_whole *whole, struct keyfile_section *section,
                       const struct config_channel *channel) {
    const struct config *config = &whole->config;

    for (size_t i = 0; i < config->channel_count; i++) {
        const struct config_channel *other = &config->channels[i];

        if (other->instrument == channel->instrument && share_place(&other->fitting, &channel->fitting))
            return keyfile_refuse(section, place_key(&channel->fitting), whole->fault,
                                  "read by channel '%s.%s' already: expected one channel for each %s",
                                  config->ovens[other->oven].name, other->name, place_key(&channel->fitting));
    }
    return 0;
}

int config_read_channel(struct config_whole *whole, struct keyfile_section *section) {
    struct config *config = &whole->config;
    struct config_channel *channel = &config->channels[config->channel_count];
    const char *roles[ROLE_COUNT + 1] = {NULL};
    int role = ROLE_CONTROL, taken;

    channel->sensor = CONFIG_NO_SENSOR;
    channel->interval_ms = INTERVAL_DEFAULT_MS;
    if (read_name(whole, section, channel) != 0)
        return -1;
    for (int i = 0; i < ROLE_COUNT; i++)
        roles[i] = channel_role_name((enum channel_role)i);
    taken = keyfile_take_word(section, "role", roles, &role, whole->fault);
    if (keyfile_require(section, "role", taken, "control", whole->fault) != 0)
        return -1;
    channel->role = (enum channel_role)role;
    if (read_place(whole, section, channel) != 0 ||
        read_scale(whole, section, channel->role, config->ovens[channel->oven].is_cold, &channel->fitting) != 0 ||
        read_raw_values(whole, section, &channel->fitting) != 0 || read_belief(whole, section, channel) != 0 ||
        config_take_duration(whole, section, "interval", INTERVAL_LEAST_MS, INTERVAL_MOST_MS,
                             &channel->interval_ms) < 0 ||
        keyfile_take_difference(section, "uncertainty", &channel->uncertainty_mc, whole->fault) < 0 ||
        read_sensor_reference(whole, section, channel) < 0 ||
        config_read_cold_junction(whole, section, channel) != 0 || check_place(whole, section, channel) != 0)
        return -1;
    config->channel_count++;
    return 0;
}

/* How many channels of each role an oven has, at most. */
static const size_t role_most[ROLE_COUNT] = {
    [ROLE_CONTROL] = 1,
    [ROLE_LOAD] = JUDGE_MOST_LOADS,
    [ROLE_SETPOINT] = 1,
    [ROLE_OUTPUT] = 1,
    [ROLE_AMBIENT] = SIZE_MAX,
    [ROLE_QUENCH] = JUDGE_MOST_LOADS,
    [ROLE_COLD] = JUDGE_MOST_LOADS,
    [ROLE_HIGH_LIMIT] = JUDGE_MOST_LOADS,
    [ROLE_REFERENCE] = JUDGE_MOST_LOADS,
};

static int section_line(struct config_whole *whole, const char *kind, const char *name) {
    for (size_t i = 0; i < keyfile_count_sections(whole->file); i++) {
        const struct keyfile_section *section = keyfile_section(whole->file, i);

        if (strcmp(keyfile_section_kind(section), kind) == 0 && strcmp(keyfile_section_name(section), name) == 0)
            return keyfile_section_line(section);
    }
    return 1;
}

/* A frozen value shows in that another moves: without another it would never. */
static int check_frozen(struct config_whole *whole, size_t oven, size_t measured) {
    const struct config *config = &whole->config;

    for (size_t i = 0; i < config->channel_count && measured < 2; i++)
        if (config->channels[i].oven == oven && config->channels[i].fitting.frozen_after_ms > 0)
            return keyfile_fault(whole->file, section_line(whole, "oven", config->ovens[oven].name), whole->fault,
                                 "channel '%s.%s' has frozen_after, but its oven no other channel of role control, "
                                 "load or cold: expected one to hold it against",
                                 config->ovens[oven].name, config->channels[i].name);
    return 0;
}

static int check_oven(struct config_whole *whole, size_t oven) {
    const struct config *config = &whole->config;
    size_t counts[ROLE_COUNT] = {0};
    const int line = section_line(whole, "oven", config->ovens[oven].name);

    for (size_t i = 0; i < config->channel_count; i++)
        counts[config->channels[i].role] += config->channels[i].oven == oven;
    for (int role = 0; role < ROLE_COUNT; role++)
        if (counts[role] > role_most[role])
            return keyfile_fault(whole->file, line, whole->fault,
                                 "oven '%s' has %zu channels of role %s: expected at most %zu",
                                 config->ovens[oven].name, counts[role], channel_role_name((enum channel_role)role),
                                 role_most[role]);
    if (counts[ROLE_CONTROL] == 0 && counts[ROLE_LOAD] == 0 && counts[ROLE_COLD] == 0)
        return keyfile_fault(
            whole->file, line, whole->fault,
            "oven '%s' has no channel of role control or load: expected one of role control, or at "
            "least one of role load",
            config->ovens[oven].name);
    return check_frozen(whole, oven, counts[ROLE_CONTROL] + counts[ROLE_LOAD] + counts[ROLE_COLD]);
}

int config_check_channels(struct config_whole *whole) {
    for (size_t i = 0; i < whole->config.oven_count; i++)
        if (check_oven(whole, i) != 0)
            return -1;
    return config_check_cold_junctions(whole);
}
