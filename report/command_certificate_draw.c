// SPDX-License-Identifier: MIT
/* One certificate from the ledger to paper: pages, facts and readings, put together, signed, written and measured.
 */
#include <openssl/evp.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>
#include <zlib.h>

#include "command_certificate.h"
#include "soakledger/pdf.h"
#include "soakledger/version.h"
#include "soakledger/words.h"

enum { TEXT_BYTES = 256 };
static const char PROGRAM[] = "soakledger " SOAKLEDGER_VERSION;

/* ---- the revision before ---- */

int paper_refuse_silence(struct command *command, struct paper *paper, struct fault *fault) {
    if (paper->issue.revision == 1 && paper->why != NULL)
        return fault_set(fault, EX_USAGE, "batch %lld has no certificate yet: expected no --why",
                         (long long)paper->issue.batch_id);
    if (paper->issue.revision > 1 && paper->why == NULL)
        return fault_set(fault, EX_USAGE,
                         "batch %lld has a certificate already (revision %lld): expected --why TEXT for a new "
                         "revision, or --revision %lld to print it again",
                         (long long)paper->issue.batch_id, (long long)paper->issue.revision - 1,
                         (long long)paper->issue.revision - 1);
    issue_free(paper->before);
    paper->before = NULL;
    if (paper->issue.revision > 1)
        paper->before = issue_read(command->ledger, paper->issue.batch_id, paper->issue.revision - 1, fault);
    /* One that was issued before anything was kept is followed without a comparison. */
    return paper->issue.revision == 1 || paper->before != NULL || fault->status == EX_NOINPUT ? 0 : -1;
}

static json_t *paper_compare(const struct paper *paper, struct fault *fault) {
    static const char *const passed_over[] = {"format", "version", "certificate", "seal", NULL};
    json_t *before, *changed = NULL;

    if (paper->before == NULL) {
        changed = json_array();
        if (changed != NULL && paper->issue.revision > 1)
            json_array_append_new(changed, json_string("not known: of the one before only its digest was kept"));
        return changed;
    }
    before = attach_parse(paper->before->facts, paper->before->facts_length, fault);
    if (before == NULL)
        return NULL;
    changed = attach_compare(before, paper->facts, "was", "is now", passed_over, CERTIFICATE_MOST_CHANGES - 1);
    if (changed == NULL)
        fault_set(fault, EX_OSERR, "not enough memory to compare with the revision before");
    json_decref(before);
    return changed;
}

static int64_t paper_follows(const struct paper *paper) {
    if (paper->before != NULL)
        return paper->before->number;
    return paper->issue.revision > 1 ? paper->issue.number - 1 : 0;
}

/* ---- before the pages are drawn ---- */

static int paper_set_changes(struct paper *paper, struct certificate_about *about, struct fault *fault) {
    json_t *changed = paper_compare(paper, fault), *certificate = json_object_get(paper->facts, "certificate");
    const json_t *sentence;
    size_t i;

    if (changed == NULL)
        return -1;
    json_array_foreach(changed, i, sentence) {
        if (about->change_count < CERTIFICATE_MOST_CHANGES)
            words_clean(json_string_value(sentence), json_string_length(sentence), 0,
                        about->changes[about->change_count++], CERTIFICATE_CHANGE_BYTES);
    }
    if (json_object_set_new(certificate, "changed", changed) != 0)
        return fault_set(fault, EX_OSERR, "not enough memory for the facts of a certificate");
    return 0;
}

static int paper_assessed(void *context, const struct assess_batch *assessed, struct certificate_about *about,
                          struct fault *fault) {
    struct paper *paper = context;
    const struct attach_revision revision = {.replaces = paper_follows(paper), .why = paper->why, .changed = NULL};

    paper->facts = attach_make_facts(assessed, paper->command->config, &paper->issue, &revision, paper->key,
                                     paper->attach, fault);
    if (paper->facts == NULL)
        return -1;
    about->proof_count = proof_write(paper->key, paper->attach != NULL, about->proof);
    about->replaces = revision.replaces;
    about->why = paper->why != NULL ? paper->why : "";
    return paper_set_changes(paper, about, fault);
}

