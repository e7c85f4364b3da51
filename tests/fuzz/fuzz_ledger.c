// SPDX-License-Identifier: MIT
/* A ledger that somebody sent: a file of ours with rows changed by SQL, past its own checks and triggers, and bytes
 * changed beneath SQL, then read as the command reads it. A file that begins as SQLite's do is taken as it is. The
 * first byte says what is looked at. A refusal is one line, and nothing is written. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>
#include <unistd.h>

#include "../../report/now_parts.h"
#include "../../report/review_parts.h"
#include "ledger_base.h"
#include "soakledger/assess.h"
#include "soakledger/certificate.h"
#include "soakledger/glance.h"
#include "soakledger/health.h"
#include "soakledger/issue.h"
#include "soakledger/seal.h"
#include "soakledger/sensors.h"
#include "soakledger/trials.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
int LLVMFuzzerInitialize(int *argc, char ***argv);

enum {
    LOOK_LISTS = 1,
    LOOK_BATCHES = 2,
    LOOK_SEALS = 4,
    LOOK_HEALTH = 8,
    LOOK_NOW = 16,
    LOOK_WHY = 32,
    LOOK_BOOKS = 64,
    LOOK_PAPER = 128
};
enum { MOST_BATCHES = 3, PATH_BYTES = 64 };
static const char MAGIC[] = "SQLite format 3";
static struct ledger_base base;
static char path[PATH_BYTES];

static void demand(int holds) {
    if (!holds)
        abort();
}

static void check_fault(const struct fault *fault) {
    demand(fault->status != 0 && fault->status != EX_SOFTWARE && fault->status != EX_OSERR);
    demand(fault->text[0] != '\0');
    for (const char *c = fault->text; *c != '\0'; c++)
        demand((unsigned char)*c >= ' ' && *c != 0x7F);
}

static void clean_up(void) {
    static const char *const suffixes[] = {"", "-wal", "-shm", "-journal"};
    char name[PATH_BYTES + 16];

    for (size_t i = 0; i < sizeof suffixes / sizeof suffixes[0]; i++) {
        snprintf(name, sizeof name, "%s%s", path, suffixes[i]);
        unlink(name);
    }
}

int LLVMFuzzerInitialize(int *argc, char ***argv) {
    (void)argc, (void)argv;
    ledger_base_make(&base);
    snprintf(path, sizeof path, "/dev/shm/soakledger-fuzz-%d", (int)getpid());
    demand(atexit(clean_up) == 0);
    return 0;
}

static void spill(const unsigned char *bytes, size_t length) {
    FILE *file;

    clean_up();
    file = fopen(path, "wb");
    demand(file != NULL);
    demand(fwrite(bytes, 1, length, file) == length && fclose(file) == 0);
}

static int look_at_runs(struct ledger *ledger, struct fault *fault) {
    size_t count = 0, unused;
    struct ledger_run *runs = ledger_list_runs(ledger, INT64_MIN, INT64_MAX, &count, fault);
    int result = runs != NULL ? 0 : -1;

    for (size_t i = 0; result == 0 && i < count; i++) {
        struct ledger_channel *channels = import_list_run_channels(ledger, &runs[i], &unused, fault);
        struct seal_head head;

        result = channels != NULL && seal_read_run(ledger, runs[i].run_id, &head, fault) >= 0 ? 0 : -1;
        ledger_free_channels(channels, channels != NULL ? unused : 0);
    }
    free(runs);
    return result;
}

static int look_at_lists(struct ledger *ledger, struct fault *fault) {
    struct ledger_session session;
    size_t count = 0, event_count = 0;
    struct glance_oven *ovens = NULL;
    struct event *events = NULL;
    struct sensor_record *sensors = NULL;
    int result = -1;

    if (ledger_last_session(ledger, &session, fault) >= 0 && ledger_last_time(ledger, fault) >= 0 &&
        (ovens = glance_list_ovens(ledger, &count, fault)) != NULL &&
        (events = ledger_list_events(ledger, INT64_MIN, INT64_MAX, &event_count, fault)) != NULL &&
        (sensors = sensors_list(ledger, &count, fault)) != NULL) {
        sensors_free(sensors, count);
        result = look_at_runs(ledger, fault);
    }
    free(ovens);
    free(events);
    return result;
}

static int look_at_batch(struct ledger *ledger, int64_t batch_id, uint8_t looks, struct fault *fault) {
    struct review review = {.ledger = ledger, .config = base.config, .made_ms = 1};
    struct certificate_issue paper = {.batch_id = batch_id, .number = 1, .revision = 1, .issued_ms = 1};
    enum outcome outcome;
    unsigned char *bytes = NULL;
    size_t length;
    int result = 0;

    if (looks & LOOK_BATCHES) {
        struct assess_batch *assessed = assess_batch(ledger, batch_id, NULL, fault);
        struct issue *issue = assessed != NULL ? issue_read(ledger, batch_id, 1, fault) : NULL;

        result = assessed != NULL && (issue != NULL || fault->status == EX_NOINPUT) ? 0 : -1;
        issue_free(issue);
        assess_free(assessed);
    }
    if (result == 0 && (looks & LOOK_WHY)) {
        result = review_read(&review, batch_id, fault);
        review_release(&review);
    }
    if (result == 0 && (looks & LOOK_PAPER)) {
        result = certificate_make(ledger, base.config, &paper, NULL, &bytes, &length, &outcome, fault);
        free(result == 0 ? bytes : NULL);
    }
    return result;
}

static int look_at_batches(struct ledger *ledger, uint8_t looks, struct fault *fault) {
    size_t count = 0;
    int64_t *ids = ledger_list_batches(ledger, false, &count, fault);
    int result = ids != NULL ? 0 : -1;

    for (size_t i = 0; result == 0 && i < count && i < MOST_BATCHES; i++)
        result = look_at_batch(ledger, ids[i], looks, fault);
    free(ids);
    return result;
}

static void hear(void *context, const char *words) {
    (void)context;
    demand(words[0] != '\0');
}

static int look_at_seals(struct ledger *ledger, struct fault *fault) {
    const struct seal_scope scope = {0};
    struct seal_tally tally;

    return seal_verify(ledger, &scope, hear, NULL, &tally, fault);
}

static int look_at_health(struct ledger *ledger, struct fault *fault) {
    struct health_oven *oven = health_examine(ledger, 1, INT64_MAX, true, fault);

    health_free(oven);
    return oven != NULL ? 0 : -1;
}

static int look_at_now(struct ledger *ledger, struct fault *fault) {
    struct now_page page = {.columns = 80, .utf8 = true};
    struct now_look *look = now_look_up(ledger, base.config, fault);
    int result = look != NULL ? now_compose(&page, ledger, base.config, look, 24, fault) : -1;

    now_release(&page);
    now_free(look);
    return result;
}

static int look_at_books(struct ledger *ledger, struct fault *fault) {
    const int64_t surveys = trials_count_surveys(ledger, fault);
    const int64_t accuracies = surveys >= 0 ? trials_count_accuracies(ledger, fault) : -1;
    struct trials_survey *survey = surveys > 0 ? trials_read_survey(ledger, 1, fault) : NULL;
    struct trials_accuracy *accuracy = accuracies > 0 ? trials_read_accuracy(ledger, 1, fault) : NULL;

    trials_free_survey(survey);
    trials_free_accuracy(accuracy);
    return accuracies >= 0 ? 0 : -1;
}

static int look(struct ledger *ledger, uint8_t looks, struct fault *fault) {
    if ((looks & LOOK_LISTS) && look_at_lists(ledger, fault) != 0)
        return -1;
    if ((looks & (LOOK_BATCHES | LOOK_WHY | LOOK_PAPER)) && look_at_batches(ledger, looks, fault) != 0)
        return -1;
    if ((looks & LOOK_SEALS) && look_at_seals(ledger, fault) != 0)
        return -1;
    if ((looks & LOOK_HEALTH) && look_at_health(ledger, fault) != 0)
        return -1;
    if ((looks & LOOK_NOW) && look_at_now(ledger, fault) != 0)
        return -1;
    return looks & LOOK_BOOKS ? look_at_books(ledger, fault) : 0;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    struct fault fault = {0, ""};
    struct ledger *ledger;
    unsigned char *changed = NULL;
    size_t length = 0;
    uint8_t looks = (uint8_t)~LOOK_PAPER;

    if (size >= sizeof MAGIC && memcmp(data, MAGIC, sizeof MAGIC) == 0) {
        spill(data, size);
    } else if (size > 0) {
        looks = data[0];
        changed = ledger_base_change(&base, data + 1, size - 1, &length);
        spill(changed, length);
        sqlite3_free(changed);
    }
    ledger = size > 0 ? ledger_open(path, LEDGER_READ, &fault) : NULL;
    if (size > 0 && (ledger == NULL || look(ledger, looks, &fault) != 0))
        check_fault(&fault);
    if (size == 1 && fault.status != 0 && fault.status != EX_NOINPUT) { // the base itself is whole
        fprintf(stderr, "%s\n", fault.text);
        abort();
    }
    ledger_close(ledger);
    return 0;
}
