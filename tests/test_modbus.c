// SPDX-License-Identifier: MIT
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/modbus.h"

enum {
    LINE_BYTES = 1024,
    NAME_BYTES = 64,
    CHECK_BYTES = 2,
    ADDRESS = 0x11,
    SOME_US = 1000,
    ALLOWED_US = 20000,
    HEX_BASE = 16,
};

struct frame {
    size_t length;
    uint8_t bytes[2 * MODBUS_FRAME_BYTES];
};

static struct frame read_hex(const char *hex) {
    struct frame frame = {0};

    for (; hex[0] != '\0' && hex[1] != '\0'; hex += 2) {
        const char digits[] = {hex[0], hex[1], '\0'};

        frame.bytes[frame.length++] = (uint8_t)strtoul(digits, NULL, HEX_BASE);
    }
    return frame;
}

static struct frame with_check(const char *hex) {
    struct frame frame = read_hex(hex);
    const uint16_t crc = modbus_crc(frame.bytes, frame.length);

    frame.bytes[frame.length++] = (uint8_t)(crc & 0xff);
    frame.bytes[frame.length++] = (uint8_t)(crc >> 8);
    return frame;
}

/* Calls `visit` for every data row of a reference table: past the comments and the heading. */
static int visit_rows(const char *path, void (*visit)(const char *row)) {
    FILE *file = fopen(path, "r");
    char row[LINE_BYTES];
    bool heading = true;
    int count = 0;

    assert_non_null(file);
    while (fgets(row, sizeof row, file) != NULL) {
        if (row[0] == '#')
            continue;
        if (!heading) {
            visit(row);
            count++;
        }
        heading = false;
    }
    fclose(file);
    return count;
}

static void check_frame_row(const char *row) {
    char id[NAME_BYTES], hex[LINE_BYTES];
    struct frame frame;
    uint16_t crc;

    assert_int_equal(sscanf(row, "%63[^,],%1023[^,]", id, hex), 2);
    frame = read_hex(hex);
    crc = modbus_crc(frame.bytes, frame.length - CHECK_BYTES);
    assert_int_equal(frame.bytes[frame.length - 2], crc & 0xff);
    assert_int_equal(frame.bytes[frame.length - 1], crc >> 8);
}

static void checks_published_frames(void **state) {
    (void)state;
    assert_int_equal(visit_rows("tests/reference/modbus_frames.csv", check_frame_row), 12);
}

static void check_timing_row(const char *row) {
    int baud;
    double character_us, t15_us, t35_us;

    assert_int_equal(sscanf(row, "%d,%lf,%lf,%lf", &baud, &character_us, &t15_us, &t35_us), 4);
    assert_int_equal(modbus_character_us(baud), (int64_t)ceil(character_us));
    assert_int_equal(modbus_t15_us(baud), (int64_t)ceil(t15_us));
    assert_int_equal(modbus_t35_us(baud), (int64_t)ceil(t35_us));
}

static void times_as_published(void **state) {
    (void)state;
    assert_int_equal(visit_rows("tests/reference/modbus_timing.csv", check_timing_row), 8);
}

static void expect_request(const char *hex, uint8_t address, uint8_t function, uint16_t first, uint16_t count) {
    const struct frame published = read_hex(hex);
    uint8_t request[MODBUS_REQUEST_BYTES];

    modbus_build_read(address, function, first, count, request);
    assert_int_equal(published.length, sizeof request);
    assert_memory_equal(request, published.bytes, sizeof request);
}

static void builds_published_requests(void **state) {
    (void)state;
    expect_request("1103006B00037687", 0x11, MODBUS_READ_HOLDING, 0x6b, 3);
    expect_request("110400080001B298", 0x11, MODBUS_READ_INPUT, 8, 1);
    expect_request("010300000002C40B", 1, MODBUS_READ_HOLDING, 0, 2);
}

/* Hands a frame over in chunks of `chunk` bytes; what the last one made of it. */
static enum modbus_status take_in_chunks(struct modbus_reply *reply, const struct frame *frame, size_t chunk) {
    enum modbus_status status = MODBUS_MORE;

    for (size_t at = 0; at < frame->length && status == MODBUS_MORE; at += chunk) {
        const size_t length = frame->length - at < chunk ? frame->length - at : chunk;

        status = modbus_take(reply, frame->bytes + at, length, SOME_US + (int64_t)at);
    }
    return status;
}

/* The same whatever the chunks. */
static void expect_status(struct frame frame, uint16_t count, enum modbus_status expected) {
    for (size_t chunk = 1; chunk <= frame.length; chunk++) {
        struct modbus_reply reply;
        enum modbus_status status;

        modbus_expect(&reply, ADDRESS, MODBUS_READ_HOLDING, count);
        status = take_in_chunks(&reply, &frame, chunk);
        if (status == MODBUS_MORE)
            status = modbus_silence(&reply, ALLOWED_US, SOME_US + (int64_t)frame.length + ALLOWED_US + 1);
        assert_string_equal(modbus_status_name(status), modbus_status_name(expected));
    }
}

