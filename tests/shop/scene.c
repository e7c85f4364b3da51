// SPDX-License-Identifier: MIT
#include "scene.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sentence.h"
#include "soakledger/keyfile.h"
#include "soakledger/quantity.h"

static const double MS_PER_S = 1000;
static const double CM2_PER_M2 = 1e4;
static const double PER_CENT = 100;
static const double J_PER_KJ = 1000;

enum { STEP_LEAST_MS = 100, STEP_MOST_MS = 1000, ADDRESS_MOST = 247, DECIMALS_MOST = 3 };
enum { DEFAULT_AMBIENT_MC = 21000 }; // as the header says
static const char *const YES_NO[] = {"yes", "no", NULL};

struct reader {
    struct keyfile *file;
    struct keyfile_section *section; // at hand
    struct scene *scene;
    struct fault *fault;
};

static int refuse(const struct reader *reader, int line, const char *text) {
    return keyfile_fault(reader->file, line, reader->fault, "%s", text);
}

static int refuse_missing(const struct reader *reader, const char *key) {
    return keyfile_fault(reader->file, keyfile_section_line(reader->section), reader->fault,
                         "[%s %s] has no '%s': expected one", keyfile_section_kind(reader->section),
                         keyfile_section_name(reader->section), key);
}

/* The value of a key that must be there. */
static const char *need(const struct reader *reader, const char *key, int *line) {
    const char *text = keyfile_take(reader->section, key, line);

    if (text == NULL)
        refuse_missing(reader, key);
    return text;
}

/* A plain decimal number, white space and `unit`. The default is kept if the key is absent; a NAN default
 * says that it must be there. */
static int take_amount(const struct reader *reader, const char *key, const char *unit, double *amount) {
    int line = 0;
    const char *text = keyfile_take(reader->section, key, &line);
    char *end = NULL;

    if (text == NULL)
        return *amount >= 0 ? 0 : refuse_missing(reader, key);
    if (text[0] >= '0' && text[0] <= '9' && strspn(text, "0123456789.") == strcspn(text, " \t")) {
        *amount = strtod(text, &end);
        end += strspn(end, " \t");
    }
    if (end == NULL || strcmp(end, unit) != 0)
        return keyfile_fault(reader->file, line, reader->fault,
                             "%s: '%s' is not an amount in %s: expected e.g. 12 %s", key, text, unit, unit);
    return 0;
}

static int take_seconds(const struct reader *reader, const char *key, double *seconds) {
    int64_t ms = 0;
    const int taken = keyfile_take_duration(reader->section, key, &ms, reader->fault);

    if (taken > 0)
        *seconds = (double)ms / MS_PER_S;
    return taken;
}

/* A lag is zero or at least one step, or the integration would not be stable. */
static int take_lag(const struct reader *reader, const char *key, double *lag_s) {
    int line = 0;

    if (take_seconds(reader, key, lag_s) < 0)
        return -1;
    keyfile_take(reader->section, key, &line);
    if (*lag_s > 0 && *lag_s * MS_PER_S < (double)reader->scene->step_ms)
        return keyfile_fault(reader->file, line, reader->fault, "%s is %g s: expected 0 s or at least one step",
                             key, *lag_s);
    return 0;
}

static int take_difference(const struct reader *reader, const char *key, double *difference_c) {
    int64_t mc = 0;
    const int taken = keyfile_take_difference(reader->section, key, &mc, reader->fault);

    if (taken > 0)
        *difference_c = (double)mc / QUANTITY_PER_UNIT;
    return taken;
}

static int find(const char (*first)[SCENE_NAME_BYTES], size_t count, size_t stride, const char *name) {
    for (size_t i = 0; i < count; i++)
        if (strcmp((const char *)first + i * stride, name) == 0)
            return (int)i;
    return -1;
}
#define FIND(array, count, wanted) find(&(array)[0].name, count, sizeof(array)[0], wanted)

