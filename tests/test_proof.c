// SPDX-License-Identifier: MIT
/* A certificate as its receiver sees it: checked with programs that know nothing of ours, then with ours and
 * nothing but the file; printed again; issued anew. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "support/paper.h"
#include "support/signed_shop.h"

enum { TRIALS = 15, VERIFIED_TRIALS = 90, EDGE = 16 };

static int begin(void **state) {
    signed_shop_begin(state);
    signed_shop_expect(*state, 0, "$S certificate 1 -o CERT.pdf", "CERT.pdf.sig");
    return 0;
}

/* ---- strangers' programs ---- */

static void opens_in_readers_that_are_not_ours(void **state) {
    const struct signed_shop *shop = *state;

    signed_shop_expect(shop, 0, "qpdf --check CERT.pdf", "No syntax or stream encoding errors found");
    /* Every page through two more readers, which say so if anything is amiss. */
    signed_shop_expect(
        shop, 0, "test -z \"$(gs -q -dNOPAUSE -dBATCH -sDEVICE=nullpage CERT.pdf 2>&1)\" && echo clean", "clean");
    signed_shop_expect(
        shop, 0,
        "test -z \"$(mutool draw -q -F txt -o /dev/null CERT.pdf 2>&1 | grep -v 'ICC support')\" && echo clean",
        "clean");
    signed_shop_expect(
        shop, 0, "test -z \"$(pdftotext CERT.pdf text.txt 2>&1)\" && grep -c HRC text.txt; echo clean", "clean");
    signed_shop_expect(shop, 0, "pdffonts CERT.pdf 2>&1 | awk 'NR > 2 && $0 !~ / yes yes yes /' | wc -l", "0");
    signed_shop_expect(shop, 0, "pdfinfo CERT.pdf", "PDF version:     1.7");
    signed_shop_expect(shop, 0, "pdfinfo CERT.pdf", "Werkzeugbau für Hobeleisen");
}

static void is_signed_as_readers_of_pdf_expect(void **state) {
    const struct signed_shop *shop = *state;
    char *said = signed_shop_run(shop, 0, "pdfsig CERT.pdf", "Signature is Valid.");

    assert_true(paper_has(said, "Signature Type: ETSI.CAdES.detached"));
    assert_true(paper_has(said, "Total document signed"));
    assert_true(paper_has(said, "Signing Hash Algorithm: SHA-256"));
    assert_true(paper_has(said, "CN=Werkzeugbau für Hobeleisen,O=Werkzeugbau für Hobeleisen"));
    free(said);
    signed_shop_expect(shop, 0,
                       "openssl pkeyutl -verify -rawin -pubin -inkey shop.pub -sigfile CERT.pdf.sig -in CERT.pdf",
                       "Signature Verified Successfully");
    /* The CMS inside, cut out by the byte range, by openssl alone. */
    signed_shop_expect(
        shop, 0,
        "/usr/bin/python3 -c \"import re\n"
        "b = open('CERT.pdf', 'rb').read()\n"
        "r = [int(x) for x in re.search(rb'/ByteRange \\[([0-9 ]*)\\]', b).group(1).split()]\n"
        "assert r[0] == 0 and r[2] + r[3] == len(b)\n"
        "open('cms.der', 'wb').write(bytes.fromhex(b[r[1] + 1:r[2] - 1].decode()))\n"
        "open('content', 'wb').write(b[:r[1]] + b[r[2]:])\" && "
        "openssl cms -verify -cades -binary -inform DER -in cms.der -content content -CAfile shop.crt "
        "-purpose any -out /dev/null",
        "successful");
}

/* The command is printed on the pages word for word. */
static void prints_how_it_is_checked(void **state) {
    const struct signed_shop *shop = *state;

    free(signed_shop_run(
        shop, 0, "pdftotext CERT.pdf - | tr '\\n' ' '",
        "openssl pkeyutl -verify -rawin -pubin -inkey shop.pub -sigfile CERT.pdf.sig -in CERT.pdf"));
    signed_shop_expect(
        shop, 0,
        "pdftotext CERT.pdf - | grep -c \"$(openssl pkey -pubin -in shop.pub -outform DER | sha256sum | "
        "cut -c1-64)\"",
        "1");
    signed_shop_expect(
        shop, 0,
        "pdftotext CERT.pdf - | grep -c \"$(openssl x509 -in shop.crt -outform DER | sha256sum | cut -c1-64)\"",
        "1");
}

