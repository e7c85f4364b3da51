// SPDX-License-Identifier: MIT
#include "soakledger/recorder.h"

#include <stdio.h>
#include <stdlib.h>

#include "due.h"
#include "soakledger/journal.h"
#include "soakledger/seal.h"
#include "soakledger/thin.h"
#include "soakledger/watch.h"
#include "upkeep.h"

/* A reading and, of millivolts, what it was made of. */
struct taken {
    struct reading reading;
    struct voltage voltage;
};

struct kept {
    struct taken taken;
    bool stored;
};

/* The last minutes of one oven, for the beginning of a run that is only recognised once it has begun. */
struct ring {
    struct kept *kept;
    size_t most, first, count;
};

struct recorded_oven {
    struct watch *watch;
    struct ring ring;
    int64_t oven_id, lead_ms, idle_interval_ms;
};

struct recorded_channel {
    int64_t channel_id;
    size_t index; // in the configuration
    size_t oven;
    enum channel_role role;
    int64_t idle_stored_ms; // last reading that was stored while no run was on
};

struct recorder {
    struct ledger *ledger;
    struct alert_desk *desk;
    struct due due;
    struct upkeep *upkeep;
    bool upkeep_due; // a run has ended or somebody wrote
    int64_t due_looked_ms;
    int64_t thinned_ms; // when every channel was last up to date
    size_t thin_next;   // the channel whose turn it is
    const struct config *config;
    size_t oven_count, channel_count;
    struct recorded_oven *ovens;
    struct recorded_channel *channels; // by channel_id
    struct taken *pending;             // not yet in order, sorted
    size_t pending_count, pending_most;
    int64_t books_version;
    int64_t sealed_ms;    // when it was last looked whether something wants a seal
    bool old_runs_sealed; // no run is left that closed without one
};

enum { PENDING_FIRST = 256, RING_SPARE = 16, DUE_EVERY_MS = 60000, SEAL_EVERY_MS = 60000, THIN_EVERY_MS = 3600000 };

/* ---- opening ---- */

static int compare_channels(const void *a, const void *b) {
    const struct recorded_channel *one = a, *other = b;

    return (one->channel_id > other->channel_id) - (one->channel_id < other->channel_id);
}

/* Enough for all channels of the oven over the time in which a run is recognised and the minutes kept before it. */
static int open_ring(struct ring *ring, const struct config *config, size_t oven) {
    const int64_t span_ms = config->ovens[oven].lead_ms + config->ovens[oven].rise_within_ms;

    ring->most = RING_SPARE;
    for (size_t i = 0; i < config->channel_count; i++) {
        if (config->channels[i].oven == oven)
            ring->most += (size_t)(span_ms / config->channels[i].interval_ms) + 2;
    }
    ring->kept = calloc(ring->most, sizeof *ring->kept);
    return ring->kept == NULL ? -1 : 0;
}

static int open_oven(struct recorder *recorder, const struct config *config, size_t index, const int64_t *oven_ids,
                     const int64_t *channel_ids, struct fault *fault) {
    struct recorded_oven *oven = &recorder->ovens[index];

    oven->oven_id = oven_ids[index];
    oven->lead_ms = config->ovens[index].lead_ms;
    oven->idle_interval_ms = config->ovens[index].idle_interval_ms;
    if (open_ring(&oven->ring, config, index) != 0)
        return fault_set(fault, EX_OSERR, "no memory for the last minutes of oven %s", config->ovens[index].name);
    oven->watch = watch_open(recorder->ledger, config, index, oven_ids[index], channel_ids, recorder->desk, fault);
    return oven->watch == NULL ? -1 : 0;
}

