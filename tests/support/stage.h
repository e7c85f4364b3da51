// SPDX-License-Identifier: MIT
/* stage: a folder in which the real daemon, the real command and the virtual shop play a morning on a simulated
 * clock. Every function fails the running test when something goes wrong that the test did not ask for. */
#ifndef SOAKLEDGER_TESTS_STAGE_H
#define SOAKLEDGER_TESTS_STAGE_H

#include <sys/types.h>

enum { STAGE_PATH_BYTES = 256, STAGE_OUTPUT_BYTES = 65536 };

struct stage {
    char folder[STAGE_PATH_BYTES];
    char config[STAGE_PATH_BYTES];
    char ledger[STAGE_PATH_BYTES];
    pid_t shop, daemon;              // 0 while not running
    char output[STAGE_OUTPUT_BYTES]; // of the last command, standard output and error together
};

/* Makes the folder, fills in the configuration, starts the shop with time held at its beginning. */
void stage_open(struct stage *stage);
/* The same with another scene: NAME.shop and NAME.conf of tests/system. Every scene has a line "bench". */
void stage_open_scene(struct stage *stage, const char *scene);
/* The folder and NAME.conf alone: whoever calls it makes the clock's page, $D/clock.page, and plays the
 * instruments. */
void stage_open_bare(struct stage *stage, const char *scene);
/* Ends what runs and removes the folder. */
void stage_close(struct stage *stage);

void stage_start_daemon(struct stage *stage);
/* Waits until all that was read is committed, then sends `signal`. Returns the wait status. */
int stage_end_daemon(struct stage *stage, int signal);
/* What the daemon has written into its journal so far; in stage->output. */
const char *stage_read_journal(struct stage *stage);

/* Lets time run until that moment, RFC 3339 or "+5 min". */
void stage_play_until(struct stage *stage, const char *time);

/* Runs `command` (a shell line; $S is the command with its configuration, $D the folder, $B the build's folder).
 * Returns its exit status; what it printed is in stage->output. */
int stage_run(struct stage *stage, const char *command);
/* The same, where success is expected; returns what it printed. */
const char *stage_tell(struct stage *stage, const char *command);

#endif
