// SPDX-License-Identifier: MIT
#include "soakledger/fault.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* A name or a value from outside may hold anything; the fault stays one line. */
static void keep_to_a_line(char *text) {
    enum { DELETE_CHARACTER = 0x7F };

    for (; *text != '\0'; text++) {
        if ((unsigned char)*text < ' ' || *text == DELETE_CHARACTER) {
            *text = ' ';
        }
    }
}

int fault_set(struct fault *fault, int status, const char *format, ...) {
    va_list args;

    fault->status = status;
    va_start(args, format);
    vsnprintf(fault->text, sizeof fault->text, format, args);
    va_end(args);
    keep_to_a_line(fault->text);
    return -1;
}

int fault_set_errno(struct fault *fault, int status, const char *format, ...) {
    const int error = errno;
    va_list args;
    size_t used;

    fault->status = status;
    va_start(args, format);
    vsnprintf(fault->text, sizeof fault->text, format, args);
    va_end(args);
    keep_to_a_line(fault->text);
    used = strlen(fault->text);
    snprintf(fault->text + used, sizeof fault->text - used, ": %s", strerror(error));
    return -1;
}
