// SPDX-License-Identifier: MIT
/* Facts back from JSON. Whoever made a file to deceive us made this part too: nothing in it is believed before it
 * was held against what a recorder can have written, so that judging it anew cannot overflow, crash or take for
 * ever. */
#include <limits.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "attach_json.h"
#include "soakledger/run.h"

enum {
    MOST_CHANNELS = 128, // of one oven
    MOST_SAID = 256,     // attestations
    INTERVAL_MOST_MS = 86400000,
    UNCERTAINTY_MOST_MC = 1000000,
};
#define LONGEST_RUN_MS INT64_C(31622400000)      // a year
#define RATE_MOST_MC   INT64_C(1000000000000)    // a million degrees a second
#define NUMBER_MOST    INT64_C(1000000000000000) // of runs, batches, channels

json_t *attach_parse(const char *text, size_t length, struct fault *fault) {
    json_error_t error;
    json_t *facts;

    if (length > ATTACH_MOST_FACTS_BYTES) {
        fault_set(fault, EX_DATAERR, ATTACH_FACTS_NAME ": more than %d bytes", ATTACH_MOST_FACTS_BYTES);
        return NULL;
    }
    facts = json_loadb(text, length, JSON_REJECT_DUPLICATES, &error);
    if (facts == NULL)
        fault_set(fault, EX_DATAERR, ATTACH_FACTS_NAME ":%d: %s", error.line, error.text);
    else if (!json_is_object(facts)) {
        fault_set(fault, EX_DATAERR, ATTACH_FACTS_NAME ": expected an object");
        json_decref(facts);
        facts = NULL;
    }
    return facts;
}

/* ---- single members ---- */

void take_refuse(struct taker *taker, const char *format, ...) {
    char text[FAULT_TEXT_BYTES];
    va_list arguments;

    if (taker->failed)
        return;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    fault_set(taker->fault, EX_DATAERR, ATTACH_FACTS_NAME ": %s: %s", taker->what, text);
    taker->failed = true;
}

int64_t take_number(struct taker *taker, const json_t *object, const char *name, int64_t least, int64_t most) {
    const json_t *value = json_object_get(object, name);
    const json_int_t number = json_integer_value(value);

    if (json_is_integer(value) && number >= least && number <= most)
        return number;
    take_refuse(taker, "%s: expected a whole number from %lld to %lld", name, (long long)least, (long long)most);
    return least > 0 ? least : 0;
}

/* null is 0 */
int64_t take_moment(struct taker *taker, const json_t *object, const char *name) {
    return json_is_null(json_object_get(object, name)) ? 0 : take_number(taker, object, name, 1, TIME_MOST_MS);
}

const char *take_view(struct taker *taker, const json_t *object, const char *name) {
    const char *text = json_string_value(json_object_get(object, name));

    if (text == NULL)
        take_refuse(taker, "%s: expected text", name);
    return text != NULL ? text : "";
}

char *take_text(struct taker *taker, const json_t *object, const char *name) {
    char *copy = strdup(take_view(taker, object, name));

    if (copy == NULL)
        take_refuse(taker, "not enough memory");
    return copy;
}

const json_t *take_array(struct taker *taker, const json_t *object, const char *name, size_t most) {
    const json_t *array = json_object_get(object, name);

    if (json_is_array(array) && json_array_size(array) <= most)
        return array;
    take_refuse(taker, "%s: expected a list of at most %zu", name, most);
    return NULL;
}

/* One of the words that `name_of` gives for 0 to count - 1. */
static int take_word(struct taker *taker, const json_t *object, const char *name, const char *(*name_of)(int),
                     int count) {
    const char *text = take_view(taker, object, name);

    for (int i = 0; i < count; i++)
        if (strcmp(text, name_of(i)) == 0)
            return i;
    take_refuse(taker, "%s: not a word that is known", name);
    return 0;
}

static const char *take_role_name(int role) {
    return channel_role_name((enum channel_role)role);
}

static const char *take_end_name(int end) {
    return run_end_name((enum run_end)end);
}

/* ---- runs ---- */

