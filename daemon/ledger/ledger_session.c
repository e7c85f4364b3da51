// SPDX-License-Identifier: MIT
/* Sessions: each start of the daemon, with everything its configuration said, by value. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ledger_private.h"
#include "soakledger/corrections.h"
#include "soakledger/health.h"
#include "soakledger/sensors.h"

/* The words in which a fitting is stored. They are part of the file's format: what sheets say may change, these
 * may not. */
static const char *const role_words[ROLE_COUNT] = {
    [ROLE_CONTROL] = "control",     [ROLE_LOAD] = "load",
    [ROLE_SETPOINT] = "setpoint",   [ROLE_OUTPUT] = "output",
    [ROLE_AMBIENT] = "ambient",     [ROLE_QUENCH] = "quench",
    [ROLE_COLD] = "cold",           [ROLE_HIGH_LIMIT] = "high-limit",
    [ROLE_REFERENCE] = "reference",
};
static const char *const wire_words[WIRE_KIND_COUNT] = {
    [WIRE_MODBUS_RTU] = "modbus-rtu",
    [WIRE_MODBUS_ASCII] = "modbus-ascii",
    [WIRE_POLLED_TEXT] = "polled-text",
    [WIRE_FREE_TEXT] = "free-text",
};
static const char *const encoding_words[] = {
    [ENCODING_INT16] = "int16",   [ENCODING_UINT16] = "uint16",   [ENCODING_INT32] = "int32",
    [ENCODING_UINT32] = "uint32", [ENCODING_FLOAT32] = "float32",
};
static const char *const word_order_words[] = {[WORD_HIGH_FIRST] = "high first", [WORD_LOW_FIRST] = "low first"};
static const char *const unit_words[] = {
    [CHANNEL_CELSIUS] = "C", [CHANNEL_FAHRENHEIT] = "F", [CHANNEL_MILLIVOLT] = "mV"};

#define COUNT_OF(array) (sizeof(array) / sizeof(array)[0])

static void put_word(struct query *query, const char *const *words, size_t count, unsigned which) {
    query_put_text(query, which < count ? words[which] : "?"); // "?" is refused by the table's CHECK
}

static unsigned get_word(struct query *query, int column, const char *const *words, size_t count) {
    char *const text = query_get_text(query, column);
    unsigned which = 0;

    if (text == NULL) {
        return 0;
    }
    while (which < count && strcmp(words[which], text) != 0) {
        which++;
    }
    free(text);
    if (which == count) {
        ledger_fail_damaged(query->ledger, query->doing, sqlite3_column_name(query->statement, column),
                            query->fault);
        query->failed = true;
        return 0;
    }
    return which;
}

int ledger_last_session(struct ledger *ledger, struct ledger_session *session, struct fault *fault) {
    struct query query;
    int got;

    query_open(&query, ledger, STATEMENT_LAST_SESSION, "read the last session", fault);
    got = query_step(&query);
    if (got != 1) {
        return got;
    }
    *session = (struct ledger_session){
        .session_id = query_get_int(&query, 0, 1, INT64_MAX),
        .started_ms = query_get_int(&query, 1, INT64_MIN, INT64_MAX),
        .wall_ms = query_get_int(&query, 2, INT64_MIN, INT64_MAX),
        .boottime_ms = query_get_int(&query, 3, INT64_MIN, INT64_MAX),
        .simulated = query_get_int(&query, 5, 0, 1) == 1,
    };
    query_get_text_into(&query, 4, session->boot_id, sizeof session->boot_id);
    query_close(&query);
    return query.failed ? -1 : 1;
}

int64_t ledger_last_time(struct ledger *ledger, struct fault *fault) {
    struct query query;
    int64_t t_ms = 0;

    query_open(&query, ledger, STATEMENT_LAST_TIME, "find the last reading", fault);
    if (query_step(&query) == 1) {
        t_ms = query_get_int(&query, 0, 0, INT64_MAX);
        query_close(&query);
    }
    return query.failed ? -1 : t_ms;
}

int ledger_was_simulated(struct ledger *ledger, int64_t from_ms, int64_t to_ms, struct fault *fault) {
    struct query query;
    int simulated = 0;

    query_open(&query, ledger, STATEMENT_WAS_SIMULATED, "tell what clock it was recorded by", fault);
    query_put_int(&query, from_ms);
    query_put_int(&query, to_ms);
    if (query_step(&query) == 1) {
        simulated = (int)query_get_int(&query, 0, 0, 1);
        query_close(&query);
    }
    return query.failed ? -1 : simulated;
}

