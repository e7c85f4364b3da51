// SPDX-License-Identifier: MIT
/* What a system accuracy test rests on: channels, readings, the reference's calibration; and its result in words.
 */
#include <stdlib.h>
#include <string.h>

#include "check_parts.h"
#include "soakledger/calibration.h"
#include "soakledger/words.h"

#define STALE_MS INT64_C(120000) // idle ovens are stored once a minute
#define DAY_MS   INT64_C(86400000)

void check_release(struct check_case *of) {
    trials_free_accuracy(of->kept);
    ledger_free_channels(of->channels, of->channel_count);
    free(of->oven);
}

int check_find_channels(struct check_case *of, int64_t t_ms, struct fault *fault) {
    const struct accuracy_setting *setting = &of->kept->setting;
    struct ledger *ledger = of->command->ledger;

    ledger_free_channels(of->channels, of->channel_count);
    free(of->oven);
    of->oven = ledger_oven_name(ledger, of->kept->oven_id, fault);
    of->channels =
        of->oven != NULL ? ledger_list_channels(ledger, of->kept->oven_id, t_ms, &of->channel_count, fault) : NULL;
    if (of->channels == NULL)
        return -1;
    of->sensor = trial_find_channel(of->channels, of->channel_count, setting->sensor_id);
    of->reference = trial_find_channel(of->channels, of->channel_count, setting->reference_id);
    if (of->sensor == NULL || (setting->reference_id != 0 && of->reference == NULL))
        return fault_set(fault, EX_DATAERR, "oven '%s' had no such channels at that time", of->oven);
    return 0;
}

int64_t check_now(struct check_case *of, struct fault *fault) {
    const int64_t now_ms = command_now_ms(of->command, fault);
    const int64_t last_ms = now_ms < 0 ? -1 : ledger_last_time(of->command->ledger, fault);

    if (last_ms < 0)
        return -1;
    if (now_ms - last_ms > STALE_MS)
        return 0;
    return last_ms < now_ms ? last_ms : now_ms;
}

