// SPDX-License-Identifier: MIT
/* The plot itself: what is kept of the readings, scales, grid, band, curves. Its labels are in chart_label.c. */
#include "soakledger/chart.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "chart_parts.h"
#include "soakledger/ink.h"
#include "soakledger/words.h"

enum {
    CELSIUS_MC = 1000,
    LOAD_PENS = 6,
};

#define S_MS   INT64_C(1000)
#define MIN_MS (60 * S_MS)
#define H_MS   (60 * MIN_MS)

static const float GUTTER_LEFT = 36, GUTTER_RIGHT = 92, GUTTER_BOTTOM = 33;
static const float AXIS_TEXT = 6.5F, CLOCK_ROW = 17, TICK = 3;
static const float TIME_TICKS_APART = 46, TEMPERATURE_TICKS_APART = 20;
static const float GAP_LEAST_WIDTH = 2, HATCH_SPACING = 3;
// A point closer to the last one drawn than this cannot be seen.
static const float VISIBLE = 0.15F;
static const float THINNER = 0.45F;
static const float DOT_RADIUS = 2.2F;
// All that can stand above a plot; chart_lanes_height says how much does.
static const float LANES_MOST = 51;

static struct chart *chart_open_columns(int64_t from_ms, int64_t to_ms, const struct chart_curve *curves,
                                        size_t count, size_t columns, struct fault *fault) {
    struct chart *chart = calloc(1, sizeof *chart);

    if (chart == NULL)
        goto fail;
    chart->from_ms = from_ms;
    chart->to_ms = to_ms > from_ms ? to_ms : from_ms + 1;
    chart->curves = calloc(count + 1, sizeof *chart->curves);
    chart->envelopes = calloc(count + 1, sizeof *chart->envelopes);
    if (chart->curves == NULL || chart->envelopes == NULL)
        goto fail;
    chart->count = count;
    for (size_t i = 0; i < count; i++) {
        chart->curves[i] = curves[i];
        if (!envelope_begin(&chart->envelopes[i], chart->from_ms, chart->to_ms, curves[i].interval_ms, columns))
            goto fail;
    }
    return chart;
fail:
    chart_free(chart);
    fault_set(fault, EX_OSERR, "not enough memory for a chart of %zu curves", count);
    return NULL;
}

struct chart *chart_open(int64_t from_ms, int64_t to_ms, const struct chart_curve *curves, size_t count,
                         struct fault *fault) {
    return chart_open_columns(from_ms, to_ms, curves, count, CHART_COLUMNS, fault);
}

struct chart *chart_open_fine(int64_t from_ms, int64_t to_ms, const struct chart_curve *curves, size_t count,
                              struct fault *fault) {
    return chart_open_columns(from_ms, to_ms, curves, count, (size_t)CHART_COLUMNS * CHART_FINER, fault);
}

bool chart_is_fine_enough(const struct chart *fine, int64_t from_ms, int64_t to_ms) {
    return (to_ms - from_ms) * CHART_FINER >= fine->to_ms - fine->from_ms;
}

struct chart *chart_cut(const struct chart *fine, int64_t from_ms, int64_t to_ms, struct fault *fault) {
    struct chart *chart;

    if (fine->count > 0)
        envelope_widen(&fine->envelopes[0], &from_ms, &to_ms);
    chart = chart_open(from_ms, to_ms, fine->curves, fine->count, fault);
    for (size_t i = 0; chart != NULL && i < chart->count; i++)
        if (!envelope_take(&chart->envelopes[i], &fine->envelopes[i])) {
            fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
            chart_free(chart);
            return NULL;
        }
    return chart;
}

void chart_free(struct chart *chart) {
    if (chart == NULL)
        return;
    for (size_t i = 0; i < chart->count; i++)
        envelope_release(&chart->envelopes[i]);
    free(chart->curves);
    free(chart->envelopes);
    free(chart);
}

bool chart_feed(struct chart *chart, const struct reading *reading) {
    for (size_t i = 0; i < chart->count; i++)
        if (chart->curves[i].channel_id == reading->channel_id)
            return envelope_feed(&chart->envelopes[i], reading);
    return true;
}

bool chart_close(struct chart *chart) {
    bool kept = true;

    for (size_t i = 0; i < chart->count; i++)
        kept = envelope_end(&chart->envelopes[i]) && kept;
    return kept;
}

