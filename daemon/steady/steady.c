// SPDX-License-Identifier: MIT
/* Bins, the window over them, and the stretch that is on. */
#include "soakledger/steady.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "steady_private.h"

enum { SLOWEST_MS = 60000, NEAR_MC = 50000, STRAYS_MC = 5000, LEAST_BLOCKS = 3, LEAST_MINUTES = 3 };
static const double SLOPE_MC_PER_MS = 500.0 / MINUTE_MS; // 0.5 C/min
static const double PRESENT_PART = 0.8;

/* Sum and count of what came in the bin that is being filled. */
struct filling {
    double sum;
    size_t count;
};

struct steady {
    steady_sink *sink;
    void *context;
    size_t sensor_count, reference;
    int64_t sensor_ids[STEADY_MOST_SENSORS];
    int64_t setpoint_id, output_id; // 0: none
    int64_t bin_ms;
    size_t window_bins, minute_bins;
    bool filling;
    int64_t number; // of the bin that is being filled
    struct filling sensors[STEADY_MOST_SENSORS], setpoint, output;
    size_t bin_count; // in the window
    struct steady_bin bins[WINDOW_BINS_MOST];
    struct steady_heat heat;
    bool on;
    int64_t counted; // number of the last bin that is in a stretch, so that none is in two
    struct steady_sums sums;
    struct steady_stretch stretch; // room for the one that is handed out
};

/* ---- opening ---- */

static bool takes_part(const struct steady_channel *channel) {
    return (channel->role == ROLE_CONTROL || channel->role == ROLE_LOAD || channel->role == ROLE_COLD) &&
           channel->interval_ms <= SLOWEST_MS;
}

static void take_channels(struct steady *steady, const struct steady_channel *channels, size_t count,
                          int64_t *slowest_ms) {
    static const enum channel_role order[] = {ROLE_CONTROL, ROLE_LOAD, ROLE_COLD};
    bool found = false;

    for (size_t i = 0; i < count; i++) {
        if (channels[i].role == ROLE_SETPOINT && steady->setpoint_id == 0)
            steady->setpoint_id = channels[i].channel_id;
        if (channels[i].role == ROLE_OUTPUT && steady->output_id == 0)
            steady->output_id = channels[i].channel_id;
        if (!takes_part(&channels[i]) || steady->sensor_count == STEADY_MOST_SENSORS)
            continue;
        if (channels[i].interval_ms > *slowest_ms)
            *slowest_ms = channels[i].interval_ms;
        steady->sensor_ids[steady->sensor_count++] = channels[i].channel_id;
    }
    for (size_t k = 0; k < sizeof order / sizeof *order; k++) {
        for (size_t i = 0, sensor = 0; i < count && sensor < steady->sensor_count && !found; i++) {
            if (!takes_part(&channels[i]))
                continue;
            if (channels[i].role == order[k]) {
                steady->reference = sensor;
                found = true;
            }
            sensor++;
        }
    }
}

struct steady *steady_open(const struct steady_channel *channels, size_t count, steady_sink *sink, void *context,
                           struct fault *fault) {
    struct steady *steady = calloc(1, sizeof *steady);
    int64_t slowest_ms = 0;

    if (steady == NULL) {
        fault_set(fault, EX_OSERR, "no memory to look for stable stretches");
        return NULL;
    }
    steady->sink = sink;
    steady->context = context;
    steady->counted = INT64_MIN;
    take_channels(steady, channels, count, &slowest_ms);
    steady->bin_ms = slowest_ms * 3 / 2 > BIN_MS ? slowest_ms * 3 / 2 : BIN_MS;
    steady->window_bins = (size_t)((WINDOW_MS + steady->bin_ms - 1) / steady->bin_ms);
    steady->minute_bins = (size_t)((MINUTE_MS + steady->bin_ms - 1) / steady->bin_ms);
    return steady;
}

void steady_free(struct steady *steady) {
    free(steady);
}

/* ---- the window ---- */

struct fit {
    bool present; // not missing too often
    double mean_mc, slope, strays_mc;
};

