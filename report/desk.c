// SPDX-License-Identifier: MIT
/* Messages, and which words are for the desk. Bytes come from anybody: nothing is believed before it was measured.
 */
#include "soakledger/desk.h"

#include <errno.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/uio.h>
#include <unistd.h>

enum { FORM = 1, HEAD_BYTES = 8 };
enum { HEAD_KIND = 3, HEAD_FORM = 4, HEAD_STATUS = 5, HEAD_ZERO = 6 };
static const unsigned char HEAD_MARK[] = {'s', 'l', 'd'};

union desk_control {
    char bytes[CMSG_SPACE(DESK_MOST_FDS * sizeof(int))];
    struct cmsghdr aligned;
};

/* ---- messages ---- */

int desk_send(int socket, enum desk_kind kind, int status, const char *text, size_t length, const int *fds,
              size_t fd_count, struct fault *fault) {
    unsigned char head[HEAD_BYTES] = {'s', 'l', 'd', (unsigned char)kind, FORM, (unsigned char)status};
    struct iovec parts[] = {{head, sizeof head}, {(char *)(uintptr_t)text, length}};
    union desk_control control = {{0}};
    struct msghdr message = {.msg_iov = parts, .msg_iovlen = length > 0 ? 2 : 1};
    ssize_t sent;

    if (length > DESK_TEXT_BYTES)
        return fault_set(fault, EX_USAGE, "%zu bytes of words: expected at most %d", length, DESK_TEXT_BYTES);
    if (fd_count > 0) {
        struct cmsghdr *part;

        message.msg_control = control.bytes;
        message.msg_controllen = CMSG_SPACE(fd_count * sizeof(int));
        part = CMSG_FIRSTHDR(&message);
        part->cmsg_level = SOL_SOCKET;
        part->cmsg_type = SCM_RIGHTS;
        part->cmsg_len = CMSG_LEN(fd_count * sizeof(int));
        memcpy(CMSG_DATA(part), fds, fd_count * sizeof(int));
    }
    do
        sent = sendmsg(socket, &message, MSG_NOSIGNAL);
    while (sent < 0 && errno == EINTR);
    return sent >= 0 ? 0 : fault_set_errno(fault, EX_UNAVAILABLE, "the other side of the books' socket is gone");
}

/* Descriptors beyond those that there is room for were closed by the kernel (MSG_CTRUNC). */
static void desk_take_fds(struct msghdr *from, struct desk_message *message) {
    for (struct cmsghdr *part = CMSG_FIRSTHDR(from); part != NULL; part = CMSG_NXTHDR(from, part)) {
        size_t count;

        if (part->cmsg_level != SOL_SOCKET || part->cmsg_type != SCM_RIGHTS)
            continue;
        count = (part->cmsg_len - CMSG_LEN(0)) / sizeof(int);
        for (size_t i = 0; i < count && message->fd_count < DESK_MOST_FDS; i++)
            memcpy(&message->fds[message->fd_count++], CMSG_DATA(part) + i * sizeof(int), sizeof(int));
    }
}

static bool desk_is_sound(const unsigned char *head, ssize_t got, int flags) {
    return got >= HEAD_BYTES && (flags & (MSG_TRUNC | MSG_CTRUNC)) == 0 &&
           memcmp(head, HEAD_MARK, sizeof HEAD_MARK) == 0 && head[HEAD_KIND] >= DESK_BEGIN &&
           head[HEAD_KIND] <= DESK_DONE && head[HEAD_FORM] == FORM && head[HEAD_ZERO] == 0 &&
           head[HEAD_ZERO + 1] == 0;
}

int desk_receive(int socket, struct desk_message *message, struct fault *fault) {
    unsigned char head[HEAD_BYTES] = {0};
    struct iovec parts[] = {{head, sizeof head}, {message->text, DESK_TEXT_BYTES}};
    union desk_control control = {{0}};
    struct msghdr whole = {
        .msg_iov = parts, .msg_iovlen = 2, .msg_control = control.bytes, .msg_controllen = sizeof control.bytes};
    ssize_t got;

    message->fd_count = 0;
    do
        got = recvmsg(socket, &whole, MSG_CMSG_CLOEXEC);
    while (got < 0 && errno == EINTR);
    if (got == 0)
        return fault_set(fault, EX_UNAVAILABLE, "the other side of the books' socket went away");
    if (got < 0)
        return fault_set_errno(fault, EX_UNAVAILABLE, "the other side of the books' socket says nothing");
    desk_take_fds(&whole, message);
    if (!desk_is_sound(head, got, whole.msg_flags)) {
        desk_close_fds(message);
        return fault_set(fault, EX_PROTOCOL, "what came over the books' socket is no message of form %d", FORM);
    }
    message->kind = (enum desk_kind)head[HEAD_KIND];
    message->status = head[HEAD_STATUS];
    message->length = (size_t)got - HEAD_BYTES;
    message->text[message->length] = '\0';
    return 0;
}

void desk_close_fds(struct desk_message *message) {
    for (size_t i = 0; i < message->fd_count; i++)
        close(message->fds[i]);
    message->fd_count = 0;
}

/* ---- what is bookkeeping ---- */

/* The first line that fits holds; NULL fits every second word. What only reads is done by whoever may read, and a
 * key is made by its owner. */
bool desk_keeps(int argc, char *const *argv) {
    // clang-format off
    static const struct {
        const char *command, *word;
        bool keeps;
    } rules[] = {
        {"amend", NULL, true},
        {"attest", NULL, true},
        {"batch", "close", true},
        {"batch", "open", true},
        {"batch", "split", true},
        {"certificate", NULL, true},
        {"check", "list", false},
        {"check", "print", false},
        {"check", NULL, true},
        {"claim", NULL, true},
        {"disposition", NULL, true},
        {"hardness", NULL, true},
        {"import", NULL, true},
        {"key", "certificate", true},
        {"key", "public", true},
        {"sensor", "correct", true},
        {"sensor", "retire", true},
        {"survey", "list", false},
        {"survey", "print", false},
        {"survey", NULL, true},
    };
    // clang-format on

    for (size_t i = 0; argc > 0 && i < sizeof rules / sizeof rules[0]; i++)
        if (strcmp(argv[0], rules[i].command) == 0 &&
            (rules[i].word == NULL || (argc > 1 && strcmp(argv[1], rules[i].word) == 0)))
            return rules[i].keeps;
    return false;
}
