// SPDX-License-Identifier: MIT
/* pdf: turns drawn pages into a file for the archive, with files attached and signed.
 *
 * The pages come from libharu as a finished PDF; every object of it is kept, a few are mended, and what is missing
 * is added: metadata (XMP), an output intent (sRGB, IEC 61966-2-1), embedded files with their relationship, a
 * document id, a signature. The aim is PDF/A-3b (ISO 19005-3) with a PAdES baseline B-B signature (ETSI EN 319
 * 142-1; SubFilter ETSI.CAdES.detached) over the whole file but for the signature's own digits.
 *
 * The file is plain: PDF 1.7 (ISO 32000-1), one table of cross references, no object streams, nothing appended. The
 * same input gives the same bytes.
 */
#ifndef SOAKLEDGER_PDF_H
#define SOAKLEDGER_PDF_H

#include <stdint.h>
#include <stdio.h>

#include "soakledger/fault.h"
#include "soakledger/key.h"

enum { PDF_ID_BYTES = 16, PDF_CONTENTS_BYTES = 4096, PDF_MOST_FILES = 128 };

struct pdf_about {
    const char *title, *author; // UTF-8; "" for none
    const char *program;        // that made it, with its version
    const char *reason;         // why it is signed
    int64_t made_ms;            // of everything in it: creation, metadata, signature; cut to the second
    unsigned char id[PDF_ID_BYTES];
};

/* A file to be attached, deflated (RFC 1950) already. */
struct pdf_file {
    const char *name;        // plain ASCII, unique
    const char *description; // UTF-8
    const char *mime;        // "text/csv"
    int64_t plain_bytes, packed_bytes;
    const unsigned char *packed; // or NULL, and ...
    FILE *stream;                // ... it is in here, from `packed_from` on
    long packed_from;
};

/* Where the last `late` attached files lie in what was written, so that all but them can be kept. */
struct pdf_places {
    int64_t late_from, late_to; // offsets of the first byte of the first one's object, and after the last one's
    int64_t first_object;       // number of the first one's object; the others follow by one
    int64_t length;             // of the whole
};

/* Writes the file to `out`, which is open for reading and writing, empty and at its beginning. The files' contents
 * are written in the order given. `key` is NULL for a file without a signature. */
int pdf_write(FILE *out, const unsigned char *pages, size_t pages_length, const struct pdf_about *about,
              const struct pdf_file *files, size_t count, size_t late, const struct key *key,
              struct pdf_places *places, struct fault *fault);

/* The object that holds an attached file, as pdf_write writes it. */
int pdf_write_file(FILE *out, const struct pdf_file *file, int64_t object, int64_t made_ms, struct fault *fault);

#endif
