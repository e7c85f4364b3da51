// SPDX-License-Identifier: MIT
/* Memory that runs out, at each place in turn: in the ledger's own code and within SQLite, one allocation at a
 * time. Whatever it hits, the call says so in one line or does without, nothing is half written, and the ledger can
 * be used afterwards. The linker puts the functions below in place of the C library's for everything in this
 * program. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "soakledger/backup.h"
#include "soakledger/books.h"
#include "soakledger/glance.h"
#include "soakledger/health.h"
#include "soakledger/import.h"
#include "soakledger/issue.h"
#include "soakledger/seal.h"
#include "soakledger/sensors.h"
#include "soakledger/thin.h"
#include "support/bench_ledger.h"

enum { DENSE = 150, COARSER = 25, COLUMNS = 4, MOST_ROWS = 100, OTHER_PATH_BYTES = BENCH_PATH_BYTES + 16 };
enum kind { OWN, OF_SQLITE, KINDS };

/* One allocation of a kind, counted from 1, fails while armed. */
static struct {
    bool armed;
    enum kind kind;
    long countdown;
} trouble;

static bool fails(enum kind kind) {
    return trouble.armed && trouble.kind == kind && --trouble.countdown == 0;
}

void *__real_malloc(size_t size);               // NOLINT(bugprone-reserved-identifier): the linker's names
void *__real_calloc(size_t count, size_t size); // NOLINT(bugprone-reserved-identifier)
void *__real_realloc(void *old, size_t size);   // NOLINT(bugprone-reserved-identifier)
char *__real_strdup(const char *text);          // NOLINT(bugprone-reserved-identifier)
void *__wrap_malloc(size_t size);               // NOLINT(bugprone-reserved-identifier)
void *__wrap_calloc(size_t count, size_t size); // NOLINT(bugprone-reserved-identifier)
void *__wrap_realloc(void *old, size_t size);   // NOLINT(bugprone-reserved-identifier)
char *__wrap_strdup(const char *text);          // NOLINT(bugprone-reserved-identifier)

void *__wrap_malloc(size_t size) { // NOLINT(bugprone-reserved-identifier)
    return fails(OWN) ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size) { // NOLINT(bugprone-reserved-identifier)
    return fails(OWN) ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *old, size_t size) { // NOLINT(bugprone-reserved-identifier)
    return fails(OWN) ? NULL : __real_realloc(old, size);
}

char *__wrap_strdup(const char *text) { // NOLINT(bugprone-reserved-identifier)
    return fails(OWN) ? NULL : __real_strdup(text);
}

static sqlite3_mem_methods usual;

static void *sqlite_malloc(int size) {
    return fails(OF_SQLITE) ? NULL : usual.xMalloc(size);
}

static void *sqlite_realloc(void *old, int size) {
    return fails(OF_SQLITE) ? NULL : usual.xRealloc(old, size);
}

static int count_on_sqlite(void) {
    sqlite3_mem_methods ours;

    if (sqlite3_config(SQLITE_CONFIG_GETMALLOC, &usual) != SQLITE_OK)
        return -1;
    ours = usual;
    ours.xMalloc = sqlite_malloc;
    ours.xRealloc = sqlite_realloc;
    return sqlite3_config(SQLITE_CONFIG_MALLOC, &ours) == SQLITE_OK &&
                   sqlite3_config(SQLITE_CONFIG_LOOKASIDE, 0, 0) == SQLITE_OK
               ? 0
               : -1;
}

/* ---- what is tried ---- */

static char scale[] = "HRC", irons[] = "12 plane irons", person[] = "day shift", reason[] = "as planned",
            nothing[] = "";
static char plan_text[] = "[plan]\ntitle = irons\n";

/* Everything in a transaction that is rolled back: each try begins with the same ledger. */
typedef int writing(struct bench *bench, struct fault *fault);
static int within(struct bench *bench, struct fault *fault, writing *write) {
    int result = ledger_begin(bench->ledger, fault);

    if (result == 0)
        result = write(bench, fault);
    ledger_roll_back(bench->ledger);
    return result;
}

