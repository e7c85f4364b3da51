// SPDX-License-Identifier: MIT
/* How fast one core judges stored readings, and whether its memory grows with them.
 *
 * Hardening runs of eight hours lie one after the other in memory, each judged by a judge of its own, so that
 * heating, soaking and cooling are in the mix as they are in a shop. */
#include <malloc.h>
#include <stdlib.h>
#include <string.h>

#include "figure.h"
#include "soakledger/judge.h"
#include "soakledger/plan.h"

enum {
    S = 1000,
    HOUR_MS = 3600000,
    INTERVAL_MS = 1 * S,
    WARM_MS = 2 * HOUR_MS,
    FALL_MS = 6 * HOUR_MS,
    RUN_MS = 8 * HOUR_MS,
    COLD_MC = 20000,
    SOAK_MC = 808000,
    NOISE_MC = 200,
    LEAST_READINGS = 1000000,
    MANY_READINGS = 100000000,
    MOST_CHANNELS = 12,
};
static const double WANTED_PER_S = 20e6;
#define BEGIN_MS INT64_C(1794814200000) // 2026-11-16T07:30:00Z

static const char plan_text[] = "[plan]\n"
                                "title = Plane irons and chisels, hardened\n"
                                "steel = AISI O1 (UNS T31501)\n"
                                "load = sensors\n"
                                "[heat to hardening]\n"
                                "ramp_at_most = 400 C/h\n"
                                "ramp_between = 200 C .. 700 C\n"
                                "[soak hardening]\n"
                                "temperature = 808 C\n"
                                "below = 6 C\n"
                                "above = 8 C\n"
                                "time_at_least = 15 min\n"
                                "time_at_most = 5 h\n"
                                "spread_at_most = 8 C\n";

struct shop {
    struct plan *plan;
    struct judge_channel channels[MOST_CHANNELS];
    size_t channel_count;
    struct reading *readings;
    size_t reading_count, run_count;
};

static int64_t temperature_mc(int64_t since_ms, size_t channel) {
    const int64_t noise_mc = (since_ms / INTERVAL_MS * 7919 + (int64_t)channel * 104729) % NOISE_MC; // two primes

    if (since_ms < WARM_MS)
        return COLD_MC + (SOAK_MC - COLD_MC) * since_ms / WARM_MS + noise_mc;
    if (since_ms < FALL_MS)
        return SOAK_MC + noise_mc;
    return SOAK_MC - (SOAK_MC - COLD_MC) * (since_ms - FALL_MS) / (RUN_MS - FALL_MS) + noise_mc;
}

static struct reading read_channel(size_t channel, int64_t begin_ms, int64_t since_ms) {
    return (struct reading){.t_ms = begin_ms + since_ms,
                            .value = temperature_mc(since_ms, channel),
                            .channel_id = (int64_t)channel + 1,
                            .quality = QUALITY_GOOD};
}

/* The first channel is the controller's own, the others stand in the charge. */
static void open_shop(struct shop *shop, size_t channel_count, size_t other_count) {
    const size_t a_run = channel_count * (RUN_MS / INTERVAL_MS);
    struct fault fault;

    *shop = (struct shop){.channel_count = channel_count, .run_count = LEAST_READINGS / a_run + 1};
    shop->plan = plan_parse(plan_text, sizeof plan_text - 1, "irons.plan", &fault);
    if (shop->plan == NULL)
        figure_give_up("%s", fault.text);
    for (size_t i = 0; i < channel_count; i++)
        shop->channels[i] = (struct judge_channel){.channel_id = (int64_t)i + 1,
                                                   .name = "charge",
                                                   .role = i < other_count ? ROLE_CONTROL : ROLE_LOAD,
                                                   .interval_ms = INTERVAL_MS,
                                                   .heats_at_most_mc_per_h = HOUR_MS};
    shop->readings = calloc(shop->run_count * a_run, sizeof *shop->readings);
    if (shop->readings == NULL)
        figure_give_up("no memory for %zu readings", shop->run_count * a_run);
    for (size_t run = 0; run < shop->run_count; run++) {
        for (int64_t since_ms = 0; since_ms < RUN_MS; since_ms += INTERVAL_MS) {
            for (size_t i = 0; i < channel_count; i++)
                shop->readings[shop->reading_count++] = read_channel(i, BEGIN_MS + (int64_t)run * RUN_MS, since_ms);
        }
    }
}

