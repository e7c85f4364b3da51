// SPDX-License-Identifier: MIT
/* What the words of the certificate mean, what it does not prove, and the plan as it was frozen. */
#include <stdio.h>
#include <string.h>

#include "certificate_parts.h"
#include "soakledger/ink.h"
#include "soakledger/tell.h"
#include "soakledger/words.h"

static const float TEXT_THAT_FOLLOWS = 40, TERM_SIZE = 8, TERM_LEADING = 11, TERM_WIDTH = 104, TERM_AFTER = 4;
static const float SIGNATURE_HEIGHT = 52, SIGNATURE_AFTER = 8;

/* The term in a margin of its own, what it means beside it. */
static void certificate_term(struct certificate *certificate, const char *term, const char *meaning) {
    const struct page_type strong = {PAGE_BOLD, TERM_SIZE, INK_TEXT}, type = {PAGE_REGULAR, TERM_SIZE, INK_TEXT};
    struct sheet *sheet = &certificate->sheet;
    const float left = sheet->frame.left + TERM_WIDTH, width = sheet->frame.right - left;
    const float height = sheet_text_height(sheet, &type, width, TERM_LEADING, meaning);
    const float beside = sheet_text_height(sheet, &strong, TERM_WIDTH - TERM_AFTER, TERM_LEADING, term);
    const struct page_frame frame = sheet_take(sheet, height > beside ? height : beside);

    sheet_text_block(sheet, &strong, frame.left, frame.top + TERM_SIZE, TERM_WIDTH - TERM_AFTER, TERM_LEADING, 0,
                     term);
    sheet_text_block(sheet, &type, left, frame.top + TERM_SIZE, width, TERM_LEADING, 0, meaning);
    sheet_skip(sheet, TERM_AFTER);
}

void certificate_rules(struct certificate *certificate) {
    char rule[TELL_BYTES];

    certificate_section(certificate, "rules and definitions", "How it was decided", TEXT_THAT_FOLLOWS);
    certificate_term(certificate, "Decision rule", tell_decision(certificate->assessed->plan, rule));
    certificate_term(
        certificate, "Met, not met, not proven",
        "Met: the readings show that the requirement was kept. Not met: they show that it was broken. Not "
        "proven: they show neither. The batch is as good as its worst requirement.");
    certificate_term(
        certificate, "Which run counts",
        "A visit may have been tried more than once. A run in which the charge never reached the band was "
        "broken off; of the others the latest decides.");
    certificate_term(
        certificate, "Judged twice",
        "The recorder judges while a run is on; for this certificate every reading was judged again. Where "
        "the two differ, the first page says so.");
}

void certificate_definitions(struct certificate *certificate) {
    sheet_heading(&certificate->sheet, "How the quantities are defined", TEXT_THAT_FOLLOWS);
    certificate_term(
        certificate, "Soak",
        "It begins when the last of the channels that stand for the charge rises to the lower edge of the "
        "planned band, and ends when the first of them falls below that edge. Each crossing lies on the "
        "straight line between the two readings around it. The longest unbroken stretch is what counts.");
    certificate_term(certificate, "Hold",
                     "As a soak, on the way up: it counts only until the charge first reaches the soak's own band, "
                     "and a channel "
                     "is in only while it is not above the upper edge of the hold's band either.");
    certificate_term(
        certificate, "Cold hold",
        "A soak turned over: it lasts while every channel that stands for the charge is at or below the "
        "planned temperature. Parts cooled to: the lowest that all of the charge is known to have reached "
        "after its soak, or its first reading in this run, whichever is lower.");
    certificate_term(
        certificate, "Quench",
        "Transfer runs from the end of the soak to the first fall as fast as the plan names, a cooling time "
        "from the last fall through the upper temperature to the first through the lower. Moments lie on "
        "the straight line between two readings; fewer than five readings in a cooling time prove nothing. "
        "Of several channels the worst counts.");
    certificate_term(
        certificate, "Equivalent time",
        "What a temper came to, warming and cooling included, as a time at its planned temperature with the "
        "same Hollomon-Jaffe parameter T (C + log10 t), T in kelvin and t in hours; of the channels that "
        "stand for the charge the one with the least.");
    certificate_term(
        certificate, "Uncertainty",
        "The half width of the interval in which the true value lies with about 95 % confidence (k = 2), as "
        "the configuration states it for each channel. For rates and quench times none is stated: they rest "
        "on differences of one sensor, in which its error cancels.");
    certificate_term(certificate, "Overshoot",
                     "The highest reading of a channel that stands for the charge, from its first crossing of the "
                     "lower edge until the soak's end, less the planned soak temperature.");
    certificate_term(certificate, "Spread",
                     "Within the longest unbroken stretch: the hottest less the coldest of the channels that stand "
                     "for the charge, at every reading of the slowest one. It takes at least two channels.");
    certificate_term(
        certificate, "Ramp",
        "The slope of a least-squares line through the readings of a sliding window, while the window "
        "lies within the temperatures that the plan names and the soak has not begun. The steepest rise "
        "counts; fewer than five readings in a window prove nothing.");
    certificate_term(
        certificate, "Gap",
        "More than three intervals without a good reading. What a channel did meanwhile is unknown, except "
        "that it cannot have warmed faster than its oven can. A requirement that a gap could decide either "
        "way is not proven.");
    certificate_term(
        certificate, "Time",
        "Durations come from a clock that runs on when the computer's calendar clock is put forward or "
        "back. Times of day are that clock's, set once from the calendar clock when recording began.");
}

