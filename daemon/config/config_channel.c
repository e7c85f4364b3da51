// SPDX-License-Identifier: MIT
/* Reads [channel OVEN.NAME] and checks the channels of an oven against each other. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "parts.h"
#include "soakledger/judge.h"
#include "soakledger/quantity.h"

enum { FUNCTION_LEAST = 3, FUNCTION_MOST = 4, DECIMALS_LEAST = -3, DECIMALS_MOST = 6 };
enum { LIST_BYTES = 128 };

#define INTERVAL_DEFAULT_MS INT64_C(1000)
#define INTERVAL_LEAST_MS   INT64_C(100)
#define INTERVAL_MOST_MS    INT64_C(3600000)
#define LOW_DEFAULT_MC      INT64_C(-50000)  // colder than any workshop, warmer than an unheated one ...
#define HIGH_DEFAULT_MC     INT64_C(1400000) // ... and beyond type K and N: common practice, no source
#define OUTPUT_MOST         INT64_C(100000)  // per cent, in thousandths; less than zero is cooling

static bool is_temperature(enum channel_role role) {
    return role != ROLE_OUTPUT;
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

static int read_place(struct config_whole *whole, struct keyfile_section *section, struct config_channel *channel) {
    const struct config *config = &whole->config;
    struct channel_fitting *fitting = &channel->fitting;
    struct fault *fault = whole->fault;
    int64_t function = 0, first = 0;
    int taken = config_take_reference(whole, section, "instrument", config->instruments, config->instrument_count,
                                      sizeof *config->instruments, &channel->instrument);

    if (keyfile_require(section, "instrument", taken, "controller", fault) != 0)
        return -1;
    taken = keyfile_take_integer(section, "function", FUNCTION_LEAST, FUNCTION_MOST, &function, fault);
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

static int read_scale(struct config_whole *whole, struct keyfile_section *section, enum channel_role role,
                      struct channel_fitting *fitting) {
    static const char *const units[] = {"C", "F", NULL}; // as enum temperature_unit
    int64_t decimals = 0;
    int unit = UNIT_CELSIUS;
    int taken = keyfile_take_integer(section, "decimals", DECIMALS_LEAST, DECIMALS_MOST, &decimals, whole->fault);

    if (keyfile_require(section, "decimals", taken, "1, if 8025 means 802.5", whole->fault) != 0)
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
    fitting->unit = (enum temperature_unit)unit;
    fitting->low = LOW_DEFAULT_MC;
    fitting->high = HIGH_DEFAULT_MC;
    return keyfile_take_span(section, "range", &fitting->low, &fitting->high, whole->fault) < 0 ? -1 : 0;
}

static int read_open_values(struct config_whole *whole, struct keyfile_section *section,
                            struct channel_fitting *fitting) {
    const char *list = keyfile_take(section, "open_value", NULL);
    char copy[LIST_BYTES], *rest = copy;
    int64_t least, most;

    if (list == NULL)
        return 0;
    if (strlen(list) >= sizeof copy)
        return keyfile_refuse(section, "open_value", whole->fault, "list too long: expected up to %d whole numbers",
                              CHANNEL_OPEN_VALUES);
    memcpy(copy, list, strlen(list) + 1);
    read_raw_range(fitting->encoding, &least, &most);
    while (rest != NULL) {
        char *number = strsep(&rest, ",");
        char why[FAULT_TEXT_BYTES];

        number += strspn(number, " \t");
        for (size_t end = strlen(number); end > 0 && strchr(" \t", number[end - 1]) != NULL; end--)
            number[end - 1] = '\0';
        if (fitting->open_count == CHANNEL_OPEN_VALUES)
            return keyfile_refuse(section, "open_value", whole->fault, "too many: expected up to %d whole numbers",
                                  CHANNEL_OPEN_VALUES);
        if (quantity_parse_integer(number, least, most, &fitting->open_raw[fitting->open_count++], whole->fault) ==
            0)
            continue;
        snprintf(why, sizeof why, "%s", whole->fault->text);
        return keyfile_refuse(section, "open_value", whole->fault, "%s", why);
    }
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

/* Two channels with a register in common would be one measurement that looks like two. */
static int check_registers(struct config_whole *whole, struct keyfile_section *section,
                           const struct config_channel *channel) {
    const struct config *config = &whole->config;
    const size_t first = channel->fitting.first_register;
    const size_t end = first + channel_count_registers(channel->fitting.encoding);

    for (size_t i = 0; i < config->channel_count; i++) {
        const struct config_channel *other = &config->channels[i];
        const size_t other_first = other->fitting.first_register;
        const size_t other_end = other_first + channel_count_registers(other->fitting.encoding);

        if (other->instrument == channel->instrument && other->fitting.function == channel->fitting.function &&
            first < other_end && other_first < end)
            return keyfile_refuse(section, "register", whole->fault,
                                  "read by channel '%s.%s' already: expected one channel for each register",
                                  config->ovens[other->oven].name, other->name);
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
    if (read_place(whole, section, channel) != 0 || read_encoding(whole, section, &channel->fitting) != 0 ||
        read_scale(whole, section, channel->role, &channel->fitting) != 0 ||
        read_open_values(whole, section, &channel->fitting) != 0 ||
        config_take_duration(whole, section, "interval", INTERVAL_LEAST_MS, INTERVAL_MOST_MS,
                             &channel->interval_ms) < 0 ||
        read_sensor_reference(whole, section, channel) < 0 || check_registers(whole, section, channel) != 0)
        return -1;
    config->channel_count++;
    return 0;
}

/* How many channels of each role an oven has, at most. */
static const size_t role_most[ROLE_COUNT] = {
    [ROLE_CONTROL] = 1, [ROLE_LOAD] = JUDGE_MOST_LOADS, [ROLE_SETPOINT] = 1,
    [ROLE_OUTPUT] = 1,  [ROLE_AMBIENT] = SIZE_MAX,
};

static int section_line(struct config_whole *whole, const char *kind, const char *name) {
    for (size_t i = 0; i < keyfile_count_sections(whole->file); i++) {
        const struct keyfile_section *section = keyfile_section(whole->file, i);

        if (strcmp(keyfile_section_kind(section), kind) == 0 && strcmp(keyfile_section_name(section), name) == 0)
            return keyfile_section_line(section);
    }
    return 1;
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
    if (counts[ROLE_CONTROL] == 0 && counts[ROLE_LOAD] == 0)
        return keyfile_fault(
            whole->file, line, whole->fault,
            "oven '%s' has no channel of role control or load: expected one of role control, or at "
            "least one of role load",
            config->ovens[oven].name);
    return 0;
}

int config_check_channels(struct config_whole *whole) {
    for (size_t i = 0; i < whole->config.oven_count; i++)
        if (check_oven(whole, i) != 0)
            return -1;
    return 0;
}
