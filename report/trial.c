// SPDX-License-Identifier: MIT
#include "trial.h"

#include <stdlib.h>
#include <string.h>

#include "soakledger/corrections.h"
#include "soakledger/ink.h"
#include "soakledger/keep.h"
#include "soakledger/words.h"

static const float TITLE_SIZE = 18, SUBTITLE_SIZE = 10.5F, SUBTITLE_LEADING = 15, ANSWER_SIZE = 12.5F,
                   ANSWER_LEADING = 17, SIGN_SIZE = 22, SIGN_GAP = 10, ANSWER_PAD = 6, AFTER = 8;
static const char SIMULATED_NOTICE[] = "SIMULATED CLOCK - not a record of real time";

int trial_open(struct trial *trial, const struct config *config, const char *subtitle, int64_t made_ms,
               bool simulated, struct fault *fault) {
    const struct page_type title = {PAGE_REGULAR, TITLE_SIZE, INK_TEXT},
                           strong = {PAGE_BOLD, SUBTITLE_SIZE, INK_TEXT};
    char zone[QUANTITY_TEXT_BYTES], time[TRIAL_NAME_BYTES];
    struct sheet *sheet = &trial->sheet;

    trial->config = config;
    snprintf(trial->footer, sizeof trial->footer, "made %.80s · all times in %s", trial_time(config, made_ms, time),
             words_offset(config->utc_offset_min, zone));
    trial->about =
        (struct page_about){.title = trial->title,
                            .author = config->shop_name,
                            .header_left = config->shop_name[0] != '\0' ? config->shop_name : "Heat treatment",
                            .header_right = trial->header,
                            .notice = simulated ? SIMULATED_NOTICE : "",
                            .footer = trial->footer,
                            .made_ms = made_ms};
    trial->page = page_open(config->paper, &trial->about, fault);
    if (trial->page == NULL)
        return -1;
    sheet_begin(sheet, trial->page);
    sheet->y += TITLE_SIZE - 4;
    page_text(trial->page, sheet->frame.left, sheet->y, PAGE_LEFT, &title, trial->title);
    sheet->y += SUBTITLE_LEADING / 2;
    sheet_paragraph(sheet, &strong, SUBTITLE_LEADING, subtitle);
    sheet_skip(sheet, AFTER);
    return 0;
}

int trial_finish(struct trial *trial, int result, unsigned char **bytes, size_t *length, struct fault *fault) {
    if (result == 0)
        result = page_finish_file(trial->page, bytes, length, fault);
    page_free(trial->page);
    return result;
}

void trial_answer(struct trial *trial, enum outcome outcome, const char *text) {
    const struct page_type type = {PAGE_BOLD, ANSWER_SIZE, sheet_outcome_colour(outcome)};
    const struct page_pen rule = {sheet_outcome_colour(outcome), 1.2F, {0}};
    struct sheet *sheet = &trial->sheet;
    const float left = sheet->frame.left + SIGN_SIZE + SIGN_GAP, width = sheet->frame.right - left;
    const float top = sheet->y;

    page_line(trial->page, &rule, sheet->frame.left, top, sheet->frame.right, top);
    sheet_draw_sign(trial->page, outcome, sheet->frame.left + SIGN_SIZE / 2, top + ANSWER_PAD + 1 + SIGN_SIZE / 2,
                    SIGN_SIZE);
    sheet->y += ANSWER_PAD;
    while (*text != '\0') {
        size_t next = 0;
        const size_t length = page_fit(trial->page, &type, text, width, &next);

        page_text_part(trial->page, left, sheet->y + ANSWER_SIZE, PAGE_LEFT, &type, text, length);
        sheet->y += ANSWER_LEADING;
        text += next;
    }
    if (sheet->y < top + SIGN_SIZE + ANSWER_PAD)
        sheet->y = top + SIGN_SIZE + ANSWER_PAD;
    sheet->y += ANSWER_PAD;
    page_line(trial->page, &rule, sheet->frame.left, sheet->y, sheet->frame.right, sheet->y);
    sheet->y += AFTER;
}

void trial_caption(struct trial *trial, const char *heading, const char *remark, float height) {
    const float remark_height = 2 * SUBTITLE_LEADING;

    sheet_heading(&trial->sheet, heading, height + remark_height);
    if (remark[0] == '\0')
        return;
    sheet_small(&trial->sheet, remark);
    sheet_skip(&trial->sheet, AFTER / 2);
}

