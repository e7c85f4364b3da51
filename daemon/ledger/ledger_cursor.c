// SPDX-License-Identifier: MIT
/* Readings of several channels in one order: a merge of one ordered scan per channel.
 *
 * Each scan is drained a block at a time, which keeps one program and one leaf of the tree at hand. A heap of the
 * blocks' foremost readings says which comes next. Memory does not grow with the length of the scan. */
#include <stdlib.h>

#include "ledger_private.h"

enum { BLOCK_READINGS = 128 };

struct scan {
    sqlite3_stmt *statement; // NULL once it has given its last row
    int64_t channel_id;
    int64_t last_ms; // of the last row taken
    size_t next, filled;
    struct reading block[BLOCK_READINGS];
};

struct ledger_cursor {
    struct ledger *ledger;
    sqlite3_stmt *hold; // kept standing on a row, so that all scans see the file as it was at one moment
    int64_t import_id;  // 0: our own readings
    int64_t from_ms, to_ms;
    size_t count;
    struct scan *scans;
    size_t left; // scans in the heap
    struct scan **heap;
};

static const char doing[] = "read readings";

static bool is_behind(const struct scan *a, const struct scan *b) {
    return reading_is_before(&b->block[b->next], &a->block[a->next]);
}

static void sift_down(struct ledger_cursor *cursor, size_t place) {
    struct scan **const heap = cursor->heap;
    struct scan *const sinking = heap[place];

    for (size_t child = 2 * place + 1; child < cursor->left; child = 2 * place + 1) {
        if (child + 1 < cursor->left && is_behind(heap[child], heap[child + 1])) {
            child++;
        }
        if (!is_behind(sinking, heap[child])) {
            break;
        }
        heap[place] = heap[child];
        place = child;
    }
    heap[place] = sinking;
}

/* A row as this program stores it: whole numbers, a known quality, a value exactly when it is good, and later
 * than the row before. Each column is fetched once and asked twice: fetching is what costs. SQLite calls such
 * values unprotected where another thread could hold the connection's mutex; a ledger's connection has none
 * (SQLITE_OPEN_NOMUTEX), and belongs to one thread. */
static bool take_row(const struct ledger_cursor *cursor, struct scan *scan, struct reading *reading) {
    sqlite3_value *const t_ms = sqlite3_column_value(scan->statement, 0);
    sqlite3_value *const value = sqlite3_column_value(scan->statement, 1);
    sqlite3_value *const quality_value = sqlite3_column_value(scan->statement, 2);
    const int64_t quality = sqlite3_value_int64(quality_value);

    if (sqlite3_value_type(t_ms) != SQLITE_INTEGER || sqlite3_value_type(quality_value) != SQLITE_INTEGER ||
        quality < QUALITY_GOOD || quality >= QUALITY_COUNT ||
        sqlite3_value_type(value) != (quality == QUALITY_GOOD ? SQLITE_INTEGER : SQLITE_NULL)) {
        return false;
    }
    *reading = (struct reading){
        .t_ms = sqlite3_value_int64(t_ms),
        .value = sqlite3_value_int64(value),
        .channel_id = scan->channel_id,
        .quality = (enum quality)quality,
    };
    if (reading->t_ms < cursor->from_ms || reading->t_ms > cursor->to_ms ||
        (scan->filled > 0 && reading->t_ms <= scan->last_ms)) {
        return false;
    }
    scan->last_ms = reading->t_ms;
    return true;
}

/* The next block of a scan. Afterwards filled == 0 says that there was nothing left. */
static int fill(struct ledger_cursor *cursor, struct scan *scan, struct fault *fault) {
    size_t filled = 0;

    scan->next = 0;
    while (filled < BLOCK_READINGS && scan->statement != NULL) {
        const int code = sqlite3_step(scan->statement);

        if (code == SQLITE_DONE) {
            sqlite3_finalize(scan->statement);
            scan->statement = NULL;
        } else if (code != SQLITE_ROW) {
            return ledger_fail(cursor->ledger, doing, fault);
        } else if (!take_row(cursor, scan, &scan->block[filled])) {
            return ledger_fail_damaged(cursor->ledger, doing, "a row of table reading", fault);
        } else {
            filled++;
            scan->filled = filled;
        }
    }
    scan->filled = filled;
    return 0;
}

