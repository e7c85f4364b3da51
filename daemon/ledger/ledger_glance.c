// SPDX-License-Identifier: MIT
#include "soakledger/glance.h"

#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>

#include "ledger_private.h"

int glance_begin(struct ledger *ledger, struct fault *fault) {
    return sqlite3_exec(ledger->db, "BEGIN; SELECT 1 FROM sqlite_schema", NULL, NULL, NULL) == SQLITE_OK
               ? 0
               : ledger_fail(ledger, "look at it", fault);
}

void glance_end(struct ledger *ledger) {
    if (!sqlite3_get_autocommit(ledger->db)) {
        sqlite3_exec(ledger->db, "COMMIT", NULL, NULL, NULL);
    }
}

struct glance_oven *glance_list_ovens(struct ledger *ledger, size_t *count, struct fault *fault) {
    static const char sql[] =
        "SELECT DISTINCT o.oven_id, o.name FROM session_fitting u JOIN fitting f USING (fitting_id)"
        " JOIN channel c USING (channel_id) JOIN oven o USING (oven_id)"
        " WHERE u.session_id = (SELECT max(session_id) FROM session) ORDER BY o.oven_id";
    struct list list;
    struct query query;

    list_query_sql(&list, &query, sizeof(struct glance_oven), ledger, sql, "list the ovens", fault);
    for (struct glance_oven *oven; (oven = list_step(&list, &query)) != NULL;) {
        oven->oven_id = query_get_int(&query, 0, 1, INT64_MAX);
        query_get_text_into(&query, 1, oven->name, sizeof oven->name);
    }
    return list_close(&list, &query, count);
}

static void get_reading(struct query *query, int64_t channel_id, struct reading *reading) {
    *reading = (struct reading){
        .t_ms = query_get_int(query, 0, INT64_MIN, INT64_MAX),
        .value = query_get_int_or_null(query, 1, INT64_MIN, INT64_MAX),
        .channel_id = channel_id,
        .quality = (enum quality)query_get_int(query, 2, QUALITY_GOOD, QUALITY_COUNT - 1),
    };
}

int glance_read_latest(struct ledger *ledger, int64_t channel_id, struct reading *reading, struct fault *fault) {
    static const char sql[] = "SELECT t_ms, value, quality FROM reading WHERE channel_id = ?"
                              " ORDER BY t_ms DESC LIMIT 1";
    struct query query;
    int got;

    query_open_sql(&query, ledger, sql, "read the latest reading", fault);
    query_put_int(&query, channel_id);
    got = query_step(&query);
    if (got == 1) {
        get_reading(&query, channel_id, reading);
        query_close(&query);
    }
    return query.failed ? -1 : got;
}

int glance_read_last_run(struct ledger *ledger, int64_t oven_id, struct ledger_run *run, struct fault *fault) {
    static const char sql[] =
        "SELECT run_id FROM run WHERE oven_id = ?1 AND ended_ms IS NOT NULL AND end_reason <> ?2"
        " ORDER BY run_id DESC LIMIT 1";
    struct query query;
    int64_t run_id = 0;

    query_open_sql(&query, ledger, sql, "look for the last run", fault);
    query_put_int(&query, oven_id);
    query_put_int(&query, RUN_END_IMPORTED);
    if (query_step(&query) == 1) {
        run_id = query_get_int(&query, 0, 1, INT64_MAX);
        query_close(&query);
    }
    if (query.failed) {
        return -1;
    }
    return run_id == 0 ? 0 : ledger_read_run(ledger, run_id, run, fault);
}

int glance_read_last_event(struct ledger *ledger, struct event *event, struct fault *fault) {
    static const char sql[] = "SELECT t_ms, kind, amount, detail FROM event ORDER BY event_id DESC LIMIT 1";
    struct query query;
    int got;

    query_open_sql(&query, ledger, sql, "read the last event", fault);
    got = query_step(&query);
    if (got == 1) {
        *event = (struct event){
            .t_ms = query_get_int(&query, 0, INT64_MIN, INT64_MAX),
            .kind = (enum event_kind)query_get_int(&query, 1, EVENT_STARTED, EVENT_KIND_COUNT - 1),
            .amount = query_get_int(&query, 2, INT64_MIN, INT64_MAX),
        };
        query_get_text_into(&query, 3, event->detail, sizeof event->detail);
        query_close(&query);
    }
    return query.failed ? -1 : got;
}

/* Lines of /proc/locks (proc(5)): "1: FLOCK  ADVISORY  WRITE 12345 08:01:131074 0 EOF", device in hex. */
enum glance_daemon glance_find_daemon(const struct ledger *ledger) {
    enum { LINE_BYTES = 256 };
    char path[PATH_MAX], line[LINE_BYTES];
    enum glance_daemon found = GLANCE_NOT_RECORDING;
    struct stat status;
    FILE *locks;

