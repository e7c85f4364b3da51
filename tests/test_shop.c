// SPDX-License-Identifier: MIT
/* shop: the virtual ovens against closed forms, their Modbus frames against published ones, the week's story
 * against what it is meant to show. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "shop/example.h"
#include "shop/heat.h"
#include "shop/play.h"
#include "shop/scene.h"
#include "shop/server.h"

enum { S_PER_H = 3600 };
static const int64_t MS_PER_S = 1000, MS_PER_MIN = 60000, MIN_PER_DAY = 1440;
static const int64_t start_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z
static const char week_path[] = "tests/demo/week.shop";

static struct scene *parse_scene(const char *programme) {
    struct fault fault = {0};
    struct scene *scene = example_read_scene(programme, &fault);

    if (scene == NULL)
        print_error("%s\n", fault.text);
    assert_non_null(scene);
    return scene;
}

static struct play *begin(const struct scene *scene) {
    struct fault fault;
    struct play *play = play_open(scene, &fault);

    assert_non_null(play);
    return play;
}

/* ---- frames ---- */

static void crc_agrees_with_published_frames(void **state) {
    static const struct {
        const char *bytes;
        const char *check; // as on the wire, low byte first
    } FRAMES[] = {
        {"0207", "4112"},               // MODBUS over Serial Line V1.02, appendix B, worked trace
        {"313233343536373839", "374B"}, // catalogue check value of CRC-16/MODBUS, 0x4B37
        {"1103006B0003", "7687"},       // request of Application Protocol V1.1b3, 6.3; check in public test suites
        {"110306022B00000064", "C8BA"}, // its response; check in public test suites
        {"110306AE4156524340", "49AD"}, // a teaching example
        {"110400080001", "B298"},       // 6.4
        {"110402000A", "F8F4"},         // its response
        {"110600010003", "9A9B"},       // 6.6
        {"010300000002", "C40B"},       // very common
    };
    uint8_t frame[SERVER_FRAME_BYTES], check[2];

    (void)state;
    for (size_t i = 0; i < sizeof FRAMES / sizeof FRAMES[0]; i++) {
        const size_t length = example_bytes_from_hex(FRAMES[i].bytes, frame);

        example_bytes_from_hex(FRAMES[i].check, check);
        assert_int_equal(server_seal(frame, length), length + 2);
        assert_memory_equal(frame + length, check, 2);
        if (length > 2)
            assert_true(server_is_sealed(frame, length + 2));
        frame[0] ^= 1;
        assert_false(server_is_sealed(frame, length + 2));
    }
}

/* The controller of the specification's examples: registers 108-110 hold 555, 0, 100; input 9 holds 10. */
struct example {
    unsigned written, value, coil;
    bool on;
};

static bool example_is_here(void *context, int address) {
    (void)context;
    return address == 0x11 || address == 0x0A;
}

static enum server_exception example_read(void *context, int address, int function, unsigned first, unsigned count,
                                          uint16_t *words) {
    static const uint16_t HOLDING[] = {555, 0, 100};

    (void)context, (void)address;
    for (unsigned i = 0; i < count; i++)
        if (function == 3 && first + i >= 0x6B && first + i <= 0x6D)
            words[i] = HOLDING[first + i - 0x6B];
        else if (function == 4 && first + i == 8)
            words[i] = 10;
        else
            return SERVER_ILLEGAL_ADDRESS;
    return SERVER_OK;
}

static enum server_exception example_write(void *context, int address, unsigned first, unsigned count,
                                           const uint16_t *words) {
    struct example *example = context;

    (void)address;
    example->written = first;
    example->value = words[count - 1];
    return SERVER_OK;
}

static enum server_exception example_turn(void *context, int address, unsigned coil, bool on) {
    struct example *example = context;

    (void)address;
    example->coil = coil;
    example->on = on;
    return SERVER_OK;
}

/* Both given whole. `reply` "" means silence. */
static void check_answer(struct example *example, const char *request, const char *reply) {
    const struct server_device device = {example, example_is_here, example_read, example_write, example_turn};
    uint8_t frame[SERVER_FRAME_BYTES], got[SERVER_FRAME_BYTES], expected[SERVER_FRAME_BYTES];
    const size_t length = example_bytes_from_hex(request, frame),
                 expected_length = example_bytes_from_hex(reply, expected);

    assert_int_equal(server_answer(&device, frame, length, got), expected_length);
    assert_memory_equal(got, expected, expected_length);
}

