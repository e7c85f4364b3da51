// SPDX-License-Identifier: MIT
/* second: the judge against a second one that was written from the words of its headers alone, in another language
 * and another way (tests/second/second_judge.py), verdict by verdict over random runs with faults: soaks, and what
 * comes after them.
 *
 * SOAKLEDGER_SEED, SOAKLEDGER_RUNS and SOAKLEDGER_CYCLES in the environment choose other runs or more of them. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "support/virtual_cycle.h"
#include "support/virtual_run.h"

enum { RUNS = 1000, RUNS_SANITIZED = 100, CYCLES = 500, CYCLES_SANITIZED = 50 };
enum { PATH_BYTES = 320, LINE_BYTES = 1024, MOST_FIELDS = 40, MOST_SHOWN = 10 };
enum { OUTCOMES = OUTCOME_NOT_MET + 1, LEAST_OF_EACH = 3, ENOUGH_RUNS = 400 };
#define FIRST_SEED  UINT64_C(20261116)
#define FIRST_CYCLE UINT64_C(77000000)

/* Times and temperatures are whole ms and mC on both sides. A crossing rounded to a ms may be one off, a length
 * that lies between two crossings two, a sum of many lengths one for each end. A slope is a quotient of sums: one
 * mC/h. A sum of hours at a temperature is one of doubles, rounded to a ms. */
enum { WITHIN_CROSSING_MS = 1, WITHIN_LENGTH_MS = 2, WITHIN_SLOPE = 1, WITHIN_SUM_MS = 1 };

#define MOMENT(name) name " known", name, name " at"
static const char *const line_kinds[] = {"verdict", "soak", "facts", "quench"};
enum { VERDICT, SOAK, FACTS, QUENCH, LINE_KINDS };
static const char *const field_names[LINE_KINDS][MOST_FIELDS] = {
    {"kind", "run", "operation", "requirement", "outcome", "reason", "required", "found known", "found", "possible",
     "margin", "uncertainty"},
    {"kind", "run", "first begun", "longest begun", "longest ended", "last ended", "total in", "possible longest",
     "stretches", "peak", "peak at", "gaps", "gaps' total"},
    {"kind", "run", "begun", "first known", "first", "lowest known", "lowest", "equivalent", "missing"},
    {"kind", "run", "channel", MOMENT("transfer"), MOMENT("cooling"), "cooling readings", MOMENT("fastest"),
     "fastest rate", "fastest at temperature", "fastest span", "rate at 300 known", "rate at 300", MOMENT("600 C"),
     MOMENT("400 C"), MOMENT("200 C"), MOMENT("handle-warm"), "gap"},
};

struct line {
    char text[LINE_BYTES];
    size_t kind, count;
    int64_t fields[MOST_FIELDS]; // the first is no number
};

/* How often each requirement came out how. */
struct counts {
    size_t of[REQUIREMENT_COUNT][OUTCOMES];
};

static bool read_line(FILE *file, struct line *line) {
    const char *at;

    if (fgets(line->text, sizeof line->text, file) == NULL) {
        line->text[0] = '\0';
        return false;
    }
    for (line->kind = 0; line->kind < LINE_KINDS - 1; line->kind++) {
        if (strncmp(line->text, line_kinds[line->kind], strlen(line_kinds[line->kind])) == 0)
            break;
    }
    line->count = 1;
    for (at = strchr(line->text, ','); at != NULL && line->count < MOST_FIELDS; at = strchr(at + 1, ','))
        line->fields[line->count++] = strtoll(at + 1, NULL, 10);
    return true;
}

static int64_t verdict_tolerance(const struct line *line, size_t field) {
    enum { FOUND = 8, MARGIN = 10, REQUIREMENT = 3 };

    if (field < FOUND || field > MARGIN)
        return 0;
    switch (line->fields[REQUIREMENT]) {
    case REQUIREMENT_SOAK_LEAST:
    case REQUIREMENT_SOAK_MOST:
    case REQUIREMENT_HOLD_LEAST: return WITHIN_LENGTH_MS;
    case REQUIREMENT_RAMP: return WITHIN_SLOPE;
    case REQUIREMENT_BEGIN_WITHIN:
    case REQUIREMENT_TRANSFER:
    case REQUIREMENT_HANDLE_WARM: return WITHIN_CROSSING_MS;
    case REQUIREMENT_COOLING: return WITHIN_LENGTH_MS;
    case REQUIREMENT_EQUIVALENT: return WITHIN_SUM_MS;
    default: return 0;
    }
}

static int64_t soak_tolerance(const struct line *line, size_t field) {
    enum { FIRST = 2, LAST_ENDED = 5, TOTAL = 6, POSSIBLE_LONGEST = 7, STRETCHES = 8 };

    if (field >= FIRST && field <= LAST_ENDED)
        return WITHIN_CROSSING_MS;
    if (field == TOTAL)
        return WITHIN_LENGTH_MS + 2 * WITHIN_CROSSING_MS * line->fields[STRETCHES];
    return field == POSSIBLE_LONGEST ? WITHIN_LENGTH_MS : 0;
}

