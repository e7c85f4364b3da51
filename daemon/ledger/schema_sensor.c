// SPDX-License-Identifier: MIT
/* The second rung's sensors: fittings with two more roles, millivolts and what is known of the instrument; the
 * voltages behind temperatures; sensors with their life; calibrations.
 *
 * A CHECK cannot be widened: fitting is built anew, and with it session_fitting, whose rows refer to it. The new
 * tables get the old names last, so that the references follow. View reading_in_words names fitting and is made
 * again.
 */
#include <stddef.h>

#include "schema.h"

/* One column a line, which the formatter would run together. */
// clang-format off

#define FITTING_KEPT \
    " fitting_id, channel_id, since_ms, role, interval_ms, heats_at_most_mc_per_h, uncertainty_mc, instrument, wire," \
    " read_function, first_register, encoding, word_order, query, field, separator, pattern, decimals, unit, low, high," \
    " open_1, open_2, open_3, open_4, over_1, over_2, over_3, over_4, under_1, under_2, under_3, under_4," \
    " frozen_after_ms, moves_at_most_mc_per_h, sensor_identity, sensor_type, sensor_tolerance, sensor_fitted_ms"

const char schema_sensor_fitting[] =
    "DROP VIEW reading_in_words;\n"
    "CREATE TABLE fitting_anew ("
    " fitting_id INTEGER PRIMARY KEY,"
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " since_ms INTEGER NOT NULL,"
    " role TEXT NOT NULL CHECK (role IN ('control', 'load', 'setpoint', 'output', 'ambient',"
    " 'quench', 'cold', 'high-limit', 'reference')),"
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
    " unit TEXT NOT NULL CHECK (unit IN ('C', 'F', 'mV')),"
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
    " sensor_fitted_ms INTEGER,"
    " cold_channel TEXT NOT NULL DEFAULT ''," /* OVEN.NAME of the channel that reads the terminals */
    " cold_fixed_mc INTEGER,"                 /* or their temperature by somebody's word */
    " instrument_name TEXT NOT NULL DEFAULT '',"
    " instrument_accuracy_mc INTEGER NOT NULL DEFAULT 0 CHECK (instrument_accuracy_mc >= 0),"
    " CHECK ((cold_channel <> '') + (cold_fixed_mc IS NOT NULL) = (unit = 'mV'))) STRICT;\n"
    "INSERT INTO fitting_anew (" FITTING_KEPT ", instrument_name)"
    " SELECT " FITTING_KEPT ", substr(instrument, 1, max(instr(instrument, ', line ') - 1, 0)) FROM fitting;\n";

const char schema_sensor_refit[] =
    "CREATE TABLE session_fitting_anew ("
    " session_id INTEGER NOT NULL REFERENCES session,"
    " fitting_id INTEGER NOT NULL REFERENCES fitting_anew,"
    " PRIMARY KEY (session_id, fitting_id)) STRICT, WITHOUT ROWID;\n"
    "INSERT INTO session_fitting_anew SELECT session_id, fitting_id FROM session_fitting;\n"
    "DROP TABLE session_fitting;\n"
    "DROP TABLE fitting;\n"
    "ALTER TABLE fitting_anew RENAME TO fitting;\n"
    "ALTER TABLE session_fitting_anew RENAME TO session_fitting;\n"
    "CREATE INDEX fitting_channel ON fitting (channel_id);\n"
    KEPT("fitting", "fitting_id", "a fitting")
    NEVER_CHANGED("session_fitting", "a session")
    NEVER_DELETED("session_fitting", "a session")
    "CREATE VIEW reading_in_words AS SELECT"
    " o.name AS oven, c.name AS channel, " UTC("r.t_ms") " AS utc, r.value / 1000.0 AS value,"
    " (SELECT iif(f.role = 'output', '%', '°C') FROM fitting f WHERE f.channel_id = r.channel_id"
    " AND f.since_ms <= r.t_ms ORDER BY f.since_ms DESC LIMIT 1) AS unit,"
    " q.words AS quality, r.channel_id, r.t_ms"
    " FROM reading r JOIN channel c USING (channel_id) JOIN oven o USING (oven_id)"
    " JOIN quality q ON q.quality = r.quality;\n";

