// SPDX-License-Identifier: MIT
/* The file as the OpenType specification 1.9 has it, chapters of the same names as the tables. */
#include "soakledger/subset.h"

#include <stdlib.h>
#include <string.h>
#include FT_OUTLINE_H
#include FT_TRUETYPE_TABLES_H
#include FT_TRUETYPE_TAGS_H

enum {
    TABLES = 13,
    FIRST_CAPACITY = 4096,
    DIRECTORY_HEAD = 12,
    DIRECTORY_ENTRY = 16,
    BYTE_BITS = 8,
    BYTE = 0xFF,
    ALIGNED = 4,
    MORE_FLAGS = 64, // room for one glyph's points at first
};
/* Places in tables that are copied, and their sizes. */
enum { HEAD_BYTES = 54, HEAD_ADJUSTMENT = 8, HEAD_LOCA_FORMAT = 50, LOCA_LONG = 1 };
enum { HHEA_BYTES = 36, HHEA_METRICS = 34, MAXP_BYTES = 32, OS2_BYTES = 78, POST_BYTES = 32, POST_KEPT = 12 };
enum { ON_CURVE = 1, X_SHORT = 2, Y_SHORT = 4, X_SAME_OR_POSITIVE = 16, Y_SAME_OR_POSITIVE = 32 };
enum { WINDOWS = 3, UNICODE_BMP = 1, ENGLISH = 0x409 };
#define POST_WITHOUT_NAMES 0x00030000U
#define TRUETYPE_VERSION   0x00010000U

struct subset {
    FT_Face face;
    const uint32_t *codes;
    size_t glyphs; // one a code, after .notdef
    struct subset_bytes glyf, loca, hmtx;
    unsigned most_points, most_contours;
    bool failed;
};

/* ---- bytes ---- */

static void subset_put(struct subset_bytes *out, const void *bytes, size_t length) {
    if (out->failed)
        return;
    if (out->length + length > out->capacity) {
        const size_t capacity = (out->length + length) * 2 + FIRST_CAPACITY;
        unsigned char *grown = realloc(out->bytes, capacity);

        if (grown == NULL) {
            out->failed = true;
            return;
        }
        out->bytes = grown;
        out->capacity = capacity;
    }
    if (length > 0)
        memcpy(out->bytes + out->length, bytes, length);
    out->length += length;
}

static void subset_put8(struct subset_bytes *out, unsigned value) {
    const unsigned char byte = (unsigned char)(value & BYTE);

    subset_put(out, &byte, 1);
}

static void subset_put16(struct subset_bytes *out, unsigned value) {
    subset_put8(out, value >> BYTE_BITS);
    subset_put8(out, value);
}

static void subset_put32(struct subset_bytes *out, uint32_t value) {
    subset_put16(out, value >> (2 * BYTE_BITS));
    subset_put16(out, value & (BYTE << BYTE_BITS | BYTE));
}

static void subset_set16(unsigned char *at, unsigned value) {
    at[0] = (unsigned char)(value >> BYTE_BITS & BYTE);
    at[1] = (unsigned char)(value & BYTE);
}

static void subset_align(struct subset_bytes *out) {
    while (out->length % ALIGNED != 0 && !out->failed)
        subset_put8(out, 0);
}

/* ---- glyphs ---- */

/* One coordinate of every point as a distance from the one before; one byte where that is enough, none for 0. */
static void subset_put_distance(struct subset_bytes *out, long distance) {
    if (distance != 0 && distance >= -BYTE && distance <= BYTE)
        subset_put8(out, (unsigned)labs(distance));
    else if (distance != 0)
        subset_put16(out, (unsigned)distance);
}

static unsigned subset_flags(long dx, long dy, bool on) {
    unsigned flags = on ? ON_CURVE : 0;

    if (dx != 0 && dx >= -BYTE && dx <= BYTE)
        flags |= (unsigned)X_SHORT | (dx > 0 ? (unsigned)X_SAME_OR_POSITIVE : 0);
    else if (dx == 0)
        flags |= X_SAME_OR_POSITIVE;
    if (dy != 0 && dy >= -BYTE && dy <= BYTE)
        flags |= (unsigned)Y_SHORT | (dy > 0 ? (unsigned)Y_SAME_OR_POSITIVE : 0);
    else if (dy == 0)
        flags |= Y_SAME_OR_POSITIVE;
    return flags;
}

