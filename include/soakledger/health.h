// SPDX-License-Identifier: MIT
/* health: the facts that every run leaves about its oven's sensors, in the ledger, and what they say together.
 *
 * The daemon keeps a run's facts as the run ends; they are append-only, kept once a run, and the same code finds
 * them again from the stored readings at any time. Faults as in ledger.h.
 */
#ifndef SOAKLEDGER_HEALTH_H
#define SOAKLEDGER_HEALTH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/drift.h"
#include "soakledger/fault.h"
#include "soakledger/ledger.h"
#include "soakledger/steady.h"

/* ---- facts ---- */

/* Up to this many stretches of a run are kept, the first ones. */
enum { HEALTH_MOST_STRETCHES = 64, HEALTH_MOST_RUNS = 300 };

struct health_facts {
    int64_t run_id;
    size_t stretch_count;
    struct steady_stretch *stretches; // in order of time
};

/* Gathers a run's facts while it is on: opened with the run, it begins with what is stored of it until `until_ms`;
 * every later reading of the run is fed to it after it was stored. */
struct health_gatherer;
struct health_gatherer *health_open_gatherer(struct ledger *ledger, int64_t run_id, int64_t until_ms,
                                             struct fault *fault);
int health_gather(struct health_gatherer *gatherer, const struct reading *reading, struct fault *fault);
/* The run is over: the facts, to be freed by health_free_facts. */
int health_end_gathering(struct health_gatherer *gatherer, struct health_facts *facts, struct fault *fault);
void health_free_gatherer(struct health_gatherer *gatherer); // NULL is allowed

/* Finds them in the stored readings of a run that is over. */
int health_find_facts(struct ledger *ledger, int64_t run_id, struct health_facts *facts, struct fault *fault);
/* Keeps them; a run whose facts are kept already is passed over. For a recorder. */
int health_keep_facts(struct ledger *ledger, const struct health_facts *facts, struct fault *fault);
/* 1 with the facts that were kept, 0 if none were (a run from before there were any), -1. */
int health_read_facts(struct ledger *ledger, int64_t run_id, struct health_facts *facts, struct fault *fault);
void health_free_facts(struct health_facts *facts); // what is in it

/* ---- an oven's health ---- */

enum health_since { HEALTH_SINCE_SEEN, HEALTH_SINCE_FITTED, HEALTH_SINCE_CHECKED };

struct health_sensor {
    int64_t channel_id;
    char *name; // of the channel
    enum channel_role role;
    char *identity, *type, *tolerance; // "" if not given
    enum health_since since_what;
    int64_t since_ms; // its history begins there
};

/* One level of the oven: runs at setpoints within 20 C of each other. */
struct health_level {
    double level_c; // median
    struct drift_run *runs;
    struct drift_history history; // its sensors are the oven's, in the same order
    struct drift_report *report;
};

struct health_oven {
    int64_t oven_id;
    char *name;
    size_t sensor_count;
    struct health_sensor sensors[DRIFT_MOST_SENSORS];
    size_t level_count;
    struct health_level *levels; // the one with the most runs first
    size_t worst;                // index of the level that says most: established and surest first, else 0
};

/* From the last HEALTH_MOST_RUNS runs of the oven that ended up to `until_ms`. Values are as they were
 * read, without corrections, so that a new table of corrections looks like no drift. `find_missing`: facts that
 * were not kept are found in the readings, which takes its time. NULL on a fault; level_count may be 0. */
struct health_oven *health_examine(struct ledger *ledger, int64_t oven_id, int64_t until_ms, bool find_missing,
                                   struct fault *fault);
void health_free(struct health_oven *oven); // NULL is allowed

/* The level that says most about a sensor: one that has established a change, else the one with the most runs. NULL
 * if no run has left a stable stretch. */
const struct health_level *health_find_level(const struct health_oven *oven, size_t sensor);
/* The line of a sensor from the level that says most about it, as drift_describe_sensor; out has DRIFT_WORDS_BYTES.
 */
void health_describe_sensor(const struct health_oven *oven, size_t sensor, enum temperature_unit unit, char *out);

/* ---- the error that a sensor is allowed ---- */

/* Keeps what the configuration allows each sensor (0: not said), wherever it differs from what is in force. */
int health_keep_allowed(struct ledger *ledger, const struct config *config, const int64_t *channel_ids,
                        int64_t t_ms, struct fault *fault);
/* In force at `t_ms` for that channel, or 0. -1 on a fault. */
int64_t health_read_allowed(struct ledger *ledger, int64_t channel_id, int64_t t_ms, struct fault *fault);
/* Where nothing is configured: the tolerance of the sensor's type and class at that temperature (thermocouple.h);
 * where those say nothing, that of a standard type K wire, the greater of 2.2 C and 0.75 % of the temperature (ASTM
 * E230, tests/reference/tolerance_classes.csv). Type and class are those words, "" if not given. */
double health_default_allowed_c(const char *type, const char *tolerance, double level_c);

/* ---- telling, once ---- */

struct health_told {
    int64_t oven_id, run_id, t_ms, level_mc;
    enum drift_cause cause;
    int64_t channel_id, other_id; // 0: none
    double sure;
    const char *words;
};

/* Was the same told of that oven since then? 1, 0, -1. */
int health_was_told(struct ledger *ledger, const struct health_told *told, int64_t since_ms, struct fault *fault);
int health_keep_told(struct ledger *ledger, const struct health_told *told, struct fault *fault);

/* At the end of a run: if its oven's history establishes a change that was not told yet since its history began,
 * records that it is told now. 1 with what to tell, 0 if there is nothing new, -1. For a recorder. */
struct health_news {
    bool about_sensor;
    char channel[CHANNEL_NAME_BYTES];      // valid if about_sensor: the one, or the more likely of two
    char words[2 * DRIFT_WORDS_BYTES + 4]; // what, and what to do
};
int health_tell(struct ledger *ledger, int64_t run_id, enum temperature_unit unit, struct health_news *news,
                struct fault *fault);

#endif
