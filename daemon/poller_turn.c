// SPDX-License-Identifier: MIT
/* Which registers are asked for together, and whose turn it is. */
#include "poller_state.h"

#include <stdlib.h>
#include <string.h>

enum {
    FORCED_SHARE = 10, // dead instruments get one part in this of a line's time, where there is no gap
};

#define COMPARE(a, b) (((a) > (b)) - ((a) < (b)))

/* So that channels that can share a request lie together: the line, then the instrument, then how often and where.
 */
static int compare_channels(const void *left, const void *right, void *data) {
    const struct config *config = data;
    const struct config_channel *a = &config->channels[*(const size_t *)left];
    const struct config_channel *b = &config->channels[*(const size_t *)right];
    const size_t line_a = config->instruments[a->instrument].line, line_b = config->instruments[b->instrument].line;

    if (line_a != line_b)
        return COMPARE(line_a, line_b);
    if (a->instrument != b->instrument)
        return COMPARE(a->instrument, b->instrument);
    if (a->interval_ms != b->interval_ms)
        return COMPARE(a->interval_ms, b->interval_ms);
    if (a->fitting.function != b->fitting.function)
        return COMPARE(a->fitting.function, b->fitting.function);
    if (a->fitting.first_register != b->fitting.first_register)
        return COMPARE(a->fitting.first_register, b->fitting.first_register);
    if (a->fitting.encoding != b->fitting.encoding)
        return COMPARE(channel_count_registers(a->fitting.encoding), channel_count_registers(b->fitting.encoding));
    return strcmp(a->fitting.query, b->fitting.query);
}

static const struct config_channel *channel_at(const struct poller *poller, size_t place) {
    return &poller->config->channels[poller->order[place]];
}

static struct poller_block *begin_block(struct poller *poller, size_t place, int64_t due_us) {
    const struct config_channel *channel = channel_at(poller, place);
    struct poller_instrument *instrument = &poller->instruments[channel->instrument];
    struct poller_block *block = &poller->blocks[place];

    *block = (struct poller_block){
        .instrument = channel->instrument,
        .request = {.setting = &instrument->config->setting, .wanted = poller->fittings + place, .wanted_count = 1},
        .begin = place,
        .end = place + 1,
        .interval_us = channel->interval_ms * POLLER_US_PER_MS,
        .due_us = due_us};
    instrument->wire->begin(&block->request, poller->fittings[place]);
    instrument->block_count++;
    poller->block_count++;
    return block;
}

/* False if the channel at the block's end cannot share its request. */
static bool join_block(struct poller *poller, struct poller_block *block) {
    const struct config_channel *channel = channel_at(poller, block->end);

    if (channel->instrument != block->instrument || channel->interval_ms * POLLER_US_PER_MS != block->interval_us ||
        !poller->instruments[block->instrument].wire->join(&block->request, poller->fittings[block->end]))
        return false;
    block->request.wanted_count = ++block->end - block->begin;
    return true;
}

static void add_block(struct poller *poller, size_t place) {
    struct poller_block *block = begin_block(poller, place, poller->start_us);
    struct poller_instrument *instrument = &poller->instruments[block->instrument];
    struct poller_line *line = &poller->lines[instrument->config->line];

    if (line->end == 0)
        line->begin = place;
    line->listens = !instrument->wire->asks;
    if (instrument->shortest_interval_us == 0 || block->interval_us < instrument->shortest_interval_us)
        instrument->shortest_interval_us = block->interval_us;
    while (block->end < poller->config->channel_count && join_block(poller, block))
        continue;
    line->end = block->end;
}

void poller_group_channels(struct poller *poller) {
    const struct config *config = poller->config;

    for (size_t i = 0; i < config->channel_count; i++)
        poller->order[i] = i;
    qsort_r(poller->order, config->channel_count, sizeof *poller->order, compare_channels, (void *)config);
    for (size_t i = 0; i < config->channel_count; i++)
        poller->fittings[i] = &channel_at(poller, i)->fitting;
    for (size_t i = 0; i < config->channel_count; i = poller->blocks[i].end)
        add_block(poller, i);
}

bool poller_halve_block(struct poller *poller, struct poller_block *block, int64_t now_us) {
    struct poller_instrument *instrument = &poller->instruments[block->instrument];
    const size_t begin = block->begin, end = block->end, middle = begin + (end - begin + 1) / 2;
    int64_t due_us;

    if (!instrument->wire->halves || middle == end)
        return false;
    // The period that is on.
    due_us = now_us - (now_us - poller->start_us) % block->interval_us;
    instrument->block_count--;
    poller->block_count--;
    for (block = begin_block(poller, begin, due_us); block->end < middle;)
        (void)join_block(poller, block); // what fitted one request fits two
    for (block = begin_block(poller, middle, due_us); block->end < end;)
        (void)join_block(poller, block);
    instrument->counts.splits++;
    return true;
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
static int64_t find_opening(const struct poller *poller, const struct poller_line *line,
                            const struct poller_instrument *instrument, const struct poller_block *block) {
    int64_t opening_us = block->due_us;

    // The one that is owed waits with the others, or it would push them back for ever.
    if (poller->blocks[line->begin].end < line->end)
        opening_us = later(opening_us, line->nameless_until_us);
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

    for (size_t i = line->begin; i < line->end; i = poller->blocks[i].end) {
        struct poller_block *block = &poller->blocks[i];
        const struct poller_instrument *instrument = &poller->instruments[block->instrument];
        const int64_t opening_us = find_opening(poller, line, instrument, block);
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

/* For how long a dead instrument keeps the line from the others. */
static int64_t find_probe_time(const struct poller *poller, const struct poller_line *line,
                               const struct poller_block *block) {
    const struct poller_instrument *instrument = &poller->instruments[block->instrument];
    const int64_t within_us = instrument->config->reply_within_ms * POLLER_US_PER_MS;
    const int64_t wait_us = within_us + MODBUS_REQUEST_BYTES * line->character_us;

    return instrument->wire->names_itself(&block->request) ? wait_us : wait_us + POLLER_LATENESS * within_us;
}

struct poller_block *poller_choose_block(struct poller *poller, struct poller_line *line, int64_t now_us,
                                         int64_t *later_us) {
    const struct candidates found = find_candidates(poller, line, now_us, later_us);
    int64_t wait_us, force_us;

    if (found.dead == NULL)
        return found.living;
    wait_us = find_probe_time(poller, line, found.dead);
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
