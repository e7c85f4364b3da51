// SPDX-License-Identifier: MIT
/* Takes apart what libharu wrote: a file of our own program, so whatever is not as libharu writes it is a fault of
 * the program and no input of anybody's. */
#include <stdlib.h>
#include <string.h>

#include "pdf_parts.h"

enum { MOST_OBJECTS = 1000000, DIGITS_MOST = 20 };

static int pdf_take_fail(struct fault *fault, const char *what) {
    return fault_set(fault, EX_SOFTWARE, "libharu's file is not as expected: %s", what);
}

size_t pdf_span_find(struct pdf_span span, const char *text) {
    const unsigned char *at = span.length > 0 ? memmem(span.from, span.length, text, strlen(text)) : NULL;

    return at != NULL ? (size_t)(at - span.from) : span.length;
}

bool pdf_span_has(struct pdf_span span, const char *text) {
    return pdf_span_find(span, text) < span.length;
}

/* A number at an offset, white space before it allowed; -1 if there is none. */
static int64_t pdf_number_at(struct pdf_span span, size_t at) {
    int64_t number = 0;
    size_t digits = 0;

    while (at < span.length && strchr(" \r\n", span.from[at]) != NULL)
        at++;
    for (; at < span.length && span.from[at] >= '0' && span.from[at] <= '9' && digits < DIGITS_MOST - 2; at++) {
        number = number * 10 + (span.from[at] - '0');
        digits++;
    }
    return digits > 0 ? number : -1;
}

/* The number after a key, -1 without it. */
static int64_t pdf_number_after(struct pdf_span span, const char *key) {
    const size_t at = pdf_span_find(span, key);

    return at < span.length ? pdf_number_at(span, at + strlen(key)) : -1;
}

static size_t pdf_find_last(const unsigned char *bytes, size_t length, const char *text) {
    const size_t size = strlen(text);

    for (size_t at = length >= size ? length - size + 1 : 0; at > 0; at--)
        if (memcmp(bytes + at - 1, text, size) == 0)
            return at - 1;
    return length;
}

/* The table: a line "xref", a line "0 N", a line for object 0, which is none, then a line an object. */
static int pdf_take_objects(struct pdf_taken *taken, const unsigned char *bytes, struct pdf_span table,
                            struct fault *fault) {
    enum { LINES_BEFORE = 2 };
    size_t at = 0;

    for (size_t line = 0; line < taken->count + LINES_BEFORE; line++) {
        const unsigned char *next = memchr(table.from + at, '\n', table.length - at);

        if (next == NULL)
            return pdf_take_fail(fault, "its table ends early");
        if (line > LINES_BEFORE) {
            const int64_t offset = pdf_number_at(table, at);

            if (offset <= 0 || offset >= table.from - bytes)
                return pdf_take_fail(fault, "an object lies outside");
            taken->objects[line - LINES_BEFORE].from = bytes + offset;
        }
        at = (size_t)(next - table.from) + 1;
    }
    return 0;
}

/* Objects stand in the order of their numbers, one after another up to the table. */
static int pdf_measure_objects(struct pdf_taken *taken, const unsigned char *table, struct fault *fault) {
    char head[DIGITS_MOST + sizeof " 0 obj"];

    for (size_t i = 1; i < taken->count; i++) {
        const unsigned char *end = i + 1 < taken->count ? taken->objects[i + 1].from : table;
        struct pdf_span *object = &taken->objects[i];

        snprintf(head, sizeof head, "%zu 0 obj", i);
        if (object->from == NULL || end <= object->from || (size_t)(end - object->from) < strlen(head) ||
            memcmp(object->from, head, strlen(head)) != 0)
            return pdf_take_fail(fault, "its objects are not in order");
        object->length = (size_t)(end - object->from);
    }
    return 0;
}

int pdf_take(struct pdf_taken *taken, const unsigned char *bytes, size_t length, struct fault *fault) {
    const struct pdf_span whole = {bytes, length};
    const size_t pointer = pdf_find_last(bytes, length, "startxref");
    const int64_t table_at = pointer < length ? pdf_number_at(whole, pointer + strlen("startxref")) : -1;
    struct pdf_span table, trailer, pages;
    int64_t size, root, info, tree, page;

    memset(taken, 0, sizeof *taken);
    if (table_at <= 0 || (size_t)table_at >= pointer)
        return pdf_take_fail(fault, "it has no table");
    table = (struct pdf_span){bytes + table_at, pointer - (size_t)table_at};
    trailer = (struct pdf_span){table.from + pdf_span_find(table, "trailer"),
                                table.length - pdf_span_find(table, "trailer")};
    size = pdf_number_after(trailer, "/Size");
    root = pdf_number_after(trailer, "/Root");
    info = pdf_number_after(trailer, "/Info");
    if (size < 2 || size > MOST_OBJECTS || root < 1 || root >= size || info < 1 || info >= size)
        return pdf_take_fail(fault, "its trailer");
    taken->count = (size_t)size;
    taken->root = (size_t)root;
    taken->info = (size_t)info;
    taken->objects = calloc(taken->count + 1, sizeof *taken->objects);
    if (taken->objects == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu objects", taken->count);
    if (pdf_take_objects(taken, bytes, table, fault) != 0 || pdf_measure_objects(taken, table.from, fault) != 0)
        return -1;
    tree = pdf_number_after(taken->objects[root], "/Pages");
    pages = tree > 0 && tree < size ? taken->objects[tree] : (struct pdf_span){bytes, 0};
    page = pdf_number_after(pages, "/Kids [");
    if (page < 1 || page >= size || !pdf_span_has(taken->objects[page], "/Type /Page\n"))
        return pdf_take_fail(fault, "its first page");
    taken->first_page = (size_t)page;
    return 0;
}

void pdf_release(struct pdf_taken *taken) {
    free(taken->objects);
    taken->objects = NULL;
}
