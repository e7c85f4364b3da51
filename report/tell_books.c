// SPDX-License-Identifier: MIT
/* The books of a batch in words, for terminal and sheets alike. */
#include <stdio.h>
#include <string.h>

#include "soakledger/tell.h"
#include "soakledger/words.h"

static char *moment(int64_t t_ms, int zone_min, char *out) {
    char time[QUANTITY_TEXT_BYTES], zone[QUANTITY_TEXT_BYTES];

    snprintf(out, TELL_CELL_BYTES, "%s %s", quantity_format_time(t_ms, zone_min, time),
             words_offset(zone_min, zone));
    return out;
}

char *tell_disposition(const struct books_disposition *disposition, int zone_min, char *out) {
    char when[TELL_CELL_BYTES];

    snprintf(out, TELL_LINE_BYTES, "%s, by %.200s, %s: %.1200s%s", books_decision_name(disposition->decision),
             disposition->said_by, moment(disposition->said_ms, zone_min, when), disposition->reason,
             disposition->withdrawn ? " (withdrawn)" : "");
    return out;
}

static void add(char *out, const char *before, const char *text) {
    const size_t used = strlen(out);

    if (text[0] != '\0')
        snprintf(out + used, TELL_LINE_BYTES - used, "%s%.200s", before, text);
}

char *tell_hardness_reading(const struct books *books, size_t index, int zone_min, char *out) {
    const struct books_hardness *reading = &books->hardness[index];
    char value[HARDNESS_WORDS_BYTES], when[TELL_CELL_BYTES];

    snprintf(out, TELL_LINE_BYTES, "%s", hardness_format(reading->value, reading->scale, value));
    if (reading->uncertainty > 0)
        add(out, " ± ", hardness_format(reading->uncertainty, reading->scale, value));
    add(out, ", ", reading->piece);
    add(out, ", ", reading->position);
    add(out, ", with ", reading->instrument);
    add(out, ", by ", reading->measured_by);
    add(out, ", ", moment(reading->measured_ms, zone_min, when));
    if (reading->withdrawn)
        add(out, " ", "(withdrawn: does not count)");
    else if (reading->amended)
        add(out, "; amended, counts as ", hardness_format(reading->counts, reading->scale, value));
    return out;
}

char *tell_amendment(const struct books_amendment *amendment, const struct books *books, int zone_min, char *out) {
    char value[HARDNESS_WORDS_BYTES], when[TELL_CELL_BYTES], number[TELL_CELL_BYTES] = "";
    const char *reads = amendment->words;

    if (amendment->number > 0)
        snprintf(number, sizeof number, " %zu", amendment->number);
    if (amendment->has_value && amendment->number <= books->hardness_count)
        reads = hardness_format(amendment->value, books->hardness[amendment->number - 1].scale, value);
    snprintf(out, TELL_LINE_BYTES, "%s%s %s%.800s%s, by %.200s, %s: %.800s", books_entry_name(amendment->entry),
             number, amendment->withdraws ? "is withdrawn" : "should read '", amendment->withdraws ? "" : reads,
             amendment->withdraws ? "" : "'", amendment->said_by, moment(amendment->said_ms, zone_min, when),
             amendment->reason);
    return out;
}
