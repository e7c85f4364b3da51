// SPDX-License-Identifier: MIT
/* What is new at the end of a run, told once. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "soakledger/health.h"

enum { MC = 1000 };

static const struct drift_run *last_run(const struct health_level *level) {
    return &level->runs[level->history.run_count - 1];
}

/* From when on this has been one history: what was told before is about another sensor. */
static int64_t begins_ms(const struct health_oven *oven, const struct drift_report *report) {
    const int64_t one_ms = oven->sensors[report->sensor].since_ms;
    const int64_t other_ms = report->cause == DRIFT_PAIR ? oven->sensors[report->other].since_ms : one_ms;

    if (report->cause != DRIFT_SENSOR && report->cause != DRIFT_PAIR)
        return INT64_MIN;
    return one_ms > other_ms ? one_ms : other_ms;
}

static void name_told(const struct health_oven *oven, const struct health_level *level, int64_t run_id,
                      struct health_told *told) {
    const struct drift_report *report = level->report;
    const bool about_sensor = report->cause == DRIFT_SENSOR || report->cause == DRIFT_PAIR;
    size_t one = report->sensor, other = report->other;

    if (report->cause == DRIFT_PAIR && other < one) { // which is the more likely may change from run to run
        one = report->other;
        other = report->sensor;
    }
    *told = (struct health_told){.oven_id = oven->oven_id,
                                 .run_id = run_id,
                                 .t_ms = last_run(level)->t_ms,
                                 .level_mc = llround(level->level_c * MC),
                                 .cause = report->cause,
                                 .channel_id = about_sensor ? oven->sensors[one].channel_id : 0,
                                 .other_id = report->cause == DRIFT_PAIR ? oven->sensors[other].channel_id : 0,
                                 .sure = report->sure};
}

/* The sensor's own line where there is one, else the cause; then what to do. */
static void say_news(const struct health_level *level, enum temperature_unit unit, struct health_news *news) {
    const struct drift_report *report = level->report;
    char words[DRIFT_WORDS_BYTES], advice[DRIFT_WORDS_BYTES];

    news->about_sensor = report->cause == DRIFT_SENSOR || report->cause == DRIFT_PAIR;
    if (news->about_sensor)
        snprintf(news->channel, sizeof news->channel, "%s", level->history.sensors[report->sensor].name);
    if (report->cause == DRIFT_SENSOR)
        drift_describe_sensor(&level->history, report, report->sensor, unit, words);
    else
        drift_describe_cause(&level->history, report, unit, words);
    drift_describe_advice(&level->history, report, unit, advice);
    snprintf(news->words, sizeof news->words, "%s. %s", words, advice);
}

/* 1 if this level's finding was not told before and is kept as told now. */
static int tell_level(struct ledger *ledger, const struct health_oven *oven, const struct health_level *level,
                      int64_t run_id, enum temperature_unit unit, struct health_news *news, struct fault *fault) {
    struct health_told told;
    int before;

    if (level->report->cause <= DRIFT_NOTHING || last_run(level)->run_id != run_id)
        return 0;
    name_told(oven, level, run_id, &told);
    before = health_was_told(ledger, &told, begins_ms(oven, level->report), fault);
    if (before != 0)
        return before < 0 ? -1 : 0;
    say_news(level, unit, news);
    told.words = news->words;
    return health_keep_told(ledger, &told, fault) == 0 ? 1 : -1;
}

int health_tell(struct ledger *ledger, int64_t run_id, enum temperature_unit unit, struct health_news *news,
                struct fault *fault) {
    struct health_oven *oven;
    struct ledger_run run;
    const int found = ledger_read_run(ledger, run_id, &run, fault);
    int told = 0;

    *news = (struct health_news){0};
    if (found < 0)
        return -1;
    if (found == 0)
        return fault_set(fault, EX_NOINPUT, "there is no run %lld", (long long)run_id);
    oven = health_examine(ledger, run.oven_id, run.ended_ms, false, fault);
    if (oven == NULL)
        return -1;
    for (size_t i = 0; i < oven->level_count && told == 0; i++)
        told = tell_level(ledger, oven, &oven->levels[i], run_id, unit, news, fault);
    health_free(oven);
    return told;
}
