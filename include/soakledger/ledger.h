// SPDX-License-Identifier: MIT
/* ledger: the SQLite file in which the two programs meet, and nowhere else.
 *
 * STRICT tables, WAL, foreign keys, `user_version` migrations. Readings are plain rows clustered by (channel,
 * t_ms). What was true when it was used (configuration, fittings, plans) is kept by value, each text once under its
 * SHA-256. Findings, verdicts, claims and certificates are append-only: triggers refuse UPDATE and DELETE. What is
 * changed in spite of them shows: see seal.h.
 *
 * Three ways to open it. RECORD is the daemon: makes the file if need be, migrates it, writes readings, runs,
 * events, findings and verdicts; a second recorder on the same file is refused (EX_UNAVAILABLE, by a lock
 * beside the file). BOOKKEEP is the command: may write batches, claims and certificates, and an authorizer
 * refuses it everything else. READ changes nothing at all. BOOKKEEP and READ never create a file (EX_NOINPUT)
 * and refuse one whose schema is newer or that is no ledger (EX_DATAERR), or a damaged one. RECORD gives a damaged
 * ledger and its log another name, untouched ("FILE.damaged-20261116T074500Z", by the wall clock), and begins a new
 * one in its place: see ledger_kept_file.
 *
 * Functions return 0 or a positive id, or -1 / NULL with a fault (EX_IOERR for the disk, EX_DATAERR for content,
 * EX_NOINPUT for an id that is not there, EX_NOPERM for what the mode or the system forbids, EX_TEMPFAIL if
 * another program kept the file locked) unless said otherwise. Strings in records are owned by the record and
 * released by its free function; strings given are copied. Times are ledger timeline ms.
 */
#ifndef SOAKLEDGER_LEDGER_H
#define SOAKLEDGER_LEDGER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/calibration.h"
#include "soakledger/clock.h"
#include "soakledger/config.h"
#include "soakledger/fault.h"
#include "soakledger/judge.h"
#include "soakledger/queue.h"
#include "soakledger/reading.h"
#include "soakledger/run.h"

enum ledger_mode { LEDGER_RECORD, LEDGER_BOOKKEEP, LEDGER_READ };
enum { LEDGER_SCHEMA_VERSION = 2, LEDGER_SHA256_TEXT_BYTES = 65 };

struct ledger;

struct ledger *ledger_open(const char *path, enum ledger_mode mode, struct fault *fault);
/* Of a recorder that met a fault, with no cursor open: if the file turned out to be damaged it is set aside as
 * above, and a new one is open, without a session: 1. 0 if the damage is not what failed. -1 if it is and could not
 * be set aside, or no new one could be begun; nothing but this and ledger_close may follow then. */
int ledger_begin_anew(struct ledger *ledger, struct fault *fault);
/* Was the file found to be damaged? */
bool ledger_is_damaged(const struct ledger *ledger);
/* Where the damaged file is in whose place this ledger was begun, the last if there were several; NULL if there was
 * none since it was opened. What was found in it. Owned by the ledger. */
const char *ledger_kept_file(const struct ledger *ledger);
const char *ledger_damage(const struct ledger *ledger);
void ledger_close(struct ledger *ledger); // rolls back what was not committed; NULL is allowed

/* One transaction around many writes. ledger_begin takes the write lock at once, waiting up to 5 s. */
int ledger_begin(struct ledger *ledger, struct fault *fault);
int ledger_commit(struct ledger *ledger, struct fault *fault);
void ledger_roll_back(struct ledger *ledger);

/* ---- sessions: one per start of the daemon ---- */

struct ledger_session {
    int64_t session_id;
    int64_t started_ms;  // timeline
    int64_t wall_ms;     // wall clock at that moment
    int64_t boottime_ms; // time since boot at that moment
    char boot_id[CLOCK_BOOT_ID_BYTES];
    bool simulated; // recorded on a simulated clock: said on every sheet
};

/* The latest session, 1; or 0 if there was none yet. */
int ledger_last_session(struct ledger *ledger, struct ledger_session *session, struct fault *fault);
/* The latest t_ms of any reading or event; 0 if there is none. */
int64_t ledger_last_time(struct ledger *ledger, struct fault *fault);
/* Was any part of [from, to] recorded on a simulated clock? 1, 0, -1. */
int ledger_was_simulated(struct ledger *ledger, int64_t from_ms, int64_t to_ms, struct fault *fault);

/* Records a session and everything `config` says: the text by value, ovens and channels by name (kept over the
 * years), a new fitting of a channel wherever anything differs from the one in force. Fills in the ledger's ids:
 * oven_ids[config->oven_count], channel_ids[config->channel_count]. Within the caller's transaction. */
int64_t ledger_add_session(struct ledger *ledger, const struct ledger_session *session, const struct config *config,
                           int64_t *oven_ids, int64_t *channel_ids, struct fault *fault);

/* ---- ovens and channels, as they were at a time ---- */

