// SPDX-License-Identifier: MIT
/* judge: what surrounds a soak. Holds, quenches, cold holds, tempers after what came before, and uncertainty, on
 * runs whose answers are known in closed form. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/judge.h"

enum { S = 1000, MIN = 60 * S, HOUR = 60 * MIN, MOST_FINDINGS = 128 };
static const int64_t t0_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z

struct bench {
    struct plan *plan;
    struct judge *judge;
    struct finding findings[MOST_FINDINGS];
    size_t finding_count;
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    size_t verdict_count;
};

static void keep_finding(void *context, const struct finding *finding) {
    struct bench *bench = context;

    assert_true(bench->finding_count < MOST_FINDINGS);
    bench->findings[bench->finding_count++] = *finding;
}

/* Channels: 1 control, 2 and 3 load, 4 quench at 10 Hz, 5 cold; `roles` says which exist. */
static void bench_open(struct bench *bench, const char *plan_text, size_t visit,
                       const struct judge_channel *channels, size_t count) {
    struct fault fault = {0};

    memset(bench, 0, sizeof *bench);
    bench->plan = plan_parse(plan_text, strlen(plan_text), "test.plan", &fault);
    if (bench->plan == NULL)
        fail_msg("%s", fault.text);
    bench->judge = judge_open(bench->plan, visit, channels, count, keep_finding, bench, &fault);
    assert_non_null(bench->judge);
}

static void feed(struct bench *bench, int64_t t_ms, int64_t channel_id, double value_c) {
    const struct reading reading = {t0_ms + t_ms, llround(value_c * 1000), channel_id, QUALITY_GOOD};

    judge_feed(bench->judge, &reading);
}

static void bench_end(struct bench *bench, int64_t t_ms) {
    judge_end(bench->judge, t0_ms + t_ms);
    bench->verdict_count = judge_verdicts(bench->judge, bench->verdicts);
}

static void bench_close(struct bench *bench) {
    judge_free(bench->judge);
    plan_free(bench->plan);
}

static const struct verdict *verdict_of(const struct bench *bench, enum requirement requirement) {
    for (size_t i = 0; i < bench->verdict_count; i++) {
        if (bench->verdicts[i].requirement == requirement)
            return &bench->verdicts[i];
    }
    fail_msg("no verdict on %s", judge_requirement_name(requirement));
    return NULL;
}

static void expect(const struct bench *bench, enum requirement requirement, enum outcome outcome,
                   enum reason reason) {
    const struct verdict *verdict = verdict_of(bench, requirement);

    if (verdict->outcome != outcome || verdict->reason != reason)
        fail_msg("%s: %s (%s), found %lld of %lld; expected %s (%s)", judge_requirement_name(requirement),
                 judge_outcome_name(verdict->outcome), judge_reason_text(verdict->reason),
                 (long long)verdict->found, (long long)verdict->required, judge_outcome_name(outcome),
                 judge_reason_text(reason));
}

static void near(int64_t found, int64_t expected, int64_t within) {
    if (llabs(found - expected) > within)
        fail_msg("%lld, expected %lld within %lld", (long long)found, (long long)expected, (long long)within);
}

/* Hold 650 C for 10 min, soak 805 C for 20 min, quench in oil. AISI O1's 802-816 C: excerpt of a steel supplier's
 * data sheet. The rest: common practice, no source. */
#define HARDEN                                                                                                     \
    "[plan]\ntitle = t\n"                                                                                          \
    "[heat up]\nload_at_most = 60 C\nramp_at_most = 700 C/h\nramp_between = 200 C .. 600 C\n"                      \
    "[hold preheat]\ntemperature = 650 C\nbelow = 10 C\nabove = 10 C\ntime_at_least = 10 min\n"                    \
    "[soak harden]\ntemperature = 805 C\nbelow = 8 C\nabove = 8 C\ntime_at_least = 20 min\ntime_at_most = 40 "     \
    "min\n"                                                                                                        \
    "overshoot_at_most = 10 C\n"