/* A flag, a count and a value read are the same or not. */
static int64_t quench_tolerance(size_t field) {
    enum { TRANSFER = 3, COOLING = 6, READINGS = 9, FASTEST = 10, AT = 14, SPAN = 15, KNOWN_300 = 16, GAP = 30 };
    enum { MARKS = 18, MOMENT_FIELDS = 3 };
    const bool is_flag = field == TRANSFER || field == COOLING || field == FASTEST || field == KNOWN_300 ||
                         (field >= MARKS && (field - MARKS) % MOMENT_FIELDS == 0);

    return is_flag || field < TRANSFER || field == READINGS || field == AT || field == SPAN || field == GAP
               ? 0
               : WITHIN_CROSSING_MS;
}

static int64_t tolerance(const struct line *line, size_t field) {
    enum { EQUIVALENT = 7 };

    switch (line->kind) {
    case VERDICT: return verdict_tolerance(line, field);
    case SOAK: return soak_tolerance(line, field);
    case FACTS: return field == EQUIVALENT ? WITHIN_SUM_MS : 0;
    default: return quench_tolerance(field);
    }
}

/* The name of the first field that differs by more than it may, or NULL. */
static const char *find_difference(const struct line *one, const struct line *other) {
    if (one->kind != other->kind || one->count != other->count)
        return "kind of line";
    for (size_t i = 1; i < one->count; i++) {
        if (llabs(one->fields[i] - other->fields[i]) > tolerance(one, i))
            return field_names[one->kind][i];
    }
    return NULL;
}

static void show_disagreement(const char *folder, const char *what, const struct line *one,
                              const struct line *other, uint64_t seed) {
    const int64_t run = one->count > 1 ? one->fields[1] : other->fields[1];

    print_error("run %" PRId64 " of %s (seed %" PRIu64 "): %s\n  judge  %s  second %s", run, folder,
                seed + (uint64_t)run, what, one->text, other->text);
}

static void count(struct counts *counts, const struct line *line) {
    enum { REQUIREMENT = 3, OUTCOME = 4 };

    if (line->kind == VERDICT && line->count > OUTCOME)
        counts->of[line->fields[REQUIREMENT]][line->fields[OUTCOME]]++;
}

static size_t compare_answers(const char *folder, uint64_t seed, size_t runs, struct counts *counts) {
    char path[PATH_BYTES];
    struct line one, other;
    size_t disagreements = 0, lines = 0;
    FILE *files[2];

    snprintf(path, sizeof path, "%s/judge.out", folder);
    files[0] = fopen(path, "r");
    snprintf(path, sizeof path, "%s/second.out", folder);
    files[1] = fopen(path, "r");
    assert_true(files[0] != NULL && files[1] != NULL);
    for (;;) {
        const bool more[] = {read_line(files[0], &one), read_line(files[1], &other)};
        const char *what = more[0] && more[1] ? find_difference(&one, &other) : "one ends before the other";

        if (!more[0] && !more[1])
            break;
        lines++;
        count(counts, &one);
        if (what != NULL && disagreements++ < MOST_SHOWN)
            show_disagreement(folder, what, &one, &other, seed);
        if (more[0] != more[1])
            break;
    }
    fclose(files[0]);
    fclose(files[1]);
    print_message("%zu runs, %zu lines compared, %zu disagreements\n", runs, lines, disagreements);
    assert_true(lines >= 2 * runs);
    return disagreements;
}

static void write_runs(const char *folder, uint64_t seed, size_t runs) {
    char plan_path[PATH_BYTES], csv_path[PATH_BYTES], path[PATH_BYTES];
    FILE *list;

    snprintf(path, sizeof path, "%s/list", folder);
    list = fopen(path, "w");
    assert_non_null(list);
    for (size_t i = 0; i < runs; i++) {
        struct virtual_run run;

        virtual_run_make(&run, seed + i);
        snprintf(plan_path, sizeof plan_path, "%s/%05zu.plan", folder, i);
        snprintf(csv_path, sizeof csv_path, "%s/%05zu.csv", folder, i);
        virtual_run_write(&run, plan_path, csv_path);
        fprintf(list, "%s %s %zu\n", plan_path, csv_path, run.visit);
        virtual_run_release(&run);
    }
    assert_int_equal(fclose(list), 0);
}

static void shell(const char *format, ...) __attribute__((format(printf, 1, 2)));
static void shell(const char *format, ...) {
    char command[4 * PATH_BYTES];
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(command, sizeof command, format, arguments);
    va_end(arguments);
    if (system(command) != 0) // NOLINT(cert-env33-c): a test's own command
        fail_msg("failed: %s", command);
}

static uint64_t from_environment(const char *name, uint64_t otherwise) {
    const char *text = getenv(name);

    return text != NULL ? strtoull(text, NULL, 10) : otherwise;
}

