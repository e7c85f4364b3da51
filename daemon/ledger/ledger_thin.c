// SPDX-License-Identifier: MIT
#include <stdlib.h>

#include "ledger_private.h"
#include "soakledger/thin.h"

enum { DAY_MS = 86400000 };

/* What must stay: runs with their margins, tests and surveys. */
struct span {
    int64_t from_ms, to_ms;
};

struct thinning {
    struct ledger *ledger;
    int64_t channel_id, interval_ms;
    struct span *kept_spans;
    size_t span_count;
    struct reading *readings;
    bool *goes;
    size_t count;
};

static struct span *list_spans(struct ledger *ledger, int64_t oven_id, int64_t from_ms, int64_t until_ms,
                               size_t *count, struct fault *fault) {
    static const char sql[] =
        "SELECT begun_ms - ?4, coalesce(ended_ms + ?4, 9223372036854775807) FROM run WHERE oven_id = ?1 AND"
        " begun_ms <= ?3 + ?4 AND coalesce(ended_ms + ?4, ?2) >= ?2"
        " UNION ALL SELECT from_ms, to_ms FROM accuracy WHERE from_ms <= ?3 AND to_ms >= ?2"
        " UNION ALL SELECT from_ms, to_ms FROM survey WHERE from_ms <= ?3 AND to_ms >= ?2";
    struct list list;
    struct query query;

    list_query_sql(&list, &query, sizeof(struct span), ledger, sql, "look for what must stay", fault);
    query_put_int(&query, oven_id);
    query_put_int(&query, from_ms);
    query_put_int(&query, until_ms);
    query_put_int(&query, THIN_MARGIN_MS);
    for (struct span *span; (span = list_step(&list, &query)) != NULL;) {
        span->from_ms = query_get_int(&query, 0, INT64_MIN, INT64_MAX);
        span->to_ms = query_get_int(&query, 1, INT64_MIN, INT64_MAX);
    }
    return list_close(&list, &query, count);
}

/* Where to begin: after the last thinning of the channel, at the next reading there. 1, 0 if there is none, -1. */
static int find_begin(struct ledger *ledger, int64_t channel_id, int64_t *from_ms, struct fault *fault) {
    static const char sql[] =
        "SELECT min(t_ms) FROM reading WHERE channel_id = ?1 AND t_ms >="
        " coalesce((SELECT max(until_ms) FROM thinning WHERE channel_id = ?1), -9223372036854775807)";
    struct query query;
    int found = 0;

    query_open_sql(&query, ledger, sql, "look for old readings", fault);
    query_put_int(&query, channel_id);
    if (query_step(&query) == 1) {
        found = !query_is_null(&query, 0);
        if (found) {
            *from_ms = query_get_int(&query, 0, INT64_MIN, INT64_MAX);
        }
        query_close(&query);
    }
    return query.failed ? -1 : found;
}

static int read_some(struct thinning *thinning, int64_t from_ms, int64_t before_ms, struct fault *fault) {
    struct ledger_cursor *const cursor =
        ledger_open_cursor(thinning->ledger, &thinning->channel_id, 1, from_ms, before_ms - 1, fault);
    int more = cursor == NULL ? -1 : 1;

    thinning->readings = calloc(THIN_MOST_READINGS, sizeof *thinning->readings);
    thinning->goes = calloc(THIN_MOST_READINGS, sizeof *thinning->goes);
    if (thinning->readings == NULL || thinning->goes == NULL) {
        more = fault_set(fault, EX_OSERR, "out of memory");
    }
    while (more == 1 && thinning->count < THIN_MOST_READINGS &&
           (more = ledger_next_reading(cursor, &thinning->readings[thinning->count], fault)) == 1) {
        thinning->count++;
    }
    ledger_close_cursor(cursor);
    return more < 0 ? -1 : 0;
}

static bool must_stay(const struct thinning *thinning, int64_t t_ms) {
    for (size_t i = 0; i < thinning->span_count; i++) {
        if (t_ms >= thinning->kept_spans[i].from_ms && t_ms <= thinning->kept_spans[i].to_ms) {
            return true;
        }
    }
    return false;
}

static int64_t bucket_of(const struct thinning *thinning, size_t i) {
    const int64_t t_ms = thinning->readings[i].t_ms;

    return t_ms / thinning->interval_ms - (t_ms % thinning->interval_ms < 0);
}