static int take_reference(const struct reader *reader, const char *key, size_t *index) {
    const struct scene *scene = reader->scene;
    int line = 0, found = -1;
    const char *name = need(reader, key, &line);

    if (name == NULL)
        return -1;
    if (strcmp(key, "line") == 0)
        found = FIND(scene->lines, scene->line_count, name);
    else if (strcmp(key, "oven") == 0)
        found = FIND(scene->ovens, scene->oven_count, name);
    else if (strcmp(key, "controller") == 0)
        found = FIND(scene->controllers, scene->controller_count, name);
    if (found < 0)
        return keyfile_fault(reader->file, line, reader->fault, "%s: '%s' is unknown: expected the name of a %s",
                             key, name, key);
    *index = (size_t)found;
    return 0;
}

/* Copies the section's name. Names are single words, and an oven and a load may not share one, because
 * both name a sensor. */
static int take_name(const struct reader *reader, char out[SCENE_NAME_BYTES]) {
    const struct scene *scene = reader->scene;
    const char *name = keyfile_section_name(reader->section);
    const char *kind = keyfile_section_kind(reader->section);
    const int line = keyfile_section_line(reader->section);
    bool taken;

    if (name[0] == '\0' || strlen(name) >= SCENE_NAME_BYTES || strpbrk(name, " \t") != NULL)
        return keyfile_fault(reader->file, line, reader->fault,
                             "'%s' is not a name: expected one word of up to %d bytes", name, SCENE_NAME_BYTES - 1);
    if (strcmp(kind, "line") == 0)
        taken = FIND(scene->lines, scene->line_count, name) >= 0;
    else if (strcmp(kind, "controller") == 0)
        taken = FIND(scene->controllers, scene->controller_count, name) >= 0;
    else
        taken =
            FIND(scene->ovens, scene->oven_count, name) >= 0 || FIND(scene->loads, scene->load_count, name) >= 0;
    if (taken)
        return keyfile_fault(reader->file, line, reader->fault, "[%s %s]: the name is taken: expected another",
                             kind, name);
    memcpy(out, name, strlen(name) + 1);
    return 0;
}

static int read_clock(struct reader *reader) {
    struct scene *scene = reader->scene;
    int64_t seed = 1;
    int line = 0;

    switch (keyfile_take_date(reader->section, "start", &scene->start_ms, reader->fault)) {
    case 0: return refuse_missing(reader, "start");
    case 1: break;
    default: return -1;
    }
    if (keyfile_take_duration(reader->section, "step", &scene->step_ms, reader->fault) < 0 ||
        keyfile_take_integer(reader->section, "seed", 0, INT64_MAX, &seed, reader->fault) < 0)
        return -1;
    keyfile_take(reader->section, "step", &line);
    if (scene->step_ms < STEP_LEAST_MS || scene->step_ms > STEP_MOST_MS)
        return refuse(reader, line, "step: expected 100 ms to 1 s");
    scene->seed = (uint64_t)seed;
    return 0;
}

static int read_line(struct reader *reader) {
    struct scene_line *out = &reader->scene->lines[reader->scene->line_count];
    int line = 0;
    const char *link = need(reader, "link", &line);

    if (link == NULL || take_name(reader, out->name) != 0)
        return -1;
    if (link[0] == '\0' || strlen(link) >= SCENE_PATH_BYTES)
        return refuse(reader, line, "link: expected a path of 1 to 103 bytes");
    memcpy(out->link, link, strlen(link) + 1);
    reader->scene->line_count++;
    return 0;
}

static int read_oven(struct reader *reader) {
    struct scene_oven *out = &reader->scene->ovens[reader->scene->oven_count];
    struct heat_build *build = &out->build;
    const double required = -1;
    int64_t ambient_mc = DEFAULT_AMBIENT_MC;
    double capacity_kj = required, radiation_cm2 = 0;

    build->power_w = build->loss_w_per_k = required;
    if (take_name(reader, out->name) != 0 ||
        keyfile_take_temperature(reader->section, "ambient", &ambient_mc, reader->fault) < 0 ||
        take_amount(reader, "power", "W", &build->power_w) != 0 ||
        take_amount(reader, "heat_capacity", "kJ/K", &capacity_kj) != 0 ||
        take_amount(reader, "loss", "W/K", &build->loss_w_per_k) != 0 ||
        take_amount(reader, "radiation", "cm2", &radiation_cm2) != 0 ||
        take_amount(reader, "door_loss", "W/K", &build->door_w_per_k) != 0 ||
        take_lag(reader, "element_lag", &build->element_lag_s) != 0 ||
        take_lag(reader, "sensor_lag", &build->sensor_lag_s) != 0 ||
        take_difference(reader, "band", &build->tuning.band_c) < 0 ||
        take_seconds(reader, "reset", &build->tuning.reset_s) < 0 ||
        take_seconds(reader, "derivative", &build->tuning.derivative_s) < 0 ||
        take_difference(reader, "noise", &out->noise_c) < 0)
        return -1;
    build->ambient_c = (double)ambient_mc / QUANTITY_PER_UNIT;
    build->capacity_j_per_k = capacity_kj * J_PER_KJ;
    build->radiating_m2 = radiation_cm2 / CM2_PER_M2;
    if (!(build->tuning.band_c > 0))
        return refuse_missing(reader, "band");
    if (!(build->capacity_j_per_k > 0))
        return refuse(reader, keyfile_section_line(reader->section), "heat_capacity: expected more than 0 kJ/K");
    reader->scene->oven_count++;
    return 0;
}