static void fit_slope(const struct steady *steady, size_t sensor, double count, double mean_t, struct fit *fit) {
    double stt = 0, sty = 0, slope;

    for (size_t i = 0; i < steady->bin_count; i++) {
        if (isnan(steady->bins[i].sensors_mc[sensor]))
            continue;
        stt += ((double)i - mean_t) * ((double)i - mean_t);
        sty += ((double)i - mean_t) * (steady->bins[i].sensors_mc[sensor] - fit->mean_mc);
    }
    slope = count > 1 ? sty / stt : 0;
    for (size_t i = 0; i < steady->bin_count; i++) {
        const double line_mc = fit->mean_mc + slope * ((double)i - mean_t);

        if (!isnan(steady->bins[i].sensors_mc[sensor]))
            fit->strays_mc = fmax(fit->strays_mc, fabs(steady->bins[i].sensors_mc[sensor] - line_mc));
    }
    fit->slope = slope / (double)steady->bin_ms;
}

/* A sensor's least-squares line over the window. */
static void fit_window(const struct steady *steady, size_t sensor, struct fit *fit) {
    double n = 0, sum_t = 0, sum_y = 0;

    *fit = (struct fit){0};
    for (size_t i = 0; i < steady->bin_count; i++) {
        if (isnan(steady->bins[i].sensors_mc[sensor]))
            continue;
        n++;
        sum_t += (double)i;
        sum_y += steady->bins[i].sensors_mc[sensor];
    }
    fit->present = n >= PRESENT_PART * (double)steady->window_bins;
    if (!fit->present)
        return;
    fit->mean_mc = sum_y / n;
    fit_slope(steady, sensor, n, sum_t / n, fit);
}

static bool is_level(const struct fit *fit) {
    return fit->present && fabs(fit->slope) < SLOPE_MC_PER_MS && fit->strays_mc <= STRAYS_MC;
}

/* May a stretch begin with this window, or go on? `part` says who takes part: made when it begins. */
static bool is_stable(const struct steady *steady, bool begins, bool *part) {
    struct fit reference, fit;

    if (steady->bin_count < steady->window_bins)
        return false;
    fit_window(steady, steady->reference, &reference);
    if (!is_level(&reference))
        return false;
    for (size_t i = 0; i < steady->sensor_count; i++) {
        fit_window(steady, i, &fit);
        if (begins)
            part[i] = fit.present && fabs(fit.mean_mc - reference.mean_mc) <= NEAR_MC;
        if (part[i] && !is_level(&fit))
            return false;
    }
    return true;
}

/* ---- the stretch ---- */

static void read_pairs(const struct steady *steady, struct steady_stretch *stretch) {
    const struct steady_sums *sums = &steady->sums;
    size_t pair = 0;

    for (size_t one = 0; one < steady->sensor_count; one++) {
        for (size_t other = one + 1; other < steady->sensor_count; other++, pair++) {
            const struct steady_spread *spread = &sums->pairs[pair];
            const double n = (double)spread->count;

            if (!sums->takes_part[one] || !sums->takes_part[other])
                continue;
            stretch->pairs[stretch->pair_count++] = (struct steady_pair){
                .one_id = steady->sensor_ids[one],
                .other_id = steady->sensor_ids[other],
                .difference_mc = llround((sums->sensors_mc[one] - sums->sensors_mc[other]) / (double)sums->count),
                .error_mc = spread->count < LEAST_BLOCKS ? -1 : llround(sqrt(spread->squares / (n - 1) / n)),
            };
        }
    }
}

static void read_stretch(const struct steady *steady, struct steady_stretch *stretch) {
    const struct steady_sums *sums = &steady->sums;
    const double count = (double)sums->count;

    *stretch = (struct steady_stretch){.from_ms = sums->first_number * steady->bin_ms,
                                       .to_ms = (sums->last_number + 1) * steady->bin_ms,
                                       .reference_id = steady->sensor_ids[steady->reference]};
    stretch->level_mc = llround(sums->sensors_mc[steady->reference] / count);
    stretch->has_setpoint = sums->setpoint_count > 0;
    if (stretch->has_setpoint) {
        stretch->setpoint_mc = llround(sums->setpoint_mc / (double)sums->setpoint_count);
        if (llabs(stretch->setpoint_mc - stretch->level_mc) <= NEAR_MC)
            stretch->level_mc = stretch->setpoint_mc;
    }
    stretch->has_output = sums->output_count > 0;
    if (stretch->has_output)
        stretch->output = llround(sums->output / (double)sums->output_count);
    for (size_t i = 0; i < steady->sensor_count; i++) {
        if (sums->takes_part[i])
            stretch->means[stretch->sensor_count++] =
                (struct steady_mean){steady->sensor_ids[i], llround(sums->sensors_mc[i] / count)};
    }
    read_pairs(steady, stretch);
    steady_heat_read(&steady->heat, stretch);
}

