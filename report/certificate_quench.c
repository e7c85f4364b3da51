// SPDX-License-Identifier: MIT
/* The quench: its curve on an axis of seconds, and the quantities that ISO 9950 and ASTM D6200 read from it. */
#include <stdio.h>

#include "certificate_parts.h"
#include "soakledger/tell.h"
#include "soakledger/words.h"

enum {
    MS_PER_S = 1000,
    BEFORE_MS = 5 * MS_PER_S,
    AFTER_MS = 5 * MS_PER_S,
    AFTER_SHARE = 10,
    BEFORE_SHARE = 7,
    LEVELS = 2
};
/* Long enough for any part to be handle-warm or clearly not to become it. */
enum { LONGEST_MS = 600 * MS_PER_S };
static const float CHART_HEIGHT = 205, CHART_AFTER = 6, NAME_SHARE = 0.30F, NAMES_SHARE = 0.56F;

static int64_t certificate_left_ms(const struct assess_run *run) {
    return run->soak.last_ended_ms;
}

/* Until the last channel was handle-warm, or as long as the run shows. */
static int64_t certificate_quench_end(const struct assess_run *run) {
    const int64_t left_ms = certificate_left_ms(run);
    int64_t last_ms = left_ms, end_ms;
    bool known = run->quench_count > 0;

    for (size_t i = 0; i < run->quench_count; i++) {
        const struct quench_time *warm = &run->quenches[i].handle_warm;

        known = known && warm->known;
        last_ms = warm->known && warm->t_ms > last_ms ? warm->t_ms : last_ms;
    }
    end_ms = known ? last_ms + (last_ms - left_ms) / AFTER_SHARE + AFTER_MS : left_ms + LONGEST_MS;
    return end_ms < run->until_ms ? end_ms : run->until_ms;
}

static size_t certificate_quench_curves(const struct assess_run *run, struct chart_curve *curves) {
    size_t count = 0;

    for (size_t i = 0; i < run->quench_count && count < CERTIFICATE_MOST_CURVES; i++) {
        const struct ledger_channel *channel = assess_find_channel(run, run->quench_ids[i]);

        if (channel != NULL)
            curves[count++] =
                (struct chart_curve){channel->channel_id, channel->name, ROLE_QUENCH, channel->interval_ms};
    }
    return count;
}

/* Of several channels the worst one stands for the quench, as it is judged. */
static const struct quench_time *certificate_transfer(const struct assess_run *run) {
    const struct quench_time *latest = NULL;

    for (size_t i = 0; i < run->quench_count; i++)
        if (run->quenches[i].transfer.known && (latest == NULL || run->quenches[i].transfer.ms > latest->ms))
            latest = &run->quenches[i].transfer;
    return latest;
}

static const struct quench_time *certificate_cooling(const struct assess_run *run) {
    const struct quench_time *longest = NULL;

    for (size_t i = 0; i < run->quench_count; i++)
        if (run->quenches[i].cooling.known && (longest == NULL || run->quenches[i].cooling.ms > longest->ms))
            longest = &run->quenches[i].cooling;
    return longest;
}

/* The two temperatures of the cooling time: where they were passed, and how long it took. */
static void certificate_levels(const struct plan_operation *quench, const struct assess_run *run,
                               enum temperature_unit unit, char texts[LEVELS][CERTIFICATE_NAME_BYTES],
                               struct chart_level *levels) {
    const struct quench_time *cooling = certificate_cooling(run);
    char upper[QUANTITY_TEXT_BYTES], lower[QUANTITY_TEXT_BYTES], time[QUANTITY_TEXT_BYTES];

    snprintf(texts[0], CERTIFICATE_NAME_BYTES, "%s",
             quantity_format_temperature(quench->cooling_upper_mc, unit, 0, upper));
    quantity_format_temperature(quench->cooling_lower_mc, unit, 0, lower);
    snprintf(texts[1], CERTIFICATE_NAME_BYTES, "%s", lower);
    levels[0] = (struct chart_level){quench->cooling_upper_mc, 0, texts[0]};
    levels[1] = (struct chart_level){quench->cooling_lower_mc, 0, texts[1]};
    if (cooling == NULL)
        return;
    levels[0].passed_ms = cooling->t_ms;
    levels[1].passed_ms = cooling->t_ms + cooling->ms;
    snprintf(texts[1], CERTIFICATE_NAME_BYTES, "%s, %s later", lower, words_short_time(cooling->ms, time));
}