#define QUENCH                                                                                                     \
    "[quench oil]\nmedium = oil\ntransfer_at_most = 5 s\nfalls_at_least = 20 C/s\ncooling = 700 C .. 500 C\n"      \
    "cooling_at_most = 12 s\nhandle_warm = 60 C\nhandle_warm_within = 3 min\n"

static const struct judge_channel harden_channels[] = {
    {.channel_id = 1, .name = "control", .role = ROLE_CONTROL, .interval_ms = S},
    {.channel_id = 2, .name = "front", .role = ROLE_LOAD, .interval_ms = S, .uncertainty_mc = 2000},
    {.channel_id = 4, .name = "core", .role = ROLE_QUENCH, .interval_ms = 100},
};

/* Straight lines: up to 650 at 10 C/min, held, up to 805, held, and from `out` on Newton's cooling in oil of 50 C
 * with tau, the quench channel `transfer` after the load. */
struct morning {
    double start_c, hold_c, soak_c, tau_s;
    int64_t hold_ms, soak_ms, transfer_ms;
};

static int64_t up_ms(double from_c, double to_c) {
    return llround((to_c - from_c) / 10 * MIN);
}

static int64_t out_ms(const struct morning *m) {
    return up_ms(m->start_c, m->soak_c) + m->hold_ms + m->soak_ms;
}

static double furnace_c(const struct morning *m, int64_t t) {
    const int64_t hold_at = up_ms(m->start_c, m->hold_c), on_at = hold_at + m->hold_ms;

    if (t < hold_at)
        return m->start_c + 10.0 * (double)t / MIN;
    if (t < on_at)
        return m->hold_c;
    return fmin(m->hold_c + 10.0 * (double)(t - on_at) / MIN, m->soak_c);
}

static void play(struct bench *bench, const struct morning *m, const struct judge_channel *quench) {
    const int64_t out = out_ms(m), end = out + 10 * MIN;

    for (int64_t t = 0; t < end; t += quench != NULL ? quench->interval_ms : S) {
        if (t % S == 0) {
            feed(bench, t, 1, t < out ? furnace_c(m, t) : 790);
            /* The load sensor stays in the oven's door: it falls out of the band in 2 s. */
            feed(bench, t, 2, t < out ? furnace_c(m, t) : fmax(m->soak_c - 20.0 * (double)(t - out) / S, 300));
        }
        if (quench != NULL) {
            const double since_s = (double)(t - out - m->transfer_ms) / S;

            feed(bench, t, quench->channel_id,
                 since_s < 0 ? m->soak_c : 50 + (m->soak_c - 50) * exp(-since_s / m->tau_s));
        }
    }
    bench_end(bench, end);
}

static const struct morning good = {.start_c = 21,
                                    .hold_c = 650,
                                    .soak_c = 805,
                                    .tau_s = 20,
                                    .hold_ms = 15 * MIN,
                                    .soak_ms = 25 * MIN,
                                    .transfer_ms = 3 * S};

static void a_whole_hardening_is_met(void **state) {
    struct bench bench;

    (void)state;
    bench_open(&bench, HARDEN QUENCH, 0, harden_channels, 3);
    play(&bench, &good, &harden_channels[2]);
    for (size_t i = 0; i < bench.verdict_count; i++)
        expect(&bench, bench.verdicts[i].requirement, OUTCOME_MET, REASON_NONE);
    assert_int_equal(bench.verdict_count, 9);
    /* In the hold's band from 640 C up and until it passes 660 C: a minute of ramp on either side. */
    near(verdict_of(&bench, REQUIREMENT_HOLD_LEAST)->found, 17 * MIN, S);
    assert_int_equal(verdict_of(&bench, REQUIREMENT_LOAD_START)->found, 21000);
    /* The soak ends when the load passes 797 C, 0.4 s after it was pulled; the core falls 2.6 s later. */
    near(verdict_of(&bench, REQUIREMENT_TRANSFER)->found, 2600, 150);
    /* Newton: tau ln((700 - 50) / (500 - 50)). */
    near(verdict_of(&bench, REQUIREMENT_COOLING)->found, llround(20000 * log(650.0 / 450.0)), 15);
    /* tau ln((805 - 50) / (60 - 50)) after the transfer. */
    near(verdict_of(&bench, REQUIREMENT_HANDLE_WARM)->found, llround(20000 * log(755.0 / 10.0)) + 2600, 150);
    bench_close(&bench);
}