static int read_all(struct bench *bench, struct fault *fault) {
    int64_t readings;

    return bench_read_everything(bench->path, &readings, fault);
}

static int write_run(struct bench *bench, struct fault *fault) {
    struct ledger *ledger = bench->ledger;
    const struct reading reading = {.t_ms = BENCH_STARTED_MS + 50, .value = 1, .channel_id = bench->channels[1]};
    const struct event event = {.t_ms = BENCH_STARTED_MS + 50, .kind = EVENT_STARTED, .amount = 5};
    int64_t run;

    if (ledger_add_reading(ledger, &reading, fault) != 0 || ledger_add_event(ledger, &event, fault) != 0)
        return -1;
    run = ledger_open_run(ledger, bench->ovens[1], BENCH_STARTED_MS + 50, fault);
    return run > 0 ? ledger_end_run(ledger, run, BENCH_STARTED_MS + 60, RUN_END_COLD, fault) : -1;
}

static int write_batch(struct bench *bench, struct fault *fault) {
    struct ledger *ledger = bench->ledger;
    const int64_t t_ms = BENCH_STARTED_MS + 70;
    const struct ledger_batch batch = {.opened_ms = t_ms,
                                       .oven_id = bench->ovens[0],
                                       .charge = irons,
                                       .customer = nothing,
                                       .order_reference = nothing,
                                       .operator_name = person,
                                       .note = nothing,
                                       .plan_text = plan_text,
                                       .plan_length = sizeof plan_text - 1,
                                       .plan_name = nothing};
    const struct ledger_attestation attestation = {
        .t_ms = t_ms, .said_ms = t_ms, .said_by = person, .words = reason};
    const struct verdict verdict = {.requirement = REQUIREMENT_SPREAD, .required = 8000};
    const struct finding finding = {.t_ms = t_ms, .kind = FINDING_SOAK_BEGUN};
    const int64_t id = ledger_open_batch(ledger, &batch, fault);
    int64_t judgement, revision;
    char sha256[LEDGER_SHA256_TEXT_BYTES];

    if (id < 1 || ledger_claim_run(ledger, 2, id, 0, t_ms, "daemon", fault) != 0 ||
        ledger_add_attestation(ledger, id, &attestation, fault) != 0)
        return -1;
    judgement = ledger_open_judgement(ledger, 2, id, 0, t_ms, fault);
    if (judgement < 1 || ledger_add_finding(ledger, judgement, &finding, fault) != 0 ||
        ledger_add_verdicts(ledger, judgement, &verdict, 1, fault) != 0)
        return -1;
    ledger_sha256(irons, strlen(irons), sha256);
    if (ledger_add_certificate(ledger, id, t_ms, sha256, &revision, fault) < 1 ||
        ledger_withdraw_claim(ledger, 2, id, t_ms, person, fault) < 0)
        return -1;
    return ledger_close_batch(ledger, id, t_ms, fault);
}

static int write_books(struct bench *bench, struct fault *fault) {
    const struct books_disposition disposition = {
        .decision = BOOKS_ACCEPT, .said_ms = BENCH_STARTED_MS, .said_by = person, .reason = reason};
    const struct books_hardness hardness = {.scale = scale,
                                            .value = 60000,
                                            .piece = nothing,
                                            .position = nothing,
                                            .instrument = nothing,
                                            .measured_by = person,
                                            .measured_ms = BENCH_STARTED_MS,
                                            .said_ms = BENCH_STARTED_MS};
    const struct books_amendment amendment = {
        .entry = BOOKS_CHARGE, .words = irons, .reason = reason, .said_by = person, .said_ms = BENCH_STARTED_MS};
    struct books *books;

    if (books_add_disposition(bench->ledger, 1, &disposition, fault) < 0 ||
        books_add_hardness(bench->ledger, 1, &hardness, fault) < 0 ||
        books_add_amendment(bench->ledger, 1, &amendment, fault) < 0)
        return -1;
    books = books_read(bench->ledger, 1, fault);
    books_free(books);
    return books != NULL ? 0 : -1;
}

