// SPDX-License-Identifier: MIT
/* The second rung's part in readings that somebody else took. They never stand among our own: they have a table of
 * their own, and a run made of them says so for good.
 *
 * The command writes them, and may write no run, oven, channel or reading. What an import needs of these its
 * triggers make, and an authorizer lets nothing else make: see ledger_open.c. */
#include <stddef.h>

#include "schema.h"

// clang-format off

#define IMPORTED_END "6"

const char schema_import[] =
    "INSERT INTO run_end VALUES (" IMPORTED_END ", 'imported');\n"

    "CREATE TABLE import ("
    " import_id INTEGER PRIMARY KEY,"
    " run_id INTEGER REFERENCES run,"
    " oven_id INTEGER NOT NULL REFERENCES oven,"
    " begun_ms INTEGER NOT NULL,"
    " ended_ms INTEGER NOT NULL CHECK (ended_ms >= begun_ms),"
    " source TEXT NOT NULL CHECK (source <> ''),"
    " file_name TEXT NOT NULL,"
    " file_sha256 TEXT NOT NULL " SHA256_CHECK("file_sha256") ","
    " description_sha256 TEXT NOT NULL REFERENCES document,"
    " imported_ms INTEGER NOT NULL,"
    " imported_by TEXT NOT NULL CHECK (imported_by <> ''),"
    " complete INTEGER NOT NULL DEFAULT 0 CHECK (complete IN (0, 1))) STRICT;\n"
    "CREATE UNIQUE INDEX import_run ON import (run_id);\n"
    NEVER_DELETED("import", "an import")
    NEVER_REPLACED("import", "import_id", "an import")
    REFUSE("import_begins_empty", "BEFORE INSERT ON import WHEN NEW.complete <> 0 OR NEW.run_id IS NOT NULL",
           "an import begins empty, and is given its run")
    REFUSE("import_completes_once", "BEFORE UPDATE ON import WHEN NOT (OLD.complete = 0 AND"
           " (NEW.import_id, NEW.oven_id, NEW.begun_ms, NEW.ended_ms, NEW.source, NEW.file_name, NEW.file_sha256,"
           " NEW.description_sha256, NEW.imported_ms, NEW.imported_by) = (OLD.import_id, OLD.oven_id, OLD.begun_ms,"
           " OLD.ended_ms, OLD.source, OLD.file_name, OLD.file_sha256, OLD.description_sha256, OLD.imported_ms,"
           " OLD.imported_by) AND ((NEW.complete = 1 AND NEW.run_id = OLD.run_id) OR"
           " (NEW.complete = 0 AND OLD.run_id IS NULL)))",
           "an import is never changed, it is only completed, once")
    "CREATE TRIGGER import_makes_run AFTER INSERT ON import BEGIN"
    " INSERT INTO run (oven_id, begun_ms, ended_ms, end_reason)"
    " VALUES (NEW.oven_id, NEW.begun_ms, NEW.ended_ms, " IMPORTED_END ");"
    " UPDATE import SET run_id = (SELECT max(run_id) FROM run) WHERE import_id = NEW.import_id; END;\n"
    REFUSE("run_imported", "BEFORE INSERT ON run WHEN NEW.end_reason = " IMPORTED_END " AND NOT EXISTS"
           " (SELECT 1 FROM import WHERE run_id IS NULL AND (oven_id, begun_ms, ended_ms) ="
           " (NEW.oven_id, NEW.begun_ms, NEW.ended_ms))", "only an import makes an imported run")
    REFUSE("run_not_imported", "BEFORE UPDATE ON run WHEN NEW.end_reason = " IMPORTED_END,
           "a run of our own is never turned into an imported one");