/* ---- the file ---- */

static int paper_pack_facts(struct paper *paper, struct pdf_file *file, struct fault *fault) {
    uLongf packed_bytes;
    unsigned char *packed;

    paper->kept.facts = attach_print_facts(paper->facts, &paper->kept.facts_length, fault);
    if (paper->kept.facts == NULL)
        return -1;
    packed_bytes = compressBound(paper->kept.facts_length);
    packed = malloc(packed_bytes);
    if (packed == NULL || compress2(packed, &packed_bytes, (const unsigned char *)paper->kept.facts,
                                    paper->kept.facts_length, Z_BEST_COMPRESSION) != Z_OK) {
        free(packed);
        return fault_set(fault, EX_OSERR, "not enough memory for the facts of a certificate");
    }
    *file = (struct pdf_file){.name = ATTACH_FACTS_NAME,
                              .description = "What was recorded, said and judged, with the plan",
                              .mime = "application/json",
                              .plain_bytes = (int64_t)paper->kept.facts_length,
                              .packed_bytes = (int64_t)packed_bytes,
                              .packed = packed};
    return 0;
}

static struct pdf_file paper_readings(const struct paper *paper, size_t index) {
    const struct attach_readings *readings = attach_run(paper->attach, index);

    return (struct pdf_file){.name = readings->name,
                             .description = "Every reading of one run",
                             .mime = "text/csv",
                             .plain_bytes = readings->plain_bytes,
                             .packed_bytes = readings->packed_bytes,
                             .stream = attach_packed(paper->attach),
                             .packed_from = readings->packed_from};
}

static void paper_set_id(const struct paper *paper, struct pdf_about *about) {
    unsigned char digest[EVP_MAX_MD_SIZE];

    EVP_Digest(paper->kept.facts, paper->kept.facts_length, digest, NULL, EVP_sha256(), NULL);
    memcpy(about->id, digest, sizeof about->id);
}

static int paper_put_together(struct paper *paper, FILE *file, const unsigned char *pages, size_t length,
                              struct pdf_places *places, struct fault *fault) {
    struct pdf_file files[ATTACH_MOST_RUNS + 1] = {{0}};
    const size_t late = paper->attach != NULL ? attach_count(paper->attach) : 0;
    const struct certificate_issue *issue = &paper->issue;
    char title[TEXT_BYTES];
    struct pdf_about about = {.title = title,
                              .author = paper->command->config->shop_name,
                              .program = PROGRAM,
                              .reason = title,
                              .made_ms = issue->issued_ms};
    int result;

    snprintf(title, sizeof title, "Certificate %lld, revision %lld: heat treatment of batch %lld",
             (long long)issue->number, (long long)issue->revision, (long long)issue->batch_id);
    if (paper_pack_facts(paper, &files[0], fault) != 0)
        return -1;
    paper_set_id(paper, &about);
    for (size_t i = 0; i < late; i++)
        files[i + 1] = paper_readings(paper, i);
    result = pdf_write(file, pages, length, &about, files, late + 1, late, paper->key, places, fault);
    free((unsigned char *)files[0].packed);
    return result;
}

/* ---- what is kept of it ---- */

static unsigned char *paper_copy(const unsigned char *from, int64_t length) {
    unsigned char *copy = malloc((size_t)length + 1);

    if (copy != NULL)
        memcpy(copy, from, (size_t)length);
    return copy;
}

