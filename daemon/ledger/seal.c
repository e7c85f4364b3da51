// SPDX-License-Identifier: MIT
/* Making seals. A seal on a run also covers whatever else is new, so that everything stored before it is covered.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "seal_private.h"

/* A seal in the making: its parts, in order. */
struct making {
    struct ledger *ledger;
    struct fault *fault;
    struct seal_part *parts;
    size_t count, capacity;
    int result; // -1 from the first failure on
};

static const char first_before[] = "0000000000000000000000000000000000000000000000000000000000000000";

/* ---- reading seals ---- */

static void get_head(struct query *query, struct seal_head *head) {
    head->seal_id = query_get_int(query, 0, 1, INT64_MAX);
    head->kind = (enum seal_kind)query_get_int(query, 1, SEAL_RUN, SEAL_IMPORT);
    head->sealed_ms = query_get_int(query, 2, 0, INT64_MAX);
    query_get_text_into(query, 3, head->sha256, sizeof head->sha256);
}

static int read_head(struct query *query, struct seal_head *head) {
    const int got = query_step(query);

    *head = (struct seal_head){0};
    if (got == 1) {
        get_head(query, head);
        query_close(query);
    }
    return query->failed ? -1 : got;
}

int seal_read_last(struct ledger *ledger, struct seal_head *head, struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger,
                   "SELECT seal_id, kind, sealed_ms, sha256 FROM seal ORDER BY seal_id DESC LIMIT 1",
                   "look for the last seal", fault);
    return read_head(&query, head);
}

int seal_read_run(struct ledger *ledger, int64_t run_id, struct seal_head *head, struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger, "SELECT seal_id, kind, sealed_ms, sha256 FROM seal WHERE run_id = ?",
                   "look for the seal of a run", fault);
    query_put_int(&query, run_id);
    return read_head(&query, head);
}

char *seal_describe(const struct seal_head *head, char *out) {
    enum { GROUP = 8 };
    int used;

    if (head->seal_id == 0) {
        snprintf(out, SEAL_WORDS_BYTES, "no seal yet");
        return out;
    }
    used = snprintf(out, SEAL_WORDS_BYTES, "seal %lld,", (long long)head->seal_id);
    for (size_t i = 0; i + GROUP < sizeof head->sha256; i += GROUP) {
        used += snprintf(out + used, SEAL_WORDS_BYTES - (size_t)used, " %.*s", GROUP, head->sha256 + i);
    }
    return out;
}

/* The one number that a statement gives, with up to two parameters; `otherwise` where it gives NULL or no row. */
static int64_t ask(struct making *making, const char *sql, int64_t first, int64_t second, int64_t otherwise) {
    struct query query;
    int64_t number = otherwise;
    int wanted;

    if (making->result != 0) {
        return otherwise;
    }
    query_open_sql(&query, making->ledger, sql, "see what is to be sealed", making->fault);
    wanted = query.failed ? 0 : sqlite3_bind_parameter_count(query.statement);
    if (wanted > 0) {
        query_put_int(&query, first);
    }
    if (wanted > 1) {
        query_put_int(&query, second);
    }
    if (query_step(&query) == 1) {
        number = query_is_null(&query, 0) ? otherwise : query_get_int(&query, 0, INT64_MIN, INT64_MAX);
        query_close(&query);
    }
    making->result = query.failed ? -1 : 0;
    return number;
}

/* ---- parts ---- */

static void add_part(struct making *making, const char *name, int64_t channel_id, int64_t low, int64_t high) {
    struct seal_part *part;

    if (making->result != 0) {
        return;
    }
    if (making->count == making->capacity) {
        enum { FIRST_CAPACITY = 32 };
        const size_t capacity = making->capacity == 0 ? FIRST_CAPACITY : 2 * making->capacity;
        struct seal_part *const parts = realloc(making->parts, capacity * sizeof *parts);

        if (parts == NULL) {
            making->result = fault_set(making->fault, EX_OSERR, "%s: out of memory", making->ledger->path);
            return;
        }
        making->parts = parts;
        making->capacity = capacity;
    }
    part = &making->parts[making->count++];
    *part = (struct seal_part){.channel_id = channel_id, .low = low, .high = high};
    snprintf(part->name, sizeof part->name, "%s", name);
    making->result = seal_digest_part(making->ledger, part, making->fault);
}

