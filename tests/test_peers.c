// SPDX-License-Identifier: MIT
// Measures real time: runs alone.
/* The poller against controllers that others wrote, libmodbus's and pymodbus's, over a clean and a noisy line. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#include "soakledger/modbus.h"
#include "support/bus.h"
#include "support/libmodbus_controller.h"
#include "support/relay.h"
#include "support/rig.h"
#include "support/talker.h"

enum {
    INPUT = MODBUS_READ_INPUT,
    HOLDING = MODBUS_READ_HOLDING,
    SECOND_MS = 1000,
    PER_UNIT = 1000,
    CHECK_BYTES = 2,
};

static struct capture sent = CAPTURE_EMPTY;

static pid_t start_libmodbus(const struct relay *relay, int address) {
    const pid_t child = fork();

    assert_true(child >= 0);
    if (child == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        libmodbus_serve(relay->controller.far, address);
    }
    return child;
}

static pid_t start_pymodbus(const struct relay *relay, const char *manner) {
    const pid_t child = fork();

    assert_true(child >= 0);
    if (child == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        execl("/usr/bin/python3", "python3", "tests/support/pymodbus_controller.py", relay->controller.far, manner,
              NULL);
        _exit(EXIT_FAILURE);
    }
    return child;
}

static void stop(pid_t child) {
    kill(child, SIGKILL);
    waitpid(child, NULL, 0);
}

static void add_encoded(struct rig *rig, size_t instrument, uint8_t function, unsigned at, enum encoding encoding,
                        enum word_order order, int64_t expected) {
    const size_t channel = rig_add_channel(rig, instrument, function, at, encoding, SECOND_MS / 10, expected);

    rig->channels[channel].fitting.word_order = order;
}

static void expect_all_good(struct rig *rig, int64_t within_ms) {
    for (int64_t waited_ms = 0; waited_ms < within_ms; waited_ms += SECOND_MS / 5) {
        bool all = true;

        rig_run(rig, SECOND_MS / 5);
        for (size_t i = 0; i < rig->config.channel_count; i++)
            all = all && rig_count(rig, i, QUALITY_GOOD, 0) > 0;
        if (all)
            return;
    }
    fail_msg("not every channel had a good reading within %lld ms", (long long)within_ms);
}

static void reads_what_libmodbus_holds(void **state) {
    static const uint8_t functions[] = {INPUT, HOLDING};
    const int64_t float_mc = (int64_t)(libmodbus_float * (float)PER_UNIT);
    const int64_t long_mc = (int64_t)libmodbus_long * PER_UNIT;
    struct relay relay;
    struct rig rig;
    pid_t child;
    size_t a;

    (void)state;
    relay_open(&relay, 1, &sent);
    child = start_libmodbus(&relay, 17);
    relay_start(&relay);
    rig_begin(&rig, false);
    rig_add_line(&rig, relay.line.far);
    a = rig_add_instrument(&rig, 0, 17, SECOND_MS / 10, 1);
    for (size_t i = 0; i < sizeof functions; i++) {
        rig_add_bus_channel(&rig, a, functions[i], 0, SECOND_MS / 10);
        rig_add_bus_channel(&rig, a, functions[i], 30, SECOND_MS / 10);
        add_encoded(&rig, a, functions[i], LIBMODBUS_FLOAT_AT, ENCODING_FLOAT32, WORD_HIGH_FIRST, float_mc);
        add_encoded(&rig, a, functions[i], LIBMODBUS_SWAPPED_FLOAT_AT, ENCODING_FLOAT32, WORD_LOW_FIRST, float_mc);
        add_encoded(&rig, a, functions[i], LIBMODBUS_LONG_AT, ENCODING_INT32, WORD_HIGH_FIRST, long_mc);
        add_encoded(&rig, a, functions[i], LIBMODBUS_SWAPPED_LONG_AT, ENCODING_INT32, WORD_LOW_FIRST, long_mc);
        add_encoded(&rig, a, functions[i], LIBMODBUS_NEGATIVE_AT, ENCODING_INT16, WORD_HIGH_FIRST,
                    (int64_t)libmodbus_negative * PER_UNIT);
    }
    // There is no such register: libmodbus refuses.
    rig_add_channel(&rig, a, INPUT, LIBMODBUS_REGISTERS, ENCODING_INT16, SECOND_MS, 0);
    rig_open(&rig);
    rig_run(&rig, 2L * SECOND_MS / 5);
    assert_int_equal(rig_count(&rig, rig.config.channel_count - 1, QUALITY_EXCEPTION, 0), 1);
    rig.config.channel_count--;
    expect_all_good(&rig, 5L * SECOND_MS);
    rig.config.channel_count++;
    rig_end(&rig);
    stop(child);
    relay_close(&relay);
}

static void read_what_pymodbus_holds(enum wire_kind kind, struct capture *capture) {
    static const uint8_t functions[] = {INPUT, HOLDING};
    struct relay relay;
    struct rig rig;
    pid_t child;

    relay_open(&relay, 1, capture);
    child = start_pymodbus(&relay, kind == WIRE_MODBUS_ASCII ? "ascii" : NULL);
    relay_start(&relay);
    rig_begin(&rig, false);
    rig_add_line(&rig, relay.line.far);
    for (int unit = 0; unit < 2; unit++) {
        const size_t a = rig_add_instrument(&rig, 0, unit + 1, SECOND_MS / 5, 1);

        rig.instruments[a].setting.kind = kind;
        for (size_t i = 0; i < sizeof functions; i++) {
            add_encoded(&rig, a, functions[i], 0, ENCODING_INT16, WORD_HIGH_FIRST, -(12L + unit) * PER_UNIT);
            add_encoded(&rig, a, functions[i], 1, ENCODING_INT32, WORD_HIGH_FIRST, -(123456L + unit) * PER_UNIT);
            add_encoded(&rig, a, functions[i], 3, ENCODING_FLOAT32, WORD_HIGH_FIRST,
                        805250L + (int64_t)unit * PER_UNIT);
        }
    }
    rig_open(&rig);
    assert_int_equal(poller_count_requests(rig.poller), 4);
    expect_all_good(&rig, 20L * SECOND_MS); // Python takes its time to start
    rig_end(&rig);
    stop(child);
    relay_close(&relay);
}

static void reads_what_pymodbus_holds(void **state) {
    (void)state;
    read_what_pymodbus_holds(WIRE_MODBUS_RTU, &sent);
}

static void reads_what_pymodbus_holds_in_ascii(void **state) {
    enum { REQUEST_BYTES = 17 };
    struct capture capture = CAPTURE_EMPTY;

    (void)state;
    read_what_pymodbus_holds(WIRE_MODBUS_ASCII, &capture);
    assert_true(capture.length > 0);
    assert_int_equal(capture.length % REQUEST_BYTES, 0);
    for (size_t at = 0; at < capture.length; at += REQUEST_BYTES) // nothing but requests to read
        assert_true(memcmp(capture.bytes + at + 3, "03", 2) == 0 || memcmp(capture.bytes + at + 3, "04", 2) == 0);
    capture_clear(&capture);
}

/* How many requests the noisy line has to carry: a few thousand, or as many as SOAKLEDGER_NOISY_REQUESTS says. */
static uint64_t noise_requests_wanted(void) {
    enum { SHORT_RUN = 5000, DECIMAL = 10 };
    const char *const wanted = getenv("SOAKLEDGER_NOISY_REQUESTS");

    return wanted == NULL ? SHORT_RUN : strtoull(wanted, NULL, DECIMAL);
}

