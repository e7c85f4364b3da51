// SPDX-License-Identifier: MIT
/* The service's side of one call. */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <pwd.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <unistd.h>

#include "soakledger/desk.h"

enum { ANSWER_WITHIN_S = 30, FIRST_FREE_FD = 3 };

struct desk_seat {
    int socket;
    uid_t user;
    char person[DESK_PERSON_BYTES];
    char *text; // the ledger's path and the words
    char *words[DESK_MOST_WORDS + 1];
    int count;
    int fds[DESK_MOST_FDS]; // until desk_sit_down
    size_t fd_count;
    struct keep_far far;
    pthread_t watcher;
    bool watched;
    _Atomic bool over;
    struct desk_message message;
};

/* ---- files of the caller ---- */

/* Asks, and waits for the answer. 0, or -1 with the answer's fault; status 0 comes with `fds` descriptors. */
static int desk_ask(struct desk_seat *seat, enum desk_kind kind, const char *name, size_t fds,
                    struct fault *fault) {
    struct desk_message *message = &seat->message;

    if (desk_send(seat->socket, kind, 0, name, strlen(name), NULL, 0, fault) != 0 ||
        desk_receive(seat->socket, message, fault) != 0)
        return -1;
    if (message->kind == DESK_ANSWER && message->status == 0 && message->fd_count == fds)
        return 0;
    desk_close_fds(message);
    if (message->kind != DESK_ANSWER || message->status == 0)
        return fault_set(fault, EX_PROTOCOL, "%s: the caller gives no proper answer", name);
    return fault_set(fault, message->status, "%s", message->text);
}

FILE *desk_open(struct desk_seat *seat, const char *path) {
    struct fault fault = {0};
    FILE *file;

    if (desk_ask(seat, DESK_READ, path, 1, &fault) != 0) {
        errno = seat->message.kind == DESK_ANSWER && seat->message.status != 0 ? seat->message.status : EPROTO;
        return NULL;
    }
    file = fdopen(seat->message.fds[0], "r");
    if (file == NULL)
        desk_close_fds(&seat->message);
    return file;
}

static int desk_far_make(void *context, const char *path, struct fault *fault) {
    struct desk_seat *seat = context;
    struct stat status;

    if (desk_ask(seat, DESK_MAKE, path, 1, fault) != 0)
        return -1;
    if (fstat(seat->message.fds[0], &status) == 0 && S_ISREG(status.st_mode))
        return seat->message.fds[0];
    desk_close_fds(&seat->message);
    return fault_set(fault, EX_CANTCREAT, "%s: expected a plain file", path);
}

static int desk_far_name(void *context, const char *path, struct fault *fault) {
    return desk_ask(context, DESK_NAME, path, 0, fault);
}

static void desk_far_drop(void *context, const char *path) {
    struct fault ignored;

    desk_ask(context, DESK_DROP, path, 0, &ignored);
}

const struct keep_far *desk_far(const struct desk_seat *seat) {
    return &seat->far;
}

/* ---- who calls, and what for ---- */

static int desk_find_caller(struct desk_seat *seat, struct fault *fault) {
    struct ucred caller = {0};
    socklen_t size = sizeof caller;
    int type = 0, domain = 0;
    socklen_t type_size = sizeof type, domain_size = sizeof domain;
    const struct timeval patience = {.tv_sec = ANSWER_WITHIN_S};
    const struct passwd *account;

    if (getsockopt(seat->socket, SOL_SOCKET, SO_TYPE, &type, &type_size) != 0 || type != SOCK_SEQPACKET ||
        getsockopt(seat->socket, SOL_SOCKET, SO_DOMAIN, &domain, &domain_size) != 0 || domain != AF_UNIX ||
        getsockopt(seat->socket, SOL_SOCKET, SO_PEERCRED, &caller, &size) != 0)
        return fault_set(fault, EX_USAGE,
                         "standard input is no call: 'desk' is started by systemd, by soakledger-books.socket");
    if (setsockopt(seat->socket, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience) != 0 ||
        setsockopt(seat->socket, SOL_SOCKET, SO_SNDTIMEO, &patience, sizeof patience) != 0)
        return fault_set_errno(fault, EX_OSERR, "cannot limit how long a caller is waited for");
    seat->user = caller.uid;
    account = getpwuid(caller.uid);
    if (account != NULL)
        snprintf(seat->person, sizeof seat->person, "%s", account->pw_name);
    else
        snprintf(seat->person, sizeof seat->person, "user %lu", (unsigned long)caller.uid);
    return 0;
}

