// SPDX-License-Identifier: MIT
/* What happens on one line: one exchange after the other, a request and its reply, with tries; or the line is gone.
 *
 * What may go wrong: nothing comes, something else comes, too little or too much comes, and whatever was given up
 * comes later after all. So before each request the line has been silent, everything that came unasked is thrown
 * away, and after a failure it must be silent for as long as a reply may pause.
 */
#include "poller_state.h"

#include <string.h>

enum {
    REOPEN_US = 1000000,
    READ_BYTES = 512,
};

static int64_t earlier(int64_t a_us, int64_t b_us) {
    return a_us < b_us ? a_us : b_us;
}

static struct poller_instrument *instrument_of(struct poller *poller, const struct poller_block *block) {
    return &poller->instruments[block->instrument];
}

static int64_t reply_within_us(const struct poller_instrument *instrument) {
    return instrument->config->reply_within_ms * POLLER_US_PER_MS;
}

static void lose_line(struct poller *poller, struct poller_line *line, int64_t now_us) {
    line_close(line->line);
    line->line = NULL;
    line->lost_us = now_us;
    line->reopen_us = now_us;
    if (line->current != NULL)
        poller_push_failure(poller, line->current, QUALITY_NO_REPLY, now_us);
    line->current = NULL;
    line->sent = false;
    line->exchange.length = 0;
    fault_set(&line->trouble, EX_IOERR, "line %s: %s hung up", line->config->name, line->config->device);
}

static void reopen_line(struct poller *poller, struct poller_line *line, int64_t now_us) {
    line->line = line_open(line->config, &line->trouble);
    if (line->line == NULL) {
        line->reopen_us = now_us + REOPEN_US;
        return;
    }
    if (line->told_lost)
        poller_push_event(poller, line, EVENT_LINE_BACK, (now_us - line->lost_us) / POLLER_US_PER_MS, now_us);
    line->told_lost = false;
    // Whoever had the line before may have left a reply on its way.
    line->ready_us = now_us + line->quiet_us;
    if (line->listens)
        poller_begin_listening(poller, line, now_us);
}

static void give_up_others(struct poller *poller, const struct poller_line *line, size_t instrument,
                           int64_t now_us) {
    for (size_t i = line->begin; i < line->end; i = poller->blocks[i].end) {
        struct poller_block *block = &poller->blocks[i];

        if (block->instrument == instrument && block->due_us <= now_us) {
            poller_schedule_next(poller, block, now_us);
            poller_push_failure(poller, block, QUALITY_NO_REPLY, now_us);
        }
    }
}

/* The next of its shortest periods, so that a probe keeps to the phase of its requests. */
static int64_t find_next_probe(const struct poller *poller, const struct poller_instrument *instrument,
                               int64_t now_us) {
    const int64_t interval_us = instrument->shortest_interval_us;

    return poller->start_us + ((now_us - poller->start_us) / interval_us + 1) * interval_us;
}

static void fail_exchange(struct poller *poller, struct poller_line *line, enum quality quality, int64_t now_us) {
    struct poller_block *block = line->current;
    struct poller_instrument *instrument = instrument_of(poller, block);

    line->current = NULL;
    if (quality == QUALITY_NO_REPLY && !line->probes_short && poller_note_silence(poller, block, now_us))
        return; // the halves are asked in its place
    poller_push_failure(poller, block, quality, now_us);
    if (quality != QUALITY_NO_REPLY)
        return;
    instrument->unanswered++;
    if (poller_is_dead(instrument)) {
        instrument->probe_short = !line->probes_short && instrument->wire->halves;
        instrument->probe_us = find_next_probe(poller, instrument, now_us - reply_within_us(instrument));
        give_up_others(poller, line, block->instrument, now_us);
    }
}

/* Replies to `tries` that were given up may still come, one after the other. */
static void expect_late_replies(struct poller_line *line, const struct poller_block *block,
                                struct poller_instrument *instrument, int tries, int64_t now_us) {
    instrument->owed_until_us = now_us + POLLER_LATENESS * (int64_t)tries * reply_within_us(instrument);
    if (!instrument->wire->names_itself(&block->request))
        line->nameless_until_us = instrument->owed_until_us;
}

