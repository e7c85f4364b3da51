// SPDX-License-Identifier: MIT
/* The chart's labels: numbered marks, the dimension line of the soak, the band's label, the curves' names. None may
 * cover another: labels in a row or a column are pushed apart, and a label inside the plot looks for a free place.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "chart_parts.h"
#include "soakledger/ink.h"
#include "soakledger/words.h"

enum { MOST_MARKS = 64, SOAK_LABELS = 3, MARK_LINES_MOST = 24, NAME_BYTES = 256, HATCHED = 5, TOLERABLE = 4 };

static const float MARK_LANE = 19, MARK_RADIUS = 5.5F, MARK_TEXT = 6, MARK_APART = 1.5F;
static const float SOAK_LANE = 22, SOAK_TEXT = 6.5F, SOAK_APART = 10, ARROW = 4;
static const float HALF = 2; // divisor
static const float LABEL_INSET = 5;

float chart_lanes_height(const struct chart_dressing *dressing) {
    const float unit_row = 10; // the unit stands above its axis

    return unit_row + (dressing->mark_count > 0 ? MARK_LANE : 0) + (dressing->soak_begun_ms != 0 ? SOAK_LANE : 0);
}

/* Least squares under order and distance: neighbours that would overlap merge into blocks around their common mean
 * (pool adjacent violators). */
void chart_push_apart(float *centres, const float *sizes, size_t count, float low, float high) {
    float offset[MOST_MARKS], mean[MOST_MARKS], total = 0;
    size_t block_size[MOST_MARKS], blocks = 0, at = 0;

    if (count == 0 || count > MOST_MARKS)
        return;
    for (size_t i = 0; i < count; i++) {
        offset[i] = total + sizes[i] / HALF;
        total += sizes[i];
    }
    for (size_t i = 0; i < count; i++) {
        mean[blocks] = centres[i] - offset[i];
        block_size[blocks++] = 1;
        while (blocks > 1 && mean[blocks - 2] > mean[blocks - 1]) {
            const float a = (float)block_size[blocks - 2], b = (float)block_size[blocks - 1];

            mean[blocks - 2] = (mean[blocks - 2] * a + mean[blocks - 1] * b) / (a + b);
            block_size[blocks - 2] += block_size[blocks - 1];
            blocks--;
        }
    }
    for (size_t block = 0; block < blocks; block++)
        for (size_t k = 0; k < block_size[block]; k++, at++) {
            const float place = fmaxf(fminf(mean[block], high - total), low);

            centres[at] = total > high - low ? low + (high - low) * offset[at] / total : place + offset[at];
        }
}

/* ---- numbered marks ---- */

struct mark_group {
    size_t first, last;
    float x, width;
};

static void chart_mark_text(const struct mark_group *group, char *text, size_t size) {
    if (group->first == group->last)
        snprintf(text, size, "%zu", group->first);
    else
        snprintf(text, size, "%zu–%zu", group->first, group->last);
}

/* Marks whose moments lie within `reach` points of the first of them share one group. */
static size_t chart_group_marks(struct chart_plot *plot, float reach, struct mark_group *groups) {
    const struct page_type type = {PAGE_BOLD, MARK_TEXT, INK_PAPER};
    const struct chart_dressing *dressing = plot->dressing;
    float anchor = 0;
    size_t count = 0;

    for (size_t i = 0; i < dressing->mark_count; i++) {
        const float x = chart_x(plot, dressing->marks[i].t_ms);

        if (x < plot->area.left - 1 || x > plot->area.right + 1)
            continue;
        if (count > 0 && x - anchor < reach) {
            groups[count - 1].last = dressing->marks[i].number;
            continue;
        }
        if (count == MOST_MARKS)
            return MOST_MARKS + 1;
        anchor = x;
        groups[count++] = (struct mark_group){dressing->marks[i].number, dressing->marks[i].number, x, 0};
    }
    for (size_t i = 0; i < count; i++) {
        char text[QUANTITY_TEXT_BYTES];

        chart_mark_text(&groups[i], text, sizeof text);
        groups[i].width = fmaxf(2 * MARK_RADIUS, page_measure(plot->page, &type, text) + MARK_RADIUS) + MARK_APART;
    }
    return count;
}

