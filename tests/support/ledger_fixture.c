// SPDX-License-Identifier: MIT
#include "ledger_fixture.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MS_PER_H = 3600000, OUTPUT_HEATING = 80000, OUTPUT_HOLDING = 22000 };
static const double RIPPLE_PERIOD_MS = 240000, PI = 3.14159265358979;

const char FIXTURE_PLAN[] = "[plan]\n"
                            "title = Plane irons and chisels, hardened and tempered\n"
                            "steel = AISI O1 (UNS T31501)\n"
                            "source = invented for a test\n"
                            "load = sensors\n"
                            "\n"
                            "[heat to hardening]\n"
                            "ramp_at_most = 500 C/h\n"
                            "ramp_between = 200 C .. 700 C\n"
                            "\n"
                            "[soak hardening]\n"
                            "temperature = 808 C\n"
                            "below = 8 C\n"
                            "above = 8 C\n"
                            "time_at_least = 15 min\n"
                            "time_at_most = 40 min\n"
                            "spread_at_most = 8 C\n"
                            "\n"
                            "[temper first]\n"
                            "temperature = 180 C\n"
                            "below = 6 C\n"
                            "above = 8 C\n"
                            "time_at_least = 1 h\n";

const char FIXTURE_PLAN_HARDEN[] = "[plan]\n"
                                   "title = Scraper blades, hardened\n"
                                   "steel = AISI 1095\n"
                                   "load = sensors\n"
                                   "\n"
                                   "[soak hardening]\n"
                                   "temperature = 808 C\n"
                                   "below = 8 C\n"
                                   "above = 8 C\n"
                                   "time_at_least = 20 min\n";

const char FIXTURE_PLAN_CONTROL[] = "[plan]\n"
                                    "title = Marking knives, tempered\n"
                                    "load = control\n"
                                    "lag_allowance = 10 min\n"
                                    "\n"
                                    "[temper]\n"
                                    "oven = tempering\n"
                                    "temperature = 200 C\n"
                                    "below = 6 C\n"
                                    "above = 8 C\n"
                                    "time_at_least = 1 h\n";

static const char CONFIG[] = "[line bench]\n"
                             "device = /dev/serial/by-id/invented\n"
                             "[instrument hardening controller]\n"
                             "line = bench\n"
                             "address = 1\n"
                             "[instrument tempering controller]\n"
                             "line = bench\n"
                             "address = 3\n"
                             "[sensor K-114]\n"
                             "type = K\n"
                             "tolerance = class 1\n"
                             "fitted = 2026-09-01\n"
                             "[sensor N-201]\n"
                             "type = N\n"
                             "tolerance = class 1\n"
                             "fitted = 2026-10-12\n"
                             "[oven hardening]\n"
                             "heats_at_most = 60 C/min\n"
                             "[oven tempering]\n"
                             "heats_at_most = 20 C/min\n";

static void fixture_fail(const char *doing, const struct fault *fault) {
    fprintf(stderr, "fixture: %s: %s\n", doing, fault != NULL ? fault->text : "failed");
    abort();
}

static void fixture_write_channel(FILE *file, const char *oven, const char *name, const char *role, int reg,
                                  const char *sensor) {
    fprintf(file,
            "[channel %s.%s]\nrole = %s\ninstrument = %s controller\nfunction = 4\nregister = %d\ndecimals = 1\n",
            oven, name, role, oven, reg);
    if (strcmp(role, "output") != 0)
        fputs("unit = C\n", file);
    if (strcmp(role, "load") != 0 && strcmp(oven, "hardening") == 0)
        fputs("interval = 10 s\n", file); // fewer readings, so that tests are quick
    if (sensor != NULL)
        fprintf(file, "sensor = %s\n", sensor);
}

static void fixture_write_config(struct ledger_fixture *fixture, const char *shop) {
    FILE *file = fopen(fixture->config_path, "w");

    if (file == NULL)
        fixture_fail("config", NULL);
    fprintf(file, "[ledger]\npath = %s\n[shop]\n%s\n%s", fixture->ledger_path, shop, CONFIG);
    fixture_write_channel(file, "hardening", "control", "control", 0, "K-114");
    fixture_write_channel(file, "hardening", "setpoint", "setpoint", 1, NULL);
    fixture_write_channel(file, "hardening", "output", "output", 2, NULL);
    fixture_write_channel(file, "hardening", "front of rack", "load", 3, "N-201");
    fixture_write_channel(file, "hardening", "back of rack", "load", 4, NULL);
    fixture_write_channel(file, "tempering", "control", "control", 0, NULL);
    if (fclose(file) != 0)
        fixture_fail("config", NULL);
}