/* The id a query finds; 0 if it gives no row, -1. */
static int64_t find_id(struct query *query) {
    int64_t id = 0;

    if (query_step(query) == 1) {
        id = query_get_int(query, 0, 1, INT64_MAX);
        query_close(query);
    }
    return query->failed ? -1 : id;
}

int64_t ledger_find_oven(struct ledger *ledger, const char *name, struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_FIND_OVEN, "look for an oven", fault);
    query_put_text(&query, name);
    return find_id(&query);
}

char *ledger_oven_name(struct ledger *ledger, int64_t oven_id, struct fault *fault) {
    struct query query;
    char *name = NULL;
    int got;

    query_open(&query, ledger, STATEMENT_OVEN_NAME, "look for an oven", fault);
    query_put_int(&query, oven_id);
    got = query_step(&query);
    if (got == 0) {
        fault_set(fault, EX_NOINPUT, "%s: there is no oven %lld", ledger->path, (long long)oven_id);
    } else if (got == 1) {
        name = query_get_text(&query, 0);
        query_close(&query);
    }
    return name;
}

static int64_t keep_oven(struct ledger *ledger, const char *name, struct fault *fault) {
    const int64_t oven_id = ledger_find_oven(ledger, name, fault);
    struct query query;

    if (oven_id != 0) {
        return oven_id;
    }
    query_open(&query, ledger, STATEMENT_ADD_OVEN, "add an oven", fault);
    query_put_text(&query, name);
    return query_add(&query);
}

static int64_t keep_channel(struct ledger *ledger, int64_t oven_id, const char *name, struct fault *fault) {
    struct query query;
    int64_t channel_id;

    query_open(&query, ledger, STATEMENT_FIND_CHANNEL, "look for a channel", fault);
    query_put_int(&query, oven_id);
    query_put_text(&query, name);
    channel_id = find_id(&query);
    if (channel_id != 0) {
        return channel_id;
    }
    query_open(&query, ledger, STATEMENT_ADD_CHANNEL, "add a channel", fault);
    query_put_int(&query, oven_id);
    query_put_text(&query, name);
    return query_add(&query);
}

static void put_raw_values(struct query *query, const int64_t *values, size_t count) {
    for (size_t i = 0; i < CHANNEL_OPEN_VALUES; i++) {
        if (i < count) {
            query_put_int(query, values[i]);
        } else {
            query_put_null(query);
        }
    }
}

enum { COLD_CHANNEL_BYTES = 2 * CHANNEL_NAME_BYTES };

/* `cold` holds the name while the query runs. */
static void put_cold_junction(struct query *query, const struct config *config,
                              const struct config_channel *channel, char cold[COLD_CHANNEL_BYTES]) {
    cold[0] = '\0';
    if (channel->fitting.unit == CHANNEL_MILLIVOLT && channel->cold_junction != CONFIG_NO_CHANNEL) {
        const struct config_channel *const other = &config->channels[channel->cold_junction];

        snprintf(cold, COLD_CHANNEL_BYTES, "%s.%s", config->ovens[other->oven].name, other->name);
    }
    query_put_text(query, cold);
    if (channel->fitting.unit == CHANNEL_MILLIVOLT && cold[0] == '\0') {
        query_put_int(query, channel->cold_fixed_mc);
    } else {
        query_put_null(query);
    }
}

/* The parameters that STATEMENT_SAME_FITTING and STATEMENT_ADD_FITTING share: all that makes a fitting another. */
static void put_fitting(struct query *query, int64_t channel_id, const struct config *config,
                        const struct config_channel *channel, const char *instrument, const char *separator,
                        char cold[COLD_CHANNEL_BYTES]) {
    static const struct config_sensor none = {.identity = "", .type = "", .tolerance = ""};
    const struct config_sensor *const sensor =
        channel->sensor == CONFIG_NO_SENSOR ? &none : &config->sensors[channel->sensor];
    const struct channel_fitting *const fitting = &channel->fitting;

    query_put_int(query, channel_id);
    put_word(query, role_words, COUNT_OF(role_words), channel->role);
    query_put_int(query, channel->interval_ms);
    query_put_int(query, config->ovens[channel->oven].heats_at_most_mc_per_h);
    query_put_int(query, channel->uncertainty_mc);
    query_put_text(query, instrument);
    put_word(query, wire_words, COUNT_OF(wire_words), fitting->wire);
    query_put_int(query, fitting->function);
    query_put_int(query, fitting->first_register);
    put_word(query, encoding_words, COUNT_OF(encoding_words), fitting->encoding);
    put_word(query, word_order_words, COUNT_OF(word_order_words), fitting->word_order);
    query_put_text(query, fitting->query);
    query_put_int(query, fitting->field);
    query_put_text(query, separator);
    query_put_text(query, fitting->pattern);
    query_put_int(query, fitting->decimals);
    put_word(query, unit_words, COUNT_OF(unit_words), fitting->unit);
    query_put_int(query, fitting->low);
    query_put_int(query, fitting->high);
    put_raw_values(query, fitting->open_raw, fitting->open_count);
    put_raw_values(query, fitting->over_raw, fitting->over_count);
    put_raw_values(query, fitting->under_raw, fitting->under_count);
    query_put_int(query, fitting->frozen_after_ms);
    query_put_int(query, fitting->moves_at_most_mc_per_h);
    query_put_text(query, sensor->identity);
    query_put_text(query, sensor->type);
    query_put_text(query, sensor->tolerance);
    query_put_int_or_null(query, sensor->fitted_ms);
    put_cold_junction(query, config, channel, cold);
    query_put_text(query, config->instruments[channel->instrument].name);
    query_put_int(query, config->instruments[channel->instrument].accuracy_mc);
}

