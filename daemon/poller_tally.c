// SPDX-License-Identifier: MIT
/* What went wrong on each line, counted, and said in the journal where anything did. */
#include "poller_state.h"

#include <stdio.h>

#include "soakledger/journal.h"

enum { SUMMARY_BYTES = 512 };

void poller_count_stray(struct poller *poller, struct poller_line *line, int64_t now_us) {
    const bool goes_on = now_us - line->stray_us < line->quiet_us;

    line->stray_us = now_us;
    if (goes_on)
        return;
    for (size_t i = 0; i < poller->config->instrument_count; i++) {
        struct poller_instrument *instrument = &poller->instruments[i];

        if (&poller->lines[instrument->config->line] != line || now_us >= instrument->owed_until_us)
            continue;
        instrument->counts.lates++;
        return;
    }
    line->unasked++;
}

static void add_counts(struct poller_counts *sum, const struct poller_counts *counts) {
    sum->requests += counts->requests;
    sum->replies += counts->replies;
    sum->timeouts += counts->timeouts;
    sum->bad_frames += counts->bad_frames;
    sum->exceptions += counts->exceptions;
    sum->skipped += counts->skipped;
    sum->echoes += counts->echoes;
    sum->lates += counts->lates;
    sum->splits += counts->splits;
    for (size_t i = 0; i < WIRE_STATUS_COUNT; i++)
        sum->by_status[i] += counts->by_status[i];
}

struct poller_counts poller_read_line_counts(const struct poller *poller, size_t line, uint64_t *unasked) {
    struct poller_counts sum = {0};

    for (size_t i = 0; i < poller->config->instrument_count; i++)
        if (poller->config->instruments[i].line == line)
            add_counts(&sum, &poller->instruments[i].counts);
    *unasked = poller->lines[line].unasked;
    return sum;
}

struct summary {
    char text[SUMMARY_BYTES];
    size_t used;
};

static void add_words(struct summary *summary, uint64_t count, uint64_t told, const char *words) {
    if (count == told || summary->used >= sizeof summary->text)
        return;
    summary->used +=
        (size_t)snprintf(summary->text + summary->used, sizeof summary->text - summary->used, "%s%llu %s",
                         summary->used > 0 ? ", " : "", (unsigned long long)(count - told), words);
}

/* "" where nothing was wrong. */
static void summarise(struct poller_instrument *instrument, struct summary *summary) {
    static const char *const words[WIRE_STATUS_COUNT] = {
        [WIRE_BAD_CHECK] = "failed their check",
        [WIRE_WRONG_ADDRESS] = "of another address",
        [WIRE_WRONG_FUNCTION] = "of another function",
        [WIRE_SHORT] = "too short",
        [WIRE_LONG] = "too long",
        [WIRE_SPLICED] = "run together",
        [WIRE_UNREADABLE] = "unreadable",
    };
    const struct poller_counts *counts = &instrument->counts, *told = &instrument->told;

    summary->used = 0;
    summary->text[0] = '\0';
    add_words(summary, counts->timeouts, told->timeouts, "unanswered");
    add_words(summary, counts->lates, told->lates, "late");
    add_words(summary, counts->exceptions, told->exceptions, "refused");
    for (size_t i = 0; i < WIRE_STATUS_COUNT; i++)
        if (words[i] != NULL)
            add_words(summary, counts->by_status[i], told->by_status[i], words[i]);
    add_words(summary, counts->skipped, told->skipped, "skipped");
    add_words(summary, counts->splits, told->splits, "requests halved");
    if (summary->used == 0)
        return; // an echo alone is how some adapters are
    add_words(summary, counts->echoes, told->echoes, "echoed");
    add_words(summary, counts->replies, told->replies, "good");
}

void poller_write_summary(struct poller *poller) {
    struct summary summary;

    for (size_t i = 0; i < poller->config->instrument_count; i++) {
        struct poller_instrument *instrument = &poller->instruments[i];

        summarise(instrument, &summary);
        if (summary.used > 0)
            journal_write(JOURNAL_NOTICE, "line %s, instrument %s: %s",
                          poller->config->lines[instrument->config->line].name, instrument->config->name,
                          summary.text);
        instrument->told = instrument->counts;
    }
    for (size_t i = 0; i < poller->config->line_count; i++) {
        struct poller_line *line = &poller->lines[i];

        if (line->unasked != line->told_unasked)
            journal_write(JOURNAL_NOTICE, "line %s: something came unasked %llu times", line->config->name,
                          (unsigned long long)(line->unasked - line->told_unasked));
        line->told_unasked = line->unasked;
    }
}
