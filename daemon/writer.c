// SPDX-License-Identifier: MIT
#include "soakledger/writer.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "session.h"
#include "soakledger/journal.h"
#include "soakledger/recorder.h"

enum {
    COMMIT_EVERY_MS = 250,
    WAIT_IDLE_MS = 1000,
    TAKE_MOST = 4096,    // messages in one go
    HELD_MOST = 1 << 18, // messages of one transaction: what has to be kept until it is committed
    RETRY_AFTER_S = 1,
    LAST_TRIES = 10,
    MEMORY_TRIES = 5,      // in a row without memory: beginning again frees what is held, trying on does not
    ANEW_EVERY_MS = 60000, // a disk that damages one ledger after the other must not be littered with them
    LET_GO_US = 5000,
    MS_PER_S = 1000,
    NS_PER_MS = 1000000,
};

static const char alert_subject[] = "ledger";

struct writer {
    struct ledger *ledger;
    const struct config *config;
    const int64_t *queued_ids;       // of channels, as the acquisition thread says them
    int64_t *oven_ids, *channel_ids; // the ledger's; another ledger may have others
    struct queue *queue;
    struct alert_desk *desk;
    const struct clock *clock;
    struct recorder *recorder;
    struct message *held; // taken since the last commit, and what that one did not store yet
    size_t held_count, held_most;
    int64_t watermark_ms; // the last that is committed
    bool open;            // a transaction is
    bool in_trouble;
    int64_t opened_ms;
    bool session_due; // a new ledger was begun, and was not told yet who records
    int memory_tries;
    atomic_bool failed;
    int64_t anew_ms; // when a new ledger was begun, in real time; 0: never
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

/* What is committed need not be held any more, but for readings beyond the last watermark: the recorder has them in
 * its memory alone, until it knows their order. */
static void drop_stored(struct writer *writer) {
    size_t kept = 0;

    for (size_t i = 0; i < writer->held_count; i++) {
        if (writer->held[i].kind == MESSAGE_WATERMARK && writer->held[i].watermark_ms > writer->watermark_ms)
            writer->watermark_ms = writer->held[i].watermark_ms;
    }
    for (size_t i = 0; i < writer->held_count; i++) {
        if (writer->held[i].kind == MESSAGE_READING && writer->held[i].reading.t_ms > writer->watermark_ms)
            writer->held[kept++] = writer->held[i];
    }
    writer->held_count = kept;
}

static int commit(struct writer *writer) {
    if (!writer->open)
        return 0;
    if (ledger_commit(writer->ledger, &writer->fault) != 0)
        return -1;
    writer->open = false;
    drop_stored(writer);
    usleep(LET_GO_US);      // the command gets its turn even while readings never stop coming
    if (writer->in_trouble) // the desk writes it into the journal
        alert_clear(writer->desk, ALERT_LEDGER, alert_subject, clock_read_ms(writer->clock),
                    "the ledger can be written again; nothing was lost meanwhile");
    writer->in_trouble = false;
    return 0;
}

/* ---- another ledger ---- */

static int64_t find_id(const struct writer *writer, int64_t queued_id) {
    for (size_t i = 0; i < writer->config->channel_count; i++) {
        if (writer->queued_ids[i] == queued_id)
            return writer->channel_ids[i];
    }
    return queued_id;
}

/* The recorder gets the ledger's ids; what is held keeps those of the queue, for the case that there is yet
 * another ledger. */
static int give(struct writer *writer, const struct message *messages, size_t count) {
    int result = 0;

    if (writer->anew_ms == 0)
        return recorder_take(writer->recorder, messages, count, &writer->fault);
    for (size_t i = 0; result == 0 && i < count; i++) {
        struct message message = messages[i];

        if (message.kind == MESSAGE_READING)
            message.reading.channel_id = find_id(writer, message.reading.channel_id);
        result = recorder_take(writer->recorder, &message, 1, &writer->fault);
    }
    return result;
}

/* When the first of what is not committed was read: the new ledger begins there. */
static int64_t find_first_ms(const struct writer *writer) {
    int64_t first_ms = clock_read_ms(writer->clock);

    for (size_t i = 0; i < writer->held_count; i++) {
        const struct message *const held = &writer->held[i];
        const int64_t t_ms = held->kind == MESSAGE_READING ? held->reading.t_ms
                             : held->kind == MESSAGE_EVENT ? held->event.t_ms
                                                           : first_ms;

        first_ms = t_ms < first_ms ? t_ms : first_ms;
    }
    return first_ms;
}

/* Where damage is what failed: a new ledger in place of the damaged one. 0 also where it is not. */
static int replace_damaged(struct writer *writer) {
    const int64_t now_ms = monotonic_ms();
    int anew;

    if (ledger_is_damaged(writer->ledger) && writer->anew_ms != 0 && now_ms - writer->anew_ms < ANEW_EVERY_MS)
        return -1;
    anew = ledger_begin_anew(writer->ledger, &writer->fault);
    if (anew < 0)
        return -1;
    if (anew == 1) {
        writer->anew_ms = now_ms;
        writer->session_due = true;
    }
    if (!writer->session_due)
        return 0;
    if (session_add(writer->ledger, writer->config, writer->clock, find_first_ms(writer), writer->oven_ids,
                    writer->channel_ids, &writer->fault) != 0)
        return -1;
    writer->session_due = false;
    session_tell_anew(writer->ledger, writer->desk, clock_read_ms(writer->clock));
    return 0;
}

static void tell_trouble(struct writer *writer) {
    char words[ALERT_WORDS_BYTES];

    snprintf(words, sizeof words, "the ledger cannot be written: %.160s; trying again every second",
             writer->fault.text);
    alert_raise(writer->desk, ALERT_LEDGER, alert_subject, clock_read_ms(writer->clock), words);
}

/* The transaction failed: the recorder's memory no longer matches the ledger. Both are taken back to the last
 * commit, and what was taken since is given to a new recorder. */
static int start_over(struct writer *writer) {
    if (!writer->in_trouble && !ledger_is_damaged(writer->ledger))
        tell_trouble(writer);
    writer->in_trouble = true;
    recorder_free(writer->recorder);
    writer->recorder = NULL;
    ledger_roll_back(writer->ledger);
    writer->open = false;
    if (replace_damaged(writer) != 0) {
        tell_trouble(writer); // once while it stands
        return -1;
    }
    if (open_transaction(writer) != 0)
        return -1;
    return give(writer, writer->held, writer->held_count);
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
    return give(writer, taken, count);
}

/* Without memory for long: whoever starts this program again begins with what it needs and no more. */
static bool gives_up(struct writer *writer, int result) {
    writer->memory_tries = result != 0 && writer->fault.status == EX_OSERR ? writer->memory_tries + 1 : 0;
    if (writer->memory_tries < MEMORY_TRIES)
        return false;
    atomic_store(&writer->failed, true);
    return true;
}

static void *run_writer(void *context) {
    struct writer *writer = context;
    int tries = 0, result = 0;

    while (!queue_is_shut(writer->queue) || queue_depth(writer->queue) > 0 || writer->open) {
        result = result == 0 ? work(writer) : start_over(writer);
        if (result == 0 && !writer->in_trouble) {
            if (!writer->open) // all that was taken is committed
                atomic_fetch_add(&writer->rounds, 1);
            tries = writer->memory_tries = 0;
            continue;
        }
        if (result == 0) // all is given again: commit at once to know whether the trouble is over
            result = commit(writer);
        /* Not stuck: a person was told, and a restart would lose what is held until the disk takes it again. */
        if (result == 0 || writer->in_trouble)
            atomic_fetch_add(&writer->rounds, 1);
        if (result == 0)
            continue;
        if (gives_up(writer, result))
            break;
        if (queue_is_shut(writer->queue) && ++tries >= LAST_TRIES)
            break;
        if (writer->in_trouble)
            sleep(RETRY_AFTER_S);
    }
    writer->result = result;
    return NULL;
}

static int64_t *copy_ids(const int64_t *ids, size_t count) {
    int64_t *const copy = calloc(count + 1, sizeof *copy);

    if (copy != NULL && count > 0)
        memcpy(copy, ids, count * sizeof *copy);
    return copy;
}

static void release(struct writer *writer) {
    if (writer == NULL)
        return;
    recorder_free(writer->recorder);
    free(writer->oven_ids);
    free(writer->channel_ids);
    free(writer->held);
    free(writer);
}

struct writer *writer_start(struct ledger *ledger, const struct config *config, const int64_t *oven_ids,
                            const int64_t *channel_ids, struct queue *queue, struct alert_desk *desk,
                            const struct clock *clock, struct fault *fault) {
    struct writer *writer = calloc(1, sizeof *writer);
    int error;

    if (writer != NULL) {
        writer->oven_ids = copy_ids(oven_ids, config->oven_count);
        writer->channel_ids = copy_ids(channel_ids, config->channel_count);
    }
    if (writer == NULL || writer->oven_ids == NULL || writer->channel_ids == NULL) {
        fault_set(fault, EX_OSERR, "no memory for the ledger thread");
        release(writer);
        return NULL;
    }
    writer->ledger = ledger;
    writer->config = config;
    writer->queued_ids = channel_ids;
    writer->queue = queue;
    writer->desk = desk;
    writer->clock = clock;
    error = pthread_create(&writer->thread, NULL, run_writer, writer);
    if (error != 0) {
        fault_set(fault, EX_OSERR, "cannot start the ledger thread: %s", strerror(error));
        release(writer);
        return NULL;
    }
    return writer;
}

uint64_t writer_read_rounds(const struct writer *writer) {
    return atomic_load(&writer->rounds);
}

bool writer_has_failed(const struct writer *writer, struct fault *fault) {
    if (!atomic_load(&writer->failed))
        return false;
    *fault = writer->fault; // of a thread that is over
    return true;
}

int writer_finish(struct writer *writer, struct fault *fault) {
    int result;

    pthread_join(writer->thread, NULL);
    result = writer->result;
    if (result != 0)
        *fault = writer->fault;
    release(writer);
    return result;
}
