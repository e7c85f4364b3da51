// SPDX-License-Identifier: MIT
/* uncertainty: how far a channel may be off at a temperature, from what is known of its parts. Pure.
 *
 * What the configuration states for the channel is taken as it is. Where it states nothing, two parts are combined:
 *  - the sensor: the uncertainty of its calibration in force where its table reaches, else its tolerance class;
 *  - the instrument: the uncertainty of its calibration in force where its table reaches, else its stated accuracy.
 * A certificate's uncertainty is expanded with k = 2 already. A tolerance or an accuracy is a limit +-a within
 * which nothing more is known: a rectangular distribution, u = a / sqrt(3) (JCGM 100:2008, 4.3.7), so 2a / sqrt(3)
 * with k = 2. The parts are independent and both act with a sensitivity of one: U = sqrt(sum of squares) (JCGM
 * 100, 5.1.2). Rounded up to the milli-degree. If one part is not known the whole is not: half a sum would look
 * like a small one. An accuracy includes the instrument's cold junction.
 */
#ifndef SOAKLEDGER_UNCERTAINTY_H
#define SOAKLEDGER_UNCERTAINTY_H

#include <stdint.h>

#include "soakledger/calibration.h"

struct uncertainty_source {
    int64_t stated_mc;                             // by the configuration, expanded, k = 2; 0: not stated
    const char *type;                              // the sensor's letter, "" or NULL if none
    const char *tolerance;                         // its class, "" or NULL if none
    int64_t accuracy_mc;                           // of the instrument, a limit; 0: not stated
    const struct calibration *sensor, *instrument; // in force, or NULL
};

enum uncertainty_origin {
    UNCERTAINTY_UNKNOWN,
    UNCERTAINTY_STATED,      // for the channel as a whole
    UNCERTAINTY_LIMIT,       // tolerance class or accuracy
    UNCERTAINTY_CALIBRATION, // the certificate's
};

struct uncertainty {
    int64_t expanded_mc; // k = 2; 0: not known
    enum uncertainty_origin sensor_from, instrument_from;
    int64_t sensor_mc, instrument_mc; // k = 2; valid unless unknown or stated
};

void uncertainty_find(const struct uncertainty_source *source, int64_t at_mc, struct uncertainty *uncertainty);

#endif
