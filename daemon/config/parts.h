// SPDX-License-Identifier: MIT
/* What the files of config share: the config while it is being read. */
#ifndef CONFIG_PARTS_H
#define CONFIG_PARTS_H

#include "soakledger/config.h"
#include "soakledger/keyfile.h"

enum { CONFIG_LINES_MOST = 32, CONFIG_COMMAND_WORDS_MOST = 16 };

struct config_whole {
    struct config config; // first: a config's address is its whole's
    struct keyfile *file;
    char *resolved[CONFIG_LINES_MOST]; // each line's device without symbolic links; NULL if it is not there
    char *command_text;                // of [alert], cut into ...
    char *command_words[CONFIG_COMMAND_WORDS_MOST + 1];
    struct fault *fault; // while reading
};

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

/* What the channels demand of each other and an oven of its channels. */
int config_check_channels(struct config_whole *whole);

#endif
