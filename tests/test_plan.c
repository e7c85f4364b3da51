// SPDX-License-Identifier: MIT
/* Plans: the examples that are shipped, what every key means, and what is refused with file and line. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/judge.h"
#include "soakledger/plan.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

#define HEAD    "[plan]\ntitle = T\n"                                                                 // 2 lines
#define HEAT    "[heat h]\nramp_at_most = 280 C/h\nramp_between = 200 C .. 700 C\n"                   // 3 lines
#define SOAK    "[soak s]\ntemperature = 808 C\nbelow = 6 C\nabove = 8 C\ntime_at_least = 15 min\n"   // 5 lines
#define TEMPER  "[temper t]\ntemperature = 180 C\nbelow = 5 C\nabove = 8 C\ntime_at_least = 2 h\n"    // 5 lines
#define HOLD    "[hold p]\ntemperature = 650 C\nbelow = 10 C\nabove = 10 C\ntime_at_least = 10 min\n" // 5 lines
#define QUENCH  "[quench q]\ntransfer_at_most = 20 s\n"                                               // 2 lines
#define COLD    "[cold c]\noven = freezer\ntemperature_at_most = -75 C\ntime_at_least = 1 h\n"        // 4 lines
#define CONTROL "[plan]\ntitle = T\nload = control\nlag_allowance = 10 min\n"                         // 4 lines

static struct plan *parse(const char *text, struct fault *fault) {
    return plan_parse(text, strlen(text), "p.plan", fault);
}

static struct plan *parse_good(const char *text) {
    struct fault fault = {0, ""};
    struct plan *plan = parse(text, &fault);

    if (plan == NULL)
        fail_msg("refused: %s", fault.text);
    return plan;
}

static struct plan *read_good(const char *path) {
    struct fault fault = {0, ""};
    struct plan *plan = plan_read(path, &fault);

    if (plan == NULL)
        fail_msg("refused: %s", fault.text);
    return plan;
}

static void the_examples_say_what_their_text_says(void **state) {
    struct plan *plan = read_good("daemon/plan/examples/plane-irons-o1.plan");
    const struct plan_operation *soak = plan_visit_soak(plan, 0);

    (void)state;
    assert_string_equal(plan->title, "Plane irons and chisels, hardened and tempered");
    assert_int_equal(plan->operation_count, 3);
    assert_int_equal(plan->visit_count, 2);
    /* 802 to 816 C: an excerpt of a steel supplier's data sheet for AISI O1 */
    assert_int_equal(soak->temperature_mc - soak->below_mc, 802000);
    assert_int_equal(soak->temperature_mc + soak->above_mc, 816000);
    plan_free(plan);
    plan = read_good("daemon/plan/examples/paring-chisels-a2.plan");
    soak = plan_visit_soak(plan, 0);
    /* 954 to 982 C, 45 to 60 min: likewise for AISI A2; the plan allows the charge a lag on top */
    assert_int_equal(soak->temperature_mc - soak->below_mc, 956000);
    assert_int_equal(soak->temperature_mc + soak->above_mc, 980000);
    assert_int_equal(soak->time_at_least_ms, 45 * 60000);
    assert_int_equal(plan->visit_count, 3);
    assert_int_equal(plan->load, PLAN_LOAD_CONTROL);
    plan_free(plan);
    plan = read_good("daemon/plan/examples/scraper-blades-1095.plan");
    assert_int_equal(plan->load, PLAN_LOAD_NAMED);
    assert_int_equal(plan->load_count, 2);
    assert_string_equal(plan->load_names[1], "back of rack");
    assert_int_equal(plan_visit_soak(plan, 0)->temperature_mc, 801667); // (1475 - 32) * 5 / 9 = 801.666...
    assert_string_equal(plan_visit_soak(plan, 1)->oven, "tempering oven");
    plan_free(plan);
}

