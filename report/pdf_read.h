// SPDX-License-Identifier: MIT
/* pdf_read: reads back files that pdf_write wrote, and no others.
 *
 * A reader that mends what is broken, as most do, can be shown one document while another reader sees another: that
 * is how signed PDFs are forged. This one takes a file only if it is built as ours are: one table, every byte part
 * of an object, every object where the table says, nothing appended. Pure functions over bytes that anybody may
 * have made; they never read outside of them and keep nothing but pointers into them.
 */
#ifndef SOAKLEDGER_PDF_READ_H
#define SOAKLEDGER_PDF_READ_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "pdf_parts.h"

struct pdf_read {
    const unsigned char *bytes;
    size_t length;
    struct pdf_span *objects; // by number: what stands between "N 0 obj\n" and "endobj\n"
    size_t count;             // numbers below this
    size_t root;
};

/* EX_DATAERR with one line. `bytes` must outlive it. */
int pdf_read_open(struct pdf_read *read, const unsigned char *bytes, size_t length, struct fault *fault);
void pdf_read_close(struct pdf_read *read);

/* The value of a key of the dictionary that `span` begins with; an empty span without it. */
struct pdf_span pdf_read_value(struct pdf_span span, const char *key);
/* The number at which "N 0 R" points, 0 if the span is none of an object that is there. */
size_t pdf_read_reference(const struct pdf_read *read, struct pdf_span span);
/* A number of decimal digits and nothing else; -1 for anything else. */
int64_t pdf_read_number(struct pdf_span span);

struct pdf_attached {
    char name[64];
    struct pdf_span packed;
};
/* The attached files, in order; at most `most`. Returns how many, or -1. */
int pdf_read_attached(const struct pdf_read *read, struct pdf_attached *attached, int most, struct fault *fault);

/* Unpacks in pieces; anything but 0 from `take` ends it with -1. At most `most` bytes come out. */
typedef int pdf_take_piece(void *context, const unsigned char *bytes, size_t length, struct fault *fault);
int pdf_read_unpack(const struct pdf_attached *attached, int64_t most, pdf_take_piece *take, void *context,
                    struct fault *fault);

struct pdf_signature {
    bool is_there;
    unsigned char digest[KEY_DIGEST_BYTES]; // of all bytes but the signature's own
    unsigned char der[PDF_CONTENTS_BYTES];  // padded with zeros
};
/* A file without a signature is no fault; one whose signature does not cover the whole file is. */
int pdf_read_signature(const struct pdf_read *read, struct pdf_signature *signature, struct fault *fault);

#endif