static void a_slow_transfer_and_a_soft_quench_are_not_met(void **state) {
    struct morning slow = good;
    struct bench bench;

    (void)state;
    slow.transfer_ms = 9 * S;
    slow.tau_s = 40;
    bench_open(&bench, HARDEN QUENCH, 0, harden_channels, 3);
    play(&bench, &slow, &harden_channels[2]);
    expect(&bench, REQUIREMENT_COOLING, OUTCOME_NOT_MET, REASON_NONE);
    /* 755 / 40 = 18.9 C/s at most: never the 20 C/s that end a transfer. */
    expect(&bench, REQUIREMENT_TRANSFER, OUTCOME_NOT_PROVEN, REASON_NOT_REACHED);
    expect(&bench, REQUIREMENT_SOAK_LEAST, OUTCOME_MET, REASON_NONE);
    bench_close(&bench);

    slow.tau_s = 20;
    bench_open(&bench, HARDEN QUENCH, 0, harden_channels, 3);
    play(&bench, &slow, &harden_channels[2]);
    expect(&bench, REQUIREMENT_TRANSFER, OUTCOME_NOT_MET, REASON_NONE);
    near(verdict_of(&bench, REQUIREMENT_TRANSFER)->margin, 5000 - 8600, 150);
    bench_close(&bench);
}

static void a_quench_seen_too_seldom_proves_nothing(void **state) {
    struct judge_channel channels[3];
    struct morning quick = good;
    struct bench bench;

    (void)state;
    memcpy(channels, harden_channels, sizeof channels);
    channels[2].interval_ms = 2 * S;
    quick.tau_s = 15; // 700 to 500 C in 5.5 s: three readings
    bench_open(&bench, HARDEN QUENCH, 0, channels, 3);
    play(&bench, &quick, &channels[2]);
    expect(&bench, REQUIREMENT_COOLING, OUTCOME_NOT_PROVEN, REASON_TOO_FEW);
    bench_close(&bench);
}

static void a_quench_without_a_sensor_can_be_attested_where_the_plan_says_so(void **state) {
    static const char plan[] = HARDEN "[quench plates]\nmedium = aluminium plates\ntransfer_at_most = 5 s\n"
                                      "falls_at_least = 20 C/s\nmay_attest = yes\n";
    static const struct judge_channel one[] = {
        {.channel_id = 2, .name = "control", .role = ROLE_CONTROL, .interval_ms = S}};
    struct judge_soak soak;
    struct bench bench;

    (void)state;
    /* Control stands for the charge, so nothing goes into the plates with it. */
    bench_open(&bench,
               "[plan]\ntitle = t\nload = control\nlag_allowance = 1 min\n"
               "[soak harden]\ntemperature = 805 C\n"
               "below = 8 C\nabove = 8 C\ntime_at_least = 20 min\n[quench plates]\nmedium = aluminium plates\n"
               "transfer_at_most = 5 s\nmay_attest = yes\n",
               0, one, 1);
    play(&bench, &good, NULL);
    expect(&bench, REQUIREMENT_DONE, OUTCOME_NOT_PROVEN, REASON_NO_SENSOR);
    expect(&bench, REQUIREMENT_TRANSFER, OUTCOME_NOT_PROVEN, REASON_NO_SENSOR);
    judge_read_soak(bench.judge, &soak);
    judge_attest(bench.plan, 0, &soak, soak.last_ended_ms + 4 * S, bench.verdicts, bench.verdict_count);
    expect(&bench, REQUIREMENT_DONE, OUTCOME_MET, REASON_ATTESTED);
    expect(&bench, REQUIREMENT_TRANSFER, OUTCOME_MET, REASON_ATTESTED);
    bench.verdict_count = judge_verdicts(bench.judge, bench.verdicts);
    judge_attest(bench.plan, 0, &soak, soak.last_ended_ms + 6 * S, bench.verdicts, bench.verdict_count);
    expect(&bench, REQUIREMENT_TRANSFER, OUTCOME_NOT_MET, REASON_ATTESTED);
    bench_close(&bench);

    /* A sensor that saw it is not overruled by a person. */
    bench_open(&bench, plan, 0, harden_channels, 3);
    play(&bench, &good, &harden_channels[2]);
    judge_read_soak(bench.judge, &soak);
    judge_attest(bench.plan, 0, &soak, soak.last_ended_ms + 60 * S, bench.verdicts, bench.verdict_count);
    expect(&bench, REQUIREMENT_TRANSFER, OUTCOME_MET, REASON_NONE);
    expect(&bench, REQUIREMENT_DONE, OUTCOME_MET, REASON_NONE);
    bench_close(&bench);
}

