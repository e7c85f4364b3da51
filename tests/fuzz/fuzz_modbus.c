// SPDX-License-Identifier: MIT
/* Bytes of a reply in chunks and at times that the fuzzer chooses. Whatever they are, nothing is believed whose
 * check does not hold, and nothing is said of bytes that did not come. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/modbus.h"

enum { HEAD_BYTES = 4, MOST_CHUNK = 32, ALLOWED_US = 20000, STEP_US = 100, CHECK_BYTES = 2, HEAD_OF_REPLY = 3 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check_done(const struct modbus_reply *reply) {
    uint16_t registers[MODBUS_MOST_REGISTERS];
    const size_t length = HEAD_OF_REPLY + 2 * (size_t)reply->count + CHECK_BYTES;
    const uint16_t crc = modbus_crc(reply->bytes, length - CHECK_BYTES);

    if (reply->length != length || reply->bytes[0] != reply->address || reply->bytes[1] != reply->function ||
        reply->bytes[length - CHECK_BYTES] != (crc & 0xff) || reply->bytes[length - 1] != crc >> 8)
        abort();
    modbus_copy_registers(reply, registers);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    struct modbus_reply reply;
    enum modbus_status status = MODBUS_MORE;
    int64_t now_us = 0;
    size_t at = HEAD_BYTES;

    if (size < HEAD_BYTES)
        return 0;
    modbus_expect(&reply, data[0], data[1] & 1 ? MODBUS_READ_HOLDING : MODBUS_READ_INPUT,
                  (uint16_t)(1 + data[2] % MODBUS_MOST_REGISTERS));
    while (at < size && status == MODBUS_MORE) {
        const size_t wanted = 1 + (size_t)data[HEAD_BYTES - 1] % MOST_CHUNK;
        const size_t length = size - at < wanted ? size - at : wanted;

        now_us += (int64_t)data[at] * STEP_US;
        status = modbus_silence(&reply, ALLOWED_US, now_us);
        if (status == MODBUS_MORE)
            status = modbus_take(&reply, data + at, length, now_us);
        at += length;
    }
    if (status == MODBUS_MORE)
        status = modbus_silence(&reply, ALLOWED_US, now_us + ALLOWED_US + 1);
    if (reply.length > MODBUS_FRAME_BYTES || strlen(modbus_status_name(status)) == 0)
        abort();
    if (status == MODBUS_DONE)
        check_done(&reply);
    if (status == MODBUS_EXCEPTION)
        (void)modbus_exception_code(&reply);
    return 0;
}
