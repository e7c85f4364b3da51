// SPDX-License-Identifier: MIT
/* Which curve is which. While there is room each name stands at its curve's end; where there is not, the curves get
 * numbers, and a list beneath the plot says whose they are. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chart_parts.h"
#include "soakledger/ink.h"
#include "soakledger/words.h"

enum { MOST_NAMES = 64, NAME_BYTES = 256, NAME_LINES_MOST = 3, LIST_COLUMNS = 4, LABEL_BYTES = 512 };

static const float NAME_TEXT = 6.5F, NAME_LEADING = 7.5F, NAME_SAMPLE = 13, NAME_LEADER = 11, NAME_APART = 2;
static const float LIST_LEADING = 9.5F, LIST_SAMPLE = 16, LIST_NUMBER = 13, LIST_ABOVE = 7, LIST_GAP = 8;
static const float HALF = 2; // divisor

/* What stands at the right of the plot: one curve, or several whose ends lie close together. */
struct name_label {
    uint64_t curves; // one bit a curve
    float end, size; // where the curves end, and how high the text is
    char text[LABEL_BYTES];
};

static const struct page_type NAME_TYPE = {PAGE_REGULAR, 6.5F, {0.11F, 0.13F, 0.16F}};

static float chart_last_y(const struct chart_plot *plot, size_t curve, bool *any) {
    const struct envelope *envelope = &plot->chart->envelopes[curve];

    for (size_t i = CHART_COLUMNS; i > 0; i--)
        if (envelope->columns[i - 1].used) {
            *any = true;
            return chart_y_inside(plot, envelope->columns[i - 1].last.value_mc);
        }
    *any = false;
    return plot->area.bottom;
}

static size_t chart_count_lines(struct page_document *page, const char *text, float width) {
    size_t lines = 0, next = 0;

    while (*text != '\0') {
        page_fit(page, &NAME_TYPE, text, width, &next);
        text += next;
        lines++;
    }
    return lines;
}

static float chart_name_width(const struct chart_plot *plot) {
    return plot->labels_right - plot->area.right - NAME_LEADER - NAME_SAMPLE - 2;
}

static size_t chart_count_named(const struct chart *chart) {
    return chart->count < MOST_NAMES ? chart->count : MOST_NAMES;
}

bool chart_lists_names(const struct chart *chart, struct page_document *page, float height, float width) {
    const float room = width - NAME_LEADER - NAME_SAMPLE - 2;
    float total = 0;

    for (size_t i = 0; i < chart_count_named(chart); i++) {
        const size_t lines = chart_count_lines(page, chart->curves[i].name, room);

        if (lines > NAME_LINES_MOST)
            return true;
        total += (float)lines * NAME_LEADING + NAME_APART;
    }
    return total > height;
}

/* ---- the list beneath ---- */

static float chart_list_column(float width) {
    return (width + LIST_GAP) / LIST_COLUMNS - LIST_GAP;
}

static size_t chart_list_lines(const struct chart *chart, struct page_document *page, size_t curve, float width) {
    return chart_count_lines(page, chart->curves[curve].name, chart_list_column(width) - LIST_SAMPLE - LIST_NUMBER);
}

/* The highest of the names in a row. */
static float chart_list_row(const struct chart *chart, struct page_document *page, size_t first, float width) {
    size_t most = 1;

    for (size_t i = first; i < first + LIST_COLUMNS && i < chart_count_named(chart); i++) {
        const size_t lines = chart_list_lines(chart, page, i, width);

        most = lines > most ? lines : most;
    }
    return LIST_LEADING + (float)(most - 1) * NAME_LEADING;
}

float chart_list_height(const struct chart *chart, struct page_document *page, float width) {
    float height = LIST_ABOVE;

    for (size_t i = 0; i < chart_count_named(chart); i += LIST_COLUMNS)
        height += chart_list_row(chart, page, i, width);
    return height;
}

static void chart_draw_wrapped(struct page_document *page, float x, float y, float width, const char *text) {
    size_t next = 0;

    for (; *text != '\0'; text += next, y += NAME_LEADING) {
        const size_t length = page_fit(page, &NAME_TYPE, text, width, &next);

        page_text_part(page, x, y, PAGE_LEFT, &NAME_TYPE, text, length);
    }
}

void chart_draw_list(struct chart_plot *plot, struct page_frame frame) {
    const struct page_type strong = {PAGE_BOLD, NAME_TEXT, INK_TEXT};
    const float width = frame.right - frame.left, column = chart_list_column(width);
    float y = frame.top + LIST_ABOVE;

    for (size_t i = 0; i < chart_count_named(plot->chart); i++) {
        const struct page_pen pen = chart_pen(plot->chart, i);
        const float left = frame.left + (float)(i % LIST_COLUMNS) * (column + LIST_GAP);
        char number[QUANTITY_TEXT_BYTES];

        if (i > 0 && i % LIST_COLUMNS == 0)
            y += chart_list_row(plot->chart, plot->page, i - LIST_COLUMNS, width);
        snprintf(number, sizeof number, "%zu", i + 1);
        page_text(plot->page, left + LIST_NUMBER - 3, y + NAME_TEXT, PAGE_RIGHT, &strong, number);
        page_line(plot->page, &pen, left + LIST_NUMBER, y + NAME_TEXT - 2, left + LIST_NUMBER + LIST_SAMPLE - 3,
                  y + NAME_TEXT - 2);
        chart_draw_wrapped(plot->page, left + LIST_NUMBER + LIST_SAMPLE, y + NAME_TEXT,
                           column - LIST_NUMBER - LIST_SAMPLE, plot->chart->curves[i].name);
    }
}

