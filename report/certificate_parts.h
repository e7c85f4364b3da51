// SPDX-License-Identifier: MIT
/* certificate_parts: what the parts of the certificate share and nobody else needs. */
#ifndef SOAKLEDGER_CERTIFICATE_PARTS_H
#define SOAKLEDGER_CERTIFICATE_PARTS_H

#include "soakledger/assess.h"
#include "soakledger/certificate.h"
#include "soakledger/chart.h"
#include "soakledger/sheet.h"

enum {
    CERTIFICATE_MOST_CURVES = 64,
    CERTIFICATE_NAME_BYTES = 160,
    CERTIFICATE_LINE_BYTES = 1024,
    CERTIFICATE_MOST_HOLDS = 3,
    CERTIFICATE_MOST_OWED = 16,
    CERTIFICATE_MOST_SECTIONS = 24,
    CERTIFICATE_CONTENTS_HEIGHT = 30, // points, at the foot of the first page
    CERTIFICATE_LIST_FOLLOWS = 60,    // points, that must fit beneath the heading of a table
};

/* What was cut short where there was no room for it, and has to stand somewhere in full. */
struct certificate_owed {
    char *name, *text;
};

/* A part of the evidence, for the list at the foot of the first page. */
struct certificate_section {
    const char *name;
    size_t page;
};

/* The curve of one run, made while it is judged. */
struct certificate_curve {
    int64_t run_id;
    struct chart *fine;     // while it is being read
    struct chart *whole;    // afterwards
    struct chart *close_up; // its soak; NULL if there was none, or one too short for `fine`
    size_t charge_count;    // so many of its first curves stand for the charge
};

struct certificate {
    struct ledger *ledger;
    const struct config *config;
    const struct certificate_issue *issue;
    struct certificate_about about;
    struct assess_batch *assessed;
    struct page_document *page;
    struct sheet sheet;
    struct certificate_curve *curves; // one per claimed run
    size_t curve_count;
    struct certificate_owed owed[CERTIFICATE_MOST_OWED];
    size_t owed_count;
    struct certificate_section sections[CERTIFICATE_MOST_SECTIONS];
    size_t section_count;
    bool has_signature; // its lines stand on the first page
    bool failed;        // memory ran short
};

/* Begins a part of the evidence: a heading, and its name for the first page's list. */
void certificate_section(struct certificate *certificate, const char *name, const char *heading, float follows);
/* Keeps a copy of what was cut short, for certificate_pay. */
void certificate_owe(struct certificate *certificate, const char *name, const char *text);

/* "soak hardening", "temper" */
char *certificate_operation_name(const struct plan *plan, size_t operation, char *out, size_t size);
char *certificate_visit_name(const struct plan *plan, size_t visit, char *out, size_t size);
/* A channel's name in the run that decides a visit, or "" */
const char *certificate_channel_name(const struct assess_run *run, int64_t channel_id);
char *certificate_time(const struct certificate *certificate, int64_t t_ms, char *out);
/* "time (UTC+01:00)" */
char *certificate_time_title(const struct certificate *certificate, const char *what, char *out, size_t size);
/* The number of a run's first finding: findings are numbered through the whole certificate. */
size_t certificate_first_number(const struct certificate *certificate, const struct assess_run *run);

void certificate_front(struct certificate *certificate);
void certificate_overview(struct certificate *certificate);
void certificate_requirements(struct certificate *certificate);
/* What both need of the first page, at least. */
float certificate_requirements_height(const struct certificate *certificate);
/* What the first page had no room for, in full. */
void certificate_pay(struct certificate *certificate);

struct assess_watch certificate_watch(struct certificate *certificate);
void certificate_free_curves(struct certificate *certificate);
/* The visit's part of the overview; `bands` has room for CERTIFICATE_MOST_HOLDS + 1. */
void certificate_fill_panel(const struct certificate *certificate, size_t visit, struct chart_panel *panel,
                            struct chart_band *bands);
/* The curve of a run, and of the one that decides also the soak enlarged. */
int certificate_draw_run(struct certificate *certificate, size_t visit, const struct assess_run *run,
                         struct fault *fault);
/* Draws a chart across the sheet, as high as `height` and its list of names. */
void certificate_draw_chart(struct certificate *certificate, const char *caption, struct chart *chart, float height,
                            const struct chart_dressing *dressing);
/* Reads once more, only what lies within [from, to], corrected as in the run. */
struct chart *certificate_read_chart(struct certificate *certificate, const struct assess_run *run,
                                     const struct chart_curve *curves, size_t count, int64_t from_ms, int64_t to_ms,
                                     struct fault *fault);
/* The cooling curve of a visit that ends in a quench, and what it says. */
int certificate_draw_quench(struct certificate *certificate, size_t visit, const struct assess_run *run,
                            struct fault *fault);
/* Everything about each visit: its runs, curves, findings, completeness. */
int certificate_visits(struct certificate *certificate, struct fault *fault);

/* What a person said and what is asked for, what is known beside the requirements. */
void certificate_origin(struct certificate *certificate);
void certificate_said(struct certificate *certificate);
void certificate_informed(struct certificate *certificate);

void certificate_instruments(struct certificate *certificate);
void certificate_events(struct certificate *certificate);
void certificate_seals(struct certificate *certificate);

void certificate_rules(struct certificate *certificate);
void certificate_definitions(struct certificate *certificate);
void certificate_limits(struct certificate *certificate);
void certificate_cautions(struct certificate *certificate);
void certificate_revision(struct certificate *certificate);
void certificate_proof(struct certificate *certificate);
void certificate_sign_front(struct certificate *certificate);
void certificate_signature(struct certificate *certificate); // if it is not yet there
void certificate_plan(struct certificate *certificate);

#endif
