// SPDX-License-Identifier: MIT
/* heat: the physics of one oven, its charge and its controller. Pure: no clock, no file, no terminal.
 *
 *   commanded output --element lag--> heat into the chamber (one thermal mass)
 *   chamber --loss (W/K) and radiation (black area)--> surroundings; the door adds a loss while open
 *   chamber --lag--> each load's body --probe lag--> that load's thermocouple
 *   chamber --sensor lag--> control thermocouple --PID--> commanded output
 *
 * A load takes its heat from the chamber, so a heavy charge slows the oven. It takes it through its surface: its
 * lag grows with its mass and shrinks with its surface. The elements give the square of the supply's voltage.
 * `exposure` says how much of the chamber's rise above ambient a load's place gets: below 1 in a cool corner. A
 * load outside is in a bath (oil, air) of fixed temperature.
 *
 * Integrated by the classical fourth-order Runge-Kutta rule in steps of the caller's length, during which
 * the output is held. Lags must be zero (no lag) or at least one step. Units: °C, W, J/K, s; output 0..1.
 */
#ifndef SHOP_HEAT_H
#define SHOP_HEAT_H

#include <stdbool.h>
#include <stddef.h>

enum { HEAT_LOADS = 8 };

/* A standard-form PID controller; derivative on the measured value. */
struct heat_tuning {
    double band_c;       // proportional band: the error that gives full output
    double reset_s;      // integral time, 0 for none
    double derivative_s; // 0 for none
};

struct heat_build {
    double ambient_c;
    double power_w;
    double capacity_j_per_k;
    double loss_w_per_k;
    double radiating_m2; // equivalent black area that sees the surroundings
    double door_w_per_k; // added to the loss while the door is open
    double element_lag_s;
    double sensor_lag_s;
    struct heat_tuning tuning;
};

struct heat_load_build {
    double capacity_j_per_k;
    double lag_s; // of the body behind the chamber; not zero
    double probe_lag_s;
    double exposure; // 0..1
};

/* What moves with time. The order of members is the order of integration. */
struct heat_state {
    double heat_w;
    double chamber_c;
    double sensor_c;
    double body_c[HEAT_LOADS];
    double probe_c[HEAT_LOADS];
};

struct heat_oven {
    struct heat_build build;
    struct heat_tuning tuning; // in force
    struct heat_state state;
    size_t load_count;
    struct heat_load {
        struct heat_load_build build;
        double mass, surface; // as shares of the build's
        bool inside;
        double bath_c; // where it is while outside
        double bath_lag_s;
    } loads[HEAT_LOADS];
    bool door_open;
    double door_share;    // of the door's loss, while it is open
    double element_share; // of the elements that still heat
    double supply_share;  // of the supply's voltage

    bool on;           // the controller heats
    double setpoint_c; // in force now
    double target_c;   // where the ramp leads
    double ramp_c_per_s;
    double integral_c_s;
    double last_measured_c; // NAN: none yet
    double output;
};

/* Everything at ambient, off. */
void heat_start(struct heat_oven *oven, const struct heat_build *build);
/* Adds a load, outside and at ambient; returns its index, or HEAT_LOADS if there is no room. */
size_t heat_add_load(struct heat_oven *oven, const struct heat_load_build *build);

/* From now on the setpoint moves to `target_c`. A controller that was off begins at `measured_c`. A rate of
 * INFINITY is a jump. */
void heat_ramp(struct heat_oven *oven, double target_c, double rate_c_per_s, double measured_c);
void heat_switch_off(struct heat_oven *oven);

void heat_put_in(struct heat_oven *oven, size_t load);
void heat_take_out(struct heat_oven *oven, size_t load, double bath_c, double bath_lag_s);

/* What the charge is from now on: of what it was built, the mass and the surface through which it takes its heat.
 */
void heat_weigh(struct heat_oven *oven, size_t load, double mass, double surface);
/* What the elements give at full output, W. */
double heat_full_power(const struct heat_oven *oven);

/* One step. `measured_c` is what the controller makes of its sensor; NAN (open) turns the heat off. */
void heat_step(struct heat_oven *oven, double step_s, double measured_c);

/* What the chamber loses at `chamber_c`, W. */
double heat_loss(const struct heat_oven *oven, double chamber_c);

#endif
