// SPDX-License-Identifier: MIT
/* What every run leaves about its oven's sensors: the stable stretches of steady.h; what each sensor is allowed;
 * and what was told of a drift, so that it is told once. */
#include "schema.h"

/* One column a line, which the formatter would run together. */
// clang-format off

const char schema_steady[] =
    "CREATE TABLE steady_run ("
    " run_id INTEGER PRIMARY KEY REFERENCES run,"
    " stretches INTEGER NOT NULL CHECK (stretches >= 0)) STRICT;\n"
    KEPT("steady_run", "run_id", "what a run leaves")

    "CREATE TABLE steady_stretch ("
    " run_id INTEGER NOT NULL REFERENCES steady_run,"
    " place INTEGER NOT NULL CHECK (place >= 0),"
    " from_ms INTEGER NOT NULL,"
    " to_ms INTEGER NOT NULL CHECK (to_ms > from_ms),"
    " reference_channel_id INTEGER NOT NULL REFERENCES channel,"
    " level_mc INTEGER NOT NULL,"
    " setpoint_mc INTEGER,"
    " output INTEGER,"       /* thousandths of a per cent */
    " heat_from_mc INTEGER,"
    " heat_to_mc INTEGER,"
    " heat_ms INTEGER CHECK (heat_ms > 0),"
    " heat_output INTEGER,"
    " CHECK ((heat_ms IS NULL) = (heat_from_mc IS NULL)),"
    " CHECK ((heat_ms IS NULL) = (heat_to_mc IS NULL)),"
    " PRIMARY KEY (run_id, place)) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("steady_stretch", "what a run leaves")
    NEVER_DELETED("steady_stretch", "what a run leaves")
    REFUSE("steady_stretch_counted", "BEFORE INSERT ON steady_stretch WHEN NEW.place >="
           " (SELECT stretches FROM steady_run WHERE run_id = NEW.run_id) OR EXISTS"
           " (SELECT 1 FROM steady_stretch WHERE run_id = NEW.run_id AND place = NEW.place)",
           "the run has all its facts")

    "CREATE TABLE steady_mean ("
    " run_id INTEGER NOT NULL,"
    " place INTEGER NOT NULL,"
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " mean_mc INTEGER NOT NULL,"
    " PRIMARY KEY (run_id, place, channel_id),"
    " FOREIGN KEY (run_id, place) REFERENCES steady_stretch) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("steady_mean", "what a run leaves")
    NEVER_DELETED("steady_mean", "what a run leaves")
    REFUSE("steady_mean_unreplaced", "BEFORE INSERT ON steady_mean WHEN EXISTS (SELECT 1 FROM steady_mean"
           " WHERE run_id = NEW.run_id AND place = NEW.place AND channel_id = NEW.channel_id)",
           "what a run leaves are never replaced")

    "CREATE TABLE steady_pair ("
    " run_id INTEGER NOT NULL,"
    " place INTEGER NOT NULL,"
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " other_channel_id INTEGER NOT NULL REFERENCES channel CHECK (other_channel_id <> channel_id),"
    " difference_mc INTEGER NOT NULL,"
    " error_mc INTEGER CHECK (error_mc >= 0),"
    " PRIMARY KEY (run_id, place, channel_id, other_channel_id),"
    " FOREIGN KEY (run_id, place) REFERENCES steady_stretch) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("steady_pair", "what a run leaves")
    NEVER_DELETED("steady_pair", "what a run leaves")
    REFUSE("steady_pair_unreplaced", "BEFORE INSERT ON steady_pair WHEN EXISTS (SELECT 1 FROM steady_pair"
           " WHERE run_id = NEW.run_id AND place = NEW.place AND channel_id = NEW.channel_id"
           " AND other_channel_id = NEW.other_channel_id)", "what a run leaves are never replaced");

