// SPDX-License-Identifier: MIT
/* An oven's runs as histories, one a level. */
#include "soakledger/health.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/sensors.h"
#include "soakledger/thermocouple.h"

enum { MC = 1000, SAME_LEVEL_MC = 20000, MOST_LEVELS = 32 };
static const double MS_PER_S = 1e3, MS_PER_H = 3600e3;

double health_default_allowed_c(const char *type, const char *tolerance, double level_c) {
    const double standard_c = 2.2, standard_part = 0.0075; // type K, ASTM E230
    enum thermocouple_type known;
    int64_t allowed_mc;

    if (thermocouple_find_type(type, &known) &&
        thermocouple_tolerance(known, thermocouple_find_class(tolerance), llround(level_c * MC), &allowed_mc))
        return (double)allowed_mc / MC;
    return fmax(standard_c, standard_part * fabs(level_c));
}

/* ---- who was where when ---- */

struct examination {
    struct ledger *ledger;
    bool find_missing;
    struct health_oven *oven;
    size_t run_count;
    struct ledger_run *runs; // of this oven, over, in order of time
    struct fault *fault;
    int64_t anchors_mc[MOST_LEVELS]; // the first level seen of each
};

static bool is_sensor(enum channel_role role) {
    return role == ROLE_CONTROL || role == ROLE_LOAD || role == ROLE_COLD;
}

static size_t find_sensor(const struct health_oven *oven, int64_t channel_id) {
    size_t i = 0;

    while (i < oven->sensor_count && oven->sensors[i].channel_id != channel_id)
        i++;
    return i;
}

static int take_sensors(struct examination *examination, int64_t t_ms) {
    struct health_oven *oven = examination->oven;
    size_t count;
    struct ledger_channel *channels =
        ledger_list_channels(examination->ledger, oven->oven_id, t_ms, &count, examination->fault);
    int result = channels == NULL ? -1 : 0;

    for (size_t i = 0; result == 0 && i < count && oven->sensor_count < DRIFT_MOST_SENSORS; i++) {
        struct health_sensor *sensor = &oven->sensors[oven->sensor_count];

        if (!is_sensor(channels[i].role))
            continue;
        *sensor = (struct health_sensor){.channel_id = channels[i].channel_id,
                                         .role = channels[i].role,
                                         .name = strdup(channels[i].name),
                                         .identity = strdup(channels[i].sensor_identity),
                                         .type = strdup(channels[i].sensor_type),
                                         .tolerance = strdup(channels[i].sensor_tolerance)};
        oven->sensor_count++;
        if (sensor->name == NULL || sensor->identity == NULL || sensor->type == NULL || sensor->tolerance == NULL)
            result = fault_set(examination->fault, EX_OSERR, "no memory for %zu channels", count);
    }
    ledger_free_channels(channels, count);
    return result;
}

/* ---- renewals ---- */

struct renewal {
    int64_t t_ms;
    enum health_since what;
};

struct place { // a channel, from run to run
    char identity[CHANNEL_TEXT_BYTES];
    bool seen;
    int64_t renewed_ms;
    struct sensor_event *events; // of the sensor that is in it
    size_t event_count;
};

/* Another sensor in the channel: its events, once. */
static int change_sensor(struct examination *examination, const char *identity, struct place *place) {
    int64_t sensor_id;

    snprintf(place->identity, sizeof place->identity, "%s", identity);
    sensors_free_events(place->events, place->event_count);
    place->events = NULL;
    place->event_count = 0;
    if (*identity == '\0')
        return 0;
    sensor_id = sensors_find(examination->ledger, identity, examination->fault);
    if (sensor_id <= 0)
        return sensor_id < 0 ? -1 : 0;
    place->events = sensors_list_events(examination->ledger, sensor_id, &place->event_count, examination->fault);
    return place->events == NULL ? -1 : 0;
}

/* The last time up to `t_ms` that the sensor in that channel was fitted, moved there or checked. */
static struct renewal find_renewal(const struct ledger_channel *channel, const struct place *place, int64_t t_ms) {
    struct renewal renewal = {INT64_MIN, HEALTH_SINCE_SEEN};

    if (channel->sensor_fitted_ms != 0 && channel->sensor_fitted_ms <= t_ms)
        renewal = (struct renewal){channel->sensor_fitted_ms, HEALTH_SINCE_FITTED};
    for (size_t i = 0; i < place->event_count; i++) {
        const struct sensor_event *event = &place->events[i];
        const bool checked = event->kind == SENSOR_CHECKED;
        const bool came = (event->kind == SENSOR_FITTED || event->kind == SENSOR_MOVED) &&
                          event->channel_id == channel->channel_id;
        /* A fitting is noted when the daemon starts, but may be stated for a time before. */
        const int64_t at_ms = came && event->stated_ms != 0 ? event->stated_ms : event->t_ms;

        if ((checked || came) && at_ms <= t_ms && at_ms > renewal.t_ms)
            renewal = (struct renewal){at_ms, checked ? HEALTH_SINCE_CHECKED : HEALTH_SINCE_FITTED};
    }
    return renewal;
}

