// SPDX-License-Identifier: MIT
/* The pieces of a row of readings, both ways. */
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "attach_parts.h"

enum { MS_PER_S = 1000, YEAR_ZERO = 1900, SECOND_BYTES = 19 }; // "2026-11-16T07:00:00"

/* RFC 4180: a field with a comma, a quote or a line end stands in quotes, its own quotes doubled. */
static size_t attach_quote(const char *name, char *out) {
    const bool quoted = strpbrk(name, ",\"\r\n") != NULL;
    size_t at = 0;

    out[at++] = ',';
    if (quoted)
        out[at++] = '"';
    for (; *name != '\0' && at + 5 < ATTACH_CHANNEL_BYTES; name++) { // room for this letter twice and the end
        if (*name == '"')
            out[at++] = '"';
        out[at++] = *name;
    }
    if (quoted)
        out[at++] = '"';
    out[at++] = ',';
    return at;
}

struct attach_channel *attach_name_channels(const struct ledger_channel *channels, size_t count) {
    struct attach_channel *named = calloc(count + 1, sizeof *named);
    char text[ATTACH_CHANNEL_BYTES];

    for (size_t i = 0; named != NULL && i < count; i++) {
        named[i].length = attach_quote(channels[i].name, text);
        named[i].text = malloc(named[i].length);
        if (named[i].text == NULL) {
            attach_free_channels(named, count);
            return NULL;
        }
        memcpy(named[i].text, text, named[i].length);
    }
    return named;
}

void attach_free_channels(struct attach_channel *named, size_t count) {
    for (size_t i = 0; named != NULL && i < count; i++)
        free(named[i].text);
    free(named);
}

const struct attach_channel *attach_find_channel(const struct ledger_channel *channels,
                                                 const struct attach_channel *named, size_t count,
                                                 int64_t channel_id) {
    for (size_t i = 0; i < count; i++)
        if (channels[i].channel_id == channel_id)
            return &named[i];
    return NULL;
}

/* ---- times ---- */

static void attach_put_digits(char *out, int digits, int64_t number) {
    for (int i = digits; i > 0; i--, number /= 10)
        out[i - 1] = (char)('0' + number % 10);
}

static void attach_set_second(struct attach_clock *clock, int64_t second) {
    const time_t moment = (time_t)second;
    struct tm parts = {0};

    gmtime_r(&moment, &parts);
    memcpy(clock->text, "0000-00-00T00:00:00.000Z", sizeof clock->text);
    attach_put_digits(clock->text, 4, parts.tm_year + YEAR_ZERO);
    attach_put_digits(clock->text + 5, 2, parts.tm_mon + 1);
    attach_put_digits(clock->text + 8, 2, parts.tm_mday);
    attach_put_digits(clock->text + 11, 2, parts.tm_hour);
    attach_put_digits(clock->text + 14, 2, parts.tm_min);
    attach_put_digits(clock->text + 17, 2, parts.tm_sec);
    clock->second = second;
    clock->known = true;
}

size_t attach_put_time(struct attach_clock *clock, int64_t t_ms, char *out) {
    int64_t second = t_ms / MS_PER_S, rest = t_ms % MS_PER_S;

    if (rest < 0) {
        rest += MS_PER_S;
        second--;
    }
    if (!clock->known || clock->second != second)
        attach_set_second(clock, second);
    memcpy(out, clock->text, ATTACH_TIME_BYTES);
    attach_put_digits(out + SECOND_BYTES + 1, ATTACH_DECIMALS, rest);
    return ATTACH_TIME_BYTES;
}

/* -1 if they are not all digits. */
static int64_t attach_take_digits(const char *text, int digits) {
    int64_t number = 0;

    for (int i = 0; i < digits; i++) {
        if (text[i] < '0' || text[i] > '9')
            return -1;
        number = number * 10 + (text[i] - '0');
    }
    return number;
}

bool attach_take_time(struct attach_clock *clock, const char *text, int64_t *t_ms) {
    const int64_t ms = attach_take_digits(text + SECOND_BYTES + 1, ATTACH_DECIMALS);
    struct attach_clock read;
    struct tm parts = {0};
    int64_t second;

    if (text[SECOND_BYTES] != '.' || ms < 0 || text[ATTACH_TIME_BYTES - 1] != 'Z')
        return false;
    if (!clock->known || memcmp(clock->text, text, SECOND_BYTES) != 0) {
        parts.tm_year = (int)attach_take_digits(text, 4) - YEAR_ZERO;
        parts.tm_mon = (int)attach_take_digits(text + 5, 2) - 1;
        parts.tm_mday = (int)attach_take_digits(text + 8, 2);
        parts.tm_hour = (int)attach_take_digits(text + 11, 2);
        parts.tm_min = (int)attach_take_digits(text + 14, 2);
        parts.tm_sec = (int)attach_take_digits(text + 17, 2);
        second = (int64_t)timegm(&parts);
        attach_set_second(&read, second); // what is no date comes out as another one
        if (memcmp(read.text, text, SECOND_BYTES) != 0)
            return false;
        *clock = read;
    }
    *t_ms = clock->second * MS_PER_S + ms;
    return true;
}
