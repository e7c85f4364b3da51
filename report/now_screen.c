// SPDX-License-Identifier: MIT
/* The page: what stands where. Every state is said in words; bold and colour only repeat it. */
#include <stdlib.h>
#include <string.h>

#include "now_parts.h"
#include "soakledger/replay.h"
#include "soakledger/words.h"

enum {
    TEXT_BYTES = 1024,
    FINDINGS_SHOWN = 4,
    PLAIN_HEIGHT = 8, // of a curve where nothing limits the page
    LEAST_HEIGHT = 4,
    MOST_HEIGHT = 20,
    AXIS_LINES = 2,
    LOOKED_AT_MOST = 50000, // rows for all curves together: some 5 ms
    FIRST_LINES = 32,
    INDENT = 4,
    ROUND_UP_MS = 999, // what is left is never said to be less
};

/* ---- lines ---- */

static struct now_line *now_add_line(struct now_page *page) {
    if (page->count == page->capacity) {
        const size_t capacity = page->capacity == 0 ? FIRST_LINES : 2 * page->capacity;
        struct now_line *lines = realloc(page->lines, capacity * sizeof *lines);

        if (lines == NULL) {
            page->short_of_memory = true;
            return NULL;
        }
        page->lines = lines;
        page->capacity = capacity;
    }
    return &page->lines[page->count++];
}

/* Bytes of `text` that fit into `columns`, up to a blank if there is one; `next` gets where the rest begins. */
static size_t now_fit(const char *text, size_t columns, size_t *next) {
    size_t at = 0, used = 0, fitted = 0;

    while (text[at] != '\0' && used < columns) {
        at += words_character(text + at);
        used++;
        if (text[at] == ' ' || text[at] == '\0')
            fitted = at;
    }
    if (fitted == 0)
        fitted = at;
    *next = fitted + strspn(text + fitted, " ");
    return fitted;
}

/* Without UTF-8: degrees without their sign, a minus that is one, and a question mark for what people typed. */
static void now_make_ascii(char *text) {
    char *out = text;

    for (const char *in = text; *in != '\0';) {
        const size_t bytes = words_character(in);

        if (bytes == 1)
            *out++ = *in;
        else if (strncmp(in, "−", bytes) == 0)
            *out++ = '-';
        else if (strncmp(in, "°", bytes) != 0)
            *out++ = '?';
        in += bytes;
    }
    *out = '\0';
}

void now_write(struct now_page *page, enum now_style style, size_t indent, const char *text) {
    char clean[NOW_LINE_BYTES];
    const char *rest = clean;

    words_clean(text, strlen(text), 0, clean, sizeof clean);
    if (!page->utf8)
        now_make_ascii(clean);
    for (size_t before = 0; before == 0 || *rest != '\0'; before = indent) {
        struct now_line *line = now_add_line(page);
        size_t next = 0;
        const size_t length = now_fit(rest, page->columns - before, &next);

        if (line == NULL)
            return;
        line->style = style;
        snprintf(line->text, sizeof line->text, "%*s%.*s", (int)before, "", (int)length, rest);
        rest += next;
        if (indent == 0 && *rest != '\0') // cannot be told from the first: cut
            return;
        if (*rest == '\0')
            return;
    }
}

void now_release(struct now_page *page) {
    free(page->lines);
    page->lines = NULL;
    page->count = page->capacity = 0;
}

/* ---- head ---- */

static void now_write_head(struct now_page *page, const struct config *config, const struct now_look *look) {
    char text[TEXT_BYTES], time[QUANTITY_TEXT_BYTES], zone[QUANTITY_TEXT_BYTES], shop[TEXT_BYTES / 4];

    words_clean(config->shop_name, strlen(config->shop_name), 0, shop, sizeof shop);
    snprintf(text, sizeof text, "%s %s%s%s", quantity_format_time(look->now_ms, config->utc_offset_min, time),
             words_offset(config->utc_offset_min, zone), shop[0] != '\0' ? "   " : "", shop);
    now_write(page, NOW_STRONG, INDENT, text);
    if (look->simulated)
        now_write(page, NOW_ALARM, INDENT, "SIMULATED CLOCK: not a record of real time");
}