static void carries_evidence_that_strangers_can_read(void **state) {
    const struct signed_shop *shop = *state;

    signed_shop_expect(shop, 0, "mkdir -p files && pdfdetach -saveall -o files CERT.pdf && ls files",
                       "certificate.json\nreadings-run-1.csv\nreadings-run-2.csv");
    signed_shop_expect(
        shop, 0,
        "/usr/bin/python3 -c \"import json, jsonschema\n"
        "schema = json.load(open('$W/report/certificate.schema.json'))\n"
        "jsonschema.Draft202012Validator.check_schema(schema)\n"
        "jsonschema.Draft202012Validator(schema).validate(json.load(open('files/certificate.json')))\n"
        "print('valid')\"",
        "valid");
    /* Every reading of the ledger, by value, and nothing else: SQLite's shell against python's csv. */
    signed_shop_expect(
        shop, 0,
        "/usr/bin/python3 -c \"import csv, json, hashlib, sqlite3, datetime\n"
        "facts = json.load(open('files/certificate.json'))\n"
        "books = sqlite3.connect('shop.ledger')\n"
        "n = 0\n"
        "for run in facts['runs']:\n"
        "    name = 'files/' + run['readings']['file']\n"
        "    assert hashlib.sha256(open(name, 'rb').read()).hexdigest() == run['readings']['sha256']\n"
        "    ids = {c['name']: c['channel'] for c in run['channels']}\n"
        "    rows = [(ids[r['channel']], int(datetime.datetime.fromisoformat(r['time_utc'].replace('Z', "
        "'+00:00')).timestamp() * 1000 + 0.5), round(float(r['value']) * 1000)) for r in "
        "csv.DictReader(open(name))]\n"
        "    stored = list(books.execute('SELECT channel_id, t_ms, value FROM reading WHERE channel_id IN "
        "(%s) AND t_ms BETWEEN ? AND ? ORDER BY t_ms, channel_id' % ','.join(map(str, ids.values())), "
        "(run['begun_ms'], run['until_ms'])))\n"
        "    stored = [(c, t, v + 1000 if c == 1 else v) for c, t, v in stored] # K-114 is corrected by 1 C\n"
        "    assert rows == stored and len(rows) == run['readings']['rows']\n"
        "    n += len(rows)\n"
        "print('same', n)\"",
        "same 29944");
}

/* ---- for the archive ---- */

static void is_built_for_the_archive(void **state) {
    const struct signed_shop *shop = *state;
    char *xmp;

    signed_shop_expect(shop, 0, "qpdf --qdf --object-streams=disable --decrypt CERT.pdf plain.pdf; echo done",
                       "done");
    signed_shop_expect(shop, 0, "grep -a -c '/S /GTS_PDFA1' plain.pdf", "1");
    signed_shop_expect(shop, 0, "grep -a -c '/AFRelationship /Data' plain.pdf", "3");
    xmp = signed_shop_run(shop, 0, "pdfinfo -meta CERT.pdf", "<pdfaid:part>3</pdfaid:part>");
    assert_true(paper_has(xmp, "<pdfaid:conformance>B</pdfaid:conformance>"));
    assert_true(paper_has(xmp, "Werkzeugbau für Hobeleisen"));
    assert_true(paper_has(xmp, "<xmp:CreateDate>2026-11-17T08:00:00Z</xmp:CreateDate>"));
    free(xmp);
    signed_shop_expect(shop, 0,
                       "pdfinfo -meta CERT.pdf | /usr/bin/python3 -c 'import sys, xml.dom.minidom; "
                       "xml.dom.minidom.parseString(sys.stdin.buffer.read()); print(\"xml\")'",
                       "xml");
    /* What an archive must not find: transparency, encryption, scripts, streams packed by LZW. */
    signed_shop_expect(
        shop, 1, "grep -a -E '/(SMask|CA|ca|BM|Encrypt|JavaScript|JS|LZWDecode|Launch|TR|XFA) ' plain.pdf", "");
    signed_shop_expect(shop, 0, "tail -c 400 CERT.pdf | grep -a -c '/ID \\[ <'", "1");
}

