// SPDX-License-Identifier: MIT
/* The facts of a certificate as JSON: what was recorded and said, and what was judged from it. */
#include <stdlib.h>
#include <string.h>

#include "attach_json.h"
#include "soakledger/corrections.h"
#include "soakledger/version.h"
#include "soakledger/words.h"

enum { TEXT_BYTES = 4096 };

json_t *attach_text(const char *text) {
    char clean[TEXT_BYTES];

    return json_string(words_clean(text, strlen(text), 1, clean, sizeof clean));
}

json_t *attach_moment(int64_t t_ms) {
    return t_ms != 0 ? json_integer(t_ms) : json_null();
}

/* ---- what was recorded ---- */

static json_t *attach_points(const struct calibration *calibration) {
    json_t *points = json_array();

    for (size_t i = 0; i < calibration->point_count; i++)
        if (json_array_append_new(points,
                                  json_pack("{s:I, s:I}", "indicated_mc", (json_int_t)calibration->points[i].at_mc,
                                            "added_mc", (json_int_t)calibration->points[i].correction_mc)) != 0) {
            json_decref(points);
            return NULL;
        }
    return points;
}

/* The table that was applied to the readings: what the instrument showed is the value less what was added. */
static json_t *attach_calibration(const struct calibration *calibration) {
    if (calibration == NULL || calibration->point_count == 0)
        return json_null();
    return json_pack("{s:o, s:o, s:o, s:o, s:I, s:o}", "of", attach_text(calibration->name), "certificate",
                     attach_text(calibration->certificate), "laboratory", attach_text(calibration->laboratory),
                     "done_ms", attach_moment(calibration->done_ms), "uncertainty_mc",
                     (json_int_t)calibration->uncertainty_mc, "points", attach_points(calibration));
}

/* The uncertainty is the one that was judged by, whatever it comes from. */
static json_t *attach_channel(const struct ledger_channel *channel, int64_t soak_mc) {
    struct uncertainty uncertainty;

    corrections_find_uncertainty(channel, soak_mc, &uncertainty);
    return json_pack("{s:I, s:o, s:s, s:I, s:I, s:I, s:o, s:{s:o, s:o, s:o}, s:o, s:o}", "channel",
                     (json_int_t)channel->channel_id, "name", attach_text(channel->name), "role",
                     channel_role_name(channel->role), "interval_ms", (json_int_t)channel->interval_ms,
                     "heats_at_most_mc_per_h", (json_int_t)channel->heats_at_most_mc_per_h, "uncertainty_mc",
                     (json_int_t)uncertainty.expanded_mc, "instrument", attach_text(channel->instrument), "sensor",
                     "identity", attach_text(channel->sensor_identity), "type", attach_text(channel->sensor_type),
                     "tolerance", attach_text(channel->sensor_tolerance), "sensor_calibration",
                     attach_calibration(channel->sensor_calibration), "instrument_calibration",
                     attach_calibration(channel->instrument_calibration));
}

static json_t *attach_channels(const struct assess_run *run, int64_t soak_mc) {
    json_t *channels = json_array();

    for (size_t i = 0; i < run->channel_count; i++)
        if (json_array_append_new(channels, attach_channel(&run->channels[i], soak_mc)) != 0) {
            json_decref(channels);
            return NULL;
        }
    return channels;
}

static json_t *attach_where(const struct attach *attach, int64_t run_id) {
    for (size_t i = 0; attach != NULL && i < attach_count(attach); i++) {
        const struct attach_readings *readings = attach_run(attach, i);

        if (readings->run_id == run_id)
            return json_pack("{s:s, s:I, s:s}", "file", readings->name, "rows", (json_int_t)readings->rows,
                             "sha256", readings->sha256);
    }
    return json_null();
}

static const char *attach_agreement(enum assess_agreement agreement) {
    static const char *const words[] = {"not judged when it was recorded", "the same", "differs"};

    return words[agreement];
}

