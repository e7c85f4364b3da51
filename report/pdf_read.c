// SPDX-License-Identifier: MIT
#include "pdf_read.h"

#include <stdlib.h>
#include <string.h>

enum {
    TABLE_LINE_BYTES = 20,
    OFFSET_DIGITS = 10,
    NUMBER_DIGITS_MOST = 15,
    MOST_OBJECTS = 100000,
    DEPTH_MOST = 16,
    ID_DIGITS = 2 * PDF_ID_BYTES,
    END_BYTES = 64 // more than "startxref", a number and "%%EOF" take
};
static const char HEADER[] = "%PDF-1.7\n%\xE2\xE3\xCF\xD3\n";
static const char NOT_OURS[] = "not as soakledger writes a certificate, or altered: ";

static int read_refuse(struct fault *fault, const char *what) {
    return fault_set(fault, EX_DATAERR, "%s%s", NOT_OURS, what);
}

/* ---- bytes ---- */

static bool span_begins(struct pdf_span span, const char *text) {
    return span.length >= strlen(text) && memcmp(span.from, text, strlen(text)) == 0;
}

static struct pdf_span span_after(struct pdf_span span, size_t bytes) {
    return (struct pdf_span){span.from + bytes, span.length - bytes};
}

/* Takes `text` off the beginning. */
static bool take_text(struct pdf_span *span, const char *text) {
    if (!span_begins(*span, text))
        return false;
    *span = span_after(*span, strlen(text));
    return true;
}

static bool take_number(struct pdf_span *span, int64_t *number) {
    size_t digits = 0;

    *number = 0;
    while (digits < span->length && digits < NUMBER_DIGITS_MOST && span->from[digits] >= '0' &&
           span->from[digits] <= '9')
        *number = *number * 10 + (span->from[digits++] - '0');
    *span = span_after(*span, digits);
    return digits > 0;
}

int64_t pdf_read_number(struct pdf_span span) {
    int64_t number;

    return take_number(&span, &number) && span.length == 0 ? number : -1;
}

/* ---- the table ---- */

/* "startxref\nN\n%%EOF\n" is the end of the file. */
static int64_t read_table_at(const struct pdf_read *read) {
    const size_t from = read->length > END_BYTES ? read->length - END_BYTES : 0;
    struct pdf_span end = {read->bytes + from, read->length - from};
    int64_t table_at;

    end = span_after(end, pdf_span_find(end, "startxref\n"));
    return take_text(&end, "startxref\n") && take_number(&end, &table_at) && take_text(&end, "\n%%EOF\n") &&
                   end.length == 0
               ? table_at
               : -1;
}

static bool take_hex(struct pdf_span *span, size_t digits) {
    for (size_t i = 0; i < digits; i++)
        if (i >= span->length || strchr("0123456789abcdef", span->from[i]) == NULL || span->from[i] == '\0')
            return false;
    *span = span_after(*span, digits);
    return true;
}

static bool read_trailer(struct pdf_read *read, struct pdf_span *span) {
    int64_t size, root, info;

    if (!take_text(span, "trailer\n<< /Size ") || !take_number(span, &size) || !take_text(span, " /Root ") ||
        !take_number(span, &root) || !take_text(span, " 0 R /Info ") || !take_number(span, &info) ||
        !take_text(span, " 0 R /ID [ <") || !take_hex(span, ID_DIGITS) || !take_text(span, "> <") ||
        !take_hex(span, ID_DIGITS) || !take_text(span, "> ] >>\nstartxref\n"))
        return false;
    read->root = (size_t)root;
    return size == (int64_t)read->count && root > 0 && root < size;
}

static int read_table(struct pdf_read *read, size_t table_at, int64_t *offsets, struct fault *fault) {
    struct pdf_span span = {read->bytes + table_at, read->length - table_at};
    int64_t count = 0;

    take_text(&span, "xref\n0 ");
    take_number(&span, &count);
    take_text(&span, "\n0000000000 65535 f \n");
    for (size_t i = 1; i < read->count; i++) {
        struct pdf_span line = span;

        if (span.length < TABLE_LINE_BYTES || !take_number(&line, &offsets[i]) ||
            line.from != span.from + OFFSET_DIGITS || !take_text(&line, " 00000 n \n"))
            return read_refuse(fault, "a line of its table");
        span = line;
    }
    return read_trailer(read, &span) ? 0 : read_refuse(fault, "its trailer");
}

/* ---- objects ---- */

struct placed {
    int64_t offset;
    size_t number;
};

static int compare_placed(const void *a, const void *b) {
    const struct placed *x = a, *y = b;

    return (x->offset > y->offset) - (x->offset < y->offset);
}

/* Every byte between header and table belongs to exactly one object. */
static int read_objects(struct pdf_read *read, size_t table_at, const struct placed *placed, struct fault *fault) {
    size_t expected = strlen(HEADER);

    for (size_t i = 0; i + 1 < read->count; i++) {
        const size_t end = i + 2 < read->count ? (size_t)placed[i + 1].offset : table_at;
        struct pdf_span span;
        int64_t number;

        if ((size_t)placed[i].offset != expected || end <= expected || end > table_at)
            return read_refuse(fault, "its objects do not follow each other");
        span = (struct pdf_span){read->bytes + expected, end - expected};
        if (!take_number(&span, &number) || number != (int64_t)placed[i].number || !take_text(&span, " 0 obj\n") ||
            span.length < strlen("endobj\n") ||
            memcmp(span.from + span.length - strlen("endobj\n"), "endobj\n", strlen("endobj\n")) != 0)
            return fault_set(fault, EX_DATAERR, "%sobject %zu", NOT_OURS, placed[i].number);
        span.length -= strlen("endobj\n");
        read->objects[number] = span;
        expected = end;
    }
    return expected == table_at ? 0 : read_refuse(fault, "something stands before its table");
}