/* The colours of the profile are those of another sRGB: the corners and a grey come back within a hundredth. */
static void has_the_colours_of_srgb(void **state) {
    const struct signed_shop *shop = *state;

    signed_shop_expect(
        shop, 0,
        "/usr/bin/python3 -c \"import re, struct, zlib\n"
        "b = open('CERT.pdf', 'rb').read()\n"
        "m = re.search(rb'/N 3 /Filter /FlateDecode /Length (\\d+) >>\\nstream\\r\\n', b)\n"
        "p = zlib.decompress(b[m.end():m.end() + int(m.group(1))])\n"
        "assert struct.unpack('>I', p[:4])[0] == len(p) and p[36:40] == b'acsp'\n"
        "tags = {p[132 + 12 * i:136 + 12 * i]: struct.unpack('>II', p[136 + 12 * i:144 + 12 * i]) for i in "
        "range(struct.unpack('>I', p[128:132])[0])}\n"
        "xyz = lambda t: [v / 65536 for v in struct.unpack('>iii', p[tags[t][0] + 8:tags[t][0] + 20])]\n"
        "white = [sum(c) for c in zip(xyz(b'rXYZ'), xyz(b'gXYZ'), xyz(b'bXYZ'))]\n"
        "assert all(abs(a - b) < 1e-4 for a, b in zip(white, xyz(b'wtpt'))), white\n"
        "assert all(abs(a - b) < 1e-4 for a, b in zip(white, (0.9642, 1, 0.8249))), white\n"
        "at = tags[b'rTRC'][0]\n"
        "g, a, bb, c, d = [v / 65536 for v in struct.unpack('>5i', p[at + 12:at + 32])]\n"
        "f = lambda v: (a * v + bb) ** g if v >= d else c * v\n"
        "assert abs(f(1) - 1) < 1e-3 and abs(f(0.5) - 0.21404) < 1e-3 and abs(f(0.02) - 0.02 / 12.92) < 1e-5\n"
        "print('right')\"",
        "right");
}

/* ---- altered ---- */

static void is_judged_anew_by_its_receiver(void **state) {
    const struct signed_shop *shop = *state;
    char *said;

    /* No configuration, no ledger: nothing but the file. */
    said = signed_shop_run(shop, 0, "cd / && $K verify $OLDPWD/CERT.pdf", "all 7 follow from them");
    assert_true(paper_has(said, "29944 in 2 runs"));
    assert_true(paper_has(said, "No. 1, revision 1, for batch 1"));
    assert_true(paper_has(said, "by the certificate in the file itself"));
    free(said);
    signed_shop_expect(shop, 0, "$K verify CERT.pdf --key shop.crt", "by the key that was given");
    signed_shop_expect(shop, 0, "$K verify CERT.pdf --key shop.pub", "beside it   holds");
    signed_shop_expect(shop, 0,
                       "openssl x509 -in shop.crt -noout -pubkey > rsa.pub && $K verify CERT.pdf --key rsa.pub",
                       "by the key that was given");
    signed_shop_expect(
        shop, EX_DATAERR,
        "openssl req -x509 -newkey rsa:2048 -nodes -subj /CN=x -keyout x.key -out x.crt 2>/dev/null; $K "
        "verify CERT.pdf --key x.crt",
        "signed by another key than that of x.crt");
    signed_shop_expect(
        shop, EX_DATAERR,
        "openssl genpkey -algorithm ed25519 | openssl pkey -pubout -out y.pub; $K verify CERT.pdf --key y.pub",
        "does not hold");
    signed_shop_expect(shop, EX_DATAERR, "$K verify CERT.pdf --key CERT.pdf", "no public key");
    signed_shop_expect(shop, EX_NOINPUT, "$K verify no-such.pdf", "no-such.pdf: cannot open");
}