static uint64_t count_requests(const struct rig *rig) {
    uint64_t requests = 0;

    for (size_t i = 0; i < rig->config.line_count; i++)
        requests += poller_read_counts(rig->poller, i).requests;
    return requests;
}

/* One byte in two hundred is flipped, lost, doubled or joined by another, both ways. Each line has requests of one
 * shape, so that a reply to another of them would pass every check but the rig's. */
static void stores_no_wrong_value_from_a_noisy_line(void **state) {
    enum { LINES = 8, FAST_MS = 5, REPLY_WITHIN_MS = 40, ONE_IN = 200, CHANNELS = 3, GIVE_UP_MS = 600000 };
    const uint64_t least = noise_requests_wanted();
    struct relay relays[LINES];
    pid_t children[LINES];
    struct rig rig;
    uint64_t requests = 0, failed = 0;
    size_t good = 0;
    unsigned spoilt = 0;

    (void)state;
    rig_begin(&rig, false);
    for (size_t i = 0; i < LINES; i++) {
        relay_open(&relays[i], (uint32_t)i + 1, &sent);
        children[i] = start_libmodbus(&relays[i], (int)i + 1);
    }
    for (size_t i = 0; i < LINES; i++) {
        size_t a;

        atomic_store(&relays[i].one_in, ONE_IN);
        relay_start(&relays[i]);
        rig_add_line(&rig, relays[i].line.far);
        a = rig_add_instrument(&rig, i, (int)i + 1, REPLY_WITHIN_MS, 1);
        for (unsigned j = 0; j < CHANNELS; j++)
            rig_add_bus_channel(&rig, a, INPUT, 2 * j, FAST_MS);
    }
    rig_open(&rig);
    for (int64_t ran_ms = 0; count_requests(&rig) < least; ran_ms += SECOND_MS) {
        assert_true(ran_ms < GIVE_UP_MS);
        rig_run(&rig, SECOND_MS);
    }
    for (size_t i = 0; i < LINES; i++) {
        const struct poller_counts counts = poller_read_counts(rig.poller, i);

        requests += counts.requests;
        failed += counts.timeouts + counts.bad_frames;
        spoilt += atomic_load(&relays[i].spoilt);
        for (size_t j = 0; j < CHANNELS; j++)
            good += rig_count(&rig, CHANNELS * i + j, QUALITY_GOOD, 0);
    }
    print_message("%llu requests, %u bytes spoilt, %llu tries failed, %zu good values, none wrong\n",
                  (unsigned long long)requests, spoilt, (unsigned long long)failed, good);
    assert_true(failed >= requests / 50);
    assert_true(good >= least / 2);
    rig_end(&rig);
    for (size_t i = 0; i < LINES; i++) {
        stop(children[i]);
        relay_close(&relays[i]);
    }
}

