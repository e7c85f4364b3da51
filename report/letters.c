// SPDX-License-Identifier: MIT
#include "soakledger/letters.h"

#include <fribidi.h>
#include <ft2build.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include FT_FREETYPE_H
#include FT_ADVANCES_H

#include "soakledger/words.h"

#define FONT_FOLDER "/usr/share/fonts/truetype/"

enum { REPLACEMENT_CODE = 0xFFFD, LAST_ADDRESSABLE = 0xFFFF, SAID_BYTES = 16, CHAIN = 4 };
enum { LATIN = 0x180, WORD_BITS = 32, WORDS = (LAST_ADDRESSABLE + 1) / WORD_BITS };

static const struct {
    const char *path, *package;
} letters_fonts[LETTERS_FONT_COUNT] = {
    [LETTERS_REGULAR] = {FONT_FOLDER "dejavu/DejaVuSans.ttf", "fonts-dejavu-core"},
    [LETTERS_BOLD] = {FONT_FOLDER "dejavu/DejaVuSans-Bold.ttf", "fonts-dejavu-core"},
    [LETTERS_MONO] = {FONT_FOLDER "dejavu/DejaVuSansMono.ttf", "fonts-dejavu-core"},
    [LETTERS_SYMBOLS] = {FONT_FOLDER "freefont/FreeSerif.ttf", "fonts-freefont-ttf"},
    [LETTERS_HAN] = {FONT_FOLDER "wqy/wqy-microhei.ttc", "fonts-wqy-microhei"},
};

struct letters {
    FT_Library library;
    FT_Face faces[LETTERS_FONT_COUNT];
    bool tried[LETTERS_FONT_COUNT];
    float widths[LETTERS_FONT_COUNT][LATIN];  // of the size; 0: not yet known
    uint32_t used[LETTERS_FONT_COUNT][WORDS]; // one bit a code point
};

/* Code points in logical order on their way to paper. */
struct letters_codes {
    FriBidiChar codes[LETTERS_MOST];
    size_t count;
    bool turns; // has letters that run from right to left
};

struct span {
    uint32_t first, last;
};

static bool letters_within(const struct span *spans, size_t count, uint32_t code) {
    for (size_t i = 0; i < count; i++)
        if (code >= spans[i].first && code <= spans[i].last)
            return true;
    return false;
}

struct letters *letters_open(void) {
    return calloc(1, sizeof(struct letters));
}

void letters_free(struct letters *letters) {
    if (letters == NULL)
        return;
    if (letters->library != NULL)
        FT_Done_FreeType(letters->library); // and every face with it
    free(letters);
}

const char *letters_path(enum letters_font font) {
    return letters_fonts[font].path;
}

const char *letters_package(enum letters_font font) {
    return letters_fonts[font].package;
}

/* ---- which face ---- */

/* What each of the three DejaVu faces has, so that no face need be opened for it: Latin letters and the few signs
 * of our own sentences. */
static bool letters_is_plain(uint32_t code) {
    static const struct span plain[] = {{0x20, 0x7E},     {0xA0, 0xAC},     {0xAE, 0x17F},   {0x2013, 0x2014},
                                        {0x2018, 0x201E}, {0x2026, 0x2026}, {0x2212, 0x2212}};

    return letters_within(plain, sizeof plain / sizeof plain[0], code);
}

/* Scripts that nobody can read unless their letters are reordered or shaped by rules beyond Unicode's own. */
static bool letters_needs_shaping(uint32_t code) {
    static const struct span shaped[] = {
        {0x0700, 0x07BF},                   // Syriac, Arabic Supplement, Thaana
        {0x0840, 0x08FF},                   // Mandaic, Syriac Supplement, Arabic Extended
        {0x0900, 0x0DFF},                   // Devanagari to Sinhala
        {0x0F00, 0x109F},                   // Tibetan, Myanmar
        {0x1700, 0x18AF},                   // Tagalog to Mongolian
        {0x1900, 0x1CFF},                   // Limbu to Vedic Extensions
        {0xA800, 0xA82F}, {0xA840, 0xABFF}, // Syloti Nagri, Phags-pa to Meetei Mayek
    };

    return letters_within(shaped, sizeof shaped / sizeof shaped[0], code);
}

static FT_Face letters_face(struct letters *letters, enum letters_font font) {
    if (!letters->tried[font]) {
        letters->tried[font] = true;
        if (letters->library == NULL && FT_Init_FreeType(&letters->library) != 0)
            letters->library = NULL;
        if (letters->library != NULL &&
            FT_New_Face(letters->library, letters_fonts[font].path, 0, &letters->faces[font]) != 0)
            letters->faces[font] = NULL;
    }
    return letters->faces[font];
}

/* The first face that has it, or LETTERS_NONE. */
static enum letters_font letters_choose(struct letters *letters, enum letters_font font, uint32_t code) {
    const enum letters_font chain[CHAIN] = {font, LETTERS_REGULAR, LETTERS_SYMBOLS, LETTERS_HAN};

