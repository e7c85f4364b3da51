// SPDX-License-Identifier: MIT
/* tool_judge: the real judge over runs that lie in files. Many in one process.
 *
 * Each line of standard input is "PLAN CSV VISIT [BEFORE]": paths without blanks, a visit counted from 0, and the
 * CSV of the visit before it, or "-" where that has no run. A CSV is
 *     channel,ID,NAME,ROLE,INTERVAL_MS,HEATS_AT_MOST_MC_PER_H,UNCERTAINTY_MC       ROLE as enum channel_role
 *     end,T_MS
 *     readings
 *     T_MS,ID,VALUE,QUALITY                                       in the judge's order; QUALITY as enum quality
 * and for each run there is written, RUN counting lines from 0:
 *     verdict,RUN,OPERATION,REQUIREMENT,OUTCOME,REASON,REQUIRED,FOUND_KNOWN,FOUND,POSSIBLE,MARGIN,UNCERTAINTY
 *     soak,RUN,FIRST_BEGUN,LONGEST_BEGUN,LONGEST_ENDED,LAST_ENDED,TOTAL_IN,POSSIBLE_LONGEST,STRETCHES,PEAK,PEAK_T,
 *         GAPS,GAP_TOTAL
 *     facts,RUN,BEGUN,FIRST_KNOWN,FIRST,LOWEST_KNOWN,LOWEST,EQUIVALENT,EQUIVALENT_MISSING
 *     quench,RUN,CHANNEL,TRANSFER,COOLING,READINGS,FASTEST,RATE,AT,SPAN,KNOWN_AT_300,RATE_AT_300,600,400,200,WARM,GAP
 * where a moment of a quench (the ones named without a unit or number) is three fields: KNOWN,MS,T_MS. With a
 * BEFORE the verdicts on what lies between the two visits follow.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/judge.h"

enum { LINE_BYTES = 1024, PATH_BYTES = 256, MOST_CHANNELS = 64, DECIMAL = 10 };

struct run {
    const char *csv;
    long line;
    size_t channel_count;
    struct judge_channel channels[MOST_CHANNELS];
    char names[MOST_CHANNELS][CHANNEL_NAME_BYTES];
    int64_t end_ms;
};

static int refuse(const struct run *run, const char *expected) {
    fprintf(stderr, "%s:%ld: expected %s\n", run->csv, run->line, expected);
    return -1;
}

static int read_channel(struct run *run, const char *line) {
    struct judge_channel *channel = &run->channels[run->channel_count];
    unsigned role;

    if (run->channel_count == MOST_CHANNELS)
        return refuse(run, "no more channels");
    if (sscanf(line, "channel,%" SCNd64 ",%63[^,],%u,%" SCNd64 ",%" SCNd64 ",%" SCNd64, &channel->channel_id,
               run->names[run->channel_count], &role, &channel->interval_ms, &channel->heats_at_most_mc_per_h,
               &channel->uncertainty_mc) != 6 ||
        role >= ROLE_COUNT)
        return refuse(run, "channel,ID,NAME,ROLE,INTERVAL_MS,HEATS_AT_MOST_MC_PER_H,UNCERTAINTY_MC");
    channel->role = (enum channel_role)role;
    channel->name = run->names[run->channel_count++];
    return 0;
}

static int read_head(struct run *run, FILE *file) {
    char line[LINE_BYTES];

    while (fgets(line, sizeof line, file) != NULL) {
        run->line++;
        if (strcmp(line, "readings\n") == 0)
            return 0;
        if (strncmp(line, "end,", strlen("end,")) == 0)
            run->end_ms = strtoll(line + strlen("end,"), NULL, DECIMAL);
        else if (read_channel(run, line) != 0)
            return -1;
    }
    return refuse(run, "a line 'readings'");
}

static int feed_readings(struct run *run, FILE *file, struct judge *judge) {
    char line[LINE_BYTES];

    while (fgets(line, sizeof line, file) != NULL) {
        struct reading reading;
        char *at = line;
        long quality;

        run->line++;
        reading.t_ms = strtoll(at, &at, DECIMAL);
        reading.channel_id = *at == ',' ? strtoll(at + 1, &at, DECIMAL) : 0;
        reading.value = *at == ',' ? strtoll(at + 1, &at, DECIMAL) : 0;
        quality = *at == ',' ? strtol(at + 1, &at, DECIMAL) : -1;
        if (*at != '\n' || quality < 0 || quality >= QUALITY_COUNT)
            return refuse(run, "T_MS,ID,VALUE,QUALITY");
        reading.quality = (enum quality)quality;
        judge_feed(judge, &reading);
    }
    judge_end(judge, run->end_ms);
    return 0;
}

static void print_verdicts(size_t number, const struct verdict *verdicts, size_t count) {
    for (size_t i = 0; i < count; i++) {
        const struct verdict *v = &verdicts[i];

        printf("verdict,%zu,%zu,%d,%d,%d,%" PRId64 ",%d,%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 "\n", number,
               v->operation, (int)v->requirement, (int)v->outcome, (int)v->reason, v->required, v->found_known,
               v->found_known ? v->found : 0, v->possible, v->found_known ? v->margin : 0, v->uncertainty);
    }
}

static void print_moment(const struct quench_time *moment) {
    printf(",%d,%" PRId64 ",%" PRId64, moment->known, moment->ms, moment->t_ms);
}

static void print_quenches(size_t number, const struct judge *judge) {
    for (size_t i = 0; i < judge_count_quenches(judge); i++) {
        struct quench_curve curve;

        printf("quench,%zu,%" PRId64, number, judge_read_quench(judge, i, &curve));
        print_moment(&curve.transfer);
        print_moment(&curve.cooling);
        printf(",%" PRId64, curve.cooling_readings);
        print_moment(&curve.fastest);
        printf(",%" PRId64 ",%" PRId64 ",%" PRId64 ",%d,%" PRId64, curve.fastest_mc_per_s, curve.fastest_at_mc,
               curve.fastest_span_ms, curve.rate_at_300_known, curve.rate_at_300_mc_per_s);
        for (size_t mark = 0; mark < QUENCH_MARKS; mark++)
            print_moment(&curve.marks[mark]);
        print_moment(&curve.handle_warm);
        printf(",%d\n", curve.gap);
    }
}

static void print_answer(size_t number, const struct judge *judge) {
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    struct judge_soak soak;

    print_verdicts(number, verdicts, judge_verdicts(judge, verdicts));
    judge_read_soak(judge, &soak);
    printf("soak,%zu,%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64
           ",%" PRId64 ",%" PRId64 ",%" PRId64 "\n",
           number, soak.first_begun_ms, soak.longest_begun_ms, soak.longest_ended_ms, soak.last_ended_ms,
           soak.total_in_ms, soak.possible_longest_ms, soak.stretch_count, soak.peak_mc, soak.peak_t_ms,
           soak.gap_count, soak.gap_total_ms);
    printf("facts,%zu,%" PRId64 ",%d,%" PRId64 ",%d,%" PRId64 ",%" PRId64 ",%" PRId64 "\n", number, soak.begun_ms,
           soak.first_known, soak.first_known ? soak.first_mc : 0, soak.lowest_known,
           soak.lowest_known ? soak.lowest_mc : 0, soak.equivalent_ms, soak.equivalent_missing_ms);
    print_quenches(number, judge);
}

static void ignore_finding(void *context, const struct finding *finding) {
    (void)context;
    (void)finding;
}

/* The judge of the run in a file, to be freed, or NULL. */
static struct judge *judge_run(const struct plan *plan, size_t visit, const char *csv_path) {
    struct run run = {.csv = csv_path};
    struct fault fault;
    struct judge *judge = NULL;
    FILE *file = fopen(csv_path, "r");

