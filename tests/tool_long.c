// SPDX-License-Identifier: MIT
/* tool_long: what a ledger proves about all of its batches, and every claimed run as another judge can read it.
 *
 *   tool_long LEDGER FOLDER
 *
 * Each claimed run is replayed. For each of them this is written to FOLDER: N.plan, N.csv and a line "PLAN CSV
 * VISIT" in `list`, all as tool_judge reads them, N counting from 0; and the replay's verdicts and soak in
 * `verdicts`, as tool_judge writes them. Standard output gets one line a run: run=ID batch=ID n=N
 * agreement=agrees|differs|not-stored Ends with 1 if a stored judgement differs from its replay. One that is not
 * stored is for the caller to explain: a run that is on has none.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "soakledger/assess.h"
#include "soakledger/ledger.h"

enum { PATH_BYTES = 512 };

struct tool {
    const char *folder;
    FILE *list, *verdicts;
    FILE *csv; // of the run that is being replayed
    const struct assess_batch *batch;
    const char *plan_text;
    size_t plan_length;
    size_t count; // of runs so far
    size_t every;
    size_t differing;
};

static FILE *open_part(const struct tool *tool, const char *name, struct fault *fault) {
    char path[PATH_BYTES];
    FILE *file;

    snprintf(path, sizeof path, "%s/%s", tool->folder, name);
    file = fopen(path, "w");
    if (file == NULL)
        fault_set_errno(fault, EX_CANTCREAT, "cannot write %s", path);
    return file;
}

static int close_part(FILE *file, struct fault *fault) {
    const int spoilt = ferror(file);

    return fclose(file) == 0 && spoilt == 0 ? 0 : fault_set(fault, EX_IOERR, "a file could not be written");
}

static int begin_run(void *context, size_t visit, const struct assess_run *run, struct fault *fault) {
    struct tool *tool = context;
    char name[PATH_BYTES];
    FILE *plan;

    if (tool->count % tool->every != 0)
        return 0;
    snprintf(name, sizeof name, "%zu.plan", tool->count);
    plan = open_part(tool, name, fault);
    if (plan == NULL)
        return -1;
    fwrite(tool->plan_text, 1, tool->plan_length, plan);
    if (close_part(plan, fault) != 0)
        return -1;
    snprintf(name, sizeof name, "%zu.csv", tool->count);
    tool->csv = open_part(tool, name, fault);
    if (tool->csv == NULL)
        return -1;
    fprintf(tool->list, "%s/%zu.plan %s/%zu.csv %zu\n", tool->folder, tool->count, tool->folder, tool->count,
            visit);
    for (size_t i = 0; i < run->channel_count; i++)
        fprintf(tool->csv, "channel,%" PRId64 ",%s,%d,%" PRId64 ",%" PRId64 ",%" PRId64 "\n",
                run->channels[i].channel_id, run->channels[i].name, (int)run->channels[i].role,
                run->channels[i].interval_ms, run->channels[i].heats_at_most_mc_per_h,
                run->channels[i].uncertainty_mc);
    fprintf(tool->csv, "end,%" PRId64 "\nreadings\n", run->until_ms);
    return 0;
}

static int take_reading(void *context, const struct reading *reading, struct fault *fault) {
    const struct tool *tool = context;

    (void)fault;
    if (tool->csv == NULL)
        return 0;
    fprintf(tool->csv, "%" PRId64 ",%" PRId64 ",%" PRId64 ",%d\n", reading->t_ms, reading->channel_id,
            reading->value, (int)reading->quality);
    return 0;
}

static int end_run(void *context, const struct assess_run *run, struct fault *fault) {
    struct tool *tool = context;
    FILE *csv = tool->csv;

    (void)run;
    tool->csv = NULL;
    tool->count++;
    return csv != NULL ? close_part(csv, fault) : 0;
}

static void print_run(struct tool *tool, size_t number, const struct assess_run *run) {
    static const char *const words[] = {"not-stored", "agrees", "differs"};
    const struct judge_soak *soak = &run->soak;

    printf("run=%" PRId64 " batch=%" PRId64 " n=%zu agreement=%s\n", run->run.run_id, tool->batch->batch->batch_id,
           number, words[run->agreement]);
    if (run->agreement == ASSESS_DIFFERS)
        tool->differing++;
    for (size_t i = 0; i < run->verdict_count; i++) {
        const struct verdict *v = &run->verdicts[i];

        fprintf(tool->verdicts,
                "verdict,%zu,%zu,%d,%d,%d,%" PRId64 ",%d,%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 "\n", number,
                v->operation, (int)v->requirement, (int)v->outcome, (int)v->reason, v->required, v->found_known,
                v->found_known ? v->found : 0, v->possible, v->found_known ? v->margin : 0, v->uncertainty);
    }
    fprintf(tool->verdicts,
            "soak,%zu,%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64 ",%" PRId64
            ",%" PRId64 ",%" PRId64 ",%" PRId64 "\n",
            number, soak->first_begun_ms, soak->longest_begun_ms, soak->longest_ended_ms, soak->last_ended_ms,
            soak->total_in_ms, soak->possible_longest_ms, soak->stretch_count, soak->peak_mc, soak->peak_t_ms,
            soak->gap_count, soak->gap_total_ms);
}

static int take_batch(struct tool *tool, struct ledger *ledger, int64_t batch_id, struct fault *fault) {
    const struct assess_watch watch = {
        .context = tool, .begin = begin_run, .reading = take_reading, .end = end_run};
    struct ledger_batch *stored = ledger_read_batch(ledger, batch_id, fault);
    struct assess_batch *assessed;
    size_t number = tool->count;

    if (stored == NULL)
        return -1;
    tool->plan_text = stored->plan_text;
    tool->plan_length = stored->plan_length;
    assessed = assess_batch(ledger, batch_id, &watch, fault);
    tool->batch = assessed;
    for (size_t visit = 0; assessed != NULL && visit < assessed->visit_count; visit++)
        for (size_t i = 0; i < assessed->visits[visit].run_count; i++)
            print_run(tool, number++, &assessed->visits[visit].runs[i]);
    if (tool->csv != NULL)
        fclose(tool->csv);
    assess_free(assessed);
    ledger_free_batch(stored);
    return assessed != NULL ? 0 : -1;
}

static int run_tool(struct tool *tool, const char *path, struct fault *fault) {
    struct ledger *ledger = ledger_open(path, LEDGER_READ, fault);
    size_t count = 0;
    int64_t *batches = ledger != NULL ? ledger_list_batches(ledger, false, &count, fault) : NULL;
    int result = batches != NULL ? 0 : -1;

    tool->list = open_part(tool, "list", fault);
    tool->verdicts = open_part(tool, "verdicts", fault);
    if (tool->list == NULL || tool->verdicts == NULL)
        result = -1;
    for (size_t i = 0; result == 0 && i < count; i++)
        result = take_batch(tool, ledger, batches[i], fault);
    if (tool->list != NULL && close_part(tool->list, fault) != 0)
        result = -1;
    if (tool->verdicts != NULL && close_part(tool->verdicts, fault) != 0)
        result = -1;
    free(batches);
    ledger_close(ledger);
    return result;
}

int main(int argc, char **argv) {
    struct tool tool = {.folder = argc == 4 ? argv[2] : NULL, .every = argc == 4 ? strtoul(argv[3], NULL, 10) : 0};
    struct fault fault = {0};

    if (tool.every == 0) {
        fputs("usage: tool_long LEDGER FOLDER EVERY\n", stderr);
        return EX_USAGE;
    }
    if (run_tool(&tool, argv[1], &fault) != 0) {
        fprintf(stderr, "tool_long: %s\n", fault.text);
        return fault.status;
    }
    return tool.differing == 0 ? EX_OK : EXIT_FAILURE;
}