static void end_stretch(struct steady *steady) {
    const struct steady_sums *sums = &steady->sums;

    steady->on = false;
    if (sums->count == 0 ||
        (sums->last_number + 1 - sums->first_number) * steady->bin_ms < LEAST_MINUTES * MINUTE_MS)
        return;
    read_stretch(steady, &steady->stretch);
    steady->sink(steady->context, &steady->stretch);
}

/* Counts the bins of the window that are not counted yet, but for the last `held`. */
static void count_bins(struct steady *steady, size_t held) {
    for (size_t i = 0; i + held < steady->bin_count; i++) {
        if (steady->bins[i].number <= steady->counted)
            continue;
        steady->counted = steady->bins[i].number;
        steady_sums_add(&steady->sums, &steady->bins[i], steady->sensor_count, steady->minute_bins);
    }
}

static void leave_out_first(struct steady *steady) {
    const int64_t last = steady->bins[steady->minute_bins - 1].number;

    if (steady->counted < last)
        steady->counted = last;
}

static void look_at_window(struct steady *steady) {
    bool part[STEADY_MOST_SENSORS];

    memcpy(part, steady->sums.takes_part, sizeof part);
    if (!is_stable(steady, !steady->on, part)) {
        if (steady->on)
            end_stretch(steady);
        return;
    }
    if (!steady->on) {
        memset(&steady->sums, 0, sizeof steady->sums);
        memcpy(steady->sums.takes_part, part, sizeof part);
        steady->on = true;
        leave_out_first(steady);
    }
    count_bins(steady, steady->minute_bins);
}

/* ---- bins ---- */

static double mean_of(struct filling *filling) {
    const double mean = filling->count > 0 ? filling->sum / (double)filling->count : NAN;

    *filling = (struct filling){0};
    return mean;
}

/* Ends the bin that is being filled, or an empty one. */
static void end_bin(struct steady *steady) {
    struct steady_bin *bin;

    if (steady->bin_count == steady->window_bins)
        memmove(&steady->bins[0], &steady->bins[1], --steady->bin_count * sizeof steady->bins[0]);
    bin = &steady->bins[steady->bin_count++];
    bin->number = steady->number++;
    for (size_t i = 0; i < steady->sensor_count; i++)
        bin->sensors_mc[i] = mean_of(&steady->sensors[i]);
    bin->setpoint_mc = mean_of(&steady->setpoint);
    bin->output = mean_of(&steady->output);
    steady_heat_take(&steady->heat, bin, steady->reference, steady->bin_ms);
    look_at_window(steady);
}

/* After a gap as long as a window nothing of before is left in it. */
static void go_to_bin(struct steady *steady, int64_t number) {
    for (size_t i = 0; i <= steady->window_bins && steady->number < number; i++)
        end_bin(steady);
    steady->number = number;
}

static struct filling *find_filling(struct steady *steady, int64_t channel_id) {
    for (size_t i = 0; i < steady->sensor_count; i++) {
        if (steady->sensor_ids[i] == channel_id)
            return &steady->sensors[i];
    }
    if (channel_id == steady->setpoint_id)
        return &steady->setpoint;
    return channel_id == steady->output_id ? &steady->output : NULL;
}

static int64_t bin_of(const struct steady *steady, int64_t t_ms) {
    return t_ms / steady->bin_ms - (t_ms % steady->bin_ms < 0);
}

void steady_feed(struct steady *steady, const struct reading *reading) {
    struct filling *filling = find_filling(steady, reading->channel_id);
    const int64_t number = bin_of(steady, reading->t_ms);

    if (filling == NULL || steady->sensor_count == 0)
        return;
    if (!steady->filling) {
        steady->filling = true;
        steady->number = number;
    }
    if (number > steady->number)
        go_to_bin(steady, number);
    if (reading->quality != QUALITY_GOOD)
        return;
    filling->sum += (double)reading->value;
    filling->count++;
}

void steady_end(struct steady *steady) {
    if (!steady->on)
        return;
    count_bins(steady, 0);
    end_stretch(steady);
}
