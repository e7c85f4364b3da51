// SPDX-License-Identifier: MIT
// Measures real time: runs alone.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "soakledger/modbus.h"
#include "support/bus.h"
#include "support/rig.h"

enum {
    INPUT = MODBUS_READ_INPUT,
    HOLDING = MODBUS_READ_HOLDING,
    SECOND_MS = 1000,
    SELDOM_MS = 1000000,
    WITHIN_MS = 100,
    SLACK_MS = 60, // the machine is shared
    CHECK_BYTES = 2,
};

/* What every test of this program has sent. */
static struct capture sent = CAPTURE_EMPTY;

static void expect_requests(size_t from, const char *const *expected, size_t count) {
    for (size_t i = 0; i < count; i++) {
        const uint8_t *request = sent.bytes + from + i * MODBUS_REQUEST_BYTES;
        char text[3 * MODBUS_REQUEST_BYTES];

        assert_true(from + (i + 1) * MODBUS_REQUEST_BYTES <= sent.length);
        snprintf(text, sizeof text, "%d %d %d+%d", request[0], request[1], request[2] << 8 | request[3],
                 request[4] << 8 | request[5]);
        assert_string_equal(text, expected[i]);
    }
}

static void asks_once_for_registers_that_touch(void **state) {
    static const char *const expected[] = {"1 3 7+1", "1 4 0+5", "1 4 6+125", "1 4 131+4", "1 4 200+1", "2 4 5+1"};
    const size_t from = sent.length;
    struct bus bus;
    struct rig rig;
    size_t a, b;

    (void)state;
    bus_open(&bus, 2, 0, &sent);
    rig_begin(&rig, true);
    rig_add_line(&rig, bus.pair.far);
    a = rig_add_instrument(&rig, 0, 1, WITHIN_MS, 0);
    b = rig_add_instrument(&rig, 0, 2, WITHIN_MS, 0);
    for (unsigned i = 0; i < 129; i++)
        rig_add_bus_channel(&rig, a, INPUT, 134 - i, SECOND_MS); // 6 to 134: more than one reply holds
    rig_add_bus_channel(&rig, b, INPUT, 5, SECOND_MS);
    rig_add_bus_channel(&rig, a, INPUT, 200, 2L * SECOND_MS);
    rig_add_bus_channel(&rig, a, HOLDING, 7, SECOND_MS);
    for (unsigned i = 0; i < 5; i++)
        rig_add_bus_channel(&rig, a, INPUT, i, SECOND_MS);
    rig_open(&rig);
    assert_int_equal(poller_count_requests(rig.poller), 6);
    rig_run(&rig, SECOND_MS / 2);
    for (size_t i = 0; i < rig.config.channel_count; i++)
        assert_int_equal(rig_count(&rig, i, QUALITY_GOOD, 0), 1);
    expect_requests(from, expected, 1);
    assert_int_equal(sent.length - from, 6 * MODBUS_REQUEST_BYTES);
    rig_end(&rig);
    bus_close(&bus);
    expect_requests(from, expected, sizeof expected / sizeof expected[0] - 2); // the slower ones come last
}

/* A float between two integers is one request with them, and a value never lies across two requests. */
static void keeps_values_of_two_registers_whole(void **state) {
    struct bus bus;
    struct rig rig;
    size_t a;

    (void)state;
    bus_open(&bus, 1, 0, &sent);
    rig_begin(&rig, true);
    rig_add_line(&rig, bus.pair.far);
    a = rig_add_instrument(&rig, 0, 1, WITHIN_MS, 0);
    for (unsigned i = 0; i < 64; i++) {
        const unsigned high = bus_register(1, INPUT, 2 * i), low = bus_register(1, INPUT, 2 * i + 1);
        const size_t channel =
            rig_add_channel(&rig, a, INPUT, 2 * i, ENCODING_UINT32, SECOND_MS, (int64_t)(high << 16 | low));

        rig.channels[channel].fitting.decimals = 3;
    }
    rig_open(&rig);
    assert_int_equal(poller_count_requests(rig.poller), 2);
    rig_run(&rig, SECOND_MS / 2);
    for (size_t i = 0; i < rig.config.channel_count; i++)
        assert_int_equal(rig_count_all(&rig, i), 1);
    rig_end(&rig);
    bus_close(&bus);
}

