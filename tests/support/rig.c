// SPDX-License-Identifier: MIT
#include "rig.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "bus.h"

enum {
    QUEUE_MESSAGES = 4096,
    BATCH = 256,
    US_PER_MS = 1000,
    PER_UNIT = 1000,
    SIMULATED_START_S = 1763280000, // some Sunday in November
    WIDEST = 2000000000,
};

void rig_begin(struct rig *rig, bool simulated) {
    struct fault fault = {0};

    memset(rig, 0, sizeof *rig);
    rig->config.lines = rig->lines;
    rig->config.instruments = rig->instruments;
    rig->config.channels = rig->channels;
    if (simulated) {
        int descriptor;

        strcpy(rig->page, "/tmp/soakledger-poller-XXXXXX");
        descriptor = mkstemp(rig->page);
        assert_true(descriptor >= 0);
        close(descriptor);
        assert_int_equal(clock_create_page(rig->page, (int64_t)SIMULATED_START_S * US_PER_MS, &fault), 0);
        rig->clock = clock_open_simulated(rig->page, "poller", &fault);
    } else {
        rig->clock = clock_open_real(&fault);
    }
    assert_non_null(rig->clock);
    rig->queue = queue_open(QUEUE_MESSAGES, &fault);
    assert_non_null(rig->queue);
}

size_t rig_add_line(struct rig *rig, const char *device) {
    static const char *const names[RIG_LINES] = {"one",      "two",      "three",   "four",   "five",   "six",
                                                 "seven",    "eight",    "nine",    "ten",    "eleven", "twelve",
                                                 "thirteen", "fourteen", "fifteen", "sixteen"};
    const size_t index = rig->config.line_count++;

    assert_true(index < RIG_LINES);
    rig->lines[index] = (struct config_line){.name = names[index],
                                             .device = device,
                                             .kind = LINE_PSEUDO_TERMINAL,
                                             .speed_baud = RIG_BAUD,
                                             .stop_bits = 1};
    return index;
}

size_t rig_add_instrument(struct rig *rig, size_t line, int address, int64_t reply_within_ms, int retries) {
    const size_t index = rig->config.instrument_count++;

    assert_true(index < RIG_INSTRUMENTS);
    rig->instruments[index] = (struct config_instrument){.name = "one",
                                                         .line = line,
                                                         .address = address,
                                                         .reply_within_ms = reply_within_ms,
                                                         .retries = retries,
                                                         .setting = {.address = address}};
    return index;
}

size_t rig_add_channel(struct rig *rig, size_t instrument, uint8_t function, unsigned first_register,
                       enum encoding encoding, int64_t interval_ms, int64_t expected) {
    const size_t index = rig->config.channel_count++;

    assert_true(index < RIG_CHANNELS);
    rig->channels[index] = (struct config_channel){.name = "one",
                                                   .instrument = instrument,
                                                   .sensor = CONFIG_NO_SENSOR,
                                                   .role = ROLE_LOAD,
                                                   .interval_ms = interval_ms,
                                                   .fitting = {.function = function,
                                                               .first_register = (uint16_t)first_register,
                                                               .encoding = encoding,
                                                               .low = -WIDEST,
                                                               .high = WIDEST}};
    rig->ids[index] = RIG_FIRST_ID + (int64_t)index;
    rig->expected[index] = expected;
    return index;
}

size_t rig_add_bus_channel(struct rig *rig, size_t instrument, uint8_t function, unsigned index,
                           int64_t interval_ms) {
    const uint8_t address = (uint8_t)rig->instruments[instrument].address;
    const int16_t value = (int16_t)bus_register(address, function, index);

    return rig_add_channel(rig, instrument, function, index, ENCODING_INT16, interval_ms,
                           (int64_t)value * PER_UNIT);
}

void rig_open(struct rig *rig) {
    struct fault fault = {0};

    for (size_t i = 0; i < RIG_CHANNELS; i++)
        rig->last_t_ms[i] = INT64_MIN;
    rig->start_ms = clock_read_ms(rig->clock);
    rig->watermark_ms = INT64_MIN;
    rig->poller = poller_open(&rig->config, rig->ids, rig->clock, rig->queue, &fault);
    if (rig->poller == NULL)
        fail_msg("%s", fault.text);
}

