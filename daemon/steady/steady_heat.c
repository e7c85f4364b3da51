// SPDX-License-Identifier: MIT
/* When the oven rose through each ten degrees for the first time. The level that the run will hold is not known
 * while it heats up, so all of them are kept. */
#include <math.h>

#include "steady_private.h"

enum { FALLS_BACK_MC = 5000, BELOW_FROM_MC = 147500, BELOW_TO_MC = 17500, BRIDGED = 1 };

static double line_mc(size_t line) {
    return (double)line * LINE_STEP_MC;
}

static void spoil_above(struct steady_heat *heat, double now_mc) {
    for (size_t line = LINE_COUNT; line-- > 0 && line_mc(line) > now_mc + FALLS_BACK_MC;) {
        if (heat->lines[line].state == RISE_ONCE)
            heat->lines[line].state = RISE_SPOILED;
    }
}

/* Through every line between the last bin's mean and this one's, on the straight line between their middles. */
static void rise_through(struct steady_heat *heat, double now_mc, double now_ms, double output) {
    const double low = fmax(0, floor(heat->last_mc / LINE_STEP_MC) + 1);

    for (size_t line = (size_t)low; line < LINE_COUNT && line_mc(line) <= now_mc; line++) {
        const double part = (line_mc(line) - heat->last_mc) / (now_mc - heat->last_mc);
        const double at_ms = heat->last_ms + part * (now_ms - heat->last_ms);

        if (heat->lines[line].state != RISE_NOT_YET)
            continue;
        heat->lines[line] = (struct rise){.state = RISE_ONCE,
                                          .at_ms = at_ms,
                                          .missing = heat->missing,
                                          .output_missing = heat->output_missing,
                                          .output_ms = heat->output_ms + output * (at_ms - heat->last_ms)};
    }
}

void steady_heat_take(struct steady_heat *heat, const struct steady_bin *bin, size_t reference, int64_t bin_ms) {
    const double now_mc = bin->sensors_mc[reference];
    const double now_ms = ((double)bin->number + 0.5) * (double)bin_ms;
    const double output = isnan(bin->output) ? 0 : bin->output;

    heat->output_missing += isnan(bin->output) ? 1 : 0;
    if (isnan(now_mc)) {
        heat->since_last++;
        if (heat->since_last > BRIDGED) {
            heat->missing++;
            heat->has_last = false;
        }
        return;
    }
    heat->since_last = 0;
    if (heat->has_last) {
        rise_through(heat, now_mc, now_ms, output);
        heat->output_ms += output * (now_ms - heat->last_ms);
    }
    spoil_above(heat, now_mc);
    heat->has_last = true;
    heat->last_mc = now_mc;
    heat->last_ms = now_ms;
}

void steady_heat_read(const struct steady_heat *heat, struct steady_stretch *stretch) {
    const double from_line = floor((double)(stretch->level_mc - BELOW_FROM_MC) / LINE_STEP_MC);
    const double to_line = floor((double)(stretch->level_mc - BELOW_TO_MC) / LINE_STEP_MC);
    const struct rise *from, *to;

    if (from_line < 0 || to_line >= LINE_COUNT)
        return;
    from = &heat->lines[(size_t)from_line];
    to = &heat->lines[(size_t)to_line];
    for (const struct rise *rise = from; rise <= to; rise++) {
        if (rise->state != RISE_ONCE)
            return;
    }
    if (from->missing != to->missing)
        return;
    stretch->heat_from_mc = (int64_t)from_line * LINE_STEP_MC;
    stretch->heat_to_mc = (int64_t)to_line * LINE_STEP_MC;
    stretch->heat_ms = llround(to->at_ms - from->at_ms);
    stretch->heat_has_output = from->output_missing == to->output_missing && stretch->heat_ms > 0;
    if (stretch->heat_has_output)
        stretch->heat_output = llround((to->output_ms - from->output_ms) / (to->at_ms - from->at_ms));
}