static void certificate_say_lag(struct certificate *certificate) {
    const struct plan *plan = certificate->assessed->plan;
    char text[CERTIFICATE_LINE_BYTES], lag[QUANTITY_TEXT_BYTES];

    if (plan->load != PLAN_LOAD_CONTROL)
        return;
    sheet_plain(
        &certificate->sheet,
        "The temperature of the charge was not measured. The only sensor used is the one by which the controller "
        "regulates the oven; the charge warms later than that sensor, and may be cooler or hotter than it.");
    if (plan->lag_allowance_ms > 0)
        snprintf(
            text, sizeof text,
            "For this the plan allows %s: the required soak is longer by that much. Whether it is enough for this "
            "charge is the planner's judgement and is not proven here.",
            quantity_format_duration(plan->lag_allowance_ms, lag));
    else
        snprintf(text, sizeof text, "The plan makes no allowance for this lag.");
    sheet_plain(&certificate->sheet, text);
}

static bool certificate_is_corrected(const struct assess_batch *assessed) {
    for (size_t i = 0; i < assessed->visit_count; i++) {
        const struct assess_run *run = assess_deciding_run(&assessed->visits[i]);

        for (size_t k = 0; run != NULL && k < run->channel_count; k++)
            if (run->channels[k].sensor_calibration != NULL || run->channels[k].instrument_calibration != NULL)
                return true;
    }
    return false;
}

/* How far readings are taken to be true. */
static const char *certificate_say_truth(const struct assess_batch *assessed) {
    const bool corrected = certificate_is_corrected(assessed);

    if (assessed->plan->decision == PLAN_DECISION_GUARDED)
        return corrected
                   ? "That sensors and instruments read as true as their stated uncertainty says, once corrected "
                     "by the calibrations listed here, each within its own range."
                   : "That sensors and instruments read as true as their stated uncertainty says: values are "
                     "taken as they were given, without correction.";
    return corrected
               ? "That sensors and instruments read true once corrected by the calibrations listed here, each "
                 "within its own range: limits are judged without an allowance for the uncertainty of "
                 "measurement."
               : "That sensors and instruments read true: values are taken as they were given, "
                 "without correction, and limits are judged without an allowance for the uncertainty of "
                 "measurement.";
}

static bool certificate_saw_quench(const struct assess_batch *assessed) {
    for (size_t i = 0; i < assessed->visit_count; i++) {
        const struct assess_run *run = assess_deciding_run(&assessed->visits[i]);

        if (run != NULL && run->quench_count > 0)
            return true;
    }
    return false;
}

/* What somebody else recorded is as good as that recorder. */
static void certificate_say_imported(struct certificate *certificate) {
    const struct assess_batch *assessed = certificate->assessed;
    char text[4 * CERTIFICATE_NAME_BYTES], time[QUANTITY_TEXT_BYTES];

    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++) {
            const struct import *import = assessed->visits[i].runs[k].import;

            if (import == NULL)
                continue;
            snprintf(
                text, sizeof text,
                "That run %lld was as its readings say: they were IMPORTED on %s by %.100s from the file %.100s "
                "(SHA-256 %.16s…), recorded by: %.200s. This recorder took none of them.",
                (long long)import->run_id, certificate_time(certificate, import->imported_ms, time),
                import->imported_by, import->file_name, import->file_sha256, import->source);
            sheet_plain(&certificate->sheet, text);
        }
}

