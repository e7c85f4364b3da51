// SPDX-License-Identifier: MIT
/* hardness: measured readings against what the plan asks for after the heat treatment. Pure.
 *
 * Values in thousandths of the scale. A reading counts if it is on the plan's own scale, letter for letter: there
 * is no conversion, since conversion tables hold for some steels only. Any reading that counts and is outside the
 * range makes it not met; fewer than were asked for, not proven; under a guarded decision (JCGM 106) also one that
 * is inside by less than its stated uncertainty.
 */
#ifndef SOAKLEDGER_HARDNESS_H
#define SOAKLEDGER_HARDNESS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/judge.h"
#include "soakledger/plan.h"

enum { HARDNESS_SCALE_BYTES = 16, HARDNESS_WORDS_BYTES = 256 };

struct hardness_reading {
    const char *scale;
    int64_t value;
    int64_t uncertainty; // expanded, k = 2; 0: not stated
};

enum hardness_why {
    HARDNESS_INSIDE,    // met
    HARDNESS_OUTSIDE,   // a reading lies outside: not met
    HARDNESS_TOO_FEW,   // not proven
    HARDNESS_UNCERTAIN, // inside by less than the uncertainty: not proven
};

struct hardness_verdict {
    bool asked; // the plan asks for hardness: nothing else is valid otherwise
    enum outcome outcome;
    enum hardness_why why;
    size_t counted;          // readings on the plan's scale
    size_t other_scale;      // readings that do not count
    size_t outside;          // of those counted
    int64_t lowest, highest; // of those counted; valid if counted > 0
};

struct hardness_verdict hardness_judge(const struct plan *plan, const struct hardness_reading *readings,
                                       size_t count);

/* "3 readings, 58.5 to 60 HRC; asked for: 3 of 58 to 62 HRC"; "" if none is asked for. HARDNESS_WORDS_BYTES. */
char *hardness_describe(const struct plan *plan, const struct hardness_verdict *verdict, char *out);

/* "59.5 HRC", "712 HV10": the number, up to three places, then the scale. -1 with EX_USAGE. `scale` has
 * HARDNESS_SCALE_BYTES. */
int hardness_parse(const char *text, int64_t *value, char *scale, struct fault *fault);
char *hardness_format(int64_t value, const char *scale, char *out); // HARDNESS_WORDS_BYTES

#endif
