// SPDX-License-Identifier: MIT
#include "soakledger/watch.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "notice.h"
#include "soakledger/company.h"
#include "soakledger/health.h"
#include "soakledger/import.h"
#include "soakledger/journal.h"
#include "soakledger/quantity.h"
#include "soakledger/replay.h"
#include "soakledger/run.h"
#include "soakledger/seal.h"
#include "soakledger/sensors.h"

/* A run judged against one visit of one batch. */
struct judging {
    struct ledger *ledger;
    int64_t run_id, batch_id, judgement_id;
    size_t visit;
    struct plan *plan;
    struct judge *judge;
    struct ledger_channel *channels;
    size_t channel_count;
    size_t made, stored; // findings; those that are stored already are not stored again
    const char *oven_name;
    enum temperature_unit unit;
    struct alert_desk *desk; // NULL for a run that is over: nobody can do anything about it
    struct notice *notice;
    bool is_further; // another batch of the same run is judged already
    bool failed;     // the sink cannot return a fault
    struct fault fault;
};

struct watch {
    struct ledger *ledger;
    const struct config *config;
    const struct config_oven *oven;
    struct alert_desk *desk;
    int64_t oven_id;
    int64_t heart_id; // the channel whose temperature tells whether a run is on: control, or the first load
    struct run_detector *detector;
    struct health_gatherer *gatherer; // NULL unless a run is on
    bool on, ended;
    int64_t run_id, begun_ms;
    int64_t last_ms;           // of any reading of this oven
    int64_t ending_ms;         // 0, or when the run that is on ended
    struct judging **judgings; // one a batch that the run serves; none while it is unclaimed
    size_t judging_count;
};

/* ---- judging ---- */

static const char *channel_name(const struct judging *judging, int64_t channel_id) {
    for (size_t i = 0; i < judging->channel_count; i++) {
        if (judging->channels[i].channel_id == channel_id)
            return judging->channels[i].name;
    }
    return NULL;
}

static enum journal_level finding_level(const struct finding *finding) {
    switch (finding->kind) {
    case FINDING_SOAK_BROKEN: return finding->value >= finding->limit ? JOURNAL_NOTICE : JOURNAL_WARNING;
    case FINDING_SOAK_BEGUN:
    case FINDING_SOAK_RESUMED:
    case FINDING_SOAK_FULFILLED:
    case FINDING_GAP_ENDED: return JOURNAL_NOTICE;
    default: return JOURNAL_WARNING;
    }
}

static void say_finding(const struct judging *judging, const struct finding *finding) {
    char words[FAULT_TEXT_BYTES], when[QUANTITY_TEXT_BYTES];

    judge_describe_finding(finding, judging->plan->operations[finding->operation].kind,
                           channel_name(judging, finding->channel_id), judging->unit, words, sizeof words);
    journal_write(finding_level(finding), "oven %s, run %lld, batch %lld: %s UTC: %s", judging->oven_name,
                  (long long)judging->run_id, (long long)judging->batch_id,
                  quantity_format_time(finding->t_ms, 0, when), words);
}

static void keep_finding(void *context, const struct finding *finding) {
    struct judging *judging = context;

    if (judging->notice != NULL)
        notice_take_finding(judging->notice, finding);
    if (judging->made++ < judging->stored || judging->failed)
        return;
    if (ledger_add_finding(judging->ledger, judging->judgement_id, finding, &judging->fault) < 0)
        judging->failed = true;
    else
        say_finding(judging, finding);
}

static int judging_check(const struct judging *judging, struct fault *fault) {
    if (!judging->failed)
        return 0;
    *fault = judging->fault;
    return -1;
}

static void judging_release(struct judging *judging) {
    notice_free(judging->notice);
    judge_free(judging->judge);
    ledger_free_channels(judging->channels, judging->channel_count);
    plan_free(judging->plan);
    *judging = (struct judging){0};
}

static void judging_free(struct judging *judging) {
    judging_release(judging);
    free(judging);
}

