// SPDX-License-Identifier: MIT
/* The planned cycle on a terminal of 80 columns. Temperature is to scale; time is not: a leg is as wide as its
 * labels need, narrower where a long plan would not fit, and what still does not fit goes on in another panel. */
#include <math.h>
#include <string.h>

#include "plan_parts.h"
#include "soakledger/words.h"

enum {
    COLUMNS = 79, // of a terminal with 80, so that none breaks the line by itself
    AXIS = 6,     // columns of the temperatures and their line
    PLOT = COLUMNS - AXIS,
    ROWS = 12,       // of the plot; the first is for the label of the highest level
    ROWS_PANELS = 9, // where there are several, so that two do not fill more than a screen and a bit
    TEXT_BYTES = 512,
    CELSIUS_MC = 1000,
};

/* Rows under the plot. */
enum { BELOW_AXIS, BELOW_KIND, BELOW_NAME, BELOW_TIME, BELOW_VISIT, BELOW_COUNT };

/* How narrow a leg is made: each stage gives up a label. */
enum stage { STAGE_ALL, STAGE_NO_NAMES, STAGE_NO_BANDS, STAGE_NO_RISES, STAGE_COUNT };

enum { CHANGE_WIDTH = 4, NARROW_WIDTH = 3, LEVEL_LEAST = 6, NAME_MOST = 14, STRETCH_MOST = 7 };

struct signs {
    const char *level, *vertical, *tick, *corner, *horizontal, *room, *open, *close;
};
static const struct signs signs_full = {"━", "│", "┤", "└", "─", "┄", "├", "┤"};
static const struct signs signs_plain = {"=", "|", "+", "+", "-", ".", "|", "|"};

struct drawing {
    const struct plan *plan;
    const struct plan_screen *screen;
    const struct plan_glyphs *glyphs;
    const struct signs *signs;
    const struct plan_leg *legs;
    size_t count;
    struct plan_labels *labels;
    int *widths;
    enum stage stage;
    int rows;
    int64_t low_mc, high_mc; // of the panel
    struct canvas *canvas;
};

static const double TICK_ROWS = 1.7; // at least from tick to tick

static int widest(int a, size_t b) {
    return a > (int)b ? a : (int)b;
}

static int leg_width(const struct drawing *drawing, size_t i, enum stage stage) {
    const struct plan_leg *leg = &drawing->legs[i];
    const struct plan_labels *labels = &drawing->labels[i];
    const size_t name = words_columns(labels->name);
    int width = widest((int)words_columns(labels->kind), words_columns(labels->time));

    if (leg->kind == PLAN_LEG_CHANGE || (leg->kind == PLAN_LEG_RISE && stage >= STAGE_NO_RISES))
        return stage == STAGE_ALL ? CHANGE_WIDTH : NARROW_WIDTH;
    if (leg->kind == PLAN_LEG_WAIT)
        return width == 0 ? NARROW_WIDTH : width + 1;
    if (stage == STAGE_ALL && leg->kind != PLAN_LEG_RISE)
        width = widest(width, name < NAME_MOST ? name : NAME_MOST);
    if (leg->kind == PLAN_LEG_LEVEL)
        width = widest(widest(width, words_columns(stage < STAGE_NO_BANDS ? labels->band : labels->level)),
                       LEVEL_LEAST);
    return width + 1;
}

/* Of all legs, or of the widest visit alone. */
static int total_width(const struct drawing *drawing, enum stage stage, bool of_visit) {
    int total = 0, most = 0;

    for (size_t i = 0; i < drawing->count; i++) {
        if (of_visit && i > 0 && drawing->legs[i].visit != drawing->legs[i - 1].visit)
            total = 0;
        total += leg_width(drawing, i, stage);
        most = widest(most, (size_t)total);
    }
    return most;
}

