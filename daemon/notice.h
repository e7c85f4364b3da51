// SPDX-License-Identifier: MIT
/* notice: what a person should be told of one run while it goes on, from its findings and from its forecast.
 *
 * An alert about a soak that was broken too early is over when the charge is back in the band to stay or the soak
 * is complete; one about an overshoot when the last channel is back under the limit, or when none is coming any
 * more; one about an oven that does not cool when the charge leaves the band. All are over with the run.
 *
 * While stored readings are replayed nothing is told; afterwards, what still stands is. */
#ifndef NOTICE_H
#define NOTICE_H

#include "soakledger/alert.h"
#include "soakledger/judge.h"
#include "soakledger/ledger.h"
#include "soakledger/plan.h"

struct notice;

/* All that is given must outlive the notice. */
struct notice_subject {
    struct alert_desk *desk;
    const char *oven_name;
    int64_t run_id, batch_id;
    bool is_further; // the run serves another batch too, which tells of its sensors
    enum temperature_unit unit;
    const struct plan *plan;
    size_t visit;
    const struct judge *judge;
    const struct ledger_channel *channels;
    size_t channel_count;
};

struct notice *notice_open(const struct notice_subject *subject, struct fault *fault);
void notice_free(struct notice *notice); // clears nothing; NULL is allowed

/* Every finding, and every reading after the judge has seen it; both in the judge's order. */
void notice_take_finding(struct notice *notice, const struct finding *finding);
void notice_take_reading(struct notice *notice, const struct reading *reading);
/* The replay is over: from now on things are told. */
void notice_go_live(struct notice *notice);
/* The run is over, or is somebody else's: whatever stands is cleared. */
void notice_end(struct notice *notice, int64_t t_ms, const char *words);

#endif