static void keeps_its_periods(void **state) {
    enum { RUN_S = 200, FAST_MS = 250 };
    struct bus bus;
    struct rig rig;
    size_t a;

    (void)state;
    bus_open(&bus, 1, 0, &sent);
    rig_begin(&rig, true);
    rig_add_line(&rig, bus.pair.far);
    a = rig_add_instrument(&rig, 0, 1, WITHIN_MS, 0);
    rig_add_bus_channel(&rig, a, INPUT, 0, SECOND_MS);
    rig_add_bus_channel(&rig, a, INPUT, 1, FAST_MS);
    rig_open(&rig);
    rig_run(&rig, (int64_t)RUN_S * SECOND_MS);
    assert_int_equal(rig_count(&rig, 0, QUALITY_GOOD, 0), RUN_S);
    assert_int_equal(rig_count(&rig, 1, QUALITY_GOOD, 0), RUN_S * SECOND_MS / FAST_MS);
    for (size_t i = 0; i < RUN_S; i++) {
        const int64_t late_ms = rig_find(&rig, 0, i)->t_ms - rig.start_ms - (int64_t)i * SECOND_MS;

        // The first waits for a silent line, the slower of two for the faster; none later and later.
        assert_in_range(late_ms, 0, i == 0 ? 30 : 5);
    }
    assert_int_equal(poller_read_counts(rig.poller, 0).skipped, 0);
    rig_end(&rig);
    bus_close(&bus);
}

static void skips_what_it_missed(void **state) {
    enum { FAST_MS = 20, SLOW_REPLY_MS = 70, RUN_MS = 600 };
    struct bus bus;
    struct rig rig;
    size_t a, good;

    (void)state;
    bus_open(&bus, 1, 0, &sent);
    atomic_store(&bus.instruments[0].delay_ms, SLOW_REPLY_MS);
    rig_begin(&rig, false);
    rig_add_line(&rig, bus.pair.far);
    a = rig_add_instrument(&rig, 0, 1, SECOND_MS, 0);
    rig_add_bus_channel(&rig, a, INPUT, 0, FAST_MS);
    rig_open(&rig);
    rig_run(&rig, RUN_MS);
    good = rig_count(&rig, 0, QUALITY_GOOD, 0);
    assert_in_range(good, RUN_MS / (SLOW_REPLY_MS + 3 * FAST_MS), RUN_MS / SLOW_REPLY_MS);
    assert_true(poller_read_counts(rig.poller, 0).skipped >= 2 * (good - 1));
    // Once it is fast again, so is the poller: at its own pace, with nothing to catch up.
    atomic_store(&bus.instruments[0].delay_ms, 0);
    rig_run(&rig, SLOW_REPLY_MS + FAST_MS);
    rig_forget(&rig);
    rig_run(&rig, RUN_MS);
    assert_in_range(rig_count_all(&rig, 0), RUN_MS / FAST_MS - 4, RUN_MS / FAST_MS + 1);
    rig_end(&rig);
    bus_close(&bus);
}

/* Section 2.5.1.1 of the Serial Line guide: 3.5 characters of 11 bits between frames, at 9600 baud 4010.4 us. */
static void leaves_silence_between_frames(void **state) {
    enum { BAUD = 9600, SILENCE_US = 4010 };
    struct bus bus;
    struct rig rig;
    size_t a;

    (void)state;
    bus_open(&bus, 1, 0, &sent);
    rig_begin(&rig, false);
    rig_add_line(&rig, bus.pair.far);
    rig.lines[0].speed_baud = BAUD;
    a = rig_add_instrument(&rig, 0, 1, SECOND_MS, 0);
    for (unsigned i = 0; i < 4; i++)
        rig_add_bus_channel(&rig, a, INPUT, 2 * i, SECOND_MS / 10);
    rig_open(&rig);
    rig_run(&rig, SECOND_MS / 2);
    assert_true(rig_count(&rig, 3, QUALITY_GOOD, 0) > 1);
    assert_in_range(atomic_load(&bus.least_gap_us), SILENCE_US, 3 * SILENCE_US);
    rig_end(&rig);
    bus_close(&bus);
}