static void seal_hex(const char *hex, char *out) {
    uint8_t frame[SERVER_FRAME_BYTES];
    const size_t length = server_seal(frame, example_bytes_from_hex(hex, frame));

    for (size_t i = 0; i < length; i++)
        snprintf(out + 2 * i, 3, "%02X", frame[i]);
}

/* Both given without check. */
static void check_unsealed(struct example *example, const char *request, const char *reply) {
    char sealed[2][2 * SERVER_FRAME_BYTES] = {"", ""};

    seal_hex(request, sealed[0]);
    if (reply[0] != '\0')
        seal_hex(reply, sealed[1]);
    check_answer(example, sealed[0], sealed[1]);
}

/* MODBUS Application Protocol V1.1b3, 6.3 to 6.6 and 7; checks as above, of 83 02 and 81 xx computed. */
static void answers_are_the_published_ones(void **state) {
    struct example example = {0};

    (void)state;
    check_answer(&example, "1103006B00037687", "110306022B00000064C8BA");
    check_answer(&example, "110400080001B298", "110402000AF8F4");
    check_answer(&example, "1106000100039A9B", "1106000100039A9B");
    assert_int_equal(example.written, 1);
    assert_int_equal(example.value, 3);
    check_unsealed(&example, "110300000001", "118302"); // exception 02 to function 03: 11 83 02 C1 34 by pymodbus
}

static void what_cannot_be_answered_gets_the_right_exception_or_silence(void **state) {
    static const char *const EXCEPTIONS[][2] = {
        {"110100000001", "118101"},           // a function it lacks: 01
        {"1103006B0000", "118303"},           // no register: 03
        {"1103006B007E", "118303"},           // 126 registers, one more than the specification's most: 03
        {"1103006D0002", "118302"},           // the second one is not there: 02
        {"110500001234", "118503"},           // neither FF00 nor 0000: 03
        {"1110000000010400010002", "119003"}, // byte count does not fit the count: 03
    };
    struct example example = {0};

    (void)state;
    for (size_t i = 0; i < sizeof EXCEPTIONS / sizeof EXCEPTIONS[0]; i++)
        check_unsealed(&example, EXCEPTIONS[i][0], EXCEPTIONS[i][1]);
    check_answer(&example, "1103006B00037688", ""); // bad check
    check_unsealed(&example, "0103006B0003", "");   // another's address
    check_unsealed(&example, "0006000100FF", "");   // broadcast
    check_unsealed(&example, "1103006B000300", ""); // one byte too many
    assert_int_equal(example.written, 0);
}

static void writes_take_effect(void **state) {
    struct example example = {0};

    (void)state;
    check_unsealed(&example, "1105000AFF00", "1105000AFF00");
    assert_int_equal(example.coil, 10);
    assert_true(example.on);
    check_unsealed(&example, "110F001300030105", "110F00130003"); // on, off, on
    assert_int_equal(example.coil, 0x15);
    assert_true(example.on);
    check_unsealed(&example, "1110006B0001020F0D", "1110006B0001");
    assert_int_equal(example.written, 0x6B);
    assert_int_equal(example.value, 0x0F0D);
}

static void only_reads_pass_as_reads(void **state) {
    static const struct {
        const char *request;
        bool read;
    } REQUESTS[] = {
        {"1103006B0003", true},  {"110400080001", true},    {"11030000007D", true},  {"11030000007E", false},
        {"110300000000", false}, {"1103006B000300", false}, {"110600010003", false}, {"110100000001", false},
    };
    uint8_t frame[SERVER_FRAME_BYTES];

    (void)state;
    for (size_t i = 0; i < sizeof REQUESTS / sizeof REQUESTS[0]; i++) {
        const size_t length = server_seal(frame, example_bytes_from_hex(REQUESTS[i].request, frame));

        assert_int_equal(server_is_read(frame, length), REQUESTS[i].read);
        frame[length - 1] ^= 1;
        assert_false(server_is_read(frame, length));
    }
}