static void a_dip_of_the_soak_does_not_begin_the_quench(void **state) {
    struct bench bench;
    struct quench_curve curve;

    (void)state;
    bench_open(&bench, HARDEN QUENCH, 0, harden_channels, 3);
    for (int64_t t = 0; t < 60 * MIN; t += 100) {
        const bool door = t >= 20 * MIN && t < 22 * MIN, out = t >= 50 * MIN;
        const double since_s = (double)(t - 50 * MIN) / S;

        if (t % S == 0)
            feed(&bench, t, 2, t < MIN ? 650 : door ? 780 : out ? 300 : 805);
        feed(&bench, t, 4, door ? 700 : out ? 50 + 755 * exp(-since_s / 20) : 805);
    }
    bench_end(&bench, 60 * MIN);
    assert_int_equal(judge_read_quench(bench.judge, 0, &curve), 4);
    near(curve.cooling.t_ms - t0_ms, 50 * MIN + llround(20000 * log(755.0 / 650.0)), 20);
    expect(&bench, REQUIREMENT_COOLING, OUTCOME_MET, REASON_NONE);
    bench_close(&bench);
}

static void a_part_that_stays_warm_misses_its_deadline(void **state) {
    struct bench bench;

    (void)state;
    bench_open(&bench, HARDEN QUENCH, 0, harden_channels, 3);
    for (int64_t t = 0; t < 60 * MIN; t += 100) {
        const bool out = t >= 50 * MIN;

        if (t % S == 0)
            feed(&bench, t, 2, t < MIN ? 650 : out ? 300 : 805);
        feed(&bench, t, 4, out ? 90 + 715 * exp(-(double)(t - 50 * MIN) / (20 * S)) : 805); // oil at 90 C
    }
    bench_end(&bench, 60 * MIN);
    expect(&bench, REQUIREMENT_HANDLE_WARM, OUTCOME_NOT_MET, REASON_NOT_REACHED);
    bench_close(&bench);
}

static void a_hot_charge_breaks_the_limit_at_the_start(void **state) {
    struct morning warm = good;
    struct bench bench;

    (void)state;
    warm.start_c = 75;
    bench_open(&bench, HARDEN QUENCH, 0, harden_channels, 3);
    play(&bench, &warm, &harden_channels[2]);
    expect(&bench, REQUIREMENT_LOAD_START, OUTCOME_NOT_MET, REASON_NONE);
    bench_close(&bench);
}

static void a_short_hold_is_not_met(void **state) {
    struct morning hasty = good;
    struct bench bench;

    (void)state;
    hasty.hold_ms = 7 * MIN; // and a minute of ramp on either side: nine of ten
    bench_open(&bench, HARDEN QUENCH, 0, harden_channels, 3);
    play(&bench, &hasty, &harden_channels[2]);
    expect(&bench, REQUIREMENT_HOLD_LEAST, OUTCOME_NOT_MET, REASON_NONE);
    near(verdict_of(&bench, REQUIREMENT_HOLD_LEAST)->found, 9 * MIN, S);
    expect(&bench, REQUIREMENT_SOAK_LEAST, OUTCOME_MET, REASON_NONE);
    bench_close(&bench);
}