static void now_write_daemon(struct now_page *page, const struct config *config, const struct now_look *look) {
    char text[TEXT_BYTES], time[QUANTITY_TEXT_BYTES];

    if (!look->has_session) {
        now_write(page, NOW_ALARM, INDENT, "Nothing was ever recorded here: start soakledgerd.");
        return;
    }
    if (look->daemon == GLANCE_RECORDING)
        return;
    if (look->daemon == GLANCE_UNKNOWN) {
        now_write(page, NOW_STRONG, INDENT,
                  "Whether soakledgerd is running cannot be seen from here: go by how old the readings are.");
        return;
    }
    if (look->has_event && look->last_event.kind == EVENT_STOPPED)
        snprintf(text, sizeof text, "NOT RECORDING: soakledgerd was stopped in order at %s.",
                 quantity_format_time(look->last_event.t_ms, config->utc_offset_min, time));
    else if (look->rebooted)
        snprintf(text, sizeof text, "NOT RECORDING: soakledgerd was not started since this machine was.");
    else
        snprintf(text, sizeof text, "NOT RECORDING: soakledgerd is not running, and was not stopped in order.");
    now_write(page, NOW_ALARM, INDENT, text);
}

/* ---- an oven's readings ---- */

static void now_format_value(const struct ledger_channel *channel, int64_t value, enum temperature_unit unit,
                             char *out) {
    if (channel->role == ROLE_OUTPUT)
        snprintf(out, QUANTITY_TEXT_BYTES, "%.0f %%", (double)value / QUANTITY_PER_UNIT);
    else
        quantity_format_temperature(value, unit, channel->role == ROLE_SETPOINT ? 0 : 1, out);
}

/* "front 806.4 °C", "front OPEN SENSOR", "front NO READING for 12 min". False if all is well. */
static bool now_describe_channel(const struct now_look *look, const struct ledger_channel *channel,
                                 const struct now_latest *latest, enum temperature_unit unit, char *out) {
    char value[QUANTITY_TEXT_BYTES], age[QUANTITY_TEXT_BYTES], name[CHANNEL_NAME_BYTES];

    words_clean(channel->name, strlen(channel->name), 0, name, sizeof name);
    if (!latest->known) {
        snprintf(out, TEXT_BYTES, "%s NO READING EVER", name);
        return true;
    }
    if (latest->reading.quality == QUALITY_GOOD)
        now_format_value(channel, latest->reading.value, unit, value);
    else
        snprintf(value, sizeof value, "%s", quality_name(latest->reading.quality));
    for (char *c = value; latest->reading.quality != QUALITY_GOOD && *c != '\0'; c++)
        *c = *c >= 'a' && *c <= 'z' ? (char)(*c - 'a' + 'A') : *c;
    if (latest->stale)
        snprintf(out, TEXT_BYTES, "%s NO READING for %s (last: %s)", name,
                 quantity_format_duration(look->now_ms - latest->reading.t_ms, age), value);
    else
        snprintf(out, TEXT_BYTES, "%s %s", name, value);
    return latest->stale || latest->reading.quality != QUALITY_GOOD;
}

/* The channels of which all is well share lines; each other one has its own. */
static void now_write_channels(struct now_page *page, const struct config *config, const struct now_look *look,
                               const struct now_oven *oven) {
    char line[NOW_LINE_BYTES] = "", one[TEXT_BYTES];
    size_t used = 0;

    for (size_t i = 0; i < oven->channel_count; i++) {
        const bool trouble = now_describe_channel(look, &oven->channels[i], &oven->latest[i], config->unit, one);
        const size_t columns = words_columns(one);

        if (trouble)
            continue;
        if (used > 0 && used + 3 + columns > page->columns) {
            now_write(page, NOW_PLAIN, INDENT, line);
            used = 0;
        }
        snprintf(line + (used > 0 ? strlen(line) : 0), sizeof line - (used > 0 ? strlen(line) : 0), "%s%s",
                 used > 0 ? "   " : "  ", one);
        used += columns + (used > 0 ? 3 : 2);
    }
    if (used > 0)
        now_write(page, NOW_PLAIN, INDENT, line);
    for (size_t i = 0; i < oven->channel_count; i++)
        if (now_describe_channel(look, &oven->channels[i], &oven->latest[i], config->unit, one)) {
            snprintf(line, sizeof line, "! %s", one);
            now_write(page, NOW_ALARM, INDENT, line);
        }
}

