// SPDX-License-Identifier: MIT
/* Accuracy tests and surveys in the ledger: what goes in comes out, numbered, and nobody changes it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/trials.h"
#include "support/bench_ledger.h"

static const int64_t t0 = BENCH_STARTED_MS;

static struct trials_accuracy an_accuracy(const struct bench *bench) {
    struct trials_accuracy accuracy = {.done_ms = t0 + 1000,
                                       .done_by = "A. Hart",
                                       .note = "after the \xC3\xB6"
                                               "ven's rebuild",
                                       .oven_id = bench->ovens[0],
                                       .reference = "hand-held H-3"};
    struct accuracy_setting *setting = &accuracy.setting;
    struct accuracy_result *result = &accuracy.result;

    *setting = (struct accuracy_setting){.from_ms = t0,
                                         .to_ms = t0 + 900,
                                         .sensor_id = bench->channels[0],
                                         .sensor_interval_ms = 1000,
                                         .correction_mc = -400,
                                         .reference_uncertainty_mc = 1100,
                                         .due_ms = t0 + 5,
                                         .allowed_mc = 2200,
                                         .guarded = true,
                                         .typed_count = 2};
    *result = (struct accuracy_result){.outcome = OUTCOME_NOT_PROVEN,
                                       .reason = ACCURACY_TOO_FEW,
                                       .pair_count = 1,
                                       .sensor_mc = 800100,
                                       .reference_mc = 799900,
                                       .difference_mc = 200,
                                       .deviation_mc = 11,
                                       .uncertainty_mc = 1102,
                                       .sensor_slope_mc_per_h = -7,
                                       .reference_slope_mc_per_h = 9,
                                       .silence_ms = 1001,
                                       .typed_count = 2,
                                       .typed = {{t0 + 1, 800300, 800100, true}, {t0 + 2, 800301, 0, false}}};
    memcpy(setting->typed, result->typed, sizeof result->typed);
    return accuracy;
}

static void test_accuracy_comes_out_as_it_went_in(void **state) {
    struct bench *const bench = *state;
    struct trials_accuracy in = an_accuracy(bench), *out;

    bench_close(bench);
    bench->ledger = bench_open(bench, LEDGER_BOOKKEEP);
    assert_int_equal(trials_count_accuracies(bench->ledger, &bench->fault), 0);
    assert_int_equal(trials_add_accuracy(bench->ledger, &in, &bench->fault), 1);
    in.setting.reference_id = bench->channels[1];
    in.setting.reference_interval_ms = 500;
    in.setting.typed_count = in.result.typed_count = 0;
    in.setting.due_ms = in.setting.reference_uncertainty_mc = 0;
    assert_int_equal(trials_add_accuracy(bench->ledger, &in, &bench->fault), 2);
    assert_int_equal(trials_count_accuracies(bench->ledger, &bench->fault), 2);
    out = trials_read_accuracy(bench->ledger, 2, &bench->fault);
    assert_non_null(out);
    assert_int_equal(out->setting.reference_id, bench->channels[1]);
    assert_int_equal(out->setting.reference_interval_ms, 500);
    assert_int_equal(out->setting.due_ms, 0);
    assert_int_equal(out->setting.reference_uncertainty_mc, 0);
    trials_free_accuracy(out);
    in = an_accuracy(bench);
    out = trials_read_accuracy(bench->ledger, 1, &bench->fault);
    assert_non_null(out);
    assert_int_equal(out->accuracy_id, 1);
    assert_int_equal(out->done_ms, in.done_ms);
    assert_string_equal(out->done_by, in.done_by);
    assert_string_equal(out->note, in.note);
    assert_string_equal(out->reference, in.reference);
    assert_int_equal(out->oven_id, in.oven_id);
    assert_memory_equal(&out->setting, &in.setting, sizeof in.setting);
    assert_memory_equal(&out->result, &in.result, sizeof in.result);
    trials_free_accuracy(out);
    assert_null(trials_read_accuracy(bench->ledger, 3, &bench->fault));
    bench_assert_fault(bench, -1, EX_NOINPUT, "there is no accuracy test 3");
}

static struct trials_survey a_survey(const struct bench *bench) {
    struct trials_survey survey = {.done_ms = t0 + 2000,
                                   .done_by = "A. Hart",
                                   .note = "",
                                   .oven_id = bench->ovens[0],
                                   .place_count = 2,
                                   .tightest = 2,
                                   .settled_ms = t0 + 600,
                                   .ended_ms = t0 + 2400,
                                   .spread_mc = 4600,
                                   .worst_mc = 5900};

    survey.setting = (struct survey_setting){.from_ms = t0,
                                             .to_ms = t0 + 3000,
                                             .setpoint_mc = 805000,
                                             .least_ms = 1800,
                                             .most_ms = 0,
                                             .unit = UNIT_FAHRENHEIT,
                                             .guarded = true};
    survey.places[0] = (struct trials_place){{bench->channels[0], 0}, "hinten links"};
    survey.places[1] = (struct trials_place){{bench->channels[1], 900}, ""};
    survey.classes[0] = (struct survey_class){OUTCOME_NOT_MET, SURVEY_SOUND, bench->channels[1]};
    survey.classes[1] = (struct survey_class){OUTCOME_NOT_PROVEN, SURVEY_INSIDE_BY_LESS, 0};
    return survey;
}

static void test_survey_comes_out_as_it_went_in(void **state) {
    struct bench *const bench = *state;
    struct trials_survey in = a_survey(bench), *out;

    bench_close(bench);
    bench->ledger = bench_open(bench, LEDGER_BOOKKEEP);
    assert_int_equal(trials_add_survey(bench->ledger, &in, &bench->fault), 1);
    in.settled_ms = in.ended_ms = 0;
    in.tightest = 0;
    assert_int_equal(trials_add_survey(bench->ledger, &in, &bench->fault), 2);
    assert_int_equal(trials_count_surveys(bench->ledger, &bench->fault), 2);
    out = trials_read_survey(bench->ledger, 2, &bench->fault);
    assert_non_null(out);
    assert_int_equal(out->settled_ms, 0);
    assert_int_equal(out->tightest, 0);
    trials_free_survey(out);
    in = a_survey(bench);
    out = trials_read_survey(bench->ledger, 1, &bench->fault);
    assert_non_null(out);
    assert_string_equal(out->done_by, in.done_by);
    assert_memory_equal(&out->setting, &in.setting, sizeof in.setting);
    assert_memory_equal(out->classes, in.classes, sizeof in.classes);
    assert_int_equal(out->place_count, 2);
    assert_string_equal(out->places[0].place, "hinten links");
    assert_memory_equal(&out->places[1].channel, &in.places[1].channel, sizeof in.places[1].channel);
    assert_int_equal(out->settled_ms, in.settled_ms);
    assert_int_equal(out->ended_ms, in.ended_ms);
    assert_int_equal(out->spread_mc, in.spread_mc);
    assert_int_equal(out->worst_mc, in.worst_mc);
    assert_int_equal(out->tightest, 2);
    trials_free_survey(out);
    assert_null(trials_read_survey(bench->ledger, 3, &bench->fault));
    bench_assert_fault(bench, -1, EX_NOINPUT, "there is no survey 3");
}

/* Half a survey is none: what cannot be stored whole leaves nothing. */
static void test_all_or_nothing(void **state) {
    struct bench *const bench = *state;
    struct trials_survey survey = a_survey(bench);
    struct trials_accuracy accuracy = an_accuracy(bench);

    survey.places[1].channel.channel_id = 99;
    bench_assert_fault(bench, trials_add_survey(bench->ledger, &survey, &bench->fault), EX_DATAERR, "FOREIGN KEY");
    assert_int_equal(trials_count_surveys(bench->ledger, &bench->fault), 0);
    accuracy.setting.reference_id = accuracy.setting.sensor_id; // a sensor is no reference for itself
    bench_assert_fault(bench, trials_add_accuracy(bench->ledger, &accuracy, &bench->fault), EX_DATAERR, "CHECK");
    assert_int_equal(trials_count_accuracies(bench->ledger, &bench->fault), 0);
}

