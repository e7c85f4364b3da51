// SPDX-License-Identifier: MIT
/* Curves as SVG 1.1: one panel a run, thinned as on the sheets, so that no peak is lost. Gaps break the curve and
 * are hatched. Curves differ in dash and weight as well as in colour, and their names stand beside them. */
#include <stdlib.h>
#include <string.h>

#include "chart_parts.h"
#include "export_parts.h"
#include "soakledger/replay.h"
#include "soakledger/words.h"

enum {
    WIDTH = 1000,
    PANEL_HEIGHT = 380,
    TITLE_HEIGHT = 46,
    LEFT = 70,
    RIGHT = 160, // names of curves
    TOP = 26,
    BOTTOM = 44,
    GAP_LEAST = 2,
    NAME_HEIGHT = 15,
    MOST_CURVES = 32,
    TICKS = 6,
    COLOUR = 255,
    MS_PER_MIN = 60000,
    LEAST_SPAN_MC = 20000,
};

struct svg_panel {
    FILE *out;
    const struct export *export;
    const struct export_run *run;
    struct chart *chart;
    int64_t low_mc, high_mc;
    double top;
};

/* Text for XML: what people typed cannot become markup. */
static void svg_text(FILE *out, const char *text) {
    char clean[1024];

    words_clean(text, strlen(text), 0, clean, sizeof clean);
    for (const char *c = clean; *c != '\0'; c++)
        switch (*c) {
        case '<': fputs("&lt;", out); break;
        case '>': fputs("&gt;", out); break;
        case '&': fputs("&amp;", out); break;
        case '"': fputs("&quot;", out); break;
        default: fputc(*c, out);
        }
}

static double svg_x(const struct svg_panel *panel, int64_t t_ms) {
    const double share =
        (double)(t_ms - panel->chart->from_ms) / (double)(panel->chart->to_ms - panel->chart->from_ms);

    return LEFT + (share < 0 ? 0 : share > 1 ? 1 : share) * (WIDTH - LEFT - RIGHT);
}

static double svg_y(const struct svg_panel *panel, int64_t value_mc) {
    const double share = (double)(panel->high_mc - value_mc) / (double)(panel->high_mc - panel->low_mc);

    return panel->top + TOP + (share < 0 ? 0 : share > 1 ? 1 : share) * (PANEL_HEIGHT - TOP - BOTTOM);
}

static void svg_set_range(struct svg_panel *panel, const struct plan_operation *soak) {
    bool known = false;

    for (size_t i = 0; i < panel->chart->count; i++) {
        int64_t low, high;

        if (!chart_extremes(panel->chart, i, &low, &high))
            continue;
        panel->low_mc = !known || low < panel->low_mc ? low : panel->low_mc;
        panel->high_mc = !known || high > panel->high_mc ? high : panel->high_mc;
        known = true;
    }
    if (soak != NULL && known && soak->temperature_mc + soak->above_mc > panel->high_mc)
        panel->high_mc = soak->temperature_mc + soak->above_mc;
    if (panel->high_mc - panel->low_mc < LEAST_SPAN_MC) {
        panel->low_mc = (panel->low_mc + panel->high_mc - LEAST_SPAN_MC) / 2;
        panel->high_mc = panel->low_mc + LEAST_SPAN_MC;
    }
}

static void svg_temperature_axis(const struct svg_panel *panel) {
    static const int64_t steps[] = {5000, 10000, 20000, 25000, 50000, 100000, 200000, 500000, 1000000};
    const size_t count = sizeof steps / sizeof steps[0];
    char text[QUANTITY_TEXT_BYTES];
    size_t i = 0;

    while (i + 1 < count && (panel->high_mc - panel->low_mc) / steps[i] > TICKS)
        i++;
    for (int64_t value = panel->low_mc / steps[i] * steps[i]; value <= panel->high_mc; value += steps[i]) {
        if (value < panel->low_mc)
            continue;
        fprintf(panel->out,
                "<line x1=\"%d\" y1=\"%.1f\" x2=\"%d\" y2=\"%.1f\" stroke=\"#e0e3e6\"/>"
                "<text x=\"%d\" y=\"%.1f\" text-anchor=\"end\">%s</text>\n",
                LEFT, svg_y(panel, value), WIDTH - RIGHT, svg_y(panel, value), LEFT - 6, svg_y(panel, value) + 4,
                quantity_format_temperature(value, panel->export->config->unit, 0, text));
    }
}

