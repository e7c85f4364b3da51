// SPDX-License-Identifier: MIT
#include "ledger_base.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../support/ledger_fixture.h"
#include "soakledger/books.h"
#include "soakledger/health.h"
#include "soakledger/import.h"
#include "soakledger/issue.h"
#include "soakledger/seal.h"
#include "soakledger/sensors.h"
#include "soakledger/trials.h"

enum { MINUTE_MS = 60000, RUN_MINUTES = 40, MOST_CHANGES = 8, NUMBER_BYTES = 8, PAGE_BYTES = 512 };

static void demand(int holds, const char *doing, const struct fault *fault) {
    if (!holds) {
        fprintf(stderr, "base: %s: %s\n", doing, fault->text);
        abort();
    }
}

/* ---- what is in it ---- */

static int64_t record_run(struct ledger_fixture *fixture, struct fault *fault) {
    const int64_t t0 = FIXTURE_START_MS;
    struct event event = {.t_ms = t0, .kind = EVENT_STARTED};
    struct health_facts facts = {0};
    int64_t run_id;

    demand(ledger_begin(fixture->ledger, fault) == 0, "begin", fault);
    demand(sensors_note_session(fixture->ledger, FIXTURE_START_MS, fixture->config, fixture->channel_ids, fault) ==
               0,
           "sensors", fault);
    run_id = ledger_open_run(fixture->ledger, fixture->oven_ids[0], t0, fault);
    for (int minute = 0; minute < RUN_MINUTES; minute++)
        for (size_t i = 0; i < fixture->config->channel_count; i++) {
            struct reading reading = {.channel_id = fixture->channel_ids[i],
                                      .t_ms = t0 + minute * MINUTE_MS,
                                      .value = minute < 8 ? 700000 + minute * 13500 : 808000};

            demand(ledger_add_reading(fixture->ledger, &reading, fault) == 0, "reading", fault);
        }
    demand(ledger_add_event(fixture->ledger, &event, fault) == 0, "event", fault);
    demand(ledger_end_run(fixture->ledger, run_id, t0 + RUN_MINUTES * MINUTE_MS, RUN_END_COLD, fault) == 0, "run",
           fault);
    demand(health_find_facts(fixture->ledger, run_id, &facts, fault) == 0 &&
               health_keep_facts(fixture->ledger, &facts, fault) == 0,
           "facts", fault);
    health_free_facts(&facts);
    demand(sensors_count_run(fixture->ledger, run_id, fault) >= 0, "use", fault);
    demand(seal_run(fixture->ledger, run_id, SEAL_RUN, 0, t0, NULL, fault) == 0, "seal", fault);
    demand(ledger_commit(fixture->ledger, fault) == 0, "commit", fault);
    return run_id;
}

static void record_judgement(struct ledger_fixture *fixture, int64_t run_id, int64_t batch_id,
                             struct fault *fault) {
    const struct finding finding = {
        .t_ms = FIXTURE_START_MS, .kind = FINDING_SOAK_BEGUN, .channel_id = fixture->channel_ids[0]};
    const struct verdict verdict = {.requirement = REQUIREMENT_SOAK_LEAST, .required = 20 * MINUTE_MS};
    int64_t judgement_id;

    demand(ledger_claim_run(fixture->ledger, run_id, batch_id, 0, FIXTURE_START_MS, "daemon", fault) == 0, "claim",
           fault);
    judgement_id = ledger_open_judgement(fixture->ledger, run_id, batch_id, 0, FIXTURE_START_MS, fault);
    demand(judgement_id > 0 && ledger_add_finding(fixture->ledger, judgement_id, &finding, fault) == 0 &&
               ledger_add_verdicts(fixture->ledger, judgement_id, &verdict, 1, fault) == 0,
           "judgement", fault);
}