/* Not the moment when its last byte had come, 80 ms later. */
/* On a machine that is busy a piece may come so late that the frame counts as cut: that is another test's matter.
 */
static bool stamps_if_it_comes(void) {
    enum { REGISTERS = 8, LEAST_MS = 20, MOST_MS = 120 };
    struct bus bus;
    bool came;
    struct rig rig;
    size_t a;

    bus_open(&bus, 1, 0, &sent);
    atomic_store(&bus.instruments[0].manner, BUS_CHUNKED);
    rig_begin(&rig, false);
    rig_add_line(&rig, bus.pair.far);
    a = rig_add_instrument(&rig, 0, 1, SECOND_MS, 0);
    for (unsigned i = 0; i < REGISTERS; i++)
        rig_add_bus_channel(&rig, a, INPUT, i, SECOND_MS);
    rig_open(&rig);
    rig_run(&rig, SECOND_MS / 4);
    came = rig_find(&rig, 0, 0)->quality == QUALITY_GOOD;
    if (came) {
        assert_in_range(rig_find(&rig, 0, 0)->t_ms - rig.start_ms, LEAST_MS, MOST_MS);
        assert_int_equal(rig_find(&rig, REGISTERS - 1, 0)->t_ms, rig_find(&rig, 0, 0)->t_ms);
    }
    rig_end(&rig);
    bus_close(&bus);
    return came;
}

static void stamps_the_first_byte(void **state) {
    enum { TRIES = 5 };
    int tries = 0;

    (void)state;
    while (!stamps_if_it_comes())
        assert_true(++tries < TRIES);
}

/* Each kind of trouble on a line of its own: what it is called where it meets every request, and that a retry heals
 * it where it meets every other one. */
static const struct trouble {
    enum bus_manner manner;
    enum quality quality;
} troubles[] = {
    {BUS_WELL, QUALITY_GOOD},
    {BUS_SILENT, QUALITY_NO_REPLY},
    {BUS_ECHO_ONLY, QUALITY_NO_REPLY},
    {BUS_REFUSING, QUALITY_EXCEPTION},
    {BUS_CUT, QUALITY_BAD_FRAME},
    {BUS_GARBAGE_BEFORE, QUALITY_BAD_FRAME},
    {BUS_GARBAGE_AFTER, QUALITY_BAD_FRAME},
    {BUS_FLIPPED, QUALITY_BAD_FRAME},
    {BUS_DROPPED, QUALITY_BAD_FRAME},
    {BUS_DOUBLED, QUALITY_BAD_FRAME},
    {BUS_OTHER_ADDRESS, QUALITY_BAD_FRAME},
    {BUS_OTHER_FUNCTION, QUALITY_BAD_FRAME},
    {BUS_OTHER_COUNT, QUALITY_BAD_FRAME},
    {BUS_ECHOING, QUALITY_GOOD},
    {BUS_CHUNKED, QUALITY_GOOD},
};
enum { TROUBLES = sizeof troubles / sizeof troubles[0], PERIOD_MS = 250, PERIODS = 4 };

static void check_trouble(const struct rig *rig, const struct trouble *trouble, size_t always, size_t at_times) {
    const size_t good = rig_count(rig, at_times, QUALITY_GOOD, 0);

    assert_int_equal(rig_count_all(rig, always), 1);
    assert_string_equal(quality_name(rig_find(rig, always, 0)->quality), quality_name(trouble->quality));
    assert_int_equal(rig_count_all(rig, at_times), PERIODS);
    if (trouble->manner == BUS_REFUSING) // an answer, which is not asked for again
        assert_int_equal(rig_count(rig, at_times, QUALITY_EXCEPTION, 0), PERIODS / 2);
    else
        assert_int_equal(good, PERIODS);
}

