// SPDX-License-Identifier: MIT
/* A curve in characters. With UTF-8 a character holds two by four dots (Unicode's braille patterns, U+2800 and
 * following: the lower eight bits are the dots); without, one by two. */
#include <stdlib.h>
#include <string.h>

#include "now_parts.h"
#include "soakledger/words.h"

enum {
    AXIS_COLUMNS = 9, // "1234 °C |"
    SUB_COLUMNS = 2,
    SUB_ROWS_UTF8 = 4,
    SUB_ROWS_ASCII = 2,
    MOST_HEIGHT = 64,
    BRAILLE = 0x2800,
    LEAST_SPAN_MC = 20000, // a curve of an oven at rest is not all noise
    TIME_LABELS_COLUMNS = 20,
};

size_t now_count_columns(const struct now_page *page) {
    return (page->columns - AXIS_COLUMNS) * (page->utf8 ? SUB_COLUMNS : 1);
}

struct now_grid {
    const struct now_page *page;
    const struct now_curve *curve;
    size_t width, height; // in characters
    size_t sub_rows, sub_columns;
    int64_t low_mc, high_mc;
    unsigned char dots[MOST_HEIGHT][NOW_MOST_COLUMNS];
};

static void now_put(struct now_grid *grid, size_t column, size_t row) {
    // Dots 1 to 3 and 7 of the left column, 4 to 6 and 8 of the right one, from above.
    static const unsigned char braille[SUB_COLUMNS][SUB_ROWS_UTF8] = {{0x01, 0x02, 0x04, 0x40},
                                                                      {0x08, 0x10, 0x20, 0x80}};
    const size_t x = column / grid->sub_columns, y = row / grid->sub_rows;

    const unsigned dot = grid->page->utf8 ? braille[column % SUB_COLUMNS][row % SUB_ROWS_UTF8] : 1U << (row % 2);

    grid->dots[y][x] = (unsigned char)(grid->dots[y][x] | dot);
}

static size_t now_row_of(const struct now_grid *grid, int64_t value_mc) {
    const size_t rows = grid->height * grid->sub_rows;
    const double share = (double)(grid->high_mc - value_mc) / (double)(grid->high_mc - grid->low_mc);

    if (!(share > 0))
        return 0;
    return share >= 1 ? rows - 1 : (size_t)(share * (double)rows);
}

static void now_set_range(struct now_grid *grid) {
    const struct now_curve *curve = grid->curve;
    bool known = false;

    for (size_t i = 0; i < curve->column_count; i++) {
        const struct glance_column *column = &curve->columns[i];

        if (!column->known)
            continue;
        grid->low_mc = !known || column->low < grid->low_mc ? column->low : grid->low_mc;
        grid->high_mc = !known || column->high > grid->high_mc ? column->high : grid->high_mc;
        known = true;
    }
    if (known && curve->band_high_mc > curve->band_low_mc) { // where it is to go belongs to the picture
        grid->high_mc = curve->band_high_mc > grid->high_mc ? curve->band_high_mc : grid->high_mc;
        grid->low_mc = curve->band_low_mc < grid->low_mc ? curve->band_low_mc : grid->low_mc;
    }
    if (grid->high_mc - grid->low_mc < LEAST_SPAN_MC) {
        grid->low_mc = (grid->low_mc + grid->high_mc - LEAST_SPAN_MC) / 2;
        grid->high_mc = grid->low_mc + LEAST_SPAN_MC;
    }
}

static void now_put_curve(struct now_grid *grid) {
    const struct now_curve *curve = grid->curve;
    size_t before = 0;
    bool joined = false;

    for (size_t i = 0; i < curve->column_count; i++) {
        const struct glance_column *column = &curve->columns[i];
        size_t top, bottom;

        if (!column->known) {
            joined = joined && !column->any; // no reading was due yet: the curve goes on over it
            continue;
        }
        top = now_row_of(grid, column->high);
        bottom = now_row_of(grid, column->low);
        if (joined && before + 1 < top)
            top = before + 1;
        if (joined && before > bottom + 1)
            bottom = before - 1;
        for (size_t row = top; row <= bottom; row++)
            now_put(grid, i, row);
        before = now_row_of(grid, (column->low + column->high) / 2);
        joined = true;
    }
}

static bool now_has_label(const struct now_grid *grid, size_t y, char *label) {
    const struct now_curve *curve = grid->curve;
    const bool band = curve->band_high_mc > curve->band_low_mc;
    int64_t value_mc;

    if (band && now_row_of(grid, curve->band_low_mc) / grid->sub_rows == y && !curve->band_open_below)
        value_mc = curve->band_low_mc;
    else if (band && now_row_of(grid, curve->band_high_mc) / grid->sub_rows == y)
        value_mc = curve->band_high_mc;
    else if (y == 0)
        value_mc = grid->high_mc;
    else if (y == grid->height - 1)
        value_mc = grid->low_mc;
    else
        return false;
    quantity_format_temperature(value_mc, curve->unit, 0, label);
    return true;
}