/* Groups marks more and more coarsely until they fit side by side. */
static size_t chart_fit_marks(struct chart_plot *plot, struct mark_group *groups) {
    for (float reach = 0.5F;; reach *= 2) { // half a point: nobody could see them apart
        const size_t count = chart_group_marks(plot, reach, groups);
        float total = 0;

        for (size_t i = 0; i < count && count <= MOST_MARKS; i++)
            total += groups[i].width;
        if (count <= MOST_MARKS && total <= plot->area.right - plot->area.left)
            return count;
    }
}

static void chart_draw_marks(struct chart_plot *plot, float y) {
    const struct page_type type = {PAGE_BOLD, MARK_TEXT, INK_PAPER};
    const struct page_pen leader = {INK_QUIET, 0.5F, {0}};
    struct mark_group groups[MOST_MARKS];
    float centres[MOST_MARKS], sizes[MOST_MARKS];
    const size_t count = chart_fit_marks(plot, groups);

    for (size_t i = 0; i < count; i++) {
        centres[i] = groups[i].x;
        sizes[i] = groups[i].width;
    }
    chart_push_apart(centres, sizes, count, plot->area.left, plot->area.right);
    for (size_t i = 0; i < count; i++) {
        const float half = (sizes[i] - MARK_APART) / HALF - MARK_RADIUS, x = centres[i];
        char text[QUANTITY_TEXT_BYTES];

        page_line(plot->page, &leader, x, y + MARK_RADIUS, groups[i].x, y + MARK_LANE - MARK_RADIUS);
        page_fill_circle(plot->page, INK_TEXT, x - half, y, MARK_RADIUS);
        page_fill_circle(plot->page, INK_TEXT, x + half, y, MARK_RADIUS);
        page_fill_frame(plot->page, INK_TEXT,
                        (struct page_frame){x - half, y - MARK_RADIUS, x + half, y + MARK_RADIUS});
        chart_mark_text(&groups[i], text, sizeof text);
        page_text(plot->page, x, y + MARK_TEXT * 0.36F, PAGE_CENTRE, &type, text); // 0.36: half a digit's height
    }
}

/* A hairline from each mark down through the plot, unless there are so many that they would hide it. */
void chart_draw_mark_lines(struct chart_plot *plot) {
    const struct page_pen pen = {INK_QUIET, 0.35F, {1, 3}};
    const struct chart_dressing *dressing = plot->dressing;
    const float top = plot->lanes_top + (dressing->mark_count > 0 ? MARK_LANE : 0);

    if (dressing->mark_count > MARK_LINES_MOST)
        return;
    for (size_t i = 0; i < dressing->mark_count; i++) {
        const float x = chart_x(plot, dressing->marks[i].t_ms);

        if (x >= plot->area.left && x <= plot->area.right)
            page_line(plot->page, &pen, x, top, x, plot->area.bottom);
    }
}

/* ---- the soak's dimension line ---- */

static void chart_draw_arrow(struct chart_plot *plot, float x, float y, float direction) {
    const struct page_point head[] = {
        {x, y}, {x + direction * ARROW, y - ARROW / 3}, {x + direction * ARROW, y + ARROW / 3}};

    page_fill(plot->page, INK_TEXT, head, sizeof head / sizeof head[0]);
}

