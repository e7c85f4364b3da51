// SPDX-License-Identifier: MIT
/* assess: what the ledger proves about a batch. Every reading of every claimed run is replayed through the judge;
 * what comes out stands on the sheets, and what the daemon found meanwhile is compared with it.
 *
 * A visit may have been tried more than once. A run in which the charge never reached the band counts as broken
 * off: it is shown, and the latest run that did reach the band decides. If none did, the latest run decides.
 */
#ifndef SOAKLEDGER_ASSESS_H
#define SOAKLEDGER_ASSESS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/books.h"
#include "soakledger/fault.h"
#include "soakledger/hardness.h"
#include "soakledger/import.h"
#include "soakledger/judge.h"
#include "soakledger/ledger.h"
#include "soakledger/plan.h"
#include "soakledger/replay.h"
#include "soakledger/seal.h"

/* How complete one channel's readings are within a run. */
struct assess_tally {
    int64_t total, good;
    int64_t by_quality[QUALITY_COUNT];
    int64_t gap_count, gap_total_ms, gap_longest_ms; // as the judge counts gaps, for every channel
    int64_t expected;                                // readings that the interval asks for over the run
    int64_t last_good_ms;                            // while counting
};

enum assess_agreement {
    ASSESS_NOT_STORED, // the daemon has not judged this run for this batch
    ASSESS_AGREES,
    ASSESS_DIFFERS, // must never happen: said loudly on the sheets
};

/* Another batch that a run belongs to: its charge was in the oven too. Whose it is, is nobody's business. */
struct assess_other {
    int64_t batch_id;
    char *charge;
};

struct assess_run {
    struct ledger_run run;
    int64_t until_ms; // end, or the ledger's last moment while the run is on
    char *oven;
    struct ledger_channel *channels;
    size_t channel_count;
    struct assess_tally *tallies; // one per channel
    struct finding *findings;     // by time
    size_t finding_count, finding_capacity;
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    size_t verdict_count;
    struct judge_soak soak;
    struct quench_curve quenches[JUDGE_MOST_LOADS]; // one a channel that saw the quench ...
    int64_t quench_ids[JUDGE_MOST_LOADS];           // ... which is this
    size_t quench_count;
    int64_t loads[JUDGE_MOST_LOADS]; // ids of the channels that stand for the charge
    size_t load_count;
    struct event *events;
    size_t event_count;
    enum assess_agreement agreement;
    bool simulated;
    bool reached;          // the charge was in the band at least once
    struct seal_head seal; // of the run; seal_id 0 while it has none
    struct import *import; // whose readings they are; NULL for our own
    struct assess_other *others;
    size_t other_count;
};

enum { ASSESS_NO_RUN = -1 };

struct assess_visit {
    bool attested;           // a person says that the quench was done ...
    int64_t attested_ms;     // ... at this moment
    struct assess_run *runs; // in order of time
    size_t run_count;
    int deciding; // index into runs, or ASSESS_NO_RUN
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    size_t verdict_count;
    enum outcome outcome;
};

struct assess_batch {
    struct ledger_batch *batch;
    struct plan *plan;
    char *oven; // the batch's own
    struct ledger_attestation *attestations;
    size_t attestation_count;
    struct assess_visit *visits;
    size_t visit_count;
    struct books *books; // what people added afterwards
    struct hardness_verdict hardness;
    struct seal_head last_seal;   // of the whole ledger: what to print; seal_id 0 if there is none
    enum outcome outcome;         // the worst of all visits and, where it is asked for, of the hardness
    bool simulated;               // any part of any run
    int64_t split_from, split_ms; // the batch whose charge this was a part of until then; 0 if of none
    bool imported;                // any run: somebody else took its readings
    bool differs;                 // any run whose stored judgement is another one
};

/* Watches the replay, so that a drawing needs no second reading of the whole run. Any may be NULL. */
struct assess_watch {
    void *context;
    int (*begin)(void *context, size_t visit, const struct assess_run *run, struct fault *fault);
    int (*reading)(void *context, const struct reading *reading, struct fault *fault);
    int (*end)(void *context, const struct assess_run *run, struct fault *fault); // its soak is known by now
};

/* NULL with a fault: EX_NOINPUT if there is no such batch. `watch` may be NULL. */
struct assess_batch *assess_batch(struct ledger *ledger, int64_t batch_id, const struct assess_watch *watch,
                                  struct fault *fault);
void assess_free(struct assess_batch *assessed); // NULL is allowed

/* The other batches of every run, and the batch that this one was split off. Part of assess_batch. */
int assess_find_others(struct ledger *ledger, struct assess_batch *assessed, struct fault *fault);
void assess_free_others(struct assess_run *run);
/* "batch 2 (3 chisels), batch 4 (6 irons)"; "" if the charge was alone. Cut to `size` bytes. */
void assess_describe_others(const struct assess_run *run, char *out, size_t size);

/* ---- without a ledger: for whoever has a run's readings from elsewhere ---- */

/* Feeds a run's readings to `judge` in its order, and calls `watch` after each. */
typedef int assess_feed(void *source, const struct assess_run *run, struct judge *judge, replay_watch *watch,
                        void *context, struct fault *fault);
/* Judges one run whose times and channels are filled in: everything from its tallies on, but for events and
 * agreement. Findings are in the order they were made. */
int assess_judge_run(const struct plan *plan, size_t visit, struct assess_run *run, assess_feed *feed, void *source,
                     const struct assess_watch *watch, struct fault *fault);
void assess_sort_findings(struct assess_run *run);
/* Decides every visit, in order, the hardness and the batch, once all runs are judged and the books are there. */
int assess_settle(struct assess_batch *assessed, struct fault *fault);

/* The verdict that decides the batch: the first of the worst; with all met the one with the least to spare. NULL if
 * there is none. `visit` gets its visit. Hardness is no part of it: see assess_hardness_decides. */
const struct verdict *assess_deciding(const struct assess_batch *assessed, size_t *visit);
/* Is the batch no better than it is only because of its hardness? */
bool assess_hardness_decides(const struct assess_batch *assessed);
/* The run that decides a visit, or NULL. */
const struct assess_run *assess_deciding_run(const struct assess_visit *visit);
const struct ledger_channel *assess_find_channel(const struct assess_run *run, int64_t channel_id);

#endif
