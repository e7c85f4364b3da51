// SPDX-License-Identifier: MIT
#include "notice.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/forecast.h"
#include "soakledger/journal.h"
#include "soakledger/quantity.h"

enum {
    HELD_MOST = 3 + JUDGE_MOST_LOADS, // three kinds about the oven, and one about each load channel
    LOOK_EVERY_MS = 1000,
    SAY_EVERY_MS = 60000,
    SAY_CHANGED_BY_MS = 120000,
    NOT_COMING_AFTER_MS = 120000, // a forecast may waver
    COOLS_AFTER_REQUIRED_TIMES = 2,
};

/* An alert that stands, or stood once in this run. */
struct held {
    enum alert_kind kind;
    bool stands;
    int64_t t_ms;
    char subject[ALERT_SUBJECT_BYTES];
    char words[ALERT_WORDS_BYTES];
};

struct notice {
    struct notice_subject about;
    const struct plan_operation *soak;
    struct forecast *forecast;
    int64_t required_ms, cool_after_ms, limit_mc;
    bool live;
    size_t held_count;
    struct held held[HELD_MOST];
    int64_t in_since_ms; // 0: the charge is out of the band, or not in it to stay
    bool fulfilled;
    size_t over; // channels over the overshoot limit
    int64_t looked_ms, known_ms, said_ms, complete_said_ms, coming_ms;
};

static int64_t longest_interval(const struct notice_subject *about) {
    int64_t interval_ms = 1;

    for (size_t i = 0; i < about->channel_count; i++) {
        for (size_t k = 0; k < judge_count_loads(about->judge); k++) {
            if (about->channels[i].channel_id == judge_load_id(about->judge, k) &&
                about->channels[i].interval_ms > interval_ms)
                interval_ms = about->channels[i].interval_ms;
        }
    }
    return interval_ms;
}

struct notice *notice_open(const struct notice_subject *subject, struct fault *fault) {
    struct notice *notice = calloc(1, sizeof *notice);
    struct forecast_limits limits;

    if (notice == NULL) {
        fault_set(fault, EX_OSERR, "no memory to notice what happens in oven %s", subject->oven_name);
        return NULL;
    }
    notice->about = *subject;
    notice->soak = plan_visit_soak(subject->plan, subject->visit);
    notice->required_ms = notice->soak->time_at_least_ms + subject->plan->lag_allowance_ms;
    notice->cool_after_ms = notice->soak->time_at_most.set ? notice->soak->time_at_most.value
                                                           : COOLS_AFTER_REQUIRED_TIMES * notice->required_ms;
    notice->limit_mc = notice->soak->temperature_mc + notice->soak->overshoot_at_most.value;
    limits = (struct forecast_limits){.edge_mc = notice->soak->temperature_mc - notice->soak->below_mc,
                                      .temperature_mc = notice->soak->temperature_mc,
                                      .overshoot_limit_mc = notice->limit_mc,
                                      .required_ms = notice->required_ms,
                                      .interval_ms = longest_interval(subject)};
    if (notice->soak->kind != OPERATION_COLD) { // nothing to heat up to
        notice->forecast = forecast_open(&limits, fault);
        if (notice->forecast == NULL) {
            notice_free(notice);
            return NULL;
        }
    }
    return notice;
}

void notice_free(struct notice *notice) {
    if (notice == NULL)
        return;
    forecast_free(notice->forecast);
    free(notice);
}

/* ---- what stands ---- */

static const char *find_name(const struct notice *notice, int64_t channel_id) {
    for (size_t i = 0; i < notice->about.channel_count; i++) {
        if (notice->about.channels[i].channel_id == channel_id)
            return notice->about.channels[i].name;
    }
    return NULL;
}

static void name_subject(const struct notice *notice, int64_t channel_id, char out[ALERT_SUBJECT_BYTES]) {
    const char *name = find_name(notice, channel_id);

    if (notice->about.is_further) // beside what stands for the other batch
        snprintf(out, ALERT_SUBJECT_BYTES, "oven %.35s, batch %lld", notice->about.oven_name,
                 (long long)notice->about.batch_id);
    else if (name != NULL)
        snprintf(out, ALERT_SUBJECT_BYTES, "oven %.35s, %.35s", notice->about.oven_name, name);
    else
        snprintf(out, ALERT_SUBJECT_BYTES, "oven %.70s", notice->about.oven_name);
}