static void keep_certificate(struct ledger *ledger, int64_t batch_id, struct fault *fault) {
    static char facts[] = "{}", why[] = "", by[] = "", program[] = "soakledger";
    static unsigned char bytes[] = "%PDF-1.7\n";
    struct issue issue = {.facts = facts,
                          .facts_length = sizeof facts - 1,
                          .why = why,
                          .said_by = by,
                          .program = program,
                          .first_object = 7,
                          .head = bytes,
                          .tail = bytes,
                          .head_length = sizeof bytes - 1,
                          .tail_length = sizeof bytes - 1};
    char sha256[LEDGER_SHA256_TEXT_BYTES];

    ledger_sha256(bytes, sizeof bytes - 1, sha256);
    issue.number = ledger_add_certificate(ledger, batch_id, FIXTURE_START_MS, sha256, &issue.revision, fault);
    demand(issue.number > 0 && issue_keep(ledger, &issue, fault) == 0, "certificate", fault);
}

static void keep_books(struct ledger *ledger, int64_t batch_id, struct fault *fault) {
    static char by[] = "operator 2", words[] = "as agreed", scale[] = "HRC";
    struct books_disposition disposition = {BOOKS_ACCEPT, FIXTURE_START_MS, by, words, false};
    struct books_hardness hardness = {.scale = scale,
                                      .value = 60000,
                                      .piece = words,
                                      .position = words,
                                      .instrument = words,
                                      .measured_by = by,
                                      .measured_ms = FIXTURE_START_MS,
                                      .said_ms = FIXTURE_START_MS};
    struct books_amendment amendment = {
        .entry = BOOKS_NOTE, .words = words, .reason = words, .said_by = by, .said_ms = FIXTURE_START_MS};
    struct ledger_attestation attestation = {0, FIXTURE_START_MS, FIXTURE_START_MS, by, words};

    demand(books_add_disposition(ledger, batch_id, &disposition, fault) > 0, "disposition", fault);
    demand(books_add_hardness(ledger, batch_id, &hardness, fault) > 0, "hardness", fault);
    demand(books_add_amendment(ledger, batch_id, &amendment, fault) >= 0, "amendment", fault);
    demand(ledger_add_attestation(ledger, batch_id, &attestation, fault) == 0, "attestation", fault);
}

static void keep_import(struct ledger_fixture *fixture, int64_t batch_id, struct fault *fault) {
    static char source[] = "a logger", name[] = "run.csv", by[] = "operator 2";
    const struct import_channel channel = {.name = "back of rack",
                                           .header = "T1",
                                           .role = ROLE_LOAD,
                                           .interval_ms = MINUTE_MS,
                                           .sensor_identity = "N-201"};
    struct import import = {.oven_id = fixture->oven_ids[0],
                            .begun_ms = FIXTURE_START_MS,
                            .ended_ms = FIXTURE_START_MS + RUN_MINUTES * MINUTE_MS,
                            .source = source,
                            .file_name = name,
                            .imported_ms = FIXTURE_START_MS,
                            .imported_by = by};
    struct reading reading = {.value = 808000};

    ledger_sha256("", 0, import.file_sha256);
    demand(ledger_begin(fixture->ledger, fault) == 0 && import_open(fixture->ledger, &import, "", 0, fault) == 0,
           "import", fault);
    reading.channel_id = import_add_channel(fixture->ledger, &import, &channel, fault);
    demand(reading.channel_id > 0, "imported channel", fault);
    for (int minute = 0; minute < RUN_MINUTES; minute++) {
        reading.t_ms = FIXTURE_START_MS + minute * MINUTE_MS;
        demand(import_add_reading(fixture->ledger, &import, &reading, fault) == 0, "imported reading", fault);
    }
    demand(import_complete(fixture->ledger, &import, fault) == 0, "import", fault);
    demand(ledger_claim_run(fixture->ledger, import.run_id, batch_id, 0, FIXTURE_START_MS, by, fault) == 0,
           "claim of it", fault);
    demand(ledger_commit(fixture->ledger, fault) == 0, "commit", fault);
}

