// SPDX-License-Identifier: MIT
/* figure: what `make bench` measures, one line each, for tests/bench/run to make a table of. Every figure is held
 * against a limit that was computed, or against a peer that did the same work in the same run. */
#ifndef SOAKLEDGER_BENCH_FIGURE_H
#define SOAKLEDGER_BENCH_FIGURE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { FIGURE_ROUNDS = 3 }; // the best of these counts: other programs may be running

enum figure_bound { FIGURE_AT_LEAST, FIGURE_AT_MOST };

/* Whether the figure was reached. */
bool figure_put(const char *what, const char *unit, double reached, enum figure_bound bound, double wanted);
/* A line for the reader, outside the table. */
void figure_note(const char *format, ...) __attribute__((format(printf, 1, 2)));
/* The bench itself could not be carried out: ends the program with EX_SOFTWARE. */
void figure_give_up(const char *format, ...) __attribute__((noreturn, format(printf, 1, 2)));

double figure_wall_s(void);
double figure_cpu_s(void); // of this process, all threads

/* The value that `share` (0..1) of the values do not exceed; sorts them. 0 if there are none. */
int64_t figure_percentile(int64_t *values, size_t count, double share);

#endif
