// SPDX-License-Identifier: MIT
/* The facts of runs, as rows. */
#include <stdlib.h>

#include "ledger_private.h"
#include "soakledger/health.h"

static const char keeping[] = "keep a run's facts";
static const char reading_them[] = "read a run's facts";

/* ---- in ---- */

static int keep_sensors(struct ledger *ledger, int64_t run_id, int64_t place, const struct steady_stretch *stretch,
                        struct fault *fault) {
    struct query query;

    for (size_t i = 0; i < stretch->sensor_count; i++) {
        query_open_sql(&query, ledger, "INSERT INTO steady_mean VALUES (?, ?, ?, ?)", keeping, fault);
        query_put_int(&query, run_id);
        query_put_int(&query, place);
        query_put_int(&query, stretch->means[i].channel_id);
        query_put_int(&query, stretch->means[i].mean_mc);
        if (query_run(&query) != 0)
            return -1;
    }
    for (size_t i = 0; i < stretch->pair_count; i++) {
        query_open_sql(&query, ledger, "INSERT INTO steady_pair VALUES (?, ?, ?, ?, ?, ?)", keeping, fault);
        query_put_int(&query, run_id);
        query_put_int(&query, place);
        query_put_int(&query, stretch->pairs[i].one_id);
        query_put_int(&query, stretch->pairs[i].other_id);
        query_put_int(&query, stretch->pairs[i].difference_mc);
        if (stretch->pairs[i].error_mc < 0)
            query_put_null(&query);
        else
            query_put_int(&query, stretch->pairs[i].error_mc);
        if (query_run(&query) != 0)
            return -1;
    }
    return 0;
}

static void put_if(struct query *query, bool known, int64_t value) {
    if (known)
        query_put_int(query, value);
    else
        query_put_null(query);
}

static int keep_stretch(struct ledger *ledger, int64_t run_id, int64_t place, const struct steady_stretch *stretch,
                        struct fault *fault) {
    const bool heat = stretch->heat_ms > 0;
    struct query query;

    query_open_sql(&query, ledger, "INSERT INTO steady_stretch VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                   keeping, fault);
    query_put_int(&query, run_id);
    query_put_int(&query, place);
    query_put_int(&query, stretch->from_ms);
    query_put_int(&query, stretch->to_ms);
    query_put_int(&query, stretch->reference_id);
    query_put_int(&query, stretch->level_mc);
    put_if(&query, stretch->has_setpoint, stretch->setpoint_mc);
    put_if(&query, stretch->has_output, stretch->output);
    put_if(&query, heat, stretch->heat_from_mc);
    put_if(&query, heat, stretch->heat_to_mc);
    put_if(&query, heat, stretch->heat_ms);
    put_if(&query, heat && stretch->heat_has_output, stretch->heat_output);
    if (query_run(&query) != 0)
        return -1;
    return keep_sensors(ledger, run_id, place, stretch, fault);
}

/* 1 with how many stretches were kept; 0 if the run has no facts yet; -1. */
static int count_kept(struct ledger *ledger, int64_t run_id, size_t *count, struct fault *fault) {
    struct query query;
    int got;

    query_open_sql(&query, ledger, "SELECT stretches FROM steady_run WHERE run_id = ?", reading_them, fault);
    query_put_int(&query, run_id);
    got = query_step(&query);
    if (got == 1) {
        *count = (size_t)query_get_int(&query, 0, 0, HEALTH_MOST_STRETCHES);
        query_close(&query);
    }
    return query.failed ? -1 : got;
}

static int keep_all(struct ledger *ledger, const struct health_facts *facts, struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger, "INSERT INTO steady_run VALUES (?, ?)", keeping, fault);
    query_put_int(&query, facts->run_id);
    query_put_int(&query, (int64_t)facts->stretch_count);
    if (query_run(&query) != 0)
        return -1;
    for (size_t i = 0; i < facts->stretch_count; i++) {
        if (keep_stretch(ledger, facts->run_id, (int64_t)i, &facts->stretches[i], fault) != 0)
            return -1;
    }
    return 0;
}

int health_keep_facts(struct ledger *ledger, const struct health_facts *facts, struct fault *fault) {
    size_t count;
    bool own;
    const int kept = count_kept(ledger, facts->run_id, &count, fault);

    if (kept != 0)
        return kept < 0 ? -1 : 0;
    if (ledger_enter(ledger, &own, fault) != 0)
        return -1;
    return ledger_leave(ledger, own, keep_all(ledger, facts, fault), fault);
}

