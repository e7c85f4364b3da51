// SPDX-License-Identifier: MIT
#include <pwd.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "command.h"
#include "soakledger/replay.h"
#include "soakledger/words.h"

enum { RUNS_SHOWN = 20 };

/* ---- runs ---- */

/* The hottest good reading of the oven's own thermocouples during the run. 1, 0 if there is none, -1. */
static int command_find_peak(struct command *command, const struct ledger_run *run, int64_t until_ms,
                             int64_t *peak_mc, struct fault *fault) {
    size_t count = 0, picked = 0;
    struct ledger_channel *channels =
        ledger_list_channels(command->ledger, run->oven_id, run->begun_ms, &count, fault);
    int64_t *ids = calloc(count + 1, sizeof *ids);
    struct ledger_cursor *cursor = NULL;
    struct reading reading;
    int more = -1, found = 0;

    if (channels != NULL && ids == NULL)
        fault_set(fault, EX_OSERR, "not enough memory for %zu channels", count);
    for (size_t i = 0; channels != NULL && ids != NULL && i < count; i++)
        if (channels[i].role == ROLE_CONTROL || channels[i].role == ROLE_LOAD)
            ids[picked++] = channels[i].channel_id;
    if (channels != NULL && ids != NULL)
        cursor = ledger_open_cursor(command->ledger, ids, picked, run->begun_ms, until_ms, fault);
    while (cursor != NULL && (more = ledger_next_reading(cursor, &reading, fault)) == 1) {
        replay_correct(channels, count, &reading);
        if (reading.quality == QUALITY_GOOD && (found == 0 || reading.value > *peak_mc)) {
            *peak_mc = reading.value;
            found = 1;
        }
    }
    ledger_close_cursor(cursor);
    ledger_free_channels(channels, count);
    free(ids);
    return more == 0 ? found : -1;
}

static int command_describe_one(struct command *command, const struct ledger_claim *claim, char *out,
                                struct fault *fault) {
    struct ledger_batch *batch = ledger_read_batch(command->ledger, claim->batch_id, fault);
    char name[COMMAND_TEXT_BYTES];
    struct plan *plan;

    if (batch == NULL)
        return -1;
    plan = plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault);
    if (plan != NULL && claim->visit < plan->visit_count)
        snprintf(out, COMMAND_TEXT_BYTES, "batch %lld, %.200s", (long long)claim->batch_id,
                 command_visit_name(plan, claim->visit, name));
    else
        snprintf(out, COMMAND_TEXT_BYTES, "batch %lld, visit %zu", (long long)claim->batch_id, claim->visit + 1);
    ledger_free_batch(batch);
    plan_free(plan);
    return plan != NULL ? 0 : -1;
}

/* "batch 1, soak hardening; batch 2, soak hardening" */
static int command_describe_claim(struct command *command, const struct ledger_run *run, char *out,
                                  struct fault *fault) {
    size_t count = 0, used = 0;
    struct ledger_claim *claims = ledger_list_claims(command->ledger, run->run_id, &count, fault);
    int result = claims == NULL ? -1 : 0;
    char one[COMMAND_TEXT_BYTES];

    snprintf(out, COMMAND_TEXT_BYTES, "unclaimed");
    for (size_t i = 0; result == 0 && i < count && used < COMMAND_TEXT_BYTES; i++) {
        result = command_describe_one(command, &claims[i], one, fault);
        if (result == 0)
            used += (size_t)snprintf(out + used, COMMAND_TEXT_BYTES - used, "%s%s", i > 0 ? "; " : "", one);
    }
    free(claims);
    return result;
}

static int command_print_run(struct command *command, const size_t *widths, const struct ledger_run *run,
                             int64_t last_ms, struct fault *fault) {
    const int64_t until_ms = run->ended_ms != 0 ? run->ended_ms : last_ms > run->begun_ms ? last_ms : run->begun_ms;
    char number[QUANTITY_TEXT_BYTES], begun[QUANTITY_TEXT_BYTES], length[QUANTITY_TEXT_BYTES];
    char peak[QUANTITY_TEXT_BYTES] = "no reading", how_long[COMMAND_TEXT_BYTES], claim[COMMAND_TEXT_BYTES];
    char oven_name[COMMAND_TEXT_BYTES];
    int64_t peak_mc = 0;
    const int found = command_find_peak(command, run, until_ms, &peak_mc, fault);
    char *oven;

    if (found < 0 || command_describe_claim(command, run, claim, fault) != 0)
        return -1;
    oven = ledger_oven_name(command->ledger, run->oven_id, fault);
    if (oven == NULL)
        return -1;
    if (found == 1)
        quantity_format_temperature(peak_mc, command->config->unit, 0, peak);
    snprintf(number, sizeof number, "%lld", (long long)run->run_id);
    snprintf(how_long, sizeof how_long, "%s%s", quantity_format_duration(until_ms - run->begun_ms, length),
             run->ended_ms == 0 ? ", still on" : "");
    quantity_format_time(run->begun_ms, command->config->utc_offset_min, begun);
    const char *const cells[] = {number, begun, command_clean(oven, oven_name), how_long, peak, claim};
    command_print_row(command->out, widths, cells, sizeof cells / sizeof cells[0]);
    free(oven);
    return 0;
}

