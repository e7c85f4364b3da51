// SPDX-License-Identifier: MIT
/* tool_drift [FIRST [COUNT [SENSORS]]]: how often, how soon and how rightly drift.h finds what goes wrong with
 * made-up ovens (tests/support/wear.h), COUNT of each kind. Seeds from 0 to 9,999 are those it was tuned on. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>

#include "support/wear.h"

enum { HEALTHY_TIMES = 5 }; // as many ovens with nothing wrong: false alarms are rare

struct tally {
    size_t ovens, detected, healthy_runs, false_alarms, right_at_once, right_at_end, wrong_at_end;
    size_t causes_at_once[DRIFT_CAUSE_COUNT], causes_at_end[DRIFT_CAUSE_COUNT];
    size_t delays[WEAR_MOST_RUNS]; // how many were found in the nth run of the change
    size_t sure_count, sure_right; // of all that was said at the first alarm with a cause
    double sure_sum;
};

static struct drift_report *look(const struct wear_shop *shop, const struct drift_run *runs, size_t run_count) {
    struct drift_history history;
    struct fault fault;
    struct drift_report *report;

    wear_history(shop, runs, 5, &history);
    history.run_count = run_count;
    report = drift_examine(&history, &fault);
    if (report == NULL)
        abort();
    return report;
}

static bool is_alarm(const struct drift_report *report) {
    return report->cause > DRIFT_NOTHING;
}

static void count_first(const struct wear_shop *shop, const struct drift_report *report, size_t run,
                        struct tally *tally) {
    const bool right = wear_is_right(shop, report);

    tally->detected++;
    tally->delays[run - shop->begins_run]++;
    tally->causes_at_once[report->cause]++;
    tally->right_at_once += right;
    if (report->cause == DRIFT_UNKNOWN || (report->cause == DRIFT_PAIR && !right)) // it says that it cannot tell
        return;
    tally->sure_count++;
    tally->sure_sum += report->sure;
    tally->sure_right += right;
}

/* After each run, as the daemon does. A false alarm ends the watch, as it would be looked into. */
static void watch_oven(const struct wear_shop *shop, struct tally *tally) {
    struct drift_run runs[WEAR_MOST_RUNS];
    bool alarm = false;

    wear_play(shop, runs);
    for (size_t run = DRIFT_LEAST_RUNS - 1; run < shop->run_count && !alarm; run++) {
        struct drift_report *report = look(shop, runs, run + 1);
        const bool healthy = shop->kind == WEAR_NONE || run < shop->begins_run;

        alarm = is_alarm(report);
        tally->healthy_runs += healthy;
        if (alarm && healthy)
            tally->false_alarms++;
        else if (alarm)
            count_first(shop, report, run, tally);
        drift_free(report);
        if (alarm && healthy)
            return;
    }
    if (shop->kind != WEAR_NONE) {
        struct drift_report *report = look(shop, runs, shop->run_count);

        tally->ovens++;
        tally->causes_at_end[report->cause]++;
        tally->right_at_end += wear_is_right(shop, report);
        tally->wrong_at_end += is_alarm(report) && report->cause != DRIFT_UNKNOWN && report->cause != DRIFT_PAIR &&
                               !wear_is_right(shop, report);
        drift_free(report);
    }
}

static size_t quantile(const struct tally *tally, double part) {
    size_t below = 0;

    for (size_t i = 0; i < WEAR_MOST_RUNS; i++) {
        below += tally->delays[i];
        if ((double)below >= part * (double)tally->detected)
            return i + 1;
    }
    return 0;
}

static void print_kind(enum wear_kind kind, const struct tally *tally) {
    printf("%-8s %5zu  %5.1f %%  %3zu %3zu %3zu   %5.1f %%  %5.1f %%  %5.1f %% |", wear_kind_name(kind),
           tally->ovens, 100.0 * (double)tally->detected / (double)tally->ovens, quantile(tally, 0.5),
           quantile(tally, 0.9), quantile(tally, 1), 100.0 * (double)tally->right_at_once / (double)tally->detected,
           100.0 * (double)tally->right_at_end / (double)tally->ovens,
           100.0 * (double)tally->wrong_at_end / (double)tally->ovens);
    for (size_t cause = DRIFT_NOTHING; cause < DRIFT_CAUSE_COUNT; cause++)
        printf(" %4zu", tally->causes_at_end[cause]);
    printf(" |");
    for (size_t cause = DRIFT_SENSOR; cause < DRIFT_CAUSE_COUNT; cause++)
        printf(" %4zu", tally->causes_at_once[cause]);
    printf(" | said %.2f is %.2f\n", tally->sure_sum / (double)tally->sure_count,
           (double)tally->sure_right / (double)tally->sure_count);
}

int main(int argc, char **argv) {
    const uint64_t first = argc > 1 ? strtoul(argv[1], NULL, 10) : 100000;
    const uint64_t count = argc > 2 ? strtoul(argv[2], NULL, 10) : 200;
    const size_t sensors = argc > 3 ? strtoul(argv[3], NULL, 10) : 3;
    static struct tally tallies[WEAR_KIND_COUNT];
    size_t healthy = 0, alarms = 0;

    printf("%lu ovens of each kind from seed %lu, %zu thermocouples, 1 C noise of a pair\n", (unsigned long)count,
           (unsigned long)first, sensors);
    printf(
        "kind     ovens  found   median 90%% all  right: at once, end; wrong at end | at end: nothing sensor pair"
        " element supply leak unknown | at once: from sensor on\n");
    for (enum wear_kind kind = WEAR_NONE; kind <= WEAR_LEAK; kind++) {
        const uint64_t ovens = kind == WEAR_NONE ? HEALTHY_TIMES * count : count;

        for (uint64_t seed = first; seed < first + ovens; seed++) {
            struct wear_shop shop;

            wear_make(&shop, seed, kind);
            shop.sensor_count = sensors;
            shop.sensor %= sensors;
            watch_oven(&shop, &tallies[kind]);
        }
        healthy += tallies[kind].healthy_runs;
        alarms += tallies[kind].false_alarms;
        if (kind != WEAR_NONE)
            print_kind(kind, &tallies[kind]);
    }
    printf("false alarms: %zu in %zu healthy runs, %.2f in 1,000\n", alarms, healthy,
           1000.0 * (double)alarms / (double)healthy);
    return 0;
}
