// SPDX-License-Identifier: MIT
/* The first rung: sessions, channels, readings, runs, batches, judgements, certificates.
 *
 * Whoever opens the file with sqlite3 years from now should be able to read it: names are words of the trade,
 * every numbered kind has a table that says it in words, and the views named ..._in_words put times, units
 * and words together.
 *
 * The triggers guard against mistakes, not against somebody who means to falsify: whoever can write the file can
 * drop a trigger. INSERT OR REPLACE is refused by triggers of its own, since SQLite runs no delete trigger for
 * the row that it replaces unless the connection asks for that.
 */
#include <stddef.h>

#include "schema.h"

/* One column a line, which the formatter would run together. */
// clang-format off

static const char words_sql[] =
    "CREATE TABLE quality (quality INTEGER PRIMARY KEY, words TEXT NOT NULL) STRICT;\n"
    "INSERT INTO quality VALUES (0, 'good'), (1, 'open sensor'), (2, 'over range'), (3, 'under range'),"
    " (4, 'no reply'), (5, 'bad frame'), (6, 'refused by the controller'), (7, 'frozen value'),"
    " (8, 'implausible step');\n"

    "CREATE TABLE event_kind (kind INTEGER PRIMARY KEY, words TEXT NOT NULL, amount_is TEXT NOT NULL) STRICT;\n"
    "INSERT INTO event_kind VALUES (1, 'recording began', ''), (2, 'recording stopped in order', ''),"
    " (3, 'recording resumed with a run on', 'ms not recorded'), (4, 'wall clock stepped', 'ms forward'),"
    " (5, 'line lost', ''), (6, 'line back', 'ms gone'), (7, 'readings lost, queue full', 'readings');\n"

    "CREATE TABLE run_end (end_reason INTEGER PRIMARY KEY, words TEXT NOT NULL) STRICT;\n"
    "INSERT INTO run_end VALUES (0, 'still on'), (1, 'cooling'), (2, 'cold'), (3, 'silent'),"
    " (4, 'warming'), (5, 'warm');\n"

    "CREATE TABLE outcome (outcome INTEGER PRIMARY KEY, words TEXT NOT NULL) STRICT;\n"
    "INSERT INTO outcome VALUES (0, 'met'), (1, 'not proven'), (2, 'not met');\n"

    "CREATE TABLE reason (reason INTEGER PRIMARY KEY, words TEXT NOT NULL) STRICT;\n"
    "INSERT INTO reason VALUES (0, ''), (1, 'no run'), (2, 'no load channel'), (3, 'band not reached'),"
    " (4, 'a gap could change it'), (5, 'too few readings'), (6, 'one sensor only'), (7, 'run still on'),"
    " (8, 'no sensor saw it'), (9, 'inside by less than the uncertainty'), (10, 'nothing known of the step before'),"
    " (11, 'attested by a person');\n";

/* A stored whole number divided by per_unit is in that unit: thousandths, or milliseconds as minutes. */
static const char units_sql[] =
    "CREATE TABLE finding_kind ("
    " kind INTEGER PRIMARY KEY, words TEXT NOT NULL, unit TEXT NOT NULL, per_unit REAL NOT NULL) STRICT;\n"
    "INSERT INTO finding_kind VALUES"
    " (1, 'soak began', '°C', 1e3),"
    " (2, 'soak broken', 'min', 6e4),"
    " (3, 'soak resumed', '°C', 1e3),"
    " (4, 'soak time reached', 'min', 6e4),"
    " (5, 'longest soak time passed', 'min', 6e4),"
    " (6, 'overshoot limit passed', '°C', 1e3),"
    " (7, 'overshoot peak', '°C', 1e3),"
    " (8, 'spread limit passed', 'K', 1e3),"
    " (9, 'ramp limit passed', '°C/h', 1e3),"
    " (10, 'gap began', 'quality', 1),"
    " (11, 'gap ended', 's', 1e3),"
    " (12, 'more of a kind left out', 'findings', 1);\n"

    "CREATE TABLE requirement ("
    " requirement INTEGER PRIMARY KEY, words TEXT NOT NULL, unit TEXT NOT NULL, per_unit REAL NOT NULL) STRICT;\n"
    "INSERT INTO requirement VALUES"
    " (1, 'ramp, at most', '°C/h', 1e3),"
    " (2, 'soak time, at least', 'min', 6e4),"
    " (3, 'soak time, at most', 'min', 6e4),"
    " (4, 'overshoot, at most', 'K', 1e3),"
    " (5, 'spread, at most', 'K', 1e3),"
    " (6, 'load when heating begins, at most', '°C', 1e3),"
    " (7, 'hold time, at least', 'min', 6e4),"
    " (8, 'transfer to the quench, at most', 's', 1e3),"
    " (9, 'cooling time, at most', 's', 1e3),"
    " (10, 'handle-warm, within', 'min', 6e4),"
    " (11, 'temper equivalent, at least', 'min', 6e4),"
    " (12, 'begun after the step before, within', 'min', 6e4),"
    " (13, 'parts cooled first, to at most', '°C', 1e3),"
    " (14, 'quench done', '', 1);\n";

