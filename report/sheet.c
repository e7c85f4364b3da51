// SPDX-License-Identifier: MIT
#include "soakledger/sheet.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "soakledger/ink.h"

#define ELLIPSIS "…"
enum { CUT_BYTES = 1024, KEPT_LINES = 3, FIRST_ROW_LINES = 3 };

static const float BODY_SIZE = 8.5F, BODY_LEADING = 12.5F, SMALL_SIZE = 7.25F, SMALL_LEADING = 10.5F;
static const float HEADING_SIZE = 11, HEADING_LEADING = 14, HEADING_BEFORE = 22, HEADING_DROP = 6,
                   HEADING_AFTER = 8;
static const float SUBHEADING_SIZE = 8.5F, SUBHEADING_LEADING = 11.5F, SUBHEADING_BEFORE = 11, SUBHEADING_AFTER = 3;
static const float FORM_NAME_SIZE = 6.5F, FORM_NAME_LEADING = 8.5F, FORM_SIZE = 9, FORM_LEADING = 11.5F;
static const float FORM_PAD = 2.5F, FORM_AFTER = 3, FORM_GAP = 14;
static const float FACT_NAME_SIZE = 7.25F, FACT_SIZE = 9, FACT_LEADING = 12, FACT_NAME_WIDTH = 64, FACT_GAP = 20;
static const float FACT_AFTER = 4;
static const float CELL_SIZE = 7.75F, CELL_LEADING = 10.5F, CELL_PAD = 4, CELL_GAP = 8, HEAD_SIZE = 6.75F;
static const float DENSE_PAD = 1.1F, NOTE_SIZE = 7, NOTE_LEADING = 9;
static const float SIGN_SIZE = 8.5F, SIGN_GAP = 4;

static size_t sheet_count_lines(struct sheet *sheet, const struct page_type *type, const char *text, float width);

void sheet_begin(struct sheet *sheet, struct page_document *page) {
    sheet->page = page;
    sheet_new_page(sheet);
}

void sheet_new_page(struct sheet *sheet) {
    page_add(sheet->page);
    sheet->frame = page_frame(sheet->page);
    sheet->y = sheet->frame.top;
}

void sheet_need(struct sheet *sheet, float height) {
    if (sheet->y + height > sheet->frame.bottom && sheet->y > sheet->frame.top)
        sheet_new_page(sheet);
}

void sheet_skip(struct sheet *sheet, float height) {
    if (sheet->y > sheet->frame.top)
        sheet->y += height;
}

struct page_frame sheet_take(struct sheet *sheet, float height) {
    struct page_frame taken = sheet->frame;

    sheet_need(sheet, height);
    taken.top = sheet->y;
    taken.bottom = sheet->y + height;
    sheet->y += height;
    return taken;
}

/* A title may be long: it comes from a plan. */
static void sheet_title(struct sheet *sheet, const struct page_type *type, float leading, const char *text) {
    sheet->y = sheet_text_block(sheet, type, sheet->frame.left, sheet->y + type->size,
                                sheet->frame.right - sheet->frame.left, leading, 0, text) -
               type->size;
}

void sheet_heading(struct sheet *sheet, const char *text, float follows) {
    const struct page_type type = {PAGE_BOLD, HEADING_SIZE, INK_TEXT};
    const struct page_pen rule = {INK_TEXT, 1.2F, {0}};
    const float height =
        sheet_text_height(sheet, &type, sheet->frame.right - sheet->frame.left, HEADING_LEADING, text);

    sheet_need(sheet, HEADING_BEFORE + HEADING_DROP + height + HEADING_AFTER + follows);
    sheet_skip(sheet, HEADING_BEFORE);
    page_line(sheet->page, &rule, sheet->frame.left, sheet->y, sheet->frame.right, sheet->y);
    sheet->y += HEADING_DROP;
    sheet_title(sheet, &type, HEADING_LEADING, text);
    sheet->y += HEADING_AFTER;
}

