// SPDX-License-Identifier: MIT
/* What will happen if things go on as they do. */
#include "soakledger/forecast.h"

#include <math.h>
#include <stdlib.h>

#include "course.h"

enum { LANES_MOST = 16, GAP_INTERVALS = 3, BIN_LEAST_MS = 5000 };

/* An overshoot is coming once so many bins in a row have led to it: one alone may be noise, and the first moments
 * of a slowing look like a much higher peak. It is looked for from half the distance of limit and edge below the
 * edge on: before that the controller still has time to turn the heat down. Both found with tool_forecast on
 * made-up runs. */
enum { HELD_BINS = 4 };
static const int64_t looked_for_part = 2;

/* An approach that ends just above the edge crosses it at a moment that noise decides: better nothing said. */
static const double reach_tells = 0.9;
/* A straight line is believed for so many times as long as it was seen. */
static const double line_tells = 10;

static const double MS_PER_S = 1000, MC_PER_C = 1000;

struct lane {
    int64_t channel_id;
    int64_t last_ms, last_mc;
    bool in;
    int64_t rose_ms; // through the edge; valid if in
    bool passed;     // the overshoot limit, at some time
    int64_t bin_from_ms;
    double sum_s, sum_c;
    int bin_readings;
    struct course_past past;
    struct course course;
    int held; // bins in a row that led over the limit
};

struct forecast {
    struct forecast_limits limits;
    int64_t bin_ms, looked_for_mc;
    int64_t origin_ms; // of all times in seconds
    size_t lane_count;
    struct lane lanes[LANES_MOST];
};

struct forecast *forecast_open(const struct forecast_limits *limits, struct fault *fault) {
    struct forecast *forecast = calloc(1, sizeof *forecast);

    if (forecast == NULL) {
        fault_set(fault, EX_OSERR, "no memory for a forecast");
        return NULL;
    }
    forecast->limits = *limits;
    forecast->bin_ms = limits->interval_ms > BIN_LEAST_MS ? limits->interval_ms : BIN_LEAST_MS;
    forecast->looked_for_mc = limits->edge_mc - (limits->overshoot_limit_mc - limits->edge_mc) / looked_for_part;
    return forecast;
}

void forecast_free(struct forecast *forecast) {
    free(forecast);
}

/* ---- readings ---- */

static struct lane *find_lane(struct forecast *forecast, int64_t channel_id) {
    for (size_t i = 0; i < forecast->lane_count; i++) {
        if (forecast->lanes[i].channel_id == channel_id)
            return &forecast->lanes[i];
    }
    if (forecast->lane_count == LANES_MOST)
        return NULL;
    forecast->lanes[forecast->lane_count] = (struct lane){.channel_id = channel_id, .last_ms = INT64_MIN};
    return &forecast->lanes[forecast->lane_count++];
}

/* As the judge has it: nothing good for more than three intervals is a gap. */
static bool is_stale(const struct forecast *forecast, const struct lane *lane, int64_t now_ms) {
    return lane->last_ms == INT64_MIN || now_ms - lane->last_ms > GAP_INTERVALS * forecast->limits.interval_ms;
}

/* What was before a gap proves nothing after it. */
static void begin_anew(struct lane *lane, const struct reading *reading) {
    lane->past.count = 0;
    lane->course = (struct course){.rises = false};
    lane->held = 0;
    lane->bin_readings = 0;
    lane->sum_s = lane->sum_c = 0;
    lane->bin_from_ms = reading->t_ms;
    lane->in = false;
    lane->rose_ms = reading->t_ms;
}

static void take_edge(const struct forecast *forecast, struct lane *lane, const struct reading *reading,
                      bool anew) {
    const int64_t edge_mc = forecast->limits.edge_mc;
    const bool in = reading->value >= edge_mc;

    if (in && !lane->in && !anew) // on the straight line between the two
        lane->rose_ms = reading->t_ms - (reading->t_ms - lane->last_ms) * (reading->value - edge_mc) /
                                            (reading->value - lane->last_mc);
    lane->in = in;
    lane->passed |= reading->value > forecast->limits.overshoot_limit_mc;
}