bool chart_extremes(const struct chart *chart, size_t curve, int64_t *low_mc, int64_t *high_mc) {
    return envelope_extremes(&chart->envelopes[curve], chart->from_ms, chart->to_ms, low_mc, high_mc);
}

size_t chart_count_points(const struct chart *chart, size_t curve) {
    struct envelope_point points[ENVELOPE_COLUMN_POINTS];
    size_t count = 0;

    for (size_t i = 0; i < chart->envelopes[curve].column_count; i++)
        if (chart->envelopes[curve].columns[i].used)
            count += envelope_points(&chart->envelopes[curve].columns[i], points);
    return count;
}

size_t chart_count_gaps(const struct chart *chart, size_t curve) {
    return chart->envelopes[curve].gap_count;
}

/* ---- scales ---- */

float chart_x(const struct chart_plot *plot, int64_t t_ms) {
    const double share =
        (double)(t_ms - plot->chart->from_ms) / (double)(plot->chart->to_ms - plot->chart->from_ms);

    return plot->area.left + (float)share * (plot->area.right - plot->area.left);
}

float chart_y(const struct chart_plot *plot, int64_t value_mc) {
    const double share = (double)(value_mc - plot->low_mc) / (double)(plot->high_mc - plot->low_mc);

    return plot->area.bottom - (float)share * (plot->area.bottom - plot->area.top);
}

float chart_y_inside(const struct chart_plot *plot, int64_t value_mc) {
    return fminf(fmaxf(chart_y(plot, value_mc), plot->area.top), plot->area.bottom);
}

int64_t chart_to_unit(enum temperature_unit unit, int64_t mc) {
    return unit == UNIT_FAHRENHEIT ? quantity_fahrenheit_from_celsius(mc) : mc;
}

int64_t chart_from_unit(enum temperature_unit unit, int64_t thousandths) {
    return unit == UNIT_FAHRENHEIT ? quantity_celsius_from_fahrenheit(thousandths) : thousandths;
}

/* The smallest step of `steps` that keeps ticks `apart` on an axis of `length` spanning `span`; the last if none.
 */
static int64_t chart_step(const int64_t *steps, size_t count, int64_t span, float length, float apart) {
    size_t i = 0;

    while (i + 1 < count && (double)steps[i] / (double)span * (double)length < (double)apart)
        i++;
    return steps[i];
}

int64_t chart_floor(int64_t value, int64_t step) {
    const int64_t rest = value % step;

    return value - (rest < 0 ? rest + step : rest);
}

int64_t chart_temperature_step(float height, int64_t span) {
    static const int64_t steps[] = {500,   1000,  2000,   5000,   10000,  20000,
                                    25000, 50000, 100000, 200000, 500000, 1000000};

    return chart_step(steps, sizeof steps / sizeof steps[0], span, height, TEMPERATURE_TICKS_APART);
}

/* Whole axis: everything that was read. Zoomed: the band and as much again on either side, and what happened
 * between the beginning and the end of the soak. */
static void chart_find_range(struct chart_plot *plot) {
    const struct chart_dressing *dressing = plot->dressing;
    const bool band = dressing->band_high_mc > dressing->band_low_mc;
    const bool zoom = dressing->zoom && band;
    const int64_t room = zoom ? (dressing->band_high_mc - dressing->band_low_mc) * 3 / 4 : 0;
    int64_t low = band ? dressing->band_low_mc - room : INT64_MAX;
    int64_t high = band ? dressing->band_high_mc + room : INT64_MIN;
    int64_t step;

    for (size_t i = 0; i < plot->chart->count; i++) {
        int64_t least, most;
        const int64_t from = zoom && dressing->soak_begun_ms != 0 ? dressing->soak_begun_ms : plot->chart->from_ms;
        const int64_t to = zoom && dressing->soak_begun_ms != 0 ? dressing->soak_ended_ms : plot->chart->to_ms;

        if (zoom && plot->chart->curves[i].role == ROLE_SETPOINT)
            continue;
        if (!envelope_extremes(&plot->chart->envelopes[i], from, to, &least, &most))
            continue;
        low = least < low ? least : low;
        high = most > high ? most : high;
    }
    for (size_t i = 0; !zoom && i < dressing->band_count; i++) {
        low = dressing->bands[i].low_mc < low ? dressing->bands[i].low_mc : low;
        high = dressing->bands[i].high_mc > high ? dressing->bands[i].high_mc : high;
    }
    if (low > high) {
        low = 0;
        high = CELSIUS_MC;
    }
    low = chart_to_unit(dressing->unit, low);
    high = chart_to_unit(dressing->unit, high);
    step = chart_temperature_step(plot->area.bottom - plot->area.top, high - low + 1);
    low = chart_floor(low, step);
    high = chart_floor(high + step - 1 + step / 4, step); // some air above the highest point
    plot->step = step;
    plot->low_mc = chart_from_unit(dressing->unit, low);
    plot->high_mc = chart_from_unit(dressing->unit, high);
    if (plot->high_mc <= plot->low_mc)
        plot->high_mc = plot->low_mc + CELSIUS_MC;
}

