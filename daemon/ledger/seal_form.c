// SPDX-License-Identifier: MIT
/* The forms of rows, and the texts they become: soakledger-seal(5) in code.
 *
 * Readings are what there is most of, millions in a run, and nothing else here is worth hurrying for: they have a
 * loop of their own. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "seal_private.h"

enum { TEXT_BYTES = 1 << 15, INT_TEXT_BYTES = 24, READING_LINE_BYTES = 4 * INT_TEXT_BYTES };

// clang-format off
#define ROWS(table, by_command, one, many) \
    {table, "*", table, table, table "_id", table "_id", SEAL_GROWING, NULL, by_command, one, many}
#define ROWS_OF(table, parent, then, by_command, one, many) \
    {table, "*", table, parent, parent "_id", parent "_id, " then, SEAL_GROWING, NULL, by_command, one, many}
#define DONE(name, columns, table, parent, order, when, by_command, one, many) \
    {name, columns, table, parent, parent "_id", order, SEAL_ONCE, \
     "SELECT " parent "_id FROM " parent " WHERE " when, by_command, one, many}

#define OF_RUN(table, counted, order, one, many) \
    {table, "*", table, counted, "run_id", order, SEAL_ONCE, "SELECT run_id FROM " counted, false, one, many}
/* The text that a row names, which is kept once under its SHA-256. */
#define TEXT_OF(name, table, column, cover, pending, by_command, one, many) \
    {name, table "_id, document.sha256, body", table " JOIN document ON document.sha256 = " column, table, table "_id", \
     table "_id", cover, pending, by_command, one, many}

/* In the order in which a seal lists them. A table that is not here is no part of any seal: tests/test_seal.c holds
 * the list against the schema. A column that is added to one of these tables needs a new form. */
