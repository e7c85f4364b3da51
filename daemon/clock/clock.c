// SPDX-License-Identifier: MIT
/* The two clocks behind one contract. The real one is CLOCK_BOOTTIME with an offset taken once; the simulated
 * one is a page of atomics shared by mmap (page.c). */
#include "soakledger/clock.h"
#include "clock_page.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/timerfd.h>
#include <time.h>
#include <unistd.h>

enum { US_PER_MS = 1000, US_PER_S = 1000000, NS_PER_US = 1000, MS_PER_S = 1000 };

#define BOOT_ID_PATH "/proc/sys/kernel/random/boot_id"

struct clock {
    struct clock_page *page; // NULL: real
    int place;               // in the page; -1 if only reading
    int64_t offset_us;       // real: timeline - boot time
    int64_t wall_lead_us;    // wall clock - timeline, as last looked at
    int64_t step_ms;         // noticed and not yet taken
    int timer;               // real: becomes readable when the wall clock is set
    struct pollfd *waited;   // the caller's descriptors and the timer
    nfds_t waited_most;
};

static int64_t read_us(clockid_t id) {
    struct timespec now;

    clock_gettime(id, &now);
    return (int64_t)now.tv_sec * US_PER_S + now.tv_nsec / NS_PER_US;
}

/* A timer that never fires, but is cancelled when someone sets the wall clock. */
static void arm_timer(int timer) {
    const struct itimerspec far_off = {.it_value = {.tv_sec = INT32_MAX}};

    timerfd_settime(timer, TFD_TIMER_ABSTIME | TFD_TIMER_CANCEL_ON_SET, &far_off, NULL);
}

static struct clock *clock_allocate(struct fault *fault) {
    struct clock *clock = calloc(1, sizeof *clock);

    if (clock == NULL) {
        fault_set(fault, EX_OSERR, "no memory for the clock");
        return NULL;
    }
    clock->timer = -1;
    clock->place = -1;
    return clock;
}

struct clock *clock_open_real(struct fault *fault) {
    struct clock *clock = clock_allocate(fault);
    char boot_id[CLOCK_BOOT_ID_BYTES];

    if (clock == NULL)
        return NULL;
    clock->timer = timerfd_create(CLOCK_REALTIME, TFD_NONBLOCK | TFD_CLOEXEC);
    if (clock->timer < 0) {
        fault_set_errno(fault, EX_OSERR, "cannot watch the wall clock");
        free(clock);
        return NULL;
    }
    arm_timer(clock->timer);
    clock->offset_us = read_us(CLOCK_REALTIME) - read_us(CLOCK_BOOTTIME);
    clock_read_boot_id(clock, boot_id);
    if (boot_id[0] == '\0') { // without it two boots could pass for one
        fault_set(fault, EX_OSERR, "cannot read this boot's id from " BOOT_ID_PATH);
        clock_close(clock);
        return NULL;
    }
    return clock;
}

struct clock *clock_open_simulated(const char *path, const char *name, struct fault *fault) {
    struct clock *clock = clock_allocate(fault);

    if (clock == NULL)
        return NULL;
    clock->page = clock_page_map(path, fault);
    if (clock->page == NULL)
        goto failed;
    if (name != NULL) {
        clock->place = clock_page_join(clock->page, name);
        if (clock->place < 0) {
            fault_set(fault, EX_UNAVAILABLE,
                      "%s: no place for '%s' on this clock page: all %d are taken, or the name is taken", path,
                      name, CLOCK_PAGE_PLACES);
            goto failed;
        }
    }
    clock->wall_lead_us = clock_page_wall_step_ms(clock->page) * US_PER_MS;
    return clock;

failed:
    clock_page_unmap(clock->page);
    free(clock);
    return NULL;
}

static void clock_release(struct clock *clock) {
    clock_page_unmap(clock->page);
    if (clock->timer >= 0)
        close(clock->timer);
    free(clock->waited);
    free(clock);
}

