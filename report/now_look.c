// SPDX-License-Identifier: MIT
/* What the ledger says of this moment. Nothing here scans a run: findings are those that the daemon stored. */
#include <stdlib.h>
#include <string.h>

#include "now_parts.h"
#include "soakledger/clock.h"
#include "soakledger/replay.h"

enum {
    IDLE_CURVE_MS = 8 * 3600000, // of an oven that is off: a working day
    LATE_MS = 2000,              // stored within a second, and a moment to be read
    IDLE_DEFAULT_MS = 60000,
    FORECAST_PAST_MS = 20 * 60000, // enough for two slopes and what bends between them
    FORECAST_READINGS = 4000,
};

/* ---- time ---- */

static int now_read_page(struct now_look *look, const char *path, struct fault *fault) {
    struct clock *clock = clock_open_simulated(path, NULL, fault);

    if (clock == NULL)
        return -1;
    look->now_ms = clock_read_ms(clock);
    clock_close(clock);
    return 0;
}

/* The timeline goes on from the last session as long as the machine was not started anew: a wall clock that was
 * put forward makes no reading older. */
static int now_read_clock(struct now_look *look, const struct ledger_session *session, struct fault *fault) {
    struct clock *clock = clock_open_real(fault);
    char boot_id[CLOCK_BOOT_ID_BYTES];

    if (clock == NULL)
        return -1;
    clock_read_boot_id(clock, boot_id);
    look->now_ms = clock_read_ms(clock);
    if (look->has_session && strcmp(boot_id, session->boot_id) == 0)
        look->now_ms = session->started_ms + clock_boottime_ms(clock) - session->boottime_ms;
    else
        look->rebooted = look->has_session;
    clock_close(clock);
    return 0;
}

static int now_find_time(struct now_look *look, struct ledger *ledger, const struct config *config,
                         struct fault *fault) {
    struct ledger_session session = {0};
    const int found = ledger_last_session(ledger, &session, fault);
    struct fault gone;

    if (found < 0)
        return -1;
    look->has_session = found == 1;
    look->simulated = found == 1 && session.simulated;
    if (config->clock_page != NULL && now_read_page(look, config->clock_page, &gone) == 0)
        return 0;
    if (!look->simulated)
        return now_read_clock(look, &session, fault);
    look->now_ms = ledger_last_time(ledger, fault); // its clock is gone: time stands where it was
    return look->now_ms < 0 ? -1 : 0;
}

/* ---- batches ---- */

static void now_read_findings(struct now_batch *batch) {
    const struct plan_operation *soak = plan_visit_soak(batch->plan, batch->visit);

    for (size_t i = 0; i < batch->finding_count; i++) {
        const struct finding *finding = &batch->findings[i];

        if (&batch->plan->operations[finding->operation] != soak)
            continue;
        switch (finding->kind) {
        case FINDING_SOAK_BEGUN:
        case FINDING_SOAK_RESUMED: batch->in_since_ms = finding->t_ms; break;
        case FINDING_SOAK_BROKEN:
            batch->in_since_ms = 0;
            batch->broken_ms = finding->t_ms;
            break;
        case FINDING_SOAK_FULFILLED: batch->fulfilled_ms = finding->t_ms; break;
        case FINDING_SOAK_EXCEEDED: batch->exceeded = true; break;
        default: break;
        }
    }
}

bool now_is_charge(const struct now_oven *oven, size_t channel) {
    static const enum channel_role charges[] = {ROLE_LOAD, ROLE_CONTROL, ROLE_COLD};

    for (size_t r = 0; r < sizeof charges / sizeof charges[0]; r++)
        for (size_t i = 0; i < oven->channel_count; i++)
            if (oven->channels[i].role == charges[r])
                return oven->channels[channel].role == charges[r];
    return false;
}

static void now_ignore_finding(void *context, const struct finding *finding) {
    (void)context, (void)finding;
}

