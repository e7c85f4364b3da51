// SPDX-License-Identifier: MIT
#include "soakledger/loop.h"

#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/signalfd.h>
#include <systemd/sd-daemon.h>
#include <unistd.h>

#include "soakledger/journal.h"
#include "soakledger/poller.h"

#define SUMMARY_US (INT64_C(3600) * 1000000)
enum { TICK_US = 1000000, US_PER_MS = 1000, BACK_PRESSURE_US = 500, TIMER_SLACK_NS = 1000 };
enum { LAST_WAIT_US = 5000000, LAST_LOOK_US = 10000 }; // real time

struct loop {
    const struct config *config;
    struct clock *clock;
    struct queue *queue;
    struct alert_desk *desk;
    struct poller *poller;
    int signals;
    struct pollfd *descriptors; // [0] is `signals`
    int64_t watermark_ms;       // last one sent
    int64_t tick_us;            // when to send one and feed the watchdog at the latest
    int64_t summary_us;         // when to say what went wrong on the lines
    uint64_t writer_rounds;
    size_t queue_half;
    uint64_t lost; // readings that found the queue full, and are not in the ledger's events yet
    bool stopping;
};

static int open_signals(struct fault *fault) {
    sigset_t signals;
    int descriptor;

    sigemptyset(&signals);
    sigaddset(&signals, SIGTERM);
    sigaddset(&signals, SIGINT);
    sigaddset(&signals, SIGHUP);
    if (sigprocmask(SIG_BLOCK, &signals, NULL) != 0)
        return fault_set_errno(fault, EX_OSERR, "cannot block signals");
    descriptor = signalfd(-1, &signals, SFD_NONBLOCK | SFD_CLOEXEC);
    return descriptor >= 0 ? descriptor : fault_set_errno(fault, EX_OSERR, "cannot wait for signals");
}

struct loop *loop_open(const struct config *config, const int64_t *channel_ids, struct clock *clock,
                       struct queue *queue, struct alert_desk *desk, struct fault *fault) {
    struct loop *loop = calloc(1, sizeof *loop);

    if (loop == NULL) {
        fault_set(fault, EX_OSERR, "no memory for the acquisition thread");
        return NULL;
    }
    loop->config = config;
    loop->clock = clock;
    loop->queue = queue;
    loop->desk = desk;
    loop->tick_us = clock_now_us(clock);
    loop->summary_us = loop->tick_us + SUMMARY_US;
    loop->signals = open_signals(fault);
    loop->descriptors = calloc(config->line_count + 1, sizeof *loop->descriptors);
    if (loop->descriptors == NULL)
        fault_set(fault, EX_OSERR, "no memory for %zu lines", config->line_count);
    if (loop->signals >= 0 && loop->descriptors != NULL)
        loop->poller = poller_open(config, channel_ids, clock, queue, fault);
    if (loop->poller == NULL) {
        loop_free(loop);
        return NULL;
    }
    return loop;
}

void loop_free(struct loop *loop) {
    if (loop == NULL)
        return;
    poller_free(loop->poller);
    if (loop->signals >= 0)
        close(loop->signals);
    free(loop->descriptors);
    free(loop);
}

static void push_event(struct loop *loop, enum event_kind kind, int64_t amount) {
    struct message message = {.kind = MESSAGE_EVENT,
                              .event = {.t_ms = clock_read_ms(loop->clock), .kind = kind, .amount = amount}};

    queue_push(loop->queue, &message);
}

/* Only this thread pushes: where there is room, there still is a moment later. */
static bool queue_has_room(struct loop *loop) {
    return queue_depth(loop->queue) < queue_capacity(loop->queue);
}

/* One that finds no room is not lost: the next one says all that it would have said. */
static void push_watermark(struct loop *loop) {
    const struct message message = {.kind = MESSAGE_WATERMARK, .watermark_ms = poller_watermark_ms(loop->poller)};

    if (message.watermark_ms > loop->watermark_ms && queue_has_room(loop) && queue_push(loop->queue, &message))
        loop->watermark_ms = message.watermark_ms;
}

/* The event that says how many were lost would find the queue full itself: it waits until that is half empty, and
 * is then one for all of them. */
static void note_losses(struct loop *loop) {
    const uint64_t lost = queue_take_lost(loop->queue);

    if (lost > 0 && loop->lost == 0)
        journal_write(JOURNAL_ERROR, "readings are being lost: the ledger is too slow");
    loop->lost += lost;
    if (loop->lost == 0 || queue_depth(loop->queue) > loop->queue_half)
        return;
    journal_write(JOURNAL_ERROR, "%llu readings were lost: the ledger was too slow",
                  (unsigned long long)loop->lost);
    push_event(loop, EVENT_OVERFLOW, (int64_t)loop->lost);
    loop->lost = 0;
}

