// SPDX-License-Identifier: MIT
/* alert: tells a person, the moment it matters, once.
 *
 * An alert is about a subject (an oven, a line, a channel, a batch) and has a kind. Raised twice while it stands,
 * it is told once; it is told again, one step higher, when nobody could clear it for `escalate_after`, at most
 * ALERT_MOST_STEPS times (but sensor-worn and check-due, which can wait for the day); when it is cleared, an
 * all-clear is told if the alert was.
 *
 * What comes and goes wears a person out: raised for the third time, each within ALERT_CALM_MS of the end before,
 * it says so, and from then on it stands until it has been well for ALERT_CALM_MS on end; only then is its
 * all-clear told.
 *
 * Delivery: the journal always; and the user's own command, if the configuration names one. The command is started
 * without a shell, with a clean environment (PATH and LANG alone), /dev/null as input and output, its own process
 * group, and is killed after `time_limit`. One at a time; those that wait are bounded, the oldest of the lowest
 * step is dropped first, and that is said. Nothing here ever waits: all work is done in alert_tend, which the loop
 * calls.
 *
 * Arguments of the command: KIND, SUBJECT, STATE ("raised", "again 1", "again 2", ..., "clear"), TIME (RFC 3339
 * UTC), WORDS. They are arguments, never part of a command line, and control characters in them are replaced by
 * '?'.
 */
#ifndef SOAKLEDGER_ALERT_H
#define SOAKLEDGER_ALERT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"

enum alert_kind {
    ALERT_SOAK_SHORT,  // the charge fell out of the band before the soak was complete
    ALERT_OVERSHOOT,   // passed, or coming
    ALERT_SENSOR,      // a channel has no good reading
    ALERT_LINE,        // a line is lost
    ALERT_NOT_COOLING, // the soak is long complete and the oven is still hot
    ALERT_NEXT_DUE,    // the next operation must begin within the hour
    ALERT_LEDGER,      // the ledger cannot be written
    ALERT_SENSOR_WORN, // a sensor was used beyond its limits
    ALERT_CHECK_DUE,   // a check or a calibration is due
    ALERT_DRIFT,       // many runs together show a sensor or an oven to have changed; told once, it does not stand
};
enum { ALERT_KIND_COUNT = 10, ALERT_MOST_STEPS = 3, ALERT_MOST_STANDING = 64, ALERT_MOST_WAITING = 32 };
enum { ALERT_RESTLESS_TIMES = 3, ALERT_CALM_MS = 600000 }; // our own choice
enum { ALERT_SUBJECT_BYTES = 80, ALERT_WORDS_BYTES = 512 };

struct alert_desk;

/* `command` is a path and fixed first arguments, NULL-terminated, or NULL for the journal alone; copied.
 * Times in ms; `time_limit_ms` is real time, the others the ledger's timeline. */
struct alert_desk *alert_open(const char *const *command, int64_t escalate_after_ms, int64_t time_limit_ms,
                              struct fault *fault);
void alert_close(struct alert_desk *desk); // kills a command that still runs; NULL is allowed

/* Thread-safe: the ledger thread raises, the acquisition thread tends. A drift is told at once and forgotten: it is
 * not cleared by anybody, and telling it again is the recorder's affair. */
void alert_raise(struct alert_desk *desk, enum alert_kind kind, const char *subject, int64_t t_ms,
                 const char *words);
void alert_clear(struct alert_desk *desk, enum alert_kind kind, const char *subject, int64_t t_ms,
                 const char *words);

/* Starts, reaps and kills commands, and escalates. Never blocks. Call at least once a second. */
void alert_tend(struct alert_desk *desk, int64_t now_ms);

/* How many alerts were told (raised, again and clear alike), and how many were dropped because too many waited. */
uint64_t alert_count_told(struct alert_desk *desk);
uint64_t alert_count_dropped(struct alert_desk *desk);
const char *alert_kind_name(enum alert_kind kind); // "soak-short", "overshoot", "sensor", "line", "not-cooling",
                                                   // "next-due", "ledger", "sensor-worn", "check-due", "drift"

#endif
