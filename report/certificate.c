// SPDX-License-Identifier: MIT
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "certificate_parts.h"
#include "soakledger/ink.h"
#include "soakledger/words.h"

static const char SIMULATED_NOTICE[] = "SIMULATED CLOCK - not a record of real time";
static const char BOTH_NOTICE[] = "SIMULATED CLOCK - and IMPORTED READINGS - not a record of real time";
static const char IMPORTED_NOTICE[] = "IMPORTED READINGS - not taken by this recorder";

char *certificate_operation_name(const struct plan *plan, size_t operation, char *out, size_t size) {
    const struct plan_operation *of = &plan->operations[operation];

    snprintf(out, size, "%s%s%s", plan_kind_name(of->kind), of->name[0] != '\0' ? " " : "", of->name);
    return out;
}

char *certificate_visit_name(const struct plan *plan, size_t visit, char *out, size_t size) {
    return certificate_operation_name(plan, (size_t)(plan_visit_soak(plan, visit) - plan->operations), out, size);
}

const char *certificate_channel_name(const struct assess_run *run, int64_t channel_id) {
    const struct ledger_channel *channel = run != NULL ? assess_find_channel(run, channel_id) : NULL;

    return channel != NULL ? channel->name : "";
}

char *certificate_time(const struct certificate *certificate, int64_t t_ms, char *out) {
    return quantity_format_time(t_ms, certificate->config->utc_offset_min, out);
}

char *certificate_time_title(const struct certificate *certificate, const char *what, char *out, size_t size) {
    char offset[QUANTITY_TEXT_BYTES];

    snprintf(out, size, "%s (%s)", what, words_offset(certificate->config->utc_offset_min, offset));
    return out;
}

size_t certificate_first_number(const struct certificate *certificate, const struct assess_run *run) {
    const struct assess_batch *assessed = certificate->assessed;
    size_t number = 1;

    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++) {
            if (&assessed->visits[i].runs[k] == run)
                return number;
            number += assessed->visits[i].runs[k].finding_count;
        }
    return number;
}

void certificate_owe(struct certificate *certificate, const char *name, const char *text) {
    struct certificate_owed *owed = &certificate->owed[certificate->owed_count];

    if (certificate->owed_count == CERTIFICATE_MOST_OWED) {
        certificate->failed = true;
        return;
    }
    *owed = (struct certificate_owed){strdup(name), strdup(text)};
    certificate->failed = certificate->failed || owed->name == NULL || owed->text == NULL;
    certificate->owed_count++;
}

void certificate_pay(struct certificate *certificate) {
    if (certificate->owed_count == 0 || certificate->failed)
        return;
    certificate_section(certificate, "long texts", "In full: what the first page had no room for",
                        CERTIFICATE_LIST_FOLLOWS);
    for (size_t i = 0; i < certificate->owed_count; i++) {
        const struct sheet_fact fact = {certificate->owed[i].name, certificate->owed[i].text};

        sheet_form(&certificate->sheet, &fact, 1, 0, NULL);
    }
}

void certificate_section(struct certificate *certificate, const char *name, const char *heading, float follows) {
    const struct certificate_section *last =
        certificate->section_count > 0 ? &certificate->sections[certificate->section_count - 1] : NULL;

    sheet_heading(&certificate->sheet, heading, follows);
    if (certificate->section_count < CERTIFICATE_MOST_SECTIONS && (last == NULL || strcmp(last->name, name) != 0))
        certificate->sections[certificate->section_count++] =
            (struct certificate_section){name, page_count(certificate->page)};
}

/* Where the evidence is, at the foot of the first page, once that is known. */
static void certificate_contents(struct certificate *certificate) {
    const struct page_type type = {PAGE_REGULAR, 7, INK_QUIET};
    const struct page_frame frame = page_frame(certificate->page);
    const float leading = 9.5F, top = frame.bottom - CERTIFICATE_CONTENTS_HEIGHT + 2 * leading - 2;
    char line[CERTIFICATE_LINE_BYTES] = "Evidence: ";
    size_t used = strlen(line);

    for (size_t i = 0; i < certificate->section_count && used < sizeof line; i++)
        used += (size_t)snprintf(line + used, sizeof line - used, "%s%s p.\xC2\xA0%zu", i > 0 ? " · " : "",
                                 certificate->sections[i].name, certificate->sections[i].page);
    page_turn(certificate->page, 1);
    sheet_text_block(&certificate->sheet, &type, frame.left, top, frame.right - frame.left, leading, 2, line);
}

