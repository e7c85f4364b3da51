// SPDX-License-Identifier: MIT
/* Finding controllers, the part without a line: what is asked and in which order, and what a table says. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <string.h>

#include "soakledger/probe.h"

enum {
    COLUMNS = 80,
    SETTINGS = 32,
    SPACE = 400,
    TRIES = 2 * SETTINGS * PROBE_FIRST_ADDRESSES,
    FEW_TRIES = 3 * PROBE_FIRST_ADDRESSES - 2,
    MOST_REQUESTS = 8 * SPACE,
};

/* ---- the search ---- */

static void goes_from_the_likeliest_to_the_rarest(void **state) {
    static const struct probe_wish nothing = {.speed_baud = 0};
    static unsigned char tried[2][SETTINGS][PROBE_FIRST_ADDRESSES + 1];
    struct probe_search search;
    struct probe_try try;
    char name[PROBE_TEXT_BYTES];
    size_t count = 0;

    (void)state;
    probe_begin_search(&search, &nothing);
    assert_int_equal(search.setting_count, SETTINGS);
    for (; probe_next_try(&search, &try); count++) {
        const size_t setting = count / PROBE_FIRST_ADDRESSES % SETTINGS;

        assert_int_equal(probe_count_tries(&search), TRIES - count);
        assert_memory_equal(&try.setting, &search.settings[setting], sizeof try.setting);
        assert_int_equal(tried[try.function - MODBUS_READ_HOLDING][setting][try.address]++, 0);
        if (count == 0)
            assert_string_equal(probe_name_setting(&try.setting, name), "19200 8E1");
        if (count == PROBE_FIRST_ADDRESSES)
            assert_string_equal(probe_name_setting(&try.setting, name), "9600 8N1");
        probe_note_silence(&search);
    }
    assert_int_equal(count, TRIES);
    assert_int_equal(probe_count_tries(&search), 0);
    for (size_t i = 0; i < SETTINGS; i++)
        for (size_t k = 0; k < i; k++)
            assert_memory_not_equal(&search.settings[i], &search.settings[k], sizeof search.settings[i]);
}

static void ends_with_the_setting_that_was_answered(void **state) {
    static const struct probe_wish nothing = {.speed_baud = 0};
    struct probe_search search;
    struct probe_try try;
    size_t count = 0;

    (void)state;
    probe_begin_search(&search, &nothing);
    for (; probe_next_try(&search, &try); count++) {
        const bool right = try.setting.speed_baud == 9600 && try.setting.parity == PARITY_NONE;

        assert_true(right || (!search.found_any && try.function == MODBUS_READ_HOLDING));
        assert_false(try.function == MODBUS_READ_INPUT && (try.address == 5 || try.address == 16));
        if (right && try.function == MODBUS_READ_HOLDING && (try.address == 5 || try.address == 16))
            probe_note_answer(&search, try.address);
        else if (right && try.function == MODBUS_READ_INPUT && try.address == 1)
            probe_note_answer(&search, 1);
        else
            probe_note_silence(&search);
    }
    // Two settings with function 03, and the fourteen that were silent with 04.
    assert_int_equal(count, FEW_TRIES);
    assert_int_equal(search.found[5], MODBUS_READ_HOLDING);
    assert_int_equal(search.found[16], MODBUS_READ_HOLDING);
    assert_int_equal(search.found[1], MODBUS_READ_INPUT);
    assert_int_equal(search.found[2], 0);
}

static void asks_again_for_whom_another_answered_late(void **state) {
    static const struct probe_wish nothing = {.speed_baud = 0};
    struct probe_search search;
    struct probe_try try;

    (void)state;
    probe_begin_search(&search, &nothing);
    probe_note_silence(&search);
    probe_note_answer(&search, 1);
    assert_true(probe_next_try(&search, &try));
    assert_int_equal(try.address, 2);
    assert_int_equal(search.found[1], MODBUS_READ_HOLDING);
    assert_int_equal(search.found[2], 0);
}

