// SPDX-License-Identifier: MIT
/* survey: how even a work zone was, from the readings of a run or of a time. It is stored first, under its number,
 * and printed from what is stored, so that every later print is the same. */
#include <stdlib.h>
#include <string.h>

#include "list_machine.h"
#include "soakledger/words.h"
#include "trial.h"

enum { HOLD_LEAST_MS = SURVEY_SETTLE_MS, PLACE_BYTES = 120 };
#define HOLD_MOST_MS INT64_C(604800000) // a week

static const char usage[] =
    "survey OVEN --setpoint TEMPERATURE (--run N | --from TIME --to TIME) [--hold DURATION] "
    "[--decision simple|guarded] [--by NAME] [--note TEXT] [-o FILE] [CHANNEL[=PLACE] ...]";
static const char usage_print[] = "survey print N [-o FILE]";

struct survey_words {
    const char *setpoint, *run, *from, *to, *hold, *decision, *by, *note, *path, *long_path;
    const char *words[SURVEY_SENSORS_MOST + 1]; // the oven, then sensors
    int count;
};

/* ---- what is asked ---- */

static int take_run(struct command *command, const struct survey_words *words, struct trials_survey *survey,
                    struct fault *fault) {
    struct ledger_run run;
    int found;

    if (command_take_number(words->run, "run", &survey->run_id, fault) != 0)
        return -1;
    found = ledger_read_run(command->ledger, survey->run_id, &run, fault);
    if (found < 0)
        return -1;
    if (found == 0)
        return fault_set(fault, EX_NOINPUT, "there is no run %s: 'runs' lists them", words->run);
    if (run.oven_id != survey->oven_id)
        return fault_set(fault, EX_DATAERR, "run %s was in another oven than %s", words->run, words->words[0]);
    if (run.ended_ms == 0)
        return fault_set(fault, EX_DATAERR, "run %s is still on: expected one that is over, or --from and --to",
                         words->run);
    survey->setting.from_ms = run.begun_ms;
    survey->setting.to_ms = run.ended_ms;
    return 0;
}

static int take_times(const struct survey_words *words, struct trials_survey *survey, struct fault *fault) {
    struct survey_setting *setting = &survey->setting;

    if (words->from == NULL || words->to == NULL)
        return fault_set(fault, EX_USAGE, "no time is given: expected --run N, or both --from and --to");
    if (quantity_parse_time(words->from, &setting->from_ms, fault) != 0 ||
        quantity_parse_time(words->to, &setting->to_ms, fault) != 0)
        return -1;
    if (setting->to_ms <= setting->from_ms)
        return fault_set(fault, EX_DATAERR, "--to '%s' is not after --from '%s'", words->to, words->from);
    if (setting->to_ms > survey->done_ms)
        return fault_set(fault, EX_DATAERR, "--to '%s' is still to come: expected a time that is over", words->to);
    return 0;
}

/* A run ends with cooling, so only so much of it is judged as --hold says; a time was given for what it is, and is
 * judged to its end. */
static int take_hold(const struct survey_words *words, struct survey_setting *setting, struct fault *fault) {
    setting->least_ms = SURVEY_LEAST_MS;
    if (words->hold != NULL && quantity_parse_duration(words->hold, &setting->least_ms, fault) != 0)
        return -1;
    if (setting->least_ms < HOLD_LEAST_MS || setting->least_ms > HOLD_MOST_MS)
        return fault_set(fault, EX_DATAERR, "--hold '%s': expected 10 min to 7 d", words->hold);
    setting->most_ms = words->run != NULL ? setting->least_ms : 0;
    return 0;
}

static int take_decision(const char *decision, bool *guarded, struct fault *fault) {
    *guarded = decision != NULL && strcmp(decision, "guarded") == 0;
    if (decision != NULL && !*guarded && strcmp(decision, "simple") != 0)
        return fault_set(fault, EX_USAGE, "--decision '%s': expected simple or guarded", decision);
    return 0;
}

static int check_oven(struct command *command, const char *oven, struct fault *fault) {
    for (size_t i = 0; i < command->config->oven_count; i++)
        if (strcmp(command->config->ovens[i].name, oven) == 0 && command->config->ovens[i].is_cold)
            return fault_set(fault, EX_DATAERR,
                             "'%s' is a cold place: surveys are of ovens, which start from below", oven);
    return 0;
}

