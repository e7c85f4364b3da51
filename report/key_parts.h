// SPDX-License-Identifier: MIT
/* key_parts: what the files of the key share. */
#ifndef SOAKLEDGER_KEY_PARTS_H
#define SOAKLEDGER_KEY_PARTS_H

#include <openssl/evp.h>
#include <openssl/x509.h>

#include "soakledger/key.h"

struct key {
    EVP_PKEY *plain; // Ed25519
    EVP_PKEY *rsa;
    X509 *certificate;
    char *public_pem, *certificate_pem;
    char public_fingerprint[KEY_FINGERPRINT_BYTES], certificate_fingerprint[KEY_FINGERPRINT_BYTES];
};

/* What libcrypto says was wrong, as a fault of the program; empties its queue of errors. Returns -1. */
int key_fail(const char *doing, struct fault *fault);
/* SHA-256 of DER, in hex; "" if memory is short. */
void key_fingerprint(const unsigned char *der, size_t length, char out[KEY_FINGERPRINT_BYTES]);

#endif