void fixture_make(struct ledger_fixture *fixture, const char *shop, bool simulated) {
    struct ledger_session session = {
        .started_ms = FIXTURE_START_MS, .wall_ms = FIXTURE_START_MS, .boottime_ms = 1000, .simulated = simulated};
    struct fault fault;

    memset(fixture, 0, sizeof *fixture);
    snprintf(fixture->folder, sizeof fixture->folder, "/tmp/soakledger-test-XXXXXX");
    if (mkdtemp(fixture->folder) == NULL)
        fixture_fail("folder", NULL);
    snprintf(fixture->config_path, sizeof fixture->config_path, "%.100s/shop.conf", fixture->folder);
    snprintf(fixture->ledger_path, sizeof fixture->ledger_path, "%.100s/shop.ledger", fixture->folder);
    snprintf(fixture->plan_path, sizeof fixture->plan_path, "%.100s/shop.plan", fixture->folder);
    fixture_write_config(fixture, shop);
    fixture->config = config_read(fixture->config_path, &fault);
    if (fixture->config == NULL)
        fixture_fail("config", &fault);
    fixture->ledger = ledger_open(fixture->ledger_path, LEDGER_RECORD, &fault);
    if (fixture->ledger == NULL || ledger_begin(fixture->ledger, &fault) != 0)
        fixture_fail("ledger", &fault);
    snprintf(session.boot_id, sizeof session.boot_id, "00000000-0000-0000-0000-000000000001");
    if (ledger_add_session(fixture->ledger, &session, fixture->config, fixture->oven_ids, fixture->channel_ids,
                           &fault) < 0 ||
        ledger_commit(fixture->ledger, &fault) != 0)
        fixture_fail("session", &fault);
}

void fixture_remove(struct ledger_fixture *fixture) {
    char command[2 * FIXTURE_PATH_BYTES];

    ledger_close(fixture->ledger);
    config_free(fixture->config);
    snprintf(command, sizeof command, "rm -r %s", fixture->folder);
    if (system(command) != 0)
        fixture_fail("folder", NULL);
}

void fixture_keep_books(struct ledger_fixture *fixture) {
    struct fault fault;

    ledger_close(fixture->ledger);
    fixture->ledger = ledger_open(fixture->ledger_path, LEDGER_BOOKKEEP, &fault);
    if (fixture->ledger == NULL)
        fixture_fail("ledger", &fault);
}

int64_t fixture_level_ms(const struct fixture_run *shape) {
    return shape->begun_ms + (shape->top_mc - shape->start_mc) * MS_PER_H / shape->rise_mc_per_h;
}

int64_t fixture_end_ms(const struct fixture_run *shape) {
    return fixture_level_ms(shape) + shape->level_ms +
           (shape->top_mc - shape->end_mc) * MS_PER_H / shape->fall_mc_per_h;
}

static int64_t fixture_value(const struct fixture_run *shape, int64_t t_ms) {
    const int64_t level = fixture_level_ms(shape), fall = level + shape->level_ms;
    int64_t value;

    if (t_ms <= level)
        value = shape->start_mc + (t_ms - shape->begun_ms) * shape->rise_mc_per_h / MS_PER_H;
    else if (t_ms <= fall)
        value = shape->top_mc +
                (int64_t)((double)shape->ripple_mc * sin(2 * PI * (double)(t_ms - level) / RIPPLE_PERIOD_MS));
    else
        value = shape->top_mc - (t_ms - fall) * shape->fall_mc_per_h / MS_PER_H;
    return value > shape->start_mc ? value : shape->start_mc;
}