static void keep_reading(struct rig *rig, const struct reading *reading) {
    const size_t channel = (size_t)(reading->channel_id - RIG_FIRST_ID);

    assert_true(channel < rig->config.channel_count);
    assert_true(reading->t_ms > rig->watermark_ms);
    assert_true(reading->t_ms > rig->last_t_ms[channel]);
    rig->last_t_ms[channel] = reading->t_ms;
    if (reading->quality == QUALITY_GOOD)
        assert_int_equal(reading->value, rig->expected[channel]);
    if (rig->reading_count == rig->reading_room) {
        rig->reading_room = 2 * rig->reading_room + BATCH;
        rig->readings = realloc(rig->readings, rig->reading_room * sizeof *rig->readings);
        assert_non_null(rig->readings);
    }
    rig->readings[rig->reading_count++] = *reading;
}

static void collect(struct rig *rig) {
    struct message messages[BATCH];
    size_t count;

    while ((count = queue_take(rig->queue, messages, BATCH, 0)) > 0) {
        for (size_t i = 0; i < count; i++) {
            if (messages[i].kind == MESSAGE_READING) {
                keep_reading(rig, &messages[i].reading);
            } else {
                assert_int_equal(messages[i].kind, MESSAGE_EVENT);
                assert_true(rig->event_count < RIG_EVENTS);
                rig->events[rig->event_count++] = messages[i].event;
            }
        }
    }
    assert_int_equal(queue_take_lost(rig->queue), 0);
}

static void check_watermark(struct rig *rig) {
    const int64_t watermark_ms = poller_watermark_ms(rig->poller);
    const int64_t lag_ms = clock_read_ms(rig->clock) - watermark_ms;

    assert_true(watermark_ms >= rig->watermark_ms);
    assert_true(lag_ms > 0);
    if (lag_ms > rig->most_lag_ms)
        rig->most_lag_ms = lag_ms;
    rig->watermark_ms = watermark_ms;
}

void rig_run(struct rig *rig, int64_t for_ms) {
    const int64_t end_us = clock_now_us(rig->clock) + for_ms * US_PER_MS;

    while (clock_now_us(rig->clock) < end_us) {
        struct pollfd descriptors[RIG_LINES];
        const size_t count = poller_fill_descriptors(rig->poller, descriptors, RIG_LINES);
        int64_t deadline_us = poller_next_deadline_us(rig->poller);

        if (deadline_us > end_us)
            deadline_us = end_us;
        assert_true(clock_wait(rig->clock, descriptors, count, deadline_us, poller_expects_answer(rig->poller)) >=
                    0);
        poller_handle(rig->poller, descriptors, count);
        collect(rig);
        check_watermark(rig);
    }
}

void rig_end(struct rig *rig) {
    poller_free(rig->poller);
    queue_free(rig->queue);
    clock_close(rig->clock);
    free(rig->readings);
    if (rig->page[0] != '\0')
        unlink(rig->page);
}

static bool is_of(const struct reading *reading, size_t channel) {
    return reading->channel_id == RIG_FIRST_ID + (int64_t)channel;
}

size_t rig_count(const struct rig *rig, size_t channel, enum quality quality, int64_t from_ms) {
    size_t count = 0;

    for (size_t i = 0; i < rig->reading_count; i++) {
        const struct reading *reading = &rig->readings[i];

        count += is_of(reading, channel) && reading->quality == quality && reading->t_ms >= rig->start_ms + from_ms;
    }
    return count;
}

size_t rig_count_all(const struct rig *rig, size_t channel) {
    size_t count = 0;

    for (size_t i = 0; i < rig->reading_count; i++)
        count += is_of(&rig->readings[i], channel);
    return count;
}

void rig_forget(struct rig *rig) {
    rig->reading_count = 0;
}

const struct reading *rig_find(const struct rig *rig, size_t channel, size_t n) {
    for (size_t i = 0; i < rig->reading_count; i++) {
        if (is_of(&rig->readings[i], channel) && n-- == 0)
            return &rig->readings[i];
    }
    fail_msg("channel %zu has no reading %zu", channel, n);
    return NULL;
}
