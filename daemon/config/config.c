// SPDX-License-Identifier: MIT
/* Reads a configuration: kind by kind, in the order in which one refers to another, so that every reference can be
 * looked up at once. */
#include "soakledger/config.h"

#include <stdlib.h>
#include <string.h>

#include "parts.h"
#include "soakledger/quantity.h"

enum { MINUTES_PER_HOUR = 60, LIST_BYTES = 128 };

/* Defaults of an oven: common practice in small ovens, no source. */
#define BEGINS_ON_RISE_DEFAULT_MC  INT64_C(15000)
#define RISE_WITHIN_DEFAULT_MS     (10 * CONFIG_MINUTE_MS)
#define ENDS_AFTER_DEFAULT_MS      (20 * CONFIG_MINUTE_MS)
#define ENDS_BELOW_DEFAULT_MC      INT64_C(60000)
#define SILENT_AFTER_DEFAULT_MS    CONFIG_HOUR_MS
#define LEAD_DEFAULT_MS            (10 * CONFIG_MINUTE_MS)
#define THIN_AFTER_LEAST_MS        (30 * CONFIG_DAY_MS) // our own choice: nobody looks for last week in vain
#define THIN_TO_DEFAULT_MS         (10 * CONFIG_MINUTE_MS)
#define LEAD_MOST_MS               (2 * CONFIG_HOUR_MS) // it is held in memory
#define IDLE_INTERVAL_DEFAULT_MS   CONFIG_MINUTE_MS
#define HEATS_AT_MOST_DEFAULT_MC_H INT64_C(36000000) // 600 °C a minute: generous, so that no true rise is doubted

static const char default_paper[] = "A4";

int config_take_reference(struct config_whole *whole, struct keyfile_section *section, const char *key,
                          const void *array, size_t count, size_t size, size_t *index) {
    const char *name = keyfile_take(section, key, NULL);
    const char *element = array;

    if (name == NULL)
        return 0;
    for (size_t i = 0; i < count; i++, element += size) {
        if (strcmp(*(const char *const *)(const void *)element, name) != 0)
            continue;
        *index = i;
        return 1;
    }
    return keyfile_refuse(section, key, whole->fault, "'%s' is not described: expected a section [%s %s]", name,
                          key, name);
}

int config_take_duration(struct config_whole *whole, struct keyfile_section *section, const char *key,
                         int64_t least_ms, int64_t most_ms, int64_t *ms) {
    char least[QUANTITY_TEXT_BYTES], most[QUANTITY_TEXT_BYTES];
    int64_t value;
    const int taken = keyfile_take_duration(section, key, &value, whole->fault);

    if (taken <= 0)
        return taken;
    if (value < least_ms || value > most_ms)
        return keyfile_refuse(section, key, whole->fault, "out of range: expected %s to %s",
                              quantity_format_duration(least_ms, least), quantity_format_duration(most_ms, most));
    *ms = value;
    return 1;
}

int config_refuse_others(struct config_whole *whole, struct keyfile_section *section, enum wire_kind wire,
                         const struct config_key *keys, size_t count) {
    for (size_t i = 0; i < count; i++)
        if (!(keys[i].wires & 1 << wire) && keyfile_take(section, keys[i].word, NULL) != NULL)
            return keyfile_refuse(section, keys[i].word, whole->fault,
                                  "there is none with wire %s: expected no such line", channel_wire_name(wire));
    return 0;
}

int config_take_list(struct config_whole *whole, struct keyfile_section *section, const char *key,
                     int (*add)(struct config_whole *whole, struct keyfile_section *section, const char *key,
                                const char *element, void *context),
                     void *context) {
    const char *list = keyfile_take(section, key, NULL);
    char copy[LIST_BYTES], *rest = copy;

    if (list == NULL)
        return 0;
    if (strlen(list) >= sizeof copy)
        return keyfile_refuse(section, key, whole->fault, "list too long: expected up to %d bytes", LIST_BYTES - 1);
    memcpy(copy, list, strlen(list) + 1);
    while (rest != NULL) {
        char *element = strsep(&rest, ",");

        element += strspn(element, " \t");
        for (size_t end = strlen(element); end > 0 && strchr(" \t", element[end - 1]) != NULL; end--)
            element[end - 1] = '\0';
        if (add(whole, section, key, element, context) != 0)
            return -1;
    }
    return 0;
}

