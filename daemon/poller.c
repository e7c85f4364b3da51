// SPDX-License-Identifier: MIT
/* The poller's outside, and what it puts into the queue. The lines' exchanges are in poller_line.c, which request
 * is whose turn in poller_turn.c. */
#include "soakledger/poller.h"
#include "poller_state.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int allocate(struct poller *poller, struct fault *fault) {
    const struct config *config = poller->config;

    // One more of each, so that nothing of nothing is not taken for a failure.
    poller->order = calloc(config->channel_count + 1, sizeof *poller->order);
    poller->fittings = calloc(config->channel_count + 1, sizeof(struct channel_fitting *));
    poller->last_t_ms = calloc(config->channel_count + 1, sizeof *poller->last_t_ms);
    poller->heard_us = calloc(config->channel_count + 1, sizeof *poller->heard_us);
    poller->missing_us = calloc(config->channel_count + 1, sizeof *poller->missing_us);
    poller->blocks = calloc(config->channel_count + 1, sizeof *poller->blocks);
    poller->instruments = calloc(config->instrument_count + 1, sizeof *poller->instruments);
    poller->lines = calloc(config->line_count + 1, sizeof *poller->lines);
    poller->quality = quality_open(config);
    poller->junction = junction_open(config);
    if (poller->order == NULL || poller->fittings == NULL || poller->last_t_ms == NULL ||
        poller->heard_us == NULL || poller->missing_us == NULL || poller->blocks == NULL ||
        poller->instruments == NULL || poller->lines == NULL || poller->quality == NULL || poller->junction == NULL)
        return fault_set(fault, EX_OSERR, "no memory to poll %zu channels", config->channel_count);
    return 0;
}

static void set_up_line(struct poller_line *line, const struct config_line *config, int64_t now_us) {
    line->config = config;
    line->character_us = modbus_character_us(config->speed_baud);
    line->quiet_us = modbus_t35_us(config->speed_baud) + WIRE_CHUNK_US;
    line->stray_us = now_us - line->quiet_us;
    line->lost_us = now_us;
    line->reopen_us = now_us;
    line->forced_us = now_us;
    line->wake_us = now_us;
}

static void set_up_instrument(struct poller_instrument *instrument, const struct config *config, size_t index) {
    const int baud = config->lines[config->instruments[index].line].speed_baud;

    instrument->config = &config->instruments[index];
    instrument->wire = wire_of_kind(instrument->config->setting.kind);
    instrument->gap_us = instrument->wire->gap_us(baud) + instrument->config->turnaround_ms * POLLER_US_PER_MS;
    instrument->pause_us = instrument->wire->pause_us(baud);
}

struct poller *poller_open(const struct config *config, const int64_t *channel_ids, struct clock *clock,
                           struct queue *queue, struct fault *fault) {
    struct poller *poller = calloc(1, sizeof *poller);

    if (poller == NULL) {
        fault_set(fault, EX_OSERR, "no memory for the poller");
        return NULL;
    }
    poller->config = config;
    poller->channel_ids = channel_ids;
    poller->clock = clock;
    poller->queue = queue;
    poller->start_us = clock_now_us(clock);
    if (allocate(poller, fault) != 0) {
        poller_free(poller);
        return NULL;
    }
    for (size_t i = 0; i < config->channel_count; i++)
        poller->last_t_ms[i] = INT64_MIN;
    for (size_t i = 0; i < config->instrument_count; i++)
        set_up_instrument(&poller->instruments[i], config, i);
    for (size_t i = 0; i < config->line_count; i++)
        set_up_line(&poller->lines[i], &config->lines[i], poller->start_us);
    poller_group_channels(poller);
    return poller;
}

void poller_free(struct poller *poller) {
    if (poller == NULL)
        return;
    for (size_t i = 0; poller->lines != NULL && i < poller->config->line_count; i++)
        line_close(poller->lines[i].line);
    free(poller->lines);
    free(poller->instruments);
    free(poller->blocks);
    junction_free(poller->junction);
    quality_free(poller->quality);
    free(poller->missing_us);
    free(poller->heard_us);
    free(poller->last_t_ms);
    free(poller->fittings);
    free(poller->order);
    free(poller);
}

size_t poller_fill_descriptors(const struct poller *poller, struct pollfd *descriptors, size_t most) {
    size_t count = 0;

    for (size_t i = 0; i < poller->config->line_count && count < most; i++) {
        if (poller->lines[i].line != NULL)
            descriptors[count++] = (struct pollfd){.fd = line_descriptor(poller->lines[i].line), .events = POLLIN};
    }
    return count;
}