struct recorder *recorder_open(struct ledger *ledger, const struct config *config, const int64_t *oven_ids,
                               const int64_t *channel_ids, struct alert_desk *desk, struct fault *fault) {
    struct recorder *recorder = calloc(1, sizeof *recorder);

    if (recorder == NULL)
        goto no_memory;
    recorder->ledger = ledger;
    recorder->desk = desk;
    recorder->books_version = -1;
    recorder->oven_count = config->oven_count;
    recorder->channel_count = config->channel_count;
    recorder->config = config;
    recorder->ovens = calloc(config->oven_count + 1, sizeof *recorder->ovens);
    recorder->channels = calloc(config->channel_count + 1, sizeof *recorder->channels);
    recorder->pending = calloc(PENDING_FIRST, sizeof *recorder->pending);
    recorder->pending_most = PENDING_FIRST;
    recorder->upkeep = upkeep_open(config, desk);
    if (recorder->ovens == NULL || recorder->channels == NULL || recorder->pending == NULL ||
        recorder->upkeep == NULL)
        goto no_memory;
    for (size_t i = 0; i < config->channel_count; i++)
        recorder->channels[i] = (struct recorded_channel){channel_ids[i], i, config->channels[i].oven,
                                                          config->channels[i].role, INT64_MIN / 2};
    qsort(recorder->channels, recorder->channel_count, sizeof *recorder->channels, compare_channels);
    for (size_t i = 0; i < config->oven_count; i++) {
        if (open_oven(recorder, config, i, oven_ids, channel_ids, fault) != 0) {
            recorder_free(recorder);
            return NULL;
        }
    }
    return recorder;

no_memory:
    fault_set(fault, EX_OSERR, "no memory to record");
    recorder_free(recorder);
    return NULL;
}

void recorder_free(struct recorder *recorder) {
    if (recorder == NULL)
        return;
    for (size_t i = 0; recorder->ovens != NULL && i < recorder->oven_count; i++) {
        watch_free(recorder->ovens[i].watch);
        free(recorder->ovens[i].ring.kept);
    }
    free(recorder->ovens);
    free(recorder->channels);
    free(recorder->pending);
    upkeep_free(recorder->upkeep);
    free(recorder);
}

/* ---- storing ---- */

static int store(struct recorder *recorder, const struct taken *taken, struct fault *fault) {
    if (ledger_add_reading(recorder->ledger, &taken->reading, fault) < 0)
        return -1;
    return ledger_add_voltage(recorder->ledger, &taken->reading, &taken->voltage, fault);
}

static void keep_in_ring(struct ring *ring, const struct taken *taken, bool stored) {
    if (ring->count == ring->most) {
        ring->first = (ring->first + 1) % ring->most;
        ring->count--;
    }
    ring->kept[(ring->first + ring->count++) % ring->most] = (struct kept){*taken, stored};
}

static int store_ring(struct recorder *recorder, struct recorded_oven *oven, int64_t from_ms, struct fault *fault) {
    struct ring *ring = &oven->ring;

    for (size_t i = 0; i < ring->count; i++) {
        const struct kept *kept = &ring->kept[(ring->first + i) % ring->most];

        if (kept->stored || kept->taken.reading.t_ms < from_ms)
            continue;
        if (store(recorder, &kept->taken, fault) != 0)
            return -1;
    }
    ring->count = 0;
    return 0;
}

static int take_idle(struct recorder *recorder, struct recorded_oven *oven, struct recorded_channel *channel,
                     const struct taken *taken, struct fault *fault) {
    const struct reading *reading = &taken->reading;
    const bool is_due = reading->t_ms - channel->idle_stored_ms >= oven->idle_interval_ms;

    if (is_due && store(recorder, taken, fault) != 0)
        return -1;
    if (is_due)
        channel->idle_stored_ms = reading->t_ms;
    keep_in_ring(&oven->ring, taken, is_due);
    return 0;
}

static int take_reading(struct recorder *recorder, const struct taken *taken, struct fault *fault) {
    const struct reading *reading = &taken->reading;
    const struct recorded_channel key = {.channel_id = reading->channel_id};
    struct recorded_channel *channel =
        bsearch(&key, recorder->channels, recorder->channel_count, sizeof key, compare_channels);
    struct recorded_oven *oven;
    enum watch_change change;

    if (channel == NULL)
        return fault_set(fault, EX_SOFTWARE, "a reading of channel %lld, which is not in the configuration",
                         (long long)reading->channel_id);
    oven = &recorder->ovens[channel->oven];
    upkeep_see(recorder->upkeep, channel->index, reading);
    if (watch_see(oven->watch, channel->role, reading, &change, fault) != 0)
        return -1;
    switch (change) {
    case WATCH_IDLE: return take_idle(recorder, oven, channel, taken, fault);
    case WATCH_RUN:
        if (store(recorder, taken, fault) != 0)
            return -1;
        return watch_judge(oven->watch, reading, fault);
    case WATCH_BEGUN:
        keep_in_ring(&oven->ring, taken, false);
        if (store_ring(recorder, oven, watch_begun_ms(oven->watch) - oven->lead_ms, fault) != 0)
            return -1;
        return watch_begin(oven->watch, reading->t_ms, fault);
    }
    return 0;
}

