// SPDX-License-Identifier: MIT
#include "speech.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { HEX = 16, BYTE_VALUES = 256, ENDS = 2, CRC_BYTES = 2, LEAST_BYTES = 3 };

size_t speech_write_values(const struct play *play, size_t controller, char text[SPEECH_BYTES]) {
    const struct scene *scene = play_scene(play);
    size_t used = 0;

    for (size_t i = 0; i < scene->register_count; i++) {
        const struct scene_register *at = &scene->registers[i];
        const double value = at->controller == controller ? play_show_register(play, i) : 0;
        const char *comma = used > 0 ? "," : "";

        if (at->controller != controller || used >= SPEECH_BYTES)
            continue;
        if (isnan(value))
            used += (size_t)snprintf(text + used, SPEECH_BYTES - used, "%sOPEN", comma);
        else
            used += (size_t)snprintf(text + used, SPEECH_BYTES - used, "%s%+.*f", comma, at->decimals, value);
    }
    if (used < SPEECH_BYTES)
        used += (size_t)snprintf(text + used, SPEECH_BYTES - used, "\r\n");
    return used < SPEECH_BYTES ? used : 0;
}

bool speech_is_query(const char *query, const uint8_t *bytes, size_t length) {
    return length == strlen(query) + ENDS && memcmp(bytes, query, length - ENDS) == 0 &&
           memcmp(bytes + length - ENDS, "\r\n", ENDS) == 0;
}

size_t speech_open_ascii(const uint8_t *bytes, size_t length, uint8_t frame[SERVER_FRAME_BYTES]) {
    size_t used = 0;
    unsigned sum = 0;

    if (length < 2 * LEAST_BYTES + 1 + ENDS || length % 2 == 0 || bytes[0] != ':' ||
        memcmp(bytes + length - ENDS, "\r\n", ENDS) != 0)
        return 0;
    for (size_t i = 1; i + ENDS < length; i += 2, used++) {
        const char pair[] = {(char)bytes[i], (char)bytes[i + 1], '\0'};

        if (!isxdigit(bytes[i]) || !isxdigit(bytes[i + 1]) || used == SERVER_FRAME_BYTES - CRC_BYTES)
            return 0;
        frame[used] = (uint8_t)strtoul(pair, NULL, HEX);
        sum += frame[used];
    }
    return sum % BYTE_VALUES == 0 ? server_seal(frame, used - 1) : 0;
}

size_t speech_close_ascii(const uint8_t *frame, size_t length, char text[SPEECH_BYTES]) {
    size_t used = (size_t)sprintf(text, ":");
    unsigned sum = 0;

    for (size_t i = 0; i < length - CRC_BYTES; i++) {
        sum += frame[i];
        used += (size_t)sprintf(text + used, "%02X", frame[i]);
    }
    return used + (size_t)sprintf(text + used, "%02X\r\n", (BYTE_VALUES - sum % BYTE_VALUES) % BYTE_VALUES);
}
