// SPDX-License-Identifier: MIT
/* Bytes, strings, streams and objects on their way into a file. */
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <zlib.h>

#include "pdf_parts.h"
#include "soakledger/words.h"

enum { MS_PER_S = 1000, LINE_BYTES = 1024, COPY_BYTES = 65536, BEYOND_PLANE_ZERO = 0x10000 };

int pdf_out_open(struct pdf_out *out, FILE *file, size_t most, struct fault *fault) {
    *out = (struct pdf_out){.file = file, .capacity = most + 1};
    out->offsets = calloc(out->capacity, sizeof *out->offsets);
    return out->offsets != NULL ? 0 : fault_set(fault, EX_OSERR, "not enough memory for %zu objects", most);
}

void pdf_out_close(struct pdf_out *out) {
    free(out->offsets);
    out->offsets = NULL;
}

/* A failed write shows in ferror at the end. */
void pdf_put(struct pdf_out *out, const void *bytes, size_t length) {
    fwrite(bytes, 1, length, out->file);
    out->at += (int64_t)length;
}

void pdf_print(struct pdf_out *out, const char *format, ...) {
    char line[LINE_BYTES];
    va_list arguments;
    int length;

    va_start(arguments, format);
    length = vsnprintf(line, sizeof line, format, arguments);
    va_end(arguments);
    pdf_put(out, line, length < (int)sizeof line ? (size_t)length : sizeof line - 1);
}

/* ---- strings ---- */

/* The code point at `text`, whose length in bytes words_character knows; what is no UTF-8 is U+FFFD. */
static unsigned long pdf_character(const char *text, size_t bytes) {
    static const unsigned char lead[] = {0, 0x7F, 0x1F, 0x0F, 0x07}; // RFC 3629: data bits of a lead byte
    unsigned long code;

    if (bytes == 1 && (unsigned char)text[0] > lead[1])
        return 0xFFFD;
    code = (unsigned char)text[0] & lead[bytes];
    for (size_t i = 1; i < bytes; i++)
        code = code << 6 | ((unsigned char)text[i] & 0x3FU); // six bits in each that follows
    return code;
}

void pdf_put_text(struct pdf_out *out, const char *text) {
    pdf_print(out, "<FEFF");
    for (size_t bytes; (bytes = words_character(text)) != 0; text += bytes) {
        const unsigned long code = pdf_character(text, bytes);

        if (code >= BEYOND_PLANE_ZERO) // RFC 2781: as two halves
            pdf_print(out, "%04lX%04lX", 0xD800 + ((code - BEYOND_PLANE_ZERO) >> 10),
                      0xDC00 + ((code - BEYOND_PLANE_ZERO) & 0x3FF));
        else
            pdf_print(out, "%04lX", code);
    }
    pdf_print(out, ">");
}

void pdf_put_date(struct pdf_out *out, int64_t t_ms) {
    const time_t seconds = (time_t)(t_ms / MS_PER_S);
    char text[LINE_BYTES] = "";
    struct tm parts;

    if (gmtime_r(&seconds, &parts) != NULL)
        strftime(text, sizeof text, "(D:%Y%m%d%H%M%SZ)", &parts);
    pdf_print(out, "%s", text);
}

/* ---- objects ---- */

void pdf_begin(struct pdf_out *out, size_t object) {
    if (object < out->capacity)
        out->offsets[object] = out->at;
    pdf_print(out, "%zu 0 obj\n", object);
}

void pdf_end(struct pdf_out *out) {
    pdf_print(out, "endobj\n");
}

int pdf_put_stream(struct pdf_out *out, size_t object, const char *entries, const void *bytes, size_t length,
                   bool plain, struct fault *fault) {
    uLongf packed_bytes = compressBound(length);
    unsigned char *packed = plain ? NULL : malloc(packed_bytes);

    if (!plain && (packed == NULL || compress2(packed, &packed_bytes, bytes, length, Z_BEST_COMPRESSION) != Z_OK)) {
        free(packed);
        return fault_set(fault, EX_OSERR, "not enough memory to pack %zu bytes", length);
    }
    pdf_begin(out, object);
    pdf_print(out, "<< %s%s/Length %zu >>\nstream\r\n", entries, plain ? "" : "/Filter /FlateDecode ",
              plain ? length : (size_t)packed_bytes);
    pdf_put(out, plain ? bytes : packed, plain ? length : (size_t)packed_bytes);
    pdf_print(out, "\nendstream\n");
    pdf_end(out);
    free(packed);
    return 0;
}

/* ---- attached files ---- */

static void pdf_copy(struct pdf_out *out, FILE *from, long at, int64_t length) {
    unsigned char buffer[COPY_BYTES];

    if (fseek(from, at, SEEK_SET) != 0)
        return;
    while (length > 0) {
        const size_t want = length < COPY_BYTES ? (size_t)length : COPY_BYTES;
        const size_t got = fread(buffer, 1, want, from);

        if (got == 0)
            return; // the length then differs, which pdf_write looks at
        pdf_put(out, buffer, got);
        length -= (int64_t)got;
    }
}

/* A name's characters that are not regular stand as #XX (ISO 32000-1, 7.3.5). */
static void pdf_put_name(struct pdf_out *out, const char *name) {
    pdf_print(out, "/");
    for (; *name != '\0'; name++)
        pdf_print(out, strchr("/#()<>[]{}% ", *name) != NULL ? "#%02X" : "%c", (unsigned char)*name);
}

void pdf_put_file(struct pdf_out *out, size_t object, const struct pdf_file *file, int64_t made_ms) {
    pdf_begin(out, object);
    pdf_print(out, "<< /Type /EmbeddedFile /Subtype ");
    pdf_put_name(out, file->mime);
    pdf_print(out, " /Params << /Size %lld /ModDate ", (long long)file->plain_bytes);
    pdf_put_date(out, made_ms);
    pdf_print(out, " >> /Filter /FlateDecode /Length %lld >>\nstream\r\n", (long long)file->packed_bytes);
    if (file->packed != NULL)
        pdf_put(out, file->packed, (size_t)file->packed_bytes);
    else
        pdf_copy(out, file->stream, file->packed_from, file->packed_bytes);
    pdf_print(out, "\nendstream\n");
    pdf_end(out);
}

int pdf_write_file(FILE *file_out, const struct pdf_file *file, int64_t object, int64_t made_ms,
                   struct fault *fault) {
    struct pdf_out out = {.file = file_out};

    pdf_put_file(&out, (size_t)object, file, made_ms);
    return ferror(file_out) ? fault_set_errno(fault, EX_IOERR, "cannot write an attached file") : 0;
}
