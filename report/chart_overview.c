// SPDX-License-Identifier: MIT
/* The whole cycle at a glance: every visit's curve, one beside the other, on one axis. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chart_parts.h"
#include "soakledger/ink.h"

enum { CELSIUS_MC = 1000, OVERVIEW_MERGED_MOST = CHART_COLUMNS };

static const float GUTTER = 28, BETWEEN = 7, LEAST_WIDTH = 62, AXIS_TEXT = 6.25F, TICK = 3;
static const float BAR = 2.2F, BAR_DROP = 4.5F, BAND_LEAST = 1.6F, COLUMN = 0.5F;
// Of its even share, the least that a panel gets.
static const float CROWDED = 0.8F;
static const float CHARGE_WIDTH = 1.1F, PLACE_WIDTH = 0.5F;

struct overview_range {
    int64_t low_mc, high_mc;
};

static bool overview_is_drawn(const struct chart_curve *curve) {
    return curve->role != ROLE_SETPOINT;
}

static void overview_widen(struct overview_range *range, int64_t low_mc, int64_t high_mc) {
    range->low_mc = low_mc < range->low_mc ? low_mc : range->low_mc;
    range->high_mc = high_mc > range->high_mc ? high_mc : range->high_mc;
}

static struct overview_range overview_find_range(const struct chart_panel *panels, size_t count) {
    struct overview_range range = {INT64_MAX, INT64_MIN};

    for (size_t i = 0; i < count; i++) {
        for (size_t k = 0; k < panels[i].band_count; k++) {
            const struct chart_band *band = &panels[i].bands[k];

            overview_widen(&range, band->low_mc == INT64_MIN ? band->high_mc : band->low_mc, band->high_mc);
        }
        for (size_t k = 0; panels[i].chart != NULL && k < panels[i].chart->count; k++) {
            int64_t low_mc, high_mc;

            if (overview_is_drawn(&panels[i].chart->curves[k]) &&
                chart_extremes(panels[i].chart, k, &low_mc, &high_mc))
                overview_widen(&range, low_mc, high_mc);
        }
    }
    if (range.low_mc > range.high_mc)
        return (struct overview_range){0, CELSIUS_MC};
    return range;
}

/* Long visits share what those that would be too narrow leave over. */
static void overview_share_width(const struct chart_panel *panels, size_t count, float width, float *widths) {
    const float least = fminf(LEAST_WIDTH, width * CROWDED / (float)count);
    double total = 0;
    float rest = width;
    bool fixed_one = true;

    for (size_t i = 0; i < count; i++) {
        widths[i] = 0;
        total += panels[i].chart != NULL ? (double)(panels[i].chart->to_ms - panels[i].chart->from_ms) : 0;
    }
    while (fixed_one) {
        fixed_one = false;
        for (size_t i = 0; i < count; i++) {
            const double mine =
                panels[i].chart != NULL ? (double)(panels[i].chart->to_ms - panels[i].chart->from_ms) : 0;

            if (widths[i] > 0 || (total > 0 && mine / total * (double)rest >= (double)least))
                continue;
            widths[i] = least;
            rest -= least;
            total -= mine;
            fixed_one = true;
        }
    }
    for (size_t i = 0; i < count; i++)
        if (!(widths[i] > 0))
            widths[i] = (float)((double)(panels[i].chart->to_ms - panels[i].chart->from_ms) / total) * rest;
}

static void overview_draw_bands(struct chart_plot *plot, const struct chart_panel *panel) {
    const struct page_pen edge = {INK_BAND_EDGE, 0.4F, {2, 1}};

    for (size_t i = 0; i < panel->band_count; i++) {
        const struct chart_band *band = &panel->bands[i];
        const bool open = band->low_mc == INT64_MIN;
        struct page_frame frame = {plot->area.left, chart_y_inside(plot, band->high_mc), plot->area.right,
                                   open ? plot->area.bottom : chart_y_inside(plot, band->low_mc)};

        if (frame.bottom - frame.top < BAND_LEAST) {
            frame.top = (frame.top + frame.bottom - BAND_LEAST) / 2;
            frame.bottom = frame.top + BAND_LEAST;
        }
        page_fill_frame(plot->page, INK_BAND, frame);
        page_line(plot->page, &edge, frame.left, frame.top, frame.right, frame.top);
        if (!open)
            page_line(plot->page, &edge, frame.left, frame.bottom, frame.right, frame.bottom);
    }
}

/* Lowest and highest of as many columns as fall on one dot, in the order in which they came. */
static void overview_draw_curve(struct chart_plot *plot, size_t curve, bool charge) {
    const struct envelope *envelope = &plot->chart->envelopes[curve];
    const struct page_pen pen = {charge ? INK_TEXT : INK_QUIET, charge ? CHARGE_WIDTH : PLACE_WIDTH, {0}};
    struct page_point points[2 * OVERVIEW_MERGED_MOST];
    size_t count = 0;

    for (size_t i = 0; i < CHART_COLUMNS;) {
        const float x = envelope->columns[i].used ? chart_x(plot, envelope->columns[i].first.t_ms) : 0;
        struct envelope_column merged = {0};

        for (; i < CHART_COLUMNS; i++) {
            const struct envelope_column *column = &envelope->columns[i];

            if (!column->used)
                continue;
            if (merged.used && (column->broken || chart_x(plot, column->first.t_ms) > x + COLUMN))
                break;
            if (!merged.used)
                merged = *column;
            merged.low = column->low.value_mc < merged.low.value_mc ? column->low : merged.low;
            merged.high = column->high.value_mc > merged.high.value_mc ? column->high : merged.high;
        }
        if (!merged.used)
            break;
        if (merged.broken) {
            page_polyline(plot->page, &pen, points, count);
            count = 0;
        }
        const struct envelope_point *early = merged.low.t_ms < merged.high.t_ms ? &merged.low : &merged.high;
        const struct envelope_point *late = early == &merged.low ? &merged.high : &merged.low;

        points[count++] = (struct page_point){chart_x(plot, early->t_ms), chart_y(plot, early->value_mc)};
        if (late->value_mc != early->value_mc)
            points[count++] = (struct page_point){chart_x(plot, late->t_ms), chart_y(plot, late->value_mc)};
    }
    page_polyline(plot->page, &pen, points, count);
}

