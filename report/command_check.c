// SPDX-License-Identifier: MIT
/* check: a system accuracy test of a channel's sensor against a reference, step by step on the terminal or, with
 * --yes, from options alone. Stored first, under its number, and printed from what is stored. A test that says
 * something is an event in the sensor's life: what is known of its drift begins anew there. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check_parts.h"
#include "list_machine.h"
#include "soakledger/health.h"
#include "soakledger/sensors.h"
#include "soakledger/words.h"

const char check_usage[] =
    "check OVEN.CHANNEL [--allowed DIFFERENCE] [--reference CHANNEL | --instrument TEXT --readings LIST] "
    "[--correction DIFFERENCE] [--uncertainty DIFFERENCE] [--due DATE] [--at TIME] [--over DURATION] "
    "[--decision simple|guarded] [--by NAME] [--note TEXT] [--yes] [-o FILE]";
static const char usage_print[] = "check print N [-o FILE]";

#define OVER_MOST_MS INT64_C(86400000)

/* ---- what is asked ---- */

static const struct ledger_channel *find_named(const struct check_case *of, const char *name) {
    for (size_t i = 0; i < of->channel_count; i++)
        if (strcmp(of->channels[i].name, name) == 0)
            return &of->channels[i];
    return NULL;
}

static int need_sensor(const struct ledger_channel *channel, const char *name, struct fault *fault) {
    if (channel == NULL)
        return fault_set(fault, EX_NOINPUT, "there was no channel '%s' in that oven at that time", name);
    if (channel->role == ROLE_SETPOINT || channel->role == ROLE_OUTPUT)
        return fault_set(fault, EX_DATAERR, "channel '%s' is the %s: expected one with a sensor", name,
                         channel_role_name(channel->role));
    return 0;
}