static void fill(struct ledger_fixture *fixture, struct fault *fault) {
    const int64_t run_id = record_run(fixture, fault);
    const int64_t first = fixture_open_batch(fixture, 0, FIXTURE_PLAN_HARDEN, "a joiner", "two racks");
    const int64_t second = fixture_open_batch(fixture, 0, FIXTURE_PLAN, "", "");

    record_judgement(fixture, run_id, first, fault);
    fixture_keep_books(fixture);
    seal_set_time(fixture->ledger, FIXTURE_START_MS);
    demand(ledger_begin(fixture->ledger, fault) == 0, "begin", fault);
    keep_books(fixture->ledger, first, fault);
    keep_certificate(fixture->ledger, first, fault);
    demand(ledger_commit(fixture->ledger, fault) == 0, "commit", fault);
    keep_import(fixture, second, fault);
}

/* ---- in memory ---- */

static void run_sql(sqlite3 *db, const char *sql) {
    if (sqlite3_exec(db, sql, NULL, NULL, NULL) != SQLITE_OK) {
        fprintf(stderr, "base: %s: %s\n", sql, sqlite3_errmsg(db));
        abort();
    }
}

static void load(struct ledger_base *base, const char *path) {
    sqlite3_backup *backup;
    sqlite3 *file = NULL;

    if (sqlite3_open(path, &file) != SQLITE_OK || sqlite3_open(":memory:", &base->db) != SQLITE_OK)
        abort();
    run_sql(file, "PRAGMA journal_mode = DELETE; PRAGMA page_size = 512; VACUUM");
    run_sql(base->db, "PRAGMA page_size = 512");
    backup = sqlite3_backup_init(base->db, "main", file, "main");
    if (backup == NULL || sqlite3_backup_step(backup, -1) != SQLITE_DONE)
        abort();
    sqlite3_backup_finish(backup);
    sqlite3_close(file);
    run_sql(base->db, "PRAGMA ignore_check_constraints = ON; PRAGMA foreign_keys = OFF");
    sqlite3_db_config(base->db, SQLITE_DBCONFIG_ENABLE_TRIGGER, 0, NULL);
}

static void list_tables(struct ledger_base *base) {
    enum { ROOM = 128 };
    sqlite3_stmt *statement = NULL;

    base->tables = calloc(ROOM, sizeof *base->tables);
    if (base->tables == NULL ||
        sqlite3_prepare_v2(base->db, "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name", -1,
                           &statement, NULL) != SQLITE_OK)
        abort();
    while (sqlite3_step(statement) == SQLITE_ROW && base->table_count < ROOM)
        base->tables[base->table_count++] = strdup((const char *)sqlite3_column_text(statement, 0));
    sqlite3_finalize(statement);
}

void ledger_base_make(struct ledger_base *base) {
    static struct ledger_fixture fixture; // its configuration lives on
    struct fault fault = {0, ""};

    fixture_make(&fixture, "name = Toolroom\n", false);
    fill(&fixture, &fault);
    ledger_close(fixture.ledger);
    fixture.ledger = NULL;
    load(base, fixture.ledger_path);
    list_tables(base);
    base->config = config_read(fixture.config_path, &fault);
    demand(base->config != NULL, "config", &fault);
    fixture_remove(&fixture);
}

/* ---- changes ---- */

struct bytes {
    const uint8_t *at;
    size_t left;
};

static uint8_t take(struct bytes *bytes) {
    if (bytes->left == 0)
        return 0;
    bytes->left--;
    return *bytes->at++;
}

static int64_t take_number(struct bytes *bytes) {
    uint64_t number = 0;

    for (int i = 0; i < NUMBER_BYTES; i++)
        number = number << 8 | take(bytes);
    return (int64_t)number;
}