static int read_load(struct reader *reader) {
    struct scene_load *out = &reader->scene->loads[reader->scene->load_count];
    double exposure = PER_CENT;
    size_t in_oven = 0;

    out->build.capacity_j_per_k = -1;
    if (take_name(reader, out->name) != 0 || take_reference(reader, "oven", &out->oven) != 0 ||
        take_amount(reader, "heat_capacity", "J/K", &out->build.capacity_j_per_k) != 0 ||
        take_lag(reader, "lag", &out->build.lag_s) != 0 ||
        take_lag(reader, "sensor_lag", &out->build.probe_lag_s) != 0 ||
        take_amount(reader, "exposure", "%", &exposure) != 0 || take_difference(reader, "noise", &out->noise_c) < 0)
        return -1;
    out->build.exposure = exposure / PER_CENT;
    if (!(out->build.lag_s > 0))
        return refuse_missing(reader, "lag");
    for (size_t i = 0; i < reader->scene->load_count; i++)
        in_oven += reader->scene->loads[i].oven == out->oven;
    if (in_oven == HEAT_LOADS)
        return refuse(reader, keyfile_section_line(reader->section), "an oven holds 8 loads: expected fewer");
    reader->scene->load_count++;
    return 0;
}

static bool is_text(const struct scene_controller *controller) {
    return controller->speaks == SPEAKS_ANSWERS || controller->speaks == SPEAKS_LINES;
}

/* What only some instruments have. */
static int take_speech(struct reader *reader, struct scene_controller *out) {
    static const char *const SPEECHES[] = {"modbus-rtu", "modbus-ascii", "text-answers", "text-lines", NULL};
    const char *query = keyfile_take(reader->section, "query", NULL);
    int64_t address = 0;
    int speech = SPEAKS_RTU, taken;

    out->every_ms = STEP_MOST_MS;
    if (keyfile_take_word(reader->section, "speaks", SPEECHES, &speech, reader->fault) < 0 ||
        keyfile_take_duration(reader->section, "every", &out->every_ms, reader->fault) < 0)
        return -1;
    out->speaks = (enum scene_speech)speech;
    if (out->every_ms < reader->scene->step_ms)
        return refuse(reader, keyfile_section_line(reader->section), "every: expected at least one step");
    if ((out->speaks == SPEAKS_ANSWERS) != (query != NULL) ||
        (query != NULL && (query[0] == '\0' || strlen(query) >= sizeof out->query)))
        return refuse(reader, keyfile_section_line(reader->section),
                      "query: expected one of 1 to 103 bytes where text answers, and nowhere else");
    if (query != NULL)
        memcpy(out->query, query, strlen(query) + 1);
    if (is_text(out))
        return 0;
    taken = keyfile_take_integer(reader->section, "address", 1, ADDRESS_MOST, &address, reader->fault);
    out->address = (int)address;
    return taken > 0 ? 0 : taken == 0 ? refuse_missing(reader, "address") : -1;
}

