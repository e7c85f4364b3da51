// SPDX-License-Identifier: MIT
/* A run's facts: gathered while it is on, or found in what is stored of it. */
#include <stdlib.h>
#include <string.h>

#include "soakledger/health.h"

struct health_gatherer {
    int64_t run_id;
    struct steady *steady;
    struct health_facts facts;
    bool no_memory; // the sink cannot return a fault
};

static void keep_stretch(void *context, const struct steady_stretch *stretch) {
    struct health_gatherer *gatherer = context;
    struct health_facts *facts = &gatherer->facts;
    struct steady_stretch *more;

    if (facts->stretch_count == HEALTH_MOST_STRETCHES)
        return;
    more = realloc(facts->stretches, (facts->stretch_count + 1) * sizeof *more);
    if (more == NULL) {
        gatherer->no_memory = true;
        return;
    }
    facts->stretches = more;
    facts->stretches[facts->stretch_count++] = *stretch;
}

static int check_memory(const struct health_gatherer *gatherer, struct fault *fault) {
    if (!gatherer->no_memory)
        return 0;
    return fault_set(fault, EX_OSERR, "no memory for the facts of run %lld", (long long)gatherer->run_id);
}

static int feed_stored(struct ledger *ledger, struct health_gatherer *gatherer,
                       const struct steady_channel *channels, size_t count, int64_t from_ms, int64_t to_ms,
                       struct fault *fault) {
    int64_t *ids = calloc(count + 1, sizeof *ids);
    struct ledger_cursor *cursor;
    struct reading reading;
    int more;

    if (ids == NULL)
        return fault_set(fault, EX_OSERR, "no memory for %zu channels", count);
    for (size_t i = 0; i < count; i++)
        ids[i] = channels[i].channel_id;
    cursor = ledger_open_cursor(ledger, ids, count, from_ms, to_ms, fault);
    free(ids);
    if (cursor == NULL)
        return -1;
    while ((more = ledger_next_reading(cursor, &reading, fault)) == 1)
        steady_feed(gatherer->steady, &reading);
    ledger_close_cursor(cursor);
    return more;
}

static int open_steady(struct ledger *ledger, struct health_gatherer *gatherer, const struct ledger_run *run,
                       int64_t until_ms, struct fault *fault) {
    size_t count;
    struct ledger_channel *channels = ledger_list_channels(ledger, run->oven_id, run->begun_ms, &count, fault);
    struct steady_channel *steady = channels == NULL ? NULL : calloc(count + 1, sizeof *steady);
    int result = -1;

    if (channels == NULL)
        return -1;
    if (steady == NULL) {
        fault_set(fault, EX_OSERR, "no memory for %zu channels", count);
    } else {
        for (size_t i = 0; i < count; i++)
            steady[i] = (struct steady_channel){channels[i].channel_id, channels[i].role, channels[i].interval_ms};
        gatherer->steady = steady_open(steady, count, keep_stretch, gatherer, fault);
        if (gatherer->steady != NULL)
            result = feed_stored(ledger, gatherer, steady, count, run->begun_ms, until_ms, fault);
    }
    free(steady);
    ledger_free_channels(channels, count);
    return result;
}

struct health_gatherer *health_open_gatherer(struct ledger *ledger, int64_t run_id, int64_t until_ms,
                                             struct fault *fault) {
    struct health_gatherer *gatherer = calloc(1, sizeof *gatherer);
    struct ledger_run run;
    int found;

    if (gatherer == NULL) {
        fault_set(fault, EX_OSERR, "no memory to gather facts");
        return NULL;
    }
    gatherer->run_id = gatherer->facts.run_id = run_id;
    found = ledger_read_run(ledger, run_id, &run, fault);
    if (found == 0)
        fault_set(fault, EX_NOINPUT, "there is no run %lld", (long long)run_id);
    if (found == 1 && open_steady(ledger, gatherer, &run, until_ms, fault) == 0 &&
        check_memory(gatherer, fault) == 0)
        return gatherer;
    health_free_gatherer(gatherer);
    return NULL;
}

int health_gather(struct health_gatherer *gatherer, const struct reading *reading, struct fault *fault) {
    steady_feed(gatherer->steady, reading);
    return check_memory(gatherer, fault);
}

int health_end_gathering(struct health_gatherer *gatherer, struct health_facts *facts, struct fault *fault) {
    steady_end(gatherer->steady);
    if (check_memory(gatherer, fault) != 0)
        return -1;
    *facts = gatherer->facts;
    gatherer->facts = (struct health_facts){.run_id = gatherer->run_id};
    return 0;
}

void health_free_gatherer(struct health_gatherer *gatherer) {
    if (gatherer == NULL)
        return;
    steady_free(gatherer->steady);
    health_free_facts(&gatherer->facts);
    free(gatherer);
}

int health_find_facts(struct ledger *ledger, int64_t run_id, struct health_facts *facts, struct fault *fault) {
    struct health_gatherer *gatherer;
    struct ledger_run run;
    const int found = ledger_read_run(ledger, run_id, &run, fault);
    int result;

    if (found < 0)
        return -1;
    if (found == 0)
        return fault_set(fault, EX_NOINPUT, "there is no run %lld", (long long)run_id);
    if (run.ended_ms == 0)
        return fault_set(fault, EX_TEMPFAIL, "run %lld is still on", (long long)run_id);
    gatherer = health_open_gatherer(ledger, run_id, run.ended_ms, fault);
    if (gatherer == NULL)
        return -1;
    result = health_end_gathering(gatherer, facts, fault);
    health_free_gatherer(gatherer);
    return result;
}