static void cooling_slowly_through_its_band_is_no_hold(void **state) {
    struct morning hasty = good;
    struct bench bench;
    const int64_t slowly_ms = 3 * HOUR;

    (void)state;
    hasty.hold_ms = 0;
    bench_open(&bench, HARDEN, 0, harden_channels, 2);
    for (int64_t t = 0; t < out_ms(&hasty) + slowly_ms; t += S) // a degree a minute: 20 min from 660 to 640 C
        feed(&bench, t, 2, t < out_ms(&hasty) ? furnace_c(&hasty, t) : 805 - (double)(t - out_ms(&hasty)) / MIN);
    bench_end(&bench, out_ms(&hasty) + slowly_ms);
    expect(&bench, REQUIREMENT_HOLD_LEAST, OUTCOME_NOT_MET, REASON_NONE);
    near(verdict_of(&bench, REQUIREMENT_HOLD_LEAST)->found, 2 * MIN, S);
    bench_close(&bench);
}

static void a_charge_may_lag_behind_the_control_sensor_in_a_hold_too(void **state) {
    static const char plan[] = "[plan]\ntitle = t\nload = control\nlag_allowance = 8 min\n"
                               "[hold]\ntemperature = 650 C\nbelow = 10 C\nabove = 10 C\ntime_at_least = 10 min\n"
                               "[soak]\ntemperature = 805 C\nbelow = 8 C\nabove = 8 C\ntime_at_least = 10 min\n";
    struct bench bench;

    (void)state;
    bench_open(&bench, plan, 0, harden_channels, 1);
    play(&bench, &good, NULL); // 17 min in the hold's band, of 10 and 8
    assert_int_equal(verdict_of(&bench, REQUIREMENT_HOLD_LEAST)->required, 18 * MIN);
    expect(&bench, REQUIREMENT_HOLD_LEAST, OUTCOME_NOT_MET, REASON_NONE);
    bench_close(&bench);
}

/* ---- cold ---- */

#define COLD                                                                                                       \
    HARDEN "[quench oil]\nmedium = oil\nmay_attest = yes\n"                                                        \
           "[cold deep]\noven = freezer\ntemperature_at_most = -75 C\ntime_at_least = 1 h\nbegins_within = 2 h\n"  \
           "parts_below_first = 40 C\n"

static void a_cold_hold_is_a_soak_turned_over(void **state) {
    static const struct judge_channel channels[] = {
        {.channel_id = 5, .name = "air", .role = ROLE_COLD, .interval_ms = 10 * S},
        {.channel_id = 3, .name = "part", .role = ROLE_LOAD, .interval_ms = 10 * S},
    };
    /* The part approaches -85 C from 20 C with tau = 15 min: at -75 C after tau ln(105 / 10). */
    const double cross_s = 900 * log(105.0 / 10.0);
    struct judge_soak soak;
    struct bench bench;

    (void)state;
    for (int hours = 1; hours <= 2; hours++) {
        bench_open(&bench, COLD, 1, channels, 2);
        for (int64_t t = 0; t < hours * HOUR + 30 * MIN; t += 10 * S) {
            feed(&bench, t, 3, -85 + 105 * exp(-(double)t / (900.0 * S)));
            feed(&bench, t, 5, -85);
        }
        bench_end(&bench, hours * HOUR + 30 * MIN - 10 * S);
        judge_read_soak(bench.judge, &soak);
        near(soak.first_begun_ms - t0_ms, llround(cross_s * S), 60);
        near(verdict_of(&bench, REQUIREMENT_HOLD_LEAST)->found,
             hours * HOUR + 30 * MIN - 10 * S - llround(cross_s * S), 60);
        expect(&bench, REQUIREMENT_HOLD_LEAST, hours == 2 ? OUTCOME_MET : OUTCOME_NOT_MET, REASON_NONE);
        assert_int_equal(bench.findings[0].kind, FINDING_SOAK_BEGUN);
        assert_int_equal(bench.findings[0].value, -75000);
        assert_true(soak.lowest_known && soak.lowest_mc < -84000 && soak.lowest_mc > -85000);
        bench_close(&bench);
    }
}

/* ---- between ---- */

