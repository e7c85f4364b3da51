// SPDX-License-Identifier: MIT
/* judge: what must hold of any run, over random runs with faults. The seed is printed; SOAKLEDGER_SEED chooses it.
 *
 * On losing readings. A limit that was broken may well look kept once readings are missing, since the judge draws a
 * straight line between readings that are up to three intervals apart. What does hold, where the oven keeps to the
 * bound that is known of its warming:
 *
 * - A hole of more than three intervals, made by losing every reading of a channel for a while (but for the run's
 *   first, with which time begins), never turns "not met" into "met" for a soak time at least, a soak time at most
 * or an overshoot; nor for a ramp, unless both ends of the hole are below or both above the stated temperatures.
 * - Thinning all channels until their readings are more than three intervals apart leaves nothing that is met; but
 *   where a bound is known, it may still show that no soak was too long and nothing too hot.
 *   One reading is enough for the load at the start.
 * - A spread is of the longest proven stretch, and a hole may make another one the longest; a hold is what came
 *   before the first proven moment of the soak, and a hole may make that a later one; the load at the start is the
 *   first reading, and a hole may make that another one. Of such holes nothing is claimed. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/replay.h"
#include "support/ledger_fixture.h"
#include "support/virtual_run.h"

enum {
    RUNS = 300,
    RUNS_SANITIZED = 60,
    RUNS_REPLAYED = 24,
    LOSSES_A_RUN = 6,
    LOOKS_A_RUN = 40,
    DAY_MS = 86400000,
    HOUR_MS = 3600000,
    MINUTE_MS = 60000,
    PLAN_NAME_BYTES = 32,
};
#define FIRST_SEED UINT64_C(77000000)

/* ---- one answer ---- */

struct answer {
    size_t verdict_count;
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    struct judge_soak soak;
    size_t finding_count, finding_room;
    struct finding *findings;
};

static void keep_finding(void *context, const struct finding *finding) {
    struct answer *answer = context;

    if (answer->finding_count == answer->finding_room) {
        answer->finding_room = answer->finding_room == 0 ? 16 : 2 * answer->finding_room;
        answer->findings = realloc(answer->findings, answer->finding_room * sizeof *answer->findings);
        assert_non_null(answer->findings);
    }
    answer->findings[answer->finding_count++] = *finding;
}

static void release(struct answer *answer) {
    free(answer->findings);
    answer->findings = NULL;
}

static void conclude(struct judge *judge, int64_t end_ms, struct answer *answer) {
    judge_end(judge, end_ms);
    answer->verdict_count = judge_verdicts(judge, answer->verdicts);
    judge_read_soak(judge, &answer->soak);
    judge_free(judge);
}

static struct plan *plan_of(const struct virtual_run *run) {
    char name[PLAN_NAME_BYTES];
    struct fault fault;
    struct plan *plan;

    snprintf(name, sizeof name, "seed %llu", (unsigned long long)run->seed);
    plan = plan_parse(run->plan, strlen(run->plan), name, &fault);
    if (plan == NULL)
        fail_msg("%s", fault.text);
    return plan;
}

static struct judge *open_judge(const struct virtual_run *run, const struct plan *plan, struct answer *answer) {
    struct fault fault;
    struct judge *judge;

    memset(answer, 0, sizeof *answer);
    judge = judge_open(plan, run->visit, run->channels, run->channel_count, keep_finding, answer, &fault);
    assert_non_null(judge);
    return judge;
}

static void answer_for(const struct virtual_run *run, const struct plan *plan, struct answer *answer) {
    struct judge *judge = open_judge(run, plan, answer);

    for (size_t i = 0; i < run->reading_count; i++)
        judge_feed(judge, &run->readings[i]);
    conclude(judge, run->end_ms, answer);
}

static int64_t back(int64_t t_ms, int64_t shift_ms) {
    return t_ms == 0 ? 0 : t_ms - shift_ms;
}

static void equal_verdicts(const struct answer *one, const struct answer *other, int64_t shift_ms, uint64_t seed) {
    assert_int_equal(one->verdict_count, other->verdict_count);
    for (size_t i = 0; i < one->verdict_count; i++) {
        const struct verdict *a = &one->verdicts[i], *b = &other->verdicts[i];

        if (a->outcome != b->outcome || a->reason != b->reason || a->required != b->required ||
            a->found_known != b->found_known || (a->found_known && a->found != b->found) ||
            a->possible != b->possible || a->t_ms != back(b->t_ms, shift_ms) || a->operation != b->operation)
            fail_msg("seed %llu: %s: %s, %lld; the other time %s, %lld", (unsigned long long)seed,
                     judge_requirement_name(a->requirement), judge_outcome_name(a->outcome), (long long)a->found,
                     judge_outcome_name(b->outcome), (long long)b->found);
    }
}

