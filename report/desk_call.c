// SPDX-License-Identifier: MIT
/* The caller's side. The service runs as another user and need not be trusted either: it gets descriptors only of
 * files that the person at the keyboard has named. */
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include "soakledger/desk.h"

struct desk_file {
    char *name; // NULL: free
    struct keep *keep;
};

struct desk_caller {
    int socket, argc;
    char *const *argv;
    struct desk_file files[DESK_MOST_FILES];
    struct desk_message message;
};

/* ---- which files ---- */

static bool desk_is_output(const char *word) {
    return strcmp(word, "-o") == 0 || strcmp(word, "--output") == 0;
}

/* The value in "--name=VALUE", else NULL. */
static const char *desk_value(const char *word) {
    const char *value = word[0] == '-' ? strchr(word, '=') : NULL;

    return value != NULL ? value + 1 : NULL;
}

bool desk_may_read(int argc, char *const *argv, const char *name) {
    for (int i = 1; i < argc; i++) {
        const char *value = desk_value(argv[i]);

        if ((strcmp(argv[i], name) == 0 && !desk_is_output(argv[i - 1])) ||
            (value != NULL && strcmp(value, name) == 0))
            return true;
    }
    return false;
}

/* The name, or the name of the signature beside it. */
static bool desk_is_of(const char *given, size_t length, const char *name) {
    return strncmp(given, name, length) == 0 && (name[length] == '\0' || strcmp(name + length, ".sig") == 0);
}

bool desk_may_make(int argc, char *const *argv, const char *name) {
    static const char by_itself[] = "soakledger-", ending[] = ".pdf";
    const char *last = NULL;

    for (int i = 1; i < argc; i++) {
        const char *value = desk_value(argv[i]);
        const char *given = desk_is_output(argv[i - 1]) ? argv[i]
                            : value != NULL && (strncmp(argv[i], "-o=", strlen("-o=")) == 0 ||
                                                strncmp(argv[i], "--output=", strlen("--output=")) == 0)
                                ? value
                                : NULL;

        if (given != NULL && desk_is_of(given, strlen(given), name))
            return true;
    }
    if (strncmp(name, by_itself, strlen(by_itself)) == 0 && strchr(name, '/') == NULL)
        last = strstr(name, ending);
    return last != NULL && desk_is_of(ending, strlen(ending), last);
}

/* ---- what the service asks for ---- */

static struct desk_file *desk_find_file(struct desk_caller *caller, const char *name) {
    for (size_t i = 0; i < DESK_MOST_FILES; i++)
        if (caller->files[i].name != NULL && strcmp(caller->files[i].name, name) == 0)
            return &caller->files[i];
    return NULL;
}

static void desk_forget(struct desk_file *file) {
    free(file->name);
    *file = (struct desk_file){0};
}

static int desk_answer(struct desk_caller *caller, int result, const struct fault *outcome, int fd,
                       struct fault *fault) {
    const char *text = result != 0 ? outcome->text : "";

    return desk_send(caller->socket, DESK_ANSWER, result != 0 ? outcome->status : 0, text, strlen(text), &fd,
                     fd >= 0 ? 1 : 0, fault);
}

static int desk_give(struct desk_caller *caller, const char *name, struct fault *fault) {
    int fd = -1, error = EACCES, result;

    if (desk_may_read(caller->argc, caller->argv, name)) {
        fd = open(name, O_RDONLY | O_CLOEXEC | O_NOCTTY);
        error = errno;
    }
    result = desk_send(caller->socket, DESK_ANSWER, fd >= 0 ? 0 : error, "", 0, &fd, fd >= 0 ? 1 : 0, fault);
    if (fd >= 0)
        close(fd);
    return result;
}

static int desk_make(struct desk_caller *caller, const char *name, struct fault *fault) {
    struct desk_file *file = NULL;
    struct fault outcome = {0};
    FILE *stream = NULL;

    for (size_t i = 0; file == NULL && i < DESK_MOST_FILES; i++)
        if (caller->files[i].name == NULL)
            file = &caller->files[i];
    if (!desk_may_make(caller->argc, caller->argv, name) || desk_find_file(caller, name) != NULL || file == NULL)
        return fault_set(fault, EX_PROTOCOL, "the books' service asks for a file that was not named: '%.200s'",
                         name);
    file->keep = keep_begin(NULL, name, &stream, &outcome);
    if (file->keep == NULL)
        return desk_answer(caller, -1, &outcome, -1, fault);
    file->name = strdup(name);
    if (file->name == NULL) {
        keep_drop(file->keep);
        return fault_set(fault, EX_OSERR, "not enough memory");
    }
    return desk_answer(caller, 0, NULL, keep_descriptor(file->keep), fault);
}

