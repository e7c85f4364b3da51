// SPDX-License-Identifier: MIT
/* until: lets a script hold a simulated clock between its commands.
 *
 *   until PAGE NAME TIME       takes the place NAME on PAGE, lets time run until TIME (2026-11-16T08:00:00Z, or
 *                              +DURATION from now), and leaves with the place held: time stands still
 *   until PAGE NAME --release  gives the place up, so that time waits for this script no longer
 *   until PAGE NAME --step DURATION | -DURATION   puts the page's wall clock forward, or back; the place is held
 * then
 */
#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "soakledger/clock.h"
#include "soakledger/quantity.h"

static const char USAGE[] = "usage: until PAGE NAME TIME | +DURATION | --release | --step [-]DURATION\n";
enum { US_PER_MS = 1000 };

/* The end as a time, or as a duration from now where `relative`. */
static int parse_end(const char *text, bool *relative, int64_t *end_ms, struct fault *fault) {
    *relative = text[0] == '+';
    return *relative ? quantity_parse_duration(text + 1, end_ms, fault) : quantity_parse_time(text, end_ms, fault);
}

static int wait_until(struct clock *clock, int64_t end_us, struct fault *fault) {
    while (clock_now_us(clock) < end_us)
        if (clock_wait(clock, NULL, 0, end_us, false) < 0 && errno != EINTR)
            return fault_set_errno(fault, EX_OSERR, "cannot wait");
    return 0;
}

static int run(const char *page, const char *name, const char *end, struct fault *fault) {
    const bool release = strcmp(end, "--release") == 0;
    bool relative = false;
    int64_t end_ms = 0;
    struct clock *clock;
    int result;

    if (!release && parse_end(end, &relative, &end_ms, fault) != 0)
        return -1; // before time stands still for this place
    clock = clock_open_simulated(page, name, fault);
    if (clock == NULL)
        return -1;
    if (release) {
        clock_close(clock);
        return 0;
    }
    result = wait_until(clock, end_ms * US_PER_MS + (relative ? clock_now_us(clock) : 0), fault);
    clock_leave_held(clock);
    return result;
}

static int step(const char *page, const char *name, const char *by, struct fault *fault) {
    const bool back = by[0] == '-';
    int64_t by_ms = 0;
    struct clock *clock;
    int result;

    if (quantity_parse_duration(by + (back ? 1 : 0), &by_ms, fault) != 0)
        return -1;
    clock = clock_open_simulated(page, name, fault);
    if (clock == NULL)
        return -1;
    result = clock_step_page(clock, back ? -by_ms : by_ms, fault);
    clock_leave_held(clock);
    return result;
}

int main(int argc, char **argv) {
    const bool steps = argc == 5 && strcmp(argv[3], "--step") == 0;
    struct fault fault;

    if (argc != 4 && !steps) {
        fputs(USAGE, stderr);
        return EX_USAGE;
    }
    if ((steps ? step(argv[1], argv[2], argv[4], &fault) : run(argv[1], argv[2], argv[3], &fault)) == 0)
        return EX_OK;
    fprintf(stderr, "until: %s\n", fault.text);
    return fault.status;
}
