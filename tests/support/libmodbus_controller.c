// SPDX-License-Identifier: MIT
#include "libmodbus_controller.h"

#include <modbus/modbus.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "bus.h"

enum { BAUD = 115200, DATA_BITS = 8, STOP_BITS = 1, BYTE_TIMEOUT_US = 5000, WORD_BITS = 16, WORD_MASK = 0xffff };
enum { HOLDING = 3, INPUT = 4 };

const float libmodbus_float = 805.25F;
const int32_t libmodbus_long = -123456;
const int16_t libmodbus_negative = -12;

/* By hand: libmodbus 3.1.6 puts a float's bytes in another order than the names of its functions say. */
static void put_pattern(uint16_t *registers, unsigned at, unsigned swapped_at, uint32_t pattern) {
    registers[at] = registers[swapped_at + 1] = (uint16_t)(pattern >> WORD_BITS);
    registers[at + 1] = registers[swapped_at] = (uint16_t)(pattern & WORD_MASK);
}

static void fill(uint16_t *registers, uint8_t address, uint8_t function) {
    uint32_t float_pattern;

    for (unsigned i = 0; i < LIBMODBUS_REGISTERS; i++)
        registers[i] = bus_register(address, function, i);
    memcpy(&float_pattern, &libmodbus_float, sizeof float_pattern);
    put_pattern(registers, LIBMODBUS_FLOAT_AT, LIBMODBUS_SWAPPED_FLOAT_AT, float_pattern);
    put_pattern(registers, LIBMODBUS_LONG_AT, LIBMODBUS_SWAPPED_LONG_AT, (uint32_t)libmodbus_long);
    registers[LIBMODBUS_NEGATIVE_AT] = (uint16_t)libmodbus_negative;
}

static void fill_both(void *context, uint16_t *holding, uint16_t *input) {
    const int *address = context;

    fill(holding, (uint8_t)*address, HOLDING);
    fill(input, (uint8_t)*address, INPUT);
}

_Noreturn void libmodbus_serve(const char *device, int address) {
    libmodbus_serve_fresh(device, address, LIBMODBUS_REGISTERS, fill_both, &address);
}

_Noreturn void libmodbus_serve_fresh(const char *device, int address, int count, libmodbus_refresh *refresh,
                                     void *context) {
    modbus_t *modbus = modbus_new_rtu(device, BAUD, 'N', DATA_BITS, STOP_BITS);
    modbus_mapping_t *mapping = modbus_mapping_new(0, 0, count, count);

    if (modbus == NULL || mapping == NULL || modbus_set_slave(modbus, address) != 0 || modbus_connect(modbus) != 0)
        _exit(EXIT_FAILURE);
    modbus_set_byte_timeout(modbus, 0, BYTE_TIMEOUT_US); // so that a request cut short spoils no more than itself
    for (;;) {
        uint8_t query[MODBUS_RTU_MAX_ADU_LENGTH];
        const int length = modbus_receive(modbus, query);

        if (length <= 0)
            continue;
        refresh(context, mapping->tab_registers, mapping->tab_input_registers);
        modbus_reply(modbus, query, length, mapping);
    }
}