static int write_issue(struct bench *bench, struct fault *fault) {
    static unsigned char head[] = "head", tail[] = "tail";
    struct issue issue = {.issued_ms = BENCH_STARTED_MS + 80,
                          .facts = nothing,
                          .why = reason,
                          .said_by = person,
                          .program = irons,
                          .first_object = 3,
                          .head = head,
                          .head_length = sizeof head,
                          .tail = tail,
                          .tail_length = sizeof tail,
                          .is_signed = true};
    struct issue *kept;

    ledger_sha256(head, sizeof head, issue.sha256);
    issue.number = ledger_add_certificate(bench->ledger, 1, issue.issued_ms, issue.sha256, &issue.revision, fault);
    if (issue.number < 1 || issue_keep(bench->ledger, &issue, fault) != 0)
        return -1;
    kept = issue_read(bench->ledger, 1, issue.revision, fault);
    if (kept == NULL)
        return -1;
    if (kept->head_length != sizeof head || memcmp(kept->head, head, sizeof head) != 0)
        fail_msg("what was kept of a certificate is something else");
    issue_free(kept);
    return 0;
}

static int write_seals(struct bench *bench, struct fault *fault) {
    struct seal_head head;

    if (write_run(bench, fault) != 0)
        return -1;
    return seal_run(bench->ledger, 3, SEAL_RUN, 0, BENCH_STARTED_MS + 90, &head, fault) == 0 &&
                   seal_books(bench->ledger, BENCH_STARTED_MS + 91, fault) >= 0 &&
                   seal_read_run(bench->ledger, 1, &head, fault) >= 0 &&
                   seal_read_last(bench->ledger, &head, fault) >= 0
               ? 0
               : -1;
}

static int write_session(struct bench *bench, struct fault *fault) {
    struct bench_config config;
    const struct ledger_session session = {
        .started_ms = BENCH_STARTED_MS + 100, .wall_ms = BENCH_STARTED_MS + 100, .boottime_ms = 6000};
    int64_t ovens[BENCH_OVENS], channels[BENCH_CHANNELS];

    bench_fill_config(&config);
    config.channels[0].sensor = 1; // moved
    config.channels[1].sensor = 0;
    config.channels[0].interval_ms = 2000;
    if (ledger_add_session(bench->ledger, &session, &config.config, ovens, channels, fault) < 1)
        return -1;
    return health_keep_allowed(bench->ledger, &config.config, channels, BENCH_STARTED_MS + 100, fault);
}

static int write_import(struct bench *bench, struct fault *fault) {
    static const struct import_channel channel = {
        .name = "charge", .header = "T1", .role = ROLE_LOAD, .interval_ms = 1000, .sensor_identity = ""};
    struct import import = {.oven_id = bench->ovens[1],
                            .begun_ms = BENCH_STARTED_MS - 10000,
                            .ended_ms = BENCH_STARTED_MS - 5000,
                            .source = person,
                            .file_name = irons,
                            .imported_ms = BENCH_STARTED_MS,
                            .imported_by = person};
    struct reading reading = {.t_ms = BENCH_STARTED_MS - 8000, .value = 800000};
    struct import *found = NULL;
    int result;

    ledger_sha256(irons, strlen(irons), import.file_sha256);
    if (import_open(bench->ledger, &import, irons, strlen(irons), fault) != 0)
        return -1;
    reading.channel_id = import_add_channel(bench->ledger, &import, &channel, fault);
    if (reading.channel_id < 0 || import_add_reading(bench->ledger, &import, &reading, fault) != 0 ||
        import_complete(bench->ledger, &import, fault) != 0 ||
        seal_books(bench->ledger, BENCH_STARTED_MS, fault) < 0)
        return -1;
    result = import_find(bench->ledger, import.run_id, &found, fault);
    import_free(found);
    return result == 1 ? 0 : -1;
}

