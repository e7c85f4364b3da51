// SPDX-License-Identifier: MIT
// Measures real time: runs alone.
/* Every format of a register, read from a controller that others wrote: libmodbus sends the words, the poller makes
 * readings of them. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <signal.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include "soakledger/modbus.h"
#include "support/libmodbus_controller.h"
#include "support/relay.h"
#include "support/rig.h"

enum { ADDRESS = 9, INTERVAL_MS = 200, STEP_MS = 100, PATIENCE_MS = 6000, REPLY_WITHIN_MS = 200, WORDS_A_ROW = 4 };

struct row {
    enum encoding encoding;
    uint16_t high, low; // of one word: `high` alone
    int decimals;
    enum channel_unit unit;
    enum quality quality;
    int64_t value; // thousandths of a degree C
};

#define GOOD(encoding, high, low, decimals, unit, value)                                                           \
    { ENCODING_##encoding, high, low, decimals, CHANNEL_##unit, QUALITY_GOOD, INT64_C(value) }
#define BAD(encoding, high, low, quality)                                                                          \
    { ENCODING_##encoding, high, low, 0, CHANNEL_CELSIUS, QUALITY_##quality, 0 }

/* Words by hand from the definitions: two's complement, and binary32 of IEEE 754 (sign, 8 bits of exponent with
 * bias 127, 23 bits of fraction). C = (F - 32) * 5 / 9 by definition. Halves are rounded away from zero. */