static void subset_put_outline(struct subset_bytes *out, const FT_Outline *outline) {
    FT_BBox box;

    FT_Outline_Get_CBox(outline, &box);
    subset_put16(out, (unsigned)outline->n_contours);
    subset_put16(out, (unsigned)box.xMin);
    subset_put16(out, (unsigned)box.yMin);
    subset_put16(out, (unsigned)box.xMax);
    subset_put16(out, (unsigned)box.yMax);
    for (int i = 0; i < outline->n_contours; i++)
        subset_put16(out, (unsigned)outline->contours[i]);
    subset_put16(out, 0); // no instructions
    for (int i = 0; i < outline->n_points; i++) {
        const FT_Vector before = i > 0 ? outline->points[i - 1] : (FT_Vector){0, 0};

        subset_put8(out, subset_flags(outline->points[i].x - before.x, outline->points[i].y - before.y,
                                      FT_CURVE_TAG(outline->tags[i]) == FT_CURVE_TAG_ON));
    }
    for (int i = 0; i < outline->n_points; i++)
        subset_put_distance(out, outline->points[i].x - (i > 0 ? outline->points[i - 1].x : 0));
    for (int i = 0; i < outline->n_points; i++)
        subset_put_distance(out, outline->points[i].y - (i > 0 ? outline->points[i - 1].y : 0));
}

static bool subset_is_quadratic(const FT_Outline *outline) {
    for (int i = 0; i < outline->n_points; i++)
        if (FT_CURVE_TAG(outline->tags[i]) == FT_CURVE_TAG_CUBIC)
            return false;
    return true;
}

static void subset_add_glyph(struct subset *subset, FT_UInt glyph) {
    const FT_Outline *outline = &subset->face->glyph->outline;

    subset_put32(&subset->loca, (uint32_t)subset->glyf.length);
    if (FT_Load_Glyph(subset->face, glyph, FT_LOAD_NO_SCALE | FT_LOAD_NO_HINTING | FT_LOAD_NO_BITMAP) != 0 ||
        subset->face->glyph->format != FT_GLYPH_FORMAT_OUTLINE || !subset_is_quadratic(outline)) {
        subset->failed = true;
        return;
    }
    subset_put16(&subset->hmtx, (unsigned)subset->face->glyph->metrics.horiAdvance);
    subset_put16(&subset->hmtx, (unsigned)subset->face->glyph->metrics.horiBearingX);
    if (outline->n_contours > 0)
        subset_put_outline(&subset->glyf, outline);
    subset_align(&subset->glyf);
    if ((unsigned)outline->n_points > subset->most_points)
        subset->most_points = (unsigned)outline->n_points;
    if ((unsigned)outline->n_contours > subset->most_contours)
        subset->most_contours = (unsigned)outline->n_contours;
}

static void subset_add_glyphs(struct subset *subset) {
    subset_add_glyph(subset, 0);
    for (size_t i = 0; i < subset->glyphs - 1 && !subset->failed; i++)
        subset_add_glyph(subset, FT_Get_Char_Index(subset->face, subset->codes[i]));
    subset_put32(&subset->loca, (uint32_t)subset->glyf.length);
}

/* ---- tables ---- */

static void subset_copy(struct subset *subset, FT_ULong tag, size_t length, struct subset_bytes *table) {
    unsigned char bytes[OS2_BYTES];
    FT_ULong size = length;

    if (FT_Load_Sfnt_Table(subset->face, tag, 0, bytes, &size) != 0)
        subset->failed = true;
    else
        subset_put(table, bytes, length);
}

/* Does a run of codes that follow each other end with the one before `i`? */
static bool subset_ends_run(const struct subset *subset, size_t i) {
    return i == subset->glyphs - 1 || subset->codes[i] != subset->codes[i - 1] + 1;
}

