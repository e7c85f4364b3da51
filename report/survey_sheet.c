// SPDX-License-Identifier: MIT
/* A uniformity survey on paper: the answer, the classes, the sensors with their places, the curves, and how it is
 * known.
 */
#include <stdlib.h>
#include <string.h>

#include "soakledger/words.h"
#include "trial.h"

static const float WHOLE_HEIGHT = 150, CHART_HEIGHT = 190, AFTER = 8, ROWS_THAT_FOLLOW = 60;

struct survey_sheet {
    struct trial trial;
    struct survey_case *of;
    enum temperature_unit unit;
};

/* ---- facts ---- */

static const struct survey_sensor *extreme(const struct survey_case *of, bool hottest) {
    const struct survey_result *result = of->result;

    return result->sensor_count > 0 ? &result->sensors[hottest ? result->hottest : result->coldest] : NULL;
}

static void say_extreme(const struct survey_sheet *sheet, bool hottest, char *out) {
    const struct survey_sensor *sensor = extreme(sheet->of, hottest);
    char deviation[QUANTITY_TEXT_BYTES], moment[QUANTITY_TEXT_BYTES], name[TRIAL_SHORT_BYTES];

    out[0] = '\0';
    if (sensor == NULL || sensor->count == 0)
        return;
    trial_difference(hottest ? sensor->hottest_mc : sensor->coldest_mc, sheet->unit, deviation);
    trial_moment(sheet->trial.config, hottest ? sensor->hottest_ms : sensor->coldest_ms, moment);
    snprintf(out, TRIAL_NAME_BYTES, "%s: %s from the setpoint, at %s",
             trial_clip(survey_case_name(sheet->of, sensor->channel_id), name), deviation, moment);
}

static void say_stretch(const struct survey_sheet *sheet, char *out) {
    const struct survey_result *result = sheet->of->result;
    char from[TRIAL_NAME_BYTES], to[QUANTITY_TEXT_BYTES], length[QUANTITY_TEXT_BYTES];

    if (result->settled_ms == 0)
        snprintf(out, TRIAL_NAME_BYTES, "none: the work zone did not settle");
    else
        snprintf(out, TRIAL_NAME_BYTES, "%.60s to %s, %s",
                 trial_time(sheet->trial.config, result->settled_ms, from),
                 trial_moment(sheet->trial.config, result->ended_ms, to),
                 quantity_format_duration(result->ended_ms - result->settled_ms, length));
}

static void say_recovery(const struct survey_sheet *sheet, char *out) {
    const struct survey_result *result = sheet->of->result;
    char length[QUANTITY_TEXT_BYTES], below[QUANTITY_TEXT_BYTES];

    out[0] = '\0';
    if (result->risen_ms != 0 && result->settled_ms > result->risen_ms)
        snprintf(out, TRIAL_NAME_BYTES, "%s, from all sensors above %s below the setpoint until settled",
                 quantity_format_duration(result->settled_ms - result->risen_ms, length),
                 trial_size(SURVEY_START_BELOW_MC, sheet->unit, below));
}

static void say_overshoot(const struct survey_sheet *sheet, char *out) {
    const struct survey_result *result = sheet->of->result;
    const struct survey_sensor *worst = NULL;
    char size[QUANTITY_TEXT_BYTES], moment[QUANTITY_TEXT_BYTES], name[TRIAL_SHORT_BYTES];

    out[0] = '\0';
    for (size_t i = 0; i < result->sensor_count; i++)
        if (result->sensors[i].risen_ms != 0 &&
            (worst == NULL || result->sensors[i].overshoot_mc > worst->overshoot_mc))
            worst = &result->sensors[i];
    if (worst != NULL && worst->overshoot_mc <= 0)
        snprintf(out, TRIAL_NAME_BYTES, "none: no sensor was above the setpoint");
    else if (worst != NULL)
        snprintf(out, TRIAL_NAME_BYTES, "%s, %s at %s", trial_size(worst->overshoot_mc, sheet->unit, size),
                 trial_clip(survey_case_name(sheet->of, worst->channel_id), name),
                 trial_moment(sheet->trial.config, worst->overshoot_ms, moment));
}

static void say_controller(const struct survey_sheet *sheet, char *out) {
    const struct survey_case *of = sheet->of;
    char low[QUANTITY_TEXT_BYTES], high[QUANTITY_TEXT_BYTES];

    if (!of->setpoint_known)
        snprintf(out, TRIAL_NAME_BYTES, "not recorded");
    else if (of->setpoint_low_mc == of->setpoint_high_mc)
        snprintf(out, TRIAL_NAME_BYTES, "%s throughout", trial_level(of->setpoint_low_mc, sheet->unit, low));
    else
        snprintf(out, TRIAL_NAME_BYTES, "moved between %s and %s",
                 trial_level(of->setpoint_low_mc, sheet->unit, low),
                 trial_level(of->setpoint_high_mc, sheet->unit, high));
}