static int open_scan(struct ledger_cursor *cursor, struct scan *scan, int64_t channel_id, struct fault *fault) {
    static const char sql[] =
        "SELECT t_ms, value, quality FROM reading WHERE channel_id = ? AND t_ms BETWEEN ? AND ?"
        " ORDER BY t_ms";
    static const char sql_of_import[] =
        "SELECT t_ms, value, quality FROM imported_reading WHERE channel_id = ?1 AND t_ms BETWEEN ?2 AND ?3"
        " AND import_id = ?4 ORDER BY t_ms";
    const char *const from = cursor->import_id == 0 ? sql : sql_of_import;

    scan->channel_id = channel_id;
    if (sqlite3_prepare_v2(cursor->ledger->db, from, -1, &scan->statement, NULL) != SQLITE_OK ||
        (cursor->import_id != 0 && sqlite3_bind_int64(scan->statement, 4, cursor->import_id) != SQLITE_OK) ||
        sqlite3_bind_int64(scan->statement, 1, channel_id) != SQLITE_OK ||
        sqlite3_bind_int64(scan->statement, 2, cursor->from_ms) != SQLITE_OK ||
        sqlite3_bind_int64(scan->statement, 3, cursor->to_ms) != SQLITE_OK) {
        return ledger_fail(cursor->ledger, doing, fault);
    }
    return fill(cursor, scan, fault);
}

static int hold_still(struct ledger_cursor *cursor, struct fault *fault) {
    static const char sql[] = "SELECT 1 FROM sqlite_schema";

    if (sqlite3_prepare_v2(cursor->ledger->db, sql, sizeof sql, &cursor->hold, NULL) != SQLITE_OK ||
        sqlite3_step(cursor->hold) != SQLITE_ROW) {
        return ledger_fail(cursor->ledger, doing, fault);
    }
    return 0;
}

static int open_scans(struct ledger_cursor *cursor, const int64_t *channel_ids, struct fault *fault) {
    if (hold_still(cursor, fault) != 0) {
        return -1;
    }
    for (size_t i = 0; i < cursor->count; i++) {
        if (open_scan(cursor, &cursor->scans[i], channel_ids[i], fault) != 0) {
            return -1;
        }
        if (cursor->scans[i].filled > 0) {
            cursor->heap[cursor->left++] = &cursor->scans[i];
        }
    }
    for (size_t place = cursor->left / 2; place-- > 0;) {
        sift_down(cursor, place);
    }
    return 0;
}

struct ledger_cursor *ledger_open_cursor(struct ledger *ledger, const int64_t *channel_ids, size_t count,
                                         int64_t from_ms, int64_t to_ms, struct fault *fault) {
    return ledger_open_import_cursor(ledger, 0, channel_ids, count, from_ms, to_ms, fault);
}

struct ledger_cursor *ledger_open_import_cursor(struct ledger *ledger, int64_t import_id,
                                                const int64_t *channel_ids, size_t count, int64_t from_ms,
                                                int64_t to_ms, struct fault *fault) {
    struct ledger_cursor *const cursor = calloc(1, sizeof *cursor);

    if (cursor != NULL) {
        *cursor = (struct ledger_cursor){
            .ledger = ledger, .import_id = import_id, .from_ms = from_ms, .to_ms = to_ms, .count = count};
        cursor->scans = calloc(count + 1, sizeof *cursor->scans); // one more: none at all is no shortage
        cursor->heap = calloc(count + 1, sizeof(struct scan *));
    }
    if (cursor == NULL || cursor->scans == NULL || cursor->heap == NULL) {
        fault_set(fault, EX_OSERR, "out of memory");
        ledger_close_cursor(cursor);
        return NULL;
    }
    if (open_scans(cursor, channel_ids, fault) != 0) {
        ledger_close_cursor(cursor);
        return NULL;
    }
    return cursor;
}

int ledger_next_reading(struct ledger_cursor *cursor, struct reading *reading, struct fault *fault) {
    struct scan *scan;

    if (cursor->left == 0) {
        return 0;
    }
    scan = cursor->heap[0];
    *reading = scan->block[scan->next++];
    if (scan->next == scan->filled) {
        if (fill(cursor, scan, fault) != 0) {
            cursor->left = 0;
            return -1;
        }
        if (scan->filled == 0) {
            cursor->heap[0] = cursor->heap[--cursor->left];
        }
    }
    if (cursor->left > 1) {
        sift_down(cursor, 0);
    }
    return 1;
}

void ledger_close_cursor(struct ledger_cursor *cursor) {
    if (cursor == NULL) {
        return;
    }
    for (size_t i = 0; cursor->scans != NULL && i < cursor->count; i++) {
        sqlite3_finalize(cursor->scans[i].statement);
    }
    sqlite3_finalize(cursor->hold);
    free(cursor->scans);
    free(cursor->heap);
    free(cursor);
}