/* ---- axes ---- */

static void chart_draw_temperatures(struct chart_plot *plot) {
    const struct page_pen grid = {INK_GRID, 0.5F, {0}};
    const struct page_type type = {PAGE_REGULAR, AXIS_TEXT, INK_TEXT}, strong = {PAGE_BOLD, AXIS_TEXT, INK_TEXT};
    const enum temperature_unit unit = plot->dressing->unit;
    const int64_t low = chart_to_unit(unit, plot->low_mc), high = chart_to_unit(unit, plot->high_mc);
    const int64_t step = plot->step;

    for (int64_t value = chart_floor(low + step - 1, step); value <= high; value += step) {
        const float y = chart_y(plot, chart_from_unit(unit, value));
        char text[QUANTITY_TEXT_BYTES];

        snprintf(text, sizeof text, step % CELSIUS_MC != 0 ? "%.1f" : "%.0f", (double)value / CELSIUS_MC);
        page_line(plot->page, &grid, plot->area.left, y, plot->area.right, y);
        page_text(plot->page, plot->area.left - TICK - 1, y + AXIS_TEXT / 3, PAGE_RIGHT, &type, text);
    }
    page_text(plot->page, plot->area.left - TICK - 1, plot->area.top - AXIS_TEXT, PAGE_RIGHT, &strong,
              unit == UNIT_FAHRENHEIT ? "°F" : "°C");
}

static void chart_draw_dots(struct chart_plot *plot) {
    for (size_t i = 0; i < plot->dressing->level_count; i++) {
        const struct chart_level *level = &plot->dressing->levels[i];

        if (level->passed_ms != 0)
            page_fill_circle(plot->page, INK_BAND_EDGE, chart_x(plot, level->passed_ms),
                             chart_y_inside(plot, level->value_mc), DOT_RADIUS);
    }
}

static int64_t chart_time_step(const struct chart_plot *plot) {
    static const int64_t steps[] = {S_MS,        2 * S_MS,   5 * S_MS,   10 * S_MS,   15 * S_MS,   30 * S_MS,
                                    MIN_MS,      2 * MIN_MS, 5 * MIN_MS, 10 * MIN_MS, 15 * MIN_MS, 20 * MIN_MS,
                                    30 * MIN_MS, H_MS,       2 * H_MS,   3 * H_MS,    4 * H_MS,    6 * H_MS,
                                    8 * H_MS,    12 * H_MS,  24 * H_MS,  48 * H_MS,   120 * H_MS,  240 * H_MS};

    return chart_step(steps, sizeof steps / sizeof steps[0], plot->chart->to_ms - plot->chart->from_ms,
                      plot->area.right - plot->area.left, TIME_TICKS_APART);
}

