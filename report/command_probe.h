// SPDX-License-Identifier: MIT
/* command_probe: what finding controllers and showing their registers share. */
#ifndef SOAKLEDGER_COMMAND_PROBE_H
#define SOAKLEDGER_COMMAND_PROBE_H

#include "command.h"
#include "soakledger/probe.h"

struct probing {
    FILE *out;
    const char *device;
    struct probe_line line;
    struct probe_setting setting;
    struct probe_search search;
    bool on_screen; // lines may be written over
    bool bold;
    bool once;
    bool wants_registers;
    uint32_t first, count;    // registers to look at
    int wanted_function;      // 0: whichever there is
    int address;              // whose registers are shown
    struct probe_map maps[2]; // of functions 3 and 4
    uint8_t function;         // the one shown
};

enum { PROBING_FUNCTIONS = 2 };

/* A line that the next one writes over; only on a screen. "" takes it away. */
void command_show_progress(const struct probing *probing, const char *text);
/* 1 once the user has had enough. */
int command_lost_or_stopped(const struct probing *probing, enum probe_answer answer, struct fault *fault);

/* Finds out which registers there are, and says so. 1: the user has had enough. */
int command_map(struct probing *probing, struct fault *fault);
/* Shows registers once, or until the user has had enough. */
int command_watch(struct probing *probing, struct fault *fault);
/* What to paste into the configuration. */
void command_print_sections(const struct probing *probing);

#endif
