// SPDX-License-Identifier: MIT
#include "soakledger/quality.h"

#include <stdbool.h>
#include <stdlib.h>

#include "../quantity/wide.h"

#define MS_PER_H INT64_C(3600000)

struct seen {
    bool any;
    int64_t t_ms, value; // of the last reading with a value, believed or not
    int64_t same_since_ms;
    // The last movement of QUALITY_MOVED_MC: where and when it began. While there was none, any_moved is false.
    int64_t anchor_value, anchor_ms;
    bool moved;
    int64_t moved_from_ms; // when the last whole movement began
};

struct quality_watch {
    const struct config *config;
    struct seen *seen;
};

struct quality_watch *quality_open(const struct config *config) {
    struct quality_watch *watch = calloc(1, sizeof *watch);

    if (watch == NULL)
        return NULL;
    watch->config = config;
    watch->seen = calloc(config->channel_count + 1, sizeof *watch->seen);
    if (watch->seen == NULL) {
        free(watch);
        return NULL;
    }
    return watch;
}

void quality_free(struct quality_watch *watch) {
    if (watch == NULL)
        return;
    free(watch->seen);
    free(watch);
}

static int64_t distance(int64_t a, int64_t b) {
    return a > b ? a - b : b - a;
}

static bool is_too_fast(const struct channel_fitting *fitting, const struct seen *seen,
                        const struct reading *reading) {
    const int64_t elapsed_ms = reading->t_ms - seen->t_ms;
    const wide time_ms = elapsed_ms > QUALITY_SHORTEST_MS ? elapsed_ms : QUALITY_SHORTEST_MS;

    return fitting->moves_at_most_mc_per_h > 0 && seen->any &&
           (wide)distance(reading->value, seen->value) * MS_PER_H > fitting->moves_at_most_mc_per_h * time_ms;
}

static bool is_measured(const struct config_channel *channel) {
    return channel->role == ROLE_CONTROL || channel->role == ROLE_LOAD || channel->role == ROLE_COLD ||
           channel->role == ROLE_HIGH_LIMIT;
}

static bool has_neighbour_moved(const struct quality_watch *watch, size_t channel) {
    const struct config_channel *channels = watch->config->channels;

    for (size_t i = 0; i < watch->config->channel_count; i++) {
        const struct seen *other = &watch->seen[i];

        if (i != channel && channels[i].oven == channels[channel].oven && is_measured(&channels[i]) &&
            other->moved && other->moved_from_ms >= watch->seen[channel].same_since_ms)
            return true;
    }
    return false;
}

static void remember(struct seen *seen, const struct reading *reading, bool doubted) {
    if (!seen->any || seen->value != reading->value)
        seen->same_since_ms = reading->t_ms;
    seen->t_ms = reading->t_ms;
    seen->value = reading->value;
    // A value that is not believed has moved nothing.
    if (!seen->any || (!doubted && distance(reading->value, seen->anchor_value) >= QUALITY_MOVED_MC)) {
        seen->moved |= seen->any;
        seen->moved_from_ms = seen->anchor_ms;
        seen->anchor_value = reading->value;
        seen->anchor_ms = reading->t_ms;
    }
    seen->any = true;
}

static void lose_value(struct reading *reading, enum quality quality) {
    reading->quality = quality;
    reading->value = 0;
}

void quality_judge(struct quality_watch *watch, size_t channel, struct reading *reading) {
    const struct channel_fitting *fitting = &watch->config->channels[channel].fitting;
    struct seen *seen = &watch->seen[channel];
    bool doubted;

    if (reading->quality != QUALITY_GOOD)
        return;
    doubted = is_too_fast(fitting, seen, reading);
    remember(seen, reading, doubted);
    if (doubted)
        lose_value(reading, QUALITY_IMPLAUSIBLE);
    else if (fitting->frozen_after_ms > 0 && reading->t_ms - seen->same_since_ms > fitting->frozen_after_ms &&
             has_neighbour_moved(watch, channel))
        lose_value(reading, QUALITY_STALE);
}