static void chart_draw_elapsed(struct chart_plot *plot, int64_t step) {
    const struct page_pen grid = {INK_GRID, 0.5F, {0}}, axis = {INK_TEXT, 0.7F, {0}};
    const struct page_type type = {PAGE_REGULAR, AXIS_TEXT, INK_TEXT}, quiet = {PAGE_REGULAR, AXIS_TEXT, INK_QUIET};
    const int64_t origin = plot->dressing->origin_ms;
    const float y = plot->area.bottom;

    for (int64_t t = chart_floor(plot->chart->from_ms - origin + step - 1, step) + origin; t <= plot->chart->to_ms;
         t += step) {
        const float x = chart_x(plot, t);
        char text[QUANTITY_TEXT_BYTES];

        page_line(plot->page, &grid, x, plot->area.top, x, y);
        page_line(plot->page, &axis, x, y, x, y + TICK);
        if (plot->dressing->seconds)
            snprintf(text, sizeof text, "%lld", (long long)((t - origin) / S_MS));
        else
            words_elapsed(t - origin, text);
        page_text(plot->page, x, y + TICK + AXIS_TEXT, PAGE_CENTRE, &type, text);
    }
    page_text(plot->page, plot->area.right + TICK * 5, y + TICK + AXIS_TEXT, PAGE_LEFT, &quiet,
              plot->dressing->seconds ? "s from leaving the soak"
              : step < MIN_MS         ? "h:min:s from begin"
                                      : "h:min from begin");
}

static void chart_draw_clock(struct chart_plot *plot, int64_t step) {
    enum { DATE_AT = 5, DATE_LENGTH = 5 }; // "MM-DD" within "YYYY-MM-DD hh:mm:ss"
    const struct page_pen axis = {INK_QUIET, 0.5F, {0}};
    const struct page_type type = {PAGE_REGULAR, AXIS_TEXT, INK_QUIET};
    const int64_t shift = plot->dressing->utc_offset_min * MIN_MS;
    const float y = plot->area.bottom + CLOCK_ROW;
    char text[QUANTITY_TEXT_BYTES], offset[QUANTITY_TEXT_BYTES];

    page_line(plot->page, &axis, plot->area.left, y, plot->area.right, y);
    for (int64_t t = chart_floor(plot->chart->from_ms + shift + step - 1, step) - shift; t <= plot->chart->to_ms;
         t += step) {
        const float x = chart_x(plot, t);

        page_line(plot->page, &axis, x, y, x, y + TICK);
        if ((t + shift) % (24 * H_MS) == 0) { // a new day begins: its date says more than 00:00
            quantity_format_time(t, plot->dressing->utc_offset_min, text);
            page_text_part(plot->page, x, y + TICK + AXIS_TEXT, PAGE_CENTRE, &type, text + DATE_AT, DATE_LENGTH);
        } else {
            page_text(plot->page, x, y + TICK + AXIS_TEXT, PAGE_CENTRE, &type,
                      words_clock(t, plot->dressing->utc_offset_min, step < MIN_MS, text));
        }
    }
    snprintf(text, sizeof text, "clock, %s", words_offset(plot->dressing->utc_offset_min, offset));
    page_text(plot->page, plot->area.right + TICK * 5, y + TICK + AXIS_TEXT, PAGE_LEFT, &type, text);
}

/* ---- what is on the plot ---- */

void chart_draw_gaps(struct chart_plot *plot) {
    const struct page_pen pen = {INK_RULE, 0.5F, {0}};

    for (size_t i = 0; i < plot->chart->count; i++)
        for (size_t k = 0; k < plot->chart->envelopes[i].gap_count; k++) {
            const struct envelope_gap *gap = &plot->chart->envelopes[i].gaps[k];
            struct page_frame frame = {chart_x(plot, gap->from_ms), plot->area.top, chart_x(plot, gap->to_ms),
                                       plot->area.bottom};

            if (plot->chart->curves[i].role == ROLE_SETPOINT)
                continue;
            if (frame.right - frame.left < GAP_LEAST_WIDTH) {
                frame.left = fmaxf((frame.left + frame.right - GAP_LEAST_WIDTH) / 2, plot->area.left);
                frame.right = fminf(frame.left + GAP_LEAST_WIDTH, plot->area.right);
            }
            if (k > 0 &&
                frame.left < chart_x(plot, plot->chart->envelopes[i].gaps[k - 1].to_ms) + GAP_LEAST_WIDTH &&
                frame.right - frame.left <= GAP_LEAST_WIDTH)
                continue; // closer than can be seen apart: one mark stands for both
            page_hatch(plot->page, &pen, frame, HATCH_SPACING);
            page_stroke_frame(plot->page, &pen, frame);
            plot->has_gaps = true;
        }
}

/* What a band covers of the plot. */
static struct page_frame chart_band_frame(const struct chart_plot *plot, const struct chart_band *band, bool open) {
    return (struct page_frame){plot->area.left, chart_y(plot, band->high_mc), plot->area.right,
                               open ? plot->area.bottom : chart_y(plot, band->low_mc)};
}