static void registers_show_values_as_described(void **state) {
    static const struct {
        struct scene_register at;
        double value;
        uint16_t words[2];
    } CASES[] = {
        {{.encoding = SCENE_INT16, .decimals = 1}, 805.25, {8053}},
        {{.encoding = SCENE_INT16, .decimals = 1}, -12.3, {0xFF85}}, // two's complement of 123
        {{.encoding = SCENE_INT16, .decimals = 2}, 805, {0x7FFF}},   // does not fit: stays at the end
        {{.encoding = SCENE_INT16, .open_value = 32767}, NAN, {32767}},
        {{.encoding = SCENE_UINT16}, -3, {0}},
        {{.encoding = SCENE_INT32, .decimals = 3}, 805.123, {0x000C, 0x4903}}, // 805123
        {{.encoding = SCENE_INT32, .decimals = 3, .low_first = true}, 805.123, {0x4903, 0x000C}},
        {{.encoding = SCENE_FLOAT32}, 1.0, {0x3F80, 0}}, // IEEE 754
        {{.encoding = SCENE_FLOAT32}, -118.625, {0xC2ED, 0x4000}},
        {{.encoding = SCENE_FLOAT32, .low_first = true}, 1.0, {0, 0x3F80}},
        {{.encoding = SCENE_FLOAT32, .open_is_nan = true}, NAN, {0x7FC0, 0}},
        {{.encoding = SCENE_FLOAT32, .open_value = -1}, NAN, {0xBF80, 0}},
    };
    uint16_t words[2];

    (void)state;
    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0]; i++) {
        play_encode(&CASES[i].at, CASES[i].value, words);
        assert_memory_equal(words, CASES[i].words, scene_count_words(CASES[i].at.encoding) * sizeof words[0]);
    }
}

/* ---- physics ---- */

static const struct heat_build plain_oven = {
    .ambient_c = 20, .power_w = 2000, .capacity_j_per_k = 4000, .loss_w_per_k = 2, .tuning = {.band_c = 10}};

static void step_for(struct heat_oven *oven, int seconds, double measured_c) {
    for (int t = 0; t < seconds; t++)
        heat_step(oven, 1, measured_c);
}

/* T = Ta + (T0 - Ta) exp(-t/tau), tau = heat capacity / loss. */
static void a_dead_oven_cools_as_newton_says(void **state) {
    struct heat_oven oven;

    (void)state;
    heat_start(&oven, &plain_oven);
    oven.state.chamber_c = 800;
    step_for(&oven, 3000, 20);
    assert_true(fabs(oven.state.chamber_c - (20 + 780 * exp(-3000.0 / 2000.0))) < 1e-6);
    oven.door_open = true;
    oven.build.door_w_per_k = 6;
    oven.state.chamber_c = 800;
    step_for(&oven, 100, 20);
    assert_true(fabs(oven.state.chamber_c - (20 + 780 * exp(-100.0 / 500.0))) < 1e-6);
}

/* Radiation alone: dT/dt = -(s A/C)(T^4 - Ta^4), solved by t = C/(s A) (F(T) - F(T0)) with
 * F(T) = (ln((T+Ta)/(T-Ta)) + 2 atan(T/Ta)) / (4 Ta^3). */
static void a_radiating_oven_cools_in_the_time_of_the_closed_form(void **state) {
    const double stefan_boltzmann = 5.670374419e-8; // CODATA 2018
    struct heat_oven oven;
    double ambient_k, from_k, to_k, from, to, expected_s;

    (void)state;
    heat_start(&oven, &plain_oven);
    oven.build.loss_w_per_k = 0;
    oven.build.radiating_m2 = 0.01;
    oven.state.chamber_c = 1000;
    step_for(&oven, 2000, 20);
    ambient_k = 20 + 273.15, from_k = 1000 + 273.15, to_k = oven.state.chamber_c + 273.15;
    from =
        (log((from_k + ambient_k) / (from_k - ambient_k)) + 2 * atan(from_k / ambient_k)) / (4 * pow(ambient_k, 3));
    to = (log((to_k + ambient_k) / (to_k - ambient_k)) + 2 * atan(to_k / ambient_k)) / (4 * pow(ambient_k, 3));
    expected_s = 4000 / (stefan_boltzmann * 0.01) * (to - from);
    assert_true(fabs(expected_s - 2000) < 1e-4 * 2000);
}