/* Was the sensor in that channel renewed since the run before? `place` remembers. 1, 0, -1. */
static int look_at_place(struct examination *examination, const struct ledger_channel *channel, int64_t t_ms,
                         struct place *place, struct health_sensor *sensor) {
    const bool seen = place->seen;
    bool renewed = strcmp(channel->sensor_identity, place->identity) != 0;
    struct renewal renewal;

    if ((renewed || !seen) && change_sensor(examination, channel->sensor_identity, place) != 0)
        return -1;
    renewal = find_renewal(channel, place, t_ms);
    renewed |= renewal.t_ms > place->renewed_ms;
    if (renewed || !seen) {
        sensor->since_what = renewal.what;
        sensor->since_ms = renewal.what == HEALTH_SINCE_SEEN ? t_ms : renewal.t_ms;
    }
    place->seen = true;
    place->renewed_ms = renewal.t_ms;
    return renewed && seen;
}

/* Which sensors were renewed since the run before. */
static int mark_renewed(struct examination *examination, const struct ledger_run *run, struct place *places,
                        bool *renewed) {
    size_t count;
    struct ledger_channel *channels =
        ledger_list_channels(examination->ledger, run->oven_id, run->begun_ms, &count, examination->fault);
    int result = channels == NULL ? -1 : 0;

    for (size_t i = 0; result == 0 && i < count; i++) {
        const size_t at = find_sensor(examination->oven, channels[i].channel_id);
        int is_renewed;

        if (at == examination->oven->sensor_count)
            continue;
        is_renewed =
            look_at_place(examination, &channels[i], run->begun_ms, &places[at], &examination->oven->sensors[at]);
        renewed[at] = is_renewed == 1;
        result = is_renewed < 0 ? -1 : 0;
    }
    ledger_free_channels(channels, count);
    return result;
}

/* ---- levels ---- */

static struct health_level *find_level(struct examination *examination, int64_t level_mc) {
    struct health_oven *oven = examination->oven;
    size_t i = 0;

    while (i < oven->level_count && llabs(examination->anchors_mc[i] - level_mc) > SAME_LEVEL_MC)
        i++;
    if (i < oven->level_count)
        return &oven->levels[i];
    if (oven->level_count == MOST_LEVELS)
        return NULL;
    examination->anchors_mc[i] = level_mc;
    oven->level_count++;
    return &oven->levels[i];
}

/* A run's own entry at that level: the last, or a new one. Sensors that were renewed in runs at other levels count.
 */
static struct drift_run *find_entry(struct health_level *level, const struct ledger_run *run) {
    struct drift_run *more;

    if (level->history.run_count > 0 && level->runs[level->history.run_count - 1].run_id == run->run_id)
        return &level->runs[level->history.run_count - 1];
    more = realloc(level->runs, (level->history.run_count + 1) * sizeof *more);
    if (more == NULL)
        return NULL;
    level->runs = more;
    more += level->history.run_count++;
    *more = (struct drift_run){.run_id = run->run_id,
                               .hours = (double)(run->ended_ms - run->begun_ms) / MS_PER_H,
                               .output = NAN,
                               .heat_s = NAN,
                               .heat_output = NAN};
    for (size_t i = 0; i < DRIFT_MOST_SENSORS; i++)
        more->mean_c[i] = NAN;
    return more;
}

static void fill_entry(const struct health_oven *oven, const struct steady_stretch *stretch,
                       struct drift_run *entry) {
    entry->t_ms = stretch->to_ms;
    entry->level_c = (double)stretch->level_mc / MC;
    entry->output = stretch->has_output ? (double)stretch->output / MC : NAN;
    for (size_t i = 0; i < oven->sensor_count; i++)
        entry->mean_c[i] = NAN;
    for (size_t i = 0; i < stretch->sensor_count; i++) {
        const size_t at = find_sensor(oven, stretch->means[i].channel_id);

        if (at < oven->sensor_count)
            entry->mean_c[at] = (double)stretch->means[i].mean_mc / MC;
    }
}