static void equal_soaks(const struct judge_soak *a, const struct judge_soak *b, int64_t shift_ms) {
    assert_int_equal(a->first_begun_ms, back(b->first_begun_ms, shift_ms));
    assert_int_equal(a->longest_begun_ms, back(b->longest_begun_ms, shift_ms));
    assert_int_equal(a->longest_ended_ms, back(b->longest_ended_ms, shift_ms));
    assert_int_equal(a->last_ended_ms, back(b->last_ended_ms, shift_ms));
    assert_int_equal(a->total_in_ms, b->total_in_ms);
    assert_int_equal(a->possible_longest_ms, b->possible_longest_ms);
    assert_int_equal(a->stretch_count, b->stretch_count);
    assert_int_equal(a->breaks, b->breaks);
    assert_int_equal(a->peak_mc, b->peak_mc);
    assert_int_equal(a->peak_t_ms, back(b->peak_t_ms, shift_ms));
    assert_int_equal(a->gap_count, b->gap_count);
    assert_int_equal(a->gap_total_ms, b->gap_total_ms);
}

/* `other` may be of readings `shift_ms` later and of channels with other numbers. */
static void equal_answers(const struct answer *one, const struct answer *other, int64_t shift_ms, uint64_t seed) {
    equal_verdicts(one, other, shift_ms, seed);
    equal_soaks(&one->soak, &other->soak, shift_ms);
    assert_int_equal(one->finding_count, other->finding_count);
    for (size_t i = 0; i < one->finding_count; i++) {
        struct finding moved = other->findings[i];

        moved.t_ms -= shift_ms;
        moved.channel_id = one->findings[i].channel_id;
        assert_true(judge_findings_equal(&one->findings[i], &moved));
    }
}

static size_t runs_for(size_t share) {
    const char *build = getenv("SOAKLEDGER_BUILD");

    return (build != NULL && strstr(build, "asan") != NULL ? RUNS_SANITIZED : RUNS) / share;
}

static uint64_t first_seed(void) {
    const char *text = getenv("SOAKLEDGER_SEED");

    return text != NULL ? strtoull(text, NULL, 10) : FIRST_SEED;
}

/* Calls `check` for run after run. */
static void for_each_run(size_t share, void check(struct virtual_run *run, const struct plan *plan)) {
    const uint64_t seed = first_seed();
    const size_t runs = runs_for(share);

    print_message("seeds %llu to %llu\n", (unsigned long long)seed, (unsigned long long)(seed + runs - 1));
    for (size_t i = 0; i < runs; i++) {
        struct virtual_run run;
        struct plan *plan;

        virtual_run_make(&run, seed + i);
        plan = plan_of(&run);
        check(&run, plan);
        plan_free(plan);
        virtual_run_release(&run);
    }
}

/* ---- what changes nothing ---- */

static void shift_it(struct virtual_run *run, const struct plan *plan) {
    const int64_t shift_ms = virtual_between(&run->state, 1, 400 * (int64_t)DAY_MS);
    struct answer one, other;

    answer_for(run, plan, &one);
    for (size_t i = 0; i < run->reading_count; i++)
        run->readings[i].t_ms += shift_ms;
    run->end_ms += shift_ms;
    answer_for(run, plan, &other);
    equal_answers(&one, &other, shift_ms, run->seed);
    release(&one);
    release(&other);
}

static void shifting_time_changes_nothing(void **state) {
    (void)state;
    for_each_run(1, shift_it);
}

/* Any reading may come again, any number of times, with any value: the first one of its time holds. */
static void repeat_it(struct virtual_run *run, const struct plan *plan) {
    struct answer one, other;
    struct judge *judge;

    answer_for(run, plan, &one);
    judge = open_judge(run, plan, &other);
    for (size_t i = 0; i < run->reading_count; i++) {
        judge_feed(judge, &run->readings[i]);
        for (int64_t n = virtual_between(&run->state, -3, 2); n > 0; n--) {
            struct reading again = run->readings[i];

            again.quality = (enum quality)virtual_between(&run->state, 0, QUALITY_COUNT - 1);
            again.value = again.quality == QUALITY_GOOD ? virtual_between(&run->state, 0, 1200000) : 0;
            judge_feed(judge, &again);
        }
    }
    conclude(judge, run->end_ms, &other);
    equal_answers(&one, &other, 0, run->seed);
    release(&one);
    release(&other);
}

