// SPDX-License-Identifier: MIT
#include "soakledger/import.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ledger_private.h"

static int find_run(struct ledger *ledger, struct import *import, struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger, "SELECT run_id FROM import WHERE import_id = ?", "begin an import", fault);
    query_put_int(&query, import->import_id);
    if (query_step(&query) == 1) {
        import->run_id = query_get_int(&query, 0, 1, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : 0;
}

int import_open(struct ledger *ledger, struct import *import, const char *description, size_t length,
                struct fault *fault) {
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    struct query query;

    if (ledger_require(ledger, STATEMENT_OVEN_NAME, import->oven_id, "oven", fault) != 0 ||
        ledger_keep_document(ledger, description, length, sha256, fault) != 0) {
        return -1;
    }
    query_open_sql(&query, ledger,
                   "INSERT INTO import (oven_id, begun_ms, ended_ms, source, file_name, file_sha256,"
                   " description_sha256, imported_ms, imported_by) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                   "begin an import", fault);
    query_put_int(&query, import->oven_id);
    query_put_int(&query, import->begun_ms);
    query_put_int(&query, import->ended_ms);
    query_put_text(&query, import->source);
    query_put_text(&query, import->file_name);
    query_put_text(&query, import->file_sha256);
    query_put_text(&query, sha256);
    query_put_int(&query, import->imported_ms);
    query_put_text(&query, import->imported_by);
    import->import_id = query_add(&query);
    return import->import_id < 0 ? -1 : find_run(ledger, import, fault);
}

int64_t import_add_channel(struct ledger *ledger, const struct import *import, const struct import_channel *channel,
                           struct fault *fault) {
    struct query query;
    int64_t channel_id = -1;

    query_open_sql(&query, ledger,
                   "INSERT INTO import_channel (import_id, name, role, header, interval_ms, uncertainty_mc, unit,"
                   " sensor_identity) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                   "import a column", fault);
    query_put_int(&query, import->import_id);
    query_put_text(&query, channel->name);
    query_put_text(&query, channel_role_name(channel->role));
    query_put_text(&query, channel->header);
    query_put_int(&query, channel->interval_ms);
    query_put_int(&query, channel->uncertainty_mc);
    query_put_text(&query, channel->unit == UNIT_FAHRENHEIT ? "F" : "C");
    query_put_text(&query, channel->sensor_identity);
    if (query_run(&query) != 0) {
        return -1;
    }
    query_open_sql(&query, ledger, "SELECT channel_id FROM import_channel WHERE import_id = ? AND name = ?",
                   "import a column", fault);
    query_put_int(&query, import->import_id);
    query_put_text(&query, channel->name);
    if (query_step(&query) == 1) {
        channel_id = query_get_int(&query, 0, 1, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : channel_id;
}

int import_add_reading(struct ledger *ledger, const struct import *import, const struct reading *reading,
                       struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_IMPORT_READING, "import a reading", fault);
    query_put_int(&query, import->import_id);
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

int import_complete(struct ledger *ledger, const struct import *import, struct fault *fault) {
    struct query query;

    query_open_sql(&query, ledger, "UPDATE import SET complete = 1 WHERE import_id = ?", "complete an import",
                   fault);
    query_put_int(&query, import->import_id);
    return query_run(&query);
}

int import_find(struct ledger *ledger, int64_t run_id, struct import **import, struct fault *fault) {
    struct query query;
    struct import *found;

    *import = NULL;
    query_open_sql(&query, ledger,
                   "SELECT import_id, run_id, oven_id, begun_ms, ended_ms, source, file_name, file_sha256,"
                   " imported_ms, imported_by FROM import WHERE run_id = ? AND complete = 1",
                   "read an import", fault);
    query_put_int(&query, run_id);
    if (query_step(&query) != 1) {
        return query.failed ? -1 : 0;
    }
    found = calloc(1, sizeof *found);
    if (found == NULL) {
        query_close(&query);
        return fault_set(fault, EX_OSERR, "out of memory");
    }
    found->import_id = query_get_int(&query, 0, 1, INT64_MAX);
    found->run_id = query_get_int(&query, 1, 1, INT64_MAX);
    found->oven_id = query_get_int(&query, 2, 1, INT64_MAX);
    found->begun_ms = query_get_int(&query, 3, INT64_MIN, INT64_MAX);
    found->ended_ms = query_get_int(&query, 4, INT64_MIN, INT64_MAX);
    found->source = query_get_text(&query, 5);
    found->file_name = query_get_text(&query, 6);
    query_get_text_into(&query, 7, found->file_sha256, sizeof found->file_sha256);
    found->imported_ms = query_get_int(&query, 8, INT64_MIN, INT64_MAX);
    found->imported_by = query_get_text(&query, 9);
    query_close(&query);
    if (query.failed) {
        import_free(found);
        return -1;
    }
    *import = found;
    return 1;
}

void import_free(struct import *import) {
    if (import == NULL) {
        return;
    }
    free(import->source);
    free(import->file_name);
    free(import->imported_by);
    free(import);
}

/* ---- its channels ---- */

static enum channel_role find_role(struct query *query, int column) {
    char word[CHANNEL_NAME_BYTES];

    query_get_text_into(query, column, word, sizeof word);
    for (int role = 0; role < ROLE_COUNT; role++) {
        if (strcmp(channel_role_name((enum channel_role)role), word) == 0) {
            return (enum channel_role)role;
        }
    }
    return ROLE_AMBIENT;
}

static void get_channel(struct query *query, const struct import *import, struct ledger_channel *channel) {
    char unit[2];

    channel->import_id = import->import_id;
    channel->oven_id = import->oven_id;
    channel->since_ms = import->begun_ms;
    channel->channel_id = query_get_int(query, 0, 1, INT64_MAX);
    channel->name = query_get_text(query, 1);
    channel->role = find_role(query, 2);
    channel->interval_ms = query_get_int(query, 3, 1, INT64_MAX);
    channel->uncertainty_mc = query_get_int(query, 4, 0, INT64_MAX);
    query_get_text_into(query, 5, unit, sizeof unit);
    channel->fitting.unit = unit[0] == 'F' ? CHANNEL_FAHRENHEIT : CHANNEL_CELSIUS;
    channel->sensor_identity = query_get_text(query, 6);
    channel->sensor_type = strdup("");
    channel->sensor_tolerance = strdup("");
    channel->cold_channel = strdup("");
    channel->instrument_name = strdup("");
    if (asprintf(&channel->instrument, "IMPORTED, not read here: %s", import->source) < 0) {
        channel->instrument = NULL;
    }
    if (!query->failed &&
        (channel->sensor_type == NULL || channel->sensor_tolerance == NULL || channel->cold_channel == NULL ||
         channel->instrument_name == NULL || channel->instrument == NULL)) {
        fault_set(query->fault, EX_OSERR, "out of memory");
        query->failed = true;
    }
}

static struct ledger_channel *list_channels(struct ledger *ledger, const struct import *import, size_t *count,
                                            struct fault *fault) {
    struct list list;
    struct query query;

    list_query_sql(&list, &query, sizeof(struct ledger_channel), ledger,
                   "SELECT channel_id, name, role, interval_ms, uncertainty_mc, unit, sensor_identity"
                   " FROM import_channel WHERE import_id = ? ORDER BY channel_id",
                   "list an import's channels", fault);
    query_put_int(&query, import->import_id);
    for (struct ledger_channel *channel; (channel = list_step(&list, &query)) != NULL;) {
        get_channel(&query, import, channel);
    }
    if (query.failed) {
        ledger_free_channels(list.items, list.count);
        list.items = NULL;
    }
    return list_close(&list, &query, count);
}

struct ledger_channel *import_list_run_channels(struct ledger *ledger, const struct ledger_run *run, size_t *count,
                                                struct fault *fault) {
    struct ledger_channel *channels = NULL;
    struct import *import = NULL;
    int found;

    if (run->end != RUN_END_IMPORTED) {
        return ledger_list_channels(ledger, run->oven_id, run->begun_ms, count, fault);
    }
    found = import_find(ledger, run->run_id, &import, fault);
    if (found == 1 && import != NULL) {
        channels = list_channels(ledger, import, count, fault);
    } else if (found == 0) {
        fault_set(fault, EX_DATAERR, "%s: run %lld was imported, but its import is not there: the file is damaged",
                  ledger->path, (long long)run->run_id);
    }
    import_free(import);
    return channels;
}