static void note_step(struct loop *loop) {
    int64_t step_ms;

    if (!queue_has_room(loop) || !clock_take_step(loop->clock, &step_ms)) // the clock keeps it until it is taken
        return;
    journal_write(JOURNAL_WARNING, "the wall clock was put %s by %.3f s; no duration changes",
                  step_ms > 0 ? "forward" : "back", (double)llabs(step_ms) / US_PER_MS);
    push_event(loop, EVENT_CLOCK_STEP, step_ms);
}

static void take_signals(struct loop *loop) {
    struct signalfd_siginfo info;

    while (read(loop->signals, &info, sizeof info) == (ssize_t)sizeof info) {
        if (info.ssi_signo == SIGHUP)
            journal_write(JOURNAL_NOTICE,
                          "SIGHUP is ignored: restart to read a changed configuration; an open run goes on");
        else
            loop->stopping = true;
    }
}

/* Alive means both threads: this one has just gone over the lines, and the other has committed since the last time.
 */
static void feed_watchdog(struct loop *loop, const struct writer *writer) {
    const uint64_t rounds = writer_read_rounds(writer);

    if (rounds != loop->writer_rounds)
        sd_notify(0, "WATCHDOG=1");
    loop->writer_rounds = rounds;
}

/* A line that is lost between two ticks and back at the second is in the ledger and needs nobody. */
static void tell_lines(struct loop *loop) {
    const int64_t now_ms = clock_read_ms(loop->clock);
    char subject[ALERT_SUBJECT_BYTES];

    for (size_t i = 0; i < loop->config->line_count; i++) {
        const char *trouble = poller_line_trouble(loop->poller, i);

        snprintf(subject, sizeof subject, "line %.70s", loop->config->lines[i].name);
        if (trouble == NULL)
            alert_clear(loop->desk, ALERT_LINE, subject, now_ms, "the line is back");
        else if (trouble[0] != '\0') // else it was not tried yet
            alert_raise(loop->desk, ALERT_LINE, subject, now_ms, trouble);
    }
}

/* On a simulated clock the lines are as fast as the machine. The disk must not be left behind: time stands still
 * until the queue has room. On a real clock nothing ever waits for the disk. */
static void wait_for_disk(struct loop *loop, const struct writer *writer) {
    struct fault unused;

    while (clock_is_simulated(loop->clock) && queue_depth(loop->queue) > loop->queue_half &&
           !writer_has_failed(writer, &unused))
        usleep(BACK_PRESSURE_US);
}

/* Nothing is read any more, so that the disk may be waited for: the ledger should say what was lost, and that this
 * was a stop in order. */
static void wait_for_last_room(struct loop *loop) {
    for (int waited_us = 0; waited_us < LAST_WAIT_US && queue_depth(loop->queue) > loop->queue_half;
         waited_us += LAST_LOOK_US)
        usleep(LAST_LOOK_US);
}

static int wait_for_work(struct loop *loop, size_t *count, struct fault *fault) {
    int64_t deadline_us = poller_next_deadline_us(loop->poller);

    if (loop->tick_us < deadline_us)
        deadline_us = loop->tick_us;
    loop->descriptors[0] = (struct pollfd){.fd = loop->signals, .events = POLLIN};
    *count = 1 + poller_fill_descriptors(loop->poller, loop->descriptors + 1, loop->config->line_count);
    if (clock_wait(loop->clock, loop->descriptors, *count, deadline_us, poller_expects_answer(loop->poller)) < 0 &&
        errno != EINTR)
        return fault_set_errno(fault, EX_OSERR, "cannot wait for the lines");
    return 0;
}

int loop_run(struct loop *loop, const struct writer *writer, struct fault *fault) {
    size_t count;

    prctl(PR_SET_TIMERSLACK, TIMER_SLACK_NS); // the default of 50 us costs polls at high speeds
    loop->queue_half = queue_capacity(loop->queue) / 2;
    while (!loop->stopping) {
        wait_for_disk(loop, writer);
        if (wait_for_work(loop, &count, fault) != 0)
            return -1;
        take_signals(loop);
        note_step(loop);
        poller_handle(loop->poller, loop->descriptors + 1, count - 1);
        note_losses(loop);
        push_watermark(loop);
        if (writer_has_failed(writer, fault))
            return -1;
        if (clock_now_us(loop->clock) >= loop->tick_us) {
            loop->tick_us = clock_now_us(loop->clock) + TICK_US;
            feed_watchdog(loop, writer);
            tell_lines(loop);
            alert_tend(loop->desk, clock_read_ms(loop->clock));
        }
        if (clock_now_us(loop->clock) >= loop->summary_us) {
            loop->summary_us += SUMMARY_US;
            poller_write_summary(loop->poller);
        }
    }
    poller_write_summary(loop->poller);
    wait_for_last_room(loop);
    note_losses(loop);
    push_event(loop, EVENT_STOPPED, 0);
    push_watermark(loop);
    return 0;
}
