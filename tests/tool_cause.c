// SPDX-License-Identifier: MIT
/* tool_cause [KIT [FIRST [RUNS [-v]]]]: how often the cause that was injected comes first. KIT: full, control, bare
 * or alone. Seeds from 0 on were used to set the weights; measure from 100000 on. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/cause_shop.h"

enum { MOST_DRAWS = 3 };

static const char *const KITS[KIT_COUNT] = {"full", "control", "bare", "alone"};
static const char *const SHORT[CAUSE_COUNT + 1] = {"sensor", "element", "door",     "overload",  "setpoint",
                                                   "tuning", "line",    "recorder", "can't tell"};

struct table {
    size_t first[CAUSE_COUNT + 1][CAUSE_COUNT + 1]; // injected (the last: nothing), said
    size_t ranked[CAUSE_COUNT], played[CAUSE_COUNT + 1];
};

static void explain(const struct cause_shop *shop, uint64_t seed) {
    printf("  seed %llu, %zu earlier runs: %s\n", (unsigned long long)seed, shop->usual_runs, shop->story);
    for (size_t i = 0; i < 3; i++) {
        printf("    %-9s %5.1f:", SHORT[shop->opinions[i].cause], shop->opinions[i].score);
        for (size_t k = 0; k < shop->opinions[i].evidence_count; k++)
            printf(" [%d %+.1f: %.4g/%.4g]", (int)shop->opinions[i].evidence[k].sign,
                   shop->opinions[i].evidence[k].weight, shop->opinions[i].evidence[k].value,
                   shop->opinions[i].evidence[k].usual);
        printf("\n");
    }
    printf("    dips %zu level %.1f/%g out %.3f/%g pinned %lld noise %.2f swings %zu %.1f over %.1f left %d\n",
           shop->signs.dip_count, shop->signs.level.mean, shop->signs.level.count, shop->signs.output.mean,
           shop->signs.output.count, (long long)shop->signs.pinned_ms / 1000, shop->signs.noise_c,
           shop->signs.swings, shop->signs.swing_c, shop->signs.overshoot_c, shop->signs.left_ms != 0);
}

static void play_one(uint64_t seed, enum cause_shop_kit kit, const enum cause *causes, size_t count, bool verbose,
                     struct table *table, size_t *right) {
    const size_t row = count == 0 ? CAUSE_COUNT : causes[0];
    struct cause_shop *shop = malloc(sizeof *shop);
    bool hit;

    cause_shop_play(seed, kit, causes, count, shop);
    if (shop->failed) {
        const enum cause first = shop->opinions[0].cause;

        hit = count == 0 ? !shop->told : first == causes[0] || (count == 2 && first == causes[1]);
        *right += hit;
        table->played[row]++;
        table->first[row][shop->told ? first : CAUSE_COUNT]++;
        if (row < CAUSE_COUNT)
            table->ranked[row] += hit;
        if (verbose && (!hit || (count == 1 && !shop->told)))
            explain(shop, seed);
    }
    free(shop);
}

static void print(const struct table *table) {
    printf("%-10s", "injected");
    for (size_t i = 0; i <= CAUSE_COUNT; i++)
        printf("%11s", SHORT[i]);
    printf("%9s%9s\n", "runs", "first");
    for (size_t i = 0; i <= CAUSE_COUNT; i++) {
        printf("%-10s", i < CAUSE_COUNT ? SHORT[i] : "nothing");
        for (size_t k = 0; k <= CAUSE_COUNT; k++)
            printf("%11zu", table->first[i][k]);
        printf("%9zu%8.0f%%\n", table->played[i],
               100.0 * (double)(i < CAUSE_COUNT ? table->ranked[i] : table->first[i][i]) /
                   (double)(table->played[i] > 0 ? table->played[i] : 1));
    }
}

int main(int argc, char **argv) {
    const uint64_t first = argc > 2 ? strtoull(argv[2], NULL, 10) : 100000;
    const uint64_t runs = argc > 3 ? strtoull(argv[3], NULL, 10) : 50;
    const bool verbose = argc > 4;
    struct table one = {0}, two = {0};
    size_t right = 0, right_two = 0, all = 0, all_two = 0;
    enum cause_shop_kit kit = KIT_FULL;

    for (int i = 0; argc > 1 && i < KIT_COUNT; i++)
        if (strcmp(argv[1], KITS[i]) == 0)
            kit = (enum cause_shop_kit)i;
    for (uint64_t n = 0; n < MOST_DRAWS * runs; n++) // an oven may not fail, whatever is done to it
        for (int i = 0; i <= CAUSE_COUNT; i++) {
            const enum cause cause = (enum cause)i;

            if (one.played[i] < runs)
                play_one(first + n * (CAUSE_COUNT + 1) + (uint64_t)i, kit, &cause, i < CAUSE_COUNT, verbose, &one,
                         &right);
        }
    for (uint64_t n = 0; n < 2 * runs; n++) {
        const uint64_t pairs = (uint64_t)CAUSE_COUNT * (CAUSE_COUNT - 1), pair = n % pairs;
        const enum cause a = (enum cause)(pair / (CAUSE_COUNT - 1)), b = (enum cause)(pair % (CAUSE_COUNT - 1));
        const enum cause causes[] = {a, b >= a ? (enum cause)(b + 1) : b};

        play_one(first + 50000 + n, kit, causes, 2, verbose, &two, &right_two);
    }
    for (size_t i = 0; i <= CAUSE_COUNT; i++) {
        all += one.played[i];
        all_two += two.played[i];
    }
    printf("channels: %s; seeds from %llu\n", KITS[kit], (unsigned long long)first);
    print(&one);
    printf("one cause or none: %zu of %zu right\n", right, all);
    printf("two causes: one of them first in %zu of %zu\n", right_two, all_two);
    return 0;
}