static void names_what_went_wrong(void **state) {
    struct bus buses[TROUBLES];
    struct rig rig;

    (void)state;
    rig_begin(&rig, false);
    for (size_t i = 0; i < TROUBLES; i++) {
        size_t a, b;

        bus_open(&buses[i], 2, 0, &sent);
        atomic_store(&buses[i].instruments[0].manner, troubles[i].manner);
        atomic_store(&buses[i].instruments[1].manner, troubles[i].manner);
        atomic_store(&buses[i].instruments[1].every, 2);
        rig_add_line(&rig, buses[i].pair.far);
        a = rig_add_instrument(&rig, i, 1, SLACK_MS, 0);
        b = rig_add_instrument(&rig, i, 2, SLACK_MS, 1);
        rig_add_bus_channel(&rig, a, INPUT, 0, SELDOM_MS);
        rig_add_bus_channel(&rig, a, INPUT, 1, SELDOM_MS);
        rig_add_bus_channel(&rig, b, INPUT, 0, PERIOD_MS);
        rig_add_bus_channel(&rig, b, INPUT, 1, PERIOD_MS);
    }
    rig_open(&rig);
    rig_run(&rig, PERIODS * PERIOD_MS - SLACK_MS / 2);
    for (size_t i = 0; i < TROUBLES; i++) {
        check_trouble(&rig, &troubles[i], 4 * i, 4 * i + 2);
        check_trouble(&rig, &troubles[i], 4 * i + 1, 4 * i + 3);
    }
    rig_end(&rig);
    for (size_t i = 0; i < TROUBLES; i++)
        bus_close(&buses[i]);
}

/* Requests of one shape to a controller that answers too late, in order: a reply taken for the wrong request would
 * bring the wrong value, which the rig does not let pass. */
static void expect_no_wrong_value(int every, int late_ms) {
    enum { FAST_MS = 25, REPLY_WITHIN_MS = 20, RUN_MS = 900, LEAST = 3 };
    struct bus bus;
    struct rig rig;
    size_t a;

    bus_open(&bus, 1, 0, &sent);
    atomic_store(&bus.instruments[0].delay_ms, late_ms);
    atomic_store(&bus.instruments[0].every, every);
    rig_begin(&rig, false);
    rig_add_line(&rig, bus.pair.far);
    a = rig_add_instrument(&rig, 0, 1, REPLY_WITHIN_MS, 2);
    for (unsigned i = 0; i < 3; i++)
        rig_add_bus_channel(&rig, a, INPUT, 10 * i, FAST_MS);
    rig_open(&rig);
    rig_run(&rig, RUN_MS);
    assert_true(poller_read_counts(rig.poller, 0).timeouts >= LEAST);
    for (size_t i = 0; i < 3; i++)
        assert_true(rig_count(&rig, i, QUALITY_GOOD, 0) >= LEAST);
    rig_end(&rig);
    bus_close(&bus);
}

static void takes_no_late_reply_for_another(void **state) {
    (void)state;
    expect_no_wrong_value(1, 25); // always: the reply to a try comes in the next one
    expect_no_wrong_value(4, 30); // now and then
}

