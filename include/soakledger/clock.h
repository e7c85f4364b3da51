// SPDX-License-Identifier: MIT
/* clock: the ledger's one timeline, and the only place where a program sleeps.
 *
 * The timeline is UTC at the moment the clock was opened (or anchored) plus CLOCK_BOOTTIME elapsed since.
 * It never goes back, whatever happens to the wall clock, so that a soak's minutes survive a step. The wall
 * clock is kept beside it only to notice and record such steps.
 *
 * Two kinds exist. A real clock is the above. A simulated clock reads its time from a page: a small shared
 * file in which several programs agree what time it is. Each program that joins holds one place, which says
 * up to when it lets time run; time moves to the earliest of these and no further. A program that is awake
 * holds time still, so nothing is ever late however slow the machine is, and a quiet week passes in
 * seconds. The page is a neutral contract: no program knows which others have joined.
 *
 * Units: _ms milliseconds and _us microseconds since 1970-01-01T00:00:00Z on the timeline, unless the name
 * says otherwise. Not thread-safe except clock_read_ms, which any thread may call.
 */
#ifndef SOAKLEDGER_CLOCK_H
#define SOAKLEDGER_CLOCK_H

#include <poll.h>
#include <stdbool.h>
#include <stdint.h>

#include "soakledger/fault.h"

struct clock;

enum { CLOCK_BOOT_ID_BYTES = 37 };    // a UUID in text and its terminator
enum { CLOCK_STEP_NOTICED_MS = 250 }; // smaller differences between wall and timeline are slewing, not steps
#define CLOCK_NEVER_US INT64_MAX      // a deadline that never comes

/* A real clock. NULL if the kernel lacks a timer descriptor or a boot id. */
struct clock *clock_open_real(struct fault *fault);

/* Makes the page file `path` (mode 0600, replaced if it exists) with the simulated time `start_ms`. */
int clock_create_page(const char *path, int64_t start_ms, struct fault *fault);

/* Joins the page `path`. With a name the program takes the place of that name (a new one, or the one that
 * clock_leave_held left) and time stands still until its first clock_wait. With name NULL it only reads the
 * time. A page holds up to 16 places; names up to 31 bytes. */
struct clock *clock_open_simulated(const char *path, const char *name, struct fault *fault);

/* Gives up the place, so that time no longer waits for this program. NULL is allowed. */
void clock_close(struct clock *clock);

/* As clock_close, but the place stays and holds time still until a program of that name joins again:
 * a script can stop the clock between two commands. */
void clock_leave_held(struct clock *clock);

bool clock_is_simulated(const struct clock *clock);

/* Now on the timeline. clock_read_ms is the same, from any thread. */
int64_t clock_now_us(struct clock *clock);
int64_t clock_read_ms(const struct clock *clock);

/* Now on the wall clock, UTC; may jump either way. */
int64_t clock_wall_ms(const struct clock *clock);

/* What a restarted daemon needs to go on with the same timeline: the kernel's boot id and the time since
 * boot that goes with it, in ms. A page has a boot id of its own. */
void clock_read_boot_id(const struct clock *clock, char id[CLOCK_BOOT_ID_BYTES]);
int64_t clock_boottime_ms(const struct clock *clock);

/* Moves the timeline so that it reads `t_ms` when clock_boottime_ms reads `boottime_ms`. Call once, before
 * the first reading is taken. Does nothing on a simulated clock, whose timeline is the page's. */
void clock_anchor(struct clock *clock, int64_t t_ms, int64_t boottime_ms);

/* True once after each wall-clock step of at least CLOCK_STEP_NOTICED_MS, with its size (positive: the wall
 * clock was put forward). clock_wait returns early when one happens. */
bool clock_take_step(struct clock *clock, int64_t *step_ms);

/* Sleeps until a descriptor is ready, the deadline has come, or the wall clock was stepped. Fills in
 * `revents`. Returns the number of ready descriptors (0 at a deadline), or -1 with errno.
 * `answer_due` says that another program is expected to answer on one of the descriptors: on a simulated
 * clock time then stands still for CLOCK_PATIENCE_MS of real time, and until every other program has had its turn
 * to look, before the deadline may come. */
int clock_wait(struct clock *clock, struct pollfd *fds, nfds_t count, int64_t deadline_us, bool answer_due);
enum { CLOCK_PATIENCE_MS = 200 };

/* Steps the wall clock of a page by `step_ms`, for tests. -1 on a real clock. */
int clock_step_page(struct clock *clock, int64_t step_ms, struct fault *fault);

#endif