/* ---- out ---- */

static bool get_if(struct query *query, int column, int64_t *value) {
    if (query_is_null(query, column))
        return false;
    *value = query_get_int(query, column, INT64_MIN, INT64_MAX);
    return true;
}

static int read_stretches(struct ledger *ledger, struct health_facts *facts, struct fault *fault) {
    static const char sql[] = "SELECT place, from_ms, to_ms, reference_channel_id, level_mc, setpoint_mc, output, "
                              "heat_from_mc, heat_to_mc,"
                              " heat_ms, heat_output FROM steady_stretch WHERE run_id = ? ORDER BY place";
    enum { SETPOINT = 5, OUTPUT, HEAT_FROM, HEAT_TO, HEAT_MS, HEAT_OUTPUT };
    struct query query;
    size_t count = 0;

    query_open_sql(&query, ledger, sql, reading_them, fault);
    query_put_int(&query, facts->run_id);
    while (count < facts->stretch_count && query_step(&query) == 1) {
        struct steady_stretch *stretch = &facts->stretches[count];

        query_get_int(&query, 0, (int64_t)count, (int64_t)count); // in order, none missing
        stretch->from_ms = query_get_int(&query, 1, INT64_MIN, INT64_MAX);
        stretch->to_ms = query_get_int(&query, 2, INT64_MIN, INT64_MAX);
        stretch->reference_id = query_get_int(&query, 3, 1, INT64_MAX);
        stretch->level_mc = query_get_int(&query, 4, INT64_MIN, INT64_MAX);
        stretch->has_setpoint = get_if(&query, SETPOINT, &stretch->setpoint_mc);
        stretch->has_output = get_if(&query, OUTPUT, &stretch->output);
        get_if(&query, HEAT_FROM, &stretch->heat_from_mc);
        get_if(&query, HEAT_TO, &stretch->heat_to_mc);
        get_if(&query, HEAT_MS, &stretch->heat_ms);
        stretch->heat_has_output = get_if(&query, HEAT_OUTPUT, &stretch->heat_output);
        count++;
    }
    query_close(&query);
    if (!query.failed && count < facts->stretch_count)
        return ledger_fail_damaged(ledger, reading_them, "steady_run.stretches", fault);
    return query.failed ? -1 : 0;
}

/* The stretch that a row of a table of run and place belongs to. */
static struct steady_stretch *stretch_of(struct query *query, const struct health_facts *facts) {
    if (facts->stretch_count == 0)
        return NULL;
    return &facts->stretches[query_get_int(query, 0, 0, (int64_t)facts->stretch_count - 1)];
}

static int read_means(struct ledger *ledger, struct health_facts *facts, struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger,
                   "SELECT place, channel_id, mean_mc FROM steady_mean WHERE run_id = ? ORDER BY place, channel_id",
                   reading_them, fault);
    query_put_int(&query, facts->run_id);
    while (query_step(&query) == 1) {
        struct steady_stretch *stretch = stretch_of(&query, facts);

        if (stretch == NULL || query.failed || stretch->sensor_count == STEADY_MOST_SENSORS)
            continue;
        stretch->means[stretch->sensor_count++] = (struct steady_mean){
            query_get_int(&query, 1, 1, INT64_MAX), query_get_int(&query, 2, INT64_MIN, INT64_MAX)};
    }
    return query.failed ? -1 : 0;
}

static int read_pairs(struct ledger *ledger, struct health_facts *facts, struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger,
                   "SELECT place, channel_id, other_channel_id, difference_mc, error_mc FROM steady_pair"
                   " WHERE run_id = ? ORDER BY place, channel_id, other_channel_id",
                   reading_them, fault);
    query_put_int(&query, facts->run_id);
    while (query_step(&query) == 1) {
        struct steady_stretch *stretch = stretch_of(&query, facts);
        struct steady_pair pair = {.error_mc = -1};

        if (stretch == NULL || query.failed || stretch->pair_count == STEADY_MOST_PAIRS)
            continue;
        pair.one_id = query_get_int(&query, 1, 1, INT64_MAX);
        pair.other_id = query_get_int(&query, 2, 1, INT64_MAX);
        pair.difference_mc = query_get_int(&query, 3, INT64_MIN, INT64_MAX);
        get_if(&query, 4, &pair.error_mc);
        stretch->pairs[stretch->pair_count++] = pair;
    }
    return query.failed ? -1 : 0;
}