/* Format 4: of each run of codes the last and the first one, and what makes a code its glyph. */
static void subset_write_cmap(const struct subset *subset, struct subset_bytes *table) {
    enum { FORMAT = 4, HEADER = 16, SEGMENT = 8, LAST = 0xFFFF, OFFSET = 12 };
    const size_t count = subset->glyphs - 1;
    size_t runs = 1, power = 1, log = 0;

    for (size_t i = 1; i <= count; i++)
        runs += subset_ends_run(subset, i);
    for (; power * 2 <= runs; power *= 2)
        log++;
    subset_put16(table, 0);
    subset_put16(table, 1);
    subset_put16(table, WINDOWS);
    subset_put16(table, UNICODE_BMP);
    subset_put32(table, OFFSET);
    subset_put16(table, FORMAT);
    subset_put16(table, (unsigned)(HEADER + SEGMENT * runs));
    subset_put16(table, 0);
    subset_put16(table, (unsigned)(2 * runs));
    subset_put16(table, (unsigned)(2 * power));
    subset_put16(table, (unsigned)log);
    subset_put16(table, (unsigned)(2 * (runs - power)));
    for (size_t i = 1; i <= count; i++)
        if (subset_ends_run(subset, i))
            subset_put16(table, subset->codes[i - 1]);
    subset_put16(table, LAST);
    subset_put16(table, 0);
    for (size_t i = 0; i < count; i++)
        if (i == 0 || subset_ends_run(subset, i))
            subset_put16(table, subset->codes[i]);
    subset_put16(table, LAST);
    for (size_t i = 0; i < count; i++)
        if (i == 0 || subset_ends_run(subset, i))
            subset_put16(table, (unsigned)(i + 1) - subset->codes[i]);
    subset_put16(table, 1);
    for (size_t i = 0; i < runs; i++)
        subset_put16(table, 0);
}

/* Family, style and PostScript name, all in the PostScript name's letters, which are ASCII. */
static void subset_write_name(struct subset *subset, struct subset_bytes *table) {
    enum { NAMES = 3, RECORD = 12, HEADER = 6, FAMILY = 1, STYLE = 2, POSTSCRIPT = 6 };
    static const char style[] = "Regular";
    static const unsigned ids[NAMES] = {FAMILY, STYLE, POSTSCRIPT};
    const char *postscript = FT_Get_Postscript_Name(subset->face);
    const char *name = postscript != NULL ? postscript : "Letters";
    const size_t length = 2 * strlen(name);

    subset_put16(table, 0);
    subset_put16(table, NAMES);
    subset_put16(table, HEADER + NAMES * RECORD);
    for (size_t i = 0; i < NAMES; i++) {
        const bool is_style = ids[i] == STYLE;

        subset_put16(table, WINDOWS);
        subset_put16(table, UNICODE_BMP);
        subset_put16(table, ENGLISH);
        subset_put16(table, ids[i]);
        subset_put16(table, (unsigned)(is_style ? 2 * strlen(style) : length));
        subset_put16(table, (unsigned)(is_style ? length : 0));
    }
    for (const char *at = name; *at != '\0'; at++)
        subset_put16(table, (unsigned char)*at);
    for (const char *at = style; *at != '\0'; at++)
        subset_put16(table, (unsigned char)*at);
}

static void subset_write_maxp(const struct subset *subset, struct subset_bytes *table) {
    enum { ZONES = 1, WORDS_AFTER = 11 };

    subset_put32(table, TRUETYPE_VERSION);
    subset_put16(table, (unsigned)subset->glyphs);
    subset_put16(table, subset->most_points);
    subset_put16(table, subset->most_contours);
    subset_put16(table, 0);
    subset_put16(table, 0);
    subset_put16(table, ZONES);
    for (int i = 0; i < WORDS_AFTER - 1; i++)
        subset_put16(table, 0);
}

static void subset_write_post(struct subset *subset, struct subset_bytes *table) {
    struct subset_bytes old = {0};

    subset_copy(subset, TTAG_post, POST_BYTES, &old);
    subset_put32(table, POST_WITHOUT_NAMES);
    if (!old.failed && old.length == POST_BYTES)
        subset_put(table, old.bytes + sizeof(uint32_t), POST_KEPT);
    while (table->length < POST_BYTES && !table->failed)
        subset_put8(table, 0);
    free(old.bytes);
}