/* The judgement of that run for that batch: the one there is, or a new one. */
static int open_judgement(struct judging *judging, int64_t now_ms, struct fault *fault) {
    bool complete = false;
    struct finding *findings;

    judging->judgement_id = ledger_find_judgement(judging->ledger, judging->run_id, judging->batch_id,
                                                  judging->visit, &complete, fault);
    if (judging->judgement_id < 0)
        return -1;
    if (judging->judgement_id == 0) {
        judging->judgement_id = ledger_open_judgement(judging->ledger, judging->run_id, judging->batch_id,
                                                      judging->visit, now_ms, fault);
        return judging->judgement_id < 0 ? -1 : 0;
    }
    findings = ledger_list_findings(judging->ledger, judging->judgement_id, &judging->stored, fault);
    free(findings);
    return findings == NULL ? -1 : 0;
}

static int open_notice(struct judging *judging, struct fault *fault) {
    const struct notice_subject subject = {.desk = judging->desk,
                                           .oven_name = judging->oven_name,
                                           .run_id = judging->run_id,
                                           .batch_id = judging->batch_id,
                                           .is_further = judging->is_further,
                                           .unit = judging->unit,
                                           .plan = judging->plan,
                                           .visit = judging->visit,
                                           .judge = judging->judge,
                                           .channels = judging->channels,
                                           .channel_count = judging->channel_count};

    if (judging->desk == NULL)
        return 0;
    judging->notice = notice_open(&subject, fault);
    return judging->notice == NULL ? -1 : 0;
}

static int notice_replayed(void *context, const struct reading *reading, struct fault *fault) {
    struct judging *judging = context;

    (void)fault;
    if (judging->notice != NULL)
        notice_take_reading(judging->notice, reading);
    return 0;
}

/* Judges what is stored of `run` from its beginning until `until_ms`. On a fault nothing is left of `judging`. */
static int judging_open(struct judging *judging, struct ledger *ledger, const struct ledger_run *run,
                        int64_t until_ms, int64_t now_ms, struct fault *fault) {
    struct ledger_batch *batch = ledger_read_batch(ledger, run->batch_id, fault);

    judging->ledger = ledger;
    judging->run_id = run->run_id;
    judging->batch_id = run->batch_id;
    judging->visit = run->visit;
    if (batch == NULL)
        return -1;
    judging->plan = plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault);
    ledger_free_batch(batch);
    if (judging->plan == NULL)
        goto failed;
    judging->channels = import_list_run_channels(ledger, run, &judging->channel_count, fault);
    if (judging->channels == NULL || open_judgement(judging, now_ms, fault) != 0)
        goto failed;
    judging->judge = replay_open_judge(judging->plan, judging->visit, judging->channels, judging->channel_count,
                                       keep_finding, judging, fault);
    if (judging->judge == NULL || open_notice(judging, fault) != 0 ||
        replay_feed(ledger, judging->judge, judging->channels, judging->channel_count, run->begun_ms, until_ms,
                    notice_replayed, judging, fault) != 0)
        goto failed;
    if (judging_check(judging, fault) == 0) {
        if (judging->notice != NULL)
            notice_go_live(judging->notice);
        return 0;
    }
failed:
    judging_release(judging);
    return -1;
}

static int judging_close(struct judging *judging, int64_t ended_ms, struct fault *fault) {
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    size_t count;
    int result;

    if (judging->notice != NULL)
        notice_end(judging->notice, ended_ms, "the run is over");
    judge_end(judging->judge, ended_ms);
    count = judge_verdicts(judging->judge, verdicts);
    result = judging_check(judging, fault);
    if (result == 0)
        result = ledger_add_verdicts(judging->ledger, judging->judgement_id, verdicts, count, fault);
    if (result >= 0) {
        const enum outcome worst = judge_worst(verdicts, count);

        journal_write(worst == OUTCOME_MET ? JOURNAL_NOTICE : JOURNAL_WARNING, "oven %s, run %lld, batch %lld: %s",
                      judging->oven_name, (long long)judging->run_id, (long long)judging->batch_id,
                      judge_outcome_name(worst));
    }
    judging_release(judging);
    return result < 0 ? -1 : 0;
}

/* ---- batches ---- */

/* Would the run that is on be the next visit of that batch? One that had this run and gave it back does not get it
 * again. 1 with the visit, 0, -1. */