/* The two programs and their callers may stand in different folders: a relative path would mean several files. */
static int take_path(struct config_whole *whole, struct keyfile_section *section, const char *key,
                     const char *example, const char **path) {
    const char *value = keyfile_take(section, key, NULL);

    if (value == NULL)
        return keyfile_require(section, key, 0, example, whole->fault);
    if (value[0] != '/')
        return keyfile_refuse(section, key, whole->fault, "'%s': expected a path from the root, such as %s", value,
                              example);
    *path = value;
    return 0;
}

static const char *text_or_empty(struct keyfile_section *section, const char *key) {
    const char *value = keyfile_take(section, key, NULL);

    return value != NULL ? value : "";
}

static int read_ledger(struct config_whole *whole, struct keyfile_section *section) {
    struct config *config = &whole->config;
    const int after =
        config_take_duration(whole, section, "thin_after", THIN_AFTER_LEAST_MS, INT64_MAX, &config->thin_after_ms);
    const int to =
        config_take_duration(whole, section, "thin_to", CONFIG_MINUTE_MS, CONFIG_HOUR_MS, &config->thin_to_ms);

    if (after < 0 || to < 0)
        return -1;
    if (config->thin_after_ms == 0 && config->thin_to_ms != 0)
        return keyfile_refuse(section, "thin_to", whole->fault,
                              "expected thin_after beside it: how old readings must be");
    if (config->thin_after_ms != 0 && config->thin_to_ms == 0)
        config->thin_to_ms = THIN_TO_DEFAULT_MS;
    return take_path(whole, section, "path", "/var/lib/soakledger/shop.ledger", &whole->config.ledger_path);
}

static int read_clock(struct config_whole *whole, struct keyfile_section *section) {
    return take_path(whole, section, "page", "/run/soakledger/clock", &whole->config.clock_page);
}

/* "+01:00": minutes east of UTC. Offsets in use lie between -12:00 and +14:00. */
static int read_utc_offset(struct config_whole *whole, struct keyfile_section *section) {
    const int west_most = -12 * MINUTES_PER_HOUR, east_most = 14 * MINUTES_PER_HOUR, base = 10;
    const char *text = keyfile_take(section, "utc_offset", NULL);
    static const char form[] = "+dd:dd";
    int digits[sizeof form] = {0}, count = 0, minutes;
    bool wrong;

    if (text == NULL)
        return 0;
    wrong = strlen(text) != sizeof form - 1 || (text[0] != '+' && text[0] != '-');
    for (size_t i = 1; !wrong && form[i] != '\0'; i++) {
        wrong = form[i] == 'd' ? text[i] < '0' || text[i] > '9' : text[i] != form[i];
        if (form[i] == 'd')
            digits[count++] = text[i] - '0';
    }
    minutes = digits[2] * base + digits[3];
    wrong |= minutes >= MINUTES_PER_HOUR;
    minutes += (digits[0] * base + digits[1]) * MINUTES_PER_HOUR;
    minutes = text[0] == '-' ? -minutes : minutes;
    if (wrong || minutes < west_most || minutes > east_most)
        return keyfile_refuse(section, "utc_offset", whole->fault,
                              "'%s': expected hours and minutes east of UTC, from -12:00 to +14:00, such as +01:00",
                              text);
    whole->config.utc_offset_min = minutes;
    return 0;
}

static int read_shop(struct config_whole *whole, struct keyfile_section *section) {
    static const char *const units[] = {"C", "F", NULL}; // as enum temperature_unit
    static const char *const papers[] = {default_paper, "Letter", NULL};
    int unit = UNIT_CELSIUS, paper = 0;

    whole->config.shop_name = text_or_empty(section, "name");
    whole->config.shop_address = text_or_empty(section, "address");
    if (keyfile_take(section, "key", NULL) != NULL &&
        take_path(whole, section, "key", "/var/lib/soakledger/shop.key", &whole->config.key_path) != 0)
        return -1;
    if (keyfile_take_word(section, "units", units, &unit, whole->fault) < 0 ||
        keyfile_take_word(section, "paper", papers, &paper, whole->fault) < 0)
        return -1;
    whole->config.unit = (enum temperature_unit)unit;
    whole->config.paper = papers[paper];
    return read_utc_offset(whole, section);
}