static void at_rest_the_power_equals_the_losses(void **state) {
    struct heat_oven oven;
    const struct heat_load_build part = {.capacity_j_per_k = 300, .lag_s = 200, .exposure = 0.99};
    size_t load;

    (void)state;
    heat_start(&oven, &plain_oven);
    oven.build.radiating_m2 = 0.002;
    oven.build.element_lag_s = 10;
    oven.tuning.reset_s = 300;
    load = heat_add_load(&oven, &part);
    heat_put_in(&oven, load);
    heat_ramp(&oven, 600, 600.0 / S_PER_H, 20);
    for (int t = 0; t < 6 * S_PER_H; t++)
        heat_step(&oven, 1, oven.state.sensor_c);
    assert_true(fabs(oven.state.chamber_c - 600) < 0.01); // the integral leaves no error
    assert_true(fabs(oven.output * 2000 - heat_loss(&oven, oven.state.chamber_c)) < 0.1);
    assert_true(fabs(oven.state.probe_c[load] - (20 + 0.99 * 580)) < 0.01); // its place in the oven
    /* 2 W/K x 580 K and 0.002 m2 x s (873.15^4 - 293.15^4), worked out by hand: 1160 W + 65.08 W. */
    assert_true(fabs(heat_loss(&oven, 600) - 1225.08) < 0.01);
}

/* Behind a steady ramp a first-order lag trails by rate x lag, and two in a row by the sum. */
static void a_load_trails_a_ramp_by_its_lags(void **state) {
    const struct heat_load_build part = {.capacity_j_per_k = 1, .lag_s = 240, .probe_lag_s = 15, .exposure = 1};
    struct heat_oven oven;
    const double rate = 600.0 / S_PER_H;

    (void)state;
    heat_start(&oven, &plain_oven);
    oven.build.loss_w_per_k = 0; // so that constant power is a steady ramp
    oven.build.power_w = rate * (4000 + 1);
    heat_put_in(&oven, heat_add_load(&oven, &part));
    heat_ramp(&oven, 5000, INFINITY, 20); // full output throughout
    step_for(&oven, 3 * S_PER_H, 20);
    assert_true(fabs(oven.state.chamber_c - oven.state.body_c[0] - rate * 240) < 1e-3);
    assert_true(fabs(oven.state.body_c[0] - oven.state.probe_c[0] - rate * 15) < 1e-3);
}

/* Without losses the heat of chamber and load together stays what it was. */
static void a_cold_load_takes_its_heat_from_the_chamber(void **state) {
    const struct heat_load_build part = {.capacity_j_per_k = 1000, .lag_s = 100, .exposure = 1};
    struct heat_oven oven;

    (void)state;
    heat_start(&oven, &plain_oven);
    oven.build.loss_w_per_k = 0;
    heat_put_in(&oven, heat_add_load(&oven, &part));
    oven.state.chamber_c = 520;
    step_for(&oven, 2000, 20);
    assert_true(fabs(oven.state.chamber_c - 420) < 1e-6); // (4000 x 520 + 1000 x 20) / 5000
    assert_true(fabs(oven.state.body_c[0] - 420) < 1e-6);
    heat_take_out(&oven, 0, 60, 10);
    step_for(&oven, 20, 20);
    assert_true(fabs(oven.state.body_c[0] - (60 + 360 * exp(-2))) < 1e-2);
    assert_true(fabs(oven.state.chamber_c - 420) < 1e-6);
}

static void an_open_control_sensor_turns_the_heat_off(void **state) {
    struct heat_oven oven;

    (void)state;
    heat_start(&oven, &plain_oven);
    oven.tuning.reset_s = 300;
    heat_ramp(&oven, 500, INFINITY, 20);
    step_for(&oven, 10, 20);
    assert_true(oven.output == 1);
    heat_step(&oven, 1, NAN);
    assert_true(oven.output == 0);
    heat_step(&oven, 1, 20); // and leaves no trace when it closes again
    assert_true(oven.output == 1);
}

/* ---- play ---- */

static double control_at(struct play *play, int64_t t_ms) {
    play_advance(play, t_ms);
    return play_show_control(play, 0);
}