int check_measure(struct check_case *of, struct fault *fault) {
    const struct accuracy_setting *setting = &of->kept->setting;
    const int64_t ids[] = {setting->sensor_id, setting->reference_id};
    struct accuracy *accuracy = accuracy_open(setting);
    struct ledger_cursor *cursor;
    struct reading reading;
    int more;

    if (accuracy == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    cursor = ledger_open_cursor(of->command->ledger, ids, setting->reference_id != 0 ? 2 : 1, setting->from_ms,
                                setting->to_ms, fault);
    more = cursor != NULL ? 0 : -1;
    while (cursor != NULL && (more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        trial_correct(of->channels, of->channel_count, &reading);
        accuracy_feed(accuracy, &reading);
    }
    ledger_close_cursor(cursor);
    if (more == 0)
        of->kept->result = *accuracy_finish(accuracy);
    accuracy_free(accuracy);
    return more;
}

/* The earlier of two due dates, where 0 says that there is none: one that is not stated leaves the whole unstated.
 */
static int64_t earlier_due(const struct calibration *a, const struct calibration *b) {
    if (a == NULL || b == NULL)
        return a != NULL ? a->due_ms : b != NULL ? b->due_ms : 0;
    return a->due_ms < b->due_ms ? a->due_ms : b->due_ms;
}

void check_take_calibration(struct check_case *of, const struct check_words *words, int64_t at_mc) {
    struct accuracy_setting *const setting = &of->kept->setting;
    int64_t uncertainty_mc, due_ms;

    if (of->reference == NULL)
        return;
    uncertainty_mc = trial_uncertainty(of->reference, at_mc);
    due_ms = earlier_due(of->reference->sensor_calibration, of->reference->instrument_calibration);
    if (words->uncertainty == NULL && uncertainty_mc != 0)
        setting->reference_uncertainty_mc = uncertainty_mc;
    if (words->due == NULL && due_ms != 0)
        setting->due_ms = due_ms;
}

/* ---- words from people ---- */

int check_parse_signed(const char *text, int64_t *difference_mc, struct fault *fault) {
    const bool negative = text[0] == '-';

    if (quantity_parse_difference(text + (negative || text[0] == '+' ? 1 : 0), difference_mc, fault) != 0)
        return -1;
    if (negative)
        *difference_mc = -*difference_mc;
    return 0;
}

int check_parse_amount(const char *text, const char *what, int64_t *difference_mc, struct fault *fault) {
    if (quantity_parse_difference(text, difference_mc, fault) != 0)
        return -1;
    return *difference_mc > 0
               ? 0
               : fault_set(fault, EX_DATAERR, "%s '%s': expected a difference above zero, such as 2 C", what, text);
}

int check_parse_due(const char *text, int64_t *due_ms, struct fault *fault) {
    if (quantity_parse_time(text, due_ms, fault) != 0)
        return -1;
    if (strpbrk(text, "T: ") == NULL)
        *due_ms += DAY_MS - 1;
    return 0;
}

/* ---- in words ---- */

char *check_difference(const struct check_case *of, char *out) {
    const struct accuracy_result *result = &of->kept->result;
    const int64_t difference_mc = result->difference_mc;
    char size[QUANTITY_TEXT_BYTES], level[QUANTITY_TEXT_BYTES], uncertainty[QUANTITY_TEXT_BYTES];
    char *degree;

    if (result->pair_count == 0) {
        snprintf(out, TRIAL_TEXT_BYTES, "could not be compared");
        return out;
    }
    trial_size(difference_mc, of->unit, size);
    degree = strstr(size, " °"); // "3.1 ± 1.2 °C" has its unit once
    if (degree != NULL)
        *degree = '\0';
    snprintf(out, TRIAL_TEXT_BYTES, "reads %s by %s ± %s at %s", difference_mc < 0 ? "low" : "high", size,
             trial_size(result->uncertainty_mc, of->unit, uncertainty),
             trial_level(result->reference_mc, of->unit, level));
    return out;
}

char *check_answer(const struct check_case *of, char *out) {
    const struct accuracy_result *result = &of->kept->result;
    char difference[TRIAL_TEXT_BYTES], allowed[QUANTITY_TEXT_BYTES];

    check_difference(of, difference);
    difference[0] = difference[0] == 'r' ? 'R' : 'C';
    trial_size(of->kept->setting.allowed_mc, of->unit, allowed);
    switch (result->outcome) {
    case OUTCOME_MET: snprintf(out, TRIAL_TEXT_BYTES, "%.300s: within the %s allowed", difference, allowed); break;
    case OUTCOME_NOT_MET:
        snprintf(out, TRIAL_TEXT_BYTES, "%.300s: more than the %s allowed", difference, allowed);
        break;
    case OUTCOME_NOT_PROVEN:
        snprintf(out, TRIAL_TEXT_BYTES, "Not proven: %s", accuracy_reason_text(result->reason));
        break;
    }
    return out;
}

static char *say_channel(const struct check_case *of, const struct ledger_channel *channel, char *out) {
    char oven[TRIAL_SHORT_BYTES], name[TRIAL_SHORT_BYTES], sensor[TRIAL_NAME_BYTES];

    snprintf(out, TRIAL_TEXT_BYTES, "%s.%s (%s)", trial_clip(of->oven, oven), trial_clip(channel->name, name),
             channel->sensor_identity[0] != '\0' ? trial_sensor(channel, sensor) : "sensor not named");
    return out;
}

char *check_sensor(const struct check_case *of, char *out) {
    return say_channel(of, of->sensor, out);
}

char *check_reference(const struct check_case *of, char *out) {
    if (of->reference != NULL)
        return say_channel(of, of->reference, out);
    return words_clean(of->kept->reference, strlen(of->kept->reference), 0, out, TRIAL_TEXT_BYTES);
}

char *check_due(const struct check_case *of, char *out) {
    enum { DATE_BYTES = sizeof "YYYY-MM-DD" };
    char time[TRIAL_NAME_BYTES];

    if (of->kept->setting.due_ms == 0)
        snprintf(out, TRIAL_NAME_BYTES, "not stated");
    else // dates of papers are dates, wherever the shop is
        snprintf(out, DATE_BYTES, "%s", quantity_format_time(of->kept->setting.due_ms, 0, time));
    return out;
}
