// SPDX-License-Identifier: MIT
#include "soakledger/page.h"

#include <hpdf.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <time.h>
#include <unistd.h>

#include "soakledger/letters.h"
#include "soakledger/version.h"
#include "soakledger/words.h"

enum { LINE_BYTES = 1024, MS_PER_S = 1000, YEAR_ZERO = 1900, FIRST_TEXTS = 256, PATH_BYTES = 64 };

// Measures of the empty page, in points.
static const float MARGIN_SIDE = 50, MARGIN_TOP = 66, LETTERHEAD_TOP = 42, MARGIN_BOTTOM = 62;
static const float HEADER_BASELINE = 40, HEADER_RULE = 47, FOOTER_BASELINE = 36, FOOTER_RULE = 48;
static const float NOTICE_BASELINE = 24, NOTICE_FOOT_BASELINE = 20;
static const float A4_WIDTH = 595.276F, A4_HEIGHT = 841.890F, LETTER_WIDTH = 612, LETTER_HEIGHT = 792;
// Multiples of 1/8 point (576 dots per inch) have short exact decimals, which keeps files small.
static const float GRID = 8;

static const struct page_colour INK = {0.11F, 0.13F, 0.16F}, QUIET = {0.36F, 0.39F, 0.43F};

/* A run of letters where it stands. */
struct page_written {
    size_t page;
    enum letters_font font;
    float x, y, size;
    struct page_colour colour;
    char *text;
};

struct page_document {
    HPDF_Doc pdf;
    HPDF_Page page;
    struct letters *letters;
    HPDF_Font fonts[LETTERS_FONT_COUNT];
    struct page_written *texts; // drawn at the end, over everything else, with fonts that have just these letters
    size_t text_count, text_capacity;
    bool short_of_memory;
    struct page_about about;
    float width, height;
    size_t count;
    size_t number;             // of the page drawn on, from 1
    HPDF_STATUS error, detail; // the first error, 0 if none
    bool letter;
};

static void page_note_error(HPDF_STATUS error, HPDF_STATUS detail, void *user_data) {
    struct page_document *document = user_data;

    if (document->error == HPDF_OK) {
        document->error = error;
        document->detail = detail;
    }
}

static float page_snap(float length) {
    return roundf(length * GRID) / GRID;
}

static float page_y(const struct page_document *document, float y) {
    return page_snap(document->height - y);
}

static bool page_is_usable(const struct page_document *document) {
    return document->error == HPDF_OK && document->page != NULL;
}

/* The three faces have to be there, whatever will be written; the others only help. */
static int page_check_fonts(struct fault *fault) {
    for (int face = 0; face < PAGE_FACE_COUNT; face++)
        if (access(letters_path((enum letters_font)face), R_OK) != 0)
            return fault_set(fault, EX_UNAVAILABLE, "%s: cannot read this font: expected it from the package %s",
                             letters_path((enum letters_font)face), letters_package((enum letters_font)face));
    return 0;
}

/* libharu reads fonts from files: this one never touches a disk. */
static HPDF_Font page_load_font(struct page_document *document, const struct subset_bytes *file) {
    const int descriptor = memfd_create("letters", MFD_CLOEXEC);
    HPDF_Font font = NULL;
    char path[PATH_BYTES];
    const char *name;

    if (descriptor < 0)
        return NULL;
    snprintf(path, sizeof path, "/proc/self/fd/%d", descriptor);
    if (write(descriptor, file->bytes, file->length) == (ssize_t)file->length) {
        name = HPDF_LoadTTFontFromFile(document->pdf, path, HPDF_TRUE);
        if (name != NULL)
            font = HPDF_GetFont(document->pdf, name, "UTF-8");
    }
    close(descriptor);
    return font;
}

static int page_load_fonts(struct page_document *document, struct fault *fault) {
    HPDF_UseUTFEncodings(document->pdf);
    for (int i = 0; i < LETTERS_FONT_COUNT; i++) {
        const enum letters_font font = (enum letters_font)i;
        struct subset_bytes file = {0};

        if (!letters_is_used(document->letters, font))
            continue;
        if (letters_embed(document->letters, font, &file))
            document->fonts[font] = page_load_font(document, &file);
        free(file.bytes);
        if (document->fonts[font] == NULL)
            return fault_set(fault, EX_UNAVAILABLE,
                             "%s: cannot embed this font (error 0x%04lX): expected that of the package %s",
                             letters_path(font), (unsigned long)document->error, letters_package(font));
    }
    return 0;
}