/* The voltage at the terminals in nanovolts and the terminals' temperature, beside the reading that was made of them. */
const char schema_sensor_emf[] =
    "INSERT INTO quality VALUES (9, 'cold junction not known');\n"
    "CREATE TABLE reading_emf ("
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " t_ms INTEGER NOT NULL,"
    " emf_nv INTEGER NOT NULL,"
    " cold_mc INTEGER,"
    " PRIMARY KEY (channel_id, t_ms)) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("reading_emf", "a reading")
    NEVER_DELETED("reading_emf", "a reading")
    "CREATE TRIGGER reading_emf_stored_first BEFORE INSERT ON reading_emf WHEN EXISTS (SELECT 1 FROM reading_emf"
    " WHERE channel_id = NEW.channel_id AND t_ms = NEW.t_ms) BEGIN SELECT RAISE(IGNORE); END;\n"
    "CREATE VIEW reading_emf_in_words AS SELECT"
    " o.name AS oven, c.name AS channel, " UTC("e.t_ms") " AS utc, e.emf_nv / 1e6 AS millivolts,"
    " e.cold_mc / 1000.0 AS terminals, r.value / 1000.0 AS value, q.words AS quality, e.channel_id, e.t_ms"
    " FROM reading_emf e JOIN channel c USING (channel_id) JOIN oven o USING (oven_id)"
    " LEFT JOIN reading r ON r.channel_id = e.channel_id AND r.t_ms = e.t_ms"
    " LEFT JOIN quality q ON q.quality = r.quality;\n";

const char schema_sensor_life[] =
    "CREATE TABLE sensor (sensor_id INTEGER PRIMARY KEY, identity TEXT NOT NULL UNIQUE) STRICT;\n"
    KEPT("sensor", "sensor_id", "a sensor")
    REFUSE("sensor_named_once", "BEFORE INSERT ON sensor WHEN EXISTS"
           " (SELECT 1 FROM sensor WHERE identity = NEW.identity)", "there is a sensor of that identity")

    "CREATE TABLE sensor_event_kind (kind INTEGER PRIMARY KEY, words TEXT NOT NULL) STRICT;\n"
    "INSERT INTO sensor_event_kind VALUES (1, 'fitted'), (2, 'moved'), (3, 'removed'), (4, 'checked'), (5, 'retired');\n"

    "CREATE TABLE sensor_event ("
    " sensor_event_id INTEGER PRIMARY KEY,"
    " sensor_id INTEGER NOT NULL REFERENCES sensor,"
    " t_ms INTEGER NOT NULL,"
    " kind INTEGER NOT NULL REFERENCES sensor_event_kind,"
    " channel_id INTEGER REFERENCES channel,"
    " stated_ms INTEGER,"
    " said_by TEXT NOT NULL CHECK (said_by <> ''),"
    " words TEXT NOT NULL) STRICT;\n"
    "CREATE INDEX sensor_event_sensor ON sensor_event (sensor_id);\n"
    KEPT("sensor_event", "sensor_event_id", "an event of a sensor")

    /* What the fittings of the first rung tell: where each sensor was last, and since when it is there. */
    "INSERT INTO sensor (identity) SELECT DISTINCT sensor_identity FROM fitting WHERE sensor_identity <> ''"
    " ORDER BY sensor_identity;\n"
    "INSERT INTO sensor_event (sensor_id, t_ms, kind, channel_id, stated_ms, said_by, words)"
    " SELECT s.sensor_id, (SELECT min(since_ms) FROM fitting f WHERE f.channel_id = l.channel_id"
    " AND f.sensor_identity = s.identity), 1, l.channel_id, l.sensor_fitted_ms, 'daemon', ''"
    " FROM sensor s JOIN fitting l ON l.fitting_id ="
    " (SELECT max(fitting_id) FROM fitting WHERE sensor_identity = s.identity) ORDER BY s.sensor_id;\n"

    "CREATE VIEW sensor_event_in_words AS SELECT"
    " s.identity AS sensor, " UTC("e.t_ms") " AS utc, k.words AS event, o.name AS oven, c.name AS channel,"
    " " UTC("e.stated_ms") " AS stated_utc, e.said_by, e.words"
    " FROM sensor_event e JOIN sensor s USING (sensor_id) JOIN sensor_event_kind k USING (kind)"
    " LEFT JOIN channel c USING (channel_id) LEFT JOIN oven o USING (oven_id) ORDER BY e.sensor_event_id;\n";