void sheet_subheading(struct sheet *sheet, const char *text, float follows) {
    const struct page_type type = {PAGE_BOLD, SUBHEADING_SIZE, INK_TEXT};
    const float height =
        sheet_text_height(sheet, &type, sheet->frame.right - sheet->frame.left, SUBHEADING_LEADING, text);

    sheet_need(sheet, SUBHEADING_BEFORE + height + SUBHEADING_AFTER + follows);
    sheet_skip(sheet, SUBHEADING_BEFORE);
    sheet_title(sheet, &type, SUBHEADING_LEADING, text);
    sheet->y += SUBHEADING_AFTER;
}

void sheet_paragraph(struct sheet *sheet, const struct page_type *type, float leading, const char *text) {
    const float width = sheet->frame.right - sheet->frame.left;
    const float drop = (leading + type->size * 0.72F) / 2; // capitals are 0.72 of the size high: centres the line

    if (sheet_count_lines(sheet, type, text, width) <= KEPT_LINES) // so few are not torn apart
        sheet_need(sheet, sheet_text_height(sheet, type, width, leading, text));
    while (*text != '\0') {
        size_t next = 0;
        const size_t length = page_fit(sheet->page, type, text, width, &next);

        sheet_need(sheet, leading);
        page_text_part(sheet->page, sheet->frame.left, sheet->y + drop, PAGE_LEFT, type, text, length);
        sheet->y += leading;
        text += next;
    }
}

void sheet_plain(struct sheet *sheet, const char *text) {
    const struct page_type type = {PAGE_REGULAR, BODY_SIZE, INK_TEXT};

    sheet_paragraph(sheet, &type, BODY_LEADING, text);
    sheet_skip(sheet, BODY_LEADING / 3);
}

void sheet_small(struct sheet *sheet, const char *text) {
    const struct page_type type = {PAGE_REGULAR, SMALL_SIZE, INK_QUIET};

    sheet_paragraph(sheet, &type, SMALL_LEADING, text);
}

/* ---- lines within a narrow column ---- */

static size_t sheet_count_lines(struct sheet *sheet, const struct page_type *type, const char *text, float width) {
    size_t count = 0, next = 0;

    while (*text != '\0') {
        page_fit(sheet->page, type, text, width, &next);
        text += next;
        count++;
    }
    return count;
}

/* Draws at most `most` lines of `text` and returns the rest. */
static const char *sheet_draw_lines(struct sheet *sheet, const struct page_type *type, float x, float y,
                                    float width, enum page_align align, float leading, size_t most,
                                    const char *text) {
    const float anchor = align == PAGE_LEFT ? x : align == PAGE_RIGHT ? x + width : x + width / 2;

    for (size_t line = 0; line < most && *text != '\0'; line++) {
        size_t next = 0;
        const size_t length = page_fit(sheet->page, type, text, width, &next);

        page_text_part(sheet->page, anchor, y + (float)line * leading, align, type, text, length);
        text += next;
    }
    return text;
}

/* Its first bytes that leave room for the dots behind them. */
static size_t sheet_cut(struct sheet *sheet, const struct page_type *type, const char *text, float width) {
    const float room = width - page_measure(sheet->page, type, ELLIPSIS);
    size_t next = 0;

    return page_fit(sheet->page, type, text, room > 0 ? room : width, &next);
}

/* Draws as much as fits and three dots. */
static void sheet_draw_cut(struct sheet *sheet, const struct page_type *type, float x, float y,
                           enum page_align align, float width, const char *text) {
    char line[CUT_BYTES];
    size_t length = sheet_cut(sheet, type, text, width);

    if (length > sizeof line - sizeof ELLIPSIS)
        length = sizeof line - sizeof ELLIPSIS;
    snprintf(line, sizeof line, "%.*s" ELLIPSIS, (int)length, text);
    page_text(sheet->page, x, y, align, type, line);
}