static void bind_value(sqlite3_stmt *statement, int place, struct bytes *bytes) {
    static const int64_t edges[] = {0, 1, -1, INT64_MAX, INT64_MIN, INT32_MAX, FIXTURE_START_MS, 808000};
    const uint8_t kind = take(bytes);
    size_t length;

    switch (kind % 6) {
    case 0: sqlite3_bind_int64(statement, place, (int8_t)take(bytes)); break;
    case 1: sqlite3_bind_int64(statement, place, take_number(bytes)); break;
    case 2: sqlite3_bind_int64(statement, place, edges[take(bytes) % (sizeof edges / sizeof edges[0])]); break;
    case 3: sqlite3_bind_null(statement, place); break;
    case 4: sqlite3_bind_double(statement, place, (double)take_number(bytes)); break;
    default:
        length = take(bytes) * (size_t)(kind / 6 + 1);
        length = length < bytes->left ? length : bytes->left;
        sqlite3_bind_text(statement, place, (const char *)bytes->at, (int)length, SQLITE_TRANSIENT);
        bytes->at += length;
        bytes->left -= length;
    }
}

/* "UPDATE t SET column = ?": column of that number. NULL where there is none. */
static char *write_change(const struct ledger_base *base, const char *table, uint8_t column, uint8_t kind) {
    char *const columns = sqlite3_mprintf("SELECT name FROM pragma_table_xinfo(%Q) LIMIT 1 OFFSET %d", table,
                                          column % 48); // no table has more
    sqlite3_stmt *statement = NULL;
    char *sql = NULL;

    if (columns != NULL && sqlite3_prepare_v2(base->db, columns, -1, &statement, NULL) == SQLITE_OK &&
        sqlite3_step(statement) == SQLITE_ROW) {
        const unsigned char *name = sqlite3_column_text(statement, 0);

        sql = kind % 4 == 3
                  ? sqlite3_mprintf("DELETE FROM \"%w\" WHERE \"%w\" >= ?1 AND ?2 IS ?2", table, name)
                  : sqlite3_mprintf("UPDATE OR REPLACE \"%w\" SET \"%w\" = ?1 WHERE \"%w\" = (SELECT \"%w\" FROM "
                                    "\"%w\" LIMIT 1 OFFSET ?2)%s",
                                    table, name, name, name, table, kind % 4 == 2 ? " OR 1" : "");
    }
    sqlite3_finalize(statement);
    sqlite3_free(columns);
    return sql;
}

static void change_row(const struct ledger_base *base, uint8_t kind, struct bytes *bytes) {
    const char *table = base->tables[take(bytes) % base->table_count];
    char *sql = write_change(base, table, take(bytes), kind);
    sqlite3_stmt *statement = NULL;

    if (sql != NULL && sqlite3_prepare_v2(base->db, sql, -1, &statement, NULL) == SQLITE_OK) {
        sqlite3_bind_int(statement, 2, take(bytes));
        bind_value(statement, 1, bytes);
        (void)sqlite3_step(statement); // what the table's types refuse stays
    }
    sqlite3_finalize(statement);
    sqlite3_free(sql);
}

/* The rest of the bytes are pokes: where (a page, a place in it) and what. */
static void poke(unsigned char *file, size_t length, struct bytes *bytes) {
    while (bytes->left >= 5) {
        const size_t page = (size_t)take(bytes) << 8 | take(bytes), place = (size_t)take(bytes) << 8 | take(bytes);
        const size_t at = page * PAGE_BYTES + place % PAGE_BYTES;
        const uint8_t value = take(bytes);

        if (length > 0)
            file[at % length] = value;
    }
}

unsigned char *ledger_base_change(const struct ledger_base *base, const uint8_t *data, size_t size,
                                  size_t *length) {
    struct bytes bytes = {data, size};
    const uint8_t changes = take(&bytes);
    unsigned char *file;
    sqlite3_int64 file_length = 0;

    run_sql(base->db, "BEGIN");
    for (int i = 0; i < changes % (MOST_CHANGES + 1) && bytes.left > 0; i++)
        change_row(base, take(&bytes), &bytes);
    file = sqlite3_serialize(base->db, "main", &file_length, 0);
    run_sql(base->db, "ROLLBACK");
    if (file == NULL)
        abort();
    poke(file, (size_t)file_length, &bytes);
    *length = (size_t)file_length;
    return file;
}
