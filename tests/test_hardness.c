// SPDX-License-Identifier: MIT
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/hardness.h"

/* 3 readings of 58 to 62 HRC. */
static const struct plan simple = {.hardness = {"HRC", 58000, 62000, 3}};
static const struct plan guarded = {.hardness = {"HRC", 58000, 62000, 3}, .decision = PLAN_DECISION_GUARDED};

static void is(const struct plan *plan, const struct hardness_reading *readings, size_t count, enum outcome outcome,
               enum hardness_why why, const char *words) {
    const struct hardness_verdict verdict = hardness_judge(plan, readings, count);
    char text[HARDNESS_WORDS_BYTES];

    assert_true(verdict.asked);
    assert_string_equal(hardness_describe(plan, &verdict, text), words);
    assert_int_equal(verdict.outcome, outcome);
    assert_int_equal(verdict.why, why);
}

static void limits_belong_to_the_range(void **state) {
    static const struct hardness_reading readings[] = {{"HRC", 58000, 0}, {"HRC", 62000, 0}, {"HRC", 60500, 0}};

    (void)state;
    is(&simple, readings, 3, OUTCOME_MET, HARDNESS_INSIDE,
       "3 readings, 58 to 62 HRC; asked for: 3 of 58 to 62 HRC");
}

static void too_few_are_not_proven(void **state) {
    static const struct hardness_reading readings[] = {{"HRC", 60000, 0}, {"HRC", 60000, 0}};

    (void)state;
    is(&simple, readings, 0, OUTCOME_NOT_PROVEN, HARDNESS_TOO_FEW, "no reading; asked for: 3 of 58 to 62 HRC");
    is(&simple, readings, 1, OUTCOME_NOT_PROVEN, HARDNESS_TOO_FEW,
       "1 reading, 60 HRC; asked for: 3 of 58 to 62 HRC");
    is(&simple, readings, 2, OUTCOME_NOT_PROVEN, HARDNESS_TOO_FEW,
       "2 readings, 60 HRC; asked for: 3 of 58 to 62 HRC");
}

static void one_outside_is_not_met_however_few_there_are(void **state) {
    static const struct hardness_reading readings[] = {
        {"HRC", 57999, 0}, {"HRC", 60000, 0}, {"HRC", 60000, 0}, {"HRC", 62001, 0}};

    (void)state;
    is(&simple, readings, 1, OUTCOME_NOT_MET, HARDNESS_OUTSIDE,
       "1 reading, 57.999 HRC, 1 outside; asked for: 3 of 58 to 62 HRC");
    is(&simple, readings, 4, OUTCOME_NOT_MET, HARDNESS_OUTSIDE,
       "4 readings, 57.999 to 62.001 HRC, 2 outside; asked for: 3 of 58 to 62 HRC");
}

/* There is no conversion between scales. */
static void another_scale_does_not_count(void **state) {
    static const struct hardness_reading readings[] = {
        {"HRC", 60000, 0}, {"HV10", 700000, 0}, {"HRC", 60000, 0}, {"HRA", 81000, 0}, {"HRC", 60000, 0}};

    (void)state;
    is(&simple, readings, 4, OUTCOME_NOT_PROVEN, HARDNESS_TOO_FEW,
       "2 readings, 60 HRC; asked for: 3 of 58 to 62 HRC; 2 on another scale do not count");
    is(&simple, readings, 5, OUTCOME_MET, HARDNESS_INSIDE,
       "3 readings, 60 HRC; asked for: 3 of 58 to 62 HRC; 2 on another scale do not count");
}

