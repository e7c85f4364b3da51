// SPDX-License-Identifier: MIT
/* sheet: text, lists and tables that flow down pages. A new page begins where something no longer fits; a heading
 * stays with what follows it, a table repeats its head, a row taller than a page goes on on the next. */
#ifndef SOAKLEDGER_SHEET_H
#define SOAKLEDGER_SHEET_H

#include <stdbool.h>
#include <stddef.h>

#include "soakledger/judge.h"
#include "soakledger/page.h"

struct sheet {
    struct page_document *page;
    struct page_frame frame; // what a page has room for
    float y;                 // how far down this page is used
};

/* Begins the first page. */
void sheet_begin(struct sheet *sheet, struct page_document *page);
void sheet_new_page(struct sheet *sheet);
/* Begins a new page unless `height` fits on this one. */
void sheet_need(struct sheet *sheet, float height);
void sheet_skip(struct sheet *sheet, float height);
/* Takes `height` across the whole width, on a new page if need be. */
struct page_frame sheet_take(struct sheet *sheet, float height);

/* A title of a part of the sheet, under a rule; `follows` is the height that must fit beneath it on the same page.
 */
void sheet_heading(struct sheet *sheet, const char *text, float follows);
/* A smaller one within a part. */
void sheet_subheading(struct sheet *sheet, const char *text, float follows);
/* Wrapped text, '\n' begins a new line. */
void sheet_paragraph(struct sheet *sheet, const struct page_type *type, float leading, const char *text);
void sheet_plain(struct sheet *sheet, const char *text); // a paragraph in the usual type
void sheet_small(struct sheet *sheet, const char *text); // a remark under something

struct sheet_fact {
    const char *name, *value;
};
/* Names and values in two columns side by side, filled row by row; facts with an empty value are left out. */
void sheet_facts(struct sheet *sheet, const struct sheet_fact *facts, size_t count);

/* A form: each name above its value, three to a row. A value too long for its place takes the whole width; one of
 * more than `most` lines there is cut with "…" (0: never), and `cut` (one per fact, may be NULL) is set: it has to
 * stand whole elsewhere. */
void sheet_form(struct sheet *sheet, const struct sheet_fact *facts, size_t count, size_t most, bool *cut);

/* How high it would be. */
float sheet_form_height(struct sheet *sheet, const struct sheet_fact *facts, size_t count, size_t most);

/* How high `text` is, wrapped to `width`. */
float sheet_text_height(struct sheet *sheet, const struct page_type *type, float width, float leading,
                        const char *text);
/* Draws it with its first baseline at `y`, at most `most` lines (0: all), the last cut with "…"; returns the y
 * below. */
float sheet_text_block(struct sheet *sheet, const struct page_type *type, float x, float y, float width,
                       float leading, size_t most, const char *text);
/* Draws one line, cut with "…" where it is wider than `width`. */
void sheet_line(struct sheet *sheet, const struct page_type *type, float x, float y, enum page_align align,
                float width, const char *text);

enum { SHEET_MOST_COLUMNS = 8, SHEET_NO_MARK = -1 };
struct sheet_column {
    const char *title;
    float share; // of the sheet's width; all together 1
    enum page_align align;
};
struct sheet_cell {
    const char *text;
    int outcome; // enum outcome: its sign stands before the text; or SHEET_NO_MARK
    bool strong;
};
struct sheet_table {
    struct sheet *sheet;
    const struct sheet_column *columns;
    size_t count;
    size_t rows;
    const char *carried; // stands in the first cell where a page begins with the next row; NULL for nothing
    bool dense;          // rows close together, ruled off only above one whose first cell begins something new
    bool begins;         // of a dense table: the next row does
    const char *note;    // small, under the next row from its second column on; NULL for none
};
void sheet_table_begin(struct sheet_table *table, struct sheet *sheet, const struct sheet_column *columns,
                       size_t count);
void sheet_table_row(struct sheet_table *table, const struct sheet_cell *cells);
void sheet_table_end(struct sheet_table *table);

struct page_colour sheet_outcome_colour(enum outcome outcome);
/* The sign of an outcome: a tick in a disc, a cross in a square, a question mark in a lozenge; solid, with the sign
 * in the paper's white. `size` is its height; x and y are its middle. */
void sheet_draw_sign(struct page_document *page, enum outcome outcome, float x, float y, float size);

#endif