float sheet_text_height(struct sheet *sheet, const struct page_type *type, float width, float leading,
                        const char *text) {
    return (float)sheet_count_lines(sheet, type, text, width) * leading;
}

float sheet_text_block(struct sheet *sheet, const struct page_type *type, float x, float y, float width,
                       float leading, size_t most, const char *text) {
    const size_t lines = sheet_count_lines(sheet, type, text, width);
    const size_t whole = most == 0 || lines <= most ? lines : most - 1;

    text = sheet_draw_lines(sheet, type, x, y, width, PAGE_LEFT, leading, whole, text);
    y += (float)whole * leading;
    if (whole == lines)
        return y;
    sheet_draw_cut(sheet, type, x, y, PAGE_LEFT, width, text);
    return y + leading;
}

void sheet_line(struct sheet *sheet, const struct page_type *type, float x, float y, enum page_align align,
                float width, const char *text) {
    if (page_measure(sheet->page, type, text) <= width)
        page_text(sheet->page, x, y, align, type, text);
    else
        sheet_draw_cut(sheet, type, x, y, align, width, text);
}

/* ---- facts ---- */

static const struct sheet_fact *sheet_next_fact(const struct sheet_fact *fact, const struct sheet_fact *end) {
    while (fact < end && fact->value[0] == '\0')
        fact++;
    return fact;
}

void sheet_facts(struct sheet *sheet, const struct sheet_fact *facts, size_t count) {
    enum { SIDES = 2 };
    const struct page_type name_type = {PAGE_REGULAR, FACT_NAME_SIZE, INK_QUIET};
    const struct page_type type = {PAGE_REGULAR, FACT_SIZE, INK_TEXT};
    const float side = (sheet->frame.right - sheet->frame.left - FACT_GAP) / SIDES;
    const float width = side - FACT_NAME_WIDTH;
    const struct sheet_fact *const end = facts + count, *fact = sheet_next_fact(facts, end);

    while (fact < end) {
        const struct sheet_fact *pair[SIDES] = {fact, sheet_next_fact(fact + 1, end)};
        size_t lines = 1;

        for (size_t i = 0; i < SIDES && pair[i] < end; i++) {
            const size_t mine = sheet_count_lines(sheet, &type, pair[i]->value, width);

            lines = mine > lines ? mine : lines;
        }
        sheet_need(sheet, (float)lines * FACT_LEADING + FACT_AFTER);
        for (size_t i = 0; i < SIDES && pair[i] < end; i++) {
            const float left = sheet->frame.left + (float)i * (side + FACT_GAP);

            page_text(sheet->page, left, sheet->y + FACT_SIZE, PAGE_LEFT, &name_type, pair[i]->name);
            sheet_draw_lines(sheet, &type, left + FACT_NAME_WIDTH, sheet->y + FACT_SIZE, width, PAGE_LEFT,
                             FACT_LEADING, lines, pair[i]->value);
        }
        sheet->y += (float)lines * FACT_LEADING + FACT_AFTER;
        fact = pair[1] < end ? sheet_next_fact(pair[1] + 1, end) : end;
    }
}

/* ---- forms ---- */

static void sheet_form_cell(struct sheet *sheet, const struct sheet_fact *fact, float left, float width,
                            size_t most) {
    const struct page_type name = {PAGE_REGULAR, FORM_NAME_SIZE, INK_QUIET},
                           type = {PAGE_REGULAR, FORM_SIZE, INK_TEXT};
    const struct page_pen rule = {INK_RULE, 0.5F, {0}};

    page_line(sheet->page, &rule, left, sheet->y, left + width, sheet->y);
    page_text(sheet->page, left, sheet->y + FORM_PAD + FORM_NAME_SIZE, PAGE_LEFT, &name, fact->name);
    sheet_text_block(sheet, &type, left, sheet->y + FORM_PAD + FORM_NAME_LEADING + FORM_SIZE, width, FORM_LEADING,
                     most, fact->value);
}

