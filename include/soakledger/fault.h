// SPDX-License-Identifier: MIT
/* fault: one clear line about what went wrong.
 *
 * Every function that can fail on input or on the system takes a `struct fault *` last (never NULL) and
 * returns -1 or NULL after filling it in. The line says what, where (file:line where there is one) and
 * what was expected; `status` is the exit status of sysexits.h that a program should end with. A function
 * that succeeds leaves the fault untouched. It is one line: control characters of what is put into it become
 * spaces.
 */
#ifndef SOAKLEDGER_FAULT_H
#define SOAKLEDGER_FAULT_H

#include <sysexits.h>

enum { FAULT_TEXT_BYTES = 512 };

struct fault {
    int status; // EX_USAGE, EX_DATAERR, EX_CONFIG, EX_NOINPUT, EX_CANTCREAT, EX_IOERR, EX_OSERR, EX_SOFTWARE ...
    char text[FAULT_TEXT_BYTES]; // cut at the end if longer, still terminated
};

/* Fills in `fault`; returns -1 always, so that `return fault_set(...)` reads as one sentence. */
int fault_set(struct fault *fault, int status, const char *format, ...) __attribute__((format(printf, 3, 4)));

/* As fault_set, with ": " and the text of errno as it was at the call appended. */
int fault_set_errno(struct fault *fault, int status, const char *format, ...) __attribute__((format(printf, 3, 4)));

#endif
