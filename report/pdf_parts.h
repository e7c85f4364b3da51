// SPDX-License-Identifier: MIT
/* pdf_parts: what the files that write a PDF share. */
#ifndef SOAKLEDGER_PDF_PARTS_H
#define SOAKLEDGER_PDF_PARTS_H

#include <stdbool.h>
#include <stddef.h>

#include "soakledger/pdf.h"

/* ---- a file on its way out ---- */

struct pdf_out {
    FILE *file;
    int64_t at;       // bytes written
    int64_t *offsets; // by object number; 0: not written
    size_t capacity;  // object numbers below this
};

/* Objects are numbered from 1 to `most`. */
int pdf_out_open(struct pdf_out *out, FILE *file, size_t most, struct fault *fault);
void pdf_out_close(struct pdf_out *out);
void pdf_put(struct pdf_out *out, const void *bytes, size_t length);
void pdf_print(struct pdf_out *out, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* "<FEFF...>": UTF-8 as a text string, every character of it (ISO 32000-1, 7.9.2.2). */
void pdf_put_text(struct pdf_out *out, const char *text);
/* "(D:20261117030000Z)" */
void pdf_put_date(struct pdf_out *out, int64_t t_ms);
void pdf_begin(struct pdf_out *out, size_t object);
void pdf_end(struct pdf_out *out);
/* A whole stream object, deflated unless `plain`; `entries` stand in its dictionary. */
int pdf_put_stream(struct pdf_out *out, size_t object, const char *entries, const void *bytes, size_t length,
                   bool plain, struct fault *fault);
void pdf_put_file(struct pdf_out *out, size_t object, const struct pdf_file *file, int64_t made_ms);

/* ---- libharu's file, taken apart ---- */

struct pdf_span {
    const unsigned char *from;
    size_t length;
};

struct pdf_taken {
    struct pdf_span *objects; // by number; [0] is empty; from "N 0 obj" to "endobj" and its line end
    size_t count;             // numbers below this
    size_t root, info, first_page;
};

int pdf_take(struct pdf_taken *taken, const unsigned char *bytes, size_t length, struct fault *fault);
void pdf_release(struct pdf_taken *taken);
/* Part of a span: an object's dictionary and whatever follows, or what stands between two texts. */
bool pdf_span_has(struct pdf_span span, const char *text);
/* The offset of `text` in the span, or its length if it is not there. */
size_t pdf_span_find(struct pdf_span span, const char *text);

/* ---- pieces ---- */

/* An ICC profile of sRGB. Returns its bytes, at most `size`; 0 if they do not fit. */
enum { PDF_ICC_MOST_BYTES = 1024 };
size_t pdf_make_icc(unsigned char *out, size_t size);
/* XMP as UTF-8; the caller frees. NULL if memory is short. */
char *pdf_make_xmp(const struct pdf_about *about, size_t *length);
/* A CMap that says that every code is the character of that number. Caller frees; NULL if memory is short. */
char *pdf_make_unicode_map(size_t *length);
/* Puts the signature into its place; the file is complete but for it. */
struct pdf_hole {
    int64_t range_at;                  // where the byte range's numbers go
    int64_t contents_at, contents_end; // "<" and after ">"
};
int pdf_sign(struct pdf_out *out, const struct pdf_hole *hole, const struct key *key, struct fault *fault);
extern const char PDF_PRODUCER[];

#endif