static int desk_split(struct desk_seat *seat, struct fault *fault) {
    const struct desk_message *message = &seat->message;
    size_t at;

    if (message->kind != DESK_BEGIN || message->fd_count != DESK_MOST_FDS || message->length == 0 ||
        message->text[message->length - 1] != '\0')
        return fault_set(fault, EX_PROTOCOL, "a call begins with its words and three descriptors: expected those");
    seat->text = malloc(message->length);
    if (seat->text == NULL)
        return fault_set(fault, EX_OSERR, "no memory for a call");
    memcpy(seat->text, message->text, message->length);
    for (at = strlen(seat->text) + 1; at < message->length; at += strlen(seat->text + at) + 1) {
        if (seat->count == DESK_MOST_WORDS)
            return fault_set(fault, EX_PROTOCOL, "a call of too many words: expected at most %d", DESK_MOST_WORDS);
        seat->words[seat->count++] = seat->text + at;
    }
    if (!desk_keeps(seat->count, seat->words))
        return fault_set(fault, EX_NOPERM,
                         "'%.40s%s%.40s' is not for this service: it keeps books and does nothing else",
                         seat->count > 0 ? seat->words[0] : "", seat->count > 1 ? " " : "",
                         seat->count > 1 ? seat->words[1] : "");
    return 0;
}

struct desk_seat *desk_take_seat(int socket, struct fault *fault) {
    struct desk_seat *seat = calloc(1, sizeof *seat);
    struct fault ignored;

    if (seat == NULL) {
        fault_set(fault, EX_OSERR, "no memory for a call");
        return NULL;
    }
    seat->far =
        (struct keep_far){.context = seat, .make = desk_far_make, .name = desk_far_name, .drop = desk_far_drop};
    seat->socket = fcntl(socket, F_DUPFD_CLOEXEC, FIRST_FREE_FD);
    if (seat->socket < 0) {
        fault_set_errno(fault, EX_USAGE, "standard input is closed: expected a call");
    } else if (desk_find_caller(seat, fault) == 0) {
        if (desk_receive(seat->socket, &seat->message, fault) == 0 && desk_split(seat, fault) == 0) {
            memcpy(seat->fds, seat->message.fds, sizeof seat->fds);
            seat->fd_count = seat->message.fd_count;
            return seat;
        }
        desk_close_fds(&seat->message);
        desk_done(seat, fault, &ignored);
    }
    desk_leave_seat(seat);
    return NULL;
}

void desk_leave_seat(struct desk_seat *seat) {
    if (seat == NULL)
        return;
    atomic_store(&seat->over, true);
    if (seat->watched) {
        shutdown(seat->socket, SHUT_RDWR); // wakes the watcher
        pthread_join(seat->watcher, NULL);
    }
    for (size_t i = 0; i < seat->fd_count; i++)
        close(seat->fds[i]);
    if (seat->socket >= 0)
        close(seat->socket);
    free(seat->text);
    free(seat);
}

const char *desk_ledger(const struct desk_seat *seat) {
    return seat->text;
}

char **desk_words(const struct desk_seat *seat, int *count) {
    *count = seat->count;
    return (char **)(uintptr_t)seat->words;
}

const char *desk_person(const struct desk_seat *seat) {
    return seat->person;
}

uid_t desk_user(const struct desk_seat *seat) {
    return seat->user;
}

/* ---- the call ---- */

/* Somebody who pressed Ctrl-C wants an end of it: what is open in the ledger is taken back by SQLite. */
static void *desk_watch(void *context) {
    struct desk_seat *seat = context;
    struct pollfd gone = {.fd = seat->socket, .events = POLLRDHUP};

    while (poll(&gone, 1, -1) < 0 && errno == EINTR) {
    }
    if (!atomic_load(&seat->over))
        _exit(EX_TEMPFAIL);
    return NULL;
}

int desk_sit_down(struct desk_seat *seat, struct fault *fault) {
    for (size_t i = 0; i < DESK_MOST_FDS; i++)
        if (dup2(seat->fds[i], (int)i) < 0)
            return fault_set_errno(fault, EX_OSERR, "cannot use the caller's descriptors");
    for (; seat->fd_count > 0; seat->fd_count--)
        close(seat->fds[seat->fd_count - 1]);
    if (pthread_create(&seat->watcher, NULL, desk_watch, seat) != 0)
        return fault_set(fault, EX_OSERR, "cannot watch for the caller's going away");
    seat->watched = true;
    return 0;
}

int desk_done(struct desk_seat *seat, const struct fault *outcome, struct fault *fault) {
    atomic_store(&seat->over, true);
    return desk_send(seat->socket, DESK_DONE, outcome->status, outcome->text, strlen(outcome->text), NULL, 0,
                     fault);
}