void clock_close(struct clock *clock) {
    if (clock == NULL)
        return;
    if (clock->place >= 0)
        clock_page_leave(clock->page, clock->place);
    clock_release(clock);
}

void clock_leave_held(struct clock *clock) {
    if (clock->place >= 0)
        clock_page_leave_held(clock->page, clock->place);
    clock_release(clock);
}

bool clock_is_simulated(const struct clock *clock) {
    return clock->page != NULL;
}

static int64_t timeline_us(const struct clock *clock) {
    return clock->page != NULL ? clock_page_now_us(clock->page) : read_us(CLOCK_BOOTTIME) + clock->offset_us;
}

int64_t clock_now_us(struct clock *clock) {
    return timeline_us(clock);
}

int64_t clock_read_ms(const struct clock *clock) {
    return timeline_us(clock) / US_PER_MS;
}

static int64_t wall_us(const struct clock *clock) {
    if (clock->page != NULL)
        return clock_page_now_us(clock->page) + clock_page_wall_step_ms(clock->page) * US_PER_MS;
    return read_us(CLOCK_REALTIME);
}

int64_t clock_wall_ms(const struct clock *clock) {
    return wall_us(clock) / US_PER_MS;
}

void clock_read_boot_id(const struct clock *clock, char id[CLOCK_BOOT_ID_BYTES]) {
    FILE *file;

    if (clock->page != NULL) {
        clock_page_read_boot_id(clock->page, id);
        return;
    }
    id[0] = '\0';
    file = fopen(BOOT_ID_PATH, "re");
    if (file == NULL)
        return;
    if (fgets(id, CLOCK_BOOT_ID_BYTES, file) == NULL)
        id[0] = '\0';
    id[strcspn(id, "\n")] = '\0';
    fclose(file);
}

int64_t clock_boottime_ms(const struct clock *clock) {
    if (clock->page != NULL)
        return (clock_page_now_us(clock->page) - clock_page_start_us(clock->page)) / US_PER_MS;
    return read_us(CLOCK_BOOTTIME) / US_PER_MS;
}

void clock_anchor(struct clock *clock, int64_t t_ms, int64_t boottime_ms) {
    if (clock->page != NULL)
        return;
    clock->offset_us = (t_ms - boottime_ms) * US_PER_MS;
    clock->wall_lead_us = wall_us(clock) - timeline_us(clock);
}

/* Slewing moves the lead by far less than CLOCK_STEP_NOTICED_MS between two looks a second apart, so every
 * larger difference is a step. Looking and remembering is one act: no step can fall between. */
static void look_at_wall(struct clock *clock) {
    const int64_t lead_us = wall_us(clock) - timeline_us(clock);
    const int64_t moved_ms = (lead_us - clock->wall_lead_us) / US_PER_MS;

    if (moved_ms >= CLOCK_STEP_NOTICED_MS || moved_ms <= -CLOCK_STEP_NOTICED_MS)
        clock->step_ms += moved_ms;
    clock->wall_lead_us = lead_us;
}

bool clock_take_step(struct clock *clock, int64_t *step_ms) {
    look_at_wall(clock);
    if (clock->step_ms == 0)
        return false;
    *step_ms = clock->step_ms;
    clock->step_ms = 0;
    return true;
}

static int poll_for(struct pollfd *fds, nfds_t count, int64_t wait_us) {
    const struct timespec wait = {.tv_sec = wait_us / US_PER_S, .tv_nsec = (wait_us % US_PER_S) * NS_PER_US};

    return ppoll(fds, count, wait_us == CLOCK_NEVER_US ? NULL : &wait, NULL);
}

