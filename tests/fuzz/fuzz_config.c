// SPDX-License-Identifier: MIT
/* Any bytes as a configuration, through a file in memory: a refusal is one line that names the file; in what is
 * taken every reference leads somewhere and every number is within its range. */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "soakledger/config.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds) {
    if (!holds)
        abort();
}

static void check_channel(const struct config *config, const struct config_channel *channel) {
    const struct channel_fitting *fitting = &channel->fitting;

    demand(channel->oven < config->oven_count && channel->instrument < config->instrument_count);
    demand(channel->sensor == CONFIG_NO_SENSOR || channel->sensor < config->sensor_count);
    demand(channel->interval_ms >= 100 && channel->interval_ms <= 3600000);
    demand(channel->name[0] != '\0' && strlen(channel->name) < CHANNEL_NAME_BYTES);
    demand(fitting->wire == config->instruments[channel->instrument].setting.kind);
    demand(fitting->over_count <= CHANNEL_OPEN_VALUES && fitting->under_count <= CHANNEL_OPEN_VALUES);
    demand(fitting->frozen_after_ms >= 0 && fitting->moves_at_most_mc_per_h >= 0);
    if (fitting->wire == WIRE_MODBUS_RTU || fitting->wire == WIRE_MODBUS_ASCII) {
        demand(fitting->function == 3 || fitting->function == 4);
        demand(fitting->field == 0 && fitting->pattern[0] == '\0' && fitting->query[0] == '\0');
    } else {
        demand((fitting->field > 0) != (fitting->pattern[0] != '\0') && fitting->field <= CHANNEL_FIELDS_MOST);
        demand(fitting->field > 0 || text_refuse_pattern(fitting->pattern) == NULL);
        demand((fitting->wire == WIRE_POLLED_TEXT) == (fitting->query[0] != '\0'));
        demand(fitting->query[0] == '\0' || text_refuse_query(fitting->query) == NULL);
    }
    demand(fitting->first_register + channel_count_registers(fitting->encoding) <= 65536);
    demand(fitting->decimals >= -3 && fitting->decimals <= 6);
    demand(fitting->low < fitting->high && fitting->open_count <= CHANNEL_OPEN_VALUES);
}

static void check_instrument(const struct config *config, const struct config_instrument *instrument) {
    const struct wire_setting *setting = &instrument->setting;
    const int text = setting->kind == WIRE_POLLED_TEXT || setting->kind == WIRE_FREE_TEXT;

    demand(instrument->line < config->line_count);
    demand(instrument->address >= (text ? 0 : 1) && instrument->address <= 247);
    demand(setting->address == instrument->address && setting->word_count <= WIRE_WORDS);
    demand(!text || setting->text_end[0] != '\0');
    demand(setting->kind != WIRE_MODBUS_RTU || config->lines[instrument->line].data_bits == 8);
}

static void check_config(const struct config *config) {
    demand(config->ledger_path[0] == '/');
    demand(config->line_count > 0 && config->instrument_count > 0 && config->oven_count > 0);
    for (size_t i = 0; i < config->instrument_count; i++)
        check_instrument(config, &config->instruments[i]);
    for (size_t i = 0; i < config->channel_count; i++)
        check_channel(config, &config->channels[i]);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    const int descriptor = memfd_create("fuzz", MFD_CLOEXEC);
    struct fault fault = {0, ""};
    struct config *config;
    char path[64];

    if (descriptor < 0)
        return 0;
    snprintf(path, sizeof path, "/proc/self/fd/%d", descriptor);
    if (write(descriptor, data, size) != (ssize_t)size) {
        close(descriptor);
        return 0;
    }
    config = config_read(path, &fault);
    close(descriptor);
    if (config == NULL) {
        demand(fault.status == EX_CONFIG);
        demand(strncmp(fault.text, path, strlen(path)) == 0 && strchr(fault.text, '\n') == NULL);
        return 0;
    }
    check_config(config);
    config_free(config);
    return 0;
}