const char schema_import_channel[] =
    "CREATE TABLE import_channel ("
    " import_id INTEGER NOT NULL REFERENCES import,"
    " channel_id INTEGER REFERENCES channel,"
    " name TEXT NOT NULL CHECK (name <> ''),"
    " role TEXT NOT NULL CHECK (role IN ('control', 'load', 'setpoint', 'output', 'ambient', 'quench', 'cold')),"
    " header TEXT NOT NULL,"
    " interval_ms INTEGER NOT NULL CHECK (interval_ms > 0),"
    " uncertainty_mc INTEGER NOT NULL CHECK (uncertainty_mc >= 0),"
    " unit TEXT NOT NULL CHECK (unit IN ('C', 'F')),"
    " sensor_identity TEXT NOT NULL,"
    " PRIMARY KEY (import_id, name)) STRICT, WITHOUT ROWID;\n"
    NEVER_DELETED("import_channel", "an import")
    REFUSE("import_channel_unreplaced", "BEFORE INSERT ON import_channel WHEN EXISTS (SELECT 1 FROM import_channel"
           " WHERE import_id = NEW.import_id AND name = NEW.name)", "an import is never replaced")
    REFUSE("import_channel_set_once", "BEFORE UPDATE ON import_channel WHEN NOT (OLD.channel_id IS NULL AND"
           " (NEW.import_id, NEW.name, NEW.role, NEW.header, NEW.interval_ms, NEW.uncertainty_mc, NEW.unit,"
           " NEW.sensor_identity) = (OLD.import_id, OLD.name, OLD.role, OLD.header, OLD.interval_ms,"
           " OLD.uncertainty_mc, OLD.unit, OLD.sensor_identity))", "an import is never changed")
    REFUSE("import_channel_in_time", "BEFORE INSERT ON import_channel WHEN NEW.channel_id IS NOT NULL OR NOT EXISTS"
           " (SELECT 1 FROM import WHERE import_id = NEW.import_id AND complete = 0)",
           "the import is complete: it takes no more")
    /* A column that is named as a channel of the oven is that place; any other name becomes one. */
    "CREATE TRIGGER import_makes_channel AFTER INSERT ON import_channel BEGIN"
    " INSERT INTO channel (oven_id, name) SELECT oven_id, NEW.name FROM import i WHERE i.import_id = NEW.import_id"
    " AND NOT EXISTS (SELECT 1 FROM channel c WHERE c.oven_id = i.oven_id AND c.name = NEW.name);"
    " UPDATE import_channel SET channel_id = (SELECT c.channel_id FROM channel c JOIN import i USING (oven_id)"
    " WHERE i.import_id = NEW.import_id AND c.name = NEW.name)"
    " WHERE import_id = NEW.import_id AND name = NEW.name; END;\n"

    "CREATE TABLE imported_reading ("
    " import_id INTEGER NOT NULL REFERENCES import,"
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " t_ms INTEGER NOT NULL,"
    " value INTEGER,"
    " quality INTEGER NOT NULL REFERENCES quality,"
    " CHECK ((value IS NULL) = (quality <> 0)),"
    " PRIMARY KEY (import_id, channel_id, t_ms)) STRICT, WITHOUT ROWID;\n"
    NEVER_CHANGED("imported_reading", "an imported reading")
    NEVER_DELETED("imported_reading", "an imported reading")
    REFUSE("imported_reading_unreplaced", "BEFORE INSERT ON imported_reading WHEN EXISTS (SELECT 1 FROM"
           " imported_reading WHERE (import_id, channel_id, t_ms) = (NEW.import_id, NEW.channel_id, NEW.t_ms))",
           "an imported reading is never replaced")
    REFUSE("imported_reading_in_time", "BEFORE INSERT ON imported_reading WHEN NOT EXISTS (SELECT 1 FROM import"
           " WHERE import_id = NEW.import_id AND complete = 0 AND NEW.t_ms BETWEEN begun_ms AND ended_ms)",
           "the import takes no more, or not at this time")

    "CREATE VIEW imported_reading_in_words AS SELECT"
    " r.import_id, i.run_id, o.name AS oven, c.name AS channel, " UTC("r.t_ms") " AS utc, r.value / 1000.0 AS value,"
    " iif(k.role = 'output', '%', '°C') AS unit, q.words AS quality, i.source, i.file_name"
    " FROM imported_reading r JOIN import i USING (import_id) JOIN oven o USING (oven_id)"
    " JOIN import_channel k ON k.import_id = r.import_id AND k.channel_id = r.channel_id"
    " JOIN channel c ON c.channel_id = r.channel_id JOIN quality q ON q.quality = r.quality;\n";
