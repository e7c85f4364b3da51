// SPDX-License-Identifier: MIT
/* Reads [instrument NAME]: who is on which line, and how it speaks. */
#include <string.h>

#include "parts.h"

enum { ADDRESS_MOST = 247, RETRIES_DEFAULT = 1, RETRIES_MOST = 3 }; // addresses: MODBUS over serial line V1.02, 2.2
enum { MISSING_AFTER_DEFAULT = 3, MISSING_AFTER_MOST = 1000, RTU_DATA_BITS = 8 };

#define REPLY_WITHIN_DEFAULT_MS INT64_C(300)
#define REPLY_WITHIN_MOST_MS    (10 * CONFIG_SECOND_MS)
#define TURNAROUND_MOST_MS      CONFIG_SECOND_MS

static const struct config_key keys[] = {
    {"reply_within", CONFIG_OF_ASKING}, {"retries", CONFIG_OF_ASKING},     {"turnaround", CONFIG_OF_ASKING},
    {"query", CONFIG_OF_POLLED},        {"query_end", CONFIG_OF_POLLED},   {"query_is_read_only", CONFIG_OF_POLLED},
    {"text_end", CONFIG_OF_TEXT},       {"check", CONFIG_OF_TEXT},         {"separator", CONFIG_OF_TEXT},
    {"fields", CONFIG_OF_TEXT},         {"open_words", CONFIG_OF_TEXT},    {"over_words", CONFIG_OF_TEXT},
    {"under_words", CONFIG_OF_TEXT},    {"missing_after", CONFIG_OF_FREE},
};

int config_check_query(struct config_whole *whole, struct keyfile_section *section, const char *query,
                       bool vouched) {
    const char *expected = text_refuse_query(query);

    if (expected != NULL)
        return keyfile_refuse(section, "query", whole->fault, "'%s': expected %s", query, expected);
    if (!vouched && (query[strlen(query) - 1] != '?' || strpbrk(query, ";\\") != NULL))
        return keyfile_refuse(section, "query", whole->fault,
                              "'%s' might set something: expected one question that ends in '?', or "
                              "query_is_read_only = yes by whoever knows that it only reads",
                              query);
    return 0;
}

/* A word of a list of ends; "none" is only for queries. */
static int read_end(struct config_whole *whole, struct keyfile_section *section, const char *key, bool may_be_none,
                    char end[WIRE_END_BYTES]) {
    static const char *const words[] = {"CR LF", "CR", "LF", "LF CR", "ETX", "none", NULL};
    static const char *const without_none[] = {"CR LF", "CR", "LF", "LF CR", "ETX", NULL};
    static const char *const ends[] = {"\r\n", "\r", "\n", "\n\r", "\x03", ""};
    int word = 0;

    if (keyfile_take_word(section, key, may_be_none ? words : without_none, &word, whole->fault) < 0)
        return -1;
    strcpy(end, ends[word]);
    return 0;
}

struct word_list {
    struct wire_setting *setting;
    enum quality quality;
};

static int add_word(struct config_whole *whole, struct keyfile_section *section, const char *key,
                    const char *element, void *context) {
    const struct word_list *list = context;
    struct wire_setting *setting = list->setting;
    const struct text_piece piece = {element, strlen(element)};
    struct channel_decimal decimal;

    if (setting->word_count == WIRE_WORDS)
        return keyfile_refuse(section, key, whole->fault, "too many: expected up to %d words in all", WIRE_WORDS);
    if (piece.length == 0 || piece.length >= WIRE_WORD_BYTES)
        return keyfile_refuse(section, key, whole->fault, "'%s': expected words of 1 to %d bytes", element,
                              WIRE_WORD_BYTES - 1);
    if (text_read_number(piece, &decimal) != TEXT_NONE)
        return keyfile_refuse(
            section, key, whole->fault,
            "'%s' is a number: expected words; numbers go to the channels' open_value, over_value "
            "and under_value",
            element);
    for (size_t i = 0; i < setting->word_count; i++)
        if (strcmp(setting->words[i].word, element) == 0)
            return keyfile_refuse(section, key, whole->fault, "'%s' is given already: expected each word once",
                                  element);
    memcpy(setting->words[setting->word_count].word, element, piece.length + 1);
    setting->words[setting->word_count++].quality = list->quality;
    return 0;
}

static int read_words(struct config_whole *whole, struct keyfile_section *section, struct wire_setting *setting) {
    static const struct {
        const char *key;
        enum quality quality;
    } lists[] = {
        {"open_words", QUALITY_OPEN_SENSOR},
        {"over_words", QUALITY_OVER_RANGE},
        {"under_words", QUALITY_UNDER_RANGE},
    };

    for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++) {
        struct word_list list = {setting, lists[i].quality};

        if (config_take_list(whole, section, lists[i].key, add_word, &list) != 0)
            return -1;
    }
    return 0;
}

static int read_query(struct config_whole *whole, struct keyfile_section *section, struct config_text *text) {
    static const char *const yes_no[] = {"no", "yes", NULL};
    const char *query = keyfile_take(section, "query", NULL);
    int vouched = 0;

    if (keyfile_take_word(section, "query_is_read_only", yes_no, &vouched, whole->fault) < 0)
        return -1;
    text->vouched = vouched != 0;
    text->query = query != NULL ? query : "";
    return query == NULL ? 0 : config_check_query(whole, section, query, text->vouched);
}