static void repeated_readings_change_nothing(void **state) {
    (void)state;
    for_each_run(1, repeat_it);
}

/* A thousandth of a degree F is finer than one of a degree C, so that there and back is exact. */
static void say_it_in_fahrenheit(struct virtual_run *run, const struct plan *plan) {
    static const struct channel_fitting fitting = {.function = 3,
                                                   .encoding = ENCODING_INT32,
                                                   .decimals = 3,
                                                   .unit = CHANNEL_FAHRENHEIT,
                                                   .low = -200000,
                                                   .high = 2000000};
    struct answer one, other;

    answer_for(run, plan, &one);
    for (size_t i = 0; i < run->reading_count; i++) {
        struct reading *reading = &run->readings[i];
        const uint32_t raw = (uint32_t)quantity_fahrenheit_from_celsius(reading->value);
        const uint16_t registers[] = {(uint16_t)(raw >> 16), (uint16_t)(raw & UINT16_MAX)};

        if (reading->quality == QUALITY_GOOD)
            channel_decode(&fitting, registers, reading);
        assert_true(reading->quality != QUALITY_OVER_RANGE || reading->value == 0);
    }
    answer_for(run, plan, &other);
    equal_answers(&one, &other, 0, run->seed);
    release(&one);
    release(&other);
}

static void a_controller_that_speaks_fahrenheit_changes_nothing(void **state) {
    (void)state;
    for_each_run(1, say_it_in_fahrenheit);
}

/* Tenths of a degree F, as most controllers have: every value is off by half a tenth at most, 28 mC, and so is an
 * overshoot; its verdict is another one only within that of the limit. */
static void say_it_in_tenths(struct virtual_run *run, const struct plan *plan) {
    enum { TENTH = 100, WITHIN_MC = 29, INT16_TENTHS_MOST_MC = 1800000 };
    static const struct channel_fitting fitting = {
        .function = 4, .encoding = ENCODING_INT16, .decimals = 1, .unit = CHANNEL_FAHRENHEIT, .high = 3000000};
    struct answer one, other;

    for (size_t i = 0; i < run->channel_count; i++)
        run->channels[i].heats_at_most_mc_per_h = 0;
    answer_for(run, plan, &one);
    for (size_t i = 0; i < run->reading_count; i++) {
        struct reading *reading = &run->readings[i];
        const int64_t f = quantity_fahrenheit_from_celsius(reading->value);
        const uint16_t raw = (uint16_t)(int16_t)((f + TENTH / 2) / TENTH);

        assert_true(reading->value < INT16_TENTHS_MOST_MC);
        if (reading->quality == QUALITY_GOOD)
            channel_decode(&fitting, &raw, reading);
    }
    answer_for(run, plan, &other);
    for (size_t i = 0; i < one.verdict_count; i++) {
        const struct verdict *a = &one.verdicts[i], *b = &other.verdicts[i];

        if (a->requirement != REQUIREMENT_OVERSHOOT || !a->found_known || !b->found_known)
            continue;
        assert_in_range(a->found - b->found + WITHIN_MC, 0, 2 * WITHIN_MC);
        if (a->outcome != b->outcome && llabs(a->margin) > WITHIN_MC) // else a channel only touched B
            assert_true(a->reason == REASON_NOT_REACHED || b->reason == REASON_NOT_REACHED);
    }
    release(&one);
    release(&other);
}

static void tenths_of_fahrenheit_move_an_overshoot_by_no_more_than_their_rounding(void **state) {
    (void)state;
    for_each_run(2, say_it_in_tenths);
}

/* ---- stored and replayed ---- */

static void store(struct ledger *ledger, const struct virtual_run *run, const struct ledger_channel *channels,
                  int64_t shift_ms) {
    struct fault fault;

    assert_int_equal(ledger_begin(ledger, &fault), 0);
    for (size_t i = 0; i < run->reading_count; i++) {
        struct reading reading = run->readings[i];

        for (size_t c = 0; c < run->channel_count; c++) {
            if (run->channels[c].channel_id == run->readings[i].channel_id)
                reading.channel_id = channels[c].channel_id;
        }
        reading.t_ms += shift_ms;
        if (ledger_add_reading(ledger, &reading, &fault) < 0)
            fail_msg("%s", fault.text);
    }
    assert_int_equal(ledger_commit(ledger, &fault), 0);
}

