// SPDX-License-Identifier: MIT
/* Signing. libcrypto's own way to the end of a CMS message puts the wall clock into it as signing-time, which PAdES
 * forbids and which no reprint could repeat; so the signed attributes are put in and signed here. */
#include <openssl/cms.h>
#include <openssl/err.h>
#include <stdlib.h>
#include <string.h>

#include "key_parts.h"

enum {
    DER_SET = 0x31,
    DER_LONG = 0x80,
    DER_SHORT_MOST = 0x7F,
    DER_BYTE = 8,
    DER_HEAD_MOST = 4,
    MOST_ATTRIBUTES = 8
};

int key_sign(const struct key *key, const void *bytes, size_t length, unsigned char signature[KEY_SIGNATURE_BYTES],
             struct fault *fault) {
    EVP_MD_CTX *context = EVP_MD_CTX_new();
    size_t signature_bytes = KEY_SIGNATURE_BYTES;
    const int done = context != NULL && EVP_DigestSignInit(context, NULL, NULL, NULL, key->plain) == 1 &&
                     EVP_DigestSign(context, signature, &signature_bytes, bytes, length) == 1 &&
                     signature_bytes == KEY_SIGNATURE_BYTES;

    EVP_MD_CTX_free(context);
    return done ? 0 : key_fail("sign", fault);
}

/* ---- signed attributes ---- */

struct encoded {
    unsigned char *der;
    int length;
};

/* DER orders a set's members by their bytes (ITU-T X.690, 11.6). */
static int key_compare_encoded(const void *a, const void *b) {
    const struct encoded *x = a, *y = b;
    const int shorter = x->length < y->length ? x->length : y->length;
    const int order = memcmp(x->der, y->der, (size_t)shorter);

    return order != 0 ? order : x->length - y->length;
}

/* A set's tag and length in the fewest bytes, as DER. `length` is at most UINT16_MAX. Returns its bytes. */
static size_t key_put_head(unsigned char *out, size_t length) {
    size_t used = 0;

    out[used++] = DER_SET;
    if (length > UINT8_MAX) {
        out[used++] = DER_LONG | 2;
        out[used++] = (unsigned char)(length >> DER_BYTE);
    } else if (length > DER_SHORT_MOST) {
        out[used++] = DER_LONG | 1;
    }
    out[used++] = (unsigned char)length;
    return used;
}

/* What is signed: the attributes as a SET OF (RFC 5652, 5.4). The caller frees; NULL if memory is short. */
static unsigned char *key_encode_attributes(const CMS_SignerInfo *signer, size_t *length) {
    struct encoded parts[MOST_ATTRIBUTES] = {{NULL, 0}};
    const int count = CMS_signed_get_attr_count(signer);
    unsigned char *out = NULL;
    size_t total = 0, at;

    for (int i = 0; i < count && i < MOST_ATTRIBUTES; i++) {
        parts[i].length = i2d_X509_ATTRIBUTE(CMS_signed_get_attr(signer, i), &parts[i].der);
        total += parts[i].length > 0 ? (size_t)parts[i].length : 0;
    }
    if (count > 0 && count <= MOST_ATTRIBUTES && total <= UINT16_MAX)
        out = malloc(DER_HEAD_MOST + total);
    if (out != NULL) {
        qsort(parts, (size_t)count, sizeof parts[0], key_compare_encoded);
        at = key_put_head(out, total);
        for (int i = 0; i < count; i++) {
            memcpy(out + at, parts[i].der, (size_t)parts[i].length);
            at += (size_t)parts[i].length;
        }
        *length = at;
    }
    for (int i = 0; i < MOST_ATTRIBUTES; i++)
        OPENSSL_free(parts[i].der);
    return out;
}

static int key_sign_attributes(const struct key *key, CMS_SignerInfo *signer) {
    size_t length = 0, signature_bytes = 0;
    unsigned char *attributes = key_encode_attributes(signer, &length), *signature = NULL;
    EVP_MD_CTX *context = EVP_MD_CTX_new();
    int done = 0;

    if (attributes != NULL && context != NULL &&
        EVP_DigestSignInit(context, NULL, EVP_sha256(), NULL, key->rsa) == 1 &&
        EVP_DigestSign(context, NULL, &signature_bytes, attributes, length) == 1 &&
        (signature = OPENSSL_malloc(signature_bytes)) != NULL &&
        EVP_DigestSign(context, signature, &signature_bytes, attributes, length) == 1) {
        ASN1_STRING_set0(CMS_SignerInfo_get0_signature(signer), signature, (int)signature_bytes);
        done = 1;
    } else {
        OPENSSL_free(signature);
    }
    EVP_MD_CTX_free(context);
    free(attributes);
    return done;
}

int key_sign_cms(const struct key *key, const unsigned char digest[KEY_DIGEST_BYTES], unsigned char **der,
                 size_t *length, struct fault *fault) {
    const unsigned flags = CMS_PARTIAL | CMS_DETACHED | CMS_BINARY | CMS_NOSMIMECAP | CMS_CADES;
    CMS_ContentInfo *cms = CMS_sign(NULL, NULL, NULL, NULL, flags);
    CMS_SignerInfo *signer =
        cms != NULL ? CMS_add1_signer(cms, key->certificate, key->rsa, EVP_sha256(), flags) : NULL;
    unsigned char *encoded = NULL;
    int encoded_bytes = -1;

    if (signer != NULL &&
        CMS_signed_add1_attr_by_NID(signer, NID_pkcs9_contentType, V_ASN1_OBJECT, OBJ_nid2obj(NID_pkcs7_data),
                                    -1) == 1 &&
        CMS_signed_add1_attr_by_NID(signer, NID_pkcs9_messageDigest, V_ASN1_OCTET_STRING, digest,
                                    KEY_DIGEST_BYTES) == 1 &&
        key_sign_attributes(key, signer))
        encoded_bytes = i2d_CMS_ContentInfo(cms, &encoded);
    CMS_ContentInfo_free(cms);
    if (encoded_bytes <= 0)
        return key_fail("sign a PDF", fault);
    *der = malloc((size_t)encoded_bytes);
    if (*der != NULL) {
        memcpy(*der, encoded, (size_t)encoded_bytes);
        *length = (size_t)encoded_bytes;
    }
    OPENSSL_free(encoded);
    return *der != NULL ? 0 : fault_set(fault, EX_OSERR, "not enough memory for a signature");
}
