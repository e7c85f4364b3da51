// SPDX-License-Identifier: MIT
/* chart: temperature over time, drawn from any number of readings in memory that depends on the paper alone.
 *
 * Readings come in order of time per curve and are thinned as they come: each printed column keeps the first, the
 * lowest, the highest and the last, so that no peak is ever lost, however short. A stretch without good readings
 * longer than three intervals breaks the curve and is hatched, at least so wide that it can be seen.
 *
 * Curves can be told apart without colour: each has its own dash and weight, and its name stands at its end, or its
 * number, where there are many.
 */
#ifndef SOAKLEDGER_CHART_H
#define SOAKLEDGER_CHART_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/channel.h"
#include "soakledger/fault.h"
#include "soakledger/page.h"
#include "soakledger/quantity.h"
#include "soakledger/reading.h"

/* A printed column is half a point: 144 to the inch. What is to be enlarged later is kept so many times finer. */
enum { CHART_COLUMNS = 1000, CHART_FINER = 8 };

struct chart;

struct chart_curve {
    int64_t channel_id;
    const char *name; // kept by reference
    enum channel_role role;
    int64_t interval_ms;
};

/* Readings outside [from, to] are passed over. `from_ms` < `to_ms`. */
struct chart *chart_open(int64_t from_ms, int64_t to_ms, const struct chart_curve *curves, size_t count,
                         struct fault *fault);
/* The same, kept CHART_FINER times finer: not to be drawn, but for others to be cut from. */
struct chart *chart_open_fine(int64_t from_ms, int64_t to_ms, const struct chart_curve *curves, size_t count,
                              struct fault *fault);
/* Does the fine chart hold as much of [from, to] as can be printed? */
bool chart_is_fine_enough(const struct chart *fine, int64_t from_ms, int64_t to_ms);
/* A chart of [from, to], and less than one fine column more at either end, from a fine one that is closed. */
struct chart *chart_cut(const struct chart *fine, int64_t from_ms, int64_t to_ms, struct fault *fault);
void chart_free(struct chart *chart); // NULL is allowed
/* False if memory ran short (a gap could not be kept). Readings of channels that are no curves are passed over. */
bool chart_feed(struct chart *chart, const struct reading *reading);
/* No more readings will come: gaps that are still open reach the end. */
bool chart_close(struct chart *chart);

struct chart_mark {
    int64_t t_ms;
    size_t number;
};

/* A planned band beside the one of the soak: that of a hold. */
struct chart_band {
    int64_t low_mc, high_mc;
    const char *text;
};

/* A temperature that matters, as a line across the plot. */
struct chart_level {
    int64_t value_mc;
    int64_t passed_ms; // when the curve passed it, marked by a dot; 0 for no dot
    const char *text;
};

struct chart_dressing {
    enum temperature_unit unit;
    int utc_offset_min;
    int64_t origin_ms;                 // elapsed time counts from here
    int64_t band_low_mc, band_high_mc; // the planned band; equal for none
    bool band_open_below; // the band is everything at or below band_high_mc; band_low_mc only has to be on the axis
    const char *band_text;
    const struct chart_band *bands; // more of them, left out where `zoom`
    size_t band_count;
    const struct chart_level *levels;
    size_t level_count;
    int64_t soak_begun_ms, soak_ended_ms; // 0 for none
    const char *soak_text;                // stands on the dimension line between the two
    const char *begun_word, *ended_word;  // what its ends are; NULL: "soak begins", "soak ends"
    bool seconds;                         // the time axis counts seconds from origin_ms, and shows no clock
    bool zoom;                            // temperature axis around the band only; what lies outside is cut off
    const struct chart_mark *marks;       // in order of time
    size_t mark_count;
};

/* How much higher a chart should be drawn than `height`, as wide as `width`: it has more curves than there is room
 * for names beside it, and lists them beneath. 0 for most. */
float chart_extra_height(const struct chart *chart, struct page_document *document, float width, float height);
/* Draws into the frame of the document's current page. */
void chart_draw(struct chart *chart, struct page_document *document, struct page_frame frame,
                const struct chart_dressing *dressing);

/* One visit within the overview of a whole cycle. */
struct chart_panel {
    struct chart *chart;            // of its run; NULL for a panel without one
    size_t charge_count;            // so many of its first curves stand for the charge
    const struct chart_band *bands; // planned; one that is open below has low_mc INT64_MIN
    size_t band_count;
    int64_t soak_begun_ms, soak_ended_ms; // 0 for none
};

/* More are not drawn. */
enum { CHART_MOST_PANELS = 64 };

/* Draws the panels side by side over one temperature axis, each as wide as it was long, but none too narrow to be
 * seen: what stands for the charge heavily, what controls the place thinly, no setpoint; the soak as a bar beneath.
 * `areas` gets where each panel's plot came to lie. */
void chart_draw_overview(struct page_document *document, struct page_frame frame, enum temperature_unit unit,
                         const struct chart_panel *panels, size_t count, struct page_frame *areas);

/* What is kept, for tests: lowest and highest kept value of a curve, false if it has none; points; gaps. */
bool chart_extremes(const struct chart *chart, size_t curve, int64_t *low_mc, int64_t *high_mc);
size_t chart_count_points(const struct chart *chart, size_t curve);
size_t chart_count_gaps(const struct chart *chart, size_t curve);

/* Moves `centres` (rising) as little as needed so that items of `sizes` no longer overlap within [low, high],
 * keeping their order. Where they cannot all fit they are spread evenly. */
void chart_push_apart(float *centres, const float *sizes, size_t count, float low, float high);

#endif