int64_t poller_next_deadline_us(const struct poller *poller) {
    int64_t deadline_us = CLOCK_NEVER_US;

    for (size_t i = 0; i < poller->config->line_count; i++) {
        if (poller->lines[i].wake_us < deadline_us)
            deadline_us = poller->lines[i].wake_us;
    }
    return deadline_us;
}

bool poller_expects_answer(const struct poller *poller) {
    for (size_t i = 0; i < poller->config->line_count; i++) {
        if (poller->lines[i].sent)
            return true;
    }
    return false;
}

static bool is_readable(const struct poller_line *line, const struct pollfd *descriptors, size_t count) {
    for (size_t i = 0; i < count && line->line != NULL; i++) {
        if (descriptors[i].fd == line_descriptor(line->line))
            return descriptors[i].revents != 0;
    }
    return false;
}

void poller_handle(struct poller *poller, const struct pollfd *descriptors, size_t count) {
    for (size_t i = 0; i < poller->config->line_count; i++) {
        struct poller_line *line = &poller->lines[i];
        const bool readable = is_readable(line, descriptors, count);
        const int64_t now_us = clock_now_us(poller->clock);

        if (readable || now_us >= line->wake_us)
            poller_advance_line(poller, line, readable, now_us);
    }
}

/* Readings yet to come are stamped when their bytes are read, which is not before now, except those whose first
 * byte has been read already. */
int64_t poller_watermark_ms(const struct poller *poller) {
    int64_t earliest_ms = clock_read_ms(poller->clock);

    for (size_t i = 0; i < poller->config->line_count; i++) {
        const struct poller_line *line = &poller->lines[i];

        if ((line->sent || line->listens) && line->exchange.length > 0 &&
            line->exchange.first_byte_us / POLLER_US_PER_MS < earliest_ms)
            earliest_ms = line->exchange.first_byte_us / POLLER_US_PER_MS;
    }
    return earliest_ms - 1;
}

struct poller_counts poller_read_counts(const struct poller *poller, size_t instrument) {
    return poller->instruments[instrument].counts;
}

size_t poller_count_requests(const struct poller *poller) {
    return poller->block_count;
}

const char *poller_line_trouble(const struct poller *poller, size_t line) {
    return poller->lines[line].line != NULL ? NULL : poller->lines[line].trouble.text;
}

void poller_push_reading(struct poller *poller, size_t channel, struct reading *reading, int64_t t_ms) {
    struct message message = {.kind = MESSAGE_READING};

    // Two readings of a channel within a millisecond are still two.
    if (t_ms <= poller->last_t_ms[channel])
        t_ms = poller->last_t_ms[channel] + 1;
    poller->last_t_ms[channel] = t_ms;
    reading->t_ms = t_ms;
    reading->channel_id = poller->channel_ids[channel];
    junction_compensate(poller->junction, channel, reading, &message.voltage);
    quality_judge(poller->quality, channel, reading);
    junction_note(poller->junction, channel, reading);
    message.reading = *reading;
    queue_push(poller->queue, &message); // a full queue counts its losses
}

void poller_push_values(struct poller *poller, const struct poller_block *block,
                        const struct wire_exchange *exchange) {
    const struct wire *wire = poller->instruments[block->instrument].wire;
    const size_t served = block->begin + exchange->request.wanted_count;

    for (int cold = 1; cold >= 0; cold--) { // the terminals' temperatures first, for those that need them
        for (size_t i = block->begin; i < block->end; i++) {
            struct reading reading = {.quality = QUALITY_NO_REPLY};

            if (junction_is_cold(poller->junction, poller->order[i]) != (cold == 1))
                continue;
            if (i < served && !wire->read(exchange, poller->fittings[i], &reading))
                reading = (struct reading){.quality = QUALITY_BAD_FRAME};
            poller_push_reading(poller, poller->order[i], &reading, exchange->first_byte_us / POLLER_US_PER_MS);
        }
    }
}

void poller_push_failure(struct poller *poller, const struct poller_block *block, enum quality quality,
                         int64_t now_us) {
    for (size_t i = block->begin; i < block->end; i++) {
        struct reading reading = {.quality = quality};

        poller_push_reading(poller, poller->order[i], &reading, now_us / POLLER_US_PER_MS);
    }
}

void poller_push_event(struct poller *poller, const struct poller_line *line, enum event_kind kind, int64_t amount,
                       int64_t now_us) {
    struct message message = {.kind = MESSAGE_EVENT};

    message.event.t_ms = now_us / POLLER_US_PER_MS;
    message.event.kind = kind;
    message.event.amount = amount;
    snprintf(message.event.detail, sizeof message.event.detail, "%s", line->config->name);
    queue_push(poller->queue, &message);
}
