// SPDX-License-Identifier: MIT
/* Answers in text, whose pattern the fuzzer chooses, too. An answer that is taken holds all that was asked for. */
#include <stdlib.h>

#include "text_case.h"

enum { MOST_CHUNK = 32, STEP_US = 1000, BAUD = 9600 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    const struct wire *wire = wire_of_kind(WIRE_POLLED_TEXT);
    static struct wire_exchange exchange;
    enum wire_status status = WIRE_MORE;
    struct text_case text;
    int64_t now_us = 0;
    size_t at = text_case_read(&text, WIRE_POLLED_TEXT, data, size), used;

    if (at == 0)
        return 0;
    wire->start(&exchange, &text.request);
    while (at < size && status == WIRE_MORE) {
        const size_t most = 1 + (size_t)data[1] / TEXT_CHECK_COUNT % MOST_CHUNK;
        const size_t length = size - at < most ? size - at : most;

        now_us += (int64_t)data[at] * STEP_US;
        status = wire->wait(&exchange, wire->pause_us(BAUD), now_us);
        if (status == WIRE_MORE)
            status = wire->take(&exchange, data + at, length, now_us, &used);
        at += length;
    }
    if (exchange.used > sizeof exchange.bytes || exchange.sent_length == 0)
        abort();
    for (size_t i = 0; i < TEXT_CASE_CHANNELS && status == WIRE_DONE; i++) {
        struct reading reading = {0};

        if (!wire->read(&exchange, text.wanted[i], &reading) || !text_case_believes(text.wanted[i], &reading))
            abort();
    }
    return 0;
}