/* A small generator of our own, so that a failure can be played again. */
static uint32_t next(uint32_t *seed) {
    *seed = *seed * 1664525U + 1013904223U; // Numerical Recipes, "quick and dirty"
    return *seed >> 8;
}

/* One byte anywhere: in what is signed, or in the digits of the signature. The padding after them says nothing, and
 * readers may pass over a change there; ours does not. */
static void one_altered_byte_shows(void **state) {
    const struct signed_shop *shop = *state;
    uint32_t seed = 20261116;
    size_t length;
    unsigned char *bytes = signed_shop_load(shop, "CERT.pdf", &length), kept;

    for (int i = 0; i < VERIFIED_TRIALS; i++) {
        const size_t at = i < EDGE       ? (size_t)i
                          : i < 2 * EDGE ? length - 1 - (size_t)(i - EDGE)
                                         : next(&seed) % length;
        const unsigned char *contents = memmem(bytes, length, "/Contents <", 11);
        const size_t hole = (size_t)(contents - bytes);

        kept = bytes[at];
        bytes[at] = (unsigned char)(kept ^ (1U << next(&seed) % 8));
        signed_shop_store(shop, "altered.pdf", bytes, length);
        signed_shop_expect(shop, EX_DATAERR, "$K verify altered.pdf", "soakledger: altered.pdf: ");
        if (i % (VERIFIED_TRIALS / TRIALS) == 0 && (at < hole || at > hole + 10000))
            signed_shop_expect(shop, 1, "pdfsig altered.pdf | grep 'Signature is Valid'", "");
        bytes[at] = kept;
    }
    signed_shop_store(shop, "altered.pdf", bytes, length);
    signed_shop_expect(shop, 0, "$K verify altered.pdf", "holds"); // it was the byte
    free(bytes);
}

/* The last bytes of the message are RSA's own: nothing but the arithmetic can tell that they are others. */
static void altered_digits_of_the_signature_show(void **state) {
    enum { DIGITS = 8192, STEP = 97, STEPS = 7 };
    const struct signed_shop *shop = *state;
    size_t length;
    unsigned char *bytes = signed_shop_load(shop, "CERT.pdf", &length);
    unsigned char *digits = memmem(bytes, length, "/Contents <", strlen("/Contents <"));
    size_t used = DIGITS;

    assert_non_null(digits);
    digits += strlen("/Contents <");
    while (used > 0 && digits[used - 1] == '0')
        used--;
    for (size_t i = 1; i <= STEPS; i++) {
        unsigned char *at = digits + used - i * STEP;
        const unsigned char kept = *at;

        *at = kept == '7' ? '8' : '7';
        signed_shop_store(shop, "digits.pdf", bytes, length);
        signed_shop_expect(shop, EX_DATAERR, "$K verify digits.pdf",
                           "it was not made by the key of its certificate");
        *at = kept;
    }
    free(bytes);
}

static void anything_appended_shows(void **state) {
    const struct signed_shop *shop = *state;

    signed_shop_expect(shop, EX_DATAERR, "(cat CERT.pdf; echo) > more.pdf; $K verify more.pdf", "its end");
    signed_shop_expect(shop, EX_DATAERR, "head -c -1 CERT.pdf > less.pdf; $K verify less.pdf", "its end");
    /* A whole incremental update, as a reader makes that saves a comment: valid for many, not for us. */
    signed_shop_expect(
        shop, EX_DATAERR,
        "/usr/bin/python3 -c \"b = open('CERT.pdf', 'rb').read()\n"
        "at = int(b.split(b'startxref')[-1].split()[0])\n"
        "new = b'1 0 obj\\n<< /Type /Catalog >>\\nendobj\\n'\n"
        "x = len(b) + len(new)\n"
        "open('update.pdf', 'wb').write(b + new + b'xref\\n1 1\\n%010d 00000 n \\ntrailer\\n<< /Size 9 /Root 1 0 "
        "R /Prev %d >>\\nstartxref\\n%d\\n%%%%EOF\\n' % (len(b), at, x))\"; $K verify update.pdf",
        "soakledger: update.pdf: ");
    signed_shop_expect(shop, EX_DATAERR, "qpdf CERT.pdf rewritten.pdf; $K verify rewritten.pdf",
                       "not as soakledger writes a certificate");
}

