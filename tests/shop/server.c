// SPDX-License-Identifier: MIT
#include "server.h"

enum { CRC_START = 0xFFFF, CRC_POLYNOMIAL = 0xA001, CRC_BYTES = 2, BITS = 8 };
enum { AT_ADDRESS = 0, AT_FUNCTION = 1, AT_FIRST = 2, AT_COUNT = 4, AT_BYTE_COUNT = 6, AT_VALUES = 7 };
enum { SHORTEST_FRAME = 4, PLAIN_REQUEST = 8, BROADCAST = 0, EXCEPTION_BIT = 0x80 };
enum { COIL_ON = 0xFF00, COIL_OFF = 0x0000 };

uint16_t server_crc(const uint8_t *bytes, size_t length) {
    unsigned crc = CRC_START;

    for (size_t i = 0; i < length; i++) {
        crc ^= bytes[i];
        for (int bit = 0; bit < BITS; bit++)
            crc = crc & 1 ? crc >> 1 ^ CRC_POLYNOMIAL : crc >> 1;
    }
    return (uint16_t)crc;
}

size_t server_seal(uint8_t *frame, size_t length) {
    const uint16_t crc = server_crc(frame, length);

    frame[length] = (uint8_t)(crc & 0xFF);
    frame[length + 1] = (uint8_t)(crc >> BITS);
    return length + CRC_BYTES;
}

bool server_is_sealed(const uint8_t *frame, size_t length) {
    uint16_t crc;

    if (length < SHORTEST_FRAME || length > SERVER_FRAME_BYTES)
        return false;
    crc = server_crc(frame, length - CRC_BYTES);
    return frame[length - 2] == (crc & 0xFF) && frame[length - 1] == crc >> BITS;
}

size_t server_measure(const uint8_t *bytes, size_t length) {
    if (length <= AT_FUNCTION)
        return 0;
    switch (bytes[AT_FUNCTION]) {
    case SERVER_READ_HOLDING:
    case SERVER_READ_INPUT:
    case SERVER_WRITE_COIL:
    case SERVER_WRITE_REGISTER: return PLAIN_REQUEST;
    case SERVER_WRITE_COILS:
    case SERVER_WRITE_REGISTERS:
        return length > AT_BYTE_COUNT ? (size_t)AT_VALUES + bytes[AT_BYTE_COUNT] + CRC_BYTES : 0;
    default: return 0;
    }
}

static unsigned take_word(const uint8_t *bytes) {
    return (unsigned)bytes[0] << BITS | bytes[1];
}

bool server_is_read(const uint8_t *frame, size_t length) {
    const unsigned function = length == PLAIN_REQUEST ? frame[AT_FUNCTION] : 0;

    return (function == SERVER_READ_HOLDING || function == SERVER_READ_INPUT) && server_is_sealed(frame, length) &&
           take_word(frame + AT_COUNT) >= 1 && take_word(frame + AT_COUNT) <= SERVER_READ_MOST;
}

/* Each of these answers one function; it returns the reply's length without check, or sets an exception. */
static size_t answer_read(const struct server_device *device, const uint8_t *frame, uint8_t *reply,
                          enum server_exception *exception) {
    const unsigned first = take_word(frame + AT_FIRST), count = take_word(frame + AT_COUNT);
    uint16_t words[SERVER_READ_MOST];
    size_t used = AT_FIRST;

    if (count < 1 || count > SERVER_READ_MOST) {
        *exception = SERVER_ILLEGAL_VALUE;
        return 0;
    }
    *exception = device->read(device->context, frame[AT_ADDRESS], frame[AT_FUNCTION], first, count, words);
    if (*exception != SERVER_OK)
        return 0;
    reply[used++] = (uint8_t)(2 * count);
    for (unsigned i = 0; i < count; i++) {
        reply[used++] = (uint8_t)(words[i] >> BITS);
        reply[used++] = (uint8_t)(words[i] & 0xFF);
    }
    return used;
}

