// SPDX-License-Identifier: MIT
/* An oven's sensors over many runs: one line each in plain words, then the charts behind it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "drift_parts.h"
#include "soakledger/ink.h"
#include "soakledger/trend.h"

enum { PAIRS_SHOWN = 4, S_PER_MIN = 60, RUNS_COUNTED = 10 };

static const float PAIR_HEIGHT = 118, CHARTS_HEIGHT = 66, BESIDE_HEIGHT = 96, GAP = 18, AFTER = 8,
                   ROWS_THAT_FOLLOW = 40, KEY_LEADING = 10;
static const double FAHRENHEIT_PER_CELSIUS = 1.8, LEAST_RANGE = 2; // per cent of output, or minutes

struct drift_sheet {
    struct trial *trial;
    const struct drift_case *of;
    const struct health_level *level;
    double per_c; // degrees of the sheet's unit in one of Celsius
    const char *degree;
};

static const char *sensor_name(const struct drift_sheet *sheet, size_t sensor, char *out) {
    return trial_clip(sheet->of->oven->sensors[sensor].name, out);
}

/* ---- words ---- */

/* The line begins with the sensor's name, which stands in a cell of its own. */
static const char *without_name(const char *line, const char *name) {
    const size_t length = strlen(name);

    return strncmp(line, name, length) == 0 && strncmp(line + length, ": ", 2) == 0 ? line + length + 2 : line;
}

static void write_lines(struct drift_sheet *sheet) {
    static const struct sheet_column columns[] = {{"sensor", 0.16F, PAGE_LEFT},
                                                  {"thermocouple", 0.18F, PAGE_LEFT},
                                                  {"since", 0.14F, PAGE_LEFT},
                                                  {"what is known", 0.52F, PAGE_LEFT}};
    const struct drift_case *of = sheet->of;
    struct sheet_table table;

    trial_caption(
        sheet->trial, "Sensor by sensor",
        "Changes are counted since the sensor was fitted or last checked; an error that it had then stays unseen. "
        "± is the expanded uncertainty (k = 2), brackets hold the 95 % interval.",
        ROWS_THAT_FOLLOW);
    sheet_table_begin(&table, &sheet->trial->sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < of->oven->sensor_count; i++) {
        const struct health_sensor *sensor = &of->oven->sensors[i];
        char name[TRIAL_SHORT_BYTES], tag[TRIAL_SHORT_BYTES], what[TRIAL_NAME_BYTES], since[TRIAL_NAME_BYTES];
        char line[TRIAL_TEXT_BYTES];

        if (of->sensor != DRIFT_ALL_SENSORS && of->sensor != i)
            continue;
        snprintf(what, sizeof what, "%s%s%.8s",
                 sensor->identity[0] != '\0' ? trial_clip(sensor->identity, tag) : "not named",
                 sensor->type[0] != '\0' ? ", type " : "", sensor->type);
        sheet_table_row(&table, (const struct sheet_cell[]){
                                    {sensor_name(sheet, i, name), SHEET_NO_MARK, true},
                                    {what, SHEET_NO_MARK, false},
                                    {drift_since(of, i, since), SHEET_NO_MARK, false},
                                    {without_name(drift_line(of, i, line), sensor->name), SHEET_NO_MARK, false}});
    }
    sheet_table_end(&table);
}

static void write_levels(struct drift_sheet *sheet) {
    static const struct sheet_column columns[] = {
        {"setpoint", 0.20F, PAGE_LEFT}, {"runs", 0.10F, PAGE_LEFT}, {"what they say", 0.70F, PAGE_LEFT}};
    const struct drift_case *of = sheet->of;
    struct sheet_table table;

    if (of->oven->level_count < 2)
        return;
    trial_caption(sheet->trial, "Setpoint by setpoint", "The charts are those of the first one that is marked.",
                  ROWS_THAT_FOLLOW);
    sheet_table_begin(&table, &sheet->trial->sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < of->oven->level_count; i++) {
        const struct health_level *level = &of->oven->levels[i];
        char setpoint[QUANTITY_TEXT_BYTES], runs[QUANTITY_TEXT_BYTES], words[DRIFT_WORDS_BYTES];

        quantity_format_temperature(llround(level->level_c * QUANTITY_PER_UNIT), of->config->unit, 0, setpoint);
        snprintf(runs, sizeof runs, "%zu", level->report->run_count);
        drift_describe_cause(&level->history, level->report, of->config->unit, words);
        sheet_table_row(&table, (const struct sheet_cell[]){{setpoint, SHEET_NO_MARK, level == sheet->level},
                                                            {runs, SHEET_NO_MARK, false},
                                                            {words, SHEET_NO_MARK, level == sheet->level}});
    }
    sheet_table_end(&table);
}

