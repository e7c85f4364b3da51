// SPDX-License-Identifier: MIT
/* Of registers beginning at one that exists, requests for few are answered and for many refused, with one border
 * between: halving finds it. From one that does not exist nothing can be said about the next. */
#include <assert.h>
#include <stdio.h>
#include <string.h>

#include "soakledger/probe.h"

enum { REGISTERS = UINT16_MAX + 1 };

static uint32_t lower(uint32_t a, uint32_t b) {
    return a < b ? a : b;
}

/* Looks at what begins at `at` as if nothing were known of it, but that a request has its bounds. */
static void begin_run(struct probe_map *map) {
    map->good = 0;
    map->wrong = lower(MODBUS_MOST_REGISTERS, map->end - map->at) + 1;
}

void probe_begin_map(struct probe_map *map, uint32_t first, uint32_t count) {
    assert(count >= 1 && first + count <= REGISTERS);
    *map = (struct probe_map){.first = first, .end = first + count, .at = first, .most_at_once = 1};
    begin_run(map);
}

/* First one, so that a missing register costs one request; then the most there may be; then halving. */
static uint32_t choose_count(const struct probe_map *map) {
    const uint32_t most = lower(MODBUS_MOST_REGISTERS, map->end - map->at);

    if (map->good == 0)
        return 1;
    if (map->good == 1 && map->wrong == most + 1)
        return most;
    return map->good + (map->wrong - map->good) / 2;
}

bool probe_next_block(const struct probe_map *map, uint16_t *first, uint16_t *count) {
    if (map->at >= map->end || map->full)
        return false;
    *first = (uint16_t)map->at;
    *count = (uint16_t)choose_count(map);
    return true;
}

static void add_run(struct probe_map *map) {
    struct probe_range *last = map->range_count > 0 ? &map->ranges[map->range_count - 1] : NULL;

    if (last != NULL && last->first + last->count == map->at) {
        last->count += map->good;
    } else if (map->range_count < PROBE_RANGES) {
        map->ranges[map->range_count++] = (struct probe_range){(uint16_t)map->at, map->good};
    } else {
        map->full = true;
        return;
    }
    if (map->good > map->most_at_once)
        map->most_at_once = (uint16_t)map->good;
}

void probe_note_block(struct probe_map *map, bool given) {
    const uint32_t count = choose_count(map);

    if (given)
        map->good = count;
    else
        map->wrong = count;
    if (map->wrong - map->good > 1)
        return;
    if (map->good > 0)
        add_run(map);
    map->at += map->good > 0 ? map->good : 1;
    if (map->at < map->end)
        begin_run(map);
}

bool probe_has_register(const struct probe_map *map, uint32_t number) {
    for (size_t i = 0; i < map->range_count; i++)
        if (number >= map->ranges[i].first && number - map->ranges[i].first < map->ranges[i].count)
            return true;
    return false;
}

char *probe_name_ranges(const struct probe_map *map, char *out) {
    static const char more[] = ", ...";
    size_t used = 0;

    out[0] = '\0';
    for (size_t i = 0; i < map->range_count; i++) {
        const struct probe_range *range = &map->ranges[i];
        char text[PROBE_TEXT_BYTES];

        if (range->count == 1)
            snprintf(text, sizeof text, "%s%u", i > 0 ? ", " : "", (unsigned)range->first);
        else
            snprintf(text, sizeof text, "%s%u to %u", i > 0 ? ", " : "", (unsigned)range->first,
                     (unsigned)(range->first + range->count - 1));
        if (used + strlen(text) + sizeof more > PROBE_TEXT_BYTES) {
            memcpy(out + used, more, sizeof more);
            break;
        }
        memcpy(out + used, text, strlen(text) + 1);
        used += strlen(text);
    }
    return out;
}