static void values_do_not_depend_on_who_asks_how_often(void **state) {
    struct scene *scene = parse_scene("1 = 2026-11-16T07:00:10Z oven kiln ramps to 300 C at 600 C/h\n"
                                      "2 = 2026-11-16T07:20:00Z door of kiln open for 30 s\n");
    struct play *often = begin(scene), *once = begin(scene), *other;
    double shown, differs;

    (void)state;
    for (int64_t t = 0; t <= 30 * MS_PER_MIN; t += 130)
        control_at(often, start_ms + t);
    play_advance(often, start_ms + 30 * MS_PER_MIN);
    play_advance(once, start_ms + 30 * MS_PER_MIN + 999);
    assert_memory_equal(&play_oven(often, 0)->state, &play_oven(once, 0)->state, sizeof(struct heat_state));
    assert_true(play_show_control(often, 0) == play_show_control(once, 0));
    assert_true(play_show_load(often, 0) == play_show_load(once, 0));
    play_advance(once, start_ms); // a time already passed
    assert_true(play_show_control(often, 0) == play_show_control(once, 0));
    shown = play_show_control(once, 0);
    scene->seed = 2;
    other = begin(scene);
    differs = control_at(other, start_ms + 30 * MS_PER_MIN) - shown;
    assert_true(differs != 0 && fabs(differs) < 2);
    play_close(often);
    play_close(once);
    play_close(other);
    scene_free(scene);
}

static void noise_has_the_deviation_asked_for(void **state) {
    enum { COUNT = 20000 };
    struct scene *scene = parse_scene("1 = 2026-11-17T07:00:00Z sensor kiln noise 0.5 C\n");
    struct play *play = begin(scene);
    double sum = 0, squares = 0, products = 0, last = 0;

    (void)state;
    for (int64_t i = 0; i < COUNT; i++) {
        const double error = control_at(play, start_ms + i * MS_PER_S) - 21;

        sum += error;
        squares += error * error;
        products += error * last;
        last = error;
    }
    /* Five standard errors: 0.2/sqrt(n) of the mean, 0.2/sqrt(2n) of the deviation, 1/sqrt(n) of a correlation. */
    assert_true(fabs(sum / COUNT) < 5 * 0.2 / sqrt(COUNT));
    assert_true(fabs(sqrt(squares / COUNT) - 0.2) < 5 * 0.2 / sqrt(2 * COUNT));
    assert_true(fabs(products / squares) < 5 / sqrt(COUNT));
    assert_true(fabs(control_at(play, start_ms + INT64_C(86400000) + MS_PER_S) - 21) < 5 * 0.5);
    play_close(play);
    scene_free(scene);
}

static void faults_come_and_go(void **state) {
    struct scene *scene = parse_scene("1 = 2026-11-16T07:01:00Z sensor kiln noise 0 C\n"
                                      "2 = 2026-11-16T07:01:00Z sensor part opens\n"
                                      "3 = 2026-11-16T07:02:00Z sensor part closes\n"
                                      "4 = 2026-11-16T07:03:00Z sensor kiln reads low by 4 C\n"
                                      "5 = 2026-11-16T07:04:00Z sensor kiln drifts high by 60 C/h\n"
                                      "6 = 2026-11-16T07:10:00Z sensor kiln drifts low by 30 C/h\n"
                                      "7 = 2026-11-16T07:14:00Z sensor kiln reads true\n"
                                      "8 = 2026-11-16T07:15:00Z controller kiln power off\n"
                                      "9 = 2026-11-16T07:16:00Z controller kiln power on\n"
                                      "10 = 2026-11-16T07:17:00Z line bench vanishes\n"
                                      "11 = 2026-11-16T07:18:00Z line bench returns\n");
    struct play *play = begin(scene);
    const struct server_device device = play_device(play, 0);
    uint16_t words[2];

    (void)state;
    play_advance(play, start_ms + 1 * MS_PER_MIN);
    assert_true(isnan(play_show_load(play, 0)));
    assert_int_equal(device.read(device.context, 17, 4, 8, 2, words), SERVER_OK);
    assert_int_equal(words[0], 0x7FC0); // a NaN
    play_advance(play, start_ms + 2 * MS_PER_MIN);
    assert_true(fabs(play_show_load(play, 0) - 21) < 1e-9);
    assert_true(fabs(control_at(play, start_ms + 3 * MS_PER_MIN - 1) - 21) < 1e-9);
    assert_true(fabs(control_at(play, start_ms + 3 * MS_PER_MIN) - 17) < 1e-9);
    assert_true(fabs(control_at(play, start_ms + 10 * MS_PER_MIN) - 23) < 1e-9); // 17 + 6 min x 1 C/min
    assert_true(fabs(control_at(play, start_ms + 13 * MS_PER_MIN) - 21.5) < 1e-9);
    assert_true(fabs(control_at(play, start_ms + 14 * MS_PER_MIN) - 21) < 1e-9);
    play_advance(play, start_ms + 15 * MS_PER_MIN);
    assert_false(device.is_here(device.context, 17));
    play_advance(play, start_ms + 16 * MS_PER_MIN);
    assert_true(device.is_here(device.context, 17));
    assert_int_equal(play_next_line_change_ms(play), start_ms + 17 * MS_PER_MIN);
    scene->step_ms = 700;
    assert_int_equal(play_next_line_change_ms(play), start_ms + INT64_C(1020600)); // the next whole step
    scene->step_ms = MS_PER_S;
    play_advance(play, start_ms + 17 * MS_PER_MIN);
    assert_false(play_line_is_there(play, 0));
    play_advance(play, start_ms + 18 * MS_PER_MIN);
    assert_true(play_line_is_there(play, 0));
    assert_int_equal(play_next_line_change_ms(play), INT64_MAX);
    play_close(play);
    scene_free(scene);
}

