// SPDX-License-Identifier: MIT
/* paper: looks at a finished PDF from outside, with programs that know nothing of ours. */
#ifndef SOAKLEDGER_PAPER_H
#define SOAKLEDGER_PAPER_H

#include <stdbool.h>
#include <stddef.h>

/* What a shell command prints on both outputs, as one text; the caller frees. `status` may be NULL. */
char *paper_run(int *status, const char *format, ...) __attribute__((format(printf, 2, 3)));
void paper_write(const char *path, const void *bytes, size_t length);
char *paper_text(const char *path); // pdftotext -layout; the caller frees
/* The text of all pages with every run of white space as one space: wrapping does not matter then. */
char *paper_flat(const char *path);
/* The same, read row by row across all columns. */
char *paper_rows(const char *path);
size_t paper_count(const char *text, const char *what);
bool paper_has(const char *text, const char *what);

struct paper_word {
    size_t page;
    double left, top, right, bottom;
    char text[256];
};
/* Every word with its box; the caller frees. */
struct paper_word *paper_words(const char *path, size_t *count);
/* The first pair of words that cover each other, in words, or NULL; the caller frees. */
char *paper_find_overlap(const struct paper_word *words, size_t count);
/* The first word outside these margins, or NULL; not to be freed. */
const char *paper_find_outside(const struct paper_word *words, size_t count, double left, double top, double right,
                               double bottom);
/* That qpdf finds no fault and every font is embedded; else prints why. */
bool paper_is_sound(const char *path);
/* One page in grey, at `dpi`: width * height bytes; the caller frees. */
unsigned char *paper_picture(const char *path, int page, int dpi, size_t *width, size_t *height);

#endif
