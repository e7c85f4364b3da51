// SPDX-License-Identifier: MIT
/* Channels of millivolts: their sensor's type, and what tells the temperature of the terminals. */
#include <string.h>

#include "parts.h"
#include "soakledger/quantity.h"
#include "soakledger/thermocouple.h"

/* Terminals warm slowly, but not so slowly: our own choice. */
#define COLD_INTERVAL_MOST_MS CONFIG_MINUTE_MS

static bool looks_like_number(const char *text) {
    return strchr("+-0123456789", text[0]) != NULL;
}

static int take_stated(struct config_whole *whole, struct keyfile_section *section, enum thermocouple_type type,
                       struct config_channel *channel) {
    int64_t emf_nv, low_mc, high_mc;

    if (keyfile_take_temperature(section, "cold_junction", &channel->cold_fixed_mc, whole->fault) < 0)
        return -1;
    thermocouple_range(type, &low_mc, &high_mc);
    if (!thermocouple_emf(type, channel->cold_fixed_mc, &emf_nv))
        return keyfile_refuse(section, "cold_junction", whole->fault,
                              "there is no voltage of type %s at it: expected %lld to %lld C",
                              thermocouple_letter(type), (long long)(low_mc / QUANTITY_PER_UNIT),
                              (long long)(high_mc / QUANTITY_PER_UNIT));
    return 0;
}

int config_read_cold_junction(struct config_whole *whole, struct keyfile_section *section,
                              struct config_channel *channel) {
    const struct config *config = &whole->config;
    const char *text = keyfile_take(section, "cold_junction", NULL);
    enum thermocouple_type type;

    channel->cold_junction = CONFIG_NO_CHANNEL;
    if (channel->fitting.unit != CHANNEL_MILLIVOLT)
        return text == NULL
                   ? 0
                   : keyfile_refuse(section, "cold_junction", whole->fault,
                                    "the instrument compensates by itself: expected it with unit = mV only");
    if (channel->sensor == CONFIG_NO_SENSOR)
        return keyfile_refuse(section, "unit", whole->fault,
                              "millivolts of an unknown sensor: expected a line sensor = NAME whose section has a "
                              "type");
    if (!thermocouple_find_type(config->sensors[channel->sensor].type, &type))
        return keyfile_refuse(
            section, "sensor", whole->fault,
            "sensor '%s' has type '%s': expected B, E, J, K, N, R, S or T, since the channel is in "
            "mV",
            config->sensors[channel->sensor].identity, config->sensors[channel->sensor].type);
    if (text == NULL)
        return keyfile_require(section, "cold_junction", 0, "terminals (a channel of the same oven) or 25 C",
                               whole->fault);
    if (looks_like_number(text))
        return take_stated(whole, section, type, channel);
    whole->colds[config->channel_count] = (struct config_cold){section, text};
    return 0;
}

static bool is_called(const struct config *config, const struct config_channel *channel, size_t own_oven,
                      const char *name) {
    const char *oven = config->ovens[channel->oven].name;
    const size_t length = strlen(oven);

    if (channel->oven == own_oven && strcmp(channel->name, name) == 0)
        return true;
    return strncmp(name, oven, length) == 0 && name[length] == '.' && strcmp(name + length + 1, channel->name) == 0;
}

static int check_cold(struct config_whole *whole, const struct config_cold *cold, size_t index) {
    const struct config *config = &whole->config;
    struct config_channel *channel = &config->channels[index];
    const struct config_channel *other;
    size_t i = 0;

    while (i < config->channel_count && !is_called(config, &config->channels[i], channel->oven, cold->name))
        i++;
    if (i == config->channel_count)
        return keyfile_refuse(cold->section, "cold_junction", whole->fault,
                              "'%s' is no channel: expected one of this oven, OVEN.NAME of one of this instrument, "
                              "or a temperature",
                              cold->name);
    other = &config->channels[i];
    if (other->oven != channel->oven && other->instrument != channel->instrument)
        return keyfile_refuse(cold->section, "cold_junction", whole->fault,
                              "'%s' is of another oven and another instrument: expected the terminals of this one",
                              cold->name);
    if (!channel_is_measured(other->role) || other->fitting.unit == CHANNEL_MILLIVOLT)
        return keyfile_refuse(cold->section, "cold_junction", whole->fault,
                              "'%s' is %s: expected a channel that measures a temperature", cold->name,
                              channel_is_measured(other->role) ? "in mV itself" : channel_role_name(other->role));
    if (other->interval_ms > COLD_INTERVAL_MOST_MS)
        return keyfile_refuse(cold->section, "cold_junction", whole->fault,
                              "'%s' is read too seldom: expected an interval of at most 1 min", cold->name);
    channel->cold_junction = i;
    return 0;
}

int config_check_cold_junctions(struct config_whole *whole) {
    for (size_t i = 0; i < whole->config.channel_count; i++)
        if (whole->colds[i].section != NULL && check_cold(whole, &whole->colds[i], i) != 0)
            return -1;
    return 0;
}
