// SPDX-License-Identifier: MIT
/* libmodbus_controller: a controller of libmodbus's making. Apart from everything of ours that is named modbus_. */
#ifndef SOAKLEDGER_TESTS_LIBMODBUS_CONTROLLER_H
#define SOAKLEDGER_TESTS_LIBMODBUS_CONTROLLER_H

#include <stdint.h>

/* Registers from 0, the same in holding and input registers but for what bus_register says of them; at these places
 * are these values, the float and the long also with their low word first. */
enum {
    LIBMODBUS_REGISTERS = 64,
    LIBMODBUS_FLOAT_AT = 40,
    LIBMODBUS_SWAPPED_FLOAT_AT = 42,
    LIBMODBUS_LONG_AT = 44,
    LIBMODBUS_SWAPPED_LONG_AT = 46,
    LIBMODBUS_NEGATIVE_AT = 48,
};
extern const float libmodbus_float;
extern const int32_t libmodbus_long;
extern const int16_t libmodbus_negative;

/* Serves the device until the process is killed. */
_Noreturn void libmodbus_serve(const char *device, int address);

/* What the registers hold from now on: called once a request is there, before each reply. */
typedef void libmodbus_refresh(void *context, uint16_t *holding, uint16_t *input);
/* The same with `count` registers of either table, from 0, as `refresh` sets them. */
_Noreturn void libmodbus_serve_fresh(const char *device, int address, int count, libmodbus_refresh *refresh,
                                     void *context);

#endif
