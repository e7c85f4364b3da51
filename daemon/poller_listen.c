// SPDX-License-Identifier: MIT
/* A line on which a free-running instrument prints what it measures, whenever it likes. */
#include "poller_state.h"

/* A line is taken for a channel if so much of its interval has passed since the last one. */
enum { TAKEN_AFTER = 3, OF_PARTS = 4 };

static int64_t earlier(int64_t a_us, int64_t b_us) {
    return a_us < b_us ? a_us : b_us;
}

static struct poller_instrument *instrument_of(struct poller *poller, const struct poller_line *line) {
    return &poller->instruments[poller->blocks[line->begin].instrument];
}

static void expect_line(struct poller *poller, const struct poller_block *block, size_t place, int64_t heard_us) {
    const struct config_instrument *instrument = poller->instruments[block->instrument].config;

    poller->heard_us[place] = heard_us;
    poller->missing_us[place] = heard_us + instrument->missing_after * block->interval_us;
}

void poller_begin_listening(struct poller *poller, struct poller_line *line, int64_t now_us) {
    const struct poller_block *first = &poller->blocks[line->begin];

    instrument_of(poller, line)->wire->start(&line->exchange, &first->request);
    line->broken_us = now_us - 1;
    for (size_t i = line->begin; i < line->end; i = poller->blocks[i].end)
        for (size_t place = i; place < poller->blocks[i].end; place++)
            expect_line(poller, &poller->blocks[i], place, now_us);
}

/* False if the line holds nothing for any channel. Those that are cold junctions are taken, or those that are not.
 */
static bool take_values(struct poller *poller, const struct poller_line *line, const struct poller_block *block,
                        bool cold) {
    const struct wire *wire = poller->instruments[block->instrument].wire;
    const int64_t t_us = line->exchange.first_byte_us;
    bool found = false;

    for (size_t place = block->begin; place < block->end; place++) {
        struct reading reading = {0};

        if (junction_is_cold(poller->junction, poller->order[place]) != cold ||
            !wire->read(&line->exchange, poller->fittings[place], &reading))
            continue;
        found = true;
        if (t_us - poller->heard_us[place] < block->interval_us * TAKEN_AFTER / OF_PARTS &&
            poller->last_t_ms[poller->order[place]] != INT64_MIN)
            continue;
        expect_line(poller, block, place, t_us);
        poller_push_reading(poller, poller->order[place], &reading, t_us / POLLER_US_PER_MS);
    }
    return found;
}

static void take_line(struct poller *poller, struct poller_line *line, int64_t now_us) {
    struct poller_instrument *instrument = instrument_of(poller, line);
    bool found = false;

    for (int cold = 1; cold >= 0; cold--) // the terminals' temperatures first
        for (size_t i = line->begin; i < line->end; i = poller->blocks[i].end)
            found |= take_values(poller, line, &poller->blocks[i], cold == 1);
    if (found) {
        instrument->counts.replies++;
    } else {
        instrument->counts.by_status[WIRE_UNREADABLE]++;
        line->broken_us = now_us;
    }
}

static void note_broken(struct poller *poller, struct poller_line *line, enum wire_status status, int64_t now_us) {
    struct poller_instrument *instrument = instrument_of(poller, line);

    instrument->counts.bad_frames++;
    instrument->counts.by_status[status]++;
    line->broken_us = now_us;
}

void poller_hear(struct poller *poller, struct poller_line *line, const uint8_t *bytes, size_t length,
                 int64_t now_us) {
    const struct wire *wire = instrument_of(poller, line)->wire;

    for (size_t at = 0, used; at < length; at += used) {
        const enum wire_status status = wire->take(&line->exchange, bytes + at, length - at, now_us, &used);

        if (status == WIRE_DONE)
            take_line(poller, line, now_us);
        else if (status != WIRE_MORE)
            note_broken(poller, line, status, now_us);
    }
}

/* A period in which nothing came, or nothing that could be believed. */
static void miss_values(struct poller *poller, struct poller_line *line, const struct poller_block *block,
                        int64_t now_us) {
    for (size_t place = block->begin; place < block->end; place++) {
        struct reading reading = {.quality = QUALITY_NO_REPLY};

        if (now_us >= poller->missing_us[place]) {
            poller->missing_us[place] +=
                ((now_us - poller->missing_us[place]) / block->interval_us + 1) * block->interval_us;
            if (line->broken_us > poller->heard_us[place])
                reading.quality = QUALITY_BAD_FRAME;
            else
                instrument_of(poller, line)->counts.timeouts++;
            poller_push_reading(poller, poller->order[place], &reading, now_us / POLLER_US_PER_MS);
        }
        line->wake_us = earlier(line->wake_us, poller->missing_us[place]);
    }
}

void poller_miss(struct poller *poller, struct poller_line *line, int64_t now_us) {
    const struct poller_instrument *instrument = instrument_of(poller, line);
    const enum wire_status status = instrument->wire->wait(&line->exchange, instrument->pause_us, now_us);

    if (status != WIRE_MORE)
        note_broken(poller, line, status, now_us);
    if (line->exchange.length > 0)
        line->wake_us = earlier(line->wake_us, line->exchange.last_byte_us + instrument->pause_us + 1);
    for (size_t i = line->begin; i < line->end; i = poller->blocks[i].end)
        miss_values(poller, line, &poller->blocks[i], now_us);
}