/* ---- order ---- */

/* Lines answer at their own pace: what was read first may come in last. */
static int put_in_order(struct recorder *recorder, const struct taken *taken, struct fault *fault) {
    size_t at = recorder->pending_count;

    if (recorder->pending_count == recorder->pending_most) {
        const size_t most = recorder->pending_most + PENDING_FIRST;
        struct taken *more = realloc(recorder->pending, most * sizeof *more);

        if (more == NULL)
            return fault_set(fault, EX_OSERR, "no memory for %zu readings", most);
        recorder->pending = more;
        recorder->pending_most = most;
    }
    for (; at > 0 && reading_is_before(&taken->reading, &recorder->pending[at - 1].reading); at--)
        recorder->pending[at] = recorder->pending[at - 1];
    recorder->pending[at] = *taken;
    recorder->pending_count++;
    return 0;
}

/* Has anybody else written into the ledger? */
static int read_books(struct recorder *recorder, int64_t now_ms, struct fault *fault) {
    const int64_t version = ledger_data_version(recorder->ledger);

    if (version == recorder->books_version)
        return 0;
    recorder->books_version = version;
    recorder->upkeep_due = true;
    if (watch_judge_claimed(recorder->ledger, now_ms, fault) != 0)
        return -1;
    for (size_t i = 0; i < recorder->oven_count; i++) {
        if (watch_read_books(recorder->ovens[i].watch, now_ms, fault) != 0)
            return -1;
    }
    return 0;
}

/* The lead that an oven has now: what it had then is not known. 0 for one that is no longer there. */
static int64_t find_lead(const struct recorder *recorder, int64_t oven_id) {
    for (size_t i = 0; i < recorder->oven_count; i++) {
        if (recorder->ovens[i].oven_id == oven_id)
            return recorder->ovens[i].lead_ms;
    }
    return 0;
}

/* Of a ledger from before there were seals. One run at a time: a long one takes seconds. */
static int seal_old_run(struct recorder *recorder, int64_t now_ms, struct fault *fault) {
    int64_t oven_id = 0;
    const int64_t run_id = seal_find_unsealed(recorder->ledger, &oven_id, fault);
    char words[SEAL_WORDS_BYTES];
    struct seal_head head;

    if (run_id <= 0) {
        recorder->old_runs_sealed = run_id == 0;
        return (int)run_id;
    }
    if (seal_run(recorder->ledger, run_id, SEAL_RUN_LATER, find_lead(recorder, oven_id), now_ms, &head, fault) != 0)
        return -1;
    journal_write(JOURNAL_NOTICE, "run %lld: sealed later, not as it closed: %s", (long long)run_id,
                  seal_describe(&head, words));
    return 0;
}

/* What was written since the last seal, by this program or by the command. */
static int seal_what_is_new(struct recorder *recorder, bool at_once, int64_t now_ms, struct fault *fault) {
    if (!recorder->old_runs_sealed)
        return seal_old_run(recorder, now_ms, fault);
    if (!at_once && now_ms - recorder->sealed_ms < SEAL_EVERY_MS)
        return 0;
    recorder->sealed_ms = now_ms;
    return seal_books(recorder->ledger, now_ms, fault) < 0 ? -1 : 0;
}

static bool any_run_is_on(const struct recorder *recorder) {
    for (size_t i = 0; i < recorder->oven_count; i++) {
        if (watch_is_on(recorder->ovens[i].watch))
            return true;
    }
    return false;
}