static int awaits_run(struct watch *watch, int64_t batch_id, size_t *visit, struct fault *fault) {
    const int had = ledger_had_run(watch->ledger, watch->run_id, batch_id, fault);
    struct ledger_batch *batch = had == 0 ? ledger_read_batch(watch->ledger, batch_id, fault) : NULL;
    struct plan *plan = NULL;
    int awaits = -1;

    if (batch == NULL)
        return had == 1 ? 0 : -1;
    plan = plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault);
    if (plan != NULL)
        awaits = replay_next_visit(watch->ledger, batch_id, plan, visit, fault);
    if (awaits == 1) {
        const char *place = plan_visit_soak(plan, *visit)->oven;

        awaits = *place == '\0' ? batch->oven_id == watch->oven_id : strcmp(place, watch->oven->name) == 0;
    }
    plan_free(plan);
    ledger_free_batch(batch);
    return awaits;
}

/* Claims the run that is on for those of `batches` that wait for it, up to `most` of them. Frees the list. */
static int claim_for(struct watch *watch, int64_t *batches, size_t count, size_t most, int64_t now_ms,
                     struct fault *fault) {
    int result = batches == NULL ? -1 : 0;
    size_t visit = 0;

    for (size_t i = 0; result == 0 && i < count && most > 0; i++) {
        const int awaits = awaits_run(watch, batches[i], &visit, fault);

        if (awaits == 1)
            result = ledger_claim_run(watch->ledger, watch->run_id, batches[i], visit, now_ms, "daemon", fault);
        else
            result = awaits;
        most -= awaits == 1;
    }
    free(batches);
    return result < 0 ? -1 : 0;
}

/* The oldest open batch that waits for a run of this oven takes it. */
static int claim_for_batch(struct watch *watch, int64_t now_ms, struct fault *fault) {
    size_t count = 0;
    int64_t *batches = ledger_list_batches(watch->ledger, true, &count, fault);

    return claim_for(watch, batches, count, 1, now_ms, fault);
}

/* So does every batch that keeps it company and waits for the same. */
static int claim_for_company(struct watch *watch, int64_t batch_id, int64_t now_ms, struct fault *fault) {
    size_t count = 0;
    int64_t *batches = company_list(watch->ledger, batch_id, &count, fault);

    return claim_for(watch, batches, count, count, now_ms, fault);
}

static bool is_judged_for(const struct judging *judging, const struct ledger_claim *claim) {
    return judging->batch_id == claim->batch_id && judging->visit == claim->visit;
}

/* Ends the judging for batches that the run serves no more. */
static void drop_judgings(struct watch *watch, const struct ledger_claim *claims, size_t count, int64_t now_ms) {
    size_t kept = 0;

    for (size_t i = 0; i < watch->judging_count; i++) {
        struct judging *judging = watch->judgings[i];
        bool holds = false;

        for (size_t k = 0; k < count; k++)
            holds |= is_judged_for(judging, &claims[k]);
        if (holds) {
            watch->judgings[kept++] = judging;
            continue;
        }
        if (judging->notice != NULL)
            notice_end(judging->notice, now_ms, "the run is not this batch's any more");
        judging_free(judging);
    }
    watch->judging_count = kept;
}

/* Judging for one more batch, from the run's beginning. */
static int add_judging(struct watch *watch, const struct ledger_run *run, const struct ledger_claim *claim,
                       int64_t now_ms, struct fault *fault) {
    struct ledger_run claimed = *run;
    // NOLINTNEXTLINE(bugprone-sizeof-expression): an array of pointers
    struct judging **more = realloc(watch->judgings, (watch->judging_count + 1) * sizeof *more);
    struct judging *judging = calloc(1, sizeof *judging);

    if (more != NULL)
        watch->judgings = more;
    if (more == NULL || judging == NULL) {
        free(judging);
        return fault_set(fault, EX_OSERR, "no memory to judge run %lld", (long long)run->run_id);
    }
    claimed.batch_id = claim->batch_id;
    claimed.visit = claim->visit;
    judging->desk = watch->desk;
    judging->oven_name = watch->oven->name;
    judging->unit = watch->config->unit;
    judging->is_further = watch->judging_count > 0;
    journal_write(JOURNAL_NOTICE, "oven %s, run %lld: is claimed for batch %lld", watch->oven->name,
                  (long long)run->run_id, (long long)claim->batch_id);
    if (judging_open(judging, watch->ledger, &claimed, watch->last_ms, now_ms, fault) != 0) {
        free(judging);
        return -1;
    }
    watch->judgings[watch->judging_count++] = judging;
    return 0;
}