void certificate_limits(struct certificate *certificate) {
    certificate_section(certificate, "what is not proven", "What this certificate does not prove",
                        2 * TEXT_THAT_FOLLOWS);
    certificate_say_imported(certificate);
    certificate_say_lag(certificate);
    sheet_plain(&certificate->sheet, certificate_say_truth(certificate->assessed));
    sheet_plain(
        &certificate->sheet,
        "That the charge named here was in the oven, and the steel what it is called: that is the operator's "
        "word. That other places in the oven or the charge were as hot as the sensors.");
    sheet_plain(&certificate->sheet, certificate_saw_quench(certificate->assessed)
                                         ? "Anything between the runs and beside the sensors named; and structure, "
                                           "size or fitness for a purpose, "
                                           "none of which was measured. Hardness is what people entered."
                                         : "Anything outside the oven, such as the quench; and structure, size or "
                                           "fitness for a purpose, none of "
                                           "which was measured. Hardness is what people entered.");
    if (certificate->assessed->simulated)
        sheet_plain(&certificate->sheet, "Anything about real time: the runs were recorded on a simulated clock.");
}

void certificate_cautions(struct certificate *certificate) {
    certificate_section(certificate, "cautions", "Cautions", TEXT_THAT_FOLLOWS);
    sheet_plain(
        &certificate->sheet,
        "The recorder only listens. It is no protection against over-temperature and switches nothing off: an "
        "oven needs a limiter of its own that works without any computer.");
    sheet_plain(
        &certificate->sheet,
        "Work on mains wiring, gas and burners belongs to licensed persons and follows the code that holds "
        "locally. Hot work burns; quench oil can catch fire and must be free of water; combustion gases and "
        "protective atmospheres suffocate: ventilate, and never leave a fire risk unattended.");
}

/* Lines for a pen: a certificate is a person's word as well. On the first page if there is room. */
static void certificate_draw_signature(struct certificate *certificate, struct page_frame frame) {
    const struct page_pen rule = {INK_TEXT, 0.6F, {0}};
    const struct page_type type = {PAGE_REGULAR, 7, INK_QUIET};
    const float gap = 30, drop = 9, middle = (frame.left + frame.right) / 2;

    page_line(certificate->page, &rule, frame.left, frame.bottom - drop, middle - gap / 2, frame.bottom - drop);
    page_line(certificate->page, &rule, middle + gap / 2, frame.bottom - drop, frame.right, frame.bottom - drop);
    page_text(certificate->page, frame.left, frame.bottom, PAGE_LEFT, &type, "place and date");
    page_text(certificate->page, middle + gap / 2, frame.bottom, PAGE_LEFT, &type, "name and signature");
    certificate->has_signature = true;
}

void certificate_sign_front(struct certificate *certificate) {
    struct page_frame frame = certificate->sheet.frame;

    if (page_count(certificate->page) > 1 || frame.bottom - certificate->sheet.y < SIGNATURE_HEIGHT)
        return;
    frame.bottom -= SIGNATURE_AFTER;
    certificate_draw_signature(certificate, frame);
}

void certificate_signature(struct certificate *certificate) {
    if (!certificate->has_signature)
        certificate_draw_signature(certificate, sheet_take(&certificate->sheet, SIGNATURE_HEIGHT));
}

void certificate_plan(struct certificate *certificate) {
    const struct page_type mono = {PAGE_MONO, 7.25F, INK_TEXT};
    const struct ledger_batch *batch = certificate->assessed->batch;
    char text[CERTIFICATE_LINE_BYTES];

    certificate_section(certificate, "the plan", "The plan, word for word", 2 * TEXT_THAT_FOLLOWS);
    snprintf(text, sizeof text,
             "Frozen into batch %lld when it was opened, from %s, %zu bytes. SHA-256:", (long long)batch->batch_id,
             batch->plan_name, batch->plan_length);
    sheet_small(&certificate->sheet, text);
    sheet_small(&certificate->sheet, batch->plan_sha256);
    sheet_skip(&certificate->sheet, TERM_LEADING / 2);
    sheet_paragraph(&certificate->sheet, &mono, 10.5F, batch->plan_text);
}