static void take_channel(struct taker *taker, const json_t *from, struct ledger_channel *channel) {
    const json_t *sensor = json_object_get(from, "sensor");

    channel->channel_id = take_number(taker, from, "channel", 1, NUMBER_MOST);
    channel->name = take_text(taker, from, "name");
    channel->role = (enum channel_role)take_word(taker, from, "role", take_role_name, ROLE_COUNT);
    channel->interval_ms = take_number(taker, from, "interval_ms", 1, INTERVAL_MOST_MS);
    channel->heats_at_most_mc_per_h = take_number(taker, from, "heats_at_most_mc_per_h", 0, RATE_MOST_MC);
    channel->uncertainty_mc = take_number(taker, from, "uncertainty_mc", 0, UNCERTAINTY_MOST_MC);
    channel->instrument = take_text(taker, from, "instrument");
    channel->sensor_identity = take_text(taker, sensor, "identity");
    channel->sensor_type = take_text(taker, sensor, "type");
    channel->sensor_tolerance = take_text(taker, sensor, "tolerance");
    if (channel->name != NULL && (channel->name[0] == '\0' || strlen(channel->name) >= CHANNEL_NAME_BYTES))
        take_refuse(taker, "a channel's name: expected 1 to %d bytes", CHANNEL_NAME_BYTES - 1);
}

static void take_channels(struct taker *taker, const json_t *from, struct assess_run *run) {
    const json_t *channels = take_array(taker, from, "channels", MOST_CHANNELS), *channel;
    size_t i;

    run->channels = calloc(json_array_size(channels) + 1, sizeof *run->channels);
    if (run->channels == NULL) {
        take_refuse(taker, "not enough memory");
        return;
    }
    json_array_foreach(channels, i, channel) {
        struct ledger_channel *taken = &run->channels[run->channel_count++]; // counted first: it is freed by count

        take_channel(taker, channel, taken);
        for (size_t k = 0; k < i && !taker->failed && taken->name != NULL; k++)
            if (run->channels[k].channel_id >= taken->channel_id || run->channels[k].name == NULL ||
                strcmp(run->channels[k].name, taken->name) == 0)
                take_refuse(taker, "channels: expected each once, in the order of their numbers");
    }
}

static void take_run(struct taker *taker, const json_t *from, size_t visit, struct assess_run *run) {
    run->run.run_id = take_number(taker, from, "run", 1, NUMBER_MOST);
    run->run.visit = visit;
    run->run.begun_ms = take_number(taker, from, "begun_ms", 1, TIME_MOST_MS);
    run->run.ended_ms = take_moment(taker, from, "ended_ms");
    run->until_ms = take_number(taker, from, "until_ms", 1, TIME_MOST_MS);
    run->run.end = (enum run_end)take_word(taker, from, "end", take_end_name, RUN_END_IMPORTED + 1);
    run->simulated = json_is_true(json_object_get(from, "simulated_clock"));
    run->oven = take_text(taker, from, "oven");
    if (run->until_ms < run->run.begun_ms || run->until_ms - run->run.begun_ms > LONGEST_RUN_MS)
        take_refuse(taker, "until_ms: expected at most a year after begun_ms");
    if (run->run.ended_ms != 0 && run->run.ended_ms != run->until_ms)
        take_refuse(taker, "until_ms: expected ended_ms where there is one");
    take_channels(taker, from, run);
}

/* Runs stand in the order of their visits, and of time within one. */
static void take_runs(struct taker *taker, const json_t *facts, struct assess_batch *assessed) {
    const json_t *runs = take_array(taker, facts, "runs", ATTACH_MOST_RUNS), *from;
    size_t i, last = 0;

    json_array_foreach(runs, i, from) {
        char what[QUANTITY_TEXT_BYTES];
        const size_t visit = (size_t)take_number(taker, from, "visit", 1, (int64_t)assessed->visit_count) - 1;
        struct assess_visit *to;
        struct assess_run *run;

        if (taker->failed)
            return;
        snprintf(what, sizeof what, "run number %zu", i + 1); // at most ATTACH_MOST_RUNS
        taker->what = what;
        to = &assessed->visits[visit];
        if (to->runs == NULL)
            to->runs = calloc(ATTACH_MOST_RUNS, sizeof *to->runs);
        if (to->runs == NULL || visit < last) {
            take_refuse(taker, "expected runs in the order of visits, and memory for them");
        } else {
            run = &to->runs[to->run_count++];
            take_run(taker, from, visit, run);
            if (to->run_count > 1 && run[-1].run.begun_ms > run->run.begun_ms)
                take_refuse(taker, "expected the runs of a visit in order of time");
            assessed->simulated = assessed->simulated || run->simulated;
        }
        last = visit;
        taker->what = "facts";
    }
}

/* ---- batch, plan, what was said ---- */