struct ledger_channel {
    int64_t channel_id, oven_id;
    int64_t import_id; // whose readings they are: 0 for our own, else see import.h
    char *name;
    enum channel_role role;
    int64_t interval_ms;
    int64_t heats_at_most_mc_per_h;
    int64_t uncertainty_mc; // expanded, k = 2; 0: not stated
    char *instrument;       // name, and in words where it is: "kiln, line bench, address 1"
    struct channel_fitting fitting;
    char *sensor_identity, *sensor_type, *sensor_tolerance; // "" if none
    int64_t sensor_fitted_ms;                               // 0 if not known
    char *cold_channel;    // of millivolts: OVEN.NAME of what reads the terminals, "" if that is stated ...
    int64_t cold_fixed_mc; // ... as this
    char *instrument_name;
    int64_t instrument_accuracy_mc; // a limit; 0: not stated
    int64_t since_ms;               // from when this fitting was in force
    /* In force at the t_ms for which the channels were listed, or NULL; see corrections.h. */
    struct calibration *instrument_calibration, *sensor_calibration;
    int64_t corrected_count, outside_count; // good readings since it was listed; see replay_feed
};

/* Oven's id by name; 0 if there is none. */
int64_t ledger_find_oven(struct ledger *ledger, const char *name, struct fault *fault);
char *ledger_oven_name(struct ledger *ledger, int64_t oven_id, struct fault *fault); // caller frees
/* All channels of the oven that had a fitting in force at `t_ms`, by id: those of the session that had begun last.
 * NULL only on a fault; count may be 0. */
struct ledger_channel *ledger_list_channels(struct ledger *ledger, int64_t oven_id, int64_t t_ms, size_t *count,
                                            struct fault *fault);
void ledger_free_channels(struct ledger_channel *channels, size_t count);

/* ---- readings and events ---- */

/* A reading of a (channel, t_ms) that is there already is passed over: stored first is stored for good. */
int ledger_add_reading(struct ledger *ledger, const struct reading *reading, struct fault *fault);
/* What a temperature of millivolts was made of, if it was (table reading_emf): goes with its reading. */
int ledger_add_voltage(struct ledger *ledger, const struct reading *reading, const struct voltage *voltage,
                       struct fault *fault);
int ledger_add_event(struct ledger *ledger, const struct event *event, struct fault *fault);

/* Readings of several channels within [from, to], merged in the order of reading_is_before, streamed. */
struct ledger_cursor;
struct ledger_cursor *ledger_open_cursor(struct ledger *ledger, const int64_t *channel_ids, size_t count,
                                         int64_t from_ms, int64_t to_ms, struct fault *fault);
/* The same of an import's readings; `import_id` 0 for our own. */
struct ledger_cursor *ledger_open_import_cursor(struct ledger *ledger, int64_t import_id,
                                                const int64_t *channel_ids, size_t count, int64_t from_ms,
                                                int64_t to_ms, struct fault *fault);
/* 1 with a reading, 0 at the end, -1. */
int ledger_next_reading(struct ledger_cursor *cursor, struct reading *reading, struct fault *fault);
void ledger_close_cursor(struct ledger_cursor *cursor);

/* Events within [from, to] in order of time; caller frees the one block. */
struct event *ledger_list_events(struct ledger *ledger, int64_t from_ms, int64_t to_ms, size_t *count,
                                 struct fault *fault);

/* ---- runs ---- */

struct ledger_run {
    int64_t run_id, oven_id;
    int64_t begun_ms;
    int64_t ended_ms; // 0 while it is on
    enum run_end end;
    int64_t batch_id; // the first of those it serves, or the one that was asked for; 0: unclaimed
    size_t visit;     // valid if claimed
};

int64_t ledger_open_run(struct ledger *ledger, int64_t oven_id, int64_t begun_ms, struct fault *fault);
int ledger_end_run(struct ledger *ledger, int64_t run_id, int64_t ended_ms, enum run_end end, struct fault *fault);
/* 1 and the run; 0 if there is no such run. */
int ledger_read_run(struct ledger *ledger, int64_t run_id, struct ledger_run *run, struct fault *fault);
/* 1 and the run still on in that oven; 0 if there is none. */
int ledger_find_open_run(struct ledger *ledger, int64_t oven_id, struct ledger_run *run, struct fault *fault);
/* All runs that began within [from, to], in order of time; caller frees the one block. */
struct ledger_run *ledger_list_runs(struct ledger *ledger, int64_t from_ms, int64_t to_ms, size_t *count,
                                    struct fault *fault);

/* ---- batches: what the user says is in the oven ---- */

struct ledger_batch {
    int64_t batch_id; // counted from 1 without gaps
    int64_t opened_ms;
    int64_t closed_ms;                                                // 0 while runs may still be claimed for it
    int64_t oven_id;                                                  // its own oven
    char *charge, *customer, *order_reference, *operator_name, *note; // "" if not given
    char *plan_text;                                                  // frozen by value
    size_t plan_length;
    char plan_sha256[LEDGER_SHA256_TEXT_BYTES]; // hex, lower case
    char *plan_name;                            // the file it came from
};