static void overview_draw_soak(struct chart_plot *plot, const struct chart_panel *panel) {
    const struct page_pen edge = {INK_TEXT, 0.4F, {0}};
    float begun, ended;

    if (panel->soak_begun_ms == 0)
        return;
    begun = chart_x(plot, panel->soak_begun_ms);
    ended = fmaxf(chart_x(plot, panel->soak_ended_ms), begun + 1);
    page_line(plot->page, &edge, begun, plot->area.top, begun, plot->area.bottom + BAR_DROP);
    page_line(plot->page, &edge, ended, plot->area.top, ended, plot->area.bottom + BAR_DROP);
    page_fill_frame(
        plot->page, INK_TEXT,
        (struct page_frame){begun, plot->area.bottom + BAR_DROP - BAR, ended, plot->area.bottom + BAR_DROP});
}

static void overview_draw_panel(struct chart_plot *plot, const struct chart_panel *panel,
                                enum temperature_unit unit) {
    const struct page_pen axis = {INK_TEXT, 0.6F, {0}}, grid = {INK_GRID, 0.4F, {0}};
    const int64_t low = chart_to_unit(unit, plot->low_mc), high = chart_to_unit(unit, plot->high_mc);

    overview_draw_bands(plot, panel);
    for (int64_t value = chart_floor(low + plot->step - 1, plot->step); value <= high; value += plot->step) {
        const float y = chart_y(plot, chart_from_unit(unit, value));

        page_line(plot->page, &grid, plot->area.left, y, plot->area.right, y);
    }
    if (panel->chart != NULL) {
        chart_draw_gaps(plot);
        page_clip(plot->page, plot->area);
        for (size_t i = panel->chart->count; i > 0; i--)
            if (overview_is_drawn(&panel->chart->curves[i - 1]))
                overview_draw_curve(plot, i - 1, i <= panel->charge_count);
        page_unclip(plot->page);
    }
    page_line(plot->page, &axis, plot->area.left, plot->area.top, plot->area.left, plot->area.bottom);
    page_line(plot->page, &axis, plot->area.left, plot->area.bottom, plot->area.right, plot->area.bottom);
    overview_draw_soak(plot, panel);
}

static void overview_draw_axis(const struct chart_plot *plot, enum temperature_unit unit) {
    const struct page_type type = {PAGE_REGULAR, AXIS_TEXT, INK_TEXT}, strong = {PAGE_BOLD, AXIS_TEXT, INK_TEXT};
    const int64_t low = chart_to_unit(unit, plot->low_mc), high = chart_to_unit(unit, plot->high_mc);
    char text[QUANTITY_TEXT_BYTES];

    for (int64_t value = chart_floor(low + plot->step - 1, plot->step); value <= high; value += plot->step) {
        snprintf(text, sizeof text, plot->step % CELSIUS_MC != 0 ? "%.1f" : "%.0f", (double)value / CELSIUS_MC);
        page_text(plot->page, plot->area.left - TICK, chart_y(plot, chart_from_unit(unit, value)) + AXIS_TEXT / 3,
                  PAGE_RIGHT, &type, text);
    }
    page_text(plot->page, plot->area.left - TICK, plot->area.top - AXIS_TEXT, PAGE_RIGHT, &strong,
              unit == UNIT_FAHRENHEIT ? "°F" : "°C");
}

void chart_draw_overview(struct page_document *document, struct page_frame frame, enum temperature_unit unit,
                         const struct chart_panel *panels, size_t count, struct page_frame *areas) {
    const struct chart_dressing none = {.unit = unit, .band_text = ""};
    const struct overview_range range = overview_find_range(panels, count);
    const float unit_row = 2 * AXIS_TEXT, top = frame.top + unit_row;
    const float between = fminf(BETWEEN, (frame.right - frame.left) / (float)(4 * count));
    const float width = frame.right - frame.left - GUTTER - between * (float)(count - 1);
    float left = frame.left + GUTTER, widths[CHART_MOST_PANELS];
    struct chart_plot plot = {.page = document, .dressing = &none};

    if (count == 0 || count > CHART_MOST_PANELS)
        return;
    plot.step = chart_temperature_step(frame.bottom - top,
                                       chart_to_unit(unit, range.high_mc) - chart_to_unit(unit, range.low_mc) + 1);
    plot.low_mc = chart_from_unit(unit, chart_floor(chart_to_unit(unit, range.low_mc), plot.step));
    plot.high_mc = chart_from_unit(
        unit, chart_floor(chart_to_unit(unit, range.high_mc) + plot.step - 1 + plot.step / 4, plot.step));
    if (plot.high_mc <= plot.low_mc)
        plot.high_mc = plot.low_mc + CELSIUS_MC;
    overview_share_width(panels, count, width, widths);
    for (size_t i = 0; i < count; i++) {
        plot.chart = panels[i].chart;
        plot.area = areas[i] = (struct page_frame){left, top, left + widths[i], frame.bottom};
        overview_draw_panel(&plot, &panels[i], unit);
        if (i == 0)
            overview_draw_axis(&plot, unit);
        left += widths[i] + between;
    }
}
