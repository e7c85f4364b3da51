// SPDX-License-Identifier: MIT
/* The user's own command: started without a shell, watched without waiting, killed when its time is up. */
#ifndef ALERT_COMMAND_H
#define ALERT_COMMAND_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

#include "soakledger/fault.h"

enum { ALERT_ARGUMENTS = 5 }; // KIND, SUBJECT, STATE, TIME, WORDS

struct alert_command {
    char **words; // path and fixed first arguments, then room for ALERT_ARGUMENTS and NULL
    size_t word_count;
    int64_t time_limit_ms;
    pid_t child;         // leader of its own process group; 0 while none runs
    int64_t deadline_ms; // CLOCK_MONOTONIC
    bool killed;
    int failure; // read end of the pipe through which a child says that it could not become the command
};

/* `words` is NULL-terminated and copied. */
int alert_command_open(struct alert_command *command, const char *const *words, int64_t time_limit_ms,
                       struct fault *fault);
void alert_command_close(struct alert_command *command); // kills what runs

/* Starts it; none may be running. -1 with errno if there was no process to be had. */
int alert_command_start(struct alert_command *command, const char *const arguments[ALERT_ARGUMENTS]);
/* Sees whether it has ended, kills it if it must; writes into the journal if anything went wrong. Never waits. */
void alert_command_tend(struct alert_command *command);

#endif
