// SPDX-License-Identifier: MIT
/* The certificate as a command. Its number is printed inside, its SHA-256 is known only when it is finished, and
 * drawing a long run takes seconds in which the recorder must be able to write. So it is drawn under the number
 * that would be next, without a lock; then, under the lock, that number is confirmed and recorded; if another
 * certificate took it meanwhile, it is drawn again.
 *
 * The file is whole and synced before the ledger records it, and gets its name after; so does its signature. A
 * crash between the two leaves a recorded number whose paper still has its temporary name, which hurts nobody (it
 * can be printed again from the ledger); the other way round a paper could be handed out under a number that the
 * ledger gives away once more. */
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "command_certificate.h"

enum { TRIES = 5 };
static const char USAGE[] =
    "certificate BATCH [--why TEXT] [--by NAME] [--without-readings] [--revision N] [-o FILE]";

/* 1 if it is recorded, 0 if the number was taken meanwhile, -1 with a fault. */
static int command_record_certificate(struct command *command, struct paper *paper, struct fault *fault) {
    const struct certificate_issue *issue = &paper->issue;
    int64_t revision = 0, number;
    int result = -1;

    if (ledger_begin(command->ledger, fault) != 0)
        return -1;
    number = ledger_next_certificate(command->ledger, issue->batch_id, &revision, fault);
    if (number > 0 && (number != issue->number || revision != issue->revision))
        result = 0;
    else if (number > 0 && ledger_add_certificate(command->ledger, issue->batch_id, issue->issued_ms,
                                                  paper->kept.sha256, &revision, fault) == issue->number)
        result = issue_keep(command->ledger, &paper->kept, fault) == 0 ? 1 : -1;
    if (result == 1 && ledger_commit(command->ledger, fault) == 0)
        return 1;
    ledger_roll_back(command->ledger);
    return result == 1 ? -1 : result;
}

/* Draws, writes and records one certificate; results as command_record_certificate. */
static int command_issue(struct command *command, struct paper *paper, const char *path, struct fault *fault) {
    int result;

    paper->issue.number =
        ledger_next_certificate(command->ledger, paper->issue.batch_id, &paper->issue.revision, fault);
    if (paper->issue.number < 0 || paper_refuse_silence(command, paper, fault) != 0 ||
        paper_draw(command, paper, path, fault) != 0)
        return -1;
    result = command_record_certificate(command, paper, fault);
    if (result == 1)
        return paper_name(paper, fault) == 0 ? 1 : -1;
    paper_drop(paper);
    return result;
}

static int command_issue_until_done(struct command *command, struct paper *paper, const char *path,
                                    struct fault *fault) {
    int issued = 0;

    paper->issue.issued_ms = command_now_ms(command, fault);
    if (paper->issue.issued_ms < 0)
        return -1;
    for (int i = 0; i < TRIES && issued == 0; i++)
        issued = command_issue(command, paper, path, fault);
    if (issued == 0)
        return fault_set(fault, EX_TEMPFAIL, "other certificates are being issued all the time: try again");
    if (issued < 0)
        return -1;
    command_say_path(command, path, "");
    if (paper->kept.is_signed)
        command_say_path(command, path, ".sig");
    fprintf(stderr, "certificate %lld, revision %lld: batch %lld %s%s\n", (long long)paper->issue.number,
            (long long)paper->issue.revision, (long long)paper->issue.batch_id, judge_outcome_name(paper->outcome),
            paper->kept.is_signed ? "" : ", not signed: no key in [shop]");
    return 0;
}

static int command_reprint(struct command *command, struct paper *paper, const char *path, struct fault *fault) {
    if (paper_reprint(command, paper, path, fault) != 0 || paper_name(paper, fault) != 0)
        return -1;
    command_say_path(command, path, "");
    if (paper->kept.is_signed)
        command_say_path(command, path, ".sig");
    fprintf(stderr, "certificate %lld, revision %lld, as it was issued\n", (long long)paper->issue.number,
            (long long)paper->issue.revision);
    return 0;
}

static int command_take_paper(const struct command *command, int argc, char **argv, struct paper *paper,
                              const char **path, int64_t *revision, struct fault *fault) {
    const char *word = NULL, *long_path = NULL, *by = NULL, *number = NULL;
    const struct command_option options[] = {
        {"-o", path}, {"--output", &long_path}, {"--why", &paper->why}, {"--by", &by}, {"--revision", &number}};

    *revision = 0;
    paper->without_readings = command_take_out(&argc, argv, "--without-readings");
    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &word, 1, 1, USAGE, fault) < 0 ||
        command_take_number(word, "batch", &paper->issue.batch_id, fault) != 0 ||
        (number != NULL && command_take_number(number, "revision", revision, fault) != 0))
        return -1;
    if (number != NULL && (paper->why != NULL || by != NULL || paper->without_readings))
        return fault_set(fault, EX_USAGE,
                         "--revision prints what was issued: expected no --why, --by or --without-readings");
    if (paper->why != NULL && paper->why[strspn(paper->why, " \t\r\n")] == '\0')
        return fault_set(fault, EX_USAGE, "--why is empty: expected a reason in words");
    paper->said_by = command_person(command, by);
    *path = *path != NULL ? *path : long_path;
    return 0;
}

int command_certificate(struct command *command, int argc, char **argv, struct fault *fault) {
    struct paper *paper = calloc(1, sizeof *paper);
    const char *path = NULL;
    char name[QUANTITY_TEXT_BYTES];
    int64_t revision;
    int result = -1;

    if (paper == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for a certificate");
    if (command_take_paper(command, argc, argv, paper, &path, &revision, fault) == 0 &&
        command_open_ledger(command, revision != 0 ? LEDGER_READ : LEDGER_BOOKKEEP, fault) == 0) {
        snprintf(name, sizeof name, "soakledger-batch-%lld%s%.0lld.pdf", (long long)paper->issue.batch_id,
                 revision != 0 ? "-revision-" : "", (long long)revision);
        path = path != NULL ? path : name;
        paper->issue.revision = revision;
        result = revision != 0 ? command_reprint(command, paper, path, fault)
                               : command_issue_until_done(command, paper, path, fault);
    }
    paper_free(paper);
    return result;
}