/* Room that is left goes to the levels; what is too much is taken from the widest. */
static void fit(struct drawing *drawing, size_t begin, size_t end) {
    int total = 0;

    for (size_t i = begin; i < end; i++)
        total += drawing->widths[i];
    for (int round = 0; round < STRETCH_MOST; round++)
        for (size_t i = begin; i < end && total < PLOT; i++)
            if (drawing->legs[i].kind == PLAN_LEG_LEVEL) {
                drawing->widths[i]++;
                total++;
            }
    for (; total > PLOT; total--) {
        size_t most = begin;

        for (size_t i = begin; i < end; i++)
            most = drawing->widths[i] > drawing->widths[most] ? i : most;
        drawing->widths[most]--;
    }
}

static size_t lay_out(struct drawing *drawing, size_t ends[PLAN_LEGS_MOST]) {
    float widths[PLAN_LEGS_MOST];
    size_t panels, begin = 0;
    bool of_visit = false; // several panels

    drawing->stage = STAGE_ALL;
    while (drawing->stage + 1 < STAGE_COUNT && total_width(drawing, drawing->stage, of_visit) > PLOT)
        drawing->stage++;
    if (total_width(drawing, drawing->stage, of_visit) > PLOT) {
        of_visit = true;
        drawing->stage = STAGE_ALL;
        while (drawing->stage + 1 < STAGE_COUNT && total_width(drawing, drawing->stage, of_visit) > PLOT)
            drawing->stage++;
    }
    for (size_t i = 0; i < drawing->count; i++)
        widths[i] = (float)(drawing->widths[i] = leg_width(drawing, i, drawing->stage));
    panels = plan_panels(drawing->legs, widths, drawing->count, PLOT, ends);
    for (size_t i = 0; i < panels; i++) {
        fit(drawing, begin, ends[i]);
        begin = ends[i];
    }
    drawing->rows = panels > 1 ? ROWS_PANELS : ROWS;
    return panels;
}

/* ---- plot ---- */

static int row_of(const struct drawing *drawing, int64_t mc) {
    const double share = (double)(drawing->high_mc - mc) / (double)(drawing->high_mc - drawing->low_mc);

    return 1 + (int)lround(share * (drawing->rows - 2));
}

/* The line of a level runs through the middle of its row. */
static int dot_of(const struct drawing *drawing, int64_t mc) {
    return row_of(drawing, mc) * CANVAS_DOTS_DOWN + CANVAS_DOTS_DOWN / 2 - 1;
}

static void draw_repeated(struct drawing *drawing, int column, int width, int row, enum canvas_weight weight,
                          const char *sign) {
    for (int i = 0; i < width; i++)
        canvas_text(drawing->canvas, column + i, row, weight, sign);
}

/* A label in the middle of a leg, cut off where it is too long. */
static void draw_label(struct drawing *drawing, int column, int width, int row, enum canvas_weight weight,
                       const char *label) {
    const int length = (int)words_columns(label), room = width - 1;
    char cut[PLAN_LABEL_BYTES + 8];
    size_t bytes = 0;

    if (length <= room) {
        canvas_text(drawing->canvas, column + (room - length + 1) / 2, row, weight, label);
        return;
    }
    for (int i = 0; i + 1 < room; i++)
        bytes += words_character(label + bytes);
    snprintf(cut, sizeof cut, "%.*s%s", (int)bytes, label, drawing->glyphs->cut);
    canvas_text(drawing->canvas, column, row, weight, cut);
}

/* Falls run out as heat leaves, fast at first; rises are straight. */
static void draw_change(struct drawing *drawing, const struct plan_leg *leg, int column, int width) {
    const int x0 = column * CANVAS_DOTS_ACROSS, last = width * CANVAS_DOTS_ACROSS - 1;
    const int from = dot_of(drawing, leg->from_mc), to = dot_of(drawing, leg->to_mc);
    const double steep = leg->kind == PLAN_LEG_QUENCH ? 6 : 3; // time constants that the leg is long
    int y = from;

    if (leg->to_mc >= leg->from_mc) {
        canvas_line(drawing->canvas, x0, from, x0 + last, to);
        return;
    }
    for (int i = 1; i <= last; i++) {
        const double share = (1 - exp(-steep * i / last)) / (1 - exp(-steep));
        const int next = from + (int)lround(share * (to - from));

        canvas_line(drawing->canvas, x0 + i - 1, y, x0 + i, next);
        y = next;
    }
}

