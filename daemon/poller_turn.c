// SPDX-License-Identifier: MIT
/* Which registers are asked for together, and whose turn it is. */
#include "poller_state.h"

#include <stdlib.h>

enum {
    FORCED_SHARE = 10, // dead instruments get one part in this of a line's time, where there is no gap
};

/* What decides whether two channels can share a request, the register last. */
struct place {
    size_t line, instrument;
    int64_t interval_ms;
    unsigned function, first, end;
};

static struct place find_place(const struct config *config, size_t index) {
    const struct config_channel *channel = &config->channels[index];

    return (struct place){.line = config->instruments[channel->instrument].line,
                          .instrument = channel->instrument,
                          .interval_ms = channel->interval_ms,
                          .function = channel->fitting.function,
                          .first = channel->fitting.first_register,
                          .end = channel->fitting.first_register +
                                 (unsigned)channel_count_registers(channel->fitting.encoding)};
}

#define COMPARE(a, b) (((a) > (b)) - ((a) < (b)))

static int compare_channels(const void *left, const void *right, void *config) {
    const struct place a = find_place(config, *(const size_t *)left);
    const struct place b = find_place(config, *(const size_t *)right);

    if (a.line != b.line)
        return COMPARE(a.line, b.line);
    if (a.instrument != b.instrument)
        return COMPARE(a.instrument, b.instrument);
    if (a.interval_ms != b.interval_ms)
        return COMPARE(a.interval_ms, b.interval_ms);
    if (a.function != b.function)
        return COMPARE(a.function, b.function);
    return a.first != b.first ? COMPARE(a.first, b.first) : COMPARE(a.end, b.end);
}

/* Whether the channel's registers touch or overlap the block's and the whole still fits one reply. */
static bool joins(const struct poller_block *block, const struct place *place) {
    return block->instrument == place->instrument && block->function == place->function &&
           block->interval_us == place->interval_ms * POLLER_US_PER_MS &&
           place->first <= (unsigned)block->first + block->count &&
           place->end - block->first <= MODBUS_MOST_REGISTERS;
}

static void add_block(struct poller *poller, const struct place *place, size_t at) {
    struct poller_instrument *instrument = &poller->instruments[place->instrument];
    struct poller_line *line = &poller->lines[place->line];
    struct poller_block *block = &poller->blocks[poller->block_count];

    *block = (struct poller_block){.instrument = place->instrument,
                                   .function = (uint8_t)place->function,
                                   .first = (uint16_t)place->first,
                                   .begin = at,
                                   .interval_us = place->interval_ms * POLLER_US_PER_MS,
                                   .due_us = poller->start_us};
    if (line->end == 0)
        line->begin = poller->block_count;
    line->end = ++poller->block_count;
    instrument->block_count++;
    if (instrument->shortest_interval_us == 0 || block->interval_us < instrument->shortest_interval_us)
        instrument->shortest_interval_us = block->interval_us;
}

void poller_group_channels(struct poller *poller) {
    const struct config *config = poller->config;

    for (size_t i = 0; i < config->channel_count; i++)
        poller->order[i] = i;
    qsort_r(poller->order, config->channel_count, sizeof *poller->order, compare_channels, (void *)config);
    for (size_t i = 0; i < config->channel_count; i++) {
        const struct place place = find_place(config, poller->order[i]);
        struct poller_block *block;

        if (poller->block_count == 0 || !joins(&poller->blocks[poller->block_count - 1], &place))
            add_block(poller, &place, i);
        block = &poller->blocks[poller->block_count - 1];
        if (place.end - block->first > block->count)
            block->count = (uint16_t)(place.end - block->first);
        block->end = i + 1;
    }
}

bool poller_is_dead(const struct poller_instrument *instrument) {
    return instrument->unanswered >= POLLER_DEAD_AFTER;
}

void poller_schedule_next(struct poller *poller, struct poller_block *block, int64_t now_us) {
    const int64_t periods = (now_us - poller->start_us) / block->interval_us + 1;
    const int64_t next_us = poller->start_us + periods * block->interval_us;

    poller->instruments[block->instrument].counts.skipped +=
        (uint64_t)((next_us - block->due_us) / block->interval_us - 1);
    block->due_us = next_us;
}

static int64_t later(int64_t a_us, int64_t b_us) {
    return a_us > b_us ? a_us : b_us;
}

static int64_t earlier(int64_t a_us, int64_t b_us) {
    return a_us < b_us ? a_us : b_us;
}

/* When the block may be asked for. */
static int64_t find_opening(const struct poller_instrument *instrument, const struct poller_block *block) {
    int64_t opening_us = block->due_us;

    // A late reply to the only request that there is does no harm.
    if (instrument->block_count > 1)
        opening_us = later(opening_us, instrument->owed_until_us);
    if (poller_is_dead(instrument))
        opening_us = later(opening_us, instrument->probe_us);
    return opening_us;
}

/* Whoever has waited longest; of two, the one that comes round sooner. */
static bool goes_before(const struct poller_block *a, const struct poller_block *b) {
    if (b == NULL || a->due_us != b->due_us)
        return b == NULL || a->due_us < b->due_us;
    return a->interval_us < b->interval_us;
}

struct candidates {
    struct poller_block *living, *dead;
    int64_t next_living_us; // when the next of the living wants the line
};

static struct candidates find_candidates(struct poller *poller, const struct poller_line *line, int64_t now_us,
                                         int64_t *later_us) {
    struct candidates found = {.next_living_us = CLOCK_NEVER_US};

    for (size_t i = line->begin; i < line->end; i++) {
        struct poller_block *block = &poller->blocks[i];
        const struct poller_instrument *instrument = &poller->instruments[block->instrument];
        const int64_t opening_us = find_opening(instrument, block);
        const bool dead = poller_is_dead(instrument);

        if (!dead)
            found.next_living_us = earlier(found.next_living_us, opening_us);
        if (opening_us > now_us)
            *later_us = earlier(*later_us, opening_us);
        else if (dead && goes_before(block, found.dead))
            found.dead = block;
        else if (!dead && goes_before(block, found.living))
            found.living = block;
    }
    return found;
}

struct poller_block *poller_choose_block(struct poller *poller, struct poller_line *line, int64_t now_us,
                                         int64_t *later_us) {
    const struct candidates found = find_candidates(poller, line, now_us, later_us);
    int64_t wait_us, force_us;

    if (found.dead == NULL)
        return found.living;
    wait_us = poller->instruments[found.dead->instrument].config->reply_within_ms * POLLER_US_PER_MS +
              MODBUS_REQUEST_BYTES * line->character_us;
    if (found.next_living_us - now_us >= wait_us)
        return found.dead;
    // No gap yet: half an interval is waited for one.
    force_us = later(found.dead->due_us + found.dead->interval_us / 2, line->forced_us);
    if (now_us >= force_us) {
        line->forced_us = now_us + FORCED_SHARE * wait_us;
        return found.dead;
    }
    if (found.living == NULL)
        *later_us = earlier(*later_us, force_us);
    return found.living;
}
