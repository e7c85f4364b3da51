// SPDX-License-Identifier: MIT
/* key: what a shop signs its certificates with, and nobody else has.
 *
 * One file (PEM) holds two private keys and a certificate. The Ed25519 key (RFC 8032) signs the finished file as it
 * is, bytes in and 64 bytes out, which the stock openssl program checks. The RSA key of 3072 bits with its
 * self-signed X.509 certificate in the shop's name signs inside the PDF, where readers of PDF look for it: PKCS #1
 * v1.5 with SHA-256 (RFC 8017), which has no random part, so that one input has one signature.
 *
 * The file belongs to the user that signs, mode 0600: a key that others can read proves nothing and is refused
 * (EX_NOPERM). It is made once and never overwritten.
 */
#ifndef SOAKLEDGER_KEY_H
#define SOAKLEDGER_KEY_H

#include <stddef.h>
#include <stdint.h>

#include "soakledger/fault.h"

enum {
    KEY_DIGEST_BYTES = 32,
    KEY_SIGNATURE_BYTES = 64,
    KEY_FINGERPRINT_BYTES = 65, // SHA-256 in lower-case hex
    KEY_RSA_BITS = 3072,        // 128 bits of strength: NIST SP 800-57 part 1, table 2
};

struct key;

/* Makes the file. `shop` stands in the certificate ("Heat treatment" if it is ""), which is valid from `now_ms` on
 * and has no end. EX_CANTCREAT if the file is there or cannot be made. */
int key_make(const char *path, const char *shop, int64_t now_ms, struct fault *fault);

/* EX_NOINPUT if there is none, EX_NOPERM if others could read it, EX_DATAERR for what is no such file. */
struct key *key_read(const char *path, struct fault *fault);
void key_free(struct key *key); // NULL is allowed

/* PEM, for whoever is to check: the Ed25519 public key, the X.509 certificate. */
const char *key_public(const struct key *key);
const char *key_certificate(const struct key *key);
/* SHA-256 of the public key (SubjectPublicKeyInfo) and of the certificate, both as DER. */
const char *key_public_fingerprint(const struct key *key);
const char *key_certificate_fingerprint(const struct key *key);

int key_sign(const struct key *key, const void *bytes, size_t length, unsigned char signature[KEY_SIGNATURE_BYTES],
             struct fault *fault);

/* The CMS SignedData (RFC 5652) of content with that SHA-256, detached, as CAdES and PAdES baseline B-B ask (ETSI
 * EN 319 122-1, EN 319 142-1): signed attributes content-type, message-digest and signing-certificate-v2, no
 * signing-time (that stands in the PDF). DER; the caller frees. The same input gives the same bytes. */
int key_sign_cms(const struct key *key, const unsigned char digest[KEY_DIGEST_BYTES], unsigned char **der,
                 size_t *length, struct fault *fault);

/* ---- the other side: whoever has only the public files ---- */

struct key_signer {
    char name[128];                                 // the certificate's common name, cleaned
    char certificate_sha256[KEY_FINGERPRINT_BYTES]; // of its certificate
    char public_sha256[KEY_FINGERPRINT_BYTES];      // of the key in it
};

/* Checks a CMS made by key_sign_cms, padded with zeros, against a digest: one signer, whose certificate is in it
 * and is the one that its signed attributes name. 0 if it holds; -1 with EX_DATAERR and why not. Any bytes may
 * come. */
int key_check_cms(const unsigned char *der, size_t length, const unsigned char digest[KEY_DIGEST_BYTES],
                  struct key_signer *signer, struct fault *fault);

/* A file that the shop handed out: a public key (Ed25519 or RSA) or a certificate, as PEM. */
enum key_kind { KEY_OF_FILE, KEY_OF_PDF, KEY_OF_PDF_CERTIFICATE };
struct key_public {
    enum key_kind kind;
    char sha256[KEY_FINGERPRINT_BYTES]; // of the key, or of the certificate
    void *plain;                        // Ed25519, else NULL
};
int key_read_public(const char *path, struct key_public *key, struct fault *fault);
void key_free_public(struct key_public *key);
/* Checks what key_sign made. 0 if it holds, -1 with EX_DATAERR. */
int key_check(const struct key_public *key, const void *bytes, size_t length, const void *signature,
              size_t signature_length, struct fault *fault);

#endif