enum { FORM_PLACES = 3, FORM_NARROW_LINES = 2 };

/* How a form is laid out: drawn, or only measured. */
struct sheet_form {
    struct sheet *sheet;
    size_t most;
    bool draws;
    float height; // measured so far
    size_t used;  // places of the row that is begun
    size_t lines; // of its highest value
};

static float sheet_form_height_of(size_t lines) {
    return FORM_PAD + FORM_NAME_LEADING + (float)lines * FORM_LEADING + FORM_AFTER;
}

static void sheet_form_advance(struct sheet_form *form, float height) {
    form->height += height;
    if (form->draws)
        form->sheet->y += height;
}

static void sheet_form_end_row(struct sheet_form *form) {
    if (form->used > 0)
        sheet_form_advance(form, sheet_form_height_of(form->lines));
    form->used = 0;
    form->lines = 1;
}

/* A value that takes the whole width, over pages if need be. True if it was cut. */
static bool sheet_form_wide(struct sheet_form *form, const struct sheet_fact *fact) {
    const struct page_type type = {PAGE_REGULAR, FORM_SIZE, INK_TEXT};
    struct sheet *sheet = form->sheet;
    const float width = sheet->frame.right - sheet->frame.left;
    const size_t lines = sheet_count_lines(sheet, &type, fact->value, width);
    const size_t shown = form->most != 0 && lines > form->most ? form->most : lines;
    const float height = sheet_form_height_of(shown);

    if (!form->draws || height <= sheet->frame.bottom - sheet->frame.top) {
        if (form->draws) {
            sheet_need(sheet, height);
            sheet_form_cell(sheet, fact, sheet->frame.left, width, form->most);
        }
        sheet_form_advance(form, height);
        return shown < lines;
    }
    sheet_need(sheet, sheet_form_height_of(FORM_NARROW_LINES));
    sheet_form_cell(sheet, &(struct sheet_fact){fact->name, ""}, sheet->frame.left, width, 0);
    sheet->y += FORM_PAD + FORM_NAME_LEADING;
    sheet_paragraph(sheet, &type, FORM_LEADING, fact->value);
    sheet->y += FORM_AFTER;
    return false;
}

static float sheet_form_column(const struct sheet *sheet) {
    return (sheet->frame.right - sheet->frame.left - (FORM_PLACES - 1) * FORM_GAP) / FORM_PLACES;
}

/* Returns whether the value was cut. */
static bool sheet_form_place(struct sheet_form *form, const struct sheet_fact *fact) {
    const struct page_type type = {PAGE_REGULAR, FORM_SIZE, INK_TEXT};
    const float width = sheet_form_column(form->sheet);
    const size_t lines = sheet_count_lines(form->sheet, &type, fact->value, width);

    if (lines > FORM_NARROW_LINES || form->used == FORM_PLACES)
        sheet_form_end_row(form);
    if (lines > FORM_NARROW_LINES)
        return sheet_form_wide(form, fact);
    if (form->used == 0 && form->draws)
        sheet_need(form->sheet, sheet_form_height_of(FORM_NARROW_LINES));
    form->lines = lines > form->lines ? lines : form->lines;
    if (form->draws)
        sheet_form_cell(form->sheet, fact, form->sheet->frame.left + (float)form->used * (width + FORM_GAP), width,
                        0);
    form->used++;
    return false;
}

static float sheet_form_lay(struct sheet *sheet, const struct sheet_fact *facts, size_t count, size_t most,
                            bool draws, bool *cut) {
    struct sheet_form form = {.sheet = sheet, .most = most, .draws = draws, .lines = 1};

    for (size_t i = 0; i < count; i++) {
        const bool was_cut = facts[i].value[0] != '\0' && sheet_form_place(&form, &facts[i]);

        if (cut != NULL)
            cut[i] = was_cut;
    }
    sheet_form_end_row(&form);
    return form.height;
}

