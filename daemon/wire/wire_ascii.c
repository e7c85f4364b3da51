// SPDX-License-Identifier: MIT
/* Modbus ASCII (MODBUS over Serial Line V1.02, section 2.5.2): a colon, each byte as two hexadecimal digits, a
 * check, CR and LF. A colon begins a frame wherever it comes; up to a second may pass within one.
 */
#include <string.h>

#include "wires.h"

enum {
    COLON = ':',
    CR = '\r',
    LF = '\n',
    ADDRESS_AT = 0,
    FUNCTION_AT = 1,
    BYTE_COUNT_AT = 2,
    EXCEPTION_CODE_AT = 2,
    DATA_AT = 3,
    REQUEST_FIRST_AT = 2,
    REQUEST_COUNT_AT = 4,
    REQUEST_BYTES = 6, // before the check
    EXCEPTION_BYTES = 3,
    CHECK_BYTES = 1,
    EXCEPTION_BIT = 0x80,
    BYTE_BITS = 8,
    BYTE_MASK = 0xff,
    HEX_BITS = 4,
    HEX_MASK = 0xf,
    FRAME_ENDS = 3, // colon, CR, LF
    LONGEST_PAUSE_US = 1000000,
};

static size_t add_hex(uint8_t *out, unsigned byte) {
    static const char digits[] = "0123456789ABCDEF";

    out[0] = (uint8_t)digits[byte >> HEX_BITS & HEX_MASK];
    out[1] = (uint8_t)digits[byte & HEX_MASK];
    return 2;
}

static void build(struct wire_exchange *exchange) {
    const struct wire_request *request = &exchange->request;
    uint8_t bytes[REQUEST_BYTES + CHECK_BYTES];
    size_t used = 0;

    bytes[ADDRESS_AT] = (uint8_t)request->setting->address;
    bytes[FUNCTION_AT] = request->function == MODBUS_READ_HOLDING ? MODBUS_READ_HOLDING : MODBUS_READ_INPUT;
    bytes[REQUEST_FIRST_AT] = (uint8_t)(request->first >> BYTE_BITS);
    bytes[REQUEST_FIRST_AT + 1] = (uint8_t)(request->first & BYTE_MASK);
    bytes[REQUEST_COUNT_AT] = (uint8_t)(request->count >> BYTE_BITS);
    bytes[REQUEST_COUNT_AT + 1] = (uint8_t)(request->count & BYTE_MASK);
    bytes[REQUEST_BYTES] = (uint8_t)text_compute_check(TEXT_CHECK_LRC, bytes, REQUEST_BYTES);
    exchange->sent[used++] = COLON;
    for (size_t i = 0; i < sizeof bytes; i++)
        used += add_hex(exchange->sent + used, bytes[i]);
    exchange->sent[used++] = CR;
    exchange->sent[used++] = LF;
    exchange->sent_length = used;
}

static void start(struct wire_exchange *exchange, const struct wire_request *request) {
    exchange->request = *request;
    exchange->length = exchange->used = 0;
    exchange->echoed = exchange->in_step = exchange->ended = false;
    exchange->refusal = 0;
    build(exchange);
}

/* What a frame is whose check holds; `length` without the check. */
static enum wire_status name_frame(struct wire_exchange *exchange, const uint8_t *bytes, size_t length) {
    const struct wire_request *request = &exchange->request;
    const size_t wanted = 2 * (size_t)request->count;

    if (bytes[ADDRESS_AT] != request->setting->address)
        return WIRE_WRONG_ADDRESS;
    if (bytes[FUNCTION_AT] == (request->function | EXCEPTION_BIT) && length == EXCEPTION_BYTES) {
        exchange->refusal = bytes[EXCEPTION_CODE_AT];
        return WIRE_REFUSED;
    }
    if (bytes[FUNCTION_AT] != request->function)
        return WIRE_WRONG_FUNCTION;
    if (length == DATA_AT + wanted && bytes[BYTE_COUNT_AT] == wanted)
        return WIRE_DONE;
    return length < DATA_AT + wanted || bytes[BYTE_COUNT_AT] < wanted ? WIRE_SHORT : WIRE_LONG;
}

/* The digits of the frame in `bytes`, in place, turned into bytes. */
static enum wire_status judge(struct wire_exchange *exchange) {
    const char *digits = (const char *)exchange->bytes + 1;
    const size_t count = exchange->used - FRAME_ENDS;
    size_t length = count / 2;

