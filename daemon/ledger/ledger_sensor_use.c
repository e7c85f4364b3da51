// SPDX-License-Identifier: MIT
/* The use of sensors: counted from the readings of a run, stored, and summed up. */
#include <stdlib.h>

#include "ledger_private.h"
#include "soakledger/sensors.h"

enum { LEVEL_C = SENSORS_LEVEL_MC / 1000 };

/* ---- counting one run ---- */

struct counted {
    int64_t sensor_id, channel_id;
    struct sensors_count count;
};

static int count_readings(struct ledger *ledger, const struct ledger_run *run, struct counted *counted,
                          size_t count, struct fault *fault) {
    for (size_t i = 0; i < count; i++) {
        struct ledger_cursor *const cursor =
            ledger_open_cursor(ledger, &counted[i].channel_id, 1, run->begun_ms, run->ended_ms, fault);
        struct reading reading;
        int more;

        if (cursor == NULL) {
            return -1;
        }
        while ((more = ledger_next_reading(cursor, &reading, fault)) == 1) {
            sensors_take_reading(&counted[i].count, &reading);
        }
        ledger_close_cursor(cursor);
        sensors_end_count(&counted[i].count);
        if (more < 0) {
            return -1;
        }
    }
    return 0;
}

/* The channels of a run that had a sensor of known identity when it began, each counted from its readings. `only`
 * is a sensor, or 0 for all. NULL only on a fault. */
static struct counted *count_run(struct ledger *ledger, const struct ledger_run *run, int64_t only, size_t *count,
                                 struct fault *fault) {
    size_t channel_count;
    struct ledger_channel *const channels =
        ledger_list_channels(ledger, run->oven_id, run->begun_ms, &channel_count, fault);
    struct counted *counted = channels == NULL ? NULL : calloc(channel_count + 1, sizeof *counted);
    bool failed = counted == NULL;

    *count = 0;
    if (channels != NULL && counted == NULL) {
        fault_set(fault, EX_OSERR, "out of memory");
    }
    for (size_t i = 0; !failed && i < channel_count; i++) {
        const int64_t sensor_id =
            channels[i].sensor_identity[0] == '\0' ? 0 : sensors_find(ledger, channels[i].sensor_identity, fault);

        failed = sensor_id < 0;
        if (sensor_id <= 0 || (only != 0 && sensor_id != only) || run->end == RUN_END_IMPORTED) {
            continue;
        }
        counted[*count].sensor_id = sensor_id;
        counted[*count].channel_id = channels[i].channel_id;
        sensors_begin_count(&counted[(*count)++].count, channels[i].interval_ms);
    }
    ledger_free_channels(channels, channel_count);
    if (!failed && count_readings(ledger, run, counted, *count, fault) != 0) {
        failed = true;
    }
    if (failed) {
        free(counted);
        return NULL;
    }
    return counted;
}

/* ---- storing ---- */

static int store_use(struct ledger *ledger, int64_t run_id, const struct counted *counted, struct fault *fault) {
    const struct sensor_use *const use = &counted->count.use;
    struct query query;

    query_open_sql(&query, ledger,
                   "INSERT INTO sensor_use (sensor_id, run_id, channel_id, unknown_ms, cycles, peak_mc, peak_t_ms)"
                   " VALUES (?, ?, ?, ?, ?, ?, ?)",
                   "count the use of a sensor", fault);
    query_put_int(&query, counted->sensor_id);
    query_put_int(&query, run_id);
    query_put_int(&query, counted->channel_id);
    query_put_int(&query, use->unknown_ms);
    query_put_int(&query, use->cycles);
    if (use->any) {
        query_put_int(&query, use->peak_mc);
        query_put_int(&query, use->peak_t_ms);
    } else {
        query_put_null(&query);
        query_put_null(&query);
    }
    if (query_run(&query) != 0) {
        return -1;
    }
    for (int i = 0; i < SENSORS_LEVELS; i++) {
        if (use->above_ms[i] == 0) {
            continue;
        }
        query_open_sql(&query, ledger,
                       "INSERT INTO sensor_dwell (sensor_id, run_id, channel_id, level_c, above_ms)"
                       " VALUES (?, ?, ?, ?, ?)",
                       "count the use of a sensor", fault);
        query_put_int(&query, counted->sensor_id);
        query_put_int(&query, run_id);
        query_put_int(&query, counted->channel_id);
        query_put_int(&query, (int64_t)(i + 1) * LEVEL_C);
        query_put_int(&query, use->above_ms[i]);
        if (query_run(&query) != 0) {
            return -1;
        }
    }
    return 0;
}

/* 1 if it is marked already. */
static int is_counted(struct ledger *ledger, int64_t run_id, struct fault *fault) {
    struct query query;
    int got;

    query_open_sql(&query, ledger, "SELECT 1 FROM sensor_counted WHERE run_id = ?", "look up a count", fault);
    query_put_int(&query, run_id);
    got = query_step(&query);
    query_close(&query);
    return got;
}

