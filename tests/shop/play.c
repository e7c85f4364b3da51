// SPDX-License-Identifier: MIT
#include "play.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double MS_PER_S = 1000;
static const double FULL_OUTPUT = 100; // per cent
enum { WORD_BITS = 16, WORD_MASK = 0xFFFF, HEATING_COIL = 0 };

struct sensor {
    double noise_c;
    double offset_c;
    double drift_c_per_s;
    int64_t drift_since_ms;
    double rise; // share of the rise above ambient that it gets
    bool open;
};

/* What a server's callbacks get. */
struct on_line {
    struct play *play;
    size_t line;
};

struct play {
    const struct scene *scene;
    int64_t now_ms; // a whole step
    uint64_t step;  // steps taken
    size_t next_event;
    struct heat_oven ovens[SCENE_OVENS];
    int64_t door_shuts_ms[SCENE_OVENS];
    size_t place[SCENE_LOADS][SCENE_OVENS]; // of a load in an oven; HEAT_LOADS where it never comes
    size_t where[SCENE_LOADS];              // the oven that it is in, or was in last
    size_t plugged[SCENE_OVENS];            // the load that is plugged in there; SCENE_LOADS for none
    struct sensor sensors[SCENE_SENSORS];
    bool powered[SCENE_CONTROLLERS];
    bool line_gone[SCENE_LINES];
    double garbled[SCENE_LINES]; // share of the replies
    struct on_line on_line[SCENE_LINES];
};

/* Every load has a place in each oven that it moves to. */
static int make_places(struct play *play, struct fault *fault) {
    const struct scene *scene = play->scene;

    for (size_t i = 0; i < scene->event_count; i++) {
        const struct scene_event *event = &scene->events[i];
        size_t *place = &play->place[event->subject][event->oven];

        if (event->act != ACT_LOAD_MOVE || *place != HEAT_LOADS)
            continue;
        *place = heat_add_load(&play->ovens[event->oven], &scene->loads[event->subject].build);
        if (*place == HEAT_LOADS)
            return fault_set(fault, EX_DATAERR,
                             "load %s moves to oven %s, which is full: expected at most %d loads",
                             scene->loads[event->subject].name, scene->ovens[event->oven].name, HEAT_LOADS);
    }
    return 0;
}

struct play *play_open(const struct scene *scene, struct fault *fault) {
    struct play *play = calloc(1, sizeof *play);

    if (play == NULL) {
        fault_set_errno(fault, EX_OSERR, "cannot hold a play");
        return NULL;
    }
    play->scene = scene;
    play->now_ms = scene->start_ms;
    for (size_t i = 0; i < SCENE_SENSORS; i++)
        play->sensors[i].rise = 1;
    for (size_t i = 0; i < scene->oven_count; i++) {
        heat_start(&play->ovens[i], &scene->ovens[i].build);
        play->sensors[i].noise_c = scene->ovens[i].noise_c;
    }
    for (size_t i = 0; i < scene->load_count; i++) {
        play->where[i] = scene->loads[i].oven;
        for (size_t k = 0; k < scene->oven_count; k++)
            play->place[i][k] = HEAT_LOADS;
        play->place[i][play->where[i]] = heat_add_load(&play->ovens[play->where[i]], &scene->loads[i].build);
        play->sensors[scene_sensor_of_load(i)].noise_c = scene->loads[i].noise_c;
    }
    for (size_t i = 0; i < scene->oven_count; i++)
        play->plugged[i] = SCENE_LOADS;
    if (make_places(play, fault) != 0) {
        play_close(play);
        return NULL;
    }
    for (size_t i = 0; i < scene->controller_count; i++)
        play->powered[i] = true;
    for (size_t i = 0; i < scene->line_count; i++)
        play->on_line[i] = (struct on_line){.play = play, .line = i};
    play_advance(play, scene->start_ms);
    return play;
}

void play_close(struct play *play) {
    free(play);
}

/* splitmix64's mixing of one number, after S. Vigna's public-domain description (constants from memory). */
static uint64_t mix(uint64_t x) {
    x += 0x9E3779B97F4A7C15U;
    x = (x ^ x >> 30) * 0xBF58476D1CE4E5B9U;
    x = (x ^ x >> 27) * 0x94D049BB133111EBU;
    return x ^ x >> 31;
}