/* NULL if it never stood, or there are too many. */
static struct held *find_held(struct notice *notice, enum alert_kind kind, int64_t channel_id, bool make) {
    char subject[ALERT_SUBJECT_BYTES];
    struct held *held;

    name_subject(notice, channel_id, subject);
    for (size_t i = 0; i < notice->held_count; i++) {
        if (notice->held[i].kind == kind && strcmp(notice->held[i].subject, subject) == 0)
            return &notice->held[i];
    }
    if (!make || notice->held_count == HELD_MOST)
        return NULL;
    held = &notice->held[notice->held_count++];
    held->kind = kind;
    memcpy(held->subject, subject, sizeof held->subject);
    return held;
}

static void raise_alert(struct notice *notice, enum alert_kind kind, int64_t channel_id, int64_t t_ms,
                        const char *words) {
    struct held *held = find_held(notice, kind, channel_id, true);

    if (held == NULL)
        return;
    held->stands = true;
    held->t_ms = t_ms;
    snprintf(held->words, sizeof held->words, "%s", words);
    if (notice->live)
        alert_raise(notice->about.desk, kind, held->subject, t_ms, words);
}

static void clear_alert(struct notice *notice, enum alert_kind kind, int64_t channel_id, int64_t t_ms,
                        const char *words) {
    struct held *held = find_held(notice, kind, channel_id, false);

    if (held == NULL || !held->stands)
        return;
    held->stands = false;
    held->t_ms = t_ms;
    snprintf(held->words, sizeof held->words, "%s", words);
    if (notice->live)
        alert_clear(notice->about.desk, kind, held->subject, t_ms, words);
}

/* The desk may know more than was replayed, or less: an all-clear for what does not stand there tells nobody. */
void notice_go_live(struct notice *notice) {
    notice->live = true;
    for (size_t i = 0; i < notice->held_count; i++) {
        const struct held *held = &notice->held[i];

        if (held->stands)
            alert_raise(notice->about.desk, held->kind, held->subject, held->t_ms, held->words);
        else
            alert_clear(notice->about.desk, held->kind, held->subject, held->t_ms, held->words);
    }
}

void notice_end(struct notice *notice, int64_t t_ms, const char *words) {
    for (size_t i = 0; i < notice->held_count; i++) {
        struct held *held = &notice->held[i];

        if (held->stands)
            alert_clear(notice->about.desk, held->kind, held->subject, t_ms, words);
        held->stands = false;
    }
    notice->live = false; // what is found at the end is for the sheets
}

/* ---- findings ---- */

static void take_break(struct notice *notice, const struct finding *finding, const char *words) {
    notice->in_since_ms = 0;
    clear_alert(notice, ALERT_NOT_COOLING, 0, finding->t_ms, "the charge has left the band");
    if (!notice->fulfilled && finding->value < finding->limit)
        raise_alert(notice, ALERT_SOAK_SHORT, 0, finding->t_ms, words);
}

static void take_peak(struct notice *notice, const struct finding *finding, const char *words) {
    notice->over -= notice->over > 0;
    if (notice->over == 0)
        clear_alert(notice, ALERT_OVERSHOOT, 0, finding->t_ms, words);
}

static void take_gap(struct notice *notice, const struct finding *finding) {
    char words[ALERT_WORDS_BYTES];

    if (notice->about.is_further)
        return;
    snprintf(words, sizeof words, "no good reading since then: %s",
             finding->value == QUALITY_GOOD ? "nothing came" : quality_name((enum quality)finding->value));
    raise_alert(notice, ALERT_SENSOR, finding->channel_id, finding->t_ms, words);
}

void notice_take_finding(struct notice *notice, const struct finding *finding) {
    char words[ALERT_WORDS_BYTES];

    if (&notice->about.plan->operations[finding->operation] != notice->soak)
        return; // a hold on the way up: what matters comes later
    judge_describe_finding(finding, notice->soak->kind, find_name(notice, finding->channel_id), notice->about.unit,
                           words, sizeof words);
    switch (finding->kind) {
    case FINDING_SOAK_BEGUN: notice->in_since_ms = finding->t_ms; break;
    case FINDING_SOAK_RESUMED:
        notice->in_since_ms = finding->t_ms;
        clear_alert(notice, ALERT_SOAK_SHORT, 0, finding->t_ms, "the charge is back; its time counts anew");
        break;
    case FINDING_SOAK_BROKEN: take_break(notice, finding, words); break;
    case FINDING_SOAK_FULFILLED:
        notice->fulfilled = true;
        clear_alert(notice, ALERT_SOAK_SHORT, 0, finding->t_ms, "the soak is complete after all");
        break;
    case FINDING_OVERSHOOT:
        notice->over++;
        raise_alert(notice, ALERT_OVERSHOOT, 0, finding->t_ms, words);
        break;
    case FINDING_OVERSHOOT_PEAK: take_peak(notice, finding, words); break;
    case FINDING_GAP_BEGUN: take_gap(notice, finding); break;
    case FINDING_GAP_ENDED: clear_alert(notice, ALERT_SENSOR, finding->channel_id, finding->t_ms, words); break;
    default: break; // no hand can help there
    }
}

