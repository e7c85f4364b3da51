// SPDX-License-Identifier: MIT
/* The signing key, checked from outside by the stock openssl program. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "soakledger/key.h"
#include "soakledger/proof.h"
#include "support/paper.h"

#define MADE_MS INT64_C(1794812400000) // 2026-11-16T07:00:00Z
enum { PATH_BYTES = 128 };

static const char SHOP[] = "Werkstatt für Hobeleisen";
static const char CONTENT[] = "soak 808 °C, 15 min\n";

struct bench {
    char folder[PATH_BYTES], path[PATH_BYTES + 16];
    struct key *key;
};

/* One key for all tests: making one takes a while. */
static int begin(void **state) {
    struct bench *bench = calloc(1, sizeof *bench);
    struct fault fault;

    strcpy(bench->folder, "/tmp/soakledger-key-XXXXXX");
    assert_non_null(mkdtemp(bench->folder));
    snprintf(bench->path, sizeof bench->path, "%s/shop.key", bench->folder);
    assert_int_equal(key_make(bench->path, SHOP, MADE_MS, &fault), 0);
    bench->key = key_read(bench->path, &fault);
    assert_non_null(bench->key);
    *state = bench;
    return 0;
}

static int end(void **state) {
    struct bench *bench = *state;

    key_free(bench->key);
    free(paper_run(NULL, "rm -r %s", bench->folder));
    free(bench);
    return 0;
}

static void keep(const struct bench *bench, const char *name, const void *bytes, size_t length) {
    char path[2 * PATH_BYTES];

    snprintf(path, sizeof path, "%s/%s", bench->folder, name);
    paper_write(path, bytes, length);
}

static void expect(const struct bench *bench, int expected, const char *command, const char *part) {
    int status;
    char *said = paper_run(&status, "cd %s && %s 2>&1", bench->folder, command);

    if (status != expected || strstr(said, part) == NULL)
        fail_msg("%s: status %d\n%s", command, status, said);
    free(said);
}

static void is_kept_from_others(void **state) {
    const struct bench *bench = *state;
    struct fault fault = {0, ""};
    struct stat status;

    assert_int_equal(stat(bench->path, &status), 0);
    assert_int_equal(status.st_mode & 07777, 0600);
    for (mode_t others = 1; others <= 040; others = (mode_t)(others << 1)) {
        assert_int_equal(chmod(bench->path, 0600 | others), 0);
        assert_null(key_read(bench->path, &fault));
        assert_int_equal(fault.status, EX_NOPERM);
    }
    assert_non_null(strstr(fault.text, "expected mode 0600"));
    assert_int_equal(chmod(bench->path, 0600), 0);
}

static void is_never_overwritten(void **state) {
    const struct bench *bench = *state;
    char *before = paper_run(NULL, "sha256sum %s", bench->path), *after;
    struct fault fault = {0, ""};

    assert_int_equal(key_make(bench->path, SHOP, MADE_MS, &fault), -1);
    assert_int_equal(fault.status, EX_CANTCREAT);
    after = paper_run(NULL, "sha256sum %s", bench->path);
    assert_string_equal(before, after);
    free(before);
    free(after);
}

static void refuses_what_is_no_key(void **state) {
    const struct bench *bench = *state;
    static const char *const cuts[] = {"head -c 700", "sed 1,3d", "sed /CERTIFICATE/,\\$d", "true",
                                       "head -c 70000 /dev/zero;"};
    struct fault fault = {0, ""};
    char path[2 * PATH_BYTES];

    snprintf(path, sizeof path, "%s/cut.key", bench->folder);
    for (size_t i = 0; i < sizeof cuts / sizeof cuts[0]; i++) {
        free(paper_run(NULL, "%s < %s > %s; chmod 600 %s", cuts[i], bench->path, path, path));
        assert_null(key_read(path, &fault));
        assert_int_equal(fault.status, EX_DATAERR);
        assert_non_null(strstr(fault.text, "soakledger key make"));
    }
    /* A certificate of somebody else's key. */
    free(paper_run(
        NULL,
        "cd %s && openssl req -x509 -newkey rsa:1024 -nodes -subj /CN=x -keyout x.key -out x.crt 2>/dev/null;"
        " (sed /CERTIFICATE/,\\$d shop.key; cat x.crt) > cut.key",
        bench->folder));
    assert_null(key_read(path, &fault));
    assert_int_equal(fault.status, EX_DATAERR);
    assert_null(key_read("/tmp/soakledger-no-such/shop.key", &fault));
    assert_int_equal(fault.status, EX_NOINPUT);
}

