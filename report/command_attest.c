// SPDX-License-Identifier: MIT
/* attest: a person's word for a quench that no sensor saw. Kept and printed as that, never as measured. */
#include "command.h"

#include <string.h>

#include "soakledger/words.h"

/* The visit meant: the one named, or the only one whose quench may be attested. */
static int command_pick_quench(const struct plan *plan, const char *named, size_t *visit, struct fault *fault) {
    const struct plan_operation *quench;
    size_t count = 0;

    if (named != NULL && command_find_visit(plan, named, visit, fault) != 0)
        return -1;
    for (size_t i = 0; named == NULL && i < plan->visit_count; i++) {
        quench = plan_visit_quench(plan, i);
        if (quench != NULL && quench->may_attest && count++ == 0)
            *visit = i;
    }
    if (named == NULL && count > 1)
        return fault_set(fault, EX_USAGE, "the plan has %zu quenches that may be attested: name the visit", count);
    quench = named != NULL || count == 1 ? plan_visit_quench(plan, *visit) : NULL;
    if (quench == NULL || !quench->may_attest)
        return fault_set(fault, EX_DATAERR,
                         "the plan lets nobody attest that quench: expected may_attest = yes in its [quench]");
    return 0;
}

static int command_take_moment(const char *text, int64_t now_ms, int64_t *t_ms, struct fault *fault) {
    if (strcmp(text, "now") == 0) {
        *t_ms = now_ms;
        return 0;
    }
    if (quantity_parse_time(text, t_ms, fault) != 0)
        return -1;
    if (*t_ms > now_ms)
        return fault_set(fault, EX_DATAERR, "'%s' is still to come: expected when it happened", text);
    return 0;
}

static int command_attest_batch(struct command *command, int64_t batch_id, const char *named,
                                struct ledger_attestation *attestation, struct fault *fault) {
    struct ledger_batch *batch = ledger_read_batch(command->ledger, batch_id, fault);
    struct plan *plan = NULL;
    char name[COMMAND_TEXT_BYTES], when[COMMAND_TEXT_BYTES], line[3 * COMMAND_TEXT_BYTES];
    int result = -1;

    if (batch != NULL)
        plan = plan_parse(batch->plan_text, batch->plan_length, batch->plan_name, fault);
    if (plan != NULL && command_pick_quench(plan, named, &attestation->visit, fault) == 0)
        result = ledger_add_attestation(command->ledger, batch_id, attestation, fault);
    if (result == 0) {
        snprintf(line, sizeof line, "Batch %lld: the quench of %s is attested for %s.", (long long)batch_id,
                 command_visit_name(plan, attestation->visit, name),
                 command_time(command, attestation->t_ms, when));
        command_print(command->out, 2, line);
    }
    plan_free(plan);
    ledger_free_batch(batch);
    return result;
}

int command_attest(struct command *command, int argc, char **argv, struct fault *fault) {
    enum { BATCH, VISIT, WORDS };
    const char *words[WORDS] = {NULL}, *at = NULL, *by = NULL, *said = NULL;
    const struct command_option options[] = {{"--at", &at}, {"--by", &by}, {"--words", &said}};
    const char *usage = "attest BATCH [VISIT] --at TIME [--by NAME] [--words TEXT]";
    struct ledger_attestation attestation = {0};
    int64_t batch_id;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], words, 1, WORDS, usage, fault) < 0 ||
        command_take_number(words[BATCH], "batch", &batch_id, fault) != 0)
        return -1;
    if (at == NULL)
        return fault_set(fault, EX_USAGE, "--at is missing: expected '%s'", usage);
    if (command_open_ledger(command, LEDGER_BOOKKEEP, fault) != 0)
        return -1;
    attestation.said_ms = command_now_ms(command, fault);
    if (attestation.said_ms < 0 || command_take_moment(at, attestation.said_ms, &attestation.t_ms, fault) != 0)
        return -1;
    attestation.said_by = (char *)command_person(command, by);
    attestation.words = (char *)(said != NULL ? said : "");
    return command_attest_batch(command, batch_id, words[VISIT], &attestation, fault);
}