/* Uniform in (0, 1). */
static double spread_evenly(uint64_t bits) {
    enum { UNUSED_BITS = 11, MANTISSA_BITS = 53 };

    return ((double)(bits >> UNUSED_BITS) + 0.5) / (double)(1ULL << MANTISSA_BITS);
}

/* One standard normal number for each seed, sensor and step (Box and Muller's transform). */
static double draw_normal(const struct play *play, size_t sensor) {
    const uint64_t a = mix(mix(mix(play->scene->seed) ^ sensor) ^ play->step);
    const uint64_t b = mix(a);

    return sqrt(-2 * log(spread_evenly(a))) * cos(2 * M_PI * spread_evenly(b));
}

/* A sensor's reading of `true_c`, without noise. */
static double sense(const struct play *play, size_t sensor, double ambient_c, double true_c) {
    const struct sensor *at = &play->sensors[sensor];
    const double drifting_s = (double)(play->now_ms - at->drift_since_ms) / MS_PER_S;

    return at->open ? NAN
                    : ambient_c + at->rise * (true_c - ambient_c) + at->offset_c + at->drift_c_per_s * drifting_s;
}

/* A controller's input filter takes out the noise, so it regulates by the reading without it. */
static double measure(const struct play *play, size_t oven) {
    const struct heat_oven *at = &play->ovens[oven];

    return sense(play, oven, at->build.ambient_c, at->state.sensor_c);
}

double play_show_control(const struct play *play, size_t oven) {
    return measure(play, oven) + play->sensors[oven].noise_c * draw_normal(play, oven);
}

double play_show_load(const struct play *play, size_t load) {
    const size_t sensor = scene_sensor_of_load(load);
    const struct heat_oven *oven = &play->ovens[play->where[load]];

    return sense(play, sensor, oven->build.ambient_c, oven->state.probe_c[play->place[load][play->where[load]]]) +
           play->sensors[sensor].noise_c * draw_normal(play, sensor);
}

const struct heat_oven *play_oven(const struct play *play, size_t oven) {
    return &play->ovens[oven];
}

static void drift(struct play *play, size_t sensor, double c_per_s) {
    struct sensor *at = &play->sensors[sensor];

    at->offset_c += at->drift_c_per_s * (double)(play->now_ms - at->drift_since_ms) / MS_PER_S;
    at->drift_c_per_s = c_per_s;
    at->drift_since_ms = play->now_ms;
}

static void happen_to_sensor(struct play *play, const struct scene_event *event) {
    struct sensor *at = &play->sensors[event->subject];

    switch (event->act) {
    case ACT_SENSOR_OPEN: at->open = true; break;
    case ACT_SENSOR_CLOSE: at->open = false; break;
    case ACT_SENSOR_HIGH: at->offset_c += event->arguments[0]; break;
    case ACT_SENSOR_LOW: at->offset_c -= event->arguments[0]; break;
    case ACT_SENSOR_DRIFT_HIGH: drift(play, event->subject, event->arguments[0]); break;
    case ACT_SENSOR_DRIFT_LOW: drift(play, event->subject, -event->arguments[0]); break;
    case ACT_SENSOR_RISE: at->rise = event->arguments[0]; break;
    case ACT_SENSOR_NOISE: at->noise_c = event->arguments[0]; break;
    default: // reads true
        at->offset_c = 0;
        at->rise = 1;
        at->drift_c_per_s = 0;
        break;
    }
}

static void open_door(struct play *play, size_t oven, double share, double open_s) {
    play->ovens[oven].door_open = true;
    play->ovens[oven].door_share = share;
    play->door_shuts_ms[oven] = play->now_ms + (int64_t)(open_s * MS_PER_S);
}

static void happen_to_oven(struct play *play, const struct scene_event *event) {
    struct heat_oven *oven = &play->ovens[event->subject];
    const double *with = event->arguments;

    switch (event->act) {
    case ACT_RAMP: heat_ramp(oven, with[0], with[1], measure(play, event->subject)); break;
    case ACT_HOLD: heat_ramp(oven, with[0], INFINITY, measure(play, event->subject)); break;
    case ACT_OFF: heat_switch_off(oven); break;
    case ACT_DOOR: open_door(play, event->subject, 1, with[0]); break;
    case ACT_DOOR_AJAR: open_door(play, event->subject, with[0], with[1]); break;
    case ACT_ELEMENTS: oven->element_share = with[0]; break;
    case ACT_SUPPLY: oven->supply_share = with[0]; break;
    case ACT_TUNE:
        oven->tuning = (struct heat_tuning){.band_c = with[0], .reset_s = with[1], .derivative_s = with[2]};
        break;
    default: oven->tuning = oven->build.tuning; break;
    }
}

