// SPDX-License-Identifier: MIT
/* key: makes the key that signs certificates, and hands out what others check them by. */
#include <string.h>

#include "command.h"
#include "soakledger/keep.h"
#include "soakledger/key.h"

static const char USAGE[] = "key make, key public [-o FILE] or key certificate [-o FILE]";

static int command_key_path(struct command *command, struct fault *fault) {
    if (command_configure(command, fault) != 0)
        return -1;
    if (command->config->key_path == NULL)
        return fault_set(fault, EX_CONFIG, "%s: no key is configured: expected 'key = /path' in [shop]",
                         command->config_path);
    return 0;
}

static int command_key_make(struct command *command, struct fault *fault) {
    const struct config *config = command->config;
    const int64_t now_ms = command_now_ms(command, fault);
    struct key *key;

    if (now_ms < 0 || key_make(config->key_path, config->shop_name, now_ms, fault) != 0)
        return -1;
    key = key_read(config->key_path, fault);
    if (key == NULL)
        return -1;
    command_say_path(command, config->key_path, "");
    fprintf(command->out, "  public key   SHA-256 %s\n", key_public_fingerprint(key));
    fprintf(command->out, "  certificate  SHA-256 %s\n", key_certificate_fingerprint(key));
    command_print(
        command->out, 2,
        "  Keep a copy where nobody else comes to it: there is no second one. Give customers the output of "
        "'soakledger key public' and 'soakledger key certificate'.");
    key_free(key);
    return 0;
}

static int command_key_hand_out(struct command *command, const char *text, const char *path, struct fault *fault) {
    struct keep *keep;

    if (path == NULL) {
        fputs(text, command->out);
        return 0;
    }
    keep = keep_write(command_far(command), path, text, strlen(text), fault);
    if (keep == NULL || keep_rename(keep, fault) != 0)
        return -1;
    command_say_path(command, path, "");
    return 0;
}

int command_key(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *word = NULL, *path = NULL, *long_path = NULL;
    const struct command_option options[] = {{"-o", &path}, {"--output", &long_path}};
    struct key *key;
    int result;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &word, 1, 1, USAGE, fault) < 0)
        return -1;
    if (strcmp(word, "make") != 0 && strcmp(word, "public") != 0 && strcmp(word, "certificate") != 0)
        return fault_set(fault, EX_USAGE, "unknown word '%s' after key: expected '%s'", word, USAGE);
    path = path != NULL ? path : long_path;
    if (strcmp(word, "make") == 0 && path != NULL)
        return fault_set(fault, EX_USAGE, "the key's file is named by 'key' in [shop]: expected 'key make' alone");
    if (command_key_path(command, fault) != 0)
        return -1;
    if (strcmp(word, "make") == 0)
        return command_key_make(command, fault);
    key = key_read(command->config->key_path, fault);
    if (key == NULL)
        return -1;
    result = command_key_hand_out(command, strcmp(word, "public") == 0 ? key_public(key) : key_certificate(key),
                                  path, fault);
    key_free(key);
    return result;
}
