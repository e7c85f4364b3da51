// SPDX-License-Identifier: MIT
/* second: the judge against a second one that was written from the words of its header alone, in another language
 * and another way (tests/second/second_judge.py), verdict by verdict over random runs with faults.
 *
 * SOAKLEDGER_SEED and SOAKLEDGER_RUNS in the environment choose other runs or more of them. */
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

#include "support/virtual_run.h"

enum { RUNS = 1200, RUNS_SANITIZED = 150, PATH_BYTES = 320, LINE_BYTES = 512, MOST_FIELDS = 13, MOST_SHOWN = 10 };
#define FIRST_SEED UINT64_C(20261116)

/* Times and temperatures are whole ms and mC on both sides. A crossing rounded to a ms may be one off, a length
 * that lies between two crossings two, a sum of many lengths one for each end. A slope is a quotient of sums: one
 * mC/h. */
enum { WITHIN_CROSSING_MS = 1, WITHIN_LENGTH_MS = 2, WITHIN_SLOPE = 1 };

static const char *const verdict_fields[MOST_FIELDS] = {"kind",    "run",      "operation", "requirement",
                                                        "outcome", "reason",   "required",  "found known",
                                                        "found",   "possible", "margin",    "uncertainty"};
static const char *const soak_fields[MOST_FIELDS] = {
    "kind",       "run",      "first begun",      "longest begun", "longest ended",
    "last ended", "total in", "possible longest", "stretches",     "peak",
    "peak at",    "gaps",     "gaps' total"};

struct line {
    char text[LINE_BYTES];
    bool is_soak;
    size_t count;
    int64_t fields[MOST_FIELDS]; // the first is no number
};

static bool read_line(FILE *file, struct line *line) {
    const char *at;

    if (fgets(line->text, sizeof line->text, file) == NULL) {
        line->text[0] = '\0';
        return false;
    }
    line->is_soak = strncmp(line->text, "soak,", strlen("soak,")) == 0;
    line->count = 1;
    for (at = strchr(line->text, ','); at != NULL && line->count < MOST_FIELDS; at = strchr(at + 1, ','))
        line->fields[line->count++] = strtoll(at + 1, NULL, 10);
    return true;
}

static int64_t tolerance(const struct line *line, size_t field) {
    enum { FOUND = 8, MARGIN = 10, REQUIREMENT = 3 };                                   // of a verdict
    enum { FIRST = 2, LAST_ENDED = 5, TOTAL = 6, POSSIBLE_LONGEST = 7, STRETCHES = 8 }; // of a soak

    if (line->is_soak) {
        if (field >= FIRST && field <= LAST_ENDED)
            return WITHIN_CROSSING_MS;
        if (field == TOTAL)
            return WITHIN_LENGTH_MS + 2 * WITHIN_CROSSING_MS * line->fields[STRETCHES];
        return field == POSSIBLE_LONGEST ? WITHIN_LENGTH_MS : 0;
    }
    if (field < FOUND || field > MARGIN)
        return 0;
    switch (line->fields[REQUIREMENT]) {
    case REQUIREMENT_SOAK_LEAST:
    case REQUIREMENT_SOAK_MOST:
    case REQUIREMENT_HOLD_LEAST: return WITHIN_LENGTH_MS;
    case REQUIREMENT_RAMP: return WITHIN_SLOPE;
    default: return 0;
    }
}

/* The name of the first field that differs by more than it may, or NULL. */
static const char *find_difference(const struct line *one, const struct line *other) {
    if (one->is_soak != other->is_soak || one->count != other->count)
        return "kind of line";
    for (size_t i = 1; i < one->count; i++) {
        if (llabs(one->fields[i] - other->fields[i]) > tolerance(one, i))
            return one->is_soak ? soak_fields[i] : verdict_fields[i];
    }
    return NULL;
}

static void show_disagreement(const char *folder, const char *what, const struct line *one,
                              const struct line *other, uint64_t seed) {
    const int64_t run = one->count > 1 ? one->fields[1] : other->fields[1];

    print_error("run %" PRId64 " of %s (seed %" PRIu64 "): %s\n  judge  %s  second %s", run, folder,
                seed + (uint64_t)run, what, one->text, other->text);
}

static size_t compare_answers(const char *folder, uint64_t seed, size_t runs) {
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

static void two_judges_agree_on_every_run(void **state) {
    const char *told = getenv("SOAKLEDGER_BUILD"), *build = told != NULL ? told : "build/gcc";
    const uint64_t seed = from_environment("SOAKLEDGER_SEED", FIRST_SEED);
    const size_t runs = from_environment("SOAKLEDGER_RUNS", strstr(build, "asan") != NULL ? RUNS_SANITIZED : RUNS);
    char folder[] = "/tmp/second-XXXXXX";
    size_t disagreements;

    (void)state;
    assert_non_null(mkdtemp(folder));
    print_message("seeds %" PRIu64 " to %" PRIu64 "\n", seed, seed + runs - 1);
    write_runs(folder, seed, runs);
    shell("%s/tool_judge <%s/list >%s/judge.out", build, folder, folder);
    shell("/usr/bin/python3 tests/second/second_judge.py <%s/list >%s/second.out", folder, folder);
    disagreements = compare_answers(folder, seed, runs);
    if (disagreements > 0)
        fail_msg("%zu disagreements; the runs, plans and answers are in %s", disagreements, folder);
    shell("rm -r %s", folder);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(two_judges_agree_on_every_run)};

    return cmocka_run_group_tests(tests, NULL, NULL);
}