int health_read_facts(struct ledger *ledger, int64_t run_id, struct health_facts *facts, struct fault *fault) {
    int kept;

    *facts = (struct health_facts){.run_id = run_id};
    kept = count_kept(ledger, run_id, &facts->stretch_count, fault);
    if (kept <= 0)
        return kept;
    facts->stretches = calloc(facts->stretch_count + 1, sizeof *facts->stretches);
    if (facts->stretches == NULL)
        return fault_set(fault, EX_OSERR, "no memory for %zu stretches", facts->stretch_count);
    if (read_stretches(ledger, facts, fault) == 0 && read_means(ledger, facts, fault) == 0 &&
        read_pairs(ledger, facts, fault) == 0)
        return 1;
    health_free_facts(facts);
    return -1;
}

void health_free_facts(struct health_facts *facts) {
    free(facts->stretches);
    facts->stretches = NULL;
    facts->stretch_count = 0;
}

/* ---- what is allowed ---- */

int64_t health_read_allowed(struct ledger *ledger, int64_t channel_id, int64_t t_ms, struct fault *fault) {
    struct query query;
    int64_t allowed_mc = 0;

    query_open_sql(&query, ledger,
                   "SELECT allowed_mc FROM sensor_allowed WHERE channel_id = ? AND since_ms <= ?"
                   " ORDER BY sensor_allowed_id DESC LIMIT 1",
                   "read what a sensor is allowed", fault);
    query_put_int(&query, channel_id);
    query_put_int(&query, t_ms);
    if (query_step(&query) == 1) {
        allowed_mc = query_get_int_or_null(&query, 0, 1, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : allowed_mc;
}

int health_keep_allowed(struct ledger *ledger, const struct config *config, const int64_t *channel_ids,
                        int64_t t_ms, struct fault *fault) {
    for (size_t i = 0; i < config->channel_count; i++) {
        const size_t sensor = config->channels[i].sensor;
        const int64_t said_mc = sensor == CONFIG_NO_SENSOR ? 0 : config->sensors[sensor].allowed_error_mc;
        const int64_t held_mc = health_read_allowed(ledger, channel_ids[i], INT64_MAX, fault);
        struct query query;

        if (held_mc < 0)
            return -1;
        if (held_mc == said_mc)
            continue;
        query_open_sql(&query, ledger,
                       "INSERT INTO sensor_allowed (channel_id, since_ms, allowed_mc) VALUES (?, ?, ?)",
                       "keep what a sensor is allowed", fault);
        query_put_int(&query, channel_ids[i]);
        query_put_int(&query, t_ms);
        query_put_int_or_null(&query, said_mc);
        if (query_run(&query) != 0)
            return -1;
    }
    return 0;
}

/* ---- what was told ---- */

int health_was_told(struct ledger *ledger, const struct health_told *told, int64_t since_ms, struct fault *fault) {
    static const char sql[] =
        "SELECT 1 FROM drift_told t JOIN run r USING (run_id) WHERE r.oven_id = ? AND"
        " t.t_ms >= ? AND t.cause = ? AND t.channel_id IS ? AND t.other_channel_id IS ? LIMIT 1";
    struct query query;
    int got;

    query_open_sql(&query, ledger, sql, "look for what was told of a drift", fault);
    query_put_int(&query, told->oven_id);
    query_put_int(&query, since_ms);
    query_put_int(&query, told->cause);
    query_put_int_or_null(&query, told->channel_id);
    query_put_int_or_null(&query, told->other_id);
    got = query_step(&query);
    query_close(&query);
    return query.failed ? -1 : got;
}

int health_keep_told(struct ledger *ledger, const struct health_told *told, struct fault *fault) {
    enum { PER_UNIT = 1000000 };
    struct query query;

    query_open_sql(
        &query, ledger,
        "INSERT INTO drift_told (run_id, t_ms, level_mc, cause, channel_id, other_channel_id, sure, words)"
        " VALUES (?, ?, ?, ?, ?, ?, ? / 1e6, ?)",
        "keep what was told of a drift", fault);
    query_put_int(&query, told->run_id);
    query_put_int(&query, told->t_ms);
    query_put_int(&query, told->level_mc);
    query_put_int(&query, told->cause);
    query_put_int_or_null(&query, told->channel_id);
    query_put_int_or_null(&query, told->other_id);
    query_put_int(&query, (int64_t)(told->sure * PER_UNIT));
    query_put_text(&query, told->words);
    return query_run(&query);
}