static int read_controller(struct reader *reader) {
    struct scene *scene = reader->scene;
    struct scene_controller *out = &scene->controllers[scene->controller_count];
    double terminals = 0;
    int word = 0;

    if (take_name(reader, out->name) != 0 || take_reference(reader, "line", &out->line) != 0 ||
        take_amount(reader, "terminals", "%", &terminals) != 0 || take_reference(reader, "oven", &out->oven) != 0 ||
        keyfile_take_duration(reader->section, "reply_delay", &out->reply_delay_ms, reader->fault) < 0 ||
        keyfile_take_word(reader->section, "regulates", YES_NO, &word, reader->fault) < 0 ||
        take_speech(reader, out) != 0)
        return -1;
    out->regulates = word == 0;
    out->terminals = terminals / PER_CENT;
    for (size_t i = 0; i < scene->controller_count; i++) {
        const struct scene_controller *other = &scene->controllers[i];

        if (other->line != out->line)
            continue;
        if (other->speaks != out->speaks || is_text(out))
            return refuse(reader, keyfile_section_line(reader->section),
                          "line is taken by one that speaks otherwise: expected another");
        if (other->address == out->address)
            return refuse(reader, keyfile_section_line(reader->section),
                          "address is taken on this line: expected another");
    }
    scene->controller_count++;
    return 0;
}

static int take_shows(const struct reader *reader, struct scene_register *out) {
    static const char *const VALUES[] = {"control", "setpoint", "output", "plug", "terminals"};
    const struct scene *scene = reader->scene;
    int line = 0, load;
    const char *text = need(reader, "shows", &line);

    if (text == NULL)
        return -1;
    for (size_t i = 0; i < sizeof VALUES / sizeof VALUES[0]; i++)
        if (strcmp(text, VALUES[i]) == 0) {
            out->shows = (enum scene_shows)i;
            return 0;
        }
    load = FIND(scene->loads, scene->load_count, text);
    if (load < 0 || scene->loads[load].oven != scene->controllers[out->controller].oven)
        return keyfile_fault(
            reader->file, line, reader->fault,
            "shows: '%s' is unknown: expected control, setpoint, output, plug, terminals or a load of this "
            "controller's oven",
            text);
    out->shows = SHOWS_LOAD;
    out->load = (size_t)load;
    return 0;
}

static bool is_of_sensor(const struct scene_register *at) {
    return at->shows == SHOWS_CONTROL || at->shows == SHOWS_PLUG || at->shows == SHOWS_LOAD;
}

static int take_unit(const struct reader *reader, struct scene_register *out) {
    static const char *const UNITS[] = {"C", "F", "mV", NULL};
    enum { FAHRENHEIT = 1, MILLIVOLTS };
    const char *type = keyfile_take(reader->section, "type", NULL);
    int unit = 0;

    if (keyfile_take_word(reader->section, "unit", UNITS, &unit, reader->fault) < 0)
        return -1;
    out->fahrenheit = unit == FAHRENHEIT;
    out->millivolts = unit == MILLIVOLTS;
    if (out->millivolts != (type != NULL) ||
        (type != NULL && (!is_of_sensor(out) || !thermocouple_find_type(type, &out->type))))
        return refuse(reader, keyfile_section_line(reader->section),
                      "type: expected the letter of a thermocouple with mV of a sensor, and nowhere else");
    return 0;
}

static int take_open_value(const struct reader *reader, struct scene_register *out) {
    static const int64_t LEAST[] = {INT16_MIN, 0, INT32_MIN, INT32_MIN};
    static const int64_t MOST[] = {INT16_MAX, UINT16_MAX, INT32_MAX, INT32_MAX};
    const char *text = keyfile_take(reader->section, "open_value", NULL);
    int64_t value = 0;

    if (text == NULL)
        return is_of_sensor(out) ? refuse_missing(reader, "open_value") : 0;
    out->open_is_nan = out->encoding == SCENE_FLOAT32 && strcmp(text, "nan") == 0;
    if (out->open_is_nan)
        return 0;
    if (keyfile_take_integer(reader->section, "open_value", LEAST[out->encoding], MOST[out->encoding], &value,
                             reader->fault) < 0)
        return -1;
    out->open_value = (int32_t)value;
    return 0;
}

/* Refuses two registers of one controller in the same place. */
static int check_place(const struct reader *reader, const struct scene_register *out) {
    const struct scene *scene = reader->scene;

    for (size_t i = 0; i < scene->register_count; i++) {
        const struct scene_register *other = &scene->registers[i];

        if (other->controller == out->controller && other->function == out->function &&
            out->number < other->number + scene_count_words(other->encoding) &&
            other->number < out->number + scene_count_words(out->encoding))
            return refuse(reader, keyfile_section_line(reader->section),
                          "number is taken by another register of this controller: expected a free one");
    }
    return 0;
}