static void chart_draw_soak_labels(struct chart_plot *plot, float begun, float ended, float y) {
    const struct page_type type = {PAGE_REGULAR, SOAK_TEXT, INK_TEXT}, strong = {PAGE_BOLD, SOAK_TEXT, INK_TEXT};
    const struct page_pen leader = {INK_QUIET, 0.4F, {0}};
    const struct chart_dressing *dressing = plot->dressing;
    const float anchors[SOAK_LABELS] = {begun, (begun + ended) / HALF, ended};
    float centres[SOAK_LABELS], sizes[SOAK_LABELS];
    char texts[SOAK_LABELS][NAME_BYTES], clock[QUANTITY_TEXT_BYTES];

    snprintf(texts[0], NAME_BYTES, "%s %s", dressing->begun_word != NULL ? dressing->begun_word : "soak begins",
             words_clock(dressing->soak_begun_ms, dressing->utc_offset_min, 1, clock));
    snprintf(texts[1], NAME_BYTES, "%s", dressing->soak_text);
    snprintf(texts[2], NAME_BYTES, "%s %s", dressing->ended_word != NULL ? dressing->ended_word : "soak ends",
             words_clock(dressing->soak_ended_ms, dressing->utc_offset_min, 1, clock));
    for (size_t i = 0; i < SOAK_LABELS; i++) {
        centres[i] = anchors[i];
        sizes[i] = page_measure(plot->page, i == 1 ? &strong : &type, texts[i]) + SOAK_APART;
    }
    chart_push_apart(centres, sizes, SOAK_LABELS, plot->area.left - SOAK_APART, plot->labels_right);
    for (size_t i = 0; i < SOAK_LABELS; i++) {
        const float half = (sizes[i] - SOAK_APART) / HALF + 1;

        // Paper behind the text: lines of marks pass through this lane.
        page_fill_frame(plot->page, INK_PAPER,
                        (struct page_frame){centres[i] - half, y - SOAK_TEXT, centres[i] + half, y + HALF});
        page_text(plot->page, centres[i], y, PAGE_CENTRE, i == 1 ? &strong : &type, texts[i]);
        page_line(plot->page, &leader, centres[i], y + 2, anchors[i], y + SOAK_TEXT + 2);
    }
}

static void chart_draw_soak(struct chart_plot *plot, float top) {
    const struct page_pen edge = {INK_TEXT, 0.9F, {0}}, line = {INK_TEXT, 0.5F, {0}};
    const float begun = chart_x(plot, plot->dressing->soak_begun_ms);
    const float ended = chart_x(plot, plot->dressing->soak_ended_ms);
    const float y = top + SOAK_LANE - SOAK_TEXT;
    const bool narrow = ended - begun < 3 * ARROW;

    chart_draw_soak_labels(plot, begun, ended, top + SOAK_TEXT);
    page_line(plot->page, &edge, begun, y - ARROW / HALF, begun, plot->area.bottom);
    page_line(plot->page, &edge, ended, y - ARROW / HALF, ended, plot->area.bottom);
    page_line(plot->page, &line, begun - (narrow ? 2 * ARROW : 0), y, ended + (narrow ? 2 * ARROW : 0), y);
    chart_draw_arrow(plot, begun, y, narrow ? -1 : 1);
    chart_draw_arrow(plot, ended, y, narrow ? 1 : -1);
}

void chart_draw_lanes(struct chart_plot *plot) {
    float top = plot->lanes_top;

    if (plot->dressing->mark_count > 0) {
        chart_draw_marks(plot, top + MARK_RADIUS);
        top += MARK_LANE;
    }
    if (plot->dressing->soak_begun_ms != 0)
        chart_draw_soak(plot, top);
}

/* ---- labels beside and inside the plot ---- */

