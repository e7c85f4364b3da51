// SPDX-License-Identifier: MIT
#include "soakledger/reading.h"

const char *quality_name(enum quality quality) {
    static const char *const names[QUALITY_COUNT] = {
        [QUALITY_GOOD] = "good",
        [QUALITY_OPEN_SENSOR] = "open sensor",
        [QUALITY_OVER_RANGE] = "over range",
        [QUALITY_UNDER_RANGE] = "under range",
        [QUALITY_NO_REPLY] = "no reply",
        [QUALITY_BAD_FRAME] = "bad frame",
        [QUALITY_EXCEPTION] = "refused by the controller",
        [QUALITY_STALE] = "frozen value",
        [QUALITY_IMPLAUSIBLE] = "implausible step",
        [QUALITY_NO_JUNCTION] = "cold junction not known",
    };

    return (unsigned)quality < QUALITY_COUNT ? names[quality] : "unknown quality";
}

bool reading_is_before(const struct reading *a, const struct reading *b) {
    return a->t_ms != b->t_ms ? a->t_ms < b->t_ms : a->channel_id < b->channel_id;
}