static int read_speed(struct config_whole *whole, struct keyfile_section *section, int *speed_baud) {
    static const char *const words[] = {"1200",  "2400",  "4800",   "9600",   "14400",  "19200", "28800",
                                        "38400", "57600", "115200", "230400", "460800", NULL};
    int64_t speed;
    int index;
    const int taken = keyfile_take_word(section, "speed", words, &index, whole->fault);

    if (taken <= 0)
        return taken;
    if (quantity_parse_integer(words[index], 1, INT32_MAX, &speed, whole->fault) != 0)
        return -1;
    *speed_baud = (int)speed;
    return 0;
}

static int check_device(struct config_whole *whole, struct keyfile_section *section, size_t index) {
    const struct config_line *lines = whole->config.lines;
    const char *resolved = whole->resolved[index];

    for (size_t i = 0; i < index; i++)
        if (strcmp(lines[i].device, lines[index].device) == 0 ||
            (resolved != NULL && whole->resolved[i] != NULL && strcmp(whole->resolved[i], resolved) == 0))
            return keyfile_refuse(section, "device", whole->fault,
                                  "the device of line '%s' already: expected one line for each device",
                                  lines[i].name);
    return 0;
}

/* 19,200 baud, even parity and one stop bit, two without parity: MODBUS over serial line V1.02, 2.5.1. */
static int read_line_settings(struct config_whole *whole, struct keyfile_section *section,
                              struct config_line *line) {
    static const char *const parities[] = {"none", "even", "odd", NULL}; // as enum parity
    const int default_baud = 19200, most_stop_bits = 2, least_data_bits = 7, most_data_bits = 8;
    int parity = PARITY_EVEN;
    int64_t stop_bits, data_bits = most_data_bits;

    line->speed_baud = default_baud;
    if (read_speed(whole, section, &line->speed_baud) != 0 ||
        keyfile_take_word(section, "parity", parities, &parity, whole->fault) < 0)
        return -1;
    line->parity = (enum parity)parity;
    stop_bits = line->parity == PARITY_NONE ? most_stop_bits : 1;
    if (keyfile_take_integer(section, "stop_bits", 1, most_stop_bits, &stop_bits, whole->fault) < 0)
        return -1;
    line->stop_bits = (int)stop_bits;
    if (keyfile_take_integer(section, "data_bits", least_data_bits, most_data_bits, &data_bits, whole->fault) < 0)
        return -1;
    line->data_bits = (int)data_bits;
    return 0;
}

static int read_line(struct config_whole *whole, struct keyfile_section *section) {
    static const char *const kinds[] = {"serial", "pseudo-terminal", NULL}; // as enum line_kind
    static const char pseudo_terminals[] = "/dev/pts/";
    const size_t index = whole->config.line_count;
    struct config_line *line = &whole->config.lines[index];
    const char *resolved;
    int kind = LINE_SERIAL;

    if (index == CONFIG_LINES_MOST)
        return keyfile_fault(whole->file, keyfile_section_line(section), whole->fault,
                             "too many lines: expected at most %d", CONFIG_LINES_MOST);
    line->name = keyfile_section_name(section);
    if (take_path(whole, section, "device", "/dev/ttyUSB0", &line->device) != 0)
        return -1;
    resolved = whole->resolved[index] = realpath(line->device, NULL);
    if (resolved != NULL && strncmp(resolved, pseudo_terminals, strlen(pseudo_terminals)) == 0)
        kind = LINE_PSEUDO_TERMINAL;
    if (keyfile_take_word(section, "kind", kinds, &kind, whole->fault) < 0)
        return -1;
    line->kind = (enum line_kind)kind;
    if (check_device(whole, section, index) != 0 || read_line_settings(whole, section, line) != 0)
        return -1;
    whole->config.line_count++;
    return 0;
}

