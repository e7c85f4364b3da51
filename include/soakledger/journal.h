// SPDX-License-Identifier: MIT
/* journal: one line at a time to standard error, with the priority that systemd's journal understands in front
 * (sd-daemon(3)) when it is what reads us, and without it on a terminal. */
#ifndef SOAKLEDGER_JOURNAL_H
#define SOAKLEDGER_JOURNAL_H

#include <stddef.h>

enum journal_level { JOURNAL_ERROR = 3, JOURNAL_WARNING = 4, JOURNAL_NOTICE = 5, JOURNAL_INFO = 6 };

/* Copies what fits of `text`, whole characters only. What is no UTF-8, a control character or a mark that turns the
 * direction of writing or is not seen becomes a '?' a byte: a name may hold anything. Returns `out`. */
char *journal_clean(char *out, size_t size, const char *text);

/* The text goes through journal_clean. A line is cut at 1 KiB. Thread-safe. */
void journal_write(enum journal_level level, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
