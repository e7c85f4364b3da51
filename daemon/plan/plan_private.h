// SPDX-License-Identifier: MIT
/* plan_private: what the parts of the plan's reader share and nobody else needs. */
#ifndef SOAKLEDGER_PLAN_PRIVATE_H
#define SOAKLEDGER_PLAN_PRIVATE_H

#include "soakledger/channel.h"
#include "soakledger/keyfile.h"
#include "soakledger/plan.h"

enum {
    PLAN_OPERATIONS_MOST = 64,
    PLAN_LOADS_MOST = 16, // as many as an oven may have
    PLAN_SCALE_BYTES = 12,
};

struct whole {
    struct plan plan; // first: a plan's address is its whole's
    struct keyfile *file;
    struct plan_operation operations[PLAN_OPERATIONS_MOST];
    struct keyfile_section *sections[PLAN_OPERATIONS_MOST]; // where each operation stands; two for a repeated one
    char names[PLAN_OPERATIONS_MOST][CHANNEL_NAME_BYTES];   // of repeated operations
    char *load_text;                                        // what load_names point into
    const char *load_names[PLAN_LOADS_MOST];
    char scale[PLAN_SCALE_BYTES];
    struct fault *fault; // while reading
};

bool plan_closes_visit(const struct plan_operation *operation); // soak, temper or cold

/* [plan] itself. */
int plan_read_head(struct whole *whole);
/* One section behind it; a temper that is repeated becomes several visits. */
int plan_read_operation(struct whole *whole, struct keyfile_section *section);
/* What the operations demand of each other. */
int plan_check_order(struct whole *whole);

/* ---- takes ---- */

typedef int plan_take(struct keyfile_section *section, const char *key, int64_t *value, struct fault *fault);
/* As the keyfile's takes: 1, 0 for an absent key, -1. */
int plan_take_limit(struct keyfile_section *section, const char *key, plan_take *take, struct plan_limit *limit,
                    struct fault *fault);
int plan_take_some_time(struct keyfile_section *section, const char *key, int64_t *ms, struct fault *fault);
int plan_take_name(struct keyfile_section *section, const char *key, const char **name, struct fault *fault);
/* A plain number in thousandths, within [least, most]. */
int plan_take_number(struct keyfile_section *section, const char *key, const int64_t range[2], int64_t *number,
                     struct fault *fault);
/* "58 .. 62 HRC". */
int plan_take_hardness(struct keyfile_section *section, const char *key, struct plan_hardness *hardness,
                       char *scale, struct fault *fault);
/* "800 C .. 500 C": the hotter first. */
int plan_take_fall(struct keyfile_section *section, const char *key, int64_t *upper_mc, int64_t *lower_mc,
                   struct fault *fault);

#endif
