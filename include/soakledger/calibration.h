// SPDX-License-Identifier: MIT
/* calibration: the table of a calibration certificate, and what it does to a reading. Pure but for
 * calibration_read.
 *
 * A table belongs to one sensor (by the number on its tag) or to one instrument (by its name in the configuration).
 * Its points say what to ADD at an indicated temperature; between two points the correction is interpolated
 * linearly. Outside the first and last point there is no correction: the value stays as it was read, and whoever
 * shows it says so. Nothing is ever extrapolated.
 *
 * Where both are given the instrument's table is applied first, at the temperature that was read; then the
 * sensor's, at what the instrument was really given. Each for itself: where one says nothing the other still holds.
 *
 * When a table holds. Readings are stored as they were read and stay so. A table is in force from the moment it was
 * entered, and a run is judged from its first to its last reading by the tables that were in force when it BEGAN,
 * live, replayed and on every sheet. So
 *  - live and replay are the same by the same rule, after a restart too;
 *  - a table entered later changes nothing that was judged: a verdict, once printed and signed, would otherwise be
 *    another when it is printed again. Whoever learns afterwards that a sensor was wrong adds a disposition, which
 * is a person's to make, and both are printed;
 *  - a table entered in the middle of a run waits for the next one: a step in the middle of a soak would be a
 *    temperature that the oven never had;
 *  - the date on the certificate is kept and printed, but puts nothing into force: it lies before runs that were
 *    judged without it.
 * To keep that order where clocks disagree, a table's moment is never before or at the begin of a run that the
 * ledger knows (corrections.h). A newer table of the same subject replaces the older one, one without points
 * withdraws it. A calibration past its due date is still the best there is: it is applied, and everybody is told
 * that it is overdue.
 */
#ifndef SOAKLEDGER_CALIBRATION_H
#define SOAKLEDGER_CALIBRATION_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/channel.h"
#include "soakledger/fault.h"
#include "soakledger/reading.h"

enum calibration_subject { CALIBRATION_OF_SENSOR, CALIBRATION_OF_INSTRUMENT };
enum {
    CALIBRATION_SUBJECT_COUNT = 2,
    CALIBRATION_LEAST_POINTS = 2, // one alone has nothing to interpolate to
    CALIBRATION_MOST_POINTS = 64,
    CALIBRATION_TEXT_BYTES = 96,
    CALIBRATION_MOST_MC = 50000, // whatever is further off is broken, not in need of a correction: our own choice
};

struct calibration_point {
    int64_t at_mc;         // indicated
    int64_t correction_mc; // to add
};

struct calibration {
    int64_t calibration_id; // the ledger's; 0 before it is stored
    enum calibration_subject subject;
    char name[CHANNEL_NAME_BYTES];
    char certificate[CALIBRATION_TEXT_BYTES];                 // its number
    char laboratory[CALIBRATION_TEXT_BYTES];                  // "" if not given
    int64_t done_ms;                                          // its date; 0 for a withdrawal
    int64_t due_ms;                                           // 0: not stated
    int64_t uncertainty_mc;                                   // expanded, k = 2, of the corrections
    int64_t in_force_ms;                                      // timeline
    size_t point_count;                                       // 0: withdrawn
    struct calibration_point points[CALIBRATION_MOST_POINTS]; // by at_mc, ascending
};

/* Reads a table from a keyfile:
 *   [calibration]
 *   sensor = K-7            (or instrument = NAME)
 *   certificate = 26-0417
 *   laboratory = ...        (may be left out)
 *   date = 2026-09-01
 *   due = 2027-09-01        (may be left out)
 *   uncertainty = 1.1 C     (expanded, k = 2)
 *   [points]
 *   1 = 200 C, +0.4 C
 *   2 = 400 C, -0.2 C
 * Points are numbered from 1 and ascend; indicated plus correction must ascend too, or the table would not tell one
 * temperature from another. EX_CONFIG with file and line. */
int calibration_read(const char *path, struct calibration *calibration, struct fault *fault);
int calibration_parse(const char *text, size_t length, const char *name, struct calibration *calibration,
                      struct fault *fault);

/* What the table adds at an indicated temperature, to the nearest milli-degree; false outside it. NULL has none. */
bool calibration_find(const struct calibration *calibration, int64_t indicated_mc, int64_t *correction_mc);

/* What became of a reading. */
enum calibration_result {
    CALIBRATION_NONE = 0,    // there is no table, or the reading has no value: as it was read
    CALIBRATION_APPLIED = 1, // every table there is was applied
    CALIBRATION_OUTSIDE = 2, // outside at least one table, which was not applied
};
/* Corrects a good reading in place. Either table may be NULL. Only for channels that measure. */
enum calibration_result calibration_correct(const struct calibration *instrument, const struct calibration *sensor,
                                            struct reading *reading);

bool calibration_is_overdue(const struct calibration *calibration, int64_t t_ms); // NULL and 0 are not

const char *calibration_subject_name(enum calibration_subject subject); // "sensor", "instrument"

#endif
