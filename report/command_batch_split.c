// SPDX-License-Identifier: MIT
/* A charge that becomes two: what has happened to it belongs to both, what comes goes where its batch goes. */
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "soakledger/company.h"

static const char USAGE[] = "batch split BATCH --charge TEXT [--plan FILE] [--customer TEXT] [--order TEXT] "
                            "[--operator TEXT] [--note TEXT] [--apart | --together]";

struct split {
    const char *charge, *plan_path, *customer, *order, *operator_name, *note;
    bool together;
    struct ledger_batch *from;
    struct plan *plan; // of the part that is split off
    int64_t now_ms;
};

static int command_take_split(int argc, char **argv, struct split *split, int64_t *from_id, struct fault *fault) {
    const struct command_option options[] = {
        {"--charge", &split->charge}, {"--plan", &split->plan_path},         {"--customer", &split->customer},
        {"--order", &split->order},   {"--operator", &split->operator_name}, {"--note", &split->note},
    };
    const bool apart = command_take_out(&argc, argv, "--apart");
    const bool together = command_take_out(&argc, argv, "--together");
    const char *word = NULL;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &word, 1, 1, USAGE, fault) < 0 ||
        command_take_number(word, "batch", from_id, fault) != 0)
        return -1;
    if (split->charge == NULL || split->charge[0] == '\0')
        return fault_set(fault, EX_USAGE, "--charge is needed, what is split off: expected '%s'", USAGE);
    if (apart && together)
        return fault_set(fault, EX_USAGE, "--apart and --together say opposite things: expected '%s'", USAGE);
    // Who splits a charge for two customers heats it on as one; who gives a part another plan wants it elsewhere.
    split->together = together || (!apart && split->plan_path == NULL);
    return 0;
}

/* That the plan of the part has the visits that are behind it, in the ovens where they were. */
static int command_check_past(struct command *command, const struct split *split, const struct ledger_run *runs,
                              size_t count, struct fault *fault) {
    for (size_t i = 0; i < count; i++) {
        int64_t oven_id;

        if (runs[i].visit >= split->plan->visit_count)
            return fault_set(
                fault, EX_CONFIG, "%s: has %zu visits, but run %lld was already visit %zu of this charge",
                split->plan_path, split->plan->visit_count, (long long)runs[i].run_id, runs[i].visit + 1);
        oven_id = command_visit_oven(command, split->from, split->plan, runs[i].visit, fault);
        if (oven_id < 0)
            return -1;
        if (oven_id != runs[i].oven_id)
            return fault_set(fault, EX_CONFIG,
                             "%s:%d: wants visit %zu in another oven than run %lld of this charge was in",
                             split->plan_path, plan_visit_soak(split->plan, runs[i].visit)->line, runs[i].visit + 1,
                             (long long)runs[i].run_id);
    }
    return 0;
}

static const char *command_first(const char *said, const char *otherwise) {
    return said != NULL ? said : otherwise;
}

/* The strings of the record are only read by ledger_open_batch, which takes them as they are. */
static int64_t command_write_part(struct command *command, const struct split *split, struct fault *fault) {
    const struct ledger_batch *from = split->from;
    struct ledger_batch batch = {
        .opened_ms = split->now_ms, .oven_id = from->oven_id, .plan_length = split->plan->text_length};

    batch.charge = (char *)(uintptr_t)split->charge;
    batch.customer = (char *)(uintptr_t)command_first(split->customer, from->customer);
    batch.order_reference = (char *)(uintptr_t)command_first(split->order, from->order_reference);
    batch.operator_name = (char *)(uintptr_t)command_first(split->operator_name, from->operator_name);
    batch.note = (char *)(uintptr_t)command_first(split->note, "");
    batch.plan_text = (char *)(uintptr_t)split->plan->text;
    batch.plan_name = (char *)(uintptr_t)command_first(split->plan_path, from->plan_name);
    return ledger_open_batch(command->ledger, &batch, fault);
}

