// SPDX-License-Identifier: MIT
/* The desk: what stands, what waits to be given to the command, and what is said in the journal.
 *
 * The lock is held for copying a few hundred bytes, never while something is written or started. Only alert_tend
 * touches the command, so that needs no lock.
 */
#include "soakledger/alert.h"

#include <errno.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "alert_command.h"
#include "soakledger/journal.h"
#include "soakledger/quantity.h"

/* What a message says: a step, from the least urgent to the most. */
enum { STEP_CLEAR = -1, STEP_RAISED = 0 };
enum { STATE_BYTES = 24 };

struct message {
    enum alert_kind kind;
    int step;
    int64_t t_ms;
    char subject[ALERT_SUBJECT_BYTES];
    char words[ALERT_WORDS_BYTES];
};

struct standing {
    struct message last; // as told last
    int64_t told_ms;
    bool given;            // to the command, or waits to be
    bool restless;         // comes and goes: its end is told once it has been well for long enough
    int64_t well_since_ms; // of a restless one; WELL_NEVER while it is not
    struct message clear;  // ... and what will be told then
};
#define WELL_NEVER INT64_MAX

/* One that was cleared, and may come again. */
struct past {
    enum alert_kind kind;
    char subject[ALERT_SUBJECT_BYTES];
    int times; // raised, each within ALERT_CALM_MS of the end before
    int64_t cleared_ms;
};

struct alert_desk {
    pthread_mutex_t lock;
    int64_t escalate_after_ms;
    int64_t now_ms; // of the last alert_tend
    bool has_command;
    struct alert_command command;
    int start_error; // errno of the last vain try to start it, said once
    size_t standing_count, waiting_count;
    struct standing standing[ALERT_MOST_STANDING];
    size_t past_count;
    struct past past[ALERT_MOST_STANDING];
    struct message waiting[ALERT_MOST_WAITING]; // in the order they came
    uint64_t told, dropped, dropped_said;
};

const char *alert_kind_name(enum alert_kind kind) {
    static const char *const names[ALERT_KIND_COUNT] = {
        [ALERT_SOAK_SHORT] = "soak-short",   [ALERT_OVERSHOOT] = "overshoot",
        [ALERT_SENSOR] = "sensor",           [ALERT_LINE] = "line",
        [ALERT_NEXT_DUE] = "next-due",       [ALERT_LEDGER] = "ledger",
        [ALERT_SENSOR_WORN] = "sensor-worn", [ALERT_CHECK_DUE] = "check-due",
        [ALERT_NOT_COOLING] = "not-cooling", [ALERT_DRIFT] = "drift",
    };

    return names[kind];
}

struct alert_desk *alert_open(const char *const *command, int64_t escalate_after_ms, int64_t time_limit_ms,
                              struct fault *fault) {
    struct alert_desk *desk = calloc(1, sizeof *desk);

    if (desk == NULL) {
        fault_set(fault, EX_OSERR, "no memory for alerts");
        return NULL;
    }
    pthread_mutex_init(&desk->lock, NULL); // cannot fail with default attributes on Linux
    desk->escalate_after_ms = escalate_after_ms;
    desk->now_ms = INT64_MIN;
    desk->command.failure = -1;
    desk->has_command = command != NULL;
    if (command != NULL && alert_command_open(&desk->command, command, time_limit_ms, fault) != 0) {
        alert_close(desk);
        return NULL;
    }
    return desk;
}

void alert_close(struct alert_desk *desk) {
    if (desk == NULL)
        return;
    if (desk->waiting_count > 0)
        journal_write(JOURNAL_WARNING, "%zu alerts were not given to the alert command any more",
                      desk->waiting_count);
    alert_command_close(&desk->command);
    pthread_mutex_destroy(&desk->lock);
    free(desk);
}

/* ---- text ---- */