static int write_sensors(struct bench *bench, struct fault *fault) {
    const struct sensor_event event = {
        .t_ms = BENCH_STARTED_MS + 95, .kind = SENSOR_CHECKED, .said_by = person, .words = reason};
    struct sensor_use use;

    return sensors_add_event(bench->ledger, 1, &event, fault) == 0 &&
                   sensors_count_run(bench->ledger, 1, fault) >= 0 &&
                   sensors_recount(bench->ledger, 1, &use, fault) == 0
               ? 0
               : -1;
}

static int write_thinner(struct bench *bench, struct fault *fault) {
    struct thin_tally tally;

    return thin_step(bench->ledger, bench->ovens[1], bench->channels[3], BENCH_STARTED_MS + 86400000, 600000,
                     BENCH_STARTED_MS + 2 * INT64_C(86400000), &tally, fault) < 0
               ? -1
               : 0;
}

static int try_run(struct bench *bench, struct fault *fault) {
    return within(bench, fault, write_run);
}
static int try_batch(struct bench *bench, struct fault *fault) {
    return within(bench, fault, write_batch);
}
static int try_books(struct bench *bench, struct fault *fault) {
    return within(bench, fault, write_books);
}
static int try_issue(struct bench *bench, struct fault *fault) {
    return within(bench, fault, write_issue);
}
static int try_seals(struct bench *bench, struct fault *fault) {
    return within(bench, fault, write_seals);
}
static int try_session(struct bench *bench, struct fault *fault) {
    return within(bench, fault, write_session);
}
static int try_import(struct bench *bench, struct fault *fault) {
    return within(bench, fault, write_import);
}
static int try_sensors(struct bench *bench, struct fault *fault) {
    return within(bench, fault, write_sensors);
}
static int try_thinning(struct bench *bench, struct fault *fault) {
    return within(bench, fault, write_thinner);
}

static void ignore_flaw(void *context, const char *words) {
    (void)context;
    fail_msg("memory that ran out was taken for a flaw: %s", words);
}

static int try_verify(struct bench *bench, struct fault *fault) {
    struct seal_head head;
    struct seal_tally tally;
    struct seal_scope scope = {0};

    if (seal_read_last(bench->ledger, &head, fault) != 1)
        return -1;
    scope.anchor = head.sha256;
    if (seal_verify(bench->ledger, &scope, ignore_flaw, NULL, &tally, fault) != 0)
        return -1;
    scope.batch_id = 1;
    return seal_verify(bench->ledger, &scope, ignore_flaw, NULL, &tally, fault);
}

static int look_at_sensors(struct bench *bench, struct fault *fault) {
    size_t count, events;
    struct sensor_record *records = sensors_list(bench->ledger, &count, fault);
    struct sensor_event *list = sensors_list_events(bench->ledger, 1, &events, fault);
    struct sensor_use use;
    const bool good = records != NULL && list != NULL;

    sensors_free(records, records != NULL ? count : 0);
    sensors_free_events(list, list != NULL ? events : 0);
    return good && sensors_find(bench->ledger, "K-07", fault) > 0 &&
                   sensors_find_uncounted(bench->ledger, fault) >= 0 &&
                   sensors_known_since(bench->ledger, 1, bench->channels[0], fault) >= 0 &&
                   sensors_read_use(bench->ledger, 1, 0, INT64_MAX, &use, fault) == 0
               ? 0
               : -1;
}