/* Which channels the judge takes for the charge: it is asked, not guessed. Caller frees. */
static int64_t *now_list_loads(const struct now_oven *oven, const struct now_batch *batch, size_t *count,
                               struct fault *fault) {
    struct judge *judge = replay_open_judge(batch->plan, batch->visit, oven->channels, oven->channel_count,
                                            now_ignore_finding, NULL, fault);
    int64_t *ids = judge != NULL ? calloc(judge_count_loads(judge) + 1, sizeof *ids) : NULL;

    *count = 0;
    if (judge != NULL && ids == NULL)
        fault_set(fault, EX_OSERR, "not enough memory for the channels of an oven");
    for (size_t i = 0; ids != NULL && i < judge_count_loads(judge); i++)
        ids[(*count)++] = judge_load_id(judge, i);
    judge_free(judge);
    return ids;
}

static int now_feed(struct ledger *ledger, const struct now_oven *oven, struct forecast *forecast,
                    const int64_t *loads, size_t count, int64_t from_ms, int64_t to_ms, struct fault *fault) {
    struct ledger_cursor *cursor = ledger_open_cursor(ledger, loads, count, from_ms, to_ms, fault);
    struct reading reading;
    int more = cursor == NULL ? -1 : 1;

    while (more == 1 && (more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        replay_correct(oven->channels, oven->channel_count, &reading);
        if (reading.quality == QUALITY_GOOD)
            forecast_feed(forecast, &reading);
    }
    ledger_close_cursor(cursor);
    return more;
}

/* What is coming, from the last minutes alone: as long as the charge is not in the band for longer than these. */
static int now_look_ahead(struct ledger *ledger, const struct now_oven *oven, struct now_batch *batch,
                          const int64_t *loads, size_t count, struct fault *fault) {
    const struct plan_operation *soak = plan_visit_soak(batch->plan, batch->visit);
    struct forecast_limits limits = {.edge_mc = soak->temperature_mc - soak->below_mc,
                                     .temperature_mc = soak->temperature_mc,
                                     .overshoot_limit_mc = soak->temperature_mc + soak->overshoot_at_most.value,
                                     .required_ms = soak->time_at_least_ms + batch->plan->lag_allowance_ms};
    struct forecast *forecast;
    int64_t past_ms = FORECAST_PAST_MS;
    int result;

    for (size_t i = 0; i < oven->channel_count; i++)
        for (size_t k = 0; k < count; k++)
            if (oven->channels[i].channel_id == loads[k] && oven->channels[i].interval_ms > limits.interval_ms)
                limits.interval_ms = oven->channels[i].interval_ms;
    if (soak->kind == OPERATION_COLD || count == 0 || limits.interval_ms == 0)
        return 0;
    if (past_ms / limits.interval_ms * (int64_t)count > FORECAST_READINGS)
        past_ms = FORECAST_READINGS * limits.interval_ms / (int64_t)count;
    forecast = forecast_open(&limits, fault);
    if (forecast == NULL)
        return -1;
    result = now_feed(ledger, oven, forecast, loads, count,
                      batch->seen_ms - past_ms > oven->run.begun_ms ? batch->seen_ms - past_ms : oven->run.begun_ms,
                      batch->seen_ms, fault);
    if (result == 0) {
        forecast_read(forecast, batch->seen_ms, &batch->outlook);
        batch->has_outlook = true;
    }
    forecast_free(forecast);
    return result;
}

static void now_see_loads(const struct now_oven *oven, struct now_batch *batch, const int64_t *loads,
                          size_t count) {
    batch->all_seen_ms = INT64_MAX;
    for (size_t i = 0; i < oven->channel_count; i++)
        for (size_t k = 0; k < count; k++) {
            const struct now_latest *latest = &oven->latest[i];
            const int64_t t_ms = latest->known ? latest->reading.t_ms : 0;

            if (oven->channels[i].channel_id != loads[k])
                continue;
            batch->seen_ms = t_ms > batch->seen_ms ? t_ms : batch->seen_ms;
            batch->all_seen_ms = t_ms < batch->all_seen_ms ? t_ms : batch->all_seen_ms;
            batch->load_is_missing |= latest->stale || latest->reading.quality != QUALITY_GOOD;
        }
}

static int now_read_batch(struct ledger *ledger, const struct now_oven *oven, const struct ledger_claim *claim,
                          struct now_batch *batch, struct fault *fault) {
    bool complete = false;
    int64_t judgement_id, *loads;
    size_t count = 0;
    int result;

    batch->visit = claim->visit;
    batch->batch = ledger_read_batch(ledger, claim->batch_id, fault);
    if (batch->batch == NULL)
        return -1;
    batch->plan = plan_parse(batch->batch->plan_text, batch->batch->plan_length, batch->batch->plan_name, fault);
    if (batch->plan == NULL)
        return -1;
    if (batch->visit >= batch->plan->visit_count)
        return fault_set(fault, EX_DATAERR, "run %lld is claimed for visit %zu of batch %lld, which has %zu",
                         (long long)oven->run.run_id, batch->visit + 1, (long long)claim->batch_id,
                         batch->plan->visit_count);
    judgement_id = ledger_find_judgement(ledger, oven->run.run_id, claim->batch_id, claim->visit, &complete, fault);
    if (judgement_id < 0)
        return -1;
    if (judgement_id > 0) {
        batch->findings = ledger_list_findings(ledger, judgement_id, &batch->finding_count, fault);
        if (batch->findings == NULL)
            return -1;
    }
    now_read_findings(batch);
    loads = now_list_loads(oven, batch, &count, fault);
    if (loads == NULL)
        return -1;
    now_see_loads(oven, batch, loads, count);
    result = batch->seen_ms > 0 ? now_look_ahead(ledger, oven, batch, loads, count, fault) : 0;
    free(loads);
    return result;
}

static int now_read_batches(struct ledger *ledger, struct now_oven *oven, struct fault *fault) {
    size_t count = 0;
    struct ledger_claim *claims = ledger_list_claims(ledger, oven->run.run_id, &count, fault);
    int result = claims == NULL ? -1 : 0;

    if (result == 0) {
        oven->batches = calloc(count + 1, sizeof *oven->batches);
        if (oven->batches == NULL)
            result = fault_set(fault, EX_OSERR, "not enough memory for %zu batches", count);
    }
    for (size_t i = 0; result == 0 && i < count; i++)
        result = now_read_batch(ledger, oven, &claims[i], &oven->batches[oven->batch_count++], fault);
    free(claims);
    return result;
}

/* The oldest open batch whose next visit is in this oven. */
static int now_find_waiting(struct ledger *ledger, struct now_oven *oven, struct fault *fault) {
    size_t count = 0, visit = 0;
    int64_t *ids = ledger_list_batches(ledger, true, &count, fault);
    int result = ids == NULL ? -1 : 0;

    for (size_t i = 0; result == 0 && oven->waits_id == 0 && i < count; i++) {
        struct ledger_batch *batch = ledger_read_batch(ledger, ids[i], fault);
        struct plan *plan =
            batch != NULL ? plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault) : NULL;
        int waits = plan != NULL ? replay_next_visit(ledger, ids[i], plan, &visit, fault) : -1;

        if (waits == 1) {
            const char *place = plan_visit_soak(plan, visit)->oven;

            if (place[0] == '\0' ? batch->oven_id == oven->oven.oven_id : strcmp(place, oven->oven.name) == 0) {
                oven->waits_id = ids[i];
                oven->waits_for = strdup(batch->charge);
                waits = oven->waits_for != NULL ? 0 : fault_set(fault, EX_OSERR, "not enough memory");
            }
        }
        result = waits < 0 ? -1 : 0;
        plan_free(plan);
        ledger_free_batch(batch);
    }
    free(ids);
    return result;
}

