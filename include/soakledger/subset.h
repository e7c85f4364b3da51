// SPDX-License-Identifier: MIT
/* subset: a small TrueType font with only the letters that a document uses, to be embedded in it.
 *
 * Every glyph is written as plain outlines, composite ones put together, and without hints, which paper has no use
 * for. libharu subsets by itself, but leaves out the parts of parts and every part beyond glyph 32767 (seen
 * with 2.3.0: Arabic without letters under its dots, Han with holes), and keeps tens of kilobytes that no letter
 * needs.
 */
#ifndef SOAKLEDGER_SUBSET_H
#define SOAKLEDGER_SUBSET_H

#include <ft2build.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include FT_FREETYPE_H

/* A growing piece of a file, all numbers in it big-endian. */
struct subset_bytes {
    unsigned char *bytes;
    size_t length, capacity;
    bool failed; // memory ran short
};

/* A font of these code points (rising, below U+10000), all of which `face` has. The caller frees out->bytes. False
 * if memory is short or the face has no quadratic outlines. */
bool subset_make(FT_Face face, const uint32_t *codes, size_t count, struct subset_bytes *out);

#endif