/* Three good controllers and one dead on a line with plenty of time. */
static void keeps_the_rate_beside_a_dead_one(void **state) {
    enum { FAST_MS = 100, RUN_MS = 1500, BACK_WITHIN_MS = 500, DEAD_WITHIN_MS = 25 };
    struct bus bus;
    struct rig rig;
    size_t instruments[4];
    int asked;

    (void)state;
    bus_open(&bus, 4, 0, &sent);
    atomic_store(&bus.instruments[1].manner, BUS_SILENT);
    rig_begin(&rig, false);
    rig_add_line(&rig, bus.pair.far);
    for (int i = 0; i < 4; i++) {
        instruments[i] = rig_add_instrument(&rig, 0, i + 1, i == 1 ? DEAD_WITHIN_MS : SLACK_MS, 2);
        rig_add_bus_channel(&rig, instruments[i], INPUT, 0, FAST_MS);
    }
    rig_add_bus_channel(&rig, instruments[1], INPUT, 10, FAST_MS);
    rig_add_bus_channel(&rig, instruments[1], HOLDING, 10, FAST_MS);
    rig_open(&rig);
    rig_run(&rig, SECOND_MS / 2); // in which it is found to be dead
    rig_forget(&rig);
    asked = atomic_load(&bus.instruments[1].asked);
    rig_run(&rig, RUN_MS);
    print_message("beside a dead one: %zu %zu %zu of %d; the dead one was asked %d times\n",
                  rig_count(&rig, 0, QUALITY_GOOD, 0), rig_count(&rig, 2, QUALITY_GOOD, 0),
                  rig_count(&rig, 3, QUALITY_GOOD, 0), RUN_MS / FAST_MS,
                  atomic_load(&bus.instruments[1].asked) - asked);
    for (size_t i = 0; i < 4; i++)
        assert_in_range(rig_count(&rig, i, i == 1 ? QUALITY_NO_REPLY : QUALITY_GOOD, 0), RUN_MS / FAST_MS - 2,
                        RUN_MS / FAST_MS + 1);
    assert_in_range(rig_count(&rig, 4, QUALITY_NO_REPLY, 0), RUN_MS / FAST_MS - 2, RUN_MS / FAST_MS + 1);
    assert_in_range(rig_count(&rig, 5, QUALITY_NO_REPLY, 0), RUN_MS / FAST_MS - 2, RUN_MS / FAST_MS + 1);
    assert_in_range(atomic_load(&bus.instruments[1].asked) - asked, RUN_MS / FAST_MS / 2, RUN_MS / FAST_MS + 1);

    atomic_store(&bus.instruments[1].manner, BUS_WELL);
    rig_run(&rig, BACK_WITHIN_MS);
    for (size_t i = 1; i < 6; i++)
        assert_true(rig_count(&rig, i, QUALITY_GOOD, 0) > 0);

    // Having answered, it is worth a retry again.
    atomic_store(&bus.instruments[1].every, 2);
    atomic_store(&bus.instruments[1].manner, BUS_SILENT);
    rig_forget(&rig);
    rig_run(&rig, BACK_WITHIN_MS);
    assert_true(rig_count(&rig, 1, QUALITY_GOOD, 0) > 1);
    assert_int_equal(rig_count(&rig, 1, QUALITY_NO_REPLY, 0), 0);
    rig_end(&rig);
    bus_close(&bus);
}

/* There is no gap long enough for the dead one's wait: it takes a tenth of the line's time. */
static void gives_dead_ones_a_tenth(void **state) {
    enum { FAST_MS = 20, REPLY_WITHIN_MS = 100, RUN_MS = 2000, EXPECTED = RUN_MS / FAST_MS };
    struct bus bus;
    struct rig rig;
    size_t a, b;
    int asked;

    (void)state;
    bus_open(&bus, 2, 0, &sent);
    atomic_store(&bus.instruments[1].manner, BUS_SILENT);
    rig_begin(&rig, false);
    rig_add_line(&rig, bus.pair.far);
    a = rig_add_instrument(&rig, 0, 1, REPLY_WITHIN_MS, 0);
    b = rig_add_instrument(&rig, 0, 2, REPLY_WITHIN_MS, 0);
    rig_add_bus_channel(&rig, a, INPUT, 0, FAST_MS);
    rig_add_bus_channel(&rig, b, INPUT, 0, FAST_MS);
    rig_open(&rig);
    rig_run(&rig, SECOND_MS / 2);
    rig_forget(&rig);
    asked = atomic_load(&bus.instruments[1].asked);
    rig_run(&rig, RUN_MS);
    asked = atomic_load(&bus.instruments[1].asked) - asked;
    print_message("no gap: %zu of %d, the dead one was asked %d times\n", rig_count(&rig, 0, QUALITY_GOOD, 0),
                  EXPECTED, asked);
    assert_in_range(asked, 2, RUN_MS / (10 * REPLY_WITHIN_MS) + 1);
    assert_in_range(rig_count(&rig, 0, QUALITY_GOOD, 0), EXPECTED * 8 / 10, EXPECTED + 1);
    // It has a reading in every period all the same.
    assert_in_range(rig_count(&rig, 1, QUALITY_NO_REPLY, 0), EXPECTED * 8 / 10, EXPECTED + 1);
    rig_end(&rig);
    bus_close(&bus);
}