static void keeps_to_what_is_known(void **state) {
    static const struct {
        struct probe_wish wish;
        size_t settings, tries;
        const char *first;
    } cases[] = {
        {{.speed_baud = 9600}, 4, 128, "9600 8N1"},
        {{.speed_baud = 14400}, 4, 128, "14400 8E1"},
        {{.parity_known = true, .parity = PARITY_ODD}, 8, 256, "19200 8O1"},
        {{.parity_known = true, .parity = PARITY_NONE, .stop_bits = 2, .speed_baud = 4800}, 1, 32, "4800 8N2"},
        {{.parity_known = true, .parity = PARITY_EVEN, .stop_bits = 2, .speed_baud = 9600}, 1, 32, "9600 8E2"},
        {{.one_setting = true, .all_addresses = true}, 1, 494, "19200 8E1"},
        {{.one_setting = true, .address = 200, .function = 4}, 1, 1, "19200 8E1"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct probe_search search;
        char name[PROBE_TEXT_BYTES];

        probe_begin_search(&search, &cases[i].wish);
        assert_int_equal(search.setting_count, cases[i].settings);
        assert_int_equal(probe_count_tries(&search), cases[i].tries);
        assert_string_equal(probe_name_setting(&search.settings[0], name), cases[i].first);
    }
}

/* ---- the map ---- */

struct registers {
    bool there[SPACE];
    uint32_t most_at_once;
};

static size_t draw(struct probe_map *map, const struct registers *registers, uint32_t begin, uint32_t count) {
    uint16_t first, at_once;
    size_t requests = 0;

    probe_begin_map(map, begin, count);
    for (; probe_next_block(map, &first, &at_once); requests++) {
        bool given = at_once <= registers->most_at_once;

        assert_true(at_once >= 1 && at_once <= MODBUS_MOST_REGISTERS);
        assert_true(first >= begin && (uint32_t)first + at_once <= begin + count);
        for (uint32_t i = 0; i < at_once; i++)
            given = given && registers->there[first + i];
        probe_note_block(map, given);
        assert_true(requests < MOST_REQUESTS);
    }
    for (uint32_t i = 0; i < SPACE; i++)
        assert_int_equal(probe_has_register(map, i), registers->there[i] && i >= begin && i < begin + count);
    return requests;
}

static void maps_what_there_is(void **state) {
    static const uint32_t limits[] = {1, 2, 7, 16, 64, 125};
    uint32_t random = 1;

    (void)state;
    for (size_t round = 0; round < 300; round++) {
        struct registers registers = {.most_at_once = limits[round % (sizeof limits / sizeof limits[0])]};
        struct probe_map map;
        bool there = round % 2 == 0;

        for (size_t i = 0; i < SPACE; i++) {
            random = random * 1664525u + 1013904223u; // Numerical Recipes, quick and dirty generator, from memory
            if ((random >> 16) % 23 == 0)
                there = !there;
            registers.there[i] = there;
        }
        draw(&map, &registers, (uint32_t)round, SPACE - (uint32_t)round);
        draw(&map, &registers, 0, 1 + (uint32_t)round);
        assert_true(map.most_at_once <= registers.most_at_once);
        for (size_t i = 1; i < map.range_count; i++) // touching ones are one
            assert_true(map.ranges[i - 1].first + map.ranges[i - 1].count < map.ranges[i].first);
    }
}

static void finds_an_end_by_halving(void **state) {
    struct registers registers = {.most_at_once = 125};
    char text[PROBE_TEXT_BYTES];
    struct probe_map map;

    (void)state;
    for (size_t i = 0; i < 40; i++)
        registers.there[i] = true;
    // One of the first, one of all, seven halves, and one for each that is missing but the last half's end.
    assert_true(draw(&map, &registers, 0, 128) <= 2 + 7 + 128 - 40);
    assert_string_equal(probe_name_ranges(&map, text), "0 to 39");
    assert_int_equal(map.most_at_once, 40);
    registers.there[60] = true;
    draw(&map, &registers, 10, 100);
    assert_string_equal(probe_name_ranges(&map, text), "10 to 39, 60");
    for (size_t i = 0; i < SPACE; i += 2)
        registers.there[i] = true;
    draw(&map, &registers, 40, SPACE - 40);
    assert_string_equal(probe_name_ranges(&map, text) + strlen(text) - 5, ", ...");
    for (size_t i = 0; i < SPACE; i++)
        registers.there[i] = true;
    assert_true(draw(&map, &registers, 0, SPACE) <= 8); // two for each 125
    assert_int_equal(map.most_at_once, 124 + 1);
}

/* ---- the table ---- */

static void shows_each_reading_of_a_register(void **state) {
    // 805.25 is 0x44495000 and -123456 is 0xfffe1dc0, by IEEE 754 and two's complement.
    static const uint16_t real[] = {0x4449, 0x5000}, whole[] = {0xfffe, 0x1dc0}, nan[] = {0x7fc0, 0};
    char row[PROBE_TEXT_BYTES];

    (void)state;
    assert_string_equal(probe_show_register('*', 40, real[0], &real[1], row),
                        "*   40 4449  17481  1748.1  1145655296  1342194761       805.25  8.60784e+09");
    probe_show_register(' ', 41, real[1], &real[0], row);
    assert_string_equal(row + 52, "8.60784e+09       805.25");
    probe_show_register(' ', 7, whole[0], &whole[1], row);
    assert_non_null(strstr(row, " -123456 "));
    probe_show_register(' ', 8, whole[1], &whole[0], row);
    assert_int_equal(strncmp(row + 39, "    -123456", 11), 0);
    assert_string_equal(probe_show_register(' ', 65535, 0xfff4, NULL, row), " 65535 FFF4    -12    -1.2");
    assert_string_equal(probe_show_register(' ', 1, 0xffff, NULL, row), "     1 FFFF     -1    -0.1");
    assert_non_null(strstr(probe_show_register(' ', 2, nan[0], &nan[1], row), "nan"));
    for (uint32_t i = 0; i <= UINT16_MAX; i += 5) {
        const uint16_t next = (uint16_t)(UINT16_MAX - i);

        assert_true(strlen(probe_show_register('+', (uint16_t)i, (uint16_t)i, &next, row)) < COLUMNS);
    }
    for (const char *line = probe_table_head; *line != '\0'; line += strcspn(line, "\n") + 1)
        assert_true(strcspn(line, "\n") < COLUMNS);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(goes_from_the_likeliest_to_the_rarest),
        cmocka_unit_test(ends_with_the_setting_that_was_answered),
        cmocka_unit_test(asks_again_for_whom_another_answered_late),
        cmocka_unit_test(keeps_to_what_is_known),
        cmocka_unit_test(maps_what_there_is),
        cmocka_unit_test(finds_an_end_by_halving),
        cmocka_unit_test(shows_each_reading_of_a_register),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