static void write_cycles(const char *folder, uint64_t seed, size_t cycles) {
    char plan_path[PATH_BYTES], csv_path[PATH_BYTES], before_path[PATH_BYTES], path[PATH_BYTES];
    FILE *list;

    snprintf(path, sizeof path, "%s/list", folder);
    list = fopen(path, "w");
    assert_non_null(list);
    for (size_t i = 0; i < cycles; i++) {
        struct virtual_cycle cycle;

        virtual_cycle_make(&cycle, seed + i);
        snprintf(plan_path, sizeof plan_path, "%s/%05zu.plan", folder, i);
        snprintf(csv_path, sizeof csv_path, "%s/%05zu.csv", folder, i);
        snprintf(before_path, sizeof before_path, "%s/%05zu.before.csv", folder, i);
        virtual_run_write(&cycle.run, plan_path, csv_path);
        if (cycle.has_before)
            virtual_run_write(&cycle.before, plan_path, before_path);
        fprintf(list, "%s %s %zu %s\n", plan_path, csv_path, cycle.run.visit,
                cycle.run.visit == 0 ? ""
                : cycle.has_before   ? before_path
                                     : "-");
        virtual_cycle_release(&cycle);
    }
    assert_int_equal(fclose(list), 0);
}

typedef void write_all(const char *folder, uint64_t seed, size_t count);

static void hold_against_each_other(write_all *write, uint64_t seed, size_t runs, struct counts *counts) {
    const char *told = getenv("SOAKLEDGER_BUILD"), *build = told != NULL ? told : "build/gcc";
    char folder[] = "/tmp/second-XXXXXX";
    size_t disagreements;

    assert_non_null(mkdtemp(folder));
    print_message("seeds %" PRIu64 " to %" PRIu64 "\n", seed, seed + runs - 1);
    write(folder, seed, runs);
    shell("%s/tool_judge <%s/list >%s/judge.out", build, folder, folder);
    shell("/usr/bin/python3 -B tests/second/second_judge.py <%s/list >%s/second.out", folder, folder);
    disagreements = compare_answers(folder, seed, runs, counts);
    if (disagreements > 0)
        fail_msg("%zu disagreements; the runs, plans and answers are in %s", disagreements, folder);
    shell("rm -r %s", folder);
}

static bool is_sanitized(void) {
    const char *told = getenv("SOAKLEDGER_BUILD");

    return told != NULL && strstr(told, "asan") != NULL;
}

/* A comparison of nothing but what is met would show little. */
static void assert_all_occur(const struct counts *counts, const enum requirement *requirements, size_t count,
                             const char *of) {
    for (size_t i = 0; i < count; i++) {
        const size_t *outcomes = counts->of[requirements[i]];

        print_message("  %-44s met %4zu  not proven %4zu  not met %4zu\n", judge_requirement_name(requirements[i]),
                      outcomes[OUTCOME_MET], outcomes[OUTCOME_NOT_PROVEN], outcomes[OUTCOME_NOT_MET]);
        for (size_t j = 0; j < OUTCOMES; j++) {
            if (outcomes[j] < LEAST_OF_EACH)
                fail_msg("%s of %s is %s only %zu times", judge_requirement_name(requirements[i]), of,
                         judge_outcome_name((enum outcome)j), outcomes[j]);
        }
    }
}

static void two_judges_agree_on_every_run(void **state) {
    static const enum requirement soaks[] = {REQUIREMENT_RAMP,      REQUIREMENT_SOAK_LEAST, REQUIREMENT_SOAK_MOST,
                                             REQUIREMENT_OVERSHOOT, REQUIREMENT_SPREAD,     REQUIREMENT_LOAD_START,
                                             REQUIREMENT_HOLD_LEAST};
    const size_t runs = from_environment("SOAKLEDGER_RUNS", is_sanitized() ? RUNS_SANITIZED : RUNS);
    struct counts counts = {0};

    (void)state;
    hold_against_each_other(write_runs, from_environment("SOAKLEDGER_SEED", FIRST_SEED), runs, &counts);
    if (runs >= ENOUGH_RUNS)
        assert_all_occur(&counts, soaks, sizeof soaks / sizeof soaks[0], "the soaks");
}

static void two_judges_agree_on_the_whole_cycle(void **state) {
    static const enum requirement cycle[] = {
        REQUIREMENT_SOAK_LEAST, REQUIREMENT_HOLD_LEAST,   REQUIREMENT_OVERSHOOT,
        REQUIREMENT_TRANSFER,   REQUIREMENT_COOLING,      REQUIREMENT_HANDLE_WARM,
        REQUIREMENT_EQUIVALENT, REQUIREMENT_BEGIN_WITHIN, REQUIREMENT_PARTS_BELOW};
    const size_t cycles = from_environment("SOAKLEDGER_CYCLES", is_sanitized() ? CYCLES_SANITIZED : CYCLES);
    struct counts counts = {0};

    (void)state;
    hold_against_each_other(write_cycles, from_environment("SOAKLEDGER_SEED", FIRST_CYCLE), cycles, &counts);
    if (cycles >= ENOUGH_RUNS)
        assert_all_occur(&counts, cycle, sizeof cycle / sizeof cycle[0], "the cycle");
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(two_judges_agree_on_every_run),
                                       cmocka_unit_test(two_judges_agree_on_the_whole_cycle)};

    return cmocka_run_group_tests(tests, NULL, NULL);
}
