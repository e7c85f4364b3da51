// SPDX-License-Identifier: MIT
/* Frames carry no marks on the wire: an RTU frame is told by silence, which an adapter that hands bytes over in
 * chunks does not preserve. What is known instead is what was asked. So a frame's end is worked out from its
 * first bytes, its CRC decides whether to believe it, and silence only ends what never became complete.
 */
#include "soakledger/modbus.h"

#include <assert.h>
#include <stdbool.h>
#include <string.h>

enum {
    ADDRESS_AT = 0,
    FUNCTION_AT = 1,
    BYTE_COUNT_AT = 2,
    EXCEPTION_CODE_AT = 2,
    DATA_AT = 3,
    REQUEST_FIRST_AT = 2,
    REQUEST_COUNT_AT = 4,
    CHECK_BYTES = 2,
    SHORTEST_FRAME_BYTES = 4,                   // address, function, check
    COUNTED_FRAME_BYTES = 3 + CHECK_BYTES,      // address, function, byte count, check; without the data
    EXCEPTION_FRAME_BYTES = 3 + CHECK_BYTES,    // address, function, code, check
    ECHOING_FRAME_BYTES = MODBUS_REQUEST_BYTES, // replies to writes repeat two words of the request
    EXCEPTION_BIT = 0x80,
    BYTE_BITS = 8,
    BYTE_MASK = 0xff,
    LAST_ADDRESS = 247, // 248 to 255 are reserved
};

/* Functions of other programs' traffic whose replies' lengths are known (Application Protocol, section 6). */
enum {
    READ_COILS = 1,
    WRITE_COIL = 5,
    WRITE_REGISTER = 6,
    WRITE_COILS = 15,
    WRITE_REGISTERS = 16,
};

/* Serial Line guide, appendix B. */
#define CRC_PRESET     0xffffu
#define CRC_POLYNOMIAL 0xa001u

/* Serial Line guide, section 2.5.1.1. */
enum {
    CHARACTER_BITS = 11,
    US_PER_SECOND = 1000000,
    FASTEST_COMPUTED_BAUD = 19200,
    FIXED_T15_US = 750,
    FIXED_T35_US = 1750,
};

uint16_t modbus_crc(const uint8_t *bytes, size_t length) {
    unsigned crc = CRC_PRESET;

    for (size_t i = 0; i < length; i++) {
        crc ^= bytes[i];
        for (int bit = 0; bit < BYTE_BITS; bit++)
            crc = (crc & 1u) ? (crc >> 1) ^ CRC_POLYNOMIAL : crc >> 1;
    }
    return (uint16_t)crc;
}

static uint16_t read_word(const uint8_t *bytes) {
    return (uint16_t)(bytes[0] << BYTE_BITS | bytes[1]);
}

static void write_word(uint8_t *bytes, uint16_t word) {
    bytes[0] = (uint8_t)(word >> BYTE_BITS);
    bytes[1] = (uint8_t)(word & BYTE_MASK);
}

/* The check is the one word that is sent low byte first. */
static bool holds(const uint8_t *bytes, size_t length) {
    const uint16_t crc = modbus_crc(bytes, length - CHECK_BYTES);

    return bytes[length - CHECK_BYTES] == (crc & BYTE_MASK) && bytes[length - 1] == crc >> BYTE_BITS;
}

void modbus_build_read(uint8_t address, uint8_t function, uint16_t first, uint16_t count,
                       uint8_t request[MODBUS_REQUEST_BYTES]) {
    uint16_t crc;

    assert(address >= 1 && address <= LAST_ADDRESS);
    assert(function == MODBUS_READ_HOLDING || function == MODBUS_READ_INPUT);
    assert(count >= 1 && count <= MODBUS_MOST_REGISTERS);
    request[ADDRESS_AT] = address;
    request[FUNCTION_AT] = function;
    write_word(request + REQUEST_FIRST_AT, first);
    write_word(request + REQUEST_COUNT_AT, count);
    crc = modbus_crc(request, MODBUS_REQUEST_BYTES - CHECK_BYTES);
    request[MODBUS_REQUEST_BYTES - CHECK_BYTES] = (uint8_t)(crc & BYTE_MASK);
    request[MODBUS_REQUEST_BYTES - 1] = (uint8_t)(crc >> BYTE_BITS);
}

void modbus_expect(struct modbus_reply *reply, uint8_t address, uint8_t function, uint16_t count) {
    *reply = (struct modbus_reply){.address = address, .function = function, .count = count};
}

/* How long the frame at the front says it is; 0 if that cannot be told. Needs three bytes. */
static size_t frame_length(const uint8_t *bytes) {
    const uint8_t function = bytes[FUNCTION_AT];

    if (function & EXCEPTION_BIT)
        return EXCEPTION_FRAME_BYTES;
    if (function >= READ_COILS && function <= MODBUS_READ_INPUT)
        return COUNTED_FRAME_BYTES + (size_t)bytes[BYTE_COUNT_AT];
    if (function == WRITE_COIL || function == WRITE_REGISTER || function == WRITE_COILS ||
        function == WRITE_REGISTERS)
        return ECHOING_FRAME_BYTES;
    return 0;
}

static bool begins_with_request(const struct modbus_reply *reply) {
    return reply->length >= MODBUS_REQUEST_BYTES && reply->bytes[ADDRESS_AT] == reply->address &&
           reply->bytes[FUNCTION_AT] == reply->function &&
           read_word(reply->bytes + REQUEST_COUNT_AT) == reply->count && holds(reply->bytes, MODBUS_REQUEST_BYTES);
}