/* The registers of a text instrument are numbered as they come. */
static int read_text_register(struct reader *reader, struct scene_register *out) {
    struct scene *scene = reader->scene;
    int64_t decimals = 0;

    if (take_shows(reader, out) != 0 ||
        keyfile_take_integer(reader->section, "decimals", 0, DECIMALS_MOST, &decimals, reader->fault) < 0 ||
        take_unit(reader, out) != 0)
        return -1;
    out->decimals = (int)decimals;
    for (size_t i = 0; i < scene->register_count; i++)
        out->number += scene->registers[i].controller == out->controller;
    scene->register_count++;
    return 0;
}

static int read_register(struct reader *reader) {
    static const char *const ENCODINGS[] = {"int16", "uint16", "int32", "float32", NULL};
    static const char *const ORDERS[] = {"high-first", "low-first", NULL};
    struct scene_register *out = &reader->scene->registers[reader->scene->register_count];
    struct keyfile_section *section = reader->section;
    struct fault *fault = reader->fault;
    int64_t function = SCENE_HOLDING, number = 0, decimals = 0;
    int encoding = 0, order = 0, taken;

    if (take_reference(reader, "controller", &out->controller) != 0)
        return -1;
    if (is_text(&reader->scene->controllers[out->controller]))
        return read_text_register(reader, out);
    if (take_shows(reader, out) != 0 ||
        keyfile_take_integer(section, "function", SCENE_HOLDING, SCENE_INPUT, &function, fault) < 0 ||
        keyfile_take_integer(section, "decimals", 0, DECIMALS_MOST, &decimals, fault) < 0 ||
        keyfile_take_word(section, "encoding", ENCODINGS, &encoding, fault) < 0 ||
        keyfile_take_word(section, "word_order", ORDERS, &order, fault) < 0 || take_unit(reader, out) != 0)
        return -1;
    out->encoding = (enum scene_encoding)encoding;
    taken = keyfile_take_integer(section, "number", 0, UINT16_MAX + 1 - (int64_t)scene_count_words(out->encoding),
                                 &number, fault);
    if (taken <= 0)
        return taken == 0 ? refuse_missing(reader, "number") : -1;
    out->function = (int)function;
    out->number = (unsigned)number;
    out->decimals = (int)decimals;
    out->low_first = order == 1;
    if (take_open_value(reader, out) != 0 || check_place(reader, out) != 0)
        return -1;
    reader->scene->register_count++;
    return 0;
}

static int read_event(struct reader *reader, const char *text, int line, int64_t *last_ms) {
    struct scene *scene = reader->scene;
    struct scene_event *event = &scene->events[scene->event_count];
    struct fault cause;

    if (scene->event_count == SCENE_EVENTS)
        return refuse(reader, line, "too many events: expected 16384 at most");
    if (sentence_parse(scene, text, event, &cause) != 0)
        return keyfile_fault(reader->file, line, reader->fault, "%s", cause.text);
    if (event->t_ms < *last_ms)
        return refuse(reader, line, "the time is before the event above or the start: expected order of time");
    if ((event->act == ACT_TUNE && !(event->arguments[0] > 0)) ||
        (event->act == ACT_LOAD_OUT && event->arguments[1] * MS_PER_S < (double)scene->step_ms))
        return refuse(reader, line, "expected a band above 0 C, or a lag of at least one step");
    if (event->act == ACT_LOAD_WEIGHS &&
        !(event->arguments[0] > 0 && event->arguments[1] > 0 &&
          scene->loads[event->subject].build.lag_s * event->arguments[0] / event->arguments[1] * MS_PER_S >=
              (double)scene->step_ms))
        return refuse(reader, line, "expected a mass and a surface that leave a lag of at least one step");
    *last_ms = event->t_ms;
    scene->event_count++;
    return 0;
}