static int desk_end_file(struct desk_caller *caller, enum desk_kind kind, const char *name, struct fault *fault) {
    struct desk_file *file = desk_find_file(caller, name);
    struct fault outcome = {0};
    int result = 0;

    if (file == NULL)
        return fault_set(fault, EX_PROTOCOL, "the books' service speaks of a file that it never made");
    if (kind == DESK_DROP) {
        keep_drop(file->keep);
    } else if (keep_finish(file->keep, &outcome) != 0) {
        keep_drop(file->keep);
        result = -1;
    } else {
        result = keep_rename(file->keep, &outcome);
    }
    desk_forget(file);
    return desk_answer(caller, result, &outcome, -1, fault);
}

static int desk_serve(struct desk_caller *caller, struct fault *fault) {
    const char *name = caller->message.text;

    desk_close_fds(&caller->message); // none is asked for
    switch (caller->message.kind) {
    case DESK_READ: return desk_give(caller, name, fault);
    case DESK_MAKE: return desk_make(caller, name, fault);
    case DESK_NAME:
    case DESK_DROP: return desk_end_file(caller, caller->message.kind, name, fault);
    default: return fault_set(fault, EX_PROTOCOL, "the books' service says what nobody expects");
    }
}

/* ---- the call ---- */

int desk_connect(const char *path, struct fault *fault) {
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    int fd;

    if (strlen(path) >= sizeof address.sun_path)
        return fault_set(fault, EX_USAGE, "%s: expected a shorter name of a socket", path);
    memcpy(address.sun_path, path, strlen(path));
    fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0);
    if (fd < 0)
        return fault_set_errno(fault, EX_OSERR, "%s: no socket", path);
    if (connect(fd, (const struct sockaddr *)&address, sizeof address) == 0)
        return fd;
    if (errno == EACCES)
        fault_set(fault, EX_NOPERM, "%s: this user may not keep the books: expected a member of the socket's group",
                  path);
    else
        fault_set_errno(fault, EX_UNAVAILABLE, "%s: nobody keeps the books there", path);
    close(fd);
    return -1;
}

static int desk_put(char *text, size_t *used, const char *word, struct fault *fault) {
    const size_t bytes = strlen(word) + 1;

    if (bytes > DESK_TEXT_BYTES - *used)
        return fault_set(fault, EX_USAGE, "more than %d bytes of words: expected fewer", DESK_TEXT_BYTES);
    memcpy(text + *used, word, bytes);
    *used += bytes;
    return 0;
}

static int desk_begin(struct desk_caller *caller, const char *ledger_path, struct fault *fault) {
    const int own[DESK_MOST_FDS] = {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO};
    char *text = caller->message.text;
    size_t used = 0;

    if (caller->argc > DESK_MOST_WORDS)
        return fault_set(fault, EX_USAGE, "%d words: expected at most %d", caller->argc, DESK_MOST_WORDS);
    if (desk_put(text, &used, ledger_path, fault) != 0)
        return -1;
    for (int i = 0; i < caller->argc; i++)
        if (desk_put(text, &used, caller->argv[i], fault) != 0)
            return -1;
    return desk_send(caller->socket, DESK_BEGIN, 0, text, used, own, DESK_MOST_FDS, fault);
}

static int desk_run(struct desk_caller *caller, const char *ledger_path, struct fault *fault) {
    if (desk_begin(caller, ledger_path, fault) != 0)
        return -1;
    for (;;) {
        if (desk_receive(caller->socket, &caller->message, fault) != 0)
            return -1;
        if (caller->message.kind == DESK_DONE)
            break;
        if (desk_serve(caller, fault) != 0)
            return -1;
    }
    desk_close_fds(&caller->message);
    return caller->message.status == 0 ? 0 : fault_set(fault, caller->message.status, "%s", caller->message.text);
}

int desk_call(int socket, const char *ledger_path, int argc, char *const *argv, struct fault *fault) {
    struct desk_caller *caller = calloc(1, sizeof *caller);
    int result;

    if (caller == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory");
    caller->socket = socket;
    caller->argc = argc;
    caller->argv = argv;
    result = desk_run(caller, ledger_path, fault);
    for (size_t i = 0; i < DESK_MOST_FILES; i++) // of a service that died
        if (caller->files[i].name != NULL) {
            keep_drop(caller->files[i].keep);
            desk_forget(&caller->files[i]);
        }
    free(caller);
    return result;
}