static const char session_sql[] =
    "CREATE TABLE document ("
    " sha256 TEXT PRIMARY KEY NOT NULL " SHA256_CHECK("sha256") ","
    " body TEXT NOT NULL) STRICT;\n"
    KEPT("document", "sha256", "a document")

    "CREATE TABLE session ("
    " session_id INTEGER PRIMARY KEY,"
    " started_ms INTEGER NOT NULL,"
    " wall_ms INTEGER NOT NULL,"
    " boottime_ms INTEGER NOT NULL,"
    " boot_id TEXT NOT NULL,"
    " simulated INTEGER NOT NULL CHECK (simulated IN (0, 1)),"
    " configuration_sha256 TEXT NOT NULL REFERENCES document) STRICT;\n"
    "CREATE INDEX session_started ON session (started_ms);\n"
    KEPT("session", "session_id", "a session")

    "CREATE TABLE oven (oven_id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;\n"
    KEPT("oven", "oven_id", "an oven")
    REFUSE("oven_named_once", "BEFORE INSERT ON oven WHEN EXISTS (SELECT 1 FROM oven WHERE name = NEW.name)",
           "there is an oven of that name")

    "CREATE TABLE channel ("
    " channel_id INTEGER PRIMARY KEY,"
    " oven_id INTEGER NOT NULL REFERENCES oven,"
    " name TEXT NOT NULL,"
    " UNIQUE (oven_id, name)) STRICT;\n"
    KEPT("channel", "channel_id", "a channel")
    REFUSE("channel_named_once", "BEFORE INSERT ON channel WHEN EXISTS"
           " (SELECT 1 FROM channel WHERE oven_id = NEW.oven_id AND name = NEW.name)",
           "that oven has a channel of that name");

/* session_fitting says which fittings a session read by: a channel that was taken out of the configuration has
 * no fitting in force any more. */
static const char fitting_sql[] =
    "CREATE TABLE fitting ("
    " fitting_id INTEGER PRIMARY KEY,"
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " since_ms INTEGER NOT NULL,"
    " role TEXT NOT NULL CHECK (role IN ('control', 'load', 'setpoint', 'output', 'ambient',"
    " 'quench', 'cold')),"
    " interval_ms INTEGER NOT NULL CHECK (interval_ms > 0),"
    " heats_at_most_mc_per_h INTEGER NOT NULL CHECK (heats_at_most_mc_per_h >= 0),"
    " uncertainty_mc INTEGER NOT NULL CHECK (uncertainty_mc >= 0),"
    " instrument TEXT NOT NULL,"
    " wire TEXT NOT NULL CHECK (wire IN ('modbus-rtu', 'modbus-ascii', 'polled-text', 'free-text')),"
    " read_function INTEGER NOT NULL,"
    " first_register INTEGER NOT NULL,"
    " encoding TEXT NOT NULL CHECK (encoding IN ('int16', 'uint16', 'int32', 'uint32', 'float32')),"
    " word_order TEXT NOT NULL CHECK (word_order IN ('high first', 'low first')),"
    " query TEXT NOT NULL,"
    " field INTEGER NOT NULL,"
    " separator TEXT NOT NULL,"
    " pattern TEXT NOT NULL,"
    " decimals INTEGER NOT NULL,"
    " unit TEXT NOT NULL CHECK (unit IN ('C', 'F')),"
    " low INTEGER NOT NULL,"
    " high INTEGER NOT NULL,"
    " open_1 INTEGER, open_2 INTEGER, open_3 INTEGER, open_4 INTEGER,"
    " over_1 INTEGER, over_2 INTEGER, over_3 INTEGER, over_4 INTEGER,"
    " under_1 INTEGER, under_2 INTEGER, under_3 INTEGER, under_4 INTEGER,"
    " frozen_after_ms INTEGER NOT NULL CHECK (frozen_after_ms >= 0),"
    " moves_at_most_mc_per_h INTEGER NOT NULL CHECK (moves_at_most_mc_per_h >= 0),"
    " sensor_identity TEXT NOT NULL,"
    " sensor_type TEXT NOT NULL,"
    " sensor_tolerance TEXT NOT NULL,"
    " sensor_fitted_ms INTEGER) STRICT;\n"
    "CREATE INDEX fitting_channel ON fitting (channel_id);\n"
    KEPT("fitting", "fitting_id", "a fitting")

    "CREATE TABLE session_fitting ("
    " session_id INTEGER NOT NULL REFERENCES session,"
    " fitting_id INTEGER NOT NULL REFERENCES fitting,"
    " PRIMARY KEY (session_id, fitting_id)) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("session_fitting", "a session")
    NEVER_DELETED("session_fitting", "a session");