size_t chart_count_bands(const struct chart_plot *plot) {
    return 1 + (plot->dressing->zoom ? 0 : plot->dressing->band_count);
}

struct chart_band chart_band_at(const struct chart_plot *plot, size_t index) {
    const struct chart_dressing *dressing = plot->dressing;

    if (index > 0)
        return dressing->bands[index - 1];
    return (struct chart_band){dressing->band_low_mc, dressing->band_high_mc, dressing->band_text};
}

static void chart_draw_bands(struct chart_plot *plot) {
    for (size_t i = 0; i < chart_count_bands(plot); i++) {
        const struct chart_band band = chart_band_at(plot, i);

        if (band.high_mc > band.low_mc)
            page_fill_frame(plot->page, INK_BAND,
                            chart_band_frame(plot, &band, i == 0 && plot->dressing->band_open_below));
    }
}

static void chart_draw_band_edges(struct chart_plot *plot) {
    const struct page_pen pen = {INK_BAND_EDGE, 0.6F, {4, 2}};

    for (size_t i = 0; i < chart_count_bands(plot); i++) {
        const struct chart_band band = chart_band_at(plot, i);
        const struct page_frame frame = chart_band_frame(plot, &band, false);

        if (band.high_mc <= band.low_mc)
            continue;
        page_line(plot->page, &pen, frame.left, frame.top, frame.right, frame.top);
        if (i > 0 || !plot->dressing->band_open_below)
            page_line(plot->page, &pen, frame.left, frame.bottom, frame.right, frame.bottom);
    }
}

/* Their names stand at the right, where a curve that cools is long below them. */
static void chart_draw_levels(struct chart_plot *plot) {
    const struct page_pen pen = {INK_BAND_EDGE, 0.6F, {4, 2}};
    const struct page_type type = {PAGE_BOLD, AXIS_TEXT, INK_BAND_EDGE};

    for (size_t i = 0; i < plot->dressing->level_count; i++) {
        const float y = chart_y(plot, plot->dressing->levels[i].value_mc);

        if (y < plot->area.top || y > plot->area.bottom)
            continue;
        page_line(plot->page, &pen, plot->area.left, y, plot->area.right, y);
        page_text(plot->page, plot->area.right - TICK, y - 2, PAGE_RIGHT, &type, plot->dressing->levels[i].text);
    }
}

struct page_pen chart_pen(const struct chart *chart, size_t curve) {
    static const struct page_pen loads[LOAD_PENS] = {
        {{0.00F, 0.24F, 0.47F}, 1.3F, {0}},    {{0.70F, 0.24F, 0.02F}, 1.3F, {6, 2}},
        {{0.00F, 0.42F, 0.36F}, 1.3F, {2, 2}}, {{0.42F, 0.16F, 0.48F}, 1.3F, {8, 2, 2, 2}},
        {{0.50F, 0.38F, 0.00F}, 1.6F, {3, 1}}, {{0.25F, 0.25F, 0.28F}, 1.6F, {10, 3}},
    };
    const struct page_pen control = {INK_TEXT, 0.9F, {0}}, setpoint = {INK_QUIET, 0.75F, {1, 2}};
    struct page_pen pen;
    size_t before = 0;

    if (chart->curves[curve].role == ROLE_SETPOINT)
        return setpoint;
    if (chart->curves[curve].role == ROLE_CONTROL || chart->curves[curve].role == ROLE_COLD)
        return control;
    for (size_t i = 0; i < curve; i++)
        if (chart->curves[i].role == chart->curves[curve].role)
            before++;
    pen = loads[before % LOAD_PENS];
    if (before / LOAD_PENS % 2 != 0) // the same dashes once more, clearly thinner
        pen.width *= THINNER;
    return pen;
}

/* Is the curve drawn through from the column before `i`? */
static bool chart_runs_on(const struct envelope *envelope, size_t i) {
    return i > 0 && i < CHART_COLUMNS && envelope->columns[i - 1].used && envelope->columns[i].used &&
           !envelope->columns[i].broken;
}

/* What is drawn of a column. The first and the last reading lie between the lowest and the highest, in a stroke
 * half a point wide: they only show where the curve begins or ends. */