/* Of several stretches at a level the longest speaks for the run; its heat-up is known to whichever knows it. */
static int take_stretch(struct examination *examination, const struct ledger_run *run,
                        const struct steady_stretch *stretch, const struct health_facts *facts) {
    struct health_level *level = find_level(examination, stretch->level_mc);
    struct drift_run *entry;
    bool longest = true;

    if (level == NULL)
        return 0;
    for (size_t i = 0; i < facts->stretch_count; i++) {
        const struct steady_stretch *other = &facts->stretches[i];

        longest &= find_level(examination, other->level_mc) != level ||
                   other->to_ms - other->from_ms <= stretch->to_ms - stretch->from_ms;
    }
    entry = find_entry(level, run);
    if (entry == NULL)
        return fault_set(examination->fault, EX_OSERR, "no memory for the history of an oven");
    if (longest)
        fill_entry(examination->oven, stretch, entry);
    if (stretch->heat_ms > 0) {
        entry->heat_s = (double)stretch->heat_ms / MS_PER_S;
        entry->heat_output = stretch->heat_has_output ? (double)stretch->heat_output / MC : NAN;
    }
    return 0;
}

/* A sensor that was renewed counts as such in the next entry of every level. */
static void pass_on_renewed(struct health_oven *oven, bool (*waiting)[DRIFT_MOST_SENSORS], const bool *renewed,
                            int64_t run_id) {
    for (size_t k = 0; k < MOST_LEVELS; k++) {
        struct health_level *level = &oven->levels[k];
        const bool has = level->history.run_count > 0 && level->runs[level->history.run_count - 1].run_id == run_id;

        for (size_t i = 0; i < oven->sensor_count; i++) {
            waiting[k][i] |= renewed[i];
            if (!has)
                continue;
            level->runs[level->history.run_count - 1].renewed[i] = waiting[k][i] && level->history.run_count > 1;
            waiting[k][i] = false;
        }
    }
}

static int take_run(struct examination *examination, const struct ledger_run *run, struct place *places,
                    bool (*waiting)[DRIFT_MOST_SENSORS]) {
    bool renewed[DRIFT_MOST_SENSORS] = {false};
    struct health_facts facts;
    int kept;

    if (mark_renewed(examination, run, places, renewed) != 0)
        return -1;
    kept = health_read_facts(examination->ledger, run->run_id, &facts, examination->fault);
    if (kept == 0 && examination->find_missing)
        kept = health_find_facts(examination->ledger, run->run_id, &facts, examination->fault) == 0 ? 1 : -1;
    if (kept <= 0)
        return kept;
    for (size_t i = 0; i < facts.stretch_count && kept == 1; i++)
        kept = take_stretch(examination, run, &facts.stretches[i], &facts) == 0 ? 1 : -1;
    health_free_facts(&facts);
    pass_on_renewed(examination->oven, waiting, renewed, run->run_id);
    return kept == 1 ? 0 : -1;
}

/* ---- the whole ---- */

static int list_runs(struct examination *examination, int64_t until_ms) {
    size_t count;
    struct ledger_run *runs =
        ledger_list_runs(examination->ledger, INT64_MIN, until_ms, &count, examination->fault);

    if (runs == NULL)
        return -1;
    examination->runs = runs;
    for (size_t i = 0; i < count; i++) {
        if (runs[i].oven_id == examination->oven->oven_id && runs[i].ended_ms != 0 &&
            runs[i].ended_ms <= until_ms &&
            runs[i].end != RUN_END_IMPORTED) // another recorder's readings say nothing of these sensors
            runs[examination->run_count++] = runs[i];
    }
    /* Only the last runs of a long history: what is years old says little about now. */
    if (examination->run_count > HEALTH_MOST_RUNS) {
        memmove(runs, runs + examination->run_count - HEALTH_MOST_RUNS, HEALTH_MOST_RUNS * sizeof *runs);
        examination->run_count = HEALTH_MOST_RUNS;
    }
    return 0;
}

static int take_all_runs(struct examination *examination) {
    struct place *places = calloc(DRIFT_MOST_SENSORS, sizeof *places);
    bool(*waiting)[DRIFT_MOST_SENSORS] = calloc(MOST_LEVELS, sizeof *waiting);
    int result = 0;

    if (places == NULL || waiting == NULL)
        result = fault_set(examination->fault, EX_OSERR, "no memory for the history of an oven");
    for (size_t i = 0; i < examination->run_count && result == 0; i++)
        result = take_run(examination, &examination->runs[i], places, waiting);
    for (size_t i = 0; places != NULL && i < DRIFT_MOST_SENSORS; i++)
        sensors_free_events(places[i].events, places[i].event_count);
    free(places);
    free(waiting);
    return result;
}

static int compare_numbers(const void *a, const void *b) {
    const double one = *(const double *)a, other = *(const double *)b;

    return (one > other) - (one < other);
}