static void lets_no_line_wait_for_another(void **state) {
    enum { FAST_MS = 50, RUN_MS = 700 };
    struct bus slow, fast;
    struct rig rig;

    (void)state;
    bus_open(&slow, 1, 0, &sent);
    bus_open(&fast, 1, 0, &sent);
    atomic_store(&slow.instruments[0].delay_ms, SECOND_MS / 2);
    rig_begin(&rig, false);
    rig_add_bus_channel(&rig, rig_add_instrument(&rig, rig_add_line(&rig, slow.pair.far), 1, SECOND_MS, 0), INPUT,
                        0, FAST_MS);
    rig_add_bus_channel(&rig, rig_add_instrument(&rig, rig_add_line(&rig, fast.pair.far), 1, SECOND_MS, 0), INPUT,
                        0, FAST_MS);
    rig_open(&rig);
    rig_run(&rig, RUN_MS);
    assert_in_range(rig_count(&rig, 1, QUALITY_GOOD, 0), RUN_MS / FAST_MS - 2, RUN_MS / FAST_MS + 1);
    // The watermark did not wait for the slow one either.
    assert_in_range(rig.most_lag_ms, 1, SLACK_MS);
    rig_end(&rig);
    bus_close(&slow);
    bus_close(&fast);
}

static void plug(const char *path, const char *device) {
    unlink(path);
    assert_int_equal(symlink(device, path), 0);
}

static void expect_event(const struct rig *rig, size_t index, enum event_kind kind, int64_t least, int64_t most) {
    assert_true(index < rig->event_count);
    assert_int_equal(rig->events[index].kind, kind);
    assert_string_equal(rig->events[index].detail, "one");
    assert_in_range(rig->events[index].amount, least, most);
}

static void survives_a_line_that_vanishes(void **state) {
    char folder[] = "/tmp/soakledger-poller-XXXXXX", path[sizeof folder + sizeof "/oven"];
    struct bus bus;
    struct rig rig;
    size_t a;

    (void)state;
    assert_non_null(mkdtemp(folder));
    stpcpy(stpcpy(path, folder), "/oven");
    rig_begin(&rig, true);
    rig_add_line(&rig, path);
    a = rig_add_instrument(&rig, 0, 1, WITHIN_MS, 0);
    rig_add_bus_channel(&rig, a, INPUT, 0, SECOND_MS);
    rig_open(&rig);

    rig_run(&rig, 5L * SECOND_MS); // absent from the start
    assert_int_equal(rig.event_count, 1);
    expect_event(&rig, 0, EVENT_LINE_LOST, 0, 0);
    assert_in_range(rig_count(&rig, 0, QUALITY_NO_REPLY, 0), 5, 6);
    assert_non_null(strstr(poller_line_trouble(rig.poller, 0), "No such file"));

    bus_open(&bus, 1, 0, &sent);
    plug(path, bus.pair.far);
    rig_run(&rig, 5L * SECOND_MS);
    assert_int_equal(rig.event_count, 2);
    expect_event(&rig, 1, EVENT_LINE_BACK, 5L * SECOND_MS, 6L * SECOND_MS);
    assert_in_range(rig_count(&rig, 0, QUALITY_GOOD, 0), 4, 5);
    assert_null(poller_line_trouble(rig.poller, 0));

    bus_close(&bus);
    rig_run(&rig, 10L * SECOND_MS);
    assert_int_equal(rig.event_count, 3);
    expect_event(&rig, 2, EVENT_LINE_LOST, 0, 0);
    assert_in_range(rig_count(&rig, 0, QUALITY_NO_REPLY, 10L * SECOND_MS), 10, 11);

    bus_open(&bus, 1, 0, &sent);
    plug(path, bus.pair.far);
    rig_run(&rig, 5L * SECOND_MS);
    assert_int_equal(rig.event_count, 4);
    expect_event(&rig, 3, EVENT_LINE_BACK, 10L * SECOND_MS, 11L * SECOND_MS);
    assert_in_range(rig_count(&rig, 0, QUALITY_GOOD, 20L * SECOND_MS), 4, 5);
    rig_end(&rig);
    bus_close(&bus);
    unlink(path);
    rmdir(folder);
}