static int certificate_draw_cooling(struct certificate *certificate, const char *caption,
                                    const struct plan_operation *quench, const struct assess_run *run,
                                    struct fault *fault) {
    const enum temperature_unit unit = certificate->config->unit;
    const struct quench_time *transfer = certificate_transfer(run);
    char texts[LEVELS][CERTIFICATE_NAME_BYTES], span[CERTIFICATE_NAME_BYTES], time[QUANTITY_TEXT_BYTES];
    struct chart_level levels[LEVELS];
    struct chart_curve curves[CERTIFICATE_MOST_CURVES];
    const size_t count = certificate_quench_curves(run, curves);
    const int64_t left_ms = certificate_left_ms(run), end_ms = certificate_quench_end(run);
    const int64_t share_ms = (end_ms - left_ms) / BEFORE_SHARE;
    const int64_t begin_ms = left_ms - (share_ms > BEFORE_MS ? share_ms : BEFORE_MS);
    struct chart_dressing dressing = {.unit = unit,
                                      .utc_offset_min = certificate->config->utc_offset_min,
                                      .origin_ms = left_ms,
                                      .band_text = "",
                                      .levels = levels,
                                      .level_count = LEVELS,
                                      .soak_text = span,
                                      .begun_word = "leaves the soak",
                                      .ended_word = "falls fast from",
                                      .seconds = true};
    struct chart *chart = certificate_read_chart(certificate, run, curves, count, begin_ms, end_ms, fault);

    if (chart == NULL)
        return -1;
    certificate_levels(quench, run, unit, texts, levels);
    if (transfer != NULL) {
        dressing.soak_begun_ms = left_ms;
        dressing.soak_ended_ms = left_ms + transfer->ms;
        snprintf(span, sizeof span, "transfer %s", words_short_time(transfer->ms, time));
    }
    certificate_draw_chart(certificate, caption, chart, CHART_HEIGHT, &dressing);
    chart_free(chart);
    return 0;
}

/* As many channels side by side as a table has columns for; of a single one the list stands in two halves. */
static void certificate_list_cooling(struct certificate *certificate, const struct plan_operation *quench,
                                     const struct assess_run *run, size_t first, size_t count) {
    enum { HALVES = 2, HALF = TELL_QUENCH_ROWS / HALVES };
    const enum temperature_unit unit = certificate->config->unit;
    const size_t halves = count == 1 ? HALVES : 1, width = count + 1;
    const float names_share = halves == HALVES ? NAMES_SHARE : NAME_SHARE, name_share = names_share / (float)halves;
    struct sheet_column columns[SHEET_MOST_COLUMNS];
    char values[SHEET_MOST_COLUMNS][TELL_CELL_BYTES], names[HALVES][TELL_CELL_BYTES];
    struct sheet_table table;

    for (size_t i = 0; i < width * halves; i++)
        columns[i] =
            i % width == 0
                ? (struct sheet_column){i == 0 ? "of the cooling curve" : "", name_share, PAGE_LEFT}
                : (struct sheet_column){certificate_channel_name(run, run->quench_ids[first + i % width - 1]),
                                        (1 - names_share) / (float)(count * halves), PAGE_RIGHT};
    sheet_table_begin(&table, &certificate->sheet, columns, width * halves);
    table.dense = true;
    for (size_t row = 0; row < TELL_QUENCH_ROWS / halves; row++) {
        struct sheet_cell cells[SHEET_MOST_COLUMNS];

        for (size_t i = 0; i < width * halves; i++) {
            const size_t half = i / width, channel = i % width == 0 ? 0 : i % width - 1;

            tell_quench(quench, &run->quenches[first + channel], row + half * HALF, unit, names[half], values[i]);
            cells[i] = i % width == 0 ? (struct sheet_cell){names[half], SHEET_NO_MARK, false}
                                      : (struct sheet_cell){values[i], SHEET_NO_MARK, true};
        }
        sheet_table_row(&table, cells);
    }
    sheet_table_end(&table);
}

int certificate_draw_quench(struct certificate *certificate, size_t visit, const struct assess_run *run,
                            struct fault *fault) {
    const struct plan_operation *quench = plan_visit_quench(certificate->assessed->plan, visit);
    char caption[CERTIFICATE_LINE_BYTES], time[QUANTITY_TEXT_BYTES];

    if (quench == NULL)
        return 0;
    if (run->quench_count == 0 || certificate_left_ms(run) == 0) {
        sheet_subheading(&certificate->sheet, "The quench", CERTIFICATE_LIST_FOLLOWS);
        sheet_plain(&certificate->sheet, run->quench_count == 0 ? "No sensor saw it: there is no curve to draw."
                                                                : "The charge was never seen to leave the soak.");
        return 0;
    }
    snprintf(caption, sizeof caption, "The quench%s%.100s: left the soak at %s",
             quench->medium[0] != '\0' ? " in " : "", quench->medium,
             words_clock(certificate_left_ms(run), certificate->config->utc_offset_min, 1, time));
    if (certificate_draw_cooling(certificate, caption, quench, run, fault) != 0)
        return -1;
    sheet_need(&certificate->sheet, CERTIFICATE_LIST_FOLLOWS);
    for (size_t i = 0; i < run->quench_count; i += SHEET_MOST_COLUMNS - 1) {
        const size_t rest = run->quench_count - i;

        certificate_list_cooling(certificate, quench, run, i,
                                 rest < SHEET_MOST_COLUMNS - 1 ? rest : SHEET_MOST_COLUMNS - 1);
    }
    sheet_small(
        &certificate->sheet,
        "The quantities are those that ISO 9950 and ASTM D6200 report of their test probe; here they are those of "
        "the channel named, in or on this charge. Times count from leaving the soak.");
    sheet_skip(&certificate->sheet, CHART_AFTER);
    return 0;
}
