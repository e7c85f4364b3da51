// SPDX-License-Identifier: MIT
/* Readings back from CSV, in pieces of any size. Strict: what attach.c would not have written is refused, with its
 * line. */
#include <openssl/evp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "attach_parts.h"
#include "soakledger/attach.h"

enum { DIGITS_MOST = 12 };
#define VALUE_MOST_MC INT64_C(10000000) // 10,000 °C: no furnace, and no overflow anywhere

struct attach_source {
    const struct assess_run *run;
    attach_sink *sink;
    void *context;
    struct attach_channel *channels;
    struct attach_clock clock;
    EVP_MD_CTX *digest;
    struct reading last;
    int64_t rows; // the first line not counted
    bool headed;
    size_t used; // of the line that is not whole yet
    char line[ATTACH_ROW_BYTES];
};

struct attach_source *attach_open_source(const struct assess_run *run, attach_sink *sink, void *context,
                                         struct fault *fault) {
    struct attach_source *source = calloc(1, sizeof *source);

    if (source != NULL) {
        source->run = run;
        source->sink = sink;
        source->context = context;
        source->channels = attach_name_channels(run->channels, run->channel_count);
        source->digest = EVP_MD_CTX_new();
    }
    if (source == NULL || source->channels == NULL || source->digest == NULL ||
        EVP_DigestInit_ex(source->digest, EVP_sha256(), NULL) != 1) {
        attach_free_source(source);
        fault_set(fault, EX_OSERR, "not enough memory for the readings of a run");
        return NULL;
    }
    return source;
}

void attach_free_source(struct attach_source *source) {
    if (source == NULL)
        return;
    attach_free_channels(source->channels, source->run->channel_count);
    EVP_MD_CTX_free(source->digest);
    free(source);
}

/* The line is given as people count: the heading is line 1. */
static int csv_refuse(const struct attach_source *source, struct fault *fault, const char *what) {
    return fault_set(fault, EX_DATAERR, "readings-run-%lld.csv:%lld: %s", (long long)source->run->run.run_id,
                     (long long)source->rows + (source->headed ? 2 : 1), what);
}

/* "-814.25": at most three decimals. The bytes taken, 0 for what is no such number. */
static size_t csv_take_value(const char *text, int64_t *value) {
    const bool negative = text[0] == '-';
    size_t at = negative, digits = 0, decimals = 0;
    int64_t number = 0;

    for (; text[at] >= '0' && text[at] <= '9' && digits < DIGITS_MOST; at++, digits++)
        number = number * 10 + (text[at] - '0');
    if (digits == 0)
        return 0;
    if (text[at] == '.') {
        for (at++; text[at] >= '0' && text[at] <= '9' && decimals < ATTACH_DECIMALS; at++, decimals++)
            number = number * 10 + (text[at] - '0');
        if (decimals == 0)
            return 0;
    }
    for (; decimals < ATTACH_DECIMALS; decimals++)
        number *= 10;
    *value = negative ? -number : number;
    return at;
}

static const struct ledger_channel *csv_take_channel(const struct attach_source *source, const char *text,
                                                     size_t left, size_t *taken) {
    for (size_t i = 0; i < source->run->channel_count; i++) {
        const struct attach_channel *named = &source->channels[i];

        if (named->length <= left && memcmp(named->text, text, named->length) == 0) {
            *taken = named->length;
            return &source->run->channels[i];
        }
    }
    return NULL;
}

static bool csv_take_quality(const char *text, enum quality *quality) {
    for (int i = 0; i < QUALITY_COUNT; i++)
        if (strcmp(text, quality_name((enum quality)i)) == 0) {
            *quality = (enum quality)i;
            return true;
        }
    return false;
}

static int csv_check(struct attach_source *source, const struct reading *reading, struct fault *fault) {
    const struct assess_run *run = source->run;

    if (reading->t_ms < run->run.begun_ms || reading->t_ms > run->until_ms)
        return csv_refuse(source, fault, "a time outside of the run");
    if (source->rows > 0 && !reading_is_before(&source->last, reading))
        return csv_refuse(source, fault, "expected readings by time, then by channel, each once");
    if (reading->value > VALUE_MOST_MC || reading->value < -VALUE_MOST_MC)
        return csv_refuse(source, fault, "a value that nothing can have");
    source->last = *reading;
    return 0;
}

/* `line` has its terminator in place of the line end. */
static int csv_take_row(struct attach_source *source, const char *line, size_t length, struct fault *fault) {
    struct reading reading = {0};
    const struct ledger_channel *channel;
    size_t at = ATTACH_TIME_BYTES, taken = 0;

    if (length <= ATTACH_TIME_BYTES || !attach_take_time(&source->clock, line, &reading.t_ms))
        return csv_refuse(source, fault, "expected a time such as 2026-11-16T07:00:00.000Z");
    channel = csv_take_channel(source, line + at, length - at, &taken);
    if (channel == NULL)
        return csv_refuse(source, fault, "expected one of the run's channels");
    reading.channel_id = channel->channel_id;
    at += taken;
    taken = csv_take_value(line + at, &reading.value);
    at += taken;
    if (line[at] != ',' || !csv_take_quality(line + at + 1, &reading.quality))
        return csv_refuse(source, fault, "expected a value with at most three decimals and a quality");
    if ((reading.quality == QUALITY_GOOD) != (taken > 0))
        return csv_refuse(source, fault, "expected a value with a good quality, and none with another");
    if (csv_check(source, &reading, fault) != 0)
        return -1;
    source->rows++;
    return source->sink(source->context, &reading, fault);
}

static int csv_take_line(struct attach_source *source, struct fault *fault) {
    const size_t length = source->used;

    source->used = 0;
    source->line[length] = '\0';
    if (strlen(source->line) != length)
        return csv_refuse(source, fault, "a line with a zero byte");
    if (!source->headed) {
        if (length + 1 != strlen(ATTACH_HEADER) || strncmp(source->line, ATTACH_HEADER, length) != 0)
            return csv_refuse(source, fault, "expected the heading time_utc,channel,value,quality");
        source->headed = true;
        return 0;
    }
    return csv_take_row(source, source->line, length, fault);
}

int attach_take(struct attach_source *source, const unsigned char *bytes, size_t length, struct fault *fault) {
    EVP_DigestUpdate(source->digest, bytes, length);
    while (length > 0) {
        const unsigned char *end = memchr(bytes, '\n', length);
        const size_t part = end != NULL ? (size_t)(end - bytes) : length;

        if (source->used + part >= sizeof source->line)
            return csv_refuse(source, fault, "a line that is too long");
        memcpy(source->line + source->used, bytes, part);
        source->used += part;
        if (end == NULL)
            return 0;
        if (csv_take_line(source, fault) != 0)
            return -1;
        bytes += part + 1;
        length -= part + 1;
    }
    return 0;
}

int attach_end_source(struct attach_source *source, int64_t *rows, char sha256[KEY_FINGERPRINT_BYTES],
                      struct fault *fault) {
    unsigned char digest[EVP_MAX_MD_SIZE];

    if (source->used != 0 || !source->headed)
        return csv_refuse(source, fault, "ends in the middle of a line");
    EVP_DigestFinal_ex(source->digest, digest, NULL);
    for (size_t i = 0; i < KEY_DIGEST_BYTES; i++)
        snprintf(sha256 + 2 * i, 3, "%02x", digest[i]);
    *rows = source->rows;
    return 0;
}
