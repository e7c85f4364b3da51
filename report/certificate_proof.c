// SPDX-License-Identifier: MIT
/* What a certificate says of itself: what it replaces and why, and how a stranger checks it. */
#include <stdio.h>

#include "certificate_parts.h"
#include "soakledger/ink.h"

static const float TEXT_THAT_FOLLOWS = 40, TYPED_LEADING = 10.5F;

void certificate_revision(struct certificate *certificate) {
    const struct certificate_about *about = &certificate->about;
    char text[CERTIFICATE_LINE_BYTES];

    if (about->replaces == 0)
        return;
    certificate_section(certificate, "changes", "What changed since the certificate before", TEXT_THAT_FOLLOWS);
    snprintf(text, sizeof text,
             "This is revision %lld for this batch. It follows certificate %lld, which stays valid as a record of "
             "what was known then. Why it is issued anew:",
             (long long)certificate->issue->revision, (long long)about->replaces);
    sheet_plain(&certificate->sheet, text);
    sheet_plain(&certificate->sheet, about->why);
    for (size_t i = 0; i < about->change_count; i++) {
        snprintf(text, sizeof text, "· %s", about->changes[i]);
        sheet_plain(&certificate->sheet, text);
    }
    if (about->change_count == 0)
        sheet_plain(&certificate->sheet, "Nothing that it says has changed.");
}

void certificate_proof(struct certificate *certificate) {
    const struct page_type typed = {PAGE_MONO, 7.25F, INK_TEXT};
    const struct certificate_about *about = &certificate->about;

    if (about->proof_count == 0)
        return;
    certificate_section(certificate, "verification", "How to check this certificate", TEXT_THAT_FOLLOWS);
    for (size_t i = 0; i < about->proof_count; i++) {
        if (about->proof[i].is_typed)
            sheet_paragraph(&certificate->sheet, &typed, TYPED_LEADING, about->proof[i].text);
        else
            sheet_plain(&certificate->sheet, about->proof[i].text);
    }
}
