// SPDX-License-Identifier: MIT
/* Surveys and accuracy tests, for other programs. */
#include <stdlib.h>

#include "check_parts.h"
#include "list_machine.h"
#include "soakledger/trials.h"

enum { LIST_VERSION = 1 };

static const struct table_column SURVEY_COLUMNS[] = {
    {"survey", NULL, 0},     {"made", NULL, 0},    {"oven", NULL, 0},    {"run", NULL, 0},
    {"setpoint_c", NULL, 0}, {"outcome", NULL, 0}, {"class", NULL, 0},   {"reason", NULL, 0},
    {"spread_c", NULL, 0},   {"worst_c", NULL, 0}, {"settled", NULL, 0}, {"ended", NULL, 0},
    {"sensors", NULL, 0},    {"guarded", NULL, 0}, {"by", NULL, 0},      {"note", NULL, 0},
};
enum { SURVEY_COLUMN_COUNT = sizeof SURVEY_COLUMNS / sizeof SURVEY_COLUMNS[0] };

static int list_add_survey(struct command *command, struct table *table, const struct trials_survey *survey,
                           struct fault *fault) {
    const struct survey_class *widest = &survey->classes[SURVEY_CLASSES - 1];
    const bool met = survey->tightest > 0, settled = survey->settled_ms != 0;
    char *oven = ledger_oven_name(command->ledger, survey->oven_id, fault);
    int result;

    if (oven == NULL)
        return -1;
    const struct table_cell cells[SURVEY_COLUMN_COUNT] = {
        list_integer(true, survey->survey_id),
        list_time(survey->done_ms),
        list_text(oven),
        list_integer(survey->run_id != 0, survey->run_id),
        list_thousandths(true, survey->setting.setpoint_mc),
        list_text(judge_outcome_name(met ? OUTCOME_MET : widest->outcome)),
        list_integer(met, survey->tightest),
        list_text_if(met ? "" : survey_reason_text(widest->reason)),
        list_thousandths(settled, survey->spread_mc),
        list_thousandths(settled, survey->worst_mc),
        list_time(survey->settled_ms),
        list_time(survey->ended_ms),
        list_integer(true, (int64_t)survey->place_count),
        list_truth(survey->setting.guarded),
        list_text(survey->done_by),
        list_text(survey->note),
    };
    result = table_add(table, cells, fault);
    free(oven);
    return result;
}

int list_surveys(struct command *command, enum table_form form, struct fault *fault) {
    const int64_t count = trials_count_surveys(command->ledger, fault);
    struct table *table = count >= 0 ? table_open(command->out, form, "soakledger-surveys", LIST_VERSION,
                                                  SURVEY_COLUMNS, SURVEY_COLUMN_COUNT, fault)
                                     : NULL;
    int result = table != NULL ? 0 : -1;

    for (int64_t i = 1; result == 0 && i <= count; i++) {
        struct trials_survey *survey = trials_read_survey(command->ledger, i, fault);

        result = survey != NULL ? list_add_survey(command, table, survey, fault) : -1;
        trials_free_survey(survey);
    }
    return list_finish(table, result, fault);
}

/* ---- accuracy tests ---- */

static const struct table_column CHECK_COLUMNS[] = {
    {"test", NULL, 0},          {"made", NULL, 0},          {"oven", NULL, 0},
    {"channel", NULL, 0},       {"sensor", NULL, 0},        {"reference", NULL, 0},
    {"outcome", NULL, 0},       {"reason", NULL, 0},        {"level_c", NULL, 0},
    {"difference_c", NULL, 0},  {"uncertainty_c", NULL, 0}, {"allowed_c", NULL, 0},
    {"pairs", NULL, 0},         {"from", NULL, 0},          {"to", NULL, 0},
    {"reference_due", NULL, 0}, {"guarded", NULL, 0},       {"by", NULL, 0},
    {"note", NULL, 0},
};
enum { CHECK_COLUMN_COUNT = sizeof CHECK_COLUMNS / sizeof CHECK_COLUMNS[0] };

static int list_add_check(struct table *table, const struct check_case *of, struct fault *fault) {
    const struct trials_accuracy *kept = of->kept;
    const struct accuracy_result *found = &kept->result;
    const bool compared = found->pair_count > 0;
    char reference[TRIAL_TEXT_BYTES];

    const struct table_cell cells[CHECK_COLUMN_COUNT] = {
        list_integer(true, kept->accuracy_id),
        list_time(kept->done_ms),
        list_text(of->oven),
        list_text(of->sensor->name),
        list_text(of->sensor->sensor_identity),
        list_text(check_reference(of, reference)),
        list_text(judge_outcome_name(found->outcome)),
        list_text_if(accuracy_reason_text(found->reason)),
        list_thousandths(compared, found->reference_mc),
        list_thousandths(compared, found->difference_mc),
        list_thousandths(compared, found->uncertainty_mc),
        list_thousandths(true, kept->setting.allowed_mc),
        list_integer(true, (int64_t)found->pair_count),
        list_time(kept->setting.from_ms),
        list_time(kept->setting.to_ms),
        list_time(kept->setting.due_ms),
        list_truth(kept->setting.guarded),
        list_text(kept->done_by),
        list_text(kept->note),
    };
    return table_add(table, cells, fault);
}

int list_checks(struct command *command, enum table_form form, struct fault *fault) {
    const int64_t count = trials_count_accuracies(command->ledger, fault);
    struct table *table = count >= 0 ? table_open(command->out, form, "soakledger-checks", LIST_VERSION,
                                                  CHECK_COLUMNS, CHECK_COLUMN_COUNT, fault)
                                     : NULL;
    int result = table != NULL ? 0 : -1;

    for (int64_t i = 1; result == 0 && i <= count; i++) {
        struct check_case of = {.command = command};

        result = check_open_kept(&of, i, fault);
        if (result == 0)
            result = list_add_check(table, &of, fault);
        check_release(&of);
    }
    return list_finish(table, result, fault);
}
