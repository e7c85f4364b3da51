// SPDX-License-Identifier: MIT
/* review_parts: why a batch failed, as screen and sheet share it. */
#ifndef SOAKLEDGER_REVIEW_PARTS_H
#define SOAKLEDGER_REVIEW_PARTS_H

#include <stdio.h>

#include "soakledger/assess.h"
#include "soakledger/cause.h"
#include "soakledger/chart.h"
#include "soakledger/config.h"

enum {
    REVIEW_COLUMNS = 70, // of the curve on the screen
    REVIEW_MOST_CURVES = 12,
    REVIEW_MOST_USUAL = 6, // earlier good runs that are looked at, the latest
    REVIEW_TEXT_BYTES = 640,
    REVIEW_NAME_BYTES = 96,
};

/* A curve for the screen: the mean of each column. */
struct review_strip {
    double sum_c[REVIEW_COLUMNS];
    int64_t count[REVIEW_COLUMNS];
};

/* The last run that met the same plan. */
struct review_earlier {
    int64_t run_id, batch_id; // 0: there is none
    int64_t begun_ms, ended_ms;
    int64_t in_ms;    // when its charge came into the band
    int64_t shift_ms; // to be added to its times, so that both come into the band at once
};

struct review_visit {
    size_t visit;
    const struct assess_run *run; // that decides; NULL: none
    bool failed;                  // judged, and not met
    bool weighed;                 // causes were weighed, and ...
    bool told;                    // ... one can be told
    struct cause_task task;
    struct cause_signs signs;
    struct cause_opinion opinions[CAUSE_COUNT];
    size_t usual_runs;
    struct review_earlier earlier;
    int64_t from_ms, to_ms; // of the curves
    struct chart *chart;
    struct review_strip now, before;
    char names[REVIEW_MOST_CURVES][REVIEW_NAME_BYTES]; // of the curves
};

struct review {
    struct ledger *ledger;
    const struct config *config;
    int64_t made_ms;
    struct assess_batch *assessed;
    struct review_visit *visits; // one per visit of the plan
    /* What if: */
    const char *instead;           // in words, what it is judged against; NULL: this is no what-if
    struct assess_batch *recorded; // as it is; NULL where `instead` is
};

/* Reads and weighs everything. `review` has ledger, config, made_ms; with a plan of one's own also `instead`.
 * EX_NOINPUT if there is no such batch. */
int review_read(struct review *review, int64_t batch_id, struct fault *fault);
/* The batch's readings judged against `plan`, which the review owns from then on, also where this fails. Nothing is
 * stored: the ledger is only read. */
int review_suppose(struct review *review, int64_t batch_id, struct plan *plan, struct fault *fault);
void review_release(struct review *review); // also after either failed

/* ---- earlier runs ---- */

/* Signs of the oven's last good runs before this one, and the last of the same plan. */
struct cause_usual *review_find_usual(struct review *review, struct review_visit *visit, struct fault *fault);
struct cause_task review_task(const struct plan *plan, size_t visit);
/* Feeds the readings of these channels, corrected. */
typedef int review_taker(void *context, const struct reading *reading, struct fault *fault);
int review_feed(struct ledger *ledger, const struct ledger_channel *channels, size_t count, int64_t from_ms,
                int64_t to_ms, review_taker *taker, void *context, struct fault *fault);
struct cause_watch *review_open_watch(const struct cause_task *task, const struct ledger_channel *channels,
                                      size_t count, struct fault *fault);

/* ---- in words; each writes REVIEW_TEXT_BYTES ---- */

/* What a finding cost: "2 min 10 s out of the band; 9 min before it no longer count". "" where nothing. */
char *review_cost(const struct review *review, const struct review_visit *visit, size_t finding, char *out);
/* How many findings from this one on are told as one: many gaps in a row are. 1 or more. */
size_t review_span(const struct review_visit *visit, size_t finding);
char *review_finding(const struct review *review, const struct review_visit *visit, size_t finding, char *out);
/* Whether the rest of the cycle can rescue the charge. */
char *review_rescue(const struct review *review, const struct review_visit *visit, char *out);
/* Who took the run's readings, if not this recorder, and whose charges were in the oven too; "" if there is nothing
 * to say. */
char *review_provenance(const struct review *review, const struct assess_run *run, char *out);
/* What the ranking rests on: how many runs, which channels are missing. */
char *review_basis(const struct review_visit *visit, char *out);
char *review_evidence(const struct review *review, const struct review_visit *visit,
                      const struct cause_evidence *evidence, char *out);
/* One sentence about all causes: "Most likely: ...", or that it cannot be told. */
char *review_answer(const struct review_visit *visit, char *out);
char *review_headline(const struct review *review, char *out);
char *review_visit_name(const struct review *review, size_t visit, char *out);
/* "met", or in a what-if "would be met". */
const char *review_outcome(const struct review *review, enum outcome outcome);
extern const char review_method[], review_hypothetical[], review_hardness[];

/* ---- where it goes ---- */

struct review_screen {
    FILE *out;
    bool utf8, colour;
};
int review_show(const struct review *review, const struct review_screen *screen, struct fault *fault);
int review_sheet_make(struct review *review, unsigned char **bytes, size_t *length, struct fault *fault);

#endif