/* "big.control": the oven's name holds no dot. */
static int take_channel(struct check_case *of, const struct check_words *words, int64_t t_ms, struct fault *fault) {
    const char *dot = strchr(words->channel, '.');
    char *oven;

    if (dot == NULL || dot == words->channel || dot[1] == '\0')
        return fault_set(fault, EX_USAGE, "'%s': expected OVEN.CHANNEL, such as hardening.control", words->channel);
    oven = strndup(words->channel, (size_t)(dot - words->channel));
    if (oven == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    of->kept->oven_id = ledger_find_oven(of->command->ledger, oven, fault);
    if (of->kept->oven_id == 0)
        fault_set(fault, EX_NOINPUT, "the ledger knows no oven '%s'", oven);
    free(oven);
    if (of->kept->oven_id <= 0)
        return -1;
    of->oven = ledger_oven_name(of->command->ledger, of->kept->oven_id, fault);
    of->channels = ledger_list_channels(of->command->ledger, of->kept->oven_id, t_ms, &of->channel_count, fault);
    if (of->oven == NULL || of->channels == NULL)
        return -1;
    of->sensor = find_named(of, dot + 1);
    return need_sensor(of->sensor, dot + 1, fault);
}

/* The one named; or the oven's only one of role reference, unless a hand-held instrument is named. */
static int take_reference(struct check_case *of, const struct check_words *words, struct fault *fault) {
    size_t count = 0;

    if (words->reference != NULL && (words->instrument != NULL || words->readings != NULL))
        return fault_set(fault, EX_USAGE,
                         "--reference and a hand-held instrument exclude each other: expected '%s'", check_usage);
    if (words->reference != NULL) {
        of->reference = find_named(of, words->reference);
        if (need_sensor(of->reference, words->reference, fault) != 0)
            return -1;
    }
    for (size_t i = 0;
         words->reference == NULL && words->instrument == NULL && words->readings == NULL && i < of->channel_count;
         i++)
        if (of->channels[i].role == ROLE_REFERENCE && &of->channels[i] != of->sensor && count++ == 0)
            of->reference = &of->channels[i];
    if (count > 1)
        return fault_set(fault, EX_USAGE, "the oven has %zu references: name one by --reference", count);
    if (of->reference == of->sensor)
        return fault_set(fault, EX_DATAERR, "'%s' cannot be its own reference", of->sensor->name);
    if (of->reference != NULL && words->correction != NULL &&
        (of->reference->sensor_calibration != NULL || of->reference->instrument_calibration != NULL))
        return fault_set(fault, EX_DATAERR,
                         "--correction: '%s' has a calibration in the ledger, which is applied already",
                         of->reference->name);
    return 0;
}

/* The one given, or what the configuration allows that channel; 0 if neither says. */
static int take_allowed(struct check_case *of, const struct check_words *words, struct fault *fault) {
    int64_t *const allowed_mc = &of->kept->setting.allowed_mc;

    if (words->allowed != NULL)
        return check_parse_amount(words->allowed, "--allowed", allowed_mc, fault);
    *allowed_mc = health_read_allowed(of->command->ledger, of->sensor->channel_id, of->kept->done_ms, fault);
    return *allowed_mc < 0 ? -1 : 0;
}

static int take_figures(struct check_case *of, const struct check_words *words, struct fault *fault) {
    struct accuracy_setting *const setting = &of->kept->setting;

    if (words->correction != NULL && check_parse_signed(words->correction, &setting->correction_mc, fault) != 0)
        return -1;
    if (words->uncertainty != NULL &&
        check_parse_amount(words->uncertainty, "--uncertainty", &setting->reference_uncertainty_mc, fault) != 0)
        return -1;
    if (take_allowed(of, words, fault) != 0)
        return -1;
    if (words->due != NULL && check_parse_due(words->due, &setting->due_ms, fault) != 0)
        return -1;
    setting->guarded = words->decision != NULL && strcmp(words->decision, "guarded") == 0;
    if (words->decision != NULL && !setting->guarded && strcmp(words->decision, "simple") != 0)
        return fault_set(fault, EX_USAGE, "--decision '%s': expected simple or guarded", words->decision);
    setting->sensor_id = of->sensor->channel_id;
    setting->sensor_interval_ms = of->sensor->interval_ms;
    setting->reference_id = of->reference != NULL ? of->reference->channel_id : 0;
    setting->reference_interval_ms = of->reference != NULL ? of->reference->interval_ms : 0;
    return 0;
}

/* ---- without questions ---- */

/* "805.2 C, 805.0 C at 2026-11-16T08:00:00Z": one without a time is of the test's own. */
static int add_typed(struct accuracy_setting *setting, const char *item, int64_t at_ms, struct fault *fault) {
    struct accuracy_typed *const typed = &setting->typed[setting->typed_count];
    const char *at = strstr(item, " at ");
    char value[QUANTITY_TEXT_BYTES];

    if (setting->typed_count == ACCURACY_TYPED_MOST)
        return fault_set(fault, EX_DATAERR, "--readings: more than %d", ACCURACY_TYPED_MOST);
    snprintf(value, sizeof value, "%.*s", at != NULL ? (int)(at - item) : (int)strlen(item), item);
    typed->t_ms = at_ms;
    if (quantity_parse_temperature(value, &typed->said_mc, fault) != 0 ||
        (at != NULL && quantity_parse_time(at + strlen(" at "), &typed->t_ms, fault) != 0))
        return -1;
    if (typed->t_ms > at_ms)
        return fault_set(fault, EX_DATAERR, "--readings '%s': later than the test's own time", item);
    if (setting->typed_count > 0 && typed->t_ms < typed[-1].t_ms)
        return fault_set(fault, EX_DATAERR, "--readings '%s': earlier than the one before it", item);
    setting->typed_count++;
    return 0;
}

static int take_readings(struct accuracy_setting *setting, const char *list, int64_t at_ms, struct fault *fault) {
    char *copy = strdup(list), *rest = copy;
    int result = copy != NULL ? 0 : fault_set(fault, EX_OSERR, "out of memory");

    for (char *item; result == 0 && (item = strsep(&rest, ",")) != NULL;)
        result = add_typed(setting, item + strspn(item, " "), at_ms, fault);
    free(copy);
    return result;
}

static int take_span(struct check_case *of, const struct check_words *words, int64_t now_ms, struct fault *fault) {
    struct accuracy_setting *const setting = &of->kept->setting;
    int64_t over_ms = ACCURACY_WINDOW_MS;

    setting->to_ms = now_ms;
    if (words->at != NULL && quantity_parse_time(words->at, &setting->to_ms, fault) != 0)
        return -1;
    if (setting->to_ms > of->kept->done_ms)
        return fault_set(fault, EX_DATAERR, "--at '%s' is still to come", words->at);
    if (words->over != NULL && quantity_parse_duration(words->over, &over_ms, fault) != 0)
        return -1;
    if (over_ms < ACCURACY_WINDOW_MS || over_ms > OVER_MOST_MS)
        return fault_set(fault, EX_DATAERR, "--over '%s': expected 5 min to 1 d", words->over);
    if (words->readings != NULL && take_readings(setting, words->readings, setting->to_ms, fault) != 0)
        return -1;
    setting->from_ms = (setting->typed_count > 0 ? setting->typed[0].t_ms : setting->to_ms) - over_ms;
    return 0;
}

static int measure_at_once(struct check_case *of, const struct check_words *words, int64_t now_ms,
                           struct fault *fault) {
    if (of->kept->setting.allowed_mc == 0)
        return fault_set(fault, EX_USAGE,
                         "--allowed is missing, and the configuration allows that channel no error: expected '%s'",
                         check_usage);
    if (of->reference == NULL && (words->instrument == NULL || words->readings == NULL))
        return fault_set(
            fault, EX_USAGE,
            "no reference: expected --reference, or --instrument and --readings, since nobody is asked");
    if (take_span(of, words, now_ms, fault) != 0 ||
        check_find_channels(of, of->kept->setting.from_ms, fault) != 0 || check_measure(of, fault) != 0)
        return -1;
    check_take_calibration(of, words, of->kept->result.reference_mc);
    return check_measure(of, fault);
}

/* ---- kept and printed ---- */

/* What says something of the sensor is an event of it. 0 with `renewed`, -1. */
static int note_event(struct check_case *of, bool *renewed, struct fault *fault) {
    const enum accuracy_reason reason = of->kept->result.reason;
    char words[TRIAL_TEXT_BYTES + TRIAL_NAME_BYTES], difference[TRIAL_TEXT_BYTES], allowed[QUANTITY_TEXT_BYTES];
    struct sensor_event event = {.kind = SENSOR_CHECKED, .t_ms = of->kept->setting.to_ms, .words = words};
    int64_t sensor_id;

    *renewed = false;
    if (of->sensor == NULL || of->sensor->sensor_identity[0] == '\0' ||
        (reason != ACCURACY_SOUND && reason != ACCURACY_INSIDE_BY_LESS))
        return 0;
    sensor_id = sensors_find(of->command->ledger, of->sensor->sensor_identity, fault);
    if (sensor_id <= 0)
        return (int)sensor_id;
    event.channel_id = of->sensor->channel_id;
    event.said_by = of->kept->done_by;
    snprintf(words, sizeof words, "accuracy test %lld: %s; allowed %s: %s", (long long)of->kept->accuracy_id,
             check_difference(of, difference), trial_size(of->kept->setting.allowed_mc, of->unit, allowed),
             judge_outcome_name(of->kept->result.outcome));
    *renewed = true;
    return sensors_add_event(of->command->ledger, sensor_id, &event, fault);
}

static int store(struct check_case *of, bool *renewed, struct fault *fault) {
    struct ledger *ledger = of->command->ledger;

    if (ledger_begin(ledger, fault) != 0)
        return -1;
    of->kept->accuracy_id = trials_add_accuracy(ledger, of->kept, fault);
    if (of->kept->accuracy_id > 0 && note_event(of, renewed, fault) == 0 && ledger_commit(ledger, fault) == 0)
        return 0;
    ledger_roll_back(ledger);
    return -1;
}

static int print_sheet(struct check_case *of, const char *path, struct fault *fault) {
    char name[QUANTITY_TEXT_BYTES];
    unsigned char *bytes = NULL;
    size_t length = 0;
    int result;

    snprintf(name, sizeof name, "soakledger-check-%lld.pdf", (long long)of->kept->accuracy_id);
    if (check_sheet_make(of, &bytes, &length, fault) != 0)
        return -1;
    result = trial_keep(of->command, path != NULL ? path : name, bytes, length, fault);
    free(bytes);
    return result;
}

static void print_answer(const struct check_case *of) {
    char line[3 * TRIAL_TEXT_BYTES], sensor[TRIAL_TEXT_BYTES], answer[TRIAL_TEXT_BYTES],
        difference[TRIAL_TEXT_BYTES];

    snprintf(line, sizeof line, "Test %lld of %s: %s.", (long long)of->kept->accuracy_id, check_sensor(of, sensor),
             check_answer(of, answer));
    command_print(of->command->out, 2, line);
    if (of->kept->result.outcome != OUTCOME_NOT_PROVEN || of->kept->result.pair_count == 0)
        return;
    snprintf(line, sizeof line, "For what it is worth: it %s.", check_difference(of, difference));
    command_print(of->command->out, 2, line);
}

static int keep_check(struct check_case *of, const struct check_words *words, struct fault *fault) {
    struct fault why;
    bool renewed = false;

    if (store(of, &renewed, fault) != 0)
        return -1;
    print_answer(of);
    if (renewed)
        command_print(of->command->out, 2, "Its drift is counted anew from here.");
    else if (of->sensor != NULL && of->sensor->sensor_identity[0] == '\0')
        command_print(of->command->out, 2,
                      "The configuration names no sensor there, so no sensor's life remembers the test.");
    if (print_sheet(of, words->path != NULL ? words->path : words->long_path, &why) != 0)
        return fault_set(fault, why.status, "test %lld is stored, but not printed ('check print %lld' does): %s",
                         (long long)of->kept->accuracy_id, (long long)of->kept->accuracy_id, why.text);
    return 0;
}

/* ---- the command ---- */

/* Takes a word without a value out of `argv`. */
static bool take_flag(int *argc, char **argv, const char *name) {
    bool found = false;
    int kept = 0;

    for (int i = 0; i < *argc; i++) {
        if (strcmp(argv[i], name) == 0)
            found = true;
        else
            argv[kept++] = argv[i];
    }
    *argc = kept;
    return found;
}

static int take_words(int argc, char **argv, struct check_words *words, struct fault *fault) {
    const struct command_option options[] = {
        {"--reference", &words->reference},
        {"--instrument", &words->instrument},
        {"--readings", &words->readings},
        {"--correction", &words->correction},
        {"--uncertainty", &words->uncertainty},
        {"--due", &words->due},
        {"--allowed", &words->allowed},
        {"--at", &words->at},
        {"--over", &words->over},
        {"--decision", &words->decision},
        {"--by", &words->by},
        {"--note", &words->note},
        {"-o", &words->path},
        {"--output", &words->long_path},
    };

    words->yes = take_flag(&argc, argv, "--yes");
    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &words->channel, 1, 1, check_usage,
                     fault) < 0)
        return -1;
    if (!words->yes && (isatty(STDIN_FILENO) == 0 || isatty(STDOUT_FILENO) == 0))
        return fault_set(fault, EX_USAGE,
                         "there is no terminal to ask on: expected --yes, and everything as options");
    if (!words->yes && (words->at != NULL || words->readings != NULL))
        return fault_set(fault, EX_USAGE, "--at and --readings leave nothing to ask: expected --yes with them");
    return 0;
}