/* As warm as it is, and inside. */
static void move_load(struct play *play, size_t load, size_t to) {
    const size_t from = play->where[load];
    const size_t old_place = play->place[load][from], place = play->place[load][to];
    struct heat_oven *left = &play->ovens[from], *entered = &play->ovens[to];
    const double body_c = left->state.body_c[old_place], probe_c = left->state.probe_c[old_place];

    heat_take_out(left, old_place, left->build.ambient_c, left->loads[old_place].build.lag_s);
    entered->state.body_c[place] = body_c;
    entered->state.probe_c[place] = probe_c;
    heat_put_in(entered, place);
    for (size_t i = 0; i < play->scene->oven_count; i++)
        if (play->plugged[i] == load)
            play->plugged[i] = SCENE_LOADS;
    play->plugged[to] = load;
    play->where[load] = to;
}

static void happen_to_load(struct play *play, const struct scene_event *event) {
    struct heat_oven *oven = &play->ovens[play->where[event->subject]];
    const size_t place = play->place[event->subject][play->where[event->subject]];

    if (event->act == ACT_LOAD_MOVE)
        move_load(play, event->subject, event->oven);
    else if (event->act == ACT_LOAD_WEIGHS)
        heat_weigh(oven, place, event->arguments[0], event->arguments[1]);
    else if (event->act == ACT_LOAD_IN)
        heat_put_in(oven, place);
    else
        heat_take_out(oven, place, event->arguments[0], event->arguments[1]);
}

static void happen(struct play *play, const struct scene_event *event) {
    switch (event->act) {
    case ACT_RAMP:
    case ACT_HOLD:
    case ACT_OFF:
    case ACT_DOOR:
    case ACT_DOOR_AJAR:
    case ACT_ELEMENTS:
    case ACT_SUPPLY:
    case ACT_TUNE:
    case ACT_TUNE_AS_BUILT: happen_to_oven(play, event); break;
    case ACT_LOAD_IN:
    case ACT_LOAD_OUT:
    case ACT_LOAD_WEIGHS:
    case ACT_LOAD_MOVE: happen_to_load(play, event); break;
    case ACT_POWER_OFF:
    case ACT_POWER_ON: play->powered[event->subject] = event->act == ACT_POWER_ON; break;
    case ACT_LINE_VANISH:
    case ACT_LINE_RETURN: play->line_gone[event->subject] = event->act == ACT_LINE_VANISH; break;
    case ACT_LINE_GARBLES: play->garbled[event->subject] = event->arguments[0]; break;
    default: happen_to_sensor(play, event); break;
    }
}

static void happen_until_now(struct play *play) {
    const struct scene *scene = play->scene;

    for (size_t i = 0; i < scene->oven_count; i++)
        if (play->ovens[i].door_open && play->now_ms >= play->door_shuts_ms[i])
            play->ovens[i].door_open = false;
    while (play->next_event < scene->event_count && scene->events[play->next_event].t_ms <= play->now_ms)
        happen(play, &scene->events[play->next_event++]);
}

/* An oven whose regulating controller has no power cannot heat; it goes on where it was when power comes back. */
static bool has_power(const struct play *play, size_t oven) {
    for (size_t i = 0; i < play->scene->controller_count; i++)
        if (play->scene->controllers[i].oven == oven && play->scene->controllers[i].regulates && !play->powered[i])
            return false;
    return true;
}

void play_advance(struct play *play, int64_t t_ms) {
    const struct scene *scene = play->scene;
    const double step_s = (double)scene->step_ms / MS_PER_S;

    happen_until_now(play);
    while (t_ms - play->now_ms >= scene->step_ms) {
        for (size_t i = 0; i < scene->oven_count; i++)
            heat_step(&play->ovens[i], step_s, has_power(play, i) ? measure(play, i) : NAN);
        play->step++;
        play->now_ms += scene->step_ms;
        happen_until_now(play);
    }
}

bool play_line_is_there(const struct play *play, size_t line) {
    return !play->line_gone[line];
}

