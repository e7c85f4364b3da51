// SPDX-License-Identifier: MIT
/* Configuration: a shop as big as one machine is meant to serve. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "soakledger/config.h"

static struct config *read_text(const char *text, size_t length) {
    char path[] = "/tmp/test_config.XXXXXX";
    const int descriptor = mkstemp(path);
    struct fault fault = {0, ""};
    struct config *config;

    assert_true(descriptor >= 0);
    assert_int_equal(write(descriptor, text, length), length);
    close(descriptor);
    config = config_read(path, &fault);
    unlink(path);
    if (config == NULL)
        fail_msg("refused: %s", fault.text);
    return config;
}

/* As many as a big shop has: 32 lines of 8 instruments of 4 registers. */
static void a_big_shop_has_room(void **state) {
    enum { LINES = 32, INSTRUMENTS = 8, REGISTERS = 4, BYTES = 400000, LOADS = 16 };
    char *text = malloc(BYTES);
    size_t used, channels = 0;
    struct config *config;

    (void)state;
    assert_non_null(text);
    used = (size_t)snprintf(text, BYTES, "[ledger]\npath = /l\n");
    for (int o = 0; o < LINES * INSTRUMENTS * REGISTERS / LOADS; o++)
        used += (size_t)snprintf(text + used, BYTES - used, "[oven o%d]\n", o);
    for (int l = 0; l < LINES; l++) {
        used += (size_t)snprintf(text + used, BYTES - used, "[line %d]\ndevice = /dev/none%d\n", l, l);
        for (int i = 0; i < INSTRUMENTS; i++) {
            used += (size_t)snprintf(text + used, BYTES - used, "[instrument %d.%d]\nline = %d\naddress = %d\n", l,
                                     i, l, i + 1);
            for (int r = 0; r < REGISTERS; r++, channels++)
                used += (size_t)snprintf(text + used, BYTES - used,
                                         "[channel o%zu.%zu]\nrole = load\ninstrument = %d.%d\nfunction = 4\n"
                                         "register = %d\ndecimals = 1\nunit = C\n",
                                         channels / LOADS, channels, l, i, r);
        }
    }
    assert_true(used < BYTES);
    config = read_text(text, used);
    assert_int_equal(config->line_count, LINES);
    assert_int_equal(config->instrument_count, LINES * INSTRUMENTS);
    assert_int_equal(config->channel_count, LINES * INSTRUMENTS * REGISTERS);
    config_free(config);
    free(text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_big_shop_has_room),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