static void test_nobody_changes_them(void **state) {
    static const char *const tables[] = {"accuracy", "accuracy_typed", "survey", "survey_place", "survey_class"};
    struct bench *const bench = *state;
    const struct trials_survey survey = a_survey(bench);
    const struct trials_accuracy accuracy = an_accuracy(bench);
    char sql[256], words[BENCH_WORDS_BYTES];

    assert_int_equal(trials_add_survey(bench->ledger, &survey, &bench->fault), 1);
    assert_int_equal(trials_add_accuracy(bench->ledger, &accuracy, &bench->fault), 1);
    for (size_t i = 0; i < sizeof tables / sizeof tables[0]; i++) {
        static const char *const ways[] = {"DELETE FROM %s", "UPDATE %s SET rowid = rowid",
                                           "INSERT OR REPLACE INTO %s SELECT * FROM %s"};

        for (size_t k = 0; k < sizeof ways / sizeof ways[0]; k++) {
            snprintf(sql, sizeof sql, ways[k], tables[i], tables[i]);
            if (k == 1) { // tables without a rowid are told by their first column
                snprintf(sql, sizeof sql, "UPDATE %s SET %s_id = 1", tables[i],
                         tables[i][0] == 'a' ? "accuracy" : "survey");
            }
            if (bench_run_sql(bench->path, sql, words) == 0 || strstr(words, "is never") == NULL) {
                fail_msg("'%s' was let through: %s", sql, words);
            }
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_accuracy_comes_out_as_it_went_in, bench_set_up, bench_tear_down),
        cmocka_unit_test_setup_teardown(test_survey_comes_out_as_it_went_in, bench_set_up, bench_tear_down),
        cmocka_unit_test_setup_teardown(test_all_or_nothing, bench_set_up, bench_tear_down),
        cmocka_unit_test_setup_teardown(test_nobody_changes_them, bench_set_up, bench_tear_down),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