static void what_lies_between_two_visits_is_judged(void **state) {
    const struct judge_soak before = {.last_ended_ms = t0_ms, .lowest_known = true, .lowest_mc = 35000};
    const struct judge_soak warm = {.last_ended_ms = t0_ms, .lowest_known = true, .lowest_mc = 90000};
    const struct judge_soak now = {.begun_ms = t0_ms + HOUR, .first_known = true, .first_mc = 50000};
    const struct judge_soak late = {.begun_ms = t0_ms + 3 * HOUR};
    struct bench bench;
    struct fault fault;

    (void)state;
    memset(&bench, 0, sizeof bench);
    bench.plan = plan_parse(COLD, strlen(COLD), "test.plan", &fault);
    bench.verdict_count = judge_between(bench.plan, 1, &before, &now, bench.verdicts);
    assert_int_equal(bench.verdict_count, 2);
    expect(&bench, REQUIREMENT_BEGIN_WITHIN, OUTCOME_MET, REASON_NONE);
    assert_int_equal(verdict_of(&bench, REQUIREMENT_BEGIN_WITHIN)->found, HOUR);
    expect(&bench, REQUIREMENT_PARTS_BELOW, OUTCOME_MET, REASON_NONE); // they had been at 35 C
    judge_between(bench.plan, 1, &warm, &now, bench.verdicts);
    expect(&bench, REQUIREMENT_PARTS_BELOW, OUTCOME_NOT_MET, REASON_NONE);
    assert_int_equal(verdict_of(&bench, REQUIREMENT_PARTS_BELOW)->found, 50000);
    judge_between(bench.plan, 1, &before, &late, bench.verdicts);
    expect(&bench, REQUIREMENT_BEGIN_WITHIN, OUTCOME_NOT_MET, REASON_NONE);
    judge_between(bench.plan, 1, NULL, &late, bench.verdicts);
    expect(&bench, REQUIREMENT_BEGIN_WITHIN, OUTCOME_NOT_PROVEN, REASON_NO_BEFORE);
    expect(&bench, REQUIREMENT_PARTS_BELOW, OUTCOME_NOT_PROVEN, REASON_NO_BEFORE);
    judge_between(bench.plan, 1, &before, NULL, bench.verdicts);
    expect(&bench, REQUIREMENT_BEGIN_WITHIN, OUTCOME_NOT_PROVEN, REASON_NO_RUN);
    assert_int_equal(judge_between(bench.plan, 0, NULL, &now, bench.verdicts), 0);
    plan_free(bench.plan);
}

/* ---- temper ---- */

static void a_constant_temper_is_worth_its_own_time(void **state) {
    static const char plan[] = "[plan]\ntitle = t\n[temper low]\ntemperature = 190 C\nbelow = 5 C\nabove = 5 C\n"
                               "time_at_least = 2 h\nequivalent_at_least = 2 h\n";
    static const struct judge_channel channels[] = {
        {.channel_id = 2, .name = "tray", .role = ROLE_LOAD, .interval_ms = S}};
    struct judge_soak soak;
    struct bench bench;

    (void)state;
    for (int minutes = 119; minutes <= 121; minutes += 2) {
        bench_open(&bench, plan, 0, channels, 1);
        for (int64_t t = 0; t <= minutes * (int64_t)MIN; t += S)
            feed(&bench, t, 2, 190);
        bench_end(&bench, minutes * (int64_t)MIN);
        judge_read_soak(bench.judge, &soak);
        near(soak.equivalent_ms, minutes * (int64_t)MIN, 5);
        expect(&bench, REQUIREMENT_EQUIVALENT, minutes == 121 ? OUTCOME_MET : OUTCOME_NOT_MET, REASON_NONE);
        bench_close(&bench);
    }
}

/* ---- uncertainty ---- */

