// SPDX-License-Identifier: MIT
/* Making the key and its self-signed certificate (RFC 5280). */
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <openssl/err.h>
#include <openssl/pem.h>
#include <openssl/rand.h>
#include <openssl/x509v3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "key_parts.h"

enum { SERIAL_BYTES = 16, MS_PER_S = 1000, VERSION_THREE = 2, NAME_MOST_BYTES = 64 };
static const char NO_END[] = "99991231235959Z"; // RFC 5280 4.1.2.5: no well-defined expiration date
static const char NO_NAME[] = "Heat treatment";

static int key_add_extension(X509 *certificate, int what, const char *value) {
    X509V3_CTX context;
    X509_EXTENSION *extension;
    int added;

    X509V3_set_ctx(&context, certificate, certificate, NULL, NULL, 0);
    extension = X509V3_EXT_conf_nid(NULL, &context, what, value);
    added = extension != NULL && X509_add_ext(certificate, extension, -1);
    X509_EXTENSION_free(extension);
    return added;
}

static int key_set_serial(X509 *certificate) {
    unsigned char bytes[SERIAL_BYTES];
    BIGNUM *number = NULL;
    int done;

    if (RAND_bytes(bytes, sizeof bytes) != 1)
        return 0;
    bytes[0] = (unsigned char)((bytes[0] & 0x7F) | 0x40); // positive, and of one length
    number = BN_bin2bn(bytes, sizeof bytes, NULL);
    done = number != NULL && BN_to_ASN1_INTEGER(number, X509_get_serialNumber(certificate)) != NULL;
    BN_free(number);
    return done;
}

/* A name's attribute holds at most 64 characters (RFC 5280, appendix A): cut between characters. */
static size_t key_name_bytes(const char *shop) {
    size_t length = strnlen(shop, NAME_MOST_BYTES);

    while (shop[length] != '\0' && length > 0 && ((unsigned char)shop[length] & 0xC0) == 0x80) // UTF-8, inside one
        length--;
    return length;
}

static int key_set_names(X509 *certificate, const char *shop) {
    X509_NAME *name = X509_get_subject_name(certificate);
    const unsigned char *bytes = (const unsigned char *)shop;
    const int length = (int)key_name_bytes(shop);

    return X509_NAME_add_entry_by_txt(name, "O", MBSTRING_UTF8, bytes, length, -1, 0) &&
           X509_NAME_add_entry_by_txt(name, "CN", MBSTRING_UTF8, bytes, length, -1, 0) &&
           X509_set_issuer_name(certificate, name);
}

/* No extended key usage: readers of PDF disagree about which one a signature needs, and take a certificate without
 * any. */
static X509 *key_certify(EVP_PKEY *rsa, const char *shop, int64_t now_ms) {
    X509 *certificate = X509_new();

    if (certificate != NULL && X509_set_version(certificate, VERSION_THREE) && key_set_serial(certificate) &&
        ASN1_TIME_set(X509_getm_notBefore(certificate), (time_t)(now_ms / MS_PER_S)) != NULL &&
        ASN1_TIME_set_string(X509_getm_notAfter(certificate), NO_END) && X509_set_pubkey(certificate, rsa) &&
        key_set_names(certificate, shop) &&
        key_add_extension(certificate, NID_basic_constraints, "critical,CA:FALSE") &&
        key_add_extension(certificate, NID_key_usage, "critical,digitalSignature,nonRepudiation") &&
        key_add_extension(certificate, NID_subject_key_identifier, "hash") &&
        X509_sign(certificate, rsa, EVP_sha256()) > 0)
        return certificate;
    X509_free(certificate);
    return NULL;
}

static int key_write_all(int fd, const char *bytes, size_t length) {
    while (length > 0) {
        const ssize_t wrote = write(fd, bytes, length);

        if (wrote < 0 && errno == EINTR)
            continue;
        if (wrote <= 0)
            return -1;
        bytes += wrote;
        length -= (size_t)wrote;
    }
    return 0;
}

static int key_sync_folder(const char *path) {
    const char *slash = strrchr(path, '/');
    char folder[PATH_MAX];
    int fd, result;

    snprintf(folder, sizeof folder, "%.*s", slash == NULL || slash == path ? 1 : (int)(slash - path),
             slash == NULL ? "." : path);
    fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    result = fd >= 0 ? fsync(fd) : -1;
    if (fd >= 0)
        close(fd);
    return result;
}

static int key_store(const char *path, const char *bytes, size_t length, struct fault *fault) {
    const int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, S_IRUSR | S_IWUSR);
    int failed;

    if (fd < 0 && errno == EEXIST)
        return fault_set(fault, EX_CANTCREAT,
                         "%s: is there already: a key is never overwritten, since customers check by it", path);
    if (fd < 0)
        return fault_set_errno(fault, EX_CANTCREAT, "%s: cannot make the key's file", path);
    failed = key_write_all(fd, bytes, length) != 0 || fsync(fd) != 0;
    if (close(fd) != 0 || failed || key_sync_folder(path) != 0) {
        fault_set_errno(fault, EX_IOERR, "%s: cannot write the key's file", path);
        unlink(path);
        return -1;
    }
    return 0;
}

int key_make(const char *path, const char *shop, int64_t now_ms, struct fault *fault) {
    EVP_PKEY *plain = EVP_PKEY_Q_keygen(NULL, NULL, "ED25519"), *rsa = EVP_RSA_gen(KEY_RSA_BITS);
    X509 *certificate = rsa != NULL ? key_certify(rsa, shop[0] != '\0' ? shop : NO_NAME, now_ms) : NULL;
    BIO *out = BIO_new(BIO_s_secmem());
    char *bytes = NULL;
    int result;

    if (plain == NULL || certificate == NULL || out == NULL ||
        PEM_write_bio_PrivateKey(out, plain, NULL, NULL, 0, NULL, NULL) != 1 ||
        PEM_write_bio_PrivateKey(out, rsa, NULL, NULL, 0, NULL, NULL) != 1 ||
        PEM_write_bio_X509(out, certificate) != 1) {
        result = key_fail("make a key", fault);
    } else {
        const long length = BIO_get_mem_data(out, &bytes);

        result = key_store(path, bytes, (size_t)length, fault);
    }
    BIO_free(out);
    X509_free(certificate);
    EVP_PKEY_free(rsa);
    EVP_PKEY_free(plain);
    return result;
}
