// SPDX-License-Identifier: MIT
/* Any bytes as a certificate: a refusal is one line. Fuzzers do not find their way through a table of offsets, so
 * what they give stands, with their first byte's leave, in an object of a file that is built as it should be. */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/recheck.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

enum { MOST_OBJECTS = 12 };
static const char OBJECT_END[] = "endobj\n";

static void demand(int holds) {
    if (!holds)
        abort();
}

static void check(const unsigned char *bytes, size_t length) {
    struct recheck check;
    struct fault fault = {0, ""};
    const int result = recheck_certificate(bytes, length, &check, &fault);

    demand(result == 0 || ((fault.status == EX_DATAERR || fault.status == EX_OSERR) && fault.text[0] != '\0' &&
                           strchr(fault.text, '\n') == NULL));
    recheck_release(&check);
}

/* Objects that each end in "endobj", with header, table and trailer as ours have them. */
static void wrap(const uint8_t *data, size_t size) {
    size_t offsets[MOST_OBJECTS + 1] = {0}, count = 0, length = 0, table_at;
    char *bytes = NULL;
    FILE *out = open_memstream(&bytes, &length);

    demand(out != NULL);
    fputs("%PDF-1.7\n%\xE2\xE3\xCF\xD3\n", out);
    while (size > 0 && count < MOST_OBJECTS) {
        const uint8_t *end = memmem(data, size, OBJECT_END, strlen(OBJECT_END));
        const size_t part = end != NULL && count + 1 < MOST_OBJECTS ? (size_t)(end - data) : size;
        const size_t step = part < size ? part + strlen(OBJECT_END) : part;

        offsets[++count] = (size_t)ftell(out);
        fprintf(out, "%zu 0 obj\n", count);
        fwrite(data, 1, part, out);
        fputs(OBJECT_END, out);
        data += step;
        size -= step;
    }
    table_at = (size_t)ftell(out);
    fprintf(out, "xref\n0 %zu\n0000000000 65535 f \n", count + 1);
    for (size_t i = 1; i <= count; i++)
        fprintf(out, "%010zu 00000 n \n", offsets[i]);
    fprintf(out,
            "trailer\n<< /Size %zu /Root 1 0 R /Info 2 0 R /ID [ <00000000000000000000000000000000> "
            "<00000000000000000000000000000000> ] >>\nstartxref\n%zu\n%%%%EOF\n",
            count + 1, table_at);
    demand(fclose(out) == 0);
    check((const unsigned char *)bytes, length);
    free(bytes);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    if (size > 0 && data[0] == '%')
        check(data, size);
    else if (size > 1)
        wrap(data + 1, size - 1);
    return 0;
}
