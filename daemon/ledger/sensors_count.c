// SPDX-License-Identifier: MIT
/* What one run adds to a sensor's life: pure counting. */
#include <stdlib.h>

#include "../quantity/wide.h"
#include "soakledger/judge.h"
#include "soakledger/sensors.h"

void sensors_begin_count(struct sensors_count *count, int64_t interval_ms) {
    *count = (struct sensors_count){.interval_ms = interval_ms};
}

/* How many levels are at or below a temperature. */
static size_t levels_below(int64_t value_mc) {
    if (value_mc < SENSORS_LEVEL_MC) {
        return 0;
    }
    return value_mc >= (int64_t)SENSORS_LEVEL_MC * SENSORS_LEVELS ? SENSORS_LEVELS
                                                                  : (size_t)(value_mc / SENSORS_LEVEL_MC);
}

/* A stretch between two good readings: on the straight line, at or above each level for so long. Time above all
 * levels that both ends are above is put into one bucket; levels between the ends are few. */
static void add_stretch(struct sensors_count *count, int64_t length_ms, int64_t from_mc, int64_t to_mc) {
    const int64_t low_mc = from_mc < to_mc ? from_mc : to_mc, high_mc = from_mc < to_mc ? to_mc : from_mc;
    const size_t whole = levels_below(low_mc), part = levels_below(high_mc);

    count->bucket_ms[whole] += length_ms;
    for (size_t i = whole; i < part; i++) {
        const int64_t level_mc = (int64_t)SENSORS_LEVEL_MC * (int64_t)(i + 1);

        count->use.above_ms[i] += (int64_t)wide_divide((wide)length_ms * (high_mc - level_mc), high_mc - low_mc);
    }
}

static void count_cycle(struct sensors_count *count, int64_t value_mc) {
    if (value_mc < SENSORS_REST_MC) {
        count->rested = true;
    }
    if (value_mc >= SENSORS_HOT_MC && count->rested) {
        count->use.cycles++;
        count->rested = false;
    }
}

void sensors_take_reading(struct sensors_count *count, const struct reading *reading) {
    const int64_t length_ms = reading->t_ms - count->t_ms;

    if (reading->quality != QUALITY_GOOD) {
        return;
    }
    if (!count->any) {
        count->rested = reading->value < SENSORS_HOT_MC;
    } else if (length_ms > JUDGE_GAP_INTERVALS * count->interval_ms) {
        count->use.unknown_ms += length_ms;
    } else {
        add_stretch(count, length_ms, count->value, reading->value);
    }
    count_cycle(count, reading->value);
    if (!count->any || reading->value > count->use.peak_mc) {
        count->use.peak_mc = reading->value;
        count->use.peak_t_ms = reading->t_ms;
    }
    count->any = count->use.any = true;
    count->t_ms = reading->t_ms;
    count->value = reading->value;
}

void sensors_end_count(struct sensors_count *count) {
    int64_t above_ms = 0;

    for (size_t i = SENSORS_LEVELS; i > 0; i--) {
        above_ms += count->bucket_ms[i];
        count->use.above_ms[i - 1] += above_ms;
    }
    count->use.run_count = 1;
}