static int wait_real(struct clock *clock, struct pollfd *fds, nfds_t count, int64_t deadline_us) {
    int64_t wait_us = CLOCK_NEVER_US;
    uint64_t expired;
    int ready;

    if (count + 1 > clock->waited_most) {
        struct pollfd *more = realloc(clock->waited, (count + 1) * sizeof *more);

        if (more == NULL)
            return -1;
        clock->waited = more;
        clock->waited_most = count + 1;
    }
    if (count > 0)
        memcpy(clock->waited, fds, count * sizeof *fds);
    clock->waited[count] = (struct pollfd){.fd = clock->timer, .events = POLLIN};
    if (deadline_us != CLOCK_NEVER_US) {
        wait_us = deadline_us - timeline_us(clock);
        if (wait_us < 0)
            wait_us = 0;
    }
    ready = poll_for(clock->waited, count + 1, wait_us);
    if (ready < 0)
        return -1;
    if (count > 0)
        memcpy(fds, clock->waited, count * sizeof *fds);
    if (clock->waited[count].revents != 0) {
        if (read(clock->timer, &expired, sizeof expired) < 0 && errno == ECANCELED)
            arm_timer(clock->timer);
        ready--;
    }
    return ready;
}

/* How long to sleep in earnest before looking again whether others have let time run on. */
enum { LOOK_SOON_US = 100, LOOK_LATER_US = 1000, LOOKS_SOON = 50, LOOKS_BEFORE_BURYING = 100 };

/* A few looks, since what was sent takes a moment through the kernel, too; and an end to patience, for one that was
 * stopped. */
enum { LOOKS_OF_OTHERS = 10, PATIENCE_MOST_MS = 5000 };

static int wait_for_answer(struct clock *clock, struct pollfd *fds, nfds_t count) {
    uint64_t looks[CLOCK_PAGE_PLACES];
    int ready;

    clock_page_count_looks(clock->page, looks);
    ready = poll_for(fds, count, (int64_t)CLOCK_PATIENCE_MS * US_PER_MS);
    for (int waited_ms = CLOCK_PATIENCE_MS;
         ready == 0 && waited_ms < PATIENCE_MOST_MS &&
         !clock_page_others_looked(clock->page, clock->place, looks, LOOKS_OF_OTHERS);
         waited_ms++)
        ready = poll_for(fds, count, LOOK_LATER_US);
    return ready;
}

static int wait_simulated(struct clock *clock, struct pollfd *fds, nfds_t count, int64_t deadline_us,
                          bool answer_due) {
    int ready = answer_due ? wait_for_answer(clock, fds, count) : poll_for(fds, count, 0);

    for (int looks = 1; ready == 0; looks++) {
        clock_page_look(clock->page, clock->place);
        clock_page_allow(clock->page, clock->place, deadline_us);
        clock_page_advance(clock->page);
        if (clock_page_now_us(clock->page) >= deadline_us ||
            wall_us(clock) - timeline_us(clock) != clock->wall_lead_us)
            break;
        ready = poll_for(fds, count, looks < LOOKS_SOON ? LOOK_SOON_US : LOOK_LATER_US);
        if (looks % LOOKS_BEFORE_BURYING == 0)
            clock_page_bury_dead(clock->page);
    }
    clock_page_hold(clock->page, clock->place);
    return ready;
}

int clock_wait(struct clock *clock, struct pollfd *fds, nfds_t count, int64_t deadline_us, bool answer_due) {
    int ready;

    if (clock->page == NULL) {
        ready = wait_real(clock, fds, count, deadline_us);
    } else if (clock->place < 0) {
        errno = EINVAL; // a reader has no say in when time runs
        return -1;
    } else {
        ready = wait_simulated(clock, fds, count, deadline_us, answer_due);
    }
    look_at_wall(clock);
    return ready;
}

int clock_step_page(struct clock *clock, int64_t step_ms, struct fault *fault) {
    if (clock->page == NULL)
        return fault_set(fault, EX_USAGE, "only a simulated clock can be stepped");
    clock_page_step_wall(clock->page, step_ms);
    return 0;
}
