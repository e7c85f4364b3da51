// SPDX-License-Identifier: MIT
/* table: a list for a person, a spreadsheet or a program, from one description.
 *
 * On a screen: wrapped within 80 columns. As CSV: RFC 4180, CRLF, one header line; a text that a spreadsheet would
 * take for a formula (it begins with = + - @ or a tab) gets an apostrophe before it. As JSON: one object with the
 * list's name, its version and `rows`, laid down in a schema (report/NAME.schema.json). Control characters and
 * terminal escapes of what people typed become spaces in all three. CSV and JSON give times in UTC, as in
 * 2026-11-16T08:00:00.000Z, and numbers in the unit that the key names.
 *
 * Functions return 0, or -1 with a fault (EX_OSERR for memory).
 */
#ifndef SOAKLEDGER_TABLE_H
#define SOAKLEDGER_TABLE_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "soakledger/fault.h"

enum table_form { TABLE_SCREEN, TABLE_CSV, TABLE_JSON };

enum table_kind {
    TABLE_NONE, // nothing is known: empty, or null
    TABLE_TEXT,
    TABLE_INTEGER,
    TABLE_THOUSANDTHS, // value / 1000, as a decimal number
    TABLE_TIME,        // ms since 1970, UTC
    TABLE_TRUTH,       // 0 or 1
    TABLE_NUMBERS,     // whole numbers: an array, or separated by blanks
};

struct table_cell {
    enum table_kind kind;
    int64_t value;
    const char *text;
    const int64_t *numbers;
    size_t number_count;
    const char *shown; // on a screen, instead; may be NULL for TABLE_TEXT
};

struct table_column {
    const char *key;   // of CSV and JSON
    const char *title; // on a screen
    size_t width;      // on a screen; 0: not shown there
};

enum { TABLE_COLUMNS_MOST = 24 };

struct table;

/* `name` and `version` stand at the head of JSON. `columns` is kept by reference. */
struct table *table_open(FILE *out, enum table_form form, const char *name, int version,
                         const struct table_column *columns, size_t count, struct fault *fault);
/* `cells`: one a column. */
int table_add(struct table *table, const struct table_cell *cells, struct fault *fault);
/* Writes what is left to be written (JSON: everything) and frees the table; NULL is allowed. */
int table_close(struct table *table, struct fault *fault);
void table_drop(struct table *table); // without writing

/* Text from people as a CSV cell, quoted if need be; shared with exports. */
void table_write_csv_text(FILE *out, const char *text);
/* "2026-11-16T08:00:00.000Z"; TABLE_TIME_BYTES. */
enum { TABLE_TIME_BYTES = 40 };
char *table_format_time(int64_t t_ms, char *out);
/* "806.4", "-0.05": as many decimals as matter, one at least; TABLE_TIME_BYTES. */
char *table_format_thousandths(int64_t value, char *out);

#endif