/* Everything after the first page: what one suspicious reader may want to see, in the order of asking. */
static int certificate_draw_rest(struct certificate *certificate, struct fault *fault) {
    if (page_count(certificate->page) == 1)
        sheet_new_page(&certificate->sheet); // the first page is the answer's alone
    if (certificate_visits(certificate, fault) != 0)
        return -1;
    certificate_origin(certificate);
    certificate_said(certificate);
    certificate_informed(certificate);
    certificate_instruments(certificate);
    certificate_events(certificate);
    certificate_rules(certificate);
    certificate_definitions(certificate);
    certificate_limits(certificate);
    certificate_cautions(certificate);
    certificate_revision(certificate);
    certificate_proof(certificate);
    certificate_seals(certificate);
    certificate_signature(certificate);
    certificate_pay(certificate);
    certificate_plan(certificate);
    certificate_contents(certificate);
    if (certificate->failed)
        return fault_set(fault, EX_OSERR, "not enough memory for a certificate");
    return 0;
}

static int certificate_draw(struct certificate *certificate, unsigned char **bytes, size_t *length,
                            struct fault *fault) {
    const struct certificate_issue *issue = certificate->issue;
    char title[CERTIFICATE_NAME_BYTES], header[CERTIFICATE_NAME_BYTES], time[QUANTITY_TEXT_BYTES];
    char footer[CERTIFICATE_NAME_BYTES], zone[QUANTITY_TEXT_BYTES];
    const char *shop = certificate->config->shop_name;
    struct page_about about = {
        .title = title, .author = shop, .header_right = header, .letterhead = true, .footer = footer};
    int result;

    snprintf(title, sizeof title, "Certificate %lld: heat treatment of batch %lld", (long long)issue->number,
             (long long)issue->batch_id);
    snprintf(header, sizeof header, "certificate %lld · revision %lld · batch %lld", (long long)issue->number,
             (long long)issue->revision, (long long)issue->batch_id);
    snprintf(footer, sizeof footer, "issued %s · all times in %s · plan SHA-256 %.12s…",
             certificate_time(certificate, issue->issued_ms, time),
             words_offset(certificate->config->utc_offset_min, zone), certificate->assessed->batch->plan_sha256);
    about.header_left = shop[0] != '\0' ? shop : "Heat treatment";
    about.notice = certificate->assessed->simulated && certificate->assessed->imported ? BOTH_NOTICE
                   : certificate->assessed->simulated                                  ? SIMULATED_NOTICE
                   : certificate->assessed->imported                                   ? IMPORTED_NOTICE
                                                                                       : "";
    about.made_ms = issue->issued_ms;
    certificate->page = page_open(certificate->config->paper, &about, fault);
    if (certificate->page == NULL)
        return -1;
    sheet_begin(&certificate->sheet, certificate->page);
    certificate_front(certificate);
    result = certificate_draw_rest(certificate, fault);
    if (result == 0)
        result = page_finish(certificate->page, bytes, length, fault);
    page_free(certificate->page);
    return result;
}

/* The curves and a witness, both watching one replay. */
struct certificate_audience {
    struct assess_watch curves, witness;
};

static int certificate_tell_begin(void *context, size_t visit, const struct assess_run *run, struct fault *fault) {
    const struct certificate_audience *audience = context;

    return audience->curves.begin(audience->curves.context, visit, run, fault) == 0
               ? audience->witness.begin(audience->witness.context, visit, run, fault)
               : -1;
}

static int certificate_tell_reading(void *context, const struct reading *reading, struct fault *fault) {
    const struct certificate_audience *audience = context;

    return audience->curves.reading(audience->curves.context, reading, fault) == 0
               ? audience->witness.reading(audience->witness.context, reading, fault)
               : -1;
}

static int certificate_tell_end(void *context, const struct assess_run *run, struct fault *fault) {
    const struct certificate_audience *audience = context;

    return audience->curves.end(audience->curves.context, run, fault) == 0
               ? audience->witness.end(audience->witness.context, run, fault)
               : -1;
}

int certificate_make(struct ledger *ledger, const struct config *config, const struct certificate_issue *issue,
                     const struct certificate_witness *witness, unsigned char **bytes, size_t *length,
                     enum outcome *outcome, struct fault *fault) {
    struct certificate certificate = {.ledger = ledger, .config = config, .issue = issue};
    struct certificate_audience audience = {.curves = certificate_watch(&certificate)};
    const struct assess_watch both = {&audience, certificate_tell_begin, certificate_tell_reading,
                                      certificate_tell_end};
    int result = -1;

    if (witness != NULL)
        audience.witness = witness->watch;
    certificate.assessed =
        assess_batch(ledger, issue->batch_id,
                     witness != NULL && witness->watch.reading != NULL ? &both : &audience.curves, fault);
    if (certificate.assessed != NULL) {
        *outcome = certificate.assessed->outcome;
        result = witness != NULL
                     ? witness->assessed(witness->context, certificate.assessed, &certificate.about, fault)
                     : 0;
        if (result == 0)
            result = certificate_draw(&certificate, bytes, length, fault);
    }
    certificate_free_curves(&certificate);
    for (size_t i = 0; i < certificate.owed_count; i++) {
        free(certificate.owed[i].name);
        free(certificate.owed[i].text);
    }
    assess_free(certificate.assessed);
    return result;
}