static void subset_write_table(struct subset *subset, FT_ULong tag, struct subset_bytes *table) {
    switch (tag) {
    case TTAG_OS2: subset_copy(subset, tag, OS2_BYTES, table); break;
    case TTAG_cmap: subset_write_cmap(subset, table); break;
    case TTAG_glyf: subset_put(table, subset->glyf.bytes, subset->glyf.length); break;
    case TTAG_head:
        subset_copy(subset, tag, HEAD_BYTES, table);
        if (table->length == HEAD_BYTES) {
            memset(table->bytes + HEAD_ADJUSTMENT, 0, sizeof(uint32_t));
            subset_set16(table->bytes + HEAD_LOCA_FORMAT, LOCA_LONG);
        }
        break;
    case TTAG_hhea:
        subset_copy(subset, tag, HHEA_BYTES, table);
        if (table->length == HHEA_BYTES)
            subset_set16(table->bytes + HHEA_METRICS, (unsigned)subset->glyphs);
        break;
    case TTAG_hmtx: subset_put(table, subset->hmtx.bytes, subset->hmtx.length); break;
    case TTAG_loca: subset_put(table, subset->loca.bytes, subset->loca.length); break;
    case TTAG_maxp: subset_write_maxp(subset, table); break;
    case TTAG_name: subset_write_name(subset, table); break;
    case TTAG_post: subset_write_post(subset, table); break;
    default: subset_put32(table, 0); break; // cvt, fpgm, prep: libharu asks for them; without hints none is used
    }
}

static uint32_t subset_checksum(const struct subset_bytes *table, size_t from, size_t length) {
    uint32_t sum = 0;

    for (size_t i = 0; i < length; i++)
        sum += (uint32_t)table->bytes[from + i] << (BYTE_BITS * (ALIGNED - 1 - i % ALIGNED));
    return sum;
}

static void subset_write(struct subset *subset, struct subset_bytes *out) {
    static const FT_ULong tags[TABLES] = {TTAG_OS2,  TTAG_cmap, TTAG_cvt,  TTAG_fpgm, TTAG_glyf,
                                          TTAG_head, TTAG_hhea, TTAG_hmtx, TTAG_loca, TTAG_maxp,
                                          TTAG_name, TTAG_post, TTAG_prep};
    enum { POWER = 8, LOG = 3 }; // the largest power of two within the 13 tables
    struct subset_bytes body = {0};

    subset_put32(out, TRUETYPE_VERSION);
    subset_put16(out, TABLES);
    subset_put16(out, POWER * DIRECTORY_ENTRY);
    subset_put16(out, LOG);
    subset_put16(out, (TABLES - POWER) * DIRECTORY_ENTRY);
    for (size_t i = 0; i < TABLES && !body.failed; i++) {
        struct subset_bytes table = {0};
        const size_t from = body.length;

        subset_write_table(subset, tags[i], &table);
        subset_put(&body, table.bytes, table.length);
        body.failed = body.failed || table.failed;
        subset_put32(out, (uint32_t)tags[i]);
        subset_put32(out, body.failed ? 0 : subset_checksum(&body, from, table.length));
        subset_put32(out, (uint32_t)(DIRECTORY_HEAD + TABLES * DIRECTORY_ENTRY + from));
        subset_put32(out, (uint32_t)table.length);
        subset_align(&body);
        free(table.bytes);
    }
    subset_put(out, body.bytes, body.length);
    subset->failed = subset->failed || body.failed || out->failed;
    free(body.bytes);
}

bool subset_make(FT_Face face, const uint32_t *codes, size_t count, struct subset_bytes *out) {
    struct subset subset = {.face = face, .codes = codes, .glyphs = count + 1};

    *out = (struct subset_bytes){0};
    subset_add_glyphs(&subset);
    if (!subset.failed && !subset.glyf.failed && !subset.loca.failed && !subset.hmtx.failed)
        subset_write(&subset, out);
    else
        subset.failed = true;
    free(subset.glyf.bytes);
    free(subset.loca.bytes);
    free(subset.hmtx.bytes);
    if (!subset.failed)
        return true;
    free(out->bytes);
    *out = (struct subset_bytes){0};
    return false;
}