static void describe_state(const struct message *message, char state[STATE_BYTES]) {
    if (message->step > STEP_RAISED)
        snprintf(state, STATE_BYTES, "again %d", message->step);
    else
        snprintf(state, STATE_BYTES, "%s", message->step == STEP_CLEAR ? "clear" : "raised");
}

static void tell_journal(const struct message *message) {
    char state[STATE_BYTES];
    enum journal_level level = JOURNAL_WARNING;

    if (message->step != STEP_RAISED)
        level = message->step == STEP_CLEAR ? JOURNAL_NOTICE : JOURNAL_ERROR;
    describe_state(message, state);
    journal_write(level, "alert %s, %s, %s: %s", alert_kind_name(message->kind), message->subject, state,
                  message->words);
}

/* ---- what stands and what waits: with the lock held ---- */

static bool is_about(const struct message *message, enum alert_kind kind, const char *subject) {
    return message->kind == kind && strcmp(message->subject, subject) == 0;
}

static struct standing *find_standing(struct alert_desk *desk, enum alert_kind kind, const char *subject) {
    for (size_t i = 0; i < desk->standing_count; i++) {
        if (is_about(&desk->standing[i].last, kind, subject))
            return &desk->standing[i];
    }
    return NULL;
}

static void remove_waiting(struct alert_desk *desk, size_t index) {
    desk->waiting_count--;
    memmove(&desk->waiting[index], &desk->waiting[index + 1],
            (desk->waiting_count - index) * sizeof desk->waiting[index]);
}

static size_t find_least_urgent(const struct alert_desk *desk) {
    size_t lowest = 0;

    for (size_t i = 1; i < desk->waiting_count; i++) {
        if (desk->waiting[i].step < desk->waiting[lowest].step)
            lowest = i;
    }
    return lowest;
}

/* The oldest of the lowest step makes room, which may be `message` itself. An alert whose telling was dropped is as
 * good as not told. */
static void let_wait(struct alert_desk *desk, size_t index, const struct message *message) {
    if (!desk->has_command)
        return;
    if (desk->waiting_count == ALERT_MOST_WAITING) {
        const size_t lowest = find_least_urgent(desk);
        const bool itself = message->step < desk->waiting[lowest].step;
        const struct message dropped = itself ? *message : desk->waiting[lowest];
        struct standing *standing = find_standing(desk, dropped.kind, dropped.subject);

        desk->dropped++;
        if (standing != NULL && dropped.step == STEP_RAISED)
            standing->given = false;
        if (itself)
            return;
        remove_waiting(desk, lowest);
        index -= index > lowest;
    }
    memmove(&desk->waiting[index + 1], &desk->waiting[index], (desk->waiting_count - index) * sizeof *message);
    desk->waiting[index] = *message;
    desk->waiting_count++;
}

/* ---- what comes and goes: with the lock held ---- */

static struct past *find_past(struct alert_desk *desk, const struct message *message) {
    for (size_t i = 0; i < desk->past_count; i++) {
        if (desk->past[i].kind == message->kind && strcmp(desk->past[i].subject, message->subject) == 0)
            return &desk->past[i];
    }
    return NULL;
}

/* How many times it has been raised by now, each soon after the end before. */
static int count_raised(struct alert_desk *desk, const struct message *message) {
    const struct past *past = find_past(desk, message);

    return past != NULL && message->t_ms - past->cleared_ms < ALERT_CALM_MS ? past->times + 1 : 1;
}

/* The one that was cleared longest ago makes room. */
static void remember_past(struct alert_desk *desk, const struct message *message, int times) {
    struct past *past = find_past(desk, message);

    if (past == NULL && desk->past_count < ALERT_MOST_STANDING) {
        past = &desk->past[desk->past_count++];
    } else if (past == NULL) {
        past = &desk->past[0];
        for (size_t i = 1; i < desk->past_count; i++)
            past = desk->past[i].cleared_ms < past->cleared_ms ? &desk->past[i] : past;
    }
    *past = (struct past){.kind = message->kind, .times = times, .cleared_ms = message->t_ms};
    memcpy(past->subject, message->subject, sizeof past->subject);
}

