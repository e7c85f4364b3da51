// SPDX-License-Identifier: MIT
/* desk: keeps books for a user who may read the ledger and not write it.
 *
 * The ledger is a file that its owner alone may write. A user of the bench hands the words of a command over a
 * socket to a service that runs as the owner and is the same command, under the same authorizer (ledger.h,
 * BOOKKEEP). It takes commands of bookkeeping only, and has its own configuration. It never opens a file by a name
 * that it was given: whoever calls opens and names files with the rights of the caller, and only those that stand
 * among the words of the call, or have the name that a sheet gets by itself. So neither side can be used to reach
 * what it could not reach anyway. The account that called is known from the kernel (SO_PEERCRED), not from the
 * call.
 *
 * The form, over a local socket of sequenced packets. A message is one packet: "sld", its kind (one byte), the
 * form's number 1, a status (one byte), two bytes of zero; then up to DESK_TEXT_BYTES of text; with it,
 * descriptors.
 *
 *   caller   begin   the ledger's path and the words, each ended by a zero byte; descriptors 0, 1 and 2 of the call
 *   service  read    a file's name     -> answer: status 0 and a descriptor to read from, or the errno
 *   service  make    a file's name     -> answer: status 0 and a descriptor of a new file, or a fault
 *   service  name    a made file's     -> answer: status 0 once it is durable under its name, or a fault
 *   service  drop    a made file's     -> answer: status 0 once it is gone
 *   service  done    the exit status, and the fault's line unless that is 0
 *
 * A fault is an exit status of sysexits.h and a line of text. After `done`, or with the first message that is none
 * of these, the connection ends.
 */
#ifndef SOAKLEDGER_DESK_H
#define SOAKLEDGER_DESK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <sys/types.h>

#include "soakledger/fault.h"
#include "soakledger/keep.h"

#define DESK_SOCKET "/run/soakledger/books"

enum {
    DESK_TEXT_BYTES = 65536, // of one message: well below what a local socket takes at once
    DESK_MOST_WORDS = 512,
    DESK_MOST_FDS = 3,
    DESK_MOST_FILES = 8, // made in one call
    DESK_PERSON_BYTES = 64,
};

/* In messages: never renumber. */
enum desk_kind {
    DESK_BEGIN = 1,
    DESK_READ = 2,
    DESK_MAKE = 3,
    DESK_NAME = 4,
    DESK_DROP = 5,
    DESK_ANSWER = 6,
    DESK_DONE = 7,
};

struct desk_message {
    enum desk_kind kind;
    int status;
    size_t length;
    char text[DESK_TEXT_BYTES + 1]; // a zero byte follows
    int fds[DESK_MOST_FDS];         // the receiver's, to be closed
    size_t fd_count;
};

/* ---- messages ---- */

/* Sends one message; `text` has `length` bytes. -1 with EX_UNAVAILABLE if the other side is gone. */
int desk_send(int socket, enum desk_kind kind, int status, const char *text, size_t length, const int *fds,
              size_t fd_count, struct fault *fault);
/* Waits for one. -1 with EX_UNAVAILABLE if the other side is gone or said nothing for as long as the socket waits,
 * EX_PROTOCOL for what is no message; no descriptors are left then. */
int desk_receive(int socket, struct desk_message *message, struct fault *fault);
void desk_close_fds(struct desk_message *message);

/* ---- what is bookkeeping ---- */

/* Whether these words, the command's name first, are for the desk: they write into the books and nothing else. */
bool desk_keeps(int argc, char *const *argv);

/* ---- the caller ---- */

/* Connects. The descriptor; -1 with EX_UNAVAILABLE if nobody listens there, EX_NOPERM if this user may not. */
int desk_connect(const char *path, struct fault *fault);
/* Hands the words over, opens and names files as asked, and waits. 0 if the service said so, else -1 with its
 * fault. Closes nothing. */
int desk_call(int socket, const char *ledger_path, int argc, char *const *argv, struct fault *fault);
/* Whether that file may be read, or made, for these words. */
bool desk_may_read(int argc, char *const *argv, const char *name);
bool desk_may_make(int argc, char *const *argv, const char *name);

/* ---- the service ---- */

struct desk_seat;

/* Takes a call from a connected socket: who calls, and the words. EX_USAGE if it is no such socket. */
struct desk_seat *desk_take_seat(int socket, struct fault *fault);
void desk_leave_seat(struct desk_seat *seat); // NULL is allowed
const char *desk_ledger(const struct desk_seat *seat);
char **desk_words(const struct desk_seat *seat, int *count); // ended by NULL
const char *desk_person(const struct desk_seat *seat);       // the account's name
uid_t desk_user(const struct desk_seat *seat);
/* From here on the caller's descriptors are standard input, output and error of this process, which ends at once
 * when the caller goes away. */
int desk_sit_down(struct desk_seat *seat, struct fault *fault);
/* As fopen(path, "r") by the caller: NULL with errno. */
FILE *desk_open(struct desk_seat *seat, const char *path);
/* Files that the caller makes and names. Lasts as long as the seat. */
const struct keep_far *desk_far(const struct desk_seat *seat);
/* Says how it ended. */
int desk_done(struct desk_seat *seat, const struct fault *outcome, struct fault *fault);

#endif
