// SPDX-License-Identifier: MIT
#include "soakledger/table.h"

#include <jansson.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "soakledger/words.h"

static const char END_OF_LINE[] = "\r\n"; // RFC 4180

struct table {
    FILE *out;
    enum table_form form;
    const struct table_column *columns;
    size_t count, shown_count;
    size_t widths[TABLE_COLUMNS_MOST];
    bool has_rows;        // of a screen
    json_t *whole, *rows; // of JSON; `rows` belongs to `whole`
};

char *table_format_time(int64_t t_ms, char *out) {
    enum { MS_PER_S = 1000, DATE_BYTES = 10 };
    const int64_t ms = ((t_ms % MS_PER_S) + MS_PER_S) % MS_PER_S;
    char time[QUANTITY_TEXT_BYTES];

    quantity_format_time(t_ms - ms, 0, time); // "2026-11-16 08:00:00"
    snprintf(out, TABLE_TIME_BYTES, "%.*sT%.20s.%03lldZ", DATE_BYTES, time, time + DATE_BYTES + 1, (long long)ms);
    return out;
}

char *table_format_thousandths(int64_t value, char *out) {
    const uint64_t size = value < 0 ? -(uint64_t)value : (uint64_t)value;
    size_t length;

    snprintf(out, TABLE_TIME_BYTES, "%s%llu.%03llu", value < 0 ? "-" : "",
             (unsigned long long)(size / QUANTITY_PER_UNIT), (unsigned long long)(size % QUANTITY_PER_UNIT));
    for (length = strlen(out); out[length - 1] == '0' && out[length - 2] != '.'; length--)
        out[length - 1] = '\0';
    return out;
}

/* What people typed, without control characters; caller frees. NULL if memory is short. */
static char *table_clean(const char *text) {
    enum { GROWS_AT_MOST = 3 }; // U+FFFD takes three bytes
    const size_t length = strlen(text), size = GROWS_AT_MOST * length + 1;
    char *clean = malloc(size);

    return clean != NULL ? words_clean(text, length, 0, clean, size) : NULL;
}

/* ---- CSV ---- */

/* What a spreadsheet would work out instead of showing it, also behind blanks and in full-width signs. */
static bool table_is_formula(const char *text) {
    static const char *const begins[] = {
        "=", "+", "-", "@", "\xEF\xBC\x9D", "\xEF\xBC\x8B", "\xEF\xBC\x8D", "\xEF\xBC\xA0"};

    text += strspn(text, " ");
    for (size_t i = 0; i < sizeof begins / sizeof begins[0]; i++)
        if (strncmp(text, begins[i], strlen(begins[i])) == 0)
            return true;
    return false;
}

void table_write_csv_text(FILE *out, const char *text) {
    char *clean = table_clean(text);
    const char *from = clean != NULL ? clean : "";
    const bool formula = table_is_formula(from);
    const bool quoted = formula || strpbrk(from, ",\"\r\n") != NULL;

    if (quoted)
        fputs(formula ? "\"'" : "\"", out);
    for (const char *c = from; *c != '\0'; c++)
        fprintf(out, *c == '"' ? "\"\"" : "%c", *c);
    if (quoted)
        fputc('"', out);
    free(clean);
}

static void table_write_csv(const struct table *table, const struct table_cell *cell) {
    char text[TABLE_TIME_BYTES];

    switch (cell->kind) {
    case TABLE_NONE: break;
    case TABLE_TEXT: table_write_csv_text(table->out, cell->text); break;
    case TABLE_INTEGER: fprintf(table->out, "%lld", (long long)cell->value); break;
    case TABLE_THOUSANDTHS: fputs(table_format_thousandths(cell->value, text), table->out); break;
    case TABLE_TIME: fputs(table_format_time(cell->value, text), table->out); break;
    case TABLE_TRUTH: fputs(cell->value != 0 ? "true" : "false", table->out); break;
    case TABLE_NUMBERS:
        for (size_t i = 0; i < cell->number_count; i++)
            fprintf(table->out, "%s%lld", i > 0 ? " " : "", (long long)cell->numbers[i]);
        break;
    }
}

/* ---- JSON ---- */

static json_t *table_make_numbers(const struct table_cell *cell) {
    json_t *array = json_array();

    for (size_t i = 0; array != NULL && i < cell->number_count; i++)
        json_array_append_new(array, json_integer(cell->numbers[i]));
    return array;
}