static int begin_case(struct check_case *of, const struct check_words *words, struct fault *fault) {
    struct trials_accuracy *const kept = of->kept = calloc(1, sizeof *kept);
    int64_t t_ms;

    if (kept == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    kept->done_ms = command_now_ms(of->command, fault);
    kept->done_by = strdup(command_person(of->command, words->by));
    kept->note = strdup(words->note != NULL ? words->note : "");
    kept->reference = strdup(words->instrument != NULL ? words->instrument : "");
    if (kept->done_by == NULL || kept->note == NULL || kept->reference == NULL)
        return fault_set(fault, EX_OSERR, "out of memory");
    t_ms = kept->done_ms;
    if (t_ms < 0 || (words->at != NULL && quantity_parse_time(words->at, &t_ms, fault) != 0))
        return -1;
    of->unit = of->command->config->unit;
    if (take_channel(of, words, t_ms, fault) != 0 || of->sensor == NULL || take_reference(of, words, fault) != 0)
        return -1;
    return take_figures(of, words, fault);
}

static int command_check_make(struct command *command, int argc, char **argv, struct fault *fault) {
    struct check_case of = {.command = command};
    struct check_words words = {0};
    int64_t now_ms;
    int result;

    if (take_words(argc, argv, &words, fault) != 0 || command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    result = begin_case(&of, &words, fault);
    if (result == 0 && words.yes) {
        now_ms = words.at != NULL ? of.kept->done_ms : check_now(&of, fault);
        result = now_ms < 0 ? -1
                 : now_ms == 0
                     ? fault_set(fault, EX_UNAVAILABLE,
                                 "the ledger has no reading of the last 2 min: expected soakledgerd to be running")
                     : measure_at_once(&of, &words, now_ms, fault);
        result = result == 0 ? 1 : -1;
    } else if (result == 0) {
        result = check_guide(&of, &words, fault);
    }
    if (result == 1)
        result = keep_check(&of, &words, fault);
    check_release(&of);
    return result;
}

int check_open_kept(struct check_case *of, int64_t accuracy_id, struct fault *fault) {
    of->kept = trials_read_accuracy(of->command->ledger, accuracy_id, fault);
    of->unit = of->command->config->unit;
    return of->kept != NULL ? check_find_channels(of, of->kept->setting.from_ms, fault) : -1;
}

static int command_check_print(struct command *command, int argc, char **argv, struct fault *fault) {
    struct check_case of = {.command = command};
    const char *word = NULL, *path = NULL, *long_path = NULL;
    const struct command_option options[] = {{"-o", &path}, {"--output", &long_path}};
    int64_t accuracy_id;
    int result;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &word, 1, 1, usage_print, fault) <
            0 ||
        command_take_number(word, "accuracy test", &accuracy_id, fault) != 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    result = check_open_kept(&of, accuracy_id, fault);
    if (result == 0) {
        print_answer(&of);
        result = print_sheet(&of, path != NULL ? path : long_path, fault);
    }
    check_release(&of);
    return result;
}

static int print_listed(struct command *command, const size_t *widths, int64_t accuracy_id, struct fault *fault) {
    struct check_case of = {.command = command};
    char number[QUANTITY_TEXT_BYTES], made[QUANTITY_TEXT_BYTES], sensor[TRIAL_TEXT_BYTES], answer[TRIAL_TEXT_BYTES];
    const int result = check_open_kept(&of, accuracy_id, fault);

    if (result == 0) {
        snprintf(number, sizeof number, "%lld", (long long)accuracy_id);
        quantity_format_time(of.kept->done_ms, command->config->utc_offset_min, made);
        const char *const cells[] = {number, made, check_sensor(&of, sensor), check_answer(&of, answer)};
        command_print_row(command->out, widths, cells, sizeof cells / sizeof cells[0]);
    }
    check_release(&of);
    return result;
}

static int command_check_list(struct command *command, int argc, char **argv, struct fault *fault) {
    static const size_t widths[] = {4, 19, 22, 31};
    const char *const head[] = {"test", "made", "sensor", "result"};
    enum table_form form;
    int64_t count;

    if (list_take_form(&argc, argv, &form, fault) != 0 ||
        command_take(argc, argv, NULL, 0, NULL, 0, 0, "check list [--csv | --json]", fault) < 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    if (form != TABLE_SCREEN)
        return list_checks(command, form, fault);
    count = trials_count_accuracies(command->ledger, fault);
    if (count == 0)
        fputs("There is no accuracy test yet.\n", command->out);
    if (count > 0)
        command_print_row(command->out, widths, head, sizeof head / sizeof head[0]);
    for (int64_t i = 1; i <= count; i++)
        if (print_listed(command, widths, i, fault) != 0)
            return -1;
    return count < 0 ? -1 : 0;
}

int command_check(struct command *command, int argc, char **argv, struct fault *fault) {
    if (argc > 0 && strcmp(argv[0], "list") == 0) // a channel has a dot
        return command_check_list(command, argc - 1, argv + 1, fault);
    if (argc > 0 && strcmp(argv[0], "print") == 0)
        return command_check_print(command, argc - 1, argv + 1, fault);
    return command_check_make(command, argc, argv, fault);
}