/* A try that came to nothing; `status` says what was wrong with what came. */
static void fail_try(struct poller *poller, struct poller_line *line, enum quality quality, enum wire_status status,
                     int64_t now_us) {
    struct poller_instrument *instrument = instrument_of(poller, line->current);
    // Only one that has just answered is asked again at once.
    const int tries = instrument->unanswered == 0 ? 1 + instrument->config->retries : 1;

    instrument->counts.echoes += line->exchange.echoed;
    if (quality == QUALITY_NO_REPLY) {
        instrument->counts.timeouts++;
    } else {
        instrument->counts.bad_frames++;
        instrument->counts.by_status[status]++;
        line->ready_us = now_us + line->quiet_us;
    }
    line->sent = false;
    if (quality == QUALITY_NO_REPLY || !instrument->wire->was_reply(&line->exchange))
        expect_late_replies(line, line->current, instrument, ++line->unanswered_tries, now_us);
    if (line->tries >= tries)
        fail_exchange(poller, line, quality, now_us);
    line->exchange.length = 0;
}

static void end_exchange(struct poller *poller, struct poller_line *line, enum wire_status status, int64_t now_us) {
    struct poller_block *block = line->current;
    struct poller_instrument *instrument = instrument_of(poller, block);

    line->sent = false;
    line->current = NULL;
    line->ready_us = now_us + instrument->gap_us;
    instrument->unanswered = 0;
    instrument->counts.echoes += line->exchange.echoed;
    // This may have been the reply to an earlier try, and the one to the last try is still to come.
    if (line->unanswered_tries > 0)
        expect_late_replies(line, block, instrument, line->unanswered_tries, now_us);
    else if (now_us < instrument->owed_until_us)
        expect_late_replies(line, block, instrument, 1, now_us);
    poller_note_answer(poller, line, block, line->exchange.request.wanted_count);
    if (status == WIRE_DONE) {
        instrument->counts.replies++;
        poller_push_values(poller, block, &line->exchange);
    } else {
        instrument->counts.exceptions++;
        if (line->probes_short || !poller_note_refusal(poller, block, line->exchange.refusal, now_us))
            poller_push_failure(poller, block, QUALITY_EXCEPTION, now_us);
    }
    line->exchange.length = 0;
}

static void settle(struct poller *poller, struct poller_line *line, enum wire_status status, int64_t now_us) {
    if (status == WIRE_DONE || status == WIRE_REFUSED)
        end_exchange(poller, line, status, now_us);
    else if (status != WIRE_MORE)
        fail_try(poller, line, QUALITY_BAD_FRAME, status, now_us);
}

/* False if the line is gone. What nobody waits for is thrown away, and the line must be silent after it. */
static bool read_line(struct poller *poller, struct poller_line *line, int64_t now_us) {
    uint8_t bytes[READ_BYTES];

    for (;;) {
        const ssize_t length = line_read(line->line, bytes, sizeof bytes);
        size_t used;

        if (length < 0)
            lose_line(poller, line, now_us);
        if (length <= 0)
            return length == 0;
        if (line->listens) {
            poller_hear(poller, line, bytes, (size_t)length, now_us);
        } else if (line->sent) {
            const struct wire *wire = instrument_of(poller, line->current)->wire;

            settle(poller, line, wire->take(&line->exchange, bytes, (size_t)length, now_us, &used), now_us);
        } else {
            line->ready_us = now_us + line->quiet_us;
            poller_count_stray(poller, line, now_us);
        }
    }
}

/* Ends a try whose time is over. */
static void check_time(struct poller *poller, struct poller_line *line, int64_t now_us) {
    const struct poller_instrument *instrument = instrument_of(poller, line->current);

    if (line->exchange.length > 0)
        settle(poller, line, instrument->wire->wait(&line->exchange, instrument->pause_us, now_us), now_us);
    else if (now_us >= line->answer_by_us)
        fail_try(poller, line, QUALITY_NO_REPLY, WIRE_MORE, now_us);
}

static struct wire_request choose_request(const struct poller *poller, const struct poller_line *line) {
    const struct poller_block *block = line->current;
    struct wire_request request = block->request;

    if (line->probes_short) {
        request.wanted_count = 1;
        poller->instruments[block->instrument].wire->begin(&request, request.wanted[0]);
    }
    return request;
}