static void page_set_info(struct page_document *document) {
    const time_t made = (time_t)(document->about.made_ms / MS_PER_S);
    struct tm parts;
    HPDF_Date date = {.ind = 'Z'};

    HPDF_SetInfoAttr(document->pdf, HPDF_INFO_CREATOR, "soakledger " SOAKLEDGER_VERSION);
    if (gmtime_r(&made, &parts) != NULL) {
        date.year = parts.tm_year + YEAR_ZERO;
        date.month = parts.tm_mon + 1;
        date.day = parts.tm_mday;
        date.hour = parts.tm_hour;
        date.minutes = parts.tm_min;
        date.seconds = parts.tm_sec;
        HPDF_SetInfoDateAttr(document->pdf, HPDF_INFO_CREATION_DATE, date);
    }
}

/* Info strings are set in PDFDocEncoding by libharu; a title beyond ASCII would turn into other letters, so what is
 * not ASCII is left out of these two (the pages show it in full). */
static void page_set_info_text(struct page_document *document, HPDF_InfoType type, const char *text) {
    char plain[LINE_BYTES];
    size_t used = 0;

    for (const char *from = text; *from != '\0' && used + 1 < sizeof plain; from++)
        if ((unsigned char)*from >= ' ' && (unsigned char)*from < 0x7F) // printable ASCII
            plain[used++] = *from;
    plain[used] = '\0';
    HPDF_SetInfoAttr(document->pdf, type, plain);
}

struct page_document *page_open(const char *paper, const struct page_about *about, struct fault *fault) {
    struct page_document *document = calloc(1, sizeof *document);

    if (document == NULL) {
        fault_set(fault, EX_OSERR, "not enough memory for a document");
        return NULL;
    }
    document->about = *about;
    document->letter = strcmp(paper, "Letter") == 0;
    document->width = document->letter ? LETTER_WIDTH : A4_WIDTH;
    document->height = document->letter ? LETTER_HEIGHT : A4_HEIGHT;
    document->letters = letters_open();
    document->pdf = HPDF_New(page_note_error, document);
    if (document->pdf == NULL || document->letters == NULL) {
        fault_set(fault, EX_SOFTWARE, "libharu cannot begin a document");
        goto fail;
    }
    HPDF_SetCompressionMode(document->pdf, HPDF_COMP_ALL);
    if (page_check_fonts(fault) != 0)
        goto fail;
    page_set_info(document);
    page_set_info_text(document, HPDF_INFO_TITLE, about->title);
    page_set_info_text(document, HPDF_INFO_AUTHOR, about->author);
    return document;
fail:
    page_free(document);
    return NULL;
}

void page_free(struct page_document *document) {
    if (document == NULL)
        return;
    if (document->pdf != NULL)
        HPDF_Free(document->pdf);
    letters_free(document->letters);
    for (size_t i = 0; i < document->text_count; i++)
        free(document->texts[i].text);
    free(document->texts);
    free(document);
}

void page_add(struct page_document *document) {
    if (document->error != HPDF_OK)
        return;
    document->page = HPDF_AddPage(document->pdf);
    if (document->page == NULL)
        return;
    HPDF_Page_SetSize(document->page, document->letter ? HPDF_PAGE_SIZE_LETTER : HPDF_PAGE_SIZE_A4,
                      HPDF_PAGE_PORTRAIT);
    HPDF_Page_SetLineJoin(document->page, HPDF_ROUND_JOIN);
    document->count++;
    document->number = document->count;
}

void page_turn(struct page_document *document, size_t number) {
    if (document->error != HPDF_OK || number == 0 || number > document->count)
        return;
    document->page = HPDF_GetPageByIndex(document->pdf, (HPDF_UINT)(number - 1));
    document->number = number;
}

size_t page_count(const struct page_document *document) {
    return document->count;
}

struct page_frame page_frame(const struct page_document *document) {
    const bool first = document->about.letterhead && document->number <= 1;

    return (struct page_frame){MARGIN_SIDE, first ? LETTERHEAD_TOP : MARGIN_TOP, document->width - MARGIN_SIDE,
                               document->height - MARGIN_BOTTOM};
}

/* ---- text ---- */