/* Rows that came since the last part of that kind. */
static void add_growth(struct making *making, const struct seal_form *form) {
    static const char covered_sql[] = "SELECT max(high) FROM seal_part WHERE name = '%s'";
    static const char there_sql[] = "SELECT max(%s) FROM %s";
    char sql[96];
    int64_t covered, there;

    sqlite3_snprintf(sizeof sql, sql, covered_sql, form->name);
    covered = ask(making, sql, 0, 0, 0);
    sqlite3_snprintf(sizeof sql, sql, there_sql, form->key, form->of);
    there = ask(making, sql, 0, 0, 0);
    if (there > covered) {
        add_part(making, form->name, 0, covered + 1, there);
    }
}

/* What was finished since: one part each. */
static void add_finished(struct making *making, const struct seal_form *form) {
    int64_t *numbers;
    size_t count = 0;
    struct list list;
    struct query query;
    char *const sql = sqlite3_mprintf("%s EXCEPT SELECT high FROM seal_part WHERE name = %Q AND channel_id IS NULL"
                                      " ORDER BY 1",
                                      form->pending, form->name);

    if (sql == NULL) {
        making->result = fault_set(making->fault, EX_OSERR, "%s: out of memory", making->ledger->path);
        return;
    }
    list_query_sql(&list, &query, sizeof *numbers, making->ledger, sql, "see what is to be sealed", making->fault);
    for (int64_t *number; (number = list_step(&list, &query)) != NULL;) {
        *number = query_get_int(&query, 0, INT64_MIN, INT64_MAX);
    }
    numbers = list_close(&list, &query, &count);
    making->result = numbers == NULL ? -1 : 0;
    for (size_t i = 0; numbers != NULL && i < count; i++) {
        add_part(making, form->name, 0, numbers[i], numbers[i]);
    }
    free(numbers);
    sqlite3_free(sql);
}

static void add_books(struct making *making) {
    for (size_t i = 0; i < seal_form_count && making->result == 0; i++) {
        if (seal_forms[i].cover == SEAL_GROWING) {
            add_growth(making, &seal_forms[i]);
        } else if (seal_forms[i].cover == SEAL_ONCE) {
            add_finished(making, &seal_forms[i]);
        }
    }
}

/* ---- a run's own parts ---- */

struct span {
    struct ledger_run run;
    int64_t from_ms; // with the minutes before it began
};

/* A list of numbers that a statement gives for (oven, from, end). */
static int64_t *list_numbers(struct making *making, const char *sql, const struct span *span, size_t *count) {
    struct list list;
    struct query query;

    list_query_sql(&list, &query, sizeof(int64_t), making->ledger, sql, "see what belongs to a run", making->fault);
    query_put_int(&query, span->run.oven_id);
    if (!query.failed && sqlite3_bind_parameter_count(query.statement) > 1) {
        query_put_int(&query, span->from_ms);
        query_put_int(&query, span->run.ended_ms);
    }
    for (int64_t *number; (number = list_step(&list, &query)) != NULL;) {
        *number = query_get_int(&query, 0, 1, INT64_MAX);
    }
    return list_close(&list, &query, count);
}

/* Every channel that the oven ever had, so that a reading put in afterwards shows wherever it is put. What is read
 * between runs is covered by no seal: it may be thinned out one day. */
static void add_readings(struct making *making, const struct span *span) {
    size_t count = 0;
    int64_t *const channels =
        list_numbers(making, "SELECT channel_id FROM channel WHERE oven_id = ?1 ORDER BY channel_id", span, &count);

    making->result = channels == NULL ? -1 : 0;
    for (size_t i = 0; channels != NULL && i < count; i++) {
        add_part(making, "reading", channels[i], span->from_ms, span->run.ended_ms);
        add_part(making, "reading_emf", channels[i], span->from_ms, span->run.ended_ms);
    }
    free(channels);
}

/* Fittings in force: those of the session that had begun last when it began, and of sessions begun in it. */
static void add_fittings(struct making *making, const struct span *span) {
    static const char sql[] =
        "SELECT DISTINCT f.fitting_id FROM session_fitting u JOIN fitting f USING (fitting_id) JOIN channel c"
        " USING (channel_id) WHERE c.oven_id = ?1 AND u.session_id IN (SELECT session_id FROM session WHERE"
        " started_ms > ?2 AND started_ms <= ?3 UNION SELECT * FROM (SELECT session_id FROM session WHERE "
        "started_ms <="
        " ?2 ORDER BY started_ms DESC, session_id DESC LIMIT 1)) ORDER BY f.fitting_id";
    size_t count = 0;
    int64_t *const fittings = list_numbers(making, sql, span, &count);

    making->result = fittings == NULL ? -1 : 0;
    for (size_t i = 0; fittings != NULL && i < count; i++) {
        add_part(making, "fitting", 0, fittings[i], fittings[i]);
    }
    free(fittings);
}