static struct reading fixture_read(const struct fixture_run *shape, const struct config_channel *channel,
                                   bool is_first, int64_t t_ms) {
    const bool heated = t_ms < fixture_level_ms(shape) + shape->level_ms;
    const bool lags = strcmp(channel->name, "back of rack") == 0;
    struct reading reading = {.t_ms = t_ms, .quality = QUALITY_GOOD};

    if (channel->role == ROLE_SETPOINT)
        reading.value = heated ? shape->top_mc : shape->start_mc;
    else if (channel->role == ROLE_OUTPUT)
        reading.value = !heated ? 0 : t_ms < fixture_level_ms(shape) ? OUTPUT_HEATING : OUTPUT_HOLDING;
    else
        reading.value = fixture_value(shape, lags ? t_ms - shape->back_lag_ms : t_ms);
    if (is_first && shape->spike_at_ms != 0 && t_ms == shape->begun_ms + shape->spike_at_ms)
        reading.value = shape->spike_mc;
    if (lags && shape->back_spike_at_ms != 0 && t_ms == shape->begun_ms + shape->back_spike_at_ms)
        reading.value = shape->spike_mc;
    if (is_first && t_ms >= shape->begun_ms + shape->gap_from_ms &&
        t_ms < shape->begun_ms + shape->gap_from_ms + shape->gap_ms)
        reading = (struct reading){.t_ms = t_ms, .quality = QUALITY_NO_REPLY};
    return reading;
}

static bool fixture_is_first(const struct ledger_fixture *fixture, const struct config_channel *channel) {
    const bool loads = strcmp(fixture->config->ovens[channel->oven].name, "hardening") == 0;

    return strcmp(channel->name, loads ? "front of rack" : "control") == 0;
}

int64_t fixture_record(struct ledger_fixture *fixture, const struct fixture_run *shape) {
    const int64_t end_ms = fixture_end_ms(shape);
    struct fault fault;
    int64_t run_id;

    if (ledger_begin(fixture->ledger, &fault) != 0)
        fixture_fail("run", &fault);
    run_id = ledger_open_run(fixture->ledger, fixture->oven_ids[shape->oven], shape->begun_ms, &fault);
    for (size_t i = 0; run_id > 0 && i < fixture->config->channel_count; i++) {
        const struct config_channel *channel = &fixture->config->channels[i];
        const bool is_first = fixture_is_first(fixture, channel);

        for (int64_t t = shape->begun_ms; channel->oven == shape->oven && t <= end_ms; t += channel->interval_ms) {
            struct reading reading = fixture_read(shape, channel, is_first, t);

            reading.channel_id = fixture->channel_ids[i];
            if (ledger_add_reading(fixture->ledger, &reading, &fault) != 0)
                fixture_fail("reading", &fault);
        }
    }
    if (run_id < 0 || ledger_end_run(fixture->ledger, run_id, end_ms, RUN_END_COLD, &fault) != 0 ||
        ledger_commit(fixture->ledger, &fault) != 0)
        fixture_fail("run", &fault);
    return run_id;
}

int64_t fixture_open_batch(struct ledger_fixture *fixture, size_t oven, const char *plan, const char *customer,
                           const char *note) {
    static char charge[] = "6 plane irons, 50 mm; 4 paring chisels", order[] = "2026-117", name[] = "operator 2";
    static char plan_name[] = "plane-irons.plan";
    struct ledger_batch batch = {.opened_ms = FIXTURE_START_MS, .oven_id = fixture->oven_ids[oven]};
    char *const plan_text = strdup(plan), *const customer_text = strdup(customer), *const note_text = strdup(note);
    struct fault fault;
    int64_t batch_id;

    batch.charge = charge;
    batch.order_reference = order;
    batch.operator_name = name;
    batch.plan_name = plan_name;
    batch.plan_text = plan_text;
    batch.plan_length = strlen(plan);
    batch.customer = customer_text;
    batch.note = note_text;
    ledger_sha256(plan, batch.plan_length, batch.plan_sha256);
    batch_id = ledger_open_batch(fixture->ledger, &batch, &fault);
    if (batch_id < 0)
        fixture_fail("batch", &fault);
    free(plan_text);
    free(customer_text);
    free(note_text);
    return batch_id;
}

void fixture_write_plan(struct ledger_fixture *fixture, const char *text) {
    FILE *file = fopen(fixture->plan_path, "w");

    if (file == NULL || fputs(text, file) < 0 || fclose(file) != 0)
        fixture_fail("plan", NULL);
}
