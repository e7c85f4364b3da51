// SPDX-License-Identifier: MIT
/* A certificate whose maker lies: signed by a key of its own, but with facts or readings that do not fit; and bytes
 * that are no certificate at all. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>
#include <zlib.h>

#include "soakledger/certificate.h"
#include "soakledger/pdf.h"
#include "soakledger/recheck.h"
#include "support/paper.h"
#include "support/signed_shop.h"

enum { FILES = 3, NAME_BYTES = 32 };

struct forger {
    struct signed_shop *shop;
    struct key *key;
    unsigned char *pages;
    size_t pages_length;
    char names[FILES][NAME_BYTES];
    char *texts[FILES]; // as attached to an honest certificate
};

static int begin(void **state) {
    struct forger *forger = calloc(1, sizeof *forger);
    const struct certificate_issue issue = {1, 1, 1, SIGNED_NOW_MS};
    struct fault fault;
    enum outcome outcome;
    void *shop;

    signed_shop_begin(&shop);
    forger->shop = shop;
    forger->key = key_read(forger->shop->fixture.config->key_path, &fault);
    assert_non_null(forger->key);
    assert_int_equal(certificate_make(forger->shop->fixture.ledger, forger->shop->fixture.config, &issue, NULL,
                                      &forger->pages, &forger->pages_length, &outcome, &fault),
                     0);
    signed_shop_expect(shop, 0,
                       "$S certificate 1 -o CERT.pdf && mkdir files && pdfdetach -saveall -o files CERT.pdf", "");
    strcpy(forger->names[0], "certificate.json");
    strcpy(forger->names[1], "readings-run-1.csv");
    strcpy(forger->names[2], "readings-run-2.csv");
    for (int i = 0; i < FILES; i++) {
        char path[NAME_BYTES + sizeof "files/"];
        size_t length;

        snprintf(path, sizeof path, "files/%s", forger->names[i]);
        forger->texts[i] = (char *)signed_shop_load(shop, path, &length);
        forger->texts[i][length] = '\0';
    }
    *state = forger;
    return 0;
}

static int end(void **state) {
    struct forger *forger = *state;
    void *shop = forger->shop;

    for (int i = 0; i < FILES; i++)
        free(forger->texts[i]);
    free(forger->pages);
    key_free(forger->key);
    free(forger);
    return signed_shop_end(&shop);
}

static void pack(struct pdf_file *file, const char *name, const char *text, size_t length) {
    uLongf packed_bytes = compressBound(length);
    unsigned char *packed = malloc(packed_bytes);

    assert_non_null(packed);
    assert_int_equal(compress2(packed, &packed_bytes, (const unsigned char *)text, length, Z_BEST_SPEED), Z_OK);
    *file = (struct pdf_file){.name = name,
                              .description = "x",
                              .mime = "text/plain",
                              .plain_bytes = (int64_t)length,
                              .packed_bytes = (int64_t)packed_bytes,
                              .packed = packed};
}

/* A signed file with these texts attached; the caller frees. */
static unsigned char *forge(const struct forger *forger, char *const *texts, const size_t *lengths,
                            size_t *length) {
    const struct pdf_about about = {"t", "a", "p", "r", SIGNED_NOW_MS, {1}};
    struct pdf_file files[FILES];
    struct pdf_places places;
    unsigned char *bytes;
    struct fault fault;
    FILE *file = tmpfile();

    assert_non_null(file);
    for (int i = 0; i < FILES; i++)
        pack(&files[i], forger->names[i], texts[i], lengths != NULL ? lengths[i] : strlen(texts[i]));
    assert_int_equal(
        pdf_write(file, forger->pages, forger->pages_length, &about, files, FILES, 2, forger->key, &places, &fault),
        0);
    for (int i = 0; i < FILES; i++)
        free((unsigned char *)files[i].packed);
    *length = (size_t)places.length;
    bytes = malloc(*length);
    assert_non_null(bytes);
    rewind(file);
    assert_int_equal(fread(bytes, 1, *length, file), *length);
    fclose(file);
    return bytes;
}

