// SPDX-License-Identifier: MIT
#include "soakledger/calibration.h"

#include <stdlib.h>
#include <string.h>

#include "../quantity/wide.h"

/* ---- what a table does ---- */

bool calibration_find(const struct calibration *calibration, int64_t indicated_mc, int64_t *correction_mc) {
    const struct calibration_point *after, *before;
    size_t i = 1;

    if (calibration == NULL || calibration->point_count < CALIBRATION_LEAST_POINTS ||
        indicated_mc < calibration->points[0].at_mc ||
        indicated_mc > calibration->points[calibration->point_count - 1].at_mc)
        return false;
    while (indicated_mc > calibration->points[i].at_mc)
        i++;
    before = &calibration->points[i - 1];
    after = &calibration->points[i];
    *correction_mc =
        before->correction_mc +
        (int64_t)wide_divide((wide)(after->correction_mc - before->correction_mc) * (indicated_mc - before->at_mc),
                             after->at_mc - before->at_mc);
    return true;
}

enum calibration_result calibration_correct(const struct calibration *instrument, const struct calibration *sensor,
                                            struct reading *reading) {
    const struct calibration *const tables[] = {instrument, sensor};
    enum calibration_result result = CALIBRATION_NONE;
    int64_t correction_mc;

    if (reading->quality != QUALITY_GOOD)
        return CALIBRATION_NONE;
    for (size_t i = 0; i < sizeof tables / sizeof tables[0]; i++) {
        if (tables[i] == NULL)
            continue;
        if (!calibration_find(tables[i], reading->value, &correction_mc)) {
            result = CALIBRATION_OUTSIDE;
            continue;
        }
        reading->value += correction_mc;
        if (result == CALIBRATION_NONE)
            result = CALIBRATION_APPLIED;
    }
    return result;
}

bool calibration_is_overdue(const struct calibration *calibration, int64_t t_ms) {
    return calibration != NULL && calibration->due_ms != 0 && t_ms > calibration->due_ms;
}

const char *calibration_subject_name(enum calibration_subject subject) {
    return subject == CALIBRATION_OF_SENSOR ? "sensor" : "instrument";
}