static json_t *table_make_json(const struct table_cell *cell) {
    char text[TABLE_TIME_BYTES], *clean;
    json_t *value;

    switch (cell->kind) {
    case TABLE_NONE: return json_null();
    case TABLE_TEXT:
        clean = table_clean(cell->text);
        value = clean != NULL ? json_string(clean) : NULL;
        free(clean);
        return value;
    case TABLE_INTEGER: return json_integer(cell->value);
    case TABLE_THOUSANDTHS: return json_real((double)cell->value / QUANTITY_PER_UNIT);
    case TABLE_TIME: return json_string(table_format_time(cell->value, text));
    case TABLE_TRUTH: return json_boolean(cell->value != 0);
    case TABLE_NUMBERS: return table_make_numbers(cell);
    }
    return NULL;
}

static int table_add_json(struct table *table, const struct table_cell *cells, struct fault *fault) {
    json_t *row = json_object();
    int failed = row == NULL;

    for (size_t i = 0; !failed && i < table->count; i++)
        failed = json_object_set_new(row, table->columns[i].key, table_make_json(&cells[i])) != 0;
    if (json_array_append_new(table->rows, row) != 0 || failed)
        return fault_set(fault, EX_OSERR, "not enough memory for a list");
    return 0;
}

/* ---- screen ---- */

static void table_show(const struct table *table, const struct table_cell *cells) {
    char texts[TABLE_COLUMNS_MOST][COMMAND_TEXT_BYTES];
    const char *shown[TABLE_COLUMNS_MOST];
    size_t count = 0;

    for (size_t i = 0; i < table->count; i++) {
        const struct table_cell *cell = &cells[i];
        const char *text = cell->shown != NULL ? cell->shown : cell->kind == TABLE_TEXT ? cell->text : "";

        if (table->columns[i].width == 0)
            continue;
        if (cell->shown == NULL && cell->kind == TABLE_INTEGER)
            snprintf(texts[count], sizeof texts[count], "%lld", (long long)cell->value);
        else
            command_clean(text, texts[count]);
        shown[count] = texts[count];
        count++;
    }
    command_print_row(table->out, table->widths, shown, count);
}

static void table_show_head(const struct table *table) {
    const char *shown[TABLE_COLUMNS_MOST];
    size_t count = 0;

    for (size_t i = 0; i < table->count; i++)
        if (table->columns[i].width > 0)
            shown[count++] = table->columns[i].title;
    command_print_row(table->out, table->widths, shown, count);
}

/* ---- all three ---- */

static void table_begin(struct table *table) {
    for (size_t i = 0; i < table->count; i++)
        if (table->columns[i].width > 0)
            table->widths[table->shown_count++] = table->columns[i].width;
    for (size_t i = 0; table->form == TABLE_CSV && i < table->count; i++)
        fprintf(table->out, "%s%s", table->columns[i].key, i + 1 < table->count ? "," : END_OF_LINE);
}

struct table *table_open(FILE *out, enum table_form form, const char *name, int version,
                         const struct table_column *columns, size_t count, struct fault *fault) {
    struct table *table = calloc(1, sizeof *table);

    if (table != NULL) {
        *table = (struct table){.out = out, .form = form, .columns = columns, .count = count};
        if (form == TABLE_JSON) {
            table->rows = json_array();
            table->whole = json_pack("{s:s, s:i, s:o}", "format", name, "version", version, "rows", table->rows);
        }
    }
    if (table == NULL || (form == TABLE_JSON && table->whole == NULL)) {
        free(table);
        fault_set(fault, EX_OSERR, "not enough memory for a list");
        return NULL;
    }
    table_begin(table);
    return table;
}

int table_add(struct table *table, const struct table_cell *cells, struct fault *fault) {
    if (table->form == TABLE_JSON)
        return table_add_json(table, cells, fault);
    if (table->form == TABLE_SCREEN) {
        if (!table->has_rows)
            table_show_head(table); // no head over nothing
        table->has_rows = true;
        table_show(table, cells);
        return 0;
    }
    for (size_t i = 0; i < table->count; i++) {
        table_write_csv(table, &cells[i]);
        fputs(i + 1 < table->count ? "," : END_OF_LINE, table->out);
    }
    return 0;
}

void table_drop(struct table *table) {
    if (table == NULL)
        return;
    json_decref(table->whole);
    free(table);
}

int table_close(struct table *table, struct fault *fault) {
    enum { INDENT = 2, DIGITS = 15 };
    int result = 0;

    if (table != NULL && table->form == TABLE_JSON) {
        if (json_dumpf(table->whole, table->out, JSON_INDENT(INDENT) | JSON_REAL_PRECISION(DIGITS)) != 0)
            result = fault_set(fault, EX_IOERR, "cannot write the list");
        fputc('\n', table->out);
    }
    table_drop(table);
    return result;
}
