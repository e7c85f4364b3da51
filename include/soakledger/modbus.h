// SPDX-License-Identifier: MIT
/* modbus: Modbus RTU as a client that only reads. Pure: bytes and times in, registers or errors out.
 *
 * Sources: MODBUS over Serial Line, Specification and Implementation Guide V1.02 (frames, CRC, t1.5 and t3.5);
 * MODBUS Application Protocol Specification V1.1b3 (functions 03 and 04, exceptions). There is no way here to
 * build a frame with any other function.
 */
#ifndef SOAKLEDGER_MODBUS_H
#define SOAKLEDGER_MODBUS_H

#include <stddef.h>
#include <stdint.h>

enum {
    MODBUS_FRAME_BYTES = 256,    // longest RTU frame
    MODBUS_MOST_REGISTERS = 125, // in one read
    MODBUS_REQUEST_BYTES = 8,
    MODBUS_READ_HOLDING = 3,
    MODBUS_READ_INPUT = 4,
};

enum modbus_status {
    MODBUS_MORE,           // the reply is not complete yet
    MODBUS_DONE,           // registers are there
    MODBUS_EXCEPTION,      // the controller refused; see modbus_exception_code
    MODBUS_BAD_CHECK,      // complete by length, but the CRC does not hold
    MODBUS_WRONG_ADDRESS,  // a good frame of another address
    MODBUS_WRONG_FUNCTION, // a good frame of another function
    MODBUS_WRONG_LENGTH,   // a good frame whose byte count is not what was asked for, or bytes beyond the frame
    MODBUS_ECHO,           // our own request came back
    MODBUS_CUT,            // silence within the frame
};

uint16_t modbus_crc(const uint8_t *bytes, size_t length);

/* Builds a read request; `function` 3 or 4, address 1..247, count 1..125 (asserted: our own bugs). */
void modbus_build_read(uint8_t address, uint8_t function, uint16_t first, uint16_t count,
                       uint8_t request[MODBUS_REQUEST_BYTES]);

/* Collects one reply. */
struct modbus_reply {
    uint8_t address, function;
    uint16_t count;
    size_t length;
    int64_t first_byte_us; // when the first byte came; valid if length > 0
    int64_t last_byte_us;
    uint8_t bytes[MODBUS_FRAME_BYTES];
};
void modbus_expect(struct modbus_reply *reply, uint8_t address, uint8_t function, uint16_t count);
/* Takes bytes that arrived at `now_us`. Anything but MODBUS_MORE ends the exchange. */
enum modbus_status modbus_take(struct modbus_reply *reply, const uint8_t *bytes, size_t length, int64_t now_us);
/* The line has been silent since the last byte until `now_us`: MODBUS_MORE if that is short enough still. */
enum modbus_status modbus_silence(const struct modbus_reply *reply, int64_t allowed_us, int64_t now_us);
/* After MODBUS_DONE: `count` registers. (Not called modbus_read_registers: that is a name of libmodbus.) */
void modbus_copy_registers(const struct modbus_reply *reply, uint16_t *registers);
uint8_t modbus_exception_code(const struct modbus_reply *reply);
const char *modbus_status_name(enum modbus_status status);

/* Times of section 2.5.1.1 of the Serial Line guide. A character is 11 bits. Above 19,200 baud the fixed
 * 750 us and 1750 us. Rounded up to whole us. */
int64_t modbus_character_us(int baud);
int64_t modbus_t15_us(int baud);
int64_t modbus_t35_us(int baud);

#endif