const struct seal_form seal_forms[] = {
    ROWS("session", false, "session", "sessions"),
    TEXT_OF("configuration", "session", "configuration_sha256", SEAL_GROWING, NULL, false, "configuration of session",
            "configurations of sessions"),
    ROWS("oven", false, "oven", "ovens"),
    ROWS("channel", false, "channel", "channels"),
    ROWS("fitting", false, "fitting", "fittings"),
    ROWS_OF("session_fitting", "session", "fitting_id", false, "fittings of session", "fittings of sessions"),
    ROWS("event", false, "event", "events"),
    {"batch", "batch_id, opened_ms, oven_id, charge, customer, order_reference, operator_name, note, plan_name,"
     " plan_sha256", "batch", "batch", "batch_id", "batch_id", SEAL_GROWING, NULL, true, "batch", "batches"},
    TEXT_OF("plan", "batch", "plan_sha256", SEAL_GROWING, NULL, true, "plan of batch", "plans of batches"),
    ROWS("company", true, "company", "companies"),
    ROWS("claim", false, "claim", "claims"),
    ROWS("withdrawal", true, "withdrawal", "withdrawals"),
    {"judgement", "judgement_id, run_id, batch_id, visit, t_ms", "judgement", "judgement", "judgement_id",
     "judgement_id", SEAL_GROWING, NULL, false, "judgement", "judgements"},
    ROWS("finding", false, "finding", "findings"),
    ROWS("attestation", true, "attestation", "attestations"),
    ROWS("hardness", true, "hardness reading", "hardness readings"),
    ROWS("disposition", true, "disposition", "dispositions"),
    ROWS("amendment", true, "amendment", "amendments"),
    ROWS("certificate", true, "certificate", "certificates"),
    ROWS_OF("certificate_kept", "certificate", "certificate_id", true, "what is kept of certificate",
            "what is kept of certificates"),
    {"certificate_facts", "certificate_id, document.sha256, body",
     "certificate_kept JOIN document ON document.sha256 = facts_sha256", "certificate", "certificate_id",
     "certificate_id", SEAL_GROWING, NULL, true, "facts of certificate", "facts of certificates"},
    ROWS("caller", true, "caller", "callers"),
    ROWS("sensor", false, "sensor", "sensors"),
    ROWS("sensor_event", false, "event of a sensor", "events of sensors"),
    ROWS("calibration", true, "calibration", "calibrations"),
    ROWS_OF("calibration_point", "calibration", "place", true, "points of calibration", "points of calibrations"),
    TEXT_OF("calibration_file", "calibration", "file_sha256", SEAL_GROWING, NULL, true, "file of calibration",
            "files of calibrations"),
    ROWS("sensor_allowed", false, "allowed error of a sensor", "allowed errors of sensors"),
    ROWS("drift_told", false, "drift that was told", "drifts that were told"),
    ROWS("accuracy", true, "accuracy test", "accuracy tests"),
    ROWS_OF("accuracy_typed", "accuracy", "place", true, "typed readings of accuracy test",
            "typed readings of accuracy tests"),
    ROWS("survey", true, "survey", "surveys"),
    ROWS_OF("survey_place", "survey", "number", true, "places of survey", "places of surveys"),
    ROWS_OF("survey_class", "survey", "class", true, "classes of survey", "classes of surveys"),

    DONE("batch_closed", "batch_id, closed_ms", "batch", "batch", "batch_id", "closed_ms IS NOT NULL", true,
         "closing of batch", "closing of batches"),
    DONE("judgement_complete", "judgement_id, complete", "judgement", "judgement", "judgement_id", "complete = 1",
         false, "completion of judgement", "completion of judgements"),
    DONE("verdict", "*", "verdict", "judgement", "judgement_id, place", "complete = 1", false,
         "verdicts of judgement", "verdicts of judgements"),
    DONE("judgement_finding", "*", "finding", "judgement", "judgement_id, finding_id", "complete = 1", false,
         "findings of judgement", "findings of judgements"),
    DONE("import", "*", "import", "import", "import_id", "complete = 1", true, "import", "imports"),
    TEXT_OF("import_description", "import", "description_sha256", SEAL_ONCE,
            "SELECT import_id FROM import WHERE complete = 1", true, "description of import", "descriptions of imports"),
    DONE("import_channel", "*", "import_channel", "import", "import_id, name", "complete = 1", true,
         "columns of import", "columns of imports"),
    DONE("imported_reading", "*", "imported_reading", "import", "import_id, channel_id, t_ms", "complete = 1", true,
         "readings of import", "readings of imports"),
    DONE("thinning", "*", "thinning", "thinning", "thinning_id", "removed IS NOT NULL", false, "thinning",
         "thinnings"),

    OF_RUN("sensor_counted", "sensor_counted", "run_id", "count of sensors' use in run", "counts of sensors' use in runs"),
    OF_RUN("sensor_use", "sensor_counted", "run_id, sensor_id, channel_id", "sensors' use in run",
           "sensors' use in runs"),
    OF_RUN("sensor_dwell", "sensor_counted", "run_id, sensor_id, channel_id, level_c", "sensors' hours in run",
           "sensors' hours in runs"),
    OF_RUN("steady_run", "steady_run", "run_id", "stable stretches of run", "stable stretches of runs"),
    OF_RUN("steady_stretch", "steady_run", "run_id, place", "each stable stretch of run", "each stable stretch of runs"),
    OF_RUN("steady_mean", "steady_run", "run_id, place, channel_id", "means of run", "means of runs"),
    OF_RUN("steady_pair", "steady_run", "run_id, place, channel_id, other_channel_id", "pairs of sensors in run",
           "pairs of sensors in runs"),

    {"run", "*", "run", "run", "run_id", "run_id", SEAL_AGAIN, NULL, false, "oven, begin and end of run", "runs"},
    {"reading", "*", "reading", "reading", "t_ms", "channel_id, t_ms", SEAL_AGAIN, NULL, false, "reading",
     "readings"},
    {"reading_emf", "*", "reading_emf", "reading_emf", "t_ms", "channel_id, t_ms", SEAL_AGAIN, NULL, false,
     "voltage", "voltages"},
};
// clang-format on

const size_t seal_form_count = sizeof seal_forms / sizeof seal_forms[0];

const struct seal_form *seal_find_form(const char *name) {
    for (size_t i = 0; i < seal_form_count; i++) {
        if (strcmp(seal_forms[i].name, name) == 0) {
            return &seal_forms[i];
        }
    }
    return NULL;
}

/* ---- texts ---- */

struct seal_text {
    EVP_MD_CTX *digest;
    bool failed;
    size_t used;
    char bytes[TEXT_BYTES];
};

struct seal_text *seal_text_open(struct fault *fault) {
    struct seal_text *const text = malloc(sizeof *text);