static void every_key_arrives(void **state) {
    static const char text[] =
        "[plan]\ntitle = Irons\nsteel = AISI O1\nsource = a sheet\n"
        "load = channels: front ,back\n"
        "[heat one]\nramp_at_most = 5 C/min\nramp_between = 200 C .. 600 C\nramp_window = 2 min\n"
        "oven = big\n"
        "[heat two]\nramp_at_most = 100 C/h\nramp_between = 600 C .. 802 C\n"
        "[soak s]\ntemperature = 808 C\nbelow = 6 C\nabove = 8 C\ntime_at_least = 15 min\n"
        "time_at_most = 40 min\novershoot_at_most = 4 C\nspread_at_most = 7 C\noven = big\n"
        "[temper]\ntemperature = 180 C\nbelow = 5 C\nabove = 9 C\ntime_at_least = 2 h\n";
    struct plan *plan = parse_good(text);
    const struct plan_operation *heat = &plan->operations[0], *soak = &plan->operations[2];
    const struct plan_operation *temper = &plan->operations[3];

    (void)state;
    assert_string_equal(plan->title, "Irons");
    assert_string_equal(plan->steel, "AISI O1");
    assert_string_equal(plan->source, "a sheet");
    assert_int_equal(plan->load, PLAN_LOAD_NAMED);
    assert_int_equal(plan->load_count, 2);
    assert_string_equal(plan->load_names[0], "front");
    assert_string_equal(plan->load_names[1], "back");
    assert_int_equal(plan->lag_allowance_ms, 0);
    assert_int_equal(plan->text_length, strlen(text));
    assert_string_equal(plan->text, text);
    assert_int_equal(plan->operation_count, 4);
    assert_int_equal(plan->visit_count, 2);

    assert_int_equal(heat->kind, OPERATION_HEAT);
    assert_string_equal(heat->name, "one");
    assert_int_equal(heat->line, 6);
    assert_int_equal(heat->visit, 0);
    assert_string_equal(heat->oven, "big");
    assert_true(heat->ramp_at_most.set);
    assert_int_equal(heat->ramp_at_most.value, 300000);
    assert_int_equal(heat->ramp_low_mc, 200000);
    assert_int_equal(heat->ramp_high_mc, 600000);
    assert_int_equal(heat->ramp_window_ms, 120000);
    assert_int_equal(heat[1].ramp_window_ms, 300000);
    assert_string_equal(heat[1].oven, "big"); // one visit, one oven

    assert_int_equal(soak->kind, OPERATION_SOAK);
    assert_int_equal(soak->visit, 0);
    assert_int_equal(soak->temperature_mc, 808000);
    assert_int_equal(soak->below_mc, 6000);
    assert_int_equal(soak->above_mc, 8000);
    assert_int_equal(soak->time_at_least_ms, 900000);
    assert_true(soak->time_at_most.set);
    assert_int_equal(soak->time_at_most.value, 2400000);
    assert_true(soak->overshoot_at_most.set);
    assert_int_equal(soak->overshoot_at_most.value, 4000);
    assert_true(soak->spread_at_most.set);
    assert_int_equal(soak->spread_at_most.value, 7000);

    assert_int_equal(temper->kind, OPERATION_TEMPER);
    assert_string_equal(temper->name, "");
    assert_string_equal(temper->oven, "");
    assert_int_equal(temper->visit, 1);
    assert_false(temper->time_at_most.set);
    assert_false(temper->spread_at_most.set);
    assert_true(temper->overshoot_at_most.set); // as much as the band
    assert_int_equal(temper->overshoot_at_most.value, 9000);
    assert_ptr_equal(plan_visit_soak(plan, 0), soak);
    assert_ptr_equal(plan_visit_soak(plan, 1), temper);
    plan_free(plan);
}

static const char cycle[] =
    "[plan]\ntitle = Knives\ndecision = guarded\nmartensite_start = -20.5 C\n"
    "hardness = 58 .. 60.5 HRC\n"
    "[heat up]\nramp_at_most = 300 C/h\nramp_between = 100 C .. 640 C\nload_at_most = 60 C\n"
    "[hold preheat]\ntemperature = 650 C\nbelow = 10 C\nabove = 20 C\n"
    "time_at_least = 10 min\noven = big\n"
    "[heat on]\nramp_at_most = 9 C/min\nramp_between = 680 C .. 900 C\n"
    "[soak]\ntemperature = 1030 C\nbelow = 10 C\nabove = 10 C\ntime_at_least = 15 min\n"
    "oven = big\n"
    "[quench plates]\nmedium = aluminium plates\ntransfer_at_most = 20 s\n"
    "falls_at_least = 900 C/min\ncooling = 850 C..400 C\ncooling_at_most = 90 s\n"
    "handle_warm = 50 C\nhandle_warm_within = 10 min\nmay_attest = yes\n"
    "[cold deep]\noven = freezer\ntemperature_at_most = -75 C\ntime_at_least = 2 h\n"
    "begins_within = 1 h\nparts_below_first = 30 C\nmay_attest = yes\n"
    "[heat low]\nramp_at_most = 99 C/h\nramp_between = 30 C .. 150 C\n"
    "[temper t]\ntemperature = 180 C\nbelow = 5 C\nabove = 9 C\ntime_at_least = 2 h\n"
    "times = 2\nbegins_within = 2 h\nparts_below_first = 40 C\n"
    "hollomon_jaffe_constant = 19.5\nequivalent_at_least = 90 min\n";

static void the_head_of_a_whole_cycle_arrives(void **state) {
    struct plan *plan = parse_good(cycle);

    (void)state;
    assert_int_equal(plan->decision, PLAN_DECISION_GUARDED);
    assert_true(plan->martensite_start.set);
    assert_int_equal(plan->martensite_start.value, -20500);
    assert_string_equal(plan->hardness.scale, "HRC");
    assert_int_equal(plan->hardness.low, 58000);
    assert_int_equal(plan->hardness.high, 60500);
    assert_int_equal(plan->hardness.readings, 3); // unless the plan says
    plan_free(plan);
    plan = parse_good(HEAD "hardness = 700 .. 750 HV10\nhardness_readings = 5\ndecision = simple\n" SOAK);
    assert_int_equal(plan->decision, PLAN_DECISION_SIMPLE);
    assert_false(plan->martensite_start.set);
    assert_string_equal(plan->hardness.scale, "HV10");
    assert_int_equal(plan->hardness.readings, 5);
    plan_free(plan);
    plan = parse_good(HEAD SOAK);
    assert_int_equal(plan->decision, PLAN_DECISION_SIMPLE);
    assert_string_equal(plan->hardness.scale, "");
    plan_free(plan);
}

