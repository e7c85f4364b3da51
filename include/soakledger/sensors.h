// SPDX-License-Identifier: MIT
/* sensors: sensors as things with a life, in the ledger. A channel is a place and stays; a sensor is fitted to it,
 * is checked, moves, wears and is retired.
 *
 * Events are append-only (table sensor_event). Fitted, moved and removed follow from the configuration: whenever
 * the daemon starts, what it says of each channel's sensor is held against where the ledger last knew that sensor.
 * Another identity in a channel's fitting is a fitting event. Checked and retired are a person's word.
 *
 * Use is counted from the stored readings of every run, claimed or not, by the sensor that was in the channel's
 * fitting when the run began, as the run ends (tables sensor_use, sensor_dwell), and can be counted again from the
 * readings at any time with the same result. Readings count as they were read, without corrections, so that a later
 * table changes no history:
 *  - time at or above each whole hundred degrees Celsius, on the straight lines between good readings; a stretch
 *    of more than three intervals without one is time unknown and counts nowhere else. Hours in heat are those at
 * or above SENSORS_HOT_MC;
 *  - the peak;
 *  - cycles: rises through SENSORS_HOT_MC after the beginning of the run or after having been below
 * SENSORS_REST_MC. 100 °C for heat and 60 °C for rest are our own choice: above everything that is no use, below
 * every temper.
 */
#ifndef SOAKLEDGER_SENSORS_H
#define SOAKLEDGER_SENSORS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/config.h"
#include "soakledger/ledger.h"
#include "soakledger/reading.h"

/* Stored by number: never renumber. */
enum sensor_event_kind {
    SENSOR_FITTED = 1,  // to a channel
    SENSOR_MOVED = 2,   // from another channel to this one
    SENSOR_REMOVED = 3, // the configuration names it nowhere any more; the channel it was in
    SENSOR_CHECKED = 4, // against a reference; words say how and with what result
    SENSOR_RETIRED = 5,
};
enum { SENSOR_EVENT_KIND_COUNT = 6 };

struct sensor_event {
    int64_t t_ms;
    enum sensor_event_kind kind;
    int64_t channel_id; // 0: none
    int64_t stated_ms;  // of a fitting: the configuration's `fitted`; 0 if not given
    char *said_by;      // "daemon" or a person
    char *words;
    char *place; // "oven.channel" of the channel, "" if there is none; filled in by sensors_list_events
};

enum { SENSORS_LEVELS = 18, SENSORS_LEVEL_MC = 100000, SENSORS_HOT_MC = 100000, SENSORS_REST_MC = 60000 };
struct sensor_use {
    int64_t run_count;
    int64_t above_ms[SENSORS_LEVELS]; // [i]: at or above (i + 1) * SENSORS_LEVEL_MC; [0] is time in heat
    int64_t unknown_ms;
    int64_t cycles;
    bool any; // the peak is known
    int64_t peak_mc, peak_t_ms;
};

struct sensor_record {
    int64_t sensor_id;
    char *identity;
    int64_t channel_id;    // where it is fitted; 0: nowhere
    char *place;           // "oven.channel" of it, "" if nowhere
    int64_t fitted_ms;     // to that place: stated by the configuration, else when the daemon first saw it; 0
    int64_t checked_ms;    // last; 0: never
    int64_t retired_ms;    // 0: not. A sensor that was fitted again after it was retired is still retired
    struct sensor_use use; // since ever
};

/* ---- what others ask ---- */

/* The ledger's number of a sensor; 0 if it is not known. -1. */
int64_t sensors_find(struct ledger *ledger, const char *identity, struct fault *fault);
/* All sensors by identity. NULL only on a fault. */
struct sensor_record *sensors_list(struct ledger *ledger, size_t *count, struct fault *fault);
void sensors_free(struct sensor_record *records, size_t count);
/* Events of one sensor in the order they were written. NULL only on a fault. */
struct sensor_event *sensors_list_events(struct ledger *ledger, int64_t sensor_id, size_t *count,
                                         struct fault *fault);
void sensors_free_events(struct sensor_event *events, size_t count);
/* Stored use by runs that began within [from, to]. */
int sensors_read_use(struct ledger *ledger, int64_t sensor_id, int64_t from_ms, int64_t to_ms,
                     struct sensor_use *use, struct fault *fault);
/* When the sensor now in the channel was fitted, moved there or last checked, whichever is latest: since when its
 * history counts as one. 0 if nothing is known. */
int64_t sensors_known_since(struct ledger *ledger, int64_t sensor_id, int64_t channel_id, struct fault *fault);

/* ---- what writes ---- */

/* `by` and `words` of the event are copied. */
int sensors_add_event(struct ledger *ledger, int64_t sensor_id, const struct sensor_event *event,
                      struct fault *fault);
/* Holds the configuration of a session that begins against what is known. Part of ledger_add_session. */
int sensors_note_session(struct ledger *ledger, int64_t started_ms, const struct config *config,
                         const int64_t *channel_ids, struct fault *fault);
/* Counts a run that is over into the use of its sensors, once: 1, or 0 if it was counted already. */
int sensors_count_run(struct ledger *ledger, int64_t run_id, struct fault *fault);
/* A run that is over and was not counted yet: its number, 0 if there is none. */
int64_t sensors_find_uncounted(struct ledger *ledger, struct fault *fault);
/* The same use again, from the readings themselves. */
int sensors_recount(struct ledger *ledger, int64_t sensor_id, struct sensor_use *use, struct fault *fault);

/* ---- what is due ---- */

enum {
    SENSOR_TOO_HOT = 1,       // was above its temperature_at_most in a run since it was last checked
    SENSOR_WORN = 2,          // more hours in heat than its hours_at_most
    SENSOR_CHECK_DUE = 4,     // neither fitted nor checked for longer than its check_every
    SENSOR_OVERDUE = 8,       // its calibration in force is past its due date
    SENSOR_RETIRED_USED = 16, // retired, and fitted all the same
};
struct sensor_state {
    unsigned troubles;
    int64_t peak_mc;                 // valid if too hot
    int64_t check_due_ms;            // 0: no check is asked for, or it is not fitted
    struct calibration *calibration; // in force, or NULL
};

/* `about` is the sensor's section of the configuration. sensors_release_state frees what is in it. */
int sensors_look(struct ledger *ledger, const struct config_sensor *about, const struct sensor_record *record,
                 int64_t now_ms, struct sensor_state *state, struct fault *fault);
void sensors_release_state(struct sensor_state *state);
/* All troubles as one sentence: "in heat for 512 h, limit 500 h; check was due on 2026-09-01". `size` bytes. */
void sensors_describe(const struct config_sensor *about, const struct sensor_record *record,
                      const struct sensor_state *state, enum temperature_unit unit, char *out, size_t size);

/* ---- the counting itself: pure ---- */

struct sensors_count {
    int64_t interval_ms;
    struct sensor_use use;
    bool any, rested;
    int64_t t_ms, value;                   // of the last good reading
    int64_t bucket_ms[SENSORS_LEVELS + 1]; // [i]: time in which i levels were below it throughout
};
void sensors_begin_count(struct sensors_count *count, int64_t interval_ms);
void sensors_take_reading(struct sensors_count *count, const struct reading *reading);
void sensors_end_count(struct sensors_count *count);

#endif
