// SPDX-License-Identifier: MIT
/* Sensors and what happened to them. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ledger_private.h"
#include "soakledger/sensors.h"

static const char doing[] = "keep the sensors";

int64_t sensors_find(struct ledger *ledger, const char *identity, struct fault *fault) {
    struct query query;
    int64_t sensor_id = 0;

    query_open_sql(&query, ledger, "SELECT sensor_id FROM sensor WHERE identity = ?", "look for a sensor", fault);
    query_put_text(&query, identity);
    if (query_step(&query) == 1) {
        sensor_id = query_get_int(&query, 0, 1, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : sensor_id;
}

int sensors_add_event(struct ledger *ledger, int64_t sensor_id, const struct sensor_event *event,
                      struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger,
                   "INSERT INTO sensor_event (sensor_id, t_ms, kind, channel_id, stated_ms, said_by, words)"
                   " VALUES (?, ?, ?, ?, ?, ?, ?)",
                   "add an event of a sensor", fault);
    query_put_int(&query, sensor_id);
    query_put_int(&query, event->t_ms);
    query_put_int(&query, event->kind);
    query_put_int_or_null(&query, event->channel_id);
    query_put_int_or_null(&query, event->stated_ms);
    query_put_text(&query, event->said_by);
    query_put_text(&query, event->words);
    return query_run(&query);
}

struct sensor_event *sensors_list_events(struct ledger *ledger, int64_t sensor_id, size_t *count,
                                         struct fault *fault) {
    struct list list;
    struct query query;

    list_query_sql(&list, &query, sizeof(struct sensor_event), ledger,
                   "SELECT e.t_ms, e.kind, e.channel_id, e.stated_ms, e.said_by, e.words,"
                   " coalesce(o.name || '.' || c.name, '') AS place FROM sensor_event e LEFT JOIN channel c"
                   " USING (channel_id) LEFT JOIN oven o USING (oven_id) WHERE e.sensor_id = ?"
                   " ORDER BY e.sensor_event_id",
                   "list what happened to a sensor", fault);
    query_put_int(&query, sensor_id);
    for (struct sensor_event *event; (event = list_step(&list, &query)) != NULL;) {
        event->t_ms = query_get_int(&query, 0, INT64_MIN, INT64_MAX);
        event->kind = (enum sensor_event_kind)query_get_int(&query, 1, SENSOR_FITTED, SENSOR_EVENT_KIND_COUNT - 1);
        event->channel_id = query_get_int_or_null(&query, 2, 1, INT64_MAX);
        event->stated_ms = query_get_int_or_null(&query, 3, INT64_MIN, INT64_MAX);
        event->said_by = query_get_text(&query, 4);
        event->words = query_get_text(&query, 5);
        event->place = query_get_text(&query, 6);
    }
    if (query.failed) {
        sensors_free_events(list.items, list.count);
        list.items = NULL;
    }
    return list_close(&list, &query, count);
}

void sensors_free_events(struct sensor_event *events, size_t count) {
    for (size_t i = 0; events != NULL && i < count; i++) {
        free(events[i].said_by);
        free(events[i].words);
        free(events[i].place);
    }
    free(events);
}

/* ---- what the configuration says against what is known ---- */

/* The channel that a sensor was fitted or moved to last; 0 if it was removed since, or never fitted. */
static int64_t find_place(struct ledger *ledger, int64_t sensor_id, bool *ever, struct fault *fault) {
    struct query query;
    int64_t channel_id = 0;

    *ever = false;
    query_open_sql(&query, ledger,
                   "SELECT kind, channel_id FROM sensor_event WHERE sensor_id = ? AND kind IN (1, 2, 3)"
                   " ORDER BY sensor_event_id DESC LIMIT 1",
                   doing, fault);
    query_put_int(&query, sensor_id);
    if (query_step(&query) == 1) {
        *ever = true;
        if (query_get_int(&query, 0, SENSOR_FITTED, SENSOR_REMOVED) != SENSOR_REMOVED) {
            channel_id = query_get_int(&query, 1, 1, INT64_MAX);
        }
        query_close(&query);
    }
    return query.failed ? -1 : channel_id;
}

static int64_t keep_sensor(struct ledger *ledger, const char *identity, struct fault *fault) {
    const int64_t sensor_id = sensors_find(ledger, identity, fault);
    struct query query;

    if (sensor_id != 0) {
        return sensor_id;
    }
    query_open_sql(&query, ledger, "INSERT INTO sensor (identity) VALUES (?)", doing, fault);
    query_put_text(&query, identity);
    return query_add(&query);
}

static int note_fitting(struct ledger *ledger, int64_t t_ms, const struct config_sensor *sensor, int64_t channel_id,
                        struct fault *fault) {
    const int64_t sensor_id = keep_sensor(ledger, sensor->identity, fault);
    struct sensor_event event = {.t_ms = t_ms,
                                 .kind = SENSOR_FITTED,
                                 .channel_id = channel_id,
                                 .stated_ms = sensor->fitted_ms,
                                 .said_by = (char[]){"daemon"},
                                 .words = (char[]){""}};
    bool ever;
    int64_t place;

    if (sensor_id < 0) {
        return -1;
    }
    place = find_place(ledger, sensor_id, &ever, fault);
    if (place < 0 || place == channel_id) {
        return place < 0 ? -1 : 0;
    }
    if (place != 0) {
        event.kind = SENSOR_MOVED;
    }
    return sensors_add_event(ledger, sensor_id, &event, fault);
}