/* How many kept points lie within the frame: what a label there would cover. */
static size_t chart_count_covered(const struct chart_plot *plot, struct page_frame frame) {
    size_t covered = 0;

    for (size_t i = 0; i < plot->chart->count; i++)
        for (size_t k = 0; k < CHART_COLUMNS; k++) {
            const struct envelope_column *column = &plot->chart->envelopes[i].columns[k];
            const float x = column->used ? chart_x(plot, column->first.t_ms) : -1;

            if (column->used && x >= frame.left && x <= frame.right &&
                chart_y(plot, column->low.value_mc) >= frame.top &&
                chart_y(plot, column->high.value_mc) <= frame.bottom)
                covered++;
        }
    if (plot->dressing->soak_begun_ms != 0) {
        const float edges[] = {chart_x(plot, plot->dressing->soak_begun_ms),
                               chart_x(plot, plot->dressing->soak_ended_ms)};

        for (size_t i = 0; i < sizeof edges / sizeof edges[0]; i++)
            covered += edges[i] >= frame.left && edges[i] <= frame.right ? CHART_COLUMNS / 10 : 0;
    }
    for (size_t i = 0; i < plot->chart->count; i++)
        for (size_t k = 0; k < plot->chart->envelopes[i].gap_count; k++) {
            const struct envelope_gap *gap = &plot->chart->envelopes[i].gaps[k];

            covered +=
                chart_x(plot, gap->to_ms) >= frame.left && chart_x(plot, gap->from_ms) <= frame.right ? HATCHED : 0;
        }
    for (size_t i = 0; i < plot->dressing->mark_count; i++) {
        const float x = chart_x(plot, plot->dressing->marks[i].t_ms);

        covered += x >= frame.left && x <= frame.right;
    }
    return covered;
}

static bool chart_meets_label(const struct chart_plot *plot, struct page_frame frame) {
    for (size_t i = 0; i < plot->label_count; i++) {
        const struct page_frame *label = &plot->labels[i];

        if (frame.left < label->right && label->left < frame.right && frame.top < label->bottom &&
            label->top < frame.bottom)
            return true;
    }
    return false;
}

/* Looks along both edges of the band, outside and inside, for the place where the label covers least. A hairline of
 * a mark or two behind it does no harm; a curve or a hatched gap would. */
static size_t chart_find_label_place(const struct chart_plot *plot, const struct chart_band *band, float width,
                                     struct page_frame *best) {
    enum { PLACES = 12, ROWS = 4 };
    const float height = SOAK_TEXT + 3;
    const float top = chart_y(plot, band->high_mc), low = chart_y(plot, band->low_mc);
    const float rows[ROWS] = {top - height - 1, low + 1, top + 1, low - height - 1};
    const float room = plot->area.right - plot->area.left - width - 2 * LABEL_INSET;
    size_t least = SIZE_MAX;

    for (size_t row = 0; row < ROWS; row++)
        for (size_t place = 0; place < PLACES; place++) {
            const float left = plot->area.left + LABEL_INSET + room * (float)place / (PLACES - 1);
            const struct page_frame frame = {left, rows[row], left + width, rows[row] + height};
            const bool inside = frame.top > plot->area.top && frame.bottom < plot->area.bottom;
            const bool fits = row < 2 || low - top > height + 2; // the inner rows need a band of some height
            const bool possible = inside && fits && !chart_meets_label(plot, frame);
            const size_t covered = possible ? chart_count_covered(plot, frame) : SIZE_MAX;

            if (covered < least) {
                least = covered;
                *best = frame;
            }
        }
    return least;
}

void chart_draw_band_labels(struct chart_plot *plot) {
    const struct page_type type = {PAGE_BOLD, SOAK_TEXT, INK_BAND_EDGE};

    for (size_t i = 0; i < chart_count_bands(plot); i++) {
        const struct chart_band band = chart_band_at(plot, i);
        struct page_frame best = {0, 0, 0, 0};

        if (band.high_mc <= band.low_mc)
            continue;
        if (chart_find_label_place(plot, &band, page_measure(plot->page, &type, band.text), &best) <= TOLERABLE) {
            page_text(plot->page, best.left, best.bottom - 3, PAGE_LEFT, &type, band.text);
            if (plot->label_count < CHART_MOST_BANDS)
                plot->labels[plot->label_count++] = best;
        } else if (i == 0) { // no free place: above the plot, where no curve comes
            page_text(plot->page, plot->labels_right, plot->area.top - 3, PAGE_RIGHT, &type, band.text);
        }
    }
}