static void names_the_shop(void **state) {
    const struct bench *bench = *state;

    keep(bench, "shop.crt", key_certificate(bench->key), strlen(key_certificate(bench->key)));
    keep(bench, "shop.pub", key_public(bench->key), strlen(key_public(bench->key)));
    expect(bench, 0, "openssl x509 -in shop.crt -noout -subject -nameopt utf8", SHOP);
    expect(bench, 0, "openssl x509 -in shop.crt -noout -dates", "notBefore=Nov 16 07:00:00 2026 GMT");
    expect(bench, 0, "openssl x509 -in shop.crt -noout -dates", "notAfter=Dec 31 23:59:59 9999 GMT");
    expect(bench, 0, "openssl verify -CAfile shop.crt -check_ss_sig shop.crt", "OK");
    expect(bench, 0, "openssl x509 -in shop.crt -outform DER | sha256sum", key_certificate_fingerprint(bench->key));
    expect(bench, 0, "openssl pkey -pubin -in shop.pub -outform DER | sha256sum",
           key_public_fingerprint(bench->key));
}

/* The command that the certificate prints, word for word. */
static void is_checked_by_the_printed_command(void **state) {
    const struct bench *bench = *state;
    struct proof_line lines[PROOF_MOST_LINES];
    const size_t count = proof_write(bench->key, true, lines);
    unsigned char signature[KEY_SIGNATURE_BYTES], again[KEY_SIGNATURE_BYTES];
    const char *command = NULL;
    struct fault fault;

    for (size_t i = 0; i < count; i++)
        if (strncmp(lines[i].text, "openssl pkeyutl", strlen("openssl pkeyutl")) == 0)
            command = lines[i].text;
    assert_non_null(command);
    assert_int_equal(key_sign(bench->key, CONTENT, strlen(CONTENT), signature, &fault), 0);
    assert_int_equal(key_sign(bench->key, CONTENT, strlen(CONTENT), again, &fault), 0);
    assert_memory_equal(signature, again, sizeof signature);
    keep(bench, "CERT.pdf", CONTENT, strlen(CONTENT));
    keep(bench, "CERT.pdf.sig", signature, sizeof signature);
    expect(bench, 0, command, "Signature Verified Successfully");
    keep(bench, "CERT.pdf", "soak 809 °C, 15 min\n", strlen(CONTENT));
    expect(bench, 1, command, "Verification Failure");
}

static void signs_as_pades_asks(void **state) {
    const struct bench *bench = *state;
    unsigned char digest[KEY_DIGEST_BYTES], *der = NULL, *again = NULL;
    char *said = NULL;
    size_t length = 0, again_length = 0;
    struct fault fault;
    int status;

    keep(bench, "content", CONTENT, strlen(CONTENT));
    free(paper_run(NULL, "cd %s && openssl dgst -sha256 -binary -out digest content", bench->folder));
    char path[2 * PATH_BYTES];
    snprintf(path, sizeof path, "%s/digest", bench->folder);
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    assert_int_equal(fread(digest, 1, sizeof digest, file), sizeof digest);
    fclose(file);
    assert_int_equal(key_sign_cms(bench->key, digest, &der, &length, &fault), 0);
    assert_int_equal(key_sign_cms(bench->key, digest, &again, &again_length, &fault), 0);
    assert_int_equal(length, again_length);
    assert_memory_equal(der, again, length);
    keep(bench, "cms.der", der, length);
    keep(bench, "shop.crt", key_certificate(bench->key), strlen(key_certificate(bench->key)));
    expect(bench, 0,
           "openssl cms -verify -cades -binary -inform DER -in cms.der -content content -CAfile shop.crt -purpose "
           "any -out "
           "/dev/null",
           "successful");
    expect(bench, 4,
           "openssl cms -verify -cades -binary -inform DER -in cms.der -content digest -CAfile shop.crt -purpose "
           "any -out "
           "/dev/null",
           "verification failure");
    said = paper_run(&status, "cd %s && openssl cms -cmsout -print -noout -inform DER -in cms.der", bench->folder);
    assert_non_null(strstr(said, "id-smime-aa-signingCertificateV2"));
    assert_non_null(strstr(said, "contentType"));
    assert_non_null(strstr(said, "messageDigest"));
    assert_null(strstr(said, "signingTime"));
    free(said);
    free(der);
    free(again);
}

static void says_so_without_a_key(void **state) {
    struct proof_line lines[PROOF_MOST_LINES];

    (void)state;
    assert_true(proof_write(NULL, true, lines) > 0);
    assert_non_null(strstr(lines[0].text, "not signed"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(is_kept_from_others),
        cmocka_unit_test(is_never_overwritten),
        cmocka_unit_test(refuses_what_is_no_key),
        cmocka_unit_test(names_the_shop),
        cmocka_unit_test(is_checked_by_the_printed_command),
        cmocka_unit_test(signs_as_pades_asks),
        cmocka_unit_test(says_so_without_a_key),
    };

    return cmocka_run_group_tests(tests, begin, end);
}
