// SPDX-License-Identifier: MIT
/* Reads a plan: first every section by itself (plan_head.c, plan_operation.c), then what the operations demand of
 * each other (plan_order.c). */
#include "soakledger/plan.h"

#include <stdlib.h>

#include "plan_private.h"

const char *plan_kind_name(enum operation_kind kind) {
    switch (kind) {
    case OPERATION_HEAT: return "heat";
    case OPERATION_SOAK: return "soak";
    case OPERATION_TEMPER: return "temper";
    case OPERATION_HOLD: return "hold";
    case OPERATION_QUENCH: return "quench";
    case OPERATION_COLD: return "cold";
    }
    return "unknown";
}

bool plan_closes_visit(const struct plan_operation *operation) {
    return operation->kind == OPERATION_SOAK || operation->kind == OPERATION_TEMPER ||
           operation->kind == OPERATION_COLD;
}

static int read_whole(struct whole *whole) {
    struct plan *plan = &whole->plan;
    const size_t count = keyfile_count_sections(whole->file);

    plan->text = keyfile_text(whole->file, &plan->text_length);
    plan->operations = whole->operations;
    if (plan_read_head(whole) != 0)
        return -1;
    if (count == 1)
        return keyfile_fault(whole->file, keyfile_section_line(keyfile_section(whole->file, 0)), whole->fault,
                             "no operation in the plan: expected at least one [soak] or [temper]");
    for (size_t i = 1; i < count; i++)
        if (plan_read_operation(whole, keyfile_section(whole->file, i)) != 0)
            return -1;
    return keyfile_refuse_unknown(whole->file, whole->fault) != 0 ? -1 : plan_check_order(whole);
}

/* Takes `file` over, which may be NULL with the fault already filled in. */
static struct plan *plan_from(struct keyfile *file, struct fault *fault) {
    struct whole *whole;

    if (file == NULL)
        return NULL;
    if ((whole = calloc(1, sizeof *whole)) == NULL) {
        keyfile_free(file);
        fault_set(fault, EX_OSERR, "out of memory");
        return NULL;
    }
    whole->file = file;
    whole->fault = fault;
    if (read_whole(whole) != 0) {
        plan_free(&whole->plan);
        return NULL;
    }
    whole->fault = NULL;
    return &whole->plan;
}

struct plan *plan_read(const char *path, struct fault *fault) {
    return plan_from(keyfile_read(path, fault), fault);
}

struct plan *plan_parse(const char *text, size_t length, const char *name, struct fault *fault) {
    return plan_from(keyfile_parse(text, length, name, fault), fault);
}

void plan_free(struct plan *plan) {
    struct whole *whole = (struct whole *)plan;

    if (whole == NULL)
        return;
    keyfile_free(whole->file);
    free(whole->load_text);
    free(whole);
}

const struct plan_operation *plan_visit_soak(const struct plan *plan, size_t visit) {
    size_t i = 0;

    while (!plan_closes_visit(&plan->operations[i]) || plan->operations[i].visit != visit)
        i++;
    return &plan->operations[i];
}

const struct plan_operation *plan_visit_quench(const struct plan *plan, size_t visit) {
    for (size_t i = 0; i < plan->operation_count; i++)
        if (plan->operations[i].kind == OPERATION_QUENCH && plan->operations[i].visit == visit)
            return &plan->operations[i];
    return NULL;
}