/* While a request is out, too: the reading says so and the exchange is forgotten. */
static void survives_a_line_that_vanishes_while_asked(void **state) {
    struct bus bus;
    struct rig rig;
    size_t a;

    (void)state;
    bus_open(&bus, 1, 0, &sent);
    atomic_store(&bus.instruments[0].manner, BUS_SILENT);
    rig_begin(&rig, false);
    rig_add_line(&rig, bus.pair.far);
    a = rig_add_instrument(&rig, 0, 1, 10L * SECOND_MS, 0);
    rig_add_bus_channel(&rig, a, INPUT, 0, SECOND_MS / 4);
    rig_open(&rig);
    rig_run(&rig, SECOND_MS / 5);
    assert_true(poller_expects_answer(rig.poller));
    assert_int_equal(rig_count_all(&rig, 0), 0);
    bus_close(&bus);
    rig_run(&rig, SECOND_MS / 2);
    assert_false(poller_expects_answer(rig.poller));
    assert_in_range(rig_count(&rig, 0, QUALITY_NO_REPLY, 0), 2, 4);
    assert_int_equal(rig.event_count, 1);
    rig_end(&rig);
}

static void polls_nothing_when_there_is_nothing(void **state) {
    struct rig rig;

    (void)state;
    rig_begin(&rig, true);
    rig_open(&rig);
    assert_int_equal(poller_count_requests(rig.poller), 0);
    assert_true(poller_next_deadline_us(rig.poller) == CLOCK_NEVER_US);
    rig_run(&rig, SECOND_MS);
    rig_end(&rig);
    poller_free(NULL);
}

/* Of all that the tests above put on any line, whatever happened there, each frame asks to read. */
static void has_only_ever_read(void **state) {
    enum { AT_LEAST = 1000 };

    (void)state;
    assert_true(sent.length / MODBUS_REQUEST_BYTES >= AT_LEAST);
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
        cmocka_unit_test(asks_once_for_registers_that_touch),
        cmocka_unit_test(keeps_values_of_two_registers_whole),
        cmocka_unit_test(keeps_its_periods),
        cmocka_unit_test(skips_what_it_missed),
        cmocka_unit_test(leaves_silence_between_frames),
        cmocka_unit_test(stamps_the_first_byte),
        cmocka_unit_test(names_what_went_wrong),
        cmocka_unit_test(takes_no_late_reply_for_another),
        cmocka_unit_test(keeps_the_rate_beside_a_dead_one),
        cmocka_unit_test(gives_dead_ones_a_tenth),
        cmocka_unit_test(lets_no_line_wait_for_another),
        cmocka_unit_test(survives_a_line_that_vanishes),
        cmocka_unit_test(survives_a_line_that_vanishes_while_asked),
        cmocka_unit_test(polls_nothing_when_there_is_nothing),
        cmocka_unit_test(has_only_ever_read),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
