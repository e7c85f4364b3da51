// SPDX-License-Identifier: MIT
/* Plans that are refused: with file and line, and what was expected. */
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
        {HEAD SOAK COLD "may_attest = yes\n", "p.plan:12: unknown key 'may_attest'"},
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
        assert_int_equal(fault.status, EX_CONFIG);
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
    struct plan *plan;
    size_t used = (size_t)snprintf(text, sizeof text, HEAD);

    (void)state;
    for (int i = 0; i < 64; i++)
        used +=
            (size_t)snprintf(text + used, sizeof text - used,
                             "[temper %d]\ntemperature = 8 C\nbelow = 1 C\nabove = 1 C\ntime_at_least = 1 h\n", i);
    plan = parse(text, &fault);
    assert_non_null(plan);
    plan_free(plan);
    snprintf(text + used, sizeof text - used, "times = 2\n"); // one more by repetition
    assert_null(parse(text, &fault));
    assert_string_equal(fault.text, "p.plan:318: too many operations: expected at most 64");
    snprintf(text + used, sizeof text - used, "[temper]\n");
    assert_null(parse(text, &fault));
    assert_string_equal(fault.text, "p.plan:323: too many operations: expected at most 64");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_impossible_is_refused_with_its_line),
        cmocka_unit_test(a_plan_that_is_not_there_is_named),
        cmocka_unit_test(a_visit_never_asks_for_more_verdicts_than_there_is_room_for),
        cmocka_unit_test(too_many_operations_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