    if (snprintf(path, sizeof path, "%s.lock", ledger->path) >= (int)sizeof path || stat(path, &status) != 0) {
        return GLANCE_UNKNOWN; // a copy, or out of sight
    }
    locks = fopen("/proc/locks", "re");
    if (locks == NULL) {
        return GLANCE_UNKNOWN;
    }
    while (found != GLANCE_RECORDING && fgets(line, sizeof line, locks) != NULL) {
        unsigned device_major, device_minor;
        unsigned long long inode;

        // NOLINTNEXTLINE(cert-err34-c): a line that is out of order counts as none
        if (sscanf(line, "%*d: FLOCK %*s WRITE %*d %x:%x:%llu", &device_major, &device_minor, &inode) != 3 ||
            inode != status.st_ino) {
            continue;
        }
        // Some file systems show another device number there: then it could be another file of that number.
        found = makedev(device_major, device_minor) == status.st_dev ? GLANCE_RECORDING : GLANCE_UNKNOWN;
    }
    fclose(locks);
    return found;
}

/* ---- a small drawing ---- */

struct drawing {
    sqlite3_stmt *statement;
    int64_t from_ms, to_ms;
    struct glance_column *columns;
    size_t count;
};

static void widen(const struct drawing *drawing, int64_t t_ms, int64_t value, bool good) {
    const int64_t width_ms = drawing->to_ms - drawing->from_ms;
    size_t at = (size_t)((double)(t_ms - drawing->from_ms) / (double)width_ms * (double)drawing->count);
    struct glance_column *column;

    at = at >= drawing->count ? drawing->count - 1 : at;
    column = &drawing->columns[at];
    column->any = true;
    if (!good) {
        return;
    }
    column->low = !column->known || value < column->low ? value : column->low;
    column->high = !column->known || value > column->high ? value : column->high;
    column->known = true;
}

/* Up to `most` rows from `from_ms` on, before `until_ms`. SQLite's code. */
static int draw_some(const struct drawing *drawing, int64_t from_ms, int64_t until_ms, size_t most) {
    int code;

    sqlite3_reset(drawing->statement);
    sqlite3_bind_int64(drawing->statement, 2, from_ms);
    while ((code = sqlite3_step(drawing->statement)) == SQLITE_ROW && most-- > 0) {
        const int64_t t_ms = sqlite3_column_int64(drawing->statement, 0);

        if (t_ms >= until_ms) {
            return SQLITE_DONE;
        }
        widen(drawing, t_ms, sqlite3_column_int64(drawing->statement, 1),
              sqlite3_column_int(drawing->statement, 2) == QUALITY_GOOD);
    }
    return code == SQLITE_ROW ? SQLITE_DONE : code;
}

int glance_draw(struct ledger *ledger, int64_t channel_id, int64_t interval_ms, int64_t from_ms, int64_t to_ms,
                struct glance_column *columns, size_t count, size_t most, struct fault *fault) {
    static const char sql[] = "SELECT t_ms, value, quality FROM reading WHERE channel_id = ?1 AND t_ms >= ?2"
                              " ORDER BY t_ms";
    struct drawing drawing = {.from_ms = from_ms, .to_ms = to_ms, .columns = columns, .count = count};
    const int64_t expected = interval_ms > 0 ? (to_ms - from_ms) / interval_ms : INT64_MAX;
    enum { LOOK_COSTS_ROWS = 64, LOOKS_LEAST = 32 }; // a look by key against one row further, as measured
    size_t looks;
    int code = SQLITE_DONE;

    if (to_ms <= from_ms || count == 0) {
        return 0;
    }
    if (sqlite3_prepare_v2(ledger->db, sql, -1, &drawing.statement, NULL) != SQLITE_OK ||
        sqlite3_bind_int64(drawing.statement, 1, channel_id) != SQLITE_OK) {
        return ledger_fail(ledger, "draw a curve", fault);
    }
    if (expected <= (int64_t)most) {
        code = draw_some(&drawing, from_ms, to_ms + 1, SIZE_MAX);
    } else {
        looks = most / LOOK_COSTS_ROWS > LOOKS_LEAST ? most / LOOK_COSTS_ROWS : LOOKS_LEAST;
        for (size_t i = 0; code == SQLITE_DONE && i < looks; i++) {
            const double step = (double)(to_ms - from_ms) / (double)looks;

            code = draw_some(&drawing, from_ms + (int64_t)((double)i * step),
                             from_ms + (int64_t)((double)(i + 1) * step), 1);
        }
        if (code == SQLITE_DONE) // the last moment is not left to chance
            code = draw_some(&drawing, to_ms - JUDGE_GAP_INTERVALS * interval_ms, to_ms + 1, SIZE_MAX);
    }
    sqlite3_finalize(drawing.statement);
    return code == SQLITE_DONE ? 0 : ledger_fail(ledger, "draw a curve", fault);
}
