// SPDX-License-Identifier: MIT
/* How much of a wire's time the daemon uses: more is asked of one line than it can carry, and the polls that came
 * back good are counted in the ledger. */
#include <stdlib.h>

#include "figure.h"
#include "plant.h"

enum { INSTRUMENTS = 30, REGISTERS = 4, INTERVAL_MS = 100, MS_PER_S = 1000 };
static const double SETTLE_S = 12, WINDOW_S = 5, COMMITTED_S = 1, WANTED_SHARE = 95, US_PER_S = 1e6;

static double count_polls(const struct plant *plant, const char *condition, int64_t from_ms, int64_t to_ms) {
    char sql[PLANT_PATH_BYTES];

    snprintf(sql, sizeof sql, "SELECT count(*) FROM reading WHERE %s AND t_ms >= %lld AND t_ms < %lld", condition,
             (long long)from_ms, (long long)to_ms);
    return plant_ask(plant->ledger, sql) / REGISTERS;
}

static bool measure(int speed_baud) {
    const struct plant_shape shape = {1, INSTRUMENTS, REGISTERS, INTERVAL_MS, speed_baud, true};
    const double limit_per_s = US_PER_S / (double)far_cycle_us(speed_baud, REGISTERS);
    int64_t from_ms[FIGURE_ROUNDS + 1];
    double best_per_s = 0, bad = 0;
    struct plant plant;
    char what[PLANT_PATH_BYTES];
    int64_t late_us;

    plant_open(&plant, &shape);
    plant_sleep_s(SETTLE_S); // until a run is on, so that every reading is stored
    for (int round = 0; round <= FIGURE_ROUNDS; round++) {
        from_ms[round] = plant_wall_ms();
        plant_sleep_s(round < FIGURE_ROUNDS ? WINDOW_S : COMMITTED_S);
    }
    late_us = far_late_us(plant.far);
    plant_stop(&plant);
    for (int round = 0; round < FIGURE_ROUNDS; round++) {
        const double polls = count_polls(&plant, "quality = 0", from_ms[round], from_ms[round + 1]);
        const double per_s = polls * MS_PER_S / (double)(from_ms[round + 1] - from_ms[round]);

        best_per_s = per_s > best_per_s ? per_s : best_per_s;
        bad += count_polls(&plant, "quality <> 0", from_ms[round], from_ms[round + 1]);
    }
    plant_close(&plant);
    figure_note(
        "%d baud: %.2f polls/s of %d registers, the wire allows %.2f; %.0f polls failed; 99 %% of the replies at"
        " most %lld us late",
        speed_baud, best_per_s, REGISTERS, limit_per_s, bad, (long long)late_us);
    snprintf(what, sizeof what, "bus use at %d baud", speed_baud);
    return figure_put(what, "%", 100 * best_per_s / limit_per_s, FIGURE_AT_LEAST, WANTED_SHARE);
}

int main(void) {
    bool ok = measure(9600);

    ok &= measure(19200);
    ok &= measure(115200);
    return ok ? EXIT_SUCCESS : EXIT_FAILURE;
}