void sheet_form(struct sheet *sheet, const struct sheet_fact *facts, size_t count, size_t most, bool *cut) {
    sheet_form_lay(sheet, facts, count, most, true, cut);
}

float sheet_form_height(struct sheet *sheet, const struct sheet_fact *facts, size_t count, size_t most) {
    return sheet_form_lay(sheet, facts, count, most, false, NULL);
}

/* ---- tables ---- */

static float sheet_column_width(const struct sheet_table *table, size_t column) {
    const float gap = column + 1 < table->count ? CELL_GAP : 0;

    return table->columns[column].share * (table->sheet->frame.right - table->sheet->frame.left) - gap;
}

static void sheet_rule(struct sheet *sheet, const struct page_pen *pen) {
    page_line(sheet->page, pen, sheet->frame.left, sheet->y, sheet->frame.right, sheet->y);
}

static float sheet_draw_head(struct sheet_table *table, bool draw) {
    const struct page_type type = {PAGE_BOLD, HEAD_SIZE, INK_QUIET};
    const struct page_pen rule = {INK_TEXT, 0.8F, {0}};
    float left = table->sheet->frame.left;
    size_t lines = 1;

    for (size_t i = 0; i < table->count; i++) {
        const size_t mine =
            sheet_count_lines(table->sheet, &type, table->columns[i].title, sheet_column_width(table, i));

        lines = mine > lines ? mine : lines;
    }
    for (size_t i = 0; draw && i < table->count; i++) {
        sheet_draw_lines(table->sheet, &type, left, table->sheet->y + HEAD_SIZE, sheet_column_width(table, i),
                         table->columns[i].align, CELL_LEADING, lines, table->columns[i].title);
        left += sheet_column_width(table, i) + CELL_GAP;
    }
    if (draw) {
        table->sheet->y += (float)lines * CELL_LEADING + 1;
        sheet_rule(table->sheet, &rule);
    }
    return (float)lines * CELL_LEADING + 1;
}

void sheet_table_begin(struct sheet_table *table, struct sheet *sheet, const struct sheet_column *columns,
                       size_t count) {
    *table = (struct sheet_table){.sheet = sheet, .columns = columns, .count = count};
    sheet_need(sheet, sheet_draw_head(table, false) + FIRST_ROW_LINES * CELL_LEADING + 2 * CELL_PAD);
    sheet_draw_head(table, true);
}

static struct page_type sheet_cell_type(const struct sheet_cell *cell) {
    const bool marked = cell->outcome != SHEET_NO_MARK;

    return (struct page_type){cell->strong || marked ? PAGE_BOLD : PAGE_REGULAR, CELL_SIZE,
                              marked ? sheet_outcome_colour((enum outcome)cell->outcome) : INK_TEXT};
}

static float sheet_cell_indent(const struct sheet_cell *cell) {
    return cell->outcome != SHEET_NO_MARK ? SIGN_SIZE + SIGN_GAP : 0;
}

static float sheet_row_pad(const struct sheet_table *table) {
    return table->dense ? DENSE_PAD : CELL_PAD;
}

/* Where the note under a row begins: in line with its second column. */
static float sheet_note_left(const struct sheet_table *table) {
    return table->sheet->frame.left + sheet_column_width(table, 0) + CELL_GAP;
}

static float sheet_note_height(const struct sheet_table *table) {
    const struct page_type type = {PAGE_REGULAR, NOTE_SIZE, INK_QUIET};

    if (table->note == NULL || table->note[0] == '\0')
        return 0;
    return sheet_text_height(table->sheet, &type, table->sheet->frame.right - sheet_note_left(table), NOTE_LEADING,
                             table->note);
}