/* ---- an oven's batches ---- */

/* "soak hardening", with a capital: what begins a sentence. */
static void now_name_soak(const struct plan_operation *soak, char *out) {
    snprintf(out, TEXT_BYTES / 4, "%s%s%.100s", plan_kind_name(soak->kind), soak->name[0] != '\0' ? " " : "",
             soak->name);
}

/* The time in the band is counted up to the last reading, not to now: nothing is known after it. */
static void now_describe_in_band(const struct now_batch *batch, const struct config *config, int64_t required_ms,
                                 char *out) {
    const int64_t in_ms = batch->all_seen_ms - batch->in_since_ms;
    char in[QUANTITY_TEXT_BYTES], required[QUANTITY_TEXT_BYTES], left[QUANTITY_TEXT_BYTES];
    char until[QUANTITY_TEXT_BYTES];

    quantity_format_duration(in_ms > 0 ? in_ms : 0, in);
    quantity_format_duration(required_ms, required);
    if (batch->load_is_missing)
        snprintf(out, TEXT_BYTES, "in band %s of %s as far as is known: a load channel is missing", in, required);
    else if (in_ms >= required_ms)
        snprintf(out, TEXT_BYTES, "in band for %s; %s are required", in, required);
    else
        snprintf(out, TEXT_BYTES, "in band %s of %s; %s LEFT, until %s", in, required,
                 quantity_format_duration(required_ms - in_ms + ROUND_UP_MS, left),
                 words_clock(batch->in_since_ms + required_ms, config->utc_offset_min, 1, until));
}

static void now_describe_outlook(const struct now_batch *batch, const struct config *config,
                                 const struct plan_operation *soak, char *out) {
    char clock[QUANTITY_TEXT_BYTES], edge[QUANTITY_TEXT_BYTES];

    if (soak->kind == OPERATION_COLD)
        quantity_format_temperature(soak->temperature_mc, config->unit, 0, edge);
    else
        quantity_format_temperature(soak->temperature_mc - soak->below_mc, config->unit, 0, edge);
    if (batch->has_outlook && batch->outlook.in_band && batch->outlook.complete_known)
        snprintf(out, TEXT_BYTES, "has reached the band; complete at about %s if it stays there",
                 words_clock(batch->outlook.complete_ms, config->utc_offset_min, 0, clock));
    else if (batch->has_outlook && batch->outlook.complete_known)
        snprintf(out, TEXT_BYTES, "not in the band yet (from %s); complete at about %s", edge,
                 words_clock(batch->outlook.complete_ms, config->utc_offset_min, 0, clock));
    else
        snprintf(out, TEXT_BYTES, "not in the band yet (%s %s)", soak->kind == OPERATION_COLD ? "down to" : "from",
                 edge);
}

static enum now_style now_describe_soak(const struct now_batch *batch, const struct config *config, char *out) {
    const struct plan_operation *soak = plan_visit_soak(batch->plan, batch->visit);
    const int64_t required_ms = soak->time_at_least_ms + batch->plan->lag_allowance_ms;
    char clock[QUANTITY_TEXT_BYTES], length[QUANTITY_TEXT_BYTES];

