// SPDX-License-Identifier: MIT
/* The signature goes into a hole of the finished file: it covers every byte but the hole (ISO 32000-1, 12.8.1). */
#include <openssl/evp.h>
#include <stdlib.h>

#include "pdf_parts.h"

enum { READ_BYTES = 65536 };

static int pdf_digest_part(FILE *file, int64_t from, int64_t to, EVP_MD_CTX *context) {
    unsigned char buffer[READ_BYTES];

    if (fseeko(file, from, SEEK_SET) != 0)
        return 0;
    while (from < to) {
        const size_t want = to - from < READ_BYTES ? (size_t)(to - from) : READ_BYTES;
        const size_t got = fread(buffer, 1, want, file);

        if (got == 0 || EVP_DigestUpdate(context, buffer, got) != 1)
            return 0;
        from += (int64_t)got;
    }
    return 1;
}

static int pdf_digest(const struct pdf_out *out, const struct pdf_hole *hole, unsigned char *digest) {
    EVP_MD_CTX *context = EVP_MD_CTX_new();
    const int done = context != NULL && EVP_DigestInit_ex(context, EVP_sha256(), NULL) == 1 &&
                     pdf_digest_part(out->file, 0, hole->contents_at, context) &&
                     pdf_digest_part(out->file, hole->contents_end, out->at, context) &&
                     EVP_DigestFinal_ex(context, digest, NULL) == 1;

    EVP_MD_CTX_free(context);
    return done;
}

static int pdf_fill(const struct pdf_out *out, const struct pdf_hole *hole, const unsigned char *der,
                    size_t length) {
    if (fseeko(out->file, hole->contents_at + 1, SEEK_SET) != 0)
        return 0;
    for (size_t i = 0; i < length; i++)
        fprintf(out->file, "%02x", der[i]);
    return fflush(out->file) == 0;
}

int pdf_sign(struct pdf_out *out, const struct pdf_hole *hole, const struct key *key, struct fault *fault) {
    unsigned char digest[EVP_MAX_MD_SIZE], *der = NULL;
    size_t length = 0;
    int result;

    if (fseeko(out->file, hole->range_at, SEEK_SET) != 0 ||
        fprintf(out->file, "0 %010lld %010lld %010lld", (long long)hole->contents_at, (long long)hole->contents_end,
                (long long)(out->at - hole->contents_end)) < 0 ||
        fflush(out->file) != 0)
        return fault_set_errno(fault, EX_IOERR, "cannot write a signature");
    if (!pdf_digest(out, hole, digest))
        return fault_set_errno(fault, EX_IOERR, "cannot read back what is to be signed");
    if (key_sign_cms(key, digest, &der, &length, fault) != 0)
        return -1;
    if (length > PDF_CONTENTS_BYTES)
        result = fault_set(fault, EX_SOFTWARE, "a signature of %zu bytes: expected at most %d", length,
                           PDF_CONTENTS_BYTES);
    else
        result =
            pdf_fill(out, hole, der, length) ? 0 : fault_set_errno(fault, EX_IOERR, "cannot write a signature");
    free(der);
    return result;
}