static void draw_level(struct drawing *drawing, size_t i, int column) {
    const struct plan_labels *labels = &drawing->labels[i];
    const int row = row_of(drawing, drawing->legs[i].to_mc), width = drawing->widths[i];

    draw_repeated(drawing, column, width, row, CANVAS_STRONG, drawing->signs->level);
    draw_label(drawing, column, width + 1, row - 1, CANVAS_STRONG,
               drawing->stage < STAGE_NO_BANDS ? labels->band : labels->level);
}

static void draw_leg(struct drawing *drawing, size_t i, int column) {
    const struct plan_leg *leg = &drawing->legs[i];
    const struct plan_labels *labels = &drawing->labels[i];
    const int width = drawing->widths[i];

    if (leg->kind == PLAN_LEG_LEVEL)
        draw_level(drawing, i, column);
    else if (leg->kind == PLAN_LEG_WAIT)
        draw_repeated(drawing, column, width, row_of(drawing, PLAN_ROOM_MC), CANVAS_FAINT, drawing->signs->room);
    else
        draw_change(drawing, leg, column, width);
    if (leg->kind == PLAN_LEG_RISE && drawing->stage >= STAGE_NO_RISES)
        return;
    draw_label(drawing, column, width, drawing->rows + BELOW_KIND, CANVAS_STRONG, labels->kind);
    if (leg->kind != PLAN_LEG_RISE)
        draw_label(drawing, column, width, drawing->rows + BELOW_NAME, CANVAS_PLAIN, labels->name);
    draw_label(drawing, column, width, drawing->rows + BELOW_TIME, CANVAS_PLAIN, labels->time);
}

/* "├── visit 2: freezer ──┤" under the legs of a visit, as much of it as fits. */
static void draw_visit(struct drawing *drawing, size_t visit, int column, int width) {
    const char *oven = plan_visit_soak(drawing->plan, visit)->oven;
    char text[TEXT_BYTES], place[TEXT_BYTES];
    int length;

    words_clean(oven, strlen(oven), 0, place, sizeof place);
    if (!drawing->screen->utf8)
        plan_make_plain(place);
    snprintf(text, sizeof text, " visit %zu%s%.*s ", visit + 1, place[0] != '\0' ? ": " : "", PLAN_LABEL_BYTES,
             place);
    if ((int)words_columns(text) > width - 2)
        snprintf(text, sizeof text, " visit %zu ", visit + 1);
    if ((int)words_columns(text) > width - 2)
        snprintf(text, sizeof text, "%zu", visit + 1);
    length = (int)words_columns(text);
    draw_repeated(drawing, column, width, drawing->rows + BELOW_VISIT, CANVAS_FAINT, drawing->signs->horizontal);
    canvas_text(drawing->canvas, column, drawing->rows + BELOW_VISIT, CANVAS_FAINT, drawing->signs->open);
    canvas_text(drawing->canvas, column + width - 1, drawing->rows + BELOW_VISIT, CANVAS_FAINT,
                drawing->signs->close);
    canvas_text(drawing->canvas, column + (width - length) / 2, drawing->rows + BELOW_VISIT, CANVAS_PLAIN, text);
}

/* Degrees of the unit shown between two marks of an axis from `low` to `high` degrees. */
static int64_t tick_step(const struct drawing *drawing, int64_t low, int64_t high) {
    static const int64_t steps[] = {20, 50, 100, 200, 250, 500, 1000};
    const double rows_per_degree = (double)(drawing->rows - 2) / (double)(high > low ? high - low : 1);
    size_t i = 0;

    while (i + 1 < sizeof steps / sizeof steps[0] && (double)steps[i] * rows_per_degree < TICK_ROWS)
        i++;
    return steps[i];
}

