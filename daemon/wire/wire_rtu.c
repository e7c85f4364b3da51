// SPDX-License-Identifier: MIT
/* Modbus RTU as a wire. The frames themselves are modbus.h's.
 *
 * The guide wants a frame dropped in which 1.5 characters' time passes between two bytes. That cannot be held here:
 * an adapter on USB hands bytes over in chunks, and the time of a chunk says nothing of the silence on the wire.
 * What is held is the 3.5 characters' silence between frames, which we make ourselves, and the check.
 */
#include <string.h>

#include "wires.h"

enum { BYTE_COUNT_AT = 2, HEAD_AND_CHECK_BYTES = 5, FUNCTION_AT = 1, EXCEPTION_BIT = 0x80 };

static void expect(struct wire_exchange *exchange) {
    modbus_expect(&exchange->reply, exchange->sent[0], exchange->request.function, exchange->request.count);
    exchange->length = 0;
}

static void start(struct wire_exchange *exchange, const struct wire_request *request) {
    exchange->request = *request;
    modbus_build_read((uint8_t)request->setting->address, request->function, request->first, request->count,
                      exchange->sent);
    exchange->sent_length = MODBUS_REQUEST_BYTES;
    exchange->echoed = false;
    exchange->refusal = 0;
    expect(exchange);
}

/* Of a reply whose length is not the one that was asked for. */
static enum wire_status name_length(const struct modbus_reply *reply) {
    const size_t counted = reply->bytes[BYTE_COUNT_AT];
    const size_t length =
        reply->bytes[FUNCTION_AT] & EXCEPTION_BIT ? HEAD_AND_CHECK_BYTES : counted + HEAD_AND_CHECK_BYTES;

    if (reply->length > length + 1 && reply->bytes[length] == reply->address &&
        (reply->bytes[length + 1] & ~EXCEPTION_BIT) == reply->function)
        return WIRE_SPLICED;
    if (reply->length > length)
        return WIRE_LONG;
    return counted < 2 * (size_t)reply->count ? WIRE_SHORT : WIRE_LONG;
}

static enum wire_status translate(struct wire_exchange *exchange, enum modbus_status status) {
    switch (status) {
    case MODBUS_MORE: return WIRE_MORE;
    case MODBUS_DONE: return WIRE_DONE;
    case MODBUS_EXCEPTION: exchange->refusal = modbus_exception_code(&exchange->reply); return WIRE_REFUSED;
    case MODBUS_BAD_CHECK: return WIRE_BAD_CHECK;
    case MODBUS_WRONG_ADDRESS: return WIRE_WRONG_ADDRESS;
    case MODBUS_WRONG_FUNCTION: return WIRE_WRONG_FUNCTION;
    case MODBUS_WRONG_LENGTH: return name_length(&exchange->reply);
    case MODBUS_ECHO: return WIRE_LONG; // a second echo is no reply
    case MODBUS_CUT: return WIRE_SHORT;
    }
    return WIRE_BAD_CHECK;
}

/* An adapter that hears itself gives the request back first; what follows is the reply. */
static enum modbus_status pass_echo(struct wire_exchange *exchange, int64_t now_us) {
    uint8_t rest[MODBUS_FRAME_BYTES];
    const size_t length = exchange->reply.length - MODBUS_REQUEST_BYTES;

    exchange->echoed = true;
    memcpy(rest, exchange->reply.bytes + MODBUS_REQUEST_BYTES, length);
    expect(exchange);
    return length > 0 ? modbus_take(&exchange->reply, rest, length, now_us) : MODBUS_MORE;
}

static enum wire_status settle(struct wire_exchange *exchange, enum modbus_status status, int64_t now_us) {
    if (status == MODBUS_ECHO && !exchange->echoed)
        status = pass_echo(exchange, now_us);
    exchange->length = exchange->reply.length;
    exchange->first_byte_us = exchange->reply.first_byte_us;
    exchange->last_byte_us = exchange->reply.last_byte_us;
    return translate(exchange, status);
}

static enum wire_status take(struct wire_exchange *exchange, const uint8_t *bytes, size_t length, int64_t now_us,
                             size_t *used) {
    *used = length;
    return settle(exchange, modbus_take(&exchange->reply, bytes, length, now_us), now_us);
}

static enum wire_status wait(struct wire_exchange *exchange, int64_t pause_us, int64_t now_us) {
    return settle(exchange, modbus_silence(&exchange->reply, pause_us, now_us), now_us);
}

static bool read_value(const struct wire_exchange *exchange, const struct channel_fitting *fitting,
                       struct reading *reading) {
    uint16_t registers[MODBUS_MOST_REGISTERS];

    modbus_copy_registers(&exchange->reply, registers);
    channel_decode(fitting, registers + (fitting->first_register - exchange->request.first), reading);
    return true;
}

static bool was_reply(const struct wire_exchange *exchange) {
    const struct modbus_reply *reply = &exchange->reply;

    return reply->length > FUNCTION_AT && reply->bytes[0] == reply->address &&
           reply->bytes[FUNCTION_AT] == reply->function;
}

static int64_t pause_us(int baud) {
    return modbus_t35_us(baud) + WIRE_CHUNK_US;
}

const struct wire *wire_rtu(void) {
    static const struct wire wire = {WIRE_MODBUS,        .start = start,         .take = take,        .wait = wait,
                                     .read = read_value, .was_reply = was_reply, .pause_us = pause_us};

    return &wire;
}
