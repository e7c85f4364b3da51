// SPDX-License-Identifier: MIT
/* Reading the key's file, and what is told of it. */
#include "soakledger/key.h"

#include <errno.h>
#include <fcntl.h>
#include <openssl/err.h>
#include <openssl/pem.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "key_parts.h"

enum { KEY_MOST_BYTES = 65536 }; // such a file has about 5 kB

int key_fail(const char *doing, struct fault *fault) {
    char text[FAULT_TEXT_BYTES] = "out of memory";
    const unsigned long error = ERR_get_error();

    if (error != 0)
        ERR_error_string_n(error, text, sizeof text);
    ERR_clear_error();
    return fault_set(fault, EX_SOFTWARE, "cannot %s: libcrypto says %s", doing, text);
}

void key_fingerprint(const unsigned char *der, size_t length, char out[KEY_FINGERPRINT_BYTES]) {
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned digest_bytes = 0;

    out[0] = '\0';
    if (EVP_Digest(der, length, digest, &digest_bytes, EVP_sha256(), NULL) != 1)
        return;
    for (unsigned i = 0; i < digest_bytes; i++)
        snprintf(out + (size_t)2 * i, 3, "%02x", digest[i]);
}

/* ---- the file ---- */

static int key_check_guarded(const char *path, int fd, struct fault *fault) {
    const uid_t user = geteuid();
    struct stat status;

    if (fstat(fd, &status) != 0)
        return fault_set_errno(fault, EX_IOERR, "%s: cannot look at it", path);
    if (!S_ISREG(status.st_mode))
        return fault_set(fault, EX_DATAERR, "%s: no key: expected a file", path);
    if (status.st_uid != user && user != 0)
        return fault_set(fault, EX_NOPERM, "%s: this key belongs to another user: expected the one that signs",
                         path);
    if ((status.st_mode & (S_IRWXG | S_IRWXO)) != 0)
        return fault_set(fault, EX_NOPERM,
                         "%s: others than its owner may use this key (mode %04o): expected mode 0600", path,
                         (unsigned)(status.st_mode & 07777)); // the bits that chmod(1) sets
    return 0;
}

static char *key_load(const char *path, size_t *length, struct fault *fault) {
    const int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
    char *text = NULL;
    ssize_t got = 0;

    if (fd < 0) {
        fault_set_errno(fault, errno == EACCES ? EX_NOPERM : EX_NOINPUT,
                        "%s: cannot open the signing key ('soakledger key make' makes it)", path);
        return NULL;
    }
    *length = 0;
    if (key_check_guarded(path, fd, fault) == 0) {
        text = malloc(KEY_MOST_BYTES);
        if (text == NULL)
            fault_set(fault, EX_OSERR, "%s: not enough memory", path);
        while (text != NULL && *length < KEY_MOST_BYTES &&
               (got = read(fd, text + *length, KEY_MOST_BYTES - *length)) > 0)
            *length += (size_t)got;
        if (got < 0) {
            fault_set_errno(fault, EX_IOERR, "%s: cannot read", path);
            free(text);
            text = NULL;
        }
    }
    close(fd);
    return text;
}

/* Never asks a terminal for a pass phrase: nobody may be there. */
static int key_no_phrase(char *buffer, int size, int writing, void *context) {
    (void)buffer, (void)size, (void)writing, (void)context;
    return -1;
}

static int key_parse(struct key *key, const char *path, const char *text, size_t length, struct fault *fault) {
    BIO *in = BIO_new_mem_buf(text, (int)length);

    if (in == NULL)
        return key_fail("read the key", fault);
    key->plain = PEM_read_bio_PrivateKey(in, NULL, key_no_phrase, NULL);
    key->rsa = key->plain != NULL ? PEM_read_bio_PrivateKey(in, NULL, key_no_phrase, NULL) : NULL;
    key->certificate = key->rsa != NULL ? PEM_read_bio_X509(in, NULL, key_no_phrase, NULL) : NULL;
    BIO_free(in);
    if (key->certificate == NULL || EVP_PKEY_get_id(key->plain) != EVP_PKEY_ED25519 ||
        EVP_PKEY_get_id(key->rsa) != EVP_PKEY_RSA || X509_check_private_key(key->certificate, key->rsa) != 1) {
        ERR_clear_error();
        return fault_set(fault, EX_DATAERR,
                         "%s: no signing key: expected a file made by 'soakledger key make', whole and unencrypted",
                         path);
    }
    return 0;
}

/* ---- what is told ---- */

static char *key_text_of(BIO *out) {
    char *bytes = NULL;
    const long length = BIO_get_mem_data(out, &bytes);

    return length > 0 ? strndup(bytes, (size_t)length) : NULL;
}

static int key_describe(struct key *key, struct fault *fault) {
    unsigned char *public = NULL, *certificate = NULL;
    const int public_bytes = i2d_PUBKEY(key->plain, &public);
    const int certificate_bytes = i2d_X509(key->certificate, &certificate);
    BIO *public_out = BIO_new(BIO_s_mem()), *certificate_out = BIO_new(BIO_s_mem());
    int result = -1;

    if (public_bytes > 0 && certificate_bytes > 0 && public_out != NULL && certificate_out != NULL &&
        PEM_write_bio_PUBKEY(public_out, key->plain) == 1 &&
        PEM_write_bio_X509(certificate_out, key->certificate) == 1) {
        key_fingerprint(public, (size_t)public_bytes, key->public_fingerprint);
        key_fingerprint(certificate, (size_t)certificate_bytes, key->certificate_fingerprint);
        key->public_pem = key_text_of(public_out);
        key->certificate_pem = key_text_of(certificate_out);
        result = key->public_pem != NULL && key->certificate_pem != NULL ? 0 : -1;
    }
    if (result != 0)
        key_fail("write out the public key", fault);
    OPENSSL_free(public);
    OPENSSL_free(certificate);
    BIO_free(public_out);
    BIO_free(certificate_out);
    return result;
}

struct key *key_read(const char *path, struct fault *fault) {
    size_t length = 0;
    char *text = key_load(path, &length, fault);
    struct key *key = NULL;

    if (text == NULL)
        return NULL;
    key = calloc(1, sizeof *key);
    if (key == NULL) {
        fault_set(fault, EX_OSERR, "%s: not enough memory", path);
    } else if (key_parse(key, path, text, length, fault) != 0 || key_describe(key, fault) != 0) {
        key_free(key);
        key = NULL;
    }
    OPENSSL_cleanse(text, KEY_MOST_BYTES);
    free(text);
    return key;
}

void key_free(struct key *key) {
    if (key == NULL)
        return;
    EVP_PKEY_free(key->plain);
    EVP_PKEY_free(key->rsa);
    X509_free(key->certificate);
    free(key->public_pem);
    free(key->certificate_pem);
    free(key);
}

const char *key_public(const struct key *key) {
    return key->public_pem;
}

const char *key_certificate(const struct key *key) {
    return key->certificate_pem;
}

const char *key_public_fingerprint(const struct key *key) {
    return key->public_fingerprint;
}

const char *key_certificate_fingerprint(const struct key *key) {
    return key->certificate_fingerprint;
}