int64_t play_next_line_change_ms(const struct play *play) {
    const struct scene *scene = play->scene;

    for (size_t i = play->next_event; i < scene->event_count; i++) {
        const int64_t since_ms = scene->events[i].t_ms - scene->start_ms;

        if (scene->events[i].act == ACT_LINE_VANISH || scene->events[i].act == ACT_LINE_RETURN)
            return scene->start_ms + (since_ms + scene->step_ms - 1) / scene->step_ms * scene->step_ms;
    }
    return INT64_MAX;
}

static size_t find_controller(const struct play *play, size_t line, int address) {
    for (size_t i = 0; i < play->scene->controller_count; i++)
        if (play->scene->controllers[i].line == line && play->scene->controllers[i].address == address)
            return i;
    return SCENE_CONTROLLERS;
}

static bool is_here(void *context, int address) {
    const struct on_line *at = context;
    const size_t controller = find_controller(at->play, at->line, address);

    return controller != SCENE_CONTROLLERS && at->play->powered[controller];
}

bool play_is_garbled(const struct play *play, size_t line, uint64_t number) {
    enum { GARBLING = SCENE_SENSORS }; // beside the sensors' own numbers
    const uint64_t drawn = mix(mix(mix(play->scene->seed) ^ (GARBLING + line)) ^ number);

    return spread_evenly(drawn) < play->garbled[line];
}

int64_t play_reply_delay_ms(const struct play *play, size_t line, int address) {
    const size_t controller = find_controller(play, line, address);

    return controller == SCENE_CONTROLLERS ? 0 : play->scene->controllers[controller].reply_delay_ms;
}

/* The register of a controller that covers `number`, or NULL. */
static const struct scene_register *find_register(const struct play *play, size_t controller, int function,
                                                  unsigned number) {
    for (size_t i = 0; i < play->scene->register_count; i++) {
        const struct scene_register *at = &play->scene->registers[i];

        if (at->controller == controller && at->function == function && number >= at->number &&
            number < at->number + scene_count_words(at->encoding))
            return at;
    }
    return NULL;
}

/* Where the thermocouples end, at the oven's side. */
static double find_terminals(const struct play *play, size_t controller) {
    const struct scene_controller *about = &play->scene->controllers[controller];
    const struct heat_oven *oven = &play->ovens[about->oven];
    const double ambient_c = oven->build.ambient_c;

    return ambient_c + about->terminals * (oven->state.chamber_c - ambient_c);
}

static double millivolts(enum thermocouple_type type, double celsius) {
    static const double MC_PER_C = 1000, NV_PER_MV = 1e6;
    int64_t emf_nv;

    return thermocouple_emf(type, llround(celsius * MC_PER_C), &emf_nv) ? (double)emf_nv / NV_PER_MV : NAN;
}

static double celsius_to(const struct play *play, const struct scene_register *at, double celsius) {
    if (at->millivolts && isnan(celsius))
        return celsius;
    if (at->millivolts)
        return millivolts(at->type, celsius) - millivolts(at->type, find_terminals(play, at->controller));
    return at->fahrenheit && at->shows != SHOWS_OUTPUT ? celsius * 9 / 5 + 32 : celsius;
}

static double celsius_from(const struct scene_register *at, double value) {
    return at->fahrenheit ? (value - 32) * 5 / 9 : value;
}

/* A sensor shows its reading in its register's unit; the value of a setpoint and an output likewise. */
static double find_value(const struct play *play, const struct scene_register *at) {
    const size_t oven = play->scene->controllers[at->controller].oven;

    switch (at->shows) {
    case SHOWS_CONTROL: return celsius_to(play, at, play_show_control(play, oven));
    case SHOWS_LOAD: return celsius_to(play, at, play_show_load(play, at->load));
    case SHOWS_PLUG:
        return play->plugged[oven] == SCENE_LOADS ? NAN
                                                  : celsius_to(play, at, play_show_load(play, play->plugged[oven]));
    case SHOWS_TERMINALS: return celsius_to(play, at, find_terminals(play, at->controller));
    case SHOWS_SETPOINT: return celsius_to(play, at, play->ovens[oven].setpoint_c);
    default: return play->ovens[oven].output * FULL_OUTPUT;
    }
}

const struct scene *play_scene(const struct play *play) {
    return play->scene;
}

double play_show_register(const struct play *play, size_t index) {
    return find_value(play, &play->scene->registers[index]);
}

bool play_has_power(const struct play *play, size_t controller) {
    return play->powered[controller];
}