static void one_visit_reaches_from_the_heat_to_the_quench(void **state) {
    struct plan *plan = parse_good(cycle);
    const struct plan_operation *heat = &plan->operations[0], *hold = &plan->operations[1];
    const struct plan_operation *quench = &plan->operations[4];

    (void)state;
    assert_int_equal(plan->visit_count, 4);
    for (size_t i = 0; i < 5; i++) {
        assert_int_equal(plan->operations[i].visit, 0);
        assert_string_equal(plan->operations[i].oven, "big");
    }
    assert_true(heat->load_at_most.set);
    assert_int_equal(heat->load_at_most.value, 60000);
    assert_false(heat[2].load_at_most.set);
    assert_int_equal(hold->kind, OPERATION_HOLD);
    assert_int_equal(hold->temperature_mc, 650000);
    assert_int_equal(hold->below_mc, 10000);
    assert_int_equal(hold->above_mc, 20000);
    assert_int_equal(hold->time_at_least_ms, 600000);
    assert_ptr_equal(plan_visit_soak(plan, 0), &plan->operations[3]);
    assert_ptr_equal(plan_visit_quench(plan, 0), quench);
    assert_null(plan_visit_quench(plan, 1));
    assert_int_equal(quench->kind, OPERATION_QUENCH);
    assert_string_equal(quench->medium, "aluminium plates");
    assert_true(quench->transfer_at_most.set && quench->cooling_at_most.set && quench->handle_warm_within.set);
    assert_int_equal(quench->transfer_at_most.value, 20000);
    assert_int_equal(quench->falls_at_least_mc_per_s, 15000);
    assert_int_equal(quench->cooling_at_most.value, 90000);
    assert_int_equal(quench->cooling_upper_mc, 850000);
    assert_int_equal(quench->cooling_lower_mc, 400000);
    assert_int_equal(quench->handle_warm_within.value, 600000);
    assert_int_equal(quench->handle_warm_mc, 50000);
    assert_true(quench->may_attest);
    plan_free(plan);
    plan = parse_good(HEAD SOAK QUENCH); // its defaults
    quench = plan_visit_quench(plan, 0);
    assert_string_equal(quench->medium, "");
    assert_int_equal(quench->falls_at_least_mc_per_s, 20000);
    assert_int_equal(quench->cooling_upper_mc, 800000);
    assert_int_equal(quench->cooling_lower_mc, 500000);
    assert_int_equal(quench->handle_warm_mc, 60000);
    assert_false(quench->cooling_at_most.set || quench->handle_warm_within.set || quench->may_attest);
    plan_free(plan);
}

static void cold_and_repeated_tempers_are_visits_of_their_own(void **state) {
    static const char *const names[] = {"low 1", "t 1", "low 2", "t 2"};
    struct plan *plan = parse_good(cycle);
    const struct plan_operation *cold = &plan->operations[5], *temper = &plan->operations[7];

    (void)state;
    assert_int_equal(plan->operation_count, 10);
    assert_int_equal(cold->kind, OPERATION_COLD);
    assert_ptr_equal(plan_visit_soak(plan, 1), cold);
    assert_string_equal(cold->oven, "freezer");
    assert_int_equal(cold->temperature_mc, -75000);
    assert_int_equal(cold->time_at_least_ms, 7200000);
    assert_true(cold->begins_within.set && cold->parts_below_first.set && cold->may_attest);
    assert_int_equal(cold->begins_within.value, 3600000);
    assert_int_equal(cold->parts_below_first.value, 30000);
    for (size_t i = 0; i < COUNT(names); i++) {
        assert_string_equal(plan->operations[6 + i].name, names[i]);
        assert_int_equal(plan->operations[6 + i].visit, 2 + i / 2);
    }
    for (int i = 0; i < 2; i++, temper += 2) {
        assert_int_equal(temper->kind, OPERATION_TEMPER);
        assert_ptr_equal(plan_visit_soak(plan, 2 + (size_t)i), temper);
        assert_int_equal(temper->begins_within.value, 7200000);
        assert_int_equal(temper->parts_below_first.value, 40000);
        assert_true(temper->hollomon_jaffe_constant == 19.5);
        assert_true(temper->equivalent_at_least.set);
        assert_int_equal(temper->equivalent_at_least.value, 5400000);
    }
    plan_free(plan);
    plan = parse_good(HEAD SOAK TEMPER COLD "[temper]\ntemperature = 190 C\nbelow = 5 C\nabove = 8 C\n"
                                            "time_at_least = 2 h\ntimes = 4\n");
    assert_string_equal(plan_visit_soak(plan, 3)->name, "first"); // not "1", which would be a visit's number
    assert_string_equal(plan_visit_soak(plan, 6)->name, "fourth");
    assert_true(plan_visit_soak(plan, 6)->hollomon_jaffe_constant == 20);
    assert_false(plan_visit_soak(plan, 6)->equivalent_at_least.set || plan_visit_soak(plan, 2)->may_attest);
    plan_free(plan);
    plan = parse_good(HEAD TEMPER "times = 2\nparts_below_first = 60 C\nbegins_within = 1 h\n");
    assert_false(plan->operations[0].parts_below_first.set || plan->operations[0].begins_within.set);
    assert_true(plan->operations[1].parts_below_first.set && plan->operations[1].begins_within.set);
    plan_free(plan);
}

static void the_load_is_said_or_every_sensor(void **state) {
    struct plan *plan = parse_good(HEAD SOAK);

    (void)state;
    assert_int_equal(plan->load, PLAN_LOAD_SENSORS);
    assert_string_equal(plan->steel, "");
    plan_free(plan);
    plan = parse_good(CONTROL SOAK "time_at_most = 25 min\n"); // 15 min and 10 min of lag
    assert_int_equal(plan->load, PLAN_LOAD_CONTROL);
    assert_int_equal(plan->lag_allowance_ms, 600000);
    plan_free(plan);
    plan = parse_good("[plan]\ntitle = T\nload = control\nlag_allowance = 0 min\n" SOAK);
    assert_int_equal(plan->lag_allowance_ms, 0);
    plan_free(plan);
    plan_free(NULL);
}

