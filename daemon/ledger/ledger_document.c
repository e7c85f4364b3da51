// SPDX-License-Identifier: MIT
/* Texts kept by value, each once, under their SHA-256 (FIPS 180-4, by libcrypto). */
#include <openssl/evp.h>
#include <stdio.h>

#include "ledger_private.h"

void ledger_sha256(const void *bytes, size_t length, char out[LEDGER_SHA256_TEXT_BYTES]) {
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned digest_bytes = 0;

    out[0] = '\0'; // if libcrypto is short of memory: no table takes it, and it equals no digest
    if (EVP_Digest(bytes, length, digest, &digest_bytes, EVP_sha256(), NULL) != 1 ||
        2 * digest_bytes + 1 != LEDGER_SHA256_TEXT_BYTES) {
        return;
    }
    for (unsigned i = 0; i < digest_bytes; i++) {
        snprintf(out + (size_t)2 * i, 3, "%02x", digest[i]);
    }
}

int ledger_keep_document(struct ledger *ledger, const char *text, size_t length,
                         char sha256[LEDGER_SHA256_TEXT_BYTES], struct fault *fault) {
    struct query query;
    int got;

    ledger_sha256(text, length, sha256);
    query_open(&query, ledger, STATEMENT_HAS_DOCUMENT, "look for a document", fault);
    query_put_text(&query, sha256);
    got = query_step(&query);
    query_close(&query);
    if (got != 0) {
        return got < 0 ? -1 : 0;
    }
    query_open(&query, ledger, STATEMENT_ADD_DOCUMENT, "keep a document", fault);
    query_put_text(&query, sha256);
    query_put_bytes(&query, text, length);
    return query_run(&query);
}