static bool is_configured(const struct config *config, const char *identity) {
    for (size_t i = 0; i < config->channel_count; i++) {
        if (config->channels[i].sensor != CONFIG_NO_SENSOR &&
            strcmp(config->sensors[config->channels[i].sensor].identity, identity) == 0) {
            return true;
        }
    }
    return false;
}

static int note_removals(struct ledger *ledger, int64_t t_ms, const struct config *config, struct fault *fault) {
    size_t count;
    struct sensor_record *const records = sensors_list(ledger, &count, fault);
    int result = records == NULL ? -1 : 0;

    for (size_t i = 0; result == 0 && i < count; i++) {
        const struct sensor_event event = {.t_ms = t_ms,
                                           .kind = SENSOR_REMOVED,
                                           .channel_id = records[i].channel_id,
                                           .said_by = (char[]){"daemon"},
                                           .words = (char[]){""}};

        if (records[i].channel_id != 0 && !is_configured(config, records[i].identity)) {
            result = sensors_add_event(ledger, records[i].sensor_id, &event, fault);
        }
    }
    sensors_free(records, count);
    return result;
}

/* Removals first: a new sensor in an old one's place reads better after it. */
int sensors_note_session(struct ledger *ledger, int64_t started_ms, const struct config *config,
                         const int64_t *channel_ids, struct fault *fault) {
    if (note_removals(ledger, started_ms, config, fault) != 0) {
        return -1;
    }
    for (size_t i = 0; i < config->channel_count; i++) {
        const size_t sensor = config->channels[i].sensor;

        if (sensor != CONFIG_NO_SENSOR &&
            note_fitting(ledger, started_ms, &config->sensors[sensor], channel_ids[i], fault) != 0) {
            return -1;
        }
    }
    return 0;
}

/* ---- the list ---- */

static int add_uses(struct ledger *ledger, struct sensor_record *records, size_t count, struct fault *fault) {
    for (size_t i = 0; i < count; i++) {
        if (sensors_read_use(ledger, records[i].sensor_id, INT64_MIN, INT64_MAX, &records[i].use, fault) != 0) {
            return -1;
        }
    }
    return 0;
}

struct sensor_record *sensors_list(struct ledger *ledger, size_t *count, struct fault *fault) {
    static const char sql[] =
        "SELECT s.sensor_id, s.identity, iif(p.kind = 3, NULL, p.channel_id),"
        " coalesce(iif(p.kind = 3, NULL, o.name || '.' || c.name), ''), iif(p.kind = 3, NULL, coalesce(p.stated_ms,"
        " p.t_ms)), (SELECT max(t_ms) FROM sensor_event e WHERE e.sensor_id = s.sensor_id AND e.kind = 4),"
        " (SELECT max(t_ms) FROM sensor_event e WHERE e.sensor_id = s.sensor_id AND e.kind = 5)"
        " FROM sensor s LEFT JOIN sensor_event p ON p.sensor_event_id = (SELECT max(sensor_event_id) FROM "
        "sensor_event"
        " e WHERE e.sensor_id = s.sensor_id AND e.kind IN (1, 2, 3)) LEFT JOIN channel c ON c.channel_id = "
        "p.channel_id"
        " LEFT JOIN oven o USING (oven_id) ORDER BY s.identity";
    struct list list;
    struct query query;

    list_query_sql(&list, &query, sizeof(struct sensor_record), ledger, sql, "list the sensors", fault);
    for (struct sensor_record *record; (record = list_step(&list, &query)) != NULL;) {
        record->sensor_id = query_get_int(&query, 0, 1, INT64_MAX);
        record->identity = query_get_text(&query, 1);
        record->channel_id = query_get_int_or_null(&query, 2, 1, INT64_MAX);
        record->place = query_get_text(&query, 3);
        record->fitted_ms = query_get_int_or_null(&query, 4, INT64_MIN, INT64_MAX);
        record->checked_ms = query_get_int_or_null(&query, 5, INT64_MIN, INT64_MAX);
        record->retired_ms = query_get_int_or_null(&query, 6, INT64_MIN, INT64_MAX);
    }
    if (query.failed || add_uses(ledger, list.items, list.count, fault) != 0) {
        sensors_free(list.items, list.count);
        list.items = NULL;
        query.failed = true;
    }
    return list_close(&list, &query, count);
}

void sensors_free(struct sensor_record *records, size_t count) {
    for (size_t i = 0; records != NULL && i < count; i++) {
        free(records[i].identity);
        free(records[i].place);
    }
    free(records);
}

int64_t sensors_known_since(struct ledger *ledger, int64_t sensor_id, int64_t channel_id, struct fault *fault) {
    struct query query;
    int64_t since_ms = 0;

    query_open_sql(&query, ledger,
                   "SELECT max(t_ms) FROM sensor_event WHERE sensor_id = ? AND (kind = 4 OR (kind IN (1, 2)"
                   " AND channel_id = ?))",
                   "find since when a sensor is in its place", fault);
    query_put_int(&query, sensor_id);
    query_put_int(&query, channel_id);
    if (query_step(&query) == 1) {
        since_ms = query_get_int_or_null(&query, 0, INT64_MIN, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : since_ms;
}