static void close_shop(struct shop *shop) {
    free(shop->readings);
    plan_free(shop->plan);
}

static struct judge *open_judge(const struct shop *shop) {
    struct fault fault;
    struct judge *judge = judge_open(shop->plan, 0, shop->channels, shop->channel_count, NULL, NULL, &fault);

    if (judge == NULL)
        figure_give_up("%s", fault.text);
    return judge;
}

/* The verdicts must be right, or the speed is worth nothing. */
static void check_verdicts(const struct judge *judge) {
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    const size_t count = judge_verdicts(judge, verdicts);

    if (count == 0 || judge_worst(verdicts, count) != OUTCOME_MET)
        figure_give_up("the judge says %s: expected met", judge_outcome_name(judge_worst(verdicts, count)));
}

static double replay_per_s(const struct shop *shop) {
    const size_t a_run = shop->reading_count / shop->run_count;
    const double began_s = figure_cpu_s();

    for (size_t run = 0; run < shop->run_count; run++) {
        struct judge *judge = open_judge(shop);

        for (size_t i = run * a_run; i < (run + 1) * a_run; i++)
            judge_feed(judge, &shop->readings[i]);
        judge_end(judge, shop->readings[(run + 1) * a_run - 1].t_ms);
        check_verdicts(judge);
        judge_free(judge);
    }
    return (double)shop->reading_count / (figure_cpu_s() - began_s);
}

/* What the machine can do at most: to look at the same readings and add them up. */
static double walk_per_s(const struct shop *shop) {
    const double began_s = figure_cpu_s();
    volatile int64_t kept;
    int64_t sum = 0;

    for (size_t i = 0; i < shop->reading_count; i++)
        sum += shop->readings[i].t_ms ^ shop->readings[i].value ^ shop->readings[i].channel_id;
    kept = sum;
    (void)kept;
    return (double)shop->reading_count / (figure_cpu_s() - began_s);
}

static bool measure_speed(const char *what, size_t channel_count, size_t other_count) {
    struct shop shop;
    double best = 0, walked = 0;

    open_shop(&shop, channel_count, other_count);
    for (int round = 0; round < FIGURE_ROUNDS; round++) {
        const double rate = replay_per_s(&shop), walk = walk_per_s(&shop);

        best = rate > best ? rate : best;
        walked = walk > walked ? walk : walked;
    }
    close_shop(&shop);
    figure_note("%s: a bare pass over the same readings %.0f M/s", what, walked / 1e6);
    return figure_put(what, "M/s", best / 1e6, FIGURE_AT_LEAST, WANTED_PER_S / 1e6);
}

static double heap_in_use(void) {
    const struct mallinfo2 info = mallinfo2();

    return (double)(info.uordblks + info.hblkhd);
}

/* What a judge holds on the heap once `readings` of one never-ending soak were judged. */
static double hold_after(const struct shop *shop, int64_t readings) {
    const double before = heap_in_use();
    struct judge *judge = open_judge(shop);
    const int64_t rounds = readings / (int64_t)shop->channel_count;
    double held;

    for (int64_t n = 0; n < rounds; n++) {
        for (size_t i = 0; i < shop->channel_count; i++) {
            const struct reading reading = {.t_ms = BEGIN_MS + n * INTERVAL_MS,
                                            .value =
                                                temperature_mc(n % 2 == 0 ? WARM_MS : WARM_MS + INTERVAL_MS, i),
                                            .channel_id = (int64_t)i + 1};

            judge_feed(judge, &reading);
        }
    }
    held = heap_in_use() - before;
    judge_free(judge);
    return held;
}

static bool measure_memory(void) {
    struct shop shop;
    double few, many;

    open_shop(&shop, 3, 1);
    few = hold_after(&shop, LEAST_READINGS);
    many = hold_after(&shop, MANY_READINGS);
    close_shop(&shop);
    figure_note("a judge of 3 channels holds %.0f bytes", few);
    return figure_put("judge: heap after 100 M readings, of that after 1 M", "x", many / few, FIGURE_AT_MOST, 1.0);
}

int main(void) {
    bool ok = measure_speed("judge: 1 control + 2 loads", 3, 1);

    ok &= measure_speed("judge: 3 others + 9 loads", MOST_CHANNELS, 3);
    ok &= measure_memory();
    return ok ? EXIT_SUCCESS : EXIT_FAILURE;
}
