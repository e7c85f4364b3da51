// SPDX-License-Identifier: MIT
/* Any bytes as a calibration's table: a refusal is one line that names the file; a table taken keeps what
 * calibration.h promises, and corrects nothing out of order. */
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/calibration.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds) {
    if (!holds)
        abort();
}

/* Within the table, what is hotter as read is hotter as corrected. */
static void check_points(const struct calibration *table) {
    enum { STEPS = 5 };

    for (size_t i = 0; i < table->point_count; i++) {
        const struct calibration_point *point = &table->points[i];
        int64_t correction_mc, last_mc = INT64_MIN;

        demand(point->correction_mc <= CALIBRATION_MOST_MC && point->correction_mc >= -CALIBRATION_MOST_MC);
        demand(calibration_find(table, point->at_mc, &correction_mc) && correction_mc == point->correction_mc);
        if (i == 0)
            continue;
        for (int64_t step = 0; step <= STEPS; step++) {
            const int64_t at_mc = point[-1].at_mc + (point->at_mc - point[-1].at_mc) * step / STEPS;

            demand(calibration_find(table, at_mc, &correction_mc) && at_mc + correction_mc >= last_mc);
            last_mc = at_mc + correction_mc;
        }
    }
    demand(!calibration_find(table, table->points[0].at_mc - 1, &(int64_t){0}));
    demand(!calibration_find(table, table->points[table->point_count - 1].at_mc + 1, &(int64_t){0}));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    struct fault fault = {0, ""};
    struct calibration table;

    if (calibration_parse((const char *)data, size, "fuzz.table", &table, &fault) != 0) {
        demand(fault.status == EX_CONFIG);
        demand(strncmp(fault.text, "fuzz.table:", strlen("fuzz.table:")) == 0 && strchr(fault.text, '\n') == NULL);
        return 0;
    }
    demand(table.point_count >= CALIBRATION_LEAST_POINTS && table.point_count <= CALIBRATION_MOST_POINTS);
    demand(table.name[0] != '\0' && table.certificate[0] != '\0' && table.uncertainty_mc > 0);
    check_points(&table);
    return 0;
}
