// SPDX-License-Identifier: MIT
#include "soakledger/recheck.h"

#include <stdlib.h>
#include <string.h>

#include "pdf_read.h"
#include "soakledger/attach.h"
#include "soakledger/words.h"

/* A year of 128 channels ten times a second would be more; nothing that a batch needs. */
#define MOST_CSV_BYTES INT64_C(8589934592)

struct recheck_work {
    struct recheck *check;
    struct pdf_read read;
    struct pdf_attached attached[ATTACH_MOST_RUNS + 1];
    int attached_count;
    json_t *facts;
    struct assess_batch *assessed;
};

static const struct pdf_attached *recheck_find(const struct recheck_work *work, const char *name) {
    for (int i = 0; i < work->attached_count; i++)
        if (strcmp(work->attached[i].name, name) == 0)
            return &work->attached[i];
    return NULL;
}

static void recheck_differ(struct recheck_work *work, const char *sentence) {
    if (json_array_size(work->check->differences) < RECHECK_MOST_DIFFERENCES)
        json_array_append_new(work->check->differences, json_string(sentence));
}

/* ---- the signature ---- */

static int recheck_signature(struct recheck_work *work, struct fault *fault) {
    struct pdf_signature signature;
    struct recheck *check = work->check;

    if (pdf_read_signature(&work->read, &signature, fault) != 0)
        return -1;
    if (!signature.is_there)
        return 0;
    check->signature =
        key_check_cms(signature.der, sizeof signature.der, signature.digest, &check->signer, &check->broken) == 0
            ? RECHECK_HOLDS
            : RECHECK_BROKEN;
    return 0;
}

/* ---- the facts ---- */

struct recheck_text {
    char *bytes;
    size_t used;
};

