// SPDX-License-Identifier: MIT
/* desk: one call of somebody who may not write the ledger, carried out by its owner. And the other side: when the
 * command is such a somebody, and hands its words over. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "command.h"
#include "soakledger/caller.h"
#include "soakledger/desk.h"
#include "soakledger/journal.h"
#include "soakledger/words.h"

static const char DESK_VARIABLE[] = "SOAKLEDGER_BOOKS";

/* ---- the caller ---- */

/* A descriptor, or -1: with a fault if there is no other way than to say so, else with status EX_OK. */
static int command_find_desk(struct command *command, struct fault *fault) {
    const char *named = getenv(DESK_VARIABLE);
    struct fault trouble = {0};
    int socket;

    fault->status = EX_OK;
    if (command_configure(command, &trouble) != 0 || access(command->config->ledger_path, W_OK) == 0 ||
        errno != EACCES)
        return -1;
    socket = desk_connect(named != NULL ? named : DESK_SOCKET, &trouble);
    if (socket < 0 && trouble.status != EX_UNAVAILABLE)
        *fault = trouble;
    return socket;
}

int command_hand_over(struct command *command, int argc, char **argv, struct fault *fault) {
    struct fault trouble = {0};
    int socket, result;

    if (command->seat != NULL || !desk_keeps(argc, argv))
        return 0;
    socket = command_find_desk(command, &trouble);
    if (socket < 0 && trouble.status == EX_OK)
        return 0;
    if (socket < 0) {
        *fault = trouble;
        return -1;
    }
    fflush(command->out);
    result = desk_call(socket, command->config->ledger_path, argc, argv, fault);
    close(socket);
    return result == 0 ? 1 : -1;
}

/* ---- files ---- */

const struct keep_far *command_far(const struct command *command) {
    return command->seat != NULL ? desk_far(command->seat) : NULL;
}

FILE *command_open_input(const struct command *command, const char *path) {
    return command->seat != NULL ? desk_open(command->seat, path) : fopen(path, "re");
}

struct keyfile *command_read_keyfile(const struct command *command, const char *path, struct fault *fault) {
    FILE *stream = command_open_input(command, path);
    struct keyfile *file;

    if (stream == NULL) {
        fault_set_errno(fault, EX_NOINPUT, "%s: cannot be opened", path);
        return NULL;
    }
    file = keyfile_read_stream(stream, path, fault);
    fclose(stream);
    return file;
}

struct plan *command_read_plan(const struct command *command, const char *path, struct fault *fault) {
    struct keyfile *file = command_read_keyfile(command, path, fault);
    struct plan *plan = NULL;

    if (file != NULL) {
        size_t length;
        const char *text = keyfile_text(file, &length);

        plan = plan_parse(text, length, path, fault);
        keyfile_free(file);
    }
    return plan;
}

/* ---- the service ---- */

int command_introduce(const struct command *command, struct fault *fault) {
    char words[CALLER_WORDS_BYTES] = "", clean[CALLER_WORDS_BYTES];
    size_t used = 0;
    int count;
    char **const given = desk_words(command->seat, &count);

    for (int i = 0; i < count && used < sizeof words; i++)
        used += (size_t)snprintf(words + used, sizeof words - used, "%s%s", i > 0 ? " " : "", given[i]);
    words_clean(words, strlen(words), 0, clean, sizeof clean);
    return caller_introduce(command->ledger, desk_user(command->seat), desk_person(command->seat), clean, fault);
}

static int command_serve(struct command *served, struct fault *fault) {
    int count, result;
    char **const words = desk_words(served->seat, &count);
    const struct command_entry *entry = command_find(words[0]);

    if (entry == NULL)
        return fault_set(fault, EX_SOFTWARE, "there is no command '%.40s'", words[0]);
    if (command_configure(served, fault) != 0)
        return -1;
    if (strcmp(served->config->ledger_path, desk_ledger(served->seat)) != 0)
        return fault_set(fault, EX_CONFIG, "the books' service keeps %.200s, not the ledger of this configuration",
                         served->config->ledger_path);
    result = entry->function(served, count - 1, words + 1, fault);
    command_release(served);
    if (result == 0 && fflush(served->out) != 0)
        return fault_set_errno(fault, EX_IOERR, "cannot write to standard output");
    return result;
}

static void command_say_call(const struct desk_seat *seat) {
    int count;
    char **const words = desk_words(seat, &count);

    journal_write(JOURNAL_INFO, "%s (%lu): %s %s", desk_person(seat), (unsigned long)desk_user(seat), words[0],
                  count > 1 ? words[1] : "");
}

int command_desk(struct command *command, int argc, char **argv, struct fault *fault) {
    struct command served = {.config_path = command->config_path, .out = command->out};
    struct fault outcome = {0};
    int result;

    if (argc > 0)
        return fault_set(fault, EX_USAGE, "'%s' is one word too many: expected 'desk'", argv[0]);
    served.seat = desk_take_seat(STDIN_FILENO, fault);
    if (served.seat == NULL)
        return -1;
    command_say_call(served.seat);
    if (desk_sit_down(served.seat, &outcome) == 0 && command_serve(&served, &outcome) == 0)
        outcome = (struct fault){0};
    command_release(&served);
    result = desk_done(served.seat, &outcome, fault);
    desk_leave_seat(served.seat);
    return result;
}