/* Lets the run that is on be judged for every batch that it serves, as far as that is not done already. */
static int follow_claims(struct watch *watch, int64_t now_ms, struct fault *fault) {
    struct ledger_run run;
    struct ledger_claim *claims;
    size_t count = 0;
    int result = 0;

    if (ledger_read_run(watch->ledger, watch->run_id, &run, fault) != 1)
        return -1;
    claims = ledger_list_claims(watch->ledger, watch->run_id, &count, fault);
    if (claims == NULL)
        return -1;
    drop_judgings(watch, claims, count, now_ms);
    for (size_t k = 0; result == 0 && k < count; k++) {
        bool judged = false;

        for (size_t i = 0; i < watch->judging_count; i++)
            judged |= is_judged_for(watch->judgings[i], &claims[k]);
        if (!judged)
            result = add_judging(watch, &run, &claims[k], now_ms, fault);
    }
    free(claims);
    return result;
}

int watch_read_books(struct watch *watch, int64_t now_ms, struct fault *fault) {
    struct ledger_run run;

    if (!watch->on || watch->ending_ms != 0)
        return 0;
    if (ledger_read_run(watch->ledger, watch->run_id, &run, fault) != 1)
        return -1;
    if (run.batch_id == 0 && (claim_for_batch(watch, now_ms, fault) != 0 ||
                              ledger_read_run(watch->ledger, watch->run_id, &run, fault) != 1))
        return -1;
    if (run.batch_id != 0 && claim_for_company(watch, run.batch_id, now_ms, fault) != 0)
        return -1;
    return follow_claims(watch, now_ms, fault);
}

static int judge_late(struct ledger *ledger, const struct ledger_run *run, int64_t now_ms, struct fault *fault) {
    struct judging judging = {0};
    bool complete = false;
    const int64_t judgement_id =
        ledger_find_judgement(ledger, run->run_id, run->batch_id, run->visit, &complete, fault);
    char *oven_name;
    int result = -1;

    if (judgement_id < 0)
        return -1;
    if (complete)
        return 0;
    oven_name = ledger_oven_name(ledger, run->oven_id, fault);
    if (oven_name == NULL)
        return -1;
    judging.oven_name = oven_name;
    if (judging_open(&judging, ledger, run, run->ended_ms, now_ms, fault) == 0)
        result = judging_close(&judging, run->ended_ms, fault);
    free(oven_name);
    return result;
}

int watch_judge_claimed(struct ledger *ledger, int64_t now_ms, struct fault *fault) {
    size_t batch_count, run_count;
    int64_t *batches = ledger_list_batches(ledger, false, &batch_count, fault);
    int result = batches == NULL ? -1 : 0;

    for (size_t i = 0; result == 0 && i < batch_count; i++) {
        struct ledger_run *runs = ledger_list_claimed(ledger, batches[i], &run_count, fault);

        if (runs == NULL)
            result = -1;
        for (size_t k = 0; result == 0 && k < run_count; k++) {
            if (runs[k].ended_ms != 0)
                result = judge_late(ledger, &runs[k], now_ms, fault);
        }
        free(runs);
    }
    free(batches);
    return result;
}

/* ---- the oven ---- */

/* Whose temperature tells whether a run is on: control, else the first load, else the air of a cold place. */
static int64_t find_heart(const struct config *config, size_t oven, const int64_t *channel_ids) {
    static const enum channel_role hearts[] = {ROLE_CONTROL, ROLE_LOAD, ROLE_COLD};

    for (size_t h = 0; h < sizeof hearts / sizeof *hearts; h++) {
        for (size_t i = 0; i < config->channel_count; i++) {
            if (config->channels[i].oven == oven && config->channels[i].role == hearts[h])
                return channel_ids[i];
        }
    }
    return 0;
}