    if (letters_is_plain(code))
        return font;
    if (code > LAST_ADDRESSABLE)
        return LETTERS_NONE; // libharu addresses glyphs by 16 bits
    for (size_t i = 0; i < CHAIN; i++) {
        const FT_Face face = letters_face(letters, chain[i]);

        if (face != NULL && FT_Get_Char_Index(face, code) != 0)
            return chain[i];
    }
    return LETTERS_NONE;
}

/* ---- what is drawn, in logical order ---- */

static bool letters_is_invisible(uint32_t code) {
    static const struct span invisible[] = {{0xAD, 0xAD},     {0x200B, 0x200D}, {0x2060, 0x2064},
                                            {0xFE00, 0xFE0F}, {0xFEFF, 0xFEFF}, {0xE0100, 0xE01EF}};

    return letters_within(invisible, sizeof invisible / sizeof invisible[0], code);
}

static bool letters_is_control(uint32_t code) {
    static const struct span controls[] = {{0, 0x1F},        {0x7F, 0x9F},     {0x061C, 0x061C},
                                           {0x200E, 0x200F}, {0x2028, 0x202E}, {0x2066, 0x206F}};

    return letters_within(controls, sizeof controls / sizeof controls[0], code);
}

static void letters_add(struct letters_codes *codes, uint32_t code) {
    if (codes->count < LETTERS_MOST)
        codes->codes[codes->count++] = code;
}

/* "[U+1F468 U+1F469]": neighbours share their brackets. */
static void letters_say(struct letters_codes *codes, uint32_t code, bool goes_on) {
    char said[SAID_BYTES];

    if (goes_on)
        codes->count--;
    snprintf(said, sizeof said, "%cU+%04X]", goes_on ? ' ' : '[', (unsigned)code);
    for (const char *at = said; *at != '\0'; at++)
        letters_add(codes, (unsigned char)*at);
}

static bool letters_turns(uint32_t code) {
    return code >= 0x0590 && FRIBIDI_IS_RTL(fribidi_get_bidi_type(code)); // 0590: Hebrew, the first such block
}

static void letters_decode(struct letters *letters, enum letters_font font, const char *text, size_t length,
                           struct letters_codes *codes) {
    bool saying = false;

    codes->count = 0;
    codes->turns = false;
    length = strnlen(text, length);
    for (size_t at = 0; at < length;) {
        uint32_t code = REPLACEMENT_CODE;
        const size_t step = words_code(text + at, length - at, &code);

        at += step;
        if (letters_is_invisible(code))
            continue;
        if (letters_is_control(code))
            code = ' ';
        if (letters_needs_shaping(code) || letters_choose(letters, font, code) == LETTERS_NONE) {
            if (codes->count + SAID_BYTES > LETTERS_MOST)
                return;
            letters_say(codes, code, saying);
            saying = true;
            continue;
        }
        saying = false;
        codes->turns = codes->turns || letters_turns(code);
        letters_add(codes, code);
    }
}

/* ---- order and runs ---- */

/* FriBidi puts marks after their letter; but the faces draw a mark of these scripts from the letter's left edge on.
 */
static void letters_put_marks_first(FriBidiChar *codes, size_t count) {
    for (size_t i = 0; i < count; i++) {
        const FriBidiChar letter = codes[i];
        size_t marks = 0;

        while (letters_turns(letter) && i + marks + 1 < count &&
               fribidi_get_bidi_type(codes[i + marks + 1]) == FRIBIDI_TYPE_NSM)
            marks++;
        memmove(codes + i, codes + i + 1, marks * sizeof *codes);
        codes[i + marks] = letter;
        i += marks;
    }
}

/* FriBidi joins Arabic letters by the forms that Unicode has a code for; the place of the second of two that became
 * one is filled with U+FEFF. */
static void letters_turn(struct letters_codes *codes) {
    FriBidiChar turned[LETTERS_MOST];
    FriBidiParType base = FRIBIDI_PAR_LTR;
    size_t count = 0;

    if (!fribidi_log2vis(codes->codes, (FriBidiStrIndex)codes->count, &base, turned, NULL, NULL, NULL))
        return; // memory is short: better in the wrong order than not at all
    for (size_t i = 0; i < codes->count; i++)
        if (turned[i] != FRIBIDI_CHAR_FILL)
            codes->codes[count++] = turned[i];
    codes->count = count;
    letters_put_marks_first(codes->codes, count);
}

static size_t letters_encode(uint32_t code, char *out) {
    enum { TWO = 0x80, THREE = 0x800, SIX_BITS = 0x3F, MORE = 0x80, LEAD_TWO = 0xC0, LEAD_THREE = 0xE0 };

    if (code < TWO) {
        out[0] = (char)code;
        return 1;
    }
    if (code < THREE) {
        out[0] = (char)(LEAD_TWO | code >> 6);
        out[1] = (char)(MORE | (code & SIX_BITS));
        return 2;
    }
    out[0] = (char)(LEAD_THREE | code >> 12);
    out[1] = (char)(MORE | (code >> 6 & SIX_BITS));
    out[2] = (char)(MORE | (code & SIX_BITS));
    return 3;
}