    if (text != NULL) {
        text->used = 0;
        text->digest = EVP_MD_CTX_new();
        text->failed = text->digest == NULL || EVP_DigestInit_ex(text->digest, EVP_sha256(), NULL) != 1;
    } else {
        fault_set(fault, EX_OSERR, "out of memory");
    }
    return text;
}

static void flush(struct seal_text *text) {
    text->failed = text->failed || EVP_DigestUpdate(text->digest, text->bytes, text->used) != 1;
    text->used = 0;
}

void seal_text_add(struct seal_text *text, const char *bytes, size_t length) {
    while (length > 0) {
        const size_t room = TEXT_BYTES - text->used;
        const size_t taken = length < room ? length : room;

        memcpy(text->bytes + text->used, bytes, taken);
        text->used += taken;
        bytes += taken;
        length -= taken;
        if (text->used == TEXT_BYTES) {
            flush(text);
        }
    }
}

/* Decimal, two digits at a time from the end. Returns the end of what was written; at most INT_TEXT_BYTES. */
static char *put_int(char *at, int64_t value) {
    static const char pairs[] = "00010203040506070809101112131415161718192021222324252627282930313233343536373839"
                                "40414243444546474849505152535455565758596061626364656667686970717273747576777879"
                                "8081828384858687888990919293949596979899";
    enum { PAIR = 100, TEN = 10 };
    uint64_t left = value < 0 ? 0 - (uint64_t)value : (uint64_t)value;
    char digits[INT_TEXT_BYTES], *from = digits + sizeof digits;

    for (; left >= PAIR; left /= PAIR) {
        from -= 2;
        memcpy(from, pairs + 2 * (left % PAIR), 2);
    }
    if (left >= TEN) {
        from -= 2;
        memcpy(from, pairs + 2 * left, 2);
    } else {
        *--from = (char)('0' + left);
    }
    if (value < 0) {
        *at++ = '-';
    }
    memcpy(at, from, (size_t)(digits + sizeof digits - from));
    return at + (digits + sizeof digits - from);
}

void seal_text_add_int(struct seal_text *text, int64_t value, char end) {
    char words[INT_TEXT_BYTES + 1];
    char *at = put_int(words, value);

    *at++ = end;
    seal_text_add(text, words, (size_t)(at - words));
}

int seal_text_close(struct seal_text *text, char sha256[LEDGER_SHA256_TEXT_BYTES], struct fault *fault) {
    static const char hex[] = "0123456789abcdef";
    enum { NIBBLE_BITS = 4, NIBBLE = 15 };
    unsigned char sum[EVP_MAX_MD_SIZE];
    unsigned length = 0;
    bool failed;

    flush(text);
    failed = text->failed || EVP_DigestFinal_ex(text->digest, sum, &length) != 1 ||
             2 * length + 1 != LEDGER_SHA256_TEXT_BYTES;
    EVP_MD_CTX_free(text->digest);
    free(text);
    if (failed) {
        return fault_set(fault, EX_OSERR, "cannot work out a SHA-256");
    }
    for (unsigned i = 0; i < length; i++) {
        sha256[2 * i] = hex[sum[i] >> NIBBLE_BITS];
        sha256[2 * i + 1] = hex[sum[i] & NIBBLE];
    }
    sha256[LEDGER_SHA256_TEXT_BYTES - 1] = '\0';
    return 0;
}

static void add_word(struct seal_text *text, const char *word, char end) {
    seal_text_add(text, word, strlen(word));
    seal_text_add(text, &end, 1);
}

static void add_id(struct seal_text *text, int64_t id, char end) {
    if (id == 0) {
        add_word(text, "-", end);
    } else {
        seal_text_add_int(text, id, end);
    }
}

void seal_text_head(struct seal_text *text, int64_t form, int64_t seal_id, const char *before, int64_t kind,
                    int64_t run_id, int64_t sealed_ms) {
    add_word(text, "soakledger seal", '\t');
    seal_text_add_int(text, form, '\n');
    seal_text_add_int(text, seal_id, '\t');
    add_word(text, before, '\t');
    seal_text_add_int(text, kind, '\t');
    add_id(text, run_id, '\t');
    seal_text_add_int(text, sealed_ms, '\n');
}

void seal_text_part(struct seal_text *text, size_t place, const struct seal_part *part) {
    seal_text_add_int(text, (int64_t)place, '\t');
    add_word(text, part->name, '\t');
    add_id(text, part->channel_id, '\t');
    seal_text_add_int(text, part->low, '\t');
    seal_text_add_int(text, part->high, '\t');
    seal_text_add_int(text, part->rows, '\t');
    add_word(text, part->sha256, '\n');
}