static void replay_run(struct ledger_fixture *fixture, const struct virtual_run *run, int64_t shift_ms) {
    struct ledger_channel channels[VIRTUAL_MOST_CHANNELS] = {0};
    struct answer live, replayed = {0};
    struct plan *plan = plan_of(run);
    struct fault fault;
    struct judge *judge;

    assert_true(run->channel_count <= fixture->config->channel_count);
    for (size_t i = 0; i < run->channel_count; i++)
        channels[i] = (struct ledger_channel){.channel_id = fixture->channel_ids[i],
                                              .oven_id = fixture->oven_ids[0],
                                              .name = (char *)run->channels[i].name,
                                              .role = run->channels[i].role,
                                              .interval_ms = run->channels[i].interval_ms,
                                              .heats_at_most_mc_per_h = run->channels[i].heats_at_most_mc_per_h,
                                              .uncertainty_mc = run->channels[i].uncertainty_mc};
    store(fixture->ledger, run, channels, shift_ms);
    answer_for(run, plan, &live);
    judge = replay_open_judge(plan, run->visit, channels, run->channel_count, keep_finding, &replayed, &fault);
    assert_non_null(judge);
    if (replay_feed(fixture->ledger, judge, channels, run->channel_count, run->begin_ms + shift_ms,
                    run->end_ms + shift_ms, NULL, NULL, &fault) != 0)
        fail_msg("%s", fault.text);
    conclude(judge, run->end_ms + shift_ms, &replayed);
    equal_answers(&live, &replayed, shift_ms, run->seed);
    release(&live);
    release(&replayed);
    plan_free(plan);
}

static void what_the_ledger_replays_is_what_was_judged_live(void **state) {
    struct ledger_fixture fixture;

    (void)state;
    print_message("seeds from %llu\n", (unsigned long long)first_seed());
    fixture_make(&fixture, "", false);
    for (size_t i = 0; i < RUNS_REPLAYED; i++) {
        struct virtual_run run;

        virtual_run_make(&run, first_seed() + i);
        replay_run(&fixture, &run, (int64_t)(i + 1) * DAY_MS);
        virtual_run_release(&run);
    }
    fixture_remove(&fixture);
}

/* ---- lost readings ---- */

/* Does no good reading of the channel lie higher than the oven could have warmed it from any before? */
static bool keeps_to_bound(const struct virtual_run *run, const struct judge_channel *channel) {
    const double mc_per_ms = (double)channel->heats_at_most_mc_per_h / HOUR_MS;
    double lowest = 1e18; // of value less what the bound allowed until then

    for (size_t i = 0; i < run->reading_count; i++) {
        const struct reading *reading = &run->readings[i];
        const double over = (double)reading->value - mc_per_ms * (double)(reading->t_ms - run->begin_ms);

        if (reading->channel_id != channel->channel_id || reading->quality != QUALITY_GOOD)
            continue;
        if (over > lowest)
            return false;
        lowest = over;
    }
    return true;
}

static void drop_false_bounds(struct virtual_run *run) {
    for (size_t i = 0; i < run->channel_count; i++) {
        if (!keeps_to_bound(run, &run->channels[i]))
            run->channels[i].heats_at_most_mc_per_h = 0;
    }
}

static void drop_repeats(struct virtual_run *run) {
    size_t kept = 0;

    for (size_t i = 0; i < run->reading_count; i++) {
        const struct reading *before = kept == 0 ? NULL : &run->readings[kept - 1];

        if (before == NULL || before->t_ms != run->readings[i].t_ms ||
            before->channel_id != run->readings[i].channel_id)
            run->readings[kept++] = run->readings[i];
    }
    run->reading_count = kept;
}

struct hole {
    int64_t from_ms, to_ms; // its ends: good readings that are kept, or the run's begin and end
    bool before_known, after_known;
    int64_t before_mc, after_mc;
};