static void reads_published_replies(void **state) {
    const struct frame frame = read_hex("110306022B00000064C8BA");
    const struct frame input = read_hex("110402000AF8F4");
    struct modbus_reply reply;
    uint16_t registers[3];

    (void)state;
    for (size_t chunk = 1; chunk <= frame.length; chunk++) {
        modbus_expect(&reply, ADDRESS, MODBUS_READ_HOLDING, 3);
        assert_int_equal(take_in_chunks(&reply, &frame, chunk), MODBUS_DONE);
        assert_int_equal(reply.first_byte_us, SOME_US);
        modbus_copy_registers(&reply, registers);
        assert_int_equal(registers[0], 555);
        assert_int_equal(registers[1], 0);
        assert_int_equal(registers[2], 100);
    }
    modbus_expect(&reply, ADDRESS, MODBUS_READ_INPUT, 1);
    assert_int_equal(take_in_chunks(&reply, &input, 3), MODBUS_DONE);
    modbus_copy_registers(&reply, registers);
    assert_int_equal(registers[0], 10);
}

static struct frame build_longest(void) {
    struct frame frame = read_hex("1103FA");
    uint16_t crc;

    for (unsigned i = 0; i < MODBUS_MOST_REGISTERS; i++) {
        frame.bytes[frame.length++] = (uint8_t)(0xa0 + i);
        frame.bytes[frame.length++] = (uint8_t)i;
    }
    crc = modbus_crc(frame.bytes, frame.length);
    frame.bytes[frame.length++] = (uint8_t)(crc & 0xff);
    frame.bytes[frame.length++] = (uint8_t)(crc >> 8);
    return frame;
}

static void reads_the_longest_reply(void **state) {
    struct frame frame = build_longest();
    struct modbus_reply reply;
    uint16_t registers[MODBUS_MOST_REGISTERS];

    (void)state;
    assert_int_equal(frame.length, 255);
    modbus_expect(&reply, ADDRESS, MODBUS_READ_HOLDING, MODBUS_MOST_REGISTERS);
    assert_int_equal(take_in_chunks(&reply, &frame, 16), MODBUS_DONE);
    modbus_copy_registers(&reply, registers);
    for (unsigned i = 0; i < MODBUS_MOST_REGISTERS; i++)
        assert_int_equal(registers[i], ((0xa0 + i) & 0xff) << 8 | i);
    // One byte beyond it, several, and more than any frame may have.
    for (size_t beyond = 1; beyond <= MODBUS_FRAME_BYTES; beyond += 51) {
        modbus_expect(&reply, ADDRESS, MODBUS_READ_HOLDING, MODBUS_MOST_REGISTERS);
        frame.length = 255 + beyond;
        assert_int_equal(take_in_chunks(&reply, &frame, frame.length), MODBUS_WRONG_LENGTH);
        assert_true(reply.length <= MODBUS_FRAME_BYTES);
    }
}

static void reads_exceptions(void **state) {
    const struct frame frame = read_hex("118302C134");
    struct modbus_reply reply;

    (void)state;
    expect_status(frame, 3, MODBUS_EXCEPTION);
    modbus_expect(&reply, ADDRESS, MODBUS_READ_HOLDING, 3);
    assert_int_equal(take_in_chunks(&reply, &frame, 5), MODBUS_EXCEPTION);
    assert_int_equal(modbus_exception_code(&reply), 2);
    expect_status(read_hex("118302C135"), 3, MODBUS_BAD_CHECK);
}

static void tells_failures_apart(void **state) {
    (void)state;
    expect_status(read_hex("110306022B00000064C8BB"), 3, MODBUS_BAD_CHECK);
    expect_status(read_hex("110306022A00000064C8BA"), 3, MODBUS_BAD_CHECK);
    expect_status(with_check("120306022B00000064"), 3, MODBUS_WRONG_ADDRESS);
    expect_status(with_check("110406022B00000064"), 3, MODBUS_WRONG_FUNCTION);
    expect_status(read_hex("1106000100039A9B"), 3, MODBUS_WRONG_FUNCTION);
    expect_status(with_check("118402"), 3, MODBUS_WRONG_FUNCTION);
    expect_status(with_check("112B0E0101"), 3, MODBUS_WRONG_FUNCTION); // length unknown: silence ends it
    expect_status(with_check("122B0E0101"), 3, MODBUS_WRONG_ADDRESS);
    expect_status(read_hex("112B0E01010000"), 3, MODBUS_BAD_CHECK);
    expect_status(with_check("110304022B0000"), 3, MODBUS_WRONG_LENGTH);
    expect_status(with_check("110308022B000000640000"), 3, MODBUS_WRONG_LENGTH);
}