static void write_facts(struct survey_sheet *sheet) {
    const struct trials_survey *kept = sheet->of->kept;
    const struct survey_result *result = sheet->of->result;
    char made[2 * TRIAL_NAME_BYTES], time[TRIAL_NAME_BYTES], name[TRIAL_SHORT_BYTES], run[TRIAL_NAME_BYTES];
    char from[TRIAL_NAME_BYTES], stretch[TRIAL_NAME_BYTES], spread[TRIAL_NAME_BYTES] = "",
                                                            size[QUANTITY_TEXT_BYTES];
    char moment[QUANTITY_TEXT_BYTES], hottest[TRIAL_NAME_BYTES], coldest[TRIAL_NAME_BYTES];
    char overshoot[TRIAL_NAME_BYTES], recovery[TRIAL_NAME_BYTES], controller[TRIAL_NAME_BYTES];

    snprintf(made, sizeof made, "%s, %s", trial_clip(kept->done_by, name),
             trial_time(sheet->trial.config, kept->done_ms, time));
    snprintf(run, sizeof run, "%.60s to %.60s", trial_time(sheet->trial.config, kept->setting.from_ms, from),
             trial_time(sheet->trial.config, kept->setting.to_ms, time));
    if (kept->run_id != 0)
        snprintf(run + strlen(run), sizeof run - strlen(run), " (run %lld)", (long long)kept->run_id);
    if (result->spread_ms != 0)
        snprintf(spread, sizeof spread, "%s at most, at %s", trial_size(result->spread_mc, sheet->unit, size),
                 trial_moment(sheet->trial.config, result->spread_ms, moment));
    say_stretch(sheet, stretch);
    say_extreme(sheet, true, hottest);
    say_extreme(sheet, false, coldest);
    say_overshoot(sheet, overshoot);
    say_recovery(sheet, recovery);
    say_controller(sheet, controller);
    const struct sheet_fact facts[] = {
        {"Made by", made},
        {"Recorded", run},
        {"Judged", stretch},
        {"Controller", controller},
        {"Hottest", hottest},
        {"Coldest", coldest},
        {"Spread", spread},
        {"Overshoot", overshoot},
        {"Recovery", recovery},
        {"Decision", kept->setting.guarded ? "guarded: inside by the sensor's uncertainty, else not proven"
                                           : "simple: values as read; uncertainty stands beside them"},
        {"Note", kept->note},
    };

    sheet_facts(&sheet->trial.sheet, facts, sizeof facts / sizeof facts[0]);
    sheet_skip(&sheet->trial.sheet, AFTER);
}

/* ---- tables ---- */

static void write_classes(struct survey_sheet *sheet) {
    static const struct sheet_column columns[] = {{"class", 0.08F, PAGE_LEFT},
                                                  {"limit", 0.12F, PAGE_LEFT},
                                                  {"outcome", 0.20F, PAGE_LEFT},
                                                  {"why", 0.60F, PAGE_LEFT}};
    struct sheet_table table;

    trial_caption(
        &sheet->trial, "Uniformity classes",
        "Limits of AMS 2750F, Table 11, from a secondary source. °C and °F limits are set "
        "values, not conversions. In classes 2 and 3 some design authorities ask for 5 °C and 7 °C. What the "
        "standard asks beyond these limits is not judged: number and place of sensors, instruments, intervals.",
        ROWS_THAT_FOLLOW);
    sheet_table_begin(&table, &sheet->trial.sheet, columns, sizeof columns / sizeof columns[0]);
    for (int i = 1; i <= SURVEY_CLASSES; i++) {
        const struct survey_class *class = &sheet->of->result->classes[i - 1];
        char number[QUANTITY_TEXT_BYTES], limit[QUANTITY_TEXT_BYTES], why[TRIAL_TEXT_BYTES];

        snprintf(number, sizeof number, "%d", i);
        sheet_table_row(
            &table, (const struct sheet_cell[]){{number, SHEET_NO_MARK, true},
                                                {survey_case_limit(i, sheet->unit, limit), SHEET_NO_MARK, false},
                                                {judge_outcome_name(class->outcome), (int)class->outcome, true},
                                                {survey_case_why(sheet->of, i, why), SHEET_NO_MARK, false}});
    }
    sheet_table_end(&table);
}