/* Copies `run` into `holed` without the channel's readings within [from, to]. */
static struct hole make_hole(const struct virtual_run *run, struct virtual_run *holed, int64_t channel_id,
                             int64_t from_ms, int64_t to_ms) {
    struct hole hole = {.from_ms = run->readings[0].t_ms, .to_ms = run->end_ms};
    const struct reading *all = run->readings;

    holed->reading_count = 0;
    for (size_t i = 0; i < run->reading_count; i++) {
        const bool own = all[i].channel_id == channel_id;

        if (i > 0 && own && all[i].t_ms >= from_ms && all[i].t_ms <= to_ms)
            continue;
        holed->readings[holed->reading_count++] = all[i];
        if (!own || all[i].quality != QUALITY_GOOD)
            continue;
        if (all[i].t_ms < from_ms || i == 0) {
            hole.from_ms = all[i].t_ms;
            hole.before_mc = all[i].value;
            hole.before_known = true;
        } else if (!hole.after_known) {
            hole.to_ms = all[i].t_ms;
            hole.after_mc = all[i].value;
            hole.after_known = true;
        }
    }
    return hole;
}

static bool is_claimed(const struct plan *plan, const struct verdict *verdict, const struct hole *hole) {
    const struct plan_operation *heat = &plan->operations[verdict->operation];
    const int64_t before_mc = hole->before_known ? hole->before_mc : hole->after_mc;
    const int64_t after_mc = hole->after_known ? hole->after_mc : hole->before_mc;

    if (verdict->requirement == REQUIREMENT_SPREAD || verdict->requirement == REQUIREMENT_HOLD_LEAST)
        return false;
    if (verdict->requirement == REQUIREMENT_LOAD_START)
        return hole->before_known;
    if (verdict->requirement != REQUIREMENT_RAMP)
        return true;
    if (!hole->before_known)
        return after_mc >= heat->ramp_low_mc;
    return !(before_mc < heat->ramp_low_mc && after_mc < heat->ramp_low_mc) &&
           !(before_mc > heat->ramp_high_mc && after_mc > heat->ramp_high_mc);
}

static size_t claims_checked; // so that a dull generator is noticed

static void compare_lost(const struct virtual_run *run, const struct plan *plan, const struct answer *whole,
                         const struct answer *lost, const struct hole *hole) {
    for (size_t i = 0; i < whole->verdict_count; i++) {
        const struct verdict *a = &whole->verdicts[i], *b = &lost->verdicts[i];

        if (a->outcome != OUTCOME_NOT_MET || (hole != NULL && !is_claimed(plan, a, hole)))
            continue;
        claims_checked++;
        if (b->outcome == OUTCOME_MET)
            fail_msg("seed %llu: %s: not met (%lld), and met (%lld) without readings between %lld and %lld ms",
                     (unsigned long long)run->seed, judge_requirement_name(a->requirement), (long long)a->found,
                     (long long)b->found, (long long)(hole == NULL ? 0 : hole->from_ms - run->begin_ms),
                     (long long)(hole == NULL ? 0 : hole->to_ms - run->begin_ms));
    }
}

static void lose_a_stretch(struct virtual_run *run, const struct plan *plan) {
    struct virtual_run holed = *run;
    struct answer whole, lost;

    drop_repeats(run);
    drop_false_bounds(run);
    memcpy(holed.channels, run->channels, sizeof holed.channels);
    holed.readings = calloc(run->reading_count + 1, sizeof *holed.readings);
    assert_non_null(holed.readings);
    answer_for(run, plan, &whole);
    for (int i = 0; i < LOSSES_A_RUN && run->reading_count > 0; i++) {
        const struct judge_channel *channel =
            &run->channels[virtual_between(&run->state, 0, (int64_t)run->channel_count - 1)];
        const int64_t from_ms = virtual_between(&run->state, run->begin_ms, run->end_ms);
        const int64_t for_ms = virtual_between(&run->state, 0, 1) == 0
                                   ? virtual_between(&run->state, 0, 8 * channel->interval_ms)
                                   : virtual_between(&run->state, 0, 60 * MINUTE_MS);
        const struct hole hole = make_hole(run, &holed, channel->channel_id, from_ms, from_ms + for_ms);

        if (hole.to_ms - hole.from_ms <= JUDGE_GAP_INTERVALS * channel->interval_ms)
            continue;
        answer_for(&holed, plan, &lost);
        compare_lost(run, plan, &whole, &lost, &hole);
        release(&lost);
    }
    release(&whole);
    free(holed.readings);
}

static void losing_a_whole_stretch_never_makes_met_of_not_met(void **state) {
    (void)state;
    claims_checked = 0;
    for_each_run(1, lose_a_stretch);
    print_message("%zu broken limits looked at\n", claims_checked);
    assert_true(claims_checked > runs_for(1));
}