/* The text with the first `from` replaced; the caller frees. */
static char *replace(const char *text, const char *from, const char *to) {
    const char *at = strstr(text, from);
    char *made;

    if (at == NULL)
        fail_msg("'%s' is not in what is to be forged", from);
    made = malloc(strlen(text) + strlen(to) + 1);
    assert_non_null(made);
    sprintf(made, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
    return made;
}

/* What comes of a certificate in whose file `which` the first `from` is `to`: the fault's text, or all differences.
 */
static void forged(const struct forger *forger, int which, const char *from, const char *to, const char *expected) {
    char *texts[FILES], *made = replace(forger->texts[which], from, to), said[4096] = "";
    struct recheck check;
    struct fault fault = {0, ""};
    unsigned char *bytes;
    size_t length, i;
    json_t *sentence;
    int result;

    memcpy(texts, forger->texts, sizeof texts);
    texts[which] = made;
    bytes = forge(forger, texts, NULL, &length);
    result = recheck_certificate(bytes, length, &check, &fault);
    assert_int_equal(check.signature, RECHECK_HOLDS); // whoever forged it signed it
    if (result != 0)
        snprintf(said, sizeof said, "%s", fault.text);
    json_array_foreach(check.differences, i, sentence) {
        const size_t used = strlen(said);

        snprintf(said + used, sizeof said - used, "%s\n", json_string_value(sentence));
    }
    if (result != 0)
        assert_int_equal(fault.status, EX_DATAERR);
    if (strstr(said, expected) == NULL)
        fail_msg("'%s' to '%s': expected '%s', but:\n%s", from, to, expected, said);
    recheck_release(&check);
    free(bytes);
    free(made);
}

enum { FACTS, FIRST, SECOND };

static void an_honest_one_follows(void **state) {
    const struct forger *forger = *state;
    struct recheck check;
    struct fault fault;
    size_t length;
    unsigned char *bytes = forge(forger, forger->texts, NULL, &length);

    assert_int_equal(recheck_certificate(bytes, length, &check, &fault), 0);
    assert_int_equal(check.signature, RECHECK_HOLDS);
    assert_int_equal(json_array_size(check.differences), 0);
    assert_int_equal(check.verdicts, 7);
    assert_int_equal(check.readings, 29944);
    assert_int_equal(check.outcome, OUTCOME_MET);
    assert_string_equal(check.signer.name, "Werkzeugbau für Hobeleisen");
    recheck_release(&check);
    free(bytes);
}

static void a_verdict_that_does_not_follow_is_named(void **state) {
    const struct forger *forger = *state;

    /* 20 min 40 s of soak were found. */
    forged(forger, FACTS, "\"found\": 1240571", "\"found\": 1340571",
           "soak hardening, soak time, at least: the certificate says met (22 min 20 s), its readings say met (20 "
           "min 40 s)");
    forged(forger, FACTS, "\"outcome\": \"met\"", "\"outcome\": \"not met\"",
           "outcome: the certificate says \"not met\", its readings say \"met\"");
    forged(forger, FACTS, "\"reached\": true", "\"reached\": false", "run 1, reached");
    /* The plan itself: 25 min where 15 min were agreed; its digest goes with it. */
    forged(forger, FACTS, "time_at_least = 15 min", "time_at_least = 25 min", "plan: sha256: is not the plan's");
}

static void readings_that_say_otherwise_are_named(void **state) {
    const struct forger *forger = *state;

    /* One reading of the front, within the soak, fell by 9 K: it left the band. */
    forged(forger, FIRST, "Z,front of rack,808,good", "Z,front of rack,799,good",
           "readings-run-1.csv: not the readings");
    forged(forger, FIRST, "Z,front of rack,808,good", "Z,front of rack,799,good",
           "soak hardening, soak time, at least: the certificate says met");
    forged(forger, FACTS, "\"rows\": 16859", "\"rows\": 16858", "readings-run-1.csv: not the readings");
    forged(forger, FACTS, "\"interval_ms\": 1000", "\"interval_ms\": 100", "gaps");
}

static void facts_that_make_no_sense_are_one_line(void **state) {
    const struct forger *forger = *state;

    forged(forger, FACTS, "{", "[", "certificate.json:");
    forged(forger, FACTS, "\"version\": 1", "\"version\": 2", "version: expected a whole number from 1 to 1");
    forged(forger, FACTS, "\"version\": 1", "\"version\": 1, \"version\": 1", "duplicate object key");
    forged(forger, FACTS, "\"visit\": 2,\n      \"oven\"", "\"visit\": 3,\n      \"oven\"",
           "visit: expected a whole number");
    forged(forger, FACTS, "\"visit\": 2,\n      \"oven\"", "\"visit\": 1e2,\n      \"oven\"",
           "visit: expected a whole number");
    forged(forger, FACTS, "\"until_ms\": 1794823329142", "\"until_ms\": 9223372036854775807", "until_ms");
    forged(forger, FACTS, "\"until_ms\": 1794823329142", "\"until_ms\": 1794823329143", "expected ended_ms");
    forged(forger, FACTS, "\"channel\": 2,", "\"channel\": 1,", "each once, in the order of their numbers");
    forged(forger, FACTS, "\"role\": \"load\"", "\"role\": \"lid\"", "role: not a word that is known");
    forged(forger, FACTS, "\"interval_ms\": 10000", "\"interval_ms\": 0", "interval_ms");
    forged(forger, FACTS, "\"file\": \"readings-run-1.csv\"", "\"file\": \"../run\"",
           "readings of run 1 are not attached");
    forged(forger, FACTS, "\"dispositions\": []", "\"dispositions\": [{\"decision\": 9}]", "decision");
    forged(forger, FACTS, "\"amendments\": []", "\"amendments\": [{\"entry\": 8, \"entry_number\": 4}]",
           "entry_number");
    forged(forger, FACTS, "\"attestations\": []", "\"attestations\": [{\"visit\": 9}]", "visit");
    forged(forger, FACTS, "\"attestations\": []", "\"attestations\": 7", "attestations: expected a list");
}

static void readings_that_make_no_sense_are_one_line(void **state) {
    const struct forger *forger = *state;

    forged(forger, FIRST, "time_utc", "time", "readings-run-1.csv:1: expected the heading");
    forged(forger, FIRST, "2026-11-16T08:00:00.000Z", "2026-02-30T08:00:00.000Z",
           "readings-run-1.csv:2: expected a time");
    forged(forger, FIRST, "2026-11-16T08:00:00.000Z", "2026-11-16T07:00:00.000Z", ":2: a time outside of the run");
    forged(forger, FIRST, ",control,", ",contral,", ":2: expected one of the run's channels");
    forged(forger, FIRST, ",191,good", ",190.0001,good", ":2: expected a value with at most three decimals");
    forged(forger, FIRST, ",191,good", ",,good", ":2: expected a value with a good quality");
    forged(forger, FIRST, ",191,good", ",190,no reply", ":2: expected a value with a good quality");
    forged(forger, FIRST, ",191,good", ",190,fine", "and a quality");
    forged(forger, FIRST, ",191,good", ",99999999,good", ":2: a value that nothing can have");
    forged(forger, FIRST, "\n2026-11-16T08:00:00.000Z,setpoint",
           "\n2026-11-16T08:00:00.000Z,control,190,good\n2026-11-16T08:00:00.000Z,setpoint",
           ":3: expected readings by time, then by channel, each once");
}

/* ---- no certificate at all ---- */

static int open_bytes(const unsigned char *bytes, size_t length, struct fault *fault) {
    struct recheck check;
    const int result = recheck_certificate(bytes, length, &check, fault);

    recheck_release(&check);
    return result;
}

static void what_is_no_certificate_is_refused(void **state) {
    const struct forger *forger = *state;
    struct fault fault = {0, ""};
    size_t length;
    unsigned char *bytes = signed_shop_load(forger->shop, "CERT.pdf", &length);

    assert_int_equal(open_bytes((const unsigned char *)"", 0, &fault), -1);
    assert_string_equal(fault.text, "no PDF");
    assert_int_equal(open_bytes(forger->pages, forger->pages_length, &fault), -1); // libharu's own file
    assert_int_equal(fault.status, EX_DATAERR);
    /* Cut anywhere. */
    for (size_t cut = 1; cut < length; cut += length / 97) {
        assert_int_equal(open_bytes(bytes, length - cut, &fault), -1);
        assert_int_equal(fault.status, EX_DATAERR);
        assert_null(strchr(fault.text, '\n'));
    }
    free(bytes);
}

/* A few kilobytes that unpack into gigabytes. */
static void what_would_fill_the_memory_is_refused(void **state) {
    enum { BOMB_BYTES = 64 * 1024 * 1024 };
    const struct forger *forger = *state;
    struct fault fault = {0, ""};
    char *texts[FILES], *bomb = malloc(BOMB_BYTES);
    size_t lengths[FILES], length;
    unsigned char *bytes;

    assert_non_null(bomb);
    memset(bomb, ' ', BOMB_BYTES);
    for (int which = 0; which < 2; which++) {
        for (int i = 0; i < FILES; i++) {
            texts[i] = i == which ? bomb : forger->texts[i];
            lengths[i] = i == which ? BOMB_BYTES : strlen(forger->texts[i]);
        }
        bytes = forge(forger, texts, lengths, &length);
        assert_int_equal(open_bytes(bytes, length, &fault), -1);
        assert_non_null(strstr(fault.text, which == 0 ? "certificate.json: more than" : "a line that is too long"));
        free(bytes);
    }
    /* Brackets within brackets. */
    memset(bomb, '[', 1000000);
    texts[0] = bomb;
    lengths[0] = 1000000;
    texts[1] = forger->texts[1];
    lengths[1] = strlen(forger->texts[1]);
    bytes = forge(forger, texts, lengths, &length);
    assert_int_equal(open_bytes(bytes, length, &fault), -1);
    assert_non_null(strstr(fault.text, "certificate.json:1: maximum parsing depth reached"));
    free(bytes);
    free(bomb);
}

/* ---- people's words count as in the shop ---- */

static void what_people_added_counts_here_too(void **state) {
    const struct forger *forger = *state;

    signed_shop_expect(
        forger->shop, 0,
        "$S hardness 1 61 HRC --by smith && $S disposition 1 accept --by smith --reason 'as agreed' && $S "
        "certificate 1 --why 'measured' -o books.pdf",
        "books.pdf");
    signed_shop_expect(forger->shop, 0, "$K verify books.pdf", "all 7 follow from them");
    signed_shop_expect(forger->shop, 0,
                       "mkdir -p b && pdfdetach -saveall -o b books.pdf && grep -c 'as agreed' b/certificate.json",
                       "1");
    signed_shop_expect(forger->shop, 0, "pdftotext books.pdf - | tr '\\n' ' '",
                       "· disposition 1: new · hardness 1: new");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_honest_one_follows),
        cmocka_unit_test(a_verdict_that_does_not_follow_is_named),
        cmocka_unit_test(readings_that_say_otherwise_are_named),
        cmocka_unit_test(facts_that_make_no_sense_are_one_line),
        cmocka_unit_test(readings_that_make_no_sense_are_one_line),
        cmocka_unit_test(what_is_no_certificate_is_refused),
        cmocka_unit_test(what_would_fill_the_memory_is_refused),
        cmocka_unit_test(what_people_added_counts_here_too),
    };

    return cmocka_run_group_tests(tests, begin, end);
}