static bool now_is_edge(const struct now_grid *grid, size_t y) {
    const struct now_curve *curve = grid->curve;

    return curve->band_high_mc > curve->band_low_mc &&
           (now_row_of(grid, curve->band_high_mc) / grid->sub_rows == y ||
            (!curve->band_open_below && now_row_of(grid, curve->band_low_mc) / grid->sub_rows == y));
}

static void now_add_cell(const struct now_grid *grid, unsigned char dots, bool edge, FILE *out) {
    static const char ascii[] = {' ', '\'', '.', ':'};
    const unsigned code = BRAILLE + dots;

    if (dots == 0)
        fputs(edge ? (grid->page->utf8 ? "╌" : "-") : " ", out);
    else if (grid->page->utf8) // three bytes of UTF-8 (RFC 3629)
        fprintf(out, "%c%c%c", 0xE0 | (code >> 12), 0x80 | ((code >> 6) & 0x3F), 0x80 | (code & 0x3F));
    else
        fputc(ascii[dots & 3], out);
}

static void now_write_row(struct now_page *page, const struct now_grid *grid, size_t y) {
    char text[NOW_LINE_BYTES], label[QUANTITY_TEXT_BYTES];
    const bool labelled = now_has_label(grid, y, label);
    FILE *out = fmemopen(text, sizeof text, "w");

    if (out == NULL) {
        page->short_of_memory = true;
        return;
    }
    if (labelled)
        fprintf(out, "%*s%s ", (int)(AXIS_COLUMNS - 2 - words_columns(label)), "", label);
    else
        fprintf(out, "%*s", AXIS_COLUMNS - 1, "");
    fputs(page->utf8 ? (labelled ? "┤" : "│") : "|", out);
    for (size_t x = 0; x < grid->width; x++)
        now_add_cell(grid, grid->dots[y][x], now_is_edge(grid, y), out);
    fclose(out);
    for (size_t end = strlen(text); end > 0 && text[end - 1] == ' ';)
        text[--end] = '\0';
    now_write(page, NOW_PLAIN, 0, text);
}

/* The axis has an x where there was nothing to draw. */
static void now_write_axis(struct now_page *page, const struct now_grid *grid) {
    const struct now_curve *curve = grid->curve;
    char text[NOW_LINE_BYTES];
    size_t used = (size_t)snprintf(text, sizeof text, "%*s%s", AXIS_COLUMNS - 1, "", page->utf8 ? "└" : "+");

    for (size_t x = 0; x < grid->width; x++) {
        bool missed = false;

        for (size_t k = x * grid->sub_columns; k < (x + 1) * grid->sub_columns && k < curve->column_count; k++)
            missed |= curve->columns[k].any && !curve->columns[k].known;
        used += (size_t)snprintf(text + used, sizeof text - used, "%s", missed ? "x" : page->utf8 ? "─" : "-");
    }
    now_write(page, NOW_PLAIN, 0, text);
}

static void now_write_times(struct now_page *page, const struct now_grid *grid) {
    const struct now_curve *curve = grid->curve;
    const size_t marks = grid->width / TIME_LABELS_COLUMNS + 1;
    char text[NOW_LINE_BYTES] = "", clock[QUANTITY_TEXT_BYTES];
    size_t used = 0;

    for (size_t i = 0; i <= marks; i++) {
        const int64_t t_ms = curve->from_ms + (curve->to_ms - curve->from_ms) / (int64_t)marks * (int64_t)i;
        const size_t length = strlen(words_clock(t_ms, curve->utc_offset_min, 0, clock));
        size_t at = AXIS_COLUMNS - 1 + grid->width * i / marks;

        at = at + length > page->columns ? page->columns - length : at;
        if (at < used + (i > 0))
            continue;
        used += (size_t)snprintf(text + used, sizeof text - used, "%*s%s", (int)(at - used), "", clock);
    }
    now_write(page, NOW_PLAIN, 0, text);
}

void now_draw(struct now_page *page, const struct now_curve *curve, size_t height) {
    struct now_grid *grid = calloc(1, sizeof *grid);

    if (grid == NULL) {
        page->short_of_memory = true;
        return;
    }
    grid->page = page;
    grid->curve = curve;
    grid->width = page->columns - AXIS_COLUMNS;
    grid->height = height > MOST_HEIGHT ? MOST_HEIGHT : height;
    grid->sub_rows = page->utf8 ? SUB_ROWS_UTF8 : SUB_ROWS_ASCII;
    grid->sub_columns = page->utf8 ? SUB_COLUMNS : 1;
    now_set_range(grid);
    now_put_curve(grid);
    for (size_t y = 0; y < grid->height; y++)
        now_write_row(page, grid, y);
    now_write_axis(page, grid);
    now_write_times(page, grid);
    free(grid);
}
