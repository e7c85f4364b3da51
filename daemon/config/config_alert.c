// SPDX-License-Identifier: MIT
/* Reads [alert]: whom to tell, and how patiently. */
#include <stdlib.h>
#include <string.h>

#include "parts.h"

#define ESCALATE_LEAST_MS CONFIG_MINUTE_MS
#define ESCALATE_MOST_MS  CONFIG_DAY_MS
#define LIMIT_LEAST_MS    CONFIG_SECOND_MS
#define LIMIT_MOST_MS     (10 * CONFIG_MINUTE_MS)

/* Our own choice: long enough to walk to the oven, and for a message to leave by a slow network. */
#define ESCALATE_DEFAULT_MS (15 * CONFIG_MINUTE_MS)
#define LIMIT_DEFAULT_MS    (10 * CONFIG_SECOND_MS)

void config_default_alert(struct config *config) {
    config->alert.escalate_after_ms = ESCALATE_DEFAULT_MS;
    config->alert.time_limit_ms = LIMIT_DEFAULT_MS;
}

/* No shell reads the line, so what would mean something to a shell is more likely a mistake than a wish. */
static int read_command(struct config_whole *whole, struct keyfile_section *section) {
    const char *value = keyfile_take(section, "command", NULL);
    size_t count = 0;
    char *rest;

    if (value == NULL)
        return 0;
    if (value[0] != '/')
        return keyfile_refuse(section, "command", whole->fault,
                              "'%s': expected a path from the root, such as /usr/local/bin/tell-me", value);
    if (strpbrk(value, "\"'`$\\") != NULL)
        return keyfile_refuse(section, "command", whole->fault,
                              "quotes, '$' and '\\' mean nothing here: expected a path and words with spaces "
                              "between, without a shell");
    whole->command_text = strdup(value);
    if (whole->command_text == NULL)
        return fault_set(whole->fault, EX_OSERR, "out of memory");
    for (char *word = strtok_r(whole->command_text, " \t", &rest); word != NULL;
         word = strtok_r(NULL, " \t", &rest)) {
        if (count == CONFIG_COMMAND_WORDS_MOST)
            return keyfile_refuse(section, "command", whole->fault, "too many words: expected at most %d",
                                  CONFIG_COMMAND_WORDS_MOST);
        whole->command_words[count++] = word;
    }
    whole->config.alert.command = (const char *const *)whole->command_words;
    return 0;
}

int config_read_alert(struct config_whole *whole, struct keyfile_section *section) {
    struct config_alert *alert = &whole->config.alert;

    if (config_take_duration(whole, section, "escalate_after", ESCALATE_LEAST_MS, ESCALATE_MOST_MS,
                             &alert->escalate_after_ms) < 0 ||
        config_take_duration(whole, section, "time_limit", LIMIT_LEAST_MS, LIMIT_MOST_MS, &alert->time_limit_ms) <
            0)
        return -1;
    return read_command(whole, section);
}