static float page_measure_part(struct page_document *document, const struct page_type *type, const char *text,
                               size_t length) {
    struct letters_line line;
    float width = 0;

    if (document->error != HPDF_OK)
        return 0;
    letters_lay(document->letters, (enum letters_font)type->face, text, length, &line);
    for (size_t i = 0; i < line.count; i++)
        width += letters_width(document->letters, &line, &line.runs[i]) * type->size;
    return width;
}

float page_measure(struct page_document *document, const struct page_type *type, const char *text) {
    return page_measure_part(document, type, text, strlen(text));
}

/* As many characters of one too long word as fit, at least one. */
static size_t page_fit_characters(struct page_document *document, const struct page_type *type, const char *text,
                                  size_t most, float width) {
    size_t taken = letters_cluster(text);

    while (taken < most) {
        const size_t step = letters_cluster(text + taken);

        if (page_measure_part(document, type, text, taken + step) > width)
            break;
        taken += step;
    }
    return taken;
}

/* A line is not broken between a number and its sign: "815 °C", "97 %". */
static size_t page_word_end(const char *text, size_t at) {
    static const char *const signs[] = {" °", " %"};
    size_t end = at + strspn(text + at, " ");

    for (;;) {
        bool goes_on = false;

        end += strcspn(text + end, " \n");
        for (size_t i = 0; i < sizeof signs / sizeof signs[0]; i++)
            goes_on = goes_on || strncmp(text + end, signs[i], strlen(signs[i])) == 0;
        if (!goes_on)
            return end;
        end++;
    }
}

size_t page_fit(struct page_document *document, const struct page_type *type, const char *text, float width,
                size_t *next) {
    size_t fitted = 0, at = 0;

    for (;;) {
        const size_t end = page_word_end(text, at);

        if (page_measure_part(document, type, text, end) > width) {
            if (fitted == 0)
                fitted = page_fit_characters(document, type, text, end, width);
            break;
        }
        fitted = end;
        if (text[end] != ' ')
            break;
        at = end;
    }
    *next = fitted + strspn(text + fitted, " ");
    if (text[*next] == '\n')
        (*next)++;
    return fitted;
}

static void page_write(struct page_document *document, const struct page_written *written) {
    if (document->text_count == document->text_capacity) {
        const size_t capacity = document->text_capacity == 0 ? FIRST_TEXTS : 2 * document->text_capacity;
        struct page_written *grown = realloc(document->texts, capacity * sizeof *grown);

        if (grown == NULL) {
            document->short_of_memory = true;
            free(written->text);
            return;
        }
        document->texts = grown;
        document->text_capacity = capacity;
    }
    document->texts[document->text_count++] = *written;
}

void page_text_part(struct page_document *document, float x, float y, enum page_align align,
                    const struct page_type *type, const char *text, size_t length) {
    struct letters_line line;

    if (!page_is_usable(document))
        return;
    letters_lay(document->letters, (enum letters_font)type->face, text, length, &line);
    if (align != PAGE_LEFT) {
        const float width = page_measure_part(document, type, text, length);

        x -= align == PAGE_RIGHT ? width : width / 2;
    }
    for (size_t i = 0; i < line.count; i++) {
        const struct letters_run *run = &line.runs[i];
        const struct page_written written = {document->number - 1,
                                             run->font,
                                             x,
                                             y,
                                             type->size,
                                             type->colour,
                                             strndup(line.text + run->begin, run->length)};

        if (written.text == NULL)
            document->short_of_memory = true;
        else
            page_write(document, &written);
        letters_use(document->letters, &line, run);
        x += letters_width(document->letters, &line, run) * type->size;
    }
}

/* All texts of a page in one go. */
static void page_draw_texts(struct page_document *document, size_t page) {
    for (size_t i = 0; i < document->text_count; i++) {
        const struct page_written *text = &document->texts[i];

        if (text->page != page || document->error != HPDF_OK)
            continue;
        HPDF_Page_BeginText(document->page);
        HPDF_Page_SetFontAndSize(document->page, document->fonts[text->font], text->size);
        HPDF_Page_SetRGBFill(document->page, text->colour.red, text->colour.green, text->colour.blue);
        HPDF_Page_TextOut(document->page, page_snap(text->x), page_y(document, text->y), text->text);
        HPDF_Page_EndText(document->page);
    }
}

void page_text(struct page_document *document, float x, float y, enum page_align align,
               const struct page_type *type, const char *text) {
    page_text_part(document, x, y, align, type, text, strlen(text));
}

/* ---- lines and areas ---- */