/* ---- ovens ---- */

static int64_t now_idle_interval(const struct config *config, const char *oven) {
    for (size_t i = 0; i < config->oven_count; i++)
        if (strcmp(config->ovens[i].name, oven) == 0)
            return config->ovens[i].idle_interval_ms;
    return IDLE_DEFAULT_MS;
}

static int now_read_channels(struct ledger *ledger, const struct now_look *look, const struct config *config,
                             struct now_oven *oven, struct fault *fault) {
    const int64_t idle_ms = oven->on ? 0 : now_idle_interval(config, oven->oven.name);

    oven->channels = ledger_list_channels(ledger, oven->oven.oven_id, INT64_MAX, &oven->channel_count, fault);
    if (oven->channels == NULL)
        return -1;
    oven->latest = calloc(oven->channel_count + 1, sizeof *oven->latest);
    if (oven->latest == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for %zu channels", oven->channel_count);
    for (size_t i = 0; i < oven->channel_count; i++) {
        struct now_latest *latest = &oven->latest[i];
        const int found = glance_read_latest(ledger, oven->channels[i].channel_id, &latest->reading, fault);

        if (found < 0)
            return -1;
        if (found == 1)
            replay_correct(oven->channels, oven->channel_count, &latest->reading);
        latest->known = found == 1;
        latest->stale =
            !latest->known || look->now_ms - latest->reading.t_ms >
                                  idle_ms + JUDGE_GAP_INTERVALS * oven->channels[i].interval_ms + LATE_MS;
    }
    return 0;
}

static int now_read_oven(struct ledger *ledger, const struct now_look *look, const struct config *config,
                         struct now_oven *oven, struct fault *fault) {
    int found = ledger_find_open_run(ledger, oven->oven.oven_id, &oven->run, fault);

    oven->on = found == 1;
    if (found == 0) {
        found = glance_read_last_run(ledger, oven->oven.oven_id, &oven->run, fault);
        oven->had_run = found == 1;
    }
    if (found < 0 || now_read_channels(ledger, look, config, oven, fault) != 0)
        return -1;
    oven->from_ms = oven->on ? oven->run.begun_ms : look->now_ms - IDLE_CURVE_MS;
    return oven->on ? now_read_batches(ledger, oven, fault) : now_find_waiting(ledger, oven, fault);
}

static int now_read_ovens(struct now_look *look, struct ledger *ledger, const struct config *config,
                          struct fault *fault) {
    size_t count = 0;
    struct glance_oven *ovens = glance_list_ovens(ledger, &count, fault);
    int result = ovens == NULL ? -1 : 0;

    if (result == 0) {
        look->ovens = calloc(count + 1, sizeof *look->ovens);
        if (look->ovens == NULL)
            result = fault_set(fault, EX_OSERR, "not enough memory for %zu ovens", count);
    }
    for (size_t i = 0; result == 0 && look->ovens != NULL && i < count; i++) {
        struct now_oven *oven = &look->ovens[look->oven_count++];

        oven->oven = ovens[i];
        result = now_read_oven(ledger, look, config, oven, fault);
    }
    free(ovens);
    return result;
}

struct now_look *now_look_up(struct ledger *ledger, const struct config *config, struct fault *fault) {
    struct now_look *look = calloc(1, sizeof *look);
    int found;

    if (look == NULL) {
        fault_set(fault, EX_OSERR, "not enough memory");
        return NULL;
    }
    look->daemon = glance_find_daemon(ledger);
    found = now_find_time(look, ledger, config, fault);
    if (found == 0) {
        found = glance_read_last_event(ledger, &look->last_event, fault);
        look->has_event = found == 1;
    }
    if (found < 0 || now_read_ovens(look, ledger, config, fault) != 0) {
        now_free(look);
        return NULL;
    }
    return look;
}

void now_free(struct now_look *look) {
    if (look == NULL)
        return;
    for (size_t i = 0; i < look->oven_count; i++) {
        struct now_oven *oven = &look->ovens[i];

        for (size_t k = 0; k < oven->batch_count; k++) {
            ledger_free_batch(oven->batches[k].batch);
            plan_free(oven->batches[k].plan);
            free(oven->batches[k].findings);
        }
        free(oven->batches);
        free(oven->latest);
        free(oven->waits_for);
        ledger_free_channels(oven->channels, oven->channel_count);
    }
    free(look->ovens);
    free(look);
}