static void the_guarded_rule_wants_the_uncertainty_inside_too(void **state) {
    static const struct hardness_reading readings[] = {
        {"HRC", 59000, 1000}, {"HRC", 61000, 1000}, {"HRC", 60000, 0}};
    static const struct hardness_reading close[] = {{"HRC", 58999, 1000}, {"HRC", 61000, 1000}, {"HRC", 60000, 0}};

    (void)state;
    is(&guarded, readings, 3, OUTCOME_MET, HARDNESS_INSIDE,
       "3 readings, 59 to 61 HRC; asked for: 3 of 58 to 62 HRC");
    is(&guarded, close, 3, OUTCOME_NOT_PROVEN, HARDNESS_UNCERTAIN,
       "3 readings, 58.999 to 61 HRC, inside by less than the uncertainty; asked for: 3 of 58 to 62 HRC");
    is(&simple, close, 3, OUTCOME_MET, HARDNESS_INSIDE,
       "3 readings, 58.999 to 61 HRC; asked for: 3 of 58 to 62 HRC");
}

static void a_plan_that_asks_for_none_gets_no_verdict(void **state) {
    static const struct plan none = {.hardness = {"", 0, 0, 0}};
    static const struct hardness_reading reading = {"HRC", 60000, 0};
    const struct hardness_verdict verdict = hardness_judge(&none, &reading, 1);
    char text[HARDNESS_WORDS_BYTES];

    (void)state;
    assert_false(verdict.asked);
    assert_string_equal(hardness_describe(&none, &verdict, text), "");
}

static void numbers_with_their_scale_are_read(void **state) {
    static const struct {
        const char *text, *scale;
        int64_t value;
    } good[] = {{"60 HRC", "HRC", 60000},    {" 59.5\tHRC", "HRC", 59500}, {"712HV10", "HV10", 712000},
                {"70 HRC", "HRC", 70000},    {"0.001 HBW", "HBW", 1},      {"3000 HV", "HV", 3000000},
                {"60.125 HRC", "HRC", 60125}};
    char scale[HARDNESS_SCALE_BYTES], text[HARDNESS_WORDS_BYTES];
    struct fault fault;
    int64_t value;

    (void)state;
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        assert_int_equal(hardness_parse(good[i].text, &value, scale, &fault), 0);
        assert_int_equal(value, good[i].value);
        assert_string_equal(scale, good[i].scale);
    }
    assert_string_equal(hardness_format(60125, "HRC", text), "60.125 HRC");
    assert_string_equal(hardness_format(60000, "HRC", text), "60 HRC");
    assert_string_equal(hardness_format(1, "HBW", text), "0.001 HBW");
    assert_string_equal(hardness_format(100500, "HBW", text), "100.5 HBW");
}

static void what_is_no_hardness_is_refused(void **state) {
    static const char *const bad[] = {"",           "60",
                                      "HRC",        "-60 HRC",
                                      "60. HRC",    "60.1234 HRC",
                                      "60 C",       "60 hrc",
                                      "60,5 HRC",   "0 HRC",
                                      "0.000 HV",   "3001 HV",
                                      "71 HRC",     "70.001 HRC",
                                      "99999 HV",   "6e1 HRC",
                                      "60 HR",      "60 HRC extra",
                                      "60  ",       ".5 HRC",
                                      "1000000 HV", "60 HRCXXXXXXXXXXXXXXXXXX"};
    char scale[HARDNESS_SCALE_BYTES];
    struct fault fault;
    int64_t value;

    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        if (hardness_parse(bad[i], &value, scale, &fault) != -1)
            fail_msg("'%s' was taken for %lld %s", bad[i], (long long)value, scale);
        assert_int_equal(fault.status, EX_USAGE);
        assert_null(strchr(fault.text, '\n'));
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(limits_belong_to_the_range),
        cmocka_unit_test(too_few_are_not_proven),
        cmocka_unit_test(one_outside_is_not_met_however_few_there_are),
        cmocka_unit_test(another_scale_does_not_count),
        cmocka_unit_test(the_guarded_rule_wants_the_uncertainty_inside_too),
        cmocka_unit_test(a_plan_that_asks_for_none_gets_no_verdict),
        cmocka_unit_test(numbers_with_their_scale_are_read),
        cmocka_unit_test(what_is_no_hardness_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
