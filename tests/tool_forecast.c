// SPDX-License-Identifier: MIT
/* tool_forecast [FIRST [COUNT]]: how early and how often wrong the forecast is on made-up runs. Those
 * from 0 to 399 are the ones it was tuned on. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/heats.h"

enum { MOST = 2000 };
static const double MS_PER_MINUTE = 60000;

struct sample {
    size_t count;
    double minutes[MOST];
};

static int compare(const void *a, const void *b) {
    const double one = *(const double *)a, other = *(const double *)b;

    return (one > other) - (one < other);
}

static double quantile(struct sample *sample, double part) {
    if (sample->count == 0)
        return NAN;
    qsort(sample->minutes, sample->count, sizeof *sample->minutes, compare);
    return sample->minutes[(size_t)(part * (double)(sample->count - 1) + 0.5)];
}

int main(int argc, char **argv) {
    const uint64_t first = argc > 1 ? strtoul(argv[1], NULL, 10) : 2000;
    const uint64_t count = argc > 2 ? strtoul(argv[2], NULL, 10) : 1000;
    struct sample *warning = calloc(HEATS_LOOKS + 1, sizeof *warning), *errors = warning + 1;
    size_t passing = 0, missed = 0, false_alarms = 0, complete = 0;

    for (uint64_t number = first; number < first + count && number < first + MOST; number++) {
        struct heats_run run;
        struct heats_score score;

        heats_make(number, &run);
        heats_score(&run, &score);
        passing += run.passes;
        missed += run.passes && !score.warned;
        false_alarms += !run.passes && score.warned;
        complete += run.complete_ms != 0;
        if (run.passes && score.warned)
            warning->minutes[warning->count++] = (double)score.warning_ms / MS_PER_MINUTE;
        for (size_t k = 0; k < HEATS_LOOKS; k++) {
            if (score.known[k])
                errors[k].minutes[errors[k].count++] = fabs((double)score.error_ms[k]) / MS_PER_MINUTE;
        }
        heats_free(&run);
    }
    printf("%lu runs, %zu pass the limit, %zu complete the soak\n", (unsigned long)count, passing, complete);
    printf(
        "warned before: %zu, minutes before: %.1f %.1f %.1f (quartiles); missed: %zu; false alarms: %zu of %zu\n",
        warning->count, quantile(warning, 0.25), quantile(warning, 0.5), quantile(warning, 0.75), missed,
        false_alarms, (size_t)count - passing);
    for (size_t k = 0; k < HEATS_LOOKS; k++)
        printf("completion, %.0f min before: known in %zu, error median %.2f min, 90 %% within %.2f, worst %.2f\n",
               (double)heats_looks_ms[k] / MS_PER_MINUTE, errors[k].count, quantile(&errors[k], 0.5),
               quantile(&errors[k], 0.9), quantile(&errors[k], 1));
    free(warning);
    return 0;
}
