// SPDX-License-Identifier: MIT
/* A system accuracy test on paper. */
#include <stdlib.h>
#include <string.h>

#include "check_parts.h"
#include "soakledger/words.h"

static const float CHART_HEIGHT = 130, AFTER = 8, ROWS_THAT_FOLLOW = 60;

struct check_sheet {
    struct trial trial;
    struct check_case *of;
};

static void write_facts(struct check_sheet *sheet) {
    const struct check_case *of = sheet->of;
    const struct trials_accuracy *kept = of->kept;
    char made[2 * TRIAL_NAME_BYTES], time[TRIAL_NAME_BYTES], name[TRIAL_SHORT_BYTES], sensor[TRIAL_TEXT_BYTES];
    char reference[TRIAL_TEXT_BYTES], due[TRIAL_NAME_BYTES], correction[QUANTITY_TEXT_BYTES];
    char uncertainty[TRIAL_NAME_BYTES] = "not stated", size[QUANTITY_TEXT_BYTES], allowed[TRIAL_NAME_BYTES];
    char span[2 * TRIAL_NAME_BYTES], to[QUANTITY_TEXT_BYTES];

    snprintf(made, sizeof made, "%s, %s", trial_clip(kept->done_by, name),
             trial_time(sheet->trial.config, kept->done_ms, time));
    snprintf(span, sizeof span, "%s to %s", trial_time(sheet->trial.config, kept->setting.from_ms, time),
             trial_moment(sheet->trial.config, kept->setting.to_ms, to));
    if (kept->setting.reference_uncertainty_mc != 0)
        snprintf(uncertainty, sizeof uncertainty, "±%s (k = 2)",
                 trial_size(kept->setting.reference_uncertainty_mc, of->unit, size));
    if (of->reference != NULL)
        snprintf(correction, sizeof correction, "%s",
                 of->reference->sensor_calibration != NULL || of->reference->instrument_calibration != NULL
                     ? "by the calibrations in the ledger"
                     : "none");
    if (of->reference == NULL || of->kept->setting.correction_mc != 0)
        trial_difference(kept->setting.correction_mc, of->unit, correction);
    snprintf(allowed, sizeof allowed, "%s either way, %s", trial_size(kept->setting.allowed_mc, of->unit, size),
             kept->setting.guarded ? "uncertainty included (guarded)" : "uncertainty beside it (simple)");
    const struct sheet_fact facts[] = {
        {"Sensor", check_sensor(of, sensor)},
        {"Reference", check_reference(of, reference)},
        {"Made by", made},
        {"Calibration due", check_due(of, due)},
        {"Compared", span},
        {"Uncertainty", uncertainty},
        {"Allowed", allowed},
        {"Correction", correction},
        {"Note", kept->note},
    };

    sheet_facts(&sheet->trial.sheet, facts, sizeof facts / sizeof facts[0]);
    sheet_skip(&sheet->trial.sheet, AFTER);
}

/* ---- figures ---- */

static void write_typed(struct check_sheet *sheet, struct sheet_table *table) {
    const struct check_case *of = sheet->of;
    const struct accuracy_result *result = &of->kept->result;

    for (size_t i = 0; i < result->typed_count; i++) {
        const struct accuracy_typed *typed = &result->typed[i];
        const int64_t corrected_mc = typed->said_mc + of->kept->setting.correction_mc;
        char what[QUANTITY_TEXT_BYTES], said[QUANTITY_TEXT_BYTES], corrected[QUANTITY_TEXT_BYTES];
        char sensor[QUANTITY_TEXT_BYTES] = "no reading", difference[QUANTITY_TEXT_BYTES] = "";

        trial_moment(sheet->trial.config, typed->t_ms, what);
        if (typed->paired) {
            trial_level(typed->sensor_mc, of->unit, sensor);
            trial_difference(typed->sensor_mc - corrected_mc, of->unit, difference);
        }
        sheet_table_row(table, (const struct sheet_cell[]){
                                   {what, SHEET_NO_MARK, false},
                                   {trial_level(typed->said_mc, of->unit, said), SHEET_NO_MARK, false},
                                   {trial_level(corrected_mc, of->unit, corrected), SHEET_NO_MARK, false},
                                   {sensor, SHEET_NO_MARK, false},
                                   {difference, SHEET_NO_MARK, false}});
    }
}

