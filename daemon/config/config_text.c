// SPDX-License-Identifier: MIT
/* Where in a text a channel's value is found. */
#include <string.h>

#include "parts.h"

static int check_address(struct config_whole *whole, struct keyfile_section *section, const char *key,
                         const char *written, const struct config_instrument *instrument) {
    if (instrument->address == 0 && text_names_address(written))
        return keyfile_refuse(section, key, whole->fault,
                              "{address} of instrument '%s', which has none: expected an address there",
                              instrument->name);
    return 0;
}

static size_t count_on_line(const struct config *config, size_t line) {
    size_t count = 0;

    for (size_t i = 0; i < config->instrument_count; i++)
        count += config->instruments[i].line == line;
    return count;
}

static int read_query(struct config_whole *whole, struct keyfile_section *section,
                      const struct config_channel *channel, struct channel_fitting *fitting) {
    const struct config *config = &whole->config;
    const struct config_instrument *instrument = &config->instruments[channel->instrument];
    const struct config_text *text = &whole->texts[channel->instrument];
    const char *query = keyfile_take(section, "query", NULL);

    if (query != NULL && config_check_query(whole, section, query, text->vouched) != 0)
        return -1;
    if (query == NULL)
        query = text->query;
    if (keyfile_require(section, "query", query[0] != '\0', "MEAS:TEMP?, here or in its instrument",
                        whole->fault) != 0 ||
        check_address(whole, section, "query", query, instrument) != 0)
        return -1;
    if (!text_names_address(query) && count_on_line(config, instrument->line) > 1)
        return keyfile_refuse(
            section, "query", whole->fault,
            "'%s' is for everybody on line '%s': expected {address} in it, or its instrument alone "
            "there",
            query, config->lines[instrument->line].name);
    memcpy(fitting->query, query, strlen(query) + 1); // no longer than text_refuse_query lets it be
    return 0;
}

int config_read_text_place(struct config_whole *whole, struct keyfile_section *section,
                           struct config_channel *channel) {
    struct channel_fitting *fitting = &channel->fitting;
    const struct config_instrument *instrument = &whole->config.instruments[channel->instrument];
    const int64_t fields = instrument->setting.fields > 0 ? instrument->setting.fields : CHANNEL_FIELDS_MOST;
    const char *pattern = keyfile_take(section, "pattern", NULL), *expected;
    int64_t field = 0;
    const int taken = keyfile_take_integer(section, "field", 1, fields, &field, whole->fault);

    if (taken < 0 || (fitting->wire == WIRE_POLLED_TEXT && read_query(whole, section, channel, fitting) != 0))
        return -1;
    fitting->field = (unsigned)field;
    fitting->separator = whole->texts[channel->instrument].separator;
    if (pattern == NULL)
        return keyfile_require(section, "field", taken, "1 (or a pattern)", whole->fault);
    if (taken > 0)
        return keyfile_refuse(section, "pattern", whole->fault, "beside a field: expected one of them");
    expected = text_refuse_pattern(pattern);
    if (expected != NULL)
        return keyfile_refuse(section, "pattern", whole->fault, "'%s': expected %s", pattern, expected);
    memcpy(fitting->pattern, pattern, strlen(pattern) + 1);
    return check_address(whole, section, "pattern", pattern, instrument);
}