/* By which the ledger can be known again; null where there is none. */
static json_t *attach_seal(const struct seal_head *seal) {
    if (seal->seal_id == 0)
        return json_null();
    return json_pack("{s:I, s:o, s:s}", "seal", (json_int_t)seal->seal_id, "sealed_ms",
                     attach_moment(seal->sealed_ms), "sha256", seal->sha256);
}

/* Whose readings they are, if not our own. */
static json_t *attach_import(const struct import *import) {
    if (import == NULL)
        return json_null();
    return json_pack("{s:o, s:o, s:s, s:I, s:o}", "recorded_by", attach_text(import->source), "file",
                     attach_text(import->file_name), "sha256", import->file_sha256, "imported_ms",
                     (json_int_t)import->imported_ms, "by", attach_text(import->imported_by));
}

static json_t *attach_others(const struct assess_run *run) {
    json_t *others = json_array();

    for (size_t i = 0; i < run->other_count; i++)
        if (json_array_append_new(others, json_pack("{s:I, s:o}", "batch", (json_int_t)run->others[i].batch_id,
                                                    "charge", attach_text(run->others[i].charge))) != 0) {
            json_decref(others);
            return NULL;
        }
    return others;
}

static json_t *attach_recorded(const struct plan *plan, const struct assess_run *run, const struct attach *attach) {
    const int64_t soak_mc = plan_visit_soak(plan, run->run.visit)->temperature_mc;

    return json_pack("{s:I, s:I, s:o, s:I, s:o, s:I, s:s, s:o, s:o, s:b, s:s, s:o, s:o, s:o}", "run",
                     (json_int_t)run->run.run_id, "visit", (json_int_t)run->run.visit + 1, "oven",
                     attach_text(run->oven), "begun_ms", (json_int_t)run->run.begun_ms, "ended_ms",
                     attach_moment(run->run.ended_ms), "until_ms", (json_int_t)run->until_ms, "end",
                     run_end_name(run->run.end), "imported", attach_import(run->import), "other_batches",
                     attach_others(run), "simulated_clock", (int)run->simulated, "judged_when_recorded",
                     attach_agreement(run->agreement), "channels", attach_channels(run, soak_mc), "readings",
                     attach_where(attach, run->run.run_id), "seal", attach_seal(&run->seal));
}

static json_t *attach_runs(const struct assess_batch *assessed, const struct attach *attach) {
    json_t *runs = json_array();

    for (size_t i = 0; i < assessed->visit_count; i++)
        for (size_t k = 0; k < assessed->visits[i].run_count; k++)
            if (json_array_append_new(runs,
                                      attach_recorded(assessed->plan, &assessed->visits[i].runs[k], attach)) != 0) {
                json_decref(runs);
                return NULL;
            }
    return runs;
}

/* ---- what was said ---- */

static json_t *attach_origin(const struct assess_batch *assessed) {
    if (assessed->split_from == 0)
        return json_null();
    return json_pack("{s:I, s:I}", "batch", (json_int_t)assessed->split_from, "split_ms",
                     (json_int_t)assessed->split_ms);
}

static json_t *attach_batch(const struct assess_batch *assessed) {
    const struct ledger_batch *batch = assessed->batch;

    return json_pack("{s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:I, s:o, s:o}", "number", (json_int_t)batch->batch_id,
                     "charge", attach_text(batch->charge), "customer", attach_text(batch->customer), "order",
                     attach_text(batch->order_reference), "operator", attach_text(batch->operator_name), "note",
                     attach_text(batch->note), "oven", attach_text(assessed->oven), "opened_ms",
                     (json_int_t)batch->opened_ms, "closed_ms", attach_moment(batch->closed_ms), "split_off",
                     attach_origin(assessed));
}

static json_t *attach_plan(const struct ledger_batch *batch) {
    return json_pack("{s:o, s:s, s:s%}", "name", attach_text(batch->plan_name), "sha256", batch->plan_sha256,
                     "text", batch->plan_text, batch->plan_length);
}