/* What a frame is whose check holds. */
static enum modbus_status name_frame(const struct modbus_reply *reply) {
    if (reply->bytes[ADDRESS_AT] != reply->address)
        return MODBUS_WRONG_ADDRESS;
    if (reply->bytes[FUNCTION_AT] == (reply->function | EXCEPTION_BIT))
        return MODBUS_EXCEPTION;
    if (reply->bytes[FUNCTION_AT] != reply->function)
        return MODBUS_WRONG_FUNCTION;
    if (reply->bytes[BYTE_COUNT_AT] != 2 * reply->count)
        return MODBUS_WRONG_LENGTH;
    return MODBUS_DONE;
}

static enum modbus_status judge(const struct modbus_reply *reply) {
    size_t length;
    bool as_asked;

    if (reply->length <= BYTE_COUNT_AT)
        return MODBUS_MORE;
    length = frame_length(reply->bytes);
    as_asked = reply->bytes[BYTE_COUNT_AT] == 2 * reply->count;
    // An echo has a register number where a reply has its byte count. Only where these are equal must the
    // longer reading have its chance first.
    if (begins_with_request(reply) && (!as_asked || (reply->length >= length && !holds(reply->bytes, length))))
        return MODBUS_ECHO;
    if (length == 0 || reply->length < length)
        return reply->length < MODBUS_FRAME_BYTES ? MODBUS_MORE : MODBUS_WRONG_LENGTH;
    // Eight bytes that are all of an echo must not be cut at the length that its register number suggests.
    if (!as_asked && reply->length < MODBUS_REQUEST_BYTES && !holds(reply->bytes, length) &&
        reply->bytes[FUNCTION_AT] == reply->function)
        return MODBUS_MORE;
    if (!holds(reply->bytes, length))
        return MODBUS_BAD_CHECK;
    return reply->length > length ? MODBUS_WRONG_LENGTH : name_frame(reply);
}

enum modbus_status modbus_take(struct modbus_reply *reply, const uint8_t *bytes, size_t length, int64_t now_us) {
    const size_t room = MODBUS_FRAME_BYTES - reply->length;

    if (length == 0)
        return judge(reply);
    if (reply->length == 0)
        reply->first_byte_us = now_us;
    reply->last_byte_us = now_us;
    if (length > room) {
        memcpy(reply->bytes + reply->length, bytes, room);
        reply->length = MODBUS_FRAME_BYTES;
        return begins_with_request(reply) ? MODBUS_ECHO : MODBUS_WRONG_LENGTH;
    }
    memcpy(reply->bytes + reply->length, bytes, length);
    reply->length += length;
    return judge(reply);
}

enum modbus_status modbus_silence(const struct modbus_reply *reply, int64_t allowed_us, int64_t now_us) {
    if (reply->length == 0 || now_us - reply->last_byte_us <= allowed_us)
        return MODBUS_MORE;
    if (begins_with_request(reply) && reply->length == MODBUS_REQUEST_BYTES)
        return MODBUS_ECHO;
    // A function whose replies' length nobody told us: all that came is the frame.
    if (reply->length >= SHORTEST_FRAME_BYTES && frame_length(reply->bytes) == 0)
        return holds(reply->bytes, reply->length) ? name_frame(reply) : MODBUS_BAD_CHECK;
    return MODBUS_CUT;
}

void modbus_copy_registers(const struct modbus_reply *reply, uint16_t *registers) {
    for (size_t i = 0; i < reply->count; i++)
        registers[i] = read_word(reply->bytes + DATA_AT + 2 * i);
}

uint8_t modbus_exception_code(const struct modbus_reply *reply) {
    return reply->bytes[EXCEPTION_CODE_AT];
}

const char *modbus_status_name(enum modbus_status status) {
    static const char *const names[] = {
        [MODBUS_MORE] = "incomplete",
        [MODBUS_DONE] = "reply",
        [MODBUS_EXCEPTION] = "refused",
        [MODBUS_BAD_CHECK] = "check does not hold",
        [MODBUS_WRONG_ADDRESS] = "reply of another address",
        [MODBUS_WRONG_FUNCTION] = "reply to another function",
        [MODBUS_WRONG_LENGTH] = "reply of another length",
        [MODBUS_ECHO] = "own request came back",
        [MODBUS_CUT] = "reply broke off",
    };

    return (size_t)status < sizeof names / sizeof names[0] ? names[status] : "unknown status";
}

static int64_t divide_up(int64_t dividend, int64_t divisor) {
    return (dividend + divisor - 1) / divisor;
}

int64_t modbus_character_us(int baud) {
    return divide_up((int64_t)CHARACTER_BITS * US_PER_SECOND, baud);
}

/* Halves of a character, so that 1.5 and 3.5 are whole numbers of them. */
static int64_t half_characters_us(int halves, int baud) {
    return divide_up((int64_t)halves * CHARACTER_BITS * US_PER_SECOND, 2 * (int64_t)baud);
}

int64_t modbus_t15_us(int baud) {
    return baud > FASTEST_COMPUTED_BAUD ? FIXED_T15_US : half_characters_us(3, baud);
}

int64_t modbus_t35_us(int baud) {
    return baud > FASTEST_COMPUTED_BAUD ? FIXED_T35_US : half_characters_us(7, baud);
}