/* ---- readings ---- */

static void see_cooling(struct notice *notice, int64_t t_ms) {
    char words[ALERT_WORDS_BYTES], time[QUANTITY_TEXT_BYTES];

    if (notice->soak->kind == OPERATION_COLD) // longer in the cold does no harm
        return;
    if (!notice->fulfilled || notice->in_since_ms == 0 || t_ms - notice->in_since_ms <= notice->cool_after_ms)
        return;
    snprintf(words, sizeof words, "the soak is long complete and the charge is still in the band after %s",
             quantity_format_duration(notice->cool_after_ms, time));
    raise_alert(notice, ALERT_NOT_COOLING, 0, t_ms, words);
}

/* Once it has been known for a minute, and again when it has changed. */
static void say_complete(struct notice *notice, const struct forecast_outlook *outlook, int64_t t_ms) {
    const int64_t changed_ms = llabs(outlook->complete_ms - notice->complete_said_ms);
    char time[QUANTITY_TEXT_BYTES];
    enum { HOURS_AT = 11, HOURS_BYTES = 5 }; // in "2026-11-16 09:52:00"

    if (!outlook->complete_known || notice->fulfilled)
        notice->known_ms = t_ms;
    if (t_ms - notice->known_ms < SAY_EVERY_MS || t_ms - notice->said_ms < SAY_EVERY_MS ||
        changed_ms <= SAY_CHANGED_BY_MS)
        return;
    notice->said_ms = t_ms;
    notice->complete_said_ms = outlook->complete_ms;
    journal_write(JOURNAL_NOTICE, "oven %s, run %lld, batch %lld: the soak will be complete at about %.*s UTC",
                  notice->about.oven_name, (long long)notice->about.run_id, (long long)notice->about.batch_id,
                  HOURS_BYTES, quantity_format_time(outlook->complete_ms, 0, time) + HOURS_AT);
}

static void see_overshoot(struct notice *notice, const struct forecast_outlook *outlook, int64_t t_ms) {
    char words[ALERT_WORDS_BYTES], peak[QUANTITY_TEXT_BYTES], limit[QUANTITY_TEXT_BYTES];

    if (notice->over > 0)
        return; // it is there, and the findings tell
    if (outlook->overshoot_coming) {
        notice->coming_ms = t_ms;
        snprintf(words, sizeof words, "an overshoot is coming: about %s, limit %s",
                 quantity_format_temperature(outlook->peak_mc, notice->about.unit, 0, peak),
                 quantity_format_temperature(notice->limit_mc, notice->about.unit, 1, limit));
        raise_alert(notice, ALERT_OVERSHOOT, 0, t_ms, words);
    } else if (t_ms - notice->coming_ms >= NOT_COMING_AFTER_MS) {
        clear_alert(notice, ALERT_OVERSHOOT, 0, t_ms, "no overshoot is coming any more");
    }
}

void notice_take_reading(struct notice *notice, const struct reading *reading) {
    struct forecast_outlook outlook;
    bool is_load = false;

    for (size_t i = 0; i < judge_count_loads(notice->about.judge); i++)
        is_load |= judge_load_id(notice->about.judge, i) == reading->channel_id;
    if (!is_load)
        return;
    if (notice->known_ms == 0)
        notice->known_ms = reading->t_ms;
    if (notice->forecast != NULL)
        forecast_feed(notice->forecast, reading);
    if (reading->t_ms - notice->looked_ms < LOOK_EVERY_MS)
        return;
    notice->looked_ms = reading->t_ms;
    see_cooling(notice, reading->t_ms);
    if (notice->forecast == NULL)
        return;
    forecast_read(notice->forecast, reading->t_ms, &outlook);
    see_overshoot(notice, &outlook, reading->t_ms);
    if (notice->live)
        say_complete(notice, &outlook, reading->t_ms);
}
