// SPDX-License-Identifier: MIT
/* Bytes of a Modbus ASCII reply in chunks and at times that the fuzzer chooses. What is taken for the reply is a
 * frame whose check holds and that is as long as was asked. */
#include <stdlib.h>
#include <string.h>

#include "soakledger/wire.h"

enum { HEAD_BYTES = 4, MOST_CHUNK = 32, STEP_US = 10000, BAUD = 9600, HEAD_OF_REPLY = 3, BYTE_MASK = 0xff };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check_done(const struct wire_exchange *exchange, const struct wire *wire) {
    const struct wire_request *request = &exchange->request;
    const size_t length = HEAD_OF_REPLY + 2 * (size_t)request->count + 1;
    struct reading reading = {0};
    unsigned sum = 0;

    for (size_t i = 0; i < length; i++)
        sum += exchange->bytes[i];
    if ((sum & BYTE_MASK) != 0 || exchange->bytes[0] != request->setting->address ||
        exchange->bytes[1] != request->function || exchange->bytes[2] != 2 * request->count)
        abort();
    for (size_t i = 0; i < request->wanted_count; i++)
        if (!wire->read(exchange, request->wanted[i], &reading) ||
            (reading.quality != QUALITY_GOOD && reading.value != 0))
            abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    const struct wire *wire = wire_of_kind(WIRE_MODBUS_ASCII);
    struct wire_setting setting = {.kind = WIRE_MODBUS_ASCII};
    struct channel_fitting fittings[2] = {{.low = -1000000, .high = 1000000}, {.low = -1000000, .high = 1000000}};
    const struct channel_fitting *wanted[] = {&fittings[0], &fittings[1]};
    struct wire_request request = {.setting = &setting, .wanted = wanted, .wanted_count = 1};
    struct wire_exchange exchange;
    enum wire_status status = WIRE_MORE;
    int64_t now_us = 0;
    size_t at = HEAD_BYTES, used;

    if (size < HEAD_BYTES)
        return 0;
    setting.address = 1 + data[0] % 247;
    fittings[0].function = fittings[1].function = data[1] & 1 ? MODBUS_READ_HOLDING : MODBUS_READ_INPUT;
    fittings[0].encoding = (enum encoding)(data[1] / 2 % 5);
    fittings[1].first_register = (uint16_t)(data[2] % (MODBUS_MOST_REGISTERS + 1));
    wire->begin(&request, wanted[0]);
    if (wire->join(&request, wanted[1]))
        request.wanted_count = 2;
    wire->start(&exchange, &request);
    while (at < size && status == WIRE_MORE) {
        const size_t most = 1 + (size_t)data[HEAD_BYTES - 1] % MOST_CHUNK;
        const size_t length = size - at < most ? size - at : most;

        now_us += (int64_t)data[at] * STEP_US;
        status = wire->wait(&exchange, wire->pause_us(BAUD), now_us);
        if (status == WIRE_MORE)
            status = wire->take(&exchange, data + at, length, now_us, &used);
        at += length;
    }
    if (strcmp(wire_status_name(status), "unknown status") == 0 || exchange.used > sizeof exchange.bytes)
        abort();
    if (status == WIRE_DONE)
        check_done(&exchange, wire);
    (void)wire->was_reply(&exchange);
    return 0;
}