const char schema_drift[] =
    "CREATE TABLE sensor_allowed ("
    " sensor_allowed_id INTEGER PRIMARY KEY,"
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " since_ms INTEGER NOT NULL,"
    " allowed_mc INTEGER CHECK (allowed_mc > 0)) STRICT;\n" /* NULL: not said any more */
    "CREATE INDEX sensor_allowed_channel ON sensor_allowed (channel_id);\n"
    KEPT("sensor_allowed", "sensor_allowed_id", "what a sensor is allowed")

    "CREATE TABLE drift_cause (cause INTEGER PRIMARY KEY, words TEXT NOT NULL) STRICT;\n"
    "INSERT INTO drift_cause VALUES (0, 'too few runs'), (1, 'nothing found'), (2, 'a sensor drifts'),"
    " (3, 'two sensors disagree'), (4, 'heating element'), (5, 'heating power'), (6, 'heat loss'),"
    " (7, 'cause unknown');\n"

    "CREATE TABLE drift_told ("
    " drift_told_id INTEGER PRIMARY KEY,"
    " run_id INTEGER NOT NULL REFERENCES run,"
    " t_ms INTEGER NOT NULL,"
    " level_mc INTEGER NOT NULL,"
    " cause INTEGER NOT NULL REFERENCES drift_cause,"
    " channel_id INTEGER REFERENCES channel,"       /* the sensor, or one of the two */
    " other_channel_id INTEGER REFERENCES channel," /* the other of two */
    " sure REAL NOT NULL CHECK (sure BETWEEN 0 AND 1),"
    " words TEXT NOT NULL) STRICT;\n"
    "CREATE INDEX drift_told_run ON drift_told (run_id);\n"
    KEPT("drift_told", "drift_told_id", "what was told of a drift")

    "CREATE VIEW steady_in_words AS SELECT"
    " s.run_id, o.name AS oven, " UTC("s.from_ms") " AS from_utc, " UTC("s.to_ms") " AS to_utc,"
    " s.level_mc / 1e3 AS level, c.name AS channel, m.mean_mc / 1e3 AS mean, s.output / 1e3 AS output_percent,"
    " s.heat_from_mc / 1e3 AS heat_from, s.heat_to_mc / 1e3 AS heat_to, s.heat_ms / 1e3 AS heat_seconds"
    " FROM steady_stretch s JOIN run r USING (run_id) JOIN oven o USING (oven_id)"
    " JOIN steady_mean m ON m.run_id = s.run_id AND m.place = s.place JOIN channel c ON c.channel_id = m.channel_id"
    " ORDER BY s.from_ms, m.channel_id;\n"
    "CREATE VIEW steady_pair_in_words AS SELECT"
    " p.run_id, " UTC("s.from_ms") " AS from_utc, s.level_mc / 1e3 AS level, a.name AS channel, b.name AS other,"
    " p.difference_mc / 1e3 AS difference, p.error_mc / 1e3 AS standard_error"
    " FROM steady_pair p JOIN steady_stretch s ON s.run_id = p.run_id AND s.place = p.place"
    " JOIN channel a ON a.channel_id = p.channel_id JOIN channel b ON b.channel_id = p.other_channel_id"
    " ORDER BY s.from_ms, p.channel_id, p.other_channel_id;\n"
    "CREATE VIEW drift_told_in_words AS SELECT"
    " t.run_id, o.name AS oven, " UTC("t.t_ms") " AS utc, t.level_mc / 1e3 AS level, k.words AS cause,"
    " c.name AS channel, d.name AS other, round(t.sure, 3) AS sure, t.words"
    " FROM drift_told t JOIN run r USING (run_id) JOIN oven o USING (oven_id) JOIN drift_cause k USING (cause)"
    " LEFT JOIN channel c ON c.channel_id = t.channel_id LEFT JOIN channel d ON d.channel_id = t.other_channel_id"
    " ORDER BY t.drift_told_id;\n";

// clang-format on