static void page_use_pen(struct page_document *document, const struct page_pen *pen) {
    HPDF_UINT parts = 0;

    if (pen->dash[0] != 0)
        parts = pen->dash[2] != 0 ? PAGE_DASH_PARTS : 2;
    HPDF_Page_SetRGBStroke(document->page, pen->colour.red, pen->colour.green, pen->colour.blue);
    HPDF_Page_SetLineWidth(document->page, pen->width);
    HPDF_Page_SetDash(document->page, parts != 0 ? pen->dash : NULL, parts, 0);
}

static void page_trace(struct page_document *document, const struct page_point *points, size_t count) {
    HPDF_Page_MoveTo(document->page, page_snap(points[0].x), page_y(document, points[0].y));
    for (size_t i = 1; i < count; i++)
        HPDF_Page_LineTo(document->page, page_snap(points[i].x), page_y(document, points[i].y));
}

void page_polyline(struct page_document *document, const struct page_pen *pen, const struct page_point *points,
                   size_t count) {
    if (!page_is_usable(document) || count < 2)
        return;
    page_use_pen(document, pen);
    page_trace(document, points, count);
    HPDF_Page_Stroke(document->page);
}

void page_line(struct page_document *document, const struct page_pen *pen, float x0, float y0, float x1, float y1) {
    const struct page_point points[] = {{x0, y0}, {x1, y1}};

    page_polyline(document, pen, points, sizeof points / sizeof points[0]);
}

void page_fill(struct page_document *document, struct page_colour colour, const struct page_point *points,
               size_t count) {
    if (!page_is_usable(document) || count < 3) // fewer corners have no area
        return;
    HPDF_Page_SetRGBFill(document->page, colour.red, colour.green, colour.blue);
    page_trace(document, points, count);
    HPDF_Page_ClosePath(document->page);
    HPDF_Page_Fill(document->page);
}

void page_fill_frame(struct page_document *document, struct page_colour colour, struct page_frame frame) {
    const struct page_point corners[] = {
        {frame.left, frame.top}, {frame.right, frame.top}, {frame.right, frame.bottom}, {frame.left, frame.bottom}};

    page_fill(document, colour, corners, sizeof corners / sizeof corners[0]);
}

void page_stroke_frame(struct page_document *document, const struct page_pen *pen, struct page_frame frame) {
    const struct page_point corners[] = {{frame.left, frame.top},
                                         {frame.right, frame.top},
                                         {frame.right, frame.bottom},
                                         {frame.left, frame.bottom},
                                         {frame.left, frame.top}};

    page_polyline(document, pen, corners, sizeof corners / sizeof corners[0]);
}

void page_fill_circle(struct page_document *document, struct page_colour colour, float x, float y, float radius) {
    if (!page_is_usable(document))
        return;
    HPDF_Page_SetRGBFill(document->page, colour.red, colour.green, colour.blue);
    HPDF_Page_Circle(document->page, page_snap(x), page_y(document, y), radius);
    HPDF_Page_Fill(document->page);
}

void page_stroke_circle(struct page_document *document, const struct page_pen *pen, float x, float y,
                        float radius) {
    if (!page_is_usable(document))
        return;
    page_use_pen(document, pen);
    HPDF_Page_Circle(document->page, page_snap(x), page_y(document, y), radius);
    HPDF_Page_Stroke(document->page);
}

void page_hatch(struct page_document *document, const struct page_pen *pen, struct page_frame frame,
                float spacing) {
    const float height = frame.bottom - frame.top;
    // Lines rise to the right at 45 degrees; anchoring them to the page lets neighbouring frames line up.
    const int first = (int)floorf(frame.left / spacing) - (int)ceilf(height / spacing);
    const int last = (int)ceilf(frame.right / spacing);

    for (int i = first; i <= last; i++) {
        const float foot = (float)i * spacing;
        const float from = fmaxf(foot, frame.left), to = fminf(foot + height, frame.right);

        if (from < to)
            page_line(document, pen, from, frame.bottom - (from - foot), to, frame.bottom - (to - foot));
    }
}

void page_clip(struct page_document *document, struct page_frame frame) {
    if (!page_is_usable(document))
        return;
    HPDF_Page_GSave(document->page);
    HPDF_Page_Rectangle(document->page, page_snap(frame.left), page_y(document, frame.bottom),
                        page_snap(frame.right - frame.left), page_snap(frame.bottom - frame.top));
    HPDF_Page_Clip(document->page);
    HPDF_Page_EndPath(document->page);
}