static void close_bin(const struct forecast *forecast, struct lane *lane) {
    const double limit_c = (double)forecast->limits.overshoot_limit_mc / MC_PER_C;
    const double looked_for_c = (double)forecast->looked_for_mc / MC_PER_C;
    bool leads_over;

    course_add(&lane->past, lane->sum_s / lane->bin_readings, lane->sum_c / lane->bin_readings);
    course_find(&lane->past, &lane->course);
    leads_over = lane->course.slows && lane->course.peak_c > limit_c && lane->course.value_c > looked_for_c;
    lane->held = leads_over ? lane->held + 1 : 0;
    lane->bin_readings = 0;
    lane->sum_s = lane->sum_c = 0;
}

void forecast_feed(struct forecast *forecast, const struct reading *reading) {
    struct lane *lane = find_lane(forecast, reading->channel_id);
    bool anew;

    if (lane == NULL || reading->quality != QUALITY_GOOD || reading->t_ms <= lane->last_ms)
        return;
    if (forecast->origin_ms == 0)
        forecast->origin_ms = reading->t_ms;
    anew = is_stale(forecast, lane, reading->t_ms);
    if (anew)
        begin_anew(lane, reading);
    take_edge(forecast, lane, reading, anew);
    if (reading->t_ms >= lane->bin_from_ms + forecast->bin_ms) {
        close_bin(forecast, lane);
        lane->bin_from_ms = reading->t_ms;
    }
    lane->sum_s += (double)(reading->t_ms - forecast->origin_ms) / MS_PER_S;
    lane->sum_c += (double)reading->value / MC_PER_C;
    lane->bin_readings++;
    lane->last_ms = reading->t_ms;
    lane->last_mc = reading->value;
}

/* ---- outlook ---- */

/* When the channel will rise through the edge; false if it cannot be told. */
static bool find_crossing(const struct forecast *forecast, const struct lane *lane, int64_t now_ms, int64_t *t_ms) {
    const struct course *course = &lane->course;
    const double away_c = (double)forecast->limits.edge_mc / MC_PER_C - course->value_c;
    double in_s;

    if (!course->rises)
        return false;
    if (course->slows) {
        const double reach_c = course->slope_c_s * course->decay_s;

        if (away_c >= reach_tells * reach_c)
            return false;
        in_s = -course->decay_s * log(1 - away_c / reach_c);
    } else {
        in_s = away_c / course->slope_c_s;
        if (in_s > line_tells * (double)lane->past.count * (double)forecast->bin_ms / MS_PER_S)
            return false;
    }
    *t_ms = forecast->origin_ms + llround((course->t_s + in_s) * MS_PER_S);
    if (*t_ms < now_ms)
        *t_ms = now_ms;
    return true;
}

void forecast_read(const struct forecast *forecast, int64_t now_ms, struct forecast_outlook *outlook) {
    bool known = forecast->lane_count > 0, in = known, passed = false, coming = false;
    int64_t begin_ms = 0;

    *outlook = (struct forecast_outlook){.in_band = false};
    for (size_t i = 0; i < forecast->lane_count; i++) {
        const struct lane *lane = &forecast->lanes[i];
        const bool stale = is_stale(forecast, lane, now_ms);
        int64_t rises_ms = lane->rose_ms;

        in &= lane->in && !stale;
        known &= !stale && (lane->in || find_crossing(forecast, lane, now_ms, &rises_ms));
        begin_ms = rises_ms > begin_ms ? rises_ms : begin_ms;
        passed |= lane->passed;
        if (stale || !lane->course.slows)
            continue;
        coming |= lane->held >= HELD_BINS;
        if (!outlook->peak_known || lane->course.peak_c * MC_PER_C > (double)outlook->peak_mc)
            outlook->peak_mc = llround(lane->course.peak_c * MC_PER_C);
        outlook->peak_known = true;
    }
    outlook->in_band = in;
    outlook->complete_known = known;
    outlook->complete_ms = known ? begin_ms + forecast->limits.required_ms : 0;
    outlook->overshoot_coming = coming && !passed;
}
