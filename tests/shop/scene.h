// SPDX-License-Identifier: MIT
/* scene: the scenario file of the virtual shop. A strict keyfile; every name is one word.
 *
 * [clock]
 *   start       time the play begins, e.g. 2026-11-16T07:00:00Z
 *   step        length of one step of the physics, 100 ms .. 1 s (1 s). Values change at whole steps after
 *               `start` and at no other time, so that they do not depend on when somebody asks
 *   seed        whole number from which all noise follows (1)
 *
 * [line NAME]   a pseudo-terminal
 *   link        path of the symbolic link to its slave side; a relative one is in the shop's --dir
 *
 * [oven NAME]   see heat.h for how the parts hang together
 *   ambient         temperature around it (21 C)
 *   power           of the elements, e.g. 3200 W
 *   heat_capacity   of chamber and lining, e.g. 9 kJ/K
 *   loss            through the walls, e.g. 1.1 W/K
 *   radiation       equivalent black area that sees the room, e.g. 25 cm2 (0 cm2)
 *   door_loss       added while the door is open (0 W/K)
 *   element_lag     from output to heat (0 s); lags are 0 or at least one step
 *   sensor_lag      from chamber to control sensor (0 s)
 *   band, reset, derivative   the controller's proportional band (a difference), integral and derivative
 *                             times (0 s: none)
 *   noise           standard deviation of the control sensor's noise (0 C)
 *
 * [load NAME]   a part of a charge with one thermocouple in it; outside and at ambient at first
 *   oven            where it goes
 *   heat_capacity   e.g. 300 J/K
 *   lag             behind the chamber
 *   sensor_lag      of the thermocouple behind the load (0 s)
 *   exposure        part of the chamber's rise above ambient that reaches its place (100 %)
 *   noise           as above (0 C)
 *
 * [controller NAME]   an instrument
 *   speaks          modbus-rtu, modbus-ascii, text-answers or text-lines (modbus-rtu). All on one line speak the
 *                   same, and a text instrument is alone on its line
 *   line, address   where it answers; 1 .. 247. Text has no address
 *   query           the line that text-answers waits for, to answer with a line of its values; needed there
 *   every           from one line of text-lines to the next (1 s); at least one step
 *   oven            whose values it shows
 *   regulates       yes: the oven heats only while this controller is powered; no: it only shows (yes)
 *   terminals       part of the chamber's rise above ambient that its terminals get (0 %)
 *   reply_delay     from request to reply (0 s). On a simulated clock each delayed reply costs real time
 * Coil 0 of a controller is its heating switch: writing to it turns the heat off, or on at the setpoint.
 *
 * [register NAME]
 *   controller      whose
 *   shows           control, setpoint, output (per cent), the name of a load, plug: the thermocouple that is
 *                   plugged in at this oven, open while there is none, or terminals: where the thermocouples end
 *   function        3 (holding) or 4 (input) (3)
 *   number          as on the wire, from 0
 *   encoding        int16, uint16, int32 or float32 (int16)
 *   word_order      high-first or low-first (high-first), of the 32-bit encodings
 *   decimals        the value times 10^decimals is sent, 0 .. 3 (0)
 *   unit            C, F or mV (C): mV is what the thermocouple of a sensor gives at the terminals, not compensated
 *   type            its letter, with mV
 *   open_value      whole number sent, as it is, for an open sensor; or nan with float32. Needed where a
 *                   sensor is shown
 * Of a text instrument a register has only controller, shows, decimals, unit and type: its line has one value for
 * each, in the order of the file, with commas between, and OPEN for an open sensor. Lines end in CR LF. A setpoint
 * with function 3 can be written to, as on a real controller.
 *
 * [programme NAME]    what happens, in lines numbered 1, 2, 3 ... in order of time
 *   1 = 2026-11-16T07:05:00Z oven hardening ramps to 805 C at 600 C/h
 * After the time comes one of
 *   oven O ramps to TEMPERATURE at RATE       begins at the measured value if it was off
 *   oven O holds TEMPERATURE
 *   oven O off
 *   door of O open for DURATION
 *   door of O open by SHARE for DURATION      ajar: that share of the loss, e.g. 20 %
 *   elements of O at SHARE                    some are burnt out: what the others give of the whole
 *   supply of O at SHARE                      of the voltage; power goes with its square. 0 %: no power for the
 *                                             elements; the controller lives on
 *   oven O tuned to band DIFFERENCE reset DURATION derivative DURATION
 *   oven O tuned as built
 *   load L in
 *   load L out to TEMPERATURE with lag DURATION     oil, air: what it now cools in, and how fast
 *   load L weighs SHARE with surface SHARE    of what it was: a full tray, 300 % and 150 %. Its lag changes with
 *                                             mass by surface
 *   load L moves to O                         is put into that oven, and its thermocouple plugged in there, until
 *                                             it moves on or another load moves there
 *   sensor S opens | closes
 *   sensor S reads high by DIFFERENCE | reads low by DIFFERENCE | drifts high by RATE | drifts low by RATE
 *   sensor S gets SHARE of the rise           pulled out of its place: of its rise above ambient
 *   sensor S reads true                       ends the five above
 *   sensor S noise DIFFERENCE
 *   controller C power off | power on
 *   line L vanishes | returns
 *   line L garbles SHARE                      of the replies: one byte of each is another one
 * where S is an oven (its control sensor) or a load (its thermocouple).
 */
