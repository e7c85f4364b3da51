// SPDX-License-Identifier: MIT
#include "soakledger/journal.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { JOURNAL_LINE_BYTES = 1024 };

/* Control characters, and marks that make a line say something else than it shows (Unicode's Bidi_Control and
 * Default_Ignorable_Code_Point, those of format and of lines): C1, the Arabic letter mark, zero widths and
 * directions, separators of lines, embeddings, invisible operators and isolates, the byte order mark, tags. */
static bool is_hidden(uint32_t code) {
    static const struct {
        uint32_t first, last;
    } hidden[] = {{0, 0x1f},        {0x7f, 0x9f},     {0x61c, 0x61c},   {0x200b, 0x200f},
                  {0x2028, 0x202e}, {0x2060, 0x206f}, {0xfeff, 0xfeff}, {0xe0000, 0xe007f}};

    for (size_t i = 0; i < sizeof hidden / sizeof *hidden; i++)
        if (code >= hidden[i].first && code <= hidden[i].last)
            return true;
    return false;
}

/* How many bytes the UTF-8 character at `text` has; 0 if it is none (RFC 3629), or none that is to
 * be shown. */
static size_t measure_character(const unsigned char *text) {
    enum { FIRST_PRINTABLE = 0x20, DELETE = 0x7f, TAIL_MASK = 0xc0, TAIL = 0x80, TAIL_BITS = 6 };
    static const struct {
        unsigned char mask, head;
        uint32_t least;
    } forms[] = {{0xe0, 0xc0, 0x80}, {0xf0, 0xe0, 0x800}, {0xf8, 0xf0, 0x10000}};
    const uint32_t most = 0x10ffff, surrogates = 0xd800, surrogates_end = 0xdfff;

    if (*text < DELETE)
        return *text >= FIRST_PRINTABLE;
    for (size_t form = 0; form < sizeof forms / sizeof *forms; form++) {
        uint32_t code = (uint32_t)(*text & ~forms[form].mask);
        size_t at = 1;

        if ((*text & forms[form].mask) != forms[form].head)
            continue;
        for (; at < form + 2 && (text[at] & TAIL_MASK) == TAIL; at++)
            code = code << TAIL_BITS | (uint32_t)(text[at] & ~TAIL_MASK);
        if (at < form + 2 || code < forms[form].least || code > most || is_hidden(code) ||
            (code >= surrogates && code <= surrogates_end))
            return 0;
        return at;
    }
    return 0;
}

char *journal_clean(char *out, size_t size, const char *text) {
    size_t used = 0;

    while (*text != '\0') {
        const size_t length = measure_character((const unsigned char *)text), taken = length == 0 ? 1 : length;

        if (used + taken >= size)
            break;
        if (length == 0)
            out[used] = '?';
        else
            memcpy(out + used, text, length);
        used += taken;
        text += taken;
    }
    out[used] = '\0';
    return out;
}

void journal_write(enum journal_level level, const char *format, ...) {
    char line[JOURNAL_LINE_BYTES], clean[JOURNAL_LINE_BYTES];
    va_list args;

    va_start(args, format);
    vsnprintf(line, sizeof line, format, args);
    va_end(args);
    journal_clean(clean, sizeof clean, line);
    if (getenv("JOURNAL_STREAM") != NULL) // set by systemd for a service whose output goes to the journal
        fprintf(stderr, "<%d>%s\n", (int)level, clean);
    else
        fprintf(stderr, "%s\n", clean);
}
