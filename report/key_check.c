// SPDX-License-Identifier: MIT
/* Checking, with nothing but what the shop makes public. */
#include <openssl/cms.h>
#include <openssl/err.h>
#include <openssl/ess.h>
#include <openssl/pem.h>
#include <stdio.h>
#include <string.h>

#include "key_parts.h"
#include "soakledger/words.h"

static int key_refuse(struct fault *fault, const char *what) {
    ERR_clear_error();
    return fault_set(fault, EX_DATAERR, "the signature does not hold: %s", what);
}

static int key_digest_of(const unsigned char *der, int length, char out[KEY_FINGERPRINT_BYTES]) {
    if (length <= 0)
        return -1;
    key_fingerprint(der, (size_t)length, out);
    return 0;
}

static int key_name_signer(X509 *certificate, struct key_signer *signer) {
    unsigned char *der = NULL, *public = NULL, *name = NULL;
    const int der_bytes = i2d_X509(certificate, &der);
    const int public_bytes = i2d_X509_PUBKEY(X509_get_X509_PUBKEY(certificate), &public);
    const X509_NAME *subject = X509_get_subject_name(certificate);
    const int at = X509_NAME_get_index_by_NID(subject, NID_commonName, -1);
    const int name_bytes =
        at >= 0 ? ASN1_STRING_to_UTF8(&name, X509_NAME_ENTRY_get_data(X509_NAME_get_entry(subject, at))) : -1;
    int result = -1;

    signer->name[0] = '\0';
    if (name_bytes > 0)
        words_clean((const char *)name, (size_t)name_bytes, 0, signer->name, sizeof signer->name);
    if (key_digest_of(der, der_bytes, signer->certificate_sha256) == 0 &&
        key_digest_of(public, public_bytes, signer->public_sha256) == 0)
        result = 0;
    OPENSSL_free(der);
    OPENSSL_free(public);
    OPENSSL_free(name);
    return result;
}

static bool key_has_digest(const CMS_SignerInfo *signer, const unsigned char *digest) {
    const ASN1_OCTET_STRING *found = CMS_signed_get0_data_by_OBJ(signer, OBJ_nid2obj(NID_pkcs9_messageDigest), -3,
                                                                 V_ASN1_OCTET_STRING); // -3: exactly one

    return found != NULL && ASN1_STRING_length(found) == KEY_DIGEST_BYTES &&
           memcmp(ASN1_STRING_get0_data(found), digest, KEY_DIGEST_BYTES) == 0;
}

static bool key_has_type(const CMS_SignerInfo *signer) {
    const ASN1_OBJECT *found =
        CMS_signed_get0_data_by_OBJ(signer, OBJ_nid2obj(NID_pkcs9_contentType), -3, V_ASN1_OBJECT);

    return found != NULL && OBJ_obj2nid(found) == NID_pkcs7_data;
}

/* signing-certificate-v2 (RFC 5035) binds the certificate: the same key in another one would not do. The attribute
 * holds the certificate's SHA-256 as an OCTET STRING. */
static bool key_names_certificate(const CMS_SignerInfo *signer, const X509 *certificate) {
    const ASN1_STRING *found =
        CMS_signed_get0_data_by_OBJ(signer, OBJ_nid2obj(NID_id_smime_aa_signingCertificateV2), -3, V_ASN1_SEQUENCE);
    enum { DER_OCTETS = 0x04 };
    unsigned char wanted[2 + KEY_DIGEST_BYTES] = {DER_OCTETS, KEY_DIGEST_BYTES};
    unsigned bytes = 0;
    const unsigned char *from;
    ESS_SIGNING_CERT_V2 *parsed;

    if (found == NULL || X509_digest(certificate, EVP_sha256(), wanted + 2, &bytes) != 1 ||
        bytes != KEY_DIGEST_BYTES)
        return false;
    from = ASN1_STRING_get0_data(found);
    parsed = d2i_ESS_SIGNING_CERT_V2(NULL, &from, ASN1_STRING_length(found));
    if (parsed == NULL)
        return false;
    ESS_SIGNING_CERT_V2_free(parsed);
    return memmem(ASN1_STRING_get0_data(found), (size_t)ASN1_STRING_length(found), wanted, sizeof wanted) != NULL;
}