static void write_mean(struct check_sheet *sheet, struct sheet_table *table) {
    const struct check_case *of = sheet->of;
    const struct accuracy_result *result = &of->kept->result;
    char what[TRIAL_NAME_BYTES], said[QUANTITY_TEXT_BYTES], corrected[QUANTITY_TEXT_BYTES];
    char sensor[QUANTITY_TEXT_BYTES], difference[QUANTITY_TEXT_BYTES];

    snprintf(what, sizeof what, "mean of %zu", result->pair_count);
    sheet_table_row(table,
                    (const struct sheet_cell[]){
                        {what, SHEET_NO_MARK, true},
                        {of->reference != NULL
                             ? "-"
                             : trial_level(result->reference_mc - of->kept->setting.correction_mc, of->unit, said),
                         SHEET_NO_MARK, false},
                        {trial_level(result->reference_mc, of->unit, corrected), SHEET_NO_MARK, true},
                        {trial_level(result->sensor_mc, of->unit, sensor), SHEET_NO_MARK, true},
                        {trial_difference(result->difference_mc, of->unit, difference), SHEET_NO_MARK, true}});
}

static void write_figures(struct check_sheet *sheet) {
    static const struct sheet_column columns[] = {{"when", 0.16F, PAGE_LEFT},
                                                  {"reference says", 0.20F, PAGE_LEFT},
                                                  {"reference, corrected", 0.23F, PAGE_LEFT},
                                                  {"sensor", 0.20F, PAGE_LEFT},
                                                  {"sensor less reference", 0.21F, PAGE_LEFT}};
    const struct check_case *of = sheet->of;
    const struct accuracy_result *result = &of->kept->result;
    char remark[TRIAL_TEXT_BYTES], deviation[QUANTITY_TEXT_BYTES], slope[QUANTITY_TEXT_BYTES];
    char beside[QUANTITY_TEXT_BYTES], silence[QUANTITY_TEXT_BYTES];
    struct sheet_table table;

    snprintf(
        remark, sizeof remark,
        "Standard deviation of the differences %s. Slope of the sensor %s%s%s. Longest time without a reading %s.",
        trial_size(result->deviation_mc, of->unit, deviation),
        quantity_format_rate(result->sensor_slope_mc_per_h, of->unit, slope),
        of->reference != NULL ? ", of the reference " : "",
        of->reference != NULL ? quantity_format_rate(result->reference_slope_mc_per_h, of->unit, beside) : "",
        quantity_format_duration(result->silence_ms, silence));
    trial_caption(&sheet->trial, "What was compared", remark, ROWS_THAT_FOLLOW);
    sheet_table_begin(&table, &sheet->trial.sheet, columns, sizeof columns / sizeof columns[0]);
    write_typed(sheet, &table);
    if (result->pair_count > 0)
        write_mean(sheet, &table);
    sheet_table_end(&table);
}

/* ---- the curve ---- */

