// SPDX-License-Identifier: MIT
/* Lines that an instrument prints by itself. Whatever came before, two whole lines bring the wire back into step.
 */
#include <stdlib.h>

#include "text_case.h"

enum { MOST_CHUNK = 32, STEP_US = 10000, BAUD = 9600 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Takes everything; how many lines were believed. */
static size_t hear(const struct wire *wire, struct wire_exchange *exchange, const uint8_t *bytes, size_t length,
                   int64_t now_us) {
    size_t lines = 0;

    for (size_t at = 0, used; at < length; at += used) {
        const enum wire_status status = wire->take(exchange, bytes + at, length - at, now_us, &used);

        if (used == 0 || used > length - at || exchange->length > sizeof exchange->bytes)
            abort();
        for (size_t i = 0; i < TEXT_CASE_CHANNELS && status == WIRE_DONE; i++) {
            struct reading reading = {0};

            if (wire->read(exchange, exchange->request.wanted[i], &reading) &&
                !text_case_believes(exchange->request.wanted[i], &reading))
                abort();
        }
        lines += status == WIRE_DONE;
    }
    return lines;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    const struct wire *wire = wire_of_kind(WIRE_FREE_TEXT);
    static struct wire_exchange exchange;
    struct text_case text;
    int64_t now_us = 0;
    size_t at = text_case_read(&text, WIRE_FREE_TEXT, data, size);

    if (at == 0)
        return 0;
    wire->start(&exchange, &text.request);
    while (at < size) {
        const size_t most = 1 + (size_t)data[1] / TEXT_CHECK_COUNT % MOST_CHUNK;
        const size_t length = size - at < most ? size - at : most;

        now_us += (int64_t)data[at] * STEP_US;
        (void)wire->wait(&exchange, wire->pause_us(BAUD), now_us);
        hear(wire, &exchange, data + at, length, now_us);
        at += length;
    }
    if (text.setting.check == TEXT_CHECK_NONE) {
        const uint8_t *end = (const uint8_t *)text.setting.text_end;
        const size_t length = strlen(text.setting.text_end);

        hear(wire, &exchange, (const uint8_t *)"1", 1, now_us);
        hear(wire, &exchange, end, length, now_us);
        hear(wire, &exchange, (const uint8_t *)"2", 1, now_us);
        if (hear(wire, &exchange, end, length, now_us) != 1)
            abort();
    }
    return 0;
}