static int read_oven_times(struct config_whole *whole, struct keyfile_section *section, struct config_oven *oven) {
    const struct {
        const char *key;
        int64_t least_ms, most_ms;
        int64_t *ms;
    } times[] = {
        {"rise_within", CONFIG_SECOND_MS, CONFIG_DAY_MS, &oven->rise_within_ms},
        {"ends_after", CONFIG_SECOND_MS, CONFIG_DAY_MS, &oven->ends_after_ms},
        {"silent_after", CONFIG_SECOND_MS, 7 * CONFIG_DAY_MS, &oven->silent_after_ms},
        {"lead", 0, LEAD_MOST_MS, &oven->lead_ms},
        {"idle_interval", CONFIG_SECOND_MS, CONFIG_HOUR_MS, &oven->idle_interval_ms},
    };

    for (size_t i = 0; i < sizeof times / sizeof *times; i++)
        if (config_take_duration(whole, section, times[i].key, times[i].least_ms, times[i].most_ms, times[i].ms) <
            0)
            return -1;
    return 0;
}

static int read_oven(struct config_whole *whole, struct keyfile_section *section) {
    struct config_oven *oven = &whole->config.ovens[whole->config.oven_count];
    static const char *const kind_words[] = {"hot", "cold", NULL};
    struct fault *fault = whole->fault;
    int kind = 0, taken;

    *oven = (struct config_oven){
        .name = keyfile_section_name(section),
        .begins_on_rise_mc = BEGINS_ON_RISE_DEFAULT_MC,
        .rise_within_ms = RISE_WITHIN_DEFAULT_MS,
        .ends_after_ms = ENDS_AFTER_DEFAULT_MS,
        .ends_below_mc = ENDS_BELOW_DEFAULT_MC,
        .silent_after_ms = SILENT_AFTER_DEFAULT_MS,
        .lead_ms = LEAD_DEFAULT_MS,
        .idle_interval_ms = IDLE_INTERVAL_DEFAULT_MS,
        .heats_at_most_mc_per_h = HEATS_AT_MOST_DEFAULT_MC_H,
    };
    if (strchr(oven->name, '.') != NULL)
        return keyfile_fault(whole->file, keyfile_section_line(section), fault,
                             "oven '%s': expected a name without '.', which stands between oven and channel",
                             oven->name);
    taken = keyfile_take_word(section, "kind", kind_words, &kind, fault);
    if (taken < 0)
        return -1;
    oven->is_cold = kind == 1;
    if (oven->is_cold)
        oven->ends_below_mc = 0; // a cold place is done with when it is above freezing
    if (keyfile_take_difference(section, "begins_on_rise", &oven->begins_on_rise_mc, fault) < 0 ||
        keyfile_take_temperature(section, "ends_below", &oven->ends_below_mc, fault) < 0 ||
        keyfile_take_rate(section, "heats_at_most", &oven->heats_at_most_mc_per_h, fault) < 0 ||
        read_oven_times(whole, section, oven) != 0)
        return -1;
    if (oven->begins_on_rise_mc == 0)
        return keyfile_refuse(section, "begins_on_rise", fault, "no rise at all: expected more than 0 C");
    if (oven->heats_at_most_mc_per_h == 0)
        return keyfile_refuse(section, "heats_at_most", fault,
                              "an oven that cannot heat: expected more than 0 C/h");
    whole->config.oven_count++;
    return 0;
}

/* The kinds of section, in the order in which they are read. */
static const struct kind {
    const char *word;
    bool named;
    bool needed;
    int (*read)(struct config_whole *whole, struct keyfile_section *section);
} kinds[] = {
    {"ledger", false, true, read_ledger},
    {"clock", false, false, read_clock},
    {"shop", false, false, read_shop},
    {"alert", false, false, config_read_alert},
    {"line", true, true, read_line},
    {"instrument", true, true, config_read_instrument},
    {"sensor", true, false, config_read_sensor},
    {"oven", true, true, read_oven},
    {"channel", true, true, config_read_channel},
};
enum { KIND_COUNT = sizeof kinds / sizeof *kinds };