/* ---- beside the plot ---- */

/* "1–4, 7": the curves' numbers. */
static void chart_number_label(struct name_label *label) {
    size_t used = 0;

    label->text[0] = '\0';
    for (size_t i = 0; i < MOST_NAMES && used < sizeof label->text; i++) {
        size_t last = i;

        if ((label->curves >> i & 1) == 0)
            continue;
        while (last + 1 < MOST_NAMES && (label->curves >> (last + 1) & 1) != 0)
            last++;
        used +=
            (size_t)snprintf(label->text + used, sizeof label->text - used, "%s%zu", used > 0 ? ", " : "", i + 1);
        if (last > i && used < sizeof label->text)
            used += (size_t)snprintf(label->text + used, sizeof label->text - used, "%s%zu",
                                     last > i + 1 ? "–" : ", ", last + 1);
        i = last;
    }
}

static void chart_measure_label(struct chart_plot *plot, struct name_label *label) {
    label->size =
        (float)chart_count_lines(plot->page, label->text, chart_name_width(plot)) * NAME_LEADING + NAME_APART;
}

/* In the order of their curves' ends, top down. */
static size_t chart_collect_labels(struct chart_plot *plot, struct name_label *labels) {
    size_t count = 0;

    for (size_t i = 0; i < chart_count_named(plot->chart); i++) {
        bool any;
        const float y = chart_last_y(plot, i, &any);
        size_t at = count;

        if (!any)
            continue;
        for (; at > 0 && labels[at - 1].end > y; at--)
            labels[at] = labels[at - 1];
        labels[at] = (struct name_label){.curves = UINT64_C(1) << i, .end = y};
        if (plot->lists_names)
            chart_number_label(&labels[at]);
        else
            words_clean(plot->chart->curves[i].name, NAME_BYTES, 1, labels[at].text, NAME_BYTES);
        chart_measure_label(plot, &labels[at]);
        count++;
    }
    return count;
}

/* Puts those whose ends lie closest together into one, until all fit. */
static size_t chart_merge_labels(struct chart_plot *plot, struct name_label *labels, size_t count) {
    for (;;) {
        float total = 0;
        size_t closest = 0;

        for (size_t i = 0; i < count; i++)
            total += labels[i].size;
        if (count < 2 || total <= plot->area.bottom - plot->area.top)
            return count;
        for (size_t i = 1; i + 1 < count; i++)
            if (labels[i + 1].end - labels[i].end < labels[closest + 1].end - labels[closest].end)
                closest = i;
        labels[closest].curves |= labels[closest + 1].curves;
        labels[closest].end = (labels[closest].end + labels[closest + 1].end) / HALF;
        chart_number_label(&labels[closest]);
        chart_measure_label(plot, &labels[closest]);
        memmove(&labels[closest + 1], &labels[closest + 2], (count - closest - 2) * sizeof *labels);
        count--;
    }
}

static void chart_draw_label(struct chart_plot *plot, const struct name_label *label, float y) {
    const struct page_pen leader = {INK_QUIET, 0.4F, {0}};
    const float sample = plot->area.right + NAME_LEADER;
    const float left = plot->lists_names ? sample + 1 : sample + NAME_SAMPLE + 2;

    page_line(plot->page, &leader, plot->area.right + 1, label->end, sample - 1, y);
    for (size_t i = 0; i < MOST_NAMES && !plot->lists_names; i++)
        if ((label->curves >> i & 1) != 0) {
            const struct page_pen pen = chart_pen(plot->chart, i);

            page_line(plot->page, &pen, sample, y, sample + NAME_SAMPLE, y);
        }
    chart_draw_wrapped(plot->page, left, y - (label->size - NAME_APART) / HALF + NAME_TEXT - 0.5F,
                       chart_name_width(plot), label->text);
}

void chart_draw_names(struct chart_plot *plot) {
    struct name_label labels[MOST_NAMES];
    float centres[MOST_NAMES], sizes[MOST_NAMES];
    size_t count = chart_collect_labels(plot, labels);

    if (plot->lists_names)
        count = chart_merge_labels(plot, labels, count);
    for (size_t i = 0; i < count; i++) {
        centres[i] = labels[i].end;
        sizes[i] = labels[i].size;
    }
    chart_push_apart(centres, sizes, count, plot->area.top, plot->area.bottom);
    for (size_t i = 0; i < count; i++)
        chart_draw_label(plot, &labels[i], centres[i]);
}