static void steel_hardened_before_may_only_be_tempered(void **state) {
    struct plan *plan = parse_good(HEAD TEMPER "[temper again]\ntemperature = 200 C\nbelow = 5 C\nabove = 5 C\n"
                                               "time_at_least = 1 h\n");

    (void)state;
    assert_int_equal(plan->visit_count, 2);
    plan_free(plan);
}

static void kinds_have_names(void **state) {
    (void)state;
    assert_string_equal(plan_kind_name(OPERATION_HEAT), "heat");
    assert_string_equal(plan_kind_name(OPERATION_SOAK), "soak");
    assert_string_equal(plan_kind_name(OPERATION_TEMPER), "temper");
    assert_string_equal(plan_kind_name(OPERATION_HOLD), "hold");
    assert_string_equal(plan_kind_name(OPERATION_QUENCH), "quench");
    assert_string_equal(plan_kind_name(OPERATION_COLD), "cold");
}

static void the_impossible_is_refused_with_its_line(void **state) {
    static const struct {
        const char *text;
        const char *message; // its beginning
    } refusals[] = {
        {"", "p.plan:1: nothing in the plan"},
        {SOAK, "p.plan:1: [soak s] stands first: expected [plan]"},
        {"[plan x]\ntitle = T\n" SOAK, "p.plan:1: [plan x] stands first"},
        {HEAD, "p.plan:1: no operation in the plan"},
        {"[plan]\n" SOAK, "p.plan:1: [plan] has no title"},
        {HEAD SOAK "[plan again]\n",
         "p.plan:8: unknown section [plan]: expected heat, hold, soak, quench, cold or temper"},
        {HEAD "[preheat q]\n", "p.plan:3: unknown section [preheat]"},
        {HEAD "colour = straw\n" SOAK, "p.plan:3: unknown key 'colour' in [plan]"},
        {HEAD SOAK "ramp_at_most = 1 C/h\n", "p.plan:8: unknown key 'ramp_at_most' in [soak s]"},
        {HEAD HEAT "temperature = 1 C\n" SOAK, "p.plan:6: unknown key 'temperature' in [heat h]"},
        {HEAD SOAK SOAK, "p.plan:8: section [soak s] is given twice"},
        /* load */
        {HEAD "load = all\n" SOAK, "p.plan:3: load: 'all': expected sensors, control, or channels:"},
        {HEAD "load = channels:\n" SOAK, "p.plan:3: load: a name is missing"},
        {HEAD "load = channels: a,,b\n" SOAK, "p.plan:3: load: a name is missing"},
        {HEAD "load = channels: a, b, a\n" SOAK, "p.plan:3: load: 'a' is named twice"},
        {HEAD "load = channels: a,b,c,d,e,f,g,h,i,j,k,l,m,n,o,p,q\n" SOAK, "p.plan:3: load: too many names"},
        {HEAD "load = channels: 1234567890123456789012345678901234567890123456789012345678901234\n" SOAK,
         "p.plan:3: load: name too long: expected at most 63 bytes"},
        {HEAD "load = control\n" SOAK, "p.plan:1: [plan] has no lag_allowance"},
        {HEAD "lag_allowance = 1 min\n" SOAK, "p.plan:3: lag_allowance: only with load = control"},
        {HEAD "load = control\nlag_allowance = 5\n" SOAK, "p.plan:4: lag_allowance: '5' has no unit"},
        /* heat */
        {HEAD "[heat h]\nramp_between = 1 C .. 2 C\n" SOAK, "p.plan:3: [heat h] has no ramp_at_most"},
        {HEAD "[heat h]\nramp_at_most = 1 C/h\n" SOAK, "p.plan:3: [heat h] has no ramp_between"},
        {HEAD "[heat h]\nramp_at_most = 0 C/h\n" SOAK, "p.plan:4: ramp_at_most: nothing heats at 0 C/h"},
        {HEAD "[heat h]\nramp_at_most = 100 C\n" SOAK,
         "p.plan:4: ramp_at_most: '100 C' does not end in a known unit"},
        {HEAD HEAT "ramp_window = 9 s\n" SOAK, "p.plan:6: ramp_window: out of range"},
        {HEAD HEAT "ramp_window = 3 h\n" SOAK, "p.plan:6: ramp_window: out of range"},
        {HEAD HEAT, "p.plan:3: a heat that leads to nothing"},
        {HEAD SOAK HEAT, "p.plan:8: a heat that leads to nothing"},
        {HEAD "[heat h]\nramp_at_most = 1 C/h\nramp_between = 200 C .. 802.001 C\n" SOAK,
         "p.plan:5: ramp_between: up to 802.0 °C, which is inside the band of the soak on line 6"},
        {HEAD SOAK HEAT TEMPER, "p.plan:10: ramp_between: up to 700.0 °C, which is inside the band of the temper"},
        {HEAD HEAT "oven = small\n" SOAK "oven = big\n",
         "p.plan:6: oven: 'small', but the soak on line 7 that it leads to is in 'big'"},
        {HEAD HEAT "oven = small\n" SOAK,
         "p.plan:6: oven: 'small', but the soak on line 7 that it leads to is in the batch's own"},
        /* soak and temper */
        {HEAD "[soak s]\n", "p.plan:3: [soak s] has no temperature"},
        {HEAD "[soak s]\ntemperature = 808 C\n", "p.plan:3: [soak s] has no below"},
        {HEAD "[soak s]\ntemperature = 808 C\nbelow = 1 C\n", "p.plan:3: [soak s] has no above"},
        {HEAD "[temper]\ntemperature = 808 C\nbelow = 1 C\nabove = 1 C\n",
         "p.plan:3: [temper] has no time_at_least"},
        {HEAD "[soak s]\ntemperature = 808\n", "p.plan:4: temperature: '808' has no unit"},
        {HEAD "[soak s]\ntemperature = 808 C\nbelow = 0 C\n", "p.plan:5: below: a band of nothing"},
        {HEAD "[soak s]\ntemperature = 808 C\nbelow = 1 C\nabove = 0 F\n", "p.plan:6: above: a band of nothing"},
        {HEAD "[soak s]\ntemperature = 808 C\nbelow = 1 C\nabove = -1 C\n", "p.plan:6: above: '-1 C' is negative"},
        {HEAD "[soak s]\ntemperature = 808 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 0 s\n",
         "p.plan:7: time_at_least: no time at all"},
        {HEAD SOAK "time_at_most = 14 min 59 s\n", "p.plan:8: time_at_most: less than time_at_least: expected"},
        {CONTROL SOAK "time_at_most = 24 min 59 s\n",
         "p.plan:10: time_at_most: less than time_at_least and lag_allowance together"},
        {HEAD SOAK "overshoot_at_most = 3\n", "p.plan:8: overshoot_at_most: '3' has no unit"},
        {HEAD SOAK "spread_at_most = 0 C\n", "p.plan:8: spread_at_most: no two sensors agree"},
        {CONTROL SOAK "spread_at_most = 5 C\n", "p.plan:10: spread_at_most: a spread needs two sensors"},
        {HEAD "load = channels: a\n" SOAK "spread_at_most = 5 C\n", "p.plan:9: spread_at_most: a spread needs two"},
        {HEAD SOAK "oven = 1234567890123456789012345678901234567890123456789012345678901234\n",
         "p.plan:8: oven: name too long"},
        {HEAD "[soak 1234567890123456789012345678901234567890123456789012345678901234]\n",
         "p.plan:3: name of a section too long"},
        {HEAD TEMPER SOAK, "p.plan:3: a temper before the first soak"},
        {HEAD SOAK "[temper t]\ntemperature = 808 C\nbelow = 5 C\nabove = 8 C\ntime_at_least = 2 h\n",
         "p.plan:9: temperature: not below the soak before it"},
        /* [plan] of the whole cycle */
        {HEAD "decision = strict\n" SOAK, "p.plan:3: decision: 'strict': expected simple or guarded"},
        {HEAD "martensite_start = 200\n" SOAK, "p.plan:3: martensite_start: '200' has no unit"},
        {HEAD "martensite_start = 802 C\n" SOAK, "p.plan:3: martensite_start: not below the soak on line 4"},
        {HEAD "hardness = 58 HRC\n" SOAK, "p.plan:3: hardness: '58 HRC': expected two numbers and a scale"},
        {HEAD "hardness = 58 to 62 HRC\n" SOAK, "p.plan:3: hardness: '58 to 62 HRC': expected two numbers"},
        {HEAD "hardness = 58 .. 62\n" SOAK, "p.plan:3: hardness: '58 .. 62': expected two numbers and a scale"},
        {HEAD "hardness = 58 .. 62 C\n" SOAK, "p.plan:3: hardness: '58 .. 62 C': expected two numbers"},
        {HEAD "hardness = 58 .. 62 HR\n" SOAK, "p.plan:3: hardness: '58 .. 62 HR': expected two numbers"},
        {HEAD "hardness = 58 .. 62 HRC 3\n" SOAK, "p.plan:3: hardness: '58 .. 62 HRC 3': expected two"},
        {HEAD "hardness = 58.0005 .. 62 HRC\n" SOAK, "p.plan:3: hardness: '58.0005 .. 62 HRC': expected two"},
        {HEAD "hardness = 62 .. 58 HRC\n" SOAK, "p.plan:3: hardness: '62 .. 58 HRC' does not rise"},
        {HEAD "hardness = 62 .. 62 HRC\n" SOAK, "p.plan:3: hardness: '62 .. 62 HRC' does not rise"},
        {HEAD "hardness = 62 .. 71 HRC\n" SOAK, "p.plan:3: hardness: '62 .. 71 HRC' leaves the scale"},
        {HEAD "hardness = 500 .. 3001 HV\n" SOAK, "p.plan:3: hardness: '500 .. 3001 HV' is harder than steel"},
        {HEAD "hardness_readings = 3\n" SOAK, "p.plan:3: hardness_readings: only with hardness"},
        {HEAD "hardness = 58 .. 62 HRC\nhardness_readings = 0\n" SOAK,
         "p.plan:4: hardness_readings: '0' is out of range: expected a whole number from 1 to 99"},
        /* load_at_most */
        {HEAD HEAT "load_at_most = 802 C\n" SOAK, "p.plan:6: load_at_most: not below the soak on line 7"},
        {HEAD HEAT "[heat g]\nramp_at_most = 1 C/h\nramp_between = 1 C .. 2 C\nload_at_most = 1 C\n" SOAK,
         "p.plan:9: load_at_most: only at the beginning of a visit"},
        /* hold */
        {HEAD "[hold]\ntemperature = 650 C\nbelow = 1 C\nabove = 1 C\n" SOAK, "p.plan:3: [hold] has no time_at"},
        {HEAD HOLD "time_at_most = 1 h\n" SOAK, "p.plan:8: unknown key 'time_at_most' in [hold p]"},
        {HEAD HOLD, "p.plan:3: a hold that leads to nothing: expected a soak behind it"},
        {HEAD SOAK HOLD, "p.plan:8: a hold that leads to nothing"},
        {HEAD HOLD TEMPER, "p.plan:3: a hold before the temper on line 8"},
        {HEAD SOAK HOLD COLD, "p.plan:8: a hold before the cold on line 13: expected it before a soak"},
        {HEAD SOAK HEAT COLD, "p.plan:8: a heat before the cold on line 11: expected it before a soak or temper"},
        {HEAD HOLD "[hold r]\ntemperature = 650 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n" SOAK,
         "p.plan:4: temperature: not below the hold on line 8 behind it: expected holds to rise"},
        {HEAD "[hold r]\ntemperature = 808 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n" SOAK,
         "p.plan:4: temperature: not below the soak on line 8 behind it"},
        {HEAD "[hold r]\ntemperature = 800 C\nbelow = 1 C\nabove = 2 C\ntime_at_least = 1 h\n" SOAK,
         "p.plan:6: above: the band reaches up to 802.0 °C, into that of the soak on line 8"},
        {HEAD HEAT HOLD SOAK, "p.plan:5: ramp_between: up to 700.0 °C, which is inside the band of the hold"},
        {HEAD HOLD HEAT SOAK,
         "p.plan:10: ramp_between: from 200.0 °C, which is below the hold on line 3 that it begins at"},
        {HEAD HOLD "oven = small\n" SOAK, "p.plan:8: oven: 'small', but the soak on line 9 that it leads to"},
        {HEAD "[hold a]\ntemperature = 100 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n"
              "[hold b]\ntemperature = 200 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n"
              "[hold c]\ntemperature = 300 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n" HOLD SOAK,
         "p.plan:18: too many holds before one soak: expected at most 3"},
        /* soak */
        {HEAD SOAK "[soak again]\ntemperature = 780 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n",
         "p.plan:8: a second soak in one visit, behind that on line 3"},
        /* quench */
        {HEAD QUENCH SOAK, "p.plan:3: a quench that is not right behind a soak"},
        {HEAD SOAK TEMPER QUENCH, "p.plan:13: a quench that is not right behind a soak"},
        {HEAD SOAK QUENCH "[quench r]\ntransfer_at_most = 1 s\n", "p.plan:10: a quench that is not right behind"},
        {HEAD SOAK "[quench]\nmedium = oil\n", "p.plan:8: a quench that asks for nothing"},
        {HEAD SOAK "[quench]\ntransfer_at_most = 0 s\n", "p.plan:9: transfer_at_most: no time at all"},
        {HEAD SOAK "[quench]\ncooling_at_most = 0 s\n", "p.plan:9: cooling_at_most: no time at all"},
        {HEAD SOAK "[quench]\nhandle_warm_within = 0 s\n", "p.plan:9: handle_warm_within: no time at all"},
        {HEAD SOAK QUENCH "falls_at_least = 0 C/s\n", "p.plan:10: falls_at_least: that is no fall"},
        {HEAD SOAK QUENCH "falls_at_least = 20 C\n", "p.plan:10: falls_at_least: '20 C' does not end in a known"},
        {HEAD SOAK QUENCH "cooling = 500 C .. 800 C\n", "p.plan:10: cooling: '500 C .. 800 C' is upside down"},
        {HEAD SOAK QUENCH "cooling = 500 C .. 500 C\n", "p.plan:10: cooling: '500 C .. 500 C' is upside down"},
        {HEAD SOAK QUENCH "cooling = 500 C\n",
         "p.plan:10: cooling: '500 C' has no '..': expected two temperatures"},
        {HEAD SOAK QUENCH "cooling = 700 .. 500 C\n", "p.plan:10: cooling: '700' has no unit"},
        {HEAD SOAK QUENCH "cooling = 700 C .. 5000 C\n", "p.plan:10: cooling: '5000 C' is not within"},
        {HEAD SOAK QUENCH "cooling = 700 C .. 5                                                               C\n",
         "p.plan:10: cooling: too long: expected two temperatures"},
        {HEAD SOAK QUENCH "cooling = 802.1 C .. 500 C\n",
         "p.plan:10: cooling: from 802.1 °C, but the soak on line 3 may begin to cool at 802.0 °C"},
        {HEAD "[soak]\ntemperature = 788 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n"
              "[quench]\ncooling_at_most = 4 s\n",
         "p.plan:9: cooling_at_most: from 800.0 °C, but the soak on line 3 may begin to cool at 787.0 °C"},
        {HEAD SOAK QUENCH "handle_warm = 501 C\n", "p.plan:10: handle_warm: above the lower end of cooling"},
        {HEAD "[soak]\ntemperature = 50 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n" QUENCH,
         "p.plan:8: handle_warm: not below the soak on line 3"},
        {HEAD SOAK QUENCH "may_attest = maybe\n", "p.plan:10: may_attest: 'maybe': expected no or yes"},
        {HEAD SOAK QUENCH "oven = trough\n",
         "p.plan:10: oven: 'trough', but the soak on line 3 that it follows is"},
        {HEAD SOAK QUENCH "times = 2\n", "p.plan:10: unknown key 'times' in [quench q]"},
        /* cold */
        {HEAD COLD SOAK, "p.plan:3: a cold before any soak: expected it behind a soak and its quench"},
        {HEAD COLD TEMPER, "p.plan:3: a cold before any soak"},
        {HEAD SOAK TEMPER COLD, "p.plan:13: a cold behind the last temper: expected another temper"},
        {HEAD SOAK TEMPER COLD "[soak 2]\ntemperature = 808 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n"
                               "[temper 2]\ntemperature = 180 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n",
         "p.plan:13: a cold behind the last temper"},
        {HEAD SOAK "[cold]\ntemperature_at_most = -75 C\n", "p.plan:8: [cold] has no oven"},
        {HEAD SOAK "[cold]\noven = freezer\n", "p.plan:8: [cold] has no temperature_at_most"},
        {HEAD SOAK "[cold]\noven = freezer\ntemperature_at_most = 0 C\n",
         "p.plan:10: temperature_at_most: not sub-zero"},
        {HEAD SOAK "[cold]\noven = freezer\ntemperature_at_most = -274 C\n",
         "p.plan:10: temperature_at_most: '-274 C' is not within"},
        {HEAD SOAK "[cold]\noven = freezer\ntemperature_at_most = -70 C\n",
         "p.plan:8: [cold] has no time_at_least"},
        {HEAD SOAK COLD "may_attest = y\n", "p.plan:12: may_attest: 'y': expected no or yes"},
        {HEAD SOAK COLD "begins_within = 0 h\n", "p.plan:12: begins_within: no time at all"},
        {HEAD SOAK COLD "parts_below_first = 802 C\n",
         "p.plan:12: parts_below_first: not below the soak on line 3 before it: expected less than 802.0 °C"},
        {HEAD SOAK TEMPER COLD "parts_below_first = 175 C\n[temper u]\ntemperature = 180 C\nbelow = 5 C\nabove = 8 "
                               "C\ntime_at_least = 2 h\n",
         "p.plan:17: parts_below_first: not below the temper on line 8 before it: expected less than 175.0 °C"},
        /* temper */
        {HEAD TEMPER "begins_within = 1 h\n", "p.plan:8: begins_within: nothing comes before this temper"},
        {HEAD TEMPER "parts_below_first = 60 C\n", "p.plan:8: parts_below_first: nothing comes before this temper"},
        {HEAD TEMPER "times = 2\nparts_below_first = 175 C\n",
         "p.plan:9: parts_below_first: not below the temper on line 3"},
        {HEAD TEMPER "times = 0\n", "p.plan:8: times: '0' is out of range: expected a whole number from 1 to 4"},
        {HEAD TEMPER "times = 5\n", "p.plan:8: times: '5' is out of range"},
        {HEAD TEMPER "hollomon_jaffe_constant = 4.999\n",
         "p.plan:8: hollomon_jaffe_constant: '4.999': expected a number from 5 to 40"},
        {HEAD TEMPER "hollomon_jaffe_constant = 40.001\n", "p.plan:8: hollomon_jaffe_constant: '40.001'"},
        {HEAD TEMPER "hollomon_jaffe_constant = 20.\n", "p.plan:8: hollomon_jaffe_constant: '20.'"},
        {HEAD TEMPER "equivalent_at_least = 0 h\n", "p.plan:8: equivalent_at_least: no time at all"},
        {HEAD TEMPER
         "times = 2\n[temper t 2]\ntemperature = 180 C\nbelow = 5 C\nabove = 8 C\ntime_at_least = 2 h\n",
         "p.plan:9: [temper t 2] is also on line 3"},
        {HEAD "[temper 12345678901234567890123456789012345678901234567890123456789012]\ntemperature = 180 C\n"
              "below = 5 C\nabove = 8 C\ntime_at_least = 2 h\ntimes = 2\n",
         "p.plan:3: name of a section too long: expected at most 61 bytes where it is repeated"},
        /* what the keyfile refuses */
        {HEAD SOAK "below = 3 C\n", "p.plan:8: key 'below' is given twice"},
        {"title = T\n", "p.plan:1: text before the first section"},
    };

    (void)state;
    for (size_t i = 0; i < COUNT(refusals); i++) {
        struct fault fault = {0, ""};

        if (parse(refusals[i].text, &fault) != NULL)
            fail_msg("taken: %s", refusals[i].text);
        if (strncmp(fault.text, refusals[i].message, strlen(refusals[i].message)) != 0)
            fail_msg("\"%s\", expected \"%s\"", fault.text, refusals[i].message);
        assert_int_equal(fault.status, EX_DATAERR);
    }
}

