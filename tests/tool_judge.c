// SPDX-License-Identifier: MIT
/* tool_judge: the real judge over runs that lie in files. Many in one process.
 *
 * Each line of standard input is "PLAN CSV VISIT": two paths without blanks, and a visit counted from 0. A CSV is
 *     channel,ID,NAME,ROLE,INTERVAL_MS,HEATS_AT_MOST_MC_PER_H,UNCERTAINTY_MC       ROLE as enum channel_role
 *     end,T_MS
 *     readings
 *     T_MS,ID,VALUE,QUALITY                                       in the judge's order; QUALITY as enum quality
 * and for each run there is written, RUN counting lines from 0:
 *     verdict,RUN,OPERATION,REQUIREMENT,OUTCOME,REASON,REQUIRED,FOUND_KNOWN,FOUND,POSSIBLE,MARGIN,UNCERTAINTY
 *     soak,RUN,FIRST_BEGUN,LONGEST_BEGUN,LONGEST_ENDED,LAST_ENDED,TOTAL_IN,POSSIBLE_LONGEST,STRETCHES,PEAK,PEAK_T,
 *         GAPS,GAP_TOTAL
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

static void print_answer(size_t number, const struct judge *judge) {
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    const size_t count = judge_verdicts(judge, verdicts);
    struct judge_soak soak;

    for (size_t i = 0; i < count; i++) {
        const struct verdict *v = &verdicts[i];

        printf("verdict,%zu,%zu,%d,%d,%d,%" PRId64 ",%d,%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 "\n", number,
               v->operation, (int)v->requirement, (int)v->outcome, (int)v->reason, v->required, v->found_known,
               v->found_known ? v->found : 0, v->possible, v->found_known ? v->margin : 0, v->uncertainty);
    }
    judge_read_soak(judge, &soak);
    printf("soak,%zu,%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64
           ",%" PRId64 ",%" PRId64 ",%" PRId64 "\n",
           number, soak.first_begun_ms, soak.longest_begun_ms, soak.longest_ended_ms, soak.last_ended_ms,
           soak.total_in_ms, soak.possible_longest_ms, soak.stretch_count, soak.peak_mc, soak.peak_t_ms,
           soak.gap_count, soak.gap_total_ms);
}

static void ignore_finding(void *context, const struct finding *finding) {
    (void)context;
    (void)finding;
}

static int judge_run(size_t number, const char *plan_path, struct run *run, FILE *file, size_t visit) {
    struct fault fault;
    struct judge *judge = NULL;
    struct plan *plan = plan_read(plan_path, &fault);
    int result = -1;

    if (plan != NULL && visit >= plan->visit_count)
        fault_set(&fault, EX_USAGE, "%s: no visit %zu: expected fewer than %zu", plan_path, visit,
                  plan->visit_count);
    else if (plan != NULL && read_head(run, file) == 0)
        judge = judge_open(plan, visit, run->channels, run->channel_count, ignore_finding, NULL, &fault);
    else if (plan != NULL)
        fault_set(&fault, EX_DATAERR, "%s: expected a run", run->csv);
    if (judge == NULL) {
        fprintf(stderr, "%s\n", fault.text);
    } else if (feed_readings(run, file, judge) == 0) {
        print_answer(number, judge);
        result = 0;
    }
    judge_free(judge);
    plan_free(plan);
    return result;
}

int main(void) {
    char line[LINE_BYTES], plan_path[PATH_BYTES], csv_path[PATH_BYTES];

    for (size_t number = 0; fgets(line, sizeof line, stdin) != NULL; number++) {
        struct run run = {.csv = csv_path};
        size_t visit;
        FILE *file;
        int result;

        if (sscanf(line, "%255s %255s %zu", plan_path, csv_path, &visit) != 3) {
            fprintf(stderr, "standard input:%zu: expected PLAN CSV VISIT\n", number + 1);
            return EX_USAGE;
        }
        file = fopen(csv_path, "r");
        if (file == NULL) {
            fprintf(stderr, "%s: cannot be read\n", csv_path);
            return EX_NOINPUT;
        }
        result = judge_run(number, plan_path, &run, file, visit);
        fclose(file);
        if (result != 0)
            return EX_DATAERR;
    }
    return 0;
}
