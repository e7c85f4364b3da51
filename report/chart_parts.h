// SPDX-License-Identifier: MIT
/* chart_parts: what the two halves of the chart share and nobody else needs. */
#ifndef SOAKLEDGER_CHART_PARTS_H
#define SOAKLEDGER_CHART_PARTS_H

#include "soakledger/chart.h"
#include "soakledger/envelope.h"

struct chart {
    int64_t from_ms, to_ms;
    size_t count;
    struct chart_curve *curves;
    struct envelope *envelopes;
};

enum { CHART_MOST_BANDS = 8 };

struct chart_plot {
    struct chart *chart;
    struct page_document *page;
    const struct chart_dressing *dressing;
    struct page_frame area; // within the axes
    float lanes_top;        // the lanes of labels lie between this and area.top
    float labels_right;     // names of curves lie between area.right and this
    int64_t low_mc, high_mc;
    int64_t step; // between ticks, thousandths of the unit; both ends lie on ticks
    bool has_gaps;
    bool lists_names;                           // beneath the plot, for want of room beside it
    struct page_frame labels[CHART_MOST_BANDS]; // of bands, as far as they are placed
    size_t label_count;
};

int64_t chart_to_unit(enum temperature_unit unit, int64_t mc); // thousandths of the unit
int64_t chart_from_unit(enum temperature_unit unit, int64_t thousandths);
int64_t chart_floor(int64_t value, int64_t step);
/* Between ticks of a temperature axis so high that spans so much, in thousandths of the unit. */
int64_t chart_temperature_step(float height, int64_t span);
void chart_draw_gaps(struct chart_plot *plot);
float chart_x(const struct chart_plot *plot, int64_t t_ms);
float chart_y(const struct chart_plot *plot, int64_t value_mc);
float chart_y_inside(const struct chart_plot *plot, int64_t value_mc); // moved to the nearest edge if outside
struct page_pen chart_pen(const struct chart *chart, size_t curve);

float chart_lanes_height(const struct chart_dressing *dressing);
void chart_draw_mark_lines(struct chart_plot *plot);
void chart_draw_lanes(struct chart_plot *plot);
void chart_draw_band_labels(struct chart_plot *plot);
size_t chart_count_bands(const struct chart_plot *plot);
struct chart_band chart_band_at(const struct chart_plot *plot, size_t index); // 0: the soak's
void chart_draw_names(struct chart_plot *plot);
/* Is there no room for the names at their curves' ends, `height` high and `width` wide? Then they make a list. */
bool chart_lists_names(const struct chart *chart, struct page_document *page, float height, float width);
float chart_list_height(const struct chart *chart, struct page_document *page, float width);
void chart_draw_list(struct chart_plot *plot, struct page_frame frame);

#endif
