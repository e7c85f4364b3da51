// SPDX-License-Identifier: MIT
/* now_parts: what the parts of `soakledger now` share: what is looked up, and how it becomes lines of text. */
#ifndef SOAKLEDGER_NOW_PARTS_H
#define SOAKLEDGER_NOW_PARTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "soakledger/config.h"
#include "soakledger/forecast.h"
#include "soakledger/glance.h"
#include "soakledger/ledger.h"
#include "soakledger/plan.h"

/* ---- what the ledger says of this moment ---- */

/* A batch that the run serves, and how its visit stands. */
struct now_batch {
    struct ledger_batch *batch;
    struct plan *plan;
    size_t visit;
    struct finding *findings; // stored by the daemon, in the order they were made
    size_t finding_count;
    int64_t in_since_ms;  // 0 while the charge is not known to be in the band
    int64_t fulfilled_ms; // 0 until the soak is complete
    int64_t broken_ms;    // 0, or when the charge last left the band
    int64_t seen_ms;      // the latest reading of any of its load channels ...
    int64_t all_seen_ms;  // ... up to when there is one of each
    bool load_is_missing; // there is none of one of them for longer than a gap allows
    bool exceeded;
    bool has_outlook;
    struct forecast_outlook outlook;
};

struct now_latest {
    bool known;
    struct reading reading;
    bool stale;
};

struct now_oven {
    struct glance_oven oven;
    struct ledger_channel *channels;
    size_t channel_count;
    struct now_latest *latest; // one a channel
    bool on;
    struct ledger_run run; // that is on, else the last one
    bool had_run;
    struct now_batch *batches;
    size_t batch_count;
    int64_t waits_id; // open batch that waits for a run of this oven; 0 if none
    char *waits_for;  // its charge
    int64_t from_ms;  // of the curve
};

struct now_look {
    int64_t now_ms; // the ledger's timeline
    bool has_session, simulated, rebooted;
    enum glance_daemon daemon;
    bool has_event;
    struct event last_event;
    struct now_oven *ovens;
    size_t oven_count;
};

/* NULL with a fault. `now_ms` is the wall clock's, or the simulated one's. */
struct now_look *now_look_up(struct ledger *ledger, const struct config *config, struct fault *fault);
void now_free(struct now_look *look); // NULL is allowed

/* Does the channel stand for the charge, where no plan says so? Load channels do, else control, else cold. */
bool now_is_charge(const struct now_oven *oven, size_t channel);

/* ---- lines ---- */

enum now_style { NOW_PLAIN, NOW_STRONG, NOW_ALARM };
enum { NOW_LEAST_COLUMNS = 40, NOW_MOST_COLUMNS = 400, NOW_LINE_BYTES = 4 * NOW_MOST_COLUMNS };

struct now_line {
    enum now_style style;
    char text[NOW_LINE_BYTES]; // UTF-8, no wider than the page, no control characters
};

struct now_page {
    size_t columns;
    bool utf8;
    struct now_line *lines;
    size_t count, capacity;
    bool short_of_memory;
};

/* Appends text, wrapped; lines after the first are indented by `indent`. */
void now_write(struct now_page *page, enum now_style style, size_t indent, const char *text);

struct now_curve {
    int64_t from_ms, to_ms;
    int64_t band_low_mc, band_high_mc; // equal for none
    bool band_open_below;              // everything at or below band_high_mc
    const struct glance_column *columns;
    size_t column_count; // now_count_columns of the page
    enum temperature_unit unit;
    int utc_offset_min;
};
/* How many columns of readings a page's drawing has. */
size_t now_count_columns(const struct now_page *page);
/* Draws `height` lines and one of times below. */
void now_draw(struct now_page *page, const struct now_curve *curve, size_t height);

/* The whole page: as many lines as there are for `rows` == 0, else at most so many. 0, or -1 with a fault. */
int now_compose(struct now_page *page, struct ledger *ledger, const struct config *config,
                const struct now_look *look, size_t rows, struct fault *fault);
void now_release(struct now_page *page);

#endif