static int read_all(struct pdf_read *read, size_t table_at, struct fault *fault) {
    int64_t *offsets = calloc(read->count + 1, sizeof *offsets);
    struct placed *placed = calloc(read->count + 1, sizeof *placed);
    int result = -1;

    read->objects = calloc(read->count + 1, sizeof *read->objects);
    if (offsets == NULL || placed == NULL || read->objects == NULL) {
        fault_set(fault, EX_OSERR, "not enough memory for %zu objects", read->count);
    } else if (read_table(read, table_at, offsets, fault) == 0) {
        for (size_t i = 1; i < read->count; i++)
            placed[i - 1] = (struct placed){offsets[i], i};
        qsort(placed, read->count - 1, sizeof *placed, compare_placed);
        result = read_objects(read, table_at, placed, fault);
    }
    free(offsets);
    free(placed);
    return result;
}

int pdf_read_open(struct pdf_read *read, const unsigned char *bytes, size_t length, struct fault *fault) {
    struct pdf_span table;
    int64_t table_at, count;

    *read = (struct pdf_read){.bytes = bytes, .length = length};
    if (!span_begins((struct pdf_span){bytes, length}, "%PDF-"))
        return fault_set(fault, EX_DATAERR, "no PDF");
    if (!span_begins((struct pdf_span){bytes, length}, HEADER))
        return read_refuse(fault, "its header");
    table_at = read_table_at(read);
    if (table_at < (int64_t)strlen(HEADER) || (size_t)table_at >= length)
        return read_refuse(fault, "its end");
    table = (struct pdf_span){bytes + table_at, length - (size_t)table_at};
    if (!take_text(&table, "xref\n0 ") || !take_number(&table, &count) || count < 2 || count > MOST_OBJECTS ||
        !take_text(&table, "\n0000000000 65535 f \n"))
        return read_refuse(fault, "its table");
    read->count = (size_t)count;
    if (read_all(read, (size_t)table_at, fault) == 0)
        return 0;
    pdf_read_close(read);
    return -1;
}

void pdf_read_close(struct pdf_read *read) {
    free(read->objects);
    read->objects = NULL;
}

/* ---- values ---- */

static bool is_space(unsigned char byte) {
    return byte == ' ' || byte == '\n' || byte == '\r' || byte == '\t';
}

static size_t skip_spaces(struct pdf_span span, size_t at) {
    while (at < span.length && is_space(span.from[at]))
        at++;
    return at;
}

/* The end of a string in parentheses that begins at `at`. */
static size_t skip_string(struct pdf_span span, size_t at) {
    int depth = 0;

    for (; at < span.length; at++) {
        if (span.from[at] == '\\')
            at++;
        else if (span.from[at] == '(')
            depth++;
        else if (span.from[at] == ')' && --depth == 0)
            return at + 1;
    }
    return span.length;
}

/* A name, number or word: up to white space or the beginning of something else. */
static size_t skip_word(struct pdf_span span, size_t at) {
    at++;
    while (at < span.length && !is_space(span.from[at]) && strchr("()<>[]/", span.from[at]) == NULL)
        at++;
    return at;
}

/* The end of whatever begins at `at`: dictionaries and arrays with all that is in them. */
static size_t skip_value(struct pdf_span span, size_t at) {
    int depth = 0;

    do {
        at = skip_spaces(span, at);
        if (at >= span.length)
            return span.length;
        if (span_begins(span_after(span, at), "<<") || span.from[at] == '[') {
            at += span.from[at] == '[' ? 1 : 2;
            if (++depth > DEPTH_MOST)
                return span.length;
        } else if (span_begins(span_after(span, at), ">>") || span.from[at] == ']') {
            at += span.from[at] == ']' ? 1 : 2;
            depth--;
        } else if (span.from[at] == '(') {
            at = skip_string(span, at);
        } else if (span.from[at] == '<') {
            const unsigned char *end = memchr(span.from + at, '>', span.length - at);

            at = end != NULL ? (size_t)(end - span.from) + 1 : span.length;
        } else {
            at = skip_word(span, at);
        }
    } while (depth > 0);
    return at;
}

/* The end of the value of a key: up to the next key, so that "5 0 R" is one. */
static size_t skip_to_key(struct pdf_span span, size_t at) {
    at = skip_value(span, at);
    while (at < span.length) {
        const size_t next = skip_spaces(span, at);

        if (next >= span.length || span.from[next] == '/' || span.from[next] == '>')
            return at;
        at = skip_value(span, next);
    }
    return at;
}

struct pdf_span pdf_read_value(struct pdf_span span, const char *key) {
    const struct pdf_span none = {span.from, 0};
    size_t at = skip_spaces(span, 0);

    if (!span_begins(span_after(span, at), "<<"))
        return none;
    at += 2;
    for (;;) {
        size_t name, value, end;

        name = skip_spaces(span, at);
        if (name >= span.length || span.from[name] != '/')
            return none;
        value = skip_word(span, name);
        end = skip_to_key(span, value);
        if (value - name == strlen(key) && memcmp(span.from + name, key, value - name) == 0) {
            value = skip_spaces(span, value);
            return value < end ? (struct pdf_span){span.from + value, end - value} : none;
        }
        at = end;
    }
}

size_t pdf_read_reference(const struct pdf_read *read, struct pdf_span span) {
    int64_t number;

    if (!take_number(&span, &number) || !take_text(&span, " 0 R") || span.length != 0 || number < 1 ||
        number >= (int64_t)read->count)
        return 0;
    return (size_t)number;
}
