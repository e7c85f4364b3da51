// SPDX-License-Identifier: MIT
#include <pwd.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "command.h"
#include "soakledger/replay.h"
#include "soakledger/words.h"

/* ---- claim ---- */

const char *command_person(const struct command *command, const char *named) {
    const struct passwd *user;

    if (named != NULL)
        return named;
    if (command->seat != NULL)
        return desk_person(command->seat);
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
        return command_give_back(command, &run, words[VISIT], now_ms, command_person(command, named), fault);
    return command_claim_for(command, &run, batch_id, words[VISIT], also, now_ms, command_person(command, named),
                             fault);
}
