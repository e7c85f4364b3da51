// SPDX-License-Identifier: MIT
/* judge: a slow, independent count by the millisecond over random runs with faults, and what must not change an
 * answer. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/judge_scene.h"

/* ---- random runs ---- */

enum { RANDOM_RUNS = 300, RANDOM_END_MS = 30000, RANDOM_MOST = RANDOM_END_MS / 10 + 1 };

struct random_channel {
    int64_t interval_ms, t_ms[RANDOM_MOST], value_mc[RANDOM_MOST];
    bool good[RANDOM_MOST];
    size_t count;
};

/* A wandering value around B with faults: single losses, and longer ones. */
static void make_channel(struct random_channel *channel, unsigned *seed) {
    int64_t value = 780000 + rand_r(seed) % 30000, t = rand_r(seed) % 10;
    int lost = 0;

    channel->interval_ms = 10 * (1 + rand_r(seed) % 20);
    channel->count = 0;
    for (; t < RANDOM_END_MS; t += channel->interval_ms) {
        value += rand_r(seed) % 4001 - 2000 + (797000 - value) / 50;
        if (lost == 0 && rand_r(seed) % 60 == 0)
            lost = 1 + rand_r(seed) % 8;
        channel->t_ms[channel->count] = t;
        channel->value_mc[channel->count] = value;
        channel->good[channel->count++] = lost == 0;
        lost -= lost > 0;
    }
}

/* Where the channel stands at `t`, found anew from all its readings: -1 out, 0 unknown, 1 in. */
static int stands(const struct random_channel *channel, int64_t start_ms, int64_t t, size_t *hint) {
    const int64_t limit_ms = JUDGE_GAP_INTERVALS * channel->interval_ms;
    size_t before = SIZE_MAX, after = SIZE_MAX;

    while (*hint < channel->count && channel->t_ms[*hint] <= t)
        (*hint)++;
    for (size_t i = *hint; i-- > 0 && before == SIZE_MAX;)
        before = channel->good[i] ? i : SIZE_MAX;
    for (size_t i = *hint; i < channel->count && after == SIZE_MAX; i++)
        after = channel->good[i] ? i : SIZE_MAX;
    if (before != SIZE_MAX && channel->t_ms[before] == t)
        return channel->value_mc[before] >= 797000 ? 1 : -1;
    if (after == SIZE_MAX)
        return 0;
    if (before == SIZE_MAX)
        return channel->t_ms[after] - start_ms > limit_ms || channel->value_mc[after] >= 797000 ? 0 : -1;
    if (channel->t_ms[after] - channel->t_ms[before] > limit_ms)
        return 0;
    {
        const double share =
            (double)(t - channel->t_ms[before]) / (double)(channel->t_ms[after] - channel->t_ms[before]);
        const double value = (double)channel->value_mc[before] +
                             share * (double)(channel->value_mc[after] - channel->value_mc[before]);

        return value >= 797000 ? 1 : -1;
    }
}

struct counted {
    int64_t longest_ms, possible_ms, total_ms;
};

static struct counted count_by_the_millisecond(const struct random_channel *channels, size_t count,
                                               int64_t start_ms) {
    struct counted counted = {0};
    int64_t proven = 0, possible = 0;
    size_t hints[3] = {0};

    for (int64_t t = start_ms; t < RANDOM_END_MS; t++) {
        int worst = 1;

        for (size_t i = 0; i < count; i++) {
            const int standing = stands(&channels[i], start_ms, t, &hints[i]);

            worst = standing < worst ? standing : worst;
        }
        proven = worst == 1 ? proven + 1 : 0;
        possible = worst >= 0 ? possible + 1 : 0;
        counted.total_ms += worst == 1;
        counted.longest_ms = proven > counted.longest_ms ? proven : counted.longest_ms;
        counted.possible_ms = possible > counted.possible_ms ? possible : counted.possible_ms;
    }
    return counted;
}