static int command_print_runs(struct command *command, const struct ledger_run *runs, size_t count, bool all,
                              struct fault *fault) {
    static const size_t widths[] = {4, 19, 11, 12, 10, 18};
    const size_t first = !all && count > RUNS_SHOWN ? count - RUNS_SHOWN : 0;
    const int64_t last_ms = ledger_last_time(command->ledger, fault);
    char title[COMMAND_TEXT_BYTES], zone[QUANTITY_TEXT_BYTES];

    if (last_ms < 0)
        return -1;
    if (count == 0) {
        fputs("There is no run yet.\n", command->out);
        return 0;
    }
    snprintf(title, sizeof title, "begun (%s)", words_offset(command->config->utc_offset_min, zone));
    const char *const head[] = {"run", title, "oven", "length", "peak", "belongs to"};
    command_print_row(command->out, widths, head, sizeof head / sizeof head[0]);
    for (size_t i = first; i < count; i++)
        if (command_print_run(command, widths, &runs[i], last_ms, fault) != 0)
            return -1;
    if (first > 0)
        fprintf(command->out, "%zu earlier runs: runs --all\n", first);
    return 0;
}

int command_runs(struct command *command, int argc, char **argv, struct fault *fault) {
    const bool all = argc == 1 && strcmp(argv[0], "--all") == 0;
    struct ledger_run *runs;
    size_t count = 0;
    int result;

    if (argc > (all ? 1 : 0))
        return fault_set(fault, EX_USAGE, "'%s' is not understood: expected 'runs' or 'runs --all'", argv[0]);
    if (command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    runs = ledger_list_runs(command->ledger, INT64_MIN, INT64_MAX, &count, fault);
    if (runs == NULL)
        return -1;
    result = command_print_runs(command, runs, count, all, fault);
    free(runs);
    return result;
}

/* ---- claim ---- */

const char *command_person(const char *named) {
    const struct passwd *user;

    if (named != NULL)
        return named;
    user = getpwuid(getuid());
    return user != NULL ? user->pw_name : "unknown";
}

/* The visit meant: the one named, or the one that the batch waits for. */
static int command_pick_visit(struct command *command, const struct ledger_batch *batch, const struct plan *plan,
                              const struct ledger_run *run, const char *named, size_t *visit, struct fault *fault) {
    int waits;

    if (named != NULL)
        return command_find_visit(plan, named, visit, fault);
    waits = replay_next_visit(command->ledger, batch->batch_id, plan, visit, fault);
    if (waits == 0)
        fault_set(fault, EX_DATAERR, "batch %lld waits for no run any more: name the visit that run %lld repeats",
                  (long long)batch->batch_id, (long long)run->run_id);
    return waits == 1 ? 0 : -1;
}

static int command_check_claim(struct command *command, const struct ledger_batch *batch, const struct plan *plan,
                               const struct ledger_run *run, size_t visit, struct fault *fault) {
    const int64_t oven_id = command_visit_oven(command, batch, plan, visit, fault);
    char name[COMMAND_TEXT_BYTES];

    if (oven_id < 0)
        return -1;
    if (batch->closed_ms != 0)
        return fault_set(fault, EX_DATAERR, "batch %lld is closed: no run can be claimed for it any more",
                         (long long)batch->batch_id);
    if (oven_id != run->oven_id)
        return fault_set(fault, EX_DATAERR,
                         "run %lld was in another oven than the plan wants for %.100s: name the visit it is for, "
                         "if it is another",
                         (long long)run->run_id, command_visit_name(plan, visit, name));
    return 0;
}

/* Nobody's run is taken by mistake: that two charges shared an oven has to be said. */
static int command_check_owners(struct command *command, const struct ledger_run *run, int64_t batch_id, bool also,
                                struct fault *fault) {
    const long long number = (long long)run->run_id;
    size_t count = 0;
    struct ledger_claim *claims = ledger_list_claims(command->ledger, run->run_id, &count, fault);
    int result = claims == NULL ? -1 : 0;

    for (size_t i = 0; result == 0 && i < count; i++)
        if (claims[i].batch_id == batch_id)
            result = fault_set(fault, EX_DATAERR,
                               "run %lld belongs to batch %lld already: 'claim %lld none %lld' gives it back first",
                               number, (long long)batch_id, number, (long long)batch_id);
    if (result == 0 && count > 0 && !also)
        result =
            fault_set(fault, EX_DATAERR,
                      "run %lld belongs to batch %lld already: say --also if both were in the oven, or give it "
                      "back first with 'claim %lld none'",
                      number, (long long)claims[0].batch_id, number);
    free(claims);
    return result;
}

static int command_claim_for(struct command *command, const struct ledger_run *run, int64_t batch_id,
                             const char *visit_text, bool also, int64_t now_ms, const char *by,
                             struct fault *fault) {
    struct ledger_batch *batch = ledger_read_batch(command->ledger, batch_id, fault);
    char name[COMMAND_TEXT_BYTES], line[2 * COMMAND_TEXT_BYTES];
    struct plan *plan;
    size_t visit = 0;
    int result = -1;

    if (batch == NULL)
        return -1;
    plan = plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault);
    if (plan != NULL && command_pick_visit(command, batch, plan, run, visit_text, &visit, fault) == 0 &&
        command_check_owners(command, run, batch_id, also, fault) == 0 &&
        command_check_claim(command, batch, plan, run, visit, fault) == 0)
        result = ledger_claim_run(command->ledger, run->run_id, batch_id, visit, now_ms, by, fault);
    if (result == 0) {
        snprintf(line, sizeof line, "Run %lld belongs to batch %lld now: %s.", (long long)run->run_id,
                 (long long)batch_id, command_visit_name(plan, visit, name));
        command_print(command->out, 2, line);
    }
    plan_free(plan);
    ledger_free_batch(batch);
    return result;
}

