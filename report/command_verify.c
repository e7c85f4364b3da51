// SPDX-License-Identifier: MIT
/* verify: does the ledger still say what it said when it was sealed? */
#include <inttypes.h>
#include <string.h>

#include "command.h"
#include "soakledger/seal.h"
#include "soakledger/words.h"

enum { LINE_BYTES = 1024 };

static void command_say_flaw(void *context, const char *words) {
    struct command *command = context;
    char clean[LINE_BYTES], line[LINE_BYTES + 4];

    snprintf(line, sizeof line, "- %s", words_clean(words, strlen(words), 0, clean, sizeof clean));
    command_print(command->out, 2, line);
}

static int command_take_scope(const char *const *words, int count, struct seal_scope *scope, struct fault *fault) {
    if (count == 0)
        return 0;
    if (count == 2 && strcmp(words[0], "run") == 0)
        return command_take_number(words[1], "run", &scope->run_id, fault);
    if (count == 2 && strcmp(words[0], "batch") == 0)
        return command_take_number(words[1], "batch", &scope->batch_id, fault);
    return fault_set(fault, EX_USAGE, "'%s': expected 'verify', 'verify run N' or 'verify batch N'", words[0]);
}

static const char *plural(int64_t count, const char *one, const char *many) {
    return count == 1 ? one : many;
}

static void command_say_tally(struct command *command, const struct seal_tally *tally) {
    char line[LINE_BYTES], seal[SEAL_WORDS_BYTES], time[COMMAND_TEXT_BYTES];

    snprintf(line, sizeof line, "looked at: %" PRId64 " %s, %" PRId64 " %s with %" PRId64 " %s, %" PRId64 " %s",
             tally->seals, plural(tally->seals, "seal", "seals"), tally->runs, plural(tally->runs, "run", "runs"),
             tally->readings, plural(tally->readings, "reading", "readings"), tally->entries,
             plural(tally->entries, "entry", "entries"));
    command_print(command->out, 2, line);
    snprintf(line, sizeof line, "last: %s%s%s", seal_describe(&tally->last, seal),
             tally->last.sealed_ms != 0 ? ", of " : "",
             tally->last.sealed_ms != 0 ? command_time(command, tally->last.sealed_ms, time) : "");
    command_print(command->out, 2, line);
    if (tally->later_runs > 0) {
        snprintf(line, sizeof line,
                 "sealed later, not as they closed: %" PRId64 " %s: nothing shows a change made before that",
                 tally->later_runs, plural(tally->later_runs, "run", "runs"));
        command_print(command->out, 2, line);
    }
    if (tally->imported_runs > 0) {
        snprintf(line, sizeof line,
                 "read in from elsewhere: %" PRId64 " %s: sealed as what came in, not as recorded here",
                 tally->imported_runs, plural(tally->imported_runs, "run", "runs"));
        command_print(command->out, 2, line);
    }
    if (tally->open_runs > 0) {
        snprintf(line, sizeof line, "not sealed yet: %" PRId64 " %s still on", tally->open_runs,
                 plural(tally->open_runs, "run, which is", "runs, which are"));
        command_print(command->out, 2, line);
    }
    if (tally->unsealed > 0) {
        snprintf(line, sizeof line, "not sealed yet: %" PRId64 " %s of the daemon since the last seal",
                 tally->unsealed, plural(tally->unsealed, "entry", "entries"));
        command_print(command->out, 2, line);
    }
}

/* What was looked for, and what nobody can find in the ledger alone. */
static void command_say_anchor(struct command *command, const struct seal_scope *scope,
                               const struct seal_tally *tally) {
    char line[LINE_BYTES];

    if (scope->anchor == NULL) {
        command_print(command->out, 2,
                      "Not looked for: an older copy put in the place of this ledger, its newest seals taken away "
                      "with all they cover, or all seals made anew. Those show only against a seal kept elsewhere, "
                      "such as on a certificate or in the journal: give its digits with --seal.");
    } else if (tally->anchor_id != 0) {
        snprintf(line, sizeof line, "The seal given is seal %" PRId64 " of this ledger; %" PRId64 " followed it.",
                 tally->anchor_id, tally->last.seal_id - tally->anchor_id);
        command_print(command->out, 2, line);
    }
}

/* Digits as they are printed, in groups, or in capitals. */
static const char *command_take_anchor(const char *text, char *out, size_t size) {
    size_t used = 0;

    if (text == NULL)
        return NULL;
    for (; *text != '\0' && used + 1 < size; text++) {
        if (*text != ' ')
            out[used++] = *text >= 'A' && *text <= 'F' ? (char)(*text - 'A' + 'a') : *text;
    }
    out[used] = '\0';
    return out;
}

int command_verify(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *words[2] = {NULL}, *anchor = NULL;
    const struct command_option options[] = {{"--seal", &anchor}};
    char digits[COMMAND_TEXT_BYTES];
    struct seal_scope scope = {0};
    struct seal_tally tally;
    int count;

    if (command_is_paper(argc, argv))
        return command_verify_paper(command, argc, argv, fault);
    count = command_take(argc, argv, options, sizeof options / sizeof options[0], words, 0, 2,
                         "verify [run N | batch N] [--seal DIGITS]", fault);

    if (count < 0 || command_take_scope(words, count, &scope, fault) != 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    scope.anchor = command_take_anchor(anchor, digits, sizeof digits);
    if (seal_verify(command->ledger, &scope, command_say_flaw, command, &tally, fault) != 0)
        return -1;
    command_say_tally(command, &tally);
    command_say_anchor(command, &scope, &tally);
    if (tally.flaws > 0)
        return fault_set(fault, EX_DATAERR, "%s: NOT as it was sealed: %" PRId64 " %s",
                         command->config->ledger_path, tally.flaws,
                         plural(tally.flaws, "difference", "differences"));
    fputs(tally.seals > 0 ? "Everything is as it was sealed.\n" : "Nothing is sealed yet.\n", command->out);
    return 0;
}
