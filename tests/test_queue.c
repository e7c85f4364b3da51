// SPDX-License-Identifier: MIT
// Measures real time: runs alone.
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <pthread.h>
#include <time.h>

#include "soakledger/queue.h"

enum {
    SMALL = 4,
    MANY = 200000,
    BATCH = 64,
    LONG_WAIT_MS = 5000,
    SHORT_WAIT_MS = 30,
    MS_PER_S = 1000,
    NS_PER_MS = 1000000
};

static int64_t real_ms(void) {
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * MS_PER_S + now.tv_nsec / NS_PER_MS;
}

static struct queue *open_queue(size_t capacity) {
    struct fault fault;
    struct queue *queue = queue_open(capacity, &fault);

    assert_non_null(queue);
    return queue;
}

static bool push(struct queue *queue, int64_t t_ms) {
    const struct message message = {.kind = MESSAGE_READING, .reading = {.t_ms = t_ms}};

    return queue_push(queue, &message);
}

static void keeps_order_around_the_ring(void **state) {
    struct queue *queue = open_queue(SMALL);
    struct message got[SMALL];

    (void)state;
    for (int64_t t = 0; t < 10L * SMALL; t += 3) {
        for (int64_t i = 0; i < 3; i++)
            assert_true(push(queue, t + i));
        assert_int_equal(queue_depth(queue), 3);
        assert_int_equal(queue_take(queue, got, 2, 0), 2);
        assert_int_equal(got[0].reading.t_ms, t);
        assert_int_equal(got[1].reading.t_ms, t + 1);
        assert_int_equal(queue_take(queue, got, SMALL, 0), 1);
        assert_int_equal(got[0].reading.t_ms, t + 2);
    }
    assert_int_equal(queue_depth(queue), 0);
    queue_free(queue);
}

static void counts_what_finds_it_full(void **state) {
    struct queue *queue = open_queue(SMALL);
    struct message got[SMALL + 1];

    (void)state;
    for (int64_t t = 0; t < SMALL; t++)
        assert_true(push(queue, t));
    assert_false(push(queue, 100));
    assert_false(push(queue, 101));
    assert_int_equal(queue_take_lost(queue), 2);
    assert_int_equal(queue_take_lost(queue), 0);
    assert_int_equal(queue_take(queue, got, SMALL + 1, 0), SMALL);
    assert_int_equal(got[SMALL - 1].reading.t_ms, SMALL - 1);
    assert_true(push(queue, 102));
    assert_int_equal(queue_take(queue, got, SMALL + 1, 0), 1);
    assert_int_equal(got[0].reading.t_ms, 102);
    queue_free(queue);
}

/* A line that is lost while readings find no room is still known to have been lost. */
static void keeps_room_for_events(void **state) {
    const struct message event = {.kind = MESSAGE_EVENT, .event = {.kind = EVENT_LINE_LOST}};
    struct queue *queue = open_queue(SMALL);
    struct message got[SMALL + QUEUE_EVENTS_KEPT];

    (void)state;
    for (int64_t t = 0; t < SMALL; t++)
        assert_true(push(queue, t));
    for (int round = 0; round < 3; round++) { // past the ring's end, too
        for (size_t i = 0; i < QUEUE_EVENTS_KEPT; i++)
            assert_true(queue_push(queue, &event));
        assert_false(queue_push(queue, &event));
        assert_false(push(queue, SMALL));
        assert_int_equal(queue_take_lost(queue), 2);
        assert_int_equal(queue_take(queue, got, SMALL + QUEUE_EVENTS_KEPT, 0), SMALL + QUEUE_EVENTS_KEPT);
        assert_int_equal(got[SMALL - 1].kind, MESSAGE_READING);
        assert_int_equal(got[SMALL - 1].reading.t_ms, SMALL - 1);
        assert_int_equal(got[SMALL].kind, MESSAGE_EVENT);
        assert_int_equal(got[SMALL + QUEUE_EVENTS_KEPT - 1].event.kind, EVENT_LINE_LOST);
        for (int64_t t = 0; t < SMALL; t++)
            assert_true(push(queue, t));
    }
    queue_free(queue);
}