static int check_header(const struct config_whole *whole, const struct keyfile_section *section) {
    const char *word = keyfile_section_kind(section), *name = keyfile_section_name(section);
    const int line = keyfile_section_line(section);
    size_t k = 0;

    while (k < KIND_COUNT && strcmp(kinds[k].word, word) != 0)
        k++;
    if (k == KIND_COUNT)
        return keyfile_fault(
            whole->file, line, whole->fault,
            "unknown section [%s]: expected ledger, clock, shop, alert, line, instrument, sensor, oven or "
            "channel",
            word);
    if (kinds[k].named && name[0] == '\0')
        return keyfile_fault(whole->file, line, whole->fault, "[%s] has no name: expected [%s NAME]", word, word);
    if (!kinds[k].named && name[0] != '\0')
        return keyfile_fault(whole->file, line, whole->fault, "[%s %s]: expected [%s] without a name", word, name,
                             word);
    if (strcmp(word, "channel") != 0 && strlen(name) >= CHANNEL_NAME_BYTES) // a channel's has two parts
        return keyfile_fault(whole->file, line, whole->fault, "name of %zu bytes: expected at most %d",
                             strlen(name), CHANNEL_NAME_BYTES - 1);
    return 0;
}

static int read_kind(struct config_whole *whole, const struct kind *kind) {
    const size_t count = keyfile_count_sections(whole->file);
    bool found = false;

    for (size_t i = 0; i < count; i++) {
        struct keyfile_section *section = keyfile_section(whole->file, i);

        if (strcmp(keyfile_section_kind(section), kind->word) != 0)
            continue;
        found = true;
        if (kind->read(whole, section) != 0)
            return -1;
    }
    if (kind->needed && !found)
        return keyfile_fault(whole->file, 1, whole->fault, "no section [%s%s] in the whole file: expected one",
                             kind->word, kind->named ? " NAME" : "");
    return 0;
}

static int read_whole(struct config_whole *whole) {
    struct config *config = &whole->config;
    const size_t count = keyfile_count_sections(whole->file), room = count + 1; // calloc(0) may be NULL

    config->text = keyfile_text(whole->file, NULL);
    config->shop_name = config->shop_address = "";
    config->paper = default_paper;
    config_default_alert(config);
    config->lines = calloc(room, sizeof *config->lines);
    config->instruments = calloc(room, sizeof *config->instruments);
    whole->texts = calloc(room, sizeof *whole->texts);
    whole->colds = calloc(room, sizeof *whole->colds);
    config->sensors = calloc(room, sizeof *config->sensors);
    config->ovens = calloc(room, sizeof *config->ovens);
    config->channels = calloc(room, sizeof *config->channels);
    if (config->lines == NULL || config->instruments == NULL || whole->texts == NULL || whole->colds == NULL ||
        config->sensors == NULL || config->ovens == NULL || config->channels == NULL)
        return fault_set(whole->fault, EX_OSERR, "out of memory");
    for (size_t i = 0; i < count; i++)
        if (check_header(whole, keyfile_section(whole->file, i)) != 0)
            return -1;
    for (size_t k = 0; k < KIND_COUNT; k++)
        if (read_kind(whole, &kinds[k]) != 0)
            return -1;
    return keyfile_refuse_unknown(whole->file, whole->fault) != 0 ? -1 : config_check_channels(whole);
}

struct config *config_read(const char *path, struct fault *fault) {
    struct config_whole *whole = calloc(1, sizeof *whole);

    if (whole == NULL) {
        fault_set(fault, EX_OSERR, "out of memory");
        return NULL;
    }
    whole->fault = fault;
    whole->file = keyfile_read(path, fault);
    if (whole->file == NULL || read_whole(whole) != 0) {
        config_free(&whole->config);
        return NULL;
    }
    whole->fault = NULL;
    return &whole->config;
}

void config_free(struct config *config) {
    struct config_whole *whole = (struct config_whole *)config;

    if (whole == NULL)
        return;
    for (size_t i = 0; i < CONFIG_LINES_MOST; i++)
        free(whole->resolved[i]);
    free(config->lines);
    free(config->instruments);
    free(whole->texts);
    free(whole->colds);
    free(config->sensors);
    free(config->ovens);
    free(config->channels);
    free(whole->command_text);
    keyfile_free(whole->file);
    free(whole);
}
