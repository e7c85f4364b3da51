// SPDX-License-Identifier: MIT
#include "heat.h"

#include <math.h>
#include <string.h>

static const double STEFAN_BOLTZMANN = 5.670374419e-8; // W/(m² K⁴), CODATA 2018 (exact in the SI)
static const double KELVIN_AT_0_C = 273.15;

enum { STATE_COUNT = sizeof(struct heat_state) / sizeof(double) };

void heat_start(struct heat_oven *oven, const struct heat_build *build) {
    memset(oven, 0, sizeof *oven);
    oven->build = *build;
    oven->tuning = build->tuning;
    oven->state.chamber_c = build->ambient_c;
    oven->state.sensor_c = build->ambient_c;
    oven->last_measured_c = NAN;
    oven->door_share = oven->element_share = oven->supply_share = 1;
}

size_t heat_add_load(struct heat_oven *oven, const struct heat_load_build *build) {
    const size_t load = oven->load_count;

    if (load == HEAT_LOADS)
        return HEAT_LOADS;
    oven->loads[load].build = *build;
    oven->loads[load].mass = oven->loads[load].surface = 1;
    oven->loads[load].bath_c = oven->build.ambient_c;
    oven->loads[load].bath_lag_s = build->lag_s;
    oven->state.body_c[load] = oven->build.ambient_c;
    oven->state.probe_c[load] = oven->build.ambient_c;
    oven->load_count++;
    return load;
}

void heat_ramp(struct heat_oven *oven, double target_c, double rate_c_per_s, double measured_c) {
    if (!oven->on) {
        oven->on = true;
        oven->setpoint_c = isnan(measured_c) ? target_c : measured_c;
        oven->integral_c_s = 0;
        oven->last_measured_c = NAN;
    }
    oven->target_c = target_c;
    oven->ramp_c_per_s = rate_c_per_s;
    if (isinf(rate_c_per_s))
        oven->setpoint_c = target_c;
}

void heat_switch_off(struct heat_oven *oven) {
    oven->on = false;
    oven->output = 0;
    oven->setpoint_c = 0;
}

void heat_put_in(struct heat_oven *oven, size_t load) {
    oven->loads[load].inside = true;
}

void heat_take_out(struct heat_oven *oven, size_t load, double bath_c, double bath_lag_s) {
    oven->loads[load].inside = false;
    oven->loads[load].bath_c = bath_c;
    oven->loads[load].bath_lag_s = bath_lag_s;
}

void heat_weigh(struct heat_oven *oven, size_t load, double mass, double surface) {
    oven->loads[load].mass = mass;
    oven->loads[load].surface = surface;
}

double heat_full_power(const struct heat_oven *oven) {
    return oven->build.power_w * oven->element_share * oven->supply_share * oven->supply_share;
}

static double fourth_power(double x) {
    return x * x * x * x;
}

double heat_loss(const struct heat_oven *oven, double chamber_c) {
    const struct heat_build *build = &oven->build;
    const double conductance = build->loss_w_per_k + (oven->door_open ? build->door_w_per_k * oven->door_share : 0);

    return conductance * (chamber_c - build->ambient_c) +
           STEFAN_BOLTZMANN * build->radiating_m2 *
               (fourth_power(chamber_c + KELVIN_AT_0_C) - fourth_power(build->ambient_c + KELVIN_AT_0_C));
}

/* How fast a value follows another with a first-order lag; with none it is carried along after the step. */
static double follow(double value, double leader, double lag_s) {
    return lag_s > 0 ? (leader - value) / lag_s : 0;
}