/* The fitting in force if nothing differs from it, else a new one. */
static int64_t keep_fitting(struct ledger *ledger, int64_t channel_id, int64_t since_ms,
                            const struct config *config, const struct config_channel *channel,
                            struct fault *fault) {
    const struct config_instrument *const instrument = &config->instruments[channel->instrument];
    enum { INSTRUMENT_WORDS_BYTES = 512 };
    const char separator[] = {channel->fitting.separator, '\0'};
    char words[INSTRUMENT_WORDS_BYTES], cold[COLD_CHANNEL_BYTES];
    struct query query;
    int64_t fitting_id;

    if (instrument->address > 0) {
        snprintf(words, sizeof words, "%s, line %s, address %d", instrument->name,
                 config->lines[instrument->line].name, instrument->address);
    } else {
        snprintf(words, sizeof words, "%s, line %s", instrument->name, config->lines[instrument->line].name);
    }
    query_open(&query, ledger, STATEMENT_SAME_FITTING, "look for a fitting", fault);
    put_fitting(&query, channel_id, config, channel, words, separator, cold);
    fitting_id = find_id(&query);
    if (fitting_id != 0) {
        return fitting_id;
    }
    query_open(&query, ledger, STATEMENT_ADD_FITTING, "add a fitting", fault);
    put_fitting(&query, channel_id, config, channel, words, separator, cold);
    query_put_int(&query, since_ms);
    return query_add(&query);
}

static int64_t add_session_row(struct ledger *ledger, const struct ledger_session *session, const char *sha256,
                               struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_ADD_SESSION, "add a session", fault);
    query_put_int(&query, session->started_ms);
    query_put_int(&query, session->wall_ms);
    query_put_int(&query, session->boottime_ms);
    query_put_text(&query, session->boot_id);
    query_put_int(&query, session->simulated ? 1 : 0);
    query_put_text(&query, sha256);
    return query_add(&query);
}

static int use_fitting(struct ledger *ledger, int64_t session_id, int64_t fitting_id, struct fault *fault) {
    struct query query;

    query_open(&query, ledger, STATEMENT_USE_FITTING, "add a session", fault);
    query_put_int(&query, session_id);
    query_put_int(&query, fitting_id);
    return query_run(&query);
}

static int64_t add_session(struct ledger *ledger, const struct ledger_session *session, const struct config *config,
                           int64_t *oven_ids, int64_t *channel_ids, struct fault *fault) {
    const size_t length = config->text == NULL ? 0 : strlen(config->text);
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    int64_t session_id;

    if (ledger_keep_document(ledger, config->text, length, sha256, fault) != 0) {
        return -1;
    }
    session_id = add_session_row(ledger, session, sha256, fault);
    for (size_t i = 0; i < config->oven_count && session_id > 0; i++) {
        oven_ids[i] = keep_oven(ledger, config->ovens[i].name, fault);
        session_id = oven_ids[i] > 0 ? session_id : -1;
    }
    for (size_t i = 0; i < config->channel_count && session_id > 0; i++) {
        const struct config_channel *const channel = &config->channels[i];
        int64_t fitting_id = -1;

        channel_ids[i] = keep_channel(ledger, oven_ids[channel->oven], channel->name, fault);
        if (channel_ids[i] > 0) {
            fitting_id = keep_fitting(ledger, channel_ids[i], session->started_ms, config, channel, fault);
        }
        if (fitting_id <= 0 || use_fitting(ledger, session_id, fitting_id, fault) != 0) {
            return -1;
        }
    }
    if (session_id > 0 && (sensors_note_session(ledger, session->started_ms, config, channel_ids, fault) != 0 ||
                           health_keep_allowed(ledger, config, channel_ids, session->started_ms, fault) != 0)) {
        return -1;
    }
    return session_id;
}