/* ---- rows ---- */

/* Text stands in quotes, with what could be taken for the end of something escaped. */
static void add_quoted(struct seal_text *text, const char *bytes, size_t length) {
    seal_text_add(text, "\"", 1);
    for (size_t i = 0; i < length; i++) {
        switch (bytes[i]) {
        case '\\': seal_text_add(text, "\\\\", 2); break;
        case '"': seal_text_add(text, "\\\"", 2); break;
        case '\n': seal_text_add(text, "\\n", 2); break;
        case '\t': seal_text_add(text, "\\t", 2); break;
        default: seal_text_add(text, bytes + i, 1); break;
        }
    }
    seal_text_add(text, "\"", 1);
}

static void add_hex(struct seal_text *text, char kind, const unsigned char *bytes, size_t length) {
    char word[3];

    seal_text_add(text, &kind, 1);
    for (size_t i = 0; i < length; i++) {
        snprintf(word, sizeof word, "%02x", bytes[i]);
        seal_text_add(text, word, 2);
    }
}

/* A real number as the eight bytes of IEEE 754, the highest first: decimals of it are not everywhere the same. */
static void add_real(struct seal_text *text, double value) {
    unsigned char bytes[sizeof value];
    uint64_t bits;

    memcpy(&bits, &value, sizeof bits);
    for (size_t i = 0; i < sizeof bytes; i++) {
        bytes[i] = (unsigned char)(bits >> (8 * (sizeof bytes - 1 - i)));
    }
    add_hex(text, 'r', bytes, sizeof bytes);
}

static void add_column(struct seal_text *text, sqlite3_stmt *statement, int column) {
    char word[INT_TEXT_BYTES];

    switch (sqlite3_column_type(statement, column)) {
    case SQLITE_INTEGER:
        seal_text_add(text, word, (size_t)(put_int(word, sqlite3_column_int64(statement, column)) - word));
        break;
    case SQLITE_TEXT: {
        const char *const bytes = (const char *)sqlite3_column_text(statement, column);

        add_quoted(text, bytes, (size_t)sqlite3_column_bytes(statement, column));
        break;
    }
    case SQLITE_FLOAT: add_real(text, sqlite3_column_double(statement, column)); break;
    case SQLITE_BLOB: {
        const unsigned char *const bytes = sqlite3_column_blob(statement, column);

        add_hex(text, 'x', bytes, (size_t)sqlite3_column_bytes(statement, column));
        break;
    }
    default: seal_text_add(text, "-", 1); break;
    }
}

static void add_row(struct seal_text *text, sqlite3_stmt *statement) {
    const int count = sqlite3_column_count(statement);

    for (int i = 0; i < count; i++) {
        add_column(text, statement, i);
        seal_text_add(text, i + 1 < count ? "\t" : "\n", 1);
    }
}

/* A reading's time, value and quality, where they are whole numbers or a value that is not there. Each column is
 * fetched once and asked twice, as in ledger_cursor.c: fetching is what costs. */
static bool add_reading(struct seal_text *text, sqlite3_stmt *statement, const char *channel, size_t length) {
    sqlite3_value *const t_ms = sqlite3_column_value(statement, 0);
    sqlite3_value *const value = sqlite3_column_value(statement, 1);
    sqlite3_value *const quality = sqlite3_column_value(statement, 2);
    const int type = sqlite3_value_type(value);
    char *at;

    if (sqlite3_value_type(t_ms) != SQLITE_INTEGER || sqlite3_value_type(quality) != SQLITE_INTEGER ||
        (type != SQLITE_INTEGER && type != SQLITE_NULL)) {
        return false;
    }
    if (TEXT_BYTES - text->used < READING_LINE_BYTES) {
        flush(text);
    }
    at = text->bytes + text->used;
    memcpy(at, channel, length);
    at = put_int(at + length, sqlite3_value_int64(t_ms));
    *at++ = '\t';
    if (type == SQLITE_INTEGER) {
        at = put_int(at, sqlite3_value_int64(value));
    } else {
        *at++ = '-';
    }
    *at++ = '\t';
    at = put_int(at, sqlite3_value_int64(quality));
    *at++ = '\n';
    text->used = (size_t)(at - text->bytes);
    return true;
}

