// SPDX-License-Identifier: MIT
/* What proves a sensor and a work zone: system accuracy tests and uniformity surveys, each kept once, as it was
 * made. */
#include "schema.h"

/* One column a line, which the formatter would run together. */
// clang-format off

const char schema_accuracy[] =
    "CREATE TABLE accuracy_reason (reason INTEGER PRIMARY KEY, words TEXT NOT NULL) STRICT;\n"
    "INSERT INTO accuracy_reason VALUES (0, ''), (1, 'the sensor gave no good reading'),"
    " (2, 'the reference gave no good reading'), (3, 'watched for too short'), (4, 'readings are missing'),"
    " (5, 'the temperature was not stable'), (6, 'too few readings'), (7, 'calibration due date not stated'),"
    " (8, 'calibration overdue'), (9, 'uncertainty of the reference not stated'),"
    " (10, 'inside by less than the uncertainty');\n"

    "CREATE TABLE accuracy ("
    " accuracy_id INTEGER PRIMARY KEY,"
    " done_ms INTEGER NOT NULL,"
    " done_by TEXT NOT NULL CHECK (done_by <> ''),"
    " note TEXT NOT NULL,"
    " oven_id INTEGER NOT NULL REFERENCES oven,"
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " interval_ms INTEGER NOT NULL CHECK (interval_ms > 0),"
    " reference_channel_id INTEGER REFERENCES channel CHECK (reference_channel_id <> channel_id),"
    " reference_interval_ms INTEGER NOT NULL CHECK (reference_interval_ms >= 0),"
    " reference TEXT NOT NULL,"
    " correction_mc INTEGER NOT NULL,"
    " reference_uncertainty_mc INTEGER CHECK (reference_uncertainty_mc > 0),"
    " due_ms INTEGER,"
    " from_ms INTEGER NOT NULL,"
    " to_ms INTEGER NOT NULL CHECK (to_ms >= from_ms),"
    " allowed_mc INTEGER NOT NULL CHECK (allowed_mc >= 0),"
    " guarded INTEGER NOT NULL CHECK (guarded IN (0, 1)),"
    " pairs INTEGER NOT NULL CHECK (pairs >= 0),"
    " sensor_mc INTEGER NOT NULL,"
    " reference_mc INTEGER NOT NULL,"
    " difference_mc INTEGER NOT NULL,"
    " deviation_mc INTEGER NOT NULL CHECK (deviation_mc >= 0),"
    " uncertainty_mc INTEGER NOT NULL CHECK (uncertainty_mc >= 0),"
    " slope_mc_per_h INTEGER NOT NULL,"
    " reference_slope_mc_per_h INTEGER NOT NULL,"
    " silence_ms INTEGER NOT NULL CHECK (silence_ms >= 0),"
    " outcome INTEGER NOT NULL REFERENCES outcome,"
    " reason INTEGER NOT NULL REFERENCES accuracy_reason) STRICT;\n"
    "CREATE INDEX accuracy_channel ON accuracy (channel_id);\n"
    KEPT("accuracy", "accuracy_id", "an accuracy test")
    WITHOUT_GAPS("accuracy", "accuracy_id", "accuracy tests")

    "CREATE TABLE accuracy_typed ("
    " accuracy_id INTEGER NOT NULL REFERENCES accuracy,"
    " place INTEGER NOT NULL CHECK (place >= 0),"
    " t_ms INTEGER NOT NULL,"
    " said_mc INTEGER NOT NULL,"
    " sensor_mc INTEGER,"
    " PRIMARY KEY (accuracy_id, place)) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("accuracy_typed", "an accuracy test")
    NEVER_DELETED("accuracy_typed", "an accuracy test")
    REFUSE("accuracy_typed_unreplaced", "BEFORE INSERT ON accuracy_typed WHEN EXISTS (SELECT 1 FROM accuracy_typed"
           " WHERE accuracy_id = NEW.accuracy_id AND place = NEW.place)", "an accuracy test is never replaced");

