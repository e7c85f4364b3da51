// SPDX-License-Identifier: MIT
/* letters: which of the faces at hand draws a text, and in what order its letters stand on the line.
 *
 * Text is UTF-8 and may come from anybody. Most of it is drawn in the face that is asked for; what that lacks, in
 * the first of the others that has it. Scripts that run from right to left are put into the order in which they
 * stand on paper, in a line that itself runs from left to right, and Arabic letters are joined (Unicode Standard
 * Annex 9, by FriBidi). What no face has, and scripts whose letters change order or shape beyond that (Devanagari
 * and its kin), are said by their code points, "[U+1F525]": nothing is lost, nothing is guessed.
 *
 * Control characters and marks that turn the direction of writing become spaces, what is no UTF-8 becomes U+FFFD,
 * and what is invisible by itself (joiners, variation selectors) is left out.
 *
 * A face is opened when it is first needed; one whose file is missing has no letters.
 */
#ifndef SOAKLEDGER_LETTERS_H
#define SOAKLEDGER_LETTERS_H

#include <stdbool.h>
#include <stddef.h>

#include "soakledger/subset.h"

/* The first three by the numbers of enum page_face. */
enum letters_font { LETTERS_REGULAR, LETTERS_BOLD, LETTERS_MONO, LETTERS_SYMBOLS, LETTERS_HAN, LETTERS_NONE };
enum { LETTERS_FONT_COUNT = LETTERS_NONE };

/* A text is cut off between characters where it does not fit; lines are far shorter. */
enum { LETTERS_MOST = 1024, LETTERS_BYTES = 4 * LETTERS_MOST, LETTERS_RUNS_MOST = 128 };

struct letters_run {
    enum letters_font font;
    size_t begin, length; // bytes of the line's text
};

struct letters_line {
    char text[LETTERS_BYTES]; // UTF-8 in the order in which it is drawn, every code point below U+10000
    struct letters_run runs[LETTERS_RUNS_MOST];
    size_t count;
};

struct letters;

struct letters *letters_open(void); // NULL if memory is short
void letters_free(struct letters *letters);
/* Where a font's file is expected, and the package that brings it. */
const char *letters_path(enum letters_font font);
const char *letters_package(enum letters_font font);

/* Bytes of the character at `text` with the marks that stand on it: what a line must not be broken within. 0 at the
 * terminator. */
size_t letters_cluster(const char *text);
/* Lays out at most `length` bytes of `text`. */
void letters_lay(struct letters *letters, enum letters_font font, const char *text, size_t length,
                 struct letters_line *line);
/* How wide a run is, as a multiple of the size. */
float letters_width(struct letters *letters, const struct letters_line *line, const struct letters_run *run);

/* Remembers that a run is drawn. */
void letters_use(struct letters *letters, const struct letters_line *line, const struct letters_run *run);
bool letters_is_used(const struct letters *letters, enum letters_font font);
/* A font file of everything that was drawn in a font; the caller frees out->bytes. */
bool letters_embed(struct letters *letters, enum letters_font font, struct subset_bytes *out);

#endif
