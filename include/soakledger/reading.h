// SPDX-License-Identifier: MIT
/* reading: one value of one channel at one moment, or the reason why there is none. */
#ifndef SOAKLEDGER_READING_H
#define SOAKLEDGER_READING_H

#include <stdbool.h>
#include <stdint.h>

/* Stored in the ledger by number: never renumber. A reading that is not good has no value. */
enum quality {
    QUALITY_GOOD = 0,
    QUALITY_OPEN_SENSOR = 1, // the controller says that its thermocouple is broken
    QUALITY_OVER_RANGE = 2,
    QUALITY_UNDER_RANGE = 3,
    QUALITY_NO_REPLY = 4,    // nothing came within the instrument's time
    QUALITY_BAD_FRAME = 5,   // something came, but its check did not hold
    QUALITY_EXCEPTION = 6,   // the controller refused the request
    QUALITY_STALE = 7,       // frozen: the same raw value for longer than is believable
    QUALITY_IMPLAUSIBLE = 8, // moved faster than physics allows
    QUALITY_NO_JUNCTION = 9, // millivolts whose cold junction's temperature is not known
};
enum { QUALITY_COUNT = 10 };

struct reading {
    int64_t t_ms;       // ledger timeline; the moment the reply's first byte arrived
    int64_t value;      // milli-degrees Celsius, or thousandths of the channel's unit; valid if quality is good
    int64_t channel_id; // the ledger's number of the channel
    enum quality quality;
};

/* Beside the reading of a channel of millivolts: what was read, from which its temperature was made; see
 * junction.h. */
enum voltage_state {
    VOLTAGE_NONE = 0, // the channel reads no voltage, or none came
    VOLTAGE_ALONE,    // emf_nv is there, the terminals' temperature is not known
    VOLTAGE_AND_COLD, // both are there
};
struct voltage {
    enum voltage_state state;
    int32_t emf_nv;  // at the terminals
    int32_t cold_mc; // of the terminals
};

/* In plain words, for journal and sheets: "open sensor", "no reply" ... */
const char *quality_name(enum quality quality);

/* The order in which readings are judged, live and replayed alike: by time, then by channel. */
bool reading_is_before(const struct reading *a, const struct reading *b);

#endif