static void take_batch(struct taker *taker, const json_t *facts, struct assess_batch *assessed) {
    const json_t *from = json_object_get(facts, "batch"), *plan = json_object_get(facts, "plan");
    struct ledger_batch *batch = assessed->batch;
    char sha256[LEDGER_SHA256_TEXT_BYTES];

    taker->what = "batch";
    batch->batch_id = take_number(taker, from, "number", 1, NUMBER_MOST);
    batch->opened_ms = take_number(taker, from, "opened_ms", 1, TIME_MOST_MS);
    batch->closed_ms = take_moment(taker, from, "closed_ms");
    batch->charge = take_text(taker, from, "charge");
    batch->customer = take_text(taker, from, "customer");
    batch->order_reference = take_text(taker, from, "order");
    batch->operator_name = take_text(taker, from, "operator");
    batch->note = take_text(taker, from, "note");
    assessed->oven = take_text(taker, from, "oven");
    taker->what = "plan";
    batch->plan_name = take_text(taker, plan, "name");
    batch->plan_text = take_text(taker, plan, "text");
    batch->plan_length = batch->plan_text != NULL ? strlen(batch->plan_text) : 0;
    ledger_sha256(batch->plan_text, batch->plan_length, sha256);
    if (strcmp(take_view(taker, plan, "sha256"), sha256) != 0)
        take_refuse(taker, "sha256: is not the plan's: expected %s", sha256);
    memcpy(batch->plan_sha256, sha256, sizeof sha256);
}

static void take_said(struct taker *taker, const json_t *facts, struct assess_batch *assessed) {
    const json_t *said = take_array(taker, facts, "attestations", MOST_SAID), *from;
    size_t i;

    taker->what = "attestations";
    assessed->attestations = calloc(json_array_size(said) + 1, sizeof *assessed->attestations);
    if (assessed->attestations == NULL) {
        take_refuse(taker, "not enough memory");
        return;
    }
    json_array_foreach(said, i, from) {
        struct ledger_attestation *one;

        if (taker->failed)
            return;
        one = &assessed->attestations[assessed->attestation_count++];
        one->visit = (size_t)take_number(taker, from, "visit", 1, (int64_t)assessed->visit_count) - 1;
        one->t_ms = take_number(taker, from, "happened_ms", 1, TIME_MOST_MS);
        one->said_ms = take_number(taker, from, "said_ms", 1, TIME_MOST_MS);
        one->said_by = take_text(taker, from, "by");
        one->words = take_text(taker, from, "words");
    }
}

static void take_plan(struct taker *taker, struct assess_batch *assessed) {
    struct fault fault = {0, ""};

    taker->what = "plan";
    if (taker->failed)
        return;
    assessed->plan = plan_parse(assessed->batch->plan_text, assessed->batch->plan_length, "plan", &fault);
    if (assessed->plan == NULL) {
        take_refuse(taker, "%.400s", fault.text);
        return;
    }
    assessed->visit_count = assessed->plan->visit_count;
    assessed->visits = calloc(assessed->visit_count + 1, sizeof *assessed->visits);
    if (assessed->visits == NULL)
        take_refuse(taker, "not enough memory");
}

struct assess_batch *attach_read_facts(const json_t *facts, struct fault *fault) {
    struct assess_batch *assessed = calloc(1, sizeof *assessed);
    struct taker taker = {"facts", fault, false};

    if (assessed != NULL)
        assessed->batch = calloc(1, sizeof *assessed->batch);
    if (assessed == NULL || assessed->batch == NULL) {
        free(assessed);
        fault_set(fault, EX_OSERR, "not enough memory for a batch");
        return NULL;
    }
    if (strcmp(take_view(&taker, facts, "format"), ATTACH_FORMAT) != 0)
        take_refuse(&taker, "format: expected \"%s\"", ATTACH_FORMAT);
    take_number(&taker, facts, "version", ATTACH_VERSION, ATTACH_VERSION);
    take_batch(&taker, facts, assessed);
    take_plan(&taker, assessed);
    if (!taker.failed)
        take_said(&taker, facts, assessed);
    if (!taker.failed)
        attach_take_books(&taker, facts, assessed);
    taker.what = "facts";
    if (!taker.failed)
        take_runs(&taker, facts, assessed);
    if (taker.failed) {
        assess_free(assessed);
        return NULL;
    }
    return assessed;
}

const json_t *attach_find_readings(const json_t *facts, int64_t run_id) {
    const json_t *run;
    size_t i;

    json_array_foreach(json_object_get(facts, "runs"), i, run) {
        if (json_integer_value(json_object_get(run, "run")) == run_id) {
            const json_t *readings = json_object_get(run, "readings");

            return json_is_object(readings) ? readings : NULL;
        }
    }
    return NULL;
}