/* ---- again, and anew ---- */

static void comes_out_the_same_from_the_same_ledger(void **state) {
    const struct signed_shop *shop = *state;

    /* A copy of the ledger as it was before the first certificate does not exist any more: two copies of it now. */
    signed_shop_expect(
        shop, 0,
        "for i in a b; do mkdir -p $i && sqlite3 shop.ledger \".backup $i/shop.ledger\" && sed "
        "\"s|^path = .*|path = $PWD/$i/shop.ledger|\" shop.conf > $i/shop.conf && $K -c $i/shop.conf "
        "certificate 1 --why 'a twin' -o $i/c.pdf || exit 9; done; cmp a/c.pdf b/c.pdf && cmp a/c.pdf.sig "
        "b/c.pdf.sig && echo same",
        "same");
}

static void is_printed_again_byte_for_byte(void **state) {
    const struct signed_shop *shop = *state;

    signed_shop_expect(shop, 0, "$S certificate 1 --revision 1 -o again.pdf", "as it was issued");
    signed_shop_expect(shop, 0, "cmp CERT.pdf again.pdf && cmp CERT.pdf.sig again.pdf.sig && echo same", "same");
    /* Neither the key nor the shop's name makes a difference. */
    signed_shop_expect(
        shop, 0,
        "sed 's/^key = .*//; s/^name = .*/name = Another/; s/^utc_offset.*//' shop.conf > other.conf && $K -c "
        "other.conf certificate 1 --revision 1 -o other.pdf && cmp CERT.pdf other.pdf && echo same",
        "same");
    signed_shop_expect(shop, EX_NOINPUT, "$S certificate 1 --revision 9", "there is no revision 9: batch 1 has 1");
    signed_shop_expect(shop, EX_NOINPUT, "$S certificate 4 --revision 1", "batch 4");
    signed_shop_expect(shop, EX_USAGE, "$S certificate 1 --revision 1 --why x", "expected no --why");
}

/* Somebody who can write the file falsifies one reading behind the triggers' back. */
static void a_falsified_reading_shows_in_a_reprint(void **state) {
    const struct signed_shop *shop = *state;

    signed_shop_expect(
        shop, EX_DATAERR,
        "mkdir -p false && sqlite3 shop.ledger '.backup false/shop.ledger' && sqlite3 false/shop.ledger "
        "\"DROP TRIGGER reading_unchanged; UPDATE reading SET value = value + 1 WHERE channel_id "
        "= 4 AND t_ms = (SELECT begun_ms FROM run WHERE run_id = 1)\" && sed \"s|^path = .*|path = "
        "$PWD/false/shop.ledger|\" shop.conf > false/shop.conf && $K -c false/shop.conf certificate 1 "
        "--revision 1 -o false/c.pdf",
        "does not come out as it was issued");
    signed_shop_expect(shop, 0, "ls false", "shop.ledger");
    signed_shop_expect(shop, 1, "ls false | grep pdf", ""); // nothing half made is left
}

static void says_what_changed_and_why(void **state) {
    const struct signed_shop *shop = *state;
    char *said;

    signed_shop_expect(shop, EX_USAGE, "$S certificate 1 -o second.pdf", "expected --why TEXT");
    signed_shop_expect(shop, EX_USAGE, "$S certificate 1 --why ' ' -o second.pdf", "--why is empty");
    signed_shop_expect(shop, 0, "$S claim 2 none && $S batch close 1", "");
    signed_shop_expect(shop, 0, "$S certificate 1 --why 'run 2 was another charge' --by 'day shift' -o second.pdf",
                       "revision 2");
    said = signed_shop_run(shop, 0, "pdftotext second.pdf - | tr '\\n' ' '", "run 2 was another charge");
    assert_true(paper_has(said, "It follows certificate 1, which stays valid as a record"));
    assert_true(paper_has(said, "temper first, outcome: was \"met\", is now \"not proven\""));
    assert_true(paper_has(said, "temper first, soak time, at least: was met (1 h 07 min), is now not proven"));
    assert_true(paper_has(said, "closed: was nothing, is now 2026-11-17 08:00:00 UTC"));
    assert_true(paper_has(said, "run 2: no longer there"));
    free(said);
    signed_shop_expect(shop, 0, "$K verify second.pdf", "No. 2, revision 2");
    signed_shop_expect(shop, 0,
                       "sqlite3 shop.ledger 'SELECT why, said_by FROM certificate_in_words WHERE number = 2'",
                       "run 2 was another charge|day shift");
    /* The first is still what it was. */
    signed_shop_expect(shop, 0, "$S certificate 1 --revision 1 -o first.pdf && cmp first.pdf CERT.pdf && echo same",
                       "same");
    signed_shop_expect(shop, 0, "$S certificate 1 --revision 2 -o two.pdf && cmp two.pdf second.pdf && echo same",
                       "same");
    /* Once more, with nothing changed. */
    signed_shop_expect(shop, 0,
                       "$S certificate 1 --why 'got wet' -o third.pdf && pdftotext third.pdf - | tr '\\n' ' '",
                       "Nothing that it says has changed.");
}