static void find_slope(const struct heat_oven *oven, const struct heat_state *at, struct heat_state *slope) {
    const struct heat_build *build = &oven->build;
    double net_w = at->heat_w - heat_loss(oven, at->chamber_c);

    memset(slope, 0, sizeof *slope);
    for (size_t i = 0; i < oven->load_count; i++) {
        const struct heat_load *load = &oven->loads[i];
        const double place_c = build->ambient_c + load->build.exposure * (at->chamber_c - build->ambient_c);

        if (load->inside) {
            slope->body_c[i] = follow(at->body_c[i], place_c, load->build.lag_s * load->mass / load->surface);
            net_w -= load->build.capacity_j_per_k * load->mass * slope->body_c[i];
        } else {
            slope->body_c[i] = follow(at->body_c[i], load->bath_c, load->bath_lag_s);
        }
        slope->probe_c[i] = follow(at->probe_c[i], at->body_c[i], load->build.probe_lag_s);
    }
    slope->heat_w = follow(at->heat_w, oven->output * heat_full_power(oven), build->element_lag_s);
    slope->chamber_c = net_w / build->capacity_j_per_k;
    slope->sensor_c = follow(at->sensor_c, at->chamber_c, build->sensor_lag_s);
}

/* to = from + slope * step, member by member. */
static void move_along(const struct heat_state *from, const struct heat_state *slope, double step_s,
                       struct heat_state *to) {
    double a[STATE_COUNT], b[STATE_COUNT];

    memcpy(a, from, sizeof a);
    memcpy(b, slope, sizeof b);
    for (size_t i = 0; i < STATE_COUNT; i++)
        a[i] += b[i] * step_s;
    memcpy(to, a, sizeof a);
}

static void integrate(struct heat_oven *oven, double step_s) {
    const struct heat_state start = oven->state;
    struct heat_state k[4], at;

    find_slope(oven, &start, &k[0]);
    move_along(&start, &k[0], step_s / 2, &at);
    find_slope(oven, &at, &k[1]);
    move_along(&start, &k[1], step_s / 2, &at);
    find_slope(oven, &at, &k[2]);
    move_along(&start, &k[2], step_s, &at);
    find_slope(oven, &at, &k[3]);
    move_along(&start, &k[0], step_s / 6, &at);
    move_along(&at, &k[1], step_s / 3, &at);
    move_along(&at, &k[2], step_s / 3, &at);
    move_along(&at, &k[3], step_s / 6, &oven->state);
}

static void move_setpoint(struct heat_oven *oven, double step_s) {
    const double away_c = oven->target_c - oven->setpoint_c;
    const double reach_c = oven->ramp_c_per_s * step_s;

    if (fabs(away_c) <= reach_c)
        oven->setpoint_c = oven->target_c;
    else
        oven->setpoint_c += copysign(reach_c, away_c);
}

/* The integral stands still while the output is at a limit and the error pushes further into it. */
static double regulate(struct heat_oven *oven, double step_s, double measured_c) {
    const struct heat_tuning *tuning = &oven->tuning;
    const double error_c = oven->setpoint_c - measured_c;
    const double speed = isnan(oven->last_measured_c) ? 0 : (measured_c - oven->last_measured_c) / step_s;
    const double integral_c_s = oven->integral_c_s + error_c * step_s;
    double action_c = error_c - tuning->derivative_s * speed;
    double output;

    oven->last_measured_c = measured_c;
    if (tuning->reset_s > 0)
        action_c += integral_c_s / tuning->reset_s;
    output = action_c / tuning->band_c;
    if (!((output > 1 && error_c > 0) || (output < 0 && error_c < 0)))
        oven->integral_c_s = integral_c_s;
    return fmin(1, fmax(0, output));
}

void heat_step(struct heat_oven *oven, double step_s, double measured_c) {
    oven->output = 0;
    if (oven->on)
        move_setpoint(oven, step_s);
    if (oven->on && !isnan(measured_c))
        oven->output = regulate(oven, step_s, measured_c);
    if (!(oven->build.element_lag_s > 0))
        oven->state.heat_w = oven->output * heat_full_power(oven);
    integrate(oven, step_s);
    if (!(oven->build.sensor_lag_s > 0))
        oven->state.sensor_c = oven->state.chamber_c;
    for (size_t i = 0; i < oven->load_count; i++)
        if (!(oven->loads[i].build.probe_lag_s > 0))
            oven->state.probe_c[i] = oven->state.body_c[i];
}
