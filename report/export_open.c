// SPDX-License-Identifier: MIT
#include <stdlib.h>
#include <string.h>

#include "export_parts.h"
#include "soakledger/words.h"

/* Keeps the channel asked for alone. */
static int export_pick(const struct export *export, struct export_run *run, struct fault *fault) {
    size_t kept = 0;

    if (export->channel == NULL)
        return 0;
    for (size_t i = 0; i < run->channel_count; i++) {
        struct ledger_channel *channel = &run->channels[i];

        if (strcmp(channel->name, export->channel) == 0) {
            const struct ledger_channel moved = run->channels[kept];

            run->channels[kept++] = *channel;
            *channel = moved;
        }
    }
    if (kept == 0)
        return fault_set(fault, EX_NOINPUT, "run %lld has no channel '%.60s'", (long long)run->run.run_id,
                         export->channel);
    for (size_t i = kept; i < run->channel_count; i++) { // the others go, one by one, from a block of their own
        struct ledger_channel *single = malloc(sizeof *single);

        if (single == NULL)
            return fault_set(fault, EX_OSERR, "not enough memory");
        *single = run->channels[i];
        ledger_free_channels(single, 1);
    }
    run->channel_count = kept;
    return 0;
}

/* 1 if some of the run is wanted, 0 if it lies outside, -1. */
static int export_add(struct export *export, const struct ledger_run *run, struct fault *fault) {
    struct export_run *added = &export->runs[export->run_count];
    const int64_t last_ms = run->ended_ms != 0 ? run->ended_ms : ledger_last_time(export->ledger, fault);
    int simulated;

    if (last_ms < 0)
        return -1;
    added->run = *run;
    added->from_ms = export->from_ms > run->begun_ms ? export->from_ms : run->begun_ms;
    added->to_ms = export->to_ms < last_ms ? export->to_ms : last_ms;
    if (added->from_ms > added->to_ms)
        return 0;
    export->run_count++;
    added->oven = ledger_oven_name(export->ledger, run->oven_id, fault);
    added->channels = import_list_run_channels(export->ledger, run, &added->channel_count, fault);
    simulated = ledger_was_simulated(export->ledger, added->from_ms, added->to_ms, fault);
    if (added->oven == NULL || added->channels == NULL || simulated < 0 ||
        import_find(export->ledger, run->run_id, &added->import, fault) < 0 ||
        export_pick(export, added, fault) != 0)
        return -1;
    added->simulated = simulated == 1 && added->import == NULL;
    return 1;
}

static int export_take(struct export *export, const struct ledger_run *runs, size_t count, struct fault *fault) {
    export->runs = calloc(count + 1, sizeof *export->runs);
    if (export->runs == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu runs", count);
    for (size_t i = 0; i < count; i++)
        if (export_add(export, &runs[i], fault) < 0)
            return -1;
    return export->run_count > 0 ? 0 : fault_set(fault, EX_NOINPUT, "no run lies in that time: nothing to export");
}

int export_open_run(struct export *export, int64_t run_id, struct fault *fault) {
    struct ledger_run run;
    const int found = ledger_read_run(export->ledger, run_id, &run, fault);

    if (found < 0)
        return -1;
    if (found == 0)
        return fault_set(fault, EX_NOINPUT, "there is no run %lld: 'runs' lists them", (long long)run_id);
    return export_take(export, &run, 1, fault);
}

int export_open_batch(struct export *export, int64_t batch_id, struct fault *fault) {
    struct ledger_batch *batch = ledger_read_batch(export->ledger, batch_id, fault);
    struct ledger_run *runs;
    size_t count = 0;
    int result = -1;

    if (batch == NULL)
        return -1;
    export->batch_id = batch_id;
    words_clean(batch->charge, strlen(batch->charge), 0, export->charge, sizeof export->charge);
    export->plan = plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault);
    ledger_free_batch(batch);
    if (export->plan == NULL)
        return -1;
    runs = ledger_list_claimed(export->ledger, batch_id, &count, fault);
    if (runs != NULL && count == 0)
        fault_set(fault, EX_NOINPUT, "batch %lld has no run yet: nothing to export", (long long)batch_id);
    else if (runs != NULL)
        result = export_take(export, runs, count, fault);
    free(runs);
    return result;
}

void export_close(struct export *export) {
    for (size_t i = 0; i < export->run_count; i++) {
        ledger_free_channels(export->runs[i].channels, export->runs[i].channel_count);
        free(export->runs[i].oven);
        import_free(export->runs[i].import);
    }
    free(export->runs);
    plan_free(export->plan);
}
