// SPDX-License-Identifier: MIT
/* text_case: a text instrument whose setting, query and patterns come from the first line of the fuzzer's bytes. */
#ifndef FUZZ_TEXT_CASE_H
#define FUZZ_TEXT_CASE_H

#include <string.h>

#include "soakledger/wire.h"

enum { TEXT_CASE_HEAD = 6, TEXT_CASE_CHANNELS = 2 };

struct text_case {
    struct wire_setting setting;
    struct channel_fitting fittings[TEXT_CASE_CHANNELS];
    const struct channel_fitting *wanted[TEXT_CASE_CHANNELS];
    struct wire_request request;
};

/* How many bytes it took; 0 if these make no case that the configuration would let pass. */
static inline size_t text_case_read(struct text_case *text, enum wire_kind kind, const uint8_t *data, size_t size) {
    static const char *const ends[] = {"\r\n", "\r", "\n", "\n\r", "\x03"};
    static const char separators[] = ",;:/ \t";
    const uint8_t *line_end =
        size > TEXT_CASE_HEAD ? memchr(data + TEXT_CASE_HEAD, '\n', size - TEXT_CASE_HEAD) : NULL;
    size_t length;

    memset(text, 0, sizeof *text);
    if (line_end == NULL)
        return 0;
    length = (size_t)(line_end - data) - TEXT_CASE_HEAD;
    if (length >= CHANNEL_TEXT_BYTES || memchr(data + TEXT_CASE_HEAD, '\0', length) != NULL)
        return 0;
    text->setting = (struct wire_setting){.kind = kind,
                                          .address = 1 + data[0] % 247,
                                          .check = (enum text_check)(data[1] % TEXT_CHECK_COUNT),
                                          .fields = data[2] % 8,
                                          .word_count = 1,
                                          .words = {{"OPEN", QUALITY_OPEN_SENSOR}}};
    strcpy(text->setting.text_end, ends[data[3] % 5]);
    strcpy(text->setting.query_end, ends[data[3] / 5 % 5]);
    for (size_t i = 0; i < TEXT_CASE_CHANNELS; i++) {
        text->wanted[i] = &text->fittings[i];
        text->fittings[i] = (struct channel_fitting){.wire = kind,
                                                     .query = "#{address:2}T?",
                                                     .field = 1 + (unsigned)i,
                                                     .separator = separators[data[4] % 6],
                                                     .decimals = data[5] % 10 - 3,
                                                     .unit = data[5] & 0x80 ? CHANNEL_FAHRENHEIT : CHANNEL_CELSIUS,
                                                     .low = -1000000,
                                                     .high = 10000000};
    }
    memcpy(text->fittings[0].pattern, data + TEXT_CASE_HEAD, length);
    if (text_refuse_pattern(text->fittings[0].pattern) == NULL)
        text->fittings[0].field = 0;
    text->request = (struct wire_request){
        .setting = &text->setting, .wanted = text->wanted, .wanted_count = TEXT_CASE_CHANNELS};
    return TEXT_CASE_HEAD + length + 1;
}

/* Whether what was read is within what the channel believes. */
static inline int text_case_believes(const struct channel_fitting *fitting, const struct reading *reading) {
    if (reading->quality == QUALITY_GOOD)
        return reading->value >= fitting->low && reading->value <= fitting->high;
    return reading->value == 0 &&
           (reading->quality == QUALITY_OPEN_SENSOR || reading->quality == QUALITY_OVER_RANGE ||
            reading->quality == QUALITY_UNDER_RANGE);
}

#endif