static void refuses_bytes_beyond_the_frame(void **state) {
    struct frame frame = read_hex("110306022B00000064C8BA00");
    struct frame exception = read_hex("118302C134FF");
    struct modbus_reply reply;

    (void)state;
    modbus_expect(&reply, ADDRESS, MODBUS_READ_HOLDING, 3);
    assert_int_equal(take_in_chunks(&reply, &frame, frame.length), MODBUS_WRONG_LENGTH);
    modbus_expect(&reply, ADDRESS, MODBUS_READ_HOLDING, 3);
    assert_int_equal(take_in_chunks(&reply, &exception, exception.length), MODBUS_WRONG_LENGTH);
}

/* Every register number, since an echo has it where a reply has its byte count. */
static void recognises_its_echo(void **state) {
    (void)state;
    for (unsigned first = 0; first <= UINT16_MAX; first += 5) {
        for (uint16_t count = 1; count <= 4; count++) {
            struct frame echo = {.length = MODBUS_REQUEST_BYTES};

            modbus_build_read(ADDRESS, MODBUS_READ_HOLDING, (uint16_t)first, count, echo.bytes);
            if ((first >> 8) != 2u)
                expect_status(echo, count, MODBUS_ECHO);
        }
    }
}

/* With register 02xx and one register an echo is longer than the reply that it looks like. */
static void recognises_an_echo_like_a_reply(void **state) {
    struct frame echo = {.length = MODBUS_REQUEST_BYTES};
    struct modbus_reply reply;

    (void)state;
    modbus_build_read(ADDRESS, MODBUS_READ_HOLDING, 0x0234, 1, echo.bytes);
    modbus_expect(&reply, ADDRESS, MODBUS_READ_HOLDING, 1);
    assert_int_equal(take_in_chunks(&reply, &echo, echo.length), MODBUS_ECHO);
}

static void leaves_what_follows_an_echo(void **state) {
    static const uint8_t answer[] = {0x11, 3, 6, 2, 0x2b, 0, 0, 0, 0x64, 0xc8, 0xba};
    struct frame both = read_hex("1103006B00037687110306022B00000064C8BA");
    struct modbus_reply reply;

    (void)state;
    modbus_expect(&reply, ADDRESS, MODBUS_READ_HOLDING, 3);
    assert_int_equal(take_in_chunks(&reply, &both, both.length), MODBUS_ECHO);
    assert_int_equal(reply.length, both.length);
    assert_memory_equal(reply.bytes + MODBUS_REQUEST_BYTES, answer, sizeof answer);
}

static void ends_what_breaks_off(void **state) {
    const struct frame frame = read_hex("110306022B00000064C8BA");

    (void)state;
    for (size_t length = 1; length < frame.length; length++) {
        struct modbus_reply reply;
        int64_t last_us;

        modbus_expect(&reply, ADDRESS, MODBUS_READ_HOLDING, 3);
        assert_int_equal(modbus_silence(&reply, ALLOWED_US, INT32_MAX), MODBUS_MORE); // nothing began yet
        assert_int_equal(modbus_take(&reply, frame.bytes, 1, SOME_US), MODBUS_MORE);
        assert_int_equal(modbus_take(&reply, frame.bytes + 1, length - 1, 2L * SOME_US), MODBUS_MORE);
        last_us = length > 1 ? 2L * SOME_US : SOME_US;
        assert_int_equal(reply.first_byte_us, SOME_US);
        assert_int_equal(modbus_silence(&reply, ALLOWED_US, last_us + ALLOWED_US), MODBUS_MORE);
        assert_int_equal(modbus_silence(&reply, ALLOWED_US, last_us + ALLOWED_US + 1), MODBUS_CUT);
    }
}

/* A CRC of 16 bits finds every single, double and odd number of flipped bits in a frame this short, and every
 * burst of up to 16 bits (from memory: properties of the polynomial x^16 + x^15 + x^2 + 1). */
static void never_believes_a_damaged_reply(void **state) {
    const struct frame good = read_hex("110306022B00000064C8BA");

    (void)state;
    for (size_t a = 0; a < good.length * 8; a++) {
        for (size_t b = a; b < good.length * 8; b++) {
            struct frame bad = good;
            struct modbus_reply reply;

            bad.bytes[a / 8] ^= (uint8_t)(1u << a % 8);
            if (b != a)
                bad.bytes[b / 8] ^= (uint8_t)(1u << b % 8);
            modbus_expect(&reply, ADDRESS, MODBUS_READ_HOLDING, 3);
            assert_int_not_equal(take_in_chunks(&reply, &bad, bad.length), MODBUS_DONE);
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(checks_published_frames),
        cmocka_unit_test(times_as_published),
        cmocka_unit_test(builds_published_requests),
        cmocka_unit_test(reads_published_replies),
        cmocka_unit_test(reads_the_longest_reply),
        cmocka_unit_test(reads_exceptions),
        cmocka_unit_test(tells_failures_apart),
        cmocka_unit_test(refuses_bytes_beyond_the_frame),
        cmocka_unit_test(recognises_its_echo),
        cmocka_unit_test(recognises_an_echo_like_a_reply),
        cmocka_unit_test(leaves_what_follows_an_echo),
        cmocka_unit_test(ends_what_breaks_off),
        cmocka_unit_test(never_believes_a_damaged_reply),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