static int count_and_store(struct ledger *ledger, const struct ledger_run *run, struct fault *fault) {
    size_t count;
    struct counted *const counted = count_run(ledger, run, 0, &count, fault);
    struct query query;
    int result = counted == NULL ? -1 : 0;

    for (size_t i = 0; result == 0 && i < count; i++) {
        result = store_use(ledger, run->run_id, &counted[i], fault);
    }
    free(counted);
    if (result != 0) {
        return -1;
    }
    query_open_sql(&query, ledger, "INSERT INTO sensor_counted (run_id) VALUES (?)", "count the use of a sensor",
                   fault);
    query_put_int(&query, run->run_id);
    return query_run(&query);
}

int sensors_count_run(struct ledger *ledger, int64_t run_id, struct fault *fault) {
    struct ledger_run run;
    const int got = ledger_read_run(ledger, run_id, &run, fault);
    const int counted = got == 1 && run.ended_ms != 0 ? is_counted(ledger, run_id, fault) : 0;
    bool own;

    if (got < 0 || counted < 0) {
        return -1;
    }
    if (got == 0 || run.ended_ms == 0 || counted == 1) {
        return 0;
    }
    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    return ledger_leave(ledger, own, count_and_store(ledger, &run, fault), fault) == 0 ? 1 : -1;
}

int64_t sensors_find_uncounted(struct ledger *ledger, struct fault *fault) {
    struct query query;
    int64_t run_id = 0;

    query_open_sql(&query, ledger,
                   "SELECT run_id FROM run WHERE ended_ms IS NOT NULL AND run_id NOT IN (SELECT run_id FROM"
                   " sensor_counted) ORDER BY run_id LIMIT 1",
                   "look for runs that are not counted", fault);
    if (query_step(&query) == 1) {
        run_id = query_get_int(&query, 0, 1, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : run_id;
}

/* ---- adding up ---- */

static void add_use(struct sensor_use *sum, const struct sensor_use *use) {
    sum->run_count += use->run_count;
    sum->unknown_ms += use->unknown_ms;
    sum->cycles += use->cycles;
    for (int i = 0; i < SENSORS_LEVELS; i++) {
        sum->above_ms[i] += use->above_ms[i];
    }
    if (use->any && (!sum->any || use->peak_mc > sum->peak_mc)) {
        sum->any = true;
        sum->peak_mc = use->peak_mc;
        sum->peak_t_ms = use->peak_t_ms;
    }
}

static int read_dwells(struct ledger *ledger, int64_t sensor_id, int64_t from_ms, int64_t to_ms,
                       struct sensor_use *use, struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger,
                   "SELECT d.level_c, sum(d.above_ms) FROM sensor_dwell d JOIN run r USING (run_id)"
                   " WHERE d.sensor_id = ? AND r.begun_ms BETWEEN ? AND ? GROUP BY d.level_c",
                   "read the use of a sensor", fault);
    query_put_int(&query, sensor_id);
    query_put_int(&query, from_ms);
    query_put_int(&query, to_ms);
    while (query_step(&query) == 1) {
        const int64_t level = query_get_int(&query, 0, LEVEL_C, (int64_t)LEVEL_C * SENSORS_LEVELS) / LEVEL_C;

        use->above_ms[level - 1] = query_get_int(&query, 1, 0, INT64_MAX);
    }
    return query.failed ? -1 : 0;
}

int sensors_read_use(struct ledger *ledger, int64_t sensor_id, int64_t from_ms, int64_t to_ms,
                     struct sensor_use *use, struct fault *fault) {
    struct query query;

    *use = (struct sensor_use){.run_count = 0};
    query_open_sql(
        &query, ledger,
        "SELECT u.unknown_ms, u.cycles, u.peak_mc, u.peak_t_ms FROM sensor_use u JOIN run r USING (run_id)"
        " WHERE u.sensor_id = ? AND r.begun_ms BETWEEN ? AND ? ORDER BY u.run_id, u.channel_id",
        "read the use of a sensor", fault);
    query_put_int(&query, sensor_id);
    query_put_int(&query, from_ms);
    query_put_int(&query, to_ms);
    while (query_step(&query) == 1) {
        struct sensor_use one = {.run_count = 1};

        one.unknown_ms = query_get_int(&query, 0, 0, INT64_MAX);
        one.cycles = query_get_int(&query, 1, 0, INT64_MAX);
        one.any = !query_is_null(&query, 2);
        one.peak_mc = query_get_int_or_null(&query, 2, INT64_MIN, INT64_MAX);
        one.peak_t_ms = query_get_int_or_null(&query, 3, INT64_MIN, INT64_MAX);
        add_use(use, &one);
    }
    return query.failed ? -1 : read_dwells(ledger, sensor_id, from_ms, to_ms, use, fault);
}

int sensors_recount(struct ledger *ledger, int64_t sensor_id, struct sensor_use *use, struct fault *fault) {
    size_t run_count, count;
    struct ledger_run *const runs = ledger_list_runs(ledger, INT64_MIN, INT64_MAX, &run_count, fault);
    int result = runs == NULL ? -1 : 0;

    *use = (struct sensor_use){.run_count = 0};
    for (size_t i = 0; result == 0 && i < run_count; i++) {
        struct counted *counted;

        if (runs[i].ended_ms == 0) {
            continue;
        }
        counted = count_run(ledger, &runs[i], sensor_id, &count, fault);
        for (size_t k = 0; counted != NULL && k < count; k++) {
            add_use(use, &counted[k].count.use);
        }
        result = counted == NULL ? -1 : 0;
        free(counted);
    }
    free(runs);
    return result;
}
