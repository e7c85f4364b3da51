// SPDX-License-Identifier: MIT
#include <stdlib.h>
#include <string.h>

#include "command.h"
#include "soakledger/company.h"
#include "soakledger/replay.h"
#include "soakledger/words.h"

static const char USAGE[] = "batch open --plan FILE --charge TEXT [--oven NAME] [--customer TEXT] [--order TEXT] "
                            "[--operator TEXT] [--note TEXT] [--with BATCH]";

struct batch_words {
    const char *plan, *charge, *oven, *customer, *order, *operator_name, *note, *with;
    int64_t with_id; // 0: the charge goes into the oven by itself
};

static int command_take_batch(int argc, char **argv, struct batch_words *words, struct fault *fault) {
    const struct command_option options[] = {
        {"--plan", &words->plan},         {"--charge", &words->charge}, {"--oven", &words->oven},
        {"--customer", &words->customer}, {"--order", &words->order},   {"--operator", &words->operator_name},
        {"--note", &words->note},         {"--with", &words->with},
    };
    const char *none = NULL;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &none, 0, 0, USAGE, fault) < 0)
        return -1;
    if (words->plan == NULL || words->charge == NULL || words->charge[0] == '\0')
        return fault_set(fault, EX_USAGE, "--plan and --charge are needed: expected '%s'", USAGE);
    return words->with == NULL ? 0 : command_take_number(words->with, "batch", &words->with_id, fault);
}

static void command_name_ovens(const struct config *config, char *out, size_t size) {
    size_t used = 0;

    out[0] = '\0';
    for (size_t i = 0; i < config->oven_count && used < size; i++)
        used += (size_t)snprintf(out + used, size - used, "%s%s", i > 0 ? ", " : "", config->ovens[i].name);
}

static size_t command_find_configured(const struct config *config, const char *name) {
    size_t oven = 0;

    while (oven < config->oven_count && strcmp(config->ovens[oven].name, name) != 0)
        oven++;
    return oven;
}

/* The batch's own oven: the one named, or the only one. */
static const char *command_pick_oven(const struct command *command, const char *named, struct fault *fault) {
    const struct config *config = command->config;
    char names[FAULT_TEXT_BYTES / 2];

    command_name_ovens(config, names, sizeof names);
    if (named == NULL && config->oven_count == 1)
        return config->ovens[0].name;
    if (named == NULL)
        fault_set(fault, EX_USAGE, "--oven is needed, as there are several: expected one of %s", names);
    else if (command_find_configured(config, named) < config->oven_count)
        return named;
    else
        fault_set(fault, EX_USAGE, "there is no oven '%s': expected one of %s", named, names);
    return NULL;
}

static bool command_has_channel(const struct config *config, size_t oven, const char *name,
                                enum channel_role role) {
    for (size_t i = 0; i < config->channel_count; i++) {
        const struct config_channel *channel = &config->channels[i];

        if (channel->oven == oven && (name != NULL ? strcmp(channel->name, name) == 0 : channel->role == role))
            return true;
    }
    return false;
}

/* That the channels which the plan takes for the charge exist where the visit happens. */
static int command_check_loads(const struct config *config, const struct plan *plan, const char *file, int line,
                               size_t oven, struct fault *fault) {
    const char *name = config->ovens[oven].name;

    if (plan->load == PLAN_LOAD_SENSORS && !command_has_channel(config, oven, NULL, ROLE_LOAD))
        return fault_set(fault, EX_CONFIG,
                         "%s:%d: the plan wants load sensors, but oven '%s' has no channel of role load: "
                         "expected one, or a plan with load = control and lag_allowance",
                         file, line, name);
    if (plan->load == PLAN_LOAD_CONTROL && !command_has_channel(config, oven, NULL, ROLE_CONTROL))
        return fault_set(fault, EX_CONFIG,
                         "%s:%d: the plan wants the control sensor, but oven '%s' has no channel of "
                         "role control",
                         file, line, name);
    for (size_t i = 0; plan->load == PLAN_LOAD_NAMED && i < plan->load_count; i++)
        if (!command_has_channel(config, oven, plan->load_names[i], ROLE_LOAD))
            return fault_set(fault, EX_CONFIG,
                             "%s:%d: the plan wants channel '%s', but oven '%s' has none of that name", file, line,
                             plan->load_names[i], name);
    return 0;
}