static json_t *attach_said(const struct assess_batch *assessed) {
    json_t *said = json_array();

    for (size_t i = 0; i < assessed->attestation_count; i++) {
        const struct ledger_attestation *one = &assessed->attestations[i];

        if (json_array_append_new(said, json_pack("{s:I, s:I, s:I, s:o, s:o}", "visit", (json_int_t)one->visit + 1,
                                                  "happened_ms", (json_int_t)one->t_ms, "said_ms",
                                                  (json_int_t)one->said_ms, "by", attach_text(one->said_by),
                                                  "words", attach_text(one->words))) != 0) {
            json_decref(said);
            return NULL;
        }
    }
    return said;
}

/* ---- the whole ---- */

static json_t *attach_certificate(const struct certificate_issue *issue, const struct attach_revision *revision) {
    char program[TEXT_BYTES];

    snprintf(program, sizeof program, "soakledger %s", SOAKLEDGER_VERSION);
    return json_pack("{s:I, s:I, s:I, s:s, s:o, s:o, s:o}", "number", (json_int_t)issue->number, "revision",
                     (json_int_t)issue->revision, "issued_ms", (json_int_t)issue->issued_ms, "program", program,
                     "follows", revision->replaces != 0 ? json_integer(revision->replaces) : json_null(), "why",
                     attach_text(revision->why != NULL ? revision->why : ""), "changed",
                     revision->changed != NULL ? json_incref(revision->changed) : json_array());
}

static json_t *attach_shop(const struct config *config, const struct key *key) {
    return json_pack("{s:o, s:o, s:s, s:i, s:s, s:s}", "name", attach_text(config->shop_name), "address",
                     attach_text(config->shop_address), "unit", config->unit == UNIT_FAHRENHEIT ? "F" : "C",
                     "utc_offset_min", config->utc_offset_min, "public_key_sha256",
                     key != NULL ? key_public_fingerprint(key) : "", "certificate_sha256",
                     key != NULL ? key_certificate_fingerprint(key) : "");
}

static int attach_set(json_t *facts, const char *name, json_t *value) {
    return json_object_set_new(facts, name, value); // NULL is refused
}

json_t *attach_make_facts(const struct assess_batch *assessed, const struct config *config,
                          const struct certificate_issue *issue, const struct attach_revision *revision,
                          const struct key *key, const struct attach *readings, struct fault *fault) {
    json_t *facts = json_pack("{s:s, s:i}", "format", ATTACH_FORMAT, "version", ATTACH_VERSION);

    if (facts != NULL && attach_set(facts, "certificate", attach_certificate(issue, revision)) == 0 &&
        attach_set(facts, "shop", attach_shop(config, key)) == 0 &&
        attach_set(facts, "batch", attach_batch(assessed)) == 0 &&
        attach_set(facts, "plan", attach_plan(assessed->batch)) == 0 &&
        attach_set(facts, "attestations", attach_said(assessed)) == 0 &&
        attach_set(facts, "books", attach_books(assessed)) == 0 &&
        attach_set(facts, "seal", attach_seal(&assessed->last_seal)) == 0 &&
        attach_set(facts, "runs", attach_runs(assessed, readings)) == 0 &&
        attach_set(facts, "judged", attach_judged(assessed, fault)) == 0)
        return facts;
    json_decref(facts);
    fault_set(fault, EX_OSERR, "not enough memory for the facts of batch %lld", (long long)issue->batch_id);
    return NULL;
}

char *attach_print_facts(const json_t *facts, size_t *length, struct fault *fault) {
    char *text = json_dumps(facts, JSON_INDENT(2)), *longer = NULL;

    if (text != NULL) {
        *length = strlen(text);
        longer = realloc(text, *length + 2);
    }
    if (longer == NULL) {
        free(text);
        fault_set(fault, EX_OSERR, "not enough memory for the facts of a certificate");
        return NULL;
    }
    longer[(*length)++] = '\n';
    longer[*length] = '\0';
    if (*length > ATTACH_MOST_FACTS_BYTES) {
        fault_set(fault, EX_DATAERR, "%zu bytes of facts: a certificate takes at most %d", *length,
                  ATTACH_MOST_FACTS_BYTES);
        free(longer);
        return NULL;
    }
    return longer;
}