static void add_events(struct making *making, const struct span *span) {
    const int64_t first = ask(making, "SELECT min(event_id) FROM event WHERE t_ms BETWEEN ?1 AND ?2", span->from_ms,
                              span->run.ended_ms, 0);
    const int64_t last = ask(making, "SELECT max(event_id) FROM event WHERE t_ms BETWEEN ?1 AND ?2", span->from_ms,
                             span->run.ended_ms, 0);

    if (first > 0) {
        add_part(making, "event", 0, first, last);
    }
}

/* Corrections: every table that had been entered by then, those in force among them. */
static void add_calibrations(struct making *making) {
    const int64_t last = ask(making, "SELECT max(calibration_id) FROM calibration", 0, 0, 0);

    if (last > 0) {
        add_part(making, "calibration", 0, 1, last);
        add_part(making, "calibration_point", 0, 1, last);
    }
}

/* The batches that it is judged for, and their plans. */
static void add_batches(struct making *making, const struct span *span) {
    static const char sql[] = "SELECT DISTINCT batch_id FROM judgement WHERE run_id = ?1 ORDER BY batch_id";
    size_t count = 0;
    struct span by_run = *span;
    int64_t *batches;

    by_run.run.oven_id = span->run.run_id; // what the statement's one parameter is
    batches = list_numbers(making, sql, &by_run, &count);
    making->result = batches == NULL ? -1 : 0;
    for (size_t i = 0; batches != NULL && i < count; i++) {
        add_part(making, "batch", 0, batches[i], batches[i]);
        add_part(making, "plan", 0, batches[i], batches[i]);
    }
    free(batches);
}

static void add_run(struct making *making, const struct span *span) {
    add_part(making, "run", 0, span->run.run_id, span->run.run_id);
    if (making->result == 0) {
        add_readings(making, span);
    }
    if (making->result == 0) {
        add_fittings(making, span);
    }
    if (making->result == 0) {
        add_calibrations(making);
        add_events(making, span);
    }
    if (making->result == 0) {
        add_batches(making, span);
    }
}

/* ---- the seal ---- */

static int store_parts(struct making *making, int64_t seal_id) {
    static const char sql[] = "INSERT INTO seal_part (seal_id, place, name, channel_id, low, high, rows, sha256)"
                              " VALUES (?, ?, ?, ?, ?, ?, ?, ?)";

    for (size_t i = 0; i < making->count; i++) {
        const struct seal_part *const part = &making->parts[i];
        struct query query;

        query_open_sql(&query, making->ledger, sql, "store a seal", making->fault);
        query_put_int(&query, seal_id);
        query_put_int(&query, (int64_t)i + 1);
        query_put_text(&query, part->name);
        query_put_int_or_null(&query, part->channel_id);
        query_put_int(&query, part->low);
        query_put_int(&query, part->high);
        query_put_int(&query, part->rows);
        query_put_text(&query, part->sha256);
        if (query_run(&query) != 0) {
            return -1;
        }
    }
    return 0;
}

static int store_seal(struct making *making, const struct seal_head *head, int64_t run_id, const char *before) {
    static const char sql[] = "INSERT INTO seal (seal_id, form, kind, run_id, sealed_ms, before, sha256)"
                              " VALUES (?, ?, ?, ?, ?, ?, ?)";
    struct query query;

    if (store_parts(making, head->seal_id) != 0) {
        return -1;
    }
    query_open_sql(&query, making->ledger, sql, "store a seal", making->fault);
    query_put_int(&query, head->seal_id);
    query_put_int(&query, SEAL_FORM);
    query_put_int(&query, head->kind);
    query_put_int_or_null(&query, run_id);
    query_put_int(&query, head->sealed_ms);
    query_put_text(&query, before);
    query_put_text(&query, head->sha256);
    return query_run(&query);
}

/* Seals the parts that were gathered, and forgets them. */
static int make(struct making *making, enum seal_kind kind, int64_t run_id, int64_t now_ms,
                struct seal_head *made) {
    struct seal_head last = {0}, head = {.kind = kind, .sealed_ms = now_ms};
    const char *before = first_before;
    struct seal_text *text = NULL;

    if (making->result == 0 && seal_read_last(making->ledger, &last, making->fault) < 0) {
        making->result = -1;
    }
    if (making->result == 0) {
        text = seal_text_open(making->fault);
        making->result = text == NULL ? -1 : 0;
    }
    if (text != NULL) {
        before = last.seal_id != 0 ? last.sha256 : first_before;
        head.seal_id = last.seal_id + 1;
        seal_text_head(text, SEAL_FORM, head.seal_id, before, kind, run_id, now_ms);
        for (size_t i = 0; i < making->count; i++) {
            seal_text_part(text, i + 1, &making->parts[i]);
        }
        making->result = seal_text_close(text, head.sha256, making->fault);
    }
    if (making->result == 0) {
        making->result = store_seal(making, &head, run_id, before);
    }
    free(making->parts);
    making->parts = NULL;
    if (made != NULL) {
        *made = head;
    }
    return making->result;
}