/* level_c: whole hundreds of degrees Celsius. */
const char schema_sensor_use[] =
    "CREATE TABLE sensor_counted (run_id INTEGER PRIMARY KEY REFERENCES run) STRICT;\n"
    KEPT("sensor_counted", "run_id", "a count")
    "CREATE TABLE sensor_use ("
    " sensor_id INTEGER NOT NULL REFERENCES sensor,"
    " run_id INTEGER NOT NULL REFERENCES run,"
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " unknown_ms INTEGER NOT NULL CHECK (unknown_ms >= 0),"
    " cycles INTEGER NOT NULL CHECK (cycles >= 0),"
    " peak_mc INTEGER,"
    " peak_t_ms INTEGER,"
    " CHECK ((peak_mc IS NULL) = (peak_t_ms IS NULL)),"
    " PRIMARY KEY (sensor_id, run_id, channel_id)) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("sensor_use", "a count")
    NEVER_DELETED("sensor_use", "a count")
    "CREATE TABLE sensor_dwell ("
    " sensor_id INTEGER NOT NULL,"
    " run_id INTEGER NOT NULL,"
    " channel_id INTEGER NOT NULL,"
    " level_c INTEGER NOT NULL CHECK (level_c > 0 AND level_c % 100 = 0),"
    " above_ms INTEGER NOT NULL CHECK (above_ms > 0),"
    " PRIMARY KEY (sensor_id, run_id, channel_id, level_c),"
    " FOREIGN KEY (sensor_id, run_id, channel_id) REFERENCES sensor_use) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("sensor_dwell", "a count")
    NEVER_DELETED("sensor_dwell", "a count")
    "CREATE VIEW sensor_use_in_words AS SELECT"
    " s.identity AS sensor, count(*) AS runs,"
    " (SELECT round(sum(d.above_ms) / 36e5, 2) FROM sensor_dwell d WHERE d.sensor_id = s.sensor_id AND d.level_c = 100)"
    " AS hours_in_heat, max(u.peak_mc) / 1000.0 AS peak, sum(u.cycles) AS cycles,"
    " round(sum(u.unknown_ms) / 36e5, 2) AS hours_unknown"
    " FROM sensor_use u JOIN sensor s USING (sensor_id) GROUP BY s.sensor_id ORDER BY s.identity;\n";

const char schema_sensor_calibration[] =
    "CREATE TABLE calibration ("
    " calibration_id INTEGER PRIMARY KEY,"
    " subject TEXT NOT NULL CHECK (subject IN ('sensor', 'instrument')),"
    " name TEXT NOT NULL CHECK (name <> ''),"
    " certificate TEXT NOT NULL,"
    " laboratory TEXT NOT NULL,"
    " done_ms INTEGER,"
    " due_ms INTEGER,"
    " uncertainty_mc INTEGER NOT NULL CHECK (uncertainty_mc >= 0),"
    " in_force_ms INTEGER NOT NULL,"
    " entered_by TEXT NOT NULL CHECK (entered_by <> ''),"
    " point_count INTEGER NOT NULL CHECK (point_count >= 0)," /* 0: the tables before are withdrawn */
    " file_sha256 TEXT NOT NULL REFERENCES document) STRICT;\n"
    "CREATE INDEX calibration_name ON calibration (subject, name);\n"
    KEPT("calibration", "calibration_id", "a calibration")
    /* What is in force when a run begins stays so: nothing is entered before or into a run that is known. */
    REFUSE("calibration_in_order", "BEFORE INSERT ON calibration WHEN EXISTS"
           " (SELECT 1 FROM run WHERE begun_ms >= NEW.in_force_ms)",
           "a calibration holds for runs that begin after it")
    "CREATE TABLE calibration_point ("
    " calibration_id INTEGER NOT NULL REFERENCES calibration,"
    " place INTEGER NOT NULL CHECK (place >= 0),"
    " at_mc INTEGER NOT NULL,"
    " correction_mc INTEGER NOT NULL,"
    " PRIMARY KEY (calibration_id, place)) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("calibration_point", "a calibration")
    NEVER_DELETED("calibration_point", "a calibration")
    REFUSE("calibration_point_counted", "BEFORE INSERT ON calibration_point WHEN NEW.place >="
           " (SELECT point_count FROM calibration WHERE calibration_id = NEW.calibration_id)",
           "the calibration has all its points")
    "CREATE VIEW calibration_in_words AS SELECT"
    " k.subject, k.name, k.certificate, k.laboratory, " UTC("k.done_ms") " AS done_utc, " UTC("k.due_ms")
    " AS due_utc, " UTC("k.in_force_ms") " AS in_force_utc, k.entered_by, k.uncertainty_mc / 1000.0 AS uncertainty,"
    " p.at_mc / 1000.0 AS indicated, p.correction_mc / 1000.0 AS correction"
    " FROM calibration k LEFT JOIN calibration_point p USING (calibration_id) ORDER BY k.calibration_id, p.place;\n";

// clang-format on
