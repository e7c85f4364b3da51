// SPDX-License-Identifier: MIT
#include "soakledger/uncertainty.h"

#include <math.h>

#include "soakledger/thermocouple.h"

/* A limit as an expanded uncertainty: k / sqrt(3). */
static int64_t expand_limit(int64_t limit_mc) {
    const double k = 2, divisor_of_rectangle = 3;

    return (int64_t)ceil((double)limit_mc * k / sqrt(divisor_of_rectangle));
}

static enum uncertainty_origin find_part(const struct calibration *calibration, int64_t at_mc, bool has_limit,
                                         int64_t limit_mc, int64_t *part_mc) {
    int64_t correction_mc;

    *part_mc = 0;
    if (calibration_find(calibration, at_mc, &correction_mc)) {
        *part_mc = calibration->uncertainty_mc;
        return UNCERTAINTY_CALIBRATION;
    }
    if (!has_limit)
        return UNCERTAINTY_UNKNOWN;
    *part_mc = expand_limit(limit_mc);
    return UNCERTAINTY_LIMIT;
}

void uncertainty_find(const struct uncertainty_source *source, int64_t at_mc, struct uncertainty *uncertainty) {
    enum thermocouple_type type;
    int64_t tolerance_mc = 0;
    bool has_tolerance;

    *uncertainty = (struct uncertainty){
        .expanded_mc = source->stated_mc, .sensor_from = UNCERTAINTY_STATED, .instrument_from = UNCERTAINTY_STATED};
    if (source->stated_mc > 0)
        return;
    has_tolerance = source->type != NULL && source->tolerance != NULL &&
                    thermocouple_find_type(source->type, &type) &&
                    thermocouple_tolerance(type, thermocouple_find_class(source->tolerance), at_mc, &tolerance_mc);
    uncertainty->sensor_from =
        find_part(source->sensor, at_mc, has_tolerance, tolerance_mc, &uncertainty->sensor_mc);
    uncertainty->instrument_from = find_part(source->instrument, at_mc, source->accuracy_mc > 0,
                                             source->accuracy_mc, &uncertainty->instrument_mc);
    if (uncertainty->sensor_from != UNCERTAINTY_UNKNOWN && uncertainty->instrument_from != UNCERTAINTY_UNKNOWN)
        uncertainty->expanded_mc =
            (int64_t)ceil(hypot((double)uncertainty->sensor_mc, (double)uncertainty->instrument_mc));
}
