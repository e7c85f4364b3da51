// SPDX-License-Identifier: MIT
/* server: the answering side of Modbus RTU, frame by frame. Pure: bytes in, bytes out.
 *
 * Written from "MODBUS Application Protocol Specification" V1.1b3 and "MODBUS over Serial Line" V1.02 alone,
 * and sharing no code with any asking side, so that the two can be held against each other.
 *
 * Functions 03 and 04 (read), 05 and 0F (coils), 06 and 10 (holding registers). Any other function gets
 * exception 01. A frame with a bad check, for nobody here, or a broadcast, gets no answer.
 */
#ifndef SHOP_SERVER_H
#define SHOP_SERVER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SERVER_FRAME_BYTES = 256, SERVER_READ_MOST = 125, SERVER_WRITE_MOST = 123, SERVER_COILS_MOST = 1968 };
enum server_function {
    SERVER_READ_HOLDING = 0x03,
    SERVER_READ_INPUT = 0x04,
    SERVER_WRITE_COIL = 0x05,
    SERVER_WRITE_REGISTER = 0x06,
    SERVER_WRITE_COILS = 0x0F,
    SERVER_WRITE_REGISTERS = 0x10,
};
enum server_exception {
    SERVER_OK = 0,
    SERVER_ILLEGAL_FUNCTION = 1,
    SERVER_ILLEGAL_ADDRESS = 2,
    SERVER_ILLEGAL_VALUE = 3,
};

/* What stands behind the frames. `read`, `write` and `turn` return an exception, SERVER_OK for none. */
struct server_device {
    void *context;
    bool (*is_here)(void *context, int address); // and powered
    enum server_exception (*read)(void *context, int address, int function, unsigned first, unsigned count,
                                  uint16_t *words);
    enum server_exception (*write)(void *context, int address, unsigned first, unsigned count,
                                   const uint16_t *words);
    enum server_exception (*turn)(void *context, int address, unsigned coil, bool on);
};

/* The check of `length` bytes; it travels low byte first. */
uint16_t server_crc(const uint8_t *bytes, size_t length);
/* Appends the check to `length` bytes; returns the new length. */
size_t server_seal(uint8_t *frame, size_t length);
/* Whether the last two of `length` bytes are the check of those before; a frame has at least 4 bytes. */
bool server_is_sealed(const uint8_t *frame, size_t length);

/* The length of the request that begins at `bytes`, as its function says: 0 if too few bytes have come to
 * tell, or if the function is not one of the six. */
size_t server_measure(const uint8_t *bytes, size_t length);

/* Whether a whole sealed frame is a read request as the specification wants it. */
bool server_is_read(const uint8_t *frame, size_t length);

/* Answers the whole sealed frame. Returns the reply's length, 0 to keep silent. */
size_t server_answer(const struct server_device *device, const uint8_t *frame, size_t length,
                     uint8_t reply[SERVER_FRAME_BYTES]);

#endif