static double median_level(const struct health_level *level) {
    double levels[HEALTH_MOST_RUNS] = {0};
    const size_t count = level->history.run_count;

    for (size_t i = 0; i < count; i++)
        levels[i] = level->runs[i].level_c;
    qsort(levels, count, sizeof *levels, compare_numbers);
    return levels[count / 2];
}

static int examine_level(struct examination *examination, struct health_level *level, int64_t until_ms) {
    const struct health_oven *oven = examination->oven;

    level->level_c = median_level(level);
    level->history.runs = level->runs;
    level->history.sensor_count = oven->sensor_count;
    for (size_t i = 0; i < oven->sensor_count; i++) {
        const int64_t allowed_mc =
            health_read_allowed(examination->ledger, oven->sensors[i].channel_id, until_ms, examination->fault);

        if (allowed_mc < 0)
            return -1;
        level->history.sensors[i] = (struct drift_sensor){
            .name = oven->sensors[i].name,
            .controls = oven->sensors[i].role == ROLE_CONTROL,
            .allowed_c = allowed_mc > 0 ? (double)allowed_mc / MC
                                        : health_default_allowed_c(oven->sensors[i].type,
                                                                   oven->sensors[i].tolerance, level->level_c)};
    }
    level->report = drift_examine(&level->history, examination->fault);
    return level->report == NULL ? -1 : 0;
}

static int compare_levels(const void *a, const void *b) {
    const struct health_level *one = a, *other = b;

    if (one->history.run_count != other->history.run_count)
        return one->history.run_count < other->history.run_count ? 1 : -1;
    return (one->level_c < other->level_c) - (one->level_c > other->level_c);
}

static double says_how_much(const struct health_level *level) {
    return level->report->cause > DRIFT_NOTHING ? level->report->sure : 0;
}

static int examine_all(struct examination *examination, int64_t until_ms) {
    struct health_oven *oven = examination->oven;

    if (take_sensors(examination, until_ms) != 0 || list_runs(examination, until_ms) != 0 ||
        take_all_runs(examination) != 0)
        return -1;
    for (size_t i = 0; i < oven->level_count; i++) {
        if (examine_level(examination, &oven->levels[i], until_ms) != 0)
            return -1;
    }
    qsort(oven->levels, oven->level_count, sizeof *oven->levels, compare_levels);
    for (size_t i = 1; i < oven->level_count; i++) {
        if (says_how_much(&oven->levels[i]) > says_how_much(&oven->levels[oven->worst]))
            oven->worst = i;
    }
    return 0;
}

struct health_oven *health_examine(struct ledger *ledger, int64_t oven_id, int64_t until_ms, bool find_missing,
                                   struct fault *fault) {
    struct health_oven *oven = calloc(1, sizeof *oven);
    struct examination examination = {.ledger = ledger, .find_missing = find_missing, .oven = oven, .fault = fault};
    int result = -1;

    if (oven != NULL)
        oven->levels = calloc(MOST_LEVELS, sizeof *oven->levels);
    if (oven == NULL || oven->levels == NULL) {
        fault_set(fault, EX_OSERR, "no memory to examine an oven");
    } else {
        oven->oven_id = oven_id;
        oven->name = ledger_oven_name(ledger, oven_id, fault);
        if (oven->name != NULL)
            result = examine_all(&examination, until_ms);
    }
    free(examination.runs);
    if (result == 0)
        return oven;
    health_free(oven);
    return NULL;
}

void health_free(struct health_oven *oven) {
    if (oven == NULL)
        return;
    for (size_t i = 0; i < oven->sensor_count; i++) {
        free(oven->sensors[i].name);
        free(oven->sensors[i].identity);
        free(oven->sensors[i].type);
        free(oven->sensors[i].tolerance);
    }
    for (size_t i = 0; oven->levels != NULL && i < oven->level_count; i++) {
        drift_free(oven->levels[i].report);
        free(oven->levels[i].runs);
    }
    free(oven->levels);
    free(oven->name);
    free(oven);
}

const struct health_level *health_find_level(const struct health_oven *oven, size_t sensor) {
    const struct health_level *best = NULL;

    for (size_t i = 0; i < oven->level_count; i++) {
        const struct drift_outlook *outlook = &oven->levels[i].report->outlooks[sensor];

        if (best == NULL || (outlook->established && !best->report->outlooks[sensor].established))
            best = &oven->levels[i];
    }
    return best;
}

void health_describe_sensor(const struct health_oven *oven, size_t sensor, enum temperature_unit unit, char *out) {
    const struct health_level *best = health_find_level(oven, sensor);

    if (best == NULL)
        snprintf(out, DRIFT_WORDS_BYTES, "%s: no run has left a stable stretch yet", oven->sensors[sensor].name);
    else
        drift_describe_sensor(&best->history, best->report, sensor, unit, out);
}
