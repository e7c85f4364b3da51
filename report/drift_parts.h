// SPDX-License-Identifier: MIT
/* drift_parts: what the drift's command and sheet share, and small plots over runs. */
#ifndef SOAKLEDGER_DRIFT_PARTS_H
#define SOAKLEDGER_DRIFT_PARTS_H

#include "soakledger/health.h"
#include "trial.h"

#define DRIFT_ALL_SENSORS SIZE_MAX

/* One oven as it is told of. */
struct drift_case {
    const struct config *config;
    struct health_oven *oven;
    size_t sensor; // the only one asked for, or DRIFT_ALL_SENSORS
    bool simulated;
};

const struct health_level *
drift_level(const struct drift_case *of);                // the one that says most; NULL if there is none
enum outcome drift_outcome(const struct drift_case *of); // of the answer's sign
/* What has changed, or why nothing can be said. TRIAL_TEXT_BYTES. */
char *drift_answer(const struct drift_case *of, char *out);
/* What to do; where two sensors disagree, how to find out which. "" for nothing. 2 * TRIAL_TEXT_BYTES. */
char *drift_advice(const struct drift_case *of, char *out);
/* One line of a sensor. TRIAL_TEXT_BYTES. */
char *drift_line(const struct drift_case *of, size_t sensor, char *out);
/* "fitted 2026-09-01", "checked 2026-11-16", "first seen ...". TRIAL_NAME_BYTES. */
char *drift_since(const struct drift_case *of, size_t sensor, char *out);

int drift_sheet_make(const struct drift_case *cases, size_t count, int64_t made_ms, unsigned char **bytes,
                     size_t *length, struct fault *fault);

/* ---- plots ---- */

struct drift_plot {
    struct page_document *page;
    struct page_frame area; // within the axes
    double low, high;       // of the values
    size_t runs;            // along the axis, from 1
};

/* Draws axes, grid, title and the values' unit into the frame, for values within [low, high] of so many runs. */
void drift_plot_begin(struct drift_plot *plot, struct page_document *page, struct page_frame frame,
                      const char *title, double low, double high, size_t runs, bool numbered);
float drift_plot_x(const struct drift_plot *plot, double run); // 0: the first run
float drift_plot_y(const struct drift_plot *plot, double value);
/* A level across the plot with its name at the left, above the line. */
void drift_plot_level(const struct drift_plot *plot, double value, const char *name);
/* Values by run, NAN left out: a dot each, or a line that is broken where one is missing. */
void drift_plot_dots(const struct drift_plot *plot, const double *values, size_t from, struct page_colour colour);
void drift_plot_line(const struct drift_plot *plot, const double *values, double scale, size_t from,
                     const struct page_pen *pen);
/* Widens [low, high] by the values that are known. */
void drift_plot_widen(const double *values, size_t count, double *low, double *high);

#endif