/* A reading that is there already is passed over, even by INSERT OR REPLACE: stored first is stored for good. */
static const char reading_sql[] =
    "CREATE TABLE reading ("
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " t_ms INTEGER NOT NULL,"
    " value INTEGER,"
    " quality INTEGER NOT NULL REFERENCES quality,"
    " CHECK ((value IS NULL) = (quality <> 0)),"
    " PRIMARY KEY (channel_id, t_ms)) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("reading", "a reading")
    NEVER_DELETED("reading", "a reading")
    "CREATE TRIGGER reading_unreplaced BEFORE INSERT ON reading BEGIN SELECT RAISE(IGNORE) FROM reading"
    " WHERE channel_id = NEW.channel_id AND t_ms = NEW.t_ms; END;\n"

    "CREATE TABLE event ("
    " event_id INTEGER PRIMARY KEY,"
    " t_ms INTEGER NOT NULL,"
    " kind INTEGER NOT NULL REFERENCES event_kind,"
    " amount INTEGER NOT NULL,"
    " detail TEXT NOT NULL) STRICT;\n"
    "CREATE INDEX event_time ON event (t_ms);\n"
    KEPT("event", "event_id", "an event");

static const char run_sql[] =
    "CREATE TABLE run ("
    " run_id INTEGER PRIMARY KEY,"
    " oven_id INTEGER NOT NULL REFERENCES oven,"
    " begun_ms INTEGER NOT NULL,"
    " ended_ms INTEGER CHECK (ended_ms >= begun_ms),"
    " end_reason INTEGER NOT NULL DEFAULT 0 REFERENCES run_end,"
    " CHECK ((ended_ms IS NULL) = (end_reason = 0))) STRICT;\n"
    "CREATE INDEX run_time ON run (begun_ms);\n"
    "CREATE UNIQUE INDEX run_on ON run (oven_id) WHERE ended_ms IS NULL;\n"
    REFUSE("run_one_on", "BEFORE INSERT ON run WHEN NEW.ended_ms IS NULL AND EXISTS"
           " (SELECT 1 FROM run WHERE oven_id = NEW.oven_id AND ended_ms IS NULL)",
           "this oven has a run on already")
    REFUSE("run_ends_once", "BEFORE UPDATE ON run WHEN NOT (OLD.ended_ms IS NULL AND NEW.ended_ms IS NOT NULL"
           " AND (NEW.run_id, NEW.oven_id, NEW.begun_ms) = (OLD.run_id, OLD.oven_id, OLD.begun_ms))",
           "a run is never changed, it only ends, once")
    NEVER_DELETED("run", "a run")
    NEVER_REPLACED("run", "run_id", "a run");

static const char batch_sql[] =
    "CREATE TABLE batch ("
    " batch_id INTEGER PRIMARY KEY,"
    " opened_ms INTEGER NOT NULL,"
    " closed_ms INTEGER CHECK (closed_ms >= opened_ms),"
    " oven_id INTEGER NOT NULL REFERENCES oven,"
    " charge TEXT NOT NULL,"
    " customer TEXT NOT NULL,"
    " order_reference TEXT NOT NULL,"
    " operator_name TEXT NOT NULL,"
    " note TEXT NOT NULL,"
    " plan_name TEXT NOT NULL,"
    " plan_sha256 TEXT NOT NULL REFERENCES document) STRICT;\n"
    "CREATE INDEX batch_open ON batch (batch_id) WHERE closed_ms IS NULL;\n"
    REFUSE("batch_closes_once", "BEFORE UPDATE ON batch WHEN NOT (OLD.closed_ms IS NULL AND NEW.closed_ms IS NOT NULL"
           " AND (NEW.batch_id, NEW.opened_ms, NEW.oven_id, NEW.charge, NEW.customer, NEW.order_reference,"
           " NEW.operator_name, NEW.note, NEW.plan_name, NEW.plan_sha256) ="
           " (OLD.batch_id, OLD.opened_ms, OLD.oven_id, OLD.charge, OLD.customer, OLD.order_reference,"
           " OLD.operator_name, OLD.note, OLD.plan_name, OLD.plan_sha256))",
           "a batch is never changed, it only closes, once")
    NEVER_DELETED("batch", "a batch")
    NEVER_REPLACED("batch", "batch_id", "a batch")
    WITHOUT_GAPS("batch", "batch_id", "batches")

    "CREATE TABLE claim ("
    " claim_id INTEGER PRIMARY KEY,"
    " run_id INTEGER NOT NULL REFERENCES run,"
    " batch_id INTEGER REFERENCES batch,"
    " visit INTEGER CHECK (visit >= 0),"
    " t_ms INTEGER NOT NULL,"
    " claimed_by TEXT NOT NULL,"
    " CHECK ((batch_id IS NULL) = (visit IS NULL))) STRICT;\n"
    "CREATE INDEX claim_run ON claim (run_id);\n"
    "CREATE INDEX claim_batch ON claim (batch_id);\n"
    KEPT("claim", "claim_id", "a claim")
    REFUSE("claim_while_open", "BEFORE INSERT ON claim WHEN EXISTS"
           " (SELECT 1 FROM batch WHERE batch_id = NEW.batch_id AND closed_ms IS NOT NULL)",
           "the batch is closed: no run can be claimed for it any more");

