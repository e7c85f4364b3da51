// SPDX-License-Identifier: MIT
#include "soakledger/proof.h"

#include <stdarg.h>
#include <stdio.h>

struct proof {
    struct proof_line *lines;
    size_t count;
};

__attribute__((format(printf, 3, 4))) static void proof_add(struct proof *proof, bool is_typed, const char *format,
                                                            ...) {
    struct proof_line *line = &proof->lines[proof->count];
    va_list arguments;

    if (proof->count == PROOF_MOST_LINES)
        return;
    line->is_typed = is_typed;
    va_start(arguments, format);
    vsnprintf(line->text, sizeof line->text, format, arguments);
    va_end(arguments);
    proof->count++;
}

size_t proof_write(const struct key *key, bool has_readings, struct proof_line lines[PROOF_MOST_LINES]) {
    struct proof proof = {lines, 0};

    if (key == NULL) {
        proof_add(&proof, false,
                  "This certificate is not signed: nothing in the file shows whether it was altered.");
    } else {
        proof_add(
            &proof, false,
            "The file is signed. Ask the shop itself for its two public files, not whoever sent you this one.");
        proof_add(&proof, false, "The signature inside the file, in any reader that shows signatures, or:");
        proof_add(&proof, true, "pdfsig CERT.pdf");
        proof_add(&proof, false, "must name the certificate shop.crt, whose SHA-256 is");
        proof_add(&proof, true, "%s", key_certificate_fingerprint(key));
        proof_add(&proof, false, "The signature beside the file, CERT.pdf.sig, by the key shop.pub:");
        proof_add(&proof, true,
                  "openssl pkeyutl -verify -rawin -pubin -inkey shop.pub -sigfile CERT.pdf.sig -in CERT.pdf");
        proof_add(&proof, false, "The SHA-256 of shop.pub (openssl pkey -pubin -in shop.pub -outform DER) is");
        proof_add(&proof, true, "%s", key_public_fingerprint(key));
    }
    if (has_readings) {
        proof_add(&proof, false,
                  "Readings, plan and verdicts are attached. To judge them anew, without the shop's ledger:");
        proof_add(&proof, true, "soakledger verify CERT.pdf --key shop.crt");
    } else {
        proof_add(&proof, false,
                  "The readings are not attached: nobody but the shop can judge them anew. Plan and verdicts are.");
    }
    return proof.count;
}
