// SPDX-License-Identifier: MIT
/* page: paper to draw on. A document of A4 or Letter pages over libharu, with embedded fonts.
 *
 * Lengths are points (1/72 inch) from the top left corner of the page, y downwards; a text's y is its baseline.
 * Text is UTF-8 and may come from anybody; letters.h says how it is drawn. Text lies over everything else of its
 * page, whenever it was written, and each font is embedded with just the letters that were. Every page gets a
 * header line, and a footer "page x of y" once y is known.
 *
 * Drawing cannot fail visibly: the document remembers the first fault, draws nothing more and reports it at
 * page_finish. The bytes depend on what was drawn and on nothing else: no wall clock, no random id.
 */
#ifndef SOAKLEDGER_PAGE_H
#define SOAKLEDGER_PAGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"

enum page_face { PAGE_REGULAR, PAGE_BOLD, PAGE_MONO };
enum { PAGE_FACE_COUNT = 3 };
enum page_align { PAGE_LEFT, PAGE_CENTRE, PAGE_RIGHT };

struct page_colour {
    float red, green, blue;
};

struct page_type {
    enum page_face face;
    float size;
    struct page_colour colour;
};

enum { PAGE_DASH_PARTS = 4 };
struct page_pen {
    struct page_colour colour;
    float width;
    uint16_t dash[PAGE_DASH_PARTS]; // on, off, on, off; all 0 for a plain line; 2 parts if the third is 0
};

struct page_point {
    float x, y;
};

struct page_frame {
    float left, top, right, bottom;
};

struct page_about {
    const char *title;
    const char *author;
    const char *header_left, *header_right; // on every page ...
    bool letterhead;                        // ... but the first, which says it all by itself and begins higher
    const char *notice;                     // drawn large at the head and foot of every page; "" for none
    const char *footer;                     // left of the page number
    int64_t made_ms;                        // creation date, UTC
};

struct page_document;

/* `paper` is "A4" or "Letter". Strings of `about` are kept by reference until page_finish. */
struct page_document *page_open(const char *paper, const struct page_about *about, struct fault *fault);
void page_free(struct page_document *document); // NULL is allowed

/* Begins a new page; everything goes there from now on. */
void page_add(struct page_document *document);
/* Goes back to a page, counted from 1: what is only known at the end may stand at the beginning. */
void page_turn(struct page_document *document, size_t number);
size_t page_count(const struct page_document *document);
/* The part of a page between margins, header and footer. */
struct page_frame page_frame(const struct page_document *document);

float page_measure(struct page_document *document, const struct page_type *type, const char *text);
/* How many bytes of `text` make the next line within `width`: breaks at spaces and '\n', within a word only if it
 * alone is too wide. `next` gets where the following line begins (past the break). At least one character. */
size_t page_fit(struct page_document *document, const struct page_type *type, const char *text, float width,
                size_t *next);
void page_text(struct page_document *document, float x, float y, enum page_align align,
               const struct page_type *type, const char *text);
/* The first `length` bytes only. */
void page_text_part(struct page_document *document, float x, float y, enum page_align align,
                    const struct page_type *type, const char *text, size_t length);

void page_line(struct page_document *document, const struct page_pen *pen, float x0, float y0, float x1, float y1);
void page_polyline(struct page_document *document, const struct page_pen *pen, const struct page_point *points,
                   size_t count);
void page_fill(struct page_document *document, struct page_colour colour, const struct page_point *points,
               size_t count);
void page_fill_frame(struct page_document *document, struct page_colour colour, struct page_frame frame);
void page_stroke_frame(struct page_document *document, const struct page_pen *pen, struct page_frame frame);
void page_fill_circle(struct page_document *document, struct page_colour colour, float x, float y, float radius);
void page_stroke_circle(struct page_document *document, const struct page_pen *pen, float x, float y, float radius);
/* Slanted lines `spacing` apart, kept inside the frame. */
void page_hatch(struct page_document *document, const struct page_pen *pen, struct page_frame frame, float spacing);
/* Between the two, nothing is drawn outside the frame. They do not nest. */
void page_clip(struct page_document *document, struct page_frame frame);
void page_unclip(struct page_document *document);

/* Draws headers and footers and hands over the finished file; the caller frees `bytes`. Draw nothing afterwards. */
int page_finish(struct page_document *document, unsigned char **bytes, size_t *length, struct fault *fault);
/* The same as a file by itself: with metadata and an id, for the archive; see pdf.h. */
int page_finish_file(struct page_document *document, unsigned char **bytes, size_t *length, struct fault *fault);
/* What page_open was given. */
const struct page_about *page_said(const struct page_document *document);

#endif