    if (file == NULL) {
        fprintf(stderr, "%s: cannot be read\n", csv_path);
        return NULL;
    }
    if (read_head(&run, file) == 0) {
        judge = judge_open(plan, visit, run.channels, run.channel_count, ignore_finding, NULL, &fault);
        if (judge == NULL)
            fprintf(stderr, "%s\n", fault.text);
        else if (feed_readings(&run, file, judge) != 0) {
            judge_free(judge);
            judge = NULL;
        }
    }
    fclose(file);
    return judge;
}

static int judge_before(size_t number, const struct plan *plan, size_t visit, const char *csv_path,
                        const struct judge *now) {
    const bool is_there = strcmp(csv_path, "-") != 0;
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    struct judge_soak soaks[2];

    judge_read_soak(now, &soaks[1]);
    if (is_there) {
        struct judge *judge = judge_run(plan, visit - 1, csv_path);

        if (judge == NULL)
            return -1;
        judge_read_soak(judge, &soaks[0]);
        judge_free(judge);
    }
    print_verdicts(number, verdicts, judge_between(plan, visit, is_there ? &soaks[0] : NULL, &soaks[1], verdicts));
    return 0;
}

/* `before_path` is NULL if nothing is asked about the visit before. */
static int judge_visit(size_t number, const char *plan_path, size_t visit, const char *csv_path,
                       const char *before_path) {
    struct fault fault;
    struct plan *plan = plan_read(plan_path, &fault);
    struct judge *judge = NULL;
    int result = -1;

    if (plan == NULL)
        fprintf(stderr, "%s\n", fault.text);
    else if (visit >= plan->visit_count || (before_path != NULL && visit == 0))
        fprintf(stderr, "%s: no visit %zu: expected fewer than %zu, and one before it\n", plan_path, visit,
                plan->visit_count);
    else
        judge = judge_run(plan, visit, csv_path);
    if (judge != NULL) {
        print_answer(number, judge);
        result = before_path == NULL ? 0 : judge_before(number, plan, visit, before_path, judge);
    }
    judge_free(judge);
    plan_free(plan);
    return result;
}

int main(void) {
    enum { LEAST_FIELDS = 3, WITH_BEFORE };
    char line[LINE_BYTES], plan_path[PATH_BYTES], csv_path[PATH_BYTES], before_path[PATH_BYTES];

    for (size_t number = 0; fgets(line, sizeof line, stdin) != NULL; number++) {
        size_t visit;
        const int fields = sscanf(line, "%255s %255s %zu %255s", plan_path, csv_path, &visit, before_path);

        if (fields < LEAST_FIELDS) {
            fprintf(stderr, "standard input:%zu: expected PLAN CSV VISIT [BEFORE]\n", number + 1);
            return EX_USAGE;
        }
        if (judge_visit(number, plan_path, visit, csv_path, fields == WITH_BEFORE ? before_path : NULL) != 0)
            return EX_DATAERR;
    }
    return 0;
}