static void waits_no_longer_than_asked(void **state) {
    struct queue *queue = open_queue(SMALL);
    struct message got;
    const int64_t began_ms = real_ms();

    (void)state;
    assert_int_equal(queue_take(queue, &got, 1, SHORT_WAIT_MS), 0);
    assert_true(real_ms() - began_ms >= SHORT_WAIT_MS - 1);
    assert_true(real_ms() - began_ms < LONG_WAIT_MS);
    queue_free(queue);
}

static void *push_many(void *argument) {
    struct queue *queue = argument;
    const struct timespec pause = {.tv_nsec = NS_PER_MS};

    for (int64_t t = 0; t < MANY; t++) {
        while (!push(queue, t))
            nanosleep(&pause, NULL);
        if (t % (MANY / 20) == 0)
            nanosleep(&pause, NULL); // so that the consumer sleeps now and then
    }
    queue_shut(queue);
    return NULL;
}

static void hands_everything_to_another_thread(void **state) {
    struct queue *queue = open_queue(1024);
    struct message got[BATCH];
    pthread_t producer;
    int64_t expected = 0;
    const int64_t began_ms = real_ms();

    (void)state;
    assert_int_equal(pthread_create(&producer, NULL, push_many, queue), 0);
    for (;;) {
        const size_t count = queue_take(queue, got, BATCH, LONG_WAIT_MS);

        for (size_t i = 0; i < count; i++)
            assert_int_equal(got[i].reading.t_ms, expected++);
        if (count == 0 && queue_is_shut(queue) && queue_depth(queue) == 0)
            break;
    }
    pthread_join(producer, NULL);
    assert_int_equal(expected, MANY);
    // A wake-up that was missed would have cost a whole wait.
    assert_true(real_ms() - began_ms < LONG_WAIT_MS);
    queue_free(queue);
}

static void *shut_soon(void *argument) {
    const struct timespec pause = {.tv_nsec = (long)SHORT_WAIT_MS * NS_PER_MS};

    nanosleep(&pause, NULL);
    queue_shut(argument);
    return NULL;
}

static void wakes_the_consumer_when_shut(void **state) {
    struct queue *queue = open_queue(SMALL);
    struct message got;
    pthread_t other;
    const int64_t began_ms = real_ms();

    (void)state;
    assert_false(queue_is_shut(queue));
    assert_int_equal(pthread_create(&other, NULL, shut_soon, queue), 0);
    assert_int_equal(queue_take(queue, &got, 1, LONG_WAIT_MS), 0);
    assert_true(real_ms() - began_ms < LONG_WAIT_MS);
    assert_true(queue_is_shut(queue));
    pthread_join(other, NULL);
    // What was pushed before can still be taken.
    assert_true(push(queue, 7));
    assert_int_equal(queue_take(queue, &got, 1, LONG_WAIT_MS), 1);
    queue_free(queue);
}

static void carries_each_kind(void **state) {
    struct queue *queue = open_queue(SMALL);
    const struct message event = {.kind = MESSAGE_EVENT,
                                  .event = {.t_ms = 5, .kind = EVENT_LINE_LOST, .amount = 6, .detail = "bench"}};
    const struct message watermark = {.kind = MESSAGE_WATERMARK, .watermark_ms = 9};
    struct message got[2];

    (void)state;
    assert_true(queue_push(queue, &event));
    assert_true(queue_push(queue, &watermark));
    assert_int_equal(queue_take(queue, got, 2, 0), 2);
    assert_int_equal(got[0].kind, MESSAGE_EVENT);
    assert_int_equal(got[0].event.kind, EVENT_LINE_LOST);
    assert_string_equal(got[0].event.detail, "bench");
    assert_int_equal(got[1].kind, MESSAGE_WATERMARK);
    assert_int_equal(got[1].watermark_ms, 9);
    queue_free(queue);
}

static void may_be_freed_when_never_opened(void **state) {
    (void)state;
    queue_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(keeps_order_around_the_ring),
        cmocka_unit_test(counts_what_finds_it_full),
        cmocka_unit_test(keeps_room_for_events),
        cmocka_unit_test(waits_no_longer_than_asked),
        cmocka_unit_test(hands_everything_to_another_thread),
        cmocka_unit_test(wakes_the_consumer_when_shut),
        cmocka_unit_test(carries_each_kind),
        cmocka_unit_test(may_be_freed_when_never_opened),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