/* A terminal as an instrument sees it. */
static int open_far(const char *path) {
    const int descriptor = open(path, O_RDWR | O_NOCTTY | O_NONBLOCK);
    struct termios settings;

    assert_true(descriptor >= 0);
    assert_int_equal(tcgetattr(descriptor, &settings), 0);
    cfmakeraw(&settings);
    assert_int_equal(tcsetattr(descriptor, TCSANOW, &settings), 0);
    return descriptor;
}

static size_t speak_checked_text(struct talker *talker, const char *asked, char out[TALKER_LINE_BYTES]) {
    size_t used;

    (void)talker;
    if (strcmp(asked, "#01T?\r\n") != 0)
        return 0;
    used = (size_t)sprintf(out, "#01 802.5, 803.1, -12.75 ");
    return used + (size_t)sprintf(out + used, "%04X\r\n", modbus_crc((const uint8_t *)out, used));
}

struct noisy {
    struct relay relay;
    struct talker talker;
};

static void open_noisy(struct noisy *noisy, struct rig *rig, size_t index, enum wire_kind kind, int one_in) {
    enum { REPLY_WITHIN_MS = 15 };
    struct wire_setting *setting;

    relay_open(&noisy->relay, (uint32_t)index + 1, NULL);
    noisy->talker = (struct talker){.descriptor = open_far(noisy->relay.controller.far),
                                    .ends_with = '\n',
                                    .speak = kind == WIRE_MODBUS_ASCII ? talker_speak_ascii : speak_checked_text};
    atomic_store(&noisy->relay.one_in, (unsigned)one_in);
    relay_start(&noisy->relay);
    talker_start(&noisy->talker);
    rig_add_line(rig, noisy->relay.line.far);
    rig_add_instrument(rig, index, 1, REPLY_WITHIN_MS, 1);
    setting = &rig->instruments[index].setting;
    setting->kind = kind;
    strcpy(setting->query_end, "\r\n");
    strcpy(setting->text_end, "\r\n");
    if (kind == WIRE_POLLED_TEXT)
        setting->check = TEXT_CHECK_CRC16;
}