static void write_sensor(struct survey_sheet *sheet, struct sheet_table *table, size_t index) {
    const struct trials_place *place = &sheet->of->kept->places[index];
    const struct survey_sensor *found = &sheet->of->result->sensors[index];
    const struct ledger_channel *channel =
        trial_find_channel(sheet->of->channels, sheet->of->channel_count, found->channel_id);
    char name[TRIAL_SHORT_BYTES], where[TRIAL_SHORT_BYTES], sensor[TRIAL_NAME_BYTES] = "";
    char low[QUANTITY_TEXT_BYTES], high[QUANTITY_TEXT_BYTES], mean[QUANTITY_TEXT_BYTES], peak[QUANTITY_TEXT_BYTES];
    char deviations[TRIAL_NAME_BYTES] = "none", overshoot[TRIAL_NAME_BYTES] = "not risen", stated[TRIAL_NAME_BYTES];
    char silence[QUANTITY_TEXT_BYTES];

    if (channel != NULL)
        trial_sensor(channel, sensor);
    if (found->count > 0)
        snprintf(deviations, sizeof deviations, "%s to %s\nmean %s",
                 trial_difference(found->coldest_mc, sheet->unit, low),
                 trial_difference(found->hottest_mc, sheet->unit, high),
                 trial_difference(found->mean_mc, sheet->unit, mean));
    if (found->risen_ms != 0)
        snprintf(overshoot, sizeof overshoot, "%s", trial_difference(found->overshoot_mc, sheet->unit, peak));
    snprintf(stated, sizeof stated, "not stated");
    if (place->channel.uncertainty_mc != 0)
        snprintf(stated, sizeof stated, "±%s", trial_size(place->channel.uncertainty_mc, sheet->unit, low));
    sheet_table_row(
        table, (const struct sheet_cell[]){
                   {trial_clip(channel != NULL ? channel->name : "", name), SHEET_NO_MARK, true},
                   {place->place[0] != '\0' ? trial_clip(place->place, where) : "not stated", SHEET_NO_MARK, false},
                   {sensor, SHEET_NO_MARK, false},
                   {deviations, SHEET_NO_MARK, false},
                   {overshoot, SHEET_NO_MARK, false},
                   {stated, SHEET_NO_MARK, false},
                   {quantity_format_duration(found->silence_ms, silence), SHEET_NO_MARK, false}});
}

static void write_sensors(struct survey_sheet *sheet) {
    static const struct sheet_column columns[] = {
        {"sensor", 0.13F, PAGE_LEFT},          {"place in the work zone", 0.18F, PAGE_LEFT},
        {"thermocouple", 0.17F, PAGE_LEFT},    {"deviation from the setpoint", 0.21F, PAGE_LEFT},
        {"highest", 0.10F, PAGE_LEFT},         {"uncertainty (k = 2)", 0.11F, PAGE_LEFT},
        {"longest silence", 0.10F, PAGE_LEFT},
    };
    struct sheet_table table;

    trial_caption(
        &sheet->trial, "Sensors",
        "Deviations are those of the stretch judged. Highest: above the setpoint, at any time of the record.",
        ROWS_THAT_FOLLOW);
    sheet_table_begin(&table, &sheet->trial.sheet, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < sheet->of->kept->place_count; i++)
        write_sensor(sheet, &table, i);
    sheet_table_end(&table);
}

/* ---- curves ---- */

/* The class whose band is worth drawing: the tightest met, else the tightest that could hold what was found. */
static int shown_class(const struct survey_case *of) {
    int class = 1;

    if (of->result->tightest > 0)
        return of->result->tightest;
    while (class < SURVEY_CLASSES && survey_limit_mc(class, of->kept->setting.unit) < survey_worst_mc(of->result))
        class ++;
    return class;
}

