// SPDX-License-Identifier: MIT
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/probe.h"

enum { WORD_BITS = 16, TENTHS = 10, CELL_BYTES = 16 };

const char probe_table_head[] = "                           ---- int32, first: ---- ---- float32, first: ----\n"
                                "  reg.  hex  int16     /10   high half    low half    high half     low half\n";

static uint32_t join(uint16_t high, uint16_t low) {
    return (uint32_t)high << WORD_BITS | low;
}

static void show_long(uint32_t pattern, char *out) {
    snprintf(out, CELL_BYTES, "%" PRId32, (int32_t)pattern);
}

static void show_float(uint32_t pattern, char *out) {
    float value;

    memcpy(&value, &pattern, sizeof value);
    snprintf(out, CELL_BYTES, "%.6g", (double)value);
}

char *probe_show_register(char mark, uint16_t number, uint16_t value, const uint16_t *next, char *out) {
    char longs[2][CELL_BYTES] = {"", ""}, floats[2][CELL_BYTES] = {"", ""}, tenths[CELL_BYTES];
    const int as_int = (int16_t)value;
    size_t length;

    if (next != NULL) {
        show_long(join(value, *next), longs[0]);
        show_long(join(*next, value), longs[1]);
        show_float(join(value, *next), floats[0]);
        show_float(join(*next, value), floats[1]);
    }
    snprintf(tenths, sizeof tenths, "%s%d.%d", as_int < 0 ? "-" : "", abs(as_int) / TENTHS, abs(as_int) % TENTHS);
    snprintf(out, PROBE_TEXT_BYTES, "%c%5u %04X %6d %7s %11s %11s %12s %12s", mark, (unsigned)number,
             (unsigned)value, as_int, tenths, longs[0], longs[1], floats[0], floats[1]);
    for (length = strlen(out); length > 0 && out[length - 1] == ' ';)
        out[--length] = '\0';
    return out;
}
