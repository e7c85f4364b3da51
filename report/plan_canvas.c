// SPDX-License-Identifier: MIT
/* Characters and dots. Dots become Braille patterns (U+2800 to U+28FF), or where those are missing the one of four
 * plain characters that leans as they do. */
#include <stdlib.h>
#include <string.h>

#include "plan_parts.h"
#include "soakledger/words.h"

enum { CELL_BYTES = 5, BRAILLE_FIRST = 0x2800 };

struct cell {
    char text[CELL_BYTES]; // "" if there is none
    unsigned char dots;    // as Unicode numbers them
    enum canvas_weight weight;
};

struct canvas {
    int columns, rows;
    bool utf8;
    struct cell cells[];
};

static const char *const WEIGHT_ON[] = {"", "\033[1m", "\033[2m"};
static const char WEIGHT_OFF[] = "\033[0m";

struct canvas *canvas_open(int columns, int rows, bool utf8) {
    struct canvas *canvas = calloc(1, sizeof *canvas + (size_t)columns * (size_t)rows * sizeof canvas->cells[0]);

    if (canvas == NULL)
        return NULL;
    canvas->columns = columns;
    canvas->rows = rows;
    canvas->utf8 = utf8;
    return canvas;
}

void canvas_free(struct canvas *canvas) {
    free(canvas);
}

static struct cell *canvas_cell(struct canvas *canvas, int column, int row) {
    if (column < 0 || column >= canvas->columns || row < 0 || row >= canvas->rows)
        return NULL;
    return &canvas->cells[row * canvas->columns + column];
}

void canvas_text(struct canvas *canvas, int column, int row, enum canvas_weight weight, const char *text) {
    for (size_t step = words_character(text); step != 0; step = words_character(text), column++) {
        struct cell *cell = canvas_cell(canvas, column, row);

        if (cell != NULL && step < CELL_BYTES) {
            memcpy(cell->text, text, step);
            cell->text[step] = '\0';
            cell->weight = weight;
        }
        text += step;
    }
}

static void canvas_dot(struct canvas *canvas, int x, int y) {
    static const unsigned char bits[CANVAS_DOTS_DOWN][CANVAS_DOTS_ACROSS] = {
        {0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}};
    struct cell *cell = x < 0 || y < 0 ? NULL : canvas_cell(canvas, x / CANVAS_DOTS_ACROSS, y / CANVAS_DOTS_DOWN);

    if (cell != NULL)
        cell->dots |= bits[y % CANVAS_DOTS_DOWN][x % CANVAS_DOTS_ACROSS];
}

void canvas_line(struct canvas *canvas, int x0, int y0, int x1, int y1) {
    const int dx = abs(x1 - x0), dy = abs(y1 - y0), steps = dx > dy ? dx : dy;

    for (int i = 0; i <= steps; i++) {
        const double share = steps > 0 ? (double)i / steps : 0;

        canvas_dot(canvas, x0 + (int)(share * (x1 - x0) + (x1 < x0 ? -0.5 : 0.5)),
                   y0 + (int)(share * (y1 - y0) + (y1 < y0 ? -0.5 : 0.5)));
    }
}

/* The row (0 to 3) in the middle of a column's dots, twice over; -1 if it has none. */
static int canvas_height(unsigned char dots, const unsigned char bits[CANVAS_DOTS_DOWN]) {
    int sum = 0, count = 0;

    for (int i = 0; i < CANVAS_DOTS_DOWN; i++)
        if ((dots & bits[i]) != 0) {
            sum += 2 * i;
            count++;
        }
    return count > 0 ? sum / count : -1;
}

static const char *canvas_plain(unsigned char dots) {
    static const unsigned char left[] = {0x01, 0x02, 0x04, 0x40}, right[] = {0x08, 0x10, 0x20, 0x80};
    const int from = canvas_height(dots, left), to = canvas_height(dots, right);

    if (from < 0 || to < 0)
        return (dots & (dots - 1)) == 0 ? "." : "|";
    return from == to ? "-" : from > to ? "/" : "\\";
}

static const char *canvas_glyph(const struct canvas *canvas, const struct cell *cell, char *out) {
    const unsigned code = BRAILLE_FIRST + cell->dots;

    if (cell->text[0] != '\0')
        return cell->text;
    if (cell->dots == 0)
        return " ";
    if (!canvas->utf8)
        return canvas_plain(cell->dots);
    out[0] = (char)(0xE0 | (code >> 12)); // three bytes of UTF-8
    out[1] = (char)(0x80 | ((code >> 6) & 0x3F));
    out[2] = (char)(0x80 | (code & 0x3F));
    out[3] = '\0';
    return out;
}

void canvas_print(const struct canvas *canvas, FILE *out, bool colour) {
    for (int row = 0; row < canvas->rows; row++) {
        const struct cell *cells = &canvas->cells[row * canvas->columns];
        enum canvas_weight weight = CANVAS_PLAIN;
        int length = canvas->columns;

        while (length > 0 && cells[length - 1].dots == 0 &&
               strspn(cells[length - 1].text, " ") == strlen(cells[length - 1].text))
            length--;
        for (int i = 0; i < length; i++) {
            char glyph[CELL_BYTES];

            if (colour && cells[i].weight != weight)
                fprintf(out, "%s%s", weight != CANVAS_PLAIN ? WEIGHT_OFF : "", WEIGHT_ON[cells[i].weight]);
            weight = colour ? cells[i].weight : CANVAS_PLAIN;
            fputs(canvas_glyph(canvas, &cells[i], glyph), out);
        }
        fprintf(out, "%s\n", weight != CANVAS_PLAIN ? WEIGHT_OFF : "");
    }
}