/* That every operation's oven is configured and known to the ledger. */
int command_check_ovens(struct command *command, const struct plan *plan, const char *file, const char *own,
                        struct fault *fault) {
    char names[FAULT_TEXT_BYTES / 2];

    command_name_ovens(command->config, names, sizeof names);
    for (size_t i = 0; i < plan->operation_count; i++) {
        const struct plan_operation *operation = &plan->operations[i];
        const char *name = operation->oven[0] != '\0' ? operation->oven : own;
        const size_t oven = command_find_configured(command->config, name);
        int64_t id;

        if (oven == command->config->oven_count)
            return fault_set(fault, EX_CONFIG, "%s:%d: there is no oven '%s': expected one of %s", file,
                             operation->line, name, names);
        if (command_check_loads(command->config, plan, file, operation->line, oven, fault) != 0)
            return -1;
        id = ledger_find_oven(command->ledger, name, fault);
        if (id < 0)
            return -1;
        if (id == 0)
            return fault_set(fault, EX_UNAVAILABLE,
                             "the ledger does not know oven '%s' yet: start soakledgerd with this "
                             "configuration once",
                             name);
    }
    return 0;
}

/* A run goes to the oldest batch whose next visit is in its oven. So that nobody's charge is taken for another's, a
 * batch is refused if its first visit is in an oven for which an earlier one still waits. */
static int command_check_waiting(struct command *command, int64_t other_id, int64_t oven_id, struct fault *fault) {
    struct ledger_batch *other = ledger_read_batch(command->ledger, other_id, fault);
    char name[COMMAND_TEXT_BYTES], charge[COMMAND_TEXT_BYTES];
    struct plan *plan = NULL;
    int64_t where = 0;
    size_t visit = 0;
    int waits = -1;

    if (other != NULL)
        plan = plan_parse(other->plan_text, other->plan_length, other->plan_name, fault);
    if (plan != NULL)
        waits = replay_next_visit(command->ledger, other_id, plan, &visit, fault);
    if (waits == 1)
        where = command_visit_oven(command, other, plan, visit, fault);
    if (waits == 1 && where == oven_id)
        fault_set(
            fault, EX_UNAVAILABLE,
            "batch %lld (%.80s) still waits for a run in this oven, %.80s: let it run, claim a run for it with "
            "'claim RUN %lld', close it with 'batch close %lld', or say '--with %lld' if both go in together",
            (long long)other_id, command_clean(other->charge, charge), command_visit_name(plan, visit, name),
            (long long)other_id, (long long)other_id, (long long)other_id);
    plan_free(plan);
    ledger_free_batch(other);
    return waits < 0 || where < 0 || where == oven_id ? -1 : 0;
}

int command_check_others(struct command *command, int64_t oven_id, const int64_t *company, size_t company_count,
                         struct fault *fault) {
    size_t count = 0;
    int64_t *ids = ledger_list_batches(command->ledger, true, &count, fault);
    int result = ids != NULL ? 0 : -1;

    for (size_t i = 0; result == 0 && i < count; i++) {
        bool goes_along = false;

        for (size_t k = 0; k < company_count; k++)
            goes_along |= company[k] == ids[i];
        if (!goes_along)
            result = command_check_waiting(command, ids[i], oven_id, fault);
    }
    free(ids);
    return result;
}

/* The batch that it goes with, and all that go with that one. Caller frees; NULL with a fault. */
static int64_t *command_list_company(struct command *command, int64_t with_id, size_t *count, struct fault *fault) {
    struct ledger_batch *with;
    int64_t *others, *all;

    *count = 0;
    if (with_id == 0)
        return calloc(1, sizeof *all);
    with = ledger_read_batch(command->ledger, with_id, fault);
    if (with == NULL)
        return NULL;
    if (with->closed_ms != 0) {
        fault_set(fault, EX_DATAERR, "batch %lld is closed: nothing goes into the oven with it any more",
                  (long long)with_id);
        ledger_free_batch(with);
        return NULL;
    }
    ledger_free_batch(with);
    others = company_list(command->ledger, with_id, count, fault);
    if (others == NULL)
        return NULL;
    all = reallocarray(others, *count + 1, sizeof *all);
    if (all == NULL) {
        fault_set(fault, EX_OSERR, "not enough memory for %zu batches", *count);
        free(others);
        return NULL;
    }
    all[(*count)++] = with_id;
    return all;
}

static const char *command_or_empty(const char *text) {
    return text != NULL ? text : "";
}