static void sheet_draw_note(struct sheet_table *table) {
    const struct page_type type = {PAGE_REGULAR, NOTE_SIZE, INK_QUIET};
    const float left = sheet_note_left(table);

    if (sheet_note_height(table) > 0)
        sheet_text_block(table->sheet, &type, left, table->sheet->y + NOTE_SIZE - 1,
                         table->sheet->frame.right - left, NOTE_LEADING, 0, table->note);
    table->sheet->y += sheet_note_height(table);
}

/* Draws up to `most` lines of every cell and moves `rest` on. */
static void sheet_draw_cells(struct sheet_table *table, const struct sheet_cell *cells, const char **rest,
                             size_t most, bool first) {
    const float y = table->sheet->y + sheet_row_pad(table);
    float left = table->sheet->frame.left;

    for (size_t i = 0; i < table->count; i++) {
        const struct page_type type = sheet_cell_type(&cells[i]);
        const float width = sheet_column_width(table, i), indent = sheet_cell_indent(&cells[i]);

        if (indent > 0 && first)
            sheet_draw_sign(table->sheet->page, (enum outcome)cells[i].outcome, left + SIGN_SIZE / 2,
                            y + CELL_LEADING / 2 - 0.5F, SIGN_SIZE);
        rest[i] = sheet_draw_lines(table->sheet, &type, left + indent, y + CELL_SIZE, width - indent,
                                   table->columns[i].align, CELL_LEADING, most, rest[i]);
        left += width + CELL_GAP;
    }
}

/* What is the same as in the row above stands there again only where a page begins. */
static size_t sheet_lay_row(struct sheet_table *table, const struct sheet_cell *cells, bool on_new_page,
                            struct sheet_cell *shown) {
    size_t lines = 1;

    for (size_t i = 0; i < table->count; i++) {
        const struct page_type type = sheet_cell_type(&cells[i]);
        size_t mine;

        shown[i] = cells[i];
        if (i == 0 && on_new_page && table->carried != NULL)
            shown[i] = (struct sheet_cell){table->carried, SHEET_NO_MARK, true};
        mine = sheet_count_lines(table->sheet, &type, shown[i].text,
                                 sheet_column_width(table, i) - sheet_cell_indent(&cells[i]));
        lines = mine > lines ? mine : lines;
    }
    return lines;
}

/* A rule under a row, or above one where something new begins. */
static void sheet_rule_row(struct sheet_table *table, bool above) {
    const struct page_pen rule = {INK_RULE, 0.4F, {0}};

    if (above == table->dense && (!above || (table->begins && table->rows > 0)))
        sheet_rule(table->sheet, &rule);
}

void sheet_table_row(struct sheet_table *table, const struct sheet_cell *cells) {
    struct sheet *sheet = table->sheet;
    struct sheet_cell shown[SHEET_MOST_COLUMNS];
    const char *rest[SHEET_MOST_COLUMNS] = {0};
    const float pads = 2 * sheet_row_pad(table), note = sheet_note_height(table);
    size_t lines = sheet_lay_row(table, cells, false, shown);
    bool first = true;

    while (lines > 0) {
        const float room = sheet->frame.bottom - sheet->y - pads - note;
        const float page = sheet->frame.bottom - sheet->frame.top - sheet_draw_head(table, false) - pads - note;
        const bool begins_page = sheet->y <= sheet->frame.top + sheet_draw_head(table, false) + 1;
        size_t now = lines;

        if (!begins_page && (float)lines * CELL_LEADING > room &&
            ((float)lines * CELL_LEADING <= page || room < CELL_LEADING)) {
            sheet_new_page(sheet);
            sheet_draw_head(table, true);
            if (first)
                lines = sheet_lay_row(table, cells, true, shown);
            continue;
        }
        if ((float)lines * CELL_LEADING > room)
            now = room >= CELL_LEADING ? (size_t)(room / CELL_LEADING) : 1;
        if (first)
            sheet_rule_row(table, true);
        for (size_t i = 0; first && i < table->count; i++)
            rest[i] = shown[i].text;
        sheet_draw_cells(table, shown, rest, now, first);
        sheet->y += (float)now * CELL_LEADING + pads;
        lines -= now;
        if (lines == 0)
            sheet_draw_note(table);
        sheet_rule_row(table, false);
        first = false;
    }
    table->rows++;
    table->note = NULL;
    table->begins = false;
}

