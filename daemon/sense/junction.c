// SPDX-License-Identifier: MIT
#include "soakledger/junction.h"

#include <stdlib.h>

#include "soakledger/thermocouple.h"

struct terminal {
    bool is_cold, good;
    int64_t t_ms, value_mc; // of the last reading
};

struct junction {
    const struct config *config;
    enum thermocouple_type *types; // of each channel of millivolts
    struct terminal *terminals;    // one a channel
};

struct junction *junction_open(const struct config *config) {
    struct junction *junction = calloc(1, sizeof *junction);

    if (junction == NULL)
        return NULL;
    junction->config = config;
    junction->types = calloc(config->channel_count + 1, sizeof *junction->types);
    junction->terminals = calloc(config->channel_count + 1, sizeof *junction->terminals);
    if (junction->types == NULL || junction->terminals == NULL) {
        junction_free(junction);
        return NULL;
    }
    for (size_t i = 0; i < config->channel_count; i++) {
        const struct config_channel *channel = &config->channels[i];

        if (channel->fitting.unit != CHANNEL_MILLIVOLT)
            continue;
        thermocouple_find_type(config->sensors[channel->sensor].type, &junction->types[i]);
        if (channel->cold_junction != CONFIG_NO_CHANNEL)
            junction->terminals[channel->cold_junction].is_cold = true;
    }
    return junction;
}

void junction_free(struct junction *junction) {
    if (junction == NULL)
        return;
    free(junction->types);
    free(junction->terminals);
    free(junction);
}

bool junction_is_cold(const struct junction *junction, size_t channel) {
    return junction->terminals[channel].is_cold;
}

/* False if the terminals' temperature at that time is not known. */
static bool find_cold(const struct junction *junction, const struct config_channel *channel, int64_t t_ms,
                      int64_t *cold_mc) {
    const struct terminal *terminal;

    if (channel->cold_junction == CONFIG_NO_CHANNEL) {
        *cold_mc = channel->cold_fixed_mc;
        return true;
    }
    terminal = &junction->terminals[channel->cold_junction];
    *cold_mc = terminal->value_mc;
    return terminal->good &&
           t_ms - terminal->t_ms <=
               JUNCTION_LATE_INTERVALS * junction->config->channels[channel->cold_junction].interval_ms;
}

/* Why there is no temperature: the sum is below or above everything that the functions know. */
static enum quality side_of(enum thermocouple_type type, int64_t emf_nv, int64_t cold_nv) {
    int64_t low_mc, high_mc, low_nv;

    thermocouple_inverse_range(type, &low_mc, &high_mc);
    return thermocouple_emf(type, low_mc, &low_nv) && emf_nv + cold_nv < low_nv ? QUALITY_UNDER_RANGE
                                                                                : QUALITY_OVER_RANGE;
}

void junction_compensate(const struct junction *junction, size_t channel, struct reading *reading,
                         struct voltage *voltage) {
    const struct config_channel *about = &junction->config->channels[channel];
    const enum thermocouple_type type = junction->types[channel];
    int64_t cold_mc, cold_nv, value_mc;

    *voltage = (struct voltage){.state = VOLTAGE_NONE};
    if (about->fitting.unit != CHANNEL_MILLIVOLT || reading->quality != QUALITY_GOOD)
        return;
    *voltage = (struct voltage){.state = VOLTAGE_ALONE, .emf_nv = (int32_t)reading->value};
    reading->value = 0;
    if (!find_cold(junction, about, reading->t_ms, &cold_mc) || !thermocouple_emf(type, cold_mc, &cold_nv)) {
        reading->quality = QUALITY_NO_JUNCTION;
        return;
    }
    voltage->state = VOLTAGE_AND_COLD;
    voltage->cold_mc = (int32_t)cold_mc;
    if (!thermocouple_temperature(type, voltage->emf_nv + cold_nv, &value_mc))
        reading->quality = side_of(type, voltage->emf_nv, cold_nv);
    else if (value_mc < about->fitting.low)
        reading->quality = QUALITY_UNDER_RANGE;
    else if (value_mc > about->fitting.high)
        reading->quality = QUALITY_OVER_RANGE;
    else
        reading->value = value_mc;
}

void junction_note(struct junction *junction, size_t channel, const struct reading *reading) {
    struct terminal *terminal = &junction->terminals[channel];

    if (!terminal->is_cold)
        return;
    terminal->good = reading->quality == QUALITY_GOOD;
    terminal->t_ms = reading->t_ms;
    terminal->value_mc = reading->value;
}