static int command_give_back(struct command *command, const struct ledger_run *run, const char *from,
                             int64_t now_ms, const char *by, struct fault *fault) {
    int64_t batch_id;

    if (run->batch_id == 0)
        return fault_set(fault, EX_DATAERR, "run %lld belongs to no batch", (long long)run->run_id);
    if (from == NULL) {
        if (ledger_claim_run(command->ledger, run->run_id, 0, 0, now_ms, by, fault) != 0)
            return -1;
        fprintf(command->out, "Run %lld belongs to no batch now.\n", (long long)run->run_id);
        return 0;
    }
    if (command_take_number(from, "batch", &batch_id, fault) != 0 ||
        ledger_withdraw_claim(command->ledger, run->run_id, batch_id, now_ms, by, fault) != 0)
        return -1;
    fprintf(command->out, "Run %lld belongs to batch %lld no more.\n", (long long)run->run_id, (long long)batch_id);
    return 0;
}

int command_claim(struct command *command, int argc, char **argv, struct fault *fault) {
    enum { RUN, BATCH, VISIT, WORDS };
    const char *words[WORDS] = {NULL}, *named = NULL;
    const struct command_option options[] = {{"--by", &named}};
    const char *usage = "claim RUN BATCH [VISIT] [--also] [--by NAME], or claim RUN none [BATCH] [--by NAME]";
    const bool also = command_take_out(&argc, argv, "--also");
    int64_t run_id, batch_id = 0, now_ms;
    struct ledger_run run;
    int found;

    if (command_take(argc, argv, options, 1, words, VISIT, WORDS, usage, fault) < 0 ||
        command_take_number(words[RUN], "run", &run_id, fault) != 0)
        return -1;
    if (strcmp(words[BATCH], "none") != 0 && command_take_number(words[BATCH], "batch", &batch_id, fault) != 0)
        return -1;
    if (command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    now_ms = command_now_ms(command, fault);
    found = now_ms < 0 ? -1 : ledger_read_run(command->ledger, run_id, &run, fault);
    if (found < 0)
        return -1;
    if (found == 0)
        return fault_set(fault, EX_NOINPUT, "there is no run %lld: 'runs' lists them", (long long)run_id);
    if (batch_id == 0)
        return command_give_back(command, &run, words[VISIT], now_ms, command_person(named), fault);
    return command_claim_for(command, &run, batch_id, words[VISIT], also, now_ms, command_person(named), fault);
}
