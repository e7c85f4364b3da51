// SPDX-License-Identifier: MIT
/* Small plots over runs: a value per run, with what it is held against. */
#include <math.h>
#include <stdio.h>

#include "drift_parts.h"
#include "soakledger/ink.h"

enum { TICKS = 4, RUN_TICKS = 10 };

static const float AXIS_SIZE = 6.5F, TITLE_SIZE = 7.75F, TITLE_LEADING = 12, GUTTER = 30, BELOW = 12, TICK = 3,
                   DOT = 1.7F;
static const double AIR = 0.08; // above and below the values

static double nice_step(double range, int ticks) {
    const double rough = range / ticks, power = pow(10, floor(log10(rough)));
    const double share = rough / power;

    return power * (share <= 1 ? 1 : share <= 2 ? 2 : share <= 5 ? 5 : 10);
}

float drift_plot_x(const struct drift_plot *plot, double run) {
    const double last = plot->runs > 1 ? (double)plot->runs - 1 : 1;
    const double inset = 4;

    return plot->area.left + (float)(inset + run / last * (plot->area.right - plot->area.left - 2 * inset));
}

float drift_plot_y(const struct drift_plot *plot, double value) {
    return plot->area.bottom -
           (float)((value - plot->low) / (plot->high - plot->low)) * (plot->area.bottom - plot->area.top);
}

void drift_plot_widen(const double *values, size_t count, double *low, double *high) {
    for (size_t i = 0; i < count; i++) {
        if (isnan(values[i]))
            continue;
        *low = fmin(*low, values[i]);
        *high = fmax(*high, values[i]);
    }
}

static void draw_values_axis(const struct drift_plot *plot) {
    const struct page_pen grid = {INK_GRID, 0.5F, {0}};
    const struct page_type type = {PAGE_REGULAR, AXIS_SIZE, INK_TEXT};
    const double step = nice_step(plot->high - plot->low, TICKS);
    const int decimals = step >= 1 ? 0 : (int)lround(-floor(log10(step)));

    for (long tick = lround(ceil(plot->low / step)); (double)tick * step <= plot->high; tick++) {
        const double value = (double)tick * step;
        char text[QUANTITY_TEXT_BYTES];

        snprintf(text, sizeof text, "%.*f", decimals, value);
        page_line(plot->page, &grid, plot->area.left, drift_plot_y(plot, value), plot->area.right,
                  drift_plot_y(plot, value));
        page_text(plot->page, plot->area.left - TICK, drift_plot_y(plot, value) + AXIS_SIZE / 3, PAGE_RIGHT, &type,
                  text);
    }
}

static void draw_runs_axis(const struct drift_plot *plot, bool numbered) {
    const struct page_pen axis = {INK_TEXT, 0.7F, {0}};
    const struct page_type type = {PAGE_REGULAR, AXIS_SIZE, INK_TEXT};
    const size_t step = (size_t)fmax(1, nice_step((double)plot->runs, RUN_TICKS));

    if (numbered)
        page_text(plot->page, plot->area.left - TICK, plot->area.bottom + TICK + AXIS_SIZE, PAGE_RIGHT, &type,
                  "run");
    for (size_t run = 1; run <= plot->runs; run = run == 1 && step > 1 ? step : run + step) {
        const float x = drift_plot_x(plot, (double)run - 1);
        char text[QUANTITY_TEXT_BYTES];

        page_line(plot->page, &axis, x, plot->area.bottom, x, plot->area.bottom + TICK);
        snprintf(text, sizeof text, "%zu", run);
        if (numbered)
            page_text(plot->page, x, plot->area.bottom + TICK + AXIS_SIZE, PAGE_CENTRE, &type, text);
    }
}

void drift_plot_begin(struct drift_plot *plot, struct page_document *page, struct page_frame frame,
                      const char *title, double low, double high, size_t runs, bool numbered) {
    const struct page_pen axis = {INK_TEXT, 0.7F, {0}};
    const struct page_type type = {PAGE_BOLD, TITLE_SIZE, INK_TEXT};
    const double air = fmax((high - low) * AIR, 1e-3);

    *plot = (struct drift_plot){.page = page, .low = low - air, .high = high + air, .runs = runs};
    plot->area = (struct page_frame){frame.left + GUTTER, frame.top + TITLE_LEADING, frame.right,
                                     frame.bottom - (numbered ? BELOW : TICK)};
    page_text(page, frame.left, frame.top + TITLE_SIZE - 1, PAGE_LEFT, &type, title);
    draw_values_axis(plot);
    draw_runs_axis(plot, numbered);
    page_line(page, &axis, plot->area.left, plot->area.top, plot->area.left, plot->area.bottom);
    page_line(page, &axis, plot->area.left, plot->area.bottom, plot->area.right, plot->area.bottom);
}

void drift_plot_level(const struct drift_plot *plot, double value, const char *name) {
    const struct page_pen pen = {INK_BAND_EDGE, 0.7F, {4, 2}};
    const struct page_type type = {PAGE_REGULAR, AXIS_SIZE, INK_BAND_EDGE};
    const float y = drift_plot_y(plot, value);

    if (y < plot->area.top || y > plot->area.bottom)
        return;
    page_line(plot->page, &pen, plot->area.left, y, plot->area.right, y);
    page_text(plot->page, plot->area.left + TICK, y - 2, PAGE_LEFT, &type, name); // changes are at the other end
}

void drift_plot_dots(const struct drift_plot *plot, const double *values, size_t from, struct page_colour colour) {
    for (size_t i = from; i < plot->runs; i++)
        if (!isnan(values[i]))
            page_fill_circle(plot->page, colour, drift_plot_x(plot, (double)i), drift_plot_y(plot, values[i]), DOT);
}

void drift_plot_line(const struct drift_plot *plot, const double *values, double scale, size_t from,
                     const struct page_pen *pen) {
    for (size_t i = from + 1; i < plot->runs; i++)
        if (!isnan(values[i]) && !isnan(values[i - 1]))
            page_line(plot->page, pen, drift_plot_x(plot, (double)i - 1), drift_plot_y(plot, values[i - 1] * scale),
                      drift_plot_x(plot, (double)i), drift_plot_y(plot, values[i] * scale));
}
