// SPDX-License-Identifier: MIT
#include "figure.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <sysexits.h>
#include <time.h>

static const double NS_PER_S = 1e9;

bool figure_put(const char *what, const char *unit, double reached, enum figure_bound bound, double wanted) {
    const bool most = bound == FIGURE_AT_MOST;
    const bool ok = most ? reached <= wanted : reached >= wanted;
    const double against = most ? reached : wanted, limit = most ? wanted : reached;

    printf("figure|%s|%.6g %s|%s %.6g %s|", what, reached, unit, most ? "<=" : ">=", wanted, unit);
    if (against > 0)
        printf("%.2f", limit / against);
    else
        printf("-");
    printf("|%s\n", ok ? "ok" : "short");
    fflush(stdout);
    return ok;
}

void figure_note(const char *format, ...) {
    va_list arguments;

    va_start(arguments, format);
    printf("  ");
    vprintf(format, arguments);
    printf("\n");
    va_end(arguments);
    fflush(stdout);
}

void figure_give_up(const char *format, ...) {
    va_list arguments;

    va_start(arguments, format);
    fflush(stdout);
    fprintf(stderr, "bench: ");
    vfprintf(stderr, format, arguments);
    fprintf(stderr, "\n");
    va_end(arguments);
    exit(EX_SOFTWARE);
}

static double read_clock_s(clockid_t clock) {
    struct timespec now;

    clock_gettime(clock, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / NS_PER_S;
}

double figure_wall_s(void) {
    return read_clock_s(CLOCK_MONOTONIC);
}

double figure_cpu_s(void) {
    return read_clock_s(CLOCK_PROCESS_CPUTIME_ID);
}

static int compare(const void *a, const void *b) {
    const int64_t one = *(const int64_t *)a, other = *(const int64_t *)b;

    return (one > other) - (one < other);
}

int64_t figure_percentile(int64_t *values, size_t count, double share) {
    if (count == 0)
        return 0;
    qsort(values, count, sizeof *values, compare);
    return values[(size_t)((double)(count - 1) * share)];
}