/* The strings of the record are only read by ledger_open_batch, which takes them as they are. */
static int64_t command_write_batch(struct command *command, const struct batch_words *words,
                                   const struct plan *plan, int64_t oven_id, struct fault *fault) {
    const int64_t now_ms = command_now_ms(command, fault);
    struct ledger_batch batch = {.opened_ms = now_ms, .oven_id = oven_id, .plan_length = plan->text_length};

    batch.charge = (char *)(uintptr_t)words->charge;
    batch.customer = (char *)(uintptr_t)command_or_empty(words->customer);
    batch.order_reference = (char *)(uintptr_t)command_or_empty(words->order);
    batch.operator_name = (char *)(uintptr_t)command_or_empty(words->operator_name);
    batch.note = (char *)(uintptr_t)command_or_empty(words->note);
    batch.plan_text = (char *)(uintptr_t)plan->text;
    batch.plan_name = (char *)(uintptr_t)words->plan;
    ledger_sha256(plan->text, plan->text_length, batch.plan_sha256);
    return now_ms < 0 ? -1 : ledger_open_batch(command->ledger, &batch, fault);
}

static int64_t command_write_with(struct command *command, const struct batch_words *words, const struct plan *plan,
                                  int64_t oven_id, struct fault *fault) {
    const int64_t batch_id = command_write_batch(command, words, plan, oven_id, fault);
    const struct company company = {.batch_id = batch_id,
                                    .with_batch_id = words->with_id,
                                    .together = true,
                                    .t_ms = command_now_ms(command, fault)};

    if (batch_id < 0 || company.t_ms < 0)
        return -1;
    if (words->with_id != 0 &&
        company_add(command->ledger, &company, command_person(command, words->operator_name), fault) != 0)
        return -1;
    return batch_id;
}

/* Checks and writes under one lock, so that two commands at once cannot both pass. */
static int64_t command_open_batch(struct command *command, const struct batch_words *words, const struct plan *plan,
                                  const char *own, struct fault *fault) {
    const char *first = plan_visit_soak(plan, 0)->oven;
    int64_t batch_id = -1, oven_id, first_id, *company;
    size_t count = 0;

    if (ledger_begin(command->ledger, fault) != 0)
        return -1;
    oven_id = ledger_find_oven(command->ledger, own, fault);
    first_id = first[0] != '\0' ? ledger_find_oven(command->ledger, first, fault) : oven_id;
    company = oven_id > 0 && first_id > 0 ? command_list_company(command, words->with_id, &count, fault) : NULL;
    if (company != NULL && command_check_others(command, first_id, company, count, fault) == 0)
        batch_id = command_write_with(command, words, plan, oven_id, fault);
    free(company);
    if (batch_id > 0 && ledger_commit(command->ledger, fault) == 0)
        return batch_id;
    ledger_roll_back(command->ledger);
    return -1;
}

static int command_report_open(struct command *command, const struct plan *plan, const char *own, int64_t batch_id,
                               struct fault *fault) {
    const char *first = plan_visit_soak(plan, 0)->oven;
    const char *oven = first[0] != '\0' ? first : own;
    const int64_t oven_id = ledger_find_oven(command->ledger, oven, fault);
    char line[COMMAND_TEXT_BYTES * 2], name[COMMAND_TEXT_BYTES], oven_name[COMMAND_TEXT_BYTES];
    struct ledger_run run;
    int on;

    snprintf(line, sizeof line, "Batch %lld is open. It waits for a run in oven %s: %s.", (long long)batch_id,
             command_clean(oven, oven_name), command_visit_name(plan, 0, name));
    command_print(command->out, 2, line);
    on = oven_id < 0 ? -1 : ledger_find_open_run(command->ledger, oven_id, &run, fault);
    if (on == 1 && run.batch_id == 0) {
        snprintf(
            line, sizeof line,
            "Run %lld is on in that oven and belongs to nobody. If it is this batch's: soakledger claim %lld %lld",
            (long long)run.run_id, (long long)run.run_id, (long long)batch_id);
        command_print(command->out, 2, line);
    }
    return on < 0 ? -1 : 0;
}

int command_batch_open(struct command *command, int argc, char **argv, struct fault *fault) {
    struct batch_words words = {0};
    struct plan *plan;
    const char *own;
    int64_t batch_id = -1;
    int result = -1;

    if (command_take_batch(argc, argv, &words, fault) != 0)
        return -1;
    plan = command_read_plan(command, words.plan, fault);
    if (plan == NULL)
        return -1;
    if (command_open_ledger(command, LEDGER_BOOKKEEP, fault) == 0) {
        own = command_pick_oven(command, words.oven, fault);
        if (own != NULL && command_check_ovens(command, plan, words.plan, own, fault) == 0)
            batch_id = command_open_batch(command, &words, plan, own, fault);
        if (batch_id > 0)
            result = command_report_open(command, plan, own, batch_id, fault);
    }
    plan_free(plan);
    return result;
}
