// SPDX-License-Identifier: MIT
#include "session.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "soakledger/journal.h"

static const char alert_subject[] = "damaged ledger";

enum { LIST_BYTES = 160 };

static const char *base_name(const char *path) {
    const char *const slash = strrchr(path, '/');

    return slash != NULL ? slash + 1 : path;
}

/* The damaged file, for what can still be read of it. NULL if nothing can. */
static struct ledger *open_kept(const struct ledger *ledger) {
    struct fault unused;

    return ledger_open(ledger_kept_file(ledger), LEDGER_READ, &unused);
}

/* A reader makes an index beside the log: what is kept stays as it was. */
static void close_kept(const struct ledger *ledger, struct ledger *kept) {
    char index[PATH_MAX];

    ledger_close(kept);
    if (snprintf(index, sizeof index, "%s-shm", ledger_kept_file(ledger)) < (int)sizeof index)
        unlink(index);
}

/* Was a run on in that oven? 1 and since when, 0; -1: it cannot be read. */
static int find_torn(struct ledger *kept, const char *oven, int64_t *begun_ms) {
    struct fault unused;
    struct ledger_run run;
    const int64_t oven_id = kept != NULL ? ledger_find_oven(kept, oven, &unused) : -1;
    int found = (int)oven_id;

    if (oven_id > 0)
        found = ledger_find_open_run(kept, oven_id, &run, &unused);
    if (found == 1)
        *begun_ms = run.begun_ms;
    return found;
}

/* Goes on with a run of the damaged ledger, or with what may have been one. */
static int go_on(struct ledger *ledger, struct ledger *kept, const char *oven, int64_t oven_id, int64_t from_ms,
                 struct fault *fault) {
    struct event event = {.t_ms = from_ms, .kind = EVENT_TORN};
    int64_t begun_ms = from_ms;
    const int found = find_torn(kept, oven, &begun_ms);
    int64_t run_id;

    if (found == 0)
        return 0;
    event.amount = found == 1 && begun_ms < from_ms ? from_ms - begun_ms : 0;
    snprintf(event.detail, sizeof event.detail, "%s", oven);
    if (ledger_add_event(ledger, &event, fault) < 0)
        return -1;
    run_id = ledger_open_run(ledger, oven_id, from_ms, fault);
    if (run_id < 0)
        return -1;
    journal_write(JOURNAL_WARNING, "oven %s, run %lld: %s; what came before is in %s", oven, (long long)run_id,
                  found == 1 ? "goes on from the damaged ledger" : "may have been on, and is taken to be",
                  ledger_kept_file(ledger));
    return 0;
}

static int begin_anew(struct ledger *ledger, const struct config *config, const int64_t *oven_ids, int64_t from_ms,
                      struct fault *fault) {
    struct event event = {.t_ms = from_ms, .kind = EVENT_ANEW};
    struct ledger *const kept = open_kept(ledger);
    int result;

    snprintf(event.detail, sizeof event.detail, "%.*s", EVENT_DETAIL_BYTES - 1,
             base_name(ledger_kept_file(ledger)));
    result = ledger_add_event(ledger, &event, fault) < 0 ? -1 : 0;
    for (size_t i = 0; result == 0 && i < config->oven_count; i++)
        result = go_on(ledger, kept, config->ovens[i].name, oven_ids[i], from_ms, fault);
    close_kept(ledger, kept);
    return result;
}

static int add(struct ledger *ledger, const struct ledger_session *session, const struct config *config,
               int64_t *oven_ids, int64_t *channel_ids, struct fault *fault) {
    struct ledger_session last;
    const int found = ledger_last_session(ledger, &last, fault);

    if (found < 0 || ledger_add_session(ledger, session, config, oven_ids, channel_ids, fault) < 0)
        return -1;
    if (found == 1 || ledger_kept_file(ledger) == NULL)
        return 0;
    return begin_anew(ledger, config, oven_ids, session->started_ms, fault);
}

int session_add(struct ledger *ledger, const struct config *config, const struct clock *clock, int64_t from_ms,
                int64_t *oven_ids, int64_t *channel_ids, struct fault *fault) {
    const int64_t ago_ms = clock_read_ms(clock) - from_ms;
    struct ledger_session session = {.started_ms = from_ms,
                                     .wall_ms = clock_wall_ms(clock) - ago_ms,
                                     .boottime_ms = clock_boottime_ms(clock) - ago_ms,
                                     .simulated = clock_is_simulated(clock)};

    clock_read_boot_id(clock, session.boot_id);
    if (ledger_begin(ledger, fault) != 0)
        return -1;
    if (add(ledger, &session, config, oven_ids, channel_ids, fault) != 0 || ledger_commit(ledger, fault) != 0) {
        ledger_roll_back(ledger);
        return -1;
    }
    return 0;
}

/* "batches 3 and 4 were open in it", as far as the file says so. */
static void list_open(struct ledger *kept, char words[LIST_BYTES]) {
    struct fault unused;
    size_t count = 0, length = 0;
    int64_t *const batches = kept != NULL ? ledger_list_batches(kept, true, &count, &unused) : NULL;

    if (batches == NULL) {
        snprintf(words, LIST_BYTES, "which batches were open in it cannot be read");
        return;
    }
    words[0] = '\0';
    for (size_t i = 0; i < count && length < LIST_BYTES / 2; i++)
        length += (size_t)snprintf(words + length, LIST_BYTES - length, "%s%lld", i == 0 ? "" : ", ",
                                   (long long)batches[i]);
    snprintf(words + length, LIST_BYTES - length, "%s",
             count == 0 ? "no batch was open in it" : " (batches) were open in it and have to be opened again");
    free(batches);
}

void session_tell_anew(struct ledger *ledger, struct alert_desk *desk, int64_t now_ms) {
    char words[ALERT_WORDS_BYTES], open[LIST_BYTES];
    struct ledger *kept;

    if (ledger_kept_file(ledger) == NULL)
        return;
    kept = open_kept(ledger);
    list_open(kept, open);
    close_kept(ledger, kept);
    journal_write(JOURNAL_ERROR, "the ledger is damaged: %s", ledger_damage(ledger));
    snprintf(words, sizeof words, "the ledger was damaged; it is kept as %.200s, and a new one was begun; %s",
             ledger_kept_file(ledger), open);
    alert_raise(desk, ALERT_LEDGER, alert_subject, now_ms, words);
}