static size_t chart_column_points(const struct envelope *envelope, size_t i, struct envelope_point *points) {
    struct envelope_column column = envelope->columns[i];
    const bool low_first = column.low.t_ms < column.high.t_ms;

    if (!column.used)
        return 0;
    if (chart_runs_on(envelope, i))
        column.first = low_first ? column.low : column.high;
    if (chart_runs_on(envelope, i + 1))
        column.last = low_first ? column.high : column.low;
    return envelope_points(&column, points);
}

static void chart_draw_curve(struct chart_plot *plot, size_t curve) {
    const struct page_pen pen = chart_pen(plot->chart, curve);
    struct page_point points[CHART_COLUMNS * ENVELOPE_COLUMN_POINTS];
    size_t count = 0;

    for (size_t i = 0; i < CHART_COLUMNS; i++) {
        const struct envelope_column *column = &plot->chart->envelopes[curve].columns[i];
        struct envelope_point kept[ENVELOPE_COLUMN_POINTS];
        const size_t kept_count = chart_column_points(&plot->chart->envelopes[curve], i, kept);

        if (column->used && column->broken) {
            page_polyline(plot->page, &pen, points, count);
            count = 0;
        }
        for (size_t k = 0; k < kept_count; k++) {
            const struct page_point point = {chart_x(plot, kept[k].t_ms), chart_y(plot, kept[k].value_mc)};

            if (count >= 2 && fabsf(points[count - 1].y - point.y) < VISIBLE &&
                fabsf(points[count - 2].y - point.y) < VISIBLE)
                count--; // on a level line only its ends matter
            points[count++] = point;
        }
    }
    page_polyline(plot->page, &pen, points, count);
}

static void chart_draw_plot(struct chart_plot *plot) {
    const struct page_pen axis = {INK_TEXT, 0.7F, {0}};
    const int64_t step = chart_time_step(plot);

    chart_draw_bands(plot);
    chart_draw_temperatures(plot);
    chart_draw_elapsed(plot, step);
    if (!plot->dressing->seconds)
        chart_draw_clock(plot, step);
    chart_draw_gaps(plot);
    chart_draw_band_edges(plot);
    chart_draw_levels(plot);
    chart_draw_mark_lines(plot);
    page_clip(plot->page, plot->area);
    for (size_t i = plot->chart->count; i > 0; i--)
        chart_draw_curve(plot, i - 1);
    chart_draw_dots(plot);
    page_unclip(plot->page);
    page_line(plot->page, &axis, plot->area.left, plot->area.top, plot->area.left, plot->area.bottom);
    page_line(plot->page, &axis, plot->area.left, plot->area.bottom, plot->area.right, plot->area.bottom);
}

/* Between the axes: what the lanes above and the axes' own texts leave. */
static float chart_plot_height(const struct chart_dressing *dressing, float height) {
    return height - GUTTER_BOTTOM - (dressing != NULL ? chart_lanes_height(dressing) : LANES_MOST);
}

float chart_extra_height(const struct chart *chart, struct page_document *document, float width, float height) {
    if (!chart_lists_names(chart, document, chart_plot_height(NULL, height), GUTTER_RIGHT))
        return 0;
    return chart_list_height(chart, document, width);
}

void chart_draw(struct chart *chart, struct page_document *document, struct page_frame frame,
                const struct chart_dressing *dressing) {
    struct chart_plot plot = {.chart = chart, .page = document, .dressing = dressing};
    const float width = frame.right - frame.left;
    struct page_frame list = frame;

    plot.lists_names =
        chart_lists_names(chart, document, chart_plot_height(dressing, frame.bottom - frame.top), GUTTER_RIGHT);
    if (plot.lists_names)
        frame.bottom -= chart_list_height(chart, document, width);
    list.top = frame.bottom;
    plot.area = (struct page_frame){frame.left + GUTTER_LEFT, frame.top, frame.right - GUTTER_RIGHT,
                                    frame.bottom - GUTTER_BOTTOM};
    plot.area.top += chart_lanes_height(dressing);
    plot.lanes_top = frame.top;
    plot.labels_right = frame.right;
    chart_find_range(&plot);
    chart_draw_plot(&plot);
    chart_draw_lanes(&plot);
    chart_draw_band_labels(&plot);
    chart_draw_names(&plot);
    if (plot.lists_names)
        chart_draw_list(&plot, list);
}