static void without_readings_nobody_else_can_judge(void **state) {
    const struct signed_shop *shop = *state;

    signed_shop_expect(shop, 0,
                       "$S certificate 1 --why small --without-readings -o small.pdf && pdfdetach -list small.pdf",
                       "1 embedded files");
    signed_shop_expect(shop, 0, "pdftotext small.pdf - | tr '\\n' ' '", "nobody but the shop can judge them anew");
    signed_shop_expect(shop, EX_DATAERR, "$K verify small.pdf", "the readings of run 1 are not attached to it");
    signed_shop_expect(shop, EX_DATAERR, "$K verify small.pdf", "holds");
    signed_shop_expect(shop, 0,
                       "n=$(sqlite3 shop.ledger 'SELECT max(revision) FROM certificate'); $S certificate 1 "
                       "--revision $n -o again.pdf && cmp again.pdf small.pdf && echo same",
                       "same");
}

static void without_a_key_it_says_so(void **state) {
    const struct signed_shop *shop = *state;

    signed_shop_expect(
        shop, 0,
        "sed 's/^key = .*//' shop.conf > bare.conf && $K -c bare.conf certificate 1 --why 'no key' -o bare.pdf",
        "not signed: no key in [shop]");
    signed_shop_expect(shop, 0, "test ! -e bare.pdf.sig && pdftotext bare.pdf - | tr '\\n' ' '", "is not signed");
    signed_shop_expect(shop, EX_DATAERR, "$K verify bare.pdf", "not signed: nothing shows whether it was altered");
    signed_shop_expect(shop, EX_DATAERR, "$K verify bare.pdf", "verdicts");
    signed_shop_expect(
        shop, EX_NOINPUT,
        "sed 's|^key = .*|key = /tmp/soakledger-no-such.key|' shop.conf > lost.conf && $K -c lost.conf "
        "certificate 1 --why x -o lost.pdf",
        "cannot open the signing key");
    signed_shop_expect(shop, 1, "ls | grep lost.pdf", "");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(opens_in_readers_that_are_not_ours),
        cmocka_unit_test(is_signed_as_readers_of_pdf_expect),
        cmocka_unit_test(prints_how_it_is_checked),
        cmocka_unit_test(carries_evidence_that_strangers_can_read),
        cmocka_unit_test(is_built_for_the_archive),
        cmocka_unit_test(has_the_colours_of_srgb),
        cmocka_unit_test(is_judged_anew_by_its_receiver),
        cmocka_unit_test(one_altered_byte_shows),
        cmocka_unit_test(altered_digits_of_the_signature_show),
        cmocka_unit_test(anything_appended_shows),
        cmocka_unit_test(is_printed_again_byte_for_byte),
        cmocka_unit_test(comes_out_the_same_from_the_same_ledger),
        cmocka_unit_test(a_falsified_reading_shows_in_a_reprint),
        cmocka_unit_test(says_what_changed_and_why),
        cmocka_unit_test(without_readings_nobody_else_can_judge),
        cmocka_unit_test(without_a_key_it_says_so),
    };

    return cmocka_run_group_tests(tests, begin, signed_shop_end);
}