static int seal_one_run(struct ledger *ledger, int64_t run_id, enum seal_kind kind, int64_t lead_ms, int64_t now_ms,
                        struct seal_head *head, struct fault *fault) {
    struct making making = {.ledger = ledger, .fault = fault};
    struct span span;
    const int found = ledger_read_run(ledger, run_id, &span.run, fault);

    if (found < 0) {
        return -1;
    }
    if (found == 0) {
        return fault_set(fault, EX_NOINPUT, "%s: there is no run %lld", ledger->path, (long long)run_id);
    }
    if (span.run.ended_ms == 0) {
        return fault_set(fault, EX_DATAERR, "%s: run %lld is on: it is sealed when it is over", ledger->path,
                         (long long)run_id);
    }
    span.from_ms = span.run.begun_ms - lead_ms;
    if (kind == SEAL_IMPORT) { // the books hold its readings
        add_part(&making, "run", 0, run_id, run_id);
    } else {
        add_run(&making, &span);
    }
    add_books(&making);
    return make(&making, kind, run_id, now_ms, head);
}

int seal_run(struct ledger *ledger, int64_t run_id, enum seal_kind kind, int64_t lead_ms, int64_t now_ms,
             struct seal_head *head, struct fault *fault) {
    bool own;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    return ledger_leave(ledger, own, seal_one_run(ledger, run_id, kind, lead_ms, now_ms, head, fault), fault);
}

/* Runs that were read in, each as soon as its import is complete. How many; -1. */
static int seal_imports(struct ledger *ledger, int64_t now_ms, struct fault *fault) {
    static const char sql[] = "SELECT min(run_id) FROM import i WHERE complete = 1 AND NOT EXISTS"
                              " (SELECT 1 FROM seal s WHERE s.run_id = i.run_id)";
    struct making making = {.ledger = ledger, .fault = fault};
    int made = 0;

    for (int64_t run_id; (run_id = ask(&making, sql, 0, 0, 0)) > 0; made++) {
        if (seal_one_run(ledger, run_id, SEAL_IMPORT, 0, now_ms, NULL, fault) != 0) {
            return -1;
        }
    }
    return making.result == 0 ? made : -1;
}

static int seal_new(struct ledger *ledger, int64_t now_ms, struct fault *fault) {
    struct making making = {.ledger = ledger, .fault = fault};
    const int imports = seal_imports(ledger, now_ms, fault);
    int made = imports > 0 ? 1 : 0;

    if (imports < 0) {
        return -1;
    }
    add_books(&making);
    if (making.result == 0 && making.count > 0) {
        made = make(&making, SEAL_BOOKS, 0, now_ms, NULL) == 0 ? 1 : 0;
    }
    free(making.parts);
    return making.result == 0 ? made : -1;
}

int seal_books(struct ledger *ledger, int64_t now_ms, struct fault *fault) {
    int made;
    bool own;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    made = seal_new(ledger, now_ms, fault);
    return ledger_leave(ledger, own, made < 0 ? -1 : 0, fault) == 0 ? made : -1;
}

int64_t seal_find_unsealed(struct ledger *ledger, int64_t *oven_id, struct fault *fault) {
    static const char sql[] = "SELECT run_id, oven_id FROM run r WHERE ended_ms IS NOT NULL AND NOT EXISTS"
                              " (SELECT 1 FROM seal s WHERE s.run_id = r.run_id) AND NOT EXISTS"
                              " (SELECT 1 FROM import i WHERE i.run_id = r.run_id) ORDER BY run_id LIMIT 1";
    struct query query;
    int64_t run_id = 0;

    query_open_sql(&query, ledger, sql, "look for runs without a seal", fault);
    if (query_step(&query) == 1) {
        run_id = query_get_int(&query, 0, 1, INT64_MAX);
        *oven_id = query_get_int(&query, 1, 1, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : run_id;
}

void seal_set_time(struct ledger *ledger, int64_t now_ms) {
    ledger->now_ms = now_ms;
}