int64_t ledger_add_session(struct ledger *ledger, const struct ledger_session *session, const struct config *config,
                           int64_t *oven_ids, int64_t *channel_ids, struct fault *fault) {
    int64_t session_id;
    bool own;

    if (ledger_enter(ledger, &own, fault) != 0) {
        return -1;
    }
    session_id = add_session(ledger, session, config, oven_ids, channel_ids, fault);
    return ledger_leave(ledger, own, session_id > 0 ? 0 : -1, fault) == 0 ? session_id : -1;
}

/* Columns as STATEMENT_LIST_CHANNELS gives them. */
enum fitting_column {
    COLUMN_CHANNEL_ID,
    COLUMN_OVEN_ID,
    COLUMN_NAME,
    COLUMN_SINCE_MS,
    COLUMN_ROLE,
    COLUMN_INTERVAL_MS,
    COLUMN_HEATS_AT_MOST,
    COLUMN_UNCERTAINTY,
    COLUMN_INSTRUMENT,
    COLUMN_WIRE,
    COLUMN_FUNCTION,
    COLUMN_REGISTER,
    COLUMN_ENCODING,
    COLUMN_WORD_ORDER,
    COLUMN_QUERY,
    COLUMN_FIELD,
    COLUMN_SEPARATOR,
    COLUMN_PATTERN,
    COLUMN_DECIMALS,
    COLUMN_UNIT,
    COLUMN_LOW,
    COLUMN_HIGH,
    COLUMN_OPEN,
    COLUMN_OVER = COLUMN_OPEN + CHANNEL_OPEN_VALUES,
    COLUMN_UNDER = COLUMN_OVER + CHANNEL_OPEN_VALUES,
    COLUMN_FROZEN_AFTER = COLUMN_UNDER + CHANNEL_OPEN_VALUES,
    COLUMN_MOVES_AT_MOST,
    COLUMN_SENSOR_IDENTITY,
    COLUMN_SENSOR_TYPE,
    COLUMN_SENSOR_TOLERANCE,
    COLUMN_SENSOR_FITTED_MS,
    COLUMN_COLD_CHANNEL,
    COLUMN_COLD_FIXED,
    COLUMN_INSTRUMENT_NAME,
    COLUMN_INSTRUMENT_ACCURACY
};

static size_t get_raw_values(struct query *query, int column, int64_t *values) {
    size_t count = 0;

    for (int i = 0; i < CHANNEL_OPEN_VALUES && !query_is_null(query, column + i); i++) {
        values[count++] = query_get_int(query, column + i, INT64_MIN, INT64_MAX);
    }
    return count;
}

static void get_fitting(struct query *query, struct channel_fitting *fitting) {
    char separator[2] = "";

    fitting->wire = get_word(query, COLUMN_WIRE, wire_words, COUNT_OF(wire_words));
    query_get_text_into(query, COLUMN_QUERY, fitting->query, sizeof fitting->query);
    query_get_text_into(query, COLUMN_PATTERN, fitting->pattern, sizeof fitting->pattern);
    query_get_text_into(query, COLUMN_SEPARATOR, separator, sizeof separator);
    fitting->separator = separator[0];
    fitting->field = (unsigned)query_get_int(query, COLUMN_FIELD, 0, CHANNEL_FIELDS_MOST);
    fitting->function = (uint8_t)query_get_int(query, COLUMN_FUNCTION, 0, UINT8_MAX);
    fitting->first_register = (uint16_t)query_get_int(query, COLUMN_REGISTER, 0, UINT16_MAX);
    fitting->encoding = get_word(query, COLUMN_ENCODING, encoding_words, COUNT_OF(encoding_words));
    fitting->word_order = get_word(query, COLUMN_WORD_ORDER, word_order_words, COUNT_OF(word_order_words));
    fitting->decimals = (int)query_get_int(query, COLUMN_DECIMALS, INT8_MIN, INT8_MAX);
    fitting->unit = get_word(query, COLUMN_UNIT, unit_words, COUNT_OF(unit_words));
    fitting->low = query_get_int(query, COLUMN_LOW, INT64_MIN, INT64_MAX);
    fitting->high = query_get_int(query, COLUMN_HIGH, INT64_MIN, INT64_MAX);
    fitting->open_count = get_raw_values(query, COLUMN_OPEN, fitting->open_raw);
    fitting->over_count = get_raw_values(query, COLUMN_OVER, fitting->over_raw);
    fitting->under_count = get_raw_values(query, COLUMN_UNDER, fitting->under_raw);
    fitting->frozen_after_ms = query_get_int(query, COLUMN_FROZEN_AFTER, 0, INT64_MAX);
    fitting->moves_at_most_mc_per_h = query_get_int(query, COLUMN_MOVES_AT_MOST, 0, INT64_MAX);
}