/* ---- pairs ---- */

static bool is_wanted(const struct drift_sheet *sheet, const struct drift_series *pair) {
    const size_t sensor = sheet->of->sensor;

    return pair->count > 0 && (sensor == DRIFT_ALL_SENSORS || pair->one == sensor || pair->other == sensor);
}

/* How much a pair has to say: what is established first, then by the size of its change in units of its noise. */
static double weigh_pair(const struct drift_series *pair) {
    const double established = 1e6;
    const double noise = pair->noise > 0 ? pair->noise : 1;

    return (pair->signal != 0 ? established : 0) +
           fabs(pair->signal != 0 ? pair->change : pair->per_10_runs) / noise;
}

static size_t pick_pairs(const struct drift_sheet *sheet, const struct drift_series *picked[PAIRS_SHOWN],
                         size_t *all) {
    const struct drift_report *report = sheet->level->report;
    size_t count = 0;

    *all = 0;
    for (size_t i = 0; i < report->pair_count; i++) {
        const struct drift_series *pair = &report->pairs[i];
        size_t at = count < PAIRS_SHOWN ? count : PAIRS_SHOWN;

        if (!is_wanted(sheet, pair))
            continue;
        ++*all;
        while (at > 0 && weigh_pair(picked[at - 1]) < weigh_pair(pair)) {
            if (at < PAIRS_SHOWN)
                picked[at] = picked[at - 1];
            at--;
        }
        if (at < PAIRS_SHOWN)
            picked[at] = pair;
        count += count < PAIRS_SHOWN ? 1 : 0;
    }
    return count;
}

