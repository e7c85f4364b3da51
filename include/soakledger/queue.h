// SPDX-License-Identifier: MIT
/* queue: the bounded way from the acquisition thread to the ledger thread. One producer, one consumer.
 * The producer never waits: a message that finds the queue full is counted and dropped. */
#ifndef SOAKLEDGER_QUEUE_H
#define SOAKLEDGER_QUEUE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"
#include "soakledger/reading.h"

/* Stored in the ledger by number: never renumber. */
enum event_kind {
    EVENT_STARTED = 1,    // the daemon began recording
    EVENT_STOPPED = 2,    // it was asked to stop and did so in order
    EVENT_RESUMED = 3,    // it began again with a run open; amount: ms not recorded; detail says how that is known
    EVENT_CLOCK_STEP = 4, // amount: ms the wall clock was put forward (negative: back)
    EVENT_LINE_LOST = 5,  // detail: line name
    EVENT_LINE_BACK = 6,  // amount: ms it was gone
    EVENT_OVERFLOW = 7,   // amount: readings that found the queue full
    EVENT_THINNED = 8,    // amount: old readings of an idle oven that were removed; detail: the channel; see thin.h
    EVENT_ANEW = 9,       // the ledger was begun in place of a damaged one; detail: the name of that file
    EVENT_TORN =
        10, // at a run's begin: it began earlier, in the ledger before; detail: oven; amount: ms, 0 unknown
};
enum { EVENT_KIND_COUNT = 11, EVENT_DETAIL_BYTES = 96 };

struct event {
    int64_t t_ms;
    enum event_kind kind;
    int64_t amount;
    char detail[EVENT_DETAIL_BYTES];
};

enum message_kind {
    MESSAGE_READING,
    MESSAGE_EVENT,
    MESSAGE_WATERMARK, // every reading with t_ms <= watermark_ms has been sent
};

struct message {
    enum message_kind kind;
    union {
        struct {
            struct reading reading;
            struct voltage voltage;
        };
        struct event event;
        int64_t watermark_ms;
    };
};

struct queue;

/* `capacity` messages, at least 2. Events find room for QUEUE_EVENTS_KEPT more: what is known of a line that was
 * lost must not be lost with the readings. */
enum { QUEUE_EVENTS_KEPT = 256 };
struct queue *queue_open(size_t capacity, struct fault *fault);
void queue_free(struct queue *queue);

/* False if the queue was full: the message is lost and counted. */
bool queue_push(struct queue *queue, const struct message *message);
/* How many messages were lost since the last call. Producer's side. */
uint64_t queue_take_lost(struct queue *queue);
size_t queue_depth(struct queue *queue);
size_t queue_capacity(const struct queue *queue);

/* Takes up to `most` messages, waiting up to `wait_ms` of real time for the first. Returns how many; 0 at
 * the time limit or when the queue was shut and is empty. */
size_t queue_take(struct queue *queue, struct message *messages, size_t most, int wait_ms);

/* No more messages will come: wakes the consumer. */
void queue_shut(struct queue *queue);
bool queue_is_shut(struct queue *queue);

#endif