static void a_plan_that_is_not_there_is_named(void **state) {
    struct fault fault = {0, ""};

    (void)state;
    assert_null(plan_read("no/such.plan", &fault));
    assert_int_equal(fault.status, EX_NOINPUT);
    assert_string_equal(fault.text, "no/such.plan: cannot be opened: No such file or directory");
}

/* The judge writes at most JUDGE_MOST_VERDICTS for a visit: a plan may not ask for more. */
static void a_visit_never_asks_for_more_verdicts_than_there_is_room_for(void **state) {
    char text[8192];
    struct fault fault = {0, ""};
    struct plan *plan = NULL;
    size_t used = (size_t)snprintf(text, sizeof text, HEAD);
    int heats = 0;

    (void)state;
    do {
        plan_free(plan);
        heats++;
        used += (size_t)snprintf(text + used, sizeof text - used,
                                 "[heat %d]\nramp_at_most = 1 C/h\nramp_between = 1 C .. 2 C\n", heats);
        snprintf(text + used, sizeof text - used, SOAK "time_at_most = 1 h\nspread_at_most = 1 C\n");
        plan = parse(text, &fault);
    } while (plan != NULL && heats < 64);
    assert_string_equal(fault.text, "p.plan:51: too many heats before one soak: expected at most 16");
    /* the longest accepted visit: its heats and the load at the beginning, three holds with two verdicts each, four
     * of the soak, four of the quench */
    assert_true(heats - 1 + 1 + 3 * 2 + 4 + 4 <= JUDGE_MOST_VERDICTS);
}