static uint32_t encode_float(double value) {
    const float single = (float)value;
    uint32_t bits;

    memcpy(&bits, &single, sizeof bits);
    return bits;
}

/* A value outside what the encoding holds stays at its end, as a controller's display does. */
static uint32_t encode_integer(const struct scene_register *at, double raw) {
    static const double LEAST[] = {INT16_MIN, 0, INT32_MIN}, MOST[] = {INT16_MAX, UINT16_MAX, INT32_MAX};

    return (uint32_t)(int64_t)round(fmin(MOST[at->encoding], fmax(LEAST[at->encoding], raw)));
}

void play_encode(const struct scene_register *at, double value, uint16_t *words) {
    const double raw = value * pow(10, at->decimals);
    const bool real = at->encoding == SCENE_FLOAT32;
    uint32_t bits;

    if (isnan(value) && !(real && at->open_is_nan))
        bits = real ? encode_float(at->open_value) : (uint32_t)at->open_value;
    else
        bits = real ? encode_float(raw) : encode_integer(at, raw);
    words[0] = (uint16_t)(bits & WORD_MASK);
    if (scene_count_words(at->encoding) == 1)
        return;
    words[at->low_first ? 0 : 1] = (uint16_t)(bits & WORD_MASK);
    words[at->low_first ? 1 : 0] = (uint16_t)(bits >> WORD_BITS);
}

static double decode(const struct scene_register *at, const uint16_t *words) {
    const double scale = pow(10, at->decimals);
    const uint32_t bits = (uint32_t)words[at->low_first ? 1 : 0] << WORD_BITS | words[at->low_first ? 0 : 1];
    float single;

    switch (at->encoding) {
    case SCENE_INT16: return (int16_t)words[0] / scale;
    case SCENE_UINT16: return words[0] / scale;
    case SCENE_INT32: return (int32_t)bits / scale;
    default: memcpy(&single, &bits, sizeof single); return (double)single / scale;
    }
}

static enum server_exception read_registers(void *context, int address, int function, unsigned first,
                                            unsigned count, uint16_t *words) {
    const struct on_line *on = context;
    const size_t controller = find_controller(on->play, on->line, address);
    unsigned done = 0;

    while (done < count) {
        const struct scene_register *at = find_register(on->play, controller, function, first + done);
        uint16_t whole[2];

        if (at == NULL)
            return SERVER_ILLEGAL_ADDRESS;
        play_encode(at, find_value(on->play, at), whole);
        for (unsigned part = first + done - at->number; part < scene_count_words(at->encoding) && done < count;
             part++)
            words[done++] = whole[part];
    }
    return SERVER_OK;
}

static enum server_exception write_registers(void *context, int address, unsigned first, unsigned count,
                                             const uint16_t *words) {
    const struct on_line *on = context;
    const size_t controller = find_controller(on->play, on->line, address);
    const size_t oven = on->play->scene->controllers[controller].oven;
    const struct scene_register *at = find_register(on->play, controller, SCENE_HOLDING, first);
    double setpoint_c;

    if (at == NULL || at->shows != SHOWS_SETPOINT || first != at->number ||
        count != scene_count_words(at->encoding))
        return SERVER_ILLEGAL_ADDRESS;
    setpoint_c = celsius_from(at, decode(at, words));
    if (!isfinite(setpoint_c))
        return SERVER_ILLEGAL_VALUE;
    heat_ramp(&on->play->ovens[oven], setpoint_c, INFINITY, measure(on->play, oven));
    return SERVER_OK;
}

static enum server_exception turn_coil(void *context, int address, unsigned coil, bool on_or_off) {
    const struct on_line *on = context;
    const size_t controller = find_controller(on->play, on->line, address);
    const size_t oven = on->play->scene->controllers[controller].oven;
    struct heat_oven *heated = &on->play->ovens[oven];

    if (coil != HEATING_COIL)
        return SERVER_ILLEGAL_ADDRESS;
    if (!on_or_off)
        heat_switch_off(heated);
    else if (!heated->on)
        heat_ramp(heated, heated->target_c, INFINITY, measure(on->play, oven));
    return SERVER_OK;
}

struct server_device play_device(struct play *play, size_t line) {
    return (struct server_device){.context = &play->on_line[line],
                                  .is_here = is_here,
                                  .read = read_registers,
                                  .write = write_registers,
                                  .turn = turn_coil};
}