static void the_guarded_rule_wants_the_value_inside_by_its_uncertainty(void **state) {
    static const char *const decisions[] = {"simple", "guarded"};

    (void)state;
    for (int guarded = 0; guarded < 2; guarded++) {
        char plan[1024];
        struct bench bench;

        snprintf(plan, sizeof plan,
                 "[plan]\ntitle = t\ndecision = %s\n[soak]\ntemperature = 805 C\nbelow = 8 C\nabove = 8 C\n"
                 "time_at_least = 20 min\novershoot_at_most = 4 C\n",
                 decisions[guarded]);
        bench_open(&bench, plan, 0, harden_channels, 2);
        /* 30 min in the band; at 798 C, inside B = 797 C by less than U = 2 C. Peak 2.5 C over, 1.5 C inside the
         * limit. */
        for (int64_t t = 0; t < 40 * MIN; t += S)
            feed(&bench, t, 2, t < 5 * MIN || t >= 35 * MIN ? 700 : t == 20 * MIN ? 807.5 : 798);
        bench_end(&bench, 40 * MIN);
        expect(&bench, REQUIREMENT_SOAK_LEAST, guarded ? OUTCOME_NOT_PROVEN : OUTCOME_MET,
               guarded ? REASON_UNCERTAIN : REASON_NONE);
        expect(&bench, REQUIREMENT_OVERSHOOT, guarded ? OUTCOME_NOT_PROVEN : OUTCOME_MET,
               guarded ? REASON_UNCERTAIN : REASON_NONE);
        assert_int_equal(verdict_of(&bench, REQUIREMENT_OVERSHOOT)->uncertainty, 2000);
        assert_int_equal(verdict_of(&bench, REQUIREMENT_SOAK_LEAST)->uncertainty, 2000);
        bench_close(&bench);
    }
}

static void well_inside_is_met_and_outside_is_not_met_under_either_rule(void **state) {
    static const char plan[] =
        "[plan]\ntitle = t\ndecision = guarded\n[soak]\ntemperature = 805 C\nbelow = 8 C\n"
        "above = 8 C\ntime_at_least = 20 min\ntime_at_most = 28 min\novershoot_at_most = 4 C\n";
    struct bench bench;

    (void)state;
    bench_open(&bench, plan, 0, harden_channels, 2);
    for (int64_t t = 0; t < 40 * MIN; t += S) // in for 25 min, but within U of the band for 35
        feed(&bench, t, 2, t < 2 * MIN || t >= 37 * MIN ? 700 : t < 7 * MIN || t >= 32 * MIN ? 796 : 805);
    bench_end(&bench, 40 * MIN);
    expect(&bench, REQUIREMENT_SOAK_LEAST, OUTCOME_MET, REASON_NONE);
    expect(&bench, REQUIREMENT_OVERSHOOT, OUTCOME_MET, REASON_NONE);
    expect(&bench, REQUIREMENT_SOAK_MOST, OUTCOME_NOT_PROVEN, REASON_UNCERTAIN);
    bench_close(&bench);
    bench_open(&bench, plan, 0, harden_channels, 2);
    for (int64_t t = 0; t < 40 * MIN; t += S)
        feed(&bench, t, 2, t < 5 * MIN || t >= 15 * MIN ? 700 : 810);
    bench_end(&bench, 40 * MIN);
    expect(&bench, REQUIREMENT_SOAK_LEAST, OUTCOME_NOT_MET, REASON_NONE);
    expect(&bench, REQUIREMENT_OVERSHOOT, OUTCOME_NOT_MET, REASON_NONE);
    bench_close(&bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_whole_hardening_is_met),
        cmocka_unit_test(a_slow_transfer_and_a_soft_quench_are_not_met),
        cmocka_unit_test(a_quench_seen_too_seldom_proves_nothing),
        cmocka_unit_test(a_quench_without_a_sensor_can_be_attested_where_the_plan_says_so),
        cmocka_unit_test(a_dip_of_the_soak_does_not_begin_the_quench),
        cmocka_unit_test(a_part_that_stays_warm_misses_its_deadline),
        cmocka_unit_test(a_hot_charge_breaks_the_limit_at_the_start),
        cmocka_unit_test(a_short_hold_is_not_met),
        cmocka_unit_test(cooling_slowly_through_its_band_is_no_hold),
        cmocka_unit_test(a_charge_may_lag_behind_the_control_sensor_in_a_hold_too),
        cmocka_unit_test(a_cold_hold_is_a_soak_turned_over),
        cmocka_unit_test(what_lies_between_two_visits_is_judged),
        cmocka_unit_test(a_constant_temper_is_worth_its_own_time),
        cmocka_unit_test(the_guarded_rule_wants_the_value_inside_by_its_uncertainty),
        cmocka_unit_test(well_inside_is_met_and_outside_is_not_met_under_either_rule),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