    if (batch->exceeded) {
        snprintf(out, TEXT_BYTES, "LONGER THAN ALLOWED: at most %s",
                 quantity_format_duration(soak->time_at_most.value, length));
        return NOW_ALARM;
    }
    if (batch->fulfilled_ms != 0) {
        snprintf(out, TEXT_BYTES, "COMPLETE since %s (%s required)%s",
                 words_clock(batch->fulfilled_ms, config->utc_offset_min, 1, clock),
                 quantity_format_duration(required_ms, length),
                 batch->in_since_ms != 0 ? ", still in the band" : "");
        return NOW_STRONG;
    }
    if (batch->in_since_ms != 0) {
        now_describe_in_band(batch, config, required_ms, out);
        return batch->load_is_missing ? NOW_ALARM : NOW_STRONG;
    }
    if (batch->broken_ms != 0) {
        snprintf(out, TEXT_BYTES, "LEFT THE BAND at %s, too early: %s are required and count anew",
                 words_clock(batch->broken_ms, config->utc_offset_min, 1, clock),
                 quantity_format_duration(required_ms, length));
        return NOW_ALARM;
    }
    now_describe_outlook(batch, config, soak, out);
    return NOW_PLAIN;
}

static const char *now_channel_name(const struct now_oven *oven, int64_t channel_id) {
    for (size_t i = 0; i < oven->channel_count; i++)
        if (oven->channels[i].channel_id == channel_id)
            return oven->channels[i].name;
    return NULL;
}

static bool now_is_bad(const struct finding *finding) {
    switch (finding->kind) {
    case FINDING_SOAK_BEGUN:
    case FINDING_SOAK_RESUMED:
    case FINDING_SOAK_FULFILLED:
    case FINDING_GAP_ENDED: return false;
    case FINDING_SOAK_BROKEN: return finding->value < finding->limit;
    default: return true;
    }
}

/* The newest findings, the newest last. */
static void now_write_findings(struct now_page *page, const struct config *config, const struct now_oven *oven,
                               const struct now_batch *batch) {
    const size_t first = batch->finding_count > FINDINGS_SHOWN ? batch->finding_count - FINDINGS_SHOWN : 0;
    char text[TEXT_BYTES], words[TEXT_BYTES / 2], clock[QUANTITY_TEXT_BYTES];

    for (size_t i = first; i < batch->finding_count; i++) {
        const struct finding *finding = &batch->findings[i];

        judge_describe_finding(finding, batch->plan->operations[finding->operation].kind,
                               now_channel_name(oven, finding->channel_id), config->unit, words, sizeof words);
        snprintf(text, sizeof text, "%c %s %s", now_is_bad(finding) ? '!' : ' ',
                 words_clock(finding->t_ms, config->utc_offset_min, 1, clock), words);
        now_write(page, now_is_bad(finding) ? NOW_ALARM : NOW_PLAIN, INDENT, text);
    }
}

static void now_write_batch(struct now_page *page, const struct config *config, const struct now_oven *oven,
                            const struct now_batch *batch) {
    char text[2 * TEXT_BYTES], state[TEXT_BYTES], soak[TEXT_BYTES / 4], charge[TEXT_BYTES / 4];
    char peak[QUANTITY_TEXT_BYTES], limit[QUANTITY_TEXT_BYTES];
    const struct plan_operation *operation = plan_visit_soak(batch->plan, batch->visit);
    enum now_style style;

    words_clean(batch->batch->charge, strlen(batch->batch->charge), 0, charge, sizeof charge);
    snprintf(text, sizeof text, "  batch %lld: %s", (long long)batch->batch->batch_id, charge);
    now_write(page, NOW_PLAIN, INDENT, text);
    now_name_soak(operation, soak);
    style = now_describe_soak(batch, config, state);
    snprintf(text, sizeof text, "%c %s: %s", style == NOW_ALARM ? '!' : ' ', soak, state);
    now_write(page, style, INDENT, text);
    if (batch->has_outlook && batch->outlook.overshoot_coming) {
        snprintf(text, sizeof text, "! an overshoot is coming: about %s, limit %s",
                 quantity_format_temperature(batch->outlook.peak_mc, config->unit, 0, peak),
                 quantity_format_temperature(operation->temperature_mc + operation->overshoot_at_most.value,
                                             config->unit, 0, limit));
        now_write(page, NOW_ALARM, INDENT, text);
    }
    now_write_findings(page, config, oven, batch);
}

/* ---- an oven ---- */