/* A write is confirmed by the request's first six bytes. */
static size_t confirm(const uint8_t *frame, uint8_t *reply) {
    for (size_t i = AT_FIRST; i < AT_BYTE_COUNT; i++)
        reply[i] = frame[i];
    return AT_BYTE_COUNT;
}

static size_t answer_write(const struct server_device *device, const uint8_t *frame, uint8_t *reply,
                           enum server_exception *exception) {
    const unsigned first = take_word(frame + AT_FIRST);
    const bool single = frame[AT_FUNCTION] == SERVER_WRITE_REGISTER;
    const unsigned count = single ? 1 : take_word(frame + AT_COUNT);
    const uint8_t *values = frame + (single ? AT_COUNT : AT_VALUES);
    uint16_t words[SERVER_WRITE_MOST];

    if (count < 1 || count > SERVER_WRITE_MOST || (!single && frame[AT_BYTE_COUNT] != 2 * count)) {
        *exception = SERVER_ILLEGAL_VALUE;
        return 0;
    }
    for (size_t i = 0; i < count; i++)
        words[i] = (uint16_t)take_word(values + 2 * i);
    *exception = device->write(device->context, frame[AT_ADDRESS], first, count, words);
    return confirm(frame, reply);
}

static size_t answer_coils(const struct server_device *device, const uint8_t *frame, uint8_t *reply,
                           enum server_exception *exception) {
    const unsigned first = take_word(frame + AT_FIRST), count = take_word(frame + AT_COUNT);

    if (count < 1 || count > SERVER_COILS_MOST || frame[AT_BYTE_COUNT] != (count + BITS - 1) / BITS) {
        *exception = SERVER_ILLEGAL_VALUE;
        return 0;
    }
    for (unsigned i = 0; i < count && *exception == SERVER_OK; i++)
        *exception = device->turn(device->context, frame[AT_ADDRESS], first + i,
                                  frame[AT_VALUES + i / BITS] >> i % BITS & 1);
    return confirm(frame, reply);
}

static size_t answer_coil(const struct server_device *device, const uint8_t *frame, uint8_t *reply,
                          enum server_exception *exception) {
    const unsigned first = take_word(frame + AT_FIRST), value = take_word(frame + AT_COUNT);

    *exception = SERVER_ILLEGAL_VALUE;
    if (value == COIL_ON || value == COIL_OFF)
        *exception = device->turn(device->context, frame[AT_ADDRESS], first, value == COIL_ON);
    return confirm(frame, reply);
}

size_t server_answer(const struct server_device *device, const uint8_t *frame, size_t length,
                     uint8_t reply[SERVER_FRAME_BYTES]) {
    enum server_exception exception = SERVER_OK;
    size_t used = 0, expected;

    if (!server_is_sealed(frame, length) || frame[AT_ADDRESS] == BROADCAST ||
        !device->is_here(device->context, frame[AT_ADDRESS]))
        return 0;
    expected = server_measure(frame, length);
    if (expected != 0 && expected != length)
        return 0; // a frame cut short or run together, though its check happens to fit
    reply[AT_ADDRESS] = frame[AT_ADDRESS];
    reply[AT_FUNCTION] = frame[AT_FUNCTION];
    switch (expected == 0 ? 0 : frame[AT_FUNCTION]) {
    case SERVER_READ_HOLDING:
    case SERVER_READ_INPUT: used = answer_read(device, frame, reply, &exception); break;
    case SERVER_WRITE_COIL: used = answer_coil(device, frame, reply, &exception); break;
    case SERVER_WRITE_COILS: used = answer_coils(device, frame, reply, &exception); break;
    case SERVER_WRITE_REGISTER:
    case SERVER_WRITE_REGISTERS: used = answer_write(device, frame, reply, &exception); break;
    default: exception = SERVER_ILLEGAL_FUNCTION; break;
    }
    if (exception != SERVER_OK) {
        reply[AT_FUNCTION] = frame[AT_FUNCTION] | EXCEPTION_BIT;
        reply[AT_FIRST] = (uint8_t)exception;
        used = AT_FIRST + 1;
    }
    return server_seal(reply, used);
}