static int read_text(struct config_whole *whole, struct keyfile_section *section,
                     struct config_instrument *instrument, struct config_text *text) {
    static const char *const checks[] = {"none", "sum", "xor", "lrc", "crc16", NULL}; // as enum text_check
    static const char *const separators[] = {"comma", "semicolon", "colon", "slash", "space", "tab", NULL};
    static const char separator_bytes[] = ",;:/ \t";
    struct wire_setting *setting = &instrument->setting;
    int check = TEXT_CHECK_NONE, separator = 0;
    int64_t fields = 0, missing_after = MISSING_AFTER_DEFAULT;

    if (read_end(whole, section, "query_end", true, setting->query_end) != 0 ||
        read_end(whole, section, "text_end", false, setting->text_end) != 0 ||
        read_query(whole, section, text) != 0 ||
        keyfile_take_word(section, "check", checks, &check, whole->fault) < 0 ||
        keyfile_take_word(section, "separator", separators, &separator, whole->fault) < 0 ||
        keyfile_take_integer(section, "fields", 1, CHANNEL_FIELDS_MOST, &fields, whole->fault) < 0 ||
        keyfile_take_integer(section, "missing_after", 1, MISSING_AFTER_MOST, &missing_after, whole->fault) < 0 ||
        read_words(whole, section, setting) != 0)
        return -1;
    setting->check = (enum text_check)check;
    setting->fields = (unsigned)fields;
    instrument->missing_after = (int)missing_after;
    text->separator = separator_bytes[separator];
    return 0;
}

static int read_wire(struct config_whole *whole, struct keyfile_section *section,
                     struct config_instrument *instrument) {
    const char *words[WIRE_KIND_COUNT + 1] = {NULL};
    const struct config_line *line = &whole->config.lines[instrument->line];
    int kind = WIRE_MODBUS_RTU;

    for (int i = 0; i < WIRE_KIND_COUNT; i++)
        words[i] = channel_wire_name((enum wire_kind)i);
    if (keyfile_take_word(section, "wire", words, &kind, whole->fault) < 0)
        return -1;
    instrument->setting.kind = (enum wire_kind)kind;
    if (kind == WIRE_MODBUS_RTU && line->data_bits != RTU_DATA_BITS)
        return keyfile_refuse(
            section, "wire", whole->fault,
            "modbus-rtu on line '%s', which has data_bits = %d: expected data_bits = %d there, or "
            "another wire",
            line->name, line->data_bits, RTU_DATA_BITS);
    return config_refuse_others(whole, section, instrument->setting.kind, keys, sizeof keys / sizeof keys[0]);
}

/* On one line everybody hears everybody. An RTU frame's bytes may be anything, so that a text instrument takes some
 * for its own; and what prints by itself talks into every answer. */
static int check_company(struct config_whole *whole, struct keyfile_section *section,
                         const struct config_instrument *instrument) {
    const struct config *config = &whole->config;

    for (size_t i = 0; i < config->instrument_count; i++) {
        const struct config_instrument *other = &config->instruments[i];
        const enum wire_kind a = instrument->setting.kind, b = other->setting.kind;

        if (other->line != instrument->line)
            continue;
        if (a == WIRE_FREE_TEXT || b == WIRE_FREE_TEXT)
            return keyfile_refuse(section, "line", whole->fault,
                                  "shared with instrument '%s': expected an instrument of wire free-text alone on "
                                  "its line",
                                  other->name);
        if ((a == WIRE_MODBUS_RTU) != (b == WIRE_MODBUS_RTU))
            return keyfile_refuse(
                section, "line", whole->fault,
                "shared with instrument '%s': expected modbus-rtu only with modbus-rtu on one line", other->name);
        if (instrument->address > 0 && other->address == instrument->address)
            return keyfile_refuse(section, "address", whole->fault,
                                  "the address of instrument '%s' on the same line: expected another", other->name);
    }
    return 0;
}

static int read_address(struct config_whole *whole, struct keyfile_section *section,
                        struct config_instrument *instrument) {
    int64_t address = 0;
    const int taken = keyfile_take_integer(section, "address", 1, ADDRESS_MOST, &address, whole->fault);

    if (taken < 0 || (CONFIG_OF_MODBUS & 1 << instrument->setting.kind &&
                      keyfile_require(section, "address", taken, "1", whole->fault) != 0))
        return -1;
    instrument->address = instrument->setting.address = (int)address;
    return 0;
}

int config_read_instrument(struct config_whole *whole, struct keyfile_section *section) {
    struct config *config = &whole->config;
    struct config_instrument *instrument = &config->instruments[config->instrument_count];
    struct config_text *text = &whole->texts[config->instrument_count];
    int64_t retries = RETRIES_DEFAULT;
    const int taken = config_take_reference(whole, section, "line", config->lines, config->line_count,
                                            sizeof *config->lines, &instrument->line);

    instrument->name = keyfile_section_name(section);
    instrument->reply_within_ms = REPLY_WITHIN_DEFAULT_MS;
    if (keyfile_require(section, "line", taken, "bench", whole->fault) != 0 ||
        read_wire(whole, section, instrument) != 0 || read_address(whole, section, instrument) != 0 ||
        check_company(whole, section, instrument) != 0 || read_text(whole, section, instrument, text) != 0 ||
        config_take_duration(whole, section, "reply_within", 1, REPLY_WITHIN_MOST_MS,
                             &instrument->reply_within_ms) < 0 ||
        config_take_duration(whole, section, "turnaround", 0, TURNAROUND_MOST_MS, &instrument->turnaround_ms) < 0 ||
        keyfile_take_difference(section, "accuracy", &instrument->accuracy_mc, whole->fault) < 0 ||
        keyfile_take_integer(section, "retries", 0, RETRIES_MOST, &retries, whole->fault) < 0)
        return -1;
    instrument->retries = (int)retries;
    config->instrument_count++;
    return 0;
}