static const char judgement_sql[] =
    "CREATE TABLE judgement ("
    " judgement_id INTEGER PRIMARY KEY,"
    " run_id INTEGER NOT NULL REFERENCES run,"
    " batch_id INTEGER NOT NULL REFERENCES batch,"
    " visit INTEGER NOT NULL CHECK (visit >= 0),"
    " t_ms INTEGER NOT NULL,"
    " complete INTEGER NOT NULL DEFAULT 0 CHECK (complete IN (0, 1))) STRICT;\n"
    "CREATE INDEX judgement_run ON judgement (run_id, batch_id, visit);\n"
    REFUSE("judgement_completes_once", "BEFORE UPDATE ON judgement WHEN NOT (OLD.complete = 0 AND NEW.complete = 1"
           " AND (NEW.judgement_id, NEW.run_id, NEW.batch_id, NEW.visit, NEW.t_ms) ="
           " (OLD.judgement_id, OLD.run_id, OLD.batch_id, OLD.visit, OLD.t_ms))",
           "a judgement is never changed, it is only completed, once")
    NEVER_DELETED("judgement", "a judgement")
    NEVER_REPLACED("judgement", "judgement_id", "a judgement")

    "CREATE TABLE finding ("
    " finding_id INTEGER PRIMARY KEY,"
    " judgement_id INTEGER NOT NULL REFERENCES judgement,"
    " t_ms INTEGER NOT NULL,"
    " kind INTEGER NOT NULL REFERENCES finding_kind,"
    " operation INTEGER NOT NULL CHECK (operation >= 0),"
    " channel_id INTEGER REFERENCES channel,"
    " value INTEGER NOT NULL,"
    " held_against INTEGER NOT NULL) STRICT;\n"
    "CREATE INDEX finding_judgement ON finding (judgement_id);\n"
    KEPT("finding", "finding_id", "a finding")
    WHILE_INCOMPLETE("finding");

static const char verdict_sql[] =
    "CREATE TABLE verdict ("
    " judgement_id INTEGER NOT NULL REFERENCES judgement,"
    " place INTEGER NOT NULL,"
    " operation INTEGER NOT NULL CHECK (operation >= 0),"
    " requirement INTEGER NOT NULL REFERENCES requirement,"
    " outcome INTEGER NOT NULL REFERENCES outcome,"
    " reason INTEGER NOT NULL REFERENCES reason,"
    " required INTEGER NOT NULL,"
    " found INTEGER,"
    " possible INTEGER NOT NULL,"
    " margin INTEGER,"
    " t_ms INTEGER,"
    " channel_id INTEGER REFERENCES channel,"
    " uncertainty INTEGER NOT NULL CHECK (uncertainty >= 0),"
    " CHECK ((found IS NULL) = (margin IS NULL)),"
    " PRIMARY KEY (judgement_id, place)) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("verdict", "a verdict")
    NEVER_DELETED("verdict", "a verdict")
    WHILE_INCOMPLETE("verdict")

    "CREATE TABLE attestation ("
    " attestation_id INTEGER PRIMARY KEY,"
    " batch_id INTEGER NOT NULL REFERENCES batch,"
    " visit INTEGER NOT NULL CHECK (visit >= 0),"
    " t_ms INTEGER NOT NULL,"
    " said_ms INTEGER NOT NULL,"
    " said_by TEXT NOT NULL CHECK (said_by <> ''),"
    " words TEXT NOT NULL) STRICT;\n"
    "CREATE INDEX attestation_batch ON attestation (batch_id);\n"
    KEPT("attestation", "attestation_id", "an attestation")

    "CREATE TABLE certificate ("
    " certificate_id INTEGER PRIMARY KEY,"
    " batch_id INTEGER NOT NULL REFERENCES batch,"
    " revision INTEGER NOT NULL CHECK (revision > 0),"
    " issued_ms INTEGER NOT NULL,"
    " sha256 TEXT NOT NULL " SHA256_CHECK("sha256") ") STRICT;\n"
    "CREATE INDEX certificate_batch ON certificate (batch_id);\n"
    KEPT("certificate", "certificate_id", "a certificate")
    WITHOUT_GAPS("certificate", "certificate_id", "certificates");

