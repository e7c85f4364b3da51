// SPDX-License-Identifier: MIT
/* ledger_fixture: a shop of one invented toolroom in a folder of its own: configuration, ledger, and runs whose
 * soak is known in advance, because they are made of straight lines. */
#ifndef SOAKLEDGER_LEDGER_FIXTURE_H
#define SOAKLEDGER_LEDGER_FIXTURE_H

#include <stdbool.h>
#include <stdint.h>

#include "soakledger/config.h"
#include "soakledger/ledger.h"

enum { FIXTURE_PATH_BYTES = 128, FIXTURE_MOST_CHANNELS = 32, FIXTURE_MOST_OVENS = 4 };

/* 2026-11-16T07:00:00Z */
#define FIXTURE_START_MS INT64_C(1794812400000)

struct ledger_fixture {
    char folder[FIXTURE_PATH_BYTES];
    char config_path[FIXTURE_PATH_BYTES];
    char ledger_path[FIXTURE_PATH_BYTES];
    char plan_path[FIXTURE_PATH_BYTES];
    struct config *config;
    struct ledger *ledger; // recording
    int64_t oven_ids[FIXTURE_MOST_OVENS];
    int64_t channel_ids[FIXTURE_MOST_CHANNELS]; // by the order of config->channels
};

/* Ovens "hardening" (control, setpoint, output, "front of rack", "back of rack") and "tempering" (control). `shop`
 * goes to the configuration's [shop] section as it is. Ends the test program on any fault. */
void fixture_make(struct ledger_fixture *fixture, const char *shop, bool simulated);
void fixture_remove(struct ledger_fixture *fixture);
/* Ends recording; `fixture->ledger` is then open for books. */
void fixture_keep_books(struct ledger_fixture *fixture);

/* The shape of a run: up in a straight line, level, down in a straight line. */
struct fixture_run {
    size_t oven;
    int64_t begun_ms;
    int64_t start_mc, top_mc, end_mc;
    int64_t rise_mc_per_h, fall_mc_per_h;
    int64_t level_ms;
    int64_t back_lag_ms;           // the second load channel follows the first by this much
    int64_t ripple_mc;             // up and down around the straight lines while level
    int64_t gap_from_ms, gap_ms;   // from begun_ms: the first load or control channel gives no reply
    int64_t spike_at_ms, spike_mc; // one reading of the first load or control channel; 0 for none
    int64_t back_spike_at_ms;      // the same of the second load channel
};
/* Records readings of every channel and a closed run. */
int64_t fixture_record(struct ledger_fixture *fixture, const struct fixture_run *shape);
/* When a run's level part begins. */
int64_t fixture_level_ms(const struct fixture_run *shape);
int64_t fixture_end_ms(const struct fixture_run *shape);

/* Opens a batch on `oven` with a plan given as text. */
int64_t fixture_open_batch(struct ledger_fixture *fixture, size_t oven, const char *plan, const char *customer,
                           const char *note);
/* Writes `text` to fixture->plan_path. */
void fixture_write_plan(struct ledger_fixture *fixture, const char *text);

/* Two visits: hardening at 808 °C for 15 min by load sensors, tempering at 180 °C for 1 h by load sensors. */
extern const char FIXTURE_PLAN[];
/* Hardening only. */
extern const char FIXTURE_PLAN_HARDEN[];
/* Tempering only, the control sensor standing for the charge. */
extern const char FIXTURE_PLAN_CONTROL[];

#endif
