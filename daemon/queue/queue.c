// SPDX-License-Identifier: MIT
/* A ring with one index for each side, so that the producer never waits for a consumer that was put aside in the
 * middle of taking. The mutex is only there to sleep and be woken: the producer takes it when the consumer has
 * said that it sleeps.
 */
#include "soakledger/queue.h"

#include <assert.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <time.h>

enum { LEAST_CAPACITY = 2, MS_PER_SECOND = 1000, NS_PER_MS = 1000000, NS_PER_SECOND = 1000000000 };

struct queue {
    size_t capacity; // for readings and watermarks
    size_t places;   // of the ring: the rest is for events
    struct message *ring;
    // Both only grow; the place in the ring is the remainder by `places`.
    _Atomic uint64_t pushed; // written by the producer
    _Atomic uint64_t taken;  // written by the consumer
    _Atomic uint64_t lost;
    atomic_bool shut;
    atomic_bool asleep; // the consumer waits, or is about to
    pthread_mutex_t mutex;
    pthread_cond_t woken;
};

struct queue *queue_open(size_t capacity, struct fault *fault) {
    struct queue *queue = calloc(1, sizeof *queue);
    pthread_condattr_t attributes;

    assert(capacity >= LEAST_CAPACITY);
    if (queue == NULL)
        goto no_memory;
    queue->capacity = capacity;
    queue->places = capacity + QUEUE_EVENTS_KEPT;
    queue->ring = calloc(queue->places, sizeof *queue->ring);
    if (queue->ring == NULL)
        goto no_memory;
    pthread_mutex_init(&queue->mutex, NULL);
    pthread_condattr_init(&attributes);
    // A wait must not grow or shrink when the wall clock is stepped.
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    pthread_cond_init(&queue->woken, &attributes);
    pthread_condattr_destroy(&attributes);
    return queue;

no_memory:
    free(queue);
    fault_set(fault, EX_OSERR, "no memory for a queue of %zu messages", capacity);
    return NULL;
}

void queue_free(struct queue *queue) {
    if (queue == NULL)
        return;
    pthread_cond_destroy(&queue->woken);
    pthread_mutex_destroy(&queue->mutex);
    free(queue->ring);
    free(queue);
}

/* Whoever changed `pushed` or `shut` before sees `asleep`, or the consumer sees the change: both are sequentially
 * consistent. The mutex makes the signal fall inside the wait. */
static void wake_consumer(struct queue *queue) {
    if (!atomic_load(&queue->asleep))
        return;
    pthread_mutex_lock(&queue->mutex);
    pthread_cond_signal(&queue->woken);
    pthread_mutex_unlock(&queue->mutex);
}

bool queue_push(struct queue *queue, const struct message *message) {
    const uint64_t pushed = atomic_load_explicit(&queue->pushed, memory_order_relaxed);

    if (pushed - atomic_load(&queue->taken) >= (message->kind == MESSAGE_EVENT ? queue->places : queue->capacity)) {
        atomic_fetch_add(&queue->lost, 1);
        return false;
    }
    queue->ring[pushed % queue->places] = *message;
    atomic_store(&queue->pushed, pushed + 1);
    wake_consumer(queue);
    return true;
}

uint64_t queue_take_lost(struct queue *queue) {
    return atomic_exchange(&queue->lost, 0);
}

size_t queue_depth(struct queue *queue) {
    // In this order, so that the difference is never negative.
    const uint64_t taken = atomic_load(&queue->taken);

    return (size_t)(atomic_load(&queue->pushed) - taken);
}

static struct timespec find_deadline(int wait_ms) {
    struct timespec deadline;

    clock_gettime(CLOCK_MONOTONIC, &deadline);
    deadline.tv_sec += wait_ms / MS_PER_SECOND;
    deadline.tv_nsec += (long)(wait_ms % MS_PER_SECOND) * NS_PER_MS;
    if (deadline.tv_nsec >= NS_PER_SECOND) {
        deadline.tv_nsec -= NS_PER_SECOND;
        deadline.tv_sec++;
    }
    return deadline;
}

static void wait_for_message(struct queue *queue, int wait_ms) {
    const struct timespec deadline = find_deadline(wait_ms);
    int status = 0;

    pthread_mutex_lock(&queue->mutex);
    atomic_store(&queue->asleep, true);
    while (queue_depth(queue) == 0 && !atomic_load(&queue->shut) && status == 0)
        status = pthread_cond_timedwait(&queue->woken, &queue->mutex, &deadline);
    atomic_store(&queue->asleep, false);
    pthread_mutex_unlock(&queue->mutex);
}

size_t queue_take(struct queue *queue, struct message *messages, size_t most, int wait_ms) {
    const uint64_t taken = atomic_load_explicit(&queue->taken, memory_order_relaxed);
    size_t count;

    if (queue_depth(queue) == 0 && wait_ms > 0)
        wait_for_message(queue, wait_ms);
    count = queue_depth(queue);
    if (count > most)
        count = most;
    for (size_t i = 0; i < count; i++)
        messages[i] = queue->ring[(taken + i) % queue->places];
    atomic_store(&queue->taken, taken + count);
    return count;
}

void queue_shut(struct queue *queue) {
    atomic_store(&queue->shut, true);
    wake_consumer(queue);
}

bool queue_is_shut(struct queue *queue) {
    return atomic_load(&queue->shut);
}

size_t queue_capacity(const struct queue *queue) {
    return queue->capacity;
}