/* A part keeps its warmth when it moves, cools in the colder place as its lag says, and is seen where it is plugged
 * in. */
static void a_part_moves_with_its_thermocouple(void **state) {
    char text[EXAMPLE_BYTES];
    struct fault fault = {0};
    struct scene *scene;
    struct play *play;
    struct server_device device;
    uint16_t at_home[1], away[1];
    double warm_c;

    (void)state;
    snprintf(text, sizeof text,
             "%s1 = 2026-11-16T07:00:00Z load part moves to kiln\n"
             "2 = 2026-11-16T07:00:00Z oven kiln holds 400 C\n"
             "3 = 2026-11-16T08:00:00Z load part moves to freezer\n"
             "[oven freezer]\nambient = -80 C\npower = 0 W\nheat_capacity = 10000 kJ/K\nloss = 10 W/K\nband = 1 C\n"
             "[controller freezer]\nline = bench\naddress = 18\noven = freezer\n"
             "[register home plug]\ncontroller = kiln\nshows = plug\nnumber = 5\nopen_value = 32767\n"
             "[register away plug]\ncontroller = freezer\nshows = plug\nnumber = 5\nopen_value = 32767\n",
             example_text);
    for (char *at = strstr(text, " plug]"); at != NULL; at = strstr(text, " plug]"))
        *at = '-'; // names are one word
    scene = scene_parse(text, strlen(text), "test", &fault);
    if (scene == NULL)
        fail_msg("%s", fault.text);
    play = begin(scene);
    device = play_device(play, 0);
    play_advance(play, start_ms + 60 * MS_PER_MIN - MS_PER_S);
    warm_c = play_show_load(play, 0);
    assert_true(fabs(warm_c - 400) < 1);
    assert_int_equal(device.read(device.context, 17, 3, 5, 1, at_home), SERVER_OK);
    assert_int_equal(device.read(device.context, 18, 3, 5, 1, away), SERVER_OK);
    assert_int_equal(at_home[0], (uint16_t)lround(warm_c));
    assert_int_equal(away[0], 32767);
    play_advance(play, start_ms + 60 * MS_PER_MIN);
    assert_true(fabs(play_show_load(play, 0) - warm_c) < 0.1);
    assert_int_equal(device.read(device.context, 17, 3, 5, 1, at_home), SERVER_OK);
    assert_int_equal(at_home[0], 32767);
    play_advance(play, start_ms + 63 * MS_PER_MIN); // one lag: (400 + 80) / e - 80 = 96.6
    assert_true(fabs(play_show_load(play, 0) - (-80 + 480 * exp(-1))) < 0.5);
    assert_int_equal(device.read(device.context, 18, 3, 5, 1, away), SERVER_OK);
    assert_int_equal((int16_t)away[0], (int16_t)lround(play_show_load(play, 0)));
    play_close(play);
    scene_free(scene);
}

static void a_controller_without_power_does_not_heat(void **state) {
    struct scene *scene = parse_scene("1 = 2026-11-16T07:00:00Z oven kiln holds 500 C\n"
                                      "2 = 2026-11-16T07:01:00Z controller kiln power off\n"
                                      "3 = 2026-11-16T07:02:00Z controller kiln power on\n"
                                      "4 = 2026-11-16T07:03:00Z oven kiln off\n");
    static const double EXPECTED[] = {1, 0, 1, 0}; // half a minute after each
    struct play *play = begin(scene), *shown;

    (void)state;
    for (int i = 0; i < 4; i++) {
        play_advance(play, start_ms + i * MS_PER_MIN + 30 * MS_PER_S);
        assert_true(play_oven(play, 0)->output == EXPECTED[i]);
    }
    scene->controllers[0].regulates = false; // one that only shows has no say
    shown = begin(scene);
    play_advance(shown, start_ms + MS_PER_MIN + 30 * MS_PER_S);
    assert_true(play_oven(shown, 0)->output == 1);
    play_close(play);
    play_close(shown);
    scene_free(scene);
}