static void thin_out(struct virtual_run *run, const struct plan *plan) {
    int64_t kept_ms[VIRTUAL_MOST_CHANNELS] = {0};
    const bool bounded = run->seed % 2 == 0;
    struct answer thin;
    size_t kept = 0;

    drop_repeats(run);
    drop_false_bounds(run);
    for (size_t i = 0; i < run->channel_count; i++) {
        kept_ms[i] = INT64_MIN / 2;
        run->channels[i].heats_at_most_mc_per_h *= bounded;
    }
    for (size_t i = 0; i < run->reading_count; i++) {
        size_t c = 0;

        while (c < run->channel_count - 1 && run->channels[c].channel_id != run->readings[i].channel_id)
            c++;
        if (run->readings[i].t_ms - kept_ms[c] <= JUDGE_GAP_INTERVALS * run->channels[c].interval_ms)
            continue;
        kept_ms[c] = run->readings[i].t_ms;
        run->readings[kept++] = run->readings[i];
    }
    run->reading_count = kept;
    answer_for(run, plan, &thin);
    for (size_t i = 0; i < thin.verdict_count; i++) {
        const struct verdict *verdict = &thin.verdicts[i];

        /* A known bound can still show that nothing was too long or too hot between two readings. */
        if (bounded &&
            (verdict->requirement == REQUIREMENT_SOAK_MOST || verdict->requirement == REQUIREMENT_OVERSHOOT))
            continue;
        if (verdict->outcome == OUTCOME_MET && verdict->requirement != REQUIREMENT_LOAD_START)
            fail_msg("seed %llu: %s is met by readings too far apart", (unsigned long long)run->seed,
                     judge_requirement_name(verdict->requirement));
    }
    assert_int_equal(thin.soak.total_in_ms, 0);
    release(&thin);
}

static void readings_too_far_apart_prove_nothing(void **state) {
    (void)state;
    for_each_run(1, thin_out);
}

/* ---- while the run is on ---- */

/* What is said before the end without "the run is still on" has to be what is said at the end. */
static void look_early(struct virtual_run *run, const struct plan *plan) {
    struct verdict looks[LOOKS_A_RUN][JUDGE_MOST_VERDICTS];
    const size_t every = run->reading_count / LOOKS_A_RUN + 1;
    struct answer final;
    struct judge *judge = open_judge(run, plan, &final);
    size_t look_count = 0;

    for (size_t i = 0; i < run->reading_count; i++) {
        judge_feed(judge, &run->readings[i]);
        if (i % every == every - 1 && look_count < LOOKS_A_RUN)
            judge_verdicts(judge, looks[look_count++]);
    }
    conclude(judge, run->end_ms, &final);
    for (size_t n = 0; n < look_count * final.verdict_count; n++) {
        const struct verdict *early = &looks[n / final.verdict_count][n % final.verdict_count];
        const struct verdict *late = &final.verdicts[n % final.verdict_count];

        if (early->reason == REASON_RUN_OPEN)
            assert_int_equal(early->outcome, OUTCOME_NOT_PROVEN);
        else if (early->outcome != late->outcome)
            fail_msg("seed %llu: %s: %s (%s, %lld) while the run was on, %s (%s, %lld) at the end",
                     (unsigned long long)run->seed, judge_requirement_name(late->requirement),
                     judge_outcome_name(early->outcome), judge_reason_text(early->reason), (long long)early->found,
                     judge_outcome_name(late->outcome), judge_reason_text(late->reason), (long long)late->found);
    }
    release(&final);
}

static void what_is_said_early_still_holds_at_the_end(void **state) {
    (void)state;
    for_each_run(1, look_early);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shifting_time_changes_nothing),
        cmocka_unit_test(repeated_readings_change_nothing),
        cmocka_unit_test(a_controller_that_speaks_fahrenheit_changes_nothing),
        cmocka_unit_test(tenths_of_fahrenheit_move_an_overshoot_by_no_more_than_their_rounding),
        cmocka_unit_test(what_the_ledger_replays_is_what_was_judged_live),
        cmocka_unit_test(losing_a_whole_stretch_never_makes_met_of_not_met),
        cmocka_unit_test(readings_too_far_apart_prove_nothing),
        cmocka_unit_test(what_is_said_early_still_holds_at_the_end),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
