// SPDX-License-Identifier: MIT
/* What was done to a channel's readings before they were judged. */
#include <stdio.h>

#include "soakledger/tell.h"

enum { DATE_LENGTH = 10 }; // of "2026-11-16 07:30:00"

static size_t tell_table(const struct calibration *calibration, int64_t t_ms, int utc_offset_min, size_t used,
                         char *out) {
    char date[QUANTITY_TEXT_BYTES];

    if (calibration == NULL || used >= TELL_BYTES)
        return used;
    used += (size_t)snprintf(out + used, TELL_BYTES - used, "%s%s %s",
                             used > 0 ? " and of " : "corrected by the calibration of ",
                             calibration_subject_name(calibration->subject), calibration->certificate);
    if (calibration_is_overdue(calibration, t_ms) && used < TELL_BYTES)
        used += (size_t)snprintf(out + used, TELL_BYTES - used, " (OVERDUE: it was due on %.*s)", DATE_LENGTH,
                                 quantity_format_time(calibration->due_ms, utc_offset_min, date));
    return used;
}

bool tell_correction(const struct ledger_channel *channel, int64_t begun_ms, int utc_offset_min, char *out) {
    const int64_t good = channel->outside_count + channel->corrected_count;
    size_t used = tell_table(channel->instrument_calibration, begun_ms, utc_offset_min, 0, out);

    used = tell_table(channel->sensor_calibration, begun_ms, utc_offset_min, used, out);
    if (used > 0 && channel->outside_count > 0 && used < TELL_BYTES)
        snprintf(out + used, TELL_BYTES - used,
                 "; %lld of %lld good readings are outside its table and stay as they were",
                 (long long)channel->outside_count, (long long)good);
    return used > 0;
}

bool tell_cold_junction(const struct ledger_channel *channel, enum temperature_unit unit, char *out) {
    char stated[QUANTITY_TEXT_BYTES];

    if (channel->fitting.unit != CHANNEL_MILLIVOLT)
        return false;
    if (channel->cold_channel[0] != '\0')
        snprintf(out, TELL_BYTES, "read in millivolts, type %s, cold junction measured by %s", channel->sensor_type,
                 channel->cold_channel);
    else
        snprintf(out, TELL_BYTES, "read in millivolts, type %s, cold junction stated as %s, not measured",
                 channel->sensor_type, quantity_format_temperature(channel->cold_fixed_mc, unit, 1, stated));
    return true;
}
