// SPDX-License-Identifier: MIT
#include "soakledger/csv.h"

#include <stdlib.h>
#include <string.h>

struct csv {
    const char *at, *end, *name;
    char separator;
    int line, began; // the next line; that of the record
    size_t expected; // fields; 0 until the first record
    char *text;      // of the record's fields, one after the other
    size_t used, capacity;
    size_t starts[CSV_FIELDS_MOST];
    const char *fields[CSV_FIELDS_MOST];
    size_t count;
};

static const char MARK[] = "\xEF\xBB\xBF"; // U+FEFF

struct csv *csv_open(const char *text, size_t length, const char *name, char separator, struct fault *fault) {
    struct csv *csv = calloc(1, sizeof *csv);

    if (csv == NULL) {
        fault_set(fault, EX_OSERR, "not enough memory to read %s", name);
        return NULL;
    }
    *csv = (struct csv){.at = text, .end = text + length, .name = name, .separator = separator, .line = 1};
    if (length >= sizeof MARK - 1 && memcmp(text, MARK, sizeof MARK - 1) == 0)
        csv->at += sizeof MARK - 1;
    return csv;
}

void csv_close(struct csv *csv) {
    if (csv == NULL)
        return;
    free(csv->text);
    free(csv);
}

int csv_line(const struct csv *csv) {
    return csv->began;
}

static int csv_put(struct csv *csv, char byte, struct fault *fault) {
    enum { FIRST_BYTES = 256 };

    if (csv->used == csv->capacity) {
        const size_t capacity = csv->capacity == 0 ? FIRST_BYTES : 2 * csv->capacity;
        char *text = realloc(csv->text, capacity);

        if (text == NULL)
            return fault_set(fault, EX_OSERR, "not enough memory to read %s", csv->name);
        csv->text = text;
        csv->capacity = capacity;
    }
    csv->text[csv->used++] = byte;
    return 0;
}

static int csv_refuse(const struct csv *csv, struct fault *fault, const char *what) {
    return fault_set(fault, EX_DATAERR, "%s:%d: %s", csv->name, csv->line, what);
}

/* Is the end of a line here? Its length: 1 for LF, 2 for CR LF; 0 if not; -1 for a CR alone. */
static int csv_end_of_line(const struct csv *csv) {
    if (*csv->at == '\n')
        return 1;
    if (*csv->at != '\r')
        return 0;
    return csv->at + 1 < csv->end && csv->at[1] == '\n' ? 2 : -1;
}

static int csv_take_quoted(struct csv *csv, struct fault *fault) {
    for (csv->at++; csv->at < csv->end; csv->at++) {
        if (*csv->at == '"' && (csv->at + 1 == csv->end || csv->at[1] != '"')) {
            csv->at++;
            if (csv->at < csv->end && *csv->at != csv->separator && csv_end_of_line(csv) <= 0)
                return csv_refuse(csv, fault, "text after the quote that ends a field: expected a separator");
            return 0;
        }
        if (*csv->at == '\0')
            return csv_refuse(csv, fault, "a NUL byte: expected text");
        if (*csv->at == '"')
            csv->at++; // the second of two stands for one
        if (*csv->at == '\n')
            csv->line++;
        if (csv_put(csv, *csv->at, fault) != 0)
            return -1;
    }
    return csv_refuse(csv, fault, "a quoted field that never ends: expected a quote");
}

static int csv_take_plain(struct csv *csv, struct fault *fault) {
    for (; csv->at < csv->end && *csv->at != csv->separator; csv->at++) {
        const int end = csv_end_of_line(csv);

        if (end > 0)
            return 0;
        if (end < 0)
            return csv_refuse(csv, fault, "a CR without LF: expected lines that end with CR LF or LF");
        if (*csv->at == '"' || *csv->at == '\0')
            return csv_refuse(csv, fault,
                              *csv->at == '"'
                                  ? "a quote in the middle of a field: expected the whole field in quotes"
                                  : "a NUL byte: expected text");
        if (csv_put(csv, *csv->at, fault) != 0)
            return -1;
    }
    return 0;
}

static int csv_take_record(struct csv *csv, struct fault *fault) {
    for (;;) {
        if (csv->count == CSV_FIELDS_MOST)
            return csv_refuse(csv, fault, "too many fields: expected at most 256");
        csv->starts[csv->count++] = csv->used;
        if ((csv->at < csv->end && *csv->at == '"' ? csv_take_quoted(csv, fault) : csv_take_plain(csv, fault)) !=
                0 ||
            csv_put(csv, '\0', fault) != 0)
            return -1;
        if (csv->at == csv->end)
            return 0;
        if (*csv->at != csv->separator) {
            csv->at += csv_end_of_line(csv);
            csv->line++;
            return 0;
        }
        csv->at++;
    }
}

int csv_next(struct csv *csv, const char *const **fields, size_t *count, struct fault *fault) {
    if (csv->at == csv->end)
        return 0;
    csv->used = csv->count = 0;
    csv->began = csv->line;
    if (csv_take_record(csv, fault) != 0)
        return -1;
    if (csv->expected == 0)
        csv->expected = csv->count;
    if (csv->count != csv->expected)
        return fault_set(fault, EX_DATAERR, "%s:%d: %zu fields: expected %zu, as in the first line", csv->name,
                         csv->began, csv->count, csv->expected);
    for (size_t i = 0; i < csv->count; i++)
        csv->fields[i] = csv->text + csv->starts[i];
    *fields = csv->fields;
    *count = csv->count;
    return 1;
}