static void draw_curves(struct survey_sheet *sheet) {
    struct survey_case *of = sheet->of;
    const struct survey_setting *setting = &of->kept->setting;
    const int class = shown_class(of);
    const int64_t limit_mc = survey_limit_mc(class, setting->unit);
    char band[TRIAL_NAME_BYTES], limit[QUANTITY_TEXT_BYTES], begun[QUANTITY_TEXT_BYTES];
    struct chart_dressing dressing = {.unit = sheet->unit,
                                      .utc_offset_min = sheet->trial.config->utc_offset_min,
                                      .origin_ms = setting->from_ms,
                                      .band_low_mc = setting->setpoint_mc - limit_mc,
                                      .band_high_mc = setting->setpoint_mc + limit_mc,
                                      .band_text = band,
                                      .soak_begun_ms = of->result->settled_ms,
                                      .soak_ended_ms = of->result->ended_ms,
                                      .soak_text = begun,
                                      .begun_word = "settled",
                                      .ended_word = "end"};

    snprintf(band, sizeof band, "class %d: %s", class, survey_case_limit(class, sheet->unit, limit));
    quantity_format_duration(of->result->ended_ms - of->result->settled_ms, begun);
    trial_caption(&sheet->trial, "The whole record", "", WHOLE_HEIGHT);
    chart_draw(of->whole, sheet->trial.page, sheet_take(&sheet->trial.sheet, WHOLE_HEIGHT), &dressing);
    if (of->close_up == NULL)
        return;
    dressing.zoom = true;
    trial_caption(&sheet->trial, "The stretch judged, enlarged", "", CHART_HEIGHT);
    chart_draw(of->close_up, sheet->trial.page, sheet_take(&sheet->trial.sheet, CHART_HEIGHT), &dressing);
}

/* ---- how it is known ---- */

static void write_meaning(struct survey_sheet *sheet) {
    const float follows = 70; // the first paragraph
    char least[QUANTITY_TEXT_BYTES], line[TRIAL_TEXT_BYTES], below[QUANTITY_TEXT_BYTES], slope[QUANTITY_TEXT_BYTES];

    sheet_heading(&sheet->trial.sheet, "What the words mean", follows);
    trial_size(SURVEY_START_BELOW_MC, sheet->unit, below);
    quantity_format_rate(SURVEY_SLOPE_MC_PER_H, sheet->unit, slope);
    snprintf(
        line, sizeof line,
        "Settled: over the last 10 min every sensor moved by less than %s (least squares over means of 30 s), "
        "within "
        "%s of the setpoint; common practice, no source. A regular cycling counts as settled, and its extremes as "
        "deviations. The stretch judged begins there and lasts no less than %s.",
        slope, below, quantity_format_duration(sheet->of->kept->setting.least_ms, least));
    sheet_plain(&sheet->trial.sheet, line);
    snprintf(line, sizeof line,
             "Recorded: every sensor from no less than %s below the setpoint on, at least every 2 min (AMS 2750F, "
             "extract "
             "at sae.freestandardsdocuments.com: 100 °F / 55 °C). A longer silence leaves unknown what the sensor "
             "did, and "
             "nothing is proven. Spread: hottest less coldest sensor at one time.",
             below);
    sheet_plain(&sheet->trial.sheet, line);
    sheet_plain(
        &sheet->trial.sheet,
        "Met: every reading of the stretch within the limit, no sensor above its upper side at any time of the "
        "record, nothing missing. Not met: a reading beyond. Everything else is not proven. The classes describe "
        "the places where the sensors were, in this state of the oven and its charge, and nothing else.");
}

static int draw(struct survey_sheet *sheet) {
    char answer[TRIAL_TEXT_BYTES];
    const enum outcome outcome = survey_case_answer(sheet->of, answer);

    trial_answer(&sheet->trial, outcome, answer);
    write_facts(sheet);
    write_classes(sheet);
    write_sensors(sheet);
    draw_curves(sheet);
    write_meaning(sheet);
    trial_cautions(&sheet->trial);
    trial_signature(&sheet->trial, sheet->of->kept->done_by);
    return 0;
}

int survey_sheet_make(struct survey_case *of, unsigned char **bytes, size_t *length, struct fault *fault) {
    const struct trials_survey *kept = of->kept;
    struct survey_sheet *sheet = calloc(1, sizeof *sheet);
    char subtitle[TRIAL_TEXT_BYTES], oven[TRIAL_SHORT_BYTES], setpoint[QUANTITY_TEXT_BYTES];
    int result;

    if (sheet == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    sheet->of = of;
    sheet->unit = kept->setting.unit;
    snprintf(sheet->trial.title, sizeof sheet->trial.title, "Temperature uniformity survey %lld",
             (long long)kept->survey_id);
    snprintf(sheet->trial.header, sizeof sheet->trial.header, "uniformity survey %lld", (long long)kept->survey_id);
    snprintf(subtitle, sizeof subtitle, "Oven %s at %s, %zu sensors", trial_clip(of->oven, oven),
             trial_level(kept->setting.setpoint_mc, sheet->unit, setpoint), kept->place_count);
    result = trial_open(&sheet->trial, of->config, subtitle, kept->done_ms, of->simulated, fault);
    if (result == 0)
        result = trial_finish(&sheet->trial, draw(sheet), bytes, length, fault);
    free(sheet);
    return result;
}