/* Ed25519 wants the whole message twice over: it is mapped, not read. */
static int paper_keep(struct paper *paper, FILE *file, const struct pdf_places *places, struct fault *fault) {
    struct issue *kept = &paper->kept;
    const unsigned char *bytes = fflush(file) == 0
                                     ? mmap(NULL, (size_t)places->length, PROT_READ, MAP_PRIVATE, fileno(file), 0)
                                     : MAP_FAILED;
    int result = 0;

    if (bytes == MAP_FAILED)
        return fault_set_errno(fault, EX_IOERR, "cannot read back the certificate");
    ledger_sha256(bytes, (size_t)places->length, kept->sha256);
    kept->head_length = (size_t)places->late_from;
    kept->tail_length = (size_t)(places->length - places->late_to);
    kept->head = paper_copy(bytes, places->late_from);
    kept->tail = paper_copy(bytes + places->late_to, places->length - places->late_to);
    kept->is_signed = paper->key != NULL;
    if (kept->head == NULL || kept->tail == NULL)
        result = fault_set(fault, EX_OSERR, "not enough memory to keep a certificate");
    else if (paper->key != NULL)
        result = key_sign(paper->key, bytes, (size_t)places->length, kept->signature, fault);
    munmap((void *)bytes, (size_t)places->length);
    kept->number = paper->issue.number;
    kept->first_object = places->first_object;
    kept->program = strdup(PROGRAM);
    kept->why = strdup(paper->why != NULL ? paper->why : "");
    kept->said_by = strdup(paper->why != NULL ? paper->said_by : "");
    if (result == 0 && (kept->program == NULL || kept->why == NULL || kept->said_by == NULL))
        result = fault_set(fault, EX_OSERR, "not enough memory to keep a certificate");
    return result;
}

static int paper_open_key(struct command *command, struct paper *paper, struct fault *fault) {
    if (paper->key != NULL || command->config->key_path == NULL)
        return 0;
    paper->key = key_read(command->config->key_path, fault);
    return paper->key != NULL ? 0 : -1;
}

static int paper_write_signature(struct paper *paper, const char *path, struct fault *fault) {
    char *name = NULL;

    if (!paper->kept.is_signed)
        return 0;
    if (asprintf(&name, "%s.sig", path) < 0)
        return fault_set(fault, EX_OSERR, "%s: not enough memory", path);
    paper->signature =
        keep_write(command_far(paper->command), name, paper->kept.signature, sizeof paper->kept.signature, fault);
    free(name);
    return paper->signature != NULL ? 0 : -1;
}

int paper_draw(struct command *command, struct paper *paper, const char *path, struct fault *fault) {
    struct certificate_witness witness = {.context = paper, .assessed = paper_assessed};
    struct pdf_places places = {0};
    unsigned char *pages = NULL;
    FILE *file = NULL;
    size_t length = 0;
    int result = -1;

    paper->command = command;
    if (paper_open_key(command, paper, fault) != 0)
        return -1;
    if (!paper->without_readings) {
        paper->attach = attach_open(fault);
        if (paper->attach == NULL)
            return -1;
        witness.watch = attach_watch(paper->attach);
    }
    if (certificate_make(command->ledger, command->config, &paper->issue, &witness, &pages, &length,
                         &paper->outcome, fault) == 0 &&
        (paper->file = keep_begin(command_far(command), path, &file, fault)) != NULL &&
        paper_put_together(paper, file, pages, length, &places, fault) == 0 &&
        paper_keep(paper, file, &places, fault) == 0 && keep_finish(paper->file, fault) == 0)
        result = paper_write_signature(paper, path, fault);
    free(pages);
    if (result != 0)
        paper_drop(paper);
    return result;
}

/* ---- the end ---- */

int paper_name(struct paper *paper, struct fault *fault) {
    struct keep *file = paper->file, *signature = paper->signature;

    paper->file = NULL;
    paper->signature = NULL;
    if (keep_rename(file, fault) != 0) {
        keep_drop(signature);
        return -1;
    }
    return signature != NULL ? keep_rename(signature, fault) : 0;
}

void paper_drop(struct paper *paper) {
    struct issue *kept = &paper->kept;

    keep_drop(paper->file);
    keep_drop(paper->signature);
    paper->file = paper->signature = NULL;
    attach_free(paper->attach);
    paper->attach = NULL;
    json_decref(paper->facts);
    paper->facts = NULL;
    free(kept->facts);
    free(kept->why);
    free(kept->said_by);
    free(kept->program);
    free(kept->head);
    free(kept->tail);
    memset(kept, 0, sizeof *kept);
}

void paper_free(struct paper *paper) {
    if (paper == NULL)
        return;
    paper_drop(paper);
    issue_free(paper->before);
    key_free(paper->key);
    free(paper);
}