/* The first line: the form's name and the names of its columns. */
static void add_title(struct seal_text *text, const struct seal_form *form, sqlite3_stmt *statement) {
    const int count = sqlite3_column_count(statement);

    seal_text_add(text, form->name, strlen(form->name));
    for (int i = 0; i < count; i++) {
        const char *const column = sqlite3_column_name(statement, i);

        seal_text_add(text, "\t", 1);
        if (column != NULL) {
            seal_text_add(text, column, strlen(column));
        }
    }
    seal_text_add(text, "\n", 1);
}

static void add_rows(struct seal_text *text, struct query *query, struct seal_part *part) {
    while (query_step(query) == 1) {
        part->rows++;
        add_row(text, query->statement);
    }
}

/* The same rows, but for the channel, which is the same in all of them. A row that holds something else than whole
 * numbers was not stored by this program: `plain` is false then, and nothing is known. */
static int add_readings(struct ledger *ledger, struct seal_text *text, struct seal_part *part, bool *plain,
                        struct fault *fault) {
    static const char sql[] =
        "SELECT t_ms, value, quality FROM reading WHERE channel_id = ?1 AND t_ms BETWEEN ?2 AND ?3"
        " ORDER BY t_ms";
    char channel[INT_TEXT_BYTES + 1];
    char *const end = put_int(channel, part->channel_id);
    struct query query;

    *end = '\t';
    *plain = true;
    query_open_sql(&query, ledger, sql, "work out a seal", fault);
    query_put_int(&query, part->channel_id);
    query_put_int(&query, part->low);
    query_put_int(&query, part->high);
    while (*plain && query_step(&query) == 1) {
        part->rows++;
        *plain = add_reading(text, query.statement, channel, (size_t)(end + 1 - channel));
    }
    query_close(&query);
    return query.failed ? -1 : 0;
}

/* Opens the statement that gives the part's rows. */
static int open_rows(struct query *query, struct ledger *ledger, const struct seal_form *form,
                     const struct seal_part *part, struct fault *fault) {
    char *const sql =
        sqlite3_mprintf("SELECT %s FROM %s WHERE %s BETWEEN ?1 AND ?2 %s ORDER BY %s", form->columns, form->from,
                        form->key, part->channel_id != 0 ? "AND channel_id = ?3" : "", form->order);

    if (sql == NULL) {
        return fault_set(fault, EX_OSERR, "%s: out of memory", ledger->path);
    }
    query_open_sql(query, ledger, sql, "work out a seal", fault);
    sqlite3_free(sql);
    query_put_int(query, part->low);
    query_put_int(query, part->high);
    if (part->channel_id != 0) {
        query_put_int(query, part->channel_id);
    }
    return query->failed ? -1 : 0;
}

/* One digest; `quick` where the rows are readings and hold nothing but whole numbers, which `plain` tells. */
static int digest_rows(struct ledger *ledger, const struct seal_form *form, struct seal_part *part, bool quick,
                       bool *plain, struct fault *fault) {
    struct seal_text *const text = seal_text_open(fault);
    struct query query = {0};
    int result;

    if (text == NULL) {
        return -1;
    }
    part->rows = 0;
    *plain = true;
    result = open_rows(&query, ledger, form, part, fault);
    if (result == 0) {
        add_title(text, form, query.statement);
    }
    if (result == 0 && quick) {
        result = add_readings(ledger, text, part, plain, fault);
    } else if (result == 0) {
        add_rows(text, &query, part);
        result = query.failed ? -1 : 0;
    }
    query_close(&query);
    return seal_text_close(text, part->sha256, fault) == 0 ? result : -1;
}

int seal_digest_part(struct ledger *ledger, struct seal_part *part, struct fault *fault) {
    const struct seal_form *const form = seal_find_form(part->name);
    bool plain = true;

    if (form == NULL) {
        return fault_set(fault, EX_DATAERR, "%s: a seal covers '%.31s', which this program does not know",
                         ledger->path, part->name);
    }
    if (strcmp(form->name, "reading") == 0 && part->channel_id != 0) {
        if (digest_rows(ledger, form, part, true, &plain, fault) != 0) {
            return -1;
        }
        if (plain) {
            return 0;
        }
    }
    return digest_rows(ledger, form, part, false, &plain, fault);
}
