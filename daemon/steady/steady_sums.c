// SPDX-License-Identifier: MIT
#include <math.h>

#include "steady_private.h"

static void spread_add(struct steady_spread *spread, double x) {
    const double away = x - spread->mean;

    spread->count++;
    spread->mean += away / (double)spread->count;
    spread->squares += away * (x - spread->mean);
}

static void end_minute(struct steady_sums *sums, size_t sensor_count) {
    size_t pair = 0;

    for (size_t one = 0; one < sensor_count; one++) {
        for (size_t other = one + 1; other < sensor_count; other++, pair++) {
            if (sums->takes_part[one] && sums->takes_part[other])
                spread_add(&sums->pairs[pair],
                           (sums->minute_mc[one] - sums->minute_mc[other]) / (double)sums->minute_count);
        }
    }
    for (size_t i = 0; i < sensor_count; i++)
        sums->minute_mc[i] = 0;
    sums->minute_count = 0;
}

static bool is_whole(const struct steady_sums *sums, const struct steady_bin *bin, size_t sensor_count) {
    for (size_t i = 0; i < sensor_count; i++) {
        if (sums->takes_part[i] && isnan(bin->sensors_mc[i]))
            return false;
    }
    return true;
}

void steady_sums_add(struct steady_sums *sums, const struct steady_bin *bin, size_t sensor_count,
                     size_t minute_bins) {
    if (!is_whole(sums, bin, sensor_count))
        return;
    if (sums->count++ == 0)
        sums->first_number = bin->number;
    sums->last_number = bin->number;
    for (size_t i = 0; i < sensor_count; i++) {
        if (!sums->takes_part[i])
            continue;
        sums->sensors_mc[i] += bin->sensors_mc[i];
        sums->minute_mc[i] += bin->sensors_mc[i];
    }
    if (!isnan(bin->setpoint_mc)) {
        sums->setpoint_mc += bin->setpoint_mc;
        sums->setpoint_count++;
    }
    if (!isnan(bin->output)) {
        sums->output += bin->output;
        sums->output_count++;
    }
    if (++sums->minute_count == minute_bins)
        end_minute(sums, sensor_count);
}