static void add_noisy_text(struct rig *rig, size_t instrument, const char *pattern, int64_t interval_ms,
                           int64_t expected) {
    const size_t channel = rig_add_channel(rig, instrument, 0, 0, ENCODING_INT32, interval_ms, expected);
    struct channel_fitting *fitting = &rig->channels[channel].fitting;

    fitting->wire = WIRE_POLLED_TEXT;
    strcpy(fitting->query, "#{address:2}T?");
    strcpy(fitting->pattern, pattern);
}

/* As above for Modbus ASCII, whose eight bits of check miss more, and for text with a CRC: two lines each. */
static void stores_no_wrong_value_from_noisy_text(void **state) {
    enum { LINES = 4, ONE_IN = 500, RUN_MS = 2500, FAST_MS = 5, CHANNELS = 3, LEAST = 100 };
    struct noisy noisy[LINES];
    struct rig rig;

    (void)state;
    rig_begin(&rig, false);
    for (size_t i = 0; i < LINES; i++) {
        open_noisy(&noisy[i], &rig, i, i % 2 == 0 ? WIRE_MODBUS_ASCII : WIRE_POLLED_TEXT, ONE_IN);
        for (unsigned j = 0; j < CHANNELS && i % 2 == 0; j++)
            rig_add_bus_channel(&rig, i, INPUT, 2 * j, FAST_MS);
        if (i % 2 == 0)
            continue;
        add_noisy_text(&rig, i, "#{address:2} {value},{any}", FAST_MS, 802500);
        add_noisy_text(&rig, i, "{any}, {value}, {any}", FAST_MS, 803100);
        add_noisy_text(&rig, i, "{any}, {any}, {value}", FAST_MS, -12750);
    }
    rig_open(&rig);
    rig_run(&rig, RUN_MS);
    for (size_t i = 0; i < LINES; i++) {
        const struct poller_counts counts = poller_read_counts(rig.poller, i);
        const uint64_t failed = counts.timeouts + counts.bad_frames;

        print_message("%s: %llu requests, %u bytes spoilt, %llu tries failed, %zu good values, none wrong\n",
                      channel_wire_name(rig.instruments[i].setting.kind), (unsigned long long)counts.requests,
                      atomic_load(&noisy[i].relay.spoilt), (unsigned long long)failed,
                      rig_count(&rig, CHANNELS * i, QUALITY_GOOD, 0));
        assert_true(failed > 0);
        for (size_t j = 0; j < CHANNELS; j++)
            assert_true(rig_count(&rig, CHANNELS * i + j, QUALITY_GOOD, 0) >= LEAST / (i % 2 == 0 ? CHANNELS : 1));
    }
    rig_end(&rig);
    for (size_t i = 0; i < LINES; i++) {
        talker_stop(&noisy[i].talker);
        close(noisy[i].talker.descriptor);
        relay_close(&noisy[i].relay);
    }
}

static void has_only_ever_read(void **state) {
    (void)state;
    assert_true(sent.length > 0);
    assert_int_equal(sent.length % MODBUS_REQUEST_BYTES, 0);
    for (size_t at = 0; at < sent.length; at += MODBUS_REQUEST_BYTES) {
        const uint8_t *request = sent.bytes + at;
        const uint16_t crc = modbus_crc(request, MODBUS_REQUEST_BYTES - CHECK_BYTES);

        assert_true(request[1] == HOLDING || request[1] == INPUT);
        assert_int_equal(request[MODBUS_REQUEST_BYTES - 2], crc & 0xff);
        assert_int_equal(request[MODBUS_REQUEST_BYTES - 1], crc >> 8);
    }
    print_message("%zu requests, all of function 03 or 04\n", sent.length / MODBUS_REQUEST_BYTES);
    capture_clear(&sent);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_what_libmodbus_holds),
        cmocka_unit_test(reads_what_pymodbus_holds),
        cmocka_unit_test(stores_no_wrong_value_from_a_noisy_line),
        cmocka_unit_test(reads_what_pymodbus_holds_in_ascii),
        cmocka_unit_test(stores_no_wrong_value_from_noisy_text),
        cmocka_unit_test(has_only_ever_read),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