static void send_request(struct poller *poller, struct poller_line *line, int64_t now_us) {
    struct poller_instrument *instrument = instrument_of(poller, line->current);
    const struct wire_request request = choose_request(poller, line);
    int64_t sent_us;

    instrument->wire->start(&line->exchange, &request);
    // A line that takes none of it or a part gets no reply, which is found out soon enough.
    if (line_write(line->line, line->exchange.sent, line->exchange.sent_length) < 0) {
        lose_line(poller, line, now_us);
        return;
    }
    sent_us = now_us + (int64_t)line->exchange.sent_length * line->character_us;
    instrument->counts.requests++;
    line->tries++;
    line->sent = true;
    line->answer_by_us = sent_us + reply_within_us(instrument);
    line->ready_us = sent_us + instrument->gap_us;
}

static void begin_exchange(struct poller *poller, struct poller_line *line, struct poller_block *block,
                           int64_t now_us) {
    const struct poller_instrument *instrument = instrument_of(poller, block);

    poller_schedule_next(poller, block, now_us);
    line->current = block;
    line->probes_short = poller_is_dead(instrument) && instrument->probe_short && block->end - block->begin > 1;
    line->tries = 0;
    line->unanswered_tries = 0;
}

static void pass_lost_period(struct poller *poller, struct poller_line *line, struct poller_block *block,
                             int64_t now_us) {
    if (block->due_us <= now_us) {
        poller_schedule_next(poller, block, now_us);
        poller_push_failure(poller, block, QUALITY_NO_REPLY, now_us);
    }
    line->wake_us = earlier(line->wake_us, block->due_us);
}

/* The period is over and the next one has begun: the block stays due. */
static void pass_dead_period(struct poller *poller, struct poller_line *line, struct poller_block *block,
                             int64_t now_us) {
    const int64_t periods = (now_us - block->due_us) / block->interval_us;

    if (block->due_us + block->interval_us <= now_us) {
        block->due_us += periods * block->interval_us;
        poller_push_failure(poller, block, QUALITY_NO_REPLY, now_us);
    }
    line->wake_us = earlier(line->wake_us, block->due_us + block->interval_us);
}

/* A line that is gone has no reply in any period, a dead instrument in those that it was not tried in. */
static void pass_periods(struct poller *poller, struct poller_line *line, int64_t now_us) {
    for (size_t i = line->begin; i < line->end; i = poller->blocks[i].end) {
        struct poller_block *block = &poller->blocks[i];

        if (line->line == NULL)
            pass_lost_period(poller, line, block, now_us);
        else if (poller_is_dead(instrument_of(poller, block)))
            pass_dead_period(poller, line, block, now_us);
    }
}

/* Sends what may be sent now, or finds out when. */
static void go_on(struct poller *poller, struct poller_line *line, int64_t now_us) {
    if (now_us < line->ready_us) {
        line->wake_us = earlier(line->wake_us, line->ready_us);
        return;
    }
    if (line->current == NULL) {
        struct poller_block *block = poller_choose_block(poller, line, now_us, &line->wake_us);

        if (block == NULL)
            return;
        begin_exchange(poller, line, block, now_us);
    }
    send_request(poller, line, now_us);
}

static void attend_exchange(struct poller *poller, struct poller_line *line, bool readable, int64_t now_us) {
    // Also at a deadline: what has come by now is in time.
    if ((readable || line->listens || line->sent || now_us >= line->ready_us) && !read_line(poller, line, now_us))
        return;
    if (line->listens) {
        poller_miss(poller, line, now_us);
        return;
    }
    if (line->sent)
        check_time(poller, line, now_us);
    if (!line->sent)
        go_on(poller, line, now_us);
    if (!line->sent)
        return;
    if (line->exchange.length == 0)
        line->wake_us = earlier(line->wake_us, line->answer_by_us);
    else
        line->wake_us = earlier(line->wake_us,
                                line->exchange.last_byte_us + instrument_of(poller, line->current)->pause_us + 1);
}

void poller_advance_line(struct poller *poller, struct poller_line *line, bool readable, int64_t now_us) {
    line->wake_us = CLOCK_NEVER_US;
    if (line->line == NULL && now_us >= line->reopen_us)
        reopen_line(poller, line, now_us);
    if (line->line != NULL)
        attend_exchange(poller, line, readable, now_us);
    if (line->line == NULL) {
        if (!line->told_lost)
            poller_push_event(poller, line, EVENT_LINE_LOST, 0, now_us);
        line->told_lost = true;
        line->wake_us = earlier(line->wake_us, line->reopen_us);
    }
    pass_periods(poller, line, now_us);
}
