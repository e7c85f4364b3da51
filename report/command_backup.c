// SPDX-License-Identifier: MIT
/* backup: the ledger as one file elsewhere, looked through, and put back. */
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "command.h"
#include "soakledger/backup.h"
#include "soakledger/keep.h"
#include "soakledger/seal.h"

static const char USAGE[] = "backup make FILE [--replace], backup check [FILE] or backup restore FILE";

enum { LEDGER_MODE = 0640 };

static void command_say_whole(struct command *command, const char *path, const struct backup_tally *tally) {
    char line[2 * COMMAND_TEXT_BYTES], time[COMMAND_TEXT_BYTES] = "";
    char last[COMMAND_TEXT_BYTES + 8] = "";

    if (tally->last_ms != 0)
        snprintf(last, sizeof last, " up to %s", command_time(command, tally->last_ms, time));
    snprintf(line, sizeof line, "%.500s: whole: %lld runs, %lld batches, %lld readings%s%s", path,
             (long long)tally->runs, (long long)tally->batches, (long long)tally->readings, last,
             tally->is_current ? "" : "; of an older version, which soakledgerd brings up to date when it starts");
    command_print(command->out, 2, line);
}

/* Copies, looks through the copy, and only then gives it its name. */
static int command_copy(struct command *command, const char *from, const char *path, const char *to,
                        struct fault *fault) {
    struct backup_tally tally;
    FILE *file;
    struct keep *keep = keep_begin(NULL, to, &file, fault);

    if (keep == NULL)
        return -1;
    if (fchmod(fileno(file), LEDGER_MODE) != 0) {
        fault_set_errno(fault, EX_IOERR, "%s: cannot set who may read it", to);
    } else if (backup_copy(from, keep_written(keep), fault) == 0 &&
               backup_check(keep_written(keep), &tally, fault) == 0 && keep_finish(keep, fault) == 0) {
        if (keep_rename(keep, fault) != 0)
            return -1;
        command_say_whole(command, path, &tally);
        return 0;
    }
    keep_drop(keep);
    return -1;
}

static bool command_is_same(const char *a, const char *b) {
    struct stat one, other;

    return stat(a, &one) == 0 && stat(b, &other) == 0 && one.st_dev == other.st_dev && one.st_ino == other.st_ino;
}

static int command_backup_make(struct command *command, const char *path, bool replace, struct fault *fault) {
    const char *ledger = command->config->ledger_path;

    if (command_is_same(path, ledger))
        return fault_set(fault, EX_USAGE, "%s: is the ledger itself: expected the name of another file", path);
    if (access(path, F_OK) == 0 && !replace)
        return fault_set(fault, EX_CANTCREAT, "%s: is there already: say --replace, or another name", path);
    return command_copy(command, ledger, path, path, fault);
}

static void command_say_flaw_of(void *context, const char *words) {
    struct command *command = context;
    char line[2 * COMMAND_TEXT_BYTES], clean[COMMAND_TEXT_BYTES];

    snprintf(line, sizeof line, "- %s", command_clean(words, clean));
    command_print(command->out, 2, line);
}

/* What nobody changed by accident may have been changed on purpose: the seals tell. */
static int command_check_seals(struct command *command, const char *path, struct fault *fault) {
    const struct seal_scope scope = {0};
    struct seal_tally tally = {0};
    struct ledger *ledger = ledger_open(path, LEDGER_READ, fault);
    int result = ledger != NULL ? seal_verify(ledger, &scope, command_say_flaw_of, command, &tally, fault) : -1;

    ledger_close(ledger);
    if (result != 0)
        return -1;
    if (tally.flaws > 0)
        return fault_set(fault, EX_DATAERR, "%s: is not as it was sealed: %lld flaws, see above", path,
                         (long long)tally.flaws);
    fprintf(command->out, "  every one of its %lld seals holds\n", (long long)tally.seals);
    return 0;
}

static int command_backup_check(struct command *command, const char *path, struct fault *fault) {
    struct backup_tally tally;

    if (backup_check(path, &tally, fault) != 0)
        return -1;
    command_say_whole(command, path, &tally);
    return tally.is_current ? command_check_seals(command, path, fault) : 0;
}

static int command_backup_restore(struct command *command, const char *path, struct fault *fault) {
    const char *ledger = command->config->ledger_path;
    int place, result;

    if (command_backup_check(command, path, fault) != 0)
        return -1;
    place = backup_take_place(ledger, fault);
    if (place < 0)
        return -1;
    result = command_copy(command, path, ledger, ledger, fault);
    close(place);
    if (result == 0)
        command_print(command->out, 2,
                      "What was recorded after the backup is not in it. The ledger must belong to the user that "
                      "soakledgerd runs as: see chown(1).");
    return result;
}

int command_backup(struct command *command, int argc, char **argv, struct fault *fault) {
    enum { WHAT, PATH, WORDS };
    const char *words[WORDS] = {NULL};
    const bool replace = command_take_out(&argc, argv, "--replace");

    if (command_take(argc, argv, NULL, 0, words, 1, WORDS, USAGE, fault) < 0 ||
        command_configure(command, fault) != 0)
        return -1;
    if (strcmp(words[WHAT], "check") == 0 && !replace)
        return command_backup_check(command, words[PATH] != NULL ? words[PATH] : command->config->ledger_path,
                                    fault);
    if (words[PATH] != NULL && strcmp(words[WHAT], "make") == 0)
        return command_backup_make(command, words[PATH], replace, fault);
    if (words[PATH] != NULL && strcmp(words[WHAT], "restore") == 0 && !replace)
        return command_backup_restore(command, words[PATH], fault);
    return fault_set(fault, EX_USAGE, "'backup %s' is not understood: expected '%s'", words[WHAT], USAGE);
}