/* One channel's step at a time, and only while nothing is in any oven: it may take a moment. */
static int thin_old(struct recorder *recorder, int64_t now_ms, struct fault *fault) {
    const struct config *config = recorder->config;
    struct event event = {.t_ms = now_ms, .kind = EVENT_THINNED};
    const struct recorded_channel *channel;
    struct thin_tally tally;
    int done;

    if (config->thin_after_ms == 0 || now_ms - recorder->thinned_ms < THIN_EVERY_MS || any_run_is_on(recorder))
        return 0;
    channel = &recorder->channels[recorder->thin_next];
    done = thin_step(recorder->ledger, recorder->ovens[channel->oven].oven_id, channel->channel_id,
                     now_ms - config->thin_after_ms, config->thin_to_ms, now_ms, &tally, fault);
    if (done < 0)
        return -1;
    if (done == 0 && ++recorder->thin_next == recorder->channel_count) {
        recorder->thin_next = 0;
        recorder->thinned_ms = now_ms;
    }
    if (done == 0 || tally.removed == 0)
        return 0;
    event.amount = tally.removed;
    snprintf(event.detail, sizeof event.detail, "%.40s.%.50s", config->ovens[channel->oven].name,
             config->channels[channel->index].name);
    journal_write(JOURNAL_NOTICE, "oven %s, channel %s: %lld old readings at rest thinned to %lld",
                  config->ovens[channel->oven].name, config->channels[channel->index].name,
                  (long long)tally.removed + (long long)tally.kept, (long long)tally.kept);
    return ledger_add_event(recorder->ledger, &event, fault) < 0 ? -1 : 0;
}

static int settle(struct recorder *recorder, int64_t watermark_ms, struct fault *fault) {
    const int64_t books_version = recorder->books_version;

    size_t taken = 0;

    for (; taken < recorder->pending_count && recorder->pending[taken].reading.t_ms <= watermark_ms; taken++) {
        if (take_reading(recorder, &recorder->pending[taken], fault) != 0)
            return -1;
    }
    recorder->pending_count -= taken;
    for (size_t i = 0; i < recorder->pending_count; i++)
        recorder->pending[i] = recorder->pending[taken + i];
    for (size_t i = 0; i < recorder->oven_count; i++) {
        if (watch_settle(recorder->ovens[i].watch, watermark_ms, fault) != 0)
            return -1;
        recorder->upkeep_due |= watch_take_ended(recorder->ovens[i].watch);
    }
    if (read_books(recorder, watermark_ms, fault) != 0 ||
        seal_what_is_new(recorder, books_version != recorder->books_version, watermark_ms, fault) != 0)
        return -1;
    if (watermark_ms - recorder->due_looked_ms < DUE_EVERY_MS)
        return 0;
    recorder->due_looked_ms = watermark_ms;
    if (upkeep_look(recorder->upkeep, recorder->ledger, recorder->upkeep_due, watermark_ms, fault) != 0)
        return -1;
    recorder->upkeep_due = false;
    if (thin_old(recorder, watermark_ms, fault) != 0)
        return -1;
    return due_look(&recorder->due, recorder->ledger, recorder->desk, watermark_ms, fault);
}

/* The last word of a recording is sealed with it. */
static int take_event(struct recorder *recorder, const struct event *event, struct fault *fault) {
    if (ledger_add_event(recorder->ledger, event, fault) < 0)
        return -1;
    return event->kind == EVENT_STOPPED ? seal_books(recorder->ledger, event->t_ms, fault) : 0;
}

int recorder_take(struct recorder *recorder, const struct message *messages, size_t count, struct fault *fault) {
    for (size_t i = 0; i < count; i++) {
        int result = 0;

        switch (messages[i].kind) {
        case MESSAGE_READING:
            result = put_in_order(recorder, &(struct taken){messages[i].reading, messages[i].voltage}, fault);
            break;
        case MESSAGE_EVENT: result = take_event(recorder, &messages[i].event, fault); break;
        case MESSAGE_WATERMARK: result = settle(recorder, messages[i].watermark_ms, fault); break;
        }
        if (result < 0)
            return -1;
    }
    return 0;
}