static int key_check_signer(CMS_ContentInfo *cms, const unsigned char *digest, struct key_signer *named,
                            struct fault *fault) {
    STACK_OF(CMS_SignerInfo) *signers = CMS_get0_SignerInfos(cms);
    CMS_SignerInfo *signer;
    X509 *certificate = NULL;

    if (sk_CMS_SignerInfo_num(signers) != 1)
        return key_refuse(fault, "expected one signer");
    signer = sk_CMS_SignerInfo_value(signers, 0);
    if (CMS_set1_signers_certs(cms, NULL, 0) != 1)
        return key_refuse(fault, "the signer's certificate is not in it");
    CMS_SignerInfo_get0_algs(signer, NULL, &certificate, NULL, NULL);
    if (certificate == NULL || key_name_signer(certificate, named) != 0)
        return key_refuse(fault, "the signer's certificate cannot be read");
    if (!key_has_type(signer) || !key_names_certificate(signer, certificate))
        return key_refuse(fault, "its signed attributes are not as expected");
    if (!key_has_digest(signer, digest))
        return key_refuse(fault, "the file was altered after it was signed");
    if (CMS_SignerInfo_verify(signer) != 1)
        return key_refuse(fault, "it was not made by the key of its certificate");
    return 0;
}

int key_check_cms(const unsigned char *der, size_t length, const unsigned char digest[KEY_DIGEST_BYTES],
                  struct key_signer *signer, struct fault *fault) {
    const unsigned char *at = der;
    CMS_ContentInfo *cms = d2i_CMS_ContentInfo(NULL, &at, (long)length);
    int result = -1;

    memset(signer, 0, sizeof *signer);
    if (cms == NULL || OBJ_obj2nid(CMS_get0_type(cms)) != NID_pkcs7_signed) {
        key_refuse(fault, "it is no CMS message");
    } else {
        while (at < der + length && *at == 0)
            at++;
        result = at == der + length ? key_check_signer(cms, digest, signer, fault)
                                    : key_refuse(fault, "something follows it");
    }
    CMS_ContentInfo_free(cms);
    ERR_clear_error();
    return result;
}

/* ---- files that the shop hands out ---- */

static int key_no_phrase(char *buffer, int size, int writing, void *context) {
    (void)buffer, (void)size, (void)writing, (void)context;
    return -1;
}

static int key_take_public(BIO *in, struct key_public *key) {
    X509 *certificate = PEM_read_bio_X509(in, NULL, key_no_phrase, NULL);
    EVP_PKEY *public;
    unsigned char *der = NULL;
    int result, bytes;

    if (certificate != NULL) {
        key->kind = KEY_OF_PDF_CERTIFICATE;
        bytes = i2d_X509(certificate, &der);
        result = key_digest_of(der, bytes, key->sha256);
        X509_free(certificate);
        OPENSSL_free(der);
        return result;
    }
    if (BIO_seek(in, 0) < 0)
        return -1;
    public = PEM_read_bio_PUBKEY(in, NULL, key_no_phrase, NULL);
    if (public == NULL)
        return -1;
    bytes = i2d_PUBKEY(public, &der);
    result = key_digest_of(der, bytes, key->sha256);
    OPENSSL_free(der);
    key->kind = EVP_PKEY_get_id(public) == EVP_PKEY_ED25519 ? KEY_OF_FILE : KEY_OF_PDF;
    if (key->kind == KEY_OF_FILE)
        key->plain = public;
    else
        EVP_PKEY_free(public);
    return result;
}

int key_read_public(const char *path, struct key_public *key, struct fault *fault) {
    FILE *file = fopen(path, "rbe");
    BIO *in;
    int result;

    memset(key, 0, sizeof *key);
    if (file == NULL)
        return fault_set_errno(fault, EX_NOINPUT, "%s: cannot open", path);
    in = BIO_new_fp(file, BIO_CLOSE);
    if (in == NULL) {
        fclose(file);
        return fault_set(fault, EX_OSERR, "%s: not enough memory", path);
    }
    result = key_take_public(in, key);
    BIO_free(in);
    ERR_clear_error();
    return result == 0 ? 0
                       : fault_set(fault, EX_DATAERR,
                                   "%s: no public key: expected what 'soakledger key public' or "
                                   "'soakledger key certificate' wrote",
                                   path);
}

void key_free_public(struct key_public *key) {
    EVP_PKEY_free(key->plain);
    key->plain = NULL;
}

int key_check(const struct key_public *key, const void *bytes, size_t length, const void *signature,
              size_t signature_length, struct fault *fault) {
    EVP_MD_CTX *context = EVP_MD_CTX_new();
    const bool holds = context != NULL && key->plain != NULL &&
                       EVP_DigestVerifyInit(context, NULL, NULL, NULL, key->plain) == 1 &&
                       EVP_DigestVerify(context, signature, signature_length, bytes, length) == 1;

    EVP_MD_CTX_free(context);
    return holds ? 0 : key_refuse(fault, "the file beside it was not made of these bytes by this key");
}
