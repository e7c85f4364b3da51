// SPDX-License-Identifier: MIT
/* config: what is connected where. Read from one keyfile by both programs; checked whole, before anything starts.
 *
 * See soakledger.conf(5). All strings belong to the config. Cross references are indexes into its arrays,
 * verified at reading.
 */
#ifndef SOAKLEDGER_CONFIG_H
#define SOAKLEDGER_CONFIG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/channel.h"
#include "soakledger/fault.h"
#include "soakledger/wire.h"

enum line_kind { LINE_SERIAL, LINE_PSEUDO_TERMINAL };
enum parity { PARITY_NONE, PARITY_EVEN, PARITY_ODD };

struct config_line {
    const char *name;
    const char *device;
    enum line_kind kind;
    int speed_baud;
    enum parity parity;
    int stop_bits; // 1 or 2
    int data_bits; // 7 or 8
};

struct config_instrument {
    const char *name;
    size_t line;
    int address;             // 1..247; 0 for a text instrument without one
    int64_t reply_within_ms; // time allowed from the end of a request to the reply's first byte
    int retries;             // further tries of a request in the same interval, 0..3
    int64_t turnaround_ms;   // rest that it needs after a reply, beside the wire's own
    int missing_after;       // of a free-running one: intervals without a line until there is no reply
    int64_t accuracy_mc;     // limit of its error, its cold junction included; 0: not stated
    struct wire_setting setting;
};

struct config_sensor {
    const char *identity;  // the number on the tag
    const char *type;      // "K", "N", "S" ... or "" where the channel has no thermocouple
    const char *tolerance; // tolerance class in words, "" if not given; see thermocouple.h
    int64_t fitted_ms;     // 0 if not given
    // What it may be used for and when it is to be checked; 0: no limit. Told, never judged.
    int64_t temperature_at_most_mc;
    int64_t hours_at_most_ms; // in heat, see sensors.h
    int64_t check_every_ms;   // since it was fitted or last checked
    int64_t allowed_error_mc; // 0: not said
};

/* Run detection and storage of one oven; meanings and defaults in soakledger.conf(5) and run.h. */
struct config_oven {
    const char *name;
    int64_t begins_on_rise_mc;
    int64_t rise_within_ms;
    int64_t ends_after_ms;
    int64_t ends_below_mc;
    int64_t silent_after_ms;
    int64_t lead_ms;                // how much before the beginning is kept at full rate
    int64_t idle_interval_ms;       // between stored readings while no run is on
    int64_t heats_at_most_mc_per_h; // nothing in this oven can warm faster
    bool is_cold;                   // a freezer or cryogenic box: every temperature of run detection is turned over
};

/* Whom to tell when something goes wrong, beside the journal; see alert.h. */
struct config_alert {
    const char *const *command; // path and fixed first arguments, NULL-terminated; NULL if none is given
    int64_t escalate_after_ms;
    int64_t time_limit_ms; // real time
};

#define CONFIG_NO_SENSOR  SIZE_MAX
#define CONFIG_NO_CHANNEL SIZE_MAX
struct config_channel {
    const char *name; // unique within its oven
    size_t oven;
    size_t instrument;
    size_t sensor; // CONFIG_NO_SENSOR if none is named
    enum channel_role role;
    int64_t interval_ms;    // 20 ms .. 1 h
    int64_t uncertainty_mc; // expanded (k = 2), sensor, instrument and calibration together; 0: not stated
    struct channel_fitting fitting;
    // Of millivolts: the channel that reads the terminals' temperature, or CONFIG_NO_CHANNEL and what it is.
    size_t cold_junction;
    int64_t cold_fixed_mc;
};

struct config {
    const char *ledger_path;
    int64_t thin_after_ms, thin_to_ms; // readings of idle ovens, once so old: to one a stretch so long; 0: never
    const char *clock_page;            // NULL: real time
    const char *shop_name;             // printed at the top of sheets; "" if not given
    const char *shop_address;
    const char *key_path;       // signs certificates; NULL: they are not signed
    enum temperature_unit unit; // of sheets and terminal
    const char *paper;          // "A4" or "Letter"
    int utc_offset_min;         // of times on sheets, minutes east of UTC
    struct config_alert alert;
    size_t line_count, instrument_count, sensor_count, oven_count, channel_count;
    struct config_line *lines;
    struct config_instrument *instruments;
    struct config_sensor *sensors;
    struct config_oven *ovens;
    struct config_channel *channels;
    const char *text; // the file as read, for the ledger to keep by value
};

/* NULL with a fault that names file and line. */
struct config *config_read(const char *path, struct fault *fault);
void config_free(struct config *config);

#endif