static void svg_time_axis(const struct svg_panel *panel) {
    static const int64_t steps_min[] = {1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 10080};
    const size_t count = sizeof steps_min / sizeof steps_min[0];
    const int64_t from_ms = panel->chart->from_ms, to_ms = panel->chart->to_ms;
    const int offset_min = panel->export->config->utc_offset_min;
    const double y = panel->top + PANEL_HEIGHT - BOTTOM;
    char text[QUANTITY_TEXT_BYTES];
    int64_t step_ms, shift_ms = (int64_t)offset_min * MS_PER_MIN;
    size_t i = 0;

    while (i + 1 < count && (to_ms - from_ms) / (steps_min[i] * MS_PER_MIN) > 2 * TICKS)
        i++;
    step_ms = steps_min[i] * MS_PER_MIN;
    for (int64_t t_ms = (from_ms + shift_ms) / step_ms * step_ms - shift_ms; t_ms <= to_ms; t_ms += step_ms) {
        if (t_ms < from_ms)
            continue;
        fprintf(panel->out,
                "<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" stroke=\"#5c636e\"/>"
                "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"middle\">%s</text>\n",
                svg_x(panel, t_ms), y, svg_x(panel, t_ms), y + 5, svg_x(panel, t_ms), y + 18,
                words_clock(t_ms, offset_min, to_ms - from_ms < 2 * TICKS * MS_PER_MIN, text));
    }
    fprintf(panel->out,
            "<rect x=\"%d\" y=\"%.1f\" width=\"%d\" height=\"%d\" fill=\"none\" stroke=\"#5c636e\"/>\n"
            "<text x=\"%d\" y=\"%.1f\" text-anchor=\"middle\">%s, ",
            LEFT, panel->top + TOP, WIDTH - LEFT - RIGHT, PANEL_HEIGHT - TOP - BOTTOM,
            LEFT + (WIDTH - LEFT - RIGHT) / 2, y + 34, quantity_format_time(from_ms, offset_min, text));
    fprintf(panel->out, "times in %s</text>\n", words_offset(offset_min, text));
}

static void svg_band(const struct svg_panel *panel, const struct plan_operation *soak) {
    const int64_t low = soak->kind == OPERATION_COLD ? panel->low_mc : soak->temperature_mc - soak->below_mc;
    const int64_t high =
        soak->kind == OPERATION_COLD ? soak->temperature_mc : soak->temperature_mc + soak->above_mc;
    char text[QUANTITY_TEXT_BYTES];

    fprintf(panel->out,
            "<rect x=\"%d\" y=\"%.1f\" width=\"%d\" height=\"%.1f\" fill=\"#ededdb\"/>"
            "<line x1=\"%d\" y1=\"%.1f\" x2=\"%d\" y2=\"%.1f\" stroke=\"#6b5c1f\" stroke-dasharray=\"4 3\"/>\n"
            "<text x=\"%d\" y=\"%.1f\" fill=\"#6b5c1f\">planned band, from %s</text>\n",
            LEFT, svg_y(panel, high), WIDTH - LEFT - RIGHT, svg_y(panel, low) - svg_y(panel, high), LEFT,
            svg_y(panel, low), WIDTH - RIGHT, svg_y(panel, low), LEFT + 6, svg_y(panel, low) + 14,
            quantity_format_temperature(low, panel->export->config->unit, 0, text));
}

static void svg_gaps(const struct svg_panel *panel, const struct envelope *envelope) {
    for (size_t i = 0; i < envelope->gap_count; i++) {
        const double x = svg_x(panel, envelope->gaps[i].from_ms);
        const double width = svg_x(panel, envelope->gaps[i].to_ms) - x;

        fprintf(panel->out,
                "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%d\" fill=\"url(#gap)\"><title>no good "
                "reading</title></rect>\n",
                x, panel->top + TOP, width < GAP_LEAST ? GAP_LEAST : width, PANEL_HEIGHT - TOP - BOTTOM);
    }
}