/* Joined forms that no face has are drawn as a replacement: every base letter was looked up before, and DejaVu has
 * the forms of all that FriBidi joins. */
static void letters_split(struct letters *letters, enum letters_font font, const struct letters_codes *codes,
                          struct letters_line *line) {
    size_t used = 0;

    line->count = 0;
    for (size_t i = 0; i < codes->count; i++) {
        uint32_t code = codes->codes[i];
        enum letters_font chosen = letters_choose(letters, font, code);
        struct letters_run *run = line->count > 0 ? &line->runs[line->count - 1] : NULL;

        if (chosen == LETTERS_NONE) {
            code = REPLACEMENT_CODE;
            chosen = LETTERS_REGULAR;
        }
        if (run == NULL || run->font != chosen) {
            if (line->count == LETTERS_RUNS_MOST)
                break;
            run = &line->runs[line->count++];
            *run = (struct letters_run){chosen, used, 0};
        }
        used += letters_encode(code, line->text + used);
        run->length = used - run->begin;
    }
    line->text[used] = '\0';
}

/* Nearly every line is nothing but ASCII. */
static bool letters_lay_ascii(enum letters_font font, const char *text, size_t length, struct letters_line *line) {
    size_t used = 0;

    for (; used < length && text[used] != '\0' && used < LETTERS_MOST; used++) {
        if ((unsigned char)text[used] < ' ' || (unsigned char)text[used] > '~')
            return false;
        line->text[used] = text[used];
    }
    line->text[used] = '\0';
    line->count = used > 0 ? 1 : 0;
    line->runs[0] = (struct letters_run){font, 0, used};
    return true;
}

size_t letters_cluster(const char *text) {
    const size_t length = strnlen(text, LETTERS_BYTES);
    uint32_t code = 0;
    size_t taken = 0;

    if (length == 0)
        return 0;
    taken = words_code(text, length, &code);
    while (taken < length) {
        const size_t step = words_code(text + taken, length - taken, &code);

        if (!letters_is_invisible(code) && fribidi_get_bidi_type(code) != FRIBIDI_TYPE_NSM)
            break;
        taken += step;
    }
    return taken;
}

void letters_lay(struct letters *letters, enum letters_font font, const char *text, size_t length,
                 struct letters_line *line) {
    struct letters_codes codes;

    if (letters_lay_ascii(font, text, length, line))
        return;
    letters_decode(letters, font, text, length, &codes);
    if (codes.turns)
        letters_turn(&codes);
    letters_split(letters, font, &codes, line);
}

/* ---- what is drawn ---- */

static float letters_code_width(struct letters *letters, enum letters_font font, uint32_t code) {
    const FT_Face face = letters_face(letters, font);
    FT_Fixed advance = 0;

    if (code < LATIN && letters->widths[font][code] > 0)
        return letters->widths[font][code];
    if (face == NULL || FT_Get_Advance(face, FT_Get_Char_Index(face, code), FT_LOAD_NO_SCALE, &advance) != 0)
        return 0;
    if (code < LATIN)
        letters->widths[font][code] = (float)advance / (float)face->units_per_EM;
    return (float)advance / (float)face->units_per_EM;
}

float letters_width(struct letters *letters, const struct letters_line *line, const struct letters_run *run) {
    float width = 0;
    uint32_t code;

    for (size_t at = run->begin; at < run->begin + run->length;) {
        at += words_code(line->text + at, run->begin + run->length - at, &code);
        width += letters_code_width(letters, run->font, code);
    }
    return width;
}

void letters_use(struct letters *letters, const struct letters_line *line, const struct letters_run *run) {
    uint32_t code;

    for (size_t at = run->begin; at < run->begin + run->length;) {
        at += words_code(line->text + at, run->begin + run->length - at, &code);
        letters->used[run->font][code / WORD_BITS] |= UINT32_C(1) << code % WORD_BITS;
    }
}

static size_t letters_list_used(const struct letters *letters, enum letters_font font, uint32_t *codes) {
    size_t count = 0;

    for (uint32_t code = 0; code <= LAST_ADDRESSABLE; code++)
        if ((letters->used[font][code / WORD_BITS] >> code % WORD_BITS & 1) != 0) {
            if (codes != NULL)
                codes[count] = code;
            count++;
        }
    return count;
}

bool letters_is_used(const struct letters *letters, enum letters_font font) {
    return letters_list_used(letters, font, NULL) > 0;
}

bool letters_embed(struct letters *letters, enum letters_font font, struct subset_bytes *out) {
    const FT_Face face = letters_face(letters, font);
    const size_t count = letters_list_used(letters, font, NULL);
    uint32_t *codes = calloc(count + 1, sizeof *codes);
    bool made = false;

    if (codes != NULL && face != NULL) {
        letters_list_used(letters, font, codes);
        made = subset_make(face, codes, count, out);
    }
    free(codes);
    return made;
}