static int read_programme(struct reader *reader) {
    int64_t last_ms = reader->scene->start_ms;
    char key[SCENE_NAME_BYTES];
    const char *text;
    int line = 0;

    for (int number = 1;; number++) {
        snprintf(key, sizeof key, "%d", number);
        text = keyfile_take(reader->section, key, &line);
        if (text == NULL)
            return 0;
        if (read_event(reader, text, line, &last_ms) != 0)
            return -1;
    }
}

/* Kinds in the order in which they may refer to each other. */
static const struct kind {
    const char *name;
    int (*read)(struct reader *reader);
    size_t most;
} KINDS[] = {
    {"clock", read_clock, 1},
    {"line", read_line, SCENE_LINES},
    {"oven", read_oven, SCENE_OVENS},
    {"load", read_load, SCENE_LOADS},
    {"controller", read_controller, SCENE_CONTROLLERS},
    {"register", read_register, SCENE_REGISTERS},
    {"programme", read_programme, SCENE_EVENTS},
};
enum { KIND_COUNT = sizeof KINDS / sizeof KINDS[0] };

static int refuse_unknown_kinds(const struct reader *reader) {
    for (size_t i = 0; i < keyfile_count_sections(reader->file); i++) {
        struct keyfile_section *section = keyfile_section(reader->file, i);
        bool known = false;

        for (size_t k = 0; k < KIND_COUNT; k++)
            known = known || strcmp(KINDS[k].name, keyfile_section_kind(section)) == 0;
        if (!known)
            return keyfile_fault(reader->file, keyfile_section_line(section), reader->fault,
                                 "[%s] is unknown: expected clock, line, oven, load, controller, register or "
                                 "programme",
                                 keyfile_section_kind(section));
    }
    return 0;
}

static int read_kind(struct reader *reader, const struct kind *kind) {
    size_t count = 0;

    for (size_t i = 0; i < keyfile_count_sections(reader->file); i++) {
        reader->section = keyfile_section(reader->file, i);
        if (strcmp(keyfile_section_kind(reader->section), kind->name) != 0)
            continue;
        if (count++ == kind->most)
            return keyfile_fault(reader->file, keyfile_section_line(reader->section), reader->fault,
                                 "more than %zu [%s]: expected fewer", kind->most, kind->name);
        if (kind->read(reader) != 0)
            return -1;
    }
    if (count == 0 && kind == &KINDS[0])
        return refuse(reader, 1, "no [clock] section: expected one");
    return 0;
}

/* Puts the programmes' events into one order. Those of the same moment keep the order of the file. */
static void merge_events(struct scene *scene) {
    for (size_t i = 1; i < scene->event_count; i++) {
        const struct scene_event moved = scene->events[i];
        size_t at = i;

        for (; at > 0 && scene->events[at - 1].t_ms > moved.t_ms; at--)
            scene->events[at] = scene->events[at - 1];
        scene->events[at] = moved;
    }
}

static struct scene *read_all(struct keyfile *file, struct fault *fault) {
    struct reader reader = {.file = file, .fault = fault, .scene = calloc(1, sizeof *reader.scene)};
    bool good = reader.scene != NULL;

    if (!good)
        fault_set_errno(fault, EX_OSERR, "cannot hold a scenario");
    if (good) {
        reader.scene->step_ms = STEP_MOST_MS;
        good = refuse_unknown_kinds(&reader) == 0;
    }
    for (size_t i = 0; good && i < KIND_COUNT; i++)
        good = read_kind(&reader, &KINDS[i]) == 0;
    if (good && keyfile_refuse_unknown(file, fault) != 0)
        good = false;
    if (good)
        merge_events(reader.scene);
    keyfile_free(file);
    if (good)
        return reader.scene;
    scene_free(reader.scene);
    return NULL;
}

struct scene *scene_read(const char *path, struct fault *fault) {
    struct keyfile *file = keyfile_read(path, fault);

    return file == NULL ? NULL : read_all(file, fault);
}

struct scene *scene_parse(const char *text, size_t length, const char *name, struct fault *fault) {
    struct keyfile *file = keyfile_parse(text, length, name, fault);

    return file == NULL ? NULL : read_all(file, fault);
}

void scene_free(struct scene *scene) {
    free(scene);
}

size_t scene_count_words(enum scene_encoding encoding) {
    return encoding == SCENE_INT32 || encoding == SCENE_FLOAT32 ? 2 : 1;
}