static void svg_path(const struct svg_panel *panel, size_t curve) {
    const struct envelope *envelope = &panel->chart->envelopes[curve];
    const struct page_pen pen = chart_pen(panel->chart, curve);
    bool on = false;

    fprintf(panel->out, "<path fill=\"none\" stroke=\"#%02x%02x%02x\" stroke-width=\"%.2f\"",
            (unsigned)(pen.colour.red * COLOUR), (unsigned)(pen.colour.green * COLOUR),
            (unsigned)(pen.colour.blue * COLOUR), (double)pen.width);
    if (pen.dash[0] > 0)
        fprintf(panel->out, " stroke-dasharray=\"%g %g\"", (double)pen.dash[0],
                (double)(pen.dash[1] > 0 ? pen.dash[1] : pen.dash[0]));
    fputs(" d=\"", panel->out);
    for (size_t i = 0; i < envelope->column_count; i++) {
        const struct envelope_column *column = &envelope->columns[i];
        struct envelope_point points[ENVELOPE_COLUMN_POINTS];
        const size_t count = column->used ? envelope_points(column, points) : 0;

        on = on && !(column->used && column->broken);
        for (size_t k = 0; k < count; k++) {
            fprintf(panel->out, "%c%.1f %.1f", on ? 'L' : 'M', svg_x(panel, points[k].t_ms),
                    svg_y(panel, points[k].value_mc));
            on = true;
        }
    }
    fputs("\"/>\n", panel->out);
}

static int svg_compare(const void *a, const void *b) {
    const double *left = a, *right = b;

    return (left[0] > right[0]) - (left[0] < right[0]);
}

/* Names stand where their curves end, pushed apart, in that order. */
static void svg_names(const struct svg_panel *panel) {
    double places[MOST_CURVES][2]; // where, and whose
    const size_t count = panel->chart->count;
    double below = panel->top;

    for (size_t i = 0; i < count; i++) {
        const struct envelope *envelope = &panel->chart->envelopes[i];
        int64_t last_mc = panel->low_mc;

        for (size_t k = 0; k < envelope->column_count; k++)
            if (envelope->columns[k].used)
                last_mc = envelope->columns[k].last.value_mc;
        places[i][0] = svg_y(panel, last_mc);
        places[i][1] = (double)i;
    }
    qsort(places, count, sizeof places[0], svg_compare);
    for (size_t i = 0; i < count; i++) { // from above, and never over the one before
        const double room = panel->top + PANEL_HEIGHT - BOTTOM - (double)(count - 1 - i) * NAME_HEIGHT;
        const size_t curve = (size_t)places[i][1];
        const struct page_pen pen = chart_pen(panel->chart, curve);
        double y = places[i][0] > room ? room : places[i][0];

        y = y < below + NAME_HEIGHT ? below + NAME_HEIGHT : y;
        below = y;
        fprintf(panel->out, "<text x=\"%d\" y=\"%.1f\" fill=\"#%02x%02x%02x\">", WIDTH - RIGHT + 6, y + 4,
                (unsigned)(pen.colour.red * COLOUR), (unsigned)(pen.colour.green * COLOUR),
                (unsigned)(pen.colour.blue * COLOUR));
        svg_text(panel->out, panel->chart->curves[curve].name);
        fputs("</text>\n", panel->out);
    }
}

static void svg_title(const struct svg_panel *panel) {
    const struct export_run *run = panel->run;

    fprintf(panel->out, "<text x=\"%d\" y=\"%.1f\" font-weight=\"bold\">run %lld, oven ", LEFT,
            panel->top + TOP - 8, (long long)run->run.run_id);
    svg_text(panel->out, run->oven);
    if (run->simulated)
        fputs(" - SIMULATED CLOCK, not a record of real time", panel->out);
    if (run->import != NULL) {
        fputs(" - IMPORTED: ", panel->out);
        svg_text(panel->out, run->import->source);
    }
    fputs("</text>\n", panel->out);
}

