// SPDX-License-Identifier: MIT
/* Readings and events going in, and events coming out. */
#include <string.h>

#include "ledger_private.h"

int ledger_add_reading(struct ledger *ledger, const struct reading *reading, struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_ADD_READING, "store a reading", fault);
    query_put_int(&query, reading->channel_id);
    query_put_int(&query, reading->t_ms);
    if (reading->quality == QUALITY_GOOD) {
        query_put_int(&query, reading->value);
    } else {
        query_put_null(&query);
    }
    query_put_int(&query, reading->quality);
    return query_run(&query);
}

int ledger_add_voltage(struct ledger *ledger, const struct reading *reading, const struct voltage *voltage,
                       struct fault *fault) {
    struct query query;

    if (voltage->state == VOLTAGE_NONE) {
        return 0;
    }
    query_open(&query, ledger, STATEMENT_ADD_VOLTAGE, "store a voltage", fault);
    query_put_int(&query, reading->channel_id);
    query_put_int(&query, reading->t_ms);
    query_put_int(&query, voltage->emf_nv);
    if (voltage->state == VOLTAGE_AND_COLD) {
        query_put_int(&query, voltage->cold_mc);
    } else {
        query_put_null(&query);
    }
    return query_run(&query);
}

int ledger_add_event(struct ledger *ledger, const struct event *event, struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_ADD_EVENT, "store an event", fault);
    query_put_int(&query, event->t_ms);
    query_put_int(&query, event->kind);
    query_put_int(&query, event->amount);
    query_put_bytes(&query, event->detail, strnlen(event->detail, EVENT_DETAIL_BYTES - 1));
    return query_run(&query);
}

struct event *ledger_list_events(struct ledger *ledger, int64_t from_ms, int64_t to_ms, size_t *count,
                                 struct fault *fault) {
    struct list list;
    struct query query;

    list_query(&list, &query, sizeof(struct event), ledger, STATEMENT_LIST_EVENTS, "list events", fault);
    query_put_int(&query, from_ms);
    query_put_int(&query, to_ms);
    for (struct event *event; (event = list_step(&list, &query)) != NULL;) {
        event->t_ms = query_get_int(&query, 0, from_ms, to_ms);
        event->kind = (enum event_kind)query_get_int(&query, 1, EVENT_STARTED, EVENT_KIND_COUNT - 1);
        event->amount = query_get_int(&query, 2, INT64_MIN, INT64_MAX);
        query_get_text_into(&query, 3, event->detail, sizeof event->detail);
    }
    return list_close(&list, &query, count);
}
