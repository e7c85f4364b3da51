// SPDX-License-Identifier: MIT
/* What the files of config share: the config while it is being read. */
#ifndef CONFIG_PARTS_H
#define CONFIG_PARTS_H

#include "soakledger/config.h"
#include "soakledger/keyfile.h"

enum { CONFIG_LINES_MOST = 32, CONFIG_COMMAND_WORDS_MOST = 16 };

#define CONFIG_SECOND_MS INT64_C(1000)
#define CONFIG_MINUTE_MS (60 * CONFIG_SECOND_MS)
#define CONFIG_HOUR_MS   (60 * CONFIG_MINUTE_MS)
#define CONFIG_DAY_MS    (24 * CONFIG_HOUR_MS)

/* One bit for each wire, for keys that only some of them have. */
enum {
    CONFIG_OF_RTU = 1 << WIRE_MODBUS_RTU,
    CONFIG_OF_ASCII = 1 << WIRE_MODBUS_ASCII,
    CONFIG_OF_POLLED = 1 << WIRE_POLLED_TEXT,
    CONFIG_OF_FREE = 1 << WIRE_FREE_TEXT,
    CONFIG_OF_MODBUS = CONFIG_OF_RTU | CONFIG_OF_ASCII,
    CONFIG_OF_TEXT = CONFIG_OF_POLLED | CONFIG_OF_FREE,
    CONFIG_OF_ASKING = CONFIG_OF_MODBUS | CONFIG_OF_POLLED,
};
struct config_key {
    const char *word;
    int wires;
};

struct config_whole {
    struct config config; // first: a config's address is its whole's
    struct keyfile *file;
    char *resolved[CONFIG_LINES_MOST]; // each line's device without symbolic links; NULL if it is not there
    char *command_text;                // of [alert], cut into ...
    char *command_words[CONFIG_COMMAND_WORDS_MOST + 1];
    struct fault *fault; // while reading
    // Of each instrument, for its channels:
    struct config_text {
        const char *query; // "" if none
        char separator;
        bool vouched; // that its queries only read
    } * texts;
    // Of each channel that names another as its cold junction, until all are known:
    struct config_cold {
        struct keyfile_section *section; // NULL: it names none
        const char *name;
    } * colds;
};

/* Refuses a key that instruments of this wire do not have. */
int config_refuse_others(struct config_whole *whole, struct keyfile_section *section, enum wire_kind wire,
                         const struct config_key *keys, size_t count);

/* Calls `add` with each element of a list with commas between, without blanks around it; -1 if one of these did. */
int config_take_list(struct config_whole *whole, struct keyfile_section *section, const char *key,
                     int (*add)(struct config_whole *whole, struct keyfile_section *section, const char *key,
                                const char *element, void *context),
                     void *context);

/* Refuses a query that is malformed, or that nobody vouched for and that is not plainly a question. */
int config_check_query(struct config_whole *whole, struct keyfile_section *section, const char *query,
                       bool vouched);

/* Reads a section [instrument NAME]; the lines have been read. */
int config_read_instrument(struct config_whole *whole, struct keyfile_section *section);

/* Where in a text the channel's value is found; its instrument is known. */
int config_read_text_place(struct config_whole *whole, struct keyfile_section *section,
                           struct config_channel *channel);

/* Sets `index` to the element of `array` whose first member, a string, is the value of `key`. The element's kind is
 * named as the key is. */
int config_take_reference(struct config_whole *whole, struct keyfile_section *section, const char *key,
                          const void *array, size_t count, size_t size, size_t *index);

/* As keyfile_take_duration, within [least, most]. */
int config_take_duration(struct config_whole *whole, struct keyfile_section *section, const char *key,
                         int64_t least_ms, int64_t most_ms, int64_t *ms);

/* Reads the section [alert]; what holds without one. */
int config_read_alert(struct config_whole *whole, struct keyfile_section *section);
void config_default_alert(struct config *config);

/* Reads a section [channel OVEN.NAME]; everything it refers to has been read. */
int config_read_channel(struct config_whole *whole, struct keyfile_section *section);

/* Reads a section [sensor IDENTITY]. */
int config_read_sensor(struct config_whole *whole, struct keyfile_section *section);

/* What a channel of millivolts needs: a type, and the temperature of its terminals. Sensor and unit are known. */
int config_read_cold_junction(struct config_whole *whole, struct keyfile_section *section,
                              struct config_channel *channel);
/* Looks up the channels that were named as cold junctions. */
int config_check_cold_junctions(struct config_whole *whole);

/* What the channels demand of each other and an oven of its channels. */
int config_check_channels(struct config_whole *whole);

#endif
