// SPDX-License-Identifier: MIT
/* cause_shop: runs of a virtual oven in which something known went wrong, after a few in which nothing did, all
 * from a seed. The shop's own physics, the project's own judge; only line, daemon and ledger are left out.
 *
 * Ranges (evenly drawn): elements 4.5 .. 7.5 kW, heat capacity 3.5 .. 7 kJ/K, two load sensors in 80 .. 300 J/K
 * each, 40 .. 150 s behind the chamber; soak at 760 .. 980 °C or, with a third of the power, 400 .. 600 °C; band 8
 * below and 10 above, 20 min; noise 0.1 .. 0.3 °C; one to five earlier good runs, whose charge differs by up to 12
 * %.
 * - sensor: control or load sensor reads 9 .. 30 °C wrong, or drifts by 15 .. 60 °C/h, or gets 95.5 .. 98.5 % of
 * its rise, or opens for 4 .. 30 min
 * - element: 30 .. 75 % of the elements left, from the start or from some moment on; supply at 70 .. 88 %; no
 * supply for 4 .. 30 min
 * - door: open for 40 s .. 8 min, or by 15 .. 60 % for 4 .. 30 min, once or twice; or ajar by 6 .. 20 % all along
 * - overload: 2.5 to 8 times the mass, 1 to 2 times the surface
 * - setpoint: 9 .. 60 °C off, or left 30 .. 80 % too early
 * - tuning: band 3 .. 25 % and integral time 3 .. 25 % of what they were, no derivative
 * - line: 25 .. 80 % of the replies garbled, or gone for 20 s .. 15 min, once or twice
 * - recorder: stopped for 20 s .. 20 min
 * - nothing: a plan with a spread or an overshoot allowed that the oven never met, or a charge taken out too early
 */
#ifndef SOAKLEDGER_CAUSE_SHOP_H
#define SOAKLEDGER_CAUSE_SHOP_H

#include "soakledger/cause.h"

/* What the oven's controller tells. */
enum cause_shop_kit {
    KIT_FULL,    // control, setpoint, output, two load sensors
    KIT_CONTROL, // control, setpoint, output: the control sensor stands for the charge
    KIT_BARE,    // control and two load sensors
    KIT_ALONE,   // control
};
enum { KIT_COUNT = 4 };

enum { CAUSE_SHOP_TEXT_BYTES = 8192, CAUSE_SHOP_STORY_BYTES = 400 };

struct cause_shop {
    bool failed; // a run was found in which what was injected made the judge say other than met
    bool told;
    size_t usual_runs;
    struct cause_task task;
    struct cause_signs signs;
    struct verdict verdicts[JUDGE_MOST_VERDICTS];
    size_t verdict_count;
    struct cause_opinion opinions[CAUSE_COUNT];
    char story[CAUSE_SHOP_STORY_BYTES]; // what was done, for people
    char scene[CAUSE_SHOP_TEXT_BYTES];  // of the run that failed
};

/* `causes` holds 0 (nothing), 1 or 2. Fails the running program if memory is short. */
void cause_shop_play(uint64_t seed, enum cause_shop_kit kit, const enum cause *causes, size_t count,
                     struct cause_shop *shop);

#endif
