// SPDX-License-Identifier: MIT
#include "soakledger/writer.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "soakledger/recorder.h"

enum {
    COMMIT_EVERY_MS = 250,
    WAIT_IDLE_MS = 1000,
    TAKE_MOST = 4096,    // messages in one go
    HELD_MOST = 1 << 18, // messages of one transaction: what has to be kept until it is committed
    RETRY_AFTER_S = 1,
    LAST_TRIES = 10,
    LET_GO_US = 5000,
    MS_PER_S = 1000,
    NS_PER_MS = 1000000,
};

static const char alert_subject[] = "ledger";

struct writer {
    struct ledger *ledger;
    const struct config *config;
    const int64_t *oven_ids, *channel_ids;
    struct queue *queue;
    struct alert_desk *desk;
    const struct clock *clock;
    struct recorder *recorder;
    struct message *held; // taken since the last commit
    size_t held_count, held_most;
    bool open; // a transaction is
    bool in_trouble;
    int64_t opened_ms;
    pthread_t thread;
    _Atomic uint64_t rounds;
    int result;
    struct fault fault;
};

/* Real time: durability is promised in seconds of the real world, also on a simulated clock. */
static int64_t monotonic_ms(void) {
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * MS_PER_S + now.tv_nsec / NS_PER_MS;
}

static int open_transaction(struct writer *writer) {
    if (!writer->open) {
        if (ledger_begin(writer->ledger, &writer->fault) != 0)
            return -1;
        writer->open = true;
        writer->opened_ms = monotonic_ms();
    }
    if (writer->recorder == NULL) // opening may write: a run that goes on is judged at once
        writer->recorder = recorder_open(writer->ledger, writer->config, writer->oven_ids, writer->channel_ids,
                                         writer->desk, &writer->fault);
    return writer->recorder == NULL ? -1 : 0;
}

static int commit(struct writer *writer) {
    if (!writer->open)
        return 0;
    if (ledger_commit(writer->ledger, &writer->fault) != 0)
        return -1;
    writer->open = false;
    writer->held_count = 0;
    usleep(LET_GO_US);      // the command gets its turn even while readings never stop coming
    if (writer->in_trouble) // the desk writes it into the journal
        alert_clear(writer->desk, ALERT_LEDGER, alert_subject, clock_read_ms(writer->clock),
                    "the ledger can be written again; nothing was lost meanwhile");
    writer->in_trouble = false;
    return 0;
}

/* The transaction failed: the recorder's memory no longer matches the ledger. Both are taken back to the last
 * commit, and what was taken since is given to a new recorder. */
static int start_over(struct writer *writer) {
    char words[ALERT_WORDS_BYTES];

    if (!writer->in_trouble) {
        snprintf(words, sizeof words, "the ledger cannot be written: %.160s; trying again every second",
                 writer->fault.text);
        alert_raise(writer->desk, ALERT_LEDGER, alert_subject, clock_read_ms(writer->clock), words);
    }
    writer->in_trouble = true;
    ledger_roll_back(writer->ledger);
    writer->open = false;
    recorder_free(writer->recorder);
    writer->recorder = NULL;
    if (open_transaction(writer) != 0)
        return -1;
    return recorder_take(writer->recorder, writer->held, writer->held_count, &writer->fault);
}

static int make_room(struct writer *writer) {
    const size_t most = writer->held_most == 0 ? 2 * (size_t)TAKE_MOST : 2 * writer->held_most;
    struct message *more;

    if (writer->held_count + TAKE_MOST <= writer->held_most)
        return 0;
    more = realloc(writer->held, most * sizeof *more);
    if (more == NULL)
        return fault_set(&writer->fault, EX_OSERR, "no memory for %zu messages", most);
    writer->held = more;
    writer->held_most = most;
    return 0;
}

/* One round: takes what has come, and commits when it is time to. */
static int work(struct writer *writer) {
    const int64_t left_ms = writer->open ? COMMIT_EVERY_MS - (monotonic_ms() - writer->opened_ms) : WAIT_IDLE_MS;
    struct message *taken;
    size_t count;

    if (left_ms <= 0 || writer->held_count + TAKE_MOST > HELD_MOST)
        return commit(writer);
    if (make_room(writer) != 0)
        return -1;
    taken = writer->held + writer->held_count;
    count = queue_take(writer->queue, taken, TAKE_MOST, (int)left_ms);
    writer->held_count += count; // before anything can fail: what is taken is kept
    if (count == 0)
        return commit(writer);
    if (open_transaction(writer) != 0)
        return -1;
    return recorder_take(writer->recorder, taken, count, &writer->fault);
}

static void *run_writer(void *context) {
    struct writer *writer = context;
    int tries = 0, result = 0;

    while (!queue_is_shut(writer->queue) || queue_depth(writer->queue) > 0 || writer->open) {
        result = result == 0 ? work(writer) : start_over(writer);
        if (result == 0 && !writer->in_trouble) {
            if (!writer->open) // all that was taken is committed
                atomic_fetch_add(&writer->rounds, 1);
            tries = 0;
            continue;
        }
        if (result == 0) // all is given again: commit at once to know whether the trouble is over
            result = commit(writer);
        /* Not stuck: a person was told, and a restart would lose what is held until the disk takes it again. */
        if (result == 0 || writer->in_trouble)
            atomic_fetch_add(&writer->rounds, 1);
        if (result == 0)
            continue;
        if (queue_is_shut(writer->queue) && ++tries >= LAST_TRIES)
            break;
        if (writer->in_trouble)
            sleep(RETRY_AFTER_S);
    }
    writer->result = result;
    return NULL;
}

struct writer *writer_start(struct ledger *ledger, const struct config *config, const int64_t *oven_ids,
                            const int64_t *channel_ids, struct queue *queue, struct alert_desk *desk,
                            const struct clock *clock, struct fault *fault) {
    struct writer *writer = calloc(1, sizeof *writer);
    int error;

    if (writer == NULL) {
        fault_set(fault, EX_OSERR, "no memory for the ledger thread");
        return NULL;
    }
    writer->ledger = ledger;
    writer->config = config;
    writer->oven_ids = oven_ids;
    writer->channel_ids = channel_ids;
    writer->queue = queue;
    writer->desk = desk;
    writer->clock = clock;
    error = pthread_create(&writer->thread, NULL, run_writer, writer);
    if (error != 0) {
        fault_set(fault, EX_OSERR, "cannot start the ledger thread: %s", strerror(error));
        free(writer);
        return NULL;
    }
    return writer;
}

uint64_t writer_read_rounds(const struct writer *writer) {
    return atomic_load(&writer->rounds);
}

int writer_finish(struct writer *writer, struct fault *fault) {
    int result;

    pthread_join(writer->thread, NULL);
    result = writer->result;
    if (result != 0)
        *fault = writer->fault;
    recorder_free(writer->recorder);
    free(writer->held);
    free(writer);
    return result;
}