static int recheck_take_text(void *context, const unsigned char *bytes, size_t length, struct fault *fault) {
    struct recheck_text *text = context;
    char *longer = realloc(text->bytes, text->used + length + 1);

    if (longer == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for the facts of a certificate");
    text->bytes = longer;
    memcpy(text->bytes + text->used, bytes, length);
    text->used += length;
    return 0;
}

static void recheck_read_head(struct recheck *check, const json_t *facts) {
    const json_t *certificate = json_object_get(facts, "certificate"), *shop = json_object_get(facts, "shop");
    const char *name = json_string_value(json_object_get(shop, "name"));
    const char *program = json_string_value(json_object_get(certificate, "program"));

    check->number = json_integer_value(json_object_get(certificate, "number"));
    check->revision = json_integer_value(json_object_get(certificate, "revision"));
    check->issued_ms = json_integer_value(json_object_get(certificate, "issued_ms"));
    check->batch = json_integer_value(json_object_get(json_object_get(facts, "batch"), "number"));
    if (name != NULL)
        words_clean(name, strlen(name), 0, check->shop, sizeof check->shop);
    if (program != NULL)
        words_clean(program, strlen(program), 0, check->program, sizeof check->program);
}

static int recheck_read_facts(struct recheck_work *work, struct fault *fault) {
    const struct pdf_attached *attached = recheck_find(work, ATTACH_FACTS_NAME);
    struct recheck_text text = {NULL, 0};

    if (attached == NULL)
        return fault_set(fault, EX_DATAERR, "no file %s is attached to it", ATTACH_FACTS_NAME);
    if (pdf_read_unpack(attached, ATTACH_MOST_FACTS_BYTES, recheck_take_text, &text, fault) == 0)
        work->facts = attach_parse(text.bytes != NULL ? text.bytes : "", text.used, fault);
    free(text.bytes);
    if (work->facts == NULL)
        return -1;
    recheck_read_head(work->check, work->facts);
    work->assessed = attach_read_facts(work->facts, fault);
    return work->assessed != NULL ? 0 : -1;
}

/* ---- readings ---- */

struct recheck_feed {
    struct recheck_work *work;
    struct judge *judge;
    replay_watch *watch;
    void *context;
};

static int recheck_feed_reading(void *context, const struct reading *reading, struct fault *fault) {
    const struct recheck_feed *feed = context;

    judge_feed(feed->judge, reading);
    return feed->watch(feed->context, reading, fault);
}

static int recheck_take_csv(void *context, const unsigned char *bytes, size_t length, struct fault *fault) {
    return attach_take(context, bytes, length, fault);
}

static int recheck_feed_file(const struct pdf_attached *attached, struct attach_source *source, int64_t *rows,
                             char *sha256, struct fault *fault) {
    if (pdf_read_unpack(attached, MOST_CSV_BYTES, recheck_take_csv, source, fault) != 0)
        return -1;
    return attach_end_source(source, rows, sha256, fault);
}

static int recheck_feed_run(void *source, const struct assess_run *run, struct judge *judge, replay_watch *watch,
                            void *context, struct fault *fault) {
    struct recheck_work *work = source;
    struct recheck_feed feed = {work, judge, watch, context};
    const json_t *readings = attach_find_readings(work->facts, run->run.run_id);
    const char *name = json_string_value(json_object_get(readings, "file"));
    const char *sha256 = json_string_value(json_object_get(readings, "sha256"));
    const struct pdf_attached *attached = name != NULL ? recheck_find(work, name) : NULL;
    char found[KEY_FINGERPRINT_BYTES] = "", sentence[RECHECK_TEXT_BYTES];
    struct attach_source *rows_source;
    int64_t rows = 0;
    int result;

    if (attached == NULL)
        return fault_set(fault, EX_DATAERR, "the readings of run %lld are not attached to it",
                         (long long)run->run.run_id);
    rows_source = attach_open_source(run, recheck_feed_reading, &feed, fault);
    if (rows_source == NULL)
        return -1;
    result = recheck_feed_file(attached, rows_source, &rows, found, fault);
    attach_free_source(rows_source);
    if (result != 0)
        return -1;
    work->check->readings += rows;
    if (sha256 == NULL || strcmp(sha256, found) != 0 ||
        json_integer_value(json_object_get(readings, "rows")) != rows) {
        snprintf(sentence, sizeof sentence, "%s: not the readings that the facts tell of", attached->name);
        recheck_differ(work, sentence);
    }
    return 0;
}

static int recheck_judge(struct recheck_work *work, struct fault *fault) {
    struct assess_batch *assessed = work->assessed;

    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++) {
            struct assess_run *run = &assessed->visits[i].runs[k];

            if (assess_judge_run(assessed->plan, i, run, recheck_feed_run, work, NULL, fault) != 0)
                return -1;
            assess_sort_findings(run);
            work->check->runs++;
            work->check->imported_runs += run->run.end == RUN_END_IMPORTED;
        }
    if (assess_settle(assessed, fault) != 0)
        return -1;
    work->check->outcome = assessed->outcome;
    for (size_t i = 0; i < assessed->visit_count; i++)
        work->check->verdicts += assessed->visits[i].verdict_count;
    return 0;
}

/* ---- what is said against what follows ---- */

static int recheck_compare(struct recheck_work *work, struct fault *fault) {
    json_t *judged = attach_judged(work->assessed, fault), *sentences;

    if (judged == NULL)
        return -1;
    sentences = attach_compare(json_object_get(work->facts, "judged"), judged, "the certificate says",
                               "its readings say", NULL, RECHECK_MOST_DIFFERENCES);
    json_decref(judged);
    if (sentences == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory to compare");
    json_array_extend(work->check->differences, sentences);
    json_decref(sentences);
    return 0;
}

int recheck_certificate(const unsigned char *bytes, size_t length, struct recheck *check, struct fault *fault) {
    struct recheck_work work = {.check = check};
    int result = -1;

    memset(check, 0, sizeof *check);
    check->differences = json_array();
    if (check->differences == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory to check a certificate");
    if (pdf_read_open(&work.read, bytes, length, fault) != 0)
        return -1;
    if (recheck_signature(&work, fault) == 0) {
        work.attached_count = pdf_read_attached(&work.read, work.attached, ATTACH_MOST_RUNS + 1, fault);
        if (work.attached_count >= 0 && recheck_read_facts(&work, fault) == 0 && recheck_judge(&work, fault) == 0)
            result = recheck_compare(&work, fault);
    }
    assess_free(work.assessed);
    json_decref(work.facts);
    pdf_read_close(&work.read);
    return result;
}

void recheck_release(struct recheck *check) {
    json_decref(check->differences);
    check->differences = NULL;
}
