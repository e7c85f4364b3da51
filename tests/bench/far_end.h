// SPDX-License-Identifier: MIT
/* far_end: the controllers at the far end of many lines, served by a process of their own, at the pace of a wire.
 *
 * The time a request arrives is noted. Its reply comes in one piece at the moment its last character would have
 * come in on a wire of that speed: request, t3.5, reply. Close to that moment the process spins, so that a wire is
 * never late because of this program's own timer. */
#ifndef SOAKLEDGER_BENCH_FAR_END_H
#define SOAKLEDGER_BENCH_FAR_END_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { FAR_PATH_BYTES = 64, FAR_MOST_LINES = 32 };

struct far_arrival {
    int64_t t_us; // CLOCK_MONOTONIC, when the request's last byte was read
    uint16_t line;
    uint16_t address;
};

struct far_end;

/* `speed_baud` 0: replies come at once. `rising`: every register warms by 5 a second, else it stays. Registers are
 * tenths of a degree. */
struct far_end *far_open(size_t line_count, int speed_baud, bool rising);
void far_close(struct far_end *far);

const char *far_path(const struct far_end *far, size_t line);
size_t far_count(const struct far_end *far);
const struct far_arrival *far_arrivals(const struct far_end *far);
/* How late the replies were written, the worst of 99 %; of all so far. */
int64_t far_late_us(const struct far_end *far);

int64_t far_now_us(void);
/* From the beginning of a request to the moment the next may begin, by the specification's times. */
int64_t far_cycle_us(int speed_baud, unsigned registers);

#endif