static void too_many_operations_are_refused(void **state) {
    char text[8192];
    struct fault fault = {0, ""};
    size_t used = (size_t)snprintf(text, sizeof text, HEAD);

    (void)state;
    for (int i = 0; i < 64; i++)
        used +=
            (size_t)snprintf(text + used, sizeof text - used,
                             "[temper %d]\ntemperature = 8 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n", i);
    plan_free(parse_good(text));
    snprintf(text + used, sizeof text - used, "times = 2\n"); // one more by repetition
    assert_null(parse(text, &fault));
    assert_string_equal(fault.text, "p.plan:318: too many operations: expected at most 64");
    snprintf(text + used, sizeof text - used, "[temper]\n");
    assert_null(parse(text, &fault));
    assert_string_equal(fault.text, "p.plan:323: too many operations: expected at most 64");
}

/* Random orders of good and odd pieces: a refusal names a line of the text; what is accepted keeps its promises. */
static void random_plans_are_refused_or_make_sense(void **state) {
    static const char *const pieces[] = {
        HEAT,
        SOAK,
        TEMPER,
        "[heat]\nramp_at_most = 100 F/h\nramp_between = 100 F .. 170 C\n",
        "[soak]\ntemperature = 900 C\nbelow = 900 C\nabove = 1 C\ntime_at_least = 1 ms\n",
        "[temper]\ntemperature = 900 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 ms\n",
        "oven = big\n",
        "oven = small\n",
        "time_at_most = 30 min\n",
        "spread_at_most = 4 C\n",
        "ramp_window = 1 min\n",
        "load = control\n",
        "lag_allowance = 1 h\n",
        HOLD,
        QUENCH,
        "[quench]\nhandle_warm_within = 10 min\ncooling = 700 C .. 400 C\n",
        COLD,
        "times = 3\n",
        "parts_below_first = 40 C\n",
        "load_at_most = 100 C\n",
    };
    uint64_t random = UINT64_C(20261116);
    int taken = 0;

    (void)state;
    print_message("seed %llu\n", (unsigned long long)random);
    for (int i = 0; i < 60000; i++) {
        char text[2048] = HEAD;
        size_t used = strlen(text);
        struct fault fault = {0, ""};
        struct plan *plan;
        int lines = 1, line = 0;

        for (int k = 0; k < 1 + i % 6; k++) {
            random ^= random << 13, random ^= random >> 7, random ^= random << 17;
            used += (size_t)snprintf(text + used, sizeof text - used, "%s", pieces[random % COUNT(pieces)]);
        }
        for (const char *c = text; *c != '\0'; c++)
            lines += *c == '\n';
        plan = parse(text, &fault);
        if (plan == NULL) {
            if (sscanf(fault.text, "p.plan:%d: ", &line) != 1 || line < 1 || line > lines)
                fail_msg("\"%s\" for:\n%s", fault.text, text);
            continue;
        }
        taken++;
        assert_true(plan->visit_count > 0);
        for (size_t k = 0; k < plan->operation_count; k++) {
            const struct plan_operation *operation = &plan->operations[k];
            const struct plan_operation *soak = plan_visit_soak(plan, operation->visit);

            assert_string_equal(operation->oven, soak->oven);
            if (operation->kind == OPERATION_HEAT)
                assert_true(operation < soak && operation->ramp_high_mc <= soak->temperature_mc - soak->below_mc);
            else if (operation->kind == OPERATION_HOLD)
                assert_true(operation < soak && operation->temperature_mc + operation->above_mc <
                                                    soak->temperature_mc - soak->below_mc);
            else if (operation->kind == OPERATION_QUENCH)
                assert_true(operation == soak + 1 && plan_visit_quench(plan, operation->visit) == operation);
            else
                assert_ptr_equal(operation, soak);
        }
        plan_free(plan);
    }
    assert_true(taken > 100);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_examples_say_what_their_text_says),
        cmocka_unit_test(every_key_arrives),
        cmocka_unit_test(the_head_of_a_whole_cycle_arrives),
        cmocka_unit_test(one_visit_reaches_from_the_heat_to_the_quench),
        cmocka_unit_test(cold_and_repeated_tempers_are_visits_of_their_own),
        cmocka_unit_test(the_load_is_said_or_every_sensor),
        cmocka_unit_test(steel_hardened_before_may_only_be_tempered),
        cmocka_unit_test(kinds_have_names),
        cmocka_unit_test(the_impossible_is_refused_with_its_line),
        cmocka_unit_test(a_plan_that_is_not_there_is_named),
        cmocka_unit_test(a_visit_never_asks_for_more_verdicts_than_there_is_room_for),
        cmocka_unit_test(too_many_operations_are_refused),
        cmocka_unit_test(random_plans_are_refused_or_make_sense),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