static const struct row rows[] = {
    GOOD(INT16, 0x1F59, 0, 1, CELSIUS, 802500),     // 8025
    GOOD(INT16, 0x7FFF, 0, 0, CELSIUS, 32767000),   // 2^15 - 1
    GOOD(INT16, 0x8000, 0, 0, CELSIUS, -32768000),  // -2^15
    GOOD(INT16, 0xFFFF, 0, 1, CELSIUS, -100),       // -1
    GOOD(INT16, 0x0003, 0, -3, CELSIUS, 3000000),   //
    GOOD(INT16, 0xFFFE, 0, -2, CELSIUS, -200000),   // -2
    GOOD(INT16, 0x00AF, 0, -1, FAHRENHEIT, 954444), // 175: 1750 F = 8590 / 9 C
    GOOD(INT16, 0x3039, 0, 2, CELSIUS, 123450),     // 12345
    GOOD(INT16, 0x3039, 0, 3, CELSIUS, 12345),
    GOOD(INT16, 0x3039, 0, 4, CELSIUS, 1235),  // 1234.5 thousandths
    GOOD(INT16, 0xCFC7, 0, 4, CELSIUS, -1235), // -12345
    GOOD(INT16, 0x3039, 0, 5, CELSIUS, 123),
    GOOD(INT16, 0x8000, 0, 6, CELSIUS, -33),             // -32.768 thousandths
    GOOD(INT16, 0xFFD8, 0, 0, FAHRENHEIT, -40000),       // -40 F = -40 C
    GOOD(INT16, 0x8000, 0, 0, FAHRENHEIT, -18222222),    // -32800 * 5 / 9
    GOOD(UINT16, 0x8000, 0, 1, CELSIUS, 3276800),        // 2^15
    GOOD(UINT16, 0xFFFF, 0, 0, CELSIUS, 65535000),       // 2^16 - 1
    GOOD(UINT16, 0xFFFF, 0, -3, CELSIUS, 65535000000),   //
    GOOD(UINT16, 0xFFFF, 0, 6, CELSIUS, 66),             // 65.535 thousandths
    GOOD(UINT16, 0xFFFF, 0, 1, FAHRENHEIT, 3623056),     // 6521.5 * 5 / 9
    GOOD(UINT16, 0x0000, 0, 0, FAHRENHEIT, -17778),      // -32 * 5 / 9
    GOOD(INT32, 0xFFFE, 0x1DC0, 0, CELSIUS, -123456000), // 2^32 - 123456
    GOOD(INT32, 0xFFFE, 0x1DC0, 3, CELSIUS, -123456),
    GOOD(INT32, 0xFFFE, 0x1DC0, 6, CELSIUS, -123),
    GOOD(INT32, 0x0000, 0x8000, 0, CELSIUS, 32768000), // the low word's sign is none
    GOOD(INT32, 0x7FFF, 0xFFFF, 0, CELSIUS, 2147483647000),
    GOOD(INT32, 0x8000, 0x0000, 0, CELSIUS, -2147483648000),
    GOOD(INT32, 0x7FFF, 0xFFFF, -3, CELSIUS, 2147483647000000),
    GOOD(INT32, 0x8000, 0x0000, -3, CELSIUS, -2147483648000000),
    GOOD(INT32, 0x7FFF, 0xFFFF, 6, CELSIUS, 2147484),        // 2147483.647 thousandths
    GOOD(INT32, 0x0000, 0x446C, 1, FAHRENHEIT, 955333),      // 17516: 1719.6 * 5 / 9
    GOOD(INT32, 0xFFFF, 0xFE70, 1, FAHRENHEIT, -40000),      // -400
    GOOD(UINT32, 0x8000, 0x0000, 0, CELSIUS, 2147483648000), // 2^31
    GOOD(UINT32, 0xFFFF, 0xFFFF, 0, CELSIUS, 4294967295000), // 2^32 - 1
    GOOD(UINT32, 0xFFFF, 0xFFFF, -3, CELSIUS, 4294967295000000),
    GOOD(UINT32, 0xFFFF, 0xFFFF, 6, CELSIUS, 4294967),          // 4294967.295 thousandths
    GOOD(UINT32, 0x0001, 0x3988, 2, CELSIUS, 802640),           // 65536 + 14728 = 80264
    GOOD(UINT32, 0xFFFF, 0xFFFF, 0, FAHRENHEIT, 2386092923889), // 4294967263 * 5 / 9
    GOOD(FLOAT32, 0x4448, 0xA000, 0, CELSIUS, 802500),          // 1.10010001010b * 2^9
    GOOD(FLOAT32, 0xC148, 0x0000, 0, CELSIUS, -12500),          // -1.1001b * 2^3
    GOOD(FLOAT32, 0x44DA, 0xC000, 0, FAHRENHEIT, 954444),       // 1750 = 1.1011010110b * 2^10
    GOOD(FLOAT32, 0xC220, 0x0000, 0, FAHRENHEIT, -40000),       // -40 = -1.01b * 2^5
    GOOD(FLOAT32, 0x4B7F, 0xFFFF, 0, CELSIUS, 16777215000),     // 2^24 - 1
    GOOD(FLOAT32, 0xCB7F, 0xFFFF, -3, CELSIUS, -16777215000000),
    GOOD(FLOAT32, 0x4B7F, 0xFFFF, 6, CELSIUS, 16777),
    GOOD(FLOAT32, 0x42C8, 0x0000, -1, CELSIUS, 1000000), // 100 = 1.1001b * 2^6
    GOOD(FLOAT32, 0x3DCC, 0xCCCD, 0, CELSIUS, 100),      // nearest to a tenth
    GOOD(FLOAT32, 0x0000, 0x0001, 0, CELSIUS, 0),        // 2^-149
    BAD(FLOAT32, 0x7F7F, 0xFFFF, OVER_RANGE),            // nearly 2^128: more than a reading can hold
    BAD(FLOAT32, 0xFF7F, 0xFFFF, UNDER_RANGE),
    BAD(FLOAT32, 0x7F80, 0x0000, OPEN_SENSOR), // infinity
    BAD(FLOAT32, 0x7FC0, 0x0000, OPEN_SENSOR), // not a number
};
enum { ROWS = sizeof rows / sizeof *rows, REGISTERS = ROWS * WORDS_A_ROW };

static struct capture sent = CAPTURE_EMPTY;

/* Each row has four registers: high word first, then low word first. Input registers hold the rows in reverse, so
 * that a function taken for the other finds another value. */
