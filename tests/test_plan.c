// SPDX-License-Identifier: MIT
/* Plans: the examples that are shipped, what every key means, and that random ones make sense. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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
    assert_int_equal(plan->visit_count, 2);
    assert_string_equal(plan_visit_quench(plan, 0)->medium, "oil");
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

/* tests/reference/steels_typical.csv: grade, lowest and highest hardening temperature, ..., ..., lowest and highest
 * tempering temperature, which may be empty. */
struct typical {
    char grade[16];
    int hardening_low, hardening_high, temper_low, temper_high; // C; 0 for an empty field
};

static size_t read_typical(struct typical *rows, size_t most) {
    enum { FIELDS = 7 };
    FILE *file = fopen("tests/reference/steels_typical.csv", "r");
    char line[512];
    size_t count = 0;

    assert_non_null(file);
    while (count < most && fgets(line, sizeof line, file) != NULL) {
        char *rest = line, *fields[FIELDS] = {0};

        if (line[0] == '#' || strncmp(line, "grade,", 6) == 0)
            continue;
        for (size_t i = 0; i < FIELDS; i++)
            fields[i] = rest != NULL ? strsep(&rest, ",") : "";
        snprintf(rows[count].grade, sizeof rows[count].grade, "%s", fields[0]);
        rows[count].hardening_low = atoi(fields[1]);
        rows[count].hardening_high = atoi(fields[2]);
        rows[count].temper_low = atoi(fields[5]);
        rows[count].temper_high = atoi(fields[6]);
        count++;
    }
    fclose(file);
    return count;
}

/* "O1" is the second word of "AISI O1 (UNS T31501)". */
static bool is_of(const struct plan *plan, const char *grade) {
    const char *second = strchr(plan->steel, ' ');
    const size_t length = strlen(grade);

    return second != NULL && strncmp(second + 1, grade, length) == 0 && strchr(" ", second[1 + length]) != NULL;
}

static bool is_within(int64_t mc, int low, int high) {
    return low != 0 && mc >= low * INT64_C(1000) && mc <= high * INT64_C(1000);
}

/* The temperature itself; a band's edges are the plan's own choice. */
static bool is_typical(const struct plan *plan, const struct plan_operation *operation, const struct typical *row) {
    if (!is_of(plan, row->grade))
        return false;
    return operation->kind == OPERATION_SOAK
               ? is_within(operation->temperature_mc, row->hardening_low, row->hardening_high)
               : is_within(operation->temperature_mc, row->temper_low, row->temper_high);
}

/* A line with a figure says where the figure is from. */
static void check_statuses(const char *path, const char *text) {
    char line[256];

    for (const char *at = text; *at != '\0'; at += strcspn(at, "\n"), at += *at == '\n') {
        const char *equals, *comment;

        snprintf(line, sizeof line, "%.*s", (int)strcspn(at, "\n"), at);
        equals = line[0] != ';' ? strchr(line, '=') : NULL;
        if (equals == NULL || strpbrk(equals, "0123456789") == NULL)
            continue;
        comment = strstr(line, " ; ");
        if (comment == NULL || (strstr(comment, "read") == NULL && strstr(comment, "MEMORY") == NULL &&
                                strstr(comment, "practice") == NULL))
            fail_msg("%s: no status beside '%s'", path, line);
    }
}

static void the_examples_lie_where_their_steels_do(void **state) {
    struct typical rows[64];
    const size_t count = read_typical(rows, COUNT(rows));
    bool covered[64] = {false};
    glob_t found;

    (void)state;
    assert_int_equal(count, 17);
    assert_int_equal(glob("daemon/plan/examples/*.plan", 0, NULL, &found), 0);
    assert_true(found.gl_pathc >= 8);
    for (size_t i = 0; i < found.gl_pathc; i++) {
        struct plan *plan = read_good(found.gl_pathv[i]);

        check_statuses(found.gl_pathv[i], plan->text);
        assert_non_null(strstr(plan->source, "confirm with the maker's"));
        for (size_t k = 0; k < plan->visit_count; k++) {
            const struct plan_operation *operation = plan_visit_soak(plan, k);
            bool typical = operation->kind == OPERATION_COLD;

            for (size_t row = 0; row < count; row++) {
                covered[row] |= is_of(plan, rows[row].grade);
                typical |= is_typical(plan, operation, &rows[row]);
            }
            if (!typical)
                fail_msg("%s: line %d is out of the range of %s", found.gl_pathv[i], operation->line, plan->steel);
        }
        plan_free(plan);
    }
    globfree(&found);
    for (size_t row = 0; row < count; row++)
        if (!covered[row])
            fail_msg("no example of %s", rows[row].grade);
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
    "begins_within = 1 h\nparts_below_first = 30 C\n"
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
    assert_true(cold->begins_within.set && cold->parts_below_first.set && !cold->may_attest);
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
        cmocka_unit_test(the_examples_lie_where_their_steels_do),
        cmocka_unit_test(every_key_arrives),
        cmocka_unit_test(the_head_of_a_whole_cycle_arrives),
        cmocka_unit_test(one_visit_reaches_from_the_heat_to_the_quench),
        cmocka_unit_test(cold_and_repeated_tempers_are_visits_of_their_own),
        cmocka_unit_test(the_load_is_said_or_every_sensor),
        cmocka_unit_test(steel_hardened_before_may_only_be_tempered),
        cmocka_unit_test(kinds_have_names),
        cmocka_unit_test(random_plans_are_refused_or_make_sense),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