static int resume_run(struct watch *watch, struct fault *fault) {
    struct ledger_run run;
    const int found = ledger_find_open_run(watch->ledger, watch->oven_id, &run, fault);

    if (found <= 0)
        return found;
    watch->on = true;
    watch->run_id = run.run_id;
    watch->begun_ms = run.begun_ms;
    watch->last_ms = ledger_last_time(watch->ledger, fault);
    if (watch->last_ms < 0)
        return -1;
    run_resume(watch->detector, run.begun_ms, watch->last_ms);
    watch->gatherer = health_open_gatherer(watch->ledger, run.run_id, watch->last_ms, fault);
    if (watch->gatherer == NULL)
        return -1;
    return follow_claims(watch, watch->last_ms, fault);
}

struct watch *watch_open(struct ledger *ledger, const struct config *config, size_t oven, int64_t oven_id,
                         const int64_t *channel_ids, struct alert_desk *desk, struct fault *fault) {
    struct watch *watch = calloc(1, sizeof *watch);
    struct config_oven turned;

    if (watch == NULL) {
        fault_set(fault, EX_OSERR, "no memory to watch an oven");
        return NULL;
    }
    watch->ledger = ledger;
    watch->config = config;
    watch->oven = &config->ovens[oven];
    watch->desk = desk;
    watch->oven_id = oven_id;
    watch->heart_id = find_heart(config, oven, channel_ids);
    turned = *watch->oven;
    if (turned.is_cold)
        turned.ends_below_mc = -turned.ends_below_mc;
    watch->detector = run_open(&turned, fault);
    if (watch->detector == NULL || resume_run(watch, fault) != 0) {
        watch_free(watch);
        return NULL;
    }
    return watch;
}

void watch_free(struct watch *watch) {
    if (watch == NULL)
        return;
    for (size_t i = 0; i < watch->judging_count; i++)
        judging_free(watch->judgings[i]);
    free(watch->judgings);
    run_free(watch->detector);
    health_free_gatherer(watch->gatherer);
    free(watch);
}

/* A cold place is watched with every temperature turned over. */
static enum run_end end_reason(const struct watch *watch) {
    const enum run_end reason = run_end_reason(watch->detector);

    if (watch->oven->is_cold && reason == RUN_END_COOLING)
        return RUN_END_WARMING;
    return watch->oven->is_cold && reason == RUN_END_COLD ? RUN_END_WARM : reason;
}

/* The journal gets the seal too: a copy that is kept elsewhere. */
static int seal_closed(struct watch *watch, int64_t now_ms, struct fault *fault) {
    char words[SEAL_WORDS_BYTES];
    struct seal_head head;

    if (seal_run(watch->ledger, watch->run_id, SEAL_RUN, watch->oven->lead_ms, now_ms, &head, fault) != 0)
        return -1;
    journal_write(JOURNAL_NOTICE, "oven %s, run %lld: sealed: %s", watch->oven->name, (long long)watch->run_id,
                  seal_describe(&head, words));
    return 0;
}

static int close_judgings(struct watch *watch, int64_t ended_ms, struct fault *fault) {
    int result = 0;

    for (size_t i = 0; i < watch->judging_count; i++) {
        if (result == 0)
            result = judging_close(watch->judgings[i], ended_ms, fault);
        judging_free(watch->judgings[i]);
    }
    watch->judging_count = 0;
    return result;
}

/* What many runs together say of this oven's sensors is told when it is first known. */
static int tell_drift(struct watch *watch, int64_t ended_ms, struct fault *fault) {
    char subject[ALERT_SUBJECT_BYTES];
    struct health_news news;
    const int told = health_tell(watch->ledger, watch->run_id, watch->config->unit, &news, fault);

    if (told <= 0)
        return told;
    if (news.about_sensor)
        snprintf(subject, sizeof subject, "oven %.35s, %.35s", watch->oven->name, news.channel);
    else
        snprintf(subject, sizeof subject, "oven %.70s", watch->oven->name);
    alert_raise(watch->desk, ALERT_DRIFT, subject, ended_ms, news.words);
    return 0;
}

static int keep_facts(struct watch *watch, int64_t ended_ms, struct fault *fault) {
    struct health_facts facts = {0};
    int result = health_end_gathering(watch->gatherer, &facts, fault);

    if (result == 0)
        result = health_keep_facts(watch->ledger, &facts, fault);
    health_free_facts(&facts);
    health_free_gatherer(watch->gatherer);
    watch->gatherer = NULL;
    return result == 0 ? tell_drift(watch, ended_ms, fault) : -1;
}