static void add_words(struct message *message, const char *more) {
    const size_t used = strlen(message->words);

    journal_clean(message->words + used, sizeof message->words - used, more);
}

/* ---- raising and clearing ---- */

static void fill_message(struct message *message, enum alert_kind kind, int step, int64_t t_ms, const char *subject,
                         const char *words) {
    *message = (struct message){.kind = kind, .step = step, .t_ms = t_ms};
    journal_clean(message->subject, sizeof message->subject, subject);
    journal_clean(message->words, sizeof message->words, words);
}

static void stand(struct alert_desk *desk, struct message *message) {
    const int times = count_raised(desk, message);

    if (times == ALERT_RESTLESS_TIMES)
        add_words(message, "; it comes and goes, and is told again only after ten minutes' rest");
    desk->standing[desk->standing_count++] =
        (struct standing){.last = *message,
                          .told_ms = message->t_ms > desk->now_ms ? message->t_ms : desk->now_ms,
                          .given = true,
                          .restless = times >= ALERT_RESTLESS_TIMES,
                          .well_since_ms = WELL_NEVER};
    remember_past(desk, message, times);
}

void alert_raise(struct alert_desk *desk, enum alert_kind kind, const char *subject, int64_t t_ms,
                 const char *words) {
    struct message message;
    struct standing *standing;
    bool told = false;

    fill_message(&message, kind, STEP_RAISED, t_ms, subject, words);
    pthread_mutex_lock(&desk->lock);
    standing = find_standing(desk, kind, message.subject);
    if (standing != NULL) {
        memcpy(standing->last.words, message.words,
               sizeof message.words); // how things are now, if it is told again
        standing->well_since_ms = WELL_NEVER;
    } else if (desk->standing_count == ALERT_MOST_STANDING && kind != ALERT_DRIFT) {
        desk->dropped++;
    } else {
        if (kind != ALERT_DRIFT)
            stand(desk, &message);
        desk->told++;
        let_wait(desk, desk->waiting_count, &message);
        told = true;
    }
    pthread_mutex_unlock(&desk->lock);
    if (told)
        tell_journal(&message);
}

/* Tells the end of one that stands, which is none any more then. */
static void end_standing(struct alert_desk *desk, struct standing *standing, const struct message *message) {
    const struct past *past = find_past(desk, message);
    const bool given = standing->given;

    remember_past(desk, message, past != NULL ? past->times : 1);
    *standing = desk->standing[--desk->standing_count];
    desk->told++;
    if (given)
        let_wait(desk, desk->waiting_count, message);
}

void alert_clear(struct alert_desk *desk, enum alert_kind kind, const char *subject, int64_t t_ms,
                 const char *words) {
    struct message message;
    struct standing *standing;
    bool told = false;

    fill_message(&message, kind, STEP_CLEAR, t_ms, subject, words);
    pthread_mutex_lock(&desk->lock);
    standing = find_standing(desk, kind, message.subject);
    if (standing != NULL && standing->restless) {
        standing->clear = message;
        standing->well_since_ms = t_ms;
    } else if (standing != NULL) {
        end_standing(desk, standing, &message);
        told = true;
    }
    pthread_mutex_unlock(&desk->lock);
    if (told)
        tell_journal(&message);
}

/* ---- tending ---- */

/* What is still as it was tomorrow wakes nobody twice. */
static bool can_wait(enum alert_kind kind) {
    return kind == ALERT_SENSOR_WORN || kind == ALERT_CHECK_DUE;
}