static int compare_doubles(const void *a, const void *b) {
    const double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Median of what is known within [from, to). NAN if nothing is. */
static double find_median(const double *values, size_t from, size_t to) {
    double *sorted = calloc(to - from + 1, sizeof *sorted), median = NAN;
    size_t count = 0;

    if (sorted == NULL)
        return NAN;
    for (size_t i = from; i < to; i++)
        if (!isnan(values[i]))
            sorted[count++] = values[i];
    qsort(sorted, count, sizeof *sorted, compare_doubles);
    if (count > 0) {
        const size_t middle = count / 2;

        median = count % 2 != 0 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
    }
    free(sorted);
    return median;
}

/* Where the straight line begins: at the change, if there is one; and where things stood before it. */
static size_t line_begin(const struct drift_series *pair) {
    return pair->signal != 0 ? pair->begins_run : pair->first_run;
}

static double find_baseline(const struct drift_series *pair, size_t runs) {
    const size_t until = pair->signal != 0 && pair->begins_run > pair->first_run ? pair->begins_run : runs;

    return find_median(pair->values, pair->first_run, until);
}

/* The slope of what is drawn: since the change, if there is one, else since the pair's history begins. In degrees
 * Celsius a run. False where there are too few runs for one. */
static bool find_slope(const struct drift_sheet *sheet, const struct drift_series *pair,
                       struct trend_slope *slope) {
    enum { LEAST = 3 };
    const double confidence = 0.95;
    const size_t runs = sheet->level->history.run_count;
    double *x = calloc(2 * runs + 1, sizeof *x), *y = x != NULL ? x + runs : NULL;
    size_t count = 0;
    bool found = false;

    for (size_t i = line_begin(pair); y != NULL && i < runs; i++) {
        if (isnan(pair->values[i]))
            continue;
        x[count] = (double)i;
        y[count++] = pair->values[i];
    }
    if (count >= LEAST)
        found = trend_find_slope(x, y, count, confidence, slope);
    free(x);
    return found;
}

/* The line with its band: all turn about the middle of what they were fitted to. */
static void draw_slope(const struct drift_sheet *sheet, const struct drift_plot *plot,
                       const struct drift_series *pair) {
    const struct page_pen line = {INK_NOT_MET, 1.0F, {0}}, edge = {INK_NOT_MET, 0.5F, {2, 2}};
    const double begin = (double)line_begin(pair), last = (double)plot->runs - 1, middle = (begin + last) / 2;
    struct trend_slope slope;

    if (!find_slope(sheet, pair, &slope))
        return;
    page_clip(plot->page, plot->area);
    for (int i = 0; i < 3; i++) {
        const double per_run = i == 0 ? slope.slope : i == 1 ? slope.low : slope.high;
        const double at = slope.intercept + slope.slope * middle;

        if (isfinite(per_run))
            page_line(plot->page, i == 0 ? &line : &edge, drift_plot_x(plot, begin),
                      drift_plot_y(plot, (at + per_run * (begin - middle)) * sheet->per_c),
                      drift_plot_x(plot, last),
                      drift_plot_y(plot, (at + per_run * (last - middle)) * sheet->per_c));
    }
    page_unclip(plot->page);
}

static void draw_difference(struct drift_sheet *sheet, const struct drift_series *pair, struct page_frame frame,
                            const char *title) {
    const size_t runs = sheet->level->history.run_count;
    const double allowed_c = fmin(sheet->level->history.sensors[pair->one].allowed_c,
                                  sheet->level->history.sensors[pair->other].allowed_c);
    const double baseline = find_baseline(pair, runs) * sheet->per_c, allowed = allowed_c * sheet->per_c;
    double *values = calloc(runs + 1, sizeof *values), low = baseline - allowed, high = baseline + allowed;
    char name[TRIAL_NAME_BYTES];
    struct drift_plot plot;

    if (values == NULL)
        return;
    for (size_t i = 0; i < runs; i++)
        values[i] = i < pair->first_run ? NAN : pair->values[i] * sheet->per_c;
    drift_plot_widen(values, runs, &low, &high);
    drift_plot_begin(&plot, sheet->trial->page, frame, title, low, high, runs, false);
    snprintf(name, sizeof name, "allowed: %.1f %s from where it began", allowed, sheet->degree);
    drift_plot_level(&plot, baseline + allowed, name);
    drift_plot_level(&plot, baseline - allowed, "");
    draw_slope(sheet, &plot, pair);
    drift_plot_dots(&plot, values, pair->first_run, (struct page_colour){0.00F, 0.24F, 0.47F});
    free(values);
}

/* Both charts as shares of their limits: what reaches 1 either way is no chance any more. */
static void draw_charts(struct drift_sheet *sheet, const struct drift_series *pair, struct page_frame frame) {
    const struct page_pen sums = {INK_TEXT, 1.0F, {0}}, ewma = {{0.70F, 0.24F, 0.02F}, 1.0F, {3, 2}};
    const size_t runs = sheet->level->history.run_count;
    double low = -pair->chart_limit, high = pair->chart_limit, most;
    struct drift_plot plot;

    for (size_t i = pair->first_run; i < runs; i++)
        if (!isnan(pair->high[i]) && !isnan(pair->low[i])) {
            high = fmax(high, pair->high[i]);
            low = fmin(low, -pair->low[i]);
        }
    most = pair->chart_limit > 0 ? pair->chart_limit : 1;
    drift_plot_begin(&plot, sheet->trial->page, frame,
                     "CUSUM (solid) and EWMA (dashed) of it, as shares of their limits", low / most, high / most,
                     runs, true);
    drift_plot_level(&plot, 1, "limit");
    drift_plot_level(&plot, -1, "");
    drift_plot_line(&plot, pair->high, 1 / most, pair->first_run, &sums);
    drift_plot_line(&plot, pair->low, -1 / most, pair->first_run, &sums);
    page_clip(sheet->trial->page, plot.area);
    if (pair->ewma_limit > 0)
        drift_plot_line(&plot, pair->ewma, 1 / pair->ewma_limit, pair->first_run, &ewma);
    page_unclip(sheet->trial->page);
}

static void describe_pair(const struct drift_sheet *sheet, const struct drift_series *pair, char *out) {
    const double per_c = sheet->per_c, ten = RUNS_COUNTED * sheet->per_c;
    struct trend_slope slope;
    size_t used = 0;

    out[0] = '\0';
    if (find_slope(sheet, pair, &slope))
        used = (size_t)snprintf(
            out, TRIAL_TEXT_BYTES, "Theil-Sen slope since run %zu: %+.2f %s per 10 runs (95 %%: %+.2f to %+.2f). ",
            line_begin(pair) + 1, slope.slope * ten, sheet->degree, slope.low * ten, slope.high * ten);
    used += (size_t)snprintf(out + used, TRIAL_TEXT_BYTES - used,
                             "Mann-Kendall over all: p = %.3f. From run to run ±%.2f %s.", pair->p,
                             2 * pair->noise * per_c, sheet->degree);
    if (pair->signal != 0)
        snprintf(out + used, TRIAL_TEXT_BYTES - used,
                 " A %s change, beginning with run %zu, established at run %zu: %+.1f ± %.1f %s.",
                 drift_shape_name(pair->shape), pair->begins_run + 1, pair->signal_run + 1, pair->change * per_c,
                 2 * pair->change_error * per_c, sheet->degree);
}

static void draw_pair(struct drift_sheet *sheet, const struct drift_series *pair) {
    char one[TRIAL_SHORT_BYTES], other[TRIAL_SHORT_BYTES], title[3 * TRIAL_SHORT_BYTES],
        words[TRIAL_TEXT_BYTES] = "";
    struct page_frame frame, upper, lower;

    describe_pair(sheet, pair, words);
    sheet_need(&sheet->trial->sheet, PAIR_HEIGHT + CHARTS_HEIGHT + 2 * KEY_LEADING);
    frame = sheet_take(&sheet->trial->sheet, PAIR_HEIGHT + CHARTS_HEIGHT);
    upper = lower = frame;
    upper.bottom = lower.top = frame.top + PAIR_HEIGHT;
    snprintf(title, sizeof title, "%s less %s, %s", sensor_name(sheet, pair->one, one),
             sensor_name(sheet, pair->other, other), sheet->degree);
    draw_difference(sheet, pair, upper, title);
    draw_charts(sheet, pair, lower);
    sheet_small(&sheet->trial->sheet, words);
    sheet_skip(&sheet->trial->sheet, AFTER);
}

static void draw_pairs(struct drift_sheet *sheet) {
    const struct drift_series *picked[PAIRS_SHOWN];
    size_t all;
    const size_t count = pick_pairs(sheet, picked, &all);
    char remark[TRIAL_TEXT_BYTES];

    if (count == 0)
        return;
    snprintf(remark, sizeof remark,
             "A dot a run: the mean difference while the temperature was stable. Red: how it grows, with the 95 %% "
             "band of the "
             "slope. %zu of %zu pairs, those that changed most.",
             count, all);
    trial_caption(sheet->trial, "What sensors say of each other", remark, PAIR_HEIGHT + CHARTS_HEIGHT);
    for (size_t i = 0; i < count; i++)
        draw_pair(sheet, picked[i]);
}

/* ---- the oven beside ---- */

static void draw_beside_one(struct drift_sheet *sheet, const double *values, struct page_frame frame,
                            const char *title) {
    const size_t runs = sheet->level->history.run_count;
    double low = INFINITY, high = -INFINITY;
    const struct page_type type = {PAGE_REGULAR, 7.25F, INK_QUIET};
    char line[TRIAL_NAME_BYTES];
    struct drift_plot plot;

    drift_plot_widen(values, runs, &low, &high);
    if (low > high) {
        snprintf(line, sizeof line, "%.120s: not known", title);
        page_text(sheet->trial->page, frame.left, frame.top + type.size, PAGE_LEFT, &type, line);
        return;
    }
    if (high - low < LEAST_RANGE) { // what is noise shall not look like a change
        const double middle = (low + high) / 2;

        low = middle - LEAST_RANGE / 2;
        high = middle + LEAST_RANGE / 2;
    }
    drift_plot_begin(&plot, sheet->trial->page, frame, title, low, high, runs, true);
    drift_plot_dots(&plot, values, 0, (struct page_colour){0.00F, 0.42F, 0.36F});
}

static void draw_beside(struct drift_sheet *sheet) {
    const struct drift_history *history = &sheet->level->history;
    double *values = calloc(2 * history->run_count + 1, sizeof *values);
    struct page_frame frame, left, right;

    if (values == NULL)
        return;
    for (size_t i = 0; i < history->run_count; i++) {
        values[i] = history->runs[i].output;
        values[history->run_count + i] = history->runs[i].heat_s / S_PER_MIN;
    }
    trial_caption(
        sheet->trial, "The oven beside",
        "What moves here with the sensors agreeing is the oven: element, supply, door or lining. What moves here "
        "with one sensor is the chamber following a false control sensor.",
        BESIDE_HEIGHT);
    frame = left = right = sheet_take(&sheet->trial->sheet, BESIDE_HEIGHT);
    left.right = (frame.left + frame.right - GAP) / 2;
    right.left = left.right + GAP;
    draw_beside_one(sheet, values, left, "output that holds the level, %");
    draw_beside_one(sheet, values + history->run_count, right, "time to heat up, min");
    free(values);
    sheet_skip(&sheet->trial->sheet, AFTER);
}

/* ---- the whole ---- */

static void describe_runs(const struct drift_sheet *sheet, char *out) {
    const struct drift_case *of = sheet->of;
    char oven[TRIAL_SHORT_BYTES], level[QUANTITY_TEXT_BYTES], from[TRIAL_NAME_BYTES], to[TRIAL_NAME_BYTES];
    size_t count;

    trial_clip(of->oven->name, oven);
    if (sheet->level == NULL || sheet->level->history.run_count == 0) {
        snprintf(out, TRIAL_TEXT_BYTES, "Oven %s", oven);
        return;
    }
    count = sheet->level->history.run_count;
    quantity_format_temperature(llround(sheet->level->level_c * QUANTITY_PER_UNIT), of->config->unit, 0, level);
    snprintf(out, TRIAL_TEXT_BYTES, "Oven %s at %s: %zu runs, %s to %s", oven, level, count,
             trial_time(of->config, sheet->level->history.runs[0].t_ms, from),
             trial_time(of->config, sheet->level->history.runs[count - 1].t_ms, to));
}

static void write_meaning(struct drift_sheet *sheet) {
    const float follows = 70; // the first paragraph

    sheet_heading(&sheet->trial->sheet, "What the words mean", follows);
    sheet_plain(
        &sheet->trial->sheet,
        "Stable: slower than 0.5 °C/min for five minutes or more. CUSUM and EWMA: NIST/SEMATECH e-Handbook, "
        "6.3.2.3 "
        "and 6.3.2.4, on scores that need no known mean (Hawkins 1987); a change is established where one of them "
        "passes its limit. Slope: Theil-Sen, its interval after Sen (1968); Mann-Kendall with ties (EPA QA/G-9S).");
    sheet_plain(
        &sheet->trial->sheet,
        "A forecast holds if runs go on as they did. Sensors that drift together agree and stay unseen: hold one "
        "against a reference once in a while (soakledger check).");
}

static void draw_oven(struct drift_sheet *sheet, bool first) {
    char answer[TRIAL_TEXT_BYTES], advice[2 * TRIAL_TEXT_BYTES], subtitle[TRIAL_TEXT_BYTES];

    if (!first) {
        sheet_new_page(&sheet->trial->sheet);
        describe_runs(sheet, subtitle);
        sheet_heading(&sheet->trial->sheet, subtitle, ROWS_THAT_FOLLOW);
    }
    drift_answer(sheet->of, answer);
    if (answer[0] >= 'a' && answer[0] <= 'z')
        answer[0] = (char)(answer[0] - 'a' + 'A');
    trial_answer(sheet->trial, drift_outcome(sheet->of), answer);
    drift_advice(sheet->of, advice);
    sheet_plain(&sheet->trial->sheet, advice);
    if (sheet->of->oven->sensor_count > 0)
        write_lines(sheet);
    write_levels(sheet);
    if (sheet->level == NULL || sheet->level->history.run_count < 2)
        return;
    draw_pairs(sheet);
    draw_beside(sheet);
}

int drift_sheet_make(const struct drift_case *cases, size_t count, int64_t made_ms, unsigned char **bytes,
                     size_t *length, struct fault *fault) {
    struct trial *trial = calloc(1, sizeof *trial);
    const bool fahrenheit = cases[0].config->unit == UNIT_FAHRENHEIT;
    struct drift_sheet sheet = {
        .trial = trial, .per_c = fahrenheit ? FAHRENHEIT_PER_CELSIUS : 1, .degree = fahrenheit ? "°F" : "°C"};
    char subtitle[TRIAL_TEXT_BYTES];
    bool simulated = false;
    int result;

    if (trial == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    for (size_t i = 0; i < count; i++)
        simulated = simulated || cases[i].simulated;
    snprintf(trial->title, sizeof trial->title, "Sensors over time");
    snprintf(trial->header, sizeof trial->header, "drift");
    sheet.of = &cases[0];
    sheet.level = drift_level(&cases[0]);
    describe_runs(&sheet, subtitle);
    result = trial_open(trial, cases[0].config, subtitle, made_ms, simulated, fault);
    for (size_t i = 0; result == 0 && i < count; i++) {
        sheet.of = &cases[i];
        sheet.level = drift_level(&cases[i]);
        draw_oven(&sheet, i == 0);
    }
    if (result == 0) {
        write_meaning(&sheet);
        trial_cautions(trial);
        result = trial_finish(trial, 0, bytes, length, fault);
    }
    free(trial);
    return result;
}