int64_t ledger_open_batch(struct ledger *ledger, const struct ledger_batch *batch, struct fault *fault);
int ledger_close_batch(struct ledger *ledger, int64_t batch_id, int64_t closed_ms, struct fault *fault);
/* The batch, or NULL: with status EX_NOINPUT if there is no such batch. */
struct ledger_batch *ledger_read_batch(struct ledger *ledger, int64_t batch_id, struct fault *fault);
void ledger_free_batch(struct ledger_batch *batch); // NULL is allowed
/* Ids of batches in order; only those still open if `open_only`. Caller frees. */
int64_t *ledger_list_batches(struct ledger *ledger, bool open_only, size_t *count, struct fault *fault);

/* Says that a run fulfils a visit of a batch. A run may serve several batches: charges that shared the oven.
 * Append- only: of one run and batch the latest claim holds, and batch 0 gives the run back from all of them. `by`
 * is "daemon" or the person's name. */
int ledger_claim_run(struct ledger *ledger, int64_t run_id, int64_t batch_id, size_t visit, int64_t t_ms,
                     const char *by, struct fault *fault);
/* Gives the run back from one batch alone. EX_NOINPUT if it does not serve that one. */
int ledger_withdraw_claim(struct ledger *ledger, int64_t run_id, int64_t batch_id, int64_t t_ms, const char *by,
                          struct fault *fault);
struct ledger_claim {
    int64_t claim_id, batch_id;
    size_t visit;
};
/* Every batch that the run serves, in the order in which it was claimed. Caller frees. */
struct ledger_claim *ledger_list_claims(struct ledger *ledger, int64_t run_id, size_t *count, struct fault *fault);
/* Was the run ever claimed for that batch? 1, 0, -1. */
int ledger_had_run(struct ledger *ledger, int64_t run_id, int64_t batch_id, struct fault *fault);
/* The runs that are claimed for a batch, in order of visit, then time. Caller frees. */
struct ledger_run *ledger_list_claimed(struct ledger *ledger, int64_t batch_id, size_t *count, struct fault *fault);

/* A number that changes whenever another connection has written to the file: cheap, for polling. */
int64_t ledger_data_version(struct ledger *ledger);

/* ---- judgements: what the daemon found ---- */

/* One judging of a run against a batch's visit. A run claimed anew gets a new one. Returns its id. */
int64_t ledger_open_judgement(struct ledger *ledger, int64_t run_id, int64_t batch_id, size_t visit, int64_t t_ms,
                              struct fault *fault);
/* The latest judgement of that run for that batch and visit; 0 if there is none. `complete` says whether its
 * verdicts are in. */
int64_t ledger_find_judgement(struct ledger *ledger, int64_t run_id, int64_t batch_id, size_t visit, bool *complete,
                              struct fault *fault);
int ledger_add_finding(struct ledger *ledger, int64_t judgement_id, const struct finding *finding,
                       struct fault *fault);
/* All verdicts of a finished judgement at once; it is complete then and takes no more. */
int ledger_add_verdicts(struct ledger *ledger, int64_t judgement_id, const struct verdict *verdicts, size_t count,
                        struct fault *fault);
/* In the order they were made; caller frees the one block. */
struct finding *ledger_list_findings(struct ledger *ledger, int64_t judgement_id, size_t *count,
                                     struct fault *fault);
struct verdict *ledger_list_verdicts(struct ledger *ledger, int64_t judgement_id, size_t *count,
                                     struct fault *fault);

/* ---- attestations: what a person says of an event that no sensor saw ---- */

struct ledger_attestation {
    size_t visit;
    int64_t t_ms;    // when it happened, by that person's word
    int64_t said_ms; // when it was said
    char *said_by, *words;
};

/* Append-only; the latest for a visit counts, all are printed. */
int ledger_add_attestation(struct ledger *ledger, int64_t batch_id, const struct ledger_attestation *attestation,
                           struct fault *fault);
/* In the order they were said. NULL only on a fault. */
struct ledger_attestation *ledger_list_attestations(struct ledger *ledger, int64_t batch_id, size_t *count,
                                                    struct fault *fault);
void ledger_free_attestations(struct ledger_attestation *attestations, size_t count);

/* ---- certificates ---- */

/* Records that a certificate was issued: sha256 (hex) of the file. Returns its number: counted from 1 without gaps;
 * `revision` gets how many were issued for the batch, this one included. */
int64_t ledger_add_certificate(struct ledger *ledger, int64_t batch_id, int64_t issued_ms, const char *sha256,
                               int64_t *revision, struct fault *fault);

/* The number and revision that the next ledger_add_certificate will give: a certificate has to be drawn, with its
 * number, before its SHA-256 is known. Holds as long as the transaction in which it was asked. */
int64_t ledger_next_certificate(struct ledger *ledger, int64_t batch_id, int64_t *revision, struct fault *fault);

/* SHA-256 in lower-case hex. */
void ledger_sha256(const void *bytes, size_t length, char out[LEDGER_SHA256_TEXT_BYTES]);

#endif