void page_unclip(struct page_document *document) {
    if (page_is_usable(document))
        HPDF_Page_GRestore(document->page);
}

/* ---- the end ---- */

/* The name of a shop may be longer than a line: then it stands in full on the first page, and here as far as it
 * goes. */
static void page_dress_head(struct page_document *document) {
    const struct page_type quiet = {PAGE_REGULAR, 7.5F, QUIET}, strong = {PAGE_BOLD, 7.5F, INK};
    const struct page_pen rule = {QUIET, 0.5F, {0}};
    const float right = document->width - MARGIN_SIDE, apart = 20;
    const float room = right - MARGIN_SIDE - apart - page_measure(document, &quiet, document->about.header_right);
    const char *left = document->about.header_left;
    char cut[LINE_BYTES];
    size_t next;

    if (page_measure(document, &strong, left) > room) {
        const size_t fits = page_fit(document, &strong, left, room - page_measure(document, &strong, "…"), &next);

        snprintf(cut, sizeof cut, "%.*s…", (int)(fits < sizeof cut / 2 ? fits : sizeof cut / 2), left);
        left = cut;
    }
    page_text(document, MARGIN_SIDE, HEADER_BASELINE, PAGE_LEFT, &strong, left);
    page_text(document, right, HEADER_BASELINE, PAGE_RIGHT, &quiet, document->about.header_right);
    page_line(document, &rule, MARGIN_SIDE, HEADER_RULE, right, HEADER_RULE);
}

static void page_dress(struct page_document *document, size_t number) {
    const struct page_type quiet = {PAGE_REGULAR, 7.5F, QUIET}, strong = {PAGE_BOLD, 7.5F, INK};
    const struct page_type notice = {PAGE_BOLD, 9.5F, INK};
    const struct page_pen rule = {QUIET, 0.5F, {0}};
    const float right = document->width - MARGIN_SIDE, foot = document->height - FOOTER_RULE;
    char place[64];

    if (number > 1 || !document->about.letterhead)
        page_dress_head(document);
    page_line(document, &rule, MARGIN_SIDE, foot, right, foot);
    page_text(document, MARGIN_SIDE, document->height - FOOTER_BASELINE, PAGE_LEFT, &quiet, document->about.footer);
    snprintf(place, sizeof place, "page %zu of %zu", number, document->count);
    page_text(document, right, document->height - FOOTER_BASELINE, PAGE_RIGHT, &strong, place);
    if (document->about.notice[0] != '\0') {
        page_text(document, document->width / 2, NOTICE_BASELINE, PAGE_CENTRE, &notice, document->about.notice);
        page_text(document, document->width / 2, document->height - NOTICE_FOOT_BASELINE, PAGE_CENTRE, &notice,
                  document->about.notice);
    }
}

static int page_fail(const struct page_document *document, struct fault *fault) {
    return fault_set(fault, EX_SOFTWARE, "the document cannot be made: libharu error 0x%04lX, detail %lu",
                     (unsigned long)document->error, (unsigned long)document->detail);
}

const struct page_about *page_said(const struct page_document *document) {
    return &document->about;
}

int page_finish(struct page_document *document, unsigned char **bytes, size_t *length, struct fault *fault) {
    HPDF_UINT32 size;

    for (size_t i = 1; i <= document->count; i++) {
        page_turn(document, i);
        page_dress(document, i);
    }
    if (document->short_of_memory)
        return fault_set(fault, EX_OSERR, "not enough memory for a document of %zu pages", document->count);
    if (document->error == HPDF_OK && page_load_fonts(document, fault) != 0)
        return -1;
    for (size_t i = 1; i <= document->count; i++) {
        page_turn(document, i);
        page_draw_texts(document, i - 1);
    }
    if (document->error != HPDF_OK || document->count == 0)
        return page_fail(document, fault);
    HPDF_SaveToStream(document->pdf);
    if (document->error != HPDF_OK)
        return page_fail(document, fault);
    size = HPDF_GetStreamSize(document->pdf);
    *bytes = malloc(size);
    if (*bytes == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for a file of %lu bytes", (unsigned long)size);
    HPDF_ResetStream(document->pdf);
    *length = size;
    HPDF_ReadFromStream(document->pdf, *bytes, &size);
    if (size != *length) {
        free(*bytes);
        *bytes = NULL;
        return page_fail(document, fault);
    }
    return 0;
}