static int close_run(struct watch *watch, int64_t ended_ms, int64_t now_ms, struct fault *fault) {
    const enum run_end reason = end_reason(watch);

    if (ledger_end_run(watch->ledger, watch->run_id, ended_ms, reason, fault) != 0)
        return -1;
    journal_write(JOURNAL_NOTICE, "oven %s, run %lld: ended (%s)", watch->oven->name, (long long)watch->run_id,
                  run_end_name(reason));
    watch->on = false;
    watch->ended = true;
    watch->ending_ms = 0;
    if (sensors_count_run(watch->ledger, watch->run_id, fault) < 0 || keep_facts(watch, ended_ms, fault) != 0 ||
        close_judgings(watch, ended_ms, fault) != 0)
        return -1;
    return seal_closed(watch, now_ms, fault);
}

bool watch_take_ended(struct watch *watch) {
    const bool ended = watch->ended;

    watch->ended = false;
    return ended;
}

int watch_settle(struct watch *watch, int64_t t_ms, struct fault *fault) {
    if (watch->ending_ms == 0 || t_ms <= watch->ending_ms)
        return 0;
    return close_run(watch, watch->ending_ms, t_ms, fault);
}

/* A run ends with all readings of its last moment. One that nobody watched for long ends where it was last seen. */
static int end_run(struct watch *watch, const struct reading *reading, struct fault *fault) {
    if (run_end_reason(watch->detector) == RUN_END_SILENT &&
        reading->t_ms - watch->last_ms >= watch->oven->silent_after_ms)
        return close_run(watch, watch->last_ms, reading->t_ms, fault);
    watch->ending_ms = reading->t_ms;
    return 0;
}

int watch_see(struct watch *watch, enum channel_role role, const struct reading *reading, enum watch_change *change,
              struct fault *fault) {
    enum run_change run = RUN_SAME;
    struct reading turned = *reading;

    if (watch_settle(watch, reading->t_ms, fault) != 0)
        return -1;
    if (watch->oven->is_cold) {
        turned.value = -turned.value;
        role = reading->channel_id == watch->heart_id ? ROLE_CONTROL : ROLE_AMBIENT;
    }
    if (reading->channel_id == watch->heart_id || role == ROLE_SETPOINT || role == ROLE_OUTPUT)
        run = run_feed(watch->detector, role, &turned);
    if (run == RUN_ENDED && watch->on && end_run(watch, reading, fault) != 0)
        return -1;
    *change = watch->on ? WATCH_RUN : WATCH_IDLE;
    if (run == RUN_BEGUN && !watch->on) {
        watch->begun_ms = run_begun_ms(watch->detector);
        *change = WATCH_BEGUN;
    }
    watch->last_ms = reading->t_ms;
    return 0;
}

bool watch_is_on(const struct watch *watch) {
    return watch->on;
}

int64_t watch_begun_ms(const struct watch *watch) {
    return watch->begun_ms;
}

int watch_begin(struct watch *watch, int64_t now_ms, struct fault *fault) {
    char when[QUANTITY_TEXT_BYTES];

    watch->run_id = ledger_open_run(watch->ledger, watch->oven_id, watch->begun_ms, fault);
    if (watch->run_id < 0)
        return -1;
    watch->on = true;
    journal_write(JOURNAL_NOTICE, "oven %s, run %lld: began at %s UTC", watch->oven->name, (long long)watch->run_id,
                  quantity_format_time(watch->begun_ms, 0, when));
    watch->gatherer = health_open_gatherer(watch->ledger, watch->run_id, now_ms, fault);
    if (watch->gatherer == NULL)
        return -1;
    return watch_read_books(watch, now_ms, fault);
}

int watch_judge(struct watch *watch, const struct reading *reading, struct fault *fault) {
    if (watch->gatherer != NULL && health_gather(watch->gatherer, reading, fault) != 0)
        return -1;
    for (size_t i = 0; i < watch->judging_count; i++) {
        struct judging *judging = watch->judgings[i];
        struct reading corrected = *reading;

        replay_correct(judging->channels, judging->channel_count, &corrected);
        judge_feed(judging->judge, &corrected);
        notice_take_reading(judging->notice, &corrected);
        if (judging_check(judging, fault) != 0)
            return -1;
    }
    return 0;
}
