// SPDX-License-Identifier: MIT
/* csv: records of a CSV file, strictly by RFC 4180, one after the other.
 *
 * Accepted beside it: lines that end with LF alone, another separator, and a UTF-8 byte order mark at the
 * beginning. Refused, with the file's name and line: a quote inside an unquoted field or after the end of a quoted
 * one, a field whose quote is never closed, a CR without LF, a NUL, and a record with another number of fields than
 * the first.
 */
#ifndef SOAKLEDGER_CSV_H
#define SOAKLEDGER_CSV_H

#include <stddef.h>

#include "soakledger/fault.h"

enum { CSV_FIELDS_MOST = 256 };

struct csv;

/* `text` is kept by reference; `name` stands for the file in messages. */
struct csv *csv_open(const char *text, size_t length, const char *name, char separator, struct fault *fault);
void csv_close(struct csv *csv); // NULL is allowed
/* 1 with a record; 0 at the end; -1 with EX_DATAERR. Fields are terminated, unquoted, and last until the next call.
 */
int csv_next(struct csv *csv, const char *const **fields, size_t *count, struct fault *fault);
/* On which line the record began, counted from 1. */
int csv_line(const struct csv *csv);

#endif
