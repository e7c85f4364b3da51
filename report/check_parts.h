// SPDX-License-Identifier: MIT
/* check_parts: what the system accuracy test's command, guide and sheet share and nobody else needs. */
#ifndef SOAKLEDGER_CHECK_PARTS_H
#define SOAKLEDGER_CHECK_PARTS_H

#include "trial.h"

/* A test that is being made, or one that is printed again. */
struct check_case {
    struct command *command;
    struct trials_accuracy *kept;
    char *oven;
    struct ledger_channel *channels; // of the oven
    size_t channel_count;
    const struct ledger_channel *sensor;
    const struct ledger_channel *reference; // NULL: a hand-held instrument
    enum temperature_unit unit;
};

/* What was said on the command line; NULL where nothing was. */
struct check_words {
    const char *channel, *reference, *instrument, *readings, *correction, *uncertainty, *due, *allowed, *at, *over,
        *decision, *by, *note, *path, *long_path;
    bool yes;
};

extern const char check_usage[];

void check_release(struct check_case *of); // `kept` too
/* Reads one that was kept. `of` has its command alone; check_release frees it also if this fails. */
int check_open_kept(struct check_case *of, int64_t accuracy_id, struct fault *fault);
/* Lists the channels as they were at `t_ms` and finds those of the test by their ids. */
int check_find_channels(struct check_case *of, int64_t t_ms, struct fault *fault);

/* The latest moment up to which the ledger has readings: now, or a little earlier. 0 if it has none of the last two
 * minutes, -1 on a fault. */
int64_t check_now(struct check_case *of, struct fault *fault);
/* Compares what lies within the setting's time; the result goes to `kept`. */
int check_measure(struct check_case *of, struct fault *fault);
/* What the reference's calibration in the ledger says at this temperature, where nobody said anything else. */
void check_take_calibration(struct check_case *of, const struct check_words *words, int64_t at_mc);

/* "+0.4 C", "-1 F". */
int check_parse_signed(const char *text, int64_t *difference_mc, struct fault *fault);
/* A difference above zero. */
int check_parse_amount(const char *text, const char *what, int64_t *difference_mc, struct fault *fault);
/* A day counts to its end. */
int check_parse_due(const char *text, int64_t *due_ms, struct fault *fault);

/* "reads low by 3.1 ± 1.2 °C at 1070.0 °C". TRIAL_TEXT_BYTES. */
char *check_difference(const struct check_case *of, char *out);
/* One sentence: the whole result. TRIAL_TEXT_BYTES. */
char *check_answer(const struct check_case *of, char *out);
char *check_sensor(const struct check_case *of, char *out);    // "small.control (K-7, type K)"; TRIAL_TEXT_BYTES
char *check_reference(const struct check_case *of, char *out); // likewise
char *check_due(const struct check_case *of, char *out);       // "2027-01-01", "not stated"; TRIAL_NAME_BYTES

/* Asks and waits, step by step. 1: take it, 0: the user has had enough, -1. */
int check_guide(struct check_case *of, const struct check_words *words, struct fault *fault);

int check_sheet_make(struct check_case *of, unsigned char **bytes, size_t *length, struct fault *fault);

#endif
