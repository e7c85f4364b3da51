// SPDX-License-Identifier: MIT
#include <openssl/evp.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/page.h"
#include "soakledger/pdf.h"
#include "soakledger/version.h"

/* The same pages have the same id, so that a sheet drawn again is the same file. */
static struct pdf_about archive_about(const struct page_about *said, const unsigned char *pages, size_t length) {
    struct pdf_about about = {.title = said->title,
                              .author = said->author,
                              .program = "soakledger " SOAKLEDGER_VERSION,
                              .reason = "",
                              .made_ms = said->made_ms};
    unsigned char digest[EVP_MAX_MD_SIZE];

    EVP_Digest(pages, length, digest, NULL, EVP_sha256(), NULL);
    memcpy(about.id, digest, sizeof about.id);
    return about;
}

static int archive_read_back(FILE *file, unsigned char **bytes, size_t *length, struct fault *fault) {
    const long size = fseek(file, 0, SEEK_END) == 0 ? ftell(file) : -1;

    *bytes = size > 0 ? malloc((size_t)size) : NULL;
    if (*bytes == NULL || fseek(file, 0, SEEK_SET) != 0 || fread(*bytes, 1, (size_t)size, file) != (size_t)size) {
        free(*bytes);
        *bytes = NULL;
        return fault_set(fault, EX_IOERR, "cannot put a sheet together in a file of passage");
    }
    *length = (size_t)size;
    return 0;
}

int page_finish_file(struct page_document *document, unsigned char **bytes, size_t *length, struct fault *fault) {
    struct pdf_places places;
    struct pdf_about about;
    unsigned char *pages;
    size_t pages_length;
    FILE *file;
    int result;

    if (page_finish(document, &pages, &pages_length, fault) != 0)
        return -1;
    file = tmpfile();
    if (file == NULL) {
        free(pages);
        return fault_set_errno(fault, EX_CANTCREAT, "cannot make a file of passage");
    }
    about = archive_about(page_said(document), pages, pages_length);
    result = pdf_write(file, pages, pages_length, &about, NULL, 0, 0, NULL, &places, fault);
    free(pages);
    if (result == 0)
        result = archive_read_back(file, bytes, length, fault);
    fclose(file);
    return result;
}
