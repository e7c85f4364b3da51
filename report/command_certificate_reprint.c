// SPDX-License-Identifier: MIT
/* A certificate once more, byte for byte: what the ledger kept of it, and between the two parts the readings,
 * packed anew. Nothing is drawn and nothing signed, so that neither another program nor another key makes a
 * difference; the digest recorded at the time says whether it is the same. */
#include <openssl/evp.h>
#include <stdlib.h>
#include <string.h>

#include "command_certificate.h"
#include "soakledger/pdf.h"

enum { READ_BYTES = 65536 };

/* The channels as they were then, with the tables by which readings were corrected. */
static struct ledger_channel *paper_list_channels(struct command *command, const struct assess_run *run,
                                                  size_t *count, struct fault *fault) {
    struct ledger_run stored;
    const int got = ledger_read_run(command->ledger, run->run.run_id, &stored, fault);

    if (got == 0)
        fault_set(fault, EX_DATAERR, "run %lld is not in the ledger any more", (long long)run->run.run_id);
    return got == 1 ? ledger_list_channels(command->ledger, stored.oven_id, run->run.begun_ms, count, fault) : NULL;
}

static int paper_pack_run(struct command *command, struct paper *paper, const struct assess_run *run,
                          struct fault *fault) {
    const struct assess_watch watch = attach_watch(paper->attach);
    size_t count = 0;
    struct ledger_channel *channels = paper_list_channels(command, run, &count, fault);
    struct ledger_cursor *cursor = channels != NULL ? replay_open_cursor(command->ledger, channels, count,
                                                                         run->run.begun_ms, run->until_ms, fault)
                                                    : NULL;
    struct reading reading;
    int more = -1;

    if (cursor != NULL)
        more = watch.begin(watch.context, run->run.visit, run, fault) == 0 ? 1 : -1;
    while (more == 1 && (more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        replay_correct(channels, count, &reading);
        if (watch.reading(watch.context, &reading, fault) != 0)
            more = -1;
    }
    if (more == 0)
        more = watch.end(watch.context, run, fault);
    ledger_close_cursor(cursor);
    ledger_free_channels(channels, count);
    return more;
}

static int paper_write_runs(struct command *command, struct paper *paper, FILE *file,
                            const struct assess_batch *assessed, struct fault *fault) {
    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++)
            if (attach_find_readings(paper->facts, assessed->visits[i].runs[k].run.run_id) != NULL &&
                paper_pack_run(command, paper, &assessed->visits[i].runs[k], fault) != 0)
                return -1;
    for (size_t i = 0; i < attach_count(paper->attach); i++) {
        const struct attach_readings *readings = attach_run(paper->attach, i);
        const struct pdf_file attached = {.name = readings->name,
                                          .mime = "text/csv",
                                          .plain_bytes = readings->plain_bytes,
                                          .packed_bytes = readings->packed_bytes,
                                          .stream = attach_packed(paper->attach),
                                          .packed_from = readings->packed_from};

        if (pdf_write_file(file, &attached, paper->kept.first_object + (int64_t)i, paper->kept.issued_ms, fault) !=
            0)
            return -1;
    }
    return 0;
}

static int paper_digest(FILE *file, char sha256[LEDGER_SHA256_TEXT_BYTES]) {
    unsigned char buffer[READ_BYTES], digest[EVP_MAX_MD_SIZE];
    EVP_MD_CTX *context = EVP_MD_CTX_new();
    int done = context != NULL && fflush(file) == 0 && fseek(file, 0, SEEK_SET) == 0 &&
               EVP_DigestInit_ex(context, EVP_sha256(), NULL) == 1;

    for (size_t got; done && (got = fread(buffer, 1, sizeof buffer, file)) > 0;)
        done = EVP_DigestUpdate(context, buffer, got);
    done = done && !ferror(file) && EVP_DigestFinal_ex(context, digest, NULL) == 1;
    for (size_t i = 0; done && i < KEY_DIGEST_BYTES; i++)
        snprintf(sha256 + 2 * i, 3, "%02x", digest[i]);
    EVP_MD_CTX_free(context);
    return done ? 0 : -1;
}

static int paper_write_again(struct command *command, struct paper *paper, FILE *file,
                             const struct assess_batch *assessed, struct fault *fault) {
    const struct issue *kept = &paper->kept;
    char sha256[LEDGER_SHA256_TEXT_BYTES] = "";

    fwrite(kept->head, 1, kept->head_length, file);
    if (paper_write_runs(command, paper, file, assessed, fault) != 0)
        return -1;
    fwrite(kept->tail, 1, kept->tail_length, file);
    if (paper_digest(file, sha256) != 0)
        return fault_set_errno(fault, EX_IOERR, "cannot write the certificate");
    if (strcmp(sha256, kept->sha256) != 0)
        return fault_set(
            fault, EX_DATAERR,
            "revision %lld of batch %lld does not come out as it was issued (SHA-256 %.12s, then %.12s): "
            "the ledger's readings are not what they were, or zlib packs them otherwise than then",
            (long long)kept->revision, (long long)paper->issue.batch_id, sha256, kept->sha256);
    return 0;
}

int paper_reprint(struct command *command, struct paper *paper, const char *path, struct fault *fault) {
    struct issue *issue = issue_read(command->ledger, paper->issue.batch_id, paper->issue.revision, fault);
    struct assess_batch *assessed = NULL;
    char *name = NULL;
    FILE *file = NULL;
    int result = -1;

    if (issue == NULL)
        return -1;
    paper->kept = *issue; // its parts belong to the paper now
    free(issue);
    paper->issue.number = paper->kept.number;
    paper->facts = attach_parse(paper->kept.facts, paper->kept.facts_length, fault);
    if (paper->facts != NULL)
        assessed = attach_read_facts(paper->facts, fault);
    paper->attach = assessed != NULL ? attach_open(fault) : NULL;
    if (paper->attach != NULL && (paper->file = keep_begin(command_far(command), path, &file, fault)) != NULL &&
        paper_write_again(command, paper, file, assessed, fault) == 0 && keep_finish(paper->file, fault) == 0)
        result = 0;
    assess_free(assessed);
    if (result == 0 && paper->kept.is_signed) {
        result =
            asprintf(&name, "%s.sig", path) < 0 ? fault_set(fault, EX_OSERR, "%s: not enough memory", path) : 0;
        if (result == 0)
            paper->signature =
                keep_write(command_far(command), name, paper->kept.signature, sizeof paper->kept.signature, fault);
        result = paper->signature != NULL ? 0 : -1;
        free(name);
    }
    return result;
}