void sheet_table_end(struct sheet_table *table) {
    const struct page_pen rule = {INK_TEXT, 0.6F, {0}};

    if (table->dense && table->rows > 0) {
        table->sheet->y += DENSE_PAD;
        sheet_rule(table->sheet, &rule);
    }
    sheet_skip(table->sheet, CELL_PAD);
}

/* ---- signs ---- */

struct page_colour sheet_outcome_colour(enum outcome outcome) {
    switch (outcome) {
    case OUTCOME_MET: return INK_MET;
    case OUTCOME_NOT_MET: return INK_NOT_MET;
    case OUTCOME_NOT_PROVEN: break;
    }
    return INK_NOT_PROVEN;
}

/* Shapes are given on a square from -1 to 1, y downwards. */
static void sheet_place(struct page_point *points, size_t count, float x, float y, float scale) {
    for (size_t i = 0; i < count; i++) {
        points[i].x = x + points[i].x * scale;
        points[i].y = y + points[i].y * scale;
    }
}

static void sheet_draw_question(struct page_document *page, float x, float y, float scale) {
    const struct page_pen pen = {INK_PAPER, scale * 0.17F, {0}};
    struct page_point hook[] = {{-0.27F, -0.27F}, {-0.24F, -0.40F}, {-0.13F, -0.50F}, {0.02F, -0.53F},
                                {0.17F, -0.48F},  {0.26F, -0.37F},  {0.26F, -0.23F},  {0.18F, -0.11F},
                                {0.06F, -0.01F},  {0.0F, 0.09F},    {0.0F, 0.21F}};

    sheet_place(hook, sizeof hook / sizeof hook[0], x, y, scale);
    page_polyline(page, &pen, hook, sizeof hook / sizeof hook[0]);
    page_fill_circle(page, INK_PAPER, x, y + 0.46F * scale, 0.11F * scale);
}

void sheet_draw_sign(struct page_document *page, enum outcome outcome, float x, float y, float size) {
    const struct page_colour colour = sheet_outcome_colour(outcome);
    const float scale = size / 2;
    const struct page_pen pen = {INK_PAPER, scale * 0.24F, {0}};
    struct page_point tick[] = {{-0.45F, 0.04F}, {-0.12F, 0.38F}, {0.46F, -0.34F}};
    struct page_point falling[] = {{-0.42F, -0.42F}, {0.42F, 0.42F}}, rising[] = {{-0.42F, 0.42F}, {0.42F, -0.42F}};
    struct page_point square[] = {{-0.9F, -0.9F}, {0.9F, -0.9F}, {0.9F, 0.9F}, {-0.9F, 0.9F}};
    struct page_point lozenge[] = {{0, -1.12F}, {1.12F, 0}, {0, 1.12F}, {-1.12F, 0}};

    switch (outcome) {
    case OUTCOME_MET:
        page_fill_circle(page, colour, x, y, scale);
        sheet_place(tick, 3, x, y, scale);
        page_polyline(page, &pen, tick, 3);
        return;
    case OUTCOME_NOT_MET:
        sheet_place(square, 4, x, y, scale);
        page_fill(page, colour, square, 4);
        sheet_place(falling, 2, x, y, scale);
        page_polyline(page, &pen, falling, 2);
        sheet_place(rising, 2, x, y, scale);
        page_polyline(page, &pen, rising, 2);
        return;
    case OUTCOME_NOT_PROVEN:
        sheet_place(lozenge, 4, x, y, scale);
        page_fill(page, colour, lozenge, 4);
        sheet_draw_question(page, x, y, scale);
    }
}