static int look_at_ovens(struct bench *bench, struct fault *fault) {
    struct glance_column columns[COLUMNS] = {{0}};
    struct reading reading;
    struct ledger_run run;
    struct event event;
    size_t count;
    struct glance_oven *ovens = glance_list_ovens(bench->ledger, &count, fault);
    int result = ovens != NULL ? 0 : -1;

    free(ovens);
    if (result != 0 || glance_read_latest(bench->ledger, bench->channels[0], &reading, fault) < 0 ||
        glance_read_last_run(bench->ledger, bench->ovens[0], &run, fault) < 0 ||
        glance_read_last_event(bench->ledger, &event, fault) < 0)
        return -1;
    return glance_draw(bench->ledger, bench->channels[0], 1, BENCH_STARTED_MS, BENCH_STARTED_MS + 10, columns,
                       COLUMNS, MOST_ROWS, fault);
}

static int look_at_claims(struct bench *bench, struct fault *fault) {
    size_t count;
    struct ledger_claim *claims = ledger_list_claims(bench->ledger, 1, &count, fault);
    struct ledger_attestation *said = ledger_list_attestations(bench->ledger, 1, &count, fault);
    char *name = ledger_oven_name(bench->ledger, bench->ovens[0], fault);
    struct ledger_run run;
    const bool good = claims != NULL && said != NULL && name != NULL;

    free(claims);
    ledger_free_attestations(said, said != NULL ? count : 0);
    free(name);
    return good && ledger_find_oven(bench->ledger, "temper oven", fault) > 0 &&
                   ledger_had_run(bench->ledger, 1, 1, fault) >= 0 &&
                   ledger_read_run(bench->ledger, 1, &run, fault) >= 0 &&
                   ledger_find_open_run(bench->ledger, bench->ovens[0], &run, fault) >= 0 &&
                   ledger_was_simulated(bench->ledger, 0, INT64_MAX, fault) >= 0
               ? 0
               : -1;
}

static int try_backup(struct bench *bench, struct fault *fault) {
    struct backup_tally tally;
    char copy[OTHER_PATH_BYTES];
    FILE *file;
    int result;

    snprintf(copy, sizeof copy, "%s/copy", bench->folder);
    file = fopen(copy, "w");
    assert_non_null(file);
    fclose(file);
    result = backup_check(bench->path, &tally, fault) == 0 && backup_copy(bench->path, copy, fault) == 0 ? 0 : -1;
    unlink(copy);
    return result;
}

static int try_new_ledger(struct bench *bench, struct fault *fault) {
    char path[OTHER_PATH_BYTES], log[OTHER_PATH_BYTES + 8];
    struct ledger *ledger;
    const bool good = snprintf(path, sizeof path, "%s/new", bench->folder) > 0;

    ledger = good ? ledger_open(path, LEDGER_RECORD, fault) : NULL;
    ledger_close(ledger);
    for (const char *const *end = (const char *const[]){"", "-wal", "-shm", "-journal", NULL}; *end != NULL;
         end++) {
        snprintf(log, sizeof log, "%s%s", path, *end);
        unlink(log);
    }
    return ledger != NULL ? 0 : -1;
}

static int open_for_books(struct bench *bench, struct fault *fault) {
    struct ledger *ledger = ledger_open(bench->path, LEDGER_BOOKKEEP, fault);
    const struct ledger_attestation attestation = {
        .t_ms = BENCH_STARTED_MS, .said_ms = BENCH_STARTED_MS, .said_by = person, .words = reason};
    int result = -1;

    if (ledger != NULL) {
        seal_set_time(ledger, BENCH_STARTED_MS + 200);
        if (ledger_begin(ledger, fault) == 0 && ledger_add_attestation(ledger, 2, &attestation, fault) == 0)
            result = ledger_commit(ledger, fault);
    }
    ledger_close(ledger);
    return result;
}

/* ---- one allocation at a time ---- */

typedef int trying(struct bench *bench, struct fault *fault);