static int command_hand_on(struct command *command, const struct split *split, int64_t part_id,
                           const struct ledger_run *runs, size_t run_count, struct fault *fault) {
    const char *by = command_person(command, split->operator_name);
    // Two entries: a group goes by the name of one of its batches, and that need not be the one that was split.
    const struct company origin = {part_id, split->from->batch_id, false, true, split->now_ms};
    const struct company company = {part_id, split->from->batch_id, true, false, split->now_ms};
    size_t count = 0;
    struct ledger_attestation *said =
        ledger_list_attestations(command->ledger, split->from->batch_id, &count, fault);
    int result = said == NULL ? -1 : company_add(command->ledger, &origin, by, fault);

    if (result == 0 && split->together)
        result = company_add(command->ledger, &company, by, fault);
    for (size_t i = 0; result == 0 && i < run_count; i++)
        result =
            ledger_claim_run(command->ledger, runs[i].run_id, part_id, runs[i].visit, split->now_ms, by, fault);
    for (size_t i = 0; result == 0 && i < count; i++)
        result = ledger_add_attestation(command->ledger, part_id, &said[i], fault);
    ledger_free_attestations(said, count);
    return result;
}

/* Under one lock: no run may come in between. */
static int64_t command_write_split(struct command *command, const struct split *split, size_t *run_count,
                                   struct fault *fault) {
    struct ledger_run *runs;
    int64_t part_id = -1;

    if (ledger_begin(command->ledger, fault) != 0)
        return -1;
    runs = ledger_list_claimed(command->ledger, split->from->batch_id, run_count, fault);
    if (runs != NULL && command_check_past(command, split, runs, *run_count, fault) == 0)
        part_id = command_write_part(command, split, fault);
    if (part_id > 0 && (command_hand_on(command, split, part_id, runs, *run_count, fault) != 0 ||
                        ledger_commit(command->ledger, fault) != 0))
        part_id = -1;
    if (part_id < 0)
        ledger_roll_back(command->ledger);
    free(runs);
    return part_id;
}

static int command_read_split(struct command *command, struct split *split, int64_t from_id, struct fault *fault) {
    char *oven;
    int result;

    split->from = ledger_read_batch(command->ledger, from_id, fault);
    if (split->from == NULL)
        return -1;
    if (split->from->closed_ms != 0)
        return fault_set(fault, EX_DATAERR, "batch %lld is closed: it cannot be split any more",
                         (long long)from_id);
    split->plan = split->plan_path != NULL
                      ? command_read_plan(command, split->plan_path, fault)
                      : plan_parse(split->from->plan_text, split->from->plan_length, split->from->plan_name, fault);
    split->now_ms = command_now_ms(command, fault);
    if (split->plan == NULL || split->now_ms < 0)
        return -1;
    if (split->plan_path == NULL)
        return 0;
    oven = ledger_oven_name(command->ledger, split->from->oven_id, fault);
    result = oven == NULL ? -1 : command_check_ovens(command, split->plan, split->plan_path, oven, fault);
    free(oven);
    return result;
}

int command_batch_split(struct command *command, int argc, char **argv, struct fault *fault) {
    struct split split = {0};
    char line[COMMAND_TEXT_BYTES];
    int64_t from_id, part_id = -1;
    size_t run_count = 0;

    if (command_take_split(argc, argv, &split, &from_id, fault) != 0 ||
        command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    if (command_read_split(command, &split, from_id, fault) == 0)
        part_id = command_write_split(command, &split, &run_count, fault);
    if (part_id > 0) {
        snprintf(line, sizeof line, "Batch %lld is open, split off batch %lld. %s From now on they go %s.",
                 (long long)part_id, (long long)from_id,
                 run_count == 0   ? "There was no run yet."
                 : run_count == 1 ? "The run so far belongs to both."
                                  : "The runs so far belong to both.",
                 split.together ? "together: a run for one is a run for both"
                                : "apart: each next run goes to the older of those that wait for its oven");
        command_print(command->out, 2, line);
    }
    plan_free(split.plan);
    ledger_free_batch(split.from);
    return part_id > 0 ? 0 : -1;
}