static unsigned place_of(size_t row, uint8_t function) {
    return WORDS_A_ROW * (unsigned)(function == MODBUS_READ_HOLDING ? row : ROWS - 1 - row);
}

static void fill(void *context, uint16_t *holding, uint16_t *input) {
    (void)context;
    for (size_t i = 0; i < ROWS; i++) {
        const uint16_t words[WORDS_A_ROW] = {rows[i].high, rows[i].low, rows[i].low, rows[i].high};

        for (unsigned j = 0; j < WORDS_A_ROW; j++) {
            holding[place_of(i, MODBUS_READ_HOLDING) + j] = words[j];
            input[place_of(i, MODBUS_READ_INPUT) + j] = words[j];
        }
    }
}

static void add_row(struct rig *rig, size_t instrument, size_t row, uint8_t function, enum word_order order,
                    size_t *row_of) {
    const unsigned at = place_of(row, function) + (order == WORD_HIGH_FIRST ? 0 : 2);
    const size_t channel = rig_add_channel(rig, instrument, function, at, rows[row].encoding, INTERVAL_MS,
                                           rows[row].value); // which the rig holds every good reading against
    struct channel_fitting *fitting = &rig->channels[channel].fitting;

    fitting->word_order = order;
    fitting->decimals = rows[row].decimals;
    fitting->unit = rows[row].unit;
    fitting->low = INT64_MIN;
    fitting->high = INT64_MAX;
    row_of[channel] = row;
}

static bool all_came(const struct rig *rig, const size_t *row_of) {
    for (size_t i = 0; i < rig->config.channel_count; i++)
        if (rig_count(rig, i, rows[row_of[i]].quality, 0) == 0)
            return false;
    return true;
}

static void expect_all(struct rig *rig, const size_t *row_of) {
    for (int64_t waited_ms = 0; waited_ms < PATIENCE_MS && !all_came(rig, row_of); waited_ms += STEP_MS)
        rig_run(rig, STEP_MS);
    for (size_t i = 0; i < rig->config.channel_count; i++) {
        const struct row *row = &rows[row_of[i]];

        if (rig_count(rig, i, row->quality, 0) == 0)
            fail_msg("row %zu, function %d, %s: never read as %s", row_of[i], rig->channels[i].fitting.function,
                     channel_encoding_name(row->encoding), quality_name(row->quality));
        if (row->quality != QUALITY_GOOD)
            assert_int_equal(rig_count(rig, i, QUALITY_GOOD, 0), 0);
    }
}

static void reads_every_format(void **state) {
    static const uint8_t functions[] = {MODBUS_READ_HOLDING, MODBUS_READ_INPUT};
    size_t row_of[RIG_CHANNELS], instrument;
    struct relay relay;
    struct rig rig;
    pid_t child;

    (void)state;
    relay_open(&relay, 1, &sent);
    child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        libmodbus_serve_fresh(relay.controller.far, ADDRESS, REGISTERS, fill, NULL);
    }
    relay_start(&relay);
    rig_begin(&rig, false);
    rig_add_line(&rig, relay.line.far);
    instrument = rig_add_instrument(&rig, 0, ADDRESS, REPLY_WITHIN_MS, 1);
    for (size_t i = 0; i < ROWS; i++)
        for (size_t j = 0; j < sizeof functions; j++)
            for (int order = WORD_HIGH_FIRST; order <= WORD_LOW_FIRST; order++)
                if (order == WORD_HIGH_FIRST || channel_count_registers(rows[i].encoding) > 1)
                    add_row(&rig, instrument, i, functions[j], (enum word_order)order, row_of);
    rig_open(&rig);
    expect_all(&rig, row_of);
    print_message("%zu channels of %d rows\n", rig.config.channel_count, ROWS);
    rig_end(&rig);
    kill(child, SIGKILL);
    waitpid(child, NULL, 0);
    relay_close(&relay);
    capture_clear(&sent);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(reads_every_format)};

    return cmocka_run_group_tests(tests, NULL, NULL);
}
