// SPDX-License-Identifier: MIT
/* What a bench is filled with, looked at and compared by. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "bench_ledger.h"

void bench_fill(struct bench *bench) {
    struct ledger *const ledger = bench->ledger;
    struct fault *const fault = &bench->fault;
    static const struct verdict verdict = {.requirement = REQUIREMENT_SPREAD, .required = 8000};
    static const struct finding finding = {.t_ms = BENCH_STARTED_MS, .kind = FINDING_SOAK_BEGUN};
    static const struct event event = {.t_ms = BENCH_STARTED_MS, .kind = EVENT_STARTED};
    const int64_t t0 = BENCH_STARTED_MS;
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    int64_t revision;

    ledger_sha256("", 0, sha256);
    bench_add_reading(bench, bench->channels[0], t0, 805300, QUALITY_GOOD);
    bench_add_reading(bench, bench->channels[0], t0 + 1, 0, QUALITY_NO_REPLY);
    if (ledger_add_event(ledger, &event, fault) != 0 || ledger_open_run(ledger, bench->ovens[0], t0, fault) != 1 ||
        ledger_end_run(ledger, 1, t0 + 9, RUN_END_COOLING, fault) != 0 ||
        ledger_open_run(ledger, bench->ovens[0], t0 + 10, fault) != 2 || bench_open_batch(bench, t0) != 1 ||
        bench_open_batch(bench, t0) != 2 || ledger_claim_run(ledger, 1, 1, 0, t0, "daemon", fault) != 0 ||
        ledger_close_batch(ledger, 1, t0, fault) != 0 || ledger_open_judgement(ledger, 1, 1, 0, t0, fault) != 1 ||
        ledger_add_finding(ledger, 1, &finding, fault) != 0 ||
        ledger_add_verdicts(ledger, 1, &verdict, 1, fault) != 0 ||
        ledger_open_judgement(ledger, 2, 1, 0, t0, fault) != 2 ||
        ledger_add_finding(ledger, 2, &finding, fault) != 0 ||
        ledger_add_certificate(ledger, 1, t0, sha256, &revision, fault) != 1) {
        fail_msg("%s", fault->text);
    }
}

void bench_assert_fault(const struct bench *bench, int64_t result, int status, const char *words) {
    assert_int_equal(result, -1);
    if (bench->fault.status != status || strstr(bench->fault.text, words) == NULL) {
        fail_msg("status %d, '%s': expected %d and '%s'", bench->fault.status, bench->fault.text, status, words);
    }
    assert_memory_equal(bench->fault.text, bench->path, strlen(bench->path));
    assert_null(strchr(bench->fault.text, '\n'));
}

char *bench_slurp(const char *path, size_t *length) {
    FILE *const file = fopen(path, "rb");
    struct stat status;
    char *bytes;

    assert_non_null(file);
    assert_int_equal(fstat(fileno(file), &status), 0);
    bytes = malloc((size_t)status.st_size + 1);
    assert_non_null(bytes);
    *length = fread(bytes, 1, (size_t)status.st_size, file);
    fclose(file);
    return bytes;
}

void bench_spill(const char *path, const char *bytes, size_t length) {
    FILE *const file = fopen(path, "wb");

    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    assert_int_equal(fclose(file), 0);
}

static int read_runs(struct ledger *ledger, struct fault *fault) {
    size_t count;
    struct ledger_run *const runs = ledger_list_runs(ledger, INT64_MIN, INT64_MAX, &count, fault);
    int result = runs == NULL ? -1 : 0;

    for (size_t i = 0; i < count && result == 0; i++) {
        bool complete;
        const int64_t id = ledger_find_judgement(ledger, runs[i].run_id, runs[i].batch_id, 0, &complete, fault);
        size_t unused;
        struct finding *findings = NULL;
        struct verdict *verdicts = NULL;

        if (id < 0 || (findings = ledger_list_findings(ledger, id, &unused, fault)) == NULL ||
            (verdicts = ledger_list_verdicts(ledger, id, &unused, fault)) == NULL) {
            result = -1;
        }
        free(findings);
        free(verdicts);
    }
    free(runs);
    return result;
}

static int read_batches(struct ledger *ledger, struct fault *fault) {
    size_t count;
    int64_t *const ids = ledger_list_batches(ledger, false, &count, fault);
    int result = ids == NULL ? -1 : 0;

    for (size_t i = 0; i < count && result == 0; i++) {
        struct ledger_batch *const batch = ledger_read_batch(ledger, ids[i], fault);
        size_t unused;
        struct ledger_run *const runs = ledger_list_claimed(ledger, ids[i], &unused, fault);

        result = batch == NULL || runs == NULL ? -1 : 0;
        ledger_free_batch(batch);
        free(runs);
    }
    free(ids);
    return result;
}

static int read_readings(struct ledger *ledger, int64_t *count, struct fault *fault) {
    static const int64_t channels[] = {1, 2, 3, 4};
    struct ledger_cursor *const cursor = ledger_open_cursor(ledger, channels, 4, INT64_MIN, INT64_MAX, fault);
    struct reading reading;
    int got = cursor == NULL ? -1 : 1;

    while (got == 1) {
        got = ledger_next_reading(cursor, &reading, fault);
        *count += got == 1;
    }
    ledger_close_cursor(cursor);
    return got;
}

int bench_read_everything(const char *path, int64_t *readings, struct fault *fault) {
    struct ledger *const ledger = ledger_open(path, LEDGER_READ, fault);
    struct ledger_session session;
    size_t count;
    struct ledger_channel *channels = NULL;
    struct event *events = NULL;
    int result = -1;

    *readings = 0;
    if (ledger != NULL && ledger_last_session(ledger, &session, fault) >= 0 &&
        ledger_last_time(ledger, fault) >= 0 &&
        (channels = ledger_list_channels(ledger, 1, INT64_MAX, &count, fault)) != NULL) {
        ledger_free_channels(channels, count);
        events = ledger_list_events(ledger, INT64_MIN, INT64_MAX, &count, fault);
        if (events != NULL && read_runs(ledger, fault) == 0 && read_batches(ledger, fault) == 0) {
            result = read_readings(ledger, readings, fault);
        }
    }
    free(events);
    ledger_close(ledger);
    return result;
}

pid_t bench_start_other(struct bench *bench, enum ledger_mode mode, int for_ms) {
    int told[2];
    char byte = 0;
    pid_t child;

    bench_close(bench);
    assert_int_equal(pipe(told), 0);
    child = fork();
    if (child == 0) {
        struct ledger *const ledger = ledger_open(bench->path, mode, &bench->fault);

        if (ledger == NULL || (mode == LEDGER_BOOKKEEP && ledger_begin(ledger, &bench->fault) != 0) ||
            write(told[1], &byte, 1) != 1) {
            _exit(EX_SOFTWARE);
        }
        usleep((useconds_t)for_ms * 1000);
        _exit(mode == LEDGER_BOOKKEEP && ledger_commit(ledger, &bench->fault) != 0);
    }
    close(told[1]);
    assert_int_equal(read(told[0], &byte, 1), 1);
    close(told[0]);
    return child;
}