const char schema_survey[] =
    "CREATE TABLE survey_reason (reason INTEGER PRIMARY KEY, words TEXT NOT NULL) STRICT;\n"
    "INSERT INTO survey_reason VALUES (0, ''), (1, 'one sensor only'), (2, 'a sensor gave no good reading'),"
    " (3, 'did not settle'), (4, 'settled for too short'), (5, 'start not recorded'),"
    " (6, 'a sensor was silent for more than 2 min'), (7, 'uncertainty not stated'),"
    " (8, 'inside by less than the uncertainty');\n"

    "CREATE TABLE survey ("
    " survey_id INTEGER PRIMARY KEY,"
    " done_ms INTEGER NOT NULL,"
    " done_by TEXT NOT NULL CHECK (done_by <> ''),"
    " note TEXT NOT NULL,"
    " oven_id INTEGER NOT NULL REFERENCES oven,"
    " run_id INTEGER REFERENCES run,"
    " from_ms INTEGER NOT NULL,"
    " to_ms INTEGER NOT NULL CHECK (to_ms > from_ms),"
    " setpoint_mc INTEGER NOT NULL,"
    " least_ms INTEGER NOT NULL CHECK (least_ms > 0),"
    " most_ms INTEGER NOT NULL CHECK (most_ms >= 0),"
    " limits_in TEXT NOT NULL CHECK (limits_in IN ('C', 'F')),"
    " guarded INTEGER NOT NULL CHECK (guarded IN (0, 1)),"
    " settled_ms INTEGER,"
    " ended_ms INTEGER,"
    " spread_mc INTEGER NOT NULL CHECK (spread_mc >= 0),"
    " worst_mc INTEGER NOT NULL CHECK (worst_mc >= 0),"
    " tightest_class INTEGER CHECK (tightest_class BETWEEN 1 AND 6),"
    " CHECK ((settled_ms IS NULL) = (ended_ms IS NULL))) STRICT;\n"
    "CREATE INDEX survey_oven ON survey (oven_id);\n"
    KEPT("survey", "survey_id", "a survey")
    WITHOUT_GAPS("survey", "survey_id", "surveys")

    "CREATE TABLE survey_place ("
    " survey_id INTEGER NOT NULL REFERENCES survey,"
    " number INTEGER NOT NULL CHECK (number >= 0),"
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " place TEXT NOT NULL,"
    " uncertainty_mc INTEGER CHECK (uncertainty_mc > 0),"
    " PRIMARY KEY (survey_id, number)) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("survey_place", "a survey")
    NEVER_DELETED("survey_place", "a survey")
    REFUSE("survey_place_unreplaced", "BEFORE INSERT ON survey_place WHEN EXISTS (SELECT 1 FROM survey_place"
           " WHERE survey_id = NEW.survey_id AND number = NEW.number)", "a survey is never replaced")

    "CREATE TABLE survey_class ("
    " survey_id INTEGER NOT NULL REFERENCES survey,"
    " class INTEGER NOT NULL CHECK (class BETWEEN 1 AND 6),"
    " outcome INTEGER NOT NULL REFERENCES outcome,"
    " reason INTEGER NOT NULL REFERENCES survey_reason,"
    " channel_id INTEGER REFERENCES channel,"
    " PRIMARY KEY (survey_id, class)) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("survey_class", "a survey")
    NEVER_DELETED("survey_class", "a survey")
    REFUSE("survey_class_unreplaced", "BEFORE INSERT ON survey_class WHEN EXISTS (SELECT 1 FROM survey_class"
           " WHERE survey_id = NEW.survey_id AND class = NEW.class)", "a survey is never replaced");

const char schema_check_views[] =
    "CREATE VIEW accuracy_in_words AS SELECT"
    " a.accuracy_id, " UTC("a.done_ms") " AS done_utc, a.done_by, o.name AS oven, c.name AS channel,"
    " coalesce(r.name, a.reference) AS reference, a.reference_mc / 1e3 AS reference_c, a.sensor_mc / 1e3 AS sensor_c,"
    " a.difference_mc / 1e3 AS difference, a.uncertainty_mc / 1e3 AS uncertainty, a.allowed_mc / 1e3 AS allowed,"
    " date(a.due_ms / 1000, 'unixepoch') AS calibration_due, w.words AS outcome, q.words AS reason, a.note"
    " FROM accuracy a JOIN oven o USING (oven_id) JOIN channel c USING (channel_id)"
    " LEFT JOIN channel r ON r.channel_id = a.reference_channel_id JOIN outcome w USING (outcome)"
    " JOIN accuracy_reason q USING (reason) ORDER BY a.accuracy_id;\n"

    "CREATE VIEW survey_in_words AS SELECT"
    " s.survey_id, " UTC("s.done_ms") " AS done_utc, s.done_by, o.name AS oven, s.run_id,"
    " s.setpoint_mc / 1e3 AS setpoint_c, " UTC("s.settled_ms") " AS settled_utc, " UTC("s.ended_ms") " AS ended_utc,"
    " s.spread_mc / 1e3 AS spread, s.worst_mc / 1e3 AS worst_deviation, s.tightest_class, s.limits_in,"
    " (SELECT q.words FROM survey_class k JOIN survey_reason q USING (reason) WHERE k.survey_id = s.survey_id"
    " AND k.class = 6) AS reason_widest, s.note"
    " FROM survey s JOIN oven o USING (oven_id) ORDER BY s.survey_id;\n";

// clang-format on
