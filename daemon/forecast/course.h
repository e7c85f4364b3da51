// SPDX-License-Identifier: MIT
/* course: where the rise of one channel leads, from the last minutes of it. */
#ifndef FORECAST_COURSE_H
#define FORECAST_COURSE_H

#include <stdbool.h>
#include <stddef.h>

enum { COURSE_WINDOWS = 3, COURSE_WIDEST = 24, COURSE_BINS = COURSE_WINDOWS * COURSE_WIDEST };

struct course_bin {
    double t_s, value_c;
};

/* The last bins, each the mean of some readings, and what is known of their noise. */
struct course_past {
    size_t count, newest; // of `bins`, a ring
    struct course_bin bins[COURSE_BINS];
    double noise2, noise_weight;
};

struct course {
    bool rises;       // by more than noise can tell
    double t_s;       // of the newest bin, for which all else holds
    double value_c;   // smoothed
    double slope_c_s; // valid if it rises
    bool slows;       // the rise, by more than noise can tell
    double decay_s;   // time constant of the slope; valid if it slows
    double peak_c;    // where it ends; valid if it slows
};

void course_add(struct course_past *past, double t_s, double value_c);
void course_find(const struct course_past *past, struct course *course);

#endif