static void get_channel(struct query *query, struct ledger_channel *channel) {
    channel->channel_id = query_get_int(query, COLUMN_CHANNEL_ID, 1, INT64_MAX);
    channel->oven_id = query_get_int(query, COLUMN_OVEN_ID, 1, INT64_MAX);
    channel->name = query_get_text(query, COLUMN_NAME);
    channel->since_ms = query_get_int(query, COLUMN_SINCE_MS, INT64_MIN, INT64_MAX);
    channel->role = get_word(query, COLUMN_ROLE, role_words, COUNT_OF(role_words));
    channel->interval_ms = query_get_int(query, COLUMN_INTERVAL_MS, 1, INT64_MAX);
    channel->heats_at_most_mc_per_h = query_get_int(query, COLUMN_HEATS_AT_MOST, 0, INT64_MAX);
    channel->uncertainty_mc = query_get_int(query, COLUMN_UNCERTAINTY, 0, INT64_MAX);
    channel->instrument = query_get_text(query, COLUMN_INSTRUMENT);
    get_fitting(query, &channel->fitting);
    channel->sensor_identity = query_get_text(query, COLUMN_SENSOR_IDENTITY);
    channel->sensor_type = query_get_text(query, COLUMN_SENSOR_TYPE);
    channel->sensor_tolerance = query_get_text(query, COLUMN_SENSOR_TOLERANCE);
    channel->sensor_fitted_ms = query_get_int_or_null(query, COLUMN_SENSOR_FITTED_MS, INT64_MIN, INT64_MAX);
    channel->cold_channel = query_get_text(query, COLUMN_COLD_CHANNEL);
    channel->cold_fixed_mc = query_get_int_or_null(query, COLUMN_COLD_FIXED, INT64_MIN, INT64_MAX);
    channel->instrument_name = query_get_text(query, COLUMN_INSTRUMENT_NAME);
    channel->instrument_accuracy_mc = query_get_int(query, COLUMN_INSTRUMENT_ACCURACY, 0, INT64_MAX);
}

static int find_calibrations(struct ledger *ledger, struct ledger_channel *channels, size_t count, int64_t t_ms,
                             struct fault *fault) {
    for (size_t i = 0; i < count; i++) {
        struct ledger_channel *const channel = &channels[i];

        if (!channel_is_measured(channel->role)) {
            continue;
        }
        if (corrections_find(ledger, CALIBRATION_OF_INSTRUMENT, channel->instrument_name, t_ms,
                             &channel->instrument_calibration, fault) != 0 ||
            corrections_find(ledger, CALIBRATION_OF_SENSOR, channel->sensor_identity, t_ms,
                             &channel->sensor_calibration, fault) != 0) {
            return -1;
        }
    }
    return 0;
}

struct ledger_channel *ledger_list_channels(struct ledger *ledger, int64_t oven_id, int64_t t_ms, size_t *count,
                                            struct fault *fault) {
    struct list list;
    struct query query;

    list_query(&list, &query, sizeof(struct ledger_channel), ledger, STATEMENT_LIST_CHANNELS,
               "list the channels of an oven", fault);
    query_put_int(&query, oven_id);
    query_put_int(&query, t_ms);
    for (struct ledger_channel *channel; (channel = list_step(&list, &query)) != NULL;) {
        get_channel(&query, channel);
    }
    if (query.failed || find_calibrations(ledger, list.items, list.count, t_ms, fault) != 0) {
        // list_close frees the block, but not what the records own
        ledger_free_channels(list.items, list.count);
        list.items = NULL;
        query.failed = true;
    }
    return list_close(&list, &query, count);
}

void ledger_free_channels(struct ledger_channel *channels, size_t count) {
    for (size_t i = 0; channels != NULL && i < count; i++) {
        free(channels[i].name);
        free(channels[i].instrument);
        free(channels[i].sensor_identity);
        free(channels[i].sensor_type);
        free(channels[i].sensor_tolerance);
        free(channels[i].cold_channel);
        free(channels[i].instrument_name);
        free(channels[i].sensor_calibration);
        free(channels[i].instrument_calibration);
    }
    free(channels);
}