/* ---- the week ---- */

struct soak {
    int64_t begins_ms; // both loads within 5 C below 805 C
    int64_t ends_ms;
    double peak_c; // of a load
    double control_peak_c;
    double spread_c;   // widest while within
    int64_t opened_ms; // a load sensor opened, 0 if none did
};

static void watch_soak(struct soak *soak, const struct play *play, int64_t t_ms) {
    const double front = play_show_load(play, 0), back = play_show_load(play, 1);
    const double coldest = fmin(front, back); // of those that are not open

    soak->peak_c = fmax(soak->peak_c, fmax(front, back));
    soak->control_peak_c = fmax(soak->control_peak_c, play_show_control(play, 0));
    if (soak->begins_ms == 0 && coldest >= 800)
        soak->begins_ms = t_ms;
    if (coldest >= 800)
        soak->ends_ms = t_ms;
    if (coldest >= 800 && !isnan(front) && !isnan(back))
        soak->spread_c = fmax(soak->spread_c, fabs(front - back));
    if (soak->opened_ms == 0 && (isnan(front) || isnan(back)))
        soak->opened_ms = t_ms;
}

static void the_week_tells_its_story(void **state) {
    enum { DAYS = 4, MONDAY = 0, TUESDAY, WEDNESDAY, THURSDAY };
    struct fault fault = {0};
    struct scene *scene = scene_read(week_path, &fault);
    struct play *play;
    struct soak days[DAYS] = {0};
    double minutes[DAYS];

    (void)state;
    if (scene == NULL) {
        fail_msg("%s", fault.text);
        return;
    }
    play = begin(scene);
    for (int day = 0; day < DAYS; day++) {
        for (int64_t t = (day * INT64_C(24) + 1) * S_PER_H; t < (day * INT64_C(24) + 3) * S_PER_H; t++) {
            play_advance(play, scene->start_ms + t * MS_PER_S);
            watch_soak(&days[day], play, scene->start_ms + t * MS_PER_S);
        }
        minutes[day] = (double)(days[day].ends_ms - days[day].begins_ms) / (double)MS_PER_MIN;
        assert_true(days[day].spread_c < 6);
    }
    assert_true(minutes[MONDAY] > 20 && minutes[MONDAY] < 23);
    assert_true(days[MONDAY].peak_c < 810 && days[MONDAY].control_peak_c < 810);
    assert_int_equal(days[MONDAY].opened_ms, 0);
    assert_true(minutes[TUESDAY] > 9 && minutes[TUESDAY] < 12);
    assert_true(days[WEDNESDAY].peak_c > 821 && days[WEDNESDAY].peak_c < 825);
    assert_true(minutes[WEDNESDAY] > 20);
    assert_in_range(days[THURSDAY].opened_ms - days[THURSDAY].begins_ms, 4 * MS_PER_MIN, 7 * MS_PER_MIN);
    assert_true(minutes[THURSDAY] > 20);
    play_close(play);
    scene_free(scene);
}

/* Two hours at 190 C, an hour or two after hardening, every day of the four. */
static void every_batch_is_tempered(void **state) {
    struct fault fault;
    struct scene *scene = scene_read(week_path, &fault);
    struct play *play = begin(scene);
    int minutes[4] = {0};

    (void)state;
    for (int64_t minute = 0; minute < 4 * MIN_PER_DAY; minute++) {
        play_advance(play, scene->start_ms + minute * MS_PER_MIN);
        minutes[minute / MIN_PER_DAY] += fabs(play_show_load(play, 2) - 190) < 5;
    }
    for (int day = 0; day < 4; day++)
        assert_in_range(minutes[day], 120, 140);
    play_close(play);
    scene_free(scene);
}

/* ---- the scenario file ---- */