#ifndef SHOP_SCENE_H
#define SHOP_SCENE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "heat.h"
#include "soakledger/fault.h"
#include "soakledger/thermocouple.h"

enum {
    SCENE_NAME_BYTES = 32,
    SCENE_PATH_BYTES = 104,
    SCENE_LINES = 8,
    SCENE_OVENS = 8,
    SCENE_LOADS = 32,
    SCENE_CONTROLLERS = 32,
    SCENE_REGISTERS = 128,
    SCENE_EVENTS = 16384, // a month of eight ovens
    SCENE_ARGUMENTS = 3,
};

/* Each begins with its name. */
struct scene_line {
    char name[SCENE_NAME_BYTES];
    char link[SCENE_PATH_BYTES];
};

struct scene_oven {
    char name[SCENE_NAME_BYTES];
    struct heat_build build;
    double noise_c;
};

struct scene_load {
    char name[SCENE_NAME_BYTES];
    size_t oven;
    struct heat_load_build build;
    double noise_c;
};

enum scene_speech { SPEAKS_RTU, SPEAKS_ASCII, SPEAKS_ANSWERS, SPEAKS_LINES };

struct scene_controller {
    char name[SCENE_NAME_BYTES];
    enum scene_speech speaks;
    char query[SCENE_PATH_BYTES];
    int64_t every_ms;
    size_t line;
    int address;
    size_t oven;
    bool regulates;
    double terminals;
    int64_t reply_delay_ms;
};

enum scene_shows { SHOWS_CONTROL, SHOWS_SETPOINT, SHOWS_OUTPUT, SHOWS_PLUG, SHOWS_TERMINALS, SHOWS_LOAD };
enum { SCENE_HOLDING = 3, SCENE_INPUT = 4 }; // functions that read
enum scene_encoding { SCENE_INT16, SCENE_UINT16, SCENE_INT32, SCENE_FLOAT32 };

struct scene_register {
    size_t controller;
    enum scene_shows shows;
    size_t load; // with SHOWS_LOAD
    int function;
    unsigned number;
    enum scene_encoding encoding;
    bool low_first;
    int decimals;
    bool fahrenheit;
    bool millivolts;
    enum thermocouple_type type; // with millivolts
    bool open_is_nan;
    int32_t open_value;
};

enum scene_act {
    ACT_RAMP,
    ACT_HOLD,
    ACT_OFF,
    ACT_DOOR,
    ACT_TUNE,
    ACT_TUNE_AS_BUILT,
    ACT_LOAD_IN,
    ACT_LOAD_OUT,
    ACT_LOAD_MOVE,
    ACT_SENSOR_OPEN,
    ACT_SENSOR_CLOSE,
    ACT_SENSOR_HIGH,
    ACT_SENSOR_LOW,
    ACT_SENSOR_DRIFT_HIGH,
    ACT_SENSOR_DRIFT_LOW,
    ACT_SENSOR_TRUE,
    ACT_SENSOR_NOISE,
    ACT_POWER_OFF,
    ACT_POWER_ON,
    ACT_LINE_VANISH,
    ACT_LINE_RETURN,
    ACT_DOOR_AJAR,
    ACT_ELEMENTS,
    ACT_SUPPLY,
    ACT_LOAD_WEIGHS,
    ACT_SENSOR_RISE,
    ACT_LINE_GARBLES,
};

struct scene_event {
    int64_t t_ms;
    enum scene_act act;
    size_t subject; // index of the oven, load, controller or line; of a sensor see scene_sensor_*
    size_t oven;    // with ACT_LOAD_MOVE: where to
    double arguments[SCENE_ARGUMENTS]; // in the order of the sentence: °C, K, s, K/s, shares of 1
};

struct scene {
    int64_t start_ms;
    int64_t step_ms;
    uint64_t seed;
    size_t line_count, oven_count, load_count, controller_count, register_count, event_count;
    struct scene_line lines[SCENE_LINES];
    struct scene_oven ovens[SCENE_OVENS];
    struct scene_load loads[SCENE_LOADS];
    struct scene_controller controllers[SCENE_CONTROLLERS];
    struct scene_register registers[SCENE_REGISTERS];
    struct scene_event events[SCENE_EVENTS]; // in order of time
};

/* Sensors are numbered: first each oven's control sensor, then each load's. */
static inline size_t scene_sensor_of_load(size_t load) {
    return SCENE_OVENS + load;
}
enum { SCENE_SENSORS = SCENE_OVENS + SCENE_LOADS };

/* Reads and checks a whole scenario. NULL with a fault that names file and line. */
struct scene *scene_read(const char *path, struct fault *fault);
struct scene *scene_parse(const char *text, size_t length, const char *name, struct fault *fault);
void scene_free(struct scene *scene);

/* How many 16-bit registers an encoding takes. */
size_t scene_count_words(enum scene_encoding encoding);

#endif