void trial_cautions(struct trial *trial) {
    const float follows = 70; // the first paragraph

    sheet_heading(&trial->sheet, "Cautions", follows);
    sheet_plain(
        &trial->sheet,
        "A thermocouple inside an electric oven is bare metal that may touch a live heating element: switch the "
        "oven off and lock it before a sensor is put in, moved or taken out. Hot ovens burn, and so does what "
        "comes out of them. Work on mains wiring, gas and burners belongs to licensed persons and follows the "
        "code that holds locally.");
    sheet_plain(
        &trial->sheet,
        "The recorder only listens. It is no protection against over-temperature and switches nothing off: an "
        "oven needs a limiter of its own that works without any computer.");
}

void trial_signature(struct trial *trial, const char *said_by) {
    const struct page_pen rule = {INK_TEXT, 0.6F, {0}};
    const struct page_type type = {PAGE_REGULAR, 7.25F, INK_QUIET};
    const float height = 64, gap = 30, text = 12, under = 2;
    const struct page_frame frame = sheet_take(&trial->sheet, height);
    const float middle = (frame.left + frame.right) / 2;
    char line[TRIAL_NAME_BYTES], name[TRIAL_SHORT_BYTES];
    size_t next = 0;

    page_line(trial->page, &rule, frame.left, frame.bottom - text, middle - gap / 2, frame.bottom - text);
    page_line(trial->page, &rule, middle + gap / 2, frame.bottom - text, frame.right, frame.bottom - text);
    snprintf(line, sizeof line, "signature of %s", trial_clip(said_by, name));
    page_text(trial->page, frame.left, frame.bottom - under, PAGE_LEFT, &type, "place and date");
    page_text_part(trial->page, middle + gap / 2, frame.bottom - under, PAGE_LEFT, &type, line,
                   page_fit(trial->page, &type, line, frame.right - middle - gap / 2, &next));
}

/* ---- values in words ---- */

char *trial_clip(const char *text, char *out) {
    return words_clean(text, strlen(text), 0, out, TRIAL_SHORT_BYTES);
}

char *trial_time(const struct config *config, int64_t t_ms, char *out) {
    char time[QUANTITY_TEXT_BYTES];

    snprintf(out, TRIAL_NAME_BYTES, "%s", quantity_format_time(t_ms, config->utc_offset_min, time));
    return out;
}

char *trial_moment(const struct config *config, int64_t t_ms, char *out) {
    return words_clock(t_ms, config->utc_offset_min, 1, out);
}

char *trial_difference(int64_t mc, enum temperature_unit unit, char *out) {
    return quantity_format_difference(mc, unit, 1, 1, out);
}

char *trial_size(int64_t mc, enum temperature_unit unit, char *out) {
    return quantity_format_difference(mc < 0 ? -mc : mc, unit, 1, 0, out);
}

char *trial_level(int64_t mc, enum temperature_unit unit, char *out) {
    return quantity_format_temperature(mc, unit, 1, out);
}

char *trial_sensor(const struct ledger_channel *channel, char *out) {
    const char *identity = channel->sensor_identity, *type = channel->sensor_type,
               *tolerance = channel->sensor_tolerance;

    char tag[TRIAL_SHORT_BYTES], class[TRIAL_SHORT_BYTES];

    snprintf(out, TRIAL_NAME_BYTES, "%s%s%.8s%s%s", identity[0] != '\0' ? trial_clip(identity, tag) : "not named",
             type[0] != '\0' ? ", type " : "", type, tolerance[0] != '\0' ? ", " : "",
             trial_clip(tolerance, class));
    return out;
}

const struct ledger_channel *trial_find_channel(const struct ledger_channel *channels, size_t count,
                                                int64_t channel_id) {
    for (size_t i = 0; i < count; i++)
        if (channels[i].channel_id == channel_id)
            return &channels[i];
    return NULL;
}

void trial_correct(const struct ledger_channel *channels, size_t count, struct reading *reading) {
    const struct ledger_channel *channel = trial_find_channel(channels, count, reading->channel_id);

    if (channel != NULL)
        corrections_apply(channel, reading);
}

int64_t trial_uncertainty(const struct ledger_channel *channel, int64_t at_mc) {
    struct uncertainty uncertainty;

    corrections_find_uncertainty(channel, at_mc, &uncertainty);
    return uncertainty.expanded_mc;
}

int trial_keep(struct command *command, const char *path, unsigned char *bytes, size_t length,
               struct fault *fault) {
    struct keep *keep = keep_write(command_far(command), path, bytes, length, fault);

    if (keep == NULL || keep_rename(keep, fault) != 0)
        return -1;
    fprintf(command->out, "%s\n", path);
    return 0;
}