/* The first are all tried, later ones more and more coarsely. */
static void run_out(struct bench *bench, const char *name, trying *try) {
    for (enum kind kind = OWN; kind < KINDS; kind++) {
        size_t told = 0, count = 0;
        bool reached = true;

        for (long at = 1; reached; at += at < DENSE ? 1 : 1 + at / COARSER) {
            struct fault fault = {0};
            int result;

            trouble.kind = kind;
            trouble.countdown = at;
            trouble.armed = true;
            result = try(bench, &fault);
            trouble.armed = false;
            reached = trouble.countdown <= 0;
            count++;
            if (result != 0) {
                if (fault.text[0] == '\0' || strchr(fault.text, '\n') != NULL || fault.status == 0)
                    fail_msg("%s, allocation %ld: status %d, '%s'", name, at, fault.status, fault.text);
                if (!reached)
                    fail_msg("%s: refused although nothing was amiss: %s", name, fault.text);
                told++;
            }
        }
        print_message("%s, %s: %zu tries, %zu told\n", name, kind == OWN ? "our memory" : "SQLite's memory", count,
                      told);
        if (kind == OF_SQLITE)
            assert_true(told > 0);
    }
}

static int set_up(void **state) {
    struct bench *bench;
    struct fault fault;

    trouble.armed = false; // a test before may have ended in the middle
    if (bench_set_up(state) != 0)
        return -1;
    bench = *state;
    bench_fill(bench);
    bench_add_reading(bench, bench->channels[3], BENCH_STARTED_MS + 2, 500000, QUALITY_GOOD);
    bench_add_reading(bench, bench->channels[3], BENCH_STARTED_MS + 3, 0, QUALITY_NO_REPLY);
    return ledger_begin(bench->ledger, &fault) == 0 &&
                   seal_run(bench->ledger, 1, SEAL_RUN, 0, BENCH_STARTED_MS + 20, NULL, &fault) == 0 &&
                   seal_books(bench->ledger, BENCH_STARTED_MS + 20, &fault) >= 0 &&
                   ledger_commit(bench->ledger, &fault) == 0
               ? 0
               : -1;
}

#define RUNS_OUT(words, try)                                                                                       \
    static void memory_runs_out_##words(void **state) {                                                            \
        run_out(*state, #words, try);                                                                              \
    }

RUNS_OUT(reading_everything, read_all)
RUNS_OUT(writing_a_run, try_run)
RUNS_OUT(writing_a_batch, try_batch)
RUNS_OUT(writing_books, try_books)
RUNS_OUT(keeping_a_certificate, try_issue)
RUNS_OUT(sealing, try_seals)
RUNS_OUT(beginning_a_session, try_session)
RUNS_OUT(importing, try_import)
RUNS_OUT(counting_a_sensor, try_sensors)
RUNS_OUT(thinning, try_thinning)
RUNS_OUT(verifying, try_verify)
RUNS_OUT(looking_at_sensors, look_at_sensors)
RUNS_OUT(looking_at_ovens, look_at_ovens)
RUNS_OUT(looking_at_claims, look_at_claims)
RUNS_OUT(backing_up, try_backup)
RUNS_OUT(making_a_ledger, try_new_ledger)
RUNS_OUT(keeping_books, open_for_books)

int main(void) {
#define TRIED(words) cmocka_unit_test_setup_teardown(memory_runs_out_##words, set_up, bench_tear_down)
    const struct CMUnitTest tests[] = {
        TRIED(reading_everything), TRIED(writing_a_run),    TRIED(writing_a_batch),
        TRIED(writing_books),      TRIED(sealing),          TRIED(keeping_a_certificate),
        TRIED(importing),          TRIED(thinning),         TRIED(beginning_a_session),
        TRIED(verifying),          TRIED(backing_up),       TRIED(counting_a_sensor),
        TRIED(looking_at_sensors), TRIED(looking_at_ovens), TRIED(looking_at_claims),
        TRIED(making_a_ledger),    TRIED(keeping_books),
    };

    if (count_on_sqlite() != 0)
        return EXIT_FAILURE;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