    if (count % 2 != 0 || length < EXCEPTION_BYTES + CHECK_BYTES)
        return WIRE_SHORT;
    for (size_t i = 0; i < length; i++) {
        const int high = text_hex_digit(digits[2 * i], false), low = text_hex_digit(digits[2 * i + 1], false);

        if (high < 0 || low < 0)
            return WIRE_BAD_CHECK;
        exchange->bytes[i] = (uint8_t)(high << HEX_BITS | low);
    }
    length -= CHECK_BYTES;
    if (text_compute_check(TEXT_CHECK_LRC, exchange->bytes, length) != exchange->bytes[length])
        return WIRE_BAD_CHECK;
    return name_frame(exchange, exchange->bytes, length);
}

static bool is_echo(const struct wire_exchange *exchange) {
    return !exchange->echoed && exchange->used == exchange->sent_length &&
           memcmp(exchange->bytes, exchange->sent, exchange->used) == 0;
}

/* One byte. Before the colon nothing is kept, but that something came is. */
static enum wire_status take_byte(struct wire_exchange *exchange, uint8_t byte, int64_t now_us) {
    if (byte == COLON) {
        exchange->in_step = true;
        exchange->used = 0;
        exchange->first_byte_us = now_us;
    }
    if (!exchange->in_step)
        return byte == LF ? WIRE_BAD_CHECK : WIRE_MORE;
    if (exchange->used == sizeof exchange->bytes)
        return WIRE_LONG;
    exchange->bytes[exchange->used++] = byte;
    if (byte != LF)
        return WIRE_MORE;
    if (exchange->used < FRAME_ENDS || exchange->bytes[exchange->used - 2] != CR)
        return WIRE_BAD_CHECK;
    if (!is_echo(exchange))
        return judge(exchange);
    exchange->echoed = true;
    exchange->in_step = false;
    exchange->length = exchange->used = 0;
    return WIRE_MORE;
}

static enum wire_status take(struct wire_exchange *exchange, const uint8_t *bytes, size_t length, int64_t now_us,
                             size_t *used) {
    enum wire_status status = WIRE_MORE;
    size_t i = 0;

    *used = length;
    while (i < length && status == WIRE_MORE) {
        if (exchange->length++ == 0)
            exchange->first_byte_us = now_us;
        exchange->last_byte_us = now_us;
        status = take_byte(exchange, bytes[i++], now_us);
    }
    exchange->ended = status != WIRE_MORE;
    if (i == length || (status != WIRE_DONE && status != WIRE_REFUSED))
        return status;
    return memchr(bytes + i, COLON, length - i) != NULL ? WIRE_SPLICED : WIRE_LONG;
}

static enum wire_status wait(struct wire_exchange *exchange, int64_t pause_us, int64_t now_us) {
    return exchange->length > 0 && now_us - exchange->last_byte_us > pause_us ? WIRE_SHORT : WIRE_MORE;
}

static bool read_value(const struct wire_exchange *exchange, const struct channel_fitting *fitting,
                       struct reading *reading) {
    const size_t at = DATA_AT + 2 * (size_t)(fitting->first_register - exchange->request.first);
    uint16_t registers[2] = {0};

    for (size_t i = 0; i < channel_count_registers(fitting->encoding); i++)
        registers[i] = (uint16_t)(exchange->bytes[at + 2 * i] << BYTE_BITS | exchange->bytes[at + 2 * i + 1]);
    channel_decode(fitting, registers, reading);
    return true;
}

/* A frame that was complete and began as the reply does, whatever is wrong with the rest. */
static bool was_reply(const struct wire_exchange *exchange) {
    return exchange->ended && exchange->used > FRAME_ENDS &&
           exchange->bytes[ADDRESS_AT] == exchange->request.setting->address &&
           exchange->bytes[FUNCTION_AT] == exchange->request.function;
}

static int64_t pause_us(int baud) {
    (void)baud;
    return LONGEST_PAUSE_US + WIRE_CHUNK_US;
}

const struct wire *wire_ascii(void) {
    static const struct wire wire = {WIRE_MODBUS,        .start = start,         .take = take,        .wait = wait,
                                     .read = read_value, .was_reply = was_reply, .pause_us = pause_us};

    return &wire;
}