static int draw_curve(struct check_sheet *sheet, struct fault *fault) {
    const struct check_case *of = sheet->of;
    const struct accuracy_setting *setting = &of->kept->setting;
    const int64_t ids[] = {setting->sensor_id, setting->reference_id};
    const size_t count = of->reference != NULL ? 2 : 1;
    struct chart_curve curves[2] = {{setting->sensor_id, of->sensor->name, ROLE_LOAD, setting->sensor_interval_ms}};
    const struct chart_dressing dressing = {
        .unit = of->unit, .utc_offset_min = sheet->trial.config->utc_offset_min, .origin_ms = setting->from_ms};
    struct ledger_cursor *cursor;
    struct reading reading;
    struct chart *chart;
    int more = -1;

    if (of->reference != NULL)
        curves[1] = (struct chart_curve){setting->reference_id, of->reference->name, ROLE_LOAD,
                                         setting->reference_interval_ms};
    chart = chart_open(setting->from_ms, setting->to_ms, curves, count, fault);
    if (chart == NULL)
        return -1;
    cursor = ledger_open_cursor(of->command->ledger, ids, count, setting->from_ms, setting->to_ms, fault);
    while (cursor != NULL && (more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        trial_correct(of->channels, of->channel_count, &reading);
        if (!chart_feed(chart, &reading)) {
            more = fault_set(fault, EX_OSERR, "out of memory");
            break;
        }
    }
    ledger_close_cursor(cursor);
    if (more == 0 && !chart_close(chart))
        more = fault_set(fault, EX_OSERR, "out of memory");
    if (more == 0) {
        trial_caption(&sheet->trial, "The readings", "", CHART_HEIGHT);
        chart_draw(chart, sheet->trial.page, sheet_take(&sheet->trial.sheet, CHART_HEIGHT), &dressing);
    }
    chart_free(chart);
    return more;
}

static void write_meaning(struct check_sheet *sheet) {
    const float follows = 70; // the first paragraph
    const enum temperature_unit unit = sheet->of->unit;
    char slope[QUANTITY_TEXT_BYTES], line[TRIAL_TEXT_BYTES];

    sheet_heading(&sheet->trial.sheet, "What the words mean", follows);
    snprintf(line, sizeof line,
             "Difference: sensor less reference, the reference's correction added: positive where the sensor reads "
             "high. Its "
             "uncertainty (k = 2) is the root of the sum of squares of the reference's, of twice the standard "
             "deviation of "
             "the differences, and of what the temperature moved between the two readings of a pair. Stable: "
             "slower than %s "
             "over no less than 5 min, without a gap; common practice, no source.",
             quantity_format_rate(ACCURACY_SLOPE_MC_PER_H, unit, slope));
    sheet_plain(&sheet->trial.sheet, line);
    sheet_plain(&sheet->trial.sheet, "Anything missing, unstable or overdue makes the test not proven, whatever "
                                     "the difference. The test holds for "
                                     "this sensor with its wiring and instrument, at this temperature and depth, "
                                     "on this day. What is allowed was "
                                     "said by whoever made the test.");
}

static int draw(struct check_sheet *sheet, struct fault *fault) {
    char answer[TRIAL_TEXT_BYTES];

    trial_answer(&sheet->trial, sheet->of->kept->result.outcome, check_answer(sheet->of, answer));
    write_facts(sheet);
    write_figures(sheet);
    if (draw_curve(sheet, fault) != 0)
        return -1;
    write_meaning(sheet);
    trial_cautions(&sheet->trial);
    trial_signature(&sheet->trial, sheet->of->kept->done_by);
    return 0;
}

int check_sheet_make(struct check_case *of, unsigned char **bytes, size_t *length, struct fault *fault) {
    struct check_sheet *sheet = calloc(1, sizeof *sheet);
    const struct accuracy_setting *setting = &of->kept->setting;
    const int simulated = ledger_was_simulated(of->command->ledger, setting->from_ms, setting->to_ms, fault);
    char subtitle[2 * TRIAL_TEXT_BYTES], sensor[TRIAL_TEXT_BYTES];
    int result = -1;

    if (sheet == NULL || simulated < 0) {
        free(sheet);
        return simulated < 0 ? -1 : fault_set(fault, EX_OSERR, "out of memory");
    }
    sheet->of = of;
    snprintf(sheet->trial.title, sizeof sheet->trial.title, "System accuracy test %lld",
             (long long)of->kept->accuracy_id);
    snprintf(sheet->trial.header, sizeof sheet->trial.header, "accuracy test %lld",
             (long long)of->kept->accuracy_id);
    snprintf(subtitle, sizeof subtitle, "Sensor %s", check_sensor(of, sensor));
    if (trial_open(&sheet->trial, of->command->config, subtitle, of->kept->done_ms, simulated == 1, fault) == 0)
        result = trial_finish(&sheet->trial, draw(sheet, fault), bytes, length, fault);
    free(sheet);
    return result;
}
