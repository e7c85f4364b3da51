// SPDX-License-Identifier: MIT
/* attach: the evidence inside a certificate. One file of facts (JSON; report/certificate.schema.json says its form)
 * and one file of readings (CSV) a run: enough to judge the batch anew without the ledger.
 *
 * Readings: UTF-8, lines end in LF, the first one is "time_utc,channel,value,quality"; then one line a reading, by
 * time and then by channel in the order of the facts: RFC 3339 to the millisecond, the channel's name (quoted as in
 * RFC 4180 where it must be), °C or % with at most three decimals (empty unless the quality is good), the quality
 * in words.
 */
#ifndef SOAKLEDGER_ATTACH_H
#define SOAKLEDGER_ATTACH_H

#include <jansson.h>
#include <stdio.h>

#include "soakledger/assess.h"
#include "soakledger/certificate.h"
#include "soakledger/key.h"

enum {
    ATTACH_VERSION = 1,
    ATTACH_MOST_RUNS = 64,                 // of one batch
    ATTACH_MOST_FACTS_BYTES = 4 * 1048576, // an ordinary batch has 30 kB
    ATTACH_NAME_BYTES = 48,
};
#define ATTACH_FORMAT     "soakledger certificate facts"
#define ATTACH_FACTS_NAME "certificate.json"
#define ATTACH_HEADER     "time_utc,channel,value,quality\n"

/* One run's readings, packed. */
struct attach_readings {
    int64_t run_id;
    char name[ATTACH_NAME_BYTES]; // "readings-run-7.csv"
    int64_t rows, plain_bytes, packed_bytes;
    long packed_from;                   // in the file that attach_packed gives
    char sha256[KEY_FINGERPRINT_BYTES]; // of the plain bytes
};

/* ---- while a batch is assessed: packs the readings of its runs as they pass ---- */

struct attach;
struct attach *attach_open(struct fault *fault);
void attach_free(struct attach *attach); // NULL is allowed
struct assess_watch attach_watch(struct attach *attach);
size_t attach_count(const struct attach *attach);
const struct attach_readings *attach_run(const struct attach *attach, size_t index);
FILE *attach_packed(const struct attach *attach);

/* ---- facts ---- */

/* Why a certificate is issued once more. */
struct attach_revision {
    int64_t replaces; // number of the certificate before; 0 for a first one
    const char *why;  // a person's words
    json_t *changed;  // array of sentences
};

/* Everything the certificate says, as JSON. `key` and `readings` may be NULL (not signed; without readings). The
 * caller releases it. */
json_t *attach_make_facts(const struct assess_batch *assessed, const struct config *config,
                          const struct certificate_issue *issue, const struct attach_revision *revision,
                          const struct key *key, const struct attach *readings, struct fault *fault);
/* As bytes: two spaces of indent, members in their order, a line end last. The caller frees. */
char *attach_print_facts(const json_t *facts, size_t *length, struct fault *fault);

/* ---- and back: from attached files that anybody may have written ---- */

/* Bytes to JSON, strictly: UTF-8, no member twice, nothing after it. NULL with EX_DATAERR. The caller releases it.
 */
json_t *attach_parse(const char *text, size_t length, struct fault *fault);
/* What was recorded, without what was judged: batch, plan, attestations, and runs with their channels and times,
 * every number within what a recorder can have written. NULL with EX_DATAERR and one line that names what is wrong.
 */
struct assess_batch *attach_read_facts(const json_t *facts, struct fault *fault);
/* The facts' record of a run's readings: {file, rows, sha256}, or NULL. */
const json_t *attach_find_readings(const json_t *facts, int64_t run_id);

/* A run's readings from bytes of the CSV that come in pieces: each is handed on as it is whole. */
struct attach_source;
typedef int attach_sink(void *context, const struct reading *reading, struct fault *fault);
struct attach_source *attach_open_source(const struct assess_run *run, attach_sink *sink, void *context,
                                         struct fault *fault);
int attach_take(struct attach_source *source, const unsigned char *bytes, size_t length, struct fault *fault);
/* That it ended with a whole line; `rows` gets how many there were, `sha256` the digest of all bytes. */
int attach_end_source(struct attach_source *source, int64_t *rows, char sha256[KEY_FINGERPRINT_BYTES],
                      struct fault *fault);
void attach_free_source(struct attach_source *source); // NULL is allowed

/* The part that follows from the rest: outcome, verdicts, findings. The caller releases it. */
json_t *attach_judged(const struct assess_batch *assessed, struct fault *fault);

/* What differs between two facts, or two parts of them, one sentence each, at most `most`, with a last one that
 * counts what was left out. `then` and `now` say whose they are: "was", "is now". Members whose names stand in
 * `passed_over` (NULL-terminated; may be NULL) at the top are not compared. NULL if memory is short; the caller
 * releases it. */
json_t *attach_compare(const json_t *before, const json_t *after, const char *then, const char *now,
                       const char *const *passed_over, size_t most);

#endif