static int svg_feed(struct svg_panel *panel, struct fault *fault) {
    struct ledger_cursor *cursor =
        replay_open_cursor(panel->export->ledger, panel->run->channels, panel->run->channel_count,
                           panel->run->from_ms, panel->run->to_ms, fault);
    struct reading reading;
    int more = cursor == NULL ? -1 : 1;

    while (more == 1 && (more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        replay_correct(panel->run->channels, panel->run->channel_count, &reading);
        if (!chart_feed(panel->chart, &reading))
            more = fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
    }
    ledger_close_cursor(cursor);
    if (more == 0 && !chart_close(panel->chart))
        return fault_set(fault, EX_OSERR, "not enough memory for the gaps of a curve");
    return more;
}

static void svg_draw(struct svg_panel *panel) {
    const struct plan_operation *soak =
        panel->export->plan != NULL && panel->run->run.visit < panel->export->plan->visit_count
            ? plan_visit_soak(panel->export->plan, panel->run->run.visit)
            : NULL;

    svg_set_range(panel, soak);
    svg_title(panel);
    if (soak != NULL)
        svg_band(panel, soak);
    svg_temperature_axis(panel);
    for (size_t i = 0; i < panel->chart->count; i++)
        svg_gaps(panel, &panel->chart->envelopes[i]);
    for (size_t i = 0; i < panel->chart->count; i++)
        svg_path(panel, i);
    svg_time_axis(panel);
    svg_names(panel);
}

static int svg_panel(const struct export *export, size_t number, FILE *out, struct fault *fault) {
    const struct export_run *run = &export->runs[number];
    struct svg_panel panel = {.out = out, .export = export, .run = run};
    struct chart_curve curves[MOST_CURVES];
    size_t count = 0;
    int result;

    panel.top = TITLE_HEIGHT + (double)number * PANEL_HEIGHT;
    for (size_t i = 0; i < run->channel_count && count < MOST_CURVES; i++)
        if (run->channels[i].role != ROLE_OUTPUT)
            curves[count++] = (struct chart_curve){run->channels[i].channel_id, run->channels[i].name,
                                                   run->channels[i].role, run->channels[i].interval_ms};
    if (count == 0)
        return fault_set(fault, EX_NOINPUT, "run %lld has no temperature to draw", (long long)run->run.run_id);
    panel.chart =
        chart_open(run->from_ms, run->to_ms > run->from_ms ? run->to_ms : run->from_ms + 1, curves, count, fault);
    if (panel.chart == NULL)
        return -1;
    result = svg_feed(&panel, fault);
    if (result == 0)
        svg_draw(&panel);
    chart_free(panel.chart);
    return result;
}

int export_svg(const struct export *export, FILE *out, struct fault *fault) {
    const int height = TITLE_HEIGHT + (int)export->run_count * PANEL_HEIGHT;

    fprintf(out,
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%d\" height=\"%d\" viewBox=\"0 0 %d %d\" "
            "font-family=\"DejaVu Sans, sans-serif\" font-size=\"12\" fill=\"#1c2129\">\n"
            "<defs><pattern id=\"gap\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" "
            "patternTransform=\"rotate(45)\"><line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"6\" stroke=\"#8c121f\" "
            "stroke-width=\"1.4\"/></pattern></defs>\n"
            "<rect width=\"%d\" height=\"%d\" fill=\"#ffffff\"/>\n<text x=\"%d\" y=\"26\" font-size=\"15\" "
            "font-weight=\"bold\">",
            WIDTH, height, WIDTH, height, WIDTH, height, LEFT);
    if (export->batch_id != 0)
        fprintf(out, "batch %lld: ", (long long)export->batch_id);
    svg_text(out, export->batch_id != 0 ? export->charge : export->config->shop_name);
    fputs("</text>\n", out);
    for (size_t i = 0; i < export->run_count; i++)
        if (svg_panel(export, i, out, fault) != 0)
            return -1;
    fputs("</svg>\n", out);
    return 0;
}