/* Of the readings [begin, end) of one bucket all go but the first, the extremes, and where the quality changes. */
static void choose(struct thinning *thinning, size_t begin, size_t end) {
    size_t low = end, high = end;

    for (size_t i = begin; i < end; i++) {
        const struct reading *const reading = &thinning->readings[i];

        thinning->goes[i] = i > begin && reading->quality == thinning->readings[i - 1].quality;
        if (reading->quality != QUALITY_GOOD) {
            continue;
        }
        low = low == end || reading->value < thinning->readings[low].value ? i : low;
        high = high == end || reading->value > thinning->readings[high].value ? i : high;
    }
    if (low < end) {
        thinning->goes[low] = thinning->goes[high] = false;
    }
    for (size_t i = begin; i < end; i++) {
        thinning->goes[i] = thinning->goes[i] && !must_stay(thinning, thinning->readings[i].t_ms);
    }
}

static void choose_all(struct thinning *thinning) {
    size_t begin = 0;

    for (size_t i = 1; i <= thinning->count; i++) {
        if (i == thinning->count || bucket_of(thinning, i) != bucket_of(thinning, begin)) {
            choose(thinning, begin, i);
            begin = i;
        }
    }
}

static int64_t begin_thinning(const struct thinning *thinning, const struct thin_tally *tally, int64_t now_ms,
                              struct fault *fault) {
    struct query query;

    query_open_sql(&query, thinning->ledger,
                   "INSERT INTO thinning (channel_id, from_ms, until_ms, interval_ms, t_ms) VALUES (?, ?, ?, ?, ?)",
                   "begin to thin", fault);
    query_put_int(&query, thinning->channel_id);
    query_put_int(&query, tally->from_ms);
    query_put_int(&query, tally->until_ms);
    query_put_int(&query, thinning->interval_ms);
    query_put_int(&query, now_ms);
    return query_add(&query);
}

static int remove_chosen(const struct thinning *thinning, struct thin_tally *tally, struct fault *fault) {
    for (size_t i = 0; i < thinning->count; i++) {
        struct query query;

        if (!thinning->goes[i]) {
            tally->kept++;
            continue;
        }
        query_open(&query, thinning->ledger, STATEMENT_THIN_READING, "thin readings", fault);
        query_put_int(&query, thinning->channel_id);
        query_put_int(&query, thinning->readings[i].t_ms);
        if (query_run(&query) != 0) {
            return -1;
        }
        if (sqlite3_changes(thinning->ledger->db) > 0) {
            tally->removed++;
        } else {
            tally->kept++; // it was made of a voltage
        }
    }
    return 0;
}

static int end_thinning(struct ledger *ledger, int64_t thinning_id, const struct thin_tally *tally,
                        struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger, "UPDATE thinning SET kept = ?2, removed = ?3 WHERE thinning_id = ?1",
                   "end a thinning", fault);
    query_put_int(&query, thinning_id);
    query_put_int(&query, tally->kept);
    query_put_int(&query, tally->removed);
    return query_run(&query);
}

static int thin(struct thinning *thinning, int64_t oven_id, int64_t before_ms, int64_t now_ms,
                struct thin_tally *tally, struct fault *fault) {
    int64_t thinning_id;

    if (read_some(thinning, tally->from_ms, before_ms, fault) != 0) {
        return -1;
    }
    /* A bucket that is cut through is left for the next step. */
    tally->until_ms = before_ms;
    if (thinning->count == THIN_MOST_READINGS) {
        tally->until_ms = bucket_of(thinning, thinning->count - 1) * thinning->interval_ms;
        while (thinning->count > 0 && thinning->readings[thinning->count - 1].t_ms >= tally->until_ms) {
            thinning->count--;
        }
    }
    if (thinning->count == 0) { // more readings in one bucket than one step takes: they stay
        tally->until_ms += thinning->interval_ms;
    }
    thinning->kept_spans =
        list_spans(thinning->ledger, oven_id, tally->from_ms, tally->until_ms, &thinning->span_count, fault);
    if (thinning->kept_spans == NULL) {
        return -1;
    }
    choose_all(thinning);
    thinning_id = begin_thinning(thinning, tally, now_ms, fault);
    if (thinning_id < 0 || remove_chosen(thinning, tally, fault) != 0) {
        return -1;
    }
    return end_thinning(thinning->ledger, thinning_id, tally, fault) == 0 ? 1 : -1;
}

int thin_step(struct ledger *ledger, int64_t oven_id, int64_t channel_id, int64_t before_ms, int64_t interval_ms,
              int64_t now_ms, struct thin_tally *tally, struct fault *fault) {
    struct thinning thinning = {.ledger = ledger, .channel_id = channel_id, .interval_ms = interval_ms};
    int result;

    *tally = (struct thin_tally){0};
    before_ms -= before_ms % interval_ms; // whole buckets
    result = find_begin(ledger, channel_id, &tally->from_ms, fault);
    if (result <= 0 || before_ms - tally->from_ms < DAY_MS) {
        return result < 0 ? -1 : 0;
    }
    result = thin(&thinning, oven_id, before_ms, now_ms, tally, fault);
    free(thinning.kept_spans);
    free(thinning.readings);
    free(thinning.goes);
    return result;
}
