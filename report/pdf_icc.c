// SPDX-License-Identifier: MIT
/* An ICC profile of sRGB, made from the figures of the standards, so that no file of somebody else's has to be kept
 * with every certificate: ICC.1:2004-10 (profile version 4.2, also ISO 15076-1), IEC 61966-2-1.
 *
 * Three colorants and one curve. The colorants are the standard's primaries adapted from D65 to the D50 of the
 * connection space by the linearised Bradford matrix (ICC.1 annex E), as s15Fixed16Number; they sum to D50's white
 * 0.9642, 1, 0.8249. The curve is parametric, function type 3. */
#include <string.h>

#include "pdf_parts.h"

enum {
    HEADER_BYTES = 128, // ICC.1, 7.2
    TAG_COUNT = 9,
    TAG_ENTRY_BYTES = 12,
    XYZ_BYTES = 20,
    CURVE_BYTES = 32,
    BYTE = 8,
    ONE = 65536, // 1.0 as s15Fixed16Number
    FUNCTION_THREE = 3,
    DESCRIPTION_UNITS = 4, // "sRGB"
    RIGHT_UNITS = 4,       // "none"
    TEXT_HEAD_BYTES = 28,  // multiLocalizedUnicodeType with one record
    CURVE_PARAMETERS = 5,
};

struct icc {
    unsigned char *out;
    size_t at;
};

static void icc_put16(struct icc *icc, unsigned value) {
    icc->out[icc->at++] = (unsigned char)(value >> BYTE);
    icc->out[icc->at++] = (unsigned char)value;
}

static void icc_put32(struct icc *icc, unsigned long value) {
    icc_put16(icc, (unsigned)(value >> (2 * BYTE)) & 0xFFFF);
    icc_put16(icc, (unsigned)value & 0xFFFF);
}

static void icc_put_word(struct icc *icc, const char *word) { // four letters
    memcpy(icc->out + icc->at, word, 4);
    icc->at += 4;
}

static void icc_put_text(struct icc *icc, const char *text) {
    icc_put_word(icc, "mluc");
    icc_put32(icc, 0);
    icc_put32(icc, 1);               // one record ...
    icc_put32(icc, TAG_ENTRY_BYTES); // ... of twelve bytes
    icc_put_word(icc, "enUS");
    icc_put32(icc, 2 * strlen(text));
    icc_put32(icc, TEXT_HEAD_BYTES);
    for (; *text != '\0'; text++)
        icc_put16(icc, (unsigned char)*text);
}

static void icc_put_xyz(struct icc *icc, const long xyz[3]) {
    icc_put_word(icc, "XYZ ");
    icc_put32(icc, 0);
    for (int i = 0; i < 3; i++)
        icc_put32(icc, (unsigned long)xyz[i]);
}

static void icc_put_curve(struct icc *icc) {
    /* IEC 61966-2-1: ((v + 0.055) / 1.055)^2.4 from v = 0.04045 on, below that v / 12.92; as g, a, b, c, d. */
    static const double parameters[CURVE_PARAMETERS] = {2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045};

    icc_put_word(icc, "para");
    icc_put32(icc, 0);
    icc_put16(icc, FUNCTION_THREE);
    icc_put16(icc, 0);
    for (int i = 0; i < CURVE_PARAMETERS; i++)
        icc_put32(icc, (unsigned long)(parameters[i] * ONE + 0.5)); // to the nearest
}

/* ICC.1 table 13 and 7.2.16: the connection space's white, D50. */
static const long WHITE[3] = {0xF6D6, 0x10000, 0xD32D};

static void icc_put_header(struct icc *icc, size_t total) {
    static const unsigned date[] = {2026, 1, 1, 0, 0, 0}; // of this description of the space

    icc_put32(icc, total);
    icc_put32(icc, 0);          // no preferred module
    icc_put32(icc, 0x04200000); // version 4.2
    icc_put_word(icc, "mntr");
    icc_put_word(icc, "RGB ");
    icc_put_word(icc, "XYZ ");
    for (size_t i = 0; i < sizeof date / sizeof date[0]; i++)
        icc_put16(icc, date[i]);
    icc_put_word(icc, "acsp");
    while (icc->at < 64) // platform, flags, maker, model, attributes: none
        icc_put32(icc, 0);
    icc_put32(icc, 0); // rendering intent: perceptual
    for (int i = 0; i < 3; i++)
        icc_put32(icc, (unsigned long)WHITE[i]);
    while (icc->at < HEADER_BYTES) // creator, profile id, reserved
        icc_put32(icc, 0);
}

static void icc_put_tag(struct icc *icc, const char *name, size_t at, size_t bytes) {
    icc_put_word(icc, name);
    icc_put32(icc, at);
    icc_put32(icc, bytes);
}

size_t pdf_make_icc(unsigned char *out, size_t size) {
    /* Computed from the chromaticities of IEC 61966-2-1 (red 0.64, 0.33; green 0.30, 0.60; blue 0.15, 0.06; white
     * 0.3127, 0.3290): red 0.43604, 0.22248, 0.01392; green 0.38511, 0.71691, 0.09707; blue 0.14305, 0.06061,
     * 0.71393. */
    static const long red[3] = {0x6FA0, 0x38F5, 0x0390}, green[3] = {0x6297, 0xB787, 0x18D9},
                      blue[3] = {0x249F, 0x0F84, 0xB6C4};
    const size_t text_bytes = TEXT_HEAD_BYTES + 2 * DESCRIPTION_UNITS;
    const size_t description = HEADER_BYTES + 4 + TAG_COUNT * TAG_ENTRY_BYTES, right = description + text_bytes;
    const size_t white = right + TEXT_HEAD_BYTES + 2 * RIGHT_UNITS, first = white + XYZ_BYTES;
    const size_t curve = first + 3 * XYZ_BYTES, total = curve + CURVE_BYTES;
    struct icc icc = {out, 0};

    if (total > size)
        return 0;
    icc_put_header(&icc, total);
    icc_put32(&icc, TAG_COUNT);
    icc_put_tag(&icc, "desc", description, text_bytes);
    icc_put_tag(&icc, "cprt", right, TEXT_HEAD_BYTES + 2 * RIGHT_UNITS);
    icc_put_tag(&icc, "wtpt", white, XYZ_BYTES);
    icc_put_tag(&icc, "rXYZ", first, XYZ_BYTES);
    icc_put_tag(&icc, "gXYZ", first + XYZ_BYTES, XYZ_BYTES);
    icc_put_tag(&icc, "bXYZ", first + 2 * XYZ_BYTES, XYZ_BYTES);
    icc_put_tag(&icc, "rTRC", curve, CURVE_BYTES);
    icc_put_tag(&icc, "gTRC", curve, CURVE_BYTES);
    icc_put_tag(&icc, "bTRC", curve, CURVE_BYTES);
    icc_put_text(&icc, "sRGB");
    icc_put_text(&icc, "none");
    icc_put_xyz(&icc, WHITE);
    icc_put_xyz(&icc, red);
    icc_put_xyz(&icc, green);
    icc_put_xyz(&icc, blue);
    icc_put_curve(&icc);
    return icc.at;
}
