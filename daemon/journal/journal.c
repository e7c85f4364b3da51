// SPDX-License-Identifier: MIT
#include "soakledger/journal.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

enum { JOURNAL_LINE_BYTES = 1024, FIRST_PRINTABLE = 0x20, DELETE_CHARACTER = 0x7f };

void journal_write(enum journal_level level, const char *format, ...) {
    char line[JOURNAL_LINE_BYTES];
    va_list args;

    va_start(args, format);
    vsnprintf(line, sizeof line, format, args);
    va_end(args);
    for (char *at = line; *at != '\0'; at++) {
        const unsigned char byte = (unsigned char)*at;

        if (byte < FIRST_PRINTABLE || byte == DELETE_CHARACTER)
            *at = '?';
    }
    if (getenv("JOURNAL_STREAM") != NULL) // set by systemd for a service whose output goes to the journal
        fprintf(stderr, "<%d>%s\n", (int)level, line);
    else
        fprintf(stderr, "%s\n", line);
}
