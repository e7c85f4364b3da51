// SPDX-License-Identifier: MIT
/* The certificate as a command. Its number is printed inside, its SHA-256 is known only when it is finished, and
 * drawing a long run takes seconds in which the recorder must be able to write. So it is drawn under the number
 * that would be next, without a lock; then, under the lock, that number is confirmed and recorded; if another
 * certificate took it meanwhile, it is drawn again.
 *
 * The file is whole and synced before the ledger records it, and gets its name after. A crash between the two
 * leaves a recorded number whose paper still has its temporary name, which hurts nobody; the other way round a
 * paper could be handed out under a number that the ledger gives away once more. */
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "soakledger/certificate.h"
#include "soakledger/keep.h"

enum { TRIES = 5 };

/* 1 if it is recorded, 0 if the number was taken meanwhile, -1 with a fault. */
static int command_record_certificate(struct command *command, const struct certificate_issue *issue,
                                      const char *sha256, struct fault *fault) {
    int64_t revision = 0, number;
    int result = -1;

    if (ledger_begin(command->ledger, fault) != 0)
        return -1;
    number = ledger_next_certificate(command->ledger, issue->batch_id, &revision, fault);
    if (number > 0 && (number != issue->number || revision != issue->revision))
        result = 0;
    else if (number > 0 && ledger_add_certificate(command->ledger, issue->batch_id, issue->issued_ms, sha256,
                                                  &revision, fault) == issue->number)
        result = 1;
    if (result == 1 && ledger_commit(command->ledger, fault) == 0)
        return 1;
    ledger_roll_back(command->ledger);
    return result == 1 ? -1 : result;
}

/* Draws, writes and records one certificate; results as command_record_certificate. */
static int command_issue(struct command *command, struct certificate_issue *issue, const char *path,
                         enum outcome *outcome, struct fault *fault) {
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    unsigned char *bytes = NULL;
    struct keep *keep;
    size_t length = 0;
    int result;

    issue->number = ledger_next_certificate(command->ledger, issue->batch_id, &issue->revision, fault);
    if (issue->number < 0 ||
        certificate_make(command->ledger, command->config, issue, &bytes, &length, outcome, fault) != 0)
        return -1;
    ledger_sha256(bytes, length, sha256);
    keep = keep_write(path, bytes, length, fault);
    free(bytes);
    if (keep == NULL)
        return -1;
    result = command_record_certificate(command, issue, sha256, fault);
    if (result != 1) {
        keep_drop(keep);
        return result;
    }
    return keep_rename(keep, fault) == 0 ? 1 : -1;
}

int command_certificate(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *word = NULL, *path = NULL, *long_path = NULL;
    const struct command_option options[] = {{"-o", &path}, {"--output", &long_path}};
    struct certificate_issue issue = {0};
    enum outcome outcome = OUTCOME_NOT_PROVEN;
    char name[QUANTITY_TEXT_BYTES];
    int issued = 0;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &word, 1, 1,
                     "certificate BATCH [-o FILE]", fault) < 0 ||
        command_take_number(word, "batch", &issue.batch_id, fault) != 0 ||
        command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    issue.issued_ms = command_now_ms(command, fault);
    if (issue.issued_ms < 0)
        return -1;
    snprintf(name, sizeof name, "soakledger-batch-%lld.pdf", (long long)issue.batch_id);
    path = path != NULL ? path : long_path != NULL ? long_path : name;
    for (int i = 0; i < TRIES && issued == 0; i++)
        issued = command_issue(command, &issue, path, &outcome, fault);
    if (issued == 0)
        return fault_set(fault, EX_TEMPFAIL, "other certificates are being issued all the time: try again");
    if (issued < 0)
        return -1;
    fprintf(command->out, "%s\n", path);
    fprintf(stderr, "certificate %lld, revision %lld: batch %lld %s\n", (long long)issue.number,
            (long long)issue.revision, (long long)issue.batch_id, judge_outcome_name(outcome));
    return 0;
}