static void draw_axis(struct drawing *drawing, int width) {
    const enum temperature_unit unit = drawing->screen->unit;
    const char *sign = unit == UNIT_CELSIUS ? drawing->glyphs->celsius : drawing->glyphs->fahrenheit;
    const int64_t low = plan_shown(drawing->low_mc, unit), high = plan_shown(drawing->high_mc, unit);
    const int64_t step = tick_step(drawing, low, high);

    canvas_text(drawing->canvas, AXIS - 1 - (int)words_columns(sign) - 1, 0, CANVAS_PLAIN, sign);
    for (int row = 0; row < drawing->rows; row++)
        canvas_text(drawing->canvas, AXIS - 1, row, CANVAS_FAINT, drawing->signs->vertical);
    canvas_text(drawing->canvas, AXIS - 1, drawing->rows + BELOW_AXIS, CANVAS_FAINT, drawing->signs->corner);
    draw_repeated(drawing, AXIS, width, drawing->rows + BELOW_AXIS, CANVAS_FAINT, drawing->signs->horizontal);
    for (int64_t degrees = low / step * step; degrees <= high; degrees += step) {
        const int row = row_of(drawing, plan_mc_of_shown(degrees, unit));
        char text[TEXT_BYTES];

        if (degrees < low)
            continue;
        snprintf(text, sizeof text, "%*lld", AXIS - 2, (long long)degrees);
        canvas_text(drawing->canvas, 0, row, CANVAS_PLAIN, text);
        canvas_text(drawing->canvas, AXIS - 1, row, CANVAS_FAINT, drawing->signs->tick);
    }
}

static int draw_panel(struct drawing *drawing, FILE *out, size_t begin, size_t end, struct fault *fault) {
    int column = AXIS, width = 0;

    for (size_t i = begin; i < end; i++)
        width += drawing->widths[i];
    plan_course_range(drawing->legs + begin, end - begin, &drawing->low_mc, &drawing->high_mc);
    if (drawing->high_mc - drawing->low_mc < CELSIUS_MC)
        drawing->high_mc = drawing->low_mc + CELSIUS_MC;
    drawing->canvas = canvas_open(COLUMNS, drawing->rows + BELOW_COUNT, drawing->screen->utf8);
    if (drawing->canvas == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    draw_axis(drawing, width);
    for (size_t i = begin; i < end; i++) {
        const bool waits = drawing->legs[i].kind == PLAN_LEG_WAIT;
        const size_t visit = drawing->legs[i].visit;
        int across = 0;

        for (size_t k = i;
             !waits && k < end && drawing->legs[k].visit == visit && drawing->legs[k].kind != PLAN_LEG_WAIT; k++)
            across += drawing->widths[k];
        if (!waits && (i == begin || drawing->legs[i - 1].visit != visit))
            draw_visit(drawing, visit, column, across);
        draw_leg(drawing, i, column);
        column += drawing->widths[i];
    }
    canvas_print(drawing->canvas, out, drawing->screen->colour);
    canvas_free(drawing->canvas);
    return 0;
}

int plan_screen_draw(FILE *out, const struct plan *plan, const struct plan_screen *screen, struct fault *fault) {
    struct plan_leg legs[PLAN_LEGS_MOST];
    struct plan_labels labels[PLAN_LEGS_MOST];
    int widths[PLAN_LEGS_MOST] = {0};
    size_t ends[PLAN_LEGS_MOST], panels, begin = 0;
    struct drawing drawing = {.plan = plan, .screen = screen, .legs = legs, .labels = labels, .widths = widths};

    drawing.glyphs = screen->utf8 ? &plan_glyphs_full : &plan_glyphs_plain;
    drawing.signs = screen->utf8 ? &signs_full : &signs_plain;
    drawing.count = plan_course(plan, legs);
    for (size_t i = 0; i < drawing.count; i++) {
        plan_labels(plan, &legs[i], screen->unit, drawing.glyphs, &labels[i]);
        if (!screen->utf8)
            plan_make_plain(labels[i].name);
    }
    panels = lay_out(&drawing, ends);
    for (size_t i = 0; i < panels; i++) {
        if (i > 0)
            fputc('\n', out);
        if (draw_panel(&drawing, out, begin, ends[i], fault) != 0)
            return -1;
        begin = ends[i];
    }
    return 0;
}