static int take_setting(struct command *command, const struct survey_words *words, struct trials_survey *survey,
                        struct fault *fault) {
    struct survey_setting *setting = &survey->setting;

    if (words->setpoint == NULL)
        return fault_set(fault, EX_USAGE, "--setpoint is missing: expected '%s'", usage);
    if (words->run != NULL && (words->from != NULL || words->to != NULL))
        return fault_set(fault, EX_USAGE, "--run and --from or --to exclude each other: expected '%s'", usage);
    setting->unit = command->config->unit;
    survey->oven_id = ledger_find_oven(command->ledger, words->words[0], fault);
    if (survey->oven_id < 0)
        return -1;
    if (survey->oven_id == 0)
        return fault_set(fault, EX_NOINPUT, "the ledger knows no oven '%s'", words->words[0]);
    if (check_oven(command, words->words[0], fault) != 0 ||
        quantity_parse_temperature(words->setpoint, &setting->setpoint_mc, fault) != 0 ||
        take_hold(words, setting, fault) != 0 || take_decision(words->decision, &setting->guarded, fault) != 0)
        return -1;
    return words->run != NULL ? take_run(command, words, survey, fault) : take_times(words, survey, fault);
}

/* ---- sensors ---- */

static int add_place(struct trials_survey *survey, const struct ledger_channel *channel, const char *where,
                     struct fault *fault) {
    struct trials_place *place = &survey->places[survey->place_count];

    if (channel->role == ROLE_SETPOINT || channel->role == ROLE_OUTPUT)
        return fault_set(fault, EX_DATAERR, "channel '%s' is the %s: expected one with a sensor", channel->name,
                         channel_role_name(channel->role));
    for (size_t i = 0; i < survey->place_count; i++)
        if (survey->places[i].channel.channel_id == channel->channel_id)
            return fault_set(fault, EX_USAGE, "channel '%s' is given twice", channel->name);
    if (strlen(where) > PLACE_BYTES)
        return fault_set(fault, EX_DATAERR, "place of '%s' has %zu bytes: expected at most %d", channel->name,
                         strlen(where), PLACE_BYTES);
    if (survey->place_count == SURVEY_SENSORS_MOST)
        return fault_set(fault, EX_DATAERR, "more than %d sensors", SURVEY_SENSORS_MOST);
    place->place = strdup(where);
    if (place->place == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    place->channel =
        (struct survey_channel){channel->channel_id, trial_uncertainty(channel, survey->setting.setpoint_mc)};
    survey->place_count++;
    return 0;
}

/* "front=left, on the hearth": a channel's name may hold a '=' itself, so the longest one that fits is meant. */
static int add_named(struct trials_survey *survey, const struct ledger_channel *channels, size_t count,
                     const char *word, struct fault *fault) {
    const struct ledger_channel *found = NULL;
    size_t longest = 0;

    for (size_t i = 0; i < count; i++) {
        const size_t length = strlen(channels[i].name);

        if (strncmp(channels[i].name, word, length) != 0 || (word[length] != '\0' && word[length] != '='))
            continue;
        if (found == NULL || length > longest) {
            found = &channels[i];
            longest = length;
        }
    }
    if (found == NULL)
        return fault_set(fault, EX_NOINPUT,
                         "'%s': the oven had no such channel then: expected CHANNEL or CHANNEL=PLACE", word);
    return add_place(survey, found, word[longest] == '=' ? word + longest + 1 : "", fault);
}

static int take_places(struct command *command, const struct survey_words *words, struct trials_survey *survey,
                       struct fault *fault) {
    size_t count = 0;
    struct ledger_channel *channels =
        ledger_list_channels(command->ledger, survey->oven_id, survey->setting.from_ms, &count, fault);
    int result = channels != NULL ? 0 : -1;

    for (int i = 1; result == 0 && i < words->count; i++)
        result = add_named(survey, channels, count, words->words[i], fault);
    for (size_t i = 0; result == 0 && words->count == 1 && i < count; i++)
        if (channels[i].role == ROLE_LOAD)
            result = add_place(survey, &channels[i], "", fault);
    if (result == 0 && survey->place_count == 0)
        result =
            fault_set(fault, EX_DATAERR, "'%s' had no load channels then: expected the survey's sensors by name",
                      words->words[0]);
    ledger_free_channels(channels, count);
    return result;
}

/* ---- to the terminal ---- */

static void print_sensors(struct command *command, const struct survey_case *of) {
    static const size_t widths[] = {16, 25, 10, 10, 10};
    const char *const head[] = {"sensor", "place", "coldest", "hottest", "mean"};
    const enum temperature_unit unit = of->kept->setting.unit;

    command_print_row(command->out, widths, head, sizeof head / sizeof head[0]);
    for (size_t i = 0; i < of->result->sensor_count; i++) {
        const struct survey_sensor *sensor = &of->result->sensors[i];
        char name[COMMAND_TEXT_BYTES], place[COMMAND_TEXT_BYTES], low[QUANTITY_TEXT_BYTES] = "-";
        char high[QUANTITY_TEXT_BYTES] = "-", mean[QUANTITY_TEXT_BYTES] = "-";

        if (sensor->count > 0) {
            trial_difference(sensor->coldest_mc, unit, low);
            trial_difference(sensor->hottest_mc, unit, high);
            trial_difference(sensor->mean_mc, unit, mean);
        }
        command_clean(survey_case_name(of, sensor->channel_id), name);
        command_clean(of->kept->places[i].place[0] != '\0' ? of->kept->places[i].place : "-", place);
        const char *const cells[] = {name, place, low, high, mean};
        command_print_row(command->out, widths, cells, sizeof cells / sizeof cells[0]);
    }
}

static void print_case(struct command *command, const struct survey_case *of) {
    char answer[TRIAL_TEXT_BYTES], line[2 * TRIAL_TEXT_BYTES], spread[QUANTITY_TEXT_BYTES];

    survey_case_answer(of, answer);
    snprintf(line, sizeof line, "Survey %lld: %s.", (long long)of->kept->survey_id, answer);
    command_print(command->out, 2, line);
    print_sensors(command, of);
    if (of->result->spread_ms == 0)
        return;
    snprintf(line, sizeof line, "Spread at most %s.",
             trial_size(of->result->spread_mc, of->kept->setting.unit, spread));
    command_print(command->out, 2, line);
}

/* ---- made and printed ---- */

static int print_sheet(struct command *command, struct survey_case *of, const char *path, struct fault *fault) {
    char name[QUANTITY_TEXT_BYTES];
    unsigned char *bytes = NULL;
    size_t length = 0;
    int result;

    snprintf(name, sizeof name, "soakledger-survey-%lld.pdf", (long long)of->kept->survey_id);
    if (survey_sheet_make(of, &bytes, &length, fault) != 0)
        return -1;
    result = trial_keep(command, path != NULL ? path : name, bytes, length, fault);
    free(bytes);
    return result;
}

/* Judges, stores, prints. */
static int make_survey(struct command *command, struct trials_survey *survey, const char *path,
                       struct fault *fault) {
    struct survey_case of;
    struct fault why;
    int result = survey_case_open(&of, command->ledger, command->config, survey, fault);

    if (result == 0) {
        survey_case_take(&of, survey);
        survey->survey_id = trials_add_survey(command->ledger, survey, fault);
        result = survey->survey_id < 0 ? -1 : 0;
    }
    if (result == 0) {
        print_case(command, &of);
        if (print_sheet(command, &of, path, &why) != 0)
            result = fault_set(fault, why.status,
                               "survey %lld is stored, but not printed ('survey print %lld' does): %s",
                               (long long)survey->survey_id, (long long)survey->survey_id, why.text);
    }
    survey_case_close(&of);
    return result;
}

static int command_survey_make(struct command *command, int argc, char **argv, struct fault *fault) {
    struct survey_words words = {0};
    const struct command_option options[] = {
        {"--setpoint", &words.setpoint},
        {"--run", &words.run},
        {"--from", &words.from},
        {"--to", &words.to},
        {"--hold", &words.hold},
        {"--decision", &words.decision},
        {"--by", &words.by},
        {"--note", &words.note},
        {"-o", &words.path},
        {"--output", &words.long_path},
    };
    struct trials_survey *survey;
    int result = -1;

    words.count = command_take(argc, argv, options, sizeof options / sizeof options[0], words.words, 1,
                               SURVEY_SENSORS_MOST + 1, usage, fault);
    if (words.count < 0 || command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    survey = calloc(1, sizeof *survey);
    if (survey == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    survey->done_ms = command_now_ms(command, fault);
    survey->done_by = strdup(command_person(command, words.by));
    survey->note = strdup(words.note != NULL ? words.note : "");
    if (survey->done_by == NULL || survey->note == NULL)
        fault_set(fault, EX_OSERR, "out of memory");
    else if (survey->done_ms >= 0 && take_setting(command, &words, survey, fault) == 0 &&
             take_places(command, &words, survey, fault) == 0)
        result = make_survey(command, survey, words.path != NULL ? words.path : words.long_path, fault);
    trials_free_survey(survey);
    return result;
}

static int command_survey_print(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *word = NULL, *path = NULL, *long_path = NULL;
    const struct command_option options[] = {{"-o", &path}, {"--output", &long_path}};
    struct trials_survey *survey;
    struct survey_case of;
    int64_t survey_id;
    int result;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &word, 1, 1, usage_print, fault) <
            0 ||
        command_take_number(word, "survey", &survey_id, fault) != 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    survey = trials_read_survey(command->ledger, survey_id, fault);
    if (survey == NULL)
        return -1;
    result = survey_case_open(&of, command->ledger, command->config, survey, fault);
    if (result == 0 && !survey_case_agrees(&of, survey))
        result =
            fault_set(fault, EX_DATAERR, "survey %s: the readings do not say any more what was stored then", word);
    if (result == 0) {
        print_case(command, &of);
        result = print_sheet(command, &of, path != NULL ? path : long_path, fault);
    }
    survey_case_close(&of);
    trials_free_survey(survey);
    return result;
}

static int print_listed(struct command *command, const size_t *widths, int64_t survey_id, struct fault *fault) {
    struct trials_survey *survey = trials_read_survey(command->ledger, survey_id, fault);
    char number[QUANTITY_TEXT_BYTES], made[QUANTITY_TEXT_BYTES], oven[COMMAND_TEXT_BYTES];
    char setpoint[QUANTITY_TEXT_BYTES], answer[TRIAL_TEXT_BYTES], limit[QUANTITY_TEXT_BYTES];
    const struct survey_class *widest;
    char *name;

    name = survey != NULL ? ledger_oven_name(command->ledger, survey->oven_id, fault) : NULL;
    if (name == NULL) {
        trials_free_survey(survey);
        return -1;
    }
    widest = &survey->classes[SURVEY_CLASSES - 1];
    snprintf(number, sizeof number, "%lld", (long long)survey_id);
    quantity_format_time(survey->done_ms, command->config->utc_offset_min, made);
    trial_level(survey->setting.setpoint_mc, survey->setting.unit, setpoint);
    if (survey->tightest > 0)
        snprintf(answer, sizeof answer, "class %d, %s", survey->tightest,
                 survey_case_limit(survey->tightest, survey->setting.unit, limit));
    else
        snprintf(answer, sizeof answer, "%s",
                 widest->outcome == OUTCOME_NOT_MET ? "no class met" : "no class proven");
    const char *const cells[] = {number, made, command_clean(name, oven), setpoint, answer};
    command_print_row(command->out, widths, cells, sizeof cells / sizeof cells[0]);
    free(name);
    trials_free_survey(survey);
    return 0;
}

static int command_survey_list(struct command *command, int argc, char **argv, struct fault *fault) {
    static const size_t widths[] = {6, 19, 18, 11, 20};
    const char *const head[] = {"survey", "made", "oven", "setpoint", "tightest class met"};
    enum table_form form;
    int64_t count;

    if (list_take_form(&argc, argv, &form, fault) != 0 ||
        command_take(argc, argv, NULL, 0, NULL, 0, 0, "survey list [--csv | --json]", fault) < 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    if (form != TABLE_SCREEN)
        return list_surveys(command, form, fault);
    count = trials_count_surveys(command->ledger, fault);
    if (count == 0)
        fputs("There is no survey yet.\n", command->out);
    if (count > 0)
        command_print_row(command->out, widths, head, sizeof head / sizeof head[0]);
    for (int64_t i = 1; i <= count; i++)
        if (print_listed(command, widths, i, fault) != 0)
            return -1;
    return count < 0 ? -1 : 0;
}

/* An oven may be called "list". */
static bool is_form(const char *word) {
    return strcmp(word, "--csv") == 0 || strcmp(word, "--json") == 0;
}

int command_survey(struct command *command, int argc, char **argv, struct fault *fault) {
    if (argc > 0 && strcmp(argv[0], "list") == 0 && (argc == 1 || is_form(argv[1])))
        return command_survey_list(command, argc - 1, argv + 1, fault);
    if (argc > 1 && strcmp(argv[0], "print") == 0 && argv[1][0] != '-')
        return command_survey_print(command, argc - 1, argv + 1, fault);
    return command_survey_make(command, argc, argv, fault);
}