static const char view_sql[] =
    "CREATE VIEW reading_in_words AS SELECT"
    " o.name AS oven, c.name AS channel, " UTC("r.t_ms") " AS utc, r.value / 1000.0 AS value,"
    " (SELECT iif(f.role = 'output', '%', '°C') FROM fitting f WHERE f.channel_id = r.channel_id"
    " AND f.since_ms <= r.t_ms ORDER BY f.since_ms DESC LIMIT 1) AS unit,"
    " q.words AS quality, r.channel_id, r.t_ms"
    " FROM reading r JOIN channel c USING (channel_id) JOIN oven o USING (oven_id)"
    " JOIN quality q ON q.quality = r.quality;\n"

    "CREATE VIEW event_in_words AS SELECT"
    " " UTC("e.t_ms") " AS utc, k.words AS event, e.amount, k.amount_is, e.detail, e.t_ms"
    " FROM event e JOIN event_kind k USING (kind) ORDER BY e.t_ms, e.event_id;\n"

    "CREATE VIEW run_in_words AS SELECT"
    " r.run_id, o.name AS oven, " UTC("r.begun_ms") " AS begun_utc, " UTC("r.ended_ms") " AS ended_utc,"
    " e.words AS ended_by, round((r.ended_ms - r.begun_ms) / 6e4, 1) AS minutes, k.batch_id, k.visit, k.claimed_by"
    " FROM run r JOIN oven o USING (oven_id) JOIN run_end e USING (end_reason)"
    " LEFT JOIN claim k ON k.claim_id = (SELECT max(claim_id) FROM claim WHERE run_id = r.run_id)"
    " ORDER BY r.begun_ms, r.run_id;\n"

    "CREATE VIEW batch_in_words AS SELECT"
    " b.batch_id, o.name AS oven, " UTC("b.opened_ms") " AS opened_utc, " UTC("b.closed_ms") " AS closed_utc,"
    " b.charge, b.customer, b.order_reference, b.operator_name, b.note, b.plan_name,"
    " (SELECT count(*) FROM certificate k WHERE k.batch_id = b.batch_id) AS certificates"
    " FROM batch b JOIN oven o USING (oven_id) ORDER BY b.batch_id;\n"

    "CREATE VIEW finding_in_words AS SELECT"
    " j.judgement_id, j.batch_id, j.run_id, " UTC("f.t_ms") " AS utc, k.words AS finding, c.name AS channel,"
    " f.value / k.per_unit AS value, nullif(f.held_against, 0) / k.per_unit AS held_against, k.unit"
    " FROM finding f JOIN judgement j USING (judgement_id) JOIN finding_kind k USING (kind)"
    " LEFT JOIN channel c ON c.channel_id = f.channel_id ORDER BY f.finding_id;\n"

    "CREATE VIEW verdict_in_words AS SELECT"
    " j.judgement_id, j.batch_id, j.run_id, v.operation, r.words AS requirement, v.required / r.per_unit AS required,"
    " v.found / r.per_unit AS found, v.margin / r.per_unit AS margin, r.unit, o.words AS outcome, w.words AS reason,"
    " " UTC("v.t_ms") " AS utc, c.name AS channel"
    " FROM verdict v JOIN judgement j USING (judgement_id) JOIN requirement r USING (requirement)"
    " JOIN outcome o USING (outcome) JOIN reason w USING (reason)"
    " LEFT JOIN channel c ON c.channel_id = v.channel_id ORDER BY v.judgement_id, v.place;\n";

// clang-format on

const char *const schema_first[] = {
    words_sql, units_sql,     session_sql, fitting_sql, reading_sql, run_sql,
    batch_sql, judgement_sql, verdict_sql, view_sql,    NULL,
};