/* Feeds all channels in the judge's order. `shift_ms` moves the whole run; each reading is given `times` times. */
static int64_t feed_random(struct scene *scene, const struct random_channel *channels, size_t count,
                           int64_t shift_ms, int times) {
    size_t next[3] = {0};
    int64_t start_ms = -1;

    for (;;) {
        size_t first = SIZE_MAX;

        for (size_t i = 0; i < count; i++) {
            if (next[i] < channels[i].count &&
                (first == SIZE_MAX || channels[i].t_ms[next[i]] < channels[first].t_ms[next[first]]))
                first = i;
        }
        if (first == SIZE_MAX)
            return start_ms;
        if (start_ms < 0)
            start_ms = channels[first].t_ms[next[first]];
        for (int n = 0; n < times; n++) {
            const int64_t t = channels[first].t_ms[next[first]] + shift_ms;

            if (channels[first].good[next[first]])
                feed(scene, t, (int64_t)first + 2, channels[first].value_mc[next[first]]);
            else
                feed_bad(scene, t, (int64_t)first + 2, QUALITY_NO_REPLY);
        }
        next[first]++;
    }
}

/* The same runs every time, so that a check means the same twice; SOAKLEDGER_SEED gives others. */
static unsigned first_seed(void) {
    const char *given = getenv("SOAKLEDGER_SEED");

    return given != NULL ? (unsigned)strtoul(given, NULL, 10) : 20261116;
}

static void random_scene(struct scene *scene, struct random_channel *channels, size_t *count, unsigned *seed) {
    *count = 1 + (size_t)(rand_r(seed) % 2);
    scene_init(scene, *count);
    scene->operations[1].time_at_least_ms = 100 + rand_r(seed) % 2000;
    scene->operations[1].time_at_most.value = scene->operations[1].time_at_least_ms + rand_r(seed) % 2000;
    for (size_t i = 0; i < *count; i++) {
        make_channel(&channels[i], seed);
        scene->channels[i + 1].interval_ms = channels[i].interval_ms;
    }
    scene_open(scene);
}

static void random_runs_agree_with_a_count_by_the_millisecond(void **state) {
    static struct random_channel channels[3];
    unsigned seed = first_seed();
    int64_t stretches = 0;

    (void)state;
    print_message("seed %u\n", seed);
    for (int run = 0; run < RANDOM_RUNS; run++) {
        struct scene scene;
        struct judge_soak soak;
        struct counted counted;
        size_t count;
        int64_t start_ms;

        random_scene(&scene, channels, &count, &seed);
        start_ms = feed_random(&scene, channels, count, 0, 1);
        scene_end(&scene, RANDOM_END_MS);
        judge_read_soak(scene.judge, &soak);
        counted = count_by_the_millisecond(channels, count, start_ms);
        /* Each end of a stretch is rounded to the millisecond, and neighbours may touch there. */
        near_ms(verdict_of(&scene, REQUIREMENT_SOAK_LEAST)->found, counted.longest_ms, 2);
        near_ms(soak.possible_longest_ms, counted.possible_ms, 3);
        /* A single moment in, between two gaps, is a millisecond to the count and no time at all to the judge. */
        near_ms(soak.total_in_ms, counted.total_ms, 2 * (soak.stretch_count + soak.gap_count + 1));
        stretches += soak.stretch_count;
        judge_free(scene.judge);
    }
    assert_true(stretches > 2 * RANDOM_RUNS); // the runs were not dull
}

static void shifting_and_repeating_change_nothing(void **state) {
    static struct random_channel channels[3];
    static struct scene one, other;
    unsigned seed = first_seed();

    (void)state;
    print_message("seed %u\n", seed);
    for (int run = 0; run < RANDOM_RUNS; run++) {
        const int64_t shift_ms = rand_r(&seed) * INT64_C(1000);
        size_t count;

        random_scene(&one, channels, &count, &seed);
        other = one;
        scene_open(&other);
        feed_random(&one, channels, count, 0, 1);
        scene_end(&one, RANDOM_END_MS);
        feed_random(&other, channels, count, shift_ms, 2);
        scene_end(&other, RANDOM_END_MS + shift_ms);
        assert_int_equal(one.finding_count, other.finding_count);
        for (size_t i = 0; i < one.finding_count; i++) {
            other.findings[i].t_ms -= shift_ms;
            assert_true(judge_findings_equal(&one.findings[i], &other.findings[i]));
        }
        for (size_t i = 0; i < one.verdict_count; i++) {
            assert_int_equal(one.verdicts[i].outcome, other.verdicts[i].outcome);
            assert_int_equal(one.verdicts[i].found, other.verdicts[i].found);
        }
        judge_free(one.judge);
        judge_free(other.judge);
    }
}

/* The same finding of another kind of operation is another sentence: a hold is no soak, and cold is turned over. */

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(random_runs_agree_with_a_count_by_the_millisecond),
        cmocka_unit_test(shifting_and_repeating_change_nothing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