static void now_write_oven_head(struct now_page *page, const struct config *config, const struct now_look *look,
                                const struct now_oven *oven) {
    char text[2 * TEXT_BYTES], name[CHANNEL_NAME_BYTES], length[QUANTITY_TEXT_BYTES], time[QUANTITY_TEXT_BYTES];
    char charge[TEXT_BYTES / 4];
    size_t used;

    words_clean(oven->oven.name, strlen(oven->oven.name), 0, name, sizeof name);
    if (oven->on) {
        snprintf(text, sizeof text, "%s: ON, run %lld, for %s%s", name, (long long)oven->run.run_id,
                 quantity_format_duration(look->now_ms > oven->run.begun_ms ? look->now_ms - oven->run.begun_ms : 0,
                                          length),
                 oven->batch_count == 0 ? "; it belongs to no batch" : "");
        now_write(page, NOW_STRONG, INDENT, text);
        return;
    }
    used = (size_t)snprintf(text, sizeof text, "%s: off", name);
    if (oven->had_run)
        snprintf(text + used, sizeof text - used, "; run %lld ended %s (%s)", (long long)oven->run.run_id,
                 quantity_format_time(oven->run.ended_ms, config->utc_offset_min, time),
                 run_end_name(oven->run.end));
    now_write(page, NOW_STRONG, INDENT, text);
    if (oven->waits_id != 0) {
        words_clean(oven->waits_for, strlen(oven->waits_for), 0, charge, sizeof charge);
        snprintf(text, sizeof text, "  batch %lld waits for it: %s", (long long)oven->waits_id, charge);
        now_write(page, NOW_PLAIN, INDENT, text);
    }
}

/* Ovens that are on have their curves first; if none is, all have. */
static bool now_has_curve(const struct now_look *look, const struct now_oven *oven) {
    for (size_t i = 0; i < look->oven_count; i++)
        if (look->ovens[i].on)
            return oven->on;
    return true;
}

static int64_t now_correct(const struct now_oven *oven, const struct ledger_channel *channel, int64_t value) {
    struct reading reading = {.value = value, .channel_id = channel->channel_id};

    replay_correct(oven->channels, oven->channel_count, &reading);
    return reading.value;
}