/* One that nobody could clear for long enough: a step higher. */
static bool take_escalated(struct alert_desk *desk, int64_t now_ms, struct message *message) {
    bool found = false;

    pthread_mutex_lock(&desk->lock);
    desk->now_ms = now_ms;
    for (size_t i = 0; i < desk->standing_count && !found; i++) {
        struct standing *standing = &desk->standing[i];

        if (can_wait(standing->last.kind) || standing->last.step == ALERT_MOST_STEPS ||
            standing->well_since_ms != WELL_NEVER || now_ms - standing->told_ms < desk->escalate_after_ms)
            continue;
        standing->last.step++;
        standing->last.t_ms = standing->told_ms = now_ms;
        standing->given = true;
        *message = standing->last;
        desk->told++;
        let_wait(desk, desk->waiting_count, message);
        found = true;
    }
    pthread_mutex_unlock(&desk->lock);
    return found;
}

/* A restless one that has been well for long enough. */
static bool take_calm(struct alert_desk *desk, int64_t now_ms, struct message *message) {
    bool found = false;

    pthread_mutex_lock(&desk->lock);
    for (size_t i = 0; i < desk->standing_count && !found; i++) {
        struct standing *standing = &desk->standing[i];

        if (standing->well_since_ms == WELL_NEVER || now_ms - standing->well_since_ms < ALERT_CALM_MS)
            continue;
        *message = standing->clear;
        end_standing(desk, standing, message);
        found = true;
    }
    pthread_mutex_unlock(&desk->lock);
    return found;
}

static bool take_next(struct alert_desk *desk, struct message *message) {
    bool taken = false;

    pthread_mutex_lock(&desk->lock);
    if (desk->waiting_count > 0) {
        *message = desk->waiting[0];
        remove_waiting(desk, 0);
        taken = true;
    }
    pthread_mutex_unlock(&desk->lock);
    return taken;
}

/* "2026-11-16T07:30:00Z", RFC 3339. */
static void format_time(int64_t t_ms, char *out) {
    char *space;

    quantity_format_time(t_ms, 0, out);
    space = strchr(out, ' ');
    if (space != NULL)
        *space = 'T';
}

static void put_back(struct alert_desk *desk, const struct message *message) {
    pthread_mutex_lock(&desk->lock);
    let_wait(desk, 0, message);
    pthread_mutex_unlock(&desk->lock);
}

static void give(struct alert_desk *desk, const struct message *message) {
    char state[STATE_BYTES], time[QUANTITY_TEXT_BYTES + 1];
    const char *const arguments[ALERT_ARGUMENTS] = {alert_kind_name(message->kind), message->subject, state, time,
                                                    message->words};

    describe_state(message, state);
    format_time(message->t_ms, time);
    strcat(time, "Z");
    if (alert_command_start(&desk->command, arguments) == 0) {
        desk->start_error = 0;
        return;
    }
    if (errno != desk->start_error)
        journal_write(JOURNAL_ERROR, "no process to be had for the alert command: %s; trying again",
                      strerror(errno));
    desk->start_error = errno;
    put_back(desk, message);
}

static void say_dropped(struct alert_desk *desk) {
    const uint64_t dropped = alert_count_dropped(desk);

    if (dropped > desk->dropped_said)
        journal_write(JOURNAL_ERROR, "%llu alerts were dropped: too many at once",
                      (unsigned long long)(dropped - desk->dropped_said));
    desk->dropped_said = dropped;
}

void alert_tend(struct alert_desk *desk, int64_t now_ms) {
    struct message message;

    while (take_escalated(desk, now_ms, &message) || take_calm(desk, now_ms, &message))
        tell_journal(&message);
    if (desk->has_command) {
        alert_command_tend(&desk->command);
        if (desk->command.child == 0 && take_next(desk, &message))
            give(desk, &message);
    }
    say_dropped(desk);
}

uint64_t alert_count_told(struct alert_desk *desk) {
    uint64_t told;

    pthread_mutex_lock(&desk->lock);
    told = desk->told;
    pthread_mutex_unlock(&desk->lock);
    return told;
}

uint64_t alert_count_dropped(struct alert_desk *desk) {
    uint64_t dropped;

    pthread_mutex_lock(&desk->lock);
    dropped = desk->dropped;
    pthread_mutex_unlock(&desk->lock);
    return dropped;
}