static void a_bad_scenario_is_refused_with_its_line(void **state) {
    static const struct {
        const char *text;
        const char *says;
    } CASES[] = {
        {"", "no [clock] section"},
        {"[clock]\n", "test:1: [clock ] has no 'start'"},
        {"[clock]\nstart = 2026-11-16\nstep = 2 s\n", "test:3: step"},
        {"[clock]\nstart = 2026-11-16\n[kiln a]\n", "test:3: [kiln] is unknown"},
        {"[clock]\nstart = 2026-11-16\nsped = 1\n", "test:3: unknown key 'sped'"},
        {"[clock]\nstart = 2026-11-16\n[oven a]\npower = 3200\n", "test:4: power: '3200' is not an amount in W"},
        {"[clock]\nstart = 2026-11-16\n[oven a]\npower = 3,2 W\n", "test:4: power"},
        {"[clock]\nstart = 2026-11-16\n[oven a]\npower = 1 W\nheat_capacity = 1 kJ/K\nloss = 1 W/K\n",
         "has no 'band'"},
        {"[clock]\nstart = 2026-11-16\n[oven a]\nband = 1 C\npower = 1 W\nheat_capacity = 1 kJ/K\nloss = 1 W/K\n"
         "sensor_lag = 500 ms\n",
         "test:8: sensor_lag is 0.5 s"},
        {"[clock]\nstart = 2026-11-16\n[load a]\noven = b\n", "test:4: oven: 'b' is unknown"},
        {"[clock]\nstart = 2026-11-16\n[line a b]\nlink = x\n", "test:3: 'a b' is not a name"},
        {"[clock]\nstart = 2026-11-16\n[line a]\nlink = x\n[line b]\nlink = y\n[programme p]\n"
         "1 = 2026-11-16 line c vanishes\n",
         "test:8: 'c' is unknown: expected the name of a line"},
        {"[clock]\nstart = 2026-11-16\n[line a]\nlink = x\n[programme p]\n1 = 2026-11-16 line a explodes\n",
         "test:6: '2026-11-16 line a explodes' is not understood"},
        {"[clock]\nstart = 2026-11-16\n[line a]\nlink = x\n[programme p]\n1 = 2026-11-15 line a returns\n",
         "test:6: the time is before"},
        {"[clock]\nstart = 2026-11-16\n[line a]\nlink = x\n[programme p]\n2 = 2026-11-16 line a returns\n",
         "unknown key '2'"},
        {"[clock]\nstart = 2026-11-16\n[oven a]\npower = 1 W\nheat_capacity = 1 kJ/K\nloss = 1 W/K\nband = 1 C\n"
         "[load l]\noven = a\nheat_capacity = 1 J/K\nlag = 1 min\n[programme p]\n1 = 2026-11-16 load l moves to "
         "b\n",
         "test:13: 'b' is unknown: expected the name of a oven"},
    };

    (void)state;
    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0]; i++) {
        struct fault fault = {0};

        assert_null(scene_parse(CASES[i].text, strlen(CASES[i].text), "test", &fault));
        if (strstr(fault.text, CASES[i].says) == NULL)
            fail_msg("'%s' does not say '%s'", fault.text, CASES[i].says);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(crc_agrees_with_published_frames),
        cmocka_unit_test(answers_are_the_published_ones),
        cmocka_unit_test(what_cannot_be_answered_gets_the_right_exception_or_silence),
        cmocka_unit_test(writes_take_effect),
        cmocka_unit_test(only_reads_pass_as_reads),
        cmocka_unit_test(registers_show_values_as_described),
        cmocka_unit_test(a_dead_oven_cools_as_newton_says),
        cmocka_unit_test(a_radiating_oven_cools_in_the_time_of_the_closed_form),
        cmocka_unit_test(at_rest_the_power_equals_the_losses),
        cmocka_unit_test(a_load_trails_a_ramp_by_its_lags),
        cmocka_unit_test(a_cold_load_takes_its_heat_from_the_chamber),
        cmocka_unit_test(an_open_control_sensor_turns_the_heat_off),
        cmocka_unit_test(values_do_not_depend_on_who_asks_how_often),
        cmocka_unit_test(noise_has_the_deviation_asked_for),
        cmocka_unit_test(faults_come_and_go),
        cmocka_unit_test(a_part_moves_with_its_thermocouple),
        cmocka_unit_test(a_controller_without_power_does_not_heat),
        cmocka_unit_test(the_week_tells_its_story),
        cmocka_unit_test(every_batch_is_tempered),
        cmocka_unit_test(a_bad_scenario_is_refused_with_its_line),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