/* A correction is the same for all readings of a value: of a column its ends are corrected. */
static int now_fill_channel(struct ledger *ledger, const struct now_look *look, const struct now_oven *oven,
                            size_t channel, struct glance_column *columns, size_t count, size_t most,
                            struct fault *fault) {
    const struct ledger_channel *drawn = &oven->channels[channel];
    struct glance_column *own = calloc(count + 1, sizeof *own);
    int result;

    if (own == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for a curve");
    result = glance_draw(ledger, drawn->channel_id, drawn->interval_ms, oven->from_ms, look->now_ms, own, count,
                         most, fault);
    for (size_t i = 0; result == 0 && i < count; i++) {
        const int64_t low = own[i].known ? now_correct(oven, drawn, own[i].low) : 0;
        const int64_t high = own[i].known ? now_correct(oven, drawn, own[i].high) : 0;

        columns[i].any |= own[i].any;
        if (!own[i].known)
            continue;
        columns[i].low = !columns[i].known || low < columns[i].low ? low : columns[i].low;
        columns[i].high = !columns[i].known || high > columns[i].high ? high : columns[i].high;
        columns[i].known = true;
    }
    free(own);
    return result;
}

static int now_fill_curve(struct ledger *ledger, const struct now_look *look, const struct now_oven *oven,
                          struct glance_column *columns, size_t count, struct fault *fault) {
    size_t charges = 0, drawn = 0;
    int result = 0;

    for (size_t i = 0; i < oven->channel_count; i++)
        charges += now_is_charge(oven, i);
    for (size_t i = 0; i < look->oven_count; i++)
        drawn += now_has_curve(look, &look->ovens[i]);
    for (size_t i = 0; result == 0 && i < oven->channel_count; i++)
        if (now_is_charge(oven, i))
            result = now_fill_channel(ledger, look, oven, i, columns, count,
                                      LOOKED_AT_MOST / (charges * (drawn > 0 ? drawn : 1)), fault);
    return result;
}

static int now_draw_oven(struct now_page *page, struct ledger *ledger, const struct config *config,
                         const struct now_look *look, const struct now_oven *oven, size_t height,
                         struct fault *fault) {
    struct now_curve curve = {.from_ms = oven->from_ms,
                              .to_ms = look->now_ms,
                              .column_count = now_count_columns(page),
                              .unit = config->unit,
                              .utc_offset_min = config->utc_offset_min};
    struct glance_column *columns = calloc(curve.column_count, sizeof *columns);
    int result;

    if (columns == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for a curve");
    if (oven->batch_count > 0) {
        const struct now_batch *batch = &oven->batches[0];
        const struct plan_operation *soak = plan_visit_soak(batch->plan, batch->visit);

        curve.band_open_below = soak->kind == OPERATION_COLD;
        curve.band_high_mc = soak->temperature_mc + (curve.band_open_below ? 0 : soak->above_mc);
        curve.band_low_mc = curve.band_open_below ? curve.band_high_mc - 1 : soak->temperature_mc - soak->below_mc;
    }
    result =
        curve.from_ms < curve.to_ms ? now_fill_curve(ledger, look, oven, columns, curve.column_count, fault) : 0;
    curve.columns = columns;
    if (result == 0 && curve.from_ms < curve.to_ms)
        now_draw(page, &curve, height);
    free(columns);
    return result;
}

/* `height` 0: no curve. */
static int now_write_oven(struct now_page *page, struct ledger *ledger, const struct config *config,
                          const struct now_look *look, const struct now_oven *oven, size_t height,
                          struct fault *fault) {
    now_write(page, NOW_PLAIN, INDENT, "");
    now_write_oven_head(page, config, look, oven);
    now_write_channels(page, config, look, oven);
    for (size_t i = 0; i < oven->batch_count; i++)
        now_write_batch(page, config, oven, &oven->batches[i]);
    return height > 0 ? now_draw_oven(page, ledger, config, look, oven, height, fault) : 0;
}

/* How high curves can be so that all fits: what is left beside the text is shared out. */
static size_t now_choose_height(const struct now_page *text, const struct now_look *look, size_t rows) {
    size_t curves = 0, height;

    if (rows == 0)
        return PLAIN_HEIGHT;
    for (size_t i = 0; i < look->oven_count; i++)
        curves += now_has_curve(look, &look->ovens[i]);
    if (curves == 0 || text->count >= rows)
        return 0;
    height = (rows - text->count) / curves;
    height = height > AXIS_LINES ? height - AXIS_LINES : 0;
    if (height < LEAST_HEIGHT)
        return 0;
    return height > MOST_HEIGHT ? MOST_HEIGHT : height;
}

static int now_fill_page(struct now_page *page, struct ledger *ledger, const struct config *config,
                         const struct now_look *look, size_t height, struct fault *fault) {
    int result = 0;

    now_write_head(page, config, look);
    now_write_daemon(page, config, look);
    for (size_t i = 0; result == 0 && i < look->oven_count; i++)
        result = now_write_oven(page, ledger, config, look, &look->ovens[i],
                                now_has_curve(look, &look->ovens[i]) ? height : 0, fault);
    if (result == 0 && page->short_of_memory)
        result = fault_set(fault, EX_OSERR, "not enough memory for the page");
    return result;
}

int now_compose(struct now_page *page, struct ledger *ledger, const struct config *config,
                const struct now_look *look, size_t rows, struct fault *fault) {
    struct now_page text = {.columns = page->columns, .utf8 = page->utf8};
    size_t height;
    int result = now_fill_page(&text, ledger, config, look, 0, fault);

    height = now_choose_height(&text, look, rows);
    now_release(&text);
    if (result != 0 || now_fill_page(page, ledger, config, look, height, fault) != 0)
        return -1;
    if (rows > 0 && page->count > rows) {
        snprintf(page->lines[rows - 1].text, sizeof page->lines[0].text, "%.*s", (int)page->columns,
                 "more below: a taller window shows it");
        page->lines[rows - 1].style = NOW_STRONG;
        page->count = rows;
    }
    return 0;
}
