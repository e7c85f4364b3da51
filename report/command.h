// SPDX-License-Identifier: MIT
/* command: what the commands share. Each gets the words after its name, and returns 0, or -1 with a fault. */
#ifndef SOAKLEDGER_COMMAND_H
#define SOAKLEDGER_COMMAND_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "soakledger/config.h"
#include "soakledger/desk.h"
#include "soakledger/fault.h"
#include "soakledger/keyfile.h"
#include "soakledger/ledger.h"
#include "soakledger/plan.h"

enum { COMMAND_LINE_COLUMNS = 80, COMMAND_MOST_CELLS = 12, COMMAND_TEXT_BYTES = 1024 };

struct command {
    const char *config_path;
    FILE *out;
    struct config *config;  // NULL until command_configure
    struct ledger *ledger;  // NULL until command_open_ledger
    struct desk_seat *seat; // of another user, whose books are kept; NULL: this one's own
};

int command_configure(struct command *command, struct fault *fault);
int command_open_ledger(struct command *command, enum ledger_mode mode, struct fault *fault);
/* Now, for the books: the ledger's timeline. -1 on a fault. */
int64_t command_now_ms(struct command *command, struct fault *fault);
void command_release(struct command *command);

/* ---- words after the command ---- */

struct command_option {
    const char *name;   // "--plan"
    const char **value; // where its value goes
};
/* Takes options in any order, "--name VALUE" or "--name=VALUE"; everything else goes to `words`, at least `least`
 * and at most `most` of them. Returns how many; -1 with EX_USAGE, naming `usage`. */
int command_take(int argc, char **argv, const struct command_option *options, size_t count, const char **words,
                 int least, int most, const char *usage, struct fault *fault);
/* Takes a word such as "--all" out of the words, if it is there before a "--". */
bool command_take_out(int *argc, char **argv, const char *name);
/* A number from 1 on. */
int command_take_number(const char *text, const char *what, int64_t *number, struct fault *fault);

/* Who speaks: the one named, or the user. */
const char *command_person(const struct command *command, const char *named);

/* ---- files that the words name: the user's, whoever keeps the books ---- */

FILE *command_open_input(const struct command *command, const char *path); // as fopen(path, "r")
struct keyfile *command_read_keyfile(const struct command *command, const char *path, struct fault *fault);
struct plan *command_read_plan(const struct command *command, const char *path, struct fault *fault);
/* For keep.h: where sheets are made. */
const struct keep_far *command_far(const struct command *command);

/* Tells the ledger, which is open, whose call it is. */
int command_introduce(const struct command *command, struct fault *fault);
/* Hands the words, the command's name first, to whoever keeps the books for this user. 1 if they were carried out
 * there, -1 with a fault, 0 if they are to be carried out here. */
int command_hand_over(struct command *command, int argc, char **argv, struct fault *fault);

/* ---- to the terminal ---- */

/* Text from people, without control characters. COMMAND_TEXT_BYTES. */
char *command_clean(const char *text, char *out);
/* The name of a file that was written or read, on a line of its own, in one piece. */
void command_say_path(const struct command *command, const char *path, const char *ending);
/* Prints wrapped text, without control characters, each line after the first indented by `indent`. */
void command_print(FILE *out, size_t indent, const char *text);
/* One row of cells, likewise, each wrapped within its width, one space between them. */
void command_print_row(FILE *out, const size_t *widths, const char *const *cells, size_t count);
char *command_time(const struct command *command, int64_t t_ms, char *out); // with the offset's name

/* ---- plans and visits ---- */

/* "hardening" or "2": index of a visit of the plan, by the name of its soak or temper, or by number. */
int command_find_visit(const struct plan *plan, const char *text, size_t *visit, struct fault *fault);
char *command_visit_name(const struct plan *plan, size_t visit, char *out); // COMMAND_TEXT_BYTES
/* Is there a batch other than those in `company` that waits for a run of that oven? 0, or -1 with a fault that says
 * what to do. */
int command_check_others(struct command *command, int64_t oven_id, const int64_t *company, size_t count,
                         struct fault *fault);
/* That every operation's oven is configured, has the load channels of the plan, and is known to the ledger. */
int command_check_ovens(struct command *command, const struct plan *plan, const char *file, const char *own,
                        struct fault *fault);
/* The oven a visit happens in. -1 on a fault. */
int64_t command_visit_oven(struct command *command, const struct ledger_batch *batch, const struct plan *plan,
                           size_t visit, struct fault *fault);
typedef int command_function(struct command *command, int argc, char **argv, struct fault *fault);
/* Whether the words name a file of a certificate. */
bool command_is_paper(int argc, char **argv);
int command_verify_paper(struct command *command, int argc, char **argv, struct fault *fault);
/* One a line, in order. */
command_function command_amend;
command_function command_attest;
command_function command_backup;
command_function command_batch;
command_function command_batch_list;
command_function command_batch_open;
command_function command_batch_show;
command_function command_batch_split;
command_function command_certificate;
command_function command_check;
command_function command_claim;
command_function command_drift;
command_function command_desk;
command_function command_disposition;
command_function command_export;
command_function command_hardness;
command_function command_import;
command_function command_key;
command_function command_now;
command_function command_plan;
command_function command_ports;
command_function command_probe;
command_function command_review;
command_function command_runs;
command_function command_sensor;
command_function command_survey;
command_function command_verify;
command_function command_what_if;

/* Every command, in order of name. */
struct command_entry {
    const char *name;
    command_function *function;
    const char *summary; // at most 25 columns
    const char *help;    // at most 24 lines of 80 columns
};
extern const struct command_entry command_entries[];
extern const size_t command_entry_count;
const struct command_entry *command_find(const char *name); // NULL if there is none

#endif
